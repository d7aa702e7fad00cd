package lognormal

import (
	"fmt"
	"math"
	"slices"

	"radonyear/analysis"
)

// DescribeOptions of Describe. The zero value is the documented default.
type DescribeOptions struct {
	Confidence float64    // 0: 0.95
	Levels     []float64  // Bq/m³, to count and estimate the share above
	Ranks      []float64  // shares to give the values at; nil: Ranks
	Quantiles  []float64  // shares to give the fitted quantiles at, with intervals and upper tolerance limits
	Outdoor    float64    // Bq/m³, subtracted before logarithms are taken; 0: none. See SubtractOutdoor
	Mean       MeanMethod // of complete data; anything but Auto is ErrNotComplete for other data, or where Outdoor makes limits of some
	Method     FitMethod  // of all that is fitted; "": as Fit has it
	Shape      bool       // judge the fit and keep the points of its plot
	Counts     []float64  // as how many homes each value counts in all that is fitted; nil: one. See FitOptions
}

// Ranks are the shares of the homes at which Describe gives the values.
var Ranks = []float64{0.25, 0.5, 0.75, 0.9}

// Ranked is the value at one share of the homes in order, by the data alone:
// interpolated between ranks at 1 + (n−1)p.
type Ranked struct {
	P     float64
	Value float64 // Bq/m³; where Below, as it would be if all values were at their limits
	Below bool    // all that can be said is that it lies at or below Value
}

// Share is the share of homes above a level, fitted and counted.
type Share struct {
	Level    float64            // Bq/m³, as asked for
	Fraction *analysis.Estimate // by the fit; nil without one, or where a note says why
	Counted  *analysis.Estimate // by counting; nil where a limit or interval straddles the level
	Unbiased *float64           // by the fit of complete data; nil for any other. See Above
}

// Description is what there is to say of one group of homes.
type Description struct {
	N, Below, Between int
	Min, Max          float64 // Bq/m³ of what was measured; Min is the lowest limit where MinBelow; Max the highest where all lie below theirs
	MinBelow          bool
	Ranks             []Ranked
	Outdoor           float64
	Fit               *FitResult // nil where a note says why. Mean, quantiles and next home include Outdoor; GM and GSD are of the excess over it
	Above             []Share
	// OrderStatistics is nil unless some of the excess lies below limits, all of it is known
	// otherwise, each value counts one home, and Fit has a mean for it to stand beside. Its
	// Mean includes Outdoor; its line is of the excess.
	OrderStatistics *OrderStatisticsResult
	Shape           *ShapeResult // of the excess over Outdoor; nil if not asked for, or where a note says why
	Notes           []analysis.Note
}

