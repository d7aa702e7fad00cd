package main

import (
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"math"
	"os"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

func (p *program) annualCommand() *cli.Command {
	return &cli.Command{
		Name:      "annual",
		Usage:     "each home's annual mean, with an interval and a verdict on a level",
		ArgsUsage: "FILE...",
		Description: `For each home: days measured, share of the year they cover, raw mean, season
factor, annual mean with its interval, chance that the annual mean is above
the level, verdict. An open verdict is an answer: measure longer. The annual
mean is not raw mean times season factor: it is the middle of what is likely,
weighs detectors by how well they know, and gives a short test's chance its due.

Examples:
  radonyear annual readings.csv --unit Bq/m3
  radonyear annual winter.csv --profile district.json --level "4 pCi/L"`,
		Flags:  slices.Concat(judgingFlags(), []cli.Flag{byFlag()}, plotFlags("each home's readings, days and annual mean"), readingFlags(), outputFlags()),
		Action: p.annual,
	}
}

// judgingFlags are the options of the model and of the question put to it.
func judgingFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringSliceFlag{Name: "level", Usage: fmt.Sprintf("`LEVEL` to hold the annual mean against, Bq/m3 or with a unit; may be repeated (default %g, a guideline or action level in Canada, the United Kingdom, Ireland and others)", annual.DefaultLevel)},
		confidenceFlag(", and certainty a verdict needs"),
		&cli.StringFlag{Name: "target", Value: "this-year", Usage: "`TARGET`: this-year, the twelve months around the measurement (default), or long-run, the mean of many years"},
		profileFlag(builtInProfile),
		courseFlag(),
		&cli.StringFlag{Name: "hemisphere", Usage: "`HALF` of the globe, north (default) or south, for the built-in profile"},
		&cli.StringFlag{Name: "area-prior", Usage: "`GM,GSD` of annual means in the area, GM in Bq/m3 (default: none, the home speaks for itself)"},
		&cli.StringFlag{Name: "year-from", Usage: "first `DAY` of the twelve months meant, as 2025-01-01 (default: centred on the measurement)"},
		&cli.StringFlag{Name: "calibration", Usage: fmt.Sprintf("standard `UNCERTAINTY` that all readings of one detector share, as 4%% (default %g%%)", round(100*temporal.DefaultCalibration))},
		phaseFlag(""),
	}
}

func courseFlag() cli.Flag {
	return &cli.StringFlag{Name: "course", Value: "auto", Usage: "`WHETHER` to use the weather the profile was learned in: use, ignore, or auto (default): use it if the day means of five homes or more follow it"}
}

func parseCourse(c *cli.Context) (courseUse, error) {
	switch asked := c.String("course"); asked {
	case "auto", "use", "ignore":
		return courseUse{asked: asked}, nil
	default:
		return courseUse{}, usageError{fmt.Sprintf("unknown course %q", asked), "--course auto, --course use or --course ignore"}
	}
}

func byFlag() cli.Flag {
	return &cli.StringFlag{Name: "by", Value: "home", Usage: "a result for each `PLACE`: home (default) or room"}
}

const defaultConfidence = 0.95

// confidenceFlag is --confidence, of intervals and of what else a command says of it.
func confidenceFlag(also string) cli.Flag {
	return &cli.StringFlag{Name: "confidence", Value: report.Exact(defaultConfidence), Usage: "`SHARE` of intervals that should hold the truth" + also + ", as 90% or 0.9 (default 95%)"}
}

func parseConfidence(c *cli.Context) (float64, error) {
	text := c.String("confidence")
	x, err := parseRelative(text)
	if err != nil || x < 0.5 {
		hint := "--confidence 95%"
		if meant, err := parseRelative(text + "%"); err == nil && meant >= 0.5 {
			hint = percentMeant("confidence", text, "95%")
		}
		return 0, usageError{fmt.Sprintf("--confidence %q is not a share from 50 %% to under 100 %%", text), hint}
	}
	return x, nil
}

// percentMeant is the hint for a share that cannot be followed: with a percent sign,
// where that is what may have been meant.
func percentMeant(option, text, example string) string {
	if x, err := strconv.ParseFloat(strings.TrimSpace(text), 64); err == nil && x >= 1 && x < 100 {
		return fmt.Sprintf("--%s %s%%, or --%[1]s %[3]s", option, strings.TrimSpace(text), report.Exact(round(x/100)))
	}
	return fmt.Sprintf("--%s %s", option, example)
}

