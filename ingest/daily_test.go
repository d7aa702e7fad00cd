package ingest

import (
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/apache/arrow/go/v17/arrow/array"
	"github.com/apache/arrow/go/v17/arrow/memory"
	"github.com/google/go-cmp/cmp"

	"radonyear/analysis"
)

// row is one normalised row of a made-up table.
type row struct {
	home, area, room, detector, method string
	start, end                         time.Time
	zone                               string
	value, uncertainty                 float64
	below                              bool
	phase, kind                        string
	weight, share                      float64
	file                               string
	line                               int64
	extra                              string
}

// madeTable is rows as a stream of record batches.
type madeTable struct {
	schema *arrow.Schema
	rows   []row
	batch  int
	next   int
}

func tableOf(rows []row, batch int) *madeTable {
	fields := slices.Clone(schemaFields)
	fields = append(fields, arrow.Field{Name: "built", Type: dictText})
	return &madeTable{schema: arrow.NewSchema(fields, nil), rows: rows, batch: batch}
}

func (t *madeTable) Schema() *arrow.Schema { return t.schema }

func (t *madeTable) Next() (arrow.Record, error) {
	if t.next >= len(t.rows) {
		return nil, io.EOF
	}
	rows := t.rows[t.next:min(t.next+t.batch, len(t.rows))]
	t.next += len(rows)
	b := array.NewRecordBuilder(memory.DefaultAllocator, t.schema)
	defer b.Release()
	text := func(i int, s string) {
		if err := b.Field(i).(*array.BinaryDictionaryBuilder).AppendString(s); err != nil {
			panic(err)
		}
	}
	number := func(i int, x float64) {
		if x == 0 {
			b.Field(i).AppendNull()
			return
		}
		b.Field(i).(*array.Float64Builder).Append(x)
	}
	instant := func(i int, at time.Time) {
		b.Field(i).(*array.TimestampBuilder).Append(arrow.Timestamp(at.UnixMicro()))
	}
	for _, r := range rows {
		text(0, r.home)
		text(1, r.area)
		text(2, r.room)
		text(3, r.detector)
		text(4, r.method)
		instant(5, r.start)
		instant(6, r.end)
		text(7, r.zone)
		b.Field(8).(*array.Float64Builder).Append(r.value)
		number(9, r.uncertainty)
		b.Field(10).(*array.BooleanBuilder).Append(r.below)
		text(11, r.phase)
		text(12, r.kind)
		number(13, r.weight)
		number(14, r.share)
		text(15, r.file)
		b.Field(16).(*array.Int64Builder).Append(r.line)
		text(17, r.extra)
	}
	return b.NewRecord(), nil
}

func instant(t testing.TB, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return at.UTC()
}

// log is n readings one after another.
func logRows(start time.Time, step time.Duration, zone string, values ...float64) []row {
	var rows []row
	for i, v := range values {
		at := start.Add(time.Duration(i) * step)
		rows = append(rows, row{home: "7", detector: "D", start: at, end: at.Add(step), zone: zone, value: v, kind: "field", file: "a.csv", line: int64(i + 2)})
	}
	return rows
}

func daily(t testing.TB, rows []row) *Daily {
	t.Helper()
	d, err := reduce(tableOf(rows, 1000))
	if err != nil {
		t.Fatal(err)
	}
	return d
}

func constant(n int, v float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = v
	}
	return out
}

func near(a, b float64) bool { return math.Abs(a-b) <= 1e-12*max(1, math.Abs(a), math.Abs(b)) }

