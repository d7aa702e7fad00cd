package survey

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/integrate/quad"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// PosteriorOptions of Posterior. The zero value is the documented default.
type PosteriorOptions struct {
	Options
	Levels  []float64 // Bq/m³, to give shares above
	Exceeds []float64 // shares, such as 0.1: the probability that an area's share is larger
	PriorSD float64   // of the half-normal priors on both spreads; 0: 1, which is a GSD of e
	Spatial bool      // areas resemble their Neighbours
	Shared  *Shared   // what homes' errors have in common, taken out of them by Share; nil: nothing
	Draws   int       // for the community and for ranks; 0: 4000
	Seed    uint64
	weigh   func(homes int) float64 // of the community's areas, without dwellings; nil: as many homes as they count
	step    float64                 // between grid points, in units of a posterior standard deviation; 0: 0.5
}

// PosteriorResult is what Posterior finds. Intervals are credible, and values are medians:
// what tests share moves all homes of a community, and a mean of its share over that would
// lie too high.
type PosteriorResult struct {
	Confidence, PriorSD   float64
	Homes, Below, Between int
	Fixed                 []Term // posterior mean and standard deviation
	SDArea, SDHome        analysis.Estimate
	Smoothness            *analysis.Estimate // 0: areas do not resemble their neighbours, 1: as much as can be; with Spatial
	Community             Community
	Areas                 []AreaLevel // in order of name
	GridPoints, Draws     int
	Seed                  uint64
	LogLik                float64 // at the top of the grid, restricted
	Notes                 []analysis.Note
}

// Community is the distribution over all areas' homes together: over homes as they
// were measured, or over dwellings where areas' populations are given.
type Community struct {
	Homes       int
	Population  float64 // 0: not given
	GM, GSD, AM analysis.Estimate
	Above       []AboveLevel
}

// AboveLevel is the share of homes above a level, and of how many that is.
type AboveLevel struct {
	Level   float64
	Share   analysis.Estimate
	Homes   *analysis.Estimate // dwellings above the level; nil without a population
	Exceeds []Exceeds          // of areas only
}

// Exceeds is the probability that an area's share of homes above a level is more
// than Share.
type Exceeds struct{ Share, Probability float64 }

// AreaLevel is what the posterior says of one area.
type AreaLevel struct {
	Area       string
	Homes      int
	Population float64
	Effect     float64 // posterior mean of how far it lies off what covariates say, on the logarithm
	MeanLog    float64 // posterior mean and standard deviation of the logarithm's mean
	SDMeanLog  float64
	GM, AM     analysis.Estimate
	Above      []AboveLevel
	Rank       analysis.Estimate // by GM; 1 is the highest
	Notes      []analysis.Note
}

// gridPoint is a place in the posterior of the spreads.
type gridPoint struct {
	at     [3]int // steps along σ, τ and, with Spatial, the smoothness
	point  point
	l      float64 // log density in the grid's coordinates
	weight float64
}

// grid is the posterior of the spreads. σ = unit·sinh(i·h) and likewise τ: the density
// depends on their squares, so as a function of i·h it runs on smoothly and mirrored
// below zero, and sums over even steps, with half the weight at zero itself, are as
// good as integrals (trapezoidal rule for analytic functions: Trefethen and Weideman
// 2014, SIAM Rev. 56:385, from memory).
type grid struct {
	d      *design
	hill   *hill
	prior  float64
	hs, ht float64
	smooth []smoothness // one, without effect, if not spatial
	points []gridPoint
	sums   map[int]*sums
}

const (
	deepest  = 16    // log density below the top at which the grid ends
	tooMany  = 30000 // points
	defaults = 4000  // draws
)

// logPrior is that of both spreads with the coordinates' own density.
func (g *grid) logPrior(sx, tx float64) float64 {
	l := 0.0
	if g.d.given == nil {
		s := g.hill.sigma(sx) / g.prior
		l += -s*s/2 + math.Log(math.Cosh(sx))
	}
	t := g.hill.tau(tx) / g.prior
	return l - t*t/2 + math.Log(math.Cosh(tx))
}

