package serial

import (
	"encoding/binary"
	"encoding/json"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/internal/reftest"
)

var begin = time.Date(2025, 1, 6, 0, 0, 0, 0, time.UTC)

// hourly is a series of hours at these times.
func series(t testing.TB, each time.Duration, at, y []float64) analysis.Series {
	t.Helper()
	var rs []analysis.Reading
	for i, v := range y {
		start := begin.Add(time.Duration(at[i] * float64(time.Hour)))
		rs = append(rs, analysis.Reading{Start: start, End: start.Add(each), Concentration: v})
	}
	s, err := analysis.NewSeries(analysis.Place{Home: "h"}, nil, rs)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func count(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = float64(i)
	}
	return x
}

func multiples(of float64, n int) []float64 {
	x := count(n)
	for i := range x {
		x[i] *= of
	}
	return x
}

// wander is n values of an autoregression with noise, an hour apart, mean 100.
func wander(rng *rand.Rand, n int, phi, noise float64) []float64 {
	y := make([]float64, n)
	x := rng.NormFloat64()
	for i := range y {
		y[i] = max(0, 100+15*(x+noise*rng.NormFloat64()))
		x = phi*x + math.Sqrt(1-phi*phi)*rng.NormFloat64()
	}
	return y
}

// TestReference holds the likelihood and its top to nlme and to the dense normal.
func TestReference(t *testing.T) {
	file, err := reftest.Read("serial.json")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, c := range file.Cases {
		var in struct{ T, Y []float64 }
		if err := json.Unmarshal(c.Input, &in); err != nil {
			t.Fatal(err)
		}
		rec := layOut(in.T, in.Y)
		s, err := rec.best(rec.grid())
		if err != nil {
			t.Fatal(err)
		}
		tau, share := s.tau, s.share
		kind, _, _ := strings.Cut(c.Name, ":")
		seen[kind]++
		var got map[string]float64
		switch kind {
		case "nlme", "dense":
			got = map[string]float64{"mean": s.mean, "se": math.Sqrt(s.variance / s.weight), "tau": tau, "share": share}
			if kind == "dense" {
				got["variance"], got["effective"] = s.variance, s.weight
			}
		case "dense, mean":
			got = map[string]float64{"mean": s.mean}
		case "at tau 5 and share 0.25":
			s.state = rec.pass(5, 0.25)
			got = map[string]float64{"mean": s.mean, "variance": s.variance, "weight": s.weight, "loglik": s.logl}
		}
		for _, bad := range c.Check(got) {
			t.Error(bad)
		}
	}
	if len(seen) != 4 || seen["nlme"] != 3 {
		t.Errorf("cases: %v", seen)
	}
}

// TestMeanReference holds the default mean, its interval and the cosine one to their
// formulas written out with dense matrices, and the grid to a finer one.
func TestMeanReference(t *testing.T) {
	file, err := reftest.Read("serial-mean.json")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, c := range file.Cases {
		var in struct {
			T, Y              []float64
			Hours, Confidence float64
		}
		if err := json.Unmarshal(c.Input, &in); err != nil {
			t.Fatal(err)
		}
		r, err := Mean(series(t, time.Duration(in.Hours*float64(time.Hour)), in.T, in.Y), Options{Confidence: in.Confidence})
		if err != nil {
			t.Fatal(c.Name, err)
		}
		all := map[string]float64{"effective": r.EffectiveN}
		// The interval given is Student's t on the effective number.
		if k := r.EffectiveN; k > 2 && k < float64(r.Mean.N) {
			width := distuv.StudentsT{Sigma: 1, Nu: k - 1}.Quantile((1+r.Mean.Confidence)/2) * r.Spread / math.Sqrt(k)
			if given := r.Mean.Value * math.Log(r.Mean.Upper/r.Mean.Lower) / 2; math.Abs(given/width-1) > 1e-8 {
				t.Errorf("%s: half a width of %v, and %v on the effective number", c.Name, given, width)
			}
		} else {
			t.Errorf("%s: an effective number of %v, which no interval is held to", c.Name, k)
		}
		for name, e := range map[string]analysis.Estimate{"given": r.Mean, "likelihood": r.Likelihood, "cosine": r.Cosine} {
			all[name+".value"], all[name+".lower"], all[name+".upper"] = e.Value, e.Lower, e.Upper
		}
		kind, _, _ := strings.Cut(c.Name, ":")
		seen[kind]++
		if len(c.Want) != map[string]int{"mean": 10, "finer grid": 3, "at 80 %": 6}[kind] {
			t.Errorf("%s holds %d values", c.Name, len(c.Want))
		}
		got := map[string]float64{}
		for name := range c.Want {
			got[name] = all[name]
		}
		for _, bad := range c.Check(got) {
			t.Error(bad)
		}
	}
	if len(seen) != 3 || seen["mean"] != 5 || seen["finer grid"] != 5 || seen["at 80 %"] != 5 {
		t.Errorf("cases: %v", seen)
	}
}

