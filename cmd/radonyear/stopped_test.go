package main

import (
	"bytes"
	"errors"
	"fmt"
	"os"
	"os/exec"
	"os/signal"
	"path/filepath"
	"runtime"
	"syscall"
	"testing"
	"time"
)

// TestStopped: a program that is stopped while it copies its input, or while it
// writes, leaves no file and no half of one, and what was there before stays.
func TestStopped(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no signals to send")
	}
	var hours bytes.Buffer
	hours.WriteString("home,start,value\n")
	at := time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)
	for i := range 300_000 {
		fmt.Fprintf(&hours, "%d,%s,%d\n", i/8760, at.Add(time.Duration(i%8760)*time.Hour).Format(time.RFC3339), 50+i%101)
	}
	for _, c := range []struct {
		name   string
		stdin  bool
		signal syscall.Signal
		status int
	}{
		{"while copying, interrupted", true, syscall.SIGINT, 130},
		{"while copying, told to end", true, syscall.SIGTERM, 143},
		{"while writing, interrupted", false, syscall.SIGINT, 130},
		{"while writing, told to end", false, syscall.SIGTERM, 143},
	} {
		if signal.Ignored(c.signal) { // as of a job in the background; the program then ignores it too
			continue
		}
		dir := t.TempDir()
		copies, outputs := filepath.Join(dir, "copies"), filepath.Join(dir, "outputs")
		out := filepath.Join(outputs, "out.csv")
		in := filepath.Join(dir, "in.csv")
		if err := errors.Join(os.Mkdir(copies, 0o755), os.Mkdir(outputs, 0o755), os.WriteFile(out, []byte("old"), 0o644), os.WriteFile(in, hours.Bytes(), 0o644)); err != nil {
			t.Fatal(err)
		}
		watched, before := outputs, 1
		if c.stdin {
			in, watched, before = "-", copies, 0
		}
		cmd := exec.Command("radonyear", "ingest", in, "--unit", "Bq/m3", "--output", out)
		cmd.Env = append(os.Environ(), "TMPDIR="+copies)
		pipe, err := cmd.StdinPipe() // never closed: the input has no end
		if err != nil {
			t.Fatal(err)
		}
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		if c.stdin {
			if _, err := pipe.Write(hours.Bytes()[:1<<16]); err != nil {
				t.Fatal(err)
			}
		}
		begun := false
		for range 20_000 {
			if names, err := os.ReadDir(watched); err != nil {
				t.Fatal(err)
			} else if begun = len(names) > before; begun {
				break
			}
			time.Sleep(time.Millisecond)
		}
		if err := cmd.Process.Signal(c.signal); err != nil {
			t.Fatal(err)
		}
		var exit *exec.ExitError
		if err := cmd.Wait(); !errors.As(err, &exit) || exit.ExitCode() != c.status || !begun {
			t.Errorf("%s: begun %v, %v, want status %d", c.name, begun, err, c.status)
		}
		for _, folder := range []string{copies, outputs} {
			names, err := os.ReadDir(folder)
			if err != nil {
				t.Fatal(err)
			}
			for _, n := range names {
				if n.Name() != "out.csv" {
					t.Errorf("%s: %s is left", c.name, n.Name())
				}
			}
		}
		if b, err := os.ReadFile(out); err != nil || string(b) != "old" {
			t.Errorf("%s: the older output is %d bytes, %v", c.name, len(b), err)
		}
	}
}
