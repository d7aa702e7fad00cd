package report

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"github.com/google/go-cmp/cmp"
	"pgregory.net/rapid"

	"radonyear/analysis"
	"radonyear/analysis/annual"
)

func reduction(lower, upper float64) analysis.Estimate {
	return analysis.Estimate{Lower: lower, Upper: upper, Unit: "%"}
}

func TestByHand(t *testing.T) {
	for _, c := range []struct {
		what, got, want string
	}{
		{"zero", three(0), "0"},
		{"three digits", three(143.4), "143"},
		{"cut at three", three(1434), "1430"},
		{"a share of next to nothing", hundredths(1.66e-7), "<0.01"},
		{"a share of next to all", hundredths(0.99999), ">99.99"},
		{"a small share", hundredths(0.0001), "0.0100"},
		{"no share", hundredths(0), "0"},
		{"all", hundredths(1), "100"},
		{"rounded up to a power of ten", three(999.6), "1000"},
		{"a carry keeps three digits", three(99.96), "100"},
		{"small", three(0.8712), "0.871"},
		{"exact 4 pCi/L", three(148), "148"},
		{"below the level", sided(199.7, []float64{200}), "199"},
		{"above the level", sided(200.3, []float64{200}), "201"},
		{"on the level", sided(200, []float64{200}), "200"},
		{"away from the level", sided(154.6, []float64{200}), "155"},
		{"just under a power of ten", sided(99.99, []float64{100}), "99.9"},
		{"just over a power of ten", sided(100.01, []float64{100}), "101"},
		{"just under 4 pCi/L", sided(147.9, []float64{148}), "147"},
		{"above a thousand", sided(1004, []float64{1000}), "1010"},
		{"two levels", sided(299.8, []float64{200, 300}), "299"},
		{"a reduction", interval(reduction(-70.1, 66.2), "-", nil), "-70.1 to 66.2"},
		{"a rise to ten times", interval(reduction(-900, 66.2), "-", nil), "-900 to 66.2"},
		{"a rise to more", interval(reduction(-900.1, 66.2), "-", nil), "<-900 to 66.2"},
		{"a rise to nobody knows what", interval(reduction(-337000, -1000), "-", nil), "under -900"},
		{"no limit", interval(reduction(math.Inf(-1), 66.2), "-", nil), "under 66.2"},
		{"nearly all of it", interval(reduction(50, 99.98), "-", nil), "50.0 to >99.9"},
		{"so much less in other units", interval(analysis.Estimate{Lower: -1000, Upper: 3}, "-", nil), "-1000 to 3.00"},
		{"a small chance", percent(0.00004, 0.95), "<0.1"},
		{"near certainty", percent(0.99996, 0.95), ">99.9"},
		{"even", percent(0.5, 0.95), "50"},
		{"not quite 95", percent(0.94996, 0.95), "94.9"},
		{"95 is enough", percent(0.95, 0.95), "95.0"},
		{"just over 5", percent(0.05004, 0.95), "5.1"},
		{"5 is enough", percent(0.05, 0.95), "5.0"},
		{"some of the year", share(0.003, 0), "<1"},
		{"nearly all of the year", share(0.9986, 0), ">99"},
		{"the whole year", share(1, 0), "100"},
		{"ten tenths", share(math.Nextafter(1, 0), 1), "100.0"},
		{"none", share(0, 0), "0"},
		{"a rate", share(0.9461, 1), "94.6"},
		{"a rate of nearly nothing", share(0.0002, 1), "<0.1"},
		{"hours", days(2.04), "2"},
		{"half a day", days(2.5), "2.5"},
		{"many days", days(91.2), "91"},
		{"ten days", days(9.96), "10"},
		{"open above", interval(analysis.Estimate{Lower: 45.2, Upper: math.Inf(1)}, "-", nil), "over 45.2"},
		{"open below", interval(analysis.Estimate{Lower: math.Inf(-1), Upper: 45.2}, "-", nil), "under 45.2"},
		{"terminal control", Plain("K\x1b[31m-01\n"), `K\x1b[31m-01\n`},
		{"wrapped", Wrap("one two three", 7, "  "), "one two\n  three"},
	} {
		if c.got != c.want {
			t.Errorf("%s: got %q, want %q", c.what, c.got, c.want)
		}
	}
}

