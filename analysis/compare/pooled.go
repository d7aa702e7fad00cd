package compare

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// Effect is what a system did to one home, as Compare finds it.
type Effect struct {
	Home, Group string  // the group is for whoever sorts homes; Pool joins all it is given
	Log         float64 // ln(after/before)
	SD          float64 // its standard uncertainty; 0 if not stated, and then of no home
}

// PoolOptions of Pool. The zero value is the documented default.
type PoolOptions struct {
	Confidence float64 // of intervals; 0: 0.95
	Common     float64 // variance of an error in ln ratio that all homes share, as the same weather gives it
}

// Pooled is what a system does to homes like those measured.
type Pooled struct {
	Homes         int
	Ratio         analysis.Estimate  // geometric mean of the homes' ratios
	Reduction     analysis.Estimate  // 100·(1 − Ratio), %
	Tau           *analysis.Estimate // log standard deviation of the homes' true ratios; nil of one home
	Heterogeneity *Heterogeneity     // nil of one home, or where no uncertainties are stated
	Next          *analysis.Estimate // the next home's ratio; nil of one home
	Median        *analysis.Estimate // by ranks, from the log ratios alone; nil where these show no spread
	PairedT       *analysis.Estimate // Student's, from the log ratios alone; nil where these show no spread
	Notes         []analysis.Note    // all that its estimates carry
}

// Heterogeneity says whether the homes differ by more than their uncertainties.
type Heterogeneity struct {
	Q  float64 // Σ(y − μ)²/SD² about the mean weighted by 1/SD²
	DF int     // Homes − 1; Q is about this where homes do not differ
	P  float64 // probability of so large a Q where they do not
	I2 float64 // share of the homes' scatter that is real: τ²/(τ² + typical SD²)
}

// Keys in the list of methods.
const (
	PoolMethod    = "random-effects"
	TauMethod     = "q-profile"
	NextMethod    = "next-ratio"
	PairedTMethod = "paired-log-t"
	WilsonMethod  = "wilson-share"
)

// What an effect may be: beyond, it is no measurement of a ratio, and the
// arithmetic would suffer.
const (
	mostLog          = 100.0
	leastSD, mostSD  = 1e-6, 100.0
	mostConfidence   = 0.999999
	agreeProbability = 0.01 // of so small a Q, below which homes agree too well
)

// Pool joins homes.
//
// It estimates the geometric mean of the ratios after/before of homes like those
// measured, and the reduction, 100·(1 − ratio) %.
//
// Formula. yᵢ = μ + uᵢ + eᵢ, u normal with variance τ², e normal with the homes' own
// SDᵢ². τ² is where the restricted likelihood is highest; μ = Σwy/Σw, w = 1/(SD² + τ²);
// limits μ ± t·√(q/Σw), q = max(1, Σw(y − μ)²/(n − 1)), t Student's with n − 1 degrees
// of freedom. A Common variance adds z²·Common to the square of each half-width. Where
// no SD is stated this is Student's interval of the log ratios.
//
// Assumes independent homes, one result each, drawn as other homes will be; errors
// shared by all of them go into Common.
//
// Interval: confidence. Asked for 95 %, it holds 93.5 to 98.5 % of ten homes and more,
// 93.4 to 99.8 % of five and over 94 % of fewer, where homes are normal; 89 % at worst where
// they are exponential. With q as it is it would hold 91 to 95 % of five and ten homes,
// because they are not known alike.
//
// Notes: one-home, agree-too-well, no-spread-seen, few-homes, spread-unknown, unbounded.
//
// Source: Hartung and Knapp 2001, Stat. Med. 20:1771 and 3875; Knapp and Hartung 2003,
// Stat. Med. 22:2693, where q is not let below 1 (all from memory).
func Pool(effects []Effect, opt PoolOptions) (Pooled, error) {
	if err := checkPooling(&opt.Confidence); err != nil {
		return Pooled{}, err
	}
	if !(opt.Common >= 0 && opt.Common <= mostSD*mostSD) {
		return Pooled{}, fmt.Errorf("a common variance of %v; it is the square of a log standard deviation, such as 0.01", opt.Common)
	}
	p, err := newPool(effects)
	if err != nil {
		return Pooled{}, err
	}
	p.confidence, p.common = opt.Confidence, opt.Common
	return p.result()
}

func checkPooling(confidence *float64) error {
	if *confidence == 0 {
		*confidence = 0.95
	}
	if !(*confidence >= 0.5 && *confidence <= mostConfidence) {
		return fmt.Errorf("a confidence of %v; it lies between 0.5 and %v, such as 0.95", *confidence, mostConfidence)
	}
	return nil
}

// pool is the homes made ready: in one order, whatever order they came in.
type pool struct {
	y, v       []float64 // log ratios and variances
	stated     bool      // the variances are
	even       bool      // the variances are all the same
	mean, s2   float64   // plain mean and variance of y
	confidence float64
	common     float64
}

