package main

import (
	"bufio"
	"fmt"
	"io"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"testing"
	"time"
)

// manyHomes writes day means of a year of many homes as CSV.
func manyHomes(b *testing.B, homes int) string {
	path := filepath.Join(b.TempDir(), "homes.csv")
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	w := bufio.NewWriterSize(f, 1<<20)
	fmt.Fprintln(w, "home,area,room,detector,start,end,value")
	first := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)
	var dates []string
	for d := range 366 {
		dates = append(dates, first.AddDate(0, 0, d).Format(time.DateOnly))
	}
	rng := rand.New(rand.NewPCG(1, 1))
	for h := range homes {
		level, x := 4.5+0.8*rng.NormFloat64(), 0.0
		for d := range 365 {
			x = 0.85*x + 0.2*rng.NormFloat64()
			fmt.Fprintf(w, "H%05d,A%d,living,D%05d,%s,%s,%.1f\n", h, h%50, h, dates[d], dates[d+1],
				math.Exp(level+x+0.3*math.Cos(2*math.Pi*float64(d-15)/365.25)))
		}
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	return path
}

// BenchmarkAnnual is the whole command, from files to table, on 10,000 homes of
// 365 day means each, as CSV and as Parquet. Ask for -benchtime 1x. The peak is
// of memory the process got from the system, at the default GOGC of the program.
func BenchmarkAnnual(b *testing.B) {
	csv := manyHomes(b, 10_000)
	parquet := filepath.Join(filepath.Dir(csv), "homes.parquet")
	if code := run([]string{"radonyear", "ingest", csv, "--unit", "Bq/m3", "--output", parquet}, nil, io.Discard, io.Discard); code != 0 {
		b.Fatal("exit status", code)
	}
	for _, path := range []string{csv, parquet} {
		b.Run(filepath.Ext(path)[1:], func(b *testing.B) {
			for b.Loop() {
				if code := run([]string{"radonyear", "annual", path, "--unit", "Bq/m3", "--format", "csv"}, nil, io.Discard, io.Discard); code != 0 {
					b.Fatal("exit status", code)
				}
			}
			var m runtime.MemStats
			runtime.ReadMemStats(&m)
			b.ReportMetric(float64(m.Sys)/1e6, "MB-from-system")
		})
	}
}

// BenchmarkDescribe is the whole command, from file to CSV, on 50,000 areas of 20 homes
// each, a result a home, with a level. Ask for -benchtime 1x.
func BenchmarkDescribe(b *testing.B) {
	dir := b.TempDir()
	path := filepath.Join(dir, "areas.csv")
	f, err := os.Create(path)
	if err != nil {
		b.Fatal(err)
	}
	defer f.Close()
	w := bufio.NewWriterSize(f, 1<<20)
	fmt.Fprintln(w, "home,area,start,end,value")
	rng := rand.New(rand.NewPCG(1, 2))
	for a := range 50_000 {
		middle := 4 + 0.5*rng.NormFloat64()
		for h := range 20 {
			fmt.Fprintf(w, "H%05d-%02d,A%05d,2024-01-01,2024-04-01,%.1f\n", a, h, a, math.Exp(middle+0.8*rng.NormFloat64())+1)
		}
	}
	if err := w.Flush(); err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if code := run([]string{"radonyear", "describe", path, "--unit", "Bq/m3", "--by", "area", "--level", "200", "--format", "csv", "--output", filepath.Join(dir, "out.csv")}, nil, io.Discard, io.Discard); code != 0 {
			b.Fatal("exit status", code)
		}
	}
}
