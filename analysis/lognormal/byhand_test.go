package lognormal

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// t2 is Student's quantile at 0.975 with 2 degrees of freedom, (2p−1)/√(2p(1−p));
// chi-squared's with 2 is −2 ln(1−p).
var t2 = 0.95 / math.Sqrt(2*0.975*0.025)

func exacts(x ...float64) []Observation {
	var obs []Observation
	for _, v := range x {
		obs = append(obs, Exact(v))
	}
	return obs
}

// Three homes, out of order: 40, 10 and 20 Bq/m³. The logarithms are ln 20 and
// ln 20 ± ln 2, so ȳ = ln 20 and s = ln 2: every answer is 20 times a power of 2.
func TestByHand(t *testing.T) {
	s := sample(t, 40, 10, 20)
	agree(t, "mean of logs", s.MeanLog(), math.Log(20), 1e-15)
	agree(t, "sd of logs", s.SDLog(), math.Ln2, 1e-15)

	gm, err := GeometricMean(s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "GM", gm.Value, 20, 1e-14)
	agree(t, "GM, lower", gm.Lower, 20*math.Exp2(-t2/math.Sqrt(3)), 1e-8)
	agree(t, "GM, upper", gm.Upper, 20*math.Exp2(t2/math.Sqrt(3)), 1e-8)

	gsd, err := GeometricSD(s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "GSD", gsd.Value, 2, 1e-14)
	agree(t, "GSD, lower", gsd.Lower, math.Exp2(1/math.Sqrt(-math.Log(0.025))), 1e-10)
	agree(t, "GSD, upper", gsd.Upper, math.Exp2(1/math.Sqrt(-math.Log(0.975))), 1e-10)

	next, err := NextHome(s, Options{})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "next home, upper", next.Upper, 20*math.Exp2(t2*math.Sqrt(4./3)), 1e-8)
	if next.Kind != analysis.PredictionInterval {
		t.Errorf("the next home's interval is of kind %q", next.Kind)
	}

	// The median is the quantile at a half.
	q, err := Quantile(s, 0.5, Options{})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "median, lower", q.Quantile.Lower, gm.Lower, 1e-8)
	agree(t, "median, upper", q.Quantile.Upper, gm.Upper, 1e-8)

	// A level at the geometric mean: half are above, and the limits mirror.
	a, err := Above(s, 20, Options{})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "share above the GM", a.Fraction.Value, 0.5, 1e-14)
	agree(t, "share above the GM, limits", a.Fraction.Lower+a.Fraction.Upper, 1, 1e-10)
	agree(t, "share above the GM, unbiased", a.Unbiased, 0.5, 1e-14)

	// MLE: σ² = (2/3)·ln² 2, mean = 20·e^(σ²/2).
	m := mean(t, s, MOVER, 0.95)
	agree(t, "MLE of the mean", m.MLE, 20*math.Exp(math.Ln2*math.Ln2/3), 1e-14)
	// MOVER: z = 1.959964, χ² of 2 at 0.975 and 0.025.
	v := math.Ln2 * math.Ln2
	low, high := v/2-2*v/(2*-2*math.Log(0.025)), 2*v/(2*-2*math.Log(0.975))-v/2
	z2 := 1.959963984540054 * 1.959963984540054
	agree(t, "MOVER, lower", m.Mean.Lower, 20*math.Exp(v/2-math.Sqrt(z2*v/3+low*low)), 1e-10)
	agree(t, "MOVER, upper", m.Mean.Upper, 20*math.Exp(v/2+math.Sqrt(z2*v/3+high*high)), 1e-10)

	// Land, at three values: U has density ∝ e^(−cu/2) on (−1, 1), so
	// P(U ≤ u) = (e^(c/2) − e^(−cu/2))/(e^(c/2) − e^(−c/2)); it is 1 − p at the limit.
	m = mean(t, s, Land, 0.95)
	for _, c := range []struct{ limit, p float64 }{{m.Mean.Lower, 0.975}, {m.Mean.Upper, 0.025}} {
		b := math.Log(c.limit / 20) // above ȳ
		root := math.Sqrt(3 * (2*v + 3*b*b))
		u := -3 * b / root
		got := (1 - math.Exp(-root*(1+u)/2)) / (1 - math.Exp(-root))
		agree(t, "P(U ≤ u) at Land's limit", got, c.p, 1e-9)
	}

	// Profile likelihood of the geometric mean: 3·ln(1 + 3d²/(2s²)) = χ²₁, and with
	// the adjustment Student's interval.
	fit, err := Fit(exacts(40, 10, 20), FitOptions{Method: ProfileLikelihood})
	if err != nil {
		t.Fatal(err)
	}
	d := math.Ln2 * math.Sqrt(2./3*math.Expm1(3.841458820694124/3))
	agree(t, "GM by likelihood, upper", fit.GM.Upper, 20*math.Exp(d), 1e-8)
	agree(t, "GSD by likelihood", fit.GSD.Value, math.Exp2(math.Sqrt(2./3)), 1e-9)
	if fit, err = Fit(exacts(40, 10, 20), FitOptions{Method: AdjustedLikelihood}); err != nil {
		t.Fatal(err)
	}
	agree(t, "GM by adjusted likelihood, lower", fit.GM.Lower, gm.Lower, 1e-8)
	agree(t, "GM by adjusted likelihood, upper", fit.GM.Upper, gm.Upper, 1e-8)
	agree(t, "GSD by adjusted likelihood", fit.GSD.Value, 2, 1e-9)
	// Its log likelihood at the top, σ² = 2v/3: −3 ln σ − 3/2 − (3/2)ln 2π − Σy.
	agree(t, "log likelihood", fit.LogLikelihood, -1.5*math.Log(2*v/3)-1.5-1.5*math.Log(2*math.Pi)-3*math.Log(20), 1e-10)
}

