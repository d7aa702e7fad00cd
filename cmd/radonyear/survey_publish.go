package main

import (
	"cmp"
	"errors"
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/survey"
	"radonyear/cmd/radonyear/internal/report"
)

// publishSurvey is the rest of survey where its result is to be published.
func (p *program) publishSurvey(c *cli.Context, q communityQuestion, o *publishing, format string, onMap *areaMap, in communityRead) error {
	pub, _, doc, err := q.publish(o, in)
	if err != nil {
		return err
	}
	if onMap != nil {
		err := p.emitPublishedMap(c, onMap, pub, doc)
		if err != nil && !errors.Is(err, errPartial) {
			return err
		}
		return errors.Join(err, p.published(in.files, in.left))
	}
	if err := p.emit(c, doc, format); err != nil {
		return err
	}
	return p.published(in.files, in.left)
}

// publish is what may leave of a community, when it was measured, and the document of
// both.
func (q communityQuestion) publish(o *publishing, in communityRead) (pub survey.Published, when []string, doc report.Document, err error) {
	measured := make([][]int, len(in.all))
	for i, s := range in.all {
		measured[i] = s.in
	}
	opt := survey.PosteriorOptions{Options: survey.Options{Confidence: q.Confidence, Areas: in.areas}, Levels: q.Levels, Seed: q.seed}
	if q.exceeds > 0 {
		opt.Exceeds = []float64{q.exceeds}
	}
	if err := allBelow(in.raws); err != nil {
		return pub, nil, doc, err
	}
	po := o.PublishOptions
	homes, tests, season := q.sharing(in.all)
	if q.testError == "profile" {
		po.Tests, po.Season = tests, season
	}
	if pub, err = survey.Publish(homes, in.raws, opt, po); err != nil {
		if advised := modelError(err); advised != err {
			return pub, nil, doc, advised
		}
		return pub, nil, doc, hinted{err, "measure more homes; what radonyear survey gives without --publish is for yourself"}
	}
	pub.Withheld = append(pub.Withheld, o.untold(in.left)...)
	doc = report.Document{
		Command: "survey", Version: version, Levels: q.Levels, Confidence: q.Confidence,
		Settings: append(q.publishedSettings(), o.settings()...), Notes: append(o.notes(in.after), pub.Notes...),
		LeftOut: o.leftOut(in.left), CSVTable: 1,
	}
	if q.oneSeason(in.all) >= mostInASeason {
		doc.Notes = append(doc.Notes, analysis.Note{Code: "one-season", Text: "Most homes were measured in one season: how it differs from the year is taken from the profile, and an error in that moves all homes alike, which intervals are wider for."})
	}
	var apart []string // by what is told alone
	rows := pub.Areas
	if !pub.PopulationGiven { // else the modelled share of all is of dwellings
		rows = append([]survey.PublishedRow{pub.Community}, rows...)
	}
	for _, r := range rows {
		for _, a := range r.Above {
			if sharesDisagree(a) {
				apart = append(apart, r.Name+" above "+told(a.Level))
			}
		}
	}
	doc.Notes = append(doc.Notes, q.apartNote(apart)...)
	when = quarters(measured, o.MinCell)
	doc.Tables = []report.Table{q.publishedResult(pub, when, o.missing(in.left)), q.publishedTable(pub)}
	doc.After = q.publishedSentences(pub, when)
	return pub, when, doc, nil
}

// sharesDisagree says of a published share that what is fitted and what was counted, both
// told, do not meet.
func sharesDisagree(s survey.PublishedShare) bool {
	return s.Share != nil && s.Counted != nil && (s.Share.Upper < s.Counted.Lower || s.Counted.Upper < s.Share.Lower)
}

// publishedSettings are those of the settings that say nothing of whose data it is:
// no file, and of a profile that was learned neither its name nor from whom.
func (q communityQuestion) publishedSettings() []report.Field {
	var exceeds any
	if q.exceeds > 0 {
		exceeds = q.exceeds
	}
	profile := "built-in"
	if q.profilePath != "" {
		profile = "learned"
	}
	return []report.Field{{Name: "levels", Value: q.Levels}, {Name: "level_unit", Value: "Bq/m3"}, {Name: "confidence", Value: q.Confidence}, {Name: "by", Value: q.by},
		{Name: "recruitment", Value: textOrNull(q.recruitment)}, {Name: "profile", Value: profile}, {Name: "raw_means_as_annual", Value: q.testError != "profile"}, {Name: "of_dwellings", Value: q.populations != nil},
		{Name: "exceeds", Value: exceeds}}
}

