package survey

import (
	"cmp"
	"errors"
	"fmt"
	"math"
	"slices"
	"strings"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/lognormal"
)

// Home is one home of a community: what is known of the natural logarithm of its
// concentration in Bq/m³.
type Home struct {
	Area string
	Log  float64 // the logarithm; that of the limit if Below
	SE   float64 // standard error of Log: of the detector, and of the days not measured; 0: to be counted with the spread between homes
	// Below: only that the logarithm is less than Log is known.
	Below bool
	// Lower and Upper: where Lower < Upper, only that the logarithm lies between
	// them is known, and Log is not read. Upper may be +Inf.
	Lower, Upper float64
	Covariates   []float64 // in the order of Options.Covariates
	Weight       float64   // of the survey's design; the model does not use it

	as float64 // as how many homes it counts where its row is published; 0: one
}

// count is as how many homes it counts.
func (h Home) count() float64 {
	if h.as == 0 {
		return 1
	}
	return h.as
}

// FromObservation is a home of an observation in Bq/m³.
func FromObservation(area string, o lognormal.Observation, covariates ...float64) Home {
	h := Home{Area: area, SE: o.Error, Covariates: covariates}
	switch {
	case o.Lower == o.Upper:
		h.Log = math.Log(o.Lower)
	case o.Lower == 0:
		h.Log, h.Below = math.Log(o.Upper), true
	default:
		h.Lower, h.Upper = math.Log(o.Lower), math.Log(o.Upper)
	}
	return h
}

// bounds are the logarithms the home's lies between.
func (h Home) bounds() (lower, upper float64) {
	switch {
	case h.Below:
		return math.Inf(-1), h.Log
	case h.Lower < h.Upper:
		if h.Upper-h.Lower < narrow { // as good as exact, and kinder to subtraction
			m := (h.Lower + h.Upper) / 2
			return m, m
		}
		return h.Lower, h.Upper
	}
	return h.Log, h.Log
}

// Area is what is known of an area beside its homes.
type Area struct {
	Name       string
	Population float64 // dwellings; for all areas or for none
	// Covariates say for what dwellings the area is described, such as what they
	// are on average over all of the area's; nil: as the homes measured there are,
	// spread included, or as all homes are on average where none was measured.
	Covariates []float64
	Neighbours []string // names of areas next to it; for Posterior with Spatial
}

// Options of the model. The zero value is the documented default.
type Options struct {
	Confidence float64  // of the two-sided intervals; 0: 0.95
	Covariates []string // names of Home.Covariates; "intercept" is taken
	// Areas: nil, those that homes are in. An area without homes is known only here.
	Areas []Area
	// HomeSD is the standard deviation of logarithms between homes of an area where
	// it is known; nil: it is estimated. 0 is right where each Home is an area's own
	// estimate with its standard error.
	HomeSD *float64
	// Likelihood, of Fit: "" or "reml", restricted; "ml", plain, which makes the
	// spread between areas too small where they are few.
	Likelihood string
}

// Term is one fixed effect: the intercept, or what a unit of a covariate adds to
// the logarithm.
type Term struct {
	Term      string
	Value, SE float64
}

const (
	narrow     = 1e-6 // bounds of a logarithm closer than this are one number
	mostLog    = 100  // logarithms beyond this are none of a concentration
	mostSE     = 10
	halfLog2Pi = numeric.HalfLog2Pi
)

// triangle is a symmetric matrix's upper triangle in one slice, row by row.
func triangle(q int) int { return q * (q + 1) / 2 }

// design is a community laid out for the likelihood: areas in order of name, homes
// of an area known exactly gathered into cells of one standard error, the others
// into groups that are alike. Logarithms are about their mean and covariates about
// theirs, in units of their spread, so that no digits are lost; results are given
// in the units that came in.
type design struct {
	names          []string // of terms
	p, q           int      // terms; terms and the response
	areas          []place
	cells          []cell
	rest           []group
	first          []int // index into rest of each area's first, and one more
	homes          int
	counts         float64 // as how many they count
	below, between int
	measured       int     // areas with homes
	spare          int     // homes less what areas and terms can explain: 0 if spreads cannot be told apart
	between0       int     // areas less what terms can explain of them
	shift          float64 // mean logarithm
	centre, scale  []float64
	logScale       float64 // Σ ln scale
	spread         float64 // standard deviation of all logarithms, as they stand
	typical        float64 // homes in the middle area of those with any
	leastSE        float64 // of the homes known exactly
	given          *float64
	net            *network
}

