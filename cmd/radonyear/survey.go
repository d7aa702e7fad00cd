package main

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/lognormal"
	"radonyear/analysis/season"
	"radonyear/analysis/survey"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

func (p *program) surveyCommand() *cli.Command {
	return &cli.Command{
		Name:      "survey",
		Usage:     "a whole community: true annual means, share above a level, by area",
		ArgsUsage: "FILE...",
		Description: `Each home's tests become its annual mean and how well that is known; what short
tests add to the spread is taken off; areas with few homes borrow from the
others. The community's distribution of true annual means, the share of homes
above each level, and each area's, with the share as measured beside it. Homes
count once; readings from after mitigation are left out.

Examples:
  radonyear survey tests.csv --unit Bq/m3 --level 200 --recruitment volunteer
  radonyear survey tests.csv --populations dwellings.csv --format csv
  radonyear survey tests.csv --publish --map areas.geojson --map-key name \
      --format geojson --output published.geojson`,
		Flags: slices.Concat(communityFlags(), designFlags(), slices.DeleteFunc(judgingFlags(), func(f cli.Flag) bool {
			return slices.Contains([]string{"target", "year-from", "area-prior", "phase"}, f.Names()[0])
		}), []cli.Flag{plotFlag("the distribution and the share above a level, area by area,")}, publishFlags(), readingFlags(), mapFlags()),
		Action: p.survey,
	}
}

// communityFlags are the options of what is asked of a community.
func communityFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "by", Value: "area", Usage: "`COLUMN` that says which homes are one area: area (default), or any other the files have"},
		&cli.StringFlag{Name: "recruitment", Usage: "how homes came into the survey: `HOW` is volunteer, random or mixed (default: not stated)"},
		&cli.StringFlag{Name: "test-error", Value: "profile", Usage: "`WHERE` the error of a home's test comes from: profile (default); none, which takes raw means for annual ones; or a column with the relative standard error of each home's raw mean as an annual one, as 20% or 0.2"},
		&cli.StringFlag{Name: "covariates", Usage: "`COLUMNS` that tell homes of an area apart, as floor,soil: numbers as numbers, words as kinds"},
		&cli.StringFlag{Name: "adjacent", Usage: "CSV `FILE` of areas next to each other: columns area and neighbour; areas then resemble their neighbours"},
		&cli.StringFlag{Name: "populations", Usage: "CSV `FILE` of dwellings: columns area and dwellings; the community is then that of dwellings, not of homes measured"},
		&cli.StringFlag{Name: "exceeds", Usage: "a `SHARE`, such as 10%: the probability that more of an area's homes than that are above a level"},
		&cli.IntFlag{Name: "min-homes", Value: defaultMinHomes, Usage: fmt.Sprintf("areas with fewer than `N` homes are marked: they rest on the others (default %d)", defaultMinHomes)},
		&cli.Int64Flag{Name: "seed", Usage: "`SEED` of the draws behind ranks and the community (default 0)"},
	}
}

// defaultMinHomes is below how many homes an area is marked.
const defaultMinHomes = 10

// communityQuestion is what survey asks.
type communityQuestion struct {
	question
	by, recruitment, testError string
	covariates                 []string
	adjacent                   [][2]string // nil: not asked
	adjacentFile               string
	exceeds                    float64 // 0: not asked
	minHomes                   int
	seed                       uint64
	populations                map[string]float64 // nil: none
	populationsFile            string
	drawing                    drawingQuestion
}

func parseCommunity(c *cli.Context) (q communityQuestion, err error) {
	if q.question, err = parseQuestion(c); err != nil {
		return q, err
	}
	q.by, q.recruitment = c.String("by"), c.String("recruitment")
	if err := q.parseColumns(c.String("covariates"), c.String("test-error")); err != nil {
		return q, err
	}
	q.minHomes, q.seed = defaultMinHomes, uint64(c.Int64("seed"))
	if c.IsSet("min-homes") {
		q.minHomes = c.Int("min-homes")
	}
	if !slices.Contains([]string{"", "volunteer", "random", "mixed"}, q.recruitment) {
		return q, usageError{fmt.Sprintf("unknown recruitment %q", q.recruitment), "--recruitment volunteer, random or mixed"}
	}
	if q.minHomes < 1 {
		return q, usageError{fmt.Sprintf("--min-homes %d is no number of homes", q.minHomes), "--min-homes 10"}
	}
	if text := c.String("exceeds"); text != "" {
		if q.exceeds, err = parseRelative(text); err != nil || q.exceeds <= 0 {
			return q, usageError{fmt.Sprintf("--exceeds %q is not a share of homes between 0 and 100 %%", text), percentMeant("exceeds", text, "10%")}
		}
	}
	if path := c.String("populations"); path != "" {
		f, err := openSide(c, path, "dwellings", "a line is area,dwellings under a header, for example Eastfield,1250")
		if err != nil {
			return q, err
		}
		q.populationsFile, q.beside = path, append(q.beside, f.sum)
		if q.populations, _, err = readDwellings(f, "area"); err != nil {
			return q, err
		}
	}
	if q.adjacentFile = c.String("adjacent"); q.adjacentFile != "" {
		var file report.Input
		if q.adjacent, file, err = readAdjacent(c, q.adjacentFile); err != nil {
			return q, err
		}
		q.beside = append(q.beside, file)
	}
	q.drawing, err = parseDrawing(c)
	return q, err
}

