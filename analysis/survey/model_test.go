package survey

import (
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"

	"gonum.org/v1/gonum/mat"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/internal/reftest"
	"radonyear/analysis/lognormal"
)

// input is what a reference case holds: counties' homes by floor as number, mean and
// spread, or homes one by one.
type input struct {
	Like           string
	County         []string
	Floor, Uranium []float64
	N, Mean, SD    []float64
	A              []string
	X1, Y, SE      []float64
	Below          []int
	HomeSD         *float64
}

// homes makes homes with these sums of squares and products, which is all that a
// restricted likelihood sees of the true ones.
func (in input) homes(uranium bool) (homes []Home) {
	for i, county := range in.County {
		x := []float64{in.Floor[i]}
		if uranium {
			x = append(x, in.Uranium[i])
		}
		for k := range int(in.N[i]) {
			h := Home{Area: county, Log: in.Mean[i], Covariates: x}
			if k < 2 && in.N[i] > 1 {
				h.Log += float64(1-2*k) * in.SD[i] * math.Sqrt((in.N[i]-1)/2)
			}
			homes = append(homes, h)
		}
	}
	for i, a := range in.A {
		h := Home{Area: a, Log: in.Y[i]}
		if in.SE != nil {
			h.SE = in.SE[i]
		}
		if in.Below != nil {
			h.Below = in.Below[i] == 1
		}
		if in.X1 != nil {
			h.Covariates = []float64{in.X1[i]}
		}
		homes = append(homes, h)
	}
	return homes
}

func flat(m Model) map[string]float64 {
	got := map[string]float64{"sdArea": m.SDArea.Value, "sdHome": m.SDHome.Value, "logLik": m.LogLik}
	for i, t := range m.Fixed {
		got[fmt.Sprintf("b%d", i)], got[fmt.Sprintf("se%d", i)] = t.Value, t.SE
	}
	return got
}

// TestReference holds fits to lme4 and metafor, and fits and posteriors to their
// definitions written out in R.
func TestReference(t *testing.T) {
	file, err := reftest.Read("survey-areas.json")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	inputs := map[string]input{}
	for _, c := range file.Cases {
		var in input
		if err := json.Unmarshal(c.Input, &in); err != nil {
			t.Fatal(err)
		}
		inputs[c.Name] = in
		if in.Like != "" {
			in = inputs[in.Like]
		}
		var opt Options
		if in.X1 != nil {
			opt.Covariates = []string{"x1"}
		}
		uranium := strings.Contains(c.Name, "uranium")
		if in.County != nil {
			opt.Covariates = []string{"floor"}
			if uranium {
				opt.Covariates = []string{"floor", "log_uranium"}
			}
		}
		opt.HomeSD = in.HomeSD
		if strings.Contains(c.Name, "plain likelihood") {
			opt.Likelihood = "ml"
		}
		kind, _, _ := strings.Cut(c.Name, ":")
		seen[kind]++
		got := map[string]float64{}
		switch {
		case kind == "apart":
			// What is assumed lies where these counties leave it.
			if !(c.Want["lower"] <= spreadDiffers && spreadDiffers <= c.Want["upper"] && c.Want["cells"] > 50) {
				t.Errorf("%s: %v, and %v is assumed", c.Name, c.Want, spreadDiffers)
			}
			continue
		case kind == "sums, posterior":
			got = posteriorFlat(t, in.homes(false), opt)
		case strings.Contains(c.Name, "at 0.8 and 0.5"):
			d, err := newDesign(in.homes(false), &opt)
			if err != nil {
				t.Fatal(err)
			}
			x := d.at(d.sums(0.8), 0.5, nil)
			f := d.natural(x.beta, x.cov)
			got = map[string]float64{"b0": f[0].Value, "b1": f[1].Value, "logLik": x.l, "logDet": x.logDet}
		default:
			m, err := Fit(in.homes(uranium), opt)
			if err != nil {
				t.Fatal(c.Name, err)
			}
			if strings.Contains(c.Name, "counties") || strings.Contains(c.Name, "BCG areas") {
				for _, a := range m.Areas {
					got[a.Area] = a.Intercept
				}
			} else {
				got = flat(m)
				if strings.Contains(c.Name, "eight schools") && (m.SDArea.Value != 0 || m.SDArea.Lower != 0 || !analysis.HasNote(m.Notes, "no-area-spread")) {
					t.Errorf("between eight schools %+v, %v", m.SDArea, m.Notes)
				}
			}
		}
		// Some cases hold only part of what there is.
		for name := range got {
			if _, ok := c.Want[name]; !ok {
				delete(got, name)
			}
		}
		for _, bad := range c.Check(got) {
			t.Error(bad)
		}
	}
	for kind, n := range map[string]int{"lme4": 13, "metafor": 4, "dense": 2, "sums": 3, "sums, posterior": 3, "apart": 1} {
		if seen[kind] != n {
			t.Errorf("%d cases of %s, want %d", seen[kind], kind, n)
		}
	}
}