type place struct {
	name         string
	homes, below int
	counts       float64 // as how many homes its homes count
	population   float64
	at           []float64 // terms it is described for, internal
	vary         []float64 // covariances of its homes' terms, triangle; nil: none
}

type cell struct {
	area  int
	se2   float64
	count float64
	zz    []float64 // Σ z zᵀ, triangle, z = (terms, response)
}

type group struct {
	area         int
	x            []float64
	lower, upper float64
	se2, count   float64
}

// newDesign checks the homes and lays them out.
func newDesign(homes []Home, opt *Options) (*design, error) {
	if err := opt.check(); err != nil {
		return nil, err
	}
	if len(homes) == 0 {
		return nil, errors.New("no homes")
	}
	d := &design{names: append([]string{"intercept"}, opt.Covariates...), p: 1 + len(opt.Covariates), homes: len(homes), given: opt.HomeSD, leastSE: math.Inf(1)}
	d.q = d.p + 1
	for i, h := range homes {
		if err := h.check(i, d.names[1:]); err != nil {
			return nil, err
		}
	}
	if err := d.layAreas(homes, opt.Areas); err != nil {
		return nil, err
	}
	sorted := slices.Clone(homes)
	slices.SortFunc(sorted, compareHomes)
	if err := d.checkValues(sorted); err != nil {
		return nil, err
	}
	if err := d.standardise(sorted); err != nil {
		return nil, err
	}
	d.lay(sorted)
	if err := d.describeAreas(sorted, opt.Areas); err != nil {
		return nil, err
	}
	return d, d.degrees(sorted)
}

func (o *Options) check() error {
	if err := analysis.CheckConfidence(&o.Confidence); err != nil {
		return err
	}
	if o.HomeSD != nil && !(*o.HomeSD >= 0 && *o.HomeSD <= mostSE) {
		return fmt.Errorf("a standard deviation between homes of %v; it is one of logarithms, such as 0.8", *o.HomeSD)
	}
	switch o.Likelihood {
	case "":
		o.Likelihood = restricted
	case restricted, plain:
	default:
		return fmt.Errorf("a likelihood %q; there are %q and %q", o.Likelihood, restricted, plain)
	}
	for i, c := range o.Covariates {
		if c == "" || c == "intercept" || slices.Contains(o.Covariates[:i], c) {
			return fmt.Errorf("a covariate called %q; names differ from each other and from intercept", c)
		}
	}
	return nil
}

func (h Home) check(i int, covariates []string) error {
	lower, upper := h.bounds()
	bad := func(x float64) bool { return math.IsNaN(x) || math.Abs(x) > mostLog }
	switch {
	case math.IsNaN(h.Lower) || math.IsNaN(h.Upper) || h.Lower > h.Upper:
		return fmt.Errorf("home %d lies between %v and %v; the first is the smaller", i+1, h.Lower, h.Upper)
	case h.Below && h.Lower < h.Upper:
		return fmt.Errorf("home %d is both below a limit and between bounds", i+1)
	case math.IsInf(lower, -1) && math.IsInf(upper, 1):
		return fmt.Errorf("home %d lies between %v and %v, which says nothing; leave it out", i+1, lower, upper)
	case bad(lower) && !math.IsInf(lower, -1), bad(upper) && !math.IsInf(upper, 1), math.IsInf(lower, 1), math.IsInf(upper, -1):
		return fmt.Errorf("home %d: %v is no logarithm of a concentration in Bq/m³", i+1, h.Log)
	case !(h.SE >= 0 && h.SE <= mostSE):
		return fmt.Errorf("home %d has a standard error of %v; it is that of a logarithm, such as 0.25", i+1, h.SE)
	case len(h.Covariates) != len(covariates):
		return fmt.Errorf("home %d has %d covariates; there are %d", i+1, len(h.Covariates), len(covariates))
	}
	for k, x := range h.Covariates {
		if math.IsNaN(x) || math.Abs(x) > 1e9 {
			return fmt.Errorf("home %d: %s is %v, not a number to reckon with", i+1, covariates[k], x)
		}
	}
	return nil
}

