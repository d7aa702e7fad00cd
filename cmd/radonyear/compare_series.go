package main

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"strconv"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/compare"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// weather is what a file says of each day: the covariates of a series through its
// switch.
type weather struct {
	names []string
	days  map[int][]float64
}

func loadWeather(path string) (weather, error) {
	f, err := os.Open(path)
	if err != nil {
		return weather{}, hinted{fmt.Errorf("reading the weather %s: %w", path, bare(err)), "give a CSV file with the column date and one column a covariate"}
	}
	defer f.Close()
	return readWeather(path, f)
}

// readWeather reads a date and numbers. A day with an empty field is not known; a
// line that cannot be followed refuses the file.
func readWeather(path string, r io.Reader) (weather, error) {
	fail := func(line int, format string, args ...any) (weather, error) {
		return weather{}, hinted{fmt.Errorf("%s:%d: %s", path, line, fmt.Sprintf(format, args...)), "a line is date,number[,number] under a header, for example 2026-01-10,-3.5"}
	}
	in := csv.NewReader(r)
	in.FieldsPerRecord = -1
	in.TrimLeadingSpace = true
	w := weather{days: map[int][]float64{}}
	date := -1
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
			return w, fmt.Errorf("reading %s: %w", path, bare(err))
		}
		line, _ := in.FieldPos(0)
		if date < 0 {
			for i, name := range row {
				name = strings.TrimSpace(strings.TrimPrefix(name, "\ufeff"))
				if strings.EqualFold(name, "date") || strings.EqualFold(name, "day") {
					date = i
				} else {
					w.names = append(w.names, name)
				}
			}
			if date < 0 || len(w.names) == 0 {
				return fail(line, "the header has no column date with another beside it")
			}
			continue
		}
		if len(row) != len(w.names)+1 {
			return fail(line, "%d columns under a header of %d", len(row), len(w.names)+1)
		}
		t, err := time.Parse(time.DateOnly, strings.TrimSpace(row[date]))
		if err != nil {
			return fail(line, "column date: %q is not a day such as 2026-01-10", row[date])
		}
		var xs []float64
		known := true
		for i, text := range row {
			if i == date {
				continue
			}
			if strings.TrimSpace(text) == "" {
				known = false
				continue
			}
			x, err := strconv.ParseFloat(strings.TrimSpace(text), 64)
			if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
				return fail(line, "column %s: %q is not a number", w.names[len(xs)], text)
			}
			xs = append(xs, x)
		}
		day := temporal.Day(t, time.UTC)
		if _, twice := w.days[day]; twice {
			return fail(line, "column date: %s stands there twice", row[date])
		}
		if known {
			w.days[day] = xs
		}
	}
	if len(w.days) == 0 {
		return w, hinted{fmt.Errorf("%s holds no day", path), "a line is date,number[,number] under a header"}
	}
	return w, nil
}

// daysOf are a series' day means; long is how many longer results it holds beside.
func daysOf(s analysis.Series, on bool) (days []compare.Day, long int) {
	for _, r := range s.Readings() {
		switch {
		case !r.OfADay():
			long++
		case temporal.Dead(r) || r.BelowLimit:
		default:
			days = append(days, compare.Day{Day: temporal.Day(r.Start.Add(r.End.Sub(r.Start)/2), s.Zone), Mean: r.Concentration, On: on})
		}
	}
	return days, long
}

// through is one monitor that stood through the switch.
type through struct {
	analysis.Place
	compare.Interruption
}

// series reads every monitor of a home that stood through the switch. Why one has no
// answer is a note of the home.
func (q compareQuestion) series(sides parted) (out []through, notes []analysis.Note) {
	for _, a := range sides.without {
		for _, b := range sides.with {
			if a.Room != b.Room || a.Detector != b.Detector {
				continue
			}
			off, _ := daysOf(a, false)
			on, _ := daysOf(b, true)
			if len(off) == 0 || len(on) == 0 {
				continue
			}
			days := append(off, on...)
			if q.weather.days != nil {
				kept := days[:0]
				for _, d := range days {
					if xs, ok := q.weather.days[d.Day]; ok {
						d.Covariates = xs
						kept = append(kept, d)
					}
				}
				if n := len(days) - len(kept); n > 0 {
					notes = append(notes, analysis.Note{Code: "no-weather", Text: count(n, "day") + " that the weather file does not know, left out of the series"})
				}
				days = kept
			}
			r, err := compare.Interrupted(days, compare.InterruptedOptions{Confidence: q.Confidence, Covariates: q.weather.names})
			if err != nil {
				notes = append(notes, analysis.Note{Code: "no-series", Text: "by the monitor's own days: " + err.Error()})
				continue
			}
			out = append(out, through{b.Place, r})
		}
	}
	if out == nil && notes == nil {
		notes = append(notes, analysis.Note{Code: "no-series", Text: "by the monitor's own days: no monitor stood in one room through the switch"})
	}
	return out, notes
}

