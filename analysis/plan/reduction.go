package plan

import (
	"fmt"
	"math"
	"slices"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/compare"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/temporal"
)

// BetweenHomes is how much the logarithms of homes' ratios differ where nothing is said of
// it: systems with a fan are said to take away 50 to 99 % (US EPA, Consumer's Guide, table of
// systems), and were that the middle 95 % of homes, it would be 1.0.
const BetweenHomes = 1.0

// ReductionOptions of Reduction.
type ReductionOptions struct {
	Profile     *temporal.Profile // nil: the built-in one, northern hemisphere
	Confidence  float64           // of intervals; 0: 0.95
	Calibration float64           // as in compare.Options
	Reduction   float64           // expected, as a share
	AtLeast     float64           // that is to be shown, as a share; 0: any at all
	DaysBefore  int               // measured; 0: 7
	DaysAfter   int               // measured; 0: 7
	Month       time.Month        // in which the first measurement starts; 0: January
	MonthAfter  time.Month        // in which the second one does; 0: the day after next
	Passive     bool              // detectors that give one result each, and not a monitor
	Between     float64           // log standard deviation of homes' ratios; 0: BetweenHomes
	Power       float64           // probability of showing it; 0: 0.8
	Homes       int               // that someone has in mind; 0: none
}

// ReductionAnswer is what so many homes show.
type ReductionAnswer struct {
	Criterion string
	Homes     int
	Power     float64
	HalfWidth float64 // of the interval of ln ratio, typically
}

// OneHome is what a home by itself shows, measured so long before and as long after.
type OneHome struct {
	Days  int
	Power float64
	LogSD float64 // of ln ratio
}

// ReductionPlan is how many homes show a reduction.
type ReductionPlan struct {
	Options  ReductionOptions
	LogSD    float64 // of one home's ln ratio, from its readings
	Common   float64 // the part of its variance that homes measured in the same weeks share
	Alone    float64 // power of one home
	Answers  []ReductionAnswer
	Curve    []ReductionAnswer
	OneHome  []OneHome         // of one home, by days measured on either side
	Expected analysis.Estimate // the interval of the ratio that one home gives
	Notes    []analysis.Note
}

