package lognormal

import (
	"fmt"
	"math"
	"slices"

	"radonyear/analysis/internal/numeric"
)

// Test is a statistic with its p-value: how often a sample truly log-normal
// would look as odd. P is 1 where the statistic is not at all odd.
type Test struct{ Statistic, P float64 }

// ShapeResult says how log-normal the values look.
type ShapeResult struct {
	N           int
	Shapiro     *Test   // W of the logarithms; nil above 5000 values
	Anderson    *Test   // A² of the logarithms, both parameters estimated; nil under 8 values
	Correlation float64 // of the probability plot, at Filliben's medians; 1 is a straight line
	Tied        int     // values that are the same as others
	Words       string
	Plot        []PlotPoint

	look, untied look // of the values as they are, and of those that are the same spread apart
}

// PlotPoint is one value of a log-normal probability plot.
type PlotPoint struct {
	Z     float64 // the standard normal quantile of its rank
	Value float64 // Bq/m³
	Fit   float64 // where the fitted straight line is, Bq/m³
}

// Shape says in numbers and in words how log-normal complete values look. It is
// information and never a gate: with few values nothing is found, with many
// everything is, and neither says whether an answer can be used.
//
// It estimates three things of the logarithms, without unit: Shapiro and Wilk's W,
// Anderson and Darling's A², and the correlation of the probability plot.
//
// Formula. W = (Σ aᵢ y₍ᵢ₎)²/Σ(y − ȳ)² with Royston's weights and p-value (3 to 5000
// values). A² = −n − Σ (2i−1)(ln Φ(zᵢ) + ln(1 − Φ(zₙ₊₁₋ᵢ)))/n with p of
// A²(1 + 0.75/n + 2.25/n²), from 8 values on. Correlation of y₍ᵢ₎ with normal
// quantiles of Filliben's median ranks, (i − 0.3175)/(n + 0.365) but 0.5^(1/n) at
// the ends. Equal values are judged twice, as they are and spread evenly over a step: the
// distance to the nearest other value, or the value itself if that is less, since
// rounding joins no more than that. The milder verdict holds, and where it is no
// objection to a log-normal shape, and the other is one, none is given.
//
// Assumes independent values, one a home: an hourly record of one home is refused by
// any such test, because its hours resemble their neighbours. Censored values have
// no place among these tests; the error says so.
//
// Why ties have no verdict: rounding makes them, and W takes them for a lump. Of three
// values with two alike it is 0.75, its least, with p 0. Log-normal values with a geometric
// mean of 30 and a geometric standard deviation of 2, rounded to 10 Bq/m³, would be called
// far from log-normal in 37 % of samples of 3, 16 % of 10, 28 % of 20 and 44 % of 50; judged
// twice they are in 0 to 2 %, and with two digits in 1 to 6 % as unrounded ones are in 2 to
// 6 % (TestRoundedShape). A mixture that shows when unrounded still does.
//
// Interval: none.
//
// Notes: none.
//
// Source: Royston 1995, Appl. Stat. 44:547 (AS R94); D'Agostino and Stephens 1986,
// Goodness-of-Fit Techniques, table 4.9; Filliben 1975, Technometrics 17:111 (all
// from memory, held to R).
func Shape(obs []Observation) (ShapeResult, error) {
	x, ok := complete(obs)
	switch {
	case ok:
	case slices.ContainsFunc(obs, func(o Observation) bool { return o.Error > 0 }):
		return ShapeResult{}, fmt.Errorf("goodness of fit cannot be judged where values are known with an error: their shape is not that of what was measured")
	default:
		return ShapeResult{}, fmt.Errorf("goodness of fit cannot be judged where values are below limits or between bounds; compare the share counted above a level with the fitted one")
	}
	s, err := NewSample(x)
	if err != nil {
		return ShapeResult{}, err
	}
	n := len(x)
	if n < 3 {
		return ShapeResult{}, fmt.Errorf("%d values have no shape; it takes 3", n)
	}
	x = slices.Clone(x)
	slices.Sort(x)
	r := ShapeResult{N: n}
	r.look = r.judge(x, s)
	apart, tied := untied(x)
	r.untied = r.look
	if r.Tied = tied; tied > 0 {
		if s, err := NewSample(apart); err == nil {
			of := ShapeResult{N: n}
			r.untied = of.judge(apart, s)
		}
	}
	r.Words = r.words()
	return r, nil
}

// look is what a verdict is made of.
type look struct{ p, correlation float64 }

