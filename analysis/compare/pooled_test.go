package compare

import (
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mathext"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/internal/reftest"
)

// logLimits are the limits as logarithms, as the reference has them.
func logLimits(e analysis.Estimate) (lower, upper float64) {
	return math.Log(e.Lower), math.Log(e.Upper)
}

func effectsOf(logs, sds []float64) (es []Effect) {
	for i, y := range logs {
		e := Effect{Home: fmt.Sprint(i), Log: y}
		if sds != nil {
			e.SD = sds[i]
		}
		es = append(es, e)
	}
	return es
}

// TestPooledReference holds everything here to R; the cases' names say what is meant.
func TestPooledReference(t *testing.T) {
	file, err := reftest.Read("compare-pooled.json")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, c := range file.Cases {
		var in struct {
			Log, SD, X, Y      []float64
			Start, Days, Mean  []float64
			On                 []bool
			Common, Confidence float64
			Below, Homes       int
		}
		if err := json.Unmarshal(c.Input, &in); err != nil {
			t.Fatal(err)
		}
		kind, _, _ := strings.Cut(c.Name, ":")
		seen[kind]++
		got := map[string]float64{}
		ofLimits := func(l limits) { got["mid"], got["lower"], got["upper"] = l.mid, l.lower, l.upper }
		ofEstimate := func(name string, e analysis.Estimate) {
			got[name], got["lower"], got["upper"] = e.Value, e.Lower, e.Upper
		}
		switch kind {
		case "pool", "next":
			r, err := Pool(effectsOf(in.Log, in.SD), PoolOptions{in.Confidence, in.Common})
			if err != nil {
				t.Fatal(err)
			}
			if kind == "next" {
				got["lower"], got["upper"] = logLimits(*r.Next)
				break
			}
			got["log"] = math.Log(r.Ratio.Value)
			got["lower"], got["upper"] = logLimits(r.Ratio)
			got["tau"], got["tau_lower"], got["tau_upper"] = r.Tau.Value, r.Tau.Lower, r.Tau.Upper
			got["q"], got["p"], got["i2"] = r.Heterogeneity.Q, r.Heterogeneity.P, r.Heterogeneity.I2
		case "signed":
			l, _ := hodgesLehmann(in.X, in.Confidence)
			ofLimits(l)
		case "shift":
			l, _ := hodgesLehmannShift(in.X, in.Y, in.Confidence)
			ofLimits(l)
		case "t":
			ofLimits(pairedT(in.X, in.Confidence))
		case "welch":
			r, err := WithWithout(in.X, in.Y, false, ContrastOptions{in.Confidence})
			if err != nil {
				t.Fatal(err)
			}
			ofEstimate("ratio", r.Ratio)
			got["df"] = r.DF
		case "wilson":
			e, err := ShareBelow(in.Below, in.Homes, in.Confidence)
			if err != nil {
				t.Fatal(err)
			}
			ofEstimate("share", e)
		case "cycle":
			r, err := Cycle(periodsOf(in.Start, in.Days, in.Mean, in.On), CycleOptions{in.Confidence})
			if err != nil {
				t.Fatal(err)
			}
			ofEstimate("ratio", r.Ratio)
			got["df"], got["scatter"] = float64(r.DF), r.Scatter
		}
		for _, bad := range c.Check(got) {
			t.Error(bad)
		}
	}
	for kind, least := range map[string]int{"pool": 8, "next": 8, "signed": 7, "shift": 3, "t": 5, "welch": 2, "wilson": 8, "cycle": 4} {
		if seen[kind] < least {
			t.Errorf("%d cases of %q, fewer than %d", seen[kind], kind, least)
		}
	}
}

