package compare

import (
	"math"
	"strings"
	"testing"

	"radonyear/analysis"
)

// TestContrastByHand: logarithms 0, 2 against 3, 5, 7 in units of ln 2 have means 1 and 5,
// variances 2 and 4, and so s²/n of 1 and 4/3: with over without is 2^−4, degrees of
// freedom (7/3)²/(1/1 + (16/9)/2) = 2.882353. Pairs 1/2, 1/4, 1/8 have the mean 1/4.
func TestContrastByHand(t *testing.T) {
	r, err := WithWithout([]float64{4, 1}, []float64{32, 8, 128}, false, ContrastOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ratio", r.Ratio.Value, 1.0/16, 1e-12)
	near(t, "reduction", r.Reduction.Value, 93.75, 1e-10)
	near(t, "degrees of freedom", r.DF, 49.0/17, 1e-12)
	near(t, "middle", r.Median.Value, 1.0/16, 1e-12) // differences −7, −5, −5, −3, −3, −1
	if !analysis.HasNote(r.Ratio.Notes, "unmatched") || !analysis.HasNote(r.Median.Notes, "few-homes") {
		t.Errorf("notes %v", r.Notes)
	}
	r, err = WithWithout([]float64{50, 10, 100}, []float64{100, 40, 800}, true, ContrastOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "pairs", r.Ratio.Value, 0.25, 1e-12)
	near(t, "pairs, upper", math.Log(r.Ratio.Upper), math.Log(0.25)+4.302653*math.Ln2/math.Sqrt(3), 1e-6)
	near(t, "pairs, middle", r.Median.Value, 0.25, 1e-12)
	if r.Ratio.N != 3 || r.DF != 2 || analysis.HasNote(r.Notes, "unmatched") {
		t.Errorf("%+v", r)
	}
}

// TestContrastProperties: another unit changes nothing, exchanged groups turn the ratio
// over, pairs are what Pool makes of their log ratios, and more confidence never narrows.
func TestContrastProperties(t *testing.T) {
	with, without := []float64{38, 61, 25, 90, 44, 29}, []float64{410, 190, 830, 95, 260, 330}
	for _, matched := range []bool{true, false} {
		get := func(x, y []float64, c, scale float64) Contrast {
			t.Helper()
			a, b := make([]float64, len(x)), make([]float64, len(y))
			for i := range x {
				a[i] = x[i] * scale
			}
			for i := range y {
				b[i] = y[i] * scale
			}
			r, err := WithWithout(a, b, matched, ContrastOptions{c})
			if err != nil {
				t.Fatal(err)
			}
			return r
		}
		base := get(with, without, 0.95, 1)
		scaled, turned, wider := get(with, without, 0, 37), get(without, with, 0, 1), get(with, without, 0.99, 1)
		for i, e := range []analysis.Estimate{base.Ratio, base.Median} {
			s, u, w := []analysis.Estimate{scaled.Ratio, scaled.Median}[i], []analysis.Estimate{turned.Ratio, turned.Median}[i], []analysis.Estimate{wider.Ratio, wider.Median}[i]
			near(t, "scaled", s.Lower, e.Lower, 1e-12)
			near(t, "turned", u.Value, 1/e.Value, 1e-10)
			near(t, "turned, lower", u.Lower, 1/e.Upper, 1e-10)
			if w.Lower > e.Lower || w.Upper < e.Upper {
				t.Errorf("%s: narrower with more confidence", e.Quantity)
			}
		}
		if !matched {
			continue
		}
		var es []Effect
		for i := range with {
			es = append(es, Effect{Log: math.Log(with[i]) - math.Log(without[i])})
		}
		p, err := Pool(es, PoolOptions{})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "pooled t", p.PairedT.Lower, base.Ratio.Lower, 1e-12)
		near(t, "pooled without uncertainties", p.Ratio.Upper, base.Ratio.Upper, 1e-12)
		near(t, "pooled ranks", p.Median.Upper, base.Median.Upper, 1e-12)
	}
}

// TestContrastInWords: what cannot be compared is an error that says why.
func TestContrastInWords(t *testing.T) {
	two, three := []float64{10, 20}, []float64{100, 200, 300}
	for _, c := range []struct {
		with, without []float64
		matched       bool
		confidence    float64
		want          string
	}{
		{two, three, true, 0, "2 homes with the system and 3 without cannot be matched"},
		{two[:1], three[:1], true, 0, "one pair of homes"},
		{nil, nil, true, 0, "one pair of homes"},
		{two[:1], three, false, 0, "1 homes with the system and 3 without"},
		{two, nil, false, 0, "2 homes with the system and 0 without"},
		{[]float64{10, 0}, three, false, 0, "home 2 with the system: 0 Bq/m³ has no logarithm"},
		{two, []float64{math.NaN(), 3}, false, 0, "home 1 without the system: NaN"},
		{two, []float64{math.Inf(1), 3}, false, 0, "home 1 without the system: +Inf"},
		{two, []float64{100, 200}, true, 0, "do not differ among each other"},
		{[]float64{10, 10}, []float64{20, 20}, false, 0, "do not differ among each other"},
		{[]float64{1e300, 1e299}, []float64{1e-300, 1e-299}, false, 0, "beyond what a number can hold"},
		{two, three, false, 2, "a confidence of 2"},
	} {
		if _, err := WithWithout(c.with, c.without, c.matched, ContrastOptions{c.confidence}); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v, %v: %v, not %q", c.with, c.without, err, c.want)
		}
	}
	if r, err := WithWithout([]float64{1e-300, 1e-299}, []float64{1e-300, 1e-299, 1e-298}, false, ContrastOptions{}); err != nil || !(r.Ratio.Value > 0) {
		t.Errorf("tiny: %v, %v", r.Ratio, err)
	}
}
