package main

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

func (p *program) inspectCommand() *cli.Command {
	return &cli.Command{
		Name:      "inspect",
		Usage:     "what is in the files, and what is wrong with it",
		ArgsUsage: "FILE...",
		Description: `Shows each file's columns, unit, zone and date order and where they were
learned; each detector's place, span and days; and a line for each finding, with
the file and line to look at: rows left out, gaps, overlaps, duplicated rows,
stuck stretches, jumps, zeros, results below the detection limit, means below
the outdoor level, clocks that were set or changed to and from summer time,
years far from all others, worksheets that were not read. Where files hold
duplicates (a column kind), each is held against the detector it hung beside,
and together they say how precise one detector is.

Examples:
  radonyear inspect readings.csv --unit Bq/m3
  radonyear inspect passive.csv --plot duplicates.svg`,
		Flags:  slices.Concat(readingFlags(), []cli.Flag{confidenceFlag(", of the precision from duplicates"), plotFlag("duplicates against their limits")}, outputFlags()),
		Action: p.inspect,
	}
}

func (p *program) inspect(c *cli.Context) error {
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	confidence, err := parseConfidence(c)
	if err != nil {
		return err
	}
	if _, err := plotFormat(c); err != nil {
		return err
	}
	daily, files, rejected, err := p.readFiles(c)
	if err != nil {
		return err
	}
	pairs, lone := twins(daily)
	agreed, err := duplicates(pairs, confidence)
	if err != nil {
		return err
	}
	findings := slices.Concat(fileFindings(files), rejectFindings(rejected), daily.Findings(), lone)
	places := placesTable(daily)
	doc := report.Document{
		Command: "inspect", Version: version,
		Settings: append(readingSettings(c), report.Field{Name: "confidence", Value: confidence}),
		Inputs:   inputs(files, ""),
		Rejects:  rejectsFile(c),
		Lead:     append(fileSentences(files), contents(daily)),
		Tables:   append([]report.Table{findingsTable(findings), places, filesTable(files)}, duplicateTables(pairs, agreed)...),
	}
	if agreed != nil {
		doc.Lead = append(doc.Lead, duplicatesInWords(agreed, confidence))
		doc.Notes, doc.After = agreed.Notes, append(doc.After, duplicateWords...)
	}
	doc.Tables[2].Hidden = true // people have read it in sentences
	if len(findings) == 0 {
		doc.After = append(doc.After, "Nothing was found that needs a look.")
	}
	if err := p.emitPlotted(c, doc, format, func() (plot.Figure, error) { return scatterFigure(agreed, confidence) }); err != nil {
		return err
	}
	if slices.ContainsFunc(files, func(f ingest.File) bool { return len(f.SheetsUnread) > 0 }) {
		return errPartial // a finding says it
	}
	return p.partial(doc)
}

// contents says what the files hold in one sentence.
func contents(d *ingest.Daily) string {
	homes, areas, rooms, detectors := map[string]bool{}, map[string]bool{}, map[[2]string]bool{}, map[string]bool{}
	var days, results int
	var first, last time.Time
	for _, t := range d.Tracks {
		homes[t.Home] = true
		if t.Area != "" {
			areas[t.Area] = true
		}
		if t.Room != "" {
			rooms[[2]string{t.Home, t.Room}] = true
		}
		if t.Detector != "" {
			detectors[t.Detector] = true
		}
		days += len(t.Days)
		results += len(t.Results)
		start, end := span(t)
		start = start.In(zoneOf(t))
		if first.IsZero() || start.Before(first) {
			first = start
		}
		if end = lastDay(t, end).In(zoneOf(t)); end.After(last) {
			last = end
		}
	}
	if len(d.Tracks) == 0 {
		return "No readings."
	}
	what := count(len(homes), "home")
	if n := len(areas); n > 0 { // what the files do not name needs no zero
		what += " in " + count(n, "area")
	}
	if n := len(rooms); n > 0 {
		what += ", " + count(n, "room")
	}
	if n := len(detectors); n > 0 {
		what += ", " + count(n, "detector")
	}
	return fmt.Sprintf("In all: %s; %s and %s longer than a day; %s to %s.", what,
		count(days, "day mean"), count(results, "result"), first.Format(time.DateOnly), last.Format(time.DateOnly))
}

