package main

import (
	"cmp"
	"fmt"
	"math"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/quality"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// sideBySide is how much of the time that either of two detectors was up both have to be,
// for the two to be a pair; and leastTogether how many days two logs of days need in
// common, as common practice wants of a comparison of monitors.
const (
	sideBySide    = 0.9
	leastTogether = 2
)

// twin is a duplicate with the field reading of the same room and time.
type twin struct {
	quality.Pair
	Other      string // the duplicate's detector
	start, end time.Time
}

// stint is what is compared of a track: all its days that measured something, or one longer
// result.
type stint struct {
	track    *ingest.Track
	readings []analysis.Reading
	days     bool
	taken    bool
}

func stints(t *ingest.Track) (out []*stint) {
	if len(t.Days) > 0 {
		s := &stint{track: t, days: true}
		for _, d := range t.Days {
			if r := d.Reading(); !temporal.Dead(r) { // nothing was measured
				s.readings = append(s.readings, r)
			}
		}
		if len(s.readings) > 0 {
			out = append(out, s)
		}
	}
	for _, r := range t.Results {
		out = append(out, &stint{track: t, readings: []analysis.Reading{r}})
	}
	return out
}

// during is the mean over what was measured of a stretch of time, the hours of that, and
// whether all of it was below a limit.
func (s *stint) during(from, to time.Time) (mean, hours float64, below bool) {
	below = true
	var sum float64
	for _, r := range s.readings {
		start, end := r.Start, r.End
		if start.Before(from) {
			start = from
		}
		if end.After(to) {
			end = to
		}
		if h := end.Sub(start).Hours() * cmp.Or(r.Share, 1); h > 0 {
			hours, sum, below = hours+h, sum+h*r.Concentration, below && r.BelowLimit
		}
	}
	return sum / hours, hours, below
}

// paired is a field stint and a duplicate one as a pair, and the hours they share; none
// where they do not hang side by side.
func paired(field, other *stint) (t twin, hours float64, ok bool) {
	t.Place, t.Other = field.track.Place, other.track.Detector
	switch {
	case field.days && other.days:
		there := map[int64]analysis.Reading{}
		for _, r := range other.readings {
			there[r.Start.Unix()] = r
		}
		var a, b stint
		for _, r := range field.readings {
			if o, ok := there[r.Start.Unix()]; ok && o.End.Equal(r.End) {
				// A day counts by what both measured of it, so that neither sees more of it.
				share := min(cmp.Or(r.Share, 1), cmp.Or(o.Share, 1))
				r.Share, o.Share = share, share
				a.readings, b.readings = append(a.readings, r), append(b.readings, o)
			}
		}
		if len(a.readings) < leastTogether {
			return t, 0, false
		}
		t.start, t.end = a.readings[0].Start, a.readings[len(a.readings)-1].End
		t.A, hours, t.ABelow = a.during(t.start, t.end)
		t.B, _, t.BBelow = b.during(t.start, t.end)
		return t, hours, true
	case !field.days && !other.days:
		a, b := field.readings[0], other.readings[0]
		from, to, since, until := a.Start, a.End, a.Start, a.End // when both were up, and either
		if b.Start.After(from) {
			from = b.Start
		}
		if b.End.Before(to) {
			to = b.End
		}
		if b.Start.Before(since) {
			since = b.Start
		}
		if b.End.After(until) {
			until = b.End
		}
		hours = to.Sub(from).Hours()
		t.start, t.end = from, to
		t.A, t.ABelow, t.B, t.BBelow = a.Concentration, a.BelowLimit, b.Concentration, b.BelowLimit
		return t, hours, hours >= sideBySide*until.Sub(since).Hours()
	}
	long, log := field, other
	if field.days {
		long, log = other, field
	}
	r := long.readings[0]
	mean, hours, below := log.during(r.Start, r.End)
	if !(hours >= sideBySide*r.End.Sub(r.Start).Hours()) {
		return t, 0, false
	}
	t.start, t.end = r.Start, r.End
	t.A, t.ABelow, t.B, t.BBelow = r.Concentration, r.BelowLimit, mean, below
	if field.days {
		t.A, t.ABelow, t.B, t.BBelow = t.B, t.BBelow, t.A, t.ABelow
	}
	return t, hours, true
}

// twins are the files' duplicates, each with the field reading of the same home, room and
// phase that it hung beside the longest. A longer result is taken once. What has none
// becomes a finding.
func twins(d *ingest.Daily) (out []twin, lone []ingest.Finding) {
	type where struct{ home, area, room, phase string }
	at := func(t *ingest.Track) where { return where{t.Home, t.Area, t.Room, t.Phase} }
	fields := map[where][]*stint{}
	for i := range d.Tracks {
		if t := &d.Tracks[i]; t.Kind == "field" {
			fields[at(t)] = append(fields[at(t)], stints(t)...)
		}
	}
	for i := range d.Tracks {
		t := &d.Tracks[i]
		if t.Kind != "duplicate" {
			continue
		}
		for _, s := range stints(t) {
			var best twin
			var beside *stint
			most := 0.0
			for _, f := range fields[at(t)] {
				if f.taken {
					continue
				}
				if p, hours, ok := paired(f, s); ok && hours > most {
					best, beside, most = p, f, hours
				}
			}
			if beside == nil {
				lone = append(lone, ingest.Finding{Code: "lone-duplicate", Home: t.Home, Room: t.Room, Detector: t.Detector, Count: 1,
					Text: fmt.Sprintf("a duplicate from %s on has no field reading beside it: of the same home, room and phase, and nine tenths of the time", s.readings[0].Start.In(zoneOf(*t)).Format(time.DateOnly))})
				continue
			}
			beside.taken = !beside.days
			zone := zoneOf(*t)
			best.start, best.end = best.start.In(zone), best.end.In(zone)
			out = append(out, best)
		}
	}
	return out, lone
}

// duplicates judges pairs; nil where there is none.
func duplicates(all []twin, confidence float64) (*quality.DuplicatesResult, error) {
	if len(all) == 0 {
		return nil, nil
	}
	var pairs []quality.Pair
	for _, t := range all {
		pairs = append(pairs, t.Pair)
	}
	r, err := quality.Duplicates(pairs, quality.Options{Confidence: confidence})
	if err != nil {
		return nil, fmt.Errorf("duplicates: %w", err)
	}
	return &r, nil
}

// className says which pairs a class holds.
func className(c quality.Class) string {
	switch {
	case c.From > 0 && math.IsInf(c.To, 1):
		return fmt.Sprintf("%g Bq/m³ on", c.From)
	case c.From > 0:
		return fmt.Sprintf("%g to %g", c.From, c.To)
	case !math.IsInf(c.To, 1):
		return fmt.Sprintf("under %g", c.To)
	}
	return "all"
}

// duplicateTables are the pairs' precision and the pairs. They are there for programs even
// where there is no pair.
func duplicateTables(all []twin, r *quality.DuplicatesResult) []report.Table {
	precision := report.Table{Key: "precision", Title: "How well detectors side by side agree, by the mean of the two:", Columns: []report.Column{
		{Key: "pairs_of", Head: "Pairs", Style: report.Text, Words: true},
		{Key: "from", Style: report.Factor}, {Key: "to", Style: report.Factor},
		{Key: "pairs", Head: "N", Style: report.Count},
		{Key: "used", Style: report.Count},
		{Key: "over_warning", Head: "Over\nwarning", Style: report.Count},
		{Key: "over_control", Head: "Over\ncontrol", Style: report.Count},
		{Key: "over_difference", Head: "Over\n37 Bq/m³", Style: report.Count},
		{Key: "open", Head: "Open", Style: report.Count, Spare: 1},
		{Key: "precision", Head: "Precision\n%", Style: report.Estimate},
		{Key: "expected", Head: "Limits\nare for\n%", Style: report.Factor},
		{Key: "ratio", Style: report.Estimate},
	}}
	pairs := report.Table{Key: "duplicates", Title: "Detectors side by side:", Columns: []report.Column{
		{Key: "home", Head: "Home", Style: report.Text}, {Key: "area", Style: report.Text}, {Key: "room", Head: "Room", Style: report.Text, OmitEmpty: true},
		{Key: "detector", Head: "Detector", Style: report.Text, OmitEmpty: true, Spare: 1}, {Key: "duplicate_detector", Head: "Duplicate", Style: report.Text, OmitEmpty: true, Spare: 1},
		{Key: "start", Head: "From", Style: report.Date, Spare: 2}, {Key: "end", Style: report.Date},
		{Key: "value", Head: "The\none", Style: report.Concentration}, {Key: "value_below_limit", Style: report.Bool},
		{Key: "duplicate", Head: "The\nother", Style: report.Concentration}, {Key: "duplicate_below_limit", Style: report.Bool},
		{Key: "mean", Style: report.Factor}, {Key: "difference", Style: report.Factor},
		{Key: "relative_difference", Head: "Differ by\n% of mean", Style: report.Rate},
		{Key: "standing", Head: "Against\nthe limits", Style: report.Text, Words: true},
	}}
	if r == nil {
		return []report.Table{precision, pairs}
	}
	for i, c := range append([]quality.Class{r.All}, r.Classes...) {
		var to, estimate, expected, ratio any
		if !math.IsInf(c.To, 1) {
			to = c.To
		}
		if c.Precision != nil {
			estimate = *c.Precision
		}
		if c.Expected > 0 {
			expected = c.Expected
		}
		if i == 0 && r.Ratio != nil {
			ratio = *r.Ratio
		}
		precision.Rows = append(precision.Rows, report.Row{Label: className(c), Cells: []any{className(c), c.From, to, c.Pairs, c.Used, c.Warnings, c.Controls, c.Difference, c.Open, estimate, expected, ratio}})
	}
	value := func(x float64, below bool) any {
		if below && x > 0 {
			return report.Limit(x)
		}
		return x
	}
	for i, j := range r.Pairs {
		t := all[i]
		var mean, difference, relative any
		if !j.ABelow && !j.BBelow {
			mean, difference, relative = j.Mean, j.Difference, j.Relative
		}
		pairs.Rows = append(pairs.Rows, report.Row{Label: j.Home, Cells: []any{j.Home, j.Area, j.Room, j.Detector, t.Other, t.start, t.end,
			value(j.A, j.ABelow), j.ABelow, value(j.B, j.BBelow), j.BBelow, mean, difference, relative, string(j.Standing)}})
	}
	return []report.Table{precision, pairs}
}

// duplicatesInWords says in a sentence how well they agree.
func duplicatesInWords(r *quality.DuplicatesResult, confidence float64) string {
	s := count(len(r.Pairs), "pair") + " of detectors side by side"
	if e := r.All.Precision; e != nil {
		s += fmt.Sprintf(": a precision of one detector of %s %%, %g %% interval %s", report.Number(e.Value), round(100*confidence), report.Interval(*e))
	}
	if e := r.Ratio; e != nil {
		s += fmt.Sprintf("; a home's own reads %s of its duplicate, %s", report.Number(e.Value), report.Interval(*e))
	}
	return s + "."
}

// duplicateWords explain the two tables.
var duplicateWords = []string{
	"Precision: the coefficient of variation of one detector, in percent of the result, from pairs of two numbers; what all detectors are off by together it does not hold. " +
		"Limits (ANSI/AARST MS-QA 2019): from 148 Bq/m³ on a pair may differ by 28 % of its mean before a warning and 36 % before control, from 74 on by 50 and 67 %, and below by 37 Bq/m³. " +
		"One pair in twenty is over warning, and one in a hundred over control, where detectors are as precise as the limits are made for. Open: one or both are below the detection limit, and that settles nothing.",
	"Side by side: of kind duplicate, in the same home, room and phase as a field reading, both up for nine tenths of the time that either was; of two logs of days, the days that both have, two at least. A day of zero is taken as not measured.",
}

// scatterFigure draws how far the two of each pair lie apart.
func scatterFigure(r *quality.DuplicatesResult, confidence float64) (plot.Figure, error) {
	if r == nil {
		return plot.Figure{}, hinted{fmt.Errorf("no duplicate to draw: no two detectors hung side by side"), "a column kind says field or duplicate; --column NAME=kind names it"}
	}
	f := plot.Figure{
		Title: "How well do detectors side by side agree?",
		Lead:  duplicatesInWords(r, confidence),
		Desc:  "How far the two of each pair lie apart, in percent of their mean, above 0 where the home's own detector reads the higher, against their mean on a logarithmic scale; warning and control limits on either side as broken lines.",
		Notes: []string{"Limits: ANSI/AARST MS-QA 2019. One pair in twenty is over warning and one in a hundred over control where detectors are as precise as the limits are made for. What all detectors are off by together is not to be seen here."},
	}
	groups := []plot.Points{
		{Look: plot.Look{Role: plot.Measured, Label: "within the limits"}},
		{Look: plot.Look{Role: plot.Limit, Label: "one below its detection limit, which is drawn"}},
		{Look: plot.Look{Role: plot.Next, Label: "over the warning limit"}},
		{Look: plot.Look{Role: plot.Attention, Label: "over the control limit, or 37 Bq/m³"}},
	}
	low, high, most := math.Inf(1), 0.0, 0.8
	for _, j := range r.Pairs {
		if !(j.Mean > 0) {
			continue // two zeros
		}
		g := &groups[0]
		switch {
		case j.Standing == quality.OverControl, j.Standing == quality.OverDifference:
			g = &groups[3]
		case j.Standing == quality.OverWarning:
			g = &groups[2]
		case j.ABelow || j.BBelow:
			g = &groups[1]
		}
		signed := math.Copysign(j.Relative, j.Difference)
		g.X, g.Y = append(g.X, above0(j.Mean)), append(g.Y, 100*signed)
		low, high, most = min(low, above0(j.Mean)), max(high, j.Mean), max(most, j.Relative)
	}
	if !(high > 0) {
		return plot.Figure{}, hinted{fmt.Errorf("no duplicate to draw: all of them are zero"), "look whether a monitor was on"}
	}
	low, high, most = min(0.8*low, 60), max(1.25*high, 185), min(1.1*most, 2)
	y := plot.Axis{Label: "Home's own less its duplicate, % of their mean", Min: -100 * most, Max: 100 * most}
	p := plot.Panel{X: plot.Axis{Label: "Mean of the two, Bq/m³", Kind: plot.Log, Min: low, Max: high}, Y: y}
	p.Marks = append(p.Marks, plot.Rule{Look: plot.Look{Role: plot.Quiet}, At: 0})
	for _, sign := range []float64{100, -100} {
		control := plot.Curve{Look: plot.Look{Role: plot.Level, Label: "control limit; under 74 Bq/m³ a difference of 37"}}
		warning := plot.Curve{Look: plot.Look{Role: plot.Level3, Label: "warning limit"}}
		const steps = 40
		from := max(low, quality.LeastDifference/most) // further left the limit is outside
		for k := range steps {
			x := from * math.Pow(quality.Low/from, float64(k)/steps)
			_, limit := quality.Limits(x)
			control.X, control.Y = append(control.X, x), append(control.Y, sign*limit)
		}
		for _, x := range []float64{math.Nextafter(quality.Low, 0), quality.Low, math.Nextafter(quality.High, 0), quality.High, max(high, quality.High)} {
			w, c := quality.Limits(x)
			if x >= quality.Low {
				warning.X, warning.Y = append(warning.X, x), append(warning.Y, sign*w)
			}
			control.X, control.Y = append(control.X, x), append(control.Y, sign*c)
		}
		p.Marks = append(p.Marks, control, warning)
	}
	for _, g := range groups {
		if g.X != nil {
			p.Marks = append(p.Marks, g)
		}
	}
	f.Panels = []plot.Panel{p}
	return f, nil
}
