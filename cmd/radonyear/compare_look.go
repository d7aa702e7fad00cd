package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/compare"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/report"
)

// record is days that a switch is looked for in: those of one monitor, or of monitors
// that followed each other in one room.
type record struct {
	room      string
	detectors []string // in order of time
	swaps     []int    // first days of each but the first
	days      []compare.Day
}

func (r *record) first() int { return r.days[0].Day }
func (r *record) last() int  { return r.days[len(r.days)-1].Day }

// place names its room and its detectors.
func (r *record) place() string {
	var parts []string
	if r.room != "" {
		parts = append(parts, r.room)
	}
	if slices.ContainsFunc(r.detectors, func(name string) bool { return name != "" }) {
		parts = append(parts, strings.Join(r.detectors, ", then "))
	}
	if parts == nil {
		return "the monitor"
	}
	return strings.Join(parts, ", ")
}

// name says which days they are; more is what follows in its brackets.
func (r *record) name(more string) string {
	return fmt.Sprintf("%s (%s from %s to %s%s)", r.place(), countDays(float64(len(r.days))), dayText(r.first()), dayText(r.last()), more)
}

func dayText(day int) string { return temporal.Date(day, time.UTC).Format(time.DateOnly) }

// records are a home's: in each room a monitor that begins on or after the last day of
// another one is taken to have followed it.
func records(series []analysis.Series) (out []record) {
	type piece struct {
		analysis.Series
		days []compare.Day
	}
	var pieces []piece
	for _, s := range series {
		if days, _ := daysOf(s, false); len(days) > 0 {
			pieces = append(pieces, piece{s, days})
		}
	}
	slices.SortStableFunc(pieces, func(a, b piece) int {
		return cmp.Or(cmp.Compare(a.Room, b.Room), cmp.Compare(a.days[0].Day, b.days[0].Day))
	})
	for _, p := range pieces {
		i := slices.IndexFunc(out, func(r record) bool { return r.room == p.Room && r.last() <= p.days[0].Day })
		if i < 0 {
			out = append(out, record{room: p.Room, detectors: []string{p.Detector}, days: p.days})
			continue
		}
		r := &out[i]
		days := p.days
		if days[0].Day == r.last() { // a day that both were there for
			days = days[1:]
		}
		if p.Detector != r.detectors[len(r.detectors)-1] && len(days) > 0 {
			r.detectors, r.swaps = append(r.detectors, p.Detector), append(r.swaps, days[0].Day)
		}
		r.days = append(slices.Clip(r.days), days...)
	}
	return out
}

// searched is what the search of a record came to.
type searched struct {
	record
	compare.Switch
	err error // it cannot be searched
}

// looked is what the search for a home's switch came to.
type looked struct {
	found *found
	err   error
}

// found is a switch that was found in the days, where nobody wrote it down.
type found struct {
	searched                 // the most probable one
	all      []searched      // those of every record, and
	best     int             // which of them this is
	shared   int             // so many were long enough to be searched, and share the odds before looking
	change   compare.Verdict // if the day is confirmed, and
	below    []compare.Below // so are these
}

// look looks for the switch in all records of a home.
func (q compareQuestion) look(series []analysis.Series) looked {
	var all []searched
	rs := records(series)
	// Those long enough to be searched: each more is one more chance to find what is not there.
	searchable := 0
	for _, r := range rs {
		if len(r.days) >= 2*compare.LeastDaysASide {
			searchable++
		}
	}
	for _, r := range rs {
		season := make([]float64, len(r.days))
		for i, d := range r.days {
			season[i] = q.Profile.Season.At(d.Day)
		}
		s := searched{record: r}
		s.Switch, s.err = compare.FindSwitch(r.days, compare.SwitchOptions{Confidence: q.Confidence, Season: season, Records: searchable})
		all = append(all, s)
	}
	if all == nil {
		return looked{err: fmt.Errorf("no day means to look for a switch in")}
	}
	best := -1
	var none, short []string
	for i, s := range all {
		switch {
		case s.err != nil:
			short = append(short, fmt.Sprintf("in %s: %s", s.name(""), s.err))
		case !s.Found:
			none = append(none, q.noChange(s))
		case best < 0 || s.better(all[best]):
			best = i
		}
	}
	switch {
	case best >= 0:
		return looked{found: &found{searched: all[best], all: all, best: best, shared: searchable}}
	case none == nil:
		return looked{err: fmt.Errorf("no switch can be looked for %s", strings.Join(short, "; "))}
	}
	why := "no change of the level was found in " + strings.Join(none, " or ") + ", so nothing says what is before and after; give --switch TIME"
	if short != nil {
		why += "; none could be looked for " + strings.Join(short, "; ")
	}
	return looked{err: fmt.Errorf("%s", why)}
}

func (q compareQuestion) noChange(s searched) string {
	return s.name(fmt.Sprintf("; probability of one: %s %%", report.Percent(s.Probability, q.Confidence)))
}

// better says whether a change is more probable than another: by its probability and,
// where both are as good as certain, by how few days it may have been on.
func (s searched) better(than searched) bool {
	return cmp.Or(cmp.Compare(than.Probability, s.Probability), cmp.Compare(s.Last-s.First, than.Last-than.First)) < 0
}

// partAt parts a home at a switch that was found: the days that it may have been on
// are of neither side.
func partAt(sw *found, series []analysis.Series) (out parted, err error) {
	out.switched = temporal.Date(sw.Day, series[0].Zone)
	for _, s := range series {
		err = out.add(s, func(r analysis.Reading) side {
			from, to := temporal.Day(r.Start, s.Zone), temporal.Day(r.End.Add(-time.Nanosecond), s.Zone)
			switch {
			case to < sw.First-1:
				return without
			case from > sw.Last:
				return with
			}
			return neither
		})
		if err != nil {
			return out, err
		}
	}
	return out, nil
}

