package ingest

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"math"
	"math/big"
	"math/bits"
	"os"
	"runtime/debug"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/apache/arrow/go/v17/parquet/file"
	pq "github.com/parquet-go/parquet-go"
	"github.com/parquet-go/parquet-go/encoding/thrift"
	"github.com/parquet-go/parquet-go/format"
	"github.com/pierrec/lz4/v4"
)

// Bounds on what a Parquet file may ask for. Writers in use keep pages near a
// megabyte; a damaged length asks for gigabytes.
const (
	maxPageBytes  = 128 << 20 // uncompressed, besides 64 times the compressed size
	maxPageValues = 1 << 24
	maxFooter     = 256 << 20
	valueBatch    = 1024
)

// parquetReader reads the flat columns of a Parquet file row by row. Two
// libraries decode pages: parquet-go, and arrow's for LZ4_RAW, which
// parquet-go decodes to zeros without an error. Neither withstands a damaged
// file, so the footer and each page header are checked before they see them.
type parquetReader struct {
	path    string
	f       *os.File
	size    int64
	meta    *format.FileMetaData
	pages   *pq.File     // nil where arrow's reader is used
	arrow   *file.Reader // nil where parquet-go is used
	names   []string
	columns []*parquetColumn
	ignored []string

	group  int   // row groups opened so far
	left   int64 // rows left in the open one
	row    int64 // rows given so far
	cells  []cell
	broken error
}

// parquetColumn is a cursor over one column.
type parquetColumn struct {
	leaf    int
	name    string
	convert func(pq.Value) cell
	source  valueSource
	buf     []pq.Value
	at, n   int
}

// valueSource gives a column chunk's values in order, nulls included.
type valueSource interface {
	// read fills buf with at least one value, or returns io.EOF at the end.
	read(buf []pq.Value) (int, error)
	close()
}

func openParquet(path string) (rowReader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, &FileError{File: path, Why: "cannot be opened: " + plain(err), Hint: "check the name", Err: err}
	}
	r := &parquetReader{path: path, f: f}
	if err := guard(r.open); err != nil {
		f.Close()
		return nil, r.damage(err)
	}
	return r, nil
}

// plain is an error without the operation and path that os puts before it.
func plain(err error) string {
	var pe *os.PathError
	if errors.As(err, &pe) {
		return pe.Err.Error()
	}
	return err.Error()
}

// guard runs f and makes an error of a panic. Decoders of damaged data may
// also read memory they do not own; that too becomes a panic here.
func guard(f func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if p := recover(); p != nil {
			err = fmt.Errorf("its data cannot be decoded (%v)", p)
		}
	}()
	return f()
}

// damage makes a FileError of what went wrong, unless it is one.
func (r *parquetReader) damage(err error) error {
	var fe *FileError
	if errors.As(err, &fe) {
		return fe
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = errors.New("it ends too early")
	}
	return &FileError{File: r.path, Why: "not a sound Parquet file: " + err.Error(), Hint: "copy or export the file again", Err: err}
}

func (r *parquetReader) refuse(column, why, hint string) error {
	return &FileError{File: r.path, Column: column, Why: why, Hint: hint}
}

func (r *parquetReader) open() error {
	info, err := r.f.Stat()
	if err != nil {
		return err
	}
	r.size = info.Size()
	if r.size < 12 {
		return io.ErrUnexpectedEOF
	}
	var tail [8]byte
	if _, err := r.f.ReadAt(tail[:], r.size-8); err != nil {
		return err
	}
	switch string(tail[4:]) {
	case "PAR1":
	case "PARE":
		return r.refuse("", "the file is encrypted", "export it without encryption")
	default:
		return errors.New("its end is missing")
	}
	length := int64(binary.LittleEndian.Uint32(tail[:4]))
	if length > r.size-12 || length > maxFooter {
		return fmt.Errorf("its footer says it has %d bytes", length)
	}
	footer := make([]byte, length)
	if _, err := r.f.ReadAt(footer, r.size-8-length); err != nil {
		return err
	}
	if _, err := checkThrift(footer); err != nil {
		return err
	}
	pages, err := pq.OpenFile(r.f, r.size, pq.SkipPageIndex(true), pq.SkipBloomFilters(true), pq.FileReadMode(pq.ReadModeSync), pq.ReadBufferSize(64<<10))
	if err != nil {
		return err
	}
	r.pages, r.meta = pages, pages.Metadata()
	if err := r.readSchema(); err != nil {
		return err
	}
	lz4raw, err := r.checkFooter()
	if err != nil {
		return err
	}
	if lz4raw {
		r.pages = nil
		r.arrow, err = file.NewParquetReader(r.f)
		if err != nil {
			return err
		}
		if r.arrow.NumRows() != r.meta.NumRows || r.arrow.NumRowGroups() != len(r.meta.RowGroups) {
			return errors.New("its footer can be read in two ways")
		}
	}
	r.cells = make([]cell, len(r.columns))
	return nil
}

