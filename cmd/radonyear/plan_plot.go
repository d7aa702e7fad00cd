package main

import (
	"fmt"
	"math"

	"radonyear/analysis/plan"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

// planned is a number of homes or days with what it brings.
type planned struct {
	criterion string
	at        float64
	brings    []float64 // one a panel
}

// planCurve is a panel of a plan's picture: what homes or days bring.
type planCurve struct {
	title, curve string
	x, y         plot.Axis
	target       float64 // that the answer was sought for
	targetLabel  string
}

// homesAxis is an axis of numbers of homes.
func homesAxis(areas int) plot.Axis {
	label := "Homes measured"
	if areas > 1 {
		label += " in each area"
	}
	return plot.Axis{Label: label, Kind: plot.Log}
}

// planFigure draws curves one above the other, with the answers on them.
func (a *planner) planFigure(title, desc string, curves []planCurve, points, answers []planned) plot.Figure {
	f := plot.Figure{Title: title, Desc: desc}
	if len(a.doc.Lead) > 0 {
		f.Lead = a.doc.Lead[0]
	}
	f.Notes = []string{caution}
	if a.foremost != "" {
		f.Notes = []string{a.foremost, caution} // each whole, however long
	}
	for i, c := range curves {
		line := plot.Curve{Look: plot.Look{Role: plot.Model, Label: c.curve}}
		dots := plot.Points{Look: plot.Look{Role: plot.Measured}}
		for _, p := range points {
			line.X, line.Y = append(line.X, p.at), append(line.Y, p.brings[i])
			dots.X, dots.Y = append(dots.X, p.at), append(dots.Y, p.brings[i])
		}
		p := plot.Panel{Title: c.title, X: c.x, Y: c.y}
		if len(curves) > 1 {
			p.Height = 150
		}
		if c.target > 0 {
			p.Marks = append(p.Marks, plot.Rule{Look: plot.Look{Role: plot.Level, Label: c.targetLabel}, At: c.target})
		}
		p.Marks = append(p.Marks, line, dots)
		for _, x := range answers {
			role, label := plot.Joined, "the plan"
			if x.criterion == plan.Asked {
				role, label = plot.Attention, "asked about (--homes)"
			}
			p.Marks = append(p.Marks, plot.Points{Look: plot.Look{Role: role, Label: label}, X: []float64{x.at}, Y: []float64{x.brings[i]}})
		}
		f.Panels = append(f.Panels, p)
	}
	return f
}

// chanceAxis is an axis of probabilities.
func chanceAxis(label string) plot.Axis {
	return plot.Axis{Label: label + ", %", Kind: plot.Percent, Include: []float64{0, 1}}
}

// shareFigure draws how wide the interval of a share is, and how sure it is to be narrow.
func (a *planner) shareFigure(r plan.SharePlan) plot.Figure {
	brings := func(x plan.ShareAnswer) planned {
		return planned{x.Criterion, float64(x.Homes), []float64{x.HalfWidth, x.Within}}
	}
	points, answers := eachPlanned(r.Curve, brings), onCurve(r.Answers, brings, plan.Assured)
	o := r.Options
	return a.planFigure("How many homes for a share above a level?",
		"Half the width of the interval of the share against the number of homes, and the probability that it is within the margin; the margin and the assurance asked for as broken lines; the plan as a diamond.",
		[]planCurve{
			{"Half the interval, on average", "so many homes", homesAxis(o.Areas), plot.Axis{Label: "Percentage points either way", Kind: plot.Percent, Include: []float64{0}}, o.Margin, "margin or assurance asked for"},
			{"Chance that the interval is within the margin", "so many homes", homesAxis(o.Areas), chanceAxis("Probability"), o.Assurance, "margin or assurance asked for"},
		}, points, answers)
}

// meansFigure draws how far the limits of a mean lie off, and how sure that is.
func (a *planner) meansFigure(r plan.MeanPlan, name string) plot.Figure {
	brings := func(x plan.MeanAnswer) planned {
		return planned{x.Criterion, float64(x.Homes), []float64{x.Factor, x.Within}}
	}
	points, answers := eachPlanned(r.Curve, brings), onCurve(r.Answers, brings, plan.Assured)
	o := r.Options
	return a.planFigure("How many homes for "+name+"?",
		"The factor within which both limits of the mean lie against the number of homes, and the probability that it is within the margin; the margin and the assurance asked for as broken lines; the plan as a diamond.",
		[]planCurve{
			{"Limits within a factor, at this spread", "so many homes", homesAxis(o.Areas), plot.Axis{Label: "Factor either way", Include: []float64{1}}, 1 + o.Margin, "margin or assurance asked for"},
			{"Chance that the limits are within the margin", "so many homes", homesAxis(o.Areas), chanceAxis("Probability"), o.Assurance, "margin or assurance asked for"},
		}, points, answers)
}

// daysFigure draws how likely a verdict is after so many days.
func (a *planner) daysFigure(r plan.DaysPlan) plot.Figure {
	o := r.Options
	right := plot.Curve{Look: plot.Look{Role: plot.Model, Label: "conclusive and right, in the worst month"}}
	wrong := plot.Curve{Look: plot.Look{Role: plot.Next, Label: "conclusive and wrong, in that month"}}
	if o.Month > 0 {
		right.Label, wrong.Label = "conclusive and right", "conclusive and wrong"
	}
	months := plot.Band{Look: plot.Look{Role: plot.Model, Label: "right, over all months to start in"}}
	for _, v := range r.Lengths {
		d := float64(v.Days)
		right.X, right.Y = append(right.X, d), append(right.Y, v.Right)
		wrong.X, wrong.Y = append(wrong.X, d), append(wrong.Y, v.Wrong)
		low, high := math.Inf(1), math.Inf(-1)
		for _, m := range r.Months {
			if m.Days == v.Days {
				low, high = min(low, m.Right), max(high, m.Right)
			}
		}
		if low <= high {
			months.X, months.Low, months.High = append(months.X, d), append(months.Low, low), append(months.High, high)
		}
	}
	p := plot.Panel{X: plot.Axis{Label: "Days measured", Kind: plot.Log, Include: []float64{1.8, 400}}, Y: chanceAxis("Probability of a verdict")}
	if months.X != nil {
		p.Marks = append(p.Marks, months)
	}
	p.Marks = append(p.Marks,
		plot.Rule{Look: plot.Look{Role: plot.Level, Label: "power asked for"}, At: o.Power},
		wrong, right, plot.Points{Look: plot.Look{Role: plot.Measured}, X: right.X, Y: right.Y})
	if r.Fewest > 0 {
		p.Marks = append(p.Marks, plot.Points{Look: plot.Look{Role: plot.Joined, Label: "the plan"}, X: []float64{float64(r.At.Days)}, Y: []float64{r.At.Right}})
	}
	f := a.planFigure(fmt.Sprintf("How many days to settle on which side of %s Bq/m³?", report.Number(r.Level, r.Level)),
		"The probability that a test is conclusive and right, and that it is conclusive and wrong, against its days; the rest stays open; the power asked for as a broken line.", nil, nil, nil)
	f.Panels = []plot.Panel{p}
	return f
}

// reductionFigure draws how likely homes, and one home, show a reduction.
func (a *planner) reductionFigure(r plan.ReductionPlan) plot.Figure {
	brings := func(x plan.ReductionAnswer) planned {
		return planned{x.Criterion, float64(x.Homes), []float64{x.Power}}
	}
	points, answers := eachPlanned(r.Curve, brings), onCurve(r.Answers, brings, plan.First)
	o := r.Options
	f := a.planFigure("How many homes show that mitigation worked?",
		"The probability that homes together show the reduction against their number, and that one home by itself does against the days measured on either side; the power asked for as a broken line; the plan as a diamond.",
		[]planCurve{{fmt.Sprintf("Homes measured %s before and %d after", count(o.DaysBefore, "day"), o.DaysAfter), "chance that the reduction is shown", homesAxis(1), chanceAxis("Probability"), o.Power, "power asked for"}}, points, answers)
	f.Panels[0].Height = 150
	alone := plot.Curve{Look: plot.Look{Role: plot.Model, Label: "chance that the reduction is shown"}}
	for _, x := range r.OneHome {
		alone.X, alone.Y = append(alone.X, float64(x.Days)), append(alone.Y, x.Power)
	}
	f.Panels = append(f.Panels, plot.Panel{Title: "One home by itself", Height: 150,
		X: plot.Axis{Label: "Days measured before, and as many after", Kind: plot.Log}, Y: chanceAxis("Probability"),
		Marks: []plot.Mark{plot.Rule{Look: plot.Look{Role: plot.Level, Label: "power asked for"}, At: o.Power}, alone,
			plot.Points{Look: plot.Look{Role: plot.Measured}, X: alone.X, Y: alone.Y}}})
	return f
}

// hotFigure draws how likely a hot area is flagged, and a normal one.
func (a *planner) hotFigure(r plan.HotPlan) plot.Figure {
	o := r.Options
	hot := plot.Points{Look: plot.Look{Role: plot.After, Label: fmt.Sprintf("area with %s %% above the level", report.Number(100*o.Hot))}}
	normal := plot.Points{Look: plot.Look{Role: plot.Before, Label: fmt.Sprintf("area with %s %%", report.Number(100*o.Normal))}}
	for _, x := range r.Curve {
		n := float64(x.Homes)
		hot.X, hot.Y = append(hot.X, n), append(hot.Y, x.Power)
		normal.X, normal.Y = append(normal.X, n), append(normal.Y, x.False)
	}
	p := plot.Panel{X: homesAxis(o.Areas), Y: chanceAxis("Probability that the area is flagged")}
	p.Marks = append(p.Marks, plot.Rule{Look: plot.Look{Role: plot.Level, Label: "power asked for"}, At: o.Power},
		plot.Rule{Look: plot.Look{Role: plot.Level3, Label: "false flags allowed of an area"}, At: r.Each}, hot, normal)
	for _, x := range onCurve(r.Answers, func(x plan.HotAnswer) planned {
		return planned{x.Criterion, float64(x.Homes), []float64{x.Power}}
	}, plan.First) {
		role, label := plot.Joined, "the plan: fewest with the power"
		if x.criterion == plan.Asked {
			role, label = plot.Attention, "asked about (--homes)"
		}
		p.Marks = append(p.Marks, plot.Points{Look: plot.Look{Role: role, Label: label}, X: []float64{x.at}, Y: x.brings})
	}
	f := a.planFigure("How many homes find the hot areas?",
		"The probability that an area is flagged against the homes measured in it, for a hot area and a normal one; what was asked for as broken lines. It goes back and forth, since homes are counted.", nil, nil, nil)
	f.Panels = []plot.Panel{p}
	return f
}

// findFigure draws how likely one above the level is among those tested.
func (a *planner) findFigure(r plan.FindPlan) plot.Figure {
	brings := func(x plan.FindAnswer) planned {
		return planned{x.Criterion, float64(x.Homes), []float64{x.Chance}}
	}
	x := homesAxis(1)
	x.Label = "Homes tested"
	return a.planFigure("How many homes find one above the level?",
		"The probability that at least one home above the level is among those tested against their number; the confidence asked for as a broken line; the plan as a diamond.",
		[]planCurve{{"", "chance that one is found", x, chanceAxis("Probability"), r.Options.Confidence, "confidence asked for"}},
		eachPlanned(r.Curve, brings), onCurve(r.Answers, brings, plan.First))
}

func eachPlanned[A any](all []A, brings func(A) planned) (out []planned) {
	for _, x := range all {
		out = append(out, brings(x))
	}
	return out
}

// onCurve are the answers that are drawn: the plan, and what was asked about.
func onCurve[A any](all []A, brings func(A) planned, criterion string) (out []planned) {
	for _, x := range eachPlanned(all, brings) {
		if x.criterion == criterion || x.criterion == plan.Asked {
			out = append(out, x)
		}
	}
	return out
}
