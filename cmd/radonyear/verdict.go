package main

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/page"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

func (p *program) verdictCommand() *cli.Command {
	return &cli.Command{
		Name:      "verdict",
		Usage:     "is this test conclusive, and if not, how much longer to measure?",
		ArgsUsage: "[FILE...]",
		Description: `From files, or from one result typed in: its value, its length in days and its
first day. Shows the chance that the annual mean is above the level, the
verdict, the band of readings of this same test that would settle nothing, and
what more days would bring.

Examples:
  radonyear verdict --value 165 --days 7 --start 2026-01-10 --level 200
  radonyear verdict --value "4.6 pCi/L" --days 2.5 --start 2026-01-10T18:00 \
      --uncertainty 10% --level "4 pCi/L"
  radonyear verdict readings.csv --unit Bq/m3`,
		Flags: slices.Concat([]cli.Flag{
			&cli.StringFlag{Name: "value", Usage: "the test's mean `VALUE`, with its unit or in --unit; a bare number is in Bq/m3, from 20 on and as long as nothing else is in pCi/L"},
			&cli.StringFlag{Name: "days", Usage: "its length in `DAYS` of 24 hours"},
			&cli.StringFlag{Name: "start", Usage: "its first `DAY`, as 2026-01-10 or 2026-01-10T18:00"},
			&cli.StringFlag{Name: "uncertainty", Usage: "its standard `UNCERTAINTY` (k=1): 10% or a number in the value's unit"},
		}, judgingFlags(), []cli.Flag{byFlag()}, plotFlags("what is known of the annual mean, against the level,"), readingFlags(), outputFlags()),
		Action: p.verdict,
	}
}

// judged is one home held against one level.
type judged struct {
	annual.Conclusiveness
	level float64
}

func (p *program) verdict(c *cli.Context) error {
	q, err := parseQuestion(c)
	if err != nil {
		return err
	}
	by := c.String("by")
	if by != "home" && by != "room" {
		return usageError{fmt.Sprintf("--by %q is neither home nor room", by), "--by home or --by room"}
	}
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	if _, err := plotFormat(c); err != nil {
		return err
	}
	typed, taken := false, ""
	for _, name := range []string{"value", "days", "start", "uncertainty"} {
		typed = typed || c.IsSet(name)
	}
	doc := report.Document{Command: "verdict", Version: version, Levels: q.Levels, Confidence: q.Confidence}
	var subs population
	var files []ingest.File
	var settings []report.Field
	switch {
	case typed && c.Args().Present():
		return usageError{"a file and a typed-in result were given", "give files, or --value, --days and --start, not both"}
	case typed:
		s, fields, err := p.typedIn(c)
		if err != nil {
			return err
		}
		if err := q.loadProfile(); err != nil {
			return err
		}
		subs = population{1, func(int) []subject { return []subject{{place: s.Place, series: []analysis.Series{s}}} }}
		settings = fields
		for _, r := range s.Readings() {
			if u := r.Uncertainty; u > 0 && !r.BelowLimit && r.Concentration > 0 {
				taken = fmt.Sprintf(", its standard uncertainty taken as %s Bq/m³ (%s %%)", report.Number(u), report.Number(100*u/r.Concentration))
				if ingest.OddUncertainty(u, r.Concentration, r.End.Sub(r.Start)) {
					doc.Notes = append(doc.Notes, analysis.Note{Code: "odd-uncertainty", Text: "The uncertainty given is under 0.5 % or over 100 % of the value; check its unit, and whether it is a percentage."})
				}
			}
		}
	case !c.Args().Present():
		return usageError{"neither a file nor a typed-in result was given", "radonyear verdict --value 165 --days 7 --start 2026-01-10, or radonyear verdict FILE"}
	default:
		if err := q.loadProfile(); err != nil {
			return err
		}
		daily, f, _, err := p.readFiles(c)
		if err != nil {
			return err
		}
		files = f
		subs = subjects(daily, by, q.phase)
		doc.Inputs, doc.Notes, doc.Rejects = inputs(files, q.phase), inputNotes(files, daily, q.phase), rejectsFile(c)
		settings = slices.Concat([]report.Field{{Name: "by", Value: by}}, readingSettings(c))
	}
	if err := q.settleCourse(subs); err != nil {
		return err
	}
	results, left := estimateAll(subs, q.judgeLevels)
	if len(results) == 0 {
		if typed {
			return fmt.Errorf("no result: %s", left[0].Why)
		}
		return noResult(left, files)
	}
	all := slices.Concat(results...)
	doc.Settings, doc.Beside = slices.Concat(q.settings(), settings), q.beside
	doc.LeftOut = left
	doc.Tables = verdictTables(all, by)
	if len(all) == 1 {
		doc.Lead = verdictInWords(all[0], by, typed, taken)
		doc.Tables[0].Hidden = true
		doc.Tables[1].Hidden = all[0].DaysFor80 == 0 || len(all[0].Further) == 0 // it is conclusive now, or more days decide nothing
	} else {
		doc.Tables[1].Hidden = true
	}
	doc.After = q.sentences()
	err = p.emitPlotted(c, doc, format, func() (plot.Figure, error) {
		drawn, err := chosen(c, all, func(j judged) analysis.Place { return j.Place })
		if err != nil {
			return plot.Figure{}, err
		}
		return q.verdictFigure(drawn, by, typed)
	})
	if err != nil {
		return err
	}
	return p.partial(doc)
}

