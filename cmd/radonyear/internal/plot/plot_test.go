package plot

import (
	"bytes"
	"crypto/sha256"
	"encoding/xml"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/draw"
	"image/png"
	"io"
	"math"
	"regexp"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
)

// element is what a reader of SVG sees of one.
type element struct {
	name  string
	attr  map[string]string
	text  string
	group *element // that it stands in
}

func (e element) number(t *testing.T, name string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(e.attr[name], 64)
	if err != nil {
		t.Fatalf("%s of %v: %v", name, e, err)
	}
	return x
}

// parse reads an SVG strictly.
func parse(t *testing.T, svg []byte) (all []element) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	var open []*element
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return all
		}
		if err != nil {
			t.Fatalf("no XML: %v\n%.1000s", err, svg)
		}
		switch tok := tok.(type) {
		case xml.StartElement:
			e := &element{name: tok.Name.Local, attr: map[string]string{}}
			for _, a := range tok.Attr {
				e.attr[a.Name.Local] = a.Value
			}
			for i := len(open) - 1; i >= 0; i-- {
				if open[i].name == "g" {
					e.group = open[i]
					break
				}
			}
			open = append(open, e)
		case xml.CharData:
			if n := len(open); n > 0 {
				open[n-1].text += string(tok)
			}
		case xml.EndElement:
			all = append(all, *open[len(open)-1])
			open = open[:len(open)-1]
		}
	}
}

func render(t *testing.T, f Figure) []byte {
	t.Helper()
	svg, err := Render(f, "svg")
	if err != nil {
		t.Fatal(err)
	}
	return svg
}

// figure is one of each mark, on logarithmic and date axes.
func figure(by float64) Figure {
	return Figure{
		Title: "A title", Lead: "A lead.", Desc: "What there is.", Notes: []string{"A note."},
		Panels: []Panel{
			{X: Axis{Kind: Dates}, Y: Axis{Label: "Radon, Bq/m³", Kind: Log}, Marks: []Mark{
				Band{Look{Model, "band"}, []float64{19700, 19800, 19900}, []float64{20 * by, 30 * by, 20 * by}, []float64{300 * by, 200 * by, 300 * by}},
				Points{Look{Measured, "point"}, []float64{19750, 19760}, []float64{100 * by, 150 * by}},
				Spells{Look{Measured, "spell"}, []float64{19700}, []float64{19790}, []float64{120 * by}},
				Points{Look{Limit, "limit"}, []float64{19770}, []float64{15 * by}},
				Rule{Look: Look{Level, "level"}, At: 200 * by},
				Intervals{Look: Look{Model, "mean"}, At: []float64{19910}, Value: []float64{140 * by}, Low: []float64{100 * by}, High: []float64{math.Inf(1)}},
			}},
			{X: Axis{Kind: Linear}, Y: Axis{Kind: Linear}, Marks: []Mark{
				Bars{Look{Measured, "bars"}, []float64{0, 1, 2}, []float64{3, 5}},
				Curve{Look{Model, "curve"}, []float64{0, 1, 2}, []float64{1, 4, 2}},
			}},
			{X: Axis{Kind: Log, Label: "Ratio"}, Y: Axis{Kind: Rows, Names: []string{"one", "two"}}, Beside: []string{"1", "2"}, Marks: []Mark{
				Intervals{Look: Look{Joined, "all"}, Across: true, At: []float64{0, 1}, Value: []float64{10 * by, 20 * by}, Low: []float64{math.Inf(-1), 15 * by}, High: []float64{30 * by, 40 * by}},
			}},
		},
	}
}

