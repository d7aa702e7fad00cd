package main

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis/annual"
	"radonyear/analysis/plan"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

func (p *program) planCommand() *cli.Command {
	return &cli.Command{
		Name:      "plan",
		Usage:     "how many homes, or days, before anyone measures",
		ArgsUsage: "QUESTION",
		Description: `QUESTION is one of
  share      homes for a share above a level within a margin
  gm         homes for a geometric mean within a relative margin
  mean       homes for an arithmetic mean within a relative margin
  days       days for a test that settles on which side of a level a home lies
  reduction  homes, and days, that show that mitigation worked
  hot        homes in each area that find the areas with too many above a level
  find       homes of a building that find one above a level, if there is one
Each is answered for the intervals and verdicts that this program gives, beside
the formula of the textbooks, and says what it takes for granted. Each has some
of the options below; one that it has no use for is refused.

Examples:
  radonyear plan share --share 10% --margin 5% --areas 12
  radonyear plan mean --gsd 2.5 --margin 20%
  radonyear plan days --expect 120 --level 200 --month November
  radonyear plan reduction --reduction 80% --at-least 50% --homes 10
  radonyear plan hot --share 30% --normal 10%
  radonyear plan find --share 5% --units 20 --plot homes.svg`,
		Flags: slices.Concat([]cli.Flag{
			&cli.StringFlag{Name: "share", Usage: "`SHARE` of homes above the level that is expected; of a hot area, for hot; 10%, 0.1 or 1/10"},
			&cli.StringFlag{Name: "gm", Usage: "geometric mean of homes, `GM` in Bq/m3, in place of --share or --expect, with --gsd"},
			&cli.StringFlag{Name: "gsd", Usage: "geometric standard deviation, `GSD`, of homes"},
			&cli.StringFlag{Name: "level", Usage: fmt.Sprintf("`LEVEL`, Bq/m3 or with a unit (default %g)", annual.DefaultLevel)},
			&cli.StringFlag{Name: "margin", Usage: "`MARGIN`: of a share in percentage points, half the interval; of a mean relative to it, 20% being a factor of 1.2 either way"},
			&cli.StringFlag{Name: "relative-margin", Usage: "`MARGIN` of a share relative to it, in place of --margin"},
			confidenceFlag(" and, for days, certainty a verdict needs"),
			&cli.StringFlag{Name: "assurance", Usage: "`PROBABILITY` that the interval turns out no wider than asked (default 90%)"},
			&cli.StringFlag{Name: "power", Usage: "`PROBABILITY` of the right verdict, of showing the reduction, of flagging a hot area (default 80%)"},
			&cli.IntFlag{Name: "areas", Usage: "`N` areas, each with its own answer (default 1)"},
			&cli.StringFlag{Name: "simultaneous", Usage: "`HOW` the areas' answers hold all at once: bonferroni (default), sidak, or apart, each for itself"},
			&cli.IntFlag{Name: "dwellings", Usage: "`N` dwellings in an area, where they are so few that it matters"},
			&cli.StringFlag{Name: "design-effect", Usage: "`FACTOR` on the variance of homes drawn in clusters or with weights (default 1)"},
			&cli.IntFlag{Name: "homes", Usage: "what would `N` homes do?"},
			&cli.StringFlag{Name: "expect", Usage: "annual `MEAN` expected of the home, Bq/m3 or with a unit"},
			&cli.StringFlag{Name: "month", Usage: "`MONTH` in which the test starts: January, jan or 1 (default: of days, the worst of all; of reduction, January)"},
			&cli.StringFlag{Name: "detector", Usage: "`KIND`: monitor, with day means (default), or passive, with one result"},
			&cli.StringFlag{Name: "target", Usage: "`TARGET`: this-year (default) or long-run"},
			&cli.StringFlag{Name: "reduction", Usage: "`REDUCTION` expected, as 80%"},
			&cli.StringFlag{Name: "at-least", Usage: "smallest `REDUCTION` that is to be shown (default: any)"},
			&cli.IntFlag{Name: "days-before", Usage: "`DAYS` measured before (default 7)"},
			&cli.IntFlag{Name: "days-after", Usage: "`DAYS` measured after (default 7)"},
			&cli.StringFlag{Name: "month-after", Usage: "`MONTH` in which the second measurement starts (default: right after the first)"},
			&cli.StringFlag{Name: "between", Usage: fmt.Sprintf("`GSD` of what a system leaves in one home and in another (default %.3g)", math.Exp(plan.BetweenHomes))},
			&cli.StringFlag{Name: "normal", Usage: "`SHARE` of homes above the level in a normal area"},
			&cli.StringFlag{Name: "false", Usage: "`PROBABILITY` that a normal area, any one of several, is flagged (default 5%)"},
			&cli.IntFlag{Name: "units", Usage: "`N` homes in the building or block (default: very many)"},
			&cli.IntFlag{Name: "above", Usage: "`N` of them above the level, in place of --share"},
			profileFlag(builtInProfile),
			&cli.StringFlag{Name: "hemisphere", Usage: "`HALF` of the globe, north (default) or south, for the built-in profile"},
			&cli.StringFlag{Name: "calibration", Usage: "standard `UNCERTAINTY` that all readings of one detector share, as 4% (default 5%)"},
			plotFlag("what more or fewer homes, or days, bring"),
		}, outputFlags()),
		Action: p.plan,
	}
}

// planQuestions are the questions, with the options that each has a use for.
var planQuestions = map[string]struct {
	example string
	options string
	ask     func(*planner) error
}{
	"share":     {"--share 10% --margin 5%", "share gm gsd level margin relative-margin confidence assurance areas simultaneous dwellings design-effect homes", (*planner).share},
	"gm":        {"--gsd 2.3 --margin 20%", "gsd margin confidence assurance areas simultaneous dwellings design-effect homes", (*planner).means},
	"mean":      {"--gsd 2.3 --margin 20%", "gsd margin confidence assurance areas simultaneous dwellings design-effect homes", (*planner).means},
	"days":      {"--expect 120 --level 200", "expect gm gsd level month detector target confidence power profile hemisphere calibration", (*planner).days},
	"reduction": {"--reduction 80% --at-least 50% --homes 10", "reduction at-least days-before days-after month month-after between detector homes confidence power profile hemisphere calibration", (*planner).reduction},
	"hot":       {"--share 30% --normal 10%", "share normal power false areas simultaneous homes", (*planner).hot},
	"find":      {"--share 5% --units 20", "share units above homes confidence", (*planner).find},
}

