package main

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/compare"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/report"
)

// switchFlags are the options that say when systems were switched.
func switchFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "switch", Usage: "`TIME` at which every home's system was switched on, as 2026-01-10 or 2026-01-10T18:00, in the homes' own zone unless it names another, as 2026-01-10T18:00+01:00 (default: a phase column says what was before and after)"},
		&cli.StringFlag{Name: "switches", Usage: "CSV `FILE` of switch times: columns home and time; state, on or off, where a system was switched more than once; system, a name, where a home has several"},
	}
}

// toggle is a system switched on or off, by the clock of the home it is in or,
// where its text named an offset, at an instant.
type toggle struct {
	at      time.Time
	instant bool
	day     bool // only the day is known
	on      bool
	system  string // which of a home's systems
	line    int    // of a file

	systems []string // that run after it, as compare.Ran has them
}

// runs says whether any system runs after it.
func (t toggle) runs() bool { return len(t.systems) > 0 }

// words say what was switched, and how.
func (t toggle) words() string {
	if t.system != "" {
		return fmt.Sprintf("%q is switched %s", t.system, t.state())
	}
	return "the system is switched " + t.state()
}

func (t toggle) state() string {
	if t.on {
		return "on"
	}
	return "off"
}

// in is the instant in a home's zone.
func (t toggle) in(zone *time.Location) time.Time {
	if t.instant {
		return t.at.In(zone)
	}
	y, m, d := t.at.Date()
	return time.Date(y, m, d, t.at.Hour(), t.at.Minute(), t.at.Second(), 0, zone)
}

// switches are the times from --switch or --switches; the zero value has none.
type switches struct {
	all    []toggle
	byHome map[string][]toggle // nil unless from a file
	file   string
	beside []report.Input // the file
}

func (s switches) given() bool { return s.all != nil || s.byHome != nil }

// of are a home's toggles in order of time.
func (s switches) of(home string) []toggle {
	if s.byHome != nil {
		return s.byHome[home]
	}
	return s.all
}

// parseToggle reads a time with or without an offset.
func parseToggle(text string) (toggle, bool) {
	text = strings.TrimSpace(text)
	at, ok := parseInstant(text, time.UTC)
	if !ok {
		return toggle{}, false
	}
	zoned := slices.ContainsFunc(zonedLayouts, func(layout string) bool {
		_, err := time.Parse(layout, text)
		return err == nil
	})
	return toggle{at: at, instant: zoned, day: len(text) == len(time.DateOnly), on: true}, true
}

func parseSwitches(c *cli.Context) (switches, error) {
	one, path := c.String("switch"), c.String("switches")
	if one != "" && path != "" {
		return switches{}, usageError{"--switch and --switches were both given", "--switch is for one time that all homes share; put it into the file"}
	}
	if one != "" {
		t, ok := parseToggle(one)
		if !ok {
			return switches{}, usageError{fmt.Sprintf("--switch %q is not a time", one), "--switch 2026-01-10, --switch 2026-01-10T18:00 or --switch 2026-01-10T18:00+01:00"}
		}
		all := []toggle{t}
		return switches{all: all}, runThrough(all)
	}
	if path == "" {
		return switches{}, nil
	}
	f, err := openSide(c, path, "switch times", "a line is home,time[,state[,system]] under a header, for example 17,2026-01-10T18:00,on")
	if err != nil {
		return switches{}, err
	}
	return readSwitches(f)
}

