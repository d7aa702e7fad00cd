package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/decimal128"
	"github.com/apache/arrow/go/v17/arrow/float16"
	"github.com/apache/arrow/go/v17/arrow/ipc"
	"github.com/apache/arrow/go/v17/arrow/memory"
	"github.com/google/go-cmp/cmp"
)

// arrowTypes is a table of every type that is read, n rows in batches, each
// row but every third.
func arrowTypes(t testing.TB, n int) (recs []arrow.Record, want []string) {
	t.Helper()
	type column struct {
		typ  arrow.DataType
		put  func(array.Builder, int)
		cell func(int) cell
	}
	P := arrow.PrimitiveTypes
	text := func(s string) cell { return cell{kind: cellText, text: s} }
	stamp := func(unit arrow.TimeUnit, zone string) column {
		d := unit.Multiplier()
		return column{&arrow.TimestampType{Unit: unit, TimeZone: zone},
			func(b array.Builder, i int) {
				b.(*array.TimestampBuilder).Append(arrow.Timestamp(time.Duration(i-5) * 1001 * time.Second / d))
			},
			func(i int) cell {
				return cell{kind: cellTime, time: time.Unix(0, 0).UTC().Add(time.Duration(i-5) * 1001 * time.Second), zone: zone}
			}}
	}
	words := func(i int) string { return fmt.Sprintf("room %d", i%7) }
	columns := []column{
		{arrow.BinaryTypes.String, func(b array.Builder, i int) { b.(*array.StringBuilder).Append(words(i)) }, func(i int) cell { return text(words(i)) }},
		{arrow.BinaryTypes.LargeString, func(b array.Builder, i int) { b.(*array.LargeStringBuilder).Append(words(i)) }, func(i int) cell { return text(words(i)) }},
		{dictText, func(b array.Builder, i int) {
			if err := b.(*array.BinaryDictionaryBuilder).AppendString(words(i)); err != nil {
				t.Fatal(err)
			}
		}, func(i int) cell { return text(words(i)) }},
		{P.Int16, func(b array.Builder, i int) { b.(*array.Int16Builder).Append(int16(-i)) }, func(i int) cell { return num(float64(-i)) }},
		{P.Uint8, func(b array.Builder, i int) { b.(*array.Uint8Builder).Append(uint8(i)) }, func(i int) cell { return num(float64(uint8(i))) }},
		{P.Int64, func(b array.Builder, i int) { b.(*array.Int64Builder).Append(1<<60 + int64(i)) }, func(i int) cell { return text(fmt.Sprint(int64(1<<60) + int64(i))) }},
		{P.Uint64, func(b array.Builder, i int) { b.(*array.Uint64Builder).Append(uint64(i)) }, func(i int) cell { return num(float64(i)) }},
		{arrow.FixedWidthTypes.Float16, func(b array.Builder, i int) { b.(*array.Float16Builder).Append(float16.New(float32(i % 100))) }, func(i int) cell { return num(float64(i % 100)) }},
		{P.Float32, func(b array.Builder, i int) { b.(*array.Float32Builder).Append(float32(i) / 3) }, func(i int) cell { return num(float64(float32(i) / 3)) }},
		{P.Float64, func(b array.Builder, i int) { b.(*array.Float64Builder).Append(float64(i) / 3) }, func(i int) cell { return num(float64(i) / 3) }},
		{arrow.FixedWidthTypes.Boolean, func(b array.Builder, i int) { b.(*array.BooleanBuilder).Append(i%2 == 1) }, func(i int) cell { return cell{kind: cellBool, num: float64(i % 2)} }},
		{P.Date32, func(b array.Builder, i int) { b.(*array.Date32Builder).Append(arrow.Date32(i)) }, func(i int) cell { return cell{kind: cellDate, time: time.Unix(int64(i)*86400, 0).UTC()} }},
		{P.Date64, func(b array.Builder, i int) { b.(*array.Date64Builder).Append(arrow.Date64(i) * 86400000) }, func(i int) cell { return cell{kind: cellDate, time: time.Unix(int64(i)*86400, 0).UTC()} }},
		stamp(arrow.Second, "Europe/Oslo"), stamp(arrow.Millisecond, ""), stamp(arrow.Microsecond, "UTC"), stamp(arrow.Nanosecond, "+01:00"),
		{arrow.FixedWidthTypes.Time32s, func(b array.Builder, i int) { b.(*array.Time32Builder).Append(arrow.Time32(i)) }, func(i int) cell {
			return text(time.Time{}.Add(time.Duration(i) * time.Second).Format(time.TimeOnly))
		}},
		{&arrow.Decimal128Type{Precision: 20, Scale: 2}, func(b array.Builder, i int) {
			b.(*array.Decimal128Builder).Append(decimal128.FromI64(int64(-i)))
		}, func(i int) cell { return num(float64(-i) / 100) }},
	}
	var fields []arrow.Field
	header := ""
	for i, c := range columns {
		fields = append(fields, arrow.Field{Name: fmt.Sprint("c", i), Type: c.typ, Nullable: true})
		header += fmt.Sprint("|c", i)
	}
	list := arrow.ListOf(P.Int8)
	s := arrow.NewSchema(append(fields, arrow.Field{Name: "nested", Type: list, Nullable: true}), nil)
	want = []string{header[1:]}
	for row := 0; row < n; {
		b := array.NewRecordBuilder(memory.DefaultAllocator, s)
		for k := 0; k < 1500 && row < n; k++ {
			line := fmt.Sprint(row + 1)
			for i, c := range columns {
				if row%3 == 2 {
					b.Field(i).AppendNull()
					line += "|-"
					continue
				}
				c.put(b.Field(i), row)
				line += "|" + cellString(c.cell(row))
			}
			b.Field(len(columns)).AppendNull()
			want = append(want, line)
			row++
		}
		recs = append(recs, b.NewRecord())
		b.Release()
	}
	return recs, want
}

