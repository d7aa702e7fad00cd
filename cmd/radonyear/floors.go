package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/survey"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

func (p *program) floorsCommand() *cli.Command {
	return &cli.Command{
		Name:      "floors",
		Usage:     "how one floor's radon stands to another's, and what that foretells",
		ArgsUsage: "FILE...",
		Description: `From homes measured on two floors, or in two rooms, at once: the ratio of
the two, how much homes differ in it, and, for homes tested on the first alone,
what the annual mean on the second is likely to be. A room is meant if its name
is the one given, or begins with it as a word: living means "Living room" too.
That a column holds floors is said with --column NAME=room. A fan changes how
floors stand to each other: without --phase, readings from after mitigation are
left out.

Examples:
  radonyear floors tests.csv --from basement --to living
  radonyear floors tests.csv --from 0 --to 1 --column Storey=room`,
		Flags: slices.Concat([]cli.Flag{
			&cli.StringFlag{Name: "from", Usage: "`ROOM` or floor that was tested"},
			&cli.StringFlag{Name: "to", Usage: "`ROOM` or floor that is asked about"},
		}, slices.DeleteFunc(judgingFlags(), func(f cli.Flag) bool {
			return slices.Contains([]string{"level", "area-prior", "year-from", "target"}, f.Names()[0])
		}), readingFlags(), outputFlags()),
		Action: p.floors,
	}
}

// isRoom says whether a room is the one asked for.
func isRoom(room, asked string) bool {
	room, asked = strings.ToLower(strings.TrimSpace(room)), strings.ToLower(strings.TrimSpace(asked))
	return room == asked || strings.HasPrefix(room, asked+" ")
}

