package plan

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/temporal"
)

// DaysOptions of Days. What Options say of levels is the one level asked about.
type DaysOptions struct {
	annual.Options
	Expected float64       // annual mean of the home, Bq/m³; 0: Homes says
	Homes    *annual.Prior // homes of which one is to be tested; nil: Expected says
	Month    time.Month    // in which the test starts; 0: each, and the worst counts
	Passive  bool          // one detector that gives one result, and not a monitor
	Power    float64       // probability of the right verdict; 0: 0.8
}

// Verdicts are how likely each is after a test of so many days.
type Verdicts struct {
	Days   int
	Month  time.Month
	Right  float64 // conclusive and right
	Wrong  float64 // conclusive and wrong
	Spread float64 // log spread of the annual mean about the estimate
	Factor float64 // upper limit over the estimate
}

// DaysPlan is how long a test has to be.
type DaysPlan struct {
	Options DaysOptions
	Level   float64    // Bq/m³
	Fewest  int        // days with the power, in the month asked for or in every one; 0 where no test up to a year has it
	At      Verdicts   // there, or after a year
	Lengths []Verdicts // of the usual lengths, in the month asked for or the worst
	Months  []Verdicts // of those lengths, month by month, where none was asked for
	Notes   []analysis.Note
}

// TestLengths are the lengths of test that Days tabulates.
var TestLengths = []int{2, 4, 7, 14, 30, 60, 90, 120, 180, 270, 365}

// plannedYear is a year without a leap day near it: a plan is of any year.
const plannedYear = 2025

// Days says how long a test has to be to settle on which side of a level a home lies.
//
// It estimates the probability that a test of so many days gives a conclusive verdict
// and the right one, and the fewest days for which that is likely enough.
//
// Formula. A test of d days leaves a spread s of ln(annual mean), which is what Estimate
// of package annual finds for readings at the level expected that follow the profile's
// season, whatever they are. Its estimate scatters about the truth A by as much, so that
// with the one-sided z a verdict is right with probability Φ(|ln A − ln L|/s − z) and
// wrong with Φ(−|ln A − ln L|/s − z). Of homes with a GM and a GSD these are averaged over
// ln A. The fewest days are sought by halving before the first of the usual lengths
// with the power; without a month, the worst of twelve counts.
//
// Assumes that the home's season and days vary like those of the profile's homes, an
// undisturbed test without gaps, and a detector of the usual calibration. A restless
// home needs longer.
//
// Interval: none: a probability. On homes of a mass balance, which obey no profile, it came
// true to within ten in a hundred either way; COVERAGE.md beside this package has the rows.
//
// Notes: near-level, never-enough.
//
// Source: preposterior analysis, Raiffa and Schlaifer 1961, Applied Statistical Decision
// Theory, chapter 5 (from memory).
func Days(o DaysOptions) (DaysPlan, error) {
	if o.Power == 0 {
		o.Power = 0.8
	}
	if err := o.Options.Check(); err != nil {
		return DaysPlan{}, err
	}
	switch {
	case len(o.Levels) != 1:
		return DaysPlan{}, fmt.Errorf("%d levels; a plan is for one", len(o.Levels))
	case o.Homes == nil && o.Expected == 0:
		return DaysPlan{}, fmt.Errorf("no annual mean expected, nor the homes it is one of; give one of them")
	case o.Homes != nil && o.Expected != 0:
		return DaysPlan{}, fmt.Errorf("an annual mean expected and homes it is one of; give one of them")
	case o.AreaPrior != nil:
		return DaysPlan{}, fmt.Errorf("an area's prior, which a plan for one test cannot honour; the homes it is one of say what to expect")
	case !o.YearFrom.IsZero():
		return DaysPlan{}, fmt.Errorf("a year's first day; a plan is for any year")
	case o.Course:
		return DaysPlan{}, fmt.Errorf("the weather of a profile's own days; it is not known of days to come")
	case !(o.Power >= 0.5 && o.Power <= 0.9999):
		return DaysPlan{}, fmt.Errorf("a power of %s; it lies between 50 and 99.99 %%, such as 80 %%", percent(o.Power))
	case o.Month < 0 || o.Month > 12:
		return DaysPlan{}, fmt.Errorf("month %d; there are 1 to 12", o.Month)
	}
	middle := o.Expected
	if o.Homes != nil {
		middle = o.Homes.GM
		if err := checkGSD(o.Homes.GSD); err != nil {
			return DaysPlan{}, err
		}
	}
	if !(middle >= 1 && middle <= 1e6) {
		return DaysPlan{}, fmt.Errorf("an annual mean of %v Bq/m³; one that can be measured lies between 1 and a million", middle)
	}
	p := planner{o: o, middle: middle}
	r := DaysPlan{Options: o, Level: o.Levels[0]}
	months := []time.Month{o.Month}
	if o.Month == 0 {
		months = months[:0]
		for m := time.January; m <= time.December; m++ {
			months = append(months, m)
		}
	}
	all := make([]Verdicts, len(TestLengths)*len(months))
	errs := make([]error, len(all))
	numeric.Each(len(all), func(i int) {
		all[i], errs[i] = p.at(TestLengths[i/len(months)], months[i%len(months)])
	})
	if err := cmp.Or(errs...); err != nil {
		return r, err
	}
	for i := range TestLengths {
		r.Lengths = append(r.Lengths, worst(all[i*len(months):(i+1)*len(months)]))
	}
	if o.Month == 0 {
		r.Months = all
	}
	at := slices.IndexFunc(r.Lengths, func(v Verdicts) bool { return v.Right >= o.Power })
	if at < 0 {
		r.At = r.Lengths[len(r.Lengths)-1]
		r.Notes = append(r.Notes, note("never-enough", "not even a year's test gives the right verdict with that probability; homes so near the level stay open, and a decision has to allow for that"))
	} else {
		hi, lo := r.Lengths[at], 1
		if at > 0 {
			lo = r.Lengths[at-1].Days
		}
		for hi.Days-lo > 1 {
			mid := (lo + hi.Days) / 2
			vs := make([]Verdicts, len(months))
			for i, m := range months {
				v, err := p.at(mid, m)
				if err != nil {
					return r, err
				}
				vs[i] = v
			}
			if v := worst(vs); v.Right >= o.Power {
				hi = v
			} else {
				lo = mid
			}
		}
		r.Fewest, r.At = hi.Days, hi
	}
	if o.Homes == nil && math.Abs(math.Log(o.Expected/r.Level)) < math.Log(1.1) {
		r.Notes = append(r.Notes, note("near-level", "the mean expected lies within a tenth of the level, where hardly any test settles the matter; the expectation itself is not so sure"))
	}
	return r, nil
}

