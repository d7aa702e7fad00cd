package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/compare"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

func (p *program) compareCommand() *cli.Command {
	return &cli.Command{
		Name:      "compare",
		Usage:     "before and after: did the mitigation work, and by how much?",
		ArgsUsage: "[FILE...]",
		Description: `For each home measured before its system was switched on and after: both annual
means, of the same twelve months, and the reduction, with intervals; the chance
that the home is now below the level; and, beside them, what the raw means say
and what the seasons alone would have made of them. The readings are parted by a
phase column, or by --switch or --switches; the day of a switch and the 24 hours
after it are left out. Of several systems in turn, as a column system of the
readings or of --switches says, the last is compared, and of one repaired,
switched off and on again within 48 hours, what was measured since; a note says
what is left out. Where days with the system rose, by the charts of radonyear
watch, or it is off, it is not said to be below now. Several homes are joined
too: what the systems do in the middle of them, how much homes differ, and what
the next home may expect. Season and weather of those days are learned, as
radonyear season does, from the homes of the files that never had a system (that
--switches does not name, or whose phase is before throughout) where 20 or more
of them have most of a year of day means and the others follow their weather;
else the built-in profile is used.

Examples:
  radonyear compare readings.csv --unit Bq/m3
  radonyear compare log.csv --unit Bq/m3 --switch 2026-03-02T15:30
  radonyear compare readings.csv --by system
  radonyear compare homes.csv --with system=fan --pair street
  radonyear compare --before 240/7d --before-start 2026-01-10 \
      --after 38/7d --after-start 2026-03-15`,
		Flags: slices.Concat(switchFlags(), []cli.Flag{
			&cli.BoolFlag{Name: "find-switch", Usage: "look for the day of the switch in the days of each monitor, where nobody wrote it down; it is given with its own uncertainty, and homes are then not joined"},
			&cli.BoolFlag{Name: "series", Usage: "also read each monitor that stood through the switch by its own days: an interrupted time series"},
			&cli.StringFlag{Name: "weather", Usage: "with --series: CSV `FILE` with a column date and one column a covariate, such as the outdoor temperature or pressure"},
			&cli.StringFlag{Name: "by", Usage: "join homes also by `COLUMN`: area, or any other the files have, such as the kind of system, which rows from before may leave blank (default: all homes together)"},
			&cli.BoolFlag{Name: "joined", Usage: "with --format csv: the homes joined, a row a group of --by and one of all, in place of a row a home"},
			&cli.StringFlag{Name: "with", Usage: "another question: homes whose `COLUMN=VALUE` says that they have a system, against the others"},
			&cli.StringFlag{Name: "pair", Usage: "with --with: the `COLUMN` that names which two homes belong together"},
			&cli.StringSliceFlag{Name: "reduction", Usage: "a `REDUCTION`, such as 50%, whose probability is asked for; may be repeated"},
			&cli.StringFlag{Name: "before", Usage: "the `RESULT` of one test before, typed in: its value and its length, as 240/7d or \"6.5 pCi/L/48h\""},
			&cli.StringFlag{Name: "before-start", Usage: "its first `DAY`"},
			&cli.StringFlag{Name: "after", Usage: "the `RESULT` of one test after, typed in"},
			&cli.StringFlag{Name: "after-start", Usage: "its first `DAY`"},
		}, comparingFlags(), plotFlags("reductions, home by home and joined, or one home's two years,"), readingFlags(), outputFlags()),
		Action: p.compare,
	}
}

// comparingFlags are the options of the model that hold for a comparison.
func comparingFlags() []cli.Flag {
	flags := slices.DeleteFunc(judgingFlags(), func(f cli.Flag) bool {
		return slices.Contains([]string{"target", "year-from", "phase", "profile"}, f.Names()[0])
	})
	return append(flags, profileFlag(fmt.Sprintf("learned from the homes of the files that never had a system, where --switches or a phase column tells of %d with most of a year of day means, else built-in", fewestNeighbours)))
}

// compareQuestion is what compare asks of the model.
type compareQuestion struct {
	question
	switches switches
	atLeast  []float64
	by       string   // "" for all homes together alone
	find     bool     // the switch is looked for, and
	looked   []looked // what was found, a home of the files each
	through  bool     // monitors that stood through the switch are read by themselves
	weather  weather

	neighbours neighbours
}

func parseCompare(c *cli.Context) (q compareQuestion, err error) {
	if q.question, err = parseQuestion(c); err != nil {
		return q, err
	}
	for _, text := range c.StringSlice("reduction") {
		x, err := parseRelative(text)
		if err != nil || x <= 0 {
			return q, usageError{fmt.Sprintf("--reduction %q is not a percentage between 0 and 100", text), "--reduction 50%"}
		}
		q.atLeast = append(q.atLeast, x)
	}
	q.neighbours.wanted = wantsNeighbours(c)
	q.by, q.find, q.through = c.String("by"), c.Bool("find-switch"), c.Bool("series")
	if q.switches, err = parseSwitches(c); err != nil {
		return q, err
	}
	q.beside = append(q.beside, q.switches.beside...)
	if q.find && q.switches.given() {
		return q, usageError{"--find-switch looks for what --switch or --switches says", "leave out one of the two"}
	}
	if path := c.String("weather"); path != "" {
		if !q.through {
			return q, usageError{"--weather is for --series", "give both, or leave out --weather"}
		}
		f, err := openSide(c, path, "weather", "a line is date,number[,number] under a header, for example 2026-01-10,-3.5")
		if err != nil {
			return q, err
		}
		q.beside = append(q.beside, f.sum)
		if q.weather, err = readWeather(f); err != nil {
			return q, err
		}
	}
	return q, nil
}

func (q compareQuestion) options() compare.Options {
	return compare.Options{Profile: q.Profile, Levels: q.Levels, AtLeast: q.atLeast, Confidence: q.Confidence,
		AreaPrior: q.AreaPrior, Course: q.Course, Calibration: q.Calibration}
}

// cyclingSwitches is from how many switches on a home is a study of its own.
const cyclingSwitches = 3

// compared is one home's result, and what only the files know of it.
type compared struct {
	compare.Result
	extra   map[string]string
	cycled  *compare.Cycled // where the system was switched on and off
	found   *found          // where the switch was looked for
	through []through       // monitors that stood through the switch
	toggles []toggle        // where they are known
	rises   []rise          // of its readings with the system, those that go on
	sides   [2][]analysis.Series
}

