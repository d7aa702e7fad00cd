package trend

import (
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"radonyear/analysis"
	"radonyear/analysis/temporal"
)

func days(values ...float64) (out []Day) {
	for i, v := range values {
		out = append(out, Day{20000 + i, v})
	}
	return out
}

func repeat(n int, v ...float64) (out []float64) {
	for i := range n {
		out = append(out, v[i%len(v)])
	}
	return out
}

// still is a profile without a season, whose days scatter by 0.1 and are alike else.
func still() *temporal.Profile {
	p := temporal.BuiltIn(false)
	p.Season = temporal.Season{}
	p.Drift = []temporal.Component{{Days: 0.05, Variance: 0.01}}
	p.DayNoise, p.YearSD = 0, 0
	return p
}

// TestByHand: twenty days of 50 are usual, z = 0; then days of 100, so z = ln 2. The
// EWMA is 0.15 ln 2, then (0.15 + 0.85·0.15) ln 2; the CUSUM adds ln 2 − ln(2)/2 a
// day, and began on the first of them. Two days later the level is back.
func TestByHand(t *testing.T) {
	v := append(repeat(20, 50), repeat(30, 50)...)
	v = append(v, repeat(20, 100)...)
	d := days(v...)
	r, err := Watch(append(d[40:], d[:40]...), Options{Profile: still(), BaselineDays: 20, Ratio: 1})
	if err != nil {
		t.Fatal(err)
	}
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-12 {
			t.Errorf("%s: %v, want %v", what, got, want)
		}
	}
	near("GM", r.GM, 50)
	p := r.Points[30:]
	near("first EWMA", p[0].EWMA, 0.15*math.Ln2)
	near("second EWMA", p[1].EWMA, (0.15+0.85*0.15)*math.Ln2)
	near("first CUSUM", p[0].CUSUM, math.Ln2/2)
	near("second CUSUM", p[1].CUSUM, math.Ln2)
	if r.State != Alarm || r.Alarm == nil || r.Alarm.Start != 20050 || r.Alarm.Day < 20050 || r.Alarm.Day > 20055 {
		t.Fatalf("%v %+v", r.State, r.Alarm)
	}
	near("rise", r.Alarm.Ratio.Value, 2)
	if e := r.Alarm.Ratio.Check(); e != nil || r.Alarm.Ratio.Lower < 1.5 {
		t.Errorf("%v %v", e, r.Alarm.Ratio)
	}
	// The level back for a month after.
	if r, err = Watch(days(append(v, repeat(40, 50, 51)...)...), Options{Profile: still(), BaselineDays: 20, Ratio: 1}); err != nil || r.State != Recovered || r.Alarm == nil || r.Alarm.End != 20070+13 {
		t.Errorf("%v %+v %v", r.State, r.Alarm, err) // the mirror gains ln(2)/2 a day, far more than the limit in the fourteen days that it takes
	}
	if r, err = Watch(days(repeat(300, 50, 51, 49)...), Options{Profile: still(), Ratio: 1}); err != nil || r.State != Quiet || r.Alarm != nil || r.Days != 90 || r.Watched != 210 {
		t.Errorf("quiet: %v %v %v", r.State, r.Alarm, err)
	}
}

