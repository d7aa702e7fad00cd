package main

import (
	"fmt"
	"math"
	"slices"

	"radonyear/analysis"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

// verdictFigure draws what is known of one home's annual mean as a density, or of
// several as intervals, against the levels.
func (q *question) verdictFigure(all []judged, by string, typed bool) (plot.Figure, error) {
	var homes []judged // each once; the levels that it was held against follow from q
	for _, j := range all {
		if !slices.ContainsFunc(homes, func(h judged) bool { return h.Place == j.Place }) {
			homes = append(homes, j)
		}
	}
	if len(homes) == 1 {
		return q.densityFigure(homes[0], all, by, typed), nil
	}
	if err := fits(len(homes), "homes", mostRows, fewerHomes); err != nil {
		return plot.Figure{}, err
	}
	return q.intervalsFigure(homes, all, by), nil
}

// densityFigure is of one home; all are its verdicts, one a level. Of a home that saw
// nothing but a detection limit there is no density, only the upper limit.
func (q *question) densityFigure(h judged, all []judged, by string, typed bool) plot.Figure {
	percent := round(100 * q.Confidence)
	f := plot.Figure{
		Title: "Annual mean of home " + resultNames(nil, by)(h.Place),
		Desc:  "What is known of the annual mean: a density over the logarithm of the concentration, cut at the level; under it the annual mean with its interval, the raw mean of the test, and the readings of this same test that would settle nothing.",
		Notes: []string{"The area under the curve between two concentrations is the probability that the annual mean lies between them. " + caution},
	}
	if typed {
		f.Title = "Annual mean after the test typed in"
	}
	e := h.AnnualMean
	f.Lead = fmt.Sprintf("Annual mean %s Bq/m³, %g %% interval %s.", report.Number(e.Value, q.Levels...), percent, report.Interval(e, q.Levels...))
	unseen := belowLimit(h.Result)
	if unseen { // only the upper limit is the home's own
		f.Lead = underWords(e, percent, q.Levels)
	}
	for _, j := range all {
		f.Lead += fmt.Sprintf(" Above %g Bq/m³ with a probability of %s %%. Verdict: %s.", j.level, report.Percent(j.Probability, q.Confidence), verdictWords(j))
	}
	const reach, steps = 3.5, 140 // in spreads
	m, s := h.LogMedian, h.LogSpread
	density := func(t float64) float64 {
		z := (t - m) / s
		return math.Exp(-z*z/2) / (s * math.Sqrt(2*math.Pi))
	}
	curve := plot.Curve{Look: plot.Look{Role: plot.Model}}
	for i := range steps + 1 {
		t := m + reach*s*(2*float64(i)/steps-1)
		curve.X, curve.Y = append(curve.X, math.Exp(t)), append(curve.Y, density(t))
	}
	between := func(role plot.Role, label string, from, to float64) (marks []plot.Mark) {
		from, to = max(from, m-reach*s), min(to, m+reach*s)
		if !(from < to) {
			return nil
		}
		b := plot.Band{Look: plot.Look{Role: role, Label: label}}
		for i := range steps + 1 {
			t := from + (to-from)*float64(i)/steps
			b.X, b.Low, b.High = append(b.X, math.Exp(t)), append(b.Low, 0), append(b.High, density(t))
		}
		return []plot.Mark{b}
	}
	x := plot.Axis{Kind: plot.Log, Include: append(slices.Clone(q.Levels), curve.X[0], curve.X[steps])}
	top := plot.Panel{X: x, Y: plot.Axis{Label: "Probability density, per unit of ln(Bq/m³)", Include: []float64{0}}, Height: 150}
	if len(all) == 1 {
		l := math.Log(h.level)
		top.Marks = append(top.Marks, between(plot.Model, fmt.Sprintf("below %g Bq/m³", h.level), math.Inf(-1), l)...)
		top.Marks = append(top.Marks, between(plot.Attention, fmt.Sprintf("above %g Bq/m³", h.level), l, math.Inf(1))...)
	} else {
		top.Marks = append(top.Marks, between(plot.Model, "", math.Inf(-1), math.Inf(1))...)
	}
	top.Marks = append(top.Marks, curve)
	top.Marks = append(top.Marks, levelRules(q.Levels, true)...)

	rows := plot.Axis{Kind: plot.Rows, Names: []string{fmt.Sprintf("annual mean, %g %%", percent)}}
	mean := plot.Intervals{Look: plot.Look{Role: plot.Model}, Across: true, At: []float64{0}, Value: []float64{e.Value}, Low: []float64{e.Lower}, High: []float64{e.Upper}}
	if unseen {
		rows.Names[0] = "annual mean, at most"
		mean.Value, mean.Low = []float64{e.Upper}, []float64{math.Inf(-1)}
	}
	marks := []plot.Mark{mean}
	if h.RawMean > 0 {
		role, name := plot.Measured, "raw mean of the test"
		if unseen {
			role, name = plot.Limit, "test, below its limit"
		}
		marks = append(marks, plot.Points{Look: plot.Look{Role: role}, X: []float64{h.RawMean}, Y: []float64{float64(len(rows.Names))}})
		rows.Names = append(rows.Names, name)
	}
	if len(all) == 1 && h.BandLower < h.BandUpper && h.BandLower > 0 && !math.IsInf(h.BandUpper, 1) && !unseen {
		marks = append(marks, plot.Spells{Look: plot.Look{Role: plot.Quiet}, From: []float64{h.BandLower}, To: []float64{h.BandUpper}, Y: []float64{float64(len(rows.Names))}})
		rows.Names = append(rows.Names, "would settle nothing")
		f.Notes = append([]string{"Lowest line: readings of this same test that would settle nothing."}, f.Notes...)
		x.Include = append(x.Include, h.BandLower, h.BandUpper)
	}
	if unseen {
		x.Include = slices.Clone(q.Levels) // and not the curve's ends
	}
	if h.RawMean > 0 {
		x.Include = append(x.Include, h.RawMean)
	}
	top.X = x
	top.X.Label, x.Label = "Annual mean, Bq/m³", "Radon, Bq/m³"
	under := plot.Panel{X: x, Y: rows, Marks: append(levelRules(q.Levels, true), marks...), Height: 18*float64(len(rows.Names)) + 6}
	f.Panels = []plot.Panel{top, under}
	if unseen { // the curve would be a wide prior's, cut off at its upper end
		f.Desc = "The upper limit of the annual mean, and the detection limit of the test, against the level."
		f.Notes = []string{"Nothing but a detection limit was seen: only an upper limit of the annual mean is the home's own. No curve of what is likely is drawn, since its middle and its lower end would be of a wide prior and not of this home.", caution}
		f.Panels = []plot.Panel{under}
	}
	return f
}

// intervalsFigure is a line for each home.
func (q *question) intervalsFigure(homes, all []judged, by string) plot.Figure {
	percent := round(100 * q.Confidence)
	var places []analysis.Place
	for _, h := range homes {
		places = append(places, h.Place)
	}
	name := resultNames(places, by)
	p := plot.Panel{X: plot.Axis{Label: "Annual mean, Bq/m³", Kind: plot.Log, Include: q.Levels}, Y: plot.Axis{Kind: plot.Rows}}
	p.Marks = levelRules(q.Levels, true)
	line := plot.Intervals{Look: plot.Look{Role: plot.Model, Label: fmt.Sprintf("annual mean, %g %% interval", percent)}, Across: true}
	most := plot.Intervals{Look: plot.Look{Role: plot.Limit, Label: "annual mean, at most"}, Across: true}
	for i, h := range homes {
		e := h.AnnualMean
		if belowLimit(h.Result) { // only the upper limit is the home's own
			most.At, most.Value = append(most.At, float64(i)), append(most.Value, e.Upper)
			most.Low, most.High = append(most.Low, math.Inf(-1)), append(most.High, e.Upper)
		} else {
			line.At, line.Value = append(line.At, float64(i)), append(line.Value, e.Value)
			line.Low, line.High = append(line.Low, e.Lower), append(line.High, e.Upper)
		}
		p.Y.Names = append(p.Y.Names, name(h.Place))
		words := ""
		for _, j := range all {
			if j.Place == h.Place {
				if words != "" {
					words += ", "
				}
				words += string(j.Verdict)
			}
		}
		p.Beside = append(p.Beside, words)
	}
	notes := []string{caution}
	if most.At != nil {
		notes = append([]string{"Of a home that saw nothing but a detection limit the upper end alone is known."}, notes...)
	}
	for _, l := range []plot.Intervals{line, most} {
		if l.At != nil {
			p.Marks = append(p.Marks, l)
		}
	}
	return plot.Figure{
		Title:  "Annual means against the level",
		Lead:   fmt.Sprintf("At the right the verdicts, level by level. One needs a probability of %g %% on its own side of the level, so that an interval may reach a little across.", percent),
		Desc:   "A line for each home: its annual mean with its interval; the levels as broken lines.",
		Panels: []plot.Panel{p}, Notes: notes,
	}
}