func (p *program) compare(c *cli.Context) error {
	q, err := parseCompare(c)
	if err != nil {
		return err
	}
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	if c.Bool("joined") && format != "csv" {
		return usageError{"--joined says which table is written as CSV; the other formats hold both", "give --format csv with it, or leave out --joined"}
	}
	if c.Bool("joined") && q.find {
		return usageError{"--joined is not for homes whose switch is looked for, which are not joined", "leave out --joined, or give days that the households confirmed with --switches FILE"}
	}
	if _, err := plotFormat(c); err != nil {
		return err
	}
	if err := q.loadProfile(); err != nil {
		return err
	}
	if c.IsSet("with") || c.IsSet("pair") {
		return p.compareHomes(c, q, format)
	}
	isTyped := false
	for _, name := range []string{"before", "before-start", "after", "after-start"} {
		isTyped = isTyped || c.IsSet(name)
	}
	doc := report.Document{Command: "compare", Version: version, Beside: q.beside, Levels: q.Levels, Confidence: q.Confidence}
	var results []compared
	var unknown []analysis.Note // of homes that only the switches name
	switch {
	case isTyped && c.Args().Present():
		return usageError{"a file and typed-in results were given", "give files, or --before and --after with their --before-start and --after-start, not both"}
	case isTyped:
		home, fields, err := p.typedHome(c)
		if err != nil {
			return err
		}
		r, err := compare.Compare(home, q.options())
		if err != nil {
			return fmt.Errorf("no result: %s", strings.TrimPrefix(err.Error(), `home "typed in": `))
		}
		results = []compared{{Result: r, sides: [2][]analysis.Series{home.Without, home.With}}}
		doc.Settings = slices.Concat(q.compareSettings(), fields)
	case !c.Args().Present():
		return usageError{"neither a file nor typed-in results were given", "radonyear compare FILE, or radonyear compare --before 240/7d --before-start 2026-01-10 --after 38/7d --after-start 2026-03-15"}
	default:
		daily, files, _, err := p.readFiles(c)
		if err != nil {
			return err
		}
		if !q.switches.given() && !q.find && !slices.ContainsFunc(files, func(f ingest.File) bool { return f.ColumnsFound["phase"] != "" }) {
			return hinted{fmt.Errorf("nothing says what was measured before and what after"),
				"give --switch TIME or --switches FILE, let --find-switch look for it, or name a column of before and after with --column NAME=phase"}
		}
		if q.by != "" && q.by != "area" {
			if err := hasColumn("--by", q.by, files, "area, or a column"); err != nil {
				return err
			}
		}
		doc.Inputs, doc.Notes, doc.Rejects = inputs(files, ""), inputNotes(files, daily, ""), rejectsFile(c)
		noted := len(doc.Notes)
		if q.switches.given() && slices.ContainsFunc(files, func(f ingest.File) bool { return f.ColumnsFound["phase"] != "" }) {
			doc.Notes = append(doc.Notes, analysis.Note{Code: "phases-not-used", Text: "The files have a column of phases, which --switch and --switches take the place of."})
		}
		unknown = p.unknownHomes(q, daily)
		doc.Notes = append(doc.Notes, unknown...)
		if q.find {
			q.looked = make([]looked, daily.HomeCount())
			each(len(q.looked), func(i int) {
				q.looked[i] = q.look(daily.Home(i, ingest.Filter{}).Series)
			})
		}
		unused, err := q.settleProfile(daily, unknown)
		if err != nil {
			return err
		}
		doc.Notes = append(doc.Notes, unused...)
		var left []report.LeftOut
		if results, left = q.homes(daily); len(results) == 0 {
			return noResult(left, files)
		}
		var unlearned []analysis.Note
		q, unlearned = q.unlearn(results)
		doc.Notes = append(doc.Notes, unlearned...)
		doc.LeftOut = q.notNeighbours(daily, left)
		grouped := map[[2]string]bool{}
		for _, r := range results {
			grouped[[2]string{r.Home, r.Area}] = q.groupOf(r) != ""
		}
		doc.Notes = slices.Insert(doc.Notes, noted, differingRows(daily, q.by, grouped)...)
		doc.Settings = slices.Concat(q.compareSettings(), readingSettings(c))
	}
	doc.Tables = q.compareTables(results)
	if len(results) == 1 {
		doc.Lead = q.compareInWords(results[0], isTyped)
		for i := range doc.Tables {
			doc.Tables[i].Hidden = true
		}
	}
	doc.Tables = append(doc.Tables, searchedTable(results))
	var joined joinedHomes
	if c.Bool("joined") && len(results) == 1 {
		return hinted{fmt.Errorf("no result: one home alone is joined with none"), "leave out --joined"}
	}
	switch {
	case len(results) > 1 && q.find:
		doc.Tables = append(doc.Tables, report.Table{Key: "pooled", Null: true})
		doc.Notes = append(doc.Notes, notJoined)
	case len(results) > 1:
		var tables []report.Table
		if tables, joined, err = q.pooled(results); err != nil {
			return err
		}
		if c.Bool("joined") {
			doc.CSVTable = len(doc.Tables)
		}
		for i := range tables {
			tables[i].Hidden = len(results) < fewJoined
		}
		doc.Tables = append(doc.Tables, tables...)
	}
	if q.through {
		doc.Tables = append(doc.Tables, seriesTables(results)...)
	}
	doc.After = q.compareSentences(results)
	if q.through && format == "csv" {
		fmt.Fprintf(p.stderr, "radonyear: warning: CSV has a row a home and nothing of --series, which is of monitors\n")
		fmt.Fprintf(p.stderr, "radonyear: hint: --format json has the series, and the table and Markdown show it\n")
	}
	err = p.emitPlotted(c, doc, format, func() (plot.Figure, error) {
		drawn, err := chosen(c, results, func(r compared) analysis.Place { return r.Place })
		if err != nil {
			return plot.Figure{}, err
		}
		if len(drawn) == 1 {
			return q.twoYearsFigure(drawn[0], isTyped), nil
		}
		if c.IsSet("home") || len(results) < fewJoined {
			joined = joinedHomes{} // they are of all homes, not of those drawn; of few homes the tables have none either
		}
		return q.reductionsFigure(drawn, joined)
	})
	if err != nil {
		return err
	}
	if partial := p.partial(doc); partial != nil || len(unknown) == 0 {
		return partial
	}
	return errPartial // a name written in two ways leaves its home without an answer
}

// before are the homes' days without the system: of the weather only these can tell, and of
// that which was learned from some homes only the others.
func (q compareQuestion) before(daily *ingest.Daily) population {
	return population{daily.HomeCount(), func(i int) []subject {
		home, err := q.parted(i, daily.Home(i, ingest.Filter{}))
		if err != nil || len(home.without) == 0 || q.neighbours.of(i) {
			return nil
		}
		return []subject{{series: home.without}}
	}}
}

// parted sorts the readings of home i by phase or by its switches. A reading that
// states no phase is of neither side where the phases part.
func (q compareQuestion) parted(i int, h ingest.Home) (parted, error) {
	if q.find {
		if err := q.looked[i].err; err != nil {
			return parted{}, err
		}
		return partAt(q.looked[i].found, h.Series)
	}
	if q.switches.given() {
		toggles := q.switches.of(h.Name)
		if toggles == nil {
			return parted{}, fmt.Errorf("no switch time in %s", q.switches.file)
		}
		return part(h.Series, toggles)
	}
	var out parted
	for i, s := range h.Series {
		switch h.About[i].Phase {
		case "before":
			out.without = append(out.without, s)
		case "after":
			out.with = append(out.with, s)
		default:
			out.unphased += s.Len()
		}
	}
	return out, nil
}

// homes compares every home that has something to compare.
func (q compareQuestion) homes(daily *ingest.Daily) (results []compared, left []report.LeftOut) {
	homes := population{daily.HomeCount(), func(i int) []subject {
		h := daily.Home(i, ingest.Filter{})
		place := analysis.Place{Home: h.Name, Area: h.Area}
		if len(h.Series) == 0 {
			return []subject{{place: place, why: noField}}
		}
		return []subject{{place: place, series: h.Series, home: i}}
	}}
	return estimateAll(homes, func(s subject) (compared, error) {
		h := daily.Home(s.home, ingest.Filter{})
		sides, err := q.parted(s.home, h)
		if err != nil {
			return compared{}, err
		}
		sides.ran = q.ran(daily, s.home, h, sides)
		r, err := q.compareHome(s.home, h, sides)
		if err == nil && slices.Contains(h.Differs, q.by) {
			if group := groupAfter(daily.Said(s.home, q.by), analysis.Keep(r.sides[1], r.compares), r.Spell != nil); group != "" {
				r.extra = maps.Clone(r.extra)
				if r.extra == nil {
					r.extra = map[string]string{}
				}
				r.extra[q.by] = group
			}
		}
		return r, err
	})
}