// The unbiased mean of two log-normal values is their plain mean: with m = 1 the
// series is Σ tᵖ/(2p)! = cosh √t, √t = |ln a/b|/2, and √(ab)·cosh is (a+b)/2.
func TestTwoValuesByHand(t *testing.T) {
	for _, x := range [][2]float64{{30, 90}, {1, 2}, {500, 3}, {1e-6, 1e6}} {
		s := sample(t, x[0], x[1])
		agree(t, "unbiased mean of two", math.Exp(s.mean+logUnbiased(2, s.sd)), (x[0]+x[1])/2, 1e-13)
	}
}

// Two values say nothing usable of the mean: it is given only by a method asked for.
// They lie s/√2 to either side of ȳ, so that of a level between them one is above, and
// of one beyond both, none or two: the unbiased share is one half, none or all.
func TestTwoValuesGiveNoMean(t *testing.T) {
	two, three := exacts(10, 40), exacts(10, 40, 20)
	for _, c := range []struct {
		obs   []Observation
		given bool
	}{{two, false}, {three, true}, {[]Observation{Exact(10), Between(30, 40)}, false}, {[]Observation{Exact(10), Between(30, 40), Exact(20)}, true}} {
		d, err := Describe(c.obs, DescribeOptions{})
		if err != nil || d.Fit == nil || (d.Fit.Mean != nil) != c.given || analysis.HasNote(d.Notes, "no-mean") == c.given {
			t.Errorf("%v: mean %v, notes %v, %v", c.obs, d.Fit.Mean, d.Notes, err)
		}
	}
	s := sample(t, 10, 40)
	if _, err := Mean(s, MeanOptions{}); err == nil {
		t.Error("two values gave a mean")
	}
	mean(t, s, MOVER, 0.95) // asked for
	for level, want := range map[float64]float64{9: 1, 11: 0.5, 25: 0.5, 39: 0.5, 41: 0} {
		if a, err := Above(s, level, Options{}); err != nil || a.Unbiased != want {
			t.Errorf("above %v the unbiased share is %v, not %v (%v)", level, a.Unbiased, want, err)
		}
	}
}