// phaseFlag is --phase, and what is taken without it.
func phaseFlag(without string) cli.Flag {
	return &cli.StringFlag{Name: "phase", Usage: "`PHASE` before or after: only readings from before or after mitigation" + without}
}

// question is what annual and verdict ask of the model.
type question struct {
	annual.Options
	levelsByDefault bool
	southern        bool
	profilePath     string
	beside          []report.Input // files read beside the readings
	course          courseUse
	target          string
	phase           string
}

func parseQuestion(c *cli.Context) (q question, err error) {
	if q.Levels, q.levelsByDefault, err = parseLevels(c); err != nil {
		return q, err
	}
	for i, l := range q.Levels {
		if slices.Contains(q.Levels[:i], l) {
			return q, usageError{fmt.Sprintf("level %g is given twice", l), "give each level once"}
		}
	}
	if q.Confidence, err = parseConfidence(c); err != nil {
		return q, err
	}
	q.target = c.String("target")
	switch q.target {
	case "this-year", "": // a comparison has no such option
		q.Target = annual.ThisYear
	case "long-run":
		q.Target = annual.LongRun
	default:
		return q, usageError{fmt.Sprintf("unknown target %q", q.target), "--target this-year or --target long-run"}
	}
	if text := c.String("area-prior"); text != "" {
		if q.AreaPrior, err = parsePrior(text); err != nil {
			return q, err
		}
	}
	if text := c.String("year-from"); text != "" {
		if q.YearFrom, err = time.Parse(time.DateOnly, text); err != nil {
			return q, usageError{fmt.Sprintf("--year-from %q is not a day", text), "--year-from 2025-01-01"}
		}
		if q.Target == annual.LongRun {
			return q, usageError{"--year-from names twelve months, and --target long-run means no one year", "leave out one of the two"}
		}
	}
	if text := c.String("calibration"); text != "" {
		if q.Calibration, err = parseRelative(text); err != nil {
			return q, usageError{fmt.Sprintf("--calibration %q is not a relative uncertainty below 100 %%", text), "--calibration 5%"}
		}
		if q.Calibration == 0 {
			return q, usageError{fmt.Sprintf("--calibration %q: no detector is without an error of its own", text),
				fmt.Sprintf("give what its certificate says; without the option %g %% is taken", round(100*temporal.DefaultCalibration))}
		}
	}
	if q.phase, err = parsePhase(c); err != nil {
		return q, err
	}
	q.profilePath = profileFile(c.String("profile"))
	if q.southern, err = parseHemisphere(c); err != nil {
		return q, err
	}
	if q.course, err = parseCourse(c); err != nil {
		return q, err
	}
	if q.course.asked == "use" && q.profilePath == "" && !(c.Command.Name == "compare" && wantsNeighbours(c)) {
		return q, usageError{"--course use needs a profile that was learned", "give one with --profile"}
	}
	if q.profilePath != "" && c.String("hemisphere") != "" {
		return q, usageError{"--hemisphere is for the built-in profile; a profile from a file has its own season", "leave out one of --profile and --hemisphere"}
	}
	return q, nil
}

func parsePhase(c *cli.Context) (string, error) {
	switch phase := c.String("phase"); phase {
	case "", "before", "after":
		return phase, nil
	default:
		return "", usageError{fmt.Sprintf("unknown phase %q", phase), "--phase before or --phase after"}
	}
}

func parseHemisphere(c *cli.Context) (southern bool, err error) {
	switch h := c.String("hemisphere"); h {
	case "", "north", "south":
		return h == "south", nil
	default:
		return false, usageError{fmt.Sprintf("unknown hemisphere %q", h), "--hemisphere north or --hemisphere south"}
	}
}

func parsePrior(text string) (*annual.Prior, error) {
	bad := usageError{fmt.Sprintf("--area-prior %q is not GM,GSD", text), "for example --area-prior 90,2.3: geometric mean in Bq/m3, geometric standard deviation above 1"}
	gm, gsd, ok := strings.Cut(text, ",")
	if !ok {
		return nil, bad
	}
	m, err1 := parseConcentration(gm, "Bq/m3")
	s, err2 := strconv.ParseFloat(strings.TrimSpace(gsd), 64)
	if err1 != nil || err2 != nil || m <= 0 || !(s > 1) || math.IsInf(s, 0) {
		return nil, bad
	}
	return &annual.Prior{GM: m, GSD: s}, nil
}

