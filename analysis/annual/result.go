package annual

import (
	"time"

	"radonyear/analysis"
)

// Verdict is what can be said of an annual mean against a level.
type Verdict string

// The three verdicts. "Not conclusive" is an answer, not a failure.
const (
	Above         Verdict = "above"
	Below         Verdict = "below"
	NotConclusive Verdict = "not conclusive"
)

// Against is an annual mean held against one level.
type Against struct {
	Level       float64 // Bq/m³
	Probability float64 // P(annual mean > Level)
	Verdict     Verdict
}

// Result is one home's (or room's) year.
type Result struct {
	analysis.Place                 // Room is "" or a list where several rooms were combined
	Start, End           time.Time // first and last instant measured, in the home's zone
	DaysMeasured         float64   // days with a reading
	YearStart, YearEnd   time.Time // the twelve months the annual mean is about
	YearShare            float64   // share of those days that was measured, 0 to 1
	RawMean              float64   // plain mean of the readings in those months, Bq/m³: by time in a room, rooms alike
	SeasonFactor         float64   // annual mean over the mean expected in the days measured: season alone
	AnnualMean           analysis.Estimate
	ExpectedMean         float64 // posterior mean of the annual mean, Bq/m³; Value above is the median
	LogMedian, LogSpread float64 // centre and calibrated scale of ln(annual mean)
	LogError             float64 // its root mean square error, no more than that: a variance where many homes are put together
	Above                []Against
	Daily                []Day // of the twelve months; nil unless Options.Daily
	Notes                []analysis.Note
}

// Day is what is known of one day's mean, Bq/m³, whether it was measured or not: the
// mean over the rooms, its middle and limits between which it lies with the
// probability that Options.Confidence asks for. It is the model's word, for the eye:
// how many days of homes that are not the model lie between the limits is held by a
// test to 90 to 99 % of those asked to be 95.
type Day struct {
	Date                time.Time
	Value, Lower, Upper float64
}

// Further is what more days of measurement would bring.
type Further struct {
	Days        int     // days more, from the end of the test
	Chance      float64 // probability, today, that the verdict will then be conclusive
	ChanceAbove float64 // ... and that it will be "above"
	UpperRatio  float64 // upper limit over median of the interval then to be expected
}

// Conclusiveness answers: is this test conclusive, and if not, how much longer?
type Conclusiveness struct {
	Result
	Against                        // the level asked about
	BandLower, BandUpper float64   // raw means of this same test strictly between these would not be conclusive; 0 and 0 where a reading lies below its limit, 0 or +Inf for an end no reading reaches
	Further              []Further // a table of further days
	DaysFor80            int       // fewest further days with at least an 80 % chance; 0 if conclusive now; -1 if not within a year
}