// TestPlaces reads values off the picture as a reader does, by the labels of the axis
// beside them, and holds them to what was to be drawn.
func TestPlaces(t *testing.T) {
	f := Figure{Title: "t", Panels: []Panel{{
		X: Axis{Kind: Linear}, Y: Axis{Kind: Log},
		Marks: []Mark{
			Points{Look{Role: Measured}, []float64{3, 11, 17}, []float64{31, 140, 777}},
			Intervals{Look: Look{Role: Model}, At: []float64{8}, Value: []float64{90}, Low: []float64{40}, High: []float64{350}},
			Curve{Look{Role: Model}, []float64{2, 19}, []float64{25, 900}},
		},
	}}}
	all := parse(t, render(t, f))
	// The labels: those of Y end at one place, those of X stand at one height.
	type label struct{ value, at float64 }
	var xs, ys []label
	for _, e := range all {
		v, err := strconv.ParseFloat(e.text, 64)
		if e.name != "text" || err != nil {
			continue
		}
		switch e.attr["text-anchor"] {
		case "end":
			ys = append(ys, label{math.Log(v), e.number(t, "y") - 3.5})
		case "middle":
			xs = append(xs, label{v, e.number(t, "x")})
		}
	}
	read := func(l []label, at float64) float64 {
		a, b := l[0], l[len(l)-1]
		return a.value + (b.value-a.value)*(at-a.at)/(b.at-a.at)
	}
	if len(xs) < 3 || len(ys) < 3 {
		t.Fatalf("labels %v and %v", xs, ys)
	}
	near := func(what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 0.005*math.Abs(want) {
			t.Errorf("%s: read off %.4f, drawn for %.4f", what, got, want)
		}
	}
	place := regexp.MustCompile(`[ML](-?[\d.]+),(-?[\d.]+)`)
	disc := regexp.MustCompile(`M(-?[\d.]+),(-?[\d.]+)a([\d.]+)`)
	float := func(s string) float64 { x, _ := strconv.ParseFloat(s, 64); return x }
	seen := 0
	for _, e := range all {
		if e.name != "path" || e.group == nil {
			continue
		}
		switch e.group.attr["data-mark"] {
		case "points":
			for i, m := range disc.FindAllStringSubmatch(e.attr["d"], -1) {
				near("a point's x", read(xs, float(m[1])+float(m[3])), []float64{3, 11, 17}[i])
				near("a point's y", math.Exp(read(ys, float(m[2]))), []float64{31, 140, 777}[i])
				seen++
			}
		case "curve":
			for i, m := range place.FindAllStringSubmatch(e.attr["d"], -1) {
				near("the curve's x", read(xs, float(m[1])), []float64{2, 19}[i])
				near("the curve's y", math.Exp(read(ys, float(m[2]))), []float64{25, 900}[i])
				seen++
			}
		case "intervals":
			if e.attr["stroke"] == "" {
				continue // its point
			}
			for i, m := range place.FindAllStringSubmatch(e.attr["d"], -1) {
				near("the interval's x", read(xs, float(m[1])), 8)
				near("the interval's end", math.Exp(read(ys, float(m[2]))), []float64{40, 350}[i])
				seen++
			}
		}
	}
	if seen != 7 {
		t.Errorf("%d places were read, of 7", seen)
	}
}

// TestCut: a band that leaves the panel is cut where it does, and not bent. From 10 at
// x = 0 to 1000 at x = 10, on logarithms, it crosses 100 halfway.
func TestCut(t *testing.T) {
	a := area{left: 0, right: 100, top: 0, bottom: 100, x: scale{low: 0, high: 10}, y: scale{Axis: Axis{Kind: Log}, low: math.Log(1), high: math.Log(100)}}
	got := a.edge([]float64{0, 10}, []float64{10, 1000})
	want := [][2]float64{{0, 50}, {50, 0}, {100, 0}}
	if len(got) != 3 {
		t.Fatal(got)
	}
	for i := range want {
		if math.Abs(got[i][0]-want[i][0]) > 1e-9 || math.Abs(got[i][1]-want[i][1]) > 1e-9 {
			t.Errorf("corner %d at %v, want %v", i, got[i], want[i])
		}
	}
}

