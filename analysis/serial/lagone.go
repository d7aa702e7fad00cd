package serial

import (
	"math"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// LagOneKey names the method of LagOne.
const LagOneKey = "lag-one-autocorrelation"

// LagOne estimates how much each reading resembles the one before it: the lag-one
// autocorrelation, from −1 to 1. It stands beside a mean as information, in a number
// that other programs give too; what the mean rests on is the correlation time, which
// knows noise and gaps. follows says whether the i-th value, from the second on, comes
// one step after the one before; nil: each does. It is false where no two do, where
// all values are the same, and where gaps leave a number beyond −1 or 1.
//
// Formula. r₁ = (n/(k + 1)) · Σ (yᵢ − m)(yᵢ₋₁ − m)/Σ (yᵢ − m)², m being the mean of all n
// values, the lower sum over all of them and the upper over the k pairs with one step
// between. Without a gap k is n − 1, and r₁ is the plain ratio of the two sums.
//
// Assumes one mean throughout, and that gaps do not depend on the values. Two values with
// a gap between are no pair; both still count in the mean and in the lower sum, so that
// the fewer the pairs, the less r₁ says.
//
// Interval: none. It is too low in short records, by some (1 + 4ρ)/n at n values of an
// autoregression of ρ: where ρ is 0.6, by 0.11 of 30 days and by 0.04 of 90. Noise that no
// two readings share makes it lower still than what readings share would have it.
//
// Notes: none.
//
// Source: NIST Statistical Reference Datasets, univariate summary statistics, for the
// ratio; Parzen 1963, Sankhya A 25:383, for gaps; Kendall 1954, Biometrika 41:403, for how
// much too low it is (all but the first from memory).
func LagOne(y []float64, follows func(i int) bool) (r float64, ok bool) {
	if len(y) < 2 {
		return 0, false
	}
	n := float64(len(y))
	m, sd := numeric.Moments(y)
	if !(sd > 0) || math.IsInf(sd, 0) {
		return 0, false
	}
	var products numeric.Sum
	pairs := 0.0
	for i := 1; i < len(y); i++ {
		if follows == nil || follows(i) {
			products.Add((y[i] - m) / sd * ((y[i-1] - m) / sd))
			pairs++
		}
	}
	r = n / (pairs + 1) * products.Value() / (n - 1)
	return r, pairs > 0 && math.Abs(r) <= 1
}

var lagOneMethod = analysis.Method{
	Key: LagOneKey, Title: "how much each reading resembles the one before it",
	Estimates: "how much each reading resembles the one before it: the lag-one autocorrelation, from −1 to 1.",
	Formula:   "r₁ = (n/(k + 1)) · Σ (yᵢ − m)(yᵢ₋₁ − m)/Σ (yᵢ − m)², m being the mean of all n values, the lower sum over all of them and the upper over the k pairs with one step between. Without a gap k is n − 1, and r₁ is the plain ratio of the two sums.",
	Assumes:   "one mean throughout, and that gaps do not depend on the values. Two values with a gap between are no pair; both still count in the mean and in the lower sum, so that the fewer the pairs, the less r₁ says.",
	Interval:  "none. It is too low in short records, by some (1 + 4ρ)/n at n values of an autoregression of ρ: where ρ is 0.6, by 0.11 of 30 days and by 0.04 of 90. Noise that no two readings share makes it lower still than what readings share would have it.",
	Sources: []analysis.Source{
		{Key: "nist-strd-univariate", Cite: "NIST Statistical Reference Datasets", Part: "univariate summary statistics"},
		{Key: "parzen-1963", Cite: "Parzen 1963, Sankhya A 25:383 (from memory)", Part: "for gaps"},
		{Key: "kendall-1954", Cite: "Kendall 1954, Biometrika 41:403 (from memory)", Part: "for how much too low it is"},
	},
	Evidence: analysis.Evidence{Reference: "testdata/reference/serial-lag-one.json; TestOthersData", ByHand: "TestLagOneByHand", Coverage: "no interval"},
}
