package main

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/temporal"
	"radonyear/analysis/trend"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

func (p *program) watchCommand() *cli.Command {
	return &cli.Command{
		Name:      "watch",
		Usage:     "is a system still doing its work? Charts that raise an alarm",
		ArgsUsage: "FILE...",
		Description: `For each monitor of a home with a system: two control charts of its days, an
alarm where the level has risen, since when and by what factor, and how soon a
rise would be seen. What is usual, the charts learn from the first days after
the switch, and from more of them as long as there is no alarm, so that a
failure does not become usual from one run to the next; where a system was
switched off and on again, from the last switch on. Of the home itself they
learn its level and how far its days scatter; how long swings last, and the
season, are those of the profile's homes. How often they are wrong is stated.
For a scheduler: exit status 4 means an alarm, or a monitor whose usual is
higher than that of the one it replaced; 3 that homes or rows are missing.

Examples:
  radonyear watch log.csv --unit Bq/m3 --switch 2026-03-02T15:30
  radonyear watch log.csv --unit Bq/m3 --switches switches.csv --false-alarms 10`,
		Flags: slices.Concat(switchFlags(), []cli.Flag{
			&cli.Float64Flag{Name: "false-alarms", Value: 5, Usage: "one false alarm in `YEARS`, both charts together (default 5)"},
			&cli.Float64Flag{Name: "shift", Value: 2, Usage: "the rise to be detected, as a `FACTOR` (default 2, a doubling)"},
			&cli.IntFlag{Name: "baseline", Usage: fmt.Sprintf("measured `DAYS` that say what is usual (default: up to half of them, from %d growing to %d until an alarm)", trend.LeastBaseline, trend.MostBaseline)},
			&cli.Int64Flag{Name: "seed", Usage: "`SEED` of the simulated years behind the limits (default 0)"},
			confidenceFlag(""),
			profileFlag(builtInProfile),
			&cli.StringFlag{Name: "hemisphere", Usage: "`HALF` of the globe, north (default) or south, for the built-in profile"},
		}, plotFlags("the control charts"), readingFlags(), outputFlags()),
		Action: p.watch,
	}
}

// falseAlarmSentence says how often an alarm is none: what was asked for, and what was
// measured of homes like those watched, whose level without the system was known or not.
func falseAlarmSentence(opt trend.Options, results []watched) string {
	text := fmt.Sprintf("One false alarm in %g years, both charts together, is what the limits are for.", opt.FalseAlarmYears)
	var over, first []string
	missing := ""
	for _, known := range []bool{true, false} {
		if !slices.ContainsFunc(results, func(w watched) bool { return w.known == known }) {
			continue
		}
		of, like := opt, "whose level without the system was known"
		if of.Without = 0; known {
			of.Without = 1
		} else {
			like = "whose level without the system was not known"
		}
		m, ok := of.Measured()
		if !ok {
			missing = like
			continue
		}
		homes := "homes "
		if over == nil {
			homes = "invented homes "
		}
		over = append(over, fmt.Sprintf("%d %s%s had one in %.1f years", m.Homes, homes, like, m.Years))
		first = append(first, fmt.Sprintf("one in %.1f", m.First))
	}
	if over != nil {
		text += fmt.Sprintf(" Over three years %s; within the first year, when not every season has been seen, %s.", strings.Join(over, ", and "), strings.Join(first, " and "))
	}
	switch {
	case over == nil:
		text += " How often invented homes had one was not measured for this choice of --false-alarms, --shift, --baseline and the profile; with all of them left alone it is more frequent in the first year or so, when not every season has been seen."
	case missing != "":
		text += " Of homes " + missing + " it was not measured for this choice."
	}
	return text
}

// errAlarm asks for exit status 4: somebody should go and look at a system.
var errAlarm = errors.New("a chart raised an alarm, or what is usual rose with another monitor")

// watched is one monitor's charts.
type watched struct {
	analysis.Place
	zone     *time.Location
	switched time.Time
	trend.Result
	known     bool            // how high its room was without the system
	measured  *trend.Measured // false alarms of homes like it; nil where that was not measured
	before    *usualBefore    // by a monitor that it replaced, or before a repair; see replaced
	usualRose bool            // over that, so that somebody should look
}

// usualBefore is what was usual in a monitor's room before it learned it anew.
type usualBefore struct {
	by       string // the monitor, or "another monitor"
	detector string // its name
	gm       float64
	limit    bool // days below the monitor's limit are taken as that, so that gm is at most this
	over     analysis.Estimate
}

