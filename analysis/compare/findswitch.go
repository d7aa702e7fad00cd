package compare

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"radonyear/analysis"
	"radonyear/analysis/serial"
)

// SwitchOptions of FindSwitch. The zero value is the documented default.
type SwitchOptions struct {
	Confidence float64   // of intervals; 0: 0.95
	From, To   int       // the first day on the new level lies between these; 0, 0: anywhere that leaves LeastDaysASide on either side
	Records    int       // so many records of the home are searched, this one among them; 0: 1
	Season     []float64 // what ln C owes to the season on each of the days, in their order, to be taken off; nil: nothing
}

// Switch is what a series says of one change of its level.
type Switch struct {
	Found       bool    // Probability is at least FoundAt
	Probability float64 // that the level changed at all; odds before looking even, or 1 to Records

	// The rest is of the change, if there was one: where none is found it is no more
	// than the best guess.
	Day         int     // the first whole day on the new level, most probably
	First, Last int     // the days it lies between with the confidence asked for, both included
	Best        float64 // probability of Day among all days
	Second      *Candidate
	Ratio       analysis.Estimate // of the level after to that before
	Days        int
	Notes       []analysis.Note
}

// Candidate is another day that the change may have been on.
type Candidate struct {
	Day         int
	Probability float64
}

// FoundAt is from which probability on a change is called found, set by trial so that
// few are found where there is none.
const FoundAt = 0.9

// How a second candidate differs from the first: it is the most probable day so far
// away, and the days about it have so much of the probability of those about the first.
const (
	apartDays    = 7
	nearlyAsGood = 1.0 / 3
)

// stepSpreads are the squares of the steps looked for, in standard deviations of a day.
var stepSpreads = [...]float64{1, 4, 16, 64}

// dayShares are how much of the step the day before the first whole one may have.
var dayShares = [...]float64{0, 0.25, 0.5, 0.75}

// FindSwitch estimates the day on which the level of a monitor's days changed, where
// nobody wrote it down, the probability that it changed at all, and the ratio of the
// level (geometric mean) after to that before.
//
// Formula. ln C − season = level + step·s + x + e, with errors as in Interrupted; s is 1
// from day c on, 0, ¼, ½ or ¾ on the day before, and 0 until then. The level has a flat
// prior, the variance one flat in its logarithm, the step is normal about 0 with 1, 2, 4
// or 8 standard deviations of a day, correlation times and shares of noise are those of
// Interrupted; a day c is as probable before as there are days in the gap that it ends,
// those shares are alike. All of them are averaged over by their marginal likelihood,
// and the same without a step. Probability = B/(k + B), B the ratio of the two and k the
// number of the home's records that are searched: Bonferroni's rule, by which a home of
// many monitors is no likelier to show a change where there was none than a home of one,
// as odds before looking of 1 to k. First to Last are the fewest days in a row that hold
// the confidence. The ratio is a mixture of Student's distributions over days,
// correlation times and shares, with as many degrees of freedom as there are days less 2.
// A day below the monitor's limit is looked at as the limit; the ratio's limits are moved
// out by what such days may hold less on either side, as Interrupted has it, and its
// value by half of that.
//
// Assumes at most one change, at once, and errors that go on alike across it. A season
// not taken off, a new detector or another room is found as a change too.
//
// Interval: credible. Asked for 95 %, where a fall to a fifth is found, First to Last
// hold the first whole day in 96 to 100 % of series of 30 to 365 days, and the ratio's
// limits the ratio in 89 to 100 %; of a fall to a half in 365 days, 92 to 99 % and 91 to
// 99 %. A fall to a half within 60 days is seldom found, in 2 to 21 %, and those that are
// have their day held in 70 to 100 % and their ratio in 46 to 95 %: what was found by
// luck is too large. A fall to a fifth is found in 57 to 100 %, to a half within 365 days
// in all where days do not resemble each other and in 18 to 29 % where their correlation
// is 0.9. Where there is no change, one is found in at most 2 % of series with
// correlations of 0 to 0.9 from day to day, with and without noise, and in up to 5.5 % of
// weather whose shocks are skewed. Of homes of a mass balance measured 20 to 90 days a
// side, a fan of 60 to 99 % is found in 38 %, and a change by mistake in 8 % where
// nothing was done; First to Last, asked for 95 %, then hold the day in 77.4 % of the
// fans found, in 64.0 % of those of 60 to 75 % and in 85.4 % of those of 90 to 99 %, so
// look some days further on either side and go by a written day where there is one: see
// COVERAGE-homes.md, with what Compare then says. Of 400 of those homes with nothing done
// (measured once) a change was found in 8 % by a monitor in the living room, in 13 % by
// any of those in two or three rooms, each searched by itself, and in 8 % as records of
// one home; with two monitors in each room in 16 % and 7 %.
//
// Notes: no-change-found, second-candidate, at-the-edge, season-not-given, days-missing,
// below-limit, unbounded.
//
// Source: Smith 1975, Biometrika 62:407, for the posterior of a change point; Zellner
// and Siow 1980, Trab. Estad. 31:585, for a step in units of the spread; Westfall, Johnson
// and Utts 1997, Biometrika 84:419, for Bonferroni's rule as odds (all from memory).
func FindSwitch(days []Day, opt SwitchOptions) (Switch, error) {
	if err := checkPooling(&opt.Confidence); err != nil {
		return Switch{}, err
	}
	if opt.Records < 0 {
		return Switch{}, fmt.Errorf("one of %d records; give how many are searched, or 0 for one", opt.Records)
	}
	w, err := newSwitching(days, opt)
	if err != nil {
		return Switch{}, err
	}
	return w.result()
}

