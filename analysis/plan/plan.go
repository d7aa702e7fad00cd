// Package plan answers: how many homes, and how many days?
//
// Share, GeometricMean and Mean say how many homes a survey needs for an interval
// of a given width; Days how long a test has to be to settle a level; Reduction how
// many homes, and how long before and after, show that mitigation worked; Hot and
// Find how many homes find a hot area, or a home above the level in a building. Each
// answers for the intervals and verdicts that this program gives, with the formula
// of the textbooks beside it, and keeps the curve that the answer was read from.
package plan

import (
	"fmt"
	"math"

	"radonyear/analysis"
	"radonyear/analysis/compare"
	"radonyear/analysis/internal/numeric"

	"gonum.org/v1/gonum/mathext"
)

// MostHomes is as many homes as any plan here asks for.
const MostHomes = 100_000

// mostEach is the most confidence that an interval of a share is given for.
const mostEach = 0.999999

// The criteria that numbers of homes are sought by.
const (
	Textbook = "textbook" // the usual formula
	Average  = "average"  // the interval is narrow enough on average, or at the spread assumed
	Assured  = "assured"  // it is narrow enough with the assurance asked for
	AnyShare = "any-share"
	First    = "first"   // fewest with the power
	Lasting  = "lasting" // from which on every number has it
	Asked    = "asked"   // the number someone asked about
)

// The ways to let several intervals hold all at once.
const (
	Bonferroni = "bonferroni"
	Sidak      = "sidak"
	Apart      = "apart" // each interval holds for itself
)

// Sampling is how homes are drawn and what is asked of their interval. The zero
// value is the documented default.
type Sampling struct {
	Confidence   float64 // of the intervals, of all areas at once where there are several; 0: 0.95
	Assurance    float64 // probability that an interval is as narrow as asked; 0: 0.9
	Areas        int     // each of which gets an interval; 0: 1
	Simultaneous string  // how areas share the confidence: Bonferroni (default), Sidak or Apart
	Dwellings    int     // in an area; 0: so many that the homes drawn do not matter
	DesignEffect float64 // by how much the variance is that of a simple random sample; 0: 1
	Homes        int     // an area's homes that someone has in mind; 0: none
}

func (s *Sampling) check() error {
	if s.Confidence == 0 {
		s.Confidence = 0.95
	}
	if s.Assurance == 0 {
		s.Assurance = 0.9
	}
	if s.Areas == 0 {
		s.Areas = 1
	}
	if s.Simultaneous == "" {
		s.Simultaneous = Bonferroni
	}
	if s.DesignEffect == 0 {
		s.DesignEffect = 1
	}
	switch {
	case !(s.Confidence >= 0.5 && s.Confidence <= 0.999999):
		return fmt.Errorf("a confidence of %v; it lies between 0.5 and 0.999999, such as 0.95", s.Confidence)
	case !(s.Assurance >= 0.5 && s.Assurance <= 0.9999):
		return fmt.Errorf("an assurance of %s; it lies between 50 and 99.99 %%, such as 90 %%", percent(s.Assurance))
	case s.Areas < 1 || s.Areas > MostHomes:
		return fmt.Errorf("%d areas; there are 1 to %d", s.Areas, MostHomes)
	case s.Simultaneous != Bonferroni && s.Simultaneous != Sidak && s.Simultaneous != Apart:
		return fmt.Errorf("no way %q to share a confidence among areas: they are %q, %q and %q", s.Simultaneous, Bonferroni, Sidak, Apart)
	case s.Dwellings < 0 || s.Dwellings == 1:
		return fmt.Errorf("%d dwellings in an area; give 2 or more, or leave it out", s.Dwellings)
	case !(s.DesignEffect >= 1 && s.DesignEffect <= 100):
		return fmt.Errorf("a design effect of %v; it is 1 for a simple random sample, about 1.2 to 3 for clusters, and 100 at most", s.DesignEffect)
	case s.Homes < 0 || s.Homes > MostHomes:
		return fmt.Errorf("%d homes; give 1 to %d", s.Homes, MostHomes)
	case s.Dwellings > 0 && s.Homes > s.Dwellings:
		return fmt.Errorf("%d homes of %d dwellings; there are not so many", s.Homes, s.Dwellings)
	case s.Each() > mostEach:
		return fmt.Errorf("%d areas at once with a confidence of %v, which takes one of %.9f in each; ask for less, or for fewer areas", s.Areas, s.Confidence, s.Each())
	}
	return nil
}

// Each is the confidence of one area's interval, so that those of all areas hold at
// once with the confidence asked for: Bonferroni's 1 − α/k, which is enough however
// areas hang together, or Sidak's (1 − α)^(1/k), which takes them as independent.
func (s Sampling) Each() float64 { return 1 - shared(1-s.Confidence, s.Areas, s.Simultaneous) }

