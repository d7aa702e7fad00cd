// Package quality answers: do the detectors agree with each other, and so how far can
// one of them be trusted?
package quality

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
)

// Pair is two detectors that hung side by side over the same time: A is a home's own,
// B its duplicate.
type Pair struct {
	analysis.Place
	A, B           float64 // Bq/m³; the limit where below
	ABelow, BBelow bool    // below the detection limit
}

// Options of Duplicates. The zero value is the documented default.
type Options struct {
	Confidence float64 // 0: 0.95
}

// Standing is how a pair stands to the limits.
type Standing string

// Within the limits; over the warning limit, as one pair in twenty of detectors in
// order is; over the control limit, as one in a hundred is; over the difference that is
// allowed where a relative one says little. Open: below a detection limit lies both what
// would be within the limits and what would be over them.
const (
	Within         Standing = "within"
	OverWarning    Standing = "over warning"
	OverControl    Standing = "over control"
	OverDifference Standing = "over difference"
	Open           Standing = "open"
)

// Judged is a pair against the limits.
type Judged struct {
	Pair
	Mean, Difference float64 // Bq/m³; A less B. With a limit in the place of what lies below it
	Relative         float64 // |A − B| over Mean, 0 to 2
	Used             bool    // for the precision: two numbers above zero
	Standing         Standing
}

// Class is the pairs of means between From and To, Bq/m³, or all of them.
type Class struct {
	From, To                       float64 // To is +Inf for the highest and for all
	Pairs                          int
	Used                           int // of them, two numbers above zero
	Warnings, Controls, Difference int // over the limit so called, and not over one further out
	Open                           int
	Expected                       float64            // the coefficient of variation that the limits are made for, %; 0 where they are not
	Precision                      *analysis.Estimate // of one detector, %; nil where no pair can be used
}

// DuplicatesResult is how well pairs agree.
type DuplicatesResult struct {
	Pairs   []Judged
	All     Class
	Classes []Class            // by mean, those that hold a pair
	Ratio   *analysis.Estimate // geometric mean of A over B; nil of fewer than two pairs
	Notes   []analysis.Note
}

// The keys of Duplicates in the list of methods.
const (
	DuplicatesMethod = "duplicates"
	RatioMethod      = "duplicates-ratio"
)

// Where the limits change, Bq/m³: 4 and 2 pCi/L; and the difference allowed below, 1.
const (
	High            = 148
	Low             = 74
	LeastDifference = 37
)

// Limits are the relative differences, |A − B| over the mean, at which a pair of this
// mean (Bq/m³) is over the warning and the control limit. Below Low there is only one.
func Limits(mean float64) (warning, control float64) {
	switch {
	case mean >= High:
		return 0.28, 0.36
	case mean >= Low:
		return 0.50, 0.67
	}
	x := min(LeastDifference/mean, 2)
	return x, x
}

// stand is how two numbers stand to the limits.
func stand(a, b float64) Standing {
	mean, difference := a/2+b/2, math.Abs(a-b)
	if mean < Low {
		if difference > LeastDifference {
			return OverDifference
		}
		return Within
	}
	switch warning, control := Limits(mean); {
	case difference > control*mean:
		return OverControl
	case difference > warning*mean:
		return OverWarning
	}
	return Within
}

// severity orders standings.
var severity = map[Standing]int{Within: 0, OverWarning: 1, OverDifference: 2, OverControl: 3}

// judge holds a pair against the limits. Of a result below its detection limit nothing is
// known but that it lies between 0 and there: the pair stands as all such numbers would.
func judge(p Pair) Standing {
	switch {
	case p.ABelow && p.BBelow:
		// Any number below both may be what each measured, and so may nothing and a limit.
		if max(p.A, p.B) > LeastDifference {
			return Open
		}
		return Within
	case p.BBelow:
		p.A, p.B, p.ABelow = p.B, p.A, true
	}
	if !p.ABelow {
		return stand(p.A, p.B)
	}
	// Between the numbers at which the limits change or the two are equal, the further A is
	// from B the worse the pair: the ends and these numbers tell of all between.
	const below = 1 - 1e-9 // where the limits of the class below hold
	mildest, worst := OverControl, Within
	for _, a := range []float64{0, p.A, p.B, 2*High - p.B, below * (2*High - p.B), 2*Low - p.B, below * (2*Low - p.B)} {
		if !(a >= 0 && a <= p.A) {
			continue
		}
		s := stand(a, p.B)
		if severity[s] < severity[mildest] {
			mildest = s
		}
		if severity[s] > severity[worst] {
			worst = s
		}
	}
	if mildest == Within && worst != Within {
		return Open
	}
	return mildest
}

