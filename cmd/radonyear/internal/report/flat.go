package report

import (
	"bytes"
	"fmt"
	"time"

	"radonyear/analysis"
)

// Flat is the table that CSV writes, a row as named values in CSV's columns: string,
// bool, int, int64, float64, time.Time, and nil for an empty cell. Where the document
// is not sound it is an error, as of Write.
func (doc *Document) Flat() (rows [][]Field, err error) {
	if err := Write(&bytes.Buffer{}, *doc, "csv"); err != nil {
		return nil, err
	}
	if len(doc.Tables) == 0 {
		return nil, nil
	}
	t := doc.Tables[doc.CSVTable]
	for _, r := range t.Rows {
		var row []Field
		for i, c := range t.Columns {
			cell := r.Cells[i]
			switch {
			case c.Key == "" || c.Style == Nested:
			case c.Style == Against:
				return nil, fmt.Errorf("report: a table with verdicts has no flat form")
			case c.Style == Estimate || c.Style == Fraction:
				var value, lower, upper any
				switch e := cell.(type) {
				case analysis.Estimate:
					value, lower, upper = e.Value, open(e.Lower), open(e.Upper)
				case Range:
					lower, upper = e.Lower, e.Upper
				}
				row = append(row, Field{c.Key, value}, Field{c.Key + "_lower", lower}, Field{c.Key + "_upper", upper})
			default:
				switch v := cell.(type) {
				case string, bool, int, int64, float64, time.Time:
					row = append(row, Field{c.Key, v})
				case Limit:
					row = append(row, Field{c.Key, float64(v)})
				default:
					row = append(row, Field{c.Key, nil})
				}
			}
		}
		rows = append(rows, row)
	}
	return rows, nil
}

// open is a limit, or nil where there is none.
func open(x float64) any {
	if full(x) == "" {
		return nil
	}
	return x
}
