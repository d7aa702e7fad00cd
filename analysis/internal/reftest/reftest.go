// Package reftest reads reference values made by another program, or typed in
// from print, and holds results to them. It is for tests only.
package reftest

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"runtime"
	"slices"
)

// File is one file of testdata/reference.
type File struct {
	Source string `json:"source"`  // where the values come from: a publication, or the mathematics
	MadeBy string `json:"made_by"` // the script beside the file, or "typed in"
	With   string `json:"with"`    // program and version
	Cases  []Case `json:"cases"`
}

// Case is one input with what it must give.
type Case struct {
	Name  string             `json:"name"`
	Input json.RawMessage    `json:"input"`
	Want  map[string]float64 `json:"want"`
	Rel   float64            `json:"rel"` // the relative error allowed
}

// Read reads testdata/reference/NAME. It refuses a file without a source, a
// maker, or a case; and a case without a name, a value or a tolerance.
func Read(name string) (File, error) {
	_, here, _, _ := runtime.Caller(0)
	b, err := os.ReadFile(filepath.Join(filepath.Dir(here), "..", "..", "..", "testdata", "reference", name))
	if err != nil {
		return File{}, err
	}
	return parse(name, b)
}

func parse(name string, b []byte) (File, error) {
	var f File
	if err := json.Unmarshal(b, &f); err != nil {
		return File{}, fmt.Errorf("%s: %w", name, err)
	}
	if f.Source == "" || f.MadeBy == "" || f.With == "" || len(f.Cases) == 0 {
		return File{}, fmt.Errorf("%s: a reference needs a source, a maker, what it was made with, and a case", name)
	}
	for i, c := range f.Cases {
		if c.Name == "" || len(c.Want) == 0 || !(c.Rel > 0) {
			return File{}, fmt.Errorf("%s: case %d needs a name, a wanted value and a tolerance above zero", name, i+1)
		}
	}
	return f, nil
}

// Check compares a result to what a case wants: the same names, each finite and
// within the relative error. It returns what differs, in order of name.
func (c Case) Check(got map[string]float64) []string {
	var bad []string
	for name, want := range c.Want {
		x, ok := got[name]
		switch {
		case !ok:
			bad = append(bad, fmt.Sprintf("%s: %s is missing", c.Name, name))
		case math.IsNaN(x) || math.Abs(x-want) > c.Rel*math.Max(math.Abs(want), 1e-300):
			bad = append(bad, fmt.Sprintf("%s: %s is %.12g, the reference says %.12g (allowed %g relative)", c.Name, name, x, want, c.Rel))
		}
	}
	for name := range got {
		if _, ok := c.Want[name]; !ok {
			bad = append(bad, fmt.Sprintf("%s: %s is not in the reference", c.Name, name))
		}
	}
	slices.Sort(bad)
	return bad
}
