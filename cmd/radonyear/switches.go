package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/compare"
)

// switchFlags are the options that say when systems were switched.
func switchFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "switch", Usage: "`TIME` at which every home's system was switched on, as 2026-01-10 or 2026-01-10T18:00, in the homes' own zone (default: a phase column says what was before and after)"},
		&cli.StringFlag{Name: "switches", Usage: "CSV `FILE` of switch times: columns home and time, and state, on or off, where a system was switched more than once"},
	}
}

// toggle is a system switched on or off, by the clock of the home it is in or,
// where its text named an offset, at an instant.
type toggle struct {
	at      time.Time
	instant bool
	day     bool // only the day is known
	on      bool
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
	_, err := time.Parse(time.RFC3339, text)
	return toggle{at: at, instant: err == nil, day: len(text) == len(time.DateOnly), on: true}, true
}

func parseSwitches(c *cli.Context) (switches, error) {
	one, path := c.String("switch"), c.String("switches")
	if one != "" && path != "" {
		return switches{}, usageError{"--switch and --switches were both given", "--switch is for one time that all homes share; put it into the file"}
	}
	if one != "" {
		t, ok := parseToggle(one)
		if !ok {
			return switches{}, usageError{fmt.Sprintf("--switch %q is not a time", one), "--switch 2026-01-10 or --switch 2026-01-10T18:00"}
		}
		return switches{all: []toggle{t}}, nil
	}
	if path == "" {
		return switches{}, nil
	}
	for _, option := range []string{"output", "rejects"} {
		if out := c.String(option); out != "" {
			if err := refuseInput("--"+option, out, []string{path}); err != nil {
				return switches{}, err
			}
		}
	}
	f, err := os.Open(path)
	if err != nil {
		return switches{}, hinted{fmt.Errorf("reading the switch times %s: %w", path, bare(err)), "give a CSV file with the columns home and time"}
	}
	defer f.Close()
	return readSwitches(path, f)
}

// readSwitches reads home, time and state. A file with a line that cannot be
// followed is refused whole: a home without its switch would be another question.
func readSwitches(path string, r io.Reader) (switches, error) {
	const hint = "a line is home,time[,state] under a header, for example 17,2026-01-10T18:00,on"
	fail := func(line int, format string, args ...any) (switches, error) {
		return switches{}, hinted{fmt.Errorf("%s:%d: %s", path, line, fmt.Sprintf(format, args...)), hint}
	}
	in := csv.NewReader(r)
	in.FieldsPerRecord = -1
	in.TrimLeadingSpace = true
	s := switches{byHome: map[string][]toggle{}, file: path}
	column := map[string]int{}
	for {
		row, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			return fail(parse.Line, "%v", parse.Err)
		}
		if err != nil {
			return switches{}, fmt.Errorf("reading %s: %w", path, bare(err))
		}
		line, _ := in.FieldPos(0)
		if len(column) == 0 {
			for i, name := range row {
				switch name = strings.ToLower(strings.TrimSpace(strings.TrimPrefix(name, "\ufeff"))); name {
				case "home", "state":
					column[name] = i
				case "time", "switch", "date":
					column["time"] = i
				}
			}
			_, home := column["home"]
			if _, at := column["time"]; !home || !at {
				return fail(line, "the header has no columns home and time")
			}
			continue
		}
		get := func(name string) string {
			if i, ok := column[name]; ok && i < len(row) {
				return strings.TrimSpace(row[i])
			}
			return ""
		}
		home, text := get("home"), get("time")
		if home == "" {
			return fail(line, "column home: no home")
		}
		t, ok := parseToggle(text)
		if !ok {
			return fail(line, "column time: %q is not a time", text)
		}
		switch state := strings.ToLower(get("state")); state {
		case "on", "":
		case "off":
			t.on = false
		default:
			return fail(line, "column state: %q is neither on nor off", state)
		}
		s.byHome[home] = append(s.byHome[home], t)
	}
	if len(s.byHome) == 0 {
		return switches{}, hinted{fmt.Errorf("%s holds no switch time", path), hint}
	}
	for home, ts := range s.byHome {
		slices.SortStableFunc(ts, func(a, b toggle) int { return a.at.Compare(b.at) })
		for i, t := range ts {
			if i > 0 && t.on == ts[i-1].on {
				state := map[bool]string{true: "on", false: "off"}[t.on]
				return switches{}, hinted{fmt.Errorf("%s: home %s is switched %s at %s and was %s already", path, home, state, t.at.Format("2006-01-02 15:04"), state), "name each switch once, with its state"}
			}
		}
	}
	return s, nil
}

