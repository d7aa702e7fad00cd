package survey

import (
	"cmp"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/lognormal"
)

// What is safe to publish of a community.
//
// The rule is that of minimum frequency, on counts of homes: no figure rests on
// fewer than k homes, and no count of homes is told nearer than within k. Areas with
// fewer homes are merged into one row before anything is estimated. Blanks in their
// place would have to be defended, figure by figure and level by level, against
// whoever takes the areas told from the total; with a merged row the rows make up the
// whole, so that no area is left to take from it, it tells what can be told of
// those homes, and the figures are made of data in which the small areas no longer
// stand. The row takes in the next smallest area while it has itself fewer than k
// homes or holds one area alone: else it would be that area, under another name.
// Totals are told so that together with the rows they leave each row's count any of
// k numbers: the homes as what the rows add up to, and those above a level as
// tellWhole has it.
//
// Published is all that may leave. It holds no field of the results: each is put in
// by name, so that what is added to them later stays inside until someone decides
// (TestGate).
//
// What this does not do. Two publications of the same homes, by two groupings or
// before and after some were added, can be subtracted from one another; no single run
// can know of the other. Who knows most of the homes in a row knows more of the rest
// than it says. The model's share and its means come near a row's own figures where
// its homes are many; they are of at least k homes and never say none or all.
//
// The rules are common practice in statistical disclosure control, as in
// Willenborg and de Waal 2001, Elements of Statistical Disclosure Control, and
// Hundepool et al. 2012, Statistical Disclosure Control (from memory).

const (
	// DefaultMinCell is the fewest homes a figure may rest on, if nothing else is
	// said, and LeastMinCell the fewest that may be said (common practice in public
	// health, from memory: 5 to 11).
	DefaultMinCell = 10
	LeastMinCell   = 5
	// Others is the name of the row of merged areas.
	Others = "others together"

	beyondQuantile = 3 // homes that lie beyond a quantile on either side
	leastCells     = 2 // cells that a row's dwellings come to, for their number above a level to be told
)

// AreaHomes is an area and how many homes were measured there.
type AreaHomes struct {
	Area  string
	Homes int
}

// MergeSmall says which areas are told only together, as Others: those with
// fewer than min homes, and the next smallest ones while these have fewer than min
// homes together, are one alone, or are so full that each must hold nearly min − 1.
// An area that has the row's name belongs to it. Areas without a home hold nothing to
// hide, and are not merged.
func MergeSmall(areas []AreaHomes, min int) (merged map[string]bool) {
	sorted := slices.DeleteFunc(slices.Clone(areas), func(a AreaHomes) bool { return a.Homes == 0 })
	small := func(a AreaHomes) bool { return a.Homes < min || a.Area == Others }
	slices.SortFunc(sorted, func(a, b AreaHomes) int {
		switch {
		case small(a) != small(b) && small(a):
			return -1
		case small(a) != small(b):
			return 1
		}
		return cmp.Or(a.Homes-b.Homes, cmp.Compare(a.Area, b.Area))
	})
	merged = map[string]bool{}
	homes, members, full, larger := 0, 0, 0, false
	for _, a := range sorted {
		if !small(a) && (len(merged) == 0 || homes >= min && members > 1 && (larger || full-AtLeast(homes, min) >= min/2)) {
			break
		}
		merged[a.Area] = true
		homes += a.Homes
		members++
		full += min - 1
		larger = larger || a.Homes >= min
	}
	return merged
}

// AtLeast is how a count of homes is told: as the multiple of min that it reaches,
// so that it is known to within min and no nearer. The total is told as what the rows
// told add up to, for a total rounded by itself would narrow them again.
func AtLeast(homes, min int) int { return homes - homes%min }

// PublishOptions of Publish. The zero value is the documented default.
type PublishOptions struct {
	MinCell int // homes; 0: DefaultMinCell
	// Tests and Season are Share's, with homes as they were before it: what homes' errors
	// have in common is worked out of the homes as told. nil: they have nothing.
	Tests  []*Test
	Season [][]float64
}

func (o *PublishOptions) check() error {
	if o.MinCell == 0 {
		o.MinCell = DefaultMinCell
	}
	if o.MinCell < LeastMinCell {
		return fmt.Errorf("cells of %d homes; %d is the fewest that are published", o.MinCell, LeastMinCell)
	}
	return nil
}

