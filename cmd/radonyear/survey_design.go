package main

import (
	"cmp"
	"errors"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/survey"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// designFlags say how the homes were drawn.
func designFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "weights", Usage: "`COLUMN` of how many dwellings each home stands for; what the survey says by its design is then shown beside the model"},
		&cli.StringFlag{Name: "strata", Usage: "`COLUMN` within whose values homes were drawn by themselves, for the design"},
		&cli.StringFlag{Name: "clusters", Usage: "`COLUMN` of what was drawn first, such as a block, with homes in it, for the design"},
		&cli.StringSliceFlag{Name: "rake", Usage: "`COLUMN=FILE` of known dwellings (CSV: the column and dwellings): weights are fitted to them; may be repeated"},
		&cli.StringFlag{Name: "lonely", Usage: "what a stratum with one home or cluster counts as: `HOW` is error (default), centre (compared with the mean of all) or certainty (adds nothing)"},
	}
}

// drawingQuestion is how the homes were drawn, as asked.
type drawingQuestion struct {
	weights, strata, clusters, lonely string
	rakes                             []rake
	beside                            []report.Input // their files
}

// rake is a trait of which the dwellings are known.
type rake struct {
	column, path string
	dwellings    map[string]float64
	lines        map[string]int // where a cell stands in the file
}

func (d drawingQuestion) asked() bool {
	return d.weights != "" || d.strata != "" || d.clusters != "" || d.rakes != nil
}

func parseDrawing(c *cli.Context) (d drawingQuestion, err error) {
	d = drawingQuestion{weights: c.String("weights"), strata: c.String("strata"), clusters: c.String("clusters"), lonely: c.String("lonely")}
	if !slices.Contains([]string{"", survey.LonelyError, survey.LonelyCentre, survey.LonelyCertainty}, d.lonely) {
		return d, usageError{fmt.Sprintf("unknown treatment %q of a lonely home or cluster", d.lonely), "--lonely error, centre or certainty"}
	}
	if d.lonely != "" && d.strata == "" {
		return d, usageError{"--lonely says what a stratum with one home or cluster counts as, and there are no strata", "say which column does with --strata, or leave out --lonely"}
	}
	if d.strata != "" && d.strata == d.clusters {
		return d, usageError{fmt.Sprintf("--strata and --clusters name the same column %q", d.strata), "strata are all drawn from, of clusters only some are drawn; leave out one"}
	}
	for _, pair := range c.StringSlice("rake") {
		column, path, _ := strings.Cut(pair, "=")
		if column == "" || path == "" {
			return d, usageError{fmt.Sprintf("--rake %q does not say which column's dwellings are in which file", pair), "--rake COLUMN=FILE, for example --rake type=types.csv"}
		}
		if slices.ContainsFunc(d.rakes, func(r rake) bool { return r.column == column }) {
			return d, usageError{fmt.Sprintf("--rake %s is given twice", column), "give each column one file"}
		}
		r := rake{column: column, path: path}
		f, err := openSide(c, path, "dwellings", fmt.Sprintf("a line is a value of %s and its dwellings under the header %s,dwellings", column, column))
		if err != nil {
			return d, err
		}
		d.beside = append(d.beside, f.sum)
		if r.dwellings, r.lines, err = readDwellings(f, column); err != nil {
			return d, err
		}
		d.rakes = append(d.rakes, r)
	}
	if d.weights != "" {
		// The reader then takes its numbers as it does others, and says which it cannot.
		return d, c.Set("column", d.weights+"=weight")
	}
	return d, nil
}

func (d drawingQuestion) settings() []report.Field {
	rakes := []string{}
	for _, r := range d.rakes {
		rakes = append(rakes, r.column+"="+r.path)
	}
	return []report.Field{{Name: "weights", Value: textOrNull(d.weights)}, {Name: "strata", Value: textOrNull(d.strata)}, {Name: "clusters", Value: textOrNull(d.clusters)},
		{Name: "rake", Value: rakes}, {Name: "lonely", Value: textOrNull(d.lonely)}}
}

