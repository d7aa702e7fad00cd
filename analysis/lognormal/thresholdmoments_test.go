package lognormal

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// TestLeastNormal: of two values the least is expected at −1/√π, of three at −3/(2√π);
// others from Harter 1961, Biometrika 48:151 (from memory), to five places.
func TestLeastNormal(t *testing.T) {
	agree(t, "of two", leastNormal(2), -1/math.Sqrt(math.Pi), 1e-14)
	agree(t, "of three", leastNormal(3), -1.5/math.Sqrt(math.Pi), 1e-14)
	for n, want := range map[int]float64{4: 1.02938, 5: 1.16296, 10: 1.53875, 20: 1.86748, 50: 2.24907, 100: 2.50759} {
		if got := -leastNormal(n); math.Abs(got-want) > 5.1e-6 {
			t.Errorf("of %d: %.7f, not %.5f", n, got, want)
		}
	}
}

// TestThresholdMomentsByHand. Ten values are made so that the three equations hold with
// γ = 20, e^μ = 10 and σ = ln 2: the mean is 20 + 10·√ω, ω = e^(σ²), the standard deviation
// 10·√(ω(ω − 1)), and the least value 20 + 10·2^k, k = −1.538753. Eight more are β from the
// mean and one −d − 8β, d being the least one's distance: the sum is right, and the squares
// are where 72β² + 16dβ + 2d² − 9s² = 0.
func TestThresholdMomentsByHand(t *testing.T) {
	const k = -1.53875273083517
	omega := math.Exp(math.Ln2 * math.Ln2)
	mean, s := 20+10*math.Sqrt(omega), 10*math.Sqrt(omega*(omega-1))
	least := 20 + 10*math.Exp2(k)
	d := least - mean
	beta := (-16*d - math.Sqrt(256*d*d-288*(2*d*d-9*s*s))) / 144
	x := append(slices.Repeat([]float64{mean + beta}, 8), least, mean-d-8*beta)
	m, err := ThresholdByMoments(x)
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "threshold", m.Threshold, 20, 1e-12)
	agree(t, "μ", m.MeanLog, math.Log(10), 1e-12)
	agree(t, "σ", m.SDLog, math.Ln2, 1e-12)
}

// The equations have one root: their left side rises with σ from 1/k² on. And another unit
// scales the answer, another origin moves it, order changes nothing.
func TestThresholdMomentsProperties(t *testing.T) {
	for _, n := range []int{MinThreshold, 11, 20, 100, 10000, 1e7} {
		k := leastNormal(n)
		last := 1 / (k * k)
		for sigma := 0.01; sigma < 5; sigma += 0.01 {
			omega := math.Exp(sigma * sigma)
			d := math.Sqrt(omega) - math.Exp(k*sigma)
			j := omega * (omega - 1) / (d * d)
			if !(j > last) {
				t.Fatalf("n %d: at σ %v it is %v, after %v", n, sigma, j, last)
			}
			last = j
		}
	}
	rng := rand.New(rand.NewPCG(8, 8))
	for range 50 {
		x := make([]float64, 10+rng.IntN(90))
		for i := range x {
			x[i] = 20 + 100*math.Exp(0.8*rng.NormFloat64())
		}
		m, err := ThresholdByMoments(x)
		if err != nil {
			continue
		}
		scaled, moved := slices.Clone(x), slices.Clone(x)
		for i := range x {
			scaled[i] *= 37
			moved[i] += 100
		}
		s, err := ThresholdByMoments(scaled)
		o, err2 := ThresholdByMoments(moved)
		slices.Sort(x)
		p, err3 := ThresholdByMoments(x)
		if err != nil || err2 != nil || err3 != nil {
			t.Fatal(err, err2, err3)
		}
		near := func(what string, got, want float64) {
			if math.Abs(got-want) > 1e-8*(100+math.Abs(want)) {
				t.Errorf("%s: %v, not %v", what, got, want)
			}
		}
		near("×37", s.Threshold/37, m.Threshold)
		near("+100", o.Threshold-100, m.Threshold)
		near("in order", p.Threshold, m.Threshold)
		near("σ ×37", s.SDLog, m.SDLog)
		near("μ ×37", s.MeanLog, m.MeanLog+math.Log(37))
	}
}