// mostDwellings is more than there are people.
const mostDwellings = 1e10

// readDwellings takes a column's values, each once, how many dwellings they have, and in
// which line.
func readDwellings(f sideFile, column string) (all map[string]float64, lines map[string]int, err error) {
	name, dwellings := f.column(strings.ToLower(column)), f.column("dwellings", "population", "homes")
	if name < 0 || dwellings < 0 || name == dwellings {
		return nil, nil, f.fail(1, "the header has no columns %s and dwellings", column)
	}
	all, lines = map[string]float64{}, map[string]int{}
	for _, row := range f.rows {
		cell := row.cells[dwellings]
		n, err := strconv.ParseFloat(cell, 64)
		if err != nil || !(n > 0) || math.IsInf(n, 0) {
			return nil, nil, f.fail(row.line, "column dwellings: %q is not a number above 0", cell)
		}
		if strings.Trim(cell, "0123456789") != "" { // 21.250 is most often 21250
			return nil, nil, f.fail(row.line, "column dwellings: %q is not a whole number; write thousands without a mark", cell)
		}
		if n > mostDwellings {
			return nil, nil, f.fail(row.line, "column dwellings: %q are more dwellings than there are people", cell)
		}
		if _, twice := all[row.cells[name]]; twice {
			return nil, nil, f.fail(row.line, "column %s: %q stands there twice", column, row.cells[name])
		}
		all[row.cells[name]], lines[row.cells[name]] = n, row.line
	}
	return all, lines, nil
}

// surveyed is one home of the community.
type surveyed struct {
	name    string
	extra   map[string]string
	home    survey.Home
	raw     survey.Home  // as measured
	mid     time.Time    // the middle of its measurement
	fewDays bool         // of its span too few were measured for most of a year
	in      []int        // the quarters of years that it was measured in, as quarterOf counts them
	test    *survey.Test // when that was, where something was taken to the year
	at      int          // which of the files' homes it is
	zeros   int          // results of zero among its own
	dead    int          // and day means
}

func (p *program) survey(c *cli.Context) error {
	q, err := parseCommunity(c)
	if err != nil {
		return err
	}
	pub, err := p.parsePublish(c)
	if err != nil {
		return err
	}
	format, err := surveyFormat(c)
	if err != nil {
		return err
	}
	var onMap *areaMap
	if format == "geojson" {
		if onMap, err = readMap(c); err != nil {
			return err
		}
	}
	if _, err := plotFormat(c); err != nil {
		return err
	}
	if err := q.loadProfile(); err != nil {
		return err
	}
	in, err := p.readCommunity(c, &q)
	if err != nil {
		return err
	}
	doc := report.Document{
		Command: "survey", Version: version, Levels: q.Levels, Confidence: q.Confidence,
		Settings: slices.Concat(q.communitySettings(), q.drawing.settings(), readingSettings(c)),
		Inputs:   inputs(in.files, notAfter), Beside: slices.Concat(q.beside, q.drawing.beside), Rejects: rejectsFile(c), Notes: slices.Concat(inputNotes(in.files, in.daily, notAfter), in.notes), LeftOut: in.left,
	}
	if in.after > 0 {
		doc.Notes = append(doc.Notes, afterLeftOut(in.after))
	}
	zeros, dead := 0, 0
	for _, s := range in.all {
		zeros, dead = zeros+s.zeros, dead+s.dead
	}
	doc.Notes = append(doc.Notes, zeroNotes(temporal.ZeroLimit, zeros, dead)...)
	if pub != nil {
		return p.publishSurvey(c, q, pub, format, onMap, in)
	}
	var design *designed
	if in.daily != nil {
		if design, err = q.design(in.all, in.daily, in.files); err != nil {
			return err
		}
	}
	if share := q.oneSeason(in.all); share >= mostInASeason {
		doc.Notes = append(doc.Notes, analysis.Note{Code: "one-season", Text: fmt.Sprintf(
			"%.0f %% of the homes were measured in one season: how it differs from the year here is taken from the profile, and an error in that moves all homes alike. Intervals are wider for that, and more homes of this season make them no narrower. Measure homes in other seasons too, or learn the season from homes measured for a year (radonyear season).", 100*share)})
	}
	if err := allBelow(in.raws); err != nil {
		return err
	}
	opt := survey.PosteriorOptions{Options: survey.Options{Confidence: q.Confidence, Areas: in.areas, Covariates: in.covariates}, Levels: q.Levels, Seed: q.seed, Shared: in.shared, Spatial: q.adjacent != nil}
	if q.exceeds > 0 {
		opt.Exceeds = []float64{q.exceeds}
	}
	post, err := survey.Posterior(in.homes, opt)
	if err != nil {
		return modelError(err)
	}
	plain, err := survey.Unpooled(in.raws, q.Levels, q.Confidence)
	if err != nil {
		return err
	}
	everyone := slices.Clone(in.raws)
	for i := range everyone {
		everyone[i].Area = ""
	}
	whole, err := survey.Unpooled(everyone, q.Levels, q.Confidence)
	if err != nil {
		return err
	}
	doc.Notes = append(doc.Notes, shapeWithin(in.homes)...)
	doc.Notes = append(doc.Notes, q.sharesApart(post, plain, whole[0])...)
	doc.Tables = q.surveyTables(post, plain, whole[0], in.shared)
	doc.CSVTable = 2
	doc.After = q.communitySentences(post)
	if design != nil {
		doc.Tables = q.addDesign(doc.Tables, design)
		doc.After = slices.Insert(doc.After, 1, q.designSentences(design)...)
	}
	if onMap != nil {
		return p.emitMap(c, onMap, doc)
	}
	if err := p.emitPlotted(c, doc, format, func() (plot.Figure, error) { return q.communityFigure(in.homes, post), nil }); err != nil {
		return err
	}
	return p.partial(doc)
}