// parseRelative reads "10%" or "0.1".
func parseRelative(text string) (float64, error) {
	number, isPercent := strings.CutSuffix(strings.TrimSpace(text), "%")
	x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if isPercent {
		x /= 100
	}
	if err != nil || !(x >= 0 && x < 1) {
		return 0, fmt.Errorf("%q is not between 0 and 100 %%", text)
	}
	return x, nil
}

// builtInProfile is the built-in profile's name for --profile.
const builtInProfile = "built-in"

// profileFile is the file that --profile names, "" where it asks for the built-in profile.
func profileFile(asked string) string {
	if asked == builtInProfile {
		return ""
	}
	return asked
}

// profileFlag is --profile, and what is taken without it.
func profileFlag(without string) cli.Flag {
	return &cli.StringFlag{Name: "profile", Usage: "season and variation from `FILE`, as radonyear season writes it, or " + builtInProfile + " (default: " + without + ")"}
}

// loadProfile is the built-in profile, or the one in the file.
func (q *question) loadProfile() error {
	if q.profilePath == "" {
		q.Profile = temporal.BuiltIn(q.southern)
		return nil
	}
	text, err := os.ReadFile(q.profilePath)
	if err != nil {
		hint := "radonyear season FILE... --output " + q.profilePath + " makes one"
		if !errors.Is(err, fs.ErrNotExist) {
			hint = "give a profile that can be read"
		}
		return hinted{fmt.Errorf("reading the profile %s: %w", q.profilePath, bare(err)), hint}
	}
	q.beside = append(q.beside, beside(q.profilePath, text))
	if q.Profile, err = temporal.ParseProfile(text); err != nil {
		return hinted{fmt.Errorf("%s: %w", q.profilePath, err), "radonyear season FILE... --output PROFILE.json makes one"}
	}
	return nil
}

// courseUse is whether the profile's weather was used, and on what evidence.
type courseUse struct {
	asked      string  // auto, use or ignore
	neighbours bool    // the profile was learned from other homes of the same files
	homes      int     // that had a say; 0 if none was asked
	slope      float64 // of their day means on the profile's weather, and
	se         float64 // its standard error
}

func (u courseUse) fields(used bool) []report.Field {
	var slope, se any
	if u.homes >= annual.ConfirmHomes {
		slope, se = u.slope, u.se
	}
	return []report.Field{{Name: "asked", Value: u.asked}, {Name: "used", Value: used}, {Name: "slope", Value: slope}, {Name: "se", Value: se}, {Name: "homes", Value: u.homes}}
}

// settleCourse decides whether the profile's weather was the homes' own.
func (q *question) settleCourse(homes population) error {
	switch {
	case q.course.asked == "use" && q.Profile.Course == nil:
		return hinted{fmt.Errorf("%s: the profile knows no weather the homes had in common", cmp.Or(q.profilePath, q.Profile.Name)), "leave out --course use"}
	case q.course.asked == "use":
		q.Course = true
	case q.course.asked == "auto" && q.Profile.Course != nil:
		c := &q.course
		q.Course, c.slope, c.se, c.homes = annual.Confirm(homes.series(), q.Profile)
		if c.neighbours && c.homes < annual.ConfirmHomes {
			q.Course = true
		}
	}
	return nil
}

func (q *question) settings() []report.Field {
	from := "option"
	if q.levelsByDefault {
		from = "default"
	}
	var prior, phase any
	if q.AreaPrior != nil {
		prior = []report.Field{{Name: "gm", Value: q.AreaPrior.GM}, {Name: "gsd", Value: q.AreaPrior.GSD}}
	}
	if q.phase != "" {
		phase = q.phase
	}
	var yearFrom any
	if !q.YearFrom.IsZero() {
		yearFrom = q.YearFrom.Format(time.DateOnly)
	}
	return []report.Field{
		{Name: "levels", Value: q.Levels}, {Name: "levels_from", Value: from}, {Name: "level_unit", Value: "Bq/m3"},
		{Name: "confidence", Value: q.Confidence}, {Name: "target", Value: q.target},
		{Name: "profile", Value: []report.Field{{Name: "name", Value: q.Profile.Name}, {Name: "provenance", Value: q.Profile.Provenance}}},
		{Name: "course", Value: q.course.fields(q.Course)}, {Name: "area_prior", Value: prior}, {Name: "year_from", Value: yearFrom}, {Name: "calibration", Value: q.calibration()}, {Name: "integrating_uncertainty", Value: temporal.IntegratingError}, {Name: "phase", Value: phase},
	}
}

