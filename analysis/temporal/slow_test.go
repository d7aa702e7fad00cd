package temporal

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// slowPosterior is the same model written out as one dense Gaussian over every
// day, room, shared day and detector: no filter, no tape, O(days³).
func slowPosterior(p *Profile, h Home) Posterior {
	if h.Only != nil {
		h.From, h.To = h.Only[0], h.Only[len(h.Only)-1]+1
	}
	first, last := h.From, h.To-1
	centre, n := 0.0, 0
	for _, o := range h.Observations {
		first, last = min(first, o.First), max(last, o.Last)
		centre += o.Log
		n++
	}
	centre /= float64(n)
	days, rooms := last-first+1, max(h.Rooms, 1)
	used := []int{}
	for _, o := range h.Observations {
		if !slices.Contains(used, o.Room) {
			used = append(used, o.Room)
		}
	}
	slices.Sort(used)

	regressors := func(d int) []float64 { x := Regressors(d); return x[:] }
	drift, noise, beta, cov := p.Drift, p.DayNoise, p.Season.Mean[:], [][]float64{p.Season.Cov[0][:], p.Season.Cov[1][:], p.Season.Cov[2][:], p.Season.Cov[3][:]}
	if c := p.Course; h.Course && p.Knows(h) {
		drift, noise, beta, cov, regressors = c.Drift, c.DayNoise, c.Mean, c.Cov, c.Regressors
	}
	if m, err := newMachine(p, h); err == nil && m.scale > 1 {
		drift = slices.Clone(drift)
		for i := range drift {
			drift[i].Variance *= m.scale
		}
	}
	ou := func(cs []Component, lag int) float64 {
		s := 0.0
		for _, c := range cs {
			s += c.Variance * math.Exp(-math.Abs(float64(lag))/c.Days)
		}
		return s
	}
	x := func(d, r int) int { return (d-first)*rooms + r }
	g := func(k int) int { return days*rooms + k }
	year0 := days*rooms + len(h.Detectors) // the draw of the target's year
	N := year0 + 1
	// Years count from the target's outward; other weather only where a course
	// was used and ends.
	year := func(d int) int {
		if d < h.From {
			return -((h.From - d + 364) / 365)
		}
		return max(0, (d-h.To+365)/365)
	}
	var shared []Component
	if c := p.Course; h.Course && p.Knows(h) {
		shared = c.Shared
	}
	unknown := func(d int) bool { return shared != nil && !p.Course.Knows(d) }
	mean := mat.NewVecDense(N, nil)
	K := mat.NewSymDense(N, nil)
	level, variance := centre, flatVariance
	if h.Prior != nil {
		level, variance = h.Prior.Mean, h.Prior.SD*h.Prior.SD
	}
	for d := first; d <= last; d++ {
		xd := regressors(d)
		season := 0.0
		for i, b := range beta {
			season += b * xd[i]
		}
		for r := range rooms {
			mean.SetVec(x(d, r), level+season)
			for e := d; e <= last; e++ {
				xe := regressors(e)
				k := variance - p.YearSD*p.YearSD + ou(drift, e-d)
				if year(d) == year(e) {
					k += p.YearSD * p.YearSD
				}
				if unknown(d) && unknown(e) {
					k += ou(shared, e-d)
				}
				for i := range xd {
					for j := range xe {
						k += xd[i] * cov[i][j] * xe[j]
					}
				}
				for q := range rooms {
					kk := k
					if q == r && rooms > 1 {
						kk += p.RoomSD * p.RoomSD
					}
					K.SetSym(x(d, r), x(e, q), kk)
				}
			}
		}
	}
	for k, sd := range h.Detectors {
		K.SetSym(g(k), g(k), sd*sd)
	}
	K.SetSym(year0, year0, p.YearSD*p.YearSD)
	for d := h.From; d < h.To; d++ {
		for r := range rooms {
			K.SetSym(x(d, r), year0, p.YearSD*p.YearSD)
		}
	}

	type row struct {
		h       []float64
		y, r    float64
		stretch bool
		o       Observation
		w       []float64
	}
	var rows []row
	for _, o := range h.Observations {
		rw := row{h: make([]float64, N), y: o.Log, o: o, stretch: o.First != o.Last}
		total := 0.0
		for d := o.First; d <= o.Last; d++ {
			f := 1.0
			if d == o.First {
				f = o.FirstShare
			}
			if d == o.Last {
				f = o.LastShare
			}
			rw.w = append(rw.w, f)
			total += f
		}
		for i := range rw.w {
			rw.w[i] /= total
			rw.h[x(o.First+i, o.Room)] = rw.w[i]
		}
		rw.h[g(o.Detector)] = 1
		rw.r = o.Variance + noise*noise/float64(o.Last-o.First+1)
		rows = append(rows, rw)
	}
	offset := make([]float64, len(rows))
	for range 200 {
		H := mat.NewDense(len(rows), N, nil)
		R := mat.NewVecDense(len(rows), nil)
		for i, rw := range rows {
			H.SetRow(i, rw.h)
			R.SetVec(i, rw.y-offset[i])
		}
		var KH, S mat.Dense
		KH.Mul(K, H.T())
		S.Mul(H, &KH)
		sym := mat.NewSymDense(len(rows), nil)
		for i := range rows {
			for j := i; j < len(rows); j++ {
				sym.SetSym(i, j, S.At(i, j))
			}
			sym.SetSym(i, i, S.At(i, i)+rows[i].r)
		}
		var ch mat.Cholesky
		if !ch.Factorize(sym) {
			panic("not positive definite")
		}
		var hm, inn, m mat.VecDense
		hm.MulVec(H, mean)
		inn.SubVec(R, &hm)
		ch.SolveVecTo(&inn, &inn)
		m.MulVec(&KH, &inn)
		m.AddVec(&m, mean)
		var SK, V mat.Dense
		if err := ch.SolveTo(&SK, KH.T()); err != nil {
			panic(err)
		}
		V.Mul(&KH, &SK)
		V.Sub(K, &V)

		change := 0.0
		for i := range rows {
			if !rows[i].stretch {
				continue
			}
			o, rw := rows[i].o, &rows[i]
			q := 0.0
			for a := range rw.w {
				for b := range rw.w {
					q += rw.h[x(o.First+a, o.Room)] * rw.h[x(o.First+b, o.Room)] * V.At(x(o.First+a, o.Room), x(o.First+b, o.Room))
				}
			}
			total := 0.0
			wn := make([]float64, len(rw.w))
			for a := range rw.w {
				k := x(o.First+a, o.Room)
				wn[a] = rw.w[a] * math.Exp(m.AtVec(k)+V.At(k, k)/2)
				total += wn[a]
			}
			off := math.Log(total) - q/2
			for a := range wn {
				k := x(o.First+a, o.Room)
				wn[a] /= total
				off -= wn[a] * m.AtVec(k)
				change = max(change, math.Abs(wn[a]-rw.h[k]))
				rw.h[k] += 0.6 * (wn[a] - rw.h[k])
			}
			change = max(change, math.Abs(off-offset[i]))
			offset[i] += 0.6 * (off - offset[i])
		}
		if change > 2e-8 {
			continue
		}
		// The target is the day, in the long run less its year's draw.
		e := 0.0
		if h.LongRun {
			e = 1
		}
		cov := func(a, b int) float64 {
			return V.At(a, b) - e*V.At(a, year0) - e*V.At(b, year0) + e*V.At(year0, year0)
		}
		var at []int
		var w []float64
		total := 0.0
		for d := h.From; d < h.To; d++ {
			if h.Only != nil && !slices.Contains(h.Only, d) {
				continue
			}
			for _, r := range used {
				k := x(d, r)
				at = append(at, k)
				w = append(w, math.Exp(m.AtVec(k)-e*m.AtVec(year0)+cov(k, k)/2))
				total += w[len(w)-1]
			}
		}
		s2 := 0.0
		for i, a := range at {
			for j, b := range at {
				s2 += w[i] * w[j] * cov(a, b)
			}
		}
		s2 /= total * total
		es := total / float64(len(at))
		out := Posterior{LogMedian: math.Log(es) - s2/2, LogSD: math.Sqrt(s2), Mean: es}
		for i := 0; i < len(at); i += len(used) {
			// The rooms' logarithms averaged; over one room that is the day itself.
			sum, v, expected := 0.0, 0.0, 0.0
			for _, a := range at[i : i+len(used)] {
				sum += m.AtVec(a) / float64(len(used))
				expected += math.Exp(m.AtVec(a)+V.At(a, a)/2) / float64(len(used))
				for _, b := range at[i : i+len(used)] {
					v += V.At(a, b) / float64(len(used)*len(used))
				}
			}
			if !h.LongRun {
				sum = math.Log(expected) - v/2
			}
			out.Daily = append(out.Daily, Normal{sum, math.Sqrt(v + noise*noise)})
		}
		return out
	}
	panic("did not settle")
}

