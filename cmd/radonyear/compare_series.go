package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/compare"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/report"
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
// answer is a note of the home. It takes the days of the spell
// that is compared: one step is fitted, and another would be taken for a season.
func (q compareQuestion) series(sides parted, spell *compare.Spell) (out []through, notes []analysis.Note) {
	for _, a := range sides.without {
		for _, b := range sides.with {
			if a.Room != b.Room || a.Detector != b.Detector {
				continue
			}
			off, _ := daysOf(a, false)
			on, _ := daysOf(b, true)
			if spell != nil {
				all := len(on)
				on = slices.DeleteFunc(on, func(d compare.Day) bool { return d.Day < temporal.Day(spell.From, b.Zone) })
				if n := all - len(on); n > 0 {
					notes = append(notes, analysis.Note{Code: "series-left-out", Text: fmt.Sprintf("by the monitor's own days: %s with a system before %s left out here too, since another step would be taken for a season", count(n, "day"), spell.From.Format(time.DateOnly))})
				}
			}
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
	if out == nil && !analysis.HasNote(notes, "no-series") {
		notes = append(notes, analysis.Note{Code: "no-series", Text: "by the monitor's own days: no monitor stood in one room through the switch"})
	}
	return out, notes
}

// seriesTables are the monitors through the switch, and for people, in a table of its own,
// what else moved their days.
func seriesTables(results []compared) []report.Table {
	t := report.Table{Key: "series",
		Title: "By the days of each monitor that stood through the switch, as they were, not of a year:",
		Columns: []report.Column{
			{Key: "home", Head: "Home", Style: report.Text}, {Key: "area", Style: report.Text}, {Key: "room", Head: "Room", Style: report.Text, OmitEmpty: true, Spare: 1}, {Key: "detector", Style: report.Text},
			{Key: "days_off", Head: "Days\noff", Style: report.Count}, {Key: "days_on", Head: "Days\non", Style: report.Count},
			{Key: "ratio", Style: report.Estimate}, {Key: "reduction", Head: "Reduction\n%", Style: report.Estimate},
			{Key: "correlation_days", Head: "Correla-\ntion, days", Style: report.Factor, Spare: 2}, {Key: "effective_n_off", Style: report.Factor}, {Key: "effective_n_on", Style: report.Factor},
			{Head: "Worth\ndays", Style: report.Factor, OmitEmpty: true},
			{Key: "phi", Style: report.Factor}, {Key: "noise_share", Style: report.Factor}, {Key: "half_width", Style: report.Factor}, {Key: "naive_half_width", Style: report.Factor},
			{Key: "season", Style: report.Estimate}, {Key: "season_off", Style: report.Estimate}, {Key: "season_on", Style: report.Estimate},
			{Key: "covariates", Style: report.Nested},
			{Key: "switches", Style: report.Count},
		}}
	moved := report.Table{
		Columns: []report.Column{
			{Head: "Home", Style: report.Text}, {Head: "Room", Style: report.Text, OmitEmpty: true, Spare: 1},
			{Head: "Of", Style: report.Text}, {Head: "Change", Style: report.Estimate}}}
	// The titles explain what stands under them alone.
	anyWorth, seasons, covariate := false, false, false
	for _, r := range results {
		for _, s := range r.through {
			seasons = seasons || s.Season != nil || s.SeasonOff != nil || s.SeasonOn != nil
			covariate = covariate || len(s.Covariates) > 0
			move := func(what string, e *analysis.Estimate) {
				if e != nil {
					moved.Rows = append(moved.Rows, report.Row{Cells: []any{r.Home, s.Room, what, *e}})
				}
			}
			move("season", s.Season)
			move("season without the system", s.SeasonOff)
			move("season with it", s.SeasonOn)
			covariates := []any{}
			for _, e := range s.Covariates {
				move(e.Quantity, &e)
				covariates = append(covariates, []report.Field{{Name: "name", Value: e.Quantity}, {Name: "estimate", Value: e}})
			}
			var worth any = min(s.Off.EffectiveN, s.On.EffectiveN)
			if s.Switches >= cyclingSwitches { // neighbours tell the ratio, whatever a side is worth
				worth = nil
			}
			anyWorth = anyWorth || worth != nil
			t.Rows = append(t.Rows, report.Row{Label: report.PlaceName(analysis.Place{Home: r.Home, Room: s.Room}), Notes: rowNotes(s.Notes), Cells: []any{
				r.Home, r.Area, s.Room, s.Detector, s.Off.Days, s.On.Days, s.Ratio, s.Interruption.Reduction, s.CorrelationDays, s.Off.EffectiveN, s.On.EffectiveN,
				worth, s.Phi, s.Noise, s.HalfWidth, s.NaiveHalfWidth, pointed(s.Season), pointed(s.SeasonOff), pointed(s.SeasonOn), covariates, s.Switches}})
		}
	}
	if anyWorth {
		t.Title = strings.TrimSuffix(t.Title, ":") + "; worth days: so many independent ones on the shorter side, of a system not switched to and fro:"
	}
	var what []string
	if seasons {
		what = append(what, "by how much a season goes up and down")
	}
	if covariate {
		what = append(what, "what one unit of each column of the weather does")
	}
	moved.Title = "What else moved these days, as changes of ln(day mean), of which 0.1 is about 10 %: " + strings.Join(what, ", and ") + ":"
	t.Hidden, moved.Hidden = len(t.Rows) == 0, len(moved.Rows) == 0
	return []report.Table{t, moved}
}
