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
	"radonyear/analysis/temporal"
)

// Mean estimates the mean that a home's readings fluctuate about, Bq/m³, from one
// series of readings that resemble their neighbours.
//
// Formula. y = μ + x + e: x falls back as e^(−h/τ) over h hours, e is noise that no
// two readings share, as counting has it; so two readings are correlated by (1 −
// w)e^(−h/τ), h hours apart between their middles, w being the noise's share. With V
// the matrix of these correlations, 1 on its diagonal: m = 1ᵀV⁻¹y/1ᵀV⁻¹1, v = (y −
// m)ᵀV⁻¹(y − m)/(n − 1), the standard error √(v/1ᵀV⁻¹1) and the restricted log
// likelihood −½((n − 1)ln v + ln|V| + ln 1ᵀV⁻¹1); a Kalman filter has the same, and
// takes gaps as they come. They are had at 12 τ, the middles of even parts of its
// logarithm from half the shortest step to half the record's length, with w = 1/(1 +
// e^−z), z = −8, −5, −3.25, −2, −1, 0, 1, 2, 3.5, at each. Where one of these τ, or of
// these w, other than the first and the last has over two thirds of the likelihoods'
// sum, or the largest likelihood is over e times the best of theirs, as in long
// records, as many places, evenly in ln τ and z, take their place: from the last τ and
// z below all whose log likelihood is within 10 of the largest to the first above, and
// between half the shortest step, half the record's length and the first and last z;
// and so on, up to four times. The mean is that of these m, each weighing as its
// likelihood; limits are quantiles of the mixture of m + the standard error times
// Student's t with n − 1 degrees of freedom, because in a short record the largest
// likelihood alone makes τ too short. So the effective number is had from the interval,
// and not put into it as if it were known. A limit d away from the mean is given as
// e^(±d/mean) times the mean. The correlation time given is the τ of the largest
// likelihood, from a fifth of the shortest step up. Where readings are at most 4 hours
// apart and last 3 days, a daily cycle is fitted first by least squares, with sine and
// cosine of 24 and of 12 hours, and taken off.
//
// Beside it, by cosine weights. The plain mean ȳ, and ȳ·e^(±t·s/ȳ): s² = Σ (2/n)(Σ yᵢ
// cos(πj(i − ½)/n))²/(8n), over j from 1 to 8 and over i from 1 to n, t Student's
// quantile with 8 degrees of freedom at (1 + confidence)/2; of readings without their
// daily cycle. This one is taken where it is more than 1.2 times as wide.
//
// The interval given is Student's t on the effective number k of the n readings, that at
// which independent readings of the same spread would have it: t·s/√k = d, t Student's
// quantile with k − 1 degrees of freedom at (1 + confidence)/2, s the readings' standard
// deviation and d = m·ln(upper/lower)/2. k is any number from 2 to n, and that of the two
// where there is none between.
//
// Assumes that nothing but chance moves the readings over the record, with one
// correlation time: no season, no mitigation, no trend. It is the mean of such
// weather and living as were, and not of a year: annual.Estimate gives that.
//
// Interval: confidence. Asked for 95 %, it holds 95 to 98 % of means of hours where a
// record lasts 10 correlation times or more, and 97.5 to 99.7 % where hours do not
// resemble each other at all; means of whole days hold 95 to 99.5 % where they last 14
// correlation times or more, and 94 % at 11. Under 4 % of means lie over the upper
// limit and under 2.5 % under the lower, as two thousand records a setting show it.
// Where hours wander in two ways at once, one slow and one quick, 89 to 96 % hold, and
// up to 7 % lie over. In a year of hours of just the kind assumed the model's own
// interval is as wide as that of one who knows τ and w. Refused, though they last long
// enough, are 2 to 21 % of records whose hours do not resemble each other, up to 25 %
// of other records of a week, 18 % of a month of hours, 14 to 55 % of 30 day means,
// and 68 % of 90 day means that last 11 correlation times, because these cannot tell
// it. A shorter record, its gaps not counted, is refused, because no method holds its
// promise there; but one whose correlation time was taken for too short is answered
// all the same, as 14 to 51 % are of those that last 3 to 9 correlation times: 63 to
// 93 % of these hold, 85 % of 30 day means and 91 % of 60, and up to 27 % lie over. By
// cosine weights alone 77 to 97 % hold of records that last long enough, 68 % at 11
// correlation times, and 34 to 74 % of others. See COVERAGE.md.
//
// Notes: wider-of-two, short-record, correlation-not-seen, partial-days, zero-days,
// below-limit.
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
	words := readings(s) + "s"
	grid := rec.grid()
	top, err := rec.best(grid)
	if err != nil {
		return Result{}, fmt.Errorf("home %q: %w", s.Home, err)
	}
	n := float64(len(rec.y))
	r.CorrelationTime, r.Noise = top.tau, top.share
	// A gap of months makes a record no longer.
	lasting := min(rec.length, (n-1)*r.Step.Hours())
	lasts := lasting / top.tau
	// A record is as long as its first reading's middle is from its last's, and a step
	// more of time.
	daysFor := func(times float64) float64 { return math.Ceil((times*top.tau + r.Step.Hours()) / 24) }
	if lasts < MinTimes {
		const cure = "or use the annual mean, which knows how radon varies elsewhere"
		if top.tau > rec.longest()*(1-atBound) { // the longest looked at: known is that it is no shorter
			return Result{}, fmt.Errorf("home %q: %s resemble each other over %s hours at least, and the record lasts %s; under %v times as long no interval holds its promise: measure on, %s", s.Home, words, hoursInWords(top.tau), hoursInWords(lasting), MinTimes, cure)
		}
		return Result{}, fmt.Errorf("home %q: the record lasts %.1f times the %s hours over which its %s resemble each other; under %v no interval holds its promise: measure on to %.0f days, %s",
			s.Home, lasts, hoursInWords(top.tau), words, MinTimes, daysFor(MinTimes), cure)
	}
	if top.tau < rec.shortest()*(1+atBound) {
		r.NotSeen = true
		notes = append(notes, analysis.Note{Code: "correlation-not-seen", Text: fmt.Sprintf("%s %.3g hours apart do not resemble each other; the correlation time is %.2g hours at most", words, rec.step(), top.tau)})
	}
	if lasts < EnoughTimes {
		notes = append(notes, analysis.Note{Code: "short-record", Text: fmt.Sprintf("the record lasts %.3g times the %s hours over which its %s seem to resemble each other; a short record makes them seem fewer than they are, and the interval too narrow: measure on to %.0f days", lasts, hoursInWords(top.tau), words, daysFor(EnoughTimes))})
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
	mixed := average(rec.closer(grid, top).places, len(rec.y))
	lower, err := mixed.quantile((1 - opt.Confidence) / 2)
	upper, err2 := mixed.quantile((1 + opt.Confidence) / 2)
	scale := r.Spread
	value := r.PlainMean + mixed.mean*scale
	if err != nil || err2 != nil || !(value > 0) {
		return Result{}, fmt.Errorf("home %q: a few %s outweigh all others, and no mean can be given: look at the highest ones", s.Home, words)
	}
	r.Likelihood = estimate(value, (mixed.mean-lower)*scale, (upper-mixed.mean)*scale, Autoregressive)
	byCosines := cosineError(rec.y)
	wide := student(cosines) * byCosines * scale
	r.Cosine = estimate(r.PlainMean, wide, wide, CosineWeights)
	r.Mean = r.Likelihood
	if ratio := wide / (scale * (upper - lower) / 2); ratio > Wider {
		text := fmt.Sprintf("the plain mean's interval by cosine weights is %.1f times as wide as the model's and is given; so much is often chance", ratio)
		if byCosines > Slower*mixed.sd {
			text = fmt.Sprintf("the record moves more slowly than its %s suggest: the plain mean's interval by cosine weights is %.1f times as wide as the model's and is given; look for a season, a trend or a change in the home", words, ratio)
		}
		r.Mean = r.Cosine
		r.Mean.Notes = append(r.Mean.Notes, analysis.Note{Code: "wider-of-two", Text: text})
	}
	if r.EffectiveN, err = worth(r.Mean.Value*math.Log(r.Mean.Upper/r.Mean.Lower)/2/r.Spread, n, student); err != nil {
		return Result{}, err
	}
	for _, e := range []analysis.Estimate{r.Mean, r.Likelihood, r.Cosine} {
		if err := e.Check(); err != nil {
			return Result{}, err
		}
	}
	return r, nil
}