// TestPublished: run lengths of independent normal days. To the simulated limits it
// is what was asked for; of the CUSUM with textbook limits it is what is in print.
func TestPublished(t *testing.T) {
	// Run lengths of an independent chart at the limits the method gives, years asked.
	for _, years := range []float64{2, 5} {
		opt := Options{Profile: still(), Ratio: 1, FalseAlarmYears: years, Paths: 4000, BaselineDays: 365}
		d := make([]float64, 400)
		r := rand.New(rand.NewPCG(1, 2))
		for i := range d {
			d[i] = 50 * math.Exp(0.1*r.NormFloat64())
		}
		w, err := Watch(days(d...), opt)
		if err != nil {
			t.Fatal(err)
		}
		sd := 0.1 * math.Sqrt(w.Scale) // of a day, the scale being the home's
		alarms, total := 0.0, 0.0
		for range 400 {
			var c charts
			for n := 1; n <= 20000; n++ {
				c.step(sd*r.NormFloat64(), math.Ln2/2)
				total++
				if c.over(w.EWMALimit, w.CUSUMLimit) {
					alarms++
					break
				}
			}
		}
		run := total / alarms / 365.25
		// The walk knows its level exactly, the chart had a year's baseline to learn it.
		if run < 0.75*years || run > 1.6*years {
			t.Errorf("asked for %g years: one alarm in %.2f", years, run)
		}
		// Hitting time of the same chart after a doubling: sure on the second day or
		// third, as (0.15 + 0.1275) ln 2 is three of its standard deviations.
		if got := w.Detect[0]; got.Shift != 2 || got.Median > 3 || got.Seen != 1 {
			t.Errorf("delay %+v", got)
		}
	}
	// A one-sided CUSUM of k = ½ and h = 4 runs for 336 days without a shift and 8.38
	// after one of a standard deviation; with h = 5, 930 and 10.4 (Montgomery,
	// Introduction to Statistical Quality Control, after Hawkins and van Dobben de Bruyn;
	// from memory: the one-sided run length is twice the 168 and 465 of two sides).
	r := rand.New(rand.NewPCG(3, 4))
	for _, p := range []struct{ h, shift, run float64 }{{4, 0, 336}, {4, 1, 8.38}, {5, 0, 930}, {5, 1, 10.4}} {
		total := 0.0
		const runs = 3000
		for range runs {
			var c charts
			for !c.over(math.Inf(1), p.h) {
				c.step(p.shift+r.NormFloat64(), 0.5)
				total++
			}
		}
		if got := total / runs; math.Abs(got/p.run-1) > 0.07 { // four standard errors of the mean of exponentials
			t.Errorf("h %g, shift %g: run length %.1f, in print %g", p.h, p.shift, got, p.run)
		}
	}
	// An EWMA of λ = 0.15 has the variance λ/(2 − λ) of a day's (Roberts 1959).
	var c charts
	var v, n float64
	for i := range 200000 {
		c.step(r.NormFloat64(), 0)
		if i > 100 {
			v += c.ewma * c.ewma
			n++
		}
	}
	if got := v / n; math.Abs(got/(0.15/1.85)-1) > 0.04 {
		t.Errorf("variance of the EWMA %v, not %v", got, 0.15/1.85)
	}
}

// TestAgain: after two weeks back to usual both charts begin anew, a small wobble is no
// alarm, and a second failure has its own dates.
func TestAgain(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	var v []float64
	add := func(n int, level float64) {
		for range n {
			v = append(v, level*math.Exp(0.1*r.NormFloat64()))
		}
	}
	watch := func() Result {
		t.Helper()
		w, err := Watch(days(v...), Options{Profile: still(), BaselineDays: 40, Ratio: 0.3, FalseAlarmYears: 50})
		if err != nil {
			t.Fatal(err)
		}
		return w
	}
	add(60, 50)
	add(20, 150)
	add(40, 50)
	add(15, 52)
	w := watch()
	if w.State != Recovered || w.Alarm.Start != 20060 || w.Alarm.End < 20088 || math.Abs(w.Alarm.Ratio.Value-3) > 0.3 || len(w.Earlier) != 0 {
		t.Fatalf("%v %+v", w.State, w.Alarm)
	}
	add(20, 200)
	if w = watch(); w.State != Alarm || w.Alarm.Start < 20130 || w.Alarm.Day < 20135 || len(w.Earlier) != 1 || w.Earlier[0].Start != 20060 {
		t.Fatalf("%v %+v %+v", w.State, w.Alarm, w.Earlier)
	}
}

// TestStart: a rise is dated by where the days step up, not by where the CUSUM last
// stood at zero. This home's days are half as high again from the hundred and seventieth day on, too
// little for an alarm, and five times as high from the two hundredth.
func TestStart(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	v := make([]float64, 210)
	for i := range v {
		v[i] = 50 * math.Exp(0.3*r.NormFloat64())
		switch {
		case i >= 200:
			v[i] *= 5
		case i >= 170:
			v[i] *= 1.5
		}
	}
	w, err := Watch(days(v...), Options{BaselineDays: 30, FalseAlarmYears: 20})
	if err != nil || w.Alarm == nil || w.Earlier != nil || w.Alarm.Start != 20200 {
		t.Fatalf("%+v %+v %v", w.Alarm, w.Earlier, err)
	}
	zero := 0
	for _, p := range w.Points {
		if p.CUSUM == 0 && p.Day < w.Alarm.Day {
			zero = p.Day
		}
	}
	if zero > 20185 {
		t.Errorf("the CUSUM stood at zero on day %d, so that this shows nothing", zero)
	}
}