// judgeLevels holds one home against each level.
func (q *question) judgeLevels(s subject) ([]judged, error) {
	var out []judged
	for _, level := range q.Levels {
		opt := q.Options
		opt.Levels = []float64{level}
		j, err := annual.Judge(s.series, level, opt)
		if err != nil {
			return nil, err
		}
		j.Result.Notes = s.notes(j.Result.Notes)
		out = append(out, judged{j, level})
	}
	return out, nil
}

// typedIn makes a series of the one result on the command line.
func (p *program) typedIn(c *cli.Context) (analysis.Series, []report.Field, error) {
	const example = "radonyear verdict --value 165 --days 7 --start 2026-01-10 --level 200"
	fail := func(format string, args ...any) (analysis.Series, []report.Field, error) {
		return analysis.Series{}, nil, usageError{fmt.Sprintf(format, args...), example}
	}
	for _, name := range []string{"value", "days", "start"} {
		if c.String(name) == "" {
			return fail("a typed-in result needs --%s", name)
		}
	}
	// What only files can use would otherwise be passed over in silence.
	for _, name := range []string{"date-order", "decimal", "column", "sheet", "home-from-filename", "rejects", "phase", "by"} {
		if c.IsSet(name) {
			return fail("--%s is for files, not for a typed-in result", name)
		}
	}
	opt, err := p.readingOptions(c)
	if err != nil {
		return analysis.Series{}, nil, err
	}
	v, err := parseTyped(c, "value", c.String("value"), opt.Unit)
	if err != nil {
		return analysis.Series{}, nil, err
	}
	value, below, unit := v.value, v.below, v.unit
	days, err := strconv.ParseFloat(strings.TrimSpace(c.String("days")), 64)
	if err != nil || !(days > 0 && days <= ingest.LongestDays) {
		return fail("--days %q is not a number of days above 0 and up to two years (%d)", c.String("days"), ingest.LongestDays)
	}
	zone, err := ingest.LoadZone(opt.Zone)
	if err != nil {
		return analysis.Series{}, nil, err
	}
	start, ok := parseInstant(c.String("start"), zone)
	if !ok {
		return fail("--start %q is not a day such as 2026-01-10", c.String("start"))
	}
	uncertainty := 0.0
	if text := c.String("uncertainty"); text != "" {
		if strings.HasSuffix(strings.TrimSpace(text), "%") {
			u, e := parseRelative(text)
			uncertainty, err = u*value, e
		} else {
			uncertainty, err = parseConcentration(text, unit)
		}
		if err != nil || uncertainty < 0 {
			return fail("--uncertainty %q is neither a percentage below 100 nor a concentration", text)
		}
		if uncertainty == 0 && value > 0 {
			return analysis.Series{}, nil, usageError{fmt.Sprintf("--uncertainty %q: no result is without one", text),
				fmt.Sprintf("give what the report says; without the option %g %% is taken for a result of more than 36 hours", round(100*temporal.IntegratingError))}
		}
	}
	end := start.Add(time.Duration(math.Round(days * float64(24*time.Hour))))
	s, err := analysis.NewSeries(analysis.Place{Home: "typed in"}, zone, []analysis.Reading{{
		Start: start.UTC(), End: end.UTC(), Concentration: value, Uncertainty: uncertainty, BelowLimit: below,
	}})
	if err != nil {
		return analysis.Series{}, nil, err
	}
	fields := []report.Field{
		{Name: "value", Value: value}, {Name: "value_unit", Value: "Bq/m3"}, {Name: "below_limit", Value: below},
		{Name: "days", Value: days}, {Name: "start", Value: start}, {Name: "uncertainty", Value: uncertainty},
	}
	return s, fields, nil
}

