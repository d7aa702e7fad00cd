package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/temporal"
	"radonyear/analysis/trend"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

// chartFigure draws both charts of one monitor, or the first of several.
func chartFigure(all []watched) (plot.Figure, error) {
	if err := fits(len(all), "monitors", mostPanels, fewerHomes); err != nil {
		return plot.Figure{}, err
	}
	f := plot.Figure{
		Desc:  "Day means as factors on what is usual at that time of the year, their moving average (EWMA) with its limit, and the cumulative sum (CUSUM) with its limit; alarms as upright lines, and the likely first day of the rise.",
		Notes: []string{"Quiet means unchanged; it does not mean low. A chart replaces neither the gauge on the pipe nor a retest. " + caution},
	}
	if slices.ContainsFunc(all, func(w watched) bool { return w.before != nil }) {
		f.Desc += " Where another monitor learned it anew, what was usual before is a line too."
	}
	for i, w := range all {
		average, sum := w.charts()
		if len(all) == 1 {
			f.Panels = []plot.Panel{average, sum}
			break
		}
		average.Title = report.PlaceName(w.Place)
		if of := func(o watched) bool { return o.Home == w.Home && o.Room == w.Room }; slices.ContainsFunc(all[:i], of) || slices.ContainsFunc(all[i+1:], of) {
			average.Title = report.MonitorName(w.Place)
		}
		for i, m := range average.Marks {
			if line, ok := m.(plot.Curve); ok {
				line.Label = "EWMA"
				average.Marks[i] = line
			}
		}
		f.Panels = append(f.Panels, average)
	}
	if len(all) > 1 {
		f.Title = stillWorking(all)
		f.Lead = usualsDiffer(all)
		if len(all) > 2 {
			f.Columns = 2
		}
		return f, nil
	}
	w := all[0]
	f.Title = "Is the system still doing its work? Home " + report.PlaceName(analysis.Place{Home: w.Home, Room: w.Room})
	f.Lead = fmt.Sprintf("State on %s: %s. Usual: %s Bq/m³, from %s.", temporal.Date(w.Points[len(w.Points)-1].Day, w.zone).Format(time.DateOnly), w.State,
		report.Number(w.GM), count(w.Days, "day"))
	if u := w.before; u != nil {
		f.Lead = fmt.Sprintf("%s, %s.", strings.TrimSuffix(f.Lead, "."), w.usualWords())
	}
	if w.usualRose {
		f.Lead += " If the system failed, that was learned as usual: look at the gauge."
	}
	if a := w.Alarm; a != nil {
		f.Lead += fmt.Sprintf(" Alarm of %s, likely since %s: a rise by a factor of %s, %g %% interval %s.", temporal.Date(a.Day, w.zone).Format(time.DateOnly),
			temporal.Date(a.Start, w.zone).Format(time.DateOnly), report.Number(a.Ratio.Value), round(100*a.Ratio.Confidence), report.Interval(a.Ratio))
	}
	return f, nil
}

// stillWorking is the question that charts of several monitors answer: of one home's system,
// or of several homes'.
func stillWorking(all []watched) string {
	homes := map[[2]string]bool{} // of one name in two areas there are two
	for _, w := range all {
		homes[[2]string{w.Home, w.Area}] = true
	}
	if len(homes) == 1 {
		return fmt.Sprintf("Is the system still doing its work? Home %s, by %d monitors", report.PlaceName(analysis.Place{Home: all[0].Home}), len(all))
	}
	return fmt.Sprintf("Are the systems of %d homes still doing their work?", len(homes))
}

// mostUsuals is how many monitors' usuals a picture of several tells in words.
const mostUsuals = 3

// usualsDiffer names the monitors whose usual is another than before, "" where none is.
func usualsDiffer(all []watched) string {
	var words []string
	for _, w := range all {
		if w.before != nil && w.before.change() != "not certain" {
			words = append(words, fmt.Sprintf("What is usual by %s is %s.", report.MonitorName(w.Place), w.usualWords()))
		}
	}
	if n := len(words) - mostUsuals; n > 0 {
		words = append(words[:mostUsuals], fmt.Sprintf("That of %d more is another than before, too.", n))
	}
	return strings.Join(words, " ")
}

// charts are the panels of one monitor.
func (w watched) charts() (average, sum plot.Panel) {
	days := plot.Points{Look: plot.Look{Role: plot.Measured, Label: "day mean"}}
	ewma := plot.Curve{Look: plot.Look{Role: plot.Model, Label: "chart: EWMA above, CUSUM below"}}
	cusum := plot.Curve{Look: plot.Look{Role: plot.Model}}
	for _, p := range w.Points {
		x := float64(p.Day) + 0.5
		days.X, days.Y = append(days.X, x), append(days.Y, math.Exp(p.Z))
		ewma.X, ewma.Y = append(ewma.X, x), append(ewma.Y, math.Exp(p.EWMA))
		cusum.X, cusum.Y = append(cusum.X, x), append(cusum.Y, p.CUSUM)
	}
	limit := func(at float64, label string) plot.Mark {
		return plot.Rule{Look: plot.Look{Role: plot.Level, Label: label}, At: at}
	}
	var alarms []plot.Mark
	list := append([]trend.Alarmed{}, w.Earlier...)
	if w.Alarm != nil {
		list = append(list, *w.Alarm)
	}
	for _, a := range list {
		alarms = append(alarms,
			plot.Rule{Look: plot.Look{Role: plot.Level3, Label: "likely start of the rise"}, Upright: true, At: float64(a.Start) + 0.5},
			plot.Rule{Look: plot.Look{Role: plot.Attention, Label: "alarm"}, Upright: true, At: float64(a.Day) + 0.5})
	}
	x := plot.Axis{Kind: plot.Dates}
	usual := []plot.Mark{plot.Rule{Look: plot.Look{Role: plot.Quiet, Label: "as usual"}, At: 1}}
	if u := w.before; u != nil { // both are told with the season taken out, as the days are drawn
		usual = append(usual, plot.Rule{Look: plot.Look{Role: plot.Level2, Label: "as usual before, by another monitor"}, At: 1 / u.over.Value})
	}
	average = plot.Panel{X: x, Y: plot.Axis{Label: "Day mean over what is usual, ratio", Kind: plot.Log},
		Marks: slices.Concat([]plot.Mark{days}, usual, []plot.Mark{limit(math.Exp(w.EWMALimit), "its limit")}, alarms, []plot.Mark{ewma})}
	sum = plot.Panel{X: x, Y: plot.Axis{Label: "CUSUM, sum of ln(ratio)", Include: []float64{0}}, Height: 110,
		Marks: append(append([]plot.Mark{limit(w.CUSUMLimit, "its limit")}, alarms...), cusum)}
	return average, sum
}
