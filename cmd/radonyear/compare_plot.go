package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/compare"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

// leastJoined is under how many homes joined no sentence is made of their middle.
const leastJoined = 3

// reductionsFigure draws a line for each home: what is left of its annual mean with
// the system, and below them each group's homes joined, all of them joined and what the
// next may expect.
func (q compareQuestion) reductionsFigure(results []compared, joinedOf joinedHomes) (plot.Figure, error) {
	if err := fits(len(results), "homes", mostRows, fewerHomes); err != nil {
		return plot.Figure{}, err
	}
	joined := joinedOf.all
	percent := round(100 * q.Confidence)
	var places []analysis.Place
	for _, r := range results {
		places = append(places, r.Place)
	}
	name := resultNames(places, "home")
	p := plot.Panel{
		X: plot.Axis{Label: "Annual mean with the system, in % of that without", Kind: plot.Log, Include: []float64{100}},
		Y: plot.Axis{Kind: plot.Rows},
	}
	tenfold := false // some reduction is told as less than -900 %
	add := func(line *plot.Intervals, name string, ratio, reduction analysis.Estimate) {
		line.Across = true
		line.At = append(line.At, float64(len(p.Y.Names)))
		line.Value = append(line.Value, 100*ratio.Value)
		line.Low, line.High = append(line.Low, 100*ratio.Lower), append(line.High, 100*ratio.Upper)
		p.Y.Names = append(p.Y.Names, name)
		p.Beside = append(p.Beside, fmt.Sprintf("%s (%s)", report.Value(reduction), report.Interval(reduction)))
		for _, x := range []float64{reduction.Value, reduction.Lower, reduction.Upper} {
			tenfold = tenfold || report.Tenfold(reduction, x)
		}
	}
	homes := plot.Intervals{Look: plot.Look{Role: plot.After, Label: fmt.Sprintf("a home, %g %% interval", percent)}}
	bounds := plot.Intervals{Look: plot.Look{Role: plot.Limit, Label: "a home with limits only on one side, its bound"}}
	for _, r := range results {
		bound, ratio := r.bound()
		if bound == "" {
			add(&homes, name(r.Place), r.Ratio, r.Reduction)
			continue
		}
		known := tenfold
		add(&bounds, name(r.Place), ratio, r.Reduction)
		p.Beside[len(p.Beside)-1] = bound // in place of what is not told of it
		tenfold = known || r.Without.AllBelow && report.Tenfold(r.Reduction, r.Reduction.Upper)
	}
	p.Marks = []plot.Mark{plot.Rule{Look: plot.Look{Role: plot.Quiet, Label: "no change"}, Upright: true, At: 100}}
	for _, line := range []plot.Intervals{homes, bounds} {
		if line.At != nil {
			p.Marks = append(p.Marks, line)
		}
	}
	f := plot.Figure{
		Title: fmt.Sprintf("What the systems did in %d homes", len(results)),
		Desc:  "A line for each home: its annual mean with the system in percent of that without, with its interval; at the right the reductions in percent.",
		Notes: []string{"At the right: reduction of the annual mean in percent, with its interval. " + caution},
	}
	if bounds.At != nil {
		f.Notes = append([]string{"Where one side of a home is limits only, no more than a bound of its reduction is known, and the arrow's side is open."}, f.Notes...)
	}
	if q.find {
		f.Notes = append([]string{notJoined.Text}, f.Notes...)
	}
	if joined != nil {
		f.Desc = "A line for each home: its annual mean with the system in percent of that without, with its interval; under them all homes joined, and the range in which the next home is expected. At the right the reductions in percent."
		label, name := "all homes joined", "all homes"
		if joined.Homes < len(results) {
			label, name = fmt.Sprintf("%d homes joined", joined.Homes), fmt.Sprintf("%d homes joined", joined.Homes)
		}
		if len(results)+len(joinedOf.groups) <= mostRows {
			groups := plot.Intervals{Look: plot.Look{Role: plot.Group, Label: "a group's homes joined"}}
			for _, g := range joinedOf.groups {
				add(&groups, fmt.Sprintf("%s (%d)", g.name, g.Homes), g.Ratio, g.Reduction)
			}
			if groups.At != nil {
				p.Marks = append(p.Marks, groups)
				f.Desc = strings.Replace(f.Desc, "under them all homes", "under them those of each group joined, with how many they are, all homes", 1)
			}
		} else {
			f.Notes = append([]string{fmt.Sprintf("Homes of all groups are joined here; by %s they are in the table, being too many for one picture.", q.by)}, f.Notes...)
		}
		all := plot.Intervals{Look: plot.Look{Role: plot.Joined, Label: label}}
		add(&all, name, joined.Ratio, joined.Reduction)
		p.Marks = append(p.Marks, all)
		of := "the homes"
		if joined.Homes < len(results) {
			of = fmt.Sprintf("the %d homes with more than limits on both sides", joined.Homes)
		}
		e := joined.Reduction
		switch {
		case joined.Homes < leastJoined:
		case e.Value >= 0:
			f.Lead = fmt.Sprintf("In the middle of %s the annual mean falls by %s %%, %g %% interval %s.", of, report.Number(e.Value), percent, reductionRange(e, ""))
		default:
			f.Lead = fmt.Sprintf("In the middle of %s the annual mean with the systems is %s.", of, higherWords(e, fmt.Sprintf("%g %% interval", percent)))
		}
		if joined.Next != nil {
			next := plot.Intervals{Look: plot.Look{Role: plot.Next, Label: "the next home"}}
			add(&next, "next home", *joined.Next, compare.ReductionOf(*joined.Next))
			p.Marks = append(p.Marks, next)
		}
		if joined.Homes < fewJoined {
			f.Notes = append([]string{fmt.Sprintf("%s joined: under %d say next to nothing of others like them.", count(joined.Homes, "home"), fewJoined)}, f.Notes...)
		}
	}
	if tenfold {
		f.Notes = append([]string{report.TenfoldMeans}, f.Notes...)
	}
	homes.Low, homes.High = slices.Concat(homes.Low, bounds.Low), slices.Concat(homes.High, bounds.High)
	p.X.Min, p.X.Max = homesRange(homes, p.Marks)
	f.Panels = []plot.Panel{p}
	return f, nil
}

