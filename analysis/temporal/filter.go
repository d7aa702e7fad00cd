package temporal

import "math"

// filter is a Kalman filter over a tape: the forward pass writes down each step,
// the backward pass reads the tape in reverse and knows nothing else. One day
// costs a fixed number of n×n operations, so a home costs O(days).
//
// The state is a short vector x: the home's level, its season coefficients,
// the drift components, detector errors, room offsets, and accumulators that
// sum a weighted stretch of days for integrating detectors. All of it is static
// but the drift, which decays and is refreshed at each advance.
type filter struct {
	n      int
	a, p   []float64 // mean, and covariance in row order
	phi, q []float64 // per state: decay a day and refreshed variance; phi 1, q 0 for a static state
	moving []int     // the states with phi < 1
	tape   []step
	arena  []float64
	tmp    []float64
}

type stepKind uint8

const (
	stepUpdate  stepKind = iota // y = h·x + noise was seen
	stepQuery                   // what is h·x, given everything?
	stepSum                     // x[slot] += w h·x
	stepZero                    // x[slot] = 0
	stepAdvance                 // one day passes
)

type step struct {
	kind stepKind
	slot int
	w    float64   // stepSum: the weight
	h, b []float64 // h, and b = P h as it was at that moment
	mean float64   // stepQuery: h·a
	v, f float64   // stepUpdate: innovation and its variance; stepQuery: f = h·P h
}

func newFilter(n, days int) *filter {
	return &filter{
		n: n, a: make([]float64, n), p: make([]float64, n*n),
		phi: ones(n), q: make([]float64, n),
		tape: make([]step, 0, 3*days+16), arena: make([]float64, 0, 4*n*(days+16)), tmp: make([]float64, 2*n),
	}
}

func ones(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = 1
	}
	return x
}

// decay makes state i an Ornstein-Uhlenbeck process of the given stationary
// variance and correlation time, started from its stationary law.
func (f *filter) decay(i int, variance, days float64) {
	f.phi[i] = math.Exp(-1 / days)
	f.q[i] = variance * -math.Expm1(-2/days)
	f.p[i*f.n+i] = variance
	f.moving = append(f.moving, i)
}

// keep copies a vector into the arena, which outlives the step that made it.
func (f *filter) keep(x []float64) []float64 {
	if len(f.arena)+len(x) > cap(f.arena) {
		f.arena = make([]float64, 0, max(2*cap(f.arena), 64*f.n))
	}
	at := len(f.arena)
	f.arena = append(f.arena, x...)
	return f.arena[at:len(f.arena):len(f.arena)]
}

// times puts P h into b and returns h·a and h·P h.
func (f *filter) times(h, b []float64) (mean, variance float64) {
	n := f.n
	for i := range n {
		row := f.p[i*n : i*n+n]
		s := 0.0
		for j, x := range row {
			s += x * h[j]
		}
		b[i] = s
	}
	for i, x := range h {
		mean += x * f.a[i]
		variance += x * b[i]
	}
	return mean, variance
}

func (f *filter) update(h []float64, y, noise float64) {
	b := f.tmp[:f.n]
	mean, hph := f.times(h, b)
	v, F := y-mean, hph+noise
	for i, bi := range b {
		k := bi / F
		f.a[i] += k * v
		row := f.p[i*f.n : i*f.n+f.n]
		for j, bj := range b {
			row[j] -= k * bj
		}
	}
	f.tape = append(f.tape, step{kind: stepUpdate, h: f.keep(h), b: f.keep(b), v: v, f: F})
}

func (f *filter) query(h []float64) {
	b := f.tmp[:f.n]
	mean, hph := f.times(h, b)
	f.tape = append(f.tape, step{kind: stepQuery, h: f.keep(h), b: f.keep(b), mean: mean, f: hph})
}

func (f *filter) sum(slot int, w float64, h []float64) {
	b, n := f.tmp[:f.n], f.n
	mean, hph := f.times(h, b)
	f.a[slot] += w * mean
	for i := range n {
		f.p[i*n+slot] += w * b[i]
		f.p[slot*n+i] += w * b[i]
	}
	// The two lines above count w·b[slot] twice on the diagonal, as they
	// should: Var(s + w c) = Var s + 2 w Cov + w² Var c.
	f.p[slot*n+slot] += w * w * hph
	f.tape = append(f.tape, step{kind: stepSum, slot: slot, w: w, h: f.keep(h)})
}

func (f *filter) zero(slot int) {
	n := f.n
	f.a[slot] = 0
	for i := range n {
		f.p[i*n+slot], f.p[slot*n+i] = 0, 0
	}
	f.tape = append(f.tape, step{kind: stepZero, slot: slot})
}

