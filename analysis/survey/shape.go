package survey

import (
	"math"

	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/lognormal"
)

// fewestOwn is how many homes of an area say enough of their own middle and spread to be
// judged by them.
const fewestOwn = 10

// ShapeWithin says how log-normal homes look within their areas, as Posterior takes them to
// be: of how far each lies from the mean of its area's logarithms, in units of their
// standard deviation, by lognormal.Shape. Areas of under ten homes say nothing of it.
// Homes below a limit or known within two have no such distance, and where there are
// covariates an area's homes have means of their own: there, and where fewer than ten
// homes are left, ok is false. Information, and no gate.
func ShapeWithin(homes []Home) (shape lognormal.ShapeResult, ok bool) {
	logs := map[string][]float64{}
	var areas []string // in the order of the homes
	for _, h := range homes {
		if h.Below || h.Lower < h.Upper || len(h.Covariates) > 0 {
			return shape, false
		}
		if logs[h.Area] == nil {
			areas = append(areas, h.Area)
		}
		logs[h.Area] = append(logs[h.Area], h.Log)
	}
	var obs []lognormal.Observation
	for _, a := range areas {
		if len(logs[a]) < fewestOwn {
			continue
		}
		mean, sd := numeric.Moments(logs[a])
		for _, y := range logs[a] {
			if sd > 0 {
				obs = append(obs, lognormal.Exact(math.Exp((y-mean)/sd)))
			}
		}
	}
	if len(obs) < fewestOwn {
		return shape, false
	}
	shape, err := lognormal.Shape(obs)
	return shape, err == nil
}