// Published is all of a community that may leave.
type Published struct {
	MinCell         int
	Community       PublishedRow
	Areas           []PublishedRow // in order of name, Others last; none where one row would be all
	RawGM, RawGSD   float64        // of the community as measured; 0 where they cannot be had, or hang on how many homes each row has
	Unmeasured      *Unmeasured    // nil without populations, and where to tell of them would tell how many homes other areas have: then they are of the merged row
	SDArea, SDHome  analysis.Estimate
	Withheld        []Withheld
	Notes           []analysis.Note
	PopulationGiven bool // shares are of dwellings

	// Together are the areas told as Others, for a map to show the row in their places;
	// nil where to name them would tell how many homes they have.
	Together []string
}

// Unmeasured are the areas without a home measured: the community's figures hold them,
// as the other areas have it, and they have no row.
type Unmeasured struct {
	Areas     int
	Dwellings float64
}

// PublishedRow is the community or one area.
type PublishedRow struct {
	Name        string
	Merged      bool // several areas
	Homes, Most int  // from so many to so many homes
	GM, GSD, AM *analysis.Estimate
	Above       []PublishedShare
}

// PublishedShare is what is told of the share above one level.
type PublishedShare struct {
	Level     float64
	Share     *analysis.Estimate
	Counted   *PublishedRange    // as measured; nil: withheld
	Dwellings *analysis.Estimate // above the level; nil without populations
	Exceeds   []Exceeds
}

// PublishedRange is an interval of which no value is told: of counts that are told
// to within a cell, none is nearer to what was counted than another. Least and Most
// are the homes above the level, as they are told.
type PublishedRange struct {
	Lower, Upper, Confidence float64
	Method                   string
	Least, Most              int
}

// Withheld is what was left out, and why.
type Withheld struct{ What, Why string }