func newPool(effects []Effect) (*pool, error) {
	if len(effects) == 0 {
		return nil, fmt.Errorf("no homes to pool")
	}
	seen := map[string]bool{}
	zero := 0
	for _, e := range effects {
		switch {
		case !(math.Abs(e.Log) <= mostLog):
			return nil, fmt.Errorf("home %q: a log ratio of %v; it is ln(after/before), such as -1.6 for a fifth", e.Home, e.Log)
		case e.SD != 0 && !(e.SD >= leastSD && e.SD <= mostSD):
			return nil, fmt.Errorf("home %q: a log standard uncertainty of %v; it lies between %g and %g, such as 0.2", e.Home, e.SD, leastSD, mostSD)
		case e.Home != "" && seen[e.Home]:
			return nil, fmt.Errorf("home %q is among the homes twice, and a home's results are not independent; give one result a home", e.Home)
		case e.SD == 0:
			zero++
		}
		seen[e.Home] = true
	}
	if zero > 0 && zero < len(effects) {
		return nil, fmt.Errorf("%d of %d homes state no uncertainty, and an error of nothing would outweigh all others; state it for every home, or for none", zero, len(effects))
	}
	sorted := slices.Clone(effects)
	slices.SortFunc(sorted, func(a, b Effect) int { return cmp.Or(cmp.Compare(a.Log, b.Log), cmp.Compare(a.SD, b.SD)) })
	p := &pool{stated: zero == 0, even: true}
	for _, e := range sorted {
		p.y = append(p.y, e.Log)
		p.v = append(p.v, e.SD*e.SD)
		p.even = p.even && e.SD == sorted[0].SD
	}
	p.mean = p.y[0]
	if len(p.y) > 1 {
		var sd float64
		p.mean, sd = numeric.Moments(p.y)
		p.s2 = sd * sd
	}
	if !p.spread() {
		p.s2 = 0
	}
	if !p.stated && len(p.y) > 1 && !p.spread() {
		return nil, fmt.Errorf("all %d homes have the same ratio and state no uncertainty, so nothing says how far it can be trusted; state the uncertainties", len(p.y))
	}
	return p, nil
}

// leastSpread is how little logarithms may differ without being the same but for
// rounding.
const leastSpread = 1e-9

// spread says whether the log ratios differ.
func (p *pool) spread() bool { return p.y[len(p.y)-1]-p.y[0] > leastSpread }

// weighted are sums at a τ²: of the weights and their squares, the mean, Q = Σw(y −
// mean)², and Σw²(y − mean)², which is how fast Q falls as τ² grows.
type weighted struct{ w, w2, mean, q, slope float64 }

func (p *pool) at(tau2 float64) weighted {
	var s weighted
	var wy numeric.Sum
	for i, y := range p.y {
		w := 1 / (p.v[i] + tau2)
		s.w += w
		s.w2 += w * w
		wy.Add(w * (y - p.y[0]))
	}
	s.mean = p.y[0] + wy.Value()/s.w
	for i, y := range p.y {
		w, d := 1/(p.v[i]+tau2), y-s.mean
		s.q += w * d * d
		s.slope += w * w * d * d
	}
	return s
}

// reml is the τ² at which the restricted likelihood
//
//	−½(Σ ln(v + τ²) + ln Σw + Q)
//
// is highest. It can have more than one hill, so each place where its slope changes
// sign from up to down, over τ² at 60 even steps of its logarithm, is solved for and
// the highest taken.
func (p *pool) reml() (float64, error) {
	if p.even {
		return max(0, p.s2-p.v[0]), nil
	}
	slope := func(tau2 float64) float64 { s := p.at(tau2); return s.slope - s.w + s.w2/s.w }
	height := func(tau2 float64) float64 {
		s := p.at(tau2)
		h := math.Log(s.w) + s.q
		for _, v := range p.v {
			h += math.Log(v + tau2)
		}
		return -h
	}
	most := 4*p.s2 + p.v[0]
	for slope(most) > 0 { // at last it falls, as −(n−1)/τ² does
		most *= 4
	}
	least := 1e-3 * slices.Min(p.v)
	best, top := 0.0, height(0)
	const steps = 60
	prev, up := 0.0, slope(0) > 0
	for i := range steps + 1 {
		t := least * math.Pow(most/least, float64(i)/steps)
		if t <= prev {
			continue
		}
		rises := slope(t) > 0
		if up && !rises {
			root, err := numeric.Root(slope, prev, t, 1e-14*t)
			if err != nil {
				return 0, fmt.Errorf("spread between homes: %w", err)
			}
			if h := height(root); h > top {
				best, top = root, h
			}
		}
		prev, up = t, rises
	}
	return best, nil
}