func (p *program) floors(c *cli.Context) error {
	from, to := strings.TrimSpace(c.String("from")), strings.TrimSpace(c.String("to"))
	const example = "radonyear floors FILE --from basement --to living"
	switch {
	case from == "" || to == "":
		return usageError{"floors needs the two rooms or floors, --from and --to", example}
	case isRoom(from, to) || isRoom(to, from):
		return usageError{fmt.Sprintf("--from %q and --to %q mean the same rooms", from, to), example}
	}
	q, err := parseQuestion(c)
	if err != nil {
		return err
	}
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	if err := q.loadProfile(); err != nil {
		return err
	}
	daily, files, _, err := p.readFiles(c)
	if err != nil {
		return err
	}
	if err := roomsThere(daily, from, to); err != nil {
		return err
	}
	tested := floorHomes(daily, from, q.phase)
	if err := q.settleCourse(tested); err != nil {
		return err
	}
	var pairs []survey.FloorPair
	var places []analysis.Place
	var left []report.LeftOut
	var alone []subject
	others, after := 0, 0
	for i := range daily.HomeCount() {
		a, b := floorSubject(daily, i, from, q.phase), floorSubject(daily, i, to, q.phase)
		if a.phase == "after" || b.phase == "after" {
			after++
		}
		_, why := phaseOf(floorPhases(daily, i, q.phase, from, to))
		switch {
		case len(a.series) == 0 && a.phase == "after":
			left = append(left, report.LeftOut{Place: a.place, Why: fmt.Sprintf("in %q only readings from after mitigation; --phase after asks for those", from)})
			continue
		case len(a.series) == 0:
			others++
			continue
		case why != "":
			left = append(left, report.LeftOut{Place: a.place, Why: why})
			continue
		case len(b.series) == 0:
			alone = append(alone, a)
			continue
		}
		pair, err := survey.PairFloors(a.series, b.series)
		if err != nil {
			left = append(left, report.LeftOut{Place: a.place, Why: err.Error()})
			continue
		}
		pairs, places = append(pairs, pair), append(places, a.place)
	}
	r, err := survey.Floors(pairs, q.Confidence)
	if err != nil {
		hint := "both floors have to be measured at once in two homes or more; radonyear inspect FILE shows when and where detectors stood"
		if len(left) > 0 {
			hint += fmt.Sprintf("; home %s: %s", report.PlaceName(left[0].Place), left[0].Why)
		}
		return hinted{fmt.Errorf("no result: %w", err), hint}
	}
	type foretold struct {
		test annual.Result
		mean analysis.Estimate
	}
	told, untold := estimateAll(population{len(alone), func(i int) []subject { return alone[i : i+1] }}, func(s subject) (foretold, error) {
		opt := q.Options
		opt.Levels = []float64{annual.DefaultLevel}
		t, err := annual.Estimate(s.series, opt)
		if err != nil {
			return foretold{}, err
		}
		if belowLimit(t) {
			return foretold{}, fmt.Errorf("every reading lies below the detector's limit, which foretells nothing")
		}
		e, err := r.Predict(t.LogMedian, t.LogSpread)
		return foretold{t, e}, err
	})
	left = append(left, untold...)

	between := fmt.Sprintf("%s to %s", from, to)
	result := report.Table{Columns: []report.Column{
		{Key: "from", Style: report.Text}, {Key: "to", Style: report.Text}, {Head: "From, to", Style: report.Text, Words: true}, {Key: "pairs", Head: "Homes", Style: report.Count},
		{Key: "ratio", Head: "Ratio", Style: report.Estimate}, {Key: "spread", Head: "GSD of\nhomes", Style: report.Estimate, Spare: 1}, {Key: "next", Head: "Next\nhome", Style: report.Estimate}}}
	result.Rows = []report.Row{{Label: between, Notes: rowNotes(r.Notes, r.Ratio.Notes, r.Spread.Notes, r.Next.Notes), Cells: []any{from, to, between, r.Pairs, r.Ratio, r.Spread, r.Next}}}
	homes := report.Table{Key: "homes", Title: "Homes measured on both, over the days that both were, Bq/m³:", Columns: []report.Column{
		{Key: "home", Head: "Home", Style: report.Text}, {Key: "area", Style: report.Text}, {Key: "days", Head: "Days", Style: report.Days}, {Key: "same", Head: "Same\ndays %", Style: report.Share},
		{Key: "from_mean", Head: "From", Style: report.Concentration}, {Key: "to_mean", Head: "To", Style: report.Concentration}, {Key: "ratio", Head: "Ratio", Style: report.Factor}}}
	for i, x := range pairs {
		homes.Rows = append(homes.Rows, report.Row{Label: report.PlaceName(places[i]), Cells: []any{x.Home, places[i].Area, x.Days, x.Same, x.From, x.To, x.To / x.From}})
	}
	means := report.Table{Key: "predictions", Title: fmt.Sprintf("Homes tested on the first alone: annual mean there, and what it foretells of %q, Bq/m³:", to), Columns: []report.Column{
		{Key: "home", Head: "Home", Style: report.Text}, {Key: "area", Style: report.Text}, {Key: "days_measured", Head: "Days", Style: report.Days},
		{Key: "annual_mean", Head: "Tested", Style: report.Estimate}, {Key: "predicted", Head: "Foretold", Style: report.Estimate}}}
	for _, x := range told {
		// That it is no test is said under the table, once.
		unsaid := slices.DeleteFunc(slices.Clone(x.mean.Notes), func(n analysis.Note) bool { return n.Code == "not-a-test" })
		means.Rows = append(means.Rows, report.Row{Label: report.PlaceName(x.test.Place), Notes: rowNotes(x.test.Notes, unsaid),
			Cells: []any{x.test.Home, x.test.Area, x.test.DaysMeasured, x.test.AnnualMean, x.mean}})
	}
	doc := report.Document{
		Command: "floors", Version: version, Confidence: q.Confidence, Tables: []report.Table{result, homes, means},
		Settings: slices.Concat([]report.Field{{Name: "from", Value: from}, {Name: "to", Value: to}, {Name: "rooms_from", Value: roomNames(daily, from)}, {Name: "rooms_to", Value: roomNames(daily, to)}}, q.floorSettings(), readingSettings(c)),
		Inputs:   inputs(files, orNotAfter(q.phase)), Beside: q.beside, Rejects: rejectsFile(c), Notes: inputNotes(files, daily, orNotAfter(q.phase)), LeftOut: left,
	}
	if after > 0 {
		doc.Notes = append(doc.Notes, afterLeftOut(after))
	}
	if others > 0 {
		doc.Notes = append(doc.Notes, analysis.Note{Code: "not-tested-there", Text: fmt.Sprintf("%s without a reading in %q: no part of this.", count(others, "home"), from)})
	}
	doc.Lead = []string{fmt.Sprintf("In %s measured on both at once, %q held %s times the radon of %q (%g %% interval %s); one home's own ratio may lie anywhere from %s.",
		count(r.Pairs, "home"), to, report.Number(r.Ratio.Value), from, round(100*q.Confidence), report.Interval(r.Ratio), report.Interval(r.Next))}
	doc.After = []string{
		fmt.Sprintf("Rooms taken for %q: %s; for %q: %s.", from, strings.Join(roomNames(daily, from), ", "), to, strings.Join(roomNames(daily, to), ", ")),
		"Ratio: geometric mean over homes of the second over the first. GSD of homes (where the table has no room for it, in --format csv and json): how much homes differ in it, detectors' errors included. Next home: the ratio of one more such home. Same days: how far the readings used are of the days that both floors were measured.",
		"Foretold: from another floor, and not measured; the interval holds what the test leaves open and how homes differ. It does not replace a test in the rooms people live in, nor a comparison with a level that rules ask for there.",
		caution,
	}
	if err := p.emit(c, doc, format); err != nil {
		return err
	}
	return p.partial(doc)
}

