package main

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"fmt"
	"iter"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// readingFlags are the options of every command that reads files: what the
// files do not say of themselves.
func readingFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "unit", Usage: "`UNIT` of values that name none: Bq/m3 or pCi/L"},
		&cli.StringFlag{Name: "zone", Usage: "`ZONE` of times that name none: Europe/Oslo, +01:00, UTC"},
		&cli.StringFlag{Name: "date-order", Usage: "`ORDER` of dates that can be read two ways: dmy, mdy or ymd"},
		&cli.StringFlag{Name: "decimal", Usage: "decimal `MARK` where the file leaves it open: . or ,"},
		&cli.StringSliceFlag{Name: "column", Usage: "`NAME=ROLE` says what a column is (home, room, value, start, ...; text lets it ride along); may be repeated"},
		&cli.StringFlag{Name: "sheet", Usage: "`NAME` of the worksheet to read of .xlsx files (default: the first that holds readings)"},
		&cli.BoolFlag{Name: "home-from-filename", Usage: "a file's name, without folder and ending, is the home; two files of one name are refused"},
		&cli.StringFlag{Name: "rejects", Usage: "write every row left out to `FILE` (CSV: file,line,column,value,why,row)"},
	}
}

// readingOptions turns the options into ingest's, without touching a file.
func (p *program) readingOptions(c *cli.Context) (ingest.Options, error) {
	opt := ingest.Options{
		Zone:             c.String("zone"),
		DateOrder:        c.String("date-order"),
		Decimal:          c.String("decimal"),
		Sheet:            c.String("sheet"),
		HomeFromFilename: c.Bool("home-from-filename"),
		Stdin:            p.stdin,
	}
	switch unit := strings.ToLower(strings.ReplaceAll(c.String("unit"), "³", "3")); unit {
	case "":
	case "bq/m3":
		opt.Unit = "Bq/m3"
	case "pci/l":
		opt.Unit = "pCi/L"
	default:
		return opt, usageError{fmt.Sprintf("unknown unit %q", c.String("unit")), "--unit Bq/m3 or --unit pCi/L"}
	}
	for _, pair := range c.StringSlice("column") {
		// A column's name may hold "=", a role does not.
		i := strings.LastIndex(pair, "=")
		if i <= 0 || i == len(pair)-1 {
			return opt, usageError{fmt.Sprintf("--column %q does not say which column is what", pair), `--column NAME=ROLE, for example --column "Mean level=value"`}
		}
		if opt.Columns == nil {
			opt.Columns = map[string]string{}
		}
		opt.Columns[pair[:i]] = pair[i+1:]
	}
	return opt, opt.Check()
}

// readingSettings are the reading options as a result's settings name them.
func readingSettings(c *cli.Context) []report.Field {
	text := func(name string) any {
		if s := c.String(name); s != "" {
			return s
		}
		return nil
	}
	columns := c.StringSlice("column")
	if columns == nil {
		columns = []string{}
	}
	return []report.Field{
		{Name: "unit", Value: text("unit")}, {Name: "zone", Value: text("zone")},
		{Name: "date_order", Value: text("date-order")}, {Name: "decimal", Value: text("decimal")},
		{Name: "sheet", Value: text("sheet")}, {Name: "columns", Value: columns}, {Name: "home_from_filename", Value: c.Bool("home-from-filename")},
	}
}

// inputPaths are the command's files, checked against the outputs before any
// of them is read.
func inputPaths(c *cli.Context) ([]string, error) {
	paths := c.Args().Slice()
	if len(paths) == 0 {
		return nil, usageError{"no file given", "name one or more files, or - for standard input"}
	}
	stdin := 0
	for _, path := range paths {
		if path == "-" {
			stdin++
		}
	}
	if stdin > 1 {
		return nil, usageError{"standard input is named twice", "name - once"}
	}
	if err := refuseInputs(c, paths); err != nil {
		return nil, err
	}
	if err := outputsApart(c); err != nil {
		return nil, err
	}
	return paths, nil
}