// randomHome is a home of a short year, so that the dense model stays small.
func randomHome(rng *rand.Rand) (*Profile, Home) {
	p := BuiltIn(rng.IntN(2) == 0)
	p.Drift = []Component{{1, rng.Float64() * .2}, {7, rng.Float64() * .2}, {45, rng.Float64() * .1}}
	p.Season.Cov[0][1] = 0.01
	p.Season.Cov[1][0] = 0.01
	p.DayNoise = 0.02 + 0.1*rng.Float64()
	first := 20000 + rng.IntN(365)
	h := Home{Daily: true, Rooms: 1 + rng.IntN(2), From: first, To: first + 90, Area: "A", Detectors: []float64{.05, .1, .03}, LongRun: rng.IntN(3) == 0}
	if rng.IntN(3) == 0 {
		h.Prior = &Normal{4.5, .8}
	}
	if rng.IntN(2) == 0 {
		c := &Course{First: first - 30, Areas: []string{"A"}, Factors: make([][]float64, 2), DayNoise: .03, Drift: []Component{{2, .1}, {9, .05}}, Shared: []Component{{5, .1}}}
		for range 150 + rng.IntN(60) {
			c.Factors[0] = append(c.Factors[0], rng.NormFloat64()*.3)
			c.Factors[1] = append(c.Factors[1], rng.NormFloat64()*.3)
			c.Homes = append(c.Homes, max(0, rng.IntN(40)))
		}
		c.Mean = append(append(c.Mean, p.Season.Mean[:]...), 1, .1)
		for i := range 6 {
			c.Cov = append(c.Cov, make([]float64, 6))
			c.Cov[i][i] = .02 * float64(1+i)
		}
		c.Cov[0][4], c.Cov[4][0] = .01, .01
		p.Course, h.Course = c, true
	}
	if rng.IntN(4) == 0 {
		for d := h.From; d < h.To; d += 1 + rng.IntN(3) {
			h.Only = append(h.Only, d)
		}
	}
	level := 3 + 3*rng.Float64()
	for range 1 + rng.IntN(3) {
		room, det := rng.IntN(h.Rooms), rng.IntN(3)
		start, n := first-20+rng.IntN(100), 1+rng.IntN(30)
		if rng.IntN(2) == 0 {
			for d := start; d < start+n; d++ {
				h.Observations = append(h.Observations, Observation{First: d, Last: d, FirstShare: 1, LastShare: 1,
					Log: level + .4*rng.NormFloat64(), Variance: .01 * rng.Float64(), Room: room, Detector: det})
			}
		} else {
			h.Observations = append(h.Observations, Observation{First: start, Last: start + n, FirstShare: .1 + .9*rng.Float64(), LastShare: .1 + .9*rng.Float64(),
				Log: level + .4*rng.NormFloat64(), Variance: .01 * rng.Float64(), Room: room, Detector: det})
		}
	}
	return p, h
}

