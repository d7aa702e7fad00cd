package ingest

import (
	"bufio"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/apache/arrow/go/v17/arrow/array"
)

// put writes files into a new folder and returns their paths.
func put(t testing.TB, files ...string) []string {
	dir := t.TempDir()
	var paths []string
	for i := 0; i+1 < len(files); i += 2 {
		p := filepath.Join(dir, files[i])
		if err := os.WriteFile(p, []byte(files[i+1]), 0o644); err != nil {
			t.Fatal(err)
		}
		paths = append(paths, p)
	}
	return paths
}

// accountOf is account without the folder's name.
func accountOf(paths []string, opt Options) string {
	return strings.ReplaceAll(account(paths, opt), filepath.Dir(paths[0])+string(filepath.Separator), "")
}

func TestSeveralFiles(t *testing.T) {
	paths := put(t,
		"a.csv", "home,time,Radon (Bq/m3),note\nA,2026-01-10T00:00Z,100,x\nA,2026-01-10T01:00Z,101,y\n",
		"b.csv", "home;start;end;Result (pCi/L);Floor no\nB;2026-01-10;2026-01-17;1,5;2\n")
	got := accountOf(paths, Options{})
	want := `2: A 2026-01-10T00:00:00Z 2026-01-10T01:00:00Z zone=UTC 100 note=x
3: A 2026-01-10T01:00:00Z 2026-01-10T02:00:00Z zone=UTC 101 note=y
2: B 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 55.5 Floor no=2
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone in the times by times; dates ymd, unambiguous; step 1h0m0s
rows 1, readings 1, left out 0; unit pCi/L by column name; zone dates only; dates ymd, unambiguous; delimiter ";"; decimal comma
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

func TestHomeOfFiles(t *testing.T) {
	const log = "time,Radon (Bq/m3)\n2026-01-10T00:00Z,100\n2026-01-10T01:00Z,101\n"
	paths := put(t, "0071.csv", log, "0072.log.csv", log)
	got := accountOf(paths, Options{})
	if want := "error 0071.csv: no column says which home the readings are from; with several files give --home-from-filename, or name the column with --column NAME=home\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	got = accountOf(paths, Options{HomeFromFilename: true})
	for _, want := range []string{"2: 0071 ", "2: 0072.log "} {
		if !strings.Contains(got, want) {
			t.Errorf("no %q in\n%s", want, got)
		}
	}
}

// Two files of one name in two folders would be one home by their names; the
// same file twice is one file.
func TestHomesOfOneFileName(t *testing.T) {
	const log = "time,Radon (Bq/m3)\n2026-01-10T00:00Z,100\n2026-01-10T01:00Z,101\n"
	paths := put(t, "0071.csv", log, "0071.log.csv", log)
	dir := filepath.Join(filepath.Dir(paths[0]), "north")
	if err := os.Mkdir(dir, 0o777); err != nil {
		t.Fatal(err)
	}
	other := filepath.Join(dir, "0071.csv")
	if err := os.WriteFile(other, []byte(log), 0o666); err != nil {
		t.Fatal(err)
	}
	got := accountOf([]string{paths[0], other}, Options{HomeFromFilename: true})
	if want := "error north/0071.csv: --home-from-filename makes it the home \"0071\", and 0071.csv too; give files of two homes different names; join files of one home, or say the home in a column\n"; got != want {
		t.Errorf("got %q, want %q", got, want)
	}
	for _, fine := range [][]string{paths, {other, other}, {other, dir + "/../north/0071.csv"}} {
		if got := accountOf(fine, Options{HomeFromFilename: true}); strings.Contains(got, "error") {
			t.Errorf("%v: %s", fine, got)
		}
	}
}

// Two years, leap days and all, are the most that a result may take.
func TestLongestResult(t *testing.T) {
	paths := put(t,
		"ends.csv", "home,start,end,Radon (Bq/m3)\nA,2024-01-10,2026-01-10,100\nA,2024-01-10,2026-01-12,100\nB,2024-01-10,2026-01-11,100\nB,2024-01-10,2051-05-28,100\n",
		"days.csv", "home,end,days,Radon (Bq/m3)\nC,2026-01-10,732,100\nC,2026-01-10,732.5,100\n")
	got := accountOf(paths, Options{})
	want := `2: A 2024-01-10T00:00:00Z 2026-01-10T00:00:00Z 100
4: B 2024-01-10T00:00:00Z 2026-01-11T00:00:00Z 100
2: C 2024-01-09T00:00:00Z 2026-01-10T00:00:00Z 100
left out 3 [end] "2026-01-12" makes the result 733 days long; no passive detector stays more than two years, so check the dates
left out 5 [end] "2051-05-28" makes the result 10000 days long; no passive detector stays more than two years, so check the dates
left out 3 [days] "732.5" makes the result 732 days long; no passive detector stays more than two years, so check the dates
`
	if !strings.HasPrefix(got, want) {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// A weak word for a home, such as location, gives way to the file's name.
func TestHomeOfFilesBesideWeakName(t *testing.T) {
	paths := put(t, "0071.csv", "location,start,end,Radon (Bq/m3)\nhall,2026-01-10,2026-01-17,100\n")
	got := accountOf(paths, Options{HomeFromFilename: true})
	if want := "2: 0071 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100 location=hall\n"; !strings.HasPrefix(got, want) {
		t.Errorf("got %q, want it to begin with %q", got, want)
	}
}

func TestStdin(t *testing.T) {
	const log = "time,Radon (Bq/m3)\n2026-01-10T00:00Z,100\n2026-01-10T01:00Z,x\n2026-01-10T02:00Z,102\n2026-01-10T03:00Z,103\n"
	got := account([]string{"-"}, Options{Stdin: strings.NewReader(log)})
	want := `2: home 2026-01-10T00:00:00Z 2026-01-10T01:00:00Z zone=UTC 100
4: home 2026-01-10T02:00:00Z 2026-01-10T03:00:00Z zone=UTC 102
5: home 2026-01-10T03:00:00Z 2026-01-10T04:00:00Z zone=UTC 103
left out 3 [Radon (Bq/m3)] "x" is not a number
rows 4, readings 3, left out 1; unit Bq/m3 by column name; zone in the times by times; dates ymd, unambiguous; step 1h0m0s
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
	tb, err := Open([]string{"-"}, Options{Stdin: strings.NewReader(log)})
	if err != nil {
		t.Fatal(err)
	}
	temp := tb.temps[0]
	if err := tb.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(temp); !errors.Is(err, os.ErrNotExist) {
		t.Errorf("the temporary copy of standard input is still there: %v", err)
	}
	if _, err := tb.Next(); err == nil || err == io.EOF {
		t.Errorf("Next after Close gives %v", err)
	}
}