// seriesTable are the monitors through the switch.
func seriesTable(results []compared) report.Table {
	t := report.Table{Key: "series",
		Title: "By the days of each monitor that stood through the switch, as they were, not of a year; worth days: so many independent ones on the shorter side:",
		Columns: []report.Column{
			{Key: "home", Head: "Home", Style: report.Text}, {Key: "area", Style: report.Text}, {Key: "room", Head: "Room", Style: report.Text, OmitEmpty: true, Spare: 1}, {Key: "detector", Style: report.Text},
			{Key: "days_off", Head: "Days\noff", Style: report.Count}, {Key: "days_on", Head: "Days\non", Style: report.Count},
			{Key: "ratio", Style: report.Estimate}, {Key: "reduction", Head: "Reduction\n%", Style: report.Estimate},
			{Key: "correlation_days", Head: "Correla-\ntion, days", Style: report.Factor, Spare: 2}, {Key: "effective_n_off", Style: report.Factor}, {Key: "effective_n_on", Style: report.Factor},
			{Head: "Worth\ndays", Style: report.Factor},
			{Key: "phi", Style: report.Factor}, {Key: "noise_share", Style: report.Factor}, {Key: "half_width", Style: report.Factor}, {Key: "naive_half_width", Style: report.Factor},
			{Key: "season", Style: report.Estimate}, {Key: "season_off", Style: report.Estimate}, {Key: "season_on", Style: report.Estimate},
			{Key: "covariates", Style: report.Nested},
		}}
	for _, r := range results {
		for _, s := range r.through {
			covariates := []any{}
			for _, e := range s.Covariates {
				covariates = append(covariates, []report.Field{{Name: "name", Value: e.Quantity}, {Name: "estimate", Value: e}})
			}
			t.Rows = append(t.Rows, report.Row{Label: report.PlaceName(analysis.Place{Home: r.Home, Room: s.Room}), Notes: rowNotes(s.Notes), Cells: []any{
				r.Home, r.Area, s.Room, s.Detector, s.Off.Days, s.On.Days, s.Ratio, s.Interruption.Reduction, s.CorrelationDays, s.Off.EffectiveN, s.On.EffectiveN,
				min(s.Off.EffectiveN, s.On.EffectiveN), s.Phi, s.Noise, s.HalfWidth, s.NaiveHalfWidth, pointed(s.Season), pointed(s.SeasonOff), pointed(s.SeasonOn), covariates}})
		}
	}
	t.Hidden = len(t.Rows) == 0
	return t
}

// found looks for the switch in the days of the home's longest monitor, and parts the
// home there; the days that the switch may have been on are of neither side.
func (q compareQuestion) found(h ingest.Home) (parted, *compare.Switch, error) {
	var days []compare.Day
	var zone *time.Location
	for _, s := range h.Series {
		if d, _ := daysOf(s, false); len(d) > len(days) {
			days, zone = d, s.Zone
		}
	}
	if days == nil {
		return parted{}, nil, fmt.Errorf("no day means to look for a switch in")
	}
	season := make([]float64, len(days))
	for i, d := range days {
		season[i] = q.Profile.Season.At(d.Day)
	}
	sw, err := compare.FindSwitch(days, compare.SwitchOptions{Confidence: q.Confidence, Season: season})
	if err != nil {
		return parted{}, nil, err
	}
	if !sw.Found {
		return parted{}, nil, fmt.Errorf("no change of the level was found (probability of one: %s %%), so nothing says what is before and after; give --switch TIME", report.Percent(sw.Probability, q.Confidence))
	}
	out := parted{switched: temporal.Date(sw.Day, zone)}
	for _, s := range h.Series {
		var sides [2][]analysis.Reading
		for _, r := range s.Readings() {
			from, to := temporal.Day(r.Start, s.Zone), temporal.Day(r.End.Add(-time.Nanosecond), s.Zone)
			switch {
			case to < sw.First-1:
				sides[0] = append(sides[0], r)
			case from > sw.Last:
				sides[1] = append(sides[1], r)
			case r.OfADay():
				out.near++
			default:
				out.across++
			}
		}
		for k, rs := range sides {
			if len(rs) == 0 {
				continue
			}
			x, err := analysis.NewSeries(s.Place, s.Zone, rs)
			if err != nil {
				return parted{}, nil, err
			}
			if k == 0 {
				out.without = append(out.without, x)
			} else {
				out.with = append(out.with, x)
			}
		}
	}
	return out, &sw, nil
}

// foundNote says that nobody wrote the switch down.
func foundNote(sw *compare.Switch) analysis.Note {
	date := func(day int) string { return temporal.Date(day, time.UTC).Format(time.DateOnly) }
	text := fmt.Sprintf("the switch was looked for in the days: the first day on the new level is most probably %s, and lies between %s and %s; these days are of neither side. Something else may have changed on it: ask the household", date(sw.Day), date(sw.First), date(sw.Last))
	if sw.Second != nil {
		text += fmt.Sprintf(". %s is nearly as probable", date(sw.Second.Day))
	}
	return analysis.Note{Code: "switch-found", Text: text}
}

func foundFields(sw *compare.Switch) any {
	if sw == nil {
		return nil
	}
	date := func(day int) string { return temporal.Date(day, time.UTC).Format(time.DateOnly) }
	var second any
	if sw.Second != nil {
		second = date(sw.Second.Day)
	}
	return []report.Field{{Name: "day", Value: date(sw.Day)}, {Name: "first", Value: date(sw.First)}, {Name: "last", Value: date(sw.Last)},
		{Name: "probability", Value: sw.Probability}, {Name: "best", Value: sw.Best}, {Name: "second", Value: second}, {Name: "ratio", Value: sw.Ratio}}
}
