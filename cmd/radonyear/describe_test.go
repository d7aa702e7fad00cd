package main

import (
	"math"
	"testing"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/lognormal"
)

// TestReduce: a home of two rooms by each rule, worked out by hand.
func TestReduce(t *testing.T) {
	day := func(d int) time.Time { return time.Date(2024, 1, 1+d, 0, 0, 0, 0, time.UTC) }
	series := func(room string, rs ...analysis.Reading) analysis.Series {
		s, err := analysis.NewSeries(analysis.Place{Home: "h", Room: room}, time.UTC, rs)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	bed := series("bed",
		analysis.Reading{Start: day(40), End: day(70), Concentration: 20, BelowLimit: true}, // 30 days below 20
		analysis.Reading{Start: day(10), End: day(20), Concentration: 100})                  // 10 days
	cellar := series("cellar",
		analysis.Reading{Start: day(5), End: day(6), Concentration: 300, Share: 0.5},
		analysis.Reading{Start: day(6), End: day(7), Concentration: 240},
		analysis.Reading{Start: day(7), End: day(8), Concentration: 0}) // a dead day
	// Bed: (30·[0,20] + 10·100)/40 lies from 25 to 40; cellar: (0.5·300 + 240)/1.5 = 260.
	home := []analysis.Series{bed, cellar}
	for _, c := range []struct {
		rule         rule
		home         []analysis.Series
		lower, upper float64
	}{
		{ruleMean, home, (25 + 260) / 2., (40 + 260) / 2.},
		{ruleMean, []analysis.Series{cellar, bed}, (25 + 260) / 2., (40 + 260) / 2.},
		{ruleHighest, home, 260, 260},
		{ruleHighest, home[:1], 25, 40},
		{ruleFirst, home, 260, 260}, // the cellar began on day 5
		{ruleFirst, home[:1], 100, 100},
	} {
		o, ok := c.rule.reduce(c.home)
		if want := lognormal.Between(c.lower, c.upper); !ok || o != want {
			t.Errorf("%s of %d series: %v, want %v", c.rule, len(c.home), o, want)
		}
	}
	// Stated errors. Bed: one detector of 20 ± 2 for 30 days and 100 ± 10 for 10 errs alike,
	// (30·2 + 10·10)/40 = 4 of 40, and a second of 80 ± 12 for 40 days by itself:
	// √(4² + 12²)/2 of (40 + 80)/2 = 60. Cellar: 240 ± 24. The home: √(40 + 24²)/2 of 150.
	stated := []analysis.Series{
		series("bed", analysis.Reading{Start: day(40), End: day(70), Concentration: 20, Uncertainty: 2}, analysis.Reading{Start: day(10), End: day(20), Concentration: 100, Uncertainty: 10}),
		series("bed", analysis.Reading{Start: day(10), End: day(50), Concentration: 80, Uncertainty: 12}),
		series("cellar", analysis.Reading{Start: day(5), End: day(9), Concentration: 240, Uncertainty: 24}),
	}
	for _, c := range []struct {
		rule     rule
		home     []analysis.Series
		value, u float64
	}{
		{ruleMean, stated[:1], 40, 4}, {ruleMean, stated[:2], 60, math.Sqrt(40)}, {ruleMean, stated, 150, math.Sqrt(40+24*24) / 2},
		{ruleHighest, stated, 240, 24}, {ruleHighest, []analysis.Series{stated[2], stated[1]}, 240, 24}, {ruleFirst, stated, 240, 24}, {ruleFirst, stated[:1], 100, 10},
	} {
		o, ok := c.rule.reduce(c.home)
		if want := math.Sqrt(math.Log(1 + c.u*c.u/c.value/c.value)); !ok || o.Lower != c.value || math.Abs(o.Error-want) > 1e-14 {
			t.Errorf("%s of %d series: %v, want %v with %v", c.rule, len(c.home), o, c.value, want)
		}
	}
	for _, r := range []rule{ruleMean, ruleFirst, ruleHighest} {
		if o, ok := r.reduce([]analysis.Series{series("x", analysis.Reading{Start: day(0), End: day(1)})}); ok {
			t.Errorf("%s: a dead detector's home has the value %v", r, o)
		}
	}
}
