package survey

import "radonyear/analysis"

// The names of the methods that rest on how homes were drawn, as in Estimate.Method.
const (
	DesignGM             = "design-gm"
	DesignMean           = "design-mean"
	DesignKornGraubard   = "design-korn-graubard"
	DesignWilson         = "design-wilson"
	DesignClopperPearson = "design-clopper-pearson"
	DesignTotal          = "design-total"
	DesignDifference     = "share-difference"
	DesignRaking         = "raking"
)

// DesignMethods are the methods that rest on how homes were drawn, in the words of
// their doc comments.
var DesignMethods = []analysis.Method{
	{
		Key: DesignGM, Title: "geometric mean, by design",
		Estimates: "the geometric mean of homes, Bq/m³, by the design of the survey.",
		Formula:   "exp(m), m = Σw·ln x/Σw over the area's homes, or all; variance of m as that of a mean, limits exp(m ± t·se), t Student's with clusters − strata degrees of freedom. With homes below limits or between bounds, m and the spread solve the weighted likelihood equations of the log-normal, Σw·∂l/∂(μ, ln σ) = 0, and a home's linearised value is the first row of −(Σw·∂²l)⁻¹ times its score.",
		Assumes:   "homes, or clusters of them, drawn at random within strata with chances in proportion to 1/weight. No distribution, unless there are limits: then log-normal below them.",
		Interval:  "confidence. Asked for 95 %, it holds 92 to 96 % at 20 to 200 homes, fewest in few clusters of unequal size; see COVERAGE-design.md.",
		Notes:     []string{"no-degrees", "unbounded", "limits-fitted", "no-gm"},
		Sources:   []analysis.Source{{Key: "binder-1983", Cite: "Binder 1983, Int. Stat. Rev. 51:279 (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "survey-design.json, R survey and survival", ByHand: "TestDesignByHand", Coverage: "analysis/survey/COVERAGE-design.md"},
	},
	{
		Key: DesignMean, Title: "arithmetic mean, by design",
		Estimates: "the arithmetic mean of homes, Bq/m³, by the design of the survey.",
		Formula:   "x̄ = Σwx/Σw over the area's homes, or all; its variance that of Σ w·(x − x̄)/Σw, summed over clusters and taken between the clusters of each stratum, (1 − n/N)·n/(n − 1)·Σ(t − t̄)², after what margins explain is taken off; limits x̄·exp(±t·se/x̄), t Student's with clusters − strata degrees of freedom. A home below a limit counts half of it, none of it in the lower limit and all of it in the upper.",
		Assumes:   "homes, or clusters of them, drawn at random within strata with chances in proportion to 1/weight; nothing of their distribution. Volunteers were not drawn.",
		Interval:  "confidence, approximate: one home in a hundred makes much of a log-normal mean, and a sample without it does not know. Asked for 95 %, it holds 87 to 95 % at 20 to 200 homes with a GSD near 2.6, fewest where they are few, and misses by limits too low; see COVERAGE-design.md. The method area-posterior is the one to read where homes are log-normal.",
		Notes:     []string{"no-degrees", "unbounded", "half-limits"},
		Sources:   []analysis.Source{{Key: "sarndal-1992", Cite: "Särndal, Swensson and Wretman 1992, Model Assisted Survey Sampling, chapter 5 (from memory)"}, {Key: "woodruff-1971", Cite: "Woodruff 1971, J. Am. Stat. Assoc. 66:411 (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "survey-design.json, R survey", ByHand: "TestDesignByHand; all samples, TestDesignEnumerated", Coverage: "analysis/survey/COVERAGE-design.md"},
	},
	{
		Key: DesignKornGraubard, Title: "share of homes above a level, by design",
		Estimates: "the share of homes above a level, from 0 to 1, by the design of the survey.",
		Formula:   "p = Σw·(x > L)/Σw, of an area or of all. Limits are the beta quantiles B(α/2; np, n(1−p)+1) and B(1−α/2; np+1, n(1−p)) with n = p(1−p)/se² · (t of the homes less one/t of the degrees of freedom)², at most the homes in the sample; where none or all are above, n is (Σw)²/Σw² instead of p(1−p)/se². A home that its limit leaves undecided counts as not above in the value and in the lower limit, and as above in the upper.",
		Assumes:   "homes, or clusters of them, drawn at random within strata with chances in proportion to 1/weight. The error of the homes' tests is in the share: where it is above the median home, a share of tests is larger than one of homes. The method area-posterior takes it off.",
		Interval:  "confidence, and the default. Asked for 95 %, it holds 95 to 100 % of shares of 1 to 30 % at 20 to 200 homes, with and without strata and clusters; see COVERAGE-design.md.",
		Notes:     []string{"undecided", "no-degrees", "few-degrees", "uneven-weights", "lonely-strata"},
		Sources:   []analysis.Source{{Key: "korn-graubard-1998", Cite: "Korn and Graubard 1998, Surv. Methodol. 24:193 (from memory)"}, {Key: "parker-2017", Cite: "Parker et al. 2017, Vital Health Stat. 2(175) (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "survey-design.json, R survey", ByHand: "TestDesignByHand; all samples, TestDesignEnumerated", Coverage: "analysis/survey/COVERAGE-design.md"},
	},
	{
		Key: DesignWilson, Title: "share of homes above a level, by design, with Wilson's limits",
		Estimates: "the share of homes above a level, from 0 to 1, by the design of the survey, with narrower limits.",
		Formula:   "The share and the effective number n of design-korn-graubard, in Wilson's limits, (np + z²/2 ± z√(np(1−p) + z²/4))/(n + z²), z normal.",
		Assumes:   "what design-korn-graubard does.",
		Interval:  "confidence. Asked for 95 %, it holds 91 to 99 % of shares of 1 to 30 % at 20 to 200 homes, fewest of shares of 1 to 3 %, whose lower limit is then too high; see COVERAGE-design.md.",
		Notes:     []string{"undecided", "no-degrees"},
		Sources:   []analysis.Source{{Key: "wilson-1927", Cite: "Wilson 1927, J. Am. Stat. Assoc. 22:209 (from memory)"}, {Key: "franco-2019", Cite: "Franco et al. 2019, J. Surv. Stat. Methodol. 7:334 (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "TestPublishedDesign", ByHand: "TestDesignByHand", Coverage: "analysis/survey/COVERAGE-design.md"},
	},
	{
		Key: DesignClopperPearson, Title: "share of homes above a level, by design, degrees of freedom left out",
		Estimates: "the share of homes above a level, from 0 to 1, by the design of the survey, without regard to how well its variance is known.",
		Formula:   "The beta quantiles of design-korn-graubard with n = p(1−p)/se² alone, at most the homes in the sample.",
		Assumes:   "what design-korn-graubard does, and clusters enough for the variance to be known.",
		Interval:  "confidence. Asked for 95 %, it holds 94 to 100 % of shares of 1 to 30 % at 20 to 200 homes; see COVERAGE-design.md.",
		Notes:     []string{"undecided", "no-degrees"},
		Sources:   []analysis.Source{{Key: "clopper-pearson-1934", Cite: "Clopper and Pearson 1934, Biometrika 26:404 (from memory)"}, {Key: "korn-graubard-1998", Cite: "Korn and Graubard 1998, Surv. Methodol. 24:193 (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "TestPublishedDesign", ByHand: "TestDesignByHand", Coverage: "analysis/survey/COVERAGE-design.md"},
	},
	{
		Key: DesignTotal, Title: "dwellings above a level, by design",
		Estimates: "how many dwellings are above a level, by the design of the survey.",
		Formula:   "T = Σw·(x > L) = p·Σw over the area's homes, or all. Limits T·exp(±√(d² + t²r²)), d = ln(p/lower) or ln(upper/p) by the share's limits, and r² = (se of T/T)² − (se of p/p)², not below 0, which is what not knowing the dwellings adds. Where they are known r is 0, and limits are the share's times Σw. Where none is above, the upper limit is the share's, times Σw·exp(t·r), r = se of Σw/Σw.",
		Assumes:   "what design-korn-graubard does, and weights that are dwellings a home stands for.",
		Interval:  "confidence. Asked for 95 %, it holds 95 to 100 % of what shares of 1 to 30 % make, at 50 to 200 homes in clusters of unequal size; see COVERAGE-design.md.",
		Notes:     []string{"undecided", "no-degrees", "unbounded"},
		Sources:   []analysis.Source{{Key: "sarndal-1992", Cite: "Särndal, Swensson and Wretman 1992, Model Assisted Survey Sampling, chapter 2 (from memory)"}, {Key: "zou-donner-2008", Cite: "Zou and Donner 2008, Stat. Med. 27:1693 (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "survey-design.json, R survey", ByHand: "TestDesignByHand; all samples, TestDesignEnumerated", Coverage: "analysis/survey/COVERAGE-design.md"},
	},
	{
		Key: DesignDifference, Title: "difference of two shares of homes above a level",
		Estimates: "how much larger one share of homes is than another, from −1 to 1.",
		Formula:   "d = p₁ − p₂; limits d − √((p₁−l₁)² + (u₂−p₂)²) and d + √((u₁−p₁)² + (p₂−l₂)²), l and u being Wilson's limits of the two shares (the hybrid score, method 10).",
		Assumes:   "shares that are independent of each other: of two surveys, of two strata, or of areas that have no cluster in common.",
		Interval:  "confidence. Asked for 95 %, it holds 95 to 100 % at 20 to 200 homes in each survey and shares of 10 and 5 %; see COVERAGE-design.md.",
		Notes:     []string{"undecided", "no-degrees"},
		Sources:   []analysis.Source{{Key: "newcombe-1998b", Cite: "Newcombe 1998, Stat. Med. 17:873, method 10"}},
		Evidence:  analysis.Evidence{Reference: "TestPublishedDesign", ByHand: "TestPublishedDesign", Coverage: "analysis/survey/COVERAGE-design.md"},
	},
	{
		Key: DesignRaking, Title: "weights that meet known dwellings",
		Estimates: "weights under which the homes of each cell of each margin stand for as many dwellings as are known there.",
		Formula:   "Cell by cell w ← w·N/Σw, margin after margin, until each cell's Σw is within 10⁻¹⁰ of its N (iterative proportional fitting); with one margin, once, which is post-stratification. Margins whose totals differ by up to 1 % are scaled to the first's. A variance then has of each linearised value only what is left after the margins' cells: z less its weighted regression on them, by the final weights, which makes it the exact derivative of the raked figure by each weight.",
		Assumes:   "that within a cell homes in the sample are like those that are not.",
		Interval:  "none; the figures' own.",
		Notes:     []string{"margins-scaled", "uneven-weights"},
		Sources:   []analysis.Source{{Key: "deming-stephan-1940", Cite: "Deming and Stephan 1940, Ann. Math. Stat. 11:427 (from memory)"}, {Key: "deville-1993", Cite: "Deville, Särndal and Sautory 1993, J. Am. Stat. Assoc. 88:1013 (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "survey-design.json, R survey", ByHand: "TestRakeByHand", Coverage: "no interval"},
	},
}
