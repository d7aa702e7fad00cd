package ingest

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"reflect"
	"runtime"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/apache/arrow/go/v17/parquet/file"
	"github.com/apache/arrow/go/v17/parquet/schema"
	"github.com/google/go-cmp/cmp"
	pq "github.com/parquet-go/parquet-go"
	pqcompress "github.com/parquet-go/parquet-go/compress"
	"github.com/parquet-go/parquet-go/deprecated"
	"github.com/parquet-go/parquet-go/encoding"
	"github.com/parquet-go/parquet-go/format"
)

// readCells reads a file to its end, as text that tells every cell apart.
func readCells(r rowReader) ([]string, error) {
	defer r.Close()
	out := []string{strings.Join(r.header(), "|")}
	for {
		cells, line, err := r.next()
		if err == io.EOF {
			return out, nil
		}
		if err != nil {
			return out, err
		}
		s := fmt.Sprint(line)
		for _, c := range cells {
			s += "|" + cellString(c)
		}
		out = append(out, s)
	}
}

func cellString(c cell) string {
	switch c.kind {
	case cellText:
		return fmt.Sprintf("%q", c.text)
	case cellNumber:
		return fmt.Sprintf("%v", c.num)
	case cellBool:
		return fmt.Sprintf("b%v", c.num)
	case cellTime:
		return c.time.Format(time.RFC3339Nano) + "@" + c.zone
	case cellDate:
		return c.time.Format(time.DateOnly)
	}
	return "-"
}

func writeTemp(t testing.TB, name string, b []byte) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func parquetCells(t testing.TB, b []byte) []string {
	t.Helper()
	r, err := openParquet(writeTemp(t, "x.parquet", b))
	if err != nil {
		t.Fatal(err)
	}
	got, err := readCells(r)
	if err != nil {
		t.Fatal(err)
	}
	return got
}

// sample is a row of the files that parquet-go writes here.
type sample struct {
	Home    string    `parquet:"home,dict"`
	Room    string    `parquet:"room,optional,delta"` // DELTA_LENGTH_BYTE_ARRAY with nulls, which "" stands for
	At      time.Time `parquet:"at,timestamp(microsecond),delta"`
	Count   int64     `parquet:"count,optional,delta"` // DELTA_BINARY_PACKED with nulls, which 0 stands for
	Value   float64   `parquet:"value,split"`          // BYTE_STREAM_SPLIT
	Level   float32   `parquet:"level,optional,split"`
	Day     int32     `parquet:"day,date"`
	Flag    bool      `parquet:"flag"`
	Price   int64     `parquet:"price,decimal(2:12)"`
	Wide    *float64  `parquet:"wide,optional"`
	Ignored []int32   `parquet:"ignored,list"`
}

func samples(n int) []sample {
	rng := rand.New(rand.NewPCG(uint64(n), 7))
	var out []sample
	for i := range n {
		s := sample{
			Home: fmt.Sprintf("%04d", i/50), At: time.UnixMicro(1.7e15 + int64(i)*3600e6).UTC(),
			Value: float64(rng.IntN(5000)) / 10, Day: int32(20000 + i/24), Flag: i%3 == 0, Price: int64(i*7 - 100),
			Ignored: []int32{1, 2},
		}
		if i%4 != 0 {
			s.Room = fmt.Sprintf("room %d", rng.IntN(1000))
		}
		if rng.IntN(5) != 0 {
			s.Count = rng.Int64N(1000) - 500
			s.Level = rng.Float32()
		}
		if i > n/2 {
			w := rng.Float64()
			s.Wide = &w
		}
		out = append(out, s)
	}
	return out
}

// unlessZero is c, or null where v is what stands for null.
func unlessZero[T comparable](v T, c cell) cell {
	var zero T
	if v == zero {
		return cell{}
	}
	return c
}

func num(x float64) cell { return cell{kind: cellNumber, num: x} }