func TestRejectsAreWhole(t *testing.T) {
	body := "home,start,end,Radon (Bq/m3),note\n"
	for i := range 10 {
		body += fmt.Sprintf("A,2026-01-10,2026-01-17,bad%d,\"kept, \"\"whole\"\"\"\n", i)
	}
	paths := put(t, "a.csv", body)
	tb, err := Open(paths, Options{MaxRejects: 3})
	if err != nil {
		t.Fatal(err)
	}
	defer tb.Close()
	if _, err := dump(tb); err != nil {
		t.Fatal(err)
	}
	f := tb.Sources()[0]
	if len(tb.Rejected()) != 3 || f.Rejected != 10 || f.Rows != 10 {
		t.Errorf("kept %d of %d rejects of %d rows, want 3 of 10 of 10", len(tb.Rejected()), f.Rejected, f.Rows)
	}
	e := tb.Rejected()[2]
	want := RowError{File: paths[0], Line: 4, Column: "Radon (Bq/m3)", Value: "bad2", Why: "is not a number", Row: `A,2026-01-10,2026-01-17,bad2,"kept, ""whole"""`}
	if e != want {
		t.Errorf("got %+v\nwant %+v", e, want)
	}
	sum := sha256.Sum256([]byte(body))
	if f.SHA256 != hex.EncodeToString(sum[:]) {
		t.Errorf("digest %s is not that of the file", f.SHA256)
	}
}

