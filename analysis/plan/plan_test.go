package plan

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/internal/reftest"
	"radonyear/analysis/temporal"
)

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s: %.12g, want %.12g", what, got, want)
	}
}

func homesBy(t *testing.T, answers []ShareAnswer, criterion string) ShareAnswer {
	t.Helper()
	i := slices.IndexFunc(answers, func(a ShareAnswer) bool { return a.Criterion == criterion })
	if i < 0 {
		t.Fatalf("no answer %s", criterion)
	}
	return answers[i]
}

// TestReference holds plans to what R finds the slow way.
func TestReference(t *testing.T) {
	f, err := reftest.Read("plan.json")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, c := range f.Cases {
		var in struct {
			Kind, How                                                            string
			P, D, Conf, Assurance, Deff, GSD, R, M, Ratio, Z, Delta, Own, Spread float64
			Common, P0, P1, A, Power                                             float64
			Areas, Dwellings, N, Units, Above                                    int
		}
		if err := json.Unmarshal(c.Input, &in); err != nil {
			t.Fatal(c.Name, err)
		}
		seen[in.Kind]++
		got := map[string]float64{}
		s := Sampling{Confidence: in.Conf, Assurance: in.Assurance, Areas: in.Areas, Simultaneous: in.How, Dwellings: in.Dwellings, DesignEffect: in.Deff}
		var failed error
		switch in.Kind {
		case "share", "textbook", "several":
			r, err := Share(ShareOptions{Sampling: s, Share: in.P, Margin: in.D})
			if failed = err; err != nil {
				break
			}
			a := homesBy(t, r.Answers, Assured)
			got = map[string]float64{"textbook": float64(r.Answers[0].Homes), "average": float64(homesBy(t, r.Answers, Average).Homes), "assured": float64(a.Homes),
				"any": float64(homesBy(t, r.Answers, AnyShare).Homes), "half": a.HalfWidth, "within": a.Within, "coverage": a.Coverage, "each": r.Each}
		case "gm", "mean":
			ask := GeometricMean
			if in.Kind == "mean" {
				ask = Mean
			}
			r, err := ask(MeanOptions{Sampling: s, GSD: in.GSD, Margin: in.R})
			if failed = err; err != nil {
				break
			}
			got = map[string]float64{"textbook": float64(r.Answers[0].Homes), "average": float64(r.Answers[1].Homes), "assured": float64(r.Answers[2].Homes),
				"within": r.Answers[2].Within, "factor": r.Answers[2].Factor}
		case "days":
			got["right"], got["wrong"] = overHomes(in.M, in.Ratio, in.Z)
		case "t":
			got["power"], _ = neighbourhood{theta: 0, shown: in.Delta, spread: 1, confidence: 0.95}.power(in.N)
		case "pooled":
			got["power"], _ = neighbourhood{shown: in.Delta, own: in.Own, spread: in.Spread, common: in.Common, confidence: in.Conf}.power(in.N)
		case "hot":
			r, err := Hot(HotOptions{Normal: in.P0, Hot: in.P1, Power: in.Power, False: in.A})
			if failed = err; err != nil {
				break
			}
			b, first, last := r.Answers[0], r.Answers[1], r.Answers[2]
			got = map[string]float64{"textbook": float64(b.Homes), "first": float64(first.Homes), "flag": float64(first.Flag), "power": first.Power, "false": first.False,
				"lasting": float64(last.Homes), "lastingFlag": float64(last.Flag)}
		case "find", "many":
			r, err := Find(FindOptions{Units: in.Units, Above: in.Above, Share: in.P, Confidence: in.Conf, Homes: in.Units / 2})
			if failed = err; err != nil {
				break
			}
			got = map[string]float64{"homes": float64(r.Answers[1].Homes), "chance": r.Answers[1].Chance}
			if in.Units > 0 {
				got["half"] = r.Answers[2].Chance
			}
		}
		if failed != nil {
			t.Errorf("%s: %v", c.Name, failed)
		}
		for name := range got {
			if _, ok := c.Want[name]; !ok {
				delete(got, name) // some cases hold only part of what there is
			}
		}
		for _, bad := range c.Check(got) {
			t.Error(bad)
		}
	}
	for kind, least := range map[string]int{"share": 7, "textbook": 1, "several": 3, "gm": 6, "mean": 4, "days": 4, "t": 6, "pooled": 4, "hot": 5, "find": 5, "many": 3} {
		if seen[kind] < least {
			t.Errorf("%d cases of %s, want %d", seen[kind], kind, least)
		}
	}
}