func TestByHandDaily(t *testing.T) {
	t.Run("a day of 25 hours", func(t *testing.T) {
		// Oslo leaves summer time on 2026-10-25: the day runs from 22:00 UTC
		// the evening before to 23:00 UTC, 25 hours. Values 1 to 25 have mean 13.
		var values []float64
		for i := range 25 {
			values = append(values, float64(i+1))
		}
		rows := logRows(instant(t, "2026-10-24T22:00:00Z"), time.Hour, "Europe/Oslo", values...)
		slices.Reverse(rows)
		days := daily(t, rows).Tracks[0].Days
		if len(days) != 1 {
			t.Fatalf("%d days, want 1", len(days))
		}
		d := days[0]
		if d.N != 25 || d.Hours != 25 || d.Share != 1 || d.Mean != 13 || d.Min != 1 || d.Max != 25 || d.Sum != 325 || d.Sum2 != 25*26*51/6 {
			t.Errorf("%+v", d)
		}
		if want := instant(t, "2026-10-25T23:00:00Z"); !d.End().Equal(want) {
			t.Errorf("ends %v, want %v", d.End(), want)
		}
	})
	t.Run("a day of 23 hours", func(t *testing.T) {
		rows := logRows(instant(t, "2026-03-28T23:00:00Z"), time.Hour, "Europe/Oslo", constant(23, 50)...)
		days := daily(t, rows).Tracks[0].Days
		if len(days) != 1 || days[0].Share != 1 || days[0].Hours != 23 || days[0].Mean != 50 {
			t.Errorf("%+v", days)
		}
	})
	t.Run("a reading that crosses midnight", func(t *testing.T) {
		// 20:00 to 02:00 at 60: 4 h in the first day, 2 h in the second. Then
		// 02:00 to 06:00 at 120: the second day's mean is (2·60 + 4·120)/6 = 100,
		// over 6 of 24 hours. Uncertainties 6 and 9 combine to √((2·6)² + (4·9)²)/6.
		at := instant(t, "2026-01-10T20:00:00Z")
		rows := []row{
			{home: "7", start: at.Add(6 * time.Hour), end: at.Add(10 * time.Hour), value: 120, uncertainty: 9, kind: "field", file: "a.csv", line: 3},
			{home: "7", start: at, end: at.Add(6 * time.Hour), value: 60, uncertainty: 6, kind: "field", file: "a.csv", line: 2},
		}
		days := daily(t, rows).Tracks[0].Days
		if len(days) != 2 {
			t.Fatalf("%d days, want 2", len(days))
		}
		if d := days[0]; d.Mean != 60 || d.Hours != 4 || d.N != 1 || !near(d.Share, 4./24) || d.Uncertainty != 6 {
			t.Errorf("first day %+v", d)
		}
		d := days[1]
		if d.Mean != 100 || d.Hours != 6 || d.N != 2 || d.Share != 0.25 || !near(d.Uncertainty, math.Sqrt(12*12+36*36)/6) {
			t.Errorf("second day %+v", d)
		}
		wantLog := (2*math.Log(60) + 4*math.Log(120)) / 6
		if m, ok := d.LogMean(); !ok || !near(m, wantLog) {
			t.Errorf("mean of logs %v, want %v", m, wantLog)
		}
		// The two logs lie ln 2 apart with weights 1/3 and 2/3: variance (ln 2)²·2/9.
		if sd, ok := d.LogSD(); !ok || math.Abs(sd-math.Ln2*math.Sqrt(2./9)) > 1e-9 {
			t.Errorf("sd of logs %v", sd)
		}
	})
	t.Run("ten minutes", func(t *testing.T) {
		// 72 readings of 10 and 72 of 30: mean 20, from 144 readings.
		rows := logRows(instant(t, "2026-01-10T00:00:00Z"), 10*time.Minute, "UTC", append(constant(72, 10), constant(72, 30)...)...)
		d := daily(t, rows).Tracks[0].Days[0]
		if d.N != 144 || !near(d.Mean, 20) || !near(d.Hours, 24) || !near(d.Share, 1) {
			t.Errorf("%+v", d)
		}
	})
	t.Run("a day mean keeps its value", func(t *testing.T) {
		for _, share := range []float64{0, 0.1, 0.7, 1.0 / 3} {
			at := instant(t, "2026-01-10T23:00:00Z")
			rows := []row{{home: "7", start: at, end: at.Add(24 * time.Hour), zone: "Europe/Oslo", value: 0.1 + 0.2, uncertainty: 0.7, share: share, kind: "field", file: "a.csv", line: 2}}
			days := daily(t, rows).Tracks[0].Days
			want := share
			if want == 0 {
				want = 1
			}
			if len(days) != 1 || days[0].Mean != 0.1+0.2 || days[0].Uncertainty != 0.7 || days[0].Share != want {
				t.Errorf("share %v: %+v", share, days)
			}
		}
	})
	t.Run("36 hours is the border", func(t *testing.T) {
		at := instant(t, "2026-01-10T00:00:00Z")
		rows := []row{
			{home: "7", start: at, end: at.Add(36 * time.Hour), value: 5, kind: "field", file: "a.csv", line: 2},
			{home: "8", start: at, end: at.Add(36*time.Hour + time.Second), value: 5, kind: "field", file: "a.csv", line: 3},
		}
		d := daily(t, rows)
		if a, b := d.Tracks[0], d.Tracks[1]; len(a.Days) != 2 || len(a.Results) != 0 || len(b.Days) != 0 || len(b.Results) != 1 {
			t.Errorf("%+v", d.Tracks)
		}
	})
	t.Run("a day partly below the limit lies between two means", func(t *testing.T) {
		// Of 24 hours n are below a limit of 24, the others read 48: the mean lies from
		// 48 − 2n with nothing for them to 48 − n with the limits; in the middle, with
		// n/√12 more or less. Only of 24 hours is it a limit.
		for _, n := range []int{0, 1, 12, 13, 23, 24} {
			rows := logRows(instant(t, "2026-01-10T00:00:00Z"), time.Hour, "UTC", slices.Concat(constant(n, 24), constant(24-n, 48))...)
			for i := range n {
				rows[i].below = true
			}
			d := daily(t, rows)
			r, mixed := d.Tracks[0].Days[0].Reading(), 0
			mean, u := 48-1.5*float64(n), float64(n)/math.Sqrt(12)
			if n > 0 && n < 24 {
				mixed = 1
			}
			if n == 24 {
				mean, u = 24, 0
			}
			if r.BelowLimit != (n == 24) || math.Abs(r.Concentration-mean) > 1e-9 || math.Abs(r.Uncertainty-u) > 1e-9 || codes(d)["mixed-limit-days"] != mixed || d.Homes(Filter{})[0].About[0].Mixed != mixed {
				t.Errorf("%d hours below: %+v %v", n, r, codes(d))
			}
		}
	})
	t.Run("below the limit and zero", func(t *testing.T) {
		rows := logRows(instant(t, "2026-01-10T00:00:00Z"), 12*time.Hour, "UTC", 10, 10, 10, 30, 0, 0)
		rows[0].below, rows[1].below, rows[2].below = true, true, true
		d := daily(t, rows)
		days := d.Tracks[0].Days
		if !days[0].Reading().BelowLimit || days[1].Reading().BelowLimit || days[1].Mean != 17.5 || days[2].Mean != 0 {
			t.Errorf("%+v", days)
		}
		if _, ok := days[2].LogMean(); ok {
			t.Error("a day of zeros has a mean of logs")
		}
		want := map[string]int{"below-limit": 3, "mixed-limit-days": 1, "zero-values": 1}
		if diff := cmp.Diff(want, codes(d)); diff != "" {
			t.Error(diff)
		}
		h := d.Homes(Filter{})
		if len(h) != 1 || h[0].About[0].Zeros != 1 || h[0].About[0].Below != 1 || h[0].Series[0].Len() != 3 {
			t.Errorf("%+v", h)
		}
	})
}

func codes(d *Daily) map[string]int {
	out := map[string]int{}
	for _, f := range d.Findings() {
		out[f.Code] += f.Count
	}
	return out
}

