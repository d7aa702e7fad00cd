package lognormal

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/internal/reftest"
)

func orderStatistics(t *testing.T, obs []Observation) OrderStatisticsResult {
	t.Helper()
	r, err := OrderStatistics(obs)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestOrderStatisticsReference holds mean and line to a second program in R.
func TestOrderStatisticsReference(t *testing.T) {
	file, err := reftest.Read("lognormal-order-statistics.json")
	if err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) < 6 {
		t.Fatalf("%d cases", len(file.Cases))
	}
	for _, c := range file.Cases {
		obs := limited(t, c.Input)
		r := orderStatistics(t, obs)
		for _, bad := range c.Check(map[string]float64{"mean": r.Mean, "mean_log": r.MeanLog, "sd_log": r.SDLog}) {
			t.Error(bad)
		}
	}
}

// TestOrderStatisticsByHand. 40, < 10, 20: two of three lie at the limit or above, so that
// the known ones have the ranks 1/3 + 2/3·1/3 = 5/9 and 7/9, and the one below the limit
// 1/3·1/2 = 1/6: normal quantiles 0.13971, 0.76471 and −0.96742. The line through the two
// doubles over 0.625, and 1.10713 below 20 it is at 20·2^−1.77141 = 5.85844.
//
// 40, < 10, < 30, 20: above 30 lies 1 of 4, and of the rest 1 of 2 above 10, so that p₂ = 1/4
// and p₁ = 5/8. The ranks are 7/8 of 40, 3/8 + 3/8·1/2 = 9/16 of 20, 3/4·1/2 = 3/8 of < 30
// and 3/8·1/2 = 3/16 of < 10: normal quantiles 1.15035, 0.15731, −0.31864 and −0.88715.
// The line doubles over 0.99304, so that the two are 14.34665 and 9.64746.
func TestOrderStatisticsByHand(t *testing.T) {
	agree(t, "one limit", orderStatistics(t, []Observation{Exact(40), Below(10), Exact(20)}).Mean, (60+5.85844)/3, 1e-6)
	r := orderStatistics(t, []Observation{Exact(40), Below(10), Below(30), Exact(20)})
	agree(t, "two limits", r.Mean, (60+14.34665+9.64746)/4, 1e-6)
	agree(t, "its slope", r.SDLog, math.Ln2/0.993039, 1e-5)
	if r.N != 4 || r.Below != 2 {
		t.Errorf("%+v", r)
	}
}

// Another unit scales the mean, order changes nothing, and without a limit it is the plain mean.
func TestOrderStatisticsProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 3))
	for range 200 {
		n := 5 + rng.IntN(40)
		var obs, scaled, all []Observation
		plain := 0.0
		for range n {
			x := math.Exp(4 + 0.9*rng.NormFloat64())
			o := Exact(x)
			if limit := []float64{20, 60}[rng.IntN(2)]; x < limit {
				o = Below(limit)
			}
			obs, all = append(obs, o), append(all, Exact(x))
			scaled = append(scaled, Observation{37 * o.Lower, 37 * o.Upper, 0})
			plain += x / float64(n)
		}
		agree(t, "without a limit", orderStatistics(t, all).Mean, plain, 1e-12)
		r, err := OrderStatistics(obs)
		if err != nil {
			continue
		}
		agree(t, "×37", orderStatistics(t, scaled).Mean, 37*r.Mean, 1e-9)
		rng.Shuffle(n, func(i, j int) { obs[i], obs[j] = obs[j], obs[i] })
		if s := orderStatistics(t, obs); s != r {
			t.Errorf("in another order %+v, not %+v", s, r)
		}
	}
}

// TestOrderStatisticsBias holds it to what the doc comment says of it.
func TestOrderStatisticsBias(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 1))
	const trials, n = 20000, 20
	sigma := math.Log(2.5)
	truth := math.Exp(sigma * sigma / 2)
	var sum, square, plain, plainSquare float64
	for range trials {
		obs := make([]Observation, n)
		mean := 0.0
		for i := range obs {
			x := math.Exp(sigma * rng.NormFloat64())
			mean += x / n
			if obs[i] = Exact(x); x < 1 { // half of them lie below the middle
				obs[i] = Below(1)
			}
		}
		r, err := OrderStatistics(obs)
		if err != nil {
			continue
		}
		e := r.Mean/truth - 1
		sum, square = sum+e, square+e*e
		e = mean/truth - 1
		plain, plainSquare = plain+e, plainSquare+e*e
	}
	t.Logf("bias %.4f, root mean square %.4f; of the plain mean %.4f, %.4f", sum/trials, math.Sqrt(square/trials), plain/trials, math.Sqrt(plainSquare/trials))
	if bias := sum / trials; math.Abs(bias+0.01) > 0.005 {
		t.Errorf("on average %.4f from the truth", bias)
	}
	if ratio := math.Sqrt(square / plainSquare); math.Abs(ratio-1) > 0.03 {
		t.Errorf("varies %.3f times as the plain mean", ratio)
	}
}

