package main

import (
	"encoding/json"
	"errors"
	"io"
	"io/fs"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// layers says what each package may import, beside the standard library. A
// package that is not listed is an error, so that a new one gets its line here
// and in DEVELOPERS.md. "analysis" stands for radonyear/analysis.
var layers = map[string][]string{
	"analysis":                        {},
	"analysis/internal/numeric":       {"gonum"},
	"analysis/internal/reftest":       {"analysis"},
	"analysis/temporal":               {"analysis", "numeric", "gonum"},
	"analysis/annual":                 {"analysis", "temporal", "numeric", "gonum"},
	"analysis/season":                 {"analysis", "temporal", "numeric", "gonum"},
	"analysis/compare":                {"analysis", "temporal", "annual", "serial", "numeric", "gonum"},
	"analysis/lognormal":              {"analysis", "numeric", "gonum"},
	"analysis/serial":                 {"analysis", "temporal", "numeric", "gonum"},
	"analysis/survey":                 {"analysis", "temporal", "lognormal", "numeric", "gonum"},
	"analysis/quality":                {"analysis", "numeric", "gonum"},
	"analysis/trend":                  {"analysis", "temporal", "serial", "numeric", "gonum"},
	"analysis/plan":                   {"analysis", "temporal", "annual", "compare", "lognormal", "numeric", "gonum"},
	"analysis/risk":                   {"analysis", "numeric", "gonum"},
	"ingest":                          {"analysis", "arrow", "files"},
	"cmd/radonyear":                   {"any of ours", "command line"},
	"cmd/radonyear/internal/report":   {"analysis", "results", "tables"},
	"cmd/radonyear/internal/page":     {"analysis", "report"},
	"cmd/radonyear/internal/coverage": {"any of ours", "gonum"},
	"cmd/radonyear/internal/plot":     {"gonum", "pictures"},
	"testdata":                        {"scenario"},
	"testdata/messy":                  {}, // its generator is run by hand and belongs to no build
	"testdata/scenario":               {},
	"testdata/scenario/make":          {"scenario"},
}

// names gives the import path prefixes behind a word in layers.
var names = map[string][]string{
	"analysis":     {"radonyear/analysis"},
	"numeric":      {"radonyear/analysis/internal/numeric"},
	"temporal":     {"radonyear/analysis/temporal"},
	"lognormal":    {"radonyear/analysis/lognormal"},
	"serial":       {"radonyear/analysis/serial"},
	"annual":       {"radonyear/analysis/annual"},
	"compare":      {"radonyear/analysis/compare"},
	"results":      {"radonyear/analysis/annual", "radonyear/analysis/season", "radonyear/analysis/compare", "radonyear/analysis/survey", "radonyear/analysis/trend"},
	"report":       {"radonyear/cmd/radonyear/internal/report"},
	"scenario":     {"radonyear/testdata/scenario"},
	"gonum":        {"gonum.org/v1/gonum/..."},
	"arrow":        {"github.com/apache/arrow/go/v17/..."},
	"files":        {"github.com/parquet-go/parquet-go/...", "github.com/pierrec/lz4/v4", "github.com/xuri/excelize/v2", "golang.org/x/text/..."},
	"tables":       {"github.com/olekukonko/tablewriter/..."},
	"pictures":     {"gonum.org/v1/plot/..."},
	"command line": {"github.com/urfave/cli/v2"},
	"any of ours":  {"radonyear/..."},
}

// listed is what `go list -json` says of a package, as far as it matters here.
type listed struct {
	ImportPath string
	Standard   bool
	Imports    []string
}

func TestLayers(t *testing.T) {
	packages := goList(t)
	seen := map[string]bool{}
	for _, p := range packages {
		name := strings.TrimPrefix(p.ImportPath, "radonyear/")
		seen[name] = true
		may, ok := layers[name]
		if !ok {
			t.Errorf("%s is not in the table of layers: say what it may import", name)
			continue
		}
		for _, imp := range wrongImports(p.Imports, may) {
			t.Errorf("%s may not import %s", name, imp)
		}
	}
	// The table would hold nothing if the list were empty or misnamed.
	for _, name := range []string{"analysis", "ingest", "cmd/radonyear", "testdata/scenario"} {
		if !seen[name] {
			t.Errorf("go list did not name %s", name)
		}
	}
}

// TestLayersRefuses shows that the check can fail.
func TestLayersRefuses(t *testing.T) {
	got := wrongImports([]string{"math", "radonyear/analysis", "radonyear/ingest", "github.com/apache/arrow/go/v17/arrow", "gonum.org/v1/gonum/mat"},
		layers["analysis/temporal"])
	want := []string{"radonyear/ingest", "github.com/apache/arrow/go/v17/arrow"}
	if !slices.Equal(got, want) {
		t.Errorf("got %v, want %v", got, want)
	}
}

func wrongImports(imports, may []string) []string {
	var wrong []string
	for _, imp := range imports {
		first, _, _ := strings.Cut(imp, "/")
		if !strings.Contains(first, ".") && first != "radonyear" {
			continue // standard library
		}
		allowed := slices.ContainsFunc(may, func(word string) bool {
			return slices.ContainsFunc(names[word], func(path string) bool {
				prefix, tree := strings.CutSuffix(path, "/...")
				return imp == prefix || tree && strings.HasPrefix(imp, prefix+"/")
			})
		})
		if !allowed {
			wrong = append(wrong, imp)
		}
	}
	return wrong
}

func goList(t *testing.T) []listed {
	t.Helper()
	// "./..." passes over testdata, so the folders are named one by one.
	root := filepath.Join("..", "..")
	args := []string{"list", "-e", "-json=ImportPath,Imports"}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil || !d.IsDir() {
			return err
		}
		if path != root && strings.HasPrefix(d.Name(), ".") {
			return fs.SkipDir
		}
		if files, _ := filepath.Glob(filepath.Join(path, "*.go")); len(files) > 0 {
			rel, err := filepath.Rel(root, path)
			if err != nil {
				return err
			}
			args = append(args, "./"+filepath.ToSlash(rel))
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command("go", args...)
	cmd.Dir = root
	var stderr strings.Builder
	cmd.Stderr = &stderr
	out, err := cmd.Output()
	if err != nil {
		t.Fatalf("go list: %v\n%s", err, stderr.String())
	}
	var all []listed
	for d := json.NewDecoder(strings.NewReader(string(out))); ; {
		var p listed
		if err := d.Decode(&p); errors.Is(err, io.EOF) {
			return all
		} else if err != nil {
			t.Fatal(err)
		}
		all = append(all, p)
	}
}

// Nothing stands at the top level but what every reader expects there.
func TestTopLevel(t *testing.T) {
	want := []string{"DEVELOPERS.md", "LICENSE", "README.md", "analysis", "cmd", "go.mod", "go.sum", "ingest", "notebooks", "testdata"}
	entries, err := os.ReadDir(filepath.Join("..", ".."))
	if err != nil {
		t.Fatal(err)
	}
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), ".") && e.Name() != "radonyear" && !slices.Contains(want, e.Name()) {
			t.Errorf("%s does not belong at the top level", e.Name())
		}
	}
}