// groupAfter is the one value of a column that a home's readings with the system state, where
// what else stands there is blank: a column of systems may be filled in once there is one. ""
// where rows state several; but where the readings were narrowed to one of several systems, as
// with are, what the others state is no matter.
func groupAfter(all []ingest.Said, with []analysis.Series, narrowed bool) (group string) {
	for _, s := range all {
		in := slices.ContainsFunc(with, func(w analysis.Series) bool { return s.End.After(w.Start()) && s.Start.Before(w.End()) })
		switch {
		case narrowed && !in:
		case !narrowed && s.Value != all[0].Value, in && group != "" && s.Value != group:
			return ""
		case in:
			group = s.Value
		}
	}
	return group
}

// systemColumn is the column that says by itself which system a reading is of.
const systemColumn = "system"

// ran are the systems that ran in home i, by its switches where these tell of several, and
// else by what its readings say in the column of systems, or that which --by names.
func (q compareQuestion) ran(daily *ingest.Daily, i int, h ingest.Home, sides parted) (out []compare.Ran) {
	if len(h.Series) == 0 {
		return nil
	}
	if out = ranIn(sides.toggles, h.Series[0].Zone); out != nil {
		return out
	}
	column := q.by
	if column == "" || column == "area" {
		if column = systemColumnOf(daily); column == "" {
			return nil
		}
	}
	for _, s := range daily.Said(i, column) {
		if !slices.Contains(noSystem, strings.ToLower(s.Value)) {
			out = append(out, compare.Ran{From: s.Start, To: s.End, Systems: []string{s.Value}})
		}
	}
	return out
}

// systemColumnOf is that column of the files, as it is written there; "" where there is none.
func systemColumnOf(daily *ingest.Daily) string {
	for _, name := range daily.Extras() {
		if strings.EqualFold(name, systemColumn) {
			return name
		}
	}
	return ""
}

// noSystem is how people write that there is none.
var noSystem = []string{"none", "no", "no system", "without", "off", "-", "0"}

// one compares home i of the files.
func (q compareQuestion) one(i int, h ingest.Home, sides parted) (compared, error) {
	if why := oneSided(sides, h.Series); why != "" {
		return compared{}, fmt.Errorf("%s", why)
	}
	r, err := compare.Compare(compare.Home{Without: sides.without, With: sides.with, Switched: sides.switched, Timed: q.find || q.switches.given(), Ran: sides.ran, Repaired: repairedAt(sides.toggles, h.Series[0].Zone)}, q.options())
	if err != nil {
		return compared{}, err
	}
	r.Home, r.Area = h.Name, h.Area
	r.Notes = slices.Concat(r.Notes, sides.notes())
	out := compared{Result: r, extra: h.Extra, toggles: sides.toggles, sides: [2][]analysis.Series{sides.without, sides.with}}
	q.rose(&out, h, sides)
	if !q.find {
		q.off(&out, sides)
	}
	if q.find {
		// Days that were parted where they differ most show nothing by themselves: no
		// change, and of a level neither, since a strong season may be what parts them.
		f := *q.looked[i].found
		f.change, out.Verdict = out.Verdict, compare.NotShown
		f.below, out.Below = out.Below, slices.Clone(out.Below)
		for k, b := range out.Below {
			if b.Verdict != risen {
				out.Below[k].Verdict = annual.NotConclusive
			}
		}
		if out.Now != nil {
			unconfirmed := *out.Now
			unconfirmed.Verdict = compare.NotShown
			out.Now = &unconfirmed
		}
		out.found = &f
		out.Notes = append(slices.Clip(out.Notes), out.found.notes()...)
	}
	if q.through {
		var notes []analysis.Note
		out.through, notes = q.series(sides, r.Spell)
		out.Notes = append(slices.Clip(out.Notes), notes...)
	}
	if n := spellChanges(sides.toggles, h.Series[0].Zone); n >= cyclingSwitches {
		whole := sides
		if r.Spell != nil { // of what is compared
			in := func(x analysis.Reading) bool { return !x.Start.Before(r.Spell.From) }
			whole.without, whole.with = analysis.Keep(sides.without, in), analysis.Keep(sides.with, in)
		}
		periods, below := whole.periods()
		cycled, err := compare.Cycle(periods, compare.CycleOptions{Confidence: q.Confidence})
		if seen := max(0, len(periods)-1); seen < cyclingSwitches {
			since := ""
			if r.Spell != nil {
				since = ", in what is compared,"
			}
			out.Notes = append(out.Notes, analysis.Note{Code: "no-cycling", Text: fmt.Sprintf("by the switches alone: of %d switches only %d have"+since+" days measured before and after, and it takes %d to tell the system from drift, such as off, on, off, on, a week each", n, seen, cyclingSwitches)})
		} else if err != nil {
			out.Notes = append(out.Notes, analysis.Note{Code: "no-cycling", Text: "by the switches alone: " + err.Error()})
		} else {
			out.cycled = &cycled
			out.Notes = append(out.Notes, cycled.Ratio.Notes...)
			if below > 0 {
				out.Notes = append(out.Notes, analysis.Note{Code: "below-limit", Text: "by the switches alone, " + count(below, "day") + " below the monitor's limit taken as the limit: the fall may be larger"})
			}
		}
	}
	return out, nil
}

// oneSided says in words why there is nothing to compare, "" if there is.
func oneSided(sides parted, all []analysis.Series) string {
	if len(sides.without) > 0 && len(sides.with) > 0 {
		return ""
	}
	if sides.toggles == nil && sides.switched.IsZero() { // by phase
		switch {
		case len(sides.without) == 0 && len(sides.with) == 0:
			return "no reading says whether it is from before or from after"
		case len(sides.without) == 0:
			return "no reading from before"
		}
		return "no reading from after"
	}
	first, last := all[0].Start(), all[0].End()
	for _, s := range all {
		if s.Start().Before(first) {
			first = s.Start()
		}
		if s.End().After(last) {
			last = s.End()
		}
	}
	zone := all[0].Zone
	why := fmt.Sprintf("the readings go from %s to %s", first.In(zone).Format(time.DateOnly), last.In(zone).Format(time.DateOnly))
	for i, t := range sides.toggles {
		if i == 3 {
			why += " and so on"
			break
		}
		why += fmt.Sprintf(", %s on %s", t.words(), t.in(zone).Format(time.DateOnly))
	}
	if sides.near+sides.across > 0 {
		why += "; " + strings.Join(sides.leftOut(), " and ")
	}
	switch {
	case len(sides.without) == 0 && len(sides.with) == 0:
		return "no reading can be used: " + why
	case len(sides.with) == 0:
		return "no reading with the system running: " + why
	}
	return "no reading without the system: " + why
}

func (s parted) leftOut() (parts []string) {
	if s.near > 0 {
		parts = append(parts, count(s.near, "day")+" of a switch or within 24 hours after it left out")
	}
	if s.across > 0 {
		goes := "goes"
		if s.across > 1 {
			goes = "go"
		}
		parts = append(parts, fmt.Sprintf("%s that %s across a switch left out", count(s.across, "result"), goes))
	}
	return parts
}

func (s parted) notes() (notes []analysis.Note) {
	if parts := s.leftOut(); s.across > 0 {
		notes = append(notes, analysis.Note{Code: "across-switch", Text: strings.Join(parts, "; ") + "; put a new detector up when the system is switched"})
	}
	if s.unphased > 0 {
		states, is := "states", "is"
		if s.unphased > 1 {
			states, is = "state", "are"
		}
		notes = append(notes, analysis.Note{Code: "no-phase", Text: fmt.Sprintf("%s that %s no phase %s of neither side; write before or after for each, or give --switch", count(s.unphased, "reading"), states, is)})
	}
	if s.soon {
		notes = append(notes, analysis.Note{Code: "too-soon", Text: "a result begins within a day of the switch; protocols wait 24 hours after it, with the house shut for 12"})
	}
	return notes
}