// refusedWeight is an error where a weight could not be read: a sample without that
// home would be another.
func (d drawingQuestion) refusedWeight(rejected []ingest.RowError, err error) error {
	var file *ingest.FileError
	if errors.As(err, &file) && d.weights != "" && file.Column == d.weights && file.Line == 0 {
		return usageError{fmt.Sprintf("--weights %s: %s", d.weights, file.Why), "write the name in --weights as it stands in the file"}
	}
	if err != nil {
		return err
	}
	for _, r := range rejected {
		if d.weights != "" && strings.EqualFold(r.Column, d.weights) {
			return hinted{r, "mend the weight, or take the whole home out of the file: what is left would stand for others"}
		}
	}
	return nil
}

// traitOf gives a home's value of a column; the area may be asked for by its name in
// the file, or as what --by says.
type traitOf func(h ingest.Home, group string) string

func (q communityQuestion) trait(option, name string, files []ingest.File) (traitOf, error) {
	area := func(f ingest.File) bool { return f.ColumnsFound["area"] == name }
	switch {
	case name == q.by:
		return func(_ ingest.Home, group string) string { return group }, nil
	case name == "area", slices.ContainsFunc(files, area):
		return func(h ingest.Home, _ string) string { return h.Area }, nil
	case slices.ContainsFunc(files, func(f ingest.File) bool { return slices.Contains(f.ColumnsExtra, name) }):
		return func(h ingest.Home, _ string) string { return h.Extra[name] }, nil
	}
	return nil, hasColumn(option, name, files, "area, or a column")
}

// designed is what the design says, and what of it is to be said in words.
type designed struct {
	survey.DesignResult
	finite  bool     // homes measured are a known share of all
	outside []string // areas with dwellings and no home, which it cannot speak for
	missed  float64  // their dwellings
	nested  []string // clusters whose name stands in several strata

	differences []analysis.Estimate // of the shares of two areas, by level; nil where they are not two, or not independent
}

