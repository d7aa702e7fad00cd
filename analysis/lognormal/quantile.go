package lognormal

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// QuantileResult is a quantile of the homes.
type QuantileResult struct {
	P         float64           // the share of homes below it
	Quantile  analysis.Estimate // with its two-sided interval
	Tolerance analysis.Estimate // the same value; Upper is the one-sided upper tolerance limit
}

// Quantile estimates the concentration below which a share p of the homes lies,
// Bq/m³, and the limit below which that share lies with the confidence asked for.
//
// Formula. e^(ȳ + z_p·s); limits e^(ȳ + k·s), √n·k being a quantile of the
// noncentral t with n − 1 degrees of freedom and noncentrality √n·z_p. The upper
// tolerance limit is the one-sided one at the whole confidence.
//
// Assumes independent values from one log-normal distribution, out to p.
//
// Interval: confidence, exact; tolerance, exact.
//
// Notes: unbounded.
//
// Source: Owen 1968, Technometrics 10:445 (from memory); USEPA 2009, Unified
// Guidance EPA 530/R-09-007, section 17.2.
func Quantile(s Sample, p float64, opt Options) (QuantileResult, error) {
	if err := firstError(s.check(), opt.check(), checkQuantile(p)); err != nil {
		return QuantileResult{}, err
	}
	z := numeric.NormalQuantile(p)
	at := func(c float64) float64 { return math.Exp(s.mean + toleranceFactor(s.n, z, c)*s.sd) }
	r := QuantileResult{P: p}
	e := analysis.Estimate{
		Quantity: fmt.Sprintf("%.4g%% quantile", p*100), Unit: becquerel,
		Value: math.Exp(s.mean + z*s.sd), Lower: at((1 - opt.Confidence) / 2), Upper: at((1 + opt.Confidence) / 2),
		Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: s.n, Method: "noncentral-t-quantile",
	}
	var err error
	if r.Quantile, err = finish(e); err != nil {
		return r, err
	}
	e.Lower, e.Upper, e.Kind, e.Notes = 0, at(opt.Confidence), analysis.ToleranceInterval, nil
	r.Tolerance, err = finish(e)
	return r, err
}

func checkQuantile(p float64) error {
	if !(p > 0 && p < 1) {
		return fmt.Errorf("a quantile at %v; a share lies between 0 and 1, such as 0.95", p)
	}
	return nil
}

// toleranceFactor is the k of ȳ + k·s that is the limit of the quantile at z
// standard deviations, at one-sided confidence c.
func toleranceFactor(n int, z, c float64) float64 {
	root := math.Sqrt(float64(n))
	return numeric.NoncentralT{Nu: float64(n - 1), Delta: root * z}.Quantile(c) / root
}

// ToleranceResult is what most homes lie between.
type ToleranceResult struct {
	P         float64           // the share of homes that lies between the limits
	Tolerance analysis.Estimate // Value is the geometric mean
	Factor    float64           // k: the limits are e^(ȳ ± k·s)
	Howe      float64           // the same by Howe's closed form, beside it
}