// unknownHomes says which homes of the switch file no reading is of, on standard error
// too: a name written in two ways leaves its home without an answer.
func (p *program) unknownHomes(q compareQuestion, daily *ingest.Daily) []analysis.Note {
	if q.switches.byHome == nil {
		return nil
	}
	known := map[string]bool{}
	for _, t := range daily.Tracks {
		known[t.Home] = true
	}
	var names []string
	for home := range q.switches.byHome {
		if !known[home] {
			names = append(names, strconv.Quote(home))
		}
	}
	if names == nil {
		return nil
	}
	slices.Sort(names)
	const most = 5
	more := ""
	if n := len(names); n > most {
		names, more = names[:most], fmt.Sprintf(" and %d more", n-most)
	}
	text := fmt.Sprintf("witch times of homes without a reading, in %s: %s%s", q.switches.file, strings.Join(names, ", "), more)
	fmt.Fprintf(p.stderr, "radonyear: skipped: s%s\n", report.Plain(text))
	return []analysis.Note{{Code: "unknown-homes", Text: "S" + text + "."}}
}

// typedHome makes a home of two results on the command line.
func (p *program) typedHome(c *cli.Context) (compare.Home, []report.Field, error) {
	const example = "radonyear compare --before 240/7d --before-start 2026-01-10 --after 38/7d --after-start 2026-03-15"
	for _, name := range []string{"date-order", "decimal", "column", "sheet", "home-from-filename", "rejects", "switch", "switches", "find-switch", "series", "weather", "by", "joined"} {
		if c.IsSet(name) {
			return compare.Home{}, nil, usageError{fmt.Sprintf("--%s is for files, not for typed-in results", name), example}
		}
	}
	opt, err := p.readingOptions(c)
	if err != nil {
		return compare.Home{}, nil, err
	}
	zone, err := ingest.LoadZone(opt.Zone)
	if err != nil {
		return compare.Home{}, nil, err
	}
	var sides [2]analysis.Series
	var fields []report.Field
	unit, named := opt.Unit, opt.Unit != "" // where that is not set, that of the test before
	for k, name := range []string{"before", "after"} {
		text := c.String(name)
		for _, needed := range []string{name, name + "-start"} {
			if c.String(needed) == "" {
				return compare.Home{}, nil, usageError{"typed-in results need --" + needed, example}
			}
		}
		cut := strings.LastIndex(text, "/")
		if cut < 0 {
			return compare.Home{}, nil, usageError{fmt.Sprintf("--%s %q has no length", name, text), "a value and its length in days or hours: --" + name + " 240/7d or --" + name + " 240/48h"}
		}
		length, ok := parseLength(text[cut+1:])
		if !ok {
			return compare.Home{}, nil, usageError{fmt.Sprintf("--%s %q: %q is not a length of up to two years", name, text, text[cut+1:]), "a value and its length in days or hours: --" + name + " 240/7d or --" + name + " 240/48h"}
		}
		given := unit
		if number, own := splitUnit(strings.TrimPrefix(strings.TrimSpace(text[:cut]), "<"), ""); own == "" && !named {
			if x, err := strconv.ParseFloat(number, 64); err == nil && x < compare.Outdoor {
				given = "" // no home holds less than the air outdoors: it is asked about
			}
		}
		v, err := parseTyped(c, name, text[:cut], given)
		if err != nil {
			return compare.Home{}, nil, err
		}
		if opt.Unit == "" {
			unit, named = v.unit, v.named
		}
		start, ok := parseInstant(c.String(name+"-start"), zone)
		if !ok {
			return compare.Home{}, nil, usageError{fmt.Sprintf("--%s-start %q is not a day such as 2026-01-10", name, c.String(name+"-start")), example}
		}
		end := start.Add(length)
		s, err := analysis.NewSeries(analysis.Place{Home: "typed in"}, zone, []analysis.Reading{{Start: start.UTC(), End: end.UTC(), Concentration: v.value, BelowLimit: v.below}})
		if err != nil {
			return compare.Home{}, nil, err
		}
		sides[k] = s
		fields = append(fields, report.Field{Name: name, Value: []report.Field{{Name: "value", Value: v.value}, {Name: "value_unit", Value: "Bq/m3"},
			{Name: "below_limit", Value: v.below}, {Name: "days", Value: length.Hours() / 24}, {Name: "start", Value: start}}})
	}
	if sides[1].Start().Before(sides[0].End()) {
		return compare.Home{}, nil, usageError{fmt.Sprintf("the test after starts on %s, before the test before ends on %s", sides[1].Start().In(zone).Format(time.DateOnly), sides[0].End().In(zone).Format(time.DateOnly)), "--before is the test without the system, --after the one with it"}
	}
	return compare.Home{Without: sides[:1], With: sides[1:]}, fields, nil
}

// parseLength reads "7d", "48h" or "2.5d".
func parseLength(text string) (time.Duration, bool) {
	text = strings.TrimSpace(text)
	if text == "" {
		return 0, false
	}
	unit := map[byte]float64{'d': 24, 'h': 1}[text[len(text)-1]]
	x, err := strconv.ParseFloat(strings.TrimSpace(text[:len(text)-1]), 64)
	if err != nil || unit == 0 || !(x > 0 && x*unit <= 24*ingest.LongestDays) {
		return 0, false
	}
	return time.Duration(x * unit * float64(time.Hour)), true
}

func (q compareQuestion) compareSettings() []report.Field {
	var s []report.Field
	for _, f := range q.settings() {
		if !slices.Contains([]string{"target", "year_from", "phase"}, f.Name) {
			s = append(s, f)
		}
	}
	var at, file any
	if q.switches.all != nil {
		t := q.switches.all[0]
		if at = t.at.Format("2006-01-02T15:04"); t.instant {
			at = t.at.Format("2006-01-02T15:04Z07:00")
		}
	}
	if q.switches.byHome != nil {
		file = q.switches.file
	}
	return append(s, report.Field{Name: "switch", Value: at}, report.Field{Name: "switches", Value: file},
		report.Field{Name: "find_switch", Value: q.find}, report.Field{Name: "series", Value: q.through}, report.Field{Name: "covariates", Value: append([]string{}, q.weather.names...)}, report.Field{Name: "by", Value: q.by}, report.Field{Name: "reductions", Value: append([]float64{}, q.atLeast...)})
}

