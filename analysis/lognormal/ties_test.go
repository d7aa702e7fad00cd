package lognormal

import (
	"math"
	"math/rand/v2"
	"strconv"
	"strings"
	"testing"

	"radonyear/analysis/internal/numeric"
)

// quantiles are n values that lie as those of a log-normal distribution should.
func quantiles(n int, gm, gsd float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = gm * math.Exp(math.Log(gsd)*numeric.NormalQuantile((float64(i)+0.5)/float64(n)))
	}
	return x
}

// TestVerdicts: values of each verdict, and others a little nearer to the next.
func TestVerdicts(t *testing.T) {
	// The tenth part of the homes, evenly among the others, at so many times the level.
	mixed := func(times float64) []float64 {
		x := quantiles(200, 60, 2)
		for i := range x {
			if i%10 == 5 {
				x[i] *= times
			}
		}
		return x
	}
	for _, c := range []struct {
		name  string
		x     []float64
		want  Verdict
		words string
	}{
		{"log-normal", quantiles(200, 60, 2), LogNormal, "nothing speaks against a log-normal shape"},
		{"three", []float64{20, 60, 90}, LogNormal, "but 3 values could not say much"},
		{"nineteen", quantiles(19, 60, 2), LogNormal, "but 19 values could not say much"},
		{"twenty", quantiles(20, 60, 2), LogNormal, "nothing speaks against a log-normal shape"},
		{"a tenth at 4 times", mixed(4), LogNormal, "nothing speaks against a log-normal shape"},
		{"a tenth at 5.5 times", mixed(5.5), NearLogNormal, "not quite log-normal"},
		{"a tenth at 7 times", mixed(7), NotLogNormal, "not log-normal: hold shares above a level to the counted ones"},
		{"a tenth at 40 times", mixed(40), FarFromLogNormal, "far from log-normal"},
	} {
		r, err := Shape(exacts(c.x...))
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%s: p %.3g, correlation %.4f", c.name, r.look.p, r.Correlation)
		if r.Verdict() != c.want || !strings.Contains(r.Words, c.words) || r.Tied != 0 {
			t.Errorf("%s: %v, %q, of %+v", c.name, r.Verdict(), r.Words, r.look)
		}
	}
	// At each border and to the other side of it.
	for _, c := range []struct {
		look
		want Verdict
	}{
		{look{0.05, 0.9}, LogNormal}, {look{0.0499, 0.99}, NearLogNormal}, {look{0.0499, 0.9899}, NotLogNormal},
		{look{0.0499, 0.97}, NotLogNormal}, {look{0.0499, 0.9699}, FarFromLogNormal},
	} {
		if got := c.verdict(); got != c.want {
			t.Errorf("%+v: %v", c.look, got)
		}
	}
	for v, name := range []string{"no-objection", "near-log-normal", "not-log-normal", "far-from-log-normal", "ties-decide"} {
		if Verdict(v).String() != name {
			t.Errorf("verdict %d is %v", v, Verdict(v))
		}
	}
}

