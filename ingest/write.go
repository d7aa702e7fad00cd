package ingest

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"time"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/ipc"
	"github.com/apache/arrow/go/v17/arrow/memory"
	"github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/metadata"
	"github.com/apache/arrow/go/v17/parquet/schema"
)

// rowGroupRows is the least number of rows of a Parquet row group but the last.
const rowGroupRows = 128 << 10

// unitKey and unitText say in a file's own metadata what concentration means.
const (
	unitKey  = "concentration_unit"
	unitText = "Bq/m3"
)

// FormatOf is the format a file's name asks for: "parquet", "arrow" or "csv".
func FormatOf(path string) (string, error) {
	switch ext := strings.ToLower(filepath.Ext(path)); ext {
	case ".parquet":
		return "parquet", nil
	case ".arrow":
		return "arrow", nil
	case ".csv":
		return "csv", nil
	default:
		return "", &FileError{File: path, Why: fmt.Sprintf("the name ends in %q, which is no format that is written", ext), Hint: "end it in .parquet, .arrow or .csv"}
	}
}

// Write writes the rest of the table to a file, in the format its name ends in.
// The file appears whole or not at all. A path that is one of inputs is refused,
// and of a table without rows no file is written: ErrNoReadings.
//
// Every column is written but file and line; text is dictionary-encoded in
// Parquet, times are UTC to the microsecond, and concentration is in Bq/m³.
func (t *Table) Write(path string, inputs []string) error { return writeFile(path, inputs, t) }

// WriteTo writes the rest of the table as "parquet", "arrow" or "csv".
func (t *Table) WriteTo(w io.Writer, format string) error { return writeTable(w, format, t) }

// Write writes the day means and the integrating results to a file, as
// Table.Write does. Their columns are those of the table, where start and end
// are the day's, share the measured share of it and concentration its
// arithmetic mean; then n, the number of readings, min, max, mean_ln and sd_ln.
// An integrating result has no min and max, and n 1.
func (d *Daily) Write(path string, inputs []string) error {
	return writeFile(path, inputs, d.records())
}

// WriteTo writes the day means and results as "parquet", "arrow" or "csv".
func (d *Daily) WriteTo(w io.Writer, format string) error {
	return writeTable(w, format, d.records())
}

// ErrNoReadings is why no file is written of a table without rows: it would take
// the place of an output that has some.
var ErrNoReadings = errors.New("there are no readings to write")

// countedRows knows how many rows a table gave.
type countedRows struct {
	records
	n int64
}

func (c *countedRows) Next() (arrow.Record, error) {
	rec, err := c.records.Next()
	if err == nil {
		c.n += rec.NumRows()
	}
	return rec, err
}

// writeFile writes beside the path and renames at the end.
func writeFile(path string, inputs []string, t records) (err error) {
	format, err := FormatOf(path)
	if err != nil {
		return err
	}
	mode := os.FileMode(0o644)
	if old, err := os.Stat(path); err == nil {
		if !old.Mode().IsRegular() {
			return &FileError{File: path, Why: "is not a regular file", Hint: "name another output"}
		}
		for _, in := range inputs {
			if info, err := os.Stat(in); err == nil && os.SameFile(old, info) {
				return &FileError{File: path, Why: "is an input: it would be overwritten", Hint: "name another output"}
			}
		}
		mode = old.Mode().Perm()
	}
	tmp, err := createUnfinished(filepath.Dir(path), "."+filepath.Base(path)+".*")
	if err != nil {
		return &FileError{File: path, Why: "cannot be written: " + plain(err), Hint: "check the folder", Err: err}
	}
	defer func() {
		if err != nil {
			tmp.Close() // a second close does no harm
			removeUnfinished(tmp.Name())
		}
	}()
	rows := &countedRows{records: t}
	if err := writeTable(tmp, format, rows); err != nil {
		var pe *os.PathError
		if errors.As(err, &pe) {
			return &FileError{File: path, Why: "cannot be written: " + pe.Err.Error(), Hint: "make room, or name another output", Err: err}
		}
		return err
	}
	if rows.n == 0 {
		return ErrNoReadings
	}
	if err := errors.Join(tmp.Chmod(mode), tmp.Sync(), tmp.Close()); err != nil {
		return &FileError{File: path, Why: "cannot be written: " + plain(err), Hint: "make room, or name another output", Err: err}
	}
	if err := renameUnfinished(tmp.Name(), path); err != nil {
		return &FileError{File: path, Why: "cannot be written: " + plain(err), Hint: "name another output", Err: err}
	}
	return nil
}

// sink is a format being written.
type sink interface {
	write(rec arrow.Record) error // a record of the sink's schema, text columns plain
	close() error
}

