package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/lognormal"
	"radonyear/analysis/survey"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// publishDescription is the rest of describe where its result is to be published.
func (p *program) publishDescription(c *cli.Context, q surveyQuestion, o *publishing, format string, all grouped, files []ingest.File) error {
	if q.by == "home" {
		return usageError{"--by home gives each home by itself, and no home is published", "--by area, or another column"}
	}
	if q.method == "bca" {
		return usageError{"--method bca does not go with --publish: the width of an interval by resampling tells how many homes there are", "leave out --method"}
	}
	if len(all.groups) == 0 {
		return noResult(all.left, files)
	}
	groups, merged := q.mergeGroups(all.groups, o.MinCell)
	rows := make([]survey.PublishedValues, len(groups))
	counted := make([]survey.RawArea, len(groups))
	for i, g := range groups {
		q := q
		q.opt.Counts = survey.CountsAsTold(len(g.obs), o.MinCell)
		d, err := q.describeOne(g.obs)
		if err == nil {
			rows[i], err = survey.PublishValues(d, o.PublishOptions)
		}
		if err != nil {
			return hinted{err, "measure more homes; without --publish the result is for yourself"}
		}
		if counted[i], err = countAbove(g, q.levels, q.opt.Confidence); err != nil {
			return err
		}
	}
	// No total of the groups is told, so that each level is told for all of them or none.
	whole, err := countAbove(together(groups), q.levels, q.opt.Confidence)
	if err != nil {
		return err
	}
	_, tellable := survey.Countable(whole, counted, o.MinCell)
	var withheld []survey.Withheld
	if len(merged) > 0 {
		withheld = append(withheld, survey.Withheld{What: "groups", Why: "those with fewer than " + strconv.Itoa(o.MinCell) + " homes are told only together, where need be with the next smallest"})
	}
	for k, level := range q.levels {
		if !tellable[k] {
			withheld = append(withheld, survey.Withheld{What: "counted share above " + told(level), Why: "in some row fewer than " + strconv.Itoa(o.MinCell) + " homes above it, below it, or between it and another level, or a limit that leaves a home undecided"})
			continue
		}
		for i := range rows {
			rows[i].Above[k].Counted = survey.PublishedCount(counted[i].Above[k], survey.Told(counted[i].Above[k].Above, o.MinCell), survey.Told(counted[i].Homes, o.MinCell), o.MinCell)
		}
	}
	var apart []string // shares of which both figures are told, and do not meet
	for i, v := range rows {
		for _, a := range v.Above {
			if sharesDisagree(a) {
				apart = append(apart, q.groupName(groups[i])+" above "+told(a.Level))
			}
		}
	}
	var not []string // rows of another shape
	for i, v := range rows {
		if v.NotLogNormal {
			not = append(not, q.groupName(groups[i]))
		}
	}
	if slices.ContainsFunc(rows, func(v survey.PublishedValues) bool { return v.AM == nil && v.GM != nil }) {
		withheld = append(withheld, survey.Withheld{What: "mean, where there is none", Why: "the shape assumed would make it and not the values, or they do not give one"})
	}
	if slices.ContainsFunc(rows, func(v survey.PublishedValues) bool { return v.GM == nil }) {
		withheld = append(withheld, survey.Withheld{What: "geometric mean and spread, and the mean with them, where there are none", Why: "most homes lie below a limit, or the values do not give them"})
	}
	withheld = append(withheld,
		survey.Withheld{What: "quantiles, in CSV and JSON, where there are none", Why: "fewer than 3 homes beyond, or below a limit"},
		survey.Withheld{What: "counts of homes", Why: "told to within " + strconv.Itoa(o.MinCell) + "; in all figures a row counts as the fewest homes told of it, and counted shares are ranges"},
		survey.Withheld{What: "digits", Why: "two significant, limits rounded outwards"},
		survey.Withheld{What: "least and most", Why: "one home's each"},
		survey.Withheld{What: "homes, rooms, detectors, dates, files", Why: "they identify"},
		survey.Withheld{What: "how many homes lie below a limit, tests and plot of the shape, next home", Why: "nearer to single homes, and not needed"})
	withheld = append(withheld, o.untold(all.left)...)
	doc := report.Document{
		Command: "describe", Version: version, Levels: q.levels, Confidence: q.opt.Confidence,
		Settings: append(q.publishedSettings(), o.settings()...), Notes: append(o.notes(all.after), all.published(q, o.MinCell)...), LeftOut: o.leftOut(all.left),
		Tables: []report.Table{q.publishedTable(groups, merged, rows, o)},
	}
	if not != nil {
		beside := "use the counted shares"
		switch {
		case !slices.Contains(tellable, true):
			beside = "rest nothing on them, for no counted share can be told beside them"
		case slices.Contains(tellable, false):
			beside += " where they are told"
		}
		doc.Notes = append(doc.Notes, analysis.Note{Code: "not-log-normal", Text: strings.Join(not, ", ") + ": the values as they stand are not log-normal. The mean and the fitted shares rest on that shape, and may be far off: " + beside + "."})
	}
	if apart != nil {
		cure := "The shape assumed does not hold out there: use the counted share."
		if q.stated || q.error > 0 {
			cure = "The errors taken off do it, or a shape that is not log-normal out there: rest nothing on either alone."
		}
		doc.Notes = append(doc.Notes, analysis.Note{Code: "shares-apart", Text: strings.Join(apart, ", ") + ": the fitted share and the counted one do not meet. " + cure})
	}
	doc.Tables = append(doc.Tables, report.Table{Key: "withheld", Hidden: true, Columns: []report.Column{{Key: "what", Style: report.Text}, {Key: "why", Style: report.Text}}})
	for _, w := range withheld {
		doc.Tables[1].Rows = append(doc.Tables[1].Rows, report.Row{Cells: []any{w.What, w.Why}})
	}
	s := q.sentences()
	doc.After = append(s[:len(s)-2], withheldWords(withheld), limitsOfPublishing, s[len(s)-1])
	if err := p.emit(c, doc, format); err != nil {
		return err
	}
	return p.published(files, all.left)
}

