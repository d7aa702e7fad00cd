package ingest

import (
	"cmp"
	"container/heap"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"radonyear/analysis"
)

// Home is all the series of one home.
type Home struct {
	Name, Area string
	Weight     float64           // how many homes it stands for, as the files state; 0 if they do not
	Extra      map[string]string // other columns that say the same in every row of the home
	Differs    []string          // other columns that do not
	Series     []analysis.Series // in order of room, detector, phase, kind, method
	About      []About           // what Series has no field for, one for each of Series
	LeftOut    int               // series the filter left out
}

// About is what is known of a series beside its readings.
type About struct {
	Phase, Kind, Method string
	Rows                int  // rows of the input behind the track the series came from
	Days                int  // day means; the other readings are integrating results
	Zeros               int  // readings of exactly 0 Bq/m³, which have no logarithm
	Below               int  // readings below the detection limit
	Mixed               int  // day means with some hours below the detection limit and some above
	Stated              bool // a row states an uncertainty; a day of Mixed has one in any case
}

// Filter chooses series. The zero value chooses field readings of any phase.
type Filter struct {
	Kind  string // "field", "duplicate", "blank", "spike"; "" means field, "*" all kinds
	Phase string // "before", "after"; "" means any, "-" readings that state none
}

func (f Filter) admits(t *Track) bool {
	kind := cmp.Or(f.Kind, "field")
	if kind != "*" && t.Kind != kind {
		return false
	}
	return f.Phase == "" || f.Phase == t.Phase || f.Phase == "-" && t.Phase == ""
}

// Finding is something about the data that its owner may want to mend.
type Finding struct {
	Code                 string // stable, kebab-case
	Home, Room, Detector string
	File                 string // where it begins; OtherFile and OtherLine, if set, are the row it is about
	Line                 int64
	OtherFile            string
	OtherLine            int64
	Count                int // readings, days or series concerned
	Text                 string
}

// The codes of findings:
//
//	duplicate-rows   rows left out because another row says the same
//	overlap          readings kept although others cover the same time
//	gap              days without a reading, between days with readings
//	short-days       days with less than 18 measured hours, first and last day apart
//	stuck-values     one and the same value, or zero, for longer than counting makes likely, or one day mean
//	                 day after day; see stuck and stuckDays
//	jump             a step of more than five times within an hour that counting does not explain; see jumps
//	clock-step       a log's times leave their own step; see clockSteps
//	below-outdoor    a mean under the outdoor level; see outdoor
//	zero-values      days or results of exactly 0 Bq/m³
//	below-limit      readings that only say "less than"
//	mixed-limit-days days with readings below the limit and readings above it
//	odd-uncertainty  stated uncertainties that no detector has; see uncertainties
//	zones-differ     one detector's times stand in several zones
//	unknown-zone     the zone has no rules here; days are cut in UTC
//	weights-differ   rows of one home state different weights
//	split-series     one name covers readings that overlap, or several methods
//	home-in-areas    one home name in several areas; taken as several homes
//	far-dates        means twenty years or more from the rest of the files; see farDates

// manyFindings bounds the findings of one code that one track may list.
const manyFindings = 100

// Findings are what the reduction noticed, in order of home, room, detector,
// code, file and line.
func (d *Daily) Findings() []Finding { return slices.Clone(d.findings) }

func (d *Daily) sortFindings() {
	slices.SortStableFunc(d.findings, func(a, b Finding) int {
		return cmp.Or(
			strings.Compare(a.Home, b.Home), strings.Compare(a.Room, b.Room), strings.Compare(a.Detector, b.Detector),
			strings.Compare(a.Code, b.Code), strings.Compare(a.File, b.File), cmp.Compare(a.Line, b.Line),
			strings.Compare(a.OtherFile, b.OtherFile), cmp.Compare(a.OtherLine, b.OtherLine), strings.Compare(a.Text, b.Text))
	})
}

// finder gathers the findings of one track.
type finder struct {
	d *Daily
	t *Track

	dup      Finding // a stretch of duplicates that go on line by line
	dupStep  [2]int64
	dupRuns  int
	dupRest  int
	overlaps Finding
}

func (f *finder) add(code string, at, other place, count int, text string) {
	f.d.findings = append(f.d.findings, Finding{
		Code: code, Home: f.t.Home, Room: f.t.Room, Detector: f.t.Detector,
		File: at.file, Line: at.line, OtherFile: other.file, OtherLine: other.line,
		Count: count, Text: text,
	})
}

