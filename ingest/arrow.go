package ingest

import (
	"errors"
	"fmt"
	"io"
	"math"
	"math/big"
	"os"
	"time"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/ipc"
	"github.com/apache/arrow/go/v17/arrow/memory"
)

// arrowReader reads an Arrow IPC file or stream row by row. Arrow's reader does
// not withstand a damaged file, so the messages are checked before it sees them;
// and it reads a file as the stream that a file holds.
type arrowReader struct {
	path    string
	f       *os.File
	plan    ipcPlan
	stream  *ipc.Reader
	names   []string
	leaves  []int // schema positions of the columns
	ignored []string

	batch  int // records read
	rec    arrow.Record
	at     int    // next row of rec to convert
	row    int    // rows given so far
	cells  []cell // converted rows
	given  int    // cells given out
	broken error
}

func openArrow(path string) (rowReader, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, &FileError{File: path, Why: "cannot be opened: " + plain(err), Hint: "check the name", Err: err}
	}
	r := &arrowReader{path: path, f: f}
	if err := guard(r.open); err != nil {
		f.Close()
		return nil, r.damage(err)
	}
	return r, nil
}

func (r *arrowReader) damage(err error) error {
	var fe *FileError
	if errors.As(err, &fe) {
		return fe
	}
	if errors.Is(err, io.EOF) || errors.Is(err, io.ErrUnexpectedEOF) {
		err = errors.New("it ends too early")
	}
	return &FileError{File: r.path, Why: "not a sound Arrow file: " + err.Error(), Hint: "export the file again", Err: err}
}

func (r *arrowReader) open() error {
	info, err := r.f.Stat()
	if err != nil {
		return err
	}
	if r.plan, err = checkIPC(r.f, info.Size()); err != nil {
		return err
	}
	most := maxPageBytes + 64*int(min(info.Size(), 1<<40))
	stream := io.NewSectionReader(r.f, r.plan.start, r.plan.end-r.plan.start)
	if r.stream, err = ipc.NewReader(stream, ipc.WithAllocator(boundedAllocator{most})); err != nil {
		return err
	}
	for i, f := range r.stream.Schema().Fields() {
		if !readable(f.Type) {
			r.ignored = append(r.ignored, f.Name)
			continue
		}
		r.names = append(r.names, f.Name)
		r.leaves = append(r.leaves, i)
	}
	if len(r.names) == 0 {
		return &FileError{File: r.path, Why: "the file has no column of plain values", Hint: "give a table with one row a reading"}
	}
	return nil
}

// boundedAllocator refuses what a damaged length would have it allocate.
type boundedAllocator struct{ most int }

func (a boundedAllocator) Allocate(n int) []byte {
	if n < 0 || n > a.most {
		panic(fmt.Sprintf("a buffer says it has %d bytes", n))
	}
	return memory.DefaultAllocator.Allocate(n)
}

func (a boundedAllocator) Reallocate(n int, b []byte) []byte {
	if n < 0 || n > a.most {
		panic(fmt.Sprintf("a buffer says it has %d bytes", n))
	}
	return memory.DefaultAllocator.Reallocate(n, b)
}

func (a boundedAllocator) Free(b []byte) { memory.DefaultAllocator.Free(b) }

func readable(t arrow.DataType) bool {
	switch t := t.(type) {
	case *arrow.DictionaryType:
		return readable(t.ValueType) && t.ValueType.ID() != arrow.DICTIONARY
	}
	switch t.ID() {
	case arrow.NULL, arrow.BOOL, arrow.INT8, arrow.INT16, arrow.INT32, arrow.INT64, arrow.UINT8, arrow.UINT16, arrow.UINT32, arrow.UINT64,
		arrow.FLOAT16, arrow.FLOAT32, arrow.FLOAT64, arrow.STRING, arrow.LARGE_STRING, arrow.DATE32, arrow.DATE64,
		arrow.TIMESTAMP, arrow.TIME32, arrow.TIME64, arrow.DECIMAL128, arrow.DECIMAL256:
		return true
	}
	return false
}

func (r *arrowReader) header() []string { return r.names }

func (r *arrowReader) describe(f *File) {
	f.Format = "arrow"
	f.ColumnsIgnored = append(f.ColumnsIgnored, r.ignored...)
}

func (r *arrowReader) Close() error {
	_ = guard(func() error { r.stream.Release(); return nil })
	return r.f.Close()
}

func (r *arrowReader) next() ([]cell, int, error) {
	w := len(r.leaves)
	if r.given == len(r.cells) && r.broken == nil {
		r.cells, r.given = r.cells[:0], 0
		if err := guard(r.fill); err == io.EOF && int64(r.row) == r.plan.rows {
			r.broken = io.EOF
		} else if err != nil {
			r.broken = r.damage(err)
		}
	}
	if r.broken != nil {
		return nil, 0, r.broken
	}
	row := r.cells[r.given : r.given+w]
	r.given += w
	r.row++
	return row, r.row, nil
}

