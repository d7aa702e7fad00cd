package survey

import (
	"fmt"
	"math"
	"math/rand/v2"
	"reflect"
	"slices"
	"strconv"
	"strings"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/lognormal"
)

func counts(n ...int) (areas []AreaHomes) {
	for i, h := range n {
		areas = append(areas, AreaHomes{string(rune('A' + i)), h})
	}
	return areas
}

func mergedNames(m map[string]bool) string {
	var names []string
	for name := range m {
		names = append(names, name)
	}
	slices.Sort(names)
	return strings.Join(names, "")
}

// Which areas are told together, worked out by the rule in words.
func TestMergeSmall(t *testing.T) {
	for _, c := range []struct {
		homes []int
		want  string
	}{
		{[]int{10, 25, 30}, ""},          // none is small
		{[]int{4, 7, 30, 12}, "AB"},      // 11 homes of two areas
		{[]int{30, 9, 12, 50}, "BC"},     // one small area alone takes the next smallest
		{[]int{2, 3, 30, 12, 40}, "ABD"}, // 5 homes are too few, 17 are not
		{[]int{0, 0, 30, 12, 40}, ""},    // no home is measured in A and B: there is nothing to hide
		{[]int{0, 3, 30, 12, 40}, "BD"},
		{[]int{3, 40}, "AB"}, // nothing left to tell one by one
		{[]int{9}, "A"},
		{[]int{10}, ""},
		{[]int{9, 9, 9, 9, 9, 9, 9, 9, 30, 40}, "ABCDEFGHI"}, // at least 70 of at most 72 would say 7 to 9 of each
	} {
		if got := mergedNames(MergeSmall(counts(c.homes...), 10)); got != c.want {
			t.Errorf("%v: %q are merged, want %q", c.homes, got, c.want)
		}
	}
	for n, want := range map[int]int{0: 0, 9: 0, 10: 10, 19: 10, 347: 340} {
		if got := AtLeast(n, 10); got != want {
			t.Errorf("%d homes are told as %d, want %d", n, got, want)
		}
	}
	// An area with the row's name is of the row.
	if got := MergeSmall([]AreaHomes{{Others, 50}, {"B", 20}, {"C", 30}}, 10); !got[Others] || !got["B"] || got["C"] {
		t.Errorf("an area called %q: %v are merged", Others, got)
	}
}

// Whoever knows the rule, the program and the names of all areas, and tries every
// community that would be published alike, finds for each area that is not told by
// itself a range of counts no narrower than this. Areas may have no homes at all.
func TestMergeExhaustive(t *testing.T) {
	const k, areas, most = LeastMinCell, 4, 3 * LeastMinCell
	type span struct{ lo, hi [areas]int }
	alike := map[string]*span{}
	n := make([]int, areas)
	var walk func(i int)
	walk = func(i int) {
		if i < areas {
			for n[i] = 0; n[i] < most; n[i]++ {
				walk(i + 1)
			}
			return
		}
		total := 0
		for _, h := range n {
			total += h
		}
		if total < k {
			return
		}
		sign := publishedCounts(n, k)
		s := alike[sign]
		if s == nil {
			s = &span{}
			copy(s.lo[:], n)
			copy(s.hi[:], n)
			alike[sign] = s
		}
		for j, h := range n {
			s.lo[j], s.hi[j] = min(s.lo[j], h), max(s.hi[j], h)
		}
	}
	walk(0)
	// A count under k lies in a range of k values before anything is published: that
	// is the most which can be left of it.
	narrowest, where := k, ""
	for sign, s := range alike {
		for j := range areas {
			if width := s.hi[j] - s.lo[j]; strings.Contains(sign, fmt.Sprintf("?%d", j)) && width < narrowest {
				narrowest, where = width, fmt.Sprintf("%s: area %d is %d to %d", sign, j, s.lo[j], s.hi[j])
			}
		}
	}
	t.Logf("%d publications; narrowest range of a count not told: %d (%s)", len(alike), narrowest, where)
	if narrowest < k-1 {
		t.Errorf("a count not told is known to within %d homes: %s", narrowest, where)
	}
	// The same attack where small areas are left out and nothing else is done.
	told := map[string][]int{}
	known := 0
	var naive func(i int)
	naive = func(i int) {
		if i < areas {
			for n[i] = 0; n[i] < most; n[i]++ {
				naive(i + 1)
			}
			return
		}
		small, total := 0, 0
		sign := ""
		for _, h := range n {
			total += h
			if h < k {
				small++
				h = -1
			}
			sign += fmt.Sprintf("%d ", h)
		}
		if small == 1 && total >= k {
			if sign += strconv.Itoa(total); told[sign] != nil && !slices.Equal(told[sign], n) {
				t.Fatalf("two communities look alike: %v and %v", told[sign], n)
			}
			told[sign] = slices.Clone(n)
			known++
		}
	}
	naive(0)
	if known == 0 {
		t.Error("leaving one small area out gave its count away nowhere: the attack does not attack")
	}
}

