package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/temporal"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.6g, want %.6g within %g", what, got, want, tolerance)
	}
}

func day(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }

// log is day means from a day on.
func log(home, detector string, from time.Time, values ...float64) analysis.Series {
	var rs []analysis.Reading
	for i, v := range values {
		rs = append(rs, analysis.Reading{Start: from.AddDate(0, 0, i), End: from.AddDate(0, 0, i+1), Concentration: v})
	}
	s, err := analysis.NewSeries(analysis.Place{Home: home, Room: "living room", Detector: detector}, time.UTC, rs)
	if err != nil {
		panic(err)
	}
	return s
}

// result is one integrating result.
func result(detector string, from time.Time, days int, value float64, below bool) analysis.Series {
	s, err := analysis.NewSeries(analysis.Place{Home: "A", Room: "living room", Detector: detector}, time.UTC,
		[]analysis.Reading{{Start: from, End: from.AddDate(0, 0, days), Concentration: value, BelowLimit: below}})
	if err != nil {
		panic(err)
	}
	return s
}

func flat(n int, value float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = value
	}
	return out
}

// TestPublished: the season alone, and what two uncertain tests leave of a
// reduction.
func TestPublished(t *testing.T) {
	// Three winter months before and three summer months after, in a home whose
	// year is 1 + a·cos about mid-January, with no work at all: 53 % at a = 0.40, the
	// amplitude behind the seasonal factors of Pinel, Fearn, Darby and Miles (1995), and
	// 34 % at 0.23, behind those of Baysson et al. (2003). Both percentages are
	// arithmetic on the published amplitudes.
	for _, c := range []struct{ a, fall float64 }{{0.40, 0.53}, {0.23, 0.34}} {
		// ln(1 + a cos x) = const + 2b cos x − b² cos 2x + …, b = (1 − √(1−a²))/a.
		b := (1 - math.Sqrt(1-c.a*c.a)) / c.a
		p := temporal.BuiltIn(false)
		peak := 2 * math.Pi * 14.5 / temporal.YearDays
		p.Season.Mean = [temporal.Harmonics]float64{2 * b * math.Cos(peak), 2 * b * math.Sin(peak), -b * b * math.Cos(2*peak), -b * b * math.Sin(2*peak)}
		r, err := Compare(Home{
			Without: []analysis.Series{result("a", day(2025, 12, 1), 90, 100, false)},
			With:    []analysis.Series{result("b", day(2026, 6, 1), 92, 100, false)}}, Options{Profile: p})
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("fall at amplitude %g", c.a), 1-r.SeasonArtefact, c.fall, 0.007)
	}
	// A ratio of 0.2 between two tests, each about the year by a GSD, in 95 % limits:
	// arithmetic on ratio·exp(±1.96·√2·ln GSD), which is what Pool says of one home.
	for _, c := range []struct{ gsd, lower, upper float64 }{{1.1, 74, 85}, {1.2, 67, 88}, {1.36, 53, 91}, {1.8, -2, 96}} {
		p, err := Pool([]Effect{{Home: "A", Log: math.Log(0.2), SD: math.Sqrt2 * math.Log(c.gsd)}}, PoolOptions{})
		if err != nil {
			t.Fatal(err)
		}
		e := p.Reduction
		if math.Round(e.Lower) != c.lower || math.Round(e.Upper) != c.upper || math.Abs(e.Value-80) > 1e-9 {
			t.Errorf("GSD %g: %.1f to %.1f, want %g to %g", c.gsd, e.Lower, e.Upper, c.lower, c.upper)
		}
	}
	// Common practice, no source: 800 before and below 10 after is about 99 %; 179 over
	// seven days before and 15 over six after is about 92 %, which is the raw fall.
	r, err := Compare(Home{Without: []analysis.Series{result("a", day(2026, 1, 10), 7, 800, false)}, With: []analysis.Series{result("b", day(2026, 1, 20), 7, 10, true)}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "800 to below 10", r.Reduction.Value, 99, 0.5)
	if r.Verdict != Reduced || r.Reduction.Upper != 100 || r.Reduction.Lower < 90 {
		t.Errorf("800 to below 10: %v, %v to %v", r.Verdict, r.Reduction.Lower, r.Reduction.Upper)
	}
	r, err = Compare(Home{Without: []analysis.Series{result("a", day(2026, 1, 10), 7, 179, false)}, With: []analysis.Series{result("b", day(2026, 1, 20), 6, 15, false)}}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "179 to 15, raw", 100*(1-r.RawRatio), 92, 0.5)
	if r.Reduction.Lower > 92 || r.Reduction.Upper < 92 || r.Verdict != Reduced {
		t.Errorf("179 to 15: %v, %v to %v", r.Verdict, r.Reduction.Lower, r.Reduction.Upper)
	}
}

