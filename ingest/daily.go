package ingest

import (
	"cmp"
	"errors"
	"fmt"
	"io"
	"math"
	"runtime"
	"slices"
	"strings"
	"sync"
	"sync/atomic"
	"time"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"

	"radonyear/analysis"
)

// LongestDays is the longest result that is believed, in days: two years. Passive
// detectors are made to stay for up to one (common practice); a longer stretch is
// a slip in a date.
const LongestDays = 2 * 366

// Daily is a table reduced to day means and integrating results.
type Daily struct {
	Tracks     []Track // in order of home, area, room, detector, phase, kind, method
	Rows       int64   // rows of the table
	Duplicates int64   // rows dropped because another row says the same
	Overlaps   int64   // readings kept although another reading covers (part of) the same time

	findings []Finding
	names    []string // of the ids in Track.extra
	extras   []string // names of the extra columns
	homes    []homeTracks
}

// Track is what one detector, by one method, in one room, in one phase and of
// one kind had to say.
type Track struct {
	analysis.Place
	Phase   string // "", "before", "after"
	Kind    string // "field", "duplicate", "blank", "spike"
	Method  string
	Zone    string             // in which the days were cut: IANA name or offset; "" where the files hold dates only
	Days    []Day              // in order of time
	Results []analysis.Reading // readings of more than 36 hours, whole, in order of time
	Weight  float64            // the weight the file states; 0 if it states none

	location *time.Location
	rows     int
	stated   bool    // a row states an uncertainty
	extra    []int32 // value of each extra column as an id of the Daily's names; see sameExtra
	said     [][]said
	first    place // the first row, for findings
	oldest   dated // the rows that begin first and last
	newest   dated
}

// place is a row of an input.
type place struct {
	file string
	line int64
}

// dated is a row and when its reading begins, microseconds since 1970.
type dated struct {
	place
	start int64
}

// Day is the sums of one civil day. Hours weight everything: each reading
// counts by the measured hours it has in the day. A zero has no logarithm, so
// the logarithms have an hour count of their own.
type Day struct {
	start, end   int64 // microseconds since 1970
	N            int32 // readings that touch the day
	Below        int32 // of them, below the detection limit; the limit stands in for the value
	Zeros        int32 // of them, exactly zero
	Hours        float64
	Share        float64 // measured share of the day's 23, 24 or 25 hours, in (0, 1]
	Weight       float64 // Σw in hours; more than Hours where readings overlap
	Sum, Sum2    float64 // Σwx, Σwx²
	LogWeight    float64 // Σw over readings above zero
	LogSum, Log2 float64 // Σw·ln x, Σw·(ln x)²
	Min, Max     float64 // Bq/m³
	Mean         float64 // arithmetic, Bq/m³; the value itself where there is but one; see Mixed
	Uncertainty  float64 // standard (k=1), Bq/m³; 0 unless every reading states one, or the day is Mixed
}

// Start is the first instant of the day, UTC.
func (d Day) Start() time.Time { return time.UnixMicro(d.start).UTC() }

// End is the first instant of the next day, UTC.
func (d Day) End() time.Time { return time.UnixMicro(d.end).UTC() }

// LogMean is the mean of ln x over the day's hours; ok is false where no
// reading is above zero.
func (d Day) LogMean() (mean float64, ok bool) {
	if !(d.LogWeight > 0) {
		return 0, false
	}
	return d.LogSum / d.LogWeight, true
}

// LogSD is the standard deviation of ln x within the day (divisor Σw), 0 for a
// single reading.
func (d Day) LogSD() (sd float64, ok bool) {
	mean, ok := d.LogMean()
	if !ok || d.N == 1 {
		return 0, ok
	}
	return math.Sqrt(max(0, d.Log2/d.LogWeight-mean*mean)), true
}

// BelowLimit says whether every reading of the day is below the detection limit.
// The limit of the day is then its Mean.
func (d Day) BelowLimit() bool { return d.Below > 0 && d.Below == d.N }

// Mixed says whether the day holds readings below the detection limit and others.
// Its true mean lies between those with nothing and with the limits in place of
// what was not seen: Mean is their middle, and Uncertainty holds what a uniform
// distribution between them adds, a twelfth of their distance squared.
func (d Day) Mixed() bool { return d.Below > 0 && d.Below < d.N }

