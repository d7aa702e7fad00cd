package season

import (
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize"

	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/temporal"
)

const (
	nh          = temporal.Harmonics
	cols        = 1 + nh + 1 // level, season, and the data themselves
	courseHomes = 8          // homes measured on a day, at least, for it to have a course
)

// driftDays are the correlation times whose variances are learned.
var driftDays = []float64{1, 6, 40, 150}

// fit is the mixed model of all records: home i's season is N(mean, cov), its
// drift has variances v at driftDays, its day means a noise variance v[last].
type fit struct {
	recs   []*record
	offset [][]float64 // taken off each record's logs; nil for nothing
	mean   *mat.VecDense
	cov    *mat.SymDense
	v      []float64
	loglik float64
	own    []home // per record, at the current v
}

// home is one record reduced to what the season needs: the generalised least
// squares estimate of its coefficients and their covariance.
type home struct {
	beta *mat.VecDense
	cov  *mat.SymDense
	rest float64 // log likelihood less the part of the season
}

func newFit(recs []*record) *fit {
	f := &fit{recs: recs, offset: make([][]float64, len(recs)),
		mean: mat.NewVecDense(nh, nil), cov: mat.NewSymDense(nh, nil),
		v: []float64{0.1, 0.08, 0.03, 0.01, 0.003}}
	for i := range nh {
		f.cov.SetSym(i, i, 0.02)
	}
	return f
}

// maximise alternates between the season given the drift and the drift given
// the season, until the likelihood no longer rises.
func (f *fit) maximise() {
	last := math.Inf(-1)
	for range 12 {
		f.own = f.reduce(f.v)
		f.season(f.own, 200)
		f.drift()
		if f.loglik-last < 0.01 {
			break
		}
		last = f.loglik
	}
	f.own = f.reduce(f.v)
	f.season(f.own, 500)
}

// drift maximises the likelihood over the logs of the variances by simplex.
func (f *fit) drift() {
	value := func(x []float64) float64 {
		v := make([]float64, len(x))
		for i, l := range x {
			if l < -14 || l > 3 {
				return 1e12 + math.Abs(l)
			}
			v[i] = math.Exp(l)
		}
		return -f.likelihood(f.reduce(v))
	}
	x := make([]float64, len(f.v))
	for i, v := range f.v {
		x[i] = math.Log(v)
	}
	res, err := optimize.Minimize(optimize.Problem{Func: value}, x,
		&optimize.Settings{FuncEvaluations: 400, Converger: &optimize.FunctionConverge{Absolute: 1e-3, Iterations: 40}},
		&optimize.NelderMead{SimplexSize: 0.5})
	if res == nil || err != nil && res.F > value(x) {
		return // the start stands
	}
	for i, l := range res.X {
		f.v[i] = math.Exp(l)
	}
	f.loglik = -res.F
}

// reduce does the generalised least squares of every record for variances v.
func (f *fit) reduce(v []float64) []home {
	out := make([]home, len(f.recs))
	numeric.Each(len(f.recs), func(i int) { out[i] = reduceOne(f.recs[i], f.offset[i], v) })
	return out
}

