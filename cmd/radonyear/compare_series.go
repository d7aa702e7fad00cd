package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
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

// readWeather takes a date and numbers. A day with an empty field is not known.
func readWeather(f sideFile) (weather, error) {
	w := weather{days: map[int][]float64{}}
	date := f.column("date", "day")
	if date < 0 || len(f.header) < 2 {
		return w, f.fail(1, "the header has no column date with another beside it")
	}
	w.names = slices.Delete(slices.Clone(f.header), date, date+1)
	for _, row := range f.rows {
		t, err := time.Parse(time.DateOnly, row.cells[date])
		if err != nil {
			return w, f.fail(row.line, "column date: %q is not a day such as 2026-01-10", row.cells[date])
		}
		day := temporal.Day(t, time.UTC)
		if _, twice := w.days[day]; twice {
			return w, f.fail(row.line, "column date: %s stands there twice", row.cells[date])
		}
		var xs []float64
		known := true
		for i, text := range slices.Delete(slices.Clone(row.cells), date, date+1) {
			x, err := strconv.ParseFloat(text, 64)
			if text != "" && (err != nil || math.IsNaN(x) || math.IsInf(x, 0)) {
				return w, f.fail(row.line, "column %s: %q is not a number", w.names[i], text)
			}
			known = known && text != ""
			xs = append(xs, x)
		}
		if known {
			w.days[day] = xs
		}
	}
	return w, nil
}

// daysOf are a series' day means; long is how many longer results it holds beside.
func daysOf(s analysis.Series, on bool) (days []compare.Day, long int) {
	for _, r := range s.Readings() {
		switch {
		case !r.OfADay():
			long++
		case temporal.Dead(r):
		default:
			days = append(days, compare.Day{Day: temporal.Day(r.Start.Add(r.End.Sub(r.Start)/2), s.Zone), Mean: r.Concentration, Below: r.BelowLimit, On: on})
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
			days, unknown := append(off, on...), 0
			if q.weather.days != nil {
				kept := days[:0]
				for _, d := range days {
					if xs, ok := q.weather.days[d.Day]; ok {
						d.Covariates = xs
						kept = append(kept, d)
					}
				}
				if unknown = len(days) - len(kept); unknown > 0 {
					notes = append(notes, analysis.Note{Code: "no-weather", Text: count(unknown, "day") + " that the weather file does not know, left out of the series"})
				}
				days = kept
			}
			r, err := compare.Interrupted(days, compare.InterruptedOptions{Confidence: q.Confidence, Covariates: q.weather.names})
			if err != nil {
				text := "by the monitor's own days: " + err.Error()
				if unknown > 0 {
					text += fmt.Sprintf("; the weather file does not know %s more: complete it, or leave out --weather", count(unknown, "day"))
				}
				notes = append(notes, analysis.Note{Code: "no-series", Text: text})
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

// look looks for the switch in the days of the home's longest monitor.
func (q compareQuestion) look(h ingest.Home) (*compare.Switch, error) {
	var days []compare.Day
	for _, s := range h.Series {
		if d, _ := daysOf(s, false); len(d) > len(days) {
			days = d
		}
	}
	if days == nil {
		return nil, fmt.Errorf("no day means to look for a switch in")
	}
	season := make([]float64, len(days))
	for i, d := range days {
		season[i] = q.Profile.Season.At(d.Day)
	}
	sw, err := compare.FindSwitch(days, compare.SwitchOptions{Confidence: q.Confidence, Season: season})
	if err == nil && !sw.Found {
		err = fmt.Errorf("no change of the level was found (probability of one: %s %%), so nothing says what is before and after; give --switch TIME", report.Percent(sw.Probability, q.Confidence))
	}
	return &sw, err
}

// partAt parts a home at a switch that was found: the days that it may have been on
// are of neither side.
func partAt(sw *compare.Switch, series []analysis.Series) (out parted, err error) {
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

// foundNotes say that nobody wrote the switch down, and what the search noted.
func foundNotes(sw *compare.Switch) []analysis.Note {
	date := func(day int) string { return temporal.Date(day, time.UTC).Format(time.DateOnly) }
	text := fmt.Sprintf("the switch was looked for in the days: the first day on the new level is most probably %s, and lies between %s and %s; these days are of neither side. Days parted where they differ most differ, whatever was done, and something else may have changed: no change is shown unless the household confirms the day", date(sw.Day), date(sw.First), date(sw.Last))
	if sw.Ratio.Value > 1 {
		text += ". The level rose there: if a system was running, it may have failed"
	}
	return append([]analysis.Note{{Code: "switch-found", Text: text}}, sw.Notes...)
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
