package lognormal

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// CoverageSetting is one kind of simulated sample: N homes with this geometric
// standard deviation, this share of them below a fixed limit, each value with an
// error of this much on its logarithm. The geometric mean is 100 Bq/m³; a Threshold,
// Bq/m³, is added to every value and asked for alone. An Outdoor level, Bq/m³, is added to
// every value, error and all, and taken off again. Rounded values are known to that many
// Bq/m³; of Classes it is known between which of 50, 100, 200 and 400 Bq/m³ a value lies.
type CoverageSetting struct {
	N                               int
	GSD, Censored, Error, Threshold float64
	Outdoor, Rounded                float64
	Classes                         bool
}

func (s CoverageSetting) String() string {
	text := fmt.Sprintf("%d homes, GSD %g", s.N, s.GSD)
	if s.Censored > 0 {
		text += fmt.Sprintf(", %g %% below the limit", 100*s.Censored)
	}
	if s.Error > 0 {
		text += fmt.Sprintf(", errors of %g %%", 100*s.Error)
	}
	if s.Threshold > 0 {
		text += fmt.Sprintf(", from %g Bq/m³ on", s.Threshold)
	}
	if s.Outdoor > 0 {
		text += fmt.Sprintf(", %g Bq/m³ outdoors", s.Outdoor)
	}
	if s.Rounded > 0 {
		text += fmt.Sprintf(", rounded to %g Bq/m³", s.Rounded)
	}
	if s.Classes {
		text += ", in classes"
	}
	return text
}

// CoverageSettings are those of the published table.
func CoverageSettings() (all []CoverageSetting) {
	for _, n := range []int{2, 3, 4, 5, 10, 20, 50} {
		for _, gsd := range []float64{2, 3, 4} {
			all = append(all, CoverageSetting{N: n, GSD: gsd})
		}
	}
	for _, n := range []int{5, 10, 20, 50} {
		for _, gsd := range []float64{2, 3, 4} {
			for _, c := range []float64{0.3, 0.6} {
				all = append(all, CoverageSetting{N: n, GSD: gsd, Censored: c})
			}
		}
	}
	// Where most lie below: of more than four in five no mean is given, and what lies above
	// the limit alone is told.
	for _, n := range []int{10, 20, 50} {
		for _, gsd := range []float64{2, 3} {
			all = append(all, CoverageSetting{N: n, GSD: gsd, Censored: 0.75})
		}
	}
	for _, n := range []int{20, 50} {
		for _, gsd := range []float64{2, 3} {
			all = append(all, CoverageSetting{N: n, GSD: gsd, Censored: 0.88})
		}
	}
	all = append(all, CoverageSetting{N: 20, GSD: 2, Error: 0.2}, CoverageSetting{N: 20, GSD: 2, Censored: 0.3, Error: 0.2},
		CoverageSetting{N: 10, GSD: 2, Error: 0.1}, CoverageSetting{N: 10, GSD: 3, Error: 0.2}, CoverageSetting{N: 10, GSD: 1.5, Error: 0.3}, CoverageSetting{N: 50, GSD: 1.5, Error: 0.3},
		CoverageSetting{N: 10, GSD: 2, Rounded: 20}, CoverageSetting{N: 10, GSD: 2, Rounded: 100}, CoverageSetting{N: 50, GSD: 2, Rounded: 100}, CoverageSetting{N: 50, GSD: 3, Rounded: 20},
		CoverageSetting{N: 10, GSD: 2, Classes: true}, CoverageSetting{N: 20, GSD: 3, Classes: true}, CoverageSetting{N: 50, GSD: 2, Classes: true},
		CoverageSetting{N: 10, GSD: 2, Outdoor: 50, Error: 0.1}, CoverageSetting{N: 20, GSD: 3, Outdoor: 100}, CoverageSetting{N: 20, GSD: 3, Outdoor: 100, Error: 0.1}, CoverageSetting{N: 50, GSD: 2, Outdoor: 100, Error: 0.2})
	for _, n := range []int{20, 50, 200} {
		for _, gsd := range []float64{2, 3} {
			all = append(all, CoverageSetting{N: n, GSD: gsd, Threshold: 20})
		}
	}
	return all
}

