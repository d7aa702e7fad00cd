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

func BenchmarkLearn(b *testing.B) {
	hs := homes(truth(), 40, 365, 0.3, 1)
	for b.Loop() {
		if _, err := Learn(hs, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}