// compareHomes puts homes in an order that is theirs and not the file's.
func compareHomes(a, b Home) int {
	al, au := a.bounds()
	bl, bu := b.bounds()
	exact := func(l, u float64) int {
		if l == u {
			return 0
		}
		return 1
	}
	return cmp.Or(strings.Compare(a.Area, b.Area), cmp.Compare(exact(al, au), exact(bl, bu)), cmp.Compare(a.SE, b.SE),
		slices.Compare(a.Covariates, b.Covariates), cmp.Compare(al, bl), cmp.Compare(au, bu))
}

func (d *design) layAreas(homes []Home, known []Area) error {
	at := map[string]int{}
	add := func(p place) { at[p.name] = len(d.areas); d.areas = append(d.areas, p) }
	for _, a := range known {
		if _, twice := at[a.Name]; twice {
			return fmt.Errorf("area %q is given twice", a.Name)
		}
		if !(a.Population >= 0) || math.IsInf(a.Population, 0) {
			return fmt.Errorf("area %q has a population of %v; it is a number of dwellings", a.Name, a.Population)
		}
		add(place{name: a.Name, population: a.Population})
	}
	some := slices.IndexFunc(known, func(a Area) bool { return a.Population > 0 })
	none := slices.IndexFunc(known, func(a Area) bool { return a.Population == 0 })
	if some >= 0 && none >= 0 {
		return fmt.Errorf("area %q has a population and area %q has none: give it for all areas or for none", known[some].Name, known[none].Name)
	}
	for i, h := range homes {
		j, ok := at[h.Area]
		if !ok {
			if known != nil {
				return fmt.Errorf("home %d is in area %q, which is not among the areas given", i+1, h.Area)
			}
			add(place{name: h.Area})
			j = len(d.areas) - 1
		}
		d.areas[j].homes++
		d.areas[j].counts += h.count()
		if lower, upper := h.bounds(); lower < upper {
			if math.IsInf(lower, -1) {
				d.areas[j].below++
				d.below++
			} else {
				d.between++
			}
		}
	}
	slices.SortFunc(d.areas, func(a, b place) int { return strings.Compare(a.name, b.name) })
	var counts []float64
	for _, a := range d.areas {
		if a.homes > 0 {
			d.measured++
			counts = append(counts, a.counts)
			d.counts += a.counts
		}
	}
	slices.Sort(counts)
	d.typical = counts[len(counts)/2]
	return nil
}

// TooFewError is why a spread cannot be told: fewer than two homes have a value that
// limits do not leave open.
type TooFewError struct{ Known, Homes int }

func (e *TooFewError) Error() string {
	switch {
	case e.Homes == 1:
		return "there is only 1 home; how homes differ takes two or more"
	case e.Known == 1:
		return fmt.Sprintf("only 1 of %d homes has a value, the others no more than a limit; how homes differ takes two or more", e.Homes)
	}
	return fmt.Sprintf("none of %d homes has a value, all no more than a limit; how homes differ takes two or more", e.Homes)
}

// CovariateError is a covariate that says nothing the others do not.
type CovariateError struct {
	Name   string
	Others []string
}

func (e *CovariateError) Error() string {
	return fmt.Sprintf("covariate %s can be reckoned from the others (%s), so what each does cannot be told apart", e.Name, strings.Join(e.Others, ", "))
}

