// Package annual answers: what is this home's radon over the year, is it above
// the level, and if that cannot be said yet, how much longer to measure?
package annual

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/temporal"
)

// Target is which mean is meant.
type Target int

// ThisYear is the twelve months that contain the measurement, centred on it
// where it is shorter. LongRun is the mean over many years: a year is a draw
// from those, so the interval is wider.
const (
	ThisYear Target = iota
	LongRun
)

func (t Target) String() string {
	if t == LongRun {
		return "long-run"
	}
	return "this-year"
}

// Prior is what is known of homes in the area: the geometric mean (Bq/m³) and
// geometric standard deviation of their annual means.
type Prior struct{ GM, GSD float64 }

// Options of Estimate. The zero value is the documented default.
type Options struct {
	Profile     *temporal.Profile // nil: the built-in one, northern hemisphere
	Levels      []float64         // Bq/m³, to hold the mean against; nil: DefaultLevel
	Confidence  float64           // of interval and verdict; 0: 0.95
	Target      Target
	AreaPrior   *Prior    // nil: the home speaks for itself
	YearFrom    time.Time // first date of the twelve months meant, in its own location; zero: centred on the measurement
	Course      bool      // the home lived in the weather of the profile's course; see Confirm
	Calibration float64   // relative standard uncertainty a detector shares over its readings; 0: temporal.DefaultCalibration
	Daily       bool      // keep each day's own mean as Result.Daily
}

// WidePrior stands in for an area's where every result lies below its limit: the
// GM of 55 is that of the Cross-Canada survey; its GSD of 2.45 is widened to 4.
var WidePrior = Prior{GM: 55, GSD: 4}

// Method is the key of Estimate in the list of methods.
const Method = "seasonal-state-space"

// Check fills in the defaults and reports what cannot be honoured.
func (o *Options) Check() error {
	if o.Profile == nil {
		o.Profile = temporal.BuiltIn(false)
	}
	if o.Levels == nil {
		o.Levels = []float64{DefaultLevel}
	}
	for _, l := range o.Levels {
		if !(l > 0) || math.IsInf(l, 0) {
			return fmt.Errorf("a level of %v Bq/m³; a level is a positive number", l)
		}
	}
	if err := analysis.CheckConfidence(&o.Confidence); err != nil {
		return err
	}
	if o.Target != ThisYear && o.Target != LongRun {
		return fmt.Errorf("target %d is neither this year nor the long run", o.Target)
	}
	if p := o.AreaPrior; p != nil && (!(p.GM > 0) || math.IsInf(p.GM, 0) || !(p.GSD > 1) || math.IsInf(p.GSD, 0)) {
		return fmt.Errorf("an area prior of GM %v and GSD %v; the first is positive, the second above 1", p.GM, p.GSD)
	}
	if !(o.Calibration >= 0 && o.Calibration < 1) {
		return fmt.Errorf("a calibration uncertainty of %v; it is relative, such as 0.05", o.Calibration)
	}
	return nil
}

// home is one home made ready: its observations, the year and what covers it.
type home struct {
	place    analysis.Place
	zone     *time.Location
	series   []analysis.Series
	data     temporal.Home
	notes    []analysis.Note
	opt      Options
	rooms    []string
	covered  float64 // days of the year measured
	raw      float64
	factor   float64
	start    time.Time
	end      time.Time
	measured float64 // days measured in all, inside the year or not
}

// Estimate returns a home's (or, given one room's series, a room's) annual mean
// with an interval, and holds it against the levels.
//
// It estimates the arithmetic mean concentration, Bq/m³, of twelve months.
//
// Formula. The profile's posterior of the days nobody measured, given those that
// were (see temporal.Posterior): ln of the mean is normal with centre m and
// spread s; the part of s that is not instruments' or years' is multiplied by the
// profile's calibration for this many days. Value is e^m, the median; the limits
// are e^(m ± z s); P(above L) = Φ((m − ln L)/s). The verdict is "above" where that
// probability reaches the confidence, "below" where it does not exceed its
// complement. Under 46 hours nothing is conclusive, and a home of several rooms
// is not called "below" while one of them by itself is above.
//
// Assumes that season and drift of the home are like those of the profile's
// homes, that nothing was changed in the home in these twelve months, and that
// the rooms measured are the ones meant; rooms are averaged with equal weight.
//
// Interval: credible, checked by simulation with a generator that is not the
// model; its coverage by test length is published in COVERAGE.md beside this
// package.
//
// Notes: under-two-days, longer-than-a-year, year-not-measured, several-rooms,
// room-above, restless-home, zero-result, all-below-limit, below-limit, zero-days, partial-days.
//
// Source: Durbin and Koopman 2012, Time Series Analysis by State Space Methods,
// chapters 4 and 10, for the filter; for seasonal correction by exact dates and its
// own uncertainty, Pinel, Fearn, Darby and Miles 1995, Radiat. Prot. Dosim. 58:127
// (from memory).
func Estimate(series []analysis.Series, opt Options) (Result, error) {
	h, err := prepare(series, opt)
	if err != nil {
		return Result{}, err
	}
	post, err := h.opt.Profile.Posterior(h.data)
	if err != nil {
		return Result{}, fmt.Errorf("home %q: %w", h.place.Home, err)
	}
	return h.result(post)
}

