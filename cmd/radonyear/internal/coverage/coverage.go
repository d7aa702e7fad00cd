// Package coverage answers: do the intervals hold what they promise? It invents
// districts with a generator that is not the model, learns a profile in one,
// judges homes in others, and counts.
package coverage

import (
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"sync"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/season"
	"radonyear/analysis/temporal"
	"radonyear/testdata/scenario"
)

// Options of Run. The zero value is the documented default.
type Options struct {
	Seed       uint64  // of the district learned from; 0: 1. Those judged use others
	Learn      int     // homes to learn from; 0: 100
	Judge      int     // homes to judge; 0: 1000
	Confidence float64 // 0: 0.95
	Level      float64 // for the verdicts, Bq/m³; 0: 200
	SameYears  bool    // judge other homes of the district learned from, in the same weather
	Course     bool    // and let the profile use that weather
}

// Row is how tests of one length did.
type Row struct {
	Days     int
	Tests    int
	Learned  Score
	BuiltIn  Score
	RawError float64      // root mean square of ln(test/year)
	Season   [4]SeasonRow // tests with their middle in Dec-Feb, Mar-May, Jun-Aug, Sep-Nov
}

// SeasonRow is the coverage with the learned and the built-in profile.
type SeasonRow struct {
	Tests            int
	Learned, BuiltIn float64
}

// Score is how one profile did.
type Score struct {
	Coverage   float64 // share of intervals that hold the true mean
	Missed     [2]float64
	Error      float64 // root mean square of ln(estimate/year)
	WidthRatio float64 // mean log half-width over z·Error
	Conclusive float64 // share of verdicts at the level that were conclusive
	Wrong      float64 // share of those that were wrong
}

// Table is the whole of it.
type Table struct {
	Options Options
	Profile season.Learned
	Rows    []Row
	Overall Row // over all lengths
	Took    time.Duration
}

// Lengths are the test lengths judged, in days.
var Lengths = []int{2, 4, 7, 14, 30, 60, 90, 180, 300}

// span is two years and a bit, so that the twelve months centred on a test at
// any season lie within.
const span = 740

type trial struct {
	days, quarter          int
	raw, err, errB         float64
	half, halfB            float64
	held, heldB            bool
	under, underB          bool // the truth lies below the interval
	verdict, verdictB, yes annual.Verdict
}

// Run learns and judges. The same options give the same table.
func Run(opt Options) (Table, error) {
	if opt.Seed == 0 {
		opt.Seed = 1
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
		opt.Level = 200
	}
	begin := time.Now()
	learned, err := learn(opt)
	if err != nil {
		return Table{}, err
	}
	const districts = 10
	per := (opt.Judge + districts - 1) / districts
	trials := make([][]trial, opt.Judge)
	errs := make([]error, opt.Judge)
	var ds []*scenario.District
	for k := range districts {
		if opt.SameYears {
			k = -1
		}
		ds = append(ds, scenario.NewDistrict(opt.Seed+uint64(1+k)*1000, scenario.Options{Days: span, Homes: opt.Learn + opt.Judge}))
	}
	each(opt.Judge, func(i int) {
		k := i / per
		trials[i], errs[i] = judge(ds[k], opt.Learn+i, learned.Profile, opt)
	})
	t := Table{Options: opt, Profile: learned}
	var all []trial
	for i := range trials {
		if errs[i] != nil {
			return Table{}, errs[i]
		}
		all = append(all, trials[i]...)
	}
	for _, d := range Lengths {
		var ts []trial
		for _, x := range all {
			if x.days == d {
				ts = append(ts, x)
			}
		}
		t.Rows = append(t.Rows, summarise(d, ts, opt.Confidence))
	}
	t.Overall = summarise(0, all, opt.Confidence)
	t.Took = time.Since(begin)
	return t, nil
}

func learn(opt Options) (season.Learned, error) {
	d := scenario.NewDistrict(opt.Seed, scenario.Options{Days: span, Homes: opt.Learn})
	homes := make([][]analysis.Series, opt.Learn)
	errs := make([]error, opt.Learn)
	each(opt.Learn, func(i int) {
		h := d.Home(i)
		room := h.Rooms()[0]
		// A year at some time within the two.
		rng := rand.New(rand.NewPCG(opt.Seed, uint64(i)))
		from := d.Start().AddDate(0, 0, rng.IntN(span-366))
		s, err := series(h, room, from, 366, i+1)
		homes[i], errs[i] = []analysis.Series{s}, err
	})
	for _, err := range errs {
		if err != nil {
			return season.Learned{}, err
		}
	}
	return season.Learn(homes, season.Options{Name: "generator"})
}

