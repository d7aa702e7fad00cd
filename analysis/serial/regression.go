package serial

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// Times are when the values of a series were taken, in any one unit, for
// regressions whose errors are those of Mean: an autoregression with noise.
type Times struct {
	gap    []int // index into apart of the distance before value i; gap[0] is not used
	apart  []float64
	length float64
}

// NewTimes are these times, which have to ascend.
func NewTimes(at []float64) (Times, error) {
	if len(at) < 2 {
		return Times{}, fmt.Errorf("%d times; a series has two at least", len(at))
	}
	t := Times{gap: make([]int, len(at)), length: at[len(at)-1] - at[0]}
	seen := map[float64]int{}
	for i := 1; i < len(at); i++ {
		d := at[i] - at[i-1]
		if !(d > 0) || math.IsInf(d, 0) {
			return Times{}, fmt.Errorf("time %v follows on time %v; times ascend", at[i], at[i-1])
		}
		k, ok := seen[d]
		if !ok {
			k = len(t.apart)
			seen[d] = k
			t.apart = append(t.apart, d)
		}
		t.gap[i] = k
	}
	return t, nil
}

// Filter is the Kalman filter of an autoregression with noise over given times: for
// each value the share of it that is left of the one before, the gain, and one over
// the variance of its innovation, where a value's is 1; and the log determinant of
// the correlations of all.
type Filter struct {
	Fall, Gain, Weight []float64
	LogDet             float64
}

// Filter is that of a correlation time and a share of the variance that is noise.
func (t Times) Filter(tau, share float64) Filter {
	fall := make([]float64, len(t.apart))
	for i, h := range t.apart {
		fall[i] = math.Exp(-h / tau)
	}
	n := len(t.gap)
	all := make([]float64, 3*n)
	f := Filter{Fall: all[:n:n], Gain: all[n : 2*n : 2*n], Weight: all[2*n:]}
	g := newGains(share)
	for i, k := range t.gap {
		f.Fall[i] = 1
		if i > 0 {
			f.Fall[i] = fall[k]
		}
		f.Gain[i], f.Weight[i] = g.next(f.Fall[i])
	}
	f.LogDet = g.logDet()
	return f
}

// Innovations are what each value of y differs by from what those before it say. The
// sum of two series' innovations multiplied, each pair with its Weight, is aᵀV⁻¹b
// for V the correlations of all values.
func (f Filter) Innovations(y []float64) []float64 {
	u := make([]float64, len(y))
	x := 0.0
	for i, v := range y {
		x *= f.Fall[i]
		u[i] = v - x
		x += f.Gain[i] * u[i]
	}
	return u
}

// Regression is values explained by columns, with errors as in Mean.
type Regression struct {
	Times
	y []float64
	x [][]float64
}

// NewRegression explains y, as many values as there are times, by columns of as many.
func NewRegression(t Times, y []float64, columns [][]float64) (Regression, error) {
	if len(y) != len(t.gap) || slices.ContainsFunc(columns, func(x []float64) bool { return len(x) != len(y) }) {
		return Regression{}, fmt.Errorf("values, columns and times are not as many")
	}
	if len(columns) == 0 || len(y) <= len(columns) {
		return Regression{}, fmt.Errorf("%d values for %d columns", len(y), len(columns))
	}
	return Regression{t, y, columns}, nil
}

// Fit is a regression at one correlation time and share of noise: generalized least
// squares.
type Fit struct {
	Tau, Share float64
	LogL       float64       // restricted log likelihood, but for a constant
	Beta       []float64     // of each column
	Variance   float64       // of one value about the regression
	Cov        *mat.SymDense // of Beta, relative to Variance
}

// SE is the standard error of coefficient j.
func (f Fit) SE(j int) float64 { return math.Sqrt(f.Variance * f.Cov.At(j, j)) }

// DF is how many values there are more than columns.
func (r Regression) DF() int { return len(r.y) - len(r.x) }

// At is the regression at a correlation time and a share of noise. It fails where the
// columns say the same.
func (r Regression) At(tau, share float64) (Fit, error) {
	f := r.Filter(tau, share)
	u := f.Innovations(r.y)
	p := len(r.x)
	columns := make([][]float64, p)
	xx, xy := mat.NewSymDense(p, nil), mat.NewVecDense(p, nil)
	dot := func(a, b []float64) (sum float64) {
		for i, w := range f.Weight {
			sum += w * a[i] * b[i]
		}
		return sum
	}
	for j, x := range r.x {
		columns[j] = f.Innovations(x)
		for k := range j + 1 {
			xx.SetSym(j, k, dot(columns[j], columns[k]))
		}
		xy.SetVec(j, dot(columns[j], u))
	}
	var chol mat.Cholesky
	var b mat.VecDense
	cov := mat.NewSymDense(p, nil)
	if !chol.Factorize(xx) || chol.SolveVecTo(&b, xy) != nil || chol.InverseTo(cov) != nil {
		return Fit{}, fmt.Errorf("the columns say the same over these times")
	}
	fit := Fit{Tau: tau, Share: share, Beta: slices.Clone(b.RawVector().Data), Cov: cov}
	for j, c := range columns {
		for i := range u {
			u[i] -= fit.Beta[j] * c[i]
		}
	}
	df := float64(r.DF())
	fit.Variance = dot(u, u) / df
	fit.LogL = -(df*math.Log(fit.Variance) + f.LogDet + chol.LogDet()) / 2
	if math.IsNaN(fit.LogL) || math.IsInf(fit.LogL, 0) {
		return Fit{}, fmt.Errorf("no likelihood can be had of these values")
	}
	return fit, nil
}

// Place is a correlation time and a share of noise.
type Place struct{ Tau, Share float64 }

// Places are so many correlation times, evenly in their logarithm between two, each
// with the shares of noise that Mean looks at.
func Places(shortest, longest float64, times int) (all []Place) {
	least, most := math.Log(shortest), math.Log(longest)
	for i := range times {
		tau := math.Exp(least + (most-least)*(float64(i)+0.5)/float64(times))
		for _, logit := range shares {
			all = append(all, Place{tau, 1 / (1 + math.Exp(-logit))})
		}
	}
	return all
}

// Best is where the restricted likelihood is largest, by simplex from the best of
// fits, with a correlation time between the two.
func (r Regression) Best(fits []Fit, shortest, longest float64) (Fit, error) {
	if len(fits) == 0 {
		return Fit{}, fmt.Errorf("nowhere to start from")
	}
	from := slices.MaxFunc(fits, func(a, b Fit) int {
		if a.LogL < b.LogL {
			return -1
		}
		return 1
	})
	tau, share, err := climb(from.Tau, from.Share, shortest, longest, func(tau, share float64) float64 {
		f, err := r.At(tau, share)
		if err != nil {
			return math.Inf(-1)
		}
		return f.LogL
	})
	if err != nil {
		return from, err
	}
	return r.At(tau, share)
}

// Part is one of the Student's distributions that a Mixture is of.
type Part struct{ LogWeight, Mean, SE float64 }

// Mixture is what is known of a coefficient where each correlation time and share of
// noise counts as much as its likelihood.
type Mixture struct{ of averaged }

// NewMixture mixes parts with df degrees of freedom each.
func NewMixture(parts []Part, df float64) Mixture { return Mixture{mix(parts, df)} }

// Mean of the mixture.
func (m Mixture) Mean() float64 { return m.of.mean }

// SD is the root of the mixture's variance, were each part normal.
func (m Mixture) SD() float64 { return m.of.sd }

// Quantile of the mixture at p.
func (m Mixture) Quantile(p float64) (float64, error) { return m.of.quantile(p) }