// Reduction says how many homes, measured before and after, show that mitigation worked.
//
// It estimates the probability that one home, or a neighbourhood, shows a reduction
// larger than the smallest of interest, and the fewest homes for which that is likely
// enough.
//
// Formula. Compare, of package compare, finds for a home that was measured so long, with
// readings that show the reduction expected, the spread s of its ln ratio θ and its upper limit at θ + h. One home
// shows the reduction with probability Φ((θ₀ − θ − h)/s), θ₀ = ln(1 − the smallest of interest).
// Of n homes with a spread τ between them, Effects there says which variance c they share
// and which v each has alone; the limit of Pool is the mean + √(t²·max(S², v)/n + z²c), S² being
// the variance of their logarithms, of (v + τ²) times chi-squared with n − 1 degrees of
// freedom over n − 1. The power is averaged over it exactly. With v and c nothing, that is
// the power of Student's test. First: the fewest homes with the power.
//
// Assumes homes all measured in the same weeks, the least favourable way, with normal
// log ratios; season and days like those of the profile's homes; that mitigation was not
// decided by the very readings that are compared.
//
// Interval: none: a probability. On homes of a mass balance, which obey no profile, that of
// one home came true to within ten in a hundred either way; COVERAGE.md beside this package
// has the rows.
//
// Notes: one-home-not-enough, never-enough, season-differs, unbounded.
//
// Source: Hartung and Knapp 2001, Stat. Med. 20:1771, for the interval; Owen 1965, Biometrika
// 52:437, for the power of Student's test (both from memory).
func Reduction(o ReductionOptions) (ReductionPlan, error) {
	if err := o.check(); err != nil {
		return ReductionPlan{}, err
	}
	r := ReductionPlan{Options: o}
	home, err := o.compare(o.DaysBefore, o.DaysAfter)
	if err != nil {
		return r, err
	}
	r.LogSD = home.LogSD
	r.Alone = o.alone(home)
	r.Expected = home.Ratio
	// Its other notes are about the readings imagined.
	r.Expected.Notes = slices.DeleteFunc(slices.Clone(r.Expected.Notes), func(n analysis.Note) bool { return n.Code != "unbounded" })
	for _, d := range []int{2, 4, 7, 14, 30, 60, 90} {
		c, err := o.compare(d, d)
		if err != nil {
			return r, err
		}
		r.OneHome = append(r.OneHome, OneHome{Days: d, Power: o.alone(c), LogSD: c.LogSD})
	}
	pooled := o.neighbourhood(home)
	r.Common = pooled.common
	answer := func(criterion string, n int) ReductionAnswer {
		if n == 1 {
			return ReductionAnswer{criterion, 1, r.Alone, math.Log(home.Ratio.Upper / home.Ratio.Value)}
		}
		power, half := pooled.power(n)
		return ReductionAnswer{criterion, n, power, half}
	}
	const most = 10_000
	first := 0
	if r.Alone < o.Power { // one home is not a neighbourhood, but may be all that is asked
		r.Notes = append(r.Notes, note("one-home-not-enough", "one home measured so long shows it with a probability of only %.0f %%; that is no sign against its system", 100*r.Alone))
	}
	n, err := boundary(2, func(n int) bool { return n > most || answer("", n).Power >= o.Power })
	if err != nil {
		return r, err
	}
	if n <= most {
		first = n
		r.Answers = append(r.Answers, answer(First, n))
	} else {
		r.Notes = append(r.Notes, note("never-enough", "no number of homes shows it with that probability: what homes measured in the same weeks share, the weather above all, does not average out. Measure longer, in several seasons, or ask for less"))
	}
	if book := o.textbook(home); book <= MostHomes { // more would be no plan
		r.Answers = append([]ReductionAnswer{answer(Textbook, max(2, book))}, r.Answers...)
	}
	if o.Homes > 0 {
		r.Answers = append(r.Answers, answer(Asked, o.Homes))
	}
	for _, n := range steps(2, 2, max(first, o.Homes, 10)) {
		r.Curve = append(r.Curve, answer("", n))
	}
	if a := home.SeasonArtefact; a > 1.1 || a < 1/1.1 {
		r.Notes = append(r.Notes, note("season-differs", "with no work at all the seasons of the two measurements would change the raw means by a factor of %.2g; the comparison allows for that, at a price: measure both in one season", a))
	}
	return r, nil
}

func (o *ReductionOptions) check() error {
	if o.Between == 0 {
		o.Between = BetweenHomes
	}
	if o.Power == 0 {
		o.Power = 0.8
	}
	if o.DaysBefore == 0 {
		o.DaysBefore = 7
	}
	if o.DaysAfter == 0 {
		o.DaysAfter = 7
	}
	if o.Month == 0 {
		o.Month = time.January
	}
	a := annual.Options{Profile: o.Profile, Confidence: o.Confidence, Calibration: o.Calibration}
	if err := a.Check(); err != nil {
		return err
	}
	o.Profile, o.Confidence = a.Profile, a.Confidence
	if err := inside("a reduction", o.Reduction, "0.8"); err != nil {
		return err
	}
	switch {
	case o.Reduction > 0.999+1e-9:
		return fmt.Errorf("a reduction of %s; no system takes away more than 99.9 %%, for the air outdoors holds radon too", percent(o.Reduction))
	case !(o.AtLeast >= 0 && o.AtLeast < o.Reduction):
		return fmt.Errorf("a reduction of %s to be shown where %s is expected; it is 0 or more, and less than expected", percent(o.AtLeast), percent(o.Reduction))
	case o.Confidence > 0.999999:
		return fmt.Errorf("a confidence of %v; it is 0.999999 at most", o.Confidence)
	case o.DaysBefore < 2 || o.DaysBefore > 365 || o.DaysAfter < 2 || o.DaysAfter > 365:
		return fmt.Errorf("%d days before and %d after; each is 2 to 365", o.DaysBefore, o.DaysAfter)
	case o.Month < 0 || o.Month > 12 || o.MonthAfter < 0 || o.MonthAfter > 12:
		return fmt.Errorf("months %d and %d; there are 1 to 12", o.Month, o.MonthAfter)
	case !(o.Between > 0 && o.Between <= 5):
		return fmt.Errorf("a log standard deviation between homes of %v; it is above 0, such as 0.7, and 5 at most", o.Between)
	case !(o.Power >= 0.5 && o.Power <= 0.9999):
		return fmt.Errorf("a power of %s; it lies between 50 and 99.99 %%, such as 80 %%", percent(o.Power))
	case o.Homes < 0 || o.Homes > MostHomes:
		return fmt.Errorf("%d homes; give 1 to %d", o.Homes, MostHomes)
	}
	return nil
}