func TestByHandZones(t *testing.T) {
	for _, c := range []struct{ zone, date, start, end string }{
		{"Europe/Oslo", "2026-03-29", "2026-03-28T23:00:00Z", "2026-03-29T22:00:00Z"},
		{"America/Sao_Paulo", "2018-11-04", "2018-11-04T03:00:00Z", "2018-11-05T02:00:00Z"}, // clocks skipped 00:00 to 01:00
		{"America/Sao_Paulo", "2018-11-03", "2018-11-03T03:00:00Z", "2018-11-04T03:00:00Z"},
		{"Asia/Beirut", "2022-03-27", "2022-03-26T22:00:00Z", "2022-03-27T21:00:00Z"}, // and here
		{"Asia/Kolkata", "2026-03-29", "2026-03-28T18:30:00Z", "2026-03-29T18:30:00Z"},
	} {
		loc, err := time.LoadLocation(c.zone)
		if err != nil {
			t.Fatal(err)
		}
		start, end := instant(t, c.start), instant(t, c.end)
		for _, at := range []time.Time{start, start.Add(time.Minute), start.Add(11 * time.Hour), end.Add(-time.Microsecond)} {
			a, b := civilDay(at.UnixMicro(), loc)
			if a != start.UnixMicro() || b != end.UnixMicro() {
				t.Errorf("%s %s at %v: %v to %v", c.zone, c.date, at, time.UnixMicro(a).UTC(), time.UnixMicro(b).UTC())
			}
		}
	}
	// Every instant lies in its civil day, and days join on. Newfoundland went
	// back two hours in 1988, so 26 hours is the longest day.
	for _, name := range []string{"America/St_Johns", "America/Havana", "Pacific/Apia", "America/Asuncion", "Africa/Cairo", "Asia/Tehran", "Europe/Dublin"} {
		loc, err := time.LoadLocation(name)
		if err != nil {
			t.Fatal(err)
		}
		last := int64(0)
		for at := instant(t, "1985-01-01T00:00:00Z"); at.Year() < 2027; {
			start, end := civilDay(at.UnixMicro(), loc)
			if at.UnixMicro() < start || at.UnixMicro() >= end || last != 0 && start != last || end-start > 26*3600e6 {
				t.Fatalf("%s: %v to %v around %v", name, time.UnixMicro(start).In(loc), time.UnixMicro(end).In(loc), at.In(loc))
			}
			last = end
			at = time.UnixMicro(end).UTC()
		}
	}
}

func TestDuplicatesAndOverlaps(t *testing.T) {
	a := logRows(instant(t, "2026-01-10T00:00:00Z"), time.Hour, "UTC", 1, 2, 3, 4, 5, 6)
	b := slices.Clone(a[2:])
	for i := range b {
		b[i].file, b[i].line = "b.csv", int64(10+i)
	}
	b[3].value = 66 // same start as 6, another value
	d := daily(t, append(slices.Clone(a), b...))
	if d.Duplicates != 3 || d.Overlaps != 1 || d.Rows != 10 {
		t.Errorf("duplicates %d, overlaps %d, rows %d", d.Duplicates, d.Overlaps, d.Rows)
	}
	want := []Finding{
		{Code: "duplicate-rows", Home: "7", Detector: "D", File: "b.csv", Line: 10, OtherFile: "a.csv", OtherLine: 4, Count: 3,
			Text: "3 rows, to line 12, say the same as a.csv:4 to 6 and are left out"},
		{Code: "overlap", Home: "7", Detector: "D", File: "b.csv", Line: 13, OtherFile: "a.csv", OtherLine: 7, Count: 1,
			Text: "1 reading, the first one against a.csv:7, in time that others cover too; all count in the day means: name the detectors apart if there were two, mend the times if a clock was set back"},
	}
	if diff := cmp.Diff(want, d.Findings()); diff != "" {
		t.Error(diff)
	}
	// Both values of 05:00 count; the hour is measured once.
	day := d.Tracks[0].Days[0]
	if day.N != 7 || day.Weight != 7 || day.Hours != 6 || !near(day.Mean, (21.+66)/7) {
		t.Errorf("%+v", day)
	}

	// A logger whose clock drifts: readings of an hour every 59 minutes are no
	// overlap, and no time counts twice.
	drift := logRows(instant(t, "2026-01-10T00:00:00Z"), 59*time.Minute, "UTC", 1, 2, 3)
	for i := range drift {
		drift[i].end = drift[i].start.Add(time.Hour)
	}
	d = daily(t, drift)
	if day := d.Tracks[0].Days[0]; d.Overlaps != 0 || !near(day.Weight, (59+59+60)/60.) {
		t.Errorf("overlaps %d, %+v", d.Overlaps, day)
	}

	// A day-long reading over hourly ones does overlap, each of them.
	over := append(logRows(instant(t, "2026-01-10T00:00:00Z"), time.Hour, "UTC", 1, 2, 3), row{
		home: "7", detector: "D", start: instant(t, "2026-01-10T00:00:00Z"), end: instant(t, "2026-01-11T00:00:00Z"), zone: "UTC", value: 9, kind: "field", file: "c.csv", line: 2})
	if d = daily(t, over); d.Overlaps != 3 || d.Tracks[0].Days[0].Share != 1 {
		t.Errorf("overlaps %d, %+v", d.Overlaps, d.Tracks[0].Days[0])
	}
}

