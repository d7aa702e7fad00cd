package compare

import (
	"fmt"
	"math"
	"math/rand/v2"

	"radonyear/analysis"
	"radonyear/analysis/temporal"
)

// madeSeries draws so many days of ln C about nothing, with standard deviation 1.
type madeSeries struct {
	name string
	draw func(rng *rand.Rand, n int) []float64
}

// autoregressive days: correlation phi from one to the next, noise of so large a share.
func autoregressive(phi, noise float64) madeSeries {
	name := fmt.Sprintf("φ %g", phi)
	if noise > 0 {
		name += fmt.Sprintf(", %g %% noise", 100*noise)
	}
	return madeSeries{name, func(rng *rand.Rand, n int) []float64 {
		y := make([]float64, n)
		x := rng.NormFloat64()
		for i := range y {
			y[i] = math.Sqrt(1-noise)*x + math.Sqrt(noise)*rng.NormFloat64()
			x = phi*x + math.Sqrt(1-phi*phi)*rng.NormFloat64()
		}
		return y
	}}
}

// weathered days are not as the methods take them: weather of 2 and of 12 days, the
// first with shocks that are exponential, so that days rise at once and fall slowly, and
// noise by Student's t of 4.
var weathered = madeSeries{"weather of 2 and 12 days", func(rng *rand.Rand, n int) []float64 {
	y := make([]float64, n)
	f, g := math.Exp(-1./2), math.Exp(-1./12)
	quick, slow := 0.0, rng.NormFloat64()
	for i := -30; i < n; i++ {
		quick = f*quick + math.Sqrt(1-f*f)*(rng.ExpFloat64()-1)
		slow = g*slow + math.Sqrt(1-g*g)*rng.NormFloat64()
		if i >= 0 {
			var chi float64
			for range 4 {
				z := rng.NormFloat64()
				chi += z * z
			}
			t := rng.NormFloat64() / math.Sqrt(chi/2) // of 4, by its standard deviation √2
			y[i] = math.Sqrt(0.5)*quick + math.Sqrt(0.4)*slow + math.Sqrt(0.1)*t
		}
	}
	return y
}}

func manySeries() []madeSeries {
	all := []madeSeries{weathered}
	for _, phi := range []float64{0, 0.3, 0.6, 0.8, 0.9} {
		all = append(all, autoregressive(phi, 0))
		if phi > 0 {
			all = append(all, autoregressive(phi, 0.5))
		}
	}
	return all
}

// seriesSettings are those of series through a switch, and of the search for one.
func seriesSettings() (all []pooledSetting) {
	for _, m := range manySeries() {
		for _, sides := range [][2]int{{10, 10}, {20, 20}, {30, 30}, {10, 60}, {60, 60}, {120, 120}} {
			all = append(all, switchedOn(m, sides[0], sides[1], 1))
		}
		all = append(all, switchedOn(m, 60, 10, 1))
	}
	for _, sides := range [][2]int{{20, 20}, {10, 60}, {60, 10}, {60, 60}} {
		all = append(all, switchedOn(autoregressive(0.6, 0), sides[0], sides[1], 0.6), switchedOn(autoregressive(0.6, 0.5), sides[0], sides[1], 1.5))
	}
	for _, m := range []madeSeries{autoregressive(0.6, 0), weathered} {
		for _, level := range []float64{25, 18, 12} {
			all = append(all, limited(m, 30, 30, level))
		}
		all = append(all, limitedChange(m, 60))
	}
	for _, phi := range []float64{0.3, 0.6, 0.8} {
		all = append(all, seasoned(phi, 365, 365), seasoned(phi, 365, 120))
	}
	for _, m := range manySeries() {
		for _, n := range []int{30, 60, 120, 365, 1000} {
			if n < 1000 || m.name == "φ 0.6" || m.name == weathered.name {
				all = append(all, unchanged(m, n))
			}
		}
		for _, n := range []int{30, 60, 365} {
			for _, ratio := range []float64{0.5, 0.2} {
				all = append(all, changed(m, n, ratio))
			}
		}
	}
	return all
}