func (o *PosteriorOptions) check() error {
	if o.PriorSD == 0 {
		o.PriorSD = 1
	}
	if !(o.PriorSD > 0 && o.PriorSD <= 1000) {
		return fmt.Errorf("a prior standard deviation of %v; it is one of logarithms, such as 1", o.PriorSD)
	}
	if o.Draws == 0 {
		o.Draws = defaults
	}
	if o.Draws < 100 || o.Draws > 1e6 {
		return fmt.Errorf("%d draws; from 100 to a million", o.Draws)
	}
	if o.step == 0 {
		o.step = 0.5
	}
	if s := o.Shared; s != nil {
		for name, v := range s.Areas {
			if !(v >= 0 && v <= mostSE*mostSE) {
				return fmt.Errorf("area %q: homes' errors share a variance of %v; it is one of logarithms, such as 0.01", name, v)
			}
		}
		if !(s.All >= 0 && s.All <= mostSE*mostSE) {
			return fmt.Errorf("homes' errors share a variance of %v; it is one of logarithms, such as 0.01", s.All)
		}
	}
	for _, l := range o.Levels {
		if !(l > 0) || math.IsInf(l, 0) {
			return fmt.Errorf("a level of %v Bq/m³; it is a positive number, such as 200", l)
		}
	}
	for _, x := range o.Exceeds {
		if !(x > 0 && x < 1) {
			return fmt.Errorf("a share of %v; it lies between 0 and 1, such as 0.1", x)
		}
	}
	if o.Likelihood != "" && o.Likelihood != restricted {
		return fmt.Errorf("a likelihood %q; the posterior has %q alone", o.Likelihood, restricted)
	}
	return nil
}

// newGrid finds the top of the posterior of the spreads, how far to step, and walks
// outwards from the top until nothing is left.
func newGrid(d *design, opt PosteriorOptions) (*grid, error) {
	g := &grid{d: d, prior: opt.PriorSD, sums: map[int]*sums{}, smooth: []smoothness{{}}}
	if opt.Spatial {
		var err error
		if g.smooth, err = d.net.smoothnesses(); err != nil {
			return nil, err
		}
	}
	middle := &g.smooth[len(g.smooth)/2]
	g.hill = &hill{d: d, unit: d.scales(), start: make([]float64, d.p)}
	g.hill.at = func(s *sums, tau float64, start []float64) point { return d.atPrior(s, tau, middle, start) }
	// The top of the likelihood with the prior, not very precisely.
	g.hill.value = func(x point) float64 {
		return x.value(restricted) + g.logPrior(g.back(x.sigma, g.hill.unit.home), g.back(x.tau, g.hill.unit.area))
	}
	sx, tx, top := g.hill.top()
	x := d.atPrior(d.sums(g.hill.sigma(sx)), g.hill.tau(tx), middle, g.hill.start)
	if err := d.lost(x, g.hill.sigma(sx)); err != nil {
		return nil, err
	}
	steps := func(f func(float64) float64, x float64) float64 {
		up := width(f, x, top, 2, 0.02, 8)
		down := up
		if x > 0 {
			down = width(func(y float64) float64 { return f(x - (y - x)) }, x, top, 2, 0.02, 8)
		}
		return opt.step * min(up, down) / 2
	}
	g.hs, g.ht = 1, steps(func(x float64) float64 { return g.hill.f(sx, x) }, tx)
	if d.given == nil {
		g.hs = steps(func(x float64) float64 { return g.hill.f(x, tx) }, sx)
	}
	return g, g.walk(sx, tx, x.beta)
}

// back is the coordinate of a spread.
func (g *grid) back(x, unit float64) float64 { return math.Asinh(x / unit) }