// TestAgainstSlow: the day of the best step is that by solving for each in full.
func TestAgainstSlow(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	p := temporal.BuiltIn(false)
	for range 20 {
		w := &watch{model: newModel(p, 0.1+0.9*r.Float64())}
		day := 20000
		n := 5 + r.IntN(40)
		up := r.IntN(n)
		for i := range n {
			day += 1 + r.IntN(3)
			z := 0.4 * r.NormFloat64()
			if i >= up {
				z++
			}
			w.points = append(w.points, Point{Day: day, Z: z})
		}
		cov, z := mat.NewDense(n, n, nil), mat.NewVecDense(n, nil)
		for i := range n {
			z.SetVec(i, w.points[i].Z)
			for j := range n {
				cov.Set(i, j, w.model.covariance(w.points[i].Day, w.points[j].Day))
			}
			cov.Set(i, i, cov.At(i, i)+1e-6)
		}
		best, want := math.Inf(-1), 0
		for s := range n {
			step, x := mat.NewVecDense(n, nil), mat.NewVecDense(n, nil)
			for i := s; i < n; i++ {
				step.SetVec(i, 1)
			}
			if err := x.SolveVec(cov, step); err != nil {
				t.Fatal(err)
			}
			if g := mat.Dot(x, z) / math.Sqrt(mat.Dot(x, step)); g > best {
				best, want = g, w.points[s].Day
			}
		}
		if got := w.began(); got != want {
			t.Errorf("day %d, slowly %d", got, want)
		}
	}
}

// TestProperties: a unit changes nothing but the level, order nothing at all, and
// asking for fewer false alarms never brings an alarm forward.
func TestProperties(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	v := make([]float64, 300)
	for i := range v {
		v[i] = 40 * math.Exp(0.3*r.NormFloat64())
		if i > 200 {
			v[i] *= 4
		}
	}
	base, err := Watch(days(v...), Options{})
	if err != nil {
		t.Fatal(err)
	}
	mixed := days(v...)
	r.Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
	if again, err := Watch(mixed, Options{}); err != nil || !reflect.DeepEqual(again, base) {
		t.Error("order matters")
	}
	scaled := days(v...)
	for i := range scaled {
		scaled[i].Mean *= 37
	}
	if again, err := Watch(scaled, Options{}); err != nil || math.Abs(again.GM/base.GM-37) > 1e-9 || again.Alarm.Day != base.Alarm.Day || math.Abs(again.Alarm.Ratio.Value-base.Alarm.Ratio.Value) > 1e-9 {
		t.Error("the unit matters")
	}
	last := base.Alarm.Day
	for _, years := range []float64{10, 20} {
		w, err := Watch(days(v...), Options{FalseAlarmYears: years})
		if err != nil || w.Alarm == nil || w.Alarm.Day < last || w.EWMALimit < base.EWMALimit {
			t.Errorf("%g years: %+v %v", years, w.Alarm, err)
			continue
		}
		last = w.Alarm.Day
	}
}