// calibration is the one used, asked for or not.
func (q *question) calibration() float64 { return cmp.Or(q.Calibration, temporal.DefaultCalibration) }

// sentences say under a result what it rests on.
func (q *question) sentences() []string {
	target := "the mean of the twelve months around the measurement"
	if !q.YearFrom.IsZero() {
		target = "the mean of the twelve months from " + q.YearFrom.Format(time.DateOnly)
	}
	if q.Target == annual.LongRun {
		target = "the mean of many years"
	}
	asked := fmt.Sprintf("Annual mean: %s, in Bq/m³. A verdict needs a probability of %g %%.", target, round(100*q.Confidence))
	if q.AreaPrior != nil {
		asked += fmt.Sprintf(" Area prior: geometric mean %g Bq/m³, GSD %g.", q.AreaPrior.GM, q.AreaPrior.GSD)
	}
	errors := fmt.Sprintf("Standard uncertainty taken: %g %% that a detector shares over its readings (--calibration) and, for a result of more than 36 hours, %g %% of its own; a result that states its uncertainty has that instead, a day that does has it beside the %[1]g %%.",
		round(100*q.calibration()), round(100*temporal.IntegratingError))
	profile := fmt.Sprintf("Profile: %s", q.Profile.Name)
	if q.Profile.Provenance != "" {
		profile += " (" + strings.TrimSuffix(q.Profile.Provenance, ".") + ")"
	}
	profile += "."
	switch {
	case q.Profile.Course == nil:
	case q.Course && q.course.asked == "auto" && q.course.homes < annual.ConfirmHomes:
		profile += fmt.Sprintf(" The weather it was learned in was used for the homes and days it knows, since those homes stand in the same files; it takes the day means of %d other homes to tell whether it was theirs.", annual.ConfirmHomes)
	case q.Course && q.course.asked == "auto":
		profile += fmt.Sprintf(" The day means of %d homes follow the weather it was learned in (slope %.2f ± %.2f), so it was used for the homes and days it knows.", q.course.homes, q.course.slope, q.course.se)
	case q.Course:
		profile += " The weather it was learned in was taken to be the homes' own, as --course use says."
	case q.course.asked == "ignore":
		profile += " The weather it was learned in was not used, as --course ignore says."
	case q.course.asked == "auto" && q.course.homes < annual.ConfirmHomes:
		profile += fmt.Sprintf(" The weather it was learned in was not used: it takes the day means of %d homes to tell whether it was theirs.", annual.ConfirmHomes)
	case q.course.asked == "auto":
		profile += fmt.Sprintf(" The weather it was learned in was not used: the day means of %d homes do not follow it (slope %.2f ± %.2f).", q.course.homes, q.course.slope, q.course.se)
	}
	return []string{levelSentence(q.Levels, q.levelsByDefault), asked, errors, profile, caution}
}

// round takes off the dust of binary fractions: 100·0.95 is 95.
func round(x float64) float64 { return math.Round(x*1e9) / 1e9 }

func (p *program) annual(c *cli.Context) error {
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
	if err := q.loadProfile(); err != nil {
		return err
	}
	daily, files, _, err := p.readFiles(c)
	if err != nil {
		return err
	}
	subs := subjects(daily, by, q.phase)
	if err := q.settleCourse(subs); err != nil {
		return err
	}
	results, left := estimateAll(subs, q.estimate)
	doc := report.Document{
		Command: "annual", Version: version,
		Settings: slices.Concat(q.settings(), []report.Field{{Name: "by", Value: by}}, readingSettings(c)),
		Inputs:   inputs(files, q.phase), Beside: q.beside,
		Rejects: rejectsFile(c),
		Tables:  []report.Table{annualTable(results, by)},
		Notes:   inputNotes(files, daily, q.phase),
		LeftOut: left,
		After:   q.sentences(),
		Levels:  q.Levels, Confidence: q.Confidence,
	}
	if len(results) == 0 {
		return noResult(left, files)
	}
	err = p.emitPlotted(c, doc, format, func() (plot.Figure, error) {
		drawn, err := chosen(c, results, func(r homeYear) analysis.Place { return r.Place })
		if err != nil {
			return plot.Figure{}, err
		}
		if err := fits(len(drawn), "homes", mostPanels, fewerHomes); err != nil {
			return plot.Figure{}, err
		}
		homes, err := q.drawn(subs, drawn)
		if err != nil {
			return plot.Figure{}, err
		}
		return q.yearFigure(homes, by), nil
	})
	if err != nil {
		return err
	}
	return p.partial(doc)
}

