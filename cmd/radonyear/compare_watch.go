package main

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/compare"
	"radonyear/analysis/temporal"
	"radonyear/analysis/trend"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// afterSideRose is the note that readings rose while the system ran.
const afterSideRose = "after-side-rose"

// risen is the verdict on a level in place of below or not conclusive where readings rose
// while the system ran, and may reach the level since: a mean of the days before the rise and
// after says nothing of how high the home is now.
const risen annual.Verdict = "not certain: risen"

// systemOff is the note that the system does not run now, and wentOff the verdict on a level
// that is then of days gone by.
const (
	systemOff                = "system-off"
	wentOff   annual.Verdict = "not certain: off"
)

// rise is that of a monitor's readings while the system ran: by an alarm of its charts, or by
// what is usual since it replaced another one.
type rise struct {
	since time.Time
	past  bool    // another monitor has its place since, and its usual is no higher than before
	reach float64 // how high the home may be since, by the upper limit of the rise, Bq/m³
	words string
}

// rises are those of the monitors of a home's days with the system, by the charts that watch
// keeps of them, set as they are there where nothing else is asked for; set says how often an
// alarm is none.
func (q compareQuestion) rises(h ingest.Home, sides parted) (out []rise, set string) {
	opt := trend.Options{Profile: q.Profile, Confidence: q.Confidence}
	if q.neighbours.home != nil { // as watch would keep them of the same files
		opt.Profile = q.neighbours.plain.Profile
	}
	type monitor struct {
		subject
		watched
	}
	var monitors []monitor // those with charts
	all := sides.monitors(h)
	for _, s := range all {
		if s.why != "" {
			continue
		}
		if w, err := watchOne(s, opt, time.Time{}); err == nil { // days too few to chart, say
			monitors = append(monitors, monitor{s, w})
		}
	}
	for _, m := range monitors {
		where := ""
		if len(all) > 1 {
			if m.Room != "" {
				where = fmt.Sprintf(" in %q", m.Room)
			}
			if m.Detector != "" {
				where += fmt.Sprintf(" by %q", m.Detector)
			}
		}
		date := func(day int) string { return temporal.Date(day, m.zone).Format(time.DateOnly) }
		// replaced is the first day of a monitor that took its place and holds the level from
		// before to be usual.
		replaced := func(higher func(later watched) bool) (string, bool) {
			last := temporal.Day(m.series[0].End().Add(-time.Nanosecond), m.zone)
			for _, o := range monitors {
				if o.Room == m.Room && temporal.Day(o.series[0].Start(), o.zone) >= last && o.From > m.To && !higher(o.watched) {
					return fmt.Sprintf("%s, when %s took its place", date(o.From), nameOr(o.Detector, "another monitor")), true
				}
			}
			return "", false
		}
		times := func(e analysis.Estimate) string {
			return fmt.Sprintf("%s times", report.Number(e.Value))
		}
		interval := func(e analysis.Estimate) string {
			return fmt.Sprintf("%g %% interval %s", round(100*e.Confidence), report.Interval(e))
		}
		if a := m.Alarm; m.State == trend.Alarm {
			r := rise{since: temporal.Date(a.Start, m.zone), reach: m.GM * a.Ratio.Upper}
			rest := fmt.Sprintf("%s what is usual with it (%s; alarm of %s), about %s Bq/m³", times(a.Ratio), interval(a.Ratio), date(a.Day), report.Number(m.GM*a.Ratio.Value, q.Levels...))
			r.words = fmt.Sprintf("since about %s they are%s %s", date(a.Start), where, rest)
			var until string
			if until, r.past = replaced(func(o watched) bool { return o.Over(m.watched.Result).Lower > 1 }); r.past {
				r.words = fmt.Sprintf("from about %s%s they had risen to %s, until %s", date(a.Start), where, rest, until)
			}
			out = append(out, r)
			if set = fmt.Sprintf("The charts are set for one false alarm in %g years", m.FalseAlarmYears); m.measured != nil {
				set += fmt.Sprintf(", and invented homes had one in %.1f years within the first year", m.measured.First)
			}
		}
		if u := m.before; m.usualRose {
			r := rise{since: temporal.Date(m.From, m.zone), reach: u.gm * u.over.Upper}
			rest := fmt.Sprintf("%s what it was by %s before (%s; %s from %s to %s), about %s Bq/m³", times(u.over), nameOr(u.detector, u.by), interval(u.over), count(m.Days, "day"), date(m.From), date(m.To), report.Number(u.gm*u.over.Value, q.Levels...))
			r.words = fmt.Sprintf("what is usual with it%s is %s", where, rest)
			var until string
			if until, r.past = replaced(func(o watched) bool { return o.before == nil || o.before.change() == "higher" }); r.past {
				r.words = fmt.Sprintf("what is usual with it%s was %s, until %s", where, rest, until)
			}
			out = append(out, r)
		}
	}
	return out, set
}

