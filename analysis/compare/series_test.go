package compare

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"radonyear/analysis"
	"radonyear/analysis/internal/reftest"
	"radonyear/analysis/serial"
)

// referenceSeries is the input of a case of compare-series.json.
type referenceSeries struct {
	Day         []int
	On          []bool
	Mean        []float64
	Temperature []float64
	Phi, Share  float64
}

func (in referenceSeries) days() (days []Day) {
	for i, d := range in.Day {
		x := Day{Day: d, Mean: in.Mean[i]}
		if in.On != nil {
			x.On, x.Covariates = in.On[i], []float64{in.Temperature[i]}
		}
		days = append(days, x)
	}
	return days
}

func readSeries(t *testing.T, each func(kind string, in referenceSeries, c reftest.Case)) {
	t.Helper()
	file, err := reftest.Read("compare-series.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range file.Cases {
		var in referenceSeries
		if err := json.Unmarshal(c.Input, &in); err != nil {
			t.Fatal(err)
		}
		kind, _, _ := strings.Cut(c.Name, ":")
		each(kind, in, c)
	}
}

// TestSeriesReference holds the regression at a place, and its top with noise and
// without, to nlme and arima.
func TestSeriesReference(t *testing.T) {
	seen := map[string]int{}
	readSeries(t, func(kind string, in referenceSeries, c reftest.Case) {
		if in.On == nil {
			return
		}
		seen[kind]++
		s, err := newSeries(in.days(), InterruptedOptions{Covariates: []string{"temperature"}})
		if err != nil {
			t.Fatal(err)
		}
		reg, _, best, err := s.fits()
		if err != nil {
			t.Fatal(err)
		}
		at := func(tau, share float64) serial.Fit {
			f, err := reg.At(tau, share)
			if err != nil {
				t.Fatal(err)
			}
			return f
		}
		switch kind {
		case "no noise":
			// By halving the interval of ln τ in which the likelihood still rises.
			low, high := -2.0, 5.0
			for range 50 {
				mid := (low + high) / 2
				if at(math.Exp(mid+1e-5), 0).LogL > at(math.Exp(mid-1e-5), 0).LogL {
					low = mid
				} else {
					high = mid
				}
			}
			best = at(math.Exp(low), 0)
		case "arima":
			best = at(-1/math.Log(in.Phi), in.Share)
		}
		got := map[string]float64{"step": best.Beta[1], "se": best.SE(1), "temperature": best.Beta[2] / s.scale[2]}
		if kind != "arima" {
			got["phi"], got["noise"], got["spread"] = math.Exp(-1/best.Tau), best.Share, math.Sqrt(best.Variance)
		}
		for _, bad := range c.Check(got) {
			t.Error(bad)
		}
	})
	if seen["no noise"] != 2 || seen["with noise"] != 1 || seen["arima"] != 2 {
		t.Errorf("cases: %v", seen)
	}
}

// alternating are days off and on about two levels, each by turns a tenth above and
// below.
func alternating(off, on int, before, after float64) (days []Day) {
	for i := range off + on {
		d := Day{Day: 20000 + i, Mean: before}
		if i >= off {
			d.Day, d.Mean, d.On = d.Day+2, after, true
		}
		d.Mean *= 1 + 0.1*float64(1-2*(i%2))
		days = append(days, d)
	}
	return days
}

