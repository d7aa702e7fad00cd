package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/compare"
	"radonyear/cmd/radonyear/internal/page"
	"radonyear/cmd/radonyear/internal/report"
)

// A page of homes, in words for the people who live in them. What it says beside the
// numbers is common practice: two measurements before work is ordered, a retest within
// about five years, with a system within two and not in the first 24 hours after it was
// switched on; more radon nearer the ground and, in most homes, in winter.

// page is the whole page but for how it was made.
func (q homesQuestion) page(homes []homeOnPage, left []report.LeftOut, docs []report.Document) (page.Page, error) {
	var out page.Page
	var places []analysis.Place
	for _, h := range homes {
		places = append(places, h.place)
	}
	name := resultNames(places, "home")
	for _, h := range homes {
		say, command := q.judgedSections, "verdict"
		if h.compared != nil {
			say, command = q.comparedSections, "compare"
		}
		sections := say(h)
		of := page.Of{Command: command, Home: h.place.Home, Area: h.place.Area}
		if len(homes) == 1 && left == nil {
			out.Title = "Radon in home " + name(h.place)
			out.Heading = page.Say("Radon in home {}", page.Name(name(h.place)))
			for i := range sections {
				sections[i].Of = of
			}
			out.Sections = sections
			break
		}
		out.Sections = append(out.Sections, page.Section{Title: page.Say("Home {}", page.Name(name(h.place))), Of: of, NewPage: len(out.Sections) > 0, Sections: sections})
	}
	if out.Title == "" {
		out.Title = "Radon in " + count(len(homes), "home")
		out.Heading, out.Contents = page.Say("{}", out.Title), true
	}
	if len(homes) == 1 && homes[0].place.Area != "" {
		out.About = page.Say("Area: {}", page.Name(homes[0].place.Area))
	}
	if left != nil {
		var lines []page.Prose
		for _, l := range left {
			lines = append(lines, page.Say("{}: {}.", page.Name(report.PlaceName(l.Place)), page.Name(strings.TrimSuffix(l.Why, "."))))
		}
		out.Sections = append(out.Sections, page.Section{Title: page.Say("Homes without a result"), Blocks: []page.Block{{List: lines}}})
	}
	out.Foot = page.Say("{}", caution)
	return out, nil
}

// bq is a concentration in words.
func (q homesQuestion) bq(x float64, of string) page.Prose {
	return page.Say("{}\u00a0Bq/m³", page.Number(report.Number(x, q.judge.Levels...), x, of))
}

// level is a level in words; k says which.
func (q homesQuestion) level(k int) page.Prose { return levelProse(q.judge.Levels, k, q.inPCi) }

// levelNumber is level k without its unit.
func levelNumber(levels []float64, k int) page.Part {
	return page.Number(report.Exact(levels[k]), levels[k], fmt.Sprintf("settings.levels.%d", k))
}

// levelProse is level k with its unit, and besides as it was asked for where that was in pCi/L.
func levelProse(levels []float64, k int, inPCi []float64) page.Prose {
	out := page.Say("{}\u00a0Bq/m³", levelNumber(levels, k))
	if l := levels[k]; slices.Contains(inPCi, l) {
		pci := round(l / 37)
		out = append(out, page.Say(" ({}\u00a0pCi/L)", page.Number(report.Exact(pci), pci, fmt.Sprintf("settings.levels.%d@pCi/L", k)))...)
	}
	return out
}

// range is an annual mean's interval in words.
func (q homesQuestion) between(e analysis.Estimate, of string) page.Prose {
	return page.Say("{}\u00a0Bq/m³", page.Between(e, of, q.judge.Levels...))
}

// certainty is the confidence in percent.
func (q homesQuestion) certainty() page.Part {
	return page.Number(report.Exact(round(100*q.judge.Confidence)), q.judge.Confidence, "settings.confidence")
}

// chance is a probability in percent; "<0.1" is "under 0.1" in words.
func (q homesQuestion) chance(p float64, of string) page.Prose {
	return chance(p, q.judge.Confidence, of)
}

func chance(p, confidence float64, of string) page.Prose {
	return page.Say("{}\u00a0%", page.Bound(report.Percent(p, confidence), p, of))
}

// days is a length of time.
func days(d float64, of string) page.Prose {
	unit := "days"
	if report.DayCount(d) == "1" {
		unit = "day"
	}
	return page.Say("{} {}", page.Number(report.DayCount(d), d, of), unit)
}

// rangeMeans says once what an interval is.
func (q homesQuestion) rangeMeans() page.Prose {
	return page.Say("What the range means: ranges like this are made so that the true average lies within them in about {} of 100 homes. A wide range says that the test leaves much open; a longer test makes it narrower.", q.certainty())
}

// becquerel says once what the unit is.
const becquerel = "Radon is measured in becquerels in a cubic metre of air, Bq/m³ (37 Bq/m³ are 1 pCi/L)."