// Reading is the day as one reading.
func (d Day) Reading() analysis.Reading {
	return analysis.Reading{
		Start: d.Start(), End: d.End(),
		Concentration: d.Mean,
		Uncertainty:   d.Uncertainty,
		BelowLimit:    d.BelowLimit(),
		Share:         d.Share,
	}
}

// records is a stream of normalised record batches; *Table is one.
type records interface {
	Schema() *arrow.Schema
	Next() (arrow.Record, error)
}

// Daily reads the table to its end and reduces it to day means and integrating
// results.
//
// A reading of at most 36 hours counts in each civil day it touches, by its
// hours there; a longer one is kept whole. Of a reading below the detection limit
// the limit counts; Day.BelowLimit says what that makes of the day. The day mean is Σwx/Σw in Bq/m³,
// its standard uncertainty √Σ(wu)²/Σw, the readings' uncertainties taken as
// independent. Of rows with the same keys, start, end and value, one is kept.
// A reading that runs into the next by less than half of either is cut where
// the next starts; other overlapping readings are all kept, and counted.
//
// The order of the rows, and of the files, changes no digit; nor does it which
// file a row stands in where rows say how long they last (a log's rows last as
// long as the step of their detector in their file). Sums
// of floating-point numbers depend on their order, so readings are held (eight
// bytes each where they come in order of time) until the input ends, and are
// then sorted before they are added. Only that also finds duplicates exactly.
func (t *Table) Daily() (*Daily, error) { return reduce(t) }

func reduce(t records) (*Daily, error) {
	c, err := newCollector(t.Schema())
	if err != nil {
		return nil, err
	}
	// One goroutine reads the batch after the one that is being added here.
	type batch struct {
		rec arrow.Record
		err error
	}
	batches, stop := make(chan batch), make(chan struct{})
	var reading sync.WaitGroup
	defer reading.Wait() // whoever asked may close the table when this is over
	defer close(stop)
	reading.Go(func() {
		for {
			rec, err := t.Next()
			if err == nil {
				rec.Retain() // the next call to Next lets go of it
			}
			select {
			case batches <- batch{rec, err}:
			case <-stop:
				return
			}
			if err != nil {
				return
			}
		}
	})
	for {
		b := <-batches
		if errors.Is(b.err, io.EOF) {
			break
		}
		if b.err != nil {
			return nil, b.err
		}
		err := c.add(b.rec)
		b.rec.Release()
		if err != nil {
			return nil, err
		}
	}
	return c.finish(), nil
}

// trackKey is what rows must share to be one track, as ids of names.
type trackKey [7]int32

var trackColumns = [7]string{"home", "area", "room", "detector", "phase", "kind", "method"}

// run is a stretch of readings at equal steps of time and line, as loggers
// write them: the times of a year of hours take one run.
type run struct {
	start, step, length int64 // microseconds
	line, lineStep      int64
	n                   int32
	file, zone          int32
}

// block holds the values of some readings. What few files state is held only
// where some reading of the block states it.
type block struct {
	value              []float64
	uncertainty, share []float64
	below              []bool
}

const blockLen = 512

// gathered is one track while it is being read.
type gathered struct {
	key    trackKey
	runs   []run
	blocks []block
	n      int
	weight float64 // smallest stated; 0 if none
	other  bool    // another weight was stated too
	extra  []int32
	said   [][]said
}

// said is one value of an extra column, and the time of the rows that say it,
// microseconds since 1970.
type said struct {
	id          int32
	first, last int64
}

// mostSaid is how many values of one extra column are kept apart in a track; a column of
// more is no state that a home was in, and nothing is kept of it.
const mostSaid = 4

// say adds a row from start to end that says id to what a track says, in the order of the
// rows; nil is too many.
func say(all []said, id int32, start, end int64) []said {
	for i := range all {
		if s := &all[i]; s.id == id {
			s.first, s.last = min(s.first, start), max(s.last, end)
			return all
		}
	}
	if len(all) == mostSaid {
		return nil
	}
	return append(all, said{id, start, end})
}

// Values of gathered.extra that are not names.
const (
	extraNone int32 = -1
	extraMany int32 = -2
)

// sameExtra merges two states of an extra column.
func sameExtra(a, b int32) int32 {
	switch {
	case a == extraNone || a == b:
		return b
	case b == extraNone:
		return a
	}
	return extraMany
}

type collector struct {
	names   []string
	ids     map[string]int32
	index   map[string]int // column name → position
	extras  []string
	tracks  map[trackKey]*gathered
	order   []*gathered
	lastKey trackKey
	last    *gathered
	rows    int64
}

