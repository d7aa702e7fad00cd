package temporal

import (
	"cmp"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"radonyear/analysis"
)

// Errors that detectors are taken to have where a file states none. Both are
// common practice: continuous monitors are calibrated to some 5 %, and an
// integrating detector adds a random part of its own to that.
const (
	DefaultCalibration = 0.05 // relative standard uncertainty a detector shares over all it says
	IntegratingError   = 0.08 // relative random standard uncertainty of one integrating result
	ZeroLimit          = 5.0  // Bq/m³: an integrating result of zero is read as "below this", about the outdoor level
	absurd             = 1e8  // Bq/m³: above this it is no reading; soil gas holds some 1e5
)

// CountingError is the relative standard uncertainty that counting alone leaves
// in a mean concentration (Bq/m³) over some hours, for a detector's sensitivity in
// counts an hour per Bq/m³: 1/√(counts), by Poisson's law.
func CountingError(sensitivity, concentration, hours float64) float64 {
	return 1 / math.Sqrt(sensitivity*concentration*hours)
}

// Observe says what the detectors of one home said in the terms of the model.
//
// Days are civil days in each series' zone. A reading of at most 36 hours is
// the mean of the day that holds its middle; a longer one is an integrating
// detector's. calibration is the relative standard uncertainty that a detector
// shares over all its readings, in whatever room, 0 for the default; series that
// name no detector are taken to be of one. An integrating result's stated
// uncertainty includes it: of results of one detector that part is shared, as far
// as the smallest of them leaves room. Counting error is added to days with few
// hours only: that of whole days is in the profile's day noise. The home's year
// is not set.
//
// Notes: "partial-days", "below-limit", "zero-days".
func Observe(home []analysis.Series, calibration float64) (Home, []analysis.Note, error) {
	return ObserveBoth(home, nil, calibration)
}

