package serial

import (
	"flag"
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

var update = flag.Bool("update", false, "write COVERAGE.md anew, with 1000 trials a setting")

const publishedTrials = 1000

// TestCoverage: the published table keeps the promise wherever the doc comment does
// not say otherwise, and the first of its records say the same.
func TestCoverage(t *testing.T) {
	if *update {
		settings := CoverageSettings()
		rows := make([][]analysis.CoverageRow, len(settings))
		numeric.Each(len(settings), func(i int) { rows[len(rows)-1-i] = CoverageTable(settings[len(rows)-1-i], publishedTrials) })
		var b strings.Builder
		fmt.Fprintf(&b, "%d records a setting, mean 100 Bq/m³: the logarithm wanders with correlation φ from hour to hour and standard deviation 0.4; \"counted\": as a monitor of 2 counts an hour per pCi/L would count them; \"day means\": of 24 such hours each, which is how `radonyear mean` takes a log. Asked for: 95 %%.\n\n", publishedTrials)
		b.WriteString("Answered: records not refused for being shorter than 10 correlation times. The other shares are of these: a record whose correlation time was taken for too short is answered when it should not be, so the fewer are answered the worse those are. Held: intervals that held the mean; under and over: with the mean under the lower limit and over the upper. Method \"mean\" is the default, the other two stand beside it, and \"naive\" is what t·s/√n would have claimed. Made by `go test -run TestCoverage ./analysis/serial -args -update`.\n\n")
		b.WriteString("| Method | Records | Answered % | Held % | Under % | Over % | Width |\n|:--|:--|--:|--:|--:|--:|--:|\n")
		for _, setting := range rows {
			for _, r := range setting {
				fmt.Fprintf(&b, "| %s | %s | %.1f | %.1f | %.1f | %.1f | %.3g |\n", r.Method, r.Setting, 100*r.Answered, 100*r.Held, 100*r.Under, 100*r.Over, r.Width)
			}
		}
		if err := os.WriteFile("COVERAGE.md", []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	published := readCoverage(t)
	kept := 0
	for _, c := range CoverageSettings() {
		r, ok := published["mean | "+c.String()]
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
	settings := []CoverageSetting{{Hours: 168, Phi: 0.9}, {Hours: 720, Phi: 0.9, Counted: true}, {720, 0.98, true, true}}
	if testing.Short() {
		settings = settings[:1]
	}
	const trials = 200
	found := make([][]analysis.CoverageRow, len(settings))
	numeric.Each(len(settings), func(i int) { found[i] = CoverageTable(settings[i], trials) })
	for _, setting := range found {
		for _, r := range setting {
			p, ok := published[key(r)]
			if !ok {
				t.Errorf("%s is not in COVERAGE.md", key(r))
				continue
			}
			for _, s := range [][2]float64{{r.Held, p.Held}, {r.Under, p.Under}, {r.Over, p.Over}, {r.Answered, p.Answered}} {
				if se := math.Sqrt(s[1]*(1-s[1])/trials) + 1./trials; math.Abs(s[0]-s[1]) > 4*se {
					t.Errorf("%s: %v found, %v published", key(r), s[0], s[1])
				}
			}
		}
	}
}

func key(r analysis.CoverageRow) string { return r.Method + " | " + r.Setting }

func readCoverage(t *testing.T) map[string]analysis.CoverageRow {
	t.Helper()
	b, err := os.ReadFile("COVERAGE.md")
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string]analysis.CoverageRow{}
	for _, line := range strings.Split(string(b), "\n") {
		cells := strings.Split(strings.Trim(line, "| "), " | ")
		if len(cells) != 7 || cells[0] == "Method" {
			continue
		}
		var x [4]float64
		for i := range x {
			v, err := strconv.ParseFloat(cells[2+i], 64)
			if err != nil {
				t.Fatal(line, err)
			}
			x[i] = v / 100
		}
		r := analysis.CoverageRow{Method: cells[0], Setting: cells[1], Answered: x[0], Held: x[1], Under: x[2], Over: x[3]}
		rows[key(r)] = r
	}
	return rows
}