// checkValues holds the values to what a likelihood needs: two that are known from
// both sides, and a spread.
func (d *design) checkValues(homes []Home) error {
	known := 0
	highest, lowest := math.Inf(-1), math.Inf(1) // of lower and of upper bounds: one number is all of them if lowest ≥ highest
	certain := false
	for _, h := range homes {
		lower, upper := h.bounds()
		highest, lowest = max(highest, lower), min(lowest, upper)
		certain = certain || h.SE == 0
		if !math.IsInf(lower, 0) && !math.IsInf(upper, 0) {
			known++
		}
	}
	switch {
	case d.below == d.homes:
		return fmt.Errorf("all %d homes lie below their limits, the lowest %.4g Bq/m³: no middle can be given, only that; a more sensitive detector or a longer test would tell", d.homes, math.Exp(lowest))
	case known < 2 && d.given == nil:
		return &TooFewError{known, d.homes}
	case known < 1:
		return fmt.Errorf("none of %d homes is known from both sides; a level needs at least one", d.homes)
	case d.given == nil && highest <= lowest && certain:
		return fmt.Errorf("all %d homes are or could be %.4g Bq/m³, so no spread can be seen: if they were rounded, more digits are needed", d.homes, math.Exp(highest))
	}
	return nil
}

// middle is a value to stand for a home where only order of size matters.
func (h Home) middle() float64 {
	lower, upper := h.bounds()
	switch {
	case math.IsInf(lower, -1):
		return upper
	case math.IsInf(upper, 1):
		return lower
	}
	return (lower + upper) / 2
}

// standardise finds what logarithms and covariates are about, and in what units,
// and refuses covariates that cannot be told from others.
func (d *design) standardise(homes []Home) error {
	x := make([]float64, len(homes))
	moments := func(of func(Home) float64) (mean, sd float64) {
		for i, h := range homes {
			x[i] = of(h)
		}
		if len(x) < 2 {
			return x[0], 0
		}
		return weightedMoments(x, homes)
	}
	d.shift, d.spread = moments(Home.middle)
	if d.spread == 0 {
		d.spread = 1
	}
	d.centre, d.scale = make([]float64, d.p), make([]float64, d.p)
	d.scale[0] = 1
	for k := 1; k < d.p; k++ {
		d.centre[k], d.scale[k] = moments(func(h Home) float64 { return h.Covariates[k-1] })
		if !(d.scale[k] > 1e-10*math.Abs(d.centre[k])) {
			return fmt.Errorf("covariate %s is %g for every home, so what it does cannot be told; leave it out", d.names[k], homes[0].Covariates[k-1])
		}
		d.logScale += math.Log(d.scale[k])
	}
	m := d.p - 1
	cross := make([]float64, m*m)
	z := make([]float64, d.p)
	for _, h := range homes {
		d.terms(h.Covariates, z)
		for a := range m {
			for b := range m {
				cross[a*m+b] += z[a+1] * z[b+1]
			}
		}
	}
	if rank, bad := pivots(cross, m, 1e-9*float64(len(homes))); rank < m {
		others := slices.Delete(slices.Clone(d.names), bad+1, bad+2)[1:]
		return &CovariateError{d.names[bad+1], others}
	}
	if len(homes) <= d.p && d.given == nil {
		return fmt.Errorf("%d homes for %d terms (%s); a spread needs more homes than terms", len(homes), d.p, strings.Join(d.names, ", "))
	}
	return nil
}

// weightedMoments are the mean and the standard deviation (sum of counts − 1) of what
// the homes have, each counted as often as it counts.
func weightedMoments(x []float64, homes []Home) (mean, sd float64) {
	if !slices.ContainsFunc(homes, func(h Home) bool { return h.as != 0 }) {
		return numeric.Moments(x)
	}
	var n, sum, squares numeric.Sum
	for i, h := range homes {
		n.Add(h.count())
		sum.Add(h.count() * (x[i] - x[0]))
	}
	mean = sum.Value() / n.Value()
	for i, h := range homes {
		e := x[i] - x[0] - mean
		squares.Add(h.count() * e * e)
	}
	return x[0] + mean, math.Sqrt(squares.Value() / (n.Value() - 1))
}

// terms puts covariates in internal units.
func (d *design) terms(covariates, z []float64) {
	z[0] = 1
	for k, x := range covariates {
		z[k+1] = (x - d.centre[k+1]) / d.scale[k+1]
	}
}

