package main

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"radonyear/analysis"
)

// noMethod are the functions with a formula that are parts of methods, or several in one.
var noMethod = []string{"temporal.Posterior", "lognormal.Describe"}

// TestMethods walks every method: it says all a method has to; one doc comment says
// the same in the same words, its notes and its sources included; the codes of these
// notes are raised in the code; and the tests and files that it names are there. And
// each function with a formula is some method's.
func TestMethods(t *testing.T) {
	code := readCode(t)
	seen := map[string]bool{}
	said := map[*comment][]string{} // what the methods of a doc comment can note
	for _, m := range methods {
		if err := m.Check(); err != nil {
			t.Error(err)
		}
		if seen[m.Key] {
			t.Errorf("two methods are called %q", m.Key)
		}
		seen[m.Key] = true
		doc, lacks := code.docOf(m)
		if len(lacks) > 0 {
			t.Errorf("%s: no doc comment holds all of it; that of %s lacks %q", m.Key, doc.name, lacks)
		}
		said[doc] = append(said[doc], m.Notes...)
		for _, word := range strings.FieldsFunc(m.Evidence.Reference+" "+m.Evidence.ByHand+" "+m.Evidence.Coverage, func(r rune) bool { return strings.ContainsRune(" ,;:()", r) }) {
			word = strings.TrimRight(word, ".")
			if strings.HasPrefix(word, "Test") && !code.tests[word] {
				t.Errorf("%s names %s, and there is no such test", m.Key, word)
			}
			if strings.Contains(word, "/") {
				if found, _ := filepath.Glob("../../" + word); len(found) == 0 {
					t.Errorf("%s names %s, and there is no such file", m.Key, word)
				}
			}
		}
	}
	for doc, notes := range said {
		if got, want := unique(notes), unique(doc.notes()); !slices.Equal(got, want) {
			t.Errorf("%s: its methods note %q, its doc comment %q", doc.name, got, want)
		}
	}
	listed := map[string]bool{}
	for _, doc := range code.docs {
		_, name, _ := strings.Cut(doc.name, ".")
		if _, ok := said[doc]; !ok && doc.after("Formula. ") != "" && ast.IsExported(name) && !slices.Contains(noMethod, doc.name) {
			t.Errorf("%s has a formula, and no method says it", doc.name)
		}
		for _, n := range doc.notes() {
			listed[n] = true
			if !code.raised[n] {
				t.Errorf("%s can note %s, says its doc comment, and no code raises it", doc.name, n)
			}
		}
	}
	for n := range code.raised {
		if !listed[n] {
			t.Errorf("the code raises %s, and no doc comment says so", n)
		}
	}
	if len(code.raised) < 50 {
		t.Errorf("%d codes are raised", len(code.raised))
	}
}

// TestMethodsCanFail: a doc comment that lacks a text, a note or a source is found out.
func TestMethodsCanFail(t *testing.T) {
	m := analysis.Method{Estimates: "a mean, Bq/m³.", Formula: "Σx/n. Limits: none.", Assumes: "nothing.", Interval: "a guess.",
		Notes: []string{"one", "two-three"}, Sources: []analysis.Source{{Cite: "Nobody 1901, J. 1:2 (from memory)", Part: "table 3"}}}
	const whole = "Mean estimates a mean, Bq/m³.\n\nFormula. Σx/n. There is more.\nLimits: none.\n\nAssumes nothing.\n\nInterval: a guess.\n\n" +
		"Notes: one, two-three (where it must).\n\nSource: Nobody 1901, J. 1:2, table 3 (from memory)."
	for cut, lacks := range map[string]int{"": 0, "Bq/m³": 1, "Σx/n": 1, "Limits: none": 1, "nothing": 1, "a guess": 1, "Nobody 1901": 1, "table 3": 1, " (from memory)": 1} {
		c := code{docs: []*comment{newComment("f", strings.Replace(whole, cut, "", 1))}}
		if _, missing := c.docOf(m); len(missing) != lacks {
			t.Errorf("without %q it lacks %q", cut, missing)
		}
	}
	if got := newComment("f", whole).notes(); !slices.Equal(got, m.Notes) {
		t.Errorf("the notes are %q", got)
	}
}

// code is what TestMethods needs to know of the packages under analysis.
type code struct {
	docs   []*comment
	tests  map[string]bool
	raised map[string]bool // codes of notes
}

// comment is a function's doc comment, in one line a paragraph.
type comment struct {
	name       string
	paragraphs []string
	text       string
}

