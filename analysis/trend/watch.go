// Package trend answers: is a system still doing its work, or has something changed?
package trend

import (
	"fmt"
	"math"
	"slices"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/temporal"
)

// WatchMethod is the key of Watch in the list of methods.
const WatchMethod = "control-charts"

// Day is one civil day of a home whose system runs.
type Day struct {
	Day  int     // days since 1 January 1970
	Mean float64 // Bq/m³; the limit where every reading lay below it
}

// Options of Watch. The zero value is the documented default.
type Options struct {
	Profile         *temporal.Profile // nil: the built-in one, northern hemisphere
	Ratio           float64           // annual mean with the system over that without it; 0: assumedRatio, 0.3
	Without         float64           // mean without the system, Bq/m³, which with that of the baseline gives Ratio; 0: not known
	FalseAlarmYears float64           // one false alarm in so many years, both charts together; 0: 5
	Shift           float64           // the rise to be detected, as a factor; 0: 2
	Confidence      float64           // of the rise's interval; 0: 0.95
	BaselineDays    int               // measured days that say what is usual; 0: it grows, see Watch
	Seed            uint64            // of the simulated years behind the limits
	Paths           int               // how many are simulated; 0: 500
}

// The fewest and, unless asked for, the most measured days that say what is usual.
const (
	LeastBaseline = 14
	MostBaseline  = 90
)

// assumedRatio is what a system is taken to leave where nothing says how high the home was
// without it.
const assumedRatio = 0.3

// ladder are the lengths through which a baseline grows.
var ladder = []int{LeastBaseline, 20, 30, 45, 60, MostBaseline}

// State is what the charts say on the last day.
type State string

// Quiet: no alarm, which means unchanged; it does not mean low. Alarm: one that is not over.
// Recovered: there was one, and the level is back, see Watch; both charts then begin anew.
const (
	Quiet     State = "quiet"
	Alarm     State = "alarm"
	Recovered State = "recovered"
)

// Point is both charts on one measured day.
type Point struct {
	Day         int
	Z           float64 // ln of the day over what was usual then
	EWMA, CUSUM float64
}

// Alarmed is an alarm.
type Alarmed struct {
	Day, Start int    // of the alarm, and the likely first day of the rise
	End        int    // the day on which the level had been back for two weeks of measured days or more; 0 if it is not
	Chart      string // "EWMA", "CUSUM" or both
	Ratio      analysis.Estimate
}

// Delay is how long a rise goes unseen.
type Delay struct {
	Shift  float64 // factor on the level
	Seen   float64 // share of such rises seen within a year
	Median float64 // measured days until half of all are seen; +Inf if they are not within a year
	Ninety float64 // until nine in ten are
}

// Result is one system watched.
type Result struct {
	From, To              int // first and last day of the baseline
	Days                  int // measured in it
	GM                    float64
	Points                []Point // after the baseline
	EWMALimit, CUSUMLimit float64
	State                 State
	Alarm                 *Alarmed  // the latest
	Earlier               []Alarmed // alarms before it, in order
	Detect                []Delay
	FalseAlarmYears       float64
	Watched               int     // days measured after the baseline
	Scale                 float64 // of the day-to-day variance, home over model
	Ratio                 float64 // with the system over without it, as the charts took it
	Notes                 []analysis.Note

	// What Over needs.
	model      *model
	baseline   []Day
	confidence float64
}

const (
	unchanging  = 7   // days that are the same, at the end, are said; a low home in whole numbers has some
	stuck       = 30  // and so many are no home's
	longGap     = 14  // days
	hardlyLower = 0.8 // of the level without the system
)

const (
	weight  = 0.15 // of the newest day in the EWMA
	horizon = 1826 // days simulated after the baseline, five years
)

