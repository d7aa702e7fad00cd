// Package analysis is the vocabulary of radonyear: what a reading is, what an
// estimate is, and the three ways trouble travels. It holds no methods and
// does no input or output.
//
// Concentrations are in Bq/m³ everywhere (1 pCi/L is exactly 37 Bq/m³);
// instants are UTC, and a Series carries the civil zone its days are cut in.
package analysis

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"
)

// BqPerPCi is the number of Bq/m³ in one pCi/L, exact by definition: a curie
// is 3.7e10 Bq, and a litre a thousandth of a cubic metre.
const BqPerPCi = 37.0

// DayReading is the longest reading that is the mean of a day; a longer one is an
// integrating result and stays whole. A day-long reading seldom starts at
// midnight, so the limit lies well above 24 hours, and below the two days of the
// shortest test in common practice.
const DayReading = 36 * time.Hour

// FullDayHours is how many hours have to be measured for a day to count in full.
const FullDayHours = 18

// NextToNothing, in Bq/m³, is below what a reading is as good as zero: the air outdoors holds
// hundreds of times as much, and no monitor in homes shows so little.
const NextToNothing = 0.01

// MinSensitivity is the least sensitivity of a continuous monitor, in counts an
// hour per Bq/m³: 2 counts an hour per pCi/L (ANSI/AARST MS-PC 2015, section 6). A
// better one counts more, so what its counting cannot explain no monitor's can.
const MinSensitivity = 2 / BqPerPCi

// Reading is what one detector said about one stretch of time.
type Reading struct {
	Start, End    time.Time // UTC; End is after Start
	Concentration float64   // arithmetic mean over Start..End, Bq/m³; the detection limit if BelowLimit
	Uncertainty   float64   // standard uncertainty (k=1), Bq/m³; 0 if not stated
	BelowLimit    bool      // the detector could only say "less than Concentration"
	Share         float64   // share of Start..End that was measured, in (0, 1]; 0 means all of it
}

// Days is the length of the reading in days of 24 hours.
func (r Reading) Days() float64 { return r.End.Sub(r.Start).Hours() / 24 }

// OfADay says whether the reading is the mean of a day, not an integrating result.
func (r Reading) OfADay() bool { return r.End.Sub(r.Start) <= DayReading }

// Place says where a detector stood. Identifiers are text and never parsed.
type Place struct{ Home, Area, Room, Detector string }

// Series is the checked record of one detector in one place: at least one
// reading, in order of time, finite, none overlapping the next. Only NewSeries
// makes one, so a method that is given a Series never checks again.
type Series struct {
	Place
	Zone     *time.Location // civil zone of the home's days; never nil
	readings []Reading
}

// NewSeries sorts a copy of the readings by start and checks them.
//
// Zone nil means UTC. An error names the first reading that is not finite, is
// not positive where a mean is needed (a negative one), ends before it starts,
// or overlaps its neighbour.
func NewSeries(p Place, zone *time.Location, readings []Reading) (Series, error) {
	if len(readings) == 0 {
		return Series{}, fmt.Errorf("home %q: no readings", p.Home)
	}
	if zone == nil {
		zone = time.UTC
	}
	rs := slices.Clone(readings)
	inOrder := func(a, b Reading) int {
		if c := a.Start.Compare(b.Start); c != 0 {
			return c
		}
		return a.End.Compare(b.End)
	}
	if !slices.IsSortedFunc(rs, inOrder) {
		slices.SortFunc(rs, inOrder)
	}
	for i, r := range rs {
		at := func() string { return r.Start.In(zone).Format("2006-01-02 15:04") }
		switch {
		case !r.End.After(r.Start):
			return Series{}, fmt.Errorf("home %q: the reading at %s does not end after it starts", p.Home, at())
		case !finite(r.Concentration) || r.Concentration < 0:
			return Series{}, fmt.Errorf("home %q: the reading at %s is %v Bq/m³, not a concentration", p.Home, at(), r.Concentration)
		case !finite(r.Uncertainty) || r.Uncertainty < 0:
			return Series{}, fmt.Errorf("home %q: the uncertainty at %s is %v, not a standard uncertainty", p.Home, at(), r.Uncertainty)
		case !finite(r.Share) || r.Share < 0 || r.Share > 1:
			return Series{}, fmt.Errorf("home %q: the share measured at %s is %v, not between 0 and 1", p.Home, at(), r.Share)
		case i > 0 && r.Start.Before(rs[i-1].End):
			return Series{}, fmt.Errorf("home %q: the reading at %s overlaps the one before it", p.Home, at())
		}
	}
	return Series{Place: p, Zone: zone, readings: rs}, nil
}