// walk takes in neighbours of points that count until there are none.
func (g *grid) walk(sx, tx float64, start []float64) error {
	seen := map[[3]int]bool{}
	var front [][3]int
	var from [][]float64           // where the fixed effects of each start: in line with those of the points next to it
	best := map[[3]int][]float64{} // fixed effects found
	add := func(at [3]int, start []float64) {
		if at[0] < 0 || at[1] < 0 || at[2] < 0 || at[2] >= len(g.smooth) || seen[at] {
			return
		}
		seen[at] = true
		front, from = append(front, at), append(from, start)
	}
	first := [3]int{0, int(math.Round(tx / g.ht)), len(g.smooth) / 2}
	if g.d.given == nil {
		first[0] = int(math.Round(sx / g.hs))
	}
	add(first, start)
	top := math.Inf(-1)
	for len(front) > 0 {
		now, starts := front, from
		front, from = nil, nil
		var missing []int
		for _, at := range now {
			if _, ok := g.sums[at[0]]; !ok && !slices.Contains(missing, at[0]) {
				missing = append(missing, at[0])
			}
		}
		found := make([]*sums, len(missing))
		numeric.Each(len(missing), func(i int) { found[i] = g.d.sums(g.hill.sigma(float64(missing[i]) * g.hs)) })
		for i, at := range missing {
			g.sums[at] = found[i]
		}
		points := make([]gridPoint, len(now))
		numeric.Each(len(now), func(i int) {
			at := now[i]
			sx, tx := float64(at[0])*g.hs, float64(at[1])*g.ht
			p := gridPoint{at: at, l: math.Inf(-1)}
			p.point = g.d.atPrior(g.sums[at[0]], g.hill.tau(tx), &g.smooth[at[2]], starts[i])
			if v := p.point.value(restricted); !math.IsNaN(v) && p.point.l > math.Inf(-1) {
				p.l = v + g.logPrior(sx, tx) + g.smooth[at[2]].logWeight
			}
			points[i] = p
		})
		for _, p := range points {
			top = max(top, p.l)
		}
		for _, p := range points {
			if p.l < top-deepest || math.IsInf(p.l, -1) {
				continue
			}
			g.points = append(g.points, p)
			best[p.at] = p.point.beta
			for k := range 3 {
				for _, by := range []int{-1, 1} {
					if k == 0 && g.d.given != nil {
						continue
					}
					at, behind := p.at, p.at
					at[k] += by
					behind[k] -= by
					start := slices.Clone(p.point.beta)
					for i, b := range best[behind] {
						start[i] += start[i] - b
					}
					add(at, start)
				}
			}
		}
		if len(g.points) > tooMany {
			return fmt.Errorf("the spreads are known too badly for a grid of %d points; give larger areas or fewer covariates", tooMany)
		}
	}
	g.points = slices.DeleteFunc(g.points, func(p gridPoint) bool { return p.l < top-deepest })
	if len(g.points) == 0 {
		return fmt.Errorf("the posterior has no top in these data; leave covariates out, or state standard errors for all homes")
	}
	slices.SortFunc(g.points, func(a, b gridPoint) int { return slices.Compare(a.at[:], b.at[:]) })
	total := 0.0
	for i := range g.points {
		p := &g.points[i]
		p.weight = math.Exp(p.l - top)
		for k := range 2 {
			if p.at[k] == 0 && !(k == 0 && g.d.given != nil) {
				p.weight /= 2
			}
		}
		total += p.weight
	}
	for i := range g.points {
		g.points[i].weight /= total
	}
	return nil
}

// marginal is the posterior of one spread: mean, and quantiles by interpolating the
// logarithm of its density between grid points and summing finely.
func (g *grid) marginal(axis int, h float64, value func(x float64) float64, ps ...float64) (quantiles []float64) {
	least, most := math.MaxInt, 0
	at := map[int]float64{}
	for _, p := range g.points {
		i := p.at[axis]
		w := p.weight
		if i == 0 {
			w *= 2 // the density there, not the half that counts
		}
		at[i] += w
		least, most = min(least, i), max(most, i)
	}
	logs := func(i int) float64 {
		if i < 0 {
			i = -i // mirrored
		}
		if w := at[i]; w > 0 {
			return math.Log(w)
		}
		return math.Inf(-1)
	}
	const fine = 40
	var x, cdf []float64
	sum := 0.0
	density := func(i, k int) float64 {
		f := float64(k) / fine
		a, b, c, e := logs(i-1), logs(i), logs(i+1), logs(i+2)
		var l float64
		switch {
		case math.IsInf(b, -1) || math.IsInf(c, -1):
			return 0
		case math.IsInf(a, -1) || math.IsInf(e, -1):
			l = b + f*(c-b)
		default: // the cubic through four
			l = -f*(f-1)*(f-2)/6*a + (f+1)*(f-1)*(f-2)/2*b - (f+1)*f*(f-2)/2*c + (f+1)*f*(f-1)/6*e
		}
		return math.Exp(l)
	}
	if least == most {
		for range ps {
			quantiles = append(quantiles, value(float64(least)*h))
		}
		return quantiles
	}
	last := 0.0
	for i := least; i < most; i++ {
		for k := range fine {
			now := density(i, k)
			if len(x) > 0 {
				sum += (last + now) / 2
			}
			last = now
			x, cdf = append(x, (float64(i)+float64(k)/fine)*h), append(cdf, sum)
		}
	}
	for _, p := range ps {
		k, _ := slices.BinarySearch(cdf, p*sum)
		k = max(min(k, len(x)-1), 1)
		f := 0.0
		if cdf[k] > cdf[k-1] {
			f = min(max((p*sum-cdf[k-1])/(cdf[k]-cdf[k-1]), 0), 1)
		}
		quantiles = append(quantiles, value(x[k-1]+f*(x[k]-x[k-1])))
	}
	return quantiles
}