// TestByHand: shares and geometric means.
//
// Wilson's interval for no home of n is 0 to z²/(n + z²), so half its width is
// z²/(2(n + z²)); for half of n it is z/(2√(n + z²)), since there x(n − x)/n + z²/4 =
// (n + z²)/4. With z = 1.96 the last is 0.05 where n + z² = 384.16 and n = 380.3: 381
// homes. The textbook's number is 0.25·z²/0.0025 = 384.15: 385.
//
// One home: half the width is z²/(2(1 + z²)) if it is not above, and no less if it is:
// 0.397 either way.
//
// Geometric mean: at GSD e and a margin of e − 1, ln GSD = ln(1 + margin) = 1, so that t/√m ≤ 1
// is asked. m = 6: 2.571/2.449 = 1.05; m = 7: 2.447/2.646 = 0.925. The textbook's is
// 1.96² = 3.84: 4.
//
// Of 100 dwellings 80 homes do the work of 400: 400/(1 + 399/100) = 80.2, so 81 are needed.
func TestByHand(t *testing.T) {
	z := zHalf(0.95)
	near(t, "none of ten", halfWidth(0, 10, z), z*z/(2*(10+z*z)), 1e-14)
	near(t, "five of ten", halfWidth(5, 10, z), z/(2*math.Sqrt(10+z*z)), 1e-14)
	near(t, "one home", averageHalf(1, 0.3, 0.95), z*z/(2*(1+z*z)), 1e-12)
	r, err := Share(ShareOptions{Share: 0.5, Margin: 0.05})
	if err != nil {
		t.Fatal(err)
	}
	if r.Answers[0].Homes != 385 || homesBy(t, r.Answers, AnyShare).Homes != 381 {
		t.Errorf("share: %+v", r.Answers)
	}
	m, err := GeometricMean(MeanOptions{GSD: math.E, Margin: math.E - 1})
	if err != nil {
		t.Fatal(err)
	}
	if m.Answers[0].Homes != 4 || m.Answers[1].Homes != 7 {
		t.Errorf("geometric mean: %+v", m.Answers)
	}
	s := Sampling{Dwellings: 100}
	if err := s.check(); err != nil {
		t.Fatal(err)
	}
	if n, err := s.homes(400); n != 81 || err != nil {
		t.Errorf("%d homes, %v", n, err)
	}
	near(t, "80.16 homes of 100", s.worth(400/(1+399.0/100)), 400, 1e-12)
	near(t, "half of alpha", 1-shared(0.1, 2, Bonferroni), 0.95, 1e-12)
	near(t, "Sidak: 0.9² = 0.81", 1-shared(0.19, 2, Sidak), 0.9, 1e-12)
	// A GM at the level leaves half of the homes above; a GSD under it, 15.87 %.
	half, err1 := ShareAbove(200, 2, 200)
	tail, err2 := ShareAbove(100, 2, 200)
	if err1 != nil || err2 != nil {
		t.Fatal(err1, err2)
	}
	near(t, "GM at the level", half, 0.5, 1e-12)
	near(t, "a GSD under it", tail, 0.158655254, 1e-8)
}

// TestMeanByHand: three values with logarithms of standard deviation s have, by Land's
// density at n = 3, U with density in proportion to exp(−cu/2) and so P(U > u) = (e^(−cu/2) −
// e^(−c/2))/(e^(c/2) − e^(−c/2)). For s = 0.1 and the upper limit b of 97.5 %, c = √(3(2s² + 3b²)) and
// u = −3b/c: the plan's factor has to solve that.
func TestMeanByHand(t *testing.T) {
	const s = 0.1
	r, err := Mean(MeanOptions{GSD: math.Exp(s), Margin: 0.05, Sampling: Sampling{Homes: 3}})
	if err != nil {
		t.Fatal(err)
	}
	a := r.Answers[len(r.Answers)-1]
	if a.Criterion != Asked || a.Homes != 3 {
		t.Fatalf("%+v", a)
	}
	// Finney's g by its first terms, m = 2, t = s²/2: 1 + 4t/(3·2) + 16t²/(9·2·2·4) + ...
	x := s * s / 2
	unbiased := math.Log(1 + 4*x/6 + 16*x*x/(9*2*2*4))
	b := math.Log(a.Factor) + unbiased
	c := math.Sqrt(3 * (2*s*s + 3*b*b))
	u := -3 * b / c
	above := (math.Exp(-c*u/2) - math.Exp(-c/2)) / (math.Exp(c/2) - math.Exp(-c/2))
	near(t, "P(U > u) at the upper limit", above, 0.975, 1e-6)
}