// publishedCounts is what is published of counts alone.
func publishedCounts(n []int, k int) string {
	merged := MergeSmall(counts(n...), k)
	other, sign := 0, ""
	for j, h := range n {
		if h == 0 { // told to have none
			sign += fmt.Sprintf("%d=none ", j)
		} else if merged[string(rune('A'+j))] {
			other += h
			sign += fmt.Sprintf("?%d ", j)
		} else {
			sign += fmt.Sprintf("%d=%d ", j, AtLeast(h, k))
		}
	}
	return sign + fmt.Sprintf("other=%d", AtLeast(other, k)) // the total is their sum
}

// Every field of every result that Publish and PublishValues are given must be here,
// as published or as withheld: a field added later fails the test until someone has
// decided. What is published is checked by name on the other side.
func TestGate(t *testing.T) {
	decided := map[string]string{
		"PosteriorResult.Confidence": "published: in each estimate", "PosteriorResult.PriorSD": "withheld: not needed",
		"PosteriorResult.Homes": "published: rounded", "PosteriorResult.Below": "withheld: a count", "PosteriorResult.Between": "withheld: a count",
		"PosteriorResult.Fixed": "withheld: full digits", "PosteriorResult.SDArea": "published", "PosteriorResult.SDHome": "published", "PosteriorResult.Smoothness": "withheld: not needed",
		"PosteriorResult.Community": "published", "PosteriorResult.Areas": "published", "PosteriorResult.GridPoints": "withheld: not needed", "PosteriorResult.Draws": "withheld: not needed",
		"PosteriorResult.Seed": "withheld: a setting", "PosteriorResult.LogLik": "withheld: full digits", "PosteriorResult.Notes": "published: those listed, in other words",
		"Community.Homes": "published: rounded", "Community.Population": "withheld: whether it was given is published", "Community.GM": "published", "Community.GSD": "published", "Community.AM": "published", "Community.Above": "published",
		"AboveLevel.Level": "published", "AboveLevel.Share": "published", "AboveLevel.Homes": "published", "AboveLevel.Exceeds": "published",
		"Exceeds.Share": "published", "Exceeds.Probability": "published",
		"AreaLevel.Area": "published: of areas with enough homes", "AreaLevel.Homes": "published: rounded", "AreaLevel.Population": "withheld: public elsewhere", "AreaLevel.Effect": "withheld: full digits",
		"AreaLevel.MeanLog": "withheld: full digits", "AreaLevel.SDMeanLog": "withheld: full digits", "AreaLevel.GM": "published", "AreaLevel.AM": "published", "AreaLevel.Above": "published",
		"AreaLevel.Rank": "withheld: other areas would be one", "AreaLevel.Notes": "withheld: count homes",
		"RawArea.Area": "published: of areas with enough homes", "RawArea.Homes": "published: rounded", "RawArea.Below": "withheld: a count", "RawArea.GM": "published: of the community", "RawArea.GSD": "published: of the community", "RawArea.Above": "published: Countable",
		"RawShare.Level": "published", "RawShare.Above": "withheld: a count", "RawShare.Undecided": "withheld: a count", "RawShare.Share": "published: Countable",
		"Description.N": "published: rounded", "Description.Below": "withheld: a count", "Description.Between": "withheld: a count", "Description.Min": "withheld: one home", "Description.Max": "withheld: one home",
		"Description.MinBelow": "withheld: one home", "Description.Ranks": "published: with homes beyond", "Description.Outdoor": "withheld: a setting", "Description.Fit": "published", "Description.Above": "published",
		"Description.Shape": "withheld: holds every value", "Description.Notes": "withheld: count homes",
		"Ranked.P": "published", "Ranked.Value": "published: with homes beyond", "Ranked.Below": "withheld: with its value",
		"Share.Level": "published", "Share.Fraction": "published", "Share.Counted": "withheld: Countable has it from the groups",
		"FitResult.N": "withheld: a count", "FitResult.Below": "withheld: a count", "FitResult.Between": "withheld: a count", "FitResult.MeanLog": "withheld: full digits", "FitResult.SDLog": "withheld: full digits",
		"FitResult.LogLikelihood": "withheld: full digits", "FitResult.GM": "published", "FitResult.GSD": "published", "FitResult.Mean": "published: unless dominated", "FitResult.Next": "withheld: not needed",
		"FitResult.Quantiles": "withheld: not needed", "FitResult.Above": "withheld: Description has them", "FitResult.Notes": "withheld: count homes",
		"Estimate.Quantity": "published", "Estimate.Unit": "published", "Estimate.Value": "published: two digits", "Estimate.Lower": "published: two digits", "Estimate.Upper": "published: two digits",
		"Estimate.Confidence": "published", "Estimate.Kind": "published", "Estimate.N": "withheld: a count", "Estimate.Method": "published", "Estimate.Notes": "withheld: count homes",
	}
	seen := map[string]bool{}
	for _, v := range []any{PosteriorResult{}, Community{}, AboveLevel{}, Exceeds{}, AreaLevel{}, RawArea{}, RawShare{},
		lognormal.Description{}, lognormal.Ranked{}, lognormal.Share{}, lognormal.FitResult{}, analysis.Estimate{}} {
		for name := range undecided(reflect.TypeOf(v), decided, seen) {
			t.Errorf("%s is neither published nor withheld: decide, in Publish and here", name)
		}
	}
	for name, how := range decided {
		if !seen[name] {
			t.Errorf("%s is no field", name)
		}
		if !strings.HasPrefix(how, "published") && !strings.HasPrefix(how, "withheld: ") {
			t.Errorf("%s is %q", name, how)
		}
	}
	// The test can fail.
	type Community struct{ Homes, Secret int }
	if got := undecided(reflect.TypeFor[Community](), decided, map[string]bool{}); len(got) != 1 || !got["Community.Secret"] {
		t.Errorf("of a type with a field nobody decided on, %v is found", got)
	}
}

