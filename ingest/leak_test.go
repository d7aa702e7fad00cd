package ingest

import (
	"bytes"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"

	"github.com/apache/arrow/go/v17/parquet"
	"github.com/apache/arrow/go/v17/parquet/compress"
	"github.com/parquet-go/parquet-go/format"
)

// held is what a process holds that a reader could forget to give back.
type held struct {
	goroutines, files int
	heap              uint64 // bytes in use once the collector has run
}

func holds(t *testing.T) held {
	t.Helper()
	fds, err := os.ReadDir("/proc/self/fd")
	if err != nil {
		t.Skip("no /proc here")
	}
	runtime.GC()
	runtime.GC() // pools give their memory up at the second
	var m runtime.MemStats
	runtime.ReadMemStats(&m)
	return held{runtime.NumGoroutine(), len(fds), m.HeapAlloc}
}

// nothingMore fails where more goroutines or files are held than before.
func nothingMore(t *testing.T, before held) {
	t.Helper()
	for range 100 { // a goroutine that was told to stop may need a moment
		if runtime.NumGoroutine() <= before.goroutines {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	after := holds(t)
	if after.goroutines > before.goroutines {
		t.Errorf("%d goroutines, %d before", after.goroutines, before.goroutines)
	}
	if after.files > before.files {
		t.Errorf("%d open files, %d before", after.files, before.files)
	}
}

// leave opens a file, reads some batches of it, to the end if negative, and
// closes it. Whether it breaks off is not the question here; err says so.
func leave(path string, batches int) error {
	table, err := Open([]string{path}, Options{Unit: "Bq/m3", Zone: "+01:00", DateOrder: "dmy", Decimal: "."})
	if err != nil {
		return err
	}
	defer table.Close()
	for n := 0; n != batches; n++ {
		if _, err := table.Next(); err != nil {
			return err
		}
	}
	return nil
}

// TestLeavesNothingRunning: whether a file is read to its end, left half way, or
// breaks off, no goroutine and no open file is left after Close.
func TestLeavesNothingRunning(t *testing.T) {
	files, err := filepath.Glob("../testdata/messy/*.*")
	if err != nil || len(files) < 50 {
		t.Fatal(len(files), err)
	}
	dir := t.TempDir()
	before := holds(t)
	for i, path := range files {
		whole, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		for cut := range 3 {
			name := filepath.Join(dir, filepath.Base(path))
			if err := os.WriteFile(name, whole[:len(whole)-len(whole)*cut/3], 0o600); err != nil {
				t.Fatal(err)
			}
			_ = leave(name, i%3-1) // to the end, not at all, one batch
		}
	}
	nothingMore(t, before)
}

// TestDamagedLeavesNothing: the same of typed files that break off while they
// are read, and no memory either, however many there are.
func TestDamagedLeavesNothing(t *testing.T) {
	rows := logRows(instant(t, "2026-01-10T00:00:00Z"), time.Hour, "UTC", constant(600, 50)...)
	rng := rand.New(rand.NewPCG(8, 1))
	for i := range rows {
		rows[i].value = 20 + 100*rng.Float64()
	}
	var good [][]byte
	for _, f := range []string{"parquet", "arrow"} {
		var b bytes.Buffer
		if err := writeTable(&b, f, tableOf(rows, 100)); err != nil {
			t.Fatal(err)
		}
		good = append(good, b.Bytes())
	}
	lz4, _ := arrowParquet(t, 600, true, parquet.WithCompression(compress.Compression(format.Lz4Raw)))
	good = append(good, lz4)

	path := filepath.Join(t.TempDir(), "x")
	round := func() (broken int) {
		for i := range 102 {
			b := bytes.Clone(good[i%len(good)])
			// Most of the bytes before the footer are of pages or batches: the file
			// opens, and breaks off when it comes to them.
			b[10+rng.IntN(len(b)*9/10)] ^= byte(1 + rng.IntN(255))
			if err := os.WriteFile(path, b, 0o600); err != nil {
				t.Fatal(err)
			}
			var r rowReader
			var err error
			if i%3 == 1 {
				r, err = openArrow(path)
			} else {
				r, err = openParquet(path)
			}
			if err == nil {
				if _, err = countRows(r); err != nil {
					broken++
				}
			}
			if i%3 < 2 { // the third is no table of readings
				_ = leave(path, i%4-1)
			}
		}
		return broken
	}
	round() // pools and tables of the libraries fill up
	before := holds(t)
	broken := round() + round()
	nothingMore(t, before)
	after := holds(t)
	t.Logf("%d of 204 broke off while being read; heap %d kB before, %d kB after", broken, before.heap>>10, after.heap>>10)
	if broken < 60 {
		t.Errorf("only %d of 204 files broke off while being read: the damage is not what this is about", broken)
	}
	if grown := int64(after.heap) - int64(before.heap); grown > 1<<20 {
		t.Errorf("%d bytes more are held than before", grown)
	}
}
