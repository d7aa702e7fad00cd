package numeric

import (
	"math"

	"gonum.org/v1/gonum/mathext"
)

// ClopperPearson are the limits of a share of which x of n were found, with this much
// beyond each: the beta quantiles B(tail; x, n−x+1) and B(1−tail; x+1, n−x), from 0 to
// 1. x and n need not be whole.
// Source: Clopper and Pearson 1934, Biometrika 26:404 (from memory).
func ClopperPearson(x, n, tail float64) (lower, upper float64) {
	lower, upper = 0, 1
	if x > 0 {
		lower = betaQuantile(x, n-x+1, tail)
	}
	if x < n {
		upper = 1 - betaQuantile(n-x, x+1, tail)
	}
	return lower, upper
}

// betaQuantile is the x at which the regularised incomplete beta function is p, at most
// a half. It is sought in the logarithm of the odds, where the normal quantile of the
// function is near a straight line: other ways lose their footing in a far tail of many.
func betaQuantile(a, b, p float64) float64 {
	if b == 1 { // x^a
		return math.Exp(math.Log(p) / a)
	}
	want := NormalQuantile(p)
	odds, err := RootNear(func(odds float64) float64 {
		return NormalQuantile(min(max(mathext.RegIncBeta(a, b, 1/(1+math.Exp(-odds))), 1e-300), 1-1e-16)) - want
	}, math.Log(a/b)+want*math.Sqrt((a+b)/(a*b)), 0.1+0.1*math.Sqrt((a+b)/(a*b)), 1e-14)
	if err != nil {
		return math.NaN()
	}
	return 1 / (1 + math.Exp(-odds))
}