func prepare(series []analysis.Series, opt Options) (*home, error) {
	if err := opt.Check(); err != nil {
		return nil, err
	}
	if len(series) == 0 {
		return nil, fmt.Errorf("no readings")
	}
	h := &home{series: series, opt: opt, place: series[0].Place, zone: series[0].Zone}
	var err error
	if h.data, h.notes, err = temporal.Observe(series, opt.Calibration); err != nil {
		return nil, err
	}
	h.data.Course, h.data.LongRun, h.data.Daily = opt.Course, opt.Target == LongRun, opt.Daily
	h.start, h.end = series[0].Start(), series[0].End()
	for _, s := range series {
		if s.Home != h.place.Home {
			return nil, fmt.Errorf("readings of homes %q and %q in one estimate; give one home at a time", h.place.Home, s.Home)
		}
		if s.Start().Before(h.start) {
			h.start = s.Start()
		}
		if s.End().After(h.end) {
			h.end = s.End()
		}
		if s.Detector != h.place.Detector {
			h.place.Detector = ""
		}
		if !slices.Contains(h.rooms, s.Room) {
			h.rooms = append(h.rooms, s.Room)
		}
	}
	if len(h.rooms) > 1 {
		h.place.Room = strings.Join(h.rooms, " + ")
		h.note("several-rooms", "readings from %d rooms are joined and the mean of the rooms is given; where people live in one of them, ask for each room by itself", len(h.rooms))
	}
	h.setYear()
	h.zeroResults()
	allBelow := h.allBelow()
	if allBelow {
		h.data.Observations = temporal.JoinLimits(h.data.Observations)
	}
	if opt.AreaPrior != nil {
		h.data.Prior = opt.Profile.Level(opt.AreaPrior.GM, opt.AreaPrior.GSD)
	} else if allBelow {
		h.data.Prior = opt.Profile.Level(WidePrior.GM, WidePrior.GSD)
		h.note("all-below-limit", "every reading lies below the detector's limit, so the lower limit and the middle rest on a wide prior (GM %g Bq/m³, GSD %g); only the upper limit is the home's own. Measure longer or with a more sensitive detector", WidePrior.GM, WidePrior.GSD)
	}
	if h.measured < LeastDays {
		h.note("under-two-days", "%s measured; test protocols ask for 48, and from 46 on, the tolerance they allow, a verdict is given", temporal.HoursWere(24*h.measured))
	}
	return h, nil
}

// LeastDays is how much has to be measured for a verdict: the 48 hours that
// protocols ask for, less the two they allow.
const LeastDays = 46.0 / 24