// A number for people stays on its side of the level and near its value; a
// probability stays on its side of the confidence.
func TestProperties(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		level := rapid.Float64Range(1, 2000).Draw(t, "level")
		x := level * rapid.Float64Range(0.9, 1.1).Draw(t, "ratio")
		r, err := strconv.ParseFloat(sided(x, []float64{level}), 64)
		if err != nil {
			t.Fatal(err)
		}
		if x != level && (x < level) != (r < level) {
			t.Errorf("%v against %v is written %v", x, level, r)
		}
		if math.Abs(r-x) > 0.0101*x {
			t.Errorf("%v is written %v", x, r)
		}
		confidence := rapid.SampledFrom([]float64{0.5, 0.8, 0.9, 0.95, 0.99}).Draw(t, "confidence")
		p := rapid.Float64Range(0, 1).Draw(t, "p")
		s := percent(p, confidence)
		q, err := strconv.ParseFloat(strings.TrimLeft(s, "<>"), 64)
		if err != nil {
			t.Fatal(err)
		}
		if p < confidence-1e-9 && q >= 100*confidence || p > 1-confidence+1e-9 && q <= 100*(1-confidence)-1e-9 {
			t.Errorf("probability %v at confidence %v is written %s", p, confidence, s)
		}
	})
}

func sample() Document {
	mean := func(v, lo, hi float64) analysis.Estimate {
		e := analysis.Estimate{Quantity: "annual mean", Unit: "Bq/m³", Value: v, Lower: lo, Upper: hi, Confidence: 0.95, Method: "m"}
		if math.IsInf(hi, 0) {
			e.Notes = []analysis.Note{{Code: "unbounded", Text: "no upper limit"}}
		}
		return e
	}
	at := time.Date(2026, 1, 10, 0, 0, 0, 0, time.FixedZone("", 3600))
	return Document{
		Command: "annual", Version: "1",
		Settings:   []Field{{"levels", []float64{200}}, {"profile", []Field{{"name", `odd "name"`}}}, {"area_prior", nil}},
		Inputs:     []Input{{Path: "a<b>.csv", SHA256: "00", Rows: 12, Rejected: 1, AboveRange: 1}},
		Lead:       []string{"Lead."},
		Levels:     []float64{200},
		Confidence: 0.95,
		Tables: []Table{{
			Columns: []Column{
				{Key: "home", Head: "Home", Style: Text}, {Key: "area", Head: "Area", Style: Text, OmitEmpty: true},
				{Key: "start", Head: "From", Style: Date}, {Key: "days", Head: "Days", Style: Days},
				{Key: "annual_mean", Head: "Annual\nmean", Style: Estimate}, {Key: "above", Head: "P", Style: Against},
				{Key: "hidden", Style: Concentration}, {Head: "Seen", Style: Text},
			},
			Rows: []Row{
				{Label: "0071", Notes: []analysis.Note{{Code: "short", Text: "measure longer"}, {Code: "all", Text: "said of all"}},
					Cells: []any{"0071", "", at, 2.5, mean(165.2, 90.1, 199.8), []annual.Against{{Level: 200, Probability: 0.0249, Verdict: annual.Below}}, 1.5, "x|y"}},
				{Label: "K\x1b2", Notes: []analysis.Note{{Code: "all", Text: "said of all"}, {Code: "unbounded", Text: "no upper limit"}},
					Cells: []any{"K\x1b2", "", at, 30.0, mean(165.2, 90.1, math.Inf(1)), []annual.Against{{Level: 200, Probability: 0.3, Verdict: annual.NotConclusive}}, nil, "="}},
			},
		}},
		LeftOut: []LeftOut{{Place: analysis.Place{Home: "K-3"}, Why: "no days"}},
		Notes:   []analysis.Note{{Code: "doc", Text: "of the whole"}},
		After:   []string{"After."},
	}
}

func write(t *testing.T, doc Document, format string) string {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, doc, format); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

func TestTable(t *testing.T) {
	got := write(t, sample(), "table")
	for _, line := range []string{
		"0071    2026-01-10   2.5     165  90.1-199     2.5  below           x|y   1",
		`K\x1b2  2026-01-10    30     165  over 90.1     30  not conclusive  =     2`,
		"  1 Measure longer.",
		"  2 No upper limit.",
		"Said of all.",
		"Of the whole.",
		"After.",
		"1 row was left out of 12 rows read; --rejects FILE writes them all to a file.",
		"No result for 1 home:",
		"  K-3: no days",
	} {
		if !strings.Contains(got, line+"\n") {
			t.Errorf("no line %q in\n%s", line, got)
		}
	}
	if strings.Contains(got, "Area") || strings.Contains(got, "\x1b") || strings.Contains(got, " \n") {
		t.Errorf("an empty column, a control character or a trailing space in\n%s", got)
	}
	for _, line := range strings.Split(got, "\n") {
		if utf8.RuneCountInString(line) > Width {
			t.Errorf("longer than %d: %s", Width, line)
		}
	}
}