func count(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

func span(t ingest.Track) (start, end time.Time) {
	if len(t.Days) > 0 {
		start, end = t.Days[0].Start(), t.Days[len(t.Days)-1].End()
	}
	for _, r := range t.Results {
		if start.IsZero() || r.Start.Before(start) {
			start = r.Start
		}
		if r.End.After(end) {
			end = r.End
		}
	}
	return start, end
}

// lastDay is an instant of the last day measured; a day's end is the next day's
// first instant, but a detector taken down on a day was there on it.
func lastDay(t ingest.Track, end time.Time) time.Time {
	if n := len(t.Days); n > 0 && t.Days[n-1].End().Equal(end) {
		return end.Add(-time.Second)
	}
	return end
}

// fileSentences say of each file what it is and where its unit, zone and date
// order were learned.
func fileSentences(files []ingest.File) []string {
	var out []string
	for _, f := range files {
		from := func(what, source string) string {
			if source == "" {
				return what
			}
			return what + " (from " + source + ")"
		}
		kind := f.Format
		if f.Encoding != "" && f.Encoding != "utf-8" {
			kind += ", " + f.Encoding
		}
		s := fmt.Sprintf("%s: %s, %s, %d left out", f.Path, kind, count(int(f.Rows), "row"), f.Rejected)
		if f.Unit != "" {
			s += "; unit " + from(f.Unit, f.UnitFrom)
		}
		if f.Sheet != "" {
			s += fmt.Sprintf("; worksheet %q", f.Sheet)
		}
		if f.UncertaintyK > 1 {
			s += fmt.Sprintf("; uncertainty divided by %g (from column name)", f.UncertaintyK)
		}
		if f.Zone != "" {
			s += "; zone " + from(f.Zone, f.ZoneFrom)
			if f.DayOffset != "" {
				s += fmt.Sprintf("; days are cut at %s, the offset of the earliest time (--zone names a zone)", f.DayOffset)
			}
		}
		if f.DateOrder != "" {
			s += "; dates " + from(f.DateOrder, f.DateFrom)
		}
		if f.Step > 0 {
			s += "; a row each " + step(f.Step)
		}
		if len(f.Wide) > 0 {
			s += "; a column a room: " + strings.Join(f.Wide, ", ")
		}
		if len(f.ColumnsExtra) > 0 {
			s += "; other columns: " + strings.Join(f.ColumnsExtra, ", ")
		}
		out = append(out, s+".")
	}
	return out
}

func step(d time.Duration) string {
	switch {
	case d%(24*time.Hour) == 0:
		return count(int(d/(24*time.Hour)), "day")
	case d%time.Hour == 0:
		return count(int(d/time.Hour), "hour")
	case d%time.Minute == 0:
		return count(int(d/time.Minute), "minute")
	}
	return d.String()
}

// fileFindings are what the reader passed over or set right in a file.
func fileFindings(files []ingest.File) []ingest.Finding {
	var out []ingest.Finding
	for _, f := range files {
		if n := len(f.SheetsUnread); n > 0 {
			out = append(out, ingest.Finding{Code: sheetsUnread, File: f.Path, Count: n, Text: unreadSheets(f) + ": choose with --sheet NAME"})
		}
		for _, x := range []struct {
			code      string
			n         int64
			line      int64 // the first; 0 where no line is to be looked at
			one, many string
		}{
			{"preamble", f.PreambleLines, 0, "line above the header was passed over", "lines above the header were passed over"},
			{"repeated-header", f.RepeatedHeaders, 0, "time the header stands again among the rows; passed over", "times the header stands again among the rows; passed over"},
			{"empty-cells", f.EmptyCells, 0, "empty cell in the rooms' columns; no reading was made of it", "empty cells in the rooms' columns; no reading was made of them"},
			{"clock-gap", f.GapTimes, f.GapLine, "time that the clocks skipped in spring; moved on by the gap", "times that the clocks skipped in spring; moved on by the gap"},
			{"clock-repeat", f.RepeatedTimes, f.RepeatedLine, "time that came twice in autumn; told apart by the order of the rows", "times that came twice in autumn; told apart by the order of the rows"},
		} {
			text := x.many
			if x.n == 1 {
				text = x.one
			}
			if x.n > 0 {
				out = append(out, ingest.Finding{Code: x.code, File: f.Path, Line: x.line, Count: int(x.n), Text: fmt.Sprintf("%d %s", x.n, text)})
			}
		}
	}
	return out
}

// rejectFindings gather the rows left out for one reason in one file.
func rejectFindings(rejected []ingest.RowError) []ingest.Finding {
	type reason struct{ file, column, why string }
	var order []reason
	groups := map[reason][]ingest.RowError{}
	for _, r := range rejected {
		k := reason{r.File, r.Column, r.Why}
		if groups[k] == nil {
			order = append(order, k)
		}
		groups[k] = append(groups[k], r)
	}
	var out []ingest.Finding
	for _, k := range order {
		g := groups[k]
		text := "left out"
		if len(g) > 1 {
			text = fmt.Sprintf("%d rows left out, this the first", len(g))
		}
		if k.column != "" {
			text += fmt.Sprintf("; column %q", k.column)
		}
		if g[0].Value != "" {
			text += fmt.Sprintf(" holds %q", g[0].Value)
		}
		out = append(out, ingest.Finding{Code: "row-left-out", File: k.file, Line: int64(g[0].Line), Count: len(g), Text: text + ": " + k.why})
	}
	return out
}

func findingsTable(findings []ingest.Finding) report.Table {
	t := report.Table{Title: fmt.Sprintf("Findings: %d", len(findings)), Columns: []report.Column{
		{Key: "code", Style: report.Text},
		{Key: "home", Style: report.Text},
		{Key: "room", Style: report.Text},
		{Key: "detector", Style: report.Text},
		{Key: "file", Style: report.Text},
		{Key: "line", Style: report.Count},
		{Key: "count", Style: report.Count},
		{Key: "text", Style: report.Text},
		{Head: "Where", Style: report.Text},
		{Head: "Home", Style: report.Text, OmitEmpty: true},
		{Head: "Finding", Style: report.Prose},
	}}
	for _, f := range findings {
		where := f.File
		if parts := strings.Split(where, "/"); len(where) > 24 {
			where = ".../" + parts[len(parts)-1]
		}
		var line any
		if f.Line > 0 {
			where += fmt.Sprintf(":%d", f.Line)
			line = f.Line
		}
		text := f.Code + ": " + f.Text
		if f.Room != "" || f.Detector != "" {
			text = strings.TrimSpace(f.Room+" "+f.Detector) + ", " + text
		}
		t.Rows = append(t.Rows, report.Row{Label: f.Home, Cells: []any{
			f.Code, f.Home, f.Room, f.Detector, f.File, line, f.Count, f.Text, where, f.Home, text}})
	}
	return t
}

func placesTable(d *ingest.Daily) report.Table {
	t := report.Table{Key: "places", Title: "Detectors and where they stood:", Columns: []report.Column{
		{Key: "home", Head: "Home", Style: report.Text},
		{Key: "area", Style: report.Text},
		{Key: "room", Head: "Room", Style: report.Text, OmitEmpty: true},
		{Key: "detector", Head: "Detector", Style: report.Text, OmitEmpty: true},
		{Key: "method", Style: report.Text},
		{Key: "phase", Head: "Phase", Style: report.Text, OmitEmpty: true},
		{Key: "kind", Style: report.Text},
		{Head: "Kind", Style: report.Text, OmitEmpty: true},
		{Key: "start", Head: "From", Style: report.Date},
		{Key: "end", Style: report.Date},
		{Key: "last_day", Head: "To", Style: report.Text, Spare: 2},
		{Key: "days", Style: report.Days},
		{Key: "day_means", Head: "Day\nmeans", Style: report.Count},
		{Key: "results", Head: "Results", Style: report.Count, Spare: 1}, // day means say which it is
		{Key: "mean", Head: "Mean", Style: report.Concentration},
		{Key: "mean_below_limit", Style: report.Bool},
	}}
	for _, tr := range d.Tracks {
		kind := tr.Kind
		if kind == "field" {
			kind = ""
		}
		start, end := span(tr)
		loc := zoneOf(tr)
		x, below, ok := trackMean(tr)
		mean := any(x)
		switch {
		case !ok:
			mean = nil
		case below && x > 0:
			mean = report.Limit(x)
		}
		if slices.ContainsFunc(tr.Days, func(d ingest.Day) bool { return temporal.Dead(d.Reading()) }) {
			t.Title = "Detectors and where they stood; days of zero or next to nothing are taken as not measured, and are in no mean:"
		}
		t.Rows = append(t.Rows, report.Row{Label: tr.Home, Cells: []any{
			tr.Home, tr.Area, tr.Room, tr.Detector, tr.Method, tr.Phase, tr.Kind, kind,
			start.In(loc), end.In(loc), lastDay(tr, end).In(loc).Format(time.DateOnly), trackDays(tr), len(tr.Days), len(tr.Results), mean, below}})
	}
	return t
}

// zoneOf is the zone a track's days were cut in, for showing its dates.
func zoneOf(t ingest.Track) *time.Location {
	if loc, err := ingest.LoadZone(t.Zone); err == nil {
		return loc
	}
	return time.UTC
}

// trackDays is how many days were measured, of day means and of results what was
// measured of them. A day of zero is a monitor that failed, here as in every result.
func trackDays(t ingest.Track) (days float64) {
	for _, d := range t.Days {
		if !temporal.Dead(d.Reading()) {
			days += min(1, cmp.Or(d.Share, 1))
		}
	}
	for _, r := range t.Results {
		days += r.Days() * cmp.Or(r.Share, 1)
	}
	return days
}

// trackMean is the plain mean over what was measured, weighted by time; below
// says that each of it is below a detection limit, so that the mean is one too, and ok
// that anything was measured.
func trackMean(t ingest.Track) (mean float64, below, ok bool) {
	var sum, hours float64
	below = true
	add := func(r analysis.Reading, h float64) {
		sum, hours, below = sum+h*r.Concentration, hours+h, below && r.BelowLimit
	}
	for _, d := range t.Days {
		if r := d.Reading(); !temporal.Dead(r) {
			add(r, d.Hours)
		}
	}
	for _, r := range t.Results {
		add(r, 24*r.Days()*cmp.Or(r.Share, 1))
	}
	if hours == 0 {
		return 0, false, false
	}
	return sum / hours, below, true
}

// filesTable is what was learned about each file.
func filesTable(files []ingest.File) report.Table {
	t := report.Table{Key: "files", Columns: []report.Column{
		{Key: "path", Head: "File", Style: report.Text},
		{Key: "format", Head: "Format", Style: report.Text},
		{Key: "rows", Head: "Rows", Style: report.Count},
		{Key: "readings", Head: "Readings", Style: report.Count},
		{Key: "rejected", Head: "Left out", Style: report.Count},
		{Key: "unit", Head: "Unit", Style: report.Text},
		{Key: "unit_from", Style: report.Text},
		{Key: "zone", Head: "Zone", Style: report.Text},
		{Key: "zone_from", Style: report.Text},
		{Key: "date_order", Style: report.Text},
		{Key: "date_from", Style: report.Text},
		{Key: "encoding", Style: report.Text},
		{Key: "delimiter", Style: report.Text},
		{Key: "decimal", Style: report.Text},
		{Key: "sheet", Style: report.Text},
		{Key: "sheets_unread", Style: report.Nested},
		{Key: "step_seconds", Style: report.Factor},
		{Key: "columns", Style: report.Nested},
		{Key: "columns_extra", Style: report.Nested},
		{Key: "wide", Style: report.Nested},
	}}
	for _, f := range files {
		columns := []report.Field{}
		for _, role := range slices.Sorted(maps.Keys(f.ColumnsFound)) {
			columns = append(columns, report.Field{Name: role, Value: f.ColumnsFound[role]})
		}
		var step any
		if f.Step > 0 {
			step = f.Step.Seconds()
		}
		t.Rows = append(t.Rows, report.Row{Label: f.Path, Cells: []any{
			f.Path, f.Format, f.Rows, f.Readings, f.Rejected, f.Unit, f.UnitFrom, f.Zone, f.ZoneFrom, f.DateOrder, f.DateFrom,
			f.Encoding, f.Delimiter, f.Decimal, f.Sheet, list(f.SheetsUnread), step, columns, list(f.ColumnsExtra), list(f.Wide)}})
	}
	return t
}

func list(texts []string) []any {
	out := []any{}
	for _, t := range texts {
		out = append(out, t)
	}
	return out
}
