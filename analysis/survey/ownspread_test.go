package survey

import (
	"math"
	"math/rand/v2"
	"testing"

	"radonyear/analysis/internal/numeric"
)

// TestOwnSpreads holds three steps of scoring to the sum over a fine grid of an area's own
// spread, of prior times likelihood, for homes known exactly, with errors, and below limits;
// and where there are many homes, to the spread that they have.
func TestOwnSpreads(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 9))
	const sigma = 0.8
	for _, c := range []struct {
		name            string
		homes           int
		spread, errors  float64
		limit, mean, sd float64 // how near to the sums
	}{
		{"six homes", 6, 0.8, 0, math.Inf(-1), 0.003, 0.003},
		{"25 homes that spread more", 25, 1, 0, math.Inf(-1), 0.004, 0.008},
		{"25 homes with errors", 25, 0.8, 0.4, math.Inf(-1), 0.004, 0.004},
		{"40 homes, some below a limit", 40, 0.7, 0, 3.6, 0.004, 0.012},
		{"300 homes that spread less", 300, 0.7, 0.3, math.Inf(-1), 0.003, 0.002},
	} {
		var homes []Home
		for range c.homes {
			h := Home{Area: "A", Log: 4 + c.spread*rng.NormFloat64(), SE: c.errors * rng.Float64()}
			h.Log += h.SE * rng.NormFloat64()
			if h.Log < c.limit {
				h.Log, h.Below = c.limit, true
			}
			homes = append(homes, h)
		}
		homes = append(homes, Home{Area: "B", Log: 4}, Home{Area: "B", Log: 4.5})
		d, err := newDesign(homes, &Options{Confidence: 0.95})
		if err != nil {
			t.Fatal(err)
		}
		x := point{sigma: sigma, tau: 0.4, beta: []float64{4.1 - d.shift}, cov: []float64{0.01}}
		const u, known = -0.05, 0.02
		level := 4.1 + u
		got := d.ownSpreads(x, conditional{u: []float64{u, 0}}, []float64{known, 0.1})[0]
		total, mean, second := 0.0, 0.0, 0.0
		for off := -0.7; off < 0.7; off += 0.0005 {
			l := -(off + spreadDiffers*spreadDiffers) * (off + spreadDiffers*spreadDiffers) / (2 * spreadDiffers * spreadDiffers)
			for _, h := range homes[:c.homes] {
				v := sigma*sigma*math.Exp(2*off) + h.SE*h.SE
				if h.Below {
					l += math.Log(numeric.Phi((h.Log - level) / math.Sqrt(v)))
				} else {
					l -= math.Log(v)/2 + ((h.Log-level)*(h.Log-level)+known)/(2*v)
				}
			}
			w := math.Exp(l + float64(c.homes)/2)
			total, mean, second = total+w, mean+w*off, second+w*off*off
		}
		mean /= total
		sd := math.Sqrt(second/total - mean*mean)
		if math.Abs(got.mean-mean) > c.mean || math.Abs(got.sd-sd) > c.sd || got.sd >= spreadDiffers {
			t.Errorf("%s: %+v, and by sums %v and %v", c.name, got, mean, sd)
		}
		t.Logf("%s: %+v, by sums %.4f and %.4f", c.name, got, mean, sd)
	}
	// One home as far out as a wrong unit makes it moves its area's spread, and no further
	// than a spread can be.
	homes := []Home{{Area: "A", Log: 4}, {Area: "A", Log: 4.2}, {Area: "A", Log: 60}, {Area: "B", Log: 4}, {Area: "B", Log: 4.5}, {Area: "B", Log: 3.5}}
	d, err := newDesign(homes, &Options{Confidence: 0.95})
	if err != nil {
		t.Fatal(err)
	}
	x := point{sigma: sigma, tau: 0.4, beta: []float64{4 - d.shift}, cov: []float64{0.01}}
	got := d.ownSpreads(x, conditional{u: []float64{0, 0}}, []float64{0.1, 0.1})
	if !(got[0].mean > 0.5 && got[0].mean <= 1.5) || math.Abs(got[1].mean) > 0.2 {
		t.Errorf("one home far out: %+v", got)
	}
	if _, err := Posterior(homes, PosteriorOptions{Levels: []float64{200}}); err != nil {
		t.Error(err)
	}
}
