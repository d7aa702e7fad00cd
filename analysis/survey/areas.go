package survey

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/lognormal"
)

// mixture is a quantity t whose distribution is Σ wₖ Φ((cₖ + dₖ t − mₖ)/sₖ), dₖ > 0:
// of an area's level, mean, and score of its share, each in a line of its own. bend,
// where it is not nil, makes the k-th of them lean: see lean.
type mixture struct{ w, m, s, c, d, bend []float64 }

// lean is the number with mean 0 and variance 1 that leans as far as bend says, of a
// standard normal one: (z + b(z² − 1))/√(1 + 2b²), with b a sixth of the skewness.
// What homes below their limits say of an area falls off steeply on one side.
//
// Source: Cornish and Fisher 1938, Rev. Inst. Int. Stat. 5:307 (from memory).
func lean(z, b float64) float64 {
	return (z + b*(z*z-1)) / math.Sqrt(1+2*b*b)
}

// straight is the z that lean takes to x, and dz/dx.
func straight(x, b float64) (z, slope float64) {
	if math.Abs(b) < 1e-6 {
		return x, 1
	}
	k := math.Sqrt(1 + 2*b*b)
	root := 1 + 4*b*(b+x*k)
	if root < 1e-4 { // beyond what lean reaches: its end, and on from there in a line
		root = 1e-4
		edge := (root - 1 - 4*b*b) / (4 * b * k)
		z, slope = (math.Sqrt(root)-1)/(2*b), k/math.Sqrt(root)
		return z + (x-edge)*slope, slope
	}
	root = math.Sqrt(root)
	return (root - 1) / (2 * b), k / root
}

// bendOf is lean's bend of a quantity with this third central moment and spread.
func bendOf(third, sd float64) float64 {
	if !(sd > 0) {
		return 0
	}
	return max(min(third/(sd*sd*sd)/6, 0.25), -0.25)
}

// below is the probability that the quantity is at most t, and its density.
func (x mixture) below(t float64) (p, density float64) {
	for k, w := range x.w {
		z := x.c[k] + x.d[k]*t - x.m[k]
		if x.s[k] == 0 {
			if z >= 0 {
				p += w
			}
			continue
		}
		z /= x.s[k]
		slope := 1.0
		if x.bend != nil {
			z, slope = straight(z, x.bend[k])
		}
		p += w * numeric.Phi(z)
		density += w * slope * x.d[k] / x.s[k] * math.Exp(-z*z/2-halfLog2Pi)
	}
	return p, density
}

// quantile is where below is p, by Newton's steps kept between what is known to lie
// on either side.
func (x mixture) quantile(p, mean, sd float64) float64 {
	lo, hi := math.Inf(-1), math.Inf(1)
	t := mean + sd*numeric.NormalQuantile(p)
	for range 100 {
		f, density := x.below(t)
		f -= p
		if f > 0 {
			hi = t
		} else {
			lo = t
		}
		if math.Abs(f) < 1e-10 {
			return t
		}
		next := t - f/density
		if far := 3 * sd; !(math.Abs(next-t) < far) {
			next = t - math.Copysign(far, f)
		}
		if !(next > lo && next < hi) {
			next = (lo + hi) / 2
		}
		if math.Abs(next-t) <= 1e-12*(1+math.Abs(t)) {
			return next
		}
		t = next
	}
	return t
}

// moments are mean and standard deviation of the quantity.
func (x mixture) moments() (mean, sd float64) {
	base := (x.m[0] - x.c[0]) / x.d[0]
	var second float64
	for k, w := range x.w {
		e := (x.m[k]-x.c[k])/x.d[k] - base
		mean += w * e
		second += w * (e*e + x.s[k]*x.s[k]/(x.d[k]*x.d[k]))
	}
	return base + mean, math.Sqrt(max(second-mean*mean, 0))
}

// profile is what each grid point says of the areas: mean and standard deviation of
// an area's mean logarithm, the spreads its homes may have about that, the variance of what its
// own homes share beyond what all do (nil: none), and what is known of the areas' effects.
type profile struct {
	m, s, extra [][]float64
	within      [][][]possible
	own         [][]ownSpread
	effects     []conditional
}