// bound is what is known of a home with limits only on one side: the words for its
// reduction, and its ratio with an open end; "" for a home with more on both sides.
func (r compared) bound() (words string, ratio analysis.Estimate) {
	ratio = r.Ratio
	switch {
	case r.With.AllBelow:
		if words = "at least " + report.Number(r.Reduction.Lower); report.Tenfold(r.Reduction, r.Reduction.Lower) {
			words = "not told"
		}
		ratio.Value, ratio.Lower = ratio.Upper, math.Inf(-1)
	case r.Without.AllBelow:
		if words = "at most " + report.Number(r.Reduction.Upper); report.Tenfold(r.Reduction, r.Reduction.Upper) {
			words = report.Interval(r.Reduction)
		}
		ratio.Value, ratio.Upper = ratio.Lower, math.Inf(1)
	}
	return words, ratio
}

// homesRange is the range of an axis of ratios in percent: that of the homes, no change
// and all values, and of what few homes say together no more than three times as far.
func homesRange(homes plot.Intervals, marks []plot.Mark) (low, high float64) {
	const beyond, edge = 3, 1.15
	low, high = 100, 100
	least, most := low, high // of all
	add := func(low, high *float64, values ...float64) {
		for _, v := range values {
			if v > 0 && !math.IsInf(v, 1) {
				*low, *high = min(*low, v), max(*high, v)
			}
		}
	}
	add(&low, &high, slices.Concat(homes.Low, homes.High)...)
	for _, m := range marks {
		if line, ok := m.(plot.Intervals); ok {
			add(&low, &high, line.Value...)
			add(&least, &most, slices.Concat(line.Value, line.Low, line.High)...)
		}
	}
	return max(low/beyond, min(low, least)) / edge, min(high*beyond, max(high, most)) * edge
}

// mostDated is how many lines of several systems' switches the legend tells apart by day.
const mostDated = 6

// asNow says of a verdict that it is not of all that was measured with the system.
func (r compared) asNow() string {
	if r.Now == nil || r.ended() {
		return ""
	}
	return " as it is now"
}

