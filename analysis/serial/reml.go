package serial

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/optimize"
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
	n := len(r.y)
	p := 1 - share // of x, before it is seen
	var x, one float64
	var sww, swu, suu, logs float64
	product := 1.0
	for i, y := range r.y {
		if i > 0 {
			f := phi[r.gap[i]]
			x *= f
			one *= f
			p = f*f*p + (1-f*f)*(1-share)
		}
		v := p + share
		inv := 1 / v
		u, w := y-x, 1-one
		sww += w * w * inv
		swu += w * u * inv
		suu += u * u * inv
		if product *= v; product < 1e-200 {
			logs += math.Log(product)
			product = 1
		}
		k := p * inv
		x += k * u
		one += k * w
		p *= 1 - k
	}
	logs += math.Log(product)
	s := state{mean: swu / sww, weight: sww}
	s.variance = (suu - swu*swu/sww) / float64(n-1)
	s.logl = -(float64(n-1)*math.Log(s.variance) + logs + math.Log(sww)) / 2
	return s
}

// best is the correlation time (hours) and the share of noise at which the
// restricted likelihood is largest: on a coarse grid, then by simplex.
func (r record) best() (tau, share float64, s state, err error) {
	least, most := r.bounds()
	at := func(z []float64) (float64, float64) {
		return math.Exp(min(max(z[0], math.Log(least)), math.Log(most))), 1 / (1 + math.Exp(-min(max(z[1], -20), 7)))
	}
	top, start := math.Inf(-1), []float64{0, 0}
	for i := range 10 {
		for _, logit := range []float64{-5, -2, -0.5, 1, 2.5} {
			z := []float64{math.Log(least) + (math.Log(most)-math.Log(least))*float64(i)/9, logit}
			if l := r.pass(at(z)).logl; l > top {
				top, start = l, z
			}
		}
	}
	if math.IsInf(top, 0) || math.IsNaN(top) {
		return 0, 0, s, fmt.Errorf("no likelihood can be had of these values")
	}
	p := optimize.Problem{Func: func(z []float64) float64 { return -r.pass(at(z)).logl }}
	res, err := optimize.Minimize(p, start, &optimize.Settings{
		Converger: &optimize.FunctionConverge{Absolute: 1e-10, Iterations: 40}, MajorIterations: 400,
	}, &optimize.NelderMead{SimplexSize: 0.3})
	if err != nil && res == nil {
		return 0, 0, s, err
	}
	tau, share = at(res.X)
	return tau, share, r.pass(tau, share), nil
}

// bounds of the correlation times looked at.
func (r record) bounds() (least, most float64) {
	step := math.Inf(1)
	for _, h := range r.hours {
		step = min(step, h)
	}
	return step / 5, 2 * r.length
}
