package main

import (
	"fmt"
	"math"
	"sort"

	"radonyear/analysis/survey"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

// communityFigure draws the homes' annual means with the fitted distribution, and the
// share above the first level area by area, the highest first.
func (q communityQuestion) communityFigure(homes []survey.Home, post survey.PosteriorResult) plot.Figure {
	percent := round(100 * q.Confidence)
	c := post.Community
	level := q.Levels[0]
	f := plot.Figure{
		Title: fmt.Sprintf("Radon in %s", count(c.Homes, "home")),
		Desc:  "Above, the homes' annual means counted in steps of equal ratio, with the log-normal distribution of true annual means fitted to them and the levels as broken lines. Below, for each area the share of homes above the level with its interval, the highest share first.",
	}
	of := "homes"
	if q.populations != nil { // the community's figures are then of other homes than those measured
		of = "all dwellings"
		f.Title = fmt.Sprintf("Radon in all dwellings, from %s", count(c.Homes, "home"))
		f.Desc = "Above, the measured homes' annual means counted in steps of equal ratio, with the distribution of their true annual means as fitted area by area, and the levels as broken lines. Below, for each area the share of homes above the level with its interval, the highest share first, and the share of all dwellings."
		f.Notes = append(f.Notes, "Bars and curve are of the homes measured. The figures above and the share of all dwellings count each area by its dwellings, not by the homes measured in it.")
	}
	if len(c.Above) > 0 {
		s := c.Above[0].Share
		f.Lead = fmt.Sprintf("Above %g Bq/m³: %s %% of %s, %g %% interval %s to %s %%. Geometric mean %s Bq/m³, geometric standard deviation %s.", level,
			report.Number(100*s.Value), of, percent, report.Number(100*s.Lower), report.Number(100*s.Upper), report.Number(c.GM.Value, q.Levels...), report.Number(c.GSD.Value))
	}
	bars, left := q.histogram(homes)
	x := plot.Axis{Label: "Annual mean, Bq/m³", Kind: plot.Log, Include: q.Levels}
	top := plot.Panel{X: x, Y: plot.Axis{Label: "Homes, number", Include: []float64{0}}, Height: 150}
	if bars.Heights != nil {
		if q.populations != nil {
			bars.Label = "homes measured, by their tests"
			top.Marks = append(top.Marks, bars, measuredCurve(bars, post))
		} else {
			top.Marks = append(top.Marks, bars, curveOver(bars, len(homes), c))
		}
	}
	top.Marks = append(top.Marks, levelRules(q.Levels, true)...)
	f.Panels = []plot.Panel{top}
	if p, shown := q.areasPanel(post); shown > 1 {
		f.Panels = append(f.Panels, p)
		if shown < len(post.Areas) {
			f.Notes = append(f.Notes, fmt.Sprintf("The %d areas with the highest shares, of %d.", shown, len(post.Areas)))
		}
	}
	note := "Homes' estimates scatter more than their true means do, by the error of their tests, so that bars may reach beyond the curve."
	if q.testError == "none" {
		note = "Raw means were taken for annual ones, so the spread of short tests is in bars and curve."
	}
	f.Notes = append(f.Notes, note)
	if left > 0 {
		f.Notes = append(f.Notes, fmt.Sprintf("%s known only within limits: counted in the curve, and in no bar.", count(left, "home")))
	}
	f.Notes = append(f.Notes, caution)
	return f
}

// histogram counts the homes' estimates in steps of equal ratio; left is how many are
// known only within limits.
func (q communityQuestion) histogram(homes []survey.Home) (bars plot.Bars, left int) {
	var logs []float64
	for _, h := range homes {
		if h.Below || h.Lower < h.Upper {
			left++
			continue
		}
		logs = append(logs, h.Log)
	}
	if len(logs) == 0 {
		return bars, left
	}
	sort.Float64s(logs)
	low, high := logs[0], logs[len(logs)-1]
	// Steps of a fifth to twice a factor of ten, as many as homes bear.
	step := math.Ln10 / 5
	for _, parts := range []float64{20, 10, 5, 2, 1} {
		step = math.Ln10 / parts
		if (high-low)/step <= 2*math.Sqrt(float64(len(logs)))+2 {
			break
		}
	}
	first := math.Floor(low/step + 1e-9)
	n := int(math.Floor(high/step+1e-9)-first) + 1
	bars = plot.Bars{Look: plot.Look{Role: plot.Measured, Label: "homes, by their tests"}, Heights: make([]float64, n)}
	for i := range n + 1 {
		bars.Edges = append(bars.Edges, math.Exp((first+float64(i))*step))
	}
	for _, l := range logs {
		bars.Heights[min(max(int(math.Floor(l/step+1e-9)-first), 0), n-1)]++
	}
	return bars, left
}

// curveOver is the fitted distribution in homes a bar.
func curveOver(bars plot.Bars, homes int, c survey.Community) plot.Curve {
	out := plot.Curve{Look: plot.Look{Role: plot.Model, Label: "true annual means, as fitted"}}
	m, s := math.Log(c.GM.Value), math.Log(c.GSD.Value)
	step := math.Log(bars.Edges[1] / bars.Edges[0])
	const reach, steps = 3.0, 120
	if !(s > 0) {
		return out
	}
	for i := range steps + 1 {
		z := reach * (2*float64(i)/steps - 1)
		out.X = append(out.X, math.Exp(m+z*s))
		out.Y = append(out.Y, float64(homes)*step*math.Exp(-z*z/2)/(s*math.Sqrt(2*math.Pi)))
	}
	return out
}

// measuredCurve is the distribution of the measured homes' true annual means, in homes a
// bar: each area's as fitted, counted by the homes measured there.
func measuredCurve(bars plot.Bars, post survey.PosteriorResult) plot.Curve {
	out := plot.Curve{Look: plot.Look{Role: plot.Model, Label: "their true annual means, as fitted"}}
	step := math.Log(bars.Edges[1] / bars.Edges[0])
	const reach, steps = 3.0, 120
	type law struct{ homes, m, s float64 }
	var laws []law
	low, high := math.Inf(1), math.Inf(-1)
	for _, a := range post.Areas {
		// How far a home lies from its area, and how well the area is known.
		s := math.Hypot(post.SDHome.Value, a.SDMeanLog)
		if a.Homes == 0 || !(s > 0) {
			continue
		}
		laws = append(laws, law{float64(a.Homes), a.MeanLog, s})
		low, high = min(low, a.MeanLog-reach*s), max(high, a.MeanLog+reach*s)
	}
	if laws == nil {
		return out
	}
	for i := range steps + 1 {
		t := low + (high-low)*float64(i)/steps
		y := 0.0
		for _, l := range laws {
			z := (t - l.m) / l.s
			y += l.homes * step * math.Exp(-z*z/2) / (l.s * math.Sqrt(2*math.Pi))
		}
		out.X, out.Y = append(out.X, math.Exp(t)), append(out.Y, y)
	}
	return out
}

// areasPanel is a line for each area, and how many are shown.
func (q communityQuestion) areasPanel(post survey.PosteriorResult) (plot.Panel, int) {
	areas := append([]survey.AreaLevel{}, post.Areas...)
	sort.SliceStable(areas, func(i, j int) bool { return areas[i].Above[0].Share.Value > areas[j].Above[0].Share.Value })
	shown := min(len(areas), mostRows)
	p := plot.Panel{
		Title: fmt.Sprintf("Share of homes above %s Bq/m³", report.Number(q.Levels[0], q.Levels[0])),
		X:     plot.Axis{Label: "Share of homes, %", Kind: plot.Percent},
		Y:     plot.Axis{Kind: plot.Rows},
	}
	percent := round(100 * q.Confidence)
	line := plot.Intervals{Look: plot.Look{Role: plot.After, Label: fmt.Sprintf("an area's share, %g %% interval", percent)}, Across: true}
	few := plot.Intervals{Look: plot.Look{Role: plot.Before, Label: fmt.Sprintf("of under %d homes: leans on the other areas", q.minHomes)}, Across: true}
	for i, a := range areas[:shown] {
		s := a.Above[0].Share
		l := &line
		if a.Homes < q.minHomes {
			l = &few
		}
		l.At, l.Value, l.Low, l.High = append(l.At, float64(i)), append(l.Value, s.Value), append(l.Low, s.Lower), append(l.High, s.Upper)
		name := a.Area
		if name == "" {
			name = "(none)"
		}
		p.Y.Names = append(p.Y.Names, name)
		p.Beside = append(p.Beside, count(a.Homes, "home"))
	}
	if c := post.Community.Above; len(c) > 0 {
		label := "the community's share"
		if q.populations != nil {
			label = "the share of all dwellings"
		}
		p.Marks = append(p.Marks, plot.Rule{Look: plot.Look{Role: plot.Quiet, Label: label}, Upright: true, At: c[0].Share.Value})
	}
	for _, l := range []plot.Intervals{line, few} {
		if l.At != nil {
			p.Marks = append(p.Marks, l)
		}
	}
	return p, shown
}
