package main

import (
	"bytes"
	"cmp"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/mat"
	"gonum.org/v1/gonum/optimize/convex/lp"

	"radonyear/analysis"
	"radonyear/analysis/survey"
	"radonyear/cmd/radonyear/internal/report"
)

// TestMAC: the test cases of HMAC-SHA-256 in RFC 4231, sections 4.2 to 4.4, 4.7 and
// 4.8 (from memory; five printed digests agreeing by chance is out of the question).
func TestMAC(t *testing.T) {
	for _, c := range []struct{ key, message, want string }{
		{strings.Repeat("\x0b", 20), "Hi There", "b0344c61d8db38535ca8afceaf0bf12b881dc200c9833da726e9376c2e32cff7"},
		{"Jefe", "what do ya want for nothing?", "5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843"},
		{strings.Repeat("\xaa", 20), strings.Repeat("\xdd", 50), "773ea91e36800e46854db8ebd09181a72959098b3ef8c122d9635514ced565fe"},
		{strings.Repeat("\xaa", 131), "Test Using Larger Than Block-Size Key - Hash Key First", "60e431591ee0b67f0d8a26aacbf5b77f8e0bc6213728c5140546040f0ee37f54"},
		{strings.Repeat("\xaa", 131), "This is a test using a larger than block-size key and a larger than block-size data. The key needs to be hashed before being used by the HMAC algorithm.", "9b09ffa71b942fcb27635fbcd5b0e944bfdc63644f0713938a7f51535c3a35e2"},
	} {
		if got := hex.EncodeToString(mac([]byte(c.key), []byte(c.message))); got != c.want {
			t.Errorf("%.30q: %s, want %s", c.message, got, c.want)
		}
	}
}

func TestPseudonym(t *testing.T) {
	one, other := &publishing{key: []byte(strings.Repeat("abcdefgh", 4))}, &publishing{key: []byte(strings.Repeat("abcdefgi", 4))}
	seen := map[string]analysis.Place{}
	for _, p := range []analysis.Place{{Home: "1"}, {Home: "2"}, {Home: "1", Area: "North"}, {Home: "1N", Area: "orth"}, {Home: "1North"}, {}, {Area: "1"}} {
		name := one.pseudonym(p)
		if was, ok := seen[name]; ok {
			t.Errorf("%v and %v have one pseudonym", was, p)
		}
		seen[name] = p
		if name != one.pseudonym(p) {
			t.Errorf("%v has two pseudonyms with one key", p)
		}
		if name == other.pseudonym(p) {
			t.Errorf("%v has the same pseudonym with another key", p)
		}
		if !regexp.MustCompile(`^p-[a-z2-7]{16}$`).MatchString(name) {
			t.Errorf("%q is no pseudonym", name)
		}
	}
	// A room or a detector makes no other home of it.
	if one.pseudonym(analysis.Place{Home: "1"}) != one.pseudonym(analysis.Place{Home: "1", Room: "bed", Detector: "T"}) {
		t.Error("a home's rooms have pseudonyms of their own")
	}
	// The list is in the order of pseudonyms, which says nothing of that of the names,
	// and its reasons are from a list.
	one.MinCell = 3
	left := one.leftOut([]report.LeftOut{{Place: analysis.Place{Home: "1"}, Why: onlyAfter}, {Place: analysis.Place{Home: "2"}, Why: "row 17 of Anna's file"}, {Place: analysis.Place{Home: "3"}, Why: noField}})
	if len(left) != 3 || !slices.IsSortedFunc(left, func(a, b report.LeftOut) int { return cmp.Compare(a.Place.Home, b.Place.Home) }) {
		t.Errorf("%v", left)
	}
	for _, l := range left {
		if strings.Contains(l.Why, "Anna") || l.Place.Area != "" {
			t.Errorf("%v leaves", l)
		}
	}
	// Fewer than a cell are not listed, for the list tells how many they are; and no
	// reason is told that fewer share, nor left to fewer.
	for _, c := range []struct {
		after, noField, other int
		listed, told          int // homes, and those with a reason of their own
	}{{1, 1, 0, 0, 0}, {2, 0, 0, 0, 0}, {3, 0, 0, 3, 3}, {3, 2, 0, 5, 0}, {3, 4, 1, 8, 4}, {4, 3, 3, 10, 7}, {2, 2, 2, 6, 0}} {
		var in []report.LeftOut
		for i, n := range []int{c.after, c.noField, c.other} {
			for range n {
				in = append(in, report.LeftOut{Place: analysis.Place{Home: strconv.Itoa(len(in))}, Why: []string{onlyAfter, noField, "its own"}[i]})
			}
		}
		out := one.leftOut(in)
		told := 0
		for _, l := range out {
			if slices.Contains(publishedReasons, l.Why) {
				told++
			}
		}
		if len(out) != c.listed || told != c.told {
			t.Errorf("%+v: %d are listed, %d with their reason", c, len(out), told)
		}
	}
	if got := (&publishing{}).leftOut([]report.LeftOut{{Place: analysis.Place{Home: "1"}}}); got != nil {
		t.Errorf("without a key, %v leaves", got)
	}
}