// TestOver: an earlier monitor's twenty days of 50 and a later one's of 100 are a ratio of
// 2. In a home whose days scatter by a variance of 0.01, each of its own, the means of
// twenty vary by 0.01/20, and ln(1 + 0.05²) is what 5 % of calibration adds, each twice.
// What does not matter is when they were measured; with a season it does.
func TestOver(t *testing.T) {
	opt := Options{Profile: still(), BaselineDays: 20, Ratio: 1}
	see := func(from int, value float64, opt Options) Result {
		d := days(repeat(21, value)...)
		for i := range d {
			d[i].Day += from
		}
		r, err := Watch(d, opt)
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	half := 1.959963984540054 * math.Sqrt(2*0.01/20+2*math.Log(1+0.05*0.05))
	for _, from := range []int{30, 300} {
		e := see(from, 100, opt).Over(see(0, 50, opt))
		if err := e.Check(); err != nil {
			t.Fatal(err)
		}
		for k, want := range []float64{2, 2 * math.Exp(-half), 2 * math.Exp(half)} {
			if got := []float64{e.Value, e.Lower, e.Upper}[k]; math.Abs(got-want) > 1e-9 {
				t.Errorf("%d days later: %v, not %v", from, got, want)
			}
		}
	}
	// The expected season alone: October and January are no ratio of 2.
	seasonal := still()
	seasonal.Season.Mean = temporal.BuiltIn(false).Season.Mean
	opt.Profile = seasonal
	m := newModel(seasonal, 1)
	season := 0.0
	for i := range 20 {
		season += (m.season(20091+i) - m.season(20000+i)) / 20
	}
	if e := see(91, 100, opt).Over(see(0, 50, opt)); math.Abs(season) < 0.1 || math.Abs(math.Log(e.Value)-math.Ln2+season) > 1e-9 {
		t.Errorf("with a season of %v: %v", season, e.Value)
	}
	// More confidence is never narrower, and other units change nothing.
	opt.Confidence = 0.99
	a, b := see(30, 100, opt).Over(see(0, 50, opt)), see(30, 3700, opt).Over(see(0, 1850, opt))
	if a.Confidence != 0.99 || math.Log(a.Upper/a.Lower) <= 2*half || math.Abs(a.Upper/b.Upper-1) > 1e-9 {
		t.Errorf("%+v, %+v", a, b)
	}
}

// TestFit: days whose variance is a hundredth of the model's are taken to have a quarter,
// and such with nine hundred times sixteen; the slow drift has the root of what is above 1
// and is left alone under it. What is said of the formula names these bounds.
func TestFit(t *testing.T) {
	for _, c := range []struct{ spread, scale, slow float64 }{{0.1, 0.25, 1}, {30, 16, 2}} {
		m := newModel(still(), 1)
		m.profile.Drift = []temporal.Component{{Days: 0.05, Variance: 0.005}, {Days: 1e9, Variance: 1}}
		step := c.spread * math.Sqrt(2*0.005) // of the log from a day to the next
		m.fit(days(repeat(1000, 50, 50*math.Exp(step))...))
		if math.Abs(m.scale-c.scale) > 1e-12 || math.Abs(m.slow-c.slow) > 1e-12 || math.Abs(m.fast-math.Sqrt(c.scale)) > 1e-12 || math.Abs(m.noise-math.Sqrt(c.scale)) > 1e-12 {
			t.Errorf("spread of %v: %+v", c.spread, m)
		}
	}
	if leastScale != 0.25 || mostScale != 16 || !strings.Contains(Methods[0].Formula, "to a quarter at least and 16 times at most; drifts beyond ten days are scaled by the root of that where it is above 1, and left as they are") {
		t.Error(Methods[0].Formula)
	}
}

// TestInWords: what cannot be watched is an error that says why; notes and their near
// misses.
func TestInWords(t *testing.T) {
	good := days(repeat(200, 50, 45, 60)...)
	for _, c := range []struct {
		days []Day
		opt  Options
		says string
	}{
		{nil, Options{}, "0 days with the system running"},
		{good[:14], Options{}, "14 days with the system running"},
		{days(append(repeat(100, 50), 0)...), Options{}, "has no logarithm"},
		{append(days(repeat(100, 50)...), Day{20003, 40}), Options{}, "two means of one day"},
		{days(append(repeat(100, 50, 45, 60), repeat(30, 37)...)...), Options{}, "the last 30 days are all the same"},
		{good, Options{FalseAlarmYears: 0.01}, "one false alarm"},
		{good, Options{Shift: 1}, "a rise by a factor"},
		{good, Options{Ratio: -1}, "a ratio"},
		{good, Options{Confidence: 2}, "confidence"},
		{good, Options{BaselineDays: 3}, "baseline"},
		{good, Options{Paths: 3}, "paths"},
	} {
		if _, err := Watch(c.days, c.opt); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%q: %v", c.says, err)
		}
	}
	has := func(code string, values []float64, opt Options) bool {
		r, err := Watch(days(values...), opt)
		if err != nil {
			t.Fatal(err)
		}
		return analysis.HasNote(r.Notes, code)
	}
	if !has("short-baseline", repeat(40, 50, 45, 60), Options{}) || has("short-baseline", repeat(80, 50, 45, 60), Options{}) {
		t.Error("short-baseline")
	}
	if !has("restless-home", repeat(200, 10, 200), Options{}) || has("restless-home", repeat(200, 50, 45, 60), Options{}) {
		t.Error("restless-home")
	}
	if _, err := Watch(days(append(repeat(100, 50, 45, 60), repeat(29, 37)...)...), Options{}); err != nil {
		t.Error(err)
	}
	if !has("hardly-lower", repeat(100, 50, 45, 60), Options{Ratio: 0.9}) || has("hardly-lower", repeat(100, 50, 45, 60), Options{Ratio: 0.7}) {
		t.Error("hardly-lower")
	}
	for _, c := range []struct {
		from, gap int
		due       bool
	}{{80, 20, true}, {80, 14, false}, {10, 20, true}, {10, 14, false}} { // the tenth is within the baseline
		d := days(repeat(100, 50, 45, 60)...)
		for i := c.from; i < 100; i++ {
			d[i].Day += c.gap - 1
		}
		if r, err := Watch(d, Options{}); err != nil || analysis.HasNote(r.Notes, "gap") != c.due {
			t.Errorf("gap of %d: %v %v", c.gap, r.Notes, err)
		}
	}
	for _, c := range []struct {
		same int
		due  bool
	}{{7, true}, {6, false}} {
		if has("unchanging", append(repeat(100, 50, 45, 60), repeat(c.same, 37)...), Options{}) != c.due {
			t.Errorf("unchanging: %d days", c.same)
		}
	}
	early := append(repeat(50, 50, 45, 60), repeat(100, 150, 135, 180)...)
	if !has("baseline-kept", early, Options{}) || has("baseline-kept", early, Options{BaselineDays: 20}) || has("baseline-kept", early[:55], Options{}) || has("baseline-kept", repeat(150, 50, 45, 60), Options{}) {
		t.Error("baseline-kept")
	}
	at20 := append(repeat(20, 50, 45, 60), repeat(60, 150, 135, 180)...)
	if !has("start-unknown", at20, Options{BaselineDays: 20}) || has("start-unknown", early, Options{BaselineDays: 20}) {
		t.Error("start-unknown")
	}
	if !has("rise-uncertain", early, Options{Confidence: 0.9999999}) || has("rise-uncertain", early, Options{}) {
		t.Error("rise-uncertain")
	}
	// What was measured without the system says the ratio, by the days of the baseline alone.
	for _, c := range []struct{ without, ratio float64 }{{0, 0.3}, {500, 0.1}, {40, 1}, {1e6, 0.05}} {
		if r, err := Watch(days(append(repeat(40, 50), repeat(60, 500, 501)...)...), Options{Without: c.without, BaselineDays: 30}); err != nil || math.Abs(r.Ratio-c.ratio) > 1e-12 {
			t.Errorf("%v without: ratio %v, not %v, %v", c.without, r.Ratio, c.ratio, err)
		}
	}
	if !has("slow-to-see", repeat(200, 10, 200, 30, 25, 90), Options{}) || has("slow-to-see", repeat(200, 50, 52), Options{Profile: still(), Ratio: 0.5}) {
		t.Error("slow-to-see")
	}
}