// TestPooledPublished: what is printed of the trials of BCG vaccine (Viechtbauer 2010, J.
// Stat. Softw. 36(3), from memory): τ² 0.3132, between 0.1197 and 1.1115; I² 92.22 %; Q
// 152.23; mean −0.7145. And of Wilson's interval, Newcombe 1998, Stat. Med. 17:857, table I
// (0 of 20: 0 to 0.1611). Of pairs: Student's t of Darwin's maize, 2.148 on 14 degrees of
// freedom, Fisher 1935, The Design of Experiments, section 17 (from memory); and Wilcoxon's
// signed ranks of Hollander and Wolfe's depression pairs, one-sided p = 0.01953 as R's help
// of wilcox.test prints it: 0 lies outside the interval asked for at 1 − 2p, and inside
// any wider one.
func TestPooledPublished(t *testing.T) {
	file, err := reftest.Read("compare-pooled.json")
	if err != nil {
		t.Fatal(err)
	}
	var in struct{ Log, SD []float64 }
	if err := json.Unmarshal(file.Cases[0].Input, &in); err != nil || !strings.Contains(file.Cases[0].Name, "BCG") {
		t.Fatal(file.Cases[0].Name, err)
	}
	r, err := Pool(effectsOf(in.Log, in.SD), PoolOptions{})
	if err != nil {
		t.Fatal(err)
	}
	square := func(x float64) float64 { return x * x }
	near(t, "τ²", square(r.Tau.Value), 0.3132, 5e-5)
	near(t, "τ², lower", square(r.Tau.Lower), 0.1197, 5e-5)
	near(t, "τ², upper", square(r.Tau.Upper), 1.1115, 5e-5)
	near(t, "I²", r.Heterogeneity.I2, 0.9222, 5e-5)
	near(t, "Q", r.Heterogeneity.Q, 152.23, 5e-3)
	near(t, "mean", math.Log(r.Ratio.Value), -0.7145, 5e-5)
	e, err := ShareBelow(0, 20, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	if e.Lower != 0 {
		t.Errorf("of none of 20 the lower limit is %v", e.Lower)
	}
	near(t, "0 of 20", e.Upper, 16.11, 0.005)

	pairs := map[string][]float64{}
	for _, c := range file.Cases {
		var in struct{ X []float64 }
		if json.Unmarshal(c.Input, &in) == nil {
			pairs[c.Name] = in.X
		}
	}
	maize, depression := pairs["t: maize, Fisher 1935"], pairs["signed: depression"]
	if len(maize) != 15 || len(depression) != 9 {
		t.Fatalf("%d pairs of maize, %d of depression", len(maize), len(depression))
	}
	l := pairedT(maize, 0.95)
	near(t, "t of maize", l.mid/(l.upper-l.mid)*tHalf(14, 0.95), 2.148, 5e-4)
	const p = 0.01953
	if inner, _ := hodgesLehmann(depression, 1-2*(p+1e-5)); inner.upper >= 0 {
		t.Errorf("depression: 0 is not outside the interval: %v", inner)
	}
	if outer, _ := hodgesLehmann(depression, 1-2*(p-1e-5)); outer.upper <= 0 {
		t.Errorf("depression: 0 is not inside the wider interval: %v", outer)
	}
}

// TestPooledByHand: answers that can be derived on paper.
func TestPooledByHand(t *testing.T) {
	pooled := func(logs, sds []float64, opt PoolOptions) Pooled {
		t.Helper()
		r, err := Pool(effectsOf(logs, sds), opt)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	// Homes known alike: the mean is plain, τ² the variance of the logs less theirs. Logs
	// 1, −1, 0 have variance 1; SD 0.6 leaves 0.64. Their mean has variance 1/3 and t on 2
	// degrees of freedom is 4.302653, so that limits are ±2.484138. Q is 2/0.36. τ is 0
	// where Q would be 2/(0.36 + τ²) = 7.377759 at least, and that is at τ² < 0.
	third := []float64{0.6, 0.6, 0.6}
	r := pooled([]float64{1, -1, 0}, third, PoolOptions{})
	near(t, "mean", r.Ratio.Value, 1, 1e-12)
	lower, upper := logLimits(r.Ratio)
	near(t, "lower", lower, -2.484138, 1e-6)
	near(t, "upper", upper, 2.484138, 1e-6)
	near(t, "reduction, lower", r.Reduction.Lower, 100*(1-math.Exp(2.484138)), 2e-3)
	near(t, "reduction, upper", r.Reduction.Upper, 100*(1-math.Exp(-2.484138)), 1e-5)
	near(t, "τ", r.Tau.Value, 0.8, 1e-12)
	near(t, "Q", r.Heterogeneity.Q, 2/0.36, 1e-12)
	near(t, "P", r.Heterogeneity.P, math.Exp(-1/0.36), 1e-12) // chi-squared on 2 is exponential
	near(t, "I²", r.Heterogeneity.I2, 0.64, 1e-12)
	near(t, "τ, lower", r.Tau.Lower, 0, 0)
	near(t, "τ, upper", r.Tau.Upper, math.Sqrt(2/0.0506356-0.36), 1e-4) // −2 ln 0.975
	// An error that all share, variance 0.25: to the square of 2.484138 comes 1.959964²/4.
	shared := pooled([]float64{1, -1, 0}, third, PoolOptions{Common: 0.25})
	_, upper = logLimits(shared.Ratio)
	near(t, "shared", upper, math.Hypot(2.484138, 1.959964/2), 1e-6)

	// Homes that differ by less than they must: q would be 0.02/0.36/2, and is 1. Their
	// mean is known to √(0.36/3).
	r = pooled([]float64{0.1, -0.1, 0}, third, PoolOptions{})
	near(t, "τ = 0", r.Tau.Value, 0, 0)
	_, upper = logLimits(r.Ratio)
	near(t, "q at least 1", upper, 4.302653*math.Sqrt(0.12), 1e-6)

	// Estimated alike, they may still differ, and so may the next. Q(τ²) is 0.08/(0.36 + τ²), and
	// chi-squared c on 2 is exponential: τ² = max(0, 0.08/c − 0.36). The next home's limit is where
	// ∫ ½e^(−c/2)·Φ(−x/√((1.490483/1.959964)² + τ²)) dc is 2.5 %, which a sum over 100,000 equally
	// likely c puts at 1.59950.
	r = pooled([]float64{0.2, -0.2, 0}, third, PoolOptions{})
	near(t, "τ = 0 again", r.Tau.Value, 0, 0)
	_, upper = logLimits(r.Ratio)
	near(t, "the middle of homes alike", upper, 1.490483, 1e-6)
	_, upper = logLimits(*r.Next)
	near(t, "the next of homes alike", upper, 1.59950, 1e-3)

	// Without uncertainties all is Student's: t·1/√3 for the mean, t·√(1 + 1/3) for the next.
	r = pooled([]float64{1, -1, 0}, nil, PoolOptions{})
	_, upper = logLimits(r.Ratio)
	near(t, "plain", upper, 4.302653/math.Sqrt(3), 1e-6)
	_, upper = logLimits(*r.Next)
	near(t, "plain, next", upper, 4.302653*math.Sqrt(4.0/3), 1e-6)
	near(t, "plain, τ", r.Tau.Value, 1, 1e-12)
	if r.Heterogeneity != nil {
		t.Error("Q of homes whose uncertainties are not stated")
	}
	// The averages of two of −1, 0, 1 are −1, −½, 0, 0, ½, 1. All signs alike have
	// probability 2/8, so that the widest interval holds 75 %.
	near(t, "middle", r.Median.Value, 1, 1e-12)
	near(t, "middle, lower", r.Median.Lower, math.Exp(-1), 1e-12)
	near(t, "middle, upper", r.Median.Upper, math.E, 1e-12)
	if len(r.Median.Notes) != 1 || !strings.Contains(r.Median.Notes[0].Text, "holds 75 %") {
		t.Errorf("notes %v", r.Median.Notes)
	}

	// One home: its own interval, e^(−1 ± 1.959964·√(0.04 + 0.05)).
	r = pooled([]float64{-1}, []float64{0.2}, PoolOptions{Common: 0.05})
	lower, upper = logLimits(r.Ratio)
	near(t, "one home, lower", lower, -1-1.959964*0.3, 1e-6)
	near(t, "one home, upper", upper, -1+1.959964*0.3, 1e-6)
	if r.Tau != nil || r.Next != nil || r.Median != nil || r.PairedT != nil {
		t.Error("one home says how homes differ")
	}

	// Half of 4 with z² = 4 (95.45 %): (2 + 2 ± 2√(1 + 1))/(4 + 4).
	e, err := ShareBelow(2, 4, math.Erf(math.Sqrt2))
	if err != nil {
		t.Fatal(err)
	}
	near(t, "Wilson, lower", e.Lower, 100*(4-2*math.Sqrt2)/8, 1e-10)
	near(t, "Wilson, upper", e.Upper, 100*(4+2*math.Sqrt2)/8, 1e-10)
}

// TestPooledNotes: each note is raised where it is due, and a near miss does not raise it.
func TestPooledNotes(t *testing.T) {
	five, six := []float64{-2, -1.5, -1, -1.7, -0.9}, []float64{-2, -1.5, -1, -1.7, -0.9, -1.2}
	sd := []float64{0.2, 0.3, 0.2, 0.2, 0.3, 0.2}
	type group struct{ logs, sds []float64 }
	for _, c := range []struct {
		code      string
		due, miss group
		opt       PoolOptions
	}{
		{"one-home", group{five[:1], sd[:1]}, group{five[:2], sd[:2]}, PoolOptions{}},
		// The logs' squares about their mean sum to 0.868, so Q is 0.217 of SD 2 and 1.07 of
		// SD 0.9; chi-squared on 4 is under 0.297 once in a hundred.
		{"agree-too-well", group{five, []float64{2, 2, 2, 2, 2}}, group{five, []float64{0.9, 0.9, 0.9, 0.9, 0.9}}, PoolOptions{}},
		{"no-spread-seen", group{[]float64{-1, -1, -1}, sd[:3]}, group{[]float64{-1, -1, -1.001}, sd[:3]}, PoolOptions{}},
		// Homes that agree: three of SD 0.3 may differ by e^1.3, five by e^0.6 only.
		{"spread-unknown", group{[]float64{-1, -1.3, -1.1}, sd[:3]}, group{[]float64{-1, -1.1, -1.2, -1.05, -1.1}, sd[:5]}, PoolOptions{}},
		{"few-homes", group{five, sd[:5]}, group{six, sd}, PoolOptions{}},
		{"few-homes", group{six, sd}, group{six, sd}, PoolOptions{Confidence: 0.99}},
		{"unbounded", group{[]float64{-2, 60}, []float64{.1, .1}}, group{[]float64{-2, 30}, []float64{.1, .1}}, PoolOptions{}},
		{"unbounded", group{five[:1], nil}, group{five[:1], sd[:1]}, PoolOptions{}},
	} {
		miss := PoolOptions{}
		due := c.opt
		r, err := Pool(effectsOf(c.due.logs, c.due.sds), due)
		if err != nil || !analysis.HasNote(r.Notes, c.code) {
			t.Errorf("%s: not raised; %v %v", c.code, r.Notes, err)
		}
		if r, err = Pool(effectsOf(c.miss.logs, c.miss.sds), miss); err != nil || analysis.HasNote(r.Notes, c.code) {
			t.Errorf("%s: raised by a near miss; %v", c.code, err)
		}
	}
}

// TestPooledInWords: what cannot be pooled is an error that says why.
func TestPooledInWords(t *testing.T) {
	ok := Effect{Home: "a", Log: -1, SD: 0.2}
	for _, c := range []struct {
		effects []Effect
		opt     PoolOptions
		want    string
	}{
		{nil, PoolOptions{}, "no homes to pool"},
		{[]Effect{ok}, PoolOptions{Confidence: 1}, "a confidence of 1"},
		{[]Effect{ok}, PoolOptions{Confidence: 0.4}, "a confidence of 0.4"},
		{[]Effect{ok}, PoolOptions{Confidence: math.NaN()}, "a confidence of NaN"},
		{[]Effect{ok}, PoolOptions{Common: -1}, "a common variance of -1"},
		{[]Effect{ok}, PoolOptions{Common: math.NaN()}, "a common variance of NaN"},
		{[]Effect{{Home: "b", Log: math.NaN(), SD: 0.2}}, PoolOptions{}, `home "b": a log ratio of NaN`},
		{[]Effect{{Home: "b", Log: 101, SD: 0.2}}, PoolOptions{}, `home "b": a log ratio of 101`},
		{[]Effect{{Home: "b", Log: 1, SD: -0.2}}, PoolOptions{}, `home "b": a log standard uncertainty of -0.2`},
		{[]Effect{{Home: "b", Log: 1, SD: 1e-7}}, PoolOptions{}, `home "b": a log standard uncertainty of 1e-07`},
		{[]Effect{{Home: "b", Log: 1, SD: math.NaN()}}, PoolOptions{}, `home "b": a log standard uncertainty of NaN`},
		{[]Effect{ok, ok}, PoolOptions{}, `home "a" is among the homes twice`},
		{[]Effect{ok, {Home: "b", Log: -1}}, PoolOptions{}, "1 of 2 homes state no uncertainty"},
		{[]Effect{{Log: -1}, {Log: -1}}, PoolOptions{}, "all 2 homes have the same ratio"},
	} {
		if _, err := Pool(c.effects, c.opt); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%v: %v, not %q", c.effects, err, c.want)
		}
	}
	for _, c := range []struct {
		below, homes int
		confidence   float64
	}{{1, 0, 0.95}, {-1, 5, 0.95}, {6, 5, 0.95}, {1, 5, 1}, {1, 5, math.NaN()}} {
		if e, err := ShareBelow(c.below, c.homes, c.confidence); err == nil {
			t.Errorf("%+v: %v", c, e)
		}
	}
}

// TestPooledProperties: the order of homes changes nothing, a factor common to all
// ratios is one of the result, and more confidence never narrows.
func TestPooledProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 0))
	for range 40 {
		n := 2 + rng.IntN(12)
		logs, sds := make([]float64, n), make([]float64, n)
		for i := range logs {
			logs[i], sds[i] = -1.6+0.5*rng.NormFloat64(), 0.05+0.4*rng.Float64()
		}
		es := effectsOf(logs, sds)
		for _, spread := range []float64{1, 0.2, 0.01} { // homes that agree, too
			for i := range es {
				es[i].Log = -1.6 + spread*(logs[i]+1.6)
			}
			r, err := Pool(es, PoolOptions{Common: 0.01 * float64(n%3)})
			if err != nil {
				t.Fatal(err)
			}
			if r.Next.Lower > r.Ratio.Lower || r.Next.Upper < r.Ratio.Upper {
				t.Errorf("the next of %d homes is known better than their middle: %v to %v, %v to %v", n, r.Next.Lower, r.Next.Upper, r.Ratio.Lower, r.Ratio.Upper)
			}
		}
		es = effectsOf(logs, sds)
		r, err := Pool(es, PoolOptions{})
		if err != nil {
			t.Fatal(err)
		}
		rng.Shuffle(n, func(i, j int) { es[i], es[j] = es[j], es[i] })
		other, err := Pool(es, PoolOptions{})
		if err != nil || fmt.Sprintf("%v", estimatesOf(r)) != fmt.Sprintf("%v", estimatesOf(other)) {
			t.Errorf("another order of homes: %v, %v", estimatesOf(r), estimatesOf(other))
		}
		for i := range es {
			es[i].Log += math.Log(37)
		}
		if other, err = Pool(es, PoolOptions{}); err != nil {
			t.Fatal(err)
		}
		for i, e := range estimatesOf(r) {
			scale := 37.0
			switch e.Method {
			case TauMethod:
				scale = 1
			case PoolMethod:
				if e.Unit == "%" {
					continue
				}
			}
			o := estimatesOf(other)[i]
			for _, x := range [][2]float64{{e.Value, o.Value}, {e.Lower, o.Lower}, {e.Upper, o.Upper}} {
				if !(math.Abs(x[1]-scale*x[0]) <= 1e-7*math.Abs(scale*x[0])+1e-7) && !(math.IsInf(x[0], 1) && math.IsInf(x[1], 1)) && !(scale*x[0] > 1e300) {
					t.Errorf("%s: %v of ratios 37 times as large, not %v", e.Quantity, x[1], scale*x[0])
				}
			}
		}
		prev := other
		for _, c := range []float64{0.96, 0.99, 0.9999} {
			wider, err := Pool(es, PoolOptions{Confidence: c})
			if err != nil {
				t.Fatal(err)
			}
			for i, e := range estimatesOf(wider) {
				if p := estimatesOf(prev)[i]; e.Lower > p.Lower || e.Upper < p.Upper {
					t.Errorf("%s: %v to %v at %v, %v to %v with less confidence", e.Quantity, e.Lower, e.Upper, c, p.Lower, p.Upper)
				}
			}
			prev = wider
		}
	}
	// Likelihood and Q can disagree on τ where homes are known very unlike; the interval
	// then reaches to the estimate.
	reached := [2]int{}
	for range 2000 {
		n := 3 + rng.IntN(8)
		logs, sds := make([]float64, n), make([]float64, n)
		for i := range logs {
			sds[i] = 0.02 * math.Pow(50, rng.Float64())
			logs[i] = math.Hypot(sds[i], 0.2) * rng.NormFloat64()
		}
		r, err := Pool(effectsOf(logs, sds), PoolOptions{Confidence: 0.5})
		switch {
		case err != nil:
			t.Fatal(err)
		case r.Tau.Value > 0 && r.Tau.Value == r.Tau.Upper:
			reached[1]++
		case r.Tau.Value > 0 && r.Tau.Value == r.Tau.Lower:
			reached[0]++
		}
	}
	if reached[0] == 0 || reached[1] == 0 {
		t.Errorf("τ lay outside its limits %v times", reached)
	}
	prev := 0.0
	for x := range 41 {
		e, err := ShareBelow(x, 40, 0.9)
		if err != nil || e.Upper < prev {
			t.Errorf("%d of 40: %v, after %v (%v)", x, e, prev, err)
		}
		mirrored, _ := ShareBelow(40-x, 40, 0.9)
		near(t, "mirrored", mirrored.Lower, 100-e.Upper, 1e-10)
		prev = e.Upper
	}
}

