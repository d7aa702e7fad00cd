package ingest

import "errors"

var errThrift = errors.New("the structure of its metadata is damaged")

// checkThrift walks one struct in Thrift's compact protocol (the encoding of
// Parquet's footer and page headers) and returns its length in bytes. It makes
// sure that every declared length fits into what is there: decoders allocate
// what a length says before they find that the file is shorter.
//
// Source: the Apache Thrift compact protocol specification.
func checkThrift(b []byte) (n int, err error) {
	w := thriftWalk{b: b}
	if !w.structure(0) {
		return 0, errThrift
	}
	return w.at, nil
}

type thriftWalk struct {
	b  []byte
	at int
}

func (w *thriftWalk) byte() (byte, bool) {
	if w.at >= len(w.b) {
		return 0, false
	}
	w.at++
	return w.b[w.at-1], true
}

func (w *thriftWalk) varint() (uint64, bool) {
	var u uint64
	for shift := 0; shift < 70; shift += 7 {
		c, ok := w.byte()
		if !ok {
			return 0, false
		}
		u |= uint64(c&0x7f) << shift
		if c < 0x80 {
			return u, true
		}
	}
	return 0, false
}

func (w *thriftWalk) skip(n uint64) bool {
	if n > uint64(len(w.b)-w.at) {
		return false
	}
	w.at += int(n)
	return true
}

func (w *thriftWalk) structure(depth int) bool {
	if depth > 16 { // Parquet's own structures are not half as deep
		return false
	}
	for {
		head, ok := w.byte()
		if !ok {
			return false
		}
		if head == 0 {
			return true
		}
		if head>>4 == 0 { // the field's number follows
			if _, ok := w.varint(); !ok {
				return false
			}
		}
		if kind := head & 15; kind != 1 && kind != 2 && !w.value(kind, depth) { // a bool is in the head itself
			return false
		}
	}
}

func (w *thriftWalk) value(kind byte, depth int) bool {
	switch kind {
	case 1, 2, 3: // bool in a list, byte
		return w.skip(1)
	case 4, 5, 6: // integers
		_, ok := w.varint()
		return ok
	case 7: // double
		return w.skip(8)
	case 8: // bytes
		n, ok := w.varint()
		return ok && w.skip(n)
	case 9, 10: // list, set
		head, ok := w.byte()
		if !ok {
			return false
		}
		n := uint64(head >> 4)
		if n == 15 {
			if n, ok = w.varint(); !ok {
				return false
			}
		}
		if n > uint64(len(w.b)-w.at) { // an element takes a byte at least
			return false
		}
		for range n {
			if !w.value(head&15, depth+1) {
				return false
			}
		}
		return true
	case 12:
		return w.structure(depth + 1)
	}
	return false // maps and what else there is do not occur in Parquet
}