func newComment(name, text string) *comment {
	c := &comment{name: name, text: oneLine(text)}
	for p := range strings.SplitSeq(text, "\n\n") {
		c.paragraphs = append(c.paragraphs, oneLine(p))
	}
	return c
}

// after is the paragraph that begins with a word.
func (c *comment) after(word string) string {
	for _, p := range c.paragraphs {
		if rest, ok := strings.CutPrefix(p, word); ok {
			return rest
		}
	}
	return ""
}

var noteCode = regexp.MustCompile(`[a-z]+(-[a-z]+)+|^[a-z]+$`)

// notes are the codes of the paragraph of notes: its words, without what stands in
// brackets, and the further sentences.
func (c *comment) notes() (codes []string) {
	list, _, _ := strings.Cut(c.after("Notes: ")+" ", ". ")
	list = regexp.MustCompile(`\([^)]*\)`).ReplaceAllString(list, "")
	for word := range strings.SplitSeq(list, ",") {
		word = strings.Trim(strings.TrimSpace(strings.TrimPrefix(strings.TrimSpace(word), "and ")), ".\"")
		if word != "none" && noteCode.MatchString(word) {
			codes = append(codes, noteCode.FindString(word))
		}
	}
	return codes
}

// docOf is the doc comment that lacks least of a method's texts and sources.
func (c *code) docOf(m analysis.Method) (best *comment, lacks []string) {
	var parts []string
	for _, text := range []string{m.Estimates, m.Formula, m.Assumes, m.Interval} {
		// By sentences, since a comment on several methods has those of others between.
		for _, s := range strings.SplitAfter(oneLine(text), ". ") {
			parts = append(parts, strings.TrimSpace(s))
		}
	}
	for _, d := range c.docs {
		var missing []string
		for _, p := range parts {
			if !strings.Contains(d.text, p) {
				missing = append(missing, p)
			}
		}
		source := d.after("Source: ")
		for _, s := range m.Sources {
			cite, memory := strings.CutSuffix(s.Cite, " (from memory)")
			for _, p := range []string{cite, s.Part} {
				if !strings.Contains(source, p) {
					missing = append(missing, p)
				}
			}
			if memory && !strings.Contains(source, "from memory") {
				missing = append(missing, "from memory")
			}
		}
		if best == nil || len(missing) < len(lacks) {
			best, lacks = d, missing
		}
	}
	return best, lacks
}

// readCode reads the doc comments of all functions under analysis, the names of its
// tests, and the codes of notes that it raises: the first argument of a call of note,
// or the Code of a Note.
func readCode(t *testing.T) *code {
	t.Helper()
	c := &code{tests: map[string]bool{}, raised: map[string]bool{}}
	literal := func(e ast.Expr) {
		if l, ok := e.(*ast.BasicLit); ok && l.Kind == token.STRING {
			if s, err := strconv.Unquote(l.Value); err == nil && regexp.MustCompile(`^[a-z]+(-[a-z]+)*$`).MatchString(s) {
				c.raised[s] = true
			}
		}
	}
	err := filepath.WalkDir("../../analysis", func(path string, d fs.DirEntry, err error) error {
		if err != nil || filepath.Ext(path) != ".go" {
			return err
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.ParseComments)
		if err != nil {
			return err
		}
		test := strings.HasSuffix(path, "_test.go")
		for _, decl := range f.Decls {
			fn, ok := decl.(*ast.FuncDecl)
			switch {
			case !ok:
			case test:
				c.tests[fn.Name.Name] = true
			case fn.Doc != nil:
				c.docs = append(c.docs, newComment(fmt.Sprintf("%s.%s", f.Name.Name, fn.Name.Name), fn.Doc.Text()))
			}
		}
		if test {
			return nil
		}
		ast.Inspect(f, func(n ast.Node) bool {
			switch n := n.(type) {
			case *ast.CallExpr:
				name := ""
				switch fn := n.Fun.(type) {
				case *ast.Ident:
					name = fn.Name
				case *ast.SelectorExpr:
					name = fn.Sel.Name
				}
				if strings.EqualFold(name, "note") && len(n.Args) > 0 {
					literal(n.Args[0])
				}
			case *ast.KeyValueExpr:
				if k, ok := n.Key.(*ast.Ident); ok && k.Name == "Code" {
					literal(n.Value)
				}
			}
			return true
		})
		return nil
	})
	if err != nil || len(c.docs) < 50 {
		t.Fatalf("%d doc comments, %v", len(c.docs), err)
	}
	return c
}

func unique(s []string) []string { return slices.Compact(slices.Sorted(slices.Values(s))) }

func oneLine(s string) string { return strings.Join(strings.Fields(s), " ") }
