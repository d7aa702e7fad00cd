package plan

import (
	"fmt"
	"math"

	"radonyear/analysis"
	"radonyear/analysis/compare"
	"radonyear/analysis/internal/numeric"
)

// ShareOptions of Share.
type ShareOptions struct {
	Sampling
	Share  float64 // of homes above the level, as it is expected to be
	Margin float64 // half the width asked for, as a share of all homes
}

// ShareAnswer is what so many homes bring.
type ShareAnswer struct {
	Criterion  string
	Homes      int     // of an area
	Total      int     // of all areas
	HalfWidth  float64 // of the interval, on average
	Within     float64 // probability that half the width is no more than the margin
	Coverage   float64 // of the interval, at the share expected
	FewestSeen float64 // homes above the level that are to be expected among them
}

// SharePlan is how many homes estimate a share.
type SharePlan struct {
	Options  ShareOptions
	Each     float64 // confidence of one area's interval
	Answers  []ShareAnswer
	Curve    []ShareAnswer     // by homes
	Expected analysis.Estimate // the interval that so many homes as are assured give, where they show the share expected
	Notes    []analysis.Note
}

// Keys in the list of methods.
const (
	ShareMethod     = "plan-share"
	GMMethod        = "plan-gm"
	MeanMethod      = "plan-mean"
	DaysMethod      = "plan-days"
	ReductionMethod = "plan-reduction"
	HotMethod       = "plan-hot"
	FindMethod      = "plan-find"
)

// ShareAbove is the share of homes above a level of a log-normal distribution.
func ShareAbove(gm, gsd, level float64) (float64, error) {
	if err := positive("a geometric mean", gm); err != nil {
		return 0, err
	}
	if err := checkGSD(gsd); err != nil {
		return 0, err
	}
	if err := positive("a level", level); err != nil {
		return 0, err
	}
	return numeric.Phi((math.Log(gm) - math.Log(level)) / math.Log(gsd)), nil
}

// Share says how many homes estimate a share above a level.
//
// It estimates the fewest homes of each area whose interval for the share is as narrow
// as asked.
//
// Formula. Of m homes x are above, binomial with the share expected; the interval is
// Wilson's, and h(x) half its width. Average: Σ h(x)·P(x) ≤ margin. Assured: P(h(x) ≤
// margin) ≥ the assurance, at this m and at every larger one. Any share: h(m/2), the
// widest there is, ≤ margin. Beside them the textbook's m = z²·p(1 − p)/margin². With a
// design effect D and N dwellings, n₀ = D·m and n = n₀/(1 + (n₀ − 1)/N). Among k areas
// each interval has the confidence 1 − α/k (Bonferroni) or (1 − α)^(1/k) (Sidak), so
// that all hold at once.
//
// Assumes homes drawn at random from each area, each known to be above the level or not.
// The errors of short tests make shares above a high level come out too large, and no
// number of homes cures that. A finite number of dwellings helps only whoever takes
// Wilson's interval at n·(N − 1)/(N − n)/D homes.
//
// Interval: none: a number of homes. What it promises is counted in COVERAGE.md beside
// this package.
//
// Notes: few-above, census.
//
// Source: Wilson 1927, J. Am. Stat. Assoc. 22:209; Cochran 1977, Sampling Techniques,
// chapter 4; Chernick and Liu 2002, Am. Stat. 56:149, for numbers that go back and
// forth; Sidak 1967, J. Am. Stat. Assoc. 62:626 (all from memory).
func Share(o ShareOptions) (SharePlan, error) {
	if err := o.Sampling.check(); err != nil {
		return SharePlan{}, err
	}
	if err := inside("a share", o.Share, "0.1"); err != nil {
		return SharePlan{}, err
	}
	if !(o.Margin > 0 && o.Margin < 0.5) {
		return SharePlan{}, fmt.Errorf("a margin of %s; it lies between 0 and 50 percentage points, such as 5 %%", percent(o.Margin))
	}
	p := o.Share
	r := SharePlan{Options: o, Each: o.Each()}
	z := zHalf(r.Each)
	add := func(criterion string, m int, err error) error {
		if err != nil {
			return err
		}
		n, err := o.homes(m)
		if err != nil {
			return err
		}
		a := o.answer(criterion, n, r.Each)
		r.Answers = append(r.Answers, a)
		return nil
	}
	if err := add(Textbook, int(math.Ceil(min(z*z*p*(1-p)/(o.Margin*o.Margin), 2*MostHomes))), nil); err != nil {
		return r, err
	}
	m, err := boundary(1, func(m int) bool { return averageHalf(m, p, r.Each) <= o.Margin })
	if err := add(Average, m, err); err != nil {
		return r, err
	}
	m, err = lasting(1, 4/min(p, 1-p), func(m int) bool { return within(m, p, o.Margin, r.Each) >= o.Assurance })
	if err := add(Assured, m, err); err != nil {
		return r, err
	}
	assured := m
	m, err = boundary(1, func(m int) bool { return halfWidth(float64(m)/2, float64(m), z) <= o.Margin })
	if err := add(AnyShare, m, err); err != nil {
		return r, err
	}
	if o.Homes > 0 {
		r.Answers = append(r.Answers, o.answer(Asked, o.Homes, r.Each))
	}
	least, most := r.Answers[0].Homes, r.Answers[0].Homes
	for _, a := range r.Answers {
		least, most = min(least, a.Homes), max(most, a.Homes)
	}
	for _, n := range steps(2, least, most) {
		if o.Dwellings > 0 && n > o.Dwellings {
			break
		}
		r.Curve = append(r.Curve, o.answer("", n, r.Each))
	}
	best := r.Answers[2]
	if best.FewestSeen < 5 {
		r.Notes = append(r.Notes, note("few-above", "among %d homes only %.2g are expected above the level, so the share found will jump about; ask also whether a home above it would be found at all (plan find)", best.Homes, best.FewestSeen))
	}
	if o.Dwellings > 0 && 2*best.Homes > o.Dwellings {
		r.Notes = append(r.Notes, note("census", "that is %d of %d dwellings: to ask all of them may be simpler, and then nothing is left to chance but who answers", best.Homes, o.Dwellings))
	}
	x := int(math.Round(p * float64(assured)))
	e, err := compare.ShareBelow(x, assured, r.Each)
	if err != nil {
		return r, err
	}
	e.Quantity, e.Unit = "share above the level", ""
	e.Value, e.Lower, e.Upper, e.N = e.Value/100, e.Lower/100, e.Upper/100, best.Homes
	r.Expected = e
	return r, e.Check()
}

