package serial

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"radonyear/analysis/internal/reftest"
)

// TestLagOneReference holds it to acf in R, gaps and all.
func TestLagOneReference(t *testing.T) {
	file, err := reftest.Read("serial-lag-one.json")
	if err != nil {
		t.Fatal(err)
	}
	gaps := 0
	for _, c := range file.Cases {
		var in struct{ At, Y []float64 }
		if err := json.Unmarshal(c.Input, &in); err != nil {
			t.Fatal(err)
		}
		r, ok := LagOne(in.Y, func(i int) bool { return in.At[i]-in.At[i-1] == 1 })
		if !ok {
			t.Fatal(c.Name)
		}
		for _, bad := range c.Check(map[string]float64{"lag_one": r}) {
			t.Error(bad)
		}
		if in.At[len(in.At)-1]-in.At[0] > float64(len(in.At)-1) {
			gaps++
			// As days with days missing, by Mean's own eye for what is a step.
			at := make([]float64, len(in.At))
			for i, d := range in.At {
				at[i] = 24 * d
			}
			days, _, _, err := prepare(series(t, 24*time.Hour, at, in.Y))
			if err != nil || days.LagOne == nil {
				t.Fatal(c.Name, err)
			}
			near(t, c.Name+", as days", *days.LagOne, c.Want["lag_one"], 1e-12)
		}
	}
	if len(file.Cases) < 6 || gaps < 3 {
		t.Errorf("%d cases, %d with gaps", len(file.Cases), gaps)
	}
}

// TestLagOneByHand: 1, 2, 4, 1 have the mean 2 and the differences −1, 0, 2, −1, whose
// squares come to 6 and whose neighbours' products to 0 + 0 − 2: −1/3. With a gap before
// the last, two pairs are left, of which both are 0. With one before the 2 and one before
// the 4, the last pair alone is left: −2·4/(1 + 1)/6 = −2/3.
func TestLagOneByHand(t *testing.T) {
	y := []float64{1, 2, 4, 1}
	for _, c := range []struct {
		gaps []int
		want float64
	}{{nil, -1. / 3}, {[]int{3}, 0}, {[]int{1, 2}, -2. / 3}} {
		r, ok := LagOne(y, func(i int) bool {
			for _, g := range c.gaps {
				if g == i {
					return false
				}
			}
			return true
		})
		if !ok || math.Abs(r-c.want) > 1e-15 {
			t.Errorf("gaps before %v: %v (%v), not %v", c.gaps, r, ok, c.want)
		}
	}
	// 18 values at the middle and one pair far off: the one pair would have it at 4.5.
	far := make([]float64, 20)
	far[9], far[10] = 10, 10
	for name, c := range map[string]struct {
		y       []float64
		follows func(int) bool
	}{
		"beyond 1": {far, func(i int) bool { return i == 10 }}, "no pair": {y, func(int) bool { return false }},
		"the same": {[]float64{3, 3, 3}, nil}, "one": {y[:1], nil}, "none": {nil, nil},
		"too large": {[]float64{1e300, -1e300, 1e300}, nil}, "too small": {[]float64{1e-300, 3e-300, 2e-300}, nil},
		"infinite": {[]float64{1, math.Inf(1), 2}, nil}, "no number": {[]float64{1, math.NaN(), 2}, nil},
	} {
		if r, ok := LagOne(c.y, c.follows); ok || math.IsNaN(r) {
			t.Errorf("%s: %v", name, r)
		}
	}
}

// TestLagOneLow: it is too low by as much as the doc comment says, and another unit or
// origin changes nothing.
func TestLagOneLow(t *testing.T) {
	rng := rand.New(rand.NewPCG(31, 7))
	for _, c := range []struct {
		n   int
		low float64
	}{{30, 0.11}, {90, 0.04}} {
		const trials = 8000
		sum := 0.0
		for range trials {
			y, other := wander(rng, c.n, 0.6, 0), make([]float64, c.n)
			for i, v := range y {
				other[i] = 37*v + 1000
			}
			r, ok := LagOne(y, nil)
			o, ok2 := LagOne(other, nil)
			if !ok || !ok2 || math.Abs(r-o) > 1e-11 {
				t.Fatal(r, o)
			}
			sum += r
		}
		if low := 0.6 - sum/trials; math.Abs(low-c.low) > 0.007 {
			t.Errorf("%d values: too low by %.4f, not %.2f", c.n, low, c.low)
		}
	}
}