func undecided(t reflect.Type, decided map[string]string, seen map[string]bool) map[string]bool {
	out := map[string]bool{}
	for i := range t.NumField() {
		name := t.Name() + "." + t.Field(i).Name
		seen[name] = true
		if decided[name] == "" {
			out[name] = true
		}
	}
	return out
}

// Every Estimate of a publication lacks what Estimate's own fields withhold.
func estimatesIn(v reflect.Value, each func(e analysis.Estimate)) {
	switch v.Kind() {
	case reflect.Pointer:
		if !v.IsNil() {
			estimatesIn(v.Elem(), each)
		}
	case reflect.Slice:
		for i := range v.Len() {
			estimatesIn(v.Index(i), each)
		}
	case reflect.Struct:
		if e, ok := v.Interface().(analysis.Estimate); ok {
			each(e)
			return
		}
		for i := range v.NumField() {
			estimatesIn(v.Field(i), each)
		}
	}
}

func someHomes(rng *rand.Rand, homes ...int) (out []Home) {
	for j, n := range homes {
		mu := math.Log(90) + 0.4*rng.NormFloat64()
		for range n {
			out = append(out, Home{Area: string(rune('A' + j)), Log: mu + 0.8*rng.NormFloat64()})
		}
	}
	return out
}

func TestPublish(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 1))
	homes := someHomes(rng, 33, 4, 7, 28)
	opt := PosteriorOptions{Levels: []float64{200, 40}, Exceeds: []float64{0.1}}
	p, err := Publish(homes, homes, opt, PublishOptions{})
	if err != nil {
		t.Fatal(err)
	}
	var names []string
	for _, a := range p.Areas {
		names = append(names, a.Name)
	}
	if got := strings.Join(names, ","); got != "A,D,others together" || !p.Areas[2].Merged || p.Areas[2].Homes != 10 || p.Areas[0].Homes != 30 || p.Areas[1].Homes != 20 || p.Community.Homes != 60 {
		t.Errorf("rows %s: %+v", got, p.Areas)
	}
	n := 0
	estimatesIn(reflect.ValueOf(p), func(e analysis.Estimate) {
		n++
		if len(e.Notes) > 1 || len(e.Notes) == 1 && (e.Notes[0].Code != "unbounded" || !math.IsInf(e.Upper, 1)) || e.N != 0 {
			t.Errorf("an estimate of N %d with notes %v leaves", e.N, e.Notes)
		}
		if err := e.Check(); err != nil {
			t.Error(err)
		}
	})
	if n < 4*4+3 { // of each row GM, AM and two shares; GSD and the two spreads
		t.Errorf("only %d estimates were looked at", n)
	}
	// The estimates are those of the merged areas, rounded.
	merged := countedAsTold(renamed(homes, map[string]bool{"B": true, "C": true}), DefaultMinCell)
	post, err := Posterior(merged, opt)
	if err != nil {
		t.Fatal(err)
	}
	if got, want := p.Areas[2].GM.Value, Digits(post.Areas[2].GM.Value, 0); got != want {
		t.Errorf("GM of the merged areas %v, want %v", got, want)
	}
	if lo, hi := p.Community.Above[0].Share.Lower, p.Community.Above[0].Share.Upper; lo > post.Community.Above[0].Share.Lower || hi < post.Community.Above[0].Share.Upper {
		t.Errorf("the published interval %v to %v is not around the model's", lo, hi)
	}
	// Order of homes changes nothing.
	shuffled := slices.Clone(homes)
	rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	again, err := Publish(shuffled, shuffled, opt, PublishOptions{})
	if err != nil || !reflect.DeepEqual(p, again) {
		t.Errorf("homes in another order are published otherwise (%v)", err)
	}
	// Dwellings of merged areas are added up; an area without homes has no row, and its
	// dwellings are said.
	opt.Areas = []Area{{Name: "A", Population: 100}, {Name: "B", Population: 100}, {Name: "C", Population: 100}, {Name: "D", Population: 100}, {Name: "E", Population: 600}}
	p, err = Publish(homes, homes, opt, PublishOptions{})
	if err != nil || len(p.Areas) != 3 || p.Areas[2].Above[0].Dwellings == nil || p.Areas[2].Above[0].Dwellings.Upper > 200 || !p.PopulationGiven || *p.Unmeasured != (Unmeasured{1, 600}) {
		t.Errorf("with dwellings: %+v, unmeasured %v (%v)", p.Areas, p.Unmeasured, err)
	}
	// Of a row with hardly more dwellings than a cell of homes, and so of all, their
	// number above a level is not told.
	few := opt
	for dwellings, told := range map[float64]bool{10: false, 11: true} { // 19 and 20 with those of B
		few.Areas = slices.Clone(opt.Areas)
		few.Areas[1].Population, few.Areas[2].Population, few.Areas[4].Population = 9, dwellings, 3
		p, err := Publish(homes, homes, few, PublishOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for _, r := range append(p.Areas, p.Community) {
			for _, s := range r.Above {
				if (s.Dwellings != nil) != told {
					t.Errorf("%s, 9 and %v dwellings: above %v %v are told", r.Name, dwellings, s.Level, s.Dwellings)
				}
			}
		}
		if said := slices.ContainsFunc(p.Withheld, func(w Withheld) bool { return w.What == "dwellings above a level" }); said == told {
			t.Errorf("9 and %v dwellings: withheld is %v", dwellings, p.Withheld)
		}
	}
	// What homes' errors share in the merged areas is kept: 4 homes of 0.02 and 7 of
	// 0.24 come to (4·0.02 + 7·0.24)/11 = 0.16.
	shared := Shared{All: 0.01, Areas: map[string]float64{"A": 0.03, "B": 0.02, "C": 0.24, "D": 0.05}}
	if got := mergedShared(&shared, homes, map[string]bool{"B": true, "C": true}); len(got.Areas) != 3 || math.Abs(got.Areas[Others]-0.16) > 1e-12 || got.Areas["A"] != 0.03 || got.All != 0.01 || len(shared.Areas) != 4 {
		t.Errorf("%v of %v", got, shared)
	}
	for i := range homes {
		homes[i].SE = 0.8
	}
	var widths []float64 // of the merged row, with its areas sharing nothing of their own and with
	for _, areas := range []map[string]float64{{"A": 0.03, "D": 0.05}, {"A": 0.03, "B": 0.5, "C": 0.6, "D": 0.05}} {
		opt.Shared = &Shared{All: 0.01, Areas: areas}
		if p, err = Publish(homes, homes, opt, PublishOptions{}); err != nil {
			t.Fatal(err)
		}
		widths = append(widths, p.Areas[2].GM.Upper/p.Areas[2].GM.Lower)
	}
	if !(widths[1] > 1.1*widths[0]) {
		t.Errorf("what the merged areas' homes share makes the interval %v times as wide as without, %v", widths[1], widths[0])
	}
	// Refusals.
	for _, c := range []struct {
		homes, raws []Home
		po          PublishOptions
		want        string
	}{
		{homes[:9], homes[:9], PublishOptions{}, "fewer than 10 homes"},
		{homes, homes, PublishOptions{MinCell: 4}, "5 is the fewest"},
		{homes, homes[1:], PublishOptions{}, "as measured"},
	} {
		if _, err := Publish(c.homes, c.raws, opt, c.po); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("error %v, want one with %q", err, c.want)
		}
	}
}

