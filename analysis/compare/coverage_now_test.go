package compare

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/internal/numeric"
	"radonyear/testdata/scenario"
)

// nowTitle is the heading of nowTable's part of the page.
const nowTitle = "The home as it is now"

const nowIntroduction = `
## ` + nowTitle + `

Homes of these districts with a test of 30 to 130 days before a fan, one of 30 days after it, and a later one 400 to 500 days after the switch, with the
built-in profile; fans of 60 to 99 %%, and in a quarter of the homes none. Held: intervals of the annual mean as it is now that held the mean of its own twelve months, around the later
test. Width: mean half-width of its ln over 1.96 times the error. Wrong: of the conclusive verdicts on %g Bq/m³.

| later test | homes | held %% | error of ln mean | width | conclusive %% | wrong %% |
|---|---|---|---|---|---|---|
`

// nowLevel is one that fans bring homes near to, in Bq/m³; nowHomes are made of each district.
const (
	nowLevel = 100.0
	nowHomes = 200
)

// retested is a home measured again long after its fan.
type retested struct {
	home Home
	days int
	fan  *scenario.Home
}

func retestedHomes(seed uint64, n int) []retested {
	d := scenario.NewDistrict(seed, scenario.Options{Days: simSpan, Homes: n})
	monitor := scenario.HomeMonitor()
	out := make([]retested, n)
	numeric.Each(n, func(i int) {
		rng := rand.New(rand.NewPCG(seed, uint64(i)+1e6))
		cut := 0.6 + 0.39*rng.Float64()
		if i%4 == 0 {
			cut = 0
		}
		h := d.Home(i)
		fan := h.WithFan(scenario.Fan{From: d.Start().AddDate(0, 0, -100), Cut: cut})
		pick := func(of ...int) int { return of[rng.IntN(len(of))] }
		before, later := pick(30, 60, 90, 130), pick(5, 10, 20, 30, 60, 90, 125)
		on := d.Start().AddDate(0, 0, 140+rng.IntN(180))
		series := func(h *scenario.Home, from, days int) analysis.Series {
			return seriesOf(h.DayMeans(scenario.Living, on.AddDate(0, 0, from), days, &monitor, i+1))
		}
		out[i] = retested{Home{
			Without:  []analysis.Series{series(h, -before, before)},
			With:     []analysis.Series{series(fan, 2, 30), series(fan, 400+rng.IntN(101), later)},
			Switched: on}, later, fan}
	})
	return out
}

// nowTable judges what is said of now.
func nowTable() string {
	type sums struct{ n, held, err, half, told, wrong float64 }
	rows := make([]sums, 3)
	for k := range uint64(districts) {
		all := retestedHomes(firstDistrict+k, nowHomes)
		results := make([]Result, len(all))
		numeric.Each(len(all), func(i int) {
			r, err := Compare(all[i].home, Options{Levels: []float64{nowLevel}})
			if err != nil {
				panic(err)
			}
			results[i] = r
		})
		for i, r := range results {
			if r.Now == nil {
				panic("a later test that nothing is said of")
			}
			row := &rows[slices.IndexFunc([]int{10, 30, 125}, func(most int) bool { return all[i].days <= most })]
			truth, e := all[i].fan.Mean(scenario.Living, r.Now.YearStart, r.Now.YearEnd), r.Now.AnnualMean
			row.n++
			if e.Lower <= truth && truth <= e.Upper {
				row.held++
			}
			row.err += math.Pow(math.Log(e.Value/truth), 2)
			row.half += math.Log(e.Upper/e.Lower) / 2
			if v := r.Below[0].Verdict; v != annual.NotConclusive {
				row.told++
				if (v == annual.Below) != (truth < nowLevel) {
					row.wrong++
				}
			}
		}
	}
	var b strings.Builder
	fmt.Fprintf(&b, nowIntroduction, nowLevel)
	for i, name := range []string{"5 to 10 days", "20 to 30 days", "60 to 125 days"} {
		r := rows[i]
		off := math.Sqrt(r.err / r.n)
		fmt.Fprintf(&b, "| %s | %.0f | %.1f | %.3f | %.2f | %.1f | %.1f |\n", name, r.n, 100*r.held/r.n, off, r.half/r.n/1.959964/off, 100*r.told/r.n, 100*r.wrong/max(1, r.told))
	}
	return b.String()
}

// checkNow holds that part of the page to what is asked, and returns the least and the most
// that is held, in percent.
func checkNow(t *testing.T, page string) (least, most float64) {
	least = 100
	rows := 0
	for line := range strings.Lines(partOf(page, nowTitle)) {
		var n, held, off, width, told, wrong float64
		cells := strings.Split(strings.Trim(strings.TrimSpace(line), "| "), " | ")
		if len(cells) != 7 {
			continue
		}
		if k, _ := fmt.Sscan(strings.Join(cells[1:], " "), &n, &held, &off, &width, &told, &wrong); k != 6 {
			continue
		}
		rows++
		least, most = min(least, held), max(most, held)
		if n < 400 || held < 92.5 || held > 98 || width < 0.9 || width > 1.2 || wrong > 5 || told < 50 {
			t.Errorf("as it is now: %s", line)
		}
	}
	if rows != 3 {
		t.Errorf("%d rows of homes as they are now", rows)
	}
	return least, most
}
