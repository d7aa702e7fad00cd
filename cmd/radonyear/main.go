// Command radonyear turns radon measurements in homes into annual means, honest
// intervals and verdicts. One file holds one subcommand.
package main

import (
	"os"
	"runtime/debug"
)

func main() {
	if os.Getenv("GOGC") == "" {
		debug.SetGCPercent(50) // a national data set's day means are large; half of them again is room enough
	}
	endWhenStopped()
	os.Exit(run(os.Args, os.Stdin, os.Stdout, os.Stderr))
}