func layOut(at, y []float64) record {
	rec := record{y: slices.Clone(y), gap: make([]int, len(y)), length: at[len(at)-1] - at[0]}
	for i := 1; i < len(y); i++ {
		h := at[i] - at[i-1]
		k := slices.Index(rec.hours, h)
		if k < 0 {
			k = len(rec.hours)
			rec.hours = append(rec.hours, h)
		}
		rec.gap[i] = k
	}
	return rec
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s is %.12g, not %.12g", what, got, want)
	}
}

// Two values a correlation time of ln 2 apart without noise: φ = e^(−1/τ) = ½, say
// τ = 1/ln 2. V = (1 ½; ½ 1): the mean is the plain one, 1ᵀV⁻¹1 = 2/(1 + ½) = 4/3, and
// (y − m)ᵀV⁻¹(y − m) of ±d is 2d²/(1 − ½) = 4d². With d = 3: variance 36,
// log likelihood −(ln 36 + ln ¾ + ln 4/3)/2 = −ln 6. A share of noise of ½ halves the ½.
func TestByHand(t *testing.T) {
	rec := layOut([]float64{0, 1}, []float64{13, 7})
	s := rec.pass(1/math.Ln2, 0)
	near(t, "mean", s.mean, 10, 1e-14)
	near(t, "weight", s.weight, 4./3, 1e-14)
	near(t, "variance", s.variance, 36, 1e-13)
	near(t, "log likelihood", s.logl, -math.Log(6), 1e-13)
	s = rec.pass(1/math.Ln2, 0.5)
	near(t, "weight with noise", s.weight, 2/(1+0.25), 1e-14)
	near(t, "variance with noise", s.variance, 2*9/(1-0.25), 1e-13)

	// A series that is the third cosine of its own record: its sum with that one is
	// n/2, with the others 0, so the mean power is (2/n)(n/2)²/8 = n/16, and the error
	// √(n/16/n) = ¼.
	y := make([]float64, 40)
	for i := range y {
		y[i] = math.Cos(3 * math.Pi * (float64(i) + 0.5) / 40)
	}
	near(t, "cosine error", cosineError(y), 0.25, 1e-12)

	// The interval of 4 readings is t of 3 over √4 = 1.591223 of their standard deviations to
	// either side, and that of 2 is 12.7062/√2 = 8.984643, so that more than that is worth 2; of
	// 20 it is t of 19 over √20, 2.093024/4.472136 = 0.468014, and a narrower one is worth all 20.
	student := func(nu float64) float64 { return distuv.StudentsT{Sigma: 1, Nu: nu}.Quantile(0.975) }
	for _, c := range []struct{ halfWidth, want float64 }{{1.591223152642, 4}, {8.9, 2.006}, {9, 2}, {0.469, 19.93}, {0.468, 20}, {1e-9, 20}} {
		k, err := worth(c.halfWidth, 20, student)
		if err != nil || math.Abs(k-c.want) > 1e-2 || c.want == math.Floor(c.want) && math.Abs(k-c.want) > 1e-8 {
			t.Errorf("an interval of ±%g standard deviations is worth %v readings, not %v (%v)", c.halfWidth, k, c.want, err)
		}
	}

	// Averaged over one place only, the mean has its Student interval: t of 3 at 0.975 is
	// 3.182446. Over two of the same weight at ±1, the middle is 0, the variance
	// s² + 1.
	one := place{state: state{logl: -5, mean: 2, variance: 8, weight: 2}}
	up, err := average([]place{one}, 4).quantile(0.975)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "upper limit", up, 2+2*3.182446305284, 1e-8)
	left, right := one, one
	left.mean, right.mean = -1, 1
	a := average([]place{left, right}, 4)
	mid, err := a.quantile(0.5)
	if err != nil || math.Abs(mid) > 1e-8 || math.Abs(a.mean) > 1e-15 {
		t.Errorf("the middle of two is %v, %v", mid, err)
	}
	near(t, "sd of two", a.sd, math.Sqrt(5), 1e-14)

	// Four days of hours of 50 + 20·cos at midnight, and nothing else but ±1 in turn:
	// the daily cycle goes, and the plain mean is 50.
	for i := range 96 {
		v := 50 + 20*math.Cos(2*math.Pi*(float64(i)+0.5)/24)
		y = append(y[:i], v+float64(1-2*(i%2)))
	}
	r, err := Mean(series(t, time.Hour, count(96), y), Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "mean without its days", r.Mean.Value, 50, 1e-3)
	if r.Mean.Upper-r.Mean.Lower > 2 || r.Step != time.Hour {
		t.Errorf("the daily cycle is in the interval: %+v", r)
	}
	near(t, "naive half width", r.NaiveHalfWidth, 1.985251*r.Spread/math.Sqrt(96), 1e-6) // t of 95
}