// Publish gives of homes what may leave: the geometric and arithmetic means, Bq/m³, and
// the shares of homes above each level, from 0 to 1, of the community and of areas that
// are large enough or merged. raws are the same homes as measured, in the same order.
//
// Formula. Areas merged by MergeSmall, then Posterior and Unpooled, in which each
// home of a row of n homes told as m counts m/n, so that all that is estimated is a
// function of the numbers told and of how the values are spread out; so with what
// homes' errors share. In the community a row counts by its dwellings or, without
// them, by the middle of its range of homes. Counts of homes
// are rounded down to a multiple of k, counted shares told from the least to the
// greatest of Wilson's limits for all counts that are told so, without a value;
// estimates have two significant digits, limits rounded outwards. A counted share is
// told only where at least k homes lie above the level, k below it, and k between it
// and the next level told, in the row; of areas it is told for all rows or for none,
// so that the row left out is not what the rest leaves of the total. None above and
// all above are so withheld too: each would say the same of every home. The whole's
// count is told so that no row's is narrowed by it, and above a level that is not told of
// the rows only where no higher one is.
//
// Assumes what Posterior and Unpooled do; and where it may not be told which areas are
// merged, that dwellings of areas without a home are like those of the merged ones.
//
// Interval: theirs, of as many homes as are told at least, and a little wider for the
// rounding. Where 19 homes are told as 10 to 19, a geometric mean's is up to 1.5 times as
// wide, and the spread between homes is 2.6 % too large (9 told as 5 to 9: 1.6 times and
// 5.4 %); less with more homes. Without dwellings the community's are wider on each side
// by as much as the figure of the rows' point estimates moves that way over all numbers
// of homes that the rows may have, and so hold for homes as measured in each area.
//
// Notes: one-area, few-areas, mostly-censored (each in words without a count).
//
// Source: Hundepool and others 2012, Statistical Disclosure Control (from memory), for
// least counts and complementary suppression; those of Posterior and Unpooled.
func Publish(homes, raws []Home, opt PosteriorOptions, po PublishOptions) (Published, error) {
	if err := po.check(); err != nil {
		return Published{}, err
	}
	k := po.MinCell
	if len(homes) != len(raws) {
		return Published{}, fmt.Errorf("%d homes, and %d as measured", len(homes), len(raws))
	}
	if opt.Shared != nil {
		return Published{}, fmt.Errorf("what homes' errors share is worked out of the homes as told: give their tests")
	}
	if len(homes) < k {
		return Published{}, fmt.Errorf("fewer than %d homes: nothing that rests on so few is published", k)
	}
	merged := MergeSmall(areaHomes(homes, opt.Areas), k)
	homes, raws = countedAsTold(renamed(homes, merged), k), countedAsTold(renamed(raws, merged), k)
	named := mayBePresent(homes, merged, k)
	opt.Areas = mergedAreas(opt.Areas, homes, merged, named)
	if po.Tests != nil {
		own, shared, err := Share(homes, po.Tests, po.Season)
		if err != nil {
			return Published{}, err
		}
		homes, opt.Shared = own, &shared
	}
	opt.weigh = func(homes int) float64 { return float64(AtLeast(homes, k)) + float64(k-1)/2 }
	post, err := Posterior(homes, opt)
	if err != nil {
		return Published{}, err
	}
	plain, err := Unpooled(raws, opt.Levels, opt.Confidence)
	if err != nil {
		return Published{}, err
	}
	every := slices.Clone(raws)
	for i := range every {
		every[i].Area = ""
	}
	whole, err := Unpooled(every, opt.Levels, opt.Confidence)
	if err != nil {
		return Published{}, err
	}
	enoughDwellings(post.Areas, &post.Community, k)
	c := post.Community
	p := Published{MinCell: k, PopulationGiven: c.Population > 0, SDArea: *published(&post.SDArea), SDHome: *published(&post.SDHome)}
	if len(plain) == 1 {
		p.RawGM, p.RawGSD = Digits(whole[0].GM, 0), Digits(whole[0].GSD, 0)
	} else if !p.PopulationGiven {
		widen(&c, post.Areas, post.SDHome.Value, k)
	}
	p.Community = PublishedRow{Name: "all homes", Homes: AtLeast(c.Homes, k), Most: AtLeast(c.Homes, k) + k - 1, GM: published(&c.GM), GSD: published(&c.GSD), AM: published(&c.AM), Above: publishedShares(c.Above)}
	if len(plain) > 1 {
		for _, a := range post.Areas {
			if a.Homes == 0 {
				continue
			}
			p.Areas = append(p.Areas, PublishedRow{Name: a.Area, Merged: merged != nil && a.Area == Others, Homes: AtLeast(a.Homes, k), Most: AtLeast(a.Homes, k) + k - 1,
				GM: published(&a.GM), AM: published(&a.AM), Above: publishedShares(a.Above)})
		}
		// The whole is told as what its rows add up to, and no nearer.
		p.Community.Homes, p.Community.Most = 0, 0
		for _, a := range p.Areas {
			p.Community.Homes, p.Community.Most = p.Community.Homes+a.Homes, p.Community.Most+a.Most
		}
		slices.SortStableFunc(p.Areas, func(a, b PublishedRow) int { return order(a.Merged) - order(b.Merged) })
	}
	if named && p.Areas != nil {
		p.Together = slices.Sorted(maps.Keys(merged))
	}
	if named && p.PopulationGiven {
		p.Unmeasured = unmeasured(post.Areas)
	}
	// Above is in the order of levels asked for, in all of them.
	both, all := Countable(whole[0], plain, k)
	for i, told := range tellWhole(whole[0], plain, both, all, k) {
		if told == nil {
			continue
		}
		p.Community.Above[i].Counted = PublishedCount(whole[0].Above[i], *told, ToldCount{p.Community.Homes, p.Community.Most}, k)
		if all[i] && len(p.Areas) > 1 {
			for _, r := range plain {
				at := slices.IndexFunc(p.Areas, func(a PublishedRow) bool { return a.Name == r.Area })
				p.Areas[at].Above[i].Counted = PublishedCount(r.Above[i], Told(r.Above[i].Above, k), ToldCount{p.Areas[at].Homes, p.Areas[at].Most}, k)
			}
		}
	}
	p.Withheld = withheld(p, merged, opt.Levels)
	for _, n := range post.Notes {
		text := publishedNotes[n.Code]
		if n.Code == "one-area" && len(merged) > 1 {
			text = "the areas are too small to be told apart, and taken together nothing is known of the spread between them"
		}
		if text != "" {
			p.Notes = append(p.Notes, analysis.Note{Code: n.Code, Text: text})
		}
	}
	return p, nil
}

// enoughDwellings withholds how many dwellings lie above the levels where a row has
// hardly more dwellings than homes are a cell: the number would be nearly a count of
// the homes measured, and of all rows, because the last one is what the others leave
// of the whole.
func enoughDwellings(areas []AreaLevel, c *Community, min int) {
	if !slices.ContainsFunc(areas, func(a AreaLevel) bool { return a.Homes > 0 && a.Population < float64(leastCells*min) }) {
		return
	}
	for _, above := range append([][]AboveLevel{c.Above}, aboves(areas)...) {
		for l := range above {
			above[l].Homes = nil
		}
	}
}

func aboves(areas []AreaLevel) (out [][]AboveLevel) {
	for _, a := range areas {
		out = append(out, a.Above)
	}
	return out
}