// A table stays within a line whatever its names and levels are, and loses no
// letter of a name by it.
func TestFit(t *testing.T) {
	columns := []Column{
		{Key: "home", Head: "Home", Style: Text}, {Key: "room", Head: "Room", Style: Text},
		{Key: "days", Head: "Days", Style: Days}, {Key: "year_share", Head: "Year\n%", Style: Share, Spare: 1},
		{Key: "raw_mean", Head: "Raw\nmean", Style: Concentration, Spare: 3}, {Key: "factor", Head: "Season\nfactor", Style: Factor, Spare: 2},
		{Key: "annual_mean", Head: "Annual\nmean", Style: Estimate}, {Key: "above", Head: "P", Style: Against},
	}
	for _, c := range []struct {
		home, room string
		levels     []float64
		heads      string // first line of the table
	}{
		{"K-1", "attic", []float64{200}, "Home  Room   Days  Year   Raw  Season  Annual  95 %       P>200  Verdict"},
		{"K-1", "studio", []float64{200}, "Home  Room    Days   Raw  Season  Annual  95 %       P>200  Verdict         Note"},
		{"K-1", "living room", []float64{200}, "Home  Room    Days   Raw  Season  Annual  95 %       P>200  Verdict     Note"},
		{"North-Street-number-17", "The big living room at the back", []float64{200}, ""},
		{"Åsgårdstrandshaugen", "Überraschungszimmer", []float64{20.5, 100, 100000}, ""},
		{strings.Repeat("x", 300), "a " + strings.Repeat("y", 99), []float64{200, 148}, ""},
	} {
		doc := Document{Levels: c.levels, Confidence: 0.95, Tables: []Table{{Columns: columns}}}
		var above []annual.Against
		for _, l := range c.levels {
			above = append(above, annual.Against{Level: l, Probability: 0.3, Verdict: annual.NotConclusive})
		}
		doc.Tables[0].Rows = []Row{{Label: c.home, Cells: []any{c.home, c.room, 7.0, 0.02, 165.2, 0.871,
			analysis.Estimate{Quantity: "annual mean", Value: 165.2, Lower: 90.1, Upper: 1998, Confidence: 0.95, Method: "m"}, above}}}
		if c.room != "attic" { // a note takes a column
			doc.Tables[0].Rows[0].Notes = []analysis.Note{{Code: "short", Text: "measure longer"}}
		}
		got := write(t, doc, "table")
		first, _, _ := strings.Cut(got, "\n")
		if c.heads != "" && first != c.heads && !strings.HasPrefix(first, c.heads) {
			t.Errorf("%s, %s: the head is\n%s\nwant\n%s", c.home, c.room, first, c.heads)
		}
		home := ""
		for i, line := range strings.Split(got, "\n") {
			if utf8.RuneCountInString(line) > Width {
				t.Errorf("longer than %d: %s", Width, line)
			}
			if i > 2 && line == "" {
				break
			}
			if i > 2 && !strings.HasPrefix(line, " ") {
				home += strings.Fields(line)[0]
			}
		}
		if home != c.home {
			t.Errorf("home %q is shown as %q", c.home, home)
		}
		if len(c.levels) > 1 && strings.Count(got, "not conclusive") != len(c.levels) {
			t.Errorf("not a verdict for each of %v in\n%s", c.levels, got)
		}
		// Markdown has no line to fit: nothing is left out.
		if md := write(t, doc, "markdown"); !strings.Contains(md, "Year %") || !strings.Contains(md, "Season factor") || !strings.Contains(md, c.home) {
			t.Errorf("something is missing in\n%s", md)
		}
	}
}

func TestWrap(t *testing.T) {
	if got := Wrap("the range that holds 95 % of homes", 23, ""); got != "the range that holds\n95 % of homes" {
		t.Errorf("a number left its percent sign: %q", got)
	}
}

