package survey

import (
	"math"

	"radonyear/analysis/internal/numeric"
)

// The sum over an area's effect goes on until the integrand has fallen by e^-deep,
// in steps of finest over the root of its largest curvature: for a normal shape that
// is right to 2e^(−2π²/finest²), which is 5e-9.
//
// Where that would be more than so many steps, an edge is sharp beside the rest of it:
// then panels are halved until each is flat enough for Gauss-Legendre nodes.
const (
	deep     = 21
	finest   = 1
	mostEven = 64
	panel    = 1 // longest of a panel, over the root of its largest curvature
)

var legendreX, legendreW = legendre(6)

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

// phiHazard is ln Φ(x) and φ(x)/Φ(x), from one call of erfc where that will do.
func phiHazard(x float64) (l, h float64) {
	if x > 5 || x < -30 {
		return numeric.LogPhi(x), numeric.Hazard(x)
	}
	p := numeric.Phi(x)
	return math.Log(p), math.Exp(-x*x/2-halfLog2Pi) / p
}

// areaWork is what integrating over one area's effect gives.
type areaWork struct {
	logE           float64   // ln of the expectation of the censored homes' probability
	grad, info     []float64 // its derivative by the fixed effects, and minus its second
	mean, variance float64   // of the effect, in units of its spread given the exact homes
	third          float64   // its third central moment
	cov            []float64 // of it with the derivative
	weight         [3]float64
	eta, inv       []float64
	slope, bend    []float64 // derivatives by node and group
	at, f          []float64
	score          []float64
}

// integrate takes area j's expectation over its effect, which given its exact homes
// is N(m, g): of the censored homes' probabilities, at even steps about the top
// (trapezoidal rule for analytic functions: Trefethen and Weideman 2014, SIAM Rev.
// 56:385, from memory). What is integrated has one top, in the effect as in the fixed
// effects; many homes below their limits and few exact ones make it steep on one side,
// so the steps are as fine as its steepest bend wants.
func (d *design) integrate(j int, s *sums, tau float64, beta []float64, w *areaWork) {
	p := d.p
	groups := d.rest[d.first[j]:d.first[j+1]]
	t := s.t[j*d.q : j*d.q+d.q]
	g := tau * tau / (1 + tau*tau*t[0])
	m := g * (t[p] - dot(t[:p], beta))
	root := math.Sqrt(g)
	if w.grad == nil {
		w.grad, w.cov, w.score, w.info = make([]float64, p), make([]float64, p), make([]float64, p), make([]float64, p*p)
	}
	w.eta, w.inv = w.eta[:0], w.inv[:0]
	for i := range groups {
		w.eta = append(w.eta, dot(groups[i].x, beta)+m)
		w.inv = append(w.inv, 1/math.Sqrt(s.sigma*s.sigma+groups[i].se2))
	}
	for i, eta := range w.eta { // spreads beyond what numbers reach
		if math.IsNaN(eta*root) || math.IsInf(eta, 0) || !(w.inv[i] > 0) {
			w.logE, w.mean, w.variance, w.third = math.NaN(), 0, 1, 0
			return
		}
	}
	// Height, slope and curvature at t of what is integrated.
	height := func(t float64) (l, first, curve float64) {
		l, first, curve = -t*t/2, -t, 1
		for i, k := range groups {
			f, f1, f2 := bounded(k.lower, k.upper, w.eta[i]+root*t, w.inv[i])
			l += k.count * f
			first += root * k.count * f1
			curve -= g * k.count * f2
		}
		return l, first, curve
	}
	w.at, w.f, w.slope, w.bend = w.at[:0], w.f[:0], w.slope[:0], w.bend[:0]
	node := func(t, weight float64) float64 {
		l := -t*t/2 + weight
		for i, k := range groups {
			f, f1, f2 := bounded(k.lower, k.upper, w.eta[i]+root*t, w.inv[i])
			l += k.count * f
			w.slope, w.bend = append(w.slope, f1*k.count), append(w.bend, f2*k.count)
		}
		w.at, w.f = append(w.at, t), append(w.f, l)
		return l
	}
	unit := 0.0 // ln of what the sum is to be multiplied by
	if root == 0 {
		node(0, 0)
	} else {
		top, sharp := 0.0, 1.0
		for range 60 {
			_, first, curve := height(top)
			step := first / curve
			top += max(min(step, 8), -8)
			sharp = curve
			if math.Abs(step) < 1e-6 {
				break
			}
		}
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
		unit = -halfLog2Pi
		if h := finest / math.Sqrt(sharp); (end[1]-end[0])/h < mostEven {
			unit += math.Log(h)
			node(top, 0)
			for _, dir := range []float64{h, -h} {
				for t := top + dir; node(t, 0) >= best-deep && len(w.at) < 4*mostEven; t += dir {
				}
			}
		} else {
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
	for q := range w.f {
		share := w.f[q] / total
		clear(w.score)
		for i, k := range groups {
			f1, f2 := w.slope[q*len(groups)+i], w.bend[q*len(groups)+i]
			for a := range p {
				xa := k.x[a] - g*t[a]
				w.score[a] += f1 * xa
				for b := range a + 1 {
					w.info[a*p+b] -= share * f2 * xa * (k.x[b] - g*t[b])
				}
			}
			one := -f2 / k.count
			w.weight[0] += share * k.count * one
			w.weight[1] += share * k.count * one * one
			w.weight[2] += share * k.count * one * one * one
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
func panels(height func(t float64) (l, first, curve float64), a, b, floor float64, node func(t, weight float64) float64) {
	la, _, ca := height(a)
	lb, _, cb := height(b)
	var halve func(a, la, ca, b, lb, cb float64)
	halve = func(a, la, ca, b, lb, cb float64) {
		if la < floor && lb < floor {
			return
		}
		m := (a + b) / 2
		lm, _, cm := height(m)
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

// censored adds what the censored homes say at these fixed effects. Areas are taken
// in bunches that do not depend on the number of processors.
func (d *design) censored(s *sums, tau float64, beta, grad, info []float64) (l float64) {
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