// judge fills in the statistics and the plot of the values, which are in order.
func (r *ShapeResult) judge(x []float64, s Sample) look {
	n := len(x)
	y := make([]float64, n)
	for i, v := range x {
		y[i] = (math.Log(v) - s.mean) / s.sd // in standard units: neither test cares
	}
	p := 1.0
	if n >= 8 {
		t := andersonDarling(y)
		r.Anderson, p = &t, t.P
	}
	if n <= 5000 {
		t := shapiroWilk(y)
		r.Shapiro, p = &t, t.P
	}
	z := make([]float64, n)
	var zy, zz, yy numeric.Sum
	for i := range z {
		z[i] = numeric.NormalQuantile(filliben(i+1, n))
		zy.Add(z[i] * y[i])
		zz.Add(z[i] * z[i])
		yy.Add(y[i] * y[i])
		r.Plot = append(r.Plot, PlotPoint{z[i], x[i], math.Exp(s.mean + s.sd*z[i])})
	}
	r.Correlation = zy.Value() / math.Sqrt(zz.Value()*yy.Value()) // both have mean 0
	return look{p, r.Correlation}
}

// alike is how near to each other two values are the same but for the arithmetic that
// brought them about: means, units, an outdoor level taken off.
const alike = 1e-9

// untied are values in order, with those that are the same spread evenly over as much as
// rounding can have joined in them, and how many they are. A step of rounding is no wider
// than the distance to the nearest other value, nor than the value itself, for both are
// multiples of it.
func untied(x []float64) (apart []float64, tied int) {
	apart = slices.Clone(x)
	for from := 0; from < len(x); {
		to := from + 1
		for to < len(x) && x[to] <= x[from]*(1+alike) {
			to++
		}
		if k := to - from; k > 1 {
			step := x[from]
			if from > 0 {
				step = min(step, x[from]-x[from-1])
			}
			if to < len(x) {
				step = min(step, x[to]-x[from])
			}
			for i := range k {
				apart[from+i] = x[from] + step*((float64(i)+0.5)/float64(k)-0.5)
			}
			tied += k
		}
		from = to
	}
	return apart, tied
}

// near and far are correlations of the probability plot: at the first a fit is
// hard to tell from a straight line by eye, at the second its tails are off by
// tens of percent. Both are this project's choice. Where up to a fifth of 4000 homes are
// at 0.15 to 6 times the level of the others, which is near log-normal by most draws, the
// geometric mean lies within 16 % of the middle home and the mean within 11 % of the
// values' own, while the share above ten times the middle may be half or a third of the
// counted one (TestNearLogNormal).
const (
	near = 0.99
	far  = 0.97
)

// Verdict is what is made of the shape.
type Verdict int

// The verdicts, from no objection to a shape that is another one.
const (
	LogNormal     Verdict = iota // nothing speaks against it
	NearLogNormal                // middle and mean are off by a tenth or so, the far tail by a factor
	NotLogNormal                 // hold what is fitted to what is counted
	FarFromLogNormal
	TiesDecide // none: only that some values are the same speaks against it
)

// String is a verdict's stable name.
func (v Verdict) String() string {
	return [...]string{"no-objection", "near-log-normal", "not-log-normal", "far-from-log-normal", "ties-decide"}[v]
}

// Verdict judges the shape by the first test there is and by the plot's correlation, of
// the values as they are and of those that are the same spread apart: what only ties
// speak against has no verdict.
func (r ShapeResult) Verdict() Verdict {
	v := min(r.look.verdict(), r.untied.verdict())
	if v == LogNormal && r.look.verdict() != LogNormal {
		return TiesDecide
	}
	return v
}

// AsTheyStand judges the values with those that are the same as they are, which rounding
// alone may make far from log-normal.
func (r ShapeResult) AsTheyStand() Verdict { return r.look.verdict() }

func (l look) verdict() Verdict {
	switch {
	case l.p >= 0.05:
		return LogNormal
	case l.correlation >= near:
		return NearLogNormal
	case l.correlation >= far:
		return NotLogNormal
	}
	return FarFromLogNormal
}

func (r ShapeResult) words() string {
	switch v := r.Verdict(); {
	case v == TiesDecide:
		return fmt.Sprintf("no verdict: %d of %d values are the same as others, as rounding makes them or a number put in place of results below a limit, and nothing else speaks against a log-normal shape", r.Tied, r.N)
	case v == LogNormal && r.N < 20:
		return fmt.Sprintf("nothing speaks against a log-normal shape, but %d values could not say much", r.N)
	case v == LogNormal:
		return "nothing speaks against a log-normal shape"
	case v == NearLogNormal:
		return "not quite log-normal: middle and mean may be off by a tenth or so, but shares far out in the tail by a factor; hold those to the counted ones"
	case v == NotLogNormal:
		return "not log-normal: hold shares above a level to the counted ones"
	}
	return "far from log-normal: a mixture, or a few values of another kind; use the counted shares and look at the plot"
}