// possible is one of the standard deviations that an area's homes may have, and its
// probability.
type possible struct{ sd, p float64 }

// spreadDiffers is the standard deviation of the logarithm of σ from area to area, before
// anything is known of an area's own. In Minnesota's counties it is 0.03, and may be
// anything from 0 to 0.35 (the reference case of that name). In districts 500 to 513 of the
// mass balance, which are not those of the table, means asked for at 90 % held 85 without it
// and 88 with it (measured once).
const spreadDiffers = 0.1

// ownSpread is what is known of ln(s/σ), s an area's own spread: normal, with this mean
// and standard deviation.
type ownSpread struct{ mean, sd float64 }

// at is s² where the standard normal number is z.
func (o ownSpread) at(sigma, z float64) float64 { return sigma * sigma * math.Exp(2*(o.mean+z*o.sd)) }

// threePoints are a standard normal number as three with their probabilities, by which
// what depends on it is summed as exactly as three can (Gauss and Hermite).
var threePoints = [3]struct{ z, p float64 }{{-math.Sqrt(3), 1.0 / 6}, {0, 2.0 / 3}, {math.Sqrt(3), 1.0 / 6}}

// ownSpreads are those of all areas at a point of the grid, by what is known there of the
// areas' effects, and of their levels with this variance. Before its homes are looked at an
// area's is normal about −δ², δ being spreadDiffers, so that s² is σ² on average; three steps
// of Fisher's scoring take in how far its homes lie from its level, the level's own variance
// allowed for. Where one area alone has homes, σ is its spread.
func (d *design) ownSpreads(x point, c conditional, variance []float64) []ownSpread {
	const (
		before = spreadDiffers * spreadDiffers
		steps  = 3
		h      = 0.01
		// One home far from all others would take a step beyond what any spread can be.
		farthest = 0.5
	)
	n := len(d.areas)
	out := make([]ownSpread, n)
	if x.sigma == 0 || d.measured == 1 {
		return out
	}
	// Each cell's sum of squares about its homes' levels; the first term is the intercept.
	squares, residual := make([]float64, len(d.cells)), make([]float64, d.q)
	residual[d.p] = 1
	for i := range d.cells {
		k := &d.cells[i]
		for j, b := range x.beta {
			residual[j] = -b
		}
		residual[0] -= c.u[k.area]
		squares[i] = k.count * variance[k.area]
		at := 0
		for a := range d.q {
			squares[i] += residual[a] * residual[a] * k.zz[at]
			for b := a + 1; b < d.q; b++ {
				squares[i] += 2 * residual[a] * residual[b] * k.zz[at+b-a]
			}
			at += d.q - a
		}
	}
	for j := range out {
		out[j] = ownSpread{-before, spreadDiffers}
	}
	score, info, beta := make([]float64, n), make([]float64, n), make([]float64, d.p)
	for range steps {
		clear(score)
		clear(info)
		for i := range d.cells {
			k := &d.cells[i]
			s2 := out[k.area].at(x.sigma, 0)
			v := s2 + k.se2
			w := s2 / v
			score[k.area] += w * (squares[i]/v - k.count)
			info[k.area] += 2 * w * w * k.count
		}
		for j := range out {
			copy(beta, x.beta)
			beta[0] += c.u[j]
			for _, g := range d.rest[d.first[j]:d.first[j+1]] {
				m := dot(g.x, beta)
				at := func(off float64) float64 {
					sd := math.Sqrt(out[j].at(x.sigma, 0)*math.Exp(2*off) + g.se2)
					return math.Log(max(numeric.Phi((g.upper-m)/sd)-numeric.Phi((g.lower-m)/sd), 1e-300))
				}
				under, here, over := at(-h), at(0), at(h)
				score[j] += g.count * (over - under) / (2 * h)
				info[j] -= g.count * (over - 2*here + under) / (h * h)
			}
			v := 1 / (1/before + max(info[j], 0))
			step := v * (score[j] - (out[j].mean+before)/before)
			out[j] = ownSpread{out[j].mean + max(min(step, farthest), -farthest), math.Sqrt(v)}
		}
	}
	return out
}

