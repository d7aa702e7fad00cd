package trend

import (
	"math"

	"gonum.org/v1/gonum/floats"
	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
)

// charts are the two of them on one day.
type charts struct{ ewma, cusum float64 }

// step takes one day's z, k the half of the shift in logs.
func (c *charts) step(z, k float64) {
	c.ewma = weight*z + (1-weight)*c.ewma
	c.cusum = max(0, c.cusum+z-k)
}

func (c charts) over(ewma, cusum float64) bool { return c.ewma > ewma || c.cusum > cusum }

// watch is both charts of a home over the days after one baseline.
type watch struct {
	opt         Options
	model       *model
	sim         *simulated
	last        int     // day of the baseline
	usual, gm   float64 // mean of its days in logs, without the season; their geometric mean
	ratio       float64
	ewma, cusum float64 // limits
	charts      charts
	state       State
	points      []Point
	fresh       int     // of points, the first since both charts last began
	down        float64 // the CUSUM's mirror while an alarm is on, and for how many days it has stood above zero
	downs       int
	alarms      []Alarmed
}

// newWatch takes a baseline; ys are what days like its own may do.
func newWatch(baseline []Day, ys years, opt Options) *watch {
	w := &watch{opt: opt, last: baseline[len(baseline)-1].Day, state: Quiet}
	level, mean := 0.0, 0.0
	for _, d := range baseline {
		level += math.Log(d.Mean) / float64(len(baseline))
		mean += d.Mean / float64(len(baseline))
	}
	w.gm, w.ratio = math.Exp(level), opt.Ratio
	if opt.Without > 0 {
		w.ratio = min(max(mean/opt.Without, 0.05), 1)
	}
	w.model = newModel(opt.Profile, w.ratio)
	for _, d := range baseline {
		w.usual += (math.Log(d.Mean) - w.model.season(d.Day)) / float64(len(baseline))
	}
	w.model.fit(baseline)
	w.sim = ys.simulate(w.model, len(baseline), opt)
	w.ewma, w.cusum = w.sim.limits(opt)
	return w
}

// back is how many measured days at least say that a level is down again.
const back = 14

// add takes the next day; only where one is due can it be the day of an alarm.
func (w *watch) add(d Day, due bool) {
	z, k := math.Log(d.Mean)-w.model.season(d.Day)-w.usual, math.Log(w.opt.Shift)/2
	w.charts.step(z, k)
	w.points = append(w.points, Point{d.Day, z, w.charts.ewma, w.charts.cusum})
	if w.state == Alarm {
		if w.down = max(0, w.down+k-z); w.down == 0 {
			w.downs = 0
		} else if w.downs++; w.downs >= back && w.down > w.cusum {
			w.state, w.charts, w.fresh = Recovered, charts{}, len(w.points)
			w.alarms[len(w.alarms)-1].End = d.Day
		}
		return
	}
	if !due || !w.charts.over(w.ewma, w.cusum) {
		return
	}
	a := Alarmed{Day: d.Day, Start: w.began()}
	switch {
	case w.charts.ewma > w.ewma && w.charts.cusum > w.cusum:
		a.Chart = "EWMA and CUSUM"
	case w.charts.ewma > w.ewma:
		a.Chart = "EWMA"
	default:
		a.Chart = "CUSUM"
	}
	w.alarms = append(w.alarms, a)
	w.state, w.down, w.downs = Alarm, 0, 0
}

// calm says whether both charts stand under half of their limits.
func (w *watch) calm() bool { return !w.charts.over(w.ewma/2, w.cusum/2) }

// longest is how many days before an alarm are searched for the start of its rise.
const longest = 365

// began is the first day of the step up that fits the days since both charts last
// began best, by generalised least squares with the model's covariance.
func (w *watch) began() int {
	ps := w.points[max(w.fresh, len(w.points)-longest):]
	n := len(ps)
	cov := mat.NewSymDense(n, nil)
	for i, p := range ps {
		for j := range i + 1 {
			cov.SetSym(i, j, w.model.covariance(p.Day, ps[j].Day))
		}
		cov.SetSym(i, i, cov.At(i, i)+1e-6) // in logs, nothing
	}
	var chol mat.Cholesky
	if !chol.Factorize(cov) {
		return ps[0].Day
	}
	var l, inverse mat.TriDense
	chol.LTo(&l)
	if err := inverse.InverseTri(&l); err != nil {
		return ps[0].Day
	}
	white := make([]float64, n) // the days, each less what those before it said
	for i := range n {
		for j := range i + 1 {
			white[i] += inverse.At(i, j) * ps[j].Z
		}
	}
	step := make([]float64, n) // a step that begins with day s, likewise
	best, start := math.Inf(-1), n-1
	for s := n - 1; s >= 0; s-- {
		dot, norm := 0.0, 0.0
		for i := s; i < n; i++ {
			step[i] += inverse.At(i, s)
			dot += step[i] * white[i]
			norm += step[i] * step[i]
		}
		if t := dot / math.Sqrt(norm); t > best {
			best, start = t, s
		}
	}
	return ps[start].Day
}

// rise is by what factor the level was up from the likely start of an alarm to where the
// CUSUM was highest, after which days are under half of the shift, with the spread that
// as many days have as long after the baseline in the simulated years. The start was
// chosen for its days being high, so that the rise is on average a little large.
func (w *watch) rise(a Alarmed) analysis.Estimate {
	sum, mean, n, count, top := 0.0, 0.0, 0, 0, -1.0
	for _, p := range w.points {
		if p.Day < a.Start || a.End > 0 && p.Day >= a.End {
			continue
		}
		sum += p.Z
		count++
		if p.CUSUM > top {
			top, mean, n = p.CUSUM, sum/float64(count), count
		}
	}
	v := 0.0
	for _, z := range w.sim.z {
		from := min(a.Start-w.last-1, len(z)-n)
		if from < 0 { // more days than are simulated
			from, n = 0, len(z)
		}
		m := floats.Sum(z[from:from+n]) / float64(n)
		v += m * m / float64(len(w.sim.z))
	}
	half := distuv.UnitNormal.Quantile((1+w.opt.Confidence)/2) * math.Sqrt(v)
	return analysis.Estimate{Quantity: "rise", Value: math.Exp(mean), Lower: math.Exp(mean - half), Upper: math.Exp(mean + half),
		Confidence: w.opt.Confidence, Kind: analysis.CredibleInterval, N: n, Method: WatchMethod}
}