// TwoSidedTolerance estimates the limits between which a share p of the homes lies,
// Bq/m³, with the confidence asked for. No command asks for it.
//
// Formula. e^(ȳ ± k·s). Given that ȳ is x·σ from μ, a share p needs k·s ≥ r·σ, r being
// where Φ(x + r) − Φ(x − r) = p; k is where P(νs²/σ² ≥ νr²/k²), chi-squared with
// ν = n − 1 degrees of freedom, is the confidence on average over x, normal with
// variance 1/n. Howe: k = z·√(ν(1 + 1/n)/χ²), z at (1 + p)/2, χ² at 1 − confidence.
//
// Assumes independent values from one log-normal distribution, out to both limits.
//
// Interval: tolerance, exact.
//
// Notes: unbounded.
//
// Source: Wald and Wolfowitz 1946, Ann. Math. Stat. 17:208; Howe 1969, J. Am. Stat.
// Assoc. 64:610 (both from memory); NIST/SEMATECH e-Handbook of Statistical Methods,
// 7.2.6.3, for the closed form.
func TwoSidedTolerance(s Sample, p float64, opt Options) (ToleranceResult, error) {
	if err := firstError(s.check(), opt.check()); err != nil {
		return ToleranceResult{}, err
	}
	if !(p >= 0.01 && p <= 0.999999) {
		return ToleranceResult{}, fmt.Errorf("a tolerance for a share of %v; it lies between 0.01 and 0.999999, such as 0.9", p)
	}
	nu := float64(s.n - 1)
	r := ToleranceResult{P: p}
	r.Howe = numeric.NormalQuantile((1+p)/2) * math.Sqrt(nu*(1+1/float64(s.n))/chiSquaredQuantile(nu, 1-opt.Confidence))
	var err error
	if r.Factor, err = twoSidedFactor(s.n, p, opt.Confidence, r.Howe); err != nil {
		return r, fmt.Errorf("tolerance limits for a share of %v: %w", p, err)
	}
	r.Tolerance, err = finish(analysis.Estimate{
		Quantity: fmt.Sprintf("%.4g%% of homes", p*100), Unit: becquerel,
		Value: math.Exp(s.mean), Lower: math.Exp(s.mean - r.Factor*s.sd), Upper: math.Exp(s.mean + r.Factor*s.sd),
		Confidence: opt.Confidence, Kind: analysis.ToleranceInterval, N: s.n, Method: "two-sided-tolerance",
	})
	return r, err
}

// twoSidedFactor is the k of TwoSidedTolerance, from a first guess at it.
func twoSidedFactor(n int, p, confidence, guess float64) (float64, error) {
	nu := float64(n - 1)
	// Evenly over ±10 standard deviations of x, half of it by symmetry: the trapezoid
	// rule errs by less than 1e-15 of a function so smooth.
	const steps, wide = 80, 10.0
	var r2, weight [steps + 1]float64
	for i := range r2 {
		u := wide * float64(i) / steps
		weight[i] = math.Exp(-u*u/2) * 2 / math.Sqrt(2*math.Pi) * wide / steps
		if i == 0 {
			weight[i] /= 2
		}
		r, err := halfWidth(u/math.Sqrt(float64(n)), p)
		if err != nil {
			return 0, err
		}
		r2[i] = r * r
	}
	// The probability that the share falls short, since the tail asked for is small.
	want := numeric.NormalQuantile(1 - confidence)
	logK, err := numeric.RootNear(func(logK float64) float64 {
		k2 := math.Exp(2 * logK)
		short := 0.0
		for i := range r2 {
			short += weight[i] * mathext.GammaIncReg(nu/2, nu*r2[i]/k2/2)
		}
		return want - numeric.NormalQuantile(min(max(short, 1e-300), 1-1e-16))
	}, math.Log(guess), 0.02, 1e-13)
	return math.Exp(logK), err
}

// halfWidth is the r at which Φ(x + r) − Φ(x − r) = p.
func halfWidth(x, p float64) (float64, error) {
	least := numeric.NormalQuantile((1 + p) / 2) // at x = 0
	most := math.Abs(x) + max(numeric.NormalQuantile(p), 0) + least
	return numeric.Root(func(r float64) float64 {
		return (1 - p) - (numeric.Phi(x-r) + numeric.Phi(-x-r))
	}, least*(1-1e-9), most, 1e-14*(1+most))
}

// AboveResult is the share of homes above a level.
type AboveResult struct {
	Level    float64           // Bq/m³
	Fraction analysis.Estimate // share, 0 to 1, by the log-normal distribution
	Unbiased float64           // the minimum-variance unbiased estimate beside it; 0 is possible
}

const shareMethod = "noncentral-t-share"

