package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"
	"unicode"
	"unicode/utf8"
)

// pageOf runs radonyear report and gives the path of the page.
func pageOf(t *testing.T, args ...string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "page.html")
	var stdout, stderr bytes.Buffer
	status := run(append([]string{"radonyear", "report", "--output", path}, args...), strings.NewReader(""), &stdout, &stderr)
	if status != exitDone && status != exitPartial {
		t.Fatalf("%v: status %d\n%s", args, status, stderr.String())
	}
	return path
}

// browserPages are the pages that are looked at in a browser.
func browserPages(t *testing.T) map[string]string {
	demo := filepath.Join("..", "..", "testdata", "demo")
	return map[string]string{
		"open":     pageOf(t, filepath.Join(demo, "imported-decimal-comma.csv"), "--home", "K-28"),
		"below":    pageOf(t, filepath.Join(demo, "passive.csv"), "--home", "K-01"),
		"above":    pageOf(t, filepath.Join(demo, "passive.csv"), "--home", "K-17", "--level", "200", "--level", "100"),
		"compared": pageOf(t, filepath.Join(demo, "fans.csv"), "--home", "F-03"),
		"town":     pageOf(t, filepath.Join(demo, "passive.csv"), filepath.Join(demo, "short-tests.csv"), filepath.Join(demo, "imported-decimal-comma.csv"), "--community", "--level", "200", "--level", "100", "--recruitment", "volunteer"),
		"hostile":  pageOf(t, hostileFile(t)),
		"areas":    pageOf(t, hostileAreas(t), "--community"),
		"several":  pageOf(t, filepath.Join(demo, "fans.csv"), filepath.Join(demo, "short-tests.csv")),
		"one":      pageOf(t, parishes(t), "--community", "--level", "200", "--exceeds", "20%"),
		"two":      pageOf(t, parishes(t), "--community", "--level", "200", "--level", "100", "--exceeds", "20%"),
		"three":    pageOf(t, parishes(t), "--community", "--level", "300", "--level", "200", "--level", "100", "--exceeds", "20%"),
	}
}

