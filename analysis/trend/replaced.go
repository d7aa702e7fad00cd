package trend

import (
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/temporal"
)

// Over is what is usual by one monitor over what was by an earlier one in the same room,
// once the season that the earlier one's home has with its system is taken out. A monitor
// learns what is usual from its own first days; where a system failed before they came it
// learns the failure, of which its charts say nothing. Where nothing changed, the interval
// holds 1 but for what two monitors' calibration and the home's own swings explain.
func (r Result) Over(earlier Result) analysis.Estimate {
	m, a, b := earlier.model, r.baseline, earlier.baseline
	change := 0.0
	for _, d := range a {
		change += (math.Log(d.Mean) - m.season(d.Day)) / float64(len(a))
	}
	for _, d := range b {
		change -= (math.Log(d.Mean) - m.season(d.Day)) / float64(len(b))
	}
	between := func(x, y []Day) (mean float64) {
		for _, d := range x {
			for _, e := range y {
				mean += m.covariance(d.Day, e.Day) / float64(len(x)*len(y))
			}
		}
		return mean
	}
	own := temporal.CalibrationSD(temporal.DefaultCalibration)
	v := between(a, a) + between(b, b) - 2*between(a, b) + 2*own*own
	half := distuv.UnitNormal.Quantile((1+r.confidence)/2) * math.Sqrt(v)
	return analysis.Estimate{Quantity: "usual over that of an earlier monitor", Value: math.Exp(change), Lower: math.Exp(change - half), Upper: math.Exp(change + half),
		Confidence: r.confidence, Kind: analysis.CredibleInterval, N: len(a), Method: WatchMethod}
}