func (f *finder) duplicate(at, of place) {
	f.d.Duplicates++
	if r := &f.dup; r.Count > 0 && r.File == at.file && r.OtherFile == of.file {
		step := [2]int64{at.line - r.Line, of.line - r.OtherLine}
		if r.Count == 1 {
			f.dupStep = step
			r.Count = 2
			return
		}
		n := int64(r.Count)
		if step == [2]int64{n * f.dupStep[0], n * f.dupStep[1]} {
			r.Count++
			return
		}
	}
	f.endDuplicates()
	f.dup = Finding{File: at.file, Line: at.line, OtherFile: of.file, OtherLine: of.line, Count: 1}
}

func (f *finder) endDuplicates() {
	r := f.dup
	f.dup = Finding{}
	switch f.dupRuns++; {
	case r.Count == 0:
		f.dupRuns--
		return
	case f.dupRuns > manyFindings:
		f.dupRest += r.Count
		return
	}
	at, of := place{r.File, r.Line}, place{r.OtherFile, r.OtherLine}
	if r.Count == 1 {
		f.add("duplicate-rows", at, of, 1, fmt.Sprintf("says the same as %s:%d and is left out", of.file, of.line))
		return
	}
	n := int64(r.Count - 1)
	f.add("duplicate-rows", at, of, r.Count, fmt.Sprintf("%d rows, to line %d, say the same as %s:%d to %d and are left out",
		r.Count, at.line+n*f.dupStep[0], of.file, of.line, of.line+n*f.dupStep[1]))
}

func (f *finder) overlap(at, by place) {
	f.d.Overlaps++
	if f.overlaps.Count == 0 {
		f.overlaps = Finding{File: at.file, Line: at.line, OtherFile: by.file, OtherLine: by.line}
	}
	f.overlaps.Count++
}

// OddUncertainty says whether a stated standard uncertainty, in the value's unit,
// is under half a per cent of the value, which no detector of radon in homes
// reaches, or in a reading of a day or longer over all of it (common practice):
// more likely a slip of unit, or a percentage in a column of Bq/m³. An hour of few
// counts may well state more. An uncertainty or a value of zero is not odd.
func OddUncertainty(u, value float64, length time.Duration) bool {
	const dust, day = 1e-9, 20 * time.Hour // a short day's mean too
	return u > 0 && value > 0 && (u < 0.005*(1-dust)*value || u > (1+dust)*value && length >= day)
}

// uncertainties notes odd ones.
func (f *finder) uncertainties(rs []reading) {
	var count int
	var first place
	for _, r := range rs {
		if !r.below && OddUncertainty(r.uncertainty, r.value, time.Duration(r.length)*time.Microsecond) {
			if count == 0 {
				first = r.place
			}
			count++
		}
	}
	if count > 0 {
		f.add("odd-uncertainty", first, place{}, count, fmt.Sprintf("%s with a stated uncertainty under 0.5 %% or over 100 %% of the value; check its unit, and whether it is a percentage", some(count, "reading")))
	}
}