// readFiles reads the command's files to their end.
func (p *program) readFiles(c *cli.Context) (daily *ingest.Daily, files []ingest.File, rejected []ingest.RowError, err error) {
	paths, err := inputPaths(c)
	if err != nil {
		return nil, nil, nil, err
	}
	opt, err := p.readingOptions(c)
	if err != nil {
		return nil, nil, nil, err
	}
	table, err := ingest.Open(paths, opt)
	if err != nil {
		return nil, nil, nil, err
	}
	defer table.Close()
	daily, err = table.Daily()
	files, rejected = table.Sources(), table.Rejected()
	if e := p.reportRejected(c, files, rejected); err == nil {
		err = e
	}
	if phase := c.String("phase"); err == nil && phase != "" {
		err = hasPhase(daily, files, phase)
	}
	return daily, files, rejected, err
}

// homesNamed is an error where a community is asked for and nothing says which home a
// row is from: one home would be made of them all.
func homesNamed(c *cli.Context, files []ingest.File) error {
	if c.Bool("home-from-filename") {
		return nil
	}
	for _, f := range files {
		if f.ColumnsFound["home"] == "" {
			return hinted{fmt.Errorf("%s: no column says which home a row is from, so all of its rows would be one home", f.Path),
				"name the column with --column NAME=home; a file a home goes with --home-from-filename"}
		}
	}
	return nil
}

// hasPhase is an error where no reading can be of the phase asked for.
func hasPhase(d *ingest.Daily, files []ingest.File, phase string) error {
	if !slices.ContainsFunc(files, func(f ingest.File) bool { return f.ColumnsFound["phase"] != "" }) {
		return hinted{fmt.Errorf("no file says what was measured before and what after mitigation, as --phase %s asks", phase),
			"leave out --phase, or say which column does with --column NAME=phase"}
	}
	if len(d.Tracks) > 0 && !slices.ContainsFunc(d.Tracks, func(t ingest.Track) bool { return t.Phase == phase }) {
		return hinted{fmt.Errorf("no row that can be used is of the phase %q", phase), "radonyear inspect FILE shows the phases"}
	}
	return nil
}

// reportRejected says the first rows left out on standard error, and writes
// all of them to --rejects.
func (p *program) reportRejected(c *cli.Context, files []ingest.File, rejected []ingest.RowError) error {
	if option, yes := publishes(c); yes { // standard error may end beside what is published
		if n := rejectedRows(files); n > 0 {
			fmt.Fprintf(p.stderr, "radonyear: skipped: %s; run without --%s to see which\n", count(int(n), "row"), option)
		}
		return nil
	}
	const most = 10
	for i, r := range rejected {
		if i == most {
			break
		}
		fmt.Fprintf(p.stderr, "radonyear: skipped: %s\n", report.Plain(r.Error()))
	}
	if n := rejectedRows(files); n > most {
		hint := "; --rejects FILE writes them all"
		if path := rejectsFile(c); path != "" {
			hint = "; all are in " + path
		}
		fmt.Fprintf(p.stderr, "radonyear: skipped: and %d more%s\n", n-most, hint)
	}
	for _, f := range files {
		if len(f.SheetsUnread) > 0 {
			fmt.Fprintf(p.stderr, "radonyear: skipped: %s\n", report.Plain(fmt.Sprintf("%s: %s; choose with --sheet NAME", f.Path, unreadSheets(f))))
		}
	}
	path := c.String("rejects")
	if path == "" {
		return nil
	}
	var b bytes.Buffer
	w := csv.NewWriter(&b)
	w.Write([]string{"file", "line", "column", "value", "why", "row"})
	for _, r := range rejected {
		w.Write([]string{r.File, strconv.Itoa(r.Line), r.Column, r.Value, r.Why, r.Row})
	}
	w.Flush()
	if path == "-" {
		_, err := p.stderr.Write(b.Bytes())
		return writing("standard error", err)
	}
	return replaceFile(path, b.Bytes())
}