// twoPoints are two numbers above 0 and their probabilities, by which what has a gamma
// distribution of this mean and variance is summed as exactly as two can (Gauss and
// Laguerre).
func twoPoints(mean, variance float64) (x, p [2]float64) {
	shape, scale := mean*mean/variance, variance/mean
	root := math.Sqrt(shape + 1)
	return [2]float64{max(scale*(shape+1-root), 0), scale * (shape + 1 + root)}, [2]float64{(root + 1) / (2 * root), (root - 1) / (2 * root)}
}

// profile is by point and area.
func (g *grid) profile(shared *Shared) profile {
	n := len(g.points)
	x := profile{make([][]float64, n), make([][]float64, n), make([][]float64, n), make([][][]possible, n), make([][]ownSpread, n), make([]conditional, n)}
	d := g.d
	numeric.Each(n, func(k int) {
		p := &g.points[k]
		c := d.effectsPrior(g.sums[p.at[0]], p.point, &g.smooth[p.at[2]])
		if shared != nil {
			x.extra[k] = make([]float64, len(d.areas))
			for j, a := range d.areas {
				own := 0.0
				if p.point.tau > 0 {
					own = max(1-c.g[j]/(p.point.tau*p.point.tau), 0)
				}
				x.extra[k][j] = shared.extra(a.name, own)
			}
		}
		j := len(d.areas)
		m, s, variance, within := make([]float64, j), make([]float64, j), make([]float64, j), make([][]possible, j)
		v := make([]float64, d.p)
		for j, a := range d.areas {
			for i := range v {
				v[i] = a.at[i] + c.du[j*d.p+i]
			}
			m[j] = d.shift + dot(a.at, p.point.beta) + c.u[j]
			variance[j] = c.g[j] + quadratic(p.point.cov, v)
			together := shared.all()
			if shared != nil {
				together += x.extra[k][j]
			}
			s[j] = math.Sqrt(variance[j] + together)
		}
		own := d.ownSpreads(p.point, c, variance)
		for j, a := range d.areas {
			within[j] = d.spreadsWithin(a, p.point, own[j])
		}
		x.m[k], x.s[k], x.within[k], x.own[k], x.effects[k] = m, s, within, own, c
	})
	return x
}

// spreadWithin is the standard deviation of an area's homes' logarithms: between
// homes alike, where its own spread is the one of z, and by what their covariates make of
// them.
func (d *design) spreadWithin(a place, sigma float64, own ownSpread, z float64, beta []float64) float64 {
	v := own.at(sigma, z)
	if a.vary != nil {
		v += spreadOf(a.vary, beta)
	}
	return math.Sqrt(v)
}

// spreadsWithin are those it may be where z is standard normal, as threePoints have it,
// and the fixed effects are normal about their best: βᵀVβ, V the covariance of the homes'
// terms, has the mean bᵀVb + tr VC and the variance 2 tr VCVC + 4 bᵀCVCVb, C that of b, as
// twoPoints have it.
func (d *design) spreadsWithin(a place, x point, own ownSpread) []possible {
	terms, likely := [2]float64{}, [2]float64{1}
	if a.vary != nil {
		terms, likely = d.ofTerms(a, x)
	}
	points := threePoints[:]
	if x.sigma == 0 || own.sd == 0 {
		points = []struct{ z, p float64 }{{0, 1}}
	}
	var out []possible
	for _, n := range points {
		for j, v := range terms {
			if likely[j] > 0 {
				out = append(out, possible{math.Sqrt(own.at(x.sigma, n.z) + v), n.p * likely[j]})
			}
		}
	}
	return out
}