// track adds what can be told once a track is reduced; short is its sorted
// readings of at most 36 hours.
func (f *finder) track(short []reading) {
	f.endDuplicates()
	if f.dupRest > 0 {
		f.add("duplicate-rows", f.t.first, place{}, f.dupRest, some(f.dupRest, "row")+" more, each the same as another row and left out")
	}
	if o := f.overlaps; o.Count > 0 {
		f.add("overlap", place{o.File, o.Line}, place{o.OtherFile, o.OtherLine}, o.Count,
			fmt.Sprintf("%s, the first one against %s:%d, in time that others cover too; all count in the day means: name the detectors apart if there were two, mend the times if a clock was set back",
				some(o.Count, "reading"), o.OtherFile, o.OtherLine))
	}

	days := f.t.Days
	date := func(us int64) string { return time.UnixMicro(us).In(f.t.location).Format(time.DateOnly) }
	at := func(us int64) place {
		i, _ := slices.BinarySearchFunc(short, us, func(r reading, us int64) int { return cmp.Compare(r.start, us) })
		return short[min(i, len(short)-1)].place
	}
	var thin, zero, below, mixed int
	var firstThin, firstZero, firstBelow, firstMixed int64
	note := func(count *int, first *int64, n int, us int64) {
		if *count == 0 {
			*first = us
		}
		*count += n
	}
	gaps, rest := 0, 0
	for i, d := range days {
		if i > 0 && d.start > days[i-1].end {
			missing := civilDays(days[i-1].end, d.start, f.t.location)
			if gaps++; gaps > manyFindings {
				rest++
			} else {
				f.add("gap", at(d.start), place{}, missing, fmt.Sprintf("%s without a reading, from %s", some(missing, "day"), date(days[i-1].end)))
			}
		}
		if d.Hours < analysis.FullDayHours && i > 0 && i < len(days)-1 {
			note(&thin, &firstThin, 1, d.start)
		}
		if d.Mean < analysis.NextToNothing && !d.BelowLimit() {
			note(&zero, &firstZero, 1, d.start)
		}
		if d.Below > 0 {
			note(&below, &firstBelow, int(d.Below), d.start)
			if d.Mixed() {
				note(&mixed, &firstMixed, 1, d.start)
			}
		}
	}
	if rest > 0 {
		f.add("gap", f.t.first, place{}, rest, some(rest, "gap")+" more")
	}
	if thin > 0 {
		f.add("short-days", at(firstThin), place{}, thin, fmt.Sprintf("%s with less than 18 measured hours, the first on %s", some(thin, "day"), date(firstThin)))
	}
	if mixed > 0 {
		f.add("mixed-limit-days", at(firstMixed), place{}, mixed,
			fmt.Sprintf("%s with readings below the detection limit among others; the day's mean is the middle of those with nothing and with the limit in place of what was not seen", some(mixed, "day")))
	}
	var resultZero, resultBelow int
	for _, r := range f.t.Results {
		if r.Concentration < analysis.NextToNothing && !r.BelowLimit {
			resultZero++
		}
		if r.BelowLimit {
			resultBelow++
		}
	}
	where := func(count int, first int64) place {
		if count == 0 {
			return f.t.first
		}
		return at(first)
	}
	if n := zero + resultZero; n > 0 {
		f.add("zero-values", where(zero, firstZero), place{}, n, fmt.Sprintf("%s of zero or next to nothing, which no home has: ask whether the detector worked; days of it are left out, longer results taken as below a limit", some(n, "mean")))
	}
	if n := below + resultBelow; n > 0 {
		f.add("below-limit", where(below, firstBelow), place{}, n, fmt.Sprintf("%s below the detection limit", some(n, "reading")))
	}
	f.stuck(short, date)
	f.stuckDays(short, at, date)
	f.jumps(short, date)
	f.clockSteps(short, date)
	f.tooLow()
}

// outdoor is about the lowest mean of the air outside, Bq/m³ (UNSCEAR gives some
// 10, and 1 to 100 from place to place; from memory). A home's mean below it
// says more about the detector.
const outdoor = 5.0

// logged says whether a reading is one of a log's: two hours at most.
func logged(r *reading) bool { return r.end-r.start <= 2*time.Hour.Microseconds() }

func (r *reading) hours() float64 { return float64(r.end-r.start) / 3.6e9 }

// events lists findings of one code, each with its row, and only counts those
// past the tenth: where a log has many, the first ones tell what it is about.
type events struct {
	f       *finder
	code    string
	n, rest int
}

func (e *events) add(at place, count int, text string) {
	if e.n++; e.n > 10 {
		e.rest++
		return
	}
	e.f.add(e.code, at, place{}, count, text)
}

func (e *events) end(what string) {
	if e.rest > 0 {
		e.f.add(e.code, e.f.t.first, place{}, e.rest, some(e.rest, what)+" more")
	}
}

