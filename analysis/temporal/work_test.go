package temporal

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// slowPair is Pair for day means in one room within the target's year, as one dense
// Gaussian over every day without the system and with it.
func slowPair(p *Profile, h Home, scale float64) Pair {
	w := *h.Work
	n := h.To - h.From
	first := h.From
	at := func(day int, worked bool) int {
		if worked {
			return n + day - first
		}
		return day - first
	}
	var sum, count [2]float64
	for _, o := range h.Observations {
		k := 0
		if o.Worked {
			k = 1
		}
		sum[k] += o.Log
		count[k]++
	}
	level, step := sum[0]/count[0], sum[1]/count[1]-sum[0]/count[0]
	N := 2*n + len(h.Detectors)
	mean, K := mat.NewVecDense(N, nil), mat.NewSymDense(N, nil)
	season := func(x, y [Harmonics]float64) float64 {
		s := 0.0
		for i := range x {
			for j := range y {
				s += x[i] * p.Season.Cov[i][j] * y[j]
			}
		}
		return s
	}
	for a := range 2 * n {
		d, with := a%n+first, a >= n
		s := p.Season.At(d)
		mean.SetVec(a, level+s)
		if with {
			mean.SetVec(a, level+step+w.Season*s)
		}
		for b := a; b < 2*n; b++ {
			e, withB := b%n+first, b >= n
			sa, ka, sb, kb := 1.0, 1.0, 1.0, 1.0
			if with {
				sa, ka = w.Season, w.Drift
			}
			if withB {
				sb, kb = w.Season, w.Drift
			}
			ou := 0.0
			for _, c := range p.Drift {
				ou += scale * c.Variance * math.Exp(-math.Abs(float64(d-e))/c.Days)
			}
			x := season(Regressors(d), Regressors(e))
			v := flatVariance + sa*sb*x + ka*kb*ou
			if with && withB {
				v += flatVariance + w.OwnSeason*x + w.OwnDrift*ou
			}
			K.SetSym(a, b, v)
		}
	}
	for i, sd := range h.Detectors {
		K.SetSym(2*n+i, 2*n+i, sd*sd)
	}
	m := len(h.Observations)
	H := mat.NewDense(m, N, nil)
	y, R := mat.NewVecDense(m, nil), mat.NewSymDense(m, nil)
	for i, o := range h.Observations {
		H.Set(i, at(o.First, o.Worked), 1)
		H.Set(i, 2*n+o.Detector, 1)
		y.SetVec(i, o.Log)
		R.SetSym(i, i, o.Variance+p.DayNoise*p.DayNoise)
	}
	var HK, S, KH mat.Dense
	HK.Mul(H, K)
	S.Mul(&HK, H.T())
	S.Add(&S, R)
	KH.CloneFrom(HK.T())
	var inverse mat.Dense
	if err := inverse.Inverse(&S); err != nil {
		panic(err)
	}
	var gain, drop mat.Dense
	gain.Mul(&KH, &inverse)
	drop.Mul(&gain, &HK)
	var res, move mat.VecDense
	res.MulVec(H, mean)
	res.SubVec(y, &res)
	move.MulVec(&gain, &res)
	post := func(a int) float64 { return mean.AtVec(a) + move.AtVec(a) }
	cov := func(a, b int) float64 { return K.At(a, b) - drop.At(a, b) }
	var total [2]float64
	weight := make([]float64, 2*n)
	for a := range weight {
		weight[a] = math.Exp(post(a) + cov(a, a)/2)
		total[a/n] += weight[a]
	}
	var v [2][2]float64
	for a := range weight {
		for b := range weight {
			v[a/n][b/n] += weight[a] * weight[b] * cov(a, b) / total[a/n] / total[b/n]
		}
	}
	var out Pair
	out.Without.LogMedian = math.Log(total[0]/float64(n)) - v[0][0]/2
	out.With.LogMedian = math.Log(total[1]/float64(n)) - v[1][1]/2
	out.Without.LogSD, out.With.LogSD = math.Sqrt(v[0][0]), math.Sqrt(v[1][1])
	out.LogRatio = out.With.LogMedian - out.Without.LogMedian
	out.RatioSD = math.Sqrt(v[0][0] + v[1][1] - 2*v[0][1])
	return out
}

