package serial

import (
	"bytes"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// TestOthersData holds a regression whose values do not resemble their neighbours, so
// least squares, to NIST's certified values, of data that the project does not contain;
// see the test of this name in lognormal. Fifteen digits are certified, and Norris's keep
// twelve. Longley's six columns lie far from zero and nearly explain each other: their
// products have a condition of 2e19, so that At says that they say the same, as it does
// of no columns that this program makes; survey.Fit, which centres them, has ten digits.
func TestOthersData(t *testing.T) {
	folder := os.Getenv("RADONYEAR_OTHERS_DATA")
	if folder == "" {
		t.Skip("RADONYEAR_OTHERS_DATA names no folder of other people's data")
	}
	for _, c := range []struct {
		file     string
		beta, se []float64
		residual float64
		refused  bool
	}{
		{"nist_Norris.dat", []float64{-0.262323073774029, 1.00211681802045}, []float64{0.232818234301152, 0.429796848199937e-03}, 0.884796396144373, false},
		{file: "nist_longley.dat", beta: make([]float64, 7), refused: true},
	} {
		text, err := os.ReadFile(filepath.Join(folder, "published", c.file))
		if err != nil {
			t.Fatal(err)
		}
		var y, at []float64
		x := make([][]float64, len(c.beta))
		heads := 0 // rows follow on the second line that begins so
		for line := range bytes.Lines(text) {
			fields := bytes.Fields(line)
			if bytes.HasPrefix(line, []byte("Data:")) {
				heads++
			} else if heads == 2 && len(fields) == len(x) {
				for k, f := range fields {
					v, err := strconv.ParseFloat(string(f), 64)
					if err != nil {
						t.Fatal(c.file, err)
					}
					if k == 0 {
						at, y, x[0] = append(at, float64(len(at))), append(y, v), append(x[0], 1)
					} else {
						x[k] = append(x[k], v)
					}
				}
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
}
