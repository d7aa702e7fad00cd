package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/temporal"
	"radonyear/testdata/scenario"
)

// What the second part of COVERAGE-homes.md is of: the first test of each of those
// homes, so many homes of each district for the shares, and so many monitors through a
// switch that nobody wrote down.
const (
	shareHomes = 300
	shareDraws = 50
	foundHomes = 30
)

const meansIntroduction = `
## The annual means, and what could be done by hand

The first test of each home above. Without and with: intervals of either annual mean that held it. Raw, by hand: errors of ln ratio over those of the
ratio of the raw means; by hand each raw mean is divided by what the profile's mean cycle makes of its days, with the system of a third of it. The
cycle of a profile from neighbours is their own, and the weather of those days is no part of it.

| profile | homes | tests | without held % | with held % | error over raw's | by hand over raw's |
|---|---|---|---|---|---|---|
`

// meansTable judges the annual means of either side, and the error beside that of a
// plain correction.
func meansTable() string {
	var b strings.Builder
	b.WriteString(meansIntroduction)
	for _, arm := range arms {
		var fans, none []comparedHome
		var cuts []float64
		for k := range districts {
			seed := uint64(firstDistrict + k)
			opt := armOptions(arm, seed)
			made := fannedHomes(seed, homesEach, 1, -1)
			for _, f := range made {
				cuts = append(cuts, f.cut)
			}
			fans = append(fans, compareAll(made, opt)...)
			none = append(none, compareAll(fannedHomes(seed, homesEach, 1, 0), opt)...)
		}
		row := func(name string, all []comparedHome, of func(i int) bool) {
			var n, held, heldWith, e, raw, plain float64
			for i, c := range all {
				if !of(i) {
					continue
				}
				n++
				if c.held[0] {
					held++
				}
				if c.held[1] {
					heldWith++
				}
				e, raw, plain = e+c.err*c.err, raw+c.rawErr*c.rawErr, plain+c.plainErr*c.plainErr
			}
			fmt.Fprintf(&b, "| %s | %s | %.0f | %.1f | %.1f | %.2f | %.2f |\n", arm, name, n, 100*held/n, 100*heldWith/n, math.Sqrt(e/raw), math.Sqrt(plain/raw))
		}
		row("all fans", fans, func(int) bool { return true })
		for _, c := range [][2]float64{{0.6, 0.75}, {0.75, 0.9}, {0.9, 1}} {
			row(fmt.Sprintf("fans of %.0f to %.0f %%", 100*c[0], 100*math.Min(c[1], 0.99)), fans, func(i int) bool { return cuts[i] >= c[0] && cuts[i] < c[1] })
		}
		row("no work done", none, func(int) bool { return true })
	}
	return b.String()
}

const sharesIntroduction = `
## The share of homes now below a level

ShareBelow on %d draws of so many homes from 60 measured ones of these districts, with the built-in profile: how many annual means with the system are
estimated to be below the level, against the share of the district's %d homes that are. The interval is that of so many homes drawn, each known to be below or
not; that homes are estimated is not in it.

| level, Bq/m³ | homes | held %% | mean estimate %% | mean share %% |
|---|---|---|---|---|
`

func sharesTable() string {
	var b strings.Builder
	fmt.Fprintf(&b, sharesIntroduction, districts*shareDraws, shareHomes)
	levels := []float64{50, 100, 200}
	type sums struct{ held, estimate, truth, n float64 }
	rows := map[[2]float64]*sums{}
	for k := range districts {
		seed := uint64(firstDistrict + k)
		fans := fannedHomes(seed, shareHomes, 1, -1)
		all := compareAll(fans[:homesEach], Options{})
		truths := make([]float64, len(fans))
		numeric.Each(len(fans), func(i int) {
			from := fans[i].home.Switched.AddDate(0, 0, -182)
			truths[i] = fans[i].with(from, from.AddDate(1, 0, 0))
		})
		rng := rand.New(rand.NewPCG(seed, 7))
		for range shareDraws {
			order := rng.Perm(len(all))
			for _, level := range levels {
				share := 0.0
				for _, t := range truths {
					if t < level {
						share += 100 / float64(len(truths))
					}
				}
				for _, n := range []int{10, 30} {
					below := 0
					for _, i := range order[:n] {
						if all[i].result.With.AnnualMean.Value < level {
							below++
						}
					}
					e, err := ShareBelow(below, n, 0.95)
					if err != nil {
						panic(err)
					}
					key := [2]float64{level, float64(n)}
					if rows[key] == nil {
						rows[key] = &sums{}
					}
					r := rows[key]
					r.n++
					r.estimate, r.truth = r.estimate+e.Value, r.truth+share
					if e.Lower <= share && share <= e.Upper {
						r.held++
					}
				}
			}
		}
	}
	for _, level := range levels {
		for _, n := range []float64{10, 30} {
			r := rows[[2]float64{level, n}]
			fmt.Fprintf(&b, "| %g | %g | %.1f | %.1f | %.1f |\n", level, n, 100*r.held/r.n, r.estimate/r.n, r.truth/r.n)
		}
	}
	return b.String()
}

