package lognormal

import (
	"cmp"
	"math"
	"slices"

	"radonyear/analysis/internal/numeric"
)

// PlotResult is a log-normal probability plot: values against the normal quantiles
// of their ranks, and the line of the fit with limits about it. On such axes values
// from a log-normal distribution lie about a straight line.
type PlotResult struct {
	N          int
	Below      int       // values that are no points, since only an upper bound is known
	Points     []Ranking // in order of value
	Line       []LinePoint
	Confidence float64
}

// Ranking is one value in its place.
type Ranking struct {
	Z            float64 // the standard normal quantile of its rank
	Value        float64 // Bq/m³; the geometric middle of Lower and Upper where these differ
	Lower, Upper float64
}

// LinePoint is the fitted quantile at Z, with limits.
type LinePoint struct {
	Z                   float64
	Value, Lower, Upper float64 // Bq/m³
}

// rankingConstant is the c of ranks (i − c)/(n + 1 − 2c): Filliben's medians.
const rankingConstant = 0.3175

// Plot estimates the share of homes below each value, from 0 to 1, where some are only
// known to lie below limits, and the fitted line with its limits, Bq/m³.
//
// Formula. Of n values in falling order, the rank of the i-th, if it is known, is
// (n−c+1)/(n−2c+1) · Π (n−j−c+1)/(n−j−c+2) over the known values j ≤ i, with c =
// 0.3175: the product-limit estimate of the share below it, made symmetric. Where
// all values are known this is (i′ − c)/(n − 2c + 1) of the i′-th from below, which are
// Filliben's ranks but for the two ends. A limit that is the same number as a known
// value counts as below it; a value between bounds has the rank of their geometric
// middle. The line and its limits are the quantiles of Fit, as far down as it gives them.
//
// Assumes what Fit assumes, and limits that do not depend on the values.
//
// Interval: that of each quantile by itself, so that of many points some lie outside
// even where the fit is right.
//
// Notes: none.
//
// Source: Michael and Schucany 1986, in D'Agostino and Stephens, Goodness-of-Fit
// Techniques, section 11.2 (from memory), turned round for limits from above.
func Plot(obs []Observation, opt FitOptions) (PlotResult, error) {
	if err := firstError(opt.check(), checkAll(obs)); err != nil {
		return PlotResult{}, err
	}
	r := PlotResult{N: len(obs), Confidence: opt.Confidence}
	r.Points = rankings(obs, rankingConstant)
	r.Below = r.N - len(r.Points)
	// The line goes as far as the values do, and a little on.
	end := 2.0
	for _, p := range r.Points {
		end = max(end, math.Abs(p.Z)+0.2)
	}
	const steps = 24
	opt.Levels, opt.Quantiles = nil, nil
	for i := range steps + 1 {
		opt.Quantiles = append(opt.Quantiles, numeric.Phi(end*(2*float64(i)/steps-1)))
	}
	fit, err := Fit(obs, opt)
	if err != nil {
		return r, err
	}
	for i, p := range opt.Quantiles {
		for _, q := range fit.Quantiles { // without those of which Fit says nothing
			if q.P == p {
				r.Line = append(r.Line, LinePoint{end * (2*float64(i)/steps - 1), q.Quantile.Value, q.Quantile.Lower, q.Quantile.Upper})
			}
		}
	}
	return r, nil
}

// rankings are the known values with their ranks, in rising order.
func rankings(obs []Observation, c float64) []Ranking {
	type value struct {
		Ranking
		known bool
	}
	x := make([]value, len(obs))
	for i, o := range obs {
		x[i] = value{Ranking{Value: math.Sqrt(o.Lower) * math.Sqrt(o.Upper), Lower: o.Lower, Upper: o.Upper}, true}
		switch {
		case o.Lower == o.Upper:
			x[i].Value = o.Lower
		case o.Lower == 0:
			x[i].Value, x[i].known = o.Upper, false
		case math.IsInf(o.Upper, 1):
			x[i].Value = o.Lower
		}
	}
	slices.SortFunc(x, func(a, b value) int { // falling; a limit after the values it equals
		if d := cmp.Compare(b.Value, a.Value); d != 0 {
			return d
		}
		switch {
		case a.known == b.known:
			return cmp.Or(cmp.Compare(b.Lower, a.Lower), cmp.Compare(b.Upper, a.Upper))
		case a.known:
			return -1
		}
		return 1
	})
	n := float64(len(x))
	share := (n - c + 1) / (n - 2*c + 1)
	var out []Ranking
	for i, v := range x {
		if !v.known {
			continue
		}
		left := n - float64(i+1) - c
		share *= (left + 1) / (left + 2)
		v.Z = numeric.NormalQuantile(share)
		out = append(out, v.Ranking)
	}
	slices.Reverse(out)
	return out
}
