package season

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"

	"radonyear/analysis"
	"radonyear/analysis/temporal"
)

// truth is the law the invented homes are drawn from.
func truth() *temporal.Profile {
	p := temporal.BuiltIn(false)
	p.Season.Mean = [4]float64{0.35, 0.10, 0.05, -0.03}
	for i, sd := range [4]float64{0.15, 0.10, 0.05, 0.05} {
		p.Season.Cov[i][i] = sd * sd
	}
	p.Drift = []temporal.Component{{Days: 1, Variance: 0.03}, {Days: 6, Variance: 0.06}, {Days: 40, Variance: 0.02}}
	p.DayNoise = 0.06
	return p
}

// homes draws homes from the law, days long from 1 March 2024 on, each with an
// own level; shared adds a weather that all of them live in.
func homes(p *temporal.Profile, n, days int, shared float64, seed uint64) [][]analysis.Series {
	weather := rand.New(rand.NewPCG(seed, 1<<40))
	common := make([]float64, days)
	x := 0.0
	for d := range common {
		x = 0.85*x + math.Sqrt(1-0.85*0.85)*weather.NormFloat64()
		common[d] = x * shared
	}
	first := temporal.Day(time.Date(2024, 3, 1, 0, 0, 0, 0, time.UTC), time.UTC)
	var out [][]analysis.Series
	for i := range n {
		rng := rand.New(rand.NewPCG(seed, uint64(i)))
		level := 4.5 + 0.8*rng.NormFloat64()
		var beta [temporal.Harmonics]float64
		for k := range beta {
			beta[k] = p.Season.Mean[k] + math.Sqrt(p.Season.Cov[k][k])*rng.NormFloat64()
		}
		strength := 1 + 0.3*rng.NormFloat64()
		state := make([]float64, len(p.Drift))
		var rs []analysis.Reading
		for d := range days {
			l := level + strength*common[d] + p.DayNoise*rng.NormFloat64()
			for k, r := range temporal.Regressors(first + d) {
				l += beta[k] * r
			}
			for k, c := range p.Drift {
				ph := math.Exp(-1 / c.Days)
				if d == 0 {
					ph = 0
				}
				state[k] = ph*state[k] + math.Sqrt(c.Variance*(1-ph*ph))*rng.NormFloat64()
				l += state[k]
			}
			s := temporal.Date(first+d, time.UTC)
			rs = append(rs, analysis.Reading{Start: s, End: s.AddDate(0, 0, 1), Concentration: math.Exp(l)})
		}
		s, err := analysis.NewSeries(analysis.Place{Home: fmt.Sprintf("H%03d", i), Area: "A"}, time.UTC, rs)
		if err != nil {
			panic(err)
		}
		out = append(out, []analysis.Series{s})
	}
	return out
}

// TestRecovery: what homes were drawn from is found again, within what so many
// homes can tell.
func TestRecovery(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	p := truth()
	const n = 30
	l, err := Learn(homes(p, n, 365, 0, 1), Options{})
	if err != nil {
		t.Fatal(err)
	}
	got := l.Profile.Season
	for i := range got.Mean {
		// A home's coefficient is known to its own spread and its year's drift.
		se := math.Sqrt((p.Season.Cov[i][i] + 0.012) / n)
		if math.Abs(got.Mean[i]-p.Season.Mean[i]) > 4*se {
			t.Errorf("coefficient %d is %.3f, drawn from %.3f (standard error %.3f)", i, got.Mean[i], p.Season.Mean[i], se)
		}
		if sd, want := math.Sqrt(got.Cov[i][i]), math.Sqrt(p.Season.Cov[i][i]); sd > want+0.06 || sd < want-0.06 {
			t.Errorf("spread of coefficient %d is %.3f, drawn from %.3f", i, sd, want)
		}
	}
	sum := func(cs []temporal.Component, longest float64) (v float64) {
		for _, c := range cs {
			if c.Days <= longest {
				v += c.Variance
			}
		}
		return v
	}
	if a, b := sum(l.Profile.Drift, 10), sum(p.Drift, 10); math.Abs(a/b-1) > 0.15 {
		t.Errorf("short drift has variance %.4f, drawn from %.4f", a, b)
	}
	for _, row := range l.Scatter {
		if row.Coverage < 0.91 || row.Coverage > 0.99 {
			t.Errorf("tests of %d days of homes left out: %.3f of intervals held", row.Days, row.Coverage)
		}
		if row.CorrectedGSD >= row.RawGSD {
			t.Errorf("tests of %d days: corrected GSD %.3f, raw %.3f", row.Days, row.CorrectedGSD, row.RawGSD)
		}
	}
	if len(l.Scatter) != len(Lengths) || l.Homes != n {
		t.Errorf("%d rows of scatter on %d homes", len(l.Scatter), l.Homes)
	}
	// The model's own spread is right where the homes are drawn from the model.
	for _, c := range l.Profile.Calibration {
		if c.Factor < 0.8 || c.Factor > 1.3 {
			t.Errorf("%v days: the spread is multiplied by %.3f, though the model is true", c.Days, c.Factor)
		}
	}
	mean := 0.0
	for _, m := range l.Monthly {
		days := time.Date(2025, m.Month+1, 0, 0, 0, 0, 0, time.UTC).Day()
		mean += m.Factor * float64(days) / 365
		if !(m.Lower < m.Factor && m.Factor < m.Upper) || math.Abs(m.Correction*m.Factor-1) > 1e-12 {
			t.Errorf("%v: %+v", m.Month, m)
		}
	}
	if math.Abs(mean-1) > 1e-9 || len(l.Monthly) != 12 {
		t.Errorf("twelve months have a mean factor of %v", mean)
	}
	if math.Abs(l.Amplitude-math.Hypot(.35, .10)) > 0.08 {
		t.Errorf("amplitude %v", l.Amplitude)
	}
}