// Five below 10, then 20 and 30: the three quarters' rank, 1 + 6·0.75 = 5.5, lies half
// way from the fifth to the sixth, which is 15 if the fifth is 10, and less else.
// Limits that differ, below 50 and 10, among 20, 30 and 60: at most 10, 20, 30, 50, 60.
func TestRanksByHand(t *testing.T) {
	five := append(slices.Repeat([]Observation{Below(10)}, 5), exacts(30, 20)...)
	mixed := append(exacts(30, 60, 20), Below(50), Below(10))
	for _, c := range []struct {
		obs  []Observation
		p    float64
		want Ranked
	}{
		{five, 0.5, Ranked{0.5, 10, true}}, {five, 0.75, Ranked{0.75, 15, true}}, {five, 5. / 6, Ranked{5. / 6, 20, false}}, {five, 1, Ranked{1, 30, false}},
		{mixed, 0, Ranked{0, 10, true}}, {mixed, 0.25, Ranked{0.25, 20, true}}, {mixed, 0.5, Ranked{0.5, 30, true}}, {mixed, 0.75, Ranked{0.75, 50, true}}, {mixed, 1, Ranked{1, 60, false}},
	} {
		d, err := Describe(c.obs, DescribeOptions{Ranks: []float64{c.p}})
		if err != nil || d.Ranks[0] != c.want {
			t.Errorf("%v: %v, not %v (%v)", c.obs, d.Ranks[0], c.want, err)
		}
	}
	for _, c := range []struct {
		obs   []Observation
		least float64
		below bool
	}{{append(exacts(20), Below(20)), 20, true}, {append(exacts(19), Below(20)), 19, false}, {append(exacts(30), Below(20), Below(25)), 20, true}} {
		if d, err := Describe(c.obs, DescribeOptions{}); err != nil || d.Min != c.least || d.MinBelow != c.below {
			t.Errorf("%v: least %v, %v (%v)", c.obs, d.Min, d.MinBelow, err)
		}
	}
}

// With half the confidence on either side, an upper tolerance limit is the quantile
// itself where the likelihood gives it, and near it where the exact method does; with a
// little more it lies a little higher.
func TestToleranceAtAHalf(t *testing.T) {
	obs := append(exacts(30, 50, 80, 20, 140), Below(20))
	last := 0.0
	for _, c := range []float64{0.5, 0.500001, 0.51, 0.6, 0.9} {
		r, err := Fit(obs, FitOptions{Confidence: c, Quantiles: []float64{0.9}})
		if err != nil {
			t.Fatal(err)
		}
		q := r.Quantiles[0].Tolerance
		if c == 0.5 && q.Upper != q.Value || c == 0.500001 && q.Upper > q.Value*1.0001 || q.Upper < last {
			t.Errorf("at %v the limit of %v is %v", c, q.Value, q.Upper)
		}
		last = q.Upper
	}
	complete, err := Fit(obs[:5], FitOptions{Confidence: 0.5, Quantiles: []float64{0.9}})
	if err != nil || complete.Quantiles[0].Tolerance.Upper <= complete.GM.Value || complete.Quantiles[0].Tolerance.Upper > complete.Quantiles[0].Quantile.Upper {
		t.Errorf("%+v, %v", complete.Quantiles, err)
	}
}