// published are the notes without a number: those that as many homes as a cell give rise to,
// and one that follows from what was asked.
func (g grouped) published(q surveyQuestion, min int) (notes []analysis.Note) {
	add := func(homes int, code, text string) {
		if homes >= min {
			notes = append(notes, analysis.Note{Code: code, Text: text})
		}
	}
	add(g.zeroHomes, zeroResult, fmt.Sprintf("Results of zero were taken as below %g Bq/m³.", temporal.ZeroLimit))
	add(g.deadHomes, "zero-days", "Days of zero were taken as not measured.")
	add(g.mixed, "mixed-limit-days", "Where some hours of a day lie below the detector's limit, half of the limit counts for them"+q.mixedDoubt()+".")
	switch {
	case q.stated:
		add(min, "no-error-stated", "Where no uncertainty is stated, values are taken as exact, but for days with hours below the detector's limit.")
	case q.error == 0:
		add(g.errors, "errors-not-counted", "Uncertainties that are stated for readings are not counted: the spread is that of the values as measured, errors and all.")
	}
	return notes
}

// mergeGroups puts small groups together, as survey.MergeSmall says.
func (q surveyQuestion) mergeGroups(groups []group, min int) (out []group, merged map[string]bool) {
	var sizes []survey.AreaHomes
	for _, g := range groups {
		sizes = append(sizes, survey.AreaHomes{Area: g.name, Homes: len(g.obs)})
	}
	merged = survey.MergeSmall(sizes, min)
	others := group{name: survey.Others}
	for _, g := range groups {
		if merged[g.name] {
			others.obs = append(others.obs, g.obs...)
		} else {
			out = append(out, g)
		}
	}
	if len(merged) > 0 {
		out = append(out, others)
	}
	return out, merged
}

// together is all groups' homes.
func together(groups []group) (all group) {
	for _, g := range groups {
		all.obs = append(all.obs, g.obs...)
	}
	return all
}

// countAbove counts a group's homes above each level.
func countAbove(g group, levels []float64, confidence float64) (survey.RawArea, error) {
	homes := make([]survey.Home, len(g.obs))
	for i, o := range g.obs {
		o.Error = 0 // no part of counting
		homes[i] = survey.FromObservation("", o)
	}
	areas, err := survey.Unpooled(homes, levels, confidence)
	if err != nil {
		return survey.RawArea{}, err
	}
	return areas[0], nil
}

