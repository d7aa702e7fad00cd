// Package report writes results: as a table for people, as Markdown, as CSV or
// as JSON. It computes nothing. Every command hands it one Document, and the
// four writers are four views of that Document, so that no format can say what
// another does not.
package report

import (
	"bytes"
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
)

// Schema names the JSON layout. Fields are only ever added to it.
const Schema = "radonyear/1"

// Formats are the names Write knows, the default first.
var Formats = []string{"table", "markdown", "csv", "json"}

// Document is everything one run has to say.
type Document struct {
	Command, Version string
	Settings         []Field // what the run was asked, defaults included
	Inputs           []Input
	Beside           []Input  // files that say more of the readings: a profile, switch times, dwellings
	Lead             []string // lines above the tables, for people
	Tables           []Table  // the first holds the results: CSV is that table alone
	CSVTable         int      // unless another is for CSV: its index, which must not be in JSON
	Notes            []analysis.Note
	LeftOut          []LeftOut
	LeftOutTitle     string   // what became of them, for people; default "no result for N homes"
	After            []string // sentences below the tables, for people

	Rejects    string    // the file that holds the rows left out; "" where none was asked for
	Levels     []float64 // Bq/m³; a number for people is never rounded across one of these
	Confidence float64   // a probability for people is never rounded across it or its complement
}

// Homes is of how many homes something was left out: a home may have several detectors,
// and its name may be that of another in another area.
func Homes(left []LeftOut) int {
	homes := map[[2]string]bool{}
	for _, l := range left {
		homes[[2]string{l.Place.Home, l.Place.Area}] = true
	}
	return len(homes)
}

// Field is a named value: string, bool, int, float64, time.Time, a slice of
// strings or numbers, nil, or []Field for a nested object.
type Field struct {
	Name  string
	Value any
}

// Input is one file that was read.
type Input struct {
	Path, SHA256   string
	Rows, Rejected int64
	AboveRange     int64 // of Rejected, results above what the detector could measure
}

// LeftOut is a home that has no result, or a room or detector of one, and why.
type LeftOut struct {
	Place analysis.Place
	Why   string
}

// Table is rows of one kind.
type Table struct {
	Key     string // name of the array in JSON; "results" for the first table; of another, "" keeps it for people
	Title   string // line above it, for people; may be empty
	Columns []Column
	Rows    []Row
	Hidden  bool // left out of the views for people
	Tenfold bool // some cell of text holds a rise to more than ten times; of Estimates it is known
	Null    bool // there is none, and JSON says so with null where its rows would be; a note says why
}

// Row is one result. Label names it in footnotes.
type Row struct {
	Label string
	Cells []any // one a column; nil is an empty cell
	Notes []analysis.Note
}

// Column says how a value is named and written.
type Column struct {
	Key       string // JSON field and CSV header; "" for a column only people see
	Head      string // for people; a line break splits it; "" hides the column from people
	Style     Style
	OmitEmpty bool // hidden from people where every cell is empty
	Spare     int  // where a line for people is too short, 1 goes first, then 2 and 3; 0 never
	With      bool // belongs to the column before it: where a table is broken in two, they stay together
	ValueOnly bool // people see an estimate's value without its interval
	CSVOnly   bool // no part of JSON, where a Nested column holds it
	Words     bool // text of our own, broken at its spaces only; names are broken anywhere where they must
}

// Style says what a cell holds and how people see it.
type Style int

// The styles, with the Go type of a cell.
const (
	Text          Style = iota // string
	Prose                      // string: wrapped for people to what the other columns leave of the line
	Count                      // int or int64
	Concentration              // float64 or Limit, Bq/m³: three significant digits, never across a level
	Factor                     // float64 or Limit: three significant digits
	Level                      // float64, Bq/m³: as it was asked for
	Days                       // float64, days: whole from 10 on
	Share                      // float64 in 0..1; people see percent
	Rate                       // float64 in 0..1, counted; people see percent with one decimal
	Probability                // float64 in 0..1; people see percent, never 0 or 100
	Date                       // time.Time; people see the date
	Estimate                   // analysis.Estimate; people see value and interval
	Fraction                   // analysis.Estimate of a share in 0..1, or unless people see it a Range; they see value and interval in percent
	Against                    // []annual.Against; people see probability and verdict
	Bool                       // bool: CSV and JSON only
	Nested                     // []Field, []any or ValueOnly: JSON only
)