// pivots is the rank of a symmetric matrix of no negative eigenvalue, and the
// first row that depends on those before it.
func pivots(a []float64, n int, least float64) (rank, bad int) {
	a = slices.Clone(a)
	bad = -1
	for k := range n {
		v := a[k*n+k]
		if v <= least {
			if bad < 0 {
				bad = k
			}
			continue
		}
		rank++
		for i := k + 1; i < n; i++ {
			f := a[i*n+k] / v
			for j := k + 1; j < n; j++ {
				a[i*n+j] -= f * a[k*n+j]
			}
		}
	}
	return rank, bad
}

// lay gathers the homes, in order, into cells and groups.
func (d *design) lay(homes []Home) {
	z := make([]float64, d.q)
	j := -1
	d.first = make([]int, 1, len(d.areas)+1)
	for _, h := range homes {
		for j < 0 || d.areas[j].name != h.Area {
			if j++; j > 0 {
				d.first = append(d.first, len(d.rest))
			}
		}
		lower, upper := h.bounds()
		d.terms(h.Covariates, z)
		if lower == upper {
			z[d.p] = lower - d.shift
			d.leastSE = min(d.leastSE, h.SE)
			if n := len(d.cells); n == 0 || d.cells[n-1].area != j || d.cells[n-1].se2 != h.SE*h.SE {
				d.cells = append(d.cells, cell{area: j, se2: h.SE * h.SE, zz: make([]float64, triangle(d.q))})
			}
			c := &d.cells[len(d.cells)-1]
			c.count += h.count()
			outer(c.zz, z, h.count())
			continue
		}
		g := group{area: j, x: slices.Clone(z[:d.p]), lower: lower - d.shift, upper: upper - d.shift, se2: h.SE * h.SE, count: h.count()}
		if n := len(d.rest); n > 0 {
			if l := &d.rest[n-1]; l.area == g.area && l.lower == g.lower && l.upper == g.upper && l.se2 == g.se2 && slices.Equal(l.x, g.x) {
				l.count += h.count()
				continue
			}
		}
		d.rest = append(d.rest, g)
	}
	for len(d.first) <= len(d.areas) {
		d.first = append(d.first, len(d.rest))
	}
}

// outer adds w·z zᵀ to a triangle.
func outer(t, z []float64, w float64) {
	i := 0
	for a, x := range z {
		x *= w
		for _, y := range z[a:] {
			t[i] += x * y
			i++
		}
	}
}

// describeAreas finds for which terms each area is described.
func (d *design) describeAreas(homes []Home, known []Area) error {
	index := map[string]int{}
	for j := range d.areas {
		index[d.areas[j].name] = j
		d.areas[j].at = make([]float64, d.p)
		d.areas[j].at[0] = 1
	}
	z := make([]float64, d.p)
	for _, h := range homes {
		a := &d.areas[index[h.Area]]
		d.terms(h.Covariates, z)
		for k := 1; k < d.p; k++ {
			a.at[k] += z[k] / float64(a.homes)
		}
	}
	if d.p > 1 {
		for _, h := range homes {
			a := &d.areas[index[h.Area]]
			d.terms(h.Covariates, z)
			for k := range z {
				z[k] -= a.at[k]
			}
			if a.vary == nil {
				a.vary = make([]float64, triangle(d.p))
			}
			outer(a.vary, z, 1/float64(a.homes))
		}
	}
	for _, k := range known {
		if k.Covariates == nil {
			continue
		}
		if len(k.Covariates) != d.p-1 {
			return fmt.Errorf("area %q has %d covariates; there are %d", k.Name, len(k.Covariates), d.p-1)
		}
		for i, x := range k.Covariates {
			if math.IsNaN(x) || math.Abs(x) > 1e9 {
				return fmt.Errorf("area %q: %s is %v, not a number to reckon with", k.Name, d.names[i+1], x)
			}
		}
		a := &d.areas[index[k.Name]]
		d.terms(k.Covariates, a.at)
		a.vary = nil
	}
	return nil
}