// Watch keeps two control charts of a system's day means: an exponentially weighted
// moving average, which sees slow rises, and a cumulative sum, which sees when one began.
//
// It estimates whether, and since when, the level is higher than usual, and by what
// factor.
//
// Formula. z = ln(day mean) − its mean over the baseline − the expected season, which
// the system flattens. EWMA: E = 0.15 z + 0.85 E. CUSUM: S = max(0, S + z − ln(shift)/2).
// Both count measured days. An alarm is a day with E or S over its limit. Unless its
// length is asked for, the baseline grows, through 14, 20, 30, 45, 60 and 90 measured
// days, each once twice as many are measured, no shorter one has raised an alarm and both
// charts stand under half of their limits; the charts are then run anew, and an alarm is
// said on the first day after that or later. So a record that goes on never takes back an
// alarm, and a rise that was seen does not become usual. The likely start is the first
// day of the step up that fits the days up to the alarm best, by generalised least
// squares with the model's covariance. The level is back when the mirror of the CUSUM,
// max(0, D + ln(shift)/2 − z) from the alarm on, is over the CUSUM's limit and has not
// been zero for fourteen measured days. The limits
// are of the same height in the home's own terms: five years of days like its own are
// simulated many times from the model of temporal.Work, season, drift and noise, with
// a drift of 400 days for how years differ, each with a baseline of its own as long as
// the home's; variances from day to day are scaled to the home's, by the n differences
// of its baseline as far as n/(n + 15) in logs, to a quarter at least and 16 times at
// most; drifts beyond ten days are scaled by the root of that where it is above 1, and
// left as they are where a home is calmer than the model; the limits are the quantiles
// of the highest E and S at which a share
// 1 − e^(−y/years) of the first y = min(5, years) years has an alarm, the CUSUM's no lower than
// ln(shift)/2, so that in a very steady home one day is no alarm. What is usual by a later
// monitor of a room over what was by an earlier one: e to the difference of the means of
// ln(day mean) − the expected season over both baselines, with the variance that the earlier
// one's model gives such a difference and 5 % of calibration of each monitor.
//
// Assumes that the home varies as the profile's homes do with a system: how far its days
// scatter, one scale, is learned of its own baseline, how long swings last and the season
// are the profile's; that what is usual did not change within the baseline; and that gaps
// are short.
//
// Interval: of the rise, rough: from the spread that as many days have in the simulated
// years as long after the baseline, of days chosen for being high; how often it holds,
// the rate of false alarms and the delays are published in COVERAGE.md beside this
// package. Asked for one false alarm in five years there was one in 4.8 years over three,
// and one in 2.9 within the first, when not every season has been seen; where the level
// without the system was not known, one in 4.3 and one in 2.7. Delays are of homes that
// had no false alarm before the failure: 50 of 200 whose level doubled had one and are
// left out, and 22 of 80 whose fan stopped. Of a later monitor's usual over an earlier
// one's: it held 1 in 95 % of homes to which nothing else happened, and lay above 1 in
// 51 % of those whose level doubled on that day.
//
// Notes: short-baseline, baseline-kept, start-unknown, rise-uncertain, unchanging,
// restless-home, slow-to-see, gap, hardly-lower.
//
// Source: Roberts 1959, Technometrics 1:239 (EWMA); Page 1954, Biometrika 41:100
// (CUSUM); limits of autocorrelated series by simulation as in Lu and Reynolds 1999,
// J. Qual. Technol. 31:259 (all from memory).
func Watch(days []Day, opt Options) (Result, error) {
	if err := opt.check(); err != nil {
		return Result{}, err
	}
	days = slices.Clone(days)
	slices.SortStableFunc(days, func(a, b Day) int { return a.Day - b.Day })
	for i, d := range days {
		switch {
		case !(d.Mean > 0) || math.IsInf(d.Mean, 0):
			return Result{}, fmt.Errorf("a day mean of %v Bq/m³ has no logarithm; leave out days on which the detector was dead", d.Mean)
		case i > 0 && d.Day == days[i-1].Day:
			return Result{}, fmt.Errorf("two means of one day; watch one detector in one room")
		}
	}
	lengths := []int{opt.BaselineDays}
	if opt.BaselineDays == 0 {
		lengths = ladder
	}
	if n := lengths[0]; len(days) <= n {
		return Result{}, fmt.Errorf("%d %s with the system running; what is usual takes %d, and then days to watch", len(days), map[bool]string{true: "day", false: "days"}[len(days) == 1], n)
	}
	run := 1 // days that are the same, at the end
	for i := len(days) - 1; i > 0 && days[i].Mean == days[i-1].Mean; i-- {
		run++
	}
	if run >= stuck {
		return Result{}, fmt.Errorf("the last %d days are all the same, which no home's are; look whether the monitor is alive", run)
	}
	ys := newYears(opt, days[0].Day, lengths[len(lengths)-1]+horizon)
	var w *watch
	n, now := 0, 0 // the baseline; the day on which it is judged, the first after those watched with a shorter one
	for i, length := range lengths {
		next := len(days) // when the baseline may grow
		if i+1 < len(lengths) {
			next = min(2*lengths[i+1], next)
		}
		n, w = length, newWatch(days[:length], ys, opt)
		at := n
		for at < len(days) && w.alarms == nil && (at < next || !w.calm()) {
			w.add(days[at], at >= now)
			at++
		}
		if now = at; w.alarms != nil || now == len(days) {
			break
		}
	}
	for _, d := range days[now:] {
		w.add(d, true)
	}
	r := Result{From: days[0].Day, To: w.last, Days: n, GM: w.gm, Points: w.points, EWMALimit: w.ewma, CUSUMLimit: w.cusum,
		State: w.state, FalseAlarmYears: opt.FalseAlarmYears, Watched: len(w.points), Scale: w.model.scale, Ratio: w.ratio,
		model: w.model, baseline: days[:n], confidence: opt.Confidence}
	for i := range w.alarms {
		w.alarms[i].Ratio = w.rise(w.alarms[i])
	}
	if n := len(w.alarms); n > 0 {
		r.Alarm = &w.alarms[n-1]
		if n > 1 {
			r.Earlier = w.alarms[:n-1]
		}
	}
	shifts := []float64{opt.Shift}
	if dead := 1 / w.ratio; dead > 1.01*opt.Shift || dead < 0.99*opt.Shift && dead > 1 {
		shifts = append(shifts, dead) // a system that does nothing any more
	}
	for _, shift := range shifts {
		r.Detect = append(r.Detect, w.sim.delay(shift, w.ewma, w.cusum, opt))
	}
	r.remark(days, run, opt)
	return r, nil
}

