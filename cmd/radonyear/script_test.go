package main

import (
	"bytes"
	"encoding/json"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"unicode/utf8"

	"github.com/rogpeppe/go-internal/testscript"
)

// TestMain lets scripts run this test binary as radonyear.
func TestMain(m *testing.M) {
	testscript.Main(m, map[string]func(){
		"radonyear": main,
	})
}

var update = flag.Bool("update", false, "write what was printed into scripts and README.md")

// shortScripts are those that are run with -short, which is how the race detector is:
// it makes each command slow, and these take every road on which goroutines meet; those of
// compare and watch stop where they have.
var shortScripts = []string{"annual", "compare", "describe", "inspect", "mean", "survey", "verdict", "watch"}

func TestScript(t *testing.T) {
	dir := filepath.Join("testdata", "script")
	var files []string
	if testing.Short() {
		for _, name := range shortScripts {
			files = append(files, filepath.Join(dir, name+".txtar"))
		}
		dir = ""
	}
	testscript.Run(t, testscript.Params{
		Dir: dir, Files: files,
		UpdateScripts: *update,
		Setup: func(env *testscript.Env) error {
			messy, err := filepath.Abs(filepath.Join("..", "..", "testdata", "messy"))
			env.Setenv("MESSY", messy)
			return err
		},
		Cmds: map[string]func(ts *testscript.TestScript, neg bool, args []string){
			"status": scriptStatus,
			"fields": scriptFields,
			"narrow": scriptNarrow,
		},
	})
}

// scriptStatus runs "status N radonyear ..." and wants exit status N exactly.
func scriptStatus(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: status N radonyear ARG...")
	}
	err := ts.Exec(args[1], args[2:]...)
	got := "0"
	if err != nil {
		got = strings.TrimPrefix(err.Error(), "exit status ")
	}
	if got != args[0] {
		ts.Fatalf("status %s, want %s", got, args[0])
	}
}

// scriptFields runs "fields FILE PATH..." : FILE is one JSON value, and each
// path such as results.0.annual_mean.value leads to something in it. With
// "PATH=TEXT" the value there, as JSON, is TEXT. "!PATH" leads nowhere.
func scriptFields(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) < 2 {
		ts.Fatalf("usage: fields FILE PATH[=VALUE]...")
	}
	var root any
	d := json.NewDecoder(strings.NewReader(ts.ReadFile(args[0])))
	d.UseNumber()
	if err := d.Decode(&root); err != nil {
		ts.Fatalf("%s: %v", args[0], err)
	}
	if d.More() {
		ts.Fatalf("%s: more than one JSON value", args[0])
	}
	for _, arg := range args[1:] {
		path, want, compare := strings.Cut(arg, "=")
		path, absent := strings.CutPrefix(path, "!")
		got, ok := follow(root, strings.Split(path, "."))
		switch {
		case absent && ok:
			ts.Fatalf("%s is there", path)
		case !absent && !ok:
			ts.Fatalf("%s is missing", path)
		case compare:
			text, err := json.Marshal(got)
			ts.Check(err)
			if string(text) != want {
				ts.Fatalf("%s is %s, want %s", path, text, want)
			}
		}
	}
}

func follow(v any, path []string) (any, bool) {
	for _, step := range path {
		switch x := v.(type) {
		case map[string]any:
			next, ok := x[step]
			if !ok {
				return nil, false
			}
			v = next
		case []any:
			var i int
			if _, err := fmt.Sscan(step, &i); err != nil || i < 0 || i >= len(x) {
				return nil, false
			}
			v = x[i]
		default:
			return nil, false
		}
	}
	return v, true
}

// scriptNarrow runs "narrow FILE": no line is wider than 80 characters, none
// ends in a space, and none holds a control character.
func scriptNarrow(ts *testscript.TestScript, neg bool, args []string) {
	if neg || len(args) != 1 {
		ts.Fatalf("usage: narrow FILE")
	}
	for i, line := range strings.Split(ts.ReadFile(args[0]), "\n") {
		if n := utf8.RuneCountInString(line); n > 80 {
			ts.Fatalf("line %d has %d characters: %s", i+1, n, line)
		}
		if strings.TrimRight(line, " ") != line || strings.ContainsAny(line, "\x1b\t\r") {
			ts.Fatalf("line %d ends in a space or holds a control character: %q", i+1, line)
		}
	}
}