// answer is what n homes of an area bring. Homes that a design effect or few dwellings
// make worth a broken number count as the whole number below it.
func (o ShareOptions) answer(criterion string, n int, confidence float64) ShareAnswer {
	a := ShareAnswer{Criterion: criterion, Homes: n, Total: n * o.Areas, FewestSeen: o.Share * float64(n), Within: 1, Coverage: 1}
	if w := o.worth(float64(n)); !math.IsInf(w, 1) { // of a census nothing is left open
		m := max(1, int(w+1e-9*w))
		a.HalfWidth, a.Within, a.Coverage = averageHalf(m, o.Share, confidence), within(m, o.Share, o.Margin, confidence), coverage(m, o.Share, confidence)
	}
	return a
}

// halfWidth is half of Wilson's interval for x of n, the number ShareBelow's limits
// differ by.
func halfWidth(x, n, z float64) float64 { return z * math.Sqrt(x*(n-x)/n+z*z/4) / (n + z*z) }

// averageHalf is half the width on average over how many are found above.
func averageHalf(n int, p, confidence float64) float64 {
	z, sum, total := zHalf(confidence), 0.0, 0.0
	eachCount(n, p, func(x int, q float64) {
		sum += q * halfWidth(float64(x), float64(n), z)
		total += q
	})
	return sum / total
}

// within is the probability that half the width is no more than a margin. Half the
// width rises up to x = n/2 and falls as it rose.
func within(n int, p, margin, confidence float64) float64 {
	z := zHalf(confidence)
	fits := func(x int) bool { return halfWidth(float64(x), float64(n), z) <= margin }
	half := n / 2
	switch {
	case fits(half):
		return 1
	case !fits(0):
		return 0
	}
	// z²(x(n − x)/n + z²/4) ≤ margin²(n + z²)², solved for x; then rounding is made good.
	c := math.Pow(margin*(float64(n)+z*z)/z, 2) - z*z/4
	k := int(float64(n) / 2 * (1 - math.Sqrt(max(0, 1-4*c/float64(n)))))
	for k+1 < half && fits(k+1) {
		k++
	}
	for k > 0 && !fits(k) {
		k--
	}
	return atMost(k, n, p) + atLeast(n-k, n, p)
}

// coverage is the probability that the interval holds the share.
func coverage(n int, p, confidence float64) float64 {
	sum, total := 0.0, 0.0
	eachCount(n, p, func(x int, q float64) {
		if l, u := wilson(x, n, confidence); l <= p && p <= u {
			sum += q
		}
		total += q
	})
	return sum / total
}

// eachCount calls f with each count that can be found and its probability, from the
// likeliest outwards until what is left does not matter.
func eachCount(n int, p float64, f func(x int, q float64)) {
	top := min(n, int(float64(n+1)*p))
	q := func(x int) float64 {
		a, _ := math.Lgamma(float64(n + 1))
		b, _ := math.Lgamma(float64(x + 1))
		c, _ := math.Lgamma(float64(n - x + 1))
		return math.Exp(a - b - c + float64(x)*math.Log(p) + float64(n-x)*math.Log1p(-p))
	}
	start := q(top)
	f(top, start)
	for x, v := top, start; x < n; {
		v *= float64(n-x) / float64(x+1) * p / (1 - p)
		x++
		if f(x, v); v < 1e-18*start {
			break
		}
	}
	for x, v := top, start; x > 0; {
		v *= float64(x) / float64(n-x+1) * (1 - p) / p
		x--
		if f(x, v); v < 1e-18*start {
			break
		}
	}
}
