// Package serial answers: what is the mean of one series whose readings resemble
// their neighbours, and how well is it known? An hour of radon is much like the
// hour before, so a thousand hours say far less than a thousand separate homes
// would. Concentrations are in Bq/m³, but the answers do not depend on the unit.
package serial

import (
	"time"

	"radonyear/analysis"
)

// The keys of this package's methods.
const (
	Autoregressive = "autoregressive-mean"
	CosineWeights  = "cosine-mean"
)

// Options of Mean. The zero value is the documented default.
type Options struct {
	Confidence float64 // of the two-sided interval; 0: 0.95
}

// Result is the mean of a series, and what there is to know of its honesty.
type Result struct {
	Mean            analysis.Estimate // the answer: Likelihood, or Cosine where that is much wider
	Likelihood      analysis.Estimate // by the likelihood of an autoregression with noise
	Cosine          analysis.Estimate // by cosine weights, with hardly an assumption
	PlainMean       float64           // Bq/m³
	Spread          float64           // standard deviation of the readings, Bq/m³
	CorrelationTime float64           // hours until what readings share has fallen to 1/e
	NotSeen         bool              // the correlation time is the shortest that was looked at: it is that at most
	Noise           float64           // share of the readings' variance that no two readings share, as counting has it
	EffectiveN      float64           // so many independent readings of the same spread would have an interval as wide as Mean's
	NaiveHalfWidth  float64           // Bq/m³; what t·s/√n would have claimed
	Step            time.Duration     // the usual distance from one reading to the next
	LagOne          *float64          // by LagOne, of readings one Step apart, their daily cycle and all; nil where it gives none
}

// What a series needs, by this project's choice; MinTimes and EnoughTimes by
// COVERAGE.md.
const (
	MinReadings = 20
	MinTimes    = 10  // correlation times that a record has to last
	EnoughTimes = 20  // under which a note says how well the interval holds
	MostBelow   = 0.2 // share of readings below their limit
	Alike       = 0.1 // how far a reading's length may be from the usual one
	Wider       = 1.2 // how much wider the cosine interval has to be to be taken
	// Slower is how much larger the cosines' standard error has to be for a note to speak of a
	// season or a change: the root of the quantile of χ²/8, 8 degrees of freedom, that one in
	// a hundred long records exceeds by chance.
	Slower = 1.585
)
