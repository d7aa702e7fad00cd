package temporal

import (
	"fmt"
	"math"
)

// Work says how a mitigation system changes what a home does in the year. With it
//
//	ln C(day) = level + step + Season·season(day) + Drift·drift(day) + what is its own
//
// A fan takes soil gas away but not the air exchange that thins what is left, so
// the swings become smaller and part of them stay common. The step is unknown.
type Work struct {
	Season    float64 // of the home's season, the share that is left, on logs
	OwnSeason float64 // a season that comes only with the system: times the profile's covariance
	Drift     float64 // of the home's drift, the share that is left, on logs
	OwnDrift  float64 // a drift that comes only with the system: times the profile's variances
	Step      *Normal // prior of the step, nil for none
}

// WorkOf is how a system changes a home's swings that leaves the ratio r of its
// annual mean: of the season r² is left and of the drift (1 + r)/2, on logs; with it
// come a season of 0.45·(1 − r) and a drift of 0.2·(1 − r) of the profile's variances.
// The air outdoors, below which no fan brings a home, is no part of it: it would be added
// to concentrations and not to their logs, so that a day's weight would depend on the step
// that is looked for; and it matters only where a home is near it anyway, of which compare
// says to go by the level.
// The shares were set by trial on homes of a mass balance with fans of 60 to 99 %.
func WorkOf(r float64) Work {
	r = min(r, 1)
	return Work{Season: r * r, OwnSeason: 0.45 * (1 - r), Drift: (1 + r) / 2, OwnDrift: 0.2 * (1 - r)}
}

// side is which of a home's observations are meant.
type side int8

const (
	without    side = iota // the system was not there, or off
	with                   // it ran
	everything             // there is none
)

// Pair is what is known of one year's mean without and with a system, both of the
// same twelve months, and of their ratio, of which errors that both share fall out.
type Pair struct {
	Without, With Posterior
	LogRatio      float64 // ln(with/without), the middle of a normal
	RatioSD       float64
	RatioApart    float64 // the part of RatioSD, in quadrature, of instruments
}

// Pair conditions the profile on what was seen without and with a system, which
// h.Work describes, and returns the annual means of both and their ratio. Formula,
// assumptions and errors are those of Posterior, and there have to be observations
// on both sides; the long run is not to be had.
func (p *Profile) Pair(h Home) (Pair, error) {
	switch {
	case h.Work == nil:
		return Pair{}, fmt.Errorf("no system to compare with")
	case h.LongRun:
		return Pair{}, fmt.Errorf("a comparison is of one year, not of the long run")
	}
	for _, x := range []float64{h.Work.Season, h.Work.OwnSeason, h.Work.Drift, h.Work.OwnDrift} {
		if !(x >= 0 && x <= 10) {
			return Pair{}, fmt.Errorf("a system that leaves %v of a home's swings", x)
		}
	}
	seen := [2]int{}
	for _, o := range h.Observations {
		if o.Worked {
			seen[with]++
		} else {
			seen[without]++
		}
	}
	if seen[without] == 0 || seen[with] == 0 {
		return Pair{}, fmt.Errorf("%d observations without the system and %d with it; both are needed", seen[without], seen[with])
	}
	m, err := newMachine(p, h)
	if err != nil {
		return Pair{}, err
	}
	return m.settle()
}

// centreSides finds the middle of the logs on each side, where flat priors start.
func (m *machine) centreSides() error {
	var sum, n [2]float64
	for _, o := range m.h.Observations {
		s := without
		if o.Worked {
			s = with
		}
		if !o.Below {
			sum[s] += o.Log
			n[s]++
		}
	}
	if m.h.Prior != nil {
		sum[without], n[without] = m.h.Prior.Mean, 1
	}
	if n[without] == 0 {
		return fmt.Errorf("every result without the system is below its limit, and without a prior for the level they bound it on one side only")
	}
	m.centre = sum[without] / n[without]
	switch {
	case m.h.Work.Step != nil:
		m.step = m.h.Work.Step.Mean
	case n[with] == 0:
		return fmt.Errorf("every result with the system is below its limit, and without a prior for the step they bound it on one side only")
	default:
		m.step = sum[with]/n[with] - m.centre
	}
	return nil
}

// startWork sets what is known of the work before anything was seen.
func (m *machine) startWork(f *filter) {
	w, k, n := m.h.Work, m.workAt, m.n
	f.a[k], f.p[k*n+k] = m.step, flatVariance
	if w.Step != nil {
		f.p[k*n+k] = w.Step.SD * w.Step.SD
	}
	k++
	for i := range m.mean {
		for j := range m.mean {
			f.p[(k+i)*n+k+j] = w.OwnSeason * m.cov[i][j]
		}
	}
	k += len(m.mean)
	for i, c := range m.drift {
		f.decay(k+i, w.OwnDrift*c.Variance, c.Days)
	}
}

// fillWork turns the linear form of a day without the system into that with it.
func (m *machine) fillWork(row []float64) {
	w, k := m.h.Work, m.workAt
	row[k] = 1
	k++
	for i := range m.mean {
		row[k+i] = row[1+i]
		row[1+i] *= w.Season
	}
	k += len(m.mean)
	for i := range m.drift {
		row[k+i] = 1
	}
	for i := m.driftAt; i < m.detectorAt; i++ {
		row[i] *= w.Drift
	}
}

// join makes the ratio from the two sums' covariances.
func (p *Pair) join(m *machine, total [2]float64, variance [2][2]float64) {
	p.LogRatio = p.With.LogMedian - p.Without.LogMedian
	common := variance[0][1] / (total[0] * total[1])
	v := p.With.LogSD*p.With.LogSD + p.Without.LogSD*p.Without.LogSD - 2*common
	p.RatioSD = math.Sqrt(max(v, 0))
	// A detector that stood on both sides is off by as much on each.
	a, randomA := m.instrumentDays(without)
	b, randomB := m.instrumentDays(with)
	apart := randomA + randomB
	for i, sd := range m.h.Detectors {
		apart += math.Pow(sd*(b[i]-a[i]), 2)
	}
	p.RatioApart = min(math.Sqrt(apart), p.RatioSD)
}
