package serial

import (
	"flag"
	"fmt"
	"maps"
	"math"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/internal/reftest"
)

var (
	update        = flag.Bool("update", false, fmt.Sprintf("write COVERAGE.md anew, with %d trials a setting", publishedTrials))
	settingsAsked = flag.String("settings", "", "with -update, remake only the settings that match this regular expression")
)

const publishedTrials = 2000

// introduction stands above the published table.
var introduction = fmt.Sprintf("%d records a setting, mean 100 Bq/m³: the logarithm wanders with correlation φ from hour to hour and standard deviation 0.4; \"by halves\": half of its variance with one φ and half with another; \"noise\": the readings themselves wander, normally, with that many times as much noise beside, as the model has it, and standard deviation 15; \"counted\": as a monitor of 2 counts an hour per pCi/L would count them; \"day means\": of 24 such hours each, which is how `radonyear mean` takes a log. Asked for: 95 %%.\n\n", publishedTrials) +
	"Answered: records not refused for being shorter than 10 correlation times. The other shares are of these: a record whose correlation time was taken for too short is answered when it should not be, so the fewer are answered the worse those are. Held: intervals that held the mean; under and over: with the mean under the lower limit and over the upper. Method \"mean\" is the default, the other two stand beside it, and \"naive\" is what t·s/√n would have claimed. Made by `go test -run TestCoverage ./analysis/serial -args -update`."

// promise is what a row is held to: shares of intervals that held at least and at most,
// with the mean under and over at most, and of records answered.
type promise struct {
	least, most, under, over float64
	answered                 [2]float64
}

// promises are the doc comment's figures for the mean, and for all methods what was
// measured, by kind of record.
var promises = map[string]map[string]promise{
	"hours": {
		"mean":         {0.95, 0.98, 0.025, 0.04, [2]float64{0.99, 1}},
		Autoregressive: {0.93, 0.97, 0.035, 0.045, [2]float64{0.99, 1}},
		CosineWeights:  {0.82, 0.96, 0.07, 0.11, [2]float64{0.99, 1}},
		"naive":        {0.14, 0.49, 0.42, 0.5, [2]float64{0.99, 1}},
	},
	"hours that hardly resemble each other": {
		"mean":         {0.95, 0.98, 0.025, 0.04, [2]float64{0.94, 1}},
		Autoregressive: {0.93, 0.97, 0.035, 0.045, [2]float64{0.94, 1}},
		CosineWeights:  {0.94, 0.96, 0.035, 0.035, [2]float64{0.94, 1}},
		"naive":        {0.74, 0.86, 0.13, 0.15, [2]float64{0.94, 1}},
	},
	"hours that do not": {
		"mean":         {0.975, 0.997, 0.012, 0.015, [2]float64{0.79, 0.98}},
		Autoregressive: {0.975, 0.997, 0.012, 0.015, [2]float64{0.79, 0.98}},
		CosineWeights:  {0.93, 0.96, 0.03, 0.045, [2]float64{0.79, 0.98}},
		"naive":        {0.94, 0.96, 0.03, 0.04, [2]float64{0.79, 0.98}},
	},
	"just as the model has it": {
		"mean":         {0.95, 0.97, 0.025, 0.025, [2]float64{1, 1}},
		Autoregressive: {0.935, 0.96, 0.033, 0.033, [2]float64{1, 1}},
		CosineWeights:  {0.935, 0.96, 0.036, 0.036, [2]float64{1, 1}},
		"naive":        {0.24, 0.51, 0.38, 0.38, [2]float64{1, 1}},
	},
	"days": {
		"mean":         {0.95, 0.995, 0.02, 0.04, [2]float64{0.45, 1}},
		Autoregressive: {0.95, 0.995, 0.022, 0.04, [2]float64{0.45, 1}},
		CosineWeights:  {0.77, 0.97, 0.09, 0.14, [2]float64{0.45, 1}},
		"naive":        {0.56, 0.9, 0.17, 0.3, [2]float64{0.45, 1}},
	},
	"days of hardly ten correlation times": {
		"mean":         {0.935, 0.955, 0.025, 0.04, [2]float64{0.3, 0.35}},
		Autoregressive: {0.935, 0.955, 0.025, 0.04, [2]float64{0.3, 0.35}},
		CosineWeights:  {0.65, 0.72, 0.12, 0.24, [2]float64{0.3, 0.35}},
		"naive":        {0.28, 0.34, 0.28, 0.48, [2]float64{0.3, 0.35}},
	},
	"too short": { // refused, unless the correlation time was taken for too short
		"mean":         {0.62, 0.93, 0.11, 0.27, [2]float64{0.14, 0.51}},
		Autoregressive: {0.62, 0.93, 0.11, 0.27, [2]float64{0.14, 0.51}},
		CosineWeights:  {0.34, 0.74, 0.21, 0.45, [2]float64{0.14, 0.51}},
		"naive":        {0.07, 0.35, 0.35, 0.59, [2]float64{0.14, 0.51}},
	},
	"by halves": {
		"mean":         {0.89, 0.96, 0.045, 0.07, [2]float64{0.95, 1}},
		Autoregressive: {0.69, 0.96, 0.15, 0.17, [2]float64{0.95, 1}},
		CosineWeights:  {0.89, 0.96, 0.04, 0.07, [2]float64{0.95, 1}},
		"naive":        {0.18, 0.59, 0.41, 0.42, [2]float64{0.95, 1}},
	},
}

// promised are those for a setting, by method.
func promised(c CoverageSetting) map[string]promise {
	kind, answered := "hours", 0.0
	switch lasts := -float64(c.Hours) * math.Log(c.Phi); {
	case c.Slow > 0:
		kind = "by halves"
	case lasts < MinTimes:
		kind = "too short"
	case c.Days && lasts < 12:
		kind = "days of hardly ten correlation times"
	case c.Days:
		kind, answered = "days", map[int]float64{30: 0.45, 90: 0.94, 365: 0.99}[c.Hours/24]
	case c.Noise > 0:
		kind = "just as the model has it"
	case c.Phi == 0:
		kind = "hours that do not"
	case c.Phi == 0.5:
		kind = "hours that hardly resemble each other"
	case c.Hours == 168:
		answered = 0.75
	case c.Hours == 720 && c.Phi == 0.98:
		answered = 0.82
	}
	all := maps.Clone(promises[kind])
	for method, p := range all {
		if answered > 0 {
			p.answered[0] = answered
		}
		all[method] = p
	}
	return all
}

// remake writes the table anew, or only the rows of the settings that -settings names.
// The longest records come last and are begun first.
func remake() error {
	asked, kept, err := reftest.PartOfCoverage(*settingsAsked)
	if err != nil {
		return err
	}
	settings := CoverageSettings()
	rows := make([][]analysis.CoverageRow, len(settings))
	numeric.Each(len(settings), func(i int) {
		i = len(settings) - 1 - i
		if name := settings[i].String(); asked(name) {
			rows[i] = CoverageTable(settings[i], publishedTrials)
		} else {
			rows[i] = kept(name)
		}
	})
	return reftest.WriteCoverage(introduction, rows)
}

// TestCoverage: the published table keeps the promise wherever the doc comment does
// not say otherwise, and the first of its records say the same.
func TestCoverage(t *testing.T) {
	if *update {
		if err := remake(); err != nil {
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
			if !(r.Held >= want.least && r.Held <= want.most && r.Under <= want.under && r.Over <= want.over && r.Answered >= want.answered[0] && r.Answered <= want.answered[1]) {
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
