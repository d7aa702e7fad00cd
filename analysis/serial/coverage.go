package serial

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
)

// CoverageSetting is one kind of simulated record: so many hours whose logarithm
// is an autoregression, each resembling the last with correlation Phi; as they are,
// or as the least sensitive of monitors would count them; and hour by hour, or as
// the means of whole days, which is what the program's mean command sees. With Slow
// not 0, half of the logarithm's variance wanders by itself, with that correlation,
// which is not the kind of series that Mean assumes. With Noise not 0, the readings
// are of just that kind: normal, that many times as much noise as what wanders, 15 %
// together. The mean is 100 Bq/m³ and any other hour's spread without counting 42 %.
type CoverageSetting struct {
	Hours   int
	Phi     float64
	Counted bool
	Days    bool
	Slow    float64
	Noise   float64
}

func (s CoverageSetting) String() string {
	text := fmt.Sprintf("%d hours, φ %g", s.Hours, s.Phi)
	if s.Days {
		text = fmt.Sprintf("%d day means, hourly φ %g", s.Hours/24, s.Phi)
	}
	if s.Slow > 0 {
		text += fmt.Sprintf(" and %g by halves", s.Slow)
	}
	if s.Noise > 0 {
		text += fmt.Sprintf(" and noise %g, normal", s.Noise)
	}
	if s.Counted {
		text += ", counted"
	}
	return text
}

// CoverageSettings are those of the published table.
func CoverageSettings() (all []CoverageSetting) {
	for _, counted := range []bool{false, true} {
		for _, phi := range []float64{0, 0.5, 0.9, 0.95, 0.98} {
			for _, n := range []int{168, 720, 2160} {
				all = append(all, CoverageSetting{Hours: n, Phi: phi, Counted: counted})
			}
		}
		all = append(all, CoverageSetting{Hours: 8760, Phi: 0.98, Counted: counted})
	}
	for _, counted := range []bool{false, true} {
		for _, phi := range []float64{0.9, 0.95, 0.98} {
			for _, days := range []int{30, 90, 365} {
				all = append(all, CoverageSetting{Hours: 24 * days, Phi: phi, Counted: counted, Days: true})
			}
		}
	}
	all = append(all, []CoverageSetting{
		{Hours: 720, Phi: 0.7, Slow: 0.975}, {Hours: 2160, Phi: 0.7, Slow: 0.95}, {Hours: 2160, Phi: 0.8, Slow: 0.984},
		{Hours: 24 * 90, Phi: 0.9, Slow: 0.99, Days: true}, {Hours: 24 * 365, Phi: 0.95, Slow: 0.995, Days: true},
		{Hours: 8760, Phi: 0.8, Noise: 0.3}, {Hours: 8760, Phi: 0.9, Noise: 0.3}, {Hours: 8760, Phi: 0.95, Noise: 0.3},
		{Hours: 24 * 30, Phi: 0.99, Days: true}, {Hours: 24 * 60, Phi: 0.995, Days: true}, {Hours: 24 * 90, Phi: 0.995, Days: true},
	}...)
	return all
}

// CoverageTable draws so many records of one setting and counts how often each
// interval asked for at 95 % held the mean. The same trials and setting give the
// same rows. But for the settings with Noise it shares with Mean neither the normal
// distribution nor the kind of noise: the logarithm is what wanders, and counts are
// Poisson's.
func CoverageTable(s CoverageSetting, trials int) []analysis.CoverageRow {
	const truth, sigma = 100.0, 0.4
	rng := rand.New(rand.NewPCG(uint64(s.Hours), math.Float64bits(s.Phi)))
	begin := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	methods := []string{"mean", Autoregressive, CosineWeights, "naive"}
	rows := make([]analysis.CoverageRow, len(methods))
	widths := make([][]float64, len(methods))
	each := 1 // hours a reading
	if s.Days {
		each = 24
	}
	readings := make([]analysis.Reading, s.Hours/each)
	answered := 0.0
	for range trials {
		x, slow := rng.NormFloat64(), 0.0
		if s.Slow > 0 {
			slow = rng.NormFloat64()
		}
		for i := range readings {
			sum := 0.0
			for range each {
				log := x
				if s.Slow > 0 {
					log = (x + slow) / math.Sqrt2
					slow = s.Slow*slow + math.Sqrt(1-s.Slow*s.Slow)*rng.NormFloat64()
				}
				y := truth * math.Exp(sigma*log-sigma*sigma/2)
				if s.Noise > 0 {
					y = truth + 15*(x+s.Noise*rng.NormFloat64())/math.Sqrt(1+s.Noise*s.Noise)
				}
				if s.Counted {
					y = distuv.Poisson{Lambda: y * analysis.MinSensitivity, Src: rng}.Rand() / analysis.MinSensitivity
				}
				sum += y
				x = s.Phi*x + math.Sqrt(1-s.Phi*s.Phi)*rng.NormFloat64()
			}
			length := time.Duration(each) * time.Hour
			at := begin.Add(time.Duration(i) * length)
			readings[i] = analysis.Reading{Start: at, End: at.Add(length), Concentration: sum / float64(each)}
		}
		series, err := analysis.NewSeries(analysis.Place{Home: "simulated"}, nil, readings)
		if err != nil {
			continue
		}
		r, err := Mean(series, Options{})
		if err != nil {
			continue
		}
		answered++
		for i, limits := range [][2]float64{{r.Mean.Lower, r.Mean.Upper}, {r.Likelihood.Lower, r.Likelihood.Upper},
			{r.Cosine.Lower, r.Cosine.Upper}, {r.PlainMean - r.NaiveHalfWidth, r.PlainMean + r.NaiveHalfWidth}} {
			switch {
			case truth < limits[0]:
				rows[i].Under++
			case truth > limits[1]:
				rows[i].Over++
			default:
				rows[i].Held++
			}
			widths[i] = append(widths[i], limits[1]/max(limits[0], 1e-300))
		}
	}
	for i := range rows {
		r := &rows[i]
		r.Quantity, r.Method, r.Setting, r.Trials, r.Asked, r.Answered = "mean of a series", methods[i], s.String(), trials, 0.95, answered/float64(trials)
		if answered > 0 {
			r.Held, r.Under, r.Over = r.Held/answered, r.Under/answered, r.Over/answered
			slices.Sort(widths[i])
			r.Width = widths[i][len(widths[i])/2]
		}
	}
	return rows
}