// TestThresholdMomentsHeld holds what the doc comment says of it beside the likelihood's
// threshold: how near it lies, and how often outside the limits with all assumed true,
// which is why no note is made of that.
func TestThresholdMomentsHeld(t *testing.T) {
	rng := rand.New(rand.NewPCG(12, 5))
	for _, c := range []struct {
		n       int
		gsd     float64
		nearer  [2]float64 // median distance over the likelihood's
		outside [2]float64 // share of samples
	}{
		{20, 2, [2]float64{0.8, 1}, [2]float64{0, 0.04}},
		{50, 2, [2]float64{1, 1.25}, [2]float64{0, 0.02}},
		{20, 4, [2]float64{2, 3}, [2]float64{0.2, 0.42}},
	} {
		const trials = 500
		var by, ml []float64
		outside := 0
		for range trials {
			x := make([]float64, c.n)
			for i := range x {
				x[i] = 20 + 100*math.Exp(math.Log(c.gsd)*rng.NormFloat64())
			}
			r, err := Threshold(x, Options{})
			if err != nil || r.Moments == nil {
				continue
			}
			by, ml = append(by, math.Abs(r.Moments.Threshold-20)), append(ml, math.Abs(r.Threshold.Value-20))
			if r.Moments.Threshold < r.Threshold.Lower || r.Moments.Threshold > r.Threshold.Upper {
				outside++
			}
		}
		slices.Sort(by)
		slices.Sort(ml)
		ratio, share := by[len(by)/2]/ml[len(ml)/2], float64(outside)/float64(len(by))
		t.Logf("n %d, GSD %v: %d samples, median distance %.1f, by likelihood %.1f (ratio %.2f), outside %.3f", c.n, c.gsd, len(by), by[len(by)/2], ml[len(ml)/2], ratio, share)
		if len(by) < trials*9/10 || ratio < c.nearer[0] || ratio > c.nearer[1] || share < c.outside[0] || share > c.outside[1] {
			t.Errorf("n %d, GSD %v: not as it is said", c.n, c.gsd)
		}
	}
}

// Where the likelihood has no local maximum, Threshold's error says what moments do.
func TestThresholdMomentsRefused(t *testing.T) {
	pole := []float64{1, 1.0001, 1.0002, 1.1, 1.2, 1.5, 2, 3, 5, 100, 1000}
	for _, from := range []float64{0, 100} { // a threshold under zero is none
		x := slices.Clone(pole)
		for i := range x {
			x[i] += from
		}
		m, err := ThresholdByMoments(x)
		_, err2 := Threshold(x, Options{})
		if err != nil || err2 == nil || strings.Contains(err2.Error(), "by moments it begins at 97.83,") != (from > 0) || !(m.Threshold < 1+from) {
			t.Errorf("%+v, %v; %v", m, err, err2)
		}
	}
	bent := make([]float64, 20)
	for i := range bent {
		bent[i] = 100 - 90*math.Pow(float64(i)/20, 3)
	}
	if m, err := ThresholdByMoments(bent); err == nil || !strings.Contains(err.Error(), "as that of a normal distribution") {
		t.Errorf("%+v, %v", m, err)
	}
	for name, x := range map[string][]float64{
		"few": spaced(9, 20, 2), "none": nil, "zero": append(spaced(12, 20, 2), 0), "nan": append(spaced(12, 20, 2), math.NaN()),
		"same": slices.Repeat([]float64{40}, 12), "infinite": append(spaced(12, 20, 2), math.Inf(1)),
	} {
		if m, err := ThresholdByMoments(x); err == nil {
			t.Errorf("%s: %+v", name, m)
		}
	}
	// As wide as numbers go: in units of 1e300 nine values of next to nothing and one of 1,
	// so a mean of 0.1, a variance of 0.1 and a least of 0, which are what was fitted.
	m, err := ThresholdByMoments([]float64{1e-300, 1, 2, 3, 4, 5, 6, 7, 8, 1e300})
	if err != nil {
		t.Fatal(err)
	}
	gamma, mu, omega := m.Threshold/1e300, m.MeanLog-300*math.Ln10, math.Exp(m.SDLog*m.SDLog)
	agree(t, "wide: mean", gamma+math.Exp(mu)*math.Sqrt(omega), 0.1, 1e-9)
	agree(t, "wide: variance", math.Exp(2*mu)*omega*(omega-1), 0.1, 1e-9)
	agree(t, "wide: least", 1+gamma+math.Exp(mu+leastNormal(10)*m.SDLog), 1, 1e-9)
	agree(t, "expected least of ten, in tables", leastNormal(10), -1.53875, 1e-5)
}