// stuck finds stretches of a log in which the value does not change. Radon and
// the counting of it always do: a stretch is told if it lasts more than six hours
// and would come up by chance in fewer than one of a hundred such logs. A count of
// mean λ repeats itself with a probability of at most 1/√(2πλ) (and of 0.4, for
// few counts), and is zero with a probability of e^−λ. Where the value is zero, λ
// comes from the day's readings before the stretch or after it, whichever are
// lower: a level of the whole log would find dead sensors in quiet summers, and
// none in a log that is mostly dead. (Where the level swings 1.8-fold up and down
// in a day, and as much in the year, simulated logs of steady counting raised it
// in some 4 of a hundred years, not 1.) In a year of hours it takes 8 alike at
// 150 Bq/m³, 10 at 77, 13 at 30, and 7 zeros where the level is 37. That more
// than six hours alike are suspect is common practice.
func (f *finder) stuck(rs []reading, date func(int64) string) {
	found := events{f: f, code: "stuck-values"}
	for i := 0; i < len(rs); {
		j := i + 1
		for j < len(rs) && rs[j].value == rs[i].value && rs[j].below == rs[i].below && rs[j].start <= rs[j-1].end {
			j++
		}
		r := &rs[i]
		if n := float64(j - i); n > 2 && logged(r) && !r.below && rs[j-1].end-r.start > 6*time.Hour.Microseconds() {
			alike := -analysis.MinSensitivity * levelAround(rs, i, j) * r.hours() * n // ln of the probability
			if r.value > 0 {
				alike = (n - 1) * math.Log(min(0.4, 1/math.Sqrt(2*math.Pi*analysis.MinSensitivity*r.value*r.hours())))
			}
			if alike+math.Log(float64(len(rs))) < math.Log(0.01) {
				found.add(r.place, j-i, fmt.Sprintf("%v Bq/m³ in %d readings in a row, from %s: longer than counting would give it; look at the detector", r.value, j-i, date(r.start)))
			}
		}
		i = j
	}
	found.end("stretch")
}

// stuckDays finds stretches of days whose mean, given as such and not read from a log,
// does not change: seven at least, so many that they would come up by chance in fewer
// than one of a hundred such series. From one day to the next a home's mean moves by a
// quarter of itself at least, so that two days are alike with a probability of at most
// step/(2√π·mean/4), step being the least difference between two of the series' means,
// and no more than 3.7 Bq/m³, a tenth of a picocurie per litre. (A quarter is less than
// published day-to-day scatter, and half of it in most homes; that a week of one value
// is suspect is common practice.)
func (f *finder) stuckDays(short []reading, at func(int64) place, date func(int64) string) {
	days := f.t.Days
	step := 3.7
	means := make([]float64, len(days))
	for i, d := range days {
		means[i] = d.Mean
	}
	slices.Sort(means)
	for i := 1; i < len(means); i++ {
		if d := means[i] - means[i-1]; d > 1e-9*means[i] {
			step = min(step, d)
		}
	}
	found := events{f: f, code: "stuck-values"}
	for i := 0; i < len(days); {
		j := i + 1
		for j < len(days) && days[j].Mean == days[i].Mean && days[j].Below == 0 && days[j].start == days[j-1].end {
			j++
		}
		d := days[i]
		first, _ := slices.BinarySearchFunc(short, d.start, func(r reading, us int64) int { return cmp.Compare(r.start, us) })
		if n := float64(j - i); n >= 7 && d.Mean > 0 && d.Below == 0 && !logged(&short[min(first, len(short)-1)]) {
			alike := min(0.6, step/(math.Sqrt(math.Pi)*d.Mean/2))
			if (n-1)*math.Log(alike)+math.Log(float64(len(days))) < math.Log(0.01) {
				found.add(at(d.start), j-i, fmt.Sprintf("%v Bq/m³ on %d days in a row, from %s: no home's days are alike for so long; look whether the monitor is alive", d.Mean, j-i, date(d.start)))
			}
		}
		i = j
	}
	found.end("stretch")
}

// levelAround is the mean of the 24 measured hours before rs[i:j] or of those
// after it, whichever is lower; 0 where the log holds nothing else.
func levelAround(rs []reading, i, j int) float64 {
	level := math.Inf(1)
	for _, side := range [2]struct{ first, end, step int }{{i - 1, -1, -1}, {j, len(rs), 1}} {
		var sum, hours float64
		for k := side.first; k != side.end && hours < 24; k += side.step {
			h := rs[k].hours()
			sum, hours = sum+h*rs[k].value, hours+h
		}
		if hours > 0 {
			level = min(level, sum/hours)
		}
	}
	if math.IsInf(level, 1) {
		return 0
	}
	return level
}