func newCollector(s *arrow.Schema) (*collector, error) {
	c := &collector{ids: map[string]int32{}, index: map[string]int{}, tracks: map[trackKey]*gathered{}}
	own := map[string]bool{}
	for _, f := range schemaFields {
		own[f.Name] = true
	}
	for i, f := range s.Fields() {
		if _, twice := c.index[f.Name]; twice {
			continue
		}
		c.index[f.Name] = i
		if !own[f.Name] {
			c.extras = append(c.extras, f.Name)
		}
	}
	for _, f := range schemaFields {
		if _, ok := c.index[f.Name]; !ok {
			return nil, fmt.Errorf("the table has no column %q", f.Name)
		}
	}
	return c, nil
}

func (c *collector) id(s string) int32 {
	if id, ok := c.ids[s]; ok {
		return id
	}
	id := int32(len(c.names))
	s = strings.Clone(s) // the batch's memory is reused
	c.names = append(c.names, s)
	c.ids[s] = id
	return id
}

// textColumn reads a text column, dictionary-encoded or plain, as ids of the
// collector's names; each dictionary entry is looked up once a batch.
type textColumn struct {
	c     *collector
	dict  *array.Dictionary
	index []int32
	plain *array.String
	known []int32
}

func (c *collector) text(rec arrow.Record, name string) (textColumn, error) {
	switch a := rec.Column(c.index[name]).(type) {
	case *array.Dictionary:
		words, ok := a.Dictionary().(*array.String)
		if !ok {
			break
		}
		t := textColumn{c: c, dict: a, plain: words, known: make([]int32, words.Len())}
		if ix, ok := a.Indices().(*array.Int32); ok && a.NullN() == 0 {
			t.index = ix.Int32Values()
		}
		return t, nil
	case *array.String:
		return textColumn{c: c, plain: a}, nil
	}
	return textColumn{}, fmt.Errorf("column %q is %s, not text", name, rec.Column(c.index[name]).DataType())
}

func (t *textColumn) at(i int) int32 {
	if t.dict == nil {
		if t.plain.IsNull(i) {
			return t.c.id("")
		}
		return t.c.id(t.plain.Value(i))
	}
	var k int
	switch {
	case t.index != nil:
		k = int(t.index[i])
	case t.dict.IsNull(i):
		return t.c.id("")
	default:
		k = t.dict.GetValueIndex(i)
	}
	if t.known[k] == 0 { // 0 is "not yet": ids are kept one higher
		t.known[k] = t.c.id(t.plain.Value(k)) + 1
	}
	return t.known[k] - 1
}

// numbers reads an optional float column.
type numbers struct {
	a    *array.Float64
	some bool
}

func (n numbers) at(i int) float64 {
	if !n.some || n.a.IsNull(i) {
		return 0
	}
	return n.a.Value(i)
}

