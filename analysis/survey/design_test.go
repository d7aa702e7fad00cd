package survey

import (
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/internal/reftest"
)

// drawnInput is a sample as testdata/reference/survey-design.json holds it.
type drawnInput struct {
	Stratum, Cluster, Area, Kind []string
	W, Y, Below                  []float64
	Populations                  map[string]float64
	Margins                      map[string]map[string]float64
	Lonely                       string
}

func (in drawnInput) sample() (homes []Drawn, opt DesignOptions) {
	opt = DesignOptions{Levels: []float64{200}, Lonely: in.Lonely, Populations: in.Populations, Areas: true}
	for _, name := range slices.Sorted(maps.Keys(in.Margins)) {
		opt.Margins = append(opt.Margins, Margin{name, in.Margins[name]})
	}
	for i, y := range in.Y {
		h := Drawn{Home: Home{Area: in.Area[i], Log: math.Log(y), Weight: in.W[i]}, Stratum: in.Stratum[i], Cluster: in.Cluster[i]}
		if in.Below != nil {
			h.Below = in.Below[i] == 1
		}
		for _, m := range opt.Margins {
			h.Cells = append(h.Cells, map[string]string{"area": in.Area[i], "kind": in.Kind[i]}[m.Name])
		}
		homes = append(homes, h)
	}
	return homes, opt
}

func flatFigures(f DesignFigures) map[string]float64 {
	s := f.Shares[0]
	got := map[string]float64{"df": float64(f.DF), "share": s.Share.Value, "se": s.SE, "shareLower": s.Share.Lower, "shareUpper": s.Share.Upper, "effective": s.Effective}
	got["am"], got["amLower"], got["amUpper"] = f.AM.Value, f.AM.Lower, f.AM.Upper
	got["gm"], got["gmLower"], got["gmUpper"] = f.GM.Value, f.GM.Lower, f.GM.Upper
	if s.Homes != nil {
		got["total"], got["totalLower"], got["totalUpper"] = s.Homes.Value, s.Homes.Lower, s.Homes.Upper
	}
	return got
}

// TestDesignReference holds figures to R's survey package.
func TestDesignReference(t *testing.T) {
	file, err := reftest.Read("survey-design.json")
	if err != nil {
		t.Fatal(err)
	}
	seen := map[string]int{}
	for _, c := range file.Cases {
		var in drawnInput
		if err := json.Unmarshal(c.Input, &in); err != nil {
			t.Fatal(err)
		}
		homes, opt := in.sample()
		kind, rest, _ := strings.Cut(c.Name, ",")
		if strings.HasPrefix(c.Name, "domain") {
			kind = "domain"
		}
		seen[kind]++
		if rest == " weights" {
			r, err := Rake(homes, opt.Margins)
			if err != nil {
				t.Fatal(c.Name, err)
			}
			got := map[string]float64{}
			for i, w := range r.Weights {
				got["w"+strconv.Itoa(i+1)] = w
			}
			for _, bad := range c.Check(got) {
				t.Error(bad)
			}
			continue
		}
		r, err := EstimateDesign(homes, opt)
		if err != nil {
			t.Fatal(c.Name, err)
		}
		f := r.Community
		if words := strings.Fields(c.Name); slices.Contains(words, "domain") {
			i := slices.IndexFunc(r.Areas, func(a DesignFigures) bool { return a.Area == words[len(words)-1] })
			f = r.Areas[i]
		}
		got := flatFigures(f)
		// Some cases hold only part of what there is.
		for name := range got {
			if _, ok := c.Want[name]; !ok {
				delete(got, name)
			}
		}
		for _, bad := range c.Check(got) {
			t.Error(bad)
		}
	}
	for kind, n := range map[string]int{"strata": 2, "clusters": 2, "weights alone": 1, "domain": 3, "post-stratified": 2, "raked": 2, "lonely": 2, "below a limit": 1} {
		if seen[kind] != n {
			t.Errorf("%d cases %q, want %d", seen[kind], kind, n)
		}
	}
}

