package main

import (
	"fmt"
	"strconv"
	"strings"

	"radonyear/analysis"
	"radonyear/analysis/lognormal"
	"radonyear/cmd/radonyear/internal/report"
)

// groupName is a group for people.
func (q surveyQuestion) groupName(g group) string {
	switch {
	case q.by == "all":
		return "all homes"
	case g.name == "":
		return "(none)"
	}
	return g.name
}

// tables are the results and, for people, the shares above each level and how
// log-normal the values look.
func (q surveyQuestion) tables(groups []group, ds []lognormal.Description) []report.Table {
	head := "Group"
	if q.by != "all" {
		head = strings.ToUpper(q.by[:1]) + q.by[1:]
	}
	n := "Homes"
	if q.by == "home" {
		n = "Readings"
	}
	main := report.Table{Columns: []report.Column{
		{Key: "group", Style: report.Text},
		{Head: head, Style: report.Text},
		{Key: "homes", Head: n, Style: report.Count},
		{Key: "below_limit", Head: "Below\nlimit", Style: report.Count, Spare: 2},
		{Key: "below_limit_share", Style: report.Share},
		{Key: "minimum", Head: "Least", Style: report.Concentration, Spare: 1},
		{Key: "maximum", Head: "Most", Style: report.Concentration, Spare: 1},
		{Key: "gm", Head: "GM", Style: report.Estimate},
		{Key: "gsd", Head: "GSD", Style: report.Estimate, ValueOnly: true},
		{Key: "am", Head: "Mean", Style: report.Estimate},
	}}
	if len(ds) > 1 {
		main.Title = "Bq/m³; GM: geometric mean; GSD: geometric standard deviation."
	}
	for _, p := range ranks {
		main.Columns = append(main.Columns, report.Column{Key: "p" + strconv.Itoa(int(100*p)), Style: report.Concentration, CSVOnly: true})
	}
	for _, l := range q.levels {
		at := strconv.FormatFloat(l, 'f', -1, 64)
		main.Columns = append(main.Columns,
			report.Column{Key: "fraction_above_" + at, Style: report.Estimate, CSVOnly: true},
			report.Column{Key: "counted_above_" + at, Style: report.Estimate, CSVOnly: true})
	}
	main.Columns = append(main.Columns,
		report.Column{Key: "quantiles", Style: report.Nested},
		report.Column{Key: "above", Style: report.Nested},
		report.Column{Key: "fit", Style: report.Nested})
	for i, d := range ds {
		least := any(d.Min)
		if d.MinBelow {
			least = report.Limit(d.Min)
		}
		most := any(d.Max)
		if d.Below == d.N {
			most = report.Limit(d.Max)
		}
		var gm, gsd, am any
		var meanNotes []analysis.Note
		if d.Fit != nil {
			gm, gsd = d.Fit.GM, d.Fit.GSD
			if d.Fit.Mean != nil {
				am, meanNotes = *d.Fit.Mean, d.Fit.Mean.Notes
			}
		}
		row := report.Row{Label: q.groupName(groups[i]), Notes: rowNotes(d.Notes, meanNotes)}
		row.Cells = []any{groups[i].name, row.Label, d.N, d.Below, float64(d.Below) / float64(d.N), least, most, gm, gsd, am}
		quantiles := []any{}
		for _, r := range d.Ranks {
			value := any(r.Value)
			if r.Below {
				value = report.Limit(r.Value)
			}
			row.Cells = append(row.Cells, value)
			quantiles = append(quantiles, []report.Field{{Name: "p", Value: r.P}, {Name: "value", Value: r.Value}, {Name: "below_limit", Value: r.Below}})
		}
		above := []any{}
		for _, s := range d.Above {
			fitted, counted := pointed(s.Fraction), pointed(s.Counted)
			row.Cells = append(row.Cells, fitted, counted)
			above = append(above, []report.Field{{Name: "level", Value: s.Level}, {Name: "fraction", Value: fitted}, {Name: "counted", Value: counted}})
		}
		row.Cells = append(row.Cells, quantiles, above, q.fitFields(d))
		main.Rows = append(main.Rows, row)
	}
	tables := []report.Table{main}
	for k := range q.levels {
		tables = append(tables, q.shares(k, head, groups, ds))
	}
	return append(tables, q.shapes(head, groups, ds))
}

// ranks are the shares whose values are given, as DescribeOptions has them.
var ranks = []float64{0.25, 0.5, 0.75, 0.9}

// pointed is a cell with an estimate, empty where there is none.
func pointed(e *analysis.Estimate) any {
	if e == nil {
		return nil
	}
	return *e
}

// shares are the homes above one level, for people.
func (q surveyQuestion) shares(k int, head string, groups []group, ds []lognormal.Description) report.Table {
	t := report.Table{
		Title: fmt.Sprintf("Share above %g Bq/m³, counted and by the log-normal fit, with intervals, in percent:", q.levels[k]),
		Columns: []report.Column{
			{Head: head, Style: report.Text},
			{Head: "Counted", Style: report.Fraction},
			{Head: "Fitted", Style: report.Fraction},
		}}
	for i, d := range ds {
		s := d.Above[k]
		t.Rows = append(t.Rows, report.Row{Cells: []any{q.groupName(groups[i]), pointed(s.Counted), pointed(s.Fraction)}})
	}
	return t
}

// mostShapes is how many groups people are told the shape of.
const mostShapes = 25

// shapes say how log-normal the values look, for people.
func (q surveyQuestion) shapes(head string, groups []group, ds []lognormal.Description) report.Table {
	t := report.Table{Title: "How log-normal the values look:", Hidden: true, Columns: []report.Column{
		{Head: head, Style: report.Text}, {Head: "In words", Style: report.Prose}}}
	for i, d := range ds {
		if d.Shape == nil {
			continue
		}
		t.Hidden = len(ds) > mostShapes
		t.Rows = append(t.Rows, report.Row{Cells: []any{q.groupName(groups[i]), d.Shape.Words}})
	}
	return t
}

// fitFields are the fit in JSON.
func (q surveyQuestion) fitFields(d lognormal.Description) any {
	if d.Fit == nil {
		return nil
	}
	f := []report.Field{{Name: "mean_log", Value: d.Fit.MeanLog}, {Name: "sd_log", Value: d.Fit.SDLog}, {Name: "next_home", Value: pointed(d.Fit.Next)}}
	s := d.Shape
	if s == nil {
		return append(f, report.Field{Name: "words", Value: nil})
	}
	test := func(t *lognormal.Test) any {
		if t == nil {
			return nil
		}
		return []report.Field{{Name: "statistic", Value: t.Statistic}, {Name: "p", Value: t.P}}
	}
	f = append(f, report.Field{Name: "words", Value: s.Words}, report.Field{Name: "shapiro_wilk", Value: test(s.Shapiro)},
		report.Field{Name: "anderson_darling", Value: test(s.Anderson)}, report.Field{Name: "plot_correlation", Value: s.Correlation})
	if q.points {
		points := []any{}
		for _, p := range s.Plot {
			points = append(points, []report.Field{{Name: "z", Value: p.Z}, {Name: "value", Value: p.Value}, {Name: "fit", Value: p.Fit}})
		}
		f = append(f, report.Field{Name: "plot", Value: points})
	}
	return f
}