// By hand, k = 10. Whole: 60 homes, 30 above 100, 22 above 150, 15 above 200, 4 above
// 400. 400 has fewer than 10 above. From below: 100 has 30 and 30; 150 has 22 above
// but 8 between it and 100; 200 has 15, and 15 between it and 100.
// Parts of 40 and 20: 20 and 10 above 100 are told; 12 and 3 above 200 are not.
func TestCountable(t *testing.T) {
	row := func(n int, above ...int) RawArea {
		a := RawArea{Homes: n}
		for i, l := range []float64{400, 100, 200, 150} {
			a.Above = append(a.Above, RawShare{Level: l, Above: above[i]})
		}
		return a
	}
	whole, parts := row(60, 4, 30, 15, 22), []RawArea{row(40, 3, 20, 12, 15), row(20, 1, 10, 3, 7)}
	both, all := Countable(whole, parts, 10)
	if !slices.Equal(both, []bool{false, true, true, false}) || !slices.Equal(all, []bool{false, true, false, false}) {
		t.Errorf("levels 400, 100, 200, 150: of the whole %v, of its parts %v", both, all)
	}
	// A limit that leaves one home undecided withholds the level.
	whole.Above[1].Undecided = 1
	if both, _ := Countable(whole, parts, 10); both[1] {
		t.Error("a share with an undecided home is told")
	}
	// None above and all above say the same of every home.
	for _, above := range []int{0, 60} {
		if both, _ := Countable(row(60, above, above, above, above), nil, 10); slices.Contains(both, true) {
			t.Errorf("%d above of 60 is told", above)
		}
	}
}

