package survey

import (
	"math"

	"gonum.org/v1/gonum/integrate/quad"

	"radonyear/analysis/internal/numeric"
)

// The sum over an area's effect goes on until the integrand has fallen by e^-deep,
// in steps of finest over the root of its largest curvature: for a normal shape that
// is right to 2e^(−2π²/finest²), which is 5e-9.
//
// Where the homes below limits bend it by less than weak, because its exact homes say
// far more, Gauss-Hermite nodes about the top are as good. Where there would be more
// than so many steps, an edge is sharp beside the rest of it: then panels are halved
// until each is flat enough for Gauss-Legendre nodes.
const (
	deep     = 21
	finest   = 1
	mostEven = 64
	panel    = 1   // longest of a panel, over the root of its largest curvature
	weak     = 1.5 // the most curvature there can be, in units of the effect's spread given the exact homes
	reach    = 1e3 // spreads off a home's bounds that derivatives are known to
)

var (
	legendreX, legendreW = legendre(6)
	hermites             = []nodes{hermite(7), hermite(9)}
	hermiteWeak          = []float64{1.2, weak}
)

// nodes are Gauss-Hermite nodes in standard deviations, with the logarithms of what
// the integrand is to be multiplied by.
type nodes struct{ x, logW []float64 }

func hermite(n int) nodes {
	x, w := make([]float64, n), make([]float64, n)
	quad.Hermite{}.FixedLocations(x, w, math.Inf(-1), math.Inf(1))
	for i := range x {
		w[i] = math.Log(w[i]*math.Sqrt2) + x[i]*x[i]
		x[i] *= math.Sqrt2
	}
	return nodes{x, w}
}

// bounded is ln P(lower < N(eta, 1/inv²) < upper), with its first and second
// derivative by eta.
func bounded(lower, upper, eta, inv float64) (l, first, second float64) {
	a, b := (lower-eta)*inv, (upper-eta)*inv
	switch {
	case math.IsInf(a, -1):
		h := 0.0
		l, h = phiHazard(b)
		return l, -h * inv, -h * (b + h) * inv * inv
	case math.IsInf(b, 1):
		h := 0.0
		l, h = phiHazard(-a)
		return l, h * inv, -h * (h - a) * inv * inv
	}
	l = numeric.LogPhiBetween(a, b)
	fa, fb := math.Exp(-a*a/2-halfLog2Pi-l), math.Exp(-b*b/2-halfLog2Pi-l)
	d := fb - fa
	return l, -d * inv, min(a*fa-b*fb-d*d, 0) * inv * inv
}

// phiHazard is ln Φ(x) and φ(x)/Φ(x). Where nearly all of them are asked for, it
// reads them off a table of quintics that agree with it, its slope and its curvature
// at every 32nd of a unit: to 1e-13 and 1e-10, ten times as fast as by erfc.
func phiHazard(x float64) (l, h float64) {
	if x >= phiFrom && x < phiTo {
		u := (x - phiFrom) * phiCells
		i := min(int(u), len(phiTable)-1) // just below the end, u rounds up
		u -= float64(i)
		c := &phiTable[i]
		l = c[0] + u*(c[1]+u*(c[2]+u*(c[3]+u*(c[4]+u*c[5]))))
		h = phiCells * (c[1] + u*(2*c[2]+u*(3*c[3]+u*(4*c[4]+u*5*c[5]))))
		return l, h
	}
	return numeric.LogPhi(x), numeric.Hazard(x)
}

const (
	phiFrom, phiTo = -12, 5
	phiCells       = 32 // a unit
)

var phiTable = func() (t [(phiTo - phiFrom) * phiCells][6]float64) {
	at := func(i int) (l, first, second float64) { // in units of a cell
		x := phiFrom + float64(i)/phiCells
		h := numeric.Hazard(x)
		return numeric.LogPhi(x), h / phiCells, -h * (x + h) / (phiCells * phiCells)
	}
	for i := range t {
		l, f, s := at(i)
		l1, f1, s1 := at(i + 1)
		d, e, g := l1-l-f-s/2, f1-f-s, s1-s // what a parabola from the left lacks on the right
		t[i] = [6]float64{l, f, s / 2, 10*d - 4*e + g/2, -15*d + 7*e - g, 6*d - 3*e + g/2}
	}
	return t
}()