// closedMean is a mean by the default method whose upper limit is not open, told apart
// for ten homes and fewer, and where most lie below a limit: it is those that Describe
// gives as a mean.
const closedMean = "mean with upper limit"

// CoverageTable draws so many samples of one setting and counts how often each
// interval asked for at 95 % held the truth. The same trials and setting give the
// same rows.
func CoverageTable(s CoverageSetting, trials int) []analysis.CoverageRow {
	if s.Threshold > 0 {
		return thresholdCoverage(s, trials)
	}
	sigma := math.Log(s.GSD)
	const level, far = 0.1, 0.02 // the shares of homes above the levels asked about
	mu := math.Log(100)
	limit := math.Exp(mu + sigma*numeric.NormalQuantile(max(s.Censored, 1e-300)))
	at := func(share float64) float64 { return math.Exp(mu - sigma*numeric.NormalQuantile(share)) }
	above := at(level)
	opt := FitOptions{Levels: []float64{above}, Quantiles: []float64{1 - level}}
	if s.Censored > mostly { // the first level lies near the limit, this one far above
		opt.Levels, opt.Quantiles = append(opt.Levels, at(far)), append(opt.Quantiles, 1-far)
	}
	truth := map[string]float64{
		"GM": 100, "GSD": s.GSD, "mean": 100 * math.Exp(sigma*sigma/2), "next home": math.NaN(),
		"90 % quantile": above, "share above": level, "98 % quantile": at(far), "share far above": far,
	}
	seed := s.GSD + 10*s.Censored + 100*s.Error + 1e4*s.Outdoor + 1e7*s.Rounded
	if s.Classes {
		seed += 1e10
	}
	rng := rand.New(rand.NewPCG(uint64(s.N), math.Float64bits(seed)))
	c := newCounter()
	for trial := range trials {
		var obs []Observation
		var x []float64
		for range s.N {
			v := math.Exp(mu+sigma*rng.NormFloat64()) + s.Outdoor
			if s.Error > 0 {
				v *= math.Exp(s.Error * rng.NormFloat64())
			}
			switch x = append(x, v); {
			case v < limit && s.Censored > 0:
				obs = append(obs, Observation{0, limit, s.Error})
			case s.Rounded > 0:
				obs = append(obs, Rounded(s.Rounded*math.Round(v/s.Rounded), s.Rounded))
			case s.Classes:
				obs = append(obs, class(v))
			default:
				obs = append(obs, Observation{v, v, s.Error})
			}
		}
		obs, err := SubtractOutdoor(obs, s.Outdoor)
		if err != nil {
			continue
		}
		truth["next home"] = math.Exp(mu + sigma*rng.NormFloat64())
		add := func(quantity string, e *analysis.Estimate, err error) {
			if err != nil || e == nil {
				return
			}
			c.add(quantity, truth[quantity], *e)
			if quantity == "mean" && (s.N <= 10 || s.Censored > 0.6) && !math.IsInf(e.Upper, 1) && (e.Method == string(Land) || e.Method == string(AdjustedLikelihood)) {
				c.add(closedMean, truth[quantity], *e)
			}
		}
		methods := []FitMethod{AdjustedLikelihood, ProfileLikelihood}
		if s.complete() {
			methods = []FitMethod{""}
			sample, err := NewSample(x)
			if err != nil {
				continue
			}
			for _, m := range []MeanMethod{MOVER, Generalized, Profile} {
				r, err := Mean(sample, MeanOptions{Method: m})
				add("mean", &r.Mean, err)
			}
			if s.N >= 5 && trial < trials/4 { // two thousand resamples each are dear
				r, err := BCa(x, BCaOptions{Resamples: 2000, Seed: uint64(trial)})
				add("mean", &r.Mean, err)
			}
			above, err := Counted(countAbove(x, above), s.N, above, Options{})
			add("share above", &above, err)
		}
		for _, m := range methods {
			opt.Method = m
			r, err := Fit(obs, opt)
			if err != nil {
				continue // rows tells by the number
			}
			add("GM", r.GM, nil)
			add("GSD", r.GSD, nil)
			add("mean", r.Mean, nil)
			if r.Next != nil {
				add("next home", r.Next, nil)
			}
			for _, q := range r.Quantiles {
				add(map[float64]string{1 - level: "90 % quantile", 1 - far: "98 % quantile"}[q.P], &q.Quantile, nil)
			}
			for _, a := range r.Above {
				add(map[float64]string{above: "share above", at(far): "share far above"}[a.Level], &a.Fraction, nil)
			}
		}
	}
	return c.rows(s.String(), trials)
}