func series(h *scenario.Home, room string, from time.Time, days, unit int) (analysis.Series, error) {
	m := scenario.HomeMonitor()
	var rs []analysis.Reading
	for _, d := range h.DayMeans(room, from, days, &m, unit) {
		rs = append(rs, analysis.Reading{Start: d.Start, End: d.Start.AddDate(0, 0, 1), Concentration: d.Value, Share: d.Hours / 24})
	}
	return analysis.NewSeries(analysis.Place{Home: fmt.Sprint("H", h.Index), Area: h.Area, Room: room, Detector: fmt.Sprint(unit)}, time.UTC, rs)
}

func judge(d *scenario.District, i int, p *temporal.Profile, opt Options) ([]trial, error) {
	h := d.Home(i)
	rng := rand.New(rand.NewPCG(opt.Seed+77, uint64(i)))
	room := h.Rooms()[0]
	z := distuv.UnitNormal.Quantile((1 + opt.Confidence) / 2)
	var out []trial
	for _, days := range Lengths {
		// The year centred on the test must lie within the span.
		margin := 183 - days/2
		from := d.Start().AddDate(0, 0, margin+rng.IntN(span-days-2*margin))
		s, err := series(h, room, from, days, 100000+i)
		if err != nil {
			continue // the monitor was silent for the whole test
		}
		o := annual.Options{Profile: p, Levels: []float64{opt.Level}, Confidence: opt.Confidence, Course: opt.Course}
		r, err := annual.Estimate([]analysis.Series{s}, o)
		if err != nil {
			return nil, err
		}
		o.Profile, o.Course = nil, false
		b, err := annual.Estimate([]analysis.Series{s}, o)
		if err != nil {
			return nil, err
		}
		truth := h.Mean(room, r.YearStart, r.YearEnd)
		middle := from.AddDate(0, 0, days/2).Month()
		t := trial{days: days, quarter: int(middle) % 12 / 3, raw: math.Log(r.RawMean / truth),
			err: r.LogMedian - math.Log(truth), errB: b.LogMedian - math.Log(truth), half: z * r.LogSpread, halfB: z * b.LogSpread,
			verdict: r.Above[0].Verdict, verdictB: b.Above[0].Verdict, yes: annual.Below}
		t.held = truth >= r.AnnualMean.Lower && truth <= r.AnnualMean.Upper
		t.heldB = truth >= b.AnnualMean.Lower && truth <= b.AnnualMean.Upper
		t.under, t.underB = truth < r.AnnualMean.Lower, truth < b.AnnualMean.Lower
		if truth > opt.Level {
			t.yes = annual.Above
		}
		out = append(out, t)
	}
	return out, nil
}

func summarise(days int, ts []trial, confidence float64) Row {
	row := Row{Days: days, Tests: len(ts)}
	z := distuv.UnitNormal.Quantile((1 + confidence) / 2)
	n := float64(len(ts))
	score := func(err, half func(trial) float64, held, under func(trial) bool, verdict func(trial) annual.Verdict) Score {
		var s Score
		said, wrong := 0.0, 0.0
		for _, t := range ts {
			switch {
			case held(t):
				s.Coverage++
			case under(t):
				s.Missed[0]++
			default:
				s.Missed[1]++
			}
			s.Error += err(t) * err(t)
			s.WidthRatio += half(t)
			if v := verdict(t); v != annual.NotConclusive {
				said++
				if v != t.yes {
					wrong++
				}
			}
		}
		s.Error = math.Sqrt(s.Error / n)
		s.Coverage, s.Missed[0], s.Missed[1] = s.Coverage/n, s.Missed[0]/n, s.Missed[1]/n
		s.WidthRatio = s.WidthRatio / n / (z * s.Error)
		s.Conclusive = said / n
		if said > 0 {
			s.Wrong = wrong / said
		}
		return s
	}
	row.Learned = score(func(t trial) float64 { return t.err }, func(t trial) float64 { return t.half },
		func(t trial) bool { return t.held }, func(t trial) bool { return t.under }, func(t trial) annual.Verdict { return t.verdict })
	row.BuiltIn = score(func(t trial) float64 { return t.errB }, func(t trial) float64 { return t.halfB },
		func(t trial) bool { return t.heldB }, func(t trial) bool { return t.underB }, func(t trial) annual.Verdict { return t.verdictB })
	for _, t := range ts {
		row.RawError += t.raw * t.raw
		q := &row.Season[t.quarter]
		q.Tests++
		if t.held {
			q.Learned++
		}
		if t.heldB {
			q.BuiltIn++
		}
	}
	row.RawError = math.Sqrt(row.RawError / n)
	for i := range row.Season {
		if q := &row.Season[i]; q.Tests > 0 {
			q.Learned /= float64(q.Tests)
			q.BuiltIn /= float64(q.Tests)
		}
	}
	return row
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
