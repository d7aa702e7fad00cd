package main

import (
	"errors"
	"fmt"
	"math"
	"slices"

	"radonyear/analysis/lognormal"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

// ranksFigure draws each group on log-normal probability axes.
func (q surveyQuestion) ranksFigure(groups []group, ds []lognormal.Description) (plot.Figure, error) {
	if err := fits(len(groups), "groups", mostPanels, "describe fewer: a file of the groups to draw, or --by a coarser one"); err != nil {
		return plot.Figure{}, err
	}
	percent := round(100 * q.opt.Confidence)
	n := "homes"
	if q.by == "home" {
		n = "readings"
	}
	f := plot.Figure{
		Title: "How log-normal are the " + n + "?",
		Desc:  "Values on a logarithmic scale against the share of values at or below them on a normal scale; the straight line of the log-normal fit with its limits; the levels as broken lines.",
		Notes: []string{
			fmt.Sprintf("Values of a log-normal distribution lie about a straight line. The band holds each point of the line with %g %% confidence by itself; single values may lie outside.", percent),
			caution,
		},
	}
	if q.by == "home" {
		f.Notes[0] = "Values of a log-normal distribution lie about a straight line. Readings of one home resemble their neighbours, so the line has no limits."
	}
	if len(groups) > 2 {
		f.Columns = 2
	}
	what := "Radon"
	if q.outdoor > 0 {
		what = fmt.Sprintf("Radon over the %g outdoors", q.outdoor)
	}
	below, outdoors, all := 0, 0, 0
	for i, g := range groups {
		if ds[i].Fit == nil {
			continue // the table says why
		}
		obs, err := lognormal.SubtractOutdoor(q.fitted(g.obs), q.outdoor)
		if err != nil {
			return f, err
		}
		r, err := lognormal.Plot(obs, lognormal.FitOptions{Confidence: q.opt.Confidence})
		if err != nil {
			return f, err
		}
		all += r.N
		limits, outside := below, outdoors // of the groups before this one
		for i, o := range g.obs {
			switch {
			case o.Lower == 0:
				below++
			case obs[i].Lower == 0: // known, and less than can be told from the outdoor level
				outdoors++
			}
		}
		p := plot.Panel{X: plot.Axis{Label: "Share of " + n + " at or below, %", Kind: plot.Ranks}, Y: concentration(what)}
		if len(groups) > 1 {
			p.Title = fmt.Sprintf("%s, n = %d", q.groupName(g), r.N)
		}
		band := plot.Band{Look: plot.Look{Role: plot.Model, Label: fmt.Sprintf("%g %% limits of the fit", percent)}}
		line := plot.Curve{Look: plot.Look{Role: plot.Model, Label: "log-normal fit"}}
		for _, l := range r.Line {
			band.X, band.Low, band.High = append(band.X, l.Z), append(band.Low, l.Lower), append(band.High, l.Upper)
			line.X, line.Y = append(line.X, l.Z), append(line.Y, l.Value)
		}
		dots := plot.Points{Look: plot.Look{Role: plot.Measured, Label: "value of a " + n[:len(n)-1]}}
		between := plot.Intervals{Look: plot.Look{Role: plot.Quiet, Label: "known to lie between"}}
		for _, v := range r.Points {
			if v.Lower == v.Upper {
				dots.X, dots.Y = append(dots.X, v.Z), append(dots.Y, v.Value)
				continue
			}
			between.At, between.Value = append(between.At, v.Z), append(between.Value, v.Value)
			between.Low, between.High = append(between.Low, v.Lower), append(between.High, v.Upper)
		}
		if len(line.X) > 0 && q.by != "home" { // limits are of independent values
			p.Marks = append(p.Marks, band)
		}
		var levels []float64
		for _, l := range q.levels {
			levels = append(levels, l-q.outdoor)
		}
		for k, m := range levelRules(levels, false) {
			rule := m.(plot.Rule)
			rule.Label = fmt.Sprintf("level, %s Bq/m³", report.Number(q.levels[k], q.levels[k]))
			p.Marks = append(p.Marks, rule)
		}
		if len(line.X) > 0 { // the note on what lies below the limits says why
			p.Marks = append(p.Marks, line)
		}
		if between.At != nil {
			p.Marks = append(p.Marks, between)
		}
		p.Marks = append(p.Marks, dots)
		f.Panels = append(f.Panels, p)
		if len(groups) == 1 {
			if gm, gsd := ds[i].Fit.GM, ds[i].Fit.GSD; gm != nil && gsd != nil {
				f.Lead = fmt.Sprintf("Geometric mean %s Bq/m³, geometric standard deviation %s, of %d %s.", report.Number(gm.Value), report.Number(gsd.Value), r.N, n)
			} else {
				f.Lead = fmt.Sprintf("%d of %d %s lie below a limit: too many for a geometric mean, or for a line below the lowest value known.", below-limits, r.N, n)
				if outdoors > outside {
					f.Lead = fmt.Sprintf("%d of %d %s lie below a limit, and %d at the outdoor level or below it: too many for a geometric mean, or for a line below the lowest value known.", below-limits, r.N, n, outdoors-outside)
				}
			}
			if ds[i].Shape != nil && q.by != "home" {
				f.Lead += " In words: " + ds[i].Shape.Words + "."
			}
		}
	}
	// Of few homes the limits of the far ends know no bounds, and would press the values
	// into a line: the scale, one for all groups, follows values and lines.
	const beyond = 4
	low, high, least, most := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, p := range f.Panels {
		banded := slices.ContainsFunc(p.Marks, func(m plot.Mark) bool { _, ok := m.(plot.Band); return ok })
		free := func(y []float64) { // of a panel without limits
			if !banded && len(y) > 0 {
				least, most = min(least, slices.Min(y)), max(most, slices.Max(y))
			}
		}
		for _, m := range p.Marks {
			switch m := m.(type) {
			case plot.Band:
				least, most = min(least, slices.Min(m.Low)), max(most, slices.Max(m.High))
			case plot.Curve:
				low, high = min(low, slices.Min(m.Y)), max(high, slices.Max(m.Y))
				free(m.Y)
			case plot.Points:
				low, high = min(low, slices.Min(append(m.Y, low))), max(high, slices.Max(append(m.Y, high)))
				free(m.Y)
			case plot.Rule:
				low, high = min(low, m.At/1.1*beyond), max(high, 1.1*m.At/beyond)
			}
		}
	}
	for i := range f.Panels {
		f.Panels[i].Y.Min, f.Panels[i].Y.Max = max(low/beyond, least/1.1), min(high*beyond, 1.1*most)
	}
	if len(f.Panels) == 0 {
		return f, errors.New("nothing to draw: no group has a fit; the table says why")
	}
	if outdoors > 0 {
		f.Notes = append([]string{fmt.Sprintf("%d of %d values lie at the outdoor level of %g Bq/m³ or below it: they count in the others' ranks and in the fit, and are no points.", outdoors, all, q.outdoor)}, f.Notes...)
	}
	if below > 0 {
		f.Notes = append([]string{fmt.Sprintf("%d of %d values lie below a detection limit: they count in the others' ranks and in the fit, and are no points.", below, all)}, f.Notes...)
	}
	return f, nil
}
