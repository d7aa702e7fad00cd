package temporal

import "math"

// The weather of some days is that of all homes around, so tests of the same days err
// together, and more homes do not help. Measured on homes of the mass balance in
// testdata/scenario, whose tests err alike the less the further apart they are.
const (
	WeatherFade       = 10.0 // days until what two tests have in common has fallen to 1/e
	KnownWeatherShare = 0.09 // share of a test's variance, where a profile's course knows the weather of those days
)

// WeatherTogether is the correlation of what the weather does to two tests whose
// middles are some days apart.
func WeatherTogether(days float64) float64 { return math.Exp(-math.Abs(days) / WeatherFade) }