func posteriorFlat(t *testing.T, homes []Home, opt Options) map[string]float64 {
	t.Helper()
	r, err := Posterior(homes, PosteriorOptions{Options: opt, Levels: []float64{100}, Exceeds: []float64{0.2}})
	if err != nil {
		t.Fatal(err)
	}
	d, _ := newDesign(homes, &opt)
	o := PosteriorOptions{Options: opt}
	if err := o.check(); err != nil {
		t.Fatal(err)
	}
	g, err := newGrid(d, o)
	if err != nil {
		t.Fatal(err)
	}
	tau := 0.0
	for _, p := range g.points {
		tau += p.weight * p.point.tau * p.point.tau
	}
	a := r.Areas[0]
	return map[string]float64{"b0": r.Fixed[0].Value, "se0": r.Fixed[0].SE, "meanTau2": tau, "u1": a.Effect, "m1": a.MeanLog, "s1": a.SDMeanLog,
		"gmLower": a.GM.Lower, "gmUpper": a.GM.Upper, "amLower": a.AM.Lower, "am": a.AM.Value, "amUpper": a.AM.Upper,
		"shareLower": a.Above[0].Share.Lower, "shareUpper": a.Above[0].Share.Upper, "share": a.Above[0].Share.Value,
		"exceeds": a.Above[0].Exceeds[0].Probability, "medianSigma": r.SDHome.Value, "medianTau": r.SDArea.Value, "upperTau": r.SDArea.Upper}
}

// TestMinnesota holds what Gelman and Hill 2007, Data Analysis Using Regression and
// Multilevel/Hierarchical Models, section 12.4 and 12.6, print of the Minnesota homes
// (from memory), and more digits of the same by lme4.
func TestMinnesota(t *testing.T) {
	in := minnesota(t)
	m, err := Fit(in.homes(false), Options{Covariates: []string{"floor"}})
	if err != nil {
		t.Fatal(err)
	}
	u, err := Fit(in.homes(true), Options{Covariates: []string{"floor", "log_uranium"}})
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		what               string
		got, printed, more float64
	}{
		{"intercept", m.Fixed[0].Value, 1.46, 1.461598}, {"floor", m.Fixed[1].Value, -0.69, -0.692994},
		{"between counties", m.SDArea.Value, 0.33, 0.328222}, {"between homes", m.SDHome.Value, 0.76, 0.755589},
		{"intercept, uranium", u.Fixed[0].Value, 1.47, 1.465763}, {"floor, uranium", u.Fixed[1].Value, -0.67, -0.668245},
		{"uranium", u.Fixed[2].Value, 0.72, 0.720268},
		{"between counties, uranium", u.SDArea.Value, 0.16, 0.156402}, {"between homes, uranium", u.SDHome.Value, 0.76, 0.758439},
	} {
		if math.Abs(c.got-c.printed) > 0.005 || math.Abs(c.got-c.more) > 1e-6 {
			t.Errorf("%s is %.7f, not %v (%v in print)", c.what, c.got, c.more, c.printed)
		}
	}
	if m.Fixed[0].Term != "intercept" || m.Fixed[1].Term != "floor" || len(m.Areas) != 85 || m.Homes != 919 {
		t.Errorf("%+v of %d areas and %d homes", m.Fixed, len(m.Areas), m.Homes)
	}
}

// TestPublishedDyestuff: Davies and Goldsmith 1972, Statistical Methods in Research and
// Production (from memory): six batches of five, a mean square of 11271.5 between
// them and one of 2451.25 within, so 2451.25 and (11271.5 − 2451.25)/5 = 1764.05 by restricted
// likelihood, which the documentation of lme4 has too (from memory), with a mean of
// 1527.5 and its error √(11271.5/30) = 19.38. In hundreds here.
func TestPublishedDyestuff(t *testing.T) {
	file, err := reftest.Read("survey-areas.json")
	if err != nil {
		t.Fatal(err)
	}
	found := 0
	for _, c := range file.Cases {
		if c.Name != "lme4: Dyestuff" {
			continue
		}
		found++
		var in input
		if err := json.Unmarshal(c.Input, &in); err != nil {
			t.Fatal(err)
		}
		m, err := Fit(in.homes(false), Options{})
		if err != nil {
			t.Fatal(err)
		}
		near(t, "within batches", m.SDHome.Value*m.SDHome.Value, 0.245125, 1e-9)
		near(t, "between batches", m.SDArea.Value*m.SDArea.Value, 0.176405, 1e-9)
		near(t, "mean", m.Fixed[0].Value, 15.275, 1e-13)
		near(t, "error of the mean", m.Fixed[0].SE, math.Sqrt(1.12715/30), 1e-9)
	}
	if found != 1 {
		t.Errorf("%d cases of Dyestuff", found)
	}
}

