package page

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/cmd/radonyear/internal/report"
)

// Table is rows of proses; the first cell of a row is its head.
type Table struct {
	Key     string // of the array in the JSON whose rows these are; may be empty
	Caption Prose
	Heads   []Head
	Rows    [][]Prose
	Notes   []Prose // under it
	id      string
}

// ID is the identifier of the table's caption.
func (t *Table) ID() string { return t.id }

// Head is the head of a column.
type Head struct {
	Text   string
	Number bool
}

// Column chooses a column of a report.Table by its key and gives it a head.
type Column struct{ Key, Head string }

// Choose makes a table of some columns of one in a document, its cells printed as the
// document's own tables print them. Notes of rows stand under it, each once.
func Choose(doc *report.Document, t report.Table, key string, caption Prose, columns []Column) *Table {
	out := &Table{Key: key, Caption: caption}
	at := make([]int, len(columns))
	for i, c := range columns {
		at[i] = slices.IndexFunc(t.Columns, func(x report.Column) bool { return x.Key == c.Key })
		if at[i] < 0 {
			panic(fmt.Sprintf("page: no column %q", c.Key))
		}
		style := t.Columns[at[i]].Style
		out.Heads = append(out.Heads, Head{c.Head, style != report.Text && style != report.Prose && style != report.Date})
	}
	for _, r := range t.Rows {
		row := make([]Prose, len(columns))
		for i, k := range at {
			row[i] = Cell(doc, t.Columns[k], r.Cells[k])
		}
		out.Rows = append(out.Rows, row)
	}
	out.Notes = rowNotes(t.Rows)
	return out
}

// Cell is one value as the document's own tables print it; an interval stands small
// under its value.
func Cell(doc *report.Document, c report.Column, cell any) Prose {
	number := func(text string, value any) Prose { return Prose{Number(text, value, c.Key)} }
	switch v := cell.(type) {
	case nil:
		return Prose{{Text: "–"}}
	case string:
		if c.Words || c.Style == report.Prose {
			return Prose{{Text: v}}
		}
		return Prose{Name(v)}
	case time.Time:
		return Prose{ShortDay(v)}
	case int:
		return number(fmt.Sprint(v), v)
	case int64:
		return number(fmt.Sprint(v), v)
	case report.Limit:
		return append(Prose{{Text: "below "}}, number(report.Number(float64(v), doc.Levels...), float64(v))...)
	case analysis.Estimate:
		if c.Style == report.Fraction {
			return Fraction(v, c.Key)
		}
		p := Prose{Number(report.Number(v.Value, doc.LevelsOf(v)...), v.Value, c.Key+".value")}
		if !c.ValueOnly {
			p = append(p, minor(Range(v, c.Key, doc.LevelsOf(v)...))...)
		}
		return p
	case float64:
		switch c.Style {
		case report.Concentration:
			return number(report.Number(v, doc.Levels...), v)
		case report.Level:
			return number(report.Exact(v), v)
		case report.Days:
			return number(report.DayCount(v), v)
		case report.Share:
			return number(report.PercentOf(v, 0), v)
		case report.Rate:
			return number(report.PercentOf(v, 1), v)
		case report.Probability:
			return number(report.Percent(v, doc.Confidence), v)
		default:
			return number(report.Number(v), v)
		}
	}
	panic(fmt.Sprintf("page: column %q holds a %T", c.Key, cell))
}

// Fraction is a share in percent, its interval small under it.
func Fraction(e analysis.Estimate, of string) Prose {
	p := Prose{Number(report.Number(100*e.Value), e.Value, of+".value")}
	return append(p, minor(FractionRange(e, of))...)
}

// FractionRange is the interval of a share, in percent.
func FractionRange(e analysis.Estimate, of string) Prose {
	return span(e, of, "{} to {}", func(x float64) string { return report.Number(100 * x) })
}

// Range is the interval of an estimate: "59.4 to 336".
func Range(e analysis.Estimate, of string, levels ...float64) Prose {
	return span(e, of, "{} to {}", func(x float64) string { return report.Number(x, levels...) })
}

// Between is the interval of an estimate in a sentence: "between 59.4 and 336".
func Between(e analysis.Estimate, of string, levels ...float64) Prose {
	return span(e, of, "between {} and {}", func(x float64) string { return report.Number(x, levels...) })
}

// span writes both limits, or the one there is.
func span(e analysis.Estimate, of, both string, text func(float64) string) Prose {
	low, high := math.IsInf(e.Lower, 0), math.IsInf(e.Upper, 0)
	lower, upper := Prose{}, Prose{}
	if !low {
		lower = Prose{Number(text(e.Lower), e.Lower, of+".lower")}
	}
	if !high {
		upper = Prose{Number(text(e.Upper), e.Upper, of+".upper")}
	}
	switch {
	case low && high:
		return Say("without a bound")
	case high:
		return Say("over {}", lower)
	case low:
		return Say("under {}", upper)
	}
	return Say(both, lower, upper)
}

// minor prints a prose small, on a line of its own.
func minor(p Prose) Prose {
	out := slices.Clone(p)
	for i := range out {
		out[i].Minor = true
	}
	return out
}

// rowNotes are the notes of rows, each once with the rows it is of, a few of them by
// name.
func rowNotes(rows []report.Row) []Prose {
	const most = 6
	var texts []string
	of := map[string][]string{}
	for _, r := range rows {
		for _, n := range r.Notes {
			if of[n.Text] == nil {
				texts = append(texts, n.Text)
			}
			of[n.Text] = append(of[n.Text], r.Label)
		}
	}
	var out []Prose
	for _, text := range texts {
		labels := of[text]
		var names []Prose
		for i, l := range labels {
			if i == most && len(labels) > most+1 {
				names = append(names, Say("{} more", fmt.Sprint(len(labels)-most)))
				break
			}
			names = append(names, Prose{Name(l)})
		}
		if len(labels) == len(rows) && len(rows) > 1 {
			out = append(out, Say("{}", Sentence(text)))
			continue
		}
		out = append(out, Say("{}: {}.", Join(names), strings.TrimSuffix(text, ".")))
	}
	return out
}

// Sentence gives a note a capital and a full stop.
func Sentence(text string) string {
	if text == "" {
		return ""
	}
	return strings.ToUpper(text[:1]) + strings.TrimSuffix(text[1:], ".") + "."
}
