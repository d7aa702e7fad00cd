package ingest

import (
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// ipcPlan is what walking an IPC stream found: where it lies and how many
// record batches it holds.
type ipcPlan struct {
	start, end int64
	batches    int
	rows       int64
}

// checkIPC walks the messages of an IPC file or stream and makes sure that each
// length they declare fits into the file: the reader allocates what a length
// says. A file is a stream between its magic bytes and a footer; the footer
// must count as many batches as the stream holds.
//
// Source: Apache Arrow, "Columnar format", sections on the IPC streaming and
// file formats and the schemas Message.fbs, Schema.fbs and File.fbs.
func checkIPC(r io.ReaderAt, size int64) (ipcPlan, error) {
	p := ipcPlan{end: size}
	var footer flat
	var magic [6]byte
	if _, err := r.ReadAt(magic[:], 0); err != nil {
		return p, err
	}
	if string(magic[:]) == "ARROW1" {
		var tail [10]byte
		if size < 8+10 {
			return p, io.ErrUnexpectedEOF
		}
		if _, err := r.ReadAt(tail[:], size-10); err != nil {
			return p, err
		}
		if string(tail[4:]) != "ARROW1" {
			return p, errors.New("its end is missing")
		}
		n := int64(int32(binary.LittleEndian.Uint32(tail[:4])))
		if n <= 0 || n > size-18 || n > maxFooter {
			return p, fmt.Errorf("its footer says it has %d bytes", n)
		}
		footer = make(flat, n)
		if _, err := r.ReadAt(footer, size-10-n); err != nil {
			return p, err
		}
		p.start, p.end = 8, size-10-n
	}
	at := p.start
	for n := 0; ; n++ {
		if p.end-at < 4 {
			if footer != nil { // the footer counts the batches; not all writers end the stream too
				break
			}
			return p, errors.New("the mark at the end of its stream is missing: rows may be")
		}
		var head [8]byte
		if _, err := r.ReadAt(head[:min(8, p.end-at)], at); err != nil {
			return p, err
		}
		length := int64(int32(binary.LittleEndian.Uint32(head[:4])))
		at += 4
		if length == -1 { // the mark of messages since format version 0.15
			length = int64(int32(binary.LittleEndian.Uint32(head[4:])))
			if at += 4; at > p.end {
				return p, io.ErrUnexpectedEOF
			}
		}
		if length == 0 {
			p.end = at
			break
		}
		if length < 0 || length > p.end-at || length > maxFooter {
			return p, fmt.Errorf("message %d says it has %d bytes", n+1, length)
		}
		b := make(flat, length)
		if _, err := r.ReadAt(b, at); err != nil {
			return p, err
		}
		at += length
		kind, rows, body, err := b.message()
		if err != nil {
			return p, fmt.Errorf("message %d: %w", n+1, err)
		}
		if body > p.end-at {
			return p, fmt.Errorf("message %d says it has a body of %d bytes", n+1, body)
		}
		if (kind == ipcSchema) != (n == 0) {
			return p, errors.New("its schema is not its first message")
		}
		at += body
		if kind == ipcBatch {
			p.batches++
			p.rows += rows
		}
	}
	if footer != nil {
		root, ok := footer.root()
		if !ok {
			return p, errFlat
		}
		_, n, ok := footer.vector(root, 3, 24) // recordBatches, of struct Block
		if !ok {
			return p, errFlat
		}
		if n != p.batches {
			return p, fmt.Errorf("its footer counts %d batches, its stream %d", n, p.batches)
		}
	}
	return p, nil
}

// The kinds of message (Message.fbs, union MessageHeader).
const (
	ipcSchema     = 1
	ipcDictionary = 2
	ipcBatch      = 3
)

var errFlat = errors.New("the structure of its metadata is damaged")

// flat is a FlatBuffer, read with every offset checked.
//
// Source: FlatBuffers, "Internals".
type flat []byte

func (b flat) uint(at, size int) (uint64, bool) {
	if at < 0 || size > len(b) || at > len(b)-size {
		return 0, false
	}
	var u uint64
	for i := range size {
		u |= uint64(b[at+i]) << (8 * i)
	}
	return u, true
}

// follow adds the offset that stands at a place to that place.
func (b flat) follow(at int) (int, bool) {
	u, ok := b.uint(at, 4)
	if !ok || u > uint64(len(b)-at) {
		return 0, false
	}
	return at + int(u), true
}

func (b flat) root() (int, bool) {
	at, ok := b.follow(0)
	return at, ok && b.table(at)
}

// table says whether a table with a sound vtable starts here.
func (b flat) table(at int) bool {
	vt, size, ok := b.vtable(at)
	return ok && size >= 4 && size%2 == 0 && size <= len(b)-vt
}

func (b flat) vtable(at int) (vt, size int, ok bool) {
	u, ok := b.uint(at, 4)
	if !ok {
		return 0, 0, false
	}
	vt = at - int(int32(u))
	n, ok := b.uint(vt, 2)
	return vt, int(n), ok
}

// field is the place of a table's field, 0 if it is absent.
func (b flat) field(table, i, size int) (at int, ok bool) {
	vt, n, ok := b.vtable(table)
	if !ok {
		return 0, false
	}
	if 4+2*i+2 > n {
		return 0, true
	}
	off, ok := b.uint(vt+4+2*i, 2)
	if !ok {
		return 0, false
	}
	if off == 0 {
		return 0, true
	}
	_, ok = b.uint(table+int(off), size)
	return table + int(off), ok
}

// vector is the first element and length of a vector field, 0 if absent.
func (b flat) vector(table, i, size int) (at, n int, ok bool) {
	f, ok := b.field(table, i, 4)
	if !ok || f == 0 {
		return 0, 0, ok
	}
	at, ok = b.follow(f)
	if !ok {
		return 0, 0, false
	}
	u, ok := b.uint(at, 4)
	if !ok || u > uint64(len(b)-at-4)/uint64(size) {
		return 0, 0, false
	}
	return at + 4, int(u), true
}

// child is the table a field points to, 0 if absent.
func (b flat) child(table, i int) (at int, ok bool) {
	f, ok := b.field(table, i, 4)
	if !ok || f == 0 {
		return 0, ok
	}
	at, ok = b.follow(f)
	return at, ok && b.table(at)
}

// message checks a Message and says its kind, the rows of a record batch and
// the length of the body that follows.
func (b flat) message() (kind int, rows, body int64, err error) {
	fail := func() (int, int64, int64, error) { return 0, 0, 0, errFlat }
	root, ok := b.root()
	if !ok {
		return fail()
	}
	k, ok1 := b.field(root, 1, 1)
	l, ok2 := b.field(root, 3, 8)
	header, ok3 := b.child(root, 2)
	if !(ok1 && ok2 && ok3) || k == 0 || header == 0 || !b.keyValues(root, 4) {
		return fail()
	}
	kind = int(b[k])
	if l != 0 {
		u, _ := b.uint(l, 8)
		body = int64(u)
	}
	if body < 0 {
		return fail()
	}
	switch kind {
	case ipcSchema:
		budget := 1 << 16
		if !b.fields(header, 1, 0, &budget) || !b.keyValues(header, 2) {
			return fail()
		}
	case ipcDictionary:
		data, ok := b.child(header, 1)
		if !ok || data == 0 {
			return fail()
		}
		_, ok = b.batch(data, body)
		if !ok {
			return fail()
		}
	case ipcBatch:
		if rows, ok = b.batch(header, body); !ok {
			return fail()
		}
	default:
		return 0, 0, 0, fmt.Errorf("kind %d holds no table", kind)
	}
	return kind, rows, body, nil
}

// fields checks a vector of Field, children included. Offsets may make many
// parents share a child, so the number of visits is bounded.
func (b flat) fields(table, i, depth int, budget *int) bool {
	at, n, ok := b.vector(table, i, 4)
	if !ok || depth > 32 {
		return false
	}
	for k := range n {
		if *budget--; *budget < 0 {
			return false
		}
		f, ok := b.follow(at + 4*k)
		if !ok || !b.table(f) {
			return false
		}
		if _, _, ok = b.vector(f, 0, 1); !ok { // the name
			return false
		}
		if _, ok = b.child(f, 3); !ok { // the type
			return false
		}
		if _, ok = b.child(f, 4); !ok { // the dictionary
			return false
		}
		if !b.fields(f, 5, depth+1, budget) || !b.keyValues(f, 6) {
			return false
		}
	}
	return true
}

func (b flat) keyValues(table, i int) bool {
	at, n, ok := b.vector(table, i, 4)
	if !ok {
		return false
	}
	for k := range n {
		kv, ok := b.follow(at + 4*k)
		if !ok || !b.table(kv) {
			return false
		}
		for j := range 2 {
			if _, _, ok := b.vector(kv, j, 1); !ok {
				return false
			}
		}
	}
	return true
}

// batch checks a RecordBatch against the length of its body.
func (b flat) batch(table int, body int64) (rows int64, ok bool) {
	f, ok := b.field(table, 0, 8)
	if !ok {
		return 0, false
	}
	if f != 0 {
		u, _ := b.uint(f, 8)
		rows = int64(u)
	}
	if rows < 0 || rows > 8*maxPageValues {
		return 0, false
	}
	at, n, ok := b.vector(table, 1, 16)
	if !ok {
		return 0, false
	}
	for k := range n {
		length, _ := b.uint(at+16*k, 8)
		nulls, _ := b.uint(at+16*k+8, 8)
		if length > 64*maxPageValues || nulls > length {
			return 0, false
		}
	}
	at, n, ok = b.vector(table, 2, 16)
	if !ok {
		return 0, false
	}
	for k := range n {
		offset, _ := b.uint(at+16*k, 8)
		length, _ := b.uint(at+16*k+8, 8)
		if offset > uint64(body) || length > uint64(body)-offset {
			return 0, false
		}
	}
	_, ok = b.child(table, 3)
	return rows, ok
}