// TestByHand: a profile without season or drift leaves days that scatter by 0.01 in
// logs: 300 before and 30 after, three days each, is a tenth, known to 0.01·√(2/3).
// One calibration of 5 % falls out of it; two detectors add 5 %·√2, and where years
// differ by 0.25 what else changes adds 0.7 of that.
func TestByHand(t *testing.T) {
	p := temporal.BuiltIn(false)
	p.Season = temporal.Season{}
	p.Drift = []temporal.Component{{Days: 1, Variance: 0}}
	p.DayNoise, p.YearSD = 0.01, 0
	home := Home{
		Without: []analysis.Series{log("A", "m", day(2026, 3, 3), 300, 300, 300)},
		With:    []analysis.Series{log("A", "m", day(2026, 3, 20), 30, 30, 30)}}
	r, err := Compare(home, Options{Profile: p})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ratio", r.Ratio.Value, 0.1, 1e-6)
	near(t, "reduction", r.Reduction.Value, 90, 1e-4)
	near(t, "without", r.Without.AnnualMean.Value, 300, 0.01)
	near(t, "with", r.With.AnnualMean.Value, 30, 0.001)
	scatter := 0.01 * math.Sqrt(2.0/3)
	near(t, "one detector", r.LogSD, scatter, 2e-5)
	near(t, "raw ratio", r.RawRatio, 0.1, 1e-12)
	near(t, "artefact", r.SeasonArtefact, 1, 1e-12)
	home.With[0].Detector = "n"
	if r, err = Compare(home, Options{Profile: p}); err != nil {
		t.Fatal(err)
	}
	near(t, "two detectors", r.LogSD, math.Hypot(math.Sqrt(2*math.Log1p(0.05*0.05)), scatter), 1e-5)
	if !analysis.HasNote(r.Notes, "other-detector") {
		t.Error("two monitors were not named")
	}
	p.YearSD = 0.25
	home.With[0].Detector = "m"
	if r, err = Compare(home, Options{Profile: p}); err != nil {
		t.Fatal(err)
	}
	near(t, "what else changes", r.LogSD, math.Hypot(0.7*0.25, scatter), 1e-5)
	// A step from a half: the chance of more is what the interval's normal says.
	if r, err = Compare(home, Options{Profile: p, AtLeast: []float64{0.9, 0.85}, Levels: []float64{30, 100}}); err != nil {
		t.Fatal(err)
	}
	near(t, "P(reduction > 90 %)", r.AtLeast[0].Probability, 0.5, 1e-3)
	near(t, "P(reduction > 85 %)", r.AtLeast[1].Probability, 0.5*math.Erfc(-math.Log(1.5)/0.175/math.Sqrt2), 2e-3)
	near(t, "P(below 30)", r.Below[0].Probability, 0.5, 1e-6)
	if r.Below[1].Verdict != annual.Below || r.Below[0].Verdict != annual.NotConclusive {
		t.Errorf("below: %+v", r.Below)
	}
}

// besselI0 is the modified Bessel function I0, the mean of exp(x·cos φ) over a turn, by
// its series (Abramowitz and Stegun 1964, 9.6.12; from memory).
func besselI0(x float64) float64 {
	sum, term := 1.0, 1.0
	for k := 1.0; k < 30; k++ {
		term *= x * x / 4 / k / k
		sum += term
	}
	return sum
}

// TestFlattened: homes of the same season, 0.6·cos about mid-January in logs, nothing
// else and no noise, 90 days in winter without a system and 90 in summer with it, of
// which r² of the season is left. The two annual means are e^level·I0(0.6) and
// e^(level + step)·I0(0.6·r²), so the ratio is r where step = ln(r·I0(0.6)/I0(0.6·r²)).
// One who takes the whole season to be left finds that the summer's days stand for a
// year which is higher by 0.6·(1 − r²) times the mean of −cos over them, and with the
// season's mean of both years alike a ratio of e^step times that. A fall of a quarter is
// not among these: with a season so strong it may as well be that alone.
func TestFlattened(t *testing.T) {
	const amplitude = 0.6
	peak := 2 * math.Pi * 14.5 / temporal.YearDays
	p := temporal.BuiltIn(false)
	p.Season = temporal.Season{Mean: [temporal.Harmonics]float64{amplitude * math.Cos(peak), amplitude * math.Sin(peak)}}
	p.Drift = []temporal.Component{{Days: 1, Variance: 0}}
	p.DayNoise, p.YearSD = 0.01, 0
	cycle := func(from time.Time, i int) float64 { // cos, 1 in mid-January 1970 and a year of 365.25 days
		return math.Cos(2*math.Pi*float64(temporal.Day(from, time.UTC)+i)/temporal.YearDays - peak)
	}
	winter, summer := day(2025, 12, 1), day(2026, 6, 1)
	const days = 90
	for _, r := range []float64{0.5, 0.3, 0.15, 0.22} {
		step := math.Log(r * besselI0(amplitude) / besselI0(amplitude*r*r))
		without, with := make([]float64, days), make([]float64, days)
		stood := 0.0
		for i := range days {
			without[i] = 300 * math.Exp(amplitude*cycle(winter, i))
			with[i] = 300 * math.Exp(step+amplitude*r*r*cycle(summer, i))
			stood -= cycle(summer, i) / days
		}
		got, err := Compare(Home{Without: []analysis.Series{log("A", "m", winter, without...)}, With: []analysis.Series{log("A", "m", summer, with...)}}, Options{Profile: p})
		if err != nil {
			t.Fatal(err)
		}
		tolerance := 0.001
		if !slices.Contains(nodes, r) { // between them what is found is a straight line
			tolerance = 0.02
		}
		near(t, fmt.Sprintf("ratio of %g", r), got.LogRatio, math.Log(r), tolerance)
		near(t, fmt.Sprintf("mean without at %g", r), got.Without.AnnualMean.Value, 300*besselI0(amplitude), 1)
		near(t, fmt.Sprintf("mean with at %g", r), got.With.AnnualMean.Value/(300*math.Exp(step)*besselI0(amplitude*r*r)), 1, tolerance)
		// As though nothing were flattened: the model itself at r = 1.
		c, err := prepare(Home{Without: []analysis.Series{log("A", "m", winter, without...)}, With: []analysis.Series{log("A", "m", summer, with...)}}, Options{Profile: p, Confidence: 0.95, Levels: []float64{200}}, false)
		if err != nil {
			t.Fatal(err)
		}
		whole, err := c.solve(1)
		if err != nil {
			t.Fatal(err)
		}
		near(t, fmt.Sprintf("ratio of %g, nothing flattened", r), whole.LogRatio, step+amplitude*(1-r*r)*stood, 0.001)
		if math.Abs(whole.LogRatio-got.LogRatio) < 0.15 {
			t.Errorf("ratio of %g: flattening makes no difference", r)
		}
	}
}

