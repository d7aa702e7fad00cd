package main

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestShuffledLog: the rows of a log of more rows than are read at a time, of
// several homes that wrote at different steps, give the same results to the last
// byte in whatever order they stand; so do days whose times carry the offsets of
// summer and winter.
func TestShuffledLog(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	oslo, err := time.LoadLocation("Europe/Oslo")
	if err != nil {
		t.Fatal(err)
	}
	start := time.Date(2025, 2, 20, 0, 0, 0, 0, time.UTC)
	var rows []string
	for home, step := range []time.Duration{time.Hour, 30 * time.Minute, 10 * time.Minute} {
		for i := range 6500 {
			rows = append(rows, fmt.Sprintf("H%d,%s,%d", home, start.Add(time.Duration(i)*step).In(oslo).Format(time.RFC3339), 60+rng.IntN(200)))
		}
	}
	first := map[string]string{}
	for range 3 {
		dir := t.TempDir()
		t.Chdir(dir)
		if err := os.WriteFile("log.csv", []byte("home,time,Radon (Bq/m3)\n"+strings.Join(rows, "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
		for _, args := range [][]string{
			{"annual", "log.csv"}, {"annual", "log.csv", "--format", "csv"}, {"mean", "log.csv", "--format", "csv"}, {"inspect", "log.csv"},
			{"ingest", "log.csv", "--daily", "--output", "days.csv"},
		} {
			var out, errs bytes.Buffer
			if code := run(append([]string{"radonyear"}, args...), nil, &out, &errs); code != 0 {
				t.Fatalf("%v: exit status %d\n%s", args, code, errs.String())
			}
			if args[0] == "ingest" {
				b, err := os.ReadFile(filepath.Join(dir, "days.csv"))
				if err != nil {
					t.Fatal(err)
				}
				out.Write(b)
			}
			key := strings.Join(args, " ")
			if was, ok := first[key]; ok && was != out.String() {
				t.Errorf("%s depends on the order of rows:\n%s\n%s", key, was, out.String())
			}
			first[key] = out.String()
		}
		rng.Shuffle(len(rows), func(i, j int) { rows[i], rows[j] = rows[j], rows[i] })
	}
	if !strings.Contains(first["inspect log.csv"], "+01:00") {
		t.Errorf("the offset that days are cut in is not said:\n%s", first["inspect log.csv"])
	}
}