// remark notes what changes how the charts are to be read; run is how many days at the
// end are the same.
func (r *Result) remark(days []Day, run int, opt Options) {
	date := func(day int) string { return temporal.Date(day, time.UTC).Format(time.DateOnly) }
	if r.Scale > temporal.Restless {
		r.note("restless-home", "its days vary more than the model's, by a factor of %.1f in variance, and the limits allow for that; it takes longer to see a change", r.Scale)
	}
	if run >= unchanging {
		r.note("unchanging", "the last %d days are all the same, which is rare; look whether the monitor is alive", run)
	}
	for i := 1; i < len(days); i++ {
		if gap := days[i].Day - days[i-1].Day; gap > longGap {
			what := "nothing is known of them"
			if i < r.Days {
				what = "what is usual comes from days before and after"
			}
			r.note("gap", "%d days were not measured before %s, and %s", gap-1, date(days[i].Day), what)
		}
	}
	if r.Ratio > hardlyLower {
		r.note("hardly-lower", "the days with the system are hardly lower than those without (×%.2f), so that there is little for the charts to watch: radonyear compare says whether it does anything", r.Ratio)
	}
	first, grown := r.Alarm, LeastBaseline
	for _, n := range ladder {
		if 2*n <= len(days) {
			grown = n
		}
	}
	if len(r.Earlier) > 0 {
		first = &r.Earlier[0]
	}
	switch {
	case first != nil && opt.BaselineDays == 0 && grown > r.Days:
		r.note("baseline-kept", "what is usual rests on %d days, and no later ones since the alarm of %s: what may be a rise must not become usual. If that was nothing, --baseline %d takes more; after a repair say when the system was off and on, with --switches", r.Days, date(first.Day), grown)
	case r.Days < 30 && opt.BaselineDays == 0:
		r.note("short-baseline", "what is usual rests on %d days; it will rest on more when more are measured", r.Days)
	case r.Days < 30:
		r.note("short-baseline", "what is usual rests on %d days; a longer --baseline tells it better", r.Days)
	}
	if first != nil && first.Start == r.Points[0].Day {
		r.note("start-unknown", "the rise of the alarm of %s fits best from the first day that was watched, so that it may have begun earlier, among the days taken as usual, and be larger", date(first.Day))
	}
	if r.Alarm != nil && r.Alarm.Ratio.Lower <= 1 {
		r.note("rise-uncertain", "the interval of the rise of the alarm of %s holds 1: it may be chance, or little; the days to come will tell, the gauge tells now", date(r.Alarm.Day))
	}
	if d := r.Detect[0]; d.Seen < 0.9 {
		r.note("slow-to-see", "a rise by a factor of %g is seen within a year in %.0f %% of such cases only: this home varies too much for more at one false alarm in %g years; a yearly retest sees what the chart does not", d.Shift, 100*d.Seen, opt.FalseAlarmYears)
	}
}

