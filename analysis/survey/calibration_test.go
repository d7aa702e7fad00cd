package survey

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"testing"

	"radonyear/analysis/internal/numeric"
)

var update = flag.Bool("update", false, "write those rows of COVERAGE.md that are missing, with many replications")

func (c community) String() string {
	s := fmt.Sprintf("%d areas of about %d", c.areas, c.homes)
	if c.sigma > 0 {
		s += fmt.Sprintf(", spreads %g and %g", c.sigma, c.tau)
	}
	if c.differ > 0 {
		s += fmt.Sprintf(", that between homes apart by %g", c.differ)
	}
	if c.floor != 0 {
		s += ", a covariate"
	}
	if c.errors > 0 {
		s += fmt.Sprintf(", errors to %g", c.errors)
	}
	if c.censored > 0 {
		s += fmt.Sprintf(", about %g %% below", 100*c.censored)
	}
	return s
}

// calibrationSets have spreads drawn from their priors.
var calibrationSets = []community{
	{areas: 10, homes: 4}, {areas: 10, homes: 4, errors: 0.6, floor: -0.5}, {areas: 10, homes: 4, errors: 0.3, censored: 0.2}, {areas: 10, homes: 5, censored: 0.5},
	{areas: 4, homes: 8, errors: 0.4}, {areas: 85, homes: 5, errors: 0.3}, {areas: 85, homes: 5, errors: 0.3, censored: 0.2},
}

var calibrationNames = []string{"spread between homes", "spread between areas", "intercept", "GM of an area", "AM of an area", "share of an area"}

// bins of what is uniform.
const bins = 20

// calibration draws spreads from their priors and homes from the model, and says where
// in its posterior the truth lies: u is by replication and quantity.
func calibration(set community, n int, seed uint64) [][]float64 {
	at := make([][]float64, n)
	numeric.Each(n, func(i int) {
		rng := rand.New(rand.NewPCG(uint64(i), seed<<32+uint64(set.areas)+uint64(100*set.censored)))
		c := set
		var homes []Home
		var g *grid
		var d *design
		for { // few homes may not suffice
			c.sigma, c.tau, c.differ = math.Abs(rng.NormFloat64()), math.Abs(rng.NormFloat64()), spreadDiffers
			if set.floor != 0 { // its prior is flat: a fixed one would be no draw from it, and its square shows that
				c.floor = 2 * rng.NormFloat64()
			}
			homes = c.draw(rng)
			var opt PosteriorOptions
			if c.floor != 0 {
				opt.Covariates = []string{"floor"}
			}
			if err := opt.check(); err != nil {
				panic(err)
			}
			var err error
			if d, err = newDesign(homes, &opt.Options); err != nil {
				continue
			}
			if g, err = newGrid(d, opt); err == nil {
				break
			}
		}
		ps := make([]float64, 99)
		for k := range ps {
			ps[k] = float64(k+1) / 100
		}
		rank := func(q []float64, x float64) float64 {
			k, _ := slices.BinarySearch(q, x)
			return (float64(k) + rng.Float64()) / 100
		}
		u := make([]float64, len(calibrationNames))
		u[0] = rank(g.marginal(0, g.hs, g.hill.sigma, ps...), c.sigma)
		u[1] = rank(g.marginal(1, g.ht, g.hill.tau, ps...), c.tau)
		for _, p := range g.points {
			f := d.natural(p.point.beta, p.point.cov)[0]
			u[2] += p.weight * numeric.Phi((4-f.Value)/f.SE)
		}
		x := g.profile(nil)
		j := rng.IntN(len(d.areas))
		index, err := strconv.Atoi(d.areas[j].name)
		if err != nil {
			panic(err)
		}
		level := c.levels[index]
		m, spread := x.spreads(j, g.level(x, j))
		// The area is described for its own homes' covariates.
		shift := c.floor * (d.areas[j].at[len(d.areas[j].at)-1]*d.scale[d.p-1] + d.centre[d.p-1])
		if c.floor == 0 {
			shift = 0
		}
		u[3], _ = m.below(level + shift)
		truth := c.sigmas[index]
		if v := d.areas[j].vary; v != nil {
			truth = math.Hypot(truth, c.floor*d.scale[1]*math.Sqrt(v[len(v)-1]))
		}
		for k := range m.w {
			m.c[k] = -spread[k] * spread[k] / 2
		}
		u[4], _ = m.below(level + shift + truth*truth/2)
		for k := range m.w {
			m.c[k], m.d[k] = math.Log(100), spread[k]
		}
		u[5], _ = m.below((level + shift - math.Log(100)) / truth)
		at[i] = u
	})
	return at
}

