package main

import (
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"slices"
	"strings"
	"testing"
)

// TestMethods walks every method: it says all a method has to, its doc comment
// says the same in the same words, and the tests and files that it names are there.
func TestMethods(t *testing.T) {
	docs, tests := sources(t)
	seen := map[string]bool{}
	for _, m := range methods {
		if err := m.Check(); err != nil {
			t.Error(err)
		}
		if seen[m.Key] {
			t.Errorf("two methods are called %q", m.Key)
		}
		seen[m.Key] = true
		for _, text := range []string{m.Estimates, m.Formula, m.Assumes, m.Interval} {
			if !slices.ContainsFunc(docs, func(doc string) bool { return strings.Contains(doc, oneLine(text)) }) {
				t.Errorf("%s: no doc comment says %q", m.Key, text)
			}
		}
		for _, word := range strings.FieldsFunc(m.Evidence.Reference+" "+m.Evidence.ByHand+" "+m.Evidence.Coverage, func(r rune) bool { return strings.ContainsRune(" ,;:()", r) }) {
			word = strings.TrimRight(word, ".")
			if strings.HasPrefix(word, "Test") && !tests[word] {
				t.Errorf("%s names %s, and there is no such test", m.Key, word)
			}
			if strings.Contains(word, "/") {
				if found, _ := filepath.Glob("../../" + word); len(found) == 0 {
					t.Errorf("%s names %s, and there is no such file", m.Key, word)
				}
			}
		}
	}
}

// sources are the doc comments of all functions under analysis, each in one line,
// and the names of its tests.
func sources(t *testing.T) (docs []string, tests map[string]bool) {
	t.Helper()
	tests = map[string]bool{}
	err := filepath.WalkDir("../../analysis", func(path string, d fs.DirEntry, err error) error {
		if err != nil || filepath.Ext(path) != ".go" {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		for _, decl := range f.Decls {
			fn, ok := decl.(*ast.FuncDecl)
			switch {
			case !ok:
			case strings.HasSuffix(path, "_test.go"):
				tests[fn.Name.Name] = true
			case fn.Doc != nil:
				docs = append(docs, oneLine(fn.Doc.Text()))
			}
		}
		return nil
	})
	if err != nil || len(docs) < 50 {
		t.Fatalf("%d doc comments, %v", len(docs), err)
	}
	return docs, tests
}

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