// The filter against the dense normal, on random times.
func TestAgainstSlow(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	for range 30 {
		n := 3 + rng.IntN(20)
		at, y := make([]float64, n), make([]float64, n)
		for i := range at {
			if i > 0 {
				at[i] = at[i-1] + float64(1+rng.IntN(5))
			}
			y[i] = 10 * rng.NormFloat64()
		}
		tau, share := math.Exp(3*rng.Float64()), rng.Float64()
		got := layOut(at, y).pass(tau, share)

		v := mat.NewSymDense(n, nil)
		for i := range n {
			for j := range i + 1 {
				v.SetSym(i, j, (1-share)*math.Exp(-math.Abs(at[i]-at[j])/tau))
			}
			v.SetSym(i, i, 1)
		}
		var chol mat.Cholesky
		if !chol.Factorize(v) {
			t.Fatal("not positive definite")
		}
		ones, b, c := mat.NewVecDense(n, nil), mat.VecDense{}, mat.VecDense{}
		for i := range n {
			ones.SetVec(i, 1)
		}
		if err := chol.SolveVecTo(&b, ones); err != nil {
			t.Fatal(err)
		}
		w := mat.Dot(ones, &b)
		m := mat.Dot(mat.NewVecDense(n, y), &b) / w
		d := mat.NewVecDense(n, nil)
		for i := range n {
			d.SetVec(i, y[i]-m)
		}
		if err := chol.SolveVecTo(&c, d); err != nil {
			t.Fatal(err)
		}
		s2 := mat.Dot(d, &c) / float64(n-1)
		near(t, "mean", got.mean, m, 1e-8)
		near(t, "variance", got.variance, s2, 1e-8)
		near(t, "weight", got.weight, w, 1e-9)
		near(t, "log likelihood", got.logl, -(float64(n-1)*math.Log(s2)+chol.LogDet()+math.Log(w))/2, 1e-8)
	}
}

func TestProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 3))
	y := wander(rng, 400, 0.8, 0.5)
	one, err := Mean(series(t, time.Hour, count(400), y), Options{})
	if err != nil {
		t.Fatal(err)
	}
	if math.Abs(one.Mean.Value*one.Mean.Value-one.Mean.Lower*one.Mean.Upper) > 0.01*one.Mean.Value*one.Mean.Value {
		t.Errorf("limits %v and %v are not about the same ratio from %v", one.Mean.Lower, one.Mean.Upper, one.Mean.Value)
	}
	if one.EffectiveN >= 400 || one.EffectiveN < 10 || one.Mean.Upper-one.Mean.Value <= one.NaiveHalfWidth {
		t.Errorf("400 hours that resemble each other count as %v", one.EffectiveN)
	}
	// ×37.
	z := slices.Clone(y)
	for i := range z {
		z[i] *= 37
	}
	other, err := Mean(series(t, time.Hour, count(400), z), Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "×37, value", other.Mean.Value, 37*one.Mean.Value, 1e-9)
	near(t, "×37, upper", other.Mean.Upper, 37*one.Mean.Upper, 1e-6)
	near(t, "×37, correlation time", other.CorrelationTime, one.CorrelationTime, 1e-4)
	// Turned round, the record has the same answer.
	slices.Reverse(z)
	for i := range z {
		z[i] /= 37
	}
	if other, err = Mean(series(t, time.Hour, count(400), z), Options{}); err != nil {
		t.Fatal(err)
	}
	near(t, "turned round, value", other.Likelihood.Value, one.Likelihood.Value, 1e-4)
	near(t, "turned round, cosine", other.Cosine.Upper, one.Cosine.Upper, 1e-9)
	// More confidence is wider.
	last := 0.0
	for _, c := range []float64{0.5, 0.8, 0.95, 0.99} {
		r, err := Mean(series(t, time.Hour, count(400), y), Options{Confidence: c})
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range []analysis.Estimate{r.Mean, r.Likelihood, r.Cosine} {
			if err := e.Check(); err != nil {
				t.Error(err)
			}
		}
		if l := r.LagOne; l != nil && !(*l >= -1 && *l <= 1) {
			t.Errorf("a lag-one autocorrelation of %v", *l)
		}
		if w := r.Mean.Upper - r.Mean.Lower; w <= last {
			t.Errorf("an interval of %v at %v is no wider than before", w, c)
		} else {
			last = w
		}
	}
}

