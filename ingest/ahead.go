package ingest

import "io"

// ahead reads a file in a goroutine of its own, some rows ahead of who makes
// readings of them: getting at rows and settling values take about as long, and
// either can have a processor.
type ahead struct {
	src    rowReader
	begun  File // what the reader knew before the first row
	full   chan *rows
	free   chan *rows
	stop   chan struct{}
	now    *rows
	at     int
	done   bool // the goroutine has ended, and its last row was given out
	closed bool
}

// rows is a stretch of rows. Their texts are strings of their own, so only the
// slices that held them are copied.
type rows struct {
	cells []cell // of all rows, one after another
	row   []aheadRow
}

type aheadRow struct {
	end  int // of its cells
	line int
	raw  string
	err  error
}

const aheadRows = 512

// readAhead starts reading; nothing else may use rd until the end of the rows,
// but Close.
func readAhead(rd rowReader) *ahead {
	a := &ahead{src: rd, full: make(chan *rows), free: make(chan *rows, 3), stop: make(chan struct{}), now: &rows{}}
	rd.describe(&a.begun)
	a.free <- &rows{}
	a.free <- &rows{}
	go a.run()
	return a
}

func (a *ahead) run() {
	defer close(a.full)
	text, isText := a.src.(*csvReader)
	for {
		var r *rows
		select {
		case r = <-a.free:
		case <-a.stop:
			return
		}
		r.cells, r.row = r.cells[:0], r.row[:0]
		last := false
		for len(r.row) < aheadRows && !last {
			cells, line, err := a.src.next()
			r.cells = append(r.cells, cells...)
			raw := ""
			if isText {
				raw = text.raw()
			}
			r.row = append(r.row, aheadRow{len(r.cells), line, raw, err})
			if err != nil {
				_, more := err.(RowError)
				last = !more
			}
		}
		select {
		case a.full <- r:
		case <-a.stop:
			return
		}
		if last {
			return
		}
	}
}

func (a *ahead) next() ([]cell, int, error) {
	if a.at == len(a.now.row) {
		if cap(a.now.row) > 0 {
			a.free <- a.now
		}
		r, ok := <-a.full
		if !ok {
			a.now, a.at = &rows{}, 0
			return nil, 0, io.EOF
		}
		a.now, a.at = r, 0
	}
	r := &a.now.row[a.at]
	begin := 0
	if a.at > 0 {
		begin = a.now.row[a.at-1].end
	}
	a.at++
	if r.err != nil {
		if _, more := r.err.(RowError); !more {
			a.done = true
		}
	}
	return a.now.cells[begin:r.end:r.end], r.line, r.err
}

func (a *ahead) header() []string { return a.src.header() }

// describe says what the reader learned; before the end, what it knew at first.
func (a *ahead) describe(f *File) {
	if a.done {
		a.src.describe(f)
		return
	}
	b := a.begun
	f.Format, f.Encoding, f.Delimiter, f.PreambleLines, f.ColumnsIgnored = b.Format, b.Encoding, b.Delimiter, b.PreambleLines, b.ColumnsIgnored
	f.Sheet, f.SheetsUnread = b.Sheet, b.SheetsUnread
}

// raw is the last row as it stands in a text file; "" for other files.
func (a *ahead) raw() string { return a.now.row[a.at-1].raw }

func (a *ahead) Close() error {
	if !a.closed {
		a.closed = true
		close(a.stop)
		for range a.full { // until the goroutine has left the reader alone
		}
	}
	return a.src.Close()
}