// planner answers one question.
type planner struct {
	*cli.Context
	question    string
	doc         report.Document
	assumptions []string
	foremost    string             // of them, what a picture says as well
	figure      func() plot.Figure // of the answer
}

func (p *program) plan(c *cli.Context) error {
	const questions = "share, gm, mean, days, reduction, hot or find"
	name := c.Args().First()
	q, ok := planQuestions[name]
	switch {
	case name == "":
		return usageError{"plan takes a question", "radonyear plan QUESTION, which is " + questions}
	case !ok:
		hint := "a question is " + questions
		for _, other := range slices.Sorted(maps.Keys(planQuestions)) {
			if near(other, name) {
				hint = "did you mean radonyear plan " + other + "?"
			}
		}
		return usageError{fmt.Sprintf("plan knows no question %q", name), hint}
	case c.Args().Len() > 1:
		return usageError{fmt.Sprintf("plan takes one question and no file, but %q follows", c.Args().Get(1)), "radonyear plan " + name + " and its options"}
	}
	has := strings.Fields(q.options)
	for _, f := range c.Command.Flags {
		if n := f.Names()[0]; c.IsSet(n) && n != "format" && n != "output" && n != "plot" && !slices.Contains(has, n) {
			return usageError{fmt.Sprintf("plan %s has no use for --%s", name, n), "its options are --" + strings.Join(has, ", --")}
		}
	}
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	if path := profileFile(c.String("profile")); path != "" && c.String("output") != "" {
		if err := refuseInput("--output", c.String("output"), []string{path}); err != nil {
			return err
		}
	}
	if _, err := plotFormat(c); err != nil {
		return err
	}
	a := &planner{Context: c, question: name, doc: report.Document{Command: "plan", Version: version}}
	a.set("question", name)
	if err := q.ask(a); err != nil {
		var u usageError
		var h hinted
		if errors.As(err, &u) || errors.As(err, &h) {
			return err
		}
		return hinted{fmt.Errorf("plan %s: %w", name, err), "for example radonyear plan " + name + " " + q.example}
	}
	said := report.Table{Key: "assumptions", Columns: []report.Column{{Key: "text", Style: report.Text}}, Hidden: true}
	for _, s := range a.assumptions {
		said.Rows = append(said.Rows, report.Row{Label: "assumption", Cells: []any{s}})
	}
	a.doc.Tables = append(a.doc.Tables, said)
	a.doc.After = append(a.assumptions, caution)
	return p.emitPlotted(c, a.doc, format, func() (plot.Figure, error) { return a.figure(), nil })
}

func (a *planner) set(name string, value any) {
	a.doc.Settings = append(a.doc.Settings, report.Field{Name: name, Value: value})
}

func (a *planner) assume(format string, args ...any) {
	a.assumptions = append(a.assumptions, fmt.Sprintf(format, args...))
}

// assumeForemost assumes what a picture says as well.
func (a *planner) assumeForemost(format string, args ...any) {
	a.assume(format, args...)
	a.foremost = a.assumptions[len(a.assumptions)-1]
}

func (a *planner) lead(format string, args ...any) {
	a.doc.Lead = append(a.doc.Lead, fmt.Sprintf(format, args...))
}

// portion reads a share or probability: 10%, 0.1 or 1/10. Without the option it is 0.
func (a *planner) portion(option, example string) (float64, error) {
	text := strings.TrimSpace(a.String(option))
	if !a.IsSet(option) {
		return 0, nil
	}
	x, err := parseRelative(text)
	if num, den, ok := strings.Cut(text, "/"); ok {
		n, err1 := strconv.ParseFloat(strings.TrimSpace(num), 64)
		d, err2 := strconv.ParseFloat(strings.TrimSpace(den), 64)
		x, err = n/d, nil
		if err1 != nil || err2 != nil || !(x > 0 && x < 1) {
			err = fmt.Errorf("no fraction")
		}
	}
	if err != nil || x == 0 {
		return 0, usageError{fmt.Sprintf("--%s %q does not lie between 0 and 100 %%", option, text), percentMeant(option, text, example)}
	}
	return x, nil
}

// factor reads a number above least, as a GSD is. Without the option it is 0.
func (a *planner) factor(option string, least float64, example string) (float64, error) {
	text := strings.TrimSpace(a.String(option))
	if !a.IsSet(option) {
		return 0, nil
	}
	x, err := strconv.ParseFloat(text, 64)
	if err != nil || !(x >= least) || math.IsInf(x, 0) {
		return 0, usageError{fmt.Sprintf("--%s %q is not a number from %g on", option, text, least), fmt.Sprintf("--%s %s", option, example)}
	}
	return x, nil
}

// positiveCount reads a number of things. Without the option it is 0.
func (a *planner) positiveCount(option string) (int, error) {
	n := a.Int(option)
	if a.IsSet(option) && n < 1 {
		return 0, usageError{fmt.Sprintf("--%s %d is no number of anything", option, n), "give 1 or more"}
	}
	return n, nil
}

func (a *planner) concentration(option, example string) (float64, error) {
	if !a.IsSet(option) {
		return 0, nil
	}
	t, err := parseTyped(a.Context, option, a.String(option), "")
	if err != nil {
		return 0, err
	}
	if t.below || t.value <= 0 {
		return 0, usageError{fmt.Sprintf("--%s %q is not a concentration above 0", option, a.String(option)), fmt.Sprintf("--%s %s", option, example)}
	}
	return t.value, nil
}

func (a *planner) level() (float64, bool, error) {
	if !a.IsSet("level") {
		return annual.DefaultLevel, true, nil
	}
	x, err := a.concentration("level", "200")
	return x, false, err
}