// homeYear is one home's annual mean, and of which side of a mitigation it is.
type homeYear struct {
	annual.Result
	phase string // before or after; empty where no reading says
}

// estimate is one home's annual mean.
func (q *question) estimate(s subject) (homeYear, error) {
	r, err := annual.Estimate(s.series, q.Options)
	r.Notes = s.notes(r.Notes)
	return homeYear{r, s.phase}, err
}

// noResult is the error of a run that could judge no home at all.
func noResult(left []report.LeftOut, files []ingest.File) error {
	if !slices.ContainsFunc(left, func(l report.LeftOut) bool { return l.Why != noField }) {
		var rows, readings int64
		for _, f := range files {
			rows, readings = rows+f.Rows, readings+f.Readings
		}
		if rows == 0 {
			return hinted{fmt.Errorf("no result: the files hold no rows"), "radonyear inspect FILE shows what is in a file"}
		}
		if readings > 0 {
			return hinted{fmt.Errorf("no result: no row is a home's field reading"), "duplicates, blanks and spikes are no home's; radonyear inspect FILE shows the kinds and phases"}
		}
		return hinted{fmt.Errorf("no result: every row was left out"), "radonyear inspect FILE shows what is wrong; --rejects FILE writes the rows to a file"}
	}
	first := left[0]
	hint := "radonyear inspect FILE shows what is in the files"
	if homes := report.Homes(left); homes > 1 {
		hint = fmt.Sprintf("none of the %d homes can be judged; ", homes) + hint
	} else if len(left) > 1 {
		hint = "nothing of the home can be judged; " + hint
	}
	return hinted{fmt.Errorf("no result: home %s: %s", report.MonitorName(first.Place), first.Why), hint}
}

// partial asks for exit status 3 where something is missing in a result, and
// says homes without one on standard error.
func (p *program) partial(doc report.Document) error {
	const most = 10
	for i, l := range doc.LeftOut {
		if i == most {
			fmt.Fprintf(p.stderr, "radonyear: skipped: and %d more\n", len(doc.LeftOut)-most)
			break
		}
		fmt.Fprintf(p.stderr, "radonyear: skipped: home %s: %s\n", report.Plain(report.MonitorName(l.Place)), report.Plain(l.Why))
	}
	if doc.Rejected() > 0 || len(doc.LeftOut) > 0 || analysis.HasNote(doc.Notes, sheetsUnread) || analysis.HasNote(doc.Notes, annualLeftOut) {
		return errPartial
	}
	return nil
}

// each calls do for 0 ≤ i < n on as many workers as there are processors, at least
// two; do writes to its own slot.
func each(n int, do func(int)) {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range min(n, max(2, runtime.GOMAXPROCS(0))) {
		wg.Go(func() {
			for i := int(next.Add(1)) - 1; i < n; i = int(next.Add(1)) - 1 {
				do(i)
			}
		})
	}
	wg.Wait()
}

// estimateAll judges every subject and keeps their order.
func estimateAll[R any](homes population, judge func(subject) (R, error)) (results []R, left []report.LeftOut) {
	type answers struct {
		results []R
		left    []report.LeftOut
	}
	all := make([]answers, homes.n)
	each(homes.n, func(i int) {
		a := &all[i]
		for _, s := range homes.at(i) {
			why := s.why
			if why == "" {
				result, err := judge(s)
				if err == nil {
					a.results = append(a.results, result)
					continue
				}
				// The home is named beside the reason, so the reason need not.
				why = strings.TrimPrefix(err.Error(), fmt.Sprintf("home %q: ", s.place.Home))
			}
			a.left = append(a.left, report.LeftOut{Place: s.place, Why: why})
		}
	})
	for _, a := range all {
		results = append(results, a.results...)
		left = append(left, a.left...)
	}
	return results, left
}