func (o *Options) check() error {
	if o.Profile == nil {
		o.Profile = temporal.BuiltIn(false)
	}
	if o.Ratio == 0 {
		o.Ratio = assumedRatio
	}
	if o.FalseAlarmYears == 0 {
		o.FalseAlarmYears = 5
	}
	if o.Shift == 0 {
		o.Shift = 2
	}
	if o.Confidence == 0 {
		o.Confidence = 0.95
	}
	if o.Paths == 0 {
		o.Paths = 500
	}
	switch {
	case !(o.Ratio > 0) || math.IsInf(o.Ratio, 0):
		return fmt.Errorf("a ratio of %v; it is that of the mean with the system to the mean without", o.Ratio)
	case !(o.FalseAlarmYears >= 0.5 && o.FalseAlarmYears <= 50):
		return fmt.Errorf("one false alarm in %v years; ask for 0.5 to 50", o.FalseAlarmYears)
	case !(o.Shift > 1 && o.Shift <= 100):
		return fmt.Errorf("a rise by a factor of %v; ask for more than 1 and up to 100", o.Shift)
	case !(o.Confidence >= 0.5 && o.Confidence < 1):
		return fmt.Errorf("a confidence of %v; it lies between 0.5 and 1, such as 0.95", o.Confidence)
	case o.BaselineDays != 0 && (o.BaselineDays < LeastBaseline || o.BaselineDays > 1000):
		return fmt.Errorf("a baseline of %d days; what is usual takes %d to 1000", o.BaselineDays, LeastBaseline)
	case o.Paths < 100 || o.Paths > 100000:
		return fmt.Errorf("%d simulated paths; 100 to 100000", o.Paths)
	}
	return nil
}

func (r *Result) note(code, format string, args ...any) {
	r.Notes = append(r.Notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, args...)})
}

// Methods are the methods of this package.
var Methods = []analysis.Method{{
	Key:       WatchMethod,
	Title:     "control charts of a working system",
	Estimates: "whether, and since when, the level is higher than usual, and by what factor.",
	Formula:   "z = ln(day mean) − its mean over the baseline − the expected season, which the system flattens. EWMA: E = 0.15 z + 0.85 E. CUSUM: S = max(0, S + z − ln(shift)/2). Both count measured days. An alarm is a day with E or S over its limit. Unless its length is asked for, the baseline grows, through 14, 20, 30, 45, 60 and 90 measured days, each once twice as many are measured, no shorter one has raised an alarm and both charts stand under half of their limits; the charts are then run anew, and an alarm is said on the first day after that or later. So a record that goes on never takes back an alarm, and a rise that was seen does not become usual. The likely start is the first day of the step up that fits the days up to the alarm best, by generalised least squares with the model's covariance. The level is back when the mirror of the CUSUM, max(0, D + ln(shift)/2 − z) from the alarm on, is over the CUSUM's limit and has not been zero for fourteen measured days. The limits are of the same height in the home's own terms: five years of days like its own are simulated many times from the model of temporal.Work, season, drift and noise, with a drift of 400 days for how years differ, each with a baseline of its own as long as the home's; variances from day to day are scaled to the home's, by the n differences of its baseline as far as n/(n + 15) in logs, to a quarter at least and 16 times at most; drifts beyond ten days are scaled by the root of that where it is above 1, and left as they are where a home is calmer than the model; the limits are the quantiles of the highest E and S at which a share 1 − e^(−y/years) of the first y = min(5, years) years has an alarm, the CUSUM's no lower than ln(shift)/2, so that in a very steady home one day is no alarm. What is usual by a later monitor of a room over what was by an earlier one: e to the difference of the means of ln(day mean) − the expected season over both baselines, with the variance that the earlier one's model gives such a difference and 5 % of calibration of each monitor.",
	Assumes:   "that the home varies as the profile's homes do with a system: how far its days scatter, one scale, is learned of its own baseline, how long swings last and the season are the profile's; that what is usual did not change within the baseline; and that gaps are short.",
	Interval:  "of the rise, rough: from the spread that as many days have in the simulated years as long after the baseline, of days chosen for being high; how often it holds, the rate of false alarms and the delays are published in COVERAGE.md beside this package. Asked for one false alarm in five years there was one in 4.8 years over three, and one in 2.9 within the first, when not every season has been seen; where the level without the system was not known, one in 4.3 and one in 2.7. Delays are of homes that had no false alarm before the failure: 50 of 200 whose level doubled had one and are left out, and 22 of 80 whose fan stopped. Of a later monitor's usual over an earlier one's: it held 1 in 95 % of homes to which nothing else happened, and lay above 1 in 51 % of those whose level doubled on that day.",
	Notes:     []string{"short-baseline", "baseline-kept", "start-unknown", "rise-uncertain", "unchanging", "restless-home", "slow-to-see", "gap", "hardly-lower"},
	Sources: []analysis.Source{
		{Key: "roberts-1959", Cite: "Roberts 1959, Technometrics 1:239 (from memory)"},
		{Key: "page-1954", Cite: "Page 1954, Biometrika 41:100 (from memory)"},
		{Key: "lu-reynolds-1999", Cite: "Lu and Reynolds 1999, J. Qual. Technol. 31:259 (from memory)"},
	},
	Evidence: analysis.Evidence{Reference: "TestPublished, run lengths of a printed chart", ByHand: "TestByHand", Coverage: "COVERAGE.md"},
}}
