package lognormal

import (
	"encoding/binary"
	"errors"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// draw is n values of a log-normal with these parameters, to two decimals.
func draw(rng *rand.Rand, n int, mu, sigma float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = math.Round(100*math.Exp(mu+sigma*rng.NormFloat64()))/100 + 0.01
	}
	return x
}

// estimates are all that a description holds, by name.
func estimates(d Description) map[string]analysis.Estimate {
	m := map[string]analysis.Estimate{}
	for _, s := range d.Above {
		if s.Counted != nil {
			m[s.Counted.Quantity] = *s.Counted
		}
	}
	if f := d.Fit; f != nil {
		if f.GM != nil {
			m["gm"], m["gsd"] = *f.GM, *f.GSD
		}
		if f.Mean != nil {
			m["am"] = *f.Mean
		}
		if f.Next != nil {
			m["next"] = *f.Next
		}
		for _, q := range f.Quantiles {
			m["quantile"], m["tolerance"] = q.Quantile, q.Tolerance
		}
		for _, a := range f.Above {
			m["above"] = a.Fraction
		}
	}
	return m
}

// samples are one set each of complete, censored and rounded values with errors.
func samples(rng *rand.Rand) map[string][]Observation {
	sets := map[string][]Observation{}
	for i, v := range draw(rng, 15, 4, 0.9) {
		sets["complete"] = append(sets["complete"], Exact(v))
		if i%3 == 0 && v < 60 {
			sets["censored"] = append(sets["censored"], Below(60))
		} else {
			sets["censored"] = append(sets["censored"], Exact(v))
		}
		if r := 5 * math.Round(v/5); i%2 == 0 {
			sets["mixed"] = append(sets["mixed"], Rounded(r, 5))
		} else {
			sets["mixed"] = append(sets["mixed"], Observation{v, v, 0.1})
		}
	}
	return sets
}

func scaled(obs []Observation, c float64) []Observation {
	out := slices.Clone(obs)
	for i := range out {
		out[i].Lower *= c
		out[i].Upper *= c
	}
	return out
}

// In pCi/L the answers are the same answers; in another order too; and more
// confidence never narrows an interval.
func TestProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 0))
	for name, obs := range samples(rng) {
		opt := FitOptions{Levels: []float64{74}, Quantiles: []float64{0.9}}
		one, err := Fit(obs, opt)
		if err != nil {
			t.Fatal(name, err)
		}
		opt.Levels = []float64{2}
		other, err := Fit(scaled(obs, 1./37), opt)
		if err != nil {
			t.Fatal(name, err)
		}
		a, b := estimates(Description{Fit: &one}), estimates(Description{Fit: &other})
		for what, e := range a {
			by := 37.0
			if e.Unit == "" {
				by = 1
			}
			agree(t, name+", ×37, "+what, by*b[what].Value, e.Value, 1e-8)
			agree(t, name+", ×37, lower "+what, by*b[what].Lower+1, e.Lower+1, 1e-8)
			agree(t, name+", ×37, upper "+what, by*b[what].Upper, e.Upper, 1e-8)
		}

		shuffled := slices.Clone(obs)
		rng.Shuffle(len(obs), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		opt.Levels = []float64{74}
		if other, err = Fit(shuffled, opt); err != nil {
			t.Fatal(name, err)
		}
		for what, e := range estimates(Description{Fit: &other}) {
			agree(t, name+", shuffled, "+what, e.Value, a[what].Value, 1e-9)
			agree(t, name+", shuffled, upper "+what, e.Upper, a[what].Upper, 1e-9)
		}

		last := map[string]analysis.Estimate{}
		for _, c := range []float64{0.5, 0.8, 0.9, 0.95, 0.99} {
			opt.Confidence = c
			r, err := Fit(obs, opt)
			if err != nil {
				t.Fatal(name, err)
			}
			for what, e := range estimates(Description{Fit: &r}) {
				if err := e.Check(); err != nil {
					t.Error(err)
				}
				if l, ok := last[what]; ok && (e.Lower > l.Lower || e.Upper < l.Upper) {
					t.Errorf("%s, %s: %v narrowed to %v", name, what, l, e)
				}
				last[what] = e
			}
		}
	}

	// A value said to lie between itself and itself, or within a hair of it, is an exact
	// one; the likelihood of a complete sample is that of its moments.
	x := draw(rng, 12, 4, 1)
	var hair []Observation
	for _, v := range x {
		hair = append(hair, Between(v*(1-1e-9), v*(1+1e-9)))
	}
	exact, err := Fit(exacts(x...), FitOptions{Method: ProfileLikelihood})
	if err != nil {
		t.Fatal(err)
	}
	near, err := Fit(hair, FitOptions{Method: ProfileLikelihood})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "mean of hairs, upper", near.Mean.Upper, exact.Mean.Upper, 1e-6)
	s := sample(t, x...)
	agree(t, "profile mean, lower", mean(t, s, Profile, 0.95).Mean.Lower, exact.Mean.Lower, 1e-9)
	agree(t, "profile mean, upper", mean(t, s, Profile, 0.95).Mean.Upper, exact.Mean.Upper, 1e-9)

	// The level at a quantile's limit has as its share's limit the quantile's.
	q, err := Quantile(s, 0.9, Options{})
	if err != nil {
		t.Fatal(err)
	}
	a, err := Above(s, q.Quantile.Upper, Options{})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "share above the quantile's upper limit", a.Fraction.Upper, 0.1, 1e-9)

	// The same seed gives the same limits, whatever the order.
	one, err := BCa(x, BCaOptions{Seed: 5, Resamples: 2000})
	slices.Reverse(x)
	two, err2 := BCa(x, BCaOptions{Seed: 5, Resamples: 2000})
	three, err3 := BCa(x, BCaOptions{Seed: 6, Resamples: 2000})
	if err != nil || err2 != nil || err3 != nil || one.Mean.Upper != two.Mean.Upper || one.Mean.Upper == three.Mean.Upper {
		t.Errorf("limits by seed: %v, %v, %v", one.Mean, two.Mean, three.Mean)
	}
}

