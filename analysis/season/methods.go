package season

import "radonyear/analysis"

// Methods are the methods of this package, in the words of their doc comments.
var Methods = []analysis.Method{{
	Key: "learned-profile", Title: "a region's season and scatter",
	Estimates: "the mean cycle and its spread between homes, the variances of the drift at correlation times of 1, " +
		"6, 40 and 150 days, and, where at least eight homes were measured at a time, the course of weather " +
		"they shared.",
	Formula: "The log likelihood of the model of package temporal, with the level of each home integrated out, " +
		"maximised in turn over season (by expectation maximisation of a mixed model) and drift (by simplex). " +
		"What the homes had in common is the mean over homes of what is left. Then each home is left out in " +
		"turn, its season and course learned from the others, and tests of 2 to 300 days cut from its record " +
		"are judged against its own year; the factors by which the spread must be multiplied to hold what it " +
		"promises, and to be the root mean square of the errors, go into the profile.",
	Assumes: "that the homes are like those the profile will be used on. With fewer than 10 homes all variances " +
		"are raised toward the built-in profile's. The mean cycle is drawn toward the built-in one, and its " +
		"spread raised, by what the weather of just these years may have done to all homes alike, which no " +
		"leaving out of homes can show: Scatter and Course are of those years.",
	Interval: "none; see Scatter for how those of annual means did.",
	Notes:    []string{"few-homes", "no-course"},
	Sources: []analysis.Source{
		{Key: "laird-ware-1982", Cite: "Laird and Ware 1982, Biometrics 38:963"},
		{Key: "nelder-mead-1965", Cite: "Nelder and Mead 1965, Computer J. 7:308"},
	},
	Evidence: analysis.Evidence{Reference: "TestRecovery: the law that homes were drawn from", ByHand: "TestByHand, TestFewHomesByHand", Coverage: "analysis/annual/COVERAGE.md"},
}}
