package numeric

import (
	"math"
	"testing"
)

// TestReference: values by mpmath with 60 digits, from erfc as it is defined; the
// noncentral t has its own among those of package lognormal.
func TestReference(t *testing.T) {
	agree := func(what string, got, want, rel float64) {
		t.Helper()
		if !(math.Abs(got-want) <= rel*math.Abs(want)) {
			t.Errorf("%s is %.17g, not %.17g", what, got, want)
		}
	}
	for _, c := range []struct{ x, log, hazard float64 }{
		{-1000.0, -500007.82669481218, 1000.000999998},
		{-100.0, -5005.5242086942051, 100.00999800099926},
		{-40.0, -804.60844201375379, 40.024968847207264},
		{-30.1, -457.32956441638222, 30.133149654578451},
		{-29.9, -451.32291245852868, 29.933370411296168},
		{-8.0, -35.01343715991455, 8.1213681122361127},
		{-1.0, -1.8410216450092635, 1.5251352761609812},
		{0.0, -0.69314718055994531, 0.79788456080286536},
		{2.0, -0.023012909328963488, 0.055247862678989959},
		{5.1, -1.6982675513532239e-7, 8.9724366861430068e-7},
		{9.0, -1.1285884059538406e-19, 1.0279773571668915e-18},
	} {
		agree("ln Φ", LogPhi(c.x), c.log, 2e-14)
		agree("hazard", Hazard(c.x), c.hazard, 2e-12)
	}
	for _, c := range []struct{ a, b, log float64 }{
		{-1, 1, -0.38171514630212607},
		{-0.001, 0.002, -6.7280820235185501},
		{-9, 9, -2.2571768119076813e-19},
		{5, 6, -15.068446096529453},
		{-41, -40, -804.60844201375379},
		{30, 30.00001, -462.43201399447942},
		{12, math.Inf(1), -75.410673001568796},
		{math.Inf(-1), -35, -616.97510126192251},
		{3, 3.000001, -19.234450591028961},
		{-100, 0.5, -0.36894641528865639},
		{40, 40.1, -804.6267881787521},
		{0, 0.0001, -10.129278906847522},
		{1, 1.0001, -10.629328906430924},
	} {
		agree("ln(Φ(b) − Φ(a))", LogPhiBetween(c.a, c.b), c.log, 1e-11)
		agree("ln(Φ(b) − Φ(a)), mirrored", LogPhiBetween(-c.b, -c.a), c.log, 1e-11)
	}
}

// Roots known beforehand: of x³ − 2, of a line from far off, of one with a pole.
func TestRoot(t *testing.T) {
	x, err := Root(func(x float64) float64 { return x*x*x - 2 }, 0, 3, 0)
	if err != nil || math.Abs(x-math.Cbrt(2)) > 4e-16 {
		t.Errorf("the cube root of 2 is %v, %v", x, err)
	}
	x, err = RootNear(func(x float64) float64 { return x - 1e6 }, 0, 1, 1e-9)
	if err != nil || math.Abs(x-1e6) > 1e-8 {
		t.Errorf("a million is %v, %v", x, err)
	}
	if x, err := Root(func(x float64) float64 { return x*x + 1 }, -1, 1, 0); err == nil {
		t.Errorf("x² + 1 crosses zero at %v", x)
	}
	if x, err := RootNear(func(x float64) float64 { return math.Atan(x) - 2 }, 0, 1, 0); err == nil {
		t.Errorf("atan x is 2 at %v", x)
	}
	if x, err := Root(func(x float64) float64 { return math.NaN() }, -1, 1, 0); err == nil {
		t.Errorf("no number crosses zero at %v", x)
	}
}

// A value is worked out once, and is that of its key.
func TestMemo(t *testing.T) {
	var m Memo[[2]float64, float64]
	worked := 0
	for range 3 {
		for _, k := range [][2]float64{{1, 2}, {2, 1}} {
			if v := m.Get(k, func() float64 { worked++; return k[0] - k[1] }); v != k[0]-k[1] {
				t.Errorf("%v gave %v", k, v)
			}
		}
	}
	if worked != 2 {
		t.Errorf("two values were worked out %d times", worked)
	}
}

// A sum keeps what plain addition loses, in either order of size.
func TestSum(t *testing.T) {
	var s Sum
	for _, v := range []float64{1, 1e100, 1, -1e100} {
		s.Add(v)
	}
	if s.Value() != 2 {
		t.Errorf("the sum is %v", s.Value())
	}
}
