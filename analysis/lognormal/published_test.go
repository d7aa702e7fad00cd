package lognormal

import (
	"math"
	"math/big"
	"slices"
	"testing"

	"radonyear/analysis/internal/numeric"
)

// agree fails where got is further from want than rel, relatively.
func agree(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s is %.12g, not %.12g (allowed %g relative)", what, got, want, rel)
	}
}

func sample(t *testing.T, x ...float64) Sample {
	t.Helper()
	s, err := NewSample(x)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func mean(t *testing.T, s Sample, m MeanMethod, confidence float64) MeanResult {
	t.Helper()
	r, err := Mean(s, MeanOptions{Confidence: confidence, Method: m})
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The worked examples of print. Each names its source; a figure that print rounds
// is held to what is printed.
var (
	// USEPA 1992, Supplemental Guidance to RAGS, highlights 7 and 8: chromium.
	chromium = []float64{10, 13, 20, 36, 41, 59, 67, 110, 110, 136, 140, 160, 200, 230, 1300}
	// USEPA 2006, QA/G-9S, box 3-12.
	box312 = []float64{8.12, 7.32, 4.82, 6.52, 7.80, 11.89, 12.94, 7.51, 18.14, 4.09, 5.70, 15.57, 6.68, 8.15, 5.56}
	// USEPA 2009, Unified Guidance, example 17-3: chrysene.
	chrysene = []float64{19.7, 39.2, 7.8, 12.8, 10.2, 7.2, 16.1, 5.7}
	// Carbon monoxide, as Krishnamoorthy and Mathew 2003 use it.
	carbonMonoxide = []float64{12.5, 20, 4, 20, 25, 170, 15, 20, 15}
)

// cox is the logarithm of a limit by one of the formulas that go by Cox's name:
// ȳ + s²/2 ± q·√(s²/n + s⁴/(2·half)). It is no method of this package, and a check of
// its moments only.
func cox(s Sample, q, half float64) float64 {
	v := s.sd * s.sd
	return s.mean + v/2 + q*math.Sqrt(v/float64(s.n)+v*v/(2*half))
}

func TestPublishedMeans(t *testing.T) {
	// Print says 502, by interpolation in a table; the exact limit is from 30 digits.
	cr := sample(t, chromium...)
	agree(t, "chromium, UCL95", mean(t, cr, Land, 0.9).Mean.Upper, 496.6281687871, 1e-11)
	agree(t, "chromium, MVUE", mean(t, cr, Land, 0.9).Unbiased, 159.855185, 1e-8)

	// The same series at two other arguments makes the unbiased variance, e^2ȳ·(g(2s²) −
	// g(s²(n−2)/(n−1))), and with it the coefficient of variation printed.
	g := func(t float64) float64 { return math.Exp(logUnbiased(15, math.Sqrt(2*t))) }
	square := cr.sd * cr.sd
	cv := math.Exp(cr.mean) * math.Sqrt(g(2*square)-g(square*13/14)) / mean(t, cr, Land, 0.9).Unbiased
	agree(t, "chromium, unbiased coefficient of variation", cv, 1.493994, 4e-7)

	m, sd := numeric.Moments(chromium) // the limit of those who ignore the skew
	agree(t, "chromium, t-UCL95", m+tQuantile(14, 0.95)*sd/math.Sqrt(15), 320.3304, 2e-7)

	// H is printed as 1.9939, by interpolation; exactly it is 1.99276, and UCL 10.95848.
	b := sample(t, box312...)
	ucl := mean(t, b, Land, 0.9).Mean.Upper
	agree(t, "box 3-12, UCL95", ucl, 10.95848, 5e-7)
	agree(t, "box 3-12, H", (math.Log(ucl)-b.mean-b.sd*b.sd/2)*math.Sqrt(14)/b.sd, 1.99276, 3e-6)

	// Four values with a table's answer 0.039 and 11.6, unbiased 0.085 (public
	// question and answer page on Land's method); more digits by quadrature.
	four := mean(t, sample(t, .043, .236, .057, .016), Land, 0.9)
	agree(t, "four values, LCL95", four.Mean.Lower, 0.0381999, 3e-6)
	agree(t, "four values, UCL95", four.Mean.Upper, 11.678619, 1e-7)
	agree(t, "four values, MVUE", four.Unbiased, 0.0845188, 1e-6)

	// USEPA 1994, TcCB in the reference area, n = 47, as quoted in a help page: the
	// moments follow from two of its estimates, and give its limits.
	quasi, mle := .6004468, .5990497 // e^(ȳ+s²/2) and e^(ȳ+s²(n−1)/2n)
	v := 2 * 47 * math.Log(quasi/mle)
	tccb, err := FromLogs(47, math.Log(quasi)-v/2, math.Sqrt(v))
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "TcCB, MVUE", mean(t, tccb, Land, 0.95).Unbiased, .5989072, 1e-6)
	agree(t, "TcCB, MLE", mean(t, tccb, Land, 0.95).MLE, mle, 1e-6)
	agree(t, "TcCB, Land lower", mean(t, tccb, Land, 0.95).Mean.Lower, .5243787, 3e-5)
	agree(t, "TcCB, Land upper", mean(t, tccb, Land, 0.95).Mean.Upper, .7016992, 3e-5)
	agree(t, "TcCB, MOVER lower", mean(t, tccb, MOVER, 0.95).Mean.Lower, .5230444, 3e-5)
	agree(t, "TcCB, MOVER upper", mean(t, tccb, MOVER, 0.95).Mean.Upper, .6962071, 3e-5)

	agree(t, "TcCB, Cox with t and n + 1, lower", math.Exp(cox(tccb, -tQuantile(46, 0.975), 48)), .5196213, 3e-5)
	agree(t, "TcCB, Cox with t and n + 1, upper", math.Exp(cox(tccb, tQuantile(46, 0.975), 48)), .6938444, 3e-5)

	// Land 1975, as in Gilbert 1987, tables A10 and A12, column s = 0.10 (from memory).
	for i, n := range []int{3, 5, 7, 10, 12, 15, 21, 31, 51, 101} {
		s, err := FromLogs(n, 0, 0.1)
		if err != nil {
			t.Fatal(err)
		}
		h := func(p float64) float64 {
			b, err := landLimit(s, p)
			if err != nil {
				t.Fatal(err)
			}
			return math.Round((b-0.005)*math.Sqrt(float64(n-1))/0.1*1000) / 1000
		}
		upper := []float64{2.750, 2.035, 1.886, 1.802, 1.775, 1.749, 1.722, 1.701, 1.684, 1.670}[i]
		lower := []float64{-2.130, -1.806, -1.731, -1.690, -1.677, -1.666, -1.655, -1.648, -1.644, -1.642}[i]
		if h(0.95) != upper || h(0.05) != lower {
			t.Errorf("n = %d: H is %v and %v; the tables have %v and %v", n, h(0.95), h(0.05), upper, lower)
		}
	}

	// The data are published; their limits were not seen there and are computed.
	co := mean(t, sample(t, carbonMonoxide...), MOVER, 0.95).Mean
	agree(t, "CO, MOVER lower", co.Lower, 15.6603563670586, 1e-12)
	agree(t, "CO, MOVER upper", co.Upper, 128.617079300627, 1e-12)
	co = mean(t, sample(t, carbonMonoxide...), Land, 0.95).Mean
	agree(t, "CO, Land lower", co.Lower, 16.0318428471992, 1e-6) // that program is good to 1e-5 or so
	agree(t, "CO, Land upper", co.Upper, 136.462055865801, 1e-5)

	refinery := sample(t, 45, 30, 38, 42, 63, 43, 102, 86, 99, 63, 58, 34, 37, 55, 58, 153, 75, 58, 36, 59, 43, 102, 52, 30, 21, 40, 141, 85, 161, 86, 71)
	co = mean(t, refinery, MOVER, 0.95).Mean
	agree(t, "CO at a refinery, MOVER lower", co.Lower, 55.577319091783, 1e-12)
	agree(t, "CO at a refinery, MOVER upper", co.Upper, 81.6913137073987, 1e-12)
	co = mean(t, refinery, Land, 0.95).Mean
	agree(t, "CO at a refinery, Land lower", co.Lower, 55.7746306393545, 1e-5)
	agree(t, "CO at a refinery, Land upper", co.Upper, 82.8213181045008, 1e-5)

	// Olsson 2005, J. Stat. Educ. 13(1), summary of 40 values (from memory): its
	// "naive" interval, 122 to 232, is that of the geometric mean.
	s, _ := FromLogs(40, 5.127, math.Sqrt(1.010))
	gm, err := GeometricMean(s, Options{})
	if err != nil || math.Round(gm.Lower) != 122 || math.Round(gm.Upper) != 232 {
		t.Errorf("Olsson's naive interval is %v to %v, %v", gm.Lower, gm.Upper, err)
	}
	// Cox with z is printed as 190 to 410, and with t taken as 2.02 as 188.0 to 414.7.
	for _, c := range []struct{ got, want, unit float64 }{
		{math.Exp(cox(s, -1.96, 39)), 190, 1}, {math.Exp(cox(s, 1.96, 39)), 410, 1},
		{math.Exp(cox(s, -2.02, 39)), 188.0, 0.1}, {math.Exp(cox(s, 2.02, 39)), 414.7, 0.1},
	} {
		if math.Abs(c.got-c.want) > c.unit/2 {
			t.Errorf("Olsson's limit by Cox's formula is %v, printed %v", c.got, c.want)
		}
	}
}

func TestPublishedQuantiles(t *testing.T) {
	s := sample(t, chrysene...)
	agree(t, "chrysene, mean of logs", s.MeanLog(), 2.5085773, 2e-8)
	agree(t, "chrysene, sd of logs", s.SDLog(), .6279479, 1e-7)
	q, err := Quantile(s, 0.95, Options{})
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "chrysene, 95/95 tolerance limit", q.Tolerance.Upper, 90.9247, 5e-7)

	// Owen's factors, one-sided (from memory, and computed).
	for _, c := range []struct {
		n    int
		p, k float64
	}{{5, .95, 4.2027}, {10, .95, 2.9110}, {20, .95, 2.3960}, {50, .95, 2.0650}, {10, .90, 2.3546}} {
		agree(t, "k", toleranceFactor(c.n, numeric.NormalQuantile(c.p), .95), c.k, 0.5e-4/c.k*1.01)
	}
	// NIST/SEMATECH e-Handbook 7.2.6.3, n = 43, 90 % with 99 %: it prints the
	// approximation 1.8752; exactly it is 1.873954.
	agree(t, "NIST's k", toleranceFactor(43, numeric.NormalQuantile(.9), .99), 1.873954, 3e-7)

	// What it prints are closed forms: k1 of Natrella 1963, and Howe's k2, 2.2173.
	zp, zg, n := numeric.NormalQuantile(.9), numeric.NormalQuantile(.99), 43.
	a := 1 - zg*zg/(2*(n-1))
	agree(t, "NIST's k1", (zp+math.Sqrt(zp*zp-a*(zp*zp-zg*zg/n)))/a, 1.8752, 3e-5)
	nist, err := FromLogs(43, 4, 1)
	if err != nil {
		t.Fatal(err)
	}
	both, err := TwoSidedTolerance(nist, .9, Options{.99})
	if err != nil || math.Abs(both.Howe-2.2173) > 5e-5 {
		t.Errorf("NIST's k2 is %v, %v", both.Howe, err)
	}
	// Berthouex and Brown's table of two-sided factors, n = 10, 90 % with 95 %: 2.86.
	ten, err := FromLogs(10, 4, 1)
	if err != nil {
		t.Fatal(err)
	}
	if both, err = TwoSidedTolerance(ten, .9, Options{}); err != nil || math.Abs(both.Factor-2.86) > 0.005 {
		t.Errorf("the two-sided factor of ten is %v, %v", both.Factor, err)
	}

	// USEPA 1992's chromium: shares above, by quadrature in R.
	cr := sample(t, chromium...)
	for _, c := range []struct{ level, plain, unbiased, lower, upper float64 }{
		{100, 0.427910739334107, 0.42940221098239, 0.245420753912023, 0.630016511864677},
		{148, 0.309897912756738, 0.312852458726075, 0.152404324095646, 0.519720201719572},
		{200, 0.230364752983478, 0.232847539307344, 0.0965653637505447, 0.438967672018735},
	} {
		a, err := Above(cr, c.level, Options{})
		if err != nil {
			t.Fatal(err)
		}
		agree(t, "share above", a.Fraction.Value, c.plain, 1e-12)
		agree(t, "share above, unbiased", a.Unbiased, c.unbiased, 1e-10)
		agree(t, "share above, lower", a.Fraction.Lower, c.lower, 1e-9)
		agree(t, "share above, upper", a.Fraction.Upper, c.upper, 1e-9)
	}

	// No home above among 59 shows, with 95 % confidence, that under 5 % are; among
	// 58 it does not (any textbook on acceptance sampling: 0.95⁵⁹ < 0.05). So 29 for
	// 10 % and 299 for 1 %.
	for _, c := range []struct {
		n     int
		share float64
	}{{59, .05}, {299, .01}, {29, .1}} {
		enough, err := Counted(0, c.n, 200, Options{0.9})
		short, err2 := Counted(0, c.n-1, 200, Options{0.9})
		if err != nil || err2 != nil || enough.Upper > c.share || short.Upper <= c.share {
			t.Errorf("0 of %d: up to %v; 0 of one fewer: up to %v (%v, %v)", c.n, enough.Upper, short.Upper, err, err2)
		}
	}
}