func minnesota(t testing.TB) (in input) {
	t.Helper()
	file, err := reftest.Read("survey-areas.json")
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(file.Cases[0].Input, &in); err != nil || len(in.County) == 0 {
		t.Fatal(err)
	}
	return in
}

func near(t *testing.T, what string, got, want, rel float64) {
	t.Helper()
	if !(math.Abs(got-want) <= rel*math.Abs(want)) {
		t.Errorf("%s is %.12g, not %.12g", what, got, want)
	}
}

// Three areas of two homes, out of order: means 3, 5, 7, each ±1 about them. MSW =
// Σ1²/(6−3) = 6/3 = 2; MSB = 2·(2² + 0 + 2²)/(3−1) = 8. Balanced, restricted
// likelihood is analysis of variance where that is not negative: σ² = 2,
// τ² = (8 − 2)/2 = 3; the mean is 5 with variance MSB/6 = 4/3. An area's own mean counts
// 2τ²/(2τ² + σ²) = 6/8, so effects are −1.5, 0, 1.5, and levels 3.5, 5, 6.5.
//
// The height: V has eigenvalues 8 (thrice, areas) and 2 (thrice, within):
// ln|V| = 3 ln 8 + 3 ln 2 = 12 ln 2; |XᵀV⁻¹X| = 6/8; r ᵀV⁻¹r = 16/8 + 6/2 = 5, as
// it is n − 1 at the top. l = −(12 ln 2 + ln ¾ + 5 + 5 ln 2π)/2.
//
// The error: g₁ = τ²σ²/(2τ²+σ²) = 6/8; g₂ = (1−¾)²·4/3 = 1/12; information on
// (τ², σ²): Σw = 1 each and D = 1 + 3 = 4: ττ 3·(1/4)²/2 = 3/32; Σw² = ½: τσ
// 3·½/16/2 = 3/64; σσ: g = ¾, Σw³ = ¼: 3·(½ − ¾·½ + (9/16)/4)/2 = 3·(17/64)/2 = 51/128.
// Determinant 3/32·51/128 − (3/64)² = (153 − 9)/4096 = 9/256; variances
// ττ (51/128)/(9/256) = 34/3, τσ −(3/64)/(9/256) = −4/3, σσ (3/32)/(9/256) = 8/3.
// The shrinkage B = τ²/(τ² + σ²/2) has derivatives by τ² (σ²/2)/(τ²+σ²/2)² = 1/16 and
// by σ² −(τ²/2)/16 = −3/32; an area's mean has variance τ² + σ²/2 = 4:
// g₃ = 4·(34/3/256 + 2·(4/3)(3/512) + (8/3)(9/1024)) = 4·(34/768 + 1/64 + 3/128) = 4·(64/768) = 1/3.
// Altogether 3/4 + 1/12 + 2/3 = 3/2.
func TestByHand(t *testing.T) {
	homes := []Home{{Area: "b", Log: 4}, {Area: "a", Log: 4}, {Area: "c", Log: 6}, {Area: "a", Log: 2}, {Area: "c", Log: 8}, {Area: "b", Log: 6}}
	m, err := Fit(homes, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "between homes", m.SDHome.Value, math.Sqrt2, 1e-7)
	near(t, "between areas", m.SDArea.Value, math.Sqrt(3), 1e-7)
	near(t, "intercept", m.Fixed[0].Value, 5, 1e-12)
	near(t, "its error", m.Fixed[0].SE, math.Sqrt(4./3), 1e-7)
	near(t, "height", m.LogLik, -(12*math.Ln2+math.Log(0.75)+5+5*math.Log(2*math.Pi))/2, 1e-10)
	for j, want := range []float64{3.5, 5, 6.5} {
		near(t, "level", m.Areas[j].Intercept, want, 1e-7)
		near(t, "its error", m.Areas[j].SE, math.Sqrt(1.5), 1e-6)
		near(t, "geometric mean", m.Areas[j].GM.Value, math.Exp(want), 1e-6)
	}
	if m.Areas[0].Area != "a" || m.Areas[2].Area != "c" || m.Areas[1].Homes != 2 {
		t.Errorf("%+v", m.Areas)
	}
	// With both spreads known there is nothing to average: the grid of one homes' spread,
	// and what it says at τ = √3 is the same levels with g₁ + g₂ alone.
	var opt Options
	d, err := newDesign(homes, &opt)
	if err != nil {
		t.Fatal(err)
	}
	s := d.sums(math.Sqrt2)
	x := d.at(s, math.Sqrt(3), nil)
	c := d.effectsAt(s, x, false)
	near(t, "effect", c.u[2], 1.5, 1e-12)
	near(t, "its variance given the rest", c.g[2], 0.75, 1e-12)
	near(t, "how it moves with the intercept", c.du[2], -0.75, 1e-12)
	// What is above e⁵ of homes with mean 6.5 and variance 2, known with variance ¾ + 1/12:
	// 1.5/√(2 + 5/6).
	f := mixture{w: []float64{1}, m: []float64{6.5}, s: []float64{math.Sqrt(5. / 6)}, c: []float64{5}, d: []float64{math.Sqrt2}}
	q := f.quantile(0.5, 1, 1)
	near(t, "median score of the share", q, 1.5/math.Sqrt2, 1e-9)

	// Raw: two of four above 100, one undecided: Wilson's limits of 1 and of 2 of 4 with z = 1.959964,
	// (1 + 1.920729 − 1.959964·√(¾ + 0.960365))/7.841459 = 0.045587 and
	// (2 + 1.920729 + 1.959964·√(1 + 0.960365))/7.841459 = 0.849964.
	raw, err := Unpooled([]Home{{Log: math.Log(150)}, {Log: math.Log(50)}, {Log: math.Log(200), Below: true}, {Log: math.Log(80), Below: true}}, []float64{100}, 0)
	if err != nil {
		t.Fatal(err)
	}
	if s := raw[0].Above[0]; s.Above != 1 || s.Undecided != 1 || s.Share.Value != 0.25 || !analysis.HasNote(s.Share.Notes, "undecided") {
		t.Errorf("%+v", s)
	}
	near(t, "Wilson, lower", raw[0].Above[0].Share.Lower, 0.045587, 1e-5)
	near(t, "Wilson, upper", raw[0].Above[0].Share.Upper, 0.849964, 1e-5)
	two, err := Unpooled(homes, nil, 0.9)
	if err != nil || len(two) != 3 {
		t.Fatal(two, err)
	}
	near(t, "raw GM", two[0].GM, math.Exp(3), 1e-12)
	near(t, "raw GSD", two[0].GSD, math.Exp(math.Sqrt2), 1e-12)
	// Of more than four fifths below their limits neither rests on what was measured.
	mostly := []Home{{Log: math.Log(150)}, {Log: math.Log(50)}}
	for range 8 {
		mostly = append(mostly, Home{Log: math.Log(20), Below: true})
	}
	just, err := Unpooled(mostly, nil, 0)
	over, err2 := Unpooled(append(mostly, Home{Log: math.Log(20), Below: true}), nil, 0)
	if err != nil || err2 != nil || !(just[0].GM > 0 && just[0].GSD > 1) || over[0].GM != 0 || over[0].GSD != 0 {
		t.Errorf("%+v, %+v (%v, %v)", just, over, err, err2)
	}
}

