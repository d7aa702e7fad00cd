package plan

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/lognormal"
)

// MeanOptions of GeometricMean and Mean.
type MeanOptions struct {
	Sampling
	GSD    float64 // of homes in an area
	Margin float64 // relative: with 0.2 both limits lie within a factor 1.2 of the value
}

// MeanAnswer is what so many homes bring.
type MeanAnswer struct {
	Criterion string
	Homes     int     // of an area
	Total     int     // of all areas
	Factor    float64 // the farther limit over the value, or the value over it, at the GSD assumed
	Within    float64 // probability that this factor is no more than 1 + the margin
}

// MeanPlan is how many homes estimate a mean.
type MeanPlan struct {
	Options  MeanOptions
	Each     float64 // confidence of one area's interval
	Answers  []MeanAnswer
	Curve    []MeanAnswer
	Expected analysis.Estimate // the interval of a mean of 1 of so many homes as are assured, at the GSD assumed
	Notes    []analysis.Note
}

func (o *MeanOptions) check() error {
	if err := o.Sampling.check(); err != nil {
		return err
	}
	if err := checkGSD(o.GSD); err != nil {
		return err
	}
	if !(o.Margin > 0 && o.Margin <= 10) {
		return fmt.Errorf("a relative margin of %v; it is above 0 and at most 10, such as 0.2 for a factor of 1.2 either way", o.Margin)
	}
	return nil
}

// meanKind is what the two means differ in: the textbook's number, and the interval's
// limits, as factors, for a sample whose logarithms have standard deviation s.
type meanKind struct {
	method   string
	textbook float64
	least    int
	estimate func(m int, s float64) (analysis.Estimate, error)
	factor   func(m int, s float64) float64
}

// mostLogFactor is the log of a factor beyond which nobody asks how far a limit lies.
const mostLogFactor = 14.0

// factorOf is the farther limit over the value, or the value over it.
func factorOf(e analysis.Estimate) float64 { return max(e.Upper/e.Value, e.Value/e.Lower) }

// GeometricMean says how many homes estimate the geometric mean.
//
// It estimates the fewest homes of each area whose interval for the geometric mean
// lies within a factor 1 + margin of it.
//
// Formula. The interval is e^(ȳ ± t·s/√m), t Student's with m − 1 degrees of freedom.
// Average: t·ln GSD/√m ≤ ln(1 + margin), which is what it is where the sample's spread
// is the one assumed. Assured: P(s ≤ √m·ln(1 + margin)/t) ≥ the assurance, (m −
// 1)s²/ln² GSD being chi-squared with m − 1 degrees of freedom. Beside them the textbook's
// (z·ln GSD/ln(1 + margin))². Design effect, dwellings and areas as for a share.
//
// Assumes homes drawn at random from one log-normal distribution of the GSD given.
//
// Interval: none: a number of homes. What it promises is counted in COVERAGE.md beside
// this package.
//
// Notes: census.
//
// Source: Student 1908, Biometrika 6:1, on logarithms; Kupper and Hafner 1989, Am. Stat.
// 43:101, for assurance (both from memory).
func GeometricMean(o MeanOptions) (MeanPlan, error) {
	if err := o.check(); err != nil {
		return MeanPlan{}, err
	}
	c := o.Each()
	return o.plan(meanKind{method: GMMethod, least: 2,
		textbook: math.Pow(zHalf(c)*math.Log(o.GSD)/math.Log1p(o.Margin), 2),
		factor: func(m int, s float64) float64 {
			return math.Exp(min(tHalf(m, c)*s/math.Sqrt(float64(m)), mostLogFactor))
		},
		estimate: func(m int, s float64) (analysis.Estimate, error) {
			sample, err := lognormal.FromLogs(m, 0, s)
			if err != nil {
				return analysis.Estimate{}, err
			}
			return lognormal.GeometricMean(sample, lognormal.Options{Confidence: c})
		}})
}

func tHalf(m int, confidence float64) float64 {
	return -distuv.StudentsT{Sigma: 1, Nu: float64(m - 1)}.Quantile((1 - confidence) / 2)
}