// allBelow is the error of homes that all lie below their limits.
func allBelow(raws []survey.Home) error {
	if !slices.ContainsFunc(raws, func(h survey.Home) bool { return !h.Below }) {
		lowest := slices.MinFunc(raws, func(a, b survey.Home) int { return cmp.Compare(a.Log, b.Log) })
		return hinted{fmt.Errorf("all %d homes lie below their limits, the lowest %s Bq/m³ as measured: no middle can be given, only that", len(raws), report.Number(math.Exp(lowest.Log))), "a more sensitive detector or a longer test would tell"}
	}
	return nil
}

// asBefore says what the figures are of where readings of another phase are left out.
const asBefore = "all figures are of homes without any, as far as they state it"

// afterLeftOut says of how many homes readings were left out for their phase.
func afterLeftOut(homes int) analysis.Note {
	return analysis.Note{Code: "after-left-out", Text: fmt.Sprintf("Of %s the readings from after mitigation were left out: %s.", count(homes, "home"), asBefore)}
}

// modelError says with an error of the model what to do about it.
func modelError(err error) error {
	var few *survey.TooFewError
	var covariate *survey.CovariateError
	switch {
	case errors.As(err, &few) && few.Homes == 1:
		return hinted{err, "measure more homes; radonyear annual judges each by itself"}
	case errors.As(err, &few):
		return hinted{err, "more sensitive detectors or longer tests find values; radonyear annual judges each home by itself"}
	case errors.As(err, &covariate):
		return hinted{err, "--covariates without " + covariate.Name + ", or without one of the others"}
	}
	return err
}

// communityRead is a community as its files have it.
type communityRead struct {
	daily       *ingest.Daily
	files       []ingest.File
	all         []surveyed
	homes, raws []survey.Home // of all
	left        []report.LeftOut
	after       int // homes with readings from after mitigation, left out
	areas       []survey.Area
	shared      *survey.Shared // what the homes' errors have in common; nil: nothing
	covariates  []string       // of the homes, in order
	notes       []analysis.Note
}

// readCommunity reads the files and takes each home to its annual mean.
func (p *program) readCommunity(c *cli.Context, q *communityQuestion) (in communityRead, err error) {
	if some := annualFiles(c.Args().Slice()); some == nil {
		err = p.readTests(c, q, &in)
	} else if len(some) < c.Args().Len() {
		err = usageError{some[0] + " holds annual means, and not all of the other files do", "give either readings or what radonyear annual wrote"}
	} else if q.drawing.asked() {
		err = usageError{"how the homes were drawn stands in no file that radonyear annual wrote", "give the readings, with the columns of the survey's design"}
	} else {
		err = q.readAnnual(c, &in)
	}
	if err != nil {
		return in, err
	}
	if len(in.all) == 0 {
		return in, noResult(in.left, in.files)
	}
	in.raws = make([]survey.Home, len(in.all))
	extra := make([]map[string]string, len(in.all))
	for i, s := range in.all {
		in.raws[i], extra[i] = s.raw, s.extra
	}
	if in.homes, in.shared, err = q.share(in.all); err != nil {
		return in, err
	}
	if in.areas, err = q.areas(in.homes); err != nil {
		return in, err
	}
	var notes, more []analysis.Note
	if in.areas, notes, err = q.withNeighbours(in.areas, in.homes); err != nil {
		return in, err
	}
	in.covariates, more, err = q.describe(in.homes, extra, slices.ContainsFunc(in.files, func(f ingest.File) bool { return f.Decimal == "," }))
	in.notes = slices.Concat(in.notes, notes, more)
	return in, err
}

