package plan

import (
	"flag"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/compare"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/lognormal"
	"radonyear/testdata/scenario"
)

var update = flag.Bool("update", false, "write COVERAGE.md anew")

const (
	published = 4000 // trials of a row that is drawn from the plan's own assumptions
	districts = 4    // of the mass balance
	homesEach = 60
)

// promise is what a plan says of a setting, and how a trial of it is drawn.
type promise struct {
	question, setting, what string
	planned                 float64
	trial                   func(rng *rand.Rand) bool
}

const coverageHead = "| Question | Setting | Of trials | Planned % | Found % | Trials |\n|:--|:--|:--|--:|--:|--:|\n"

func intro() string {
	return fmt.Sprintf("What a plan promises, and how often it came true.\n\n"+
		"The first table draws %d surveys of a planned size and takes the interval that this program gives of each: homes of a share, of clusters (five homes each, so alike that the design effect is 2) and of few dwellings (drawn without putting back), log-normal homes, effects of systems that share an error. \"Width\": the interval is no wider than asked; \"held\": it holds the truth; the rest is in the words of the plan.\n\n"+
		"The second asks homes of a mass balance of room air, %d districts of %d homes with weather of their own, which obey no profile: a monitor stood in the living room from the first of January, April, July and October on, and in a home with a fan that stops 85 %% of the entry for as long again; the plan, made with the built-in profile, is the mean of those months'. Homes of a district share its weather, so that so many tests are worth fewer than as many separate ones. A home's own distance from the level, or its own ratio, is the one planned for. Made by `go test -run TestCoverage ./analysis/plan -args -update`.\n\n", published, districts, homesEach)
}