// readSwitches takes home, time, state and system.
func readSwitches(f sideFile) (switches, error) {
	s := switches{byHome: map[string][]toggle{}, file: f.path, beside: []report.Input{f.sum}}
	home, at, state, system := f.column("home"), f.column("time", "switch", "date"), f.column("state"), f.column("system")
	if home < 0 || at < 0 {
		return s, f.fail(1, "the header has no columns home and time")
	}
	var homes []string // in order, so that the first trouble is the same every time
	for _, row := range f.rows {
		name := row.cells[home]
		if name == "" {
			return s, f.fail(row.line, "column home: no home")
		}
		t, ok := parseToggle(row.cells[at])
		if !ok {
			f.hint = "write it as 2025-01-15 or 2025-01-15T18:00"
			return s, f.fail(row.line, "column time: %q is not a time", row.cells[at])
		}
		t.line = row.line
		if state >= 0 {
			switch word := strings.ToLower(row.cells[state]); word {
			case "on", "":
			case "off":
				t.on = false
			default:
				return s, f.fail(row.line, "column state: %q is neither on nor off", word)
			}
		}
		if system >= 0 {
			t.system = row.cells[system]
		}
		if s.byHome[name] == nil {
			homes = append(homes, name)
		}
		s.byHome[name] = append(s.byHome[name], t)
	}
	for _, name := range homes {
		ts := s.byHome[name]
		slices.SortStableFunc(ts, func(a, b toggle) int { return a.at.Compare(b.at) })
		if err := runThrough(ts); err != nil {
			var at toggleError
			errors.As(err, &at)
			return s, f.fail(at.line, "home %s: %s", name, at.why)
		}
	}
	return s, nil
}

// toggleError is a row of switches that cannot follow those before it.
type toggleError struct {
	line int
	why  string
}

func (e toggleError) Error() string { return e.why }

// ranFirst are the systems that ran before a home's first switch: those that are first
// switched off.
func ranFirst(toggles []toggle) (names []string) {
	seen := map[string]bool{}
	for _, t := range toggles {
		if !seen[t.system] && !t.on {
			names = append(names, t.system)
		}
		seen[t.system] = true
	}
	slices.Sort(names)
	return names
}

// runThrough fills in which systems run after each of a home's toggles, which are in order of
// time. A system switched on that is on already was enlarged, or is a second one without a
// name of its own; off is then all of it.
func runThrough(toggles []toggle) error {
	running := ranFirst(toggles)
	for i, t := range toggles {
		at := t.at.Format("2006-01-02 15:04")
		if i > 0 {
			switch before := toggles[i-1]; {
			case t.system == before.system && t.at.Equal(before.at):
				return toggleError{t.line, fmt.Sprintf("%s at %s, and line %d switches it at that time too", t.words(), at, before.line)}
			case (t.system == "") != (before.system == ""):
				return toggleError{t.line, "some of its rows name a system and others do not; name it in all of them, or in none"}
			}
		}
		if t.on {
			running = append(slices.Clone(running), t.system)
			slices.Sort(running)
		} else {
			n := len(running)
			running = slices.DeleteFunc(slices.Clone(running), func(name string) bool { return name == t.system })
			if len(running) == n {
				return toggleError{t.line, fmt.Sprintf("%s at %s and was off already", t.words(), at)}
			}
		}
		toggles[i].systems = running
	}
	return nil
}

// ranIn are the systems of a home by its toggles; nil where these tell of no more than one
// that was switched on and off.
func ranIn(toggles []toggle, zone *time.Location) []compare.Ran {
	out := []compare.Ran{{Systems: ranFirst(toggles)}}
	tells := false
	for _, t := range toggles {
		at := t.in(zone)
		out[len(out)-1].To = at
		out = append(out, compare.Ran{From: at, Systems: t.systems})
		tells = tells || t.system != "" || len(t.systems) > 1
	}
	if !tells {
		return nil
	}
	return out
}

// repairedAt is when a system last ran again after a stop of a day or two, as a repair is, be
// it one of several; zero where there was none.
func repairedAt(toggles []toggle, zone *time.Location) (at time.Time) {
	stopped := map[string]time.Time{}
	for _, t := range toggles {
		if !t.on {
			stopped[t.system] = t.in(zone)
			continue
		}
		if off, ok := stopped[t.system]; ok && t.in(zone).Sub(off) < 2*settle {
			at = t.in(zone)
		}
		delete(stopped, t.system)
	}
	return at
}

