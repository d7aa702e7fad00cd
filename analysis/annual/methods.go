package annual

import "radonyear/analysis"

// Methods are the methods of this package, in the words of their doc comments.
var Methods = []analysis.Method{
	{
		Key: Method, Title: "annual mean from whatever was measured",
		Estimates: "the arithmetic mean concentration, Bq/m³, of twelve months.",
		Formula: "The profile's posterior of the days nobody measured, given those that were (see temporal.Posterior): " +
			"ln of the mean is normal with centre m and spread s; the part of s that is not instruments' or " +
			"years' is multiplied by the profile's calibration for this many days. Value is e^m, the median; the " +
			"limits are e^(m ± z s); P(above L) = Φ((m − ln L)/s). The verdict is \"above\" where that probability " +
			"reaches the confidence, \"below\" where it does not exceed its complement. Under 46 hours nothing is " +
			"conclusive, and a home of several rooms is not called \"below\" while one of them by itself is above.",
		Assumes: "that season and drift of the home are like those of the profile's homes, that nothing was changed in " +
			"the home in these twelve months, and that the rooms measured are the ones meant; rooms are averaged " +
			"with equal weight.",
		Interval: "credible, checked by simulation with a generator that is not the model; its coverage by test length " +
			"is published in COVERAGE.md beside this package.",
		Notes: []string{"under-two-days", "longer-than-a-year", "year-not-measured", "several-rooms", "room-above", "restless-home", "zero-result", "all-below-limit", "below-limit", "zero-days", "partial-days"},
		Sources: []analysis.Source{
			{Key: "durbin-koopman-2012", Cite: "Durbin and Koopman 2012, Time Series Analysis by State Space Methods", Part: "chapters 4 and 10"},
			{Key: "pinel-1995", Cite: "Pinel, Fearn, Darby and Miles 1995, Radiat. Prot. Dosim. 58:127 (from memory)"},
		},
		Evidence: analysis.Evidence{Reference: "testdata/reference/posterior.json; TestReference of packages annual and temporal", ByHand: "TestByHand", Coverage: "analysis/annual/COVERAGE.md"},
	},
	{
		Key: JudgeMethod, Title: "is a test conclusive, and how much longer to measure",
		Estimates: "the probability, today, that so many further days make the verdict conclusive, and the band of raw means (Bq/m³) of the same test that would not.",
		Formula: "What d more days will show is not known, but how sure one will be then is: the variance v_d of " +
			"ln(annual mean) after them follows from the model alone. Seen from today the later centre is N(m, v " +
			"− v_d), so a conclusive verdict comes with probability P(|centre − ln L| > z √v_d), z one-sided. The " +
			"year meant is the one centred on the longer test. The band of raw means that would not be conclusive " +
			"follows from scaling every reading alike; where one lies below its limit there is none, and both its " +
			"ends are 0. Where an area's prior is so firm that no reading would be conclusive on one side, that " +
			"end is 0 or +Inf.",
		Assumes: "that the further days follow the test without a gap, by the same detector if that gave day means, " +
			"else by a monitor of the usual calibration. The fewest days are sought by halving before the first row " +
			"of FurtherDays with the chance; where it does not rise with every day, fewer may have it too.",
		Interval: "none: a probability.",
		Sources:  []analysis.Source{{Key: "raiffa-schlaifer-1961", Cite: "Raiffa and Schlaifer 1961, Applied Statistical Decision Theory (from memory)", Part: "chapter 5"}},
		Evidence: analysis.Evidence{Reference: "the published band of TestReference", ByHand: "TestJudgeByHand", Coverage: "no interval; TestFurtherAgainstSlow counts how often the promise is kept"},
	},
}
