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
		Usage: "how often the intervals hold the truth, on invented homes",
		Description: `Invents districts by a mass balance of room air, which is not the model that
judges them; learns a profile in one, judges homes in others by tests of 2 to
300 days, and counts how often the interval held the true mean of the year. The
default takes a few minutes.

Example:
  radonyear coverage --judge 200`,
		Flags: append([]cli.Flag{
			&cli.Uint64Flag{Name: "seed", Value: 1, Usage: "`SEED` of the districts (default 1)"},
			&cli.IntFlag{Name: "learn", Value: 100, Usage: "`HOMES` to learn the profile from (default 100)"},
			&cli.IntFlag{Name: "judge", Value: 1000, Usage: "`HOMES` to judge (default 1000)"},
			&cli.Float64Flag{Name: "confidence", Value: defaultConfidence, Usage: "`SHARE` of intervals that should hold the truth (default 0.95)"},
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
	opt := coverage.Options{Seed: c.Uint64("seed"), Learn: c.Int("learn"), Judge: c.Int("judge"), Confidence: c.Float64("confidence"), Level: levels[0]}
	switch {
	case opt.Seed == 0:
		return usageError{"seed 0 is not a seed", "--seed 1"}
	case opt.Learn < 3 || opt.Judge < 1:
		return usageError{"too few homes", "--learn takes 3 or more, --judge 1 or more"}
	case !(opt.Confidence >= 0.5 && opt.Confidence < 1):
		return usageError{fmt.Sprintf("confidence %v is not between 0.5 and 1", opt.Confidence), "--confidence 0.95"}
	}
	t, err := coverage.Run(opt)
	if err != nil {
		return err
	}
	return p.emit(c, coverageDocument(t), format)
}

func coverageDocument(t coverage.Table) report.Document {
	main := report.Table{Columns: []report.Column{
		{Key: "profile", Head: "Profile", Style: report.Text},
		{Key: "days", Head: "Days", Style: report.Text},
		{Key: "tests", Head: "Tests", Style: report.Count},
		{Key: "coverage", Head: "Held\n%", Style: report.Rate},
		{Key: "truth_under", Head: "Under\n%", Style: report.Rate},
		{Key: "truth_over", Head: "Over\n%", Style: report.Rate},
		{Key: "raw_error", Head: "Raw\nerror", Style: report.Factor},
		{Key: "error", Head: "Error", Style: report.Factor},
		{Key: "error_ratio", Head: "Ratio", Style: report.Factor},
		{Key: "width_ratio", Head: "Width/\nerror", Style: report.Factor},
		{Key: "conclusive", Head: "Said\n%", Style: report.Rate},
		{Key: "wrong", Head: "Wrong\n%", Style: report.Rate},
	}}
	seasons := report.Table{Key: "seasons", Title: "Held, in percent, by the season of the test's middle:", Columns: []report.Column{
		{Key: "profile", Head: "Profile", Style: report.Text},
		{Key: "days", Head: "Days", Style: report.Text},
		{Key: "dec_feb", Head: "Dec-Feb", Style: report.Rate},
		{Key: "mar_may", Head: "Mar-May", Style: report.Rate},
		{Key: "jun_aug", Head: "Jun-Aug", Style: report.Rate},
		{Key: "sep_nov", Head: "Sep-Nov", Style: report.Rate},
	}}
	for _, profile := range []string{"learned", "built-in"} {
		for _, row := range append(t.Rows, t.Overall) {
			s := row.Learned
			if profile == "built-in" {
				s = row.BuiltIn
			}
			if row.Tests == 0 {
				continue
			}
			days := strconv.Itoa(row.Days)
			if row.Days == 0 {
				days = "all"
			}
			var ratio any
			if row.RawError > 0 {
				ratio = s.Error / row.RawError
			}
			main.Rows = append(main.Rows, report.Row{Label: profile + " " + days, Cells: []any{
				profile, days, row.Tests, s.Coverage, s.Missed[0], s.Missed[1], row.RawError, s.Error, ratio, s.WidthRatio, s.Conclusive, s.Wrong}})
			cells := []any{profile, days}
			for _, q := range row.Season {
				switch {
				case q.Tests == 0:
					cells = append(cells, nil)
				case profile == "built-in":
					cells = append(cells, q.BuiltIn)
				default:
					cells = append(cells, q.Learned)
				}
			}
			seasons.Rows = append(seasons.Rows, report.Row{Label: profile + " " + days, Cells: cells})
		}
	}
	o := t.Options
	return report.Document{
		Command: "coverage", Version: version,
		Settings: []report.Field{{Name: "seed", Value: int64(o.Seed)}, {Name: "learn", Value: o.Learn}, {Name: "judge", Value: o.Judge},
			{Name: "confidence", Value: o.Confidence}, {Name: "level", Value: o.Level}, {Name: "level_unit", Value: "Bq/m3"}},
		Lead: []string{fmt.Sprintf("%d invented homes judged by tests of each length, with a profile learned from %d others and with the built-in one. Asked for: %g %%.",
			o.Judge, t.Profile.Homes, round(100*o.Confidence))},
		Tables: []report.Table{main, seasons},
		After: []string{
			fmt.Sprintf("Held: intervals that hold the true mean of the year; under, over: the truth lies below, above the interval. Errors are root mean squares of ln(estimate/truth); ratio: error over raw error. Width/error: mean log half-width over that of a normal error, 1 being just wide enough. Said: verdicts at %g Bq/m³ that were conclusive; wrong: share of those.", o.Level),
			"The homes are invented by a mass balance of room air. Real homes may do worse.",
		},
	}
}