// mayBePresent says whether it may be told of the merged areas that each has a home, as
// it is told by naming them, or by telling which areas have none. The others' homes then
// leave the less for each: of nine areas with 5 to 9 homes every one would have just
// one. It may where the homes of each can still be any of k numbers or more.
func mayBePresent(homes []Home, merged map[string]bool, k int) bool {
	n := 0
	for _, h := range homes {
		if h.Area == Others {
			n++
		}
	}
	return len(merged) == 0 || Told(n, k).Most-(len(merged)-1)-1 >= k
}

func unmeasured(areas []AreaLevel) *Unmeasured {
	var u Unmeasured
	for _, a := range areas {
		if a.Homes == 0 {
			u.Areas++
			u.Dwellings += a.Population
		}
	}
	u.Dwellings = Digits(u.Dwellings, 0)
	return &u
}

func order(last bool) int {
	if last {
		return 1
	}
	return 0
}

// publishedNotes are the notes that may leave, in words that count no homes.
var publishedNotes = map[string]string{
	"one-area":        "there is one area, so nothing is known of the spread between areas",
	"few-areas":       "the areas are few and say little of the spread between areas, so that its prior counts",
	"mostly-censored": "most homes lie below their detectors' limits, so that the shape assumed counts",
}

func withheld(p Published, merged map[string]bool, levels []float64) (w []Withheld) {
	k := p.MinCell
	add := func(what, format string, args ...any) {
		w = append(w, Withheld{what, fmt.Sprintf(format, args...)})
	}
	if len(merged) > 0 && len(p.Areas) > 0 {
		add("areas", "those with fewer than %d homes are told only together, as %q, where need be with the next smallest", k, Others)
	} else if len(merged) > 0 {
		add("areas", "too few homes to be told one by one: %d are needed, and an area too small needs another beside it", k)
	}
	for i, l := range levels {
		at := strconv.FormatFloat(l, 'f', -1, 64)
		switch {
		case p.Community.Above[i].Counted == nil:
			add("counted share above "+at, "fewer than %d homes above it, below it, or between it and another level, or so few that rows would follow from it, or a limit that leaves a home undecided", k)
		case len(p.Areas) > 0 && p.Areas[0].Above[i].Counted == nil:
			add("counted share above "+at+" by area", "in some row fewer than %d homes above it or below it, which would follow from the other rows and the total", k)
		}
	}
	if p.PopulationGiven && p.Unmeasured == nil {
		add("how many areas no home was measured in", "it would tell that all others have one; their dwellings are counted with those of areas told together, and taken to be like those")
	}
	if p.PopulationGiven && len(p.Community.Above) > 0 && p.Community.Above[0].Dwellings == nil {
		add("dwellings above a level", "a row has fewer than %d dwellings, so few that their number would nearly count the homes measured", leastCells*k)
	}
	weigh := ""
	if len(p.Areas) > 1 {
		add("measured mean and spread of all homes", "they hang on how many homes each row has")
		if !p.PopulationGiven {
			weigh = ", among all homes as the middle of its range, with intervals widened for the rest"
		}
	}
	add("counts of homes", "told to within %d; in all figures a row counts as the fewest homes told of it%s, and counted shares are ranges", k, weigh)
	add("digits", "two significant, limits rounded outwards")
	add("homes, rooms, detectors, dates, files", "they identify")
	add("each area's measured mean, homes below a limit, rank, fit", "nearer to single homes, and not needed")
	return w
}

// areaHomes are the areas with how many homes.
func areaHomes(homes []Home, areas []Area) (out []AreaHomes) {
	n := map[string]int{}
	for _, a := range areas {
		n[a.Name] = 0
	}
	for _, h := range homes {
		n[h.Area]++
	}
	for name, homes := range n {
		out = append(out, AreaHomes{name, homes})
	}
	return out
}

// renamed are the homes with merged areas under one name.
func renamed(homes []Home, merged map[string]bool) []Home {
	out := slices.Clone(homes)
	for i := range out {
		if merged[out[i].Area] {
			out[i].Area = Others
		}
	}
	return out
}

// countedAsTold are the homes, those of a row counting together as as many as are told
// of it. So what is estimated of them is a function of that number and of how they are
// spread out, and the same for every number that is told alike: a limit holds no more
// of the count than the row says. As told are the fewest there can be, so limits are
// rather too wide.
func countedAsTold(homes []Home, min int) []Home {
	n := map[string]int{}
	for _, h := range homes {
		n[h.Area]++
	}
	for i, h := range homes {
		homes[i].as = float64(AtLeast(n[h.Area], min)) / float64(n[h.Area])
	}
	return homes
}