// Range is an estimate of which only the limits are told: in CSV its value is empty,
// in JSON null.
type Range struct {
	Lower, Upper, Confidence float64
	Method                   string
}

// ValueOnly is an estimate of which only the value is told, as a Nested cell or in one.
type ValueOnly analysis.Estimate

// Limit is a number of which only this upper limit is known: people see "<15.0", CSV
// and JSON the number, with another column or a note that says so.
type Limit float64

// Write writes the document in one of Formats. Nothing is written unless the
// whole document is sound: an Estimate that fails its own check, or a number
// that is not finite, is an error.
func Write(w io.Writer, doc Document, format string) error {
	if err := doc.Check(); err != nil {
		return err
	}
	var b bytes.Buffer
	var err error
	switch format {
	case "table":
		err = doc.people(&b, false)
	case "markdown":
		err = doc.people(&b, true)
	case "csv":
		err = doc.csv(&b)
	case "json":
		err = doc.json(&b)
	default:
		return fmt.Errorf("unknown format %q", format)
	}
	if err != nil {
		return err
	}
	_, err = w.Write(b.Bytes())
	return err
}

// Check reports what in the document must not be written: an Estimate that fails its
// own check, a number that is not finite, a cell that is not of its column.
func (doc *Document) Check() error {
	for _, t := range doc.Tables {
		for _, r := range t.Rows {
			if len(r.Cells) != len(t.Columns) {
				return fmt.Errorf("report: table %s: a row of %d cells under %d columns", t.Key, len(r.Cells), len(t.Columns))
			}
			for i, c := range r.Cells {
				if err := checkCell(t.Columns[i], c); err != nil {
					return fmt.Errorf("report: %s: %w", r.Label, err)
				}
			}
		}
	}
	return nil
}

func checkCell(col Column, cell any) error {
	if cell == nil {
		return nil
	}
	ok := false
	switch col.Style {
	case Text, Prose:
		_, ok = cell.(string)
	case Count:
		switch cell.(type) {
		case int, int64:
			ok = true
		}
	case Concentration, Factor, Level, Days, Share, Rate, Probability:
		var x float64
		if x, ok = cell.(float64); !ok && (col.Style == Concentration || col.Style == Factor) {
			var l Limit
			l, ok = cell.(Limit)
			x = float64(l)
		}
		if ok && (math.IsNaN(x) || math.IsInf(x, 0)) {
			return fmt.Errorf("%s is %v", col.Key, x)
		}
	case Date:
		_, ok = cell.(time.Time)
	case Estimate, Fraction:
		var e analysis.Estimate
		if e, ok = cell.(analysis.Estimate); ok {
			if err := e.Check(); err != nil {
				return err
			}
		} else if r, told := cell.(Range); told && col.Style == Fraction && col.Head == "" { // people would look for a value
			ok = true
			if !(r.Lower >= 0 && r.Lower <= r.Upper && r.Upper <= 1 && r.Confidence > 0 && r.Confidence < 1) {
				return fmt.Errorf("%s is %v to %v", col.Key, r.Lower, r.Upper)
			}
		}
	case Against:
		var as []annual.Against
		as, ok = cell.([]annual.Against)
		for _, a := range as {
			if !(a.Probability >= 0 && a.Probability <= 1) || math.IsNaN(a.Level) || math.IsInf(a.Level, 0) {
				return fmt.Errorf("probability %v of lying above %v", a.Probability, a.Level)
			}
		}
	case Bool:
		_, ok = cell.(bool)
	case Nested:
		switch cell.(type) {
		case []Field, []any, ValueOnly:
			ok = true
		}
	}
	if !ok {
		return fmt.Errorf("%s holds a %T", col.Key, cell)
	}
	return nil
}

// Rejected is the number of rows left out, over all inputs.
func (doc *Document) Rejected() int64 {
	var n int64
	for _, in := range doc.Inputs {
		n += in.Rejected
	}
	return n
}

// aboveRange is how many of these are results above what the detector could measure.
func (doc *Document) aboveRange() (n int64) {
	for _, in := range doc.Inputs {
		n += in.AboveRange
	}
	return n
}

// empty says whether a column shows people nothing at all.
func (t *Table) empty(col int) bool {
	return !slices.ContainsFunc(t.Rows, func(r Row) bool {
		c := r.Cells[col]
		return c != nil && c != ""
	})
}