func (f *filter) advance() {
	n := f.n
	for _, i := range f.moving {
		ph := f.phi[i]
		f.a[i] *= ph
		row := f.p[i*n : i*n+n]
		for j := range row {
			row[j] *= ph
		}
		for j := range n {
			f.p[j*n+i] *= ph
		}
		f.p[i*n+i] += f.q[i]
	}
	f.tape = append(f.tape, step{kind: stepAdvance})
}

// moment is the mean and variance of a queried h·x given all the data.
type moment struct{ mean, variance float64 }

// smooth reads the tape backwards (de Jong 1989, Biometrika 76:1001; the
// covariances of de Jong and Mackinnon 1988, Biometrika 75:601). It returns the
// moments of every query in tape order, and the covariances of up to two sums
// Σ w h·x, each over queries of its own, with weights that the caller may choose
// from each query's own moments as they become known.
func (f *filter) smooth(sums int, weight func(query int, m moment) (of int, w float64)) (moments []moment, total [2][2]float64) {
	n := f.n
	r := make([]float64, n)
	var adj [2][]float64
	for k := range sums {
		adj[k] = make([]float64, n)
	}
	N := make([]float64, n*n)
	nb := make([]float64, n)
	at := 0
	for i := range f.tape {
		if f.tape[i].kind == stepQuery {
			at++
		}
	}
	moments = make([]moment, at)
	for t := len(f.tape) - 1; t >= 0; t-- {
		s := &f.tape[t]
		switch s.kind {
		case stepQuery:
			at--
			mean, variance := s.mean, s.f
			for i := range n {
				row, x := N[i*n:i*n+n], 0.0
				for j, y := range row {
					x += y * s.b[j]
				}
				nb[i] = x
				mean += s.b[i] * r[i]
			}
			for i := range n {
				variance -= s.b[i] * nb[i]
			}
			m := moment{mean, max(variance, 0)}
			moments[at] = m
			if of, w := weight(at, m); w != 0 {
				total[of][of] += w * w * m.variance
				for k := range sums {
					cross := 0.0
					for i := range n {
						cross += s.b[i] * adj[k][i]
					}
					total[of][k] += w * cross
					total[k][of] += w * cross
				}
				for i := range n {
					adj[of][i] += w * (s.h[i] - nb[i])
				}
			}
		case stepUpdate:
			// K = b/f; L = I − K h'.
			kr, kNk := 0.0, 0.0
			var ka [2]float64
			for i := range n {
				row, x := N[i*n:i*n+n], 0.0
				for j, y := range row {
					x += y * s.b[j]
				}
				nb[i] = x / s.f // N K
				kr += s.b[i] * r[i]
			}
			for k := range sums {
				for i := range n {
					ka[k] += s.b[i] * adj[k][i]
				}
				ka[k] /= s.f
			}
			for i := range n {
				kNk += s.b[i] * nb[i]
			}
			kr, kNk = kr/s.f, kNk/s.f
			c, g := 1/s.f+kNk, s.v/s.f-kr
			for k := range sums {
				for i, hi := range s.h {
					adj[k][i] -= hi * ka[k]
				}
			}
			for i, hi := range s.h {
				r[i] += hi * g
				row := N[i*n : i*n+n]
				u := c*hi - nb[i]
				for j, hj := range s.h {
					row[j] += u*hj - hi*nb[j]
				}
			}
		case stepSum:
			// x' = (I + w e h') x, so r = r' + w h r'[slot], and likewise each side of N.
			k, w := s.slot, s.w
			copy(nb, N[k*n:k*n+n])
			nkk := N[k*n+k]
			for i, hi := range s.h {
				r[i] += w * hi * r[k]
				for l := range sums {
					adj[l][i] += w * hi * adj[l][k]
				}
				row := N[i*n : i*n+n]
				for j, hj := range s.h {
					row[j] += w*(hi*nb[j]+nb[i]*hj) + w*w*hi*hj*nkk
				}
			}
		case stepZero:
			k := s.slot
			r[k] = 0
			for l := range sums {
				adj[l][k] = 0
			}
			for i := range n {
				N[i*n+k], N[k*n+i] = 0, 0
			}
		case stepAdvance:
			for _, i := range f.moving {
				ph := f.phi[i]
				r[i] *= ph
				for k := range sums {
					adj[k][i] *= ph
				}
				row := N[i*n : i*n+n]
				for j := range row {
					row[j] *= ph
				}
				for j := range n {
					N[j*n+i] *= ph
				}
			}
		}
	}
	for k := range sums {
		total[k][k] = max(total[k][k], 0)
	}
	return moments, total
}