// whoseLevels says whose the levels are.
func (q homesQuestion) whoseLevels() (out page.Prose) {
	for k, l := range q.judge.Levels {
		if owners := annual.LevelOwners(l); owners != nil {
			out = append(out, page.Say("{} is a level used by {}. ", q.level(k), strings.Join(owners, ", "))...)
		}
	}
	if q.judge.levelsByDefault {
		out = append(out, page.Say("No level was named for this page, so this one was taken. ")...)
	}
	return append(out, page.Say("The level that counts is the one in force where the home stands. It is about the average over the year in the rooms that people use, not about one test.")...)
}

// clearAnswer says when an answer is called clear.
func (q homesQuestion) clearAnswer() page.Prose {
	return page.Say("An answer is called clear when one side of the level is at least {}\u00a0% likely.", q.certainty())
}

// likely is how sure a clear answer is at the least, in words.
func (q homesQuestion) likely() string {
	if q.judge.Confidence < 0.9 {
		return "likely"
	}
	return "very likely"
}

// judgedSections are of a home that is held against its levels.
func (q homesQuestion) judgedSections(h homeOnPage) []page.Section {
	first := h.judged[0]
	e, unseen := first.AnnualMean, belowLimit(first.Result)
	short := section("In short")
	doubt := firstNote(first.Result.Notes, zeroResult) // it comes before what the numbers say
	if doubt != nil {
		short.Blocks = append(short.Blocks, page.Block{Lead: doubt})
	}
	mean := []page.Fact{{Name: page.Say("Average over the year, about"), Value: q.bq(e.Value, "annual_mean.value")}, {Name: page.Say("It is likely to lie"), Value: q.between(e, "annual_mean")}}
	if unseen {
		mean = []page.Fact{{Name: page.Say("Average over the year"), Value: page.Say("under {}", q.bq(e.Upper, "annual_mean.upper"))}}
	}
	for k, j := range h.judged {
		text := map[annual.Verdict]string{
			annual.Above:         "Averaged over the year, radon in this home is " + q.likely() + " above {}.",
			annual.Below:         "Averaged over the year, radon in this home is " + q.likely() + " below {}.",
			annual.NotConclusive: "This test cannot tell whether radon in this home, averaged over the year, is above or below {}.",
		}[j.Verdict]
		if j.DaysMeasured < annual.LeastDays {
			text = "This test was too short to tell whether radon in this home, averaged over the year, is above or below {}."
		} else if doubt != nil && j.Verdict == annual.Below {
			text = "Only if the detector worked: averaged over the year, radon in this home is " + q.likely() + " below {}."
		}
		short.Blocks = append(short.Blocks, page.Block{Lead: page.Say(text, q.level(k))})
		mean = append(mean, page.Fact{Name: page.Say("Chance that it is above {}", q.level(k)), Value: q.chance(j.Probability, fmt.Sprintf("%s@%d", "probability", k))})
	}
	short.Blocks = append(short.Blocks, page.Block{Facts: mean})
	for k, j := range h.judged {
		if j.Verdict != annual.NotConclusive {
			short.across(e, q.judge.Levels[k], q.level(k))
		}
	}
	if room := firstNote(first.Result.Notes, "room-above"); room != nil { // it counts more than the mean of the rooms
		short.say(room)
	}

	measured := section("What was measured")
	text := page.Say("Radon was measured {}. ", q.whenMeasured(first.Result, h.series))
	switch {
	case unseen && first.RawMean == 0:
		text = append(text, page.Say("The result was zero. ")...)
	case unseen:
		text = append(text, page.Say("There was less than the detector can see, which is {}. ", q.bq(first.RawMean, "raw_mean"))...)
	default:
		text = append(text, page.Say("Over that time the average was {}. ", q.bq(first.RawMean, "raw_mean"))...)
	}
	measured.say(append(text, page.Part{Text: becquerel}))
	measured.Blocks = append(measured.Blocks, page.Block{Table: q.detectors(h)})
	if strings.Contains(first.Room, " + ") {
		measured.say(page.Say("The answer is of all rooms together. Where people live in one of them, ask for each room by itself ({}).", page.Code(byRoom)))
	}

	year := section("What the year is likely to be")
	if first.YearShare > 0.95 {
		year.say(page.Say("Nearly all of the twelve months from {} to {} were measured, so little of the year is left open.", page.Day(first.YearStart), lastOfYear(first.YearEnd)))
	} else {
		year.say(page.Say("Radon changes from day to day, with the weather and with the season; in most homes there is more of it in winter. So what was measured is not yet the average of a year. The average of the twelve months from {} to {} was worked out from how radon goes through the year in other homes: the season alone would make it {} times what was measured on these days. The answer also weighs how far so few days may lie from a year, so it need not be just that many times.",
			page.Day(first.YearStart), lastOfYear(first.YearEnd), page.Number(report.Number(first.SeasonFactor), first.SeasonFactor, "season_factor")))
	}
	if unseen {
		year.say(page.Say("It is under {}; how far under, this test cannot say.", q.bq(e.Upper, "annual_mean.upper")))
	} else {
		year.say(page.Say("It is about {}, as likely more as less, and likely to lie {}.", q.bq(e.Value, "annual_mean.value"), q.between(e, "annual_mean")))
	}
	year.say(q.rangeMeans())
	drawnYear := "The band is where single days are expected, measured or not. At the right stands the average over the year with its range; "
	if unseen {
		drawnYear = "At the right stands what the average over the year is under; "
	}
	year.draw(h.picture, "Every mark is a day or a test that was measured. "+drawnYear+levelLines(q.judge.Levels))

	against := section("What that means against the level")
	for k, j := range h.judged {
		words := map[annual.Verdict]string{annual.Above: "clear: above the level", annual.Below: "clear: below the level", annual.NotConclusive: "not clear yet"}[j.Verdict]
		if doubt != nil && j.Verdict == annual.Below {
			words = "below the level if the detector worked, and open if it did not"
		}
		against.say(page.Say("The chance that the average over the year is above {} is {}. The answer is {}.", q.level(k), q.chance(j.Probability, fmt.Sprintf("probability@%d", k)), words))
	}
	against.say(q.clearAnswer())
	if first.DaysMeasured < annual.LeastDays {
		against.say(page.Say("This test took less than two days, and from so short a test no answer is called clear, whatever the chance."))
	}
	against.say(q.whoseLevels())

	next := section("What to do next")
	if doubt != nil {
		next.say(page.Say("Ask whoever gave or read the detector whether it worked. If nobody can say that it did, measure again with another one, and take this test for none."))
	}
	next.Blocks = append(next.Blocks, q.nextSteps(h.judged)...)

	return []page.Section{short.Section, measured.Section, year.Section, against.Section, next.Section,
		q.unsaid(rowNotes(first.Result.Notes, e.Notes))}
}