// Describe sums up one group of homes, one value a home, Bq/m³: how many, least to
// most, middle, mean, and the share above each level, fitted and counted. An error
// is for options and impossible values only: whatever cannot be given is left out,
// and a note says why.
//
// Formula. Fit for everything that rests on a log-normal distribution, of the
// excess over Outdoor if there is one; Counted for the other share; OrderStatistics for a
// second mean where some values lie below limits, as information beside Fit's and never
// in its place, for it has no interval.
//
// Assumes what Fit and Counted assume; and that each home is there once.
//
// Interval: those of Fit and Counted. A mean whose upper limit is open is left out, and
// a note tells its lower limit, so that what is said of a mean, on one side or on both,
// holds as the intervals of Fit do; those that are closed alone may hold less.
//
// Notes: no-fit, no-mean, mean-at-least, mean-above-values, no-shape, level-within-limits,
// shares-apart, counted-with-errors, outdoor-floor, and those of Fit.
//
// Source: those of Fit and Counted.
func Describe(obs []Observation, opt DescribeOptions) (Description, error) {
	if len(obs) == 0 {
		return Description{}, fmt.Errorf("no values")
	}
	if opt.Ranks == nil {
		opt.Ranks = Ranks
	}
	fo := FitOptions{Confidence: opt.Confidence, Quantiles: opt.Quantiles, Mean: opt.Mean, Method: opt.Method, Counts: opt.Counts}
	for _, l := range opt.Levels {
		if err := checkLevel(l); err != nil {
			return Description{}, err
		}
		if l <= opt.Outdoor {
			return Description{}, fmt.Errorf("a level of %v Bq/m³ is not above the outdoor %v; every home is above it", l, opt.Outdoor)
		}
		fo.Levels = append(fo.Levels, l-opt.Outdoor)
	}
	if err := fo.check(); err != nil {
		return Description{}, err
	}
	for _, p := range opt.Ranks {
		if !(p >= 0 && p <= 1) {
			return Description{}, fmt.Errorf("a rank at %v; a share lies between 0 and 1, such as 0.9", p)
		}
	}
	excess, err := SubtractOutdoor(obs, opt.Outdoor)
	if err != nil {
		return Description{}, err
	}
	if err := checkMean(opt.Mean, excess); err != nil {
		return Description{}, err
	}
	d := Description{N: len(obs), Outdoor: opt.Outdoor}
	for _, o := range obs {
		switch {
		case o.exact():
		case o.Lower == 0:
			d.Below++
		default:
			d.Between++
		}
	}
	d.rank(obs, opt.Ranks)
	if opt.Outdoor > 0 {
		under := 0
		for i := range obs {
			if excess[i].Lower == 0 && obs[i].Lower > 0 {
				under++
			}
		}
		if under > 0 {
			d.note("outdoor-floor", "%d of %d values lie at or within %.3g Bq/m³ of the outdoor %.3g; they are taken as below that excess, not left out", under, d.N, OutdoorFloor*opt.Outdoor, opt.Outdoor)
		}
	}
	fitted := map[float64]Share{} // by the level that is left when the outdoor one is taken off
	if fit, err := Fit(excess, fo); err != nil {
		d.note("no-fit", "no fit: %v", err)
	} else {
		d.Fit = &fit
		d.Notes = append(d.Notes, fit.Notes...)
		for i := range fit.Above { // of some levels the fit may say nothing
			a := &fit.Above[i]
			s := Share{Fraction: &a.Fraction}
			if a.Fraction.Method == shareMethod {
				s.Unbiased = &a.Unbiased
			}
			fitted[a.Level] = s
		}
		if opt.Outdoor > 0 {
			fit.addOutdoor(opt.Outdoor)
		}
		d.checkMean(obs)
		if d.Fit.Mean != nil && opt.Counts == nil {
			if r, err := OrderStatistics(excess); err == nil && r.Below > 0 {
				r.Mean += opt.Outdoor
				d.OrderStatistics = &r
			}
		}
	}
	uncertain := slices.ContainsFunc(obs, func(o Observation) bool { return o.Error > 0 })
	for i, l := range opt.Levels {
		s := fitted[fo.Levels[i]]
		s.Level = l
		above, open := 0, 0
		for _, o := range obs {
			if o.exact() && o.Lower > l || !o.exact() && o.Lower >= l {
				above++
			} else if o.Upper > l {
				open++
			}
		}
		if open > 0 {
			holds := ""
			if s.Fraction != nil {
				holds = "; the fitted share holds"
			}
			d.note("level-within-limits", "%d values lie within limits on both sides of %.6g Bq/m³, so the homes above it cannot be counted%s", open, l, holds)
		} else if c, err := Counted(above, d.N, l, Options{opt.Confidence}); err == nil {
			s.Counted = &c
		}
		if apart(s.Fraction, s.Counted) {
			cure := "the shape assumed does not hold out there; use the counted one"
			if uncertain {
				cure = "the errors do it, or a shape that is not log-normal out there; rest nothing on either alone"
			}
			d.note("shares-apart", "above %.6g Bq/m³ the fitted share, %s, and the counted one, %s, do not meet: %s", l, percents(s.Fraction), percents(s.Counted), cure)
		}
		d.Above = append(d.Above, s)
	}
	if len(opt.Levels) > 0 && uncertain {
		d.note("counted-with-errors", "counted shares are of the values as measured, errors and all, and fitted ones of what they would be without: errors spread values, so that above a level over most homes more are counted than there are, and the two need not agree")
	}
	if opt.Shape && d.Fit != nil { // what leaves no fit leaves no shape
		if s, err := Shape(excess); err != nil {
			d.note("no-shape", "%v", err)
		} else {
			d.Shape = &s
		}
	}
	return d, nil
}

