package annual

import (
	"math"
	"regexp"
	"strconv"
	"strings"
	"testing"

	"radonyear/analysis"
)

// The value as published and the value in Bq/m³ are typed side by side; they
// must be one and the same. 4 pCi/L is 148 Bq/m³, "not rounded to 150" (rule of
// the measurement standard MS-PC, section 6, on converted units).
func TestLevels(t *testing.T) {
	seen := map[string]bool{}
	for _, l := range Levels() {
		number, unit, ok := strings.Cut(l.Published, " ")
		x, err := strconv.ParseFloat(number, 64)
		if err != nil || !ok {
			t.Errorf("%s: published as %q", l.Authority, l.Published)
			continue
		}
		switch unit {
		case "pCi/L":
			x *= analysis.BqPerPCi
		case "Bq/m³":
		default:
			t.Errorf("%s: unit %q", l.Authority, unit)
		}
		if x != l.Bq {
			t.Errorf("%s: %s is %v Bq/m³, not %v", l.Authority, l.Published, x, l.Bq)
		}
		if l.Authority == "" || l.Wording == "" || l.Source.Key == "" || l.Source.Cite == "" {
			t.Errorf("a level without authority, wording or source: %+v", l)
		}
		if l.FromMemory != (l.Source.Key == "from-memory") {
			t.Errorf("%s: from memory or not?", l.Country)
		}
		key := l.Authority + l.Country + l.Published
		if seen[key] {
			t.Errorf("%s stands twice", key)
		}
		seen[key] = true
	}
	if !seen["Environmental Protection AgencyUnited States4 pCi/L"] || 4*analysis.BqPerPCi != 148 {
		t.Error("4 pCi/L is missing or not 148 Bq/m³")
	}
}

// The default is used by those the documentation says, as their texts and not
// as memory have it.
func TestLevelOwners(t *testing.T) {
	owners := strings.Join(LevelOwners(DefaultLevel), "; ")
	for _, want := range []string{"Canada (guideline)", "United Kingdom (action level)", "Ireland (reference level, homes)"} {
		if !strings.Contains(owners, want) {
			t.Errorf("%s is not among %s", want, owners)
		}
	}
	if regexp.MustCompile("Sweden|Finland").MatchString(owners) {
		t.Errorf("a level from memory or for new homes among %s", owners)
	}
	if got := LevelOwners(math.Nextafter(DefaultLevel, 0)); got != nil {
		t.Errorf("nobody's level is owned by %v", got)
	}
}