// promises are those of the first table.
func promises(t *testing.T) (all []promise) {
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	add := func(question, setting, what string, planned float64, trial func(rng *rand.Rand) bool) {
		all = append(all, promise{question, setting, what, planned, trial})
	}
	// Shares.
	for _, c := range []struct {
		p, d      float64
		dwellings int
		deff      float64
	}{{0.1, 0.05, 0, 1}, {0.3, 0.1, 0, 1}, {0.02, 0.02, 0, 1}, {0.2, 0.05, 400, 1}, {0.3, 0.1, 0, 2}} {
		o := ShareOptions{Share: c.p, Margin: c.d, Sampling: Sampling{Dwellings: c.dwellings, DesignEffect: c.deff}}
		r, err := Share(o)
		must(err)
		o = r.Options
		a := r.Answers[2]
		n, worth, z := a.Homes, o.worth(float64(a.Homes)), zHalf(r.Each)
		setting := fmt.Sprintf("%g %% within %g, %d homes", 100*c.p, 100*c.d, n)
		drawn := func(rng *rand.Rand) (x int) {
			for range n {
				if rng.Float64() < c.p {
					x++
				}
			}
			return x
		}
		switch {
		case c.dwellings > 0:
			setting += fmt.Sprintf(" of %d dwellings", c.dwellings)
			drawn = func(rng *rand.Rand) (x int) {
				above := int(math.Round(c.p * float64(c.dwellings)))
				for i := range n {
					if rng.IntN(c.dwellings-i) < above-x {
						x++
					}
				}
				return x
			}
		case c.deff > 1:
			setting += " in clusters"
			const b = 5 // homes a cluster; their correlation ρ makes D = 1 + (b − 1)ρ
			rho := (c.deff - 1) / (b - 1)
			drawn = func(rng *rand.Rand) (x int) {
				for i := 0; i < n; {
					like := rng.Float64() < c.p
					for range b {
						// With √ρ a home is as its cluster, else as any: two of a cluster are correlated by ρ.
						one := rng.Float64() < c.p
						if rng.Float64() < math.Sqrt(rho) {
							one = like
						}
						if i++; one && i <= n {
							x++
						}
					}
				}
				return x
			}
		}
		interval := func(x int) (l, u float64) {
			if worth == float64(n) {
				return wilson(x, n, r.Each)
			}
			y := float64(x) * worth / float64(n)
			mid, half := (y+z*z/2)/(worth+z*z), halfWidth(y, worth, z)
			return mid - half, mid + half
		}
		add("share", setting, "width", a.Within, func(rng *rand.Rand) bool { l, u := interval(drawn(rng)); return (u-l)/2 <= c.d+1e-12 })
		add("share", setting, "held", a.Coverage, func(rng *rand.Rand) bool { l, u := interval(drawn(rng)); return l <= c.p && c.p <= u })
	}
	// All of twelve areas at once.
	for _, how := range []string{Bonferroni, Sidak} {
		r, err := Share(ShareOptions{Share: 0.1, Margin: 0.08, Sampling: Sampling{Areas: 12, Simultaneous: how}})
		must(err)
		a := r.Answers[2]
		add("share", fmt.Sprintf("10 %% within 8, %d homes in each of 12 areas, %s", a.Homes, how), "held in all", math.Pow(a.Coverage, 12), func(rng *rand.Rand) bool {
			for range 12 {
				x := 0
				for range a.Homes {
					if rng.Float64() < 0.1 {
						x++
					}
				}
				if l, u := wilson(x, a.Homes, r.Each); l > 0.1 || u < 0.1 {
					return false
				}
			}
			return true
		})
	}
	// Means.
	for _, c := range []struct {
		name        string
		ask         func(MeanOptions) (MeanPlan, error)
		gsd, margin float64
	}{{"gm", GeometricMean, 2.5, 0.2}, {"gm", GeometricMean, 3, 0.5}, {"mean", Mean, 2, 0.5}, {"mean", Mean, 2.5, 0.3}} {
		r, err := c.ask(MeanOptions{GSD: c.gsd, Margin: c.margin})
		must(err)
		a, sigma := r.Answers[2], math.Log(c.gsd)
		interval := func(rng *rand.Rand) analysis.Estimate {
			logs := make([]float64, a.Homes)
			for i := range logs {
				logs[i] = sigma * rng.NormFloat64()
			}
			m, sd := numeric.Moments(logs)
			s, err := lognormal.FromLogs(a.Homes, m, sd)
			must(err)
			if c.name == "gm" {
				e, err := lognormal.GeometricMean(s, lognormal.Options{})
				must(err)
				return e
			}
			e, err := lognormal.Mean(s, lognormal.MeanOptions{})
			must(err)
			return e.Mean
		}
		truth := 1.0
		if c.name == "mean" {
			truth = math.Exp(sigma * sigma / 2)
		}
		setting := fmt.Sprintf("GSD %g, factor %g, %d homes", c.gsd, 1+c.margin, a.Homes)
		add(c.name, setting, "width", a.Within, func(rng *rand.Rand) bool { return factorOf(interval(rng)) <= 1+c.margin })
		add(c.name, setting, "held", 0.95, func(rng *rand.Rand) bool { e := interval(rng); return e.Lower <= truth && truth <= e.Upper })
	}
	// Systems in a neighbourhood, joined as radonyear compare joins them.
	for _, o := range []ReductionOptions{{Reduction: 0.8, AtLeast: 0.5, Homes: 10}, {Reduction: 0.6, DaysBefore: 30, DaysAfter: 30, Between: 0.4, Homes: 5}, {Reduction: 0.7, AtLeast: 0.5, DaysBefore: 90, DaysAfter: 90, Between: 0.5, Homes: 20}} {
		must(o.check())
		r, err := Reduction(o)
		must(err)
		home, err := o.compare(o.DaysBefore, o.DaysAfter)
		must(err)
		h := o.neighbourhood(home)
		a := r.Answers[len(r.Answers)-1]
		add("reduction", fmt.Sprintf("%g %%, more than %g, %d homes of %d days", 100*o.Reduction, 100*o.AtLeast, a.Homes, o.DaysBefore), "shown", a.Power, func(rng *rand.Rand) bool {
			effects := make([]compare.Effect, a.Homes)
			shared := math.Sqrt(h.common) * rng.NormFloat64()
			for i := range effects {
				effects[i] = compare.Effect{Home: strconv.Itoa(i), SD: math.Sqrt(h.own), Log: h.theta + shared + math.Sqrt(h.own+h.spread)*rng.NormFloat64()}
			}
			p, err := compare.Pool(effects, compare.PoolOptions{Common: h.common})
			must(err)
			return math.Log(p.Ratio.Upper) < h.shown
		})
	}
	// Hot areas.
	for _, o := range []HotOptions{{Normal: 0.1, Hot: 0.3}, {Normal: 0.05, Hot: 0.25, Areas: 20}, {Normal: 0.05, Hot: 0.25, Areas: 20, Simultaneous: Sidak}} {
		r, err := Hot(o)
		must(err)
		a, k := r.Answers[1], max(1, o.Areas)
		flagged := func(rng *rand.Rand, p float64) bool {
			x := 0
			for range a.Homes {
				if rng.Float64() < p {
					x++
				}
			}
			return x >= a.Flag
		}
		setting := strings.TrimSuffix(fmt.Sprintf("%g against %g %%, %d homes, areas: %d, %s", 100*o.Hot, 100*o.Normal, a.Homes, k, o.Simultaneous), ", ")
		add("hot", setting, "hot one flagged", a.Power, func(rng *rand.Rand) bool { return flagged(rng, o.Hot) })
		add("hot", setting, "a normal one flagged", -math.Expm1(float64(k)*math.Log1p(-a.False)), func(rng *rand.Rand) bool {
			for range k {
				if flagged(rng, o.Normal) {
					return true
				}
			}
			return false
		})
	}
	for _, o := range []FindOptions{{Units: 20, Above: 2}, {Units: 120, Share: 0.05}, {Share: 0.1}} {
		r, err := Find(o)
		must(err)
		a := r.Answers[1]
		setting := fmt.Sprintf("%d homes of very many, %g %% above", a.Homes, 100*o.Share)
		if o.Units > 0 {
			setting = fmt.Sprintf("%d homes of %d, %d above", a.Homes, o.Units, r.Above)
		}
		add("find", setting, "found", a.Chance, func(rng *rand.Rand) bool {
			for i := range a.Homes {
				if o.Units > 0 && rng.IntN(o.Units-i) < r.Above || o.Units == 0 && rng.Float64() < o.Share {
					return true
				}
			}
			return false
		})
	}
	return all
}

