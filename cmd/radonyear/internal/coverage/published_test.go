package coverage

import (
	"os"
	"strconv"
	"strings"
	"testing"
)

// TestPublished holds the published table, which the coverage command made, to
// what the project claims of it. .ci/run makes the table again.
func TestPublished(t *testing.T) {
	text, err := os.ReadFile("../../../../analysis/annual/COVERAGE.md")
	if err != nil {
		t.Fatal(err)
	}
	rows := 0
	for line := range strings.Lines(string(text)) {
		f := strings.Split(line, "|")
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
}
