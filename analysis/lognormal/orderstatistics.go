package lognormal

import (
	"fmt"
	"math"
	"slices"

	"radonyear/analysis/internal/numeric"
)

// OrderStatisticsResult is a mean by regression on order statistics.
type OrderStatisticsResult struct {
	N, Below       int
	Mean           float64 // Bq/m³
	MeanLog, SDLog float64 // where the line lies at the middle, and its slope, in natural logarithms
}

// OrderStatistics estimates the arithmetic mean, Bq/m³, where some values lie below
// limits, by regression on order statistics: the known values enter as they stand, and
// only those below limits are filled in from a log-normal line through the known ones. So
// it rests less on the shape of the highest values than the fit does, and stands beside it
// as information: where the two lie far apart, the shape makes one of them.
//
// Formula. Of the limits L₁ < … < Lₘ, with L₀ = 0, Aⱼ known values lie from Lⱼ up to under
// Lⱼ₊₁, Bⱼ values are known to lie under Lⱼ, and Cⱼ have the limit Lⱼ. The share at Lⱼ or
// above is pⱼ = pⱼ₊₁ + (1 − pⱼ₊₁)·Aⱼ/(Aⱼ + Bⱼ), from pₘ₊₁ = 0 down to p₁, and p₀ = 1. The
// rank of the i-th of the Aⱼ from below is 1 − pⱼ + (pⱼ − pⱼ₊₁)·i/(Aⱼ + 1), that of the
// i-th of the Cⱼ is (1 − pⱼ)·i/(Cⱼ + 1). The line is ln x = a + b·z by least squares over
// the known values, z being the standard normal quantiles of their ranks; a value below a
// limit is taken as e^(a + b·z) at its own rank, and the mean is the plain one of all n. A
// value may so be taken as above its own limit, where few lie under a low one; it is left
// there, as published.
//
// Assumes independent values, known exactly or below limits that do not depend on the
// value, at most 80 % of them below; and that what lies below goes on as the known values
// do, log-normally. Values between bounds or with an error have no rank here.
//
// Interval: none. Of 20 log-normal values with half below a limit and a geometric standard
// deviation of 2.5 it is some 1 % too low on average, and varies as much as the plain mean
// would if all of them were known.
//
// Notes: none.
//
// Source: Hirsch and Stedinger 1987, Water Resour. Res. 23:715, and Helsel and Cohn 1988,
// Water Resour. Res. 24:1997, for the ranks and the filling in; the denominators with + 1
// are Weibull's (all from memory). The probability plot has other ranks, because it is to
// show Filliben's where all values are known; they give a value below a limit no place of
// its own, and this method needs one.
func OrderStatistics(obs []Observation) (OrderStatisticsResult, error) {
	if err := checkAll(obs); err != nil {
		return OrderStatisticsResult{}, err
	}
	r := OrderStatisticsResult{N: len(obs)}
	var known, limits []float64
	for i, o := range obs {
		switch {
		case o.Error > 0 || !o.exact() && o.Lower > 0:
			return r, fmt.Errorf("value %d is known with an error, between bounds or beyond a range; regression on order statistics takes values that are known exactly or lie below a limit: leave it to the fit", i+1)
		case o.exact():
			known = append(known, o.Lower)
		default:
			limits = append(limits, o.Upper)
		}
	}
	r.Below = len(limits)
	if below := float64(r.Below) / float64(r.N); below > mostly {
		return r, fmt.Errorf("%.0f %% of the values lie below their limits; a mean by order statistics would be made up of what was not seen: a more sensitive detector would tell", 100*below)
	}
	slices.Sort(known)
	slices.Sort(limits)
	if known[0] == known[len(known)-1] {
		return r, fmt.Errorf("all %d known values are %v, and no line goes through them: if they were rounded, more digits are needed", len(known), known[0])
	}
	knownZ, limitZ := orderRanks(known, limits)

	var sz, sy numeric.Sum
	for i, x := range known {
		sz.Add(knownZ[i])
		sy.Add(math.Log(x))
	}
	k := float64(len(known))
	mz, my := sz.Value()/k, sy.Value()/k
	var zz, zy numeric.Sum
	for i, x := range known {
		d := knownZ[i] - mz
		zz.Add(d * d)
		zy.Add(d * (math.Log(x) - my))
	}
	r.SDLog = zy.Value() / zz.Value()
	r.MeanLog = my - r.SDLog*mz
	var sum numeric.Sum
	for _, x := range known {
		sum.Add(x / float64(r.N))
	}
	for _, z := range limitZ {
		sum.Add(math.Exp(r.MeanLog+r.SDLog*z) / float64(r.N))
	}
	r.Mean = sum.Value()
	if !(r.Mean > 0) || math.IsInf(r.Mean, 0) || math.IsNaN(r.Mean) {
		return r, fmt.Errorf("the mean by order statistics is beyond what a number can hold: the values spread too widely")
	}
	return r, nil
}

// orderRanks are the normal quantiles of the ranks of known values and of values below
// limits, each in rising order; see OrderStatistics.
func orderRanks(known, limits []float64) (knownZ, limitZ []float64) {
	knownZ, limitZ = make([]float64, len(known)), make([]float64, len(limits))
	above := 0.0                        // pⱼ₊₁
	top, end := len(known), len(limits) // those under Lⱼ₊₁ of the known, and those of a limit under it
	for {
		// Down to the next limit, or at last to zero.
		share, from, first := 1.0, 0, 0
		if end > 0 {
			limit := limits[end-1]
			from, _ = slices.BinarySearch(known, limit)
			first, _ = slices.BinarySearch(limits, limit)
			a := float64(top - from)
			share = above + (1-above)*a/(a+float64(from+end))
		}
		for i := from; i < top; i++ {
			knownZ[i] = numeric.NormalQuantile(1 - share + (share-above)*float64(i-from+1)/float64(top-from+1))
		}
		for i := first; i < end; i++ {
			limitZ[i] = numeric.NormalQuantile((1 - share) * float64(i-first+1) / float64(end-first+1))
		}
		if end == 0 {
			return knownZ, limitZ
		}
		above, top, end = share, from, first
	}
}