// compareTables are the results, and for people, table by table, the annual means,
// what the system did and what was measured.
func (q compareQuestion) compareTables(results []compared) []report.Table {
	var places []analysis.Place
	for _, r := range results {
		places = append(places, r.Place)
	}
	name := resultNames(places, "home")
	head := placeColumns(places, "home")[:2]
	main := report.Table{
		Title: "Annual means of the same twelve months without the system and with it, Bq/m³:",
		Columns: slices.Concat(head, []report.Column{
			{Key: "group", Style: report.Text},
			{Key: "switch", Style: report.Date},
			{Key: "before", Style: report.Nested},
			{Key: "after", Style: report.Nested},
			{Key: "before_annual_mean", Head: "Without", Style: report.Estimate, CSVOnly: true},
			{Key: "after_annual_mean", Head: "With", Style: report.Estimate, CSVOnly: true},
			{Key: "year_start", Style: report.Date},
			{Key: "year_end", Style: report.Date},
			{Key: "before_start", Style: report.Date, CSVOnly: true},
			{Key: "before_end", Style: report.Date, CSVOnly: true},
			{Key: "before_days", Style: report.Days, CSVOnly: true},
			{Key: "before_raw_mean", Style: report.Concentration, CSVOnly: true},
			{Key: "before_raw_mean_below_limit", Style: report.Bool, CSVOnly: true},
			{Key: "after_start", Style: report.Date, CSVOnly: true},
			{Key: "after_end", Style: report.Date, CSVOnly: true},
			{Key: "after_days", Style: report.Days, CSVOnly: true},
			{Key: "after_raw_mean", Style: report.Concentration, CSVOnly: true},
			{Key: "after_raw_mean_below_limit", Style: report.Bool, CSVOnly: true},
			{Key: "raw_ratio", Style: report.Factor},
			{Key: "season_artefact", Style: report.Factor},
			{Key: "ratio", Style: report.Estimate},
			{Key: "reduction", Style: report.Estimate},
			{Key: "change", Style: report.Text},
			{Key: "spell", Style: report.Nested},
			{Key: "now", Style: report.Nested},
			{Key: "now_annual_mean", Head: "With,\nnow", Style: report.Estimate, ValueOnly: true, OmitEmpty: true},
			{Key: "below", Style: report.Nested},
			{Key: "reduced_by", Style: report.Nested},
			{Key: "cycling", Style: report.Nested},
			{Key: "found", Style: report.Nested},
		})}
	title := "The annual mean with the system, against each level in Bq/m³:"
	if slices.ContainsFunc(results, func(r compared) bool { return r.Now != nil }) {
		title = "The annual mean with the system, where a note says so as it is now, against each level in Bq/m³:"
	}
	now := report.Table{Title: title, Columns: []report.Column{{Head: "Home", Style: report.Text}}, Hidden: len(q.Levels) <= mostBeside}
	for _, l := range q.Levels {
		at := strconv.FormatFloat(l, 'f', -1, 64)
		chance, verdict := report.Column{Head: "P<" + at + "\n%", Style: report.Probability}, report.Column{Head: "Now, at\n" + at, Style: report.Text, Words: true, With: true}
		now.Columns = append(now.Columns, chance, report.Column{Head: "At\n" + at, Style: report.Text, Words: true, With: true})
		if len(q.Levels) > mostBeside {
			chance.Head, verdict.Head = "", ""
		}
		chance.Key, chance.CSVOnly = "p_below_"+at, true
		main.Columns = append(main.Columns, chance, verdict, report.Column{Key: "verdict_" + at, Style: report.Text, CSVOnly: true})
	}
	for _, x := range q.atLeast {
		main.Columns = append(main.Columns, report.Column{Key: "p_reduced_by_" + strconv.FormatFloat(round(100*x), 'f', -1, 64), Style: report.Probability, CSVOnly: true})
	}
	main.Columns = append(main.Columns, report.Column{Key: "cycling_reduction", Style: report.Estimate, CSVOnly: true})
	alone := "what they alone would make of these weeks"
	if slices.ContainsFunc(results, func(r compared) bool { return r.Course }) {
		alone = "what they alone, and the weather of those days where it is known, would make of these weeks"
	}
	did := report.Table{
		Title: "What the system did, in percent of the annual mean; raw: the fall of the raw means; seasons: " + alone + ", with no work at all:",
		Columns: []report.Column{
			{Head: "Home", Style: report.Text}, {Head: "Raw", Style: report.Text, Words: true}, {Head: "Seasons", Style: report.Text, Words: true},
			{Head: "Reduction", Style: report.Estimate}, {Head: "A reduction is", Style: report.Text, Words: true}}}
	for _, x := range q.atLeast {
		did.Columns = append(did.Columns, report.Column{Head: fmt.Sprintf("P>%g %%", round(100*x)), Style: report.Probability})
	}
	spelled := report.Table{Title: "By the switches alone, each spell against its neighbours, in percent:", Columns: []report.Column{
		{Head: "Home", Style: report.Text}, {Head: "Switches", Style: report.Count}, {Head: "Reduction", Style: report.Estimate}}}
	area, until := 1, 2 // what goes first where a line is short; an area that tells two homes apart stays
	if len(shared(places)) > 0 {
		area, until = 0, 1
	}
	measured := report.Table{
		Title: "What was measured, Bq/m³:",
		Columns: []report.Column{
			{Head: "Home", Style: report.Text}, {Head: "Area", Style: report.Text, OmitEmpty: true, Spare: area},
			{Head: "Before\nfrom", Style: report.Date}, {Head: "Until", Style: report.Date, Spare: until}, {Head: "Days", Style: report.Days}, {Head: "Raw\nmean", Style: report.Concentration},
			{Head: "After\nfrom", Style: report.Date}, {Head: "Until", Style: report.Date, Spare: until}, {Head: "Days", Style: report.Days}, {Head: "Raw\nmean", Style: report.Concentration},
		}}
	for _, r := range results {
		below, reduced := []any{}, []any{}
		for k, b := range r.Below {
			fields := []report.Field{{Name: "level", Value: b.Level}, {Name: "probability", Value: b.Probability}, {Name: "verdict", Value: string(b.Verdict)}}
			if r.found != nil {
				fields = append(fields, report.Field{Name: "verdict_if_confirmed", Value: string(r.found.below[k].Verdict)})
			}
			below = append(below, fields)
		}
		for _, a := range r.AtLeast {
			reduced = append(reduced, []report.Field{{Name: "reduction", Value: a.Reduction}, {Name: "probability", Value: a.Probability}})
		}
		var group, spells any
		if q.by != "" {
			group = q.groupOf(r)
		}
		if r.cycled != nil {
			spells = r.cycled.Reduction
		}
		cells := []any{r.Home, r.Area, group, instant(r.Switched), sideFields(r.Without), sideFields(r.With),
			r.Without.AnnualMean, r.With.AnnualMean, instant(r.YearStart), instant(r.YearEnd),
			instant(r.Without.Start), instant(r.Without.End), r.Without.Days, sideRaw(r.Without), r.Without.AllBelow,
			instant(r.With.Start), instant(r.With.End), r.With.Days, sideRaw(r.With), r.With.AllBelow, rawRatio(r.Result), r.SeasonArtefact, r.Ratio, r.Reduction, string(r.Verdict), spellFields(r.Spell), nowFields(r.Now), nowMean(r.Now), below, reduced, cycledFields(r.cycled), foundFields(r.found)}
		against := []any{r.Home}
		for _, b := range r.Below {
			cells = append(cells, b.Probability, string(b.Verdict), string(b.Verdict))
			against = append(against, b.Probability, string(b.Verdict))
		}
		now.Rows = append(now.Rows, report.Row{Cells: against})
		for _, a := range r.AtLeast {
			cells = append(cells, a.Probability)
		}
		main.Rows = append(main.Rows, report.Row{Label: name(r.Place), Notes: rowNotes(r.Notes), Cells: append(cells, spells)})
		row := []any{r.Home, rawFall(r.Result), fall(r.SeasonArtefact), r.Reduction, changeWords(r)}
		for _, a := range r.AtLeast {
			row = append(row, a.Probability)
		}
		did.Rows = append(did.Rows, report.Row{Cells: row})
		did.Tenfold = did.Tenfold || rawRatio(r.Result) != nil && r.RawRatio > ten || r.SeasonArtefact > ten
		if r.cycled != nil {
			spelled.Rows = append(spelled.Rows, report.Row{Cells: []any{r.Home, r.cycled.Switches, r.cycled.Reduction}})
		}
		measured.Rows = append(measured.Rows, report.Row{Cells: []any{r.Home, r.Area, instant(r.Without.Start), instant(r.Without.End), r.Without.Days, sideRaw(r.Without), instant(r.With.Start), instant(r.With.End), r.With.Days, sideRaw(r.With)}})
	}
	spelled.Hidden = len(spelled.Rows) == 0
	return []report.Table{main, now, did, spelled, measured}
}

