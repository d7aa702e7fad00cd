package main

import (
	"fmt"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/temporal"
	"radonyear/analysis/trend"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// afterSideRose is the note that readings rose while the system ran.
const afterSideRose = "after-side-rose"

// risen is the verdict on a level in place of below or not conclusive where readings rose
// while the system ran: the mean of all days with it says nothing of how high the home is now.
const risen annual.Verdict = "not certain: risen"

// rose notes that a system that worked may not do so now, by the charts that watch keeps of
// each monitor's days with it, set as they are there where nothing else is asked for.
func (q compareQuestion) rose(h ingest.Home, sides parted) []analysis.Note {
	opt := trend.Options{Profile: q.Profile, Confidence: q.Confidence}
	monitors := sides.monitors(h)
	var rises []string
	set := "" // how often an alarm is none
	for _, s := range monitors {
		if s.why != "" {
			continue
		}
		w, err := watchOne(s, opt, time.Time{})
		if err != nil || w.State != trend.Alarm { // days too few to chart, say
			continue
		}
		where := ""
		if len(monitors) > 1 {
			if w.Room != "" {
				where = fmt.Sprintf(" in %q", w.Room)
			}
			if w.Detector != "" {
				where += fmt.Sprintf(" by %q", w.Detector)
			}
		}
		date := func(day int) string { return temporal.Date(day, w.zone).Format(time.DateOnly) }
		rises = append(rises, fmt.Sprintf("since about %s they are%s %s times what is usual with it (%g %% interval %s; alarm of %s)",
			date(w.Alarm.Start), where, report.Number(w.Alarm.Ratio.Value), round(100*w.Alarm.Ratio.Confidence), report.Interval(w.Alarm.Ratio), date(w.Alarm.Day)))
		if set = fmt.Sprintf("The charts are set for one false alarm in %g years", w.FalseAlarmYears); w.measured != nil {
			set += fmt.Sprintf(", and invented homes had one in %.1f years within the first year", w.measured.First)
		}
	}
	if rises == nil {
		return nil
	}
	return []analysis.Note{{Code: afterSideRose, Text: fmt.Sprintf("by the charts of radonyear watch readings rose while the system ran: %s. The reduction and what is said of now are of all those days together, before the rise and since, and not of today: look at the gauge on the system's pipe and whether the fan runs, and call whoever installed it. %s",
		strings.Join(rises, ", and "), set)}}
}