// switching is a series made ready for the search.
type switching struct {
	opt        SwitchOptions
	days       []Day
	y, at, one []float64
	from, to   int       // indices of the days looked at, to excluded
	prior      []float64 // log, of each day
}

func newSwitching(days []Day, opt SwitchOptions) (*switching, error) {
	if opt.Season != nil && len(opt.Season) != len(days) {
		return nil, fmt.Errorf("%d values of the season for %d days; give one each", len(opt.Season), len(days))
	}
	plain := make([]Day, len(days)) // the season travels as a covariate
	for i, d := range days {
		s := 0.0
		if opt.Season != nil {
			if s = opt.Season[i]; !(math.Abs(s) <= mostLog) {
				return nil, fmt.Errorf("a season of %v; it is of the logarithm, such as -0.3", s)
			}
		}
		plain[i] = Day{Day: d.Day, Mean: d.Mean, Below: d.Below, Covariates: []float64{s}}
	}
	if n := countBelow(days); n > 0 && n == len(days) {
		return nil, errAllBelow
	}
	ds, err := orderedDays(plain, 1)
	if err != nil {
		return nil, err
	}
	n := len(ds)
	if n < 2*LeastDaysASide {
		return nil, fmt.Errorf("%d days; to look for a change takes %d: measure on", n, 2*LeastDaysASide)
	}
	w := &switching{opt: opt, days: ds, y: make([]float64, n), at: make([]float64, n), one: make([]float64, n), prior: make([]float64, n)}
	sum := 0.0
	for i, d := range ds {
		w.y[i] = math.Log(d.Mean) - d.Covariates[0]
		w.at[i] = float64(d.Day - ds[0].Day)
		w.one[i] = 1
		sum += w.y[i]
	}
	size := 0.0
	for i := range w.y {
		w.y[i] -= sum / float64(n)
		size += w.y[i] * w.y[i]
	}
	if !(size > 1e-16*float64(n)) {
		return nil, fmt.Errorf("the %d days are all alike, and a record without any scatter is not a monitor's", n)
	}
	w.from, w.to = LeastDaysASide, n-LeastDaysASide+1
	if opt.From != 0 || opt.To != 0 {
		if opt.From > opt.To {
			return nil, fmt.Errorf("a change between day %d and day %d; the first is not after the second", opt.From, opt.To)
		}
		for w.from < w.to && ds[w.from].Day < opt.From {
			w.from++
		}
		// A change in a gap shows on the first day after it.
		for w.to > w.from && ds[w.to-2].Day >= opt.To {
			w.to--
		}
	}
	if w.from >= w.to {
		return nil, fmt.Errorf("no day between the two leaves %d days measured on either side; look further out, or measure on", LeastDaysASide)
	}
	for c := w.from; c < w.to; c++ {
		first, last := w.span(c)
		w.prior[c] = math.Log(float64(last - first + 1))
	}
	return w, nil
}