// shared is the part of α that each of k may have.
func shared(alpha float64, k int, how string) float64 {
	switch {
	case k <= 1 || how == Apart:
		return alpha
	case how == Sidak:
		return -math.Expm1(math.Log1p(-alpha) / float64(k))
	}
	return alpha / float64(k)
}

// homes are how many of an area's dwellings say as much as m homes of a simple random
// sample from a large population: n₀ = D·m with the design effect D, and of N
// dwellings n = n₀/(1 + (n₀ − 1)/N) (Cochran 1977, section 4.6, from memory).
func (s Sampling) homes(m int) (int, error) {
	n := s.DesignEffect * float64(m)
	if s.Dwellings > 0 {
		n /= 1 + (n-1)/float64(s.Dwellings)
	}
	if n -= 1e-9 * n; n > MostHomes {
		return 0, tooMany()
	}
	return int(math.Ceil(n)), nil
}

// worth is the reverse: as how many homes of a simple random sample n of an area's
// dwellings count. Of a census that is +Inf.
func (s Sampling) worth(n float64) float64 {
	if s.Dwellings > 0 {
		d := float64(s.Dwellings)
		if n >= d {
			return math.Inf(1)
		}
		n *= (d - 1) / (d - n) // (D·m)/(1 + (D·m − 1)/N) solved for D·m
	}
	return n / s.DesignEffect
}

func tooMany() error {
	return fmt.Errorf("more than %d homes would be needed; ask for a wider margin, a larger difference or less assurance", MostHomes)
}

// lasting is the fewest n ≥ least from which on ok holds. ok holds in the long run and
// may go back and forth on the way there, as it does where homes are counted: within a
// quarter of the number and the slack more, which is looked through one by one.
func lasting(least int, slack float64, ok func(n int) bool) (int, error) {
	first, err := boundary(least, ok)
	if err != nil {
		return 0, err
	}
	for n := first + first/4 + int(math.Ceil(slack)); n >= least; n-- {
		if !ok(n) {
			return n + 1, nil
		}
		if n == least {
			break
		}
	}
	return least, nil
}

// boundary is an n ≥ least with ok, and without it at n − 1 unless n is least: the
// fewest where ok, once true, stays so.
func boundary(least int, ok func(n int) bool) (int, error) {
	if ok(least) {
		return least, nil
	}
	lo, hi := least, 2*least
	for !ok(hi) {
		if lo = hi; hi > MostHomes {
			return 0, tooMany()
		}
		hi *= 2
	}
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; ok(mid) {
			hi = mid
		} else {
			lo = mid
		}
	}
	return hi, nil
}

// steps are numbers for a curve, at even ratios from half of the least to twice the most.
func steps(least, from, to int) []int {
	const points = 24
	lo, hi := math.Log(math.Max(float64(least), float64(from)/2)), math.Log(math.Max(float64(least+1), 2*float64(to)))
	var out []int
	for i := range points + 1 {
		n := int(math.Round(math.Exp(lo + (hi-lo)*float64(i)/points)))
		if len(out) == 0 || n > out[len(out)-1] {
			out = append(out, n)
		}
	}
	return out
}

// zHalf is the z with so much between −z and z.
func zHalf(confidence float64) float64 { return -numeric.NormalQuantile((1 - confidence) / 2) }

// atMost is P(X ≤ k) of a binomial.
func atMost(k, n int, p float64) float64 {
	switch {
	case k < 0:
		return 0
	case k >= n:
		return 1
	}
	return mathext.RegIncBeta(float64(n-k), float64(k+1), 1-p)
}

// atLeast is P(X ≥ k), with its own digits where it is small.
func atLeast(k, n int, p float64) float64 {
	switch {
	case k <= 0:
		return 1
	case k > n:
		return 0
	}
	return mathext.RegIncBeta(float64(k), float64(n-k+1), p)
}

// wilson is the interval of a share that this program gives.
func wilson(x, n int, confidence float64) (lower, upper float64) {
	e, err := compare.ShareBelow(x, n, confidence)
	if err != nil {
		panic(err) // x, n and the confidence were checked
	}
	return e.Lower / 100, e.Upper / 100
}

func note(code, format string, args ...any) analysis.Note {
	return analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)}
}

// percent is a share as people write it.
func percent(x float64) string { return fmt.Sprintf("%.10g %%", 100*x) }

func positive(what string, x float64) error {
	if !(x > 0) || math.IsInf(x, 0) {
		return fmt.Errorf("%s of %v; it is a positive number", what, x)
	}
	return nil
}

func inside(what string, x float64, example string) error {
	if !(x > 0 && x < 1) {
		return fmt.Errorf("%s of %v; it lies between 0 and 1, such as %s", what, x, example)
	}
	return nil
}

func checkGSD(gsd float64) error {
	if !(gsd > 1 && gsd <= 50) {
		return fmt.Errorf("a geometric standard deviation of %v; it is above 1, mostly 2 to 3 for homes of an area, and 50 at most", gsd)
	}
	return nil
}