// readTests reads the homes' readings.
func (p *program) readTests(c *cli.Context, q *communityQuestion, in *communityRead) (err error) {
	var rejected []ingest.RowError
	in.daily, in.files, rejected, err = p.readFiles(c)
	if err := q.drawing.refusedWeight(rejected, err); err != nil {
		return err
	}
	if err := homesNamed(c, in.files); err != nil {
		return err
	}
	for _, n := range q.needs() {
		beside := ""
		if n[0] == "by" {
			beside = "area, or a column"
		}
		if err := hasColumn("--"+n[0], n[1], in.files, beside); err != nil {
			return err
		}
	}
	homes := q.population(in.daily)
	if err := q.settleCourse(homes); err != nil {
		return err
	}
	in.all, in.left = estimateAll(homes, q.home)
	for _, s := range in.all { // homes left out whole are told of as such
		if slices.ContainsFunc(in.daily.Home(s.at, ingest.Filter{}).About, func(a ingest.About) bool { return a.Phase == "after" }) {
			in.after++
		}
	}
	return nil
}

// population are the homes without what was measured after mitigation.
func (q communityQuestion) population(daily *ingest.Daily) population {
	return population{daily.HomeCount(), func(i int) []subject {
		h := daily.Home(i, ingest.Filter{})
		s := subject{place: analysis.Place{Home: h.Name, Area: h.Area}, home: i}
		s.group = h.Area
		if q.by != "area" {
			s.group = h.Extra[q.by]
		}
		var phases []string
		for k, x := range h.Series {
			phases = append(phases, h.About[k].Phase)
			if h.About[k].Phase != "after" {
				s.series = append(s.series, x)
			}
		}
		if slices.Contains(phases, "") && slices.Contains(phases, "after") {
			s.why = unsaidPhase
		}
		switch {
		case len(h.Series) == 0:
			s.why = noField
		case len(s.series) == 0:
			s.why = onlyAfter
		}
		s.extra = h.Extra
		for _, n := range q.needs() {
			if s.why == "" && h.Extra[n[1]] == "" {
				s.why = noSingle(n[1])
			}
		}
		return []subject{s}
	}}
}

// home is a home's annual mean as the model takes it: the middle and the spread of
// its logarithm, or no more than that it lies below a limit.
func (q communityQuestion) home(s subject) (out surveyed, err error) {
	o, ok := ruleMean.reduce(s.series, 0)
	if !ok {
		return surveyed{}, errors.New(failedDetector)
	}
	o.Error = 0 // --test-error says what is counted
	out = surveyed{name: s.place.Home, raw: survey.FromObservation(s.group, o), extra: s.extra, at: s.home}
	out.zeros, out.dead = zerosIn(s.series)
	for _, x := range s.series {
		for i := range x.Len() {
			r := x.At(i)
			out.in = addQuarters(out.in, r.Start.In(x.Zone), r.End.In(x.Zone))
		}
	}
	if q.testError == "none" {
		out.home, out.mid = out.raw, middle(s.series)
		return out, nil
	}
	if q.byColumn() {
		out.home, out.mid = out.raw, middle(s.series)
		out.home.SE, err = statedError(q.testError, s.extra[q.testError])
		return out, err
	}
	opt := q.Options
	opt.Levels = []float64{annual.DefaultLevel}
	r, err := annual.Estimate(s.series, opt)
	if err != nil {
		return out, err
	}
	out.mid = r.Start.Add(r.End.Sub(r.Start) / 2)
	if out.test, err = q.measured(s.series, r); err != nil {
		return out, err
	}
	out.home = survey.Home{Area: s.group, Log: r.LogMedian, SE: r.LogError}
	if belowLimit(r) {
		// What is known is the limit, of these days; the season takes it to the year's.
		limit := r.RawMean
		if limit == 0 {
			limit = temporal.ZeroLimit
		}
		out.home = survey.Home{Area: s.group, Below: true, Log: math.Log(limit * r.SeasonFactor), SE: r.LogError}
	}
	return out, nil
}

// middle is halfway between the first start and the last end.
func middle(series []analysis.Series) time.Time {
	start, end := series[0].At(0).Start, series[0].At(0).End
	for _, s := range series {
		if first := s.At(0).Start; first.Before(start) {
			start = first
		}
		if last := s.At(s.Len() - 1).End; last.After(end) {
			end = last
		}
	}
	return start.Add(end.Sub(start) / 2)
}

