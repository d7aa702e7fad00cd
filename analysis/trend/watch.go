// Package trend answers: is a system still doing its work, or has something changed?
package trend

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/temporal"
)

// WatchMethod is the key of Watch in the list of methods.
const WatchMethod = "control-charts"

// Day is one civil day of a home whose system runs.
type Day struct {
	Day  int     // days since 1 January 1970
	Mean float64 // Bq/m³; the limit where every reading lay below it
}

// Options of Watch. The zero value is the documented default.
type Options struct {
	Profile         *temporal.Profile // nil: the built-in one, northern hemisphere
	Ratio           float64           // annual mean with the system over that without it; 0: 0.3
	FalseAlarmYears float64           // one false alarm in so many years, both charts together; 0: 5
	Shift           float64           // the rise to be detected, as a factor; 0: 2
	Confidence      float64           // of the rise's interval; 0: 0.95
	BaselineDays    int               // measured days that say what is usual; 0: half of them, from LeastBaseline to MostBaseline
	Seed            uint64            // of the simulated years behind the limits
	Paths           int               // how many are simulated; 0: 500
}

// The fewest and, unless asked for, the most measured days that say what is usual.
const (
	LeastBaseline = 14
	MostBaseline  = 90
)

// State is what the charts say on the last day.
type State string

// Quiet: no alarm, which means unchanged and not low. Alarm: one that is not over.
// Recovered: there was one, and then fourteen measured days in a row were on average
// under half of the EWMA's limit; both charts then begin anew.
const (
	Quiet     State = "quiet"
	Alarm     State = "alarm"
	Recovered State = "recovered"
)

// Point is both charts on one measured day.
type Point struct {
	Day         int
	Z           float64 // ln of the day over what was usual then
	EWMA, CUSUM float64
}

// Alarmed is an alarm.
type Alarmed struct {
	Day, Start int    // of the alarm, and the likely first day of the rise
	End        int    // the day on which the level had been back for two weeks of measured days; 0 if it is not
	Chart      string // "EWMA", "CUSUM" or both
	Ratio      analysis.Estimate
}

// Delay is how long a rise goes unseen.
type Delay struct {
	Shift  float64 // factor on the level
	Seen   float64 // share of such rises seen within a year
	Median float64 // measured days until half of all are seen; +Inf if they are not within a year
	Ninety float64 // until nine in ten are
}

// Result is one system watched.
type Result struct {
	From, To              int // first and last day of the baseline
	Days                  int // measured in it
	GM                    float64
	Points                []Point // after the baseline
	EWMALimit, CUSUMLimit float64
	State                 State
	Alarm                 *Alarmed  // the latest
	Earlier               []Alarmed // alarms before it, in order
	Detect                []Delay
	FalseAlarmYears       float64
	Watched               int     // days measured after the baseline
	Scale                 float64 // of the day-to-day variance, home over model
	Notes                 []analysis.Note
}

const (
	stuck       = 29  // days in a row the same as the one before, at the end; a low home in whole numbers has some
	longGap     = 14  // days
	hardlyLower = 0.8 // of the level without the system
)

const (
	weight  = 0.15 // of the newest day in the EWMA
	horizon = 1826 // days simulated after the baseline, five years
)