// told says whether a note has the reader look for what moves a record slowly.
func told(r Result) bool {
	return slices.ContainsFunc(r.Mean.Notes, func(n analysis.Note) bool { return strings.Contains(n.Text, "look for a season") })
}

// TestWidth: in long records of just the kind that the model has, its interval is as wide as
// that of one who knows the correlation time and the share of noise, and no note tells of a
// season or a change, whichever of the two intervals is given. A step of the first grid is five to ten standard errors of
// the correlation time there.
func TestWidth(t *testing.T) {
	const hours, records, noise = 8760, 6, 0.3
	const share = noise * noise / (1 + noise*noise)
	for _, phi := range []float64{0.8, 0.9, 0.95} {
		rng := rand.New(rand.NewPCG(1, 14))
		ratio := 0.0
		for range records {
			y := wander(rng, hours, phi, noise)
			r, err := Mean(series(t, time.Hour, count(hours), y), Options{})
			if err != nil {
				t.Fatal(err)
			}
			if told(r) {
				t.Errorf("φ %v, hours that only wander: %v", phi, r.Mean.Notes)
			}
			known := 1.959964 * 15 * math.Sqrt((1+noise*noise)/layOut(count(hours), y).pass(-1/math.Log(phi), share).weight)
			ratio += (r.Likelihood.Upper - r.Likelihood.Lower) / 2 / known / records
		}
		if !(ratio > 0.95 && ratio < 1.05) {
			t.Errorf("φ %v: %.3f times as wide as that of one who knows", phi, ratio)
		}
	}
}