// found counts trials of a promise; the same trials give the same count.
func (p promise) found(trials int) int {
	key := uint64(14695981039346656037)
	for _, b := range []byte(p.question + p.setting + p.what) {
		key = (key ^ uint64(b)) * 1099511628211
	}
	rng := rand.New(rand.NewPCG(key, 7))
	hits := 0
	for range trials {
		if p.trial(rng) {
			hits++
		}
	}
	return hits
}

func (p promise) key() string { return p.question + " | " + p.setting + " | " + p.what }

func coverageLine(key string, planned, found float64, trials int) string {
	return fmt.Sprintf("| %s | %.1f | %.1f | %d |\n", key, 100*planned, 100*found, trials)
}

// balance are homes of the mass balance tested for so many days.
type balance struct {
	key            string
	planned, found float64
	trials         int
}

const balanceSpan = 800

// massBalance counts how often tests in homes of the mass balance settle what the plan says.
func massBalance(t *testing.T, districts, homes int) []balance {
	months := []time.Month{time.January, time.April, time.July, time.October}
	lengths := []int{7, 30, 90}
	ratios := []float64{0.5, 0.7, 2} // of the home's mean to the level
	const cut = 0.85
	steps := [][2]float64{{0.8, 0.5}, {0.7, 0}} // expected and to be shown
	type key struct{ days, which int }
	right, wrong, tests := map[key]int{}, map[key]int{}, map[int]int{}
	shown, fans := map[key]int{}, map[int]int{}
	monitor := scenario.HomeMonitor()
	read := func(h *scenario.Home, from time.Time, days, unit int) ([]analysis.Series, bool) {
		var rs []analysis.Reading
		for _, d := range h.DayMeans(scenario.Living, from, days, &monitor, unit) {
			rs = append(rs, analysis.Reading{Start: d.Start, End: d.Start.AddDate(0, 0, 1), Concentration: d.Value, Share: d.Hours / 24})
		}
		s, err := analysis.NewSeries(analysis.Place{Home: "home", Room: "living", Detector: "monitor"}, time.UTC, rs)
		return []analysis.Series{s}, err == nil
	}
	type seen struct {
		days          int
		m, s, truth   float64
		upper, actual float64 // of a fan: ln of the upper limit and of the true ratio
		fan           bool
	}
	for k := range districts {
		d := scenario.NewDistrict(uint64(500+k), scenario.Options{Days: balanceSpan, Homes: homes})
		all := make([][]seen, homes)
		numeric.Each(homes, func(i int) {
			h := d.Home(i)
			month := months[i%len(months)]
			from := d.Start().AddDate(0, 0, 200)
			for from.Month() != month || from.Day() != 1 {
				from = from.AddDate(0, 0, 1)
			}
			always := h.WithFan(scenario.Fan{From: d.Start(), Cut: cut})
			for _, days := range lengths {
				before, ok := read(h, from, days, i+1)
				if !ok {
					continue
				}
				r, err := annual.Estimate(before, annual.Options{})
				if err != nil {
					t.Error(err)
					continue
				}
				all[i] = append(all[i], seen{days: days, m: r.LogMedian, s: r.LogSpread, truth: math.Log(h.Mean(scenario.Living, r.YearStart, r.YearEnd))})
				switched := from.AddDate(0, 0, days)
				after, ok := read(h.WithFan(scenario.Fan{From: switched, Cut: cut}), switched.AddDate(0, 0, 2), days, i+1)
				if !ok {
					continue
				}
				c, err := compare.Compare(compare.Home{Without: before, With: after, Switched: switched}, compare.Options{})
				if err != nil {
					t.Error(err)
					continue
				}
				all[i] = append(all[i], seen{days: days, fan: true, upper: math.Log(c.Ratio.Upper),
					actual: math.Log(always.Mean(scenario.Living, c.YearStart, c.YearEnd) / h.Mean(scenario.Living, c.YearStart, c.YearEnd))})
			}
		})
		for _, x := range slices.Concat(all...) {
			if x.fan {
				fans[x.days]++
				for j, e := range steps {
					if x.upper < x.actual+math.Log((1-e[1])/(1-e[0])) {
						shown[key{x.days, j}]++
					}
				}
				continue
			}
			tests[x.days]++
			for j, ratio := range ratios {
				v := annual.Hold(x.m, x.s, math.Exp(x.truth)/ratio, 0.95).Verdict
				above := ratio > 1
				switch {
				case v == annual.NotConclusive:
				case (v == annual.Above) == above:
					right[key{x.days, j}]++
				default:
					wrong[key{x.days, j}]++
				}
			}
		}
	}
	var out []balance
	for j, ratio := range ratios {
		var plans []DaysPlan
		for _, m := range months {
			plan, err := Days(DaysOptions{Options: annual.Options{Levels: []float64{200}}, Expected: 200 * ratio, Month: m})
			if err != nil {
				t.Fatal(err)
			}
			plans = append(plans, plan)
		}
		for _, days := range lengths {
			p, q := 0.0, 0.0
			for _, plan := range plans {
				i := slices.IndexFunc(plan.Lengths, func(v Verdicts) bool { return v.Days == days })
				p += plan.Lengths[i].Right / float64(len(months))
				q += plan.Lengths[i].Wrong / float64(len(months))
			}
			name := fmt.Sprintf("days | %d days, home at %g of the level | ", days, ratio)
			n := tests[days]
			out = append(out, balance{name + "right", p, float64(right[key{days, j}]) / float64(n), n}, balance{name + "wrong", q, float64(wrong[key{days, j}]) / float64(n), n})
		}
	}
	for j, e := range steps {
		for _, days := range lengths {
			p := 0.0
			for _, m := range months {
				o := ReductionOptions{Reduction: e[0], AtLeast: e[1], DaysBefore: days, DaysAfter: days, Month: m}
				if err := o.check(); err != nil {
					t.Fatal(err)
				}
				home, err := o.compare(days, days)
				if err != nil {
					t.Fatal(err)
				}
				p += o.alone(home) / float64(len(months))
			}
			out = append(out, balance{fmt.Sprintf("reduction | one home, %g %%, more than %g, %d days either side | shown", 100*e[0], 100*e[1], days), p, float64(shown[key{days, j}]) / float64(fans[days]), fans[days]})
		}
	}
	return out
}

