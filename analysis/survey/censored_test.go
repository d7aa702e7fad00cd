package survey

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"

	"radonyear/analysis/internal/numeric"
)

// dense is what integrate finds, by the definition: even steps over everything
// within 35 spreads of the effect given the exact homes. The derivatives by the fixed
// effects are those of the integrand under the integral.
type dense struct {
	logE, mean, variance float64
	grad, cov            []float64
	info                 []float64
}

func denseArea(d *design, j int, sigma, tau float64, beta []float64) (x dense) {
	s := d.sums(sigma)
	t := s.t[j*d.q : j*d.q+d.q]
	g := tau * tau / (1 + tau*tau*t[0])
	m := g * (t[d.p] - dot(t[:d.p], beta))
	far, steps := 35.0, 9000
	if sigma < 0.1 { // sharper
		steps = 60000
	}
	logs, at := make([]float64, steps+1), make([]float64, steps+1)
	scores, bends := make([][]float64, steps+1), make([][]float64, steps+1)
	best := math.Inf(-1)
	for i := range logs {
		z := far * (2*float64(i)/float64(steps) - 1)
		at[i], logs[i] = z, -z*z/2
		scores[i], bends[i] = make([]float64, d.p), make([]float64, d.p*d.p)
		for _, k := range d.rest[d.first[j]:d.first[j+1]] {
			eta := dot(k.x, beta) + m + math.Sqrt(g)*z
			sd := math.Sqrt(sigma*sigma + k.se2)
			l, f1, f2 := bounded(k.lower, k.upper, eta, 1/sd)
			logs[i] += k.count * l
			for a := range d.p {
				xa := k.x[a] - g*t[a]
				scores[i][a] += k.count * f1 * xa
				for b := range d.p {
					bends[i][a*d.p+b] += k.count * f2 * xa * (k.x[b] - g*t[b])
				}
			}
		}
		best = max(best, logs[i])
	}
	total := 0.0
	for i := range logs {
		logs[i] = math.Exp(logs[i] - best)
		total += logs[i]
	}
	x.logE = best + math.Log(total*2*far/float64(steps)) - halfLog2Pi
	x.grad, x.cov, x.info = make([]float64, d.p), make([]float64, d.p), make([]float64, d.p*d.p)
	for i, w := range logs {
		w /= total
		x.mean += w * at[i]
		x.variance += w * at[i] * at[i]
		for a := range d.p {
			x.grad[a] += w * scores[i][a]
			x.cov[a] += w * scores[i][a] * at[i]
			for b := range d.p {
				x.info[a*d.p+b] -= w * (bends[i][a*d.p+b] + scores[i][a]*scores[i][b])
			}
		}
	}
	x.variance -= x.mean * x.mean
	for a := range d.p {
		x.cov[a] -= x.mean * x.grad[a]
		for b := range d.p {
			x.info[a*d.p+b] += x.grad[a] * x.grad[b]
		}
	}
	return x
}

// mixedAreas are areas of many homes with few, one or none known exactly, beside one
// of exact homes: what a detector with a high limit makes of quiet places.
func mixedAreas(rng *rand.Rand, errors float64) (homes []Home) {
	for i, a := range []struct{ below, between, exact int }{{18, 0, 2}, {5, 0, 0}, {20, 0, 0}, {1, 0, 1}, {0, 3, 0}, {60, 0, 1}, {0, 0, 12}, {2, 2, 8}, {400, 0, 0}} {
		for k := range a.below + a.between + a.exact {
			h := Home{Area: fmt.Sprintf("%d", i), Log: 4 + 0.8*rng.NormFloat64(), SE: errors * rng.Float64(), Covariates: []float64{float64(rng.IntN(2))}}
			switch {
			case k < a.below:
				h.Log, h.Below = 3.5+0.4*float64(rng.IntN(2)), true
			case k < a.below+a.between:
				h.Lower, h.Upper = h.Log-0.2, h.Log+0.3
			}
			homes = append(homes, h)
		}
	}
	return homes
}

// What is read off the table is what erfc gives, at the table's ends too.
func TestPhiTable(t *testing.T) {
	check := func(x float64) {
		l, h := phiHazard(x)
		if want := numeric.LogPhi(x); math.Abs(l-want) > 2e-13*(1+math.Abs(want)) {
			t.Errorf("ln Φ(%v) is %v, not %v", x, l, want)
		}
		if want := numeric.Hazard(x); math.Abs(h-want) > 1e-10*(1+want) {
			t.Errorf("φ/Φ(%v) is %v, not %v", x, h, want)
		}
	}
	for x := -15.0; x < 8; x += 0.000917 {
		check(x)
	}
	for _, x := range []float64{phiFrom, math.Nextafter(phiFrom, -99), phiTo, math.Nextafter(phiTo, 0), -1e6, 300} {
		check(x)
	}
}