func TestMarkdown(t *testing.T) {
	got := write(t, sample(), "markdown")
	var width []int
	for _, line := range strings.Split(got, "\n") {
		if strings.HasPrefix(line, "|") {
			width = append(width, strings.Count(strings.ReplaceAll(line, `\|`, ""), "|"))
		}
	}
	if len(width) != 4 || slices.Min(width) != slices.Max(width) {
		t.Errorf("bars a line: %v, in\n%s", width, got)
	}
	for _, text := range []string{`x\|y`, "P>200 %", "95 % interval", "1. Measure longer."} {
		if !strings.Contains(got, text) {
			t.Errorf("no %q in\n%s", text, got)
		}
	}
}

func TestCSV(t *testing.T) {
	rows, err := csv.NewReader(strings.NewReader(write(t, sample(), "csv"))).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	want := [][]string{
		{"home", "area", "start", "days", "annual_mean", "annual_mean_lower", "annual_mean_upper", "annual_mean_confidence", "annual_mean_unit", "p_above_200", "verdict_200", "hidden", "notes", "rows_left_out", "homes_left_out", "rows_above_range"},
		{"0071", "", "2026-01-09T23:00:00Z", "2.5", "165.2", "90.1", "199.8", "0.95", "Bq/m3", "0.0249", "below", "1.5", "short; all", "1", "1", "1"},
		{"K\x1b2", "", "2026-01-09T23:00:00Z", "30", "165.2", "90.1", "", "0.95", "Bq/m3", "0.3", "not conclusive", "", "all; unbounded", "1", "1", "1"},
	}
	if d := cmp.Diff(want, rows); d != "" {
		t.Error(d)
	}
}

// TestFormula: what a spreadsheet would run is found, and written as it is; numbers and
// lone signs are no formulas.
func TestFormula(t *testing.T) {
	for text, runs := range map[string]bool{
		"=1+2": true, "+a1": true, "-a1": true, "@sum(a1)": true, "\t=1": true, "\r=1": true, "\n=1": true, "=\"x\"": true, "-1-2": true,
		"": false, "-": false, "=": false, "-5": false, "+12.5": false, "-1e3": false, "K-13": false, " =1": false, "a=b": false, "'=1": false, "−5 a": false,
	} {
		doc := Document{Tables: []Table{{
			Columns: []Column{{Key: "home", Style: Text}, {Style: Text}, {Key: "area", Style: Text}, {Key: "n", Style: Count}},
			Rows:    []Row{{Cells: []any{"a", "=only for people", "b", 1}}, {Cells: []any{"c", "", text, nil}}},
		}}}
		row, column := doc.Formula()
		if runs != (row == 2 && column == "area") || !runs && row != 0 {
			t.Errorf("%q: row %d, column %q", text, row, column)
		}
		if rows, err := csv.NewReader(strings.NewReader(write(t, doc, "csv"))).ReadAll(); err != nil || rows[2][1] != strings.ReplaceAll(text, "\r\n", "\n") {
			t.Errorf("%q is written as %q: %v", text, rows, err)
		}
	}
	if row, _ := new(Document).Formula(); row != 0 {
		t.Errorf("row %d of nothing", row)
	}
}

func TestJSON(t *testing.T) {
	text := write(t, sample(), "json")
	var got map[string]any
	if err := json.Unmarshal([]byte(text), &got); err != nil {
		t.Fatal(err)
	}
	want := map[string]any{
		"schema": "radonyear/1", "command": "annual", "version": "1",
		"settings": map[string]any{"levels": []any{200.0}, "profile": map[string]any{"name": `odd "name"`}, "area_prior": nil},
		"inputs":   []any{map[string]any{"path": "a<b>.csv", "sha256": "00", "rows": 12.0, "rejected": 1.0, "above_range": 1.0}},
		"results": []any{
			map[string]any{"home": "0071", "area": "", "start": "2026-01-09T23:00:00Z", "days": 2.5,
				"annual_mean": map[string]any{"value": 165.2, "lower": 90.1, "upper": 199.8, "confidence": 0.95, "unit": "Bq/m3", "method": "m"},
				"above":       []any{map[string]any{"level": 200.0, "probability": 0.0249, "verdict": "below"}},
				"hidden":      1.5,
				"notes":       []any{map[string]any{"code": "short", "text": "measure longer"}, map[string]any{"code": "all", "text": "said of all"}}},
			map[string]any{"home": "K\x1b2", "area": "", "start": "2026-01-09T23:00:00Z", "days": 30.0,
				"annual_mean": map[string]any{"value": 165.2, "lower": 90.1, "upper": nil, "confidence": 0.95, "unit": "Bq/m3", "method": "m"},
				"above":       []any{map[string]any{"level": 200.0, "probability": 0.3, "verdict": "not conclusive"}},
				"hidden":      nil,
				"notes":       []any{map[string]any{"code": "all", "text": "said of all"}, map[string]any{"code": "unbounded", "text": "no upper limit"}}},
		},
		"left_out": []any{map[string]any{"home": "K-3", "area": "", "room": "", "why": "no days"}},
		"notes":    []any{map[string]any{"code": "doc", "text": "of the whole"}},
	}
	if d := cmp.Diff(want, got); d != "" {
		t.Error(d)
	}
	// The order of the fields is part of the layout.
	last := -1
	for _, key := range []string{"schema", "command", "version", "settings", "inputs", "results", "left_out"} {
		i := strings.Index(text, "\n  \""+key+"\"")
		if i <= last {
			t.Errorf("field %s is missing or out of order", key)
		}
		last = i
	}
}

