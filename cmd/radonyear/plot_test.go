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
	"runtime"
	"strconv"
	"strings"
	"testing"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/season"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/testdata/scenario"
)

// drawnMark is a mark of an SVG with the numbers that it carries.
type drawnMark struct {
	kind, label string
	data        map[string][]float64
}

func drawnMarks(t *testing.T, svg []byte) (out []drawnMark) {
	t.Helper()
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return out
		}
		if err != nil {
			t.Fatal(err)
		}
		e, ok := tok.(xml.StartElement)
		if !ok || e.Name.Local != "g" {
			continue
		}
		m := drawnMark{data: map[string][]float64{}}
		for _, a := range e.Attr {
			switch name, isData := strings.CutPrefix(a.Name.Local, "data-"); {
			case !isData:
			case name == "mark":
				m.kind = a.Value
			case name == "label":
				m.label = a.Value
			default:
				for _, f := range strings.Fields(a.Value) {
					x, err := strconv.ParseFloat(f, 64)
					if err != nil {
						t.Fatal(err)
					}
					m.data[name] = append(m.data[name], x)
				}
			}
		}
		out = append(out, m)
	}
}

// plotCase is one picture: its command, and where the numbers of its marks stand in
// the JSON of the same run.
type plotCase struct {
	name, file, input string
	args              []string
	held              []heldMark
}

// plotMore is what some cases need beside: other files by name, and what the picture's
// texts say and do not.
type plotMore struct {
	side          map[string]string
	says, saysNot []string
}

var plotMores = map[string]plotMore{
	// Most dwellings stand where few homes were measured.
	"survey-dwellings": {map[string]string{"dwellings.csv": "area,dwellings\nNorthfield,90000\nan area with a very long name that must be cut off,100\nSouthfield & sons,100\nÆøå,100\n"},
		[]string{"% of all dwellings", "homes measured, by their tests", "Bars and curve are of the homes measured."}, []string{"% of homes,"}},
	// Of a home that saw nothing but a limit the upper end alone is its own.
	"verdict-limits": {nil, []string{"the upper end alone is known"}, nil},
	"verdict-limit":  {nil, []string{"Annual mean under ", "the upper end of its 95 % interval.", "annual mean, at most", "No curve of what is likely is drawn"}, []string{", 95 % interval", "Probability density", "area under the curve", "…"}},
	"annual-limit":   {nil, []string{"Annual mean under ", "the upper end of its 95 % interval.", "no band of days is drawn"}, []string{"days are expected", "The band is of"}},
	"plan-days":      {nil, []string{"Conclusive: the verdict of", "not advice."}, []string{"Level: 200", "…"}},
	"survey":         {nil, []string{"true annual means, as fitted"}, nil},
	// A group of one home joined, and one that cannot be.
	"compare-groups": {nil, []string{"North (4)", "South (3)", "East (1)", "8 homes joined", "a group's homes joined"}, []string{"West (", "in the table"}},
	"compare-worse":  {nil, []string{"annual mean with the systems is", "at least ", "under -900"}, []string{"falls by"}},
}

// heldMark: the numbers of the marks so labelled, in order, are these of the JSON,
// each times a factor (0: 1).
type heldMark struct {
	label, attr string
	paths       []string
	times       float64
}