// tau2At is the τ² at which Q is c, or 0 where Q is below c there already. Q falls all
// the way.
func (p *pool) tau2At(c float64) (float64, error) {
	total := p.s2 * float64(len(p.y)-1)
	if p.even {
		return max(0, total/c-p.v[0]), nil
	}
	if total == 0 || p.at(0).q <= c {
		return 0, nil
	}
	// Q lies between total/(largest v + τ²), being no more than with equal weights and
	// no less than with the least of them, and total/(least v + τ²).
	slack := 1e-9 * total / c
	lo, hi := max(0, total/c-slices.Max(p.v)-slack), total/c-slices.Min(p.v)+slack
	return numeric.Root(func(tau2 float64) float64 { return c/p.at(tau2).q - 1 }, lo, hi, 1e-14*hi) // nearly straight
}

// limits are a middle and what surrounds it, of logarithms.
type limits struct{ mid, lower, upper float64 }

// widen adds half a width in quadrature on either side.
func (l limits) widen(half float64) limits {
	return limits{l.mid, l.mid - math.Hypot(l.mid-l.lower, half), l.mid + math.Hypot(l.upper-l.mid, half)}
}

// ratio is e to the limits, as an estimate; an interval that floats cannot hold is
// open.
func (l limits) ratio(e analysis.Estimate) (analysis.Estimate, error) {
	e.Value, e.Lower, e.Upper = math.Exp(l.mid), math.Exp(l.lower), math.Exp(l.upper)
	if e.Kind == "" {
		e.Kind = analysis.ConfidenceInterval
	}
	if e.Value == 0 || math.IsInf(e.Value, 0) {
		return e, fmt.Errorf("the %s is e to the %.4g, beyond what a number can hold; look whether the concentrations are in one unit", e.Quantity, l.mid)
	}
	e.Notes = open(e)
	return e, e.Check()
}

func open(e analysis.Estimate) []analysis.Note {
	if !math.IsInf(e.Upper, 0) || analysis.HasNote(e.Notes, "unbounded") {
		return e.Notes
	}
	return append(slices.Clip(e.Notes), analysis.Note{Code: "unbounded", Text: fmt.Sprintf("the data give the %s no upper limit; more homes would", e.Quantity)})
}

func tHalf(df, confidence float64) float64 {
	return -distuv.StudentsT{Mu: 0, Sigma: 1, Nu: df}.Quantile((1 - confidence) / 2)
}

func zHalf(confidence float64) float64 { return -numeric.NormalQuantile((1 - confidence) / 2) }

// hartungKnapp is the factor q of the variance of the pooled mean.
func hartungKnapp(s weighted, homes int) float64 { return max(1, s.q/float64(homes-1)) }

// meanHalf is half of the interval of the pooled mean, in logarithms.
func (p *pool) meanHalf(s weighted) float64 {
	n := len(p.y)
	return math.Hypot(tHalf(float64(n-1), p.confidence)*math.Sqrt(hartungKnapp(s, n)/s.w), zHalf(p.confidence)*math.Sqrt(p.common))
}

const (
	ratioName = "ratio after/before"
	tauName   = "log standard deviation between homes"
)

func (p *pool) result() (Pooled, error) {
	n := len(p.y)
	r := Pooled{Homes: n}
	estimate := func(quantity, method string) analysis.Estimate {
		return analysis.Estimate{Quantity: quantity, Method: method, Confidence: p.confidence, N: n}
	}
	shared := zHalf(p.confidence) * math.Sqrt(p.common)
	if n == 1 {
		return r, p.oneHome(&r, estimate(ratioName, PoolMethod))
	}
	df := float64(n - 1)
	tau2, err := p.reml()
	if err != nil {
		return r, err
	}
	s := p.at(tau2)
	half := p.meanHalf(s)
	if r.Ratio, err = (limits{s.mean, s.mean - half, s.mean + half}).ratio(estimate(ratioName, PoolMethod)); err != nil {
		return r, err
	}
	if err := p.tau(&r, tau2, estimate(tauName, TauMethod)); err != nil {
		return r, err
	}
	next := estimate("next home's ratio", NextMethod)
	next.Kind = analysis.PredictionInterval
	l, err := p.next(s, tau2)
	if err != nil {
		return r, err
	}
	if next, err = l.ratio(next); err != nil {
		return r, err
	}
	r.Next = &next
	if p.stated {
		h := p.heterogeneity(tau2)
		r.Heterogeneity = &h
		if mathext.GammaIncReg(df/2, h.Q/2) < agreeProbability {
			r.Notes = append(r.Notes, analysis.Note{Code: "agree-too-well", Text: fmt.Sprintf("the homes differ less than their uncertainties say they must (Q %.3g on %d): these are overstated, or most of each is an error all homes share; then state it as common", h.Q, h.DF)})
		}
	}
	if !p.spread() {
		r.Notes = append(r.Notes, analysis.Note{Code: "no-spread-seen", Text: "all homes have the same ratio, so the ratios alone give no interval; look whether they were rounded"})
	} else {
		l, notes := hodgesLehmann(p.y, p.confidence)
		m := estimate("middle ratio", HodgesLehmannMethod)
		m.Notes = notes
		if m, err = l.widen(shared).ratio(m); err != nil {
			return r, err
		}
		t, err := pairedT(p.y, p.confidence).widen(shared).ratio(estimate("geometric mean ratio", PairedTMethod))
		if err != nil {
			return r, err
		}
		r.Median, r.PairedT = &m, &t
	}
	r.Ratio.Notes = slices.Concat(r.Ratio.Notes, r.Notes)
	r.Reduction = ReductionOf(r.Ratio)
	for _, e := range []*analysis.Estimate{&r.Ratio, r.Tau, r.Next, r.Median, r.PairedT} {
		if e == nil {
			continue
		}
		for _, note := range e.Notes {
			if !slices.Contains(r.Notes, note) {
				r.Notes = append(r.Notes, note)
			}
		}
	}
	return r, r.check()
}

