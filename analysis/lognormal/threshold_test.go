package lognormal

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

func threshold(t *testing.T, x []float64, opt Options) ThresholdResult {
	t.Helper()
	r, err := Threshold(x, opt)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The made sample of the help page of an R package for three-parameter log-normal
// distributions (n = 20, μ 1.5, σ 1, from 10 on): its local maximum likelihood is
// printed as 1.3, 0.7 and 10.5, and its profile interval as 3.699989 to 11.266029.
func TestPublishedThreshold(t *testing.T) {
	r := threshold(t, []float64{
		12.3946094689389, 11.7197981997527, 20.3961269037744, 21.4479380098513, 14.4846616173289, 13.1050585653762, 13.0525800500603,
		14.5040998416829, 12.6528828763672, 13.8263784398311, 17.9561880154067, 17.1141660137531, 13.8380054181139, 13.8684563881974,
		13.617692255668, 20.6705727005569, 11.3527025355164, 12.5237321675516, 14.2597950897719, 15.9325933741881,
	}, Options{})
	for _, c := range []struct {
		what          string
		got, want, by float64
	}{
		{"printed μ", r.MeanLog, 1.3, 0.05}, {"printed σ", r.SDLog, 0.7, 0.05}, {"printed threshold", r.Threshold.Value, 10.5, 0.05},
		{"printed lower limit", r.Threshold.Lower, 3.699989, 6e-7}, {"printed upper limit", r.Threshold.Upper, 11.266029, 2e-6},
		// That program and another search, with more digits.
		{"μ", r.MeanLog, 1.2751207521726, 1e-11}, {"σ", r.SDLog, 0.668422256364355, 1e-11}, {"threshold", r.Threshold.Value, 10.4986648423968, 1e-11},
		{"lower limit", r.Threshold.Lower, 3.69998876305485, 1e-9}, {"upper limit", r.Threshold.Upper, 11.2660274077983, 1e-11},
		// That program's modified moments.
		{"μ by moments", r.Moments.MeanLog, 1.52066641337042, 1e-9}, {"σ by moments", r.Moments.SDLog, 0.533097413137818, 1e-9}, {"threshold by moments", r.Moments.Threshold, 9.66204032995544, 1e-9},
		{"log likelihood", r.LogLikelihood, -45.8244820106764, 1e-11}, {"without", r.Without, -48.2328142489124, 1e-11},
	} {
		if !(math.Abs(c.got-c.want) <= c.by) {
			t.Errorf("%s is %.12g, not %.12g", c.what, c.got, c.want)
		}
	}
}

// Of n values let a share p have the excess cᵉ⁻ᵃ, as many ceᵃ and the rest c. Then
// μ = ln c, σ² = 2pa², and the slope Σ(1 + (y−μ)/σ²)/(x−γ) is n/c times
// 2p·cosh a + 1 − 2p − 2pa·sinh a/σ² = 1 + 2p(cosh a − 1) − sinh a/a.
// For p = 1/8 it is zero at a = 3.21223: two, twelve and two values about 20 + 10.
func TestThresholdByHand(t *testing.T) {
	a, err := numeric.Root(func(a float64) float64 { return 1 + (math.Cosh(a)-1)/4 - math.Sinh(a)/a }, 3, 4, 1e-14)
	if err != nil || math.Abs(a-3.21223) > 5e-6 {
		t.Fatal(a, err)
	}
	low, high := 20+10*math.Exp(-a), 20+10*math.Exp(a)
	x := append(slices.Repeat([]float64{30, 30, 30}, 4), high, low, low, high)
	r := threshold(t, x, Options{})
	agree(t, "threshold", r.Threshold.Value, 20, 1e-10)
	agree(t, "μ", r.MeanLog, math.Log(10), 1e-10)
	agree(t, "σ", r.SDLog, a/2, 1e-10)
	agree(t, "log likelihood", r.LogLikelihood, -16*(math.Log(a/2)+math.Log(10)+0.5+numeric.HalfLog2Pi), 1e-12)
}

// The limits by halving on the densities' own sum.
func TestThresholdAgainstSlow(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	for range 20 {
		n := 20 + rng.IntN(60)
		x := make([]float64, n)
		for i := range x {
			x[i] = 15 + math.Exp(4+0.9*rng.NormFloat64())
		}
		r, err := Threshold(x, Options{Confidence: 0.9})
		if err != nil {
			continue
		}
		l := func(g float64) float64 {
			mean, v, sum := 0.0, 0.0, 0.0
			for _, x := range x {
				mean += math.Log(x-g) / float64(n)
			}
			for _, x := range x {
				v += (math.Log(x-g) - mean) * (math.Log(x-g) - mean) / float64(n)
			}
			for _, x := range x {
				y := math.Log(x - g)
				sum -= (y-mean)*(y-mean)/(2*v) + math.Log(v)/2 + y + math.Log(2*math.Pi)/2
			}
			return sum
		}
		e := r.Threshold
		agree(t, "likelihood", l(e.Value), r.LogLikelihood, 1e-10)
		agree(t, "likelihood without", l(0), r.Without, 1e-10)
		for _, d := range []float64{-0.1, -1e-3, 1e-3} { // a local maximum
			if g := e.Value + d; g < slices.Min(x) && l(g) > r.LogLikelihood+1e-9 {
				t.Errorf("the likelihood is larger at %v than at %v", g, e.Value)
			}
		}
		const drop = 2.705543454095414 / 2 // half of χ²₁ at 90 %
		if !math.IsInf(e.Lower, 0) {
			agree(t, "fall at the lower limit", r.LogLikelihood-l(e.Lower), drop, 1e-7)
		}
		if !analysis.HasNote(e.Notes, "threshold-to-least") {
			agree(t, "fall at the upper limit", r.LogLikelihood-l(e.Upper), drop, 1e-6)
		}
	}
}

// Another unit scales everything, another origin moves it; order changes nothing, and
// more confidence never narrows.
func TestThresholdProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	x := make([]float64, 70)
	for i := range x {
		x[i] = 20 + math.Exp(3.5+rng.NormFloat64())
	}
	r := threshold(t, x, Options{})
	scaled, moved := slices.Clone(x), slices.Clone(x)
	for i := range x {
		scaled[i] *= 37
		moved[i] += 100
	}
	s, m := threshold(t, scaled, Options{}).Threshold, threshold(t, moved, Options{}).Threshold
	rng.Shuffle(len(x), func(i, j int) { x[i], x[j] = x[j], x[i] })
	o, wide := threshold(t, x, Options{}).Threshold, threshold(t, x, Options{Confidence: 0.99}).Threshold
	e := r.Threshold
	for i, want := range []float64{e.Value, e.Lower, e.Upper} {
		agree(t, "×37", []float64{s.Value, s.Lower, s.Upper}[i], 37*want, 1e-8)
		agree(t, "+100", []float64{m.Value, m.Lower, m.Upper}[i], 100+want, 1e-8)
		agree(t, "shuffled", []float64{o.Value, o.Lower, o.Upper}[i], want, 1e-8)
	}
	if !(wide.Lower < e.Lower && wide.Upper >= e.Upper) {
		t.Errorf("99 %%: %v, 95 %%: %v", wide, e)
	}
	// Taken off as outdoors, the threshold leaves what it says.
	excess, err := SubtractOutdoor(exacts(x...), e.Value)
	if err != nil {
		t.Fatal(err)
	}
	fit, err := Fit(excess, FitOptions{Method: ProfileLikelihood})
	if err != nil || math.Abs(fit.MeanLog-r.MeanLog) > 0.02 {
		t.Errorf("μ %v by the fit of the excess, %v by the threshold: %v", fit.MeanLog, r.MeanLog, err)
	}
}