// typed is a concentration as someone typed it.
type typed struct {
	value float64 // Bq/m³; the limit where below
	below bool
	unit  string // as it was typed, and so that of a bare uncertainty
	named bool   // the unit was, with the number or by --unit
}

// parseTyped reads a concentration from an option: with its unit, or in that of
// --unit, else in Bq/m³ as long as nothing speaks for pCi/L.
func parseTyped(c *cli.Context, option, typedText, given string) (typed, error) {
	bad := func(hint, format string, args ...any) (typed, error) {
		return typed{}, usageError{fmt.Sprintf("--%s %q ", option, typedText) + fmt.Sprintf(format, args...), hint}
	}
	text, below := strings.CutPrefix(strings.TrimSpace(typedText), "<")
	number, named := splitUnit(text, given)
	sign := ""
	if below {
		sign = "<"
	}
	which := fmt.Sprintf(`say which: --%s "%s%s pCi/L" or --%[1]s "%[2]s%[3]s Bq/m3"`, option, sign, number)
	if other := inPCi(c); named == "" && other != "" {
		return bad(which, "has no unit, and %s is in pCi/L", other)
	}
	if x, err := strconv.ParseFloat(number, 64); err == nil && named == "" && x > 0 && x < leastBare {
		return bad(which, "has no unit, and so low a number may be in pCi/L")
	}
	unit := cmp.Or(named, given, "Bq/m3")
	value, err := parseConcentration(text, unit)
	switch {
	case err == nil && value < 0:
		return bad(fmt.Sprintf("a mean concentration is 0 or more; write --%s \"<15\" for one below a detection limit of 15", option), "is negative")
	case err != nil && strings.Count(number, ",") == 1:
		return bad(fmt.Sprintf("write the decimal mark as a point, as in --%s %s, and no thousands separator", option, strings.Replace(number, ",", ".", 1)), "has a comma")
	case err != nil || below && value == 0:
		return bad(fmt.Sprintf("for example --%s 165, or --%[1]s \"4.6 pCi/L\"", option), "is not a concentration")
	}
	return typed{value, below, unit, named != ""}, nil
}

// zonedLayouts are of times that name their offset.
var zonedLayouts = []string{"2006-01-02T15:04Z07:00", time.RFC3339}

// parseInstant reads a day, or a time of one, in a zone that the text may name.
func parseInstant(text string, zone *time.Location) (t time.Time, ok bool) {
	for _, layout := range append([]string{time.DateOnly, "2006-01-02T15:04", "2006-01-02 15:04", "2006-01-02T15:04:05", "2006-01-02 15:04:05"}, zonedLayouts...) {
		if t, err := time.ParseInLocation(layout, strings.TrimSpace(text), zone); err == nil {
			return t, t.Year() >= 1950 && t.Year() <= 2100
		}
	}
	return t, false
}

// inPCi is the option with a concentration in pCi/L, "" if there is none.
func inPCi(c *cli.Context) string {
	for _, name := range []string{"level", "uncertainty", "area-prior"} {
		texts := c.StringSlice(name)
		if name != "level" {
			texts = []string{c.String(name)}
		}
		for _, text := range texts {
			if strings.Contains(strings.ToLower(text), "pci") {
				return fmt.Sprintf("--%s %q", name, text)
			}
		}
	}
	return ""
}