// rejectsFile is where --rejects writes to, for a sentence.
func rejectsFile(c *cli.Context) string {
	if path := c.String("rejects"); path != "-" {
		return path
	}
	return "the list on standard error"
}

// notAfter is, where a phase is asked for, all but what was measured after mitigation.
const notAfter = "not after"

// orNotAfter is the phase asked for, and where none is, notAfter.
func orNotAfter(phase string) string { return cmp.Or(phase, notAfter) }

// aboveRange is how many of the rows left out are homes' results above what the detector could
// measure, of the phase asked for; all of them where none is.
func aboveRange(files []ingest.File, phase string) (n int64) {
	for _, f := range files {
		for of, rows := range f.AboveRange {
			if phase == "" || phase == of || phase == notAfter && of != "after" {
				n += rows
			}
		}
	}
	return n
}

// aboveNote says what is wrong with an answer without the highest results.
func aboveNote(n int64) analysis.Note {
	is := "1 row left out is a result"
	if n > 1 {
		is = fmt.Sprintf("%d rows left out are results", n)
	}
	return analysis.Note{Code: aboveLeftOut, Text: is + " above what the detector could measure, as >1000 is: these are among the highest, so that without them means and shares above a level come out too low. Measure there again, with a detector that reaches so far."}
}

// aboveLeftOut is the code of the note on results above what the detector could measure.
const aboveLeftOut = "above-range"

func rejectedRows(files []ingest.File) (n int64) {
	for _, f := range files {
		n += f.Rejected
	}
	return n
}

// inputs are the files as a result of a phase names them.
func inputs(files []ingest.File, phase string) []report.Input {
	var in []report.Input
	for _, f := range files {
		in = append(in, report.Input{Path: f.Path, SHA256: f.SHA256, Rows: f.Rows, Rejected: f.Rejected, AboveRange: aboveRange([]ingest.File{f}, phase)})
	}
	return in
}

// sheetsUnread is the code of the note that a workbook holds more than was read.
const sheetsUnread = "sheets-unread"