// uniform says how far numbers are from even over 0 to 1: chi-squared over bins, how
// many errors their mean is off, and what share lies in the middle 90 %, below, above.
func uniform(at [][]float64, k int) (chi, z, held, under, over float64) {
	var count [bins]float64
	n, sum := float64(len(at)), 0.0
	for _, u := range at {
		count[min(int(u[k]*bins), bins-1)]++
		sum += u[k]
		if u[k] < 0.05 {
			under++
		} else if u[k] > 0.95 {
			over++
		}
	}
	for _, c := range count {
		chi += (c - n/bins) * (c - n/bins) / (n / bins)
	}
	return chi, (sum/n - 0.5) * math.Sqrt(12*n), 1 - (under+over)/n, under / n, over / n
}

// fixedSets have spreads as homes have, the same in every replication.
var fixedSets = []community{
	{areas: 12, homes: 25, sigma: 0.8, tau: 0.4, errors: 0.4}, {areas: 20, homes: 5, sigma: 0.8, tau: 0.4, errors: 0.4}, {areas: 40, homes: 2, sigma: 0.8, tau: 0.4},
	{areas: 20, homes: 5, sigma: 0.8, tau: 0.1}, {areas: 20, homes: 5, sigma: 0.6, tau: 0.8, errors: 0.4},
	{areas: 20, homes: 5, sigma: 0.8, tau: 0.4, censored: 0.2}, {areas: 20, homes: 5, sigma: 0.8, tau: 0.4, censored: 0.5}, {areas: 5, homes: 10, sigma: 0.8, tau: 0.4, errors: 0.4},
	{areas: 6, homes: 250, sigma: 0.8, tau: 0.4}, {areas: 1, homes: 300, sigma: 0.8, tau: 0.4}, {areas: 6, homes: 60, sigma: 0.8, tau: 0.4, censored: 0.4},
	{areas: 12, homes: 25, sigma: 0.8, tau: 0.4, differ: 0.1, errors: 0.4}, {areas: 6, homes: 250, sigma: 0.8, tau: 0.4, differ: 0.1},
	{areas: 12, homes: 25, sigma: 0.8, tau: 0.4, differ: 0.3, errors: 0.4}, {areas: 6, homes: 250, sigma: 0.8, tau: 0.4, differ: 0.3},
}

// heldRow is how often intervals asked for at 90 % held.
type heldRow struct {
	setting, quantity          string
	intervals                  int
	held, under, over, bias, w float64 // bias of the value, as a logarithm or, of shares, as it is; w: mean width likewise
}

// heldRows are those of a setting's quantities, of the counts of each replication.
func heldRows(setting string, quantities []string, all [][]heldRow) (rows []heldRow) {
	for k, name := range quantities {
		r := heldRow{setting: setting, quantity: name}
		for _, o := range all {
			r.intervals += o[k].intervals
			r.under, r.over, r.bias, r.w = r.under+o[k].under, r.over+o[k].over, r.bias+o[k].bias, r.w+o[k].w
		}
		m := float64(r.intervals)
		r.under, r.over, r.bias, r.w = r.under/m, r.over/m, r.bias/m, r.w/m
		r.held = 1 - r.under - r.over
		rows = append(rows, r)
	}
	return rows
}

var fixedNames = []string{"GM of an area", "AM of an area", "share of an area", "GM of the community", "AM of the community", "share of the community"}

