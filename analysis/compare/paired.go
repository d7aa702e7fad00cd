package compare

import (
	"fmt"
	"math"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// WelchMethod is the key of two groups in the list of methods.
const WelchMethod = "welch-log-t"

// Contrast of homes with a system against homes without.
type Contrast struct {
	With, Without int
	Matched       bool
	Ratio         analysis.Estimate // of geometric means, with/without; of pairs, the geometric mean of their ratios
	Reduction     analysis.Estimate // 100·(1 − Ratio), %
	Median        analysis.Estimate // the same by ranks
	DF            float64           // of Student's t
	Notes         []analysis.Note   // all that its estimates carry
}

// ContrastOptions of WithWithout. The zero value is the documented default.
type ContrastOptions struct {
	Confidence float64 // of intervals; 0: 0.95
}

// WithWithout holds homes with a system against homes without: matched, where home i
// of the one is the partner of home i of the other (or the same home), or two groups
// of whatever sizes. Values are of like periods, Bq/m³.
//
// Of matched homes it gives what Pool gives of log ratios alone, by Student's t and by
// ranks. Of two groups it estimates the ratio of their geometric means, with over
// without, and by what factor one lies below the other in the middle.
//
// Formula. x̄ − ȳ ± t·√(s²ₓ/m + s²ᵧ/n) of logarithms, t Student's with
// (s²ₓ/m + s²ᵧ/n)²/(s⁴ₓ/(m²(m − 1)) + s⁴ᵧ/(n²(n − 1))) degrees of freedom, Welch's; e to
// that.
//
// Assumes independent homes with logarithms about normal in each group, and that the
// groups would be alike without the system. They seldom are: systems go where radon is
// high, so that the ratio makes a system look worse than it is.
//
// Interval: confidence, approximate. Asked for 95 %, it holds 94 to 96 % where logarithms
// are normal, of three homes a group on, and 92.5 to 97.5 % where they are exponential.
//
// Notes: unmatched, few-homes, unbounded.
//
// Source: Welch 1947, Biometrika 34:28 (from memory), on logarithms.
func WithWithout(with, without []float64, matched bool, opt ContrastOptions) (Contrast, error) {
	if err := checkPooling(&opt.Confidence); err != nil {
		return Contrast{}, err
	}
	x, err := logsOf("with", with)
	if err != nil {
		return Contrast{}, err
	}
	y, err := logsOf("without", without)
	if err != nil {
		return Contrast{}, err
	}
	r := Contrast{With: len(x), Without: len(y), Matched: matched}
	e := analysis.Estimate{Quantity: "ratio with/without", Confidence: opt.Confidence, N: len(x) + len(y), Method: WelchMethod}
	m := e
	m.Quantity, m.Method = "middle ratio with/without", ShiftMethod
	var t, ranks limits
	if matched {
		if len(x) != len(y) {
			return r, fmt.Errorf("%d homes with the system and %d without cannot be matched pairs; give each its partner, or compare them as groups", len(x), len(y))
		}
		d := make([]float64, len(x))
		for i := range x {
			d[i] = x[i] - y[i]
		}
		if len(d) < 2 {
			return r, fmt.Errorf("one pair of homes says nothing of how pairs differ; give two or more")
		}
		e.N, e.Method, m.N, m.Method = len(d), PairedTMethod, len(d), HodgesLehmannMethod
		r.DF = float64(len(d) - 1)
		t = pairedT(d, opt.Confidence)
		ranks, m.Notes = hodgesLehmann(d, opt.Confidence)
	} else {
		if len(x) < 2 || len(y) < 2 {
			return r, fmt.Errorf("%d homes with the system and %d without; a group's spread takes two homes or more", len(x), len(y))
		}
		t, r.DF = welch(x, y, opt.Confidence)
		ranks, m.Notes = hodgesLehmannShift(x, y, opt.Confidence)
		e.Notes = []analysis.Note{{Code: "unmatched", Text: "the two groups are other homes, and systems go where radon is high; match homes by what they had before, or compare each home with itself"}}
	}
	if t.upper-t.lower <= leastSpread {
		return r, fmt.Errorf("the homes do not differ among each other at all, so nothing says how far their ratio can be trusted; look whether they were rounded or filled in")
	}
	if r.Ratio, err = t.ratio(e); err != nil {
		return r, err
	}
	r.Reduction = ReductionOf(r.Ratio)
	if r.Median, err = ranks.ratio(m); err != nil {
		return r, err
	}
	r.Notes = append(append(r.Notes, r.Ratio.Notes...), r.Median.Notes...)
	return r, r.Reduction.Check()
}

// logsOf are the logarithms of the values of a group.
func logsOf(group string, values []float64) ([]float64, error) {
	logs := make([]float64, len(values))
	for i, v := range values {
		if !(v > 0) || math.IsInf(v, 0) {
			return nil, fmt.Errorf("home %d %s the system: %v Bq/m³ has no logarithm; give a positive mean, and for a result below a detection limit the limit", i+1, group, v)
		}
		logs[i] = math.Log(v)
	}
	return logs, nil
}

// welch is Welch's interval of the difference of two means.
func welch(x, y []float64, confidence float64) (l limits, df float64) {
	meanX, sdX := numeric.Moments(x)
	meanY, sdY := numeric.Moments(y)
	m, n := float64(len(x)), float64(len(y))
	a, b := sdX*sdX/m, sdY*sdY/n
	mid := meanX - meanY
	if a+b == 0 {
		return limits{mid, mid, mid}, m + n - 2
	}
	a, b = a/(a+b), b/(a+b)
	df = 1 / (a*a/(m-1) + b*b/(n-1))
	half := tHalf(df, confidence) * math.Hypot(sdX/math.Sqrt(m), sdY/math.Sqrt(n))
	return limits{mid, mid - half, mid + half}, df
}