// readSchema finds the flat columns; nested ones cannot be readings' columns.
func (r *parquetReader) readSchema() error {
	schema := r.meta.Schema
	if len(schema) == 0 {
		return errors.New("it has no schema")
	}
	leaf := 0
	for i := 1; i < len(schema); {
		e := &schema[i]
		if e.NumChildren.Valid && e.NumChildren.V > 0 || !e.Type.Valid {
			r.ignored = append(r.ignored, e.Name)
			for rest := 1; rest > 0; i++ {
				if i >= len(schema) {
					return errors.New("its schema is damaged")
				}
				rest--
				if s := &schema[i]; s.Type.Valid {
					leaf++
				} else if s.NumChildren.V < 0 || int(s.NumChildren.V) > len(schema) {
					return errors.New("its schema is damaged")
				} else {
					rest += int(s.NumChildren.V)
				}
			}
			continue
		}
		i++
		convert := converter(e)
		if e.RepetitionType.V == format.Repeated || convert == nil {
			r.ignored = append(r.ignored, e.Name)
		} else {
			r.names = append(r.names, e.Name)
			r.columns = append(r.columns, &parquetColumn{leaf: leaf, name: e.Name, convert: convert, buf: make([]pq.Value, valueBatch)})
		}
		leaf++
	}
	if len(r.columns) == 0 {
		return r.refuse("", "the file has no column of plain values", "give a table with one row a reading")
	}
	for i := range r.meta.RowGroups {
		if n := len(r.meta.RowGroups[i].Columns); n != leaf {
			return fmt.Errorf("row group %d has %d columns, the schema %d", i+1, n, leaf)
		}
	}
	return nil
}

// checkFooter checks what the footer says of rows and places against itself and
// the file's size, and says whether a chunk is compressed with LZ4_RAW.
func (r *parquetReader) checkFooter() (lz4raw bool, err error) {
	var rows int64
	for i := range r.meta.RowGroups {
		g := &r.meta.RowGroups[i]
		if g.NumRows < 0 || g.NumRows > math.MaxInt64-rows {
			return false, fmt.Errorf("row group %d says it has %d rows", i+1, g.NumRows)
		}
		rows += g.NumRows
		for _, c := range r.columns {
			m := &g.Columns[c.leaf].MetaData
			start := m.DataPageOffset
			if m.DictionaryPageOffset > 0 && m.DictionaryPageOffset < start {
				start = m.DictionaryPageOffset
			}
			switch {
			case m.NumValues != g.NumRows:
				return false, fmt.Errorf("column %q has %d values in a row group of %d rows", c.name, m.NumValues, g.NumRows)
			case g.Columns[c.leaf].FilePath != "":
				return false, r.refuse(c.name, "the column's data lie in another file", "write the table as one file")
			case g.NumRows > 0 && (start < 4 || m.TotalCompressedSize < 0 || start > r.size-8 || m.TotalCompressedSize > r.size-8-start):
				return false, fmt.Errorf("column %q lies outside the file", c.name)
			case m.Type != r.schemaType(c.leaf):
				return false, fmt.Errorf("column %q changes its type", c.name)
			}
			switch m.Codec {
			case format.Uncompressed, format.Snappy, format.Gzip, format.Brotli, format.Zstd:
			case format.Lz4Raw:
				lz4raw = true
			default:
				return false, r.refuse(c.name, fmt.Sprintf("compressed with %v, which is not read", m.Codec), "write the file with zstd, snappy, gzip, brotli, lz4_raw or no compression")
			}
		}
	}
	if rows != r.meta.NumRows {
		return false, fmt.Errorf("its row groups hold %d rows, its footer says %d", rows, r.meta.NumRows)
	}
	return lz4raw, nil
}