const foundIntroduction = `
## A switch that was looked for

A monitor stands 20 to 90 days on either side of a switch at noon of a day that nobody wrote down, in %d homes of each district, with the built-in profile.
FindSwitch looks for it in the days, and where a change is found, Compare takes the days before First less one and those after Last. Day held:
First to Last held the first whole day. Ratio held: of Compare, as above. Where nothing was done, found is found by mistake, and what is then compared are
days parted where they happen to differ most: a reduction is not shown by such a switch, unless somebody confirms its day.

| homes | series | found %% | day held %% | ratio held %% | mean ln error | called reduced %% |
|---|---|---|---|---|---|---|
`

// foundOf is what came of a monitor through a switch that was looked for.
type foundOf struct {
	found, dayHeld, ratioHeld, reduced bool
	err, cut                           float64
}

// lookedThrough makes so many homes of a district, each with a monitor through its
// switch, and looks for it. A cut of 0 is no work at all.
func lookedThrough(seed uint64, n int, cut float64) []foundOf {
	d := scenario.NewDistrict(seed, scenario.Options{Days: simSpan, Homes: n})
	monitor := scenario.HomeMonitor()
	out := make([]foundOf, n)
	numeric.Each(n, func(i int) {
		rng := rand.New(rand.NewPCG(seed, 100+uint64(i)))
		h := d.Home(i)
		f := &out[i]
		if f.cut = cut; cut < 0 {
			f.cut = 0.6 + 0.39*rng.Float64()
		}
		start := d.Start().AddDate(0, 0, 370+rng.IntN(365))
		before, after := 20+rng.IntN(71), 20+rng.IntN(71)
		on := start.AddDate(0, 0, before).Add(12 * time.Hour)
		fan, always := h.WithFan(scenario.Fan{From: on, Cut: f.cut}), h.WithFan(scenario.Fan{From: d.Start().AddDate(0, 0, -100), Cut: f.cut})
		s := seriesOf(fan.DayMeans(scenario.Living, start, before+1+after, &monitor, i+1))
		var days []Day
		var season []float64
		for _, r := range s.Readings() {
			at := temporal.Day(r.Start, time.UTC)
			days, season = append(days, Day{Day: at, Mean: r.Concentration}), append(season, temporal.BuiltIn(false).Season.At(at))
		}
		sw, err := FindSwitch(days, SwitchOptions{Season: season})
		if err != nil {
			panic(err)
		}
		if f.found = sw.Found; !sw.Found {
			return
		}
		first := temporal.Day(on, time.UTC) + 1
		f.dayHeld = sw.First <= first && first <= sw.Last
		part := func(of func(day int) bool) []analysis.Series {
			var rs []analysis.Reading
			for _, r := range s.Readings() {
				if of(temporal.Day(r.Start, time.UTC)) {
					rs = append(rs, r)
				}
			}
			x, err := analysis.NewSeries(s.Place, s.Zone, rs)
			if err != nil {
				panic(err)
			}
			return []analysis.Series{x}
		}
		r, err := Compare(Home{
			Without: part(func(day int) bool { return day < sw.First-1 }), With: part(func(day int) bool { return day > sw.Last }),
			Switched: temporal.Date(sw.Day, time.UTC)}, Options{})
		if err != nil {
			panic(err)
		}
		truth := math.Log(always.Mean(scenario.Living, r.YearStart, r.YearEnd) / h.Mean(scenario.Living, r.YearStart, r.YearEnd))
		f.err = r.LogRatio - truth
		f.ratioHeld = math.Log(r.Ratio.Lower) <= truth && truth <= math.Log(r.Ratio.Upper)
		f.reduced = r.Verdict == Reduced
	})
	return out
}

const nothingDone = "no work done"

func foundRow(name string, all []foundOf, of func(foundOf) bool) string {
	var n, found, day, ratio, err, reduced float64
	for _, f := range all {
		if !of(f) {
			continue
		}
		n++
		for _, x := range []struct {
			is bool
			to *float64
		}{{f.found, &found}, {f.dayHeld, &day}, {f.ratioHeld, &ratio}, {f.reduced, &reduced}} {
			if x.is {
				*x.to++
			}
		}
		err += f.err
	}
	if found == 0 {
		return fmt.Sprintf("| %s | %.0f | 0.0 | | | | |\n", name, n)
	}
	held := fmt.Sprintf("%.1f", 100*day/found)
	if name == nothingDone {
		held = "–" // there is no day
	}
	return fmt.Sprintf("| %s | %.0f | %.1f | %s | %.1f | %.2f | %.1f |\n", name, n, 100*found/n, held, 100*ratio/found, err/found, 100*reduced/found)
}

func foundTable() string {
	var b strings.Builder
	fmt.Fprintf(&b, foundIntroduction, foundHomes)
	var fans, none []foundOf
	for k := range districts {
		fans = append(fans, lookedThrough(uint64(firstDistrict+k), foundHomes, -1)...)
		none = append(none, lookedThrough(uint64(firstDistrict+k), foundHomes, 0)...)
	}
	b.WriteString(foundRow("all fans", fans, func(foundOf) bool { return true }))
	for _, c := range [][2]float64{{0.6, 0.75}, {0.75, 0.9}, {0.9, 1}} {
		b.WriteString(foundRow(fmt.Sprintf("fans of %.0f to %.0f %%", 100*c[0], 100*math.Min(c[1], 0.99)), fans, func(f foundOf) bool { return f.cut >= c[0] && f.cut < c[1] }))
	}
	b.WriteString(foundRow(nothingDone, none, func(foundOf) bool { return true }))
	return b.String()
}