// oneHome is that home's own answer.
func (p *pool) oneHome(r *Pooled, e analysis.Estimate) error {
	half := math.Inf(1)
	if p.stated {
		half = zHalf(p.confidence) * math.Sqrt(p.v[0]+p.common)
	}
	e.Notes = []analysis.Note{{Code: "one-home", Text: "of one home this is that home's answer; how much other homes differ from it cannot be known, so do not expect it of them"}}
	var err error
	if r.Ratio, err = (limits{p.y[0], p.y[0] - half, p.y[0] + half}).ratio(e); err != nil {
		return err
	}
	r.Reduction, r.Notes = ReductionOf(r.Ratio), r.Ratio.Notes
	return r.check()
}

func (r Pooled) check() error {
	for _, e := range []*analysis.Estimate{&r.Ratio, &r.Reduction, r.Tau, r.Next, r.Median, r.PairedT} {
		if e == nil {
			continue
		}
		if err := e.Check(); err != nil {
			return fmt.Errorf("%w; look whether the homes' ratios and uncertainties are right", err)
		}
	}
	return nil
}

func (p *pool) heterogeneity(tau2 float64) Heterogeneity {
	s, df := p.at(0), float64(len(p.y)-1)
	typical := df * s.w / (s.w*s.w - s.w2)
	return Heterogeneity{Q: s.q, DF: len(p.y) - 1, P: mathext.GammaIncRegComp(df/2, s.q/2), I2: tau2 / (tau2 + typical)}
}

// tauUnknown is from how far above the estimate of τ its upper limit is worth a word.
const tauUnknown = 0.7 // a factor of two

// tau estimates how much homes differ in what the system does to them: the standard
// deviation of their true log ratios.
//
// Formula. τ as in the random-effects mean; limits are where Q(τ²) = Σ(y − μ)²/(SD² +
// τ²), about the mean of the same weights, is the upper and the lower quantile of
// chi-squared with n − 1 degrees of freedom, 0 where it is less at τ = 0 already, and
// widened to the estimate where that lies outside.
//
// Assumes independent homes whose log ratios are normal; unlike that of the mean, this
// interval does not forgive heavy tails.
//
// Interval: confidence. Asked for 95 %, it holds 94 to 98 % where homes are normal; where
// they are exponential, 93 % of few homes that differ little down to 75 % of thirty that
// differ by e^0.6.
//
// Notes: spread-unknown.
//
// Source: Viechtbauer 2007, Stat. Med. 26:37 (from memory).
func (p *pool) tau(r *Pooled, tau2 float64, e analysis.Estimate) error {
	nu, a := float64(len(p.y)-1), (1-p.confidence)/2
	lower, err := p.tau2At(2 * mathext.GammaIncRegInv(nu/2, 1-a))
	if err != nil {
		return fmt.Errorf("%s: %w", e.Quantity, err)
	}
	upper, err := p.tau2At(2 * mathext.GammaIncRegInv(nu/2, a))
	if err != nil {
		return fmt.Errorf("%s: %w", e.Quantity, err)
	}
	e.Kind = analysis.ConfidenceInterval
	e.Value, e.Lower, e.Upper = math.Sqrt(tau2), math.Sqrt(min(lower, tau2)), math.Sqrt(max(upper, tau2))
	if e.Upper-e.Value > tauUnknown {
		e.Notes = []analysis.Note{{Code: "spread-unknown", Text: fmt.Sprintf("these homes hardly say how much homes differ: by a factor of %.3g as estimated, and it may be %.3g, the upper limit; measure more homes", math.Exp(e.Value), math.Exp(e.Upper))}}
	}
	r.Tau = &e
	return nil
}