// spellChanges is how often a home went from no system running to some, or back, for long
// enough to be measured: an off and on of one day, as a repair is, is no change.
func spellChanges(toggles []toggle, zone *time.Location) int {
	var at []time.Time // of the changes
	running := len(ranFirst(toggles)) > 0
	for _, t := range toggles {
		if t.runs() == running {
			continue
		}
		running = t.runs()
		if n := len(at); n > 0 && t.in(zone).Sub(at[n-1]) < 2*settle {
			at = at[:n-1]
			continue
		}
		at = append(at, t.in(zone))
	}
	return len(at)
}

// parted is a home's readings by the state its system was in.
type parted struct {
	without, with []analysis.Series
	switched      time.Time // when it was first switched on
	near          int       // day means left out as too near a switch
	across        int       // longer results left out as going across one
	unphased      int       // readings that state no phase, where phases part
	soon          bool      // a longer result begins within a day of a switch and is kept
	toggles       []toggle
	ran           []compare.Ran
}

// settle is how long after a switch nothing is taken: common practice, and what
// test protocols ask of a first test.
const settle = 24 * time.Hour

// A longer result may have stood through so much time in the other state, and no
// more: it is a mean, and an hour without a fan that leaves a tenth adds as much as ten
// with it.
const (
	mostAcross      = time.Hour
	mostAcrossShare = 0.01 // of its length, where that is more
)

// of is the instant of a toggle for a result. Where only its day is known, a result
// that ends on that day is taken to have ended before it, one that begins on it after.
func (t toggle) of(r analysis.Reading, zone *time.Location) time.Time {
	at := t.in(zone)
	if !t.day {
		return at
	}
	y, m, d := at.Date()
	switch next := time.Date(y, m, d+1, 0, 0, 0, 0, zone); {
	case !r.End.After(next):
		return next
	case !r.Start.Before(at):
		return at
	}
	return at.Add(12 * time.Hour)
}

// part sorts readings by the state of the system. The civil day of a switch and the
// 24 hours after it are of neither; a longer result is of the state that it stood
// through, and of neither if it stood through the other one too.
func part(series []analysis.Series, toggles []toggle) (parted, error) {
	type change struct {
		toggle
		from, until time.Time
	}
	out := parted{toggles: toggles}
	for _, s := range series {
		var changes []change
		ran := len(ranFirst(toggles)) > 0 // before a first "off" it ran
		first := ran
		for _, t := range toggles {
			at := t.in(s.Zone)
			y, m, d := at.Date()
			until := at.Add(settle)
			if t.day {
				until = time.Date(y, m, d+2, 0, 0, 0, 0, s.Zone)
			}
			changes = append(changes, change{t, time.Date(y, m, d, 0, 0, 0, 0, s.Zone), until})
			if t.runs() && !ran && (out.switched.IsZero() || at.Before(out.switched)) {
				out.switched = at
			}
			ran = t.runs()
		}
		err := out.add(s, func(r analysis.Reading) side {
			running := first
			var in [2]time.Duration // which the reading stood through
			from, soon := r.Start, false
			for _, c := range changes {
				if r.OfADay() && r.Start.Before(c.until) && r.End.After(c.from) {
					return neither
				}
				at := c.of(r, s.Zone)
				if at.After(from) && from.Before(r.End) {
					end := at
					if r.End.Before(end) {
						end = r.End
					}
					in[stateOf(running)] += end.Sub(from)
					from = end
				}
				soon = soon || c.on && !r.OfADay() && !r.Start.Before(at.Add(-mostAcross)) && r.Start.Before(c.until)
				running = c.runs()
			}
			in[stateOf(running)] += r.End.Sub(from)
			if least := min(in[without], in[with]); least > max(mostAcross, time.Duration(mostAcrossShare*float64(r.End.Sub(r.Start)))) {
				return neither
			}
			out.soon = out.soon || soon
			return stateOf(in[with] > in[without])
		})
		if err != nil {
			return parted{}, err
		}
	}
	return out, nil
}