// An upper limit over a million times the value is open, and says so and not how many times the
// lower it is; the geometric mean is advised where it is better known, and only there.
func TestLimitsBeyondReason(t *testing.T) {
	wide, err := Fit(exacts(1, 40, 9000), FitOptions{})
	if err != nil || !math.IsInf(wide.Mean.Upper, 1) || !analysis.HasNote(wide.Mean.Notes, "unbounded") {
		t.Fatalf("%+v, %v", wide.Mean, err)
	}
	// A mean without an upper limit is none to describe homes by.
	if d, err := Describe(exacts(1, 40, 9000), DescribeOptions{}); err != nil || d.Fit.Mean != nil || !analysis.HasNote(d.Notes, "no-mean") {
		t.Errorf("%+v, %v", d, err)
	}
	said := func(e *analysis.Estimate) string {
		for _, n := range e.Notes {
			if n.Code == "too-uncertain" {
				return n.Text
			}
		}
		return ""
	}
	if text := said(wide.Mean); text != "" {
		t.Errorf("a mean that is open above is also said to have an upper limit: %q", text)
	}
	s, err := FromLogs(3, math.Log(70), 3)
	if err != nil {
		t.Fatal(err)
	}
	if m, err := Mean(s, MeanOptions{}); err != nil || !math.IsInf(m.Mean.Upper, 1) || said(&m.Mean) != "" {
		t.Errorf("%+v, %v", m.Mean, err)
	}
	if notes := wideNote(0, 5, 4, 9); len(notes) != 1 || strings.Contains(notes[0].Text, "geometric mean") {
		t.Errorf("the geometric mean is no better known, and %v", notes)
	}
	near, err := Describe(exacts(10, 20, 300, 40, 80, 15, 110, 22, 700), DescribeOptions{})
	if err != nil || math.IsInf(near.Fit.Mean.Upper, 1) || !strings.Contains(said(near.Fit.Mean), "geometric mean") {
		t.Errorf("the geometric mean lies from %v to %v: %+v, %v", near.Fit.GM.Lower, near.Fit.GM.Upper, near.Fit.Mean, err)
	}
	// What is less than a number can hold is 0, and no share is ever open.
	tiny, err := Describe(exacts(1e-300, 1e-290), DescribeOptions{Levels: []float64{1e-280}})
	if err != nil || tiny.Fit.GM.Lower != 0 || tiny.Fit.GM.Check() != nil || tiny.Above[0].Fraction.Upper > 1 {
		t.Errorf("%+v, %v", tiny.Fit.GM, err)
	}
}

// A mean without an upper limit is none: it would lie far above every value, in a tail
// that only the fit has. 60, 195 and 300 over outdoor air at 70, and two zeros below 5
// beside 20 and 60, once gave means of 10300 and 381 Bq/m³.
func TestNoMeanWithoutALimit(t *testing.T) {
	zeros := append(exacts(20, 60), Below(5), Below(5))
	for _, c := range []struct {
		obs     []Observation
		outdoor float64
		given   bool
	}{{exacts(300, 60, 195), 70, false}, {exacts(300, 80, 195, 150, 190, 240), 70, true}, {zeros, 0, false}, {append(exacts(40, 25, 33), zeros...), 0, true}} {
		d, err := Describe(c.obs, DescribeOptions{Outdoor: c.outdoor})
		if err != nil || (d.Fit.Mean != nil) != c.given || analysis.HasNote(d.Notes, "no-mean") == c.given {
			t.Errorf("%v over %v: mean %v, notes %v, %v", c.obs, c.outdoor, d.Fit.Mean, d.Notes, err)
		}
		if m := d.Fit.Mean; m != nil && m.Value > 300 {
			t.Errorf("%v over %v: the mean is %v", c.obs, c.outdoor, m)
		}
	}
	// Its lower limit is as good as any, and is said instead, the outdoor air given back; but
	// not where it is that air and nothing more.
	fit, err := Fit(zeros, FitOptions{})
	if err != nil || fit.Mean == nil || !math.IsInf(fit.Mean.Upper, 1) || !(fit.Mean.Lower > 0) {
		t.Fatalf("%+v, %v", fit.Mean, err)
	}
	for outdoor, obs := range map[float64][]Observation{0: zeros, 10: append(exacts(30, 70), Below(15), Below(15))} {
		d, err := Describe(obs, DescribeOptions{Outdoor: outdoor})
		want := fmt.Sprintf("above %.3g Bq/m³, the lower limit of its 95 %% interval", fit.Mean.Lower+outdoor)
		if err != nil || !slices.ContainsFunc(d.Notes, func(n analysis.Note) bool { return n.Code == "mean-at-least" && strings.Contains(n.Text, want) }) {
			t.Errorf("over %v: %v, not %q, %v", outdoor, d.Notes, want, err)
		}
	}
	for _, outdoor := range []float64{0, 10} {
		d, err := Describe(exacts(outdoor+1.1, outdoor+1e4, outdoor+1e9), DescribeOptions{Outdoor: outdoor})
		if err != nil || !analysis.HasNote(d.Notes, "no-mean") || analysis.HasNote(d.Notes, "mean-at-least") {
			t.Errorf("over %v: %v, %v", outdoor, d.Notes, err)
		}
	}
	// A mean with limits may lie above every value too, where values are of two kinds: e^0
	// and e^5, ten times each. ȳ = 2.5, s² = 20·6.25/19, and by likelihood e^(2.5 + 6.25/2)
	// is 277, over 148.
	two := append(slices.Repeat(exacts(1), 10), slices.Repeat(exacts(math.Exp(5)), 10)...)
	for _, m := range []FitMethod{"", ProfileLikelihood} {
		d, err := Describe(two, DescribeOptions{Method: m})
		if err != nil || d.Fit.Mean == nil || !(d.Fit.Mean.Value > math.Exp(5)) || !analysis.HasNote(d.Notes, "mean-above-values") {
			t.Errorf("by %q: %+v, %v", m, d.Fit.Mean, err)
		}
	}
}