// schemaType is the physical type the schema gives a leaf.
func (r *parquetReader) schemaType(leaf int) format.Type {
	for i := range r.meta.Schema {
		if e := &r.meta.Schema[i]; e.Type.Valid {
			if leaf == 0 {
				return e.Type.V
			}
			leaf--
		}
	}
	return -1
}

// checkPages walks the page headers of a column chunk: sizes within bounds, and
// as many values as the footer says.
func (r *parquetReader) checkPages(m *format.ColumnMetaData, leaf int) error {
	at, end := m.DataPageOffset, int64(0)
	if m.DictionaryPageOffset > 0 {
		at = m.DictionaryPageOffset // as the page reader takes it
	}
	if at < 4 || m.TotalCompressedSize > r.size-8-at {
		return errors.New("its pages lie outside the file")
	}
	end = at + m.TotalCompressedSize
	var values, words int64
	for values < m.NumValues {
		header, length, err := r.pageHeader(at, end)
		if err != nil {
			return err
		}
		at += length
		if size := int64(header.CompressedPageSize); size < 0 || size > end-at {
			return fmt.Errorf("a page says it has %d bytes", size)
		}
		if u := int64(header.UncompressedPageSize); u < 0 || u > maxPageBytes+64*int64(header.CompressedPageSize) {
			return fmt.Errorf("a page says it has %d bytes uncompressed", u)
		}
		n := int64(0)
		switch {
		case header.Type == format.DataPage && header.DataPageHeader.Valid:
			n = int64(header.DataPageHeader.V.NumValues)
			values += n
		case header.Type == format.DataPageV2 && header.DataPageHeaderV2.Valid:
			h := &header.DataPageHeaderV2.V
			n = int64(h.NumValues)
			if h.NumRows != h.NumValues || h.NumNulls < 0 || h.NumNulls > h.NumValues {
				return fmt.Errorf("a page says it has %d values in %d rows, %d null", h.NumValues, h.NumRows, h.NumNulls)
			}
			if l := int64(h.RepetitionLevelsByteLength) + int64(h.DefinitionLevelsByteLength); h.RepetitionLevelsByteLength < 0 || h.DefinitionLevelsByteLength < 0 || l > int64(header.CompressedPageSize) {
				return errors.New("a page's levels are longer than the page")
			}
			values += n
		case header.Type == format.DictionaryPage && header.DictionaryPageHeader.Valid:
			n = int64(header.DictionaryPageHeader.V.NumValues)
			if n > int64(header.UncompressedPageSize)*8 {
				return fmt.Errorf("a dictionary says it has %d values", n)
			}
			words = n
		case header.Type == format.IndexPage:
		default:
			return errors.New("a page has no proper header")
		}
		if n < 0 || n > maxPageValues {
			return fmt.Errorf("a page says it has %d values", n)
		}
		if r.arrow != nil {
			if err := r.checkIndices(header, m, leaf, at, words); err != nil {
				return err
			}
		}
		at += int64(header.CompressedPageSize)
	}
	if values != m.NumValues {
		return fmt.Errorf("its pages hold %d values, the footer says %d", values, m.NumValues)
	}
	return nil
}

// plainDictionary is the older name of RLEDictionary in data pages, which files
// of version 1 still use.
const plainDictionary format.Encoding = 2

