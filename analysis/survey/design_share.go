package survey

import (
	"fmt"
	"math"
	"slices"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// share is that of the domain's homes above a level.
func (e domain) share(level, dwellings float64) DesignShare {
	s := DesignShare{Level: level}
	y, most := make([]float64, e.n), make([]float64, e.n)
	log := math.Log(level)
	for k, i := range e.part {
		lower, upper := e.homes[i].bounds()
		if lower == upper && lower > log || lower < upper && lower >= log {
			y[k], most[k] = 1, 1
			s.Above++
		} else if lower < upper && upper > log {
			most[k] = 1
			s.Undecided++
		}
	}
	p, se := e.ratio(y)
	p = min(p, 1) // of all above, sums may round to more
	s.SE = se
	low := e.effective(p, se)
	s.Effective = low.homes
	pHigh, high := p, low
	if s.Undecided > 0 {
		var se float64
		pHigh, se = e.ratio(most)
		pHigh = min(pHigh, 1)
		high = e.effective(pHigh, se)
	}
	x := proportion{level, p, pHigh, low, high, s.Undecided}
	s.Share, s.Wilson, s.ClopperPearson = e.kornGraubard(x), e.wilson(x), e.clopperPearson(x)
	if dwellings > 0 {
		s.Homes = e.above(y, dwellings, s)
	}
	return s
}

// effective is how many homes of a simple random sample would say as much of a share:
// plain by its variance, homes with the degrees of freedom reckoned in.
type effective struct{ plain, homes float64 }

// effective is p(1 − p)/se². Where all or none are above, or no stratum has both, the
// variance says nothing, and the weights alone do. No sample says more than its homes.
func (e domain) effective(p, se float64) effective {
	n := float64(e.n)
	x := effective{plain: p * (1 - p) / (se * se)}
	if !(p > 0 && p < 1) || !(se > 1e-9*math.Sqrt(p*(1-p))) {
		x.plain = effectiveWeights(e.w)
	}
	x.homes = x.plain
	if e.df >= 1 && e.n > 1 {
		r := e.t(e.n-1) / e.t(e.df)
		x.homes *= r * r
	}
	x.plain, x.homes = min(x.plain, n), min(x.homes, n)
	return x
}

// proportion is a share as counted, and as it would be were all that is undecided above.
type proportion struct {
	level     float64
	p, pHigh  float64
	low, high effective
	undecided int
}

// interval is a share between limits of one method.
func (e domain) interval(x proportion, method string, lower, upper float64) analysis.Estimate {
	a := e.estimate(fmt.Sprintf("share above %.6g %s by design", x.level, becquerel), "", method)
	a.Value, a.Lower, a.Upper = x.p, min(lower, x.p), max(upper, x.p)
	if e.df < 1 {
		a.Lower, a.Upper = 0, 1
	}
	if x.undecided > 0 {
		a.Notes = append(a.Notes, note("undecided", "limits leave undecided whether %d of %d homes are above; the upper limit takes them as above", x.undecided, e.n))
	}
	return a
}

// kornGraubard estimates the share of homes above a level, from 0 to 1, by the design of
// the survey.
//
// Formula. p = Σw·(x > L)/Σw, of an area or of all. Limits are the beta quantiles B(α/2; np, n(1−p)+1)
// and B(1−α/2; np+1, n(1−p)) with n = p(1−p)/se² · (t of the homes less one/t of the degrees of
// freedom)², at most the homes in the sample; where none or all are above, n is (Σw)²/Σw²
// instead of p(1−p)/se². A home that its limit leaves undecided counts as not above in the
// value and in the lower limit, and as above in the upper.
//
// Assumes homes, or clusters of them, drawn at random within strata with chances in proportion to
// 1/weight. The error of the homes' tests is in the share: where it is above the median home,
// a share of tests is larger than one of homes. The method area-posterior takes it off.
//
// Interval: confidence, and the default. Asked for 95 %, it holds 95 to 100 % of shares of 1 to
// 30 % at 20 to 200 homes, with and without strata and clusters; see COVERAGE-design.md.
//
// Notes: undecided, no-degrees, few-degrees, uneven-weights, lonely-strata.
//
// Source: Korn and Graubard 1998, Surv. Methodol. 24:193; the bound of n by that of the sample,
// Parker et al. 2017, Vital Health Stat. 2(175) (both from memory).
func (e domain) kornGraubard(x proportion) analysis.Estimate {
	tail := (1 - e.opt.Confidence) / 2
	lower, _ := numeric.ClopperPearson(x.p*x.low.homes, x.low.homes, tail)
	_, upper := numeric.ClopperPearson(x.pHigh*x.high.homes, x.high.homes, tail)
	return e.interval(x, DesignKornGraubard, lower, upper)
}

// wilson estimates the share of homes above a level, from 0 to 1, by the design of
// the survey, with narrower limits.
//
// Formula. The share and the effective number n of design-korn-graubard, in Wilson's limits,
// (np + z²/2 ± z√(np(1−p) + z²/4))/(n + z²), z normal.
//
// Assumes what design-korn-graubard does.
//
// Interval: confidence. Asked for 95 %, it holds 91 to 99 % of shares of 1 to 30 % at 20 to
// 200 homes, fewest of shares of 1 to 3 %, whose lower limit is then too high; see
// COVERAGE-design.md.
//
// Notes: undecided, no-degrees.
//
// Source: Wilson 1927, J. Am. Stat. Assoc. 22:209; with an effective n, Franco et al. 2019, J. Surv.
// Stat. Methodol. 7:334 (both from memory).
func (e domain) wilson(x proportion) analysis.Estimate {
	z := numeric.NormalQuantile(0.5 + e.opt.Confidence/2)
	lower, _ := numeric.Wilson(x.p*x.low.homes, x.low.homes, z)
	_, upper := numeric.Wilson(x.pHigh*x.high.homes, x.high.homes, z)
	return e.interval(x, DesignWilson, lower, upper)
}

// clopperPearson estimates the share of homes above a level, from 0 to 1, by the design of
// the survey, without regard to how well its variance is known.
//
// Formula. The beta quantiles of design-korn-graubard with n = p(1−p)/se² alone, at most the homes in
// the sample.
//
// Assumes what design-korn-graubard does, and clusters enough for the variance to be known.
//
// Interval: confidence. Asked for 95 %, it holds 94 to 100 % of shares of 1 to 30 % at 20 to
// 200 homes; see COVERAGE-design.md.
//
// Notes: undecided, no-degrees.
//
// Source: Clopper and Pearson 1934, Biometrika 26:404; Korn and Graubard 1998, Surv. Methodol. 24:193
// (both from memory).
func (e domain) clopperPearson(x proportion) analysis.Estimate {
	tail := (1 - e.opt.Confidence) / 2
	lower, _ := numeric.ClopperPearson(x.p*x.low.plain, x.low.plain, tail)
	_, upper := numeric.ClopperPearson(x.pHigh*x.high.plain, x.high.plain, tail)
	return e.interval(x, DesignClopperPearson, lower, upper)
}

// above estimates how many dwellings are above a level, by the design of the survey.
//
// Formula. T = Σw·(x > L) = p·Σw over the area's homes, or all. Limits T·exp(±√(d² + t²r²)), d = ln(p/lower)
// or ln(upper/p) by the share's limits, and r² = (se of T/T)² − (se of p/p)², not below 0, which is what
// not knowing the dwellings adds. Where they are known r is 0, and limits are the share's times
// Σw. Where none is above, the upper limit is the share's, times Σw·exp(t·r), r = se of Σw/Σw.
//
// Assumes what design-korn-graubard does, and weights that are dwellings a home stands for.
//
// Interval: confidence. Asked for 95 %, it holds 95 to 100 % of what shares of 1 to 30 % make,
// at 50 to 200 homes in clusters of unequal size; see COVERAGE-design.md.
//
// Notes: undecided, no-degrees, unbounded.
//
// Source: Särndal, Swensson and Wretman 1992, Model Assisted Survey Sampling, chapter 2; limits put together
// from those of the parts, Zou and Donner 2008, Stat. Med. 27:1693 (both from memory).
func (e domain) above(y []float64, dwellings float64, s DesignShare) *analysis.Estimate {
	a := e.estimate(fmt.Sprintf("dwellings above %.6g %s by design", s.Level, becquerel), "", DesignTotal)
	p, lower, upper := s.Share.Value, s.Share.Lower, s.Share.Upper
	a.Value, a.Notes = p*dwellings, s.Share.Notes
	z := make([]float64, len(y))
	for k := range z {
		z[k] = 1 / e.weight
		if p > 0 {
			z[k] *= y[k] / p
		}
	}
	r2 := e.variance(z)
	if p > 0 {
		r2 = max(0, r2-(s.SE/p)*(s.SE/p))
	}
	if r2 < 1e-12 { // no more than rounding
		a.Lower, a.Upper = lower*dwellings, upper*dwellings
		return &a
	}
	t := e.t(e.df)
	if math.IsInf(t, 1) {
		a.Lower, a.Upper = 0, math.Inf(1)
		a.Notes = append(slices.Clip(a.Notes), note("unbounded", tooFew))
		return &a
	}
	if p == 0 {
		a.Upper = upper * dwellings * math.Exp(t*math.Sqrt(r2))
		return &a
	}
	a.Lower = a.Value * math.Exp(-math.Hypot(math.Log(p/lower), t*math.Sqrt(r2)))
	a.Upper = a.Value * math.Exp(math.Hypot(math.Log(upper/p), t*math.Sqrt(r2)))
	return &a
}

// Difference estimates how much larger one share of homes is than another, from −1 to 1.
//
// Formula. d = p₁ − p₂; limits d − √((p₁−l₁)² + (u₂−p₂)²) and d + √((u₁−p₁)² + (p₂−l₂)²), l and u being
// Wilson's limits of the two shares (the hybrid score, method 10).
//
// Assumes shares that are independent of each other: of two surveys, of two strata, or of
// areas that have no cluster in common.
//
// Interval: confidence. Asked for 95 %, it holds 95 to 100 % at 20 to 200 homes in each
// survey and shares of 10 and 5 %; see COVERAGE-design.md.
//
// Notes: undecided, no-degrees.
//
// Source: Newcombe 1998, Stat. Med. 17:873, method 10.
func Difference(first, second DesignShare) (analysis.Estimate, error) {
	a, b := first.Wilson, second.Wilson
	for _, s := range []analysis.Estimate{a, b} {
		if err := s.Check(); err != nil {
			return analysis.Estimate{}, err
		}
	}
	if a.Confidence != b.Confidence {
		return analysis.Estimate{}, fmt.Errorf("shares with intervals of %v and of %v; a difference needs one confidence", a.Confidence, b.Confidence)
	}
	if first.Level != second.Level {
		return analysis.Estimate{}, fmt.Errorf("shares above %v and above %v Bq/m³; a difference needs one level", first.Level, second.Level)
	}
	d := analysis.Estimate{Quantity: fmt.Sprintf("difference of shares above %.6g %s", first.Level, becquerel), Value: a.Value - b.Value,
		Confidence: a.Confidence, Kind: analysis.ConfidenceInterval, N: a.N + b.N, Method: DesignDifference, Notes: slices.Concat(a.Notes, b.Notes)}
	d.Lower = max(-1, d.Value-math.Hypot(a.Value-a.Lower, b.Upper-b.Value))
	d.Upper = min(1, d.Value+math.Hypot(a.Upper-a.Value, b.Value-b.Lower))
	return d, nil
}
