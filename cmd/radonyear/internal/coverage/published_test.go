package coverage

import (
	"fmt"
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
// leave 92.5 to 98 % by chance alone: at most a dozen may. None may hold so little
// that one with 92.5 % would do so once in a hundred times. Of all lengths together a
// season has thousands of tests, and holds the bounds as they stand.
func TestPublished(t *testing.T) {
	text, err := os.ReadFile("../../../../analysis/annual/COVERAGE.md")
	if err != nil {
		t.Fatal(err)
	}
	rows, cells, outside := 0, 0, 0
	// What the README says: the least and the most of some rows.
	ends := map[string][2]float64{}
	widen := func(name string, x float64) {
		e, ok := ends[name]
		if !ok {
			e = [2]float64{x, x}
		}
		ends[name] = [2]float64{min(e[0], x), max(e[1], x)}
	}
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
				arm, days := strings.TrimSpace(f[1]), strings.TrimSpace(f[2])
				in := held >= 92.5 && held <= 98
				if !in && (days == "all" || n > 2000) {
					t.Errorf("%s, all lengths: a season's tests hold %v %%", arm, held)
				}
				if p := (distuv.Binomial{N: n, P: .925}).CDF(math.Round(held * n / 100)); p < .01 {
					t.Errorf("%s, %s days: a season's cell holds %v %% of %v; were it 92.5, so few would have a chance of %.4f", arm, days, held, n, p)
				}
				if !in {
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
			if held < 94 || held > 97 {
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
		if n, _ := strconv.Atoi(days); arm != BuiltIn && n >= 2 && n <= 180 {
			widen("held", held)
			if n >= 7 {
				widen(arm, ratio)
			}
		}
		// What strangers' weather did to a week cannot be known; neighbours' can.
		if n, _ := strconv.Atoi(days); arm == Neighbours && n >= 7 && n <= 180 && ratio > 0.75 {
			fail("error over that of the raw test", ratio)
		}
	}
	if rows != 3*(len(Lengths)+1) {
		t.Errorf("%d rows", rows)
	}
	readme, err := os.ReadFile("../../../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	h, n, s := ends["held"], ends[Neighbours], ends[Strangers]
	for _, says := range []string{
		fmt.Sprintf("asked for 95 %%, got %.1f to %.1f %% at 2 to 180 days", h[0], h[1]),
		fmt.Sprintf("the error is %.3f to %.3f of the raw test's at 7 to 180 days; in other weather %.3f to %.3f,", n[0], n[1], s[0], s[1]),
	} {
		if !strings.Contains(strings.Join(strings.Fields(string(readme)), " "), says) {
			t.Errorf("README does not say %q", says)
		}
	}
	if cells != 4*rows || outside > 12 {
		t.Errorf("%d of %d cells lie outside 92.5 to 98 %%", outside, cells)
	}
}