func writeTable(w io.Writer, format string, t records) (err error) {
	keep, plainSchema, err := outputColumns(t.Schema())
	if err != nil {
		return err
	}
	out := &stickyWriter{w: w}
	var s sink
	switch format {
	case "parquet":
		s, err = newParquetSink(out, plainSchema)
	case "arrow":
		s, err = newArrowSink(out, plainSchema)
	case "csv":
		s, err = newCSVSink(out, plainSchema)
	default:
		return fmt.Errorf("format %q is not written; use parquet, arrow or csv", format)
	}
	if err != nil {
		return errors.Join(out.err, err)
	}
	for {
		rec, err := t.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			return err
		}
		if rec.NumRows() == 0 {
			continue
		}
		one := plainRecord(rec, keep, plainSchema)
		err = guard(func() error { return s.write(one) })
		one.Release()
		if out.err != nil {
			return out.err
		}
		if err != nil {
			return err
		}
	}
	err = guard(s.close)
	if out.err != nil {
		return out.err
	}
	return err
}

// stickyWriter remembers the first error: not every writer in the libraries
// hands it on, and some panic.
type stickyWriter struct {
	w   io.Writer
	err error
}

func (s *stickyWriter) Write(p []byte) (int, error) {
	if s.err != nil {
		return 0, s.err
	}
	n, err := s.w.Write(p)
	s.err = err
	return n, err
}

// outputColumns chooses the columns to write, and their types with plain text.
func outputColumns(s *arrow.Schema) (keep []int, out *arrow.Schema, err error) {
	var fields []arrow.Field
	for i, f := range s.Fields() {
		if f.Name == "file" || f.Name == "line" {
			continue
		}
		if d, ok := f.Type.(*arrow.DictionaryType); ok {
			f.Type = d.ValueType
		}
		switch f.Type.ID() {
		case arrow.STRING, arrow.FLOAT64, arrow.INT64, arrow.BOOL, arrow.TIMESTAMP:
		default:
			return nil, nil, fmt.Errorf("column %q of type %s is not written", f.Name, f.Type)
		}
		f.Metadata = arrow.Metadata{}
		if f.Name == "concentration" || f.Name == "uncertainty" {
			f.Metadata = arrow.NewMetadata([]string{"unit"}, []string{unitText})
		}
		keep = append(keep, i)
		fields = append(fields, f)
	}
	meta := arrow.NewMetadata([]string{unitKey}, []string{unitText})
	return keep, arrow.NewSchema(fields, &meta), nil
}

// plainRecord is a record's kept columns with text as plain strings. An IPC
// file allows one dictionary a field, and a stream of batches has many.
func plainRecord(rec arrow.Record, keep []int, s *arrow.Schema) arrow.Record {
	columns := make([]arrow.Array, len(keep))
	for k, i := range keep {
		a := rec.Column(i)
		d, ok := a.(*array.Dictionary)
		if !ok {
			a.Retain()
			columns[k] = a
			continue
		}
		words := d.Dictionary().(*array.String)
		b := array.NewStringBuilder(memory.DefaultAllocator)
		b.Reserve(d.Len())
		for j := range d.Len() {
			if d.IsNull(j) {
				b.Append("")
			} else {
				b.Append(words.Value(d.GetValueIndex(j)))
			}
		}
		columns[k] = b.NewArray()
		b.Release()
	}
	out := array.NewRecord(s, columns, rec.NumRows())
	for _, c := range columns {
		c.Release()
	}
	return out
}

// arrowSink writes an IPC file.
type arrowSink struct{ w *ipc.FileWriter }

func newArrowSink(w io.Writer, s *arrow.Schema) (sink, error) {
	fw, err := ipc.NewFileWriter(&counted{w: w}, ipc.WithSchema(s), ipc.WithZstd(), ipc.WithCompressConcurrency(1))
	if err != nil {
		return nil, err
	}
	return arrowSink{fw}, nil
}

// counted is a writer that knows where it is: the IPC writer asks for a Seeker
// but only to learn that.
type counted struct {
	w io.Writer
	n int64
}

func (c *counted) Write(p []byte) (int, error) {
	n, err := c.w.Write(p)
	c.n += int64(n)
	return n, err
}

func (c *counted) Seek(offset int64, whence int) (int64, error) {
	if offset == 0 && whence == io.SeekCurrent || offset == c.n && whence == io.SeekStart {
		return c.n, nil
	}
	return c.n, errors.New("output goes forward only")
}

func (s arrowSink) write(rec arrow.Record) error { return s.w.Write(rec) }
func (s arrowSink) close() error                 { return s.w.Close() }

// parquetSink writes row groups column by column.
type parquetSink struct {
	w      *file.Writer
	schema *arrow.Schema
	group  file.BufferedRowGroupWriter
	rows   int64
	levels []int16
}