// Of 17 below 20 and three above, 21, 40 and 90, nothing is said below 21: neither of the
// middle and the spread, nor a quantile or a level there. Two more above, and all is said.
func TestMostlyBelowByHand(t *testing.T) {
	obs := append(slices.Repeat([]Observation{Below(20)}, 17), exacts(90, 21, 40)...)
	opt := DescribeOptions{Quantiles: []float64{0.5, 0.95}, Levels: []float64{10, 50}}
	d, err := Describe(obs, opt)
	if err != nil || d.Fit == nil {
		t.Fatal(d.Notes, err)
	}
	if f := d.Fit; f.GM != nil || f.GSD != nil || f.Mean != nil || len(f.Quantiles) != 1 || f.Quantiles[0].P != 0.95 || f.Quantiles[0].Quantile.Value < 21 {
		t.Errorf("%+v", f)
	}
	if d.Above[0].Fraction != nil || d.Above[1].Fraction == nil || d.Above[1].Fraction.Quantity != "share above 50 Bq/m³" || d.Above[1].Counted == nil {
		t.Errorf("%+v", d.Above)
	}
	line, err := Plot(obs, FitOptions{})
	if err != nil || len(line.Line) == 0 || line.Line[0].Value < 21 || len(line.Line) > 12 {
		t.Errorf("a line of %d points: %+v, %v", len(line.Line), line.Line, err)
	}
	more, err := Describe(append(obs, exacts(33, 50)...), opt)
	if err != nil || more.Fit.GM == nil || more.Fit.GSD == nil || more.Fit.Mean == nil || len(more.Fit.Quantiles) != 2 || more.Above[0].Fraction == nil {
		t.Errorf("%+v, %v", more.Fit, err)
	}
	// The same over outdoor air: levels find their shares again.
	for i := range obs {
		obs[i].Upper += 0.1
		if obs[i].Lower > 0 {
			obs[i].Lower += 0.1
		}
	}
	over, err := Describe(obs, DescribeOptions{Outdoor: 0.1, Quantiles: opt.Quantiles, Levels: []float64{10.1, 50.1}})
	if err != nil || over.Above[0].Fraction != nil || over.Above[1].Fraction == nil {
		t.Fatalf("%+v, %v", over.Above, err)
	}
	agree(t, "share above, outdoors taken off", over.Above[1].Fraction.Value, d.Above[1].Fraction.Value, 1e-9)
	agree(t, "quantile, outdoors given back", over.Fit.Quantiles[0].Quantile.Value, d.Fit.Quantiles[0].Quantile.Value+0.1, 1e-9)
}

