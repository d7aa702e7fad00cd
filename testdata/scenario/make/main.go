// Command make writes the invented demo district to testdata/demo:
//
//	go run ./testdata/scenario/make
//
// With -figures it writes nothing and prints how the generator compares with
// the figures of the trade.
package main

import (
	"bytes"
	"compress/gzip"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"radonyear/testdata/scenario"
)

func main() {
	figures := flag.Bool("figures", false, "print measured figures of the generator and write nothing")
	seed := flag.Uint64("seed", 1, "seed of the district that -figures measures")
	homes := flag.Int("homes", 200, "homes that -figures measures")
	years := flag.Int("years", 5, "years that -figures measures")
	dir := flag.String("dir", "testdata/demo", "folder to write the demo files to")
	flag.Parse()
	if *figures {
		if *homes < 2 || *years < 1 {
			fail(fmt.Errorf("-homes must be 2 or more and -years 1 or more"))
		}
		scenario.NewDistrict(*seed, scenario.Options{Days: 365 * *years, Homes: *homes}).Measure(*homes).Write(os.Stdout)
		return
	}
	if _, err := os.Stat(*dir); err != nil {
		fail(fmt.Errorf("%w (run it at the top of the checkout, or name the folder with -dir)", err))
	}
	for _, f := range scenario.DemoFiles() {
		data := f.Data
		if strings.HasSuffix(f.Name, ".gz") {
			data = compress(data)
		}
		if err := os.WriteFile(filepath.Join(*dir, f.Name), data, 0o644); err != nil {
			fail(err)
		}
		fmt.Printf("%-30s %9d bytes\n", f.Name, len(data))
	}
}

func compress(data []byte) []byte {
	var out bytes.Buffer
	z, err := gzip.NewWriterLevel(&out, gzip.BestCompression)
	if err != nil {
		fail(err)
	}
	if _, err := z.Write(data); err != nil {
		fail(err)
	}
	if err := z.Close(); err != nil {
		fail(err)
	}
	return out.Bytes()
}

func fail(err error) {
	fmt.Fprintln(os.Stderr, "make:", err)
	os.Exit(1)
}