// The order of dates is asked of the whole file, not of its head alone.
func TestDateOrderFarDown(t *testing.T) {
	t.Parallel()
	var b strings.Builder
	b.WriteString("home,date,Radon (Bq/m3)\n")
	for i := range 2 * headRows {
		fmt.Fprintf(&b, "H%d,%02d/%02d/2026,100\n", i, 1+i%12, 1+i/12%12)
	}
	unsure := b.String()
	if got := accountOf(put(t, "a.csv", unsure), Options{}); !strings.Contains(got, "could be day/month or month/day") {
		t.Errorf("a file that cannot tell was read: %.200s", got)
	}
	last := 2*headRows + 2
	got := accountOf(put(t, "a.csv", unsure+"X,12/31/2026,100\n"), Options{})
	if want := fmt.Sprintf("dates mdy, a day above 12 on line %d\n", last); !strings.HasSuffix(got, want) {
		t.Errorf("got ...%s, want ...%s", got[len(got)-100:], want)
	}
	got = accountOf(put(t, "a.csv", unsure+"X,12/31/2026,100\nY,31/12/2026,100\n"), Options{})
	if !strings.HasPrefix(got, "error a.csv") {
		t.Errorf("two orders in one file were read: %.100s", got)
	}
}

// A repeated hour is settled for each detector by itself, across batches and
// with rows of several detectors in turn.
func TestAutumnForEachDetector(t *testing.T) {
	var b strings.Builder
	b.WriteString("detector,time,Radon (Bq/m3)\n")
	for _, clock := range []string{"01:00", "02:00", "02:00", "03:00"} {
		for d := range 6000 { // more than a batch each hour and a half
			fmt.Fprintf(&b, "D%d,2026-10-25 %s,100\n", d, clock)
		}
	}
	tb, err := Open(put(t, "a.csv", b.String()), Options{Zone: "Europe/Oslo"})
	if err != nil {
		t.Fatal(err)
	}
	defer tb.Close()
	seen := make(map[string]int) // hours after midnight UTC, by detector
	first := time.Date(2026, 10, 24, 23, 0, 0, 0, time.UTC).Unix() / 3600
	batches := 0
	for {
		rec, err := tb.Next()
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		batches++
		for i := range int(rec.NumRows()) {
			hour := int64(rec.Column(5).(*array.Timestamp).Value(i))/3_600_000_000 - first
			length := rec.Column(6).(*array.Timestamp).Value(i) - rec.Column(5).(*array.Timestamp).Value(i)
			if length != 3_600_000_000 {
				t.Fatalf("a reading of %d µs in an hourly log", length)
			}
			d := wordAt(rec, 3, i)
			if int(hour) != seen[d] {
				t.Fatalf("%s: hour %d where %d was due", d, hour, seen[d])
			}
			seen[d]++
		}
	}
	if len(seen) != 6000 || batches < 2 {
		t.Errorf("%d detectors in %d batches, want 6000 in at least 2", len(seen), batches)
	}
	for d, n := range seen {
		if n != 4 {
			t.Errorf("%s has %d readings, want 4", d, n)
		}
	}
}

