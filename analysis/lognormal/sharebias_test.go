package lognormal

import (
	"math"
	"math/rand/v2"
	"testing"

	"radonyear/analysis/internal/numeric"
)

// TestShareBias: on average the share above a level is too high by as much as the doc
// comment of Above says, and the unbiased one is not.
func TestShareBias(t *testing.T) {
	const trials = 100_000
	for _, c := range []struct {
		n     int
		share float64
		off   float64 // of the share, relative, within 0.03
	}{{5, 0.1, 0.08}, {10, 0.1, 0.04}, {20, 0.1, 0.02}, {5, 0.02, 0.63}, {10, 0.02, 0.35}, {20, 0.02, 0.19}, {50, 0.02, 0.08}} {
		rng := rand.New(rand.NewPCG(uint64(c.n), 11))
		n := float64(c.n)
		z := -numeric.NormalQuantile(c.share)
		var plain, unbiased, p2, u2 float64
		for range trials {
			sum := 0.0
			for range c.n - 1 {
				v := rng.NormFloat64()
				sum += v * v
			}
			k := (z - rng.NormFloat64()/math.Sqrt(n)) / math.Sqrt(sum/(n-1))
			p, u := numeric.Phi(-k), unbiasedAbove(n, k)
			plain, unbiased = plain+p/trials, unbiased+u/trials
			p2, u2 = p2+(p-c.share)*(p-c.share)/trials, u2+(u-c.share)*(u-c.share)/trials
		}
		t.Logf("%d homes, %v above: %.4f plain, %.4f unbiased, of the share; root mean square errors %.3f and %.3f of it", c.n, c.share, plain/c.share, unbiased/c.share, math.Sqrt(p2)/c.share, math.Sqrt(u2)/c.share)
		if ratio := u2 / p2; math.Abs(plain/c.share-1-c.off) > 0.03 || math.Abs(unbiased/c.share-1) > 0.03 || ratio < 0.9 || ratio > 1.3 {
			t.Errorf("%d homes, %v above: not as it is said", c.n, c.share)
		}
	}
}