// next predicts the true ratio of the next home of the same kind.
//
// Formula. The mean of normals with mean μ(τ²) and variance 1/Σw + τ² + Common, over
// the τ² at which Q(τ²) is c, 0 where it is less at 0 already, c being chi-squared with
// n − 1 degrees of freedom: what Q says of τ², in place of one estimate of it. Limits
// are its quantiles or, where they lie further out, those of the pooled mean with what
// homes differ by added: μ ± √(m² + t²·τ²), m half of that mean's interval, and the
// quantiles of normals with mean μ and variance (m/z)² + τ² over the same τ². So no home
// that was not measured is known as well as the middle of those that were, even where
// these differ by no more than their uncertainties. The value is the pooled ratio. Where
// no SD is stated this is Student's y ± t·s·√(1 + 1/n).
//
// Assumes that the next home is drawn as the n were, and that log ratios are normal.
//
// Interval: prediction. Asked for 95 %, it holds 94 to 100 % of three homes or more, the
// less they differ the more, 92 to 99 % where they are exponential, and 98 % or more of
// two. Student's t on n − 2 degrees of freedom with one τ would hold 84 to 94 % of five
// and ten homes that differ.
//
// Notes: unbounded.
//
// Source: Viechtbauer 2007, Stat. Med. 26:37, for Q as a pivot; Nagashima, Noma and
// Furukawa 2019, Stat. Methods Med. Res. 28:1689, for averaging over what it says;
// Higgins, Thompson and Spiegelhalter 2009, J. R. Stat. Soc. A 172:137, for the interval
// that it replaces (all from memory).
func (p *pool) next(s weighted, tau2 float64) (limits, error) {
	mid := s.mean
	if p.even && p.v[0] == 0 && p.common == 0 {
		half := tHalf(float64(len(p.y)-1), p.confidence) * math.Sqrt(p.s2*(1+1/float64(len(p.y))))
		return limits{mid, mid - half, mid + half}, nil
	}
	free, err := p.mixture(mid, func(s weighted, tau2 float64) (float64, float64) { return s.mean, 1/s.w + tau2 + p.common })
	if err != nil {
		return limits{}, err
	}
	mean := p.meanHalf(s) / zHalf(p.confidence)
	about, err := p.mixture(mid, func(_ weighted, tau2 float64) (float64, float64) { return mid, mean*mean + tau2 })
	half := math.Hypot(p.meanHalf(s), tHalf(float64(len(p.y)-1), p.confidence)*math.Sqrt(tau2))
	return limits{mid, min(free.lower, about.lower, mid-half), max(free.upper, about.upper, mid+half)}, err
}

// mixture is the interval of a mean of normals over what Q says of τ², with the means and
// variances given.
func (p *pool) mixture(mid float64, of func(s weighted, tau2 float64) (mean, variance float64)) (limits, error) {
	nu := float64(len(p.y) - 1)
	grid := numeric.NewChi(nu, fineChi)
	type normal struct{ mean, sd float64 }
	var parts []normal
	var failed error
	grid.Mean(func(root float64) float64 {
		tau2, err := p.tau2At(nu * root * root)
		if err != nil {
			failed = err
		}
		mean, variance := of(p.at(tau2), tau2)
		parts = append(parts, normal{mean, math.Sqrt(variance)})
		return 0
	})
	if failed != nil {
		return limits{}, failed
	}
	score := func(x float64) float64 {
		share := func(sign float64) float64 {
			i := -1
			return grid.Mean(func(float64) float64 { i++; return numeric.Phi(sign * (x - parts[i].mean) / parts[i].sd) })
		}
		if below := share(1); below < 0.5 {
			return numeric.NormalQuantile(max(below, 1e-300))
		}
		return -numeric.NormalQuantile(max(share(-1), 1e-300))
	}
	z := zHalf(p.confidence)
	at := func(want float64) (float64, error) {
		return numeric.RootNear(func(x float64) float64 { return score(x) - want }, mid, parts[0].sd, 1e-10*parts[0].sd)
	}
	lower, err := at(-z)
	if err != nil {
		return limits{}, err
	}
	upper, err := at(z)
	return limits{mid, min(lower, mid), max(upper, mid)}, err
}

// fineChi makes the steps of an expectation over chi-squared so fine that the bend
// where τ² reaches 0 costs nothing that matters.
const fineChi = 8

// pairedT estimates the geometric mean of the ratios of homes, from the log ratios
// alone.
//
// Formula. e^ȳ, and e^(ȳ ± t·s/√n) with ȳ and s the mean and standard deviation of the
// log ratios and t Student's with n − 1 degrees of freedom.
//
// Assumes independent pairs whose log ratios are about normal; how well each is known
// is not asked, so a home of two days counts as much as one of a year.
//
// Interval: confidence, exact where log ratios are normal; 91 % at worst where they are
// exponential.
//
// Notes: unbounded.
//
// Source: Student 1908, Biometrika 6:1 (from memory), on log ratios.
func pairedT(logs []float64, confidence float64) limits {
	mean, sd := numeric.Moments(logs)
	n := float64(len(logs))
	half := tHalf(n-1, confidence) * sd / math.Sqrt(n)
	return limits{mean, mean - half, mean + half}
}

