package report

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
)

// json writes one object with its fields in a fixed order. Units are spelled
// in ASCII; an open limit is null; a number that is not finite is an error.
func (doc *Document) json(b *bytes.Buffer) error {
	inputs := []any{}
	for _, in := range doc.Inputs {
		inputs = append(inputs, []Field{{"path", in.Path}, {"sha256", in.SHA256}, {"rows", in.Rows}, {"rejected", in.Rejected}, {"above_range", in.AboveRange}})
	}
	out := []Field{
		{"schema", Schema}, {"command", doc.Command}, {"version", doc.Version},
		{"settings", doc.Settings}, {"inputs", inputs},
	}
	if len(doc.Beside) > 0 {
		beside := []any{}
		for _, in := range doc.Beside {
			beside = append(beside, []Field{{"path", in.Path}, {"sha256", in.SHA256}})
		}
		out = append(out, Field{"inputs_beside", beside})
	}
	if len(doc.Tables) == 0 {
		out = append(out, Field{"results", []any{}})
	}
	for i, t := range doc.Tables {
		key := t.Key
		switch {
		case i == 0:
			key = "results"
		case key == "":
			continue
		}
		if t.Null {
			out = append(out, Field{key, nil})
			continue
		}
		out = append(out, Field{key, t.objects()})
	}
	left := []any{}
	for _, l := range doc.LeftOut {
		of := []Field{{"home", l.Place.Home}, {"area", l.Place.Area}, {"room", l.Place.Room}}
		if l.Place.Detector != "" {
			of = append(of, Field{"detector", l.Place.Detector})
		}
		left = append(left, append(of, Field{"why", l.Why}))
	}
	out = append(out, Field{"left_out", left}, Field{"notes", noteObjects(doc.Notes)})

	var compact bytes.Buffer
	if err := encode(&compact, out); err != nil {
		return err
	}
	if err := json.Indent(b, compact.Bytes(), "", "  "); err != nil {
		return err
	}
	return b.WriteByte('\n')
}

func (t *Table) objects() []any {
	rows := []any{}
	notes := false
	for _, r := range t.Rows {
		notes = notes || r.Notes != nil
	}
	for _, r := range t.Rows {
		var o []Field
		for i, c := range t.Columns {
			if c.Key == "" || c.CSVOnly {
				continue
			}
			o = append(o, Field{c.Key, r.Cells[i]})
		}
		if notes {
			o = append(o, Field{"notes", noteObjects(r.Notes)})
		}
		rows = append(rows, o)
	}
	return rows
}

func noteObjects(notes []analysis.Note) []any {
	out := []any{}
	for _, n := range notes {
		out = append(out, []Field{{"code", n.Code}, {"text", n.Text}})
	}
	return out
}

func encode(b *bytes.Buffer, v any) error {
	switch v := v.(type) {
	case nil:
		b.WriteString("null")
	case []Field:
		b.WriteByte('{')
		for i, f := range v {
			if i > 0 {
				b.WriteByte(',')
			}
			encode(b, f.Name) // a string always succeeds
			b.WriteByte(':')
			if err := encode(b, f.Value); err != nil {
				return fmt.Errorf("%s: %w", f.Name, err)
			}
		}
		b.WriteByte('}')
	case []any:
		return encodeList(b, v)
	case []string:
		return encodeList(b, v)
	case []float64:
		return encodeList(b, v)
	case []annual.Against:
		list := []any{}
		for _, a := range v {
			list = append(list, []Field{{"level", a.Level}, {"probability", a.Probability}, {"verdict", string(a.Verdict)}})
		}
		return encodeList(b, list)
	case analysis.Estimate:
		return encode(b, []Field{
			{"value", v.Value}, {"lower", limit(v.Lower)}, {"upper", limit(v.Upper)},
			{"confidence", v.Confidence}, {"unit", asciiUnit(v.Unit)}, {"method", v.Method},
		})
	case ValueOnly:
		return encode(b, []Field{{"value", v.Value}, {"lower", nil}, {"upper", nil}, {"confidence", nil}, {"unit", asciiUnit(v.Unit)}, {"method", nil}})
	case Range:
		return encode(b, []Field{{"value", nil}, {"lower", v.Lower}, {"upper", v.Upper}, {"confidence", v.Confidence}, {"unit", ""}, {"method", v.Method}})
	case time.Time:
		return encode(b, v.UTC().Format(time.RFC3339))
	case string:
		e := json.NewEncoder(b)
		e.SetEscapeHTML(false)
		if err := e.Encode(v); err != nil {
			return err
		}
		b.Truncate(b.Len() - 1) // the encoder ends each value with a line break
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("%v is not a number that can be written", v)
		}
		return encodePlain(b, v)
	case Limit:
		return encode(b, float64(v))
	case bool, int, int64:
		return encodePlain(b, v)
	default:
		return fmt.Errorf("report: cannot write a %T", v)
	}
	return nil
}

func encodePlain(b *bytes.Buffer, v any) error {
	text, err := json.Marshal(v)
	b.Write(text)
	return err
}

func encodeList[T any](b *bytes.Buffer, list []T) error {
	b.WriteByte('[')
	for i, v := range list {
		if i > 0 {
			b.WriteByte(',')
		}
		if err := encode(b, v); err != nil {
			return err
		}
	}
	b.WriteByte(']')
	return nil
}

// limit is an interval's limit, or nil where the data give none.
func limit(x float64) any {
	if math.IsInf(x, 0) {
		return nil
	}
	return x
}

func asciiUnit(u string) string { return strings.ReplaceAll(u, "³", "3") }
