package numeric

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// NoncentralT is the distribution of (Z + Delta)/√(W/Nu), with Z standard normal
// and W chi-squared with Nu degrees of freedom, independent of each other.
type NoncentralT struct{ Nu, Delta float64 }

// CDF is P(T ≤ t) = E Φ(t√(W/ν) − δ), with small relative error however small it
// is: the expectation is summed over ln(W/ν) at even steps, from its largest
// term outwards. Such a sum of a smooth, bell-shaped function is exact but for
// exp(−2π²σ²/h²), σ being the width of the bell and h the step. Where |δ| is above
// 30 + 10√(2ν) the sum is over Z instead, and ends 12 standard deviations out: there
// a probability below some 1e-30 has a small absolute error only, and one below
// 1e-79 may have no digit right.
func (d NoncentralT) CDF(t float64) float64 {
	switch {
	case math.IsNaN(t) || !(d.Nu > 0) || math.IsNaN(d.Delta) || math.IsInf(d.Delta, 0):
		return math.NaN()
	case math.IsInf(t, 1):
		return 1
	case math.IsInf(t, -1):
		return 0
	case t == 0:
		return Phi(-d.Delta)
	}
	// The smaller side is summed, and the larger is what it leaves.
	if t < d.Delta {
		return d.tail(t, 1)
	}
	if upper := d.tail(t, -1); upper < 0.5 {
		return 1 - upper
	}
	return d.tail(t, 1)
}

// Survival is P(T > t), precise where it is small.
func (d NoncentralT) Survival(t float64) float64 { return NoncentralT{d.Nu, -d.Delta}.CDF(-t) }

// tail is P(T ≤ t) for sign 1 and P(T > t) for sign −1.
func (d NoncentralT) tail(t, sign float64) float64 {
	if d.far() {
		return d.farTail(t, sign)
	}
	half := d.Nu / 2
	h := 0.28 / math.Sqrt(half+1+(math.Abs(d.Delta)+3)*(math.Abs(d.Delta)+3)/4)
	log := func(x float64) float64 {
		return half*(x-math.Expm1(x)) + LogPhi(sign*(t*math.Exp(x/2)-d.Delta))
	}
	// The largest term: the function is concave where it matters, so that
	// walking uphill with doubled and halved steps ends at the top.
	x, top, step := 0.0, log(0), h
	for math.Abs(step) >= h/2 {
		if l := log(x + step); l > top {
			x, top = x+step, l
			step *= 2
		} else if l := log(x - step); l > top {
			x, top = x-step, l
			step *= -2
		} else {
			step /= 4
		}
	}
	if math.IsInf(top, -1) {
		return 0
	}
	total := 1.0
	for _, dir := range []float64{h, -h} {
		for i := 1.0; ; i++ {
			term := math.Exp(log(x+i*dir) - top)
			total += term
			if term < 1e-18*total {
				break
			}
		}
	}
	return h * total * math.Exp(top+logChiTop(d.Nu))
}

// far says whether δ lies so far out that Φ(t√(W/ν) − δ) steps within a hair of W;
// then Z is what is summed over.
func (d NoncentralT) far() bool { return math.Abs(d.Delta) > 30+10*math.Sqrt(2*d.Nu) }

// farTail is E P(√(W/ν) ≥ (Z + δ)/t), summed over Z at even steps; Z + δ keeps the
// sign of δ.
func (d NoncentralT) farTail(t, sign float64) float64 {
	if d.Delta < 0 {
		return NoncentralT{d.Nu, -d.Delta}.farTail(-t, -sign)
	}
	if t <= 0 { // below Φ(−38), which is below all numbers
		if sign > 0 {
			return 0
		}
		return 1
	}
	const h = 0.25
	sum := 0.0
	for z := -12.0; z <= 12; z += h {
		x := (z + d.Delta) / t
		p := 0.0
		if sign > 0 {
			p = mathext.GammaIncRegComp(d.Nu/2, d.Nu/2*x*x)
		} else {
			p = mathext.GammaIncReg(d.Nu/2, d.Nu/2*x*x)
		}
		sum += math.Exp(-z*z/2) * p
	}
	return sum * h / math.Sqrt(2*math.Pi)
}