// The generalized limits against a plain sum over W, at three values where W/2 is
// exponential; the noncentral t against draws; Newton's top against a fine grid.
func TestAgainstSlow(t *testing.T) {
	s := sample(t, 40, 10, 33)
	g := mean(t, s, Generalized, 0.95).Mean
	for _, c := range []struct{ limit, p float64 }{{g.Lower, 0.025}, {g.Upper, 0.975}} {
		b := math.Log(c.limit) - s.mean
		sum := 0.0
		const h = 1e-4
		for r := h / 2; r < 40; r += h {
			sum += h * math.Exp(-r) * numeric.Phi((b-s.sd*s.sd/(2*r))*math.Sqrt(3*r)/s.sd)
		}
		agree(t, "P(T ≤ limit)", sum, c.p, 1e-6)
	}

	// Few values that spread widely have upper limits far out, where W is small and its
	// density flat: by a sum in small steps of ln(W/ν). A limit is open only where the share
	// below what counts as open is smaller than asked for.
	for _, n := range []int{2, 3, 4, 7} {
		for _, gsd := range []float64{1.5, 4.1, 8, 20} {
			s, err := FromLogs(n, math.Log(60), math.Log(gsd))
			if err != nil {
				t.Fatal(err)
			}
			below := func(b float64) float64 { // ln(b/GM)
				const h = 1e-3
				sum, all := 0.0, 0.0
				nu := float64(n - 1)
				for x := -60.0; x < 6; x += h {
					r := math.Exp(x)
					w := math.Exp(nu / 2 * (x - math.Expm1(x)))
					all += w
					sum += w * numeric.Phi((b-s.sd*s.sd/(2*r))*math.Sqrt(float64(n)*r)/s.sd)
				}
				return sum / all
			}
			for _, tail := range []float64{0.25, 0.05, 0.005} {
				lower, upper, err := generalizedLimits(s, tail)
				if err != nil {
					t.Fatal(err)
				}
				agree(t, "share below the lower limit", below(lower-s.mean), tail, 1e-7)
				if !math.IsInf(upper, 1) {
					agree(t, "share above the upper limit", 1-below(upper-s.mean), tail, 1e-7)
				} else if b := logUnbiased(n, s.sd) + math.Log(beyond); 1-below(b) < tail*(1+1e-9) {
					t.Errorf("%d values with a GSD of %v: open, where %v lies above a million times the value", n, gsd, 1-below(b))
				}
			}
		}
	}

	rng := rand.New(rand.NewPCG(4, 0))
	// Ranks: whatever the values below their limits are, none lies above its bound; one
	// without a bound does not depend on them; and each bound is met.
	for range 200 {
		obs := exacts(float64(1+rng.IntN(100)), float64(1+rng.IntN(100)))
		for range 1 + rng.IntN(8) {
			if v := float64(1 + rng.IntN(100)); rng.IntN(2) == 0 {
				obs = append(obs, Below(v))
			} else {
				obs = append(obs, Exact(v))
			}
		}
		d, err := Describe(obs, DescribeOptions{Ranks: []float64{rng.Float64(), 0.5, 0.75}})
		if err != nil {
			t.Fatal(err)
		}
		for try := range 20 {
			x := make([]float64, len(obs))
			for i, o := range obs {
				if x[i] = o.Upper; o.Lower == 0 && try > 0 {
					x[i] *= rng.Float64()
				}
			}
			slices.Sort(x)
			for _, r := range d.Ranks {
				k := float64(len(x)-1) * r.P
				i := int(k)
				v := x[i]
				if i+1 < len(x) {
					v = x[i]*(1-(k-float64(i))) + x[i+1]*(k-float64(i))
				}
				if v > r.Value+1e-9 || (try == 0 || !r.Below) && math.Abs(v-r.Value) > 1e-9 {
					t.Fatalf("%v: at %v the values say %v, the rank %v", obs, r.P, v, r)
				}
			}
		}
	}

	const draws = 200000
	below := 0
	for range draws {
		w := 0.0
		for range 7 {
			z := rng.NormFloat64()
			w += z * z
		}
		if (rng.NormFloat64()+1.5)/math.Sqrt(w/7) <= 2 {
			below++
		}
	}
	p := numeric.NoncentralT{Nu: 7, Delta: 1.5}.CDF(2)
	if off := (float64(below)/draws - p) / math.Sqrt(p*(1-p)/draws); math.Abs(off) > 4 {
		t.Errorf("noncentral t: %v by formula, %v of draws", p, float64(below)/draws)
	}

	for name, obs := range samples(rng) {
		fit, err := Fit(obs, FitOptions{Method: ProfileLikelihood})
		if err != nil {
			t.Fatal(err)
		}
		plain := func(mu, sigma float64) float64 { // each value by its definition
			l := 0.0
			for _, o := range obs {
				v := math.Hypot(sigma, o.Error)
				if o.Lower == o.Upper {
					z := (math.Log(o.Lower) - mu) / v
					l += -z*z/2 - math.Log(v*o.Lower) - math.Log(2*math.Pi)/2
				} else {
					l += math.Log(numeric.Phi((math.Log(o.Upper)-mu)/v) - numeric.Phi((math.Log(o.Lower)-mu)/v))
				}
			}
			return l
		}
		agree(t, name+", log likelihood", fit.LogLikelihood, plain(fit.MeanLog, fit.SDLog), 1e-9)
		for i := -40; i <= 40; i++ {
			for j := -40; j <= 40; j++ {
				if l := plain(fit.MeanLog+0.02*float64(i), fit.SDLog*math.Exp(0.03*float64(j))); l > fit.LogLikelihood+1e-9 {
					t.Fatalf("%s: the likelihood is higher at %d, %d", name, i, j)
				}
			}
		}
		// At the mean's limits the best likelihood on a grid has fallen by χ²₁/2.
		for _, limit := range []float64{fit.Mean.Lower, fit.Mean.Upper} {
			best := math.Inf(-1)
			for tau := -3.0; tau < 2; tau += 0.0005 {
				sigma := math.Exp(tau)
				best = max(best, plain(math.Log(limit)-sigma*sigma/2, sigma))
			}
			agree(t, name+", fall at the mean's limit", fit.LogLikelihood-best, 3.841458820694124/2, 1e-4)
		}
	}
}