// TestDesignByHand: three strata, of 6, 12 and 2 homes; drawn 2, 3 and 2, so that they
// stand for 3, 4 and 1 each:
//
//	A 100 300    B 50 100 400    C 250 90
//
// Above 200: p = (3·1 + 4·1 + 1·1)/20 = 0.4. Its variance is Σ (N_h/N)²(1 − f_h)s_h²/n_h:
//
//	A 0.3²·(1 − 1/3)·(1/2)/2 = 0.015
//	B 0.6²·(1 − 1/4)·(1/3)/3 = 0.03
//	C 0.1²·(1 − 1)·… = 0
//
// so se² = 0.045. The mean is (3·400 + 4·550 + 1·340)/20 = 187, with s² = 20000 in A
// and (133⅓² + 83⅓² + 216⅔²)/2 = 35833⅓ in B:
//
//	0.09·(2/3)·20000/2 + 0.36·0.75·35833⅓/3 = 600 + 3225 = 3825.
//
// There are 7 − 3 = 4 degrees of freedom, whose t is 2.776445, and the t of 6 is 2.446912
// (tables of Student's t). So n = 0.4·0.6/0.045·(2.446912/2.776445)² = 5⅓·0.776715.
// Eight dwellings are above; that there are 20 is known.
func TestDesignByHand(t *testing.T) {
	homes := []Drawn{
		{Home: Home{Log: math.Log(300), Weight: 3}, Stratum: "A"},
		{Home: Home{Log: math.Log(50), Weight: 4}, Stratum: "B"},
		{Home: Home{Log: math.Log(90), Weight: 1}, Stratum: "C"},
		{Home: Home{Log: math.Log(400), Weight: 4}, Stratum: "B"},
		{Home: Home{Log: math.Log(100), Weight: 3}, Stratum: "A"},
		{Home: Home{Log: math.Log(250), Weight: 1}, Stratum: "C"},
		{Home: Home{Log: math.Log(100), Weight: 4}, Stratum: "B"},
	}
	r, err := EstimateDesign(homes, DesignOptions{Levels: []float64{200}, Populations: map[string]float64{"A": 6, "B": 12, "C": 2}})
	if err != nil {
		t.Fatal(err)
	}
	const t4, t6 = 2.776445, 2.446912
	f := r.Community
	s := f.Shares[0]
	near := func(what string, got, want, within float64) {
		t.Helper()
		if !(math.Abs(got-want) <= within*math.Abs(want)) {
			t.Errorf("%s is %.9g, want %.9g", what, got, want)
		}
	}
	near("share", s.Share.Value, 0.4, 1e-12)
	near("its standard error", s.SE, math.Sqrt(0.045), 1e-12)
	near("effective homes", s.Effective, 16./3*(t6/t4)*(t6/t4), 1e-6)
	near("mean", f.AM.Value, 187, 1e-12)
	near("its upper limit", f.AM.Upper, 187*math.Exp(t4*math.Sqrt(3825)/187), 1e-6)
	near("geometric mean", f.GM.Value, math.Pow(math.Pow(100*300, 3)*math.Pow(50*100*400, 4)*250*90, 1./20), 1e-12)
	near("dwellings above", s.Homes.Value, 8, 1e-12)
	near("their upper limit", s.Homes.Upper, 20*s.Share.Upper, 1e-12)
	near("dwellings", f.Dwellings, 20, 1e-12)
	if f.DF != 4 || f.Homes != 7 || f.Strata != 3 || f.Clusters != 7 || s.Above != 3 {
		t.Errorf("%+v", f)
	}
	// Wilson and Clopper-Pearson of 0.4 among so many: z = 1.959964, and by the
	// binomial sums that the beta quantiles stand for.
	n, z := s.Effective, 1.959964
	near("Wilson's lower limit", s.Wilson.Lower, (0.4*n+z*z/2-z*math.Sqrt(0.24*n+z*z/4))/(n+z*z), 1e-6)
	if !(s.ClopperPearson.Lower > s.Share.Lower && s.ClopperPearson.Upper < s.Share.Upper) {
		t.Errorf("without degrees of freedom %v to %v, with them %v to %v", s.ClopperPearson.Lower, s.ClopperPearson.Upper, s.Share.Lower, s.Share.Upper)
	}
}