// Days that turn about 400 without the system and about 80 with it, eight of each: the
// design is the same however the day before is weighed, but for the ends, so the ratio
// is 80/400 = 0.2 to the hundredth. All of it noise, the step is the difference of two
// means of 8, each with variance v/8, v = Σ(y − ȳ)²/14: the logarithms lie
// ±½·ln(1.1/0.9) about their means, so Σ = 16·(ln(11/9)/2)², and the naive half-width is
// t(14)·√(v/4), t = 2.144787.
func TestSeriesByHand(t *testing.T) {
	days := alternating(8, 8, 400, 80)
	slices.Reverse(days)
	days[0], days[5] = days[5], days[0]
	given := slices.Clone(days)
	r, err := Interrupted(days, InterruptedOptions{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "ratio", r.Ratio.Value, 0.2, 0.002)
	near(t, "reduction", r.Reduction.Value, 80, 0.2)
	half := math.Log(11./9) / 2
	near(t, "naive half width", r.NaiveHalfWidth, 2.144787*math.Sqrt(16*half*half/14/4), 1e-6)
	near(t, "half width", r.HalfWidth, math.Log(r.Ratio.Upper/r.Ratio.Lower)/2, 1e-9)
	if r.Off.Days != 8 || r.On.Days != 8 || r.Ratio.N != 16 || r.Season != nil || !analysis.HasNote(r.Notes, "season-not-fitted") {
		t.Errorf("%+v", r)
	}
	if !slices.EqualFunc(days, given, func(a, b Day) bool { return a.Day == b.Day && a.Mean == b.Mean }) {
		t.Error("the days given were moved")
	}

	// A circle: coefficients 3 and 4 with standard error 1/10 each and nothing between
	// them: amplitude 5 ± t/10, t of 14 as above. With standard error 10 nought is not
	// told from it, and the upper limit is 5 + 10t.
	for _, se := range []float64{0.1, 10} {
		f := serial.Fit{Tau: 1, Beta: []float64{3, 4}, Variance: se * se, Cov: mat.NewSymDense(2, []float64{1, 0, 0, 1})}
		value, lower, upper, err := amplitude([]serial.Fit{f}, 0, 14, 0.95)
		if err != nil {
			t.Fatal(err)
		}
		near(t, "amplitude", value, 5, 1e-12)
		near(t, "upper amplitude", upper, 5+2.144787*se, 1e-3*se)
		near(t, "lower amplitude", lower, max(0, 5-2.144787*se), 1e-3*se)
	}

	// Sides of two independent days, all noise, are two; without noise and alike, one.
	s := &stepped{days: []Day{{Day: 1}, {Day: 2}}, at: []float64{0, 1}}
	for share, want := range map[float64]float64{1: 2, 0: 2 / (1 + math.Exp(-0.5))} { // 1ᵀV⁻¹1 = 2/(1 + φ)
		e, err := s.effective(0, serial.Fit{Tau: 2, Share: share})
		if err != nil || e.Days != 2 {
			t.Fatal(e, err)
		}
		near(t, "effective days", e.EffectiveN, want, 1e-12)
	}
}

// yearsOf are days of two years with a season of 0.4 off and 0.1 on.
func yearsOf(rng *rand.Rand, off, on int) (days []Day) {
	y, x := autoregressive(0.6, 0.2).draw(rng, off+on), autoregressive(0.8, 0).draw(rng, off+on)
	for i, v := range y {
		d := Day{Day: 20000 + i, On: i >= off, Covariates: []float64{8 + 5*x[i], 1013 + 8*rng.NormFloat64()}}
		level, a := math.Log(300), 0.4
		if d.On {
			level, a = math.Log(60), 0.1
		}
		d.Mean = math.Exp(level + a*math.Cos(2*math.Pi*float64(d.Day)/365.25) - 0.02*d.Covariates[0] + 0.2*v)
		days = append(days, d)
	}
	return days
}

var twoNames = InterruptedOptions{Covariates: []string{"outdoor temperature, °C", "pressure, hPa"}}

func TestSeriesSeason(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 1))
	r, err := Interrupted(yearsOf(rng, 400, 380), twoNames)
	if err != nil {
		t.Fatal(err)
	}
	if r.SeasonOff == nil || r.SeasonOn == nil || r.Season != nil || len(r.Notes) != 0 {
		t.Fatalf("%+v", r)
	}
	for _, c := range []struct {
		e     analysis.Estimate
		truth float64
	}{{r.Ratio, 0.2}, {*r.SeasonOff, 0.4}, {*r.SeasonOn, 0.1}, {r.Covariates[0], -0.02}, {r.Covariates[1], 0}} {
		if c.e.Lower > c.truth || c.e.Upper < c.truth || c.e.Upper-c.e.Lower > 0.4 {
			t.Errorf("%s is %v, %v to %v; it was made with %v", c.e.Quantity, c.e.Value, c.e.Lower, c.e.Upper, c.truth)
		}
	}
	if r.Covariates[1].Quantity != "pressure, hPa" {
		t.Error(r.Covariates)
	}
	if r, err = Interrupted(yearsOf(rng, 400, 100), twoNames); err != nil || r.Season == nil || r.SeasonOff != nil || !analysis.HasNote(r.Notes, "same-season") {
		t.Errorf("%+v, %v", r, err)
	}
	if r, err = Interrupted(yearsOf(rng, 100, 100), twoNames); err != nil || r.Season != nil || r.SeasonOff != nil || !analysis.HasNote(r.Notes, "season-not-fitted") {
		t.Errorf("%+v, %v", r, err)
	}
	slow := alternating(7, 40, 400, 80)
	for i := range slow {
		slow[i].Mean *= math.Exp(math.Sin(float64(i) / 8))
	}
	if r, err = Interrupted(slow, InterruptedOptions{}); err != nil || !analysis.HasNote(r.Notes, "short-side") || r.Switches != 1 {
		t.Errorf("%+v, %v", r, err)
	}
	// The same swings with the system on every other week: a side's days are worth as few by
	// themselves, and neighbours tell the ratio all the same.
	weeks := alternating(24, 24, 400, 400)
	for i := range weeks {
		weeks[i].Mean *= math.Exp(math.Sin(float64(i) / 8))
		if weeks[i].On = i/7%2 == 1; weeks[i].On {
			weeks[i].Mean /= 5
		}
	}
	if r, err = Interrupted(weeks, InterruptedOptions{}); err != nil || len(r.Notes) > 0 || r.Switches != 6 || min(r.Off.EffectiveN, r.On.EffectiveN) >= shortSide || r.Ratio.Upper > 0.22 {
		t.Errorf("%+v, %v", r, err)
	}
}

func TestSeriesProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 2))
	days := yearsOf(rng, 60, 50)
	one, err := Interrupted(days, twoNames)
	if err != nil {
		t.Fatal(err)
	}
	for _, same := range []struct {
		name  string
		moved func(d Day) Day
		scale float64 // of the first covariate's coefficient
	}{
		{"×37", func(d Day) Day { d.Mean *= 37; return d }, 1},
		{"another day", func(d Day) Day { d.Day += 1461; return d }, 1},
		{"Kelvin tenths", func(d Day) Day {
			d.Covariates = []float64{10 * (d.Covariates[0] + 273.15), d.Covariates[1]}
			return d
		}, 0.1},
	} {
		var moved []Day
		for _, d := range days {
			moved = append(moved, same.moved(d))
		}
		rng.Shuffle(len(moved), func(i, j int) { moved[i], moved[j] = moved[j], moved[i] })
		r, err := Interrupted(moved, twoNames)
		if err != nil {
			t.Fatal(err)
		}
		for _, x := range [][2]float64{{r.Ratio.Value, one.Ratio.Value}, {r.Ratio.Lower, one.Ratio.Lower}, {r.Ratio.Upper, one.Ratio.Upper},
			{r.Covariates[0].Upper, same.scale * one.Covariates[0].Upper}, {r.NaiveHalfWidth, one.NaiveHalfWidth}} {
			near(t, same.name, x[0], x[1], 1e-7)
		}
		near(t, same.name+", φ", r.Phi, one.Phi, 1e-3)
	}
	// What is on is off: the ratio turns over.
	turned := slices.Clone(days)
	for i := range turned {
		turned[i].On = !turned[i].On
	}
	r, err := Interrupted(turned, twoNames)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "turned over", r.Ratio.Lower*one.Ratio.Upper, 1, 1e-7)
	last := 0.0
	for _, c := range []float64{0.5, 0.8, 0.95, 0.99} {
		r, err := Interrupted(days, InterruptedOptions{Confidence: c, Covariates: twoNames.Covariates})
		if err != nil {
			t.Fatal(err)
		}
		if r.HalfWidth <= last || r.Ratio.Confidence != c {
			t.Errorf("a half width of %v at %v is no wider than before", r.HalfWidth, c)
		}
		last = r.HalfWidth
	}
	if one.HalfWidth < one.NaiveHalfWidth || one.Off.EffectiveN > 60 || one.On.EffectiveN > 50 {
		t.Errorf("%+v", one)
	}
}

