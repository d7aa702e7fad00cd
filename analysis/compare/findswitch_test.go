package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"radonyear/analysis"
	"radonyear/analysis/internal/reftest"
	"radonyear/analysis/serial"
)

// TestFindSwitchReference holds the likelihood of a step on each day to the dense
// normal, and finds the break of the Nile's flow where print has it.
func TestFindSwitchReference(t *testing.T) {
	seen := 0
	readSeries(t, func(kind string, in referenceSeries, c reftest.Case) {
		switch kind {
		case "change":
			seen++
			w, err := newSwitching(in.days(), SwitchOptions{})
			if err != nil {
				t.Fatal(err)
			}
			times, err := serial.NewTimes(w.at)
			if err != nil {
				t.Fatal(err)
			}
			l := w.look(times, serial.Place{Tau: -1 / math.Log(in.Phi), Share: in.Share})
			got := map[string]float64{}
			for i, ks := range l.days {
				var terms []float64
				for _, k := range ks {
					terms = append(terms, k.logl)
				}
				got[fmt.Sprintf("day%d", w.days[w.from+i].Day)] = logMean(terms) - l.none
			}
			for _, bad := range c.Check(got) {
				t.Error(bad)
			}
		case "Nile":
			seen++
			s, err := FindSwitch(in.days(), SwitchOptions{})
			if err != nil {
				t.Fatal(err)
			}
			var before, after float64
			for i, d := range in.Day {
				if d < s.Day {
					before += in.Mean[i] / 28
				} else {
					after += in.Mean[i] / 72
				}
			}
			got := map[string]float64{"first": float64(s.Day), "before": before, "after": after, "ratio": c.Want["ratio"]}
			for _, bad := range c.Check(got) {
				t.Error(bad)
			}
			t.Logf("Nile: %+v", s)
			if want := c.Want["ratio"]; !s.Found || s.Ratio.Lower > want || s.Ratio.Upper < want || math.Abs(s.Ratio.Value/want-1) > 0.02 || s.First < 1890 || s.Last > 1904 {
				t.Errorf("%+v", s)
			}
		}
	})
	if seen != 2 {
		t.Errorf("%d cases", seen)
	}
}

