package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/survey"
	"radonyear/cmd/radonyear/internal/page"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

// A page of a community is for a council or a health board, and so for everybody: it
// holds what survey --publish lets through, and nothing else.
func (p *program) communityPage(c *cli.Context) error {
	q, err := parseCommunity(c)
	if err != nil {
		return err
	}
	o, err := p.parsePublish(c)
	if err != nil {
		return err
	}
	if err := q.loadProfile(); err != nil {
		return err
	}
	in, err := p.readCommunity(c, &q)
	if err != nil {
		return err
	}
	pub, when, doc, err := q.publish(o, in)
	if err != nil {
		return err
	}
	t := townPage{q, pub, doc, when, o.MinCell, survey.AtLeast(len(in.left), o.MinCell), levelsInPCi(c)}
	pg, err := t.page()
	if err != nil {
		return err
	}
	made := howMade{command: c, docs: []report.Document{doc}, published: true, seed: strconv.FormatUint(q.seed, 10),
		onPage: []report.Field{{Name: "min_homes", Value: q.minHomes}}}
	pg.Sections = append(pg.Sections, made.section())
	if err := p.emitPage(c, pg, made.docs); err != nil {
		return err
	}
	return p.published(in.files, in.left)
}

// townPage is what a page of a community is made of.
type townPage struct {
	communityQuestion
	pub     survey.Published
	doc     report.Document
	when    []string
	cell    int
	missing int       // homes without a result, as told
	inPCi   []float64 // the levels that were asked for in pCi/L
}

