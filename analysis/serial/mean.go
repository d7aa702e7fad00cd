package serial

import (
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// Mean estimates the mean that a home's readings fluctuate about, Bq/m³, from one
// series of readings that resemble their neighbours.
//
// Formula. y = μ + x + e: x falls back as e^(−t/τ), e is noise that no two readings
// share, as counting has it. τ and the noise's share have the restricted likelihood
// of a Kalman filter that takes gaps as they come; μ is the generalized least squares
// mean with Student's t, averaged over τ (evenly in its logarithm, up to half the
// record) and the noise's share by that likelihood, because in a short record its
// largest value alone makes τ too short. The correlation time given is where it is
// largest. Beside it: the plain mean with the mean square of 8 cosine sums of the
// record and t on 8. The second is taken where it is more than 1.5 times as wide.
// Limits lie as e^(±d/mean) times the mean for a distance d. A daily cycle is fitted
// by two harmonics and taken off first, where readings are at most 4 hours apart
// and last 3 days.
//
// Assumes that nothing but chance moves the readings over the record: no season, no
// mitigation, no trend. It is the mean of such weather and living as were, and not
// of a year: annual.Estimate gives that.
//
// Interval: confidence. Asked for 95 %, it holds 93.5 to 97.5 % where a record lasts
// 10 correlation times or more, and up to 99.8 % where readings do not resemble each
// other at all. Means of whole days hold 94 to 99.8 %; of records of 30 of them 15 to
// 55 % are refused, though they last long enough, because so few days cannot tell it.
// A shorter record is refused, because no method holds its promise there; one whose
// correlation time was taken for too short is answered all the same, and then 60 to
// 92 % hold. By cosine weights alone 77 to 96 %. See COVERAGE.md.
//
// Notes: wider-of-two, short-record, below-limit.
//
// Source: Harville 1977, J. Am. Stat. Assoc. 72:320, for restricted likelihood;
// Müller 2007, J. Econom. 141:1331, and Lazarus, Lewis, Stock and Watson 2018, J. Bus.
// Econ. Stat. 36:541, for cosine weights (all from memory).
func Mean(s analysis.Series, opt Options) (Result, error) {
	if err := analysis.CheckConfidence(&opt.Confidence); err != nil {
		return Result{}, err
	}
	r, rec, notes, err := prepare(s)
	if err != nil {
		return Result{}, err
	}
	scale := r.Spread
	for i := range rec.y {
		rec.y[i] = (rec.y[i] - r.PlainMean) / scale
	}
	grid := rec.grid()
	top, err := rec.best(grid)
	if err != nil {
		return Result{}, fmt.Errorf("home %q: %w", s.Home, err)
	}
	n := float64(len(rec.y))
	r.CorrelationTime, r.Noise = top.tau, top.share
	lasts := rec.length / top.tau
	if lasts < MinTimes {
		return Result{}, fmt.Errorf("home %q: the record lasts %.1f times the %.3g hours over which its readings resemble each other; under %v no interval holds its promise: measure on to %.0f days, or use the annual mean, which knows how radon varies elsewhere",
			s.Home, lasts, top.tau, MinTimes, math.Ceil(MinTimes*top.tau/24))
	}
	if lasts < EnoughTimes {
		notes = append(notes, analysis.Note{Code: "short-record", Text: fmt.Sprintf("the record lasts %.0f times the %.3g hours over which its readings seem to resemble each other; a short record makes them seem fewer than they are, and the interval too narrow: measure on to %.0f days", lasts, top.tau, math.Ceil(EnoughTimes*top.tau/24))})
	}
	student := func(nu float64) float64 {
		return distuv.StudentsT{Sigma: 1, Nu: nu}.Quantile((1 + opt.Confidence) / 2)
	}
	r.NaiveHalfWidth = student(n-1) * r.Spread / math.Sqrt(n)
	// Distances from the mean are taken as ratios: a mean is positive, and a record
	// that lacks high hours has both a low mean and a small spread.
	estimate := func(value, below, above float64, method string) analysis.Estimate {
		return analysis.Estimate{
			Quantity: "mean", Unit: "Bq/m³",
			Value: value, Lower: value * math.Exp(-below/value), Upper: value * math.Exp(above/value),
			Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: len(rec.y), Method: method,
			Notes: slices.Clone(notes),
		}
	}
	mixed := average(grid, len(rec.y))
	r.EffectiveN = min(1/(mixed.sd*mixed.sd), n)
	lower, err := mixed.quantile((1 - opt.Confidence) / 2)
	upper, err2 := mixed.quantile((1 + opt.Confidence) / 2)
	value := r.PlainMean + mixed.mean*scale
	if err != nil || err2 != nil || !(value > 0) {
		return Result{}, fmt.Errorf("home %q: a few readings outweigh all others, and no mean can be given: look at the highest ones", s.Home)
	}
	r.Likelihood = estimate(value, (mixed.mean-lower)*scale, (upper-mixed.mean)*scale, Autoregressive)
	wide := student(cosines) * cosineError(rec.y) * scale
	r.Cosine = estimate(r.PlainMean, wide, wide, CosineWeights)
	r.Mean = r.Likelihood
	if ratio := wide / (scale * (upper - lower) / 2); ratio > Wider {
		r.Mean = r.Cosine
		r.Mean.Notes = append(r.Mean.Notes, analysis.Note{Code: "wider-of-two", Text: fmt.Sprintf("the record moves more slowly than its hours suggest: the plain mean's interval by cosine weights is %.1f times as wide as the model's and is given; look for a season, a trend or a change in the home", ratio)})
	}
	for _, e := range []analysis.Estimate{r.Mean, r.Likelihood, r.Cosine} {
		if err := e.Check(); err != nil {
			return Result{}, err
		}
	}
	return r, nil
}

// prepare checks that the series can have such a mean, and lays it out for the
// filter, without its daily cycle.
func prepare(s analysis.Series) (r Result, rec record, notes []analysis.Note, err error) {
	n := s.Len()
	refuse := func(format string, args ...any) error {
		return fmt.Errorf("home %q: "+format, append([]any{s.Home}, args...)...)
	}
	if n < MinReadings {
		return r, rec, nil, refuse("%d readings; this mean needs at least %d: the annual mean takes fewer", n, MinReadings)
	}
	lengths := make([]time.Duration, n)
	steps := make([]time.Duration, n-1)
	middle := func(i int) time.Time {
		a := s.At(i)
		return a.Start.Add(a.End.Sub(a.Start) / 2)
	}
	hours := make([]float64, n)
	rec = record{y: make([]float64, n), gap: make([]int, n)}
	seen := map[time.Duration]int{}
	below, doubt := 0, 0.0
	for i := range n {
		a := s.At(i)
		lengths[i] = a.End.Sub(a.Start)
		rec.y[i] = a.Concentration
		if a.BelowLimit {
			below++
			rec.y[i] /= 2
			doubt += rec.y[i] / float64(n)
		}
		if i == 0 {
			continue
		}
		hours[i] = middle(i).Sub(middle(0)).Hours()
		d := middle(i).Sub(middle(i - 1))
		steps[i-1] = d
		k, ok := seen[d]
		if !ok {
			k = len(rec.hours)
			seen[d] = k
			rec.hours = append(rec.hours, d.Hours())
		}
		rec.gap[i] = k
	}
	rec.length = hours[n-1]
	slices.Sort(lengths)
	slices.Sort(steps)
	r.Step = steps[len(steps)/2]
	usual := lengths[n/2]
	if first, last := lengths[0], lengths[n-1]; float64(first) < (1-Alike)*float64(usual) || float64(last) > (1+Alike)*float64(usual) {
		return r, rec, nil, refuse("readings last from %v to %v; this mean needs readings of one length: the annual mean takes any", first, last)
	}
	if share := float64(below) / float64(n); share > MostBelow {
		return r, rec, nil, refuse("%.0f%% of the readings lie below their limits, and a mean would rest on what was not seen: the annual mean takes them as limits", 100*share)
	} else if below > 0 {
		notes = append(notes, analysis.Note{Code: "below-limit", Text: fmt.Sprintf("%d of %d readings lie below their limits and count as half of it; the mean could be %.2g Bq/m³ higher or lower by that", below, n, doubt)})
	}
	r.PlainMean, r.Spread = numeric.Moments(rec.y)
	if !(r.Spread > 1e-12*r.PlainMean) || math.IsInf(r.Spread, 0) {
		return r, rec, nil, refuse("all %d readings are %.4g Bq/m³, so nothing shows how far they could be off", n, rec.y[0])
	}
	if r.Step <= 4*time.Hour && rec.length >= 72 {
		takeDayOff(rec.y, hours)
	}
	return r, rec, notes, nil
}

// takeDayOff subtracts the daily cycle: 24 and 12 hours, by least squares.
func takeDayOff(y, hours []float64) {
	n := len(y)
	x := mat.NewDense(n, 5, nil)
	for i, h := range hours {
		s, c := math.Sincos(2 * math.Pi * h / 24)
		x.SetRow(i, []float64{1, c, s, c*c - s*s, 2 * s * c})
	}
	var xx mat.SymDense
	xx.SymOuterK(1, x.T())
	var xy, b mat.VecDense
	xy.MulVec(x.T(), mat.NewVecDense(n, y))
	var chol mat.Cholesky
	if !chol.Factorize(&xx) || chol.Cond() > 1e4 || chol.SolveVecTo(&b, &xy) != nil {
		return // the hours of the day are not spread enough to tell
	}
	for i := range y {
		row := x.RawRowView(i)
		for j := 1; j < 5; j++ {
			y[i] -= b.AtVec(j) * row[j]
		}
	}
}