// At LandMost values the two methods between which the default changes agree.
func TestLandMost(t *testing.T) {
	for _, gsd := range []float64{1.2, 2, 3, 4} {
		for n, want := range map[int]MeanMethod{LandMost: Land, LandMost + 1: MOVER} {
			s, err := FromLogs(n, math.Log(60), math.Log(gsd))
			if err != nil {
				t.Fatal(err)
			}
			if m := mean(t, s, Auto, 0.95).Mean.Method; m != string(want) {
				t.Errorf("the default at %d values is %s", n, m)
			}
			land, mover := mean(t, s, Land, 0.95).Mean, mean(t, s, MOVER, 0.95).Mean
			agree(t, "lower limit", mover.Lower, land.Lower, 1e-3)
			agree(t, "upper limit", mover.Upper, land.Upper, 1e-3)
		}
	}
}

// Awkward samples: an answer or an error in words, never a NaN.
func TestAwkward(t *testing.T) {
	huge := make([]Observation, 1_000_000)
	rng := rand.New(rand.NewPCG(8, 0))
	for i := range huge {
		huge[i] = Exact(math.Exp(4 + 0.9*rng.NormFloat64()))
	}
	repeat := func(o Observation, n int) []Observation { return slices.Repeat([]Observation{o}, n) }
	for _, c := range []struct {
		name string
		obs  []Observation
		why  string // words of the note why there is no fit; "" for a fit
	}{
		{"one", exacts(20), "at least two"},
		{"identical", exacts(20, 20, 20), "no spread can be seen"},
		{"all below", repeat(Below(10), 5), "below their limits"},
		{"all below limits that differ", append(repeat(Below(10), 5), Below(20)), "below their limits"},
		{"one seen, others below", append(repeat(Below(10), 5), Exact(20)), "known from both sides"},
		{"all in one class", repeat(Between(10, 20), 9), "no spread can be seen"},
		{"classes that touch", append(repeat(Between(10, 20), 4), repeat(Between(20, 30), 4)...), "could be 20"},
		{"two", exacts(20, 70), ""},
		{"two seen, others below", append(repeat(Below(10), 8), exacts(20, 30)...), ""},
		{"three and one far", exacts(1, 1.1, 1e6), ""},
		{"a million", huge, ""},
		{"tiny", exacts(1e-300, 3e-300, 2e-300), ""},
		{"vast", exacts(1e300, 3e300, 2e300), ""},
		{"tiny and vast", exacts(1e-300, 1e300, 1), ""},
		{"all but the same", exacts(100, 100, math.Nextafter(100, 101)), "no spread can be seen"},
		{"beyond range", append(exacts(20, 30, 40), Observation{50, math.Inf(1), 0}), ""},
		{"only errors", []Observation{{20, 20, 0.5}, {21, 21, 0.5}, {22, 22, 0.5}}, ""},
		{"tiny limits", append(repeat(Below(1e-300), 3), exacts(100, 200)...), "beyond what a number can hold"},
	} {
		d, err := Describe(c.obs, DescribeOptions{Levels: []float64{100}, Shape: true})
		if err != nil {
			t.Errorf("%s: %v", c.name, err)
			continue
		}
		if (d.Fit == nil) != (c.why != "") {
			t.Errorf("%s: fit %v, notes %v", c.name, d.Fit, d.Notes)
		}
		if c.why != "" && !slices.ContainsFunc(d.Notes, func(n analysis.Note) bool { return n.Code == "no-fit" && strings.Contains(n.Text, c.why) }) {
			t.Errorf("%s: no note says %q: %v", c.name, c.why, d.Notes)
		}
		checkAllOf(t, c.name, d)
	}
	for name, obs := range map[string][]Observation{
		"none":           {},
		"zero":           exacts(20, 0),
		"negative":       exacts(20, -1),
		"nan":            exacts(20, math.NaN()),
		"infinite":       exacts(20, math.Inf(1)),
		"says nothing":   {Exact(20), {0, math.Inf(1), 0}},
		"upside down":    {Exact(20), Between(30, 20)},
		"an odd error":   {Exact(20), {30, 30, -1}},
		"an endless one": {Exact(20), {30, 30, math.Inf(1)}},
	} {
		if d, err := Describe(obs, DescribeOptions{}); err == nil {
			t.Errorf("%s: %+v", name, d)
		}
	}
	for name, opt := range map[string]DescribeOptions{
		"confidence": {Confidence: 1.5}, "low confidence": {Confidence: 0.1}, "level": {Levels: []float64{-5}},
		"level under outdoors": {Outdoor: 20, Levels: []float64{10}}, "rank": {Ranks: []float64{2}}, "outdoor": {Outdoor: -1},
		"outdoor nan": {Outdoor: math.NaN()},
	} {
		if _, err := Describe(exacts(30, 40, 50), opt); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
	if _, err := Fit(exacts(30, 40), FitOptions{Method: "guess"}); err == nil {
		t.Error("an unknown method was taken")
	}
	if _, err := Fit(exacts(30, 40), FitOptions{Method: ProfileLikelihood, Mean: Land}); err == nil {
		t.Error("two methods that exclude each other were taken")
	}
	// A method of complete data is refused for any other, and not passed over; taking
	// the outdoor level off can make a limit of a value.
	for name, obs := range map[string][]Observation{
		"a limit": append(exacts(30, 40, 50), Below(10)), "an error": {Exact(30), Exact(40), {50, 50, 0.1}}, "a step": append(exacts(30, 40), Rounded(50, 1)),
	} {
		for _, m := range []MeanMethod{Land, MOVER, Generalized, Profile} {
			_, err := Fit(obs, FitOptions{Mean: m})
			_, err2 := Describe(obs, DescribeOptions{Mean: m})
			if !errors.Is(err, ErrNotComplete) || !errors.Is(err2, ErrNotComplete) {
				t.Errorf("%s by %s: %v, %v", name, m, err, err2)
			}
		}
		if _, err := Describe(obs, DescribeOptions{}); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := Describe(exacts(10, 30, 40), DescribeOptions{Mean: MOVER, Outdoor: 10}); !errors.Is(err, ErrNotComplete) {
		t.Errorf("a value at the outdoor level: %v", err)
	}
	if _, err := Describe(exacts(11, 30, 40), DescribeOptions{Mean: MOVER, Outdoor: 10}); err != nil {
		t.Errorf("values above the outdoor level: %v", err)
	}
	if _, err := Fit(exacts(30, 40), FitOptions{Mean: "guess"}); err == nil {
		t.Error("an unknown method of the mean was taken")
	}
	if _, err := Mean(sample(t, 30, 40), MeanOptions{Method: Land}); err == nil {
		t.Error("Land of two values")
	}
	if _, err := Mean(Sample{}, MeanOptions{}); err == nil {
		t.Error("an empty sample was taken")
	}
	for _, x := range [][]float64{{1, 2}, {3, 3, 3}, {1, 2, math.NaN()}, {-1, 2, 3}} {
		if _, err := BCa(x, BCaOptions{}); err == nil {
			t.Errorf("BCa took %v", x)
		}
	}
}

func checkAllOf(t *testing.T, name string, d Description) {
	t.Helper()
	for what, e := range estimates(d) {
		if err := e.Check(); err != nil {
			t.Errorf("%s, %s: %v", name, what, err)
		}
	}
	numbers := []float64{d.Min, d.Max}
	for _, r := range d.Ranks {
		numbers = append(numbers, r.Value)
	}
	if d.Shape != nil {
		numbers = append(numbers, d.Shape.Correlation)
		for _, p := range d.Shape.Plot {
			numbers = append(numbers, p.Z, p.Value, p.Fit)
		}
		for _, s := range []*Test{d.Shape.Shapiro, d.Shape.Anderson} {
			if s != nil {
				numbers = append(numbers, s.Statistic, s.P)
			}
		}
	}
	if d.Fit != nil {
		numbers = append(numbers, d.Fit.MeanLog, d.Fit.SDLog, d.Fit.LogLikelihood)
	}
	if o := d.OrderStatistics; o != nil {
		numbers = append(numbers, o.Mean, o.MeanLog, o.SDLog)
		if !(o.Mean > 0) {
			t.Errorf("%s: a mean by order statistics of %v", name, o.Mean)
		}
	}
	for _, x := range numbers {
		if math.IsNaN(x) || math.IsInf(x, 0) {
			t.Errorf("%s: a number is %v: %+v", name, x, d)
		}
	}
}

// A limit is one on what was measured, so that its error is part of its likelihood: of
// many homes measured with an error of 30 % the fit finds the homes' middle and spread,
// and an outdoor level of next to nothing changes nothing.
func TestErrorsOfLimits(t *testing.T) {
	rng := rand.New(rand.NewPCG(6, 0))
	var obs, without []Observation
	for range 20000 {
		v := 100 * math.Exp(math.Ln2*rng.NormFloat64()+0.3*rng.NormFloat64())
		o := Observation{v, v, 0.3}
		if v < 80 {
			o = Observation{0, 80, 0.3}
		}
		obs = append(obs, o)
		if o.Lower == 0 {
			o.Error = 0
		}
		without = append(without, o)
	}
	fit, err := Fit(obs, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "GM of 100", fit.GM.Value, 100, 0.02)
	agree(t, "GSD of 2", fit.GSD.Value, 2, 0.02)
	// Left out of the limits, it is missed.
	if fit, err = Fit(without, FitOptions{}); err != nil || math.Abs(fit.GM.Value-100) < 2.5 {
		t.Errorf("without errors of limits: GM %v, GSD %v, %v", fit.GM, fit.GSD, err)
	}
	for _, some := range [][]Observation{
		obs[:40],
		{{0, 30, 0.2}, {50, 50, 0.2}, {40, 60, 0.2}, {0, 45, 0.4}, {90, math.Inf(1), 0.1}, {130, 130, 0.2}, {0, 20, 0.3}, {75, 75, 0}},
	} {
		opt := DescribeOptions{Levels: []float64{100}, Quantiles: []float64{0.9}}
		one, err := Describe(some, opt)
		opt.Outdoor = 1e-6
		two, err2 := Describe(some, opt)
		if err != nil || err2 != nil || one.Fit == nil || two.Fit == nil {
			t.Fatal(err, err2, one.Notes, two.Notes)
		}
		a, b := estimates(one), estimates(two)
		if len(a) != len(b) || len(a) < 5 {
			t.Errorf("%d estimates, and %d beside an outdoor level", len(a), len(b))
		}
		for what, e := range a {
			agree(t, what, b[what].Value, e.Value, 1e-6)
			agree(t, "lower "+what, b[what].Lower+1, e.Lower+1, 1e-6)
			agree(t, "upper "+what, b[what].Upper, e.Upper, 1e-6)
		}
	}
}

// What is open does not depend on the unit.
func TestOpenInAnyUnit(t *testing.T) {
	for _, scale := range []float64{1, 1e-9, 1e9} {
		for far, open := range map[float64]bool{2e6: true, 5e5: false} {
			e, err := finish(analysis.Estimate{Quantity: "mean", Unit: becquerel, Value: 50 * scale, Lower: scale, Upper: 50 * scale * far, Confidence: 0.95, Kind: analysis.ConfidenceInterval, N: 3, Method: "m"})
			if err != nil || math.IsInf(e.Upper, 1) != open || analysis.HasNote(e.Notes, "unbounded") != open {
				t.Errorf("×%v: %v, %v", scale, e, err)
			}
		}
	}
	// A share's limit is never open.
	if e, err := finish(analysis.Estimate{Quantity: "share above", Value: 1e-9, Upper: 0.9, Confidence: 0.95, Kind: analysis.ConfidenceInterval, N: 2, Method: "m"}); err != nil || e.Upper != 0.9 {
		t.Error(e, err)
	}
}

// The lowest value known is one known from both sides: nothing is said of less, though a
// value known to lie beyond a range began there.
func TestLowestKnown(t *testing.T) {
	obs := append(slices.Repeat([]Observation{Below(10)}, 13), append(exacts(80, 100), Observation{15, math.Inf(1), 0})...)
	fit, err := Fit(obs, FitOptions{Levels: []float64{50, 85}})
	if err != nil || len(fit.Above) != 1 || fit.Above[0].Level != 85 {
		t.Errorf("%+v, %v", fit.Above, err)
	}
}

// Of a value beyond a range the mean is at least so much, and a confidence near 1 is told
// in all its digits.
func TestMeanWords(t *testing.T) {
	text := func(code string, obs []Observation, opt DescribeOptions) string {
		d, err := Describe(obs, opt)
		if err != nil {
			t.Fatal(err)
		}
		for _, n := range d.Notes {
			if n.Code == code {
				return n.Text
			}
		}
		t.Fatalf("no %s among %v", code, d.Notes)
		return ""
	}
	wide := exacts(0.1, 60, 61, 62, 63, 64, 65)
	// (0.1 + 60 + … + 65 + 66)/8 = 55.1
	for _, c := range []struct {
		last Observation
		want string
	}{{Exact(66), "the largest value, 66 Bq/m³: the shape assumed makes it, not the values; their plain mean is at most 55.1"},
		{Observation{66, math.Inf(1), 0}, "the most that a value is known to reach, 66 Bq/m³: the shape assumed makes it, not the values; their plain mean is at least 55.1"}} {
		if got := text("mean-above-values", append(wide, c.last), DescribeOptions{}); !strings.HasSuffix(got, c.want) {
			t.Errorf("%v: %q", c.last, got)
		}
	}
	if got := text("mean-at-least", exacts(20, 60, 100), DescribeOptions{Confidence: 0.999999}); !strings.Contains(got, "its 99.9999 % interval") {
		t.Error(got)
	}
}

// Homes of which some are of another kind: middle and mean are off by no more than the
// words say. Of 4000, 3 % at six times the level: the share far out is off by a factor,
// and the note says so there and only there.
func TestNearLogNormal(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 0))
	near := 0
	for _, part := range []float64{0.01, 0.03, 0.1, 0.2} {
		for _, times := range []float64{0.15, 0.3, 3, 6} {
			x := make([]float64, 4000)
			plain := 0.0
			for i := range x {
				x[i] = 55 * math.Exp(math.Log(2.2)*rng.NormFloat64())
				if rng.Float64() < part {
					x[i] *= times
				}
				plain += x[i] / 4000
			}
			d, err := Describe(exacts(x...), DescribeOptions{Levels: []float64{100, 600}, Shape: true})
			if err != nil {
				t.Fatal(err)
			}
			if d.Shape.Verdict() != NearLogNormal {
				continue
			}
			near++
			agree(t, "middle", d.Fit.GM.Value, d.Ranks[1].Value, 0.16)
			agree(t, "mean", d.Fit.Mean.Value, plain, 0.11)
			if !strings.Contains(d.Shape.Words, "off by a tenth or so, but shares far out in the tail by a factor") {
				t.Error(d.Shape.Words)
			}
			if part != 0.03 || times != 6 {
				continue
			}
			if s := d.Above[1]; s.Counted.Value < 2*s.Fraction.Value {
				t.Errorf("counted %v, fitted %v", s.Counted, s.Fraction)
			}
			var notes []string
			for _, n := range d.Notes {
				if n.Code == "shares-apart" {
					notes = append(notes, n.Text)
				}
			}
			if len(notes) != 1 || !strings.HasPrefix(notes[0], "above 600 Bq/m³ the fitted share, ") || !strings.Contains(notes[0], "use the counted one") {
				t.Errorf("%q", notes)
			}
			near += 100
		}
	}
	if near < 100+8 {
		t.Errorf("%d mixtures are near log-normal, and 100 for that of 3 %%", near)
	}
}