// measured says when a home was, for what its error has in common with others'.
func (q communityQuestion) measured(series []analysis.Series, r annual.Result) (*survey.Test, error) {
	seen, _, err := temporal.Observe(series, q.Calibration)
	if err != nil {
		return nil, err
	}
	first, cover := temporal.Covered(seen.Observations)
	return testOf(first, cover, r.LogError*math.Sqrt(survey.WeatherShare(q.Course))), nil
}

// testOf is a test that covered so much of each day from first on.
func testOf(first int, cover []float64, weather float64) *survey.Test {
	t := &survey.Test{Season: make([]float64, temporal.Harmonics), Weather: weather}
	days := 0.0
	for i, c := range cover {
		for k, x := range temporal.Regressors(first + i) {
			t.Season[k] += c * x
		}
		t.Day += c * float64(first+i)
		days += c
	}
	for k := range t.Season {
		t.Season[k] /= days
	}
	t.Day /= days
	t.Rest = max(1-days/temporal.YearDays, 0)
	return t
}

// sharing is what survey.Share is asked.
func (q communityQuestion) sharing(all []surveyed) (homes []survey.Home, tests []*survey.Test, season [][]float64) {
	homes, tests = make([]survey.Home, len(all)), make([]*survey.Test, len(all))
	for i, s := range all {
		homes[i], tests[i] = s.home, s.test
	}
	part := survey.SeasonShare(q.Profile.Homes)
	season = make([][]float64, temporal.Harmonics)
	for i, row := range q.Profile.Season.Cov {
		for _, x := range row {
			season[i] = append(season[i], part*x)
		}
	}
	return homes, tests, season
}

// share takes out of the homes' errors what they have in common.
func (q communityQuestion) share(all []surveyed) ([]survey.Home, *survey.Shared, error) {
	homes, tests, season := q.sharing(all)
	if q.testError != "profile" {
		return homes, nil, nil
	}
	own, shared, err := survey.Share(homes, tests, season)
	return own, &shared, err
}

// areas are those of the homes and of the dwellings file.
func (q communityQuestion) areas(homes []survey.Home) (areas []survey.Area, err error) {
	if q.populations == nil {
		return nil, nil
	}
	var names, missing []string
	for name := range q.populations {
		names = append(names, name)
	}
	for _, h := range homes {
		if _, ok := q.populations[h.Area]; !ok && !slices.Contains(missing, strconv.Quote(h.Area)) {
			missing = append(missing, strconv.Quote(h.Area))
		}
	}
	if missing != nil {
		slices.Sort(missing)
		return nil, hinted{fmt.Errorf("%s has no dwellings of %s", q.populationsFile, strings.Join(missing, ", ")), "name every area of the homes, written alike"}
	}
	slices.Sort(names)
	measured := map[string]int{}
	for _, h := range homes {
		measured[h.Area]++
	}
	for _, name := range names {
		if n := measured[name]; float64(n) > q.populations[name] {
			return nil, hinted{fmt.Errorf("%s gives %s %g dwellings, and %d homes were measured there", q.populationsFile, strconv.Quote(name), q.populations[name], n), "give the dwellings of each area, all of them and not only those measured"}
		}
		areas = append(areas, survey.Area{Name: name, Population: q.populations[name]})
	}
	return areas, nil
}

// shapeWithin says where homes are not log-normal within their areas, as the model takes
// them to be.
func shapeWithin(homes []survey.Home) []analysis.Note {
	shape, ok := survey.ShapeWithin(homes)
	if !ok {
		return nil
	}
	const cure = "within areas, which the model takes them to be: its means and shares rest on that. Hold its shares to those measured, and look at radonyear describe --by area"
	switch shape.Verdict() {
	case lognormal.FarFromLogNormal:
		return []analysis.Note{{Code: "far-from-log-normal", Text: "Homes are far from log-normal " + cure + "."}}
	case lognormal.NotLogNormal:
		return []analysis.Note{{Code: "not-log-normal", Text: "Homes are not log-normal " + cure + "."}}
	}
	return nil
}

// sharesApart says where the modelled share and the one measured do not meet.
func (q communityQuestion) sharesApart(post survey.PosteriorResult, plain []survey.RawArea, whole survey.RawArea) []analysis.Note {
	var apart []string
	add := func(name string, modelled []survey.AboveLevel, counted []survey.RawShare) {
		for i, s := range modelled {
			if i < len(counted) && (s.Share.Upper < counted[i].Share.Lower || counted[i].Share.Upper < s.Share.Lower) {
				apart = append(apart, fmt.Sprintf("%s above %s", name, told(s.Level)))
			}
		}
	}
	if q.populations == nil { // else the modelled one is of dwellings
		add("all homes", post.Community.Above, whole.Above)
	}
	raw := map[string]survey.RawArea{}
	for _, a := range plain {
		raw[a.Area] = a
	}
	for _, a := range post.Areas {
		add(cmp.Or(a.Area, "(none)"), a.Above, raw[a.Area].Above)
	}
	return q.apartNote(apart)
}