func estimatesOf(r Pooled) (es []analysis.Estimate) {
	es = append(es, r.Ratio, r.Reduction)
	for _, e := range []*analysis.Estimate{r.Tau, r.Next, r.Median, r.PairedT} {
		if e != nil {
			es = append(es, *e)
		}
	}
	return es
}

// TestPooledAgainstSlow: τ² is the highest of the restricted likelihood on a fine grid,
// and the next home's limits are those of 20,000 equally likely values of Q, or lie
// further out.
func TestPooledAgainstSlow(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 0))
	for trial := range 30 {
		n := 2 + rng.IntN(9)
		logs, sds := make([]float64, n), make([]float64, n)
		for i := range logs {
			// Some homes are known a hundred times better, which is where hills are many.
			logs[i], sds[i] = rng.NormFloat64(), 0.01*math.Pow(100, rng.Float64())
		}
		p, err := newPool(effectsOf(logs, sds))
		if err != nil {
			t.Fatal(err)
		}
		found, err := p.reml()
		if err != nil {
			t.Fatal(err)
		}
		height := func(tau2 float64) float64 {
			sumW, sumWY, h := 0.0, 0.0, 0.0
			for i := range logs {
				w := 1 / (sds[i]*sds[i] + tau2)
				sumW, sumWY, h = sumW+w, sumWY+w*logs[i], h+math.Log(w)/2
			}
			for i := range logs {
				d := logs[i] - sumWY/sumW
				h -= d * d / (sds[i]*sds[i] + tau2) / 2
			}
			return h - math.Log(sumW)/2
		}
		top := height(0)
		for i := range 20000 {
			top = max(top, height(1e-6*math.Pow(1e8, float64(i)/20000)))
		}
		if height(found) < top-1e-9 {
			t.Errorf("trial %d: τ² %v has %v, and the highest is %v", trial, found, height(found), top)
		}
		if trial > 4 || n < 4 { // the tails of few degrees of freedom take more values than these
			continue
		}
		r, err := Pool(effectsOf(logs, sds), PoolOptions{Confidence: 0.9})
		if err != nil {
			t.Fatal(err)
		}
		p.confidence = 0.9
		l, err := p.mixture(p.at(found).mean, func(s weighted, tau2 float64) (float64, float64) { return s.mean, 1/s.w + tau2 })
		if err != nil {
			t.Fatal(err)
		}
		lower, upper := logLimits(*r.Next)
		if lower > l.lower+1e-9 || upper < l.upper-1e-9 {
			t.Errorf("next home %v to %v, and Q says %v to %v", lower, upper, l.lower, l.upper)
		}
		const many = 20000
		below := [2]float64{}
		for i := range many {
			tau2, err := p.tau2At(2 * mathext.GammaIncRegInv(float64(n-1)/2, (float64(i)+0.5)/many))
			if err != nil {
				t.Fatal(err)
			}
			s := p.at(tau2)
			for k, x := range []float64{l.lower, l.upper} {
				below[k] += numeric.Phi((x-s.mean)/math.Sqrt(1/s.w+tau2)) / many
			}
		}
		near(t, "share below the lower limit", below[0], 0.05, 2e-4)
		near(t, "share below the upper limit", below[1], 0.95, 2e-4)
	}
}