func TestFindings(t *testing.T) {
	at := instant(t, "2026-01-10T00:00:00Z")
	vary := func(n int) []float64 {
		out := make([]float64, n)
		for i := range out {
			out[i] = float64(50 + i%7)
		}
		return out
	}
	keep := func(rows []row, from, to int) []row { return slices.Concat(rows[:from], rows[to:]) }
	below := func(rows []row, from, to int) []row {
		for i := from; i < to; i++ {
			rows[i].below = true
		}
		return rows
	}
	kind := func(k string, rows []row) []row {
		for i := range rows {
			rows[i].kind = k
		}
		return rows
	}
	for _, c := range []struct {
		name string
		rows []row
		want map[string]int
	}{
		{"nothing", logRows(at, time.Hour, "UTC", vary(240)...), map[string]int{}},
		{"a day seventy years on", append(logRows(at, 24*time.Hour, "UTC", vary(5)...), logRows(at.AddDate(69, 0, 0), 24*time.Hour, "UTC", 50)...), map[string]int{"far-dates": 1, "gap": 25197}},
		{"two days of a clock that was never set", append(logRows(at, 24*time.Hour, "UTC", vary(5)...), logRows(instant(t, "1970-01-01T00:00:00Z"), 24*time.Hour, "UTC", 50, 51)...), map[string]int{"far-dates": 2, "gap": 20461}},
		{"again after nineteen years", append(logRows(at, 24*time.Hour, "UTC", vary(5)...), logRows(at.AddDate(19, 0, 0), 24*time.Hour, "UTC", 50)...), map[string]int{"gap": 6935}},
		{"gap of two days", keep(logRows(at, time.Hour, "UTC", vary(240)...), 24, 72), map[string]int{"gap": 2}},
		{"17 hours are short", keep(logRows(at, time.Hour, "UTC", vary(240)...), 30, 37), map[string]int{"short-days": 1}},
		{"18 hours are not", keep(logRows(at, time.Hour, "UTC", vary(240)...), 30, 36), map[string]int{}},
		{"first and last day may be short", logRows(at.Add(20*time.Hour), time.Hour, "UTC", vary(50)...), map[string]int{}},
		// 0.054·77 counts an hour: alike by chance in one of 5.1 cases, so seven in a
		// row, of some 55 hours, come up in fewer than one of a hundred such logs.
		{"7 hours of one value", logRows(at, time.Hour, "UTC", slices.Concat(vary(24), constant(7, 77), vary(24))...), map[string]int{"stuck-values": 7}},
		{"6 hours of one value", logRows(at, time.Hour, "UTC", slices.Concat(vary(24), constant(6, 77), vary(24))...), map[string]int{}},
		// 0.054·30 counts: alike in one of 3.2 cases; nine in a row are needed.
		{"9 hours of a low value", logRows(at, time.Hour, "UTC", slices.Concat(vary(24), constant(9, 30), vary(24))...), map[string]int{"stuck-values": 9}},
		{"8 hours of a low value", logRows(at, time.Hour, "UTC", slices.Concat(vary(24), constant(8, 30), vary(24))...), map[string]int{}},
		{"7 hours of nothing", logRows(at, time.Hour, "UTC", slices.Concat(vary(24), constant(7, 0), vary(24))...), map[string]int{"stuck-values": 7}},
		// Seven zeros where the level around them is 30 come up once in e^(7·0.054·30)
		// = 85,000 logs of one hour, of these 55 hours in one of 1550; at 12, in one of
		// 1.7, however high the rest of the log.
		{"7 hours of nothing between low ones", logRows(at, time.Hour, "UTC", slices.Concat(constant(1, 29), slices.Repeat([]float64{30, 31}, 12), constant(7, 0), slices.Repeat([]float64{30, 31}, 12))...), map[string]int{"stuck-values": 7}},
		{"7 hours of nothing on a quiet day", logRows(at, time.Hour, "UTC", slices.Concat(vary(96), slices.Repeat([]float64{11, 13}, 12), constant(7, 0), slices.Repeat([]float64{11, 13}, 12), vary(96))...), map[string]int{}},
		{"dead for most of the log", logRows(at, time.Hour, "UTC", slices.Concat(vary(24), constant(47, 0))...), map[string]int{"stuck-values": 47, "zero-values": 2}},
		{"dead throughout", logRows(at, time.Hour, "UTC", constant(48, 0)...), map[string]int{"zero-values": 2, "below-outdoor": 1}},
		{"7 hours below one limit", below(logRows(at, time.Hour, "UTC", slices.Concat(vary(24), constant(7, 77), vary(17))...), 24, 31), map[string]int{"below-limit": 7, "mixed-limit-days": 1}},
		{"20 day means alike", logRows(at, 24*time.Hour, "UTC", constant(20, 77)...), map[string]int{"stuck-values": 20}},
		// In steps of 1 from 33 Bq/m³ two days are alike in one of 15 cases; from 3, in 3 of 8.
		{"7 day means alike", logRows(at, 24*time.Hour, "UTC", slices.Concat(vary(24), constant(7, 33), vary(24))...), map[string]int{"stuck-values": 7}},
		{"6 day means alike", logRows(at, 24*time.Hour, "UTC", slices.Concat(vary(24), constant(6, 33), vary(24))...), map[string]int{}},
		{"7 low day means alike", logRows(at, 24*time.Hour, "UTC", slices.Concat(vary(24), constant(7, 3), vary(24))...), map[string]int{}},
		{"7 day means alike and a day between", keep(logRows(at, 24*time.Hour, "UTC", slices.Concat(vary(24), constant(8, 33), vary(24))...), 27, 28), map[string]int{"gap": 1}},
		{"7 day means below one limit", below(logRows(at, 24*time.Hour, "UTC", slices.Concat(vary(24), constant(7, 33), vary(24))...), 24, 31), map[string]int{"below-limit": 7}},
		{"7 day means of nothing", logRows(at, 24*time.Hour, "UTC", slices.Concat(vary(24), constant(7, 0), vary(24))...), map[string]int{"zero-values": 7}},
		// From 50: 1500 is 1250 beyond five times, 5.5 standard errors of counting;
		// 700 is 450 beyond, 2.4 of them.
		{"an hour of 1500", logRows(at, time.Hour, "UTC", slices.Concat(vary(22), []float64{1500}, vary(24))...), map[string]int{"jump": 2}},
		{"from 50 to 1500 for good", logRows(at, time.Hour, "UTC", slices.Concat(vary(22), slices.Repeat([]float64{1500, 1505}, 13))...), map[string]int{"jump": 1}},
		{"an hour of at most 1500", below(logRows(at, time.Hour, "UTC", slices.Concat(vary(22), []float64{1500}, vary(25))...), 22, 23), map[string]int{"below-limit": 1, "mixed-limit-days": 1}},
		{"readings of two hours", logRows(at, 2*time.Hour, "UTC", slices.Concat(vary(12), []float64{1500}, vary(11))...), map[string]int{}},
		{"half an hour without a reading before one of 3000", keep(logRows(at, 30*time.Minute, "UTC", slices.Concat(vary(22), []float64{100, 3000}, vary(24))...), 22, 23), map[string]int{"jump": 2}},
		{"two detectors under one name, one at 1500", append(logRows(at, time.Hour, "UTC", vary(48)...), logRows(at.Add(30*time.Minute), time.Hour, "UTC", slices.Repeat([]float64{1500, 1505}, 24)...)...), map[string]int{"overlap": 95}},
		// A zero may have been a count, 18.5 Bq/m³: 500 is 3.7 standard errors up from
		// it, 300 is 2.5; from 500 down to 50 it is 1.4.
		{"from 0 to 500", logRows(at, time.Hour, "UTC", slices.Concat(vary(22), []float64{0, 500}, vary(24))...), map[string]int{"jump": 1}},
		{"from 0 to 300", logRows(at, time.Hour, "UTC", slices.Concat(vary(22), []float64{0, 300}, vary(24))...), map[string]int{}},
		{"an hour of 700", logRows(at, time.Hour, "UTC", slices.Concat(vary(22), []float64{700}, vary(24))...), map[string]int{}},
		{"a clock set by 7 minutes", append(logRows(at, time.Hour, "UTC", vary(30)...), logRows(at.Add(30*time.Hour+7*time.Minute), time.Hour, "UTC", vary(30)...)...), map[string]int{"clock-step": 1}},
		{"a clock off by 2 minutes", append(logRows(at, time.Hour, "UTC", vary(30)...), logRows(at.Add(30*time.Hour+2*time.Minute), time.Hour, "UTC", vary(30)...)...), map[string]int{}},
		{"a clock set back by 70 minutes", append(logRows(at, time.Hour, "UTC", vary(30)...), logRows(at.Add(30*time.Hour-70*time.Minute), time.Hour, "UTC", vary(30)...)...), map[string]int{"clock-step": 1, "overlap": 1}},
		{"two readings off the step", append(logRows(at, time.Hour, "UTC", vary(30)...), logRows(at.Add(30*time.Hour+7*time.Minute), time.Hour, "UTC", vary(2)...)...), map[string]int{}},
		{"again after a day and an hour", append(logRows(at, time.Hour, "UTC", vary(24)...), logRows(at.Add(49*time.Hour+7*time.Minute), time.Hour, "UTC", vary(24)...)...), map[string]int{"gap": 1}},
		{"again after 23 hours", append(logRows(at, time.Hour, "UTC", vary(30)...), logRows(at.Add(53*time.Hour+7*time.Minute), time.Hour, "UTC", vary(30)...)...), map[string]int{"clock-step": 1, "short-days": 1}},
		{"two detectors under one name", append(logRows(at, time.Hour, "UTC", vary(48)...), logRows(at.Add(30*time.Minute), time.Hour, "UTC", vary(48)...)...), map[string]int{"overlap": 95}},
		{"a blank's mean of 1.5", kind("blank", logRows(at, time.Hour, "UTC", slices.Repeat([]float64{1, 2}, 24)...)), map[string]int{}},
		{"a mean of 4.5", logRows(at, time.Hour, "UTC", slices.Repeat([]float64{3, 6}, 24)...), map[string]int{"below-outdoor": 1}},
		{"a mean of 5.5", logRows(at, time.Hour, "UTC", slices.Repeat([]float64{5, 6}, 24)...), map[string]int{}},
	} {
		if diff := cmp.Diff(c.want, codes(daily(t, c.rows))); diff != "" {
			t.Errorf("%s: %s", c.name, diff)
		}
	}

	t.Run("rows to look at", func(t *testing.T) {
		// Row i of the log stands on line i + 2. The sensor sticks twelve times; an
		// hour of 1500 stands alone; then the clock is set by 7 minutes.
		var values []float64
		for range 12 {
			values = slices.Concat(values, vary(24), constant(12, 77))
		}
		values = slices.Concat(values, vary(24), []float64{1500}, vary(24))
		rows := logRows(at, time.Hour, "UTC", values...)
		for i, r := range logRows(rows[len(rows)-1].end.Add(7*time.Minute), time.Hour, "UTC", vary(24)...) {
			r.line = int64(len(values) + i + 2)
			rows = append(rows, r)
		}
		type look struct {
			code  string
			line  int64
			count int
		}
		var got []look
		for _, f := range daily(t, rows).Findings() {
			if f.File != "a.csv" || f.Detector != "D" {
				t.Errorf("%+v", f)
			}
			got = append(got, look{f.Code, f.Line, f.Count})
		}
		want := []look{{"clock-step", 483, 1}, {"jump", 458, 2}, {"stuck-values", 2, 2}} // the last: two stretches more
		for i := range 10 {
			want = append(want, look{"stuck-values", int64(26 + 36*i), 12})
		}
		if diff := cmp.Diff(want, got, cmp.AllowUnexported(look{})); diff != "" {
			t.Error(diff)
		}
	})
	t.Run("a year mistyped in one home", func(t *testing.T) {
		// A survey of single results over 25 years, but for the one in 2095 and the one
		// in 1962; and the row to look at.
		var rows []row
		for i, year := range []int{2003, 2010, 2017, 2095, 2024, 1962, 2027} {
			start := time.Date(year, 1, 10, 0, 0, 0, 0, time.UTC)
			rows = append(rows, row{home: string(rune('A' + i)), start: start, end: start.AddDate(0, 3, 0), value: 50, kind: "field", file: "a.csv", line: int64(i + 2)})
		}
		var got []string
		for _, f := range daily(t, rows).Findings() {
			got = append(got, fmt.Sprint(f.Code, " ", f.Home, " ", f.Line, " ", f.Count, " ", f.Text))
		}
		if diff := cmp.Diff([]string{
			"far-dates D 5 1 1 mean some 68 years from the rest of the files, on 2095-01-10: check the year",
			"far-dates F 7 1 1 mean some 41 years from the rest of the files, on 1962-01-10: check the year",
		}, got); diff != "" {
			t.Error(diff)
		}
	})
	t.Run("zones", func(t *testing.T) {
		// A logger that writes offsets: winter in +01:00, summer in +02:00, and
		// one file of dates only. All days are cut in the zone of most rows, and
		// the civil date 2026-01-08 becomes that day there.
		rows := append(logRows(at, time.Hour, "+01:00", vary(72)...), logRows(at.Add(72*time.Hour), time.Hour, "+02:00", vary(24)...)...)
		rows = append(rows, row{home: "7", detector: "D", start: at.Add(-48 * time.Hour), end: at.Add(-24 * time.Hour), value: 60, kind: "field", file: "b.csv", line: 2})
		d := daily(t, rows)
		if len(d.Tracks) != 1 || d.Tracks[0].Zone != "+01:00" || codes(d)["zones-differ"] != 97 {
			t.Fatalf("%+v %v", d.Tracks, d.Findings())
		}
		if first := d.Tracks[0].Days[0]; !first.Start().Equal(instant(t, "2026-01-07T23:00:00Z")) || first.Share != 1 || first.Mean != 60 {
			t.Errorf("%v %+v", first.Start(), first)
		}
		rows = append(logRows(at, time.Hour, "Europe/Oslo", vary(24)...), logRows(at.Add(24*time.Hour), time.Hour, "Europe/Oslo", vary(24)...)...)
		rows[30].detector, rows[30].zone = "E", "+01:00" // another detector's zone is its own
		if c := codes(daily(t, rows)); c["zones-differ"]+c["unknown-zone"] != 0 {
			t.Errorf("%v", c)
		}
		d = daily(t, logRows(at, time.Hour, "Moon/Tycho", vary(24)...))
		if codes(d)["unknown-zone"] != 24 || d.Tracks[0].Zone != "UTC" {
			t.Errorf("%v", d.Findings())
		}
	})
	t.Run("weights and areas", func(t *testing.T) {
		rows := logRows(at, time.Hour, "UTC", vary(6)...)
		rows[2].weight, rows[4].weight = 3, 2
		rows[0].area = "north"
		same := slices.Clone(rows)
		same[4].weight = 3 // and rows that state none
		if c := codes(daily(t, same)); c["weights-differ"]+c["home-in-areas"] != 0 {
			t.Errorf("%v", c)
		}
		d := daily(t, rows)
		if h := d.Homes(Filter{}); len(h) != 1 || h[0].Weight != 2 || h[0].Area != "north" || codes(d)["weights-differ"] == 0 || codes(d)["home-in-areas"] != 0 {
			t.Errorf("%+v %v", h, d.Findings())
		}
		rows[1].area = "south"
		d = daily(t, rows)
		if h := d.Homes(Filter{}); len(h) != 3 || codes(d)["home-in-areas"] != 2 {
			t.Errorf("%+v %v", h, d.Findings())
		}
	})
}