// TestPublishedWilson: Newcombe 1998, Stat. Med. 17:857, table I, method 3.
func TestPublishedWilson(t *testing.T) {
	for _, c := range []struct{ x, n, lower, upper float64 }{{81, 263, .2553, .3662}, {15, 148, .0624, .1605}, {0, 20, 0, .1611}, {1, 29, .0061, .1718}} {
		l, u := numeric.Wilson(c.x, c.n, 1.959964)
		if math.Abs(l-c.lower) > 5e-5 || math.Abs(u-c.upper) > 5e-5 {
			t.Errorf("%v of %v: %v to %v", c.x, c.n, l, u)
		}
	}
}

// community draws homes of areas from the model: covariates a floor, errors, limits.
type community struct {
	areas, homes int // homes of an area: 1 to 2·homes − 1
	sigma, tau   float64
	floor        float64
	errors       float64 // largest
	censored     float64 // share, about
	differ       float64 // of ln sigma, from area to area
	levels       []float64
	sigmas       []float64
}

func (c *community) draw(rng *rand.Rand) (homes []Home) {
	c.levels, c.sigmas = nil, nil
	limit := math.Inf(-1)
	if c.censored > 0 {
		limit = 4 + math.Hypot(c.sigma, c.tau)*numeric.NormalQuantile(c.censored)
	}
	for j := range c.areas {
		level := 4 + c.tau*rng.NormFloat64()
		c.levels = append(c.levels, level)
		sigma := c.sigma
		if c.differ > 0 {
			sigma *= math.Exp(c.differ * (rng.NormFloat64() - c.differ))
		}
		c.sigmas = append(c.sigmas, sigma)
		for range 1 + rng.IntN(2*c.homes-1) {
			h := Home{Area: fmt.Sprintf("%04d", j), SE: c.errors * rng.Float64(), Log: level + sigma*rng.NormFloat64()}
			if c.floor != 0 {
				x := float64(rng.IntN(2))
				h.Log += c.floor * x
				h.Covariates = []float64{x}
			}
			h.Log += h.SE * rng.NormFloat64()
			if h.Log < limit {
				h.Log, h.Below = limit, true
			}
			homes = append(homes, h)
		}
	}
	return homes
}

