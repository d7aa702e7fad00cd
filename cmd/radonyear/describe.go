package main

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/lognormal"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

func (p *program) describeCommand() *cli.Command {
	return &cli.Command{
		Name:      "describe",
		Usage:     "a community of homes: middle, spread, mean, share above a level",
		ArgsUsage: "FILE...",
		Description: `For all homes, or for each area or other group: how many, least and most, the
log-normal fit with intervals, the mean, and the share above each level, both
fitted and counted. A home counts once, by the rule named: its readings are
reduced to one value, and readings from after mitigation are left out. Values
are as measured; --rule says which, and nothing is adjusted for season.

Examples:
  radonyear describe survey.csv --by area --level 200 --level 300
  radonyear describe survey.csv --by floor --column floor=text --outdoor 10
  radonyear describe survey.csv --quantile 95%`,
		Flags: slices.Concat([]cli.Flag{
			&cli.StringFlag{Name: "by", Usage: "`GROUP`: all (default), area, home, or any other column of the file"},
			&cli.StringSliceFlag{Name: "level", Usage: "`LEVEL` to give the share above, Bq/m3 or with a unit; may be repeated"},
			&cli.StringFlag{Name: "rule", Usage: "`RULE` for a home's one value: mean (default) of its rooms, each by time; first, the test that began first; highest, the highest room's mean"},
			&cli.StringFlag{Name: "outdoor", Usage: "outdoor `LEVEL` that every home has at least, Bq/m3 or with a unit: taken off before logarithms (default none)"},
			&cli.StringFlag{Name: "error", Usage: "relative standard uncertainty of each home's value as `PERCENT`, or stated: that of the readings as the files state it; taken off the spread (default none)"},
			&cli.StringFlag{Name: "rounded", Usage: "`STEP` that the files' values were rounded to, Bq/m3 or with a unit: each is then known to lie within half of it (default: as they stand)"},
			&cli.StringSliceFlag{Name: "quantile", Usage: "`SHARE` of the homes, such as 95%, to give the value below which it lies, with its interval and its upper tolerance limit; may be repeated"},
			&cli.StringFlag{Name: "method", Usage: "`METHOD` of the mean's interval where all values are known: land (default), mover, generalized, profile-mean or bca; or of all intervals of the fit: adjusted-likelihood (default where values lie below a limit or have an error) or profile-likelihood"},
			&cli.Uint64Flag{Name: "seed", Usage: "`SEED` of the resampling of --method bca (default 1)", Value: 1},
			confidenceFlag(""),
			phaseFlag(" (default: all but after)"),
			&cli.BoolFlag{Name: "points", Usage: "keep the points of each group's probability plot in the JSON result"},
			plotFlag("each group's log-normal probability plot"),
		}, publishFlags(), readingFlags(), outputFlags()),
		Action: p.describe,
	}
}

// rule reduces a home's readings to one value.
type rule string

// The rules of --rule.
const (
	ruleMean    rule = "mean"
	ruleFirst   rule = "first"
	ruleHighest rule = "highest"
)

// words say a rule in the output.
func (r rule) words() string {
	switch r {
	case ruleFirst:
		return "the test that began first"
	case ruleHighest:
		return "the mean of its highest room"
	}
	return "the mean of its rooms, each room's readings weighted by time"
}

// surveyQuestion is what the options of describe ask.
type surveyQuestion struct {
	by      string
	levels  []float64
	rule    rule
	outdoor float64
	error   float64 // as a log standard deviation
	relErr  float64
	stated  bool    // each home's own, as its readings state it
	rounded float64 // Bq/m³, the step of the files' values; 0: taken as they stand
	method  string
	seed    uint64
	opt     lognormal.DescribeOptions
	phase   string
	points  bool
}