// Watch keeps two control charts of a system's day means: an exponentially weighted
// moving average, which sees slow rises, and a cumulative sum, which sees when one began.
//
// It estimates whether, and since when, the level is higher than usual, and by what
// factor.
//
// Formula. z = ln(day mean) − its mean over the baseline − the expected season, which
// the system flattens. EWMA: E = 0.15 z + 0.85 E. CUSUM: S = max(0, S + z − ln(shift)/2).
// Both count measured days. An alarm is a day with E or S over its limit. The limits
// are of the same height in the home's own terms: five years of days like its own are
// simulated many times from the model of temporal.Work, season, drift and noise, with
// a drift of 400 days for how years differ, each with a baseline of its own as long as
// the home's; variances from day to day are scaled to the home's, by the n differences
// of its baseline as far as n/(n + 15), up to 16 times and the root of it beyond ten days; the limits are the quantiles of the highest E and S at which
// a share 1 − e^(−5/years) of those five years has an alarm, the CUSUM's no lower than
// ln(shift)/2, so that in a very steady home one day is no alarm.
//
// Assumes that the home varies as the profile's homes do with a system; that what is
// usual did not change within the baseline; and that gaps are short.
//
// Interval: of the rise, rough: from the spread of the same simulated years, of days
// chosen for being high; how often it holds, the rate of false alarms and the delays are
// published in COVERAGE.md beside this package.
//
// Notes: short-baseline, restless-home, slow-to-see, gap, hardly-lower.
//
// Source: Roberts 1959, Technometrics 1:239 (EWMA); Page 1954, Biometrika 41:100
// (CUSUM); limits of autocorrelated series by simulation as in Lu and Reynolds 1999,
// J. Qual. Technol. 31:259 (all from memory).
func Watch(days []Day, opt Options) (Result, error) {
	if err := opt.check(); err != nil {
		return Result{}, err
	}
	days = slices.Clone(days)
	slices.SortStableFunc(days, func(a, b Day) int { return a.Day - b.Day })
	for i, d := range days {
		switch {
		case !(d.Mean > 0) || math.IsInf(d.Mean, 0):
			return Result{}, fmt.Errorf("a day mean of %v Bq/m³ has no logarithm; leave out days on which the detector was dead", d.Mean)
		case i > 0 && d.Day == days[i-1].Day:
			return Result{}, fmt.Errorf("two means of one day; watch one detector in one room")
		}
	}
	n := opt.BaselineDays
	if n == 0 {
		n = min(max(len(days)/2, LeastBaseline), MostBaseline)
	}
	if len(days) <= n {
		return Result{}, fmt.Errorf("%d %s with the system running; what is usual takes %d, and then days to watch", len(days), map[bool]string{true: "day", false: "days"}[len(days) == 1], n)
	}
	m := newModel(opt)
	r := Result{From: days[0].Day, To: days[n-1].Day, Days: n, FalseAlarmYears: opt.FalseAlarmYears, Watched: len(days) - n}
	usual := 0.0
	for _, d := range days[:n] {
		usual += (math.Log(d.Mean) - m.season(d.Day)) / float64(n)
	}
	level := 0.0
	for _, d := range days[:n] {
		level += math.Log(d.Mean) / float64(n)
	}
	r.GM = math.Exp(level)
	r.Scale = m.fit(days[:n])
	if r.Scale > temporal.Restless {
		r.note("restless-home", "its days vary more than the model's, by a factor of %.1f in variance, and the limits allow for that; it takes longer to see a change", r.Scale)
	}
	run := 0
	for i := len(days) - 1; i > 0 && days[i].Mean == days[i-1].Mean; i-- {
		run++
	}
	if run >= stuck {
		return Result{}, fmt.Errorf("the last %d days are all the same, which no home's are; look whether the monitor is alive", run+1)
	}
	for i := n; i < len(days); i++ {
		if gap := days[i].Day - days[i-1].Day; gap > longGap {
			r.note("gap", "%d days were not measured before %s, and nothing is known of them", gap-1, temporal.Date(days[i].Day, time.UTC).Format(time.DateOnly))
		}
	}
	if opt.Ratio > hardlyLower {
		r.note("hardly-lower", "the days with the system are hardly lower than those without (×%.2f), so that there is little for the charts to watch: radonyear compare says whether it does anything", opt.Ratio)
	}
	if n < 30 {
		r.note("short-baseline", "what is usual rests on %d days; after a month or more of them, watch anew with --baseline", n)
	}
	sim := m.simulate(days[0].Day, n)
	r.EWMALimit, r.CUSUMLimit = sim.limits(opt)
	r.watch(days[n:], m, usual, opt)
	shifts := []float64{opt.Shift}
	if dead := 1 / opt.Ratio; dead > 1.01*opt.Shift || dead < 0.99*opt.Shift && dead > 1 {
		shifts = append(shifts, dead) // a system that does nothing any more
	}
	for _, shift := range shifts {
		d := sim.delay(shift, r.EWMALimit, r.CUSUMLimit, opt)
		r.Detect = append(r.Detect, d)
		if shift == opt.Shift && d.Seen < 0.9 {
			r.note("slow-to-see", "a rise by a factor of %g is seen within a year in %.0f %% of such cases only: this home varies too much for more at one false alarm in %g years; a yearly retest sees what the chart does not", shift, 100*d.Seen, opt.FalseAlarmYears)
		}
	}
	for i := range r.Earlier {
		r.Earlier[i].Ratio = r.rise(r.Earlier[i], sim, opt)
	}
	if r.Alarm != nil {
		r.Alarm.Ratio = r.rise(*r.Alarm, sim, opt)
	}
	return r, nil
}