// verdictInWords is a single result as people would be told it; taken is what is
// to be said of the uncertainty of one typed in.
func verdictInWords(j judged, by string, typed bool, taken string) []string {
	show := func(x float64) string { return report.Number(x, j.level) }
	e := j.AnnualMean
	what := "Home " + resultNames(nil, by)(j.Place) + ": raw"
	if typed {
		what = "Raw"
	}
	days := countDays(j.DaysMeasured)
	lines := []string{
		fmt.Sprintf("%s mean %s Bq/m³ over %s from %s%s; season factor %s.", what, show(j.RawMean), days, j.Start.Format(time.DateOnly), taken, report.Number(j.SeasonFactor)),
		fmt.Sprintf("Annual mean: %s Bq/m³, %g %% interval %s.", show(e.Value), round(100*e.Confidence), report.Interval(e, j.level)),
		fmt.Sprintf("Probability that it is above %g Bq/m³: %s %%.", j.level, report.Percent(j.Probability, e.Confidence)),
		fmt.Sprintf("Verdict: %s.", verdictWords(j)),
	}
	// Of a test that saw nothing, only its limit is known: no other reading of it
	// can be told.
	unseen := belowLimit(j.Result)
	if unseen {
		lines[0] = fmt.Sprintf("Below the detection limit of %s Bq/m³ over %s from %s.", show(j.RawMean), days, j.Start.Format(time.DateOnly))
		if j.RawMean == 0 {
			lines[0] = fmt.Sprintf("A result of zero over %s from %s: no detection limit was given, and below %g Bq/m³ is taken.", days, j.Start.Format(time.DateOnly), temporal.ZeroLimit)
		}
	}
	short := j.DaysMeasured < annual.LeastDays
	if j.BandLower < j.BandUpper && !unseen && !short {
		lines = append(lines, bandInWords(j, show))
	}
	switch {
	case j.DaysFor80 > 0:
		more := fmt.Sprintf("%d more days give", j.DaysFor80)
		if j.DaysFor80 == 1 {
			more = "One more day gives"
		}
		lines = append(lines, more+" a chance of at least 80 % that the answer is then conclusive.")
	case j.DaysFor80 < 0 && len(j.Further) == 0:
		lines = append(lines, "More days of all rooms will not settle it: look at the room named below.")
	case j.DaysFor80 < 0 && j.YearShare > 0.95:
		lines = append(lines, "Most of the year was measured: going on will not settle it. What remains is what the detector, and in the long run the years, are off by.")
	case j.DaysFor80 < 0:
		lines = append(lines, "No further measurement within a year gives a chance of 80 % of a conclusive answer: the mean is too near the level.")
	}
	notes := rowNotes(j.Result.Notes, j.AnnualMean.Notes)
	if at := slices.IndexFunc(notes, func(n analysis.Note) bool { return n.Code == zeroResult }); at >= 0 {
		// Whether the detector worked comes before what its number says.
		lines = slices.Insert(lines, 0, page.Sentence(notes[at].Text))
		notes = slices.Delete(notes, at, at+1)
	}
	return append(lines, notesInWords(notes)...)
}

// notesInWords are notes as lines.
func notesInWords(notes []analysis.Note) (lines []string) {
	for _, n := range notes {
		text := firstUpper(n.Text)
		lines = append(lines, "Note: "+strings.TrimSuffix(text, ".")+".")
	}
	return lines
}

// countDays is "1 day", "2.5 days", "30 days", and of less than a day its hours.
func countDays(d float64) string {
	if hours := math.Round(24 * d); hours < 24 {
		return count(max(1, int(hours)), "hour")
	}
	if days := report.DayCount(d); days != "1" {
		return days + " days"
	}
	return "1 day"
}

// bandInWords says which readings would not be conclusive; an end of the band
// that no reading reaches is an area prior's doing.
func bandInWords(j judged, show func(float64) string) string {
	switch {
	case j.BandLower == 0 && math.IsInf(j.BandUpper, 1):
		return "No reading of this same test would be conclusive against this area prior."
	case j.BandLower == 0:
		return fmt.Sprintf("A reading of this same test under %s Bq/m³ would not be conclusive against this area prior.", show(j.BandUpper))
	case math.IsInf(j.BandUpper, 1):
		return fmt.Sprintf("A reading of this same test over %s Bq/m³ would not be conclusive against this area prior.", show(j.BandLower))
	}
	return fmt.Sprintf("A reading of this same test between %s and %s Bq/m³ would not be conclusive.", show(j.BandLower), show(j.BandUpper))
}

