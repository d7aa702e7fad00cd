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
	courseHomes = 8 // homes measured on a day, at least, for it to have a course
	factors     = 3 // of the course, at most; a quarter of courseHomes homes may carry one
)

// driftDays are the correlation times whose variances are learned.
var driftDays = []float64{1, 6, 40, 150}

// fit is the mixed model of all records: home i's coefficients of the season
// (and course) are N(mean, cov), its drift has variances v at driftDays, its day
// means a noise variance v[last].
type fit struct {
	recs   []*record
	c      *course // nil: season alone
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
	rest float64 // log likelihood less the part of the coefficients
}

func newFit(recs []*record, c *course) *fit {
	k := nh
	if c != nil {
		k += len(c.factor)
	}
	f := &fit{recs: recs, c: c, mean: mat.NewVecDense(k, nil), cov: mat.NewSymDense(k, nil),
		v: []float64{0.1, 0.08, 0.03, 0.01, 0.003}}
	for i := range k {
		f.cov.SetSym(i, i, 0.02)
		if i >= nh {
			f.cov.SetSym(i, i, 0.1)
		}
	}
	return f
}

// maximise alternates between the season given the drift and the drift given
// the season, until the likelihood no longer rises.
func (f *fit) maximise() {
	last, size := math.Inf(-1), 0.7
	for range 12 {
		f.own = f.reduce(f.v)
		f.season(f.own, 200)
		f.drift(size)
		if f.loglik-last < settled {
			break
		}
		last, size = f.loglik, 0.2
	}
	f.own = f.reduce(f.v)
	f.season(f.own, 500)
}

// settled is a gain in log likelihood too small to matter: two would be half a
// standard error.
const settled = 0.05

// drift maximises the likelihood over the logs of the variances by a simplex
// that starts at this size.
func (f *fit) drift(size float64) {
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
		&optimize.Settings{FuncEvaluations: 300, Converger: &optimize.FunctionConverge{Absolute: settled / 5, Iterations: 20}},
		&optimize.NelderMead{SimplexSize: size})
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
	numeric.Each(len(f.recs), func(i int) { out[i] = reduceOne(f.recs[i], f.c, v) })
	return out
}

// reduceOne filters data and regressors through the drift's innovations: the
// cross products of those are X'V⁻¹X, X'V⁻¹y and y'V⁻¹y.
func reduceOne(r *record, c *course, v []float64) home {
	const m = 4
	k := nh
	if c != nil {
		k += len(c.factor)
	}
	cols := 1 + k + 1 // level, coefficients, and the data themselves
	var a [m][]float64
	for i := range a {
		a[i] = make([]float64, cols)
	}
	var p [m][m]float64
	noise := v[m]
	for i := range m {
		p[i][i] = v[i]
	}
	cross := make([][]float64, cols)
	for i := range cross {
		cross[i] = make([]float64, i+1)
	}
	logDet := 0.0
	var phi [m]float64
	last := 0 // the gap that phi is for
	// On a run of days without a gap the gains settle, and stay.
	var b [m]float64
	F, logF, steady := 0.0, 0.0, false
	e := make([]float64, cols)
	for t, day := range r.day {
		if t > 0 {
			if gap := day - r.day[t-1]; gap != last {
				last, steady = gap, false
				for i := range m {
					phi[i] = math.Exp(-float64(gap) / driftDays[i])
				}
			}
			for i := range m {
				for q := range a[i] {
					a[i][q] *= phi[i]
				}
			}
		}
		if !steady {
			if t > 0 {
				for i := range m {
					for j := range m {
						p[i][j] *= phi[i] * phi[j]
					}
					p[i][i] += v[i] * (1 - phi[i]*phi[i])
				}
			}
			before := F
			F = noise
			for i := range m {
				b[i] = 0
				for j := range m {
					b[i] += p[i][j]
				}
				F += b[i]
			}
			steady = math.Abs(F-before) < 1e-9*F
			logF = math.Log(F)
			for i := range m {
				for j := range m {
					p[i][j] -= b[i] * b[j] / F
				}
			}
		}
		e[0], e[cols-1] = 1, r.log[t]
		copy(e[1:], r.x[t][:])
		if c != nil {
			for q, f := range c.factor {
				e[1+nh+q] = f[day-c.first]
			}
		}
		for i := range a {
			for q, y := range a[i] {
				e[q] -= y
			}
		}
		logDet += logF
		for q, row := range cross {
			u := e[q] / F
			for l := range row {
				row[l] += u * e[l]
			}
		}
		for i := range a {
			g := b[i] / F
			for q, y := range e {
				a[i][q] += g * y
			}
		}
	}
	// Integrate the level out, then complete the square in the coefficients.
	n, bottom := cross[0][0], cross[cols-1]
	A := mat.NewSymDense(k, nil)
	xy := mat.NewVecDense(k, nil)
	for i := range k {
		xy.SetVec(i, bottom[1+i]-cross[1+i][0]*bottom[0]/n)
		for j := range i + 1 {
			A.SetSym(i, j, cross[1+i][1+j]-cross[1+i][0]*cross[1+j][0]/n)
		}
	}
	rss := bottom[cols-1] - bottom[0]*bottom[0]/n
	var ch mat.Cholesky
	for ridge := 1e-9; !ch.Factorize(A); ridge *= 10 {
		for i := range k {
			A.SetSym(i, i, A.At(i, i)+ridge)
		}
	}
	h := home{beta: mat.NewVecDense(k, nil), cov: mat.NewSymDense(k, nil)}
	_ = ch.SolveVecTo(h.beta, xy) // a poor condition only makes its covariance large
	_ = ch.InverseTo(h.cov)
	rss -= mat.Dot(xy, h.beta)
	h.rest = -0.5 * (logDet + math.Log(n) + rss + ch.LogDet())
	return h
}