// jumps finds steps of more than five times from one reading of a log to the
// next within an hour, up or down, beyond three standard errors of counting at
// the least sensitivity. A count of k stands for a mean known to about √k, and
// one of none still to about 1. A step up and straight down again is one row in
// the list. That such a step is suspect is common practice: room air follows
// its sources within hours, a moved detector or an opened window at once.
func (f *finder) jumps(rs []reading, date func(int64) string) {
	jump := func(i int) bool {
		if i >= len(rs) {
			return false
		}
		a, b := &rs[i-1], &rs[i]
		if !logged(a) || !logged(b) || a.below || b.below || b.start < a.end || b.start-a.start > time.Hour.Microseconds() {
			return false
		}
		low, high := min(a.value, b.value), max(a.value, b.value)
		counts := analysis.MinSensitivity * b.hours() // per Bq/m³
		return high-5*low > 3*math.Sqrt((high+25*max(low, 1/counts))/counts)
	}
	found := events{f: f, code: "jump"}
	for i := 1; i < len(rs); i++ {
		if !jump(i) {
			continue
		}
		before, r := rs[i-1].value, &rs[i]
		if jump(i+1) && (r.value > before) == (r.value > rs[i+1].value) {
			found.add(r.place, 2, fmt.Sprintf("one reading of %.4g Bq/m³ on %s, between %.4g and %.4g: more than five times within an hour; look at it before it counts",
				r.value, date(r.start), before, rs[i+1].value))
			i++
			continue
		}
		found.add(r.place, 1, fmt.Sprintf("from %.4g to %.4g Bq/m³ on %s, more than five times within an hour: was the detector moved, or a window opened?", before, r.value, date(r.start)))
	}
	found.end("jump")
}

// clockSteps finds where the times of a log leave their own step for good: at
// least three readings, each a whole number of steps after the one before, to a
// twentieth of a step; within a day of them three more, as regular, that start
// between the steps of the first. A clock that was set, or a detector restarted,
// does that; two detectors under one name, or one that came back after months,
// do not. A clock set by whole steps leaves a gap, or an overlap. The limits are
// ours; that such steps are suspect is common practice.
func (f *finder) clockSteps(rs []reading, date func(int64) string) {
	off := func(a, b *reading) int64 { // how far between the steps b starts, microseconds
		past := (b.start - a.start) % a.length
		return min(past, a.length-past)
	}
	inStep := func(a, b *reading) bool {
		return logged(a) && logged(b) && a.length == b.length && off(a, b)*20 <= a.length
	}
	found := events{f: f, code: "clock-step"}
	from, last := 0, -1 // where the present run began; the end of the run before it
	for i := 1; i <= len(rs); i++ {
		if i < len(rs) && inStep(&rs[i-1], &rs[i]) {
			continue
		}
		if i-from >= 3 {
			r := &rs[from]
			if last >= 0 {
				if a := &rs[last]; a.length == r.length && !inStep(a, r) && r.start-a.end <= 24*time.Hour.Microseconds() {
					by := time.Duration(off(a, r)) * time.Microsecond
					found.add(r.place, 1, fmt.Sprintf("from %s on the readings start %.3g minutes off their former step: a clock was set, or the detector restarted", date(r.start), by.Minutes()))
				}
			}
			last = i - 1
		}
		from = i
	}
	found.end("step")
}

// tooLow finds a track whose mean lies under the outdoor level. A blank is meant
// to.
func (f *finder) tooLow() {
	if f.t.Kind == "blank" {
		return
	}
	sum, hours := 0.0, 0.0
	for _, d := range f.t.Days {
		sum, hours = sum+d.Mean*d.Hours, hours+d.Hours
	}
	for _, r := range f.t.Results {
		if r.BelowLimit {
			continue
		}
		h := r.End.Sub(r.Start).Hours()
		sum, hours = sum+r.Concentration*h, hours+h
	}
	if mean := sum / hours; hours > 0 && mean < outdoor {
		f.add("below-outdoor", f.t.first, place{}, 1, fmt.Sprintf("the mean is %.2g Bq/m³, under the outdoor level of about %g or more: look at the detector and its unit", mean, outdoor))
	}
}