func (q surveyQuestion) publishedSettings() []report.Field {
	return []report.Field{{Name: "by", Value: q.by}, {Name: "levels", Value: append([]float64{}, q.levels...)}, {Name: "level_unit", Value: "Bq/m3"}, {Name: "rule", Value: string(q.rule)},
		{Name: "outdoor", Value: q.outdoor}, {Name: "error", Value: q.errorSetting()}, {Name: "method", Value: q.methodSetting()}, {Name: "confidence", Value: q.opt.Confidence}, {Name: "phase", Value: q.phase}}
}

// publishedTable is the result, a row a group.
func (q surveyQuestion) publishedTable(groups []group, merged map[string]bool, rows []survey.PublishedValues, o *publishing) report.Table {
	head := "Group"
	if q.by != "all" {
		head = firstUpper(q.by)
	}
	interval := intervalHead(q.opt.Confidence)
	text := func(head string) report.Column {
		return report.Column{Head: head, Style: report.Text, Words: true, OmitEmpty: true}
	}
	t := report.Table{Title: "As measured, Bq/m³, with shares of homes in percent; GM: geometric mean; GSD: geometric standard deviation.", Columns: []report.Column{
		{Key: "group", Head: head, Style: report.Text}, {Key: "merged", Style: report.Bool}, text("Homes"), {Key: "homes_at_least", Style: report.Count}, {Key: "homes_at_most", Style: report.Count},
		{Key: "gm", Style: report.Estimate}, text("GM"), text(interval), {Key: "gsd", Style: report.Estimate}, text("GSD"), {Key: "am", Style: report.Estimate}, text("Mean"), {Head: interval, Style: report.Text, Words: true, Spare: 1}, {Key: "am_suppressed", Style: report.Bool}}}
	for _, p := range lognormal.Ranks {
		key := "p" + percentKey(p)
		t.Columns = append(t.Columns, report.Column{Key: key, Style: report.Factor}, report.Column{Key: key + "_suppressed", Style: report.Bool})
	}
	for _, l := range q.levels {
		at := told(l)
		t.Columns = append(t.Columns, report.Column{Key: "fraction_above_" + at, Style: report.Fraction}, report.Column{Key: "fraction_above_" + at + "_suppressed", Style: report.Bool}, text(">"+at+"\n%"), text(interval),
			report.Column{Key: "counted_above_" + at, Style: report.Fraction}, text("Counted\n%"), report.Column{Key: "counted_above_" + at + "_suppressed", Style: report.Bool})
	}
	t.Columns = append(t.Columns, report.Column{Key: "shape", Style: report.Text}, report.Column{Key: "withheld", Style: report.Nested})
	for i, v := range rows {
		name := q.groupName(groups[i])
		gm, gmInterval := toldCells(v.GM, told)
		gsd, _ := toldCells(v.GSD, told)
		am, amInterval := toldCells(v.AM, told)
		if v.AM == nil {
			am = "-"
		}
		cells := []any{name, len(merged) > 0 && groups[i].name == survey.Others, countWords(v.Homes, v.Homes+o.MinCell-1), v.Homes, v.Homes + o.MinCell - 1, pointed(v.GM), gm, gmInterval, pointed(v.GSD), gsd, pointed(v.AM), am, amInterval, v.AM == nil}
		for _, r := range v.Ranks {
			var value any
			if r.Value != nil {
				value = *r.Value
			}
			cells = append(cells, value, r.Value == nil)
		}
		for _, s := range v.Above {
			share, shareInterval := toldCells(s.Share, toldShare)
			if s.Share == nil {
				share = "-"
			}
			cells = append(cells, pointed(s.Share), s.Share == nil, share, shareInterval, ranged(s.Counted), toldRange(s.Counted), s.Counted == nil)
		}
		shape := "" // that the values are log-normal, or that nobody can tell, is not said
		if v.NotLogNormal {
			shape = lognormal.NotLogNormal.String()
		}
		t.Rows = append(t.Rows, report.Row{Label: name, Cells: append(cells, shape, withheldFields(v.Withheld))})
	}
	return t
}

// firstUpper is a column's name as a head.
func firstUpper(s string) string {
	r, n := utf8.DecodeRuneInString(s)
	return string(unicode.ToUpper(r)) + s[n:]
}
