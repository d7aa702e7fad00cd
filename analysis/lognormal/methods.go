package lognormal

import "radonyear/analysis"

const published = "analysis/lognormal/COVERAGE.md"

const (
	meanAssumes    = "independent values from one log-normal distribution: if the largest values do not follow it, neither does the mean; see Shape, and BCa for no distribution at all."
	meanEstimates  = "the arithmetic mean of a log-normal distribution, Bq/m³: what the homes' radon comes to on average, and what collective risk goes with."
	meanInterval   = "confidence. Land is exact, open upper limits counted; of three values 31 to 76 % have one that is not, and these hold 88.5 to 94 %, with up to 8.5 % of truths over it. From five values on generalized and mover hold 93.5 to 96 %, with at most 4.4 % of truths under generalized at five; of two to four values they hold 88.5 to 96 %, with up to 9.2 % of truths under the lower limit. Profile likelihood holds 73.5 to 75.5 % of two values, 84 to 85.5 % of three, 86.5 to 89.5 % of four, 90 to 91.5 % of five, 92.5 to 93 % of ten and 94 to 95.5 % from twenty on. See COVERAGE.md."
	fitInterval    = "confidence, approximate where the data are not complete. Adjusted, it holds 94 to 97 % at 10 to 50 values with up to 60 % below a limit, and up to 98 % at 5 values and at 10 with 60 %; at most 4 % of truths lie on a side, open upper limits counted. Of samples of 5 with 60 % a third have fewer than two values above the limit and no fit. Of means with limits at 5, 17 to 75 % have an upper limit that is not open, and at 10, 55 to 99.5 %: with 60 % these alone hold 92 to 94.5 % at 5, with up to 7 % of truths under them, and have up to 4.1 % under at 10. With 75 % below it holds 94.5 to 98.5 % at 10 and 94.5 to 97.5 % at 20 and 50, at most 4 % on a side; of means at 10 a third to a half have an upper limit that is not open, and these hold 92.5 to 96.5 %, with up to 7 % under them. With 88 % below, quantiles and shares above the lowest value known hold 94 to 97.5 %, with up to 6 % under; a fifth of samples of 20 and a fourteenth of 50 have by chance no more than 80 % below, and so a middle and a mean, which are too high: of 20, geometric means hold 94.5 to 95.5 % and means 84 to 92.5 %, of 50 84 to 86 % and 60 to 75.5 %. Plain, it holds 92.5 to 96.5 % from 10 on, with up to 6 % of truths on one side, and 90.5 to 94 % at 5, with up to 9 %; with 75 % below 92.5 to 97 %, with up to 7 % on a side; with 88 % quantiles and shares 92.5 to 96.5 %, with up to 6.5 %, and means by chance 49 to 83 %. Rounded values and classes hold 94 to 97 %, and 96.5 to 98.5 % of 10 values rounded to as much as their middle, of which a twelfth have no fit; so do values with known errors of 10 to 30 %, but for 98 % of geometric standard deviations of 10 values that differ less than they err; plain, 10 of such values hold 92 to 98.5 %. Taking an outdoor level off makes the errors of what is left other than log-normal: with as much outdoors as in the middle home and errors of 10 % of the whole 93.5 to 95.5 % hold (plain 90 to 96 %), with errors of 20 % of 50 homes 66 % of geometric means, which come out too low, 74 % of geometric standard deviations, too high, 83 % of means and 92 % of quantiles and shares. See COVERAGE.md."
	meanValue      = "ȳ and s are the mean and the standard deviation (n − 1) of the logarithms of n values, ν = n − 1. Value: e^ȳ·g(s²/2), g(t) = 1 + Σ tᵖ/p! · ν²ᵖ/((ν+1)ᵖ·ν(ν+2)…(ν+2p−2)), p from 1 on. "
	fitLikelihoods = "The log likelihood adds, for each value: ln φ((y − μ)/w) − ln w, w² = σ² + e², if it is known to be x, y = ln x; ln(Φ(zᵤ) − Φ(zₗ)), z = (ln bound − μ)/w, if it lies between bounds, of which the lower may be zero and the upper infinite; e is the standard deviation of its logarithm by its own error, zero if none is stated. Values are e^μ, e^σ, e^(μ + σ²/2), e^(μ + z_p·σ) and Φ((μ − ln L)/σ) where it is largest. Each quantity's limits are where twice the log likelihood, at its largest for the quantity fixed, has fallen by a drop; an upper tolerance limit is the upper limit of the quantile at a drop for twice the confidence less 1. Where more than 80 % of the values lie below their limits, mean, geometric mean and geometric standard deviation are not given, nor quantiles and shares at less than the lowest value known. "
	fitEstimates   = "geometric mean, geometric standard deviation, arithmetic mean, quantiles (Bq/m³) and shares above levels from homes' values, whether exact, below limits, between bounds, rounded, or known with an error."
	fitAssumes     = "independent values from one log-normal distribution, limits that do not depend on the value, and errors that are independent and log-normal, those of values below a limit too, for it is what was measured that lies below."
)