// The likelihood, fixed effects and areas' effects against the dense normal of all
// homes, on random communities, with and without neighbours.
func TestAgainstSlow(t *testing.T) {
	rng := rand.New(rand.NewPCG(2, 2))
	for trial := range 40 {
		c := community{areas: 2 + rng.IntN(7), homes: 1 + rng.IntN(4), sigma: 0.5, tau: 0.5, floor: -0.4, errors: 0.5}
		if trial%3 == 0 {
			c.errors = 0
		}
		homes := c.draw(rng)
		for i := range homes {
			homes[i].Covariates = append(homes[i].Covariates, 10+3*rng.NormFloat64())
		}
		opt := Options{Covariates: []string{"floor", "x"}, Areas: chain(rng, c.areas)}
		d, err := newDesign(homes, &opt)
		if err != nil {
			continue // too small
		}
		sigma, tau := 0.3+rng.Float64(), rng.Float64()
		s := d.sums(sigma)
		for _, r := range slowPriors(t, d, opt) {
			x := d.atPrior(s, tau, r, nil)
			e := d.effectsPrior(s, x, r)
			want := slow(t, d, homes, sigma, tau, covariance(d, r))
			near(t, "restricted likelihood", x.value(restricted), want.l, 1e-9)
			for k, f := range d.natural(x.beta, x.cov) {
				near(t, f.Term, f.Value, want.beta[k], 1e-7)
				near(t, f.Term+", error", f.SE, want.se[k], 1e-7)
			}
			v := make([]float64, d.p)
			for j := range d.areas {
				if math.Abs(e.u[j]-want.u[j]) > 1e-8 {
					t.Errorf("effect %v, not %v", e.u[j], want.u[j])
				}
				for k := range v {
					v[k] = d.areas[j].at[k] + e.du[j*d.p+k]
				}
				// The level's error, the fixed effects' included, at the area's own covariates.
				near(t, "level's variance", e.g[j]+quadratic(x.cov, v), want.variance[j], 1e-7)
			}
		}
	}
}

// chain are areas in a row, with some of them next to others and one alone.
func chain(rng *rand.Rand, n int) (areas []Area) {
	for j := range n {
		a := Area{Name: fmt.Sprintf("%04d", j)}
		if j > 0 && j < n-1 {
			a.Neighbours = []string{fmt.Sprintf("%04d", j-1)}
			if k := rng.IntN(n - 1); k != j {
				a.Neighbours = append(a.Neighbours, fmt.Sprintf("%04d", k))
			}
		}
		areas = append(areas, a)
	}
	return areas
}

func slowPriors(t *testing.T, d *design, opt Options) []*smoothness {
	all := []*smoothness{{}}
	net, err := newNetwork(d, opt.Areas)
	if err != nil {
		return all
	}
	rho, err := net.smoothnesses()
	if err != nil {
		t.Fatal(err)
	}
	return append(all, &rho[1], &rho[5])
}

// covariance of the areas' effects relative to τ², from its definition.
func covariance(d *design, r *smoothness) *mat.SymDense {
	n := len(d.areas)
	k := mat.NewSymDense(n, nil)
	for j := range n {
		k.SetSym(j, j, 1)
	}
	if r.net == nil {
		return k
	}
	for j := range n {
		next := r.net.next[j]
		if len(next) == 0 {
			continue
		}
		k.SetSym(j, j, 1-r.rho+r.rho*float64(len(next)))
		for _, i := range next {
			k.SetSym(j, i, -r.rho)
		}
	}
	var c mat.Cholesky
	c.Factorize(k)
	var inv mat.SymDense
	if err := c.InverseTo(&inv); err != nil {
		panic(err)
	}
	// Each part's geometric mean variance is one.
	scale := make([]float64, n)
	for j := range n {
		sum, count := 0.0, 0.0
		for i := range n {
			if r.net.part[i] == r.net.part[j] {
				sum += math.Log(inv.At(i, i))
				count++
			}
		}
		scale[j] = math.Exp(-sum / count)
	}
	for j := range n {
		for i := range j + 1 {
			inv.SetSym(i, j, inv.At(i, j)*math.Sqrt(scale[i]*scale[j]))
		}
	}
	return &inv
}