// What has no honest interval is refused, in words; what is doubtful is noted, and
// has a near miss.
func TestRefusals(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 4))
	y := wander(rng, 500, 0.7, 0.3)
	slow := wander(rng, 100, 0.98, 0)
	same := slices.Repeat([]float64{40}, 50)
	for _, c := range []struct {
		name string
		s    analysis.Series
		why  string
	}{
		{"few", series(t, time.Hour, count(19), y[:19]), "19 readings; this mean needs 20 readings at least"},
		{"slow", series(t, time.Hour, count(100), slow), "measure on"},
		{"identical", series(t, time.Hour, count(50), same), "nothing shows"},
	} {
		if r, err := Mean(c.s, Options{}); err == nil || !strings.Contains(err.Error(), c.why) {
			t.Errorf("%s: %+v, %v", c.name, r.Mean, err)
		}
	}
	// Readings so high or low that their squares are no numbers are not all the same, and have
	// the mean of others.
	usual, err := Mean(series(t, time.Hour, count(500), y), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, by := range []float64{math.Ldexp(1, 985), math.Ldexp(1, -985)} {
		far := slices.Clone(y)
		for i := range far {
			far[i] *= by
		}
		r, err := Mean(series(t, time.Hour, count(500), far), Options{})
		if err != nil || r.Mean.Value != usual.Mean.Value*by || r.Mean.Upper != usual.Mean.Upper*by || r.Spread != usual.Spread*by {
			t.Errorf("readings about %.3g: %v, %v", far[0], r.Mean, err)
		}
	}
	for _, of := range []float64{1e306, 1e-320} {
		r, err := Mean(series(t, time.Hour, count(21), multiples(of, 21)), Options{})
		if err == nil || !strings.Contains(err.Error(), "beyond what can be computed with") {
			t.Errorf("readings up to %.3g: %v, %v", 20*of, r.Mean, err)
		}
	}

	if _, err := Mean(series(t, time.Hour, count(500), y), Options{Confidence: 2}); err == nil {
		t.Error("a confidence of 2 was taken")
	}

	below := func(n int) analysis.Series {
		rs := series(t, time.Hour, count(500), y).Readings()
		for i := range n {
			rs[7*i%500].BelowLimit = true
		}
		s, err := analysis.NewSeries(analysis.Place{Home: "h"}, nil, rs)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	if _, err := Mean(below(101), Options{}); err == nil || !strings.Contains(err.Error(), "below their limits") {
		t.Errorf("101 of 500 below: %v", err)
	}
	for n, want := range map[int]bool{0: false, 3: true} {
		r, err := Mean(below(n), Options{})
		if err != nil || analysis.HasNote(r.Mean.Notes, "below-limit") != want {
			t.Errorf("%d below: %v, %v", n, r.Mean.Notes, err)
		}
	}

	rs := series(t, time.Hour, count(500), y).Readings()
	rs[499].End = rs[499].Start.Add(3 * time.Hour)
	mixed, err := analysis.NewSeries(analysis.Place{Home: "h"}, nil, rs)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := Mean(mixed, Options{}); err == nil || !strings.Contains(err.Error(), "one length") {
		t.Errorf("an hour among three: %v", err)
	}

	// Days of which less than 18 hours were measured are no days' means: with them taken
	// away beforehand the answer is the same, and one of 18 hours stays.
	days := wander(rng, 60, 0.3, 0.5)
	partly := func(share float64, n int) (all, whole analysis.Series) {
		rs := series(t, 24*time.Hour, multiples(24, 60), days).Readings()
		var rest []analysis.Reading
		for i := range rs {
			if i%20 == 7 && i/20 < n {
				rs[i].Share, rs[i].Concentration = share, 900
			} else {
				rest = append(rest, rs[i])
			}
		}
		all, err1 := analysis.NewSeries(analysis.Place{Home: "h"}, nil, rs)
		whole, err2 := analysis.NewSeries(analysis.Place{Home: "h"}, nil, rest)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		return all, whole
	}
	all, whole := partly(17./24, 3)
	r1, err1 := Mean(all, Options{})
	r2, err2 := Mean(whole, Options{})
	if err1 != nil || err2 != nil || r1.Mean.Value != r2.Mean.Value || r1.Mean.Upper != r2.Mean.Upper || r1.Mean.N != 57 ||
		!analysis.HasNote(r1.Mean.Notes, "partial-days") || analysis.HasNote(r2.Mean.Notes, "partial-days") {
		t.Errorf("with days of 17 hours %v, without them %v (%v, %v)", r1.Mean, r2.Mean, err1, err2)
	}
	all, _ = partly(18./24, 3)
	if r, err := Mean(all, Options{}); err != nil || r.Mean.N != 60 || analysis.HasNote(r.Mean.Notes, "partial-days") {
		t.Errorf("days of 18 hours: %v, %v", r.Mean, err)
	}

	// Days of zero are a monitor that failed: with them taken away beforehand the answer is the
	// same. What is only little, or an hour without counts, stays.
	failed := func(each time.Duration, value float64, n int) (all, alive analysis.Series) {
		rs := series(t, each, multiples(each.Hours(), 60), days).Readings()
		var rest []analysis.Reading
		for i := range rs {
			if i >= 19 && i < 19+n {
				rs[i].Concentration = value
			} else {
				rest = append(rest, rs[i])
			}
		}
		all, err1 := analysis.NewSeries(analysis.Place{Home: "h"}, nil, rs)
		alive, err2 := analysis.NewSeries(analysis.Place{Home: "h"}, nil, rest)
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		return all, alive
	}
	all, alive := failed(24*time.Hour, 0, 5)
	r1, err1 = Mean(all, Options{})
	r2, err2 = Mean(alive, Options{})
	if err1 != nil || err2 != nil || r1.Mean.Value != r2.Mean.Value || r1.Mean.Upper != r2.Mean.Upper || r1.Mean.N != 55 ||
		!analysis.HasNote(r1.Mean.Notes, "zero-days") || analysis.HasNote(r1.Mean.Notes, "partial-days") || analysis.HasNote(r2.Mean.Notes, "zero-days") {
		t.Errorf("with days of zero %v, without them %v (%v, %v)", r1.Mean, r2.Mean, err1, err2)
	}
	for _, c := range []struct {
		each  time.Duration
		value float64
	}{{24 * time.Hour, 1}, {time.Hour, 0}} {
		all, _ = failed(c.each, c.value, 5)
		if r, _, notes, err := prepare(all); err != nil || analysis.HasNote(notes, "zero-days") || r.PlainMean > 95 {
			t.Errorf("five readings of %v of %g: mean %v, %v, %v", c.each, c.value, r.PlainMean, notes, err)
		}
	}
	all, _ = failed(24*time.Hour, 0, 39)
	if _, err := Mean(all, Options{}); err != nil {
		t.Errorf("21 days beside 39 of zero: %v", err)
	}
	all, _ = failed(24*time.Hour, 0, 41)
	if _, err := Mean(all, Options{}); err == nil || !strings.Contains(err.Error(), "19 days beside 41 of zero, which is a monitor that failed; this mean needs 20 days at least") {
		t.Errorf("19 days beside 41 of zero: %v", err)
	}

	// A correlation time at either end of what is looked at is a bound and said to be one.
	turns := make([]float64, 100)
	for i := range turns {
		turns[i] = 100 + 10*float64(1-2*(i%2)) + float64(i%7)
	}
	if r, err := Mean(series(t, 24*time.Hour, multiples(24, 100), turns), Options{}); err != nil || !r.NotSeen || math.Abs(r.CorrelationTime-24./5) > 0.05 || !analysis.HasNote(r.Mean.Notes, "correlation-not-seen") {
		t.Errorf("days that turn: %v, %v, %v", r.CorrelationTime, r.Mean.Notes, err)
	}
	if r, err := Mean(series(t, time.Hour, count(500), y), Options{}); err != nil || r.NotSeen || analysis.HasNote(r.Mean.Notes, "correlation-not-seen") {
		t.Errorf("hours that resemble each other: %v, %v", r.CorrelationTime, err)
	}
	rise := make([]float64, 100)
	for i := range rise {
		rise[i] = 50 + float64(i) + 0.1*float64(i%2)
	}
	if _, err := Mean(series(t, 24*time.Hour, multiples(24, 100), rise), Options{}); err == nil || !strings.Contains(err.Error(), "hours at least") {
		t.Errorf("days that only rise: %v", err)
	}

	// Three days of hours last 72 of them, from the first one's start to the last one's
	// end, and lose their daily cycle; an hour less keeps it, and then it is all there is.
	wave := func(n int) analysis.Series {
		y := make([]float64, n)
		for i := range y {
			y[i] = 50 + 20*math.Cos(2*math.Pi*(float64(i)+0.5)/24) + float64(1-2*(i%2))
		}
		return series(t, time.Hour, count(n), y)
	}
	if r, err := Mean(wave(72), Options{}); err != nil || r.Mean.Upper-r.Mean.Lower > 2 {
		t.Errorf("72 hours of a daily cycle: %v, %v", r.Mean, err)
	}
	if r, err := Mean(wave(71), Options{}); err == nil || !strings.Contains(err.Error(), "the record lasts 1.0 times") {
		t.Errorf("71 hours of a daily cycle: %v, %v", r.Mean, err)
	}

	// Two short runs a year apart are no long record.
	runs, at := wander(rand.New(rand.NewPCG(1, 12)), 150, 0.98, 0), count(150)
	runs = append(runs, wander(rand.New(rand.NewPCG(1, 13)), 150, 0.98, 0)...)
	for i := range 150 {
		at = append(at, float64(8760+i))
	}
	if r, err := Mean(series(t, time.Hour, at, runs), Options{}); err != nil || !analysis.HasNote(r.Mean.Notes, "short-record") {
		t.Errorf("300 hours in two runs: %v, %v, %v", r.CorrelationTime, r.Mean.Notes, err)
	}

	// A slow trend under quick hours: the model looks at the hours, the cosines at the
	// record.
	moved := wander(rng, 3000, 0.8, 0)
	for i := range moved {
		moved[i] += float64(i) / 200
	}
	r, err := Mean(series(t, time.Hour, count(3000), moved), Options{})
	if err != nil || !analysis.HasNote(r.Mean.Notes, "wider-of-two") || !told(r) || r.Mean.Method != CosineWeights {
		t.Errorf("the trend was not noticed: %+v, %v", r, err)
	}
	if r, err = Mean(series(t, time.Hour, count(500), y), Options{}); err != nil || analysis.HasNote(r.Mean.Notes, "wider-of-two") || analysis.HasNote(r.Mean.Notes, "short-record") {
		t.Errorf("%v, %v", r.Mean.Notes, err)
	}
	// Long enough to be answered, too short to hold all it says.
	short := wander(rand.New(rand.NewPCG(1, 9)), 300, 0.95, 0)
	if r, err = Mean(series(t, time.Hour, count(300), short), Options{}); err != nil || !analysis.HasNote(r.Mean.Notes, "short-record") {
		t.Errorf("%v, %v; correlation time %v", r.Mean.Notes, err, r.CorrelationTime)
	}
	for hours, want := range map[float64]string{2832.4: "2832", 999.6: "1000", 999.4: "999", 38.68: "38.7"} {
		if got := hoursInWords(hours); got != want {
			t.Errorf("%v hours are %q, not %q", hours, got, want)
		}
	}
}

// FuzzMean: whatever the readings, an error or a sound answer.
func FuzzMean(f *testing.F) {
	pack := func(x ...float64) (b []byte) {
		for _, v := range x {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		}
		return b
	}
	rng := rand.New(rand.NewPCG(5, 5))
	f.Add(pack(wander(rng, 60, 0.3, 0.5)...), uint16(1), 0.95)
	f.Add(pack(slices.Repeat([]float64{1e300, 1e-300, 0}, 10)...), uint16(24), 0.9)
	f.Add(pack(slices.Repeat([]float64{1e-300, 3e-300}, 15)...), uint16(100), 0.6)
	f.Fuzz(func(t *testing.T, b []byte, step uint16, confidence float64) {
		var rs []analysis.Reading
		at := begin
		for ; len(b) >= 8 && len(rs) < 200; b = b[8:] {
			bits := binary.LittleEndian.Uint64(b)
			rs = append(rs, analysis.Reading{Start: at, End: at.Add(time.Hour), Concentration: math.Abs(math.Float64frombits(bits)), BelowLimit: bits%19 == 3})
			at = at.Add(time.Hour + time.Duration(bits%3*uint64(step))*time.Minute)
		}
		s, err := analysis.NewSeries(analysis.Place{Home: "h"}, nil, rs)
		if err != nil {
			return
		}
		r, err := Mean(s, Options{Confidence: confidence})
		if err != nil {
			return
		}
		for _, e := range []analysis.Estimate{r.Mean, r.Likelihood, r.Cosine} {
			if err := e.Check(); err != nil {
				t.Error(err)
			}
		}
		for _, x := range []float64{r.PlainMean, r.Spread, r.CorrelationTime, r.Noise, r.EffectiveN, r.NaiveHalfWidth} {
			if math.IsNaN(x) || math.IsInf(x, 0) || x < 0 {
				t.Errorf("%+v", r)
			}
		}
	})
}

func BenchmarkMean(b *testing.B) {
	y := wander(rand.New(rand.NewPCG(1, 1)), 8760, 0.95, 0.5)
	s := series(b, time.Hour, count(8760), y)
	for b.Loop() {
		if _, err := Mean(s, Options{}); err != nil {
			b.Fatal(err)
		}
	}
}

// TestMethods: each estimate is by a method that says all it has to, with every
// code it noted.
func TestMethods(t *testing.T) {
	known := map[string]analysis.Method{}
	var keys []string
	for _, m := range Methods {
		keys = append(keys, m.Key)
		if err := m.Check(); err != nil {
			t.Error(err)
		}
		known[m.Key] = m
	}
	r, err := Mean(series(t, time.Hour, count(300), wander(rand.New(rand.NewPCG(1, 9)), 300, 0.95, 0)), Options{})
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range []analysis.Estimate{r.Likelihood, r.Cosine} {
		m, ok := known[e.Method]
		if !ok || len(e.Notes) == 0 {
			t.Errorf("%q is no known method, or noted nothing", e.Method)
		}
		for _, n := range e.Notes {
			if !slices.Contains(m.Notes, n.Code) {
				t.Errorf("%s does not say that it can note %s", e.Method, n.Code)
			}
		}
	}
	if want := []string{Autoregressive, CosineWeights, LagOneKey}; !slices.Equal(keys, want) {
		t.Errorf("methods are %v, not %v", keys, want)
	}
	if r.Likelihood.Method != Autoregressive || r.Cosine.Method != CosineWeights {
		t.Errorf("the estimates are by %s and %s", r.Likelihood.Method, r.Cosine.Method)
	}
}
