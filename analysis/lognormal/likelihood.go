package lognormal

import (
	"fmt"
	"math"

	"radonyear/analysis/internal/numeric"
)

// likelihood is the log likelihood of normal logarithms in μ and τ = ln σ. Exact
// values without error are kept as their number, mean and sum of squares.
type likelihood struct {
	n, mean, ss float64
	rest        []term
	adjust      bool // judge σ on n − 1 degrees of freedom; see adjustment
}

// term is a value known to lie between two logarithms, either infinite; where
// they are equal, one known up to a normal error. v is the error's variance,
// count how many there are of it.
type term struct{ a, b, v, count float64 }

// point is the log likelihood at one place, with its derivatives.
type point struct{ l, m, t, mm, mt, tt float64 }

func (k likelihood) at(mu, tau float64) point {
	sigma := math.Exp(tau)
	v := sigma * sigma
	d := k.mean - mu
	q := (k.ss + k.n*d*d) / v
	p := point{l: -k.n*tau - q/2, m: k.n * d / v, t: q - k.n, mm: -k.n / v, mt: -2 * k.n * d / v, tt: -2 * q}
	if k.n == 0 {
		p = point{}
	}
	for _, x := range k.rest {
		x.add(&p, mu, v)
	}
	if k.adjust {
		k.adjustment(&p, v)
	}
	return p
}

// adjustment adds −½ ln Σ 1/(σ² + e²), the restricted likelihood's term for the
// mean that had to be estimated; without errors it is τ and a constant.
func (k likelihood) adjustment(p *point, v float64) {
	s := k.n / v
	t, t1 := s, -2*s // Σ σ²/(σ² + e²)², and its derivative by τ
	for _, x := range k.rest {
		w := 1 / (v + x.v)
		share := v * w
		s += x.count * w
		t += x.count * w * share
		t1 += x.count * w * share * (2 - 4*share)
	}
	p.l -= math.Log(s) / 2
	p.t += t / s
	p.tt += t1/s + 2*t*t/(s*s)
}

// add adds the term to p. It works in ω = ln √(σ² + v), whose derivative by τ is
// share = σ²/(σ² + v).
func (x term) add(p *point, mu, v float64) {
	s, n := math.Sqrt(v+x.v), x.count
	share := v / (v + x.v)
	za, zb := (x.a-mu)/s, (x.b-mu)/s
	var w, ww, mw float64
	if zb-za < 1e-4 { // a point, or an interval so narrow that its middle stands for it
		z := (za + zb) / 2
		if x.b > x.a {
			p.l += n * (math.Log(x.b-x.a) - numeric.HalfLog2Pi)
		}
		p.l += n * (-math.Log(s) - z*z/2)
		p.m += n * z / s
		p.mm -= n / (s * s)
		w, mw, ww = z*z-1, -2*z/s, -2*z*z
	} else {
		log := numeric.LogPhiBetween(za, zb)
		p.l += n * log
		var a, aza, az3, b, bzb, bz3 float64
		if !math.IsInf(za, 0) {
			a = math.Exp(-za*za/2 - numeric.HalfLog2Pi - log)
			aza, az3 = a*za, a*za*za*za
		}
		if !math.IsInf(zb, 0) {
			b = math.Exp(-zb*zb/2 - numeric.HalfLog2Pi - log)
			bzb, bz3 = b*zb, b*zb*zb*zb
		}
		m1, w1 := a-b, aza-bzb
		p.m += n * m1 / s
		p.mm += n * (w1 - m1*m1) / (s * s)
		var zz float64
		if a != 0 {
			zz += aza * za
		}
		if b != 0 {
			zz -= bzb * zb
		}
		w, mw, ww = w1, (zz-m1-m1*w1)/s, az3-bz3-w1-w1*w1
	}
	p.t += n * w * share
	p.mt += n * mw * share
	p.tt += n * (ww*share*share + w*2*share*(1-share))
}

