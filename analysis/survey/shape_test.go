package survey

import (
	"math"
	"math/rand/v2"
	"testing"

	"radonyear/analysis/lognormal"
)

// TestShapeWithin: homes that are log-normal within areas are seldom called another shape,
// be areas of one home or of many and their spreads alike or not, and two kinds of homes in
// each area are.
func TestShapeWithin(t *testing.T) {
	sets := []struct {
		name  string
		areas func(rng *rand.Rand) (sizes []int, sigma func() float64)
	}{
		{"areas of one home beside large ones", func(*rand.Rand) ([]int, func() float64) {
			sizes := []int{60, 60}
			for range 30 {
				sizes = append(sizes, 1)
			}
			return sizes, func() float64 { return 0.3 }
		}},
		{"12 areas of 25", func(*rand.Rand) ([]int, func() float64) {
			return []int{25, 25, 25, 25, 25, 25, 25, 25, 25, 25, 25, 25}, func() float64 { return 0.8 }
		}},
		{"two areas that spread differently", func(*rand.Rand) ([]int, func() float64) {
			k := 0
			return []int{300, 300}, func() float64 { k++; return []float64{0.5, 1.1}[k%2] }
		}},
	}
	const trials = 200
	for _, set := range sets {
		odd, kinds := 0, 0
		for trial := range trials {
			rng := rand.New(rand.NewPCG(uint64(trial), 5))
			sizes, spread := set.areas(rng)
			var homes, two []Home
			for j, n := range sizes {
				area, level, sigma := string(rune('A'+j)), 4+1.2*rng.NormFloat64(), spread()
				for i := range n {
					y := level + sigma*rng.NormFloat64()
					homes = append(homes, Home{Area: area, Log: y})
					two = append(two, Home{Area: area, Log: y + 5*sigma*float64(i%2)})
				}
			}
			if s, ok := ShapeWithin(homes); !ok {
				t.Fatalf("%s: no verdict", set.name)
			} else if v := s.Verdict(); v == lognormal.NotLogNormal || v == lognormal.FarFromLogNormal {
				odd++
			}
			if s, ok := ShapeWithin(two); ok && s.Verdict() == lognormal.FarFromLogNormal {
				kinds++
			}
		}
		t.Logf("%s: %d of %d are called another shape, and %d of two kinds", set.name, odd, trials, kinds)
		if odd > trials/20 || kinds < trials*95/100 {
			t.Errorf("%s: %d of %d are called another shape, and %d of two kinds", set.name, odd, trials, kinds)
		}
	}
	for what, homes := range map[string][]Home{
		"no area of ten": {{Area: "A", Log: 4}, {Area: "A", Log: 5}, {Area: "B", Log: 4}},
		"all alike":      make([]Home, 20),
		"one below":      append(make([]Home, 20), Home{Log: math.Log(10), Below: true}),
	} {
		if _, ok := ShapeWithin(homes); ok {
			t.Errorf("%s: a verdict", what)
		}
	}
}