func (a *planner) month(option string) (time.Month, error) {
	if !a.IsSet(option) {
		return 0, nil
	}
	text := strings.ToLower(strings.TrimSpace(a.String(option)))
	for m := time.January; m <= time.December; m++ {
		if text == strconv.Itoa(int(m)) || len(text) >= 3 && strings.HasPrefix(strings.ToLower(m.String()), text) {
			return m, nil
		}
	}
	return 0, usageError{fmt.Sprintf("--%s %q is no month", option, a.String(option)), fmt.Sprintf("--%s November, nov or 11", option)}
}

// firstOf reads options until one cannot be read.
func firstOf(steps ...func() error) error {
	for _, step := range steps {
		if err := step(); err != nil {
			return err
		}
	}
	return nil
}

// into keeps what a reader read.
func into[T any](to *T, x T, err error) func() error {
	return func() error { *to = x; return err }
}

// sampling reads what all surveys of homes have.
func (a *planner) sampling() (s plan.Sampling, err error) {
	if s.Confidence, err = parseConfidence(a.Context); err != nil {
		return s, err
	}
	read := func(to *float64, option, example string) func() error {
		x, err := a.portion(option, example)
		return into(to, x, err)
	}
	whole := func(to *int, option string) func() error {
		x, err := a.positiveCount(option)
		return into(to, x, err)
	}
	deff, deffErr := a.factor("design-effect", 1, "1.5")
	if err := firstOf(read(&s.Assurance, "assurance", "90%"), whole(&s.Areas, "areas"), whole(&s.Dwellings, "dwellings"), whole(&s.Homes, "homes"), into(&s.DesignEffect, deff, deffErr)); err != nil {
		return s, err
	}
	s.Simultaneous = a.String("simultaneous")
	return s, nil
}

// setSampling says what a survey was asked, after the defaults stand.
func (a *planner) setSampling(s plan.Sampling, each float64) {
	a.set("confidence", s.Confidence)
	a.set("confidence_each", each)
	a.set("assurance", s.Assurance)
	a.set("areas", s.Areas)
	a.set("simultaneous", s.Simultaneous)
	a.set("dwellings", whole(s.Dwellings))
	a.set("design_effect", s.DesignEffect)
	a.set("homes", whole(s.Homes))
}

// whole is a count as a setting, nothing where there is none.
func whole(n int) any {
	if n == 0 {
		return nil
	}
	return n
}

// nonzero is a number as a setting, nothing where there is none.
func nonzero(x float64) any {
	if x == 0 {
		return nil
	}
	return x
}

// assumeSampling says what every survey of homes takes for granted.
func (a *planner) assumeSampling(s plan.Sampling, each float64) {
	a.assumeForemost("Homes are drawn at random from all homes of an area, and all of them answer; volunteers are no such homes, and more of them are no better.")
	if s.Areas > 1 {
		how := map[string]string{plan.Bonferroni: "Bonferroni: however the areas hang together", plan.Sidak: "Sidak: the areas are independent", plan.Apart: ""}[s.Simultaneous]
		if s.Simultaneous == plan.Apart {
			a.assume("Each of %d areas' intervals holds for itself with %g %%, and so some of them will not hold.", s.Areas, round(100*s.Confidence))
		} else {
			a.assume("The intervals of all %d areas hold at once with %g %%, each with %.5g %% (%s). Nothing is borrowed between areas, as radonyear survey does, so this is the cautious number.", s.Areas, round(100*s.Confidence), 100*each, how)
		}
	}
	if s.DesignEffect > 1 {
		a.assume("The sample's variance is %g times that of a simple random one (--design-effect).", s.DesignEffect)
	}
	if s.Dwellings > 0 {
		a.assume("An area has %d dwellings, and those drawn are a part of them that counts; the intervals of the other commands do not know of that and will be wider by a factor of √((N − 1)/(N − n)).", s.Dwellings)
	}
}

var criteria = map[string]string{
	plan.Textbook: "textbook formula", plan.Average: "width on average", plan.Assured: "width assured", plan.AnyShare: "width whatever the share",
	plan.First: "fewest with the power", plan.Lasting: "every number from here on", plan.Asked: "asked about (--homes)",
}

// tables are the answers and their curve: all of it for programs, and some for people.
func (a *planner) tables(answers report.Table, curve report.Table, title string) {
	shown := curve
	shown.Key, shown.Title, shown.Rows = "", title, nil
	const most = 8
	for i, r := range curve.Rows {
		if n := len(curve.Rows); n <= most || i*(most-1)/(n-1) != (i-1)*(most-1)/(n-1) || i == 0 {
			shown.Rows = append(shown.Rows, r)
		}
	}
	curve.Key, curve.Hidden = "curve", true
	a.doc.Tables = append(a.doc.Tables, answers, shown, curve)
}

// planColumns stand before a question's own.
func planColumns(what string) []report.Column {
	return []report.Column{{Key: "question", Style: report.Text}, {Key: "criterion", Style: report.Text}, {Head: "Asked for", Style: report.Text, Words: true}, {Key: what, Head: firstUpper(what), Style: report.Count}}
}

// totals are columns of all areas' homes, seen where there are several.
func totals(areas int) report.Column {
	c := report.Column{Key: "homes_all_areas", Style: report.Count}
	if areas > 1 {
		c.Head = "In all\nareas"
	}
	return c
}