// A counted share as told is the same for every pair of counts that are told alike,
// and its limits hold those of all of them.
func TestPublishedCount(t *testing.T) {
	const k = LeastMinCell
	raw := func(x, n int) RawShare {
		s := RawShare{Above: x, Share: analysis.Estimate{Value: float64(x) / float64(n), N: n, Confidence: 0.95, Method: AreaRaw, Kind: analysis.ConfidenceInterval}}
		s.Share.Lower, s.Share.Upper = numeric.Wilson(float64(x), float64(n), 1.959963984540054)
		return s
	}
	alike := map[[2]int]PublishedRange{}
	for n := 2 * k; n <= 150; n++ {
		for x := k; x <= n-k; x++ {
			exact, e := raw(x, n).Share, *PublishedCount(raw(x, n), AtLeast(n, k), AtLeast(n, k)+k-1, k)
			if !(e.Lower >= 0 && e.Lower <= exact.Lower && e.Upper >= exact.Upper && e.Upper <= 1) {
				t.Fatalf("%d of %d, %v (%v to %v), is told as %v to %v", x, n, exact.Value, exact.Lower, exact.Upper, e.Lower, e.Upper)
			}
			told := [2]int{AtLeast(x, k), AtLeast(n, k)}
			if first, ok := alike[told]; ok && !reflect.DeepEqual(first, e) {
				t.Fatalf("%d of %d is told as %v, another of the same rounded counts as %v", x, n, e, first)
			}
			alike[told] = e
		}
	}
	// The total of several rows is told more widely.
	for n := 2 * k; n <= 60; n++ {
		for x := k; x <= n-k; x++ {
			for least := max(0, n-20); least <= n; least += 4 {
				for _, most := range []int{n, n + 7, n + 20} {
					exact, e := raw(x, n).Share, *PublishedCount(raw(x, n), least, most, k)
					if !(e.Lower >= 0 && e.Lower <= exact.Lower && e.Upper >= exact.Upper && e.Upper <= 1) {
						t.Fatalf("%d of %d, told to be %d to %d: %v to %v", x, n, least, most, e.Lower, e.Upper)
					}
				}
			}
		}
	}
	// By hand, k = 5: 12 of 34 are told as 10 to 14 and 30 to 34, so the limits are the
	// lower one of 10 of 34 and the upper one of 14 of 30. With z² = 3.8415, Wilson's are
	// (10 + 1.9207 ∓ 1.96·√(10·24/34 + 0.9604))/(34 + 3.8415) = 0.1683 and
	// (14 + 1.9207 ± 1.96·√(14·16/30 + 0.9604))/(30 + 3.8415) = 0.6385.
	if e := PublishedCount(raw(12, 34), 30, 34, k); e.Lower != 0.16 || e.Upper != 0.64 {
		t.Errorf("12 of 34 is told as %v to %v, want 0.16 to 0.64", e.Lower, e.Upper)
	}
}