// farDates finds means that lie apart from most others by twenty years or more in
// which nobody measured: a slip in a year, or a clock that was never set. Which
// stretch is the right one its number of means decides, and of equals the earlier.
func (d *Daily) farDates() {
	const apart = 20
	const year = 31_556_952_000_000 // microseconds, of the calendar's mean year
	var count [400]int              // of means by year since 1950
	at := func(us int64) int { return int((us+20*year)/year) % len(count) }
	for _, t := range d.Tracks {
		for _, x := range t.Days {
			count[at(x.start)]++
		}
		for _, r := range t.Results {
			count[at(r.Start.UnixMicro())]++
		}
	}
	type stretch struct{ from, to, n int } // years, both included
	var all []stretch
	for y, n := range count {
		if n == 0 {
			continue
		}
		if k := len(all) - 1; k >= 0 && y-all[k].to <= apart {
			all[k].to, all[k].n = y, all[k].n+n
		} else {
			all = append(all, stretch{y, y, n})
		}
	}
	if len(all) < 2 {
		return
	}
	most := all[0]
	for _, s := range all {
		if s.n > most.n {
			most = s
		}
	}
	for i := range d.Tracks {
		t := &d.Tracks[i]
		for _, early := range []bool{true, false} {
			n, row := 0, t.newest
			if early {
				row = t.oldest
			}
			note := func(us int64) {
				if y := at(us); early && y < most.from || !early && y > most.to {
					n++
				}
			}
			for _, x := range t.Days {
				note(x.start)
			}
			for _, r := range t.Results {
				note(r.Start.UnixMicro())
			}
			if n == 0 {
				continue
			}
			gap := at(row.start) - most.to
			if early {
				gap = most.from - at(row.start)
			}
			f := finder{d: d, t: t}
			f.add("far-dates", row.place, place{}, n, fmt.Sprintf("%s some %d years from the rest of the files, on %s: check the year",
				some(n, "mean"), gap, time.UnixMicro(row.start).In(t.location).Format(time.DateOnly)))
		}
	}
}

// some is a number of things in words: "1 day", "3 stretches".
func some(n int, thing string) string {
	switch {
	case n == 1:
		return "1 " + thing
	case strings.HasSuffix(thing, "ch"):
		return fmt.Sprintf("%d %ses", n, thing)
	}
	return fmt.Sprintf("%d %ss", n, thing)
}

// civilDays counts the midnights between two starts of days.
func civilDays(from, to int64, loc *time.Location) int {
	civil := func(us int64) time.Time {
		y, m, d := time.UnixMicro(us).In(loc).Date()
		return time.Date(y, m, d, 0, 0, 0, 0, time.UTC)
	}
	return int(civil(to).Sub(civil(from)).Hours()/24 + 0.5)
}

// homeTracks is one home: its tracks, as indices.
type homeTracks struct {
	name, area string
	tracks     []int
}

// settleHomes gathers tracks into homes. Rows that do not say the area join
// the one area other rows of that name say; where those say several, the name
// stands for as many homes.
func (d *Daily) settleHomes() []homeTracks {
	var homes []homeTracks
	for i := 0; i < len(d.Tracks); {
		j := i
		for j < len(d.Tracks) && d.Tracks[j].Home == d.Tracks[i].Home {
			j++
		}
		name := d.Tracks[i].Home
		var areas []string
		for _, t := range d.Tracks[i:j] {
			if t.Area != "" && !slices.Contains(areas, t.Area) {
				areas = append(areas, t.Area)
			}
		}
		if len(areas) == 1 {
			for k := i; k < j; k++ {
				d.Tracks[k].Area = areas[0]
			}
		}
		if len(areas) > 1 {
			t := d.Tracks[i]
			d.findings = append(d.findings, Finding{Code: "home-in-areas", Home: name, File: t.first.file, Line: t.first.line, Count: len(areas),
				Text: fmt.Sprintf("the name stands in the areas %s and is taken as a home in each", strings.Join(areas, ", "))})
		}
		slices.SortStableFunc(d.Tracks[i:j], func(a, b Track) int {
			return cmp.Or(strings.Compare(a.Area, b.Area), strings.Compare(a.Room, b.Room), strings.Compare(a.Detector, b.Detector),
				strings.Compare(a.Phase, b.Phase), strings.Compare(a.Kind, b.Kind), strings.Compare(a.Method, b.Method))
		})
		for ; i < j; i++ {
			if k := len(homes) - 1; k < 0 || homes[k].name != name || homes[k].area != d.Tracks[i].Area {
				homes = append(homes, homeTracks{name: name, area: d.Tracks[i].Area})
			}
			h := &homes[len(homes)-1]
			h.tracks = append(h.tracks, i)
		}
	}
	for _, h := range homes {
		weights := map[float64]bool{}
		for _, k := range h.tracks {
			if w := d.Tracks[k].Weight; w > 0 {
				weights[w] = true
			}
		}
		if len(weights) > 1 {
			t := d.Tracks[h.tracks[0]]
			d.findings = append(d.findings, Finding{Code: "weights-differ", Home: h.name, File: t.first.file, Line: t.first.line, Count: len(weights),
				Text: fmt.Sprintf("the home's rows state %d different weights; the smallest is used", len(weights))})
		}
		d.eachPlace(h, func(ts []int) {
			lanes := d.lanes(ts, true)
			if len(lanes) < 2 {
				return
			}
			t := d.Tracks[ts[0]]
			why := "readings that overlap"
			if lanes[0].method != lanes[len(lanes)-1].method {
				why = "more than one method"
			}
			d.findings = append(d.findings, Finding{Code: "split-series", Home: t.Home, Room: t.Room, Detector: t.Detector,
				File: t.first.file, Line: t.first.line, Count: len(lanes),
				Text: fmt.Sprintf("one detector name covers %s; taken as %d series: name the detectors apart", why, len(lanes))})
		})
	}
	return homes
}