func TestQuarters(t *testing.T) {
	day := func(y int, m time.Month, d int) time.Time { return time.Date(y, m, d, 0, 0, 0, 0, time.UTC) }
	of := func(from, to time.Time) []int { return addQuarters(nil, from, to) }
	var homes [][]int
	for range 5 {
		// To the last midnight of March, and over the new year with a pause in summer.
		homes = append(homes, of(day(2025, 3, 1), day(2025, 4, 1)), addQuarters(of(day(2025, 12, 20), day(2026, 1, 10)), day(2026, 12, 1), day(2026, 12, 2)), nil)
	}
	for range 4 {
		homes = append(homes, of(day(2025, 4, 1), day(2025, 5, 1)))
	}
	if got := quarters(homes, 5); !slices.Equal(got, []string{"2025-Q1", "2025-Q4", "2026-Q1", "2026-Q4"}) {
		t.Errorf("quarters %v: the four homes of the second are too few", got)
	}
	homes = nil
	for range 5 {
		homes = append(homes, of(day(2024, 1, 1), day(2024, 12, 31)))
	}
	year := quarters(homes, 5)
	if !slices.Equal(year, []string{"2024-Q1", "2024-Q2", "2024-Q3", "2024-Q4"}) {
		t.Errorf("quarters %v of homes measured through a year", year)
	}
	all := append([]string{"2022-Q4", "2023-Q2"}, year...)
	var words []string
	for _, r := range quarterRuns(all) {
		from, to := quarterRunWords(all, r)
		words = append(words, from+"|"+to)
	}
	if want := []string{"October to December 2022|", "April to June 2023|", "January 2024|December 2024"}; !slices.Equal(words, want) {
		t.Errorf("%v is told as %q, want %q", all, words, want)
	}
}

// invented is a community with names that stand out where they leak.
type invented struct {
	file   string
	homes  map[string]int            // by area, of those with a result
	above  map[string]map[string]int // by area and level
	secret []string                  // what must not leave
}

var attackLevels = []string{"100", "200"}

// invent makes a community of areas with fewer or more than so many homes.
func invent(rng *rand.Rand, low int) invented {
	c := invented{homes: map[string]int{}, above: map[string]map[string]int{}}
	var b strings.Builder
	b.WriteString("home,area,room,detector,start,end,value,unit,phase\n")
	serial := 1000 + rng.IntN(9000)
	row := func(area, phase string, value float64) {
		serial += 1 + rng.IntN(9)
		start := time.Date(2024, 1, 1+rng.IntN(330), 0, 0, 0, 0, time.UTC)
		home, room, detector := fmt.Sprintf("Dwelling%d", serial), fmt.Sprintf("Chamber%d", serial), fmt.Sprintf("Serial%d", serial)
		end := start.AddDate(0, 0, 60+rng.IntN(60))
		text := strconv.FormatFloat(value, 'f', 3, 64)
		fmt.Fprintf(&b, "%s,%s,%s,%s,%s,%s,%s,Bq/m3,%s\n", home, area, room, detector, start.Format(time.DateOnly), end.Format(time.DateOnly), text, phase)
		c.secret = append(c.secret, home, room, detector, start.Format(time.DateOnly), end.Format(time.DateOnly), text)
	}
	areas, large := 2+rng.IntN(7), rng.IntN(5) == 0
	if large { // and few, so that counted shares are told of all and their total says the most
		areas = 2 + rng.IntN(2)
	}
	for j := range areas {
		area := fmt.Sprintf("Parish%c%d", 'A'+j, rng.IntN(1000))
		homes := low + rng.IntN(30)
		if rng.IntN(2) == 0 {
			homes = 1 + rng.IntN(low)
		}
		mu := math.Log(110) + 0.5*rng.NormFloat64()
		if large {
			homes, mu = 4*low+rng.IntN(3*low), math.Log(130)+0.2*rng.NormFloat64()
		}
		c.above[area] = map[string]int{}
		for range homes {
			value := math.Round(1000*max(math.Exp(mu+0.8*rng.NormFloat64()), 1)) / 1000 // as it is written
			row(area, "", value)
			c.homes[area]++
			for _, l := range attackLevels {
				if level, _ := strconv.ParseFloat(l, 64); value > level {
					c.above[area][l]++
				}
			}
		}
		for range []int{0, 0, 1, 6}[rng.IntN(4)] {
			row(area, "after", 50)
		}
		if rng.IntN(4) == 0 {
			fmt.Fprintf(&b, "Broken%d,%s,Chamber,Serial,2024-13-45,2024-14-01,nothing,Bq/m3,\n", serial, area)
			c.secret = append(c.secret, fmt.Sprintf("Broken%d", serial))
		}
	}
	c.file = b.String()
	return c
}

// toldRow is a row as a reader of the publication has it.
type toldRow struct {
	name        string
	kind        string // community, area, merged
	least, most int
	counted     map[string][2]int // levels with a counted share: from how many to how many homes are above
	present     []string          // areas a map says it holds, each with a home or more
}

