package main

import (
	"bytes"
	"encoding/json"
	"encoding/xml"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"testing"

	"radonyear/analysis/survey"
	"radonyear/cmd/radonyear/internal/report"
)

// element is a part of a page, which is well-formed XML as well as HTML.
type element struct {
	name     string // "" for text
	text     string
	attr     map[string]string
	parent   *element
	children []*element
}

func parsePage(text []byte) (*element, error) {
	root := &element{}
	at := root
	for d := xml.NewDecoder(bytes.NewReader(text)); ; {
		token, err := d.Token()
		if errors.Is(err, io.EOF) {
			return root, nil
		}
		if err != nil {
			return nil, err
		}
		switch token := token.(type) {
		case xml.StartElement:
			e := &element{name: token.Name.Local, parent: at, attr: map[string]string{}}
			for _, a := range token.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			at.children = append(at.children, e)
			at = e
		case xml.EndElement:
			at = at.parent
		case xml.CharData:
			at.children = append(at.children, &element{text: string(token), parent: at})
		}
	}
}

// all are the elements of a name, in order; "" gives every one, "#text" the texts.
func (e *element) all(name string) (out []*element) {
	for _, c := range e.children {
		if c.name == name || name == "" && c.name != "" || name == "#text" && c.name == "" {
			out = append(out, c)
		}
		out = append(out, c.all(name)...)
	}
	return out
}

func (e *element) words() string {
	if e.name == "" && e.parent != nil {
		return e.text
	}
	var b strings.Builder
	for _, c := range e.children {
		b.WriteString(c.words())
	}
	return b.String()
}

// inherited is an attribute of the element or of what it stands in.
func (e *element) inherited(name string) string {
	for ; e != nil; e = e.parent {
		if v, ok := e.attr[name]; ok {
			return v
		}
	}
	return ""
}

func (e *element) within(names ...string) bool {
	for ; e != nil; e = e.parent {
		if slices.Contains(names, e.name) {
			return true
		}
	}
	return false
}

func readPage(t *testing.T, path string) *element {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	root, err := parsePage(text)
	if err != nil {
		t.Fatalf("%s: %v", path, err)
	}
	return root
}

// jsonOf is what a command writes as JSON.
func jsonOf(t *testing.T, command string, args ...string) any {
	t.Helper()
	var stdout, stderr bytes.Buffer
	status := run(append([]string{"radonyear", command, "--format", "json"}, args...), strings.NewReader(""), &stdout, &stderr)
	if status != exitDone && status != exitPartial {
		t.Fatalf("%s %v: status %d\n%s", command, args, status, stderr.String())
	}
	var v any
	if err := json.Unmarshal(stdout.Bytes(), &v); err != nil {
		t.Fatal(err)
	}
	return v
}

// rowsOf are the results, or the rows of another table, of one home and, if level is
// not NaN, of one level.
func rowsOf(root any, table, home, area string, level float64) (out []any) {
	all, _ := follow(root, []string{table})
	list, _ := all.([]any)
	for _, row := range list {
		m := row.(map[string]any)
		if m["home"] == home && m["area"] == area && (math.IsNaN(level) || m["level"] == level) {
			out = append(out, row)
		}
	}
	return out
}

// numberOf is the number in a command's JSON that a page says it prints, by the field
// it names: "settings...." of the whole, "field@k" of the home at level k, "field" of
// the home.
func numberOf(root any, home, area, of string) (float64, error) {
	field, k, atLevel := strings.Cut(of, "@")
	path := strings.Split(field, ".")
	from := root
	if command, _ := follow(root, []string{"command"}); command == "survey" && path[0] != "settings" {
		path = append([]string{"results", "0"}, path...)
	} else if path[0] != "settings" {
		level, table := math.NaN(), "results"
		if atLevel {
			l, ok := follow(root, []string{"settings", "levels", k})
			if !ok {
				return 0, fmt.Errorf("no level %s", k)
			}
			level = l.(float64)
		}
		if path[0] == "further" || path[0] == "places" {
			table = path[0]
		}
		rows := rowsOf(root, table, home, area, level)
		switch {
		case table != "results":
			i, _ := strconv.Atoi(path[1])
			if i >= len(rows) {
				return 0, fmt.Errorf("no row %s", of)
			}
			from, path = rows[i], path[2:]
		case len(rows) == 0 || atLevel && len(rows) > 1:
			return 0, fmt.Errorf("%d results", len(rows))
		default:
			from = rows[0]
		}
	}
	v, ok := follow(from, path)
	if x, isNumber := v.(float64); ok && isNumber {
		if k == "pCi/L" {
			x = round(x / 37)
		}
		return x, nil
	}
	return 0, fmt.Errorf("there is %v", v)
}