// TestCensoredAreas holds the integral over an area's effect, its moments, and its
// derivatives by the fixed effects to a slow dense sum: areas of 20 homes with 18 below
// their limits, of 5 with all below, of 400, and with no exact home at all.
func TestCensoredAreas(t *testing.T) {
	rng := rand.New(rand.NewPCG(8, 1))
	for _, errors := range []float64{0, 0.5} {
		homes := mixedAreas(rng, errors)
		opt := Options{Covariates: []string{"floor"}}
		d, err := newDesign(homes, &opt)
		if err != nil {
			t.Fatal(err)
		}
		for _, spread := range [][2]float64{{0.8, 0.5}, {0.3, 1.2}, {1.1, 0.05}, {0.6, 3}, {0.05, 1}} {
			sigma, tau := spread[0], spread[1]
			for _, beta := range [][]float64{{0, 0}, {1.5, -0.4}} {
				s := d.sums(sigma)
				for j := range d.areas {
					if d.first[j] == d.first[j+1] || sigma < 0.1 && (errors > 0 || d.areas[j].homes > 20) { // the dense sum takes long
						continue
					}
					var w areaWork
					d.integrate(j, s, tau, beta, &w)
					want := denseArea(d, j, sigma, tau, beta)
					what := fmt.Sprintf("area %s, spreads %v, fixed effects %v, errors %v: ", d.areas[j].name, spread, beta, errors)
					close := func(name string, got, want, tol float64) {
						t.Helper()
						if !(math.Abs(got-want) <= tol) {
							t.Errorf("%s%s is %.10g, not %.10g (%d nodes)", what, name, got, want, len(w.f))
						}
					}
					close("logarithm", w.logE, want.logE, 1e-6)
					close("mean", w.mean, want.mean, 1e-6)
					close("variance", w.variance, want.variance, 1e-6)
					for a := range d.p {
						close("gradient", w.grad[a], want.grad[a], 1e-6*(1+math.Abs(want.grad[a])))
						close("covariance", w.cov[a], want.cov[a], 1e-6*(1+math.Abs(want.cov[a])))
						for b := range d.p {
							tol := 1e-6 * (1 + math.Abs(want.info[a*d.p+b]))
							if sigma < 0.1 { // a difference of terms that add to 1200, homes over σ²: 4e-7 of them
								tol = 5e-4
							}
							close("information", w.info[a*d.p+b], want.info[a*d.p+b], tol)
						}
					}
				}
			}
		}
	}
}

// TestCensoredPosterior holds what is said of an area where the spreads are known,
// β and the effect not, to the dense sum over both: quantiles are within a tenth of a
// standard deviation, also for areas with no exact home, where the effect leans by −0.8
// and a normal shape would be off by half of one; and within 0.03 where an area of 20
// has two.
func TestCensoredPosterior(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for _, c := range []community{{areas: 10, homes: 4, sigma: 0.8, tau: 0.5, censored: 0.2}, {areas: 10, homes: 5, sigma: 0.8, tau: 1, censored: 0.5}} {
		homes := c.draw(rng)
		limit := 4 + math.Hypot(c.sigma, c.tau)*numeric.NormalQuantile(c.censored)
		for range 5 {
			homes = append(homes, Home{Area: "all below", Below: true, Log: limit})
		}
		for range 18 {
			homes = append(homes, Home{Area: "two exact", Below: true, Log: limit})
		}
		homes = append(homes, Home{Area: "two exact", Log: limit + 0.3}, Home{Area: "two exact", Log: limit + 0.6})
		d, err := newDesign(homes, &Options{})
		if err != nil {
			t.Fatal(err)
		}
		s := d.sums(c.sigma)
		for _, tau := range []float64{0.3 * c.tau, c.tau, 2 * c.tau} {
			x := d.at(s, tau, nil)
			e := d.effectsAt(s, x, false)
			for j, a := range d.areas {
				most := 0.1
				switch a.name {
				case "two exact":
					most = 0.03
				case "all below":
				default:
					continue
				}
				q := denseLevel(d, j, s, tau, x)
				mean, sd := d.shift+x.beta[0]+e.u[j], math.Sqrt(e.g[j]+x.cov[0]*(1+e.du[j])*(1+e.du[j]))
				f := mixture{w: []float64{1}, m: []float64{mean}, s: []float64{sd}, c: []float64{0}, d: []float64{1}, bend: []float64{bendOf(e.third[j], sd)}}
				for _, p := range []float64{0.025, 0.05, 0.5, 0.95, 0.975} {
					if got := f.quantile(p, mean, sd); !(math.Abs(got-q(p)) < most*sd) {
						t.Errorf("%v below, %s, spread between areas %v: quantile %v of the level is %.4f, not %.4f: %.3f standard deviations", c.censored, a.name, tau, p, got, q(p), (got-q(p))/sd)
					}
				}
			}
		}
	}
}