// reduceOne filters data and regressors through the drift's innovations: the
// cross products of those are X'V⁻¹X, X'V⁻¹y and y'V⁻¹y.
func reduceOne(r *record, offset []float64, v []float64) home {
	const m = 4
	var a [m][cols]float64
	var p [m][m]float64
	noise := v[m]
	for i := range m {
		p[i][i] = v[i]
	}
	var cross [cols][cols]float64
	logDet := 0.0
	var phi [m]float64
	for t, day := range r.day {
		if t > 0 {
			gap := float64(day - r.day[t-1])
			for i := range m {
				phi[i] = math.Exp(-gap / driftDays[i])
			}
			for i := range m {
				for k := range cols {
					a[i][k] *= phi[i]
				}
				for j := range m {
					p[i][j] *= phi[i] * phi[j]
				}
				p[i][i] += v[i] * (1 - phi[i]*phi[i])
			}
		}
		x := temporal.Regressors(day)
		e := [cols]float64{1, x[0], x[1], x[2], x[3], r.log[t]}
		if offset != nil {
			e[cols-1] -= offset[t]
		}
		var b [m]float64
		F := noise
		for i := range m {
			for j := range m {
				b[i] += p[i][j]
			}
			F += b[i]
			for k := range cols {
				e[k] -= a[i][k]
			}
		}
		logDet += math.Log(F)
		for k := range cols {
			for l := range k + 1 {
				cross[k][l] += e[k] * e[l] / F
			}
		}
		for i := range m {
			g := b[i] / F
			for k := range cols {
				a[i][k] += g * e[k]
			}
			for j := range m {
				p[i][j] -= g * b[j]
			}
		}
	}
	// Integrate the level out, then complete the square in the season.
	n := cross[0][0]
	A := mat.NewSymDense(nh, nil)
	c := mat.NewVecDense(nh, nil)
	for i := range nh {
		c.SetVec(i, cross[cols-1][1+i]-cross[1+i][0]*cross[cols-1][0]/n)
		for j := range i + 1 {
			A.SetSym(i, j, cross[1+i][1+j]-cross[1+i][0]*cross[1+j][0]/n)
		}
	}
	rss := cross[cols-1][cols-1] - cross[cols-1][0]*cross[cols-1][0]/n
	var ch mat.Cholesky
	for ridge := 1e-9; !ch.Factorize(A); ridge *= 10 {
		for i := range nh {
			A.SetSym(i, i, A.At(i, i)+ridge)
		}
	}
	h := home{beta: mat.NewVecDense(nh, nil), cov: mat.NewSymDense(nh, nil)}
	_ = ch.SolveVecTo(h.beta, c) // a poor condition only makes its covariance large
	_ = ch.InverseTo(h.cov)
	rss -= mat.Dot(c, h.beta)
	h.rest = -0.5 * (logDet + math.Log(n) + rss + ch.LogDet())
	return h
}

// likelihood is the log likelihood, up to a constant, for the current season.
func (f *fit) likelihood(own []home) float64 {
	sum := 0.0
	S := mat.NewSymDense(nh, nil)
	d := mat.NewVecDense(nh, nil)
	w := mat.NewVecDense(nh, nil)
	var ch mat.Cholesky
	for _, h := range own {
		S.AddSym(f.cov, h.cov)
		d.SubVec(h.beta, f.mean)
		if !ch.Factorize(S) {
			return math.Inf(-1)
		}
		_ = ch.SolveVecTo(w, d)
		sum += h.rest - 0.5*(ch.LogDet()+mat.Dot(d, w))
	}
	return sum
}

// season maximises over mean and covariance of the season by expectation
// maximisation, from where they stand.
func (f *fit) season(own []home, most int) {
	f.mean, f.cov = seasonOf(own, -1, f.mean, f.cov, most)
}

// seasonOf is the season's mean and covariance over all homes but one.
func seasonOf(own []home, without int, mean *mat.VecDense, cov *mat.SymDense, most int) (*mat.VecDense, *mat.SymDense) {
	mean, S := mat.VecDenseCopyOf(mean), mat.NewSymDense(nh, nil)
	S.CopySym(cov)
	T := mat.NewSymDense(nh, nil)
	d, g := mat.NewVecDense(nh, nil), mat.NewVecDense(nh, nil)
	for range most {
		sumB := mat.NewVecDense(nh, nil)
		moment := mat.NewSymDense(nh, nil)
		n := 0.0
		var ch mat.Cholesky
		var gain, SG mat.Dense
		for i, h := range own {
			if i == without {
				continue
			}
			n++
			T.AddSym(S, h.cov)
			if !ch.Factorize(T) {
				return mean, S
			}
			_ = ch.SolveTo(&gain, S) // T⁻¹ S
			d.SubVec(h.beta, mean)
			g.MulVec(gain.T(), d) // S T⁻¹ (beta − mean)
			sumB.AddVec(sumB, g)
			SG.Mul(S, &gain)
			for a := range nh {
				for b := range a + 1 {
					moment.SetSym(a, b, moment.At(a, b)+S.At(a, b)-(SG.At(a, b)+SG.At(b, a))/2+g.AtVec(a)*g.AtVec(b))
				}
			}
		}
		change := 0.0
		for a := range nh {
			shift := sumB.AtVec(a) / n
			change = max(change, math.Abs(shift))
			sumB.SetVec(a, shift)
			mean.SetVec(a, mean.AtVec(a)+shift)
		}
		for a := range nh {
			for b := range a + 1 {
				x := moment.At(a, b)/n - sumB.AtVec(a)*sumB.AtVec(b)
				change = max(change, math.Abs(x-S.At(a, b)))
				S.SetSym(a, b, x)
			}
		}
		if change < 1e-7 {
			break
		}
	}
	return mean, S
}