func (c *collector) add(rec arrow.Record) error {
	var keys [7]textColumn
	var err error
	for i, name := range trackColumns {
		if keys[i], err = c.text(rec, name); err != nil {
			return err
		}
	}
	zones, err := c.text(rec, "zone")
	if err != nil {
		return err
	}
	files, err := c.text(rec, "file")
	if err != nil {
		return err
	}
	extras := make([]textColumn, len(c.extras))
	for i, name := range c.extras {
		if extras[i], err = c.text(rec, name); err != nil {
			return err
		}
	}
	starts, ok1 := rec.Column(c.index["start"]).(*array.Timestamp)
	ends, ok2 := rec.Column(c.index["end"]).(*array.Timestamp)
	values, ok3 := rec.Column(c.index["concentration"]).(*array.Float64)
	below, ok4 := rec.Column(c.index["below_limit"]).(*array.Boolean)
	lines, ok5 := rec.Column(c.index["line"]).(*array.Int64)
	if !(ok1 && ok2 && ok3 && ok4 && ok5) {
		return errors.New("the table's columns are not of the types of its schema")
	}
	var optional [3]numbers // uncertainty, share, weight
	for i, name := range [3]string{"uncertainty", "share", "weight"} {
		a, ok := rec.Column(c.index[name]).(*array.Float64)
		if !ok {
			return fmt.Errorf("column %q is %s, not a number", name, rec.Column(c.index[name]).DataType())
		}
		optional[i] = numbers{a, a.NullN() < a.Len()}
	}

	for i := range int(rec.NumRows()) {
		var key trackKey
		for k := range keys {
			key[k] = keys[k].at(i)
		}
		g := c.last
		if g == nil || key != c.lastKey {
			if g = c.tracks[key]; g == nil {
				g = &gathered{key: key, extra: make([]int32, len(extras)), said: make([][]said, len(extras))}
				for k := range g.extra {
					g.extra[k], g.said[k] = extraNone, []said{}
				}
				c.tracks[key] = g
				c.order = append(c.order, g)
			}
			c.last, c.lastKey = g, key
		}
		start, end := int64(starts.Value(i)), int64(ends.Value(i))
		value, uncertainty, share := values.Value(i), optional[0].at(i), optional[1].at(i)
		if !(end > start && value >= 0 && value <= math.MaxFloat64 && uncertainty >= 0 && uncertainty <= math.MaxFloat64 && share >= 0 && share <= 1) {
			return fmt.Errorf("%s:%d: not a reading: %v to %v µs, %v ± %v Bq/m³, share %v", c.names[files.at(i)], lines.Value(i), start, end, value, uncertainty, share)
		}
		g.times(start, end-start, lines.Value(i), files.at(i), zones.at(i))
		g.values(value, uncertainty, share, !below.IsNull(i) && below.Value(i))
		if w := optional[2].at(i); w > 0 && w != g.weight {
			g.other = g.other || g.weight > 0
			if g.weight == 0 || w < g.weight {
				g.weight = w
			}
		}
		for k := range extras {
			if g.said[k] == nil {
				continue // extraMany already
			}
			id := extras[k].at(i)
			g.extra[k] = sameExtra(g.extra[k], id)
			g.said[k] = say(g.said[k], id, start, end)
		}
	}
	c.rows += rec.NumRows()
	return nil
}

// times appends a reading's start, length and place to the runs.
func (g *gathered) times(start, length, line int64, file, zone int32) {
	if k := len(g.runs) - 1; k >= 0 {
		r := &g.runs[k]
		if r.length == length && r.file == file && r.zone == zone && r.n < math.MaxInt32 {
			if r.n == 1 {
				r.step, r.lineStep = start-r.start, line-r.line
				r.n = 2
				return
			}
			if start == r.start+int64(r.n)*r.step && line == r.line+int64(r.n)*r.lineStep {
				r.n++
				return
			}
		}
	}
	g.runs = append(g.runs, run{start: start, length: length, line: line, n: 1, file: file, zone: zone})
}

// values appends a reading's numbers to the blocks.
func (g *gathered) values(value, uncertainty, share float64, below bool) {
	k := len(g.blocks) - 1
	if k < 0 || len(g.blocks[k].value) == blockLen {
		var b block
		if k >= 0 { // most tracks of a survey hold one value; only a long one gets whole blocks
			b.value = make([]float64, 0, blockLen)
		}
		g.blocks = append(g.blocks, b)
		k++
	}
	b := &g.blocks[k]
	b.uncertainty = appendRare(b.uncertainty, len(b.value), uncertainty, 0)
	b.share = appendRare(b.share, len(b.value), share, 0)
	b.below = appendRare(b.below, len(b.value), below, false)
	b.value = append(b.value, value)
	g.n++
}

// appendRare appends v to a slice that stays nil while every v is the usual.
func appendRare[T comparable](s []T, n int, v, usual T) []T {
	if s == nil {
		if v == usual {
			return nil
		}
		s = make([]T, n, max(2*n, 8))
		for i := range s {
			s[i] = usual
		}
	}
	return append(s, v)
}

// reading is one row while a track is being reduced.
type reading struct {
	start, end  int64 // microseconds; end may be cut back to the next start
	length      int64 // as stated
	value       float64
	uncertainty float64
	share       float64 // 0 means all
	below       bool
	zone        int32
	place
}

// unroll gives a track's readings in the order of the rows, in out's memory.
func (g *gathered) unroll(out []reading, names []string) []reading {
	out = slices.Grow(out[:0], g.n)
	k, j := 0, 0
	for _, r := range g.runs {
		for i := range int64(r.n) {
			b := &g.blocks[k]
			x := reading{
				start: r.start + i*r.step, length: r.length,
				value: b.value[j], zone: r.zone,
				place: place{names[r.file], r.line + i*r.lineStep},
			}
			x.end = x.start + x.length
			if b.uncertainty != nil {
				x.uncertainty = b.uncertainty[j]
			}
			if b.share != nil {
				x.share = b.share[j]
			}
			if b.below != nil {
				x.below = b.below[j]
			}
			out = append(out, x)
			if j++; j == len(b.value) {
				k, j = k+1, 0
			}
		}
	}
	return out
}