// ShareBelow estimates the share of homes that are now below a level, in %, from how
// many of those measured are.
//
// Formula. x/n; limits (x + z²/2 ± z·√(x(n − x)/n + z²/4))/(n + z²), Wilson's, z normal.
//
// Assumes independent homes, drawn as those are that the share is of, each known to be
// below or not.
//
// Interval: confidence, approximate. Asked for 95 %, it holds 95 to 96 % on average over
// shares of 5 to 95 %, of ten homes as of fifty, and for single ones of these 91 to 99 %;
// nearer to 0 and to 100 % it falls to 83 % in places, since a single home on the rare
// side then shuts the share out: the upper limit of 29 homes of 30 is 99.4 %. That homes
// are known by an estimate is not in it. Of annual means of which 98.4 % lay below a level
// 85.8 % of thirty held it (COVERAGE-homes.md), where 94 % would have of means known: in
// two districts of ten 99.7 % lay below, and one estimated above it was enough.
//
// Notes: none.
//
// Source: Wilson 1927, J. Am. Stat. Assoc. 22:209; Newcombe 1998, Stat. Med. 17:857
// (both from memory).
func ShareBelow(below, homes int, confidence float64) (analysis.Estimate, error) {
	if err := checkPooling(&confidence); err != nil {
		return analysis.Estimate{}, err
	}
	if homes < 1 || below < 0 || below > homes {
		return analysis.Estimate{}, fmt.Errorf("%d of %d homes below a level; count homes, at least one, and those of them below", below, homes)
	}
	x, n := float64(below), float64(homes)
	lower, upper := numeric.Wilson(x, n, zHalf(confidence))
	e := analysis.Estimate{
		Quantity: "share of homes below the level", Unit: "%", Value: 100 * x / n, Lower: 100 * lower, Upper: 100 * upper,
		Confidence: confidence, Kind: analysis.ConfidenceInterval, N: homes, Method: WilsonMethod,
	}
	return e, e.Check()
}

const (
	published   = "COVERAGE.md"
	inReference = "testdata/reference/compare-pooled.json"
)