// building is a section that is being written.
type building struct{ page.Section }

func section(title string) building {
	return building{page.Section{Title: page.Say("{}", title)}}
}

func (b *building) say(p page.Prose) { b.Blocks = append(b.Blocks, page.Block{Text: p}) }

// across says of a clear answer that the range of the mean has the level in it all the
// same: the range leaves half of what is unlikely out at each of its ends, the answer all
// of it at one side of the level.
func (b *building) across(e analysis.Estimate, level float64, words page.Prose) {
	if e.Lower < level && level < e.Upper {
		b.say(page.Say("The likely range reaches across {}: the average may lie on the other side of that level after all, though the chance of it is small.", words))
	}
}

func (b *building) draw(p drawn, caption string) {
	b.Blocks = append(b.Blocks, page.Block{Figure: &page.Figure{SVG: p.wide, Narrow: p.narrow, Caption: page.Say("{}", caption)}})
}

// levelLines says which lines of a picture are the levels, and whether all are drawn.
func levelLines(levels []float64) string {
	switch {
	case len(levels) == 1:
		return "the black broken line is the level."
	case len(levels) > mostLevels:
		return "the black broken lines are the first three levels, as the legend names them; the others are not drawn." // mostLevels
	}
	return "the black broken lines are the levels, as the legend names them."
}

// byRoom asks for each room by itself.
const byRoom = "radonyear annual FILE --by room"

// following puts a sentence behind words that end in a colon, if there are any.
func following(words string, sentence page.Prose) page.Prose {
	if words == "" {
		return sentence
	}
	out := slices.Clone(sentence)
	if !out[0].Name {
		out[0].Text = strings.ToLower(out[0].Text[:1]) + out[0].Text[1:]
	}
	return append(page.Say("{}", words), out...)
}

// whenMeasured says on how many days, and from when to when.
func (q homesQuestion) whenMeasured(r annual.Result, series []analysis.Series) page.Prose {
	n, last := days(r.DaysMeasured, "days_measured"), lastMeasured(r.End, series)
	switch {
	case last.Format(time.DateOnly) == r.Start.Format(time.DateOnly):
		return page.Say("over {}, on {}", n, page.Day(r.Start))
	case r.End.Sub(r.Start).Hours()/24 >= r.DaysMeasured+1: // days are missing in between
		return page.Say("on {} between {} and {}", n, page.Day(r.Start), page.Day(last))
	}
	return page.Say("over {}, from {} to {}", n, page.Day(r.Start), page.Day(last))
}

// lastOfYear is the last day of twelve months, which end with the next day's first instant.
func lastOfYear(end time.Time) page.Part { return page.Day(end.Add(-time.Second)) }