func textOrNull(s string) any {
	if s == "" {
		return nil
	}
	return s
}

// publishedResult is the result in JSON.
func (q communityQuestion) publishedResult(pub survey.Published, when []string, missing []report.Field) report.Table {
	row := func(r survey.PublishedRow) []report.Field {
		above := []any{}
		for _, s := range r.Above {
			f := []report.Field{{Name: "level", Value: s.Level}, {Name: "share", Value: pointed(s.Share)}, {Name: "raw_share", Value: ranged(s.Counted)}, {Name: "raw_above", Value: countedHomes(s.Counted)}, {Name: "suppressed", Value: s.Counted == nil}, {Name: "homes_above", Value: pointed(s.Dwellings)}}
			for _, e := range s.Exceeds {
				f = append(f, report.Field{Name: "exceeds", Value: []report.Field{{Name: "share", Value: e.Share}, {Name: "probability", Value: e.Probability}}})
			}
			above = append(above, f)
		}
		return []report.Field{{Name: "homes_at_least", Value: r.Homes}, {Name: "homes_at_most", Value: r.Most}, {Name: "gm", Value: pointed(r.GM)}, {Name: "am", Value: pointed(r.AM)}, {Name: "share_above", Value: above}}
	}
	var unmeasured any
	if u := pub.Unmeasured; u != nil {
		unmeasured = []report.Field{{Name: "areas", Value: u.Areas}, {Name: "dwellings", Value: u.Dwellings}}
	}
	community := append(row(pub.Community), report.Field{Name: "gsd", Value: pointed(pub.Community.GSD)}, report.Field{Name: "raw_gm", Value: known0(pub.RawGM)}, report.Field{Name: "raw_gsd", Value: known0(pub.RawGSD)},
		report.Field{Name: "recruitment", Value: textOrNull(q.recruitment)}, report.Field{Name: "measured_in", Value: when}, report.Field{Name: "homes_left_out", Value: missing},
		report.Field{Name: "unmeasured", Value: unmeasured})
	areas := []any{}
	for _, r := range pub.Areas {
		areas = append(areas, append([]report.Field{{Name: "area", Value: r.Name}, {Name: "merged", Value: r.Merged}, {Name: "suppressed", Value: withholds(r, pub.PopulationGiven)}}, row(r)...))
	}
	return report.Table{Hidden: true, Columns: []report.Column{{Key: "community", Style: report.Nested}, {Key: "areas", Style: report.Nested}, {Key: "model", Style: report.Nested}, {Key: "withheld", Style: report.Nested}},
		Rows: []report.Row{{Cells: []any{community, areas, []report.Field{{Name: "sd_area", Value: pub.SDArea}, {Name: "sd_home", Value: pub.SDHome}}, withheldFields(pub.Withheld)}}}}
}

// countedHomes are the homes above a level as they are told.
func countedHomes(r *survey.PublishedRange) any {
	if r == nil {
		return nil
	}
	return []report.Field{{Name: "of", Value: "homes measured"}, {Name: "at_least", Value: r.Least}, {Name: "at_most", Value: r.Most}}
}

// withholds says whether something that the row could tell is withheld.
func withholds(r survey.PublishedRow, dwellings bool) bool {
	return slices.ContainsFunc(r.Above, func(s survey.PublishedShare) bool {
		return s.Counted == nil || dwellings && s.Dwellings == nil
	})
}

// known0 is a number that is 0 where it could not be had.
func known0(x float64) any {
	if x == 0 {
		return nil
	}
	return x
}

