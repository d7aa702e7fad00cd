package lognormal

import (
	"fmt"
	"math"

	"radonyear/analysis/internal/numeric"
)

// ThresholdMoments is a log-normal distribution that begins at a threshold, by moments.
type ThresholdMoments struct {
	Threshold, MeanLog, SDLog float64 // Bq/m³; of the natural logarithms of the excess
}

// ThresholdByMoments estimates the concentration at which a log-normal distribution
// begins, Bq/m³, by modified moments: mean, variance, and the least value in the place of
// the third moment, which few values hardly know. Threshold gives it beside its own, and
// names it where the likelihood has no local maximum: nearly all such samples have it.
//
// Formula. γ + e^(μ + σ²/2) is the mean x̄ of n values, e^(2μ)·ω(ω − 1), ω = e^(σ²), their
// variance s² (n − 1), and the least value x₁ is γ + e^(μ + kσ), k being the expected least
// of n standard normal values, −∫ z·n·φ(z)Φ(z)ⁿ⁻¹ dz. So σ is the root of
// ω(ω − 1)/(√ω − e^(kσ))² = s²/(x̄ − x₁)², then e^μ = s/√(ω(ω − 1)) and γ = x̄ − s/√(ω − 1).
// There is none where s ≤ (x̄ − x₁)/|k|: the least value lies as far down as that of a normal
// distribution does.
//
// Assumes independent values from one log-normal distribution above the threshold, all of
// them known. The least value has great weight, so that one reading too low makes the answer.
//
// Interval: none; Threshold has one, and is the one to take where it has an answer. Of
// 20 values with a geometric standard deviation of 2 this one lies a little nearer to
// the truth as a rule, of 50 a little less near, and of 20 with one of 4 some 2.5 times
// as far. That the two lie apart is no sign: then it lies outside the limits of the
// likelihood in 20 to 31 % of samples in which all that is assumed holds, and hardly
// more often in others.
//
// Notes: none.
//
// Source: Cohen and Whitten 1980, J. Am. Stat. Assoc. 75:399, and Cohen 1988, in Crow and
// Shimizu, Lognormal Distributions, chapter 4 (both from memory).
func ThresholdByMoments(values []float64) (ThresholdMoments, error) {
	if err := checkThreshold(values); err != nil {
		return ThresholdMoments{}, err
	}
	return newThresholdProfile(values).moments()
}

// moments are the modified moments' answer. All is worked out as so many spreads above the
// least value.
func (p thresholdProfile) moments() (ThresholdMoments, error) {
	mean, sd := numeric.Moments(p.z)
	k := leastNormal(len(p.z))
	// ln(eˣ − 1), which is x itself where the 1 is lost.
	logExpm1 := func(x float64) float64 {
		if x > 40 {
			return x
		}
		return math.Log(math.Expm1(x))
	}
	target := 2 * math.Log(sd/mean)
	// √ω − e^(kσ) is e^(kσ)·(e^(σ²/2 − kσ) − 1). From 1/k² on it rises with σ, and is more than
	// ω − 1, while the right side is never more than n.
	left := func(sigma float64) float64 {
		return sigma*sigma + logExpm1(sigma*sigma) - 2*k*sigma - 2*logExpm1(sigma*sigma/2-k*sigma) - target
	}
	const least = 1e-6 // below it the threshold is as good as minus infinity
	if !(left(least) < 0) {
		return ThresholdMoments{}, fmt.Errorf("the least value, %v, lies as far below the others as that of a normal distribution: by moments there is no threshold to subtract", p.least)
	}
	sigma, err := numeric.Root(left, least, math.Sqrt(math.Log(float64(len(p.z))+1))+1, 1e-14)
	if err != nil {
		return ThresholdMoments{}, fmt.Errorf("threshold by moments: %w", err)
	}
	root := math.Sqrt(math.Expm1(sigma * sigma))
	m := ThresholdMoments{
		Threshold: p.least + p.spread*(mean-sd/root),
		MeanLog:   math.Log(p.spread) + math.Log(sd) - sigma*sigma/2 - math.Log(root),
		SDLog:     sigma,
	}
	if math.IsInf(m.Threshold, 0) {
		return ThresholdMoments{}, fmt.Errorf("the threshold by moments is beyond what a number can hold: the values spread too widely")
	}
	return m, nil
}

// leastNormal is the expected least of n standard normal values: by the trapezoid rule,
// which is as good as exact for what falls off so on both sides.
func leastNormal(n int) float64 {
	const step, from, to = 0.05, -10.0, 15.0
	var sum numeric.Sum
	for i := range int((to-from)/step) + 1 {
		z := from + step*float64(i)
		sum.Add(z * math.Exp(float64(n-1)*numeric.LogPhi(z)-z*z/2-numeric.HalfLog2Pi))
	}
	return -step * float64(n) * sum.Value()
}