// TestPriorShrinks: days that scatter by 0.5 about a home which never changes, in logs,
// three of them a side by one monitor, 300 before and 30 after; and homes around of
// N(ln 100, (ln 2)²). The level and the monitor's error together are N(ln 100, V), V =
// (ln 2)² + ln(1 + 0.05²), seen with variance s² = 0.5²/3: their middle lies V/(V + s²)
// of the way from 100 to 300, with variance V·s²/(V + s²), and ln ratio is ln 30 less that.
func TestPriorShrinks(t *testing.T) {
	p := temporal.BuiltIn(false)
	p.Season = temporal.Season{}
	p.Drift = []temporal.Component{{Days: 1, Variance: 0}}
	p.DayNoise, p.YearSD = 0.5, 0
	home := Home{
		Without: []analysis.Series{log("A", "m", day(2026, 3, 3), 300, 300, 300)},
		With:    []analysis.Series{log("A", "m", day(2026, 3, 20), 30, 30, 30)}}
	plain, err := Compare(home, Options{Profile: p})
	if err != nil {
		t.Fatal(err)
	}
	r, err := Compare(home, Options{Profile: p, AreaPrior: &annual.Prior{GM: 100, GSD: 2}})
	if err != nil {
		t.Fatal(err)
	}
	v, s := math.Ln2*math.Ln2+math.Log1p(0.05*0.05), 0.25/3
	near(t, "without a prior", plain.LogRatio, math.Log(0.1), 1e-6)
	near(t, "with a prior", r.LogRatio, math.Log(30)-math.Log(100)-math.Log(3)*v/(v+s), 1e-3)
	near(t, "spread without a prior", plain.LogSD, math.Sqrt(2*s), 1e-3)
	near(t, "spread with a prior", r.LogSD, math.Sqrt(v*s/(v+s)+s), 1e-3)
	near(t, "the home without", math.Log(r.Without.AnnualMean.Value), math.Log(100)+math.Log(3)*math.Ln2*math.Ln2/(v+s), 1e-3)
	if !(r.Reduction.Value < plain.Reduction.Value-1) {
		t.Errorf("a reduction of %.1f %%, and of %.1f %% with a prior of lower homes", plain.Reduction.Value, r.Reduction.Value)
	}
	// Homes around that are higher than the test make the fall larger.
	if r, err = Compare(home, Options{Profile: p, AreaPrior: &annual.Prior{GM: 900, GSD: 2}}); err != nil || !(r.Reduction.Value > plain.Reduction.Value) {
		t.Errorf("higher homes around: %v, %.1f %%, by itself %.1f %%", err, r.Reduction.Value, plain.Reduction.Value)
	}
}