// TestCoverage: what plans promise is what draws of their own assumptions show, to within
// chance; on homes of the mass balance they come true to within ten in a hundred;
// and the published table says so.
func TestCoverage(t *testing.T) {
	all := promises(t)
	if *update {
		found := make([]int, len(all))
		numeric.Each(len(all), func(i int) { found[i] = all[i].found(published) })
		var b strings.Builder
		b.WriteString(intro() + coverageHead)
		for i, p := range all {
			b.WriteString(coverageLine(p.key(), p.planned, float64(found[i])/published, published))
		}
		b.WriteString("\n## Homes of a mass balance\n\n" + coverageHead)
		for _, x := range massBalance(t, districts, homesEach) {
			b.WriteString(coverageLine(x.key, x.planned, x.found, x.trials))
		}
		if err := os.WriteFile("COVERAGE.md", []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	text, err := os.ReadFile("COVERAGE.md")
	if err != nil {
		t.Fatal(err)
	}
	if !strings.HasPrefix(string(text), intro()) {
		t.Error("COVERAGE.md does not begin as its maker says")
	}
	exact, mass, _ := strings.Cut(string(text), "## Homes of a mass balance")
	rows := map[string][3]float64{}
	for line := range strings.Lines(exact + mass) {
		cells := strings.Split(strings.Trim(line, "| \n"), " | ")
		if len(cells) != 6 || cells[0] == "Question" {
			continue
		}
		var x [3]float64
		for i := range x {
			if x[i], err = strconv.ParseFloat(cells[3+i], 64); err != nil {
				t.Fatal(line, err)
			}
		}
		rows[strings.Join(cells[:3], " | ")] = x
	}
	trials := 300
	if testing.Short() {
		trials = 60
	}
	off := func(p, found, n float64) float64 { return math.Abs(found-p) / math.Sqrt(max(p*(1-p), 1e-3)/n) }
	for _, p := range all {
		row, ok := rows[p.key()]
		if !ok {
			t.Errorf("COVERAGE.md has no row %s", p.key())
			continue
		}
		if math.Abs(row[0]-100*p.planned) > 0.051 {
			t.Errorf("%s: planned %.1f %%, published %.1f", p.key(), 100*p.planned, row[0])
		}
		// What a finite number of dwellings, clusters and Land's interval hold is approximate.
		slack := 0.0
		if strings.Contains(p.setting, "dwellings") || strings.Contains(p.setting, "clusters") {
			slack = 0.03
		}
		if d := math.Abs(row[1]-row[0]) / 100; d > slack && off(row[0]/100, row[1]/100, row[2]) > 3.9 && d > slack+0.001 {
			t.Errorf("%s: planned %.1f %%, found %.1f of %.0f", p.key(), row[0], row[1], row[2])
		}
		if got := float64(p.found(trials)) / float64(trials); off(row[1]/100, got, float64(trials)) > 4.5 {
			t.Errorf("%s: published %.1f %%, found now %.1f", p.key(), row[1], 100*got)
		}
	}
	n := 0
	for key, row := range rows {
		if !strings.HasPrefix(key, "days") && !strings.Contains(key, "one home") {
			continue
		}
		n++
		wrong := strings.HasSuffix(key, "wrong")
		switch {
		case !wrong && math.Abs(row[1]-row[0]) > 10: // as the doc comments own
			t.Errorf("%s: planned %.1f %%, found %.1f", key, row[0], row[1])
		case wrong && row[1] > 2:
			t.Errorf("%s: wrong in %.1f %%", key, row[1])
		}
	}
	if !testing.Short() {
		for _, x := range massBalance(t, 1, 12) {
			row, ok := rows[x.key]
			if !ok || math.Abs(row[0]-100*x.planned) > 0.051 || off(row[1]/100, x.found, float64(x.trials)) > 4.5 {
				t.Errorf("%s: planned %.1f %%, found %.1f of %d; published %v", x.key, 100*x.planned, 100*x.found, x.trials, row)
			}
		}
	}
	if n != 24 {
		t.Errorf("%d rows of the mass balance", n)
	}
}
