// Package quality answers: do the detectors agree with each other, and so how far can
// one of them be trusted?
package quality

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/mathext"

	"radonyear/analysis"
)

// Pair is two detectors that hung side by side over the same time.
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
// order is; over the control limit, as one in a hundred is. Not judged: a result below
// its detection limit.
const (
	Within      Standing = "within"
	OverWarning Standing = "over warning"
	OverControl Standing = "over control"
	NotJudged   Standing = "not judged"
)

// Judged is a pair against the limits.
type Judged struct {
	Pair
	Mean, Difference float64 // Bq/m³; A less B
	Relative         float64 // |A − B| over Mean
	Standing         Standing
}

// DuplicatesResult is how well pairs agree.
type DuplicatesResult struct {
	Pairs     []Judged
	Used      int                // pairs of two numbers
	Precision *analysis.Estimate // coefficient of variation of one detector, %; nil where no pair can be used
	Warnings  int                // pairs over the warning limit and not over control
	Controls  int                // over the control limit
	Notes     []analysis.Note
}

// DuplicatesMethod is the key of Duplicates in the list of methods.
const DuplicatesMethod = "duplicates"

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

// Duplicates holds pairs of detectors that hung side by side against limits, and says
// how precise one detector is.
//
// It estimates the coefficient of variation of a single detector's result, %.
//
// Formula. For n pairs with both results known, d = ln A − ln B and σ² = Σd²/(2n); the
// value is 100·√(e^(σ²) − 1), and its limits are those with σ²·n/χ² in place of σ², χ²
// the quantiles of chi-squared with n degrees of freedom. The limits of a pair are on
// |A − B| over its mean: warning 28 % and control 36 % from 148 Bq/m³ on, 50 and 67 % from
// 74 on, and below that a difference of 37 Bq/m³.
//
// Assumes that the two of a pair differ by chance alone, alike at all levels and as
// log-normal errors do; where one kind of detector reads higher than the other, that is in
// the spread too. What all detectors are off by together no pair can show.
//
// Interval: confidence, exact where the errors are log-normal.
//
// Notes: few-pairs, limit-pairs, over-control, identical-pairs, unbounded.
//
// Source: ANSI/AARST MS-QA 2019 for the limits, in pCi/L there; Bland and Altman 1986,
// Lancet 327:307 (from memory), for the spread from differences.
func Duplicates(pairs []Pair, opt Options) (DuplicatesResult, error) {
	if opt.Confidence == 0 {
		opt.Confidence = 0.95
	}
	if !(opt.Confidence >= 0.5 && opt.Confidence < 1) {
		return DuplicatesResult{}, fmt.Errorf("a confidence of %v; it lies between 0.5 and 1, such as 0.95", opt.Confidence)
	}
	if len(pairs) == 0 {
		return DuplicatesResult{}, fmt.Errorf("no pair of detectors side by side")
	}
	var r DuplicatesResult
	sum, limits := 0.0, 0
	for _, p := range pairs {
		for _, x := range []float64{p.A, p.B} {
			if !(x >= 0) || math.IsInf(x, 0) {
				return r, fmt.Errorf("home %q: a result of %v Bq/m³", p.Home, x)
			}
		}
		j := Judged{Pair: p, Mean: (p.A + p.B) / 2, Difference: p.A - p.B, Standing: NotJudged}
		if p.ABelow || p.BBelow || p.A == 0 || p.B == 0 {
			limits++
			r.Pairs = append(r.Pairs, j)
			continue
		}
		r.Used++
		d := math.Log(p.A) - math.Log(p.B)
		sum += d * d
		j.Relative = math.Abs(j.Difference) / j.Mean
		warning, control := Limits(j.Mean)
		switch {
		case j.Relative > control:
			j.Standing = OverControl
			r.Controls++
		case j.Relative > warning:
			j.Standing = OverWarning
			r.Warnings++
		default:
			j.Standing = Within
		}
		r.Pairs = append(r.Pairs, j)
	}
	note := func(code, format string, args ...any) {
		r.Notes = append(r.Notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
	}
	if limits > 0 {
		note("limit-pairs", "%d of %d pairs hold a result below its detection limit or of zero and are not judged", limits, len(pairs))
	}
	if r.Controls > 0 {
		note("over-control", "%d of %d pairs differ by more than one pair in a hundred of detectors in order does; do not report these homes before the cause is found", r.Controls, r.Used)
	}
	const few = 10
	if r.Used > 0 && r.Used < few {
		note("few-pairs", "%d pairs say little of how precise a detector is; common practice is a pair in every tenth home", r.Used)
	}
	switch {
	case r.Used > 0 && sum == 0:
		note("identical-pairs", "the two of every pair are the same number, which two detectors hardly are; look whether one was copied from the other")
	case r.Used > 0:
		n := float64(r.Used)
		variance := sum / (2 * n)
		percent := func(v float64) float64 { return 100 * math.Sqrt(math.Expm1(v)) }
		chi := func(p float64) float64 { return 2 * mathext.GammaIncRegInv(n/2, p) }
		e := analysis.Estimate{
			Quantity: "precision of one detector", Unit: "%", Value: percent(variance),
			Lower: percent(variance * n / chi((1+opt.Confidence)/2)), Upper: percent(variance * n / chi((1-opt.Confidence)/2)),
			Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: r.Used, Method: DuplicatesMethod,
		}
		if math.IsInf(e.Value, 0) {
			return r, fmt.Errorf("results so far apart that no precision can be given; look for a pair in two units")
		}
		if math.IsInf(e.Upper, 1) {
			e.Notes = append(e.Notes, analysis.Note{Code: "unbounded", Text: "so few pairs give no upper limit"})
		}
		r.Precision = &e
	}
	return r, nil
}
