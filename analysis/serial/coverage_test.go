package serial

import (
	"flag"
	"fmt"
	"math"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/internal/reftest"
)

var update = flag.Bool("update", false, "write COVERAGE.md anew, with 1000 trials a setting")

const publishedTrials = 2000

// introduction stands above the published table.
var introduction = fmt.Sprintf("%d records a setting, mean 100 Bq/m³: the logarithm wanders with correlation φ from hour to hour and standard deviation 0.4; \"counted\": as a monitor of 2 counts an hour per pCi/L would count them; \"day means\": of 24 such hours each, which is how `radonyear mean` takes a log. Asked for: 95 %%.\n\n", publishedTrials) +
	"Answered: records not refused for being shorter than 10 correlation times. The other shares are of these: a record whose correlation time was taken for too short is answered when it should not be, so the fewer are answered the worse those are. Held: intervals that held the mean; under and over: with the mean under the lower limit and over the upper. Method \"mean\" is the default, the other two stand beside it, and \"naive\" is what t·s/√n would have claimed. Made by `go test -run TestCoverage ./analysis/serial -args -update`."

// TestCoverage: the published table keeps the promise wherever the doc comment does
// not say otherwise, and the first of its records say the same.
func TestCoverage(t *testing.T) {
	if *update {
		settings := CoverageSettings()
		rows := make([][]analysis.CoverageRow, len(settings))
		numeric.Each(len(settings), func(i int) { rows[len(rows)-1-i] = CoverageTable(settings[len(rows)-1-i], publishedTrials) })
		if err := reftest.WriteCoverage(introduction, rows); err != nil {
			t.Fatal(err)
		}
	}
	published, err := reftest.ReadCoverage()
	if err != nil {
		t.Fatal(err)
	}
	kept := 0
	for _, c := range CoverageSettings() {
		r, ok := published["mean of a series | mean | "+c.String()]
		if !ok {
			t.Errorf("no row for %v", c)
		}
		switch lasts := -float64(c.Hours) * math.Log(c.Phi); {
		case c.Phi == 0: // owned to be wider than need be
			if r.Held < 0.95 {
				t.Errorf("%v: held %v", c, r.Held)
			}
		case c.Days: // days that hardly resemble each other, owned to be wider than need be
			answered := 0.9
			if c.Hours == 30*24 {
				answered = 0.45
			}
			if r.Held < 0.935 || r.Held > 0.998+1e-9 || r.Under > 0.045 || r.Over > 0.045 || r.Answered < answered {
				t.Errorf("%v: held %v, under %v, over %v of %v answered", c, r.Held, r.Under, r.Over, r.Answered)
			}
			kept++
		case lasts >= MinTimes:
			// A thousand records leave each tail a standard error of 0.6 %.
			if r.Held < 0.935 || r.Held > 0.975 || r.Under > 0.045 || r.Over > 0.045 || r.Answered < 0.75 {
				t.Errorf("%v: held %v, under %v, over %v of %v answered", c, r.Held, r.Under, r.Over, r.Answered)
			}
			kept++
		case r.Answered > 0.5:
			t.Errorf("%v lasts %.1f correlation times, and %v were answered", c, lasts, r.Answered)
		}
	}
	if kept < 38 {
		t.Errorf("%d rows keep a promise", kept)
	}
	settings := []CoverageSetting{{Hours: 168, Phi: 0.9}, {Hours: 720, Phi: 0.9, Counted: true}, {Hours: 720, Phi: 0.98, Counted: true, Days: true}}
	if testing.Short() {
		settings = settings[:1]
	}
	const trials = 200
	found := make([][]analysis.CoverageRow, len(settings))
	numeric.Each(len(settings), func(i int) { found[i] = CoverageTable(settings[i], trials) })
	for _, bad := range reftest.CoverageDiffers(published, found) {
		t.Error(bad)
	}
}
