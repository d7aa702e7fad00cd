package page

import (
	"math"
	"slices"
	"strings"
	"unicode"
	"unicode/utf8"

	"radonyear/analysis"
	"radonyear/cmd/radonyear/internal/report"
)

// Table is rows of proses; the first cell of a row is its head.
type Table struct {
	Key     string // of the table in the JSON whose rows these are; may be empty
	Command string // whose JSON that is; "" for that of the section
	Caption Prose
	Heads   []Head
	Rows    [][]Prose
	id      string
}

// ID is the identifier of the table's caption.
func (t *Table) ID() string { return t.id }

// Broad says that the table has more columns than the screen of a telephone has room
// for: there each row stands as a block, a line a cell, beside the head of its column.
func (t *Table) Broad() bool { return len(t.Heads) > 3 }

// Head is the head of a column.
type Head struct {
	Text   Prose
	Number bool
}

// Between is the interval of an estimate in a sentence: "between 59.4 and 336".
func Between(e analysis.Estimate, of string, levels ...float64) Prose {
	return Span(e, of, "between {} and {}", func(x float64) string {
		if e.Unit == "%" {
			return report.Bound(e, x)
		}
		return report.Number(x, levels...)
	})
}

// Span writes both limits into the words of both, or the one there is.
func Span(e analysis.Estimate, of, both string, text func(float64) string) Prose {
	low, high := math.IsInf(e.Lower, 0), math.IsInf(e.Upper, 0)
	lower, upper := Prose{}, Prose{}
	if !low {
		lower = Bound(text(e.Lower), e.Lower, of+".lower")
	}
	if !high {
		upper = Bound(text(e.Upper), e.Upper, of+".upper")
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

// Bound is a number in a sentence, of which a table may say only what it lies beyond:
// ">99.9" is "over 99.9" there.
func Bound(text string, value float64, of string) Prose {
	if rest, ok := strings.CutPrefix(text, "<"); ok {
		return Say("under {}", Number(rest, value, of))
	}
	if rest, ok := strings.CutPrefix(text, ">"); ok {
		return Say("over {}", Number(rest, value, of))
	}
	return Prose{Number(text, value, of)}
}

// Minor prints a prose small, on a line of its own.
func Minor(p Prose) Prose {
	out := slices.Clone(p)
	for i := range out {
		out[i].Minor = true
	}
	return out
}

// Sentence gives a note a capital and a full stop. A note that began with the name of a
// file would name another one then, so none does.
func Sentence(text string) string {
	if text == "" {
		return ""
	}
	first, n := utf8.DecodeRuneInString(text)
	return string(unicode.ToUpper(first)) + strings.TrimSuffix(text[n:], ".") + "."
}