func (a *planner) share() error {
	var o plan.ShareOptions
	s, err := a.sampling()
	if err != nil {
		return err
	}
	o.Sampling = s
	if o.Share, err = a.portion("share", "10%"); err != nil {
		return err
	}
	gsd, err := a.factor("gsd", 1.0001, "2.3")
	if err != nil {
		return err
	}
	gm, err := a.concentration("gm", "90")
	if err != nil {
		return err
	}
	level, byDefault, err := a.level()
	if err != nil {
		return err
	}
	switch {
	case o.Share > 0 && (gm > 0 || gsd > 0):
		return usageError{"--share and --gm, --gsd both say what share to expect", "give one of them"}
	case o.Share > 0 && !byDefault:
		return usageError{"--level is for --gm and --gsd, and --share needs none", "leave out --level"}
	case o.Share == 0 && (gm == 0 || gsd == 0):
		return usageError{"plan share needs the share expected", "--share 10%, or --gm 90 --gsd 2.3 --level 200; where nothing is known, --share 50% is enough for any"}
	case o.Share == 0:
		if o.Share, err = plan.ShareAbove(gm, gsd, level); err != nil {
			return err
		}
		if o.Share < 1e-6 {
			return fmt.Errorf("of homes with a GM of %g Bq/m³ and a GSD of %g fewer than one in a million are above %g", gm, gsd, level)
		}
		a.doc.Levels = []float64{level}
	}
	if o.Margin, err = a.portion("margin", "5%"); err != nil {
		return err
	}
	relative, err := a.portion("relative-margin", "25%")
	if err != nil {
		return err
	}
	switch {
	case o.Margin > 0 && relative > 0:
		return usageError{"--margin and --relative-margin are both given", "give one of them"}
	case o.Margin == 0 && relative == 0:
		return usageError{"plan share needs a margin", "--margin 5% for 5 percentage points, or --relative-margin 25%"}
	case relative > 0:
		o.Margin = relative * o.Share
	}
	if o.Margin >= 0.5 {
		return usageError{fmt.Sprintf("a margin of %g percentage points either way holds every share", round(100*o.Margin)), "--margin 5%, half the interval that would do; of a share relative to it, --relative-margin"}
	}
	r, err := plan.Share(o)
	if err != nil {
		return err
	}
	o = r.Options
	a.set("share", o.Share)
	a.set("gm", nonzero(gm))
	a.set("gsd", nonzero(gsd))
	if gm > 0 {
		a.set("level", level)
	} else {
		a.set("level", nil)
	}
	a.set("margin", o.Margin)
	a.set("relative_margin", nonzero(relative))
	a.setSampling(o.Sampling, r.Each)
	points := report.Number(100 * o.Margin)
	columns := []report.Column{totals(o.Areas),
		{Key: "margin", Style: report.Factor}, {Key: "half_width", Head: "±, on\naverage\n%", Style: report.Rate},
		{Key: "within_margin", Head: "Within\nmargin\n%", Style: report.Probability}, {Key: "coverage", Head: "Share\nheld\n%", Style: report.Rate},
		{Key: "expected_above", Head: "Above the\nlevel,\nexpected", Style: report.Factor},
	}
	t := report.Table{Columns: slices.Concat(planColumns("homes"), columns, []report.Column{{Key: "expected_interval", Style: report.Fraction}})}
	for _, x := range r.Answers {
		var e any
		if x.Criterion == plan.Assured {
			e = r.Expected
		}
		t.Rows = append(t.Rows, report.Row{Label: criteria[x.Criterion], Cells: []any{"share", x.Criterion, criteria[x.Criterion], x.Homes, x.Total, o.Margin, x.HalfWidth, x.Within, x.Coverage, x.FewestSeen, e}})
	}
	curve := report.Table{Columns: slices.Concat([]report.Column{{Key: "homes", Head: "Homes", Style: report.Count}}, columns)}
	for _, x := range r.Curve {
		curve.Rows = append(curve.Rows, report.Row{Label: strconv.Itoa(x.Homes), Cells: []any{x.Homes, x.Total, o.Margin, x.HalfWidth, x.Within, x.Coverage, x.FewestSeen}})
	}
	best := r.Answers[2]
	a.lead("Measure %s%s: if %s %% of homes are above the level, the interval of that share is then, with a probability of %s %%, no wider than %s percentage points either way.",
		count(best.Homes, "home"), inEach(o.Sampling, best.Total), report.Number(100*o.Share), report.Percent(o.Assurance, 0), points)
	a.tables(t, curve, "More homes, or fewer:")
	a.figure = func() plot.Figure { return a.shareFigure(r) }
	a.doc.Notes = r.Notes
	a.assumeSampling(o.Sampling, r.Each)
	if gm > 0 {
		a.assume("The share expected is that of a log-normal distribution with a GM of %g Bq/m³ and a GSD of %g above %g Bq/m³: %s %%.", round(gm), gsd, level, report.Number(100*o.Share))
	}
	a.assume("Each home is known to be above the level or not, by its annual mean. Short tests scatter more than years do and show too many homes above a high level; more homes do not cure that, and radonyear survey takes it off at a price.")
	a.assume("±: half of Wilson's interval of %.5g %%. Textbook: z²·p(1 − p)/margin². On average: over all counts that the share gives rise to. Assured: so for this number and every larger one. Whatever the share: also if half the homes should be above. Share held: how often the interval holds the share, summed exactly.", 100*r.Each)
	return nil
}

// inEach says that a number is one area's.
func inEach(s plan.Sampling, total int) string {
	if s.Areas < 2 {
		return ""
	}
	return fmt.Sprintf(" in each of %d areas, %d in all", s.Areas, total)
}