// denseLevel gives quantiles of an area's level, with the intercept alone, where both
// spreads are known: summed over the intercept and over the effect.
func denseLevel(d *design, j int, s *sums, tau float64, x point) func(p float64) float64 {
	height := func(b float64) float64 { // ln of the likelihood at an intercept, but for a constant
		l := -(s.total[2] - 2*b*s.total[1] + b*b*s.total[0]) / 2
		for i := range d.areas {
			t := s.t[i*d.q : i*d.q+d.q]
			l += tau * tau / (1 + tau*tau*t[0]) / 2 * (t[1] - b*t[0]) * (t[1] - b*t[0])
		}
		return l + d.censored(s, tau, []float64{b}, make([]float64, 1), make([]float64, 1), d.newIntegrals())
	}
	const across, steps = 81, 3000
	lo, hi := -14.0, 6.0
	density, at := make([]float64, steps), make([]float64, steps)
	top := height(x.beta[0])
	t := s.t[j*d.q : j*d.q+d.q]
	for i := range across {
		b := x.beta[0] + math.Sqrt(x.cov[0])*8*(2*float64(i)/(across-1)-1)
		g := tau * tau / (1 + tau*tau*t[0])
		m := g * (t[1] - b*t[0])
		total := 0.0
		for k := range at {
			u := lo + (hi-lo)*float64(k)/steps - b
			l := -(u - m) * (u - m) / (2 * g)
			for _, r := range d.rest[d.first[j]:d.first[j+1]] {
				f, _, _ := bounded(r.lower, r.upper, b+u, 1/math.Sqrt(s.sigma*s.sigma+r.se2))
				l += r.count * f
			}
			at[k] = math.Exp(l)
			total += at[k]
		}
		if w := math.Exp(height(b)-top) / total; w > 0 && !math.IsInf(w, 1) {
			for k, v := range at {
				density[k] += w * v
			}
		}
	}
	total := 0.0
	for _, v := range density {
		total += v
	}
	return func(p float64) float64 {
		sum := 0.0
		for k, v := range density {
			if sum+v >= p*total {
				return d.shift + lo + (hi-lo)*(float64(k)-0.5+(p*total-sum)/v)/steps
			}
			sum += v
		}
		return d.shift + hi
	}
}

// A covariate's coefficient of 0.5 with a variance of 0.16, which varies by 0.25 among an
// area's homes, adds 0.25β² to σ² = 0.36: of mean 0.25(0.25 + 0.16) = 0.1025 and variance
// 0.0625(2·0.16² + 4·0.25·0.16) = 0.0132. With 0.0001 in place of 0.16 it adds 0.0625
// and is as good as known. σ² itself differs between areas by e^(4·0.1²) − 1 of its square, which
// three points have to a thousandth.
func TestSpreadsWithin(t *testing.T) {
	d := &design{p: 2}
	a := place{vary: []float64{0, 0, 0.25}}
	x := point{sigma: 0.6, beta: []float64{4, 0.5}, cov: []float64{0.3, 0, 0, 0.16}}
	moments := func(what string, s []possible, parts int, wantMean, wantVariance float64) {
		t.Helper()
		if len(s) != parts {
			t.Errorf("%s: %v", what, s)
		}
		p, mean, second := 0.0, 0.0, 0.0
		for _, x := range s {
			v := x.sd * x.sd
			p, mean, second = p+x.p, mean+x.p*v, second+x.p*v*v
			if !(v > 0) {
				t.Errorf("%s: %v", what, s)
			}
		}
		near(t, what+", probability", p, 1, 1e-12)
		near(t, what+", mean", mean, wantMean, 1e-4)
		near(t, what+", variance", second-mean*mean, wantVariance, 1e-3)
	}
	own, none := 0.36*0.36*(math.Exp(0.04)-1), ownSpread{-0.01, 0.1}
	moments("unknown", d.spreadsWithin(a, x, none), 6, 0.36+0.1025, own+0.0132)
	x.cov[3] = 0.0001
	moments("as good as known", d.spreadsWithin(a, x, none), 3, 0.36+0.25*0.2501, own)
	moments("no covariates", d.spreadsWithin(place{}, x, none), 3, 0.36, own)
	if s := d.spreadsWithin(place{}, x, ownSpread{}); len(s) != 1 || s[0] != (possible{0.6, 1}) {
		t.Errorf("one area: %v", s)
	}
	x.sigma = 0
	if s := d.spreadsWithin(place{}, x, none); len(s) != 1 || s[0] != (possible{0, 1}) {
		t.Errorf("homes all alike: %v", s)
	}
}