// Mean says how many homes estimate the arithmetic mean.
//
// It estimates the fewest homes of each area whose interval for the arithmetic mean
// lies within a factor 1 + margin of it.
//
// Formula. The interval is Land's for 3 to 2000 homes, and MOVER's beyond; against its
// value it is as wide as m and the spread s of the logarithms make it. Average: the
// farther limit at s = ln GSD is no farther than 1 + margin. Assured: P(s ≤ s*) ≥ the
// assurance, s* being the spread at which it is just so far, (m − 1)s²/ln² GSD chi-squared
// with m − 1 degrees of freedom. Beside them the textbook's z²(σ² + σ⁴/2)/ln²(1 + margin),
// σ = ln GSD. Design effect, dwellings and areas as for a share.
//
// Assumes homes drawn at random from one log-normal distribution of the GSD given. The
// upper limit lies farther from the value than the lower and grows fast with the
// spread, so a GSD taken too small costs more here than with the geometric mean.
//
// Interval: none: a number of homes. What it promises is counted in COVERAGE.md beside
// this package.
//
// Notes: census.
//
// Source: Land 1971, Ann. Math. Stat. 42:1187; Zou, Taleban and Huo 2009, Environmetrics
// 20:172; Kupper and Hafner 1989, Am. Stat. 43:101, for assurance (all from memory).
func Mean(o MeanOptions) (MeanPlan, error) {
	if err := o.check(); err != nil {
		return MeanPlan{}, err
	}
	c, v := o.Each(), math.Pow(math.Log(o.GSD), 2)
	estimate := func(m int, s float64) (analysis.Estimate, error) {
		sample, err := lognormal.FromLogs(m, 0, s)
		if err != nil {
			return analysis.Estimate{}, err
		}
		r, err := lognormal.Mean(sample, lognormal.MeanOptions{Confidence: c})
		return r.Mean, err
	}
	return o.plan(meanKind{method: MeanMethod, least: 3,
		textbook: math.Pow(zHalf(c)/math.Log1p(o.Margin), 2) * (v + v*v/2),
		estimate: estimate,
		factor: func(m int, s float64) float64 {
			e, err := estimate(m, s)
			if err != nil { // so wide that no number holds it
				return math.Exp(mostLogFactor)
			}
			return min(factorOf(e), math.Exp(mostLogFactor))
		}})
}

// plan is the plan of either mean.
func (o MeanOptions) plan(k meanKind) (MeanPlan, error) {
	r := MeanPlan{Options: o, Each: o.Each()}
	limit, sigma := 1+o.Margin, math.Log(o.GSD)
	within := func(m int) float64 {
		if m < k.least {
			return 0
		}
		// The largest spread that is narrow enough: width grows with spread.
		x, err := numeric.RootNear(func(x float64) float64 { return math.Log(k.factor(m, sigma*math.Exp(x)) / limit) }, 0, 0.1, 1e-11)
		if err != nil {
			return 1 // wider than asked at no spread that a number holds
		}
		nu := float64(m - 1)
		return mathext.GammaIncReg(nu/2, nu/2*math.Exp(2*x))
	}
	answer := func(criterion string, n int) MeanAnswer {
		a := MeanAnswer{Criterion: criterion, Homes: n, Total: n * o.Areas, Factor: 1, Within: 1}
		w := o.worth(float64(n))
		if math.IsInf(w, 1) {
			return a
		}
		m := max(k.least, int(w+1e-9*w))
		a.Factor, a.Within = k.factor(m, sigma), within(m)
		return a
	}
	add := func(criterion string, m int, err error) error {
		if err != nil {
			return err
		}
		n, err := o.homes(m)
		if err != nil {
			return err
		}
		r.Answers = append(r.Answers, answer(criterion, n))
		return nil
	}
	if err := add(Textbook, max(k.least, int(math.Ceil(min(k.textbook, 2*MostHomes)))), nil); err != nil {
		return r, err
	}
	m, err := boundary(k.least, func(m int) bool { return k.factor(m, sigma) <= limit })
	if err := add(Average, m, err); err != nil {
		return r, err
	}
	m, err = boundary(k.least, func(m int) bool { return within(m) >= o.Assurance })
	if err := add(Assured, m, err); err != nil {
		return r, err
	}
	assured := m
	if o.Homes > 0 {
		r.Answers = append(r.Answers, answer(Asked, o.Homes))
	}
	least, most := r.Answers[0].Homes, r.Answers[0].Homes
	for _, a := range r.Answers {
		least, most = min(least, a.Homes), max(most, a.Homes)
	}
	for _, n := range steps(k.least, least, most) {
		if o.Dwellings > 0 && n > o.Dwellings {
			break
		}
		r.Curve = append(r.Curve, answer("", n))
	}
	if best := r.Answers[2]; o.Dwellings > 0 && 2*best.Homes > o.Dwellings {
		r.Notes = append(r.Notes, note("census", "that is %d of %d dwellings: to ask all of them may be simpler, and then nothing is left to chance but who answers", best.Homes, o.Dwellings))
	}
	e, err := k.estimate(assured, sigma)
	if err != nil {
		return r, err
	}
	e.Lower, e.Upper, e.Value, e.Unit, e.N = e.Lower/e.Value, e.Upper/e.Value, 1, "", r.Answers[2].Homes
	e.Quantity += " over itself"
	r.Expected = e
	return r, e.Check()
}