// TestDaysByHand: a home half the level, tested with a spread of s: the verdict is right
// with probability Φ(ln 2/s − 1.645). Of homes that all lie where one does, the average is
// that one's; at no spread of homes about the level, right and wrong are as likely,
// Φ(−1.645) = 5 % each.
func TestDaysByHand(t *testing.T) {
	r, err := Days(DaysOptions{Options: annual.Options{Levels: []float64{200}}, Expected: 100, Month: time.March})
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range r.Lengths {
		z := math.Ln2/v.Spread - 1.6448536269514722
		near(t, fmt.Sprint(v.Days, " days"), v.Right, 0.5*math.Erfc(-z/math.Sqrt2), 1e-9)
	}
	if i := slices.IndexFunc(r.Lengths, func(v Verdicts) bool { return v.Right >= 0.8 }); i < 1 || r.Fewest > r.Lengths[i].Days || r.Fewest <= r.Lengths[i-1].Days || r.At.Right < 0.8 {
		t.Errorf("fewest %d, %+v", r.Fewest, r.At)
	}
	twice, err := Days(DaysOptions{Options: annual.Options{Levels: []float64{50}}, Expected: 100, Month: time.March})
	if err != nil {
		t.Fatal(err)
	}
	if twice.Fewest != r.Fewest {
		t.Errorf("half of the level takes %d days and twice it %d", r.Fewest, twice.Fewest)
	}
	right, _ := overHomes(math.Ln2/1e-3, 1e-3/0.4, 1.6448536269514722)
	near(t, "homes that are alike", right, 0.5*math.Erfc(-(math.Ln2/0.4-1.6448536269514722)/math.Sqrt2), 1e-5)
	right, wrong := overHomes(0, 1e-6, 1.6448536269514722)
	near(t, "homes at the level, right", right, 0.05, 1e-5)
	near(t, "homes at the level, wrong", wrong, 0.05, 1e-5)
	// The spread is that of annual.Estimate.
	s, err := imagined(temporal.BuiltIn(false), 30, time.March, 100, false)
	if err != nil {
		t.Fatal(err)
	}
	e, err := annual.Estimate([]analysis.Series{s}, annual.Options{})
	if err != nil {
		t.Fatal(err)
	}
	i := slices.IndexFunc(r.Lengths, func(v Verdicts) bool { return v.Days == 30 })
	near(t, "spread after 30 days", r.Lengths[i].Spread, e.LogSpread, 1e-12)
	// Which does not depend on how high the readings are.
	if s, err = imagined(temporal.BuiltIn(false), 30, time.March, 3700, false); err != nil {
		t.Fatal(err)
	}
	if e, err = annual.Estimate([]analysis.Series{s}, annual.Options{}); err != nil {
		t.Fatal(err)
	}
	near(t, "spread after 30 days, 37 times as high", r.Lengths[i].Spread, e.LogSpread, 1e-9)
}