// mergedAreas adds up the dwellings of merged areas. Where it may not be told which these
// are, those without a home are of them too: dwellings above a level over their share are
// a row's dwellings, and the share of all lies between the rows' by theirs, so either would
// tell it to who knows how many dwellings each area has. Covariates and neighbours of
// areas have no sum, and Publish has no use for them.
func mergedAreas(areas []Area, homes []Home, merged map[string]bool, named bool) (out []Area) {
	other := Area{Name: Others}
	measured := map[string]bool{}
	for _, h := range homes {
		measured[h.Area] = true
	}
	for _, a := range areas {
		if merged[a.Name] || len(merged) > 0 && (a.Name == Others || !named && !measured[a.Name]) {
			other.Population += a.Population
		} else {
			out = append(out, Area{Name: a.Name, Population: a.Population})
		}
	}
	if len(areas) > 0 && len(merged) > 0 {
		out = append(out, other)
	}
	return out
}

// Countable says for each level whether the counted share may be told of all the parts, and so
// of the whole: where in each part at least min homes lie above, below, and between it and
// the next lower level told. Above all of these levels it may be told of the whole alone, where
// that is so of the whole.
func Countable(whole RawArea, parts []RawArea, min int) (ofWhole, ofParts []bool) {
	n := len(whole.Above)
	ofWhole, ofParts = make([]bool, n), make([]bool, n)
	last, lastParts := whole.Homes, make([]int, len(parts))
	for j, a := range parts {
		lastParts[j] = a.Homes
	}
	tellable := func(s RawShare, before int) bool {
		return s.Undecided == 0 && s.Above >= min && before-s.Above >= min
	}
	rising := risingLevels(whole)
	higher := rising // than all that are told of the parts
	for at, i := range rising {
		all := tellable(whole.Above[i], last)
		for j, a := range parts {
			all = all && tellable(a.Above[i], lastParts[j])
		}
		if !all {
			continue
		}
		ofWhole[i], ofParts[i], last, higher = true, true, whole.Above[i].Above, rising[at+1:]
		for j, a := range parts {
			lastParts[j] = a.Above[i].Above
		}
	}
	for _, i := range higher {
		if tellable(whole.Above[i], last) {
			ofWhole[i], last = true, whole.Above[i].Above
		}
	}
	return ofWhole, ofParts
}

// ToldCount is a number of homes as it is told: from least to most.
type ToldCount struct{ Least, Most int }

// Told is how a row's number of homes is told.
func Told(homes, min int) ToldCount {
	return ToldCount{AtLeast(homes, min), AtLeast(homes, min) + min - 1}
}

