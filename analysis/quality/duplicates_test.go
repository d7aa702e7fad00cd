package quality

import (
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
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
		got := map[string]float64{"value": r.All.Precision.Value, "lower": r.All.Precision.Lower, "upper": r.All.Precision.Upper}
		if r.Ratio != nil {
			got["ratio"], got["ratio_lower"], got["ratio_upper"] = r.Ratio.Value, r.Ratio.Lower, r.Ratio.Upper
			if err := r.Ratio.Check(); err != nil {
				t.Error(err)
			}
		}
		for _, bad := range c.Check(got) {
			t.Error(bad)
		}
		if err := r.All.Precision.Check(); err != nil {
			t.Error(err)
		}
	}
}

// TestByHand: pairs (e, 1) and (1, e), times 100, out of order and one with a limit. Both d
// are 1 in size, so σ² = 2/(2·2) = 1/2 and the value is 100·√(e^½ − 1) = 80.54 %. Each
// differs by (e − 1)/((e + 1)/2) = 92.4 % of a mean of 186: over the control limit of 36.
// Of d the mean is 0, so the ratio is 1; its standard deviation is √2, of the mean 1, and
// t(0.975; 1) = tan(0.475π) = 12.706, so that the ratio's limits are e^∓12.706.
// Of 30 and less than 20 the difference is at most 30: within 37.
func TestByHand(t *testing.T) {
	r, err := Duplicates([]Pair{{A: 100, B: 100 * math.E}, {A: 30, B: 20, BBelow: true}, {A: 100 * math.E, B: 100}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(r.All.Precision.Value-100*math.Sqrt(math.Sqrt(math.E)-1)) > 1e-9 || r.All.Used != 2 || r.All.Controls != 2 || r.All.Warnings != 0 || r.All.Pairs != 3 {
		t.Errorf("%+v", r.All)
	}
	if r.Pairs[0].Standing != OverControl || r.Pairs[1].Standing != Within || r.Pairs[1].Used || math.Abs(r.Pairs[0].Relative-2*(math.E-1)/(math.E+1)) > 1e-12 {
		t.Errorf("%+v", r.Pairs)
	}
	if upper := math.Exp(math.Tan(0.475 * math.Pi)); math.Abs(r.Ratio.Value-1) > 1e-12 || math.Abs(r.Ratio.Upper/upper-1) > 1e-9 || math.Abs(r.Ratio.Lower*upper-1) > 1e-9 {
		t.Errorf("the ratio is %+v", r.Ratio)
	}
	// The two classes: means of 186 twice, and 25.
	if len(r.Classes) != 2 || r.Classes[0].Pairs != 2 || r.Classes[0].Expected != 10 || r.Classes[1].Pairs != 1 || r.Classes[1].To != 74 || r.Classes[1].Precision != nil {
		t.Errorf("%+v", r.Classes)
	}
	if !analysis.HasNote(r.Notes, "few-pairs") || !analysis.HasNote(r.Notes, "over-control") || len(r.Notes) != 3 || !analysis.HasNote(r.Notes, "imprecise") {
		t.Errorf("%+v", r.Notes)
	}
}

// TestJudge: of each standing a case and one beside it. 28 % of 200 is 56, 36 % 72; 50 % of
// 100 is 50, 67 % 67.
func TestJudge(t *testing.T) {
	for _, c := range []struct {
		a, b  float64
		below string // which are below a limit
		want  Standing
	}{
		{228, 172, "", Within}, {228.1, 171.9, "", OverWarning},
		{236, 164, "", OverWarning}, {236.1, 163.9, "", OverControl},
		{125, 75, "", Within}, {75, 125.2, "", OverWarning},
		{133.5, 66.5, "", OverWarning}, {66.4, 133.6, "", OverControl},
		{30, 67, "", Within}, {30, 67.1, "", OverDifference},
		{0, 0, "", Within}, {0, 37, "", Within}, {0, 500, "", OverControl},
		{20, 500, "a", OverControl}, {500, 20, "b", OverControl}, // far apart, whatever the one is
		{20, 37, "a", Within},         // at most 37 apart
		{20, 38, "a", Open},           // 18 to 38 apart
		{20, 60, "a", OverDifference}, // 40 to 60
		{200, 300, "a", OverControl},  // 40 % and more
		{290, 300, "a", Open},         // 3 % and more
		{120, 180, "a", Open},         // 40 % of 150, but of 115 and 180 44 % of 147.5, where 50 are allowed
		{30, 30, "ab", Within},        // at most 30 apart
		{37, 20, "ab", Within},        // at most 37 apart
		{20, 38, "ab", Open},          // nothing to 38 apart
		{200, 200, "ab", Open},        // the one may be nothing and the other 199
		{20, 300, "ab", Open},
	} {
		p := Pair{A: c.a, B: c.b, ABelow: strings.Contains(c.below, "a"), BBelow: strings.Contains(c.below, "b")}
		if got := judge(p); got != c.want {
			t.Errorf("%+v is %s, want %s", p, got, c.want)
		}
	}
}

// TestAgainstSlow: a result below its limit taken for each of two thousand numbers up to
// there; and the precision and the ratio by their plain formulas.
func TestAgainstSlow(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	seen := map[Standing]int{}
	for range 1000 {
		limit, b := math.Exp(2+4*rng.Float64()), math.Exp(2+4*rng.Float64())
		mildest, worst := OverControl, Within
		for k := range 2001 {
			s := stand(limit*float64(k)/2000, b)
			if severity[s] < severity[mildest] {
				mildest = s
			}
			if severity[s] > severity[worst] {
				worst = s
			}
		}
		want := mildest
		if mildest == Within && worst != Within {
			want = Open
		}
		got := judge(Pair{A: limit, ABelow: true, B: b})
		seen[got]++
		if got != want {
			t.Errorf("below %g and %g are %s, one by one %s", limit, b, got, want)
		}
	}
	if len(seen) < 4 {
		t.Errorf("seen were only %v", seen)
	}
	// Both below their limits: each taken for a hundred numbers up to there.
	open := 0
	for range 200 {
		p := Pair{A: math.Exp(2 + 4*rng.Float64()), ABelow: true, B: math.Exp(2 + 4*rng.Float64()), BBelow: true}
		want := Within // as two numbers that are the same
		for k := range 101 * 101 {
			if stand(p.A*float64(k/101)/100, p.B*float64(k%101)/100) != Within {
				want = Open
			}
		}
		if got := judge(p); got != want {
			t.Errorf("below %g and %g are %s, one by one %s", p.A, p.B, got, want)
		} else if got == Open {
			open++
		}
	}
	if open == 0 || open == 200 {
		t.Errorf("%d of 200 pairs below their limits are open", open)
	}
	for range 50 {
		var a, b []float64
		mean, squares, n := 0.0, 0.0, 3+rng.IntN(20)
		for range n {
			x := math.Exp(4 + rng.NormFloat64())
			a, b = append(a, x), append(b, x*math.Exp(0.2*rng.NormFloat64()))
		}
		for i := range a {
			mean += math.Log(a[i]/b[i]) / float64(n)
			squares += math.Pow(math.Log(a[i]/b[i]), 2)
		}
		r, err := Duplicates(pairs(a, b), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if cv := 100 * math.Sqrt(math.Exp(squares/float64(2*n))-1); math.Abs(r.All.Precision.Value/cv-1) > 1e-9 || math.Abs(r.Ratio.Value/math.Exp(mean)-1) > 1e-9 {
			t.Errorf("%+v %+v: want %g, %g", r.All.Precision, r.Ratio, cv, math.Exp(mean))
		}
		counted := 0
		for _, c := range r.Classes {
			counted += c.Pairs
		}
		if counted != n {
			t.Errorf("the classes hold %d of %d pairs", counted, n)
		}
	}
}

// TestPublishedPairs: pairs with their relative difference and coefficient of variation in
// whole percent, as a public guide to duplicates prints them (environment-database.eu,
// relative percent difference). Its coefficient is the difference over √2; ours is of
// logarithms and may differ by as much as it rounds.
func TestPublishedPairs(t *testing.T) {
	for _, c := range []struct{ a, b, relative, cv float64 }{{8, 9, 12, 8}, {13, 15, 14, 10}, {17, 20, 16, 11}, {26, 30, 14, 10}, {7.5, 10, 29, 20}} {
		r, err := Duplicates(pairs([]float64{c.a}, []float64{c.b}), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if math.Round(100*r.Pairs[0].Relative) != c.relative || math.Abs(r.All.Precision.Value-c.cv) > 0.75 {
			t.Errorf("%g and %g: %.3g %% apart and a precision of %.3g %%, printed are %g and %g", c.a, c.b, 100*r.Pairs[0].Relative, r.All.Precision.Value, c.relative, c.cv)
		}
	}
}

// TestNotes: each with a near miss.
func TestNotes(t *testing.T) {
	many := func(n int, ratio float64) (out []Pair) {
		for i := range n {
			p := Pair{A: 400, B: 400 * ratio}
			if i%2 == 1 {
				p.A, p.B = p.B, p.A
			}
			out = append(out, p)
		}
		return out
	}
	lower := func(all []Pair) []Pair { // a quarter of it
		for i := range all {
			all[i].A, all[i].B = all[i].A/4, all[i].B/4
		}
		return all
	}
	for _, c := range []struct {
		code           string
		raises, misses []Pair
	}{
		{"few-pairs", many(9, 1.05), many(10, 1.05)},
		{"open-pairs", []Pair{{A: 20, ABelow: true, B: 38}}, []Pair{{A: 20, ABelow: true, B: 37}}},
		{"over-control", many(12, 1.45), many(12, 1.43)},                  // 36.7 and 35.4 %
		{"imprecise", many(20, 1.26), many(20, 1.20)},                     // 16.5 and 13.0 %, whose lower limits are 12.6 and 9.9
		{"imprecise", lower(many(20, 1.5)), lower(many(20, 1.2))},         // 29 and 13 %
		{"unbounded", []Pair{{A: 300, B: 360}}, []Pair{{A: 300, B: 328}}}, // 4.7e5 and 750 %
		{"identical-pairs", many(3, 1), many(3, 1.001)},
		{"steady-difference", []Pair{{A: 110, B: 100}, {A: 121, B: 111}}, many(2, 1.1)},
	} {
		for i, all := range [][]Pair{c.raises, c.misses} {
			r, err := Duplicates(all, Options{})
			if err != nil {
				t.Fatal(err)
			}
			notes := r.Notes
			if r.All.Precision != nil {
				notes = append(notes, r.All.Precision.Notes...)
			}
			// A class has two ends, and the note says both.
			if n := slices.IndexFunc(notes, func(n analysis.Note) bool { return n.Code == "imprecise" }); n >= 0 {
				for _, end := range []string{"from 148 Bq/m³ on,", "from 74 to 148 Bq/m³,"} {
					if strings.HasPrefix(notes[n].Text, end) != (end == "from 74 to 148 Bq/m³," == (all[0].A < High)) {
						t.Errorf("of pairs about %g: %s", all[0].A, notes[n].Text)
					}
				}
			}
			if analysis.HasNote(notes, c.code) != (i == 0) {
				t.Errorf("%s: %v gives %+v", c.code, all, r.Notes)
			}
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
	if swapped.All.Precision.Value != r.All.Precision.Value || math.Abs(swapped.Ratio.Value*r.Ratio.Value-1) > 1e-12 {
		t.Error("which of the two is first changes the answer")
	}
	slices.Reverse(a)
	slices.Reverse(b)
	shuffled, _ := Duplicates(pairs(a, b), Options{})
	if math.Abs(shuffled.All.Precision.Value-r.All.Precision.Value) > 1e-12 {
		t.Error("the order changes the answer")
	}
	for i := range a {
		a[i], b[i] = 37*a[i], 37*b[i]
	}
	scaled, _ := Duplicates(pairs(a, b), Options{})
	if math.Abs(scaled.All.Precision.Value-r.All.Precision.Value) > 1e-9 {
		t.Error("the unit changes the answer")
	}
	wider, _ := Duplicates(pairs(a, b), Options{Confidence: 0.99})
	if wider.All.Precision.Lower > scaled.All.Precision.Lower || wider.All.Precision.Upper < scaled.All.Precision.Upper || wider.Ratio.Lower > scaled.Ratio.Lower || wider.Ratio.Upper < scaled.Ratio.Upper {
		t.Error("more confidence is narrower")
	}
	if r.All.Warnings != 1 || r.Pairs[4].Standing != OverWarning { // 55 of 187.5: 29 %
		t.Errorf("%+v", r)
	}
	same, err := Duplicates(pairs([]float64{50, 60}, []float64{50, 60}), Options{})
	if err != nil || same.All.Precision != nil || !analysis.HasNote(same.Notes, "identical-pairs") {
		t.Errorf("%+v, %v", same, err)
	}
	limits, err := Duplicates([]Pair{{A: 20, ABelow: true, B: 30}}, Options{})
	if err != nil || limits.All.Precision != nil || limits.All.Used != 0 {
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
		held, even := 0, 0
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
			if r.All.Precision.Lower <= 100*cv && 100*cv <= r.All.Precision.Upper {
				held++
			}
			if r.Ratio.Lower <= 1 && 1 <= r.Ratio.Upper {
				even++
			}
		}
		// Four standard deviations of the count.
		for what, count := range map[string]int{"precision": held, "ratio": even} {
			if share := float64(count) / trials; math.Abs(share-0.95) > 4*math.Sqrt(0.95*0.05/trials) {
				t.Errorf("%s of %d pairs: held %.3f", what, n, share)
			}
		}
	}
}

func FuzzDuplicates(f *testing.F) {
	f.Add(100.0, 120.0, 1e-300, 1e-300, false)
	f.Add(1e300, 1e-300, 0.0, 5.0, true)
	f.Add(1.7e308, 1.7e308, 5e-324, 5e-324, false)
	f.Fuzz(func(t *testing.T, a, b, c, d float64, below bool) {
		all := pairs([]float64{a, c}, []float64{b, d})
		all[1].ABelow = below
		r, err := Duplicates(all, Options{})
		if err != nil {
			return
		}
		estimates := []*analysis.Estimate{r.All.Precision, r.Ratio}
		for _, c := range r.Classes {
			estimates = append(estimates, c.Precision)
		}
		for _, e := range estimates {
			if e == nil {
				continue
			}
			if err := e.Check(); err != nil {
				t.Errorf("%v of %v", err, []float64{a, b, c, d})
			}
		}
		for _, p := range r.Pairs {
			if !(p.Relative >= 0 && p.Relative <= 2) || p.Standing == "" || math.IsNaN(p.Mean) || math.IsInf(p.Mean, 0) || math.IsInf(p.Difference, 0) {
				t.Errorf("%+v", p)
			}
		}
	})
}