// TestPublishedRange: of a counted share a range is told and no value, which the
// middles of rounded counts would only seem to be.
func TestPublishedRange(t *testing.T) {
	of := reflect.TypeOf(PublishedShare{}.Counted).Elem()
	for i := range of.NumField() {
		if name := of.Field(i).Name; name == "Value" || name == "N" {
			t.Errorf("a counted share is published with its %s", name)
		}
	}
}

// TestTogether: the areas of the merged row are named for a map only where each may
// still have any of k numbers of homes. By hand, k = 5: nine areas of one home make a row
// told as 5 to 9, of which the eight others hold 8 at least, so that each would be known
// to have one; two areas of 4 make one of 5 to 9, of which the other holds 1 to 8, and so
// either may have 1 to 8. Where the areas without a home are told, it is the same: not to
// be among them is to have one.
func TestTogether(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 5))
	nine := someHomes(rng, 30, 40, 1, 1, 1, 1, 1, 1, 1, 1, 1)
	two := someHomes(rng, 30, 40, 4, 4)
	var dwellings []Area
	for _, name := range "ABCDEFGHIJK" {
		dwellings = append(dwellings, Area{Name: string(name), Population: 1000})
	}
	for _, c := range []struct {
		homes []Home
		areas []Area
		want  string
	}{{nine, nil, ""}, {two, nil, "C,D"}, {nine, dwellings, ""}, {two, dwellings, "C,D"}, {someHomes(rng, 30, 40), nil, ""}} {
		p, err := Publish(c.homes, c.homes, PosteriorOptions{Options: Options{Areas: c.areas}, Levels: []float64{100}}, PublishOptions{MinCell: 5})
		if err != nil {
			t.Fatal(err)
		}
		if got := strings.Join(p.Together, ","); got != c.want {
			t.Errorf("%q are named as together, want %q: %+v", got, c.want, p.Areas)
		}
		if told := p.Unmeasured != nil; told != (c.areas != nil && c.want != "") {
			t.Errorf("%q: of areas without a home is told %v", c.want, p.Unmeasured)
		} else if told && *p.Unmeasured != (Unmeasured{7, 7000}) {
			t.Errorf("of areas without a home is told %v", *p.Unmeasured)
		}
	}
}

func TestDigits(t *testing.T) {
	for _, c := range []struct {
		x         float64
		direction int
		want      float64
	}{
		{91.78, 0, 92}, {91.78, -1, 91}, {91.78, 1, 92}, {100.4, -1, 100}, {100.4, 1, 110}, {99.9, -1, 99}, {99.96, 0, 100}, {99.4, 1, 100},
		{0.000564, -1, 0.00056}, {2.4, -1, 2.4}, {2.4, 1, 2.4}, {0, 1, 0}, {-0.0564, 1, -0.056}, {-0.0564, -1, -0.057}, {-100.4, -1, -110}, {math.Inf(1), 1, math.Inf(1)},
	} {
		if got := Digits(c.x, c.direction); got != c.want {
			t.Errorf("Digits(%v, %d) = %v, want %v", c.x, c.direction, got, c.want)
		}
	}
	for _, c := range []struct {
		p         float64
		direction int
		want      float64
	}{{0.9963, 0, 0.9963}, {0.99634, -1, 0.9963}, {0.99634, 1, 0.9964}, {0.853, 0, 0.85}, {0.853, 1, 0.86}, {0.5, 0, 0.5}, {1, 1, 1}, {0.49, -1, 0.49}, {1 - 1e-17, -1, 1}} {
		if got := shareDigits(c.p, c.direction); got != c.want {
			t.Errorf("shareDigits(%v, %d) = %v, want %v", c.p, c.direction, got, c.want)
		}
	}
	rng := rand.New(rand.NewPCG(2, 2))
	for range 20000 {
		x := math.Exp(10 * rng.NormFloat64())
		lo, mid, hi := Digits(x, -1), Digits(x, 0), Digits(x, 1)
		if !(lo <= x && x <= hi && lo <= mid && mid <= hi) || mid > 1.051*x || mid < 0.949*x {
			t.Fatalf("%v is told as %v, %v, %v", x, lo, mid, hi)
		}
		if text := strconv.FormatFloat(hi, 'e', -1, 64); strings.IndexByte(text, 'e') > 3 {
			t.Fatalf("%v has more than two digits", text)
		}
	}
}

