package page

import (
	"bytes"
	"math"
	"strings"
	"testing"
	"time"

	"radonyear/analysis"
)

func TestSay(t *testing.T) {
	got := string(prose(Say("{} days from {} in {}: {} & <more>", Number("59", 59.0, "days"), Day(time.Date(2026, 1, 10, 23, 0, 0, 0, time.UTC)), Name(`<b>"x"`), "a > b")))
	want := `<data value="59" data-of="days">59</data> days from <time datetime="2026-01-10">10 January 2026</time> in <bdi>&lt;b&gt;&#34;x&#34;</bdi>: a &gt; b &amp; &lt;more&gt;`
	if got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
	if got := prose(Join([]Prose{Say("a"), Say("b"), Say("c")})); got != "a, b and c" {
		t.Errorf("joined: %q", got)
	}
}

// TestNumberKeepsAllDigits: the value beside a printed number is the number itself.
func TestNumberKeepsAllDigits(t *testing.T) {
	for x, want := range map[float64]string{0.1: "0.1", 1.0 / 3: "0.3333333333333333", 1e21: "1e+21", 5e-324: "5e-324"} {
		if got := Number("", x, "").Value; got != want {
			t.Errorf("%v is kept as %s", x, got)
		}
	}
}

func TestLimitsInWords(t *testing.T) {
	for _, c := range []struct {
		lower, upper float64
		want         string
	}{
		{59.44, 336.4, "between 59.4 and 336"}, {math.Inf(-1), 27, "under 27.0"}, {3, math.Inf(1), "over 3.00"}, {math.Inf(-1), math.Inf(1), "without a bound"},
		{150, 199.9, "between 150 and 199"}, // on its own side of the level
	} {
		text := ""
		for _, p := range Between(analysis.Estimate{Lower: c.lower, Upper: c.upper}, "x", 200) {
			text += p.Text
		}
		if text != c.want {
			t.Errorf("%v to %v: %q, want %q", c.lower, c.upper, text, c.want)
		}
	}
}

// TestNames: nothing in a name can be markup, or turn what stands around it.
func TestNames(t *testing.T) {
	for name, want := range map[string]string{
		"</title><script>x()</script>": "</title><script>x()</script>",
		"a\u202eb\u2066c\u200fd":       `a\u202eb\u2066c` + "\u200fd",
		"a\nb\x00":                     `a\nb\x00`,
	} {
		var b bytes.Buffer
		if err := Write(&b, Page{Title: name, Heading: Prose{Name(name)}, Sections: []Section{{Title: Prose{Name(name)}, Of: Of{"verdict", name, name}, Blocks: []Block{
			{Text: Prose{Name(name)}}, {Command: name}, {Facts: []Fact{{Prose{Name(name)}, Prose{Name(name)}}}},
			{Table: &Table{Caption: Prose{Name(name)}, Heads: []Head{{Text: Prose{Name(name)}}}, Rows: [][]Prose{{{Name(name)}}}}}}}}}); err != nil {
			t.Fatal(err)
		}
		text := b.String()
		if strings.Contains(text, "<script") || strings.Count(text, "</title>") != 1 {
			t.Errorf("%q is markup in the page", name)
		}
		if got := Name(name).Text; got != want {
			t.Errorf("%q is shown as %q, want %q", name, got, want)
		}
	}
}

func TestSentence(t *testing.T) {
	for text, want := range map[string]string{"": "", "øst is a name": "Øst is a name.", "two days.": "Two days.", "日本 is one": "日本 is one.", "(none)": "(none)."} {
		if got := Sentence(text); got != want {
			t.Errorf("%q is made %q, not %q", text, got, want)
		}
	}
}
