package compare

import (
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"
)

// periodsOf are periods that begin so many days after the first of January.
func periodsOf(start, days, mean []float64, on []bool) (ps []Period) {
	for i := range start {
		ps = append(ps, Period{time.Date(2026, 1, 1, 0, 0, 0, 0, time.UTC).Add(time.Duration(start[i] * 24 * float64(time.Hour))), days[i], mean[i], on[i]})
	}
	return ps
}

var offOn = []bool{false, true, false, true, false, true, false, true, false, true, false, true, false, true}

// TestCycleByHand: weeks off, on, off, on with logarithms of means, in units of ln 2, of 8,
// 5, 6, 5. Each against its neighbours: on 5 − 7 = −2, off −(6 − 5) = −1. With variances
// 1 of weeks each d has 1 + ¼ + ¼ = 3/2, and the two, which share the middle weeks with
// weights 1, ½ and ½, 1 of opposite sign twice, ½ + ½ = 1. So neither counts more, and d is −1½,
// its variance (3/2 + 1)/2 = 5/4 of a week's; a week's is estimated by the half difference,
// ±½, as (½)²·2/(3/2 − 1) = 1. Degrees of freedom 1, t 12.706205.
func TestCycleByHand(t *testing.T) {
	ps := periodsOf([]float64{14, 0, 21, 7}, []float64{7, 7, 7, 7}, []float64{64, 256, 32, 32}, []bool{false, false, true, true})
	r, err := Cycle(ps, CycleOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ratio", r.Ratio.Value, math.Exp2(-1.5), 1e-12)
	near(t, "reduction", r.Reduction.Value, 100*(1-math.Exp2(-1.5)), 1e-10)
	near(t, "upper", math.Log(r.Ratio.Upper), math.Ln2*(-1.5+12.706205*math.Sqrt(1.25)), 1e-6)
	near(t, "scatter", r.Scatter, math.Ln2, 1e-12)
	if r.Switches != 3 || r.DF != 1 || len(r.Contrasts) != 2 {
		t.Fatalf("%+v", r)
	}
	near(t, "the week on", r.Contrasts[0].Ratio, 0.25, 1e-12)
	near(t, "the week off", r.Contrasts[1].Ratio, 0.5, 1e-12)
	// Two halves of a week are that week: 32 is the mean of 24 and 40.
	ps = slices.Concat(ps[:3], periodsOf([]float64{7, 10.5}, []float64{3.5, 3.5}, []float64{24, 40}, []bool{true, true}))
	halves, err := Cycle(ps, CycleOptions{})
	if err != nil || halves.Switches != 3 {
		t.Fatal(halves.Switches, err)
	}
	near(t, "halves", halves.Ratio.Upper, r.Ratio.Upper, 1e-9*r.Ratio.Upper)
}

// TestCycleProperties: a drift along a line changes nothing whatever the lengths, nor does
// the unit or the order; off for on turns the ratio over; more confidence never narrows.
func TestCycleProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(9, 0))
	for range 50 {
		n := 4 + rng.IntN(11)
		start, days, mean := make([]float64, n), make([]float64, n), make([]float64, n)
		at := 0.0
		for i := range n {
			start[i], days[i] = at, float64(2+rng.IntN(8))
			at += days[i] + float64(rng.IntN(2))
			mean[i] = 200 * math.Exp(0.2*rng.NormFloat64())
			if offOn[i] {
				mean[i] *= 0.3
			}
		}
		get := func(c float64, change func(ps []Period)) Cycled {
			t.Helper()
			ps := periodsOf(start, days, mean, offOn[:n])
			change(ps)
			r, err := Cycle(ps, CycleOptions{c})
			if err != nil {
				t.Fatal(err)
			}
			return r
		}
		base := get(0.95, func([]Period) {})
		drifting := get(0, func(ps []Period) {
			for i := range ps {
				ps[i].Mean *= 37 * math.Exp(0.02*(start[i]+days[i]/2))
			}
			rng.Shuffle(n, func(i, j int) { ps[i], ps[j] = ps[j], ps[i] })
		})
		near(t, "drifting", drifting.Ratio.Value, base.Ratio.Value, 1e-9)
		near(t, "drifting, scatter", drifting.Scatter, base.Scatter, 1e-9)
		for i, c := range drifting.Contrasts {
			near(t, "a contrast", c.Ratio, base.Contrasts[i].Ratio, 1e-9)
		}
		turned := get(0, func(ps []Period) {
			for i := range ps {
				ps[i].On = !ps[i].On
			}
		})
		near(t, "turned", turned.Ratio.Value*base.Ratio.Value, 1, 1e-9)
		if wider := get(0.99, func([]Period) {}); wider.Ratio.Lower > base.Ratio.Lower || wider.Ratio.Upper < base.Ratio.Upper {
			t.Error("narrower with more confidence")
		}
	}
}