// leastTau is where a spread is as good as none.
const leastTau = -12

// best is the place of the largest likelihood, by Newton's steps, shortened
// until they climb. tau is leastTau where the data ask for no spread at all.
func (k likelihood) best(mu, tau float64) (float64, float64, point, error) {
	p := k.at(mu, tau)
	for range 300 {
		det := p.mm*p.tt - p.mt*p.mt
		var dm, dt float64
		if p.mm < 0 && det > 0 {
			dm = -(p.tt*p.m - p.mt*p.t) / det
			dt = -(p.mm*p.t - p.mt*p.m) / det
		} else { // not a hilltop yet: uphill in each by itself
			dm = p.m / (math.Abs(p.mm) + 1e-300)
			dt = p.t / (math.Abs(p.tt) + 1)
		}
		dt = min(max(dt, -1), 1)
		sigma := math.Exp(tau)
		dm = min(max(dm, -3*sigma), 3*sigma)
		if math.Abs(dt) < 1e-12 && math.Abs(dm) < 1e-12*(sigma+1e-3) {
			return mu, tau, p, nil
		}
		climbed := false
		for range 40 {
			q := k.at(mu+dm, max(tau+dt, leastTau))
			if q.l >= p.l {
				climbed = q.l > p.l
				mu, tau, p = mu+dm, max(tau+dt, leastTau), q
				break
			}
			dm, dt = dm/2, dt/2
		}
		if !climbed { // as high as the arithmetic can tell
			return mu, tau, p, nil
		}
	}
	return mu, tau, p, fmt.Errorf("the likelihood has no clear top; too much is censored for a fit")
}

// target is a quantity ψ whose interval is wanted. On the line of constant ψ, μ
// is a function of τ, given with its derivatives; where free is nil ψ is τ.
type target struct {
	value func(mu, tau float64) float64
	slope func(mu, tau float64) (m, t float64) // ∂ψ/∂μ, ∂ψ/∂τ
	line  func(psi, sigma float64) (mu, d1, d2 float64)
}

var (
	// medianLog is μ, spreadLog is τ, meanLog is μ + σ²/2.
	medianLog = target{
		func(mu, _ float64) float64 { return mu },
		func(_, _ float64) (float64, float64) { return 1, 0 },
		func(psi, _ float64) (float64, float64, float64) { return psi, 0, 0 },
	}
	spreadLog = target{
		func(_, tau float64) float64 { return tau },
		func(_, _ float64) (float64, float64) { return 0, 1 },
		nil,
	}
	meanLog = target{
		func(mu, tau float64) float64 { return mu + math.Exp(2*tau)/2 },
		func(_, tau float64) (float64, float64) { return 1, math.Exp(2 * tau) },
		func(psi, s float64) (float64, float64, float64) { return psi - s*s/2, -s * s, -2 * s * s },
	}
)

// levelScore is (μ − ln L)/σ, whose Φ is the share above L.
func levelScore(logLevel float64) target {
	return target{
		func(mu, tau float64) float64 { return (mu - logLevel) * math.Exp(-tau) },
		func(mu, tau float64) (float64, float64) {
			return math.Exp(-tau), -(mu - logLevel) * math.Exp(-tau)
		},
		func(psi, s float64) (float64, float64, float64) { return logLevel + psi*s, psi * s, psi * s },
	}
}

// quantileLog is μ + zσ.
func quantileLog(z float64) target {
	return target{
		func(mu, tau float64) float64 { return mu + z*math.Exp(tau) },
		func(_, tau float64) (float64, float64) { return 1, z * math.Exp(tau) },
		func(psi, s float64) (float64, float64, float64) { return psi - z*s, -z * s, -z * s },
	}
}

// interval is where twice the log likelihood, at its largest for each ψ, has
// fallen by drop. A side on which it never falls that far is infinite.
func (k likelihood) interval(g target, drop float64) (lower, upper float64, err error) {
	mu, tau, top, err := k.best(k.start())
	if err != nil {
		return 0, 0, err
	}
	lower, upper = k.limits(g, mu, tau, top, drop)
	return lower, upper, nil
}