func (o *Options) check() error {
	if o.Profile == nil {
		o.Profile = temporal.BuiltIn(false)
	}
	if o.Ratio == 0 {
		o.Ratio = 0.3
	}
	if o.FalseAlarmYears == 0 {
		o.FalseAlarmYears = 5
	}
	if o.Shift == 0 {
		o.Shift = 2
	}
	if o.Confidence == 0 {
		o.Confidence = 0.95
	}
	if o.Paths == 0 {
		o.Paths = 500
	}
	switch {
	case !(o.Ratio > 0) || math.IsInf(o.Ratio, 0):
		return fmt.Errorf("a ratio of %v; it is that of the mean with the system to the mean without", o.Ratio)
	case !(o.FalseAlarmYears >= 0.5 && o.FalseAlarmYears <= 50):
		return fmt.Errorf("one false alarm in %v years; ask for 0.5 to 50", o.FalseAlarmYears)
	case !(o.Shift > 1 && o.Shift <= 100):
		return fmt.Errorf("a rise by a factor of %v; ask for more than 1 and up to 100", o.Shift)
	case !(o.Confidence >= 0.5 && o.Confidence < 1):
		return fmt.Errorf("a confidence of %v; it lies between 0.5 and 1, such as 0.95", o.Confidence)
	case o.BaselineDays != 0 && (o.BaselineDays < LeastBaseline || o.BaselineDays > 1000):
		return fmt.Errorf("a baseline of %d days; what is usual takes %d to 1000", o.BaselineDays, LeastBaseline)
	case o.Paths < 100 || o.Paths > 100000:
		return fmt.Errorf("%d simulated paths; 100 to 100000", o.Paths)
	}
	return nil
}