func (h *home) note(code, format string, args ...any) {
	h.notes = append(h.notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
}

// zeroResults says which results are zero: no air holds so little radon, so
// the first question is whether the detector worked, whatever the numbers say.
func (h *home) zeroResults() {
	zero, all := 0, 0
	for _, s := range h.series {
		for i := range s.Len() {
			r := s.At(i)
			if all++; temporal.Zero(r) && !temporal.Dead(r) {
				zero++
			}
		}
	}
	const ask = "ask first whether the detector worked, for there is some radon in the air of every home. If it did, a result of zero is one below %g Bq/m³; if it did not, nothing is known of the home, so measure again"
	switch {
	case zero == 0:
	case zero == all:
		h.note("zero-result", "every result is zero or next to nothing: "+ask, temporal.ZeroLimit)
	default:
		h.note("zero-result", "%d of %d results are zero or next to nothing: "+ask, zero, all, temporal.ZeroLimit)
	}
}

func (h *home) allBelow() bool {
	for _, o := range h.data.Observations {
		if !o.Below {
			return false
		}
	}
	return true
}

// setYear chooses the twelve months, and counts what was measured of them.
func (h *home) setYear() {
	first, cover := temporal.Covered(h.data.Observations)
	last := first + len(cover) - 1
	const year = 365
	from := first + (last-first+1)/2 - year/2
	if !h.opt.YearFrom.IsZero() {
		from = temporal.Day(h.opt.YearFrom, h.opt.YearFrom.Location()) // a date, wherever the home is
	} else if last-first >= year {
		// The twelve months of which most was measured; the latest of equals.
		sum, best := 0.0, -1.0
		for i := range cover {
			sum += cover[i]
			if i >= year {
				sum -= cover[i-year]
			}
			if i >= year-1 && sum >= best-1e-9 {
				best, from = max(best, sum), first+i-year+1
			}
		}
		if days := h.end.Sub(h.start).Hours() / 24; days > year+1 { // a leap year is no more than one
			h.note("longer-than-a-year", "the readings span %.0f days; the mean is of the twelve months measured best, from %s",
				days, temporal.Date(from, h.zone).Format("2006-01-02"))
		}
	}
	h.data.From, h.data.To = from, from+year
	var in, cycle, all mean // season over the measured days meant, and over the year
	season := h.opt.Profile.Season
	for d := min(first, from); d < max(last+1, from+year); d++ {
		c := 0.0
		if d >= first && d <= last {
			c = cover[d-first]
		}
		meant := d >= from && d < from+year
		if c == 0 && !meant {
			continue
		}
		level := math.Exp(season.At(d))
		h.measured += c
		all.add(c, level)
		if meant {
			h.covered += c
			in.add(c, level)
			cycle.add(1, level)
		}
	}
	if h.covered < h.measured/10 {
		h.note("year-not-measured", "hardly anything was measured in the twelve months from %s, so their mean is inferred from other years; the raw mean is of what was measured in them, or where nothing was, of all",
			temporal.Date(from, h.zone).Format("2006-01-02"))
	}
	if in.weight == 0 {
		in = all
	}
	h.factor = cycle.value() / in.value()
	h.raw = rawMean(h.series, temporal.Date(from, h.zone), temporal.Date(from+year, h.zone))
}

// mean is a weighted mean as it gathers.
type mean struct{ sum, weight float64 }

func (m *mean) add(w, x float64) { m.sum, m.weight = m.sum+w*x, m.weight+w }
func (m mean) value() float64    { return m.sum / m.weight }

// RawMean is the plain mean of all readings, Bq/m³: in each room weighted by the time
// they cover, and rooms alike. NaN where a detector read nothing at all.
func RawMean(series []analysis.Series) float64 { return rawMean(series, time.Time{}, time.Time{}) }

// rawMean is the plain mean of the readings that touch the year, or of all where
// none does: in each room weighted by the time they cover, and rooms alike.
func rawMean(series []analysis.Series, from, to time.Time) float64 {
	in, all := map[string]mean{}, map[string]mean{}
	for _, s := range series {
		inRoom, allRoom := in[s.Room], all[s.Room]
		for i := range s.Len() {
			r := s.At(i)
			if temporal.Dead(r) {
				continue
			}
			w := r.Days()
			if r.Share > 0 {
				w *= r.Share
			}
			allRoom.add(w, r.Concentration)
			if r.Start.Before(to) && r.End.After(from) {
				inRoom.add(w, r.Concentration)
			}
		}
		if allRoom.weight > 0 {
			all[s.Room] = allRoom
		}
		if inRoom.weight > 0 {
			in[s.Room] = inRoom
		}
	}
	if len(in) == 0 {
		in = all
	}
	var rooms mean
	for _, name := range slices.Sorted(maps.Keys(in)) {
		rooms.add(1, in[name].value())
	}
	return rooms.value()
}

// dead says whether a room's detectors read nothing at all.
func dead(series []analysis.Series) bool {
	for _, s := range series {
		for i := range s.Len() {
			if !temporal.Dead(s.At(i)) {
				return false
			}
		}
	}
	return true
}

// spread is the calibrated log spread of the target after the posterior's.
func (h *home) spread(post temporal.Posterior) float64 { return h.spreadAfter(post, h.measured) }

// spreadAfter is the same after so many days of measurement.
func (h *home) spreadAfter(post temporal.Posterior, days float64) float64 {
	return h.opt.Profile.Calibrated(post.LogSD, post.Apart, days, post.Course)
}

func (h *home) result(post temporal.Posterior) (Result, error) {
	if post.Scale > temporal.Restless {
		h.note("restless-home", "its days vary more than those of the profile's homes, by a factor of %.1f in variance, and the days not measured are taken to do so too; look for a change in between: a fan switched, a detector moved, windows or rooms used otherwise", post.Scale)
	}
	s := h.spread(post)
	z := distuv.UnitNormal.Quantile((1 + h.opt.Confidence) / 2)
	m := post.LogMedian
	r := Result{
		Place: h.place, Start: h.start.In(h.zone), End: h.end.In(h.zone), DaysMeasured: h.measured,
		YearStart: temporal.Date(h.data.From, h.zone), YearEnd: temporal.Date(h.data.To, h.zone),
		YearShare: h.covered / float64(h.data.To-h.data.From),
		RawMean:   h.raw, SeasonFactor: h.factor,
		AnnualMean: analysis.Estimate{
			Quantity: "annual mean", Unit: "Bq/m³",
			Value: math.Exp(m), Lower: math.Exp(m - z*s), Upper: math.Exp(m + z*s),
			Confidence: h.opt.Confidence, Kind: analysis.CredibleInterval,
			N: len(h.data.Observations), Method: Method,
		},
		ExpectedMean: math.Exp(m + s*s/2),
		LogMedian:    m, LogSpread: s,
		LogError: h.opt.Profile.RootMeanSquare(post.LogSD, post.Apart, h.measured, post.Course),
	}
	for i, d := range post.Daily {
		r.Daily = append(r.Daily, Day{temporal.Date(h.data.From+i, h.zone), math.Exp(d.Mean), math.Exp(d.Mean - z*d.SD), math.Exp(d.Mean + z*d.SD)})
	}
	for _, level := range h.opt.Levels {
		a := Hold(m, s, level, h.opt.Confidence)
		if h.measured < LeastDays {
			a.Verdict = NotConclusive
		}
		r.Above = append(r.Above, a)
	}
	if err := h.roomsAbove(&r); err != nil {
		return Result{}, err
	}
	r.AnnualMean.Notes, r.Notes = h.notes, h.notes
	return r, nil
}

// roomsAbove looks for rooms that are above a level though the mean of the rooms
// is not: someone may live in just that one.
func (h *home) roomsAbove(r *Result) error {
	if len(h.rooms) < 2 {
		return nil
	}
	var said []string
	for _, name := range slices.Sorted(slices.Values(h.rooms)) {
		var one []analysis.Series
		for _, s := range h.series {
			if s.Room == name {
				one = append(one, s)
			}
		}
		opt := h.opt
		opt.YearFrom, opt.Daily = temporal.Date(h.data.From, h.zone), false
		if dead(one) {
			continue // the home has other rooms
		}
		room, err := Estimate(one, opt)
		if err != nil { // it may be the one that is above
			return fmt.Errorf("room %q by itself: %w", name, err)
		}
		for i, a := range room.Above {
			if a.Verdict != Above || r.Above[i].Verdict == Above {
				continue
			}
			r.Above[i].Verdict = NotConclusive
			said = append(said, fmt.Sprintf("%q is above %g", name, a.Level))
		}
	}
	if said != nil {
		h.note("room-above", "by itself, %s Bq/m³ though the mean of the rooms is not shown to be; where people live in it, that counts, so the home is not called below", strings.Join(said, ", "))
	}
	return nil
}

// Hold holds ln(mean) ~ N(m, s²) against a level, Bq/m³.
func Hold(m, s, level, confidence float64) Against {
	z := (m - math.Log(level)) / s
	a := Against{Level: level, Probability: distuv.UnitNormal.CDF(z), Verdict: NotConclusive}
	// Both tails from their own side: 1 − Φ loses the digits that decide.
	switch {
	case distuv.UnitNormal.CDF(-z) <= 1-confidence:
		a.Verdict = Above
	case a.Probability <= 1-confidence:
		a.Verdict = Below
	}
	return a
}

// Band is the range of corrected results about a level that settle nothing,
// strictly between L·GSD^−z and L·GSD^z, where the true annual mean scatters
// about the corrected result by a geometric standard deviation and the verdict
// asks for a one-sided confidence.
func Band(level, gsd, confidence float64) (lower, upper float64) {
	z := distuv.UnitNormal.Quantile(confidence)
	f := math.Pow(gsd, z)
	return level / f, level * f
}