// TestReductionByHand: many homes that share nothing: the interval is the mean ± z√(v/n), so
// the power is Φ(δ√(n/v) − z). With what they share, c, it is at most Φ((δ − z√c)/√c), however
// many there are. One home is shown with Φ((θ₀ − θ − h)/s).
func TestReductionByHand(t *testing.T) {
	const n, v, d = 4000, 1.2, 0.05
	p, _ := neighbourhood{shown: d, own: 0.2, spread: 1, confidence: 0.95}.power(n)
	near(t, "many homes", p, 0.5*math.Erfc(-(d*math.Sqrt(n/v)-1.959964)/math.Sqrt2), 1e-3)
	p, _ = neighbourhood{shown: 0.3, own: 0.2, spread: 0.1, common: 0.04, confidence: 0.95}.power(MostHomes)
	near(t, "what does not average out", p, 0.5*math.Erfc(-(0.3/0.2-1.959964)/math.Sqrt2), 1e-3)
	r, err := Reduction(ReductionOptions{Reduction: 0.8, AtLeast: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "expected ratio", r.Expected.Value, 0.2, 2e-3)
	h := math.Log(r.Expected.Upper / r.Expected.Value)
	near(t, "one home", r.Alone, 0.5*math.Erfc(-(math.Log(0.5)-math.Log(0.2)-h)/r.LogSD/math.Sqrt2), 1e-9)
	never, err := Reduction(ReductionOptions{Reduction: 0.2, DaysBefore: 2, DaysAfter: 2})
	if err != nil {
		t.Fatal(err)
	}
	if !analysis.HasNote(never.Notes, "never-enough") || slices.ContainsFunc(never.Answers, func(a ReductionAnswer) bool { return a.Criterion == First }) {
		t.Errorf("a fifth less after two days: %+v", never)
	}
	far, err := Reduction(ReductionOptions{Reduction: 0.8, Month: time.January, MonthAfter: time.July, DaysBefore: 90, DaysAfter: 90})
	if err != nil {
		t.Fatal(err)
	}
	if !analysis.HasNote(far.Notes, "season-differs") || analysis.HasNote(r.Notes, "season-differs") {
		t.Errorf("%v, %v", far.Notes, r.Notes)
	}
	if long, err := Reduction(ReductionOptions{Reduction: 0.95, DaysBefore: 60, DaysAfter: 60}); err != nil || analysis.HasNote(long.Notes, "one-home-not-enough") || !analysis.HasNote(r.Notes, "one-home-not-enough") {
		t.Errorf("%v, %v, %v", err, long.Notes, r.Notes)
	}
}

// TestHotByHand: five homes, a fifth above in a normal area. All five above has
// probability 0.2⁵ = 0.00032, four or more 5·0.2⁴·0.8 + 0.00032 = 0.00672, three or more 10·0.2³·0.8²
// + 0.00672 = 0.05792: at 5 % four flag. Where 4/5 are above, four or more of five are with
// 0.73728, so that five homes have no power of 0.8; four homes flag from 3 on (0.0272)
// with 0.8192.
//
// Two of four above: two tested miss both with (2/4)(1/3) = 1/6.
func TestHotByHand(t *testing.T) {
	r, err := Hot(HotOptions{Normal: 0.2, Hot: 0.8, Homes: 5})
	if err != nil {
		t.Fatal(err)
	}
	a := r.Answers[3]
	if a.Flag != 4 {
		t.Errorf("%+v", a)
	}
	near(t, "false", a.False, 0.00672, 1e-9)
	near(t, "power", a.Power, 0.73728, 1e-9)
	first := r.Answers[1]
	if first.Homes != 4 || first.Flag != 3 {
		t.Errorf("%+v", first)
	}
	near(t, "false of four", first.False, 0.0272, 1e-9)
	near(t, "power of four", first.Power, 0.8192, 1e-9)
	few, err := Hot(HotOptions{Normal: 0.5, Hot: 0.9, Homes: 3})
	if err != nil || !analysis.HasNote(few.Notes, "cannot-flag") || analysis.HasNote(r.Notes, "cannot-flag") {
		t.Errorf("%v %v %v", err, few.Notes, r.Notes)
	}
	f, err := Find(FindOptions{Units: 4, Above: 2, Confidence: 0.8})
	if err != nil {
		t.Fatal(err)
	}
	if f.Answers[1].Homes != 2 {
		t.Errorf("%+v", f.Answers)
	}
	near(t, "one of two among two of four", f.Answers[1].Chance, 5.0/6, 1e-12)
	all, err := Find(FindOptions{Units: 20, Above: 1})
	if err != nil || !analysis.HasNote(all.Notes, "nearly-all") || analysis.HasNote(f.Notes, "nearly-all") {
		t.Errorf("%v %v %v", err, all.Notes, f.Notes)
	}
}

// TestFindPublished: how many units of a building to test so that, none being found, fewer
// than 5 % have it with 95 % confidence: HUD 1995, Guidelines for the Evaluation and
// Control of Lead-Based Paint Hazards in Housing, table 7.3, older buildings of 26 to 40
// units (from memory).
func TestFindPublished(t *testing.T) {
	for i, want := range []int{20, 21, 22, 23, 23, 24, 25, 26, 26, 27, 28, 29, 30, 30, 31} {
		r, err := Find(FindOptions{Units: 26 + i, Share: 0.05})
		if err != nil {
			t.Fatal(err)
		}
		if r.Answers[1].Homes != want {
			t.Errorf("%d units: %d, want %d", 26+i, r.Answers[1].Homes, want)
		}
	}
}

// TestAgainstSlow: counts enumerated one by one, with plain products.
func TestAgainstSlow(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 60 {
		n, p, d, conf := 1+rng.IntN(150), 0.01+0.98*rng.Float64(), 0.01+0.3*rng.Float64(), 0.8+0.19*rng.Float64()
		z := zHalf(conf)
		q := make([]float64, n+1) // home by home
		q[0] = 1
		for range n {
			for x := n; x >= 0; x-- {
				q[x] *= 1 - p
				if x > 0 {
					q[x] += q[x-1] * p
				}
			}
		}
		average, in, held, tail := 0.0, 0.0, 0.0, 0.0
		k := rng.IntN(n + 1)
		for x := range q {
			f, m := float64(x)/float64(n), float64(n)
			root := math.Sqrt(f*(1-f)/m + z*z/(4*m*m))
			l, u := (f+z*z/(2*m)-z*root)/(1+z*z/m), (f+z*z/(2*m)+z*root)/(1+z*z/m)
			average += q[x] * (u - l) / 2
			if (u-l)/2 <= d {
				in += q[x]
			}
			if l <= p && p <= u {
				held += q[x]
			}
			if x >= k {
				tail += q[x]
			}
		}
		what := fmt.Sprintf("n %d, p %.3g, margin %.3g: ", n, p, d)
		for _, c := range []struct {
			name      string
			got, want float64
		}{{"average", averageHalf(n, p, conf), average}, {"within", within(n, p, d, conf), in}, {"coverage", coverage(n, p, conf), held}, {"at least", atLeast(k, n, p), tail}, {"at most", 1 - atMost(k-1, n, p), tail}} {
			if math.Abs(c.got-c.want) > 1e-10 {
				t.Errorf("%s%s: %.12g, slowly %.12g", what, c.name, c.got, c.want)
			}
		}
	}
	// Every combination of units tested.
	for range 30 {
		all := 2 + rng.IntN(9)
		k, n := 1+rng.IntN(all), 1+rng.IntN(all)
		hit, total := 0, 0
		for set := range 1 << all {
			size, found := 0, false
			for i := range all {
				if set>>i&1 == 1 {
					size++
					found = found || i < k
				}
			}
			if size == n {
				total++
				if found {
					hit++
				}
			}
		}
		if got, want := oneAmong(n, k, all), float64(hit)/float64(total); math.Abs(got-want) > 1e-12 {
			t.Errorf("%d of %d, %d above: %v, counted %v", n, all, k, got, want)
		}
	}
	// The fewest from which on it holds, by trying all.
	for range 40 {
		p, d, a := 0.02+0.96*rng.Float64(), 0.04+0.2*rng.Float64(), 0.5+0.45*rng.Float64()
		ok := func(n int) bool { return within(n, p, d, 0.95) >= a }
		got, err := lasting(1, 4/min(p, 1-p), ok)
		if err != nil {
			t.Fatal(err)
		}
		want := 1
		for n := 1; n < 2000; n++ {
			if !ok(n) {
				want = n + 1
			}
		}
		if got != want {
			t.Errorf("share %v within %v with %v: from %d on, tried %d", p, d, a, got, want)
		}
	}
}

func TestProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	homes := func(o ShareOptions) (n [4]int) {
		r, err := Share(o)
		if err != nil {
			t.Fatal(err)
		}
		for i := range n {
			n[i] = r.Answers[i].Homes
		}
		return n
	}
	for range 20 {
		o := ShareOptions{Share: 0.03 + 0.9*rng.Float64(), Margin: 0.03 + 0.1*rng.Float64()}
		n := homes(o)
		check := func(what string, change func(*ShareOptions), sign int) {
			c := o
			change(&c)
			for i, m := range homes(c) {
				if (m-n[i])*sign < 0 {
					t.Errorf("%+v, %s: %d homes, before %d", o, what, m, n[i])
				}
			}
		}
		check("a narrower margin", func(o *ShareOptions) { o.Margin /= 1.3 }, 1)
		check("more confidence", func(o *ShareOptions) { o.Confidence = 0.99 }, 1)
		check("more assurance", func(o *ShareOptions) { o.Assurance = 0.99 }, 1)
		check("more areas", func(o *ShareOptions) { o.Areas = 10 }, 1)
		check("a design effect", func(o *ShareOptions) { o.DesignEffect = 1.5 }, 1)
		check("few dwellings", func(o *ShareOptions) { o.Dwellings = 1000 }, -1)
		// A share and what is left of it are one question.
		check("the rest", func(o *ShareOptions) { o.Share = 1 - o.Share }, 1)
		check("the rest", func(o *ShareOptions) { o.Share = 1 - o.Share }, -1)
		c := o
		c.Areas = 10
		b := homes(c)
		c.Simultaneous = Sidak
		s := homes(c)
		c.Simultaneous = Apart
		a := homes(c)
		for i := range n {
			if s[i] > b[i] || a[i] != n[i] {
				t.Errorf("%+v: Bonferroni %v, Sidak %v, apart %v, one area %v", o, b, s, a, n)
			}
		}
	}
	for _, ask := range []func(MeanOptions) (MeanPlan, error){GeometricMean, Mean} {
		o := MeanOptions{GSD: 2.2, Margin: 0.3}
		plain, err := ask(o)
		if err != nil {
			t.Fatal(err)
		}
		for i, c := range []MeanOptions{{GSD: 2.4, Margin: 0.3}, {GSD: 2.2, Margin: 0.25}, {GSD: 2.2, Margin: 0.3, Sampling: Sampling{Confidence: 0.99}}, {GSD: 2.2, Margin: 0.3, Sampling: Sampling{Assurance: 0.99}}} {
			r, err := ask(c)
			if err != nil {
				t.Fatal(err)
			}
			for k := range plain.Answers {
				if r.Answers[k].Homes < plain.Answers[k].Homes {
					t.Errorf("%d: %+v, before %+v", i, r.Answers[k], plain.Answers[k])
				}
			}
		}
		// One home fewer is not enough, and width grows with spread.
		if w := plain.Answers[2].Within; w < 0.9 {
			t.Errorf("within %v", w)
		}
	}
	// ×37: another unit is another level and another mean, and the same plan.
	a, err1 := Days(DaysOptions{Options: annual.Options{Levels: []float64{4}}, Expected: 2.5, Month: time.May})
	b, err2 := Days(DaysOptions{Options: annual.Options{Levels: []float64{4 * 37}}, Expected: 2.5 * 37, Month: time.May})
	if err1 != nil || err2 != nil || a.Fewest != b.Fewest || math.Abs(a.At.Right-b.At.Right) > 1e-9 {
		t.Errorf("%v %v: %+v, times 37 %+v", err1, err2, a.At, b.At)
	}
	// Half a year apart the halves of the globe agree.
	opt := annual.Options{Levels: []float64{200}, Profile: temporal.BuiltIn(true)}
	south, err1 := Days(DaysOptions{Options: opt, Expected: 100, Month: time.July})
	opt.Profile = nil
	north, err2 := Days(DaysOptions{Options: opt, Expected: 100, Month: time.January})
	if err1 != nil || err2 != nil || math.Abs(float64(south.Fewest-north.Fewest)) > 2 {
		t.Errorf("%v %v: south %d, north %d", err1, err2, south.Fewest, north.Fewest)
	}
	// The worst month is no better than any.
	opt.Profile = nil
	each, err := Days(DaysOptions{Options: opt, Expected: 100})
	if err != nil || len(each.Months) != 12*len(TestLengths) {
		t.Fatal(err, len(each.Months))
	}
	for i, v := range each.Months {
		if w := each.Lengths[i/12]; v.Right < w.Right || v.Days != w.Days {
			t.Errorf("%+v is worse than the worst, %+v", v, w)
		}
	}
	if each.Fewest < north.Fewest {
		t.Errorf("%d days in any month, %d in January", each.Fewest, north.Fewest)
	}
	// Shares of homes: more spread about the same far level, more power; more asked, less.
	r, err1 := Reduction(ReductionOptions{Reduction: 0.8, Homes: 10})
	s, err2 := Reduction(ReductionOptions{Reduction: 0.9, Homes: 10})
	if err1 != nil || err2 != nil || s.Alone < r.Alone || r.Curve[0].Power > r.Curve[len(r.Curve)-1].Power {
		t.Errorf("%v %v %v %v", err1, err2, r.Alone, s.Alone)
	}
	// The same plan, digit for digit.
	again, err := Reduction(ReductionOptions{Reduction: 0.8, Homes: 10})
	if err != nil || again.Alone != r.Alone || !slices.Equal(again.Curve, r.Curve) {
		t.Errorf("%v: %v, before %v", err, again.Curve, r.Curve)
	}
}