// design estimates by how the homes were drawn; nil where nothing was said of that.
func (q communityQuestion) design(all []surveyed, daily *ingest.Daily, files []ingest.File) (*designed, error) {
	d := q.drawing
	if !d.asked() && q.populations == nil {
		return nil, nil
	}
	out := &designed{}
	opt := survey.DesignOptions{Confidence: q.Confidence, Levels: q.Levels, Lonely: d.lonely, Areas: true}
	var traits [2]traitOf // strata and clusters
	var rakes []rake
	var rakeTraits []traitOf
	for i, o := range []struct{ option, name string }{{"--strata", d.strata}, {"--clusters", d.clusters}} {
		if o.name == "" {
			continue
		}
		var err error
		if traits[i], err = q.trait(o.option, o.name, files); err != nil {
			return nil, err
		}
	}
	if q.populations != nil {
		r := rake{column: q.by, path: q.populationsFile, dwellings: map[string]float64{}}
		for _, name := range slices.Sorted(maps.Keys(q.populations)) {
			if slices.ContainsFunc(all, func(s surveyed) bool { return s.home.Area == name }) {
				r.dwellings[name] = q.populations[name]
			} else {
				out.outside, out.missed = append(out.outside, name), out.missed+q.populations[name]
			}
		}
		rakes, rakeTraits = append(rakes, r), append(rakeTraits, func(_ ingest.Home, group string) string { return group })
	}
	for _, r := range d.rakes {
		if q.populations != nil && r.column == q.by {
			return nil, usageError{fmt.Sprintf("--populations and --rake %s both say the dwellings of each %s", r.column, q.by), "leave out one of them"}
		}
		t, err := q.trait("--rake", r.column, files)
		if err != nil {
			return nil, err
		}
		rakes, rakeTraits = append(rakes, r), append(rakeTraits, t)
	}
	for _, r := range rakes {
		opt.Margins = append(opt.Margins, survey.Margin{Name: r.column, Dwellings: r.dwellings})
	}
	homes := make([]survey.Drawn, len(all))
	for i, s := range all {
		h := daily.Home(s.at, ingest.Filter{Kind: "none"}) // what is known of it, without its readings
		at := func(column string) string {
			file, line := daily.Row(s.at)
			return fmt.Sprintf("%s:%d: column %s: home %s", file, line, column, h.Name)
		}
		homes[i] = survey.Drawn{Home: s.home}
		homes[i].Weight = 1
		if d.weights != "" {
			if homes[i].Weight = h.Weight; h.Weight == 0 {
				return nil, hinted{fmt.Errorf("%s has no weight above zero", at(d.weights)), "a weight is how many dwellings the home stands for; a home that stands for none is taken out of the file"}
			}
		}
		for k, to := range []*string{&homes[i].Stratum, &homes[i].Cluster} {
			if traits[k] == nil {
				continue
			}
			if *to = traits[k](h, s.home.Area); *to == "" {
				name := []string{d.strata, d.clusters}[k]
				return nil, hinted{fmt.Errorf("%s says nothing there, or not the same in all of its rows", at(name)), "fill in the column: the design needs to know how each home was drawn"}
			}
		}
		for k, r := range rakes {
			cell := rakeTraits[k](h, s.home.Area)
			if _, ok := r.dwellings[cell]; !ok {
				what := fmt.Sprintf("is %q, of which %s has no dwellings", cell, r.path)
				if cell == "" {
					what = "says nothing there, or not the same in all of its rows"
				}
				return nil, hinted{fmt.Errorf("%s %s", at(r.column), what), "write the values alike in both files, and name each in " + r.path}
			}
			homes[i].Cells = append(homes[i].Cells, cell)
		}
	}
	if d.weights != "" {
		for _, f := range daily.Findings() {
			if f.Code == "weights-differ" {
				return nil, hinted{fmt.Errorf("%s:%d: column %s: home %s: its rows state different weights", f.File, f.Line, d.weights, f.Home), "give all rows of a home one weight"}
			}
		}
	}
	if traits[0] != nil && !slices.ContainsFunc(homes, func(h survey.Drawn) bool { return h.Stratum != homes[0].Stratum }) {
		return nil, hinted{fmt.Errorf("--strata %s: all homes are in one stratum, %q", d.strata, homes[0].Stratum), "leave out --strata, or name the column that homes were drawn by"}
	}
	opt.Populations = d.populations(rakes)
	out.finite = opt.Populations != nil
	out.nested = nestedClusters(homes)
	r, err := survey.EstimateDesign(homes, opt)
	out.DesignResult = r
	if err == nil {
		out.differences, err = differences(homes, r)
	}
	return out, d.worded(err, rakes)
}

// differences are those of the shares of two areas, the first's less the second's, as of
// two samples drawn apart; nil where there are more areas or one, or a cluster stands in
// both. That homes of both come from the same strata is not in it.
func differences(homes []survey.Drawn, r survey.DesignResult) (all []analysis.Estimate, err error) {
	if len(r.Areas) != 2 {
		return nil, nil
	}
	areas := map[[2]string]string{}
	for _, h := range homes {
		cluster := [2]string{h.Stratum, h.Cluster}
		if other, ok := areas[cluster]; ok && h.Cluster != "" && other != h.Home.Area {
			return nil, nil
		}
		areas[cluster] = h.Home.Area
	}
	for i, s := range r.Areas[0].Shares {
		d, err := survey.Difference(s, r.Areas[1].Shares[i])
		if err != nil {
			return nil, err
		}
		all = append(all, d)
	}
	return all, nil
}

