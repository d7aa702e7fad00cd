package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/cmd/radonyear/internal/report"
)

// caution stands under every result about a home.
const caution = "A radon professional and the rules where the home stands decide what to do; this is statistics, not advice."

func (p *program) levelsCommand() *cli.Command {
	return &cli.Command{
		Name:  "levels",
		Usage: "list published levels: value, authority, wording, year, source",
		Description: `A level is on the annual mean in the rooms people use, not on one test.
Levels are given to other commands by number: --level 200, --level "4 pCi/L".

Example:
  radonyear levels`,
		Flags:  outputFlags(),
		Action: p.levels,
	}
}

func (p *program) levels(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	t := report.Table{Columns: []report.Column{
		{Key: "country", Style: report.Text},
		{Key: "authority", Style: report.Text},
		{Head: "Where", Style: report.Text},
		{Key: "published", Head: "Level as\npublished", Style: report.Text},
		{Key: "bq_m3", Head: "Bq/m³", Style: report.Factor},
		{Key: "wording", Head: "Called", Style: report.Text},
		{Key: "year", Head: "Year", Style: report.Count},
		{Key: "source", Style: report.Text},
	}}
	for _, l := range annual.Levels() {
		whose := l.Country
		if whose == "" {
			whose = l.Authority
		}
		notes := []analysis.Note{}
		if l.FromMemory {
			notes = append(notes, analysis.Note{Code: "from-memory", Text: "From memory, without the text at hand: look it up before use."})
		}
		var year any
		if l.Year != 0 {
			year = l.Year
		}
		t.Rows = append(t.Rows, report.Row{Label: whose, Notes: notes, Cells: []any{
			l.Country, l.Authority, shortName(whose), l.Published, l.Bq, l.Wording, year, l.Source.String()}})
	}
	doc := report.Document{
		Command: "levels", Version: version, Tables: []report.Table{t},
		Settings: []report.Field{{Name: "default_level", Value: annual.DefaultLevel}},
		After: []string{
			"Levels are on the annual mean in the rooms people use, not on one test. The list is not complete, and authorities change their numbers: look up the one in force.",
			fmt.Sprintf("Default of the other commands: %g Bq/m³. 1 pCi/L = 37 Bq/m³ exactly. The sources are in --format csv and json.", annual.DefaultLevel),
			caution,
		},
	}
	return p.emit(c, doc, format)
}

// parseLevels reads the --level options; none means the default.
func parseLevels(c *cli.Context) (levels []float64, byDefault bool, err error) {
	for _, text := range c.StringSlice("level") {
		for _, one := range strings.Split(text, ",") {
			bq, err := parseConcentration(one, "Bq/m3")
			if err != nil || bq <= 0 {
				return nil, false, usageError{fmt.Sprintf("level %q is not a concentration", one), `--level 200, in Bq/m3, or --level "4 pCi/L"`}
			}
			if number, named := splitUnit(one, ""); named == "" && bq < leastBare {
				return nil, false, usageError{fmt.Sprintf("level %q has no unit, and so low a number may be in pCi/L", one),
					fmt.Sprintf(`say which: --level "%s pCi/L" or --level "%s Bq/m3"`, number, number)}
			}
			if !slices.Contains(levels, bq) {
				levels = append(levels, bq)
			}
		}
	}
	if levels == nil {
		return []float64{annual.DefaultLevel}, true, nil
	}
	return levels, false, nil
}

// levelsInPCi are the levels that were asked for in pCi/L.
func levelsInPCi(c *cli.Context) (levels []float64) {
	for _, text := range c.StringSlice("level") {
		for _, one := range strings.Split(text, ",") {
			if bq, err := parseConcentration(one, "Bq/m3"); err == nil && strings.Contains(strings.ToLower(one), "pci") {
				levels = append(levels, bq)
			}
		}
	}
	return levels
}

// leastBare is the least typed number that is taken for Bq/m³ without saying so:
// below it lie the levels and most results of those who write pCi/L.
const leastBare = 20

// parseConcentration reads "165", "165 Bq/m3" or "4.5pCi/L" as Bq/m³. A bare
// number is in the given unit.
func parseConcentration(text, unit string) (float64, error) {
	number, unit := splitUnit(text, unit)
	x, err := strconv.ParseFloat(number, 64)
	if err != nil || x != x || x > 1e9 || x < -1e9 {
		return 0, fmt.Errorf("%q is not a number with a unit", text)
	}
	switch strings.ToLower(strings.NewReplacer("³", "3", " ", "").Replace(unit)) {
	case "bq/m3":
		return x, nil
	case "pci/l":
		return x * analysis.BqPerPCi, nil
	}
	return 0, fmt.Errorf("unit %q is neither Bq/m3 nor pCi/L", unit)
}

// splitUnit parts "165 Bq/m3" into number and unit; without a unit it is the
// given one.
func splitUnit(text, unit string) (number, itsUnit string) {
	number = strings.TrimSpace(text)
	if i := strings.IndexAny(number, "bBpP"); i > 0 {
		return strings.TrimSpace(number[:i]), number[i:]
	}
	return number, unit
}

// shortName keeps the list of levels within a line.
func shortName(who string) string {
	short := map[string]string{
		"International Commission on Radiological Protection": "ICRP",
		"International Atomic Energy Agency":                  "IAEA",
		"World Health Organization":                           "WHO",
	}
	if s, ok := short[who]; ok {
		return s
	}
	return who
}

// levelSentence says which level was used and whose it is.
func levelSentence(levels []float64, byDefault bool) string {
	var parts []string
	for _, l := range levels {
		s := fmt.Sprintf("%g Bq/m³", l)
		if owners := annual.LevelOwners(l); len(owners) > 0 {
			more := ""
			if len(owners) > 4 {
				owners, more = owners[:4], " and others"
			}
			s += ", used by " + strings.Join(owners, ", ") + more
		}
		parts = append(parts, s)
	}
	word := "Level"
	if len(levels) > 1 {
		word = "Levels"
	}
	s := word + ": " + strings.Join(parts, "; ")
	if byDefault {
		s += " (the default; --level sets another)"
	}
	return s + "."
}