func (a *planner) means() error {
	var o plan.MeanOptions
	s, err := a.sampling()
	if err != nil {
		return err
	}
	o.Sampling = s
	if o.GSD, err = a.factor("gsd", 1.0001, "2.3"); err != nil {
		return err
	}
	if o.GSD == 0 {
		return usageError{"plan " + a.question + " needs the geometric standard deviation of homes", "--gsd 2.3; radonyear describe finds it in an earlier survey"}
	}
	if o.Margin, err = a.portion("margin", "20%"); err != nil {
		return err
	}
	if o.Margin == 0 {
		return usageError{"plan " + a.question + " needs a margin", "--margin 20%, which is a factor of 1.2 either way"}
	}
	ask, name := plan.GeometricMean, "geometric mean"
	if a.question == "mean" {
		ask, name = plan.Mean, "arithmetic mean"
	}
	r, err := ask(o)
	if err != nil {
		return err
	}
	o = r.Options
	a.set("gsd", o.GSD)
	a.set("margin", o.Margin)
	a.setSampling(o.Sampling, r.Each)
	columns := []report.Column{totals(o.Areas), {Key: "margin", Style: report.Factor}, {Key: "factor", Head: "Limits\nwithin a\nfactor", Style: report.Factor},
		{Key: "within_margin", Head: "Within\nmargin\n%", Style: report.Probability}}
	t := report.Table{Columns: slices.Concat(planColumns("homes"), columns, []report.Column{{Key: "expected_interval", Style: report.Estimate}})}
	for _, x := range r.Answers {
		var e any
		words := criteria[x.Criterion]
		switch x.Criterion {
		case plan.Assured:
			e = r.Expected
		case plan.Average:
			words = "width at this GSD"
		}
		t.Rows = append(t.Rows, report.Row{Label: words, Cells: []any{a.question, x.Criterion, words, x.Homes, x.Total, o.Margin, x.Factor, x.Within, e}})
	}
	curve := report.Table{Columns: slices.Concat([]report.Column{{Key: "homes", Head: "Homes", Style: report.Count}}, columns)}
	for _, x := range r.Curve {
		curve.Rows = append(curve.Rows, report.Row{Label: strconv.Itoa(x.Homes), Cells: []any{x.Homes, x.Total, o.Margin, x.Factor, x.Within}})
	}
	best := r.Answers[2]
	a.lead("Measure %s%s: if homes differ by a GSD of %g, both limits of the %s are then, with a probability of %s %%, within a factor of %g of it.",
		count(best.Homes, "home"), inEach(o.Sampling, best.Total), o.GSD, name, report.Percent(o.Assurance, 0), round(1+o.Margin))
	a.tables(t, curve, "More homes, or fewer:")
	a.figure = func() plot.Figure {
		return a.meansFigure(r, map[bool]string{true: "an arithmetic mean", false: "a geometric mean"}[a.question == "mean"])
	}
	a.doc.Notes = r.Notes
	a.assumeSampling(o.Sampling, r.Each)
	formula := "Student's interval of the logarithms. Textbook: (z·ln GSD/ln factor)²"
	if a.question == "mean" {
		formula = "Land's limits, and MOVER's from 2001 homes on, whose upper one lies the farther off. Textbook: z²·(σ² + σ⁴/2)/ln² factor, σ = ln GSD"
	}
	a.assume("Homes are log-normal with the GSD given. It takes in what tests add to the spread between homes' years, if such tests are what is measured.")
	a.assume("Limits: of %.5g %%, %s. At this GSD: if the sample should show it exactly. Assured: the sample's own spread turns out larger or smaller, as chance has it.", 100*r.Each, formula)
	return nil
}

// planningQuestion is what days and reduction need of the model.
func (a *planner) planningQuestion() (q question, passive bool, err error) {
	if q.Confidence, err = parseConfidence(a.Context); err != nil {
		return q, false, err
	}
	switch d := a.String("detector"); d {
	case "", "monitor":
	case "passive":
		passive = true
	default:
		return q, false, usageError{fmt.Sprintf("unknown detector %q", d), "--detector monitor or --detector passive"}
	}
	q.target = "this-year"
	switch t := a.String("target"); t {
	case "", "this-year":
	case "long-run":
		q.Target, q.target = annual.LongRun, t
	default:
		return q, false, usageError{fmt.Sprintf("unknown target %q", t), "--target this-year or --target long-run"}
	}
	if q.Calibration, err = a.portion("calibration", "5%"); err != nil {
		return q, false, err
	}
	q.profilePath = profileFile(a.String("profile"))
	if q.southern, err = parseHemisphere(a.Context); err != nil {
		return q, false, err
	}
	if q.profilePath != "" && a.String("hemisphere") != "" {
		return q, false, usageError{"--hemisphere is for the built-in profile; a profile from a file has its own season", "leave out one of --profile and --hemisphere"}
	}
	return q, passive, q.loadProfile()
}

func (a *planner) setModel(q question, passive bool) {
	kind := "monitor"
	if passive {
		kind = "passive"
	}
	a.set("detector", kind)
	a.set("profile", []report.Field{{Name: "name", Value: q.Profile.Name}, {Name: "provenance", Value: q.Profile.Provenance}})
	a.set("calibration", q.calibration())
	a.doc.Beside = q.beside
}

func (a *planner) assumeModel(q question, passive bool) {
	kind := "a monitor that gives day means without a gap"
	if passive {
		kind = "detectors that give one result a test"
	}
	a.assume("Measured by %s, %g %% being what a detector's readings share (--calibration), in a home lived in as usual.", kind, round(100*q.calibration()))
	profile := "Season and days are like those of the profile " + q.Profile.Name
	if q.Profile.Provenance != "" {
		profile += " (" + strings.TrimSuffix(q.Profile.Provenance, ".") + ")"
	}
	if q.profilePath == "" {
		profile += "; one learned where you work (radonyear season, --profile) plans better. On invented homes that obey no profile, such plans came true to within ten in a hundred either way"
	}
	a.assume("%s.", profile)
}