// inputNotes are what is to be said of the files under every result, and of what
// they hold that no result is made of. phase is the one asked for.
func inputNotes(files []ingest.File, d *ingest.Daily, phase string) (notes []analysis.Note) {
	note := func(code, format string, args ...any) {
		notes = append(notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	for _, f := range files {
		if len(f.SheetsUnread) > 0 {
			note(sheetsUnread, "Of %s %s; --sheet NAME reads another.", f.Path, unreadSheets(f))
		}
	}
	for _, f := range files {
		if f.UncertaintyK > 1 {
			note("expanded-uncertainty", "The uncertainties of %s were divided by %g: the column %q names them as so many standard ones.", f.Path, f.UncertaintyK, f.ColumnsFound["uncertainty"])
		}
	}
	if n := aboveRange(files, phase); n > 0 {
		notes = append(notes, aboveNote(n))
	}
	if d == nil {
		return notes
	}
	if n := int(d.Duplicates); n == 1 {
		note("duplicate-rows", "1 row says the same as another row and counts once; radonyear inspect shows it.")
	} else if n > 0 {
		note("duplicate-rows", "%d rows say the same as another row and count once; radonyear inspect lists them.", n)
	}
	overlapping := 0
	for _, f := range d.Findings() {
		if f.Code == "overlap" {
			overlapping += f.Count
		}
	}
	if overlapping > 0 {
		note("overlap", "The same detector, or one without a name, has another value for the time of %s: they are averaged, as of two detectors; radonyear inspect shows where.", count(overlapping, "reading"))
	}
	// What a file's owner must know before any home is believed; inspect has the rest.
	for _, code := range []string{"home-in-areas", "far-dates", "odd-uncertainty"} {
		const most = 3
		n := 0
		for _, f := range d.Findings() {
			if f.Code != code {
				continue
			}
			if n++; n <= most {
				where := ""
				if code != "home-in-areas" {
					where = fmt.Sprintf(" (%s:%d)", f.File, f.Line)
				}
				note(code, "Home %s%s: %s.", f.Home, where, f.Text)
			}
		}
		if n > most {
			note(code, "And %d more such; radonyear inspect lists them.", n-most)
		}
	}
	return slices.Concat(notes, otherPhase(d, phase), otherKinds(d))
}

// otherKinds says how many measurements are no home's own.
func otherKinds(d *ingest.Daily) []analysis.Note {
	n := map[string]int{}
	for _, t := range d.Tracks {
		n[t.Kind] += len(t.Days) + len(t.Results)
	}
	var parts []string
	for _, kind := range []string{"duplicate", "blank", "spike"} {
		if n[kind] > 0 {
			parts = append(parts, count(n[kind], kind))
		}
	}
	if parts == nil {
		return nil
	}
	return []analysis.Note{{Code: "other-kinds", Text: "Not used: " + strings.Join(parts, ", ") + " (day means or results); only field readings are a home's."}}
}

// differingRows says which homes stand under no value of a column because their rows
// do not agree on one, but for those (home and area) that are in a group all the same.
func differingRows(d *ingest.Daily, column string, grouped map[[2]string]bool) []analysis.Note {
	const most = 5
	var homes []string
	for i := range d.HomeCount() {
		if h := d.Home(i, ingest.Filter{Kind: "none"}); slices.Contains(h.Differs, column) && !grouped[[2]string{h.Name, h.Area}] { // none of its readings
			homes = append(homes, h.Name)
		}
	}
	if homes == nil {
		return nil
	}
	names := strings.Join(homes[:min(most, len(homes))], ", ")
	if n := len(homes) - most; n > 0 {
		names += fmt.Sprintf(" and %d more", n)
	}
	return []analysis.Note{{Code: "rows-differ", Text: fmt.Sprintf("%s whose rows do not all say the same in the column %s, and so under no value of it, (none): %s. Give all rows of a home one value.", count(len(homes), "home"), column, names)}}
}

// otherPhase says how many homes have field readings, and none of the phase asked
// for: they have no result and nothing is wrong with them.
func otherPhase(d *ingest.Daily, phase string) []analysis.Note {
	if phase == "" || phase == notAfter {
		return nil
	}
	type home struct{ name, area string }
	has := map[home]bool{}
	for _, t := range d.Tracks {
		if t.Kind == "field" {
			h := home{t.Home, t.Area}
			has[h] = has[h] || t.Phase == phase
		}
	}
	n := 0
	for _, yes := range has {
		if !yes {
			n++
		}
	}
	if n == 0 {
		return nil
	}
	return []analysis.Note{{Code: "other-phase", Text: fmt.Sprintf("%s with no reading from %s mitigation: no result, as --phase %s asks.", count(n, "home"), phase, phase)}}
}

// unreadSheets says which worksheets of a file look like readings too.
func unreadSheets(f ingest.File) string {
	names := make([]string, len(f.SheetsUnread))
	for i, s := range f.SheetsUnread {
		names[i] = strconv.Quote(s)
	}
	verb := "hold"
	if len(names) == 1 {
		verb = "holds"
	}
	return fmt.Sprintf("only the worksheet %q was read; %s %s readings too", f.Sheet, strings.Join(names, ", "), verb)
}

// subject is what one result is about: a home, or a room of it.
type subject struct {
	place  analysis.Place
	series []analysis.Series
	mixed  int               // day means with hours below the detection limit among others
	rows   int               // of the files, that its readings are made of, where that is asked for
	why    string            // not empty if it cannot be judged
	home   int               // which of the files' homes it is of
	phase  string            // of mitigation, as the files state it, where that is asked for
	group  string            // which homes it is described with
	extra  map[string]string // what other columns say of it, where that is asked for

	switched time.Time       // when its system was switched on, where that is asked for
	begun    []analysis.Note // says that only what came after counts, where it ran before

	chart   *chart   // of the first of series
	earlier []*chart // of monitors of the same room that began before it, the system on
	stood   bool     // on the day on which its system was last switched on again
}

// notes adds to a result's notes what only the files know.
func (s subject) notes(notes []analysis.Note) []analysis.Note {
	if s.mixed == 0 {
		return notes
	}
	return append(slices.Clip(notes), analysis.Note{Code: "mixed-limit-days", Text: count(s.mixed, "day") +
		" with hours below the detector's limit among others: the day's mean lies between those with nothing and with the limit in place of those hours, and enters as their middle; a more sensitive detector would tell"})
}

// population is subjects made as they are needed: of many homes only a few are
// held at a time.
type population struct {
	n  int
	at func(i int) []subject // of home i, in order of room; several goroutines may ask
}

func (p population) each() iter.Seq[subject] {
	return func(yield func(subject) bool) {
		for i := range p.n {
			for _, s := range p.at(i) {
				if !yield(s) {
					return
				}
			}
		}
	}
}

// series are those of the subjects that can be judged.
func (p population) series() iter.Seq[[]analysis.Series] {
	return func(yield func([]analysis.Series) bool) {
		for s := range p.each() {
			if s.why == "" && !yield(s.series) {
				return
			}
		}
	}
}

// subjects are the homes, or their rooms, in order of name.
func subjects(daily *ingest.Daily, by, phase string) population {
	return population{daily.HomeCount(), func(i int) []subject {
		h := daily.Home(i, ingest.Filter{Phase: phase})
		if len(h.Series) == 0 && len(daily.Home(i, ingest.Filter{}).Series) == 0 {
			return []subject{{place: analysis.Place{Home: h.Name, Area: h.Area}, why: noField}}
		}
		return subjectsOf(h, by)
	}}
}

// noField is why a home has no result that the files name in no field reading.
const noField = "no field reading: its rows are duplicates, blanks or spikes"

// subjectsOf sorts one home's series by home or by room. A home whose readings
// were taken before and after mitigation is two homes to statistics, so one of
// the two must be chosen.
func subjectsOf(h ingest.Home, by string) []subject {
	if len(h.Series) == 0 {
		return nil // the filter left nothing of it
	}
	rooms := []string{""}
	if by == "room" {
		rooms = nil
		for _, s := range h.Series {
			if len(rooms) == 0 || rooms[len(rooms)-1] != s.Room { // series are in order of room
				rooms = append(rooms, s.Room)
			}
		}
	}
	var out []subject
	for _, room := range rooms {
		sub := subject{place: analysis.Place{Home: h.Name, Area: h.Area, Room: room}}
		var phases []string
		for i, s := range h.Series {
			if by != "room" || s.Room == room {
				sub.series = append(sub.series, s)
				sub.mixed += h.About[i].Mixed
				phases = append(phases, h.About[i].Phase)
			}
		}
		sub.phase, sub.why = phaseOf(phases)
		out = append(out, sub)
	}
	return out
}

// unsaidPhase is why readings of no phase cannot be used beside others from after.
const unsaidPhase = "readings from after mitigation, and others that state no phase; state it"

// phaseOf is the side of a mitigation that readings of such phases are of, together,
// or why they are of no one side. What states no phase is taken as from before: a
// home without a system has nothing else to state.
func phaseOf(phases []string) (phase, why string) {
	after, before := slices.Contains(phases, "after"), slices.Contains(phases, "before")
	switch unsaid := slices.Contains(phases, ""); {
	case after && before:
		return "", "readings from before and after mitigation; choose with --phase before or --phase after"
	case after && unsaid:
		return "", unsaidPhase + ", or choose with --phase after"
	case after:
		return "after", ""
	case before:
		return "before", ""
	}
	return "", ""
}
