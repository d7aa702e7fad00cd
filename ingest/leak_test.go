package ingest

import (
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// TestLeavesNothingRunning: whether a file is read to its end, left half way, or
// breaks off, no goroutine and no open file is left after Close.
func TestLeavesNothingRunning(t *testing.T) {
	files, err := filepath.Glob("../testdata/messy/*.*")
	if err != nil || len(files) < 50 {
		t.Fatal(len(files), err)
	}
	open := func() int {
		fds, err := os.ReadDir("/proc/self/fd")
		if err != nil {
			t.Skip("no /proc here")
		}
		return len(fds)
	}
	dir := t.TempDir()
	goroutines, before := runtime.NumGoroutine(), open()
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
			table, err := Open([]string{name}, Options{Unit: "Bq/m3", Zone: "+01:00", DateOrder: "dmy", Decimal: "."})
			if err != nil {
				continue
			}
			for n := 0; n < i%3; n++ { // not at all, one batch, to the end
				if _, err := table.Next(); err != nil {
					break
				}
			}
			table.Close()
		}
	}
	for range 100 {
		if runtime.NumGoroutine() <= goroutines {
			break
		}
		time.Sleep(10 * time.Millisecond)
	}
	if n := runtime.NumGoroutine(); n > goroutines {
		t.Errorf("%d goroutines, %d before", n, goroutines)
	}
	if n := open(); n > before {
		t.Errorf("%d open files, %d before", n, before)
	}
}