// Nothing is wrong in these logs of a year: counts at the least sensitivity, of
// air at a level that keeps, or swings 1.8-fold up and down in the day and as much
// in the year. Of 720 such logs 19 gave a finding of a stuck sensor, none one of a
// jump; in these 16 more than 3 would be a rate of over 2.6 % with a probability
// of 0.001.
func TestCoverageFindings(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(4, 1))
	at := instant(t, "2026-01-10T00:00:00Z")
	count := func(mean float64) float64 { // Poisson, by the times between counts
		n := -1.0
		for sum := 0.0; sum < mean; n++ {
			sum += rng.ExpFloat64()
		}
		return max(n, 0)
	}
	stuck := 0
	for _, level := range []float64{20, 40, 60, 100, 150, 200, 300, 400} {
		for _, swing := range []float64{0, 0.6} {
			values := make([]float64, 8760)
			for i := range values {
				x := 2 * math.Pi * float64(i) / 24
				values[i] = math.Round(count(analysis.MinSensitivity*level*math.Exp(swing*(math.Sin(x)+math.Sin(x/365)))) / analysis.MinSensitivity)
			}
			for _, f := range daily(t, logRows(at, time.Hour, "UTC", values...)).Findings() {
				switch f.Code {
				case "stuck-values":
					stuck++
				case "zero-values":
				default:
					t.Errorf("level %v, swing %v: %+v", level, swing, f)
				}
			}
		}
	}
	if stuck > 3 {
		t.Errorf("%d stuck stretches in 16 logs that have none", stuck)
	}
}

