package compare

import (
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"

	"radonyear/analysis"
)

// CycleMethod is the key of Cycle in the list of methods.
const CycleMethod = "cycling"

// Period is a stretch of time in which a system was on throughout, or off. What
// follows a switch until the air has settled is the caller's to leave out.
type Period struct {
	Start time.Time
	Days  float64 // measured, in a row from Start
	Mean  float64 // Bq/m³
	On    bool
}

// CycleOptions of Cycle. The zero value is the documented default.
type CycleOptions struct {
	Confidence float64 // of intervals; 0: 0.95
}

// Cycled is what a system does that was switched on and off.
type Cycled struct {
	Switches  int
	Ratio     analysis.Estimate // on/off
	Reduction analysis.Estimate // 100·(1 − Ratio), %
	Contrasts []CycleContrast   // what each period says by itself, in order of time
	DF        int               // of Student's t
	Scatter   float64           // log standard deviation of the mean of a period of the average length
}

// CycleContrast holds one period against the two beside it, at the middle of its time.
type CycleContrast struct {
	Start time.Time
	On    bool
	Ratio float64 // on/off
}

const (
	leastSwitches = 3
	runsABend     = 6 // periods over which the drift is taken to be straight
	century       = 36525.0
)

// Cycle compares a system on with the same system off, switched back and forth.
//
// It estimates the ratio of the mean with the system on to that with it off, over the
// time of the trial, and the reduction, 100·(1 − ratio) %.
//
// Formula. Each period between two others is held against the time-weighted mean of
// those: d = ±(y − λa − (1 − λ)b), λ = (t_b − t)/(t_b − t_a), y, a, b being logarithms of
// means and t middles of periods; d is ln ratio whatever straight line y drifts along.
// Neighbours share periods: with variances σ²/days of y, cov d = σ²·D·diag(1/days)·Dᵀ,
// D holding the weights 1, −λ, −(1 − λ) with their signs. The generalized least squares
// mean of all d with that covariance is that of least squares of y on a straight line
// and on/off, weighted by days, because D spans all that the line leaves; so this is
// what is computed, with t on what degrees of freedom are left. The line may bend after
// every 6th period, so that a trial over a season needs no straight one.
//
// Assumes that a period says nothing of the switch before it, that what else moves the
// radon, weather above all, goes on as it does whether the system is on or off, and
// periods independent but for the drift. Drift that stays above what a line follows
// makes the interval wider than need be, and not narrower.
//
// Interval: confidence. Asked for 95 %, it holds 95.5 % of four periods up to 99.5 % of 52,
// where a season, weather of some days and chance move the days.
//
// Notes: unbounded.
//
// Source: Aitken 1936, Proc. R. Soc. Edinburgh 55:42, for generalized least squares
// (from memory); the contrast and its covariance are derived here.
func Cycle(periods []Period, opt CycleOptions) (Cycled, error) {
	if err := checkPooling(&opt.Confidence); err != nil {
		return Cycled{}, err
	}
	runs, err := runsOf(periods)
	if err != nil {
		return Cycled{}, err
	}
	n := len(runs)
	r := Cycled{Switches: n - 1}
	if r.Switches < leastSwitches {
		times := fmt.Sprintf("%d times", max(0, r.Switches))
		if r.Switches == 1 {
			times = "once"
		}
		return r, fmt.Errorf("switched %s, the system cannot be told from drift; switch it three times or more, such as off, on, off, on, a week each", times)
	}
	fit, err := fitRuns(runs)
	if err != nil {
		return r, err
	}
	half := tHalf(float64(fit.df), opt.Confidence) * fit.se
	r.DF, r.Scatter = fit.df, fit.scatter
	l := limits{fit.effect, fit.effect - half, fit.effect + half}
	if fit.scatter <= leastSpread {
		return r, fmt.Errorf("on and off follow each other without any scatter, so nothing says how far their ratio can be trusted; look whether the means were rounded or filled in")
	}
	if r.Ratio, err = l.ratio(analysis.Estimate{Quantity: "ratio on/off", Confidence: opt.Confidence, N: n, Method: CycleMethod}); err != nil {
		return r, err
	}
	r.Reduction = ReductionOf(r.Ratio)
	for i := 1; i < n-1; i++ {
		d := runs[i].contrast(runs[i-1], runs[i+1])
		r.Contrasts = append(r.Contrasts, CycleContrast{runs[i].start, runs[i].on, math.Exp(d)})
	}
	return r, r.Reduction.Check()
}