// logChiTop is the log density of ln(W/ν) at 0, where W is chi-squared with ν
// degrees of freedom: (ν/2)ln(ν/2) − ν/2 − lnΓ(ν/2), by Stirling's series where
// the difference would lose digits.
func logChiTop(nu float64) float64 {
	a := nu / 2
	if a < 15 {
		l, _ := math.Lgamma(a)
		return a*math.Log(a) - a - l
	}
	r := 1 / (a * a)
	return math.Log(a/(2*math.Pi))/2 - (1.0/12-r*(1.0/360-r*(1.0/1260-r*(1.0/1680-r*(1.0/1188-r*691.0/360360)))))/a
}

// Quantile is the t with P(T ≤ t) = p, for 0 < p < 1.
func (d NoncentralT) Quantile(p float64) float64 {
	// A normal start: T is about normal with mean δ and variance 1 + δ²/(2ν).
	spread := math.Sqrt(1 + d.Delta*d.Delta/(2*d.Nu))
	score := scorer(d.Nu, d.Delta, p)
	t, err := RootNear(func(t float64) float64 { return score(t, d.Delta) }, d.Delta+spread*NormalQuantile(p), spread/4, 1e-12)
	if err != nil {
		return math.NaN()
	}
	return t
}

// NoncentralityAt is the δ with P(T ≤ t) = p. It falls as p grows.
func NoncentralityAt(nu, t, p float64) (float64, error) {
	spread := math.Sqrt(1 + t*t/(2*nu))
	start := -t + spread*NormalQuantile(p)
	score := scorer(nu, max(math.Abs(t), math.Abs(start)), p)
	x, err := RootNear(func(x float64) float64 { return score(t, -x) }, start, spread/4, 1e-12)
	return -x, err
}

// scorer measures how far P(T ≤ t) is from p in units of a standard normal: close
// to a straight line in t and in δ, so that a root is found in a few steps. Unless
// p is extreme, the sum runs over the same nodes each time.
func scorer(nu, delta, p float64) func(t, delta float64) float64 {
	sign, tail := 1.0, p
	if p > 0.5 {
		sign, tail = -1, 1-p
	}
	want := NormalQuantile(tail)
	share := func(t, delta float64) float64 { return NoncentralT{nu, delta}.tail(t, sign) }
	if tail > 1e-4 && !(NoncentralT{nu, delta}).far() {
		grid := NewChi(nu, delta)
		share = func(t, delta float64) float64 {
			return grid.Mean(func(root float64) float64 { return Phi(sign * (t*root - delta)) })
		}
	}
	return func(t, delta float64) float64 {
		return sign * (NormalQuantile(min(max(share(t, delta), 1e-300), 1-1e-16)) - want)
	}
}

// Chi is an expectation over √(W/ν), W chi-squared with ν degrees of freedom, as a
// sum at even steps of ln(W/ν).
type Chi struct{ root, weight []float64 }

// NewChi makes one for functions like Φ(t√(W/ν) − δ), which step within some 2/δ
// of ln(W/ν).
func NewChi(nu, delta float64) Chi {
	slope := math.Abs(delta) + 3
	h := 0.5 / math.Sqrt(nu/2+1+slope*slope/4)
	var c Chi
	total := 0.0
	for _, dir := range []float64{1, -1} {
		for i := 0.0; ; i++ {
			x := dir * h * i
			w := math.Exp(nu / 2 * (x - math.Expm1(x)))
			if w < 1e-17 {
				break
			}
			if i > 0 || dir > 0 {
				c.root = append(c.root, math.Exp(x/2))
				c.weight = append(c.weight, w)
				total += w
			}
		}
	}
	for i := range c.weight {
		c.weight[i] /= total
	}
	return c
}

// Mean is the mean of f(√(W/ν)).
func (c Chi) Mean(f func(root float64) float64) float64 {
	sum := 0.0
	for i, r := range c.root {
		sum += c.weight[i] * f(r)
	}
	return sum
}
