package survey

import (
	"cmp"
	"fmt"
	"math"
	"slices"
)

// Test is what a home's error has in common with other homes', because they were
// measured at the same time of the year, or in the very same weeks.
type Test struct {
	// Season are the regressors of the profile's season, on average over the days
	// measured. All homes have as many.
	Season []float64
	// Day is the middle of its measurement, in days from any one date, and Weather the
	// standard deviation of the part of its error that homes measured on that day share;
	// of homes measured d days apart, e^(−d/10) of that.
	Day, Weather float64
}

// Shared is the variance of logarithms that homes' errors have in common, so that
// more homes do not lessen it: the mean covariance of two homes of all, and of two of
// an area.
type Shared struct {
	All   float64
	Areas map[string]float64
}

// The shares were measured on homes of the mass balance in testdata/scenario, which
// is not the model: 40 districts of 40 homes, tests of a week and of three months, in
// winter and at any season, products of the errors of two homes on both terms. Season
// −0.06 to 0.48 and weather 0.19 to 0.54 were found, the first where the other term
// took its part, and season 0.33 to 0.66 where it stood alone. They are of other
// districts than those of its test. yearShare was taken and not measured.
const (
	seasonShare  = 0.5
	yearShare    = 0.1
	weatherShare = 0.25
	knownShare   = 0.09 // where the weather of those days is known: as package compare has it
	fade         = 10.0 // days, likewise
)

// SeasonShare is which part of the profile's covariance of season between homes is
// of the region's mean, in the year measured, about the profile's own: of a profile
// learned from so many homes what is left unknown of their mean and a tenth for the
// year, and of one that was not learned a half.
func SeasonShare(homes int) float64 {
	if homes == 0 {
		return seasonShare
	}
	return min(seasonShare, yearShare+1/float64(homes))
}

// WeatherShare is which part of the variance of a home's error is shared by homes
// measured in the same days.
func WeatherShare(known bool) float64 {
	if known {
		return knownShare
	}
	return weatherShare
}

// Share takes out of the homes' own errors what they share with each other, and says
// how large it is. Homes without a Test (nil) share nothing.
//
// Two homes' errors have the covariance xᵢᵀCxⱼ + bᵢbⱼ e^(−|dᵢ−dⱼ|/10), with C that of
// the mean season, x and b the homes' Season and Weather. Its mean over all pairs, not
// below 0, is taken off each home's variance, as homes do not scatter by it, but not so
// that less than half of a standard error is left. Of homes measured all through the
// year it is nearly nothing.
func Share(homes []Home, tests []*Test, season [][]float64) ([]Home, Shared, error) {
	if len(homes) != len(tests) {
		return nil, Shared{}, fmt.Errorf("%d homes and %d tests", len(homes), len(tests))
	}
	own := slices.Clone(homes)
	byArea := map[string][]*Test{}
	for i, t := range tests {
		byArea[homes[i].Area] = append(byArea[homes[i].Area], t)
		if t == nil {
			continue
		}
		if len(t.Season) != len(season) {
			return nil, Shared{}, fmt.Errorf("home %d has %d regressors of the season; there are %d", i+1, len(t.Season), len(season))
		}
		sum := t.Weather*t.Weather + bilinear(season, t.Season)
		if math.IsNaN(sum) || sum > mostSE*mostSE || !(math.Abs(t.Day) < 1e9) {
			return nil, Shared{}, fmt.Errorf("home %d shares %v and %v on day %v with others, which cannot be reckoned with", i+1, t.Season, t.Weather, t.Day)
		}
	}
	s := Shared{All: sharedVariance(tests, season), Areas: map[string]float64{}}
	for i := range own { // never to less than a half of the standard error
		own[i].SE = max(math.Sqrt(max(own[i].SE*own[i].SE-s.All, 0)), own[i].SE/2)
	}
	for name, t := range byArea {
		s.Areas[name] = sharedVariance(t, season)
	}
	return own, s, nil
}

// sharedVariance is the mean covariance of two of the homes.
func sharedVariance(tests []*Test, season [][]float64) float64 {
	n := float64(len(tests))
	if n < 2 {
		return 0
	}
	tests = slices.DeleteFunc(slices.Clone(tests), func(t *Test) bool { return t == nil })
	// The order of homes is to change no digit.
	slices.SortFunc(tests, func(a, b *Test) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Weather, b.Weather), slices.Compare(a.Season, b.Season))
	})
	mean := make([]float64, len(season))
	weather := map[float64]float64{} // by day
	itself := 0.0
	for _, t := range tests {
		itself += bilinear(season, t.Season) + t.Weather*t.Weather
		weather[math.Round(t.Day)] += t.Weather
		for k, x := range t.Season {
			mean[k] += x
		}
	}
	sum := bilinear(season, mean)
	days := make([]float64, 0, len(weather))
	for d := range weather {
		days = append(days, d)
	}
	slices.Sort(days)
	for i, a := range days {
		for _, b := range days[i:] {
			if b-a > 20*fade {
				break
			}
			w := weather[a] * weather[b] * math.Exp(-(b-a)/fade)
			if b > a {
				w *= 2
			}
			sum += w
		}
	}
	return max(sum-itself, 0) / (n * (n - 1))
}

// bilinear is xᵀCx.
func bilinear(c [][]float64, x []float64) float64 {
	sum := 0.0
	for i, row := range c {
		sum += x[i] * dot(row, x)
	}
	return max(sum, 0)
}

// extra is by how much more an area's level shifts than all do together, given how
// much its own homes count in it.
func (s *Shared) extra(area string, own float64) float64 {
	if s == nil {
		return 0
	}
	return own * own * max(s.Areas[area]-s.All, 0)
}

func (s *Shared) all() float64 {
	if s == nil {
		return 0
	}
	return s.All
}
