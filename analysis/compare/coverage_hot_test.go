package compare

import (
	"fmt"
	"math"
	"strings"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/internal/numeric"
)

// Homes chosen for a high test before: so many districts, homes and tests of each.
// How homes of a district compare hangs on its weather, so districts count for more
// than homes.
const (
	hotTitle     = "Homes chosen for a high test before"
	hotDistricts = 20
)

const hotIntroduction = `
## ` + hotTitle + `

Who gets a fan is who had a high test, and a test that is high is on average higher than its year. Tests as above of %d districts (%d to %d), those alone
whose raw mean before is at least %g Bq/m³. Area prior: the GM and GSD of the true annual means of the district's homes without a fan. Second test alone: chosen by one
test before and compared by another, later one, not looked at in choosing; both: by the two together. Mean ln error: of ln ratio; below 0 the reduction is
overstated. Wrong: as above. Homes have several tests each, and a district
has one weather, so a row of 800 has a standard error of 1 %% or more, and of the mean ln error of 0.03 or so.

| profile | homes | tests | held %% | under %% | over %% | mean ln error | error over raw's | called reduced %% | wrong %% |
|---|---|---|---|---|---|---|---|---|---|
`

// hotArms are what is known beside the tests.
var hotArms = []string{"built-in", "built-in, area prior", "neighbours", "neighbours, area prior"}

const (
	hotSecond = "second test alone"
	hotBoth   = "both tests before"
)

// hotTest says whether a home's test before is one that a system is installed for.
func hotTest(f fanned) bool { return annual.RawMean(f.home.Without) >= annual.DefaultLevel }

// districtPrior is the GM and GSD of the true annual means of a district's homes.
func districtPrior(homes []fanned, tests int) *annual.Prior {
	logs := make([]float64, len(homes)/tests)
	numeric.Each(len(logs), func(i int) {
		f := homes[i*tests]
		from := f.home.Switched.AddDate(0, 0, -182)
		logs[i] = math.Log(f.without(from, from.AddDate(1, 0, 0)))
	})
	m, v := 0.0, 0.0
	for _, x := range logs {
		m += x / float64(len(logs))
	}
	for _, x := range logs {
		v += (x - m) * (x - m) / float64(len(logs)-1)
	}
	return &annual.Prior{GM: math.Exp(m), GSD: math.Exp(math.Sqrt(v))}
}

// secondTests are those of homes whose test before, which ended before this one began,
// was high: to be compared by themselves, and together with that one.
func secondTests(homes []fanned, tests int) (alone, both []fanned) {
	for i := 0; i < len(homes); i += tests {
		for _, first := range homes[i : i+tests] {
			if !hotTest(first) {
				continue
			}
			var second *fanned
			for k, f := range homes[i : i+tests] {
				if !f.home.Without[0].Start().Before(first.home.Without[0].End()) && (second == nil || f.home.Switched.Before(second.home.Switched)) {
					second = &homes[i+k]
				}
			}
			if second == nil {
				continue
			}
			alone = append(alone, *second)
			two := *second
			two.home.Without = []analysis.Series{first.home.Without[0], second.home.Without[0]}
			both = append(both, two)
		}
	}
	return alone, both
}

// hotTable judges the homes that are chosen for their test before.
func hotTable(districts int) string {
	var b strings.Builder
	fmt.Fprintf(&b, hotIntroduction, districts, firstDistrict, firstDistrict+districts-1, annual.DefaultLevel)
	type key struct {
		arm  string
		work bool
	}
	all := map[key][]comparedHome{}
	var days = map[bool][]int{}
	for k := range districts {
		seed := uint64(firstDistrict + k)
		neighbours := armOptions("neighbours", seed)
		for _, work := range []bool{true, false} {
			cut := 0.0
			if work {
				cut = -1
			}
			homes := fannedHomes(seed, homesEach, testsEach, cut)
			prior := districtPrior(homes, testsEach)
			var hot []fanned
			for _, f := range homes {
				if hotTest(f) {
					hot = append(hot, f)
					days[work] = append(days[work], f.daysBefore)
				}
			}
			add := func(arm string, of []fanned, opt Options) {
				all[key{arm, work}] = append(all[key{arm, work}], compareAll(of, opt)...)
			}
			for _, arm := range hotArms {
				opt := Options{}
				if strings.HasPrefix(arm, "neighbours") {
					opt = neighbours
				}
				if strings.HasSuffix(arm, "prior") {
					opt.AreaPrior = prior
				}
				add(arm, hot, opt)
			}
			alone, both := secondTests(homes, testsEach)
			add(hotSecond, alone, Options{})
			add(hotBoth, both, Options{})
		}
	}
	row := func(arm, name string, work bool, of func(i int) bool) {
		var cs []comparedHome
		bias := 0.0
		for i, c := range all[key{arm, work}] {
			if of(i) {
				cs = append(cs, c)
				bias += c.err
			}
		}
		if arm == hotSecond || arm == hotBoth {
			arm = "built-in, " + arm
		}
		r := summarise(name, cs)
		fmt.Fprintf(&b, "| %s | %s | %d | %.1f | %.1f | %.1f | %.2f | %.2f | %.1f | %.1f |\n", arm, name, r.tests, 100*r.held, 100*r.under, 100*r.over, bias/float64(r.tests), r.error/r.rawError, 100*r.reduced, 100*r.wrong)
	}
	for _, arm := range append(hotArms, hotSecond, hotBoth) {
		for _, work := range []bool{true, false} {
			name := "all fans"
			if !work {
				name = nothingDone
			}
			row(arm, name, work, func(int) bool { return true })
			if arm != "built-in" && arm != "neighbours" {
				continue
			}
			for _, n := range [][2]int{{10, 20}, {30, 60}, {90, 130}} {
				row(arm, fmt.Sprintf("%s, %d to %d days before", name, n[0], n[1]), work, func(i int) bool { return days[work][i] >= n[0] && days[work][i] <= n[1] })
			}
		}
	}
	return b.String()
}

