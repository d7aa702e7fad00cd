package main

import (
	"fmt"
	"strconv"

	"github.com/urfave/cli/v2"

	"radonyear/analysis/annual"
	"radonyear/cmd/radonyear/internal/coverage"
	"radonyear/cmd/radonyear/internal/report"
)

func (p *program) coverageCommand() *cli.Command {
	return &cli.Command{
		Name:  "coverage",
		Usage: "how often annual means' intervals and verdicts hold the truth",
		Description: `Invents districts by a mass balance of room air, which is not the model that
judges them; learns a profile in each, judges other homes by tests of 2 to 300
days, and counts how often the interval held the true mean of the year. The
default takes minutes. What other commands promise and hold stands in the
COVERAGE.md of their package under analysis.

Example:
  radonyear coverage --districts 1 --judge 200`,
		Flags: append([]cli.Flag{
			&cli.Uint64Flag{Name: "seed", Value: 1, Usage: "`SEED` of the districts (default 1)"},
			&cli.IntFlag{Name: "districts", Value: 5, Usage: "`DISTRICTS` to learn a profile in, one each (default 5)"},
			&cli.IntFlag{Name: "learn", Value: 100, Usage: "`HOMES` to learn from in each district (default 100)"},
			&cli.IntFlag{Name: "judge", Value: 1000, Usage: "`HOMES` to judge under each heading (default 1000)"},
			confidenceFlag(""),
			&cli.StringSliceFlag{Name: "level", Usage: fmt.Sprintf("`LEVEL` for the verdicts, Bq/m3 or with a unit (default %g)", annual.DefaultLevel)},
		}, outputFlags()...),
		Action: p.coverage,
	}
}

func (p *program) coverage(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	levels, _, err := parseLevels(c)
	if err != nil {
		return err
	}
	if len(levels) > 1 {
		return usageError{"coverage judges against one level", "give --level once"}
	}
	opt := coverage.Options{Seed: c.Uint64("seed"), Districts: c.Int("districts"), Learn: c.Int("learn"), Judge: c.Int("judge"), Level: levels[0]}
	switch {
	case opt.Seed == 0:
		return usageError{"seed 0 is not a seed", "--seed 1"}
	case opt.Districts < 1 || opt.Learn < 3 || opt.Judge < opt.Districts:
		return usageError{"too few homes", "--learn takes 3 or more, --judge at least one a district"}
	}
	if opt.Confidence, err = parseConfidence(c); err != nil {
		return err
	}
	t, err := coverage.Run(opt)
	if err != nil {
		return err
	}
	return p.emit(c, coverageDocument(t), format)
}

func coverageDocument(t coverage.Table) report.Document {
	main := report.Table{Columns: []report.Column{
		{Key: "homes", Head: "Homes", Style: report.Text},
		{Key: "days", Head: "Days", Style: report.Text},
		{Key: "tests", Head: "Tests", Style: report.Count},
		{Key: "coverage", Head: "Held\n%", Style: report.Rate},
		{Key: "truth_under", Head: "Under\n%", Style: report.Rate},
		{Key: "truth_over", Head: "Over\n%", Style: report.Rate},
		{Key: "raw_error", Style: report.Factor},
		{Key: "error", Head: "Error", Style: report.Factor},
		{Key: "error_ratio", Head: "Ratio", Style: report.Factor},
		{Key: "width_ratio", Head: "Width\nratio", Style: report.Factor},
		{Key: "conclusive", Head: "Said\n%", Style: report.Rate},
		{Key: "wrong", Head: "Wrong\n%", Style: report.Rate},
	}}
	seasons := report.Table{Key: "seasons", Title: "Held, in percent, by the season of the test's middle, and of how many tests; of 250 the standard error is 1.4:", Columns: []report.Column{
		{Key: "homes", Head: "Homes", Style: report.Text},
		{Key: "days", Head: "Days", Style: report.Text},
		{Key: "dec_feb", Head: "Dec-Feb", Style: report.Rate},
		{Key: "dec_feb_tests", Head: "of", Style: report.Count},
		{Key: "mar_may", Head: "Mar-May", Style: report.Rate},
		{Key: "mar_may_tests", Head: "of", Style: report.Count},
		{Key: "jun_aug", Head: "Jun-Aug", Style: report.Rate},
		{Key: "jun_aug_tests", Head: "of", Style: report.Count},
		{Key: "sep_nov", Head: "Sep-Nov", Style: report.Rate},
		{Key: "sep_nov_tests", Head: "of", Style: report.Count},
	}}
	for _, arm := range t.Arms {
		for _, row := range arm.Rows {
			if row.Tests == 0 {
				continue
			}
			days := strconv.Itoa(row.Days)
			if row.Days == 0 {
				days = "all"
			}
			var ratio any
			if row.RawError > 0 {
				ratio = row.Error / row.RawError
			}
			main.Rows = append(main.Rows, report.Row{Cells: []any{
				arm.Name, days, row.Tests, row.Coverage, row.Under, row.Over, row.RawError, row.Error, ratio, row.WidthRatio, row.Conclusive, row.Wrong}})
			cells := []any{arm.Name, days}
			for _, q := range row.Season {
				if q.Tests == 0 {
					cells = append(cells, nil, q.Tests)
					continue
				}
				cells = append(cells, q.Coverage, q.Tests)
			}
			seasons.Rows = append(seasons.Rows, report.Row{Cells: cells})
		}
	}
	o := t.Options
	return report.Document{
		Command: "coverage", Version: version,
		Settings: []report.Field{{Name: "seed", Value: int64(o.Seed)}, {Name: "districts", Value: o.Districts}, {Name: "learn", Value: o.Learn}, {Name: "judge", Value: o.Judge},
			{Name: "confidence", Value: o.Confidence}, {Name: "level", Value: o.Level}, {Name: "level_unit", Value: "Bq/m3"},
			{Name: "confirmed", Value: t.Confirmed}, {Name: "mistaken", Value: t.Mistaken}},
		Lead: []string{
			fmt.Sprintf("%d invented homes under each heading, judged by tests of each length. Asked for: %g %%.", o.Judge, round(100*o.Confidence)),
			fmt.Sprintf("Neighbours: judged with a profile learned from %d other homes of their district, %d districts in all. Strangers: the same profile in another district in other weather. Built-in: both without learning.", o.Learn, o.Districts),
			fmt.Sprintf("The homes' own day means confirmed the profile's weather in %d of %d districts for the neighbours and, mistakenly, in %d for the strangers.", t.Confirmed, o.Districts, t.Mistaken),
		},
		Tables: []report.Table{main, seasons},
		After: []string{
			fmt.Sprintf("Held: intervals that hold the true mean of the year; under, over: the truth lies below, above the interval. Errors are root mean squares of ln(estimate/truth); ratio: error over that of the raw test. Width ratio: mean log half-width over that of a normal error, 1 being just wide enough. Said: verdicts at %g Bq/m³ that were conclusive; wrong: share of those.", o.Level),
			"The homes are invented by a mass balance of room air. Real homes may do worse.",
		},
	}
}