func parseSurvey(c *cli.Context) (q surveyQuestion, err error) {
	q.by, q.rule, q.method, q.seed, q.points = c.String("by"), rule(c.String("rule")), c.String("method"), c.Uint64("seed"), c.Bool("points")
	if q.by == "" {
		q.by = "all"
	}
	if c.IsSet("level") { // this command has no default level: it judges nobody
		if q.levels, _, err = parseLevels(c); err != nil {
			return q, err
		}
	}
	switch q.rule {
	case "":
		q.rule = ruleMean
	case ruleMean, ruleFirst, ruleHighest:
	default:
		return q, usageError{fmt.Sprintf("unknown rule %q", q.rule), "--rule mean, first or highest"}
	}
	if q.by == "home" && c.IsSet("rule") {
		return q, usageError{"--rule says how a home becomes one value, and --by home keeps its readings", "leave out one of the two"}
	}
	if text := c.String("outdoor"); text != "" {
		if q.outdoor, err = parseConcentration(text, "Bq/m3"); err != nil || !(q.outdoor > 0) {
			return q, usageError{fmt.Sprintf("--outdoor %q is not a concentration", text), "--outdoor 10, in Bq/m3"}
		}
	}
	if text := c.String("error"); text == "stated" {
		q.stated = true
	} else if text != "" {
		if q.relErr, err = parseRelative(text); err != nil || !(q.relErr > 0 && q.relErr < 1) {
			return q, usageError{fmt.Sprintf("--error %q is not a percentage between 0 and 100", text), percentMeant("error", text, "10%") + ", or --error stated for what the files state"}
		}
		q.error = lognormal.LogError(q.relErr)
	}
	if text := c.String("rounded"); text != "" {
		if q.rounded, err = parseConcentration(text, "Bq/m3"); err != nil || !(q.rounded > 0) {
			return q, usageError{fmt.Sprintf("--rounded %q is not a step above zero", text), "--rounded 10, in Bq/m3, or --rounded 0.1pCi/L"}
		}
	}
	switch q.method {
	case string(lognormal.Auto), string(lognormal.Land), string(lognormal.MOVER), string(lognormal.Generalized), string(lognormal.Profile):
		q.opt.Mean = lognormal.MeanMethod(q.method)
	case string(lognormal.AdjustedLikelihood), string(lognormal.ProfileLikelihood):
		q.opt.Method = lognormal.FitMethod(q.method)
	case "bca":
	default:
		return q, usageError{fmt.Sprintf("unknown method %q", q.method), "--method land, mover, generalized, profile-mean, bca, adjusted-likelihood or profile-likelihood"}
	}
	if q.by == "home" && q.method != "" {
		return q, usageError{"--method is of an interval, and readings of one home that resemble their neighbours have none by it", "leave out one of --by home and --method; radonyear mean has intervals for a home's readings"}
	}
	if q.method != "" && q.opt.Method == "" && (q.error > 0 || q.stated) {
		return q, usageError{"--method " + q.method + " takes values that are known exactly, and --error says that none is", "leave out one of the two"}
	}
	if q.method != "" && q.opt.Method == "" && q.rounded > 0 {
		return q, usageError{"--method " + q.method + " takes values that are known exactly, and --rounded says that none is", "leave out one of the two"}
	}
	if c.IsSet("seed") && q.method != "bca" {
		return q, usageError{"--seed is for --method bca: nothing else is random", "leave out --seed"}
	}
	for _, text := range c.StringSlice("quantile") {
		p, err := parseRelative(text)
		if err != nil || !(p > 0) {
			return q, usageError{fmt.Sprintf("--quantile %q is not a share between 0 and 100 %%", text), percentMeant("quantile", text, "95%, or 0.95")}
		}
		if !slices.Contains(q.opt.Quantiles, p) {
			q.opt.Quantiles = append(q.opt.Quantiles, p)
		}
	}
	slices.Sort(q.opt.Quantiles)
	// A home's readings resemble each other, which no test of shape can bear.
	q.opt.Levels, q.opt.Outdoor, q.opt.Shape = q.levels, q.outdoor, q.by != "home" || q.points
	if q.opt.Confidence, err = parseConfidence(c); err != nil {
		return q, err
	}
	for _, l := range q.levels {
		if l <= q.outdoor {
			return q, usageError{fmt.Sprintf("level %g is not above the outdoor %g Bq/m3, which every home has", l, q.outdoor), "a higher --level or a lower --outdoor"}
		}
	}
	q.phase, err = parsePhase(c)
	return q, err
}

// errorSetting is --error as a setting: a share, or "stated".
func (q surveyQuestion) errorSetting() any {
	if q.stated {
		return "stated"
	}
	return q.relErr
}

// methodSetting is --method as a setting, or what is taken without it.
func (q surveyQuestion) methodSetting() string {
	switch {
	case q.method != "" || q.by == "home": // whose readings have no interval by any
		return q.method
	case q.error > 0 || q.rounded > 0:
		return string(lognormal.AdjustedLikelihood)
	}
	return fmt.Sprintf("%s or %s", lognormal.Land, lognormal.AdjustedLikelihood) // as values are known or not
}