// lastMeasured is an instant of the last day measured: the mean of a day ends with the next
// day's first instant, but a detector that was taken down on a day was there on it.
func lastMeasured(end time.Time, series []analysis.Series) time.Time {
	last := end
	for _, s := range series {
		for i := range s.Len() {
			if r := s.At(i); r.End.Equal(end) {
				if !r.OfADay() {
					return end
				}
				last = end.Add(-time.Second)
			}
		}
	}
	return last
}

// detectors says which detectors stood where, from when to when, and what they measured;
// where some measured both without the system and with it only where and when, since their
// averages would be of both.
func (q homesQuestion) detectors(h homeOnPage) *page.Table {
	t := &page.Table{Key: "places", Command: "inspect", Caption: page.Say("Where the detectors stood, and what each measured."),
		Heads: []page.Head{{Text: page.Say("Room")}, {Text: page.Say("Detector")}, {Text: page.Say("From and to")}, {Text: page.Say("Days"), Number: true}, {Text: page.Say("Average, Bq/m³"), Number: true}}}
	phased := h.compared != nil && !slices.ContainsFunc(h.tracks, func(x trackOnPage) bool { return x.Phase == "" })
	switch {
	case phased:
		t.Heads = slices.Insert(t.Heads, 2, page.Head{Text: page.Say("System")})
	case h.compared != nil:
		t.Caption, t.Heads = page.Say("Where the detectors stood."), t.Heads[:3]
	}
	named := func(name string) page.Prose {
		if name == "" {
			return page.Say("not stated")
		}
		return page.Prose{page.Name(name)}
	}
	type dated struct {
		trackOnPage
		start, end time.Time
	}
	var inTime []dated
	for _, x := range h.tracks {
		start, end := span(x.Track)
		inTime = append(inTime, dated{x, start, end})
	}
	slices.SortStableFunc(inTime, func(a, b dated) int { return a.start.Compare(b.start) })
	for _, x := range inTime {
		zone, of := zoneOf(x.Track), fmt.Sprintf("places.%d.", x.at)
		mean, below, ok := trackMean(x.Track)
		average := page.Prose{page.Number(report.Number(mean, q.judge.Levels...), mean, of+"mean")}
		switch {
		case !ok:
			average = page.Say("nothing but zero")
		case below && mean > 0:
			average = page.Say("below {}", average)
		}
		n := trackDays(x.Track)
		row := []page.Prose{named(x.Room), named(x.Detector), fromTo(x.start.In(zone), lastDay(x.Track, x.end).In(zone)),
			{page.Number(report.DayCount(n), n, of+"days")}, average}
		if phased {
			row = slices.Insert(row, 2, page.Say("{}", map[string]string{"before": "without", "after": "with"}[x.Phase]))
		}
		t.Rows = append(t.Rows, row[:len(t.Heads)])
	}
	return t
}

// fromTo are two days in a table.
func fromTo(from, to time.Time) page.Prose {
	return page.Say("{} to {}", page.ShortDay(from), page.ShortDay(to))
}

// nextSteps are what follows from the answers: what one level asks for, then once what
// several may share, then for each level that is open what more days would give.
func (q homesQuestion) nextSteps(answers []judged) (blocks []page.Block) {
	var own, shared []page.Prose
	for k, j := range answers {
		at := page.Prose{}
		if len(answers) > 1 {
			at = page.Say("Against {}: ", q.level(k))
		}
		first, more := nextStep(k, j, at)
		own = append(own, first)
		for _, p := range more {
			if !slices.ContainsFunc(shared, func(q page.Prose) bool { return slices.Equal(p, q) }) {
				shared = append(shared, p)
			}
		}
	}
	blocks = append(blocks, page.Block{List: append(own, shared...)})
	for k, j := range answers {
		if j.Verdict != annual.NotConclusive || len(j.Further) == 0 || j.YearShare > 0.95 {
			continue
		}
		t := &page.Table{Key: "further", Caption: page.Say("How likely a clear answer is after so many more days."), Heads: []page.Head{{Text: page.Say("More days"), Number: true}, {Text: page.Say("Chance of a clear answer"), Number: true}}}
		if len(answers) > 1 {
			t.Caption = page.Say("How likely a clear answer about {} is after so many more days.", q.level(k))
		}
		for i, f := range j.Further {
			of := func(field string) string { return fmt.Sprintf("further.%d.%s@%d", i, field, k) }
			t.Rows = append(t.Rows, []page.Prose{{page.Number(fmt.Sprint(f.Days), f.Days, of("days"))}, q.chance(f.Chance, of("chance"))})
		}
		blocks = append(blocks, page.Block{Table: t})
	}
	return blocks
}