// TestPairAgainstSlow: the filter and the dense Gaussian give the same pair.
func TestPairAgainstSlow(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	p := BuiltIn(false)
	for trial := range 6 {
		start := 20000 + r.IntN(365)
		h := Home{From: start, To: start + 120, Detectors: []float64{0.05, 0.07}, Rooms: 1,
			Work: &Work{Season: r.Float64(), OwnSeason: 0.4 * r.Float64(), Drift: 0.5 + r.Float64()/2, OwnDrift: 0.3 * r.Float64()}}
		before, after := 5+r.IntN(30), 5+r.IntN(30)
		for i := range before {
			h.Observations = append(h.Observations, Observation{First: start + 10 + i, Last: start + 10 + i, FirstShare: 1, LastShare: 1, Log: 5 + 0.5*r.NormFloat64(), Variance: 0.001})
		}
		for i := range after {
			d := start + 60 + i
			h.Observations = append(h.Observations, Observation{First: d, Last: d, FirstShare: 1, LastShare: 1, Log: 3 + 0.4*r.NormFloat64(), Variance: 0.002, Worked: true, Detector: trial % 2})
		}
		got, err := p.Pair(h)
		if err != nil {
			t.Fatal(err)
		}
		want := slowPair(p, h, got.With.Scale)
		for _, c := range []struct {
			name      string
			got, want float64
		}{
			{"without", got.Without.LogMedian, want.Without.LogMedian}, {"with", got.With.LogMedian, want.With.LogMedian},
			{"without sd", got.Without.LogSD, want.Without.LogSD}, {"with sd", got.With.LogSD, want.With.LogSD},
			{"ratio", got.LogRatio, want.LogRatio}, {"ratio sd", got.RatioSD, want.RatioSD},
		} {
			if !(math.Abs(c.got-c.want) < 1e-6) {
				t.Errorf("trial %d, %s: %.9f, dense %.9f", trial, c.name, c.got, c.want)
			}
		}
	}
}

// TestWorkByHand: the shares that a system leaves, by its ratio: r² of the season,
// (1 + r)/2 of the drift, and of their own 0.45·(1 − r) and 0.2·(1 − r) of the profile's
// variances. A system that does nothing, or harm, leaves all and brings nothing.
func TestWorkByHand(t *testing.T) {
	for r, want := range map[float64]Work{
		0:   {Season: 0, OwnSeason: 0.45, Drift: 0.5, OwnDrift: 0.2},
		0.2: {Season: 0.04, OwnSeason: 0.36, Drift: 0.6, OwnDrift: 0.16},
		0.5: {Season: 0.25, OwnSeason: 0.225, Drift: 0.75, OwnDrift: 0.1},
		1:   {Season: 1, Drift: 1},
		3:   {Season: 1, Drift: 1},
	} {
		got := WorkOf(r)
		for _, c := range [][2]float64{{got.Season, want.Season}, {got.OwnSeason, want.OwnSeason}, {got.Drift, want.Drift}, {got.OwnDrift, want.OwnDrift}} {
			if !(math.Abs(c[0]-c[1]) < 1e-12) {
				t.Errorf("r = %g: %+v, want %+v", r, got, want)
				break
			}
		}
		if got.Step != nil {
			t.Errorf("r = %g: a step is known", r)
		}
	}
}

// TestPairRefuses: what cannot be compared is an error.
func TestPairRefuses(t *testing.T) {
	p := BuiltIn(false)
	day := func(d int, worked bool) Observation {
		return Observation{First: d, Last: d, FirstShare: 1, LastShare: 1, Log: 5, Worked: worked}
	}
	good := Home{From: 100, To: 465, Detectors: []float64{0.05}, Rooms: 1, Observations: []Observation{day(200, false), day(300, true)}, Work: &Work{Season: 1, Drift: 1}}
	if _, err := p.Pair(good); err != nil {
		t.Fatal(err)
	}
	for name, c := range map[string]struct {
		change func(h *Home)
		says   string
	}{
		"no work":   {func(h *Home) { h.Work = nil }, "no system"},
		"long run":  {func(h *Home) { h.LongRun = true }, "one year"},
		"one side":  {func(h *Home) { h.Observations = h.Observations[:1] }, "both are needed"},
		"wild work": {func(h *Home) { h.Work = &Work{Season: math.NaN(), Drift: 1} }, "leaves NaN"},
		"only below": {func(h *Home) {
			h.Observations = []Observation{day(200, false), {First: 300, Last: 300, FirstShare: 1, LastShare: 1, Log: 2, Worked: true, Below: true}}
		}, "below its limit"},
	} {
		h := good
		c.change(&h)
		if _, err := p.Pair(h); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s: %v", name, err)
		}
	}
	if _, err := p.Posterior(good); err == nil {
		t.Error("Posterior took a home with a system")
	}
}