func (q surveyQuestion) settings() []report.Field {
	return []report.Field{
		{Name: "by", Value: q.by}, {Name: "levels", Value: append([]float64{}, q.levels...)}, {Name: "level_unit", Value: "Bq/m3"},
		{Name: "rule", Value: string(q.rule)}, {Name: "outdoor", Value: q.outdoor}, {Name: "error", Value: q.errorSetting()}, {Name: "rounded", Value: q.rounded},
		{Name: "quantiles", Value: append([]float64{}, q.opt.Quantiles...)}, {Name: "method", Value: q.methodSetting()}, {Name: "seed", Value: int64(q.seed)}, {Name: "confidence", Value: q.opt.Confidence},
		{Name: "phase", Value: q.phase},
	}
}

// group is the homes that are described together.
type group struct {
	name string
	obs  []lognormal.Observation
}

func (p *program) describe(c *cli.Context) error {
	q, err := parseSurvey(c)
	if err != nil {
		return err
	}
	pub, err := p.parsePublish(c)
	if err != nil {
		return err
	}
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	if _, err := plotFormat(c); err != nil {
		return err
	}
	daily, files, _, err := p.readFiles(c)
	if err != nil {
		return err
	}
	if q.by != "home" {
		if err := homesNamed(c, files); err != nil {
			return err
		}
	}
	if err := q.hasGroup(files); err != nil {
		return err
	}
	all := q.groups(daily)
	if pub != nil {
		return p.publishDescription(c, q, pub, format, all, files)
	}
	groups := all.groups
	doc := report.Document{
		Command: "describe", Version: version,
		Settings: slices.Concat(q.settings(), readingSettings(c)),
		Inputs:   inputs(files, orNotAfter(q.phase)), Rejects: rejectsFile(c),
		Notes: append(inputNotes(files, daily, orNotAfter(q.phase)), all.notes(q)...), LeftOut: all.left,
		Levels: q.levels, Confidence: q.opt.Confidence,
	}
	descriptions := make([]lognormal.Description, len(groups))
	failed := make([]error, len(groups))
	each(len(groups), func(i int) { descriptions[i], failed[i] = q.describeOne(groups[i].obs) })
	var kept []group
	var results []lognormal.Description
	for i, err := range failed {
		if err != nil {
			doc.LeftOut = append(doc.LeftOut, report.LeftOut{Place: analysis.Place{Home: groups[i].name}, Why: err.Error()})
			continue
		}
		kept, results = append(kept, groups[i]), append(results, descriptions[i])
	}
	if len(results) == 0 {
		return noResult(doc.LeftOut, files)
	}
	doc.Tables = q.tables(kept, results)
	doc.After = slices.Concat(q.shareIntervals(), q.sentences())
	if err := p.emitPlotted(c, doc, format, func() (plot.Figure, error) { return q.ranksFigure(kept, results) }); err != nil {
		return err
	}
	return p.partial(doc)
}

// fitted is a group as a fit takes it: with errors of limits too.
func (q surveyQuestion) fitted(obs []lognormal.Observation) []lognormal.Observation {
	if q.stated {
		return lognormal.LimitErrors(obs)
	}
	return obs
}