// The order of the rows changes the order of the readings and nothing else.
func TestPropertiesOfRows(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	var rows []string
	for d := range 5 {
		for h := range 200 {
			rows = append(rows, fmt.Sprintf("D%d,2026-05-%02d %02d:%02d,%d", d, 1+h*(1+d)/24, h*(1+d)%24, 10*(d%2), 50+rng.IntN(200)))
		}
	}
	read := func(rows []string) []string {
		tb, err := Open(put(t, "a.csv", "detector,time,Radon (Bq/m3)\n"+strings.Join(rows, "\n")+"\n"), Options{Zone: "Europe/Oslo"})
		if err != nil {
			t.Fatal(err)
		}
		defer tb.Close()
		lines, err := dump(tb)
		if err != nil {
			t.Fatal(err)
		}
		if len(tb.Rejected()) > 0 {
			rows := tb.Rejected()
			t.Fatalf("%d rows were left out, the first %v", len(rows), rows[0])
		}
		for i, l := range lines {
			_, lines[i], _ = strings.Cut(l, ": ") // the line number
		}
		slices.Sort(lines)
		return lines
	}
	rows = slices.DeleteFunc(rows, func(r string) bool { return strings.Contains(r, "2026-05-3") || strings.Contains(r, "2026-05-4") })
	want := read(rows)
	for range 5 {
		rng.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
		if got := read(rows); !slices.Equal(got, want) {
			t.Fatal("shuffled rows gave other readings")
		}
	}
}

