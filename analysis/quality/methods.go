package quality

import "radonyear/analysis"

const (
	duplicatesAssumes = "that the two of a pair differ by chance alone, alike at all levels and as log-normal errors do; where one of the two reads higher than the other as a rule, that " +
		"is in the spread too. What all detectors are off by together no pair can show."
	duplicatesInterval = "confidence, exact where the errors are log-normal."
)

var blandAltman = analysis.Source{Key: "bland-altman-1986", Cite: "Bland and Altman 1986, Lancet 327:307 (from memory)"}

// Methods are the methods of this package, in the words of their doc comments.
var Methods = []analysis.Method{{
	Key: DuplicatesMethod, Title: "detectors side by side: how precise is one of them?",
	Estimates: "the coefficient of variation of a single detector's result, %.",
	Formula: "For n pairs of two numbers above zero, d = ln A − ln B and σ² = Σd²/(2n); the value is 100·√(e^(σ²) − 1), and its limits are those with σ²·n/χ² in place of σ², " +
		"χ² the quantiles of chi-squared with n degrees of freedom. The limits of a pair are on |A − B| over its mean: warning 28 % and control 36 % from 148 Bq/m³ on, 50 and 67 % from " +
		"74 on, and below that a difference of 37 Bq/m³. A result below its detection limit is taken for each number from 0 to there, and so are both of a pair.",
	Assumes:  duplicatesAssumes,
	Interval: duplicatesInterval + " An upper limit of the coefficient of variation over 1000 % is said to be none.",
	Notes:    []string{"few-pairs", "open-pairs", "over-control", "imprecise", "identical-pairs", "unbounded"},
	Sources:  []analysis.Source{{Key: "ms-qa-2019", Cite: "ANSI/AARST MS-QA 2019", Part: "for the limits"}, blandAltman},
	Evidence: analysis.Evidence{Reference: "testdata/reference/quality-duplicates.json; TestPublishedLimits; TestPublishedPairs", ByHand: "TestByHand", Coverage: "exact: the sum of d² over 2σ² is chi-squared with n degrees of freedom; TestCoverage"},
}, {
	Key: RatioMethod, Title: "detectors side by side: does one of the two read higher?",
	Estimates: "the geometric mean of the ratio of a home's own detector to its duplicate, a ratio.",
	Formula:   "The ratio is the exponential of the mean of d, and its limits those of Student's t with n − 1 degrees of freedom.",
	Assumes:   "The ratio allows for one of the two reading higher.",
	Interval:  duplicatesInterval,
	Notes:     []string{"steady-difference", "unbounded"},
	Sources:   []analysis.Source{blandAltman},
	Evidence:  analysis.Evidence{Reference: "testdata/reference/quality-duplicates.json", ByHand: "TestByHand", Coverage: "exact: d is normal; TestCoverage"},
}}