// parishes is a file of four areas of thirty homes, whose names are as long as names are.
func parishes(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("home,area,start,end,value,unit\n")
	for a, name := range []string{"Dunfallow", "Ærø Kirkesogn", "St. Mary's & All Saints, Upper and Lower Parish of the Long Name", "Zed"} {
		for h := range 30 {
			fmt.Fprintf(&b, "h%d-%d,\"%s\",2025-%02d-01,2025-%02d-01,%d,Bq/m3\n", a, h, name, 1+h%9, 4+h%9, 20+(a*61+h*h*29)%400)
		}
	}
	path := filepath.Join(t.TempDir(), "parishes.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// cutOff are the parts of the page that is open whose right end is not seen.
func cutOff(b *browser) (parts []string) {
	b.eval(`[...document.querySelectorAll(".wide, figure div, pre, dl div, td, th")].filter(e => e.scrollWidth > e.clientWidth).map(e => e.tagName + " " + e.className + ", " + e.scrollWidth + " px in " + e.clientWidth + ": " + e.textContent.trim().slice(0, 60))`, &parts)
	return parts
}

// brokenWords are the words of names, of no more letters than stay whole, that stand on two lines.
func brokenWords(b *browser) (words []string) {
	b.eval(`[...document.querySelectorAll("bdi")].flatMap(e => [...e.childNodes].filter(n => n.nodeType == 3).flatMap(n => [...n.data.matchAll(/[\p{L}\p{N}]+/gu)].filter(m => {
		const r = document.createRange(); r.setStart(n, m.index); r.setEnd(n, m.index + m[0].length);
		return m[0].length <= 16 && !n.data.match(/\S{17}/) && new Set([...r.getClientRects()].map(c => Math.round(c.top))).size > 1; }).map(m => m[0])))`, &words)
	return words
}

// TestPagesInBrowser opens pages in Chromium: at the width of a telephone and of a
// desk nothing sticks out or is cut off, no short name is broken, nothing is fetched and
// the console is silent.
func TestPagesInBrowser(t *testing.T) {
	b := newBrowser(t)
	keep := os.Getenv("RADONYEAR_PICTURES") // a folder for what was seen
	pages := browserPages(t)
	for name, path := range pages {
		for _, width := range []int{360, 1280} {
			b.open(path, width)
			var wide int
			b.eval("document.documentElement.scrollWidth", &wide)
			if wide > width {
				t.Errorf("%s: %d px wide at %d px", name, wide, width)
			}
			for _, part := range cutOff(b) {
				t.Errorf("%s at %d px: cut off: %s", name, width, part)
			}
			for _, word := range brokenWords(b) {
				t.Errorf("%s at %d px: %q is broken", name, width, word)
			}
			for _, c := range b.complaints() {
				t.Errorf("%s: %s", name, c)
			}
			if keep != "" {
				b.screenshot(filepath.Join(keep, name+map[int]string{360: "-360.png", 1280: "-1280.png"}[width]))
			}
		}
	}
}

// TestPagesInBrowserTells: the checks above see a table, a picture and a command that are
// cut off, and a name that is broken.
func TestPagesInBrowserTells(t *testing.T) {
	b := newBrowser(t)
	text, err := os.ReadFile(pageOf(t, parishes(t), "--community", "--level", "200", "--level", "100", "--exceeds", "20%"))
	if err != nil {
		t.Fatal(err)
	}
	for style, want := range map[string]string{
		"": "",
		".broad-table table { display: table !important; } .broad-table :is(th, td) { display: table-cell !important; } .broad-table tr { display: table-row !important; } .broad-table tbody { display: table-row-group !important; }": "DIV wide broad-table",
		"figure .narrow svg { width: 30rem !important; max-width: none !important; }": "DIV narrow",
		"pre { white-space: pre !important; }":                                        "PRE",
		"bdi { display: inline-block; width: 2em; overflow-wrap: anywhere; }":         "Dunfallow",
	} {
		path := filepath.Join(t.TempDir(), "cut.html")
		if err := os.WriteFile(path, []byte(strings.Replace(string(text), "</style>", style+"</style>", 1)), 0o644); err != nil {
			t.Fatal(err)
		}
		b.open(path, 360)
		found := append(cutOff(b), brokenWords(b)...)
		if want == "" && len(found) > 0 || want != "" && !slices.ContainsFunc(found, func(f string) bool { return strings.HasPrefix(f, want) }) {
			t.Errorf("with %q: %q", style, found)
		}
	}
}

// manyAreas is a file of so many areas of a dozen homes each.
func manyAreas(t *testing.T, areas int) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("home,area,start,end,value,unit\n")
	for a := range areas {
		for h := range 12 {
			value := 20 + (a*37+h*h*29)%400
			fmt.Fprintf(&b, "h%d-%d,Ward-%02d,2025-%02d-01,2025-%02d-01,%d,Bq/m3\n", a, h, a+1, 1+h%9, 4+h%9, value)
		}
	}
	path := filepath.Join(t.TempDir(), "areas.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// printed is a word on a sheet of paper; places are in points from the upper left.
type printed struct {
	sheet                  int
	left, top, right, foot float64
	text                   string
}

// printedWords prints the page that is open and gives its words as pdftotext finds
// them (package poppler-utils).
func printedWords(t *testing.T, b *browser, width, height float64) []printed {
	t.Helper()
	path := filepath.Join(t.TempDir(), "page.pdf")
	b.pdf(path, width, height)
	if keep := os.Getenv("RADONYEAR_PICTURES"); keep != "" {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(filepath.Join(keep, strings.ReplaceAll(t.Name(), "/", "-")+".pdf"), data, 0o644); err != nil {
			t.Fatal(err)
		}
	}
	out, err := exec.Command("pdftotext", "-bbox", path, "-").Output()
	if err != nil {
		t.Fatalf("pdftotext: %v", err)
	}
	root, err := parsePage(out)
	if err != nil {
		t.Fatal(err)
	}
	var words []printed
	for i, sheet := range root.all("page") {
		for _, w := range sheet.all("word") {
			p := printed{sheet: i, text: w.words()}
			for name, to := range map[string]*float64{"xMin": &p.left, "yMin": &p.top, "xMax": &p.right, "yMax": &p.foot} {
				if *to, err = strconv.ParseFloat(w.attr[name], 64); err != nil {
					t.Fatal(err)
				}
			}
			words = append(words, p)
		}
	}
	return words
}

// sought are the words of a part of a table that can be looked for on paper: the others may
// be broken there, or be turned.
func sought(cell *element) (words []string) {
	for _, w := range strings.Fields(apart(cell)) {
		if utf8.RuneCountInString(w) <= 14 && strings.ContainsFunc(w, func(r rune) bool { return unicode.IsLetter(r) || unicode.IsDigit(r) }) && !strings.ContainsAny(w, "\u200e\u200f\u0590\u05d0עברית") {
			words = append(words, w)
		}
	}
	return words
}

// apart is what an element says, with a space before what stands on a line of its own.
func apart(e *element) string {
	if e.name == "" {
		return e.text
	}
	var b strings.Builder
	if e.attr["class"] == "minor" {
		b.WriteByte(' ')
	}
	for _, c := range e.children {
		b.WriteString(apart(c))
	}
	return b.String()
}

// linesOf are the lines on paper that a row of a table may be: they begin with its first
// word, and all that its cells say stands beside them or further down (of a head further
// up), on the same sheet, no further than so many words can take. Where there is none, lost
// is what the last line looked at has not; a row without a word to look for has neither.
func linesOf(row *element, words []printed, edge float64) (all []printed, lost string) {
	var cells [][]string
	lines, first, from := 0, "", 0 // the cell that the first word is of
	for _, c := range row.children {
		if c.name != "th" && c.name != "td" {
			continue
		}
		said, words := sought(c), strings.Fields(apart(c))
		letters := 0
		for _, w := range words {
			letters += 1 + utf8.RuneCountInString(w)/5
		}
		lines = max(lines, letters)
		if first == "" && len(said) > 0 {
			first, from = said[0], len(cells)
			if from > 0 || c.attr["class"] == "n" || words[0] != first {
				edge = math.Inf(1) // the line may begin with something else
			}
		}
		cells = append(cells, said)
	}
	if first == "" {
		return nil, ""
	}
	lost = fmt.Sprintf("no line begins with %q", first)
	over, under := 30.0, 17*float64(lines)
	if row.parent.name == "thead" {
		over = under
	}
	for _, w := range words {
		if w.text != first || w.left > edge+1 {
			continue
		}
		missing := ""
		for i, said := range cells {
			for _, want := range said {
				if !slices.ContainsFunc(words, func(o printed) bool {
					return o.text == want && o.sheet == w.sheet && o.top > w.top-over && o.top < w.top+under && (i <= from || o.left > w.left+5)
				}) {
					missing = fmt.Sprintf("no %q in cell %d of the row that begins with %q, on sheet %d", want, i+1, first, w.sheet+1)
				}
			}
		}
		if missing == "" {
			all = append(all, w)
		} else {
			lost = missing
		}
	}
	return all, lost
}

// tablesTrouble says which rows of a page's tables are not whole on paper: those without a
// place there that leaves as many others as can be in their order.
func tablesTrouble(root *element, words []printed) (trouble []string, rows int) {
	edge := math.Inf(1)
	for _, w := range words {
		edge = min(edge, w.left)
	}
	type place struct {
		printed
		row, before, length int // the place before it, -1 for none, and how many there are to it
	}
	var all []place
	var lost []string
	last := -1 // of the longest order
	for _, table := range root.all("table") {
		for _, row := range table.all("tr") {
			found, missing := linesOf(row, words, edge)
			if found == nil && missing == "" {
				continue
			}
			n := len(all) // not of its own row
			for _, w := range found {
				p := place{w, rows, -1, 1}
				for k, o := range all[:n] {
					if (o.sheet < w.sheet || o.sheet == w.sheet && o.top < w.top) && o.length >= p.length {
						p.before, p.length = k, o.length+1
					}
				}
				all = append(all, p)
				if last < 0 || p.length > all[last].length {
					last = len(all) - 1
				}
			}
			lost = append(lost, missing)
			rows++
		}
	}
	there := make([]bool, rows)
	for k := last; k >= 0; k = all[k].before {
		there[all[k].row] = true
	}
	for i, ok := range there {
		if !ok {
			trouble = append(trouble, lost[i])
		}
	}
	return trouble, rows
}

// papers are the two sizes in use, in inches.
var papers = map[string][2]float64{"A4": {210 / 25.4, 297 / 25.4}, "Letter": {8.5, 11}}

// TestPagesPrinted prints each page: of every row of every table all that its cells say is
// on one sheet, beside what the row begins with, and inside of the margins; and a table
// that goes on over the sheet has its head there again.
func TestPagesPrinted(t *testing.T) {
	b := newBrowser(t)
	pages := browserPages(t)
	pages["wards"] = pageOf(t, manyAreas(t, 70), "--community", "--level", "200", "--level", "100")
	for name, path := range pages {
		root := readPage(t, path)
		b.open(path, 1280)
		for paper, size := range papers {
			t.Run(name+"-"+paper, func(t *testing.T) {
				words := printedWords(t, b, size[0], size[1])
				const margin = 36 // points; the style asks for more
				sheets := map[string]map[int]bool{}
				for _, w := range words {
					if w.left < margin || w.right > size[0]*72-margin || w.top < margin || w.foot > size[1]*72-margin {
						t.Errorf("sheet %d: %q stands at %.0f-%.0f, %.0f-%.0f", w.sheet+1, w.text, w.left, w.right, w.top, w.foot)
					}
					if sheets[w.text] == nil {
						sheets[w.text] = map[int]bool{}
					}
					sheets[w.text][w.sheet] = true
				}
				trouble, rows := tablesTrouble(root, words)
				for _, bad := range trouble {
					t.Error(bad)
				}
				if rows < 3 {
					t.Errorf("only %d rows were looked for", rows)
				}
				if name == "wards" {
					over := map[int]bool{}
					edge := size[0] * 72
					for _, w := range words {
						edge = min(edge, w.left)
					}
					for _, w := range words {
						if strings.HasPrefix(w.text, "Ward-") && w.left < edge+1 { // not those of the picture
							over[w.sheet] = true
						}
					}
					heads := 0
					for s := range over {
						if sheets["measured"][s] && sheets["than,"][s] {
							heads++
						}
					}
					if len(over) < 3 || heads < len(over) {
						t.Errorf("the areas stand on %d sheets, with their head on %d", len(over), heads)
					}
				}
			})
		}
	}
}

// TestPrintedTells: the check above sees a table that is cut off at its right or at its
// lower end.
func TestPrintedTells(t *testing.T) {
	b := newBrowser(t)
	path := browserPages(t)["town"]
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	root := readPage(t, path)
	for name, style := range map[string]string{
		"whole":  "",
		"right":  ".wide { overflow: hidden !important; } table { width: 150% !important; max-width: none !important; }",
		"lower":  ".wide { overflow: hidden !important; height: 6rem; }",
		"a cell": "tbody tr:last-child td:last-child { visibility: hidden; }",
	} {
		cut := filepath.Join(t.TempDir(), "cut.html")
		if err := os.WriteFile(cut, []byte(strings.Replace(string(text), "</style>", "@media print { "+style+" }</style>", 1)), 0o644); err != nil {
			t.Fatal(err)
		}
		b.open(cut, 1280)
		size := papers["A4"]
		trouble, rows := tablesTrouble(root, printedWords(t, b, size[0], size[1]))
		t.Logf("%s: %d of %d rows: %q", name, len(trouble), rows, trouble)
		if (len(trouble) > 0) != (style != "") {
			t.Errorf("%s: of %d rows %d are not whole: %q", name, rows, len(trouble), trouble)
		}
	}
}

// TestPagesAxe runs axe-core, a general check of accessibility, in each page where
// RADONYEAR_AXE names its script.
func TestPagesAxe(t *testing.T) {
	script := os.Getenv("RADONYEAR_AXE")
	if script == "" {
		t.Skip("RADONYEAR_AXE names no script")
	}
	axe, err := os.ReadFile(script)
	if err != nil {
		t.Fatal(err)
	}
	b := newBrowser(t)
	pages := browserPages(t)
	type violation struct {
		ID, Help string
		Nodes    []struct{ HTML string }
	}
	check := func(path string, width int) (found []violation, passes int) {
		b.open(path, width)
		b.eval(string(axe)+";0", nil)
		var r struct {
			Violations []violation
			Passes     int
		}
		b.eval(`axe.run(document, {resultTypes: ["violations"]}).then(r => ({Violations: r.violations.map(v => ({ID: v.id, Help: v.help, Nodes: v.nodes.map(n => ({HTML: n.html.slice(0, 200)}))})), Passes: r.passes.length}))`, &r)
		return r.Violations, r.Passes
	}
	for name, path := range pages {
		for _, width := range []int{360, 1280} {
			found, passes := check(path, width)
			for _, v := range found {
				t.Errorf("%s at %d px: %s: %s: %+v", name, width, v.ID, v.Help, v.Nodes)
			}
			if passes < 10 {
				t.Errorf("%s: only %d rules were tried", name, passes)
			}
		}
	}
	// It tells: the same page in grey that is too light, without its language.
	text, err := os.ReadFile(pages["open"])
	if err != nil {
		t.Fatal(err)
	}
	bad := filepath.Join(t.TempDir(), "bad.html")
	spoiled := strings.NewReplacer("--second: #4a4a4a", "--second: #bbb", `<html lang="en">`, "<html>").Replace(string(text))
	if err := os.WriteFile(bad, []byte(spoiled), 0o644); err != nil {
		t.Fatal(err)
	}
	found, _ := check(bad, 1280)
	for _, want := range []string{"color-contrast", "html-has-lang"} {
		if !slices.ContainsFunc(found, func(v violation) bool { return v.ID == want }) {
			t.Errorf("%s went unseen", want)
		}
	}
}