// TestPublishedDesign: Newcombe's tables, and intervals in common textbooks.
func TestPublishedDesign(t *testing.T) {
	z := numeric.NormalQuantile(0.975)
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 0.5e-4 {
			t.Errorf("%s is %.5f, printed %.4f", what, got, want)
		}
	}
	// Newcombe 1998, Stat. Med. 17:857, table I: methods 3 and 5 (Wilson's score, and
	// Clopper and Pearson's); the latter column from memory.
	for _, c := range []struct{ x, n, wl, wu, cl, cu float64 }{
		{81, 263, .2553, .3662, .2527, .3676},
		{15, 148, .0624, .1605, .0578, .1617},
		{0, 20, 0, .1611, 0, .1684},
		{1, 29, .0061, .1718, .0009, .1776},
	} {
		name := fmt.Sprintf("%g of %g", c.x, c.n)
		l, u := numeric.Wilson(c.x, c.n, z)
		near(name+", Wilson, lower", l, c.wl)
		near(name+", Wilson, upper", u, c.wu)
		l, u = numeric.ClopperPearson(c.x, c.n, 0.025)
		near(name+", Clopper-Pearson, lower", l, c.cl)
		near(name+", Clopper-Pearson, upper", u, c.cu)
	}
	// Newcombe 1998, Stat. Med. 17:873, table II, method 10: the first as read in a copy
	// of it, the others from memory.
	share := func(x, n float64) DesignShare {
		s := DesignShare{Level: 200, Wilson: analysis.Estimate{Value: x / n, Confidence: 0.95, N: int(n), Method: DesignWilson}}
		s.Wilson.Lower, s.Wilson.Upper = numeric.Wilson(x, n, z)
		return s
	}
	for _, c := range []struct{ x1, n1, x2, n2, lower, upper float64 }{
		{56, 70, 48, 80, .0524, .3339},
		{9, 10, 3, 10, .1705, .8090},
		{10, 10, 0, 20, .6791, 1},
		{10, 10, 0, 10, .6075, 1},
	} {
		d, err := Difference(share(c.x1, c.n1), share(c.x2, c.n2))
		if err != nil {
			t.Fatal(err)
		}
		name := fmt.Sprintf("%g of %g less %g of %g", c.x1, c.n1, c.x2, c.n2)
		near(name+", lower", d.Lower, c.lower)
		near(name+", upper", d.Upper, c.upper)
		back, err := Difference(share(c.x2, c.n2), share(c.x1, c.n1))
		if err != nil || back.Lower != -d.Upper || back.Value != -d.Value {
			t.Errorf("%s: the other way round %+v, %v", name, back, err)
		}
	}
	if _, err := Difference(share(1, 10), DesignShare{Level: 100, Wilson: share(1, 10).Wilson}); err == nil {
		t.Error("shares above two levels were taken off each other")
	}
}

// TestDesignEnumerated: over all samples of a tiny community, 2 of 5 homes and 3 of 4,
// the mean of the estimates is the truth, and the mean of their variances is the
// variance of the estimates: exactly, as theory has it for sums.
func TestDesignEnumerated(t *testing.T) {
	a, b := []float64{20, 150, 300, 90, 260}, []float64{500, 60, 240, 210}
	truth, above := 0.0, 0.0
	for _, x := range slices.Concat(a, b) {
		truth += x / 9
		if x > 200 {
			above++
		}
	}
	draw := func(x []float64, n int) (all [][]float64) {
		for bits := range 1 << len(x) {
			var s []float64
			for i, v := range x {
				if bits>>i&1 == 1 {
					s = append(s, v)
				}
			}
			if len(s) == n {
				all = append(all, s)
			}
		}
		return all
	}
	var means, totals, shares, variances []float64
	for _, s := range draw(a, 2) {
		for _, u := range draw(b, 3) {
			var homes []Drawn
			for _, x := range s {
				homes = append(homes, Drawn{Home: Home{Log: math.Log(x), Weight: 5. / 2}, Stratum: "a"})
			}
			for _, x := range u {
				homes = append(homes, Drawn{Home: Home{Log: math.Log(x), Weight: 4. / 3}, Stratum: "b"})
			}
			r, err := EstimateDesign(homes, DesignOptions{Levels: []float64{200}, Populations: map[string]float64{"a": 5, "b": 4}})
			if err != nil {
				t.Fatal(err)
			}
			q := r.Community.Shares[0]
			means, totals, shares, variances = append(means, r.Community.AM.Value), append(totals, q.Homes.Value), append(shares, q.Share.Value), append(variances, q.SE*q.SE)
		}
	}
	if len(means) != 10*4 {
		t.Fatal(len(means))
	}
	n := float64(len(means))
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 1e-12*math.Abs(want) {
			t.Errorf("%s is %v on average, in truth %v", what, got, want)
		}
	}
	near("the mean", total(means)/n, truth)
	near("the number above", total(totals)/n, above)
	_, sd := numeric.Moments(shares)
	near("the variance of the share", total(variances)/n, sd*sd*(n-1)/n)
}