// ObserveBoth says in the terms of the model what the detectors of one home said
// without a system and with it; see Observe. How the system changes the home is
// not set.
func ObserveBoth(without, with []analysis.Series, calibration float64) (Home, []analysis.Note, error) {
	type side struct {
		analysis.Series
		worked bool
	}
	var home []side
	for _, s := range without {
		home = append(home, side{s, false})
	}
	for _, s := range with {
		home = append(home, side{s, true})
	}
	if len(home) == 0 {
		return Home{}, nil, fmt.Errorf("no readings")
	}
	if calibration == 0 {
		calibration = DefaultCalibration
	}
	h := Home{Area: home[0].Area}
	var notes []analysis.Note
	partial, below, zero := 0, 0, 0
	// Order must not depend on the order of the files.
	slices.SortStableFunc(home, func(a, b side) int {
		if c := strings.Compare(a.Room, b.Room); c != 0 {
			return c
		}
		if c := strings.Compare(a.Detector, b.Detector); c != 0 {
			return c
		}
		return a.Start().Compare(b.Start())
	})
	// The part of the stated uncertainties that a detector's results share.
	common := map[string]float64{}
	for _, s := range home {
		for i := range s.Len() {
			if r := s.At(i); statesAll(r) {
				u := min(calibration, r.Uncertainty/r.Concentration)
				if least, seen := common[s.Detector]; !seen || u < least {
					common[s.Detector] = u
				}
			}
		}
	}
	type key struct {
		detector string
		stated   bool
	}
	index := map[key]int{}
	var rooms []string
	for _, s := range home {
		room := slices.Index(rooms, s.Room)
		if room < 0 {
			room = len(rooms)
			rooms = append(rooms, s.Room)
		}
		detector := func(stated bool) int {
			k := key{s.Detector, stated}
			at, seen := index[k]
			if !seen {
				at = len(h.Detectors)
				index[k] = at
				sd := calibration
				if stated {
					sd = common[s.Detector]
				}
				h.Detectors = append(h.Detectors, logSD(sd))
			}
			return at
		}
		for i := range s.Len() {
			r := s.At(i)
			o := Observation{FirstShare: 1, LastShare: 1, Below: r.BelowLimit, Room: room, Worked: s.worked}
			c := r.Concentration
			if r.BelowLimit {
				below++
			}
			if c > absurd {
				return Home{}, nil, fmt.Errorf("home %q: a reading of %g Bq/m³ on %s is no radon in a home; check its unit", s.Home, c, r.Start.In(s.Zone).Format("2006-01-02"))
			}
			if Dead(r) {
				zero++
				continue
			}
			if c < analysis.NextToNothing {
				o.Below, c = true, ZeroLimit
			}
			o.Log = math.Log(c)
			stated := r.Uncertainty > 0
			if stated {
				o.Variance = math.Pow(logSD(r.Uncertainty/c), 2)
			}
			if r.OfADay() {
				o.First = Day(r.Start.Add(r.End.Sub(r.Start)/2), s.Zone)
				o.Last = o.First
				o.Detector = detector(false)
				hours := r.End.Sub(r.Start).Hours()
				if r.Share > 0 {
					hours *= r.Share
				}
				o.FirstShare = min(1, hours/24)
				o.LastShare = o.FirstShare
				if hours < analysis.FullDayHours {
					partial++
					// Half a day misses the daily cycle, about a quarter of the
					// mean, and a few hours count badly.
					o.Variance += min(0.25, 0.06*(24/hours-1))
					if !stated {
						o.Variance += math.Pow(logSD(CountingError(analysis.MinSensitivity, c, hours)), 2)
					}
				}
			} else {
				if !stated {
					o.Variance = math.Pow(logSD(IntegratingError), 2)
				}
				o.Detector = detector(stated)
				if stated { // what it shares is the detector's
					o.Variance = max(0, o.Variance-math.Pow(h.Detectors[o.Detector], 2))
				}
				o.First, o.FirstShare, o.Last, o.LastShare = span(r.Start, r.End, s.Zone)
			}
			h.Observations = append(h.Observations, o)
		}
	}
	h.Rooms = len(rooms)
	if len(h.Observations) == 0 {
		return Home{}, nil, fmt.Errorf("home %q: every day mean is zero or next to nothing, and air is never without radon for a day; look whether the detector was alive", home[0].Home)
	}
	if partial > 0 {
		notes = append(notes, analysis.Note{Code: "partial-days", Text: fmt.Sprintf(
			"%s fewer than %d measured hours and count%s for less; measure whole days", some(partial, "calendar day has", "calendar days have"), analysis.FullDayHours, s3(partial))})
	}
	if below > 0 {
		notes = append(notes, analysis.Note{Code: "below-limit", Text: fmt.Sprintf(
			"%s below the detector's limit and enter%s as that, not as a number", some(below, "reading lies", "readings lie"), s3(below))})
	}
	if zero > 0 {
		notes = append(notes, DeadNote(zero))
	}
	return h, notes, nil
}

// statesAll says whether a reading is an integrating result with an uncertainty
// of its own.
func statesAll(r analysis.Reading) bool {
	return r.Uncertainty > 0 && r.Concentration >= analysis.NextToNothing && !r.OfADay()
}