// apartNote says of shares above a level, named, that what the model has of them and what
// was measured do not meet.
func (q communityQuestion) apartNote(apart []string) []analysis.Note {
	if apart == nil {
		return nil
	}
	const most = 5
	if n := len(apart) - most; n > 0 {
		apart = append(apart[:most:most], fmt.Sprintf("and %d more", n))
	}
	cure := "A shape that is not log-normal within areas does that, and areas whose homes spread far more or less than others': hold to what was measured."
	if q.testError != "none" {
		cure = "The season and the errors of tests do that, which the model takes off; and so do a shape that is not log-normal within areas, and areas whose homes spread far more or less than others', which it does not expect. Rest nothing on either alone."
	}
	return []analysis.Note{{Code: "shares-apart", Text: "The modelled share and the one measured do not meet: " + strings.Join(apart, ", ") + ". " + cure}}
}

// mostInASeason is from which share of homes in one quarter of the year on it is said
// that all lean on the profile's season.
const mostInASeason = 0.8

// throughYear says that a home was measured through most of a year, and so is of no one season.
func (s surveyed) throughYear() bool {
	return s.test != nil && !s.fewDays && math.Round(temporal.YearDays*(1-s.test.Rest)) >= season.MostOfYear
}

// oneSeason is the largest share of homes whose measurement has its middle within
// any 91 days of the year, and was not of most of a year; 0 where the weather of those
// days is known, or nothing was taken to the year.
func (q communityQuestion) oneSeason(all []surveyed) float64 {
	all = slices.DeleteFunc(slices.Clone(all), func(s surveyed) bool { return s.mid.IsZero() })
	if q.Course || q.testError != "profile" || len(all) < 5 {
		return 0
	}
	const year, quarter = 366, 91
	var n [year]int
	for _, s := range all {
		if !s.throughYear() {
			n[s.mid.YearDay()-1]++
		}
	}
	most, sum := 0, 0
	for i := range quarter {
		sum += n[i]
	}
	for i := range year {
		most = max(most, sum)
		sum += n[(i+quarter)%year] - n[i]
	}
	return float64(most) / float64(len(all))
}

func (q communityQuestion) communitySettings() []report.Field {
	var s []report.Field
	for _, f := range q.settings() {
		if !slices.Contains([]string{"target", "year_from", "phase", "area_prior"}, f.Name) {
			s = append(s, f)
		}
	}
	text := func(x string) any {
		if x == "" {
			return nil
		}
		return x
	}
	var exceeds any
	if q.exceeds > 0 {
		exceeds = q.exceeds
	}
	return append(s, report.Field{Name: "by", Value: q.by}, report.Field{Name: "recruitment", Value: text(q.recruitment)}, report.Field{Name: "test_error", Value: q.testError},
		report.Field{Name: "covariates", Value: append([]string{}, q.covariates...)}, report.Field{Name: "adjacent", Value: text(q.adjacentFile)},
		report.Field{Name: "populations", Value: text(q.populationsFile)}, report.Field{Name: "exceeds", Value: exceeds},
		report.Field{Name: "min_homes", Value: q.minHomes}, report.Field{Name: "seed", Value: int64(q.seed)})
}