// TestLongLogsInAnyOrder: of a log of more rows than a batch the length of a
// reading is the step of its own series, in whatever order the rows stand. A
// batch of shuffled rows would hold each series at distances of its own.
func TestLongLogsInAnyOrder(t *testing.T) {
	const homes, rows = 30, 800
	start := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	step := func(home int) time.Duration { return time.Duration(15<<(home%3)) * time.Minute }
	row := func(home, i int) string {
		return fmt.Sprintf("H%02d,%s,%d", home, start.Add(time.Duration(i)*step(home)).Format("2006-01-02 15:04"), 50+(home*7+i*13)%100)
	}
	var byHome, byTime []string
	for h := range homes {
		for i := range rows {
			byHome = append(byHome, row(h, i))
		}
	}
	for i := range rows {
		for h := range homes {
			byTime = append(byTime, row(h, i))
		}
	}
	newestFirst := slices.Clone(byHome)
	slices.Reverse(newestFirst)
	shuffled := slices.Clone(byHome)
	rand.New(rand.NewPCG(3, 3)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	want := ""
	for _, c := range []struct {
		name string
		rows []string
	}{
		{"by home", byHome}, {"by time", byTime}, {"newest first", newestFirst},
		{"joined", slices.Concat(byHome[:12000], newestFirst[:12000])}, {"shuffled", shuffled},
	} {
		text := "home,time,Radon (Bq/m3)\n" + strings.Join(c.rows, "\n") + "\n"
		tb, err := Open(put(t, "a.csv", text), Options{Zone: "UTC"})
		if err != nil {
			t.Fatal(c.name, err)
		}
		lines, err := dump(tb)
		tb.Close()
		if err != nil || len(lines) != homes*rows {
			t.Fatalf("%s: %d readings, %v", c.name, len(lines), err)
		}
		for i, l := range lines { // "2: H01 start end zone=UTC value"
			f := strings.Fields(l)
			home, _ := strconv.Atoi(f[1][1:])
			if d := instant(t, f[3]).Sub(instant(t, f[2])); d != step(home) {
				t.Fatalf("%s: reading %d, %q, lasts %v", c.name, i, l, d)
			}
			_, lines[i], _ = strings.Cut(l, ": ") // the line is where it stands now
		}
		slices.Sort(lines)
		switch got := strings.Join(lines, "\n"); {
		case want == "":
			want = got
		case c.name != "joined" && got != want:
			t.Errorf("%s: the readings are others", c.name)
		}
		for _, tr := range reduceText(t, c.rows).Tracks {
			if h := tr.Days[3].Hours; h != 24 {
				t.Errorf("%s: home %s was measured %v hours of a day", c.name, tr.Home, h)
			}
		}
	}
}

// TestOffsetsInAnyOrder: a logger that writes +02:00 in summer and +01:00 in
// winter has its days cut at the offset of its earliest time, whichever row
// stands first and however far down.
func TestOffsetsInAnyOrder(t *testing.T) {
	for _, header := range []string{"home,time,Radon (Bq/m3)", "home,start,end,Radon (Bq/m3)"} {
		spring := time.Date(2025, 3, 30, 1, 0, 0, 0, time.UTC) // when clocks go forward
		var rows []string
		for i := range 6000 {
			at := spring.Add(time.Duration(i-1000) * time.Hour)
			stamp := func(at time.Time) string {
				zone := fixedZone(7200)
				if at.Before(spring) {
					zone = fixedZone(3600)
				}
				return at.In(zone).Format(time.RFC3339)
			}
			r := "H," + stamp(at)
			if strings.Contains(header, "end") {
				r += "," + stamp(at.Add(time.Hour))
			}
			rows = append(rows, fmt.Sprintf("%s,%d", r, 50+i*13%100))
		}
		newestFirst := slices.Clone(rows)
		slices.Reverse(newestFirst)
		for _, rows := range [][]string{rows, newestFirst} {
			tb, err := Open(put(t, "a.csv", header+"\n"+strings.Join(rows, "\n")+"\n"), Options{})
			if err != nil {
				t.Fatal(err)
			}
			d, err := tb.Daily()
			f := tb.Sources()[0]
			tb.Close()
			if err != nil {
				t.Fatal(err)
			}
			if f.DayOffset != "+01:00" || d.Tracks[0].Zone != "+01:00" || f.Zone != "in the times" {
				t.Errorf("%s, %s first: days are cut at %q (%q), zone %q", header, rows[0], d.Tracks[0].Zone, f.DayOffset, f.Zone)
			}
		}
		tb, err := Open(put(t, "a.csv", header+"\n"+strings.Join(rows[2000:], "\n")+"\n"), Options{})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := tb.Daily(); err != nil {
			t.Fatal(err)
		}
		if f := tb.Sources()[0]; f.DayOffset != "" {
			t.Errorf("%s: one offset, and the days are said to be cut at %q of several", header, f.DayOffset)
		}
		tb.Close()
	}
}

func reduceText(t *testing.T, rows []string) *Daily {
	t.Helper()
	tb, err := Open(put(t, "b.csv", "home,time,Radon (Bq/m3)\n"+strings.Join(rows, "\n")+"\n"), Options{Zone: "UTC"})
	if err != nil {
		t.Fatal(err)
	}
	defer tb.Close()
	d, err := tb.Daily()
	if err != nil {
		t.Fatal(err)
	}
	return d
}

// encoding/csv is the oracle of what a record is.
func sameAsOracle(t *testing.T, text string, delim byte) {
	r := csv.NewReader(strings.NewReader(text))
	r.Comma, r.Comment, r.FieldsPerRecord = rune(delim), '#', -1
	want, err := r.ReadAll()
	if err != nil {
		return // damage is where the two part
	}
	want = slices.DeleteFunc(want, func(f []string) bool { return len(f) == 1 && strings.TrimSpace(f[0]) == "" })
	c := csvReader{delim: delim, lines: lineSource{r: bufio.NewReaderSize(strings.NewReader(text), len(text)+1)}}
	var got [][]string
	for {
		fields, _, _, err := c.record(nil, 0)
		if err == io.EOF {
			break
		}
		if err != nil {
			t.Fatalf("%q: %v, where the oracle reads %q", text, err, want)
		}
		got = append(got, fields)
	}
	got = slices.DeleteFunc(got, func(f []string) bool { return len(f) == 1 && strings.TrimSpace(f[0]) == "" })
	if !slices.EqualFunc(got, want, slices.Equal[[]string]) {
		t.Fatalf("%q: %q, the oracle reads %q", text, got, want)
	}
}

func oracleApplies(text string) bool {
	// Where ours differs on purpose: blank lines of spaces or tabs, Windows-1252, zero
	// bytes, records of hundreds of lines, a carriage return alone.
	if !utf8.ValidString(text) || strings.ContainsAny(text, "\x00\ufeff") || strings.Count(text, "\n") > recordLines {
		return false
	}
	t := strings.ReplaceAll(text, "\r\n", "\n")
	if strings.Contains(t, "\r") {
		return false
	}
	for _, l := range strings.Split(t, "\n") {
		if l != "" && strings.TrimSpace(l) == "" {
			return false
		}
	}
	return true
}

func TestAgainstSlowCSV(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(3, 4))
	const letters = `ab",;` + "\n" + `"# ,` + "\n\r"
	for range 20000 {
		b := make([]byte, rng.IntN(24))
		for i := range b {
			b[i] = letters[rng.IntN(len(letters))]
		}
		if oracleApplies(string(b)) {
			sameAsOracle(t, string(b), ',')
			sameAsOracle(t, string(b), ';')
		}
	}
}