// compareReadings is a total order over all that can change a result, then
// over the place; of equal rows the one that states more comes first.
func compareReadings(a, b reading) int {
	if c := cmp.Compare(a.start, b.start); c != 0 {
		return c
	}
	if c := cmp.Compare(a.end, b.end); c != 0 {
		return c
	}
	if c := cmp.Compare(a.value, b.value); c != 0 {
		return c
	}
	if a.below != b.below {
		if b.below {
			return -1
		}
		return 1
	}
	if c := cmp.Compare(b.uncertainty, a.uncertainty); c != 0 {
		return c
	}
	if c := cmp.Compare(a.share, b.share); c != 0 {
		return c
	}
	if c := strings.Compare(a.file, b.file); c != 0 {
		return c
	}
	return cmp.Compare(a.line, b.line)
}

func (c *collector) finish() *Daily {
	d := &Daily{Rows: c.rows}
	slices.SortFunc(c.order, func(a, b *gathered) int {
		for i := range a.key {
			if x := strings.Compare(c.names[a.key[i]], c.names[b.key[i]]); x != 0 {
				return x
			}
		}
		return 0
	})
	c.tracks, c.last = nil, nil
	// Each track has what it noticed to itself, so that tracks can be reduced side
	// by side and joined in order.
	d.Tracks = make([]Track, len(c.order))
	noticed := make([]Daily, len(c.order))
	var next atomic.Int64
	var wg sync.WaitGroup
	for range runtime.GOMAXPROCS(0) {
		wg.Go(func() {
			var scratch []reading
			for {
				i := int(next.Add(1)) - 1
				if i >= len(c.order) {
					return
				}
				d.Tracks[i] = c.reduceTrack(&noticed[i], c.order[i], &scratch)
				c.order[i] = nil // its readings are not needed any more
			}
		})
	}
	wg.Wait()
	for _, n := range noticed {
		d.Duplicates += n.Duplicates
		d.Overlaps += n.Overlaps
		d.findings = append(d.findings, n.findings...)
	}
	d.names, d.extras = c.names, c.extras
	d.farDates()
	d.homes = d.settleHomes()
	d.sortFindings()
	return d
}

func (c *collector) reduceTrack(d *Daily, g *gathered, scratch *[]reading) Track {
	t := Track{
		Place:  analysis.Place{Home: c.names[g.key[0]], Area: c.names[g.key[1]], Room: c.names[g.key[2]], Detector: c.names[g.key[3]]},
		Phase:  c.names[g.key[4]],
		Kind:   c.names[g.key[5]],
		Method: c.names[g.key[6]],
		Weight: g.weight,
		rows:   g.n,
		extra:  g.extra,
		said:   g.said,
	}
	*scratch = g.unroll(*scratch, c.names)
	rs := *scratch
	t.first = rs[0].place
	for _, r := range rs[1:] {
		if r.file < t.first.file || r.file == t.first.file && r.line < t.first.line {
			t.first = r.place
		}
	}
	f := finder{d: d, t: &t}
	c.settleZone(&t, rs, &f)
	if !slices.IsSortedFunc(rs, compareReadings) {
		slices.SortFunc(rs, compareReadings)
	}
	first, last := rs[0], rs[len(rs)-1]
	t.oldest, t.newest = dated{first.place, first.start}, dated{last.place, last.start}
	rs = dropDuplicates(rs, &f)
	t.stated = slices.ContainsFunc(rs, func(r reading) bool { return r.uncertainty > 0 })
	f.uncertainties(rs)
	var short []reading
	if long := slices.ContainsFunc(rs, isLong); !long {
		short = rs
	} else {
		for _, r := range rs {
			if !isLong(r) {
				short = append(short, r)
				continue
			}
			t.Results = append(t.Results, analysis.Reading{
				Start: time.UnixMicro(r.start).UTC(), End: time.UnixMicro(r.end).UTC(),
				Concentration: r.value, Uncertainty: r.uncertainty, BelowLimit: r.below, Share: r.share,
			})
		}
	}
	cutOverlaps(short, &f)
	t.Days = cutDays(short, t.location)
	if g.other {
		f.add("weights-differ", t.first, place{}, 1, fmt.Sprintf("rows state different weights; the smallest, %v, is used", g.weight))
	}
	f.track(short)
	return t
}

