package survey

import (
	"fmt"
	"math"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

const (
	restricted = "reml"
	plain      = "ml"
)

// Model is what Fit finds.
type Model struct {
	Likelihood string // "reml" or "ml"
	Confidence float64
	Homes      int
	Below      int // homes of which only an upper bound is known
	Between    int // homes known within bounds, or only from below
	Fixed      []Term
	SDArea     analysis.Estimate // of area levels about what covariates say, on the logarithm
	SDHome     analysis.Estimate // of homes within an area, errors aside, on the logarithm
	LogLik     float64           // at its largest, of the logarithms
	Areas      []AreaEffect      // in order of name
	Notes      []analysis.Note
}

// AreaEffect is an area's level as Fit has it.
type AreaEffect struct {
	Area      string
	Homes     int
	Effect    float64 // how far its homes' logarithms lie off what covariates say, shrunken
	Intercept float64 // the first fixed effect and Effect
	SE        float64 // of Intercept: of the effect, of the fixed effects, and of the spreads
	GM        analysis.Estimate
}

// sums are what the exact homes' data come to once the spread between homes is
// known: they hold no spread between areas, so one serves for all of those.
type sums struct {
	sigma  float64
	total  []float64 // Σ w z zᵀ, triangle
	t      []float64 // Σ w z of each area, q numbers each
	logV   float64   // Σ ln(1/w)
	n      float64
	sorted bool // false: a home without any variance makes this impossible
}

func (d *design) sums(sigma float64) *sums {
	s := &sums{sigma: sigma, total: make([]float64, triangle(d.q)), t: make([]float64, len(d.areas)*d.q), sorted: true}
	for i := range d.cells {
		c := &d.cells[i]
		v := sigma*sigma + c.se2
		if !(v > 0) {
			s.sorted = false
			return s
		}
		w := 1 / v
		s.logV += c.count * math.Log(v)
		s.n += c.count
		for k, x := range c.zz {
			s.total[k] += w * x
		}
		t := s.t[c.area*d.q : c.area*d.q+d.q]
		for k := range t {
			t[k] += w * c.zz[k]
		}
	}
	for i := range d.rest {
		if !(sigma*sigma+d.rest[i].se2 > 0) {
			s.sorted = false
		}
	}
	return s
}

// point is the likelihood where both spreads are known and the fixed effects have
// been fitted.
type point struct {
	sigma, tau float64
	l          float64 // log likelihood, fixed effects at their best
	beta       []float64
	cov        []float64 // of beta, p×p
	logDet     float64   // ln |information of beta|, in the units that came in
	pull       []float64 // of pseudo-observations, spatial only
	found      *integrals
}

// value is the restricted log likelihood, or the plain one.
func (x point) value(likelihood string) float64 {
	if likelihood == plain {
		return x.l
	}
	return x.l + float64(len(x.beta))*halfLog2Pi - x.logDet/2
}

// at fits the fixed effects at a spread between areas, from start or from nothing.
//
// Exact homes: with gⱼ = τ²/(1 + τ²Σw) the marginal covariance has the inverse
// W − gⱼ W11ᵀW area by area, so that all it does to sums is − gⱼ tⱼ tⱼᵀ, and its
// determinant is Π v · Π (1 + τ²Σw).
func (d *design) at(s *sums, tau float64, start []float64) point {
	x := point{sigma: s.sigma, tau: tau, l: math.Inf(-1), beta: make([]float64, d.p)}
	if !s.sorted {
		return x
	}
	m := append([]float64(nil), s.total...)
	l0 := -s.logV/2 - s.n*halfLog2Pi
	tau2 := tau * tau
	for j := range d.areas {
		t := s.t[j*d.q : j*d.q+d.q]
		if t[0] == 0 {
			continue
		}
		f := 1 + tau2*t[0]
		l0 -= math.Log(f) / 2
		outer(m, t, -tau2/f)
	}
	return d.solve(x, m, l0, s, start)
}

// solve climbs to the best fixed effects by Newton's steps: one is enough where all
// homes are known exactly, and the likelihood has one top in any case.
func (d *design) solve(x point, m []float64, l0 float64, s *sums, start []float64) point {
	p := d.p
	exact, score := make([]float64, p*p), make([]float64, p)
	unpack(m, d.q, exact)
	i := 0
	yy := m[len(m)-1]
	for a := range p {
		i += d.q - a
		score[a] = m[i-1]
	}
	x.cov = make([]float64, p*p)
	info, grad, beta := make([]float64, p*p), make([]float64, p), make([]float64, p)
	if len(d.rest) == 0 {
		logDet, ok := invert(exact, x.cov, p)
		if !ok {
			return x
		}
		product(x.cov, score, x.beta)
		x.l = l0 - (yy-dot(x.beta, score))/2
		x.logDet = logDet + 2*d.logScale
		return x
	}
	copy(beta, start)
	last, gain, step := math.Inf(-1), 0.0, make([]float64, p)
	found := d.newIntegrals()
	for range 25 { // far from the top of spreads, quadrature may go round in a ring
		copy(info, exact)
		l := l0 - yy/2
		for a := range p {
			g := dot(exact[a*p:a*p+p], beta)
			grad[a] = score[a] - g
			l += beta[a] * (score[a] - g/2)
		}
		l += d.censored(s, x.tau, beta, grad, info, found)
		if math.IsNaN(l) || math.IsInf(l, 0) {
			if math.IsInf(last, -1) {
				return x
			}
			l = math.Inf(-1)
		}
		// Quadrature's derivative is not quite that of quadrature: only a fall of more
		// than was to be gained is a step too far, and half of it is taken back.
		if l < last-gain-1e-9*(1+math.Abs(last)) {
			for k := range beta {
				step[k] /= 2
				beta[k] -= step[k]
			}
			continue
		}
		logDet, ok := invert(info, x.cov, p)
		if !ok {
			return x
		}
		last = l
		product(x.cov, grad, step)
		gain = dot(step, grad)
		x.logDet = logDet + 2*d.logScale
		copy(x.beta, beta)
		if gain < 1e-7 { // what is left is as gain^1.5
			x.l = l + gain/2
			found.move(step)
			x.found = found
			for k := range beta {
				x.beta[k] += step[k]
			}
			return x
		}
		for k := range beta {
			beta[k] += step[k]
			if math.Abs(beta[k]) > 1e3*(1+d.spread) { // no top: see lost
				return x
			}
		}
	}
	x.l = last
	return x
}

// unpack writes the first rows and columns of a triangle of order q as a full
// matrix of the order that a has room for.
func unpack(t []float64, q int, a []float64) {
	p := int(math.Sqrt(float64(len(a))))
	i := 0
	for r := range q {
		for c := r; c < q; c++ {
			if c < p {
				a[r*p+c], a[c*p+r] = t[i], t[i]
			}
			i++
		}
	}
}

func product(a, v, out []float64) {
	n := len(v)
	for i := range out {
		out[i] = dot(a[i*n:i*n+n], v)
	}
}

// invert is the inverse of a positive definite matrix, by Cholesky, and the log of
// its determinant.
func invert(a, out []float64, n int) (logDet float64, ok bool) {
	l := make([]float64, n*n)
	if !cholesky(a, l, n) {
		return 0, false
	}
	e := make([]float64, n)
	for k := range n {
		logDet += 2 * math.Log(l[k*n+k])
		clear(e)
		e[k] = 1
		for i := range n {
			for j := range i {
				e[i] -= l[i*n+j] * e[j]
			}
			e[i] /= l[i*n+i]
		}
		for i := n - 1; i >= 0; i-- {
			for j := i + 1; j < n; j++ {
				e[i] -= l[j*n+i] * e[j]
			}
			e[i] /= l[i*n+i]
		}
		for i := range n {
			out[i*n+k] = e[i]
		}
	}
	return logDet, true
}

// cholesky writes the lower factor of a.
func cholesky(a, l []float64, n int) bool {
	for i := range n {
		for j := range i + 1 {
			s := a[i*n+j]
			for k := range j {
				s -= l[i*n+k] * l[j*n+k]
			}
			if i > j {
				l[i*n+j] = s / l[j*n+j]
			} else if !(s > 1e-13*math.Abs(a[i*n+i])) {
				return false
			} else {
				l[i*n+i] = math.Sqrt(s)
			}
		}
	}
	return true
}

// peak is where f is largest, climbing from x by steps and then by parabolas, to
// about tol. f is the same at −x, and the answer is not negative.
//
// Source: Brent 1973, Algorithms for Minimization without Derivatives, chapter 5
// (from memory).
func peak(f func(float64) float64, x, step, tol float64) (at, top float64) {
	g := func(x float64) float64 {
		v := f(math.Abs(x))
		if math.IsNaN(v) {
			return math.Inf(-1)
		}
		return v
	}
	a, b := x, x+step
	fa, fb := g(a), g(b)
	if fb < fa {
		a, b, fa, fb = b, a, fb, fa
		step = -step
	}
	c := b + step
	fc := g(c)
	for range 60 {
		if fc < fb {
			break
		}
		step *= 1.6
		a, b, fb = b, c, fc
		c = b + step
		fc = g(c)
	}
	lo, hi := min(a, c), max(a, c)
	const golden = 0.3819660112501051
	x, fx := b, fb
	w, v, fw, fv := x, x, fx, fx
	var d, e float64
	for range 100 {
		m := (lo + hi) / 2
		t := tol*math.Abs(x) + tol
		if math.Abs(x-m) <= 2*t-(hi-lo)/2 {
			break
		}
		useGolden := true
		if math.Abs(e) > t {
			r := (x - w) * (fx - fv)
			q := (x - v) * (fx - fw)
			p := (x-v)*q - (x-w)*r
			q = 2 * (q - r)
			if q > 0 {
				p = -p
			}
			q = math.Abs(q)
			old := e
			e = d
			if math.Abs(p) < math.Abs(q*old/2) && p > q*(lo-x) && p < q*(hi-x) {
				d = p / q
				if u := x + d; u-lo < 2*t || hi-u < 2*t {
					d = math.Copysign(t, m-x)
				}
				useGolden = false
			}
		}
		if useGolden {
			if e = hi - x; x >= m {
				e = lo - x
			}
			d = golden * e
		}
		u := x + d
		if math.Abs(d) < t {
			u = x + math.Copysign(t, d)
		}
		fu := g(u)
		if fu >= fx {
			if u >= x {
				lo = x
			} else {
				hi = x
			}
			v, fv, w, fw, x, fx = w, fw, x, fx, u, fu
		} else {
			if u < x {
				lo = u
			} else {
				hi = u
			}
			if fu >= fw || w == x {
				v, fv, w, fw = w, fw, u, fu
			} else if fu >= fv || v == x || v == w {
				v, fv = u, fu
			}
		}
	}
	x = math.Abs(x)
	if f0 := g(0); f0 >= fx-1e-11*(1+math.Abs(fx)) && x < 1e3*tol || f0 > fx {
		return 0, f0
	}
	return x, fx
}

// scales are the units of both spreads: they are looked for at σ = home·sinh x and
// τ = area·sinh x, because what is looked for depends on their squares, so that it
// runs smoothly through x = 0, and far out on their logarithms.
type scales struct{ home, area float64 }

func (d *design) scales() scales {
	home := d.spread
	if d.given != nil && *d.given > 0 {
		home = *d.given
	} else if d.given != nil {
		home = max(d.leastSE, 0.01*d.spread)
		if math.IsInf(home, 0) {
			home = d.spread
		}
	}
	return scales{home, home / math.Sqrt(d.typical)}
}

// hill is a function of both spreads and of the likelihood there, to be climbed.
type hill struct {
	d     *design
	unit  scales
	value func(point) float64
	at    func(s *sums, tau float64, start []float64) point
	start []float64 // fixed effects to start from
	flat  bool      // nothing can be told of the spread between areas: it is taken as none
	sums  *sums     // the latest
	atX   float64
}

func (h *hill) sigma(x float64) float64 {
	if h.d.given != nil {
		return *h.d.given
	}
	return h.unit.home * math.Sinh(math.Abs(x))
}

func (h *hill) tau(x float64) float64 { return h.unit.area * math.Sinh(math.Abs(x)) }

// f is the hill's height.
func (h *hill) f(sx, tx float64) float64 {
	if h.d.given != nil {
		sx = 0
	}
	if h.sums == nil || h.atX != sx {
		h.sums, h.atX = h.d.sums(h.sigma(sx)), sx
	}
	if h.flat {
		tx = 0
	}
	pt := h.at(h.sums, h.tau(tx), h.start)
	if math.IsInf(pt.l, -1) || math.IsNaN(pt.l) {
		return math.Inf(-1)
	}
	h.start = pt.beta
	return h.value(pt)
}

// areaPeak and homePeak are the best of one spread where the other is known.
func (h *hill) areaPeak(sx, from, step, tol float64) (at, top float64) {
	if h.flat {
		return 0, h.f(sx, 0)
	}
	return peak(func(x float64) float64 { return h.f(sx, x) }, from, step, tol)
}

func (h *hill) homePeak(tx, from, step, tol float64) (at, top float64) {
	if h.d.given != nil {
		return 0, h.f(0, tx)
	}
	return peak(func(x float64) float64 { return h.f(x, tx) }, from, step, tol)
}

// top is the best of both: the best of a coarse net, then Newton's steps by
// differences, and a last look at no spread between areas.
func (h *hill) top() (sx, tx, top float64) {
	across, along := []float64{0.1, 0.25, 0.45, 0.7, 0.95, 1.3}, []float64{0, 0.4, 0.9, 1.5, 2.2, 3, 4}
	if h.d.given != nil {
		across = []float64{0}
	}
	if h.flat {
		along = []float64{0}
	}
	top = math.Inf(-1)
	for _, a := range across {
		for _, b := range along {
			if v := h.f(a, b); v > top {
				sx, tx, top = a, b, v
			}
		}
	}
	if math.IsInf(top, -1) {
		return sx, tx, top
	}
	_, free := h.free()
	if free == 1 {
		if h.flat {
			sx, top = h.homePeak(0, sx, 0.1, 1e-9)
		} else {
			tx, top = h.areaPeak(0, max(tx, 0.2), 0.2, 1e-9)
		}
		return sx, tx, top
	} else if free == 0 {
		return sx, tx, top
	}
	tx = max(tx, 0.1)
	for range 60 {
		g, c := h.slope(sx, tx)
		det := c[0]*c[2] - c[1]*c[1]
		if !(c[0] < 0 && c[2] < 0 && det > 0) {
			oldS, oldT := sx, tx
			tx, _ = h.areaPeak(sx, tx, 0.1, 1e-3)
			sx, _ = h.homePeak(tx, sx, 0.05, 1e-3)
			tx = max(tx, 1e-3)
			if math.Abs(sx-oldS)+math.Abs(tx-oldT) < 2e-3 {
				break
			}
			continue
		}
		ds, dt := -(g[0]*c[2]-g[1]*c[1])/det, -(g[1]*c[0]-g[0]*c[1])/det
		size := 1.0
		now := h.f(sx, tx)
		for size > 1e-4 && !(h.f(sx+size*ds, tx+size*dt) >= now-1e-9) {
			size /= 2
		}
		sx, tx = math.Abs(sx+size*ds), math.Abs(tx+size*dt)
		if math.Abs(ds)+math.Abs(dt) < 1e-6 {
			break
		}
	}
	top = h.f(sx, tx)
	if _, v := h.homePeak(0, sx, 0.1, 1e-2); v > top-100 { // otherwise it is not worth a close look
		if x, v := h.homePeak(0, sx, 0.02, 1e-9); v >= top-1e-10*(1+math.Abs(top)) {
			return x, 0, v
		}
	}
	if v := h.f(0, tx); v >= top {
		t, v := h.areaPeak(0, tx, 0.05, 1e-9)
		return 0, t, v
	}
	return sx, tx, top
}

// free says how many spreads there are to be found.
func (h *hill) free() (known, free int) {
	free = 2
	if h.d.given != nil {
		free--
	}
	if h.flat {
		free--
	}
	return 2 - free, free
}

// slope is the gradient and the curvature (ss, st, tt), by differences.
func (h *hill) slope(sx, tx float64) (g [2]float64, c [3]float64) {
	e := 1e-3
	es := min(e, 0.3*sx/math.Sqrt(h.d.counts))
	if !(es > 1e-6) {
		es = 1e-6
	}
	// One spread between homes after the other, because its sums are what costs.
	o, p, q := h.f(sx, tx), h.f(sx, tx+e), h.f(sx, tx-e)
	pp, qq := h.f(sx, tx+2*e), h.f(sx, tx-2*e)
	a, r := h.f(sx+es, tx), h.f(sx+es, tx+e)
	b, s := h.f(sx-es, tx), h.f(sx-es, tx-e)
	aa, bb := h.f(sx+2*es, tx), h.f(sx-2*es, tx)
	g = [2]float64{(8*(a-b) - aa + bb) / (12 * es), (8*(p-q) - pp + qq) / (12 * e)}
	c = [3]float64{(a + b - 2*o) / (es * es), (r + s - a - b - p - q + 2*o) / (2 * es * e), (p + q - 2*o) / (e * e)}
	return g, c
}

// width is how far from x along one axis the hill falls by drop, at most reach.
func width(f func(float64) float64, x, top, drop, step, reach float64) float64 {
	lo := 0.0
	for f(x+step) > top-drop {
		lo = step
		if step *= 2; step > reach {
			return reach
		}
	}
	for range 6 {
		if m := (lo + step) / 2; f(x+m) > top-drop {
			lo = m
		} else {
			step = m
		}
	}
	return (lo + step) / 2
}

// Fit estimates the spread of homes within an area and of areas about what
// covariates say, both as standard deviations of logarithms; what covariates do to
// the logarithm; and each area's level, Bq/m³.
//
// Formula. y = xᵀβ + u + e + m, with u ~ N(0, τ²) one an area, e ~ N(0, σ²) one a
// home, and m ~ N(0, se²), se known. σ and τ maximise the restricted likelihood,
// −½(ln|V| + ln|XᵀV⁻¹X| + rᵀV⁻¹r); β is generalized least squares, and u its
// expectation given the data. A home below a limit or between bounds adds
// Φ(z₂) − Φ(z₁) under the integral over its area's u, which is summed at even steps
// about its top, and the information on β of that likelihood stands for XᵀV⁻¹X. σ = 0
// and τ = 0 are answers like others.
//
// Assumes log-normal homes within areas of one spread, log-normal area levels, errors
// and limits that do not depend on the value, and homes chosen without regard to
// their radon.
//
// Interval: confidence. For the spreads, where twice the restricted likelihood, at
// its largest for the rest, has fallen by χ²₁. For an area's level, normal with the
// error of shrinkage, of β, and of σ and τ (g₁ + g₂ + 2g₃ of Prasad and Rao); with
// fewer than ten areas or none of their spread seen it is rough, and Posterior is the
// one to read.
//
// Notes: one-area, areas-explained, no-area-spread, no-home-spread,
// mostly-censored, unbounded.
//
// Source: Patterson and Thompson 1971, Biometrika 58:545, for the restricted
// likelihood; Harville 1977, J. Am. Stat. Assoc. 72:320; Kackar and Harville 1984,
// J. Am. Stat. Assoc. 79:853, and Prasad and Rao 1990, J. Am. Stat. Assoc. 85:163,
// for the error of an area; Fay and Herriot 1979, J. Am. Stat. Assoc. 74:269, for
// areas' own estimates (all from memory).
func Fit(homes []Home, opt Options) (Model, error) {
	d, err := newDesign(homes, &opt)
	if err != nil {
		return Model{}, err
	}
	flat := d.between0 <= 0
	h := &hill{d: d, unit: d.scales(), at: d.at, start: make([]float64, d.p), flat: flat,
		value: func(x point) float64 { return x.value(opt.Likelihood) }}
	sx, tx, top := h.top()
	sigma, tau := h.sigma(sx), h.tau(tx)
	s := d.sums(sigma)
	x := d.at(s, tau, h.start)
	if err := d.lost(x, sigma); err != nil {
		return Model{}, err
	}
	m := Model{Likelihood: opt.Likelihood, Confidence: opt.Confidence, Homes: d.homes, Below: d.below, Between: d.between,
		Fixed: d.natural(x.beta, x.cov), LogLik: top}
	estimate := func(quantity string, v, lower, upper float64) analysis.Estimate {
		return analysis.Estimate{Quantity: quantity, Value: v, Lower: lower, Upper: upper, Confidence: opt.Confidence,
			Kind: analysis.ConfidenceInterval, N: d.homes, Method: AreaLikelihood}
	}
	m.SDHome = estimate("standard deviation between homes", sigma, sigma, sigma)
	m.SDArea = estimate("standard deviation between areas", tau, 0, math.Inf(1))
	m.SDArea.N = d.measured
	z := numeric.NormalQuantile(0.5 + opt.Confidence/2)
	floor := top - z*z/2
	// Steps in keeping with how well each is known.
	stepS := width(func(x float64) float64 { return h.f(x, tx) }, sx, top, 0.5, 0.02, 1)
	stepT := width(func(x float64) float64 { return h.f(sx, x) }, tx, top, 0.5, 0.05, 1)
	if d.given == nil {
		lower, upper := limits(func(y float64) float64 {
			_, v := h.areaPeak(y, tx, stepT/3, stepT/300)
			return v - floor
		}, sx, stepS)
		m.SDHome.Lower, m.SDHome.Upper = min(h.sigma(lower), sigma), max(h.sigma(upper), sigma)
	}
	if !flat {
		lower, upper := limits(func(y float64) float64 {
			_, v := h.homePeak(y, sx, stepS/3, stepS/300)
			return v - floor
		}, tx, stepT)
		m.SDArea.Lower, m.SDArea.Upper = min(h.tau(lower), tau), max(h.tau(upper), tau)
	}
	for _, e := range []*analysis.Estimate{&m.SDArea, &m.SDHome} {
		if math.IsInf(e.Upper, 1) {
			e.Notes = append(e.Notes, note("unbounded", "the data give no upper limit for the %s", e.Quantity))
		}
	}
	m.Notes = d.notes(flat, sigma, tau, &m)
	m.Areas, err = d.effects(s, x, z, opt.Confidence)
	return m, err
}

// limits are where f, which falls on either side of x, crosses zero, the lower not
// below 0; step is about half of that distance, and +Inf stands for none above.
func limits(f func(float64) float64, x, step float64) (lower, upper float64) {
	cross := func(a, b float64) float64 {
		y, err := numeric.Root(f, a, b, 1e-4*step)
		if err != nil {
			return b
		}
		return y
	}
	for near, s := x, step; near > 0; s *= 2 {
		far := max(near-s, 0)
		if v := f(far); v < 0 {
			lower = cross(near, far)
			break
		}
		near = far
	}
	for near, s := x, step; near < 600; s *= 1.6 {
		if f(near+s) < 0 {
			return lower, cross(near, near+s)
		}
		near += s
	}
	return lower, math.Inf(1)
}

// lost says in words why a likelihood has no top.
func (d *design) lost(x point, sigma float64) error {
	for k, b := range x.beta {
		if k > 0 && math.Abs(b) > 100*(1+d.spread) {
			return fmt.Errorf("what %s does has no limit: all homes where it is large, or small, lie below their limits; leave it out", d.names[k])
		}
	}
	switch {
	case math.IsInf(x.l, 0) || math.IsNaN(x.l) || x.cov == nil:
		if len(d.rest) > 0 {
			return fmt.Errorf("too few of the homes are known from both sides for %d terms; leave covariates out", d.p)
		}
		return fmt.Errorf("the likelihood has no top in these data: leave covariates out, or state standard errors for all homes")
	case d.given == nil && d.leastSE == 0 && sigma < 1e-5*d.spread:
		return fmt.Errorf("areas and covariates account for every value of a home without a standard error, so no spread between homes can be seen: state standard errors for all, or leave covariates out")
	}
	return nil
}

func (d *design) notes(flat bool, sigma, tau float64, m *Model) (notes []analysis.Note) {
	if flat {
		if d.measured == 1 {
			notes = append(notes, note("one-area", "there is one area with homes, so nothing is known of the spread between areas; it is taken as none: give smaller areas to see it"))
		} else {
			notes = append(notes, note("areas-explained", "covariates tell each of %d areas from the others, so nothing is known of the spread that is left between them; it is taken as none: give fewer covariates of areas", d.measured))
		}
	} else if tau == 0 {
		notes = append(notes, note("no-area-spread", "areas differ no more than chance makes them, so each is given the common level; up to %.2g between areas (standard deviation of the logarithm) cannot be excluded: see the posterior for areas", m.SDArea.Upper))
	}
	if d.given == nil && sigma == 0 {
		notes = append(notes, note("no-home-spread", "the stated errors explain all the spread between homes; they may be too large"))
	}
	return append(notes, d.censoredNote()...)
}

func (d *design) censoredNote() []analysis.Note {
	if 2*d.below <= d.homes {
		return nil
	}
	return []analysis.Note{note("mostly-censored", "%d of %d homes lie below their limits, so levels and means rest on how well the log-normal shape holds below them; shares above a level over the limits do not", d.below, d.homes)}
}

// conditional is what is known of area effects where the spreads are known: the
// effect's mean at the best fixed effects, its variance with them fixed, and how it
// moves with them.
type conditional struct {
	u, g, du []float64
	weight   []float64 // Σ w, Σ w², Σ w³ of each area's homes
	third    []float64 // third central moment of each area's effect; nil: 0 for all
}

// effectsAt is that of each area; moments asks for the weights too.
func (d *design) effectsAt(s *sums, x point, moments bool) conditional {
	n := len(d.areas)
	c := conditional{u: make([]float64, n), g: make([]float64, n), du: make([]float64, n*d.p)}
	tau2 := x.tau * x.tau
	if moments {
		c.weight = make([]float64, 3*n)
		for i := range d.cells {
			k := &d.cells[i]
			w := 1 / (s.sigma*s.sigma + k.se2)
			a := c.weight[3*k.area : 3*k.area+3]
			a[0] += k.count * w
			a[1] += k.count * w * w
			a[2] += k.count * w * w * w
		}
	}
	work := areaWork{moments: moments}
	for j := range d.areas {
		t := s.t[j*d.q : j*d.q+d.q]
		c.g[j] = tau2 / (1 + tau2*t[0])
		c.u[j] = c.g[j] * (t[d.p] - dot(t[:d.p], x.beta))
		du := c.du[j*d.p : j*d.p+d.p]
		for k := range du {
			du[k] = -c.g[j] * t[k]
		}
		if d.first[j] < d.first[j+1] {
			if moments || x.found == nil {
				d.integrate(j, s, x.tau, x.beta, &work)
			} else {
				work.mean, work.variance, work.third, work.cov = x.found.mean[j], x.found.variance[j], x.found.third[j], x.found.cov[j*d.p:j*d.p+d.p]
			}
			root := math.Sqrt(c.g[j])
			c.u[j] += root * work.mean
			for k := range du {
				du[k] += root * work.cov[k]
			}
			if c.third == nil {
				c.third = make([]float64, n)
			}
			c.third[j] = root * root * root * work.third
			c.g[j] *= work.variance
			if moments {
				for k, w := range work.weight {
					c.weight[3*j+k] += w
				}
			}
		}
	}
	return c
}

// effects are the areas' levels with honest errors.
func (d *design) effects(s *sums, x point, z, confidence float64) ([]AreaEffect, error) {
	c := d.effectsAt(s, x, true)
	tau2 := x.tau * x.tau
	// Information on τ² and σ².
	var tt, ts, ss float64
	for j := range d.areas {
		w, w2 := c.weight[3*j], c.weight[3*j+1]
		f := 1 + tau2*w
		g := tau2 / f
		tt += w * w / (f * f) / 2
		ts += w2 / (f * f) / 2
		ss += (w2 - 2*g*c.weight[3*j+2] + g*g*w2*w2) / 2
	}
	var vtt, vts, vss float64
	if det := tt*ss - ts*ts; d.given == nil && det > 1e-12*tt*ss {
		vtt, vts, vss = ss/det, -ts/det, tt/det
	} else if tt > 0 {
		vtt = 1 / tt
	}
	flat := d.between0 <= 0
	intercept := d.natural(x.beta, x.cov)[0].Value
	all := make([]AreaEffect, len(d.areas))
	v, one := make([]float64, d.p), make([]float64, d.p)
	one[0] = 1
	for k := 1; k < d.p; k++ {
		one[k] = -d.centre[k] / d.scale[k] // all covariates 0
	}
	for j, a := range d.areas {
		w, w2, w3 := c.weight[3*j], c.weight[3*j+1], c.weight[3*j+2]
		f := 1 + tau2*w
		g3 := 0.0
		if !flat {
			lt := w / (f * f * f)
			lts := -tau2 * w2 / (f * f * f)
			ls := tau2 * tau2 * (w3/(f*f) - 2*tau2*w2*w2/(f*f*f) + tau2*tau2*w2*w2*w/(f*f*f*f) + tau2*w2*w2/(f*f*f*f))
			g3 = max(lt*vtt+2*lts*vts+ls*vss, 0)
		}
		variance := func(at []float64) float64 {
			for k := range v {
				v[k] = at[k] + c.du[j*d.p+k]
			}
			return c.g[j] + quadratic(x.cov, v) + 2*g3
		}
		level := d.shift + dot(a.at, x.beta) + c.u[j]
		se := math.Sqrt(variance(a.at))
		gm := analysis.Estimate{Quantity: "geometric mean of the area", Unit: becquerel, Value: math.Exp(level), Lower: math.Exp(level - z*se), Upper: math.Exp(level + z*se),
			Confidence: confidence, Kind: analysis.ConfidenceInterval, N: a.homes, Method: AreaLikelihood}
		if math.IsInf(gm.Value, 0) || math.IsInf(gm.Upper, 1) {
			return nil, fmt.Errorf("area %q: its level is too uncertain for a number in Bq/m³", a.name)
		}
		all[j] = AreaEffect{Area: a.name, Homes: a.homes, Effect: c.u[j], Intercept: intercept + c.u[j], SE: math.Sqrt(variance(one)), GM: gm}
	}
	return all, nil
}

const becquerel = "Bq/m³"