type slowFit struct {
	l                     float64
	beta, se, u, variance []float64
}

func slow(t *testing.T, d *design, homes []Home, sigma, tau float64, k *mat.SymDense) (f slowFit) {
	t.Helper()
	n, p := len(homes), d.p
	v, x, y := mat.NewSymDense(n, nil), mat.NewDense(n, p, nil), mat.NewVecDense(n, nil)
	area := make([]int, n)
	for i, h := range homes {
		area[i] = slices.IndexFunc(d.areas, func(a place) bool { return a.name == h.Area })
	}
	for i, h := range homes {
		for j := range i + 1 {
			c := tau * tau * k.At(area[i], area[j])
			if i == j {
				c += sigma*sigma + h.SE*h.SE
			}
			v.SetSym(i, j, c)
		}
		x.SetRow(i, append([]float64{1}, h.Covariates...))
		y.SetVec(i, h.Log)
	}
	var c, ci mat.Cholesky
	if !c.Factorize(v) {
		t.Fatal("not positive definite")
	}
	var vx, info mat.Dense
	if err := c.SolveTo(&vx, x); err != nil {
		t.Fatal(err)
	}
	info.Mul(x.T(), &vx)
	sym := mat.NewSymDense(p, nil)
	for a := range p {
		for b := range a + 1 {
			sym.SetSym(a, b, info.At(a, b))
		}
	}
	if !ci.Factorize(sym) {
		t.Fatal("not positive definite")
	}
	var score, beta, r, vr, xb mat.VecDense
	score.MulVec(vx.T(), y)
	if err := ci.SolveVecTo(&beta, &score); err != nil {
		t.Fatal(err)
	}
	xb.MulVec(x, &beta)
	r.SubVec(y, &xb)
	if err := c.SolveVecTo(&vr, &r); err != nil {
		t.Fatal(err)
	}
	f.l = -(float64(n-p)*math.Log(2*math.Pi) + c.LogDet() + ci.LogDet() + mat.Dot(&r, &vr)) / 2
	var inv mat.SymDense
	if err := ci.InverseTo(&inv); err != nil {
		t.Fatal(err)
	}
	for a := range p {
		f.beta, f.se = append(f.beta, beta.AtVec(a)), append(f.se, math.Sqrt(inv.At(a, a)))
	}
	// An area's level is aᵀβ + u: its variance is τ²K − cᵀV⁻¹c + (a − XᵀV⁻¹c)ᵀ(XᵀV⁻¹X)⁻¹(…).
	for j := range d.areas {
		cov := mat.NewVecDense(n, nil)
		at := mat.NewVecDense(p, nil)
		at.SetVec(0, 1)
		count := 0.0
		for i := range homes {
			cov.SetVec(i, tau*tau*k.At(j, area[i]))
			if area[i] == j {
				count++
			}
		}
		for q := 1; q < p; q++ {
			mean := d.centre[q] // an area without homes is described for the average
			if count > 0 {
				mean = 0
				for i, h := range homes {
					if area[i] == j {
						mean += h.Covariates[q-1] / count
					}
				}
			}
			at.SetVec(q, mean)
		}
		var vc, b, ib mat.VecDense
		if err := c.SolveVecTo(&vc, cov); err != nil {
			t.Fatal(err)
		}
		f.u = append(f.u, mat.Dot(&vc, &r))
		b.MulVec(x.T(), &vc)
		b.SubVec(at, &b)
		if err := ci.SolveVecTo(&ib, &b); err != nil {
			t.Fatal(err)
		}
		f.variance = append(f.variance, tau*tau*k.At(j, j)-mat.Dot(cov, &vc)+mat.Dot(&b, &ib))
	}
	return f
}

func estimates(r PosteriorResult) (all []analysis.Estimate) {
	all = append(all, r.SDArea, r.SDHome, r.Community.GM, r.Community.GSD, r.Community.AM)
	if r.Smoothness != nil {
		all = append(all, *r.Smoothness)
	}
	above := func(a []AboveLevel) {
		for _, l := range a {
			all = append(all, l.Share)
			if l.Homes != nil {
				all = append(all, *l.Homes)
			}
		}
	}
	above(r.Community.Above)
	for _, a := range r.Areas {
		all = append(all, a.GM, a.AM, a.Rank)
		above(a.Above)
	}
	return all
}