// spaced is n values about their middle, evenly by probability, of a log-normal
// distribution.
func spaced(n int, from, gsd float64) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = from + 100*math.Pow(gsd, numeric.NormalQuantile((float64(i)+0.5)/float64(n)))
	}
	return x
}

func TestThresholdNotes(t *testing.T) {
	for _, c := range []struct {
		code         string
		raises, near []float64
	}{
		{"few-for-threshold", spaced(49, 20, 3), spaced(50, 20, 3)},
		{"threshold-not-shown", spaced(60, 2, 3), spaced(60, 90, 3)},
		{"threshold-to-least", chromium, spaced(200, 20, 2)},
		{"unbounded", spaced(20, 20, 1.2), spaced(60, 20, 2)},
	} {
		if e := threshold(t, c.raises, Options{}).Threshold; !analysis.HasNote(e.Notes, c.code) {
			t.Errorf("%s was not raised: %+v", c.code, e)
		}
		if e := threshold(t, c.near, Options{}).Threshold; analysis.HasNote(e.Notes, c.code) {
			t.Errorf("%s was raised by a near miss: %+v", c.code, e)
		}
	}
}

func TestThresholdRefused(t *testing.T) {
	bent := make([]float64, 20) // more values high than low
	for i := range bent {
		bent[i] = 100 - 90*math.Pow(float64(i)/20, 3)
	}
	for name, x := range map[string][]float64{
		"few": spaced(9, 20, 2), "none": nil, "zero": append(spaced(12, 20, 2), 0), "nan": append(spaced(12, 20, 2), math.NaN()),
		"infinite": append(spaced(12, 20, 2), math.Inf(1)), "same": slices.Repeat([]float64{40}, 12),
		"no more skewed than normal":   bent,
		"nothing but the least's pole": {1, 1.0001, 1.0002, 1.1, 1.2, 1.5, 2, 3, 5, 100, 1000},
		"wider than numbers":           {1e-300, 1, 2, 3, 4, 5, 6, 7, 8, 1e300},
	} {
		if r, err := Threshold(x, Options{}); err == nil {
			t.Errorf("%s: %+v", name, r)
		} else {
			t.Logf("%s: %v", name, err)
		}
	}
	if _, err := Threshold(spaced(20, 20, 2), Options{Confidence: 2}); err == nil {
		t.Error("a confidence of 2")
	}
}