// fill converts the next rows, at most valueBatch of one record.
func (r *arrowReader) fill() error {
	for r.rec == nil || r.at == int(r.rec.NumRows()) {
		if err := r.record(); err != nil {
			return err
		}
	}
	n := min(valueBatch, int(r.rec.NumRows())-r.at)
	w := len(r.leaves)
	if cap(r.cells) < n*w {
		r.cells = make([]cell, 0, valueBatch*w)
	}
	cells := r.cells[:n*w]
	for k, leaf := range r.leaves {
		a := r.rec.Column(leaf)
		if a.Len() != int(r.rec.NumRows()) {
			return fmt.Errorf("column %q has %d values in a batch of %d rows", r.names[k], a.Len(), r.rec.NumRows())
		}
		get := accessor(a)
		for i := range n {
			if a.IsNull(r.at + i) {
				cells[i*w+k] = cell{}
			} else {
				cells[i*w+k] = get(r.at + i)
			}
		}
	}
	r.cells = cells
	r.at += n
	return nil
}

// record fetches the next record batch; it stays good until the one after.
func (r *arrowReader) record() error {
	r.rec, r.at = nil, 0
	if r.batch == r.plan.batches {
		return io.EOF
	}
	if !r.stream.Next() {
		if err := r.stream.Err(); err != nil {
			return err
		}
		return fmt.Errorf("it holds %d batches, but %d can be read", r.plan.batches, r.batch)
	}
	r.rec = r.stream.Record()
	r.batch++
	return nil
}

// accessor gives access to an array's values as cells; nulls are the caller's.
func accessor(a arrow.Array) func(i int) cell {
	number := func(x float64) cell { return cell{kind: cellNumber, num: x} }
	switch a := a.(type) {
	case *array.Dictionary:
		get := accessor(a.Dictionary())
		return func(i int) cell {
			k := a.GetValueIndex(i)
			if a.Dictionary().IsNull(k) {
				return cell{}
			}
			return get(k)
		}
	case *array.Boolean:
		return func(i int) cell {
			if a.Value(i) {
				return cell{kind: cellBool, num: 1}
			}
			return cell{kind: cellBool}
		}
	case *array.Int8:
		return func(i int) cell { return number(float64(a.Value(i))) }
	case *array.Int16:
		return func(i int) cell { return number(float64(a.Value(i))) }
	case *array.Int32:
		return func(i int) cell { return number(float64(a.Value(i))) }
	case *array.Int64:
		return func(i int) cell { return integerCell(a.Value(i)) }
	case *array.Uint8:
		return func(i int) cell { return number(float64(a.Value(i))) }
	case *array.Uint16:
		return func(i int) cell { return number(float64(a.Value(i))) }
	case *array.Uint32:
		return func(i int) cell { return number(float64(a.Value(i))) }
	case *array.Uint64:
		return func(i int) cell { return unsignedCell(a.Value(i)) }
	case *array.Float16:
		return func(i int) cell { return number(float64(a.Value(i).Float32())) }
	case *array.Float32:
		return func(i int) cell { return number(float64(a.Value(i))) }
	case *array.Float64:
		return func(i int) cell { return number(a.Value(i)) }
	case *array.String: // copied: the memory goes with the batch
		w := words{}
		return func(i int) cell { return cell{kind: cellText, text: w.of([]byte(a.Value(i)))} }
	case *array.LargeString:
		w := words{}
		return func(i int) cell { return cell{kind: cellText, text: w.of([]byte(a.Value(i)))} }
	case *array.Date32:
		return func(i int) cell {
			return cell{kind: cellDate, time: time.Unix(int64(a.Value(i))*86400, 0).UTC()}
		}
	case *array.Date64:
		return func(i int) cell {
			return cell{kind: cellDate, time: time.UnixMilli(int64(a.Value(i))).UTC().Truncate(24 * time.Hour)}
		}
	case *array.Timestamp:
		t := a.DataType().(*arrow.TimestampType)
		unit := t.Unit.Multiplier()
		return func(i int) cell { return stampCell(int64(a.Value(i)), unit, t.TimeZone) }
	case *array.Time32:
		unit := a.DataType().(*arrow.Time32Type).Unit.Multiplier()
		return func(i int) cell { return clockCell(time.Duration(a.Value(i)) * unit) }
	case *array.Time64:
		unit := a.DataType().(*arrow.Time64Type).Unit.Multiplier()
		return func(i int) cell { return clockCell(time.Duration(a.Value(i)) * unit) }
	case *array.Decimal128:
		scale := a.DataType().(*arrow.Decimal128Type).Scale
		return func(i int) cell { return scaled(a.Value(i).BigInt(), scale) }
	case *array.Decimal256:
		scale := a.DataType().(*arrow.Decimal256Type).Scale
		return func(i int) cell { return scaled(a.Value(i).BigInt(), scale) }
	}
	return func(int) cell { return cell{} }
}

// scaled is n·10^−scale as the nearest float64.
func scaled(n *big.Int, scale int32) cell {
	if scale < 0 || scale > 76 {
		return cell{}
	}
	if n.IsInt64() && scale <= 22 { // both exact as float64: one rounding, in the division
		if i := n.Int64(); i >= -1<<53 && i <= 1<<53 {
			return cell{kind: cellNumber, num: float64(i) / math.Pow10(int(scale))}
		}
	}
	f, _ := new(big.Rat).SetFrac(n, new(big.Int).Exp(big.NewInt(10), big.NewInt(int64(scale)), nil)).Float64()
	return cell{kind: cellNumber, num: f}
}
