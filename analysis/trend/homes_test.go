package trend

import (
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/testdata/scenario"
)

// failure is what happens to the homes of a row, and how they are watched.
type failure struct {
	name        string
	left, times float64 // share of the fan's work that is left, and a factor on the days
	from, span  int     // it comes so many days after the first, and up to so many more
	opt         Options
	delay       int // which of Result.Detect speaks of it; -1 for none
}

func (f failure) happens() bool { return f.left < 1 || f.times > 1 }

// watched is a home of the mass balance with a fan, and what the charts said.
type watched struct {
	days   []Day
	opt    Options
	result Result
	failed int       // day the fan failed; 0 if it did not
	rise   []float64 // ln of the factor of each day from then on
}

const watchSpan = 1500 // days of a district: four years

// watchHomes runs homes with a fan of 60 to 99 % from some day on. What the home was
// without it is known from up to ninety days before, unless the ratio is assumed.
func watchHomes(seed uint64, n int, f failure) []watched {
	d := scenario.NewDistrict(seed, scenario.Options{Days: watchSpan, Homes: n})
	monitor := scenario.HomeMonitor()
	out := make([]watched, n)
	numeric.Each(n, func(i int) {
		rng := rand.New(rand.NewPCG(seed, uint64(i)))
		h := d.Home(i)
		cut := 0.6 + 0.39*rng.Float64()
		begin := d.Start().AddDate(0, 0, 10+rng.IntN(360))
		fails := begin.AddDate(0, 0, f.from+rng.IntN(max(1, f.span)))
		always := scenario.Fan{From: d.Start().AddDate(0, 0, -100), Cut: cut}
		sound := h.WithFan(always)
		fan := sound
		if f.left < 1 {
			// What the fan takes off falls from cut to left·cut: a weaker fan throughout,
			// and the rest of its work until the failure.
			weak := scenario.Fan{From: always.From, Cut: cut * f.left}
			rest := scenario.Fan{From: always.From, Cut: 1 - (1-cut)/(1-cut*f.left), Off: [][2]time.Time{{fails, d.End().AddDate(1, 0, 0)}}}
			fan = h.WithFan(weak).WithFan(rest)
		}
		w := watched{opt: f.opt}
		if f.happens() {
			w.failed = int(fails.Unix() / 86400)
		}
		for _, m := range fan.DayMeans(scenario.Living, begin, 1110, &monitor, i+1) {
			if m.Value <= 0 {
				continue
			}
			if !m.Start.Before(fails) {
				m.Value *= f.times
				next := m.Start.AddDate(0, 0, 1)
				w.rise = append(w.rise, math.Log(f.times*fan.Mean(scenario.Living, m.Start, next)/sound.Mean(scenario.Living, m.Start, next)))
			}
			w.days = append(w.days, Day{int(m.Start.Unix() / 86400), m.Value})
		}
		if w.opt.Ratio == 0 {
			w.opt.Without = h.Mean(scenario.Living, begin.AddDate(0, 0, -90), begin)
		}
		var err error
		if w.result, err = Watch(w.days, w.opt); err != nil {
			panic(err)
		}
		out[i] = w
	})
	return out
}

// alarms are all of them, in order.
func (r Result) alarms() []Alarmed {
	if r.Alarm == nil {
		return nil
	}
	return append(slices.Clip(r.Earlier), *r.Alarm)
}

// inAlarm says whether an alarm is on at the end of a day.
func (r Result) inAlarm(day int) bool {
	for _, a := range r.alarms() {
		if a.Day <= day && (a.End == 0 || a.End > day) {
			return true
		}
	}
	return false
}

// tally is what happened in many homes.
type tally struct {
	homes          int
	years          float64 // watched without a failure
	falseAlarms    int     // in them; a home's first ends its watch
	firstYears     float64 // of the years and the false alarms those within 365 days
	firstFalse     int
	failures, seen int     // failures, and those seen within a year
	median, ninety float64 // days until half and nine in ten of the failures were seen
	byHalf, byNine int     // failures seen within the days that Watch states for half and for nine in ten
	stated         int     // failures of which it states them
	startOff       float64 // median absolute error of the likely start, days, of failures seen
	held           int     // intervals of the rise that held it, of failures seen
	lasting        int     // failures seen that were in alarm half a year later
}