// drawnCommunity is a random sample with all that a design can have.
func drawnCommunity(rng *rand.Rand, limits bool) ([]Drawn, DesignOptions) {
	opt := DesignOptions{Levels: []float64{100, 200}, Areas: true, Margins: []Margin{
		{"area", map[string]float64{"East": 900, "North": 1500, "West": 600}}, {"kind", map[string]float64{"flat": 1000, "house": 2000}}}}
	var homes []Drawn
	for h := range 3 {
		for k := range 3 + rng.IntN(4) {
			centre := 4.5 + 0.4*rng.NormFloat64()
			for range 3 + rng.IntN(6) {
				d := Drawn{Home: Home{Area: []string{"East", "North", "West"}[rng.IntN(3)], Log: centre + 0.8*rng.NormFloat64(), Weight: 10 + 90*rng.Float64()},
					Stratum: strconv.Itoa(h), Cluster: strconv.Itoa(k)}
				if limits && rng.IntN(5) == 0 {
					d.Below, d.Log = true, math.Log(60)
				}
				d.Cells = []string{d.Area, []string{"flat", "house"}[rng.IntN(2)]}
				homes = append(homes, d)
			}
		}
	}
	return homes, opt
}

// TestDesignAgainstSlow: each standard error is the one of influences taken by
// estimating again with each weight changed a little; and near the jackknife's, which
// estimates again without each cluster.
func TestDesignAgainstSlow(t *testing.T) {
	for trial := range uint64(6) {
		homes, opt := drawnCommunity(rand.New(rand.NewPCG(5, trial)), trial%2 == 1)
		if trial < 2 {
			opt.Margins = nil
			for i := range homes {
				homes[i].Cells = nil
			}
		}
		d, _, err := newDrawing(homes, opt)
		if err != nil {
			t.Fatal(err)
		}
		// The weights are raked from the start in each estimate.
		figures := func(change func(i int, w float64) float64) (out []float64) {
			var x []Drawn
			for i, h := range d.homes {
				if h.Weight = change(i, h.Weight); h.Weight > 0 {
					x = append(x, h)
				}
			}
			r, err := EstimateDesign(x, opt)
			if err != nil {
				t.Fatal(err)
			}
			for _, f := range append(r.Areas, r.Community) {
				out = append(out, math.Log(f.GM.Value), math.Log(f.AM.Value), f.Shares[0].Share.Value)
			}
			return out
		}
		r, err := EstimateDesign(homes, opt)
		if err != nil {
			t.Fatal(err)
		}
		var want []float64 // standard errors claimed
		for _, f := range append(r.Areas, r.Community) {
			e := domain{drawing: d, opt: &DesignOptions{Confidence: 0.95}}
			am := f.AM
			if analysis.HasNote(am.Notes, "half-limits") {
				am = nil
			}
			tq := e.t(f.DF)
			want = append(want, math.Log(f.GM.Upper/f.GM.Lower)/2/tq)
			if am == nil {
				want = append(want, math.NaN())
			} else {
				want = append(want, math.Log(am.Upper/am.Lower)/2/tq)
			}
			want = append(want, f.Shares[0].SE)
		}
		influence := make([][]float64, len(homes))
		for i := range homes {
			const step = 1e-4
			up := figures(func(k int, w float64) float64 {
				if k == i {
					w *= 1 + step
				}
				return w
			})
			down := figures(func(k int, w float64) float64 {
				if k == i {
					w *= 1 - step
				}
				return w
			})
			influence[i] = make([]float64, len(up))
			for k := range up {
				influence[i][k] = (up[k] - down[k]) / (2 * step)
			}
		}
		jack := make([]float64, len(want))
		for k, se := range want {
			if math.IsNaN(se) {
				continue
			}
			v := 0.0
			for _, s := range d.strata {
				var t []float64
				for _, c := range s.clusters {
					x := 0.0
					for i := c[0]; i < c[1]; i++ {
						x += influence[i][k]
					}
					t = append(t, x)
				}
				_, sd := numeric.Moments(t)
				v += float64(len(t)) * sd * sd
			}
			if slow := math.Sqrt(v); math.Abs(slow-se) > 1e-5*se {
				t.Errorf("trial %d, figure %d: standard error %v, by changing weights %v", trial, k, se, slow)
			}
		}
		full := figures(func(_ int, w float64) float64 { return w })
		for _, s := range d.strata {
			n := float64(len(s.clusters))
			for _, c := range s.clusters {
				without := figures(func(i int, w float64) float64 {
					if i >= c[0] && i < c[1] {
						return 0
					}
					if i >= s.clusters[0][0] && i < s.clusters[len(s.clusters)-1][1] {
						return w * n / (n - 1)
					}
					return w
				})
				for k := range jack {
					jack[k] += (n - 1) / n * (without[k] - full[k]) * (without[k] - full[k])
				}
			}
		}
		for k, se := range want {
			if ratio := math.Sqrt(jack[k]) / se; !math.IsNaN(se) && !(ratio > 0.8 && ratio < 1.6) {
				t.Errorf("trial %d, figure %d: standard error %v, by the jackknife %v", trial, k, se, math.Sqrt(jack[k]))
			}
		}
	}
}