// TestPooledMethods: each method says all that it has to, and no number is of another.
func TestPooledMethods(t *testing.T) {
	keys := map[string]bool{}
	for _, m := range pooledMethods {
		if err := m.Check(); err != nil || keys[m.Key] {
			t.Errorf("%s: %v", m.Key, err)
		}
		keys[m.Key] = true
	}
	r, err := Pool(effectsOf([]float64{-2, -1.5, -1}, []float64{.2, .3, .1}), PoolOptions{})
	if err != nil {
		t.Fatal(err)
	}
	es := estimatesOf(r)
	c, err := WithWithout([]float64{38, 61}, []float64{410, 190}, false, ContrastOptions{})
	if err != nil {
		t.Fatal(err)
	}
	es = append(es, c.Ratio, c.Reduction, c.Median)
	for _, e := range es {
		if !keys[e.Method] {
			t.Errorf("%s is by %q, which is not among the methods", e.Quantity, e.Method)
		}
		for _, n := range e.Notes {
			i := slices.IndexFunc(pooledMethods, func(m analysis.Method) bool { return m.Key == e.Method })
			if i >= 0 && !slices.Contains(pooledMethods[i].Notes, n.Code) {
				t.Errorf("%s carries %q, which its method does not name", e.Quantity, n.Code)
			}
		}
	}
}