// span is the days that a change may have been on which shows first on day c of the
// record.
func (w *switching) span(c int) (first, last int) {
	first, last = w.days[c-1].Day+1, w.days[c].Day
	if w.opt.From != 0 || w.opt.To != 0 {
		first, last = max(first, w.opt.From), min(last, w.opt.To)
		if last < first {
			first = last
		}
	}
	return first, last
}

// steps are the products aᵀV⁻¹s of the step that begins on each day, with a series of
// ones, the values, itself, and the step that began the day before.
type steps struct{ one, y, self, last []float64 }

// stepsOf goes through the record backwards. From its first day on, the innovations of
// a step are e → (1 − f) + f(1 − k)e, whatever day it began on, and begin with 1. So
// what is still to come of a sum of their products with given numbers is a straight line
// in e, and of their squares a parabola, and each day's is made of the next one's.
func stepsOf(f serial.Filter, one, y []float64) steps {
	n := len(y)
	all := make([]float64, 4*n)
	s := steps{all[:n], all[n : 2*n], all[2*n : 3*n], all[3*n:]}
	var o0, o1, y0, y1, s0, s1, s2 float64 // o0 + o1·e and so on
	for i := n - 1; i >= 0; i-- {
		if i < n-1 {
			a := 1 - f.Fall[i+1]
			b := f.Fall[i+1] * (1 - f.Gain[i])
			o0, o1 = o0+o1*a, o1*b
			y0, y1 = y0+y1*a, y1*b
			s0, s1, s2 = s0+s1*a+s2*a*a, b*(s1+2*a*s2), s2*b*b
		}
		o1 += f.Weight[i] * one[i]
		y1 += f.Weight[i] * y[i]
		s2 += f.Weight[i]
		s.one[i], s.y[i], s.self[i] = o0+o1, y0+y1, s0+s1+s2
		if i > 0 {
			e := 1 - f.Fall[i]*f.Gain[i-1] // what is left of the step of the day before
			s.last[i] = s0 + s1*(1+e)/2 + s2*e
		}
	}
	return s
}

// looked is the record at one correlation time and share of noise.
type looked struct {
	none float64                     // log marginal likelihood without a step
	days [][len(dayShares)]candidate // of each day from w.from on, and share of the day before
}

// candidate is a step on one day: log marginal likelihood, and the step by
// generalized least squares.
type candidate struct{ logl, step, se float64 }

func (w *switching) look(times serial.Times, p serial.Place) looked {
	f := times.Filter(p.Tau, p.Share)
	one, y := f.Innovations(w.one), f.Innovations(w.y)
	var a, u, q float64
	for i, weight := range f.Weight {
		a += weight * one[i] * one[i]
		u += weight * one[i] * y[i]
		q += weight * y[i] * y[i]
	}
	syy := q - u*u/a
	n := float64(len(w.y))
	base := logWeight(-(f.LogDet+math.Log(a))/2, p.Tau)
	l := looked{none: base - (n-1)/2*math.Log(syy), days: make([][len(dayShares)]candidate, w.to-w.from)}
	s := stepsOf(f, one, y)
	for c := w.from; c < w.to; c++ {
		// The step of the day before and that of day c, in the shares of the day.
		var terms [len(stepSpreads) * len(dayShares)]float64
		for j, share := range dayShares {
			rest := 1 - share
			one := rest*s.one[c] + share*s.one[c-1]
			sss := rest*rest*s.self[c] + 2*rest*share*s.last[c] + share*share*s.self[c-1] - one*one/a
			ssy := rest*s.y[c] + share*s.y[c-1] - one*u/a
			these := terms[j*len(stepSpreads):][:len(stepSpreads)]
			for i, g := range stepSpreads {
				left := max(syy-ssy*ssy/(sss+1/g), 1e-14*syy)
				these[i] = base - math.Log1p(g*sss)/2 - (n-1)/2*math.Log(left)
			}
			left := max(syy-ssy*ssy/sss, 1e-14*syy)
			l.days[c-w.from][j] = candidate{logMean(these), ssy / sss, math.Sqrt(left / (n - 2) / sss)}
		}
	}
	return l
}

