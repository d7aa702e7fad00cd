// Command radonyear turns radon measurements in homes into annual means, honest
// intervals and verdicts. One file holds one subcommand.
package main

import "os"

func main() { os.Exit(run(os.Args, os.Stdin, os.Stdout, os.Stderr)) }
