package main

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/serial"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

func (p *program) meanCommand() *cli.Command {
	return &cli.Command{
		Name:      "mean",
		Usage:     "the mean of a monitor's log, whose days resemble each other",
		ArgsUsage: "FILE...",
		Description: `For each detector in each room: the mean of its readings over the time they
were taken, by the means of its days, with an honest interval. Days resemble
their neighbours, so that a hundred of them say far less than the usual formula
claims; that claim stands beside. It needs 20 days of 18 measured hours or more,
however many readings they are made of, and a log that lasts ten times as long
as its days resemble each other. A shorter one is refused; but some are
answered by mistake, because a short log hides how long that is, and then the
interval is too narrow. The interval knows nothing of a season, a trend or a
change. Days of zero count as not measured. This is no annual mean: radonyear
annual gives that.

Examples:
  radonyear mean log.csv --unit Bq/m3 --zone Europe/Oslo`,
		Flags: slices.Concat([]cli.Flag{
			confidenceFlag(""),
			phaseFlag(""),
		}, readingFlags(), outputFlags()),
		Action: p.mean,
	}
}

// correlationTime is a cell with it, or the limit that it lies below.
func correlationTime(r serial.Result) any {
	if r.NotSeen {
		return report.Limit(r.CorrelationTime)
	}
	return r.CorrelationTime
}

// lagOne is a cell with the lag-one autocorrelation, empty where gaps leave none.
func lagOne(r serial.Result) any {
	if r.LagOne == nil {
		return nil
	}
	return *r.LagOne
}

func (p *program) mean(c *cli.Context) error {
	var opt serial.Options
	var err error
	if opt.Confidence, err = parseConfidence(c); err != nil {
		return err
	}
	phase, err := parsePhase(c)
	if err != nil {
		return err
	}
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	daily, files, _, err := p.readFiles(c)
	if err != nil {
		return err
	}
	subs := population{daily.HomeCount(), func(i int) (out []subject) {
		home := daily.Home(i, ingest.Filter{Phase: phase})
		for k, s := range home.Series {
			out = append(out, subject{place: s.Place, series: []analysis.Series{s}, phase: home.About[k].Phase, mixed: home.About[k].Mixed, rows: home.About[k].Rows})
		}
		slices.SortStableFunc(out, func(a, b subject) int { // before comes before after
			return cmp.Or(strings.Compare(a.place.Room, b.place.Room), strings.Compare(a.place.Detector, b.place.Detector), strings.Compare(b.phase, a.phase))
		})
		return out
	}}
	type result struct {
		analysis.Series
		serial.Result
		phase string
		rows  int
		notes []analysis.Note
	}
	results, left := estimateAll(subs, func(s subject) (result, error) {
		r, err := serial.Mean(s.series[0], opt)
		if days := s.series[0].Len(); err != nil && s.rows > days {
			err = fmt.Errorf("%w (%s by %s of the file)", err, count(days, "day"), count(s.rows, "reading"))
		}
		if err != nil && s.phase != "" { // a home has a record on each side of its mitigation
			err = fmt.Errorf("%s mitigation: %s", s.phase, strings.TrimPrefix(err.Error(), fmt.Sprintf("home %q: ", s.place.Home)))
		}
		notes := s.notes(r.Mean.Notes)
		if s.mixed > 0 {
			notes[len(notes)-1].Text += "; the interval counts nothing for that"
		}
		return result{s.series[0], r, s.phase, s.rows, notes}, err
	})
	if len(results) == 0 {
		return noResult(left, files)
	}
	t := report.Table{Columns: []report.Column{
		{Key: "home", Head: "Home", Style: report.Text},
		{Key: "area", Style: report.Text},
		{Key: "room", Head: "Room", Style: report.Text, OmitEmpty: true},
		{Key: "detector", Head: "Detector", Style: report.Text, OmitEmpty: true, Spare: 1},
		{Key: "phase", Head: "Phase", Style: report.Text, OmitEmpty: true},
		{Key: "start", Style: report.Date},
		{Key: "end", Style: report.Date},
		{Key: "readings", Style: report.Count}, // as the file has them
		{Key: "days", Head: "Days", Style: report.Count},
		{Key: "plain_mean", Style: report.Concentration},
		{Key: "mean", Head: "Mean", Style: report.Estimate},
		{Key: "cosine", Style: report.Estimate},
		{Key: "correlation_time_h", Head: "Correlation\ntime, h", Style: report.Factor},
		{Key: "correlation_time_at_most", Style: report.Bool},
		{Key: "lag_one_autocorrelation", Style: report.Factor},
		{Key: "effective_n", Head: "Worth\ndays", Style: report.Factor},
		{Key: "naive_half_width", Head: "±t·s/√n\nclaims ±", Style: report.Factor},
		{Key: "autoregressive", Style: report.Estimate},
	}}
	for _, r := range results {
		t.Rows = append(t.Rows, report.Row{Label: report.PlaceName(r.Place), Notes: rowNotes(r.notes), Cells: []any{
			r.Home, r.Area, r.Room, r.Detector, r.phase, instant(r.Start()), instant(r.End()), r.rows, r.Mean.N, r.PlainMean, r.Mean, r.Cosine,
			correlationTime(r.Result), r.NotSeen, lagOne(r.Result), r.EffectiveN, r.NaiveHalfWidth, r.Likelihood}})
	}
	doc := report.Document{
		Command: "mean", Version: version, Tables: []report.Table{t},
		Settings: slices.Concat([]report.Field{{Name: "confidence", Value: opt.Confidence}, {Name: "phase", Value: phase}}, readingSettings(c)),
		Inputs:   inputs(files, phase), Rejects: rejectsFile(c), Notes: inputNotes(files, daily, phase), LeftOut: left,
		After: []string{
			"Bq/m³, of the days' means; by the model those at an end or beside a gap weigh more, and CSV and JSON have the plain mean too (plain_mean). Correlation time: until what days share has fallen to 1/e. Worth days: so many independent days of the same spread would have an interval as wide as the one given. The last column is what the formula for independent days would have claimed.",
			"The mean of the time measured, taken for one kind of time throughout: part the file where a system was switched. It is no mean of a year: radonyear annual gives that. " + caution,
		},
	}
	if len(left) > 0 { // of two detectors in a home one may have an answer
		doc.LeftOutTitle = fmt.Sprintf("No result for %s:", count(len(left), "detector"))
	}
	if err := p.emit(c, doc, format); err != nil {
		return err
	}
	return p.partial(doc)
}