func isLong(r reading) bool { return r.length > analysis.DayReading.Microseconds() }

// settleZone chooses the one zone a track's days are cut in. Files of one
// detector may say it differently: a logger that writes offsets says +02:00 in
// summer and +01:00 in winter. A zone with a name wins, then the zone of most
// rows. Dates without a zone are civil dates, so they move into that zone.
func (c *collector) settleZone(t *Track, rs []reading, f *finder) {
	count := map[int32]int{}
	for _, r := range rs {
		count[r.zone]++
	}
	ids := make([]int32, 0, len(count))
	for id := range count {
		ids = append(ids, id)
	}
	rank := func(id int32) int {
		switch z := c.names[id]; {
		case z == "":
			return 2
		case z[0] == '+' || z[0] == '-':
			return 1
		}
		return 0
	}
	slices.SortFunc(ids, func(a, b int32) int {
		return cmp.Or(cmp.Compare(rank(a), rank(b)), cmp.Compare(count[b], count[a]), strings.Compare(c.names[a], c.names[b]))
	})
	t.Zone = c.names[ids[0]]
	loc, err := LoadZone(t.Zone)
	if err != nil {
		f.add("unknown-zone", t.first, place{}, len(rs), fmt.Sprintf("%v; days are cut in UTC: give the zone's IANA name", err))
		t.Zone, loc = "UTC", time.UTC
	}
	t.location = loc
	if len(ids) == 1 {
		return
	}
	var all []string
	for _, id := range ids {
		name := c.names[id]
		if name == "" {
			name = "dates only"
		}
		all = append(all, name)
	}
	slices.Sort(all)
	f.add("zones-differ", t.first, place{}, len(rs), fmt.Sprintf("times are in %s; days are cut in %s", strings.Join(all, ", "), t.Zone))
	if t.Zone == "" {
		return
	}
	for i := range rs {
		if c.names[rs[i].zone] == "" {
			rs[i].start = anchor(rs[i].start, loc)
			rs[i].end = anchor(rs[i].end, loc)
			rs[i].length = rs[i].end - rs[i].start
		}
	}
}

// anchor reads a wall clock that is held as UTC in a zone.
func anchor(us int64, loc *time.Location) int64 {
	t := time.UnixMicro(us).UTC()
	y, m, d := t.Date()
	midnight := dayStart(y, m, d, loc)
	if t.Hour() == 0 && t.Minute() == 0 && t.Second() == 0 && t.Nanosecond() == 0 {
		return midnight.UnixMicro()
	}
	return time.Date(y, m, d, t.Hour(), t.Minute(), t.Second(), t.Nanosecond(), loc).UnixMicro()
}

// dropDuplicates keeps the first of sorted readings with the same start, end
// and value.
func dropDuplicates(rs []reading, f *finder) []reading {
	out := rs[:0]
	for _, r := range rs {
		if k := len(out) - 1; k >= 0 {
			if p := &out[k]; p.start == r.start && p.end == r.end && p.value == r.value && p.below == r.below {
				f.duplicate(r.place, p.place)
				continue
			}
		}
		out = append(out, r)
	}
	return out
}

// cutOverlaps cuts readings back that run a little into the next, as the clock
// of a logger drifts, and counts the others that overlap.
func cutOverlaps(rs []reading, f *finder) {
	var covered int64
	var by place
	for i := range rs {
		r := &rs[i]
		if i > 0 {
			p := &rs[i-1]
			over := p.end - r.start
			if over > 0 && covered == p.end && 2*over < p.end-p.start && 2*over < r.end-r.start {
				p.end = r.start
				covered = r.start
			}
			if r.start < covered {
				f.overlap(r.place, by)
			}
		}
		if i == 0 || r.end > covered {
			covered, by = r.end, r.place
		}
	}
}

// dayStart is the first instant of a civil day.
func dayStart(y int, m time.Month, d int, loc *time.Location) time.Time {
	t := time.Date(y, m, d, 0, 0, 0, 0, loc)
	if t.Hour() != 0 { // clocks skip midnight: the day starts where they jump to
		from, to := t.ZoneBounds()
		if t.Day() != time.Date(y, m, d, 0, 0, 0, 0, time.UTC).Day() {
			from = to // t is still the day before
		}
		if !from.IsZero() {
			return from.In(loc)
		}
	}
	return t
}