func (t townPage) page() (page.Page, error) {
	c := t.pub.Community
	homes := t.homes(c, "community")
	out := page.Page{Title: "Radon in a community", Heading: page.Say("Radon in a community"), About: page.Say("What measurements in homes say together; no home is named, and small groups are kept back"), Contents: true, Foot: page.Say("{}", caution)}
	var pictures [2]drawn
	spreadFigure, exact := t.spread()
	for i, f := range []plot.Figure{spreadFigure, t.areasFigure()} {
		if f.Panels == nil {
			continue
		}
		var err error
		if pictures[i], err = picture(f); err != nil {
			return out, err
		}
	}
	whose := "homes"
	if t.pub.PopulationGiven {
		whose = "all dwellings"
	}

	short := section("In short")
	for k, s := range c.Above {
		of := fmt.Sprintf("community.share_above.%d", k)
		short.Blocks = append(short.Blocks, page.Block{Lead: page.Say("About {} of {} have more radon than {}, averaged over the year; the true share is likely to lie {}.",
			t.percent(s.Share.Value, of+".share.value"), whose, t.level(k), t.shareBetween(*s.Share, of+".share"))})
		if s.Dwellings != nil {
			short.say(page.Say("That is about {} dwellings, likely {}.", page.Number(told(s.Dwellings.Value), s.Dwellings.Value, of+".homes_above.value"), t.between(*s.Dwellings, of+".homes_above", told)))
		}
	}
	// Said whether or not there were such readings, which may be one home's.
	short.say(page.Say("What is stated to have been measured after mitigation is left out: {}.", asBefore))
	short.Blocks = append(short.Blocks, page.Block{Facts: []page.Fact{
		{Name: page.Say("Half of the homes have, averaged over the year, less than"), Value: t.mean(c.GM, "community.gm")},
		{Name: page.Say("The average over all homes"), Value: t.mean(c.AM, "community.am")},
		{Name: page.Say("Homes measured"), Value: homes},
	}})

	who := section("Who was measured")
	who.say(page.Say("Measurements of {} homes were used. {}", homes, map[string]string{
		"":          "How they came to be measured was not stated. Homes that someone chose to test are not like all homes, so the figures speak for homes that come to be tested in this way.",
		"volunteer": "Their people volunteered. Who worries, or lives where radon is known of, tests more often; so the shares for all homes may be different, and are mostly lower.",
		"random":    "They were drawn at random, so the figures speak for the homes they were drawn from.",
		"mixed":     "Some were drawn at random and some volunteered; so the shares for all homes may be different.",
	}[t.recruitment]))
	if t.pub.PopulationGiven {
		who.say(page.Say("Each area counts by its number of dwellings, so that an area where many were tested does not count for more."))
	}
	if n := t.pub.Unmeasured; n != nil && n.Areas > 0 {
		who.say(page.Say("Of the areas, {} had no home measured; they hold about {} dwellings. No row is of them, and the figures for all take them to be like the others.",
			page.Number(fmt.Sprint(n.Areas), n.Areas, "community.unmeasured.areas"), page.Number(told(n.Dwellings), n.Dwellings, "community.unmeasured.dwellings")))
	}
	if len(t.when) > 0 {
		var quarters []page.Prose
		number := func(words string, i int) page.Part {
			return page.Number(words, t.when[i], fmt.Sprintf("community.measured_in.%d", i))
		}
		for _, r := range quarterRuns(t.when) {
			from, to := quarterRunWords(t.when, r)
			if to == "" {
				quarters = append(quarters, page.Prose{number(from, r.first)})
			} else {
				quarters = append(quarters, page.Say("{} to {}", number(from, r.first), number(to, r.last)))
			}
		}
		who.say(page.Say("They were measured in {}. Quarters of a year with few homes are not told.", page.Join(quarters)))
	}
	if t.missing > 0 {
		who.say(page.Say("For {} homes or more there is no result, since their readings do not do for one.", page.Number(fmt.Sprint(t.missing), t.missing, "community.homes_left_out.at_least")))
	}
	var notes []page.Prose
	for _, n := range t.doc.Notes {
		notes = append(notes, page.Say("{}", page.Sentence(n.Text)))
	}
	if notes != nil {
		who.Blocks = append(who.Blocks, page.Block{List: notes})
	}

	spread := section("How different the homes are")
	spread.say(page.Say("Radon is very uneven: most homes have little, a few have a great deal. {}", becquerel))
	if c.GSD != nil && c.GM != nil {
		spread.say(page.Say("Half of the homes have less than {}. About two in three homes lie within a factor of {} of that, up or down. A few high homes draw the average up to {}.",
			t.mean(c.GM, "community.gm"), page.Number(told(c.GSD.Value), c.GSD.Value, "community.gsd.value"), t.mean(c.AM, "community.am")))
	}
	if pictures[0].wide != nil {
		right := "is what lies at its right"
		if !exact {
			right = "is about what lies at its right"
		}
		spread.draw(pictures[0], "How homes are spread over the averages of their year, as fitted: the higher the curve, the more homes. The share of homes above a level "+right+"; "+levelLines(t.Levels))
	}
	if t.testError == "none" {
		spread.say(page.Say("The results of the tests were taken as if each were the average of a year, so the scatter of short tests is in every figure."))
	} else {
		text := page.Say("A test of a few days or months scatters more than the year does.")
		if t.pub.RawGSD > 0 && c.GSD != nil && told(t.pub.RawGSD) != told(c.GSD.Value) {
			text = page.Say("A test of a few days or months scatters more than the year does: as measured, the factor is {}. That part was taken off.", page.Number(told(t.pub.RawGSD), t.pub.RawGSD, "community.raw_gsd"))
		}
		spread.say(text)
	}

	above := section("Homes above the level")
	table := &page.Table{Caption: page.Say("Share of {} above a level, in percent, with its likely range.", whose),
		Heads: []page.Head{{Text: page.Say("Level, Bq/m³"), Number: true}, {Text: page.Say("Averaged over the year"), Number: true}, {Text: page.Say("As the tests came out"), Number: true}}}
	for k, s := range c.Above {
		of := fmt.Sprintf("community.share_above.%d", k)
		table.Rows = append(table.Rows, []page.Prose{{t.levelNumber(k)}, t.share(s.Share, of+".share"), t.counted(s.Counted, of+".raw_share")})
	}
	above.Blocks = append(above.Blocks, page.Block{Table: table})
	if slices.ContainsFunc(c.Above, func(s survey.PublishedShare) bool { return s.Counted != nil }) {
		above.say(page.Say("Of the tests as they came out only a range is told, since the homes are counted to within {}.", page.Number(fmt.Sprint(t.cell), t.cell, "settings.min_cell")))
	}
	if slices.ContainsFunc(c.Above, func(s survey.PublishedShare) bool { return s.Counted == nil }) {
		above.say(page.Say("Where the last column has no number, so few homes lie on one side of the level that they could be found."))
	}
	above.say(t.whoseLevels())

	areas := section("Area by area")
	switch {
	case t.pub.Areas == nil:
		areas.say(page.Say("There are too few homes, or too few areas, to tell the areas apart without telling on homes."))
		if t.exceeds > 0 {
			areas.say(page.Say("So there is no chance to tell that more than {} of an area’s homes are above the level either.", t.exceedsNumber()))
		}
	default:
		areas.say(page.Say("An area with few homes says little by itself, so it leans on the others: its figures lie nearer to those of all areas, and their ranges are wide. Ranges of two areas that overlap say that the two may well be alike."))
		areas.Blocks = append(areas.Blocks, page.Block{Table: t.areasTable()})
		if slices.ContainsFunc(t.pub.Areas, t.leans) {
			areas.say(page.Say("Areas of which this is said have at most so few homes that their figures are more of the others’ than of their own."))
		}
		if slices.ContainsFunc(t.pub.Areas, func(r survey.PublishedRow) bool { return r.Merged }) {
			areas.say(page.Say("Areas with few homes stand together in one row."))
		}
		if pictures[1].wide != nil {
			which := "in each area, the highest first"
			if len(t.pub.Areas) > mostRows {
				which = "in the areas where it is highest, by the middle of the range"
			}
			areas.draw(pictures[1], "The share of homes above the level "+which+". The line through each mark is its likely range.")
		}
	}

	sure := section("How sure this is")
	sure.say(page.Say("What the likely range means: ranges like these are made so that the true figure lies within them about {} times in 100. They hold what chance does in choosing homes and what a test leaves open about a year.", page.Number(report.Exact(round(100*t.Confidence)), t.Confidence, "settings.confidence")))
	sure.say(page.Say("They do not hold what may be wrong with who was measured, with detectors, or with the season taken from other homes."))

	return t.finish(out, short, who, spread, above, areas, sure), nil
}