// TestCycleInWords: what cannot be compared is an error that says why.
func TestCycleInWords(t *testing.T) {
	weeks, sevens := []float64{0, 7, 14, 21}, []float64{7, 7, 7, 7}
	good := []float64{200, 60, 210, 50}
	for _, c := range []struct {
		ps         []Period
		confidence float64
		want       string
	}{
		{nil, 0, "switched 0 times"},
		{periodsOf(weeks[:3], sevens, good, offOn), 0, "switched 2 times"},
		{periodsOf(weeks, sevens, good, []bool{false, false, true, true}), 0, "switched once"},
		{periodsOf(weeks, []float64{7, 8, 7, 7}, good, offOn), 0, "the period at 2026-01-15 00:00 begins before"},
		{periodsOf(weeks, []float64{7, 0, 7, 7}, good, offOn), 0, "the period at 2026-01-08 00:00 lasts 0 days"},
		{periodsOf(weeks, []float64{7, math.NaN(), 7, 7}, good, offOn), 0, "lasts NaN days"},
		{periodsOf(weeks, sevens, []float64{200, 0, 210, 50}, offOn), 0, "a mean of 0 Bq/m³"},
		{periodsOf(weeks, sevens, []float64{200, 60, math.Inf(1), 50}, offOn), 0, "a mean of +Inf"},
		{periodsOf([]float64{0, 7, 14, 36532}, sevens, good, offOn), 0, "more than a century after the first"},
		{[]Period{{Days: 7, Mean: 100}}, 0, "without its start"},
		{periodsOf(weeks, sevens, []float64{200, 50, 200, 50}, offOn), 0, "without any scatter"},
		{periodsOf(weeks, sevens, good, offOn), 1, "a confidence of 1"},
	} {
		if _, err := Cycle(c.ps, CycleOptions{c.confidence}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, not %q", c.ps, err, c.want)
		}
	}
	if _, err := Cycle(periodsOf(weeks, sevens, good, offOn), CycleOptions{}); err != nil {
		t.Errorf("three switches: %v", err)
	}
}

// FuzzCycle: whatever the periods, an error or a sound answer.
func FuzzCycle(f *testing.F) {
	f.Add(200.0, 60.0, 210.0, 50.0, 190.0, 7.0, 0.0, 0.95)
	f.Add(1e-300, 1e300, 1e-300, 1e300, 1e-299, 7.0, 0.0, 0.95)
	f.Add(1e300, 1e-300, 1e299, 1e-300, 1e300, 1e-9, 4999.0, 0.999999)
	f.Add(5.0, 5.0, 5.0, 5.0, 5.0, 7.0, 1.0, 0.5)
	f.Fuzz(func(t *testing.T, a, b, c, d, e, days, gap, confidence float64) {
		if !(gap >= 0 && gap < 5e3 && days > 0 && days < 5e3) {
			return
		}
		ps := periodsOf([]float64{0, days + gap, 2 * (days + gap), 3*days + 2.5*gap, 4*days + 9*gap}, []float64{days, days / 2, days, days / 3, days}, []float64{a, b, c, d, e}, offOn)
		r, err := Cycle(ps, CycleOptions{confidence})
		if err != nil {
			return
		}
		if err := r.Ratio.Check(); err != nil {
			t.Error(err)
		}
		for _, c := range r.Contrasts {
			if math.IsNaN(c.Ratio) {
				t.Error(c)
			}
		}
	})
}