// change is which way what is usual went from there.
func (u usualBefore) change() string {
	switch {
	case u.over.Lower > 1:
		return "higher"
	case u.over.Upper < 1:
		return "lower"
	}
	return "not certain"
}

// usualWords are the change with its size.
func (w watched) usualWords() string {
	u := w.before
	over := fmt.Sprintf("×%s (%g %% interval %s)", report.Number(u.over.Value), round(100*u.over.Confidence), report.Interval(u.over))
	if c := u.change(); c != "not certain" {
		return fmt.Sprintf("%s than by %s before: %s", c, u.by, over)
	}
	return fmt.Sprintf("not certain to be another than by %s before: %s", u.by, over)
}

func (p *program) watch(c *cli.Context) error {
	opt := trend.Options{FalseAlarmYears: c.Float64("false-alarms"), Shift: c.Float64("shift"), BaselineDays: c.Int("baseline"), Seed: uint64(c.Int64("seed"))}
	switch {
	case !(opt.FalseAlarmYears >= 0.5 && opt.FalseAlarmYears <= 50):
		return usageError{fmt.Sprintf("--false-alarms %v: one in 0.5 to 50 years can be asked for", opt.FalseAlarmYears), "--false-alarms 5"}
	case !(opt.Shift > 1 && opt.Shift <= 100):
		return usageError{fmt.Sprintf("--shift %v is no rise; it is a factor above 1", opt.Shift), "--shift 2"}
	case c.IsSet("baseline") && (opt.BaselineDays < trend.LeastBaseline || opt.BaselineDays > 1000):
		return usageError{fmt.Sprintf("--baseline %d: what is usual takes %d to 1000 days", opt.BaselineDays, trend.LeastBaseline), "--baseline 60"}
	}
	var err error
	if opt.Confidence, err = parseConfidence(c); err != nil {
		return err
	}
	sw, err := parseSwitches(c)
	if err != nil {
		return err
	}
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	q := question{profilePath: profileFile(c.String("profile"))}
	if q.southern, err = parseHemisphere(c); err != nil {
		return err
	}
	if q.profilePath != "" && c.String("hemisphere") != "" {
		return usageError{"--hemisphere is for the built-in profile; a profile from a file has its own season", "leave out one of --profile and --hemisphere"}
	}
	if err := q.loadProfile(); err != nil {
		return err
	}
	opt.Profile = q.Profile
	if _, err := plotFormat(c); err != nil {
		return err
	}
	daily, files, _, err := p.readFiles(c)
	if err != nil {
		return err
	}
	if !sw.given() && !slices.ContainsFunc(files, func(f ingest.File) bool { return f.ColumnsFound["phase"] != "" }) {
		return hinted{fmt.Errorf("nothing says since when a system runs"),
			"give --switch TIME or --switches FILE, or name a column of before and after with --column NAME=phase"}
	}
	ask := compareQuestion{switches: sw}
	homes := population{daily.HomeCount(), func(i int) []subject { return ask.monitors(i, daily.Home(i, ingest.Filter{})) }}
	unknown := p.unknownHomes(ask, daily)
	latest := latestReading(daily)
	results, left := estimateAll(homes, func(s subject) (watched, error) { return watchOne(s, opt, latest) })
	if len(results) == 0 {
		return noResult(left, files)
	}
	doc := report.Document{
		Command: "watch", Version: version, Confidence: opt.Confidence,
		Settings: slices.Concat([]report.Field{
			{Name: "false_alarm_years", Value: opt.FalseAlarmYears}, {Name: "shift", Value: opt.Shift}, {Name: "baseline_days", Value: opt.BaselineDays},
			{Name: "seed", Value: int64(opt.Seed)}, {Name: "confidence", Value: opt.Confidence},
			{Name: "profile", Value: []report.Field{{Name: "name", Value: q.Profile.Name}, {Name: "provenance", Value: q.Profile.Provenance}}}}, readingSettings(c)),
		Inputs: inputs(files, ""), Beside: append(sw.beside, q.beside...), Rejects: rejectsFile(c), Notes: append(inputNotes(files, daily, ""), unknown...), LeftOut: left,
		LeftOutTitle: "No result for:", // homes and monitors of homes
		Tables:       watchTables(results),
		After: []string{
			"Quiet means unchanged; it does not mean low. radonyear annual and compare say how high the home is. Usual: the geometric mean of the first days, as they were; more of them count as more are measured, from 14 up to 90, until an alarm. Recovered: an alarm, and then two weeks or more of days back to usual. EWMA and CUSUM: of ln(day over what is usual), each in percent of its limit. All lost: the rise were the system to do nothing any more.",
			falseAlarmSentence(opt, results),
			"On an alarm look at the gauge on the system's pipe, whether the fan runs and its switch is on, and call whoever installed it. No alarm is no proof: a chart replaces neither the gauge nor a retest, which common practice wants every two years and after any change to the house.",
			caution},
	}
	err = p.emitPlotted(c, doc, format, func() (plot.Figure, error) {
		drawn, err := chosen(c, results, func(w watched) analysis.Place { return w.Place })
		if err != nil {
			return plot.Figure{}, err
		}
		return chartFigure(drawn)
	})
	if err != nil {
		return err
	}
	partial := p.partial(doc)
	if slices.ContainsFunc(results, func(w watched) bool { return w.State == trend.Alarm || w.usualRose }) {
		return errAlarm
	}
	if partial == nil && len(unknown) > 0 {
		return errPartial // a feed that dropped out, or a name written in two ways
	}
	return partial
}