const spreadOfDays = 0.4 // of ln C

// switchedOn is a system that takes 70 %, with so many days either side of the two left
// out; the spread of days on is so many times that off.
func switchedOn(m madeSeries, off, on int, spread float64) pooledSetting {
	name := fmt.Sprintf("%d days off, %d on, %s", off, on, m.name)
	if spread != 1 {
		name += fmt.Sprintf(", spread on ×%g", spread)
	}
	return pooledSetting{name, func(rng *rand.Rand, tally func(quantity, method string, truth, lower, upper float64)) error {
		y := m.draw(rng, off+on+2)
		var days []Day
		for i, v := range y {
			switch {
			case i < off:
				days = append(days, Day{Day: 20000 + i, Mean: 300 * math.Exp(spreadOfDays*v)})
			case i >= off+2:
				days = append(days, Day{Day: 20000 + i, Mean: 90 * math.Exp(spread*spreadOfDays*v), On: true})
			}
		}
		r, err := Interrupted(days, InterruptedOptions{})
		if err != nil {
			return err
		}
		tally("ratio on/off", InterruptedMethod, 0.3, r.Ratio.Lower, r.Ratio.Upper)
		naive := math.Exp(r.NaiveHalfWidth)
		tally("ratio on/off", "naive", 0.3, r.Ratio.Value/naive, r.Ratio.Value*naive)
		return nil
	}}
}

// limited is a system that takes 300 Bq/m³ to a level, seen by a monitor that says no
// more than "below 20" of a day below that: of some 30, 60 and 90 % of the days with it.
func limited(m madeSeries, off, on int, level float64) pooledSetting {
	return pooledSetting{fmt.Sprintf("%d days off, %d on, to %g with a limit of 20, %s", off, on, level, m.name), func(rng *rand.Rand, tally func(quantity, method string, truth, lower, upper float64)) error {
		var days []Day
		for i, v := range m.draw(rng, off+on+2) {
			d := Day{Day: 20000 + i, Mean: 300 * math.Exp(spreadOfDays*v), On: i > off}
			switch {
			case i == off || i == off+1:
				continue
			case d.On:
				d = limitedDay(d.Day, level*math.Exp(spreadOfDays*v))
				d.On = true
			}
			days = append(days, d)
		}
		r, err := Interrupted(days, InterruptedOptions{})
		if err != nil {
			return err
		}
		tally("ratio on/off", InterruptedMethod, level/300, r.Ratio.Lower, r.Ratio.Upper)
		return nil
	}}
}

// limitedDay is a day as a monitor with a limit of 20 says it.
func limitedDay(day int, c float64) Day {
	const limit = 20
	return Day{Day: day, Mean: max(c, limit), Below: c < limit}
}

// limitedChange is a fall from 300 Bq/m³ to 18, with that limit.
func limitedChange(m madeSeries, n int) pooledSetting {
	const level, name = 18.0, "fall to 18 with a limit of 20 in %d days, %s"
	return pooledSetting{fmt.Sprintf(name, n, m.name), func(rng *rand.Rand, tally func(quantity, method string, truth, lower, upper float64)) error {
		at := 10 + rng.IntN(n-20)
		var days []Day
		for i, v := range m.draw(rng, n) {
			before := 300.0
			if i >= at {
				before = level
			}
			days = append(days, limitedDay(20000+i, before*math.Exp(spreadOfDays*v)))
		}
		return tallySwitch(tally, days, at, level/300)
	}}
}

