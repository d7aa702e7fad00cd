package numeric

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// Phi is the standard normal distribution function, precise in both tails.
func Phi(x float64) float64 { return math.Erfc(-x/math.Sqrt2) / 2 }

// LogPhi is ln Φ(x), for any x: by erfc where that does not underflow, and below
// by Mills' ratio.
func LogPhi(x float64) float64 {
	switch {
	case x > 5:
		return math.Log1p(-Phi(-x))
	case x > -30:
		return math.Log(Phi(x))
	default:
		return -x*x/2 - HalfLog2Pi + math.Log(mills(-x))
	}
}

// Hazard is φ(x)/Φ(x), the derivative of LogPhi.
func Hazard(x float64) float64 {
	if x > -30 {
		return math.Exp(-x*x/2-HalfLog2Pi) / Phi(x)
	}
	return 1 / mills(-x)
}

// HalfLog2Pi is ½ ln 2π, which the logarithm of a normal density loses.
const HalfLog2Pi = 0.91893853320467274178032973640562

// mills is Φ(−x)/φ(x) for large x, by its continued fraction x + 1/(x + 2/(x + …)).
func mills(x float64) float64 {
	f := x
	for k := 30; k > 0; k-- {
		f = x + float64(k)/f
	}
	return 1 / f
}

// LogPhiBetween is ln(Φ(b) − Φ(a)) for a < b, either of them infinite, without
// loss where both lie in one tail.
func LogPhiBetween(a, b float64) float64 {
	if a > 0 {
		a, b = -b, -a
	}
	if b > 0 && a < 0 { // the middle: what is outside is added up
		if out := Phi(a) + Phi(-b); out < 0.5 {
			return math.Log1p(-out)
		}
		return math.Log((math.Erf(b/math.Sqrt2) - math.Erf(a/math.Sqrt2)) / 2)
	}
	lb := LogPhi(b)
	if math.IsInf(a, -1) {
		return lb
	}
	d := LogPhi(a) - lb
	// Near together, ln Φ(a) − ln Φ(b) has lost its digits; the density has not.
	if h := b - a; h*max(1, -b) < 1e-5 {
		m := (a + b) / 2
		return -m*m/2 - HalfLog2Pi + math.Log(h) + math.Log1p(h*h/24*(m*m-1))
	}
	return lb + math.Log(-math.Expm1(d))
}

// NormalQuantile is the z with Φ(z) = p.
func NormalQuantile(p float64) float64 { return mathext.NormalQuantile(p) }