// civilDay is the day around an instant: its bounds, as microseconds.
func civilDay(us int64, loc *time.Location) (start, end int64) {
	y, m, d := time.UnixMicro(us).In(loc).Date()
	for {
		start = dayStart(y, m, d, loc).UnixMicro()
		end = dayStart(y, m, d+1, loc).UnixMicro()
		switch { // only where clocks go back over midnight
		case us < start:
			d--
		case us >= end:
			d++
		default:
			return start, end
		}
	}
}

// cutDays sums sorted readings by civil day.
func cutDays(rs []reading, loc *time.Location) []Day {
	if len(rs) == 0 {
		return nil
	}
	days := make([]Day, 0, min(len(rs), int((rs[len(rs)-1].end-rs[0].start)/86_400_000_000)+2))
	// Readings that reach into the next day wait in over until that day's turn.
	var over, next []int
	i := 0
	var start, end int64
	for i < len(rs) || len(over) > 0 {
		if len(over) > 0 {
			start, end = civilDay(end, loc)
		} else {
			start, end = civilDay(rs[i].start, loc)
		}
		s := daySum{day: Day{start: start, end: end}}
		next = next[:0]
		for _, k := range over {
			s.add(&rs[k])
			if rs[k].end > end {
				next = append(next, k)
			}
		}
		for ; i < len(rs) && rs[i].start < end; i++ {
			s.add(&rs[i])
			if rs[i].end > end {
				next = append(next, i)
			}
		}
		over, next = next, over
		days = append(days, s.close())
	}
	return slices.Clone(days) // there may be many tracks: keep no spare room
}

// daySum adds up one day, its readings coming in order of start.
type daySum struct {
	day      Day
	weighted float64 // Σ(wu)²
	unstated bool    // a reading states no uncertainty
	largest  float64 // uncertainty of a reading
	reach    int64   // covered so far, microseconds since 1970
	covered  int64   // union of the readings, microseconds
	one      reading // the first reading
	whole    bool    // it covers the whole day
	below    float64 // Σw·limit over readings below their limit
}

func (s *daySum) add(r *reading) {
	d := &s.day
	from, to := max(r.start, d.start), min(r.end, d.end)
	w := float64(to-from) / 3.6e9
	if r.share > 0 {
		w *= r.share
	}
	x := r.value
	if d.N == 0 {
		d.Min, d.Max = x, x
		s.reach = from
		s.one, s.whole = *r, from == d.start && to == d.end
	}
	d.N++
	d.Min, d.Max = min(d.Min, x), max(d.Max, x)
	d.Weight += w
	d.Sum += w * x
	d.Sum2 += w * x * x
	if x > 0 {
		l := math.Log(x)
		d.LogWeight += w
		d.LogSum += w * l
		d.Log2 += w * l * l
	} else {
		d.Zeros++
	}
	if r.below {
		d.Below++
		s.below += w * x
	}
	if r.uncertainty > 0 {
		s.weighted += w * r.uncertainty * w * r.uncertainty
		s.largest = max(s.largest, r.uncertainty)
	} else {
		s.unstated = true
	}
	if to > s.reach {
		s.covered += to - max(from, s.reach)
		s.reach = to
	}
}

func (s *daySum) close() Day {
	d := s.day
	length := float64(d.end-d.start) / 3.6e9
	d.Hours = min(d.Weight, float64(s.covered)/3.6e9)
	d.Share = min(1, d.Hours/length)
	d.Mean = d.Sum / d.Weight
	if d.Min == d.Max {
		d.Mean = d.Min
	}
	d.Mean = min(max(d.Mean, d.Min), d.Max)
	if !s.unstated {
		d.Uncertainty = min(math.Sqrt(s.weighted)/d.Weight, s.largest)
	}
	if d.Mixed() {
		between := s.below / d.Weight
		d.Mean -= between / 2
		d.Uncertainty = math.Hypot(d.Uncertainty, between/math.Sqrt(12))
	}
	if d.N == 1 { // one reading says it all; rounding must not touch it
		d.Uncertainty = s.one.uncertainty
		if s.whole {
			d.Share = 1
			if s.one.share > 0 {
				d.Share = s.one.share
			}
		}
	}
	return d
}