// worst is where the right verdict is the least likely; the first of equals.
func worst(vs []Verdicts) Verdicts {
	return slices.MinFunc(vs, func(a, b Verdicts) int { return cmp.Compare(a.Right, b.Right) })
}

type planner struct {
	o      DaysOptions
	middle float64
}

// at is what a test of so many days does that starts in a month.
func (p planner) at(days int, month time.Month) (Verdicts, error) {
	o := p.o
	s, err := imagined(o.Profile, days, month, p.middle, o.Passive)
	if err != nil {
		return Verdicts{}, err
	}
	r, err := annual.Estimate([]analysis.Series{s}, o.Options)
	if err != nil {
		return Verdicts{}, err
	}
	v := Verdicts{Days: days, Month: month, Spread: r.LogSpread, Factor: r.AnnualMean.Upper / r.AnnualMean.Value}
	if r.DaysMeasured < annual.LeastDays {
		return v, nil
	}
	z := -numeric.NormalQuantile(1 - o.Confidence)
	level := math.Log(o.Levels[0])
	if o.Homes == nil {
		d := math.Abs(math.Log(o.Expected)-level) / v.Spread
		v.Right, v.Wrong = numeric.Phi(d-z), numeric.Phi(-d-z)
		return v, nil
	}
	m, sd := math.Log(o.Homes.GM), math.Log(o.Homes.GSD)
	v.Right, v.Wrong = overHomes((m-level)/sd, sd/v.Spread, z)
	return v, nil
}

// overHomes averages the probabilities over homes ln A ~ N(level + m·sd, sd²), ratio being
// sd over the spread of a test. On either side of the level the function is smooth, so
// that Simpson's rule over each is good to many digits.
func overHomes(m, ratio, z float64) (right, wrong float64) {
	const reach, steps = 9.0, 4000
	for _, side := range []float64{1, -1} {
		// u is the home's distance from the level in units of sd, towards this side.
		lo, hi := math.Max(0, side*m-reach), side*m+reach
		if hi <= lo {
			continue
		}
		h := (hi - lo) / steps
		for i := range steps + 1 {
			w := 2.0
			switch {
			case i == 0 || i == steps:
				w = 1
			case i%2 == 1:
				w = 4
			}
			u := lo + float64(i)*h
			t := u - side*m
			w *= h / 3 * math.Exp(-t*t/2) / math.Sqrt(2*math.Pi)
			right += w * numeric.Phi(ratio*u-z)
			wrong += w * numeric.Phi(-ratio*u-z)
		}
	}
	return right, wrong
}

// imagined is a test of a home whose annual mean is about so much, with readings that
// follow the profile's mean season: how sure an estimate is hardly depends on more.
func imagined(p *temporal.Profile, days int, month time.Month, mean float64, passive bool) (analysis.Series, error) {
	return imaginedFrom(p, days, time.Date(plannedYear, month, 1, 0, 0, 0, 0, time.UTC), mean, passive)
}

func imaginedFrom(p *temporal.Profile, days int, start time.Time, mean float64, passive bool) (analysis.Series, error) {
	rs := make([]analysis.Reading, days)
	sum := 0.0
	for i := range rs {
		day := start.AddDate(0, 0, i)
		rs[i] = analysis.Reading{Start: day, End: day.AddDate(0, 0, 1), Concentration: mean * math.Exp(p.Season.At(temporal.Day(day, time.UTC)))}
		sum += rs[i].Concentration
	}
	if passive {
		rs = []analysis.Reading{{Start: start, End: start.AddDate(0, 0, days), Concentration: sum / float64(days)}}
	}
	return analysis.NewSeries(analysis.Place{Home: "planned", Room: "room", Detector: "detector"}, time.UTC, rs)
}