// TestYear: more measuring never makes the reduction less certain by a jump in the
// year that is meant, and a year on either side is a half of each.
func TestYear(t *testing.T) {
	last := math.Inf(1)
	for _, n := range []int{90, 120, 180, 184, 240, 365} {
		r, err := Compare(Home{
			Without: []analysis.Series{result("a", day(2025, 1, 1).AddDate(0, 0, -n), n, 500, false)},
			With:    []analysis.Series{result("b", day(2025, 1, 6), n, 50, false)}}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if r.LogSD > last*1.1 {
			t.Errorf("%d days a side: ln ratio spreads by %.3f, after %.3f for fewer", n, r.LogSD, last)
		}
		last = r.LogSD
		if n == 365 && (analysis.HasNote(r.Notes, "other-year") || r.YearStart.Before(day(2024, 6, 1)) || r.YearStart.After(day(2024, 7, 31))) {
			t.Errorf("the year from %v, %v", r.YearStart, r.Notes)
		}
	}
}

// TestLastSystem: of several systems that ran one after another the last is compared, as if
// nothing else had been measured with one, and what is left out is said.
func TestLastSystem(t *testing.T) {
	before := log("A", "m", day(2026, 1, 10), flat(40, 600)...)
	first, second := log("A", "m", day(2026, 2, 22), flat(20, 400)...), log("A", "m", day(2026, 3, 16), flat(30, 40)...)
	both := log("A", "m", day(2026, 2, 22), slices.Concat(flat(22, 400), flat(30, 40))...) // 22 days to 15 March
	of := func(with []analysis.Series, ran ...Ran) Result {
		r, err := Compare(Home{Without: []analysis.Series{before}, With: with, Ran: ran}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	fan, sump := []string{"fan"}, []string{"fan", "sump"}
	plain, alone := of([]analysis.Series{both}), of([]analysis.Series{second})
	if plain.Spell != nil || analysis.HasNote(plain.Notes, "last-system") || plain.Below[0].Verdict == annual.Below || alone.Below[0].Verdict != annual.Below {
		t.Fatalf("without a word of systems %v, %+v; the second alone %+v", plain.Spell, plain.Below, alone.Below)
	}
	for name, r := range map[string]Result{
		"by switches":            of([]analysis.Series{both}, Ran{To: day(2026, 2, 20)}, Ran{day(2026, 2, 20), day(2026, 3, 16), fan}, Ran{From: day(2026, 3, 16), Systems: sump}),
		"an off in between":      of([]analysis.Series{first, second}, Ran{day(2026, 2, 20), day(2026, 3, 14), fan}, Ran{From: day(2026, 3, 14), To: day(2026, 3, 15)}, Ran{From: day(2026, 3, 15), Systems: sump}),
		"said twice of the last": of([]analysis.Series{both}, Ran{day(2026, 3, 30), day(2026, 4, 15), sump}, Ran{day(2026, 3, 16), day(2026, 4, 1), sump}, Ran{day(2026, 2, 22), day(2026, 3, 16), fan}),
	} {
		left, since := 22.0, 6
		if name == "an off in between" {
			left, since = 20, 5
		}
		if s := r.Spell; s == nil || s.Systems != `"fan" and "sump"` || s.Repair || s.LeftOut != left {
			t.Errorf("%s: %+v", name, s)
			continue
		}
		if r.Now != nil || !reflect.DeepEqual(r.With, alone.With) || !reflect.DeepEqual(r.Without, alone.Without) || r.LogRatio != alone.LogRatio || r.Below[0] != alone.Below[0] {
			t.Errorf("%s: %+v, %+v; the second alone %+v, %+v", name, r.With, r.Below, alone.With, alone.Below)
		}
		if !slices.ContainsFunc(r.Notes, func(n analysis.Note) bool {
			return n.Code == "last-system" && strings.Contains(n.Text, `, then from 2026-03-1`) && strings.Contains(n.Text, fmt.Sprintf(`is of the last alone, "fan" and "sump", by what was measured from 2026-03-1%d on, and %g days with what ran before left out`, since, left))
		}) || analysis.HasNote(r.Notes, "several-systems") {
			t.Errorf("%s: %v", name, r.Notes)
		}
	}
	for name, r := range map[string]Result{
		"at one time":              of([]analysis.Series{both}, Ran{day(2026, 2, 22), day(2026, 4, 15), fan}, Ran{day(2026, 3, 1), day(2026, 4, 15), []string{"sump"}}),
		"one reading goes through": of([]analysis.Series{result("t", day(2026, 2, 22), 50, 100, false)}, Ran{day(2026, 2, 20), day(2026, 3, 16), fan}, Ran{From: day(2026, 3, 16), Systems: sump}),
	} {
		if r.Spell != nil || !slices.ContainsFunc(r.Notes, func(n analysis.Note) bool {
			return n.Code == "several-systems" && strings.Contains(n.Text, "leave the readings")
		}) {
			t.Errorf("%s: %+v, %v", name, r.Spell, r.Notes)
		}
	}
	if r := of([]analysis.Series{both}, Ran{From: day(2026, 2, 20), Systems: sump}); r.Spell != nil || analysis.HasNote(r.Notes, "last-system") || !analysis.HasNote(r.Notes, "several-systems") {
		t.Errorf("both from the first day on: %+v, %v", r.Spell, r.Notes)
	}
}

// TestSinceRepair: what was measured since a repair is compared, of however few days, as if
// there were no other; a repair after the last reading, or before the first, leaves all.
func TestSinceRepair(t *testing.T) {
	before := result("b", day(2025, 1, 6), 4, 640, false)
	with := log("A", "m", day(2025, 1, 20), slices.Concat(flat(40, 300), flat(60, 60), flat(30, 350))...)
	ran := []Ran{{day(2025, 1, 20), day(2025, 3, 1), []string{"fan"}}, {From: day(2025, 3, 1), Systems: []string{"sump"}}}
	of := func(h Home) Result {
		h.Without = []analysis.Series{before}
		r, err := Compare(h, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	alone := of(Home{With: []analysis.Series{log("A", "m", day(2025, 4, 30), flat(30, 350)...)}})
	for name, c := range map[string]struct {
		ran     []Ran
		systems string
	}{"of one": {nil, ""}, "of the last": {ran, `"sump"`}} {
		r := of(Home{With: []analysis.Series{with}, Ran: c.ran, Repaired: day(2025, 4, 30)})
		if s := r.Spell; s == nil || !s.Repair || s.Systems != c.systems || !s.From.Equal(day(2025, 4, 30)) || s.LeftOut != 100 {
			t.Errorf("%s: %+v", name, s)
		}
		if !reflect.DeepEqual(r.With, alone.With) || r.LogRatio != alone.LogRatio || r.Below[0] != alone.Below[0] {
			t.Errorf("%s: %+v, the last days alone %+v", name, r.With, alone.With)
		}
		if !slices.ContainsFunc(r.Notes, func(n analysis.Note) bool {
			return n.Code == "since-repair" && strings.Contains(n.Text, "ran again on 2025-04-30, as after a repair: all that is said here is by what was measured since, and 100 days with it before left out")
		}) {
			t.Errorf("%s: %v", name, r.Notes)
		}
	}
	for _, at := range []time.Time{day(2025, 1, 19), day(2025, 6, 30)} {
		if r := of(Home{With: []analysis.Series{with}, Repaired: at}); r.Spell != nil || r.With.Days != 130 || analysis.HasNote(r.Notes, "since-repair") {
			t.Errorf("%v: %+v, %v", at, r.Spell, r.Notes)
		}
	}
	// Of a detector each what is left out counts together, and so does what begins an hour or a
	// hundredth of its length before.
	weeks := []analysis.Series{result("t", day(2025, 2, 1), 28, 60, false), result("u", day(2025, 3, 1), 31, 60, false), result("v", day(2025, 3, 20), 12, 60, false), result("w", day(2025, 4, 1), 30, 350, false)}
	for _, late := range []time.Duration{0, 7 * time.Hour, 8 * time.Hour} { // of 720
		r := of(Home{With: weeks, Repaired: day(2025, 4, 1).Add(late)})
		if late == 8*time.Hour {
			if r.Spell != nil {
				t.Errorf("%v late: %+v", late, r.Spell)
			}
		} else if r.Spell == nil || r.Spell.LeftOut != 59 || r.With.RawMean != 350 {
			t.Errorf("%v late: %+v, %+v", late, r.Spell, r.With)
		}
	}
	// A day is too few for any verdict.
	r := of(Home{With: []analysis.Series{with}, Repaired: day(2025, 5, 29)})
	if r.Spell == nil || r.With.Days != 1 || r.Verdict != NotShown || r.Below[0].Verdict != annual.NotConclusive || !analysis.HasNote(r.Notes, "under-two-days") {
		t.Errorf("%+v, %+v, %v", r.Spell, r.With, r.Notes)
	}
}

// TestNow: readings with the system may go on long after the twelve months that both sides
// were measured in most. What is said of now is by the last twelve months of them then, and
// of twelve months that hold all of these, whenever the others were.
func TestNow(t *testing.T) {
	before := result("b", day(2025, 1, 6), 4, 640, false)
	of := func(ran []Ran, with ...analysis.Series) Result {
		r, err := Compare(Home{Without: []analysis.Series{before}, With: with, Ran: ran}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	now := func(r Result) Side {
		if r.Now != nil {
			return r.Now.Side
		}
		return r.With
	}
	note := func(r Result, code, text string) bool {
		return slices.ContainsFunc(r.Notes, func(n analysis.Note) bool { return n.Code == code && strings.Contains(n.Text, text) })
	}
	// A fan that did its work, and a retest of the second autumn that says it does no more.
	r := of(nil, result("t", day(2025, 3, 1), 92, 60, false), result("u", day(2026, 9, 1), 91, 450, false))
	switch n := r.Now; {
	case n == nil || r.Below[0].Verdict != annual.Above || n.RawMean != 450 || n.Days != 91 || r.Spell != nil || !n.From.Equal(day(2025, 12, 1)) || !n.Start.Equal(day(2026, 9, 1)):
		t.Errorf("%+v, %+v", n, r.Below)
	case n.YearStart.After(n.Start) || n.YearEnd.Before(n.End) || n.AnnualMean.Lower < 200 || n.Verdict != NotShown || r.Verdict != Reduced:
		t.Errorf("%+v, %v", n, r.Verdict)
	case !note(r, "later-readings", "from 2026-09-01 to 2026-11-30: over 91 days, raw mean 450 Bq/m³, annual mean about "):
		t.Error(r.Notes)
	}
	alone := of(nil, result("u", day(2026, 9, 1), 91, 450, false)) // all there is, and so around it too
	if alone.Now != nil || analysis.HasNote(alone.Notes, "later-readings") {
		t.Errorf("the retest alone: %+v, %v", alone.Now, alone.Notes)
	}
	if r.Now.AnnualMean.Value != alone.With.AnnualMean.Value || r.Now.YearStart != alone.YearStart || r.Below[0] != alone.Below[0] {
		t.Errorf("%+v %+v, the retest alone %+v %+v", r.Now, r.Below, alone.With, alone.Below)
	}
	// Thirty days more than the twelve months are all of them; one more is not.
	monitor := func(days int) analysis.Series { return log("A", "m", day(2025, 1, 20), flat(days, 60)...) }
	if r := of(nil, monitor(351+30)); r.Now != nil || !r.YearStart.Equal(day(2025, 1, 6)) {
		t.Errorf("30 days after %v: %+v", r.YearEnd, r.Now)
	}
	r = of(nil, monitor(351+31))
	if n := r.Now; n == nil || n.Days != 365 || !n.YearStart.Equal(n.Start) || !n.YearEnd.Equal(n.End) || !n.End.Equal(day(2026, 2, 6)) {
		t.Errorf("31 days after %v: %+v", r.YearEnd, n)
	}
	// Of the last of two systems only its last twelve months.
	ran := []Ran{{day(2025, 1, 20), day(2025, 3, 1), []string{"fan"}}, {From: day(2025, 3, 1), Systems: []string{"sump"}}}
	r = of(ran, log("A", "m", day(2025, 1, 20), slices.Concat(flat(40, 300), flat(100, 60), flat(365, 450))...))
	if n := r.Now; n == nil || r.Spell == nil || r.Spell.Systems != `"sump"` || n.RawMean != 450 || n.Days != 365 || r.Below[0].Verdict != annual.Above {
		t.Errorf("%+v, %+v", n, r.Below)
	}
	if !note(r, "last-system", `the last alone, "sump", by what was measured from 2025-03-01 on`) || !note(r, "later-readings", "from 2025-06-09 to 2026-06-08: over 365 days, raw mean 450") {
		t.Error(r.Notes)
	}
	// One result of more than a year is the latest, though it begins before.
	r = of(nil, result("t", day(2025, 3, 1), 92, 60, false), result("u", day(2026, 1, 1), 400, 450, false))
	if n := r.Now; n == nil || n.RawMean != 450 || n.Days != 400 || r.Below[0].Verdict != annual.Above {
		t.Errorf("%+v, %+v", n, r.Below)
	}
	// A year's test that lies mostly in the last twelve months counts beside a later one of a
	// few days.
	r = of(nil, result("t", day(2024, 12, 20), 365, 450, false), result("u", day(2025, 12, 28), 4, 40, false))
	if n := now(r); n.Days < 360 || r.Below[0].Verdict == annual.Below {
		t.Errorf("%+v, %+v", n, r.Below)
	}
	// Nothing but limits on both sides says nothing of now by itself; that is said.
	r, err := Compare(Home{Without: []analysis.Series{result("b", day(2025, 1, 6), 4, 100, true)}, With: []analysis.Series{result("t", day(2025, 3, 1), 92, 60, false), result("u", day(2026, 9, 1), 91, 10, true)}}, Options{})
	if err != nil || r.Now != nil || r.Below[0].Verdict != annual.NotConclusive || !note(r, "later-readings", "is not of the latest alone, of which nothing can be said: ") {
		t.Errorf("%v, %+v, %v", err, r.Now, r.Notes)
	}
}

// TestNotes: each note is raised where it is due, and a near miss does not raise it.
func TestNotes(t *testing.T) {
	before := log("A", "m", day(2026, 1, 10), flat(40, 250)...)
	after := log("A", "m", day(2026, 2, 22), flat(40, 60)...)
	other := func(s analysis.Series, change func(*analysis.Series)) analysis.Series { change(&s); return s }
	base := Home{Without: []analysis.Series{before}, With: []analysis.Series{after}}
	ran := func(h Home, ran ...Ran) Home { h.Ran = ran; return h }
	rooms := func(one, two float64) Home { // which both had 250
		bedroom := func(s analysis.Series) analysis.Series {
			return other(s, func(s *analysis.Series) { s.Room, s.Detector = "bedroom", "n" })
		}
		return Home{Without: []analysis.Series{before, bedroom(before)}, With: []analysis.Series{
			log("A", "m", day(2026, 2, 22), flat(40, one)...), bedroom(log("A", "n", day(2026, 2, 22), flat(40, two)...))}}
	}
	// Two rooms, one measured in winter before and in summer after, the other the other way
	// round, with what the first and the second had on either side.
	turned := func(winterOne, summerOne, summerTwo, winterTwo float64) Home {
		at := func(room string, month time.Month, x float64) analysis.Series {
			return other(result(room, day(2026, month, 1), 60, x, false), func(s *analysis.Series) { s.Room = room })
		}
		return Home{Without: []analysis.Series{at("one", 1, winterOne), at("two", 7, summerTwo)}, With: []analysis.Series{at("one", 7, summerOne), at("two", 1, winterTwo)}}
	}
	for _, c := range []struct {
		code      string
		due, miss Home
		opt       Options
	}{
		{"season-artefact", Home{Without: base.Without, With: []analysis.Series{log("A", "m", day(2026, 7, 1), flat(40, 60)...)}}, Home{Without: base.Without, With: []analysis.Series{log("A", "m", day(2026, 2, 20), flat(10, 60)...)}}, Options{}},
		{"other-detector", Home{Without: base.Without, With: []analysis.Series{other(after, func(s *analysis.Series) { s.Detector = "n" })}}, base, Options{}},
		{"other-room", Home{Without: base.Without, With: []analysis.Series{other(after, func(s *analysis.Series) { s.Room = "bedroom" })}}, base, Options{}},
		{"other-year", Home{Without: base.Without, With: []analysis.Series{log("A", "m", day(2027, 3, 1), flat(40, 60)...)}}, Home{Without: base.Without, With: []analysis.Series{log("A", "m", day(2026, 12, 10), flat(40, 60)...)}}, Options{}},
		// Two in two rooms at one time, and one that is switched on only when the readings are
		// over.
		{"several-systems", ran(base, Ran{day(2026, 2, 22), day(2026, 4, 3), []string{"fan"}}, Ran{day(2026, 3, 1), day(2026, 4, 3), []string{"sump"}}),
			ran(base, Ran{To: day(2026, 2, 20)}, Ran{day(2026, 2, 20), day(2026, 4, 3), []string{"fan"}}, Ran{From: day(2026, 4, 3), Systems: []string{"fan", "sump"}}), Options{}},
		// Two from the first day on; and one after the other was gone, before the first reading.
		{"several-systems", ran(base, Ran{From: day(2026, 2, 20), Systems: []string{"fan", "sump"}}),
			ran(base, Ran{day(2026, 2, 20), day(2026, 2, 22), []string{"fan"}}, Ran{From: day(2026, 2, 22), Systems: []string{"sump"}}), Options{}},
		{"last-system", ran(base, Ran{To: day(2026, 2, 20)}, Ran{day(2026, 2, 20), day(2026, 3, 15), []string{"fan"}}, Ran{From: day(2026, 3, 15), Systems: []string{"fan", "sump"}}),
			ran(base, Ran{From: day(2026, 2, 20), Systems: []string{"fan", "sump"}}), Options{}},
		{"since-repair", Home{Without: base.Without, With: []analysis.Series{after, log("A", "n", day(2026, 7, 1), flat(40, 60)...)}, Repaired: day(2026, 7, 1)}, base, Options{}},
		{"later-readings", Home{Without: base.Without, With: []analysis.Series{after, log("A", "n", day(2027, 4, 1), flat(40, 60)...)}}, base, Options{}},
		// The same one switched on twice.
		{"several-systems", ran(base, Ran{From: day(2026, 2, 20), Systems: []string{"", ""}}), ran(base, Ran{From: day(2026, 2, 20), Systems: []string{""}}), Options{}},
		// A column that says fan in every row is of the home; one that says passive first is of a time.
		{"system-before", ran(base, Ran{day(2026, 1, 10), day(2026, 2, 19), []string{"passive"}}, Ran{day(2026, 2, 22), day(2026, 4, 3), []string{"fan"}}),
			ran(base, Ran{day(2026, 1, 10), day(2026, 2, 19), []string{"fan"}}, Ran{day(2026, 2, 22), day(2026, 4, 3), []string{"fan"}}), Options{}},
		{"overlapping", Home{Without: base.Without, With: []analysis.Series{log("A", "n", day(2026, 2, 1), flat(40, 60)...)}}, base, Options{}},
		{"too-soon", Home{Without: base.Without, With: []analysis.Series{log("A", "m", day(2026, 2, 19), flat(40, 60)...)}}, Home{Without: base.Without, With: []analysis.Series{log("A", "m", day(2026, 2, 20), flat(40, 60)...)}}, Options{}},
		{"zero-result", Home{Without: base.Without, With: []analysis.Series{result("t", day(2026, 2, 22), 40, 0, false)}}, Home{Without: base.Without, With: []analysis.Series{result("t", day(2026, 2, 22), 40, 5, true)}}, Options{}},
		{"zero-result", Home{Without: base.Without, With: []analysis.Series{result("t", day(2026, 2, 22), 40, 0, false), result("u", day(2026, 2, 22), 40, 30, false)}}, base, Options{}},
		{"zero-result", Home{Without: []analysis.Series{result("t", day(2026, 1, 1), 40, 0, false)}, With: base.With}, base, Options{}},
		{"after-first", Home{Without: base.With, With: base.Without}, base, Options{}},
		// Times of switches say themselves what came first: a system may have been switched off.
		{"after-first", Home{Without: base.With, With: base.Without}, Home{Without: base.With, With: base.Without, Timed: true}, Options{}},
		// By 2.6 times and 2.3 times as much, and where a room has only one side.
		{"rooms-differ", rooms(60, 156), rooms(60, 138), Options{}},
		{"rooms-differ", rooms(156, 60), Home{Without: rooms(60, 156).Without, With: base.With}, Options{}},
		// Other seasons: a fall by 80 % in both, with a season of √2 each way that the system
		// leaves or takes, or none at all; and 95 % and 60 %.
		{"rooms-differ", turned(300, 15, 150, 60), turned(300, 30, 150, 60), Options{}},
		{"rooms-differ", turned(300, 15, 150, 60), turned(300, 42, 150, 42), Options{}},
		{"rooms-differ", turned(300, 15, 150, 60), turned(200, 40, 200, 40), Options{}},
		{"under-two-days", Home{Without: base.Without, With: []analysis.Series{log("A", "m", day(2026, 2, 22), 60)}}, Home{Without: base.Without, With: []analysis.Series{log("A", "m", day(2026, 2, 22), 60, 60)}}, Options{}},
		// By how little is known of the year before: after 90 days it is said, after 300 not.
		{"high-first-test", Home{Without: []analysis.Series{log("A", "m", day(2025, 11, 20), flat(90, 250)...)}, With: base.With}, Home{Without: []analysis.Series{log("A", "m", day(2025, 4, 24), flat(300, 250)...)}, With: base.With}, Options{}},
		{"high-first-test", Home{Without: []analysis.Series{log("A", "m", day(2026, 1, 10), flat(7, 250)...)}, With: base.With}, Home{Without: []analysis.Series{log("A", "m", day(2026, 1, 10), flat(7, 150)...)}, With: base.With}, Options{}},
		{"near-outdoor", Home{Without: base.Without, With: []analysis.Series{log("A", "m", day(2026, 2, 22), flat(40, 15)...)}}, base, Options{}},
		{"all-below-limit", Home{Without: base.Without, With: []analysis.Series{result("t", day(2026, 2, 22), 40, 15, true)}}, base, Options{}},
		{"unbounded", Home{Without: []analysis.Series{result("t", day(2026, 1, 1), 40, 15, true)}, With: base.With}, Home{Without: base.Without, With: []analysis.Series{result("t", day(2026, 2, 22), 40, 15, true)}}, Options{}},
		{"below-limit", Home{Without: base.Without, With: []analysis.Series{result("t", day(2026, 2, 22), 40, 15, true)}}, base, Options{}},
		{"restless-home", Home{Without: []analysis.Series{log("A", "m", day(2026, 1, 1), 20, 900, 20, 900, 20, 900, 20, 900, 30, 800, 20, 900)}, With: base.With}, base, Options{}},
	} {
		r, err := Compare(c.due, c.opt)
		if err != nil {
			t.Errorf("%s: %v", c.code, err)
			continue
		}
		if !analysis.HasNote(r.Notes, c.code) {
			t.Errorf("%s: not raised; %v", c.code, r.Notes)
		}
		if r, err = Compare(c.miss, c.opt); err != nil || analysis.HasNote(r.Notes, c.code) {
			t.Errorf("%s: raised by a near miss (%v)", c.code, err)
		}
	}
}

// TestPriorSilences: where homes around are known a high first test is allowed for, and
// the note that names them as the cure is not given.
func TestPriorSilences(t *testing.T) {
	home := Home{Without: []analysis.Series{log("A", "m", day(2026, 1, 10), flat(7, 250)...)}, With: []analysis.Series{log("A", "m", day(2026, 2, 22), flat(40, 60)...)}}
	for _, c := range []struct {
		prior *annual.Prior
		said  bool
	}{{nil, true}, {&annual.Prior{GM: 90, GSD: 2.3}, false}} {
		r, err := Compare(home, Options{AreaPrior: c.prior})
		if err != nil {
			t.Fatal(err)
		}
		if said := analysis.HasNote(r.Notes, "high-first-test"); said != c.said {
			t.Errorf("prior %v: said %v", c.prior, said)
		}
	}
}

// TestInWords: what cannot be compared is an error that says why.
func TestInWords(t *testing.T) {
	b, a := log("A", "m", day(2026, 1, 10), 250, 240, 260), log("A", "m", day(2026, 2, 22), 60, 50, 55)
	for _, c := range []struct {
		home Home
		opt  Options
		says string
	}{
		{Home{}, Options{}, "no readings"},
		{Home{Without: []analysis.Series{b}}, Options{}, "no reading with the system"},
		{Home{With: []analysis.Series{a}}, Options{}, "nothing to compare with"},
		{Home{Without: []analysis.Series{b}, With: []analysis.Series{log("B", "m", day(2026, 2, 22), 60)}}, Options{}, "one home at a time"},
		{Home{Without: []analysis.Series{result("t", day(2026, 1, 1), 40, 15, true)}, With: []analysis.Series{result("u", day(2026, 3, 1), 40, 15, true)}}, Options{}, "says nothing of their ratio"},
		{Home{Without: []analysis.Series{b}, With: []analysis.Series{log("A", "m", day(2026, 2, 22), 0, 0, 0)}}, Options{}, "is zero"},
		{Home{Without: []analysis.Series{b}, With: []analysis.Series{a}}, Options{Confidence: 95}, "confidence"},
		{Home{Without: []analysis.Series{b}, With: []analysis.Series{a}}, Options{Levels: []float64{-1}}, "level"},
		{Home{Without: []analysis.Series{b}, With: []analysis.Series{a}}, Options{AtLeast: []float64{50}}, "share between 0 and 1"},
		{Home{Without: []analysis.Series{b}, With: []analysis.Series{a}}, Options{AreaPrior: &annual.Prior{GM: 90}}, "area prior"},
		{Home{Without: []analysis.Series{b}, With: []analysis.Series{a}}, Options{Calibration: 2}, "calibration"},
	} {
		if _, err := Compare(c.home, c.opt); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v", c.says, err)
		}
	}
	// After above before is an answer.
	r, err := Compare(Home{Without: []analysis.Series{result("a", day(2026, 1, 1), 90, 40, false)}, With: []analysis.Series{result("b", day(2026, 4, 1), 90, 400, false)}}, Options{})
	if err != nil || r.Verdict != Increased || r.Reduction.Value > -500 {
		t.Errorf("after above before: %v %v %v", err, r.Verdict, r.Reduction.Value)
	}
	// One reading a side of 30 hours is an answer and shows nothing.
	hours := func(at time.Time, v float64) analysis.Series {
		s, err := analysis.NewSeries(analysis.Place{Home: "A"}, time.UTC, []analysis.Reading{{Start: at, End: at.Add(30 * time.Hour), Concentration: v}})
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	r, err = Compare(Home{Without: []analysis.Series{hours(day(2026, 1, 1), 900)}, With: []analysis.Series{hours(day(2026, 1, 9), 9)}}, Options{})
	if err != nil || r.Verdict != NotShown || r.Below[0].Verdict != annual.NotConclusive {
		t.Errorf("30 hours: %v %v %v", err, r.Verdict, r.Below)
	}
	if text := fmt.Sprint(r.Notes); !strings.Contains(text, "30 hours were measured without") {
		t.Error(text)
	}
}

// TestLimitsOnly: what the year was without a system is what its own readings say,
// however far below a limit those with the system lie; and the fall is no smaller for it.
func TestLimitsOnly(t *testing.T) {
	before := result("a", day(2026, 1, 10), 7, 800, false)
	compare := func(value float64, below bool) Result {
		r, err := Compare(Home{Without: []analysis.Series{before}, With: []analysis.Series{result("b", day(2026, 1, 20), 7, value, below)}}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	seen := compare(38, false).Without.AnnualMean
	least := 0.0
	for _, limit := range []float64{20, 10, 5} {
		r := compare(limit, true)
		if m := r.Without.AnnualMean; math.Abs(m.Value/seen.Value-1) > 1e-3 || math.Abs(m.Upper/seen.Upper-1) > 2e-3 || math.Abs(m.Lower/seen.Lower-1) > 2e-3 {
			t.Errorf("below %v: %v (%v to %v) without the system, beside 38 %v (%v to %v)", limit, m.Value, m.Lower, m.Upper, seen.Value, seen.Lower, seen.Upper)
		}
		if r.Reduction.Lower <= least || r.Reduction.Upper != 100 {
			t.Errorf("below %v: a reduction of %v to %v", limit, r.Reduction.Lower, r.Reduction.Upper)
		}
		least = r.Reduction.Lower
	}
}

func randomHome(r *rand.Rand, scale float64) Home {
	draw := func(from time.Time, n int, level float64) analysis.Series {
		v := make([]float64, n)
		for i := range v {
			v[i] = scale * level * math.Exp(0.4*r.NormFloat64())
		}
		return log("A", "m", from, v...)
	}
	return Home{
		Without: []analysis.Series{draw(day(2025, 1+time.Month(r.IntN(6)), 1), 5+r.IntN(60), 300)},
		With:    []analysis.Series{draw(day(2025, 9+time.Month(r.IntN(4)), 1), 5+r.IntN(60), 300*math.Exp(-3*r.Float64()))}}
}

// TestProperties: a unit changes no ratio, order changes nothing, more confidence is
// never narrower, and a detector's calibration falls out.
func TestProperties(t *testing.T) {
	for seed := range uint64(12) {
		home := randomHome(rand.New(rand.NewPCG(seed, 1)), 1)
		r, err := Compare(home, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if e := r.Ratio.Check(); e != nil {
			t.Error(e)
		}
		if e := r.Reduction.Check(); e != nil {
			t.Error(e)
		}
		scaled, err := Compare(randomHome(rand.New(rand.NewPCG(seed, 1)), 37), Options{Levels: []float64{37 * 200}})
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range [][2]float64{{scaled.Ratio.Value, r.Ratio.Value}, {scaled.Ratio.Lower, r.Ratio.Lower}, {scaled.Ratio.Upper, r.Ratio.Upper},
			{scaled.Without.AnnualMean.Value, 37 * r.Without.AnnualMean.Value}, {scaled.With.AnnualMean.Upper, 37 * r.With.AnnualMean.Upper}, {scaled.Below[0].Probability, r.Below[0].Probability}} {
			if !(math.Abs(c[0]-c[1]) <= 1e-6*math.Abs(c[1])) {
				t.Errorf("seed %d: ×37 gives %v, not %v", seed, c[0], c[1])
			}
		}
		// One series cut into two, the later first.
		cut := func(s analysis.Series) []analysis.Series {
			rs := s.Readings()
			k := len(rs) / 2
			var out []analysis.Series
			for _, part := range [][]analysis.Reading{rs[k:], rs[:k]} {
				x, err := analysis.NewSeries(s.Place, s.Zone, part)
				if err != nil {
					t.Fatal(err)
				}
				out = append(out, x)
			}
			return out
		}
		parts, err := Compare(Home{Without: cut(home.Without[0]), With: cut(home.With[0])}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		if !reflect.DeepEqual(parts.Ratio, r.Ratio) || parts.With.AnnualMean.Value != r.With.AnnualMean.Value {
			t.Errorf("seed %d: cut in two %v, whole %v", seed, parts.Ratio, r.Ratio)
		}
		last := r.Ratio
		for _, conf := range []float64{0.97, 0.99} {
			wide, err := Compare(home, Options{Confidence: conf})
			if err != nil {
				t.Fatal(err)
			}
			if wide.Ratio.Lower > last.Lower || wide.Ratio.Upper < last.Upper || wide.Ratio.Value != last.Value {
				t.Errorf("seed %d: confidence %g gives %v, less %v", seed, conf, wide.Ratio, last)
			}
			last = wide.Ratio
		}
	}
}

// FuzzCompare: an answer that passes its checks, or an error; no panic.
func FuzzCompare(f *testing.F) {
	f.Add(250.0, 60.0, uint16(10), uint16(10), uint16(40), false, false)
	f.Add(1e-300, 1e300, uint16(1), uint16(1), uint16(0), false, true)
	f.Add(0.0, 5.0, uint16(3), uint16(400), uint16(900), true, false)
	f.Fuzz(func(t *testing.T, b, a float64, nb, na, gap uint16, belowB, belowA bool) {
		side := func(v float64, n uint16, from time.Time, below bool) (analysis.Series, error) {
			n = 1 + n%200
			var rs []analysis.Reading
			for i := range int(n) {
				rs = append(rs, analysis.Reading{Start: from.AddDate(0, 0, i), End: from.AddDate(0, 0, i+1), Concentration: v * (1 + float64(i%7)/10), BelowLimit: below})
			}
			return analysis.NewSeries(analysis.Place{Home: "A"}, time.UTC, rs)
		}
		x, err := side(b, nb, day(2025, 1, 1), belowB)
		if err != nil {
			return
		}
		y, err := side(a, na, day(2025, 1, 1).AddDate(0, 0, int(nb%200)+int(gap%1500)), belowA)
		if err != nil {
			return
		}
		r, err := Compare(Home{Without: []analysis.Series{x}, With: []analysis.Series{y}}, Options{AtLeast: []float64{0.5}})
		if err != nil {
			return
		}
		for _, e := range []analysis.Estimate{r.Ratio, r.Reduction, r.Without.AnnualMean, r.With.AnnualMean} {
			if err := e.Check(); err != nil {
				t.Error(err)
			}
		}
		for _, p := range []float64{r.Below[0].Probability, r.AtLeast[0].Probability} {
			if !(p >= 0 && p <= 1) {
				t.Errorf("probability %v", p)
			}
		}
	})
}