// TestNotes: each that the others do not raise, with a near miss.
func TestNotes(t *testing.T) {
	for _, c := range []struct {
		share, margin float64
		dwellings     int
		code          string
		noted         bool
	}{{0.02, 0.05, 0, "few-above", true}, {0.1, 0.05, 0, "few-above", false}, {0.2, 0.05, 200, "census", true}, {0.2, 0.05, 3000, "census", false}} {
		r, err := Share(ShareOptions{Share: c.share, Margin: c.margin, Sampling: Sampling{Dwellings: c.dwellings}})
		if err != nil || analysis.HasNote(r.Notes, c.code) != c.noted {
			t.Errorf("%+v: %v, %v", c, r.Notes, err)
		}
	}
	for dwellings, noted := range map[int]bool{100: true, 5000: false} {
		r, err := GeometricMean(MeanOptions{GSD: 2.5, Margin: 0.2, Sampling: Sampling{Dwellings: dwellings}})
		if err != nil || analysis.HasNote(r.Notes, "census") != noted {
			t.Errorf("%d dwellings: %v, %v", dwellings, r.Notes, err)
		}
	}
	for expected, noted := range map[float64]bool{195: true, 150: false} {
		r, err := Days(DaysOptions{Options: annual.Options{Levels: []float64{200}}, Expected: expected, Month: 1})
		if err != nil || analysis.HasNote(r.Notes, "near-level") != noted || analysis.HasNote(r.Notes, "never-enough") != (r.Fewest == 0) || (r.Fewest == 0) != noted {
			t.Errorf("%v expected: %d days, %v, %v", expected, r.Fewest, r.Notes, err)
		}
	}
	for _, m := range Methods {
		if err := m.Check(); err != nil {
			t.Error(err)
		}
	}
}