// With errors the counted share is of other values than the fitted one, and neither a
// doubt of the other: it is said, and none is advised to compare them.
func TestCountedWithErrors(t *testing.T) {
	obs := []Observation{{40, 40, 0.3}, {10, 10, 0.3}, {90, 90, 0.3}}
	for _, c := range []struct {
		obs    []Observation
		levels []float64
		said   bool
	}{{obs, []float64{50}, true}, {obs, nil, false}, {exacts(40, 10, 90), []float64{50}, false}} {
		d, err := Describe(c.obs, DescribeOptions{Levels: c.levels, Shape: true})
		if err != nil || analysis.HasNote(d.Notes, "counted-with-errors") != c.said {
			t.Errorf("%v at %v: %v, %v", c.obs, c.levels, d.Notes, err)
		}
		for _, n := range d.Notes {
			if strings.Contains(n.Text, "compare the share counted") {
				t.Errorf("%v: %q", c.obs, n.Text)
			}
		}
	}
}

// Four homes counted in classes: one under 10, two from 10 to 40, one over 40. Two
// parameters meet the three shares exactly: Φ((ln 10 − μ)/σ) = ¼ and
// Φ((ln 40 − μ)/σ) = ¾, so GM = 20 and σ = ln 2/0.6744898.
func TestClassesByHand(t *testing.T) {
	obs := []Observation{Between(10, 40), Below(10), {40, math.Inf(1), 0}, Between(10, 40)}
	fit, err := Fit(obs, FitOptions{Method: ProfileLikelihood, Levels: []float64{40}})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "GM", fit.GM.Value, 20, 1e-9)
	agree(t, "σ", fit.SDLog, math.Ln2/0.6744897501960817, 1e-8)
	agree(t, "share above 40", fit.Above[0].Fraction.Value, 0.25, 1e-8)
	agree(t, "log likelihood", fit.LogLikelihood, 2*math.Log(0.25)+2*math.Log(0.5), 1e-9)
	if fit.Below != 1 || fit.Between != 3 {
		t.Errorf("%d below, %d between", fit.Below, fit.Between)
	}
}

// Values each known to within e = 0.3: the variance seen, (2/3)·ln² 2, is σ² + e².
func TestErrorsByHand(t *testing.T) {
	obs := []Observation{{40, 40, 0.3}, {10, 10, 0.3}, {20, 20, 0.3}}
	fit, err := Fit(obs, FitOptions{Method: ProfileLikelihood})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "σ", fit.SDLog, math.Sqrt(2./3*math.Ln2*math.Ln2-0.09), 1e-7)
	// A stated u of 3 for 10 Bq/m³ is √ln 1.09 of the logarithm, if counted.
	r := analysis.Reading{Concentration: 10, Uncertainty: 3}
	agree(t, "error of a reading", FromReading(r, true).Error, math.Sqrt(math.Log(1.09)), 1e-14)
	if FromReading(r, false) != Exact(10) || FromReading(analysis.Reading{Concentration: 10, BelowLimit: true}, true) != Below(10) {
		t.Error("a reading became another observation")
	}
	// So it is for a limit of 10 Bq/m³.
	r.BelowLimit = true
	if o := FromReading(r, true); o != (Observation{0, 10, LogError(0.3)}) || FromReading(r, false) != Below(10) {
		t.Errorf("a limit of 10 ± 3 became %v", o)
	}
	// A limit without an error has the root mean square of 0.3 and 0.4, √0.125; one with
	// an error keeps it, and a value without one is exact.
	got := LimitErrors([]Observation{Below(20), {40, 40, 0.3}, {0, 30, 0.7}, {50, 60, 0.4}, Exact(70), {90, math.Inf(1), 0}})
	for i, want := range []float64{math.Sqrt(0.125), 0.3, 0.7, 0.4, 0, math.Sqrt(0.125)} {
		agree(t, "error", 1+got[i].Error, 1+want, 1e-14)
	}
	if got := LimitErrors([]Observation{Below(20), Exact(30)}); got[0] != Below(20) {
		t.Errorf("no value has an error, and the limit is %v", got[0])
	}
}