// checkIndices looks at the width of the indices into a dictionary of so many
// words: arrow's reader makes room for the index it meets before it finds that
// the dictionary is shorter, sixteen gigabytes for a damaged one.
func (r *parquetReader) checkIndices(header *format.PageHeader, m *format.ColumnMetaData, leaf int, at, words int64) error {
	body := make([]byte, header.CompressedPageSize)
	if _, err := r.f.ReadAt(body, at); err != nil {
		return err
	}
	var encoding format.Encoding
	compressed, levels := true, 0
	switch {
	case header.DataPageHeader.Valid:
		encoding = header.DataPageHeader.V.Encoding
	case header.DataPageHeaderV2.Valid:
		h := &header.DataPageHeaderV2.V
		encoding, compressed = h.Encoding, !h.IsCompressed.Valid || h.IsCompressed.V
		body = body[h.RepetitionLevelsByteLength+h.DefinitionLevelsByteLength:]
	default:
		return nil
	}
	if encoding != format.RLEDictionary && encoding != plainDictionary {
		return nil
	}
	if compressed && m.Codec != format.Uncompressed && len(body) > 0 {
		codec, err := compress.GetCodec(compress.Compression(m.Codec))
		if err != nil {
			return err
		}
		size := int64(header.UncompressedPageSize)
		if h := header.DataPageHeaderV2; h.Valid {
			size -= int64(h.V.RepetitionLevelsByteLength) + int64(h.V.DefinitionLevelsByteLength)
		}
		if size < 0 {
			return errors.New("a page's levels are longer than the page")
		}
		body = codec.Decode(make([]byte, size), body) // a panic is the caller's guard's
	}
	if header.DataPageHeader.Valid && r.arrow.MetaData().Schema.Column(leaf).MaxDefinitionLevel() > 0 {
		if len(body) < 4 {
			return errors.New("a page is too short for its levels")
		}
		levels = 4 + int(binary.LittleEndian.Uint32(body))
		if levels < 4 || levels > len(body) {
			return errors.New("a page's levels are longer than the page")
		}
	}
	if body = body[levels:]; len(body) == 0 {
		return nil // every value is null
	}
	if need := bits.Len64(uint64(max(words, 1) - 1)); int(body[0]) > need+1 {
		return fmt.Errorf("a page's indices have %d bits for a dictionary of %d values", body[0], words)
	}
	return nil
}

// pageHeader reads the page header at an offset, and its length.
func (r *parquetReader) pageHeader(at, end int64) (*format.PageHeader, int64, error) {
	for size := int64(512); ; size *= 8 {
		b := make([]byte, min(size, end-at))
		if _, err := r.f.ReadAt(b, at); err != nil {
			return nil, 0, err
		}
		n, err := checkThrift(b)
		if err != nil {
			if int64(len(b)) < end-at && size < 1<<20 {
				continue // statistics in a header can be long
			}
			return nil, 0, err
		}
		header := new(format.PageHeader)
		var p thrift.CompactProtocol
		if err := thrift.Unmarshal(&p, b[:n], header); err != nil {
			return nil, 0, err
		}
		return header, int64(n), nil
	}
}

func (r *parquetReader) header() []string { return r.names }

func (r *parquetReader) describe(f *File) {
	f.Format = "parquet"
	f.ColumnsIgnored = append(f.ColumnsIgnored, r.ignored...)
}

func (r *parquetReader) Close() error {
	for _, c := range r.columns {
		c.shut()
	}
	return r.f.Close()
}

func (c *parquetColumn) shut() {
	if s := c.source; s != nil {
		c.source = nil
		_ = guard(func() error { s.close(); return nil })
	}
}

func (r *parquetReader) next() ([]cell, int, error) {
	if r.broken != nil {
		return nil, 0, r.broken
	}
	for r.left == 0 {
		if r.group == len(r.meta.RowGroups) {
			r.broken = io.EOF
			return nil, 0, io.EOF
		}
		if err := guard(r.openGroup); err != nil {
			r.broken = r.damage(err)
			return nil, 0, r.broken
		}
	}
	for i, c := range r.columns {
		if c.at == c.n {
			if err := guard(func() error { return c.fill(r.left) }); err != nil {
				r.broken = r.damage(fmt.Errorf("column %q, row %d: %w", c.name, r.row+1, err))
				return nil, 0, r.broken
			}
		}
		r.cells[i] = c.convert(c.buf[c.at])
		c.at++
	}
	r.left--
	r.row++
	return r.cells, int(r.row), nil
}