func plotCases() []plotCase {
	var log, tests, fans, worse, groups, survey, pairs strings.Builder
	log.WriteString("home,area,room,detector,date,value,unit\n")
	for h, name := range []string{"K-1", "K-2", `<script>alert("K-3")</script>`} {
		for d := range 60 {
			if d >= 25 && d < 32 {
				continue
			}
			day := time.Date(2025, 11, 1, 0, 0, 0, 0, time.UTC).AddDate(0, 0, d+20*h)
			v := 100 * float64(h+1) * math.Exp(0.5*math.Sin(float64(d)/3)+0.3*math.Cos(float64(d*d)))
			fmt.Fprintf(&log, "%q,North,living room,M-%d,%s,%.0f,Bq/m3\n", strings.ReplaceAll(name, `"`, "'"), h, day.Format(time.DateOnly), v)
		}
	}
	tests.WriteString("home,area,room,detector,start,end,value,unit\n")
	for i := range 14 {
		v := fmt.Sprintf("%.0f", 20*math.Exp(0.25*float64(i)+0.4*math.Sin(float64(7*i))))
		if i%5 == 1 {
			v = "<30"
		}
		fmt.Fprintf(&tests, "H-%02d,%s,living room,T-%d,2025-%02d-03,2025-%02d-28,%s,Bq/m3\n", i, []string{"North", "South"}[i%2], i, 1+i%4, 2+i%4, v)
	}
	fans.WriteString("home,area,room,phase,detector,start,end,value,unit\n")
	for i := range 5 {
		before := 300 * math.Exp(0.3*float64(i))
		fmt.Fprintf(&fans, "F-%d,North,living room,before,B-%d,2025-01-05,2025-03-01,%.0f,Bq/m3\n", i, i, before)
		fmt.Fprintf(&fans, "F-%d,North,living room,after,A-%d,2025-03-10,2025-05-01,%.0f,Bq/m3\n", i, i, before*(0.1+0.05*float64(i)))
	}
	// The radon rose, whichever way the systems were meant; two homes have a limit on one side.
	worse.WriteString("home,area,room,phase,detector,start,end,value,unit\n")
	for i := range 5 {
		before, after := fmt.Sprint(100+10*i), fmt.Sprint(400+20*i)
		if i == 0 {
			before, after = "150", "<20"
		} else if i == 1 {
			before = "<20"
		}
		fmt.Fprintf(&worse, "W-%d,North,living room,before,B-%d,2025-01-05,2025-03-01,%s,Bq/m3\n", i, i, before)
		fmt.Fprintf(&worse, "W-%d,North,living room,after,A-%d,2025-03-10,2025-05-01,%s,Bq/m3\n", i, i, after)
	}
	survey.WriteString("home,area,start,end,value,unit\n")
	for i := range 36 {
		fmt.Fprintf(&survey, "S-%02d,%s,2025-%02d-01,2025-%02d-01,%.0f,Bq/m3\n", i, []string{"Northfield", "an area with a very long name that must be cut off", "Southfield & sons", "Æøå"}[i%4], 1+i%6, 3+i%6,
			90*math.Exp(0.9*math.Sin(float64(5*i))+0.3*float64(i%4-1)))
	}
	groups.WriteString("home,area,room,phase,detector,start,end,value,unit\n")
	for i, area := range []string{"North", "South", "North", "South", "North", "South", "North", "East", "West"} {
		before := 250 * math.Exp(0.2*float64(i))
		after := fmt.Sprintf("%.0f", before*(0.1+0.05*float64(i%2)+0.02*float64(i)))
		if area == "West" {
			after = "<20"
		}
		fmt.Fprintf(&groups, "G-%d,%s,living room,before,B-%d,2025-01-05,2025-03-01,%.0f,Bq/m3\n", i, area, i, before)
		fmt.Fprintf(&groups, "G-%d,%s,living room,after,A-%d,2025-03-10,2025-05-05,%s,Bq/m3\n", i, area, i, after)
	}
	pairs.WriteString("home,area,room,detector,kind,start,end,value,unit\n")
	for i := range 18 {
		v := 25 * math.Exp(0.2*float64(i))
		for k, kind := range []string{"field", "duplicate"} {
			apart := map[int]float64{11: 0.16, 14: 0.25}[i]
			if apart == 0 {
				apart = 0.1 * math.Sin(float64(3*i))
			}
			x := fmt.Sprintf("%.1f", v*math.Exp((1-2*float64(k))*apart))
			if i == 1 && k == 1 {
				x = "<30"
			}
			fmt.Fprintf(&pairs, "D-%02d,North,living room,%c-%02d,%s,2025-01-03,2025-04-03,%s,Bq/m3\n", i, 'A'+rune(k), i, kind, x)
		}
	}
	at := func(list string, n int, field string) (out []string) {
		for i := range n {
			out = append(out, fmt.Sprintf("%s.%d.%s", list, i, field))
		}
		return out
	}
	mean := func(label string, n int) []heldMark {
		return []heldMark{{label, "value", at("results", n, "annual_mean.value"), 0}, {label, "low", at("results", n, "annual_mean.lower"), 0}, {label, "high", at("results", n, "annual_mean.upper"), 0}}
	}
	level := heldMark{"level, 200 Bq/m³", "at", []string{"settings.levels.0"}, 0}
	return []plotCase{
		{"annual-one", "log.csv", log.String(), []string{"annual", "log.csv", "--home", "K-2"}, []heldMark{level,
			{"annual mean, 95 % interval", "value", []string{"results.2.annual_mean.value"}, 0}, {"annual mean, 95 % interval", "high", []string{"results.2.annual_mean.upper"}, 0}}},
		{"annual-several", "log.csv", log.String(), []string{"annual", "log.csv"}, mean("annual mean, 95 % interval", 3)},
		{"annual-limit", "tests.csv", tests.String(), []string{"annual", "tests.csv", "--home", "H-01"}, []heldMark{level, {"annual mean, at most", "value", []string{"results.1.annual_mean.upper"}, 0}, {"below a detection limit", "y", []string{"results.1.raw_mean"}, 0}}},
		{"verdict-one", "", "", []string{"verdict", "--value", "165", "--days", "7", "--start", "2026-01-10"}, append([]heldMark{level}, heldMark{"", "from", []string{"results.0.band_lower"}, 0}, heldMark{"", "to", []string{"results.0.band_upper"}, 0},
			heldMark{"", "value", []string{"results.0.annual_mean.value"}, 0}, heldMark{"", "low", []string{"results.0.annual_mean.lower"}, 0}, heldMark{"", "high", []string{"results.0.annual_mean.upper"}, 0})},
		{"verdict-several", "log.csv", log.String(), []string{"verdict", "log.csv"}, append(mean("annual mean, 95 % interval", 3), level)},
		{"describe", "tests.csv", tests.String(), []string{"describe", "tests.csv", "--level", "200", "--level", "300"}, []heldMark{level, {"level, 300 Bq/m³", "at", []string{"settings.levels.1"}, 0}}},
		{"describe-areas", "tests.csv", tests.String(), []string{"describe", "tests.csv", "--by", "area"}, nil},
		{"compare-one", "", "", []string{"compare", "--before", "240/7d", "--before-start", "2026-01-10", "--after", "<38/7d", "--after-start", "2026-03-15"}, []heldMark{level,
			{"annual mean without, 95 %", "value", []string{"results.0.before.annual_mean.value"}, 0}, {"annual mean with, at most", "value", []string{"results.0.after.annual_mean.upper"}, 0},
			{"annual mean without, 95 %", "low", []string{"results.0.before.annual_mean.lower"}, 0}, {"annual mean with, at most", "high", []string{"results.0.after.annual_mean.upper"}, 0}}},
		{"compare-several", "fans.csv", fans.String(), []string{"compare", "fans.csv"}, []heldMark{
			{"a home, 95 % interval", "value", at("results", 5, "ratio.value"), 100}, {"a home, 95 % interval", "low", at("results", 5, "ratio.lower"), 100}, {"a home, 95 % interval", "high", at("results", 5, "ratio.upper"), 100},
			{"all homes joined", "value", []string{"pooled.0.ratio.value"}, 100}, {"all homes joined", "low", []string{"pooled.0.ratio.lower"}, 100}, {"all homes joined", "high", []string{"pooled.0.ratio.upper"}, 100}}},
		{"compare-groups", "fans.csv", groups.String(), []string{"compare", "fans.csv", "--by", "area"}, []heldMark{
			{"a group's homes joined", "value", []string{"pooled.0.ratio.value", "pooled.1.ratio.value", "pooled.2.ratio.value"}, 100},
			{"a group's homes joined", "low", []string{"pooled.0.ratio.lower", "pooled.1.ratio.lower", "pooled.2.ratio.lower"}, 100},
			{"a group's homes joined", "high", []string{"pooled.0.ratio.upper", "pooled.1.ratio.upper", "pooled.2.ratio.upper"}, 100},
			{"8 homes joined", "value", []string{"pooled.4.ratio.value"}, 100}}},
		{"duplicates", "pairs.csv", pairs.String(), []string{"inspect", "pairs.csv"}, []heldMark{
			{"over the control limit, or 37 Bq/m³", "y", []string{"duplicates.14.relative_difference"}, 100}, {"over the control limit, or 37 Bq/m³", "x", []string{"duplicates.14.mean"}, 0},
			{"over the warning limit", "y", []string{"duplicates.11.relative_difference"}, 100}}},
		{"plan-share", "", "", []string{"plan", "share", "--share", "10%", "--margin", "5%", "--areas", "12", "--homes", "60"}, []heldMark{
			{"the plan", "x", []string{"results.2.homes", "results.2.homes"}, 0}, {"the plan", "y", []string{"results.2.half_width", "results.2.within_margin"}, 0},
			{"asked about (--homes)", "y", []string{"results.4.half_width", "results.4.within_margin"}, 0}, {"margin or assurance asked for", "at", []string{"settings.margin", "settings.assurance"}, 0}}},
		{"plan-mean", "", "", []string{"plan", "mean", "--gsd", "2.5", "--margin", "20%"}, []heldMark{{"the plan", "y", []string{"results.2.factor", "results.2.within_margin"}, 0}}},
		{"plan-days", "", "", []string{"plan", "days", "--expect", "120", "--level", "200"}, []heldMark{{"the plan", "x", []string{"results.0.days"}, 0}, {"the plan", "y", []string{"results.0.right"}, 0}, {"power asked for", "at", []string{"settings.power"}, 0}}},
		{"plan-reduction", "", "", []string{"plan", "reduction", "--reduction", "80%", "--at-least", "50%", "--homes", "10"}, []heldMark{{"the plan", "y", []string{"results.2.power"}, 0}, {"asked about (--homes)", "y", []string{"results.3.power"}, 0}}},
		{"plan-hot", "", "", []string{"plan", "hot", "--share", "30%", "--normal", "10%"}, []heldMark{{"the plan: fewest with the power", "y", []string{"results.1.power"}, 0}, {"area with 30.0 % above the level", "y", at("curve", 24, "power"), 0}, {"area with 10.0 %", "y", at("curve", 24, "false"), 0}}},
		{"plan-find", "", "", []string{"plan", "find", "--share", "5%", "--units", "20"}, []heldMark{{"the plan", "y", []string{"results.1.chance"}, 0}}},
		{"survey", "survey.csv", survey.String(), []string{"survey", "survey.csv"}, []heldMark{level, {"the community's share", "at", []string{"results.0.community.share_above.0.share.value"}, 0}}},
		{"survey-dwellings", "survey.csv", survey.String(), []string{"survey", "survey.csv", "--populations", "dwellings.csv"}, []heldMark{{"the share of all dwellings", "at", []string{"results.0.community.share_above.0.share.value"}, 0}}},
		{"verdict-limits", "tests.csv", limited(tests.String()), []string{"verdict", "tests.csv"}, []heldMark{
			{"annual mean, at most", "value", []string{"results.1.annual_mean.upper"}, 0}, {"annual mean, at most", "high", []string{"results.1.annual_mean.upper"}, 0},
			{"annual mean, 95 % interval", "value", []string{"results.0.annual_mean.value", "results.2.annual_mean.value"}, 0}}},
		{"verdict-limit", "", "", []string{"verdict", "--value", "<20", "--days", "7", "--start", "2026-01-10"}, []heldMark{
			{"", "value", []string{"results.0.annual_mean.upper"}, 0}, {"", "high", []string{"results.0.annual_mean.upper"}, 0}}},
		{"compare-worse", "fans.csv", worse.String(), []string{"compare", "fans.csv"}, []heldMark{
			{"a home with limits only on one side, its bound", "value", []string{"results.0.ratio.upper", "results.1.ratio.lower"}, 100},
			{"a home, 95 % interval", "value", []string{"results.2.ratio.value", "results.3.ratio.value", "results.4.ratio.value"}, 100}}},
	}
}

