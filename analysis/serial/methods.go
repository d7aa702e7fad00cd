package serial

import "radonyear/analysis"

const (
	effective = " The interval given is Student's t on the effective number k of the n readings, that at which independent readings of the same spread would have it: t·s/√k = d, t Student's quantile with k − 1 degrees of freedom at (1 + confidence)/2, s the readings' standard deviation and d = m·ln(upper/lower)/2. k is any number from 2 to n, and that of the two where there is none between."
	estimates = "the mean that a home's readings fluctuate about, Bq/m³, from one series of readings that resemble their neighbours."
	assumes   = "that nothing but chance moves the readings over the record, with one correlation time: no season, no mitigation, no trend. It is the mean of such weather and living as were, and not of a year: annual.Estimate gives that."
	interval  = "confidence. Asked for 95 %, it holds 95 to 98 % of means of hours where a record lasts 10 correlation times or more, and 97.5 to 99.7 % where hours do not resemble each other at all; means of whole days hold 95 to 99.5 % where they last 14 correlation times or more, and 94 % at 11. Under 4 % of means lie over the upper limit and under 2.5 % under the lower, as two thousand records a setting show it. Where hours wander in two ways at once, one slow and one quick, 89 to 96 % hold, and up to 7 % lie over. In a year of hours of just the kind assumed the model's own interval is as wide as that of one who knows τ and w. Refused, though they last long enough, are 2 to 21 % of records whose hours do not resemble each other, up to 25 % of other records of a week, 18 % of a month of hours, 14 to 55 % of 30 day means, and 68 % of 90 day means that last 11 correlation times, because these cannot tell it. A shorter record, its gaps not counted, is refused, because no method holds its promise there; but one whose correlation time was taken for too short is answered all the same, as 14 to 51 % are of those that last 3 to 9 correlation times: 63 to 93 % of these hold, 85 % of 30 day means and 91 % of 60, and up to 27 % lie over. By cosine weights alone 77 to 97 % hold of records that last long enough, 68 % at 11 correlation times, and 34 to 74 % of others. See COVERAGE.md."
)

// Methods are the methods of this package, in the words of their doc comments.
var Methods = []analysis.Method{
	{
		Key: Autoregressive, Title: "mean of a series, by an autoregression with noise",
		Estimates: estimates, Assumes: assumes,
		Formula:  "y = μ + x + e: x falls back as e^(−h/τ) over h hours, e is noise that no two readings share, as counting has it; so two readings are correlated by (1 − w)e^(−h/τ), h hours apart between their middles, w being the noise's share. With V the matrix of these correlations, 1 on its diagonal: m = 1ᵀV⁻¹y/1ᵀV⁻¹1, v = (y − m)ᵀV⁻¹(y − m)/(n − 1), the standard error √(v/1ᵀV⁻¹1) and the restricted log likelihood −½((n − 1)ln v + ln|V| + ln 1ᵀV⁻¹1); a Kalman filter has the same, and takes gaps as they come. They are had at 12 τ, the middles of even parts of its logarithm from half the shortest step to half the record's length, with w = 1/(1 + e^−z), z = −8, −5, −3.25, −2, −1, 0, 1, 2, 3.5, at each. Where one of these τ, or of these w, other than the first and the last has over two thirds of the likelihoods' sum, or the largest likelihood is over e times the best of theirs, as in long records, as many places, evenly in ln τ and z, take their place: from the last τ and z below all whose log likelihood is within 10 of the largest to the first above, and between half the shortest step, half the record's length and the first and last z; and so on, up to four times. The mean is that of these m, each weighing as its likelihood; limits are quantiles of the mixture of m + the standard error times Student's t with n − 1 degrees of freedom, because in a short record the largest likelihood alone makes τ too short. So the effective number is had from the interval, and not put into it as if it were known. A limit d away from the mean is given as e^(±d/mean) times the mean. The correlation time given is the τ of the largest likelihood, from a fifth of the shortest step up. Where readings are at most 4 hours apart and last 3 days, a daily cycle is fitted first by least squares, with sine and cosine of 24 and of 12 hours, and taken off." + effective,
		Interval: interval,
		Notes:    []string{"wider-of-two", "short-record", "correlation-not-seen", "partial-days", "zero-days", "below-limit"},
		Sources:  []analysis.Source{{Key: "harville-1977", Cite: "Harville 1977, J. Am. Stat. Assoc. 72:320 (from memory)"}},
		Evidence: analysis.Evidence{Reference: "testdata/reference/serial.json and serial-mean.json", ByHand: "TestByHand", Coverage: "analysis/serial/COVERAGE.md"},
	},
	{
		Key: CosineWeights, Title: "mean of a series, by cosine weights",
		Estimates: estimates, Assumes: assumes,
		Formula:  "The plain mean ȳ, and ȳ·e^(±t·s/ȳ): s² = Σ (2/n)(Σ yᵢ cos(πj(i − ½)/n))²/(8n), over j from 1 to 8 and over i from 1 to n, t Student's quantile with 8 degrees of freedom at (1 + confidence)/2; of readings without their daily cycle." + effective,
		Interval: interval,
		Notes:    []string{"wider-of-two", "short-record", "correlation-not-seen", "partial-days", "zero-days", "below-limit"},
		Sources: []analysis.Source{
			{Key: "mueller-2007", Cite: "Müller 2007, J. Econom. 141:1331 (from memory)"},
			{Key: "lazarus-2018", Cite: "Lazarus, Lewis, Stock and Watson 2018, J. Bus. Econ. Stat. 36:541 (from memory)"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/serial-mean.json", ByHand: "TestByHand", Coverage: "analysis/serial/COVERAGE.md"},
	},
	lagOneMethod,
}
