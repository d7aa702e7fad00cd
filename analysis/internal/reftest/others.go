package reftest

import (
	"bytes"
	"os"
	"path/filepath"
	"strconv"
	"testing"
)

// Others is a file of other people's data that the project does not contain, in the
// folder that RADONYEAR_OTHERS_DATA names; a test without that folder is skipped.
func Others(t testing.TB, path ...string) []byte {
	t.Helper()
	folder := os.Getenv("RADONYEAR_OTHERS_DATA")
	if folder == "" {
		t.Skip("RADONYEAR_OTHERS_DATA names no folder of other people's data")
	}
	text, err := os.ReadFile(filepath.Join(append([]string{folder}, path...)...))
	if err != nil {
		t.Fatal(err)
	}
	return text
}

// NIST are the rows of numbers at the end of a file of NIST's Statistical Reference
// Datasets, which follow on the second line that begins with Data:.
func NIST(t testing.TB, name string) (rows [][]float64) {
	t.Helper()
	heads := 0
	for line := range bytes.Lines(Others(t, "published", name)) {
		fields := bytes.Fields(line)
		switch {
		case bytes.HasPrefix(line, []byte("Data:")):
			heads++
			continue
		case heads < 2 || len(fields) == 0:
			continue
		}
		row := make([]float64, len(fields))
		for i, f := range fields {
			x, err := strconv.ParseFloat(string(f), 64)
			if err != nil {
				t.Fatal(name, err)
			}
			row[i] = x
		}
		rows = append(rows, row)
	}
	if len(rows) == 0 {
		t.Fatalf("%s holds no rows", name)
	}
	return rows
}