// openGroup starts the next row group.
func (r *parquetReader) openGroup() error {
	g := &r.meta.RowGroups[r.group]
	for _, c := range r.columns {
		c.shut()
		c.at, c.n = 0, 0
		if g.NumRows == 0 {
			continue
		}
		if err := r.checkPages(&g.Columns[c.leaf].MetaData, c.leaf); err != nil {
			return fmt.Errorf("column %q, row group %d: %w", c.name, r.group+1, err)
		}
		if r.pages != nil {
			c.source = &pageValues{pages: r.pages.RowGroups()[r.group].ColumnChunks()[c.leaf].Pages()}
			continue
		}
		chunk, err := r.arrow.RowGroup(r.group).Column(c.leaf)
		if err != nil {
			return fmt.Errorf("column %q, row group %d: %w", c.name, r.group+1, err)
		}
		c.source = &arrowValues{chunk: chunk, optional: chunk.Descriptor().MaxDefinitionLevel() > 0}
	}
	r.group++
	r.left = g.NumRows
	return nil
}

// fill decodes more values; left is how many the row group still owes.
func (c *parquetColumn) fill(left int64) error {
	n, err := c.source.read(c.buf[:min(int64(len(c.buf)), left)])
	if n > 0 {
		c.at, c.n = 0, n
		return nil
	}
	if err == nil || err == io.EOF {
		return fmt.Errorf("%d values are missing", left)
	}
	return err
}

// pageValues reads a column chunk through parquet-go.
type pageValues struct {
	pages  pq.Pages
	page   pq.Page
	values pq.ValueReader
	left   int64 // values of the page not yet read
}

func (s *pageValues) read(buf []pq.Value) (int, error) {
	for {
		if s.values == nil {
			page, err := s.pages.ReadPage()
			if err != nil {
				return 0, err
			}
			s.page, s.values, s.left = page, page.Values(), page.NumValues()
		}
		n, err := s.values.ReadValues(buf[:min(int64(len(buf)), s.left)])
		s.left -= int64(n)
		if n > 0 {
			return n, nil
		}
		if s.left > 0 {
			if err == nil || err == io.EOF {
				err = fmt.Errorf("%d values of a page are missing", s.left)
			}
			return 0, err
		}
		if err != nil && err != io.EOF {
			return 0, err
		}
		pq.Release(s.page)
		s.page, s.values = nil, nil
	}
}

func (s *pageValues) close() {
	if s.page != nil {
		pq.Release(s.page)
	}
	s.pages.Close()
}

// arrowValues reads a column chunk through arrow's reader.
type arrowValues struct {
	chunk    file.ColumnChunkReader
	optional bool
	levels   [valueBatch]int16
}

func (s *arrowValues) close() {}

func (s *arrowValues) read(buf []pq.Value) (int, error) {
	switch c := s.chunk.(type) {
	case *file.BooleanColumnChunkReader:
		return readArrow(s, buf, c.ReadBatch, pq.BooleanValue)
	case *file.Int32ColumnChunkReader:
		return readArrow(s, buf, c.ReadBatch, pq.Int32Value)
	case *file.Int64ColumnChunkReader:
		return readArrow(s, buf, c.ReadBatch, pq.Int64Value)
	case *file.Float32ColumnChunkReader:
		return readArrow(s, buf, c.ReadBatch, pq.FloatValue)
	case *file.Float64ColumnChunkReader:
		return readArrow(s, buf, c.ReadBatch, pq.DoubleValue)
	case *file.Int96ColumnChunkReader:
		return readArrow(s, buf, c.ReadBatch, func(v parquet.Int96) pq.Value {
			var w [3]uint32
			for i := range w {
				w[i] = binary.LittleEndian.Uint32(v[4*i:])
			}
			return pq.Int96Value(w)
		})
	case *file.ByteArrayColumnChunkReader:
		return readArrow(s, buf, c.ReadBatch, func(v parquet.ByteArray) pq.Value { return pq.ByteArrayValue(v) })
	case *file.FixedLenByteArrayColumnChunkReader:
		return readArrow(s, buf, c.ReadBatch, func(v parquet.FixedLenByteArray) pq.Value { return pq.FixedLenByteArrayValue(v) })
	}
	return 0, fmt.Errorf("values of type %v are not read", s.chunk.Type())
}