// areaWork is what integrating over one area's effect gives.
type areaWork struct {
	logE           float64   // ln of the expectation of the censored homes' probability
	grad, info     []float64 // its derivative by the fixed effects, and minus its second
	mean, variance float64   // of the effect, in units of its spread given the exact homes
	third          float64   // its third central moment
	cov            []float64 // of it with the derivative
	moments        bool      // whether weight is asked for
	weight         [3]float64
	eta, inv       []float64
	slope, bend    []float64 // derivatives by node and group
	curve          []float64 // by group: expectation of bend
	at, f          []float64
	score          []float64
}

// homesAt is ln of the probability of the area's censored homes where their logarithms'
// means are eta and shift, with its derivatives by each.
func (w *areaWork) homesAt(groups []group, shift float64, slope, bend []float64) (l float64) {
	for i := range groups {
		k := &groups[i]
		f, f1, f2 := bounded(k.lower, k.upper, w.eta[i]+shift, w.inv[i])
		l += k.count * f
		slope[i], bend[i] = k.count*f1, k.count*f2
	}
	return l
}

// within says whether the homes' bounds are near enough to what is expected of them
// for derivatives that are sums of large terms.
func (w *areaWork) within(groups []group, shift float64) bool {
	for i := range groups {
		k := &groups[i]
		eta, inv := w.eta[i]+shift, w.inv[i]
		far := max((k.lower-eta)*inv, (eta-k.upper)*inv)
		if most := reach; !(far < most) && !(math.IsInf(k.upper-k.lower, 1) && far < most*most) {
			return false
		}
	}
	return true
}

