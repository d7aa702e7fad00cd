package compare

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"time"

	"radonyear/analysis"
)

// pooledSetting is one kind of simulated study: draw makes one, and tallies each
// interval that it gives, or says that there is none.
type pooledSetting struct {
	name string
	draw func(rng *rand.Rand, tally func(quantity, method string, truth, lower, upper float64)) error
}

// pooledSettings are those of the table.
func pooledSettings() (all []pooledSetting) {
	for _, skewed := range []bool{false, true} {
		for _, homes := range []int{2, 3, 5, 10, 30} {
			for _, tau := range []float64{0, 0.1, 0.2, 0.4, 0.6} {
				if tau > 0 || !skewed {
					all = append(all, pooledHomes(homes, tau, skewed))
				}
			}
		}
	}
	for _, skewed := range []bool{false, true} {
		for _, size := range [][2]int{{3, 3}, {5, 5}, {4, 12}, {12, 4}, {20, 20}} {
			all = append(all, twoGroups(size[0], size[1], skewed))
		}
	}
	for _, length := range []float64{4, 7, 14} {
		for _, periods := range []int{4, 6, 8, 12, 26, 52} {
			all = append(all, switched(periods, length))
		}
	}
	return all
}

// pooledCoverage draws so many studies of one setting and counts how often each
// interval asked for at 95 % held the truth. The same trials and setting give the same
// rows.
func pooledCoverage(s pooledSetting, trials int) []analysis.CoverageRow {
	seed := fnv.New64a()
	seed.Write([]byte(s.name))
	rng := rand.New(rand.NewPCG(17, seed.Sum64()))
	var rows []analysis.CoverageRow
	var widths [][]float64
	answered := 0.0
	for range trials {
		row := 0
		err := s.draw(rng, func(quantity, method string, truth, lower, upper float64) {
			if row == len(rows) {
				rows = append(rows, analysis.CoverageRow{Quantity: quantity, Method: method, Setting: s.name, Asked: 0.95})
				widths = append(widths, nil)
			}
			r := &rows[row]
			switch {
			case truth < lower:
				r.Under++
			case truth > upper:
				r.Over++
			default:
				r.Held++
			}
			widths[row] = append(widths[row], upper/max(lower, 1e-300))
			row++
		})
		if err == nil {
			answered++
		}
	}
	for i := range rows {
		r := &rows[i]
		n := r.Held + r.Under + r.Over
		r.Trials, r.Answered = trials, answered/float64(trials)
		r.Held, r.Under, r.Over = r.Held/n, r.Under/n, r.Over/n
		slices.Sort(widths[i])
		r.Width = widths[i][len(widths[i])/2]
	}
	return rows
}

// pooledHomes are so many homes with true log ratios of mean ln 0.2 and standard
// deviation tau, normal or, where skewed, exponential towards systems that do little;
// each known with a standard uncertainty between 0.05 and 0.5, evenly in its logarithm.
// Beside the methods stand what they were chosen over: the mean with q as it is, and
// the next home by Student's t on n − 2; and the mean by averaging over what Q says of
// τ², as the next home has it.
func pooledHomes(homes int, tau float64, skewed bool) pooledSetting {
	name := fmt.Sprintf("%d homes, τ %g", homes, tau)
	if skewed {
		name += ", skewed"
	}
	centre := math.Log(0.2)
	return pooledSetting{name, func(rng *rand.Rand, tally func(quantity, method string, truth, lower, upper float64)) error {
		home := func() float64 {
			if skewed {
				return centre + tau*(rng.ExpFloat64()-1)
			}
			return centre + tau*rng.NormFloat64()
		}
		effects := make([]Effect, homes)
		for i := range effects {
			sd := 0.05 * math.Pow(10, rng.Float64())
			effects[i] = Effect{Log: home() + sd*rng.NormFloat64(), SD: sd}
		}
		next := math.Exp(home())
		r, err := Pool(effects, PoolOptions{})
		if err != nil {
			return err
		}
		p, err := newPool(effects)
		if err != nil {
			return err
		}
		p.confidence = 0.95
		n, mean := float64(homes), math.Exp(centre)
		tau2 := r.Tau.Value * r.Tau.Value
		w := p.at(tau2)
		tally("geometric mean ratio", PoolMethod, mean, r.Ratio.Lower, r.Ratio.Upper)
		half := tHalf(n-1, 0.95) * math.Sqrt(w.q/(n-1)/w.w)
		tally("geometric mean ratio", "q as it is", mean, math.Exp(w.mean-half), math.Exp(w.mean+half))
		l, err := p.mixture(w.mean, func(s weighted, _ float64) (float64, float64) { return s.mean, 1 / s.w })
		if err != nil {
			return err
		}
		tally("geometric mean ratio", "averaged over Q", mean, math.Exp(l.lower), math.Exp(l.upper))
		tally("geometric mean ratio", PairedTMethod, mean, r.PairedT.Lower, r.PairedT.Upper)
		tally("geometric mean ratio", HodgesLehmannMethod, mean, r.Median.Lower, r.Median.Upper)
		tally("e to the τ", TauMethod, math.Exp(tau), math.Exp(r.Tau.Lower), math.Exp(r.Tau.Upper))
		tally("next home's ratio", NextMethod, next, r.Next.Lower, r.Next.Upper)
		if homes > 2 {
			half = tHalf(n-2, 0.95) * math.Sqrt(tau2+1/w.w)
			tally("next home's ratio", "t on n − 2", next, math.Exp(w.mean-half), math.Exp(w.mean+half))
		}
		return nil
	}}
}

