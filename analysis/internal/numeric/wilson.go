package numeric

import "math"

// Wilson are the limits of a share of which x of n were found, at the normal quantile z:
// (x + z²/2 ± z√(x(n−x)/n + z²/4))/(n + z²), from 0 to 1. x and n need not be whole.
// Source: Wilson 1927, J. Am. Stat. Assoc. 22:209 (from memory).
func Wilson(x, n, z float64) (lower, upper float64) {
	middle, half, all := x+z*z/2, z*math.Sqrt(x*((n-x)/n)+z*z/4), n+z*z
	lower, upper = max(0, (middle-half)/all), min(1, (middle+half)/all)
	if x == 0 { // by rounding it would be near it
		lower = 0
	}
	if x == n {
		upper = 1
	}
	return lower, upper
}