// Each note has what raises it and a near miss.
func TestNotes(t *testing.T) {
	repeat := func(o Observation, n int) []Observation { return slices.Repeat([]Observation{o}, n) }
	all := func(obs []Observation, opt DescribeOptions) (notes []analysis.Note) {
		opt.Shape = true
		d, err := Describe(obs, opt)
		if err != nil {
			t.Fatal(err)
		}
		notes = d.Notes
		for _, e := range estimates(d) {
			notes = append(notes, e.Notes...)
		}
		return notes
	}
	for _, c := range []struct {
		code        string
		raises      []Observation
		opt         DescribeOptions
		near        []Observation
		nearOptions DescribeOptions
	}{
		{"too-uncertain", exacts(10, 30, 90, 40), DescribeOptions{}, exacts(10, 14, 19, 12, 16), DescribeOptions{}},
		{"mostly-censored", append(repeat(Below(10), 9), exacts(20, 30)...), DescribeOptions{}, append(repeat(Below(10), 8), exacts(20, 30)...), DescribeOptions{}},
		{"counted-with-errors", []Observation{{20, 20, 0.1}, {41, 41, 0.1}, {82, 82, 0.1}}, DescribeOptions{Levels: []float64{50}}, []Observation{{20, 20, 0.1}, {41, 41, 0.1}, {82, 82, 0.1}}, DescribeOptions{}},
		{"no-spread-seen", []Observation{{20, 20, 0.5}, {21, 21, 0.5}, {22, 22, 0.5}}, DescribeOptions{}, []Observation{{20, 20, 0.05}, {31, 31, 0.05}, {22, 22, 0.05}}, DescribeOptions{}},
		{"no-mean", exacts(1e-300, 1e300, 1), DescribeOptions{}, exacts(10, 11, 12), DescribeOptions{Mean: MOVER}},
		{"no-fit", exacts(20), DescribeOptions{}, exacts(20, 21), DescribeOptions{}},
		{"no-mean", append(repeat(Below(5), 2), exacts(20, 60)...), DescribeOptions{}, append(repeat(Below(5), 2), exacts(6, 20, 30, 60)...), DescribeOptions{}},
		{"mean-at-least", append(repeat(Below(5), 2), exacts(20, 60)...), DescribeOptions{}, append(repeat(Below(5), 2), exacts(6, 20, 30, 60)...), DescribeOptions{}},
		{"mean-above-values", exacts(0.1, 60, 61, 62, 63, 64, 65, 66), DescribeOptions{}, exacts(30, 60, 61, 62, 63, 64, 65, 66), DescribeOptions{}},
		{"mean-above-values", exacts(30, 70, 90, 120, 130, 140, 200, 300, 400, 700), DescribeOptions{Outdoor: 29.99}, exacts(30, 70, 90, 120, 130, 140, 200, 300, 400, 700), DescribeOptions{}},
		{"no-shape", append(exacts(20, 30, 40), Below(10)), DescribeOptions{}, exacts(20, 30, 40, 10), DescribeOptions{}},
		{"level-within-limits", append(exacts(20, 30, 40), Between(90, 110)), DescribeOptions{Levels: []float64{100}}, append(exacts(20, 30, 40), Between(90, 100)), DescribeOptions{Levels: []float64{100}}},
		{"shares-apart", append(repeat(Exact(50), 40), append(repeat(Exact(60), 40), repeat(Exact(400), 2)...)...), DescribeOptions{Levels: []float64{390}}, append(repeat(Exact(50), 40), append(repeat(Exact(60), 40), repeat(Exact(80), 2)...)...), DescribeOptions{Levels: []float64{70}}},
		{"outdoor-floor", exacts(10.9, 30, 40), DescribeOptions{Outdoor: 10}, exacts(11, 30, 40), DescribeOptions{Outdoor: 10}},
		{"unbounded", exacts(1e-100, 1e100), DescribeOptions{}, exacts(30, 50, 40), DescribeOptions{}},
	} {
		if notes := all(c.raises, c.opt); !analysis.HasNote(notes, c.code) {
			t.Errorf("%s was not raised: %v", c.code, notes)
		}
		if notes := all(c.near, c.nearOptions); analysis.HasNote(notes, c.code) {
			t.Errorf("%s was raised by a near miss: %v", c.code, notes)
		}
	}
	rng := rand.New(rand.NewPCG(1, 0))
	x := draw(rng, 100, 4, 0.8)
	few, err := BCa(x[:99], BCaOptions{Resamples: 1000})
	enough, err2 := BCa(x, BCaOptions{Resamples: 1000})
	if err != nil || err2 != nil || !analysis.HasNote(few.Mean.Notes, "low-coverage") || analysis.HasNote(enough.Mean.Notes, "low-coverage") {
		t.Errorf("low-coverage: %v, %v", few.Mean.Notes, enough.Mean.Notes)
	}
}

