package lognormal

import (
	"errors"
	"fmt"
	"math"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// FitMethod is a way to an interval where values are censored, rounded or known
// with an error.
type FitMethod string

// The ways to an interval for such data.
const (
	AdjustedLikelihood FitMethod = "adjusted-likelihood"
	ProfileLikelihood  FitMethod = "profile-likelihood"
)

// FitOptions of Fit. The zero value is the documented default.
type FitOptions struct {
	Confidence float64    // of the two-sided intervals; 0: 0.95
	Levels     []float64  // Bq/m³, to give the share above
	Quantiles  []float64  // shares, such as 0.95, to give the quantiles at
	Mean       MeanMethod // of complete data; anything but Auto is ErrNotComplete for other data
	Method     FitMethod  // "": exact methods for complete data, AdjustedLikelihood for any other
	// Counts are as how many homes each value counts; nil: one. What is fitted is then
	// that of as many homes as they sum to, to the nearest whole number, spread out as
	// the values are: where only so many may be told, nothing tells of more.
	Counts []float64
}

// ErrNotComplete says that the mean was asked for by a method of complete data, and
// some values are known only within limits or with an error: ask for Auto.
var ErrNotComplete = errors.New("the mean's method is for values all known exactly")

// checkMean holds a method asked for the mean to the data.
func checkMean(m MeanMethod, obs []Observation) error {
	if m == Auto {
		return nil
	}
	known := 0
	for _, o := range obs {
		if o.exact() && o.Error == 0 {
			known++
		}
	}
	if known < len(obs) {
		return fmt.Errorf("%w: %q was asked for, and %d of %d values are known only within limits or with an error; leave the method out, and the mean is by likelihood", ErrNotComplete, m, len(obs)-known, len(obs))
	}
	return nil
}

// FitResult is a log-normal distribution fitted to some homes.
type FitResult struct {
	N             int
	Below         int     // values of which only an upper bound is known
	Between       int     // values known to lie between two others
	MeanLog       float64 // μ and σ of the natural logarithms, as estimated
	SDLog         float64
	LogLikelihood float64            // of the values in Bq/m³, at its largest without adjustment; 0 for exact methods
	GM, GSD       *analysis.Estimate // nil where a note says why
	Mean          *analysis.Estimate // likewise
	Next          *analysis.Estimate // the next home; complete data only
	Quantiles     []QuantileResult   // in the order asked for, without those that a note says are left out
	Above         []AboveResult      // likewise; Unbiased is that of complete data, and the fitted share otherwise
	Notes         []analysis.Note
}

// Fit estimates geometric mean, geometric standard deviation, arithmetic mean,
// quantiles (Bq/m³) and shares above levels from homes' values, whether exact,
// below limits, between bounds, rounded, or known with an error.
//
// Formula. Complete data go to GeometricMean, GeometricSD, Mean, Quantile, Above and
// NextHome, unless a Method is asked for; any other to a likelihood. The log
// likelihood adds, for each value: ln φ((y − μ)/w) − ln w, w² = σ² + e², if it is
// known to be x, y = ln x; ln(Φ(zᵤ) − Φ(zₗ)), z = (ln bound − μ)/w, if it lies between
// bounds, of which the lower may be zero and the upper infinite; e is the standard
// deviation of its logarithm by its own error, zero if none is stated. Values are e^μ,
// e^σ, e^(μ + σ²/2), e^(μ + z_p·σ) and Φ((μ − ln L)/σ) where it is largest. Each
// quantity's limits are where twice the log likelihood, at its largest for the
// quantity fixed, has fallen by a drop; an upper tolerance limit is the upper limit of
// the quantile at a drop for twice the confidence less 1. Where more than 80 % of the
// values lie below their limits, mean, geometric mean and geometric standard deviation
// are not given, nor quantiles and shares at less than the lowest value known.
//
// "adjusted-likelihood", the default: −½ ln Σ 1/(σ² + e²), over all values, is added
// first, so that σ is judged on n − 1 degrees of freedom, and the drop is (n−1)·ln(1 +
// t²/(n−1)), t Student's quantile with n − 1 degrees of freedom at (1 + confidence)/2;
// without censoring and errors this makes the geometric mean's interval Student's.
//
// "profile-likelihood": the drop is the quantile of χ²₁ at the confidence.
//
// Assumes independent values from one log-normal distribution, limits that do not depend
// on the value, and errors that are independent and log-normal, those of values below a
// limit too, for it is what was measured that lies below.
//
// Interval: confidence, approximate where the data are not complete. Adjusted, it holds
// 94 to 97 % at 10 to 50 values with up to 60 % below a limit, and up to 98 % at 5 values
// and at 10 with 60 %; at most 4 % of truths lie on a side, open upper limits counted. Of
// samples of 5 with 60 % a third have fewer than two values above the limit and no fit.
// Of means with limits at 5, 17 to 75 % have an upper limit that is not open, and at 10,
// 55 to 99.5 %: with 60 % these alone hold 92 to 94.5 % at 5, with up to 7 % of truths
// under them, and have up to 4.1 % under at 10. With 75 % below it holds 94.5 to 98.5 %
// at 10 and 94.5 to 97.5 % at 20 and 50, at most 4 % on a side; of means at 10 a third to
// a half have an upper limit that is not open, and these hold 92.5 to 96.5 %, with up to
// 7 % under them. With 88 % below, quantiles and shares above the lowest value known hold
// 94 to 97.5 %, with up to 6 % under; a fifth of samples of 20 and a fourteenth of 50
// have by chance no more than 80 % below, and so a middle and a mean, which are too high:
// of 20, geometric means hold 94.5 to 95.5 % and means 84 to 92.5 %, of 50 84 to 86 % and
// 60 to 75.5 %. Plain, it holds 92.5 to 96.5 % from 10 on, with up to 6 % of truths on
// one side, and 90.5 to 94 % at 5, with up to 9 %; with 75 % below 92.5 to 97 %, with up
// to 7 % on a side; with 88 % quantiles and shares 92.5 to 96.5 %, with up to 6.5 %, and
// means by chance 49 to 83 %. Rounded values and classes hold 94 to 97 %, and 96.5 to
// 98.5 % of 10 values rounded to as much as their middle, of which a twelfth have no fit;
// so do values with known errors of 10 to 30 %, but for 98 % of geometric standard
// deviations of 10 values that differ less than they err; plain, 10 of such values hold 92
// to 98.5 %. Taking an outdoor level off makes the errors of what is left other than
// log-normal: with as much outdoors as in the middle home and errors of 10 % of the whole
// 93.5 to 95.5 % hold (plain 90 to 96 %), with errors of 20 % of 50 homes 66 % of geometric
// means, which come out too low, 74 % of geometric standard deviations, too high, 83 % of
// means and 92 % of quantiles and shares. See COVERAGE.md.
//
// Notes: no-mean, too-uncertain, mostly-censored, no-spread-seen, unbounded.
//
// Source: Cohen 1959, Technometrics 1:217, for censoring; Venzon and Moolgavkar
// 1988, Appl. Stat. 37:87, for profile limits; Cox and Reid 1987, J. R. Stat. Soc.
// B 49:1, for the idea of the adjustment; Helsel 2012, Statistics for Censored
// Environmental Data, chapters 6 and 7 (all from memory). The drop is this
// project's choice, by its coverage.
func Fit(obs []Observation, opt FitOptions) (FitResult, error) {
	if err := opt.check(); err != nil {
		return FitResult{}, err
	}
	if err := firstError(checkAll(obs), checkMean(opt.Mean, obs)); err != nil {
		return FitResult{}, err
	}
	if err := checkCounts(opt.Counts, len(obs)); err != nil {
		return FitResult{}, err
	}
	if opt.Method == "" {
		if x, ok := complete(obs); ok {
			return fitComplete(x, opt)
		}
		opt.Method = AdjustedLikelihood
	}
	return fitLikelihood(obs, opt)
}

// leastKnown is the lowest of the values known from both sides.
func leastKnown(obs []Observation) float64 {
	least := math.Inf(1)
	for _, o := range obs {
		if o.Lower > 0 && !math.IsInf(o.Upper, 1) {
			least = min(least, o.Lower)
		}
	}
	return least
}

func (o *FitOptions) check() error {
	if err := analysis.CheckConfidence(&o.Confidence); err != nil {
		return err
	}
	for _, l := range o.Levels {
		if err := checkLevel(l); err != nil {
			return err
		}
	}
	for _, p := range o.Quantiles {
		if err := checkQuantile(p); err != nil {
			return err
		}
	}
	switch o.Method {
	case "", AdjustedLikelihood, ProfileLikelihood:
	default:
		return fmt.Errorf("no method %q for a fit: they are %q and %q", o.Method, AdjustedLikelihood, ProfileLikelihood)
	}
	switch o.Mean {
	case Auto, Land, MOVER, Generalized, Profile:
	default:
		return unknownMean(o.Mean)
	}
	if o.Method != "" && o.Mean != Auto {
		return fmt.Errorf("a mean by %q and a fit by %q exclude each other: the first is for complete data", o.Mean, o.Method)
	}
	return nil
}

func checkCounts(counts []float64, n int) error {
	if counts == nil {
		return nil
	}
	if len(counts) != n {
		return fmt.Errorf("%d counts of %d values", len(counts), n)
	}
	sum := 0.0
	for i, c := range counts {
		if !(c > 0 && c <= 1e9) {
			return fmt.Errorf("value %d counts as %v homes; a number above 0", i+1, c)
		}
		sum += c
	}
	if sum < 1.5 {
		return fmt.Errorf("the values count as %v homes; a spread needs at least two", sum)
	}
	return nil
}

// countOf is as how many homes the i-th value counts.
func (o FitOptions) countOf(i int) float64 {
	if o.Counts == nil {
		return 1
	}
	return o.Counts[i]
}

// counted is the sample of as many homes as the values count for.
func (s Sample) counted(x, counts []float64) (Sample, error) {
	var n, nn, sum, squares numeric.Sum
	for i, c := range counts {
		n.Add(c)
		nn.Add(c * c)
		sum.Add(c * (math.Log(x[i]) - s.mean))
	}
	mean := sum.Value() / n.Value()
	for i, c := range counts {
		e := math.Log(x[i]) - s.mean - mean
		squares.Add(c * e * e)
	}
	// For equal counts this is the values' own standard deviation.
	sd := math.Sqrt(squares.Value() / (n.Value() - nn.Value()/n.Value()))
	return FromLogs(int(math.Round(n.Value())), s.mean+mean, sd)
}

func fitComplete(x []float64, opt FitOptions) (FitResult, error) {
	s, err := NewSample(x)
	if err == nil && opt.Counts != nil {
		s, err = s.counted(x, opt.Counts)
	}
	if err != nil {
		return FitResult{}, err
	}
	r := FitResult{N: s.n, MeanLog: s.mean, SDLog: s.sd}
	plain := Options{Confidence: opt.Confidence}
	gm, err := GeometricMean(s, plain)
	if err != nil {
		return r, err
	}
	gsd, err := GeometricSD(s, plain)
	if err != nil {
		return r, err
	}
	r.GM, r.GSD = &gm, &gsd
	if m, err := Mean(s, MeanOptions{Confidence: opt.Confidence, Method: opt.Mean}); err != nil {
		r.note("no-mean", "%v", err)
	} else {
		r.Mean = &m.Mean
	}
	if next, err := NextHome(s, plain); err == nil {
		r.Next = &next
	}
	for _, p := range opt.Quantiles {
		q, err := Quantile(s, p, plain)
		if err != nil {
			return r, err
		}
		r.Quantiles = append(r.Quantiles, q)
	}
	for _, l := range opt.Levels {
		a, err := Above(s, l, plain)
		if err != nil {
			return r, err
		}
		r.Above = append(r.Above, a)
	}
	return r, nil
}

func (r *FitResult) note(code, format string, args ...any) {
	r.Notes = append(r.Notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
}

// mostly is the share below limits from which on a mean would rest on the shape
// assumed for what was not seen, and not on data.
const mostly = 0.8

// weighted are the mean and the sum of squares of the logarithms known exactly, each
// counted as often as it counts.
func (k likelihood) weighted(obs []Observation, opt FitOptions) (mean, squares float64) {
	var m, s numeric.Sum
	each := func(f func(c, log float64)) {
		for i, o := range obs {
			if o.exact() && o.Error == 0 {
				f(opt.countOf(i), math.Log(o.Lower))
			}
		}
	}
	each(func(c, log float64) { m.Add(c * (log - k.mean)) })
	mean = k.mean + m.Value()/k.n
	each(func(c, log float64) { s.Add(c * (log - mean) * (log - mean)) })
	return mean, s.Value()
}

func fitLikelihood(obs []Observation, opt FitOptions) (FitResult, error) {
	var k likelihood
	var exact []float64
	var n, sum numeric.Sum // as how many homes all count, and those known exactly
	density := 0.0         // from logarithms to Bq/m³
	same := map[term]int{}
	r := FitResult{}
	for i, o := range obs {
		c := opt.countOf(i)
		n.Add(c)
		t := term{a: math.Log(o.Lower), b: math.Log(o.Upper), v: o.Error * o.Error}
		switch {
		case o.exact():
			density -= c * (t.a + numeric.HalfLog2Pi)
			if o.Error == 0 {
				exact = append(exact, t.a)
				sum.Add(c)
				continue
			}
		case o.Lower == 0:
			r.Below++
		default:
			r.Between++
		}
		if i, ok := same[t]; ok {
			k.rest[i].count += c
			continue
		}
		same[t] = len(k.rest)
		t.count = c
		k.rest = append(k.rest, t)
	}
	r.N = int(math.Round(n.Value()))
	k.n = sum.Value()
	switch len(exact) {
	case 0:
	case 1:
		k.mean = exact[0]
	default:
		var sd float64
		k.mean, sd = numeric.Moments(exact)
		k.ss = sd * sd * float64(len(exact)-1)
		if opt.Counts != nil {
			k.mean, k.ss = k.weighted(obs, opt)
		}
	}
	plain := k
	nu := float64(r.N - 1)
	k.adjust = opt.Method == AdjustedLikelihood
	dropAt := func(confidence float64) float64 { // two-sided
		if k.adjust {
			t := tQuantile(nu, (1+confidence)/2)
			return nu * math.Log1p(t*t/nu)
		}
		return chiSquaredQuantile(1, confidence)
	}
	drop := dropAt(opt.Confidence)
	mu, tau, top, err := k.best(k.start())
	if err != nil {
		return r, err
	}
	sigma := math.Exp(tau)
	r.MeanLog, r.SDLog = mu, sigma
	if _, _, p, err := plain.best(mu, tau); err == nil {
		r.LogLikelihood = p.l + density
	}
	if math.IsNaN(r.LogLikelihood) || math.IsInf(r.LogLikelihood, 0) || math.IsNaN(mu) {
		return r, fmt.Errorf("no log-normal distribution has these values within what a number can hold; look for a value or an error of another unit")
	}
	if tau < leastTau+1 {
		r.SDLog = 0
		r.note("no-spread-seen", "the errors stated explain all of the spread among %d values; the homes may be alike, or the errors overstated", r.N)
	}
	estimate := func(quantity, unit string, g target, out func(float64) float64) (analysis.Estimate, error) {
		lower, upper := k.limits(g, mu, tau, top, drop)
		lower, upper = out(lower), out(upper)
		return finish(analysis.Estimate{
			Quantity: quantity, Unit: unit, Value: out(g.value(mu, tau)), Lower: lower, Upper: upper,
			Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: r.N, Method: string(opt.Method),
		})
	}
	gm, err := estimate("geometric mean", becquerel, medianLog, math.Exp)
	if err != nil {
		return r, err
	}
	gsd, err := estimate("geometric standard deviation", "", spreadLog, func(t float64) float64 { return math.Exp(math.Exp(t)) })
	if err != nil {
		return r, err
	}
	least := 0.0 // below it nothing is said
	if below := float64(r.Below) / float64(len(obs)); below > mostly {
		least = leastKnown(obs)
		r.note("mostly-censored", "%.0f %% of the values lie below their limits, so no mean, geometric mean or geometric standard deviation is given, and no quantile or share at less than the lowest value known: they would rest on the shape assumed for what was not seen. What lies above it holds", below*100)
	} else {
		r.GM, r.GSD = &gm, &gsd
	}
	if least > 0 { // the note has said it
	} else if r.N < LeastForMean {
		r.note("no-mean", "%v", tooFewForMean(r.N))
	} else if m, err := estimate("arithmetic mean", becquerel, meanLog, math.Exp); err != nil {
		r.note("no-mean", "%v", err)
	} else {
		m.Notes = append(m.Notes, wideNote(math.Log(m.Lower), math.Log(m.Upper), math.Log(gm.Upper)-math.Log(gm.Lower), r.N)...)
		r.Mean = &m
	}
	for _, p := range opt.Quantiles {
		z := numeric.NormalQuantile(p)
		q := QuantileResult{P: p}
		if q.Quantile, err = estimate(fmt.Sprintf("%.4g%% quantile", p*100), becquerel, quantileLog(z), math.Exp); err != nil {
			return r, err
		}
		q.Tolerance = q.Quantile
		q.Tolerance.Kind, q.Tolerance.Lower, q.Tolerance.Notes = analysis.ToleranceInterval, 0, nil
		// One-sided at the confidence asked for is two-sided at 2c − 1, which is the
		// value itself at a half.
		if opt.Confidence > 0.5 {
			_, upper := k.limits(quantileLog(z), mu, tau, top, dropAt(2*opt.Confidence-1))
			q.Tolerance.Upper = max(q.Tolerance.Value, math.Exp(upper))
		} else {
			q.Tolerance.Upper = q.Tolerance.Value
		}
		if q.Tolerance, err = finish(q.Tolerance); err != nil {
			return r, err
		}
		if q.Quantile.Value >= least {
			r.Quantiles = append(r.Quantiles, q)
		}
	}
	for _, l := range opt.Levels {
		if l < least {
			continue
		}
		a := AboveResult{Level: l}
		if a.Fraction, err = estimate(shareAbove(l), "", levelScore(math.Log(l)), numeric.Phi); err != nil {
			return r, err
		}
		a.Unbiased = a.Fraction.Value
		r.Above = append(r.Above, a)
	}
	return r, nil
}
