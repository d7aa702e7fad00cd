package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/compare"
	"radonyear/analysis/lognormal"
	"radonyear/analysis/plan"
	"radonyear/analysis/quality"
	"radonyear/analysis/season"
	"radonyear/analysis/serial"
	"radonyear/analysis/survey"
	"radonyear/analysis/trend"
	"radonyear/cmd/radonyear/internal/report"
)

// methods are all there are, as their packages list them.
var methods = slices.Concat(annual.Methods, season.Methods, compare.Methods, lognormal.Methods, survey.Methods, survey.FloorMethods, survey.DesignMethods, serial.Methods, trend.Methods, plan.Methods, quality.Methods)

func (p *program) methodsCommand() *cli.Command {
	return &cli.Command{
		Name:      "methods",
		Usage:     "list the methods: what they assume, hold and come from",
		ArgsUsage: "[NAME]",
		Description: `A line a method, or all there is to say of the one named. JSON results name
the method of each estimate by the same name.

Examples:
  radonyear methods
  radonyear methods land`,
		Flags:  outputFlags(),
		Action: p.methods,
	}
}

func (p *program) methods(c *cli.Context) error {
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	if c.Args().Len() > 1 {
		return usageError{"methods takes one name", "radonyear methods NAME"}
	}
	shown, one := methods, c.Args().First()
	if one != "" {
		i := slices.IndexFunc(methods, func(m analysis.Method) bool { return strings.EqualFold(m.Key, one) })
		if i < 0 {
			hint := "radonyear methods lists them"
			for _, m := range methods {
				if near(m.Key, strings.ToLower(one)) {
					hint = "did you mean radonyear methods " + m.Key + "?"
				}
			}
			return usageError{fmt.Sprintf("there is no method %q", one), hint}
		}
		shown = methods[i : i+1]
	}
	t := report.Table{Columns: []report.Column{
		{Key: "name", Head: "Name", Style: report.Text, Words: true},
		{Key: "title", Head: "What it is", Style: report.Prose},
		{Key: "estimates", Style: report.Text}, {Key: "formula", Style: report.Text}, {Key: "assumes", Style: report.Text},
		{Key: "interval", Style: report.Text}, {Key: "coverage", Style: report.Text}, {Key: "reference", Style: report.Text},
		{Key: "by_hand", Style: report.Text}, {Key: "can_note", Style: report.Text}, {Key: "source", Style: report.Text},
	}}
	for _, m := range shown {
		t.Rows = append(t.Rows, report.Row{Label: m.Key, Cells: []any{m.Key, m.Title, m.Estimates, m.Formula, m.Assumes, m.Interval,
			m.Evidence.Coverage, m.Evidence.Reference, m.Evidence.ByHand, strings.Join(m.Notes, ", "), sourcesOf(m)}})
	}
	doc := report.Document{Command: "methods", Version: version, Tables: []report.Table{t},
		Settings: []report.Field{{Name: "name", Value: one}}}
	if one != "" {
		doc.Tables[0].Hidden = true
		doc.Lead = methodInWords(shown[0])
	}
	return p.emit(c, doc, format)
}

func sourcesOf(m analysis.Method) string {
	var s []string
	for _, source := range m.Sources {
		s = append(s, source.String())
	}
	return strings.Join(s, "; ")
}

// methodInWords is a method in six short paragraphs, as its doc comment has them.
func methodInWords(m analysis.Method) []string {
	lines := []string{
		fmt.Sprintf("%s: %s.", m.Key, m.Title),
		"Estimates: " + m.Estimates,
		"Formula: " + m.Formula,
		"Assumes: " + m.Assumes,
		"Interval: " + m.Interval,
	}
	if len(m.Notes) > 0 {
		lines = append(lines, "Can note: "+strings.Join(m.Notes, ", ")+".")
	}
	return append(lines,
		"Source: "+sourcesOf(m)+".",
		fmt.Sprintf("Held to: %s; by hand: %s; coverage: %s.", m.Evidence.Reference, m.Evidence.ByHand, m.Evidence.Coverage))
}