// course is the mean departure of homes from their own level and season.
type course struct {
	first int
	sum   []float64 // over homes
	n     []float64 // homes on the day
	part  [][]float64
	own   []float64 // variances of the drift that is left, and of the noise
	share []float64 // variances of the shared drift
	areas []string
}

// findCourse averages what season and level leave over the homes, then learns
// what drift is left about that average. The fit stays as it was but for what
// it returns; nil where too few homes overlap.
func (f *fit) findCourse() *course {
	c := &course{first: math.MaxInt}
	last := math.MinInt
	for _, r := range f.recs {
		c.first, last = min(c.first, r.day[0]), max(last, r.day[len(r.day)-1])
		if !slices.Contains(c.areas, r.place.Area) {
			c.areas = append(c.areas, r.place.Area)
		}
	}
	slices.Sort(c.areas)
	c.sum, c.n = make([]float64, last-c.first+1), make([]float64, last-c.first+1)
	for i, r := range f.recs {
		left := f.residual(i)
		c.part = append(c.part, left)
		for t, d := range r.day {
			c.sum[d-c.first] += left[t]
			c.n[d-c.first]++
		}
	}
	if slices.Max(c.n) < courseHomes {
		return nil
	}
	g := newFit(f.recs)
	g.mean.CopyVec(f.mean)
	g.cov.CopySym(f.cov)
	g.v = slices.Clone(f.v)
	for i, r := range f.recs {
		g.offset[i] = make([]float64, len(r.day))
		for t, d := range r.day {
			g.offset[i][t], _ = c.at(d, i, t)
		}
	}
	g.maximise()
	c.own = g.v
	for i := range driftDays {
		c.share = append(c.share, max(f.v[i]-g.v[i], 1e-6))
	}
	return c
}

// at is the course on a day, without one home's part in it, and over how many homes.
func (c *course) at(day, without, t int) (mean, n float64) {
	i := day - c.first
	sum, n := c.sum[i], c.n[i]
	if without >= 0 && t >= 0 {
		sum -= c.part[without][t]
		n--
	}
	if n < courseHomes-1 {
		return 0, 0
	}
	return sum / n, n
}

// residual is what a record's own level and season leave of its logs.
func (f *fit) residual(i int) []float64 {
	r, h := f.recs[i], f.own[i]
	// The home's season, drawn toward the mean as far as its own is uncertain.
	T := mat.NewSymDense(nh, nil)
	T.AddSym(f.cov, h.cov)
	var ch mat.Cholesky
	beta := mat.VecDenseCopyOf(h.beta)
	if ch.Factorize(T) {
		var gain mat.Dense
		_ = ch.SolveTo(&gain, f.cov)
		d := mat.NewVecDense(nh, nil)
		d.SubVec(h.beta, f.mean)
		beta.MulVec(gain.T(), d)
		beta.AddVec(beta, f.mean)
	}
	out, sum := make([]float64, len(r.day)), 0.0
	for t, d := range r.day {
		x := temporal.Regressors(d)
		y := r.log[t]
		for k := range x {
			y -= beta.AtVec(k) * x[k]
		}
		out[t] = y
		sum += y
	}
	for t := range out {
		out[t] -= sum / float64(len(out))
	}
	return out
}

// profile is the fit as a profile, as if one home (−1 for none) had not been
// seen; with a course, its season and drift are those of the course's years.
func (f *fit) profile(opt Options, c *course, without int) *temporal.Profile {
	n := len(f.recs)
	mean, cov := f.mean, f.cov
	if without >= 0 {
		n--
		mean, cov = seasonOf(f.own, without, mean, cov, 30)
	}
	p := &temporal.Profile{Schema: temporal.ProfileSchema, Name: opt.Name, Homes: n, YearSD: opt.BuiltIn.YearSD, RoomSD: opt.BuiltIn.RoomSD}
	// Few homes: part of the way from the built-in variances to the learned ones.
	w := min(1, float64(n)/10)
	for i := range nh {
		p.Season.Mean[i] = mean.AtVec(i)
		for j := range nh {
			// n/(n−1) for the mean that was taken off, 1/n for not knowing it.
			k := cov.At(i, j) * (float64(n)/float64(n-1) + 1/float64(n))
			p.Season.Cov[i][j] = w*k + (1-w)*opt.BuiltIn.Season.Cov[i][j]
		}
	}
	p.Drift = components(f.v, w, opt.BuiltIn)
	p.DayNoise = math.Sqrt(f.v[len(driftDays)])
	if c != nil {
		p.Course = c.seen(f.recs, without)
		p.Course.Season = p.Season
		p.Course.Drift = components(c.own, w, opt.BuiltIn)
	}
	return p
}