func readArrow[T any](s *arrowValues, buf []pq.Value, batch func(int64, []T, []int16, []int16) (int64, int, error), value func(T) pq.Value) (int, error) {
	var some [valueBatch]T
	levels := s.levels[:len(buf)]
	if !s.optional {
		levels = nil
	}
	n, k, err := batch(int64(len(buf)), some[:len(buf)], levels, nil)
	if err != nil {
		return 0, err
	}
	if n < 0 || n > int64(len(buf)) || k < 0 || int64(k) > n || !s.optional && int64(k) != n {
		return 0, fmt.Errorf("%d values read where there are %d", k, n)
	}
	if n == 0 {
		if err := s.chunk.Err(); err != nil {
			return 0, err
		}
		return 0, io.EOF
	}
	j := 0
	for i := range int(n) {
		if s.optional && levels[i] == 0 {
			buf[i] = pq.NullValue()
			continue
		}
		if j == k {
			return 0, fmt.Errorf("%d values read where more are declared", k)
		}
		buf[i] = value(some[j])
		j++
	}
	if j != k {
		return 0, fmt.Errorf("%d values read where %d are declared", k, j)
	}
	return int(n), nil
}

// converter makes cells of a column's values by its logical type; nil where
// such values cannot be part of a reading.
func converter(e *format.SchemaElement) func(pq.Value) cell {
	some := func(f func(pq.Value) cell) func(pq.Value) cell {
		return func(v pq.Value) cell {
			if v.IsNull() {
				return cell{}
			}
			return f(v)
		}
	}
	logical := e.LogicalType.Value
	converted := -1
	if e.ConvertedType.Valid {
		converted = int(e.ConvertedType.V)
	}
	if d, ok := logical.(*format.DecimalType); ok {
		return some(decimal(e.Type.V, d.Scale))
	}
	if logical == nil && converted == convertedDecimal {
		return some(decimal(e.Type.V, e.Scale.V))
	}
	switch e.Type.V {
	case format.Boolean:
		return some(func(v pq.Value) cell {
			if v.Boolean() {
				return cell{kind: cellBool, num: 1}
			}
			return cell{kind: cellBool}
		})
	case format.Int32:
		_, date := logical.(*format.DateType)
		i, integer := logical.(*format.IntType)
		_, clock := logical.(*format.TimeType)
		switch {
		case date || converted == convertedDate:
			return some(func(v pq.Value) cell {
				return cell{kind: cellDate, time: time.Unix(int64(v.Int32())*86400, 0).UTC()}
			})
		case clock || converted == convertedTimeMillis:
			return some(func(v pq.Value) cell { return clockCell(time.Duration(v.Int32()) * time.Millisecond) })
		case integer && !i.IsSigned || logical == nil && converted >= convertedUint8 && converted <= convertedUint32:
			return some(func(v pq.Value) cell { return cell{kind: cellNumber, num: float64(uint32(v.Int32()))} })
		}
		return some(func(v pq.Value) cell { return cell{kind: cellNumber, num: float64(v.Int32())} })
	case format.Int64:
		i, integer := logical.(*format.IntType)
		c, clock := logical.(*format.TimeType)
		t, stamp := logical.(*format.TimestampType)
		switch {
		case stamp:
			zone := ""
			if t.IsAdjustedToUTC {
				zone = "UTC"
			}
			unit := unitOf(t.Unit)
			return some(func(v pq.Value) cell { return stampCell(v.Int64(), unit, zone) })
		case logical == nil && converted == convertedTimestampMillis:
			return some(func(v pq.Value) cell { return stampCell(v.Int64(), time.Millisecond, "UTC") })
		case logical == nil && converted == convertedTimestampMicros:
			return some(func(v pq.Value) cell { return stampCell(v.Int64(), time.Microsecond, "UTC") })
		case clock:
			unit := unitOf(c.Unit)
			return some(func(v pq.Value) cell { return clockCell(time.Duration(v.Int64()) * unit) })
		case logical == nil && converted == convertedTimeMicros:
			return some(func(v pq.Value) cell { return clockCell(time.Duration(v.Int64()) * time.Microsecond) })
		case integer && !i.IsSigned || logical == nil && converted == convertedUint64:
			return some(func(v pq.Value) cell { return unsignedCell(uint64(v.Int64())) })
		}
		return some(func(v pq.Value) cell { return integerCell(v.Int64()) })
	case format.Int96:
		// An older timestamp: nanoseconds of the day, then the Julian day. It
		// says nothing of a zone.
		return some(func(v pq.Value) cell {
			w := v.Int96()
			days := int64(w[2]) - 2440588 // the Julian day of 1970-01-01
			return cell{kind: cellTime, time: time.Unix(days*86400, int64(uint64(w[1])<<32|uint64(w[0]))).UTC()}
		})
	case format.Float:
		return some(func(v pq.Value) cell { return cell{kind: cellNumber, num: float64(v.Float())} })
	case format.Double:
		return some(func(v pq.Value) cell { return cell{kind: cellNumber, num: v.Double()} })
	case format.ByteArray:
		switch logical.(type) {
		case nil, *format.StringType, *format.EnumType, *format.JsonType:
		default:
			return nil
		}
		w := words{}
		return some(func(v pq.Value) cell { return cell{kind: cellText, text: w.of(v.ByteArray())} })
	case format.FixedLenByteArray:
		if converted == convertedInterval {
			return nil
		}
		switch logical.(type) {
		case *format.Float16Type:
			return some(func(v pq.Value) cell {
				if b := v.ByteArray(); len(b) == 2 {
					return cell{kind: cellNumber, num: halfFloat(binary.LittleEndian.Uint16(b))}
				}
				return cell{}
			})
		case *format.UUIDType:
			return some(func(v pq.Value) cell {
				b := v.ByteArray()
				if len(b) != 16 {
					return cell{}
				}
				return cell{kind: cellText, text: fmt.Sprintf("%x-%x-%x-%x-%x", b[:4], b[4:6], b[6:8], b[8:10], b[10:])}
			})
		case nil:
			w := words{}
			return some(func(v pq.Value) cell {
				return cell{kind: cellText, text: w.of(bytes.TrimRight(v.ByteArray(), "\x00"))}
			})
		}
	}
	return nil
}

