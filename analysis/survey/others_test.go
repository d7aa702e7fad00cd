package survey

import (
	"math"
	"strconv"
	"testing"

	"radonyear/analysis/internal/reftest"
)

// TestOthersData holds Fit to NIST's certified analyses of variance and regressions, of
// data that the project does not contain; see the test of this name in lognormal.
//
// Balanced, a restricted likelihood is analysis of variance where MSB ≥ MSW: σ² is MSW, τ²
// is (MSB − MSW)/n, and the mean's error √(MSB/N). Homes of one area are a regression: σ
// is the residual standard deviation. Values are moved by a number, or divided by a power
// of two, to lie where logarithms of concentrations may; neither changes a digit.
//
// Fifteen digits are certified. The spreads are where the likelihood is highest, which is
// flat there: two of them are found by its slope, to ten digits or so, and one alone by its
// height, of which a step of 1e-7 is all that can be told. Coefficients do not hang on the
// spreads and keep what the columns leave: Norris's all but three digits, Longley's, which
// nearly explain each other, all but five. In SmLs07 and SmLs09 the digits are gone
// before: 1000000000000.4 read as a double is 2.4e-5 more, so that a spread of 0.1 is right
// to four.
func TestOthersData(t *testing.T) {
	for _, c := range []struct {
		file           string
		areas, n       int
		shift, between float64 // MSB
		within         float64 // MSW
		rel            float64 // of the spreads
	}{
		{"nist_SiRstv.dat", 5, 5, 150, 1.27865654000000e-02, 1.08318280000000e-02, 1e-9},
		{"nist_AtmWtAg.dat", 2, 24, 100, 3.63834187500000e-09, 2.28155932971014e-10, 1e-9},
		{"nist_SmLs01.dat", 9, 21, 0, 2.10000000000000e-01, 1.00000000000000e-02, 1e-9},
		{"nist_SmLs03.dat", 9, 2001, 0, 2.00100000000000e+01, 1.00000000000000e-02, 1e-9},
		{"nist_SmLs05.dat", 9, 201, 1e6, 2.01000000000000e+00, 1.00000000000000e-02, 1e-9},
		{"nist_SmLs07.dat", 9, 21, 1e12, 2.10000000000000e-01, 1.00000000000000e-02, 1e-4},
		{"nist_SmLs09.dat", 9, 2001, 1e12, 2.00100000000000e+01, 1.00000000000000e-02, 1e-4},
	} {
		rows := reftest.NIST(t, c.file)
		if len(rows) != c.areas*c.n {
			t.Fatalf("%s: %d rows", c.file, len(rows))
		}
		var homes []Home
		for _, r := range rows {
			homes = append(homes, Home{Area: strconv.Itoa(int(r[0])), Log: r[1] - c.shift})
		}
		m, err := Fit(homes, Options{})
		if err != nil {
			t.Fatal(c.file, err)
		}
		n := float64(c.n)
		near(t, c.file+", between homes", m.SDHome.Value, math.Sqrt(c.within), c.rel)
		near(t, c.file+", between areas", m.SDArea.Value, math.Sqrt((c.between-c.within)/n), c.rel)
		near(t, c.file+", error of the mean", m.Fixed[0].SE, math.Sqrt(c.between/n/float64(c.areas)), c.rel)
	}

	for _, c := range []struct {
		file     string
		unit     float64
		beta, se []float64
		residual float64
		rel      float64 // of the coefficients
		spread   float64 // of the residual, and so of their errors
	}{
		{"nist_Norris.dat", 16, []float64{-0.262323073774029, 1.00211681802045}, []float64{0.232818234301152, 0.429796848199937e-03}, 0.884796396144373, 1e-11, 1e-7},
		{"nist_longley.dat", 1024, []float64{-3482258.63459582, 15.0618722713733, -0.358191792925910e-01, -2.02022980381683, -1.03322686717359, -0.511041056535807e-01, 1829.15146461355},
			[]float64{890420.383607373, 84.9149257747669, 0.334910077722432e-01, 0.488399681651699, 0.214274163161675, 0.226073200069370, 455.478499142212}, 304.854073561965, 1e-10, 2e-6},
	} {
		var opt Options
		var homes []Home
		for _, r := range reftest.NIST(t, c.file) {
			homes = append(homes, Home{Log: r[0] / c.unit, Covariates: r[1:]})
		}
		for k := range homes[0].Covariates {
			opt.Covariates = append(opt.Covariates, "x"+strconv.Itoa(k+1))
		}
		m, err := Fit(homes, opt)
		if err != nil {
			t.Fatal(c.file, err)
		}
		near(t, c.file+", residual", m.SDHome.Value*c.unit, c.residual, c.spread)
		for k, b := range c.beta {
			near(t, c.file+", "+m.Fixed[k].Term, m.Fixed[k].Value*c.unit, b, c.rel)
			near(t, c.file+", its error", m.Fixed[k].SE*c.unit, c.se[k], c.spread)
		}
	}
}