func TestProperties(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 3))
	c := community{areas: 12, homes: 6, sigma: 0.8, tau: 0.4, floor: -0.5, errors: 0.4, censored: 0.15}
	homes := c.draw(rng)
	homes[3].Lower, homes[3].Upper, homes[3].Below = 3, 4, false
	areas := chain(rng, 12)
	for j := range areas {
		areas[j].Population = 100 * float64(j+1)
	}
	opt := PosteriorOptions{Options: Options{Covariates: []string{"floor"}, Areas: areas}, Levels: []float64{100, 200}, Exceeds: []float64{0.1}, Draws: 500}
	one, err := Posterior(homes, opt)
	if err != nil {
		t.Fatal(err)
	}
	fit, err := Fit(homes, opt.Options)
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range estimates(one) {
		if err := e.Check(); err != nil {
			t.Error(err)
		}
	}
	text := func(v any) string { return fmt.Sprintf("%+v", v) }
	print := func(r PosteriorResult) string {
		s := fmt.Sprintln(r.Fixed, r.LogLik, r.Areas, len(r.Areas))
		for _, e := range estimates(r) {
			s += text(e)
		}
		return s
	}
	// Neither order of rows, of areas, nor the number of processors changes a digit.
	shuffled := slices.Clone(homes)
	rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	other := opt
	other.Areas = slices.Clone(areas)
	slices.Reverse(other.Areas)
	before := runtime.GOMAXPROCS(1)
	two, err := Posterior(shuffled, other)
	fit2, err2 := Fit(shuffled, other.Options)
	runtime.GOMAXPROCS(before)
	if err != nil || err2 != nil {
		t.Fatal(err, err2)
	}
	ones := estimates(one)
	for j := range one.Areas { // pointers differ
		for l := range one.Areas[j].Above {
			a, b := &one.Areas[j].Above[l], &two.Areas[j].Above[l]
			if text(*a.Homes) != text(*b.Homes) {
				t.Errorf("homes %v, shuffled %v", *a.Homes, *b.Homes)
			}
			a.Homes, b.Homes = nil, nil
		}
	}
	if print(one) != print(two) {
		t.Error("shuffled rows on one processor give another posterior")
	}
	if text(fit) != text(fit2) {
		t.Errorf("shuffled rows on one processor give another fit:\n%+v\n%+v", fit, fit2)
	}

	// ×37: what is in Bq/m³ is 37 times as much, and nothing else moves.
	big := slices.Clone(homes)
	for i := range big {
		big[i].Log += math.Log(37)
		if big[i].Lower < big[i].Upper {
			big[i].Lower += math.Log(37)
			big[i].Upper += math.Log(37)
		}
	}
	scaled := opt
	scaled.Levels = []float64{3700, 7400}
	two, err = Posterior(big, scaled)
	if err != nil {
		t.Fatal(err)
	}
	twos := estimates(two)
	for i, e := range ones {
		k := 1.0
		if e.Unit == becquerel {
			k = 37
		}
		if e.Unit == "homes" {
			continue
		}
		if e.Quantity[:5] != "rank " {
			near(t, "×37, "+e.Quantity, twos[i].Value, k*e.Value, 1e-5)
			near(t, "×37, lower of "+e.Quantity, twos[i].Lower, k*e.Lower, 1e-4)
		}
	}

	// A covariate in other units says the same.
	metric := slices.Clone(homes)
	for i := range metric {
		metric[i].Covariates = []float64{5 - 2.5*homes[i].Covariates[0]}
	}
	fit2, err = Fit(metric, opt.Options)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "slope in other units", fit2.Fixed[1].Value, fit.Fixed[1].Value/-2.5, 1e-6)
	near(t, "intercept in other units", fit2.Fixed[0].Value, fit.Fixed[0].Value-fit2.Fixed[1].Value*5, 1e-6)
	near(t, "geometric mean in other units", fit2.Areas[4].GM.Upper, fit.Areas[4].GM.Upper, 1e-5)
	near(t, "height in other units", fit2.LogLik+math.Log(2.5), fit.LogLik, 1e-8)

	// More confidence is wider.
	wider := opt
	wider.Confidence = 0.99
	two, err = Posterior(homes, wider)
	if err != nil {
		t.Fatal(err)
	}
	for i, e := range estimates(two) {
		if e.Unit == "homes" {
			continue
		}
		if e.Lower > ones[i].Lower || e.Upper < ones[i].Upper || e.Quantity[:4] == "geom" && e.Upper <= ones[i].Upper {
			t.Errorf("at 99 %% %+v, at 95 %% %+v", e, ones[i])
		}
	}

	// Bounds that meet are an exact value; errors alike are one with the spread.
	same := slices.Clone(homes)
	for i := range same {
		if !same[i].Below && same[i].Lower == same[i].Upper {
			same[i].Lower, same[i].Upper = same[i].Log-1e-8, same[i].Log+1e-8
		}
	}
	fit2, err = Fit(same, opt.Options)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "between homes, by narrow bounds", fit2.SDHome.Value, fit.SDHome.Value, 1e-6)
	c = community{areas: 12, homes: 6, sigma: 0.8, tau: 0.4}
	plainHomes := c.draw(rng)
	fit, err = Fit(plainHomes, Options{})
	if err != nil {
		t.Fatal(err)
	}
	for i := range plainHomes {
		plainHomes[i].SE = 0.3
	}
	fit2, err = Fit(plainHomes, Options{})
	if err != nil {
		t.Fatal(err)
	}
	near(t, "errors all alike", math.Hypot(fit2.SDHome.Value, 0.3), fit.SDHome.Value, 1e-6)
	near(t, "between areas then", fit2.SDArea.Value, fit.SDArea.Value, 1e-6)

	// An observation in Bq/m³ is the home it should be.
	for _, c := range []struct {
		o    lognormal.Observation
		want Home
	}{
		{lognormal.Observation{Lower: math.E, Upper: math.E, Error: 0.2}, Home{Area: "a", Log: 1, SE: 0.2}},
		{lognormal.Below(math.E), Home{Area: "a", Log: 1, Below: true}},
		{lognormal.Between(1, math.E), Home{Area: "a", Lower: 0, Upper: 1}},
	} {
		if got := FromObservation("a", c.o); text(got) != text(c.want) {
			t.Errorf("%+v is %+v", c.o, got)
		}
	}
}

