package serial

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis/internal/numeric"
)

// record is a series as the filter sees it: values about their middle, and which
// of the distances lies before each.
type record struct {
	y      []float64
	gap    []int     // index into hours of the distance before value i; gap[0] is not used
	hours  []float64 // the distances there are
	length float64   // from the first value's middle to the last's, hours
}

// state is one pass of the filter at a correlation time and a share of noise.
type state struct {
	logl     float64 // restricted log likelihood
	mean     float64
	variance float64 // of one value
	weight   float64 // variance of one value over that of the mean: the effective number
}

// pass runs the Kalman filter of y = mean + x + noise, x falling back with e^(−h/τ)
// over h hours; variances are relative to that of one value, of which share is the
// noise's. The innovations of y and of a series of ones have the same gains, and
// give the generalized least squares mean.
func (r record) pass(tau, share float64) state {
	phi := make([]float64, len(r.hours))
	for i, h := range r.hours {
		phi[i] = math.Exp(-h / tau)
	}
	g := newGains(share)
	var x, one float64
	var sww, swu, suu float64
	for i, y := range r.y {
		f := 1.0
		if i > 0 {
			f = phi[r.gap[i]]
			x *= f
			one *= f
		}
		k, inv := g.next(f)
		u, w := y-x, 1-one
		sww += w * w * inv
		swu += w * u * inv
		suu += u * u * inv
		x += k * u
		one += k * w
	}
	n := len(r.y)
	s := state{mean: swu / sww, weight: sww}
	s.variance = (suu - swu*swu/sww) / float64(n-1)
	s.logl = -(float64(n-1)*math.Log(s.variance) + g.logDet() + math.Log(sww)) / 2
	return s
}

// gains are the Kalman filter's, which depend on distances alone: of x and noise
// of variance 1 together, how much of what a value shows the next is told.
type gains struct {
	p, share        float64 // variance of x before it is seen; of the noise
	f, v, inv, gain float64 // of the last value
	steady          bool    // with the same f as the last, all would be the same again
	product         float64 // of the innovations' variances, as far as not in logs
	logs            float64
}

func newGains(share float64) gains { return gains{p: 1 - share, share: share, product: 1} }

// next is the gain of the next value, and one over the variance of its innovation;
// x has fallen back to the share f since the last.
func (g *gains) next(f float64) (gain, inv float64) {
	if !g.steady || f != g.f {
		p := f*f*g.p + (1-f*f)*(1-g.share)
		g.v = p + g.share
		g.inv = 1 / g.v
		g.gain = p * g.inv
		p *= 1 - g.gain
		g.steady = f == g.f && p == g.p
		g.f, g.p = f, p
	}
	if g.product *= g.v; g.product < 1e-200 {
		g.logs += math.Log(g.product)
		g.product = 1
	}
	return g.gain, g.inv
}

// logDet is the log determinant of the correlations of all values so far.
func (g *gains) logDet() float64 { return g.logs + math.Log(g.product) }

// place is a state with where it is.
type place struct {
	tau, share float64
	state
}

// shares are the logits of the noise's share looked at.
var shares = []float64{-8, -5, -3.25, -2, -1, 0, 1, 2, 3.5}

// times is how many correlation times are looked at, evenly in their logarithm,
// from half a step to half the record.
const times = 12

// looked is the record at each of some correlation times, by their logarithms, with
// each of some shares of noise, by their logits.
type looked struct {
	logTaus, logits []float64 // ascending
	places          []place   // of the first time all shares, and so on
}

func (r record) look(logTaus, logits []float64) looked {
	l := looked{logTaus, logits, nil}
	for _, logTau := range logTaus {
		for _, logit := range logits {
			tau, share := math.Exp(logTau), 1/(1+math.Exp(-logit))
			l.places = append(l.places, place{tau, share, r.pass(tau, share)})
		}
	}
	return l
}

// bounds are the logarithms of half a step and half the record.
func (r record) bounds() (least, most float64) {
	return math.Log(r.step() / 2), math.Log(r.length / 2)
}

// grid is the record at those times and shares.
func (r record) grid() looked {
	least, most := r.bounds()
	logTaus := make([]float64, times)
	for i := range logTaus {
		logTaus[i] = least + (most-least)*(float64(i)+0.5)/times
	}
	return r.look(logTaus, shares)
}

// What makes a grid too coarse, how far below the top a log likelihood still counts
// where the next grid is laid, and how often one follows another at most.
const (
	sharp   = 2. / 3
	nearBy  = 1
	counts  = 10
	repeats = 4
)

// closer is the grid, or where the likelihood is too sharp for it, as it is in long
// records, as many places about the top: from the last time and share below all that
// count to the first above. It is repeated until none is too coarse.
func (r record) closer(l looked, top place) looked {
	least, most := r.bounds()
	lowest, highest := shares[0], shares[len(shares)-1]
	tau := min(max(math.Log(top.tau), least), most)
	logit := min(max(math.Log(top.share/(1-top.share)), lowest), highest)
	logl := r.look([]float64{tau}, []float64{logit}).places[0].logl // within these bounds
	for range repeats {
		if !l.coarse(logl) {
			break
		}
		tauFrom, tauTo, from, to := tau, tau, logit, logit
		high := max(logl, l.best().logl)
		for i, p := range l.places {
			if p.logl > high-counts {
				a, b := l.logTaus[i/len(l.logits)], l.logits[i%len(l.logits)]
				tauFrom, tauTo, from, to = min(tauFrom, a), max(tauTo, a), min(from, b), max(to, b)
			}
		}
		l = r.look(about(l.logTaus, tauFrom, tauTo, least, most), about(l.logits, from, to, lowest, highest))
	}
	return l
}