// components are learned variances, drawn toward the built-in ones by 1 − w.
func components(v []float64, w float64, builtIn *temporal.Profile) []temporal.Component {
	var out []temporal.Component
	for i, days := range driftDays {
		out = append(out, temporal.Component{Days: days, Variance: w*v[i] + (1-w)*builtInDrift(builtIn, days)})
	}
	return out
}

func builtInDrift(p *temporal.Profile, days float64) float64 {
	for _, c := range p.Drift {
		if c.Days == days {
			return c.Variance
		}
	}
	return 0
}

// seen is the course as a profile holds it.
func (c *course) seen(recs []*record, without int) *temporal.Course {
	out := &temporal.Course{First: c.first, Areas: c.areas}
	for i, v := range c.share {
		out.Shared = append(out.Shared, temporal.Component{Days: driftDays[i], Variance: v})
	}
	variance := 0.0
	for _, v := range c.own {
		variance += v
	}
	at := map[int]int{}
	if without >= 0 {
		for t, d := range recs[without].day {
			at[d] = t
		}
	}
	for i := range c.sum {
		who, t := -1, -1
		if k, ok := at[c.first+i]; ok {
			who, t = without, k
		}
		m, n := c.at(c.first+i, who, t)
		noise := 0.0
		if n > 0 {
			noise = math.Sqrt(variance / n)
		}
		out.Log = append(out.Log, m)
		out.Noise = append(out.Noise, noise)
	}
	return out
}

// allowForYears draws the mean cycle toward the built-in one, and widens the
// season, by what the weather of the years learned from did to all homes alike.
// That looks like a part of the cycle, is none, and does not average out over
// any number of homes; those left out lived in the same years, so they could not
// show it. A region's cycle is taken to lie about the built-in cycle (of the
// nearer hemisphere) with the built-in spread between homes.
func (f *fit) allowForYears(p *temporal.Profile, c *course, builtIn *temporal.Profile) {
	r := &record{}
	for i, n := range c.n {
		if n >= courseHomes {
			r.day = append(r.day, c.first+i)
			r.log = append(r.log, 0)
		}
	}
	if len(r.day) < 200 {
		return
	}
	error := reduceOne(r, nil, append(slices.Clone(c.share), 1e-4)).cov
	if other := temporal.BuiltIn(builtIn.Season.Mean[0] > 0); apart(p, other) < apart(p, builtIn) {
		builtIn = other
	}
	// Bayes: prior N(built-in, B), seen with this error.
	B, T := mat.NewSymDense(nh, nil), mat.NewSymDense(nh, nil)
	d := mat.NewVecDense(nh, nil)
	for i := range nh {
		d.SetVec(i, p.Season.Mean[i]-builtIn.Season.Mean[i])
		for j := range i + 1 {
			B.SetSym(i, j, builtIn.Season.Cov[i][j])
		}
	}
	T.AddSym(B, error)
	var ch mat.Cholesky
	if !ch.Factorize(T) {
		return
	}
	var gain, left mat.Dense // T⁻¹B, and what is left of B
	_ = ch.SolveTo(&gain, B)
	left.Mul(B, &gain)
	left.Sub(B, &left)
	shift := mat.NewVecDense(nh, nil)
	shift.MulVec(gain.T(), d)
	for i := range nh {
		p.Season.Mean[i] = builtIn.Season.Mean[i] + shift.AtVec(i)
		for j := range nh {
			p.Season.Cov[i][j] += (left.At(i, j) + left.At(j, i)) / 2
		}
	}
}

// apart is the squared distance of two mean cycles.
func apart(a, b *temporal.Profile) float64 {
	s := 0.0
	for i := range nh {
		s += math.Pow(a.Season.Mean[i]-b.Season.Mean[i], 2)
	}
	return s
}