// monitors are those that watch the system of home i.
func (q compareQuestion) monitors(i int, h ingest.Home) []subject {
	place := analysis.Place{Home: h.Name, Area: h.Area}
	if len(h.Series) == 0 {
		return []subject{{place: place, why: noField}}
	}
	sides, err := q.parted(i, h)
	if err != nil {
		return []subject{{place: place, why: err.Error()}}
	}
	return sides.monitors(h)
}

// monitors are those of a home's readings, parted as they are.
func (sides parted) monitors(h ingest.Home) (out []subject) {
	place := analysis.Place{Home: h.Name, Area: h.Area}
	if runs, off := sides.running(); !runs {
		return []subject{{place: place, why: fmt.Sprintf("its system is switched off since %s, so there is nothing to watch", off.in(h.Series[0].Zone).Format(time.DateOnly))}}
	}
	if len(sides.with) == 0 {
		return []subject{{place: place, why: oneSided(sides, h.Series)}}
	}
	again, since := sides.again()
	// How high a room was without the system its own days alone can say.
	chartOf := func(s analysis.Series) *chart {
		c := &chart{series: s}
		for _, b := range sides.without {
			if b.Room == s.Room {
				c.without = append(c.without, b)
			}
		}
		return c
	}
	var before []*chart // of days that the system ran before it was switched last
	for _, s := range sides.with {
		if again {
			spells, err := sides.spells(s)
			if err != nil {
				return []subject{{place: place, why: err.Error()}}
			}
			for _, spell := range spells {
				c := chartOf(spell.series)
				c.spell, c.until = spell.from, since.in(s.Zone)
				before = append(before, c)
			}
		}
		if again && !s.End().After(since.in(s.Zone)) && slices.ContainsFunc(sides.with, func(o analysis.Series) bool {
			return o.Room == s.Room && o.End().After(since.in(o.Zone))
		}) {
			continue // another monitor took its place, and is held to what it saw
		}
		one := subject{place: s.Place, series: []analysis.Series{s}, switched: sides.switched}
		one.place.Area = h.Area
		if again {
			one.switched = since.in(s.Zone)
			one.stood = slices.ContainsFunc(h.Series, func(o analysis.Series) bool {
				return o.Place == s.Place && temporal.Day(o.Start(), o.Zone) <= temporal.Day(one.switched, o.Zone)
			})
			var err error
			if one.series[0], one.begun, err = from(s, one.switched); err != nil {
				one.why = err.Error()
			}
		}
		for _, n := range sides.notes() {
			if n.Code == "no-phase" {
				one.begun = append(one.begun, n)
			}
		}
		one.chart = chartOf(one.series[0])
		out = append(out, one)
	}
	// The latest spell first, since what was usual in it is what a repair should bring back.
	slices.SortStableFunc(before, func(a, b *chart) int {
		return cmp.Or(b.spell.Compare(a.spell), a.series.Start().Compare(b.series.Start()))
	})
	for i := range out {
		for _, o := range out {
			if o.why == "" && o.place.Room == out[i].place.Room && o.series[0].Start().Before(out[i].series[0].Start()) {
				out[i].earlier = append(out[i].earlier, o.chart)
			}
		}
		slices.SortStableFunc(out[i].earlier, func(a, b *chart) int { return a.series.Start().Compare(b.series.Start()) })
		if analysis.HasNote(out[i].begun, "begun-anew") {
			continue // it stood before the switch, which says how the system was after it
		}
		for _, c := range before {
			if c.series.Room == out[i].place.Room {
				out[i].earlier = append(out[i].earlier, c)
			}
		}
	}
	return out
}