func fromCSV(t *testing.T, text string) (rows []toldRow) {
	t.Helper()
	all, err := csv.NewReader(strings.NewReader(text)).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	at := func(line int, column string) string {
		i := slices.Index(all[0], column)
		if i < 0 {
			t.Fatalf("no column %q in %v", column, all[0])
		}
		return all[line][i]
	}
	number := func(s string) int {
		n, err := strconv.Atoi(s)
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	for i := 1; i < len(all); i++ {
		r := toldRow{name: at(i, "area"), kind: at(i, "kind"), least: number(at(i, "homes_at_least")), most: number(at(i, "homes_at_most")), counted: map[string][2]int{}}
		for _, l := range attackLevels {
			counted := at(i, "raw_share_above_"+l+"_lower") != ""
			if counted {
				r.counted[l] = [2]int{number(at(i, "raw_above_"+l+"_at_least")), number(at(i, "raw_above_"+l+"_at_most"))}
			}
			if value := at(i, "raw_share_above_"+l); value != "" {
				t.Errorf("%s, level %s: %s is told as what was counted, and rounded counts give no value", r.name, l, value)
			}
			if suppressed := at(i, "raw_share_above_"+l+"_suppressed"); (suppressed == "true") == counted {
				t.Errorf("%s, level %s: suppressed is %s beside %q", r.name, l, suppressed, at(i, "raw_share_above_"+l))
			}
		}
		rows = append(rows, r)
	}
	return rows
}

func fromJSON(t *testing.T, text string) (rows []toldRow) {
	t.Helper()
	type row struct {
		Area       string
		Merged     bool
		Least      int `json:"homes_at_least"`
		Most       int `json:"homes_at_most"`
		ShareAbove []struct {
			Level    float64
			RawShare *struct{ Value, Lower *float64 } `json:"raw_share"`
			RawAbove *struct {
				Least int `json:"at_least"`
				Most  int `json:"at_most"`
			} `json:"raw_above"`
			Suppressed bool
		} `json:"share_above"`
	}
	var doc struct {
		Results []struct {
			Community row
			Areas     []row
		}
	}
	if err := json.Unmarshal([]byte(text), &doc); err != nil || len(doc.Results) != 1 {
		t.Fatalf("%v in %s", err, text)
	}
	add := func(r row, kind string) {
		out := toldRow{name: r.Area, kind: kind, least: r.Least, most: r.Most, counted: map[string][2]int{}}
		for _, s := range r.ShareAbove {
			l := strconv.FormatFloat(s.Level, 'f', -1, 64)
			if s.RawShare != nil && (s.RawShare.Value != nil || s.RawShare.Lower == nil) {
				t.Errorf("%s, level %s: a counted share is told with a value, or without a limit", r.Area, l)
			}
			if s.RawShare != nil {
				out.counted[l] = [2]int{s.RawAbove.Least, s.RawAbove.Most}
			}
			if s.Suppressed != (s.RawShare == nil) || s.Suppressed != (s.RawAbove == nil) {
				t.Errorf("%s, level %s: suppressed is %v beside %v", r.Area, l, s.Suppressed, s.RawShare)
			}
		}
		rows = append(rows, out)
	}
	add(doc.Results[0].Community, "community")
	rows[0].name = "all homes"
	for _, r := range doc.Results[0].Areas {
		kind := "area"
		if r.Merged {
			kind = "merged"
		}
		add(r, kind)
	}
	return rows
}

// fromMap are the rows of a published map, and everything that stands in it beside
// shapes: a member, a property or a name that is not from a list fails.
func fromMap(t *testing.T, text string, areas []string) (rows []toldRow) {
	t.Helper()
	var m struct {
		Features []struct {
			Geometry   json.RawMessage
			Properties map[string]any
		}
		Radonyear struct {
			Community, Others map[string]any
		}
	}
	if err := json.Unmarshal([]byte(text), &m); err != nil {
		t.Fatalf("%v in %s", err, text)
	}
	row := func(name string, of map[string]any) toldRow {
		r := toldRow{name: name, kind: of["radon_kind"].(string), least: int(of["radon_homes_at_least"].(float64)), most: int(of["radon_homes_at_most"].(float64)), counted: map[string][2]int{}}
		for _, l := range attackLevels {
			if of["radon_raw_share_above_"+l+"_lower"] != nil {
				r.counted[l] = [2]int{int(of["radon_raw_above_"+l+"_at_least"].(float64)), int(of["radon_raw_above_"+l+"_at_most"].(float64))}
			}
		}
		return r
	}
	rows = append(rows, row("all homes", m.Radonyear.Community))
	var others []string
	for _, f := range m.Features {
		name := f.Properties["name"].(string)
		if !slices.Contains(areas, name) {
			t.Errorf("a feature is called %q", name)
		}
		switch kind := f.Properties["radon_kind"]; kind {
		case nil:
			if len(f.Properties) > 1 {
				t.Errorf("%s has no result, but %v", name, f.Properties)
			}
		case "area":
			if rows = append(rows, row(name, f.Properties)); f.Properties["radon_row"] != name {
				t.Errorf("%s has the row of %v", name, f.Properties["radon_row"])
			}
		case "merged":
			others = append(others, name)
			for key, x := range m.Radonyear.Others {
				if f.Properties[key] != x {
					t.Errorf("%s, which is told only with others, has %s %v and they %v", name, key, f.Properties[key], x)
				}
			}
		default:
			t.Errorf("%s is of kind %v", name, kind)
		}
		for key := range f.Properties {
			if key != "name" && !strings.HasPrefix(key, mapPrefix) {
				t.Errorf("%s has the property %s", name, key)
			}
		}
	}
	slices.SortFunc(rows[1:], func(a, b toldRow) int { return strings.Compare(a.name, b.name) })
	if m.Radonyear.Others != nil {
		r := row(survey.Others, m.Radonyear.Others)
		r.present = others
		rows = append(rows, r)
	}
	return rows
}

// drawMap is a map of areas with more in it than may leave.
func drawMap(areas []string) string {
	b := []byte(`{"type": "FeatureCollection", "owner": "Cousin", "features": [`)
	for i, a := range areas {
		b = fmt.Appendf(b, `{"type": "Feature", "id": "Cousin%d", "geometry": {"type": "Polygon", "owner": "Cousin", "coordinates": [[[%d, 0], [%d, 1], [%d, 2], [%d, 0]]]}, "properties": {"name": %q, "tested by": "Cousin Anna"}},`, i, i, i, i+1, i, a)
	}
	return string(b[:len(b)-1]) + "]}"
}

// attack tries to find how many homes, and how many above each level, the areas have
// that rows do not tell by name. It is given more than the publication: the names of
// all areas, and which of them the merged row holds. It says what it finds: a cell
// whose count the sums that are told determine (were they told exactly), and one that
// they leave within fewer than k homes as they are told. hidden is how many areas it
// tried, levels how many counted levels it had to work with.
func attack(c invented, rows []toldRow, k int) (found []string, hidden, levels int) {
	areas := slices.Sorted(maps.Keys(c.homes))
	named := func(a string) bool {
		return slices.ContainsFunc(rows, func(r toldRow) bool { return r.kind == "area" && r.name == a })
	}
	var secret []int
	for j, a := range areas {
		if !named(a) {
			secret = append(secret, j)
		}
	}
	if len(secret) == 0 {
		return nil, 0, 0
	}
	holds := func(r toldRow, j int) bool {
		return r.kind == "community" || r.kind == "area" && r.name == areas[j] || r.kind == "merged" && !named(areas[j])
	}
	// sums is what is told of one count: homes, or homes above a level.
	type sums struct {
		of    string
		level string
		truth func(area string) int
		rows  []toldRow
	}
	all := []sums{{"homes", "", func(a string) int { return c.homes[a] }, rows}}
	for _, l := range attackLevels {
		s := sums{"homes above " + l, l, func(a string) int { return c.above[a][l] }, nil}
		for _, r := range rows {
			if _, told := r.counted[l]; told {
				s.rows = append(s.rows, r)
			}
		}
		if len(s.rows) > 0 {
			levels++
			all = append(all, s)
		}
	}
	for _, s := range all {
		n := len(areas)
		system := mat.NewDense(len(s.rows), n, nil)
		var g []float64 // G x ≤ h
		var h []float64
		for i, r := range s.rows {
			sum := 0
			up, down := make([]float64, n), make([]float64, n)
			for j, a := range areas {
				if holds(r, j) {
					system.Set(i, j, 1)
					up[j], down[j] = 1, -1
					sum += s.truth(a)
				}
			}
			least, most := r.least, r.most
			if s.of != "homes" {
				least, most = r.counted[s.level][0], r.counted[s.level][1]
			}
			if most-least < k-1 {
				found = append(found, fmt.Sprintf("%s of %s are told as %d to %d", s.of, r.name, least, most))
			}
			if sum < least || sum > most {
				found = append(found, fmt.Sprintf("%s of %s: %d is told as %d to %d", s.of, r.name, sum, least, most))
			}
			g, h = append(append(g, up...), down...), append(h, float64(most), float64(-least))
		}
		for _, r := range s.rows {
			for _, a := range r.present {
				if j := slices.Index(areas, a); s.of == "homes" && j >= 0 {
					one := make([]float64, n)
					one[j] = -1
					g, h = append(g, one...), append(h, -1)
				}
			}
		}
		for _, j := range secret {
			// The count follows from the sums where its unit vector is made of their rows.
			more := mat.NewDense(len(s.rows)+1, n, nil)
			more.Slice(0, len(s.rows), 0, n).(*mat.Dense).Copy(system)
			more.Set(len(s.rows), j, 1)
			if rank(more) == rank(system) {
				found = append(found, fmt.Sprintf("%s in %s follows from the sums", s.of, areas[j]))
			}
		}
		// The widest and the narrowest hidden area by linear programming.
		slices.SortFunc(secret, func(a, b int) int { return s.truth(areas[a]) - s.truth(areas[b]) })
		for _, j := range slices.Compact([]int{secret[0], secret[len(secret)-1]}) {
			lo, hi := program1(g, h, n, j, 1), -program1(g, h, n, j, -1)
			if truth := float64(s.truth(areas[j])); truth < lo-1e-6 || truth > hi+1e-6 {
				found = append(found, fmt.Sprintf("%s in %s: the program is wrong, %v is not from %v to %v", s.of, areas[j], truth, lo, hi))
			}
			if hi-lo < float64(k) {
				found = append(found, fmt.Sprintf("%s in %s lies between %.3g and %.3g", s.of, areas[j], lo, hi))
			}
		}
	}
	return found, len(secret), levels
}

// attackRows tries to find how many homes, and how many above each level, each row that
// is told has: by all that is told of all rows and of the whole at all levels together,
// that counts told are a cell apart, and that of a level told only of the whole some row has
// less than a cell above, or between it and the next lower level told of rows. It says
// which it finds to be of fewer than k numbers.
func attackRows(rows []toldRow, k int) (found []string, tried int) {
	parts := rows[1:]
	if len(parts) == 0 {
		parts = rows
	}
	var levels []string
	for _, l := range attackLevels { // in rising order
		if _, told := rows[0].counted[l]; told {
			levels = append(levels, l)
		}
	}
	width := 1 + len(levels)
	n := len(parts) * width
	var g, h []float64 // G x ≤ h
	limit := func(most int, ones []int, less []int) {
		row := make([]float64, n)
		for _, j := range ones {
			row[j] = 1
		}
		for _, j := range less {
			row[j] = -1
		}
		g, h = append(g, row...), append(h, float64(most))
	}
	all := func(level int) (of []int) { // the whole's
		for i := range parts {
			of = append(of, i*width+level)
		}
		return of
	}
	type few struct{ above, below int } // fewer than a cell lie above the one count, and below the other; −1: none
	var why [][]few                     // of each level told only of the whole, what may be the reason
	for j, l := range levels {
		var of []few
		for i, r := range parts {
			last := 0
			for b, lower := range levels[:j] {
				if _, told := r.counted[lower]; told {
					last = 1 + b
				}
			}
			if _, told := r.counted[l]; !told {
				of = append(of, few{i*width + last, i*width + 1 + j}, few{-1, i*width + 1 + j})
			}
		}
		if of != nil {
			why = append(why, of)
		}
	}
	for i, r := range parts {
		at := i * width
		limit(r.most, []int{at}, nil)
		limit(-r.least, nil, []int{at})
		last := at // the last count told of the row
		for j, l := range levels {
			x := at + 1 + j
			limit(0, []int{x}, []int{x - 1})
			if told, ok := r.counted[l]; ok {
				limit(told[1], []int{x}, nil)
				limit(-told[0], nil, []int{x})
				limit(-k, []int{x}, []int{last})
				last = x
			}
		}
	}
	limit(rows[0].most, all(0), nil)
	limit(-rows[0].least, nil, all(0))
	for j, l := range levels {
		limit(rows[0].counted[l][1], all(1+j), nil)
		limit(-rows[0].counted[l][0], nil, all(1+j))
		limit(-k, all(1+j), all(j))
	}
	// between is from what to what a count can lie, by all reasons that there may be for the
	// levels from which on, until it is wide enough.
	var between func(x, from int, lo, hi float64) (float64, float64)
	between = func(x, from int, lo, hi float64) (float64, float64) {
		if from == len(why) {
			if least, ok := leastOf(g, h, n, x, 1); ok {
				most, _ := leastOf(g, h, n, x, -1)
				lo, hi = min(lo, least), max(hi, -most)
			}
			return lo, hi
		}
		gs, hs := len(g), len(h)
		for _, f := range why[from] {
			if hi-lo >= float64(k-1)-1e-6 {
				break
			}
			if f.above < 0 {
				limit(k-1, []int{f.below}, nil)
			} else {
				limit(k-1, []int{f.above}, []int{f.below})
			}
			lo, hi = between(x, from+1, lo, hi)
			g, h = g[:gs], h[:hs]
		}
		return lo, hi
	}
	for i, r := range parts {
		for j := range width {
			lo, hi := between(i*width+j, 0, math.Inf(1), math.Inf(-1))
			if tried++; hi-lo < float64(k-1)-1e-6 {
				found = append(found, fmt.Sprintf("%s: count %d of homes and those above %v lies between %.4g and %.4g", r.name, j, levels, lo, hi))
			}
		}
	}
	return found, tried
}

func rank(m *mat.Dense) int {
	var svd mat.SVD
	if !svd.Factorize(m, mat.SVDNone) {
		panic("no decomposition")
	}
	return svd.Rank(1e-9)
}

// program1 is the least that sign·x[j] can be where G x ≤ h and x ≥ 0.
func program1(g, h []float64, n, j int, sign float64) float64 {
	best, ok := leastOf(g, h, n, j, sign)
	if !ok {
		panic("nothing fits what is told")
	}
	return best
}

// leastOf is program1, and whether any x fits.
func leastOf(g, h []float64, n, j int, sign float64) (best float64, ok bool) {
	m := len(h)
	a := mat.NewDense(m, n+m, nil) // slacks make equations of it
	c := make([]float64, n+m)
	c[j] = sign
	for i := range m {
		for k := range n {
			a.Set(i, k, g[i*n+k])
		}
		a.Set(i, n+i, 1)
	}
	best, _, err := lp.Simplex(c, a, h, 1e-9, nil)
	if err != nil && !errors.Is(err, lp.ErrInfeasible) {
		panic(err)
	}
	return best, err == nil
}

// TestAttack publishes random communities and attacks what came out, as bytes.
func TestAttack(t *testing.T) {
	const file = "Cousin-Anna-2024.csv"
	communities := 200
	if testing.Short() {
		communities = 20
	}

	key := filepath.Join(t.TempDir(), "secret.key")
	if err := os.WriteFile(key, []byte("0123456789abcdefghijklmnopqrstuvwxyz"), 0o600); err != nil {
		t.Fatal(err)
	}
	type tally struct{ hidden, levels, naive, known, withKey, fits, mapped, named, told, ownTotals, opened int }
	one := func(t *testing.T, i, k int, c invented) (sum tally) {
		dir := t.TempDir()
		path, drawn := filepath.Join(dir, file), filepath.Join(dir, "map.geojson")
		if err := os.WriteFile(path, []byte(c.file), 0o644); err != nil {
			t.Fatal(err)
		}
		secret := append(c.secret, file, "Cousin", "secret.key", "0123456789abcdef")
		for a, n := range c.homes {
			if n < k {
				secret = append(secret, a)
			}
		}
		args := []string{"radonyear", "survey", path, "--level", "100", "--level", "200"}
		if i%40 != 5 { // the annual means of so many homes take their time
			args = append(args, "--test-error", "none")
		}
		publish := append(slices.Clone(args), "--publish", "--min-cell", strconv.Itoa(k))
		if i%3 == 0 {
			publish = append(publish, "--key-file", key)
		}
		all := 0
		for _, n := range c.homes {
			all += n
		}
		formats := []string{[]string{"json", "csv"}[i%2]}
		if i%10 == 0 {
			formats = report.Formats
		}
		var first []toldRow
		for _, format := range formats {
			status, out, errs := runAll(append(publish, "--format", format))
			if all < k {
				if status != exitNoAnswer || out != "" {
					t.Fatalf("%d homes: exit status %d\n%s", all, status, out)
				}
				continue
			}
			if status != exitDone && status != exitPartial {
				t.Fatalf("exit status %d: %s", status, errs)
			}
			for _, s := range secret {
				if strings.Contains(out, s) || s != "secret.key" && strings.Contains(errs, s) {
					t.Errorf("community %d, %s: %q leaks\n%s\n%s", i, format, s, out, errs)
				}
			}
			var rows []toldRow
			switch format {
			case "csv":
				rows = fromCSV(t, out)
				checkDigits(t, csvNumbers(out), k)
			case "json":
				rows = fromJSON(t, out)
				var doc any
				d := json.NewDecoder(strings.NewReader(out))
				d.UseNumber()
				if err := d.Decode(&doc); err != nil {
					t.Fatal(err)
				}
				checkDigits(t, jsonNumbers(doc, ""), k)
				if n := strings.Count(out, `"home": "p-`); n > 0 {
					sum.withKey++
					if n < k {
						t.Errorf("community %d: %d homes are listed, and fewer than %d are not to be counted", i, n, k)
					}
				}
			default:
				for _, x := range regexp.MustCompile(`\d+\.\d+`).FindAllString(out, -1) {
					if v, _ := strconv.ParseFloat(x, 64); v != survey.Digits(v, 0) && round(100-v) != survey.Digits(100-v, 0) {
						t.Errorf("%s has too many digits in\n%s", x, out)
					}
				}
				continue
			}
			if first != nil && !slices.EqualFunc(first, rows, func(a, b toldRow) bool { return fmt.Sprint(a) == fmt.Sprint(b) }) {
				t.Errorf("community %d: JSON has %v, CSV %v", i, first, rows)
			}
			first = rows
			found, n, l := attack(c, rows, k)
			for _, f := range found {
				t.Errorf("community %d of %v, k = %d, %s: %s\n%v", i, c.homes, k, format, f, rows)
			}
			sum.hidden, sum.levels = sum.hidden+n, sum.levels+l
		}
		if first != nil {
			found, n := attackRows(first, k)
			for _, f := range found {
				t.Errorf("community %d, k = %d: %s\n%v", i, k, f, first)
			}
			sum.told += n
			// And where a total is told by itself, as a row's count is.
			own := slices.Clone(first)
			own[0].counted = map[string][2]int{}
			for l := range first[0].counted {
				total := 0
				for _, above := range c.above {
					total += above[l]
				}
				own[0].counted[l] = [2]int{survey.AtLeast(total, k), survey.AtLeast(total, k) + k - 1}
			}
			if len(first) > 1 && len(own[0].counted) > 0 {
				sum.ownTotals++
				if found, _ := attackRows(own, k); len(found) > 0 {
					sum.opened++
				}
			}
		}
		if first != nil && first[len(first)-1].kind != "community" { // the same as a map
			areas := append(slices.Sorted(maps.Keys(c.homes)), "Unmeasured")
			if err := os.WriteFile(drawn, []byte(drawMap(areas)), 0o644); err != nil {
				t.Fatal(err)
			}
			status, out, errs := runAll(append(publish, "--map", drawn, "--map-key", "name", "--format", "geojson"))
			if status != exitDone && status != exitPartial {
				t.Fatalf("exit status %d: %s", status, errs)
			}
			for _, s := range secret {
				if c.homes[s] == 0 && (strings.Contains(out, s) || s != "secret.key" && strings.Contains(errs, s)) { // the map has the areas' names
					t.Errorf("community %d, map: %q leaks\n%s\n%s", i, s, out, errs)
				}
			}
			rows := fromMap(t, out, areas)
			if !slices.EqualFunc(first, rows, func(a, b toldRow) bool {
				b.present = nil
				return fmt.Sprint(a) == fmt.Sprint(b)
			}) {
				t.Errorf("community %d: the map has %v, the table %v", i, rows, first)
			}
			var doc struct {
				Features  []struct{ Properties any }
				Radonyear any
			}
			d := json.NewDecoder(strings.NewReader(out))
			d.UseNumber()
			if err := d.Decode(&doc); err != nil {
				t.Fatal(err)
			}
			numbers := jsonNumbers(doc.Radonyear, "")
			for _, f := range doc.Features {
				numbers = append(numbers, jsonNumbers(f.Properties, "")...)
			}
			for j := range numbers {
				numbers[j].name = strings.TrimPrefix(numbers[j].name, mapPrefix)
			}
			checkDigits(t, numbers, k)
			found, _, _ := attack(c, rows, k)
			for _, f := range found {
				t.Errorf("community %d of %v, k = %d, map: %s\n%v", i, c.homes, k, f, rows)
			}
			sum.mapped++
			if rows[len(rows)-1].present != nil {
				sum.named++
			}
		}
		if i%5 == 0 && all >= k { // the other command that publishes
			for _, format := range []string{"json", "csv", "table"} {
				_, out, errs := runAll([]string{"radonyear", "describe", path, "--by", "area", "--level", "100", "--level", "200", "--publish", "--min-cell", strconv.Itoa(k), "--format", format})
				for _, s := range secret {
					if strings.Contains(out, s) || strings.Contains(errs, s) {
						t.Errorf("community %d, describe, %s: %q leaks\n%s\n%s", i, format, s, out, errs)
					}
				}
				var doc any
				switch d := json.NewDecoder(strings.NewReader(out)); format {
				case "csv":
					checkDigits(t, csvNumbers(out), k)
				case "json":
					d.UseNumber()
					if err := d.Decode(&doc); err != nil {
						t.Fatalf("%v\n%s", err, errs)
					}
					checkDigits(t, jsonNumbers(doc, ""), k)
					found, rows := attackFits(t, out)
					for _, f := range found {
						t.Errorf("community %d of %v, describe: %s", i, c.homes, f)
					}
					sum.fits += rows
				}
			}
		}
		// Without complementary suppression: rows of small areas taken out, and no more.
		if i%2 == 0 && all >= k {
			rows := []toldRow{{name: "all homes", kind: "community", least: all, most: all}}
			for a, n := range c.homes {
				if n >= k {
					rows = append(rows, toldRow{name: a, kind: "area", least: n, most: n})
				}
			}
			if len(rows) == len(c.homes) { // one is left out
				sum.naive++
				if found, _, _ := attack(c, rows, k); len(found) > 0 {
					sum.known++
				}
			}
		}
		return sum
	}
	rng := rand.New(rand.NewPCG(11, 12))
	tallies := make([]tally, communities)
	t.Run("communities", func(t *testing.T) {
		for i := range communities {
			k := []int{5, 7, 10}[rng.IntN(3)]
			c := invent(rng, k)
			t.Run(strconv.Itoa(i), func(t *testing.T) {
				t.Parallel()
				tallies[i] = one(t, i, k, c)
			})
		}
	})
	var all tally
	for _, x := range tallies {
		all.hidden, all.levels, all.naive, all.known = all.hidden+x.hidden, all.levels+x.levels, all.naive+x.naive, all.known+x.known
		all.withKey, all.fits, all.mapped, all.named = all.withKey+x.withKey, all.fits+x.fits, all.mapped+x.mapped, all.named+x.named
		all.told, all.ownTotals, all.opened = all.told+x.told, all.ownTotals+x.ownTotals, all.opened+x.opened
	}
	t.Logf("%d counts of rows attacked by all that is told; by totals told by themselves, %d of %d communities are opened", all.told, all.opened, all.ownTotals)
	if !testing.Short() && (all.opened < 10 || all.told < 500) {
		t.Error("the attack on rows opens nothing, or too little was attacked")
	}
	t.Logf("%d maps, of which %d name the areas told together", all.mapped, all.named)
	if !testing.Short() && (all.mapped < 50 || all.named < 20 || all.named == all.mapped) {
		t.Errorf("too few maps were attacked, or none of one kind")
	}
	t.Logf("%d communities: %d hidden areas and %d counted levels attacked, %d rows by their limits, %d documents with pseudonyms; of %d with one small row only taken out, %d gave it away", communities, all.hidden, all.levels, all.fits, all.withKey, all.naive, all.known)
	if !testing.Short() && (all.hidden < 400 || all.levels < 50 || all.withKey < 10 || all.fits < 50) {
		t.Errorf("too little was attacked")
	}
	if all.naive == 0 || all.known < all.naive {
		t.Errorf("of %d communities without complementary suppression the attack opened %d: it can find nothing", all.naive, all.known)
	}
}

// TestAttackSwitchedOff: the attack opens what --publish would give if small areas
// were taken out instead of merged, in rows written as it writes them.
func TestAttackSwitchedOff(t *testing.T) {
	c := invented{homes: map[string]int{"A": 24, "B": 31, "C": 3}, above: map[string]map[string]int{"A": {"100": 12}, "B": {"100": 15}, "C": {"100": 3}}}
	exact := func(name, kind string, n, above int) toldRow {
		return toldRow{name: name, kind: kind, least: n, most: n, counted: map[string][2]int{"100": {above, above}}}
	}
	found, _, _ := attack(c, []toldRow{exact("all homes", "community", 58, 30), exact("A", "area", 24, 12), exact("B", "area", 31, 15)}, 10)
	text := strings.Join(found, "\n")
	for _, want := range []string{"homes in C follows from the sums", "homes in C lies between 3 and 3", "homes above 100 in C follows"} {
		if !strings.Contains(text, want) {
			t.Errorf("the attack does not find that %s, but\n%s", want, text)
		}
	}
	// Nine areas that a map names as together, with 5 to 9 homes in all, have one each.
	nine := invented{homes: map[string]int{"Z": 40}, above: map[string]map[string]int{"Z": {}}}
	row := toldRow{name: "others", kind: "merged", least: 5, most: 9, counted: map[string][2]int{}}
	for i := range 9 {
		a := fmt.Sprint("Small", i)
		nine.homes[a], nine.above[a], row.present = 1, map[string]int{}, append(row.present, a)
	}
	rows := []toldRow{{name: "all homes", kind: "community", least: 45, most: 53, counted: map[string][2]int{}}, {name: "Z", kind: "area", least: 40, most: 44, counted: map[string][2]int{}}, row}
	if found, _, _ = attack(nine, rows, 5); !strings.Contains(strings.Join(found, "\n"), "homes in Small0 lies between 1 and 1") {
		t.Errorf("a map that names nine areas of one home each opens nothing: %v", found)
	}
	// And a row of its own with another name is the same.
	found, _, _ = attack(c, []toldRow{exact("all homes", "community", 58, 30), exact("A", "area", 24, 12), exact("B", "area", 31, 15), exact("others", "merged", 3, 3)}, 10)
	if len(found) == 0 {
		t.Error("a merged row of one area opens nothing")
	}
	// Ten rows told as 10 to 19 above, and together as 190 to 199, have 19 each.
	ten := []toldRow{{name: "all homes", least: 300, most: 390, counted: map[string][2]int{"200": {190, 199}}}}
	for range 10 {
		ten = append(ten, toldRow{name: "one", least: 30, most: 39, counted: map[string][2]int{"200": {10, 19}}})
	}
	if found, _ = attackRows(ten, 10); len(found) != 10 || !strings.Contains(found[0], "between 19 and 19") {
		t.Errorf("ten rows and a total that pins them: %q", found)
	}
}

// TestAttackPattern: two rows told of 200 and not of 100, where the whole is told of both:
// some row has less than a cell between the homes and 100. By hand in analysis/survey's
// TestTellWhole: it is Beta, and so Alpha has 5 to 8 above either level, and Beta 25 to 28 homes.
func TestAttackPattern(t *testing.T) {
	row := func(name string, least, most, above int) toldRow {
		return toldRow{name: name, least: least, most: most, counted: map[string][2]int{"200": {above, above + 4}}}
	}
	rows := []toldRow{{name: "all homes", least: 50, most: 58, counted: map[string][2]int{"100": {20, 29}, "200": {15, 23}}}, row("Alpha", 25, 29, 5), row("Beta", 25, 29, 10)}
	found, tried := attackRows(rows, 5)
	text := strings.Join(found, "\n")
	for _, want := range []string{"Alpha: count 1 of homes and those above [100 200] lies between 5 and 8", "Alpha: count 2 of homes and those above [100 200] lies between 5 and 8", "Beta: count 0 of homes and those above [100 200] lies between 25 and 28", "Beta: count 1 of homes and those above [100 200] lies between 21 and 24"} {
		if !strings.Contains(text, want) {
			t.Errorf("the attack does not find that %s, but\n%s", want, text)
		}
	}
	if len(found) != 4 || tried != 6 {
		t.Errorf("of %d counts %d are found", tried, len(found))
	}
	// What is told of such homes now.
	t.Chdir(t.TempDir())
	var b strings.Builder
	b.WriteString("home,area,start,days,value,unit\n")
	home := 0
	for _, r := range []struct {
		area                 string
		low, middle, highest int
	}{{"Alpha", 20, 1, 6}, {"Beta", 4, 10, 12}} {
		for value, n := range map[int]int{60: r.low, 150: r.middle, 300: r.highest} {
			for i := range n {
				home++
				fmt.Fprintf(&b, "%d,%s,2024-02-10,90,%d.%d,Bq/m3\n", home, r.area, value, i)
			}
		}
	}
	if err := os.WriteFile("homes.csv", []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	status, out, errs := runAll([]string{"radonyear", "survey", "homes.csv", "--publish", "--min-cell", "5", "--level", "100", "--level", "200", "--test-error", "none", "--format", "csv"})
	if status != exitDone {
		t.Fatalf("exit status %d: %s", status, errs)
	}
	rows = fromCSV(t, out)
	if found, tried := attackRows(rows, 5); len(found) > 0 || tried != 4 || rows[0].counted["200"] != [2]int{15, 23} {
		t.Errorf("%q of %d counts are found in %v", found, tried, rows)
	}
}

func runAll(args []string) (status int, out, errs string) {
	var stdout, stderr bytes.Buffer
	status = run(args, strings.NewReader(""), &stdout, &stderr)
	return status, stdout.String(), stderr.String()
}

// number is one number of a document, with the name it stands under.
type number struct {
	name string
	x    float64
}

func jsonNumbers(v any, name string) (out []number) {
	switch v := v.(type) {
	case map[string]any:
		for key, x := range v {
			out = append(out, jsonNumbers(x, key)...)
		}
	case []any:
		for _, x := range v {
			out = append(out, jsonNumbers(x, name)...)
		}
	case json.Number:
		x, _ := v.Float64()
		out = append(out, number{name, x})
	}
	return out
}

func csvNumbers(text string) (out []number) {
	all, _ := csv.NewReader(strings.NewReader(text)).ReadAll()
	for _, row := range all[1:] {
		for i, cell := range row {
			if x, err := strconv.ParseFloat(cell, 64); err == nil {
				out = append(out, number{all[0][i], x})
			}
		}
	}
	return out
}

// checkDigits holds every number of a publication to what it may say.
func checkDigits(t *testing.T, numbers []number, k int) {
	t.Helper()
	if len(numbers) < 10 {
		t.Errorf("only %d numbers were looked at", len(numbers))
	}
	for _, n := range numbers {
		ok := false
		switch {
		case n.name == "min_cell":
			ok = n.x == float64(k)
		case n.name == "level" || n.name == "levels":
			ok = n.x == 100 || n.x == 200
		case n.name == "homes_at_least" || n.name == "at_least":
			ok = int(n.x)%k == 0
		case strings.HasPrefix(n.name, "raw_above_") && strings.HasSuffix(n.name, "_at_least"):
			ok = int(n.x)%k == 0
		case n.name == "homes_at_most" || strings.HasSuffix(n.name, "at_most"): // of rows added up, as many less than a multiple as there are rows
			ok = n.x == math.Trunc(n.x)
		case n.name == "confidence" || strings.HasSuffix(n.name, "_confidence"):
			ok = n.x == 0.95
		default:
			ok = n.x == survey.Digits(n.x, 0) || n.x > 0.5 && n.x < 1 && round(1-n.x) == survey.Digits(round(1-n.x), 0)
		}
		if !ok {
			t.Errorf("%s is %v", n.name, n.x)
		}
	}
}