// TestCutApart: names that differ are not cut to the same text.
func TestCutApart(t *testing.T) {
	const most = 80
	for _, all := range [][]string{
		{"short", "other"},
		{"the old school at the end of the lane 1", "the old school at the end of the lane 2", "the old school at the end of the lane 12", "short"},
		{"the old school, first floor, at the end of the lane", "the old school, second floor, at the end of the lane"},
		{strings.Repeat("x", 400) + "1" + strings.Repeat("x", 400), strings.Repeat("x", 400) + "2" + strings.Repeat("x", 400), "x"},
	} {
		got := rowText.cutApart(all, most)
		seen := map[string]bool{}
		for i, s := range got {
			if rowText.wide(s) > most || s == "" || seen[s] {
				t.Errorf("%.60q is cut to %q", all[i], s)
			}
			seen[s] = true
			if rowText.wide(all[i]) <= most && s != all[i] {
				t.Errorf("%q had room, and is %q", all[i], s)
			}
		}
	}
	// How many homes a group has is never cut, also where names are then counted themselves.
	for _, all := range [][]string{
		{"the municipality in the north of the district (12)", "short (3)"},
		{"the old school at the end of the lane 1 (12)", "the old school at the end of the lane 2 (12)"},
		{strings.Repeat("x", 400) + "1" + strings.Repeat("x", 400) + " (7)", strings.Repeat("x", 400) + "2" + strings.Repeat("x", 400) + " (7)"},
	} {
		seen := map[string]bool{}
		for i, s := range rowText.cutApart(all, most) {
			if _, number := parted(all[i]); rowText.wide(s) > most || !strings.HasSuffix(s, number) || s != all[i] && !strings.Contains(s, "…") || seen[s] {
				t.Errorf("%.60q is cut to %q", all[i], s)
			}
			seen[s] = true
		}
	}
	p := Panel{Y: Axis{Kind: Rows, Names: []string{strings.Repeat("long ", 200) + "(12)"}}}
	for _, narrow := range []bool{false, true} {
		if got := p.rowNames(300, narrow); !strings.HasSuffix(got[0], "… (12)") {
			t.Errorf("a name of a thousand letters is cut to %q", got[0])
		}
	}
	if same := rowText.cutApart([]string{"a name that is far too long for its row", "a name that is far too long for its row"}, most); same[0] != same[1] {
		t.Errorf("one name is cut to %q", same)
	}
}

// TestNarrow: a narrow figure has its panels under each other, and names above their rows.
func TestNarrow(t *testing.T) {
	f := figure(1)
	f.Columns, f.Narrow = 2, true
	var widest, one, above float64
	for _, e := range parse(t, render(t, f)) {
		switch {
		case e.name == "svg":
			var x, y, h float64
			if _, err := fmt.Sscan(e.attr["viewBox"], &x, &y, &widest, &h); err != nil {
				t.Fatal(err)
			}
		case e.name == "text" && e.text == "one":
			one = e.number(t, "y")
		case e.name == "text" && e.text == "1" && e.attr["text-anchor"] == "end" && e.number(t, "y") == one:
			above = e.number(t, "x")
		}
	}
	if math.Abs(widest-86/25.4*72) > 0.01 || above < 200 {
		t.Errorf("%g wide, the text beside a name ends at %g", widest, above)
	}
}

// TestData: an SVG carries the numbers that it draws.
func TestData(t *testing.T) {
	got := map[string]string{}
	for _, e := range parse(t, render(t, figure(1))) {
		if e.name == "g" {
			for _, a := range []string{"x", "y", "low", "high", "at", "value", "from", "to", "edges", "heights"} {
				if v, ok := e.attr["data-"+a]; ok {
					got[e.attr["data-label"]+" "+a] = v
				}
			}
		}
	}
	for key, want := range map[string]string{
		"band low": "20 30 20", "point y": "100 150", "spell from": "19700", "spell to": "19790", "level at": "200",
		"mean value": "140", "mean low": "100", "mean high": "+Inf", "bars edges": "0 1 2", "bars heights": "3 5", "curve y": "1 4 2", "all low": "-Inf 15",
	} {
		if got[key] != want {
			t.Errorf("%s is %q, want %q", key, got[key], want)
		}
	}
}

