package lognormal

import (
	"fmt"
	"math"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// What a fitted threshold needs, by this project's choice: MinThreshold to be
// estimated at all, EnoughThreshold not to be warned of; see COVERAGE.md.
const (
	MinThreshold    = 10
	EnoughThreshold = 50
)

// ThresholdResult is a log-normal distribution that begins at a threshold.
type ThresholdResult struct {
	Threshold     analysis.Estimate
	MeanLog       float64 // μ and σ of the natural logarithms of the excess, by maximum likelihood
	SDLog         float64
	LogLikelihood float64           // of the values in Bq/m³ at that threshold
	Without       float64           // the same where the threshold is zero
	Moments       *ThresholdMoments // by ThresholdByMoments; nil where there are none
}

// Threshold estimates the concentration at which a log-normal distribution begins,
// Bq/m³: a level that no home lies below, as outdoor air gives one. No command
// asks for it: where the outdoor level is known, SubtractOutdoor takes it off and needs
// no such estimate.
//
// Formula. l(γ) = −n·ln σ − Σ ln(x−γ) − (n/2)(1 + ln 2π), σ² = Σ(ln(x−γ) − μ)²/n about
// the mean μ. It grows without bound as γ nears the least value, which says nothing;
// the estimate is its highest local maximum. Limits are where 2l has fallen by χ²₁.
//
// Assumes independent values from one log-normal distribution above the threshold,
// all of them known: a value below a limit has no logarithm of an excess. Twenty values
// are seldom enough; give it 50 and a reason, such as air from outdoors.
//
// Interval: confidence, approximate. Asked for 95 %, it holds 90.5 to 95 % at 20 to
// 200 values, and misses mostly on one side: 3.5 to 8.5 % of thresholds lie under the
// lower limit, and at most 1.5 % over the upper. See COVERAGE.md.
//
// Notes: few-for-threshold, threshold-not-shown, threshold-to-least, unbounded.
//
// Source: Cohen and Whitten 1980, J. Am. Stat. Assoc. 75:399, for local maximum
// likelihood; Griffiths 1980, Appl. Stat. 29:58, for its profile's limits (both from
// memory).
func Threshold(values []float64, opt Options) (ThresholdResult, error) {
	if err := opt.check(); err != nil {
		return ThresholdResult{}, err
	}
	if err := checkThreshold(values); err != nil {
		return ThresholdResult{}, err
	}
	n := len(values)
	p := newThresholdProfile(values)
	bottom, top, err := p.hill()
	if err != nil {
		return ThresholdResult{}, err
	}
	best := p.at(top)
	drop := chiSquaredQuantile(1, opt.Confidence)
	var notes []analysis.Note
	note := func(code, format string, args ...any) {
		notes = append(notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	fallen := func(t float64) float64 { return 2*(best.l-p.at(t).l) - drop }

	upper := p.least
	if fallen(bottom) > 0 {
		t, err := numeric.Root(fallen, bottom, top, 1e-11)
		if err != nil {
			return ThresholdResult{}, fmt.Errorf("upper limit of the threshold: %w", err)
		}
		upper = p.threshold(t)
	} else {
		note("threshold-to-least", "up to the least value, %.4g Bq/m³, the likelihood never falls far enough to give the threshold an upper limit below it; more homes would", p.least)
	}
	lower, farthest := math.Inf(-1), top
	for ; farthest < mostExcess && fallen(farthest) <= 0; farthest += 0.5 {
	}
	if fallen(farthest) > 0 {
		t, err := numeric.Root(fallen, top, farthest, 1e-11)
		if err != nil {
			return ThresholdResult{}, fmt.Errorf("lower limit of the threshold: %w", err)
		}
		lower = p.threshold(t)
	} else {
		note("unbounded", "the data give the threshold no lower limit: a normal distribution would do as well; more homes would tell")
	}
	if lower <= 0 && upper >= 0 {
		note("threshold-not-shown", "no threshold at all is within the interval: a log-normal distribution from zero does as well, and is the one to take unless the outdoor level is known")
	}
	if n < EnoughThreshold {
		note("few-for-threshold", "%d values say little of a threshold; measure at least %d homes, or subtract a known outdoor level", n, EnoughThreshold)
	}
	r := ThresholdResult{MeanLog: best.mean + math.Log(p.spread), SDLog: best.sd, LogLikelihood: best.l - float64(n)*math.Log(p.spread)}
	if m, err := p.moments(); err == nil {
		r.Moments = &m
	}
	logs := make([]float64, n)
	for i, v := range values {
		logs[i] = math.Log(v)
	}
	mean, sd := numeric.Moments(logs)
	sd *= math.Sqrt(float64(n-1) / float64(n))
	r.Without = normalTop(n, mean, sd)
	r.Threshold, err = finish(analysis.Estimate{
		Quantity: "threshold", Unit: becquerel,
		Value: p.threshold(top), Lower: lower, Upper: upper,
		Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: n, Method: "threshold", Notes: notes,
	})
	return r, err
}

// checkThreshold is an error where the values can tell no threshold.
func checkThreshold(values []float64) error {
	n := len(values)
	if n < MinThreshold {
		return fmt.Errorf("%d values; a threshold needs at least %d: take the outdoor level as known and subtract it", n, MinThreshold)
	}
	same := true
	for i, v := range values {
		if !(v > 0) || math.IsInf(v, 0) {
			return fmt.Errorf("value %d is %v; a threshold is fitted to positive numbers, all known: with values below a limit, subtract a known outdoor level", i+1, v)
		}
		same = same && v == values[0]
	}
	if same {
		return fmt.Errorf("all %d values are %v, so no threshold can be seen: if they were rounded, more digits are needed", n, values[0])
	}
	return nil
}

// normalTop is the log likelihood of n values whose logarithms have this mean and
// this standard deviation (n), at its largest.
func normalTop(n int, mean, sd float64) float64 {
	return -float64(n) * (math.Log(sd) + mean + 0.5 + numeric.HalfLog2Pi)
}

// thresholdProfile is the likelihood of a threshold that lies spread·eᵗ below the
// least value, in units of spread, the distance from least to most.
type thresholdProfile struct {
	least, spread float64
	z             []float64 // how far above the least each value lies, in spreads
	gap           float64   // the least of those above zero
}

// mostExcess is the t from which on a threshold is as good as minus infinity.
const mostExcess = 25

func newThresholdProfile(values []float64) thresholdProfile {
	p := thresholdProfile{least: math.Inf(1), z: make([]float64, len(values)), gap: 1}
	most := 0.0
	for _, v := range values {
		p.least, most = min(p.least, v), max(most, v)
	}
	p.spread = most - p.least
	for i, v := range values {
		p.z[i] = (v - p.least) / p.spread
		if p.z[i] > 0 {
			p.gap = min(p.gap, p.z[i])
		}
	}
	return p
}

func (p thresholdProfile) threshold(t float64) float64 { return p.least - p.spread*math.Exp(t) }

// thresholdPoint is the profile at one threshold: log likelihood, its slope by t, and
// mean and standard deviation (n) of the logarithms.
type thresholdPoint struct{ l, slope, mean, sd float64 }

func (p thresholdProfile) at(t float64) thresholdPoint {
	n := float64(len(p.z))
	e := math.Exp(-t)
	// Two passes, since far from the values their logarithms are all but the same.
	var sum numeric.Sum
	for _, z := range p.z {
		sum.Add(math.Log1p(z * e))
	}
	mean := sum.Value() / n
	var squares, slope, own numeric.Sum
	for _, z := range p.z {
		d := math.Log1p(z*e) - mean
		r := 1 / (1 + z*e)
		squares.Add(d * d)
		own.Add(r)
		slope.Add(r * d)
	}
	v := squares.Value() / n
	q := thresholdPoint{mean: t + mean, sd: math.Sqrt(v)}
	q.slope = -own.Value() - slope.Value()/v
	q.l = normalTop(len(p.z), q.mean, q.sd)
	return q
}

// hill is the t of the highest local maximum, and that of the lowest likelihood
// between it and the least value.
func (p thresholdProfile) hill() (bottom, top float64, err error) {
	const step = 0.25
	slope := func(t float64) float64 { return p.at(t).slope }
	best := math.Inf(-1)
	least := max(math.Log(p.gap)-12, -690)
	dip := least // where the likelihood last stopped falling
	last := slope(least)
	for t := least; t < 9; t += step {
		next := slope(t + step)
		switch {
		case last < 0 && next >= 0:
			if dip, err = numeric.Root(slope, t, t+step, 1e-12); err != nil {
				return 0, 0, err
			}
		case last > 0 && next <= 0:
			at, err := numeric.Root(slope, t, t+step, 1e-12)
			if err != nil {
				return 0, 0, err
			}
			if l := p.at(at).l; l > best {
				best, bottom, top = l, dip, at
			}
		}
		last = next
	}
	switch {
	case !math.IsInf(best, -1):
		return bottom, top, nil
	case last > 0:
		return 0, 0, fmt.Errorf("the values are no more skewed than a normal distribution, and no threshold above minus infinity fits best: there is none to subtract")
	}
	byMoments := ""
	if m, err := p.moments(); err == nil && m.Threshold > 0 {
		byMoments = fmt.Sprintf(" (by moments it begins at %.4g, of which there is no interval)", m.Threshold)
	}
	return 0, 0, fmt.Errorf("the likelihood only grows towards the least value, %v, where it has no bound, and no threshold below fits best%s: subtract a known outdoor level, or take a log-normal distribution from zero", p.least, byMoments)
}
