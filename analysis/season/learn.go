// Package season answers: how does radon go through the year around here, and
// how far does one home stray from that? It learns a temporal.Profile from the
// homes of a region that were measured for most of a year.
package season

import (
	"fmt"
	"math"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/temporal"
)

// Options of Learn. The zero value is the documented default.
type Options struct {
	Name       string            // of the profile; "": "learned"
	MinDays    int               // days with a mean, within twelve months, that a home needs; 0: 300
	Confidence float64           // of the coverage reported; 0: 0.95
	BuiltIn    *temporal.Profile // what few homes are widened toward; nil: temporal.BuiltIn(false)
}

// Learned is a profile and what is worth knowing before it is used.
type Learned struct {
	Profile *temporal.Profile
	Homes   int
	Skipped []Skipped
	First   time.Time // first and last day used
	Last    time.Time
	Monthly []Month
	Scatter []Scatter // each home judged alone
	Course  []Scatter // with the weather the others shared; nil where that is not known
	// Amplitude is half the log range of the mean cycle's first harmonic, and
	// AmplitudeSD the standard deviation of a home's own about it.
	Amplitude, AmplitudeSD float64
	Notes                  []analysis.Note
}

// Skipped is a home that was not learned from.
type Skipped struct {
	Place analysis.Place
	Why   string
}

// Month is the mean cycle in one calendar month.
type Month struct {
	Month        time.Month
	Factor       float64 // mean of the month over the mean of the year
	Lower, Upper float64 // 95 % of homes lie between, as far as the season goes
	Correction   float64 // what a test of exactly this month is multiplied by
}

// Scatter is how tests of one length did on homes left out of the profile.
type Scatter struct {
	Days         int
	Tests, Homes int
	RawGSD       float64 // exp of the root mean square of ln(test/year)
	CorrectedGSD float64 // the same of the estimate
	Coverage     float64 // share of intervals that held the year
	WidthRatio   float64 // mean log half-width over z times the root mean square error: 1 is just wide enough
}

// Lengths are the test lengths, in days, that a learned profile is tried on.
var Lengths = []int{2, 4, 7, 14, 30, 60, 90, 180, 300}

// record is one home's day means, in order.
type record struct {
	place analysis.Place
	day   []int
	log   []float64
	x     [][temporal.Harmonics]float64 // the season's regressors of the day
	year  []int                         // indices of the days of its best twelve months
	truth float64
}

