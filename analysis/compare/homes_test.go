package compare

import (
	"cmp"
	"math"
	"math/rand/v2"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/temporal"
	"radonyear/testdata/scenario"
)

// A fanned home is one of the mass balance measured before its fan and after, with
// the truth: the same years without the fan and with it.
type fanned struct {
	home             Home
	daysBefore, days int
	cut              float64
	left             float64 // what a fan that multiplies leaves of fan's days; 0: all
	plain, fan       *scenario.Home
}

// without and with are the truth over a time, in Bq/m³.
func (f *fanned) without(from, to time.Time) float64 {
	return f.plain.Mean(scenario.Living, from, to)
}
func (f *fanned) with(from, to time.Time) float64 {
	return cmp.Or(f.left, 1) * f.fan.Mean(scenario.Living, from, to)
}

const simSpan = 1100 // days, so that the year around any two windows lies within

// fannedHomes makes n homes of a district, each with tests of its own at any
// season. A cut of 0 is no work at all; cut < 0 draws from 0.6 to 0.99.
func fannedHomes(seed uint64, n, tests int, cut float64) []fanned {
	d := scenario.NewDistrict(seed, scenario.Options{Days: simSpan, Homes: n})
	monitor := scenario.HomeMonitor()
	out := make([]fanned, n*tests)
	numeric.Each(n, func(i int) {
		rng := rand.New(rand.NewPCG(seed, uint64(i)))
		h := d.Home(i)
		k := cut
		if cut < 0 {
			k = 0.6 + 0.39*rng.Float64()
		}
		fan := h.WithFan(scenario.Fan{From: d.Start().AddDate(0, 0, -100), Cut: k})
		for t := range tests {
			pick := func(of ...int) int { return of[rng.IntN(len(of))] }
			f := fanned{daysBefore: pick(10, 20, 30, 60, 90, 130), days: pick(5, 10, 20, 30, 60, 90, 125), cut: k, plain: h, fan: fan}
			// The year is centred on what was measured and lies within the span.
			on := d.Start().AddDate(0, 0, 370+rng.IntN(365))
			gap, wait := rng.IntN(15), 2+rng.IntN(15)
			room := scenario.Living
			before := seriesOf(h.DayMeans(room, on.AddDate(0, 0, -gap-f.daysBefore), f.daysBefore, &monitor, i+1))
			after := seriesOf(fan.DayMeans(room, on.AddDate(0, 0, wait), f.days, &monitor, i+1))
			f.home = Home{Without: []analysis.Series{before}, With: []analysis.Series{after}, Switched: on}
			out[i*tests+t] = f
		}
	})
	return out
}

func seriesOf(days []scenario.Day) analysis.Series {
	var rs []analysis.Reading
	for _, d := range days {
		rs = append(rs, analysis.Reading{Start: d.Start, End: d.Start.AddDate(0, 0, 1), Concentration: d.Value, Share: min(1, d.Hours/24)})
	}
	s, err := analysis.NewSeries(analysis.Place{Home: "A", Area: "A", Room: "living room", Detector: "M"}, time.UTC, rs)
	if err != nil {
		panic(err)
	}
	return s
}

// comparedHome is what Compare made of one, beside the truth.
type comparedHome struct {
	err, rawErr, half float64
	plainErr          float64 // of the raw ratio corrected by the profile's mean cycle
	held              [2]bool // each annual mean, without and with, by its interval
	missed            int
	verdict           Verdict
	naive             bool // the naive two-sample interval held the truth
	below             annual.Verdict
	truth, with       float64
	result            Result
}

func compareAll(homes []fanned, opt Options) []comparedHome {
	out := make([]comparedHome, len(homes))
	numeric.Each(len(homes), func(i int) {
		f := homes[i]
		r, err := Compare(f.home, opt)
		if err != nil {
			panic(err)
		}
		a, b := f.without(r.YearStart, r.YearEnd), f.with(r.YearStart, r.YearEnd)
		truth := math.Log(b / a)
		c := comparedHome{err: r.LogRatio - truth, rawErr: math.Log(r.RawRatio) - truth, half: (math.Log(r.Ratio.Upper) - math.Log(r.Ratio.Lower)) / 2, verdict: r.Verdict, truth: truth, with: b, result: r}
		switch {
		case truth < math.Log(r.Ratio.Lower):
			c.missed = -1
		case truth > math.Log(r.Ratio.Upper):
			c.missed = 1
		}
		for k, s := range []Side{r.Without, r.With} {
			mean := []float64{a, b}[k]
			c.held[k] = s.AnnualMean.Lower <= mean && mean <= s.AnnualMean.Upper
		}
		p := opt.Profile
		if p == nil {
			p = temporal.BuiltIn(false)
		}
		c.plainErr = c.rawErr + plainCorrection(f.home, p)
		lo, hi := naiveInterval(f.home)
		c.naive = lo <= truth && truth <= hi
		c.below = r.Below[0].Verdict
		out[i] = c
	})
	return out
}

// plainSeason is how much of the season the plain correction takes a fan to leave.
const plainSeason = 1.0 / 3

// plainCorrection is what the mean cycle of a profile says ln of a raw ratio is off by:
// each side's days are taken from the season that they were measured in to the year's
// mean, those with a fan from a third of it, which is what could be done by hand.
func plainCorrection(h Home, p *temporal.Profile) float64 {
	factor := func(of []analysis.Series, left float64) float64 {
		mean := func(from, to int) (m float64) {
			for d := from; d < to; d++ {
				m += math.Exp(left*p.Season.At(d)) / float64(to-from)
			}
			return m
		}
		first := temporal.Day(of[0].Start(), time.UTC)
		last := temporal.Day(of[0].End(), time.UTC)
		return math.Log(mean(first, last) / mean(first, first+365))
	}
	return factor(h.Without, 1) - factor(h.With, plainSeason)
}

// naiveInterval is the 95 % interval of the difference of the mean logs of two
// samples, days taken for independent: t with the shorter side's days less one, so that
// one day says nothing.
func naiveInterval(h Home) (lo, hi float64) {
	moments := func(ss []analysis.Series) (m, v, n float64) {
		for _, s := range ss {
			for i := range s.Len() {
				if x := s.At(i).Concentration; x > 0 {
					m += math.Log(x)
					n++
				}
			}
		}
		m /= n
		for _, s := range ss {
			for i := range s.Len() {
				if x := s.At(i).Concentration; x > 0 {
					v += math.Pow(math.Log(x)-m, 2)
				}
			}
		}
		return m, v / (n - 1), n
	}
	m0, v0, n0 := moments(h.Without)
	m1, v1, n1 := moments(h.With)
	if min(n0, n1) < 2 {
		return math.Inf(-1), math.Inf(1)
	}
	half := tHalf(min(n0, n1)-1, 0.95) * math.Sqrt(v0/n0+v1/n1)
	return m1 - m0 - half, m1 - m0 + half
}