// integrate takes area j's expectation over its effect, which given its exact homes
// is N(m, g): of the censored homes' probabilities, at even steps about the top
// (trapezoidal rule for analytic functions: Trefethen and Weideman 2014, SIAM Rev.
// 56:385, from memory) or, where they count for little, at Gauss-Hermite nodes about
// it. What is integrated has one top, in the effect as in the fixed effects; many homes
// below their limits and few exact ones make it steep on one side, so the steps are as
// fine as its steepest bend wants.
func (d *design) integrate(j int, s *sums, tau float64, beta []float64, w *areaWork) {
	p := d.p
	groups := d.rest[d.first[j]:d.first[j+1]]
	n := len(groups)
	t := s.t[j*d.q : j*d.q+d.q]
	g := tau * tau / (1 + tau*tau*t[0])
	m := g * (t[p] - dot(t[:p], beta))
	root := math.Sqrt(g)
	if w.grad == nil {
		w.grad, w.cov, w.score, w.info = make([]float64, p), make([]float64, p), make([]float64, p), make([]float64, p*p)
	}
	w.eta, w.inv = w.eta[:0], w.inv[:0]
	most := 1.0 // curvature there can be
	for i := range groups {
		v := s.sigma*s.sigma + groups[i].se2
		w.eta = append(w.eta, dot(groups[i].x, beta)+m)
		w.inv = append(w.inv, 1/math.Sqrt(v))
		most += g * groups[i].count / v
	}
	impossible := func() { w.logE, w.mean, w.variance, w.third = math.NaN(), 0, 1, 0 }
	for i, eta := range w.eta { // spreads beyond what numbers reach
		if math.IsNaN(eta*root) || math.IsInf(eta, 0) || !(w.inv[i] > 0) {
			impossible()
			return
		}
	}
	w.slope, w.bend = append(w.slope[:0], make([]float64, n)...), append(w.bend[:0], make([]float64, n)...)
	// Height, slope and curvature at t of what is integrated.
	height := func(t float64) (l, first, curve float64) {
		l = -t*t/2 + w.homesAt(groups, root*t, w.slope[:n], w.bend[:n])
		for i, f := range w.slope[:n] {
			first += f
			curve -= w.bend[i]
		}
		return l, root*first - t, 1 + g*curve
	}
	top, sharp := 0.0, 1.0
	if root > 0 {
		low, high := math.Inf(-1), math.Inf(1) // the top lies between
		for range 200 {
			_, first, curve := height(top)
			if sharp = curve; first > 0 {
				low = top
			} else {
				high = top
			}
			step := first / curve
			next := top + max(min(step, 8), -8)
			if !(next > low && next < high) { // a steep side threw it across
				next = (low + high) / 2
			}
			top = next
			if !(math.Abs(step)*math.Sqrt(curve) > 0.1) || high-low < 1e-12*(1+math.Abs(top)) {
				break
			}
		}
	}
	if !w.within(groups, root*top) {
		impossible()
		return
	}
	w.at, w.f, w.slope, w.bend = w.at[:0], w.f[:0], w.slope[:0], w.bend[:0]
	node := func(t, weight float64) float64 {
		at := len(w.slope)
		for range n {
			w.slope, w.bend = append(w.slope, 0), append(w.bend, 0)
		}
		l := -t*t/2 + weight + w.homesAt(groups, root*t, w.slope[at:], w.bend[at:])
		w.at, w.f = append(w.at, t), append(w.f, l)
		return l
	}
	unit := -halfLog2Pi // ln of what the sum is to be multiplied by
	switch {
	case root == 0:
		unit = 0
		node(0, 0)
	case most < weak:
		k := 0
		for most >= hermiteWeak[k] {
			k++
		}
		sd := 1 / math.Sqrt(sharp)
		unit += math.Log(sd)
		for i, x := range hermites[k].x {
			node(top+sd*x, hermites[k].logW[i])
		}
	default:
		even := func(h float64) {
			unit += math.Log(h)
			best := node(top, 0)
			for _, dir := range []float64{h, -h} {
				for t := top + dir; node(t, 0) >= best-deep && len(w.at) < 4*mostEven; t += dir {
				}
			}
		}
		if most < 2*sharp {
			even(finest / math.Sqrt(most))
			break
		}
		w.slope, w.bend = append(w.slope, make([]float64, n)...), append(w.bend, make([]float64, n)...)
		best, _, _ := height(top)
		first := 1 / math.Sqrt(sharp)
		var end [2]float64
		for i, dir := range []float64{-first, first} { // how steep it is where it ends
			for t := dir; ; t *= 2 {
				l, _, curve := height(top + t)
				sharp = max(sharp, curve)
				if end[i] = top + t; !(l >= best-deep) {
					break
				}
			}
		}
		w.slope, w.bend = w.slope[:0], w.bend[:0]
		if h := finest / math.Sqrt(sharp); (end[1]-end[0])/h < mostEven {
			even(h)
		} else {
			look := areaWork{eta: w.eta, inv: w.inv}
			side := [2][]float64{make([]float64, n), make([]float64, n)}
			height := func(t float64) (l, curve float64) {
				l = -t*t/2 + look.homesAt(groups, root*t, side[0], side[1])
				for _, b := range side[1] {
					curve -= b
				}
				return l, 1 + g*curve
			}
			panels(height, end[0], top, best-deep, node)
			panels(height, top, end[1], best-deep, node)
		}
	}
	best := math.Inf(-1)
	for _, f := range w.f {
		best = max(best, f)
	}
	total := 0.0
	for q, f := range w.f {
		w.f[q] = math.Exp(f - best)
		total += w.f[q]
	}
	w.logE = best + math.Log(total) + unit
	clear(w.grad)
	clear(w.info)
	clear(w.cov)
	w.mean, w.variance, w.weight = 0, 0, [3]float64{}
	w.curve = append(w.curve[:0], make([]float64, n)...)
	for q := range w.f {
		share := w.f[q] / total
		slope, bend := w.slope[q*n:q*n+n], w.bend[q*n:q*n+n]
		clear(w.score)
		for i := range groups {
			f1 := slope[i]
			for a, x := range groups[i].x {
				w.score[a] += f1 * x
			}
			w.curve[i] += share * bend[i]
		}
		sum := w.score[0] // the intercept's
		for a := range p {
			w.score[a] -= sum * g * t[a]
		}
		if w.moments {
			for i := range groups {
				k := groups[i].count
				one := -bend[i] / k
				w.weight[0] += share * k * one
				w.weight[1] += share * k * one * one
				w.weight[2] += share * k * one * one * one
			}
		}
		w.mean += share * w.at[q]
		w.variance += share * w.at[q] * w.at[q]
		for a := range p {
			w.grad[a] += share * w.score[a]
			w.cov[a] += share * w.score[a] * w.at[q]
			for b := range a + 1 {
				w.info[a*p+b] -= share * w.score[a] * w.score[b]
			}
		}
	}
	for i := range groups {
		for a, x := range groups[i].x {
			f := w.curve[i] * (x - g*t[a])
			for b := range a + 1 {
				w.info[a*p+b] -= f * (groups[i].x[b] - g*t[b])
			}
		}
	}
	w.third = 0
	if w.variance -= w.mean * w.mean; root == 0 {
		w.variance = 1
	} else {
		for q, f := range w.f {
			e := w.at[q] - w.mean
			w.third += f / total * e * e * e
		}
	}
	for a := range p {
		w.cov[a] -= w.mean * w.grad[a]
		for b := range a + 1 {
			w.info[a*p+b] += w.grad[a] * w.grad[b]
			w.info[b*p+a] = w.info[a*p+b]
		}
	}
}