// Learn fits a profile to the homes that have most of a year of day means.
//
// It estimates the mean cycle and its spread between homes, the variances of
// the drift at correlation times of 1, 6, 40 and 150 days, and, where at least
// eight homes were measured at a time, the course of weather they shared.
//
// Formula. The log likelihood of the model of package temporal, with the level
// of each home integrated out, maximised in turn over season (by expectation
// maximisation of a mixed model) and drift (by simplex). What the homes had in
// common is the mean over homes of what is left. Then each home is left out in
// turn, its season and course learned from the others, and tests of 2 to 300
// days cut from its record are judged against its own year; the factors by which
// the spread must be multiplied to hold what it promises, and to be the root mean
// square of the errors, go into the profile.
//
// Assumes that the homes are like those the profile will be used on. With fewer
// than 10 homes all variances are raised toward the built-in profile's. The mean
// cycle is drawn toward the built-in one, and its spread raised, by what the
// weather of just these years may have done to all homes alike, which no leaving
// out of homes can show: Scatter and Course are of those years.
//
// Interval: none; see Scatter for how those of annual means did.
//
// Errors: no home with enough days; fewer than 3 of them.
//
// Notes: few-homes, no-course.
//
// Source: Laird and Ware 1982, Biometrics 38:963 (mixed model); Nelder and Mead
// 1965, Computer J. 7:308.
func Learn(homes [][]analysis.Series, opt Options) (Learned, error) {
	if opt.MinDays == 0 {
		opt.MinDays = MostOfYear
	}
	if opt.Confidence == 0 {
		opt.Confidence = 0.95
	}
	if opt.Name == "" {
		opt.Name = "learned"
	}
	if opt.BuiltIn == nil {
		opt.BuiltIn = temporal.BuiltIn(false)
	}
	if opt.MinDays < 200 || opt.MinDays > 365 {
		return Learned{}, fmt.Errorf("%d days are asked of each home; a cycle needs 200 to 365", opt.MinDays)
	}
	if !(opt.Confidence >= 0.5 && opt.Confidence < 1) {
		return Learned{}, fmt.Errorf("a confidence of %v; it lies between 0.5 and 1", opt.Confidence)
	}
	var out Learned
	var recs []*record
	for _, h := range homes {
		r, why := newRecord(h, opt.MinDays)
		if r == nil {
			out.Skipped = append(out.Skipped, Skipped{Place: h[0].Place, Why: why})
			continue
		}
		recs = append(recs, r)
	}
	if len(recs) < 3 {
		return Learned{}, fmt.Errorf("%d of %d homes have day means on %d days of a year; at least 3 are needed, and 10 for a profile that is not drawn toward the built-in one", len(recs), len(homes), opt.MinDays)
	}
	slices.SortStableFunc(recs, func(a, b *record) int { return comparePlace(a.place, b.place) })
	out.Homes = len(recs)

	f := newFit(recs, nil)
	f.maximise()
	c := f.findCourse()
	if len(recs) < 10 {
		out.Notes = append(out.Notes, analysis.Note{Code: "few-homes", Text: fmt.Sprintf(
			"%d homes have most of a year; with fewer than 10 the profile is drawn toward the built-in one", len(recs))})
	}
	p := f.profile(opt, -1)
	out.Scatter, p.Calibration = calibrate(recs, opt, func(i int) *temporal.Profile { return f.profile(opt, i) })
	if c == nil {
		out.Notes = append(out.Notes, analysis.Note{Code: "no-course", Text: fmt.Sprintf(
			"fewer than %d homes were measured at a time, so their common weather could not be learned", courseHomes)})
		// Nor can it be told from the drift: all of that may have been common.
		var days []int
		for _, r := range recs {
			days = append(days, r.day...)
		}
		slices.Sort(days)
		allowForYears(p, slices.Compact(days), f.v[:len(driftDays)], opt.BuiltIn)
	} else {
		g := newFit(recs, c)
		g.v = slices.Clone(f.v)
		g.maximise()
		shared := make([]float64, len(driftDays))
		for i := range shared {
			shared[i] = max(f.v[i]-g.v[i], 1e-6)
		}
		p.Course = g.course(opt, shared, -1)
		out.Course, p.Course.Calibration = calibrate(recs, opt, func(i int) *temporal.Profile {
			q := *p
			q.Course = g.course(opt, shared, i)
			return &q
		})
		var days []int
		for i, n := range c.homes {
			if n > 0 {
				days = append(days, c.first+i)
			}
		}
		allowForYears(p, days, shared, opt.BuiltIn)
	}
	out.Profile = p
	first, last := recs[0].day[0], recs[0].day[0]
	for _, r := range recs {
		first, last = min(first, r.day[0]), max(last, r.day[len(r.day)-1])
	}
	out.First, out.Last = temporal.Date(first, time.UTC), temporal.Date(last, time.UTC)
	p.Provenance = fmt.Sprintf("learned from %d homes, %s to %s", len(recs), out.First.Format("2006-01-02"), out.Last.Format("2006-01-02"))
	out.Monthly = monthly(p.Season)
	out.Amplitude = math.Hypot(p.Season.Mean[0], p.Season.Mean[1])
	out.AmplitudeSD = math.Sqrt((p.Season.Cov[0][0] + p.Season.Cov[1][1]) / 2)
	return out, nil
}

// MostOfYear is how many days with a mean, within twelve months, a home needs unless Options
// say otherwise.
const MostOfYear = 300

// Enough says whether Learn would learn from a home, by the Options' defaults.
func Enough(home []analysis.Series) bool {
	r, _ := newRecord(home, MostOfYear)
	return r != nil
}