// nextStep is what the answer at level k asks for, and what else goes with it at any level.
func nextStep(k int, j judged, at page.Prose) (first page.Prose, more []page.Prose) {
	switch {
	case j.Verdict == annual.Above:
		return page.Say("{}Have a radon professional look at the home. The radon in a home can be lowered; the more there is, the sooner that should be done.", at), []page.Prose{
			page.Say("If this was the home’s only test, a second one before work is ordered is common practice."),
			page.Say("After the work, measure again: not in the first 24 hours, then soon, and from then on at least every two years.")}
	case j.Verdict == annual.Below && analysis.HasNote(j.Result.Notes, zeroResult):
		return page.Say("{}Until that is known, this test does not say that nothing has to be done.", at), nil
	case j.Verdict == annual.Below:
		return page.Say("{}For this level nothing has to be done now. Less radon is better all the same.", at), []page.Prose{
			page.Say("Measure again within about five years, and sooner after work on the house, its heating or its ventilation, or when people begin to use rooms nearer the ground.")}
	case j.DaysFor80 > 0:
		first = page.Say("{}Go on measuring. With {} more, straight after this test, there is a chance of at least 80\u00a0% that the answer is then clear.", at, days(float64(j.DaysFor80), fmt.Sprintf("days_for_80_percent@%d", k)))
	case len(j.Further) == 0:
		first = page.Say("{}One room by itself is above the level, as said above. If people live or sleep in that room, take the home as above: have a radon professional look at it. The radon in a home can be lowered; the more there is, the sooner that should be done.", at)
		more = append(more, page.Say("If nobody spends time in that room, see which rooms people use, and ask for each of them by itself ({}). More days of all rooms together will not settle it.", page.Code(byRoom)))
	case j.YearShare > 0.95:
		first = page.Say("{}Most of the year was measured, and going on will not settle it: the average is so near the level that what the detector itself may be off by counts. An average so near the level is reason enough to ask a radon professional.", at)
	default:
		first = page.Say("{}Measure for a whole year if you can. The average is so near the level that even then the answer may stay open.", at)
	}
	if len(j.Further) > 0 && (j.DaysFor80 > 0 || j.YearShare <= 0.95) { // more days are ahead
		more = append(more, page.Say("Until then the page says neither that the home is above the level nor that it is below."))
	}
	return first, more
}

// zeroResult is the note of results of zero.
const zeroResult = "zero-result"

// zeroSides asks about results of zero among those compared; "" if there are none.
func zeroSides(series []analysis.Series) string {
	if zeros, _ := zerosIn(series); zeros == 0 {
		return ""
	}
	return "A result is zero or next to nothing. Ask first whether the detector worked: there is some radon in the air of every home, with a system too."
}

// firstNote is the first note with a code, as a sentence; nil if there is none.
func firstNote(notes []analysis.Note, code string) page.Prose {
	for _, n := range notes {
		if n.Code == code {
			return page.Prose{page.Name(page.Sentence(n.Text))}
		}
	}
	return nil
}

// unsaid is what a page of a home does not say, and what else its result needs to be
// read with.
func (q homesQuestion) unsaid(notes []analysis.Note) page.Section {
	s := section("What this page does not say")
	list := []page.Prose{
		page.Say("It is about the rooms where the detectors stood. Rooms nearer the ground often have more radon, and a level is about the rooms that people use."),
		page.Say("It is about those twelve months. Other years differ."),
		page.Say("It knows nothing of windows left open in a test that wants them shut, of a detector that was moved, or of changes to the house since."),
		page.Say("It does not say what radon does to the health of anyone who lives here; ask a doctor or the health authority."),
	}
	s.Blocks = append(s.Blocks, page.Block{List: list})
	if len(notes) > 0 {
		var more []page.Prose
		for _, n := range notes {
			more = append(more, page.Prose{page.Name(page.Sentence(n.Text))})
		}
		s.Sections = append(s.Sections, page.Section{Title: page.Say("To be read with this result"), Blocks: []page.Block{{List: more}}})
	}
	return s.Section
}