// TestScaled: 37 times as much looks the same, but for the labels.
func TestScaled(t *testing.T) {
	paths := func(svg []byte) (out []string) {
		for _, e := range parse(t, svg) {
			if e.name == "path" && e.group != nil { // marks: where ticks stand changes
				out = append(out, e.attr["d"])
			}
		}
		return out
	}
	// The labels' width moves the axis, so places are compared by their share of it.
	a, b := paths(render(t, figure(1))), paths(render(t, figure(37)))
	if len(a) != len(b) || len(a) < 8 {
		t.Fatalf("%d and %d paths", len(a), len(b))
	}
	number := regexp.MustCompile(`[\d.]+`)
	for i := range a {
		x, y := number.FindAllString(a[i], -1), number.FindAllString(b[i], -1)
		if len(x) != len(y) {
			t.Errorf("path %d: %s and %s", i, a[i], b[i])
		}
		for k := range x {
			p, _ := strconv.ParseFloat(x[k], 64)
			q, _ := strconv.ParseFloat(y[k], 64)
			if math.Abs(p-q) > 12 { // no more than two letters of a label
				t.Errorf("path %d, number %d: %s and %s", i, k, x[k], y[k])
			}
		}
	}
}

// TestHostile: names of any kind are text, cut to the room they have.
func TestHostile(t *testing.T) {
	long := strings.Repeat("a very long name ", 30)
	for _, name := range []string{
		`<script>alert("x")</script>`, `"quoted" & 'quoted' <!-- --> ]]>`, "\u202egnol\u2066 \u200f\u200e right to left", long, strings.Repeat("W", 500),
		"line\nbreak\ttab\x00nul\x1b[31m", "broken \xff\xfe utf-8", "\ufffe\uffff", "日本語 ハウス", "שלום בית", "", "   ", `url(javascript:x)`, "&amp;&lt;",
	} {
		f := figure(1)
		f.Title, f.Lead, f.Desc, f.Notes = name, name, name, []string{name}
		for i := range f.Panels {
			p := &f.Panels[i]
			p.Title, p.X.Label, p.Y.Label = name, name, name
			for k := range p.Y.Names {
				p.Y.Names[k], p.Beside[k] = name, name
			}
		}
		f.Panels[0].Marks[4] = Rule{Look: Look{Level, name}, At: 200}
		svg := render(t, f)
		for _, e := range parse(t, svg) {
			switch e.name {
			case "svg", "title", "desc", "rect", "g", "path":
			case "text":
				x, w := e.number(t, "x"), 0.0
				if e.text != "" {
					w = textStyle{size: e.number(t, "font-size"), bold: e.attr["font-weight"] == "bold"}.wide(e.text)
				}
				switch e.attr["text-anchor"] {
				case "middle":
					x -= w / 2
				case "end":
					x -= w
				}
				if x < -0.5 || x+w > width+0.5 {
					t.Errorf("%q: a text from %.0f to %.0f of %.0f: %q", name, x, x+w, width, e.text)
				}
				if strings.ContainsAny(e.text, "\u202e\u2066\u200f\u200e\n\t\x00\x1b") {
					t.Errorf("%q: %q steers", name, e.text)
				}
			default:
				t.Errorf("%q: an element %s", name, e.name)
			}
			for a := range e.attr {
				if strings.HasPrefix(a, "on") {
					t.Errorf("%q: an attribute %s", name, a)
				}
			}
		}
		if name == long || !testing.Short() {
			if _, err := Render(f, "png"); err != nil {
				t.Errorf("%q: %v", name, err)
			}
		}
	}
	// What was written is what is read, where it may be written at all.
	for _, e := range parse(t, render(t, Figure{Title: `a <b> & "c"`, Panels: figure(1).Panels})) {
		if e.name == "title" && e.text != `a <b> & "c"` {
			t.Errorf("the title reads %q", e.text)
		}
	}
}