func verdictWords(j judged) string {
	switch j.Verdict {
	case annual.Above:
		return fmt.Sprintf("conclusive, above %g Bq/m³", j.level)
	case annual.Below:
		words := fmt.Sprintf("conclusive, below %g Bq/m³", j.level)
		if analysis.HasNote(j.Result.Notes, zeroResult) {
			words += ", if the detector worked"
		}
		return words
	}
	return string(j.Verdict)
}

// verdictTables are the results and, for JSON and for a single result, what
// more days would bring.
func verdictTables(all []judged, by string) []report.Table {
	var places []analysis.Place
	for _, j := range all {
		places = append(places, j.Place)
	}
	name := resultNames(places, by)
	level := report.Column{Key: "level", Head: "Level", Style: report.Level}
	probability := report.Column{Key: "probability", Head: "P\n%", Style: report.Probability}
	if !slices.ContainsFunc(all, func(j judged) bool { return j.level != all[0].level }) { // as annual heads it
		level.Head, probability.Head = "", fmt.Sprintf("P>%g\n%%", all[0].level)
	}
	main := report.Table{Columns: slices.Concat(placeColumns(places, by), []report.Column{
		{Key: "start", Style: report.Date},
		{Key: "end", Style: report.Date},
		{Key: "days_measured", Head: "Days", Style: report.Days},
		{Key: "year_share", Style: report.Share},
		{Key: "raw_mean", Head: "Raw\nmean", Style: report.Concentration, Spare: 3},
		{Key: "season_factor", Style: report.Factor},
		{Key: "annual_mean", Head: "Annual\nmean", Style: report.Estimate},
		level,
		probability,
		{Key: "verdict", Head: "Verdict", Style: report.Text, Words: true},
		{Key: "band_lower", Style: report.Concentration},
		{Key: "band_upper", Style: report.Concentration},
		{Key: "days_for_80_percent", Style: report.Count}, // 0: conclusive now; null: not within a year
		{Head: "More\ndays", Style: report.Text, Words: true},
		{Key: "raw_mean_below_limit", Style: report.Bool},
	})}
	if len(all) > 1 {
		main.Title = "More days: how many give a chance of 80 % of a conclusive answer."
	}
	further := report.Table{Key: "further", Columns: []report.Column{
		{Key: "home", Style: report.Text},
		{Key: "area", Style: report.Text},
		{Key: "room", Style: report.Text},
		{Key: "level", Style: report.Level},
		{Key: "days", Head: "More\ndays", Style: report.Count},
		{Key: "chance", Head: "Chance of a\nconclusive answer %", Style: report.Probability},
		{Key: "chance_above", Head: "of it\n\"above\" %", Style: report.Probability},
		{Key: "upper_ratio", Head: "Upper limit then,\nover the mean", Style: report.Factor},
	}}
	for _, j := range all {
		more, days := "", any(j.DaysFor80)
		switch {
		case j.DaysFor80 > 0:
			more = strconv.Itoa(j.DaysFor80)
		case j.DaysFor80 < 0 && len(j.Further) == 0:
			more, days = "see note", nil
		case j.DaysFor80 < 0:
			more, days = "over 365", nil
		}
		main.Rows = append(main.Rows, report.Row{Label: name(j.Place), Notes: rowNotes(j.Result.Notes, j.AnnualMean.Notes), Cells: []any{
			j.Home, j.Area, j.Room, instant(j.Start), instant(j.End), j.DaysMeasured, j.YearShare, rawMean(j.Result), j.SeasonFactor,
			j.AnnualMean, j.level, j.Probability, string(j.Verdict), band(j.BandLower), band(j.BandUpper), days, more, belowLimit(j.Result)}})
		for _, f := range j.Further {
			further.Rows = append(further.Rows, report.Row{Label: name(j.Place), Cells: []any{
				j.Home, j.Area, j.Room, j.level, f.Days, f.Chance, f.ChanceAbove, f.UpperRatio}})
		}
	}
	return []report.Table{main, further}
}

// band is a limit of the band of inconclusive readings, empty where there is
// none.
func band(x float64) any {
	if x == 0 || math.IsInf(x, 1) {
		return nil
	}
	return x
}