// comparedSections are of a home measured without its system and with it.
func (q homesQuestion) comparedSections(h homeOnPage) []page.Section {
	r := h.compared
	mean := func(s compare.Side, of string) page.Prose {
		if s.AllBelow {
			return page.Say("under {}", q.bq(s.AnnualMean.Upper, of+".upper"))
		}
		return page.Say("{}, likely {}", q.bq(s.AnnualMean.Value, of+".value"), q.between(s.AnnualMean, of))
	}
	reduction, lead := q.reductionProse(*r)
	alarm, with := firstNote(r.Notes, afterSideRose), "With the system"+r.asNow()
	short := section("In short")
	doubt, ifWorked := zeroSides(h.series), ""
	if doubt != "" {
		short.Blocks = append(short.Blocks, page.Block{Lead: page.Say("{}", doubt)})
		ifWorked = "Only if it did: "
	}
	short.Blocks = append(short.Blocks, page.Block{Lead: following(ifWorked, lead)})
	if alarm != nil { // what else it says stands at the end
		short.say(page.Say("By the charts of its days readings rose while the system ran, since about {}: look at the gauge on the system’s pipe, and call whoever installed it.", page.Day(r.rises[0].since)))
	}
	facts := []page.Fact{
		{Name: page.Say("Average over the year without the system"), Value: mean(r.Without, "before.annual_mean")},
		{Name: page.Say("with the system"), Value: mean(r.With, "after.annual_mean")},
	}
	allDays := "all days with the system" // what is said of now is of these
	if s := r.Spell; s != nil {
		switch allDays = "the days since the repair"; {
		case !s.Repair:
			facts[1].Name, allDays = page.Say("with {}, measured from {} on", page.Name(s.Systems), page.Day(s.From)), "the days with what runs now"
		case s.Systems != "":
			facts[1].Name = page.Say("with {}, measured since its repair on {}", page.Name(s.Systems), page.Day(s.From))
		default:
			facts[1].Name = page.Say("with the system, measured since its repair on {}", page.Day(s.From))
		}
	}
	if n := r.Now; n != nil {
		name := page.Say("with the system as it is now, measured from {} on", page.Day(n.Start))
		if r.ended() {
			name = page.Say("with the system over the last twelve months, measured from {} on", page.Day(n.Start))
		}
		facts = append(facts, page.Fact{Name: name, Value: mean(n.Side, "now.annual_mean")})
		allDays = "the last twelve months with the system"
	}
	facts = append(facts, page.Fact{Name: page.Say("Reduction by the system"), Value: reduction})
	for k, b := range r.Below {
		text := map[annual.Verdict]string{
			annual.Above:         with + ", the average over the year is " + q.likely() + " still above {}.",
			annual.Below:         with + ", the average over the year is " + q.likely() + " below {}.",
			annual.NotConclusive: with + ", the average over the year is more likely above {} than below; these measurements leave it open.",
			risen:                "Whether this home is below {} now is not certain: the numbers here are of " + allDays + ", and the latest of them are higher than those before.",
			wentOff:              "Whether this home is below {} now is not certain: the numbers here are of days with the system, and it is off.",
		}[b.Verdict]
		if b.Verdict == annual.NotConclusive && b.Probability >= 0.5 {
			text = with + ", the average over the year is more likely below {} than above; these measurements leave it open."
		}
		short.Blocks = append(short.Blocks, page.Block{Lead: following(ifWorked, page.Say(text, q.level(k)))})
		if b.Verdict == risen || b.Verdict == wentOff { // of what was, and it would be read as of now
			continue
		}
		chance := "Chance that it is now below {}"
		if alarm != nil {
			chance = "Chance that it is below {}, by " + allDays
		}
		facts = append(facts, page.Fact{Name: page.Say(chance, q.level(k)), Value: q.chance(b.Probability, fmt.Sprintf("below.%d.probability", k))})
	}
	short.Blocks = append(short.Blocks, page.Block{Facts: facts})
	for k, b := range r.Below {
		if b.Verdict == annual.Above || b.Verdict == annual.Below {
			short.across(now(r.Result).AnnualMean, q.judge.Levels[k], q.level(k))
		}
	}

	measured := section("What was measured")
	measured.say(page.Say("Radon was measured without the system and with it. {}", becquerel))
	t := &page.Table{Caption: page.Say("What was measured, in Bq/m³."), Heads: []page.Head{{Text: page.Say("System")}, {Text: page.Say("From and to")}, {Text: page.Say("Days"), Number: true}, {Text: page.Say("Average"), Number: true}}}
	for _, side := range []struct {
		name, of string
		compare.Side
	}{{"without", "before", r.Without}, {"with", "after", r.With}} {
		raw := page.Prose{page.Number(report.Number(side.RawMean, q.judge.Levels...), side.RawMean, side.of+".raw_mean")}
		if side.AllBelow && side.RawMean > 0 {
			raw = page.Say("below {}", raw)
		}
		t.Rows = append(t.Rows, []page.Prose{page.Say("{}", side.name), fromTo(side.Start, lastMeasured(side.End, h.series)), {page.Number(report.DayCount(side.Days), side.Days, side.of+".days")}, raw})
	}
	measured.Blocks = append(measured.Blocks, page.Block{Table: t}, page.Block{Table: q.detectors(h)})

	year := section("The year without the system and with it")
	fall := func(ratio float64, of string) page.Prose {
		if ratio > 10 {
			return page.Say(tenTimes + " as high")
		}
		text, word := report.Whole(100*(1-ratio)), "lower"
		if strings.HasPrefix(text, "-") {
			text, word = text[1:], "higher"
		}
		return page.Say("{}\u00a0% {}", page.Number(text, ratio, of), word)
	}
	var seasons page.Prose
	if !r.Without.AllBelow && !r.With.AllBelow {
		seasons = page.Say("As measured, radon was {} with the system. ", fall(r.RawRatio, "raw_ratio"))
	}
	if analysis.HasNote(r.Notes, "season-artefact") {
		but := "The"
		if seasons != nil {
			but = "But the"
		}
		seasons = append(seasons, page.Say("{} two tests were made at different times of the year: with no work at all, "+seasonsOf(r.Course)+" alone would have made it {}. So both averages", but, fall(r.SeasonArtefact, "season_artefact"))...)
	} else {
		seasons = append(seasons, page.Say("The two tests fell in the same season, or in seasons alike for radon: by the seasons alone they would differ by about a tenth at the most. Both averages")...)
	}
	seasons = append(seasons, page.Say(" were worked out for the same twelve months, from {} to {}, from how radon goes through the year in other homes.", page.Day(r.YearStart), lastOfYear(r.YearEnd))...)
	year.say(seasons)
	year.say(page.Say("Without the system: {}. With it: {}. Reduction: {}.", mean(r.Without, "before.annual_mean"), mean(r.With, "after.annual_mean"), reduction))
	asNow := ""
	if r.Now != nil {
		as := "As it is now, by what was measured last: {}."
		asNow = ", and that of the home as it is now, of twelve months of its own"
		if r.ended() {
			as, asNow = "Over the last twelve months that were measured with the system: {}.", ", and that of the last twelve months measured"
		}
		year.say(page.Say(as, mean(r.Now.Side, "now.annual_mean")))
	}
	year.say(q.rangeMeans())
	year.draw(h.picture, "Every mark is a day or a test that was measured, without the system and with it. At the right stand both averages over the same twelve months with their ranges"+asNow+"; "+levelLines(q.judge.Levels))

	against := section("What that means against the level")
	for k, b := range r.Below {
		words := map[annual.Verdict]string{annual.Above: "clear: still above the level", annual.Below: "clear: below the level", annual.NotConclusive: "not clear yet",
			risen: "not certain, since that is of " + allDays + " and readings rose", wentOff: "not certain, since that is of days with the system, and it is off"}[b.Verdict]
		against.say(page.Say("The chance that the average over the year with the system"+r.asNow()+" is below {} is {}. The answer is {}.", q.level(k), q.chance(b.Probability, fmt.Sprintf("below.%d.probability", k)), words))
	}
	against.say(q.clearAnswer())
	if now(r.Result).Days < annual.LeastDays {
		against.say(page.Say("The test with the system took less than two days, and from so short a test no answer is called clear, whatever the chance."))
	}
	against.say(q.whoseLevels())

	next := section("What to do next")
	var list []page.Prose
	add := func(text string) { list = append(list, page.Say(text)) }
	has := func(v annual.Verdict) bool {
		return slices.ContainsFunc(r.Below, func(b compare.Below) bool { return b.Verdict == v })
	}
	if doubt != "" {
		add("Ask whoever gave or read the detector whether it worked. If nobody can say that it did, measure again with another one, and take that test for none.")
	}
	if analysis.HasNote(r.Notes, systemOff) {
		add("The system is off: look whether it should run, ask whoever installed it, and measure again with it running.")
	}
	if alarm != nil {
		add("Look at the gauge on the system’s pipe today, and whether the fan runs and its switch is on, and call whoever installed the system: readings rose while it ran.")
		add("When that is settled, measure again with the system running.")
	}
	rose := r.Reduction.Value < 0 || r.RawRatio > 1
	shown := r.Verdict == compare.Reduced
	if r.Now != nil { // of what runs now
		shown = r.Now.Verdict == compare.Reduced
	}
	switch {
	case shown:
	case rose:
		add("Look whether the system runs, and ask whoever measured whether the tests before and after were the right way round: there was more radon in the second.")
	default:
		add("Look whether the system runs.")
	}
	likelyAbove := slices.ContainsFunc(r.Below, func(b compare.Below) bool { return b.Verdict == annual.NotConclusive && b.Probability < 0.5 })
	switch {
	case has(annual.Above):
		add("Call whoever installed the system: it does not do enough for this level.")
	case likelyAbove:
		add("Tell whoever installed the system: it more likely does too little for this level than enough.")
	}
	if has(annual.NotConclusive) || !shown && !rose && r.Now == nil {
		add("Go on measuring with the system running, for several months if you can: these measurements leave too much open.")
	}
	add("Look at the gauge on the system’s pipe from time to time: it shows whether the fan runs.")
	add("Measure again at least every two years, and after any change to the house or the system.")
	next.Blocks = append(next.Blocks, page.Block{List: list})

	return []page.Section{short.Section, measured.Section, year.Section, against.Section, next.Section, q.unsaid(rowNotes(r.Notes))}
}