// finish adds what the page does not say.
func (t townPage) finish(out page.Page, sections ...building) page.Page {
	unsaid := section("What this page does not say")
	unsaid.Blocks = append(unsaid.Blocks, page.Block{List: []page.Prose{
		page.Say("It says nothing of any one home. Homes next door to each other can be very different; only a test of the home can tell."),
		page.Say("It does not say why an area has more radon than another."),
		page.Say("It does not say what radon does to anyone’s health."),
	}})
	var kept []page.Prose
	for _, w := range t.pub.Withheld {
		kept = append(kept, page.Say("{}: {}.", firstUpper(w.What), w.Why))
	}
	unsaid.Sections = []page.Section{{Title: page.Say("Kept back or rounded, to protect homes"), Blocks: []page.Block{{List: kept}, {Text: page.Say("{}", limitsOfPublishing)}}}}
	if list := t.doc.LeftOut; list != nil {
		table := &page.Table{Key: "left_out", Caption: page.Say("By pseudonyms, which say nothing without the key that they were made with."), Heads: []page.Head{{Text: page.Say("Home")}, {Text: page.Say("Why")}}}
		for _, l := range list {
			table.Rows = append(table.Rows, []page.Prose{{page.Name(l.Place.Home)}, page.Say("{}", l.Why)})
		}
		unsaid.Sections = append(unsaid.Sections, page.Section{Title: page.Say("Homes without a result"), Blocks: []page.Block{{Table: table}}})
	}
	for _, s := range append(sections, unsaid) {
		s.Of = page.Of{Command: "survey"}
		out.Sections = append(out.Sections, s.Section)
	}
	return out
}

func (t townPage) homes(r survey.PublishedRow, of string) page.Prose {
	return page.Say("{} to {}", page.Number(fmt.Sprint(r.Homes), r.Homes, of+".homes_at_least"), page.Number(fmt.Sprint(r.Most), r.Most, of+".homes_at_most"))
}