var (
	finney1941    = analysis.Source{Key: "finney-1941", Cite: "Finney 1941, J. R. Stat. Soc. Suppl. 7:155 (from memory)"}
	land1971      = analysis.Source{Key: "land-1971", Cite: "Land 1971, Ann. Math. Stat. 42:1187 (from memory)"}
	zou2009       = analysis.Source{Key: "zou-2009", Cite: "Zou, Taleban and Huo 2009, Environmetrics 20:172 (from memory)"}
	mathew2003    = analysis.Source{Key: "krishnamoorthy-mathew-2003", Cite: "Krishnamoorthy and Mathew 2003, J. Stat. Plan. Inference 115:103 (from memory)"}
	owen1968      = analysis.Source{Key: "owen-1968", Cite: "Owen 1968, Technometrics 10:445 (from memory)"}
	cohen1959     = analysis.Source{Key: "cohen-1959", Cite: "Cohen 1959, Technometrics 1:217 (from memory)"}
	venzon1988    = analysis.Source{Key: "venzon-moolgavkar-1988", Cite: "Venzon and Moolgavkar 1988, Appl. Stat. 37:87 (from memory)"}
	coxReid1987   = analysis.Source{Key: "cox-reid-1987", Cite: "Cox and Reid 1987, J. R. Stat. Soc. B 49:1 (from memory)"}
	efron1987     = analysis.Source{Key: "efron-1987", Cite: "Efron 1987, J. Am. Stat. Assoc. 82:171 (from memory)"}
	lieberman1955 = analysis.Source{Key: "lieberman-resnikoff-1955", Cite: "Lieberman and Resnikoff 1955, J. Am. Stat. Assoc. 50:457 (from memory)"}
)