// TestDesignProperties: the order of homes, the unit and the size of weights change
// nothing that they should not, and more confidence is never narrower.
func TestDesignProperties(t *testing.T) {
	for trial := range uint64(20) {
		rng := rand.New(rand.NewPCG(6, trial))
		homes, opt := drawnCommunity(rng, trial%2 == 1)
		r, err := EstimateDesign(homes, opt)
		if err != nil {
			t.Fatal(err)
		}
		shuffled := slices.Clone(homes)
		rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		again, err := EstimateDesign(shuffled, opt)
		if a, b := fmt.Sprint(text(t, r)), fmt.Sprint(text(t, again)); err != nil || a != b {
			t.Fatalf("shuffled homes give\n%s, not\n%s", b, a)
		}
		wider := opt
		wider.Confidence = 0.99
		w, err := EstimateDesign(homes, wider)
		if err != nil {
			t.Fatal(err)
		}
		scaled, scaledOpt := slices.Clone(homes), opt
		for i := range scaled {
			scaled[i].Log += math.Log(37)
			scaled[i].Weight *= 1000 // raked away
		}
		scaledOpt.Levels = []float64{3700, 7400}
		s, err := EstimateDesign(scaled, scaledOpt)
		if err != nil {
			t.Fatal(err)
		}
		for k, f := range append([]DesignFigures{r.Community}, r.Areas...) {
			g, h := append([]DesignFigures{w.Community}, w.Areas...)[k], append([]DesignFigures{s.Community}, s.Areas...)[k]
			for i, e := range estimatesOf(f) {
				x, y := estimatesOf(g)[i], estimatesOf(h)[i]
				if err := e.Check(); err != nil {
					t.Error(err)
				}
				if x.Lower > e.Lower || x.Upper < e.Upper {
					t.Errorf("%s: %v to %v at 95 %%, %v to %v at 99 %%", e.Quantity, e.Lower, e.Upper, x.Lower, x.Upper)
				}
				factor := 1.0
				if e.Unit == becquerel {
					factor = 37
				}
				for _, v := range [][2]float64{{e.Value, y.Value}, {e.Lower, y.Lower}, {e.Upper, y.Upper}} {
					if math.Abs(v[0]*factor-v[1]) > 1e-7*math.Abs(v[1]) {
						t.Errorf("%s: %v, in other units %v", e.Quantity, v[0], v[1])
					}
				}
			}
		}
		// Areas as a margin: their dwellings are those known.
		if math.Abs(r.Areas[1].Dwellings-1500) > 1e-5 || math.Abs(r.Community.Dwellings-3000) > 1e-5 || r.Residual > rakedWithin {
			t.Errorf("%v dwellings, %v of them in %s", r.Community.Dwellings, r.Areas[1].Dwellings, r.Areas[1].Area)
		}
	}
}

// text is a result without pointers.
func text(t *testing.T, r DesignResult) string {
	t.Helper()
	b, err := json.Marshal(r)
	if err != nil {
		t.Fatal(err)
	}
	return string(b)
}

func estimatesOf(f DesignFigures) (all []analysis.Estimate) {
	for _, e := range []*analysis.Estimate{f.GM, f.AM} {
		if e != nil {
			all = append(all, *e)
		}
	}
	for _, s := range f.Shares {
		all = append(all, s.Share, s.Wilson, s.ClopperPearson)
		if s.Homes != nil {
			all = append(all, *s.Homes)
		}
	}
	return all
}