func (t townPage) levelNumber(k int) page.Part {
	return levelNumber(t.Levels, k)
}

func (t townPage) level(k int) page.Prose { return levelProse(t.Levels, k, t.inPCi) }

func (t townPage) percent(x float64, of string) page.Prose {
	return page.Say("{}\u00a0%", page.Number(toldShare(x), x, of))
}

// between is an interval as it is told.
func (t townPage) between(e analysis.Estimate, of string, told func(float64) string) page.Prose {
	return page.Span(e, of, "between {} and {}", told)
}

func (t townPage) shareBetween(e analysis.Estimate, of string) page.Prose {
	return page.Say("{}\u00a0%", t.between(e, of, toldShare))
}

// mean is a concentration with its likely range.
func (t townPage) mean(e *analysis.Estimate, of string) page.Prose {
	if e == nil {
		return page.Say("not told")
	}
	return page.Say("{}\u00a0Bq/m³ (likely {})", page.Number(told(e.Value), e.Value, of+".value"), t.between(*e, of, told))
}

// share is a share in a table, in percent.
func (t townPage) share(e *analysis.Estimate, of string) page.Prose {
	return cellOf(e, of, toldShare)
}

// counted is what is told of a counted share, in percent.
func (t townPage) counted(r *survey.PublishedRange, of string) page.Prose {
	if r == nil {
		return page.Say("not told")
	}
	return page.Span(analysis.Estimate{Lower: r.Lower, Upper: openNearAll(r.Upper)}, of, "{} to {}", toldShare)
}

func cellOf(e *analysis.Estimate, of string, told func(float64) string) page.Prose {
	if e == nil {
		return page.Say("not told")
	}
	return append(page.Prose{page.Number(told(e.Value), e.Value, of+".value")}, page.Minor(page.Span(*e, of, "{} to {}", told))...)
}

func (t townPage) areasTable() *page.Table {
	head := firstUpper(t.by)
	out := &page.Table{Caption: page.Say("Each area: half of its homes have less than so much, averaged over the year; and the share of homes above the level. Likely ranges stand below."),
		Heads: []page.Head{{Text: page.Say("{}", head)}, {Text: page.Say("Homes measured"), Number: true}, {Text: page.Say("Half have less than, Bq/m³"), Number: true}}}
	for k := range t.Levels {
		out.Heads = append(out.Heads, page.Head{Text: page.Say("Above {}, %", t.levelNumber(k)), Number: true})
		if t.exceeds > 0 {
			out.Heads = append(out.Heads, page.Head{Text: page.Say("Chance that it is over {}", t.exceedsNumber()), Number: true})
		}
	}
	for i, r := range t.pub.Areas {
		of := fmt.Sprintf("areas.%d", i)
		name := page.Prose{page.Name(r.Name)}
		if r.Name == "" {
			name = page.Say("not stated")
		}
		if t.leans(r) {
			name = append(name, page.Minor(page.Say("leans on the others"))...)
		}
		row := []page.Prose{name, t.homes(r, of), cellOf(r.GM, of+".gm", told)}
		for k, s := range r.Above {
			of := fmt.Sprintf("%s.share_above.%d", of, k)
			row = append(append(row, t.share(s.Share, of+".share")), t.exceeding(s, of)...)
		}
		out.Rows = append(out.Rows, row)
	}
	return out
}

// leans says that an area has fewer homes than --min-homes, by the most that it may have
// as it is told.
func (t townPage) leans(r survey.PublishedRow) bool { return r.Most < t.minHomes }

func (t townPage) exceedsNumber() page.Prose {
	return page.Say("{}\u00a0%", page.Number(report.Exact(round(100*t.exceeds)), t.exceeds, "settings.exceeds"))
}

// exceeding is a cell with the chance that a share is over that of --exceeds; none where
// it was not asked for.
func (t townPage) exceeding(s survey.PublishedShare, of string) (cells []page.Prose) {
	for _, e := range s.Exceeds {
		cells = append(cells, chance(e.Probability, t.Confidence, of+".exceeds.probability"))
	}
	return cells
}