// some counts things with their verb, and s3 is the s of a verb of one thing.
func some(n int, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

// HoursWere counts hours measured with their verb.
func HoursWere(hours float64) string {
	n := int(math.Round(hours))
	if n == 0 {
		return "less than an hour was"
	}
	return some(n, "hour was", "hours were")
}

func s3(n int) string {
	if n == 1 {
		return "s"
	}
	return ""
}

// Dead says whether a reading is a day mean of nothing, which is a detector that
// failed and not a home without radon: the air outdoors alone gives some counts.
func Dead(r analysis.Reading) bool { return r.OfADay() && Zero(r) }

// DeadNote says that so many day means were left out as dead.
func DeadNote(n int) analysis.Note {
	return analysis.Note{Code: "zero-days", Text: some(n, "day mean is", "day means are") +
		" zero or next to nothing, and taken as not measured, since air is never without radon for a day; look whether the detector was alive"}
}

// Zero says whether a reading is of nothing at all. A result of more than a day is
// then read as below ZeroLimit, and its detector may have failed all the same.
func Zero(r analysis.Reading) bool { return !r.BelowLimit && r.Concentration < analysis.NextToNothing }

// CalibrationSD is the log standard deviation of a detector's calibration error,
// whose relative standard uncertainty is given, 0 for the default.
func CalibrationSD(relative float64) float64 {
	if relative == 0 {
		relative = DefaultCalibration
	}
	return logSD(relative)
}

// logSD is the log standard deviation that a coefficient of variation stands
// for: sqrt(ln(1+cv²)).
func logSD(cv float64) float64 { return math.Sqrt(math.Log1p(cv * cv)) }

// Day is the civil day of an instant in a zone, as days since 1 January 1970.
func Day(t time.Time, zone *time.Location) int {
	y, m, d := t.In(zone).Date()
	return int(time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Unix() / 86400)
}

// Date is midnight at the start of a civil day in a zone.
func Date(day int, zone *time.Location) time.Time {
	return time.Date(1970, 1, 1+day, 0, 0, 0, 0, zone)
}

// span is the civil days a stretch touches and how much of the two outer ones.
func span(from, to time.Time, zone *time.Location) (first int, firstShare float64, last int, lastShare float64) {
	first, last = Day(from, zone), Day(to.Add(-time.Nanosecond), zone)
	of := func(day int) float64 {
		a, b := Date(day, zone), Date(day+1, zone)
		lo, hi := a, b
		if from.After(lo) {
			lo = from
		}
		if to.Before(hi) {
			hi = to
		}
		return hi.Sub(lo).Seconds() / b.Sub(a).Seconds()
	}
	return first, of(first), last, of(last)
}

// Covered is the share of each civil day, from the first that was measured, of which
// some detector in some room knew: the most of any, whose own parts of a day add up.
func Covered(observations []Observation) (first int, cover []float64) {
	first, last := math.MaxInt, math.MinInt
	type spot struct{ detector, room int }
	var spots []spot
	for _, o := range observations {
		first, last = min(first, o.First), max(last, o.Last)
		if s := (spot{o.Detector, o.Room}); !slices.Contains(spots, s) {
			spots = append(spots, s)
		}
	}
	cover, own := make([]float64, last-first+1), make([]float64, last-first+1)
	for _, s := range spots {
		clear(own)
		for _, o := range observations {
			if s != (spot{o.Detector, o.Room}) {
				continue
			}
			for d := o.First; d <= o.Last; d++ {
				share := 1.0
				switch d {
				case o.First:
					share = o.FirstShare
				case o.Last:
					share = o.LastShare
				}
				own[d-first] += share
			}
		}
		for i, x := range own {
			cover[i] = max(cover[i], min(x, 1))
		}
	}
	return first, cover
}

// JoinLimits takes runs of days below their limit for one result whose mean is
// below the mean of the limits, which is all that they certainly say. Day by day
// they would say far more of a home that varies like the profile's, and of one that
// does not, such as a steady one just below the limit, far too much. Every
// observation has to be below its limit.
func JoinLimits(observations []Observation) []Observation {
	var out []Observation
	days := map[int]float64{} // of the run at an index of out
	obs := slices.Clone(observations)
	slices.SortStableFunc(obs, func(a, b Observation) int {
		return cmp.Or(cmp.Compare(a.Room, b.Room), cmp.Compare(a.Detector, b.Detector), cmp.Compare(a.First, b.First))
	})
	for _, o := range obs {
		n := float64(o.Last - o.First + 1)
		if k := len(out) - 1; k >= 0 && out[k].Room == o.Room && out[k].Detector == o.Detector && o.First == out[k].Last+1 {
			last := &out[k]
			last.Log = math.Log((math.Exp(last.Log)*days[k] + math.Exp(o.Log)*n) / (days[k] + n))
			last.Last, last.LastShare = o.Last, o.LastShare
			days[k] += n
			continue
		}
		days[len(out)] = n
		out = append(out, o)
	}
	return out
}