func newParquetSink(w io.Writer, s *arrow.Schema) (sink, error) {
	var nodes schema.FieldList
	for _, f := range s.Fields() {
		repetition := parquet.Repetitions.Required
		if f.Nullable {
			repetition = parquet.Repetitions.Optional
		}
		var node schema.Node
		var err error
		switch f.Type.ID() {
		case arrow.STRING:
			node, err = schema.NewPrimitiveNodeLogical(f.Name, repetition, schema.StringLogicalType{}, parquet.Types.ByteArray, -1, -1)
		case arrow.TIMESTAMP:
			node, err = schema.NewPrimitiveNodeLogical(f.Name, repetition, schema.NewTimestampLogicalType(true, schema.TimeUnitMicros), parquet.Types.Int64, -1, -1)
		case arrow.FLOAT64:
			node = schema.NewFloat64Node(f.Name, repetition, -1)
		case arrow.INT64:
			node = schema.NewInt64Node(f.Name, repetition, -1)
		case arrow.BOOL:
			node = schema.NewBooleanNode(f.Name, repetition, -1)
		}
		if err != nil {
			return nil, err
		}
		nodes = append(nodes, node)
	}
	root, err := schema.NewGroupNode("readings", parquet.Repetitions.Required, nodes, -1)
	if err != nil {
		return nil, err
	}
	meta := metadata.NewKeyValueMetadata()
	if err := meta.Append(unitKey, unitText); err != nil {
		return nil, err
	}
	p := parquet.NewWriterProperties(parquet.WithCompression(compress.Codecs.Zstd), parquet.WithCreatedBy("radonyear"), parquet.WithVersion(parquet.V2_LATEST))
	p2 := &parquetSink{schema: s}
	err = guard(func() error {
		p2.w = file.NewParquetWriter(w, root, file.WithWriterProps(p), file.WithWriteMetadata(meta))
		return nil
	})
	return p2, err
}

func (s *parquetSink) write(rec arrow.Record) error {
	if s.group == nil {
		s.group = s.w.AppendBufferedRowGroup()
	}
	for i := range int(rec.NumCols()) {
		cw, err := s.group.Column(i)
		if err != nil {
			return err
		}
		if err := s.column(cw, rec.Column(i), s.schema.Field(i).Nullable); err != nil {
			return fmt.Errorf("column %q: %w", s.schema.Field(i).Name, err)
		}
	}
	if s.rows += rec.NumRows(); s.rows >= rowGroupRows {
		return s.endGroup()
	}
	return nil
}

func (s *parquetSink) endGroup() error {
	if s.group == nil {
		return nil
	}
	err := s.group.Close()
	s.group, s.rows = nil, 0
	return err
}

func (s *parquetSink) close() error { return errors.Join(s.endGroup(), s.w.Close()) }

// column writes an array's values; where nulls may be, levels tell them apart.
func (s *parquetSink) column(cw file.ColumnChunkWriter, a arrow.Array, nullable bool) error {
	n := a.Len()
	levels := s.levels[:0]
	if nullable {
		for i := range n {
			level := int16(1)
			if a.IsNull(i) {
				level = 0
			}
			levels = append(levels, level)
		}
		s.levels = levels
	} else {
		if a.NullN() > 0 {
			return errors.New("a value is missing")
		}
		levels = nil
	}
	var err error
	switch a := a.(type) {
	case *array.String:
		_, err = cw.(*file.ByteArrayColumnChunkWriter).WriteBatch(present(a, func(i int) parquet.ByteArray { return []byte(a.Value(i)) }), levels, nil)
	case *array.Timestamp:
		_, err = cw.(*file.Int64ColumnChunkWriter).WriteBatch(present(a, func(i int) int64 { return int64(a.Value(i)) }), levels, nil)
	case *array.Float64:
		_, err = cw.(*file.Float64ColumnChunkWriter).WriteBatch(present(a, a.Value), levels, nil)
	case *array.Int64:
		_, err = cw.(*file.Int64ColumnChunkWriter).WriteBatch(present(a, a.Value), levels, nil)
	case *array.Boolean:
		_, err = cw.(*file.BooleanColumnChunkWriter).WriteBatch(present(a, a.Value), levels, nil)
	default:
		err = fmt.Errorf("type %s is not written", a.DataType())
	}
	return err
}

// present is the values of an array that are not null.
func present[T any](a arrow.Array, value func(int) T) []T {
	out := make([]T, 0, a.Len())
	for i := range a.Len() {
		if !a.IsNull(i) {
			out = append(out, value(i))
		}
	}
	return out
}

// csvSink writes a line a row.
type csvSink struct {
	w      *csv.Writer
	fields []string
}

func newCSVSink(w io.Writer, s *arrow.Schema) (sink, error) {
	c := &csvSink{w: csv.NewWriter(w)}
	for _, f := range s.Fields() {
		c.fields = append(c.fields, f.Name)
	}
	return c, c.w.Write(c.fields)
}