// What must not be printed is an error, and nothing is written.
func TestRefuses(t *testing.T) {
	for name, spoil := range map[string]func(*Document){
		"a NaN":                     func(d *Document) { d.Tables[0].Rows[0].Cells[3] = math.NaN() },
		"an infinity":               func(d *Document) { d.Tables[0].Rows[0].Cells[6] = math.Inf(1) },
		"a value of the wrong type": func(d *Document) { d.Tables[0].Rows[0].Cells[0] = 3.0 },
		"a short row":               func(d *Document) { d.Tables[0].Rows[0].Cells = d.Tables[0].Rows[0].Cells[1:] },
		"an unsound estimate":       func(d *Document) { d.Tables[0].Rows[0].Cells[4] = analysis.Estimate{Value: 2, Lower: 3, Upper: 4} },
		"no probability": func(d *Document) {
			d.Tables[0].Rows[0].Cells[5] = []annual.Against{{Level: 200, Probability: math.NaN()}}
		},
	} {
		for _, format := range Formats {
			doc := sample()
			spoil(&doc)
			var b bytes.Buffer
			if err := Write(&b, doc, format); err == nil || b.Len() > 0 {
				t.Errorf("%s as %s: error %v, %d bytes written", name, format, err, b.Len())
			}
		}
	}
	var b bytes.Buffer
	doc := sample()
	doc.Settings = []Field{{"x", math.Inf(1)}}
	if err := Write(&b, doc, "json"); err == nil || b.Len() > 0 {
		t.Errorf("an infinite setting: error %v, %d bytes written", err, b.Len())
	}
	if err := Write(&b, sample(), "yaml"); err == nil {
		t.Error("an unknown format was accepted")
	}
}

func TestFootnotesOfOneCode(t *testing.T) {
	doc := Document{Tables: []Table{{Columns: []Column{{Key: "home", Head: "Home", Style: Text}}}}}
	for i := range 9 {
		name := "K-" + strconv.Itoa(i)
		doc.Tables[0].Rows = append(doc.Tables[0].Rows, Row{Label: name, Cells: []any{name},
			Notes: []analysis.Note{{Code: "gap", Text: strconv.Itoa(i+1) + " days"}}})
	}
	got := write(t, doc, "table")
	want := "  1 K-0: 1 days.\n    K-1: 2 days.\n    and 7 more; --format json says it for each.\n"
	if !strings.Contains(got, want) {
		t.Errorf("got\n%s", got)
	}
}

// TestLimits: a limit is marked for people whatever its column, and an interval from
// nothing to anything is none.
func TestLimits(t *testing.T) {
	doc := Document{Tables: []Table{{
		Columns: []Column{{Key: "time", Head: "Time", Style: Factor}, {Key: "value", Head: "Value", Style: Concentration}, {Key: "gm", Head: "GM", Style: Estimate}},
		Rows: []Row{{Cells: []any{Limit(4.8), Limit(15), analysis.Estimate{Unit: "Bq/m³", Value: 3, Upper: math.Inf(1), Confidence: 0.95, Method: "m",
			Notes: []analysis.Note{{Code: "unbounded"}}}}}},
	}}}
	for format, want := range map[string][]string{"table": {"<4.80", "<15.0", "no bound"}, "csv": {"4.8,15,3,0,,"}, "json": {`"time": 4.8`, `"upper": null`}} {
		var b bytes.Buffer
		if err := Write(&b, doc, format); err != nil {
			t.Fatal(err)
		}
		for _, w := range want {
			if !strings.Contains(b.String(), w) {
				t.Errorf("%s lacks %q: %s", format, w, b.String())
			}
		}
	}
	doc.Tables[0].Columns[0].Style = Days
	if err := Write(&bytes.Buffer{}, doc, "csv"); err == nil {
		t.Error("a limit of days was taken")
	}
}

