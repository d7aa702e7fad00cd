package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"

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
		head = firstUpper(q.by)
	}
	many := []report.Column{{Key: "homes", Head: "Homes", Style: report.Count}}
	if q.by == "home" {
		many = []report.Column{{Key: "homes", Style: report.Count}, {Key: "readings", Head: "Readings", Style: report.Count}}
	}
	main := report.Table{Columns: slices.Concat([]report.Column{
		{Key: "group", Style: report.Text},
		{Head: head, Style: report.Text},
	}, many, []report.Column{
		{Key: "below_limit", Head: "Below\nlimit", Style: report.Count, Spare: 2},
		{Key: "below_limit_share", Style: report.Share},
		{Key: "minimum", Style: report.Concentration},
		{Key: "minimum_below_limit", Style: report.Bool},
		{Key: "maximum", Style: report.Concentration},
		{Key: "maximum_below_limit", Style: report.Bool},
	})}
	q.estimate(&main, report.Column{Key: "gm", Head: "GM", Style: report.Estimate}, report.Concentration)
	q.estimate(&main, report.Column{Key: "gsd", Head: "GSD", Style: report.Estimate, ValueOnly: true}, report.Factor)
	q.estimate(&main, report.Column{Key: "am", Head: "Mean", Style: report.Estimate}, report.Concentration)
	main.Columns = append(main.Columns, report.Column{Key: "am_by_order_statistics", Style: report.Concentration})
	if len(ds) > 1 {
		main.Title = "Bq/m³; GM: geometric mean; GSD: geometric standard deviation."
	}
	for _, p := range lognormal.Ranks {
		key := "p" + percentKey(p)
		main.Columns = append(main.Columns, report.Column{Key: key, Style: report.Concentration, CSVOnly: true},
			report.Column{Key: key + "_below_limit", Style: report.Bool, CSVOnly: true})
	}
	for _, p := range q.opt.Quantiles {
		key := "fitted_p" + percentKey(p)
		main.Columns = append(main.Columns, report.Column{Key: key, Style: q.style(report.Estimate, report.Concentration), CSVOnly: true})
		if q.by != "home" {
			main.Columns = append(main.Columns, report.Column{Key: key + "_tolerance", Style: report.Estimate, CSVOnly: true})
		}
	}
	for _, l := range q.levels {
		at := strconv.FormatFloat(l, 'f', -1, 64)
		main.Columns = append(main.Columns,
			report.Column{Key: "fraction_above_" + at, Style: q.style(report.Estimate, report.Share), CSVOnly: true},
			report.Column{Key: "counted_above_" + at, Style: q.style(report.Estimate, report.Share), CSVOnly: true})
	}
	if q.by != "home" {
		main.Columns = append(main.Columns, report.Column{Key: "next_home", Style: report.Estimate, CSVOnly: true}, report.Column{Key: "shape", Style: report.Text, CSVOnly: true})
	}
	main.Columns = append(main.Columns,
		report.Column{Key: "quantiles", Style: report.Nested},
		report.Column{Key: "fitted_quantiles", Style: report.Nested},
		report.Column{Key: "above", Style: report.Nested},
		report.Column{Key: "fit", Style: report.Nested})
	for i, d := range ds {
		var gm, gsd, am *analysis.Estimate
		if d.Fit != nil {
			gm, gsd, am = d.Fit.GM, d.Fit.GSD, d.Fit.Mean
		}
		allBelow := d.Below == d.N
		row := report.Row{Label: q.groupName(groups[i]), Notes: q.notesOf(d)}
		row.Cells = []any{groups[i].name, row.Label, d.N}
		if q.by == "home" {
			row.Cells = []any{groups[i].name, row.Label, 1, d.N}
		}
		row.Cells = append(row.Cells, d.Below, float64(d.Below)/float64(d.N),
			bounded(d.Min, d.MinBelow), d.MinBelow, bounded(d.Max, allBelow), allBelow)
		for _, e := range []*analysis.Estimate{gm, gsd, am} {
			row.Cells = append(row.Cells, q.cell(e))
			if q.by == "home" {
				row.Cells = append(row.Cells, valueOf(e))
			}
		}
		row.Cells = append(row.Cells, orderedMean(d))
		quantiles := []any{}
		for _, r := range d.Ranks {
			row.Cells = append(row.Cells, bounded(r.Value, r.Below), r.Below)
			quantiles = append(quantiles, []report.Field{{Name: "p", Value: r.P}, {Name: "value", Value: r.Value}, {Name: "below_limit", Value: r.Below}})
		}
		fittedQuantiles := []any{}
		for k, p := range q.opt.Quantiles {
			value, tolerance := q.quantileOf(d, k)
			row.Cells = append(row.Cells, q.cell(value))
			if q.by != "home" {
				row.Cells = append(row.Cells, pointed(tolerance))
			}
			fittedQuantiles = append(fittedQuantiles, []report.Field{{Name: "p", Value: p}, {Name: "quantile", Value: q.field(value)}, {Name: "tolerance", Value: q.interval(tolerance)}})
		}
		above := []any{}
		for _, s := range d.Above {
			row.Cells = append(row.Cells, q.cell(s.Fraction), q.cell(s.Counted))
			above = append(above, []report.Field{{Name: "level", Value: s.Level}, {Name: "fraction", Value: q.field(s.Fraction)}, {Name: "counted", Value: q.field(s.Counted)}, {Name: "unbiased", Value: q.unbiased(s)}})
		}
		if q.by != "home" {
			var next, shape any
			if d.Fit != nil {
				next = pointed(d.Fit.Next)
			}
			if d.Shape != nil {
				shape = d.Shape.Verdict().String()
			}
			row.Cells = append(row.Cells, next, shape)
		}
		row.Cells = append(row.Cells, quantiles, fittedQuantiles, above, q.fitFields(d))
		main.Rows = append(main.Rows, row)
	}
	tables := []report.Table{main, q.inOrder(head, groups, ds)}
	for k := range q.opt.Quantiles {
		tables = append(tables, q.quantile(k, head, groups, ds))
	}
	for k := range q.levels {
		tables = append(tables, q.shares(k, head, groups, ds))
	}
	return append(tables, q.means(head, groups, ds), q.shapes(head, groups, ds))
}