func (a *planner) days() error {
	q, passive, err := a.planningQuestion()
	if err != nil {
		return err
	}
	o := plan.DaysOptions{Options: q.Options, Passive: passive}
	level, byDefault, err := a.level()
	if err != nil {
		return err
	}
	o.Levels = []float64{level}
	if o.Month, err = a.month("month"); err != nil {
		return err
	}
	if o.Expected, err = a.concentration("expect", "120"); err != nil {
		return err
	}
	gm, err := a.concentration("gm", "90")
	if err != nil {
		return err
	}
	gsd, err := a.factor("gsd", 1.0001, "2.3")
	if err != nil {
		return err
	}
	if o.Power, err = a.portion("power", "80%"); err != nil {
		return err
	}
	switch {
	case o.Expected > 0 && (gm > 0 || gsd > 0):
		return usageError{"--expect and --gm, --gsd both say what to expect", "give one of them"}
	case gm > 0 && gsd > 0:
		o.Homes = &annual.Prior{GM: gm, GSD: gsd}
	case o.Expected == 0:
		return usageError{"plan days needs what to expect", "--expect 120 for a home of that annual mean, or --gm 90 --gsd 2.3 for one of such homes"}
	}
	r, err := plan.Days(o)
	if err != nil {
		return err
	}
	o = r.Options
	a.doc.Levels = []float64{level}
	month := func(m time.Month) string { return m.String() }
	a.set("level", level)
	a.set("expect", nonzero(o.Expected))
	a.set("gm", nonzero(gm))
	a.set("gsd", nonzero(gsd))
	if o.Month > 0 {
		a.set("month", month(o.Month))
	} else {
		a.set("month", nil)
	}
	a.set("confidence", o.Confidence)
	a.set("target", q.target)
	a.set("power", o.Power)
	a.setModel(q, passive)
	columns := []report.Column{{Key: "month", Head: "From", Style: report.Text, Words: true}, {Key: "right", Head: "Conclusive\nand right\n%", Style: report.Probability},
		{Key: "wrong", Head: "and\nwrong\n%", Style: report.Probability}, {Key: "open", Head: "Open\n%", Style: report.Probability},
		{Key: "gsd_of_test", Head: "GSD of the\nyear about\nit", Style: report.Factor}, {Key: "upper_ratio", Style: report.Factor}}
	cells := func(v plan.Verdicts) []any {
		return []any{month(v.Month), v.Right, v.Wrong, max(0, 1-v.Right-v.Wrong), math.Exp(v.Spread), v.Factor}
	}
	words := "fewest with the power"
	criterion := plan.First
	if r.Fewest == 0 {
		words, criterion = "a whole year", "most"
	}
	t := report.Table{Columns: slices.Concat(planColumns("days"), columns), Hidden: true}
	t.Rows = append(t.Rows, report.Row{Label: words, Cells: slices.Concat([]any{"days", criterion, words, r.At.Days}, cells(r.At))})
	days := []report.Column{{Key: "days", Head: "Days", Style: report.Count}}
	curve := report.Table{Columns: slices.Concat(days, columns), Title: "A test of the usual lengths:", Key: "curve"}
	for _, v := range r.Lengths {
		curve.Rows = append(curve.Rows, report.Row{Label: strconv.Itoa(v.Days), Cells: slices.Concat([]any{v.Days}, cells(v))})
	}
	months := report.Table{Columns: slices.Concat(days, columns), Key: "months", Hidden: true}
	for _, v := range r.Months {
		months.Rows = append(months.Rows, report.Row{Label: strconv.Itoa(v.Days), Cells: slices.Concat([]any{v.Days}, cells(v))})
	}
	a.doc.Tables = append(a.doc.Tables, t, curve, months)
	who := fmt.Sprintf("a home whose annual mean is %s Bq/m³", report.Number(o.Expected, level))
	if o.Homes != nil {
		who = fmt.Sprintf("a home drawn from those with a GM of %g Bq/m³ and a GSD of %g", round(gm), gsd)
	}
	from := "whatever month it starts in"
	if o.Month > 0 {
		from = "starting in " + month(o.Month)
	}
	if r.Fewest > 0 {
		a.lead("Measure %s: %s, a test so long settles with a probability of %s %%, and rightly, on which side of %g Bq/m³ lies %s.", count(r.Fewest, "day"), from, report.Percent(r.At.Right, 0), round(level), who)
	} else {
		a.lead("No test of up to a year, %s, settles with a probability of %s %% on which side of %g Bq/m³ lies %s; a year's does with %s %%.", from, report.Percent(o.Power, 0), round(level), who, report.Percent(r.At.Right, 0))
	}
	a.figure = func() plot.Figure { return a.daysFigure(r) }
	a.doc.Notes = r.Notes
	a.assume("%s", levelSentence([]float64{level}, byDefault))
	meant := "the twelve months around the test"
	if o.Target == annual.LongRun {
		meant = "many years"
	}
	a.assumeForemost("Conclusive: the verdict of radonyear verdict on the mean of %s, which needs a probability of %g %%. What is expected is taken to be the truth; a home of another mean needs another test.", meant, round(100*o.Confidence))
	if o.Month == 0 {
		a.assume("From: the month in which a test of that length does worst; the rest is in the JSON.")
	}
	a.assumeModel(q, passive)
	return nil
}

