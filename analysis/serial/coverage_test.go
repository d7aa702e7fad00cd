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

var update = flag.Bool("update", false, fmt.Sprintf("write COVERAGE.md anew, with %d trials a setting", publishedTrials))

const publishedTrials = 2000

// introduction stands above the published table.
var introduction = fmt.Sprintf("%d records a setting, mean 100 Bq/m³: the logarithm wanders with correlation φ from hour to hour and standard deviation 0.4; \"by halves\": half of its variance with one φ and half with another; \"counted\": as a monitor of 2 counts an hour per pCi/L would count them; \"day means\": of 24 such hours each, which is how `radonyear mean` takes a log. Asked for: 95 %%.\n\n", publishedTrials) +
	"Answered: records not refused for being shorter than 10 correlation times. The other shares are of these: a record whose correlation time was taken for too short is answered when it should not be, so the fewer are answered the worse those are. Held: intervals that held the mean; under and over: with the mean under the lower limit and over the upper. Method \"mean\" is the default, the other two stand beside it, and \"naive\" is what t·s/√n would have claimed. Made by `go test -run TestCoverage ./analysis/serial -args -update`."

// promise is what the doc comment of Mean says of a row.
type promise struct {
	held, answered [2]float64
	under, over    float64
}

// promised are the doc comment's figures for a setting, by method.
func promised(c CoverageSetting) map[string]promise {
	mean := promise{held: [2]float64{0.95, 0.98}, answered: [2]float64{0.99, 1}, under: 0.025, over: 0.04}
	cosine := promise{held: [2]float64{0.77, 0.97}, answered: [2]float64{0, 1}, under: 1, over: 1}
	switch lasts := -float64(c.Hours) * math.Log(c.Phi); {
	case c.Slow > 0:
		mean.held, mean.under, mean.over, mean.answered[0] = [2]float64{0.89, 0.96}, 0.045, 0.07, 0.95
	case lasts < MinTimes: // refused, unless the correlation time was taken for too short
		mean.held, mean.under, mean.over, mean.answered = [2]float64{0.6, 0.93}, 1, 1, [2]float64{0, 0.55}
		cosine.held = [2]float64{0.34, 0.74}
	case c.Phi == 0:
		mean.held, mean.answered = [2]float64{0.975, 0.997}, [2]float64{0.79, 0.98}
	case c.Days:
		mean.held[1] = 0.995
		mean.answered[0] = map[int]float64{30: 0.45, 90: 0.94, 365: 0.99}[c.Hours/24]
	case c.Hours == 168:
		mean.answered[0] = 0.75
	case c.Hours == 720 && c.Phi == 0.98:
		mean.answered[0] = 0.82
	}
	return map[string]promise{"mean": mean, CosineWeights: cosine}
}

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
	for _, c := range CoverageSettings() {
		for method, want := range promised(c) {
			r, ok := published["mean of a series | "+method+" | "+c.String()]
			if !ok {
				t.Errorf("no row for %s, %v", method, c)
			}
			if !(r.Held >= want.held[0] && r.Held <= want.held[1] && r.Under <= want.under && r.Over <= want.over && r.Answered >= want.answered[0] && r.Answered <= want.answered[1]) {
				t.Errorf("%s, %v: held %v, under %v, over %v of %v answered; promised is %+v", method, c, r.Held, r.Under, r.Over, r.Answered, want)
			}
		}
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