func filliben(i, n int) float64 {
	switch m := math.Pow(0.5, 1/float64(n)); i {
	case 1:
		return 1 - m
	case n:
		return m
	}
	return (float64(i) - 0.3175) / (float64(n) + 0.365)
}

// polynomial is c[0] + c[1]x + c[2]x² + …
func polynomial(x float64, c ...float64) float64 {
	sum := 0.0
	for i := len(c) - 1; i >= 0; i-- {
		sum = sum*x + c[i]
	}
	return sum
}

// shapiroWilk is W of y, which are in order, with Royston's p-value.
func shapiroWilk(y []float64) Test {
	n := len(y)
	nf := float64(n)
	a := make([]float64, n) // antisymmetric weights with squares summing to 1
	if n == 3 {
		a[2] = math.Sqrt(0.5)
	} else {
		m := make([]float64, n)
		sum := 0.0
		for i := range m {
			m[i] = numeric.NormalQuantile((float64(i+1) - 0.375) / (nf + 0.25))
			sum += m[i] * m[i]
		}
		u := 1 / math.Sqrt(nf)
		last := polynomial(u, 0, 0.221157, -0.147981, -2.07119, 4.434685, -2.706056) + m[n-1]/math.Sqrt(sum)
		rest, left, from := sum-2*m[n-1]*m[n-1], 1-2*last*last, n-1
		a[n-1] = last
		if n > 5 {
			next := polynomial(u, 0, 0.042981, -0.293762, -1.752461, 5.682633, -3.582633) + m[n-2]/math.Sqrt(sum)
			rest, left, from = rest-2*m[n-2]*m[n-2], left-2*next*next, n-2
			a[n-2] = next
		}
		scale := math.Sqrt(rest / left)
		for i := n / 2; i < from; i++ {
			a[i] = m[i] / scale
		}
	}
	for i := range n / 2 {
		a[i] = -a[n-1-i]
	}
	// 1 − W from the sines and cosines of the two vectors, which keeps the digits
	// of a W near 1.
	var mean, sy, ay numeric.Sum
	for _, v := range y {
		mean.Add(v)
	}
	c := mean.Value() / nf
	for i, v := range y {
		sy.Add((v - c) * (v - c))
		ay.Add(a[i] * (v - c))
	}
	var aa numeric.Sum
	for _, v := range a {
		aa.Add(v * v)
	}
	root := math.Sqrt(sy.Value() * aa.Value())
	rest := max((root-ay.Value())*(root+ay.Value())/(root*root), 0)
	w := 1 - rest
	if n == 3 {
		w = max(w, 0.75)
		return Test{w, max(6/math.Pi*(math.Asin(math.Sqrt(w))-math.Asin(math.Sqrt(0.75))), 0)}
	}
	if rest == 0 {
		return Test{1, 1}
	}
	l := math.Log(rest)
	var mu, sigma float64
	if n <= 11 {
		gamma := polynomial(nf, -2.273, 0.459)
		if l >= gamma {
			return Test{w, 1e-99}
		}
		l = -math.Log(gamma - l)
		mu = polynomial(nf, 0.544, -0.39978, 0.025054, -6.714e-4)
		sigma = math.Exp(polynomial(nf, 1.3822, -0.77857, 0.062767, -0.0020322))
	} else {
		x := math.Log(nf)
		mu = polynomial(x, -1.5861, -0.31082, -0.083751, 0.0038915)
		sigma = math.Exp(polynomial(x, -0.4803, -0.082676, 0.0030302))
	}
	return Test{w, numeric.Phi((mu - l) / sigma)}
}

// andersonDarling is A² of y, in order and in standard units, with the p-value
// for both parameters estimated.
func andersonDarling(y []float64) Test {
	n := len(y)
	nf := float64(n)
	var sum numeric.Sum
	for i := range y {
		sum.Add(float64(2*i+1) * (numeric.LogPhi(y[i]) + numeric.LogPhi(-y[n-1-i])))
	}
	a := -nf - sum.Value()/nf
	s := a * (1 + 0.75/nf + 2.25/(nf*nf))
	var p float64
	switch {
	case s < 0.2:
		p = -math.Expm1(polynomial(s, -13.436, 101.14, -223.73))
	case s < 0.34:
		p = -math.Expm1(polynomial(s, -8.318, 42.796, -59.938))
	case s < 0.6:
		p = math.Exp(polynomial(s, 0.9177, -4.279, -1.38))
	case s < 10:
		p = math.Exp(polynomial(s, 1.2937, -5.709, 0.0186))
	default:
		p = 3.7e-24
	}
	return Test{a, p}
}