// populations are what was drawn from: homes where no clusters were, of strata whose
// dwellings are known.
func (d drawingQuestion) populations(rakes []rake) map[string]float64 {
	if d.clusters != "" || rakes == nil {
		return nil
	}
	if d.strata == "" {
		sum := 0.0
		for _, name := range slices.Sorted(maps.Keys(rakes[0].dwellings)) {
			sum += rakes[0].dwellings[name]
		}
		return map[string]float64{"": sum}
	}
	for _, r := range rakes {
		if r.column == d.strata {
			return r.dwellings
		}
	}
	return nil
}

// worded names the file, the line and the option in an error of the design.
func (d drawingQuestion) worded(err error, rakes []rake) error {
	var margin *survey.MarginError
	var lonely *survey.LonelyStrata
	switch {
	case errors.As(err, &margin):
		for _, r := range rakes {
			if r.column != margin.Margin {
				continue
			}
			where := r.path
			if line, ok := r.lines[margin.Cell]; ok {
				where = fmt.Sprintf("%s:%d", r.path, line)
			}
			return hinted{fmt.Errorf("%s: column %s: %w", where, r.column, err), "give values with few homes a common name, in the readings and in " + r.path}
		}
		return hinted{fmt.Errorf("--rake: %w", err), "count the same dwellings in each file"}
	case errors.As(err, &lonely):
		return hinted{fmt.Errorf("--strata %s: %w", d.strata, err), "give strata that are alike a common name, or choose --lonely centre or --lonely certainty"}
	case err != nil:
		return hinted{fmt.Errorf("how the homes were drawn: %w", err), "without --weights, --strata, --clusters, --rake and --populations the model alone answers"}
	}
	return nil
}

// nestedClusters are names that stand in more than one stratum.
func nestedClusters(homes []survey.Drawn) (names []string) {
	in := map[string]string{}
	for _, h := range homes {
		if s, ok := in[h.Cluster]; h.Cluster != "" && ok && s != h.Stratum && !slices.Contains(names, h.Cluster) {
			names = append(names, h.Cluster)
		}
		in[h.Cluster] = h.Stratum
	}
	slices.Sort(names)
	return names
}

// notes are those of the whole sample.
func (d *designed) notes() []analysis.Note {
	notes := slices.Clip(d.Community.Notes)
	if d.outside != nil {
		notes = append(notes, analysis.Note{Code: "outside-the-sample", Text: fmt.Sprintf("the design says nothing of %s, where no home was measured, with %.6g dwellings: those are left out of it", strings.Join(d.outside, ", "), d.missed)})
	}
	if d.nested != nil {
		notes = append(notes, analysis.Note{Code: "clusters-nested", Text: fmt.Sprintf("clusters are taken as others in each stratum where their name stands (%s); name them apart, or mend the strata", strings.Join(d.nested[:min(3, len(d.nested))], ", "))})
	}
	return notes
}

