package compare

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"

	"radonyear/analysis"
)

// evenTitle is the heading of evenTable's part of the page.
const evenTitle = "Fans that leave the season as it is"

const evenIntroduction = `
## %s

Compare takes a fan to flatten the season, as those of the mass balance do. Here the days after are those of the homes with no work done, times what a fan of
60 to 99 %% leaves: nothing is flattened. Homes and tests as of the first parts, a test each. With: intervals of the annual mean with the system that held it.

| profile | homes | tests | held %% | under %% | over %% | error | over raw's | width | with held %% |
|---|---|---|---|---|---|---|---|---|---|
`

// evenTable judges homes whose fan multiplies every day's mean.
func evenTable() string {
	var b strings.Builder
	fmt.Fprintf(&b, evenIntroduction, evenTitle)
	for _, arm := range arms[:2] {
		var all []comparedHome
		for k := range uint64(districts) {
			seed := firstDistrict + k
			made := fannedHomes(seed, homesEach, 1, 0)
			rng := rand.New(rand.NewPCG(seed, 11))
			for i := range made {
				f := &made[i]
				f.left = 0.01 + 0.39*rng.Float64()
				rs := f.home.With[0].Readings()
				for j := range rs {
					rs[j].Concentration *= f.left
				}
				s, err := analysis.NewSeries(f.home.With[0].Place, f.home.With[0].Zone, rs)
				if err != nil {
					panic(err)
				}
				f.home.With = []analysis.Series{s}
			}
			all = append(all, compareAll(made, armOptions(arm, seed))...)
		}
		r, with := summarise("all fans", all), 0.0
		for _, c := range all {
			if c.held[1] {
				with += 100 / float64(len(all))
			}
		}
		fmt.Fprintf(&b, "| %s | %s | %d | %.1f | %.1f | %.1f | %.3f | %.2f | %.2f | %.1f |\n", arm, r.name, r.tests, 100*r.held, 100*r.under, 100*r.over, r.error, r.error/r.rawError, r.width, with)
	}
	return b.String()
}

// checkEven holds Compare's doc comment to that part of the page.
func checkEven(t *testing.T, page string) {
	rows := map[string][2]float64{} // held of the ratio and of the mean with the fan, %
	for line := range strings.Lines(partOf(page, evenTitle)) {
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "| "), " | ")
		if len(cells) != 10 || cells[1] != "all fans" {
			continue
		}
		var x [8]float64
		if k, _ := fmt.Sscan(strings.Join(cells[2:], " "), &x[0], &x[1], &x[2], &x[3], &x[4], &x[5], &x[6], &x[7]); k == 8 {
			rows[cells[0]] = [2]float64{x[1], x[7]}
		}
	}
	b, n := rows["built-in"], rows["neighbours"]
	if said := fmt.Sprintf("where a fan leaves the season as it is, the interval of the ratio asked for 95 %% holds %.1f %% by the built-in profile and %.1f %% by neighbours, and that of the annual mean with it %.1f and %.1f %%", b[0], n[0], b[1], n[1]); !strings.Contains(compareMethods[0].Assumes, said) {
		t.Errorf("Compare does not say %q", said)
	}
}