// Ten days by turns a tenth above and below 400, then ten about 80, in disorder: the
// first whole day is the eleventh, or, as that may have had three quarters of the step
// for all that a tenth of scatter tells, the twelfth; and no other is worth naming. Where the days from the
// ninth to the twelfth are missing, it is on any of those or the thirteenth.
func TestFindSwitchByHand(t *testing.T) {
	var days []Day
	for i := range 20 {
		m := 400.0
		if i >= 10 {
			m = 80
		}
		days = append(days, Day{Day: 100 + i, Mean: m * (1 + 0.1*float64(1-2*(i%2)))})
	}
	days[2], days[17] = days[17], days[2]
	s, err := FindSwitch(days, SwitchOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ratio", s.Ratio.Value, 0.2, 0.002)
	if !s.Found || s.Day != 110 || s.First != 110 || s.Last > 111 || s.Second != nil || s.Probability < 0.999 || s.Best < 0.85 || len(s.Notes) != 0 {
		t.Errorf("%+v", s)
	}
	var gap []Day
	for _, d := range days {
		if d.Day < 108 || d.Day > 111 {
			gap = append(gap, d)
		}
	}
	if s, err = FindSwitch(gap, SwitchOptions{}); err != nil || s.Day != 112 || s.First != 108 || s.Last != 112 || !analysis.HasNote(s.Notes, "days-missing") {
		t.Errorf("%+v, %v", s, err)
	}
	// It was after the 109th day.
	if s, err = FindSwitch(gap, SwitchOptions{From: 110, To: 118}); err != nil || s.First != 110 || s.Last != 112 {
		t.Errorf("%+v, %v", s, err)
	}
	// A season that is the change leaves none.
	season := make([]float64, len(days))
	for i, d := range days {
		if d.Day >= 110 {
			season[i] = math.Log(0.2)
		}
	}
	if s, err = FindSwitch(days, SwitchOptions{Season: season}); err != nil || s.Found || !analysis.HasNote(s.Notes, "no-change-found") || s.Probability > 0.5 {
		t.Errorf("%+v, %v", s, err)
	}
	// Two changes: one of them is found, and the other is named or lies in the interval.
	var two []Day
	for i := range 60 {
		m := []float64{400, 200, 100}[i/20]
		two = append(two, Day{Day: i, Mean: m * (1 + 0.1*float64(1-2*(i%2)))})
	}
	if s, err = FindSwitch(two, SwitchOptions{}); err != nil || s.Second == nil || s.Day+s.Second.Day != 60 || !analysis.HasNote(s.Notes, "second-candidate") {
		t.Errorf("%+v, %+v, %v", s, s.Second, err)
	}
}

// The steps that one way through the record gives are those of dense matrices.
func TestFindSwitchAgainstSlow(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 1))
	for range 20 {
		days := strangeDays(41*5+1, 14+rng.IntN(15), 100)
		for i := range days {
			days[i].Mean = math.Exp(rng.NormFloat64())
		}
		w, err := newSwitching(days, SwitchOptions{})
		if err != nil {
			t.Fatal(err)
		}
		times, err := serial.NewTimes(w.at)
		if err != nil {
			t.Fatal(err)
		}
		tau, share := math.Exp(3*rng.Float64()), rng.Float64()
		got := w.look(times, serial.Place{Tau: tau, Share: share})
		n := len(days)
		v := mat.NewSymDense(n, nil)
		for i := range n {
			for j := range i + 1 {
				v.SetSym(i, j, (1-share)*math.Exp(-math.Abs(w.at[i]-w.at[j])/tau))
			}
			v.SetSym(i, i, 1)
		}
		var chol mat.Cholesky
		if !chol.Factorize(v) {
			t.Fatal("not positive definite")
		}
		dot := func(a, b []float64) float64 {
			var x mat.VecDense
			if err := chol.SolveVecTo(&x, mat.NewVecDense(n, b)); err != nil {
				t.Fatal(err)
			}
			return mat.Dot(mat.NewVecDense(n, a), &x)
		}
		for c := w.from; c < w.to; c++ {
			for j, part := range dayShares {
				s := make([]float64, n)
				for i := range s {
					if i >= c {
						s[i] = 1
					}
				}
				s[c-1] = part
				a := dot(w.one, w.one)
				sss := dot(s, s) - dot(s, w.one)*dot(s, w.one)/a
				ssy := dot(s, w.y) - dot(s, w.one)*dot(w.one, w.y)/a
				syy := dot(w.y, w.y) - dot(w.one, w.y)*dot(w.one, w.y)/a
				k := got.days[c-w.from][j]
				near(t, "step", k.step, ssy/sss, 1e-7*(1+math.Abs(ssy/sss)))
				near(t, "its error", k.se, math.Sqrt((syy-ssy*ssy/sss)/float64(n-2)/sss), 1e-7)
			}
		}
	}
}

func TestFindSwitchProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 2))
	var days, scaled []Day
	var season []float64
	for i, v := range autoregressive(0.6, 0.3).draw(rng, 80) {
		m := 300 * math.Exp(0.4*v)
		if i >= 30 {
			m *= 0.4
		}
		days = append(days, Day{Day: i, Mean: m})
		season = append(season, 0.5*math.Cos(float64(i)/20))
		scaled = append(scaled, Day{Day: 700 + i, Mean: 37 * m * math.Exp(season[i])})
	}
	one, err := FindSwitch(days, SwitchOptions{})
	if err != nil {
		t.Fatal(err)
	}
	rng.Shuffle(len(scaled), func(i, j int) {
		scaled[i], scaled[j] = scaled[j], scaled[i]
		season[i], season[j] = season[j], season[i]
	})
	other, err := FindSwitch(scaled, SwitchOptions{Season: season})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "probability", other.Probability, one.Probability, 1e-9)
	near(t, "ratio", other.Ratio.Value, one.Ratio.Value, 1e-7)
	near(t, "upper", other.Ratio.Upper, one.Ratio.Upper, 1e-7)
	if other.Day != one.Day+700 || other.First != one.First+700 || other.Last != one.Last+700 {
		t.Errorf("%+v and %+v", one, other)
	}
	last, wide := 0, 0.0
	for _, c := range []float64{0.5, 0.8, 0.95, 0.99, 0.999999} {
		s, err := FindSwitch(days, SwitchOptions{Confidence: c})
		if err != nil {
			t.Fatal(err)
		}
		if n, w := s.Last-s.First+1, s.Ratio.Upper/s.Ratio.Lower; n < last || w <= wide || s.Day < s.First || s.Day > s.Last {
			t.Errorf("%d days and ×%v at %v are no more than before", n, w, c)
		} else {
			last, wide = n, w
		}
	}
}