// Royston 1995, Appl. Stat. 44:547, the driver of AS R94: W .83467, p .000914.
func TestPublishedShape(t *testing.T) {
	x := []float64{.139, .157, .175, .256, .344, .413, .503, .577, .614, .655, .954, 1.392, 1.557, 1.648,
		1.690, 1.994, 2.174, 2.206, 3.245, 3.510, 3.571, 4.354, 4.980, 6.084, 8.351}
	w := shapiroWilk(x)
	agree(t, "W", w.Statistic, .83467, 6e-6)
	agree(t, "p", w.P, .000914, 6e-4)
	agree(t, "W, by R", w.Statistic, .834666275, 1e-9)

	// A fixture of SciPy's tests (the values from memory, proved by the result).
	w = shapiroWilk([]float64{.11, .21, .42, .46, .47, .71, .93, 1.52, 3.14, 3.24, 4.43, 4.55, 4.61, 4.75, 4.97, 6.66, 7.87, 7.95, 9.53, 10.14})
	agree(t, "W of SciPy's fixture", w.Statistic, 0.90047299861907959, 2e-7) // computed there in single precision
	agree(t, "p of SciPy's fixture", w.P, 0.042089745402336121, 1e-5)

	// USEPA 1992's chromium: W 0.9607179, p 0.7048747.
	var obs []Observation
	for _, v := range chromium {
		obs = append(obs, Exact(v))
	}
	r, err := Shape(obs)
	if err != nil {
		t.Fatal(err)
	}
	agree(t, "W of chromium", r.Shapiro.Statistic, .9607179, 1e-7)
	agree(t, "p of chromium", r.Shapiro.P, .7048747, 1e-7)
}