// TestCourse: homes in one weather teach it, and it helps; homes each in their
// own teach nothing that matters.
func TestCourse(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	together, err := Learn(homes(truth(), 24, 365, 0.7, 2), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if together.Profile.Course == nil || together.Profile.Course.Areas[0] != "A" {
		t.Fatal("no course was learned")
	}
	for i, row := range together.Course {
		if row.Days <= 14 && math.Log(row.CorrectedGSD) > 0.9*math.Log(together.Scatter[i].CorrectedGSD) {
			t.Errorf("%d days: GSD %.3f with the weather known, %.3f without", row.Days, row.CorrectedGSD, together.Scatter[i].CorrectedGSD)
		}
		if row.Coverage < 0.9 {
			t.Errorf("%d days: %.3f of intervals held with the weather known", row.Days, row.Coverage)
		}
	}
	if _, err := temporal.ParseProfile(together.Profile.JSON()); err != nil {
		t.Error(err)
	}
	apart, err := Learn(homes(truth(), 12, 365, 0, 2), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i, row := range apart.Course {
		// A dozen homes teach it some chance, which costs where little else is
		// open; package annual's Confirm asks the homes before it is used.
		if gain := math.Log(row.CorrectedGSD) / math.Log(apart.Scatter[i].CorrectedGSD); gain < 0.9 || gain > 1.25 {
			t.Errorf("%d days: without any common weather, knowing it changes the error by a factor of %.3f", row.Days, gain)
		}
	}
	if len(apart.Course) == 0 {
		t.Error("no course to compare with")
	}
}

// TestLeftOut: what a home left out is judged with has not seen it.
func TestLeftOut(t *testing.T) {
	var recs []*record
	for _, h := range homes(truth(), 9, 365, 0.5, 6) {
		r, why := newRecord(h, 300)
		if r == nil {
			t.Fatal(why)
		}
		recs = append(recs, r)
	}
	f := newFit(recs, nil)
	f.own = f.reduce(f.v)
	f.season(f.own, 100)
	c := f.findCourse()
	before := c.without(recs, 0)
	for i := range c.left[0] {
		c.left[0][i] += 5
	}
	after := c.without(recs, 0)
	for k := range before.factor {
		if !slices.Equal(before.factor[k], after.factor[k]) {
			t.Fatal("a course without a home follows that home's days")
		}
	}
	if after.homes[10] != c.homes[10]-1 {
		t.Errorf("%d homes saw a day, of %d without one", c.homes[10], after.homes[10])
	}
	if other := c.without(recs, 1); slices.Equal(other.factor[0], before.factor[0]) {
		t.Error("a course follows none of its homes")
	}

	// Each home is tried with the profile that was made without it.
	good, bad := truth(), truth()
	bad.Season.Mean[0] = -2
	asked := make([]int, len(recs))
	none, _ := calibrate(recs, Options{Confidence: .95}, func(i int) *temporal.Profile { asked[i]++; return good })
	for i, n := range asked {
		if n != 1 {
			t.Errorf("home %d was left out %d times", i, n)
		}
	}
	one, _ := calibrate(recs, Options{Confidence: .95}, func(i int) *temporal.Profile {
		if i == 4 {
			return bad
		}
		return good
	})
	if one[0].CorrectedGSD < 1.02*none[0].CorrectedGSD {
		t.Errorf("GSD %.3f with a bad profile for one home, %.3f without", one[0].CorrectedGSD, none[0].CorrectedGSD)
	}
}

// TestProperties: order of homes and number of processors change no byte.
func TestProperties(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	hs := homes(truth(), 10, 365, 0.3, 3)
	a, err := Learn(hs, Options{})
	if err != nil {
		t.Fatal(err)
	}
	slices.Reverse(hs)
	old := runtime.GOMAXPROCS(1)
	b, err := Learn(hs, Options{})
	runtime.GOMAXPROCS(old)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(a.Profile.JSON(), b.Profile.JSON()) {
		t.Error("order or processors changed the profile")
	}
}

// TestFewHomes: few homes are drawn toward the built-in profile and said to be
// few; homes with too little of a year are left out with the number that lacks.
func TestFewHomes(t *testing.T) {
	hs := homes(truth(), 9, 365, 0, 4)
	short := homes(truth(), 1, 250, 0, 5)
	short[0][0].Home = "short"
	l, err := Learn(append(slices.Clone(hs), short...), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if !analysis.HasNote(l.Notes, "few-homes") || l.Homes != 9 || len(l.Skipped) != 1 || l.Skipped[0].Place.Home != "short" || !strings.Contains(l.Skipped[0].Why, "250") {
		t.Errorf("notes %v, skipped %v", l.Notes, l.Skipped)
	}
	if l, err := Learn(homes(truth(), 10, 365, 0, 4), Options{}); err != nil || analysis.HasNote(l.Notes, "few-homes") {
		t.Errorf("ten homes are called few: %v", err)
	}
	if l, err := Learn(hs[:4], Options{}); err != nil || !analysis.HasNote(l.Notes, "no-course") || l.Profile.Course != nil {
		t.Errorf("four homes taught a course: %v", err)
	}
	for name, err := range map[string]error{
		"two homes":        func() error { _, err := Learn(hs[:2], Options{}); return err }(),
		"none":             func() error { _, err := Learn(nil, Options{}); return err }(),
		"100 days":         func() error { _, err := Learn(hs, Options{MinDays: 100}); return err }(),
		"confidence of 95": func() error { _, err := Learn(hs, Options{Confidence: 95}); return err }(),
	} {
		if err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

// TestByHand: the best twelve months, and the mean of logs that is none.
func TestByHand(t *testing.T) {
	if from, to := bestYear([]int{0, 1, 2, 400, 500, 600, 700, 764, 765}); from != 3 || to != 8 {
		t.Errorf("best year is %d to %d, want 3 to 8 (days 400 to 764)", from, to)
	}
	r := record{log: []float64{math.Log(10), math.Log(30)}}
	if got := math.Exp(r.mean([]int{0, 1})); math.Abs(got-20) > 1e-12 {
		t.Errorf("mean %v, want 20", got)
	}
	// 40 trials of ten homes, |error|/spread from 0.05 to 2: the 95 % quantile is
	// 0.05 + 0.95·39·0.05 = 1.9025, less than 1.96, which ten homes may not promise;
	// Student's quantile for nine is 2.262 (any table), the normal one 1.960.
	var ts []trial
	for i := range 40 {
		ts = append(ts, trial{home: i / 4, err: 0.05 * float64(i+1), std: 1})
	}
	if k := factorOf(ts, -1, 10); math.Abs(k-2.262/1.960) > 1e-3 {
		t.Errorf("factor %v, want %v", k, 2.262/1.960)
	}
	// Of very many homes: the quantile itself.
	if k := factorOf(ts, -1, 1e6); math.Abs(k-1.9025/1.959964) > 1e-5 {
		t.Errorf("factor %v, want %v", k, 1.9025/1.959964)
	}
	// Without the last two homes the largest is 1.6.
	if k := factorOf(ts[:36], 8, 1e6); math.Abs(k-(0.05+0.95*31*0.05)/1.959964) > 1e-5 {
		t.Errorf("factor %v without a home", k)
	}
}

// TestFewHomesByHand: how few homes and few years widen.
func TestFewHomesByHand(t *testing.T) {
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-6 {
			t.Errorf("%s is %v, want %v", what, got, want)
		}
	}
	// Four of ten homes are trusted by 0.4; what they say is small is raised by
	// 0.6 of what is missing, what they say is large stays.
	near("trust in four homes", trust(4), .4)
	near("trust in twelve", trust(12), 1)
	near("a small variance", atLeast(.1, .5, .4), .1+.6*.4)
	near("a large variance", atLeast(.5, .1, .4), .5)
	builtIn := [nh][nh]float64{{.5}, {0, .5}, {0, 0, .5}, {0, 0, 0, .5}}
	cov := [][]float64{{1, 0, 0, 0}, {0, .1, 0, 0}, {0, 0, .5, .3}, {0, 0, .3, .5}}
	wide := widened(cov, &builtIn, .6)
	near("a wide direction", wide[0][0], 1)
	near("a narrow one", wide[1][1], .1+.6*.4)
	// Coefficients 2 and 3 are .8 along (1,1)/√2 and .2 across: the latter is raised
	// by .6·.3, half of it on each diagonal and off it.
	near("a diagonal", wide[2][2], .5+.09)
	near("its covariance", wide[2][3], .3-.09)
	// Three homes whose coefficients are known to be 0, 1 and 5: those of a fourth
	// scatter about 2 with the variance 14/3, of which one degree of freedom went
	// to the mean, which itself is off by a third of it. Without the last: .5, 1/4.
	f := &fit{recs: make([]*record, 3), mean: mat.NewVecDense(nh, nil), cov: mat.NewSymDense(nh, nil)}
	exact := mat.NewSymDense(nh, nil)
	for i := range nh {
		exact.SetSym(i, i, 1e-9)
		f.cov.SetSym(i, i, 1)
	}
	for _, b := range []float64{0, 1, 5} {
		f.own = append(f.own, home{beta: mat.NewVecDense(nh, []float64{b, b, b, b}), cov: exact})
	}
	f.mean, f.cov = seasonOf(f.own, -1, f.mean, f.cov, 500)
	mean, law, n := f.law(-1)
	near("mean", mean[0], 2)
	near("variance", law[0][0], 14.0/3*(3.0/2+1.0/3))
	near("homes", float64(n), 3)
	mean, law, n = f.law(2)
	near("mean without the last", mean[0], .5)
	near("variance without the last", law[0][0], .25*(2+.5))
	near("homes without the last", float64(n), 2)

	// Weather that cannot be told from the cycle leaves the built-in cycle and adds
	// its spread; without weather, all stays as learned.
	days := make([]int, 365)
	for i := range days {
		days[i] = 20000 + i
	}
	for _, c := range []struct{ weather, share float64 }{{1e-9, 0}, {1e5, 1}} {
		p, b := truth(), temporal.BuiltIn(false)
		was := *p
		allowForYears(p, days, []float64{0, 0, 0, c.weather}, b)
		for i := range nh {
			want := (1-c.share)*was.Season.Mean[i] + c.share*b.Season.Mean[i]
			if math.Abs(p.Season.Mean[i]-want) > 2e-3 {
				t.Errorf("weather %v: mean %d is %v, want %v", c.weather, i, p.Season.Mean[i], want)
			}
			want = was.Season.Cov[i][i] + c.share*b.Season.Cov[i][i]
			if math.Abs(p.Season.Cov[i][i]-want) > 2e-3 {
				t.Errorf("weather %v: variance %d is %v, want %v", c.weather, i, p.Season.Cov[i][i], want)
			}
		}
	}

	// Homes that differ in cos 2πd/365.25 by 0.2 differ by that of the month less
	// that of the year, at 1.96 for 95 %; in April, near a zero, hardly.
	s := temporal.Season{}
	s.Cov[0][0] = .04
	months := monthly(s)
	for _, m := range months {
		sum, n, all := 0.0, 0.0, 0.0
		for d := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC); d.Year() == 2025; d = d.AddDate(0, 0, 1) {
			x := math.Cos(2 * math.Pi * float64(temporal.Day(d, time.UTC)) / 365.25)
			all += x / 365
			if d.Month() == m.Month {
				sum, n = sum+x, n+1
			}
		}
		near(m.Month.String(), math.Log(m.Upper), 1.959964*.2*math.Abs(sum/n-all))
		near(m.Month.String(), m.Upper*m.Lower, 1)
	}
}

// TestErrorOf: the factor of the root mean square, by hand. Of ten homes half of what the
// trials say is believed: errors of half the spread, 1 + 10/20·(0.5 − 1) = 0.75; and three
// of four none at all, the fourth of twice the spread, √(4/4) = 1 as the mean square, where
// the interval's factor goes by the large one.
func TestErrorOf(t *testing.T) {
	trials := func(errs ...float64) (ts []trial) {
		for i := range 40 {
			ts = append(ts, trial{home: i % 10, err: errs[i%len(errs)], std: 2})
		}
		return ts
	}
	for _, c := range []struct {
		errs []float64
		want float64
	}{{[]float64{1, -1}, 0.75}, {[]float64{0, 0, 0, -4}, 1}, {[]float64{6}, 2}, {[]float64{0}, 0.5}} {
		if got := errorOf(trials(c.errs...), 10); math.Abs(got-c.want) > 1e-12 {
			t.Errorf("errors %v of a spread of 2: %v, want %v", c.errs, got, c.want)
		}
	}
	if f := factorOf(trials(0, 0, 0, -4), -1, 10); f < 1.1 {
		t.Errorf("the interval's factor is %v where one in four is off by two spreads", f)
	}
}

func BenchmarkLearn(b *testing.B) {
	hs := homes(truth(), 40, 365, 0.3, 1)
	for b.Loop() {
		if _, err := Learn(hs, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