// TestDesignRefuses: what cannot be answered is said in words, and a near miss is
// answered.
func TestDesignRefuses(t *testing.T) {
	base := func() ([]Drawn, DesignOptions) {
		var homes []Drawn
		for i := range 12 {
			homes = append(homes, Drawn{Home: Home{Area: "A", Log: 4 + 0.2*float64(i), Weight: 10}, Stratum: strconv.Itoa(i / 6), Cells: []string{[]string{"flat", "house"}[i%2]}})
		}
		return homes, DesignOptions{Levels: []float64{200}, Margins: []Margin{{"kind", map[string]float64{"flat": 50, "house": 70}}}}
	}
	if homes, opt := base(); true {
		if _, err := EstimateDesign(homes, opt); err != nil {
			t.Fatal(err)
		}
	}
	for _, c := range []struct {
		want  string
		spoil func(homes []Drawn, opt *DesignOptions) []Drawn
	}{
		{"no homes", func([]Drawn, *DesignOptions) []Drawn { return nil }},
		{"home 3 has a weight of 0", func(h []Drawn, _ *DesignOptions) []Drawn { h[2].Weight = 0; return h }},
		{"home 3 has a weight of -1", func(h []Drawn, _ *DesignOptions) []Drawn { h[2].Weight = -1; return h }},
		{"home 3 has a weight of NaN", func(h []Drawn, _ *DesignOptions) []Drawn { h[2].Weight = math.NaN(); return h }},
		{"up to 1e+308, do not add to a number of dwellings", func(h []Drawn, _ *DesignOptions) []Drawn { h[2].Weight, h[3].Weight = 1e308, 1e308; return h }},
		{"weights from 10 to 1e+11", func(h []Drawn, o *DesignOptions) []Drawn {
			h[2].Weight, o.Margins = 1e11, nil
			for i := range h {
				h[i].Cells = nil
			}
			return h
		}},
		{"2 cells; there are 1 margins", func(h []Drawn, _ *DesignOptions) []Drawn { h[2].Cells = []string{"a", "b"}; return h }},
		{`kind "tent": homes are there`, func(h []Drawn, _ *DesignOptions) []Drawn { h[2].Cells = []string{"tent"}; return h }},
		{`kind "boat": no home was measured there`, func(h []Drawn, o *DesignOptions) []Drawn { o.Margins[0].Dwellings["boat"] = 5; return h }},
		{`kind "flat": 6 homes were measured there, and there are 5 dwellings`, func(h []Drawn, o *DesignOptions) []Drawn { o.Margins[0].Dwellings["flat"] = 5; return h }},
		{`kind "flat": NaN dwellings`, func(h []Drawn, o *DesignOptions) []Drawn { o.Margins[0].Dwellings["flat"] = math.NaN(); return h }},
		{`stratum "1" has a population of 5 and a sample of 6`, func(h []Drawn, o *DesignOptions) []Drawn { o.Populations = map[string]float64{"1": 5}; return h }},
		{`stratum "2" has one home or cluster in it`, func(h []Drawn, _ *DesignOptions) []Drawn { h[11].Stratum = "2"; return h }},
		{"no stratum has two", func(h []Drawn, o *DesignOptions) []Drawn {
			o.Lonely = LonelyCentre
			for i := range h {
				h[i].Stratum = strconv.Itoa(i)
			}
			return h
		}},
		{"one home or one cluster", func(h []Drawn, _ *DesignOptions) []Drawn {
			for i := range h {
				h[i].Stratum, h[i].Cluster = "", "block"
			}
			return h
		}},
		{`treatment "drop"`, func(h []Drawn, o *DesignOptions) []Drawn { o.Lonely = "drop"; return h }},
		{"confidence of 2", func(h []Drawn, o *DesignOptions) []Drawn { o.Confidence = 2; return h }},
		{"level of -1", func(h []Drawn, o *DesignOptions) []Drawn { o.Levels = []float64{-1}; return h }},
		{"no logarithm", func(h []Drawn, _ *DesignOptions) []Drawn { h[0].Log = math.Inf(1); return h }},
		{"they count two communities", func(h []Drawn, o *DesignOptions) []Drawn {
			o.Margins = append(o.Margins, Margin{"age", map[string]float64{"all": 200}})
			for i := range h {
				h[i].Cells = append(h[i].Cells, "all")
			}
			return h
		}},
		// Of the flats all are old, and there are more flats than old homes.
		{"raking does not converge: after 1000 rounds", func(h []Drawn, o *DesignOptions) []Drawn {
			o.Margins = append(o.Margins, Margin{"age", map[string]float64{"old": 40, "new": 80}})
			for i := range h {
				h[i].Cells = append(h[i].Cells, []string{"old", "new"}[i%2])
			}
			return h
		}},
	} {
		homes, opt := base()
		homes = c.spoil(homes, &opt)
		r, err := EstimateDesign(homes, opt)
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("want %q, got %v, %+v", c.want, err, r.Community)
		}
		var m *MarginError
		if strings.HasPrefix(c.want, "kind") && !errors.As(err, &m) {
			t.Errorf("%v names no margin", err)
		}
	}
}