// publishedTable is the result for people and in CSV: the community and the areas.
func (q communityQuestion) publishedTable(pub survey.Published) report.Table {
	head := firstUpper(q.by)
	interval := intervalHead(q.Confidence)
	t := report.Table{Title: "True annual means, Bq/m³, and shares of homes above the level, modelled and as counted, in percent:", Columns: []report.Column{
		{Key: "kind", Style: report.Text}, {Key: "area", Head: head, Style: report.Text}, {Head: "Homes", Style: report.Text, Words: true}, {Key: "homes_at_least", Style: report.Count}, {Key: "homes_at_most", Style: report.Count},
		{Key: "gm", Style: report.Estimate}, {Head: "GM", Style: report.Text, Words: true}, {Head: interval, Style: report.Text, Words: true, With: true}, {Key: "gsd", Style: report.Estimate},
		{Key: "am", Style: report.Estimate}, {Head: "Mean", Style: report.Text, Words: true}}}
	for _, l := range q.Levels {
		at := strconv.FormatFloat(l, 'f', -1, 64)
		t.Columns = append(t.Columns,
			report.Column{Key: "share_above_" + at, Style: report.Fraction}, report.Column{Head: ">" + at + "\n%", Style: report.Text, Words: true}, report.Column{Head: interval, Style: report.Text, Words: true, With: true},
			report.Column{Key: "raw_share_above_" + at, Style: report.Fraction}, report.Column{Head: "Counted\n%", Style: report.Text, OmitEmpty: true, Words: true, With: true},
			report.Column{Key: "raw_above_" + at + "_at_least", Style: report.Count}, report.Column{Key: "raw_above_" + at + "_at_most", Style: report.Count},
			report.Column{Key: "raw_share_above_" + at + "_suppressed", Style: report.Bool},
			report.Column{Key: "homes_above_" + at, Style: report.Estimate})
		if q.exceeds > 0 {
			t.Columns = append(t.Columns, report.Column{Key: fmt.Sprintf("p_over_%g_percent_above_%s", round(100*q.exceeds), at), Style: report.Probability},
				report.Column{Head: fmt.Sprintf("P>%g%%", round(100*q.exceeds)), Style: report.Text, Words: true, With: true})
		}
	}
	t.Columns = append(t.Columns, report.Column{Key: "recruitment", Style: report.Text}) // a share goes nowhere without it
	for _, r := range slices.Concat([]survey.PublishedRow{pub.Community}, pub.Areas) {
		kind := "area"
		switch {
		case r.Merged:
			kind = "merged"
		case r.GSD != nil:
			kind = "community"
		}
		name := r.Name
		if name == "" {
			name = "(none)"
		}
		gm, gmInterval := toldCells(r.GM, told)
		am, _ := toldCells(r.AM, told)
		cells := []any{kind, name, countWords(r.Homes, r.Most), r.Homes, r.Most, pointed(r.GM), gm, gmInterval, pointed(r.GSD), pointed(r.AM), am}
		for _, s := range r.Above {
			share, interval := toldCells(s.Share, toldShare)
			var least, most any
			if s.Counted != nil {
				least, most = s.Counted.Least, s.Counted.Most
			}
			cells = append(cells, pointed(s.Share), share, interval, ranged(s.Counted), toldRange(s.Counted), least, most, s.Counted == nil, pointed(s.Dwellings))
			if q.exceeds > 0 {
				var probability, words any
				for _, e := range s.Exceeds {
					probability, words = e.Probability, report.Percent(e.Probability, q.Confidence)
				}
				cells = append(cells, probability, words)
			}
		}
		t.Rows = append(t.Rows, report.Row{Label: name, Cells: append(cells, cmp.Or(q.recruitment, "not stated"))})
	}
	return t
}

func (q communityQuestion) publishedSentences(pub survey.Published, when []string) []string {
	whose := "Homes as measured in each area."
	switch {
	case q.populations != nil:
		whose = "Of all dwellings: areas count by their dwellings."
	case len(pub.Areas) > 1:
		whose = "Homes as measured in each area: for all homes each row counts by the middle of its range of homes, and intervals are widened by what the rest of the ranges would make of it."
	}
	if q.byColumn() {
		whose += " Raw means were taken for annual ones, with errors stated for each home, which were taken off the spread between homes."
	} else if q.testError == "none" {
		whose += " Raw means were taken for annual ones, so the spread of short tests is in every figure."
	} else {
		whose += " A home's tests were taken to its annual mean with the error that they leave, and that error was taken off the spread between homes."
	}
	if u := pub.Unmeasured; u != nil && u.Areas > 0 {
		whose += fmt.Sprintf(" In %s, of about %s dwellings in all, no home was measured: no row is of them, and the figures for all take them to be like the others.", count(u.Areas, "area"), told(u.Dwellings))
	}
	whose += " Homes of an area are taken for log-normal, which what is told here cannot show: radonyear survey looks at that where it can."
	if q.exceeds > 0 {
		whose += exceedsWords(q.exceeds)
	}
	out := []string{recruited[q.recruitment], whose}
	if len(when) > 0 {
		var words []string
		for _, r := range quarterRuns(when) {
			from, to := quarterRunWords(when, r)
			if to != "" {
				from += " to " + to
			}
			words = append(words, from)
		}
		out = append(out, "Measured, with quarters of the year that have fewer homes left out: "+strings.Join(words, ", ")+".")
	}
	return append(out, withheldWords(pub.Withheld), levelSentence(q.Levels, q.levelsByDefault), "A share is of a group and is no statement on any one home in it. "+limitsOfPublishing, caution)
}