// ofTerms is what the homes' terms may add to σ².
func (d *design) ofTerms(a place, x point) (v, p [2]float64) {
	n := d.p
	V, vc := make([]float64, n*n), make([]float64, n*n)
	unpack(a.vary, n, V)
	trace, square := 0.0, 0.0
	for i := range n {
		for j := range n {
			for k := range n {
				vc[i*n+j] += V[i*n+k] * x.cov[k*n+j]
			}
		}
		trace += vc[i*n+i]
	}
	vb := make([]float64, n)
	product(V, x.beta, vb)
	for i := range n {
		for j := range n {
			square += vc[i*n+j] * vc[j*n+i]
		}
	}
	mean, variance := dot(x.beta, vb)+trace, 2*square+4*quadratic(x.cov, vb)
	if !(math.Sqrt(max(variance, 0)) > 0.01*(x.sigma*x.sigma+mean)) { // nothing beside what is not known of the area
		return [2]float64{max(mean, 0)}, [2]float64{1}
	}
	return twoPoints(mean, variance)
}

// level is area j's mean logarithm as a mixture, a part a point of the grid.
func (g *grid) level(x profile, j int) (f mixture) {
	leans := g.d.first[j] < g.d.first[j+1]
	for k := range g.points {
		sd := x.s[k][j]
		f.w, f.m, f.s = append(f.w, g.points[k].weight), append(f.m, x.m[k][j]), append(f.s, sd)
		f.c, f.d = append(f.c, 0), append(f.d, 1)
		if leans {
			m3 := 0.0
			if x.effects[k].third != nil {
				m3 = x.effects[k].third[j]
			}
			f.bend = append(f.bend, bendOf(m3, sd))
		}
	}
	return f
}

// spreads parts each point's level by the spreads that area j's homes may have there.
func (x profile) spreads(j int, level mixture) (f mixture, spread []float64) {
	for k, w := range level.w {
		for _, t := range x.within[k][j] {
			f.w, f.m, f.s = append(f.w, t.p*w), append(f.m, level.m[k]), append(f.s, level.s[k])
			f.c, f.d = append(f.c, 0), append(f.d, 1)
			if level.bend != nil {
				f.bend = append(f.bend, level.bend[k])
			}
			spread = append(spread, t.sd)
		}
	}
	return f, spread
}

// areas fills in what the posterior says of areas and community.
func (g *grid) areas(r *PosteriorResult, opt PosteriorOptions) error {
	d := g.d
	x := g.profile(opt.Shared)
	tail := (1 - opt.Confidence) / 2
	r.Areas = make([]AreaLevel, len(d.areas))
	failed := make([]error, len(d.areas))
	numeric.Each(len(d.areas), func(j int) {
		a := d.areas[j]
		l := &r.Areas[j]
		*l = AreaLevel{Area: a.name, Homes: a.homes, Population: a.population}
		estimate := func(quantity, unit string) analysis.Estimate {
			return analysis.Estimate{Quantity: quantity, Unit: unit, Confidence: opt.Confidence, Kind: analysis.CredibleInterval, N: a.homes, Method: AreaPosterior}
		}
		f := g.level(x, j)
		for k, p := range g.points {
			l.Effect += p.weight * x.effects[k].u[j]
		}
		mean, sd := f.moments()
		l.MeanLog, l.SDMeanLog = mean, sd
		l.GM = estimate("geometric mean of the area", becquerel)
		l.GM.Lower, l.GM.Value, l.GM.Upper = math.Exp(f.quantile(tail, mean, sd)), math.Exp(f.quantile(0.5, mean, sd)), math.Exp(f.quantile(1-tail, mean, sd))
		f, spread := x.spreads(j, f)
		for k := range f.w {
			f.c[k] = -spread[k] * spread[k] / 2
		}
		mean, sd = f.moments()
		l.AM = estimate("arithmetic mean of the area", becquerel)
		l.AM.Lower, l.AM.Value, l.AM.Upper = math.Exp(f.quantile(tail, mean, sd)), math.Exp(f.quantile(0.5, mean, sd)), math.Exp(f.quantile(1-tail, mean, sd))
		if math.IsInf(l.AM.Upper, 1) {
			failed[j] = fmt.Errorf("area %q: its mean is too uncertain for a number in Bq/m³: give larger areas or fewer covariates", a.name)
			return
		}
		for _, level := range opt.Levels {
			above := AboveLevel{Level: level, Share: estimate(fmt.Sprintf("share above %.6g %s", level, becquerel), "")}
			for k := range f.w {
				f.c[k], f.d[k] = math.Log(level), max(spread[k], 1e-9)
			}
			mean, sd := f.moments()
			above.Share.Lower, above.Share.Value, above.Share.Upper = numeric.Phi(f.quantile(tail, mean, sd)), numeric.Phi(f.quantile(0.5, mean, sd)), numeric.Phi(f.quantile(1-tail, mean, sd))
			for _, e := range opt.Exceeds {
				p, _ := f.below(numeric.NormalQuantile(e))
				above.Exceeds = append(above.Exceeds, Exceeds{e, min(max(1-p, 0), 1)})
			}
			l.Above = append(l.Above, above)
		}
		switch {
		case a.homes == 0:
			l.Notes = append(l.Notes, note("no-homes", "no home was measured here: what is said rests on the other areas and on covariates"))
		case a.below == a.homes:
			l.Notes = append(l.Notes, note("all-below", "all %d homes lie below their limits: how far below rests on the other areas", a.homes))
		}
	})
	for _, err := range failed {
		if err != nil {
			return err
		}
	}
	return g.draw(r, x, opt)
}