// TestSeriesBelowLimit: without the system days of 270 and 330, with it of 12 and 27 in
// turn, of geometric mean 18; a monitor with a limit of 20 sees no 12. The days it sees
// are of 27, which is not what the system leaves; taken as 20 and as 4, as the air
// outdoors, those of 12 put it between √(4·27) and √(20·27), and between these √(√80·27).
func TestSeriesBelowLimit(t *testing.T) {
	series := func(see func(day int, c float64) Day) (days []Day) {
		for i := range 60 {
			c := []float64{270, 330, 12, 27}[2*(i/30)+i%2]
			d := see(20000+i, c)
			d.On = i >= 30
			days = append(days, d)
		}
		return days
	}
	at := func(day int, c float64) Day { return Day{Day: day, Mean: c} }
	as := func(limit float64) func(int, float64) Day {
		return func(day int, c float64) Day {
			if c < 20 {
				c = limit
			}
			return at(day, c)
		}
	}
	answer := func(see func(int, float64) Day) Interruption {
		t.Helper()
		r, err := Interrupted(series(see), InterruptedOptions{})
		if err != nil {
			t.Fatal(err)
		}
		return r
	}
	r := answer(limitedDay)
	truth := math.Sqrt(12*27) / math.Sqrt(270*330)
	near(t, "ratio", r.Ratio.Value, math.Sqrt(math.Sqrt(4*20)*27)/math.Sqrt(270*330), 1e-3)
	near(t, "lower", r.Ratio.Lower, answer(as(4)).Ratio.Lower, 1e-12)
	near(t, "upper", r.Ratio.Upper, answer(as(20)).Ratio.Upper, 1e-12)
	if r.Ratio.Lower > truth || r.Ratio.Upper < truth || !analysis.HasNote(r.Ratio.Notes, "below-limit") || r.On.Days != 30 {
		t.Errorf("%v to %v, and the truth is %v; %v", r.Ratio.Lower, r.Ratio.Upper, truth, r.Notes)
	}
	if r = answer(at); analysis.HasNote(r.Notes, "below-limit") {
		t.Error("no day is below the limit")
	}
	s, err := FindSwitch(series(limitedDay), SwitchOptions{})
	if err != nil || !s.Found || s.Day != 20030 || s.Ratio.Lower > truth || s.Ratio.Upper < truth || !analysis.HasNote(s.Notes, "below-limit") {
		t.Errorf("%+v %v", s, err)
	}
	if s, err = FindSwitch(series(at), SwitchOptions{}); err != nil || analysis.HasNote(s.Notes, "below-limit") {
		t.Errorf("no day is below the limit: %v %v", s.Notes, err)
	}
	all := series(func(day int, _ float64) Day { return Day{Day: day, Mean: 20, Below: true} })
	if _, err := Interrupted(all, InterruptedOptions{}); err == nil || !strings.Contains(err.Error(), "every day lies below") {
		t.Error(err)
	}
	if _, err := FindSwitch(all, SwitchOptions{}); err == nil || !strings.Contains(err.Error(), "every day lies below") {
		t.Error(err)
	}
}

func TestSeriesInWords(t *testing.T) {
	good := func() []Day { return alternating(10, 10, 400, 80) }
	with := func(change func(d []Day)) []Day { d := good(); change(d); return d }
	flat := good()
	for i := range flat {
		flat[i].Mean = 100
	}
	named := InterruptedOptions{Covariates: []string{"temperature"}}
	covered := func(x func(i int, d Day) float64) []Day {
		d := good()
		for i := range d {
			d[i].Covariates = []float64{x(i, d[i])}
		}
		return d
	}
	for _, c := range []struct {
		name string
		days []Day
		opt  InterruptedOptions
		why  string
	}{
		{"no days", nil, InterruptedOptions{}, "0 days without the system"},
		{"few", alternating(10, 6, 400, 80), InterruptedOptions{}, "6 days with the system"},
		{"alike", flat, InterruptedOptions{}, "do not differ"},
		{"not a number", with(func(d []Day) { d[3].Mean = math.NaN() }), InterruptedOptions{}, "2024-10-07 is NaN"},
		{"zero", with(func(d []Day) { d[3].Mean = 0 }), InterruptedOptions{}, "never without radon"},
		{"negative", with(func(d []Day) { d[3].Mean = -4 }), InterruptedOptions{}, "not a concentration"},
		{"twice", with(func(d []Day) { d[3].Day = d[4].Day }), InterruptedOptions{}, "two means of"},
		{"far", with(func(d []Day) { d[3].Day = math.MaxInt }), InterruptedOptions{}, "counted from"},
		{"confidence", good(), InterruptedOptions{Confidence: 95}, "between 0.5"},
		{"no covariate", good(), named, "leave out days that lack one"},
		{"no name", covered(func(i int, d Day) float64 { return float64(i) }), InterruptedOptions{}, "0 are named"},
		{"constant covariate", covered(func(i int, d Day) float64 { return 7 }), named, "same on all days"},
		{"covariate that is the step", covered(func(i int, d Day) float64 { return 5 * float64(side(d.On)) }), named, "say already"},
		{"infinite covariate", covered(func(i int, d Day) float64 { return math.Inf(i - 3) }), named, "covariate 1 of"},
	} {
		if r, err := Interrupted(c.days, c.opt); err == nil || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%s: %+v, %v", c.name, r.Ratio, err)
		}
	}
}