// community is an invented table of a few homes with all that can go wrong.
func community(seed uint64) []row {
	rng := rand.New(rand.NewPCG(seed, 1))
	var rows []row
	line := int64(1)
	put := func(r row) {
		line++
		r.file, r.line = "a.csv", line
		if r.kind == "" {
			r.kind = "field"
		}
		rows = append(rows, r)
	}
	zones := []string{"Europe/Oslo", "America/Denver", "", "+05:30"}
	for h := range 4 {
		zone := zones[h]
		at := time.Date(2026, 3, 25, 7, 3*h, 0, 0, time.UTC)
		step := []time.Duration{10 * time.Minute, time.Hour, 24 * time.Hour, 4*time.Hour + time.Second}[h]
		for range 200 {
			if rng.IntN(9) == 0 {
				at = at.Add(time.Duration(rng.IntN(50)) * time.Minute)
			}
			r := row{home: fmt.Sprint("00", h), area: "valley", room: "cellar", detector: "D1", zone: zone, start: at, end: at.Add(step), value: math.Exp(4 + rng.NormFloat64()), extra: "1970"}
			switch rng.IntN(12) {
			case 0:
				r.value = 0
			case 1:
				r.below = true
			case 2:
				r.uncertainty = r.value * 0.1
			case 3:
				r.share = 0.8
			case 4:
				put(r)
			case 5:
				o := r
				o.value++
				put(o)
			}
			put(r)
			at = at.Add(step - time.Duration(rng.IntN(3))*time.Minute)
		}
		for range 6 {
			start := time.Date(2026, 1, 1+rng.IntN(100), 12, 0, 0, 0, time.UTC)
			put(row{home: fmt.Sprint("00", h), zone: zone, start: start, end: start.AddDate(0, 0, 90), value: 100 * rng.Float64(), method: "track", phase: "before"})
		}
	}
	return rows
}

// picture is all of a Daily that a caller can see, places of rows apart.
func picture(d *Daily) string {
	out := fmt.Sprintln(d.Rows, d.Duplicates, d.Overlaps)
	for _, t := range d.Tracks {
		out += fmt.Sprintln(t.Place, t.Phase, t.Kind, t.Method, t.Zone, t.Weight)
		for _, day := range t.Days {
			out += fmt.Sprintf("%x\n", []float64{float64(day.start), float64(day.end), float64(day.N), float64(day.Below), day.Hours, day.Share, day.Weight, day.Sum, day.Sum2, day.LogSum, day.Log2, day.Mean, day.Uncertainty})
		}
		out += fmt.Sprintln(t.Results)
	}
	for _, f := range d.findings {
		if f.Code == "duplicate-rows" { // a stretch of them ends where its file ends
			continue
		}
		out += fmt.Sprintln(f.Code, f.Home, f.Room, f.Detector)
	}
	for _, h := range d.Homes(Filter{Kind: "*"}) {
		out += fmt.Sprintln(h.Name, h.Area, h.Extra, h.About)
		for _, s := range h.Series {
			out += fmt.Sprintln(s.Place, s.Zone, s.Readings())
		}
	}
	return out
}

