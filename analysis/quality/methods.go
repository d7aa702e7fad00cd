package quality

import "radonyear/analysis"

// Methods are the methods of this package, in the words of their doc comments.
var Methods = []analysis.Method{{
	Key: DuplicatesMethod, Title: "detectors side by side: how precise is one of them?",
	Estimates: "the coefficient of variation of a single detector's result, %.",
	Formula: "For n pairs with both results known, d = ln A − ln B and σ² = Σd²/(2n); the value is 100·√(e^(σ²) − 1), and its limits are those with σ²·n/χ² in place of σ², " +
		"χ² the quantiles of chi-squared with n degrees of freedom. The limits of a pair are on |A − B| over its mean: warning 28 % and control 36 % from 148 Bq/m³ on, 50 and 67 % from " +
		"74 on, and below that a difference of 37 Bq/m³.",
	Assumes: "that the two of a pair differ by chance alone, alike at all levels and as log-normal errors do; where one kind of detector reads higher than the other, that is in " +
		"the spread too. What all detectors are off by together no pair can show.",
	Interval: "confidence, exact where the errors are log-normal.",
	Notes:    []string{"few-pairs", "limit-pairs", "over-control", "identical-pairs", "unbounded"},
	Sources: []analysis.Source{
		{Key: "ms-qa-2019", Cite: "ANSI/AARST MS-QA 2019", Part: "for the limits"},
		{Key: "bland-altman-1986", Cite: "Bland and Altman 1986, Lancet 327:307 (from memory)"},
	},
	Evidence: analysis.Evidence{Reference: "testdata/reference/quality-duplicates.json; TestPublishedLimits", ByHand: "TestByHand", Coverage: "exact: Σd²/(2σ²) is chi-squared with n degrees of freedom; TestCoverage"},
}}