// complete is whether all values are known as they stand.
func (s CoverageSetting) complete() bool {
	return s.Censored == 0 && s.Error == 0 && s.Outdoor == 0 && s.Rounded == 0 && !s.Classes
}

// class is all that classes tell of a value.
func class(v float64) Observation {
	lower := 0.0
	for _, border := range []float64{50, 100, 200, 400, math.Inf(1)} {
		if v < border {
			return Between(lower, border)
		}
		lower = border
	}
	return Exact(v) // none lies beyond all numbers
}

func thresholdCoverage(s CoverageSetting, trials int) []analysis.CoverageRow {
	rng := rand.New(rand.NewPCG(uint64(s.N), math.Float64bits(s.GSD+1000*s.Threshold)))
	c := newCounter()
	x := make([]float64, s.N)
	for range trials {
		for i := range x {
			x[i] = s.Threshold + 100*math.Exp(math.Log(s.GSD)*rng.NormFloat64())
		}
		if r, err := Threshold(x, Options{}); err == nil {
			c.add("threshold", s.Threshold, r.Threshold)
		}
	}
	return c.rows(s.String(), trials)
}

func countAbove(x []float64, level float64) (n int) {
	for _, v := range x {
		if v > level {
			n++
		}
	}
	return n
}

// counter gathers intervals by quantity and method.
type counter struct {
	at    map[[2]string]*tally
	order [][2]string
}

type tally struct {
	held, under, over int
	widths            []float64
}

func newCounter() *counter { return &counter{at: map[[2]string]*tally{}} }

func (c *counter) of(quantity, method string) *tally {
	key := [2]string{quantity, method}
	if c.at[key] == nil {
		c.at[key] = &tally{}
		c.order = append(c.order, key)
	}
	return c.at[key]
}

func (c *counter) add(quantity string, truth float64, e analysis.Estimate) {
	t := c.of(quantity, e.Method)
	switch {
	case truth < e.Lower:
		t.under++
	case truth > e.Upper:
		t.over++
	default:
		t.held++
	}
	if quantity == "threshold" { // may be negative
		t.widths = append(t.widths, e.Upper-e.Lower)
	} else {
		t.widths = append(t.widths, e.Upper/e.Lower)
	}
}

func (c *counter) rows(setting string, trials int) (rows []analysis.CoverageRow) {
	slices.SortStableFunc(c.order, func(a, b [2]string) int { return slices.Compare(a[:], b[:]) })
	for _, key := range c.order {
		t := c.at[key]
		n := float64(len(t.widths))
		tried := trials
		if key[1] == "bca" {
			tried = trials / 4
		}
		slices.Sort(t.widths)
		rows = append(rows, analysis.CoverageRow{
			Quantity: key[0], Method: key[1], Setting: setting, Trials: tried, Asked: 0.95, Answered: n / float64(tried),
			Held: float64(t.held) / n, Under: float64(t.under) / n, Over: float64(t.over) / n, Width: t.widths[len(t.widths)/2],
		})
	}
	return rows
}