// likelihood is the log likelihood, up to a constant, for the current season.
func (f *fit) likelihood(own []home) float64 {
	sum := 0.0
	k := f.mean.Len()
	S := mat.NewSymDense(k, nil)
	d := mat.NewVecDense(k, nil)
	w := mat.NewVecDense(k, nil)
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
	k := mean.Len()
	mean, S := mat.VecDenseCopyOf(mean), mat.NewSymDense(k, nil)
	S.CopySym(cov)
	T := mat.NewSymDense(k, nil)
	d, g := mat.NewVecDense(k, nil), mat.NewVecDense(k, nil)
	for range most {
		sumB := mat.NewVecDense(k, nil)
		moment := mat.NewSymDense(k, nil)
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
			for a := range k {
				for b := range a + 1 {
					moment.SetSym(a, b, moment.At(a, b)+S.At(a, b)-(SG.At(a, b)+SG.At(b, a))/2+g.AtVec(a)*g.AtVec(b))
				}
			}
		}
		change := 0.0
		for a := range k {
			shift := sumB.AtVec(a) / n
			change = max(change, math.Abs(shift))
			sumB.SetVec(a, shift)
			mean.SetVec(a, mean.AtVec(a)+shift)
		}
		for a := range k {
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

// course is what homes did in common on the days at least courseHomes of them
// were measured: a few factors, each a value a day, with a strength a home.
type course struct {
	first  int
	homes  []int       // measured on the day; 0 where too few were
	left   [][]float64 // per record: what its own level and season leave of each day
	factor [][]float64 // a row a factor, a value a day
	load   [][]float64 // a row a home, a strength a factor
	areas  []string
}

// findCourse decomposes what level and season leave of the homes' days into
// factors, by alternating least squares on the days that are there; nil where
// too few homes overlap.
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
	c.homes = make([]int, last-c.first+1)
	for i, r := range f.recs {
		c.left = append(c.left, f.residual(i))
		for _, d := range r.day {
			c.homes[d-c.first]++
		}
	}
	known := 0
	for i, n := range c.homes {
		if n < courseHomes {
			c.homes[i] = 0
		} else {
			known++
		}
	}
	if known < 200 {
		return nil
	}
	n := min(factors, len(f.recs)/courseHomes)
	// The factors start as the mean of all homes and contrasts of them, which
	// alternation turns into the largest components.
	c.load = make([][]float64, len(f.recs))
	for i := range c.load {
		c.load[i] = make([]float64, n)
		for k := range n {
			c.load[i][k] = math.Cos(math.Pi * float64(k) * (float64(i) + 0.5) / float64(len(f.recs)))
		}
	}
	c.alternate(f.recs, -1, 40)
	return c
}

// without is the course as if one home had not been seen.
func (c *course) without(recs []*record, home int) *course {
	o := *c
	o.homes = slices.Clone(c.homes)
	for _, d := range recs[home].day {
		if i := d - c.first; o.homes[i] > 0 {
			o.homes[i]--
		}
	}
	o.load = make([][]float64, len(c.load))
	for i := range c.load {
		o.load[i] = slices.Clone(c.load[i])
	}
	o.alternate(recs, home, 4)
	return &o
}

// alternate improves strengths and factors in turn. Both are ridged, as by a
// prior of the size of what they leave.
func (c *course) alternate(recs []*record, without, rounds int) {
	n := len(c.load[0])
	days := len(c.homes)
	type normal struct {
		xx *mat.SymDense
		xy *mat.VecDense
	}
	fresh := func(ridge float64) normal {
		x := normal{mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)}
		for k := range n {
			x.xx.SetSym(k, k, ridge)
		}
		return x
	}
	add := func(x normal, row []float64, y float64) {
		for a, u := range row {
			x.xy.SetVec(a, x.xy.AtVec(a)+u*y)
			for b := range a + 1 {
				x.xx.SetSym(a, b, x.xx.At(a, b)+u*row[b])
			}
		}
	}
	solve := func(x normal, out []float64) {
		var ch mat.Cholesky
		if !ch.Factorize(x.xx) {
			return
		}
		_ = ch.SolveVecTo(x.xy, x.xy)
		for k := range out {
			out[k] = x.xy.AtVec(k)
		}
	}
	c.factor = make([][]float64, n)
	for k := range c.factor {
		c.factor[k] = make([]float64, days)
	}
	row := make([]float64, n)
	for range rounds {
		per := make([]normal, days)
		for i, r := range recs {
			if i == without {
				continue
			}
			for t, d := range r.day {
				if at := d - c.first; c.homes[at] > 0 {
					if per[at].xx == nil {
						per[at] = fresh(1)
					}
					add(per[at], c.load[i], c.left[i][t])
				}
			}
		}
		for at, x := range per {
			if x.xx != nil {
				solve(x, row)
				for k := range n {
					c.factor[k][at] = row[k]
				}
			}
		}
		for i, r := range recs {
			if i == without {
				continue
			}
			x := fresh(1)
			for t, d := range r.day {
				if at := d - c.first; c.homes[at] > 0 {
					for k := range n {
						row[k] = c.factor[k][at]
					}
					add(x, row, c.left[i][t])
				}
			}
			solve(x, c.load[i])
		}
		// Each factor to a unit of mean square strength; its size stays in the days.
		for k := range n {
			s, m := 0.0, 0.0
			for i := range c.load {
				if i != without {
					s += c.load[i][k] * c.load[i][k]
					m++
				}
			}
			s = math.Sqrt(s / m)
			if s == 0 {
				continue
			}
			for i := range c.load {
				c.load[i][k] /= s
			}
			for d := range c.factor[k] {
				c.factor[k][d] *= s
			}
		}
	}
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
	for t := range r.day {
		x := r.x[t]
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

// law is the distribution of a home's coefficients for homes not seen, as if
// one home (−1 for none) had not been either: n/(n−1) for the mean that was
// taken off, 1/n for not knowing it.
func (f *fit) law(without int) (mean []float64, cov [][]float64, n int) {
	n = len(f.recs)
	m, S := f.mean, f.cov
	if without >= 0 {
		n--
		m, S = seasonOf(f.own, without, m, S, 30)
	}
	scale := float64(n)/float64(n-1) + 1/float64(n)
	for i := range m.Len() {
		mean = append(mean, m.AtVec(i))
		cov = append(cov, make([]float64, m.Len()))
		for j := range m.Len() {
			cov[i][j] = S.At(i, j) * scale
		}
	}
	return mean, cov, n
}

// profile is the fit as a profile, as if one home (−1 for none) had not been seen.
func (f *fit) profile(opt Options, without int) *temporal.Profile {
	mean, cov, n := f.law(without)
	p := &temporal.Profile{Schema: temporal.ProfileSchema, Name: opt.Name, Homes: n, YearSD: opt.BuiltIn.YearSD, RoomSD: opt.BuiltIn.RoomSD}
	w := trust(n)
	wide := widened(cov, &opt.BuiltIn.Season.Cov, 1-w)
	for i := range nh {
		p.Season.Mean[i] = mean[i]
		copy(p.Season.Cov[i][:], wide[i])
	}
	p.Drift = components(f.v, w, opt.BuiltIn)
	p.DayNoise = f.dayNoise(w, opt.BuiltIn)
	return p
}

// dayNoise is the learned noise of a day mean; few homes may not say that it is
// small.
func (f *fit) dayNoise(w float64, builtIn *temporal.Profile) float64 {
	return math.Sqrt(atLeast(f.v[len(driftDays)], builtIn.DayNoise*builtIn.DayNoise, w))
}

// atLeast is a learned variance, raised toward the built-in one by 1 − w: few
// homes may widen a profile and never narrow it.
func atLeast(learned, builtIn, w float64) float64 {
	return max(learned, w*learned+(1-w)*builtIn)
}

// widened is the same for covariances: learned plus a share of what the built-in
// one exceeds it by, in the directions in which it does.
func widened(learned [][]float64, builtIn *[nh][nh]float64, share float64) [][]float64 {
	D := mat.NewSymDense(nh, nil)
	out := make([][]float64, nh)
	for i := range nh {
		out[i] = slices.Clone(learned[i][:nh])
		for j := range i + 1 {
			D.SetSym(i, j, builtIn[i][j]-learned[i][j])
		}
	}
	var e mat.EigenSym
	if share <= 0 || !e.Factorize(D, true) {
		return out
	}
	var vectors mat.Dense
	e.VectorsTo(&vectors)
	for k, value := range e.Values(nil) {
		for i := range nh {
			for j := range nh {
				out[i][j] += share * max(value, 0) * vectors.At(i, k) * vectors.At(j, k)
			}
		}
	}
	return out
}

// trust is how far few homes are trusted over the built-in profile.
func trust(homes int) float64 { return min(1, float64(homes)/10) }

// course is the fit, made with a course, as a profile holds it; shared are the
// variances that the course took off the drift.
func (f *fit) course(opt Options, shared []float64, without int) *temporal.Course {
	c := f.c
	if without >= 0 {
		c = c.without(f.recs, without)
	}
	mean, cov, n := f.law(without)
	out := &temporal.Course{First: c.first, Areas: c.areas, Homes: c.homes, Factors: c.factor, Mean: mean, Cov: cov}
	out.Drift = components(f.v, trust(n), opt.BuiltIn)
	for i, v := range shared {
		out.Shared = append(out.Shared, temporal.Component{Days: driftDays[i], Variance: v})
	}
	out.DayNoise = f.dayNoise(trust(n), opt.BuiltIn)
	return out
}

// components are learned variances, raised toward the built-in ones by 1 − w.
func components(v []float64, w float64, builtIn *temporal.Profile) []temporal.Component {
	var out []temporal.Component
	for i, days := range driftDays {
		k := slices.IndexFunc(builtIn.Drift, func(c temporal.Component) bool { return c.Days == days })
		b := 0.0
		if k >= 0 {
			b = builtIn.Drift[k].Variance
		}
		out = append(out, temporal.Component{Days: days, Variance: atLeast(v[i], b, w)})
	}
	return out
}

// allowForYears draws the mean cycle toward the built-in one, and widens the
// season, by what the weather of the years learned from did to all homes alike.
// That looks like a part of the cycle, is none, and does not average out over
// any number of homes; those left out lived in the same years, so they could not
// show it. A region's cycle is taken to lie about the built-in cycle (of the
// nearer hemisphere) with the built-in spread between homes. shared are the
// variances of the drift that the homes had in common on these days.
func allowForYears(p *temporal.Profile, days []int, shared []float64, builtIn *temporal.Profile) {
	r := &record{day: days, log: make([]float64, len(days))}
	for _, d := range days {
		r.x = append(r.x, temporal.Regressors(d))
	}
	error := reduceOne(r, nil, append(slices.Clone(shared), 1e-4)).cov
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
