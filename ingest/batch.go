package ingest

import (
	"slices"
	"strings"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"

	"radonyear/analysis"
)

// batchRows is how many readings a record batch holds, give or take a row of a
// wide file.
const batchRows = 16 << 10

// wordColumn gathers text as indices into a dictionary of its words. Each batch
// has its own dictionary, so a column of a million different notes costs no
// more than the notes of one batch.
type wordColumn struct {
	index  []int32
	words  []string
	at     map[string]int32
	last   string
	lastAt int32
}

func (t *wordColumn) add(s string) {
	if len(t.words) == 0 || s != t.last {
		at, ok := t.at[s]
		if !ok {
			if t.at == nil {
				t.at = make(map[string]int32)
			}
			s = strings.Clone(s) // a field would keep its whole line alive
			at = int32(len(t.words))
			t.words = append(t.words, s)
			t.at[s] = at
		}
		t.last, t.lastAt = s, at
	}
	t.index = append(t.index, t.lastAt)
}

func (t *wordColumn) take() arrow.Array {
	b := array.NewStringBuilder(memory.DefaultAllocator)
	defer b.Release()
	b.AppendValues(t.words, nil)
	words := b.NewArray()
	defer words.Release()
	i := array.NewInt32Builder(memory.DefaultAllocator)
	defer i.Release()
	i.AppendValues(t.index, nil)
	index := i.NewArray()
	defer index.Release()
	t.index, t.words, t.last = t.index[:0], t.words[:0], ""
	clear(t.at)
	return array.NewDictionaryArray(dictText, index, words)
}

// optional is a column of numbers of which some are not stated.
type optional struct {
	x     []float64
	valid []bool
}

func (o *optional) add(n number) {
	o.x = append(o.x, n.x)
	o.valid = append(o.valid, n.ok)
}

func (o *optional) take() arrow.Array {
	b := array.NewFloat64Builder(memory.DefaultAllocator)
	defer b.Release()
	b.AppendValues(o.x, o.valid)
	o.x, o.valid = o.x[:0], o.valid[:0]
	return b.NewArray()
}

// number is a number that may be missing.
type number struct {
	x  float64
	ok bool
}

// normRow is one row of the normalised table, less its text.
type normRow struct {
	start, end    int64 // microseconds since 1970
	log           bool  // end is not known yet: start and the series' step give it
	concentration float64
	uncertainty   number
	below         bool
	weight, share number
}

// batch gathers readings into the columns of the schema.
type batch struct {
	home, area, room, detector, method wordColumn
	zone, phase, kind, file            wordColumn
	start, end, line                   []int64
	concentration                      []float64
	uncertainty, weight, share         optional
	below                              []bool
	extra                              []wordColumn
	open                               []*series // whose step gives the row's end; nil where the end is known
}

func (b *batch) len() int { return len(b.start) }

func (b *batch) add(r *normRow, line int, of *series) {
	b.start = append(b.start, r.start)
	b.end = append(b.end, r.end)
	b.line = append(b.line, int64(line))
	b.concentration = append(b.concentration, r.concentration)
	b.uncertainty.add(r.uncertainty)
	b.below = append(b.below, r.below)
	b.weight.add(r.weight)
	b.share.add(r.share)
	if !r.log {
		of = nil
	}
	b.open = append(b.open, of)
}

// series is what must be remembered of one detector in one room from row to row.
type series struct {
	last    int64 // the last start, microseconds
	any     bool
	falling bool // the newest row stands first in the file
	step    int64
	starts  []stretch // while the step is being learned
}

// met says that a row of the series was read.
func (s *series) met(start int64) {
	if s.any && start != s.last {
		s.falling = start < s.last
	}
	s.last, s.any = start, true
}

// stretch is starts at equal distances, as loggers write them: the times of a
// year of hours take one.
type stretch struct{ first, step, n int64 }

// note remembers a start, in whatever order they come.
func (s *series) note(start int64) {
	if k := len(s.starts) - 1; k >= 0 {
		switch t := &s.starts[k]; {
		case t.n == 1:
			t.step, t.n = start-t.first, 2
			return
		case start == t.first+t.n*t.step:
			t.n++
			return
		}
	}
	s.starts = append(s.starts, stretch{first: start, n: 1})
}

// settle makes the step of the starts noted, and adds how often each distance
// was met to seen. Times further apart than a day's reading are no step of a
// log: two spot readings half a year apart say nothing of the months between.
func (s *series) settle(seen map[int64]int) {
	var times []int64
	for _, t := range s.starts {
		for i := range t.n {
			times = append(times, t.first+i*t.step)
		}
	}
	s.starts = nil
	slices.Sort(times)
	counts := make(map[int64]int)
	for i := 1; i < len(times); i++ {
		if d := times[i] - times[i-1]; d > 0 && d <= analysis.DayReading.Microseconds() {
			counts[d]++
			seen[d]++
		}
	}
	s.step = mostFrequent(counts)
}

// close settles the readings whose length is open: from their start to the step
// of their series, or the file's where the series has none. Readings that then
// overlap, because some rows were missing their usual distance, are for those
// who make series of them to settle.
func (b *batch) close(file int64) {
	for i, of := range b.open {
		if of != nil {
			step := of.step
			if step == 0 {
				step = file
			}
			b.end[i] = b.start[i] + step
		}
	}
}

// mostFrequent is the key met most often, the smallest of them if several are; 0 if none.
func mostFrequent(counts map[int64]int) (best int64) {
	for d, n := range counts {
		if m := counts[best]; n > m || n == m && d < best {
			best = d
		}
	}
	return best
}

// record makes the gathered rows a record batch and begins anew.
func (b *batch) record(schema *arrow.Schema) arrow.Record {
	times := func(x []int64) arrow.Array {
		t := array.NewTimestampBuilder(memory.DefaultAllocator, utcMicros)
		defer t.Release()
		t.Reserve(len(x))
		for _, v := range x {
			t.UnsafeAppend(arrow.Timestamp(v))
		}
		return t.NewArray()
	}
	n := b.len()
	conc := array.NewFloat64Builder(memory.DefaultAllocator)
	defer conc.Release()
	conc.AppendValues(b.concentration, nil)
	below := array.NewBooleanBuilder(memory.DefaultAllocator)
	defer below.Release()
	below.AppendValues(b.below, nil)
	line := array.NewInt64Builder(memory.DefaultAllocator)
	defer line.Release()
	line.AppendValues(b.line, nil)
	cols := []arrow.Array{
		b.home.take(), b.area.take(), b.room.take(), b.detector.take(), b.method.take(),
		times(b.start), times(b.end), b.zone.take(),
		conc.NewArray(), b.uncertainty.take(), below.NewArray(),
		b.phase.take(), b.kind.take(), b.weight.take(), b.share.take(), b.file.take(), line.NewArray(),
	}
	for i := range b.extra {
		cols = append(cols, b.extra[i].take())
	}
	b.start, b.end, b.line = b.start[:0], b.end[:0], b.line[:0]
	b.concentration, b.below, b.open = b.concentration[:0], b.below[:0], b.open[:0]
	rec := array.NewRecord(schema, cols, int64(n))
	for _, c := range cols {
		c.Release()
	}
	return rec
}
