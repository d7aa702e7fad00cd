package ingest

import (
	"errors"
	"fmt"
	"io"
	"strings"
	"time"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
)

// at is the text of a dictionary column's row.
func wordAt(rec arrow.Record, col, row int) string {
	d := rec.Column(col).(*array.Dictionary)
	return d.Dictionary().(*array.String).Value(d.GetValueIndex(row))
}

func optAt(rec arrow.Record, col, row int) string {
	f := rec.Column(col).(*array.Float64)
	if f.IsNull(row) {
		return "-"
	}
	return fmt.Sprintf("%.6g", f.Value(row))
}

// dump reads a table to its end as lines of text: what is stated of each
// reading, in the order of the schema, without empty parts.
func dump(t *Table) (lines []string, err error) {
	for {
		rec, err := t.Next()
		if err == io.EOF {
			return lines, nil
		}
		if err != nil {
			return lines, err
		}
		for i := range int(rec.NumRows()) {
			when := func(col int) string {
				us := int64(rec.Column(col).(*array.Timestamp).Value(i))
				return time.UnixMicro(us).UTC().Format("2006-01-02T15:04:05.999999Z")
			}
			s := fmt.Sprintf("%d: %s", rec.Column(16).(*array.Int64).Value(i), wordAt(rec, 0, i))
			for col := 1; col <= 4; col++ {
				if w := wordAt(rec, col, i); w != "" {
					s += " " + schemaFields[col].Name + "=" + w
				}
			}
			s += " " + when(5) + " " + when(6)
			if w := wordAt(rec, 7, i); w != "" {
				s += " zone=" + w
			}
			s += " "
			if rec.Column(10).(*array.Boolean).Value(i) {
				s += "<"
			}
			s += fmt.Sprintf("%.10g", rec.Column(8).(*array.Float64).Value(i))
			for _, col := range []int{9, 13, 14} {
				if w := optAt(rec, col, i); w != "-" {
					s += " " + schemaFields[col].Name + "=" + w
				}
			}
			for _, col := range []int{11, 12} {
				if w := wordAt(rec, col, i); w != "" && w != "field" {
					s += " " + w
				}
			}
			for col := len(schemaFields); col < int(rec.NumCols()); col++ {
				if w := wordAt(rec, col, i); w != "" {
					s += " " + rec.ColumnName(col) + "=" + w
				}
			}
			lines = append(lines, s)
		}
	}
}

// account is all that reading files gives, as text: the readings, the rows left
// out, what was learned of each file, or the error.
func account(paths []string, opt Options) string {
	var b strings.Builder
	failed := func(err error) {
		var fe *FileError
		var oe *OptionError
		if errors.As(err, &fe) {
			fmt.Fprintf(&b, "error %v; %s\n", fe, fe.Hint)
		} else if errors.As(err, &oe) {
			fmt.Fprintf(&b, "error %v; %s\n", oe, oe.Hint)
		} else {
			fmt.Fprintf(&b, "error %v\n", err)
		}
	}
	t, err := Open(paths, opt)
	if err != nil {
		failed(err)
		return b.String()
	}
	defer t.Close()
	lines, err := dump(t)
	for _, l := range lines {
		b.WriteString(l + "\n")
	}
	if err != nil {
		failed(err)
	}
	for _, r := range t.Rejected() {
		fmt.Fprintf(&b, "left out %d", r.Line)
		if r.Column != "" {
			fmt.Fprintf(&b, " [%s]", r.Column)
		}
		if r.Value != "" {
			fmt.Fprintf(&b, " %q", r.Value)
		}
		fmt.Fprintf(&b, " %s\n", r.Why)
	}
	for _, f := range t.Sources() {
		fmt.Fprintf(&b, "rows %d, readings %d, left out %d; unit %s by %s; zone %s", f.Rows, f.Readings, f.Rejected, f.Unit, f.UnitFrom, f.Zone)
		if f.ZoneFrom != "" {
			fmt.Fprintf(&b, " by %s", f.ZoneFrom)
		}
		fmt.Fprintf(&b, "; dates %s, %s", f.DateOrder, f.DateFrom)
		for _, c := range []struct {
			name string
			n    int64
		}{{"preamble", f.PreambleLines}, {"comments", f.CommentLines}, {"blank", f.BlankLines}, {"headers", f.RepeatedHeaders},
			{"empty", f.EmptyCells}, {"gap", f.GapTimes}, {"repeated", f.RepeatedTimes}} {
			if c.n > 0 {
				fmt.Fprintf(&b, "; %s %d", c.name, c.n)
			}
		}
		if f.Encoding != "" && f.Encoding != "utf-8" {
			fmt.Fprintf(&b, "; %s", f.Encoding)
		}
		if f.Delimiter != "" && f.Delimiter != "," {
			fmt.Fprintf(&b, "; delimiter %q", f.Delimiter)
		}
		if f.Decimal == "," {
			b.WriteString("; decimal comma")
		}
		if f.Wide != nil {
			fmt.Fprintf(&b, "; wide %q", f.Wide)
		}
		if f.UncertaintyK > 0 {
			fmt.Fprintf(&b, "; k %g", f.UncertaintyK)
		}
		if f.Step > 0 {
			fmt.Fprintf(&b, "; step %s", f.Step)
		}
		if f.SheetsUnread != nil {
			fmt.Fprintf(&b, "; sheet %q, unread %q", f.Sheet, f.SheetsUnread)
		}
		b.WriteString("\n")
	}
	return b.String()
}
