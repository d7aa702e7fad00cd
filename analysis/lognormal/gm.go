package lognormal

import (
	"math"

	"gonum.org/v1/gonum/mathext"
	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
)

// GeometricMean estimates the geometric mean, which is the median of a log-normal
// distribution, Bq/m³.
//
// Formula. e^ȳ, and e^(ȳ ± t·s/√n) with ȳ and s the mean and standard deviation
// of the logarithms and t Student's, n − 1 degrees of freedom.
//
// Assumes independent values from one log-normal distribution.
//
// Interval: confidence, exact.
//
// Notes: unbounded.
//
// Source: Student 1908, Biometrika 6:1 (from memory), on logarithms.
func GeometricMean(s Sample, opt Options) (analysis.Estimate, error) {
	if err := firstError(s.check(), opt.check()); err != nil {
		return analysis.Estimate{}, err
	}
	half := medianHalfWidth(s, opt.Confidence)
	return finish(analysis.Estimate{
		Quantity: "geometric mean", Unit: becquerel,
		Value: math.Exp(s.mean), Lower: math.Exp(s.mean - half), Upper: math.Exp(s.mean + half),
		Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: s.n, Method: "t-of-logs",
	})
}

// GeometricSD estimates the geometric standard deviation, a ratio.
//
// Formula. e^s, and e^(s·√(ν/χ²)) with χ² the quantiles of chi-squared with
// ν = n − 1 degrees of freedom.
//
// Assumes independent values from one log-normal distribution; unlike the
// interval of the geometric mean, this one does not forgive heavy tails.
//
// Interval: confidence, exact.
//
// Notes: unbounded.
//
// Source: any textbook; e.g. NIST/SEMATECH e-Handbook of Statistical Methods, 7.2.3.1 (from memory).
func GeometricSD(s Sample, opt Options) (analysis.Estimate, error) {
	if err := firstError(s.check(), opt.check()); err != nil {
		return analysis.Estimate{}, err
	}
	nu := float64(s.n - 1)
	return finish(analysis.Estimate{
		Quantity: "geometric standard deviation",
		Value:    math.Exp(s.sd),
		Lower:    math.Exp(s.sd * math.Sqrt(nu/chiSquaredQuantile(nu, (1+opt.Confidence)/2))),
		Upper:    math.Exp(s.sd * math.Sqrt(nu/chiSquaredQuantile(nu, (1-opt.Confidence)/2))),

		Confidence: opt.Confidence, Kind: analysis.ConfidenceInterval, N: s.n, Method: "chi-squared-of-logs",
	})
}

// NextHome predicts the next home of the same kind, Bq/m³.
//
// Formula. e^(ȳ ± t·s·√(1 + 1/n)), t Student's with n − 1 degrees of freedom.
//
// Assumes that the next home is drawn as the n were, independently, from one
// log-normal distribution.
//
// Interval: prediction, exact: it is for one home, and wider than that of a mean.
//
// Notes: unbounded.
//
// Source: Hahn and Meeker 1991, Statistical Intervals, section 4.7 (from memory).
func NextHome(s Sample, opt Options) (analysis.Estimate, error) {
	if err := firstError(s.check(), opt.check()); err != nil {
		return analysis.Estimate{}, err
	}
	half := tQuantile(float64(s.n-1), (1+opt.Confidence)/2) * s.sd * math.Sqrt(1+1/float64(s.n))
	return finish(analysis.Estimate{
		Quantity: "next home", Unit: becquerel,
		Value: math.Exp(s.mean), Lower: math.Exp(s.mean - half), Upper: math.Exp(s.mean + half),
		Confidence: opt.Confidence, Kind: analysis.PredictionInterval, N: s.n, Method: "next-home",
	})
}

// medianHalfWidth is how far the limits of the geometric mean lie from it, in
// logarithms.
func medianHalfWidth(s Sample, confidence float64) float64 {
	return tQuantile(float64(s.n-1), (1+confidence)/2) * s.sd / math.Sqrt(float64(s.n))
}

var students, chiSquareds numeric.Memo[[2]float64, float64]

func tQuantile(nu, p float64) float64 {
	return students.Get([2]float64{nu, p}, func() float64 { return distuv.StudentsT{Mu: 0, Sigma: 1, Nu: nu}.Quantile(p) })
}

func chiSquaredQuantile(nu, p float64) float64 {
	return chiSquareds.Get([2]float64{nu, p}, func() float64 { return 2 * mathext.GammaIncRegInv(nu/2, p) })
}

func firstError(errs ...error) error {
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}