// leastOff is how many days without the system say how high the home was.
const leastOff = 7

// deadDays is how many days of zero at the end leave a monitor without an answer: a
// scheduler must not take its silence for a quiet home.
const deadDays = 2

// latestReading is when the last reading of any home ends.
func latestReading(d *ingest.Daily) (latest time.Time) {
	for i := range d.HomeCount() {
		for _, s := range d.Home(i, ingest.Filter{}).Series {
			if s.End().After(latest) {
				latest = s.End()
			}
		}
	}
	return latest
}

// silent is for how long a monitor may have said nothing before that is said.
const silent = 7 * 24 * time.Hour

// from is a series from a switch on, and a note of what was before.
func from(s analysis.Series, at time.Time) (analysis.Series, []analysis.Note, error) {
	whole := []analysis.Series{s}
	ran := analysis.Keep(whole, func(r analysis.Reading) bool { return r.Start.Before(at) })
	kept := analysis.Keep(whole, func(r analysis.Reading) bool { return !r.Start.Before(at) })
	date := at.Format(time.DateOnly)
	switch {
	case kept == nil:
		return s, nil, fmt.Errorf("nothing was measured since the switch of %s", date)
	case ran == nil:
		return s, nil, nil
	}
	return kept[0], []analysis.Note{{Code: "begun-anew", Text: fmt.Sprintf("what is usual was learned anew from the switch of %s on, as after a repair it may be another: the %s that the system ran before are left out; their mean is %s Bq/m³, and %s since", date,
		count(ran[0].Len(), "day"), report.Number(annual.RawMean(ran)), report.Number(annual.RawMean(kept)))}}, nil
}

// chartDays are a series' days as the charts take them, and how many readings are not.
type chartDays struct {
	days                      []trend.Day
	below, long, dead, deadBy int // deadBy: zeros at the end
}

func chartDaysOf(s analysis.Series) (m chartDays) {
	for _, r := range s.Readings() {
		switch {
		case !r.OfADay():
			m.long++
			continue
		case temporal.Dead(r):
			m.dead++
			m.deadBy++
			continue
		case r.BelowLimit:
			m.below++
		}
		m.deadBy = 0
		m.days = append(m.days, trend.Day{Day: temporal.Day(r.Start.Add(r.End.Sub(r.Start)/2), s.Zone), Mean: r.Concentration})
	}
	return m
}

// chart is one monitor's charts, made once: a monitor that replaced another is held against
// those that the other has in its own row.
type chart struct {
	series  analysis.Series
	without []analysis.Series // of its room, without the system
	spell   time.Time         // of days before the system was switched last: since when it ran on them, and
	until   time.Time         // that switch

	made    bool
	read    chartDays
	offDays float64 // measured without the system
	opt     trend.Options
	result  trend.Result
	err     error
}

// of makes the charts where they are not made yet.
func (c *chart) of(opt trend.Options) (trend.Result, error) {
	if c.made {
		return c.result, c.err
	}
	c.made, c.read, c.opt = true, chartDaysOf(c.series), opt
	for _, b := range c.without {
		for _, r := range b.Readings() {
			if !temporal.Dead(r) {
				c.offDays += r.Days()
			}
		}
	}
	if c.offDays >= leastOff {
		if c.opt.Without = annual.RawMean(c.without); math.IsNaN(c.opt.Without) || math.IsInf(c.opt.Without, 0) {
			c.opt.Without = 0
		}
	}
	c.result, c.err = trend.Watch(c.read.days, c.opt)
	return c.result, c.err
}