// degrees counts what is left to tell spreads by, and refuses where homes and
// areas cannot be told apart.
func (d *design) degrees(homes []Home) error {
	m := d.p - 1
	within := make([]float64, m*m)
	mean, z := make([]float64, d.p), make([]float64, d.p)
	for lo := 0; lo < len(homes); {
		hi := lo
		for hi < len(homes) && homes[hi].Area == homes[lo].Area {
			hi++
		}
		clear(mean)
		for _, h := range homes[lo:hi] {
			d.terms(h.Covariates, z)
			for k := range z {
				mean[k] += z[k] / float64(hi-lo)
			}
		}
		for _, h := range homes[lo:hi] {
			d.terms(h.Covariates, z)
			for a := range m {
				for b := range m {
					within[a*m+b] += (z[a+1] - mean[a+1]) * (z[b+1] - mean[b+1])
				}
			}
		}
		lo = hi
	}
	rank, _ := pivots(within, m, 1e-9*float64(len(homes)))
	d.spare = len(homes) - d.measured - rank
	d.between0 = d.measured + rank - d.p
	if d.given != nil {
		return nil
	}
	if d.spare <= 0 {
		if d.measured == len(homes) {
			return fmt.Errorf("each of %d areas has one home, so the spread between areas cannot be told from that between homes: give larger areas", d.measured)
		}
		return fmt.Errorf("%d homes in %d areas leave nothing to tell the spread between homes by: give larger areas or fewer covariates", len(homes), d.measured)
	}
	return d.checkTies()
}

// checkTies refuses values without standard errors that are the same wherever two
// are in one area, beside others that have them: their likelihood has no top, and
// grows as the spread between homes shrinks to nothing.
func (d *design) checkTies() error {
	if d.leastSE > 0 {
		return nil
	}
	free, rss, only := 0.0, 0.0, true
	for _, c := range d.cells {
		if c.se2 > 0 {
			only = false
			continue
		}
		free += c.count - 1
		last := len(c.zz) - 1
		rss += c.zz[last] - c.zz[d.p]*c.zz[d.p]/c.count
	}
	if free > 0 && rss <= 1e-14*d.spread*d.spread*float64(d.homes) {
		if only && d.below+d.between == 0 {
			return errors.New("all homes of an area have the same value, so no spread between homes can be seen: if they were rounded, more digits are needed")
		}
		return errors.New("homes without a standard error have the same value wherever two are in one area, so no spread between homes can be seen: state a standard error for all, or more digits")
	}
	return nil
}

// natural gives fixed effects in the units that came in.
func (d *design) natural(beta, cov []float64) []Term {
	p := d.p
	// β = T b + shift e₀, T upper triangular in its first row and diagonal.
	row := func(k int) []float64 {
		t := make([]float64, p)
		t[k] = 1 / d.scale[k]
		if k == 0 {
			for l := 1; l < p; l++ {
				t[l] = -d.centre[l] / d.scale[l]
			}
		}
		return t
	}
	terms := make([]Term, p)
	for k := range p {
		t := row(k)
		terms[k] = Term{Term: d.names[k], Value: dot(t, beta), SE: math.Sqrt(quadratic(cov, t))}
	}
	terms[0].Value += d.shift
	return terms
}

func dot(a, b []float64) float64 {
	s := 0.0
	for i, x := range a {
		s += x * b[i]
	}
	return s
}

// quadratic is vᵀ A v for a full symmetric A.
func quadratic(a, v []float64) float64 {
	s := 0.0
	n := len(v)
	for i, x := range v {
		s += x * dot(a[i*n:i*n+n], v)
	}
	return max(s, 0)
}

// spreadOf is vᵀ A v for a triangle A.
func spreadOf(t, v []float64) float64 {
	s := 0.0
	i := 0
	for a, x := range v {
		s += x * x * t[i]
		for b := a + 1; b < len(v); b++ {
			i++
			s += 2 * x * v[b] * t[i]
		}
		i++
	}
	return max(s, 0)
}

// note is a shorthand.
func note(code, format string, args ...any) analysis.Note {
	return analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)}
}
