package main

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/compare"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// sameWeeks is how many days the middles of two tests may lie apart for the season to
// be taken for the same: common practice has duplicates and pairs overlap.
const sameWeeks = 14

// middleOf is the middle of all that was measured.
func middleOf(all []analysis.Series) time.Time {
	start, end := all[0].Start(), all[0].End()
	for _, s := range all[1:] {
		if s.Start().Before(start) {
			start = s.Start()
		}
		if s.End().After(end) {
			end = s.End()
		}
	}
	return start.Add(end.Sub(start) / 2)
}

// valuesOf names the values that a column has, where none of its homes has the one asked
// for.
func valuesOf(column, value string, values map[string]int) string {
	const most = 10
	if values[value] > 0 {
		return ""
	}
	var names []string
	for _, v := range slices.Sorted(maps.Keys(values)) {
		if len(names) == most {
			names = append(names, "and others")
			break
		}
		names = append(names, strconv.Quote(v))
	}
	return fmt.Sprintf("%s is %s", column, strings.Join(names, ", "))
}

// compareHomes holds homes that have a system against others that have none: in
// pairs, or as two groups. A home is the plain mean of its readings.
func (p *program) compareHomes(c *cli.Context, q compareQuestion, format string) error {
	for _, name := range []string{"switch", "switches", "find-switch", "series", "weather", "by", "joined", "before", "before-start", "after", "after-start", "reduction", "profile", "hemisphere", "area-prior", "course", "calibration", "level", "plot", "home"} {
		if c.IsSet(name) {
			return usageError{fmt.Sprintf("--%s is for homes measured before and after; --with takes homes as they are", name), "leave out --" + name + ", or --with"}
		}
	}
	column, value, ok := strings.Cut(c.String("with"), "=")
	if !ok || column == "" || value == "" {
		return usageError{fmt.Sprintf("--with %q does not say which homes have a system", c.String("with")), "--with COLUMN=VALUE, for example --with system=fan"}
	}
	pair := c.String("pair")
	daily, files, _, err := p.readFiles(c)
	if err != nil {
		return err
	}
	for option, name := range map[string]string{"with": column, "pair": pair} {
		if name == "" {
			continue
		}
		if !slices.ContainsFunc(files, func(f ingest.File) bool { return slices.Contains(f.ColumnsExtra, name) }) {
			return usageError{fmt.Sprintf("--%s %s: no file has such a column", option, name), "radonyear inspect FILE shows the columns; --column NAME=text lets one ride along"}
		}
	}
	type home struct {
		place analysis.Place
		mean  float64
		mid   time.Time // the middle of what was measured
		has   bool
		pair  string
	}
	var homes []home
	values := map[string]int{} // of the column, with how many homes have each
	var left []report.LeftOut
	for i := range daily.HomeCount() {
		h := daily.Home(i, ingest.Filter{})
		place := analysis.Place{Home: h.Name, Area: h.Area}
		out := func(why string) { left = append(left, report.LeftOut{Place: place, Why: why}) }
		if len(h.Series) == 0 {
			out(noField)
			continue
		}
		phases := map[string]bool{}
		for _, a := range h.About {
			phases[a.Phase] = true
		}
		mean := annual.RawMean(h.Series)
		switch {
		case len(phases) > 1:
			out("readings from before and after mitigation; compare it by these, without --with")
		case h.Extra[column] == "":
			out(noSingle(column))
		case pair != "" && h.Extra[pair] == "":
			out(noSingle(pair))
		case !(mean > 0):
			out("every reading is zero, which has no logarithm")
		default:
			values[h.Extra[column]]++
			homes = append(homes, home{place, mean, middleOf(h.Series), h.Extra[column] == value, h.Extra[pair]})
		}
	}
	if hint := valuesOf(column, value, values); hint != "" && len(homes) > 0 {
		return hinted{fmt.Errorf("no home has %s", c.String("with")), hint}
	}
	var with, without []float64
	var apart int // pairs, or groups, whose middles lie further apart than a fortnight
	if pair == "" {
		var mids [2]float64 // days
		for _, h := range homes {
			day := h.mid.Sub(homes[0].mid).Hours() / 24
			if h.has {
				with, mids[1] = append(with, h.mean), mids[1]+day
			} else {
				without, mids[0] = append(without, h.mean), mids[0]+day
			}
		}
		if math.Abs(mids[1]/float64(max(1, len(with)))-mids[0]/float64(max(1, len(without)))) > sameWeeks {
			apart = 1
		}
	} else {
		pairs := map[string][]home{}
		var names []string
		for _, h := range homes {
			if pairs[h.pair] == nil {
				names = append(names, h.pair)
			}
			pairs[h.pair] = append(pairs[h.pair], h)
		}
		slices.Sort(names)
		for _, name := range names {
			two := pairs[name]
			if len(two) != 2 || two[0].has == two[1].has {
				for _, h := range two {
					left = append(left, report.LeftOut{Place: h.place, Why: fmt.Sprintf("%s %q does not pair one home with a system and one without", pair, name)})
				}
				continue
			}
			if !two[0].has {
				two[0], two[1] = two[1], two[0]
			}
			with, without = append(with, two[0].mean), append(without, two[1].mean)
			if math.Abs(two[0].mid.Sub(two[1].mid).Hours()/24) > sameWeeks {
				apart++
			}
		}
	}
	r, err := compare.WithWithout(with, without, pair != "", compare.ContrastOptions{Confidence: q.Confidence})
	if err != nil {
		if len(homes) == 0 {
			return noResult(left, files)
		}
		return hinted{err, fmt.Sprintf("%s with %s and %s without can be used", count(len(with), "home"), c.String("with"), count(len(without), "home"))}
	}
	notes := r.Notes
	switch {
	case apart > 0 && pair == "":
		notes = append(notes, analysis.Note{Code: "other-weeks", Text: fmt.Sprintf("the two groups were measured over %d days apart on average, and the ratio holds what the season did in between; measure both in the same weeks", sameWeeks)})
	case apart > 0:
		notes = append(notes, analysis.Note{Code: "other-weeks", Text: fmt.Sprintf("%s measured over %d days apart, and their ratios hold what the season did in between; measure both homes of a pair in the same weeks", map[bool]string{true: "1 pair was", false: fmt.Sprintf("%d pairs were", apart)}[apart == 1], sameWeeks)})
	}
	var pairedBy any
	if pair != "" {
		pairedBy = pair
	}
	t := report.Table{Columns: []report.Column{
		{Key: "with", Head: "Homes\nwith", Style: report.Count}, {Key: "without", Head: "Homes\nwithout", Style: report.Count},
		{Key: "ratio", Head: "Ratio", Style: report.Estimate}, {Key: "reduction", Head: "Reduction\n%", Style: report.Estimate},
		{Key: "median_ratio", Style: report.Estimate}, {Key: "df", Style: report.Factor},
	}}
	ranks := report.Table{Title: "By ranks, which no odd home can move:", Columns: []report.Column{{Head: "Ratio", Style: report.Estimate}}}
	ranks.Rows = []report.Row{{Cells: []any{r.Median}}}
	t.Rows = []report.Row{{Label: c.String("with"), Notes: rowNotes(notes), Cells: []any{r.With, r.Without, r.Ratio, r.Reduction, r.Median, r.DF}}}
	doc := report.Document{
		Command: "compare", Version: version, Tables: []report.Table{t, ranks},
		Settings: slices.Concat([]report.Field{{Name: "with", Value: c.String("with")}, {Name: "pair", Value: pairedBy}, {Name: "confidence", Value: q.Confidence}}, readingSettings(c)),
		Inputs:   inputs(files, ""), Beside: q.beside, Rejects: rejectsFile(c), Notes: inputNotes(files, daily, ""), LeftOut: left,
		After: []string{
			"Ratio: of geometric means, homes with over homes without; of pairs, the geometric mean of their ratios. A home is the plain mean of its readings, so measure all in the same weeks. Systems go where radon is high, so that groups make one look worse than it is: a home before and after, or a pair, says more.",
			caution},
		Confidence: q.Confidence,
	}
	if err := p.emit(c, doc, format); err != nil {
		return err
	}
	return p.partial(doc)
}
