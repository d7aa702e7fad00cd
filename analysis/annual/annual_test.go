package annual

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/temporal"
)

func date(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }

// passive is one integrating result.
func passive(t *testing.T, detector string, from time.Time, days int, value, uncertainty float64, below bool) analysis.Series {
	t.Helper()
	s, err := analysis.NewSeries(analysis.Place{Home: "h", Detector: detector}, time.UTC,
		[]analysis.Reading{{Start: from, End: from.AddDate(0, 0, days), Concentration: value, Uncertainty: uncertainty, BelowLimit: below}})
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func estimate(t *testing.T, home []analysis.Series, opt Options) Result {
	t.Helper()
	r, err := Estimate(home, opt)
	if err != nil {
		t.Fatal(err)
	}
	if err := r.AnnualMean.Check(); err != nil {
		t.Fatal(err)
	}
	for _, n := range r.Notes {
		if !slices.Contains(Methods[0].Notes, n.Code) {
			t.Errorf("the method does not say that it can note %s", n.Code)
		}
	}
	return r
}

// still is a profile without season, drift or noise to speak of.
func still() *temporal.Profile {
	p := temporal.BuiltIn(false)
	p.Season = temporal.Season{}
	p.Drift = []temporal.Component{{Days: 10, Variance: 1e-6}}
	p.DayNoise = 1e-3
	return p
}

// TestByHand: a home that never changes, measured by a detector of known error,
// has the reading for its annual mean, and the detector's error for its spread.
func TestByHand(t *testing.T) {
	r := estimate(t, []analysis.Series{passive(t, "a", date(2024, 3, 1), 30, 150, 15, false)}, Options{Profile: still(), Levels: []float64{150, 200}})
	s := math.Sqrt(math.Log(1 + 0.1*0.1)) // 10 % as a log standard deviation
	near(t, "annual mean", r.AnnualMean.Value, 150, 1e-4)
	near(t, "upper limit", r.AnnualMean.Upper, 150*math.Exp(1.959964*s), 1e-3)
	near(t, "lower limit", r.AnnualMean.Lower, 150*math.Exp(-1.959964*s), 1e-3)
	near(t, "P(above 150)", r.Above[0].Probability, 0.5, 1e-3)
	// ln(200/150)/s = 2.884, one in 510 beyond.
	near(t, "P(above 200)", r.Above[1].Probability, 0.00196, 0.02)
	if r.Above[0].Verdict != NotConclusive || r.Above[1].Verdict != Below {
		t.Errorf("verdicts are %v", r.Above)
	}
	near(t, "days", r.DaysMeasured, 30, 1e-12)
	near(t, "share", r.YearShare, 30.0/365, 1e-12)
	if got := r.YearEnd.Sub(r.YearStart).Hours() / 24; got != 365 {
		t.Errorf("a year of %v days", got)
	}
	middle := r.Start.Add(r.End.Sub(r.Start) / 2)
	if off := r.YearStart.Add(r.YearEnd.Sub(r.YearStart) / 2).Sub(middle).Hours(); math.Abs(off) > 24 {
		t.Errorf("the year lies %v hours off the middle of the test", off)
	}

	// Two detectors of 10 % and 20 %: ln A is their mean by 1/s², and its
	// variance 1/Σ(1/s²). Rows out of order on purpose.
	s1, s2 := math.Log(1+.1*.1), math.Log(1+.2*.2)
	two := []analysis.Series{passive(t, "b", date(2024, 3, 1), 30, 200, 40, false), passive(t, "a", date(2024, 3, 1), 30, 100, 10, false)}
	r = estimate(t, two, Options{Profile: still()})
	w := (1 / s1) / (1/s1 + 1/s2)
	near(t, "two detectors", math.Log(r.AnnualMean.Value), w*math.Log(100)+(1-w)*math.Log(200), 1e-4)
	near(t, "their spread", r.LogSpread, math.Sqrt(1/(1/s1+1/s2)), 1e-3)

	// An area prior is one more detector, of the level: GM 50, GSD 2 against
	// 400 at 20 %.
	r = estimate(t, []analysis.Series{passive(t, "a", date(2024, 3, 1), 30, 400, 80, false)}, Options{Profile: still(), AreaPrior: &Prior{GM: 50, GSD: 2}})
	v := math.Pow(math.Log(2), 2)
	w = v / (v + s2)
	near(t, "with a prior", math.Log(r.AnnualMean.Value), w*math.Log(400)+(1-w)*math.Log(50), 1e-3)
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if math.IsNaN(got) || math.Abs(got-want) > rel*math.Abs(want) {
		t.Errorf("%s is %.8g, want %.8g", what, got, want)
	}
}

// TestProperties holds the posterior to what it must do, whatever the data.
func TestProperties(t *testing.T) {
	whole := log(365, date(2024, 1, 1), 3)
	part := func(from, to int) []analysis.Series {
		s, err := analysis.NewSeries(whole[0].Place, time.UTC, whole[0].Readings()[from:to])
		if err != nil {
			t.Fatal(err)
		}
		return []analysis.Series{s}
	}

	t.Run("more of the year, a narrower interval", func(t *testing.T) {
		last := math.Inf(1)
		for _, n := range []int{2, 7, 30, 90, 180, 270, 365} {
			r := estimate(t, part(365-n, 365), Options{})
			if r.LogSpread >= last {
				t.Errorf("%d days: spread %v, no less than before", n, r.LogSpread)
			}
			last = r.LogSpread
		}
	})
	t.Run("all of the year: plain mean and the detector's error", func(t *testing.T) {
		r := estimate(t, whole, Options{})
		near(t, "annual mean", r.AnnualMean.Value, r.RawMean, 0.004)
		s := math.Sqrt(math.Log1p(temporal.DefaultCalibration * temporal.DefaultCalibration))
		near(t, "spread", r.LogSpread, s, 0.02)
		near(t, "season factor", r.SeasonFactor, 1, 1e-9)
		near(t, "share", r.YearShare, 1, 1e-12)
	})
	t.Run("times 37", func(t *testing.T) {
		a := part(10, 60)
		var rs []analysis.Reading
		for _, r := range a[0].Readings() {
			r.Concentration *= 37
			rs = append(rs, r)
		}
		s, err := analysis.NewSeries(a[0].Place, time.UTC, rs)
		if err != nil {
			t.Fatal(err)
		}
		x, y := estimate(t, a, Options{}), estimate(t, []analysis.Series{s}, Options{})
		near(t, "value", y.AnnualMean.Value, 37*x.AnnualMean.Value, 1e-9)
		near(t, "upper", y.AnnualMean.Upper, 37*x.AnnualMean.Upper, 1e-9)
		p := func(level float64, h []analysis.Series) float64 {
			return estimate(t, h, Options{Levels: []float64{level}}).Above[0].Probability
		}
		near(t, "probability", p(37*150, []analysis.Series{s}), p(150, a), 1e-7)
	})
	t.Run("order of rows and of series", func(t *testing.T) {
		rs := part(0, 40)[0].Readings()
		rand.New(rand.NewPCG(1, 1)).Shuffle(len(rs), func(i, j int) { rs[i], rs[j] = rs[j], rs[i] })
		s, err := analysis.NewSeries(whole[0].Place, time.UTC, rs)
		if err != nil {
			t.Fatal(err)
		}
		other := passive(t, "z", date(2024, 2, 1), 60, 170, 0, false)
		x := estimate(t, []analysis.Series{part(0, 40)[0], other}, Options{})
		y := estimate(t, []analysis.Series{other, s}, Options{})
		if x.AnnualMean.Value != y.AnnualMean.Value || x.AnnualMean.Upper != y.AnnualMean.Upper {
			t.Errorf("order changed digits: %v and %v", x.AnnualMean, y.AnnualMean)
		}
	})
	t.Run("more confidence, no narrower", func(t *testing.T) {
		last := 0.0
		for _, c := range []float64{0.5, 0.8, 0.9, 0.95, 0.99, 0.999} {
			r := estimate(t, part(0, 20), Options{Confidence: c})
			if w := r.AnnualMean.Upper / r.AnnualMean.Lower; w <= last {
				t.Errorf("at %v the interval is a factor %v wide, no wider than before", c, w)
			} else {
				last = w
			}
		}
	})
	t.Run("winter down, summer up", func(t *testing.T) {
		for _, c := range []struct {
			from  time.Time
			south bool
			down  bool
		}{{date(2024, 12, 1), false, true}, {date(2024, 6, 1), false, false}, {date(2024, 12, 1), true, false}, {date(2024, 6, 1), true, true}} {
			r := estimate(t, []analysis.Series{passive(t, "a", c.from, 60, 100, 0, false)}, Options{Profile: temporal.BuiltIn(c.south)})
			if (r.SeasonFactor < 1) != c.down || (r.AnnualMean.Value < 100) != c.down {
				t.Errorf("from %s, south %v: factor %v, annual mean %v of 100", c.from.Format("January"), c.south, r.SeasonFactor, r.AnnualMean.Value)
			}
			if r.RawMean != 100 {
				t.Errorf("raw mean is %v", r.RawMean)
			}
		}
	})
	t.Run("the long run is wider", func(t *testing.T) {
		a, b := estimate(t, part(0, 90), Options{}), estimate(t, part(0, 90), Options{Target: LongRun})
		near(t, "long run", b.AnnualMean.Value, a.AnnualMean.Value, 1e-4)
		near(t, "its spread", b.LogSpread, math.Hypot(a.LogSpread, temporal.BuiltIn(false).YearSD), 1e-3)
		// Three years tell more of it than one does.
		var rs []analysis.Reading
		for y := range 3 {
			rs = append(rs, analysis.Reading{Start: date(2020+y, 1, 1), End: date(2020+y, 12, 31), Concentration: 100})
		}
		one, three := []analysis.Series{mustSeries(t, "", rs[:1])}, []analysis.Series{mustSeries(t, "", rs)}
		a, b = estimate(t, one, Options{Target: LongRun}), estimate(t, three, Options{Target: LongRun})
		if b.LogSpread > 0.7*a.LogSpread {
			t.Errorf("one year leaves %v of the long run open, three %v", a.LogSpread, b.LogSpread)
		}
	})
	t.Run("a mean is no mean of logs", func(t *testing.T) {
		// Day means known to a monitor, and the same days as one integrated result.
		days := part(100, 130)
		sum := 0.0
		for _, r := range days[0].Readings() {
			sum += r.Concentration / 30
		}
		x := estimate(t, days, Options{})
		y := estimate(t, []analysis.Series{passive(t, "p", days[0].Start(), 30, sum, sum*temporal.DefaultCalibration, false)}, Options{})
		near(t, "integrated against daily", y.AnnualMean.Value, x.AnnualMean.Value, 0.08)
	})
	t.Run("a prior is for annual means", func(t *testing.T) {
		// A result that says next to nothing leaves the area's distribution.
		r := estimate(t, []analysis.Series{passive(t, "a", date(2024, 3, 1), 30, 300, 3e8, false)}, Options{AreaPrior: &Prior{GM: 80, GSD: 2}})
		near(t, "median", r.AnnualMean.Value, 80, 0.08)
		near(t, "spread", r.LogSpread, math.Log(2), 0.12)
	})
	t.Run("calibration is a detector's for all it says", func(t *testing.T) {
		for _, c := range []float64{0.1, 0.3} {
			r := estimate(t, whole, Options{Calibration: c})
			near(t, "spread of a whole year", r.LogSpread, math.Sqrt(math.Log1p(c*c)), 0.03)
		}
	})
	t.Run("a profile calibrates neither instruments nor years", func(t *testing.T) {
		p := still()
		p.Calibration = []temporal.Calibration{{Days: 2, Factor: .7}, {Days: 300, Factor: .7}}
		r := estimate(t, []analysis.Series{passive(t, "a", date(2024, 3, 1), 30, 150, 15, false)}, Options{Profile: p})
		near(t, "spread", r.LogSpread, math.Sqrt(math.Log1p(.01)), 1e-3)
		r = estimate(t, []analysis.Series{passive(t, "a", date(2024, 3, 1), 30, 150, 15, false)}, Options{Profile: p, Target: LongRun})
		near(t, "spread in the long run", r.LogSpread, math.Sqrt(math.Log1p(.01)+p.YearSD*p.YearSD), 1e-3)
		// What is the profile's own is multiplied.
		q := temporal.BuiltIn(false)
		a := estimate(t, part(0, 30), Options{Profile: q})
		q.Calibration = []temporal.Calibration{{Days: 2, Factor: 1.5}, {Days: 300, Factor: 1.5}}
		b := estimate(t, part(0, 30), Options{Profile: q})
		v := math.Log1p(temporal.DefaultCalibration * temporal.DefaultCalibration)
		near(t, "spread times 1.5", b.LogSpread*b.LogSpread-v, 2.25*(a.LogSpread*a.LogSpread-v), 1e-6)
	})
	t.Run("several rooms", func(t *testing.T) {
		var home []analysis.Series
		for i, room := range []string{"attic", "cellar"} {
			s, err := analysis.NewSeries(analysis.Place{Home: "h", Room: room}, time.UTC, []analysis.Reading{{Start: date(2024, 1, 1), End: date(2024, 12, 30), Concentration: float64(100 + 200*i), Uncertainty: 1}})
			if err != nil {
				t.Fatal(err)
			}
			home = append(home, s)
		}
		r := estimate(t, home, Options{})
		near(t, "mean of rooms", r.AnnualMean.Value, 200, 0.01)
		near(t, "raw mean", r.RawMean, 200, 1e-12)
		if !analysis.HasNote(r.Notes, "several-rooms") || analysis.HasNote(estimate(t, home[:1], Options{}).Notes, "several-rooms") {
			t.Error("the note on several rooms is missing, or given for one")
		}
	})
	t.Run("verdicts follow the probability", func(t *testing.T) {
		for level := 20.0; level < 2000; level *= 1.05 {
			a := estimate(t, part(0, 30), Options{Levels: []float64{level}, Confidence: 0.9}).Above[0]
			want := NotConclusive
			if a.Probability >= 0.9 {
				want = Above
			} else if a.Probability <= 0.1 {
				want = Below
			}
			if a.Verdict != want {
				t.Errorf("P(above %v) = %v is called %q", level, a.Probability, a.Verdict)
			}
		}
	})
}

// TestNotes raises each note, and does not raise it a little short of that.
func TestNotes(t *testing.T) {
	day := func(d int, c, share float64, below bool) analysis.Reading {
		s := date(2024, 1, 1).AddDate(0, 0, d)
		return analysis.Reading{Start: s, End: s.AddDate(0, 0, 1), Concentration: c, Share: share, BelowLimit: below}
	}
	over := func(d, days int, c float64, below bool) analysis.Reading {
		r := day(d, c, 0, below)
		r.End = r.Start.AddDate(0, 0, days)
		return r
	}
	for _, c := range []struct {
		code    string
		yes, no []analysis.Reading
	}{
		{code: "under-two-days", yes: []analysis.Reading{day(0, 50, 1, false)}, no: []analysis.Reading{day(0, 50, 1, false), day(1, 50, .95, false)}},
		{code: "partial-days", yes: []analysis.Reading{day(0, 50, .7, false), day(1, 60, 0, false)}, no: []analysis.Reading{day(0, 50, .75, false), day(1, 60, 0, false)}},
		{code: "below-limit", yes: []analysis.Reading{day(0, 50, 0, true), day(1, 60, 0, false)}, no: []analysis.Reading{day(0, 50, 0, false), day(1, 60, 0, false)}},
		{code: "zero-result", yes: []analysis.Reading{over(0, 60, 0, false)}, no: []analysis.Reading{over(0, 60, 5, true)}},
		{code: "zero-result", yes: []analysis.Reading{over(0, 60, 80, false), over(60, 60, 0.001, false)}, no: []analysis.Reading{over(0, 60, 80, false), over(60, 60, 1, false)}},
		{code: "all-below-limit", yes: []analysis.Reading{day(0, 50, 0, true), day(1, 60, 0, true)}, no: []analysis.Reading{day(0, 50, 0, true), day(1, 60, 0, false)}},
		{code: "zero-days", yes: []analysis.Reading{day(0, 0, 0, false), day(1, 60, 0, false)}, no: []analysis.Reading{day(0, .1, 0, false), day(1, 60, 0, false)}},
		{code: "longer-than-a-year", yes: []analysis.Reading{day(0, 50, 0, false), day(366, 60, 0, false)}, no: []analysis.Reading{day(0, 50, 0, false), day(365, 60, 0, false)}},
	} {
		for _, side := range []struct {
			rs   []analysis.Reading
			want bool
		}{{c.yes, true}, {c.no, false}} {
			s, err := analysis.NewSeries(analysis.Place{Home: "h"}, time.UTC, side.rs)
			if err != nil {
				t.Fatal(err)
			}
			r := estimate(t, []analysis.Series{s}, Options{})
			if analysis.HasNote(r.Notes, c.code) != side.want {
				t.Errorf("%s: raised is %v, want %v; notes %v", c.code, !side.want, side.want, r.Notes)
			}
		}
	}
}

func mustSeries(t *testing.T, room string, rs []analysis.Reading) analysis.Series {
	t.Helper()
	s, err := analysis.NewSeries(analysis.Place{Home: "h", Room: room}, time.UTC, rs)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// TestRoomAbove: a home is not below while a room of it is above.
func TestRoomAbove(t *testing.T) {
	home := func(a, b float64) []analysis.Series {
		year := func(c float64) []analysis.Reading {
			return []analysis.Reading{{Start: date(2024, 1, 1), End: date(2024, 12, 30), Concentration: c, Uncertainty: c / 20}}
		}
		return []analysis.Series{mustSeries(t, "bed", year(a)), mustSeries(t, "cellar", year(b))}
	}
	for _, c := range []struct {
		a, b float64
		want Verdict
		note bool
	}{
		{60, 300, NotConclusive, true}, // their mean of 180 is below with 98 %
		{60, 205, Below, false},        // the cellar is more likely above than not, but not shown to be
		{150, 500, Above, false},
	} {
		r := estimate(t, home(c.a, c.b), Options{})
		if a := r.Above[0]; a.Verdict != c.want || analysis.HasNote(r.Notes, "room-above") != c.note || analysis.HasNote(r.AnnualMean.Notes, "room-above") != c.note {
			t.Errorf("rooms of %v and %v: %v with probability %v, notes %v", c.a, c.b, a.Verdict, a.Probability, r.Notes)
		}
	}
	// No more days and no reading of all rooms settle what one room decides.
	j, err := Judge(home(60, 300), 200, Options{})
	if err != nil || j.Verdict != NotConclusive || j.DaysFor80 != -1 || j.Further != nil || j.BandLower != 0 || j.BandUpper != 0 {
		t.Errorf("%+v, %v", j, err)
	}
	// A room whose detector was dead all the time is no room of the home's.
	deadRoom := mustSeries(t, "attic", []analysis.Reading{{Start: date(2024, 1, 1), End: date(2024, 1, 2)}, {Start: date(2024, 1, 2), End: date(2024, 1, 3)}})
	if r := estimate(t, append(home(60, 100), deadRoom), Options{}); r.Above[0].Verdict != Below {
		t.Errorf("with a dead detector in the attic: %v", r.Above)
	}
	if r := estimate(t, home(60, 300), Options{}); r.Above[0].Probability > .05 {
		t.Errorf("P(above) is %v; the test was to be of a mean below", r.Above[0].Probability)
	}
}

// TestAllBelow: days that all lie below a limit say that their mean does, and no
// more: a home just below it is within the interval.
func TestAllBelow(t *testing.T) {
	for _, c := range []struct {
		days  int
		limit float64
	}{{365, 15}, {365, 40}, {120, 175}, {365, 100}, {7, 15}} {
		var rs []analysis.Reading
		for d := range c.days {
			s := date(2024, 1, 1).AddDate(0, 0, d)
			rs = append(rs, analysis.Reading{Start: s, End: s.AddDate(0, 0, 1), Concentration: c.limit, BelowLimit: true})
		}
		r := estimate(t, []analysis.Series{mustSeries(t, "", rs)}, Options{Levels: []float64{2 * c.limit}})
		if r.AnnualMean.Upper < .9*c.limit || r.AnnualMean.Value > c.limit || c.days == 365 && r.AnnualMean.Upper > 1.8*c.limit {
			t.Errorf("%d days below %v: %v (%v to %v)", c.days, c.limit, r.AnnualMean.Value, r.AnnualMean.Lower, r.AnnualMean.Upper)
		}
	}
}

// TestTooShort: under 46 hours nothing is conclusive, however high.
func TestTooShort(t *testing.T) {
	for _, c := range []struct {
		hours int
		want  Verdict
	}{{45, NotConclusive}, {47, Above}} {
		var rs []analysis.Reading
		for from := date(2024, 1, 1); c.hours > 0; c.hours -= 24 {
			n := min(c.hours, 24)
			rs = append(rs, analysis.Reading{Start: from, End: from.Add(time.Duration(n) * time.Hour), Concentration: 5000})
			from = from.AddDate(0, 0, 1)
		}
		j, err := Judge([]analysis.Series{mustSeries(t, "", rs)}, 200, Options{})
		if err != nil || j.Verdict != c.want || j.Probability < .99 {
			t.Errorf("%v, %v with probability %v, want %v", err, j.Verdict, j.Probability, c.want)
		}
		if c.want == NotConclusive && j.BandLower != 0 {
			t.Errorf("%d hours have a band from %v", c.hours, j.BandLower)
		}
		if c.want == NotConclusive && j.DaysFor80 != 1 {
			t.Errorf("%d more days are asked for, want 1", j.DaysFor80)
		}
	}
}

// TestYear: which twelve months are meant, and what was measured of them.
func TestYear(t *testing.T) {
	whole := []analysis.Reading{{Start: date(2023, 3, 1).Add(10 * time.Hour), End: date(2024, 2, 29).Add(10 * time.Hour), Concentration: 100}}
	r := estimate(t, []analysis.Series{mustSeries(t, "", whole)}, Options{})
	if len(r.Notes) != 0 {
		t.Errorf("365 days set up at ten in the morning: %v", r.Notes)
	}
	// Two results that meet at noon measured that day from end to end.
	noon := []analysis.Reading{{Start: date(2024, 1, 1), End: date(2024, 1, 31).Add(12 * time.Hour), Concentration: 100},
		{Start: date(2024, 1, 31).Add(12 * time.Hour), End: date(2024, 3, 1), Concentration: 100}}
	near(t, "days", estimate(t, []analysis.Series{mustSeries(t, "", noon)}, Options{}).DaysMeasured, 60, 1e-9)
	// The same mornings in two rooms are mornings still.
	var half []analysis.Reading
	for d := range 10 {
		half = append(half, analysis.Reading{Start: date(2024, 1, 1+d), End: date(2024, 1, 1+d).Add(12 * time.Hour), Concentration: 100})
	}
	near(t, "half days", estimate(t, []analysis.Series{mustSeries(t, "a", half), mustSeries(t, "b", half)}, Options{}).DaysMeasured, 5, 1e-9)

	// A date is a date, wherever the home is.
	west := mustSeries(t, "", whole)
	west.Zone = time.FixedZone("west", -5*3600)
	if r := estimate(t, []analysis.Series{west}, Options{YearFrom: date(2023, 3, 1)}); r.YearStart.Format(time.DateOnly) != "2023-03-01" {
		t.Errorf("the year asked for starts on %v", r.YearStart)
	}

	// Another year than the one measured is two draws of a year away.
	this := estimate(t, []analysis.Series{mustSeries(t, "", whole)}, Options{})
	next := estimate(t, []analysis.Series{mustSeries(t, "", whole)}, Options{YearFrom: date(2025, 1, 1)})
	if analysis.HasNote(this.Notes, "year-not-measured") || !analysis.HasNote(next.Notes, "year-not-measured") {
		t.Errorf("notes %v and %v", this.Notes, next.Notes)
	}
	if want := temporal.BuiltIn(false).YearSD * math.Sqrt2; next.LogSpread < want || next.LogSpread > 1.2*want {
		t.Errorf("next year is known to %v, want a little over %v", next.LogSpread, want)
	}
}

// TestReference holds bands, factors and the built-in profile to published and
// working tables.
func TestReference(t *testing.T) {
	// A single corrected three-month result with a scatter of GSD 1.36 (Cliff,
	// Miles and Naismith, Radiat. Prot. Dosim.) at level 200, 90 % one-sided,
	// settles nothing between 135 and 297; published practice is 130 to 300.
	// The rest is the same arithmetic for other GSDs and confidences.
	for _, c := range []struct{ gsd, confidence, lower, upper float64 }{
		{1.36, .90, 135, 297}, {1.10, .95, 171, 234}, {1.20, .95, 148, 270}, {1.25, .95, 139, 289}, {1.36, .95, 121, 332}, {1.50, .95, 103, 390},
		{1.80, .95, 76, 526}, {1.10, .90, 177, 226}, {1.20, .90, 158, 253}, {1.25, .90, 150, 266}, {1.50, .90, 119, 336}, {1.80, .90, 94, 425},
	} {
		lower, upper := Band(200, c.gsd, c.confidence)
		if math.Abs(lower-c.lower) > .5 || math.Abs(upper-c.upper) > .6 {
			t.Errorf("GSD %v at %v: band %.1f to %.1f, want %v to %v", c.gsd, c.confidence, lower, upper, c.lower, c.upper)
		}
	}

	// The working table for the scatter of the year about the corrected result,
	// over all seasons, detectors' own error aside. Sources of its rows: the doc
	// comment of temporal.BuiltIn.
	for _, c := range []struct {
		days         int
		lower, upper float64
	}{{2, 1.7, 1.9}, {3, 1.6, 1.9}, {7, 1.45, 1.57}, {10, 1.4, 1.55}, {30, 1.33, 1.47}, {90, 1.25, 1.36}, {180, 1.10, 1.20}} {
		v := 0.0
		for month := range 12 {
			h := temporal.Home{Detectors: []float64{0}, Rooms: 1}
			start := temporal.Day(date(2024, time.Month(1+month), 15), time.UTC)
			for d := range c.days {
				h.Observations = append(h.Observations, temporal.Observation{First: start + d, Last: start + d, FirstShare: 1, LastShare: 1, Log: 5})
			}
			h.From = start + c.days/2 - 182
			h.To = h.From + 365
			post, err := temporal.BuiltIn(false).Posterior(h)
			if err != nil {
				t.Fatal(err)
			}
			v += post.LogSD * post.LogSD / 12
		}
		if gsd := math.Exp(math.Sqrt(v)); gsd < c.lower || gsd > c.upper {
			t.Errorf("%d days: the built-in profile scatters by GSD %.3f, want %v to %v", c.days, gsd, c.lower, c.upper)
		} else {
			t.Logf("%d days: GSD %.3f", c.days, gsd)
		}
	}

	// The seasonal model tables: a cosine of relative amplitude a that peaks in
	// mid-January, a = 0.40 from Pinel et al. 1995, 0.23 from Baysson et al. 2003;
	// factors by start month for tests of 1, 3 and 6 months. The profile's season
	// is a log, so the cosine enters by its first two log harmonics (the third is
	// 2r³/3 = 0.6 % at a = 0.40); the tables take months as twelfths of a year.
	for _, c := range []struct {
		a      float64
		months int
		want   [12]float64
	}{
		{.40, 1, [12]float64{.72, .74, .83, 1.00, 1.25, 1.52, 1.65, 1.52, 1.25, 1.00, .83, .74}},
		{.40, 3, [12]float64{.76, .85, 1.00, 1.22, 1.45, 1.56, 1.45, 1.22, 1.00, .85, .76, .74}},
		{.40, 6, [12]float64{.94, 1.07, 1.22, 1.33, 1.33, 1.22, 1.07, .94, .85, .80, .80, .85}},
		{.23, 1, [12]float64{.81, .84, .90, 1.00, 1.13, 1.25, 1.29, 1.25, 1.13, 1.00, .90, .84}},
		{.23, 3, [12]float64{.85, .91, 1.00, 1.12, 1.22, 1.26, 1.22, 1.12, 1.00, .91, .85, .83}},
		{.23, 6, [12]float64{.96, 1.04, 1.12, 1.16, 1.16, 1.12, 1.04, .96, .91, .88, .88, .91}},
	} {
		p := temporal.BuiltIn(false)
		r := (1 - math.Sqrt(1-c.a*c.a)) / c.a // ln(1 + a cos θ) = const + 2r cos θ − r² cos 2θ + …
		// Mid-January, in the phase of 1970; 365.25/24 days is half a month.
		phase := 2 * math.Pi * (365.25 / 24) / 365.25
		p.Season.Mean = [4]float64{2 * r * math.Cos(phase), 2 * r * math.Sin(phase), -r * r * math.Cos(2*phase), -r * r * math.Sin(2*phase)}
		for month, want := range c.want {
			from := date(2023, time.Month(1+month), 1)
			to := from.AddDate(0, c.months, 0)
			s := passive(t, "a", from, int(to.Sub(from).Hours()/24), 100, 0, false)
			got := estimate(t, []analysis.Series{s}, Options{Profile: p}).SeasonFactor
			if math.Abs(got-want) > 0.025 {
				t.Errorf("a %v, %d months from %s: factor %.3f, want %.2f", c.a, c.months, from.Format("January"), got, want)
			}
		}
	}

	// 1 pCi/L = 37 Bq/m³, exactly; the default level is 5.4 pCi/L.
	if analysis.BqPerPCi != 37 || fmt.Sprintf("%.1f", DefaultLevel/analysis.BqPerPCi) != "5.4" {
		t.Error("1 pCi/L is 37 Bq/m³")
	}

	// Common practice, no source: a seven-day mean near 180 does not settle a
	// level of 200 ...
	week := func(from time.Time, c float64) []analysis.Series {
		var rs []analysis.Reading
		for d := range 7 {
			rs = append(rs, analysis.Reading{Start: from.AddDate(0, 0, d), End: from.AddDate(0, 0, d+1), Concentration: c * (1 + 0.1*float64(d%3-1))})
		}
		s, err := analysis.NewSeries(analysis.Place{Home: "h"}, time.UTC, rs)
		if err != nil {
			t.Fatal(err)
		}
		return []analysis.Series{s}
	}
	for month := time.January; month <= time.December; month++ {
		if v := estimate(t, week(date(2025, month, 3), 180), Options{}).Above[0].Verdict; v != NotConclusive {
			t.Errorf("a week at 180 in %v is called %q against 200", month, v)
		}
		// ... and a week at 15, after a suction system was switched on, settles that
		// the home is now below 200, and below a target of 50.
		r := estimate(t, week(date(2025, month, 3), 15), Options{Levels: []float64{200, 50}})
		if r.Above[0].Verdict != Below || r.Above[1].Verdict != Below {
			t.Errorf("a week at 15 in %v: %v", month, r.Above)
		}
	}
}

// TestJudge: the band of inconclusive readings is where the verdict changes, and
// further days promise what the later verdicts show.
func TestJudge(t *testing.T) {
	home := func(c float64) []analysis.Series {
		return []analysis.Series{passive(t, "a", date(2026, 1, 10), 7, c, .1*c, false)}
	}
	for _, opt := range []Options{{}, {AreaPrior: &Prior{GM: 60, GSD: 2.4}}, {Confidence: .8, Target: LongRun}} {
		j, err := Judge(home(165), 200, opt)
		if err != nil {
			t.Fatal(err)
		}
		if j.Verdict != NotConclusive || !(j.BandLower < 165 && 165 < j.BandUpper) {
			t.Fatalf("165 against 200: %v, band %v to %v", j.Verdict, j.BandLower, j.BandUpper)
		}
		for _, c := range []struct {
			value float64
			want  Verdict
		}{{j.BandLower * .999, Below}, {j.BandLower * 1.001, NotConclusive}, {j.BandUpper * .999, NotConclusive}, {j.BandUpper * 1.001, Above}} {
			opt.Levels = []float64{200}
			if got := estimate(t, home(c.value), opt).Above[0].Verdict; got != c.want {
				t.Errorf("a reading of %.2f is %q, the band %.2f to %.2f says %q", c.value, got, j.BandLower, j.BandUpper, c.want)
			}
		}
		for i, f := range j.Further {
			if f.Chance < 0 || f.Chance > 1 || f.ChanceAbove > f.Chance || i > 0 && f.UpperRatio > j.Further[i-1].UpperRatio {
				t.Errorf("further days: %+v", j.Further)
			}
		}
	}
	if j, err := Judge(home(20), 200, Options{}); err != nil || j.DaysFor80 != 0 || j.Verdict != Below {
		t.Errorf("20 against 200: %+v, %v", j, err)
	}
	if j, err := Judge(home(199), 200, Options{Target: LongRun, Confidence: .99}); err != nil || j.DaysFor80 != -1 {
		t.Errorf("199 against 200 in the long run: 80 %% after %d days, %v", j.DaysFor80, err)
	}
}

// TestJudgeByHand: a home whose day means scatter about its level by 0.5 and
// nothing else. After n days ln A is known to s² = 0.25/n + g², g the calibration,
// and the later centre moves by the root of the difference.
func TestJudgeByHand(t *testing.T) {
	p := still()
	p.Drift[0].Variance, p.DayNoise = 0, 0.5
	p.Calibration = []temporal.Calibration{{Days: 4, Factor: 1.2}, {Days: 16, Factor: 1}, {Days: 64, Factor: .9}}
	var rs []analysis.Reading
	for d := range 4 {
		rs = append(rs, analysis.Reading{Start: date(2024, 1, 1+d), End: date(2024, 1, 2+d), Concentration: 150})
	}
	const level, confidence, calibration = 220, .9, .04
	j, err := Judge([]analysis.Series{mustSeries(t, "", rs)}, level, Options{Profile: p, Confidence: confidence, Calibration: calibration})
	if err != nil {
		t.Fatal(err)
	}
	normal := distuv.UnitNormal
	g := math.Log1p(calibration * calibration)
	s := func(n, k float64) float64 { return math.Sqrt(k*k*.25/n + g) }
	z := normal.Quantile(confidence) // one-sided: a verdict is about one side
	m := math.Log(150.0 / level)
	near(t, "P(above)", j.Probability, normal.CDF(m/s(4, 1.2)), 1e-3)
	near(t, "lower end of the band", j.BandLower, level*math.Exp(-z*s(4, 1.2)), 1e-3)
	near(t, "upper end of the band", j.BandUpper, level*math.Exp(z*s(4, 1.2)), 1e-3)
	for _, f := range j.Further {
		if f.Days == 60 { // 64 in all
			move := math.Sqrt(math.Pow(s(4, 1.2), 2) - math.Pow(s(64, .9), 2))
			up := normal.CDF((m - z*s(64, .9)) / move)
			near(t, "chance of above", f.ChanceAbove, up, 1e-2)
			near(t, "chance", f.Chance, up+normal.CDF((-m-z*s(64, .9))/move), 1e-3)
			near(t, "upper limit", f.UpperRatio, math.Exp(normal.Quantile((1+confidence)/2)*s(64, .9)), 1e-3)
		}
	}
	// The fewest days with a chance of 80 %, by trying each.
	h, err := prepare([]analysis.Series{mustSeries(t, "", rs)}, Options{Profile: p, Confidence: confidence, Calibration: calibration})
	if err != nil {
		t.Fatal(err)
	}
	for d := 1; d <= j.DaysFor80; d++ {
		f, err := h.after(d, level)
		if err != nil || (f.Chance >= .8) != (d == j.DaysFor80) {
			t.Errorf("%v: %d days have a chance of %v, and %d are called the fewest", err, d, f.Chance, j.DaysFor80)
		}
	}
	if j.DaysFor80 < 9 {
		t.Errorf("%d days are too few for this to be a test", j.DaysFor80)
	}
}

// TestFurtherIsLater: how sure one will be is how sure one then is, whatever is
// read: the year moves with the test, and a monitor that follows an integrating
// result is another instrument.
func TestFurtherIsLater(t *testing.T) {
	from := date(2026, 1, 10)
	all := log(37, from, 4)[0].Readings()
	monitor := func(rs []analysis.Reading) []analysis.Series { return []analysis.Series{mustSeries(t, "", rs)} }
	result := passive(t, "p", from, 7, 150, 15, false)
	for _, c := range []struct {
		name        string
		short, long []analysis.Series
		exact       float64
	}{
		// The linearisation of the integrating result shifts with what is read.
		{"monitor", monitor(all[:7]), monitor(all), 1e-2},
		{"integrating", []analysis.Series{result}, []analysis.Series{result, mustSeries(t, "", all[7:])}, 1e-2},
	} {
		p := temporal.BuiltIn(false)
		p.Calibration = []temporal.Calibration{{Days: 7, Factor: 1.3}, {Days: 37, Factor: 1.1}}
		j, err := Judge(c.short, 200, Options{Profile: p})
		if err != nil {
			t.Fatal(err)
		}
		r := estimate(t, c.long, Options{Profile: p})
		for _, f := range j.Further {
			if f.Days == 30 {
				near(t, c.name, math.Log(f.UpperRatio), math.Log(r.AnnualMean.Upper/r.AnnualMean.Value), c.exact)
			}
		}
	}
}

// TestFirmPrior: where homes of an area hardly differ, no short test shows one to
// be below, however low it reads, and the band has no lower end.
func TestFirmPrior(t *testing.T) {
	for _, p := range []Prior{{50, 2}, {90, 1.8}, {150, 1.3}} {
		j, err := Judge([]analysis.Series{passive(t, "a", date(2026, 1, 10), 2, 300, 30, false)}, 200, Options{AreaPrior: &p})
		if err != nil || !(j.BandLower < j.BandUpper) {
			t.Errorf("300 with %+v: band %v to %v, %v", p, j.BandLower, j.BandUpper, err)
		}
	}
	j, err := Judge([]analysis.Series{passive(t, "a", date(2026, 1, 10), 2, 100, 10, false)}, 200, Options{AreaPrior: &Prior{GM: 199, GSD: 1.01}})
	if err != nil || j.BandLower != 0 || j.BandUpper < 1000 || math.IsInf(j.BandUpper, 0) {
		t.Errorf("band %v to %v, %v", j.BandLower, j.BandUpper, err)
	}
}

// TestFurtherAgainstSlow draws years from the model, continues the tests, and
// counts how often the longer test is conclusive.
func TestFurtherAgainstSlow(t *testing.T) {
	p := temporal.BuiltIn(false)
	first := temporal.Day(date(2025, 2, 1), time.UTC)
	const short, more = 7, 60
	rng := rand.New(rand.NewPCG(5, 5))
	chance, hits, n := 0.0, 0.0, 0.0
	for range 250 {
		x := draw(p, first, short+more, rng)
		home := func(days int) []analysis.Series {
			var rs []analysis.Reading
			for d := range days {
				s := temporal.Date(first+d, time.UTC)
				rs = append(rs, analysis.Reading{Start: s, End: s.AddDate(0, 0, 1), Concentration: x[d]})
			}
			s, err := analysis.NewSeries(analysis.Place{Home: "h"}, time.UTC, rs)
			if err != nil {
				t.Fatal(err)
			}
			return []analysis.Series{s}
		}
		// The levels are set about the short test, so that all is possible.
		r := estimate(t, home(short), Options{})
		level := r.AnnualMean.Value * math.Exp(0.35*rng.NormFloat64())
		h, err := prepare(home(short), Options{Levels: []float64{level}})
		if err != nil {
			t.Fatal(err)
		}
		f, err := h.after(more, level)
		if err != nil {
			t.Fatal(err)
		}
		chance += f.Chance
		if estimate(t, home(short+more), Options{Levels: []float64{level}}).Above[0].Verdict != NotConclusive {
			hits++
		}
		n++
	}
	se := math.Sqrt(n * .25)
	t.Logf("promised %.1f of %v conclusive, saw %v", chance, n, hits)
	if math.Abs(hits-chance) > 4*se {
		t.Errorf("promised %.1f of %v conclusive, saw %v", chance, n, hits)
	}
}

// draw is a home's days from the model: the flat level drawn about the level of
// no interest, since levels are set relative to it.
func draw(p *temporal.Profile, first, days int, rng *rand.Rand) []float64 {
	var beta [temporal.Harmonics]float64
	for i := range beta {
		beta[i] = p.Season.Mean[i] + math.Sqrt(p.Season.Cov[i][i])*rng.NormFloat64()
	}
	state := make([]float64, len(p.Drift))
	for i, c := range p.Drift {
		state[i] = math.Sqrt(c.Variance) * rng.NormFloat64()
	}
	gain := math.Sqrt(math.Log1p(temporal.DefaultCalibration*temporal.DefaultCalibration)) * rng.NormFloat64()
	out := make([]float64, days)
	for d := range out {
		x := 5 + gain + p.DayNoise*rng.NormFloat64()
		for i, r := range temporal.Regressors(first + d) {
			x += beta[i] * r
		}
		for i, c := range p.Drift {
			if d > 0 {
				ph := math.Exp(-1 / c.Days)
				state[i] = ph*state[i] + math.Sqrt(c.Variance*(1-ph*ph))*rng.NormFloat64()
			}
			x += state[i]
		}
		out[d] = math.Exp(x)
	}
	return out
}

// TestDeadDetector: zeros of a detector that died are days nobody measured. They
// neither lower the mean nor make a verdict.
func TestDeadDetector(t *testing.T) {
	series := func(alive, dead int) []analysis.Series {
		var rs []analysis.Reading
		for d := range alive + dead {
			c := 500.0
			if d >= alive {
				c = 0
			}
			s := date(2024, 1, 1).AddDate(0, 0, d)
			rs = append(rs, analysis.Reading{Start: s, End: s.AddDate(0, 0, 1), Concentration: c})
		}
		s, err := analysis.NewSeries(analysis.Place{Home: "h"}, time.UTC, rs)
		if err != nil {
			t.Fatal(err)
		}
		return []analysis.Series{s}
	}
	a, b := estimate(t, series(120, 0), Options{}), estimate(t, series(120, 245), Options{})
	if a.AnnualMean.Value != b.AnnualMean.Value || a.RawMean != b.RawMean || b.RawMean != 500 || b.DaysMeasured != 120 || b.Above[0].Verdict != Above {
		t.Errorf("120 days at 500 give %v (%v), with 245 days of zero %v (%v), %v days", a.AnnualMean.Value, a.Above[0].Verdict, b.AnnualMean.Value, b.Above[0].Verdict, b.DaysMeasured)
	}
	if !analysis.HasNote(b.Notes, "zero-days") || analysis.HasNote(a.Notes, "zero-days") {
		t.Error("the note on zero days is missing, or given without any")
	}
	if _, err := Estimate(series(0, 100), Options{}); err == nil {
		t.Error("a detector that was dead all the time gave an annual mean")
	}
}

// TestErrors: what cannot be answered is refused in words.
func TestErrors(t *testing.T) {
	good := []analysis.Series{passive(t, "a", date(2024, 1, 1), 30, 100, 0, false)}
	other := good[0]
	other.Home = "another"
	for name, f := range map[string]func() error{
		"no series":        func() error { _, err := Estimate(nil, Options{}); return err },
		"two homes":        func() error { _, err := Estimate([]analysis.Series{good[0], other}, Options{}); return err },
		"negative level":   func() error { _, err := Estimate(good, Options{Levels: []float64{-1}}); return err },
		"confidence of 95": func() error { _, err := Estimate(good, Options{Confidence: 95}); return err },
		"prior GSD of 1":   func() error { _, err := Estimate(good, Options{AreaPrior: &Prior{50, 1}}); return err },
		"no such target":   func() error { _, err := Estimate(good, Options{Target: 7}); return err },
		"calibration of 5": func() error { _, err := Estimate(good, Options{Calibration: 5}); return err },
		"level of zero":    func() error { _, err := Judge(good, 0, Options{}); return err },
	} {
		if err := f(); err == nil || len(err.Error()) < 10 {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// FuzzEstimate: whatever a detector says, the answer is a checked estimate or an error.
func FuzzEstimate(f *testing.F) {
	f.Add(100.0, 10.0, 7.0, false, 120.0, 0.0)
	f.Add(1e-300, 0.0, 1.0, false, 1e300, 1e299)
	f.Add(0.0, 0.0, 400.0, false, 0.0, 0.0)
	f.Add(5.0, 1e9, 2000.0, true, 5.0, 0.0)
	f.Add(100.0, 0.001, 30.0, false, 1.0, 0.001)
	f.Fuzz(func(t *testing.T, a, ua, days float64, below bool, b, ub float64) {
		if !(days > 0.02 && days < 3000) {
			return
		}
		end := date(2024, 2, 1).Add(time.Duration(days * 24 * float64(time.Hour)))
		var home []analysis.Series
		for i, r := range []analysis.Reading{
			{Start: date(2024, 2, 1), End: end, Concentration: a, Uncertainty: ua, BelowLimit: below},
			{Start: date(2024, 2, 10), End: date(2024, 2, 11), Concentration: b, Uncertainty: ub},
		} {
			s, err := analysis.NewSeries(analysis.Place{Home: "h", Detector: fmt.Sprint(i)}, time.UTC, []analysis.Reading{r})
			if err != nil {
				return
			}
			home = append(home, s)
		}
		for _, h := range [][]analysis.Series{home, home[:1], home[1:], slices.Concat(home, home[:1])} {
			r, err := Estimate(h, Options{})
			if err != nil {
				continue
			}
			if err := r.AnnualMean.Check(); err != nil {
				t.Error(err)
			}
			for _, x := range []float64{r.RawMean, r.SeasonFactor, r.DaysMeasured, r.YearShare, r.LogSpread, r.Above[0].Probability} {
				if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
					t.Errorf("a result holds %v: %+v", x, r)
				}
			}
		}
	})
}

// TestRestless: where a home's own days vary far more than the profile's homes,
// the days not measured do so too, and no plain mean is called below.
func TestRestless(t *testing.T) {
	days := func(n int, c func(d int) float64) []analysis.Series {
		var rs []analysis.Reading
		for d := range n {
			s := date(2024, 3, 1).AddDate(0, 0, d)
			rs = append(rs, analysis.Reading{Start: s, End: s.AddDate(0, 0, 1), Concentration: c(d)})
		}
		return []analysis.Series{mustSeries(t, "", rs)}
	}
	week := func(d int) float64 { // 250 on the mean
		if d%7 > 4 {
			return 800
		}
		return 30
	}
	fan := func(d int) float64 { // switched half way, and nobody said so
		if d < 15 {
			return 400
		}
		return 20
	}
	for _, c := range []struct {
		name string
		home []analysis.Series
		raw  float64
	}{{"two weeks of five low days and two high", days(14, week), 250}, {"half a year of them", days(182, week), 250}, {"a fan switched half way", days(30, fan), 210}} {
		r := estimate(t, c.home, Options{})
		if r.Above[0].Verdict != NotConclusive || r.AnnualMean.Lower > c.raw || r.AnnualMean.Upper < c.raw || !analysis.HasNote(r.Notes, "restless-home") {
			t.Errorf("%s: %.0f to %.0f, %v; notes %v", c.name, r.AnnualMean.Lower, r.AnnualMean.Upper, r.Above, r.Notes)
		}
	}
	// Homes of the model are seldom called restless, and quiet ones never.
	rng := rand.New(rand.NewPCG(8, 8))
	p := temporal.BuiltIn(false)
	first := temporal.Day(date(2024, 3, 1), time.UTC)
	restless := 0
	for range 200 {
		x := draw(p, first, 30, rng)
		if analysis.HasNote(estimate(t, days(30, func(d int) float64 { return x[d] }), Options{}).Notes, "restless-home") {
			restless++
		}
	}
	if restless > 6 {
		t.Errorf("%d of 200 homes of the model are called restless", restless)
	}
	if analysis.HasNote(estimate(t, days(30, func(d int) float64 { return 100 + float64(d%2) }), Options{}).Notes, "restless-home") {
		t.Error("a quiet home is called restless")
	}
}
