package report

import (
	"bytes"
	"encoding/csv"
	"math"
	"strconv"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
)

// csv writes the first table, one row a result, numbers in full. An estimate
// takes five columns, a level two. Notes are their codes. What was left out of the
// whole run is said in every row, since a line of another kind would not be CSV.
func (doc *Document) csv(b *bytes.Buffer) error {
	w := csv.NewWriter(b)
	if len(doc.Tables) == 0 {
		return nil
	}
	t := doc.Tables[doc.CSVTable]
	var head []string
	notes := false
	for _, r := range t.Rows {
		notes = notes || r.Notes != nil
	}
	for _, c := range t.Columns {
		switch {
		case c.Key == "" || c.Style == Nested:
		case c.Style == Estimate || c.Style == Fraction:
			head = append(head, c.Key, c.Key+"_lower", c.Key+"_upper", c.Key+"_confidence", c.Key+"_unit")
		case c.Style == Against:
			for _, l := range doc.Levels {
				name := strconv.FormatFloat(l, 'f', -1, 64)
				head = append(head, "p_above_"+name, "verdict_"+name)
			}
		default:
			head = append(head, c.Key)
		}
	}
	if notes {
		head = append(head, "notes")
	}
	var missing []string
	if len(doc.Inputs) > 0 {
		head = append(head, "rows_left_out", "homes_left_out", "rows_above_range")
		missing = []string{strconv.FormatInt(doc.Rejected(), 10), strconv.Itoa(Homes(doc.LeftOut)), strconv.FormatInt(doc.aboveRange(), 10)}
	}
	w.Write(head)
	for _, r := range t.Rows {
		var row []string
		for i, c := range t.Columns {
			row = doc.csvCell(row, c, r.Cells[i])
		}
		if notes {
			var codes []string
			for _, n := range r.Notes {
				codes = append(codes, n.Code)
			}
			row = append(row, strings.Join(codes, "; "))
		}
		w.Write(append(row, missing...))
	}
	w.Flush()
	return w.Error()
}

func (doc *Document) csvCell(row []string, c Column, cell any) []string {
	switch {
	case c.Key == "" || c.Style == Nested:
		return row
	case c.Style == Estimate || c.Style == Fraction:
		if r, ok := cell.(Range); ok {
			return append(row, "", full(r.Lower), full(r.Upper), full(r.Confidence), "")
		}
		e, ok := cell.(analysis.Estimate)
		if !ok {
			return append(row, "", "", "", "", "")
		}
		return append(row, full(e.Value), full(e.Lower), full(e.Upper), full(e.Confidence), asciiUnit(e.Unit))
	case c.Style == Against:
		as, _ := cell.([]annual.Against)
		for _, l := range doc.Levels {
			p, v := "", ""
			for _, a := range as {
				if a.Level == l {
					p, v = full(a.Probability), string(a.Verdict)
				}
			}
			row = append(row, p, v)
		}
		return row
	}
	switch v := cell.(type) {
	case string:
		return append(row, v)
	case bool:
		return append(row, strconv.FormatBool(v))
	case int:
		return append(row, strconv.Itoa(v))
	case int64:
		return append(row, strconv.FormatInt(v, 10))
	case float64:
		return append(row, full(v))
	case Limit:
		return append(row, full(float64(v)))
	case time.Time:
		return append(row, v.UTC().Format(time.RFC3339))
	}
	return append(row, "")
}

// Formula is where the first text of the CSV table stands that a spreadsheet would take for
// a formula and might run: it begins with =, +, -, @, a tab or a line break and is no
// number. Rows count from 1, without the head; 0 where there is none.
//
// Such a text is written as it is all the same. It names a home or an area of the user's
// file, and results are joined to that file by it; the apostrophe that spreadsheets are
// often fed before it would be another name to every other program.
func (doc *Document) Formula() (row int, column string) {
	if len(doc.Tables) == 0 {
		return 0, ""
	}
	t := doc.Tables[doc.CSVTable]
	for i, r := range t.Rows {
		for k, c := range t.Columns {
			text, ok := r.Cells[k].(string)
			if !ok || c.Key == "" || len(text) < 2 || !strings.ContainsRune("=+-@\t\r\n", rune(text[0])) {
				continue
			}
			if _, err := strconv.ParseFloat(text, 64); err != nil {
				return i + 1, c.Key
			}
		}
	}
	return 0, ""
}

// full is every digit needed to read the same number back; an open limit is
// an empty field.
func full(x float64) string {
	if math.IsInf(x, 0) {
		return ""
	}
	return strconv.FormatFloat(x, 'g', -1, 64)
}