func FuzzCSVFields(f *testing.F) {
	f.Add("a,\"b\nc\"\r\n\"\"\"\",d")
	f.Fuzz(func(t *testing.T, text string) {
		if oracleApplies(text) {
			sameAsOracle(t, text, ',')
			sameAsOracle(t, text, '\t')
		}
	})
}

func FuzzCSV(f *testing.F) {
	files, err := filepath.Glob(filepath.Join("..", "testdata", "messy", "*"))
	if err != nil || len(files) == 0 {
		f.Fatalf("no seeds: %v", err)
	}
	for _, p := range files {
		if strings.HasSuffix(p, ".xlsx") {
			continue // see TestWorkbookDamaged
		}
		b, err := os.ReadFile(p)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(b, true)
	}
	f.Add([]byte("home,start,end,value,unit\nA,2026-01-10,2026-01-17,1e300,pCi/L\nA,2026-01-10,2026-01-17,1e-300,pCi/L\n"), false)
	dir := f.TempDir()
	f.Fuzz(func(t *testing.T, b []byte, generous bool) {
		p := filepath.Join(dir, "a.csv")
		if err := os.WriteFile(p, b, 0o644); err != nil {
			t.Fatal(err)
		}
		var opt Options
		if generous {
			opt = Options{Unit: "Bq/m3", Zone: "Europe/Oslo", DateOrder: "dmy", Decimal: "."}
		}
		tb, err := Open([]string{p}, opt)
		if err != nil {
			var fe *FileError
			if !errors.As(err, &fe) || fe.Why == "" || fe.Hint == "" {
				t.Fatalf("an error without a cure: %v", err)
			}
			return
		}
		defer tb.Close()
		n := int64(0)
		for {
			rec, err := tb.Next()
			if err == io.EOF {
				break
			}
			if err != nil {
				return
			}
			n += rec.NumRows()
			for i := range int(rec.NumRows()) {
				start, end := rec.Column(5).(*array.Timestamp).Value(i), rec.Column(6).(*array.Timestamp).Value(i)
				x := rec.Column(8).(*array.Float64).Value(i)
				u := rec.Column(9).(*array.Float64)
				if start >= end || !(x >= 0 && x <= mostConcentration) || math.Signbit(x) || wordAt(rec, 0, i) == "" ||
					u.IsValid(i) && !(u.Value(i) >= 0 && u.Value(i) <= mostConcentration) {
					t.Fatalf("row %d: %v to %v, %v", i, start, end, x)
				}
				if _, err := LoadZone(wordAt(rec, 7, i)); err != nil {
					t.Fatal(err)
				}
			}
		}
		s := tb.Sources()[0]
		if n != s.Readings || int64(len(tb.Rejected())) != s.Rejected || s.SHA256 == "" {
			t.Fatalf("%d readings came, %d were counted; %d rejects, %d counted", n, s.Readings, len(tb.Rejected()), s.Rejected)
		}
		if s.Wide == nil && s.Rows != s.Readings+s.Rejected {
			t.Fatalf("%d rows, but %d readings and %d rejected", s.Rows, s.Readings, s.Rejected)
		}
		if k := int64(len(s.Wide)); k > 0 && (s.Rows-s.lostRows)*k != s.Readings+s.EmptyCells+s.Rejected-s.lostRows {
			t.Fatalf("%d rows of %d rooms, %d lost: %d readings, %d empty, %d rejected", s.Rows, k, s.lostRows, s.Readings, s.EmptyCells, s.Rejected)
		}
		for _, r := range tb.Rejected() {
			if r.Line < 1 || r.Why == "" {
				t.Fatalf("a reject that does not say where or why: %+v", r)
			}
		}
	})
}