// worth is the k from 2 to n at which the interval of k independent readings reaches so
// many of their standard deviations to either side; student is the quantile of Student's t
// that it takes, by degrees of freedom.
func worth(halfWidth, n float64, student func(nu float64) float64) (float64, error) {
	wider := func(k float64) float64 { return student(k-1)/math.Sqrt(k) - halfWidth } // falls with k
	switch {
	case !(wider(2) > 0):
		return 2, nil
	case !(wider(n) < 0):
		return n, nil
	}
	return numeric.Root(wider, 2, n, 1e-10*n)
}

// hoursInWords is a number of hours to three digits, without an exponent.
func hoursInWords(h float64) string {
	if h >= 999.5 {
		return fmt.Sprintf("%.0f", h)
	}
	return fmt.Sprintf("%.3g", h)
}

// wholeDay says whether a reading is of a day, be it one of 23 or 25 hours.
func wholeDay(a analysis.Reading) bool {
	return math.Abs(a.End.Sub(a.Start).Hours()-24) <= 1
}

// readings is what one of a series' readings is called: a day where it is the mean of one.
func readings(s analysis.Series) string {
	if s.Len() > 0 && wholeDay(s.At(0)) {
		return "day"
	}
	return "reading"
}

// prepare checks that the series can have such a mean, and lays it out for the
// filter, about its plain mean, in units of its spread and without its daily cycle.
func prepare(s analysis.Series) (r Result, rec record, notes []analysis.Note, err error) {
	var kept []analysis.Reading
	partial, dead := 0, 0
	for i := range s.Len() {
		switch a := s.At(i); {
		// A whole day of nothing is a monitor that failed. An hour may have no counts.
		case temporal.Dead(a) && a.End.Sub(a.Start) >= analysis.FullDayHours*time.Hour:
			dead++
		// A day of a few hours is no day's mean, and would count like one.
		case a.Share > 0 && a.Share < analysis.FullDayHours/24.0:
			partial++
		default:
			kept = append(kept, a)
		}
	}
	n := len(kept)
	refuse := func(format string, args ...any) error {
		return fmt.Errorf("home %q: "+format, append([]any{s.Home}, args...)...)
	}
	if n < MinReadings {
		of := func(k int, what string) string {
			if k != 1 {
				what += "s"
			}
			return fmt.Sprintf("%d %s", k, what)
		}
		what, which := readings(s), ""
		if partial > 0 {
			which = fmt.Sprintf(" of at least %d hours", analysis.FullDayHours)
		}
		if dead > 0 {
			which += fmt.Sprintf(" beside %d of zero, which is a monitor that failed", dead)
		}
		return r, rec, nil, refuse("%s%s; this mean needs %s at least: the annual mean takes fewer", of(n, what), which, of(MinReadings, what))
	}
	if partial > 0 {
		notes = append(notes, analysis.Note{Code: "partial-days", Text: fmt.Sprintf("%d of %d days hold less than %d measured hours and are left out; measure whole days", partial, s.Len(), analysis.FullDayHours)})
	}
	if dead > 0 {
		notes = append(notes, temporal.DeadNote(dead))
	}
	lengths := make([]time.Duration, n)
	steps := make([]time.Duration, n-1)
	middle := func(i int) time.Time {
		a := kept[i]
		return a.Start.Add(a.End.Sub(a.Start) / 2)
	}
	hours := make([]float64, n)
	rec = record{y: make([]float64, n), gap: make([]int, n)}
	seen := map[time.Duration]int{}
	below, doubt := 0, 0.0
	for i := range n {
		a := kept[i]
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
		return r, rec, nil, refuse("results last from %v to %v; this mean needs results of one length: the annual mean takes any", first, last)
	}
	if share := float64(below) / float64(n); share > MostBelow {
		return r, rec, nil, refuse("%.0f %% of the %ss lie below their limits, and a mean would rest on what was not seen: the annual mean takes them as limits", 100*share, readings(s))
	} else if below > 0 {
		notes = append(notes, analysis.Note{Code: "below-limit", Text: fmt.Sprintf("%d of %d %ss lie below their limits and count as half of it; the mean could be %.2g Bq/m³ higher or lower by that", below, n, readings(s), doubt)})
	}
	// By a power of two, so that no square is beyond what a number can be.
	highest := slices.Max(rec.y)
	_, power := math.Frexp(highest)
	for i := range rec.y {
		rec.y[i] = math.Ldexp(rec.y[i], -power)
	}
	m, sd := numeric.Moments(rec.y)
	if !(sd > 1e-12*m) {
		return r, rec, nil, refuse("all %d %ss are %.4g Bq/m³, so nothing shows how far they could be off", n, readings(s), highest)
	}
	r.PlainMean, r.Spread = math.Ldexp(m, power), math.Ldexp(sd, power)
	if !(r.Spread > 1e-300 && r.PlainMean < 1e300) {
		return r, rec, nil, refuse("%ss up to %.4g Bq/m³ are beyond what can be computed with: look at their unit", readings(s), highest)
	}
	step := r.Step.Hours()
	if lag, ok := LagOne(rec.y, func(i int) bool { return math.Abs(rec.hours[rec.gap[i]]-step) <= Alike*step }); ok {
		r.LagOne = &lag
	}
	if r.Step <= 4*time.Hour && rec.length+usual.Hours() >= 72 {
		takeDayOff(rec.y, hours)
	}
	for i := range rec.y {
		rec.y[i] = (rec.y[i] - m) / sd
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