// watchOne charts a subject's monitor.
func watchOne(s subject, opt trend.Options, latest time.Time) (watched, error) {
	series, c := s.series[0], s.chart
	w := watched{Place: s.place, zone: series.Zone, switched: s.switched}
	result, err := c.of(opt)
	switch m := c.read; {
	case len(m.days) == 0 && m.long > 0:
		return w, fmt.Errorf("only results of more than a day; charts take a monitor's days")
	case len(m.days) == 0:
		return w, fmt.Errorf("every day is zero or next to nothing; look whether the monitor is alive")
	case m.deadBy >= deadDays:
		return w, fmt.Errorf("its last %d days read zero, and air is never without radon for a day; look whether the monitor is alive", m.deadBy)
	case m.below == len(m.days):
		return w, fmt.Errorf("every day lies below the monitor's limit, so that it could double unseen; a more sensitive monitor would tell")
	case err != nil && analysis.HasNote(s.begun, "begun-anew"):
		return w, fmt.Errorf("%w (since the switch of %s)", err, s.switched.Format(time.DateOnly))
	case err != nil:
		return w, err
	}
	w.Result = result
	w.Notes = slices.Clip(w.Notes)
	w.Notes = append(w.Notes, s.begun...)
	var replaced []analysis.Note
	replaced, w.before, w.usualRose = replacedNotes(w, s, opt)
	w.Notes = append(w.Notes, replaced...)
	if m, ok := c.opt.Measured(); ok {
		w.measured = &m
	}
	if w.known = c.opt.Without > 0; !w.known {
		known, where := "nothing was measured", inRoom(w.Room, "")
		if c.offDays > 0 {
			known = fmt.Sprintf("only %.2g of the %d days that it takes were measured", c.offDays, leastOff)
		}
		w.Notes = append(w.Notes, analysis.Note{Code: "assumed-ratio", Text: known + where + " without the system, so it is taken to leave 30 % of the radon"})
	}
	if series.End().Before(latest.Add(-silent)) {
		w.Notes = append(w.Notes, analysis.Note{Code: "silent", Text: fmt.Sprintf("its last reading is of %s and others go on; look whether the monitor is alive, if nobody took it away", series.End().Add(-time.Nanosecond).In(series.Zone).Format(time.DateOnly))})
	}
	if m := c.read; m.dead > 0 {
		w.Notes = append(w.Notes, analysis.Note{Code: "zero-days", Text: count(m.dead, "day") + " of zero or next to nothing taken as not measured, since air is never without radon for a day; look whether the monitor was alive"})
	}
	if m := c.read; m.below > 0 {
		w.Notes = append(w.Notes, analysis.Note{Code: "below-limit", Text: count(m.below, "day") + " below the monitor's limit, taken as the limit: a rise from there looks smaller than it is"})
	}
	return w, nil
}

// inRoom says where, in the words given for a room that is not named.
func inRoom(room, unnamed string) string {
	if room == "" {
		return unnamed
	}
	return " in this room"
}

// replacedNotes tells what is usual by a monitor that came after another one in its room,
// and what was by that one, the first of which the charts can tell. A system that failed
// between them is what the later one learned as usual, and its charts are quiet ever after.
// So a scheduler is told of a usual that is higher as of an alarm: a system that stopped on
// the day of the exchange was told so in 55 % of homes, and no run after that would tell the
// others. The price is paid once an exchange and not once in some years: of homes to which
// nothing happened 3 % (COVERAGE.md of analysis/trend). An off and on in --switches, of a day
// on which the monitor stood and the gauge was looked at, ends it; a repair before it came
// does not. A usual that is lower is a note alone, since no system fails that way.
func replacedNotes(w watched, s subject, opt trend.Options) (notes []analysis.Note, u *usualBefore, rose bool) {
	for _, e := range s.earlier {
		before, err := e.of(opt)
		if err != nil || before.To >= w.From { // nothing usual to tell, or both learned it of the same days
			continue
		}
		u = &usualBefore{by: cmp.Or(e.series.Detector, "another monitor"), detector: e.series.Detector, gm: before.GM, limit: e.read.below > 0, over: w.Over(before)}
		most, over := "", u.over
		if u.limit {
			most = "at most "
		}
		when, between := "before it", ""
		if !e.until.IsZero() {
			date := e.until.Format(time.DateOnly)
			when, between = "before the switch of "+date, ", which was switched on "+date
		}
		text := fmt.Sprintf("this monitor learned anew what is usual, %s Bq/m³; %s %s had %s%s%s with the system running: ×%s with the season taken out (%g %% interval %s)",
			report.Number(w.GM), when, u.by, most, report.Number(u.gm), inRoom(w.Room, " in this home"), report.Number(over.Value), round(100*over.Confidence), report.Interval(over))
		differs := u.change() != "not certain"
		if !differs {
			text += "; look at the gauge whether the system is as it was"
		}
		notes = []analysis.Note{{Code: "another-monitor", Text: text}}
		if differs {
			text := "what is usual differs from what it was before by more than the calibration of two monitors and the swings of such a home explain: it may be the monitor, its place in the room, or the system" + between + "; look at the gauge"
			if rose = over.Lower > 1 && (e.until.IsZero() || !s.stood); rose {
				text += ". If the system fails, this monitor took that as usual, and quiet says only that it got no worse: so the exit status is that of an alarm, until --switches has an off and on of a day on which it stood and the gauge showed that the system runs"
			}
			notes = append(notes, analysis.Note{Code: "usual-differs", Text: text})
		}
		return notes, u, rose
	}
	return nil, nil, false
}

