package compare

import (
	"math"

	"radonyear/analysis/temporal"
)

// LeftOut are how many homes bring Pool no effect, since nothing but limits was seen of
// them without the system, or with it: these are mostly the ones that fell furthest, and
// what the others do understates what systems do.
type LeftOut struct{ Without, With int }

// shareUnknown is which part of a home's variance it has in common with homes measured in
// the same days, where the weather of those days is not known.
const shareUnknown = 0.18

// Effects are what Pool takes of homes compared, the variance that their errors have in
// common, and how many homes are left out.
//
// Homes measured in the same weeks are off in the same direction, as the weather
// of those weeks was theirs together, and joining more of them does not help. Of the
// mean variance of the homes so much is taken to be common as their windows lie
// together: 0.18 where they coincide, 0.09 where the weather of those days is
// known, falling with the distance d of the windows' middles, on each side, as
// e^(−d/10 days).
//
// Measured once, on homes of the mass balance, as mean products of two homes' errors of ln
// ratio over those of their standard deviations: 0.18 in the same weeks (the 133 districts
// 2001 to 2013 and 2101 to 2220, standard error 0.03), and 0.07 where the weather is known
// (2001 to 2008, 0.03). Over all pairs of homes measured each in its own time it was 0.005
// (2001 to 2014, 0.003), where this makes it 0.010. What the profile does not know of the
// season is no part of it: homes measured at the same time of the year had −0.003 (0.006)
// more in common than this, with the built-in profile.
func Effects(results []Result) (effects []Effect, common float64, left LeftOut) {
	var middles [][2]float64 // days
	var shares []float64
	sum := 0.0
	for _, r := range results {
		switch {
		case r.Without.AllBelow:
			left.Without++
			continue
		case r.With.AllBelow:
			left.With++
			continue
		}
		effects = append(effects, Effect{Home: r.Area + "\x00" + r.Home, Group: r.Area, Log: r.LogRatio, SD: r.LogSD})
		share := shareUnknown
		if r.Course {
			share = temporal.KnownWeatherShare
		}
		shares = append(shares, share)
		sum += share * r.LogSD * r.LogSD
		middles = append(middles, [2]float64{midday(r.Without), midday(r.With)})
	}
	n := len(effects)
	if n < 2 {
		return effects, 0, left
	}
	together := 0.0
	for i, a := range middles {
		for _, b := range middles[:i] {
			together += (temporal.WeatherTogether(a[0]-b[0]) + temporal.WeatherTogether(a[1]-b[1])) / 2
		}
	}
	together /= float64(n) * float64(n-1) / 2
	common = sum / float64(n) * together
	for i := range effects { // what is common is no part of how homes scatter
		effects[i].SD *= math.Sqrt(1 - shares[i]*together)
	}
	return effects, common, left
}

// midday is the middle of what was measured on a side, in days since 1970. (A Duration
// since the zero Time would not do: it holds 292 years at most, and is silently cut there.)
func midday(s Side) float64 {
	return float64(s.Start.Unix()+s.End.Unix()) / 2 / (24 * 3600)
}
