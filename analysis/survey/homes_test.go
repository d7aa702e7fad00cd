package survey

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/internal/numeric"
	"radonyear/testdata/scenario"
)

// simHome is a home of the mass balance: the error-free year around each of its
// tests of a week, and what the model made of them.
type simHome struct {
	area  string
	tests []simTest
}

type simTest struct {
	home  Home
	raw   float64 // mean of the week, Bq/m³
	truth float64 // of the twelve months around it
}

// simDistrict makes homes of twelve areas with so many tests of a week each, at any
// season.
func simDistrict(seed uint64, homes, tests int) []simHome {
	areas := make([]string, 12)
	for i := range areas {
		areas[i] = fmt.Sprintf("area %02d", i+1)
	}
	d := scenario.NewDistrict(seed, scenario.Options{Days: 740, Homes: homes, Areas: areas})
	monitor := scenario.HomeMonitor()
	out := make([]simHome, homes)
	numeric.Each(homes, func(i int) {
		rng := rand.New(rand.NewPCG(seed, uint64(i)))
		h := d.Home(i)
		s := simHome{area: h.Area}
		for range tests {
			from := d.Start().AddDate(0, 0, 185+rng.IntN(365))
			var rs []analysis.Reading
			raw, hours := 0.0, 0.0
			for _, m := range h.DayMeans(scenario.Living, from, 7, &monitor, i+1) {
				rs = append(rs, analysis.Reading{Start: m.Start, End: m.Start.AddDate(0, 0, 1), Concentration: m.Value, Share: min(1, m.Hours/24)})
				raw, hours = raw+m.Value*m.Hours, hours+m.Hours
			}
			if hours == 0 || raw == 0 {
				continue
			}
			x, err := analysis.NewSeries(analysis.Place{Home: "H"}, time.UTC, rs)
			if err != nil {
				panic(err)
			}
			r, err := annual.Estimate([]analysis.Series{x}, annual.Options{})
			if err != nil {
				panic(err)
			}
			s.tests = append(s.tests, simTest{
				home: Home{Area: h.Area, Log: r.LogMedian, SE: r.LogSpread}, raw: raw / hours,
				truth: h.Mean(scenario.Living, r.YearStart, r.YearEnd),
			})
		}
		out[i] = s
	})
	return out
}

// deNoised judges Posterior's share of homes above 200 Bq/m³ over replications: 25
// homes an area, a test each.
type deNoised struct {
	held, bias, rawBias float64
}

func deNoise(homes []simHome, reps int, seed uint64) (out deNoised) {
	byArea := map[string][]int{}
	for i, h := range homes {
		if len(h.tests) > 0 {
			byArea[h.area] = append(byArea[h.area], i)
		}
	}
	type one struct {
		held      bool
		bias, raw float64
	}
	all := make([]one, reps)
	numeric.Each(reps, func(k int) {
		rng := rand.New(rand.NewPCG(seed, uint64(k)))
		var sample []Home
		truth, raw, n := 0.0, 0.0, 0.0
		for a := range 12 {
			idx := byArea[fmt.Sprintf("area %02d", a+1)]
			for _, j := range rng.Perm(len(idx))[:min(25, len(idx))] {
				h := homes[idx[j]]
				t := h.tests[rng.IntN(len(h.tests))]
				sample = append(sample, t.home)
				n++
				if t.truth > 200 {
					truth++
				}
				if t.raw > 200 {
					raw++
				}
			}
		}
		r, err := Posterior(sample, PosteriorOptions{Levels: []float64{200}, Draws: 1000})
		if err != nil {
			panic(err)
		}
		s := r.Community.Above[0].Share
		truth, raw = truth/n, raw/n
		all[k] = one{s.Lower <= truth && truth <= s.Upper, s.Value - truth, raw - truth}
	})
	for _, o := range all {
		if o.held {
			out.held++
		}
		out.bias += o.bias
		out.rawBias += o.raw
	}
	n := float64(reps)
	out.held, out.bias, out.rawBias = out.held/n, out.bias/n, out.rawBias/n
	return out
}

// TestDeNoise: a week's test of each of 25 homes in 12 areas, at any season, gives the
// share of homes whose true annual mean is above 200 Bq/m³, of homes that are not the
// model: nearly unbiased, and within its interval as often as promised. The interval is
// of homes at large and the truth of those measured, so it holds more often.
func TestDeNoise(t *testing.T) {
	if testing.Short() {
		t.Skip("simulates homes for some seconds")
	}
	districts, homes, tests, reps, most := 2, 360, 2, 30, 0.03
	if *calibrate {
		districts, homes, tests, most = 10, 480, 4, 0.01
	}
	var sum deNoised
	for k := range districts {
		d := deNoise(simDistrict(uint64(51+k), homes, tests), reps, uint64(k))
		sum.held += d.held / float64(districts)
		sum.bias += d.bias / float64(districts)
		sum.rawBias += d.rawBias / float64(districts)
	}
	t.Logf("%d replications: held %.3f, bias %+.4f, raw %+.4f", districts*reps, sum.held, sum.bias, sum.rawBias)
	if sum.held < 0.93 || math.Abs(sum.bias) > most {
		t.Errorf("held %.3f, bias %+.4f", sum.held, sum.bias)
	}
}
