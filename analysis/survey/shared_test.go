package survey

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// Two homes of the same day with regressor 1, season's variance 0.04 and 0.1 of weather
// each: a day and a year have 20/365.25 of the weather in common, twice, and the year with
// itself once, so 0.04 + 0.01(1 − 20/365.25) are shared; and 0.002·0.9·0.5 where so much
// of their years was not measured. With regressors of opposite sign ten days apart it is
// −0.04 + 0.01/e and less, and so nothing. Of three homes, the third of another area and
// without a test, all pairs' mean is a third of the one pair's; the area with both has all.
func TestSharedByHand(t *testing.T) {
	season := [][]float64{{0.04}}
	homes := []Home{{Area: "a", SE: 0.5}, {Area: "a", SE: 0.5}}
	both := 0.04 + 0.01*(1-20/365.25)
	own, s, err := Share(homes, []*Test{{Season: []float64{1}, Weather: 0.1}, {Season: []float64{1}, Weather: 0.1}}, season)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "shared", s.All, both, 1e-12)
	near(t, "of the area", s.Areas["a"], both, 1e-12)
	near(t, "own", own[0].SE, math.Sqrt(0.25-both), 1e-12)
	_, s, err = Share(homes, []*Test{{Season: []float64{0}, Rest: 0.9}, {Season: []float64{0}, Rest: 0.5}}, season)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "of what was not measured", s.All, 0.0009, 1e-12)
	own, s, err = Share(homes, []*Test{{Season: []float64{1}, Weather: 0.1}, {Season: []float64{-1}, Day: 10, Weather: 0.1}}, season)
	if err != nil || s.All != 0 || own[0].SE != 0.5 {
		t.Errorf("%v %v %v", own, s, err)
	}
	homes = append(homes, Home{Area: "b", SE: 0.1})
	// A home without a test shares nothing, and counts among the pairs.
	_, s, err = Share(homes, []*Test{{Season: []float64{1}, Weather: 0.1}, {Season: []float64{1}, Weather: 0.1}, nil}, season)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "a third", s.All, both/3, 1e-12)
	near(t, "of the area with both", s.Areas["a"], both, 1e-12)
	near(t, "beyond all, where own homes count by half", s.extra("a", 0.5), 0.25*(both-both/3), 1e-12)
	if s.Areas["b"] != 0 || s.extra("b", 1) != 0 || s.extra("elsewhere", 1) != 0 {
		t.Errorf("%v", s)
	}
	for _, bad := range []struct {
		tests  []*Test
		season [][]float64
	}{{[]*Test{nil}, season}, {[]*Test{{}, nil, nil}, season}, {[]*Test{{Season: []float64{math.NaN()}}, nil, nil}, season}, {[]*Test{{Season: []float64{1}, Day: math.Inf(1)}, nil, nil}, season}, {[]*Test{{Season: []float64{1}, Rest: 2}, nil, nil}, season}} {
		if _, _, err := Share(homes, bad.tests, bad.season); err == nil {
			t.Errorf("%+v is no error", bad)
		}
	}
	if _, err := Posterior([]Home{{Log: 1}, {Log: 2}, {Log: 3}}, PosteriorOptions{Shared: &Shared{All: -1}}); err == nil {
		t.Error("a negative variance is no error")
	}
}

// The mean covariance over pairs, one by one; the order of homes changes no digit.
func TestSharedAgainstSlow(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 9))
	season := [][]float64{{0.04, 0.01}, {0.01, 0.03}}
	var homes []Home
	var tests []*Test
	for i := range 60 {
		homes = append(homes, Home{Area: fmt.Sprint(i % 4), SE: 0.3 + 0.3*rng.Float64()})
		tests = append(tests, &Test{Season: []float64{rng.NormFloat64(), 1 + rng.NormFloat64()}, Day: float64(rng.IntN(500)), Weather: 0.2 * rng.Float64(), Rest: rng.Float64()})
	}
	_, got, err := Share(homes, tests, season)
	if err != nil {
		t.Fatal(err)
	}
	// By lag: between days; a day and the other's year, where it lies in that; both years.
	together := func(d float64) float64 {
		const year, day = 365.25, 20 / 365.25
		sum := 0.0
		if d <= year/2 {
			sum = math.Exp(-d/10) - day - day
		}
		if d <= year {
			sum += day * (year - d) / year
		}
		return sum
	}
	slow := func(area string) float64 {
		sum, n := 0.0, 0.0
		for i, a := range tests {
			for j, b := range tests {
				if i == j || area != "" && (homes[i].Area != area || homes[j].Area != area) {
					continue
				}
				n++
				sum += a.Weather*b.Weather*together(math.Abs(a.Day-b.Day)) + 0.002*a.Rest*b.Rest
				for k := range 2 {
					for l := range 2 {
						sum += a.Season[k] * season[k][l] * b.Season[l]
					}
				}
			}
		}
		return max(sum/n, 0)
	}
	near(t, "all", got.All, slow(""), 1e-12)
	for _, area := range []string{"0", "3"} {
		near(t, "area "+area, got.Areas[area], slow(area), 1e-12)
	}
	slices.Reverse(homes)
	slices.Reverse(tests)
	_, again, err := Share(homes, tests, season)
	if err != nil || fmt.Sprint(again) != fmt.Sprint(got) {
		t.Errorf("%v, backwards %v, %v", got, again, err)
	}
}

