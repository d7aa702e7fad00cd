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
	even := map[string][]string{}
	section := ""
	for line := range strings.Lines(string(table)) {
		if name, ok := strings.CutPrefix(line, "## "); ok {
			section = strings.TrimSpace(name)
		}
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "| "), " | ")
		switch {
		case len(cells) == 10 && cells[1] == "all fans" && section == "How many neighbours it takes":
			by[cells[0]] = cells
		case len(cells) == 10 && cells[1] == "all fans" && section == "Fans that leave the season as it is":
			even[cells[0]] = cells
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
	narrower := func(row []string) float64 {
		return 1 - number(row[4])*number(row[6])/(number(built[5])*number(built[7]))
	}
	if by40 := narrower(near); math.Abs(by40-1.0/3) > 0.03 {
		t.Errorf("by neighbours intervals are %.2f narrower", by40)
	}
	says := strings.Join(strings.Fields(string(readme)), " ")
	for _, want := range []string{
		fmt.Sprintf("whose ratio comes out %.0f %% too low on average, and %.0f %% with an `--area-prior`.", low(first), low(prior)),
		fmt.Sprintf("%s of it stays by the built-in profile, where %.0f %% of intervals hold.", built[6], number(built[2])),
		fmt.Sprintf("Where the files hold %d or more of them,", fewestNeighbours),
		fmt.Sprintf("%s of the error stays by %d such homes, with intervals %.0f %% narrower, and %s by 40, with intervals a third narrower; %.0f and %.0f %% of them hold.", few[5], fewestNeighbours, 100*narrower(few), near[5], number(few[3]), number(near[3])),
		fmt.Sprintf("Where a fan takes its share of every day and leaves the season as it is, which Compare does not expect, %.0f %% of the ratios are held, by neighbours %.0f, and %.0f %% of the annual means with it.", number(even["built-in"][3]), number(even["neighbours"][3]), number(even["built-in"][9])),
	} {
		if !strings.Contains(says, want) {
			t.Errorf("README.md does not say %q", want)
		}
	}
}