// Above estimates the share of homes above a level, from 0 to 1.
//
// Formula. Φ(−k), k = (ln L − ȳ)/s; limits Φ(−δ/√n), δ being the noncentralities
// at which a noncentral t with n − 1 degrees of freedom has √n·k as its lower and
// its upper quantile.
//
// Assumes independent values from one log-normal distribution, out to the level.
// Counted assumes no distribution; where the two disagree, the fit is doubtful
// there.
//
// Interval: confidence, exact.
//
// Which value: the one that goes with the geometric mean and standard deviation given
// beside it, on the line that is drawn. On average it is too high: a share of 10 % by 8 %
// of itself at 5 homes, 4 % at 10 and 2 % at 20; one of 2 % by 63, 35 and 19 %, and 8 % at
// 50. Unbiased is right on average, errs as much as a rule (root mean square errors of 1.0
// and 1.1 shares of 10 % at 5 homes, 2.4 and 2.3 shares of 2 %) and is often 0 (TestShareBias).
//
// Notes: none.
//
// Source: Owen 1968, Technometrics 10:445; unbiased estimate: Lieberman and
// Resnikoff 1955, J. Am. Stat. Assoc. 50:457 (both from memory).
func Above(s Sample, level float64, opt Options) (AboveResult, error) {
	if err := firstError(s.check(), opt.check(), checkLevel(level)); err != nil {
		return AboveResult{}, err
	}
	n := float64(s.n)
	k := (math.Log(level) - s.mean) / s.sd
	limit := func(p float64) (float64, error) {
		d, err := numeric.NoncentralityAt(n-1, math.Sqrt(n)*k, p)
		return numeric.Phi(-d / math.Sqrt(n)), err
	}
	lower, err := limit((1 - opt.Confidence) / 2)
	if err != nil {
		return AboveResult{}, fmt.Errorf("share above %v: %w", level, err)
	}
	upper, err := limit((1 + opt.Confidence) / 2)
	if err != nil {
		return AboveResult{}, fmt.Errorf("share above %v: %w", level, err)
	}
	r := AboveResult{Level: level, Unbiased: unbiasedAbove(n, k)}
	r.Fraction, err = finish(analysis.Estimate{
		Quantity: shareAbove(level),
		Value:    numeric.Phi(-k), Lower: lower, Upper: upper,
		Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: s.n, Method: shareMethod,
	})
	return r, err
}

// shareAbove names the share above a level.
func shareAbove(level float64) string { return fmt.Sprintf("share above %.6g %s", level, becquerel) }

func checkLevel(level float64) error {
	if !(level > 0) || math.IsInf(level, 0) {
		return fmt.Errorf("a level of %v Bq/m³; a level is a positive number", level)
	}
	return nil
}

// unbiasedAbove is the share above by Lieberman and Resnikoff: the regularised
// incomplete beta function at 1/2 − k√n/(2(n−1)), both parameters n/2 − 1.
func unbiasedAbove(n, k float64) float64 {
	x := 0.5 - k*math.Sqrt(n)/(2*(n-1))
	switch {
	case x <= 0:
		return 0
	case x >= 1:
		return 1
	case n < 3: // two values lie s/√2 to either side of ȳ, and 0 < x < 1 is |k| < 1/√2: one above
		return 0.5
	}
	return mathext.RegIncBeta(n/2-1, n/2-1, x)
}

var clopperPearson numeric.Memo[[3]float64, [2]float64]

// Counted estimates the share of homes above a level by counting, from 0 to 1.
//
// Formula. x/n; limits are the beta quantiles B(α/2; x, n−x+1) and
// B(1−α/2; x+1, n−x), the Clopper-Pearson interval.
//
// Assumes independent values, and nothing of their distribution.
//
// Interval: confidence, never below what is asked for, so often wider than need be.
//
// Notes: none.
//
// Source: Clopper and Pearson 1934, Biometrika 26:404 (from memory).
func Counted(above, n int, level float64, opt Options) (analysis.Estimate, error) {
	if err := firstError(opt.check(), checkLevel(level)); err != nil {
		return analysis.Estimate{}, err
	}
	if n < 1 || above < 0 || above > n {
		return analysis.Estimate{}, fmt.Errorf("%d of %d values above a level", above, n)
	}
	x, m := float64(above), float64(n)
	limits := clopperPearson.Get([3]float64{x, m, opt.Confidence}, func() [2]float64 {
		lower, upper := numeric.ClopperPearson(x, m, (1-opt.Confidence)/2)
		return [2]float64{lower, upper}
	})
	return finish(analysis.Estimate{
		Quantity: shareAbove(level) + ", counted",
		Value:    x / m, Lower: limits[0], Upper: limits[1],
		Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: n, Method: "clopper-pearson",
	})
}