func TestFindSwitchInWords(t *testing.T) {
	good := alternating(20, 20, 400, 80)
	flat := alternating(20, 20, 400, 80)
	for i := range flat {
		flat[i].Mean = 100
	}
	for _, c := range []struct {
		name string
		days []Day
		opt  SwitchOptions
		why  string
	}{
		{"few", good[:13], SwitchOptions{}, "13 days"},
		{"alike", flat, SwitchOptions{}, "alike"},
		{"season of another length", good, SwitchOptions{Season: make([]float64, 3)}, "3 values of the season"},
		{"season that is none", good, SwitchOptions{Season: append(make([]float64, 39), math.NaN())}, "a season of NaN"},
		{"the wrong way round", good, SwitchOptions{From: 20020, To: 20010}, "not after"},
		{"elsewhere", good, SwitchOptions{From: 30000, To: 30010}, "no day between"},
		{"confidence", good, SwitchOptions{Confidence: 1}, "between 0.5"},
		{"twice", append(alternating(20, 20, 400, 80), good[0]), SwitchOptions{}, "two means"},
	} {
		if s, err := FindSwitch(c.days, c.opt); err == nil || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%s: %+v, %v", c.name, s, err)
		}
	}
	if s, err := FindSwitch(good, SwitchOptions{From: 20015, To: 20022}); err != nil || s.First < 20015 || s.Last > 20022 || s.Day != 20022 {
		t.Errorf("%+v, %v", s, err)
	} else if !analysis.HasNote(s.Notes, "at-the-edge") {
		t.Errorf("%+v", s.Notes)
	}
	long := append(good, Day{Day: 20100, Mean: 90})
	if s, err := FindSwitch(long, SwitchOptions{}); err != nil || !analysis.HasNote(s.Notes, "season-not-given") {
		t.Errorf("%+v, %v", s, err)
	}
}

// FuzzFindSwitch: whatever the days, an error or a sound answer.
func FuzzFindSwitch(f *testing.F) {
	f.Add(uint64(1), 20, 300.0, 0.95, 0, 0)
	f.Add(uint64(2), 14, 1e300, 0.5, 5, 300)
	f.Add(uint64(9), 120, 1e-300, 0.999999, 0, 0)
	f.Add(uint64(4), 30, 5e-324, 0.9, -7, 7)
	f.Fuzz(func(t *testing.T, seed uint64, n int, size, confidence float64, from, to int) {
		if n < 0 || n > 150 {
			return
		}
		s, err := FindSwitch(strangeDays(seed, n, size), SwitchOptions{Confidence: confidence, From: from, To: to})
		if err != nil {
			return
		}
		if err := s.Ratio.Check(); err != nil {
			t.Error(err)
		}
		if !(s.Probability >= 0 && s.Probability <= 1) || s.Day < s.First || s.Day > s.Last || !(s.Best > 0 && s.Best <= 1+1e-9) {
			t.Errorf("%+v", s)
		}
	})
}

func BenchmarkFindSwitch(b *testing.B) {
	for _, n := range []int{60, 365, 3000} {
		var days []Day
		for i, v := range autoregressive(0.6, 0.3).draw(rand.New(rand.NewPCG(4, 4)), n) {
			m := math.Exp(0.4 * v)
			if i > n/3 {
				m /= 2
			}
			days = append(days, Day{Day: i, Mean: m})
		}
		b.Run(fmt.Sprint(n), func(b *testing.B) {
			for b.Loop() {
				if _, err := FindSwitch(days, SwitchOptions{}); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