// Converted types, the older form of logical types (Parquet format,
// parquet.thrift, enum ConvertedType).
const (
	convertedDecimal         = 5
	convertedDate            = 6
	convertedTimeMillis      = 7
	convertedTimeMicros      = 8
	convertedTimestampMillis = 9
	convertedTimestampMicros = 10
	convertedUint8           = 11
	convertedUint32          = 13
	convertedUint64          = 14
	convertedInterval        = 21
)

func unitOf(u format.TimeUnit) time.Duration {
	switch u.Value.(type) {
	case *format.MilliSeconds:
		return time.Millisecond
	case *format.MicroSeconds:
		return time.Microsecond
	}
	return time.Nanosecond
}

// stampCell is an instant a number of units after 1970.
func stampCell(n int64, unit time.Duration, zone string) cell {
	perSecond := int64(time.Second / unit)
	seconds, rest := n/perSecond, n%perSecond
	return cell{kind: cellTime, time: time.Unix(seconds, rest*int64(unit)).UTC(), zone: zone}
}

// clockCell is a time of day, as text.
func clockCell(d time.Duration) cell {
	if d < 0 || d >= 24*time.Hour {
		return cell{}
	}
	return cell{kind: cellText, text: time.Time{}.Add(d).Format("15:04:05.999999999")}
}

// integerCell keeps the digits of numbers that a float64 cannot hold: they are
// identifiers.
func integerCell(n int64) cell {
	if n > 1<<53 || n < -1<<53 {
		return cell{kind: cellText, text: strconv.FormatInt(n, 10)}
	}
	return cell{kind: cellNumber, num: float64(n)}
}

func unsignedCell(n uint64) cell {
	if n > 1<<53 {
		return cell{kind: cellText, text: strconv.FormatUint(n, 10)}
	}
	return cell{kind: cellNumber, num: float64(n)}
}

// decimal reads unscaled integers, in binary from the highest byte where they
// are bytes.
func decimal(t format.Type, scale int32) func(pq.Value) cell {
	number := func(n *big.Int) cell { return scaled(n, scale) }
	return func(v pq.Value) cell {
		switch t {
		case format.Int32:
			return number(big.NewInt(int64(v.Int32())))
		case format.Int64:
			return number(big.NewInt(v.Int64()))
		case format.ByteArray, format.FixedLenByteArray:
			b := v.ByteArray()
			if len(b) == 0 || len(b) > 64 {
				return cell{}
			}
			n := new(big.Int).SetBytes(b)
			if b[0] >= 0x80 {
				n.Sub(n, new(big.Int).Lsh(big.NewInt(1), uint(8*len(b))))
			}
			return number(n)
		}
		return cell{}
	}
}

