// Package lognormal answers: what does a log-normal fit say of these homes, and
// how far can it be trusted? Middle, spread, mean, quantiles and the share above
// a level, each with an interval that holds what it promises at the small sample
// sizes people have; for values below a limit, rounded, or known with an error too.
//
// Complete data are reduced to a Sample, which is all the exact methods need:
// GeometricMean, GeometricSD, Mean, Quantile, TwoSidedTolerance, Above, NextHome.
// Anything else is a slice of Observation, and Fit estimates the same by likelihood.
// Describe takes what is there and chooses; Threshold asks where the distribution
// begins. Concentrations are in Bq/m³, but every method here gives the same answer
// in another unit.
package lognormal

import (
	"fmt"
	"math"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// Options of the methods of complete data. The zero value is the documented
// default.
type Options struct {
	Confidence float64 // of the two-sided interval; 0: 0.95
}

func (o *Options) check() error { return analysis.CheckConfidence(&o.Confidence) }

// Sample is what the exact methods need to know of complete data: how many
// values, and the mean and standard deviation (n − 1) of their natural logarithms.
// NewSample and FromLogs make one.
type Sample struct {
	n        int
	mean, sd float64
}

// NewSample reduces values, which are all positive, at least two, and not all the
// same. An error says which value, and what would do instead.
func NewSample(values []float64) (Sample, error) {
	if len(values) < 2 {
		return Sample{}, fmt.Errorf("%d value; a spread needs at least two", len(values))
	}
	logs := make([]float64, len(values))
	same := true
	for i, v := range values {
		if !(v > 0) || math.IsInf(v, 0) {
			return Sample{}, fmt.Errorf("value %d is %v; a logarithm needs a positive number: give a value at or below a detection limit as Below(limit)", i+1, v)
		}
		logs[i] = math.Log(v)
		same = same && v == values[0]
	}
	mean, sd := numeric.Moments(logs)
	if same || sd == 0 {
		return Sample{}, fmt.Errorf("all %d values are %v, so no spread can be seen: if they were rounded, more digits are needed", len(values), values[0])
	}
	return FromLogs(len(values), mean, sd)
}

// FromLogs is the sample of n values whose logarithms have this mean and standard
// deviation (n − 1), as a running sum leaves them or a publication prints them.
func FromLogs(n int, mean, sd float64) (Sample, error) {
	switch {
	case n < 2:
		return Sample{}, fmt.Errorf("%d value; a spread needs at least two", n)
	case math.IsNaN(mean) || math.IsInf(mean, 0):
		return Sample{}, fmt.Errorf("a mean of logarithms of %v", mean)
	case !(sd > 0 && sd < 2000): // no numbers of a float64 spread wider
		return Sample{}, fmt.Errorf("a standard deviation of logarithms of %v; it is a positive number, seldom above 2", sd)
	}
	return Sample{n, mean, sd}, nil
}

// N is the number of values.
func (s Sample) N() int { return s.n }

// MeanLog is the mean of the natural logarithms.
func (s Sample) MeanLog() float64 { return s.mean }

// SDLog is the standard deviation (n − 1) of the natural logarithms.
func (s Sample) SDLog() float64 { return s.sd }

func (s Sample) check() error {
	if s.n == 0 {
		return fmt.Errorf("an empty sample; NewSample makes one")
	}
	return nil
}

// The units and quantities in use.
const becquerel = "Bq/m³"

// beyond is how many times its value an upper limit may be before it is given as
// open, and a lower one of a concentration may be less before it is given as 0: nobody
// can use limits like 4e284 and 3e-15, or be helped by their digits. This project's
// choice.
const beyond = 1e6

// finish fills in what an interval with an open upper limit needs to say, and refuses
// an estimate that is none. Below a lower limit of 0 lies no concentration, so that one
// needs no note.
func finish(e analysis.Estimate) (analysis.Estimate, error) {
	if math.IsInf(e.Value, 0) || math.IsNaN(e.Value) || e.Value == 0 && e.Unit == becquerel {
		return e, fmt.Errorf("the %s is beyond what a number can hold: the values spread too widely for a log-normal fit to say anything of it", e.Quantity)
	}
	if e.Unit == becquerel && e.Lower > 0 && e.Lower < e.Value/beyond {
		e.Lower = 0
	}
	// A share has no unit and is never above 1, as a geometric standard deviation is.
	if (e.Unit == becquerel || e.Upper > 1) && e.Upper > beyond*e.Value {
		e.Upper = math.Inf(1)
		// The same words for every quantity, so that a list of notes has them once.
		e.Notes = append(e.Notes, analysis.Note{Code: "unbounded", Text: "the data give no upper limit, or one of over a million times the value, so it is given as open; more homes would close it"})
	}
	return e, e.Check()
}