// Canada's homes have a geometric mean of 55 Bq/m³, a geometric standard deviation of
// 2.45 and a mean of 82 (Chen 2021, Health Phys., 21 818 homes; as read in a summary of
// it); from the first two follow that mean and 7.5 % above 200, where the Cross-Canada
// Survey of Radon Concentrations in Homes (2012, final report) found 6.9 %.
func TestCanada(t *testing.T) {
	s, err := FromLogs(21818, math.Log(55), math.Log(2.45))
	if err != nil {
		t.Fatal(err)
	}
	m, err := Mean(s, MeanOptions{})
	if err != nil || math.Round(m.Mean.Value) != 82 {
		t.Errorf("mean %v, %v", m.Mean.Value, err)
	}
	a, err := Above(s, 200, Options{})
	if err != nil || math.Abs(a.Fraction.Value-0.075) > 0.0005 {
		t.Errorf("share above 200: %v, %v", a.Fraction.Value, err)
	}
	// The survey's own count is not within the interval of a fit to so many homes:
	// the log-normal shape is an approximation, and a tail shows it.
	if a.Fraction.Lower < 0.069 || a.Fraction.Lower > 0.075 {
		t.Errorf("the share above 200 begins at %v", a.Fraction.Lower)
	}
}

// NIST's Statistical Reference Datasets, univariate: mean and standard deviation
// are certified to 15 digits. Numbers that follow a rule are made here; logarithms
// have no part in it, so Moments is held to them.
func TestNIST(t *testing.T) {
	alternate := func(first, a, b float64, n int) []float64 {
		x := []float64{first}
		for len(x) < n {
			x = append(x, a, b)
		}
		return x[:n]
	}
	for _, c := range []struct {
		name     string
		x        []float64
		mean, sd float64
		digits   float64 // of sd; those lost are lost to the data's own rounding
	}{
		{"NumAcc1", []float64{10000001, 10000003, 10000002}, 10000002, 1, 15},
		{"NumAcc2", alternate(1.2, 1.1, 1.3, 1001), 1.2, 0.1, 14},
		{"NumAcc3", alternate(1000000.2, 1000000.1, 1000000.3, 1001), 1000000.2, 0.1, 9.4},
		{"NumAcc4", alternate(10000000.2, 10000000.1, 10000000.3, 1001), 10000000.2, 0.1, 8.2},
		{"Michelson", slices.Clone(michelson), 299.852400000000, .0790105478190518, 13},
		{"PiDigits", piDigits(5000), 4.53480000000000, 2.86733906028871, 14},
	} {
		m, sd := numeric.Moments(c.x)
		agree(t, c.name+", mean", m, c.mean, 1e-15)
		agree(t, c.name+", sd", sd, c.sd, math.Pow(10, -c.digits))
		slices.Reverse(c.x)
		if m2, sd2 := numeric.Moments(c.x); math.Abs(m2-m) > 1e-15*m || math.Abs(sd2-sd) > math.Pow(10, -c.digits)*sd {
			t.Errorf("%s turned round: %v, %v", c.name, m2, sd2)
		}
	}
}