// newRecord picks the room measured longest and its day means, or says why not.
func newRecord(home []analysis.Series, minDays int) (*record, string) {
	byRoom := map[string]map[int][]float64{}
	for _, s := range home {
		for i := range s.Len() {
			r := s.At(i)
			whole := r.End.Sub(r.Start) >= analysis.FullDayHours*time.Hour && (r.Share == 0 || r.Share >= analysis.FullDayHours/24.0)
			if !r.OfADay() || !whole || r.BelowLimit || r.Concentration <= 0 {
				continue
			}
			d := temporal.Day(r.Start.Add(r.End.Sub(r.Start)/2), s.Zone)
			if byRoom[s.Room] == nil {
				byRoom[s.Room] = map[int][]float64{}
			}
			byRoom[s.Room][d] = append(byRoom[s.Room][d], r.Concentration)
		}
	}
	room, most := "", 0
	for name, days := range byRoom {
		if len(days) > most || len(days) == most && name < room {
			room, most = name, len(days)
		}
	}
	r := &record{place: home[0].Place}
	r.place.Room = room
	for d := range byRoom[room] {
		r.day = append(r.day, d)
	}
	slices.Sort(r.day)
	for _, d := range r.day {
		xs := byRoom[room][d]
		slices.Sort(xs) // several detectors: the same sum in any order
		sum := 0.0
		for _, x := range xs {
			sum += x
		}
		r.log = append(r.log, math.Log(sum/float64(len(xs))))
		r.x = append(r.x, temporal.Regressors(d))
	}
	from, to := bestYear(r.day)
	if to-from < minDays {
		return nil, fmt.Sprintf("%d days with a mean in its best twelve months; %d are needed", to-from, minDays)
	}
	for i := from; i < to; i++ {
		r.year = append(r.year, i)
	}
	r.truth = r.mean(r.year)
	return r, ""
}

// mean is ln of the mean concentration over the days with these indices.
func (r *record) mean(at []int) float64 {
	sum := 0.0
	for _, i := range at {
		sum += math.Exp(r.log[i])
	}
	return math.Log(sum / float64(len(at)))
}

// bestYear is the run of indices within 365 days that holds most days, the
// earliest of equals.
func bestYear(day []int) (from, to int) {
	best := 0
	for i, j := 0, 0; i < len(day); i++ {
		for j < len(day) && day[j] < day[i]+365 {
			j++
		}
		if j-i > best {
			best, from, to = j-i, i, j
		}
	}
	return from, to
}

func comparePlace(a, b analysis.Place) int {
	for _, x := range [][2]string{{a.Area, b.Area}, {a.Home, b.Home}, {a.Room, b.Room}} {
		if x[0] != x[1] {
			if x[0] < x[1] {
				return -1
			}
			return 1
		}
	}
	return 0
}

// monthly is the mean cycle of a common year as factors on the year's mean.
func monthly(s temporal.Season) []Month {
	first := temporal.Day(time.Date(2025, 1, 1, 12, 0, 0, 0, time.UTC), time.UTC)
	year, mean := [temporal.Harmonics]float64{}, 0.0
	at := func(from, days int) (x [temporal.Harmonics]float64, m float64) {
		for d := from; d < from+days; d++ {
			h := temporal.Regressors(d)
			for i := range h {
				x[i] += h[i] / float64(days)
			}
			m += math.Exp(s.At(d)) / float64(days)
		}
		return x, m
	}
	year, mean = at(first, 365)
	var out []Month
	for m := time.January; m <= time.December; m++ {
		start := temporal.Day(time.Date(2025, m, 1, 12, 0, 0, 0, time.UTC), time.UTC)
		end := temporal.Day(time.Date(2025, m+1, 1, 12, 0, 0, 0, time.UTC), time.UTC)
		x, mm := at(start, end-start)
		v := 0.0
		for i := range x {
			for j := range x {
				v += (x[i] - year[i]) * s.Cov[i][j] * (x[j] - year[j])
			}
		}
		spread := math.Exp(1.959964 * math.Sqrt(max(v, 0)))
		f := mm / mean
		out = append(out, Month{Month: m, Factor: f, Lower: f / spread, Upper: f * spread, Correction: 1 / f})
	}
	return out
}

// trial is one test cut from the record of a home that was left out.
type trial struct {
	home          int
	length        int
	raw, err, std float64 // ln raw/truth, ln estimate/truth, the model's spread
}