// logMean is the logarithm of the mean of what these are the logarithms of.
func logMean(x []float64) float64 {
	top := slices.Max(x)
	sum := 0.0
	for _, v := range x {
		sum += math.Exp(v - top)
	}
	return top + math.Log(sum/float64(len(x)))
}

func (w *switching) result() (Switch, error) {
	times, err := serial.NewTimes(w.at)
	if err != nil {
		return Switch{}, err
	}
	all := make([]looked, len(places))
	none := make([]float64, len(places))
	for i, p := range places {
		all[i] = w.look(times, p)
		none[i] = all[i].none
	}
	m := w.to - w.from
	day := make([]float64, m) // log posterior, then posterior, of each
	terms := make([]float64, 0, len(places)*len(dayShares))
	whole := 0.0
	for c := range m {
		terms = terms[:0]
		for i := range all {
			for _, k := range all[i].days[c] {
				terms = append(terms, k.logl)
			}
		}
		day[c] = logMean(terms) + w.prior[w.from+c]
		first, last := w.span(w.from + c)
		whole += float64(last - first + 1)
	}
	top := slices.Max(day)
	total := 0.0
	for c := range day {
		total += math.Exp(day[c] - top)
	}
	logB := top + math.Log(total) - math.Log(whole) - logMean(none)
	if math.IsNaN(logB) || math.IsInf(logB, 0) {
		return Switch{}, fmt.Errorf("no likelihood can be had of these days: look at the highest and lowest ones")
	}
	r := Switch{Probability: probabilityOf(logB, w.opt.Records), Days: len(w.days)}
	r.Found = r.Probability >= FoundAt
	var parts []serial.Part
	for c := range day {
		prior := w.prior[w.from+c]
		for i := range all {
			for _, k := range all[i].days[c] {
				if k.logl+prior > top-8 {
					parts = append(parts, serial.Part{LogWeight: k.logl + prior, Mean: k.step, SE: k.se})
				}
			}
		}
		day[c] = math.Exp(day[c]-top) / total
	}
	l, err := limitsOf(serial.NewMixture(weightiest(parts), float64(len(w.y)-2)), w.opt.Confidence)
	if err != nil {
		return r, err
	}
	best := w.where(&r, day)
	w.describe(&r, day, best)
	down, up := w.rooms(r.Day)
	l = limits{l.mid + (up-down)/2, l.lower - down, l.upper + up}
	r.Ratio, err = l.ratio(analysis.Estimate{Quantity: "ratio after/before", Confidence: w.opt.Confidence, Kind: analysis.CredibleInterval,
		N: len(w.days), Method: ChangePointMethod, Notes: slices.Clone(r.Notes)})
	return r, err
}

// probabilityOf is that of a change by its ratio of likelihoods, whose logarithm is given,
// of one of so many records.
func probabilityOf(logB float64, records int) float64 {
	return 1 / (1 + float64(max(records, 1))*math.Exp(-logB))
}

// rooms are how far down the ratio may lie for the days below their limit after a
// change, and how far up for those before it, in logs.
func (w *switching) rooms(change int) (down, up float64) {
	var sum, n [2]float64
	for _, d := range w.days {
		k := side(d.Day >= change)
		sum[k] += d.room()
		n[k]++
	}
	return sum[1] / n[1], sum[0] / n[0]
}