// Half the grid's step changes nothing by 0.005 of a posterior standard deviation.
func TestStep(t *testing.T) {
	rng := rand.New(rand.NewPCG(4, 4))
	for i, c := range []community{
		{areas: 3, homes: 4, sigma: 0.8, tau: 0.4}, {areas: 12, homes: 5, sigma: 0.8, tau: 0.4, errors: 0.4},
		{areas: 20, homes: 3, sigma: 0.6, tau: 0.02}, {areas: 10, homes: 6, sigma: 0.3, tau: 0.5, errors: 0.8}, {areas: 10, homes: 6, sigma: 0.8, tau: 0.5, errors: 0.3, censored: 0.4},
	} {
		homes := c.draw(rng)
		opt := PosteriorOptions{Levels: []float64{100}, Draws: 100}
		a, err := Posterior(homes, opt)
		if err != nil {
			t.Fatal(err)
		}
		opt.step = 0.25
		b, err := Posterior(homes, opt)
		if err != nil {
			t.Fatal(err)
		}
		compare := func(what string, x, y, sd float64) {
			if math.Abs(x-y) > 0.005*sd {
				t.Errorf("community %d: %s is %v, and %v with half the step: %.4f standard deviations", i, what, x, y, math.Abs(x-y)/sd)
			}
		}
		whole := func(what string, x, y analysis.Estimate, scale func(float64) float64) {
			sd := (scale(x.Upper) - scale(x.Lower)) / 3.92
			compare(what, scale(x.Value), scale(y.Value), sd)
			compare(what+", lower", scale(x.Lower), scale(y.Lower), sd)
			compare(what+", upper", scale(x.Upper), scale(y.Upper), sd)
		}
		same := func(x float64) float64 { return x }
		whole("between homes", a.SDHome, b.SDHome, same)
		whole("between areas", a.SDArea, b.SDArea, same)
		compare("intercept", a.Fixed[0].Value, b.Fixed[0].Value, a.Fixed[0].SE)
		compare("intercept's error", a.Fixed[0].SE, b.Fixed[0].SE, a.Fixed[0].SE)
		for j := range a.Areas {
			whole("geometric mean", a.Areas[j].GM, b.Areas[j].GM, math.Log)
			whole("arithmetic mean", a.Areas[j].AM, b.Areas[j].AM, math.Log)
			whole("share", a.Areas[j].Above[0].Share, b.Areas[j].Above[0].Share, same)
		}
		if b.GridPoints < 3*a.GridPoints || a.GridPoints > 1500 {
			t.Errorf("community %d: %d points, %d with half the step", i, a.GridPoints, b.GridPoints)
		}
	}
}