// seasoned is a system that takes 70 % and leaves of a season of amplitude 0.4 one of
// 0.15, with a covariate that wanders as well.
func seasoned(phi float64, off, on int) pooledSetting {
	m := autoregressive(phi, 0.2)
	left := 0.15
	if on < 365 {
		left = 0.4 // one season for both
	}
	return pooledSetting{fmt.Sprintf("%d days off, %d on, season, %s", off, on, m.name), func(rng *rand.Rand, tally func(quantity, method string, truth, lower, upper float64)) error {
		y, x := m.draw(rng, off+on+2), autoregressive(0.8, 0).draw(rng, off+on+2)
		begin, top := 20000+rng.IntN(365), 2*math.Pi*rng.Float64()
		var days []Day
		for i, v := range y {
			if i == off || i == off+1 {
				continue
			}
			d := Day{Day: begin + i, On: i > off, Covariates: []float64{5 * x[i]}}
			level, a := math.Log(300), 0.4
			if d.On {
				level, a = math.Log(90), left
			}
			d.Mean = math.Exp(level + a*math.Cos(2*math.Pi*float64(d.Day)/temporal.YearDays-top) - 0.02*d.Covariates[0] + spreadOfDays*v)
			days = append(days, d)
		}
		r, err := Interrupted(days, InterruptedOptions{Covariates: []string{"outdoor temperature"}})
		if err != nil {
			return err
		}
		tally("ratio on/off", InterruptedMethod, 0.3, r.Ratio.Lower, r.Ratio.Upper)
		// What is additive is counted as what it multiplies C by, so that widths are ratios.
		additive := func(quantity string, truth float64, e analysis.Estimate) {
			tally(quantity, InterruptedMethod, math.Exp(truth), math.Exp(e.Lower), math.Exp(e.Upper))
		}
		additive("covariate", -0.02, r.Covariates[0])
		if r.Season != nil {
			additive("amplitude of both", 0.4, *r.Season)
		} else {
			additive("amplitude off", 0.4, *r.SeasonOff)
			additive("amplitude on", left, *r.SeasonOn)
		}
		return nil
	}}
}

func found(s Switch) float64 {
	if s.Found {
		return 1
	}
	return 0
}

// tallySwitch looks for a change of the level by a ratio on day 20000 + at.
func tallySwitch(tally func(quantity, method string, truth, lower, upper float64), days []Day, at int, ratio float64) error {
	s, err := FindSwitch(days, SwitchOptions{})
	if err != nil {
		return err
	}
	tally("change found", ChangePointMethod, 1, found(s), found(s))
	if s.Found {
		tally("first whole day, where found", ChangePointMethod, 20000+float64(at), float64(s.First), float64(s.Last))
		tally("ratio after/before, where found", ChangePointMethod, ratio, s.Ratio.Lower, s.Ratio.Upper)
	}
	return nil
}

// unchanged is a series with no change: held is that none is found.
func unchanged(m madeSeries, n int) pooledSetting {
	return pooledSetting{fmt.Sprintf("no change in %d days, %s", n, m.name), func(rng *rand.Rand, tally func(quantity, method string, truth, lower, upper float64)) error {
		var days []Day
		for i, v := range m.draw(rng, n) {
			days = append(days, Day{Day: 20000 + i, Mean: 300 * math.Exp(spreadOfDays*v)})
		}
		s, err := FindSwitch(days, SwitchOptions{})
		if err != nil {
			return err
		}
		tally("no change found", ChangePointMethod, 0, found(s), found(s))
		return nil
	}}
}

// changed is a series whose level falls to a ratio on a day that may be any but for the
// ten at either end. The day of the change itself lies between the two levels.
func changed(m madeSeries, n int, ratio float64) pooledSetting {
	return pooledSetting{fmt.Sprintf("×%g in %d days, %s", ratio, n, m.name), func(rng *rand.Rand, tally func(quantity, method string, truth, lower, upper float64)) error {
		at := 10 + rng.IntN(n-20) // the first whole day on the new level
		part := rng.Float64()
		var days []Day
		for i, v := range m.draw(rng, n) {
			c := 300 * math.Exp(spreadOfDays*v)
			switch {
			case i >= at:
				c *= ratio
			case i == at-1:
				c *= part + (1-part)*ratio
			}
			days = append(days, Day{Day: 20000 + i, Mean: c})
		}
		return tallySwitch(tally, days, at, ratio)
	}}
}