// eachPlace calls f with the tracks of each room, detector, phase and kind.
func (d *Daily) eachPlace(h homeTracks, f func(ts []int)) {
	same := func(a, b Track) bool {
		return a.Room == b.Room && a.Detector == b.Detector && a.Phase == b.Phase && a.Kind == b.Kind
	}
	for i := 0; i < len(h.tracks); {
		j := i
		for j < len(h.tracks) && same(d.Tracks[h.tracks[i]], d.Tracks[h.tracks[j]]) {
			j++
		}
		f(h.tracks[i:j])
		i = j
	}
}

// lane is readings of one place, none overlapping another.
type lane struct {
	method   string
	zone     *time.Location
	rows     int
	days     int
	mixed    int // of them, Day.Mixed
	stated   bool
	readings []analysis.Reading
}

// lanes lays the tracks of one place out so that within a lane nothing
// overlaps. Each method has lanes of its own. The day means take the first,
// with the results that fit beside them; other results take the lane that has
// been free the longest. With count only, lanes of day means stay empty.
func (d *Daily) lanes(ts []int, count bool) []*lane {
	var out []*lane
	for _, k := range ts {
		t := &d.Tracks[k]
		l := &lane{method: t.Method, zone: t.location, rows: t.rows, days: len(t.Days), stated: t.stated}
		if !count {
			l.readings = make([]analysis.Reading, 0, len(t.Days)+len(t.Results))
			for _, day := range t.Days {
				l.readings = append(l.readings, day.Reading())
				if day.Mixed() {
					l.mixed++
				}
			}
		}
		out = append(out, l)
		if len(t.Results) == 0 {
			continue
		}
		results := slices.Clone(t.Results)
		slices.SortStableFunc(results, func(a, b analysis.Reading) int {
			return cmp.Or(a.Start.Compare(b.Start), a.End.Compare(b.End))
		})
		var free laneHeap
		var last time.Time
		for _, r := range results {
			if !r.Start.Before(last) && !touches(t.Days, r) {
				l.readings = append(l.readings, r)
				last = r.End
				continue
			}
			if len(free) > 0 && !r.Start.Before(free[0].end) {
				free[0].l.readings = append(free[0].l.readings, r)
				free[0].end = r.End
				heap.Fix(&free, 0)
				continue
			}
			other := &lane{method: t.Method, zone: t.location, rows: t.rows, stated: t.stated, readings: []analysis.Reading{r}}
			out = append(out, other)
			heap.Push(&free, laneEnd{r.End, len(out), other})
		}
	}
	return slices.DeleteFunc(out, func(l *lane) bool { return l.days == 0 && len(l.readings) == 0 })
}

// touches says whether a reading overlaps one of the days.
func touches(days []Day, r analysis.Reading) bool {
	from, to := r.Start.UnixMicro(), r.End.UnixMicro()
	i, _ := slices.BinarySearchFunc(days, from, func(d Day, us int64) int {
		if d.end <= us {
			return -1
		}
		return 1
	})
	return i < len(days) && days[i].start < to
}

// laneHeap has the lane that ends first on top.
type laneHeap []laneEnd

type laneEnd struct {
	end time.Time
	no  int
	l   *lane
}

func (h laneHeap) Len() int { return len(h) }
func (h laneHeap) Less(i, j int) bool {
	return cmp.Or(h[i].end.Compare(h[j].end), cmp.Compare(h[i].no, h[j].no)) < 0
}
func (h laneHeap) Swap(i, j int) { h[i], h[j] = h[j], h[i] }
func (h *laneHeap) Push(x any)   { *h = append(*h, x.(laneEnd)) }
func (h *laneHeap) Pop() any {
	old := *h
	x := old[len(old)-1]
	*h = old[:len(old)-1]
	return x
}

