package trend

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"radonyear/analysis/internal/numeric"
	"radonyear/testdata/scenario"
)

// watched is a home of the mass balance with a fan, and what the charts said.
type watched struct {
	result Result
	err    error
	failed int // day the fan failed; 0 if it did not
}

const watchSpan = 1500 // days of a district: four years

// watchHomes runs homes with a fan of 60 to 99 % from the start of a district on. left
// is the share of the fan's work that a failure leaves, 1 for none; it comes at some
// time after the baseline, and multiplies the days by times.
func watchHomes(seed uint64, n int, left, times float64, opt Options) []watched {
	d := scenario.NewDistrict(seed, scenario.Options{Days: watchSpan, Homes: n})
	monitor := scenario.HomeMonitor()
	out := make([]watched, n)
	numeric.Each(n, func(i int) {
		rng := rand.New(rand.NewPCG(seed, uint64(i)))
		h := d.Home(i)
		cut := 0.6 + 0.39*rng.Float64()
		begin := d.Start().AddDate(0, 0, 10+rng.IntN(360))
		fails := begin.AddDate(0, 0, 120+rng.IntN(365))
		always := scenario.Fan{From: d.Start().AddDate(0, 0, -100), Cut: cut}
		fan := h.WithFan(always)
		if left < 1 {
			// What the fan takes off falls from cut to left·cut: a weaker fan throughout,
			// and the rest of its work until the failure.
			weak := scenario.Fan{From: always.From, Cut: cut * left}
			rest := scenario.Fan{From: always.From, Cut: 1 - (1-cut)/(1-cut*left), Off: [][2]time.Time{{fails, d.End().AddDate(1, 0, 0)}}}
			fan = h.WithFan(weak).WithFan(rest)
		}
		var days []Day
		ratio := fan.Mean(scenario.Living, begin, begin.AddDate(0, 0, 90)) / h.Mean(scenario.Living, begin, begin.AddDate(0, 0, 90))
		for _, m := range fan.DayMeans(scenario.Living, begin, 1110, &monitor, i+1) {
			if m.Value > 0 {
				if !m.Start.Before(fails) {
					m.Value *= times
				}
				days = append(days, Day{int(m.Start.Unix() / 86400), m.Value})
			}
		}
		o := opt
		o.Ratio = ratio
		w := watched{}
		if left < 1 || times > 1 {
			w.failed = int(fails.Unix() / 86400)
		}
		w.result, w.err = Watch(days, o)
		out[i] = w
	})
	return out
}

// tally is what happened in many homes.
type tally struct {
	homes          int
	years          float64 // watched without a failure
	falseAlarms    int     // in them; a home's first ends its watch
	failures, seen int     // failures, and those seen within a year
	median, ninety float64 // days until half and nine in ten of the failures were seen
	promised, late float64 // middle of the stated days until half and nine in ten, for the kind of failure
	held           int     // intervals of the rise that held a doubling, of failures seen
	startOff       float64 // median absolute error of the likely start, days, of failures seen
}

func count(ws []watched, delay int) tally {
	t := tally{homes: len(ws)}
	var waits, stated, late, off []float64
	for _, w := range ws {
		if w.err != nil {
			panic(w.err)
		}
		r := w.result
		alarm := r.Alarm
		if len(r.Earlier) > 0 {
			alarm = &r.Earlier[0]
		}
		first, end := r.Points[0].Day, r.Points[len(r.Points)-1].Day
		if w.failed > 0 {
			end = w.failed - 1
		}
		if alarm != nil && (w.failed == 0 || alarm.Day < w.failed) {
			t.falseAlarms++
			t.years += float64(alarm.Day-first+1) / 365.25
			continue
		}
		t.years += float64(end-first+1) / 365.25
		if w.failed > 0 && delay < len(r.Detect) {
			t.failures++
			wait := math.Inf(1)
			if alarm != nil && alarm.Day < w.failed+365 {
				wait = float64(alarm.Day - w.failed + 1)
				t.seen++
				off = append(off, math.Abs(float64(alarm.Start-w.failed)))
				if alarm.Ratio.Lower <= 2 && 2 <= alarm.Ratio.Upper {
					t.held++
				}
			}
			waits = append(waits, wait)
			stated, late = append(stated, r.Detect[delay].Median), append(late, r.Detect[delay].Ninety)
		}
	}
	at := func(xs []float64, p float64) float64 {
		if len(xs) == 0 {
			return math.NaN()
		}
		slices.Sort(xs)
		return xs[int(math.Ceil(p*float64(len(xs))))-1]
	}
	t.median, t.ninety, t.promised, t.late, t.startOff = at(waits, 0.5), at(waits, 0.9), at(stated, 0.5), at(late, 0.5), at(off, 0.5)
	return t
}