func TestOrderStatisticsRefused(t *testing.T) {
	six := exacts(20, 31, 45, 52, 130, 300)
	for name, c := range map[string]struct {
		obs  []Observation
		says string
	}{
		"between":       {append(six, Between(20, 30)), "value 7 is known with an error, between bounds"},
		"beyond":        {append(six, Observation{500, math.Inf(1), 0}), "value 7"},
		"with an error": {append(six, Observation{50, 50, 0.1}), "value 7"},
		"mostly below":  {[]Observation{Below(20), Below(20), Below(20), Below(20), Below(20), Below(20), Below(20), Below(20), Below(20), Exact(30), Exact(40)}, "82 % of the values"},
		"one known":     {[]Observation{Below(20), Exact(30)}, "at least two"},
		"all below":     {[]Observation{Below(20), Below(30)}, "all 2 values lie below"},
		"same known":    {[]Observation{Below(20), Exact(50), Exact(50)}, "all 2 known values are 50"},
		"too wide":      {[]Observation{Exact(1e-300), Exact(1e300), Below(1.7e308), Below(1.7e308), Below(1.7e308)}, "beyond what a number"},
		"none":          {nil, "at least two"},
	} {
		r, err := OrderStatistics(c.obs)
		if err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %+v, %v", name, r, err)
		}
	}
}

// In a description it stands beside the fit's mean and nowhere else.
func TestOrderStatisticsDescribed(t *testing.T) {
	obs := []Observation{Below(20), Below(30), Exact(31), Exact(45), Exact(52), Exact(66), Exact(90), Exact(130), Exact(300)}
	describe := func(obs []Observation, opt DescribeOptions) Description {
		d, err := Describe(obs, opt)
		if err != nil {
			t.Fatal(err)
		}
		return d
	}
	d := describe(obs, DescribeOptions{})
	if d.OrderStatistics == nil || *d.OrderStatistics != orderStatistics(t, obs) {
		t.Fatalf("%+v", d.OrderStatistics)
	}
	// With an outdoor level taken off, the mean is that of all the radon there is.
	excess, err := SubtractOutdoor(obs, 8)
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "with outdoors", describe(obs, DescribeOptions{Outdoor: 8}).OrderStatistics.Mean, orderStatistics(t, excess).Mean+8, 1e-12)
	counts := make([]float64, len(obs))
	for i := range counts {
		counts[i] = 1
	}
	mostly := append([]Observation{}, obs...)
	for range 40 {
		mostly = append(mostly, Below(20))
	}
	for name, d := range map[string]Description{
		"counted otherwise": describe(obs, DescribeOptions{Counts: counts}),
		"all known":         describe(obs[2:], DescribeOptions{}),
		"mostly below":      describe(mostly, DescribeOptions{}),
		"two":               describe([]Observation{Below(20), Exact(30), Exact(31)}[:2], DescribeOptions{}),
		"no mean":           describe([]Observation{Below(20), Exact(21), Exact(3000)}, DescribeOptions{}),
		"with errors":       describe(append([]Observation{{50, 50, 0.2}}, obs...), DescribeOptions{}),
	} {
		if d.OrderStatistics != nil {
			t.Errorf("%s: %+v", name, *d.OrderStatistics)
		}
	}
}

// The ranks of values below limits lie under those of the known values from that limit on.
func TestOrderRanks(t *testing.T) {
	knownZ, limitZ := orderRanks([]float64{5, 12, 12, 25, 40, 80}, []float64{10, 10, 20, 30, 90})
	if !slices.IsSorted(knownZ) {
		t.Errorf("known: %v", knownZ)
	}
	for _, c := range []struct{ limit, known int }{{1, 1}, {2, 3}, {3, 4}} { // of each limit the highest, and the first known value from it on
		if !(limitZ[c.limit] < knownZ[c.known]) {
			t.Errorf("limit %d: %v, value %d: %v", c.limit, limitZ[c.limit], c.known, knownZ[c.known])
		}
	}
	// Of a limit over all values nothing is known to lie above: it has the middle.
	agree(t, "the highest limit's rank", numeric.Phi(limitZ[4]), 0.5, 1e-12)
}
