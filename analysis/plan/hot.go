package plan

import (
	"fmt"
	"math"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// HotOptions of Hot.
type HotOptions struct {
	Normal       float64 // share of homes above the level in a normal area
	Hot          float64 // in one that is to be flagged
	Power        float64 // probability that it is; 0: 0.8
	False        float64 // probability that a normal area, or any of several, is; 0: 0.05
	Areas        int     // looked at; 0: 1
	Simultaneous string  // as in Sampling
	Homes        int     // of an area that someone has in mind; 0: none
}

// HotAnswer is what so many homes of an area bring: it is flagged where Flag of them or
// more are above the level.
type HotAnswer struct {
	Criterion string
	Homes     int
	Total     int
	Flag      int     // more than Homes where so few can flag nothing
	Power     float64 // probability that a hot area is flagged
	False     float64 // ... and that a normal one is
}

// HotPlan is how many homes find hot areas.
type HotPlan struct {
	Options HotOptions
	Each    float64 // false alarms allowed of one area
	Answers []HotAnswer
	Curve   []HotAnswer
	Notes   []analysis.Note
}

// Hot says how many homes of each area find the hot ones.
//
// It estimates the fewest homes of an area, and how many of them have to be above the
// level, so that a hot area is flagged with the power asked for and a normal one hardly
// ever.
//
// Formula. An area is flagged where c or more of its n homes are above, c being the
// fewest with P(X ≥ c) ≤ a under the normal share; its power is P(X ≥ c) under the hot
// one, both binomial and summed exactly. First: the fewest n with the power. Lasting: the
// fewest from which on every n has it, since it goes back and forth. Beside them the
// textbook's ((z_a·√(p₀q₀) + z_b·√(p₁q₁))/(p₁ − p₀))². Of k areas each may be flagged
// falsely with a/k (Bonferroni) or 1 − (1 − a)^(1/k) (Sidak).
//
// Assumes homes drawn at random from each area, each known to be above the level or
// not, and the rule that n and c make: other rules have other errors.
//
// Interval: none: a number of homes. What it promises is counted in COVERAGE.md beside
// this package.
//
// Notes: cannot-flag.
//
// Source: Chernick and Liu 2002, Am. Stat. 56:149; Fleiss, Levin and Paik 2003, Statistical
// Methods for Rates and Proportions, section 2.5 (both from memory).
func Hot(o HotOptions) (HotPlan, error) {
	if o.Power == 0 {
		o.Power = 0.8
	}
	if o.False == 0 {
		o.False = 0.05
	}
	if o.Areas == 0 {
		o.Areas = 1
	}
	if o.Simultaneous == "" {
		o.Simultaneous = Bonferroni
	}
	s := Sampling{Areas: o.Areas, Simultaneous: o.Simultaneous, Homes: o.Homes}
	if err := s.check(); err != nil {
		return HotPlan{}, err
	}
	if err := inside("a share in normal areas", o.Normal, "0.1"); err != nil {
		return HotPlan{}, err
	}
	if err := inside("a share in hot areas", o.Hot, "0.3"); err != nil {
		return HotPlan{}, err
	}
	if o.Hot <= o.Normal {
		return HotPlan{}, fmt.Errorf("a share of %s in hot areas and of %s in normal ones; the first is the larger", percent(o.Hot), percent(o.Normal))
	}
	if !(o.Power >= 0.5 && o.Power <= 0.9999) {
		return HotPlan{}, fmt.Errorf("a power of %s; it lies between 50 and 99.99 %%, such as 80 %%", percent(o.Power))
	}
	if !(o.False >= 1e-9 && o.False <= 0.5) {
		return HotPlan{}, fmt.Errorf("a probability of a false flag of %s; it lies above 0 and is at most 50 %%, such as 5 %%", percent(o.False))
	}
	r := HotPlan{Options: o, Each: shared(o.False, o.Areas, o.Simultaneous)}
	answer := func(criterion string, n int) HotAnswer {
		c := flagFrom(n, o.Normal, r.Each)
		return HotAnswer{Criterion: criterion, Homes: n, Total: n * o.Areas, Flag: c, Power: atLeast(c, n, o.Hot), False: atLeast(c, n, o.Normal)}
	}
	ok := func(n int) bool { return answer("", n).Power >= o.Power }
	za, zb := -numeric.NormalQuantile(r.Each), numeric.NormalQuantile(o.Power)
	root := (za*math.Sqrt(o.Normal*(1-o.Normal)) + zb*math.Sqrt(o.Hot*(1-o.Hot))) / (o.Hot - o.Normal)
	if root*root > MostHomes {
		return r, tooMany()
	}
	last, err := lasting(1, 4/(o.Hot-o.Normal)+4/o.Normal, ok)
	if err != nil {
		return r, err
	}
	first := 1
	for !ok(first) { // ends at last
		first++
	}
	r.Answers = []HotAnswer{answer(Textbook, max(1, int(math.Ceil(root*root)))), answer(First, first), answer(Lasting, last)}
	if o.Homes > 0 {
		a := answer(Asked, o.Homes)
		if a.Flag > a.Homes {
			r.Notes = append(r.Notes, note("cannot-flag", "of %d homes not even all above the level would be rare enough in a normal area to flag it; measure more homes, or allow more false flags", o.Homes))
		}
		r.Answers = append(r.Answers, a)
	}
	for _, n := range steps(1, first, last) {
		r.Curve = append(r.Curve, answer("", n))
	}
	return r, nil
}

// flagFrom is the fewest homes above the level that a normal area has with probability a
// at most.
func flagFrom(n int, p, a float64) int {
	lo, hi := 0, n+1 // at lo it is too often, at hi never
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; atLeast(mid, n, p) <= a*(1+1e-12) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi
}

// FindOptions of Find.
type FindOptions struct {
	Units      int     // homes of the building or block; 0: very many
	Above      int     // of them above the level; 0: Share says
	Share      float64 // of them above the level, where Above does not say
	Confidence float64 // that one of those above is among those tested; 0: 0.95
	Homes      int     // tested, that someone has in mind; 0: none
}

// FindAnswer is how likely a home above the level is among those tested.
type FindAnswer struct {
	Criterion string
	Homes     int
	Chance    float64
}

// FindPlan is how many homes find one above the level.
type FindPlan struct {
	Options FindOptions
	Above   int // homes of the building taken to be above; 0 of very many
	Formula int // what the textbook's formula gives, which of a small building may be more than there are
	Answers []FindAnswer
	Curve   []FindAnswer
	Notes   []analysis.Note
}

// Find says how many homes of a building find one above the level, if so many are.
//
// It estimates the fewest homes to test so that at least one above the level is among
// them with the confidence asked for.
//
// Formula. Of N homes K above, all n tested lie below with probability C(N − K, n)/C(N,
// n); of very many with a share p above, (1 − p)^n. K is the share of N, rounded up. Beside
// it the textbook's ln(1 − confidence)/ln(1 − p), which knows of no N.
//
// Assumes homes drawn at random from the building, and tests that do not err: a short
// test may show a home below that is above over the year. Homes on the ground differ
// from those higher up, and then each kind is a building of its own.
//
// Interval: none: a number of homes. What it promises is counted in COVERAGE.md beside
// this package.
//
// Notes: nearly-all.
//
// Source: the hypergeometric distribution, any textbook; as a rule for buildings, HUD 1995,
// Guidelines for the Evaluation and Control of Lead-Based Paint Hazards in Housing, table
// 7.3 (from memory).
func Find(o FindOptions) (FindPlan, error) {
	if o.Confidence == 0 {
		o.Confidence = 0.95
	}
	switch {
	case !(o.Confidence >= 0.5 && o.Confidence <= 0.999999):
		return FindPlan{}, fmt.Errorf("a confidence of %v; it lies between 0.5 and 0.999999, such as 0.95", o.Confidence)
	case o.Units < 0 || o.Units > MostHomes:
		return FindPlan{}, fmt.Errorf("%d homes in the building; give 1 to %d, or leave it out for very many", o.Units, MostHomes)
	case o.Above < 0 || o.Above > o.Units:
		return FindPlan{}, fmt.Errorf("%d homes above the level of %d in the building; give how many there are, and no more above", o.Above, o.Units)
	case o.Above > 0 && o.Share != 0:
		return FindPlan{}, fmt.Errorf("both a number and a share of homes above the level; give one")
	case o.Homes < 0 || o.Homes > MostHomes || o.Units > 0 && o.Homes > o.Units:
		return FindPlan{}, fmt.Errorf("%d homes tested; give 1 or more, and no more than the building has", o.Homes)
	}
	r := FindPlan{Options: o, Above: o.Above}
	p := o.Share
	if o.Above == 0 {
		if err := inside("a share above the level", p, "0.05"); err != nil {
			return r, err
		}
		if o.Units > 0 {
			r.Above = int(math.Ceil(p*float64(o.Units) - 1e-9))
		}
	} else {
		p = float64(o.Above) / float64(o.Units)
	}
	chance := func(n int) float64 {
		if o.Units == 0 {
			return -math.Expm1(float64(n) * math.Log1p(-p))
		}
		return oneAmong(n, r.Above, o.Units)
	}
	most := MostHomes
	if o.Units > 0 {
		most = o.Units
	}
	need := 1
	for chance(need) < o.Confidence-1e-12 {
		if need++; need > most {
			return r, tooMany()
		}
	}
	textbook := 1
	if p < 1 {
		textbook = max(1, int(math.Ceil(min(math.Log1p(-o.Confidence)/math.Log1p(-p)-1e-9, MostHomes))))
	}
	r.Formula = textbook
	book := FindAnswer{Criterion: Textbook, Homes: min(textbook, most), Chance: 1} // no more than there are
	if textbook < most {
		book.Chance = chance(textbook)
	}
	r.Answers = []FindAnswer{book, {First, need, chance(need)}}
	if o.Homes > 0 {
		r.Answers = append(r.Answers, FindAnswer{Asked, o.Homes, chance(o.Homes)})
	}
	for _, n := range steps(1, 2, max(need, o.Homes)) {
		if n <= most {
			r.Curve = append(r.Curve, FindAnswer{"", n, chance(n)})
		}
	}
	if o.Units > 0 && 4*need > 3*o.Units {
		r.Notes = append(r.Notes, note("nearly-all", "that is %d of %d homes: test them all, and nothing is left to chance", need, o.Units))
	}
	return r, nil
}

// oneAmong is the probability that at least one of k is among n drawn of all.
func oneAmong(n, k, all int) float64 {
	none := 0.0 // log of the probability that none is
	for i := range n {
		left := all - k - i
		if left <= 0 {
			return 1
		}
		none += math.Log(float64(left) / float64(all-i))
	}
	return -math.Expm1(none)
}
