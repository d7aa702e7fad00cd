package compare

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"radonyear/analysis"
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
		return slices.CompactFunc(out, func(a, b Ran) bool { return slices.Equal(a.Systems, b.Systems) })
	}
	without, with := in(c.h.Without), in(c.h.With)
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
	// What is the same on both sides is what the home has, and says nothing of a time.
	if len(without) > 0 && len(with) > 0 && !slices.Equal(distinct(without), distinct(with)) {
		c.note("system-before", "what was measured without the system names one that ran: %s; with it: %s. The reduction is what the later one does beside or in place of the earlier, and not of all there is: read it as that, or measure with all of them switched off", c.told(without), c.told(with))
	}
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