// draw takes joint draws for ranks, for the community, and for numbers of dwellings.
// Points of the grid come up as often as their weight says, draws in mirrored pairs.
func (g *grid) draw(r *PosteriorResult, x profile, opt PosteriorOptions) error {
	d := g.d
	n, m := len(d.areas), opt.Draws
	weight, total := make([]float64, n), 0.0
	for j, a := range d.areas {
		weight[j] = a.population
		total += a.population
	}
	r.Community = Community{Homes: d.homes, Population: total}
	counted := total > 0
	if !counted {
		for j, a := range d.areas {
			weight[j] = a.counts
			if opt.weigh != nil && a.homes > 0 {
				weight[j] = opt.weigh(a.homes)
			}
			total += weight[j]
		}
	}
	for j := range weight {
		weight[j] /= total
	}
	// Which point each pair of draws is from.
	first := make([]int, len(g.points)+1)
	pairs := (m + 1) / 2
	sum, at := 0.0, 0
	for k, p := range g.points {
		first[k] = at
		sum += p.weight
		for at < pairs && (float64(at)+0.5)/float64(pairs) <= sum {
			at++
		}
	}
	first[len(g.points)] = pairs
	m = 2 * pairs
	levels := len(opt.Levels)
	gm, gsd, am := make([]float64, m), make([]float64, m), make([]float64, m)
	share, homes := make([][]float64, levels), make([][]float64, levels)
	areaHomes := make([][]float64, n*levels)
	for i := range share {
		share[i], homes[i] = make([]float64, m), make([]float64, m)
	}
	if counted {
		for i := range areaHomes {
			areaHomes[i] = make([]float64, m)
		}
	}
	ranks := make([]uint16, n*m)
	var logLevel []float64
	for _, l := range opt.Levels {
		logLevel = append(logLevel, math.Log(l))
	}
	numeric.Each(len(g.points), func(k int) {
		if first[k] == first[k+1] {
			return
		}
		joint := d.joint(g, k, x.effects[k])
		mu, order, spread, beta := make([]float64, n), make([]int, n), make([]float64, n), make([]float64, d.p)
		z, off := make([]float64, n+d.p), make([]float64, n)
		var shift []float64
		if opt.Shared != nil {
			shift = make([]float64, 1+n)
		}
		for pair := first[k]; pair < first[k+1]; pair++ {
			rng := rand.New(rand.NewPCG(opt.Seed, uint64(pair)))
			for i := range z {
				z[i] = rng.NormFloat64()
			}
			for i := range off {
				off[i] = rng.NormFloat64()
			}
			for i := range shift {
				shift[i] = rng.NormFloat64()
			}
			for half := range 2 {
				if half == 1 {
					for i := range z {
						z[i] = -z[i]
					}
					for i := range shift {
						shift[i] = -shift[i]
					}
					for i := range off {
						off[i] = -off[i]
					}
				}
				i := 2*pair + half
				joint.draw(z, mu)
				for i, b := range g.points[k].point.beta {
					beta[i] = b + joint.step[i]
				}
				for j, a := range d.areas {
					spread[j] = d.spreadWithin(a, g.points[k].point.sigma, x.own[k][j], off[j], beta)
				}
				if shift != nil {
					for j := range mu {
						mu[j] += math.Sqrt(opt.Shared.All)*shift[0] + math.Sqrt(x.extra[k][j])*shift[1+j]
					}
				}
				var mean, second, arithmetic numeric.Sum
				for j, v := range mu {
					s := spread[j]
					mean.Add(weight[j] * v)
					arithmetic.Add(weight[j] * math.Exp(v+s*s/2))
				}
				for j, v := range mu {
					s := spread[j]
					e := v - mean.Value()
					second.Add(weight[j] * (s*s + e*e))
				}
				gm[i], gsd[i], am[i] = mean.Value(), math.Sqrt(second.Value()), math.Log(arithmetic.Value())
				for l, log := range logLevel {
					p, count := 0.0, 0.0
					for j, v := range mu {
						above := numeric.Phi((v - log) / max(spread[j], 1e-9))
						p += weight[j] * above
						if counted {
							c := binomial(rng, d.areas[j].population, above)
							areaHomes[j*levels+l][i] = c
							count += c
						}
					}
					share[l][i], homes[l][i] = p, count
				}
				for j := range order {
					order[j] = j
				}
				slices.SortFunc(order, func(a, b int) int {
					switch {
					case mu[a] > mu[b]:
						return -1
					case mu[a] < mu[b]:
						return 1
					}
					return a - b
				})
				for rank, j := range order {
					ranks[j*m+i] = uint16(min(rank+1, math.MaxUint16))
				}
			}
		}
	})
	tail := (1 - opt.Confidence) / 2
	summary := func(quantity, unit string, v []float64, back func(float64) float64) analysis.Estimate {
		s := slices.Clone(v)
		slices.Sort(s)
		return analysis.Estimate{Quantity: quantity, Unit: unit, Lower: back(quantileOf(s, tail)), Value: back(quantileOf(s, 0.5)), Upper: back(quantileOf(s, 1-tail)),
			Confidence: opt.Confidence, Kind: analysis.CredibleInterval, N: d.homes, Method: AreaPosterior}
	}
	same := func(x float64) float64 { return x }
	r.Community.GM = summary("geometric mean of the community", becquerel, gm, math.Exp)
	r.Community.GSD = summary("geometric standard deviation of the community", "", gsd, math.Exp)
	r.Community.AM = summary("arithmetic mean of the community", becquerel, am, math.Exp)
	if math.IsInf(r.Community.AM.Upper, 1) || math.IsInf(r.Community.GSD.Upper, 1) || math.IsNaN(r.Community.AM.Upper) {
		return fmt.Errorf("the community's mean is too uncertain for a number in Bq/m³: give larger areas or fewer covariates")
	}
	for l, level := range opt.Levels {
		a := AboveLevel{Level: level, Share: summary(fmt.Sprintf("share above %.6g %s", level, becquerel), "", share[l], same)}
		if counted {
			e := summary(fmt.Sprintf("homes above %.6g %s", level, becquerel), "dwellings", homes[l], math.Round)
			a.Homes = &e
		}
		r.Community.Above = append(r.Community.Above, a)
	}
	numeric.Each(n, func(j int) {
		count := make([]int, n+1)
		for _, rank := range ranks[j*m : j*m+m] {
			count[min(int(rank), n)]++
		}
		at := func(p float64) float64 {
			sum := 0
			for rank := 1; rank <= n; rank++ {
				if sum += count[rank]; float64(sum) >= p*float64(m) {
					return float64(rank)
				}
			}
			return float64(n)
		}
		a := &r.Areas[j]
		a.Rank = analysis.Estimate{Quantity: "rank of the area", Lower: at(tail), Value: at(0.5), Upper: at(1 - tail), Confidence: opt.Confidence, Kind: analysis.CredibleInterval, N: a.Homes, Method: AreaPosterior}
		for l, level := range opt.Levels {
			if counted {
				e := summary(fmt.Sprintf("homes above %.6g %s", level, becquerel), "dwellings", areaHomes[j*levels+l], math.Round)
				e.N = a.Homes
				a.Above[l].Homes = &e
			}
		}
	})
	return nil
}