// calibrate tries the profile on homes left out of it, sets the factors on its
// spread, and reports how the intervals then do on homes that had no part in
// the factors either.
func calibrate(recs []*record, opt Options, leftOut func(int) *temporal.Profile) (out []Scatter, rows []temporal.Calibration) {
	perHome := make([][]trial, len(recs))
	numeric.Each(len(recs), func(i int) {
		perHome[i] = tryHome(i, recs[i], leftOut(i))
	})
	var all []trial
	for _, t := range perHome {
		all = append(all, t...)
	}
	z := distuv.UnitNormal.Quantile((1 + opt.Confidence) / 2)
	n := float64(len(recs))
	for _, length := range Lengths {
		var ts []trial
		for _, t := range all {
			if t.length == length {
				ts = append(ts, t)
			}
		}
		if len(ts) < 20 {
			continue
		}
		row := Scatter{Days: length, Tests: len(ts)}
		total, factor := 0.0, factorOf(ts, -1, n)
		raw2, err2, width, held := 0.0, 0.0, 0.0, 0.0
		last := -1
		own := 0.0
		for _, t := range ts {
			if t.home != last {
				row.Homes++
				last, own = t.home, factorOf(ts, t.home, n-1)
			}
			total++
			raw2 += t.raw * t.raw
			err2 += t.err * t.err
			width += z * own * t.std
			if math.Abs(t.err) <= z*own*t.std {
				held++
			}
		}
		row.RawGSD = math.Exp(math.Sqrt(raw2 / total))
		row.CorrectedGSD = math.Exp(math.Sqrt(err2 / total))
		row.Coverage = held / total
		row.WidthRatio = width / total / (z * math.Sqrt(err2/total))
		out = append(out, row)
		rows = append(rows, temporal.Calibration{Days: float64(length), Factor: factor, Error: errorOf(ts, n)})
	}
	return out, rows
}

// factorOf is the factor that makes 95 % of the trials' intervals hold, without
// those of one home. A home counts once, since its trials share its ways: the
// fewer homes, the more the factor is drawn toward 1, and then raised as Student's
// quantile is over the normal one. Fewer than 30 homes are too few to promise
// less than the model does.
func factorOf(ts []trial, without int, homes float64) float64 {
	var q []float64
	for _, t := range ts {
		if t.home != without {
			q = append(q, math.Abs(t.err)/t.std)
		}
	}
	if len(q) == 0 || homes < 2 {
		return 1
	}
	slices.Sort(q)
	at := 0.95 * float64(len(q)-1)
	i := int(at)
	x := q[i]
	if i+1 < len(q) {
		x += (at - float64(i)) * (q[i+1] - q[i])
	}
	z := distuv.UnitNormal.Quantile(0.975)
	k := 1 + homes/(homes+10)*(x/z-1)
	if k < 1 && homes < 30 {
		k = 1
	}
	return min(max(k, 0.7), 2) * distuv.StudentsT{Mu: 0, Sigma: 1, Nu: homes - 1}.Quantile(0.975) / z
}

// errorOf is the factor that makes the spread the root mean square of the trials'
// errors, drawn toward 1 as the other is: of few homes neither says much.
func errorOf(ts []trial, homes float64) float64 {
	err2, std2 := 0.0, 0.0
	for _, t := range ts {
		err2 += t.err * t.err
		std2 += t.std * t.std
	}
	k := 1 + homes/(homes+10)*(math.Sqrt(err2/std2)-1)
	return min(max(k, 0.5), 2)
}

// startsPerLength is how many tests of each length are cut from a home's year.
const startsPerLength = 8

func tryHome(home int, r *record, p *temporal.Profile) []trial {
	var out []trial
	var only []int
	for _, i := range r.year {
		only = append(only, r.day[i])
	}
	from, to := only[0], only[len(only)-1]+1
	for _, length := range Lengths {
		starts := startsPerLength
		if span := to - from - length; span < 4*startsPerLength {
			starts = max(1, span/4)
		}
		for k := range starts {
			// Evenly over the year, not at the same dates in every home.
			room := to - from - length
			start := from
			if room > 0 {
				start += (k*room/starts + home*7) % (room + 1)
			}
			h := temporal.Home{Area: r.place.Area, Course: p.Course != nil, Detectors: []float64{0}, Rooms: 1, From: from, To: to, Only: only}
			var in []int
			for _, i := range r.year {
				if d := r.day[i]; d >= start && d < start+length {
					in = append(in, i)
					h.Observations = append(h.Observations, temporal.Observation{First: d, Last: d, FirstShare: 1, LastShare: 1, Log: r.log[i]})
				}
			}
			if len(in)*10 < length*9 || len(in) < 2 {
				continue
			}
			post, err := p.Posterior(h)
			if err != nil {
				continue // cannot happen with plain day means; a lost trial is counted by its absence
			}
			out = append(out, trial{home: home, length: length, raw: r.mean(in) - r.truth, err: post.LogMedian - r.truth, std: post.LogSD})
		}
	}
	return out
}
