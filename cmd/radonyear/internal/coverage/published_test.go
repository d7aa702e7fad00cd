package coverage

import (
	"math"
	"os"
	"strconv"
	"strings"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"
)

// TestPublished holds the published table, which the coverage command made, to
// what the project claims of it. .ci/run makes the table again.
//
// A season's cell holds some 250 tests, so of 120 cells that hold 95 % several
// leave 92.5 to 98 % by chance alone. A cell fails where chance cannot be why: in
// fewer than one in a thousand of tables in which each cell holds the bound itself.
func TestPublished(t *testing.T) {
	text, err := os.ReadFile("../../../../analysis/annual/COVERAGE.md")
	if err != nil {
		t.Fatal(err)
	}
	rows, cells, outside := 0, 0, 0
	for line := range strings.Lines(string(text)) {
		f := strings.Split(line, "|")
		if len(f) == 12 {
			for i := 3; i < 11; i += 2 {
				held, err1 := strconv.ParseFloat(strings.TrimSpace(f[i]), 64)
				n, err2 := strconv.ParseFloat(strings.TrimSpace(f[i+1]), 64)
				if err1 != nil || err2 != nil {
					continue // the header
				}
				cells++
				hits := distuv.Binomial{N: n, P: .925}
				low := hits.CDF(math.Round(held * n / 100))
				hits.P = .98
				high := 1 - hits.CDF(math.Round(held*n/100)-1)
				if low < .001/120 || high < .001/120 && strings.TrimSpace(f[2]) != "300" {
					t.Errorf("%s, %s days: a season's cell holds %v %% of %v", strings.TrimSpace(f[1]), strings.TrimSpace(f[2]), held, n)
				}
				if held < 92.5 || held > 98 {
					outside++
				}
			}
			continue
		}
		if len(f) != 13 {
			continue
		}
		var x [13]float64
		for i := range f {
			x[i], _ = strconv.ParseFloat(strings.TrimSpace(f[i]), 64)
		}
		arm, days, held, ratio, width, wrong := strings.TrimSpace(f[1]), strings.TrimSpace(f[2]), x[4], x[8], x[9], x[11]
		if held == 0 {
			continue // the header
		}
		rows++
		fail := func(what string, v float64) { t.Errorf("%s, %s days: %s is %v", arm, days, what, v) }
		switch {
		case days == "all":
			if arm != BuiltIn && (held < 94 || held > 97) {
				fail("held over all", held)
			}
		case arm == BuiltIn:
			if held < 93 {
				fail("held", held)
			}
		case days == "300":
			if held < 92.5 {
				fail("held", held)
			}
		default:
			if held < 92.5 || held > 98 {
				fail("held", held)
			}
			if width < 0.9 || width > 1.15 {
				fail("width over error", width)
			}
		}
		if wrong > 3 {
			fail("wrong", wrong)
		}
		// What strangers' weather did to a week cannot be known; neighbours' can.
		if n, _ := strconv.Atoi(days); arm == Neighbours && n >= 7 && n <= 180 && ratio > 0.75 {
			fail("error over that of the raw test", ratio)
		}
	}
	if rows != 3*(len(Lengths)+1) {
		t.Errorf("%d rows", rows)
	}
	if cells != 4*rows || outside > 12 {
		t.Errorf("%d of %d cells lie outside 92.5 to 98 %%", outside, cells)
	}
}
