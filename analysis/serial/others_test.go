package serial

import (
	"encoding/json"
	"math"
	"testing"

	"radonyear/analysis/internal/reftest"
)

// TestOthersData holds a regression whose values do not resemble their neighbours, so
// least squares, to NIST's certified values, of data that the project does not contain;
// see the test of this name in lognormal. Fifteen digits are certified, and Norris's keep
// twelve. Longley's six columns lie far from zero and nearly explain each other: their
// products have a condition of 2e19, so that At says that they say the same, as it does
// of no columns that this program makes; survey.Fit, which centres them, has ten digits.
func TestOthersData(t *testing.T) {
	for _, c := range []struct {
		file     string
		beta, se []float64
		residual float64
		refused  bool
	}{
		{"nist_Norris.dat", []float64{-0.262323073774029, 1.00211681802045}, []float64{0.232818234301152, 0.429796848199937e-03}, 0.884796396144373, false},
		{file: "nist_longley.dat", beta: make([]float64, 7), refused: true},
	} {
		var y, at []float64
		x := make([][]float64, len(c.beta))
		for i, row := range reftest.NIST(t, c.file) {
			at, y, x[0] = append(at, float64(i)), append(y, row[0]), append(x[0], 1)
			for k, v := range row[1:] {
				x[k+1] = append(x[k+1], v)
			}
		}
		times, err := NewTimes(at)
		if err != nil {
			t.Fatal(err)
		}
		r, err := NewRegression(times, y, x)
		if err != nil {
			t.Fatal(err)
		}
		fit, err := r.At(1e-3, 0)
		if c.refused {
			if err == nil {
				t.Errorf("%s: coefficients %v of columns whose products have no digits left to tell them apart", c.file, fit.Beta)
			}
			continue
		}
		if err != nil {
			t.Fatal(c.file, err)
		}
		near(t, c.file+", residual", math.Sqrt(fit.Variance), c.residual, 1e-12)
		for k, b := range c.beta {
			near(t, c.file+", coefficient", fit.Beta[k], b, 1e-11)
			near(t, c.file+", its error", fit.SE(k), c.se[k], 1e-12)
		}
	}

	// NIST StRD, univariate summary statistics: fifteen digits are certified. Those
	// of Mavro and Michelson agree in their first digits, and lose as many.
	var sets map[string]json.RawMessage
	if err := json.Unmarshal(reftest.Others(t, "published", "nist_univ.json"), &sets); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name    string
		n       int
		r1, rel float64
	}{
		{"lew", 200, -0.307304800605679, 1e-14},
		{"lottery", 218, -0.120948622967393, 1e-14},
		{"mavro", 50, 0.937989183438248, 1e-13},
		{"michelson", 100, 0.535199668621283, 1e-12},
		{"pidigits", 5000, -0.00355099287237972, 1e-13},
	} {
		var set struct{ X []float64 }
		if err := json.Unmarshal(sets[c.name], &set); err != nil || len(set.X) != c.n {
			t.Fatalf("%s: %d values, %v", c.name, len(set.X), err)
		}
		r, ok := LagOne(set.X, nil)
		if !ok {
			t.Fatalf("%s has no lag-one autocorrelation", c.name)
		}
		near(t, c.name+", r1", r, c.r1, c.rel)
		t.Logf("%s: %.1f digits agree", c.name, -math.Log10(math.Abs(r/c.r1-1)))
	}
}