// binomial draws how many of so many dwellings are above, each with chance p. Where
// many are expected on both sides, a normal number does, rounded.
func binomial(rng *rand.Rand, population, p float64) float64 {
	n := math.Round(population)
	if p > 0.5 {
		return n - binomial(rng, population, 1-p)
	}
	if n*p > 30 {
		return min(max(math.Round(n*p+math.Sqrt(n*p*(1-p))*rng.NormFloat64()), 0), n)
	}
	// One at a time: how many fail before the next success.
	if p < 1e-12 {
		return 0
	}
	log := math.Log1p(-p)
	count, at := 0.0, 0.0
	for {
		at += math.Floor(math.Log(1-rng.Float64())/log) + 1
		if !(at <= n) {
			return count
		}
		count++
	}
}

// quantileOf is that of sorted draws, between neighbours in proportion.
func quantileOf(sorted []float64, p float64) float64 {
	x := p * float64(len(sorted)-1)
	i := int(x)
	if i+1 >= len(sorted) {
		return sorted[len(sorted)-1]
	}
	return sorted[i] + (x-float64(i))*(sorted[i+1]-sorted[i])
}

// joint is the areas' joint posterior at one grid point.
type joint struct {
	d      *design
	root   []float64 // of the fixed effects' covariances
	c      conditional
	base   []float64
	smooth *smoothness
	factor []float64 // of the areas' precision, spatial only
	tau    float64
	bend   []float64 // how far each area's effect leans; nil: none does
	step   []float64
	noise  []float64
}