func wantSamples(rows []sample) []string {
	out := []string{"home|room|at|count|value|level|day|flag|price|wide"}
	for i, r := range rows {
		flag := cell{kind: cellBool}
		if r.Flag {
			flag.num = 1
		}
		wide := cell{}
		if r.Wide != nil {
			wide = num(*r.Wide)
		}
		s := fmt.Sprint(i + 1)
		for _, c := range []cell{
			{kind: cellText, text: r.Home},
			unlessZero(r.Room, cell{kind: cellText, text: r.Room}),
			{kind: cellTime, time: r.At, zone: "UTC"},
			unlessZero(r.Count, num(float64(r.Count))),
			num(r.Value),
			unlessZero(r.Level, num(float64(r.Level))),
			{kind: cellDate, time: time.Unix(int64(r.Day)*86400, 0).UTC()},
			flag,
			num(float64(r.Price) / 100),
			wide,
		} {
			s += "|" + cellString(c)
		}
		out = append(out, s)
	}
	return out
}

func writeSamples(t testing.TB, rows []sample, options ...pq.WriterOption) []byte {
	t.Helper()
	var b bytes.Buffer
	w := pq.NewGenericWriter[sample](&b, options...)
	if _, err := w.Write(rows); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

var codecs = map[string]pqcompress.Codec{"none": &pq.Uncompressed, "snappy": &pq.Snappy, "gzip": &pq.Gzip, "brotli": &pq.Brotli, "zstd": &pq.Zstd}

func TestParquetEncodings(t *testing.T) {
	t.Parallel()
	rows := samples(2000)
	want := wantSamples(rows)
	for name, codec := range codecs {
		for version := 1; version <= 2; version++ {
			b := writeSamples(t, rows, pq.Compression(codec), pq.DataPageVersion(version), pq.PageBufferSize(4096), pq.MaxRowsPerRowGroup(777))
			if diff := cmp.Diff(want, parquetCells(t, b)); diff != "" {
				t.Errorf("%s, pages v%d: %s", name, version, diff)
			}
		}
	}
	for _, e := range []encoding.Encoding{&pq.DeltaByteArray, &pq.DeltaLengthByteArray, &pq.RLEDictionary, &pq.Plain} {
		group := pq.Group{
			"home": pq.Encoded(pq.String(), e),
			"room": pq.Optional(pq.Encoded(pq.String(), e)),
		}
		b := writeSamples(t, rows, pq.NewSchema("rows", group), pq.PageBufferSize(3000))
		var cut []string
		for _, line := range want {
			cut = append(cut, strings.Join(strings.Split(line, "|")[:3], "|"))
		}
		cut[0] = "home|room"
		if diff := cmp.Diff(cut, parquetCells(t, b)); diff != "" {
			t.Errorf("%v: %s", e, diff)
		}
	}
	var f File
	r, err := openParquet(writeTemp(t, "x.parquet", writeSamples(t, rows[:10])))
	if err != nil {
		t.Fatal(err)
	}
	defer r.Close()
	if r.describe(&f); f.Format != "parquet" || !reflect.DeepEqual(f.ColumnsIgnored, []string{"ignored"}) {
		t.Errorf("%+v", f)
	}
}

// arrowParquet writes the types that arrow's writer knows, LZ4_RAW among the
// codecs, with nulls in every other row of optional columns.
//
// That writer does not count the nulls of INT96 in the header of a v2 page,
// which makes such a page unsound, so that column has none there.
func arrowParquet(t testing.TB, n int, optional bool, options ...parquet.WriterProperty) (b []byte, want []string) {
	t.Helper()
	props := parquet.NewWriterProperties(options...)
	rep := parquet.Repetitions.Required
	if optional {
		rep = parquet.Repetitions.Optional
	}
	node := func(n schema.Node, err error) schema.Node {
		if err != nil {
			t.Fatal(err)
		}
		return n
	}
	P := parquet.Types
	fields := schema.FieldList{
		schema.NewBooleanNode("bool", rep, -1),
		schema.NewInt32Node("int32", rep, -1),
		node(schema.NewPrimitiveNodeLogical("uint32", rep, schema.NewIntLogicalType(32, false), P.Int32, -1, -1)),
		schema.NewInt64Node("int64", rep, -1),
		schema.NewInt96Node("int96", rep, -1),
		schema.NewFloat32Node("float", rep, -1),
		schema.NewFloat64Node("double", rep, -1),
		node(schema.NewPrimitiveNodeLogical("text", rep, schema.StringLogicalType{}, P.ByteArray, -1, -1)),
		node(schema.NewPrimitiveNodeLogical("millis", rep, schema.NewTimestampLogicalType(true, schema.TimeUnitMillis), P.Int64, -1, -1)),
		node(schema.NewPrimitiveNodeLogical("nanos", rep, schema.NewTimestampLogicalType(false, schema.TimeUnitNanos), P.Int64, -1, -1)),
		node(schema.NewPrimitiveNodeLogical("wall", rep, schema.NewTimestampLogicalType(false, schema.TimeUnitMicros), P.Int64, -1, -1)),
		node(schema.NewPrimitiveNodeLogical("clock", rep, schema.NewTimeLogicalType(false, schema.TimeUnitMillis), P.Int32, -1, -1)),
		node(schema.NewPrimitiveNodeLogical("decimal", rep, schema.NewDecimalLogicalType(20, 3), P.FixedLenByteArray, 9, -1)),
		node(schema.NewPrimitiveNodeLogical("half", rep, schema.Float16LogicalType{}, P.FixedLenByteArray, 2, -1)),
		node(schema.NewPrimitiveNodeLogical("uuid", rep, schema.UUIDLogicalType{}, P.FixedLenByteArray, 16, -1)),
	}
	sound := !optional || props.DataPageVersion() == parquet.DataPageV1
	if !sound {
		fields[4] = schema.NewInt96Node("int96", parquet.Repetitions.Required, -1)
	}
	root := node(schema.NewGroupNode("s", parquet.Repetitions.Required, fields, -1)).(*schema.GroupNode)
	var out bytes.Buffer
	w := file.NewParquetWriter(&out, root, file.WithWriterProps(props))
	want = make([]string, n+1)
	for _, f := range fields {
		want[0] += "|" + f.Name()
	}
	want[0] = want[0][1:]
	row := 0
	for row < n {
		k := min(n-row, 500)
		levels := []int16(nil)
		if optional {
			for i := range k {
				levels = append(levels, int16(1-(row+i)%2))
			}
		}
		rg := w.AppendRowGroup()
		for c := range fields {
			cw, err := rg.NextColumn()
			if err != nil {
				t.Fatal(err)
			}
			levels := levels
			if c == 4 && !sound {
				levels = nil
			}
			note := func(i int, x cell) {
				if levels != nil && levels[i] == 0 {
					x = cell{}
				}
				if c == 0 {
					want[row+i+1] = fmt.Sprint(row + i + 1)
				}
				want[row+i+1] += "|" + cellString(x)
			}
			if err := putColumn(cw, c, row, k, levels, note); err != nil {
				t.Fatal(err)
			}
			if err := cw.Close(); err != nil {
				t.Fatal(err)
			}
		}
		if err := rg.Close(); err != nil {
			t.Fatal(err)
		}
		row += k
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	return out.Bytes(), want
}

func putColumn(cw file.ColumnChunkWriter, c, row, k int, levels []int16, note func(int, cell)) error {
	here := func(i int) bool { return levels == nil || levels[i] == 1 }
	text := func(s string) cell { return cell{kind: cellText, text: s} }
	at := func(d time.Duration, zone string) cell {
		return cell{kind: cellTime, time: time.Unix(0, 0).UTC().Add(d), zone: zone}
	}
	var err error
	switch cw := cw.(type) {
	case *file.BooleanColumnChunkWriter:
		_, err = cw.WriteBatch(columnOf(k, here, note, func(i int) (bool, cell) {
			v := (row+i)%3 == 0
			x := cell{kind: cellBool}
			if v {
				x.num = 1
			}
			return v, x
		}), levels, nil)
	case *file.Int32ColumnChunkWriter:
		_, err = cw.WriteBatch(columnOf(k, here, note, func(i int) (int32, cell) {
			v := int32((row+i)*7919 - 50000)
			switch c {
			case 2:
				return v, num(float64(uint32(v)))
			case 11:
				ms := int32(row+i) * 61001 % 86400000
				return ms, text(time.Time{}.Add(time.Duration(ms) * time.Millisecond).Format("15:04:05.999"))
			}
			return v, num(float64(v))
		}), levels, nil)
	case *file.Int64ColumnChunkWriter:
		_, err = cw.WriteBatch(columnOf(k, here, note, func(i int) (int64, cell) {
			v := int64(row+i)*86413000 - 1e9
			switch c {
			case 8:
				return v, at(time.Duration(v)*time.Millisecond, "UTC")
			case 9:
				return v * 1000001, at(time.Duration(v*1000001), "")
			case 10:
				return v * 1001, at(time.Duration(v*1001)*time.Microsecond, "")
			}
			if i%10 == 0 {
				return v + 1<<60, text(fmt.Sprint(v + 1<<60))
			}
			return v, num(float64(v))
		}), levels, nil)
	case *file.Int96ColumnChunkWriter:
		_, err = cw.WriteBatch(columnOf(k, here, note, func(i int) (parquet.Int96, cell) {
			var v parquet.Int96
			nanos := uint64(row+i) * 1234567891 % 86400e9
			binary.LittleEndian.PutUint64(v[:], nanos)
			binary.LittleEndian.PutUint32(v[8:], uint32(2440588+20000+i))
			return v, at(time.Duration(20000+i)*24*time.Hour+time.Duration(nanos), "")
		}), levels, nil)
	case *file.Float32ColumnChunkWriter:
		_, err = cw.WriteBatch(columnOf(k, here, note, func(i int) (float32, cell) {
			v := float32(row+i) / 7
			return v, num(float64(v))
		}), levels, nil)
	case *file.Float64ColumnChunkWriter:
		_, err = cw.WriteBatch(columnOf(k, here, note, func(i int) (float64, cell) {
			v := float64(row+i) / 7
			return v, num(v)
		}), levels, nil)
	case *file.ByteArrayColumnChunkWriter:
		_, err = cw.WriteBatch(columnOf(k, here, note, func(i int) (parquet.ByteArray, cell) {
			s := fmt.Sprintf("cellar %03d", (row+i)%257)
			return parquet.ByteArray(s), text(s)
		}), levels, nil)
	case *file.FixedLenByteArrayColumnChunkWriter:
		_, err = cw.WriteBatch(columnOf(k, here, note, func(i int) (parquet.FixedLenByteArray, cell) {
			switch c {
			case 12: // -(row+1)·1001 thousandths, nine bytes of two's complement
				v := -int64(row+i+1) * 1001
				b := append([]byte{0xff}, binary.BigEndian.AppendUint64(nil, uint64(v))...)
				return b, num(float64(v) / 1000)
			case 13: // 1 + i/1024, exact in half precision
				h := uint16(15<<10 | (row+i)%1024)
				return binary.LittleEndian.AppendUint16(nil, h), num(1 + float64((row+i)%1024)/1024)
			}
			b := make([]byte, 16)
			binary.BigEndian.PutUint32(b, uint32(row+i))
			return b, text(fmt.Sprintf("%08x-0000-0000-0000-000000000000", row+i))
		}), levels, nil)
	}
	return err
}

// columnOf makes the present values of a column and notes every row's cell.
func columnOf[T any](k int, here func(int) bool, note func(int, cell), value func(int) (T, cell)) []T {
	var out []T
	for i := range k {
		v, c := value(i)
		note(i, c)
		if here(i) {
			out = append(out, v)
		}
	}
	return out
}

func TestParquetTypes(t *testing.T) {
	t.Parallel()
	lz4raw := compress.Compression(format.Lz4Raw)
	for _, codec := range []compress.Compression{compress.Codecs.Uncompressed, compress.Codecs.Snappy, compress.Codecs.Gzip, compress.Codecs.Brotli, compress.Codecs.Zstd, lz4raw} {
		for _, version := range []parquet.DataPageVersion{parquet.DataPageV1, parquet.DataPageV2} {
			for _, optional := range []bool{false, true} {
				for _, dict := range []bool{false, true} {
					if optional == dict && codec != compress.Codecs.Zstd && codec != lz4raw {
						continue // half of the combinations will do
					}
					b, want := arrowParquet(t, 700, optional, parquet.WithCompression(codec), parquet.WithDataPageVersion(version),
						parquet.WithDictionaryDefault(dict), parquet.WithDataPageSize(2000))
					t.Run(fmt.Sprintf("%v v%v optional=%v dictionary=%v", codec, version+1, optional, dict), func(t *testing.T) {
						if diff := cmp.Diff(want, parquetCells(t, b)); diff != "" {
							t.Error(diff)
						}
					})
				}
			}
		}
	}
}

func TestParquetOldTimestamps(t *testing.T) {
	type old struct {
		At deprecated.Int96 `parquet:"at"`
	}
	var b bytes.Buffer
	w := pq.NewGenericWriter[old](&b)
	// Julian day 2440588 is 1970-01-01; 3.6e12 ns is one o'clock.
	if _, err := w.Write([]old{{deprecated.Int96{3600000000000 & math.MaxUint32, 3600000000000 >> 32, 2440589}}}); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if diff := cmp.Diff([]string{"at", "1|1970-01-02T01:00:00Z@"}, parquetCells(t, b.Bytes())); diff != "" {
		t.Error(diff)
	}
}

func TestParquetRefused(t *testing.T) {
	good := writeSamples(t, samples(10))
	for _, c := range []struct {
		name string
		b    []byte
		want string
	}{
		{"empty", nil, "too early"},
		{"only the mark", []byte("PAR1"), "too early"},
		{"cut", good[:len(good)-20], "end is missing"},
		{"encrypted", append(append([]byte{}, good[:len(good)-4]...), "PARE"...), "encrypted"},
		{"endless footer", append(append([]byte{}, good[:len(good)-8]...), 0xff, 0xff, 0xff, 0x7f, 'P', 'A', 'R', '1'), "footer says"},
	} {
		_, err := openParquet(writeTemp(t, "x.parquet", c.b))
		var fe *FileError
		if !errors.As(err, &fe) || !strings.Contains(fe.Why, c.want) || fe.Hint == "" {
			t.Errorf("%s: %v", c.name, err)
		}
	}
	type nested struct {
		A []int32 `parquet:"a,list"`
	}
	var b bytes.Buffer
	w := pq.NewGenericWriter[nested](&b)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := openParquet(writeTemp(t, "x.parquet", b.Bytes())); err == nil || !strings.Contains(err.Error(), "no column of plain values") {
		t.Errorf("nested only: %v", err)
	}
	if _, err := openParquet(filepath.Join(t.TempDir(), "none.parquet")); err == nil || strings.Count(err.Error(), "none.parquet") != 1 {
		t.Errorf("missing: %v", err)
	}
}

func countRows(r rowReader) (int, error) {
	defer r.Close()
	for n := 0; ; n++ {
		if _, _, err := r.next(); err == io.EOF {
			return n, nil
		} else if err != nil {
			return n, err
		}
	}
}

// damaged reads a damaged file: an error, or as many rows as there were.
func damaged(t testing.TB, name string, b []byte, rows int, open func(string) (rowReader, error), path string) {
	t.Helper()
	if err := os.WriteFile(path, b, 0o600); err != nil {
		t.Fatal(err)
	}
	r, err := open(path)
	if err == nil {
		var got int
		if got, err = countRows(r); err == nil && got != rows {
			t.Errorf("%s: %d rows without an error, want %d", name, got, rows)
		}
	}
	var fe *FileError
	if err != nil && !errors.As(err, &fe) {
		t.Errorf("%s: %T %v", name, err, err)
	}
}

// wreck makes damaged variants of a file: cut at many places, bytes changed.
func wreck(t *testing.T, name string, good []byte, rows, cuts, flips int, open func(string) (rowReader, error)) {
	t.Helper()
	path := filepath.Join(t.TempDir(), "x")
	var before, after runtime.MemStats
	runtime.ReadMemStats(&before)
	for i := range cuts {
		n := len(good) * i / cuts
		damaged(t, fmt.Sprintf("%s cut at %d", name, n), good[:n], rows, open, path)
	}
	rng := rand.New(rand.NewPCG(1, uint64(len(good))))
	for i := range flips {
		b := bytes.Clone(good)
		at := rng.IntN(len(b))
		if i%2 == 0 { // the structure at the end is most of the danger
			at = len(b) - 1 - rng.IntN(min(len(b), 3000))
		}
		for range 1 + rng.IntN(3) {
			b[at] = byte(rng.IntN(256))
			at = min(at+1, len(b)-1)
		}
		damaged(t, fmt.Sprintf("%s variant %d", name, i), b, rows, open, path)
	}
	runtime.ReadMemStats(&after)
	if mb := (after.TotalAlloc - before.TotalAlloc) >> 20 / uint64(cuts+flips); mb > 64 {
		t.Errorf("%s: %d MB allocated a variant", name, mb)
	}
}

func TestParquetDamaged(t *testing.T) {
	t.Parallel()
	rows := samples(400)
	for version := 1; version <= 2; version++ {
		for _, name := range []string{"none", "snappy", "zstd"} {
			b := writeSamples(t, rows, pq.Compression(codecs[name]), pq.DataPageVersion(version), pq.PageBufferSize(1500))
			wreck(t, fmt.Sprintf("%s v%d", name, version), b, len(rows), 30, 60, openParquet)
		}
	}
	b, _ := arrowParquet(t, 400, true, parquet.WithCompression(compress.Compression(format.Lz4Raw)))
	wreck(t, "lz4_raw", b, 400, 30, 120, openParquet)
	b, _ = arrowParquet(t, 400, false, parquet.WithCompression(compress.Codecs.Uncompressed), parquet.WithDictionaryDefault(false))
	wreck(t, "plain", b, 400, 30, 60, openParquet)
}

func FuzzParquet(f *testing.F) {
	rows := samples(40)
	for version := 1; version <= 2; version++ {
		f.Add(writeSamples(f, rows, pq.Compression(&pq.Uncompressed), pq.DataPageVersion(version)))
	}
	f.Add(writeSamples(f, rows, pq.Compression(&pq.Snappy)))
	b, _ := arrowParquet(f, 40, true, parquet.WithCompression(compress.Compression(format.Lz4Raw)))
	f.Add(b)
	b, _ = arrowParquet(f, 40, false)
	f.Add(b)
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, b []byte) {
		path := filepath.Join(dir, fmt.Sprint(os.Getpid()))
		if err := os.WriteFile(path, b, 0o600); err != nil {
			t.Fatal(err)
		}
		r, err := openParquet(path)
		if err != nil {
			var fe *FileError
			if !errors.As(err, &fe) {
				t.Fatalf("%T %v", err, err)
			}
			return
		}
		want := r.(*parquetReader).meta.NumRows
		got, err := countRows(r)
		if err == nil && int64(got) != want {
			t.Fatalf("%d rows without an error, the footer says %d", got, want)
		}
	})
}