// pooledMethods are the methods of homes joined, of groups and of switching, in the words
// of their doc comments.
var pooledMethods = []analysis.Method{
	{
		Key: PoolMethod, Title: "what a system does to homes like these",
		Estimates: "the geometric mean of the ratios after/before of homes like those measured, and the reduction, 100·(1 − ratio) %.",
		Formula: "yᵢ = μ + uᵢ + eᵢ, u normal with variance τ², e normal with the homes' own SDᵢ². τ² is where the restricted likelihood is highest; μ = Σwy/Σw, " +
			"w = 1/(SD² + τ²); limits μ ± t·√(q/Σw), q = max(1, Σw(y − μ)²/(n − 1)), t Student's with n − 1 degrees of freedom. A Common variance adds z²·Common to " +
			"the square of each half-width. Where no SD is stated this is Student's interval of the log ratios.",
		Assumes: "independent homes, one result each, drawn as other homes will be; errors shared by all of them go into Common.",
		Interval: "confidence. Asked for 95 %, it holds 93.5 to 98.5 % of ten homes and more, 93.4 to 99.8 % of five and over 94 % of fewer, where homes are normal; " +
			"89 % at worst where they are exponential. With q as it is it would hold 91 to 95 % of five and ten homes, because they are not known alike.",
		Notes: []string{"one-home", "agree-too-well", "no-spread-seen", "few-homes", "spread-unknown", "unbounded"},
		Sources: []analysis.Source{
			{Key: "hartung-knapp-2001", Cite: "Hartung and Knapp 2001, Stat. Med. 20:1771 and 3875 (from memory)"},
			{Key: "knapp-hartung-2003", Cite: "Knapp and Hartung 2003, Stat. Med. 22:2693 (from memory)", Part: "where q is not let below 1"},
		},
		Evidence: analysis.Evidence{Reference: inReference + "; TestPooledPublished", ByHand: "TestPooledByHand", Coverage: published},
	},
	{
		Key: TauMethod, Title: "how much homes differ in what a system does",
		Estimates: "how much homes differ in what the system does to them: the standard deviation of their true log ratios.",
		Formula: "τ as in the random-effects mean; limits are where Q(τ²) = Σ(y − μ)²/(SD² + τ²), about the mean of the same weights, is the upper and the lower quantile " +
			"of chi-squared with n − 1 degrees of freedom, 0 where it is less at τ = 0 already, and widened to the estimate where that lies outside.",
		Assumes: "independent homes whose log ratios are normal; unlike that of the mean, this interval does not forgive heavy tails.",
		Interval: "confidence. Asked for 95 %, it holds 94 to 98 % where homes are normal; where they are exponential, 93 % of few homes that differ little down to 75 % " +
			"of thirty that differ by e^0.6.",
		Notes:    []string{"spread-unknown"},
		Sources:  []analysis.Source{viechtbauer2007},
		Evidence: analysis.Evidence{Reference: inReference + "; TestPooledPublished", ByHand: "TestPooledByHand", Coverage: published},
	},
	{
		Key: NextMethod, Title: "the next home's ratio",
		Estimates: "the true ratio of the next home of the same kind.",
		Formula: "The mean of normals with mean μ(τ²) and variance 1/Σw + τ² + Common, over the τ² at which Q(τ²) is c, 0 where it is less at 0 already, c being chi-squared " +
			"with n − 1 degrees of freedom: what Q says of τ², in place of one estimate of it. Limits are its quantiles or, where they lie further out, those of the pooled mean " +
			"with what homes differ by added: μ ± √(m² + t²·τ²), m half of that mean's interval, and the quantiles of normals with mean μ and variance (m/z)² + τ² over the same τ². So no home " +
			"that was not measured is known as well as the middle of those that were, even where these differ by no more than their uncertainties. The value is the pooled ratio. Where no SD is stated this is Student's y ± t·s·√(1 + 1/n).",
		Assumes: "that the next home is drawn as the n were, and that log ratios are normal.",
		Interval: "prediction. Asked for 95 %, it holds 94 to 100 % of three homes or more, the less they differ the more, 92 to 99 % where they are exponential, and 98 % or more of two. " +
			"Student's t on n − 2 degrees of freedom with one τ would hold 84 to 94 % of five and ten homes that differ.",
		Notes: []string{"unbounded"},
		Sources: []analysis.Source{
			viechtbauer2007,
			{Key: "nagashima-2019", Cite: "Nagashima, Noma and Furukawa 2019, Stat. Methods Med. Res. 28:1689 (from memory)"},
			{Key: "higgins-2009", Cite: "Higgins, Thompson and Spiegelhalter 2009, J. R. Stat. Soc. A 172:137 (from memory)", Part: "the interval that it replaces"},
		},
		Evidence: analysis.Evidence{Reference: inReference, ByHand: "TestPooledByHand", Coverage: published},
	},
	{
		Key: HodgesLehmannMethod, Title: "the middle of homes' ratios, by ranks",
		Estimates: "the middle of the homes' ratios, which no single odd home can move: the median of a symmetric distribution of log ratios.",
		Formula: "e to the median of the n(n+1)/2 averages (yᵢ + yⱼ)/2, i ≤ j, of log ratios; limits are the c-th smallest of them and the c-th largest, c being the " +
			"largest whole number with P(W ≤ c − 1) ≤ α/2, or 1, where W is Wilcoxon's sum of signed ranks: counted out up to 50 homes, normal beyond.",
		Assumes: "independent homes whose log ratios scatter symmetrically, and nothing more of their distribution. Ties, as rounding makes them, only make the interval hold more often.",
		Interval: "confidence, never below what is asked for; up to five homes cannot reach 95 %, and then the widest there is stands with a note of what it holds. Of the geometric " +
			"mean ratio it holds 88 % at worst where homes are exponential, since that is not their middle.",
		Notes:    []string{"few-homes", "unbounded"},
		Sources:  []analysis.Source{hodgesLehmann1963, hollanderWolfe1999},
		Evidence: analysis.Evidence{Reference: inReference, ByHand: "TestRanksByHand", Coverage: published},
	},
	{
		Key: ShiftMethod, Title: "how far apart two groups of homes lie, by ranks",
		Estimates: "by what factor the homes of one group lie above those of another in the middle, which no single odd home can move.",
		Formula: "e to the median of the m·n differences xᵢ − yⱼ of logarithms; limits are the c-th smallest of them and the c-th largest, c being the largest whole number " +
			"with P(U ≤ c − 1) ≤ α/2, or 1, where U is Mann and Whitney's count: counted out up to 50 homes in each group, normal beyond.",
		Assumes: "independent homes, and that the logarithms of the two groups are distributed alike but for a shift, whatever that distribution is.",
		Interval: "confidence, never below what is asked for; two groups of three cannot reach 95 %, and then the widest there is stands with a note of what it holds. Groups of " +
			"unlike spread and size are no shift, and then 93 to 97 % hold.",
		Notes:    []string{"few-homes", "unbounded"},
		Sources:  []analysis.Source{hodgesLehmann1963, hollanderWolfe1999},
		Evidence: analysis.Evidence{Reference: inReference, ByHand: "TestRanksByHand", Coverage: published},
	},
	{
		Key: PairedTMethod, Title: "the geometric mean of homes' ratios, from these alone",
		Estimates: "the geometric mean of the ratios of homes, from the log ratios alone.",
		Formula:   "e^ȳ, and e^(ȳ ± t·s/√n) with ȳ and s the mean and standard deviation of the log ratios and t Student's with n − 1 degrees of freedom.",
		Assumes:   "independent pairs whose log ratios are about normal; how well each is known is not asked, so a home of two days counts as much as one of a year.",
		Interval:  "confidence, exact where log ratios are normal; 91 % at worst where they are exponential.",
		Notes:     []string{"unbounded"},
		Sources:   []analysis.Source{{Key: "student-1908", Cite: "Student 1908, Biometrika 6:1 (from memory), on log ratios"}},
		Evidence:  analysis.Evidence{Reference: inReference, ByHand: "TestPooledByHand", Coverage: published},
	},
	{
		Key: WelchMethod, Title: "homes with a system against other homes without",
		Estimates: "the ratio of their geometric means, with over without, and by what factor one lies below the other in the middle.",
		Formula:   "x̄ − ȳ ± t·√(s²ₓ/m + s²ᵧ/n) of logarithms, t Student's with (s²ₓ/m + s²ᵧ/n)²/(s⁴ₓ/(m²(m − 1)) + s⁴ᵧ/(n²(n − 1))) degrees of freedom, Welch's; e to that.",
		Assumes: "independent homes with logarithms about normal in each group, and that the groups would be alike without the system. They seldom are: systems go where radon is " +
			"high, so that the ratio makes a system look worse than it is.",
		Interval: "confidence, approximate. Asked for 95 %, it holds 94 to 96 % where logarithms are normal, of three homes a group on, and 92.5 to 97.5 % where they are exponential.",
		Notes:    []string{"unmatched", "few-homes", "unbounded"},
		Sources:  []analysis.Source{{Key: "welch-1947", Cite: "Welch 1947, Biometrika 34:28 (from memory), on logarithms"}},
		Evidence: analysis.Evidence{Reference: inReference, ByHand: "TestContrastByHand", Coverage: published},
	},
	{
		Key: CycleMethod, Title: "a system switched on and off",
		Estimates: "the ratio of the mean with the system on to that with it off, over the time of the trial, and the reduction, 100·(1 − ratio) %.",
		Formula: "Each period between two others is held against the time-weighted mean of those: d = ±(y − λa − (1 − λ)b), λ = (t_b − t)/(t_b − t_a), y, a, b being logarithms of " +
			"means and t middles of periods; d is ln ratio whatever straight line y drifts along. Neighbours share periods: with variances σ²/days of y, cov d = σ²·D·diag(1/days)·Dᵀ, " +
			"D holding the weights 1, −λ, −(1 − λ) with their signs. The generalized least squares mean of all d with that covariance is that of least squares of y on a straight line " +
			"and on/off, weighted by days, because D spans all that the line leaves; so this is what is computed, with t on what degrees of freedom are left. The line may bend after " +
			"every 6th period, so that a trial over a season needs no straight one.",
		Assumes: "that a period says nothing of the switch before it, that what else moves the radon, weather above all, goes on as it does whether the system is on or off, and " +
			"periods independent but for the drift. Drift that stays above what a line follows makes the interval wider than need be, and not narrower.",
		Interval: "confidence. Asked for 95 %, it holds 95.5 % of four periods up to 99.5 % of 52, where a season, weather of some days and chance move the days.",
		Notes:    []string{"unbounded"},
		Sources:  []analysis.Source{{Key: "aitken-1936", Cite: "Aitken 1936, Proc. R. Soc. Edinburgh 55:42 (from memory)", Part: "generalized least squares"}},
		Evidence: analysis.Evidence{Reference: inReference, ByHand: "TestCycleByHand", Coverage: published},
	},
	{
		Key: WilsonMethod, Title: "share of homes now below a level",
		Estimates: "the share of homes that are now below a level, in %, from how many of those measured are.",
		Formula:   "x/n; limits (x + z²/2 ± z·√(x(n − x)/n + z²/4))/(n + z²), Wilson's, z normal.",
		Assumes:   "independent homes, drawn as those are that the share is of, each known to be below or not.",
		Interval: "confidence, approximate. Asked for 95 %, it holds 95 to 96 % on average over shares of 5 to 95 %, of ten homes as of fifty, and for single ones of these 91 to 99 %; nearer to 0 and to 100 % " +
			"it falls to 83 % in places, since a single home on the rare side then shuts the share out: the upper limit of 29 homes of 30 is 99.4 %. That homes are known by an estimate is not in it. " +
			"Of annual means of which 98.4 % lay below a level 85.8 % of thirty held it (COVERAGE-homes.md), where 94 % would have of means known: in two districts of ten 99.7 % lay below, and one estimated above it was enough.",
		Sources: []analysis.Source{
			{Key: "wilson-1927", Cite: "Wilson 1927, J. Am. Stat. Assoc. 22:209 (from memory)"},
			{Key: "newcombe-1998", Cite: "Newcombe 1998, Stat. Med. 17:857 (from memory)"},
		},
		Evidence: analysis.Evidence{Reference: inReference + "; TestPooledPublished", ByHand: "TestPooledByHand", Coverage: "summed over all counts in TestShareBelowCoverage"},
	},
}

var (
	viechtbauer2007    = analysis.Source{Key: "viechtbauer-2007", Cite: "Viechtbauer 2007, Stat. Med. 26:37 (from memory)"}
	hodgesLehmann1963  = analysis.Source{Key: "hodges-lehmann-1963", Cite: "Hodges and Lehmann 1963, Ann. Math. Stat. 34:598 (from memory)"}
	hollanderWolfe1999 = analysis.Source{Key: "hollander-wolfe-1999", Cite: "Hollander and Wolfe 1999, Nonparametric Statistical Methods (from memory)", Part: "chapters 3 and 4"}
)