// FuzzDescribe: whatever the values, an error or a sound answer.
func FuzzDescribe(f *testing.F) {
	pack := func(x ...float64) []byte {
		var b []byte
		for _, v := range x {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		}
		return b
	}
	f.Add(pack(10, 10, 0, 20, 20, 0, 30, 30, 0), 100.0, 0.0, 0.95)
	f.Add(pack(0, 10, 0, 20, 20, 0.1, 30, 40, 0), 100.0, 5.0, 0.9)
	f.Add(pack(1e-300, 1e-300, 0, 1e300, 1e300, 0), 1e-300, 1e-301, 0.999999)
	f.Add(pack(0, 1e-300, 0, 1e300, math.Inf(1), 0, 1, 2, 0, 5, 6, 3), 1e300, 0.0, 0.5)
	f.Add(pack(0, 1e-300, 0, 1e-300, 1e-300, 0, 1e300, 1e300, 0, 0, 1e300, 0), 1.0, 0.0, 0.95)
	f.Add(pack(0, 20, 0, 0, 30, 0), 1.0, 0.0, 0.95)
	f.Add(pack(0, 20, 0, 30, 30, 0, 30, 30, 0), 100.0, 8.0, 0.95)
	f.Add(pack(20, 20, 1e10, 30, 30, 1e-10, 50, 50, 1), 25.0, 0.0, 0.95)
	f.Fuzz(func(t *testing.T, b []byte, level, outdoor, confidence float64) {
		var obs []Observation
		for ; len(b) >= 24 && len(obs) < 40; b = b[24:] {
			at := func(i int) float64 { return math.Float64frombits(binary.LittleEndian.Uint64(b[8*i:])) }
			obs = append(obs, Observation{at(0), at(1), at(2)})
		}
		d, err := Describe(obs, DescribeOptions{Confidence: confidence, Levels: []float64{level}, Outdoor: outdoor, Shape: true})
		if err == nil {
			checkAllOf(t, "fuzz", d)
		}
		if r, err := Fit(obs, FitOptions{Confidence: confidence, Levels: []float64{level}, Quantiles: []float64{0.95}, Method: ProfileLikelihood}); err == nil {
			checkAllOf(t, "fuzz, profile", Description{Fit: &r})
		}
	})
}

func BenchmarkLand(b *testing.B) {
	s, err := NewSample(chromium)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := Mean(s, MeanOptions{Method: Land}); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkDescribe(b *testing.B) {
	rng := rand.New(rand.NewPCG(2, 0))
	complete := exacts(draw(rng, 20, 4, 0.9)...)
	censored := slices.Clone(complete)
	for i := range 6 {
		censored[i] = Below(30)
	}
	for name, obs := range map[string][]Observation{"complete": complete, "censored": censored} {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				if _, err := Describe(obs, DescribeOptions{Levels: []float64{100, 300}, Shape: true}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