// orderedMean is a cell with the mean by order statistics, empty where there is none.
func orderedMean(d lognormal.Description) any {
	if d.OrderStatistics == nil {
		return nil
	}
	return d.OrderStatistics.Mean
}

// means are the groups with values below limits and two means, for people.
func (q surveyQuestion) means(head string, groups []group, ds []lognormal.Description) report.Table {
	t := report.Table{
		Title: "The mean two ways where some lie below limits, Bq/m³ (order statistics: those below filled in from the rest):", Hidden: true,
		Columns: []report.Column{{Head: head, Style: report.Text}, {Head: "By the\nfit", Style: report.Concentration}, {Head: "By order\nstatistics", Style: report.Concentration}},
	}
	for i, d := range ds {
		if d.OrderStatistics != nil {
			t.Hidden = false
			t.Rows = append(t.Rows, report.Row{Cells: []any{q.groupName(groups[i]), d.Fit.Mean.Value, d.OrderStatistics.Mean}})
		}
	}
	return t
}

// What follows is what --by home leaves of an estimate: its value. The interval is one
// of independent values, which a home's readings are not.

// estimate appends a column of estimates, or of values in this style; in JSON those
// are objects too.
func (q surveyQuestion) estimate(t *report.Table, c report.Column, bare report.Style) {
	if q.by == "home" {
		c.Style, c.CSVOnly = bare, true
		t.Columns = append(t.Columns, c, report.Column{Key: c.Key, Style: report.Nested})
		return
	}
	t.Columns = append(t.Columns, c)
}

func (q surveyQuestion) style(s, bare report.Style) report.Style {
	if q.by == "home" {
		return bare
	}
	return s
}

// cell is an estimate, or its value; empty where there is none.
func (q surveyQuestion) cell(e *analysis.Estimate) any {
	if e != nil && q.by == "home" {
		return e.Value
	}
	return pointed(e)
}

// field is the same in JSON.
func (q surveyQuestion) field(e *analysis.Estimate) any {
	if q.by == "home" {
		return valueOf(e)
	}
	return pointed(e)
}

// interval is an estimate that is nothing without its interval.
func (q surveyQuestion) interval(e *analysis.Estimate) any {
	if q.by == "home" {
		return nil
	}
	return pointed(e)
}

// unbiased is the share above a level without bias, which readings that resemble their
// neighbours do not have.
func (q surveyQuestion) unbiased(s lognormal.Share) any {
	if s.Unbiased == nil || q.by == "home" {
		return nil
	}
	return *s.Unbiased
}

func valueOf(e *analysis.Estimate) any {
	if e == nil {
		return nil
	}
	return report.ValueOnly(*e)
}

// readingsAlike is noted of every home's readings.
var readingsAlike = analysis.Note{Code: "readings-alike", Text: "readings of one home resemble their neighbours and say less than as many homes would, so no interval is given, and nothing of their shape; radonyear mean and annual give intervals that hold"}

// percentKey is a share in a column's name: 90, 97.5.
func percentKey(p float64) string { return strconv.FormatFloat(round(100*p), 'f', -1, 64) }

// bounded is a concentration, or the limit it lies at or below.
func bounded(x float64, below bool) any {
	if below {
		return report.Limit(x)
	}
	return x
}

// notesOf are the notes of a description and of every estimate in it, each once.
func (q surveyQuestion) notesOf(d lognormal.Description) []analysis.Note {
	if q.by == "home" { // those of intervals are of no account
		notes := []analysis.Note{readingsAlike}
		for _, n := range d.Notes {
			if n.Code != "no-shape" && n.Code != "mean-at-least" && n.Code != "shares-apart" {
				notes = append(notes, n)
			}
		}
		return rowNotes(notes)
	}
	lists := [][]analysis.Note{d.Notes}
	add := func(e *analysis.Estimate) {
		if e != nil {
			lists = append(lists, e.Notes)
		}
	}
	if f := d.Fit; f != nil {
		add(f.GM)
		add(f.GSD)
		add(f.Mean)
		add(f.Next)
		for _, q := range f.Quantiles {
			add(&q.Quantile)
			add(&q.Tolerance)
		}
	}
	for _, s := range d.Above {
		add(s.Counted)
		add(s.Fraction)
	}
	return rowNotes(lists...)
}

