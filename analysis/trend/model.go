package trend

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"

	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/temporal"
)

// model is what a home with a system does from day to day, in logs: the profile's own
// season, drift and noise, each times a factor.
type model struct {
	profile *temporal.Profile
	mean    float64 // times the mean season
	own     float64 // times how homes' seasons differ
	fast    float64 // times the drift of up to ten days
	slow    float64 // times the other, how years differ among it
	noise   float64 // times a day's own noise
	scale   float64 // of the variance from day to day, home over model
}

func newModel(p *temporal.Profile, ratio float64) *model {
	w := temporal.WorkOf(ratio)
	drift := math.Sqrt(w.Drift*w.Drift + w.OwnDrift)
	return &model{profile: p, mean: w.Season, own: math.Sqrt(w.Season*w.Season + w.OwnSeason), fast: drift, slow: drift, noise: 1, scale: 1}
}

// drift are the profile's, and the course of a year by which years differ.
func drift(p *temporal.Profile) []temporal.Component {
	return append(slices.Clip(p.Drift), temporal.Component{Days: 400, Variance: p.YearSD * p.YearSD})
}

// quick says whether a drift is one that a baseline can know.
func quick(c temporal.Component) bool { return c.Days <= 10 }

func (m *model) season(day int) float64 {
	sum := 0.0
	for i, x := range temporal.Regressors(day) {
		sum += m.mean * m.profile.Season.Mean[i] * x
	}
	return sum
}

// covariance of two days' logs about the expected season.
func (m *model) covariance(a, b int) float64 {
	v := 0.0
	if a == b {
		v = m.noise * m.noise * m.profile.DayNoise * m.profile.DayNoise
	}
	at := temporal.Regressors(b)
	for i, x := range temporal.Regressors(a) {
		v += m.own * m.own * m.profile.Season.Cov[i][i] * x * at[i]
	}
	lag := math.Abs(float64(a - b))
	for _, c := range drift(m.profile) {
		f := m.slow
		if quick(c) {
			f = m.fast
		}
		v += f * f * c.Variance * math.Exp(-lag/c.Days)
	}
	return v
}

// The least and the most that a home's variance from day to day is taken to be of the
// model's, so that neither a few calm days, or a monitor that rounds, nor a few wild ones
// set the limits alone. They are our choice.
const leastScale, mostScale = 0.25, 16

// fit scales the variances from day to day, which a baseline can know, to those of
// the home: by its squared differences from one day to the next over what the model
// expects of them, halfway in logs to the home at 15 differences, all the way with many,
// but never below leastScale or above mostScale. A home that varies more from day to day
// also has the root of that factor in its drifts beyond ten days; one that varies less
// keeps the model's, since calm days say little of how calm its months are.
func (m *model) fit(days []Day) {
	sum, expected, n := 0.0, 0.0, 0.0
	for i := 1; i < len(days); i++ {
		lag := days[i].Day - days[i-1].Day
		if lag > 3 {
			continue
		}
		d := math.Log(days[i].Mean/days[i-1].Mean) - m.season(days[i].Day) + m.season(days[i-1].Day)
		v := 2 * m.noise * m.noise * m.profile.DayNoise * m.profile.DayNoise
		for _, c := range drift(m.profile) {
			v += 2 * m.fast * m.fast * c.Variance * -math.Expm1(-float64(lag)/c.Days)
		}
		sum += d * d
		expected += v
		n++
	}
	if n == 0 || sum == 0 {
		return
	}
	m.scale = math.Exp(math.Log(sum/expected) * n / (n + 15))
	m.scale = min(max(m.scale, leastScale), mostScale)
	m.fast *= math.Sqrt(m.scale)
	m.noise *= math.Sqrt(m.scale)
	if m.scale > 1 {
		m.slow *= math.Sqrt(math.Sqrt(m.scale))
	}
}

// path is a home's record had nothing happened, in the parts that a model has factors
// for.
type path struct {
	coef              [temporal.Harmonics]float64 // of its own season
	fast, slow, noise []float64
}

// key is what paths depend on.
type key struct {
	profile     string
	seed        uint64
	paths, days int
}

var drawn numeric.Memo[key, []path]

// draw draws paths of so many days, which serve every baseline of every home. The
// same seed gives the same ones.
func draw(opt Options, days int) []path {
	p, components := opt.Profile, drift(opt.Profile)
	name := fmt.Sprint(p.Season.Cov, components, p.DayNoise)
	return drawn.Get(key{name, opt.Seed, opt.Paths, days}, func() []path {
		out := make([]path, opt.Paths)
		numeric.Each(len(out), func(k int) {
			r := rand.New(rand.NewPCG(opt.Seed, uint64(k)))
			all := make([]float64, 3*days)
			q := path{fast: all[:days], slow: all[days : 2*days], noise: all[2*days:]}
			for i := range q.coef {
				q.coef[i] = math.Sqrt(p.Season.Cov[i][i]) * r.NormFloat64()
			}
			state := make([]float64, len(components))
			phi, kick := make([]float64, len(components)), make([]float64, len(components))
			for i, c := range components {
				state[i] = math.Sqrt(c.Variance) * r.NormFloat64()
				phi[i] = math.Exp(-1 / c.Days)
				kick[i] = math.Sqrt(c.Variance * -math.Expm1(-2/c.Days))
			}
			for t := range days {
				q.noise[t] = p.DayNoise * r.NormFloat64()
				for i, c := range components {
					if quick(c) {
						q.fast[t] += state[i]
					} else {
						q.slow[t] += state[i]
					}
					state[i] = phi[i]*state[i] + kick[i]*r.NormFloat64()
				}
			}
			out[k] = q
		})
		return out
	})
}