func FuzzThreshold(f *testing.F) {
	pack := func(x ...float64) (b []byte) {
		for _, v := range x {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		}
		return b
	}
	f.Add(pack(chromium...), 0.95)
	f.Add(pack(spaced(12, 1e300, 2)...), 0.5)
	f.Add(pack(1e-300, 2e-300, 3e-300, 5e-300, 9e-300, 2e-299, 3e-299, 3e-299, 1e-298, 5e-300), 0.9)
	f.Add(pack(1e-300, 1, 2, 3, 4, 5, 6, 7, 8, math.MaxFloat64), 0.999999)
	f.Fuzz(func(t *testing.T, b []byte, confidence float64) {
		var x []float64
		for ; len(b) >= 8 && len(x) < 40; b = b[8:] {
			x = append(x, math.Float64frombits(binary.LittleEndian.Uint64(b)))
		}
		if m, err := ThresholdByMoments(x); err == nil {
			for _, v := range []float64{m.Threshold, m.MeanLog, m.SDLog} {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					t.Errorf("%+v", m)
				}
			}
		}
		r, err := Threshold(x, Options{confidence})
		if err != nil {
			return
		}
		if err := r.Threshold.Check(); err != nil {
			t.Error(err)
		}
		numbers := []float64{r.MeanLog, r.SDLog, r.LogLikelihood, r.Without}
		if m := r.Moments; m != nil {
			numbers = append(numbers, m.Threshold, m.MeanLog, m.SDLog)
		}
		for _, v := range numbers {
			if math.IsNaN(v) || math.IsInf(v, 0) {
				t.Errorf("%+v", r)
			}
		}
	})
}