// A day's weather and those of its own year come to nothing together, nearly: a week
// in each of fifty, or twelve months of tests.
func TestWeatherLeft(t *testing.T) {
	sum, n := 0.0, 0.0
	for a := range 365 {
		for b := range 365 {
			sum += weatherLeft(math.Abs(float64(a - b)))
			n++
		}
	}
	if mean := sum / n; mean < 0 || mean > 0.02 {
		t.Errorf("all through a year, homes share %v of the weather's part", mean)
	}
	if w := weatherLeft(0); w <= 0.9 || w >= 1 {
		t.Errorf("on the same day %v", w)
	}
	if w := weatherLeft(400); w != 0 {
		t.Errorf("beyond a year %v", w)
	}
}

// What is shared moves no middle, adds its variance to every area's level and to the
// intercept, and widens the community's intervals; sharing nothing changes no digit.
func TestSharedPosterior(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 6))
	c := community{areas: 12, homes: 6, sigma: 0.8, tau: 0.4, errors: 0.4}
	homes := c.draw(rng)
	opt := PosteriorOptions{Levels: []float64{100}}
	without, err := Posterior(homes, opt)
	if err != nil {
		t.Fatal(err)
	}
	opt.Shared = &Shared{Areas: map[string]float64{"0003": 0}}
	nothing, err := Posterior(homes, opt)
	if err != nil {
		t.Fatal(err)
	}
	if a, b := fmt.Sprintf("%+v", without.Community), fmt.Sprintf("%+v", nothing.Community); a != b {
		t.Errorf("nothing shared: %s, not %s", b, a)
	}
	opt.Shared = &Shared{All: 0.04, Areas: map[string]float64{"0003": 0.09}}
	with, err := Posterior(homes, opt)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "intercept", with.Fixed[0].Value, without.Fixed[0].Value, 1e-12)
	near(t, "its error", with.Fixed[0].SE, math.Hypot(without.Fixed[0].SE, 0.2), 1e-9)
	for j, a := range with.Areas {
		b := without.Areas[j]
		near(t, "level of "+a.Area, a.MeanLog, b.MeanLog, 1e-9)
		added := a.SDMeanLog*a.SDMeanLog - b.SDMeanLog*b.SDMeanLog
		if a.Area == "0003" {
			if added <= 0.041 || added >= 0.09 {
				t.Errorf("area whose homes share more: variance %v more", added)
			}
			continue
		}
		near(t, "variance of "+a.Area, added, 0.04, 1e-6)
	}
	width := func(r PosteriorResult) float64 { return math.Log(r.Community.GM.Upper / r.Community.GM.Lower) }
	// Of the community's 95 % interval: 2·1.96 standard deviations, by 4000 draws.
	near(t, "width of the community's geometric mean", width(with), math.Hypot(width(without), 2*1.96*0.2), 0.05)
	if a, b := with.Community.Above[0].Share, without.Community.Above[0].Share; a.Lower >= b.Lower || a.Upper <= b.Upper {
		t.Errorf("share %v, without %v", a, b)
	}
	if SeasonShare(0) != 0.3 || SeasonShare(1) != 0.3 || math.Abs(SeasonShare(20)-0.2) > 1e-12 || WeatherShare(true) >= WeatherShare(false) {
		t.Error("shares of season and weather")
	}
}

// Homes told as ten, a quarter of them of a day with regressor 1, a quarter with −1 and half
// without a test, share as much whether they are 12 or 16; by hand, with season's variance
// 0.04 and no weather, m = 0, d = 0.02, and so nothing; and where all have regressor 1 or no
// test, half each, m = 0.01, d = 0.02 and (10·0.01 − 0.02)/9.
func TestSharedAsTold(t *testing.T) {
	shared := func(n int, regressors ...float64) float64 {
		var homes []Home
		var tests []*Test
		for i := range n {
			homes = append(homes, Home{Area: "a", SE: 0.5})
			if x := regressors[i%len(regressors)]; x == 0 {
				tests = append(tests, nil)
			} else {
				tests = append(tests, &Test{Season: []float64{x}})
			}
		}
		_, s, err := Share(countedAsTold(homes, 10), tests, [][]float64{{0.04}})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "all and the one area", s.All, s.Areas["a"], 1e-15)
		return s.All
	}
	for _, n := range []int{12, 16} {
		near(t, "of both signs", shared(n, 1, 0, -1, 0), 0, 1e-15)
		near(t, "of one", shared(n, 1, 0), (10*0.01-0.02)/9, 1e-15)
	}
}