// mostParts is how many parts of the mixture of the ratio are kept: what lies beyond
// would change no digit that is shown.
const mostParts = 1000

// weightiest are those parts that together have all but a ten thousandth of the weight.
func weightiest(parts []serial.Part) []serial.Part {
	slices.SortStableFunc(parts, func(a, b serial.Part) int { return cmp.Compare(b.LogWeight, a.LogWeight) })
	total, sum := 0.0, 0.0
	for _, p := range parts {
		total += math.Exp(p.LogWeight - parts[0].LogWeight)
	}
	for i, p := range parts {
		if sum += math.Exp(p.LogWeight - parts[0].LogWeight); sum >= (1-1e-4)*total || i+1 == mostParts {
			return parts[:i+1]
		}
	}
	return parts
}

// where fills in the day, its interval and a second candidate, from the posterior of
// each day of the record looked at. It returns the index of the best.
func (w *switching) where(r *Switch, day []float64) int {
	// By the day, not by its gap: a day after a long gap is not the likelier for it.
	best := 0
	for c := range day {
		if day[c] > day[best] {
			best = c
		}
	}
	r.Day, r.Best = w.days[w.from+best].Day, day[best]
	// The fewest days in a row: both ends go on together.
	fewest, end, sum := math.MaxInt, 0, 0.0
	for begin := range day {
		for end < len(day) && sum < w.opt.Confidence {
			sum += day[end]
			end++
		}
		if sum < w.opt.Confidence && begin > 0 {
			break
		}
		first, _ := w.span(w.from + begin)
		_, last := w.span(w.from + end - 1)
		if last-first < fewest {
			fewest, r.First, r.Last = last-first, first, last
		}
		sum -= day[begin]
	}
	r.First, r.Last = min(r.First, r.Day), max(r.Last, r.Day)
	about := func(c int) (sum float64) {
		for i, p := range day {
			if d := w.days[w.from+i].Day - w.days[w.from+c].Day; 2*d < apartDays && 2*d > -apartDays {
				sum += p
			}
		}
		return sum
	}
	second := -1
	for c := range day {
		if d := w.days[w.from+c].Day - r.Day; (d >= apartDays || d <= -apartDays) && (second < 0 || day[c] > day[second]) {
			second = c
		}
	}
	if second >= 0 && about(second) >= nearlyAsGood*about(best) {
		r.Second = &Candidate{w.days[w.from+second].Day, day[second]}
	}
	return best
}

func (w *switching) describe(r *Switch, day []float64, best int) {
	note := func(code, format string, args ...any) {
		r.Notes = append(r.Notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	if !r.Found {
		note("no-change-found", "the probability of any change is %.2g, and one is called found from %v on: the day and the ratio are a guess; if a system was switched on, look whether it ran", r.Probability, FoundAt)
	}
	if r.Second != nil {
		note("second-candidate", "%s is nearly as good a day as %s: look which of the two it was, or whether there were two changes", dateOf(r.Second.Day), dateOf(r.Day))
	}
	if first, last := w.days[w.from].Day, w.days[w.to-1].Day; r.Found && (r.First <= first || r.Last >= last) {
		note("at-the-edge", "the change may lie at the edge of the days looked at (%s to %s); look further out, or measure on", dateOf(first), dateOf(last))
	}
	if span := w.days[len(w.days)-1].Day - w.days[0].Day; w.opt.Season == nil && span > seasonSpan {
		note("season-not-given", "the record lasts %d days, in which the season alone changes the level; take it off before looking for a change", span)
	}
	if n := countBelow(w.days); n > 0 {
		note("below-limit", "%d of the %d days lie below the monitor's limit and are looked at as the limit, so that the change looks smaller than it is", n, len(w.days))
	}
	if first, last := w.span(w.from + best); last > first {
		note("days-missing", "no day was measured from %s to the day before %s, and the change may have been on any of them", dateOf(first), dateOf(last))
	}
}

// seasonSpan is from how many days on a season is asked about.
const seasonSpan = 60