// TestBad: what cannot be planned is said in words, and nothing is answered.
func TestBad(t *testing.T) {
	share := func(o ShareOptions) error { _, err := Share(o); return err }
	mean := func(o MeanOptions) error { _, err := Mean(o); return err }
	days := func(o DaysOptions) error { _, err := Days(o); return err }
	fan := func(o ReductionOptions) error { _, err := Reduction(o); return err }
	hot := func(o HotOptions) error { _, err := Hot(o); return err }
	find := func(o FindOptions) error { _, err := Find(o); return err }
	level := annual.Options{Levels: []float64{200}}
	for _, c := range []struct {
		err  error
		says string
	}{
		{share(ShareOptions{Margin: 0.05}), "a share of 0"},
		{share(ShareOptions{Share: 1, Margin: 0.05}), "a share of 1"},
		{share(ShareOptions{Share: math.NaN(), Margin: 0.05}), "a share of NaN"},
		{share(ShareOptions{Share: 0.1}), "a margin of 0 %"},
		{share(ShareOptions{Share: 0.1, Margin: 0.0001}), "more than 100000 homes"},
		{share(ShareOptions{Share: 0.1, Margin: 0.1, Sampling: Sampling{Confidence: 0.3}}), "a confidence of 0.3"},
		{share(ShareOptions{Share: 0.1, Margin: 0.1, Sampling: Sampling{Assurance: 1}}), "an assurance of 100 %"},
		{share(ShareOptions{Share: 0.1, Margin: 0.1, Sampling: Sampling{Areas: -1}}), "-1 areas"},
		{share(ShareOptions{Share: 0.1, Margin: 0.1, Sampling: Sampling{Simultaneous: "scheffe"}}), "no way \"scheffe\""},
		{share(ShareOptions{Share: 0.1, Margin: 0.1, Sampling: Sampling{Dwellings: 1}}), "1 dwellings"},
		{share(ShareOptions{Share: 0.1, Margin: 0.1, Sampling: Sampling{DesignEffect: 0.5}}), "a design effect of 0.5"},
		{share(ShareOptions{Share: 0.1, Margin: 0.1, Sampling: Sampling{Dwellings: 50, Homes: 60}}), "60 homes of 50 dwellings"},
		{mean(MeanOptions{Margin: 0.2}), "a geometric standard deviation of 0"},
		{mean(MeanOptions{GSD: 2}), "a relative margin of 0"},
		{mean(MeanOptions{GSD: 50, Margin: 0.01}), "more than 100000 homes"},
		{days(DaysOptions{Options: level}), "no annual mean expected"},
		{days(DaysOptions{Options: level, Expected: 100, Homes: &annual.Prior{GM: 90, GSD: 2}}), "give one of them"},
		{days(DaysOptions{Options: level, Expected: -1}), "an annual mean of -1"},
		{days(DaysOptions{Options: level, Homes: &annual.Prior{GM: 90, GSD: 1}}), "a geometric standard deviation of 1"},
		{days(DaysOptions{Options: annual.Options{Levels: []float64{100, 200}}, Expected: 100}), "2 levels"},
		{days(DaysOptions{Options: annual.Options{AreaPrior: &annual.Prior{GM: 90, GSD: 2}}, Expected: 100}), "an area's prior"},
		{days(DaysOptions{Options: annual.Options{Course: true}, Expected: 100}), "the weather of"},
		{days(DaysOptions{Options: annual.Options{YearFrom: time.Now()}, Expected: 100}), "a year's first day"},
		{days(DaysOptions{Options: level, Expected: 100, Month: 13}), "month 13"},
		{days(DaysOptions{Options: level, Expected: 100, Power: 2}), "a power of 200 %"},
		{fan(ReductionOptions{}), "a reduction of 0"},
		{fan(ReductionOptions{Reduction: 0.9999}), "no system takes away"},
		{fan(ReductionOptions{Reduction: 0.5, AtLeast: 0.5}), "a reduction of 50 % to be shown where 50 % is expected"},
		{fan(ReductionOptions{Reduction: 0.5, DaysBefore: 1}), "1 days before"},
		{fan(ReductionOptions{Reduction: 0.5, MonthAfter: 14}), "months 1 and 14"},
		{fan(ReductionOptions{Reduction: 0.5, Between: -1}), "between homes of -1"},
		{fan(ReductionOptions{Reduction: 0.5, Power: 0.1}), "a power of 10 %"},
		{hot(HotOptions{Hot: 0.1, Normal: 0.2}), "a share of 10 % in hot areas and of 20 % in normal ones; the first is the larger"},
		{hot(HotOptions{Hot: 0.1}), "a share in normal areas of 0"},
		{hot(HotOptions{Hot: 0.1001, Normal: 0.1}), "more than 100000"},
		{hot(HotOptions{Hot: 0.3, Normal: 0.1, False: 0.9}), "a false flag of 90 %"},
		{find(FindOptions{}), "a share above the level of 0"},
		{find(FindOptions{Units: 10, Above: 11}), "11 homes above the level of 10"},
		{find(FindOptions{Units: 10, Above: 1, Share: 0.1}), "both a number and a share"},
		{find(FindOptions{Units: 10, Share: 0.1, Homes: 11}), "11 homes tested"},
		{find(FindOptions{Share: 1e-7}), "more than 100000"},
	} {
		if c.err == nil || !strings.Contains(c.err.Error(), c.says) {
			t.Errorf("%v, want %q", c.err, c.says)
		}
	}
	if _, err := ShareAbove(0, 2, 200); err == nil {
		t.Error("a GM of 0 was taken")
	}
}