// mostBeside is how many levels a line has room for beside the annual means and a note.
const mostBeside = 1

// rawRatio is a cell with the ratio of the raw means, empty where one of them is no
// more than a limit.
func rawRatio(r compare.Result) any {
	if r.Without.AllBelow || r.With.AllBelow {
		return nil
	}
	return r.RawRatio
}

// rawFall is the fall of the raw means for people, "" where there is none.
func rawFall(r compare.Result) any {
	if rawRatio(r) == nil {
		return nil
	}
	return fall(r.RawRatio)
}

// ten times as much is where a rise is told as no more than that.
const ten = 10

// fall is by how many percent a ratio lies under 1.
func fall(ratio float64) string {
	if ratio > ten {
		return report.Value(compare.ReductionOf(analysis.Estimate{Value: ratio})) // no more than that
	}
	return report.Whole(100 * (1 - ratio))
}

// groupOf is the group that --by puts a home in.
func (q compareQuestion) groupOf(r compared) string {
	if q.by == "area" {
		return r.Area
	}
	return r.extra[q.by]
}

// notJoined is said in place of the homes joined where their switches were looked for.
var notJoined = analysis.Note{Code: "not-joined", Text: "The switches of these homes were looked for, so that the homes are not joined and no share of them is given: a change is found, as a rule, in those that fell furthest, and so the rest would be left out. Have the households confirm the days, and give them with --switches FILE, which joins all homes."}

// fewJoined is under how many homes next to nothing can be said of others.
const fewJoined = 4

// joinedHomes are the homes joined, those of all groups and each group's.
type joinedHomes struct {
	all    *compare.Pooled // nil where they cannot be joined
	groups []joinedGroup   // those that can be, in order
}

type joinedGroup struct {
	name string
	compare.Pooled
}

// pooled joins the homes, all of them and by what --by names. For people other middles, and
// the shares below a level, are tables of their own.
func (q compareQuestion) pooled(results []compared) (tables []report.Table, joinedOf joinedHomes, err error) {
	head := "Homes"
	if q.by != "" {
		head = firstUpper(q.by)
	}
	pooled := report.Table{Key: "pooled",
		Title: "Homes joined: their middle reduction and what the next home may expect, in percent, and by what factor homes differ:",
		Columns: []report.Column{
			{Key: "group", Style: report.Text},
			{Head: head, Style: report.Text},
			{Key: "homes", Style: report.Count},
			{Key: "joined", Head: "Homes", Style: report.Count}, // those with a ratio
			{Key: "ratio", Style: report.Estimate},
			{Key: "reduction", Head: "Reduction", Style: report.Estimate},
			{Key: "next_reduction", Style: report.Estimate},
			{Head: "Next home", Style: report.Text, Words: true},
			{Key: "median_reduction", Style: report.Estimate},
			{Key: "paired_t_reduction", Style: report.Estimate},
			{Key: "tau", Head: "Differ\n×", Style: report.Factor},
			{Key: "heterogeneity", Style: report.Nested},
			{Key: "q", Style: report.Factor, CSVOnly: true}, {Key: "q_df", Style: report.Count, CSVOnly: true}, {Key: "q_p", Style: report.Probability, CSVOnly: true}, {Key: "i2", Style: report.Share, CSVOnly: true},
			{Key: "common_variance", Style: report.Factor},
			{Key: "below", Style: report.Nested},
		}}
	for _, l := range q.Levels {
		at := strconv.FormatFloat(l, 'f', -1, 64)
		pooled.Columns = append(pooled.Columns, report.Column{Key: "share_below_" + at, Style: report.Fraction, CSVOnly: true}, report.Column{Key: "share_homes_" + at, Style: report.Count, CSVOnly: true}, report.Column{Key: "not_conclusive_" + at, Style: report.Count, CSVOnly: true})
	}
	middles := report.Table{Title: "Their middle reduction otherwise, in percent, each home counted alike: by ranks (Hodges and Lehmann) and by Student's t; Q, about df where homes do not differ, and I², how much of their scatter is that they do:",
		Columns: []report.Column{{Head: head, Style: report.Text}, {Head: "By\nranks", Style: report.Estimate}, {Head: "By t", Style: report.Estimate}, {Head: "Q", Style: report.Factor}, {Head: "df", Style: report.Count}, {Head: "I²\n%", Style: report.Share}}}
	below := report.Table{Title: "Homes whose annual mean with the system, as it is now, is estimated to be below the level, with an interval in percent, and how many of the homes are not conclusively above or below it:",
		Columns: []report.Column{{Head: head, Style: report.Text}, {Head: "Homes", Style: report.Count}, {Head: "Level", Style: report.Level}, {Head: "Below", Style: report.Fraction}, {Head: "Open", Style: report.Count}}}
	groups := map[string][]compared{}
	if q.by != "" {
		for _, r := range results {
			groups[q.groupOf(r)] = append(groups[q.groupOf(r)], r)
		}
	}
	add := func(key any, name string, of []compared) error { // the key of all homes is nil
		var rs []compare.Result
		for _, r := range of {
			rs = append(rs, r.Result)
		}
		effects, common, left := compare.Effects(rs)
		var notes []analysis.Note
		if len(effects) < fewJoined {
			notes = append(notes, analysis.Note{Code: "few-joined", Text: fmt.Sprintf("under %d homes say next to nothing of others like them", fewJoined)})
		}
		if left.With > 0 {
			notes = append(notes, analysis.Note{Code: "pooled-left-out", Text: count(left.With, "home") + " with nothing but limits with the system, and so no ratio to join: as a rule those that fell furthest, so that the reductions joined here, the next home's too, are less than these systems do"})
		}
		if left.Without > 0 {
			notes = append(notes, analysis.Note{Code: "pooled-left-out", Text: count(left.Without, "home") + " with nothing but limits without the system, and so no ratio to join"})
		}
		joined := make([]any, 13)
		if len(effects) > 0 {
			pool, err := compare.Pool(effects, compare.PoolOptions{Confidence: q.Confidence, Common: common})
			if err != nil { // the homes' own results stand
				notes = append(notes, analysis.Note{Code: "not-joined", Text: err.Error()})
			} else {
				if key == nil {
					joinedOf.all = &pool
				} else {
					joinedOf.groups = append(joinedOf.groups, joinedGroup{name, pool})
				}
				notes = append(notes, pool.Notes...)
				var next, tau, h, heldQ, df, p, i2 any
				if pool.Next != nil {
					reduction := compare.ReductionOf(*pool.Next)
					next = report.Interval(reduction)
					pooled.Tenfold = pooled.Tenfold || report.IntervalTenfold(reduction)
				}
				if pool.Tau != nil {
					tau = math.Exp(pool.Tau.Value)
				}
				if x := pool.Heterogeneity; x != nil {
					heldQ, df, p, i2 = x.Q, x.DF, x.P, x.I2
					h = []report.Field{{Name: "tau", Value: pointed(pool.Tau)}, {Name: "i2", Value: x.I2}, {Name: "q", Value: x.Q}, {Name: "df", Value: x.DF}, {Name: "p", Value: x.P}}
				}
				joined = []any{pool.Ratio, pool.Reduction, reductionOf(pool.Next), next, reductionOf(pool.Median), reductionOf(pool.PairedT), tau, h, heldQ, df, p, i2, common}
				if pool.Median != nil || pool.PairedT != nil || h != nil {
					var few []analysis.Note // of ranks, said in this table too
					for _, n := range pool.Notes {
						if n.Code == "few-homes" {
							few = rowNotes([]analysis.Note{n})
						}
					}
					middles.Rows = append(middles.Rows, report.Row{Label: name, Notes: few, Cells: []any{name, reductionOf(pool.Median), reductionOf(pool.PairedT), heldQ, df, i2}})
				}
			}
		}
		list, flat := []any{}, []any{}
		for k, l := range q.Levels {
			n, open, rose, stopped, expected := 0, 0, 0, 0, 0.0
			for _, r := range rs {
				if analysis.HasNote(r.Notes, systemOff) { // whatever it was with it
					stopped++
					continue
				}
				if r.Below[k].Verdict == risen { // nobody knows of now
					rose++
					continue
				}
				if now(r).AnnualMean.Value < l {
					n++
				}
				if v := r.Below[k].Verdict; v != annual.Above && v != annual.Below {
					open++
				}
				expected += r.Below[k].Probability
			}
			var share, mean any
			counted := len(rs) - rose - stopped // what the share is of
			if counted > 0 {
				e, err := compare.ShareBelow(n, counted, q.Confidence)
				if err != nil {
					return err
				}
				e.Value, e.Lower, e.Upper, e.Unit = e.Value/100, e.Lower/100, e.Upper/100, "" // of percent
				share, mean = e, expected/float64(counted)
			}
			var out []analysis.Note
			if rose+stopped > 0 {
				why := "whose readings rose while the system ran"
				switch {
				case rose == 0:
					why = "whose system is off"
				case stopped > 0:
					why += ", or whose system is off"
				}
				out = []analysis.Note{{Code: "share-risen", Text: fmt.Sprintf("of those below %g Bq/m³, %s left out, %s: what they are now is not certain", l, count(rose+stopped, "home"), why)}}
				notes = append(notes, out...)
			}
			list = append(list, []report.Field{{Name: "level", Value: l}, {Name: "homes", Value: n}, {Name: "share", Value: share}, {Name: "share_homes", Value: counted}, {Name: "expected_share", Value: mean}, {Name: "not_conclusive", Value: open}, {Name: "risen", Value: rose}, {Name: "off", Value: stopped}})
			flat = append(flat, share, counted, open)
			below.Rows = append(below.Rows, report.Row{Label: name, Notes: rowNotes(out), Cells: []any{name, counted, l, share, open}})
		}
		pooled.Rows = append(pooled.Rows, report.Row{Label: name, Notes: rowNotes(notes), Cells: slices.Concat([]any{key, name, len(of), len(effects)}, joined, []any{list}, flat)})
		return nil
	}
	for _, name := range slices.Sorted(maps.Keys(groups)) {
		shown := name
		if name == "" {
			shown = "(none)"
		}
		if err := add(name, shown, groups[name]); err != nil {
			return nil, joinedOf, err
		}
	}
	err = add(nil, "all homes", results)
	return []report.Table{pooled, middles, below}, joinedOf, err
}