// tellWhole says as how many homes of the whole those above each level are told; nil
// where they are not. ofWhole and ofRows are Countable's. Who knows this rule is to find
// that each count of each row may still be any of k numbers, whatever levels he takes
// together.
//
// Let a level's least be L in a row, so that the row's count is any from L to U = L + k − 1,
// and S how far it is above L. In a row, counts of two levels are at least k apart, and so
// are their L: a count may be any of its k numbers where those of all lower levels are U
// and those of higher ones L. The homes are a level below all, and the total of theirs is
// told as ΣL to ΣU, which adds nothing.
//
// Of a level told of the rows, the total is told by a partition of ΣL to ΣU into bins of
// k from ΣL on, the last of which begins no later than ΣU − (k − 1). A row at U leaves the
// others to make up the rest of a bin that ends at ΣL + k − 1 or later, a row at L that of
// one which begins at ΣU − (k − 1) or before, and a row between them either; so all k are
// left. But where L of two levels is k apart in a row, S of the lower level is S of
// the higher or more there, and totals of both could tell more than each. So of levels that
// hang together like this, one after the other, one total is told by the partition, and the
// others as ΣL to ΣU: the lower levels' counts can then be U and the higher ones' L, in
// all rows but one, and hinder nothing.
//
// That a level is not told of the rows, of which the next lower one told is a, tells that
// some row has fewer than k above it, or fewer than k between a and it. So below a level b
// that is told of the rows none is told of the whole alone: it would say of b, by what that row
// leaves to the others. If it is not told at all, each row may have as many above it as above a.
//
// Levels told only of the whole lie above a, the highest told of the rows (or the homes), m of
// them. With A = ΣL of a, the j-th one's bins are such that every one reaches from A − jk
// or less to (m−j+1)k or more. So whatever the rows have above a, there are totals k apart
// in the bins told: take each as small as the higher ones let it be. And rows that have them:
// from what they have above a, let all but one fall to none, one after the other, and then
// that one. On the way there is always a row with what it has above a, or another with none, and
// every total from a's to none; one not told is as the one before it. So nothing is said
// of a. It needs A of (m+1)k; where that lacks, the highest of them are not told. And of such a
// level itself a row may have k numbers or more even if all totals are known: with S of the
// level and the others having O above a, the k from 0 or S − O on. If S is O or less, let the
// row fall to one of the numbers below k, then the others to none, and it last; else let it fall
// to S − O + t, then the others by t, it to none, and the others too.
func tellWhole(whole RawArea, rows []RawArea, ofWhole, ofRows []bool, k int) []*ToldCount {
	out := make([]*ToldCount, len(whole.Above))
	least := make([]int, len(rows)) // of the last level told of the rows
	total := 0
	for r, a := range rows {
		least[r] = AtLeast(a.Homes, k)
		total += least[r]
	}
	slack := len(rows) * (k - 1) // ΣU − ΣL
	var wholeOnly []int          // levels told only of the whole
	parted := false              // one of the levels that hang together has been
	for _, i := range risingLevels(whole) {
		switch {
		case !ofWhole[i]:
			continue
		case !ofRows[i]:
			wholeOnly = append(wholeOnly, i)
			continue
		}
		sum, apart := 0, true
		for r, a := range rows {
			l := AtLeast(a.Above[i].Above, k)
			apart = apart && least[r]-l >= 2*k
			sum, least[r] = sum+l, l
		}
		total = sum
		told := ToldCount{sum, sum + slack}
		if !parted || apart {
			parted = true
			last := sum + AtLeast(slack-(k-1), k)
			told.Least = min(sum+AtLeast(whole.Above[i].Above-sum, k), last)
			if told.Least < last {
				told.Most = told.Least + k - 1
			}
		}
		out[i] = &told
	}
	m := max(min(len(wholeOnly), total/k-1), 0)
	for j, i := range wholeOnly[:m] {
		last := total - (j+1)*k // the last bin begins there, and the first at (m − j)k: no fewer are above
		told := ToldCount{min(AtLeast(whole.Above[i].Above, k), last), total + slack - (j+1)*k}
		if told.Least < last {
			told.Most = told.Least + k - 1
		}
		out[i] = &told
	}
	return out
}

// risingLevels are the places of the levels in rising order.
func risingLevels(a RawArea) []int {
	rising := make([]int, len(a.Above))
	for i := range rising {
		rising[i] = i
	}
	slices.SortFunc(rising, func(i, j int) int { return cmp.Compare(a.Above[i].Level, a.Above[j].Level) })
	return rising
}

// PublishedCount is the counted share of a row, by its homes above the level and its homes
// as they are told. It is made of nothing else, so that it says no more of them:
// the limits are Wilson's where those counts are farthest off, with as many below as a
// cell has.
func PublishedCount(s RawShare, above, homes ToldCount, min int) *PublishedRange {
	z := numeric.NormalQuantile(0.5 + s.Share.Confidence/2)
	if above.Most > homes.Most-min {
		above.Most = homes.Most - min
	}
	lower, _ := numeric.Wilson(float64(above.Least), float64(homes.Most), z)
	_, upper := numeric.Wilson(float64(above.Most), float64(max(homes.Least, above.Most+min)), z)
	return &PublishedRange{shareDigits(lower, -1), shareDigits(upper, 1), s.Share.Confidence, s.Share.Method, above.Least, above.Most}
}

