// Package coverage answers: do the intervals hold what they promise? It invents
// districts with a generator that is not the model, learns a profile in each,
// judges other homes of the same district and of another one, and counts.
package coverage

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"sync"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/season"
	"radonyear/testdata/scenario"
)

// Options of Run. The zero value is the documented default.
type Options struct {
	Seed       uint64  // of the first district; 0: 1
	Districts  int     // that a profile is learned in; 0: 5
	Learn      int     // homes to learn from in each; 0: 100
	Judge      int     // homes to judge in all, under each heading; 0: 1000
	Confidence float64 // 0: 0.95
	Level      float64 // for the verdicts, Bq/m³; 0: 200
}

// Arm is one way of judging, and how it did.
type Arm struct {
	Name  string // Neighbours, Strangers or BuiltIn
	Rows  []Row  // a row a test length; the last, with Days 0, is over all
	Asked float64
}

// The three ways of judging. Neighbours are other homes of the district the
// profile was learned in, in the same two years; the profile knows their weather
// if their own day means confirm it. Strangers live in another district in other
// weather. BuiltIn judges the strangers and the neighbours without learning.
const (
	Neighbours = "neighbours"
	Strangers  = "strangers"
	BuiltIn    = "built-in"
)

// Row is how tests of one length did.
type Row struct {
	Days       int
	Tests      int
	Coverage   float64 // share of intervals that hold the true mean of the year
	Under      float64 // share of truths below their interval
	Over       float64 // ... and above it
	RawError   float64 // root mean square of ln(test/year)
	Error      float64 // root mean square of ln(estimate/year)
	WidthRatio float64 // mean log half-width over z·Error: 1 is just wide enough
	Conclusive float64 // share of verdicts at the level that were conclusive
	Wrong      float64 // share of those that were wrong
	Season     [4]Cell // tests with their middle in Dec-Feb, Mar-May, Jun-Aug, Sep-Nov
}

// Cell is the coverage in one season.
type Cell struct {
	Tests    int
	Coverage float64
}

// Table is the whole of it.
type Table struct {
	Options   Options
	Arms      []Arm
	Confirmed int // districts in which the neighbours' day means confirmed the weather
	Mistaken  int // ... and in which the strangers' seemed to
	Took      time.Duration
}

// Lengths are the test lengths judged, in days.
var Lengths = []int{2, 4, 7, 14, 30, 60, 90, 180, 300}

// span is two years and a bit, so that the twelve months centred on a test at
// any season lie within.
const span = 740

// test is one home measured for some days, and the truth about the year.
type test struct {
	days, quarter int
	series        []analysis.Series
	truth         func(from, to time.Time) float64
}

// trial is how one test was judged.
type trial struct {
	days, quarter  int
	raw, err, half float64
	missed         int // −1: the truth lies under the interval, 1: over it
	said, right    annual.Verdict
}

// Run learns and judges. The same options give the same table.
func Run(opt Options) (Table, error) {
	if opt.Seed == 0 {
		opt.Seed = 1
	}
	if opt.Districts == 0 {
		opt.Districts = 5
	}
	if opt.Learn == 0 {
		opt.Learn = 100
	}
	if opt.Judge == 0 {
		opt.Judge = 1000
	}
	if opt.Confidence == 0 {
		opt.Confidence = 0.95
	}
	if opt.Level == 0 {
		opt.Level = annual.DefaultLevel
	}
	begin := time.Now()
	t := Table{Options: opt}
	trials := map[string][]trial{}
	for k := range opt.Districts {
		seed := opt.Seed + uint64(k)
		home := scenario.NewDistrict(seed, scenario.Options{Days: span, Homes: opt.Learn + opt.Judge})
		away := scenario.NewDistrict(seed+1_000_000, scenario.Options{Days: span, Homes: opt.Judge})
		learned, err := learn(home, opt.Learn, seed)
		if err != nil {
			return Table{}, err
		}
		share := (opt.Judge + k) / opt.Districts
		for _, side := range []struct {
			name  string
			d     *scenario.District
			first int
		}{{Neighbours, home, opt.Learn}, {Strangers, away, 0}} {
			tests, err := measure(side.d, side.first, share, seed)
			if err != nil {
				return Table{}, err
			}
			var all [][]analysis.Series
			for _, x := range tests {
				all = append(all, x.series)
			}
			yes, _, _, _ := annual.Confirm(slices.Values(all), learned.Profile)
			switch {
			case yes && side.name == Neighbours:
				t.Confirmed++
			case yes:
				t.Mistaken++
			}
			for _, arm := range []struct {
				name string
				opt  annual.Options
			}{{side.name, annual.Options{Profile: learned.Profile, Course: yes}}, {BuiltIn, annual.Options{}}} {
				arm.opt.Levels, arm.opt.Confidence = []float64{opt.Level}, opt.Confidence
				ts, err := judge(tests, arm.opt)
				if err != nil {
					return Table{}, err
				}
				trials[arm.name] = append(trials[arm.name], ts...)
			}
		}
	}
	for _, name := range []string{Neighbours, Strangers, BuiltIn} {
		arm := Arm{Name: name, Asked: opt.Confidence}
		for _, d := range Lengths {
			var ts []trial
			for _, x := range trials[name] {
				if x.days == d {
					ts = append(ts, x)
				}
			}
			if len(ts) > 0 {
				arm.Rows = append(arm.Rows, summarise(d, ts, opt.Confidence))
			}
		}
		arm.Rows = append(arm.Rows, summarise(0, trials[name], opt.Confidence))
		t.Arms = append(t.Arms, arm)
	}
	t.Took = time.Since(begin)
	return t, nil
}