// surveyTables are the result, the community and the areas for people, and the areas
// for CSV.
func (q communityQuestion) surveyTables(post survey.PosteriorResult, plain []survey.RawArea, whole survey.RawArea, shared *survey.Shared) []report.Table {
	raw := map[string]survey.RawArea{}
	for _, a := range plain {
		raw[a.Area] = a
	}
	shares := func(above []survey.AboveLevel, counted []survey.RawShare) []any {
		out := []any{}
		for i, s := range above {
			f := []report.Field{{Name: "level", Value: s.Level}, {Name: "share", Value: s.Share}, {Name: "raw_share", Value: nil}, {Name: "raw_above", Value: nil}, {Name: "homes_above", Value: pointed(s.Homes)}}
			if i < len(counted) { // raw_above counts the homes measured themselves, homes_above all dwellings
				n := counted[i]
				f[2].Value = n.Share
				f[3].Value = []report.Field{{Name: "of", Value: "homes measured"}, {Name: "homes", Value: n.Share.N}, {Name: "at_least", Value: n.Above}, {Name: "at_most", Value: n.Above + n.Undecided}}
			}
			for _, e := range s.Exceeds {
				f = append(f, report.Field{Name: "exceeds", Value: []report.Field{{Name: "share", Value: e.Share}, {Name: "probability", Value: e.Probability}}})
			}
			out = append(out, f)
		}
		return out
	}
	c := post.Community
	var population any
	if c.Population > 0 {
		population = c.Population
	}
	community := []report.Field{{Name: "homes", Value: c.Homes}, {Name: "below_limit", Value: post.Below}, {Name: "recruitment", Value: q.recruitment}, {Name: "dwellings", Value: population},
		{Name: "raw_gm", Value: known0(whole.GM)}, {Name: "raw_gsd", Value: known0(whole.GSD)},
		{Name: "gm", Value: c.GM}, {Name: "gsd", Value: c.GSD}, {Name: "am", Value: c.AM}, {Name: "share_above", Value: shares(c.Above, whole.Above)}}
	fixed := []any{}
	for _, t := range post.Fixed {
		fixed = append(fixed, []report.Field{{Name: "term", Value: t.Term}, {Name: "value", Value: t.Value}, {Name: "se", Value: t.SE}})
	}
	var together any
	if shared != nil {
		together = shared.All
	}
	model := []report.Field{{Name: "fixed", Value: fixed}, {Name: "sd_area", Value: post.SDArea}, {Name: "sd_home", Value: post.SDHome}, {Name: "smoothness", Value: pointed(post.Smoothness)}, {Name: "shared_variance", Value: together}, {Name: "loglik", Value: post.LogLik}, {Name: "method", Value: survey.AreaPosterior}}
	areas := []any{}
	head := firstUpper(q.by)
	byArea := report.Table{Title: "By area: annual means as modelled, and the share above the level, modelled and as measured, in percent:", Columns: []report.Column{
		{Key: "area", Style: report.Text}, {Head: head, Style: report.Text}, {Key: "homes", Head: "Homes", Style: report.Count}, {Key: "few", Style: report.Bool},
		{Key: "raw_gm", Style: report.Concentration},
		{Key: "gm", Head: "GM", Style: report.Estimate, Spare: 2}, {Key: "am", Head: "Mean", Style: report.Estimate, Spare: 1},
		{Key: "rank", Style: report.Estimate},
	}}
	for _, l := range q.Levels {
		at := strconv.FormatFloat(l, 'f', -1, 64)
		byArea.Columns = append(byArea.Columns,
			report.Column{Key: "share_above_" + at, Head: ">" + at + "\n%", Style: report.Fraction},
			report.Column{Key: "raw_share_above_" + at, Head: "Raw\n%", Style: report.Fraction, With: true})
		if q.exceeds > 0 {
			byArea.Columns = append(byArea.Columns, report.Column{Key: fmt.Sprintf("p_over_%g_percent_above_%s", round(100*q.exceeds), at), Head: fmt.Sprintf("P>%g%%", round(100*q.exceeds)), Style: report.Probability, With: true})
		}
	}
	byArea.Columns = append(byArea.Columns, report.Column{Key: "dwellings", Style: report.Factor}, report.Column{Key: "recruitment", Style: report.Text})
	recruitment := cmp.Or(q.recruitment, "not stated") // a share goes nowhere without it
	for _, a := range post.Areas {
		r, measured := raw[a.Area]
		var rawGM, dwellings any
		if measured && r.GM > 0 {
			rawGM = r.GM
		}
		if a.Population > 0 {
			dwellings = a.Population
		}
		few := a.Homes < q.minHomes
		areas = append(areas, []report.Field{{Name: "area", Value: a.Area}, {Name: "homes", Value: a.Homes}, {Name: "few_homes", Value: few}, {Name: "dwellings", Value: dwellings},
			{Name: "raw_gm", Value: rawGM}, {Name: "gm", Value: a.GM}, {Name: "am", Value: a.AM}, {Name: "share_above", Value: shares(a.Above, r.Above)}, {Name: "rank", Value: a.Rank}, {Name: "suppressed", Value: false}})
		name := a.Area
		if name == "" {
			name = "(none)"
		}
		notes := a.Notes
		if few {
			lean := "the figures lean on those of the other areas; measure more homes there"
			if len(plain) < 2 { // no other has homes
				lean = "the figures are little known; measure more homes"
			}
			notes = append(slices.Clip(notes), analysis.Note{Code: "few-homes", Text: fmt.Sprintf("fewer than %d homes: %s", q.minHomes, lean)})
		}
		cells := []any{a.Area, name, a.Homes, few, rawGM, a.GM, a.AM, a.Rank}
		for i, s := range a.Above {
			cells = append(cells, s.Share, rawShare(r, i))
			for _, e := range s.Exceeds {
				cells = append(cells, e.Probability)
			}
		}
		byArea.Rows = append(byArea.Rows, report.Row{Label: name, Notes: rowNotes(notes), Cells: append(cells, dwellings, recruitment)})
	}
	result := report.Table{Hidden: true, Columns: []report.Column{{Key: "community", Style: report.Nested}, {Key: "areas", Style: report.Nested}, {Key: "model", Style: report.Nested}},
		Rows: []report.Row{{Cells: []any{community, areas, model}, Notes: rowNotes(post.Notes)}}}
	main := report.Table{Title: "The community, Bq/m³: as measured, and true annual means as modelled:", Columns: []report.Column{
		{Head: "", Key: "", Style: report.Text}, {Head: "Of", Style: report.Text, Words: true}, {Head: "Homes", Style: report.Count}, {Head: "GM", Style: report.Concentration}, {Head: "95 %\ninterval", Style: report.Text, Words: true},
		{Head: "GSD", Style: report.Factor}, {Head: "Mean", Style: report.Estimate}}}
	for _, l := range q.Levels {
		main.Columns = append(main.Columns, report.Column{Head: fmt.Sprintf(">%g\n%%", l), Style: report.Fraction})
	}
	main.Columns[4].Head = fmt.Sprintf("%g %%\ninterval", round(100*q.Confidence))
	measured := []any{"", "measured", c.Homes, nil, "", nil, nil}
	if whole.GM > 0 {
		measured[3] = whole.GM
	}
	if whole.GSD > 0 {
		measured[5] = whole.GSD
	}
	modelled := []any{"", "annual", c.Homes, c.GM.Value, strings.ReplaceAll(report.Interval(c.GM, q.Levels...), " to ", "-"), c.GSD.Value, c.AM}
	for i, s := range c.Above {
		measured = append(measured, whole.Above[i].Share)
		modelled = append(modelled, s.Share)
	}
	main.Rows = []report.Row{{Cells: measured}, {Cells: modelled, Label: "community", Notes: rowNotes(post.Notes)}}
	return []report.Table{result, main, byArea}
}