func (d *Description) note(code, format string, args ...any) {
	d.Notes = append(d.Notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
}

// farMean is from how many times the plain mean on a fitted one is said to be far off.
const farMean = 1.5

// checkMean holds the fitted mean to what was measured. Without an upper limit it is no
// estimate of anything, and is withdrawn but for its lower limit, which is as good as any;
// where it lies far above the values, the shape assumed for them makes it and not they.
func (d *Description) checkMean(obs []Observation) {
	m := d.Fit.Mean
	if m == nil {
		return
	}
	if math.IsInf(m.Upper, 1) {
		d.Fit.Mean = nil
		d.note("no-mean", "%v", noUpperLimit(d.N))
		if m.Lower > d.Outdoor {
			d.note("mean-at-least", "of the mean it can only be said that it lies above %.3g Bq/m³, the lower limit of its %.12g %% interval", m.Lower, 100*m.Confidence)
		}
		return
	}
	plain, least := 0.0, 0.0 // with each value where it is highest, one beyond a range at that; and lowest
	open := false
	for _, o := range obs {
		x := o.Upper
		if math.IsInf(x, 1) {
			x, open = o.Lower, true
		}
		plain += x / float64(d.N)
		least += o.Lower / float64(d.N)
	}
	most, of, bound := "the largest value", "the plain mean of the values, which is", fmt.Sprintf("at most %.3g", plain)
	if open {
		most, of = "the most that a value is known to reach", fmt.Sprintf("%.3g Bq/m³, the mean with each value at its limit; the plain mean is", plain)
		bound = fmt.Sprintf("at least %.3g", least)
	}
	switch {
	case m.Value > d.Max:
		d.note("mean-above-values", "the fitted mean lies above %s, %.3g Bq/m³: the shape assumed makes it, not the values; their plain mean is %s", most, d.Max, bound)
	case m.Value > farMean*plain:
		d.note("mean-above-values", "the fitted mean is %.1f times %s %s Bq/m³: the shape assumed makes it more than they do", m.Value/plain, of, bound)
	}
}

// apart is whether two intervals have nothing in common.
func apart(a, b *analysis.Estimate) bool {
	return a != nil && b != nil && (a.Upper < b.Lower || b.Upper < a.Lower)
}

// percents is a share's interval in words.
func percents(e *analysis.Estimate) string {
	return fmt.Sprintf("%.3g to %.3g %%", 100*e.Lower, 100*e.Upper)
}

// addOutdoor gives the outdoor level back to what is a concentration of all the
// radon there is. Middle and spread stay those of the excess.
func (r *FitResult) addOutdoor(outdoor float64) {
	shift := func(e *analysis.Estimate) {
		e.Value, e.Lower, e.Upper = e.Value+outdoor, e.Lower+outdoor, e.Upper+outdoor
	}
	if r.Mean != nil {
		shift(r.Mean)
	}
	if r.Next != nil {
		shift(r.Next)
	}
	for i := range r.Quantiles {
		shift(&r.Quantiles[i].Quantile)
		shift(&r.Quantiles[i].Tolerance)
	}
	for i := range r.Above {
		r.Above[i].Level += outdoor
		r.Above[i].Fraction.Quantity = shareAbove(r.Above[i].Level)
	}
	for _, e := range []*analysis.Estimate{r.GM, r.GSD} {
		if e != nil {
			e.Quantity += " of the excess over outdoors"
		}
	}
}

// rank fills in what the values say in their order. A value between bounds stands at
// its middle, one beyond a detector's range at that. A value below a limit lies
// somewhere from zero to it; so the values are put in order twice, with those at zero
// and at their limits, and where the two disagree the second is an upper bound.
func (d *Description) rank(obs []Observation, at []float64) {
	low, high := make([]float64, len(obs)), make([]float64, len(obs))
	for i, o := range obs {
		switch {
		case o.Lower == 0:
			high[i] = o.Upper
			continue
		case math.IsInf(o.Upper, 1):
			low[i] = o.Lower
		default:
			low[i] = o.Lower + (o.Upper-o.Lower)/2
		}
		high[i] = low[i]
	}
	slices.Sort(low)
	slices.Sort(high)
	n := len(low)
	// The least is what was measured, or the lowest limit where nothing lies under that.
	d.Min = high[0]
	d.MinBelow = slices.ContainsFunc(obs, func(o Observation) bool { return o.Lower == 0 && o.Upper == d.Min })
	d.Max = high[n-1]
	if d.Below < d.N {
		d.Max = low[n-1]
	}
	for _, p := range at {
		k := float64(n-1) * p
		i := int(k)
		f := k - float64(i)
		value := func(x []float64) float64 {
			if f == 0 {
				return x[i]
			}
			return x[i] + f*(x[i+1]-x[i])
		}
		v, bound := value(low), value(high)
		d.Ranks = append(d.Ranks, Ranked{P: p, Value: bound, Below: v != bound})
	}
}