func (a *planner) reduction() error {
	q, passive, err := a.planningQuestion()
	if err != nil {
		return err
	}
	o := plan.ReductionOptions{Profile: q.Profile, Confidence: q.Confidence, Calibration: q.Calibration, Passive: passive}
	portion := func(to *float64, option, example string) func() error {
		x, err := a.portion(option, example)
		return into(to, x, err)
	}
	whole0 := func(to *int, option string) func() error {
		x, err := a.positiveCount(option)
		return into(to, x, err)
	}
	between, betweenErr := a.factor("between", 1.0001, "2")
	month, monthErr := a.month("month")
	after, afterErr := a.month("month-after")
	if err := firstOf(portion(&o.Reduction, "reduction", "80%"), portion(&o.AtLeast, "at-least", "50%"), portion(&o.Power, "power", "80%"),
		whole0(&o.DaysBefore, "days-before"), whole0(&o.DaysAfter, "days-after"), whole0(&o.Homes, "homes"),
		into(&o.Between, between, betweenErr), into(&o.Month, month, monthErr), into(&o.MonthAfter, after, afterErr)); err != nil {
		return err
	}
	if o.Reduction == 0 {
		return usageError{"plan reduction needs the reduction expected", "--reduction 80%"}
	}
	if o.Between > 0 {
		o.Between = math.Log(o.Between)
	}
	if o.AtLeast >= o.Reduction && o.Reduction > 0 {
		return usageError{fmt.Sprintf("a reduction of %g %% cannot be shown where %g %% is expected", round(100*o.AtLeast), round(100*o.Reduction)), "an --at-least below --reduction; without it any reduction is to be shown"}
	}
	r, err := plan.Reduction(o)
	if err != nil {
		return err
	}
	o = r.Options
	a.set("reduction", o.Reduction)
	a.set("at_least", o.AtLeast)
	a.set("days_before", o.DaysBefore)
	a.set("days_after", o.DaysAfter)
	a.set("month", o.Month.String())
	if o.MonthAfter > 0 {
		a.set("month_after", o.MonthAfter.String())
	} else {
		a.set("month_after", nil)
	}
	a.set("between_gsd", math.Exp(o.Between))
	a.set("homes", whole(o.Homes))
	a.set("confidence", o.Confidence)
	a.set("power", o.Power)
	a.set("home_gsd", math.Exp(r.LogSD))
	a.set("shared_gsd", math.Exp(math.Sqrt(r.Common)))
	a.setModel(q, passive)
	columns := []report.Column{{Key: "power", Head: "Shows it\n%", Style: report.Probability}, {Key: "factor", Head: "Limits\nwithin a\nfactor", Style: report.Factor}}
	t := report.Table{Columns: slices.Concat(planColumns("homes"), columns, []report.Column{{Key: "reduction", Style: report.Factor}, {Key: "at_least", Style: report.Factor}, {Key: "expected_interval", Style: report.Estimate}})}
	row := func(x plan.ReductionAnswer, words string, e any) report.Row {
		return report.Row{Label: words, Cells: []any{"reduction", x.Criterion, words, x.Homes, x.Power, math.Exp(x.HalfWidth), o.Reduction, o.AtLeast, e}}
	}
	t.Rows = append(t.Rows, row(plan.ReductionAnswer{Criterion: "one-home", Homes: 1, Power: r.Alone, HalfWidth: math.Log(r.Expected.Upper / r.Expected.Value)}, "one home by itself", r.Expected))
	var first *plan.ReductionAnswer
	for i, x := range r.Answers {
		if x.Criterion == plan.First {
			first = &r.Answers[i]
		}
		t.Rows = append(t.Rows, row(x, criteria[x.Criterion], nil))
	}
	curve := report.Table{Columns: slices.Concat([]report.Column{{Key: "homes", Head: "Homes", Style: report.Count}}, columns)}
	for _, x := range r.Curve {
		curve.Rows = append(curve.Rows, report.Row{Label: strconv.Itoa(x.Homes), Cells: []any{x.Homes, x.Power, math.Exp(x.HalfWidth)}})
	}
	shown := "that there was any reduction"
	if o.AtLeast > 0 {
		shown = fmt.Sprintf("a reduction of more than %g %%", round(100*o.AtLeast))
	}
	days := fmt.Sprintf("measured %s before and %d after", count(o.DaysBefore, "day"), o.DaysAfter)
	if first != nil {
		a.lead("Where %g %% is to be expected, %d homes %s show %s with a probability of %s %%; one home by itself does with %s %%.",
			round(100*o.Reduction), first.Homes, days, shown, report.Percent(first.Power, 0), report.Percent(r.Alone, 0))
	} else {
		a.lead("Where %g %% is to be expected, no number of homes %s shows %s with a probability of %s %%; one home by itself does with %s %%.",
			round(100*o.Reduction), days, shown, report.Percent(o.Power, 0), report.Percent(r.Alone, 0))
	}
	a.tables(t, curve, "More homes, or fewer:")
	alone := report.Table{Key: "one_home", Title: "One home by itself, measured so long before and as long after:", Columns: []report.Column{
		{Key: "days", Head: "Days", Style: report.Count}, {Key: "power", Head: "Shows it\n%", Style: report.Probability}, {Key: "gsd_of_ratio", Head: "GSD of\nthe ratio", Style: report.Factor}}}
	for _, x := range r.OneHome {
		alone.Rows = append(alone.Rows, report.Row{Label: strconv.Itoa(x.Days), Cells: []any{x.Days, x.Power, math.Exp(x.LogSD)}})
	}
	a.doc.Tables = append(a.doc.Tables, alone)
	a.figure = func() plot.Figure { return a.reductionFigure(r) }
	a.doc.Notes = r.Notes
	a.assumeForemost("Shown: the %g %% interval of the ratio of annual means, radonyear compare's of one home and of several, lies wholly beyond that.", round(100*o.Confidence))
	said := "--between"
	if between == 0 {
		said = "where nothing is said: that of fans between 50 and 99 %, a public table's span for systems with one; --between sets another"
	}
	a.assume("What systems leave of the radon differs from home to home by a GSD of %s (%s).", report.Number(math.Exp(o.Between)), said)
	a.assume("Homes are measured in the same weeks, from %s on, and so share a part of their error, a GSD of %s that more homes do not bring down. Homes measured in weeks apart share less.", o.Month, report.Number(math.Exp(math.Sqrt(r.Common))))
	a.assume("A home was not chosen for the very reading that is then compared: such a reading falls back by itself.")
	a.assumeModel(q, passive)
	return nil
}