// best is the place where the likelihood is largest.
func (l looked) best() place {
	return slices.MaxFunc(l.places, func(a, b place) int { return cmp.Compare(a.logl, b.logl) })
}

// coarse says whether one time, or one share, that is not the first or last has most
// of the weight, or no log likelihood comes near that of the top. The first and last
// stand for all beyond them.
func (l looked) coarse(top float64) bool {
	byTau, byShare, total, best := make([]float64, len(l.logTaus)), make([]float64, len(l.logits)), 0.0, l.best().logl
	for i, p := range l.places {
		w := math.Exp(p.logl - best)
		byTau[i/len(l.logits)] += w
		byShare[i%len(l.logits)] += w
		total += w
	}
	inner := func(weights []float64) float64 { return slices.Max(weights[1 : len(weights)-1]) }
	return max(inner(byTau), inner(byShare)) > sharp*total || best < top-nearBy
}

// about is as many values evenly from the last under from to the first over to,
// and no further than between least and most.
func about(values []float64, from, to, least, most float64) []float64 {
	below, above := least, most
	for _, v := range values {
		if v < from {
			below = max(below, v)
		}
		if v > to {
			above = min(above, v)
		}
	}
	even := make([]float64, len(values))
	for i := range even {
		even[i] = below + (above-below)*float64(i)/float64(len(even)-1)
	}
	return even
}

// shortest and longest are the correlation times between which the largest likelihood
// is sought, hours.
func (r record) shortest() float64 { return r.step() / 5 }
func (r record) longest() float64  { return 2 * r.length }

// atBound is how near to one of them, relatively, a time counts as being there.
const atBound = 0.01

// step is the shortest distance there is.
func (r record) step() float64 { return slices.Min(r.hours) }

// best is where the restricted likelihood is largest: by simplex, from the best of
// the grid.
func (r record) best(grid looked) (place, error) {
	from := grid.best()
	if math.IsInf(from.logl, 0) || math.IsNaN(from.logl) {
		return from, fmt.Errorf("no likelihood can be had of these values")
	}
	tau, share, err := climb(from.tau, from.share, r.shortest(), r.longest(), func(tau, share float64) float64 { return r.pass(tau, share).logl })
	if err != nil {
		return from, err
	}
	return place{tau, share, r.pass(tau, share)}, nil
}

// climb is the top of a log likelihood of a correlation time between two others and
// a share of noise, by simplex from where it is high.
func climb(tau, share, shortest, longest float64, logl func(tau, share float64) float64) (float64, float64, error) {
	least, most := math.Log(shortest), math.Log(longest)
	at := func(z []float64) (float64, float64) {
		return math.Exp(min(max(z[0], least), most)), 1 / (1 + math.Exp(-min(max(z[1], -20), 7)))
	}
	p := optimize.Problem{Func: func(z []float64) float64 { return -logl(at(z)) }}
	res, err := optimize.Minimize(p, []float64{math.Log(tau), math.Log(share / (1 - share))}, &optimize.Settings{
		Converger: &optimize.FunctionConverge{Absolute: 1e-10, Iterations: 40}, MajorIterations: 400,
	}, &optimize.NelderMead{SimplexSize: 0.3})
	if err != nil && res == nil {
		return tau, share, err
	}
	tau, share = at(res.X)
	return tau, share, nil
}

// averaged is the mean with each correlation time and share of noise counting as
// much as its restricted likelihood: a mixture of Student's distributions.
type averaged struct {
	mean, sd float64
	parts    []part
	nu       float64
}

type part struct{ weight, mean, se float64 }

func average(grid []place, n int) averaged {
	parts := make([]Part, len(grid))
	for i, p := range grid {
		parts[i] = Part{p.logl, p.mean, math.Sqrt(p.variance / p.weight)}
	}
	return mix(parts, float64(n-1))
}

func mix(parts []Part, nu float64) averaged {
	top := math.Inf(-1)
	for _, p := range parts {
		top = max(top, p.LogWeight)
	}
	a := averaged{nu: nu}
	total := 0.0
	for _, p := range parts {
		if w := math.Exp(p.LogWeight - top); w > 1e-7 {
			a.parts = append(a.parts, part{w, p.Mean, p.SE})
			total += w
		}
	}
	for i := range a.parts {
		p := &a.parts[i]
		p.weight /= total
		a.mean += p.weight * p.mean
	}
	for _, p := range a.parts {
		d := p.mean - a.mean
		a.sd += p.weight * (p.se*p.se + d*d)
	}
	a.sd = math.Sqrt(a.sd)
	return a
}

// quantile of the mixture at p.
func (a averaged) quantile(p float64) (float64, error) {
	t := distuv.StudentsT{Sigma: 1, Nu: a.nu}
	return numeric.RootNear(func(x float64) float64 {
		sum := -p
		for _, k := range a.parts {
			sum += k.weight * t.CDF((x-k.mean)/k.se)
		}
		return sum
	}, a.mean+a.sd*numeric.NormalQuantile(p), a.sd/4, 1e-9*a.sd)
}
