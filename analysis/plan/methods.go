package plan

import "radonyear/analysis"

// Methods are the methods of this package, in the words of their doc comments.
var Methods = []analysis.Method{
	{
		Key: ShareMethod, Title: "how many homes for a share above a level",
		Estimates: "the fewest homes of each area whose interval for the share is as narrow as asked.",
		Formula: "Of m homes x are above, binomial with the share expected; the interval is Wilson's, and h(x) half its width. " +
			"Average: Σ h(x)·P(x) ≤ margin. Assured: P(h(x) ≤ margin) ≥ the assurance, at this m and at every larger one. " +
			"Any share: h(m/2), the widest there is, ≤ margin. Beside them the textbook's m = z²·p(1 − p)/margin². With a " +
			"design effect D and N dwellings, n₀ = D·m and n = n₀/(1 + (n₀ − 1)/N). Among k areas each interval has the " +
			"confidence 1 − α/k (Bonferroni) or (1 − α)^(1/k) (Sidak), so that all hold at once.",
		Assumes: "homes drawn at random from each area, each known to be above the level or not. The errors of short tests make " +
			"shares above a high level come out too large, and no number of homes cures that. A finite number of dwellings " +
			"helps only whoever takes Wilson's interval at n·(N − 1)/(N − n)/D homes.",
		Interval: "none: a number of homes. What it promises is counted in COVERAGE.md beside this package.",
		Notes:    []string{"few-above", "census"},
		Sources: []analysis.Source{
			{Key: "wilson-1927", Cite: "Wilson 1927, J. Am. Stat. Assoc. 22:209 (from memory)"},
			{Key: "cochran-1977", Cite: "Cochran 1977, Sampling Techniques (from memory)", Part: "chapter 4"},
			{Key: "chernick-liu-2002", Cite: "Chernick and Liu 2002, Am. Stat. 56:149 (from memory)"},
			{Key: "sidak-1967", Cite: "Sidak 1967, J. Am. Stat. Assoc. 62:626 (from memory)"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/plan.json", ByHand: "TestByHand", Coverage: "analysis/plan/COVERAGE.md"},
	},
	{
		Key: GMMethod, Title: "how many homes for a geometric mean",
		Estimates: "the fewest homes of each area whose interval for the geometric mean lies within a factor 1 + margin of it.",
		Formula: "The interval is e^(ȳ ± t·s/√m), t Student's with m − 1 degrees of freedom. Average: t·ln GSD/√m ≤ ln(1 + " +
			"margin), which is what it is where the sample's spread is the one assumed. Assured: P(s ≤ √m·ln(1 + margin)/t) " +
			"≥ the assurance, (m − 1)s²/ln² GSD being chi-squared with m − 1 degrees of freedom. Beside them the textbook's " +
			"(z·ln GSD/ln(1 + margin))². Design effect, dwellings and areas as for a share.",
		Assumes:  "homes drawn at random from one log-normal distribution of the GSD given.",
		Interval: "none: a number of homes. What it promises is counted in COVERAGE.md beside this package.",
		Notes:    []string{"census"},
		Sources: []analysis.Source{
			{Key: "student-1908", Cite: "Student 1908, Biometrika 6:1 (from memory)", Part: "on logarithms"},
			{Key: "kupper-hafner-1989", Cite: "Kupper and Hafner 1989, Am. Stat. 43:101 (from memory)", Part: "assurance"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/plan.json", ByHand: "TestByHand", Coverage: "analysis/plan/COVERAGE.md"},
	},
	{
		Key: MeanMethod, Title: "how many homes for an arithmetic mean",
		Estimates: "the fewest homes of each area whose interval for the arithmetic mean lies within a factor 1 + margin of it.",
		Formula: "The interval is Land's for 3 to 2000 homes, and MOVER's beyond; against its value it is as wide as m and the " +
			"spread s of the logarithms make it. Average: the farther limit at s = ln GSD is no farther than 1 + margin. " +
			"Assured: P(s ≤ s*) ≥ the assurance, s* being the spread at which it is just so far, (m − 1)s²/ln² GSD " +
			"chi-squared with m − 1 degrees of freedom. Beside them the textbook's z²(σ² + σ⁴/2)/ln²(1 + margin), σ = ln " +
			"GSD. Design effect, dwellings and areas as for a share.",
		Assumes: "homes drawn at random from one log-normal distribution of the GSD given. The upper limit lies farther from the " +
			"value than the lower and grows fast with the spread, so a GSD taken too small costs more here than with the " +
			"geometric mean.",
		Interval: "none: a number of homes. What it promises is counted in COVERAGE.md beside this package.",
		Notes:    []string{"census"},
		Sources: []analysis.Source{
			{Key: "land-1971", Cite: "Land 1971, Ann. Math. Stat. 42:1187 (from memory)"},
			{Key: "zou-2009", Cite: "Zou, Taleban and Huo 2009, Environmetrics 20:172 (from memory)"},
			{Key: "kupper-hafner-1989", Cite: "Kupper and Hafner 1989, Am. Stat. 43:101 (from memory)", Part: "assurance"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/plan.json, by MOVER's limits in R", ByHand: "TestMeanByHand", Coverage: "analysis/plan/COVERAGE.md"},
	},
	{
		Key: DaysMethod, Title: "how many days for a conclusive test",
		Estimates: "the probability that a test of so many days gives a conclusive verdict and the right one, and the fewest days " +
			"for which that is likely enough.",
		Formula: "A test of d days leaves a spread s of ln(annual mean), which is what Estimate of package annual finds for " +
			"readings at the level expected that follow the profile's season, whatever they are. Its estimate scatters " +
			"about the truth A by as much, so that with the one-sided z a verdict is right with probability Φ(|ln A − ln " +
			"L|/s − z) and wrong with Φ(−|ln A − ln L|/s − z). Of homes with a GM and a GSD these are averaged over ln A. " +
			"The fewest days are sought by halving before the first of the usual lengths with the power; without a month, " +
			"the worst of twelve counts.",
		Assumes: "that the home's season and days vary like those of the profile's homes, an undisturbed test without gaps, and " +
			"a detector of the usual calibration. A restless home needs longer.",
		Interval: "none: a probability. On homes of a mass balance, which obey no profile, it came true to within ten in a " +
			"hundred either way; COVERAGE.md beside this package has the rows.",
		Notes: []string{"near-level", "never-enough"},
		Sources: []analysis.Source{
			{Key: "raiffa-schlaifer-1961", Cite: "Raiffa and Schlaifer 1961, Applied Statistical Decision Theory (from memory)", Part: "chapter 5"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/plan.json, over homes", ByHand: "TestDaysByHand", Coverage: "analysis/plan/COVERAGE.md"},
	},
	{
		Key: ReductionMethod, Title: "how many homes to show that mitigation worked",
		Estimates: "the probability that one home, or a neighbourhood, shows a reduction larger than the smallest of interest, and " +
			"the fewest homes for which that is likely enough.",
		Formula: "Compare, of package compare, finds for a home that was measured so long, with readings that show the reduction " +
			"expected, the spread s of its ln ratio θ and its upper limit at θ + h. One home shows the reduction with " +
			"probability Φ((θ₀ − θ − h)/s), θ₀ = ln(1 − the smallest of interest). Of n homes with a spread τ between them, " +
			"Effects there says which variance c they share and which v each has alone; the limit of Pool is the mean + " +
			"√(t²·max(S², v)/n + z²c), S² being the variance of their logarithms, of (v + τ²) times chi-squared with n − 1 " +
			"degrees of freedom over n − 1. The power is averaged over it exactly. With v and c nothing, that is the power " +
			"of Student's test. First: the fewest homes with the power.",
		Assumes: "homes all measured in the same weeks, the least favourable way, with normal log ratios; season and days like " +
			"those of the profile's homes; that mitigation was not decided by the very readings that are compared.",
		Interval: "none: a probability. On homes of a mass balance, which obey no profile, that of one home came true to within " +
			"ten in a hundred either way; COVERAGE.md beside this package has the rows.",
		Notes: []string{"one-home-not-enough", "never-enough", "season-differs", "unbounded"},
		Sources: []analysis.Source{
			{Key: "hartung-knapp-2001", Cite: "Hartung and Knapp 2001, Stat. Med. 20:1771 (from memory)"},
			{Key: "owen-1965", Cite: "Owen 1965, Biometrika 52:437 (from memory)", Part: "power of Student's test"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/plan.json, power.t.test", ByHand: "TestReductionByHand", Coverage: "analysis/plan/COVERAGE.md"},
	},
	{
		Key: HotMethod, Title: "how many homes to find a hot area",
		Estimates: "the fewest homes of an area, and how many of them have to be above the level, so that a hot area is flagged " +
			"with the power asked for and a normal one hardly ever.",
		Formula: "An area is flagged where c or more of its n homes are above, c being the fewest with P(X ≥ c) ≤ a under the " +
			"normal share; its power is P(X ≥ c) under the hot one, both binomial and summed exactly. First: the fewest n " +
			"with the power. Lasting: the fewest from which on every n has it, since it goes back and forth. Beside them " +
			"the textbook's ((z_a·√(p₀q₀) + z_b·√(p₁q₁))/(p₁ − p₀))². Of k areas each may be flagged falsely with a/k " +
			"(Bonferroni) or 1 − (1 − a)^(1/k) (Sidak).",
		Assumes: "homes drawn at random from each area, each known to be above the level or not, and the rule that n and c make: " +
			"other rules have other errors.",
		Interval: "none: a number of homes. What it promises is counted in COVERAGE.md beside this package.",
		Notes:    []string{"cannot-flag"},
		Sources: []analysis.Source{
			{Key: "chernick-liu-2002", Cite: "Chernick and Liu 2002, Am. Stat. 56:149 (from memory)"},
			{Key: "fleiss-2003", Cite: "Fleiss, Levin and Paik 2003, Statistical Methods for Rates and Proportions (from memory)", Part: "section 2.5"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/plan.json", ByHand: "TestHotByHand", Coverage: "analysis/plan/COVERAGE.md"},
	},
	{
		Key: FindMethod, Title: "how many homes of a building to find one above the level",
		Estimates: "the fewest homes to test so that at least one above the level is among them with the confidence asked for.",
		Formula: "Of N homes K above, all n tested lie below with probability C(N − K, n)/C(N, n); of very many with a share p " +
			"above, (1 − p)^n. K is the share of N, rounded up. Beside it the textbook's ln(1 − confidence)/ln(1 − p), " +
			"which knows of no N.",
		Assumes: "homes drawn at random from the building, and tests that do not err: a short test may show a home below that is " +
			"above over the year. Homes on the ground differ from those higher up, and then each kind is a building of its " +
			"own.",
		Interval: "none: a number of homes. What it promises is counted in COVERAGE.md beside this package.",
		Notes:    []string{"nearly-all"},
		Sources: []analysis.Source{
			{Key: "hud-1995", Cite: "HUD 1995, Guidelines for the Evaluation and Control of Lead-Based Paint Hazards in Housing (from memory)", Part: "table 7.3"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/plan.json; TestFindPublished", ByHand: "TestHotByHand", Coverage: "analysis/plan/COVERAGE.md"},
	},
}