// describeOne is Describe, with the mean by resampling where that was asked for.
func (q surveyQuestion) describeOne(obs []lognormal.Observation) (lognormal.Description, error) {
	obs = q.fitted(obs)
	d, err := lognormal.Describe(obs, q.opt)
	if errors.Is(err, lognormal.ErrNotComplete) {
		q.opt.Mean = lognormal.Auto
		if d, err = lognormal.Describe(obs, q.opt); err == nil && d.Fit != nil {
			so := "a mean would be by likelihood, which gives none here"
			if d.Fit.Mean != nil {
				so = "the mean is by likelihood"
			}
			d.Notes = append(d.Notes, analysis.Note{Code: "method-not-taken", Text: fmt.Sprintf("--method %s takes values that are known; some lie below a limit or within the outdoor level, so %s", q.method, so)})
		}
	}
	if err != nil || q.method != "bca" {
		return d, err
	}
	if d.Fit == nil {
		d.Notes = append(d.Notes, analysis.Note{Code: "no-bca", Text: "there is no fit for a mean by resampling to stand beside, so none is given"})
		return d, nil
	}
	var values []float64
	for _, o := range obs {
		if o.Lower != o.Upper {
			d.Notes = append(d.Notes, analysis.Note{Code: "no-bca", Text: "resampling takes values that are known; some lie below a limit, so the mean is by likelihood"})
			return d, nil
		}
		values = append(values, o.Lower)
	}
	r, err := lognormal.BCa(values, lognormal.BCaOptions{Confidence: q.opt.Confidence, Seed: q.seed})
	if err != nil {
		d.Notes = append(d.Notes, analysis.Note{Code: "no-bca", Text: err.Error()})
		return d, nil
	}
	d.Fit.Mean = &r.Mean
	d.Notes = slices.DeleteFunc(d.Notes, func(n analysis.Note) bool { // of the mean that it stands in place of
		return n.Code == "no-mean" || n.Code == "mean-at-least" || n.Code == "mean-above-values"
	})
	d.Notes = append(d.Notes, r.Mean.Notes...)
	return d, nil
}

// hasGroup is an error where no file has the column to group by.
func (q surveyQuestion) hasGroup(files []ingest.File) error {
	switch q.by {
	case "all", "area", "home":
		return nil
	}
	return hasColumn("--by", q.by, files, "area, home, or a column")
}

// hasColumn is an error where in no file the column that an option names rides along;
// beside says what else the option takes.
func hasColumn(option, column string, files []ingest.File, beside string) error {
	var names []string
	for _, f := range files {
		for _, name := range f.ColumnsExtra {
			if name == column {
				return nil
			}
			if !slices.Contains(names, name) {
				names = append(names, name)
			}
		}
	}
	for _, f := range files {
		for _, role := range slices.Sorted(maps.Keys(f.ColumnsFound)) {
			if f.ColumnsFound[role] == column {
				return usageError{fmt.Sprintf("%s %s: %s reads that column as %s", option, column, f.Path, role), "--column " + column + "=text lets it ride along"}
			}
		}
	}
	hint := "no other column rides along; --column NAME=text makes one"
	if len(names) > 0 {
		hint = "the other columns are " + strings.Join(names, ", ")
	}
	if beside != "" {
		hint = fmt.Sprintf("%s %s; %s", option, beside, hint)
	}
	return usageError{fmt.Sprintf("%s %s: no file has such a column", option, column), hint}
}

// Why a home brings nothing to its group.
const (
	onlyAfter      = "only readings from after mitigation"
	failedDetector = "every reading is zero, which is a detector that failed"
)

// reduced is what a home brings to its group.
type reduced struct {
	name  string // of the group
	obs   []lognormal.Observation
	place analysis.Place
	after bool   // readings from after mitigation were left out
	zeros int    // results of zero
	dead  int    // day means of zero
	mixed bool   // some days have hours below the detector's limit among others
	off   int    // results that are no multiple of the step that --rounded says
	error bool   // an uncertainty is stated
	why   string // not empty if it brings nothing
	none  bool   // the filter left nothing of it
}

// grouped is what the homes come to, and of how many of them there is something to say.
type grouped struct {
	groups                                   []group
	left                                     []report.LeftOut
	homes, after, zeros, dead, errors, mixed int // zeros and dead of readings
	zeroHomes, deadHomes, off                int
}