// reductionOf is a cell with the reduction of a ratio, empty where there is none.
func reductionOf(ratio *analysis.Estimate) any {
	if ratio == nil {
		return nil
	}
	return compare.ReductionOf(*ratio)
}

func cycledFields(c *compare.Cycled) any {
	if c == nil {
		return nil
	}
	contrasts := []any{}
	for _, x := range c.Contrasts {
		contrasts = append(contrasts, []report.Field{{Name: "start", Value: x.Start}, {Name: "on", Value: x.On}, {Name: "ratio", Value: x.Ratio}})
	}
	return []report.Field{{Name: "switches", Value: c.Switches}, {Name: "ratio", Value: c.Ratio}, {Name: "reduction", Value: c.Reduction}, {Name: "df", Value: c.DF}, {Name: "contrasts", Value: contrasts}}
}

// sideRaw is a cell with a side's raw mean, which may be no more than a limit.
func sideRaw(s compare.Side) any {
	if s.AllBelow && s.RawMean > 0 {
		return report.Limit(s.RawMean)
	}
	return s.RawMean
}

// now is the side that says how high a home is now.
func now(r compare.Result) compare.Side {
	if r.Now != nil {
		return r.Now.Side
	}
	return r.With
}

// nowFields are those of the home as it is now, where that is less than all with the system.
func nowFields(n *compare.Now) any {
	if n == nil {
		return nil
	}
	return slices.Concat([]report.Field{{Name: "from", Value: instant(n.From)}}, sideFields(n.Side),
		[]report.Field{{Name: "year_start", Value: instant(n.YearStart)}, {Name: "year_end", Value: instant(n.YearEnd)}, {Name: "reduction", Value: n.Reduction}, {Name: "change", Value: string(n.Verdict)}})
}

// spellFields are those of the spell that the readings with the system were narrowed to.
func spellFields(s *compare.Spell) any {
	if s == nil {
		return nil
	}
	return []report.Field{{Name: "from", Value: instant(s.From)}, {Name: "systems", Value: s.Systems}, {Name: "repair", Value: s.Repair}, {Name: "days_left_out", Value: s.LeftOut}}
}

// withWords name what ran on the side with the system, after "with".
func withWords(r compare.Result) string {
	what := "it"
	if s := r.Spell; s != nil {
		if s.Systems != "" {
			what = s.Systems
		}
		if s.Repair {
			what += ", since its repair,"
		}
	}
	return what
}

func nowMean(n *compare.Now) any {
	if n == nil {
		return nil
	}
	return n.AnnualMean
}

// nowDays says which days with the system the home as it is now is by.
func nowDays(n *compare.Now) string {
	return fmt.Sprintf("the days with it from %s to %s", n.Start.Format(time.DateOnly), n.End.Add(-time.Second).Format(time.DateOnly))
}

// ofDays says which days with the system a verdict is of.
func (r compared) ofDays() string {
	if r.Now != nil {
		return nowDays(r.Now)
	}
	return r.comparedDays()
}

// compares says whether a reading with the system is compared.
func (r compared) compares(x analysis.Reading) bool { return !x.Start.Before(r.With.Start) }

// comparedDays says which the reduction is of.
func (r compared) comparedDays() string {
	if r.Spell != nil {
		return "all days with it since " + r.Spell.From.Format(time.DateOnly)
	}
	return "all days with it"
}

func sideFields(s compare.Side) []report.Field {
	return []report.Field{{Name: "days", Value: s.Days}, {Name: "start", Value: instant(s.Start)}, {Name: "end", Value: instant(s.End)},
		{Name: "raw_mean", Value: s.RawMean}, {Name: "raw_mean_below_limit", Value: s.AllBelow}, {Name: "annual_mean", Value: s.AnnualMean}}
}