// FuzzWatch: no panic, no NaN.
func FuzzWatch(f *testing.F) {
	f.Add(50.0, 3.0, uint16(100), uint8(30))
	f.Add(1e-300, 1e300, uint16(40), uint8(1))
	f.Fuzz(func(t *testing.T, v, by float64, n uint16, gap uint8) {
		var d []Day
		at := 20000
		for i := range int(n%300) + 1 {
			x := v
			if i%3 == 0 {
				x *= by
			}
			d = append(d, Day{at, x})
			at += 1 + int(gap)*(i%2)
		}
		r, err := Watch(d, Options{Paths: 100})
		if err != nil {
			return
		}
		for _, p := range r.Points {
			if math.IsNaN(p.EWMA) || math.IsNaN(p.CUSUM) {
				t.Fatalf("%+v", p)
			}
		}
		if math.IsNaN(r.EWMALimit) || math.IsNaN(r.CUSUMLimit) || math.IsNaN(r.GM) {
			t.Fatalf("%+v", r)
		}
		if r.Alarm != nil {
			if err := r.Alarm.Ratio.Check(); err != nil {
				t.Fatal(err)
			}
		}
	})
}

// BenchmarkWatch is one home of three years.
func BenchmarkWatch(b *testing.B) {
	d := days(repeat(1100, 50, 45, 60)...)
	for b.Loop() {
		if _, err := Watch(d, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