// FuzzPlan: no panic, no NaN, and what is answered keeps its promise.
func FuzzPlan(f *testing.F) {
	f.Add(0.1, 0.05, 0.95, 2.3, 1, 0)
	f.Add(1e-300, 1e300, 0.5, 1.0000001, 100, 2)
	f.Add(0.999999, 0.4999, 0.999999, 50.0, 100000, 100000)
	f.Fuzz(func(t *testing.T, p, d, conf, gsd float64, areas, dwellings int) {
		s := Sampling{Confidence: conf, Areas: areas, Dwellings: dwellings, DesignEffect: gsd}
		if r, err := Share(ShareOptions{Sampling: s, Share: p, Margin: d}); err == nil {
			for _, a := range slices.Concat(r.Answers, r.Curve) {
				for _, x := range []float64{a.HalfWidth, a.Within, a.Coverage, a.FewestSeen} {
					if math.IsNaN(x) || x < 0 {
						t.Errorf("%+v", a)
					}
				}
			}
			if a := r.Answers[2]; a.Within < 0.9-1e-9 {
				t.Errorf("assured %+v", a)
			}
			if err := r.Expected.Check(); err != nil {
				t.Error(err)
			}
		}
		if r, err := GeometricMean(MeanOptions{Sampling: s, GSD: gsd, Margin: d}); err == nil {
			for _, a := range slices.Concat(r.Answers, r.Curve) {
				if !(a.Factor >= 1) || !(a.Within >= 0 && a.Within <= 1) {
					t.Errorf("%+v", a)
				}
			}
			if err := r.Expected.Check(); err != nil {
				t.Error(err)
			}
		}
		if r, err := Hot(HotOptions{Normal: p, Hot: d, Areas: areas}); err == nil {
			for _, a := range r.Answers[1:] {
				if a.Power < 0.8 || a.False > r.Each*(1+1e-9) {
					t.Errorf("%+v", a)
				}
			}
		}
		if r, err := Find(FindOptions{Units: dwellings, Share: p, Confidence: conf}); err == nil && r.Answers[1].Chance < conf-1e-9 {
			t.Errorf("%+v", r.Answers)
		}
	})
}