// nameOr is a name in quotes, or other words where there is none.
func nameOr(name, other string) string {
	if name == "" {
		return other
	}
	return fmt.Sprintf("%q", name)
}

// rose says of a home compared that its system, which worked, may not do so now, and takes
// back the verdicts that this leaves open: what its charts say of days since another system was
// switched on after the last reading they cannot say, so that is noted and the charts are of
// the days before.
func (q compareQuestion) rose(r *compared, h ingest.Home, sides parted) {
	note := func(code, text string) {
		r.Notes = append(slices.Clip(r.Notes), analysis.Note{Code: code, Text: text})
	}
	if measured, on := sides.untilMeasured(h); on != nil {
		what := "its system"
		if on.system != "" {
			what = fmt.Sprintf("%q", on.system)
		}
		note("nothing-since", fmt.Sprintf("nothing that can be used was measured since %s was switched on on %s: all that is said here, of now too, is of what ran before; measure again", what, on.in(h.Series[0].Zone).Format(time.DateOnly)))
		sides = measured
	}
	all, set := q.rises(h, sides)
	var words, past []string
	within, reach := false, 0.0 // what is said of now is of days before a rise too, and how far it may reach since
	for _, x := range all {
		if x.past {
			past = append(past, x.words)
			continue
		}
		words, r.rises = append(words, x.words), append(r.rises, x)
		if x.since.After(now(r.Result).Start) {
			within, reach = true, max(reach, x.reach)
		}
	}
	sentence := func(text string) string {
		if text != "" {
			text = " " + text + "."
		}
		return text
	}
	settle := " Where it has been looked at and the system runs, an off and on of that day in --switches settles that: what is usual is then learned anew, and the reduction is of the days since"
	if past != nil {
		note("after-side-had-risen", fmt.Sprintf("by the charts of radonyear watch readings had risen while the system ran: %s. They are in all that is said here, and what is usual since is no higher than before the rise.%s%s", strings.Join(past, ", and "), sentence(set), settle))
	}
	if words == nil {
		return
	}
	var stands []string
	if within {
		r.Below = slices.Clone(r.Below)
	}
	for k, b := range r.Below {
		switch {
		case !within || b.Verdict == annual.Above:
		case reach >= b.Level:
			r.Below[k].Verdict = risen
		default:
			stands = append(stands, fmt.Sprintf("%g Bq/m³", b.Level))
		}
	}
	first := slices.MinFunc(r.rises, func(a, b rise) int { return a.since.Compare(b.since) }).since
	of, before := fmt.Sprintf("The reduction and what is said of now are of %s, before the rise and since, and not of today", r.ofDays()), ""
	if within {
		before = q.beforeRise(*r, first)
	}
	switch {
	case r.Now != nil && within:
		of = fmt.Sprintf("The reduction is of %s, and what is said of now of %s, before the rise and since, and not of today", r.comparedDays(), nowDays(r.Now))
	case r.Now != nil:
		of = fmt.Sprintf("The reduction is of %s, before the rise and since; what is said of now is of %s, which are since", r.comparedDays(), nowDays(r.Now))
	case !within:
		of = fmt.Sprintf("All that is said here is of %s, which are since", r.comparedDays())
	}
	kept := ""
	if stands != nil {
		kept = fmt.Sprintf("Even by the upper limit of the rise they are since under about %s Bq/m³, so that the verdict on %s stands", report.Number(reach, q.Levels...), strings.Join(stands, " and "))
	}
	note(afterSideRose, fmt.Sprintf("by the charts of radonyear watch readings rose while the system ran: %s. %s: look at the gauge on the system's pipe and whether the fan runs, and call whoever installed it.%s%s%s%s%s",
		strings.Join(words, ", and "), of, sentence(before), sentence(q.weatherSince(*r, first)), sentence(kept), sentence(set), settle))
}

// weatherMatters is from what factor on it is said that homes without a system rose too.
const weatherMatters = 1.2