// quarterToldAt is a quarter of a year in the JSON, as of a text and no number.
func quarterToldAt(root any, of string) (string, bool) {
	v, _ := follow(root, append([]string{"results", "0"}, strings.Split(of, ".")...))
	text, ok := v.(string)
	return text, ok
}

// printedAs is how a number of a field is printed for people.
func printedAs(x float64, of string, levels []float64, confidence float64) string {
	field, _, _ := strings.Cut(of, "@")
	last := field[strings.LastIndex(field, ".")+1:]
	switch {
	case strings.HasPrefix(field, "settings.levels") || field == "settings.min_cell":
		return report.Exact(x)
	case field == "settings.confidence" || field == "settings.exceeds":
		return report.Exact(round(100 * x))
	case last == "probability" || last == "chance":
		return strings.TrimLeft(report.Percent(x, confidence), "<>") // the words before it say the side
	case field == "raw_ratio" || field == "season_artefact":
		return strings.TrimPrefix(report.Whole(100*(1-x)), "-")
	case last == "days" || last == "days_measured" || last == "days_for_80_percent":
		return report.DayCount(x)
	case last == "season_factor" || strings.HasPrefix(field, "reduction"):
		return strings.TrimPrefix(report.Number(x), "-") // the words behind it say the side
	}
	return report.Number(x, levels...)
}

// publishedAs is how a number of a published survey is printed: two digits, shares in
// percent.
func publishedAs(x float64, of string) string {
	parts := strings.Split(of, ".")
	if name := parts[len(parts)-2]; name == "share" || name == "raw_share" {
		return told(round(100 * x))
	}
	return told(x)
}

// ownDigits are the words of ours that hold a number no result is.
var ownDigits = regexp.MustCompile(`of 100 homes|37 Bq/m³ are 1 pCi/L|chance of at least 80\x{a0}%|first 24 hours|times in 100`)

// checkNumbers holds every number of a page, but for its last section, to the JSON.
func checkNumbers(root *element, jsonFor map[string]any) (checked int, faults []string) {
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	notes := map[string]bool{}
	for _, doc := range jsonFor {
		collectNotes(doc, notes)
	}
	for _, d := range root.all("data") {
		if d.inherited("data-table") == "inputs" {
			continue
		}
		command, home, area, of := d.inherited("data-command"), d.inherited("data-home"), d.inherited("data-area"), d.attr["data-of"]
		doc := jsonFor[command]
		if quarter, ok := quarterToldAt(doc, of); ok {
			checked++
			first, last, year := quarterWords(quarter)
			// A run of quarters is told by its first month and its last.
			if d.attr["value"] != quarter || !slices.Contains([]string{first + " to " + last + " " + year, first + " " + year, last + " " + year}, d.words()) {
				fault("%s is %q and %q in the page, and %q in the JSON", of, d.attr["value"], d.words(), quarter)
			}
			continue
		}
		want, err := numberOf(doc, home, area, of)
		if err != nil {
			fault("%s of %s %q: %v", of, command, home, err)
			continue
		}
		checked++
		if got, err := strconv.ParseFloat(d.attr["value"], 64); err != nil || got != want {
			fault("%s of %q is %v in the JSON and %s in the page", of, home, want, d.attr["value"])
		}
		var levels []float64
		if command == "inspect" { // which is asked for no level, and rounds on the page as what stands around it
			section := d
			for section.name != "section" {
				section = section.parent
			}
			levels = levelsOf(jsonFor[section.inherited("data-command")])
		} else {
			levels = levelsOf(doc)
		}
		confidence, _ := follow(doc, []string{"settings", "confidence"})
		as := printedAs(want, of, levels, confidence.(float64))
		if command == "survey" && !strings.HasPrefix(of, "settings.") && !strings.HasSuffix(of, ".probability") {
			as = publishedAs(want, of)
		}
		if d.words() != as {
			fault("%s of %q is printed %q, and tables print %q", of, home, d.words(), as)
		}
	}
	for _, x := range root.all("main")[0].all("#text") {
		if x.within("data", "time", "code", "pre", "svg") || underHow(x) || notes[strings.TrimSpace(x.text)] {
			continue
		}
		text := ownDigits.ReplaceAllString(x.text, "")
		if strings.ContainsAny(text, "0123456789") && !x.within("bdi") {
			fault("a number outside of the data: %q", x.text)
		}
	}
	return checked, faults
}

func underHow(e *element) bool {
	for ; e != nil; e = e.parent {
		if e.attr["id"] == "how" {
			return true
		}
	}
	return false
}