// TestSeriesMethods: every estimate is by one of the methods, which names every note.
func TestSeriesMethods(t *testing.T) {
	known := map[string]analysis.Method{}
	for _, m := range seriesMethods {
		if err := m.Check(); err != nil {
			t.Error(err)
		}
		known[m.Key] = m
	}
	rng := rand.New(rand.NewPCG(3, 3))
	var es []analysis.Estimate
	for _, days := range [][]Day{yearsOf(rng, 400, 380), yearsOf(rng, 400, 100), yearsOf(rng, 60, 7)} {
		r, err := Interrupted(days, twoNames)
		if err != nil {
			t.Fatal(err)
		}
		es = append(append(es, r.Ratio, r.Reduction), r.Covariates...)
		for _, e := range []*analysis.Estimate{r.Season, r.SeasonOff, r.SeasonOn} {
			if e != nil {
				es = append(es, *e)
			}
		}
		s, err := FindSwitch(days, SwitchOptions{})
		if err != nil {
			t.Fatal(err)
		}
		es = append(es, s.Ratio)
	}
	noted := 0
	for _, e := range es {
		if err := e.Check(); err != nil {
			t.Error(err)
		}
		m, ok := known[e.Method]
		if !ok {
			t.Errorf("%s is by %q, which is not among the methods", e.Quantity, e.Method)
		}
		for _, n := range e.Notes {
			noted++
			if !slices.Contains(m.Notes, n.Code) {
				t.Errorf("%s does not say that it can note %s", e.Method, n.Code)
			}
		}
	}
	if len(known) != 2 || noted < 3 {
		t.Errorf("%d methods, %d notes", len(known), noted)
	}
}

// FuzzInterrupted: whatever the days, an error or a sound answer.
func FuzzInterrupted(f *testing.F) {
	f.Add(uint64(1), 20, 300.0, 0.95, 0.0)
	f.Add(uint64(2), 16, 1e300, 0.5, 1e300)
	f.Add(uint64(3), 200, 1e-300, 0.999999, 1e-300)
	f.Add(uint64(4), 15, 5e-324, 0.9, 5e-324)
	f.Fuzz(func(t *testing.T, seed uint64, n int, size, confidence, covariate float64) {
		if n < 0 || n > 200 {
			return
		}
		days := strangeDays(seed, n, size)
		opt := InterruptedOptions{Confidence: confidence}
		if covariate != 0 {
			rng := rand.New(rand.NewPCG(seed, 1))
			opt.Covariates = []string{"x"}
			for i := range days {
				days[i].Covariates = []float64{covariate * rng.NormFloat64()}
			}
		}
		r, err := Interrupted(days, opt)
		if err != nil {
			return
		}
		for _, e := range append([]analysis.Estimate{r.Ratio, r.Reduction}, r.Covariates...) {
			if err := e.Check(); err != nil {
				t.Error(err)
			}
		}
		for _, x := range []float64{r.Phi, r.CorrelationDays, r.Noise, r.Spread, r.HalfWidth, r.NaiveHalfWidth, r.Off.EffectiveN, r.On.EffectiveN} {
			if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
				t.Errorf("%+v", r)
			}
		}
	})
}

// strangeDays are days of any size, some much larger than others, some alike.
func strangeDays(seed uint64, n int, size float64) (days []Day) {
	rng := rand.New(rand.NewPCG(seed, 0))
	at := 0
	for i := range n {
		at += 1 + rng.IntN(1+int(seed%40))
		m := size
		if seed%3 > 0 || rng.IntN(4) == 0 {
			m = size * math.Exp(float64(seed%5)*20*rng.NormFloat64())
		}
		days = append(days, Day{Day: at, Mean: m, On: i > n/2 || seed%7 == 0 && rng.IntN(2) == 0})
	}
	return days
}

func BenchmarkInterrupted(b *testing.B) {
	for _, n := range []int{60, 365} {
		days := yearsOf(rand.New(rand.NewPCG(3, 5)), n, n)
		b.Run(fmt.Sprint(2*n), func(b *testing.B) {
			for b.Loop() {
				if _, err := Interrupted(days, twoNames); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}
