package quality

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/internal/reftest"
)

func pairs(a, b []float64) (out []Pair) {
	for i := range a {
		out = append(out, Pair{A: a[i], B: b[i]})
	}
	return out
}

func TestReference(t *testing.T) {
	file, err := reftest.Read("quality-duplicates.json")
	if err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) < 3 {
		t.Fatalf("%d cases", len(file.Cases))
	}
	for _, c := range file.Cases {
		var in struct {
			A, B       []float64
			Confidence float64
		}
		if err := json.Unmarshal(c.Input, &in); err != nil {
			t.Fatal(err)
		}
		r, err := Duplicates(pairs(in.A, in.B), Options{Confidence: in.Confidence})
		if err != nil {
			t.Fatal(err)
		}
		for _, bad := range c.Check(map[string]float64{"value": r.Precision.Value, "lower": r.Precision.Lower, "upper": r.Precision.Upper}) {
			t.Error(bad)
		}
		if err := r.Precision.Check(); err != nil {
			t.Error(err)
		}
	}
}

// TestByHand: pairs (e, 1) and (1, e), times 100, out of order and one with a limit. Both d
// are 1 in size, so σ² = 2/(2·2) = 1/2 and the value is 100·√(e^½ − 1) = 80.54 %. Each
// differs by (e − 1)/((e + 1)/2) = 92.4 % of a mean of 186: over the control limit of 36.
func TestByHand(t *testing.T) {
	r, err := Duplicates([]Pair{{A: 100, B: 100 * math.E}, {A: 30, B: 20, BBelow: true}, {A: 100 * math.E, B: 100}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.Precision.Value-100*math.Sqrt(math.Sqrt(math.E)-1)) > 1e-9 || r.Used != 2 || r.Controls != 2 || r.Warnings != 0 {
		t.Errorf("%+v", r)
	}
	if r.Pairs[0].Standing != OverControl || r.Pairs[1].Standing != NotJudged || math.Abs(r.Pairs[0].Relative-2*(math.E-1)/(math.E+1)) > 1e-12 {
		t.Errorf("%+v", r.Pairs)
	}
	for _, code := range []string{"few-pairs", "limit-pairs", "over-control"} {
		if !analysis.HasNote(r.Notes, code) {
			t.Errorf("no note %s", code)
		}
	}
}

// TestPublishedLimits: the standard's limits are what normal errors with a coefficient of
// variation of 10 % give from 148 Bq/m³ on, and of 18 % from 74 on, at 5 and 1 % of pairs:
// its 28 and 36, 50 and 67, to within its rounding.
func TestPublishedLimits(t *testing.T) {
	for _, c := range []struct{ mean, cv float64 }{{148, 0.10}, {400, 0.10}, {74, 0.18}, {147.9, 0.18}} {
		warning, control := Limits(c.mean)
		for _, l := range []struct{ got, p float64 }{{warning, 0.05}, {control, 0.01}} {
			want := c.cv * math.Sqrt2 * distuv.UnitNormal.Quantile(1-l.p/2)
			if math.Abs(l.got-want) > 0.015 {
				t.Errorf("at %g the limit for %g of pairs is %.3f, normal theory says %.3f", c.mean, l.p, l.got, want)
			}
		}
	}
	if w, c := Limits(50); w != 0.74 || c != 0.74 {
		t.Errorf("at 50: %v, %v", w, c)
	}
	if w, _ := Limits(1); w != 2 { // no two numbers differ by more
		t.Errorf("at 1: %v", w)
	}
}

func TestProperties(t *testing.T) {
	a, b := []float64{100, 210, 55, 800, 160}, []float64{120, 190, 50, 760, 215}
	r, err := Duplicates(pairs(a, b), Options{})
	if err != nil {
		t.Fatal(err)
	}
	swapped, _ := Duplicates(pairs(b, a), Options{})
	if swapped.Precision.Value != r.Precision.Value {
		t.Error("which of the two is first changes the answer")
	}
	slices.Reverse(a)
	slices.Reverse(b)
	shuffled, _ := Duplicates(pairs(a, b), Options{})
	if math.Abs(shuffled.Precision.Value-r.Precision.Value) > 1e-12 {
		t.Error("the order changes the answer")
	}
	for i := range a {
		a[i], b[i] = 37*a[i], 37*b[i]
	}
	scaled, _ := Duplicates(pairs(a, b), Options{})
	if math.Abs(scaled.Precision.Value-r.Precision.Value) > 1e-9 {
		t.Error("the unit changes the answer")
	}
	wider, _ := Duplicates(pairs(a, b), Options{Confidence: 0.99})
	if wider.Precision.Lower > scaled.Precision.Lower || wider.Precision.Upper < scaled.Precision.Upper {
		t.Error("more confidence is narrower")
	}
	if r.Warnings != 1 || r.Pairs[4].Standing != OverWarning { // 55 of 187.5: 29 %
		t.Errorf("%+v", r)
	}
	same, err := Duplicates(pairs([]float64{50, 60}, []float64{50, 60}), Options{})
	if err != nil || same.Precision != nil || !analysis.HasNote(same.Notes, "identical-pairs") {
		t.Errorf("%+v, %v", same, err)
	}
	limits, err := Duplicates([]Pair{{A: 20, ABelow: true, B: 30}}, Options{})
	if err != nil || limits.Precision != nil || limits.Used != 0 {
		t.Errorf("%+v, %v", limits, err)
	}
	for _, bad := range [][]Pair{nil, {{A: math.NaN(), B: 1}}, {{A: -1, B: 1}}, {{A: math.Inf(1), B: 1}}, {{A: 1e-300, B: 1e300}}} {
		if r, err := Duplicates(bad, Options{}); err == nil {
			t.Errorf("%v: %+v", bad, r)
		}
	}
	if _, err := Duplicates(pairs(a, b), Options{Confidence: 95}); err == nil {
		t.Error("a confidence of 95")
	}
}

// TestCoverage: of log-normal errors the interval holds what it is asked to.
func TestCoverage(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	const trials, cv = 4000, 0.12
	sd := math.Sqrt(math.Log1p(cv * cv))
	for _, n := range []int{2, 5, 20} {
		held := 0
		for range trials {
			var all []Pair
			for range n {
				m := math.Exp(4.5 + rng.NormFloat64())
				all = append(all, Pair{A: m * math.Exp(sd*rng.NormFloat64()), B: m * math.Exp(sd*rng.NormFloat64())})
			}
			r, err := Duplicates(all, Options{})
			if err != nil {
				t.Fatal(err)
			}
			if r.Precision.Lower <= 100*cv && 100*cv <= r.Precision.Upper {
				held++
			}
		}
		// Four standard deviations of the count.
		if share := float64(held) / trials; math.Abs(share-0.95) > 4*math.Sqrt(0.95*0.05/trials) {
			t.Errorf("%d pairs: held %.3f", n, share)
		}
	}
}

func FuzzDuplicates(f *testing.F) {
	f.Add(100.0, 120.0, 1e-300, 1e-300)
	f.Add(1e300, 1e-300, 0.0, 5.0)
	f.Fuzz(func(t *testing.T, a, b, c, d float64) {
		r, err := Duplicates(pairs([]float64{a, c}, []float64{b, d}), Options{})
		if err != nil || r.Precision == nil {
			return
		}
		if err := r.Precision.Check(); err != nil {
			t.Errorf("%v of %v", err, []float64{a, b, c, d})
		}
	})
}
