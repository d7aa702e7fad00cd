package compare

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/temporal"
)

// Ran is a time and the systems that ran in it, as switches or the readings say.
type Ran struct {
	From, To time.Time // zero: since ever, for good
	Systems  []string  // in order of name, "" is one without a name; one switched on twice, so enlarged, is there twice
}

// A reading may reach so far into a time unsaid, or half of its own length: people write
// times down to the hour.
const mostInto = time.Hour

// holds says whether any of a side's readings lies in that time, or partly.
func (r Ran) holds(side []analysis.Series) bool {
	for _, s := range side {
		for _, x := range s.Readings() {
			from, to := x.Start, x.End
			if !r.From.IsZero() && r.From.After(from) {
				from = r.From
			}
			if !r.To.IsZero() && r.To.Before(to) {
				to = r.To
			}
			if to.Sub(from) > min(mostInto, x.End.Sub(x.Start)/2) {
				return true
			}
		}
	}
	return false
}

// words are the systems as people would name them.
func (r Ran) words() string {
	var parts []string
	for i := 0; i < len(r.Systems); {
		name, n := r.Systems[i], 0
		for ; i < len(r.Systems) && r.Systems[i] == name; i++ {
			n++
		}
		word := fmt.Sprintf("%q", name)
		if name == "" {
			word = "the system"
		}
		if n > 1 {
			word += ", switched on again while it ran,"
		}
		parts = append(parts, word)
	}
	return strings.TrimSuffix(strings.Join(parts, " and "), ",")
}

// Spell is the time that readings with the system are narrowed to, where several systems ran
// in turn or one was repaired: what ran before may have done more or less.
type Spell struct {
	From    time.Time
	Systems string  // in words, of several in turn the last; "" where it is the repair alone
	Repair  bool    // From is when it ran again
	LeftOut float64 // days measured with a system before
}

// Now is the home as it is now, where that is less than all that is compared: by what was
// measured in the last twelve months with the system.
type Now struct {
	From time.Time // what lies mostly before it is left out
	Side
	YearStart, YearEnd time.Time         // the twelve months that its annual mean is of
	Reduction          analysis.Estimate // by those readings alone, %
	Verdict            Verdict
}

// systems narrows the readings with the system to one spell, and says where a side is not what
// the reduction is taken to be of: readings with the system that are of several, and readings
// without that name one.
func (c *comparison) systems() {
	in := func(side []analysis.Series) (out []Ran) {
		for _, r := range c.h.Ran {
			if len(r.Systems) > 0 && r.holds(side) {
				out = append(out, r)
			}
		}
		slices.SortStableFunc(out, func(a, b Ran) int { return cmp.Or(a.From.Compare(b.From), slices.Compare(a.Systems, b.Systems)) })
		return out
	}
	alike := func(a, b Ran) bool { return slices.Equal(a.Systems, b.Systems) }
	all := in(c.h.With)
	without, with := slices.CompactFunc(in(c.h.Without), alike), slices.CompactFunc(slices.Clone(all), alike)
	several, again := len(with) > 1, false
	for _, r := range with {
		for i := range r.Systems[1:] {
			several, again = true, again || r.Systems[i] == r.Systems[i+1]
		}
	}
	c.narrow(several, again, with, all)
	// What is the same on both sides is what the home has, and says nothing of a time.
	if len(without) > 0 && len(with) > 0 && !slices.Equal(distinct(without), distinct(with)) {
		c.note("system-before", "what was measured without the system names one that ran: %s; with it: %s. The reduction is what the later one does beside or in place of the earlier, and not of all there is: read it as that, or measure with all of them switched off", c.told(without), c.told(with))
	}
}

// narrow takes of several systems in turn the last, and since its repair. One step is fitted:
// beside another one it would be off, and what lies between them taken for a season.
func (c *comparison) narrow(several, again bool, with, all []Ran) {
	whole := c.h.With
	var sp Spell
	take := func(from time.Time) bool {
		side := since(c.h.With, from)
		if side == nil || readings(side) == readings(c.h.With) {
			return false
		}
		c.h.With, sp.From = side, from
		return true
	}
	inTurn := len(with) > 1
	if inTurn {
		if last := lastOf(all); last != nil && take(last.From) {
			sp.Systems = last.words()
		}
	}
	sp.Repair = c.h.Repaired.After(sp.From) && take(c.h.Repaired)
	if !sp.From.IsZero() {
		before := analysis.Keep(whole, func(x analysis.Reading) bool { return !begins(x, sp.From) })
		sp.From, sp.LeftOut = sp.From.In(c.zone), daysOf(before)
		c.spell = &sp
	}
	more := ""
	if again {
		more = "; a system switched on again while it ran is taken to be a second or a larger one: if it was off in between, its switches lack that row"
	}
	switch left := dayCount(sp.LeftOut); {
	case sp.Systems != "":
		c.note("last-system", "what was measured with the system is not of one alone: %s. All that is said here is of the last alone, %s, by what was measured from %s on, and %s with what ran before left out: to see what that did, leave the later readings out of the files%s", c.told(with), sp.Systems, sp.From.Format(time.DateOnly), left, more)
	case several:
		turn := ""
		if inTurn {
			turn = ", now too; for the last alone leave the readings with the others out of the files"
		}
		c.note("several-systems", "what was measured with the system is not of one alone: %s. The reduction is of all that ran, together or in turn%s: read it as that, or measure with each system alone, the others switched off%s", c.told(with), turn, more)
	}
	if sp.Repair {
		c.note("since-repair", "a system was switched off and ran again on %s, as after a repair: all that is said here is by what was measured since, and %s with it before left out, when it may have done more or less; where nothing was changed, they count too once that off and on is no row of the switches", sp.From.Format(time.DateOnly), dayCount(sp.LeftOut))
	}
}