// weatherSince says, where the weather of those days is known, that it raised homes without a
// system since a rise; the charts do not know it, and a fan leaves less of it.
func (q compareQuestion) weatherSince(r compared, first time.Time) string {
	if !r.Course {
		return ""
	}
	zone := r.YearStart.Location()
	mean := func(from, to time.Time) float64 {
		sum, n := 0.0, 0.0
		for d := temporal.Day(from, zone); d < temporal.Day(to, zone); d++ {
			sum, n = sum+math.Exp(q.Profile.Course.At(d)), n+1
		}
		return sum / n
	}
	side := now(r.Result)
	if !first.After(side.Start) || !side.End.After(first) {
		return ""
	}
	if times := mean(first, side.End) / mean(side.Start, first); times > weatherMatters {
		return fmt.Sprintf("Homes without a system, from which the weather is known, had %s times as much since as in the days before, which may be all there is to it", report.Number(times))
	}
	return ""
}

// ended says whether what was measured last is of days gone by: before a rise too, or before
// the system went off.
func (r compared) ended() bool {
	return analysis.HasNote(r.Notes, systemOff) || slices.ContainsFunc(r.rises, func(x rise) bool { return x.since.After(now(r.Result).Start) })
}

// off says of a home compared that its system is off now, by its switches or because days
// without it follow all those with it, and takes back what is said of now.
func (q compareQuestion) off(r *compared, sides parted) {
	zone := r.YearStart.Location()
	runs, last := sides.running()
	since := last.in(zone)
	text := fmt.Sprintf("its system is switched off since %s", since.Format(time.DateOnly))
	if sides.toggles == nil {
		with := slices.MaxFunc(sides.with, func(a, b analysis.Series) int { return a.End().Compare(b.End()) }).End()
		if runs = !slices.ContainsFunc(sides.without, func(s analysis.Series) bool { return !s.Readings()[s.Len()-1].Start.Before(with) }); !runs {
			since = with
			text = fmt.Sprintf("readings without the system go on after the last with it, of %s", since.Add(-time.Second).In(zone).Format(time.DateOnly))
		}
	}
	if runs {
		return
	}
	after := analysis.Keep(sides.without, func(x analysis.Reading) bool { return !x.Start.Before(since) })
	measured := ""
	if after != nil {
		measured = fmt.Sprintf(", and readings since have a raw mean of %s Bq/m³", report.Number(annual.RawMean(after), q.Levels...))
	}
	r.Notes = append(slices.Clip(r.Notes), analysis.Note{Code: systemOff, Text: text + ": what is said with the system is of the days it ran and not of now" + measured + "; measure again with it running"})
	r.Below = slices.Clone(r.Below)
	for k, b := range r.Below {
		if b.Verdict != annual.Above {
			r.Below[k].Verdict = wentOff
		}
	}
}

// beforeRise is the reduction by the days compared that lie before the first of the rises, a
// sentence; "" where they say nothing by themselves. The alarm may be a false one, so it
// stands beside the reduction of all of them and not in its place.
func (q compareQuestion) beforeRise(r compared, first time.Time) string {
	with := analysis.Keep(r.sides[1], func(x analysis.Reading) bool {
		return r.compares(x) && !x.End.After(first)
	})
	if with == nil {
		return ""
	}
	alone, err := compare.Compare(compare.Home{Without: r.sides[0], With: with, Switched: r.Switched, Timed: true}, q.options())
	e := alone.Reduction
	if err != nil || alone.With.Days < annual.LeastDays || alone.With.AllBelow || alone.Without.AllBelow || e.Value < 0 {
		return ""
	}
	return fmt.Sprintf("By %s of them before the rise the reduction is %s %%, interval %s", countDays(alone.With.Days), report.Value(e), reductionRange(e, ""))
}

// untilMeasured are sides as they were before switches that nothing with a system was measured
// after, and the last of these that switched one on; nil where there is none such or no system
// runs now.
func (s parted) untilMeasured(h ingest.Home) (parted, *toggle) {
	if runs, _ := s.running(); !runs || len(s.toggles) == 0 {
		return s, nil
	}
	var last time.Time
	for _, x := range s.with {
		if x.End().After(last) {
			last = x.End()
		}
	}
	all, n := s.toggles, len(s.toggles)
	for n > 0 && !all[n-1].in(h.Series[0].Zone).Before(last) {
		n--
	}
	if n == len(all) {
		return s, nil
	}
	s.toggles = all[:n]
	for i := len(all) - 1; i >= n; i-- {
		if all[i].on {
			return s, &all[i]
		}
	}
	return s, nil
}