// TestSpare: as little as can be drawn, and what cannot.
func TestSpare(t *testing.T) {
	one := []float64{5}
	for name, m := range map[string]Mark{
		"one point": Points{X: one, Y: one}, "no point beside a rule": Points{}, "one place of a curve": Curve{X: one, Y: one},
		"an interval without ends": Intervals{At: one, Value: one, Low: []float64{math.Inf(-1)}, High: []float64{math.Inf(1)}},
		"a band of one":            Band{X: one, Low: one, High: one}, "no bars": Bars{Edges: one}, "a bar of none": Bars{Edges: []float64{1, 2}, Heights: []float64{0}},
		"a short spell": Spells{From: one, To: []float64{5.001}, Y: one},
		"tiny":          Points{X: []float64{1e-300, 1e-299}, Y: []float64{1e-300, 2e-300}},
		"huge":          Points{X: []float64{1e300, 2e300}, Y: []float64{1e300, 1e-300}},
	} {
		for _, kind := range []Kind{Linear, Log, Percent, Ranks, Months} {
			f := Figure{Title: name, Panels: []Panel{{X: Axis{Kind: kind}, Y: Axis{Kind: kind}, Marks: []Mark{Rule{At: 3}, m}}}}
			for _, format := range Formats {
				if format == "png" && kind != Log { // places are the same
					continue
				}
				out, err := Render(f, format)
				if err != nil {
					t.Errorf("%s, axis %d: %v", name, kind, err)
				}
				if bytes.Contains(out, []byte("NaN")) || format == "svg" && bytes.Contains(bytes.ReplaceAll(bytes.ReplaceAll(out, []byte(`"+Inf"`), nil), []byte(`"-Inf"`), nil), []byte("Inf")) {
					t.Errorf("%s, axis %d: a place that is none in\n%s", name, kind, out)
				}
			}
		}
	}
	nan := []float64{math.NaN()}
	for name, f := range map[string]Figure{
		"nothing": {}, "an empty panel": {Panels: []Panel{{}}},
		"no number":      {Panels: []Panel{{Marks: []Mark{Points{X: one, Y: nan}}}}},
		"lists":          {Panels: []Panel{{Marks: []Mark{Points{X: one}}}}},
		"bars":           {Panels: []Panel{{Marks: []Mark{Bars{Edges: one, Heights: one}}}}},
		"rule":           {Panels: []Panel{{Marks: []Mark{Rule{At: math.NaN()}}}}},
		"endless axis":   {Panels: []Panel{{Y: Axis{Include: []float64{math.Inf(1)}}, Marks: []Mark{Points{X: one, Y: one}}}}},
		"texts and rows": {Panels: []Panel{{Beside: []string{"a"}, Marks: []Mark{Points{X: one, Y: one}}}}},
	} {
		if out, err := Render(f, "svg"); err == nil || out != nil {
			t.Errorf("%s was drawn: %.300s", name, out)
		}
	}
	if _, err := Render(figure(1), "bmp"); err == nil {
		t.Error("a format nobody knows")
	}
}

// TestSameBytes: once more, on one processor and many at a time.
func TestSameBytes(t *testing.T) {
	for _, format := range Formats {
		want, err := Render(figure(1), format)
		if err != nil {
			t.Fatal(err)
		}
		for _, procs := range []int{1, 4} {
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(procs))
			var wg sync.WaitGroup
			for range 3 {
				wg.Go(func() {
					if got, err := Render(figure(1), format); err != nil || !bytes.Equal(got, want) {
						t.Errorf("another %s on %d processors (%v)", format, procs, err)
					}
				})
			}
			wg.Wait()
		}
	}
}