// twoYearsFigure draws one home: what was measured without and with its system, and
// both annual means of the same twelve months.
func (q compareQuestion) twoYearsFigure(r compared, typed bool) plot.Figure {
	percent := round(100 * q.Confidence)
	f := plot.Figure{
		Title: "Before and after: home " + report.PlaceName(analysis.Place{Home: r.Home, Area: r.Area}),
		Lead:  fmt.Sprintf("Annual mean %s without the system, %s with %s, by %g %% intervals. %s", q.meanWords(r.Without), q.meanWords(r.With), strings.TrimSuffix(withWords(r.Result), ","), percent, q.reductionWords(r)),
		Desc:  "Readings over time without the system and with it; at the right both annual means of the same twelve months with their intervals, and where a note says so the one as it is now, of its own twelve months; the levels as broken lines.",
		Notes: []string{fmt.Sprintf("Both annual means are of the twelve months from %s. %s", r.YearStart.Format(time.DateOnly), caution)},
	}
	if n := r.Now; n != nil {
		as := "As it is now"
		if r.ended() {
			as = "Over the last twelve months"
		}
		f.Lead += fmt.Sprintf(" %s %s.", as, q.meanWords(n.Side))
		f.Notes[0] = fmt.Sprintf(as+": by %s, of the twelve months from %s. The other%s", nowDays(n), n.YearStart.Format(time.DateOnly), strings.TrimPrefix(f.Notes[0], "Both"))
	}
	for k, b := range r.Below {
		f.Lead += fmt.Sprintf(" Verdict on %g Bq/m³, with the system%s: %s.", b.Level, r.asNow(), levelWords(r, k))
	}
	if typed {
		f.Title = "Before and after, as typed in"
	}
	p := plot.Panel{X: plot.Axis{Kind: plot.Dates}, Y: concentration("Radon")}
	zone := r.YearStart.Location()
	named := map[string]bool{}
	several := slices.ContainsFunc(r.toggles, func(t toggle) bool { return t.system != r.toggles[0].system || len(t.systems) > 1 })
	for _, t := range r.toggles {
		look := plot.Look{Role: plot.Attention}
		if !t.on {
			look.Role = plot.Quiet
		}
		label := "system switched " + t.state()
		if several {
			if t.system != "" {
				label = fmt.Sprintf("%q switched %s", t.system, t.state())
			}
			if len(r.toggles) <= mostDated {
				label += ", " + t.in(zone).Format(time.DateOnly)
			}
		}
		if !named[label] {
			look.Label, named[label] = label, true
		}
		p.Marks = append(p.Marks, plot.Rule{Look: look, Upright: true, At: plotDay(t.in(zone))})
	}
	if r.toggles == nil && !r.Switched.IsZero() {
		label := "system switched on"
		if r.found != nil {
			label = "a change found, not confirmed"
		}
		p.Marks = append(p.Marks, plot.Rule{Look: plot.Look{Role: plot.Attention, Label: label}, Upright: true, At: plotDay(r.Switched.In(zone))})
	}
	p.Marks = append(p.Marks, readingMarks(r.sides[0], plot.Before, "day without", "test without")...)
	left := analysis.Keep(r.sides[1], func(x analysis.Reading) bool { return !r.compares(x) })
	p.Marks = append(p.Marks, readingMarks(left, plot.Quiet, "day with, left out", "test with, left out")...)
	p.Marks = append(p.Marks, readingMarks(analysis.Keep(r.sides[1], r.compares), plot.After, "day with", "test with")...)
	for _, x := range r.rises {
		label := "readings rose, about " + x.since.Format(time.DateOnly)
		p.Marks = append(p.Marks, plot.Rule{Look: plot.Look{Role: plot.Level3, Label: label}, Upright: true, At: plotDay(x.since)})
	}
	// The means stand behind the last day drawn, next to each other.
	type mean struct {
		compare.Side
		role       plot.Role
		label      string
		start, end time.Time // of its twelve months
	}
	means := []mean{{r.Without, plot.Before, "annual mean without", r.YearStart, r.YearEnd}, {r.With, plot.After, "annual mean with", r.YearStart, r.YearEnd}}
	if n := r.Now; n != nil {
		label := "annual mean as it is now"
		if r.ended() {
			label = "annual mean, last twelve months"
		}
		means = append(means, mean{n.Side, plot.Joined, label, n.YearStart, n.YearEnd})
	}
	from, to := plotDay(r.Without.Start), plotDay(r.Without.End)
	for _, m := range means {
		for _, t := range []time.Time{m.Start, m.End, m.start, m.end} {
			from, to = min(from, plotDay(t)), max(to, plotDay(t))
		}
	}
	for k, m := range means {
		e := m.AnnualMean
		at := to + (to-from)*(0.02+0.025*float64(k))
		if m.AllBelow { // only the upper limit is the home's own
			p.Marks = append(p.Marks, plot.Intervals{Look: plot.Look{Role: m.role, Label: m.label + ", at most"}, At: []float64{at}, Value: []float64{e.Upper}, Low: []float64{math.Inf(-1)}, High: []float64{e.Upper}})
			continue
		}
		until := at
		if r.Now != nil { // of two times twelve months each is drawn over its own
			until = plotDay(m.end)
		}
		p.Marks = append(p.Marks,
			plot.Rule{Look: plot.Look{Role: m.role}, At: e.Value, From: plotDay(m.start), To: until},
			plot.Intervals{Look: plot.Look{Role: m.role, Label: fmt.Sprintf("%s, %g %%", m.label, percent)}, At: []float64{at}, Value: []float64{e.Value}, Low: []float64{e.Lower}, High: []float64{e.Upper}})
	}
	p.Marks = append(p.Marks, levelRules(q.Levels, false)...) // last: a mean on its level hides no line
	f.Panels = []plot.Panel{p}
	return f
}