// whoseLevels says whose the levels are.
func (t townPage) whoseLevels() (out page.Prose) {
	for k, l := range t.Levels {
		if owners := annual.LevelOwners(l); owners != nil {
			out = append(out, page.Say("{} is a level used by {}. ", t.level(k), strings.Join(owners, ", "))...)
		}
	}
	if t.levelsByDefault {
		out = append(out, page.Say("No level was named for this page, so this one was taken. ")...)
	}
	return append(out, page.Say("A level is about the average over the year in the rooms that people use, not about one test.")...)
}

// spread is the fitted distribution, as far as it follows from what is published: the
// areas' together where the shares are of homes, and else the one log-normal of the two
// figures told of all, above a level of which lies only about the share told.
func (t townPage) spread() (f plot.Figure, exact bool) {
	c := t.pub.Community
	if c.GM == nil || c.GSD == nil || !(c.GSD.Value > 1) {
		return plot.Figure{}, false
	}
	laws := t.toldLaws()
	f = plot.Figure{Title: "How homes are spread", Desc: "The curve of the areas together, each log-normal about its published geometric mean, and the levels as broken lines."}
	if exact = laws != nil; !exact {
		laws = []areaLaw{{1, math.Log(c.GM.Value), math.Log(c.GSD.Value)}}
		f.Desc = "A log-normal curve with the published geometric mean and geometric standard deviation, and the levels as broken lines."
	}
	curve := mixedCurve(1, laws)
	curve.Label = "homes, as fitted"
	peak := slices.Max(curve.Y)
	for i := range curve.Y {
		curve.Y[i] /= peak
	}
	f.Panels = []plot.Panel{{X: plot.Axis{Label: "Average over the year, Bq/m³", Kind: plot.Log, Include: t.Levels}, Y: plot.Axis{Label: "Homes, relative to the peak", Include: []float64{0}}, Height: 150,
		Marks: append([]plot.Mark{curve}, levelRules(t.Levels, true)...)}}
	return f, exact
}

// toldLaws are the areas' distributions by what is told of them: the middle of their
// homes, by which the community's figures weigh them too, their geometric mean with its
// interval, and how homes differ within areas. nil where dwellings weigh, of which not all
// is told, or where there is one row alone.
func (t townPage) toldLaws() (laws []areaLaw) {
	if t.pub.PopulationGiven {
		return nil
	}
	normal := math.Sqrt2 * math.Erfinv(t.Confidence) // quantile of the standard normal
	for _, r := range t.pub.Areas {
		if r.GM == nil || !(r.GM.Lower > 0) || math.IsInf(r.GM.Upper, 1) {
			return nil
		}
		known := math.Log(r.GM.Upper/r.GM.Lower) / (2 * normal)
		laws = append(laws, areaLaw{float64(r.Homes+r.Most) / 2, math.Log(r.GM.Value), math.Hypot(t.pub.SDHome.Value, known)})
	}
	return laws
}

// areasFigure is the published share above the first level, area by area.
func (t townPage) areasFigure() plot.Figure {
	var post survey.PosteriorResult
	homes := map[string]string{}
	row := func(r survey.PublishedRow) []survey.AboveLevel {
		return []survey.AboveLevel{{Level: t.Levels[0], Share: *r.Above[0].Share}}
	}
	post.Community.Above = row(t.pub.Community)
	for _, r := range t.pub.Areas {
		a := survey.AreaLevel{}
		a.Area, a.Homes, a.Above = r.Name, r.Most, row(r)
		post.Areas = append(post.Areas, a)
		homes[r.Name] = countWords(r.Homes, r.Most) + " homes"
	}
	if len(post.Areas) < 2 {
		return plot.Figure{}
	}
	p, _ := t.areasPanel(post)
	for i, name := range p.Y.Names {
		if name == "(none)" {
			name = ""
		}
		p.Beside[i] = homes[name]
	}
	return plot.Figure{Title: "Homes above the level, area by area", Desc: "For each area the share of homes above the level with its interval, the highest share first.", Panels: []plot.Panel{p}}
}