// fixed is the posterior of the fixed effects, in the units that came in: a mixture
// of normals, of which mean and standard deviation are given.
func (g *grid) fixed(shared float64) []Term {
	all := make([]Term, g.d.p)
	second := make([]float64, g.d.p)
	var base []float64
	for _, p := range g.points {
		terms := g.d.natural(p.point.beta, p.point.cov)
		if base == nil {
			for _, t := range terms {
				base = append(base, t.Value)
			}
		}
		for k, t := range terms {
			all[k].Term = t.Term
			e := t.Value - base[k]
			all[k].Value += p.weight * e
			second[k] += p.weight * (e*e + t.SE*t.SE)
		}
	}
	for k := range all {
		if k == 0 {
			second[k] += shared // moves all homes alike, and so the intercept
		}
		all[k].SE = math.Sqrt(max(second[k]-all[k].Value*all[k].Value, 0))
		all[k].Value += base[k]
	}
	return all
}

// smoothness is how much areas resemble their neighbours.
type smoothness struct {
	rho       float64
	logWeight float64
	net       *network
	band      []float64 // prior precision, relative to 1/τ²
	logDet    float64
}

// legendre are nodes and weights on 0 to 1.
func legendre(n int) (x, w []float64) {
	x, w = make([]float64, n), make([]float64, n)
	quad.Legendre{}.FixedLocations(x, w, 0, 1)
	return x, w
}