// Methods are the methods of this package, in the words of their doc comments.
var Methods = []analysis.Method{
	{
		Key: "t-of-logs", Title: "geometric mean",
		Estimates: "the geometric mean, which is the median of a log-normal distribution, Bq/m³.",
		Formula:   "e^ȳ, and e^(ȳ ± t·s/√n) with ȳ and s the mean and standard deviation of the logarithms and t Student's, n − 1 degrees of freedom.",
		Assumes:   "independent values from one log-normal distribution.", Interval: "confidence, exact.", Notes: []string{"unbounded"},
		Sources:  []analysis.Source{{Key: "student-1908", Cite: "Student 1908, Biometrika 6:1 (from memory), on logarithms"}},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-limits.json; Olsson's naive interval in TestPublishedMeans", ByHand: "TestByHand", Coverage: published},
	},
	{
		Key: "chi-squared-of-logs", Title: "geometric standard deviation",
		Estimates: "the geometric standard deviation, a ratio.",
		Formula:   "e^s, and e^(s·√(ν/χ²)) with χ² the quantiles of chi-squared with ν = n − 1 degrees of freedom.",
		Assumes:   "independent values from one log-normal distribution; unlike the interval of the geometric mean, this one does not forgive heavy tails.",
		Interval:  "confidence, exact.", Notes: []string{"unbounded"},
		Sources:  []analysis.Source{{Key: "nist-handbook", Cite: "NIST/SEMATECH e-Handbook of Statistical Methods (from memory)", Part: "7.2.3.1"}},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-limits.json", ByHand: "TestByHand", Coverage: published},
	},
	{
		Key: "next-home", Title: "the next home of the same kind",
		Estimates: "the next home of the same kind, Bq/m³.",
		Formula:   "e^(ȳ ± t·s·√(1 + 1/n)), t Student's with n − 1 degrees of freedom.",
		Assumes:   "that the next home is drawn as the n were, independently, from one log-normal distribution.",
		Interval:  "prediction, exact: it is for one home, and wider than that of a mean.", Notes: []string{"unbounded"},
		Sources:  []analysis.Source{{Key: "hahn-meeker-1991", Cite: "Hahn and Meeker 1991, Statistical Intervals (from memory)", Part: "section 4.7"}},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-limits.json", ByHand: "TestByHand", Coverage: published},
	},
	{
		Key: string(Land), Title: "arithmetic mean, Land's exact limits",
		Estimates: meanEstimates, Assumes: meanAssumes, Interval: meanInterval,
		Formula:  meanValue + "Limits by \"land\": let z = y − b, V = Σz² = νs² + n(ȳ − b)² and u = Σz/√(nV) = √n(ȳ − b)/√V. Where b = μ + σ²/2, u given V has a density proportional to exp(−√(nV)u/2)(1−u²)^((n−3)/2) from −1 to 1, free of unknowns; the lower limit is e^b for the b at which P(U ≤ u) is (1 + confidence)/2, the upper one for that at which it is (1 − confidence)/2.",
		Notes:    []string{"too-uncertain", "unbounded"},
		Sources:  []analysis.Source{land1971, finney1941},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-exact.json; TestPublishedMeans", ByHand: "TestByHand", Coverage: published},
	},
	{
		Key: string(MOVER), Title: "arithmetic mean, limits recovered from those of its parts",
		Estimates: meanEstimates, Assumes: meanAssumes, Interval: meanInterval,
		Formula:  meanValue + "Limits by \"mover\": e^(ȳ + s²/2 − √(z²s²/n + (s²/2 − νs²/(2χ²ᵤ))²)) and e^(ȳ + s²/2 + √(z²s²/n + (νs²/(2χ²ₗ) − s²/2)²)), z the standard normal quantile at (1 + confidence)/2, χ²ᵤ and χ²ₗ the quantiles of chi-squared with ν degrees of freedom at (1 + confidence)/2 and (1 − confidence)/2.",
		Notes:    []string{"too-uncertain", "unbounded"},
		Sources:  []analysis.Source{zou2009, finney1941},
		Evidence: analysis.Evidence{Reference: "TestPublishedMeans", ByHand: "TestByHand", Coverage: published},
	},
	{
		Key: string(Generalized), Title: "arithmetic mean, generalized limits",
		Estimates: meanEstimates, Assumes: meanAssumes, Interval: meanInterval,
		Formula:  meanValue + "Limits by \"generalized\": e^t for the two t at which P(T ≤ t) is (1 ∓ confidence)/2, T = ȳ + Z·s·√(ν/(nW)) + νs²/(2W), Z standard normal and W chi-squared with ν degrees of freedom, independent: P(T ≤ t) is the mean of Φ((t − ȳ − νs²/(2W))·√(nW/ν)/s) over W, by quadrature.",
		Notes:    []string{"too-uncertain", "unbounded"},
		Sources:  []analysis.Source{mathew2003, finney1941},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-exact.json", ByHand: "the plain sum in TestAgainstSlow", Coverage: published},
	},
	{
		Key: string(Profile), Title: "arithmetic mean, limits by profile likelihood",
		Estimates: meanEstimates, Assumes: meanAssumes, Interval: meanInterval,
		Formula:  meanValue + "Limits by \"profile-mean\": e^b for the two b at which twice the log likelihood −n·ln σ − (νs² + n(ȳ − b + σ²/2)²)/(2σ²), at its largest over σ, lies below its largest over b and σ by the quantile of χ²₁ at the confidence.",
		Notes:    []string{"too-uncertain", "unbounded"},
		Sources:  []analysis.Source{venzon1988, finney1941},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal.json", ByHand: "the fall at its limits in TestAgainstSlow", Coverage: published},
	},
	{
		Key: "bca", Title: "arithmetic mean without a distribution, by resampling",
		Estimates: "the arithmetic mean, Bq/m³, without assuming a distribution: on request, beside the log-normal answer and not in its place.",
		Formula: "Value: the plain mean. Limits: quantiles Φ(z₀ + (z₀ ± z)/(1 − a(z₀ ± z))) of the means of Resamples draws of n values with replacement, z₀ from the share of " +
			"them below the mean and a = Σd³/(6(Σd²)^1.5) over the differences d from the mean.",
		Assumes:  "independent values, and that those seen show the tail that matters; with skewed data they seldom do.",
		Interval: "confidence, asked for 95 % and getting 68 to 82 % at 5 values, 78 to 85 % at 10, 83 to 90 % at 20 and 87 to 94 % at 50, of geometric standard deviations from 4 down to 2: see COVERAGE.md.",
		Notes:    []string{"low-coverage"},
		Sources:  []analysis.Source{efron1987},
		Evidence: analysis.Evidence{Reference: "all 3125 resamples of five values in TestResamplingByHand", ByHand: "TestResamplingByHand", Coverage: published},
	},
	{
		Key: "noncentral-t-quantile", Title: "quantile, and upper tolerance limit",
		Estimates: "the concentration below which a share p of the homes lies, Bq/m³, and the limit below which that share lies with the confidence asked for.",
		Formula: "e^(ȳ + z_p·s); limits e^(ȳ + k·s), √n·k being a quantile of the noncentral t with n − 1 degrees of freedom and noncentrality √n·z_p. The upper " +
			"tolerance limit is the one-sided one at the whole confidence.",
		Assumes: "independent values from one log-normal distribution, out to p.", Interval: "confidence, exact; tolerance, exact.", Notes: []string{"unbounded"},
		Sources:  []analysis.Source{owen1968, {Key: "usepa-2009", Cite: "USEPA 2009, Unified Guidance EPA 530/R-09-007", Part: "section 17.2"}},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-exact.json; TestPublishedQuantiles", ByHand: "TestByHand", Coverage: published},
	},
	{
		Key: "two-sided-tolerance", Title: "what most homes lie between, on both sides (library only)",
		Estimates: "the limits between which a share p of the homes lies, Bq/m³, with the confidence asked for.",
		Formula: "e^(ȳ ± k·s). Given that ȳ is x·σ from μ, a share p needs k·s ≥ r·σ, r being where Φ(x + r) − Φ(x − r) = p; k is where P(νs²/σ² ≥ νr²/k²), " +
			"chi-squared with ν = n − 1 degrees of freedom, is the confidence on average over x, normal with variance 1/n. Howe: k = z·√(ν(1 + 1/n)/χ²), " +
			"z at (1 + p)/2, χ² at 1 − confidence.",
		Assumes: "independent values from one log-normal distribution, out to both limits.", Interval: "tolerance, exact.", Notes: []string{"unbounded"},
		Sources: []analysis.Source{
			{Key: "wald-wolfowitz-1946", Cite: "Wald and Wolfowitz 1946, Ann. Math. Stat. 17:208 (from memory)"},
			{Key: "howe-1969", Cite: "Howe 1969, J. Am. Stat. Assoc. 64:610 (from memory)"},
			{Key: "nist-handbook-tolerance", Cite: "NIST/SEMATECH e-Handbook of Statistical Methods", Part: "7.2.6.3, for the closed form"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-tolerance.json; TestPublishedQuantiles", ByHand: "TestToleranceByHand", Coverage: "exact by its definition; drawn in TestToleranceHeld"},
	},
	{
		Key: "noncentral-t-share", Title: "share of homes above a level, by the log-normal fit",
		Estimates: "the share of homes above a level, from 0 to 1.",
		Formula: "Φ(−k), k = (ln L − ȳ)/s; limits Φ(−δ/√n), δ being the noncentralities at which a noncentral t with n − 1 degrees of freedom has √n·k as its lower and " +
			"its upper quantile.",
		Assumes:  "independent values from one log-normal distribution, out to the level. Counted assumes no distribution; where the two disagree, the fit is doubtful there.",
		Interval: "confidence, exact.",
		Sources:  []analysis.Source{owen1968, lieberman1955},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-exact.json; TestPublishedQuantiles", ByHand: "TestByHand", Coverage: published},
	},
	{
		Key: "clopper-pearson", Title: "share of homes above a level, by counting",
		Estimates: "the share of homes above a level by counting, from 0 to 1.",
		Formula:   "x/n; limits are the beta quantiles B(α/2; x, n−x+1) and B(1−α/2; x+1, n−x), the Clopper-Pearson interval.",
		Assumes:   "independent values, and nothing of their distribution.",
		Interval:  "confidence, never below what is asked for, so often wider than need be.",
		Sources:   []analysis.Source{{Key: "clopper-pearson-1934", Cite: "Clopper and Pearson 1934, Biometrika 26:404 (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "testdata/reference/lognormal-limits.json; 0 of 59, 299 and 29 in TestPublishedQuantiles", ByHand: "TestCountedByHand", Coverage: published},
	},
	{
		Key: string(AdjustedLikelihood), Title: "everything, where values are censored, rounded or known with an error",
		Estimates: fitEstimates, Assumes: fitAssumes,
		Formula:  fitLikelihoods + "\"adjusted-likelihood\", the default: −½ ln Σ 1/(σ² + e²), over all values, is added first, so that σ is judged on n − 1 degrees of freedom, and the drop is (n−1)·ln(1 + t²/(n−1)), t Student's quantile with n − 1 degrees of freedom at (1 + confidence)/2; without censoring and errors this makes the geometric mean's interval Student's.",
		Interval: fitInterval,
		Notes:    []string{"no-mean", "too-uncertain", "mostly-censored", "no-spread-seen", "unbounded"},
		Sources:  []analysis.Source{cohen1959, venzon1988, coxReid1987},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal.json", ByHand: "TestByHand, TestClassesByHand, TestErrorsByHand", Coverage: published},
	},
	{
		Key: string(ProfileLikelihood), Title: "the same by plain profile likelihood, on request",
		Estimates: fitEstimates, Assumes: fitAssumes,
		Formula:  fitLikelihoods + "\"profile-likelihood\": the drop is the quantile of χ²₁ at the confidence.",
		Interval: fitInterval,
		Notes:    []string{"no-mean", "too-uncertain", "mostly-censored", "no-spread-seen", "unbounded"},
		Sources:  []analysis.Source{cohen1959, venzon1988},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal.json", ByHand: "TestByHand, TestClassesByHand, TestErrorsByHand", Coverage: published},
	},
	{
		Key: "order-statistics-mean", Title: "mean where values lie below limits, by regression on order statistics",
		Estimates: "the arithmetic mean, Bq/m³, where some values lie below limits, by regression on order statistics: the known values enter as they stand, and only those below limits are filled in from a log-normal line through the known ones.",
		Formula:   "Of the limits L₁ < … < Lₘ, with L₀ = 0, Aⱼ known values lie from Lⱼ up to under Lⱼ₊₁, Bⱼ values are known to lie under Lⱼ, and Cⱼ have the limit Lⱼ. The share at Lⱼ or above is pⱼ = pⱼ₊₁ + (1 − pⱼ₊₁)·Aⱼ/(Aⱼ + Bⱼ), from pₘ₊₁ = 0 down to p₁, and p₀ = 1. The rank of the i-th of the Aⱼ from below is 1 − pⱼ + (pⱼ − pⱼ₊₁)·i/(Aⱼ + 1), that of the i-th of the Cⱼ is (1 − pⱼ)·i/(Cⱼ + 1). The line is ln x = a + b·z by least squares over the known values, z being the standard normal quantiles of their ranks; a value below a limit is taken as e^(a + b·z) at its own rank, and the mean is the plain one of all n. A value may so be taken as above its own limit, where few lie under a low one; it is left there, as published.",
		Assumes:   "independent values, known exactly or below limits that do not depend on the value, at most 80 % of them below; and that what lies below goes on as the known values do, log-normally. Values between bounds or with an error have no rank here.",
		Interval:  "none. Of 20 log-normal values with half below a limit and a geometric standard deviation of 2.5 it is some 1 % too low on average, and varies as much as the plain mean would if all of them were known.",
		Sources: []analysis.Source{
			{Key: "hirsch-stedinger-1987", Cite: "Hirsch and Stedinger 1987, Water Resour. Res. 23:715 (from memory)", Part: "for the ranks"},
			{Key: "helsel-cohn-1988", Cite: "Helsel and Cohn 1988, Water Resour. Res. 24:1997 (from memory)"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-order-statistics.json; TestOthersData", ByHand: "TestOrderStatisticsByHand", Coverage: "no interval"},
	},
	{
		Key: "threshold", Title: "where a log-normal distribution begins (library only)",
		Estimates: "the concentration at which a log-normal distribution begins, Bq/m³: a level that no home lies below, as outdoor air gives one.",
		Formula: "l(γ) = −n·ln σ − Σ ln(x−γ) − (n/2)(1 + ln 2π), σ² = Σ(ln(x−γ) − μ)²/n about the mean μ. It grows without bound as γ nears the least value, " +
			"which says nothing; the estimate is its highest local maximum. Limits are where 2l has fallen by χ²₁.",
		Assumes: "independent values from one log-normal distribution above the threshold, all of them known: a value below a limit has no logarithm of an excess. " +
			"Twenty values are seldom enough; give it 50 and a reason, such as air from outdoors.",
		Interval: "confidence, approximate. Asked for 95 %, it holds 90.5 to 95 % at 20 to 200 values, and misses mostly on one side: 3.5 to 8.5 % of thresholds lie under the lower limit, and at most 1.5 % over the upper. See COVERAGE.md.",
		Notes:    []string{"few-for-threshold", "threshold-not-shown", "threshold-to-least", "unbounded"},
		Sources: []analysis.Source{
			{Key: "cohen-whitten-1980", Cite: "Cohen and Whitten 1980, J. Am. Stat. Assoc. 75:399 (from memory)", Part: "for local maximum likelihood"},
			{Key: "griffiths-1980", Cite: "Griffiths 1980, Appl. Stat. 29:58 (from memory)", Part: "for its profile's limits"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-threshold.json; TestPublishedThreshold", ByHand: "TestThresholdByHand", Coverage: published},
	},
	{
		Key: "threshold-moments", Title: "the same by modified moments (library only)",
		Estimates: "the concentration at which a log-normal distribution begins, Bq/m³, by modified moments: mean, variance, and the least value in the place of the third moment, which few values hardly know.",
		Formula:   "γ + e^(μ + σ²/2) is the mean x̄ of n values, e^(2μ)·ω(ω − 1), ω = e^(σ²), their variance s² (n − 1), and the least value x₁ is γ + e^(μ + kσ), k being the expected least of n standard normal values, −∫ z·n·φ(z)Φ(z)ⁿ⁻¹ dz. So σ is the root of ω(ω − 1)/(√ω − e^(kσ))² = s²/(x̄ − x₁)², then e^μ = s/√(ω(ω − 1)) and γ = x̄ − s/√(ω − 1). There is none where s ≤ (x̄ − x₁)/|k|: the least value lies as far down as that of a normal distribution does.",
		Assumes:   "independent values from one log-normal distribution above the threshold, all of them known. The least value has great weight, so that one reading too low makes the answer.",
		Interval:  "none; Threshold has one, and is the one to take where it has an answer. Of 20 values with a geometric standard deviation of 2 this one lies a little nearer to the truth as a rule, of 50 a little less near, and of 20 with one of 4 some 2.5 times as far. That the two lie apart is no sign: then it lies outside the limits of the likelihood in 20 to 31 % of samples in which all that is assumed holds, and hardly more often in others.",
		Sources: []analysis.Source{
			{Key: "cohen-whitten-1980", Cite: "Cohen and Whitten 1980, J. Am. Stat. Assoc. 75:399 (from memory)"},
			{Key: "cohen-1988", Cite: "Cohen 1988, in Crow and Shimizu, Lognormal Distributions, chapter 4 (from memory)"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-threshold.json; TestPublishedThreshold", ByHand: "TestThresholdMomentsByHand", Coverage: "no interval"},
	},
	{
		Key: "log-normal-shape", Title: "how log-normal the values look: information, no gate",
		Estimates: "three things of the logarithms, without unit: Shapiro and Wilk's W, Anderson and Darling's A², and the correlation of the probability plot.",
		Formula: "W = (Σ aᵢ y₍ᵢ₎)²/Σ(y − ȳ)² with Royston's weights and p-value (3 to 5000 values). A² = −n − Σ (2i−1)(ln Φ(zᵢ) + ln(1 − Φ(zₙ₊₁₋ᵢ)))/n with p of " +
			"A²(1 + 0.75/n + 2.25/n²), from 8 values on. Correlation of y₍ᵢ₎ with normal quantiles of Filliben's median ranks, (i − 0.3175)/(n + 0.365) but 0.5^(1/n) at the ends. " +
			"Equal values are judged twice, as they are and spread evenly over a step: the distance to the nearest other value, or the value itself if that is less, since rounding joins no more than that. " +
			"The milder verdict holds, and where it is no objection to a log-normal shape, and the other is one, none is given.",
		Assumes: "independent values, one a home: an hourly record of one home is refused by any such test, because its hours resemble their neighbours. Censored values have " +
			"no place among these tests; the error says so.",
		Interval: "none.",
		Sources: []analysis.Source{
			{Key: "royston-1995", Cite: "Royston 1995, Appl. Stat. 44:547 (from memory)", Part: "AS R94"},
			{Key: "dagostino-stephens-1986", Cite: "D'Agostino and Stephens 1986, Goodness-of-Fit Techniques (from memory)", Part: "table 4.9"},
			{Key: "filliben-1975", Cite: "Filliben 1975, Technometrics 17:111 (from memory)"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal.json; TestPublishedShape", ByHand: "TestShapeByHand", Coverage: "no interval"},
	},
	{
		Key: "probability-plot", Title: "values against the fitted line",
		Estimates: "the share of homes below each value, from 0 to 1, where some are only known to lie below limits, and the fitted line with its limits, Bq/m³.",
		Formula: "Of n values in falling order, the rank of the i-th, if it is known, is (n−c+1)/(n−2c+1) · Π (n−j−c+1)/(n−j−c+2) over the known values j ≤ i, with c = 0.3175: " +
			"the product-limit estimate of the share below it, made symmetric. Where all values are known this is (i′ − c)/(n − 2c + 1) of the i′-th from below, which are " +
			"Filliben's ranks but for the two ends. The line and its limits are the quantiles of Fit, as far down as it gives them.",
		Assumes:  "what Fit assumes, and limits that do not depend on the values.",
		Interval: "that of each quantile by itself, so that of many points some lie outside even where the fit is right.",
		Sources:  []analysis.Source{{Key: "michael-schucany-1986", Cite: "Michael and Schucany 1986, in D'Agostino and Stephens, Goodness-of-Fit Techniques, section 11.2 (from memory)"}},
		Evidence: analysis.Evidence{Reference: "testdata/reference/lognormal-plot.json; TestPlotReference", ByHand: "TestPlotByHand", Coverage: published},
	},
}