// run is periods in a row with the system on, or off, as one.
type run struct {
	start     time.Time
	log, days float64 // of the mean; measured
	middle    float64 // of the time measured, in days from the first start
	on        bool
}

// contrast is ln ratio on/off by a run between two others.
func (r run) contrast(before, after run) float64 {
	lambda := (after.middle - r.middle) / (after.middle - before.middle)
	d := r.log - lambda*before.log - (1-lambda)*after.log
	if !r.on {
		d = -d
	}
	return d
}

// runsOf puts periods in order and joins those of one state that follow each other,
// since without a switch between them they are one.
func runsOf(periods []Period) ([]run, error) {
	sorted := slices.Clone(periods)
	slices.SortStableFunc(sorted, func(a, b Period) int { return a.Start.Compare(b.Start) })
	var runs []run
	for i, p := range sorted {
		at := p.Start.Format("2006-01-02 15:04")
		switch {
		case p.Start.IsZero():
			return nil, fmt.Errorf("a period without its start; its neighbours are found by time")
		case !(p.Days > 0 && p.Days <= century):
			return nil, fmt.Errorf("the period at %s lasts %v days; give the days measured, such as 7", at, p.Days)
		case p.Start.Sub(sorted[0].Start).Hours() > 24*century:
			return nil, fmt.Errorf("the period at %s begins more than a century after the first; look whether its date is right", at)
		case !(p.Mean > 0) || math.IsInf(p.Mean, 0):
			return nil, fmt.Errorf("the period at %s has a mean of %v Bq/m³, which has no logarithm; give a positive mean, and for a result below a detection limit the limit", at, p.Mean)
		}
		from := p.Start.Sub(sorted[0].Start).Hours() / 24
		if i > 0 && from < sorted[i-1].Start.Sub(sorted[0].Start).Hours()/24+sorted[i-1].Days-1e-6 {
			return nil, fmt.Errorf("the period at %s begins before the one before it ends", at)
		}
		one := run{p.Start, math.Log(p.Mean), p.Days, from + p.Days/2, p.On}
		if i == 0 || sorted[i-1].On != p.On {
			runs = append(runs, one)
			continue
		}
		r := &runs[len(runs)-1]
		days := r.days + one.days
		top := max(r.log, one.log)
		r.log = top + math.Log((r.days*math.Exp(r.log-top)+one.days*math.Exp(one.log-top))/days)
		r.middle = (r.days*r.middle + one.days*one.middle) / days
		r.days = days
	}
	return runs, nil
}

type runFit struct {
	effect, se, scatter float64
	df                  int
}

// fitRuns is least squares of the runs' logarithms on a line with bends and on/off,
// weighted by days.
func fitRuns(runs []run) (runFit, error) {
	n := len(runs)
	pieces := max(1, n/runsABend)
	cols := pieces + 2 // on/off, a constant, and a slope from each bend on
	x, y := mat.NewDense(n, cols, nil), mat.NewDense(n, 1, nil)
	days := 0.0
	for _, r := range runs {
		days += r.days / float64(n)
	}
	first, span := runs[0].middle, runs[n-1].middle-runs[0].middle
	for i, r := range runs {
		w := math.Sqrt(r.days / days)
		y.Set(i, 0, w*(r.log-runs[0].log))
		if r.on {
			x.Set(i, 0, w)
		}
		x.Set(i, 1, w)
		for k := range pieces {
			bend := first
			if k > 0 { // between two runs, so that each piece has as many of either state
				j := k * n / pieces
				bend = (runs[j-1].middle + runs[j].middle) / 2
			}
			x.Set(i, 2+k, w*max(0, r.middle-bend)/span)
		}
	}
	var qr mat.QR
	qr.Factorize(x)
	var beta, xtx, inverse mat.Dense
	tooAlike := fmt.Errorf("on and off cannot be told from drift in periods of such times; switch at even times, such as every week")
	if qr.Cond() > 1e8 || qr.SolveTo(&beta, false, y) != nil {
		return runFit{}, tooAlike
	}
	xtx.Mul(x.T(), x)
	if inverse.Inverse(&xtx) != nil {
		return runFit{}, tooAlike
	}
	var fitted mat.Dense
	fitted.Mul(x, &beta)
	ss := 0.0
	for i := range n {
		d := y.At(i, 0) - fitted.At(i, 0)
		ss += d * d
	}
	df := n - cols
	variance := ss / float64(df)
	return runFit{beta.At(0, 0), math.Sqrt(variance * inverse.At(0, 0)), math.Sqrt(variance), df}, nil
}