// reductionProse is what the system did, as a value and as the page's first sentence.
func (q homesQuestion) reductionProse(r compared) (value, lead page.Prose) {
	e := r.Reduction
	percent := func(x float64, of string) page.Prose {
		return page.Say("{}\u00a0%", page.Bound(report.Bound(e, x), x, of))
	}
	// A reduction below nothing is said as so much more.
	side := func(x float64, of string) page.Prose {
		if report.Tenfold(e, x) {
			return page.Say(tenTimes + " as much")
		}
		if x < 0 {
			return page.Say("{}\u00a0% more", page.Number(report.Number(-x), x, of))
		}
		return page.Say("{}\u00a0% less", page.Bound(report.Bound(e, x), x, of))
	}
	none := "none"
	if r.Verdict == compare.NotShown { // it may be some all the same
		none = "not shown"
	}
	switch {
	case r.With.AllBelow && e.Lower >= 0:
		value = page.Say("at least {}", percent(e.Lower, "reduction.lower"))
	case r.With.AllBelow:
		value = page.Say("not told: at worst there is {} with it", side(e.Lower, "reduction.lower"))
	case r.Without.AllBelow && e.Upper >= 0:
		value = page.Say("at most {}", percent(e.Upper, "reduction.upper"))
	case report.Tenfold(e, e.Upper):
		value = page.Say("{}: with it there is {}", none, side(e.Upper, "reduction.upper"))
	case r.Without.AllBelow:
		value = page.Say("{}: with it there is at least {}", none, side(e.Upper, "reduction.upper"))
	case e.Lower >= 0:
		value = page.Say("{}, likely {}\u00a0%", percent(e.Value, "reduction.value"), page.Between(e, "reduction"))
	default:
		from, to := side(e.Lower, "reduction.lower"), side(e.Upper, "reduction.upper")
		if e.Upper < 0 { // both are so much more: the smaller first
			from, to = to, from
		}
		value = page.Say("{}, likely between {} and {}", percent(e.Value, "reduction.value"), from, to)
		if e.Value < 0 {
			value = page.Say("{}: with it there is {}, likely between {} and {}", none, side(e.Value, "reduction.value"), from, to)
		}
	}
	// It works where it does what it is for: the radon is less, and below the level.
	works := !slices.ContainsFunc(r.Below, func(b compare.Below) bool { return b.Verdict != annual.Below })
	above := slices.ContainsFunc(r.Below, func(b compare.Below) bool { return b.Verdict == annual.Above })
	alone := r.Spell != nil && (r.Now == nil || r.Now.Start.Equal(r.With.Start)) // what is said of now is of the days compared too
	// Where readings rose, or the home now is of other months than the reduction, it is told of
	// its own days, as what was.
	past := func(lead, over, it string) (lowers, takes page.Prose) {
		days := page.Say(lead + over + " all days with it, " + it)
		if s := r.Spell; s != nil {
			days = page.Say(lead+over+" all days with it since {}, "+it, page.Day(s.From))
		}
		if r.Now != nil && !alone {
			days = page.Say(lead+over+" the twelve months from {} to {} "+it, page.Day(r.YearStart), lastOfYear(r.YearEnd))
		}
		return page.Say("{} lowered", days), page.Say("{} took away", days)
	}
	lowers, takes := page.Say("The system lowers"), page.Say("The system takes away")
	switch {
	case analysis.HasNote(r.Notes, systemOff):
		lowers, takes = page.Say("While it ran, the system lowered"), page.Say("While it ran, the system took away")
	case analysis.HasNote(r.Notes, afterSideRose) && above:
		lowers, takes = past("Readings rose while the system ran: ", "over", "it")
	case analysis.HasNote(r.Notes, afterSideRose):
		lowers, takes = past("The system worked, and then readings rose: ", "over", "it")
	case works && alone:
		lowers, takes = page.Say("The system works: by what was measured since {}, it lowers", page.Day(r.Spell.From)), page.Say("The system works: by what was measured since {}, it takes away", page.Day(r.Spell.From))
	case alone:
		lowers, takes = page.Say("By what was measured since {}, the system lowers", page.Day(r.Spell.From)), page.Say("By what was measured since {}, the system takes away", page.Day(r.Spell.From))
	case works && r.Now != nil:
		lowers, takes = past("The system works: ", "over", "it")
	case r.Now != nil:
		lowers, takes = past("", "Over", "the system")
	case works:
		lowers, takes = page.Say("The system works: it lowers"), page.Say("The system works: it takes away")
	}
	switch r.Verdict {
	case compare.Reduced:
		if r.With.AllBelow || r.Without.AllBelow {
			return value, page.Say("{} the radon in this home.", lowers)
		}
		return value, page.Say("{} about {} of the radon in this home.", takes, percent(e.Value, "reduction.value"))
	case compare.Increased:
		return value, page.Say("With the system there is more radon in this home than without it.")
	}
	return value, page.Say("These measurements do not show whether the system changes the radon in this home.")
}
