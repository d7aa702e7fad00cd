package ingest

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"github.com/apache/arrow/go/v17/arrow"
	"github.com/google/go-cmp/cmp"
)

// allRows is a table's rows as text that tells every value apart, places apart.
func allRows(t testing.TB, paths ...string) []string {
	t.Helper()
	tab, err := Open(paths, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer tab.Close()
	out := rowsOf(t, tab)
	if n := len(tab.Rejected()); n > 0 {
		t.Fatalf("%d rows rejected, the first: %v", n, tab.Rejected()[0])
	}
	return out
}

func rowsOf(t testing.TB, tab records) []string {
	t.Helper()
	var out []string
	for {
		rec, err := tab.Next()
		if err == io.EOF {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		for i := range int(rec.NumRows()) {
			line := ""
			for k, f := range tab.Schema().Fields() {
				if f.Name != "file" && f.Name != "line" {
					line += fmt.Sprintf("%s=%q ", f.Name, rec.Column(k).ValueStr(i))
				}
			}
			out = append(out, line)
		}
	}
}

// shapes is a table of what a writer may stumble over.
func shapes(t testing.TB) []row {
	rows := community(3)
	at := instant(t, "2026-01-10T00:00:00Z").Add(123456 * time.Microsecond)
	for i, s := range []string{`0071`, `a "quoted" name`, "one, two; three", "Øvre Årdal", "line\nbreak", "1e5", "=1+1"} {
		rows = append(rows, row{home: s, room: s, detector: s, extra: s, start: at, end: at.Add(time.Hour), zone: "Europe/Oslo", kind: "field",
			value: 1.0 / float64(3+i), uncertainty: 0.1, weight: 2.5, share: 1.0 / 3, phase: "after", method: "track", file: "a.csv", line: int64(i)})
	}
	return rows
}

var extensions = []string{".parquet", ".arrow", ".csv"}

func TestWriteRoundTrip(t *testing.T) {
	rows := shapes(t)
	want := rowsOf(t, tableOf(rows, 700))
	for _, ext := range extensions {
		path := filepath.Join(t.TempDir(), "out"+ext)
		if err := writeFile(path, nil, tableOf(rows, 700)); err != nil {
			t.Fatal(err)
		}
		if diff := cmp.Diff(want, allRows(t, path)); diff != "" {
			t.Errorf("%s: %s", ext, diff)
		}
		// The copy of a copy is the same file, byte for byte.
		tab, err := Open([]string{path}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		again := filepath.Join(t.TempDir(), "again"+ext)
		if err := tab.Write(again, []string{path}); err != nil {
			t.Fatal(err)
		}
		tab.Close()
		a, err1 := os.ReadFile(path)
		b, err2 := os.ReadFile(again)
		if err := errors.Join(err1, err2); err != nil {
			t.Fatal(err)
		}
		if ext == ".csv" && !bytes.Equal(a, b) { // batches, and so row groups, may be cut elsewhere in the others
			t.Errorf("%s: the copy differs", ext)
		}
	}
}

func TestWriteLarge(t *testing.T) {
	// More rows than a row group holds, so that there are two.
	path := filepath.Join(t.TempDir(), "out.parquet")
	if err := writeFile(path, nil, &yearOfHours{schema: tableOf(nil, 1).schema, homes: 16, hours: 8760}); err != nil {
		t.Fatal(err)
	}
	r, err := openParquet(path)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(r.(*parquetReader).meta.RowGroups); n != 2 {
		t.Errorf("%d row groups", n)
	}
	r.Close()
	tab, err := Open([]string{path}, Options{})
	if err != nil {
		t.Fatal(err)
	}
	defer tab.Close()
	d, err := tab.Daily()
	if err != nil {
		t.Fatal(err)
	}
	if d.Rows != 16*8760 || len(d.Tracks) != 16 || d.Duplicates+d.Overlaps != 0 {
		t.Errorf("%d rows, %d tracks, %d duplicates, %d overlaps", d.Rows, len(d.Tracks), d.Duplicates, d.Overlaps)
	}
}

func TestDailyRoundTrip(t *testing.T) {
	d := daily(t, community(5))
	for _, ext := range extensions {
		path := filepath.Join(t.TempDir(), "daily"+ext)
		if err := d.Write(path, nil); err != nil {
			t.Fatal(err)
		}
		tab, err := Open([]string{path}, Options{})
		if err != nil {
			t.Fatal(err)
		}
		back, err := tab.Daily()
		if err != nil {
			t.Fatal(err)
		}
		if n := len(tab.Rejected()); n > 0 {
			t.Errorf("%s: rejected: %v", ext, tab.Rejected()[0])
		}
		tab.Close()
		if len(back.Tracks) != len(d.Tracks) {
			t.Fatalf("%s: %d tracks, want %d", ext, len(back.Tracks), len(d.Tracks))
		}
		for i, tr := range d.Tracks {
			b := back.Tracks[i]
			if b.Place != tr.Place || b.Phase != tr.Phase || b.Kind != tr.Kind || b.Method != tr.Method || len(b.Days) != len(tr.Days) {
				t.Fatalf("%s: %v with %d days became %v with %d", ext, tr.Place, len(tr.Days), b.Place, len(b.Days))
			}
			for j, day := range tr.Days {
				if diff := cmp.Diff(day.Reading(), b.Days[j].Reading()); diff != "" {
					t.Errorf("%s: %v: %s", ext, tr.Place, diff)
				}
			}
			if diff := cmp.Diff(tr.Results, b.Results); diff != "" {
				t.Errorf("%s: %v: %s", ext, tr.Place, diff)
			}
		}
		if b := back; b.Duplicates != 0 || b.Overlaps != 0 {
			t.Errorf("%s: %d duplicates, %d overlaps", ext, b.Duplicates, b.Overlaps)
		}
	}
}

// fullDisk takes some bytes and then no more.
type fullDisk struct{ left int }

var errFull = errors.New("no space left")

func (f *fullDisk) Write(p []byte) (int, error) {
	if len(p) > f.left {
		n := f.left
		f.left = 0
		return n, errFull
	}
	f.left -= len(p)
	return len(p), nil
}

// failing is a table that breaks in its second batch.
type failing struct {
	*madeTable
	calls int
}

func (f *failing) Next() (arrow.Record, error) {
	if f.calls++; f.calls > 1 {
		return nil, errFull
	}
	return f.madeTable.Next()
}

func TestWriteFails(t *testing.T) {
	rows := shapes(t)
	for _, ext := range extensions {
		var whole bytes.Buffer
		if err := writeTable(&whole, ext[1:], tableOf(rows, 100)); err != nil {
			t.Fatal(err)
		}
		for i := range 15 {
			if err := writeTable(&fullDisk{left: whole.Len() * i / 15}, ext[1:], tableOf(rows, 100)); !errors.Is(err, errFull) {
				t.Errorf("%s, room for %d of 15: %v", ext, i, err)
			}
		}

		dir := t.TempDir()
		path := filepath.Join(dir, "out"+ext)
		if err := writeFile(path, nil, &failing{madeTable: tableOf(rows, 100)}); !errors.Is(err, errFull) {
			t.Errorf("%s: a table that breaks: %v", ext, err)
		}
		if left, err := os.ReadDir(dir); err != nil || len(left) != 0 {
			t.Errorf("%s: left behind: %v, %v", ext, left, err)
		}

		if err := writeFile(path, nil, tableOf(nil, 100)); !errors.Is(err, ErrNoReadings) {
			t.Errorf("%s: a table without rows: %v", ext, err)
		}
		if left, err := os.ReadDir(dir); err != nil || len(left) != 0 {
			t.Errorf("%s: left behind: %v, %v", ext, left, err)
		}

		// An older output is replaced, but only when all is written.
		if err := os.WriteFile(path, []byte("old"), 0o640); err != nil {
			t.Fatal(err)
		}
		if err := writeFile(path, nil, &failing{madeTable: tableOf(rows, 100)}); err == nil {
			t.Errorf("%s: no error", ext)
		}
		if b, err := os.ReadFile(path); err != nil || string(b) != "old" {
			t.Errorf("%s: the older output is %q, %v", ext, b, err)
		}
		var fe *FileError
		other := filepath.Join(dir, "link"+ext)
		if err := os.Link(path, other); err != nil {
			t.Fatal(err)
		}
		if err := writeFile(other, []string{"-", path}, tableOf(rows, 100)); !errors.As(err, &fe) || !strings.Contains(fe.Why, "is an input") {
			t.Errorf("%s: onto an input: %v", ext, err)
		}
		if err := writeFile(path, nil, tableOf(rows, 100)); err != nil {
			t.Errorf("%s: %v", ext, err)
		}
		if info, err := os.Stat(path); err != nil || info.Mode().Perm() != 0o640 || info.Size() != int64(whole.Len()) {
			t.Errorf("%s: %v, %v", ext, info, err)
		}
	}
	for _, path := range []string{"out.txt", "out", filepath.Join(t.TempDir(), "none", "out.csv"), t.TempDir() + "/.csv/"} {
		var fe *FileError
		if err := writeFile(path, nil, tableOf(rows, 100)); !errors.As(err, &fe) || fe.Hint == "" {
			t.Errorf("%s: %v", path, err)
		}
	}
	dir := filepath.Join(t.TempDir(), "folder.csv")
	if err := os.Mkdir(dir, 0o755); err != nil {
		t.Fatal(err)
	}
	if err := writeFile(dir, nil, tableOf(rows, 100)); err == nil || !strings.Contains(err.Error(), "regular") {
		t.Errorf("onto a folder: %v", err)
	}
}
