package lognormal

import (
	"fmt"
	"math"
	"sync"

	"gonum.org/v1/gonum/integrate/quad"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// MeanMethod is a way to an interval for the arithmetic mean.
type MeanMethod string

// The ways to an interval for the arithmetic mean. Auto is Land up to LandMost values
// and MOVER beyond: both hold what they promise there, Land exactly. Of two values
// Auto gives no mean, because no interval of these holds its promise with them.
const (
	Auto        MeanMethod = ""
	Land        MeanMethod = "land"
	MOVER       MeanMethod = "mover"
	Generalized MeanMethod = "generalized"
	Profile     MeanMethod = "profile-mean"
)

// LandMost is the most values for which Auto takes Land's limits: beyond it MOVER's
// differ by less than a thousandth where the geometric standard deviation is 4 or less,
// and cost nothing. LeastForMean is the fewest for which it gives a mean.
const (
	LandMost     = 2000
	LeastForMean = 3
)

// MeanOptions of Mean. The zero value is the documented default.
type MeanOptions struct {
	Confidence float64    // of the two-sided interval; 0: 0.95. Each limit is one-sided at (1 + Confidence)/2
	Method     MeanMethod // Auto
}

// MeanResult is the arithmetic mean by one method.
type MeanResult struct {
	Mean analysis.Estimate // Value is Unbiased
	// Unbiased is the minimum-variance unbiased estimate (Finney 1941), MLE the
	// maximum-likelihood one, e^(ȳ + (n−1)s²/(2n)). Bq/m³.
	Unbiased, MLE float64
}

// Mean estimates the arithmetic mean of a log-normal distribution, Bq/m³: what
// the homes' radon comes to on average, and what collective risk goes with.
//
// Formula. ȳ and s are the mean and the standard deviation (n − 1) of the logarithms
// of n values, ν = n − 1. Value: e^ȳ·g(s²/2), g(t) = 1 + Σ tᵖ/p! ·
// ν²ᵖ/((ν+1)ᵖ·ν(ν+2)…(ν+2p−2)), p from 1 on.
//
// Limits by "land": let z = y − b, V = Σz² = νs² + n(ȳ − b)² and u = Σz/√(nV) = √n(ȳ −
// b)/√V. Where b = μ + σ²/2, u given V has a density proportional to
// exp(−√(nV)u/2)(1−u²)^((n−3)/2) from −1 to 1, free of unknowns; the lower limit is
// e^b for the b at which P(U ≤ u) is (1 + confidence)/2, the upper one for that at
// which it is (1 − confidence)/2.
//
// Limits by "mover": e^(ȳ + s²/2 − √(z²s²/n + (s²/2 − νs²/(2χ²ᵤ))²)) and e^(ȳ + s²/2 +
// √(z²s²/n + (νs²/(2χ²ₗ) − s²/2)²)), z the standard normal quantile at (1 +
// confidence)/2, χ²ᵤ and χ²ₗ the quantiles of chi-squared with ν degrees of freedom at
// (1 + confidence)/2 and (1 − confidence)/2.
//
// Limits by "generalized": e^t for the two t at which P(T ≤ t) is (1 ∓ confidence)/2,
// T = ȳ + Z·s·√(ν/(nW)) + νs²/(2W), Z standard normal and W chi-squared with ν degrees
// of freedom, independent: P(T ≤ t) is the mean of Φ((t − ȳ − νs²/(2W))·√(nW/ν)/s)
// over W, by quadrature.
//
// Limits by "profile-mean": e^b for the two b at which twice the log likelihood −n·ln
// σ − (νs² + n(ȳ − b + σ²/2)²)/(2σ²), at its largest over σ, lies below its largest
// over b and σ by the quantile of χ²₁ at the confidence.
//
// Assumes independent values from one log-normal distribution: if the largest
// values do not follow it, neither does the mean; see Shape, and BCa for no
// distribution at all.
//
// Interval: confidence. Land is exact, open upper limits counted; of three values 31 to
// 76 % have one that is not, and these hold 88.5 to 94 %, with up to 8.5 % of truths over
// it. From five values on generalized and mover hold 93.5 to 96 %, with at most 4.4 % of
// truths under generalized at five; of two to four values they hold 88.5 to 96 %, with up
// to 9.2 % of truths under the lower limit. Profile likelihood holds 73.5 to 75.5 % of
// two values, 84 to 85.5 % of three, 86.5 to 89.5 % of four, 90 to 91.5 % of five, 92.5 to
// 93 % of ten and 94 to 95.5 % from twenty on. See COVERAGE.md.
//
// Notes: too-uncertain, unbounded.
//
// Source: Finney 1941, J. R. Stat. Soc. Suppl. 7:155; Land 1971, Ann. Math. Stat.
// 42:1187; Zou, Taleban and Huo 2009, Environmetrics 20:172; Krishnamoorthy and
// Mathew 2003, J. Stat. Plan. Inference 115:103; Venzon and Moolgavkar 1988, Appl.
// Stat. 37:87, for profile limits (all from memory).
func Mean(s Sample, opt MeanOptions) (MeanResult, error) {
	if err := firstError(s.check(), analysis.CheckConfidence(&opt.Confidence)); err != nil {
		return MeanResult{}, err
	}
	if opt.Method == Auto {
		opt.Method = Land
		switch {
		case s.n < LeastForMean:
			return MeanResult{}, tooFewForMean(s.n)
		case s.n > LandMost:
			opt.Method = MOVER
		}
	}
	var lower, upper float64
	var err error
	tail := (1 - opt.Confidence) / 2
	switch opt.Method {
	case Land:
		if s.n < LeastForMean {
			return MeanResult{}, tooFewForMean(s.n)
		}
		if lower, err = landLimit(s, tail); err == nil {
			upper, err = landLimit(s, 1-tail)
		}
	case MOVER:
		lower, upper = moverLimit(s, tail), moverLimit(s, 1-tail)
	case Generalized:
		lower, upper, err = generalizedLimits(s, tail)
	case Profile:
		l := likelihood{n: float64(s.n), mean: s.mean, ss: s.sd * s.sd * float64(s.n-1)}
		lower, upper, err = l.interval(meanLog, chiSquaredQuantile(1, opt.Confidence))
	default:
		return MeanResult{}, unknownMean(opt.Method)
	}
	if err != nil {
		return MeanResult{}, fmt.Errorf("arithmetic mean by %q: %w", opt.Method, err)
	}
	r := MeanResult{
		Unbiased: math.Exp(s.mean + logUnbiased(s.n, s.sd)),
		MLE:      math.Exp(s.mean + s.sd*s.sd/2*float64(s.n-1)/float64(s.n)),
	}
	if u := s.mean + logUnbiased(s.n, s.sd); u < lower || u > upper {
		return MeanResult{}, fmt.Errorf("the unbiased estimate of the mean lies outside its interval: %d values with a geometric standard deviation of %.3g leave the mean open; measure more homes", s.n, math.Exp(s.sd))
	}
	r.Mean, err = finish(analysis.Estimate{
		Quantity: "arithmetic mean", Unit: becquerel,
		Value: r.Unbiased, Lower: math.Exp(lower), Upper: math.Exp(upper),
		Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: s.n, Method: string(opt.Method),
	})
	if err == nil {
		r.Mean.Notes = append(r.Mean.Notes, wideNote(math.Log(r.Mean.Lower), math.Log(r.Mean.Upper), 2*medianHalfWidth(s, opt.Confidence), s.n)...)
	}
	return r, err
}

func tooFewForMean(n int) error {
	return fmt.Errorf("%d values give no mean: the intervals there are for it hold less often than they say, or say nothing; measure at least %d homes", n, LeastForMean)
}

// noUpperLimit is why a mean as good as open above is not given: it would lie in a tail
// that no home shows.
func noUpperLimit(n int) error {
	return fmt.Errorf("%d values of this spread give no upper limit of the mean, and so no mean; measure more homes, or use the geometric mean and the share above a level", n)
}

func unknownMean(m MeanMethod) error {
	return fmt.Errorf("no method %q for a mean: they are %q, %q, %q and %q", m, Land, MOVER, Generalized, Profile)
}

// tooWide is how many times its lower limit an upper one may be before the interval
// says next to nothing. This project's choice.
const tooWide = 10

// wideNote says so where an interval for a mean, given by its logarithms, is too wide
// to be of use; and what is better known, if the width of the geometric mean's says that
// it is. Of one that is open above, a note says that already.
func wideNote(lower, upper, median float64, n int) []analysis.Note {
	if upper-lower <= math.Log(tooWide) || math.IsInf(upper, 1) {
		return nil
	}
	ratio := "more than a thousand"
	if r := math.Exp(upper - lower); r < 1000 {
		ratio = fmt.Sprintf("%.0f", r)
	}
	cure := "measure more homes"
	if median <= math.Log(tooWide) {
		cure += ", or use the geometric mean, which is better known"
	}
	return []analysis.Note{{Code: "too-uncertain", Text: fmt.Sprintf("the upper limit of the mean is %s times the lower: %d values of this spread cannot say what the mean is; %s", ratio, n, cure)}}
}

// logUnbiased is ln g(s²/2) of Finney's estimator. The terms grow before they
// fall, so they are summed relative to the largest so far.
func logUnbiased(n int, s float64) float64 {
	m := float64(n - 1)
	t := s * s / 2
	term, sum, log := 1.0, 1.0, 0.0
	for p := 1.0; p < 1e7; p++ {
		term *= m * m * t / ((m + 1) * p * (m + 2*p - 2))
		sum += term
		if sum > 1e200 {
			log += math.Log(sum)
			term /= sum
			sum = 1
		}
		if term < 1e-17*sum && p > 2 {
			break
		}
	}
	return log + math.Log(sum)
}

// moverLimit is the logarithm of the limit at one-sided confidence p: the
// distance of ȳ and of s²/2 from their own limits, added in squares.
func moverLimit(s Sample, p float64) float64 {
	n, nu, v := float64(s.n), float64(s.n-1), s.sd*s.sd
	z := numeric.NormalQuantile(p)
	d := v/2 - nu*v/(2*chiSquaredQuantile(nu, 1-p))
	return s.mean + v/2 + math.Copysign(math.Hypot(z*s.sd/math.Sqrt(n), d), z)
}

// landLimit is the logarithm of Land's limit at one-sided confidence p: the b at which
// P(U ≤ u) = 1 − p; see Mean. With u = tanh x the density has no corners.
func landLimit(s Sample, p float64) (float64, error) {
	n := float64(s.n)
	// In C of b = ȳ + s²/2 + C·s/√(n−1), as in Land's tables.
	unit := s.sd / math.Sqrt(n-1)
	centre := s.sd * s.sd / 2
	zp := numeric.NormalQuantile(min(p, 1-p))
	f := func(c float64) float64 {
		below, above := landTails(n, s.sd, centre+c*unit)
		// Increasing in C, and close to a straight line.
		if p > 0.5 {
			return zp - numeric.NormalQuantile(max(below, 1e-300))
		}
		return numeric.NormalQuantile(max(above, 1e-300)) - zp
	}
	start := (moverLimit(s, p) - s.mean - centre) / unit
	c, err := numeric.RootNear(f, start, 0.03*math.Abs(start)+0.01, 1e-10)
	return s.mean + centre + c*unit, err
}

// landTails are P(U ≤ u) and P(U > u) for the u seen, where the log of the mean
// lies b above ȳ.
func landTails(n, sd, b float64) (below, above float64) {
	c := math.Sqrt(n * ((n-1)*sd*sd + n*b*b))
	x0 := -math.Asinh(b * math.Sqrt(n/(n-1)) / sd)
	log := func(x, ex float64) float64 { // ex is e^x
		if math.Abs(x) > 300 {
			return -c/2*math.Copysign(1, x) - (n-1)*(math.Abs(x)-math.Ln2)
		}
		cosh, sinh := (ex+1/ex)/2, (ex-1/ex)/2
		return -c/2*sinh/cosh - (n-1)*math.Log(cosh)
	}
	mode := -math.Asinh(c/(n-1)) / 2
	width := math.Cosh(mode) / math.Sqrt(math.Hypot(n-1, c))
	top := log(mode, math.Exp(mode))
	// From the seen value outwards, in panels, until nothing is left.
	gauss := legendre()
	side := func(dir float64) float64 {
		var step [len(gauss.at)]float64
		for i, g := range gauss.at {
			step[i] = math.Exp(dir * (1 + g) / 2)
		}
		sum, last := 0.0, 0.0
		for x := x0; ; x += dir {
			part, start := 0.0, math.Exp(x)
			for i, g := range gauss.at {
				part += gauss.weight[i] * math.Exp(log(x+dir*(1+g)/2, start*step[i])-top)
			}
			sum += part
			past := (x+dir-mode)*dir > 0
			// Past the top each panel is a smaller part of the one before it.
			if past && (part*part <= 1e-17*sum*last || part <= 1e-15*sum) {
				return sum * math.Abs(dir) / 2
			}
			last = part
		}
	}
	below, above = side(-4*width), side(4*width)
	total := below + above
	return below / total, above / total
}

type nodes struct{ at, weight [16]float64 }

var legendre = sync.OnceValue(func() nodes {
	var r nodes
	quad.Legendre{}.FixedLocations(r.at[:], r.weight[:], -1, 1)
	return r
})

// generalizedLimits are the logarithms of the limits with this much beyond each, the
// upper one infinite where it is as good as open:
// quantiles of ȳ + Z·s/√(n·r) + s²/(2r), where r = W/(n−1), which is also the
// posterior of μ + σ²/2 under a prior proportional to 1/σ. Given r it is normal.
func generalizedLimits(s Sample, tail float64) (lower, upper float64, err error) {
	n := float64(s.n)
	root := math.Sqrt(n) / s.sd
	// Beyond this a limit is open. There t·r and s²/(2r) meet where W is far below ν, and
	// the step between them is √(2n·t) steep.
	far := logUnbiased(s.n, s.sd) + math.Log(beyond)
	grid := numeric.NewChi(n-1, max(s.sd*math.Sqrt(n), math.Sqrt(2*n*far)))
	score := func(t, p float64) float64 {
		sign := 1.0
		if p > 0.5 {
			sign, p = -1, 1-p
		}
		below := grid.Mean(func(r float64) float64 { return numeric.Phi(sign * (t*r - s.sd*s.sd/(2*r)) * root) })
		return sign * (numeric.NormalQuantile(min(max(below, 1e-300), 1-1e-16)) - numeric.NormalQuantile(p))
	}
	at := func(p float64) (float64, error) {
		start := moverLimit(s, p) - s.mean
		x, err := numeric.RootNear(func(t float64) float64 { return score(t, p) }, start, 0.05*s.sd, 1e-13)
		return s.mean + x, err
	}
	if lower, err = at(tail); err != nil {
		return 0, 0, err
	}
	if score(far, 1-tail) < 0 {
		return lower, math.Inf(1), nil
	}
	upper, err = at(1 - tail)
	return lower, upper, err
}