func TestPropertiesDaily(t *testing.T) {
	t.Parallel()
	for seed := range uint64(6) {
		rows := community(seed)
		want := picture(daily(t, rows))
		rng := rand.New(rand.NewPCG(seed, 2))

		shuffled := slices.Clone(rows)
		rng.Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
		if got, err := reduce(tableOf(shuffled, 1+rng.IntN(300))); err != nil {
			t.Fatal(err)
		} else if diff := cmp.Diff(want, picture(got)); diff != "" {
			t.Fatalf("seed %d: shuffled rows: %s", seed, diff)
		}
		split := slices.Clone(rows)
		cut := rng.IntN(len(rows))
		for i := cut; i < len(split); i++ {
			split[i].file, split[i].line = "b.csv", int64(i-cut+2)
		}
		split = append(split[cut:], split[:cut]...)
		if diff := cmp.Diff(want, picture(daily(t, split))); diff != "" {
			t.Fatalf("seed %d: split in two files: %s", seed, diff)
		}

		// Every row twice: only the count of duplicates differs.
		twice := daily(t, append(slices.Clone(rows), rows...))
		once := daily(t, rows)
		if twice.Duplicates != once.Duplicates+once.Rows {
			t.Errorf("seed %d: %d duplicates, want %d", seed, twice.Duplicates, once.Duplicates+once.Rows)
		}
		for i := range once.Tracks {
			if diff := cmp.Diff(once.Tracks[i].Days, twice.Tracks[i].Days, cmp.AllowUnexported(Day{})); diff != "" {
				t.Fatalf("seed %d: rows twice: %s", seed, diff)
			}
		}

		scaled := slices.Clone(rows)
		for i := range scaled {
			scaled[i].value *= 37
			scaled[i].uncertainty *= 37
		}
		big := daily(t, scaled)
		for i, tr := range once.Tracks {
			for j, day := range tr.Days {
				if b := big.Tracks[i].Days[j]; !near(b.Mean/37, day.Mean) || !near(b.Uncertainty/37, day.Uncertainty) || b.Share != day.Share {
					t.Fatalf("seed %d: ×37: %+v and %+v", seed, day, b)
				}
			}
		}
	}
}

// TestAgainstSlowDaily adds up each second of each reading on its own.
func TestAgainstSlowDaily(t *testing.T) {
	type key struct {
		home, date string
	}
	for seed := range uint64(5) {
		rng := rand.New(rand.NewPCG(seed, 3))
		loc, err := time.LoadLocation("Europe/Oslo")
		if err != nil {
			t.Fatal(err)
		}
		var rows []row
		at := time.Date(2026, 10, 23, 5, 0, 0, 0, time.UTC)
		for i := range 40 {
			length := time.Duration(1+rng.IntN(400)) * time.Minute
			rows = append(rows, row{home: "7", zone: "Europe/Oslo", start: at, end: at.Add(length), value: float64(rng.IntN(500)), kind: "field", file: "a.csv", line: int64(i + 2)})
			at = at.Add(length + time.Duration(rng.IntN(100))*time.Minute)
		}
		sum, minutes := map[key]float64{}, map[key]float64{}
		for _, r := range rows {
			for m := r.start; m.Before(r.end); m = m.Add(time.Minute) {
				k := key{r.home, m.In(loc).Format(time.DateOnly)}
				sum[k] += r.value
				minutes[k]++
			}
		}
		days := daily(t, rows).Tracks[0].Days
		if len(days) != len(sum) {
			t.Fatalf("%d days, want %d", len(days), len(sum))
		}
		for _, d := range days {
			k := key{"7", d.Start().In(loc).Format(time.DateOnly)}
			if !near(d.Mean, sum[k]/minutes[k]) || !near(d.Hours, minutes[k]/60) {
				t.Errorf("seed %d, %s: mean %v over %v h, want %v over %v", seed, k.date, d.Mean, d.Hours, sum[k]/minutes[k], minutes[k]/60)
			}
		}
	}
}

func TestHomes(t *testing.T) {
	at := instant(t, "2026-01-10T00:00:00Z")
	result := func(home, detector, method string, from, days int, value float64) row {
		start := at.AddDate(0, 0, from)
		return row{home: home, detector: detector, method: method, room: "hall", start: start, end: start.AddDate(0, 0, days), value: value, kind: "field", file: "a.csv", line: int64(value)}
	}
	rows := []row{
		result("b", "", "", 0, 90, 10), result("b", "", "", 30, 90, 11), result("b", "", "", 90, 90, 12), result("b", "", "", 30, 90, 13),
		result("10", "X", "", 0, 90, 20), result("10", "X", "", 90, 90, 21),
		result("2", "X", "track", 0, 90, 30), result("2", "X", "", 90, 90, 31),
		result("d", "X", "", 2, 7, 40),
	}
	for _, r := range logRows(at, time.Hour, "", constant(96, 5)...) {
		r.home, r.room, r.detector = "d", "hall", "X"
		rows = append(rows, r)
	}
	blank := result("b", "K", "", 0, 90, 1)
	blank.kind = "blank"
	after := result("10", "X", "", 200, 90, 22)
	after.phase = "after"
	rows = append(rows, blank, after)
	d := daily(t, rows)
	var got []string
	for _, h := range d.Homes(Filter{}) {
		for i, s := range h.Series {
			line := fmt.Sprintf("%s|%s|%s|%s:", h.Name, s.Detector, h.About[i].Method, h.About[i].Phase)
			for _, r := range s.Readings() {
				line += fmt.Sprint(" ", r.Concentration)
			}
			got = append(got, line)
		}
	}
	want := []string{
		"10|X||: 20 21",
		"10|X||after: 22",
		"2|X||: 31",
		"2|X #2|track|: 30",
		"b|||: 10 12",
		"b|#2||: 11",
		"b|#3||: 13",
		"d|X||: 5 5 5 5",
		"d|X #2||: 40",
	}
	if diff := cmp.Diff(want, got); diff != "" {
		t.Error(diff)
	}
	if c := codes(d); c["split-series"] != 2+3+2 {
		t.Errorf("split-series %d", c["split-series"])
	}
	// Results one after the other are one series, and so are two detectors' own.
	other := result("e", "Y", "track", 30, 90, 14)
	if c := codes(daily(t, []row{result("e", "X", "track", 0, 90, 10), result("e", "X", "track", 90, 90, 12), other})); c["split-series"] != 0 {
		t.Errorf("split-series %d where nothing overlaps", c["split-series"])
	}
	for _, c := range []struct {
		f           Filter
		homes, left int
	}{
		{Filter{}, 4, 1}, {Filter{Kind: "blank"}, 1, 1}, {Filter{Kind: "*"}, 4, 0},
		{Filter{Phase: "after"}, 1, 1}, {Filter{Phase: "-"}, 4, 2}, {Filter{Kind: "spike"}, 0, 0},
	} {
		hs := d.Homes(c.f)
		left := 0
		for _, h := range hs {
			left += h.LeftOut
		}
		if len(hs) != c.homes || left != c.left {
			t.Errorf("%+v: %d homes, %d series left out, want %d and %d", c.f, len(hs), left, c.homes, c.left)
		}
	}
	for _, h := range d.Homes(Filter{Kind: "*"}) {
		if len(h.About) != len(h.Series) {
			t.Errorf("home %s: %d series, %d abouts", h.Name, len(h.Series), len(h.About))
		}
	}
}