// A damaged workbook gives an error or its own rows, never a panic.
func TestWorkbookDamaged(t *testing.T) {
	t.Parallel()
	whole, err := os.ReadFile(filepath.Join("..", "testdata", "messy", "workbook.xlsx"))
	if err != nil {
		t.Fatal(err)
	}
	opt := Options{Zone: "Europe/Oslo"}
	rng := rand.New(rand.NewPCG(9, 10))
	refused := 0
	for i := range 200 {
		b := slices.Clone(whole)
		if i%2 == 0 {
			b = b[:rng.IntN(len(b))]
		} else {
			for range 1 + rng.IntN(4) {
				b[rng.IntN(len(b))] ^= byte(1 + rng.IntN(255))
			}
		}
		got := accountOf(put(t, "a.xlsx", string(b)), opt)
		if strings.HasPrefix(got, "error ") {
			refused++
		} else if i%2 == 0 {
			t.Errorf("a workbook cut at %d of %d bytes was read:\n%s", len(b), len(whole), got)
		}
	}
	if refused < 100 {
		t.Errorf("%d of 200 damaged workbooks were refused", refused)
	}
}

func BenchmarkCSV(b *testing.B) {
	var s strings.Builder
	s.WriteString("home,room,detector,time,Radon (Bq/m3),temperature\n")
	rng := rand.New(rand.NewPCG(5, 6))
	for h := range 50 {
		for i := range 4000 {
			fmt.Fprintf(&s, "H%04d,bedroom,D%d,2026-%02d-%02dT%02d:00:00Z,%d.%d,%d.5\n", h, h, 1+i/672, 1+i/24%28, i%24, 20+rng.IntN(400), rng.IntN(10), 15+rng.IntN(9))
		}
	}
	paths := put(b, "a.csv", s.String())
	b.SetBytes(int64(s.Len()))
	for b.Loop() {
		tb, err := Open(paths, Options{})
		if err != nil {
			b.Fatal(err)
		}
		n := int64(0)
		for {
			rec, err := tb.Next()
			if err == io.EOF {
				break
			}
			if err != nil {
				b.Fatal(err)
			}
			n += rec.NumRows()
		}
		if n != 200_000 {
			b.Fatalf("%d readings", n)
		}
		tb.Close()
	}
}

// TestSpotReadings: times months apart are no log, and nothing is said of the
// months between.
func TestSpotReadings(t *testing.T) {
	path := filepath.Join(t.TempDir(), "spot.csv")
	for text, ok := range map[string]bool{
		"home,time,value,unit\nA,2025-01-10T12:00Z,50,Bq/m3\nA,2025-07-10T12:00Z,60,Bq/m3\n": false,
		"home,time,value,unit\nA,2025-01-10T12:00Z,50,Bq/m3\nA,2025-01-12T00:01Z,60,Bq/m3\n": false,
		"home,time,value,unit\nA,2025-01-10T12:00Z,50,Bq/m3\nA,2025-01-11T12:00Z,60,Bq/m3\n": true,
	} {
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		table, err := Open([]string{path}, Options{})
		if err == nil {
			table.Close()
		}
		if (err == nil) != ok {
			t.Errorf("%q: %v", text, err)
		}
	}
}