// TestShareBelowCoverage sums what Wilson's interval holds over all counts.
func TestShareBelowCoverage(t *testing.T) {
	for _, n := range []int{10, 20, 30, 50} {
		held := func(p float64) (held float64) {
			for x := range n + 1 {
				e, err := ShareBelow(x, n, 0.95)
				if err != nil {
					t.Fatal(err)
				}
				if e.Lower <= 100*p && 100*p <= e.Upper {
					lg := func(k int) float64 { l, _ := math.Lgamma(float64(k + 1)); return l }
					held += math.Exp(lg(n) - lg(x) - lg(n-x) + float64(x)*math.Log(p) + float64(n-x)*math.Log1p(-p))
				}
			}
			return held
		}
		sum, worst, cells := 0.0, 1.0, 0.0
		for s := 5; s <= 95; s++ {
			h := held(float64(s) / 100)
			sum, worst, cells = sum+h, min(worst, h), cells+1
		}
		t.Logf("n %d: mean %.4f, worst %.4f", n, sum/cells, worst)
		if sum/cells < 0.945 || sum/cells > 0.965 || worst < 0.905 {
			t.Errorf("n %d: held %.4f on average, %.4f at worst", n, sum/cells, worst)
		}
		// Just over the upper limit of all homes but one, only all of them hold it.
		nearAll := 1.0
		for p := 0.95; p < 0.9995; p += 1e-4 {
			nearAll = min(nearAll, held(p))
		}
		if nearAll < 0.83 || nearAll > 0.85 {
			t.Errorf("n %d: held %.4f at worst of shares near all", n, nearAll)
		}
	}
	e, err := ShareBelow(29, 30, 0.95)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "29 of 30", e.Upper, 99.4, 0.05)
}