// lastOf is the time since which the last of several systems ran, none of the others with
// readings in it; nil where they ran at one time, in other rooms say.
func lastOf(all []Ran) *Ran {
	last := all[len(all)-1]
	for i := len(all) - 1; i >= 0 && slices.Equal(all[i].Systems, last.Systems); i-- {
		last.From = all[i].From
	}
	for _, r := range all {
		if !slices.Equal(r.Systems, last.Systems) && (r.To.IsZero() || r.To.After(last.From.Add(mostInto))) {
			return nil
		}
	}
	return &last
}

// goesOn is for how many days readings with the system may go on after the twelve months of
// both annual means, of a side of few days without it say, with nothing said of now by
// themselves.
const goesOn = 30

// ofNow are the notes that readings may give rise to which say how a home is now, and all
// with the system not.
var ofNow = []string{"other-room", "rooms-differ", "under-two-days", "zero-result", "all-below-limit"}

// now is the home as it is now, against the same readings without the system, and a note of
// what is said of now what it is of. The twelve months of both annual means are those that both
// sides were measured in most; they may lie years back, and what ran then may run no more.
func (c *comparison) now(r *Result) {
	firstWith, with := temporal.Covered(c.observed(1))
	end := firstWith + len(with)
	if end <= c.data.To+goesOn {
		return
	}
	from := temporal.Date(end-year, c.zone)
	one, err := compareSides(Home{Without: c.h.Without, With: latest(c.h.With, from), Switched: c.h.Switched, Timed: true}, c.opt, true)
	if err != nil { // all that there is says nothing of now
		for k := range r.Below {
			r.Below[k].Verdict = annual.NotConclusive
		}
		c.note("later-readings", "readings with the system go on after the twelve months of both annual means, and what is said of now is not of the latest alone, of which nothing can be said: %v", err)
		return
	}
	n := &Now{From: from, Side: one.With, YearStart: one.YearStart, YearEnd: one.YearEnd, Reduction: one.Reduction, Verdict: one.Verdict}
	r.Now, r.Below = n, one.Below
	for _, n := range one.Notes { // what those readings alone give rise to
		if slices.Contains(ofNow, n.Code) && !slices.Contains(c.notes, n) {
			c.note(n.Code, "of the readings that say how it is now: %s", n.Text)
		}
	}
	c.note("later-readings", "readings with the system go on after the twelve months of both annual means; what is said of now is by those of the last twelve months, from %s to %s: over %s, %s", n.Start.Format(time.DateOnly), n.End.Add(-time.Second).Format(time.DateOnly), dayCount(n.Days), n.words())
}

// words are what was measured and the annual mean.
func (s Side) words() string {
	if s.AllBelow {
		return fmt.Sprintf("no more than limits, annual mean under %.0f Bq/m³", s.AnnualMean.Upper)
	}
	return fmt.Sprintf("raw mean %.0f Bq/m³, annual mean about %.0f, %.0f to %.0f", s.RawMean, s.AnnualMean.Value, s.AnnualMean.Lower, s.AnnualMean.Upper)
}

// dayCount is a length of time with its unit.
func dayCount(days float64) string {
	if days = math.Round(10*days) / 10; days == 1 {
		return "1 day"
	}
	return fmt.Sprintf("%g days", days)
}

// readings counts them.
func readings(side []analysis.Series) (n int) {
	for _, s := range side {
		n += s.Len()
	}
	return n
}

// begins says whether a reading begins at some time or later, give or take an hour or a
// hundredth of a longer one.
func begins(x analysis.Reading, from time.Time) bool {
	return !x.Start.Before(from.Add(-max(mostInto, x.End.Sub(x.Start)/100)))
}

// since are a side's readings that begin at some time or later.
func since(side []analysis.Series, from time.Time) []analysis.Series {
	return analysis.Keep(side, func(x analysis.Reading) bool { return begins(x, from) })
}

// daysOf is for how many days any of a side's detectors measured.
func daysOf(side []analysis.Series) float64 {
	var all []analysis.Reading
	for _, s := range side {
		all = append(all, s.Readings()...)
	}
	slices.SortFunc(all, func(a, b analysis.Reading) int { return a.Start.Compare(b.Start) })
	var until time.Time
	sum := time.Duration(0)
	for _, x := range all {
		if x.Start.After(until) {
			until = x.Start
		}
		if x.End.After(until) {
			sum += x.End.Sub(until)
			until = x.End
		}
	}
	return sum.Hours() / 24
}

// latest are a side's readings that lie mostly after some time, or begin then; where there
// are none, all.
func latest(side []analysis.Series, from time.Time) []analysis.Series {
	out := analysis.Keep(side, func(x analysis.Reading) bool {
		return begins(x, from) || x.Start.Add(x.End.Sub(x.Start)/2).After(from)
	})
	if out == nil {
		return side
	}
	return out
}

// distinct are systems in words, each once, in order.
func distinct(all []Ran) (words []string) {
	for _, r := range all {
		words = append(words, r.words())
	}
	slices.Sort(words)
	return slices.Compact(words)
}

// told are systems with the day that each began, for the first few.
func (c *comparison) told(all []Ran) string {
	const most = 3
	var parts []string
	for i, r := range all {
		if i == most {
			parts = append(parts, "and so on")
			break
		}
		text := r.words()
		if !r.From.IsZero() {
			text = "from " + r.From.In(c.zone).Format(time.DateOnly) + " " + text
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, ", then ")
}