// limited are the first three of the tests, of which the second is a limit.
func limited(tests string) string {
	lines := strings.SplitAfter(tests, "\n")
	return strings.Join(lines[:4], "")
}

// runPlot runs a case in a folder of its own, and gives the picture and the JSON.
func runPlot(t *testing.T, c plotCase, ending string) (picture []byte, result any) {
	t.Helper()
	dir := t.TempDir()
	if c.file != "" {
		if err := os.WriteFile(filepath.Join(dir, c.file), []byte(c.input), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	for name, text := range plotMores[c.name].side {
		if err := os.WriteFile(filepath.Join(dir, name), []byte(text), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	t.Chdir(dir)
	var stdout, stderr bytes.Buffer
	args := append([]string{"radonyear"}, c.args...)
	args = append(args, "--plot", "out."+ending, "--format", "json")
	if status := run(args, strings.NewReader(""), &stdout, &stderr); status != exitDone && status != exitAlarm {
		t.Fatalf("%v: status %d: %s", args, status, stderr.String())
	}
	picture, err := os.ReadFile("out." + ending)
	if err != nil {
		t.Fatal(err)
	}
	if err := json.Unmarshal(stdout.Bytes(), &result); err != nil {
		t.Fatal(err)
	}
	return picture, result
}

// TestPlots holds each picture to the one kept, byte for byte, and its numbers to
// those of the JSON result of the same run.
func TestPlots(t *testing.T) {
	kept, err := filepath.Abs(filepath.Join("testdata", "plot"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range plotCases() {
		t.Run(c.name, func(t *testing.T) {
			got, result := runPlot(t, c, "svg")
			golden(t, filepath.Join(kept, c.name+".svg"), got)
			for _, bad := range textTrouble(t, got) {
				t.Error(bad)
			}
			// A line's end parts no sentence.
			all := strings.Join(strings.Fields(texts(t, got)), " ")
			for _, text := range plotMores[c.name].says {
				if !strings.Contains(all, text) {
					t.Errorf("the picture does not say %q", text)
				}
			}
			for _, text := range plotMores[c.name].saysNot {
				if strings.Contains(all, text) {
					t.Errorf("the picture says %q", text)
				}
			}
			marks := drawnMarks(t, got)
			for _, h := range c.held {
				var drawn []float64
				for _, m := range marks {
					if m.label == h.label && m.kind != "band" && m.kind != "curve" {
						drawn = append(drawn, m.data[h.attr]...)
					}
				}
				h.times = max(h.times, 0)
				if h.times == 0 {
					h.times = 1
				}
				// A level is drawn once a panel.
				if len(h.paths) == 1 && h.attr == "at" && len(drawn) > 0 {
					drawn = drawn[:1]
				}
				if len(drawn) != len(h.paths) {
					t.Errorf("%q %s: %d numbers are drawn, of %d", h.label, h.attr, len(drawn), len(h.paths))
					continue
				}
				for i, path := range h.paths {
					v, ok := follow(result, strings.Split(path, "."))
					want, isNumber := v.(float64)
					if !ok || !isNumber {
						t.Errorf("%s in the result is %v", path, v)
					} else if math.Abs(drawn[i]-h.times*want) > 2e-5*math.Abs(h.times*want) {
						t.Errorf("%q %s is drawn as %g, and %s is %g", h.label, h.attr, drawn[i], path, want)
					}
				}
			}
		})
	}
}

// texts are those of an SVG, in its order.
func texts(t *testing.T, svg []byte) string {
	t.Helper()
	var b strings.Builder
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			return b.String()
		}
		if err != nil {
			t.Fatal(err)
		}
		if e, ok := tok.(xml.StartElement); ok && e.Name.Local == "text" {
			var text string
			if err := d.DecodeElement(&text, &e); err != nil {
				t.Fatal(err)
			}
			b.WriteString(text + " ")
		}
	}
}

// textTrouble says which texts of an SVG stand on another or stick out of the picture.
// Each is as wide as its textLength says, which browsers keep to, and its letters reach
// from three quarters of its size above the line to a fifth below.
func textTrouble(t *testing.T, svg []byte) (bad []string) {
	t.Helper()
	type box struct {
		text                     string
		left, top, right, bottom float64
	}
	var all []box
	var wide, high float64
	d := xml.NewDecoder(bytes.NewReader(svg))
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatal(err)
		}
		e, ok := tok.(xml.StartElement)
		if !ok {
			continue
		}
		attr := map[string]string{}
		for _, a := range e.Attr {
			attr[a.Name.Local] = a.Value
		}
		number := func(name string) float64 {
			x, err := strconv.ParseFloat(attr[name], 64)
			if err != nil {
				t.Fatalf("%s of %v: %v", name, e.Name.Local, err)
			}
			return x
		}
		switch e.Name.Local {
		case "svg":
			var x, y float64
			if _, err := fmt.Sscan(attr["viewBox"], &x, &y, &wide, &high); err != nil {
				t.Fatal(err)
			}
		case "text":
			var text string
			if err := d.DecodeElement(&text, &e); err != nil {
				t.Fatal(err)
			}
			x, y, size, length := number("x"), number("y"), number("font-size"), number("textLength")
			switch attr["text-anchor"] {
			case "middle":
				x -= length / 2
			case "end":
				x -= length
			}
			all = append(all, box{text, x, y - 0.75*size, x + length, y + 0.2*size})
		}
	}
	if len(all) == 0 || wide == 0 {
		t.Fatal("no text to look at")
	}
	for i, b := range all {
		if b.left < 0 || b.top < 0 || b.right > wide || b.bottom > high {
			bad = append(bad, fmt.Sprintf("%q sticks out: %.1f to %.1f of %.1f, %.1f to %.1f of %.1f", b.text, b.left, b.right, wide, b.top, b.bottom, high))
		}
		for _, o := range all[:i] {
			if b.left < o.right && o.left < b.right && b.top < o.bottom && o.top < b.bottom {
				bad = append(bad, fmt.Sprintf("%q stands on %q", b.text, o.text))
			}
		}
	}
	return bad
}

// TestTextTroubleTells: the check above can fail.
func TestTextTroubleTells(t *testing.T) {
	const text = `<text x="%g" y="%g" font-size="10" textLength="40">%s</text>`
	for _, c := range []struct {
		x, y float64
		bad  int
	}{{50, 50, 0}, {-1, 50, 1}, {61, 50, 1}, {50, 5, 1}, {50, 99, 1}, {20, 25, 1}, {20, 32, 0}} {
		svg := fmt.Sprintf(`<svg viewBox="0 0 100 100">`+text+text+`</svg>`, 10.0, 20.0, "one", c.x, c.y, "other")
		if got := textTrouble(t, []byte(svg)); len(got) != c.bad {
			t.Errorf("at %g, %g: %v", c.x, c.y, got)
		}
	}
}

// TestPlotsOfAwkwardData: what is long, short, many or open is drawn without a text on
// another or out of the picture, and different names stay different.
func TestPlotsOfAwkwardData(t *testing.T) {
	const long = "The old schoolhouse at the far end of the lane, upper flat, care of the keeper "
	days := func(homes, rooms, detectors []string, n int, gap func(d int) bool) string {
		var b strings.Builder
		b.WriteString("home,area,room,detector,date,value,unit\n")
		for h, home := range homes {
			for r, room := range rooms {
				for k, detector := range detectors {
					for d := range n {
						if gap != nil && gap(d) {
							continue
						}
						v := 120 * math.Exp(0.3*math.Cos(float64(d)/58)+0.5*math.Sin(float64(d*d+7*h+3*r+k)))
						fmt.Fprintf(&b, "%q,North,%s,%s,%s,%.0f,Bq/m3\n", home, room, detector, time.Date(2020, 1, 1+d, 0, 0, 0, 0, time.UTC).Format(time.DateOnly), v)
					}
				}
			}
		}
		return b.String()
	}
	tests := func(name func(i int) string, area func(i int) string, n int, value func(i int) string) string {
		var b strings.Builder
		b.WriteString("home,area,room,detector,start,end,value,unit\n")
		for i := range n {
			fmt.Fprintf(&b, "%q,%q,living room,d%d,2025-01-03,2025-04-03,%s,Bq/m3\n", name(i), area(i), i, value(i))
		}
		return b.String()
	}
	one := []string{"K-1"}
	home := func(i int) string { return fmt.Sprintf("H-%d", i) }
	longHome := func(i int) string { return long + strconv.Itoa(i) }
	north := func(int) string { return "North" }
	scattered := func(i int) string { return fmt.Sprintf("%.0f", 90*math.Exp(math.Sin(float64(5*i))+0.1*float64(i%7))) }
	var fans strings.Builder
	fans.WriteString("home,area,room,phase,detector,start,end,value,unit\n")
	for i := range 8 {
		fmt.Fprintf(&fans, "%q,North,living room,before,b%d,2025-01-03,2025-04-03,%d,Bq/m3\n", longHome(i), i, 300+20*i)
		fmt.Fprintf(&fans, "%q,North,living room,after,a%d,2025-04-10,2025-07-03,%d,Bq/m3\n", longHome(i), i, 30+9*i)
	}
	var many strings.Builder // as many groups as homes
	many.WriteString("home,area,room,phase,detector,start,end,value,unit\n")
	for i := range 21 {
		fmt.Fprintf(&many, "M-%d,%[1]d,living room,before,b%[1]d,2025-01-03,2025-04-03,%d,Bq/m3\n", i, 400+20*i)
		fmt.Fprintf(&many, "M-%d,%[1]d,living room,after,a%[1]d,2025-04-10,2025-07-03,%d,Bq/m3\n", i, 40+9*i)
	}
	var two strings.Builder // homes of which the pooled interval reaches beyond everything
	two.WriteString("home,area,room,phase,detector,start,end,value,unit\n")
	for i, after := range []string{"20", "1200", "<10", "<10"} { // two with limits, that are not joined
		fmt.Fprintf(&two, "T-%d,North,living room,before,b%d,2025-01-03,2025-04-03,1000,Bq/m3\n", i, i)
		fmt.Fprintf(&two, "T-%d,North,living room,after,a%d,2025-04-10,2025-07-03,%s,Bq/m3\n", i, i, after)
	}
	for _, c := range []plotCase{
		{"one test", "in.csv", tests(home, north, 1, scattered), []string{"annual"}, nil},
		{"one limit", "in.csv", tests(home, north, 1, func(int) string { return "<20" }), []string{"annual"}, nil},
		{"2000 days", "in.csv", days(one, []string{"hall"}, []string{"m"}, 2000, nil), []string{"annual"}, nil},
		{"gap of months", "in.csv", days(one, []string{"hall"}, []string{"m"}, 300, func(d int) bool { return d >= 40 && d < 230 }), []string{"annual", "--level", "100", "--level", "200", "--level", "300", "--level", "400"}, nil},
		{"two monitors", "in.csv", days(one, []string{"hall"}, []string{"m", "n"}, 60, nil), []string{"annual"}, nil},
		{"long names", "in.csv", days([]string{long + "1", long + "2", long + "12"}, []string{"hall"}, []string{"m"}, 30, nil), []string{"annual"}, nil},
		{"long rooms", "in.csv", days(one, []string{strings.ReplaceAll(long, ",", "") + "1", strings.ReplaceAll(long, ",", "") + "2"}, []string{"m"}, 30, nil), []string{"annual", "--by", "room"}, nil},
		{"twelve homes", "in.csv", days([]string{"a", "b", "c", "d", "e", "f", "g", "h", "i", "j", "k", "l"}, []string{"hall"}, []string{"m"}, 20, nil), []string{"annual"}, nil},
		{"long rows", "in.csv", tests(longHome, north, 11, scattered), []string{"verdict"}, nil},
		{"one density", "in.csv", tests(longHome, north, 1, scattered), []string{"verdict", "--level", "100", "--level", "200", "--level", "300"}, nil},
		{"many areas", "in.csv", tests(home, func(i int) string { return long + strconv.Itoa(i%45) }, 120, scattered), []string{"survey"}, nil},
		{"areas' ranks", "in.csv", tests(home, func(i int) string { return long + strconv.Itoa(i%12) }, 120, scattered), []string{"describe", "--by", "area"}, nil},
		{"mostly limits", "in.csv", tests(home, north, 30, func(i int) string {
			if i%5 > 0 {
				return "<60"
			}
			return scattered(i)
		}), []string{"describe", "--level", "200"}, nil},
		{"long fans", "in.csv", fans.String(), []string{"compare"}, nil},
		{"many groups", "in.csv", many.String(), []string{"compare", "--by", "area"}, nil},
		{"two fans", "in.csv", two.String(), []string{"compare"}, nil},
		{"one fan", "in.csv", two.String(), []string{"compare", "--home", "T-1"}, nil},
	} {
		t.Run(c.name, func(t *testing.T) {
			c.args = append([]string{c.args[0], c.file}, c.args[1:]...)
			svg, _ := runPlot(t, c, "svg")
			for _, bad := range textTrouble(t, svg) {
				t.Error(bad)
			}
			if all := strings.Join(strings.Fields(texts(t, svg)), " "); c.name == "many groups" && (!strings.Contains(all, "being too many for one picture") || strings.Contains(all, "a group's homes joined")) {
				t.Errorf("of more groups than fit it says %s", all)
			}
			if c.name == "long rows" && strings.Count(string(svg), "keeper 1<") != 1 {
				t.Error("homes whose names begin alike cannot be told apart")
			}
		})
	}
}

// golden holds bytes to a file, or with -update writes it.
func golden(t *testing.T, path string, got []byte) {
	t.Helper()
	if *update {
		if err := os.WriteFile(path, got, 0o644); err != nil {
			t.Fatal(err)
		}
		return
	}
	want, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(got, want) {
		t.Errorf("%s is drawn otherwise; look at it, and keep it with -args -update", filepath.Base(path))
	}
}

// TestPlotNumbers holds what has no place of its own in the JSON's rows to it: areas
// in their order, the middle of the line of ranks, the ends of the charts.
func TestPlotNumbers(t *testing.T) {
	cases := map[string]plotCase{}
	for _, c := range plotCases() {
		cases[c.name] = c
	}
	number := func(t *testing.T, v any, path string) float64 {
		t.Helper()
		x, ok := follow(v, strings.Split(path, "."))
		f, isNumber := x.(float64)
		if !ok || !isNumber {
			t.Fatalf("%s is %v", path, x)
		}
		return f
	}
	near := func(t *testing.T, what string, got, want float64) {
		t.Helper()
		if math.Abs(got-want) > 2e-5*math.Abs(want) {
			t.Errorf("%s: drawn %g, the result says %g", what, got, want)
		}
	}
	t.Run("areas", func(t *testing.T) {
		svg, result := runPlot(t, cases["survey"], "svg")
		want := map[float64]float64{} // upper limits by value
		for i := range 4 {
			path := fmt.Sprintf("results.0.areas.%d.share_above.0.share.", i)
			want[number(t, result, path+"value")] = number(t, result, path+"upper")
		}
		rows := map[int][2]float64{}
		for _, m := range drawnMarks(t, svg) {
			if m.kind == "intervals" {
				for i, at := range m.data["at"] {
					rows[int(at)] = [2]float64{m.data["value"][i], m.data["high"][i]}
				}
			}
		}
		if len(rows) != 4 || len(want) != 4 {
			t.Fatalf("%d areas are drawn of %d", len(rows), len(want))
		}
		for i := range 4 {
			if i > 0 && rows[i][0] > rows[i-1][0] {
				t.Errorf("area %d of %g stands under one of %g", i, rows[i][0], rows[i-1][0])
			}
			found := false
			for v, upper := range want {
				found = found || math.Abs(v-rows[i][0]) < 2e-5*v && math.Abs(upper-rows[i][1]) < 2e-5*upper
			}
			if !found {
				t.Errorf("no area has the share of row %d: %v", i, rows[i])
			}
		}
	})
	t.Run("ranks", func(t *testing.T) {
		svg, result := runPlot(t, cases["describe"], "svg")
		points := 0
		for _, m := range drawnMarks(t, svg) {
			for i, z := range m.data["x"] {
				if z != 0 {
					continue
				}
				switch m.kind {
				case "curve":
					near(t, "the line's middle", m.data["y"][i], number(t, result, "results.0.gm.value"))
					points++
				case "band":
					near(t, "its lower limit", m.data["low"][i], number(t, result, "results.0.gm.lower"))
					near(t, "its upper limit", m.data["high"][i], number(t, result, "results.0.gm.upper"))
					points++
				}
			}
			if m.kind == "points" && len(m.data["x"]) != 11 { // 14 homes, 3 of them below a limit
				t.Errorf("%d points", len(m.data["x"]))
			}
		}
		if points != 2 {
			t.Errorf("the line has %d middles", points)
		}
	})
	t.Run("charts", func(t *testing.T) {
		if testing.Short() {
			t.Skip("the charts' limits are simulated")
		}
		log, err := os.ReadFile(filepath.Join("..", "..", "testdata", "demo", "fan-fails.csv"))
		if err != nil {
			t.Fatal(err)
		}
		kept, err := filepath.Abs(filepath.Join("testdata", "plot", "watch.svg"))
		if err != nil {
			t.Fatal(err)
		}
		svg, result := runPlot(t, plotCase{file: "log.csv", input: string(log), args: []string{"watch", "log.csv", "--unit", "Bq/m3", "--zone", "Europe/Oslo", "--switch", "2024-02-20T12:00"}}, "svg")
		golden(t, kept, svg)
		var curves, limits []float64
		for _, m := range drawnMarks(t, svg) {
			switch {
			case m.kind == "curve":
				curves = append(curves, m.data["y"][len(m.data["y"])-1])
			case m.label == "its limit":
				limits = append(limits, m.data["at"]...)
			}
		}
		if len(curves) != 2 || len(limits) != 2 {
			t.Fatalf("%d charts, %d limits", len(curves), len(limits))
		}
		near(t, "the last EWMA", curves[0], math.Exp(number(t, result, "results.0.last.ewma")))
		near(t, "its limit", limits[0], math.Exp(number(t, result, "results.0.last.ewma_limit")))
		if all := strings.Join(strings.Fields(texts(t, svg)), " "); !strings.Contains(all, ", 95 % interval ") {
			t.Errorf("the rise's interval has no confidence: %s", all)
		}
		near(t, "the last CUSUM", curves[1], number(t, result, "results.0.last.cusum"))
		near(t, "its limit", limits[1], number(t, result, "results.0.last.cusum_limit"))
	})
	t.Run("cycle", func(t *testing.T) {
		day := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)
		l := season.Learned{Profile: temporal.BuiltIn(false), Homes: 11, First: day, Last: day.AddDate(1, 0, 0), Amplitude: 0.25}
		for m := time.January; m <= time.December; m++ {
			f := math.Exp(0.25 * math.Cos(2*math.Pi*float64(m-1)/12))
			l.Monthly = append(l.Monthly, season.Month{Month: m, Factor: f, Lower: f / 1.3, Upper: f * 1.4})
		}
		svg, err := plot.Render(cycleFigure(l), "svg")
		if err != nil {
			t.Fatal(err)
		}
		golden(t, filepath.Join("testdata", "plot", "season.svg"), svg)
		for _, m := range drawnMarks(t, svg) {
			if m.kind == "band" {
				near(t, "July's lower end", m.data["low"][6], l.Monthly[6].Lower)
				near(t, "July's upper end", m.data["high"][6], l.Monthly[6].Upper)
			}
		}
	})
}

// TestPlotRepeats: the same bytes on one processor and on several.
func TestPlotRepeats(t *testing.T) {
	for _, c := range plotCases() {
		if c.name != "annual-several" && c.name != "survey" {
			continue
		}
		t.Run(c.name, func(t *testing.T) {
			one, _ := runPlot(t, c, "svg")
			defer runtime.GOMAXPROCS(runtime.GOMAXPROCS(1))
			two, _ := runPlot(t, c, "svg")
			if !bytes.Equal(one, two) {
				t.Error("on one processor the picture is another")
			}
		})
	}
}

// TestDailyHolds: of homes that are not the model, tested for four weeks, the band of
// days asked to hold 95 % holds 90 to 99 % of those that nobody measured.
func TestDailyHolds(t *testing.T) {
	d := scenario.NewDistrict(5, scenario.Options{Days: 730, Homes: 30})
	from := d.Start().AddDate(0, 0, 182)
	inside, all := 0, 0
	for i := range 30 {
		h := d.Home(i)
		monitor := scenario.HomeMonitor()
		start := from.AddDate(0, 0, 10*i)
		var readings []analysis.Reading
		for _, day := range h.DayMeans(scenario.Living, start, 28, &monitor, i) {
			readings = append(readings, analysis.Reading{Start: day.Start.UTC(), End: day.Start.AddDate(0, 0, 1).UTC(), Concentration: day.Value})
		}
		s, err := analysis.NewSeries(analysis.Place{Home: "h", Detector: "d"}, start.Location(), readings)
		if err != nil {
			t.Fatal(err)
		}
		r, err := annual.Estimate([]analysis.Series{s}, annual.Options{Daily: true})
		if err != nil {
			t.Fatal(err)
		}
		if len(r.Daily) != 365 || !r.Daily[0].Date.Equal(r.YearStart) {
			t.Fatalf("%d days from %v of a year from %v", len(r.Daily), r.Daily[0].Date, r.YearStart)
		}
		for _, day := range r.Daily {
			truth := h.Mean(scenario.Living, day.Date, day.Date.AddDate(0, 0, 1))
			if math.IsNaN(truth) || !day.Date.Before(s.Start()) && day.Date.Before(s.End()) {
				continue
			}
			all++
			if day.Lower <= truth && truth <= day.Upper {
				inside++
			}
		}
	}
	share := float64(inside) / float64(all)
	t.Logf("%.1f %% of %d days", 100*share, all)
	if all < 5000 || share < 0.90 || share > 0.99 {
		t.Errorf("the band holds %.1f %% of %d days not measured", 100*share, all)
	}
}