func (c *csvSink) write(rec arrow.Record) error {
	for i := range int(rec.NumRows()) {
		for k := range c.fields {
			c.fields[k] = csvText(rec.Column(k), i)
		}
		if err := c.w.Write(c.fields); err != nil {
			return err
		}
	}
	return nil
}

func csvText(a arrow.Array, i int) string {
	if a.IsNull(i) {
		return ""
	}
	switch a := a.(type) {
	case *array.String:
		return a.Value(i)
	case *array.Float64:
		return strconv.FormatFloat(a.Value(i), 'g', -1, 64)
	case *array.Int64:
		return strconv.FormatInt(a.Value(i), 10)
	case *array.Boolean:
		return strconv.FormatBool(a.Value(i))
	case *array.Timestamp:
		return time.UnixMicro(int64(a.Value(i))).UTC().Format(time.RFC3339Nano)
	}
	return ""
}

func (c *csvSink) close() error {
	c.w.Flush()
	return c.w.Error()
}

// dailyFields are the columns of day means.
var dailyFields = func() []arrow.Field {
	var fields []arrow.Field
	for _, f := range schemaFields {
		if f.Name != "file" && f.Name != "line" {
			fields = append(fields, f)
		}
	}
	number := arrow.PrimitiveTypes.Float64
	return append(fields,
		arrow.Field{Name: "n", Type: arrow.PrimitiveTypes.Int64},
		arrow.Field{Name: "min", Type: number, Nullable: true},
		arrow.Field{Name: "max", Type: number, Nullable: true},
		arrow.Field{Name: "mean_ln", Type: number, Nullable: true},
		arrow.Field{Name: "sd_ln", Type: number, Nullable: true},
	)
}()

// dailyRecords gives a Daily as record batches.
type dailyRecords struct {
	d      *Daily
	schema *arrow.Schema
	track  int
	at     int // next day or, after the days, result of the track
	rec    arrow.Record
}

func (d *Daily) records() *dailyRecords {
	return &dailyRecords{d: d, schema: arrow.NewSchema(dailyFields, nil)}
}

func (r *dailyRecords) Schema() *arrow.Schema { return r.schema }

func (r *dailyRecords) Next() (arrow.Record, error) {
	if r.rec != nil {
		r.rec.Release()
		r.rec = nil
	}
	b := array.NewRecordBuilder(memory.DefaultAllocator, r.schema)
	defer b.Release()
	text := func(i int, s string) error { return b.Field(i).(*array.BinaryDictionaryBuilder).AppendString(s) }
	number := func(i int, x float64, ok bool) {
		if !ok {
			b.Field(i).AppendNull()
			return
		}
		b.Field(i).(*array.Float64Builder).Append(x)
	}
	rows := 0
	for ; rows < 1<<14 && r.track < len(r.d.Tracks); r.at++ {
		t := &r.d.Tracks[r.track]
		if r.at == len(t.Days)+len(t.Results) {
			r.track, r.at = r.track+1, -1
			continue
		}
		var day Day
		x := struct {
			start, end         int64
			value, uncertainty float64
			below              bool
			share              float64
		}{}
		isDay := r.at < len(t.Days)
		if isDay {
			day = t.Days[r.at]
			x.start, x.end, x.value, x.uncertainty, x.below, x.share = day.start, day.end, day.Mean, day.Uncertainty, day.BelowLimit(), day.Share
		} else {
			y := t.Results[r.at-len(t.Days)]
			x.start, x.end, x.value, x.uncertainty, x.below, x.share = y.Start.UnixMicro(), y.End.UnixMicro(), y.Concentration, y.Uncertainty, y.BelowLimit, y.Share
		}
		if err := errors.Join(text(0, t.Home), text(1, t.Area), text(2, t.Room), text(3, t.Detector), text(4, t.Method),
			text(7, t.Zone), text(11, t.Phase), text(12, t.Kind)); err != nil {
			return nil, err
		}
		b.Field(5).(*array.TimestampBuilder).Append(arrow.Timestamp(x.start))
		b.Field(6).(*array.TimestampBuilder).Append(arrow.Timestamp(x.end))
		number(8, x.value, true)
		number(9, x.uncertainty, x.uncertainty > 0)
		b.Field(10).(*array.BooleanBuilder).Append(x.below)
		number(13, t.Weight, t.Weight > 0)
		number(14, x.share, x.share > 0)
		b.Field(15).(*array.Int64Builder).Append(int64(max(1, day.N)))
		number(16, day.Min, isDay)
		number(17, day.Max, isDay)
		mean, ok := day.LogMean()
		number(18, mean, isDay && ok)
		sd, ok := day.LogSD()
		number(19, sd, isDay && ok)
		rows++
	}
	if rows == 0 {
		return nil, io.EOF
	}
	r.rec = b.NewRecord()
	return r.rec, nil
}
