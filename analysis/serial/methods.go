package serial

import "radonyear/analysis"

const (
	estimates = "the mean that a home's readings fluctuate about, Bq/m³, from one series of readings that resemble their neighbours."
	assumes   = "that nothing but chance moves the readings over the record: no season, no mitigation, no trend. It is the mean of such weather and living as were, and not of a year: annual.Estimate gives that."
	interval  = "confidence. Asked for 95 %, it holds 93.5 to 97.5 % where a record lasts 10 correlation times or more, and up to 99.8 % where readings do not resemble each other at all. Means of whole days hold 94 to 99.8 %; of records of 30 of them 15 to 55 % are refused, though they last long enough, because so few days cannot tell it. A shorter record is refused, because no method holds its promise there; one whose correlation time was taken for too short is answered all the same, and then 60 to 92 % hold. By cosine weights alone 77 to 96 %. See COVERAGE.md."
)

// Methods are the methods of this package, in the words of their doc comments.
var Methods = []analysis.Method{
	{
		Key: Autoregressive, Title: "mean of a series, by an autoregression with noise",
		Estimates: estimates, Assumes: assumes,
		Formula: "y = μ + x + e: x falls back as e^(−t/τ), e is noise that no two readings share, as counting has it. τ and the noise's share have the restricted likelihood " +
			"of a Kalman filter that takes gaps as they come; μ is the generalized least squares mean with Student's t, averaged over τ (evenly in its logarithm, up to half the " +
			"record) and the noise's share by that likelihood, because in a short record its largest value alone makes τ too short.",
		Interval: interval,
		Notes:    []string{"wider-of-two", "short-record", "below-limit"},
		Sources:  []analysis.Source{{Key: "harville-1977", Cite: "Harville 1977, J. Am. Stat. Assoc. 72:320 (from memory)"}},
		Evidence: analysis.Evidence{Reference: "testdata/reference/serial.json", ByHand: "TestByHand", Coverage: "analysis/serial/COVERAGE.md"},
	},
	{
		Key: CosineWeights, Title: "mean of a series, by cosine weights",
		Estimates: estimates, Assumes: assumes,
		Formula:  "the plain mean with the mean square of 8 cosine sums of the record and t on 8.",
		Interval: interval,
		Notes:    []string{"wider-of-two", "short-record", "below-limit"},
		Sources: []analysis.Source{
			{Key: "mueller-2007", Cite: "Müller 2007, J. Econom. 141:1331 (from memory)"},
			{Key: "lazarus-2018", Cite: "Lazarus, Lewis, Stock and Watson 2018, J. Bus. Econ. Stat. 36:541 (from memory)"},
		},
		Evidence: analysis.Evidence{Reference: "TestByHand: a record that is one of the cosines", ByHand: "TestByHand", Coverage: "analysis/serial/COVERAGE.md"},
	},
}