func BenchmarkParquet(b *testing.B) {
	type hour struct {
		Home  string    `parquet:"home,dict"`
		Start time.Time `parquet:"start,timestamp(microsecond)"`
		Value float64   `parquet:"concentration"`
	}
	const n = 1 << 20
	rows := make([]hour, n)
	for i := range rows {
		rows[i] = hour{fmt.Sprint(i / 8760), time.UnixMicro(1.7e15 + int64(i%8760)*3600e6), float64(50 + i*7919%101)}
	}
	var out bytes.Buffer
	w := pq.NewGenericWriter[hour](&out, pq.Compression(&pq.Zstd), pq.MaxRowsPerRowGroup(1<<17))
	if _, err := w.Write(rows); err != nil {
		b.Fatal(err)
	}
	if err := w.Close(); err != nil {
		b.Fatal(err)
	}
	path := writeTemp(b, "x.parquet", out.Bytes())
	for b.Loop() {
		r, err := openParquet(path)
		if err != nil {
			b.Fatal(err)
		}
		k := 0
		for {
			if _, _, err := r.next(); err == io.EOF {
				break
			} else if err != nil {
				b.Fatal(err)
			}
			k++
		}
		r.Close()
		if k != n {
			b.Fatal(k)
		}
	}
	b.ReportMetric(n*float64(b.N)/b.Elapsed().Seconds(), "rows/s")
}
