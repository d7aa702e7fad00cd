package lognormal

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"testing"

	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/internal/reftest"
)

// limited are a reference case's values, some of them limits.
func limited(t *testing.T, input json.RawMessage) (obs []Observation) {
	t.Helper()
	var in struct {
		X     []float64
		Below []bool
	}
	if err := json.Unmarshal(input, &in); err != nil {
		t.Fatal(err)
	}
	for i, x := range in.X {
		if in.Below[i] {
			obs = append(obs, Below(x))
		} else {
			obs = append(obs, Exact(x))
		}
	}
	return obs
}

// TestPlotReference holds the ranks to a second program in R, which holds its own to
// survival's product-limit estimate.
func TestPlotReference(t *testing.T) {
	file, err := reftest.Read("lognormal-plot.json")
	if err != nil {
		t.Fatal(err)
	}
	if len(file.Cases) < 4 {
		t.Fatalf("%d cases", len(file.Cases))
	}
	for _, c := range file.Cases {
		obs := limited(t, c.Input)
		p, err := Plot(obs, FitOptions{})
		if err != nil {
			t.Fatal(c.Name, err)
		}
		got := map[string]float64{}
		for i, q := range p.Points {
			got[fmt.Sprintf("p%d", i+1)] = numeric.Phi(q.Z)
		}
		for _, bad := range c.Check(got) {
			t.Error(bad)
		}
		if p.N != len(obs) || p.Below != len(obs)-len(p.Points) {
			t.Errorf("%s: %d values, %d below, %d points", c.Name, p.N, p.Below, len(p.Points))
		}
	}
}

// TestPlotByHand: 40, < 20, 10, out of order, n = 3. The highest has the rank
// (n−c+1)/(n−2c+1) · (n−c)/(n−c+1) = (3−c)/(4−2c), as the third of three. Under the
// limit nothing ranks above the lowest but the two, so that its rank is that times
// (1−c)/(2−c): of the known values below 40 it is the only one, and the limit takes
// part of the room under it.
func TestPlotByHand(t *testing.T) {
	const c = rankingConstant
	p, err := Plot([]Observation{Exact(10), Exact(40), Below(20)}, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	high := (3 - c) / (4 - 2*c)
	agree(t, "the highest's rank", numeric.Phi(p.Points[1].Z), high, 1e-12)
	agree(t, "the lowest's rank", numeric.Phi(p.Points[0].Z), high*(1-c)/(2-c), 1e-12)
}

func TestPlotProperties(t *testing.T) {
	obs := []Observation{Exact(31), Below(40), Between(20, 45), Exact(120), Exact(66), Below(15), Exact(18), Exact(240), Exact(66), Exact(90)}
	p, err := Plot(obs, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	shuffled := slices.Clone(obs)
	slices.Reverse(shuffled)
	q, err := Plot(shuffled, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if !slices.Equal(p.Points, q.Points) {
		t.Errorf("the order of values changes the points:\n%v\n%v", p.Points, q.Points)
	}
	var scaled []Observation
	for _, o := range obs {
		scaled = append(scaled, Between(37*o.Lower, 37*o.Upper))
	}
	s, err := Plot(scaled, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	fit, err := Fit(obs, FitOptions{})
	if err != nil {
		t.Fatal(err)
	}
	for i, l := range p.Line {
		agree(t, "the line times 37", s.Line[i].Value, 37*l.Value, 1e-6)
		agree(t, "its limit times 37", s.Line[i].Upper, 37*l.Upper, 1e-4)
		if !(l.Lower <= l.Value && l.Value <= l.Upper) {
			t.Errorf("%+v", l)
		}
		// In the middle the line and its limits are the geometric mean's.
		if l.Z == 0 {
			agree(t, "middle", l.Value, fit.GM.Value, 1e-9)
			agree(t, "its lower limit", l.Lower, fit.GM.Lower, 1e-6)
			agree(t, "its upper limit", l.Upper, fit.GM.Upper, 1e-6)
		}
	}
	for i, r := range p.Points {
		if i > 0 && !(r.Z > p.Points[i-1].Z && r.Value >= p.Points[i-1].Value) {
			t.Errorf("points %d and before: %+v, %+v", i, p.Points[i-1], r)
		}
	}
	wider, err := Plot(obs, FitOptions{Confidence: 0.99})
	if err != nil {
		t.Fatal(err)
	}
	for i, l := range p.Line {
		if wider.Line[i].Upper < l.Upper || wider.Line[i].Lower > l.Lower {
			t.Errorf("more confidence is narrower: %+v, %+v", wider.Line[i], l)
		}
	}
	if _, err := Plot(nil, FitOptions{}); err == nil {
		t.Error("nothing was plotted")
	}
	if _, err := Plot([]Observation{Exact(math.NaN())}, FitOptions{}); err == nil {
		t.Error("a value that is no number was plotted")
	}
}