// learn learns a profile from homes measured for a year at some time within the
// district's two.
func learn(d *scenario.District, homes int, seed uint64) (season.Learned, error) {
	all := make([][]analysis.Series, homes)
	errs := make([]error, homes)
	each(homes, func(i int) {
		h := d.Home(i)
		rng := rand.New(rand.NewPCG(seed, uint64(i)))
		from := d.Start().AddDate(0, 0, rng.IntN(span-366))
		s, err := series(h, from, 366, i+1)
		all[i], errs[i] = []analysis.Series{s}, err
	})
	for _, err := range errs {
		if err != nil {
			return season.Learned{}, err
		}
	}
	return season.Learn(all, season.Options{Name: "generator"})
}

// series is what a monitor in a home's living room said, as day means.
func series(h *scenario.Home, from time.Time, days, unit int) (analysis.Series, error) {
	m := scenario.HomeMonitor()
	room := h.Rooms()[0]
	var rs []analysis.Reading
	for _, d := range h.DayMeans(room, from, days, &m, unit) {
		rs = append(rs, analysis.Reading{Start: d.Start, End: d.Start.AddDate(0, 0, 1), Concentration: d.Value, Share: d.Hours / 24})
	}
	place := analysis.Place{Home: fmt.Sprint("H", h.Index), Area: h.Area, Room: room, Detector: fmt.Sprint(unit)}
	return analysis.NewSeries(place, time.UTC, rs)
}

// measure tests each home once for each length, at any season.
func measure(d *scenario.District, first, homes int, seed uint64) ([]test, error) {
	per := make([][]test, homes)
	each(homes, func(i int) {
		h := d.Home(first + i)
		room := h.Rooms()[0]
		rng := rand.New(rand.NewPCG(seed+77, uint64(i)))
		h.Truth(room) // once, before the tests ask for parts of it
		for _, days := range Lengths {
			margin := 183 - days/2 // the year centred on the test lies within the span
			from := d.Start().AddDate(0, 0, margin+rng.IntN(span-days-2*margin))
			s, err := series(h, from, days, 100_000+i)
			if err != nil {
				continue // the monitor was silent for the whole of a short test
			}
			middle := from.AddDate(0, 0, days/2).Month()
			per[i] = append(per[i], test{days: days, quarter: int(middle) % 12 / 3, series: []analysis.Series{s},
				truth: means(d.Start(), h.Truth(room))})
		}
	})
	var out []test
	for _, ts := range per {
		out = append(out, ts...)
	}
	return out, nil
}

// means answers for the mean of a stretch of hours without holding the home.
func means(start time.Time, hourly []float64) func(from, to time.Time) float64 {
	days := make([]float64, len(hourly)/24)
	for i, c := range hourly[:len(days)*24] {
		days[i/24] += c / 24
	}
	return func(from, to time.Time) float64 {
		a, b := int(from.Sub(start).Hours()/24), int(to.Sub(start).Hours()/24)
		sum := 0.0
		for _, c := range days[a:b] {
			sum += c
		}
		return sum / float64(b-a)
	}
}

func judge(tests []test, opt annual.Options) ([]trial, error) {
	out := make([]trial, len(tests))
	errs := make([]error, len(tests))
	z := distuv.UnitNormal.Quantile((1 + opt.Confidence) / 2)
	each(len(tests), func(i int) {
		x := tests[i]
		r, err := annual.Estimate(x.series, opt)
		if err != nil {
			errs[i] = err
			return
		}
		truth := x.truth(r.YearStart, r.YearEnd)
		t := trial{days: x.days, quarter: x.quarter, raw: math.Log(r.RawMean / truth), err: r.LogMedian - math.Log(truth),
			half: z * r.LogSpread, said: r.Above[0].Verdict, right: annual.Below}
		switch {
		case truth < r.AnnualMean.Lower:
			t.missed = -1
		case truth > r.AnnualMean.Upper:
			t.missed = 1
		}
		if truth > r.Above[0].Level {
			t.right = annual.Above
		}
		out[i] = t
	})
	for _, err := range errs {
		if err != nil {
			return nil, err
		}
	}
	return out, nil
}

func summarise(days int, ts []trial, confidence float64) Row {
	r := Row{Days: days, Tests: len(ts)}
	n := float64(len(ts))
	said, wrong := 0.0, 0.0
	for _, t := range ts {
		c := &r.Season[t.quarter]
		c.Tests++
		switch t.missed {
		case 0:
			r.Coverage += 1 / n
			c.Coverage++
		case -1:
			r.Under += 1 / n
		default:
			r.Over += 1 / n
		}
		r.RawError += t.raw * t.raw / n
		r.Error += t.err * t.err / n
		r.WidthRatio += t.half / n
		if t.said != annual.NotConclusive {
			said++
			if t.said != t.right {
				wrong++
			}
		}
	}
	r.RawError, r.Error = math.Sqrt(r.RawError), math.Sqrt(r.Error)
	r.WidthRatio /= distuv.UnitNormal.Quantile((1+confidence)/2) * r.Error
	r.Conclusive = said / n
	if said > 0 {
		r.Wrong = wrong / said
	}
	for i := range r.Season {
		if c := &r.Season[i]; c.Tests > 0 {
			c.Coverage /= float64(c.Tests)
		}
	}
	return r
}

// each calls do for 0 ≤ i < n on all processors; do writes to its own slot.
func each(n int, do func(int)) {
	var wg sync.WaitGroup
	work := make(chan int)
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			for i := range work {
				do(i)
			}
		})
	}
	for i := range n {
		work <- i
	}
	close(work)
	wg.Wait()
}