// TestAgainstSlow holds the filter to the dense Gaussian on random homes: day
// means and stretches, two rooms, known and unknown weather, priors, chosen
// days, other years, the long run.
func TestAgainstSlow(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	courses := 0
	for i := range 60 {
		p, h := randomHome(rng)
		got, err := p.Posterior(h)
		if err != nil {
			t.Fatal(i, err)
		}
		want := slowPosterior(p, h)
		if got.Course {
			courses++
		}
		for _, c := range []struct {
			name string
			a, b float64
		}{{"median", got.LogMedian, want.LogMedian}, {"spread", got.LogSD, want.LogSD}, {"mean", got.Mean / want.Mean, 1}} {
			if math.Abs(c.a-c.b) > 1e-6 {
				t.Errorf("home %d: %s is %.9f, the dense model says %.9f", i, c.name, c.a, c.b)
			}
		}
		if len(got.Daily) != len(want.Daily) || len(got.Daily) != len(got.Days) {
			t.Fatalf("home %d: %d days of %d", i, len(got.Daily), len(want.Daily))
		}
		for k, d := range got.Daily {
			if math.Abs(d.Mean-want.Daily[k].Mean) > 1e-6 || math.Abs(d.SD-want.Daily[k].SD) > 1e-6 {
				t.Errorf("home %d, day %d: %v, the dense model says %v", i, k, d, want.Daily[k])
			}
		}
	}
	if courses < 5 {
		t.Errorf("only %d of the homes used a course; make the test harder", courses)
	}
}