// Duplicates holds pairs of detectors that hung side by side against limits, and says
// how precise one detector is: the duplicates method. With it comes whether one of the two
// reads higher than the other as a rule: the duplicates-ratio method.
//
// It estimates the coefficient of variation of a single detector's result, %. And it gives
// the geometric mean of the ratio of a home's own detector to its duplicate, a ratio.
//
// Formula. For n pairs of two numbers above zero, d = ln A − ln B and σ² = Σd²/(2n); the
// value is 100·√(e^(σ²) − 1), and its limits are those with σ²·n/χ² in place of σ², χ²
// the quantiles of chi-squared with n degrees of freedom. The limits of a pair are on
// |A − B| over its mean: warning 28 % and control 36 % from 148 Bq/m³ on, 50 and 67 % from
// 74 on, and below that a difference of 37 Bq/m³. A result below its detection limit is
// taken for each number from 0 to there, and so are both of a pair. The ratio is the exponential of the mean of d,
// and its limits those of Student's t with n − 1 degrees of freedom.
//
// Assumes that the two of a pair differ by chance alone, alike at all levels and as
// log-normal errors do; where one of the two reads higher than the other as a rule, that
// is in the spread too. What all detectors are off by together no pair can show.
// The ratio allows for one of the two reading higher.
//
// Interval: confidence, exact where the errors are log-normal. An upper limit of the
// coefficient of variation over 1000 % is said to be none.
//
// Notes: few-pairs, open-pairs, over-control, imprecise, identical-pairs,
// steady-difference, unbounded.
//
// Source: ANSI/AARST MS-QA 2019, for the limits, in pCi/L there; Bland and Altman 1986,
// Lancet 327:307 (from memory), for the spread from differences and their mean.
func Duplicates(pairs []Pair, opt Options) (DuplicatesResult, error) {
	if err := analysis.CheckConfidence(&opt.Confidence); err != nil {
		return DuplicatesResult{}, err
	}
	if len(pairs) == 0 {
		return DuplicatesResult{}, fmt.Errorf("no pair of detectors side by side")
	}
	var r DuplicatesResult
	for _, p := range pairs {
		for _, x := range []float64{p.A, p.B} {
			if !(x >= 0) || math.IsInf(x, 0) {
				return DuplicatesResult{}, fmt.Errorf("home %q: a result of %v Bq/m³", p.Home, x)
			}
		}
		j := Judged{Pair: p, Mean: p.A/2 + p.B/2, Difference: p.A - p.B, Standing: judge(p)}
		if j.Mean > 0 {
			j.Relative = min(math.Abs(j.Difference)/j.Mean, 2) // the least numbers there are round
		}
		j.Used = !p.ABelow && !p.BBelow && p.A > 0 && p.B > 0
		r.Pairs = append(r.Pairs, j)
	}
	classes := []Class{{From: High, To: math.Inf(1), Expected: 10}, {From: Low, To: High, Expected: 18}, {To: Low}}
	all, err := opt.class(Class{To: math.Inf(1)}, r.Pairs)
	if err != nil {
		return DuplicatesResult{}, err
	}
	r.All = all
	for _, c := range classes {
		if c, err = opt.class(c, r.Pairs); err != nil {
			return DuplicatesResult{}, err
		}
		if c.Pairs > 0 {
			r.Classes = append(r.Classes, c)
		}
	}
	r.Ratio = opt.ratio(r.Pairs)
	r.note()
	return r, nil
}

// noUpper is the upper limit, %, from which on it says nothing of a detector.
const noUpper = 1000

