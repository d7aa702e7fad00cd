package survey

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"radonyear/analysis/temporal"
)

// Test is what a home's error has in common with other homes', because they were
// measured at the same time of the year, or in the very same weeks.
type Test struct {
	// Season are the regressors of the profile's season, on average over the days
	// measured. All homes have as many.
	Season []float64
	// Day is the middle of its measurement, in days from any one date, and Weather the
	// standard deviation of the part of its error that homes measured on that day share.
	Day, Weather float64
	// Rest is the share of the year that was not measured.
	Rest float64
}

// Shared is the variance of logarithms that homes' errors have in common, so that
// more homes do not lessen it: the mean covariance of two homes of all, and of two of
// an area.
type Shared struct {
	All   float64
	Areas map[string]float64
}

// The shares were measured on homes of the mass balance in testdata/scenario, which
// is not the model: 120 districts of 60 homes tested for a week and 80 for three months,
// at any season and in winter, each test's error against its own year. Mean products of
// two homes' errors were 0.0022 at any season, whether a week or three months were
// measured, and 0.0114 and 0.0108 in winter, with standard errors of a tenth; what is
// said here comes to 0.0024, 0.0020, 0.0175 and 0.0094. Taken apart by how far tests
// lie apart, weather was 0.15 to 0.47 and season −0.07 to 0.44. By profiles learned in the
// year before from 10 homes (37 districts, a week) and from 20 (12, three months), season
// was 0.20 and 0.30 in winter, of which a tenth and a twentieth are for so few homes: what
// is left for the year is 0.16 with a standard error of 0.13. Other districts than those of
// the tests here.
const (
	seasonShare  = 0.3
	yearShare    = 0.15
	weatherShare = 0.25
	levelShared  = 0.002
)

// SeasonShare is which part of the profile's covariance of season between homes is
// of the region's mean, in the year measured, about the profile's own: of a profile
// learned from so many homes what is left unknown of their mean and 0.15 for the
// year, and of one that was not learned three tenths.
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
		return temporal.KnownWeatherShare
	}
	return weatherShare
}

// Share takes out of the homes' own errors what they share with each other, and says
// how large it is. Homes without a Test (nil) share nothing.
//
// Two homes' errors have the covariance xᵢᵀCxⱼ + bᵢbⱼk(|dᵢ−dⱼ|) + 0.002 rᵢrⱼ, with C
// that of the mean season, x, b and r the homes' Season, Weather and Rest: what season
// and weather they were measured in, and how homes at large go through what was not
// measured. k is weatherLeft. Its mean over all pairs, not below 0, is taken off each
// home's variance, as homes do not scatter by it, but not so that less than half of a
// standard error is left.
func Share(homes []Home, tests []*Test, season [][]float64) ([]Home, Shared, error) {
	if len(homes) != len(tests) {
		return nil, Shared{}, fmt.Errorf("%d homes and %d tests", len(homes), len(tests))
	}
	own := slices.Clone(homes)
	var all []countedTest
	byArea := map[string][]countedTest{}
	for i, t := range tests {
		counted := countedTest{t, homes[i].count()}
		all = append(all, counted)
		byArea[homes[i].Area] = append(byArea[homes[i].Area], counted)
		if t == nil {
			continue
		}
		if len(t.Season) != len(season) {
			return nil, Shared{}, fmt.Errorf("home %d has %d regressors of the season; there are %d", i+1, len(t.Season), len(season))
		}
		sum := t.Weather*t.Weather + bilinear(season, t.Season)
		if math.IsNaN(sum) || sum > mostSE*mostSE || !(math.Abs(t.Day) < 1e9) || !(t.Rest >= 0 && t.Rest <= 1) {
			return nil, Shared{}, fmt.Errorf("home %d shares %v and %v on day %v with others, %v of its year not measured, which cannot be reckoned with", i+1, t.Season, t.Weather, t.Day, t.Rest)
		}
	}
	s := Shared{All: sharedVariance(all, season), Areas: map[string]float64{}}
	for i := range own { // never to less than a half of the standard error
		own[i].SE = max(math.Sqrt(max(own[i].SE*own[i].SE-s.All, 0)), own[i].SE/2)
	}
	for name, t := range byArea {
		s.Areas[name] = sharedVariance(t, season)
	}
	return own, s, nil
}

// countedTest is a test of a home that counts as so many.
type countedTest struct {
	*Test
	count float64
}

// sharedVariance is the mean covariance of two of the homes: with m the mean over all
// pairs, a home with itself among them, and d that of a home with itself, each home counted
// as often as it counts, (nm − d)/(n − 1). So it hangs on how tests are spread over the
// year, and on n as it is told.
func sharedVariance(tests []countedTest, season [][]float64) float64 {
	n := 0.0
	for _, t := range tests {
		n += t.count
	}
	if n < 2 {
		return 0
	}
	tests = slices.DeleteFunc(slices.Clone(tests), func(t countedTest) bool { return t.Test == nil })
	// The order of homes is to change no digit.
	slices.SortFunc(tests, func(a, b countedTest) int {
		return cmp.Or(cmp.Compare(a.Day, b.Day), cmp.Compare(a.Weather, b.Weather), cmp.Compare(a.Rest, b.Rest), slices.Compare(a.Season, b.Season), cmp.Compare(a.count, b.count))
	})
	mean := make([]float64, len(season))
	weather := map[float64]float64{} // by day
	itself, rest := 0.0, 0.0
	for _, t := range tests {
		itself += t.count * (bilinear(season, t.Season) + weatherLeft(0)*t.Weather*t.Weather + levelShared*t.Rest*t.Rest)
		rest += t.count * t.Rest
		weather[math.Round(t.Day)] += t.count * t.Weather
		for k, x := range t.Season {
			mean[k] += t.count * x
		}
	}
	sum := bilinear(season, mean) + levelShared*rest*rest
	days := make([]float64, 0, len(weather))
	for d := range weather {
		days = append(days, d)
	}
	slices.Sort(days)
	for i, a := range days {
		for _, b := range days[i:] {
			if b-a > temporal.YearDays {
				break
			}
			w := weather[a] * weather[b] * weatherLeft(b-a)
			if b > a {
				w *= 2
			}
			sum += w
		}
	}
	return max(sum-itself, 0) / (n * (n - 1))
}

// weatherLeft is the correlation of what weather does to two homes' errors, measured d
// days apart. An error is against the home's year, which has the weather of those days in
// it and that of the others too. With e^(−d/f) between days, what a year T around one
// test has in common with a day in it is 2f/T, and two years, so far as they are the same,
// have that again:
//
//	e^(−d/f) − 2·2f/T + (1 − d/T)·2f/T     to d = T/2
//	(1 − d/T)·2f/T                         from there to T, and then nothing.
//
// So weeks all through a year come to nothing together.
func weatherLeft(d float64) float64 {
	const ofYear = 2 * temporal.WeatherFade / temporal.YearDays
	left := max(1-d/temporal.YearDays, 0) * ofYear
	if d <= temporal.YearDays/2 {
		left += temporal.WeatherTogether(d) - 2*ofYear
	}
	return left
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