// Posterior estimates, for each area and for the community, the geometric mean and
// the arithmetic mean, Bq/m³, the share of homes above each level, and where the
// area ranks, with what is not known of the spreads averaged over.
//
// Formula. The model of Fit, y = xᵀβ + u + e + m, with half-normal priors on σ and τ and
// a flat one on β. The posterior is summed over a grid of (σ, τ), each point weighted by
// its restricted likelihood and prior; at each point β and u are normal, exactly where
// all homes are known exactly, and else with the moments, the third included, that
// summing over each area's u gives it and the curvature gives β. So an area's mean
// logarithm μ is a mixture of normals, and its geometric mean e^μ, its arithmetic mean
// e^(μ+s²/2), and its share Φ((μ − ln L)/s) have their distributions from it without
// chance. Areas' homes do not spread quite alike: before an area's are looked at,
// ln(s/σ) is normal about −δ² with the standard deviation δ = 0.1, and three steps of
// Fisher's scoring take in how far they lie from its level; where one area alone has
// homes, s is σ. That covariates differ among an area's homes adds to s², as much as
// they do and as far as that is known. With Spatial, u has the precision of Leroux,
// c((1−ρ)I + ρ(D − W))/τ², c making the variances' geometric mean τ² for every ρ, and ρ
// even between 0 and 1. Ranks and the community's mixture of areas are from draws of the
// joint posterior. What homes' errors have in common (Shared) shifts all areas' μ alike,
// by a normal number of that variance, and an area whose homes have more in common by
// the rest of it, as far as its own homes count.
//
// Assumes log-normal homes within areas, spread nearly alike in all, log-normal area
// levels, errors and limits that do not depend on the value, and homes chosen without
// regard to their radon: volunteers are not.
//
// Interval: credible: of communities whose spreads are drawn from their priors, those
// asked for at 90 % hold 88 to 91, of 1600 communities and more. Of one pair of spreads,
// 0.8 between homes and 0.4 between areas, homes spread alike in all areas, those of
// areas hold 89 to 92 % with 12 areas of 25 homes, with 6 of 60 or of 250, 87 to 91 with
// 20 of 5, with 5 of 10 or with one of 300, 85 to 88 with 40 of 2, and 95 to 96 where
// areas are nearly alike; where the logarithm of homes' spread differs by 0.1 between
// areas 88 to 91, and by 0.3, which is far more than is taken for granted, means hold 83
// to 87 and shares 78 to 84; TestCoverage holds that. Of homes that are not the model, a
// mass balance, means of 12 areas of 25 homes hold 88 to 89 where tests are of any
// season and 89 to 94 where all are of one winter, and the share above 200 Bq/m³, asked
// for at 95 %, 93 to 99; at any season that share comes out 0.004 to 0.008 too low, and
// in one winter 0.014 too high by the built-in profile, 0.018 by one learned the winter
// before, and 0.004 by one that knows that winter, where the raw one is 0.066 too high.
// With five areas or fewer they lean on the prior.
//
// Notes: one-area, areas-explained, few-areas, mostly-censored, no-homes, all-below.
//
// Source: Gelman 2006, Bayesian Anal. 1:515, for the priors; Rue, Martino and Chopin
// 2009, J. R. Stat. Soc. B 71:319, for the grid; Leroux, Lei and Breslow 2000, in
// Statistical Models in Epidemiology, 179, and Riebler et al. 2016, Stat. Methods Med.
// Res. 25:1145, for neighbours and their scale; Price, Nero and Gelman 1996, Health
// Phys. 71:922, for radon in small areas (all from memory).
func Posterior(homes []Home, opt PosteriorOptions) (PosteriorResult, error) {
	if err := opt.check(); err != nil {
		return PosteriorResult{}, err
	}
	d, err := newDesign(homes, &opt.Options)
	if err != nil {
		return PosteriorResult{}, err
	}
	if opt.Spatial {
		if d.net, err = newNetwork(d, opt.Areas); err != nil {
			return PosteriorResult{}, err
		}
	}
	g, err := newGrid(d, opt)
	if err != nil {
		return PosteriorResult{}, err
	}
	r := PosteriorResult{Confidence: opt.Confidence, PriorSD: opt.PriorSD, Homes: d.homes, Below: d.below, Between: d.between,
		Fixed: g.fixed(opt.Shared.all()), GridPoints: len(g.points), Draws: opt.Draws, Seed: opt.Seed, LogLik: math.Inf(-1)}
	for _, p := range g.points {
		r.LogLik = max(r.LogLik, p.point.value(restricted))
	}
	tail := (1 - opt.Confidence) / 2
	estimate := func(quantity string, q []float64) analysis.Estimate {
		return analysis.Estimate{Quantity: quantity, Value: q[1], Lower: q[0], Upper: q[2], Confidence: opt.Confidence,
			Kind: analysis.CredibleInterval, N: d.homes, Method: AreaPosterior}
	}
	r.SDHome = estimate("standard deviation between homes", g.marginal(0, g.hs, g.hill.sigma, tail, 0.5, 1-tail))
	r.SDArea = estimate("standard deviation between areas", g.marginal(1, g.ht, g.hill.tau, tail, 0.5, 1-tail))
	r.SDArea.N = d.measured
	if opt.Spatial {
		e := estimate("smoothness between neighbours", g.rho(tail))
		r.Smoothness = &e
	}
	if d.between0 <= 0 {
		if d.measured == 1 {
			r.Notes = append(r.Notes, note("one-area", "there is one area with homes, so nothing is known of the spread between areas but its prior; what is said of areas without homes rests on that"))
		} else {
			r.Notes = append(r.Notes, note("areas-explained", "covariates tell each of %d areas from the others, so nothing is known of the spread that is left between them but its prior: give fewer covariates of areas", d.measured))
		}
	} else if d.between0 < 5 {
		r.Notes = append(r.Notes, note("few-areas", "%d areas say little of the spread between areas, so its prior, half-normal with a standard deviation of %g in logs, counts: more areas tell more", d.measured, opt.PriorSD))
	}
	r.Notes = append(r.Notes, d.censoredNote()...)
	if err := g.areas(&r, opt); err != nil {
		return PosteriorResult{}, err
	}
	return r, nil
}