// side is which of a home's readings one is of.
type side int

const (
	without side = iota
	with
	neither
)

func stateOf(on bool) side {
	if on {
		return with
	}
	return without
}

// add parts a series.
func (p *parted) add(s analysis.Series, of func(analysis.Reading) side) error {
	var sides [2][]analysis.Reading
	for i := range s.Len() {
		r := s.At(i)
		switch k := of(r); {
		case k != neither:
			sides[k] = append(sides[k], r)
		case r.OfADay():
			p.near++
		default:
			p.across++
		}
	}
	for k, to := range []*[]analysis.Series{&p.without, &p.with} {
		if len(sides[k]) == 0 {
			continue
		}
		x, err := analysis.NewSeries(s.Place, s.Zone, sides[k])
		if err != nil {
			return err
		}
		*to = append(*to, x)
	}
	return nil
}

// running says whether the system runs now, for all that its switches say, and since
// when it does not.
func (p parted) running() (bool, toggle) {
	if n := len(p.toggles); n > 0 && !p.toggles[n-1].runs() {
		return false, p.toggles[n-1]
	}
	return true, toggle{}
}

// again says whether a system was switched again after it ran, and when last.
func (p parted) again() (bool, toggle) {
	n := len(p.toggles)
	if n > 1 && p.toggles[n-1].runs() {
		return true, p.toggles[n-1]
	}
	return false, toggle{}
}

// spell are days that the system ran without a switch between them.
type spell struct {
	from   time.Time // zero where it ran before its first switch
	series analysis.Series
}

// spells are a series' days with the system before the last switch, parted at the others.
func (p parted) spells(s analysis.Series) (out []spell, err error) {
	last := len(p.toggles) - 1
	for i := -1; i < last; i++ {
		one, until := spell{}, p.toggles[i+1].in(s.Zone)
		if i >= 0 {
			one.from = p.toggles[i].in(s.Zone)
		}
		var in []analysis.Reading
		for _, r := range s.Readings() {
			if !r.Start.Before(one.from) && r.Start.Before(until) {
				in = append(in, r)
			}
		}
		if in == nil {
			continue
		}
		if one.series, err = analysis.NewSeries(s.Place, s.Zone, in); err != nil {
			return nil, err
		}
		out = append(out, one)
	}
	return out, nil
}

// periods are the spells between switches as their means, for a study that switches
// a system on and off: of all monitors' means of a day, in order. A period is placed
// where the middle of its days is; days below the monitor's limit, of which it says how
// many there are, are taken as the limit.
func (p parted) periods() (out []compare.Period, below int) {
	type day struct {
		sum, n float64
		on     bool
	}
	days := map[int]*day{}
	for k, side := range [][]analysis.Series{p.without, p.with} {
		for _, s := range side {
			for _, r := range s.Readings() {
				if !r.OfADay() || temporal.Dead(r) {
					continue
				}
				if r.BelowLimit {
					below++
				}
				at := temporal.Day(r.Start.Add(r.End.Sub(r.Start)/2), s.Zone)
				if days[at] == nil {
					days[at] = &day{on: k == int(with)}
				}
				days[at].sum += r.Concentration
				days[at].n++
			}
		}
	}
	middle := 0.0 // sum of the days of the last period
	for _, at := range slices.Sorted(maps.Keys(days)) {
		d := days[at]
		n := len(out)
		if n == 0 || out[n-1].On != d.on {
			out, middle = append(out, compare.Period{On: d.on}), 0
			n++
		}
		q := &out[n-1]
		q.Mean = (q.Mean*q.Days + d.sum/d.n) / (q.Days + 1)
		q.Days++
		middle += float64(at)
		hours := 24 * (middle/q.Days + 0.5 - q.Days/2)
		q.Start = temporal.Date(0, time.UTC).Add(time.Duration(hours * float64(time.Hour)))
	}
	return out, below
}