// floorSettings are the settings that a ratio of floors has of a question's.
func (q *question) floorSettings() []report.Field {
	var s []report.Field
	for _, f := range q.settings() {
		if slices.Contains([]string{"confidence", "profile", "course", "calibration", "integrating_uncertainty", "phase"}, f.Name) {
			s = append(s, f)
		}
	}
	return s
}

// floorSubject is one home's readings in the rooms asked for; without a phase, those
// from after mitigation are left out, and its phase is that of what was.
func floorSubject(daily *ingest.Daily, i int, asked, phase string) subject {
	h := daily.Home(i, ingest.Filter{Phase: phase})
	s := subject{place: analysis.Place{Home: h.Name, Area: h.Area}}
	for k, x := range h.Series {
		switch {
		case !isRoom(x.Room, asked):
		case phase == "" && h.About[k].Phase == "after":
			s.phase = "after"
		default:
			s.series = append(s.series, x)
			s.mixed += h.About[k].Mixed
		}
	}
	return s
}

// floorPhases are the phases of a home's readings in either room: what states none may
// be from after mitigation where others are. What states both sides is parted.
func floorPhases(daily *ingest.Daily, i int, phase, from, to string) (phases []string) {
	h := daily.Home(i, ingest.Filter{Phase: phase})
	for k, x := range h.Series {
		if p := h.About[k].Phase; p != "before" && (isRoom(x.Room, from) || isRoom(x.Room, to)) {
			phases = append(phases, p)
		}
	}
	return phases
}

// floorHomes are the homes by their readings in the rooms asked for.
func floorHomes(daily *ingest.Daily, asked, phase string) population {
	return population{daily.HomeCount(), func(i int) []subject {
		if s := floorSubject(daily, i, asked, phase); len(s.series) > 0 {
			return []subject{s}
		}
		return nil
	}}
}

// roomNames are the rooms that are meant, as the files name them.
func roomNames(daily *ingest.Daily, asked string) []string {
	names := []string{}
	for _, t := range daily.Tracks {
		if isRoom(t.Room, asked) && !slices.Contains(names, t.Room) {
			names = append(names, t.Room)
		}
	}
	slices.Sort(names)
	return names
}

// roomsThere is an error where no reading is of a room asked for.
func roomsThere(daily *ingest.Daily, asked ...string) error {
	var rooms []string
	for _, t := range daily.Tracks {
		if name := strconv.Quote(t.Room); t.Room != "" && !slices.Contains(rooms, name) {
			rooms = append(rooms, name)
		}
	}
	slices.Sort(rooms)
	for _, name := range asked {
		if len(roomNames(daily, name)) > 0 {
			continue
		}
		hint := "--column NAME=room says which column holds rooms or floors"
		if n := len(rooms); n > 0 {
			more := ""
			if n > 8 {
				more = fmt.Sprintf(" and %d more", n-8)
			}
			hint = "rooms in the files: " + strings.Join(rooms[:min(8, n)], ", ") + more + "; " + hint
		}
		return hinted{fmt.Errorf("no reading is of a room %q", name), hint}
	}
	return nil
}