// TestPNG: a picture decodes, 160 mm wide at 200 dots an inch, on white, and holds
// every colour that it should.
func TestPNG(t *testing.T) {
	out, err := Render(figure(1), "png")
	if err != nil {
		t.Fatal(err)
	}
	img, err := png.Decode(bytes.NewReader(out))
	if err != nil {
		t.Fatal(err)
	}
	svg := parse(t, render(t, figure(1)))
	root := svg[len(svg)-1]
	mm, _ := strconv.ParseFloat(strings.TrimSuffix(root.attr["height"], "mm"), 64)
	if w, h := img.Bounds().Dx(), img.Bounds().Dy(); w != 1260 || math.Abs(float64(h)-mm/25.4*dpi) > 1 {
		t.Errorf("%d by %d pixels of %g mm", w, h, mm)
	}
	seen := map[color.NRGBA]bool{}
	for y := range img.Bounds().Dy() {
		for x := range img.Bounds().Dx() {
			seen[color.NRGBAModel.Convert(img.At(x, y)).(color.NRGBA)] = true
		}
	}
	for _, c := range []color.NRGBA{paper, ink, blue, styles[Model].tint, grid} {
		if !seen[c] {
			t.Errorf("no %s in the picture", hex(c))
		}
	}
}

// TestTicks: where people look for them.
func TestTicks(t *testing.T) {
	for _, c := range []struct {
		axis      Axis
		low, high float64
		most      int
		want      string
	}{
		{Axis{Kind: Log}, 12, 900, 8, "20 50 100 200 500 1000"},
		{Axis{Kind: Log}, 1, 100000, 6, "1 10 100 1000 10000 100000"},
		{Axis{Kind: Log}, 0.3, 2.2, 8, "0.5 1 2"},
		{Axis{Kind: Log}, 130, 190, 8, "140 160 180"},
		{Axis{Kind: Linear, Include: []float64{0}}, 1, 7, 8, "0 1 2 3 4 5 6 7"},
		{Axis{Kind: Percent}, 0.02, 0.4, 6, "0 10 20 30 40"},
		{Axis{Kind: Ranks}, -2, 2, 0, "5 10 25 50 75 90 95"},
		{Axis{Kind: Months}, 1, 12, 12, "Jan Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec"},
		{Axis{Kind: Dates}, 19723, 20088, 14, "Jan/2024 Feb Mar Apr May Jun Jul Aug Sep Oct Nov Dec Jan/2025"}, // 2024 and a day
		{Axis{Kind: Dates}, 19700, 19726, 14, "9 Dec/2023 11 Dec 13 Dec 15 Dec 17 Dec 19 Dec 21 Dec 23 Dec 25 Dec 27 Dec 29 Dec 31 Dec 2 Jan/2024 4 Jan"},
		{Axis{Kind: Dates}, 15000, 21000, 8, "2015 2020 2025"},
	} {
		s := c.axis.settle(bounds{low: c.low, high: c.high, any: true})
		var got []string
		for _, k := range s.ticks(c.most) {
			text := k.label
			if k.below != "" {
				text += "/" + k.below
			}
			got = append(got, text)
		}
		if strings.Join(got, " ") != c.want {
			t.Errorf("axis %d from %g to %g: %s, want %s", c.axis.Kind, c.low, c.high, strings.Join(got, " "), c.want)
		}
	}
}

// TestTellApart: lines are dark enough on white, and no two roles differ by colour
// alone: in grey their dashes or their points tell them apart.
func TestTellApart(t *testing.T) {
	linear := func(c uint8) float64 {
		x := float64(c) / 255
		if x <= 0.04045 {
			return x / 12.92
		}
		return math.Pow((x+0.055)/1.055, 2.4)
	}
	for r, k := range styles {
		// Relative luminance and contrast as WCAG 2.1 defines them; 3 is asked of graphics.
		l := 0.2126*linear(k.line.R) + 0.7152*linear(k.line.G) + 0.0722*linear(k.line.B)
		if contrast := 1.05 / (l + 0.05); contrast < 4.5 {
			t.Errorf("role %d: contrast %.1f on white", r, contrast)
		}
		for q, o := range styles {
			if q >= r {
				continue
			}
			sameDash := slices.Equal(k.dash, o.dash)
			if sameDash && k.shape == o.shape && k.line != o.line && math.Abs(k.width-o.width) < 0.3 && !(q == Model && r == After) {
				t.Errorf("roles %d and %d differ by colour alone", q, r)
			}
		}
	}
	// Areas beside each other differ in how light they are: CIE 1976, from memory.
	lightness := func(c color.NRGBA) float64 {
		return 116*math.Cbrt(0.2126*linear(c.R)+0.7152*linear(c.G)+0.0722*linear(c.B)) - 16
	}
	for _, r := range []Role{Next, Attention} {
		if d := math.Abs(lightness(styles[r].tint) - lightness(styles[Model].tint)); d < 10 {
			t.Errorf("the areas of roles %d and %d differ by %.1f in lightness", r, Model, d)
		}
	}
	if fmt.Sprint(styles[Before].dash) == fmt.Sprint(styles[After].dash) || styles[Before].shape == styles[After].shape {
		t.Error("before and after look alike in grey")
	}
}