// panels puts nodes between a and b, by halves until no part is longer than its
// curvature lets it be; parts that lie below floor altogether are left out, which they
// do if both ends do and the top is no part of them.
func panels(height func(t float64) (l, curve float64), a, b, floor float64, node func(t, weight float64) float64) {
	la, ca := height(a)
	lb, cb := height(b)
	var halve func(a, la, ca, b, lb, cb float64)
	halve = func(a, la, ca, b, lb, cb float64) {
		if la < floor && lb < floor {
			return
		}
		m := (a + b) / 2
		lm, cm := height(m)
		if c := max(ca, cb, cm); (b-a)*math.Sqrt(c) > panel && b-a > 1e-9*(1+math.Abs(a)) {
			halve(a, la, ca, m, lm, cm)
			halve(m, lm, cm, b, lb, cb)
			return
		}
		for i, x := range legendreX {
			node(a+(b-a)*x, math.Log(legendreW[i]*(b-a)))
		}
	}
	halve(a, la, ca, b, lb, cb)
}

// integrals are what integrating found of each area's effect, in units of its spread
// given the exact homes.
type integrals struct{ mean, variance, third, cov []float64 }

func (d *design) newIntegrals() *integrals {
	n := len(d.areas)
	return &integrals{make([]float64, n), make([]float64, n), make([]float64, n), make([]float64, n*d.p)}
}

func (x *integrals) keep(j int, w *areaWork) {
	x.mean[j], x.variance[j], x.third[j] = w.mean, w.variance, w.third
	copy(x.cov[j*len(w.cov):], w.cov)
}

// move takes the means along with the fixed effects by a step that is small.
func (x *integrals) move(step []float64) {
	for j := range x.mean {
		x.mean[j] += dot(step, x.cov[j*len(step):])
	}
}

// censored adds what the censored homes say at these fixed effects, and keeps what it
// found of each area. Areas are taken in bunches that do not depend on the number of
// processors.
func (d *design) censored(s *sums, tau float64, beta, grad, info []float64, found *integrals) (l float64) {
	const bunch = 50
	n := (len(d.areas) + bunch - 1) / bunch
	type part struct {
		l          float64
		grad, info []float64
	}
	parts := make([]part, n)
	do := func(b int) {
		p := part{0, make([]float64, d.p), make([]float64, d.p*d.p)}
		var w areaWork
		for j := b * bunch; j < min((b+1)*bunch, len(d.areas)); j++ {
			if d.first[j] == d.first[j+1] {
				continue
			}
			d.integrate(j, s, tau, beta, &w)
			found.keep(j, &w)
			p.l += w.logE
			for k, v := range w.grad {
				p.grad[k] += v
			}
			for k, v := range w.info {
				p.info[k] += v
			}
		}
		parts[b] = p
	}
	if n > 1 {
		numeric.Each(n, do)
	} else {
		do(0)
	}
	for _, p := range parts {
		l += p.l
		for k, v := range p.grad {
			grad[k] += v
		}
		for k, v := range p.info {
			info[k] += v
		}
	}
	return l
}