// Of three values chi-squared has two degrees of freedom, so P(χ² ≥ y) is e^(−y/2):
// k is where the average of e^(−r²/k²) over x, normal with variance 1/3, is the
// confidence. Here by Simpson's rule, with r by halving.
func TestToleranceByHand(t *testing.T) {
	r, err := TwoSidedTolerance(sample(t, 40, 10, 20), 0.9, Options{})
	if err != nil {
		t.Fatal(err)
	}
	average := 0.0
	const steps, wide = 400, 5.0
	for i := range steps + 1 {
		x := wide * float64(i) / steps
		lo, hi := 0.0, 20.0
		for range 60 {
			if mid := (lo + hi) / 2; numeric.Phi(x+mid)-numeric.Phi(x-mid) < 0.9 {
				lo = mid
			} else {
				hi = mid
			}
		}
		w := float64(2 + 2*(i%2))
		if i == 0 || i == steps {
			w = 1
		}
		average += w * 2 * math.Sqrt(3/(2*math.Pi)) * math.Exp(-1.5*x*x) * math.Exp(-lo*lo/(r.Factor*r.Factor)) * wide / steps / 3
	}
	agree(t, "confidence at k", average, 0.95, 1e-9)
	agree(t, "lower limit", r.Tolerance.Lower, 20*math.Exp2(-r.Factor), 1e-12)
	agree(t, "upper limit", r.Tolerance.Upper, 20*math.Exp2(r.Factor), 1e-12)
	// Howe: 1.644854·√(2·(4/3)/χ²), χ² = −2 ln 0.95.
	agree(t, "Howe's k", r.Howe, 1.6448536269514722*math.Sqrt(8./3/(-2*math.Log(0.95))), 1e-9)
	if r.Tolerance.Kind != analysis.ToleranceInterval {
		t.Errorf("kind %q", r.Tolerance.Kind)
	}
	for _, p := range []float64{0, 1, 0.005, math.NaN(), -1} {
		if _, err := TwoSidedTolerance(sample(t, 40, 10, 20), p, Options{}); err == nil {
			t.Errorf("a share of %v was taken", p)
		}
	}
	for _, p := range []float64{0.01, 0.5, 0.999999} { // to the ends of what is taken
		for _, n := range []int{2, 3, 1000, 1e9} {
			for _, c := range []float64{0.5, 0.95, 0.9999} {
				s, _ := FromLogs(n, 0, 1e-3)
				if r, err := TwoSidedTolerance(s, p, Options{c}); err != nil || !(r.Factor > 0) {
					t.Errorf("%d values, %v of homes, confidence %v: %v, %v", n, p, c, r.Factor, err)
				}
			}
		}
	}
}

// The limits hold the share they are to hold as often as they say: the mean and
// standard deviation of logarithms are drawn as such, 20 000 times.
func TestToleranceHeld(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	for _, c := range []struct {
		n             int
		p, confidence float64
	}{{5, 0.9, 0.95}, {20, 0.8, 0.9}} {
		s, _ := FromLogs(c.n, 0, 1)
		r, err := TwoSidedTolerance(s, c.p, Options{c.confidence})
		if err != nil {
			t.Fatal(err)
		}
		const trials = 20000
		held, howe := 0, 0
		for range trials {
			x, ss := rng.NormFloat64()/math.Sqrt(float64(c.n)), 0.0
			for range c.n - 1 {
				z := rng.NormFloat64()
				ss += z * z
			}
			sd := math.Sqrt(ss / float64(c.n-1))
			share := func(k float64) float64 { return numeric.Phi(x+k*sd) - numeric.Phi(x-k*sd) }
			if share(r.Factor) >= c.p {
				held++
			}
			if share(r.Howe) >= c.p {
				howe++
			}
		}
		if got := float64(held) / trials; math.Abs(got-c.confidence) > 4*math.Sqrt(c.confidence*(1-c.confidence)/trials) {
			t.Errorf("%d values: %v hold, %v by Howe; asked for %v", c.n, got, float64(howe)/trials, c.confidence)
		}
	}
}