func BenchmarkRender(b *testing.B) {
	for _, format := range Formats {
		b.Run(format, func(b *testing.B) {
			for b.Loop() {
				out, err := Render(figure(1), format)
				if err != nil {
					b.Fatal(err)
				}
				b.ReportMetric(float64(len(out)), "bytes")
			}
		})
	}
}

// Names that a PNG's fonts lack, or that run from right to left, have numbers in it, and
// are told of; those that it can show stay.
func TestLettersOfPNG(t *testing.T) {
	rows := func(names ...string) Figure {
		m := Intervals{Look: Look{Role: Model}, Across: true}
		for i := range names {
			m.At, m.Value, m.Low, m.High = append(m.At, float64(i)), append(m.Value, 100), append(m.Low, 50), append(m.High, 200)
		}
		return Figure{Title: "Homes", Panels: []Panel{{X: Axis{Kind: Log}, Y: Axis{Kind: Rows, Names: names}, Marks: []Mark{m}}}}
	}
	render := func(f Figure, format string) []byte {
		out, err := Render(f, format)
		if err != nil {
			t.Fatal(err)
		}
		return out
	}
	plain := rows("Ås-1 Žiri", "дом 2", "σπίτι 3")
	if lost := Lost(plain); lost != nil {
		t.Errorf("letters that the fonts have are lost: %v", lost)
	}
	for _, name := range []string{"東京-4", "בית 4", "بيت 4", "घर 4"} {
		f := rows("K-1", name)
		want := fmt.Sprintf("%q is no. 2", name)
		if lost := Lost(f); len(lost) != 1 || lost[0] != want {
			t.Errorf("%s: told of %v, not %s", name, lost, want)
		}
		if !bytes.Equal(render(f, "png"), render(rows("K-1", "no. 2"), "png")) {
			t.Errorf("%s has no number in the PNG", name)
		}
		if f.Panels[0].Y.Names[1] != name || !strings.Contains(string(render(f, "svg")), ">"+name+"<") {
			t.Errorf("%s does not stand in the SVG", name)
		}
		if got := shown("home " + name); !strings.HasPrefix(got, "home ?") || !allDrawable(got) {
			t.Errorf("%s is shown as %q", name, got)
		}
	}
}

// TestPNGKept: the points of a PNG are those kept (their packing is the Go
// release's), on every processor: DEVELOPERS.md says how another than one's own is tried.
func TestPNGKept(t *testing.T) {
	out, err := Render(figure(1), "png")
	if err != nil {
		t.Fatal(err)
	}
	decoded, err := png.Decode(bytes.NewReader(out))
	if err != nil {
		t.Fatal(err)
	}
	points := image.NewNRGBA(decoded.Bounds())
	draw.Draw(points, points.Rect, decoded, decoded.Bounds().Min, draw.Src)
	const kept = "4ef3755403a8e331ccdb3f6523110c637b33cb72729f81d95e7f2a2a2a7252d8"
	if got := fmt.Sprintf("%x", sha256.Sum256(points.Pix)); got != kept {
		t.Errorf("the SHA-256 of the PNG's points is %s; look at the picture, and keep it", got)
	}
}