// addDesign puts what the design says beside what the model does: a row of the
// community, a table of areas for people, columns for CSV, and "design" in JSON, of
// the community and of each area, and within each of their share_above.
func (q communityQuestion) addDesign(tables []report.Table, d *designed) []report.Table {
	byName := map[string]survey.DesignFigures{}
	for _, f := range d.Areas {
		byName[f.Area] = f
	}
	nested := tables[0].Rows[0].Cells
	for i, c := range tables[0].Columns {
		switch c.Key {
		case "community":
			community := append(d.fields(d.Community), report.Field{Name: "rounds", Value: d.Rounds}, report.Field{Name: "residual", Value: d.Residual},
				report.Field{Name: "effective_weight_homes", Value: d.Effective}, report.Field{Name: "finite", Value: d.finite})
			nested[i] = withDesign(nested[i].([]report.Field), community, d.Community.Shares)
		case "areas":
			areas := nested[i].([]any)
			for k, a := range areas {
				fields := a.([]report.Field)
				if f, ok := byName[field(fields, "area").(string)]; ok {
					areas[k] = withDesign(fields, d.fields(f), f.Shares)
				} else {
					areas[k] = append(fields, report.Field{Name: "design", Value: nil})
				}
			}
		}
	}
	if d.differences != nil {
		list := []any{}
		for i, e := range d.differences {
			list = append(list, []report.Field{{Name: "level", Value: q.Levels[i]}, {Name: "first", Value: d.Areas[0].Area}, {Name: "second", Value: d.Areas[1].Area}, {Name: "difference", Value: e}})
		}
		tables[0].Columns = append(tables[0].Columns, report.Column{Key: "design_difference", Style: report.Nested})
		tables[0].Rows[0].Cells = append(tables[0].Rows[0].Cells, list)
	}
	tables[0].Rows[0].Notes = rowNotes(tables[0].Rows[0].Notes, d.notes())
	main := &tables[1]
	row := report.Row{Label: "by design", Notes: rowNotes(d.notes(), estimateNotes(d.Community))}
	level := 0
	for _, c := range main.Columns {
		var cell any
		switch {
		case c.Head == "Of":
			cell = "by design"
		case c.Head == "Homes":
			cell = d.Community.Homes
		case c.Head == "GM" && d.Community.GM != nil:
			cell = d.Community.GM.Value
		case strings.HasSuffix(c.Head, "interval") && d.Community.GM != nil:
			cell = strings.ReplaceAll(report.Interval(*d.Community.GM, q.Levels...), " to ", "-")
		case c.Head == "Mean":
			cell = pointed(d.Community.AM)
		case c.Style == report.Fraction:
			cell = d.Community.Shares[level].Share
			level++
		case c.Style == report.Text:
			cell = ""
		}
		row.Cells = append(row.Cells, cell)
	}
	main.Rows = slices.Insert(main.Rows, 1, row)
	csv, areas := &tables[2], report.Table{Title: "By area, by design: what the homes drawn there say without the others:", Columns: []report.Column{
		{Head: firstUpper(q.by), Style: report.Text}, {Head: "Homes", Style: report.Count}, {Head: "df", Style: report.Count},
		{Head: "GM", Style: report.Estimate}, {Head: "Mean", Style: report.Estimate, Spare: 1}}}
	csv.Columns = append(csv.Columns, report.Column{Key: "design_df", Style: report.Count}, report.Column{Key: "design_gm", Style: report.Estimate}, report.Column{Key: "design_am", Style: report.Estimate})
	for _, l := range q.Levels {
		at := strconv.FormatFloat(l, 'f', -1, 64)
		csv.Columns = append(csv.Columns, report.Column{Key: "design_share_above_" + at, Style: report.Fraction}, report.Column{Key: "design_homes_above_" + at, Style: report.Estimate})
		areas.Columns = append(areas.Columns, report.Column{Head: ">" + at + "\n%", Style: report.Fraction})
	}
	for i, r := range csv.Rows {
		f, ok := byName[r.Cells[0].(string)]
		cells := []any{nil, nil, nil}
		if ok {
			cells = []any{f.DF, pointed(f.GM), pointed(f.AM)}
		}
		for k := range q.Levels {
			if ok {
				cells = append(cells, f.Shares[k].Share, pointed(f.Shares[k].Homes))
			} else {
				cells = append(cells, nil, nil)
			}
		}
		csv.Rows[i].Cells = append(r.Cells, cells...)
		if ok {
			people := []any{r.Label, f.Homes, f.DF, pointed(f.GM), pointed(f.AM)}
			for _, s := range f.Shares {
				people = append(people, s.Share)
			}
			areas.Rows = append(areas.Rows, report.Row{Label: r.Label, Cells: people, Notes: rowNotes(f.Notes, estimateNotes(f))})
		}
	}
	return append(tables, areas)
}

// field is the value of a name among fields.
func field(fields []report.Field, name string) any {
	for _, f := range fields {
		if f.Name == name {
			return f.Value
		}
	}
	return nil
}

