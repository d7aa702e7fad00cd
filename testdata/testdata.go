// Package testdata carries the invented demo district, so that a program can
// show itself at work with no file at hand.
package testdata

import (
	"embed"
	"io/fs"
)

//go:embed demo
var files embed.FS

// Demo is the folder testdata/demo: the measurements, README.md, and truth.csv,
// which holds what no detector saw and must not be given to an estimate.
func Demo() fs.FS {
	sub, err := fs.Sub(files, "demo")
	if err != nil {
		panic(err) // the folder is embedded above
	}
	return sub
}

// DemoMeasurements names the files of Demo that hold measurements, in order.
func DemoMeasurements() []string {
	return []string{"imported-decimal-comma.csv", "monitor-local-clock.csv", "monitors.csv.gz", "passive.csv", "short-tests.csv"}
}

// DemoTruth names the file of Demo with the true means.
const DemoTruth = "truth.csv"
