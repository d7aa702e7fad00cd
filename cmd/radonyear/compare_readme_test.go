package main

import (
	"fmt"
	"math"
	"os"
	"strconv"
	"strings"
	"testing"
)

// TestReadmeCompare: what README.md says of how well a home's before and after is known
// stands in the tables.
func TestReadmeCompare(t *testing.T) {
	table, err := os.ReadFile("../../analysis/compare/COVERAGE-homes.md")
	if err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	number := func(cell string) float64 {
		v, err := strconv.ParseFloat(cell, 64)
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	all := map[string][]string{} // "all fans", by section
	high := map[string][]string{}
	by := map[string][]string{} // so many neighbours
	section := ""
	for line := range strings.Lines(string(table)) {
		if name, ok := strings.CutPrefix(line, "## "); ok {
			section = strings.TrimSpace(name)
		}
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "| "), " | ")
		switch {
		case len(cells) == 9 && cells[1] == "all fans":
			by[cells[0]] = cells
		case cells[0] == "all fans" && len(cells) == 11:
			all[section] = cells
		case len(cells) == 10 && cells[1] == "all fans":
			high[cells[0]] = cells
		}
	}
	built, few, near := all["The built-in profile"], by[strconv.Itoa(fewestNeighbours)], by["40"]
	first, prior := high["built-in"], high["built-in, area prior"]
	if built == nil || few == nil || near == nil || first == nil || prior == nil {
		t.Fatal("a row is missing")
	}
	low := func(row []string) float64 { return math.Round(100 * -math.Expm1(number(row[6]))) } // of the mean ln error
	if narrower := 1 - number(near[4])*number(near[6])/(number(built[5])*number(built[7])); math.Abs(narrower-1.0/3) > 0.03 {
		t.Errorf("by neighbours intervals are %.2f narrower", narrower)
	}
	says := strings.Join(strings.Fields(string(readme)), " ")
	for _, want := range []string{
		fmt.Sprintf("whose ratio comes out %.0f %% too low on average, and %.0f %% with an `--area-prior`.", low(first), low(prior)),
		fmt.Sprintf("%s of it stays by the built-in profile, where %.0f %% of intervals hold.", built[6], number(built[2])),
		fmt.Sprintf("Where the files hold %d or more of them,", fewestNeighbours),
		fmt.Sprintf("%s of the error stays by %d such homes and %s by 40, with intervals a third narrower, of which %.0f %% hold.", few[5], fewestNeighbours, near[5], number(near[3])),
	} {
		if !strings.Contains(says, want) {
			t.Errorf("README.md does not say %q", want)
		}
	}
}