// compareInWords is a single home as people would be told it.
func (q compareQuestion) compareInWords(r compared, isTyped bool) []string {
	show := func(x float64) string { return report.Number(x, q.Levels...) }
	side := func(s compare.Side) string {
		value := "raw mean " + show(s.RawMean) + " Bq/m³"
		switch {
		case s.AllBelow && s.RawMean == 0:
			value = fmt.Sprintf("a result of zero, taken as below %g Bq/m³", temporal.ZeroLimit)
		case s.AllBelow:
			value = "below " + show(s.RawMean) + " Bq/m³"
		}
		return fmt.Sprintf("%s over %s from %s", value, countDays(s.Days), s.Start.Format(time.DateOnly))
	}
	what := "Without the system"
	if !isTyped {
		what = "Home " + report.PlaceName(analysis.Place{Home: r.Home, Area: r.Area}) + ": without the system"
	}
	words := func(x float64) string {
		switch percent := math.Round(100 * (x - 1)); {
		case percent == 0:
			return "no different"
		case x > 10:
			return tenTimes + " as high"
		case percent > 0:
			return fmt.Sprintf("%g %% higher", percent)
		default:
			return fmt.Sprintf("%g %% lower", -percent)
		}
	}
	raw := fmt.Sprintf("Raw, the second is %s;", words(r.RawRatio))
	if r.Without.AllBelow || r.With.AllBelow {
		raw = "One side is known by its limit only;"
	}
	lines := []string{
		fmt.Sprintf("%s %s; with %s %s.", what, side(r.Without), withWords(r.Result), side(r.With)),
		fmt.Sprintf("%s with no work at all %s alone would make it %s.", raw, seasonsOf(r.Course), words(r.SeasonArtefact)),
		fmt.Sprintf("Annual mean of the twelve months from %s: %s without the system, %s with it; %g %% intervals.", r.YearStart.Format(time.DateOnly), q.meanWords(r.Without), q.meanWords(r.With), round(100*q.Confidence)),
		q.reductionWords(r),
	}
	if r.found != nil {
		lines = slices.Insert(lines, 1, r.found.inWords())
	}
	if c := r.cycled; c != nil {
		lines = append(lines, fmt.Sprintf("By its %d switches alone, each spell against its neighbours: reduction %s %%, interval %s.", c.Switches, report.Value(c.Reduction), reductionRange(c.Reduction, "")))
	}
	confirmed := ""
	if r.found != nil {
		confirmed = ", if the day is confirmed"
	}
	for _, a := range r.AtLeast {
		lines = append(lines, fmt.Sprintf("Probability of a reduction of more than %g %%%s: %s %%.", round(100*a.Reduction), confirmed, report.Percent(a.Probability, q.Confidence)))
	}
	if n := r.Now; n != nil {
		when := "Now, with the system"
		if r.ended() {
			when = "Over the last twelve months with the system"
		}
		lines = append(lines, fmt.Sprintf("%s, by %s: annual mean of the twelve months from %s %s.", when, nowDays(n), n.YearStart.Format(time.DateOnly), q.meanWords(n.Side)))
	}
	for k, b := range r.Below {
		verdict := levelWords(r, k)
		if p := max(b.Probability, 1-b.Probability); b.Verdict == annual.NotConclusive && p > q.Confidence && now(r.Result).Days < annual.LeastDays {
			verdict += fmt.Sprintf(", with under %d hours measured", leastHours)
		}
		if b.Verdict == annual.Above || b.Verdict == annual.Below {
			verdict = fmt.Sprintf("conclusive, %s %g Bq/m³", b.Verdict, b.Level)
		}
		what := "it is now"
		if analysis.HasNote(r.Notes, afterSideRose) || analysis.HasNote(r.Notes, systemOff) {
			what = "the annual mean with the system, by " + r.ofDays() + ", is"
		}
		lines = append(lines, fmt.Sprintf("Probability that %s below %g Bq/m³%s: %s %%. Verdict: %s.", what, b.Level, confirmed, report.Percent(b.Probability, q.Confidence), verdict))
	}
	return append(lines, notesInWords(rowNotes(r.Notes))...)
}

// meanWords is an annual mean with its interval; of a side of limits only the upper
// one is the home's own.
func (q compareQuestion) meanWords(s compare.Side) string {
	e := s.AnnualMean
	if s.AllBelow {
		return fmt.Sprintf("under %s Bq/m³", report.Number(e.Upper, q.Levels...))
	}
	return fmt.Sprintf("%s Bq/m³ (%s)", report.Number(e.Value, q.Levels...), report.Interval(e, q.Levels...))
}

// tenTimes is how a rise to over ten times is told in words, since of -337000 % nobody
// can say how much it is.
const tenTimes = "more than ten times"

// seasonsOf are what moves a home without any work.
func seasonsOf(course bool) string {
	if course {
		return "the seasons and the weather of those days"
	}
	return "the seasons"
}

// reductionRange are a reduction's limits in a sentence, with what follows a number.
func reductionRange(e analysis.Estimate, unit string) string {
	if report.Tenfold(e, e.Lower) && !report.Tenfold(e, e.Upper) {
		return "from " + tenTimes + " as much radon to " + report.Bound(e, e.Upper) + " %"
	}
	return report.Interval(e) + unit
}

// higherWords are a reduction below nothing and its interval, under its name, in a sentence.
func higherWords(e analysis.Estimate, interval string) string {
	higher := report.Number(-e.Value) + " % higher"
	if report.Tenfold(e, e.Value) {
		higher = tenTimes + " as high"
	}
	if report.Tenfold(e, e.Upper) {
		return higher + ", throughout its " + interval
	}
	return higher + ", " + interval + " of the reduction " + reductionRange(e, " %")
}

// reductionWords is the reduction in a sentence: as a bound where one side is limits
// only, and as an increase where it is one.
func (q compareQuestion) reductionWords(r compared) string {
	e := r.Reduction
	end := fmt.Sprintf("end of its %g %% interval: %s.", round(100*q.Confidence), shownWords(r))
	switch {
	case r.With.AllBelow && report.Tenfold(e, e.Lower):
		return "Reduction: not told, with " + tenTimes + " as much radon at the lower " + end
	case r.With.AllBelow:
		return fmt.Sprintf("Reduction: at least %s %%, the lower %s", report.Number(e.Lower), end)
	case r.Without.AllBelow && report.Tenfold(e, e.Upper):
		return "No reduction: " + tenTimes + " as much radon with the system, even at the upper " + end
	case r.Without.AllBelow:
		return fmt.Sprintf("Reduction: at most %s %%, the upper %s", report.Number(e.Upper), end)
	case e.Value < 0:
		round := "the readings are"
		if r.toggles != nil {
			round = "on and off are"
		}
		return fmt.Sprintf("No reduction: the mean with the system is %s: %s. Look whether the system runs, and whether %s the right way round.", higherWords(e, "interval"), shownWords(r), round)
	}
	return fmt.Sprintf("Reduction: %s %%, interval %s: %s.", report.Number(e.Value), reductionRange(e, ""), shownWords(r))
}

// shownWords is a verdict at the end of a sentence.
func shownWords(r compared) string {
	if r.Verdict == compare.NotShown {
		return "a change is " + changeWords(r)
	}
	return changeWords(r)
}

// changeWords is a verdict for people, and for a switch that was looked for what would
// make it another one.
func changeWords(r compared) string {
	if r.found != nil && r.found.change != compare.NotShown {
		return string(r.Verdict) + unlessConfirmed
	}
	return string(r.Verdict)
}

// levelWords are the same of level k.
func levelWords(r compared, k int) string {
	if r.found != nil && r.found.below[k].Verdict != r.Below[k].Verdict {
		return string(r.Below[k].Verdict) + unlessConfirmed
	}
	return string(r.Below[k].Verdict)
}

const unlessConfirmed = " unless the day is confirmed"

// leastHours is how long the shortest test is that any verdict is of.
var leastHours = int(math.Round(24 * annual.LeastDays))

// compareSentences say under a result what it rests on.
func (q compareQuestion) compareSentences(results []compared) []string {
	var out []string
	for i, s := range q.sentences() {
		if i == 1 { // what annual says of its target
			s = fmt.Sprintf("Both annual means are of the same twelve months: around all that was measured, or where that is more than a year, those of which most was measured on both sides. A change is shown where the %g %% interval of the ratio holds no 1 and each side was measured for %[2]d hours; a verdict on a level needs a probability of %[1]g %%, and %[2]d hours with the system too.", round(100*q.Confidence), leastHours)
			if slices.ContainsFunc(results, func(r compared) bool { return r.Now != nil }) {
				s += " What is said of now is of what was measured last, and of twelve months around that, where a note says so."
			}
			if q.find {
				s += " By a switch that was looked for there is neither until its day is confirmed."
			}
		}
		out = append(out, s)
	}
	return out
}
