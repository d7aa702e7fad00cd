package survey

import (
	"fmt"
	"math/rand/v2"
	"testing"
)

// benchCommunity is 50,000 homes in 1,000 areas, with a covariate; errors says whether
// each home has one of its own.
func benchCommunity(errors bool, censored float64) []Home {
	rng := rand.New(rand.NewPCG(1, 1))
	homes := make([]Home, 0, 50000)
	for j := range 1000 {
		level := 4 + 0.4*rng.NormFloat64()
		for range 50 {
			x := float64(rng.IntN(2))
			h := Home{Area: fmt.Sprintf("%04d", j), Log: level - 0.5*x + 0.8*rng.NormFloat64(), Covariates: []float64{x}}
			if errors {
				h.SE = 0.2 + 0.3*rng.Float64()
			}
			if rng.Float64() < censored && h.Log < 3.5 {
				h.Log, h.Below = 3.5, true
			}
			homes = append(homes, h)
		}
	}
	return homes
}

func BenchmarkFit(b *testing.B) {
	for _, errors := range []bool{false, true} {
		homes := benchCommunity(errors, 0)
		b.Run(fmt.Sprintf("errors=%v", errors), func(b *testing.B) {
			for b.Loop() {
				if _, err := Fit(homes, Options{Covariates: []string{"floor"}}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

func BenchmarkPosterior(b *testing.B) {
	for _, set := range []struct {
		errors   bool
		censored float64
	}{{false, 0}, {true, 0}, {true, 0.5}} {
		homes := benchCommunity(set.errors, set.censored)
		b.Run(fmt.Sprintf("errors=%v/censored=%v", set.errors, set.censored), func(b *testing.B) {
			for b.Loop() {
				if _, err := Posterior(homes, PosteriorOptions{Options: Options{Covariates: []string{"floor"}}, Levels: []float64{200}}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