// notes say what was done with readings of another kind.
func (g grouped) notes(q surveyQuestion) (notes []analysis.Note) {
	add := func(code, format string, args ...any) {
		notes = append(notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	if g.after > 0 {
		add("after-left-out", "Of %s the readings from after mitigation were left out; --phase after describes those.", count(g.after, "home"))
	}
	notes = append(notes, zeroNotes(max(temporal.ZeroLimit, q.rounded/2), g.zeros, g.dead)...)
	if g.off > 0 {
		add("not-rounded", "--rounded says that values are multiples of %.6g Bq/m³, and %s: they were taken as within half of that all the same. Give the step that they have.", q.rounded, are(g.off, "result"))
	}
	if q.rounded > 0 && q.by != "home" {
		add("exact-only", "With --rounded no verdict on the shape is given and, where some values lie below limits, no mean by order statistics: both take values as they stand, and each is known here to lie between bounds. Leave out --rounded to see them.")
	}
	if g.mixed > 0 {
		add("mixed-limit-days", "Days of %s have hours below the detector's limit among others: for those hours half of the limit counts%s. A more sensitive detector would tell.", count(g.mixed, "home"), q.mixedDoubt())
	}
	but := "" // what is taken off all the same
	if g.mixed > 0 {
		but = " but that of days with hours below the limit"
	}
	switch {
	case g.errors == 0 && q.stated:
		add("no-error-stated", "No file states an uncertainty of a reading, so --error stated takes none off%s.", but)
	case g.errors < g.homes && q.stated:
		add("no-error-stated", "An uncertainty is stated for %d of %s; of the others' values none is taken off%s.", g.errors, count(g.homes, "home"), but)
	case g.errors > 0 && q.error == 0 && !q.stated:
		add("errors-not-counted", "The uncertainty stated for readings of %s is not counted, so that the spread is that of the values as measured, errors and all; --error stated takes it off.", count(g.errors, "home"))
	}
	return notes
}

// mixedDoubt says of days with hours below a limit, where it is so, that how far their means
// may be off is not counted: it is their uncertainty, which --error stated takes off.
func (q surveyQuestion) mixedDoubt() string {
	if q.stated || q.by == "home" {
		return ""
	}
	return ", and the intervals count nothing for that"
}

// groups reduces each home to its value, and gathers the homes.
func (q surveyQuestion) groups(daily *ingest.Daily) (all grouped) {
	homes := make([]reduced, daily.HomeCount())
	each(len(homes), func(i int) { homes[i] = q.home(daily.Home(i, ingest.Filter{Phase: q.phase})) })
	at := map[string]int{}
	for _, h := range homes {
		if h.none {
			continue
		}
		all.zeros, all.off = all.zeros+h.zeros, all.off+h.off
		if h.zeros > 0 {
			all.zeroHomes++
		}
		if h.why != "" {
			all.left = append(all.left, report.LeftOut{Place: h.place, Why: h.why})
			continue
		}
		all.homes++
		if h.after { // homes left out whole are told of as such
			all.after++
		}
		all.dead += h.dead // a home without another reading is left out, and that says why
		if h.dead > 0 {
			all.deadHomes++
		}
		if h.error {
			all.errors++
		}
		if h.mixed {
			all.mixed++
		}
		i, ok := at[h.name]
		if !ok {
			i = len(all.groups)
			at[h.name] = i
			all.groups = append(all.groups, group{name: h.name})
		}
		all.groups[i].obs = append(all.groups[i].obs, h.obs...)
	}
	sort.SliceStable(all.groups, func(i, j int) bool { return all.groups[i].name < all.groups[j].name })
	return all
}

func (q surveyQuestion) home(h ingest.Home) reduced {
	r := reduced{place: analysis.Place{Home: h.Name, Area: h.Area}, none: len(h.Series) == 0}
	var kept []analysis.Series
	unsaid := false // of which phase some are
	for k, s := range h.Series {
		if q.phase == "" && h.About[k].Phase == "after" {
			continue
		}
		kept = append(kept, s)
		unsaid = unsaid || h.About[k].Phase == ""
		uncertain := false // nothing is taken off where a reading of each day states none
		for i := range s.Len() {
			uncertain = uncertain || s.At(i).Uncertainty > 0
		}
		r.mixed = r.mixed || h.About[k].Mixed > 0
		r.error = r.error || h.About[k].Stated && uncertain
		r.off += q.unrounded(s)
	}
	r.after = len(kept) < len(h.Series)
	r.zeros, r.dead = zerosIn(kept)
	switch q.by {
	case "all":
	case "area":
		r.name = h.Area
	case "home":
		r.name = h.Name
	default:
		r.name = h.Extra[q.by]
	}
	switch o, ok := q.rule.reduce(kept, q.rounded); {
	case len(kept) == 0:
		r.why = onlyAfter
	case r.after && unsaid:
		r.why = unsaidPhase
	case slices.Contains(h.Differs, q.by):
		r.why = noSingle(q.by)
	case !ok:
		r.why = failedDetector
	case q.by == "home":
		r.obs = readingsOf(kept, q.rounded)
	default:
		r.obs = []lognormal.Observation{o}
	}
	for i := range r.obs {
		if !q.stated {
			r.obs[i].Error = q.error
		}
	}
	return r
}

// zerosIn counts the results of zero, which known takes as below a limit, and the day
// means of zero, which it leaves out.
func zerosIn(series []analysis.Series) (results, days int) {
	for _, s := range series {
		for i := range s.Len() {
			switch r := s.At(i); {
			case temporal.Dead(r):
				days++
			case temporal.Zero(r):
				results++
			}
		}
	}
	return results, days
}

// unrounded counts the results that are no multiple of the step that --rounded says. Means
// of days need not be.
func (q surveyQuestion) unrounded(s analysis.Series) (n int) {
	for i := range s.Len() {
		if r := s.At(i); q.rounded > 0 && !r.OfADay() && !r.BelowLimit {
			if steps := r.Concentration / q.rounded; math.Abs(steps-math.Round(steps)) > 1e-6 {
				n++
			}
		}
	}
	return n
}

// are is how many of them are not.
func are(n int, of string) string {
	if n == 1 {
		return "1 " + of + " is not"
	}
	return fmt.Sprintf("%d %ss are not", n, of)
}

// zeroNotes say how many there are, and below which limit, Bq/m³, they were taken to be.
func zeroNotes(limit float64, results, days int) (notes []analysis.Note) {
	if results > 0 {
		text := fmt.Sprintf("%d results of zero or next to nothing were taken as below %g Bq/m³: ask whether those detectors worked, for there is some radon in every home.", results, limit)
		if results == 1 {
			text = fmt.Sprintf("One result of zero or next to nothing was taken as below %g Bq/m³: ask whether that detector worked, for there is some radon in every home.", limit)
		}
		notes = append(notes, analysis.Note{Code: zeroResult, Text: text})
	}
	if days > 0 {
		n := temporal.DeadNote(days)
		n.Text += "."
		notes = append(notes, n)
	}
	return notes
}

// noSingle is why a home is in no group of a column's.
func noSingle(column string) string {
	return fmt.Sprintf("no single %s in all of its rows", column)
}

// known is a reading, rounded to a step if that is above 0, as bounds on a concentration;
// ok is false where it is a detector that failed.
func known(r analysis.Reading, step float64) (lower, upper float64, ok bool) {
	switch {
	case temporal.Dead(r):
		return 0, 0, false
	case r.BelowLimit:
		return 0, r.Concentration, true
	case temporal.Zero(r):
		return 0, max(temporal.ZeroLimit, step/2), true
	}
	o := lognormal.Rounded(r.Concentration, step)
	return o.Lower, o.Upper, true
}

func readingsOf(series []analysis.Series, step float64) (obs []lognormal.Observation) {
	for _, s := range series {
		for i := range s.Len() {
			lower, upper, ok := known(s.At(i), step)
			switch {
			case ok && lower == upper:
				obs = append(obs, lognormal.FromReading(s.At(i), true))
			case ok:
				obs = append(obs, withError(lower, upper, s.At(i).Uncertainty))
			}
		}
	}
	return obs
}

// bounds gathers a mean of readings weighted by time, of which some may be known
// only to lie below a limit: then the mean lies between two numbers. Stated errors of
// one detector go the same way and add up; those of several add up in squares.
type bounds struct {
	step                 float64 // of rounding; 0: none
	lower, upper, weight float64
	error                float64 // of the detector in hand, weighted
	squares              float64 // of those before
}

// next ends a detector's readings.
func (b *bounds) next() { b.squares, b.error = b.squares+b.error*b.error, 0 }

func (b *bounds) add(r analysis.Reading) {
	lower, upper, ok := known(r, b.step)
	if !ok {
		return
	}
	w := r.Days()
	if r.Share > 0 {
		w *= r.Share
	}
	b.lower, b.upper, b.weight, b.error = b.lower+w*lower, b.upper+w*upper, b.weight+w, b.error+w*r.Uncertainty
}

// mean is the mean and the standard uncertainty of what was added.
func (b *bounds) mean() (lower, upper, u float64) {
	b.next()
	return b.lower / b.weight, b.upper / b.weight, math.Sqrt(b.squares) / b.weight
}

// withError is a value between two others with this standard uncertainty; that of a
// value below a limit is as large in relation to the limit.
func withError(lower, upper, u float64) lognormal.Observation {
	o := lognormal.Between(lower, upper)
	at := upper
	if lower > 0 {
		at = lower + (upper-lower)/2
	}
	o.Error = lognormal.LogError(u / at)
	return o
}

// reduce is a home's one value, of readings rounded to a step if that is above 0, with the
// error that its readings state; ok is false where no reading can be used.
func (r rule) reduce(series []analysis.Series, step float64) (o lognormal.Observation, ok bool) {
	if r == ruleFirst {
		return first(series, step)
	}
	rooms := map[string]*bounds{}
	var names []string
	for _, s := range series {
		b := rooms[s.Room]
		if b == nil {
			b = &bounds{step: step}
			rooms[s.Room] = b
			names = append(names, s.Room)
		}
		for i := range s.Len() {
			b.add(s.At(i))
		}
		b.next()
	}
	slices.Sort(names) // so that the sum has one order
	n, lowest, highest, squares := 0.0, 0.0, 0.0, 0.0
	for _, name := range names {
		b := rooms[name]
		if b.weight == 0 {
			continue
		}
		lower, upper, u := b.mean()
		if r == ruleHighest {
			// Of two rooms in doubt, the highest lies no lower than either.
			if upper > highest {
				squares = u * u
			}
			lowest, highest, n = max(lowest, lower), max(highest, upper), 1
			continue
		}
		lowest, highest, squares, n = lowest+lower, highest+upper, squares+u*u, n+1
	}
	if n == 0 {
		return o, false
	}
	return withError(lowest/n, highest/n, math.Sqrt(squares)/n), true
}

// first is the value of the test that began first: an integrating result, or all
// day means of that detector. Of several that began together, the lowest room and
// detector by name.
func first(series []analysis.Series, step float64) (o lognormal.Observation, ok bool) {
	var begin time.Time
	for _, s := range series {
		b := bounds{step: step}
		var start time.Time
		for i := range s.Len() {
			r := s.At(i)
			if _, _, usable := known(r, step); !usable || b.weight > 0 && !r.OfADay() {
				continue
			}
			if b.weight == 0 {
				start = r.Start
			}
			b.add(r)
			if !r.OfADay() {
				break
			}
		}
		if b.weight > 0 && (!ok || start.Before(begin)) {
			begin, o, ok = start, withError(b.mean()), true
		}
	}
	return o, ok
}

// shareIntervals name the intervals of the shares, which survey's counted ones do not have.
func (q surveyQuestion) shareIntervals() []string {
	if len(q.levels) == 0 || q.by == "home" {
		return nil
	}
	return []string{"The interval of a counted share is Clopper and Pearson's, which holds as often as asked for or more, whatever the shape of the distribution, and so is as a rule wider than Wilson's, which radonyear survey has; a fitted share's is of the log-normal fit."}
}

func (q surveyQuestion) sentences() []string {
	var s []string
	if q.by == "home" {
		s = append(s, "Each home's readings as they stand: day means and results.")
	} else {
		s = append(s, fmt.Sprintf("A home counts once, as %s (--rule %s). Nothing is adjusted for season: radonyear annual does that, and the spread between short tests is wider than that between homes' years.", q.rule.words(), q.rule))
	}
	if q.outdoor > 0 {
		s = append(s, fmt.Sprintf("An outdoor level of %g Bq/m³ was taken off before logarithms; GM and GSD are of the excess over it, everything else of the whole.", q.outdoor))
	}
	if q.relErr > 0 {
		s = append(s, fmt.Sprintf("A relative standard uncertainty of %g %% of each value was taken off the spread.", round(100*q.relErr)))
	}
	if q.stated {
		s = append(s, "The standard uncertainty that the files state was taken off the spread: that of one detector's readings as if they all erred alike, that of several as if each erred by itself. A limit without one errs as the values do that have one.")
	}
	if q.rounded > 0 {
		s = append(s, fmt.Sprintf("The files' values were taken as rounded to %.6g Bq/m³: each lies within half of that on either side, and so does a mean of several.", q.rounded))
	}
	if len(q.opt.Quantiles) > 0 && q.by != "home" {
		s = append(s, fmt.Sprintf("Tolerance limit: at least the share lies below it, with %g %% confidence.", round(100*q.opt.Confidence)))
	}
	if q.by != "home" && q.rounded == 0 { // of rounded ones it is not said
		s = append(s, "How log-normal values look is information and no gate: few values show nothing, many show something always.")
	}
	return append(s,
		"A sample speaks for the homes it was drawn from. "+caution)
}