// TestParts: a table wider than a line is broken between columns, each part with the
// first column, an estimate not parted from its interval nor a column from what belongs
// to it; no number is lost.
func TestParts(t *testing.T) {
	e := analysis.Estimate{Quantity: "share", Value: 0.1234, Lower: 0.0567, Upper: 0.2345, Confidence: 0.95, Kind: analysis.ConfidenceInterval, N: 10, Method: "m"}
	table := Table{Columns: []Column{{Head: "Area", Style: Text}, {Head: "Homes", Style: Count}}}
	cells := []any{"A very long name of an area", 7}
	for range 5 {
		table.Columns = append(table.Columns, Column{Head: ">100\n%", Style: Fraction}, Column{Head: "Raw\n%", Style: Fraction, With: true})
		cells = append(cells, e, e)
	}
	table.Rows = []Row{{Label: "A", Cells: cells, Notes: []analysis.Note{{Code: "n", Text: "a note"}}}}
	var b bytes.Buffer
	if err := Write(&b, Document{Tables: []Table{table}, Confidence: 0.95}, "table"); err != nil {
		t.Fatal(err)
	}
	for l := range strings.SplitSeq(b.String(), "\n") {
		if utf8.RuneCountInString(l) > Width {
			t.Errorf("a line of %d characters: %s", utf8.RuneCountInString(l), l)
		}
		if strings.Count(l, "12.3") != strings.Count(l, "5.67-23.4") || strings.Count(l, "12.3")%2 != 0 {
			t.Errorf("a value is parted from its interval, or a share from the raw one: %s", l)
		}
	}
	if n := strings.Count(b.String(), "5.67-23.4"); n != 10 || strings.Count(b.String(), "Homes") != 1 {
		t.Errorf("%d intervals of 10 in\n%s", n, b.String())
	}
}

// TestTenfoldLegend: "<-900" is explained where a number of the table is that, of a command's
// own text where it says so, and not because a home is called that.
func TestTenfoldLegend(t *testing.T) {
	e := func(value, lower, upper float64) analysis.Estimate {
		e := analysis.Estimate{Unit: "%", Value: value, Lower: lower, Upper: upper, Confidence: 0.95, Method: "m"}
		if math.IsInf(lower, 0) {
			e.Notes = []analysis.Note{{Code: "unbounded"}}
		}
		return e
	}
	for _, c := range []struct {
		name  string
		cells []any
		alone bool // without its interval
		text  bool // the command says that its text holds it
		want  bool
	}{
		{"a name", []any{"<-900", e(20, -30, 60)}, false, false, false},
		{"nearly", []any{"A", e(-100, -899.6, 60)}, false, false, false},
		{"a limit", []any{"A", e(-100, -900.6, 60)}, false, false, true},
		{"a limit that is not shown", []any{"A", e(-100, -900.6, 60)}, true, false, false},
		{"an open limit", []any{"A", e(-100, math.Inf(-1), 60)}, false, false, false},
		{"all of it", []any{"A", e(-2000, -9000, -1000)}, false, false, true},
		{"a text", []any{"<-900", e(20, -30, 60)}, false, true, true},
	} {
		for format, sign := range map[string]string{"table": "<-900: a rise", "markdown": "&lt;-900: a rise"} {
			doc := Document{Tables: []Table{{Tenfold: c.text, Columns: []Column{{Key: "home", Head: "Home", Style: Text}, {Key: "reduction", Head: "Reduction", Style: Estimate, ValueOnly: c.alone}}, Rows: []Row{{Cells: c.cells}}}}}
			var b bytes.Buffer
			if err := Write(&b, doc, format); err != nil {
				t.Fatal(err)
			}
			if got := strings.Contains(b.String(), sign); got != c.want {
				t.Errorf("%s, %s: explained %v, want %v:\n%s", c.name, format, got, c.want, b.String())
			}
			// Whatever the case, it is explained where a number says it, and only there.
			if numbers := strings.ReplaceAll(b.String(), sign, ""); c.name != "a name" && strings.Contains(numbers, strings.TrimSuffix(sign, ": a rise")) != c.want {
				t.Errorf("%s, %s: what is written and what is explained differ:\n%s", c.name, format, b.String())
			}
		}
	}
}