// piDigits are the first n digits of π, by Machin's formula, as NIST's PiDigits.dat
// has them: its 957th digit is 3 where π's is 8, and what it certifies is of that.
func piDigits(n int) []float64 {
	one := new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(n+10)), nil)
	arctan := func(inverse int64) *big.Int { // of 1/inverse, in units of 1/one
		sum, power := new(big.Int), new(big.Int).Div(one, big.NewInt(inverse))
		square := big.NewInt(inverse * inverse)
		for k := int64(0); power.Sign() > 0; k++ {
			term := new(big.Int).Div(power, big.NewInt(2*k+1))
			if k%2 == 1 {
				term.Neg(term)
			}
			sum.Add(sum, term)
			power.Div(power, square)
		}
		return sum
	}
	pi := new(big.Int).Mul(arctan(5), big.NewInt(16))
	pi.Sub(pi, new(big.Int).Mul(arctan(239), big.NewInt(4)))
	var x []float64
	for _, c := range pi.String()[:n] {
		x = append(x, float64(c-'0'))
	}
	if x[956] == 8 {
		x[956] = 3
	}
	return x
}

// michelson is the speed of light as measured in 1879, thousands of km/s: the data set
// morley of R's package datasets, which are those that NIST certified.
var michelson = []float64{
	299.85, 299.74, 299.9, 300.07, 299.93, 299.85, 299.95, 299.98, 299.98, 299.88, 300, 299.98, 299.93, 299.65,
	299.76, 299.81, 300, 300, 299.96, 299.96, 299.96, 299.94, 299.96, 299.94, 299.88, 299.8, 299.85, 299.88,
	299.9, 299.84, 299.83, 299.79, 299.81, 299.88, 299.88, 299.83, 299.8, 299.79, 299.76, 299.8, 299.88, 299.88,
	299.88, 299.86, 299.72, 299.72, 299.62, 299.86, 299.97, 299.95, 299.88, 299.91, 299.85, 299.87, 299.84, 299.84,
	299.85, 299.84, 299.84, 299.84, 299.89, 299.81, 299.81, 299.82, 299.8, 299.77, 299.76, 299.74, 299.75, 299.76,
	299.91, 299.92, 299.89, 299.86, 299.88, 299.72, 299.84, 299.85, 299.85, 299.78, 299.89, 299.84, 299.78, 299.81,
	299.76, 299.81, 299.79, 299.81, 299.82, 299.85, 299.87, 299.87, 299.81, 299.74, 299.81, 299.94, 299.95, 299.8,
	299.81, 299.87,
}