// parted is a home's readings by the state its system was in.
type parted struct {
	without, with []analysis.Series
	switched      time.Time // when it was first switched on
	near          int       // day means left out as too near a switch
	across        int       // longer results left out as going across one
	soon          bool      // a longer result begins within a day of a switch and is kept
}

// settle is how long after a switch nothing is taken: common practice, and what
// test protocols ask of a first test.
const settle = 24 * time.Hour

// part sorts readings by the state of the system. The civil day of a switch and the
// 24 hours after it are of neither; a longer result that goes across a switch by
// more than a day on both sides is left out too.
func part(series []analysis.Series, toggles []toggle) (parted, error) {
	var out parted
	for _, s := range series {
		type change struct {
			from, at, until time.Time
			on              bool
		}
		var changes []change
		for _, t := range toggles {
			at := t.in(s.Zone)
			y, m, d := at.Date()
			from := time.Date(y, m, d, 0, 0, 0, 0, s.Zone)
			until := at.Add(settle)
			if t.day {
				until = time.Date(y, m, d+2, 0, 0, 0, 0, s.Zone)
			}
			changes = append(changes, change{from, at, until, t.on})
			if t.on && (out.switched.IsZero() || at.Before(out.switched)) {
				out.switched = at
			}
		}
		var sides [2][]analysis.Reading
		for i := range s.Len() {
			r := s.At(i)
			keep, on := true, len(changes) > 0 && !changes[0].on // before a first "off" it ran
			for _, c := range changes {
				if r.OfADay() {
					if r.Start.Before(c.until) && r.End.After(c.from) {
						keep = false
						out.near++
						break
					}
				} else if c.at.After(r.Start.Add(settle)) && c.at.Before(r.End.Add(-settle)) {
					keep = false
					out.across++
					break
				} else if d := r.Start.Sub(c.at); c.on && d > -settle && d < settle {
					out.soon = true
				}
				if !r.Start.Add(r.End.Sub(r.Start) / 2).Before(c.at) {
					on = c.on
				}
			}
			if keep {
				k := 0
				if on {
					k = 1
				}
				sides[k] = append(sides[k], r)
			}
		}
		for k, rs := range sides {
			if len(rs) == 0 {
				continue
			}
			x, err := analysis.NewSeries(s.Place, s.Zone, rs)
			if err != nil {
				return parted{}, err
			}
			if k == 0 {
				out.without = append(out.without, x)
			} else {
				out.with = append(out.with, x)
			}
		}
	}
	return out, nil
}

// periods are the spells between switches as their means, for a study that switches
// a system on and off: days of either state in a row, whatever detector stood there.
func (s parted) periods() []compare.Period {
	type reading struct {
		analysis.Reading
		on bool
	}
	var all []reading
	for k, side := range [][]analysis.Series{s.without, s.with} {
		for _, x := range side {
			for _, r := range x.Readings() {
				all = append(all, reading{r, k == 1})
			}
		}
	}
	slices.SortStableFunc(all, func(a, b reading) int { return a.Start.Compare(b.Start) })
	var out []compare.Period
	for _, r := range all {
		days := r.Days()
		if r.Share > 0 {
			days *= r.Share
		}
		if n := len(out); n > 0 && out[n-1].On == r.on {
			p := &out[n-1]
			p.Mean = (p.Mean*p.Days + r.Concentration*days) / (p.Days + days)
			p.Days += days
			continue
		}
		out = append(out, compare.Period{Start: r.Start, Days: days, Mean: r.Concentration, On: r.on})
	}
	return out
}