func collectNotes(v any, notes map[string]bool) {
	switch v := v.(type) {
	case map[string]any:
		if text, ok := v["text"].(string); ok {
			notes[text] = true
		}
		if what, ok := v["what"].(string); ok {
			why := v["why"].(string)
			notes[firstUpper(what)+": "+why+"."] = true
		}
		for _, x := range v {
			collectNotes(x, notes)
		}
	case []any:
		for _, x := range v {
			collectNotes(x, notes)
		}
	}
}

// edgeFile holds homes at the edges: below limits, zero, too short, a whole year, rooms
// that differ, systems that did nothing or worse.
func edgeFile(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "edge.csv")
	if err := os.WriteFile(path, []byte(`home,area,room,start,end,value,unit,phase
below,N,bed,2025-01-10,2025-04-10,<15,Bq/m3,
zero,N,bed,2025-01-10,2025-04-10,0,Bq/m3,
short,N,bed,2025-01-10T00:00Z,2025-01-11T12:00Z,900,Bq/m3,
year,N,bed,2025-01-10,2026-01-10,199,Bq/m3,
rooms,N,bed,2025-01-10,2025-12-10,150,Bq/m3,
rooms,N,cellar,2025-01-10,2025-12-10,260,Bq/m3,
unseen after,N,bed,2025-01-10,2025-04-10,500,Bq/m3,before
unseen after,N,bed,2025-04-20,2025-07-20,<15,Bq/m3,after
unseen before,N,bed,2025-01-10,2025-04-10,<15,Bq/m3,before
unseen before,N,bed,2025-04-20,2025-07-20,90,Bq/m3,after
unseen,N,bed,2025-01-10,2025-04-10,<15,Bq/m3,before
unseen,N,bed,2025-04-20,2025-07-20,<15,Bq/m3,after
worse,N,bed,2025-01-10,2025-04-10,50,Bq/m3,before
worse,N,bed,2025-04-20,2025-07-20,900,Bq/m3,after
season,N,bed,2024-01-10,2024-03-10,150,Bq/m3,before
season,N,bed,2025-01-10,2025-03-10,560,Bq/m3,after
across,N,bed,2025-01-10,2025-03-11,146,Bq/m3,
same,N,bed,2025-01-10,2025-04-10,150,Bq/m3,before
same,N,bed,2025-04-20,2025-07-20,120,Bq/m3,after
`), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// retestFile is of a fan that did its work in the first spring, and was measured again long
// after it.
func retestFile(t *testing.T) string {
	path := filepath.Join(t.TempDir(), "retest.csv")
	text := `home,start,end,value,unit,zone,phase
R,2025-01-06,2025-01-10,640,Bq/m3,UTC,before
R,2025-03-01,2025-06-01,60,Bq/m3,UTC,after
R,2026-09-01,2026-12-01,450,Bq/m3,UTC,after
`
	if err := os.WriteFile(path, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// systemsFile is of switches of two systems, of which one joins the other.
func systemsFile(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "systems.csv")
	if err := os.WriteFile(path, []byte(`home,time,system
F-15,2024-03-06T15:00,fan
F-15,2024-07-20T12:00,sump
F-16,2024-05-22T15:00,fan
`), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// repairedFile is of a system that was off for some hours, and of the second of two that was.
func repairedFile(t *testing.T) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), "repaired.csv")
	if err := os.WriteFile(path, []byte(`home,time,state,system
F-15,2024-03-06T15:00,on,
F-15,2024-07-20T09:00,off,
F-15,2024-07-20T15:00,on,
F-16,2024-05-22T15:00,on,fan
F-16,2024-06-20T12:00,on,sump
F-16,2024-06-20T15:00,off,fan
F-16,2024-08-20T12:00,off,sump
F-16,2024-08-20T18:00,on,sump
`), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// skipShort leaves out tests of many pages under -short: the race detector makes them
// minutes long, and TestPageSameBytes shows it all that runs side by side.
func skipShort(t *testing.T) {
	if testing.Short() {
		t.Skip("makes many pages")
	}
}

// TestPageNumbers runs report and the commands whose numbers it shows, and compares
// all of them.
func TestPageNumbers(t *testing.T) {
	skipShort(t)
	t.Parallel()
	demo := filepath.Join("..", "..", "testdata", "demo")
	in := func(name string) string { return filepath.Join(demo, name) }
	for _, c := range []struct {
		name     string
		args     []string
		home     []string
		commands []string
		least    int
		town     []string // options of a community
	}{
		{"open", []string{in("imported-decimal-comma.csv")}, []string{"K-28"}, []string{"verdict"}, 25, nil},
		{"every home", []string{in("imported-decimal-comma.csv"), "--level", "4 pCi/L", "--level", "30", "--confidence", "0.9"}, nil, []string{"verdict"}, 100, nil},
		{"compared", []string{in("fans.csv"), "--area-prior", "90,2.3"}, nil, []string{"compare"}, 200, nil},
		{"both", []string{in("fans.csv"), in("short-tests.csv")}, []string{"F-03", "K-02"}, []string{"verdict", "compare"}, 40, nil},
		{"switched", []string{in("fan-log.csv"), "--switches", in("switches.csv")}, nil, []string{"compare"}, 20, nil},
		{"failed", []string{in("fan-fails.csv"), "--switch", "2024-02-13T15:00", "--level", "200", "--level", "100"}, nil, []string{"compare"}, 20, nil},
		{"systems", []string{in("fan-log.csv"), "--switches", systemsFile(t), "--level", "200", "--level", "30"}, nil, []string{"compare"}, 40, nil},
		{"repaired", []string{in("fan-log.csv"), "--switches", repairedFile(t), "--level", "200", "--level", "30"}, nil, []string{"compare"}, 40, nil},
		{"retest", []string{retestFile(t)}, nil, []string{"compare"}, 20, nil},
		{"edges", []string{edgeFile(t), "--zone", "UTC"}, nil, []string{"verdict", "compare"}, 100, nil},
		{"community", []string{in("passive.csv"), in("short-tests.csv"), in("imported-decimal-comma.csv"), "--level", "200", "--level", "100", "--recruitment", "volunteer"}, nil, []string{"survey"}, 40, []string{"--community"}},
		{"areas", []string{manyAreas(t, 9), "--level", "200", "--level", "100", "--exceeds", "20%", "--populations", dwellings(t, 9), "--min-cell", "6"}, nil, []string{"survey"}, 120, []string{"--community", "--min-homes", "15"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			t.Parallel()
			args := slices.Clone(c.args)
			for _, h := range c.home {
				args = append(args, "--home", h)
			}
			docs := map[string]any{}
			for _, command := range c.commands {
				args := c.args
				if command == "survey" {
					args = append(slices.Clip(args), "--publish")
				}
				docs[command] = jsonOf(t, command, args...)
			}
			if c.town == nil {
				docs["inspect"] = anyJSON(t, "inspect", c.args)
			}
			if slices.Contains(c.commands, "verdict") {
				docs["annual"] = anyJSON(t, "annual", c.args) // which twelve months
			}
			root := readPage(t, pageOf(t, append(args, c.town...)...))
			checked, faults := checkNumbers(root, docs)
			for _, f := range faults {
				t.Error(f)
			}
			if checked < c.least {
				t.Errorf("only %d numbers were found", checked)
			}
			var all []any
			for _, d := range docs {
				all = append(all, d)
			}
			words, faults := checkWords(root, all)
			pictures, more := checkFigures(root, docs)
			how, last := checkHow(root, docs)
			beside, sides := checkSides(root, docs)
			dated, ordered := checkDays(root, docs)
			if beside < c.least/2 || c.town == nil && dated < 2 {
				t.Errorf("the words beside %d numbers and %d pairs of days", beside, dated)
			}
			for _, f := range slices.Concat(faults, more, last, sides, ordered) {
				t.Error(f)
			}
			if c.town == nil && words < 4 || c.town != nil && len(root.all("main")[0].all("time")) > 0 || pictures < 4 || how < 10 {
				t.Errorf("%d days and names, %d numbers of pictures, %d of the last section", words, pictures, how)
			}
			// The files, by their digests.
			for command, doc := range docs {
				inputs, _ := follow(doc, []string{"inputs"}) // none where they are kept back
				beside, _ := follow(doc, []string{"inputs_beside"})
				if command == "compare" && (beside != nil) != slices.Contains(c.args, "--switches") {
					t.Errorf("files beside the readings: %v", beside)
				}
				more, _ := beside.([]any)
				for _, x := range append(inputs.([]any), more...) {
					if sum := x.(map[string]any)["sha256"].(string); !strings.Contains(root.words(), sum) {
						t.Errorf("the page lacks the digest %s", sum)
					}
				}
			}
		})
	}
}

// anyJSON is what another command says of the files of a page, without the options that
// it does not have.
func anyJSON(t *testing.T, command string, args []string) any {
	t.Helper()
	has := map[string][]string{"annual": {"zone", "level", "confidence", "area-prior"}, "inspect": {"zone", "confidence"}}
	var own []string
	for i := 0; i < len(args); i++ {
		name, option := strings.CutPrefix(args[i], "--")
		if option && slices.Contains(has[command], name) {
			own = append(own, args[i], args[i+1])
		} else if !option {
			own = append(own, args[i])
		}
		if option {
			i++
		}
	}
	return jsonOf(t, command, own...)
}

// dwellings is a file of the dwellings of the areas of manyAreas.
func dwellings(t *testing.T, areas int) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("area,dwellings\n")
	for a := range areas {
		fmt.Fprintf(&b, "Ward-%02d,%d\n", a+1, 800+137*a)
	}
	path := filepath.Join(t.TempDir(), "dwellings.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestPageNumbersTells shows that the comparison can fail: on a number that is another,
// on one printed otherwise, on one of another home, and on one in plain text.
func TestPageNumbersTells(t *testing.T) {
	file := filepath.Join("..", "..", "testdata", "demo", "imported-decimal-comma.csv")
	docs := map[string]any{"verdict": jsonOf(t, "verdict", file), "inspect": jsonOf(t, "inspect", file)}
	text, err := os.ReadFile(pageOf(t, file, "--home", "K-28"))
	if err != nil {
		t.Fatal(err)
	}
	for _, change := range [][2]string{
		{`data-of="raw_mean">241<`, `data-of="raw_mean">240<`},
		{`data-home="K-28"`, `data-home="K-20"`},
		{`Other years differ.`, `Other years differ by 30 percent.`},
		{`data-of="season_factor"`, `data-of="raw_mean"`},
		{`data-value="200.996"`, `data-value="200.986"`},
		{`data-label="level, 200 Bq/m³" data-at="200"`, `data-label="level, 200 Bq/m³" data-at="210"`},
		{`data-label="level, 200 Bq/m³"`, `data-label="limit, 200 Bq/m³"`},
		{`>Annual mean 201 Bq`, `>Annual mean 203 Bq`},
		{`<time datetime="2024-01-09">9 January`, `<time datetime="2024-01-08">8 January`},
		{`<bdi>S0078</bdi>`, `<bdi>S0079</bdi>`},
		{`<dt>confidence</dt><dd><bdi>0.95`, `<dt>confidence</dt><dd><bdi>0.9`},
		{`data-of="rows">8<`, `data-of="rows">9<`},
	} {
		if !bytes.Contains(text, []byte(change[0])) {
			t.Fatalf("the page has no %q", change[0])
		}
		root, err := parsePage(bytes.ReplaceAll(text, []byte(change[0]), []byte(change[1])))
		if err != nil {
			t.Fatal(err)
		}
		_, faults := checkNumbers(root, docs)
		_, words := checkWords(root, []any{docs["verdict"], jsonOf(t, "annual", file), jsonOf(t, "inspect", file)})
		_, pictures := checkFigures(root, docs)
		_, how := checkHow(root, docs)
		if slices.Concat(faults, words, pictures, how) == nil {
			t.Errorf("%q for %q went unseen", change[1], change[0])
		}
	}
}

// hostile are names that a file may hold.
var hostile = []string{
	`<script>alert(1)</script>`,
	`"><img src=x onerror=alert(1)>`,
	`'; alert(1) //`,
	`&lt;b&gt; & {{.}} ]]>`,
	"\u202egnp.exe\u202c \u200fעברית\u2066",
	strings.Repeat("x", 500),
	strings.Repeat("long name ", 50),
}

// hostileFile is a file of homes with such names everywhere a name can stand.
func hostileFile(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	quote := func(s string) string { return `"` + strings.ReplaceAll(s, `"`, `""`) + `"` }
	b.WriteString("home,area,room,detector,start,end,value,unit,phase\n")
	for i, name := range hostile {
		q := quote(name)
		fmt.Fprintf(&b, "%s,%s,%s,%s,2025-01-01,2025-03-01,%d,Bq/m3,before\n", q, q, q, q, 150+10*i)
		if i%2 == 0 {
			fmt.Fprintf(&b, "%s,%s,%s,%s,2025-04-01,2025-06-01,%d,Bq/m3,after\n", q, q, q, q, 30+10*i)
		}
		fmt.Fprintf(&b, "%s,%s,%s,%s,2025-07-01,2025-06-01,%s,Bq/m3,\n", q, q, q, q, q) // left out
	}
	path := filepath.Join(t.TempDir(), "hostile <script>.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// hostileAreas is a file of areas with such names, a dozen homes in each.
func hostileAreas(t *testing.T) string {
	t.Helper()
	var b strings.Builder
	b.WriteString("home,area,start,end,value,unit\n")
	for i, name := range hostile {
		for h := range 12 {
			fmt.Fprintf(&b, "h%d-%d,\"%s\",2025-01-01,2025-03-01,%d,Bq/m3\n", i, h, strings.ReplaceAll(name, `"`, `""`), 30+(i*41+h*h*17)%300)
		}
	}
	path := filepath.Join(t.TempDir(), "areas.csv")
	if err := os.WriteFile(path, []byte(b.String()), 0o644); err != nil {
		t.Fatal(err)
	}
	return path
}

// TestPageHostileNames: what a file says is text in a page, whatever it says.
func TestPageHostileNames(t *testing.T) {
	skipShort(t)
	for _, path := range []string{pageOf(t, hostileFile(t)), pageOf(t, hostileAreas(t), "--community")} {
		checkHostile(t, path)
	}
}

func checkHostile(t *testing.T, path string) {
	t.Helper()
	text, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range accessible(text) {
		t.Error(f)
	}
	drawn := 0
	for svg := range bytes.SplitSeq(text, []byte("<svg ")) {
		if svg, _, ok := bytes.Cut(svg, []byte("</svg>")); ok {
			drawn++
			for _, bad := range textTrouble(t, slices.Concat([]byte("<svg "), svg, []byte("</svg>"))) {
				t.Error(bad)
			}
		}
	}
	if drawn < 4 {
		t.Errorf("only %d pictures", drawn)
	}
	root := readPage(t, path)
	words := root.words()
	for _, name := range hostile {
		if shown := strings.NewReplacer("\u202e", `\u202e`, "\u202c", `\u202c`, "\u2066", `\u2066`).Replace(strings.TrimSpace(name)); !strings.Contains(words, shown) {
			t.Errorf("the page does not show %.60q", shown)
		}
	}
	// In text, names stand apart from the direction of what is around them.
	for _, x := range root.all("#text") {
		if strings.Contains(x.text, "עברית") && !x.within("bdi", "code", "title", "desc", "text") {
			t.Errorf("a name stands in words of our own: %q", x.text)
		}
		if strings.ContainsAny(x.text, "\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069") {
			t.Errorf("a mark of direction is left in %q", x.text)
		}
	}
	if n := len(root.all("style")); n != 1 {
		t.Errorf("%d styles", n)
	}
}

// TestPageEdges: what a page says where there is no ordinary number.
func TestPageEdges(t *testing.T) {
	skipShort(t)
	file := edgeFile(t)
	for home, want := range map[string][]string{
		"below":         {"There was less than the detector can see", "how far under, this test cannot say"},
		"zero":          {"Every result is zero or next to nothing: ask first whether the detector worked", "Only if the detector worked: averaged over the year", "this test does not say that nothing has to be done"},
		"short":         {"This test was too short to tell", "no answer is called clear, whatever the chance"},
		"year":          {"Nearly all of the twelve months", "going on will not settle it", "ask a radon professional"},
		"rooms":         {"By itself, \"cellar\" is above", "If people live or sleep in that room, take the home as above: have a radon professional look at it."},
		"unseen after":  {"The system works: it lowers", "at least 92.7\u00a0%", "The two tests were made"},
		"unseen before": {"With the system there is more radon", "none: with it there is at least 283\u00a0% more"},
		"worse":         {"With the system there is more radon", "none: with it there is", "Look whether the system runs", "So both averages were worked out"},
		"season":        {"The two tests fell in the same season, or in seasons alike for radon", "between 54.1\u00a0% more and 808\u00a0% more"},
		"across":        {"is very likely below 200", "The likely range reaches across 200\u00a0Bq/m³: the average may lie on the other side"},
		"same":          {"do not show whether", "\u00a0% more and 52.4\u00a0% less"},
	} {
		root := readPage(t, pageOf(t, file, "--zone", "UTC", "--home", home))
		words := root.all("main")[0].words()
		for _, w := range want {
			if !strings.Contains(words, w) {
				t.Errorf("%s: the page does not say %q", home, w)
			}
		}
	}
}

// TestPageMeasured: each detector's days and average, the last day that was measured, what
// is not shown, and a level as it was asked for.
func TestPageMeasured(t *testing.T) {
	var days strings.Builder
	days.WriteString("home,room,detector,start,end,value,unit\n")
	for d := 1; d <= 28; d++ {
		if d != 11 && d != 12 {
			fmt.Fprintf(&days, "D,hall,m1,2025-04-%02d,2025-04-%02d,%d,Bq/m3\n", d, d+1, 100+d%2*20)
		}
	}
	write := func(name, text string) string {
		path := filepath.Join(t.TempDir(), name)
		if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
			t.Fatal(err)
		}
		return path
	}
	const weigh = "The answer also weighs how far so few\u00a0days may lie from a year"
	for name, c := range map[string]struct {
		args, says, not []string
		row             string // of the table of detectors, cells between bars
	}{
		// 26 of 28 days, 13 of 100 and 13 of 120 Bq/m³.
		"days": {[]string{write("days.csv", days.String())}, []string{"measured on 26 days between 1 April 2025 and 28 April 2025.", weigh}, []string{"29 Apr", "(4"},
			"hall|m1|1 Apr 2025 to 28 Apr 2025|26|110"},
		"rooms": {[]string{write("rooms.csv", "home,room,detector,start,end,value,unit\nR,living,a,2024-11-04,2025-02-04,40,Bq/m3\nR,cellar,b,2024-11-04,2025-02-04,900,Bq/m3\n"), "--level", "4 pCi/L"},
			[]string{"over 92 days, from 4 November 2024 to 4 February 2025.", "ask for each room by itself (radonyear annual FILE --by room)", "148 Bq/m³ (4 pCi/L) is a level used"}, nil, "cellar|b|4 Nov 2024 to 4 Feb 2025|92|900"},
		"whole level": {[]string{write("one.csv", "home,start,end,value,unit\nO,2024-11-04,2025-02-04,40,Bq/m3\n"), "--level", "148"}, []string{"148 Bq/m³ is a level used"}, []string{"(4", "--by room"},
			"not stated|not stated|4 Nov 2024 to 4 Feb 2025|92|40.0"},
		"not shown": {[]string{write("rise.csv", "home,start,end,value,unit,phase\nS,2024-01-10,2024-03-10,150,Bq/m3,before\nS,2025-01-10,2025-03-10,160,Bq/m3,after\n")},
			[]string{"do not show whether", "Reduction: not shown: with it there is"}, []string{"none:"}, "not stated|not stated|with|10 Jan 2025 to 10 Mar 2025|59|160"},
	} {
		root := readPage(t, pageOf(t, c.args...))
		words := strings.ReplaceAll(root.all("main")[0].words(), " days", " days")
		for _, w := range c.says {
			if !strings.Contains(words, w) {
				t.Errorf("%s: the page does not say %q", name, w)
			}
		}
		before, _, _ := strings.Cut(words, "How these numbers were made")
		for _, w := range c.not {
			if strings.Contains(before, w) {
				t.Errorf("%s: the page says %q", name, w)
			}
		}
		var rows []string
		for _, row := range root.all("tr") {
			var cells []string
			for _, cell := range row.all("") {
				if cell.name == "th" || cell.name == "td" {
					cells = append(cells, strings.ReplaceAll(cell.words(), " ", " "))
				}
			}
			rows = append(rows, strings.Join(cells, "|"))
		}
		if !slices.Contains(rows, c.row) {
			t.Errorf("%s: no row is %q: %q", name, c.row, rows)
		}
	}
}

// TestPageAdvice: what a page says to do fits what it says is so.
func TestPageAdvice(t *testing.T) {
	skipShort(t)
	zeros := filepath.Join(t.TempDir(), "zeros.csv")
	if err := os.WriteFile(zeros, []byte("home,start,end,value,unit,phase\n"+
		"Z1,2025-01-01,2025-03-01,0,Bq/m3,\n"+
		"Z2,2025-01-01,2025-03-01,400,Bq/m3,before\nZ2,2025-09-01,2025-12-01,0,Bq/m3,after\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	demo := func(name string) string { return filepath.Join("..", "..", "testdata", "demo", name) }
	for _, c := range []struct {
		file, home string
		says, not  []string
		first      string // of what stands in short
	}{
		{zeros, "Z1", nil, []string{"nothing has to be done now", "clear: below"}, "Every result is zero or next to nothing: ask first whether the detector worked"},
		{zeros, "Z2", []string{"Only if it did: the system works", "Only if it did: with the system, the average over the year is very likely below 200"}, nil, "A result is zero or next to nothing. Ask first whether the detector worked"},
		{demo("monitors.csv.gz"), "K-08", []string{"take the home as above: have a radon professional look at it"}, []string{"Until then"}, ""},
		{demo("fans.csv"), "F-03", []string{"is more likely above 200\u00a0Bq/m³ than below", "Tell whoever installed the system"}, []string{"The system works", "right way round"}, "The system takes away about"},
		{demo("fans.csv"), "F-14", []string{"Go on measuring with the system running"}, []string{"right way round"}, ""},
		{demo("fans.csv"), "F-11", []string{"is more likely below 200\u00a0Bq/m³ than above", "Go on measuring with the system running"}, []string{"right way round"}, ""},
	} {
		words := readPage(t, pageOf(t, c.file, "--home", c.home)).all("main")[0].words()
		for _, w := range c.says {
			if !strings.Contains(words, w) {
				t.Errorf("%s: the page does not say %q", c.home, w)
			}
		}
		for _, w := range c.not {
			if strings.Contains(words, w) {
				t.Errorf("%s: the page says %q", c.home, w)
			}
		}
		_, short, _ := strings.Cut(words, "In short")
		if !strings.HasPrefix(strings.TrimSpace(short), c.first) {
			t.Errorf("%s: in short, %.80q does not begin with %q", c.home, short, c.first)
		}
	}
}

// TestPageLevels: with several levels what goes for all is said once, and the captions
// say which lines are levels and whether all are drawn.
func TestPageLevels(t *testing.T) {
	file := filepath.Join("..", "..", "testdata", "demo", "passive.csv")
	args := []string{file, "--home", "K-17"}
	for i, l := range []string{"100", "200", "250", "300"} {
		args = append(args, "--level", l)
		want := []string{"the black broken line is the level.", "the black broken lines are the levels, as the legend names them.",
			"the black broken lines are the levels, as the legend names them.", "first three levels, as the legend names them; the others are not drawn."}[i]
		root := readPage(t, pageOf(t, args...))
		if caption := root.all("figcaption")[0].words(); !strings.HasSuffix(caption, want) {
			t.Errorf("%d levels: the caption %q does not end in %q", i+1, caption, want)
		}
		words := root.all("main")[0].words()
		for _, once := range []string{"If this was the home’s only test", "After the work, measure again"} {
			if n := strings.Count(words, once); n != 1 {
				t.Errorf("%d levels: %q stands there %d times", i+1, once, n)
			}
		}
		if n := strings.Count(words, "Have a radon professional"); i < 2 && n != i+1 {
			t.Errorf("%d levels: %d of them are answered", i+1, n)
		}
	}
}

// TestCommunityCounted: of a counted share of nearly all homes the lower end alone is told.
func TestCommunityCounted(t *testing.T) {
	var town townPage
	for _, c := range []struct {
		lower, upper float64
		want         string
	}{{0.19, 0.9912, "over 19"}, {0.19, 0.98, "19 to 98"}} {
		got := ""
		for _, part := range town.counted(&survey.PublishedRange{Lower: c.lower, Upper: c.upper}, "x") {
			got += part.Text
		}
		if got != c.want {
			t.Errorf("%g to %g is told as %q, not %q", c.lower, c.upper, got, c.want)
		}
		if cell := toldRange(&survey.PublishedRange{Lower: c.lower, Upper: c.upper}); cell != strings.Replace(c.want, " to ", "-", 1) {
			t.Errorf("%g to %g is %q in a table", c.lower, c.upper, cell)
		}
	}
}

// TestPageSameBytes: the same input gives the same page, on any number of processors.
func TestPageSameBytes(t *testing.T) {
	file := filepath.Join("..", "..", "testdata", "demo", "imported-decimal-comma.csv")
	defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(0))
	var first []byte
	for _, processors := range []int{1, 5} {
		runtime.GOMAXPROCS(processors)
		var stdout, stderr bytes.Buffer
		if status := run([]string{"radonyear", "report", file}, strings.NewReader(""), &stdout, &stderr); status != exitDone {
			t.Fatalf("status %d: %s", status, stderr.String())
		}
		if first == nil {
			first = stdout.Bytes()
		} else if !bytes.Equal(first, stdout.Bytes()) {
			t.Error("two pages of one file differ")
		}
	}
}

// TestCommunityPageTellsOnNobody: a page of a community names no home, room, detector,
// day, file or digest, though the file is full of them. (What its numbers tell is the
// business of survey --publish, which they are held to above.)
func TestCommunityPageTellsOnNobody(t *testing.T) {
	demo := filepath.Join("..", "..", "testdata", "demo")
	files := []string{filepath.Join(demo, "passive.csv"), filepath.Join(demo, "short-tests.csv"), filepath.Join(demo, "imported-decimal-comma.csv")}
	full := jsonOf(t, "annual", files...)
	text, err := os.ReadFile(pageOf(t, append(files, "--community")...))
	if err != nil {
		t.Fatal(err)
	}
	var secrets []string
	list, _ := follow(full, []string{"results"})
	for _, r := range list.([]any) {
		m := r.(map[string]any)
		secrets = append(secrets, m["home"].(string), m["start"].(string)[:10], m["end"].(string)[:10])
	}
	list, _ = follow(full, []string{"inputs"})
	for _, in := range list.([]any) {
		secrets = append(secrets, in.(map[string]any)["sha256"].(string))
	}
	for _, f := range files {
		secrets = append(secrets, filepath.Base(f))
	}
	secrets = append(secrets, "T-2301", "living room")
	if !bytes.Contains(text, []byte("no home is named, and small groups are kept back")) {
		t.Error("the head does not say what the page keeps to")
	}
	if len(secrets) < 50 {
		t.Fatalf("only %d things to look for", len(secrets))
	}
	for _, s := range secrets {
		if bytes.Contains(text, []byte(s)) {
			t.Errorf("the page tells %q", s)
		}
	}
}