func arrowBytes(t testing.TB, recs []arrow.Record, stream bool, options ...ipc.Option) []byte {
	t.Helper()
	var out bytes.Buffer
	options = append(options, ipc.WithSchema(recs[0].Schema()))
	var w interface {
		Write(arrow.Record) error
		Close() error
	}
	if stream {
		w = ipc.NewWriter(&out, options...)
	} else {
		fw, err := ipc.NewFileWriter(&counted{w: &out}, options...)
		if err != nil {
			t.Fatal(err)
		}
		w = fw
	}
	for _, r := range recs {
		if err := w.Write(r); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

func TestArrowTypes(t *testing.T) {
	t.Parallel()
	recs, want := arrowTypes(t, 4000)
	for _, stream := range []bool{false, true} {
		for name, o := range map[string][]ipc.Option{"none": nil, "zstd": {ipc.WithZstd()}, "lz4": {ipc.WithLZ4()}} {
			use, expect := recs, want
			if !stream { // an IPC file allows one dictionary a field
				use, expect = recs[:1], want[:1+recs[0].NumRows()]
			}
			r, err := openArrow(writeTemp(t, "x.arrow", arrowBytes(t, use, stream, o...)))
			if err != nil {
				t.Fatal(err)
			}
			var f File
			if r.describe(&f); f.Format != "arrow" || len(f.ColumnsIgnored) != 1 || f.ColumnsIgnored[0] != "nested" {
				t.Errorf("%+v", f)
			}
			got, err := readCells(r)
			if err != nil {
				t.Fatal(err)
			}
			if diff := cmp.Diff(expect, got); diff != "" {
				t.Errorf("stream %v, %s: %s", stream, name, diff)
			}
		}
	}
}

func TestArrowDamaged(t *testing.T) {
	t.Parallel()
	recs, _ := arrowTypes(t, 400)
	for name, b := range map[string][]byte{
		"file": arrowBytes(t, recs, false), "file zstd": arrowBytes(t, recs, false, ipc.WithZstd()),
		"stream": arrowBytes(t, recs, true), "stream lz4": arrowBytes(t, recs, true, ipc.WithLZ4()),
	} {
		wreck(t, name, b, 400, 40, 60, openArrow)
	}
	_, err := openArrow(writeTemp(t, "x.arrow", []byte("ARROW1 and no more")))
	var fe *FileError
	if !errors.As(err, &fe) || !strings.Contains(fe.Why, "Arrow") {
		t.Errorf("%v", err)
	}
}

func FuzzArrow(f *testing.F) {
	recs, _ := arrowTypes(f, 20)
	f.Add(arrowBytes(f, recs, false))
	f.Add(arrowBytes(f, recs, true))
	f.Add(arrowBytes(f, recs, true, ipc.WithZstd()))
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, b []byte) {
		path := fmt.Sprint(dir, "/", os.Getpid())
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		r, err := openArrow(path)
		if err == nil {
			_, err = readCells(r)
		}
		var fe *FileError
		if err != nil && !errors.As(err, &fe) {
			t.Fatalf("%T %v", err, err)
		}
	})
}