// TestDesignNotes: each note has a sample that raises it, and one near it that does not.
func TestDesignNotes(t *testing.T) {
	sample := func(n int, spoil func(i int, h *Drawn)) (DesignResult, error) {
		var homes []Drawn
		for i := range n {
			h := Drawn{Home: Home{Area: []string{"A", "B"}[i%2], Log: 4 + 0.1*float64(i%13), Weight: 10}}
			if spoil != nil {
				spoil(i, &h)
			}
			homes = append(homes, h)
		}
		return EstimateDesign(homes, DesignOptions{Levels: []float64{100}, Areas: true, Lonely: LonelyCentre})
	}
	all := func(r DesignResult) (notes []analysis.Note) {
		for _, f := range append([]DesignFigures{r.Community}, r.Areas...) {
			notes = append(notes, f.Notes...)
			for _, e := range estimatesOf(f) {
				notes = append(notes, e.Notes...)
			}
		}
		return notes
	}
	for _, c := range []struct {
		code      string
		n, nearly int
		raise     func(i int, h *Drawn)
		near      func(i int, h *Drawn)
	}{
		{"few-degrees", enoughDegrees, enoughDegrees + 1, nil, nil},
		{"uneven-weights", 20, 20, func(i int, h *Drawn) {
			if i == 0 {
				h.Weight = 200
			}
		}, func(i int, h *Drawn) {
			if i == 0 {
				h.Weight = 20
			}
		}},
		{"no-degrees", 20, 20, func(i int, h *Drawn) {
			h.Area = "A"
			if i == 0 {
				h.Area = "B"
			}
		}, func(i int, h *Drawn) {
			h.Area = "A"
			if i < 2 {
				h.Area = "B"
			}
		}},
		{"lonely-strata", 20, 20, func(i int, h *Drawn) {
			if i == 0 {
				h.Stratum = "alone"
			}
		}, func(i int, h *Drawn) {
			if i < 2 {
				h.Stratum = "two"
			}
		}},
		{"half-limits", 20, 20, func(i int, h *Drawn) { h.Below = i == 0 }, nil},
		{"limits-fitted", 20, 20, func(i int, h *Drawn) { h.Below = i == 0 }, nil},
		{"no-gm", 20, 20, func(i int, h *Drawn) { h.Below = i > 0 }, func(i int, h *Drawn) { h.Below = i > 8 && i%2 == 0 }},
		{"undecided", 20, 20, func(i int, h *Drawn) {
			if i == 0 {
				h.Below, h.Log = true, math.Log(101)
			}
		}, func(i int, h *Drawn) {
			if i == 0 {
				h.Below, h.Log = true, math.Log(100)
			}
		}},
		{"unbounded", 20, 20, func(i int, h *Drawn) {
			if i == 0 {
				h.Lower, h.Upper = 6, math.Inf(1)
			}
		}, func(i int, h *Drawn) {
			if i == 0 {
				h.Lower, h.Upper = 6, 7
			}
		}},
	} {
		r, err := sample(c.n, c.raise)
		if err != nil || !analysis.HasNote(all(r), c.code) {
			t.Errorf("%s is not there: %v, %v", c.code, all(r), err)
		}
		r, err = sample(c.nearly, c.near)
		if err != nil || analysis.HasNote(all(r), c.code) {
			t.Errorf("%s is there: %v, %v", c.code, all(r), err)
		}
	}
	homes, opt := drawnCommunity(rand.New(rand.NewPCG(7, 7)), false)
	for _, total := range []float64{1000, 1010} {
		opt.Margins[1].Dwellings["flat"] = total
		r, err := EstimateDesign(homes, opt)
		if err != nil || analysis.HasNote(r.Community.Notes, "margins-scaled") != (total == 1010) {
			t.Errorf("%v, %v", r.Community.Notes, err)
		}
	}
	// Weights that add to no more than the homes count no dwellings.
	for _, w := range []float64{1, 1.5} {
		r, err := sample(20, func(_ int, h *Drawn) { h.Weight = w })
		if err != nil || (r.Community.Shares[0].Homes != nil) != (w > 1) || (r.Community.Dwellings > 0) != (w > 1) {
			t.Errorf("weights of %v: %+v, %v", w, r.Community, err)
		}
	}
}

