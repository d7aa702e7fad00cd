package numeric

import (
	"fmt"
	"math"
)

// Root finds where f crosses zero between a and b, by Brent's method, to about
// the precision of a float64 or tol, whichever is wider.
//
// Source: Brent 1973, Algorithms for Minimization without Derivatives, chapter 4.
func Root(f func(float64) float64, a, b, tol float64) (float64, error) {
	return root(f, a, f(a), b, f(b), tol)
}

func root(f func(float64) float64, a, fa, b, fb, tol float64) (float64, error) {
	if fa == 0 {
		return a, nil
	}
	if fb == 0 {
		return b, nil
	}
	if math.IsNaN(fa) || math.IsNaN(fb) || (fa > 0) == (fb > 0) {
		return 0, fmt.Errorf("no crossing between %g (%g) and %g (%g)", a, fa, b, fb)
	}
	c, fc := a, fa
	d := b - a
	e := d
	for range 200 {
		if (fb > 0) == (fc > 0) {
			c, fc = a, fa
			d = b - a
			e = d
		}
		if math.Abs(fc) < math.Abs(fb) {
			a, b, c = b, c, b
			fa, fb, fc = fb, fc, fb
		}
		limit := 2*0x1p-52*math.Abs(b) + tol/2
		m := (c - b) / 2
		if math.Abs(m) <= limit || fb == 0 {
			return b, nil
		}
		if math.Abs(e) < limit || math.Abs(fa) <= math.Abs(fb) {
			d, e = m, m
		} else {
			s := fb / fa
			var p, q float64
			if a == c {
				p, q = 2*m*s, 1-s
			} else {
				q0, r := fa/fc, fb/fc
				p = s * (2*m*q0*(q0-r) - (b-a)*(r-1))
				q = (q0 - 1) * (r - 1) * (s - 1)
			}
			if p > 0 {
				q = -q
			} else {
				p = -p
			}
			if 2*p < min(3*m*q-math.Abs(limit*q), math.Abs(e*q)) {
				d, e = p/q, d
			} else {
				d, e = m, m
			}
		}
		a, fa = b, fb
		if math.Abs(d) > limit {
			b += d
		} else {
			b += math.Copysign(limit, m)
		}
		fb = f(b)
		if math.IsNaN(fb) {
			return 0, fmt.Errorf("no number at %g", b)
		}
	}
	return b, nil
}

// RootNear finds where an increasing f crosses zero, starting at x with a first
// step towards the crossing, and steps to a little past where a straight line would
// cross until it is passed.
func RootNear(f func(float64) float64, x, step, tol float64) (float64, error) {
	fx := f(x)
	if fx == 0 {
		return x, nil
	}
	if fx > 0 {
		step = -step
	}
	for range 200 {
		y := x + step
		fy := f(y)
		if math.IsNaN(fy) || math.IsInf(y, 0) {
			break
		}
		if (fy > 0) != (fx > 0) || fy == 0 {
			return root(f, x, fx, y, fy, tol)
		}
		// A little past where the straight line crosses, so that the crossing lies between.
		grow := 2.0
		if line := 1.05 * fy / (fx - fy); line > 0 {
			grow = min(line, 8)
		}
		x, fx = y, fy
		step *= grow
	}
	return 0, fmt.Errorf("no crossing up to %g", x)
}