func (d *design) joint(g *grid, k int, c conditional) *joint {
	p := &g.points[k]
	q := &joint{d: d, smooth: &g.smooth[p.at[2]], root: make([]float64, d.p*d.p), base: make([]float64, len(d.areas)), step: make([]float64, d.p), noise: make([]float64, len(d.areas)), tau: p.point.tau, c: c}
	cholesky(p.point.cov, q.root, d.p)
	for j, a := range d.areas {
		q.base[j] = d.shift + dot(a.at, p.point.beta) + q.c.u[j]
	}
	if q.c.third != nil {
		q.bend = make([]float64, len(d.areas))
		for j := range q.bend {
			q.bend[j] = bendOf(q.c.third[j], math.Sqrt(q.c.g[j]))
		}
	}
	if q.smooth.net != nil {
		q.factor = d.factorAt(g.sums[p.at[0]], p.point, q.smooth)
	}
	return q
}

// draw makes areas' mean logarithms of standard normal numbers.
func (q *joint) draw(z, mu []float64) {
	d := q.d
	n := len(mu)
	for a := range d.p {
		q.step[a] = dot(q.root[a*d.p:a*d.p+a+1], z[n:n+a+1])
	}
	if q.factor != nil {
		q.smooth.net.scatter(q.factor, z[:n], q.noise)
		for j := range q.noise {
			q.noise[j] *= q.tau
		}
	} else {
		for j := range q.noise {
			q.noise[j] = math.Sqrt(q.c.g[j]) * z[j]
			if q.bend != nil {
				q.noise[j] = math.Sqrt(q.c.g[j]) * lean(z[j], q.bend[j])
			}
		}
	}
	for j, a := range d.areas {
		v := q.base[j] + q.noise[j]
		for k, s := range q.step {
			v += s * (a.at[k] + q.c.du[j*d.p+k])
		}
		mu[j] = v
	}
}

// RawArea is an area's own homes, without the others: how many, their geometric mean
// and standard deviation, errors included, and the share that measured above each level.
type RawArea struct {
	Area    string
	Homes   int
	Below   int
	GM, GSD float64 // 0 where they cannot be had
	Above   []RawShare
}

// RawShare is a share by counting.
type RawShare struct {
	Level     float64
	Above     int // homes certainly above
	Undecided int // homes that a limit leaves undecided
	Share     analysis.Estimate
}