// hotRow is a line of that table.
type hotRow struct{ tests, held, under, over, bias, error, reduced, wrong float64 }

func readHot(text string) map[string]hotRow {
	rows := map[string]hotRow{}
	for line := range strings.Lines(text) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "| "), " | ")
		if len(cells) != 10 {
			continue
		}
		var r hotRow
		if k, _ := fmt.Sscan(strings.Join(cells[2:], " "), &r.tests, &r.held, &r.under, &r.over, &r.bias, &r.error, &r.reduced, &r.wrong); k == 8 {
			rows[cells[0]+" | "+cells[1]] = r
		}
	}
	return rows
}

// checkHot holds the table to Compare's own words: without an area prior the reduction of
// homes chosen for a high test is overstated, and an area prior, or a second test by itself,
// takes that away.
func checkHot(t *testing.T, text string) {
	rows := readHot(partOf(text, hotTitle))
	if len(rows) != 24 {
		t.Fatalf("%d rows of homes chosen for a high test", len(rows))
	}
	for key, r := range rows {
		arm, name, _ := strings.Cut(key, " | ")
		whole, prior := !strings.Contains(name, "days before"), strings.HasSuffix(arm, "prior")
		low, high, reduced, wrong := 92.0, 98.0, 5.5, 10.0
		if !whole { // of under 300 tests
			low, high, reduced, wrong = 90, 99.5, 8, 12
		}
		if strings.HasPrefix(name, "all fans") {
			reduced, wrong = 100, 2
		}
		if r.held < low || r.held > high || r.wrong > wrong || r.reduced > reduced {
			t.Errorf("%s: held %.1f, called reduced %.1f, wrong %.1f", key, r.held, r.reduced, r.wrong)
		}
		switch {
		case prior && (math.Abs(r.bias) > 0.06 || r.error >= rows[strings.TrimSuffix(arm, ", area prior")+" | "+name].error):
			t.Errorf("%s: an area prior leaves %.2f, and an error of %.2f", key, r.bias, r.error)
		case !prior && (r.bias > -0.06 || r.bias < -0.28): // as Compare says, and the note high-first-test rests on it
			t.Errorf("%s: a mean ln error of %.2f", key, r.bias)
		}
	}
	fans, none := rows["built-in | all fans"], rows["built-in | "+nothingDone]
	months := [2]hotRow{rows["built-in | all fans, 90 to 130 days before"], rows["built-in | "+nothingDone+", 90 to 130 days before"]}
	least, most := 0.0, -1.0
	for _, arm := range []string{hotSecond, hotBoth} {
		for _, name := range []string{"all fans", nothingDone} {
			bias := rows["built-in, "+arm+" | "+name].bias
			least, most = min(least, bias), max(most, bias)
		}
	}
	prior := [2]hotRow{rows["built-in, area prior | all fans"], rows["built-in, area prior | "+nothingDone]}
	for _, said := range []string{
		fmt.Sprintf("too low by %.2f on average with a fan and by %.2f where no work was done, of which %.1f %% are called reduced", -fans.bias, -none.bias, none.reduced),
		fmt.Sprintf("after 90 to 130 days by %.2f and %.2f", -months[0].bias, -months[1].bias),
		fmt.Sprintf("a second test before, alone or beside the first, leaves it at %.2f to %.2f", -most, -least),
		fmt.Sprintf("with the area's own AreaPrior it is %.2f and %.2f, and %.1f %% are called reduced", -prior[0].bias, -prior[1].bias, prior[1].reduced),
	} {
		if !strings.Contains(compareMethods[0].Interval, said) {
			t.Errorf("Compare does not say %q", said)
		}
	}
}