// FuzzDesign: no panic, and every estimate is sound.
func FuzzDesign(f *testing.F) {
	f.Add([]byte{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12}, 1.0, 4.0, 100.0)
	f.Add([]byte{0, 0, 0, 0, 0, 0}, 1e-300, -90.0, 1e300)
	f.Add([]byte{255, 3, 255, 9, 128, 77, 12, 1}, 1e300, 95.0, 1e-300)
	f.Fuzz(func(t *testing.T, b []byte, w, log, level float64) {
		if len(b) > 60 {
			b = b[:60]
		}
		var homes []Drawn
		opt := DesignOptions{Levels: []float64{level}, Areas: true, Lonely: LonelyCertainty}
		if len(b) > 3 && b[0]%2 == 0 {
			opt.Margins = []Margin{{"x", map[string]float64{"0": 1e3, "1": 2e3}}, {"y", map[string]float64{"0": 2500, "1": 500}}}
		}
		for i, x := range b {
			h := Drawn{Home: Home{Area: strconv.Itoa(int(x % 3)), Log: log + float64(x)/50, Weight: w * (1 + float64(x%7))}, Stratum: strconv.Itoa(int(x / 100)), Cluster: strconv.Itoa(int(x % 11))}
			switch x % 13 {
			case 0:
				h.Below = true
			case 1:
				h.Lower, h.Upper = h.Log, math.Inf(1)
			case 2:
				h.Lower, h.Upper = h.Log, h.Log+1
			}
			if opt.Margins != nil {
				h.Cells = []string{strconv.Itoa(i % 2), strconv.Itoa(int(x) / 3 % 2)}
			}
			homes = append(homes, h)
		}
		r, err := EstimateDesign(homes, opt)
		if err != nil {
			return
		}
		for _, f := range append([]DesignFigures{r.Community}, r.Areas...) {
			for _, e := range estimatesOf(f) {
				if err := e.Check(); err != nil {
					t.Errorf("%+v: %v", e, err)
				}
			}
		}
	})
}

// TestRakeByHand: with one margin, two homes of weight 1 in A and one of 2 in B that
// stand for 10 and 6 dwellings weigh 5, 5 and 6. With two margins and a home of weight
// 1 in each of the four cells, nothing ties the margins together, and a cell has
// N_row·N_column/N: of 30 and 70 by 40 and 60, 12, 18, 28 and 42.
func TestRakeByHand(t *testing.T) {
	home := func(w float64, cells ...string) Drawn { return Drawn{Home: Home{Weight: w}, Cells: cells} }
	area := Margin{"area", map[string]float64{"A": 10, "B": 6}}
	for _, c := range []struct {
		homes   []Drawn
		margins []Margin
		want    []float64
	}{
		{[]Drawn{home(1, "A"), home(2, "B"), home(1, "A")}, []Margin{area}, []float64{5, 6, 5}},
		{[]Drawn{home(1, "r", "x"), home(1, "r", "y"), home(1, "s", "x"), home(1, "s", "y")},
			[]Margin{{"row", map[string]float64{"r": 30, "s": 70}}, {"column", map[string]float64{"x": 40, "y": 60}}}, []float64{12, 18, 28, 42}},
		{[]Drawn{home(3), home(2)}, nil, []float64{3, 2}},
	} {
		r, err := Rake(c.homes, c.margins)
		if err != nil || r.Rounds != min(1, len(c.margins)) || r.Residual > 1e-12 {
			t.Errorf("%+v, %v", r, err)
		}
		for i, w := range r.Weights {
			if math.Abs(w-c.want[i]) > 1e-12*w {
				t.Errorf("home %d weighs %v, want %v", i, w, c.want[i])
			}
		}
	}
}