func watchTables(results []watched) []report.Table {
	// A name that tells two rows apart must not fall out of a narrow table.
	rows, inRoom := map[string]int{}, map[[2]string]int{}
	for _, w := range results {
		rows[w.Home]++
		inRoom[[2]string{w.Home, w.Room}]++
	}
	spare := 1
	for _, n := range rows {
		if n > 1 {
			spare = 0
		}
	}
	t := report.Table{Columns: []report.Column{
		{Key: "home", Head: "Home", Style: report.Text}, {Key: "area", Style: report.Text},
		{Key: "room", Head: "Room", Style: report.Text, OmitEmpty: true, Spare: spare}, {Key: "detector", Head: "Detector", Style: report.Text, OmitEmpty: true, Spare: 2 * spare},
		{Key: "switch", Style: report.Date},
		{Key: "baseline", Style: report.Nested},
		{Key: "baseline_from", Style: report.Date, CSVOnly: true}, {Key: "baseline_to", Style: report.Date, CSVOnly: true},
		{Key: "baseline_gm", Head: "Usual", Style: report.Concentration, CSVOnly: true}, {Key: "watched_days", Head: "Days\nwatched", Style: report.Count},
		{Key: "last_day", Head: "Last\nday", Style: report.Date, CSVOnly: true},
		{Key: "state", Head: "State", Style: report.Text, Words: true},
		{Key: "alarm", Style: report.Nested}, {Key: "earlier_alarms", Style: report.Nested}, {Key: "last", Style: report.Nested}, {Key: "detect", Style: report.Nested},
		{Key: "alarm_date", Style: report.Date, CSVOnly: true}, {Key: "alarm_likely_start", Style: report.Date, CSVOnly: true}, {Key: "alarm_end", Style: report.Date, CSVOnly: true}, {Key: "alarm_ratio", Style: report.Estimate, CSVOnly: true},
		{Key: "ewma_of_limit", Style: report.Share, CSVOnly: true}, {Key: "cusum_of_limit", Style: report.Share, CSVOnly: true},
		{Key: "false_alarm_years", Style: report.Factor},
		{Key: "measured_false_alarm_years", Style: report.Factor}, {Key: "measured_false_alarm_years_first", Style: report.Factor}, {Key: "measured_homes", Style: report.Count},
		{Key: "usual_before", Style: report.Concentration}, {Key: "usual_before_at_most", Style: report.Bool},
		{Key: "usual_ratio", Style: report.Estimate}, {Key: "usual_change", Style: report.Text},
	}}
	alarms := report.Table{Title: "Alarms:", Columns: []report.Column{
		{Head: "Home", Style: report.Text}, {Head: "Room", Style: report.Text, OmitEmpty: true, Spare: spare}, {Head: "Detector", Style: report.Text, OmitEmpty: true}, {Head: "Alarm", Style: report.Date}, {Head: "Likely\nsince", Style: report.Date},
		{Head: "Rise ×", Style: report.Estimate}, {Head: "Back\nby", Style: report.Date, OmitEmpty: true}, {Head: "Chart", Style: report.Text, Words: true}}}
	now := report.Table{Title: "The charts on the last day, in percent of their limits; measured days until half of such rises are seen, and nine in ten:", Columns: []report.Column{
		{Head: "Home", Style: report.Text}, {Head: "Room", Style: report.Text, OmitEmpty: true, Spare: spare}, {Head: "Detector", Style: report.Text, OmitEmpty: true},
		{Head: "EWMA\n%", Style: report.Share}, {Head: "CUSUM\n%", Style: report.Share},
		{Head: "Rise\n×", Style: report.Factor}, {Head: "Half", Style: report.Text, Words: true}, {Head: "9 in\n10", Style: report.Text, Words: true},
		{Head: "All\nlost ×", Style: report.Factor}, {Head: "Half", Style: report.Text, Words: true}, {Head: "9 in\n10", Style: report.Text, Words: true},
	}}
	for _, w := range results {
		date := func(day int) any {
			if day == 0 {
				return nil
			}
			return temporal.Date(day, w.zone)
		}
		fields := func(a trend.Alarmed) []report.Field {
			return []report.Field{{Name: "date", Value: date(a.Day)}, {Name: "likely_start", Value: date(a.Start)}, {Name: "end", Value: date(a.End)}, {Name: "chart", Value: a.Chart}, {Name: "ratio", Value: a.Ratio}}
		}
		var on, since, end, rise, alarm any
		earlier, all := []any{}, w.Earlier
		for _, a := range w.Earlier {
			earlier = append(earlier, fields(a))
		}
		if a := w.Alarm; a != nil {
			on, since, end, rise, alarm = date(a.Day), date(a.Start), date(a.End), a.Ratio, fields(*a)
			all = append(slices.Clip(all), *a)
		}
		label, detector := report.PlaceName(w.Place), ""
		switch {
		case inRoom[[2]string{w.Home, w.Room}] > 1: // home and room leave open which it is
			label, detector = report.MonitorName(w.Place), w.Detector
		case len(rows) == 1 && rows[w.Home] == 1:
			label = w.Home
		}
		for _, a := range all {
			alarms.Rows = append(alarms.Rows, report.Row{Cells: []any{w.Home, w.Room, detector, date(a.Day), date(a.Start), a.Ratio, date(a.End), a.Chart}})
		}
		last := w.Points[len(w.Points)-1]
		detect := []any{}
		for _, d := range w.Detect {
			detect = append(detect, []report.Field{{Name: "shift", Value: d.Shift}, {Name: "seen_within_year", Value: d.Seen}, {Name: "median_days", Value: finiteOrNil(d.Median)}, {Name: "p90_days", Value: finiteOrNil(d.Ninety)}})
		}
		var before, atMost, ratio, change any
		if u := w.before; u != nil {
			before, atMost, ratio, change = bounded(u.gm, u.limit), u.limit, u.over, u.change()
		}
		var years, first, homes any
		if m := w.measured; m != nil {
			years, first, homes = m.Years, m.First, m.Homes
		}
		ewma, cusum := max(0, last.EWMA/w.EWMALimit), last.CUSUM/w.CUSUMLimit
		t.Rows = append(t.Rows, report.Row{Label: label, Notes: rowNotes(w.Notes), Cells: []any{
			w.Home, w.Area, w.Room, w.Detector, instant(w.switched),
			[]report.Field{{Name: "from", Value: date(w.From)}, {Name: "to", Value: date(w.To)}, {Name: "days", Value: w.Days}, {Name: "gm", Value: w.GM}},
			date(w.From), date(w.To), w.GM, w.Watched, date(last.Day), string(w.State), alarm, earlier,
			[]report.Field{{Name: "date", Value: date(last.Day)}, {Name: "ewma", Value: last.EWMA}, {Name: "ewma_limit", Value: w.EWMALimit}, {Name: "cusum", Value: last.CUSUM}, {Name: "cusum_limit", Value: w.CUSUMLimit}},
			detect, on, since, end, rise, ewma, cusum, w.FalseAlarmYears, years, first, homes, before, atMost, ratio, change}})
		cells := []any{w.Home, w.Room, detector, ewma, cusum}
		for i := range 2 {
			if i >= len(w.Detect) {
				cells = append(cells, nil, nil, nil)
				continue
			}
			d := w.Detect[i]
			cells = append(cells, d.Shift, waitWords(d.Median), waitWords(d.Ninety))
		}
		now.Rows = append(now.Rows, report.Row{Cells: cells})
	}
	alarms.Hidden = len(alarms.Rows) == 0
	return []report.Table{t, alarms, now}
}

func waitWords(days float64) string {
	if math.IsInf(days, 1) {
		return "over 365"
	}
	return fmt.Sprintf("%.0f", days)
}

// finiteOrNil is a number, or nothing where it is without bound.
func finiteOrNil(x float64) any {
	if math.IsInf(x, 0) {
		return nil
	}
	return x
}