// Unpooled gives each area's own homes: geometric mean, Bq/m³, geometric standard
// deviation, and the share of homes above each level by counting, from 0 to 1.
//
// Formula. e^ȳ and e^s of the logarithms, or their maximum likelihood where some lie
// below limits or between bounds, and neither where more than 80 % lie below; share
// x/n with Wilson's limits, (x + z²/2 ± z√(x(n−x)/n + z²/4))/(n + z²). A home that
// its limit leaves undecided counts as not above in the value and in the lower limit,
// and as above in the upper.
//
// Assumes independent homes. The errors of short tests are in what is measured, so
// that shares above a high level come out too large.
//
// Interval: confidence, of the share; near what is asked for on average over shares,
// and below it for some.
//
// Notes: undecided.
//
// Source: Wilson 1927, J. Am. Stat. Assoc. 22:209 (from memory).
func Unpooled(homes []Home, levels []float64, confidence float64) ([]RawArea, error) {
	o := PosteriorOptions{Levels: levels, Options: Options{Confidence: confidence}}
	if err := o.Options.check(); err != nil {
		return nil, err
	}
	if err := o.check(); err != nil {
		return nil, err
	}
	if len(homes) == 0 {
		return nil, fmt.Errorf("no homes")
	}
	for i, h := range homes {
		h.Covariates = nil
		if err := h.check(i, nil); err != nil {
			return nil, err
		}
	}
	sorted := slices.Clone(homes)
	slices.SortFunc(sorted, compareHomes)
	var all []RawArea
	for lo := 0; lo < len(sorted); {
		hi := lo
		for hi < len(sorted) && sorted[hi].Area == sorted[lo].Area {
			hi++
		}
		all = append(all, unpooledArea(sorted[lo:hi], levels, o.Confidence))
		lo = hi
	}
	return all, nil
}

func unpooledArea(homes []Home, levels []float64, confidence float64) RawArea {
	a := RawArea{Area: homes[0].Area, Homes: len(homes)}
	var logs []float64
	var obs []lognormal.Observation
	var counts []float64
	for _, h := range homes {
		if h.as != 0 {
			counts = append(counts, h.as)
		}
		lower, upper := h.bounds()
		if lower == upper {
			logs = append(logs, lower)
		} else if math.IsInf(lower, -1) {
			a.Below++
		}
		obs = append(obs, lognormal.Between(math.Exp(lower), math.Exp(upper)))
	}
	switch {
	case len(logs) == len(homes) && len(homes) == 1:
		a.GM = math.Exp(logs[0])
	case len(logs) == len(homes):
		mean, sd := weightedMoments(logs, homes)
		a.GM, a.GSD = math.Exp(mean), math.Exp(sd)
	default:
		if f, err := lognormal.Fit(obs, lognormal.FitOptions{Counts: counts}); err == nil && f.GM != nil {
			a.GM, a.GSD = math.Exp(f.MeanLog), math.Exp(f.SDLog)
		}
	}
	z := numeric.NormalQuantile(0.5 + confidence/2)
	for _, level := range levels {
		s := RawShare{Level: level}
		log := math.Log(level)
		for _, h := range homes {
			lower, upper := h.bounds()
			if lower == upper && lower > log || lower < upper && lower >= log {
				s.Above++
			} else if lower < upper && upper > log {
				s.Undecided++
			}
		}
		n := float64(a.Homes)
		s.Share = analysis.Estimate{Quantity: fmt.Sprintf("share above %.6g %s, counted", level, becquerel), Value: float64(s.Above) / n,
			Confidence: confidence, Kind: analysis.ConfidenceInterval, N: a.Homes, Method: AreaRaw}
		s.Share.Lower, _ = numeric.Wilson(float64(s.Above), n, z)
		_, s.Share.Upper = numeric.Wilson(float64(s.Above+s.Undecided), n, z)
		if s.Undecided > 0 {
			s.Share.Notes = append(s.Share.Notes, note("undecided", "limits leave undecided whether %d of %d homes are above; the upper limit takes them as above", s.Undecided, a.Homes))
		}
		a.Above = append(a.Above, s)
	}
	return a
}
