package lognormal

import (
	"errors"
	"math/rand/v2"
	"slices"
	"testing"

	"radonyear/analysis"
)

// TestMethods: whatever an estimate says made it is among the methods, with every
// code it noted; and every method says all it has to.
func TestMethods(t *testing.T) {
	known := map[string]analysis.Method{}
	for _, m := range Methods {
		if err := m.Check(); err != nil {
			t.Error(err)
		}
		known[m.Key] = m
	}
	used := map[string]bool{"log-normal-shape": true, "probability-plot": true, "order-statistics-mean": true, "threshold-moments": true} // give no Estimate
	see := func(e analysis.Estimate) {
		m, ok := known[e.Method]
		if !ok {
			t.Errorf("%q is no known method", e.Method)
		}
		used[e.Method] = true
		for _, n := range e.Notes {
			if !slices.Contains(m.Notes, n.Code) {
				t.Errorf("%s does not say that it can note %s", e.Method, n.Code)
			}
		}
	}
	rng := rand.New(rand.NewPCG(9, 9))
	sets := samples(rng)
	sets["wide"] = exacts(1, 100, 10000)
	sets["open"] = exacts(1e-100, 1e100)
	for _, obs := range sets {
		for _, o := range []DescribeOptions{{}, {Mean: MOVER}, {Mean: Generalized}, {Mean: Profile}} {
			o.Levels = []float64{74}
			d, err := Describe(obs, o)
			if _, all := complete(obs); !all && errors.Is(err, ErrNotComplete) && o.Mean != Auto {
				continue
			}
			if err != nil {
				t.Fatal(err)
			}
			for _, e := range estimates(d) {
				see(e)
			}
		}
		r, err := Fit(obs, FitOptions{Method: ProfileLikelihood, Quantiles: []float64{0.9}})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range estimates(Description{Fit: &r}) {
			see(e)
		}
	}
	s := sample(t, 40, 10, 20)
	q, err := Quantile(s, 0.9, Options{})
	b, err2 := BCa([]float64{40, 10, 20}, BCaOptions{})
	if err != nil || err2 != nil {
		t.Fatal(err, err2)
	}
	see(q.Quantile)
	both, err := TwoSidedTolerance(s, 0.9, Options{})
	if err != nil {
		t.Fatal(err)
	}
	see(both.Tolerance)
	for _, x := range [][]float64{spaced(49, 2, 3), chromium, spaced(20, 20, 1.2)} {
		see(threshold(t, x, Options{}).Threshold)
	}
	see(b.Mean)
	for key := range known {
		if !used[key] {
			t.Errorf("no estimate is by %s", key)
		}
	}
}
