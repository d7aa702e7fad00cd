package annual

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"radonyear/analysis"
)

// log is a monitor's day means from a date on, with a cycle and noise.
func log(days int, from time.Time, seed uint64) []analysis.Series {
	rng := rand.New(rand.NewPCG(seed, 9))
	var rs []analysis.Reading
	x := 0.0
	for d := range days {
		x = 0.8*x + 0.2*rng.NormFloat64()
		start := from.AddDate(0, 0, d)
		c := 150 * math.Exp(x+0.3*math.Cos(2*math.Pi*float64(start.YearDay()-15)/365.25))
		rs = append(rs, analysis.Reading{Start: start, End: start.AddDate(0, 0, 1), Concentration: c})
	}
	s, err := analysis.NewSeries(analysis.Place{Home: "h", Detector: "d"}, time.UTC, rs)
	if err != nil {
		panic(err)
	}
	return []analysis.Series{s}
}

func BenchmarkEstimate(b *testing.B) {
	for _, days := range []int{7, 90, 365} {
		home := log(days, time.Date(2024, 1, 10, 0, 0, 0, 0, time.UTC), 1)
		b.Run(time.Duration(days*24*int(time.Hour)).String(), func(b *testing.B) {
			for b.Loop() {
				if _, err := Estimate(home, Options{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