// FuzzPool: whatever the homes, an error or a sound answer.
func FuzzPool(f *testing.F) {
	pack := func(x ...float64) []byte {
		var b []byte
		for _, v := range x {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		}
		return b
	}
	f.Add(pack(-1, 0.2, -1.5, 0.3, -2, 0.1), 0.95, 0.0)
	f.Add(pack(-1, 0.2, -1, 0.2), 0.95, 0.01)
	f.Add(pack(-1, 0, -1, 0), 0.95, 0.0)
	f.Add(pack(-1, 0, -2, 0), 0.5, 1e-300)
	f.Add(pack(100, 1e-6, -100, 100, 100, 100), 0.999999, 0.0)
	f.Add(pack(1e-300, 1e-6, -1e-300, 1e-6, 0, 100), 0.95, 1e4)
	f.Add(pack(1e300, 1e300, 1e-300, 1e-300), 0.95, 1e300)
	f.Add(pack(-1, 1e-6, 1, 1.0000001e-6), 0.999999, 0.0)
	f.Add(pack(math.NaN(), 0.2, math.Inf(1), 0.2), math.NaN(), math.Inf(1))
	f.Fuzz(func(t *testing.T, b []byte, confidence, common float64) {
		var es []Effect
		for ; len(b) >= 16 && len(es) < 30; b = b[16:] {
			at := func(i int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:])) }
			es = append(es, Effect{Log: at(0), SD: at(1)})
		}
		r, err := Pool(es, PoolOptions{confidence, common})
		if err != nil {
			return
		}
		for _, e := range estimatesOf(r) {
			if err := e.Check(); err != nil {
				t.Error(err)
			}
		}
		if h := r.Heterogeneity; h != nil && !(h.Q >= 0 && !math.IsInf(h.Q, 0) && h.P >= 0 && h.P <= 1 && h.I2 >= 0 && h.I2 <= 1) {
			t.Errorf("%+v", *h)
		}
	})
}

func BenchmarkPool(b *testing.B) {
	for _, n := range []int{3, 20, 1000, 50000} {
		rng := rand.New(rand.NewPCG(3, 0))
		es := make([]Effect, n)
		for i := range es {
			es[i] = Effect{Log: -1.6 + 0.4*rng.NormFloat64(), SD: 0.1 + 0.3*rng.Float64()}
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				if _, err := Pool(es, PoolOptions{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
