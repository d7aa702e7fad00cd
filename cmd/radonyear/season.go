package main

import (
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/season"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

func (p *program) seasonCommand() *cli.Command {
	return &cli.Command{
		Name:      "season",
		Usage:     "learn a region's season and scatter from homes measured for a year",
		ArgsUsage: "FILE...",
		Description: `Learns a profile from homes with at least 300 day means within twelve months,
in the room that was measured longest. Shows the mean cycle by month, how much
homes differ, how far a test of so many days lies from the year, and how often
the interval held the truth when each home in turn was left out. --output writes
the profile, for --profile of the other commands.

Example:
  radonyear season monitors.csv --output district.json`,
		Flags: slices.Concat([]cli.Flag{
			&cli.StringFlag{Name: "output", Usage: "write the profile to `FILE`.json"},
			&cli.StringFlag{Name: "name", Usage: "the profile's `NAME` (default: that of the output file)"},
			confidenceFlag(", in the coverage shown"),
			&cli.StringFlag{Name: "hemisphere", Usage: "`HALF` of the globe, north (default) or south: the built-in profile that few homes are drawn toward"},
			phaseFlag(""),
			&cli.StringFlag{Name: "format", Usage: "`FORMAT` on standard output: table, markdown, csv or json"},
			plotFlag("the mean cycle and how homes differ from it"),
		}, readingFlags()),
		Action: p.season,
	}
}

func (p *program) season(c *cli.Context) error {
	format, err := stdoutFormat(c)
	if err != nil {
		return err
	}
	opt := season.Options{Name: c.String("name")}
	if opt.Confidence, err = parseConfidence(c); err != nil {
		return err
	}
	southern, err := parseHemisphere(c)
	if err != nil {
		return err
	}
	opt.BuiltIn = temporal.BuiltIn(southern)
	phase, err := parsePhase(c)
	if err != nil {
		return err
	}
	path := c.String("output")
	if ending := strings.ToLower(filepath.Ext(path)); ending != "" && ending != ".json" {
		return usageError{fmt.Sprintf("--output %s: a profile is JSON", path), "end the name in .json; --format is for what is printed"}
	}
	if opt.Name == "" && path != "" && path != "-" {
		base := filepath.Base(path)
		opt.Name = strings.TrimSuffix(base, filepath.Ext(base))
	}
	if _, err := plotFormat(c); err != nil {
		return err
	}
	daily, files, _, err := p.readFiles(c)
	if err != nil {
		return err
	}
	learned, left, err := learn(subjects(daily, "home", phase), opt)
	if err != nil {
		return hinted{fmt.Errorf("no profile: %w", err), "without a profile of its own, a region is judged with the built-in one"}
	}
	doc := seasonDocument(learned, opt.Confidence)
	doc.Settings = slices.Concat([]report.Field{
		{Name: "name", Value: learned.Profile.Name}, {Name: "confidence", Value: opt.Confidence}, {Name: "toward", Value: opt.BuiltIn.Name},
	}, readingSettings(c))
	doc.Inputs, doc.Rejects = inputs(files, phase), rejectsFile(c)
	doc.Notes = slices.Concat(doc.Notes, inputNotes(files, daily, phase))
	doc.LeftOut = left
	doc.LeftOutTitle = "Not learned from:"
	picture := func() (plot.Figure, error) { return cycleFigure(learned), nil }
	switch path {
	case "":
		doc.After = append(doc.After, "The profile was not kept: --output FILE writes it.")
	case "-": // the profile itself is what was asked for
		if _, err := p.stdout.Write(learned.Profile.JSON()); err != nil {
			return writing("standard output", err)
		}
		p.plotted(c, picture)
		return nil
	default:
		if err := replaceFile(path, learned.Profile.JSON()); err != nil {
			return err
		}
		doc.After = append(doc.After, fmt.Sprintf("The profile is in %s; give it to the other commands as --profile %s.", path, path))
	}
	// Most homes of a region have less than a year, and a profile is not their
	// result: only rows that were left out make this answer partial.
	if err := p.write(doc, format); err != nil {
		return err
	}
	p.plotted(c, picture)
	if doc.Rejected() > 0 || analysis.HasNote(doc.Notes, sheetsUnread) {
		return errPartial
	}
	return nil
}

// learn makes a profile of the homes that can be used.
func learn(subs population, opt season.Options) (season.Learned, []report.LeftOut, error) {
	var homes [][]analysis.Series
	var left []report.LeftOut
	for s := range subs.each() {
		if s.why != "" {
			left = append(left, report.LeftOut{Place: s.place, Why: s.why})
			continue
		}
		homes = append(homes, s.series)
	}
	learned, err := season.Learn(homes, opt)
	for _, s := range learned.Skipped {
		left = append(left, report.LeftOut{Place: analysis.Place{Home: s.Place.Home}, Why: s.Why})
	}
	slices.SortStableFunc(left, func(a, b report.LeftOut) int { return strings.Compare(a.Place.Home, b.Place.Home) })
	return learned, left, err
}

func seasonDocument(l season.Learned, confidence float64) report.Document {
	months := report.Table{
		Title: "The mean cycle, as factors on the mean of the year, with the range that holds 95 % of homes, and what a test of just this month is multiplied by:",
		Columns: []report.Column{
			{Key: "month", Head: "Month", Style: report.Text},
			{Key: "factor", Head: "Factor", Style: report.Factor},
			{Key: "homes_lower", Head: "95 % of\nhomes from", Style: report.Factor},
			{Key: "homes_upper", Head: "\nto", Style: report.Factor},
			{Key: "correction", Head: "Test times", Style: report.Factor},
		}}
	for _, m := range l.Monthly {
		months.Rows = append(months.Rows, report.Row{Label: m.Month.String(), Cells: []any{m.Month.String(), m.Factor, m.Lower, m.Upper, m.Correction}})
	}
	judged := fmt.Sprintf("Tests of the homes' own days against their own year, each home left out of the profile that judges it, all in the weather of these years (GSD: typical factor; held: share of %g %% intervals that held the year):", round(100*confidence))
	scatter := scatterTable("scatter", judged, l.Scatter)
	course := scatterTable("scatter_with_course", "The same where the profile's weather is known to be the home's own:", l.Course)
	spread := report.Table{Key: "amplitude", Hidden: true, Columns: []report.Column{
		{Key: "homes", Style: report.Count}, {Key: "log_amplitude", Style: report.Factor}, {Key: "log_amplitude_sd", Style: report.Factor},
		{Key: "first", Style: report.Date}, {Key: "last", Style: report.Date},
	}, Rows: []report.Row{{Cells: []any{l.Homes, l.Amplitude, l.AmplitudeSD, instant(l.First), instant(l.Last)}}}}
	return report.Document{
		Command: "season", Version: version, Tables: []report.Table{months, scatter, course, spread}, Notes: l.Notes,
		Lead: []string{
			fmt.Sprintf("Profile %q: %s.", l.Profile.Name, l.Profile.Provenance),
			"A home's days are the day means of its room that was measured longest.",
			fmt.Sprintf("The cycle's log amplitude is %s on average; a home's own coefficients differ from it with a standard deviation of %s.", report.Number(l.Amplitude), report.Number(l.AmplitudeSD)),
		},
		After: []string{"A profile is for homes like those it was learned from. " + caution},
	}
}

func scatterTable(key, title string, rows []season.Scatter) report.Table {
	t := report.Table{Key: key, Title: title, Columns: []report.Column{
		{Key: "days", Head: "Days", Style: report.Count},
		{Key: "tests", Head: "Tests", Style: report.Count},
		{Key: "homes", Head: "Homes", Style: report.Count},
		{Key: "raw_gsd", Head: "Raw\nGSD", Style: report.Factor},
		{Key: "corrected_gsd", Head: "Corrected\nGSD", Style: report.Factor},
		{Key: "coverage", Head: "Held\n%", Style: report.Rate},
		{Key: "width_ratio", Head: "Width over\nerror", Style: report.Factor},
	}}
	for _, s := range rows {
		t.Rows = append(t.Rows, report.Row{Cells: []any{s.Days, s.Tests, s.Homes, s.RawGSD, s.CorrectedGSD, s.Coverage, s.WidthRatio}})
	}
	return t
}