// quantileOf are the fitted quantile asked for as number k and its tolerance limit, nil
// where the fit does not give it.
func (q surveyQuestion) quantileOf(d lognormal.Description, k int) (value, tolerance *analysis.Estimate) {
	if d.Fit == nil {
		return nil, nil
	}
	for _, r := range d.Fit.Quantiles {
		if r.P == q.opt.Quantiles[k] {
			return &r.Quantile, &r.Tolerance
		}
	}
	return nil, nil
}

// inOrder are the values at some shares of the homes in order, for people.
func (q surveyQuestion) inOrder(head string, groups []group, ds []lognormal.Description) report.Table {
	of := "homes"
	if q.by == "home" {
		of = "readings"
	}
	t := report.Table{
		Title: fmt.Sprintf("The %s in order, Bq/m³ (25 %%: a quarter of them lies below):", of),
		Columns: []report.Column{
			{Head: head, Style: report.Text},
			{Head: "Below\nlimit %", Style: report.Share},
			{Head: "Least", Style: report.Concentration},
		}}
	for _, p := range lognormal.Ranks {
		t.Columns = append(t.Columns, report.Column{Head: percentKey(p) + " %", Style: report.Concentration})
	}
	t.Columns = append(t.Columns, report.Column{Head: "Most", Style: report.Concentration})
	for i, d := range ds {
		cells := []any{q.groupName(groups[i]), float64(d.Below) / float64(d.N), bounded(d.Min, d.MinBelow)}
		for _, r := range d.Ranks {
			cells = append(cells, bounded(r.Value, r.Below))
		}
		t.Rows = append(t.Rows, report.Row{Cells: append(cells, bounded(d.Max, d.Below == d.N))})
	}
	return t
}

// quantile is one fitted quantile with its limits, for people.
func (q surveyQuestion) quantile(k int, head string, groups []group, ds []lognormal.Description) report.Table {
	of := "homes"
	if q.by == "home" {
		of = "readings"
	}
	t := report.Table{
		Title: fmt.Sprintf("%s %% of %s lie below, by the log-normal fit, Bq/m³:", percentKey(q.opt.Quantiles[k]), of),
		Columns: []report.Column{
			{Head: head, Style: report.Text},
			{Head: "Quantile", Style: q.style(report.Estimate, report.Concentration)},
			{Head: "Tolerance\nlimit", Style: report.Concentration, OmitEmpty: q.by == "home"},
		}}
	for i, d := range ds {
		value, e := q.quantileOf(d, k)
		var tolerance any
		if e != nil && q.by != "home" && !math.IsInf(e.Upper, 1) { // its note says so
			tolerance = e.Upper
		}
		t.Rows = append(t.Rows, report.Row{Cells: []any{q.groupName(groups[i]), q.cell(value), tolerance}})
	}
	return t
}

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
			{Head: "Counted", Style: q.style(report.Fraction, report.Share)},
			{Head: "Fitted", Style: q.style(report.Fraction, report.Share)},
		}}
	if q.by == "home" {
		t.Title = fmt.Sprintf("Share of readings above %g Bq/m³, counted and by the log-normal fit, in percent:", q.levels[k])
	}
	for i, d := range ds {
		s := d.Above[k]
		t.Rows = append(t.Rows, report.Row{Cells: []any{q.groupName(groups[i]), q.cell(s.Counted), q.cell(s.Fraction)}})
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
		if d.Shape == nil || q.by == "home" {
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
	f := []report.Field{{Name: "mean_log", Value: nil}, {Name: "sd_log", Value: nil}, {Name: "next_home", Value: q.interval(d.Fit.Next)}}
	if d.Fit.GM != nil {
		f[0].Value, f[1].Value = d.Fit.MeanLog, d.Fit.SDLog
	}
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
	if q.by == "home" {
		f = append(f, report.Field{Name: "words", Value: nil})
	} else {
		f = append(f, report.Field{Name: "words", Value: s.Words}, report.Field{Name: "shapiro_wilk", Value: test(s.Shapiro)},
			report.Field{Name: "anderson_darling", Value: test(s.Anderson)}, report.Field{Name: "plot_correlation", Value: s.Correlation},
			report.Field{Name: "shape", Value: s.Verdict().String()}, report.Field{Name: "tied", Value: s.Tied})
	}
	if q.points {
		points := []any{}
		for _, p := range s.Plot {
			points = append(points, []report.Field{{Name: "z", Value: p.Z}, {Name: "value", Value: p.Value}, {Name: "fit", Value: p.Fit}})
		}
		f = append(f, report.Field{Name: "plot", Value: points})
	}
	return f
}
