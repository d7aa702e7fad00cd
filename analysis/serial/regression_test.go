package serial

import (
	"math"
	"math/rand/v2"
	"testing"

	"gonum.org/v1/gonum/mat"
)

// Against the dense normal, on random times and columns; and with one column of ones
// against the filter of a mean.
func TestRegressionAgainstSlow(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for range 30 {
		n, p := 8+rng.IntN(20), 1+rng.IntN(4)
		at, y := make([]float64, n), make([]float64, n)
		x := make([][]float64, p)
		design := mat.NewDense(n, p, nil)
		for i := range at {
			if i > 0 {
				at[i] = at[i-1] + float64(1+rng.IntN(5))
			}
			y[i] = 10 * rng.NormFloat64()
		}
		for j := range x {
			x[j] = make([]float64, n)
			for i := range x[j] {
				x[j][i] = 1
				if j > 0 {
					x[j][i] = rng.NormFloat64()
				}
			}
			design.SetCol(j, x[j])
		}
		tau, share := math.Exp(3*rng.Float64()), rng.Float64()
		times, err := NewTimes(at)
		if err != nil {
			t.Fatal(err)
		}
		r, err := NewRegression(times, y, x)
		if err != nil {
			t.Fatal(err)
		}
		got, err := r.At(tau, share)
		if err != nil {
			t.Fatal(err)
		}

		v := mat.NewDense(n, n, nil)
		for i := range n {
			for j := range n {
				v.Set(i, j, (1-share)*math.Exp(-math.Abs(at[i]-at[j])/tau))
			}
			v.Set(i, i, 1)
		}
		var w, xw, xwx, cov, b mat.Dense
		if err := w.Inverse(v); err != nil {
			t.Fatal(err)
		}
		xw.Mul(design.T(), &w)
		xwx.Mul(&xw, design)
		if err := cov.Inverse(&xwx); err != nil {
			t.Fatal(err)
		}
		values := mat.NewVecDense(n, y)
		b.Mul(&xw, values)
		var beta, fitted, left, lw, rss mat.Dense
		beta.Mul(&cov, &b)
		fitted.Mul(design, &beta)
		left.Sub(values, &fitted)
		lw.Mul(left.T(), &w)
		rss.Mul(&lw, &left)
		s2 := rss.At(0, 0) / float64(n-p)
		for j := range p {
			near(t, "coefficient", got.Beta[j], beta.At(j, 0), 1e-7)
			near(t, "standard error", got.SE(j), math.Sqrt(s2*cov.At(j, j)), 1e-8)
		}
		logV, _ := mat.LogDet(v)
		logX, _ := mat.LogDet(&xwx)
		near(t, "log likelihood", got.LogL, -(float64(n-p)*math.Log(s2)+logV+logX)/2, 1e-8)
		if p == 1 {
			mean := layOut(at, y).pass(tau, share)
			near(t, "mean", got.Beta[0], mean.mean, 1e-9)
			near(t, "likelihood of a mean", got.LogL, mean.logl, 1e-9)
		}
	}
}

// The top is where the likelihood falls on all sides, whatever it was climbed from.
func TestRegressionBest(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 3))
	at, y := count(300), wander(rng, 300, 0.8, 0.7)
	one, step := make([]float64, 300), make([]float64, 300)
	for i := range one {
		one[i], step[i] = 1, math.Floor(float64(i)/150)
	}
	times, err := NewTimes(at)
	if err != nil {
		t.Fatal(err)
	}
	r, err := NewRegression(times, y, [][]float64{one, step})
	if err != nil {
		t.Fatal(err)
	}
	for _, from := range []Place{{1, 0.1}, {30, 0.7}} {
		f, err := r.At(from.Tau, from.Share)
		if err != nil {
			t.Fatal(err)
		}
		best, err := r.Best([]Fit{f}, 0.1, 1000)
		if err != nil {
			t.Fatal(err)
		}
		for _, p := range []Place{{best.Tau * 1.02, best.Share}, {best.Tau / 1.02, best.Share}, {best.Tau, best.Share * 1.02}, {best.Tau, best.Share / 1.02}} {
			if f, err := r.At(p.Tau, p.Share); err != nil || f.LogL > best.LogL {
				t.Errorf("from %+v: %+v is higher than %v, %v", from, p, best, err)
			}
		}
	}
}

func TestRegressionRefusals(t *testing.T) {
	if _, err := NewTimes([]float64{1}); err == nil {
		t.Error("one time was taken")
	}
	for _, at := range [][]float64{{1, 1}, {2, 1}, {1, math.NaN()}, {1, math.Inf(1)}} {
		if _, err := NewTimes(at); err == nil {
			t.Errorf("times %v were taken", at)
		}
	}
	times, err := NewTimes([]float64{1, 2, 4})
	if err != nil {
		t.Fatal(err)
	}
	y, one := []float64{1, 3, 2}, []float64{1, 1, 1}
	for _, x := range [][][]float64{nil, {one[:2]}, {one, y, y}} {
		if _, err := NewRegression(times, y, x); err == nil {
			t.Errorf("columns %v were taken", x)
		}
	}
	r, err := NewRegression(times, y, [][]float64{one, one})
	if err != nil {
		t.Fatal(err)
	}
	if f, err := r.At(1, 0.5); err == nil {
		t.Errorf("two columns of ones: %+v", f)
	}
	if _, err := r.Best(nil, 1, 2); err == nil {
		t.Error("a top was found from nowhere")
	}
}
