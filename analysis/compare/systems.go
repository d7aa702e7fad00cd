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

// Now is the home as it is now, where that is less than all that was measured with the
// system: by what was measured with the last of several systems that ran in turn, since it
// was repaired, in the last twelve months, or more than one of these.
type Now struct {
	From    time.Time // what begins earlier is left out, but for what lies mostly after it
	Repair  bool      // From is when it was repaired
	Systems string    // in words, where the last of several systems is what sets it apart
	Side
	YearStart, YearEnd time.Time         // the twelve months that its annual mean is of
	Reduction          analysis.Estimate // by those readings alone, %
	Verdict            Verdict
}

// systems says where a side is not what the reduction is taken to be of: readings with the
// system that are of several, and readings without that name one.
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
	if several {
		more := ""
		if again {
			more = "; a system switched on again while it ran is taken to be a second or a larger one: if it was off in between, its switches lack that row"
		}
		c.note("several-systems", "what was measured with the system is not of one alone: %s. The reduction is of all that ran, together or in turn: read it as that, or measure with each system alone, the others switched off%s", c.told(with), more)
	}
	if c.inTurn = len(with) > 1; c.inTurn {
		c.last = lastOf(all)
	}
	// What is the same on both sides is what the home has, and says nothing of a time.
	if len(without) > 0 && len(with) > 0 && !slices.Equal(distinct(without), distinct(with)) {
		c.note("system-before", "what was measured without the system names one that ran: %s; with it: %s. The reduction is what the later one does beside or in place of the earlier, and not of all there is: read it as that, or measure with all of them switched off", c.told(without), c.told(with))
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

// now is the home as it is now, against the same readings without the system, and notes of
// what is said of now what it is of. The twelve months of both annual means are those that both
// sides were measured in most; they may lie years back, and what ran then may run no more.
func (c *comparison) now(r *Result) {
	firstWith, with := temporal.Covered(c.observed(1))
	end := firstWith + len(with)
	later := end > c.data.To+goesOn
	from, side, last := temporal.Date(end-year, c.zone), c.h.With, c.last
	if last != nil {
		if alone := since(side, last.From); alone != nil {
			side = alone
		} else { // one result goes through
			last = nil
		}
	}
	all := readings(side)
	if last != nil && !last.From.Before(from) {
		from = last.From
	} else {
		side = latest(side, from)
	}
	cut := readings(side) < all
	repaired := false
	if at := c.h.Repaired; at.After(from) {
		if alone := since(side, at); alone != nil && readings(alone) < readings(side) {
			from, side, repaired = at, alone, true
		}
	}
	var failed error
	if last != nil || later || repaired {
		one, err := compareSides(Home{Without: c.h.Without, With: side, Switched: c.h.Switched, Timed: true}, c.opt, true)
		if failed = err; err == nil {
			r.Now = &Now{From: from.In(c.zone), Repair: repaired, Side: one.With, YearStart: one.YearStart, YearEnd: one.YearEnd, Reduction: one.Reduction, Verdict: one.Verdict}
			r.Below = one.Below
			for _, n := range one.Notes { // what those readings alone give rise to
				if slices.Contains(ofNow, n.Code) && !slices.Contains(c.notes, n) {
					c.note(n.Code, "of the readings that say how it is now: %s", n.Text)
				}
			}
		} else { // all that there is says nothing of now
			for k := range r.Below {
				r.Below[k].Verdict = annual.NotConclusive
			}
		}
	}
	n := r.Now
	if n != nil && last != nil {
		n.Systems = last.words()
	}
	if c.inTurn && (last == nil || n == nil) {
		c.note("last-system", "what is said of now, held against a level, is of all of these systems too, and not of the last alone: for that leave the readings with the others out of the files")
	}
	switch {
	case repaired && n != nil:
		ran := "the system"
		if n.Systems != "" {
			ran = n.Systems
		}
		c.note("since-repair", "%s was switched off and ran again on %s, as after a repair; what is said of now, held against a level, is by what was measured since: over %s, %s; a reduction since is %s. %s", ran, from.In(c.zone).Format(time.DateOnly), dayCount(n.Days), n.words(), n.change(), asOne)
	case repaired:
		c.note("since-repair", "the system was switched off and ran again on %s, as after a repair, and what is said of now is not of what was measured since alone, of which nothing can be said: %v", from.In(c.zone).Format(time.DateOnly), failed)
	case n == nil && later:
		c.note("later-readings", "readings with the system go on after the twelve months of both annual means, and what is said of now is not of the latest alone, of which nothing can be said: %v", failed)
	case n == nil:
	case last != nil:
		on := " on"
		if cut {
			on = " on, in the last twelve months with it"
		}
		c.note("last-system", "what is said of now, held against a level, is of %s alone, by what was measured from %s%s: over %s, %s; a reduction by it is %s. %s", n.Systems, n.Start.Format(time.DateOnly), on, dayCount(n.Days), n.words(), n.change(), asOne)
	default:
		c.note("later-readings", "readings with the system go on after the twelve months of both annual means; what is said of now is by those of the last twelve months, from %s to %s: over %s, %s", n.Start.Format(time.DateOnly), n.End.Add(-time.Second).Format(time.DateOnly), dayCount(n.Days), n.words())
	}
}

// asOne is what else is said of a home whose system was not the same all the time.
const asOne = "The reduction of all days, and both annual means beside it, take what ran to have done the same throughout, and a change in that for a season: where it did more or less, go by this one"

// change is what its readings show of a reduction.
func (n *Now) change() string {
	if n.Verdict == Reduced {
		return fmt.Sprintf("shown, %.0f %% to %.0f %%", n.Reduction.Lower, n.Reduction.Upper)
	}
	return string(n.Verdict)
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

// since are a side's readings that begin at some time or later.
func since(side []analysis.Series, from time.Time) []analysis.Series {
	return keep(side, func(x analysis.Reading) bool { return !x.Start.Before(from.Add(-mostInto)) })
}

// keep are a side's readings that are wanted; nil if none is.
func keep(side []analysis.Series, wanted func(analysis.Reading) bool) (out []analysis.Series) {
	for _, s := range side {
		var kept []analysis.Reading
		for _, x := range s.Readings() {
			if wanted(x) {
				kept = append(kept, x)
			}
		}
		if kept == nil {
			continue
		}
		if cut, err := analysis.NewSeries(s.Place, s.Zone, kept); err == nil { // as the whole was
			out = append(out, cut)
		}
	}
	return out
}

// latest are a side's readings that lie mostly after some time, or begin then; where there
// are none, all.
func latest(side []analysis.Series, from time.Time) []analysis.Series {
	out := keep(side, func(x analysis.Reading) bool {
		return !x.Start.Before(from.Add(-mostInto)) || x.Start.Add(x.End.Sub(x.Start)/2).After(from)
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
