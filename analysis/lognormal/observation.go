package lognormal

import (
	"fmt"
	"math"
	"slices"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// Observation is one home's value, known to lie from Lower to Upper, Bq/m³: both
// the same for an exact one, Lower 0 for one below a limit, Upper +Inf for one
// beyond a detector's range. Error is its relative standard uncertainty (k=1), as
// the standard deviation of its logarithm; 0 if it is not to be counted. What lies
// below a limit is what was measured, error and all, so that a limit has an Error as
// well: what it would be of a value measured there.
type Observation struct{ Lower, Upper, Error float64 }

// Exact is a value known as it stands.
func Exact(x float64) Observation { return Observation{x, x, 0} }

// Below is a value of which only the limit it lies below is known.
func Below(limit float64) Observation { return Observation{0, limit, 0} }

// Between is a value known to lie between two others.
func Between(a, b float64) Observation { return Observation{a, b, 0} }

// Rounded is a value rounded to the nearest multiple of step: anything within
// half a step of it. 0 rounded to whole becquerels is a value below 0.5.
func Rounded(x, step float64) Observation {
	return Observation{max(0, x-step/2), x + step/2, 0}
}

// LogError is the standard deviation of a logarithm whose number has this relative
// standard uncertainty, if both are log-normal: √ln(1 + q²).
func LogError(relative float64) float64 { return math.Sqrt(math.Log1p(relative * relative)) }

// FromReading is a reading as an observation. Its stated uncertainty u becomes
// the standard deviation of the logarithm, √ln(1 + (u/x)²), if counted; x is the limit
// of a value below one. A limit that states none is left to LimitErrors.
func FromReading(r analysis.Reading, countError bool) Observation {
	o := Exact(r.Concentration)
	if r.BelowLimit {
		o = Below(r.Concentration)
	}
	if countError && r.Uncertainty > 0 && r.Concentration > 0 {
		o.Error = LogError(r.Uncertainty / r.Concentration)
	}
	return o
}

// LimitErrors gives the limits that have no error one as the values have: the root mean
// square of the Errors of those values that have one. Files state the uncertainty of
// values and seldom that of a limit; without it, a home of a little over the limit that
// was measured under it would count as one known to lie there. This project's choice:
// the relative error of a low value is as a rule no smaller than that of the others.
func LimitErrors(obs []Observation) []Observation {
	limit := func(o Observation) bool { return o.Lower == 0 || math.IsInf(o.Upper, 1) }
	var squares numeric.Sum
	n := 0
	for _, o := range obs {
		if !limit(o) && o.Error > 0 {
			squares.Add(o.Error * o.Error)
			n++
		}
	}
	out := slices.Clone(obs)
	for i, o := range out {
		if n > 0 && limit(o) && o.Error == 0 {
			out[i].Error = math.Sqrt(squares.Value() / float64(n))
		}
	}
	return out
}

func (o Observation) exact() bool { return o.Lower == o.Upper }

// at is where an error is told of, Bq/m³: the only limit there is, or the middle.
func (o Observation) at() float64 {
	switch {
	case o.Lower == 0:
		return o.Upper
	case math.IsInf(o.Upper, 1):
		return o.Lower
	}
	return o.Lower + (o.Upper-o.Lower)/2
}

func (o Observation) check(i int) error {
	switch {
	case math.IsNaN(o.Lower) || math.IsNaN(o.Upper) || o.Lower < 0 || math.IsInf(o.Lower, 0) || o.Upper < o.Lower:
		return fmt.Errorf("value %d lies from %v to %v; the first is a number from zero up, the second no less", i+1, o.Lower, o.Upper)
	case o.Upper == 0:
		return fmt.Errorf("value %d is zero; a logarithm needs a positive number: give it as Below(limit) with the detector's limit", i+1)
	case o.Lower == 0 && math.IsInf(o.Upper, 1):
		return fmt.Errorf("value %d lies from 0 to infinity, which says nothing; leave it out", i+1)
	case !(o.Error >= 0) || math.IsInf(o.Error, 0):
		return fmt.Errorf("value %d has an error of %v; it is a relative standard uncertainty, such as 0.08", i+1, o.Error)
	}
	return nil
}

// checkAll checks the observations, and that they can tell a spread.
func checkAll(obs []Observation) error {
	if len(obs) < 2 {
		return fmt.Errorf("%d value; a spread needs at least two", len(obs))
	}
	// If one number could be every value, the likelihood only grows as the spread
	// shrinks around it; without a bounded value, nothing holds the spread down.
	lower, upper := 0.0, math.Inf(1)
	bounded, certain := 0, false
	for i, o := range obs {
		if err := o.check(i); err != nil {
			return err
		}
		lower, upper = max(lower, o.Lower), min(upper, o.Upper)
		if o.Lower > 0 && !math.IsInf(o.Upper, 1) {
			bounded++
		}
		certain = certain || o.Error == 0
	}
	switch {
	case bounded == 0 && lower == 0:
		return fmt.Errorf("all %d values lie below their limits, the lowest %v: no middle can be given, only that; a more sensitive detector or a longer test would tell", len(obs), upper)
	case bounded < 2:
		return fmt.Errorf("%d of %d values known from both sides; a spread needs at least two", bounded, len(obs))
	case lower <= upper && lower == upper:
		return fmt.Errorf("all %d values are or could be %v, so no spread can be seen: if they were rounded, more digits are needed", len(obs), lower)
	case lower < upper && certain:
		return fmt.Errorf("one number from %v to %v could be all %d values, so no spread can be seen: finer steps or lower limits would tell", lower, upper, len(obs))
	}
	return nil
}

// complete gives the values, if every one is exact and without error.
func complete(obs []Observation) ([]float64, bool) {
	x := make([]float64, len(obs))
	for i, o := range obs {
		if !o.exact() || o.Error > 0 {
			return nil, false
		}
		x[i] = o.Lower
	}
	return x, true
}

// OutdoorFloor is the share of the outdoor level that an excess has to reach to be
// taken as seen; see SubtractOutdoor.
const OutdoorFloor = 0.1

// SubtractOutdoor takes the outdoor level off every value, before logarithms are
// taken, because indoor radon is what comes from outdoors plus what the house adds,
// and it is the second that is near log-normal.
//
// An excess of less than OutdoorFloor times the outdoor level, or none, cannot be
// told from nothing: it becomes a value below that floor, never a dropped one. The
// error of a value stays what it was in Bq/m³, so it grows in relation to the excess
// (and that of the logarithm by LogError); so does that of a limit, and of a floor put
// in place of a value, where it is as large in relation to the floor with the outdoor
// level as it was to the value. A level to hold the excess against loses the outdoor level too.
//
// Source: for the three-parameter log-normal with a known threshold, Miles 1998,
// Radiat. Prot. Dosim. 78:13 (from memory); the floor is this project's choice.
func SubtractOutdoor(obs []Observation, outdoor float64) ([]Observation, error) {
	if !(outdoor >= 0) || math.IsInf(outdoor, 0) {
		return nil, fmt.Errorf("an outdoor level of %v Bq/m³; it is a number from zero up, such as 8", outdoor)
	}
	floor := OutdoorFloor * outdoor
	out := make([]Observation, len(obs))
	for i, o := range obs {
		if err := o.check(i); err != nil {
			return nil, err
		}
		out[i] = o
		if outdoor == 0 {
			continue
		}
		e := Observation{o.Lower - outdoor, o.Upper - outdoor, 0}
		switch {
		case e.Upper < floor:
			e = Below(floor)
		case e.Lower < floor:
			e.Lower = 0
		}
		if o.Error > 0 {
			relative := math.Sqrt(math.Expm1(o.Error * o.Error))
			e.Error = LogError(relative * (1 + outdoor/e.at()))
		}
		out[i] = e
	}
	return out, nil
}
