package scenario

import (
	"math"
	"math/rand/v2"
	"time"
)

// Monitor is a kind of continuous monitor. It counts: a reading is a Poisson
// count divided by what one count is worth.
type Monitor struct {
	Sensitivity float64       // counts per hour per Bq/m³
	Background  float64       // counts per hour with no radon, subtracted from the reading
	Calibration float64       // relative standard uncertainty of a unit's calibration
	Interval    time.Duration // of one reading: a part of an hour, or an hour
	Lag         time.Duration // time constant of its answer; it starts from nothing
	Gaps        float64       // stretches without readings, per year
	GapDays     float64       // mean length of one, days
}

// HomeMonitor is a middling hourly monitor: 0.12 counts per hour per Bq/m³,
// calibrated to 5 %, a lag of two hours, two gaps a year of about two days.
func HomeMonitor() Monitor {
	return Monitor{Sensitivity: 0.12, Background: 0.2, Calibration: 0.05, Interval: time.Hour, Lag: 2 * time.Hour, Gaps: 2, GapDays: 2}
}

// Sample is one reading of a monitor.
type Sample struct {
	Start, End time.Time
	Value      float64 // Bq/m³
}

// CalibrationOf is the factor by which unit number unit reads high: one draw
// for a unit of the district, whatever room it stands in.
func (m Monitor) CalibrationOf(d *District, unit int) float64 {
	return math.Exp(m.Calibration * stream(d.seed, 6, uint64(unit)).NormFloat64())
}

// Run stands unit number unit in a room for from ≤ t < to. Within an hour the
// truth is taken as constant. Readings in a gap are left out, and so is what
// lies outside the span; a count below the background reads 0.
func (m Monitor) Run(h *Home, room string, from, to time.Time, unit int) []Sample {
	c := h.Truth(room)
	every := m.Interval
	if every <= 0 {
		every = time.Hour
	}
	r := stream(h.d.seed+uint64(h.Index)<<32, 7, uint64(unit)<<24^uint64(h.d.hour(from))<<4^uint64(roomIndex(room)))
	gain := m.CalibrationOf(h.d, unit) * m.Sensitivity
	hours := every.Hours()
	seen, blind := 0.0, 0.0
	follow := 1.0
	if m.Lag > 0 {
		follow = 1 - math.Exp(-hours/m.Lag.Hours())
	}
	var out []Sample
	for t := from; !t.Add(every).After(to); t = t.Add(every) {
		i := h.d.hour(t)
		if i < 0 || i >= len(c) {
			continue
		}
		seen += (c[i] - seen) * follow
		if blind <= 0 && m.Gaps > 0 && r.Float64() < m.Gaps*hours/8766 {
			blind = 24 * m.GapDays * r.ExpFloat64()
		}
		n := poisson(r, (gain*seen+m.Background)*hours)
		if blind > 0 {
			blind -= hours
			continue
		}
		v := (float64(n)/hours - m.Background) / m.Sensitivity
		out = append(out, Sample{t, t.Add(every), math.Max(0, v)})
	}
	return out
}

// Day is the mean of a monitor's readings over 24 hours.
type Day struct {
	Start time.Time
	Hours float64 // of readings
	Value float64 // mean reading, Bq/m³
	True  float64 // the true mean of the whole 24 hours
}

// DayMeans stands a unit in a room for so many days and gives its day means.
// A day without any reading is left out. With a nil monitor the reading is the
// truth.
func (h *Home) DayMeans(room string, from time.Time, days int, m *Monitor, unit int) []Day {
	out := make([]Day, 0, days)
	var log []Sample
	if m != nil {
		log = m.Run(h, room, from, from.AddDate(0, 0, days), unit)
	}
	for k := range days {
		start := from.AddDate(0, 0, k)
		day := Day{Start: start, True: h.Mean(room, start, start.AddDate(0, 0, 1))}
		if math.IsNaN(day.True) {
			continue
		}
		if m == nil {
			day.Hours, day.Value = 24, day.True
			out = append(out, day)
			continue
		}
		n, sum := 0, 0.0
		for len(log) > 0 && log[0].Start.Before(start.AddDate(0, 0, 1)) {
			sum += log[0].Value
			day.Hours += log[0].End.Sub(log[0].Start).Hours()
			n++
			log = log[1:]
		}
		if n > 0 {
			day.Value = sum / float64(n)
			out = append(out, day)
		}
	}
	return out
}

// Passive is a kind of integrating detector.
type Passive struct {
	Calibration float64 // relative standard uncertainty shared by a batch
	Precision   float64 // relative standard uncertainty of one detector
	Floor       float64 // standard uncertainty at zero, kBq h/m³
	Limit       float64 // detection limit, kBq h/m³
}

// TrackDetector is a middling track detector: 5 % for the batch, 8 % for each,
// a limit of 20 kBq h/m³, which is 9 Bq/m³ over three months.
func TrackDetector() Passive {
	return Passive{Calibration: 0.05, Precision: 0.08, Floor: 6, Limit: 20}
}

// CharcoalDetector is a middling adsorption detector for a few days.
func CharcoalDetector() Passive {
	return Passive{Calibration: 0.05, Precision: 0.06, Floor: 0.5, Limit: 1.5}
}

// Result is what a laboratory reports of one detector.
type Result struct {
	Start, End  time.Time
	Value       float64 // Bq/m³; the limit where Below
	Uncertainty float64 // standard, Bq/m³, as the laboratory states it
	Below       bool
}

// Expose stands detector number unit of a batch in a room for from ≤ t < to.
func (p Passive) Expose(h *Home, room string, from, to time.Time, batch, unit int) Result {
	hours := to.Sub(from).Hours()
	factor := math.Exp(p.Calibration * stream(h.d.seed, 8, uint64(batch)).NormFloat64())
	r := stream(h.d.seed, 9, uint64(unit))
	exposure := h.Mean(room, from, to) * hours / 1000
	exposure = exposure*factor*math.Exp(p.Precision*r.NormFloat64()) + p.Floor*r.NormFloat64()
	res := Result{Start: from, End: to}
	if exposure < p.Limit {
		res.Value, res.Below = p.Limit*1000/hours, true
		return res
	}
	res.Value = exposure * 1000 / hours
	res.Uncertainty = math.Sqrt(exposure*exposure*(p.Calibration*p.Calibration+p.Precision*p.Precision)+p.Floor*p.Floor) * 1000 / hours
	return res
}

// poisson draws a count: arrivals of a unit-rate process before mean, or above
// 500 its normal approximation.
func poisson(r *rand.Rand, mean float64) int {
	if mean > 500 {
		return max(0, int(math.Round(mean+math.Sqrt(mean)*r.NormFloat64())))
	}
	n, left := 0, mean
	for left -= r.ExpFloat64(); left > 0; left -= r.ExpFloat64() {
		n++
	}
	return n
}