// TestTies: what only equal values speak against has no verdict; what else does, has. Of
// 100, 100 and 110 a step is 10, so the two are taken as 97.5 and 102.5; of 10, 10 and 100
// it is 10, the value itself, and not 90; and of 60, 60.5 and 61, 61 half of a becquerel.
func TestTies(t *testing.T) {
	for _, c := range []struct {
		x, want []float64
		tied    int
	}{
		{[]float64{100, 100, 110}, []float64{97.5, 102.5, 110}, 2},
		{[]float64{10, 10, 100}, []float64{7.5, 12.5, 100}, 2},
		{[]float64{60, 60.5, 61, 61}, []float64{60, 60.5, 60.875, 61.125}, 2},
		{[]float64{60, 60, 80, 80, 80}, []float64{55, 65, 80 - 20./3, 80, 80 + 20./3}, 5},
		{[]float64{100, 100 * (1 + 1e-12), 130}, []float64{92.5, 107.5, 130}, 2}, // means of the same by two ways
		{[]float64{1, 2, 3}, []float64{1, 2, 3}, 0},
	} {
		got, tied := untied(c.x)
		for i := range c.want {
			agree(t, "a value spread", got[i], c.want[i], 1e-9)
		}
		if tied != c.tied {
			t.Errorf("%v: %d tied", c.x, tied)
		}
	}

	// Rounded to 10: log-normal values, and two kinds of homes.
	tens := func(x []float64) []float64 {
		for i, v := range x {
			x[i] = max(10, 10*math.Round(v/10))
		}
		return x
	}
	for _, c := range []struct {
		x    []float64
		tied int
		want Verdict
	}{
		{[]float64{110, 100, 100}, 2, TiesDecide},
		{[]float64{60, 60, 90}, 2, TiesDecide},
		{[]float64{100, 100, 100.0001}, 2, TiesDecide},
		{[]float64{100, 100, 100, 110}, 3, TiesDecide},
		{[]float64{100, 100, 60, 170, 250, 30}, 2, LogNormal}, // ties that decide nothing
		{tens(quantiles(50, 30, 1.5)), 49, TiesDecide},
		{tens(append(quantiles(25, 30, 1.3), quantiles(25, 600, 1.3)...)), 25, FarFromLogNormal},
		{[]float64{10, 10, 10, 10, 10, 10, 10, 10, 900, 1000}, 8, FarFromLogNormal},
		{[]float64{30, 31, 1000}, 0, FarFromLogNormal}, // near to each other, and not the same
	} {
		r, err := Shape(exacts(c.x...))
		if err != nil {
			t.Fatal(err)
		}
		if r.Verdict() != c.want || r.Tied != c.tied {
			t.Errorf("%v: %v of %+v and %+v, %d tied: %s", c.x, r.Verdict(), r.look, r.untied, r.Tied, r.Words)
		}
		if c.want == TiesDecide && r.AsTheyStand() == LogNormal || c.want != TiesDecide && r.AsTheyStand() != c.want {
			t.Errorf("%v: %v as they stand", c.x, r.AsTheyStand())
		}
		if said := strings.Contains(r.Words, strconv.Itoa(c.tied)+" of "+strconv.Itoa(len(c.x))+" values are the same"); said != (c.want == TiesDecide) {
			t.Errorf("%v: %s", c.x, r.Words)
		}
	}
}

// TestRoundedShape: of log-normal samples, rounded or not, few are called far from
// log-normal, where W of the values as they stand would call many so; of a mixture as many
// are as without rounding, but for a few.
func TestRoundedShape(t *testing.T) {
	round := map[string]func(float64) float64{
		"":           func(v float64) float64 { return v },
		"to 10":      func(v float64) float64 { return max(10, 10*math.Round(v/10)) },
		"two digits": func(v float64) float64 { v, _ = strconv.ParseFloat(strconv.FormatFloat(v, 'e', 1, 64), 64); return v },
	}
	const trials = 1000
	far := func(n int, how string, mixture bool) (found, before float64) {
		rng := rand.New(rand.NewPCG(uint64(n), 3))
		answered := 0.0
		for range trials {
			x := make([]float64, n)
			for i := range x {
				v := 30 * math.Exp(math.Log(2)*rng.NormFloat64())
				if mixture && i%2 == 0 {
					v *= 50
				}
				x[i] = round[how](v)
			}
			r, err := Shape(exacts(x...))
			if err != nil {
				continue // all the same
			}
			answered++
			if r.Verdict() == FarFromLogNormal {
				found++
			}
			if r.look.verdict() == FarFromLogNormal {
				before++
			}
		}
		return found / answered, before / answered
	}
	for _, n := range []int{3, 5, 10, 20, 50} {
		for _, how := range []string{"", "to 10", "two digits"} {
			found, before := far(n, how, false)
			t.Logf("%d values, rounded %q: %.3f far, %.3f as they stand", n, how, found, before)
			if found > 0.07 || how == "to 10" && (found > 0.03 || before < 0.1) {
				t.Errorf("%d log-normal values, rounded %q: %.3f called far, %.3f as they stand", n, how, found, before)
			}
		}
	}
	for _, n := range []int{20, 50} {
		plain, _ := far(n, "", true)
		tens, _ := far(n, "to 10", true)
		t.Logf("%d of a mixture: %.3f far, %.3f rounded to 10", n, plain, tens)
		if plain < 0.3 || tens < plain-0.1 {
			t.Errorf("%d of a mixture: %.3f called far, %.3f rounded to 10", n, plain, tens)
		}
	}
}