// years are the paths as those of one home, which begin on a day of the year.
type years struct {
	paths []path
	own   [][]float64 // season of each, as the days go
}

func newYears(opt Options, first, days int) years {
	ys := years{paths: draw(opt, days)}
	at := make([][temporal.Harmonics]float64, days)
	for t := range at {
		at[t] = temporal.Regressors(first + t)
	}
	for _, p := range ys.paths {
		own := make([]float64, days)
		for t := range own {
			for i, x := range at[t] {
				own[t] += p.coef[i] * x
			}
		}
		ys.own = append(ys.own, own)
	}
	return ys
}

// span is for how many days after the baseline the limits are set: five years, or those
// in which one false alarm is asked for. Alarms are more frequent early, so that over a
// longer span more would come than were asked for.
func (o Options) span() int { return min(horizon, int(math.Round(365.25*o.FalseAlarmYears))) }

// simulated are in-control paths of z after a baseline, and the charts' highest values.
type simulated struct {
	z           [][]float64
	ewma, cusum []float64 // highest of each path
}

// simulate is what the charts do on each path by a model, with a baseline of n days of
// its own.
func (ys years) simulate(m *model, n int, opt Options) *simulated {
	s := &simulated{}
	k, span := math.Log(opt.Shift)/2, opt.span()
	for i, p := range ys.paths {
		own := ys.own[i]
		y := func(t int) float64 {
			return m.own*own[t] + m.fast*p.fast[t] + m.slow*p.slow[t] + m.noise*p.noise[t]
		}
		usual := 0.0
		for t := range n {
			usual += y(t) / float64(n)
		}
		z := make([]float64, horizon)
		var c charts
		topE, topC := 0.0, 0.0
		for t := range z {
			z[t] = y(n+t) - usual
			if t < span {
				c.step(z[t], k)
				topE, topC = max(topE, c.ewma), max(topC, c.cusum)
			}
		}
		s.z, s.ewma, s.cusum = append(s.z, z), append(s.ewma, topE), append(s.cusum, topC)
	}
	return s
}

// limits are such quantiles of both charts' highest values, of one rank, that the
// share of paths with an alarm is what the rate of false alarms comes to in the span.
func (s *simulated) limits(opt Options) (ewma, cusum float64) {
	n := len(s.ewma)
	e, c := slices.Sorted(slices.Values(s.ewma)), slices.Sorted(slices.Values(s.cusum))
	allowed := int(math.Floor(float64(n) * -math.Expm1(-float64(opt.span())/365.25/opt.FalseAlarmYears)))
	least := math.Log(opt.Shift) / 2 // of the CUSUM
	best := n - 1
	for rank := n - 1; rank >= 0; rank-- {
		alarms := 0
		for i := range n {
			if s.ewma[i] > e[rank] || s.cusum[i] > max(c[rank], least) {
				alarms++
			}
		}
		if alarms > allowed {
			break
		}
		best = rank
	}
	return max(e[best], 1e-6), max(c[best], least)
}

// delay adds a rise to each path, on a day within its first year on which no alarm
// was, and counts the days until one is.
func (s *simulated) delay(shift, ewma, cusum float64, opt Options) Delay {
	k, rise := math.Log(opt.Shift)/2, math.Log(shift)
	const year = 365
	var waits []float64
	for path, z := range s.z {
		begin := (path * 37) % year
		var c charts
		wait := math.Inf(1)
		for t := 0; t < begin+year; t++ {
			x := z[t]
			if t >= begin {
				x += rise
			}
			c.step(x, k)
			if t < begin && c.over(ewma, cusum) { // a false alarm: begun anew
				c = charts{}
			}
			if t >= begin && c.over(ewma, cusum) {
				wait = float64(t - begin + 1)
				break
			}
		}
		waits = append(waits, wait)
	}
	slices.Sort(waits)
	seen := 0
	for _, w := range waits {
		if !math.IsInf(w, 1) {
			seen++
		}
	}
	at := func(p float64) float64 { return waits[int(math.Ceil(p*float64(len(waits))))-1] }
	return Delay{Shift: shift, Seen: float64(seen) / float64(len(waits)), Median: at(0.5), Ninety: at(0.9)}
}