// Homes gives each home's series, in byte order of the home's name, then area.
// Homes of which the filter leaves nothing are left out.
//
// Day means are readings from midnight to midnight with the share of the day
// that was measured; short days stay. Where one detector name covers readings
// that overlap, or several methods, there is a series for each, and from the
// second on the detector's name ends in " #2", " #3" and so on. A reading of
// 0 Bq/m³ stays 0 and is counted in About.
func (d *Daily) Homes(f Filter) []Home {
	var homes []Home
	for i := range d.HomeCount() {
		if h := d.Home(i, f); len(h.Series) > 0 {
			homes = append(homes, h)
		}
	}
	return homes
}

// HomeCount is how many homes there are, whatever their series.
func (d *Daily) HomeCount() int { return len(d.homes) }

// Row is where home i of HomeCount stands first: in the file that comes first by
// name, and its line (in Parquet and IPC the row).
func (d *Daily) Row(i int) (file string, line int64) {
	for k, t := range d.homes[i].tracks {
		f := d.Tracks[t].first
		if k == 0 || f.file < file || f.file == file && f.line < line {
			file, line = f.file, f.line
		}
	}
	return file, line
}

// Said is one value of a column that rides along, and from when to when a home's field
// readings that state it go.
type Said struct {
	Value      string
	Start, End time.Time // UTC
}

// Said are the values that the field readings of home i of HomeCount state in a column,
// each with its time, in order of value and track; of a track that states more than four,
// nothing.
func (d *Daily) Said(i int, column string) (out []Said) {
	k := slices.Index(d.extras, column)
	if k < 0 {
		return nil
	}
	for _, at := range d.homes[i].tracks {
		t := &d.Tracks[at]
		if t.Kind != "field" {
			continue
		}
		for _, s := range t.said[k] {
			if v := d.names[s.id]; v != "" {
				out = append(out, Said{v, time.UnixMicro(s.first).UTC(), time.UnixMicro(s.last).UTC()})
			}
		}
	}
	slices.SortStableFunc(out, func(a, b Said) int {
		return cmp.Or(cmp.Compare(a.Value, b.Value), a.Start.Compare(b.Start), a.End.Compare(b.End))
	})
	return out
}

// Extras are the names of the columns that ride along.
func (d *Daily) Extras() []string { return slices.Clone(d.extras) }

// Home is home i of HomeCount, in the order of Homes; without Series where the
// filter admits none. Its series are made anew at each call, so that many homes
// need not be held at a time; several goroutines may call it at once.
func (d *Daily) Home(i int, f Filter) Home {
	h := d.homes[i]
	home := Home{Name: h.name, Area: h.area}
	extra := make([]int32, len(d.extras))
	for i := range extra {
		extra[i] = extraNone
	}
	for _, k := range h.tracks {
		t := &d.Tracks[k]
		if t.Weight > 0 && (home.Weight == 0 || t.Weight < home.Weight) {
			home.Weight = t.Weight
		}
		for i := range extra {
			extra[i] = sameExtra(extra[i], t.extra[i])
		}
	}
	for i, id := range extra {
		if id == extraMany {
			home.Differs = append(home.Differs, d.extras[i])
		}
		if id >= 0 && d.names[id] != "" {
			if home.Extra == nil {
				home.Extra = map[string]string{}
			}
			home.Extra[d.extras[i]] = d.names[id]
		}
	}
	d.eachPlace(h, func(ts []int) {
		t := &d.Tracks[ts[0]]
		if !f.admits(t) {
			home.LeftOut += len(ts)
			return
		}
		for i, l := range d.lanes(ts, false) {
			p := t.Place
			if i > 0 {
				p.Detector = strings.TrimSpace(fmt.Sprintf("%s #%d", p.Detector, i+1))
			}
			s, err := analysis.NewSeries(p, l.zone, l.readings)
			if err != nil { // the collector checked each value, and lanes do not overlap
				home.LeftOut++
				continue
			}
			about := About{Phase: t.Phase, Kind: t.Kind, Method: l.method, Rows: l.rows, Days: l.days, Mixed: l.mixed, Stated: l.stated}
			for _, r := range l.readings {
				if r.Concentration == 0 {
					about.Zeros++
				}
				if r.BelowLimit {
					about.Below++
				}
			}
			home.Series = append(home.Series, s)
			home.About = append(home.About, about)
		}
	})
	return home
}