// widen makes the community's intervals hold for homes as measured in each area, where of
// how many these are only a range is told.
func widen(c *Community, areas []AreaLevel, sdHome float64, k int) {
	var rows []ToldCount
	areas = slices.DeleteFunc(slices.Clone(areas), func(a AreaLevel) bool { return a.Homes == 0 })
	for _, a := range areas {
		rows = append(rows, Told(a.Homes, k))
	}
	// over is a figure of the rows, weighed by the middles, and its least and most.
	over := func(of func(a AreaLevel) float64) (middle, least, most float64) {
		x := make([]float64, len(areas))
		for j, a := range areas {
			x[j] = of(a)
		}
		return weighings(x, rows)
	}
	by := func(e *analysis.Estimate, down, up float64) { e.Lower, e.Upper = e.Lower*down, e.Upper*up }
	mean, least, most := over(func(a AreaLevel) float64 { return a.MeanLog })
	by(&c.GM, math.Exp(least-mean), math.Exp(most-mean))
	// Of the squares about the middle's mean, not the row's own: those are fewer by the
	// square of how far the mean has moved.
	moved := max(most-mean, mean-least)
	squares, least, most := over(func(a AreaLevel) float64 { return (a.MeanLog - mean) * (a.MeanLog - mean) })
	sd := math.Hypot(sdHome, math.Sqrt(squares))
	by(&c.GSD, math.Exp(math.Hypot(sdHome, math.Sqrt(max(least-moved*moved, 0)))-sd), math.Exp(math.Hypot(sdHome, math.Sqrt(most))-sd))
	c.GSD.Lower = max(c.GSD.Lower, 1)
	mean, least, most = over(func(a AreaLevel) float64 { return a.AM.Value })
	by(&c.AM, least/mean, most/mean)
	for i := range c.Above {
		e := &c.Above[i].Share
		share, least, most := over(func(a AreaLevel) float64 { return a.Above[i].Share.Value })
		e.Lower, e.Upper = max(e.Lower-(share-least), 0), min(e.Upper+(most-share), 1)
	}
}

// weighings are the mean of a figure over rows of as many homes as the middles of what is
// told, and the least and greatest mean over all numbers told: at either, rows beyond some
// place in the order of the figure have their most and the others their least.
func weighings(x []float64, rows []ToldCount) (middle, least, most float64) {
	order := make([]int, len(x))
	for j := range order {
		order[j] = j
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(x[a], x[b]) })
	mean := func(weight func(place, j int) float64) float64 {
		var n, sum float64
		for place, j := range order {
			w := weight(place, j)
			n, sum = n+w, sum+w*x[j]
		}
		return sum / n
	}
	middle = mean(func(_, j int) float64 { return float64(rows[j].Least+rows[j].Most) / 2 })
	least, most = middle, middle
	for cut := range order {
		low := mean(func(place, j int) float64 {
			if place <= cut {
				return float64(rows[j].Most)
			}
			return float64(rows[j].Least)
		})
		high := mean(func(place, j int) float64 {
			if place > cut {
				return float64(rows[j].Most)
			}
			return float64(rows[j].Least)
		})
		least, most = min(least, low), max(most, high)
	}
	return middle, least, most
}

// published is an estimate with two digits and without its notes and its number of homes.
func published(e *analysis.Estimate) *analysis.Estimate {
	if e == nil {
		return nil
	}
	out := analysis.Estimate{Quantity: e.Quantity, Unit: e.Unit, Value: Digits(e.Value, 0), Lower: Digits(e.Lower, -1), Upper: Digits(e.Upper, 1),
		Confidence: e.Confidence, Kind: e.Kind, Method: e.Method}
	if math.IsInf(e.Lower, 0) || math.IsInf(e.Upper, 0) {
		out.Notes = []analysis.Note{note("unbounded", "the data give no limit on one side")}
	}
	return &out
}

// publishedShare is published for a share, which near one is told by what it lacks.
func publishedShare(e analysis.Estimate) *analysis.Estimate {
	out := *published(&e)
	out.Value, out.Lower, out.Upper = shareDigits(e.Value, 0), shareDigits(e.Lower, -1), shareDigits(e.Upper, 1)
	return &out
}

func publishedShares(above []AboveLevel) (out []PublishedShare) {
	for _, a := range above {
		s := PublishedShare{Level: a.Level, Share: publishedShare(a.Share), Dwellings: published(a.Homes)}
		for _, e := range a.Exceeds {
			s.Exceeds = append(s.Exceeds, Exceeds{e.Share, shareDigits(e.Probability, 0)})
		}
		out = append(out, s)
	}
	return out
}

// Digits rounds to two significant digits: to the nearest, or with direction −1
// downwards, with 1 upwards.
func Digits(x float64, direction int) float64 {
	if x == 0 || math.IsInf(x, 0) {
		return x
	}
	text := strconv.FormatFloat(math.Abs(x), 'e', 1, 64) // d.de±dd
	mantissa, _ := strconv.Atoi(text[:1] + text[2:3])
	exponent, _ := strconv.Atoi(text[4:])
	value := func() float64 {
		v, _ := strconv.ParseFloat(fmt.Sprintf("%de%d", mantissa, exponent-1), 64)
		return math.Copysign(v, x)
	}
	v := value()
	switch {
	case direction < 0 && v > x, direction > 0 && v < x:
		if (v > x) == (x > 0) { // towards zero
			if mantissa--; mantissa < 10 {
				mantissa, exponent = 99, exponent-1
			}
		} else {
			mantissa++
		}
		v = value()
	}
	return v
}