// inWords is where a single home's switch was looked for and when it was.
func (sw *found) inWords() string {
	return fmt.Sprintf("Its switch was looked for in the days of %s: the first day on the new level is most probably %s, and lies between %s and %s; in invented homes such days, asked for 95 %%, held the switch of 77 %% of the fans that were found.", sw.name(""), dayText(sw.Day), dayText(sw.First), dayText(sw.Last))
}

// notes say that nobody wrote the switch down, and what the search noted.
func (sw *found) notes() []analysis.Note {
	notes := []analysis.Note{{Code: "switch-found", Text: "the switch was looked for in the days, and those that it may have been on are of neither side. Days parted where they differ most differ, whatever was done, and something else may have changed: no change is shown and no level judged unless the household confirms the day, and the means, intervals and probabilities hold only if it does; give it with --switch or --switches then"}}
	note := func(code, format string, args ...any) {
		notes = append(notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	if sw.Ratio.Value > 1 {
		note("level-rose", "the level rose there: if a system was running, it may have failed")
	}
	for i, day := range sw.swaps {
		if day >= sw.First-1 && day <= sw.Last+1 {
			note("swapped-there", "where the change was found, %q took the place of %q, and two detectors read differently by some per cent: a change as small as that may be theirs", sw.detectors[i+1], sw.detectors[i])
		}
	}
	var more []string
	for i, s := range sw.all {
		if i != sw.best && s.err == nil && s.Found {
			more = append(more, fmt.Sprintf("%s: %s, between %s and %s", s.place(), dayText(s.Day), dayText(s.First), dayText(s.Last)))
		}
	}
	if more != nil {
		note("also-found", "a change was also found in %s: look whether it is the same one as in %s, which is more certain and was taken", strings.Join(more, "; "), sw.place())
	}
	return append(notes, sw.Notes...)
}

// searchedTable says for people where switches were looked for, a row a record.
func searchedTable(results []compared) report.Table {
	t := report.Table{
		Title: "Where the switches were looked for, with the first day on a new level, most probably and at the earliest and latest; P: that there is one, where each record of a home more takes larger odds:",
		Columns: []report.Column{
			{Head: "Home", Style: report.Text}, {Head: "Room", Style: report.Text, OmitEmpty: true}, {Head: "Detector", Style: report.Text, OmitEmpty: true},
			{Head: "Days", Style: report.Count}, {Head: "From", Style: report.Date, Spare: 1},
			{Head: "Switch", Style: report.Date}, {Head: "Earliest", Style: report.Date, Spare: 2}, {Head: "Latest", Style: report.Date, Spare: 2},
			{Head: "P %", Style: report.Probability}, {Head: "Taken", Style: report.Text, OmitEmpty: true}}}
	for _, r := range results {
		if r.found == nil {
			continue
		}
		several := false
		for i, s := range r.found.all {
			several = several || i != r.found.best && s.err == nil && s.Found
		}
		for i, s := range r.found.all {
			row := []any{r.Home, s.room, strings.Join(s.detectors, ", "), len(s.days), temporal.Date(s.first(), time.UTC), nil, nil, nil, nil, nil}
			if s.err == nil {
				row[8] = s.Probability
			}
			if s.err == nil && s.Found {
				row[5], row[6], row[7] = temporal.Date(s.Day, time.UTC), temporal.Date(s.First, time.UTC), temporal.Date(s.Last, time.UTC)
			}
			if several && i == r.found.best {
				row[9] = "yes"
			}
			t.Rows = append(t.Rows, report.Row{Cells: row})
		}
	}
	t.Hidden = len(t.Rows) == 0 || len(results) == 1 && len(t.Rows) == 1 // that is in words
	return t
}

func foundFields(sw *found) any {
	if sw == nil {
		return nil
	}
	var second any
	if sw.Second != nil {
		second = dayText(sw.Second.Day)
	}
	list := []any{}
	for _, s := range sw.all {
		fields := []report.Field{{Name: "room", Value: s.room}, {Name: "detectors", Value: s.detectors}, {Name: "start", Value: dayText(s.first())}, {Name: "end", Value: dayText(s.last())}, {Name: "days", Value: len(s.days)}, {Name: "found", Value: s.Found}}
		if s.err != nil {
			fields = append(fields, report.Field{Name: "why", Value: s.err.Error()})
		} else {
			fields = append(fields, report.Field{Name: "probability", Value: s.Probability})
		}
		if s.Found {
			fields = append(fields, report.Field{Name: "day", Value: dayText(s.Day)}, report.Field{Name: "first", Value: dayText(s.First)}, report.Field{Name: "last", Value: dayText(s.Last)}, report.Field{Name: "ratio", Value: s.Ratio})
		}
		list = append(list, fields)
	}
	return []report.Field{{Name: "day", Value: dayText(sw.Day)}, {Name: "first", Value: dayText(sw.First)}, {Name: "last", Value: dayText(sw.Last)},
		{Name: "probability", Value: sw.Probability}, {Name: "best", Value: sw.Best}, {Name: "second", Value: second}, {Name: "ratio", Value: sw.Ratio},
		{Name: "room", Value: sw.room}, {Name: "detectors", Value: sw.detectors}, {Name: "change_if_confirmed", Value: string(sw.change)}, {Name: "records", Value: sw.shared}, {Name: "searched", Value: list}}
}
