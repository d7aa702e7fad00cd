package main

import (
	"bytes"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/cmd/radonyear/internal/page"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

func (p *program) reportCommand() *cli.Command {
	return &cli.Command{
		Name:      "report",
		Usage:     "a page to read and print: for a home's people, or for a council",
		ArgsUsage: "FILE...",
		Description: `One HTML file, without script and without network, that prints on A4 and Letter.
For homes: what was measured, what the year is likely to be, what that means
against the level, what to do next, what the page does not say; before and after
where the readings say so. With --community: the homes of a district together,
small groups kept back as radonyear survey --publish does. The last section says
how the numbers were made. They are those of verdict, compare and survey.

Examples:
  radonyear report readings.csv --home K-08 --output K-08.html
  radonyear report log.csv --unit Bq/m3 --switch 2026-03-02T15:30 \
      --output fan.html
  radonyear report tests.csv --community --recruitment volunteer \
      --output area.html`,
		Flags: slices.Concat([]cli.Flag{
			&cli.StringSliceFlag{Name: "home", Usage: "only this `HOME`; may be repeated (default: every home of the files)"},
			&cli.BoolFlag{Name: "community", Usage: "one page of the homes together, in which no home is named"},
		}, switchFlags(), comparingFlags(), onPage(communityFlags()), onPage(publishFlags()), readingFlags(), []cli.Flag{
			&cli.StringFlag{Name: "format", Usage: "`FORMAT`: html, which is the only one"},
			&cli.StringFlag{Name: "output", Usage: "write to `FILE` instead of standard output, whole or not at all"},
		}),
		Action: p.reportPage,
	}
}

// mostOnPage is how many homes stand in one page.
const mostOnPage = 30

func (p *program) reportPage(c *cli.Context) error {
	if err := pageFormat(c); err != nil {
		return err
	}
	if c.Bool("community") {
		return p.communityPage(c)
	}
	for _, f := range slices.Concat(onPage(communityFlags()), onPage(publishFlags())) {
		if name := f.Names()[0]; c.IsSet(name) {
			return usageError{fmt.Sprintf("--%s is of --community, which is not given", name), "add --community, or leave out --" + name}
		}
	}
	return p.homesPage(c)
}

// onPage are the options that a page of a community has of those of survey.
func onPage(flags []cli.Flag) []cli.Flag {
	return slices.DeleteFunc(flags, func(f cli.Flag) bool {
		return !slices.Contains([]string{"by", "recruitment", "test-error", "populations", "exceeds", "min-homes", "seed", "min-cell", "key-file"}, f.Names()[0])
	})
}

// pageFormat is an error where --format or the ending of --output asks for anything
// but a page.
func pageFormat(c *cli.Context) error {
	if f := c.String("format"); f != "" && f != "html" {
		return usageError{fmt.Sprintf("a report is a page: --format %s is not html", f),
			"radonyear verdict, compare and survey write the same numbers as " + strings.Join(report.Formats, ", ")}
	}
	switch ending := strings.ToLower(filepath.Ext(c.String("output"))); {
	case ending == ".pdf":
		return usageError{fmt.Sprintf("--output %s: a page is .html", c.String("output")), "write .html and print it into a PDF file from a browser"}
	case c.String("format") == "" && !slices.Contains([]string{"", ".html", ".htm"}, ending),
		slices.Contains(notText, ending) && ending != ".html":
		return usageError{fmt.Sprintf("--output %s: a page is .html", c.String("output")), "--output report.html"}
	}
	return nil
}

// homesQuestion is what a page of homes asks: of those measured before and after, what
// compare does, of the others what verdict does. The weather of a profile is settled
// for each over all homes of the files, as the two commands do.
type homesQuestion struct {
	judge question
	pair  compareQuestion
	homes []string  // asked for; nil: all
	inPCi []float64 // the levels that were asked for in pCi/L
}

// homeOnPage is one home with its answer: judged, a result a level, or compared.
type homeOnPage struct {
	place    analysis.Place
	series   []analysis.Series
	tracks   []trackOnPage
	judged   []judged
	compared *compared
	picture  drawn
}

// trackOnPage is what one detector measured in one place; at is its row among those of
// the home in what inspect writes.
type trackOnPage struct {
	ingest.Track
	at int
}

// tracksOf are the tracks that a home's answer is of.
func tracksOf(daily *ingest.Daily, place analysis.Place) (tracks []trackOnPage) {
	at := 0
	for _, t := range daily.Tracks {
		if t.Home != place.Home || t.Area != place.Area {
			continue
		}
		if t.Kind == "field" {
			tracks = append(tracks, trackOnPage{t, at})
		}
		at++
	}
	return tracks
}

func (p *program) homesPage(c *cli.Context) error {
	pair, err := parseCompare(c)
	if err != nil {
		return err
	}
	q := homesQuestion{judge: pair.question, pair: pair, homes: c.StringSlice("home"), inPCi: levelsInPCi(c)}
	q.judge.target, q.pair.by = annual.ThisYear.String(), ""
	if err := q.judge.loadProfile(); err != nil {
		return err
	}
	q.pair.Profile = q.judge.Profile
	daily, files, rejected, err := p.readFiles(c)
	if err != nil {
		return err
	}
	if err := q.judge.settleCourse(subjects(daily, "home", "")); err != nil {
		return err
	}
	unknown := p.unknownHomes(q.pair, daily)
	unused, err := q.pair.settleProfile(daily, unknown)
	if err != nil {
		return err
	}
	chosen, err := q.chosen(daily)
	if err != nil {
		return err
	}
	homes, left := estimateAll(chosen, func(s subject) (homeOnPage, error) { return q.answer(daily, s) })
	if len(homes) == 0 {
		return noResult(left, files)
	}
	docs := q.documents(c, homes)
	for i := range docs {
		d := &docs[i]
		d.Inputs, d.Rejects, d.Notes = inputs(files, ""), rejectsFile(c), inputNotes(files, daily, "")
		if d.Command == "compare" {
			d.Notes = slices.Concat(d.Notes, unknown, unused)
		}
	}
	docs[0].LeftOut = left
	made := howMade{command: c, docs: docs, rejected: rejected, beside: q.judge.beside, detectors: true}
	if slices.ContainsFunc(docs, func(d report.Document) bool { return d.Command == "verdict" }) {
		made.methods = append(made.methods, annual.JudgeMethod)
	}
	pg, err := q.page(homes, left, docs)
	if err != nil {
		return err
	}
	pg.Sections = append(pg.Sections, made.section())
	each := report.Document{Command: "inspect", Version: version, Tables: []report.Table{placesTable(daily)}}
	if err := p.emitPage(c, pg, append(slices.Clip(docs), each)); err != nil {
		return err
	}
	return p.partial(docs[0])
}

// chosen are the homes that --home names, or all, as many as a page takes.
func (q homesQuestion) chosen(daily *ingest.Daily) (population, error) {
	var at []int
	known := map[string]bool{}
	for i := range daily.HomeCount() {
		name := daily.Home(i, ingest.Filter{}).Name
		if q.homes == nil || slices.Contains(q.homes, name) {
			at = append(at, i)
			known[name] = true
		}
	}
	for _, name := range q.homes {
		if !known[name] {
			return population{}, hinted{fmt.Errorf("--home %q: the files hold no such home", name), "write its name as the files do; radonyear inspect FILE lists the homes"}
		}
	}
	if len(at) > mostOnPage {
		return population{}, hinted{fmt.Errorf("%d homes are too many for one page, which takes %d", len(at), mostOnPage),
			"--home NAME chooses one and may be repeated; --community makes a page of them all together"}
	}
	return population{len(at), func(k int) []subject {
		h := daily.Home(at[k], ingest.Filter{})
		s := subject{place: analysis.Place{Home: h.Name, Area: h.Area}, series: h.Series, home: at[k]}
		if len(h.Series) == 0 {
			s.why = noField
		}
		return []subject{s}
	}}, nil
}

// answer compares a home that was measured before and after, and judges any other.
func (q homesQuestion) answer(daily *ingest.Daily, s subject) (homeOnPage, error) {
	out := homeOnPage{place: s.place, series: s.series, tracks: tracksOf(daily, s.place)}
	h := daily.Home(s.home, ingest.Filter{})
	switched := q.pair.switches.given() && q.pair.switches.of(h.Name) != nil
	sides, err := q.pair.parted(s.home, h)
	if switched && err != nil {
		return out, err
	}
	if switched || len(sides.without) > 0 && len(sides.with) > 0 {
		sides.ran = q.pair.ran(daily, s.home, h, sides)
		r, err := q.pair.compareHome(s.home, h, sides)
		if err != nil {
			return out, err
		}
		out.compared = &r
		out.picture, err = picture(q.pair.twoYearsFigure(r, false))
		return out, err
	}
	one := subjectsOf(h, "home")[0]
	if one.why != "" {
		return out, fmt.Errorf("%s", one.why)
	}
	if out.judged, err = q.judge.judgeLevels(one); err != nil {
		return out, err
	}
	opt := q.judge.Options
	opt.Daily = true
	r, err := annual.Estimate(one.series, opt)
	if err != nil {
		return out, err
	}
	out.picture, err = picture(q.judge.yearFigure([]drawnHome{{r, one.series}}, "home"))
	return out, err
}

// drawn is a picture of a page, as SVG for a wide column and for a narrow one.
type drawn struct{ wide, narrow []byte }

// picture draws a figure without the words that a page says beside it.
func picture(f plot.Figure) (d drawn, err error) {
	f.Desc, f.Lead, f.Notes = f.Lead+" "+f.Desc, "", nil
	if d.wide, err = plot.Render(f, "svg"); err != nil {
		return d, err
	}
	f.Narrow = true
	d.narrow, err = plot.Render(f, "svg")
	return d, err
}

// documents are what verdict and compare would write of these homes.
func (q homesQuestion) documents(c *cli.Context, homes []homeOnPage) (docs []report.Document) {
	var js []judged
	var cs []compared
	for _, h := range homes {
		js = append(js, h.judged...)
		if h.compared != nil {
			cs = append(cs, *h.compared)
		}
	}
	doc := report.Document{Version: version, Levels: q.judge.Levels, Confidence: q.judge.Confidence}
	if js != nil {
		doc.Command, doc.Tables = "verdict", verdictTables(js, "home")
		doc.Settings = slices.Concat(q.judge.settings(), []report.Field{{Name: "by", Value: "home"}}, readingSettings(c))
		docs = append(docs, doc)
	}
	if cs != nil {
		doc.Command, doc.Tables = "compare", q.pair.compareTables(cs)
		doc.Settings = slices.Concat(q.pair.compareSettings(), readingSettings(c))
		docs = append(docs, doc)
	}
	return docs
}

// emitPage writes a page where --output says, once its documents are sound.
func (p *program) emitPage(c *cli.Context, pg page.Page, docs []report.Document) error {
	for i := range docs {
		if err := docs[i].Check(); err != nil {
			return err
		}
	}
	var b bytes.Buffer
	if err := page.Write(&b, pg); err != nil {
		return err
	}
	if path := c.String("output"); path != "" && path != "-" {
		return replaceFile(path, b.Bytes())
	}
	_, err := p.stdout.Write(b.Bytes())
	return writing("standard output", err)
}