// shareDigits is Digits of a share, or of what it lacks to one.
func shareDigits(p float64, direction int) float64 {
	if p <= 0.5 {
		return Digits(p, direction)
	}
	lacks := Digits(1-p, -direction)
	if lacks == 0 {
		return 1
	}
	decimals := 1 - int(math.Floor(math.Log10(lacks)))
	v, _ := strconv.ParseFloat(strconv.FormatFloat(1-lacks, 'f', decimals, 64), 64)
	return v
}

// PublishedValues is all that may leave of a group's values as measured.
type PublishedValues struct {
	Homes       int // at least so many
	GM, GSD, AM *analysis.Estimate
	Ranks       []PublishedRank
	Above       []PublishedShare // Share is the fitted one
	// NotLogNormal says what Shape has against the values as they stand, where it has
	// anything and can judge them. How far they are from that shape it does not say: of few
	// homes that is as a rule far, and would tell how many they are. How ties spread apart
	// would tell it too.
	NotLogNormal bool
	Withheld     []Withheld
}

// PublishedRank is the value that a share P of homes does not exceed, Bq/m³.
type PublishedRank struct {
	P     float64
	Value *float64 // nil: withheld
}

// PublishValues gives of a description what may leave. The group has at least as many
// homes as may be told; counted shares are put in by who knows all groups, with
// Countable.
//
// Least and largest value are one home's each and never leave; a quantile leaves where
// three homes or more of as many as are told lie beyond it on either side. The fit is to
// be made with Counts that come to the number told, so that no limit holds more of the
// number than that. The mean and the shares that rest on the fit leave however well it
// fits, with NotLogNormal to be told beside: they follow from the geometric mean and standard
// deviation, which leave, so that keeping them back would hide nothing. A mean above the
// values is kept back, because a word beside it would tell how large the largest is.
//
// No rule keeps a mean that one home makes up. Such rules are for sums, from which the
// second largest could take itself and have the largest. A mean fitted to logarithms
// is no sum: it follows from the geometric mean and standard deviation beside it, in
// which the largest is one of as many as are told.
func PublishValues(d lognormal.Description, po PublishOptions) (PublishedValues, error) {
	if err := po.check(); err != nil {
		return PublishedValues{}, err
	}
	k := po.MinCell
	if d.N < k {
		return PublishedValues{}, fmt.Errorf("fewer than %d homes: nothing that rests on so few is published", k)
	}
	v := PublishedValues{Homes: AtLeast(d.N, k)}
	if d.Shape != nil {
		v.NotLogNormal = d.Shape.AsTheyStand() >= lognormal.NotLogNormal // or far from it: ties have no verdict there
	}
	if d.Fit != nil {
		if d.Fit.N != v.Homes {
			return PublishedValues{}, fmt.Errorf("a fit that counts %d homes, where %d are told", d.Fit.N, v.Homes)
		}
		v.GM, v.GSD = published(d.Fit.GM), published(d.Fit.GSD)
		switch {
		case slices.ContainsFunc(d.Notes, func(n analysis.Note) bool { return n.Code == "mean-above-values" }):
			v.Withheld = append(v.Withheld, Withheld{"mean", "the shape assumed makes it, not the values"})
		case d.Fit.Mean != nil:
			v.AM = published(d.Fit.Mean)
		}
	}
	few := false
	for _, r := range d.Ranks {
		n := float64(v.Homes)
		out := PublishedRank{P: r.P}
		if !r.Below && math.Floor(n*math.Min(r.P, 1-r.P)+1e-9) >= beyondQuantile {
			value := Digits(r.Value, 0)
			out.Value = &value
		} else {
			few = true
		}
		v.Ranks = append(v.Ranks, out)
	}
	if few {
		v.Withheld = append(v.Withheld, Withheld{"quantiles", fmt.Sprintf("fewer than %d homes lie beyond, or it is only known to lie below a limit", beyondQuantile)})
	}
	for _, a := range d.Above {
		s := PublishedShare{Level: a.Level}
		if a.Fraction != nil {
			s.Share = publishedShare(*a.Fraction)
		}
		v.Above = append(v.Above, s)
	}
	return v, nil
}

// CountsAsTold are the counts of so many homes, for a fit that is published.
func CountsAsTold(homes, min int) []float64 {
	out := make([]float64, homes)
	for i := range out {
		out[i] = float64(AtLeast(homes, min)) / float64(homes)
	}
	return out
}