// fixedCoverage counts, over n communities of a setting from a seed on, how often the
// 90 % intervals of areas and of the community held the truth.
func fixedCoverage(set community, n int, seed uint64) []heldRow {
	const level = 100.0
	names := fixedNames
	all := make([][]heldRow, n)
	numeric.Each(n, func(i int) {
		c := set
		rng := rand.New(rand.NewPCG(seed+uint64(i), 77))
		var homes []Home
		var r PosteriorResult
		for {
			homes = c.draw(rng)
			var err error
			if r, err = Posterior(homes, PosteriorOptions{Options: Options{Confidence: 0.9}, Levels: []float64{level}, Draws: 1000}); err == nil {
				break
			}
		}
		out := make([]heldRow, len(names))
		add := func(k int, v, lower, upper, truth float64) {
			o := &out[k]
			o.intervals++
			if truth < lower {
				o.under++
			} else if truth > upper {
				o.over++
			}
			o.bias += v - truth
			o.w += upper - lower
		}
		logs := math.Log
		total, gm, am, share := 0.0, 0.0, 0.0, 0.0
		for _, a := range r.Areas {
			j, err := strconv.Atoi(a.Area)
			if err != nil {
				panic(err)
			}
			truth := c.levels[j]
			sigma := c.sigmas[j]
			above := numeric.Phi((truth - logs(level)) / sigma)
			add(0, logs(a.GM.Value), logs(a.GM.Lower), logs(a.GM.Upper), truth)
			add(1, logs(a.AM.Value), logs(a.AM.Lower), logs(a.AM.Upper), truth+sigma*sigma/2)
			add(2, a.Above[0].Share.Value, a.Above[0].Share.Lower, a.Above[0].Share.Upper, above)
			w := float64(a.Homes)
			total, gm, am, share = total+w, gm+w*truth, am+w*math.Exp(truth+sigma*sigma/2), share+w*above
		}
		m := r.Community
		add(3, logs(m.GM.Value), logs(m.GM.Lower), logs(m.GM.Upper), gm/total)
		add(4, logs(m.AM.Value), logs(m.AM.Lower), logs(m.AM.Upper), logs(am/total))
		add(5, m.Above[0].Share.Value, m.Above[0].Share.Lower, m.Above[0].Share.Upper, share/total)
		all[i] = out
	})
	return heldRows(set.String(), names, all)
}

const (
	calibrationHead = "| setting | quantity | replications | χ² on 19 | mean off, errors | held % | under % | over % |\n|:--|:--|--:|--:|--:|--:|--:|--:|\n"
	fixedHead       = "| setting | quantity | intervals | held % | under % | over % | bias | width |\n|:--|:--|--:|--:|--:|--:|--:|--:|\n"
)

// replications of a set: those with many areas take long.
func replications(set community, n int) int {
	if set.areas > 20 {
		n /= 4
	}
	return n
}

// calibrationLines are COVERAGE.md's of the set with this number. The first sets have
// more replications, from seeds of their own: among 400 of the first, χ² of the intercept
// was 51, and ten times as many were to say whether that was chance; among 1000 and 400 of
// those with limits the mean of the intercept and that of the spread between areas were 3.3
// and 3.4 errors off. With limits the spread between areas does lie a little too high, the
// truth at 0.48 of its posterior on average and not at 0.5, whether areas spread alike or not.
func calibrationLines(number int) (lines []string) {
	set := calibrationSets[number]
	n, seed := replications(set, 400), uint64(0)
	if number < 4 {
		n, seed = 4000, uint64(1000+number)
		if set.censored > 0 {
			n, seed = 1600, uint64(5003-number) // which takes long
		}
	}
	at := calibration(set, n, seed)
	for k, name := range calibrationNames {
		chi, z, held, under, over := uniform(at, k)
		lines = append(lines, fmt.Sprintf("| %s | %s | %d | %.1f | %+.2f | %.1f | %.1f | %.1f |\n", set, name, n, chi, z, 100*held, 100*under, 100*over))
	}
	return lines
}

// TestCalibration: where spreads are drawn from their priors and homes from the model,
// the truth is as likely to lie in any twentieth of its posterior as in another
// (Talts et al. 2018, arXiv:1804.06788, from memory): for both spreads, the intercept,
// an area's level, mean and share, with up to half of the homes below a limit.
func TestCalibration(t *testing.T) {
	trials, sets := 120, calibrationSets[:6]
	if testing.Short() {
		trials, sets = 40, sets[:2]
	}
	for _, set := range sets {
		n := replications(set, trials)
		at := calibration(set, n, 0)
		for k, name := range calibrationNames {
			// Chi-squared on 19: 43.8 once in a thousand; the mean within 3.3 errors.
			if chi, z, _, _, _ := uniform(at, k); chi > 43.8 || math.Abs(z) > 3.3 {
				t.Errorf("%s: %s: chi-squared %.1f on 19, mean off by %.2f errors", set, name, chi, z)
			}
		}
	}
}