// Counted: of n homes none above, P(X = 0) = (1 − θ)ⁿ = α/2 at the upper limit; of n
// all above, mirrored; of one, both have closed forms.
func TestCountedByHand(t *testing.T) {
	none, err := Counted(0, 20, 200, Options{})
	if err != nil || none.Lower != 0 {
		t.Fatal(none, err)
	}
	agree(t, "none of 20", none.Upper, 1-math.Pow(0.025, 1./20), 1e-12)
	all, err := Counted(20, 20, 200, Options{})
	if err != nil || all.Upper != 1 {
		t.Fatal(all, err)
	}
	agree(t, "all of 20", all.Lower, math.Pow(0.025, 1./20), 1e-12)
	// Two of two hundred (R's binom.test, from memory): 0.00121 to 0.03565.
	few, err := Counted(2, 200, 200, Options{})
	if err != nil || math.Abs(few.Lower-0.00121) > 6e-6 || math.Abs(few.Upper-0.03565) > 6e-6 {
		t.Error(few, err)
	}
}

// BCa's acceleration of 1, 2, 6 about 3: Σd² = 14, Σd³ = −8 − 1 + 27 = 18, so
// a = 18/(6·14^1.5). All 5⁵ resamples of five values leave nothing to chance: R
// gives these limits of the mean, by the same rank rule.
func TestResamplingByHand(t *testing.T) {
	r, err := BCa([]float64{6, 1, 2}, BCaOptions{Resamples: 1000})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "acceleration", r.Acceleration, 3/math.Pow(14, 1.5), 1e-12)

	x := []float64{74.1, 281, 51.2, 44.4, 42.2}
	var means []float64
	for i := range 3125 {
		s := 0.0
		for range 5 {
			s += x[i%5]
			i /= 5
		}
		means = append(means, s/5)
	}
	slices.Sort(means)
	_, _, z0, a := bcaLimits(x, 98.58, means, 0.025)
	agree(t, "ideal acceleration", a, 0.107741514185745, 1e-12)
	agree(t, "ideal bias", z0, 0.117782494947647, 1e-9)
	// With z0 counted strictly below, R's adjusted shares are 0.06666 and 0.99617; the
	// formula is the same, so it is held to them by putting that z0 in.
	for _, c := range []struct{ p, want float64 }{{0.025, 0.0666556628477172}, {0.975, 0.996170525039222}} {
		agree(t, "adjusted share", bcaShare(0.0694392340704875, a, numeric.NormalQuantile(c.p)), c.want, 1e-9)
	}
}

// Three logarithms 0, 1, 3: the weights are (−1, 0, 1)/√2, so W = (3²/2)/(14/3) =
// 27/28, and p = (6/π)(asin √W − asin √¾). The plot's correlation of 0, 1, 2 is 1.
func TestShapeByHand(t *testing.T) {
	r, err := Shape(exacts(math.Exp(3), 1, math.E))
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "W", r.Shapiro.Statistic, 27./28, 1e-14)
	agree(t, "p", r.Shapiro.P, 6/math.Pi*(math.Asin(math.Sqrt(27./28))-math.Pi/3), 1e-12)
	if r.Anderson != nil {
		t.Error("an A² of three values")
	}
	if r, err = Shape(exacts(1, math.Exp(2), math.E)); err != nil {
		t.Fatal(err)
	}
	agree(t, "correlation", r.Correlation, 1, 1e-15)
	agree(t, "the plot's least", r.Plot[0].Value, 1, 1e-15)
	agree(t, "its rank", r.Plot[0].Z, numeric.NormalQuantile(1-math.Pow(0.5, 1./3)), 1e-14)
}

