package main

import (
	"fmt"
	"math"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

// drawnHome is a home's result and what was measured in it.
type drawnHome struct {
	annual.Result
	series []analysis.Series
}

// readingMarks are readings as a picture has them: day means and limits as points,
// longer results as spells.
func readingMarks(series []analysis.Series, role plot.Role, dayLabel, longLabel string) []plot.Mark {
	days := plot.Points{Look: plot.Look{Role: role, Label: dayLabel}}
	limits := plot.Points{Look: plot.Look{Role: plot.Limit, Label: "below a detection limit"}}
	long := plot.Spells{Look: plot.Look{Role: role, Label: longLabel}}
	for _, s := range series {
		for _, r := range s.Readings() {
			from, to := plotDay(r.Start.In(s.Zone)), plotDay(r.End.In(s.Zone))
			switch {
			case temporal.Dead(r):
			case r.BelowLimit:
				limits.X, limits.Y = append(limits.X, (from+to)/2), append(limits.Y, above0(r.Concentration))
			case r.Concentration == 0:
				limits.X, limits.Y = append(limits.X, (from+to)/2), append(limits.Y, temporal.ZeroLimit)
			case r.OfADay():
				days.X, days.Y = append(days.X, (from+to)/2), append(days.Y, above0(r.Concentration))
			default:
				long.From, long.To, long.Y = append(long.From, from), append(long.To, to), append(long.Y, above0(r.Concentration))
			}
		}
	}
	var marks []plot.Mark
	if days.X != nil {
		marks = append(marks, days)
	}
	if long.Y != nil {
		marks = append(marks, long)
	}
	if limits.X != nil {
		marks = append(marks, limits)
	}
	return marks
}

// detectorMarks are the readings of one home; of several detectors the first one's look
// unlike those of the others, so that it is seen whether they agree.
func detectorMarks(series []analysis.Series) []plot.Mark {
	if len(series) < 2 {
		return readingMarks(series, plot.Measured, "day mean, measured", "longer test, measured")
	}
	first, others := series[0], series[1:]
	name := func(s analysis.Series) string {
		if others[0].Room == first.Room && others[0].Detector != first.Detector {
			return s.Detector
		}
		return s.Room
	}
	one, other := name(first), name(others[0])
	if len(others) > 1 {
		other = "the others"
	}
	if one == "" || other == "" || one == other {
		one, other = "first detector", "the other"
	}
	marks := readingMarks([]analysis.Series{first}, plot.Measured, "day mean, "+one, "longer test, "+one)
	limits := false // said once in the legend
	for _, m := range marks {
		p, ok := m.(plot.Points)
		limits = limits || ok && p.Role == plot.Limit
	}
	for _, m := range readingMarks(others, plot.Next, "day mean, "+other, "longer test, "+other) {
		if p, ok := m.(plot.Points); ok && p.Role == plot.Limit && limits {
			p.Label = ""
			m = p
		}
		marks = append(marks, m)
	}
	return marks
}

// dayMarks are the days of twelve months as the model knows them.
func dayMarks(days []annual.Day, role plot.Role, label string) []plot.Mark {
	band := plot.Band{Look: plot.Look{Role: role, Label: label}}
	for _, d := range days {
		x := plotDay(d.Date) + 0.5
		band.X, band.Low, band.High = append(band.X, x), append(band.Low, d.Lower), append(band.High, d.Upper)
	}
	return []plot.Mark{band}
}

// meanMarks are an annual mean over its twelve months, and its interval behind them.
func meanMarks(e analysis.Estimate, from, to time.Time, role plot.Role, label string, step float64) []plot.Mark {
	x0, x1 := plotDay(from), plotDay(to)
	at := x1 + step*(x1-x0)
	return []plot.Mark{
		plot.Rule{Look: plot.Look{Role: role}, At: e.Value, From: x0, To: at},
		plot.Intervals{Look: plot.Look{Role: role, Label: label}, At: []float64{at}, Value: []float64{e.Value}, Low: []float64{e.Lower}, High: []float64{e.Upper}},
	}
}

// yearFigure draws homes' series, their days and their annual means.
func (q *question) yearFigure(homes []drawnHome, by string) plot.Figure {
	percent := round(100 * q.Confidence)
	f := plot.Figure{}
	unseen := 0 // homes that saw nothing but a limit: of these the upper end of the mean alone is their own
	for _, h := range homes {
		if belowLimit(h.Result) {
			unseen++
		}
	}
	f.Desc = "Readings over time; "
	if unseen < len(homes) {
		f.Desc += fmt.Sprintf("a band in which %g %% of the days are expected, measured or not; the annual mean with its %[1]g %% interval at the right end of its twelve months; ", percent)
	}
	if unseen > 0 {
		of := "of the home, which"
		if len(homes) > 1 {
			of = "of a home that"
		}
		f.Desc += fmt.Sprintf("%s saw nothing but a detection limit, no band, and of its annual mean the upper end of the %g %% interval alone; ", of, percent)
	}
	f.Desc += "the levels as broken lines."
	var places []analysis.Place
	for _, h := range homes {
		places = append(places, h.Place)
	}
	name := resultNames(places, by)
	y := concentration("Radon")
	if len(homes) > 1 { // one scale for all
		y.Include = append(y.Include, q.Levels...)
		for _, h := range homes {
			if !belowLimit(h.Result) {
				for _, d := range h.Daily {
					y.Include = append(y.Include, d.Lower, d.Upper)
				}
			}
			for _, s := range h.series {
				for _, r := range s.Readings() {
					if r.Concentration > 0 {
						y.Include = append(y.Include, above0(r.Concentration))
					}
				}
			}
		}
	}
	for _, h := range homes {
		p := plot.Panel{X: plot.Axis{Kind: plot.Dates}, Y: y}
		if len(homes) > 1 {
			p.Title = name(h.Place)
		}
		if belowLimit(h.Result) { // a band would be the wide prior's, and not this home's
			p.X.Include = []float64{plotDay(h.YearStart), plotDay(h.YearEnd)}
		} else {
			p.Marks = append(p.Marks, dayMarks(h.Daily, plot.Model, fmt.Sprintf("where %g %% of days are expected", percent))...)
		}
		levels := levelRules(q.Levels, false) // drawn last: a mean on its level hides no line
		if len(homes) == 1 {
			p.Marks = append(p.Marks, detectorMarks(h.series)...)
		} else {
			p.Marks = append(p.Marks, readingMarks(h.series, plot.Measured, "day mean, measured", "longer test, measured")...)
		}
		if belowLimit(h.Result) { // only the upper limit is the home's own
			at := plotDay(h.YearEnd) + 0.025*(plotDay(h.YearEnd)-plotDay(h.YearStart))
			p.Marks = append(p.Marks, plot.Intervals{Look: plot.Look{Role: plot.Model, Label: "annual mean, at most"}, At: []float64{at},
				Value: []float64{h.AnnualMean.Upper}, Low: []float64{math.Inf(-1)}, High: []float64{h.AnnualMean.Upper}})
			p.Marks = append(p.Marks, levels...)
			f.Panels = append(f.Panels, p)
			continue
		}
		p.Marks = append(p.Marks, meanMarks(h.AnnualMean, h.YearStart, h.YearEnd, plot.Model, fmt.Sprintf("annual mean, %g %% interval", percent), 0.025)...)
		p.Marks = append(p.Marks, levels...)
		f.Panels = append(f.Panels, p)
	}
	if len(homes) > 1 {
		f.Title = fmt.Sprintf("Radon through the year in %d homes", len(homes))
		if by == "room" {
			f.Title = fmt.Sprintf("Radon through the year in %d rooms", len(homes))
		}
		if len(homes) > 2 {
			f.Columns = 2
		}
	} else {
		h := homes[0]
		f.Title = "Radon through the year: home " + name(h.Place)
		f.Lead = fmt.Sprintf("Annual mean %s Bq/m³, %g %% interval %s.", report.Number(h.AnnualMean.Value, q.Levels...), percent, report.Interval(h.AnnualMean, q.Levels...))
		if belowLimit(h.Result) {
			f.Lead = underWords(h.AnnualMean, percent, q.Levels)
		}
		for _, a := range h.Above {
			f.Lead += fmt.Sprintf(" Chance that it is above %g Bq/m³: %s %%. Verdict: %s.", a.Level, report.Percent(a.Probability, q.Confidence), a.Verdict)
		}
	}
	f.Notes = []string{caution}
	if unseen < len(homes) {
		f.Notes[0] = "The band is of single days, as the profile's homes vary, and is not the interval of the mean. " + caution
	}
	if unseen > 0 {
		f.Notes = append([]string{"Of a home that saw nothing but a detection limit no band of days is drawn: it would be of a wide prior and not of the home."}, f.Notes...)
	}
	return f
}

// underWords is the annual mean of a home that saw nothing but a detection limit.
func underWords(e analysis.Estimate, percent float64, levels []float64) string {
	return fmt.Sprintf("Annual mean under %s Bq/m³, the upper end of its %g %% interval.", report.Number(e.Upper, levels...), percent)
}

// drawn estimates the homes of a picture once more, now keeping their days: of
// thousands of homes only those drawn pay for that.
func (q *question) drawn(homes population, results []homeYear) (out []drawnHome, err error) {
	wanted, names := map[analysis.Place]bool{}, map[string]bool{}
	for _, r := range results {
		wanted[r.Place], names[r.Home] = true, true
	}
	opt := q.Options
	opt.Daily = true
	for s := range homes.each() {
		if s.why != "" || !names[s.place.Home] {
			continue
		}
		r, err := annual.Estimate(s.series, opt)
		if err != nil {
			return nil, err
		}
		if wanted[r.Place] {
			out = append(out, drawnHome{r, s.series})
		}
	}
	return out, nil
}