// class counts the pairs of a class, and estimates their precision.
func (opt Options) class(c Class, pairs []Judged) (Class, error) {
	sum := 0.0
	for _, p := range pairs {
		if !(p.Mean >= c.From && p.Mean < c.To) {
			continue
		}
		c.Pairs++
		switch p.Standing {
		case OverWarning:
			c.Warnings++
		case OverControl:
			c.Controls++
		case OverDifference:
			c.Difference++
		case Open:
			c.Open++
		}
		if p.Used {
			c.Used++
			d := math.Log(p.A) - math.Log(p.B)
			sum += d * d
		}
	}
	if sum == 0 {
		return c, nil
	}
	n := float64(c.Used)
	variance := sum / (2 * n)
	percent := func(v float64) float64 { return 100 * math.Sqrt(math.Expm1(v)) }
	chi := func(p float64) float64 { return 2 * mathext.GammaIncRegInv(n/2, p) }
	e := analysis.Estimate{
		Quantity: "precision of one detector", Unit: "%", Value: percent(variance),
		Lower: percent(variance * n / chi((1+opt.Confidence)/2)), Upper: percent(variance * n / chi((1-opt.Confidence)/2)),
		Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: c.Used, Method: DuplicatesMethod,
	}
	if math.IsInf(e.Value, 0) || math.IsInf(e.Lower, 0) {
		return c, fmt.Errorf("results so far apart that no precision can be given; look for a pair in two units")
	}
	if e.Upper > noUpper {
		e.Upper = math.Inf(1)
		e.Notes = append(e.Notes, analysis.Note{Code: "unbounded", Text: "so few pairs give no upper limit"})
	}
	c.Precision = &e
	return c, nil
}

// ratio is the geometric mean of A over B.
func (opt Options) ratio(pairs []Judged) *analysis.Estimate {
	var n, mean, squares float64
	for _, p := range pairs {
		if p.Used {
			d := math.Log(p.A) - math.Log(p.B)
			n++
			step := d - mean
			mean += step / n
			squares += step * (d - mean)
		}
	}
	if n < 2 {
		return nil
	}
	half := distuv.StudentsT{Mu: 0, Sigma: 1, Nu: n - 1}.Quantile((1+opt.Confidence)/2) * math.Sqrt(squares/(n-1)/n)
	e := &analysis.Estimate{
		Quantity: "a home's own detector over its duplicate", Value: math.Exp(mean), Lower: math.Exp(mean - half), Upper: math.Exp(mean + half),
		Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: int(n), Method: RatioMethod,
	}
	if math.IsInf(e.Value, 0) {
		return nil
	}
	if math.IsInf(e.Upper, 1) {
		e.Notes = append(e.Notes, analysis.Note{Code: "unbounded", Text: "so few pairs give no upper limit"})
	}
	return e
}

// few is how many pairs say little.
const few = 10

// note says what changes how the result is to be read.
func (r *DuplicatesResult) note() {
	note := func(code, format string, args ...any) {
		r.Notes = append(r.Notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	of := func(n int) string {
		if n == 1 {
			return "1 pair"
		}
		return fmt.Sprintf("%d pairs", n)
	}
	where := func(c Class) string {
		if math.IsInf(c.To, 1) {
			return fmt.Sprintf("from %g Bq/m³ on", c.From)
		}
		return fmt.Sprintf("from %g to %g Bq/m³", c.From, c.To)
	}
	a := r.All
	if a.Controls > 0 {
		note("over-control", "%d of %s over the control limit, as one in a hundred is of detectors in order; look for the cause before the homes are reported", a.Controls, of(a.Pairs))
	}
	for _, c := range r.Classes {
		if p := c.Precision; p != nil && c.Used > 1 && c.Expected > 0 && p.Lower > c.Expected {
			note("imprecise", "%s, the limits are for detectors with a coefficient of variation of %g %%, and these have one of %.3g %%, %.3g at least: more pairs will be over them, and a home's result is as much less certain", where(c), c.Expected, p.Value, p.Lower)
		}
	}
	if a.Open > 0 {
		note("open-pairs", "%s cannot be judged, since a result below its detection limit may lie within the limits or over them; a longer test has a lower one", of(a.Open))
	}
	if a.Used > 0 && a.Precision == nil {
		note("identical-pairs", "the two of every pair are the same number, which two detectors hardly are; look whether one was copied from the other")
	}
	if a.Used > 0 && a.Used < few {
		verb := "say"
		if a.Used == 1 {
			verb = "says"
		}
		note("few-pairs", "%s %s little of how precise a detector is; common practice is a pair in every tenth home, and %d tell a factor of two", of(a.Used), verb, few)
	}
	if e := r.Ratio; e != nil && (e.Lower > 1 || e.Upper < 1) {
		way, by := "higher", 100*(e.Value-1)
		if e.Value < 1 {
			way, by = "lower", 100*(1-e.Value)
		}
		note("steady-difference", "a home's own detector reads %.2g %% %s than its duplicate as a rule; look for another batch, place or length, and take the precision for too coarse until then", by, way)
	}
}