// halfFloat widens a half-precision number (IEEE 754).
func halfFloat(h uint16) float64 {
	sign, exp, frac := 1.0, int(h>>10&31), float64(h&1023)
	if h>>15 == 1 {
		sign = -1
	}
	switch exp {
	case 0:
		return sign * math.Ldexp(frac, -24)
	case 31:
		if frac == 0 {
			return math.Inf(int(sign))
		}
		return math.NaN()
	}
	return sign * math.Ldexp(1+frac/1024, exp-15)
}

// words makes strings of bytes, one string for equal words where there are few.
type words struct {
	last string
	seen map[string]string
}

func (w *words) of(b []byte) string {
	if string(b) == w.last {
		return w.last
	}
	s, ok := w.seen[string(b)]
	if !ok {
		s = string(b)
		if !utf8.ValidString(s) {
			s = strings.ToValidUTF8(s, "\uFFFD")
		}
		if w.seen == nil {
			w.seen = map[string]string{}
		}
		if len(w.seen) < 1<<14 && len(b) < 256 {
			w.seen[string(b)] = s
		}
	}
	w.last = s
	return s
}

// arrow's reader knows LZ4_RAW by name only.
func init() { compress.RegisterCodec(compress.Compression(format.Lz4Raw), lz4Raw{}) }

// lz4Raw is LZ4 blocks without a frame.
type lz4Raw struct{}

func (lz4Raw) NewReader(r io.Reader) io.ReadCloser {
	src, err := io.ReadAll(r)
	if err != nil {
		return io.NopCloser(failedReader{err})
	}
	return io.NopCloser(bytes.NewReader(lz4Raw{}.Decode(nil, src)))
}

type failedReader struct{ err error }

func (f failedReader) Read([]byte) (int, error) { return 0, f.err }

func (c lz4Raw) NewWriter(w io.Writer) io.WriteCloser { return &lz4Writer{w: w} }

func (c lz4Raw) NewWriterLevel(w io.Writer, _ int) (io.WriteCloser, error) {
	return c.NewWriter(w), nil
}

func (lz4Raw) CompressBound(n int64) int64 { return int64(lz4.CompressBlockBound(int(n))) }

func (c lz4Raw) EncodeLevel(dst, src []byte, _ int) []byte { return c.Encode(dst, src) }

func (c lz4Raw) Encode(dst, src []byte) []byte {
	if n := lz4.CompressBlockBound(len(src)); len(dst) < n {
		dst = make([]byte, n)
	}
	n, err := lz4.CompressBlock(src, dst, nil)
	if err != nil {
		panic(err)
	}
	if n == 0 { // not compressible: a block of literals
		return literals(src)
	}
	return dst[:n]
}

// literals is an LZ4 block that holds src as it is (LZ4 block format: token,
// length beyond 15 in bytes of up to 255, then the bytes).
func literals(src []byte) []byte {
	out := []byte{byte(min(len(src), 15)) << 4}
	if rest := len(src) - 15; rest >= 0 {
		for ; rest >= 255; rest -= 255 {
			out = append(out, 255)
		}
		out = append(out, byte(rest))
	}
	return append(out, src...)
}

// Decode fills dst, which arrow makes as long as the page header says. The
// reader's guard catches the panic, as with arrow's own codecs.
func (lz4Raw) Decode(dst, src []byte) []byte {
	if len(src) == 0 {
		return dst[:0]
	}
	size := len(dst)
	if size == 0 {
		size = 255*len(src) + 16
		dst = make([]byte, size)
	}
	n, err := lz4.UncompressBlock(src, dst)
	if err != nil {
		panic(err)
	}
	return dst[:n]
}

type lz4Writer struct {
	w io.Writer
	b []byte
}

func (l *lz4Writer) Write(p []byte) (int, error) {
	l.b = append(l.b, p...)
	return len(p), nil
}

func (l *lz4Writer) Close() error {
	_, err := l.w.Write(lz4Raw{}.Encode(nil, slices.Clone(l.b)))
	return err
}