// TestReadme runs every console block of the papers and compares what it
// prints. A block's lines that begin with "$ " are commands; what follows is
// their output, standard error after standard output. A line "..." stands for
// any lines, and a last line "exit status N" for a status other than 0. The
// blocks of one paper share a folder, so that one may use another's files.
func TestReadme(t *testing.T) {
	if testing.Short() {
		t.Skip("runs the demo and learns a profile")
	}
	for _, paper := range []string{"README.md", "DEVELOPERS.md"} {
		t.Run(paper, func(t *testing.T) {
			path := filepath.Join("..", "..", paper)
			text, err := os.ReadFile(path)
			if err != nil {
				t.Fatal(err)
			}
			path, err = filepath.Abs(path)
			if err != nil {
				t.Fatal(err)
			}
			t.Chdir(t.TempDir())
			ran := 0
			for _, block := range consoleBlocks(string(text)) {
				for _, c := range block {
					ran++
					got := runLine(t, c.line)
					for _, line := range strings.Split(got, "\n") {
						if utf8.RuneCountInString(line) > 80 && !strings.Contains(c.line, "--format") {
							t.Errorf("$ %s: a line of more than 80 characters: %s", c.line, line)
						}
					}
					if *update {
						old := "$ " + c.line + "\n" + c.output
						text = []byte(strings.Replace(string(text), old, "$ "+c.line+"\n"+elide(c.output, got), 1))
						continue
					}
					if !alike(strings.Split(c.output, "\n"), strings.Split(got, "\n")) {
						t.Errorf("%s:\n$ %s\nprints\n%s\nbut the paper has\n%s", paper, c.line, got, c.output)
					}
				}
			}
			// A picture shown is the one that the commands have drawn.
			for _, m := range regexp.MustCompile(`!\[[^\]]*\]\(([^)]+)\)`).FindAllStringSubmatch(string(text), -1) {
				drawn, err := os.ReadFile(filepath.Base(m[1]))
				if err != nil {
					t.Errorf("%s shows %s, and no command draws %s", paper, m[1], filepath.Base(m[1]))
					continue
				}
				golden(t, filepath.Join(filepath.Dir(path), filepath.FromSlash(m[1])), drawn)
			}
			if *update {
				if err := os.WriteFile(path, text, 0o644); err != nil {
					t.Fatal(err)
				}
			}
			if paper == "README.md" && ran < 5 {
				t.Errorf("only %d commands were found in %s", ran, paper)
			}
		})
	}
}

type console struct{ line, output string }

func consoleBlocks(text string) (blocks [][]console) {
	for _, m := range regexp.MustCompile("(?s)```console\n(.*?)```").FindAllStringSubmatch(text, -1) {
		var block []console
		for _, line := range strings.Split(strings.TrimSuffix(m[1], "\n"), "\n") {
			if command, ok := strings.CutPrefix(line, "$ "); ok {
				block = append(block, console{line: command})
			} else if n := len(block); n > 0 {
				block[n-1].output += line + "\n"
			}
		}
		blocks = append(blocks, block)
	}
	return blocks
}

// runLine runs one command of a paper: radonyear with its arguments, perhaps
// over two lines with "\" or into a file with ">"; no shell is needed.
func runLine(t *testing.T, line string) string {
	t.Helper()
	args, ok := strings.CutPrefix(line, "radonyear ")
	if !ok {
		args, ok = strings.CutPrefix(line, "go run ./cmd/radonyear ")
	}
	if !ok {
		t.Fatalf("%q is not a radonyear command; put others in a block that is not console", line)
	}
	var stdout, stderr bytes.Buffer
	status := run(append([]string{"radonyear"}, words(args)...), strings.NewReader(""), &stdout, &stderr)
	out := stdout.String() + stderr.String()
	if status != 0 {
		out += fmt.Sprintf("exit status %d\n", status)
	}
	return out
}

// words splits a command line at spaces outside double quotes.
func words(line string) (out []string) {
	word, quoted, some := "", false, false
	for _, r := range line {
		switch {
		case r == '"':
			quoted, some = !quoted, true
		case r == ' ' && !quoted:
			if some {
				out = append(out, word)
			}
			word, some = "", false
		default:
			word, some = word+string(r), true
		}
	}
	if some {
		out = append(out, word)
	}
	return out
}

// elide cuts what was printed as the paper cuts it: as many lines before and
// after its "...".
func elide(paper, got string) string {
	head, tail, cut := strings.Cut("\n"+paper, "\n...\n")
	lines := strings.SplitAfter(strings.TrimSuffix(got, "\n"), "\n")
	n, m := strings.Count(head, "\n"), strings.Count(tail, "\n")
	if !cut || n+m >= len(lines) {
		return got
	}
	return strings.Join(lines[:n], "") + "...\n" + strings.TrimSuffix(strings.Join(lines[len(lines)-m:], ""), "\n") + strings.Repeat("\n", min(m, 1))
}

// alike compares lines; "..." in want stands for any number of lines.
func alike(want, got []string) bool {
	for i, line := range want {
		if line == "..." {
			for skip := 0; skip <= len(got)-i; skip++ {
				if alike(want[i+1:], got[i+skip:]) {
					return true
				}
			}
			return false
		}
		if i >= len(got) || line != got[i] {
			return false
		}
	}
	return len(want) == len(got)
}

func TestAlike(t *testing.T) {
	for _, c := range []struct {
		want, got string
		alike     bool
	}{
		{"a b", "a b", true}, {"a b", "a c", false}, {"a b", "a", false}, {"a", "a b", false},
		{"a ... d", "a b c d", true}, {"a ... d", "a d", true}, {"a ... d", "a b c", false}, {"...", "", true}, {"... c", "a b c", true},
	} {
		if got := alike(strings.Fields(c.want), strings.Fields(c.got)); got != c.alike {
			t.Errorf("%q against %q: %v", c.want, c.got, got)
		}
	}
}
