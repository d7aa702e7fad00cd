package serial

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/optimize"
	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis/internal/numeric"
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

// place is a state with where it is.
type place struct {
	tau, share float64
	state
}

// shares are the logits of the noise's share looked at.
var shares = []float64{-8, -5, -3.25, -2, -1, 0, 1, 2, 3.5}

// times is how many correlation times are looked at, evenly in their logarithm,
// from half a step to half the record.
const times = 12

// grid is the record at each of those times and shares.
func (r record) grid() []place {
	least, most := math.Log(r.step()/2), math.Log(r.length/2)
	var all []place
	for i := range times {
		tau := math.Exp(least + (most-least)*(float64(i)+0.5)/times)
		for _, logit := range shares {
			share := 1 / (1 + math.Exp(-logit))
			all = append(all, place{tau, share, r.pass(tau, share)})
		}
	}
	return all
}

// step is the shortest distance there is.
func (r record) step() float64 { return slices.Min(r.hours) }

// best is where the restricted likelihood is largest: by simplex, from the best of
// the grid.
func (r record) best(grid []place) (place, error) {
	from := grid[0]
	for _, p := range grid {
		if p.logl > from.logl {
			from = p
		}
	}
	if math.IsInf(from.logl, 0) || math.IsNaN(from.logl) {
		return from, fmt.Errorf("no likelihood can be had of these values")
	}
	least, most := math.Log(r.step()/5), math.Log(2*r.length)
	at := func(z []float64) (float64, float64) {
		return math.Exp(min(max(z[0], least), most)), 1 / (1 + math.Exp(-min(max(z[1], -20), 7)))
	}
	p := optimize.Problem{Func: func(z []float64) float64 { return -r.pass(at(z)).logl }}
	res, err := optimize.Minimize(p, []float64{math.Log(from.tau), math.Log(from.share / (1 - from.share))}, &optimize.Settings{
		Converger: &optimize.FunctionConverge{Absolute: 1e-10, Iterations: 40}, MajorIterations: 400,
	}, &optimize.NelderMead{SimplexSize: 0.3})
	if err != nil && res == nil {
		return from, err
	}
	tau, share := at(res.X)
	return place{tau, share, r.pass(tau, share)}, nil
}

// averaged is the mean with each correlation time and share of noise counting as
// much as its restricted likelihood: a mixture of Student's distributions.
type averaged struct {
	mean, sd float64
	parts    []part
	nu       float64
}

type part struct{ weight, mean, se float64 }

func average(grid []place, n int) averaged {
	top := math.Inf(-1)
	for _, p := range grid {
		top = max(top, p.logl)
	}
	a := averaged{nu: float64(n - 1)}
	total := 0.0
	for _, p := range grid {
		if w := math.Exp(p.logl - top); w > 1e-7 {
			a.parts = append(a.parts, part{w, p.mean, math.Sqrt(p.variance / p.weight)})
			total += w
		}
	}
	for i := range a.parts {
		p := &a.parts[i]
		p.weight /= total
		a.mean += p.weight * p.mean
	}
	for _, p := range a.parts {
		d := p.mean - a.mean
		a.sd += p.weight * (p.se*p.se + d*d)
	}
	a.sd = math.Sqrt(a.sd)
	return a
}

// quantile of the mixture at p.
func (a averaged) quantile(p float64) (float64, error) {
	t := distuv.StudentsT{Sigma: 1, Nu: a.nu}
	return numeric.RootNear(func(x float64) float64 {
		sum := -p
		for _, k := range a.parts {
			sum += k.weight * t.CDF((x-k.mean)/k.se)
		}
		return sum
	}, a.mean+a.sd*numeric.NormalQuantile(p), a.sd/4, 1e-9*a.sd)
}
