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
		Desc:  "Above, the homes' annual means counted in steps of equal ratio, with the distribution of their true annual means as fitted area by area, and the levels as broken lines. Below, for each area the share of homes above the level with its interval, the highest share first.",
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
		curve := mixedCurve(math.Log(bars.Edges[1]/bars.Edges[0]), areaLaws(post))
		if q.populations != nil {
			bars.Label, curve.Label = "homes measured, by their tests", "their true annual means, as fitted"
		}
		top.Marks = append(top.Marks, bars, curve)
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

// mixedCurve is the distribution of homes' true annual means, in homes a bar of so wide a
// step of the logarithm: each area's as fitted, counted by its homes. What lies above a
// level is then what the areas have above it, which it would not be under one log-normal
// curve where areas differ.
func mixedCurve(step float64, laws []areaLaw) plot.Curve {
	out := plot.Curve{Look: plot.Look{Role: plot.Model, Label: "true annual means, as fitted"}}
	const reach, steps = 3.0, 120
	low, high := math.Inf(1), math.Inf(-1)
	for _, l := range laws {
		if l.homes > 0 && l.sd > 0 {
			low, high = min(low, l.mean-reach*l.sd), max(high, l.mean+reach*l.sd)
		}
	}
	if !(low < high) {
		return out
	}
	for i := range steps + 1 {
		t := low + (high-low)*float64(i)/steps
		y := 0.0
		for _, l := range laws {
			if l.homes > 0 && l.sd > 0 {
				z := (t - l.mean) / l.sd
				y += l.homes * step * math.Exp(-z*z/2) / (l.sd * math.Sqrt(2*math.Pi))
			}
		}
		out.X, out.Y = append(out.X, math.Exp(t)), append(out.Y, y)
	}
	return out
}

// areaLaw is how the logarithms of an area's homes lie.
type areaLaw struct{ homes, mean, sd float64 }

// areaLaws are those of the areas as fitted.
func areaLaws(post survey.PosteriorResult) (laws []areaLaw) {
	for _, a := range post.Areas {
		// How far a home lies from its area, and how well the area is known.
		laws = append(laws, areaLaw{float64(a.Homes), a.MeanLog, math.Hypot(post.SDHome.Value, a.SDMeanLog)})
	}
	return laws
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