// limits is interval from the place of the largest likelihood on.
func (k likelihood) limits(g target, mu, tau float64, top point, drop float64) (lower, upper float64) {
	centre := g.value(mu, tau)
	gm, gt := g.slope(mu, tau)
	det := top.mm*top.tt - top.mt*top.mt
	se := 1.0
	if v := -(gm*gm*top.tt - 2*gm*gt*top.mt + gt*gt*top.mm) / det; v > 0 && !math.IsInf(v, 0) {
		se = math.Sqrt(v)
	}
	want := math.Sqrt(drop)
	side := func(dir float64) float64 {
		nuisance := tau
		if g.line == nil {
			nuisance = mu
		}
		f := func(step float64) float64 {
			// √ of the fall, less what is wanted: almost straight in the step.
			var l float64
			l, nuisance = k.onLine(g, centre+dir*step, nuisance)
			return math.Sqrt(max(0, 2*(top.l-l))) - want
		}
		// Step by step outwards; then between the last two.
		inner, outer := 0.0, want*se
		for range 60 {
			if f(outer) >= 0 {
				x, err := numeric.Root(f, inner, outer, 1e-11*(1+math.Abs(centre)))
				if err != nil {
					return math.Inf(int(dir))
				}
				return centre + dir*x
			}
			inner, outer = outer, outer*1.5
			if g.line == nil && centre+dir*outer < leastTau || outer > 1e5*(1+math.Abs(centre)) {
				break
			}
		}
		return math.Inf(int(dir))
	}
	return side(-1), side(1)
}

// onLine is the largest log likelihood where ψ is fixed, and the free parameter
// at which it is reached, starting from x.
func (k likelihood) onLine(g target, psi, x float64) (float64, float64) {
	at := func(x float64) (l, d1, d2 float64) {
		if g.line == nil {
			p := k.at(x, psi)
			return p.l, p.m, p.mm
		}
		mu, m1, m2 := g.line(psi, math.Exp(x))
		p := k.at(mu, x)
		return p.l, p.m*m1 + p.t, p.mm*m1*m1 + 2*p.mt*m1 + p.tt + p.m*m2
	}
	l, d1, d2 := at(x)
	for range 200 {
		step := 1.0
		if d2 < 0 {
			step = -d1 / d2
		} else {
			step = math.Copysign(0.5, d1)
		}
		if g.line != nil {
			step = min(max(step, -1.5), 1.5)
			if x+step < leastTau-1 {
				break
			}
		}
		moved := false
		for range 60 {
			nl, n1, n2 := at(x + step)
			if nl > l {
				gain := nl - l
				x, l, d1, d2 = x+step, nl, n1, n2
				moved = gain > 1e-14*(1+math.Abs(l))
				break
			}
			if math.Abs(step) < 1e-9 {
				break
			}
			step /= 2
		}
		if !moved {
			break
		}
	}
	return l, x
}

// start is a place to climb from: every value put in its interval's middle, or at
// its only limit.
func (k likelihood) start() (mu, tau float64) {
	n, sum := k.n, k.n*k.mean
	mid := func(x term) float64 {
		switch {
		case math.IsInf(x.a, -1):
			return x.b - 0.5
		case math.IsInf(x.b, 1):
			return x.a + 0.5
		}
		return (x.a + x.b) / 2
	}
	for _, x := range k.rest {
		n += x.count
		sum += x.count * mid(x)
	}
	mu = sum / n
	ss := k.ss + k.n*(k.mean-mu)*(k.mean-mu)
	for _, x := range k.rest {
		ss += x.count * (mid(x) - mu) * (mid(x) - mu)
	}
	return mu, math.Log(max(math.Sqrt(ss/n), 1e-4))
}