func (r *Result) note(code, format string, args ...any) {
	r.Notes = append(r.Notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
}

// model is what a home with a system does from day to day, in logs.
type model struct {
	opt   Options
	mean  [temporal.Harmonics]float64 // of the season
	sd    [temporal.Harmonics]float64
	drift []temporal.Component
	noise float64
}

func newModel(opt Options) *model {
	p, w := opt.Profile, temporal.WorkOf(opt.Ratio)
	m := &model{opt: opt, noise: p.DayNoise}
	for i := range m.mean {
		m.mean[i] = w.Season * p.Season.Mean[i]
		m.sd[i] = math.Sqrt((w.Season*w.Season + w.OwnSeason) * p.Season.Cov[i][i])
	}
	share := w.Drift*w.Drift + w.OwnDrift
	for _, c := range p.Drift {
		m.drift = append(m.drift, temporal.Component{Days: c.Days, Variance: share * c.Variance})
	}
	// Years differ, and a year's difference comes in the course of one.
	m.drift = append(m.drift, temporal.Component{Days: 400, Variance: share * p.YearSD * p.YearSD})
	return m
}

func (m *model) season(day int) float64 {
	sum := 0.0
	for i, x := range temporal.Regressors(day) {
		sum += m.mean[i] * x
	}
	return sum
}

// fit scales the variances from day to day, which a baseline can know, to those of
// the home: of its differences from one day to the next over what the model expects,
// halfway in logs to the home at 15 differences, all the way with many.
func (m *model) fit(days []Day) float64 {
	sum, expected, n := 0.0, 0.0, 0.0
	for i := 1; i < len(days); i++ {
		lag := days[i].Day - days[i-1].Day
		if lag > 3 {
			continue
		}
		d := math.Log(days[i].Mean/days[i-1].Mean) - m.season(days[i].Day) + m.season(days[i-1].Day)
		v := 2 * m.noise * m.noise
		for _, c := range m.drift {
			v += 2 * c.Variance * -math.Expm1(-float64(lag)/c.Days)
		}
		sum += d * d
		expected += v
		n++
	}
	if n == 0 || sum == 0 {
		return 1
	}
	scale := math.Exp(math.Log(sum/expected) * n / (n + 15))
	scale = min(max(scale, 0.25), 16)
	for i, c := range m.drift {
		if c.Days <= 10 {
			m.drift[i].Variance *= scale
		} else if scale > 1 { // what varies more from day to day does so over weeks
			m.drift[i].Variance *= math.Sqrt(scale)
		}
	}
	m.noise *= math.Sqrt(scale)
	return scale
}

// charts are the two of them on one day.
type charts struct{ ewma, cusum float64 }

// step takes one day's z, k the half of the shift in logs.
func (c *charts) step(z, k float64) {
	c.ewma = weight*z + (1-weight)*c.ewma
	c.cusum = max(0, c.cusum+z-k)
}

func (c charts) over(ewma, cusum float64) bool { return c.ewma > ewma || c.cusum > cusum }

// simulated are in-control paths of z after a baseline, and the charts' highest values.
type simulated struct {
	z           [][]float64
	ewma, cusum []float64 // highest of each path
}

// simulate draws paths as the home's record would look had nothing happened, each
// with a baseline of n days of its own. The same seed gives the same paths.
func (m *model) simulate(first, n int) *simulated {
	s := &simulated{}
	k := math.Log(m.opt.Shift) / 2
	for path := range m.opt.Paths {
		r := rand.New(rand.NewPCG(m.opt.Seed, uint64(path)))
		var coef [temporal.Harmonics]float64
		for i, sd := range m.sd {
			coef[i] = sd * r.NormFloat64()
		}
		state := make([]float64, len(m.drift))
		phi, kick := make([]float64, len(m.drift)), make([]float64, len(m.drift))
		for i, c := range m.drift {
			state[i] = math.Sqrt(c.Variance) * r.NormFloat64()
			phi[i] = math.Exp(-1 / c.Days)
			kick[i] = math.Sqrt(c.Variance * -math.Expm1(-2/c.Days))
		}
		z := make([]float64, n+horizon)
		usual := 0.0
		for t := range z {
			y := m.noise * r.NormFloat64()
			for i, x := range temporal.Regressors(first + t) {
				y += coef[i] * x
			}
			for i := range state {
				y += state[i]
				state[i] = phi[i]*state[i] + kick[i]*r.NormFloat64()
			}
			z[t] = y
			if t < n {
				usual += y / float64(n)
			}
		}
		z = z[n:]
		var c charts
		topE, topC := 0.0, 0.0
		for t := range z {
			z[t] -= usual
			c.step(z[t], k)
			topE, topC = max(topE, c.ewma), max(topC, c.cusum)
		}
		s.z, s.ewma, s.cusum = append(s.z, z), append(s.ewma, topE), append(s.cusum, topC)
	}
	return s
}

// limits are such quantiles of both charts' highest values, of one rank, that the
// share of paths with an alarm is what the rate of false alarms comes to in five
// years.
func (s *simulated) limits(opt Options) (ewma, cusum float64) {
	n := len(s.ewma)
	e, c := slices.Sorted(slices.Values(s.ewma)), slices.Sorted(slices.Values(s.cusum))
	allowed := int(math.Floor(float64(n) * -math.Expm1(-horizon/365.25/opt.FalseAlarmYears)))
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

// back is how many measured days in a row say that a level is down again.
const back = 14

// watch runs both charts over the days after the baseline.
func (r *Result) watch(days []Day, m *model, usual float64, opt Options) {
	k := math.Log(opt.Shift) / 2
	var c charts
	start := days[0].Day
	var since []float64 // z from an alarm on
	r.State = Quiet
	for _, d := range days {
		z := math.Log(d.Mean) - m.season(d.Day) - usual
		if c.cusum == 0 {
			start = d.Day
		}
		c.step(z, k)
		r.Points = append(r.Points, Point{d.Day, z, c.ewma, c.cusum})
		if r.State == Alarm {
			since = append(since, z)
			if n := len(since) - back; n >= 0 && floats.Sum(since[n:])/back < r.EWMALimit/2 {
				r.State, r.Alarm.End, c = Recovered, d.Day, charts{}
			}
			continue
		}
		if !c.over(r.EWMALimit, r.CUSUMLimit) {
			continue
		}
		a := &Alarmed{Day: d.Day, Start: start}
		switch {
		case c.ewma > r.EWMALimit && c.cusum > r.CUSUMLimit:
			a.Chart = "EWMA and CUSUM"
		case c.ewma > r.EWMALimit:
			a.Chart = "EWMA"
		default:
			a.Chart = "CUSUM"
		}
		if r.Alarm != nil {
			r.Earlier = append(r.Earlier, *r.Alarm)
		}
		r.State, r.Alarm, since = Alarm, a, nil
	}
}

// rise is by what factor the level was up from the likely start of an alarm to where the
// CUSUM was highest, after which days are under half of the shift, with the spread that as many days have in
// the simulated years. The start was chosen for its days being high, so that the
// rise is on average a little large.
func (r *Result) rise(a Alarmed, s *simulated, opt Options) analysis.Estimate {
	sum, mean, n, count, top := 0.0, 0.0, 0, 0, -1.0
	for _, p := range r.Points {
		if p.Day < a.Start || a.End > 0 && p.Day >= a.End {
			continue
		}
		sum += p.Z
		count++
		if p.CUSUM > top {
			top, mean, n = p.CUSUM, sum/float64(count), count
		}
	}
	var means []float64
	for _, z := range s.z {
		m := 0.0
		for t := range n { // at another time of the year in each
			m += z[(37*len(means)+t)%len(z)] / float64(n)
		}
		means = append(means, m)
	}
	v := 0.0
	for _, m := range means {
		v += m * m / float64(len(means))
	}
	half := distuv.UnitNormal.Quantile((1+opt.Confidence)/2) * math.Sqrt(v)
	return analysis.Estimate{Quantity: "rise", Value: math.Exp(mean), Lower: math.Exp(mean - half), Upper: math.Exp(mean + half),
		Confidence: opt.Confidence, Kind: analysis.CredibleInterval, N: n, Method: WatchMethod}
}

// Methods are the methods of this package.
var Methods = []analysis.Method{{
	Key:       WatchMethod,
	Title:     "control charts of a working system",
	Estimates: "whether, and since when, the level is higher than usual, and by what factor.",
	Formula:   "z = ln(day mean) − its mean over the baseline − the expected season, which the system flattens. EWMA: E = 0.15 z + 0.85 E. CUSUM: S = max(0, S + z − ln(shift)/2). Both count measured days. An alarm is a day with E or S over its limit. The limits are of the same height in the home's own terms: five years of days like its own are simulated many times from the model of temporal.Work, season, drift and noise, with a drift of 400 days for how years differ, each with a baseline of its own as long as the home's; variances from day to day are scaled to the home's, by the n differences of its baseline as far as n/(n + 15), up to 16 times and the root of it beyond ten days; the limits are the quantiles of the highest E and S at which a share 1 − e^(−5/years) of those five years has an alarm, the CUSUM's no lower than ln(shift)/2, so that in a very steady home one day is no alarm.",
	Assumes:   "that the home varies as the profile's homes do with a system; that what is usual did not change within the baseline; and that gaps are short.",
	Interval:  "of the rise, rough: from the spread of the same simulated years, of days chosen for being high; how often it holds, the rate of false alarms and the delays are published in COVERAGE.md beside this package.",
	Notes:     []string{"short-baseline", "restless-home", "slow-to-see", "gap", "hardly-lower"},
	Sources: []analysis.Source{
		{Key: "roberts-1959", Cite: "Roberts 1959, Technometrics 1:239 (from memory)"},
		{Key: "page-1954", Cite: "Page 1954, Biometrika 41:100 (from memory)"},
		{Key: "lu-reynolds-1999", Cite: "Lu and Reynolds 1999, J. Qual. Technol. 31:259 (from memory)"},
	},
	Evidence: analysis.Evidence{Reference: "TestPublished, run lengths of a printed chart", ByHand: "TestByHand", Coverage: "COVERAGE.md"},
}}