func (a *planner) hot() error {
	var o plan.HotOptions
	portion := func(to *float64, option, example string) func() error {
		x, err := a.portion(option, example)
		return into(to, x, err)
	}
	areas, areasErr := a.positiveCount("areas")
	homes, homesErr := a.positiveCount("homes")
	if err := firstOf(portion(&o.Hot, "share", "30%"), portion(&o.Normal, "normal", "10%"), portion(&o.Power, "power", "80%"), portion(&o.False, "false", "5%"),
		into(&o.Areas, areas, areasErr), into(&o.Homes, homes, homesErr)); err != nil {
		return err
	}
	o.Simultaneous = a.String("simultaneous")
	if o.Hot == 0 || o.Normal == 0 {
		return usageError{"plan hot needs the share above the level in a hot area and in a normal one", "--share 30% --normal 10%"}
	}
	if o.Hot <= o.Normal && o.Hot > 0 {
		return usageError{fmt.Sprintf("hot areas with %g %% of homes above the level and normal ones with %g %%: the first is the larger", round(100*o.Hot), round(100*o.Normal)), "--share 30% --normal 10%"}
	}
	r, err := plan.Hot(o)
	if err != nil {
		return err
	}
	o = r.Options
	a.set("share", o.Hot)
	a.set("normal", o.Normal)
	a.set("power", o.Power)
	a.set("false", o.False)
	a.set("false_each", r.Each)
	a.set("areas", o.Areas)
	a.set("simultaneous", o.Simultaneous)
	a.set("homes", whole(o.Homes))
	columns := []report.Column{totals(o.Areas), {Key: "flag_from", Head: "Flagged\nfrom so\nmany above", Style: report.Count},
		{Key: "power", Head: "Hot area\nflagged\n%", Style: report.Probability}, {Key: "false", Head: "Normal\none\n%", Style: report.Probability}}
	cells := func(x plan.HotAnswer) []any {
		var from any
		if x.Flag <= x.Homes {
			from = x.Flag
		}
		return []any{x.Homes, x.Total, from, x.Power, x.False}
	}
	t := report.Table{Columns: slices.Concat(planColumns("homes"), columns)}
	for _, x := range r.Answers {
		t.Rows = append(t.Rows, report.Row{Label: criteria[x.Criterion], Cells: slices.Concat([]any{"hot", x.Criterion, criteria[x.Criterion]}, cells(x))})
	}
	curve := report.Table{Columns: slices.Concat([]report.Column{{Key: "homes", Head: "Homes", Style: report.Count}}, columns)}
	for _, x := range r.Curve {
		curve.Rows = append(curve.Rows, report.Row{Label: strconv.Itoa(x.Homes), Cells: cells(x)})
	}
	best := r.Answers[1]
	each := ""
	if o.Areas > 1 {
		each = fmt.Sprintf(" of each of %d areas, %d in all,", o.Areas, best.Total)
	}
	a.lead("Measure %s%s and flag an area where %d or more are above the level: one with %s %% above is then flagged with a probability of %s %%, one with %s %% with %s %%.",
		count(best.Homes, "home"), each, best.Flag, report.Number(100*o.Hot), report.Percent(best.Power, 0), report.Number(100*o.Normal), report.Percent(best.False, 0))
	a.tables(t, curve, "More homes, or fewer; power goes back and forth, since homes are counted:")
	a.figure = func() plot.Figure { return a.hotFigure(r) }
	a.doc.Notes = r.Notes
	a.assumeForemost("Homes are drawn at random from all homes of an area, and each is known to be above the level or not, by its annual mean.")
	if o.Areas > 1 {
		how := map[string]string{plan.Bonferroni: "that any of %d normal areas is flagged has a probability of at most %g %% (Bonferroni)", plan.Sidak: "that any of %d normal areas is flagged has a probability of at most %g %% (Sidak)", plan.Apart: "each of %d normal areas may be flagged with a probability of %g %%, so some will be"}[o.Simultaneous]
		a.assume("False flags: "+how+".", o.Areas, round(100*o.False))
	}
	a.assume("The textbook's number is normal theory; the number that flags goes with the number of homes. Fewer homes than planned need the line of the table that fits them (--homes).")
	return nil
}

func (a *planner) find() error {
	var o plan.FindOptions
	var err error
	if o.Confidence, err = parseConfidence(a.Context); err != nil {
		return err
	}
	whole0 := func(to *int, option string) func() error {
		x, err := a.positiveCount(option)
		return into(to, x, err)
	}
	share, shareErr := a.portion("share", "5%")
	if err := firstOf(into(&o.Share, share, shareErr), whole0(&o.Units, "units"), whole0(&o.Above, "above"), whole0(&o.Homes, "homes")); err != nil {
		return err
	}
	switch {
	case o.Share == 0 && o.Above == 0:
		return usageError{"plan find needs how many homes may be above the level", "--share 5%, or --units 20 --above 2"}
	case o.Above > 0 && o.Units == 0:
		return usageError{"--above needs to know of how many homes", "--units 20 --above 2"}
	}
	r, err := plan.Find(o)
	if err != nil {
		return err
	}
	o = r.Options
	a.set("share", nonzero(o.Share))
	a.set("units", whole(o.Units))
	a.set("above", whole(r.Above))
	a.set("homes", whole(o.Homes))
	a.set("confidence", o.Confidence)
	chance := report.Column{Key: "chance", Head: "One above\nis found\n%", Style: report.Probability}
	t := report.Table{Columns: append(planColumns("homes"), chance)}
	for _, x := range r.Answers {
		words := criteria[x.Criterion]
		if x.Criterion == plan.First {
			words = "fewest with the confidence"
		}
		t.Rows = append(t.Rows, report.Row{Label: words, Cells: []any{"find", x.Criterion, words, x.Homes, x.Chance}})
	}
	curve := report.Table{Columns: []report.Column{{Key: "homes", Head: "Homes", Style: report.Count}, chance}}
	for _, x := range r.Curve {
		curve.Rows = append(curve.Rows, report.Row{Label: strconv.Itoa(x.Homes), Cells: []any{x.Homes, x.Chance}})
	}
	best := r.Answers[1]
	where := fmt.Sprintf("where %s %% of very many are above the level", report.Number(100*o.Share))
	if o.Units > 0 {
		verb := "are"
		if r.Above == 1 {
			verb = "is"
		}
		where = fmt.Sprintf("where %d of %d homes %s above the level", r.Above, o.Units, verb)
	}
	a.lead("Test %s: %s, at least one of those is then among them with a probability of %s %%.", count(best.Homes, "home"), where, report.Percent(best.Chance, 0))
	a.tables(t, curve, "More homes, or fewer:")
	a.figure = func() plot.Figure { return a.findFigure(r) }
	a.doc.Notes = r.Notes
	a.assumeForemost("Homes are drawn at random from the building, and a test does not err: a short one may show a home below that is above over the year.")
	a.assume("Homes on the ground and below it are a building of their own: that is where radon is the highest, and common practice tests every one of them.")
	if o.Units > 0 {
		a.assume("Drawn without putting back from %d homes; the textbook's formula, ln(1 − confidence)/ln(1 − share), knows of no such end: it gives %d.", o.Units, r.Formula)
	} else {
		a.assume("Of a building with a number of homes, fewer are enough: --units.")
	}
	a.assume("That none is found does not show that none is there: only that, with this confidence, fewer are than was asked about.")
	return nil
}
