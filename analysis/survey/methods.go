package survey

import "radonyear/analysis"

// The methods' names, as in Estimate.Method.
const (
	AreaLikelihood = "area-likelihood"
	AreaPosterior  = "area-posterior"
	AreaRaw        = "area-raw"
)

// Methods are the methods of this package, in the words of their doc comments.
var Methods = []analysis.Method{
	{
		Key: AreaLikelihood, Title: "areas with partial pooling, restricted likelihood",
		Estimates: "the spread of homes within an area and of areas about what covariates say, both as standard deviations of logarithms; what covariates do to the logarithm; and each area's level, Bq/m³.",
		Formula:   "y = xᵀβ + u + e + m, with u ~ N(0, τ²) one an area, e ~ N(0, σ²) one a home, and m ~ N(0, se²), se known. σ and τ maximise the restricted likelihood, −½(ln|V| + ln|XᵀV⁻¹X| + rᵀV⁻¹r); β is generalized least squares, and u its expectation given the data. A home below a limit or between bounds adds Φ(z₂) − Φ(z₁) under the integral over its area's u, which is summed at even steps about its top, and the information on β of that likelihood stands for XᵀV⁻¹X. σ = 0 and τ = 0 are answers like others.",
		Assumes:   "log-normal homes within areas of one spread, log-normal area levels, errors and limits that do not depend on the value, and homes chosen without regard to their radon.",
		Interval:  "confidence. For the spreads, where twice the restricted likelihood, at its largest for the rest, has fallen by χ²₁. For an area's level, normal with the error of shrinkage, of β, and of σ and τ (g₁ + g₂ + 2g₃ of Prasad and Rao); with fewer than ten areas or none of their spread seen it is rough, and Posterior is the one to read.",
		Notes:     []string{"one-area", "areas-explained", "no-area-spread", "no-home-spread", "mostly-censored", "unbounded"},
		Sources:   []analysis.Source{{Key: "patterson-thompson-1971", Cite: "Patterson and Thompson 1971, Biometrika 58:545 (from memory)"}, {Key: "harville-1977", Cite: "Harville 1977, J. Am. Stat. Assoc. 72:320 (from memory)"}, {Key: "prasad-rao-1990", Cite: "Prasad and Rao 1990, J. Am. Stat. Assoc. 85:163 (from memory)"}, {Key: "fay-herriot-1979", Cite: "Fay and Herriot 1979, J. Am. Stat. Assoc. 74:269 (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "survey-areas.json, lme4 and metafor", ByHand: "TestByHand", Coverage: "TestCalibration holds the posterior of the same model"},
	},
	{
		Key: AreaPosterior, Title: "areas and the community, averaged over what is not known of the spreads",
		Estimates: "for each area and for the community, the geometric mean and the arithmetic mean, Bq/m³, the share of homes above each level, and where the area ranks, with what is not known of the spreads averaged over.",
		Formula:   "The model of Fit, y = xᵀβ + u + e + m, with half-normal priors on σ and τ and a flat one on β. The posterior is summed over a grid of (σ, τ), each point weighted by its restricted likelihood and prior; at each point β and u are normal, exactly where all homes are known exactly, and else with the moments, the third included, that summing over each area's u gives it and the curvature gives β. So an area's mean logarithm μ is a mixture of normals, and its geometric mean e^μ, its arithmetic mean e^(μ+s²/2), and its share Φ((μ − ln L)/s) have their distributions from it without chance. Areas' homes do not spread quite alike: before an area's are looked at, ln(s/σ) is normal about −δ² with the standard deviation δ = 0.1, and three steps of Fisher's scoring take in how far they lie from its level; where one area alone has homes, s is σ. That covariates differ among an area's homes adds to s², as much as they do and as far as that is known. With Spatial, u has the precision of Leroux, c((1−ρ)I + ρ(D − W))/τ², c making the variances' geometric mean τ² for every ρ, and ρ even between 0 and 1. Ranks and the community's mixture of areas are from draws of the joint posterior. What homes' errors have in common (Shared) shifts all areas' μ alike, by a normal number of that variance, and an area whose homes have more in common by the rest of it, as far as its own homes count.",
		Assumes:   "log-normal homes within areas, spread nearly alike in all, log-normal area levels, errors and limits that do not depend on the value, and homes chosen without regard to their radon: volunteers are not.",
		Interval:  "credible: of communities whose spreads are drawn from their priors, those asked for at 90 % hold 88 to 91, of 1600 communities and more. Of one pair of spreads, 0.8 between homes and 0.4 between areas, homes spread alike in all areas, those of areas hold 89 to 92 % with 12 areas of 25 homes, with 6 of 60 or of 250, 87 to 91 with 20 of 5, with 5 of 10 or with one of 300, 85 to 88 with 40 of 2, and 95 to 96 where areas are nearly alike; where the logarithm of homes' spread differs by 0.1 between areas 88 to 91, and by 0.3, which is far more than is taken for granted, means hold 83 to 87 and shares 78 to 84; TestCoverage holds that. Of homes that are not the model, a mass balance, means of 12 areas of 25 homes hold 88 to 89 where tests are of any season and 89 to 94 where all are of one winter, and the share above 200 Bq/m³, asked for at 95 %, 93 to 99; at any season that share comes out 0.004 to 0.008 too low, and in one winter 0.014 too high by the built-in profile, 0.018 by one learned the winter before, and 0.004 by one that knows that winter, where the raw one is 0.066 too high. With five areas or fewer they lean on the prior.",
		Notes:     []string{"one-area", "areas-explained", "few-areas", "mostly-censored", "no-homes", "all-below"},
		Sources:   []analysis.Source{{Key: "gelman-2006", Cite: "Gelman 2006, Bayesian Anal. 1:515 (from memory)"}, {Key: "rue-2009", Cite: "Rue, Martino and Chopin 2009, J. R. Stat. Soc. B 71:319 (from memory)"}, {Key: "price-1996", Cite: "Price, Nero and Gelman 1996, Health Phys. 71:922 (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "survey-areas.json, dense normals", ByHand: "TestByHand", Coverage: "COVERAGE.md, held by TestCoverage and TestCalibration; homes of the mass balance, TestDeNoise"},
	},
	{
		Key: AreaRaw, Title: "areas by themselves",
		Estimates: "each area's own homes: geometric mean, Bq/m³, geometric standard deviation, and the share of homes above each level by counting, from 0 to 1.",
		Formula:   "e^ȳ and e^s of the logarithms, or their maximum likelihood where some lie below limits or between bounds, and neither where more than 80 % lie below; share x/n with Wilson's limits, (x + z²/2 ± z√(x(n−x)/n + z²/4))/(n + z²). A home that its limit leaves undecided counts as not above in the value and in the lower limit, and as above in the upper.",
		Assumes:   "independent homes. The errors of short tests are in what is measured, so that shares above a high level come out too large.",
		Interval:  "confidence, of the share; near what is asked for on average over shares, and below it for some.",
		Notes:     []string{"undecided"},
		Sources:   []analysis.Source{{Key: "wilson-1927", Cite: "Wilson 1927, J. Am. Stat. Assoc. 22:209 (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "TestPublishedWilson", ByHand: "TestPublishedWilson", Coverage: "exact: Wilson 1927, near what is asked for"},
	},
	{
		Key: "published", Title: "what of a community may leave",
		Estimates: "the geometric and arithmetic means, Bq/m³, and the shares of homes above each level, from 0 to 1, of the community and of areas that are large enough or merged.",
		Formula:   "Areas merged by MergeSmall, then Posterior and Unpooled, in which each home of a row of n homes told as m counts m/n, so that all that is estimated is a function of the numbers told and of how the values are spread out; so with what homes' errors share. In the community a row counts by its dwellings or, without them, by the middle of its range of homes. Counts of homes are rounded down to a multiple of k, counted shares told from the least to the greatest of Wilson's limits for all counts that are told so, without a value; estimates have two significant digits, limits rounded outwards. A counted share is told only where at least k homes lie above the level, k below it, and k between it and the next level told, in the row; of areas it is told for all rows or for none, so that the row left out is not what the rest leaves of the total. The whole's count is told so that no row's is narrowed by it, and above a level that is not told of the rows only where no higher one is.",
		Assumes:   "what Posterior and Unpooled do; and where it may not be told which areas are merged, that dwellings of areas without a home are like those of the merged ones.",
		Interval:  "theirs, of as many homes as are told at least, and a little wider for the rounding. Where 19 homes are told as 10 to 19, a geometric mean's is up to 1.5 times as wide, and the spread between homes is 2.6 % too large (9 told as 5 to 9: 1.6 times and 5.4 %); less with more homes. Without dwellings the community's are wider on each side by as much as the figure of the rows' point estimates moves that way over all numbers of homes that the rows may have, and so hold for homes as measured in each area.",
		Notes:     []string{"one-area", "few-areas", "mostly-censored"},
		Sources:   []analysis.Source{{Key: "hundepool-2012", Cite: "Hundepool and others 2012, Statistical Disclosure Control (from memory)"}},
		Evidence:  analysis.Evidence{Reference: "TestMergeExhaustive, TestTellWholeExhaustive, TestTellWhole; cmd/radonyear/publish_test.go attacks it, cmd/radonyear/publish_alike_test.go shows communities that it cannot tell apart", ByHand: "TestPublish, TestCountable, TestCountedAsTold, TestWeighings, TestTellWhole", Coverage: "analysis/survey/COVERAGE.md: wider than those of area-posterior"},
	},
}
