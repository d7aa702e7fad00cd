package serial

import "math"

// cosines is how many cosines measure the slow part of a series, and how many
// degrees of freedom the interval by them has.
const cosines = 8

// cosineError is the standard error of the plain mean of y from its slowest
// movements: the mean square of the sums of y with 8 cosines that turn over once to
// eight times along the record, each scaled to the variance of the sum of y.
// Values stand in for time, so that gaps are closed up.
//
// Source: Müller 2007, J. Econom. 141:1331; Lazarus, Lewis, Stock and Watson 2018,
// J. Bus. Econ. Stat. 36:541 (both from memory).
func cosineError(y []float64) float64 {
	n := float64(len(y))
	power := 0.0
	for j := 1.0; j <= cosines; j++ {
		// By the recursion of Chebyshev: cos((i+1)θ) = 2cos θ·cos iθ − cos((i−1)θ).
		theta := math.Pi * j / n
		last, now := math.Cos(-theta/2), math.Cos(theta/2)
		twice := 2 * math.Cos(theta)
		sum := 0.0
		for _, v := range y {
			sum += v * now
			last, now = now, twice*now-last
		}
		power += 2 / n * sum * sum
	}
	return math.Sqrt(power / cosines / n)
}