// withDesign adds "design" to the fields of a community or an area, and to each of its
// shares.
func withDesign(fields, design []report.Field, shares []survey.DesignShare) []report.Field {
	for i, above := range field(fields, "share_above").([]any) {
		s := shares[i]
		field(fields, "share_above").([]any)[i] = append(above.([]report.Field), report.Field{Name: "design", Value: []report.Field{
			{Name: "share", Value: s.Share}, {Name: "wilson", Value: s.Wilson}, {Name: "clopper_pearson", Value: s.ClopperPearson},
			{Name: "se", Value: s.SE}, {Name: "effective_homes", Value: s.Effective}, {Name: "above", Value: s.Above}, {Name: "undecided", Value: s.Undecided},
			{Name: "homes_above", Value: pointed(s.Homes)}}})
	}
	return append(fields, report.Field{Name: "design", Value: design})
}

func (d *designed) fields(f survey.DesignFigures) []report.Field {
	var dwellings any
	if f.Dwellings > 0 {
		dwellings = f.Dwellings
	}
	return []report.Field{{Name: "homes", Value: f.Homes}, {Name: "clusters", Value: f.Clusters}, {Name: "strata", Value: f.Strata}, {Name: "df", Value: f.DF},
		{Name: "dwellings", Value: dwellings}, {Name: "gm", Value: pointed(f.GM)}, {Name: "am", Value: pointed(f.AM)}}
}

// estimateNotes are those of all estimates of a domain.
func estimateNotes(f survey.DesignFigures) (notes []analysis.Note) {
	for _, e := range []*analysis.Estimate{f.GM, f.AM} {
		if e != nil {
			notes = append(notes, e.Notes...)
		}
	}
	for _, s := range f.Shares {
		notes = append(notes, s.Share.Notes...)
	}
	return notes
}

// designSentences say what the design was and what its figures rest on.
func (q communityQuestion) designSentences(d *designed) []string {
	g := q.drawing
	var how []string
	if g.weights != "" {
		how = append(how, "weighted by "+g.weights)
	}
	if g.strata != "" {
		how = append(how, fmt.Sprintf("in %d strata of %s", d.Community.Strata, g.strata))
	}
	if g.clusters != "" {
		how = append(how, fmt.Sprintf("in %d clusters of %s", d.Community.Clusters, g.clusters))
	}
	var margins []string
	if q.populations != nil {
		margins = append(margins, q.populationsFile)
	}
	for _, r := range g.rakes {
		margins = append(margins, r.path)
	}
	switch len(margins) {
	case 0:
	case 1:
		how = append(how, "post-stratified to the dwellings in "+margins[0])
	default:
		how = append(how, "raked to the dwellings in "+strings.Join(margins, " and "))
	}
	out := fmt.Sprintf("By design: each home's own value, %s; %s of freedom; intervals by Taylor linearisation, of shares Korn and Graubard's.", strings.Join(how, ", "), count(d.Community.DF, "degree"))
	if d.finite {
		out += " Homes measured are taken as drawn from just those dwellings."
	}
	if q.testError == "profile" {
		out += " The error of the homes' tests is in these figures, so that shares above a high level come out too large; the row \"annual\" has it taken off."
	}
	switch q.recruitment {
	case "random":
	case "":
		out += " They hold for homes drawn at random; how these came into the survey was not stated."
	default:
		out += " They hold for homes drawn at random; no weight makes that of volunteers."
	}
	sentences := []string{out}
	for i, e := range d.differences {
		sentences = append(sentences, fmt.Sprintf("Share above %g Bq/m³ by design, that of %s less that of %s: %.1f percentage points (%g %% interval %.1f to %.1f).",
			q.Levels[i], areaName(d.Areas[0].Area), areaName(d.Areas[1].Area), 100*e.Value, round(100*q.Confidence), 100*e.Lower, 100*e.Upper))
	}
	return sentences
}

// areaName is an area as people are told it.
func areaName(name string) string { return cmp.Or(name, "(none)") }