// placeColumns are home, area and room as columns; people see the room where it is
// asked for, and the area where one name stands for homes in several.
func placeColumns(places []analysis.Place, by string) []report.Column {
	area, room := report.Column{Key: "area", Style: report.Text}, report.Column{Key: "room", Style: report.Text}
	if by == "room" {
		room.Head = "Room"
	}
	if len(shared(places)) > 0 {
		area.Head = "Area"
	}
	return []report.Column{{Key: "home", Head: "Home", Style: report.Text}, area, room}
}

// shared are the names of homes that stand in more than one area.
func shared(places []analysis.Place) map[string]bool {
	areas, names := map[string]string{}, map[string]bool{}
	for _, p := range places {
		if area, ok := areas[p.Home]; ok && area != p.Area {
			names[p.Home] = true
		}
		areas[p.Home] = p.Area
	}
	return names
}

func annualTable(results []homeYear, by string) report.Table {
	var places []analysis.Place
	for _, r := range results {
		places = append(places, r.Place)
	}
	name := resultNames(places, by)
	phase := report.Column{Key: "phase", Style: report.Text}
	if slices.ContainsFunc(results, func(r homeYear) bool { return r.phase == "after" }) {
		phase.Head = "Phase" // not all are of homes as they were built
	}
	t := report.Table{Columns: slices.Concat(placeColumns(places, by), []report.Column{
		phase,
		{Key: "start", Style: report.Date},
		{Key: "end", Style: report.Date},
		{Key: "days_measured", Head: "Days", Style: report.Days},
		{Key: "year_start", Style: report.Date},
		{Key: "year_end", Style: report.Date},
		{Key: "year_share", Head: "Year\n%", Style: report.Share, Spare: 1}, // the days say it too
		{Key: "raw_mean", Head: "Raw\nmean", Style: report.Concentration, Spare: 3},
		{Key: "season_factor", Head: "Season\nfactor", Style: report.Factor, Spare: 2},
		{Key: "annual_mean", Head: "Annual\nmean", Style: report.Estimate},
		{Key: "expected_mean", Style: report.Concentration},
		{Key: "log_error", Style: report.Factor},
		{Key: "above", Head: "P", Style: report.Against},
		{Key: "raw_mean_below_limit", Style: report.Bool},
	})}
	for _, r := range results {
		t.Rows = append(t.Rows, report.Row{Label: name(r.Place), Notes: rowNotes(r.Notes, r.AnnualMean.Notes), Cells: []any{
			r.Home, r.Area, r.Room, r.phase, instant(r.Start), instant(r.End), r.DaysMeasured, instant(r.YearStart), instant(r.YearEnd),
			r.YearShare, rawMean(r.Result), r.SeasonFactor, r.AnnualMean, r.ExpectedMean, r.LogError, r.Above, belowLimit(r.Result)}})
	}
	return t
}

// resultNames gives results their names in footnotes; by home, the room is no part
// of one, and the area only where the home's name needs it.
func resultNames(places []analysis.Place, by string) func(analysis.Place) string {
	several := shared(places)
	return func(p analysis.Place) string {
		if !several[p.Home] {
			p.Area = ""
		}
		if by == "home" {
			p.Room = ""
		}
		return report.PlaceName(p)
	}
}

// rawMean is a cell with a result's raw mean, which of readings that only say "less
// than" is no more than a limit.
func rawMean(r annual.Result) any {
	if r.RawMean > 0 && belowLimit(r) {
		return report.Limit(r.RawMean)
	}
	return r.RawMean
}

// belowLimit says whether all that was measured lies below a detection limit.
func belowLimit(r annual.Result) bool { return analysis.HasNote(r.Notes, "all-below-limit") }

// rowNotes are a result's notes, each once, never nil: a result without notes
// has an empty list.
func rowNotes(lists ...[]analysis.Note) []analysis.Note {
	notes := []analysis.Note{}
	for _, n := range slices.Concat(lists...) {
		if !slices.Contains(notes, n) {
			notes = append(notes, n)
		}
	}
	return notes
}

// instant is a cell with a time, or an empty one.
func instant(t time.Time) any {
	if t.IsZero() {
		return nil
	}
	return t
}
