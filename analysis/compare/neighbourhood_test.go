package compare

import (
	"math"
	"testing"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/temporal"
)

// TestEffectsByHand: what homes have in common depends on how far apart they were
// measured, and homes known by limits alone are left out.
func TestEffectsByHand(t *testing.T) {
	at := func(home string, day int, known bool) Result {
		start := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, day)
		r := Result{Place: analysis.Place{Home: home, Area: "A"}, LogRatio: -1, LogSD: 0.5, Course: known}
		r.Without.Start, r.Without.End = start, start.AddDate(0, 0, 20)
		r.With.Start, r.With.End = start.AddDate(0, 0, 30), start.AddDate(0, 0, 40)
		return r
	}
	same := func(name string, rs []Result, want float64) {
		t.Helper()
		effects, common, left := Effects(rs)
		if len(effects) != len(rs) || left != (LeftOut{}) {
			t.Errorf("%s: %d effects, left out %v", name, len(effects), left)
		}
		near(t, name, common, want, 1e-12)
		for _, e := range effects { // here all are known alike, and what is common is taken off
			near(t, name+", its own", e.SD*e.SD, 0.25-want, 1e-12)
		}
	}
	// In the same weeks the whole share of the variance, 0.25, is common.
	same("the same weeks", []Result{at("a", 0, false), at("b", 0, false)}, shareUnknown*0.25)
	same("the same weeks, known", []Result{at("a", 0, true), at("b", 0, true), at("c", 0, true)}, temporal.KnownWeatherShare*0.25)
	// One that fades to 1/e, on both sides alike; and with a third home a year away one
	// pair in three has it.
	fade := int(temporal.WeatherFade)
	same("days apart", []Result{at("a", 0, false), at("b", fade, false)}, shareUnknown*0.25/math.E)
	same("a year apart", []Result{at("a", 0, false), at("b", 0, false), at("c", 365, false)}, shareUnknown*0.25/3)
	// The side without in the same days, the other years away: a half.
	other := at("b", 0, false)
	other.With.Start, other.With.End = other.With.Start.AddDate(0, 0, 2000), other.With.End.AddDate(0, 0, 2000)
	same("one side apart", []Result{at("a", 0, false), other}, shareUnknown*0.25/2)
	same("one home", []Result{at("a", 0, false)}, 0)

	never, always := at("d", 0, false), at("e", 0, false)
	never.Without.AllBelow, always.With.AllBelow = true, true
	effects, _, left := Effects([]Result{at("a", 0, false), never, always, always})
	if len(effects) != 1 || left != (LeftOut{Without: 1, With: 2}) {
		t.Errorf("%d effects, left out %v", len(effects), left)
	}
}