// Outdoor air at 10 is taken off 50, 10.5, 8 and <30: 40, then two within a tenth of
// it, so below 1, and below 20. A value's error of 10 % of 50 is 12.5 % of 40, and one of
// 50 % of 15 is 150 % of 5, whose logarithm has √ln 3.25; 10 % of a limit of 30 are 15 %
// of one of 20, 20 % of 10.5, or of a limit of 10.8, are 220 % of a floor of 1 with the 10
// outdoors, 10 % of 17.5, between 15 and 20, are 1.75 of 7.5, and of 20 alone 2 of 10.
func TestOutdoorByHand(t *testing.T) {
	got, err := SubtractOutdoor([]Observation{{50, 50, LogError(0.1)}, {15, 15, LogError(0.5)}, Exact(10.5), Exact(8), Below(30), Between(15, 20), Between(5, 20),
		{0, 30, LogError(0.1)}, {10.5, 10.5, LogError(0.2)}, {0, 10.8, LogError(0.2)}, {15, 20, LogError(0.1)}, {5, 20, LogError(0.1)}}, 10)
	if err != nil {
		t.Fatal(err)
	}
	want := []Observation{{40, 40, LogError(0.125)}, {5, 5, math.Sqrt(math.Log(3.25))}, Below(1), Below(1), Below(20), Between(5, 10), Below(10),
		{0, 20, LogError(0.15)}, {0, 1, LogError(2.2)}, {0, 1, LogError(2.2)}, {5, 10, LogError(1.75 / 7.5)}, {0, 10, LogError(0.2)}}
	for i := range want {
		agree(t, "error", got[i].Error+1, want[i].Error+1, 1e-14)
		got[i].Error = want[i].Error
		if got[i] != want[i] {
			t.Errorf("value %d became %v, not %v", i, got[i], want[i])
		}
	}
}

// Seven homes, out of order. R's quantile of type 7 puts the quarter at rank
// 1 + 6/4 = 2.5. Two of seven are above 100; one straddles 60.
func TestDescribeByHand(t *testing.T) {
	obs := append(exacts(150, 40, 80), Below(20), Between(110, 130), Exact(30), Between(50, 70))
	d, err := Describe(obs, DescribeOptions{Levels: []float64{100, 60}, Ranks: []float64{0, 0.25, 0.5, 1}})
	if err != nil {
		t.Fatal(err)
	}
	if d.N != 7 || d.Below != 1 || d.Between != 2 || d.Min != 20 || !d.MinBelow || d.Max != 150 {
		t.Errorf("%+v", d)
	}
	for i, want := range []Ranked{{0, 20, true}, {0.25, 35, false}, {0.5, 60, false}, {1, 150, false}} {
		if d.Ranks[i] != want {
			t.Errorf("rank %d is %v, not %v", i, d.Ranks[i], want)
		}
	}
	if c := d.Above[0].Counted; c == nil || c.Value != 2./7 {
		t.Errorf("counted above 100: %v", c)
	}
	if d.Above[1].Counted != nil || !analysis.HasNote(d.Notes, "level-within-limits") || d.Above[1].Fraction == nil {
		t.Errorf("counted above 60, which one value straddles: %v, %v", d.Above[1], d.Notes)
	}
	if d.Shape != nil {
		t.Error("a shape that was not asked for")
	}

	// With outdoor air at 10, the mean and quantiles are of all the radon and the GM of
	// the excess: of 20, 30 and 50 that is 10, 20 and 40.
	d, err = Describe(exacts(50, 20, 30), DescribeOptions{Outdoor: 10, Levels: []float64{30}})
	if err != nil {
		t.Fatal(err)
	}
	plain := sample(t, 10, 20, 40)
	agree(t, "GM of the excess", d.Fit.GM.Value, 20, 1e-12)
	agree(t, "mean with outdoors", d.Fit.Mean.Value, 10+mean(t, plain, Land, 0.95).Unbiased, 1e-12)
	agree(t, "share above 30", d.Above[0].Fraction.Value, 0.5, 1e-12)
	if f := d.Fit.Above[0].Fraction; f.Quantity != "share above 30 Bq/m³" || d.Above[0].Fraction.Quantity != f.Quantity {
		t.Errorf("a share above 30 is called %q and %q", f.Quantity, d.Above[0].Fraction.Quantity)
	}
	if d.Fit.Above[0].Level != 30 || d.Above[0].Counted.Value != 1./3 {
		t.Errorf("%+v", d.Above[0])
	}
}