// TestSaid: what rows say in a column, with their time; not of blanks, whatever the order
// of the rows, and nothing of a track that says too much.
func TestSaid(t *testing.T) {
	lines := []string{"m,2026-01-10,fan", "m,2026-01-12,fan and sump", "m,2026-01-11,fan", "m,2026-01-13,", "n,2026-01-20,sump"}
	many := []string{"o,2026-01-10,a", "o,2026-01-11,b", "o,2026-01-12,c", "o,2026-01-13,d", "o,2026-01-14,e"}
	said := func(lines []string) (out []string) {
		text := "detector,date,system,radon_Bq_m3,home,zone\n"
		for _, l := range lines {
			text += l + ",100,7,UTC\n"
		}
		tb, err := Open([]string{"-"}, Options{Stdin: strings.NewReader(text), Unit: "Bq/m3"})
		if err != nil {
			t.Fatal(err)
		}
		defer tb.Close()
		d, err := tb.Daily()
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range d.Said(0, "system") {
			out = append(out, fmt.Sprintf("%s %s to %s", s.Value, s.Start.Format(time.DateOnly), s.End.Format(time.DateOnly)))
		}
		if d.Said(0, "nothing") != nil {
			t.Error("a column that is not there says something")
		}
		return out
	}
	want := []string{"fan 2026-01-10 to 2026-01-12", "fan and sump 2026-01-12 to 2026-01-13", "sump 2026-01-20 to 2026-01-21"}
	backwards := slices.Clone(lines)
	slices.Reverse(backwards)
	for _, l := range [][]string{lines, backwards, slices.Concat(many, lines)} {
		if diff := cmp.Diff(want, said(l)); diff != "" {
			t.Error(diff)
		}
	}
	if four := said(many[:4]); len(four) != 4 {
		t.Errorf("four values: %q", four)
	}
}

func TestBadRows(t *testing.T) {
	at := instant(t, "2026-01-10T00:00:00Z")
	for _, change := range []func(*row){
		func(r *row) { r.value = math.NaN() },
		func(r *row) { r.value = math.Inf(1) },
		func(r *row) { r.value = -1 },
		func(r *row) { r.end = r.start },
		func(r *row) { r.share = 1.5 },
		func(r *row) { r.uncertainty = math.Inf(1) },
	} {
		rows := logRows(at, time.Hour, "UTC", 1, 2, 3)
		change(&rows[1])
		if _, err := reduce(tableOf(rows, 10)); err == nil {
			t.Errorf("no error for %+v", rows[1])
		}
	}
	if _, err := reduce(&madeTable{schema: arrow.NewSchema(schemaFields[:5], nil)}); err == nil {
		t.Error("no error for a table without most columns")
	}
}

// yearOfHours streams hourly rows of some homes for a year without holding them.
type yearOfHours struct {
	schema *arrow.Schema
	homes  int
	hours  int
	home   int
	hour   int
}

func (y *yearOfHours) Schema() *arrow.Schema { return y.schema }

func (y *yearOfHours) Next() (arrow.Record, error) {
	if y.home == y.homes {
		return nil, io.EOF
	}
	m := tableOf(nil, 1<<14)
	start := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	for len(m.rows) < m.batch && y.home < y.homes {
		at := start.Add(time.Duration(y.hour) * time.Hour)
		m.rows = append(m.rows, row{home: fmt.Sprint(y.home), detector: "D", zone: "Europe/Oslo", start: at, end: at.Add(time.Hour),
			value: float64(50 + (y.hour*7919+y.home)%101), kind: "field", file: "a.csv", line: int64(y.home*y.hours + y.hour + 2)})
		if y.hour++; y.hour == y.hours {
			y.home, y.hour = y.home+1, 0
		}
	}
	return m.Next()
}

func BenchmarkDaily(b *testing.B) {
	var batches []arrow.Record
	src := &yearOfHours{schema: tableOf(nil, 1).schema, homes: 114, hours: 8760}
	for {
		rec, err := src.Next()
		if err == io.EOF {
			break
		}
		batches = append(batches, rec)
	}
	rows := 114 * 8760
	b.ResetTimer()
	for b.Loop() {
		c, err := newCollector(src.schema)
		if err != nil {
			b.Fatal(err)
		}
		for _, rec := range batches {
			if err := c.add(rec); err != nil {
				b.Fatal(err)
			}
		}
		d := c.finish()
		if len(d.Tracks) != 114 {
			b.Fatal(len(d.Tracks))
		}
	}
	b.ReportMetric(float64(rows)*float64(b.N)/b.Elapsed().Seconds(), "rows/s")

	// Live memory when the input ends, its largest, by day of a home.
	var before, after runtime.MemStats
	runtime.GC()
	runtime.ReadMemStats(&before)
	c, _ := newCollector(src.schema)
	for _, rec := range batches {
		if err := c.add(rec); err != nil {
			b.Fatal(err)
		}
	}
	runtime.GC()
	runtime.ReadMemStats(&after)
	b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/(114*365), "B/day-read")
	d := c.finish()
	c = nil
	runtime.GC()
	runtime.ReadMemStats(&after)
	b.ReportMetric(float64(after.HeapAlloc-before.HeapAlloc)/(114*365), "B/day-reduced")
	runtime.KeepAlive(d)
	runtime.KeepAlive(batches)
}