// twoGroups are so many homes with a system and without: log-normal with geometric
// standard deviation e^0.6 and e^0.9, so that the ratio of geometric means is 0.25; or
// both exponential in the logarithm, where skewed, with e^0.9.
func twoGroups(with, without int, skewed bool) pooledSetting {
	name := fmt.Sprintf("%d homes with, %d without", with, without)
	if skewed {
		name += ", skewed"
	}
	return pooledSetting{name, func(rng *rand.Rand, tally func(quantity, method string, truth, lower, upper float64)) error {
		draw := func(n int, gm, spread float64) []float64 {
			x := make([]float64, n)
			for i := range x {
				u := rng.NormFloat64()
				if skewed {
					u, spread = rng.ExpFloat64()-1, 0.9
				}
				x[i] = gm * math.Exp(spread*u)
			}
			return x
		}
		r, err := WithWithout(draw(with, 50, 0.6), draw(without, 200, 0.9), false, ContrastOptions{})
		if err != nil {
			return err
		}
		tally("ratio with/without", WelchMethod, 0.25, r.Ratio.Lower, r.Ratio.Upper)
		tally("ratio with/without", ShiftMethod, 0.25, r.Median.Lower, r.Median.Upper)
		return nil
	}}
}

// switched is a system switched every so many days, beginning off, that leaves 0.3 of
// the radon: the logarithm of a day's mean goes through a season of amplitude 0.5,
// wanders by 0.3 with a correlation that falls to 1/e in 5 days, and scatters by 0.25.
// A period's mean is that of its days.
func switched(periods int, length float64) pooledSetting {
	return pooledSetting{fmt.Sprintf("%d periods of %g days", periods, length), func(rng *rand.Rand, tally func(quantity, method string, truth, lower, upper float64)) error {
		const left, fall = 0.3, 5.0
		begin := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
		phase, phi := 2*math.Pi*rng.Float64(), math.Exp(-1/fall)
		x := rng.NormFloat64()
		var all []Period
		for i := range periods {
			p := Period{Start: begin.Add(time.Duration(float64(i)*length*24) * time.Hour), Days: length, On: i%2 == 1}
			for d := range int(length) {
				t := float64(i)*length + float64(d)
				c := 100 * math.Exp(0.5*math.Cos(2*math.Pi*t/365+phase)+0.3*x+0.25*rng.NormFloat64())
				if p.On {
					c *= left
				}
				p.Mean += c / length
				x = phi*x + math.Sqrt(1-phi*phi)*rng.NormFloat64()
			}
			all = append(all, p)
		}
		r, err := Cycle(all, CycleOptions{})
		if err != nil {
			return err
		}
		tally("ratio on/off", CycleMethod, left, r.Ratio.Lower, r.Ratio.Upper)
		return nil
	}}
}