func count(ws []watched, delay int) tally {
	t := tally{homes: len(ws)}
	var waits, off []float64
	for _, w := range ws {
		r := w.result
		var alarm *Alarmed
		if all := r.alarms(); all != nil {
			alarm = &all[0]
		}
		// A baseline that has grown was watched by shorter ones from its fifteenth day on.
		first, end := r.Points[0].Day, r.Points[len(r.Points)-1].Day
		if w.opt.BaselineDays == 0 {
			first = w.days[LeastBaseline].Day
		}
		if w.failed > 0 {
			end = w.failed - 1
		}
		falsely := alarm != nil && (w.failed == 0 || alarm.Day < w.failed)
		if falsely {
			end = alarm.Day
		}
		t.years += float64(end-first+1) / 365.25
		t.firstYears += float64(min(end-first+1, 365)) / 365.25
		if falsely {
			t.falseAlarms++
			if end-first < 365 {
				t.firstFalse++
			}
			continue
		}
		if w.failed == 0 {
			continue
		}
		t.failures++
		wait := math.Inf(1)
		if alarm != nil && alarm.Day < w.failed+365 {
			wait = float64(alarm.Day - w.failed + 1)
			t.seen++
			off = append(off, math.Abs(float64(alarm.Start-w.failed)))
			truth := 0.0
			n := min(alarm.Ratio.N, len(w.rise))
			for _, x := range w.rise[:n] {
				truth += x / float64(n)
			}
			if alarm.Ratio.Lower <= math.Exp(truth) && math.Exp(truth) <= alarm.Ratio.Upper {
				t.held++
			}
			if r.inAlarm(alarm.Day + 180) {
				t.lasting++
			}
		}
		waits = append(waits, wait)
		if delay >= 0 && delay < len(r.Detect) {
			t.stated++
			if wait <= r.Detect[delay].Median {
				t.byHalf++
			}
			if wait <= r.Detect[delay].Ninety && wait <= 365 {
				t.byNine++
			}
		}
	}
	at := func(xs []float64, p float64) float64 {
		if len(xs) == 0 {
			return math.NaN()
		}
		slices.Sort(xs)
		return xs[int(math.Ceil(p*float64(len(xs))))-1]
	}
	t.median, t.ninety, t.startOff = at(waits, 0.5), at(waits, 0.9), at(off, 0.5)
	return t
}

// replaced is a home whose monitor made way for another one.
type replaced struct {
	earlier, later Result
	over           analysis.Estimate
}

// replacedHomes runs homes with a fan of 60 to 99 % whose monitor is replaced, after 30
// to 400 days, by another of its kind, which stands in the same room for 30 to 200 more.
// On that day the level is multiplied by times, or the fan stops for good.
func replacedHomes(seed uint64, n int, times float64, stops bool) []replaced {
	d := scenario.NewDistrict(seed, scenario.Options{Days: watchSpan, Homes: n})
	monitor := scenario.HomeMonitor()
	out := make([]replaced, n)
	numeric.Each(n, func(i int) {
		rng := rand.New(rand.NewPCG(seed, uint64(i)))
		h := d.Home(i)
		begin := d.Start().AddDate(0, 0, 100+rng.IntN(360))
		first, second := 30+rng.IntN(371), 30+rng.IntN(171)
		swap := begin.AddDate(0, 0, first)
		fan := scenario.Fan{From: d.Start().AddDate(0, 0, -100), Cut: 0.6 + 0.39*rng.Float64()}
		if stops {
			fan.Off = [][2]time.Time{{swap, d.End().AddDate(1, 0, 0)}}
		}
		h2 := h.WithFan(fan)
		opt := Options{Without: h.Mean(scenario.Living, begin.AddDate(0, 0, -90), begin)}
		see := func(from time.Time, days, unit int, times float64) Result {
			var out []Day
			for _, m := range h2.DayMeans(scenario.Living, from, days, &monitor, unit) {
				if m.Value > 0 {
					out = append(out, Day{int(m.Start.Unix() / 86400), times * m.Value})
				}
			}
			r, err := Watch(out, opt)
			if err != nil {
				panic(err)
			}
			return r
		}
		r := replaced{earlier: see(begin, first, 2*i+1, 1), later: see(swap, second, 2*i+2, times)}
		r.over = r.later.Over(r.earlier)
		out[i] = r
	})
	return out
}