// Keep are the readings that are wanted, series by series; nil where none is.
func Keep(series []Series, wanted func(Reading) bool) (out []Series) {
	for _, s := range series {
		var kept []Reading
		for _, r := range s.readings {
			if wanted(r) {
				kept = append(kept, r)
			}
		}
		if kept != nil {
			out = append(out, Series{Place: s.Place, Zone: s.Zone, readings: kept}) // in order, as the whole was
		}
	}
	return out
}

// Len is the number of readings, at least one.
func (s Series) Len() int { return len(s.readings) }

// At returns reading i, 0 ≤ i < Len.
func (s Series) At(i int) Reading { return s.readings[i] }

// Readings returns a copy of the readings, in order of time.
func (s Series) Readings() []Reading { return slices.Clone(s.readings) }

// Start is the first instant measured.
func (s Series) Start() time.Time { return s.readings[0].Start }

// End is the last instant measured.
func (s Series) End() time.Time { return s.readings[len(s.readings)-1].End }

// CheckConfidence sets a confidence of zero to the default, 0.95, and refuses one that
// is none.
func CheckConfidence(c *float64) error {
	if *c == 0 {
		*c = 0.95
	}
	if !(*c >= 0.5 && *c < 1) {
		return fmt.Errorf("a confidence of %v; it lies between 0.5 and 1, such as 0.95", *c)
	}
	return nil
}

// IntervalKind says what an interval promises.
type IntervalKind string

// The kinds of interval in use.
const (
	ConfidenceInterval IntervalKind = "confidence"
	CredibleInterval   IntervalKind = "credible"
	PredictionInterval IntervalKind = "prediction"
	ToleranceInterval  IntervalKind = "tolerance"
)

// Estimate is a number with an interval that says how well it is known.
type Estimate struct {
	Quantity     string  // "annual mean", "geometric mean", "reduction"
	Unit         string  // "Bq/m³", "%", "" for a ratio
	Value        float64 // the point estimate
	Lower, Upper float64 // ±Inf where the data give no bound, with an "unbounded" note
	Confidence   float64 // the level asked for, in (0, 1)
	Kind         IntervalKind
	N            int    // how many readings or homes it rests on
	Method       string // key into the methods list
	Notes        []Note
}

// Check reports what is wrong with an estimate that must not be printed: a NaN,
// limits that do not hold the value, a confidence outside (0, 1), or no method.
func (e Estimate) Check() error {
	switch {
	case math.IsNaN(e.Value) || math.IsInf(e.Value, 0):
		return fmt.Errorf("%s: value is %v", e.Quantity, e.Value)
	case math.IsNaN(e.Lower) || math.IsNaN(e.Upper):
		return fmt.Errorf("%s: interval is %v to %v", e.Quantity, e.Lower, e.Upper)
	case e.Lower > e.Value || e.Value > e.Upper:
		return fmt.Errorf("%s: %v lies outside its interval %v to %v", e.Quantity, e.Value, e.Lower, e.Upper)
	case !(e.Confidence > 0 && e.Confidence < 1):
		return fmt.Errorf("%s: confidence %v is not between 0 and 1", e.Quantity, e.Confidence)
	case e.Method == "":
		return fmt.Errorf("%s: no method named", e.Quantity)
	case (math.IsInf(e.Lower, 0) || math.IsInf(e.Upper, 0)) && !HasNote(e.Notes, "unbounded"):
		return fmt.Errorf("%s: an open limit without the note that says so", e.Quantity)
	}
	return nil
}

// Note is something that changes how a number is to be read. Code is stable,
// kebab-case and meant for scripts; Text says what to do about it.
type Note struct{ Code, Text string }

// HasNote says whether a note with this code is among the notes.
func HasNote(notes []Note, code string) bool {
	return slices.ContainsFunc(notes, func(n Note) bool { return n.Code == code })
}

// Source is where a method or a fact was published.
type Source struct{ Key, Cite, Part, DOI string }

// String is the source as one line of text.
func (s Source) String() string {
	parts := []string{s.Cite}
	if s.Part != "" {
		parts = append(parts, s.Part)
	}
	if s.DOI != "" {
		parts = append(parts, "doi:"+s.DOI)
	}
	return strings.Join(parts, ", ")
}

func finite(x float64) bool { return !math.IsNaN(x) && !math.IsInf(x, 0) }