// compare is one home measured for so long that was reduced just as expected. The day of
// the switch and the next are left out, as protocols ask.
func (o ReductionOptions) compare(before, after int) (compare.Result, error) {
	const high = 1000 // Bq/m³, so that the air outdoors does not matter
	from := time.Date(plannedYear, o.Month, 1, 0, 0, 0, 0, time.UTC)
	switched := from.AddDate(0, 0, before)
	then := switched.AddDate(0, 0, 2)
	if o.MonthAfter > 0 {
		for then.Month() != o.MonthAfter || then.Day() != 1 {
			then = then.AddDate(0, 0, 1)
		}
	}
	without, err := imaginedFrom(o.Profile, before, from, high, o.Passive)
	if err != nil {
		return compare.Result{}, err
	}
	// The raw ratio that the reduction of a year shows itself as in these weeks: a system
	// flattens the season too. Each turn brings it nearer by far.
	raw := 1 - o.Reduction
	for turn := 0; ; turn++ {
		with, err := imaginedFrom(o.Profile, after, then, high*raw, o.Passive)
		if err != nil {
			return compare.Result{}, err
		}
		if o.Passive {
			with.Detector = "another"
		}
		r, err := compare.Compare(compare.Home{Without: []analysis.Series{without}, With: []analysis.Series{with}, Switched: switched},
			compare.Options{Profile: o.Profile, Confidence: o.Confidence, Calibration: o.Calibration})
		off := r.Ratio.Value / (1 - o.Reduction)
		if err != nil || turn == 6 || math.Abs(off-1) < 1e-3 {
			return r, err
		}
		raw /= off
	}
}

// logs are ln ratio as it is expected, and as it is to be shown.
func (o ReductionOptions) logs() (theta, shown float64) {
	return math.Log1p(-o.Reduction), math.Log1p(-o.AtLeast)
}

func (o ReductionOptions) alone(r compare.Result) float64 {
	theta, shown := o.logs()
	return numeric.Phi((shown - theta - math.Log(r.Ratio.Upper/r.Ratio.Value)) / r.LogSD)
}

// textbook is the usual number, (z_a + z_b)²·variance/difference².
func (o ReductionOptions) textbook(r compare.Result) int {
	theta, shown := o.logs()
	z := zHalf(o.Confidence) + numeric.NormalQuantile(o.Power)
	return int(math.Ceil(min(z*z*(r.LogSD*r.LogSD+o.Between*o.Between)/((shown-theta)*(shown-theta)), 2*MostHomes)))
}

// neighbourhood is homes that were all measured in the same weeks.
type neighbourhood struct {
	theta, shown        float64
	own, common, spread float64 // variances: of each home's error, of the error they share, between homes
	confidence          float64
}

func (o ReductionOptions) neighbourhood(r compare.Result) neighbourhood {
	n := neighbourhood{spread: o.Between * o.Between, confidence: o.Confidence}
	n.theta, n.shown = o.logs()
	effects, common, _ := compare.Effects([]compare.Result{r, r})
	n.own, n.common = effects[0].SD*effects[0].SD, common
	return n
}

// power is the probability that n homes show it, and half the width of their interval
// where they differ as expected.
func (h neighbourhood) power(n int) (power, half float64) {
	m, v := float64(n), h.own+h.spread
	t, z := tHalf(n, h.confidence), zHalf(h.confidence)
	at := func(s2 float64) float64 { return math.Sqrt(t*t*max(s2, h.own)/m + z*z*h.common) }
	sd := math.Sqrt(v/m + h.common)
	grid := numeric.NewChi(m-1, fineChi+math.Abs(t))
	power = grid.Mean(func(root float64) float64 {
		return numeric.Phi((h.shown - h.theta - at(v*root*root)) / sd)
	})
	return power, at(v)
}

// fineChi makes the steps of the average over chi-squared fine enough for its bend.
const fineChi = 120