// By hand, 12 homes: a quarter of them is 3, and a tenth is 1.2, so the 90th
// percentile rests on too few and the quartiles do not. But they are told as 10, of
// which a quarter is 2.5, and of 12 homes or of 11 the same must be told.
func TestPublishValues(t *testing.T) {
	described := func(values []float64, k int) PublishedValues {
		var obs []lognormal.Observation
		for _, x := range values {
			obs = append(obs, lognormal.Exact(x))
		}
		d, err := lognormal.Describe(obs, lognormal.DescribeOptions{Levels: []float64{100}, Shape: true, Counts: CountsAsTold(len(obs), k)})
		if err != nil {
			t.Fatal(err)
		}
		v, err := PublishValues(d, PublishOptions{MinCell: k})
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
	var values []float64
	for i := range 12 {
		values = append(values, 20+10*float64(i))
	}
	v := described(values, 10)
	if v.Homes != 10 || v.AM == nil || v.Ranks[0].Value != nil || v.Ranks[1].Value == nil || v.Ranks[3].Value != nil || *v.Ranks[1].Value != Digits(*v.Ranks[1].Value, 0) || v.Above[0].Share == nil || v.Above[0].Counted != nil {
		t.Errorf("%+v", v)
	}
	if v = described(values, 6); v.Ranks[0].Value == nil || v.Ranks[2].Value == nil || v.Ranks[3].Value != nil {
		t.Errorf("of 12 homes told as 12: %+v", v.Ranks)
	}
	// Ten homes alike and one far off: a fit says of its mean 111 and of the share above
	// 20 Bq/m³ a half, where the values say 466 and one in eleven.
	v = described([]float64{11, 10, 12, 14, 15, 16, 13, 12, 11, 10, 5000}, 10)
	if v.Shape != lognormal.FarFromLogNormal || v.AM != nil || v.Above[0].Share != nil || v.GM == nil || v.GSD == nil || len(v.Withheld) == 0 || v.Withheld[0].What != "mean and fitted shares" {
		t.Errorf("what a fit far from the values says is told: %+v", v)
	}
	var obs []lognormal.Observation
	for _, x := range values {
		obs = append(obs, lognormal.Exact(x))
	}
	d, err := lognormal.Describe(obs, lognormal.DescribeOptions{})
	if err != nil {
		t.Fatal(err)
	}
	if _, err = PublishValues(d, PublishOptions{}); err == nil || !strings.Contains(err.Error(), "counts 12 homes, where 10 are told") {
		t.Errorf("limits of 12 homes are told beside the number 10 (%v)", err)
	}
	d.N = 9
	if _, err = PublishValues(d, PublishOptions{}); err == nil {
		t.Error("9 homes are told")
	}
}

// By hand: 19 homes told as 10 to 19 count 10/19 each, so their mean is their own, and
// the sum of squares, 18 s², becomes (10/19)·18 s² on 10 − 1 degrees of freedom: the
// spread is √(10·18/(19·9)) = 1.026 s, and with 9 told as 5 to 9, √(5·8/(9·4)) = 1.054 s.
// The interval of a mean is t₉/√10 for t₁₈/√19: 1.48 times as wide (t₄/√5 for t₈/√9: 1.62).
func TestCountedAsTold(t *testing.T) {
	for _, c := range []struct {
		homes, min   int
		spread, wide float64
	}{{19, 10, 1.026, 1.48}, {9, 5, 1.054, 1.62}, {20, 10, 1, 1}} {
		var homes []Home
		var logs []float64
		var obs []lognormal.Observation
		for i := range c.homes {
			logs = append(logs, 4+math.Sin(float64(i)))
			homes = append(homes, Home{Area: "A", Log: logs[i]})
			obs = append(obs, lognormal.Exact(math.Exp(logs[i])))
		}
		mean, sd := numeric.Moments(logs)
		homes = countedAsTold(homes, c.min)
		m, s := weightedMoments(logs, homes)
		if math.Abs(m-mean) > 1e-12 || math.Abs(s/sd-c.spread) > 5e-4 {
			t.Errorf("%d homes told by %d: mean %v of %v, spread %v times theirs", c.homes, c.min, m, mean, s/sd)
		}
		d, err := newDesign(homes, &Options{})
		if err != nil {
			t.Fatal(err)
		}
		if told := float64(AtLeast(c.homes, c.min)); math.Abs(d.counts-told) > 1e-12 || math.Abs(d.cells[0].count-told) > 1e-12 || math.Abs(d.areas[0].counts-told) > 1e-12 || d.homes != c.homes {
			t.Errorf("%d homes count %v, %v and %v in the model, where %v are told", c.homes, d.counts, d.cells[0].count, d.areas[0].counts, told)
		}
		full, err := lognormal.Fit(obs, lognormal.FitOptions{})
		if err != nil {
			t.Fatal(err)
		}
		for _, method := range []lognormal.FitMethod{"", lognormal.AdjustedLikelihood} {
			told, err := lognormal.Fit(obs, lognormal.FitOptions{Counts: CountsAsTold(c.homes, c.min), Method: method})
			if err != nil {
				t.Fatal(err)
			}
			spread := 1.0 // complete data keep their own
			if method != "" {
				spread = c.spread
			}
			if math.Abs(told.SDLog/full.SDLog-spread) > 5e-4 || told.N != AtLeast(c.homes, c.min) {
				t.Errorf("%q: %d homes told as %d have %v times their spread", method, c.homes, told.N, told.SDLog/full.SDLog)
			}
			wide := math.Log(told.GM.Upper/told.GM.Lower) / math.Log(full.GM.Upper/full.GM.Lower)
			if math.Abs(wide/(c.wide*spread)-1) > 5e-3 {
				t.Errorf("%q: the interval of %d homes told as %d is %v times as wide", method, c.homes, told.N, wide)
			}
		}
	}
	for _, counts := range [][]float64{{1}, {1, 0}, {1, -1}, {0.5, 0.5}, {1, math.NaN()}, {1, math.Inf(1)}} {
		if _, err := lognormal.Fit([]lognormal.Observation{lognormal.Exact(10), lognormal.Exact(20)}, lognormal.FitOptions{Counts: counts}); err == nil {
			t.Errorf("counts %v are taken", counts)
		}
	}
}

// Rows that are told as far fewer homes than they have still hold what their intervals
// promise, and more: four areas of 19 homes told as 10 to 19 each, drawn from the model
// with spreads as they are found, at 90 %.
func TestPublishedCoverage(t *testing.T) {
	communities := 150
	if testing.Short() {
		communities = 30
	}
	rng := rand.New(rand.NewPCG(19, 10))
	held, all := map[string]int{}, map[string]int{}
	for range communities {
		sigma, tau := 0.5+0.5*rng.Float64(), 0.1+0.5*rng.Float64()
		var homes []Home
		var levels []float64
		for j := range 4 {
			mu := math.Log(90) + tau*rng.NormFloat64()
			levels = append(levels, mu)
			for range 19 {
				homes = append(homes, Home{Area: string(rune('A' + j)), Log: mu + sigma*rng.NormFloat64()})
			}
		}
		p, err := Publish(homes, homes, PosteriorOptions{Options: Options{Confidence: 0.9}, Levels: []float64{200}}, PublishOptions{})
		if err != nil {
			t.Fatal(err)
		}
		check := func(what string, e *analysis.Estimate, truth float64) {
			if all[what]++; e.Lower <= truth && truth <= e.Upper {
				held[what]++
			}
		}
		share := 0.0
		for j, a := range p.Areas {
			check("geometric mean of an area", a.GM, math.Exp(levels[j]))
			above := numeric.Phi((levels[j] - math.Log(200)) / sigma)
			check("share of an area", a.Above[0].Share, above)
			share += above / 4
		}
		check("share of the community", p.Community.Above[0].Share, share)
		check("spread between homes", &p.SDHome, sigma)
	}
	for what, n := range all {
		got := float64(held[what]) / float64(n)
		t.Logf("%s: %d of %d hold, %.3f", what, held[what], n, got)
		if got < 0.9-3*math.Sqrt(0.09/float64(communities)) {
			t.Errorf("%s: intervals asked for at 90 %% hold %.3f", what, got)
		}
	}
}