// rawShare is a cell with a share as counted, empty where nothing was measured.
func rawShare(r survey.RawArea, level int) any {
	if level >= len(r.Above) {
		return nil
	}
	return r.Above[level].Share
}

// exceedsWords says what an area's probability is of.
func exceedsWords(share float64) string {
	return fmt.Sprintf(" P>%g%%: the probability that more than %g %% of the area's homes are above the level.", round(100*share), round(100*share))
}

// recruited says how the homes came into the survey.
var recruited = map[string]string{
	"":          "How the homes were recruited was not stated (--recruitment): shares of homes that someone chose to test are not shares of all homes.",
	"volunteer": "The homes are volunteers': who worries or lives in a known area tests more often, so shares may differ from those of all homes, mostly upward.",
	"random":    "The homes were drawn at random, as --recruitment says.",
	"mixed":     "Some homes were drawn at random and some volunteered, as --recruitment says: shares may differ from those of all homes.",
}

func (q communityQuestion) communitySentences(post survey.PosteriorResult) []string {
	out := []string{recruited[q.recruitment]}
	whose := "Homes as measured in each area."
	if q.populations != nil {
		whose = "Of all dwellings: areas count by their dwellings in " + q.populationsFile + "."
	}
	if q.byColumn() {
		whose += " Raw means were taken for annual ones, with the errors of the column " + q.testError + ", which were taken off the spread between homes."
	} else if q.testError == "profile" {
		whose += " A home's tests were taken to its annual mean with the error that they leave, and that error was taken off the spread between homes."
	} else {
		whose += " Raw means were taken for annual ones (--test-error none), so the spread of short tests is in every figure."
	}
	out = append(out, whose+fmt.Sprintf(" Homes differ within an area by a GSD of %s, areas by %s.", report.Number(math.Exp(post.SDHome.Value)), report.Number(math.Exp(post.SDArea.Value))))
	if q.exceeds > 0 {
		out[len(out)-1] += exceedsWords(q.exceeds)
	}
	if len(post.Fixed) > 1 {
		out = append(out, covariateSentence(post.Fixed, q.Confidence, math.Sqrt2*math.Erfinv(q.Confidence)))
	}
	if s := post.Smoothness; s != nil {
		out = append(out, fmt.Sprintf("Areas resemble their neighbours in %s by %.2g of 0 to 1 (%.2g to %.2g).", q.adjacentFile, s.Value, s.Lower, s.Upper))
	}
	if len(q.Levels) > 0 {
		out = append(out, "The interval of a share as measured is Wilson's, which holds about as often as asked for on average over shares, and for some less; radonyear describe has Clopper and Pearson's, which is as a rule wider. A modelled share's is of the model.")
	}
	for i, s := range q.sentences() {
		if i != 1 && !(q.testError != "profile" && (i == 2 || i == 3)) {
			out = append(out, s)
		}
	}
	return out
}
