package main

import (
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// TestCurveHoldsTheShare: of a distribution drawn beside a share above a level, what lies
// at the right of the level is that share, where areas differ as well.
func TestCurveHoldsTheShare(t *testing.T) {
	var low, high strings.Builder // two kinds of areas, so that one log-normal curve is wrong
	low.WriteString("home,area,start,end,value,unit\n")
	for a := range 8 {
		for h := range 25 {
			v := 25.0
			if a >= 6 {
				v = 180
			}
			fmt.Fprintf(&high, "H-%d-%d,Ward %d,2025-01-05,2025-04-05,%.0f,Bq/m3\n", a, h, a, v*math.Exp(0.5*math.Sqrt2*math.Erfinv((2*float64(h)-24)/25)))
		}
	}
	input := low.String() + high.String()
	right := func(t *testing.T, svg []byte) float64 { // of 200, by the curve
		t.Helper()
		all, above := 0.0, 0.0
		for _, m := range drawnMarks(t, svg) {
			if m.kind != "curve" {
				continue
			}
			x, y := m.data["x"], m.data["y"]
			for i := 1; i < len(x); i++ {
				a, b := math.Log(x[i-1]), math.Log(x[i])
				part := (y[i] + y[i-1]) / 2 * (b - a)
				all += part
				above += part * min(1, max(0, (b-math.Log(200))/(b-a)))
			}
			break
		}
		return above / all
	}
	held := func(t *testing.T, svg []byte, result any) {
		t.Helper()
		v, _ := follow(result, strings.Split("results.0.community.share_above.0.share.value", "."))
		if v == nil {
			v, _ = follow(result, strings.Split("community.share_above.0.share.value", "."))
		}
		share, ok := v.(float64)
		if !ok {
			t.Fatalf("the share is %v", v)
		}
		got := right(t, svg)
		t.Logf("the curve has %.4f above the level, the share is %.4f", got, share)
		// The share is a median, and the curve is what is expected of homes, in which what is
		// not known of all areas together counts as well.
		if !(math.Abs(got-share) <= 0.06*share) {
			t.Errorf("the curve has %.4f above the level, the share is %.4f", got, share)
		}
	}
	t.Run("survey", func(t *testing.T) {
		svg, result := runPlot(t, plotCase{file: "in.csv", input: input, args: []string{"survey", "in.csv"}}, "svg")
		held(t, svg, result)
	})
	t.Run("page", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "in.csv")
		if err := os.WriteFile(path, []byte(input), 0o644); err != nil {
			t.Fatal(err)
		}
		text, err := os.ReadFile(pageOf(t, path, "--community"))
		if err != nil {
			t.Fatal(err)
		}
		_, after, _ := strings.Cut(string(text), "<svg ")
		svg, _, found := strings.Cut(after, "</svg>")
		if !found {
			t.Fatal("no picture")
		}
		held(t, []byte("<svg "+svg+"</svg>"), jsonOf(t, "survey", path, "--publish"))
		if !strings.Contains(string(text), "The share of homes above a level is what lies at its right") {
			t.Error("the caption does not say where the share lies")
		}
	})
	t.Run("page by dwellings", func(t *testing.T) { // of areas without a home nothing is told by which to draw them
		text, err := os.ReadFile(pageOf(t, manyAreas(t, 9), "--populations", dwellings(t, 9), "--community"))
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(text), "The share of homes above a level is about what lies at its right") {
			t.Error("the caption promises a share that the curve does not have")
		}
	})
}

// TestJoinedAlike: picture and table join the same homes, and say so of the same numbers.
func TestJoinedAlike(t *testing.T) {
	fans := func(after ...string) string {
		var b strings.Builder
		b.WriteString("home,area,phase,start,end,value,unit\n")
		for i, v := range after {
			fmt.Fprintf(&b, "J-%d,%s,before,2024-11-01,2025-01-30,150,Bq/m3\nJ-%d,%[2]s,after,2025-02-10,2025-05-12,%[4]s,Bq/m3\n", i, []string{"North", "South"}[i%2], i, v)
		}
		return b.String()
	}
	few := "under 4 say next to nothing"
	for _, c := range []struct {
		name          string
		after         []string
		args          []string
		joined        float64
		drawn, lead   bool
		says, saysNot []string
	}{
		{"two homes", []string{"20", "30"}, nil, 2, false, false, nil, []string{"joined"}},
		{"two of four", []string{"20", "<10", "<10", "30"}, nil, 2, true, false, []string{"2 homes joined: " + few}, nil},
		{"three of four", []string{"20", "<10", "25", "30"}, nil, 3, true, true, []string{"3 homes joined: " + few}, nil},
		{"four", []string{"20", "22", "25", "30"}, nil, 4, true, true, nil, []string{few, "groups"}},
		{"by area", []string{"20", "22", "25", "30"}, []string{"--by", "area"}, 4, true, true, []string{"North (2)", "South (2)", "all homes"}, []string{"in the table"}},
	} {
		t.Run(c.name, func(t *testing.T) {
			svg, result := runPlot(t, plotCase{file: "in.csv", input: fans(c.after...), args: append([]string{"compare", "in.csv"}, c.args...)}, "svg")
			all := strings.Join(strings.Fields(texts(t, svg)), " ")
			for _, s := range c.says {
				if !strings.Contains(all, s) {
					t.Errorf("the picture does not say %q", s)
				}
			}
			for _, s := range c.saysNot {
				if strings.Contains(all, s) {
					t.Errorf("the picture says %q", s)
				}
			}
			if lead := strings.Contains(all, "In the middle of"); lead != c.lead {
				t.Errorf("a sentence on the middle: %v", lead)
			}
			if drawn := strings.Contains(all, "next home"); drawn != c.drawn {
				t.Errorf("homes joined are drawn: %v", drawn)
			}
			list, _ := follow(result, []string{"pooled"})
			rows := list.([]any)
			last := fmt.Sprintf("pooled.%d.", len(rows)-1)
			if n, _ := follow(result, strings.Split(last+"joined", ".")); n != c.joined {
				t.Errorf("the table joins %v homes", n)
			}
			noted := false
			notes, _ := follow(result, strings.Split(last+"notes", "."))
			for _, n := range notes.([]any) {
				code, _ := follow(n, []string{"code"})
				noted = noted || code == "few-joined"
			}
			if noted != (c.joined < fewJoined) {
				t.Errorf("the table says of %v homes joined that they are few: %v", c.joined, noted)
			}
		})
	}
}

// TestTenfoldIsExplainedWhereItStands: -899.6 is written -900 and is no rise to more than
// ten times.
func TestTenfoldIsExplainedWhereItStands(t *testing.T) {
	q := compareQuestion{}
	q.Confidence = 0.95
	for _, c := range []struct {
		value float64
		told  bool
	}{{-899.6, false}, {-900.6, true}} {
		var homes []compared
		for i := range 2 {
			var r compared
			r.Home = fmt.Sprint("T-", i)
			r.Reduction.Unit, r.Reduction.Value, r.Reduction.Lower, r.Reduction.Upper = "%", -100, c.value, 50
			r.Ratio.Value, r.Ratio.Lower, r.Ratio.Upper = 2, 0.5, 1-c.value/100
			homes = append(homes, r)
		}
		f, err := q.reductionsFigure(homes, joinedHomes{})
		if err != nil {
			t.Fatal(err)
		}
		if told := strings.Contains(strings.Join(f.Notes, " "), "<-900"); told != c.told {
			t.Errorf("at %g %% the sign is explained: %v, beside %q", c.value, told, f.Panels[0].Beside)
		}
	}
}

// TestRanksLeadCountsLimits: homes at the outdoor level are not counted among those below
// a detection limit.
func TestRanksLeadCountsLimits(t *testing.T) {
	var b strings.Builder
	b.WriteString("home,start,end,value,unit\n")
	for i, v := range []string{"<30", "<30", "<30", "<30", "<30", "8", "9", "5", "7", "6", "90", "240"} {
		fmt.Fprintf(&b, "R-%d,2025-01-05,2025-04-05,%s,Bq/m3\n", i, v)
	}
	svg, _ := runPlot(t, plotCase{file: "in.csv", input: b.String(), args: []string{"describe", "in.csv", "--outdoor", "10"}}, "svg")
	all := strings.Join(strings.Fields(texts(t, svg)), " ")
	if want := "5 of 12 homes lie below a limit, and 5 at the outdoor level or below it: too many for"; !strings.Contains(all, want) {
		t.Errorf("the picture does not say %q: %s", want, all)
	}
}

// TestBeforeAfterPicture: the levels are drawn last, the mean without is no broken line,
// and the sentence has the verdict and names the confidence.
func TestBeforeAfterPicture(t *testing.T) {
	svg, _ := runPlot(t, plotCase{args: []string{"compare", "--before", "240/7d", "--before-start", "2026-01-10", "--after", "38/7d", "--after-start", "2026-03-15", "--confidence", "0.9"}}, "svg")
	marks := drawnMarks(t, svg)
	if last := marks[len(marks)-1]; last.label != "level, 200 Bq/m³" {
		t.Errorf("drawn last is %q", last.label)
	}
	_, without, _ := strings.Cut(string(svg), `<g data-mark="intervals" data-label="annual mean without`)
	if without == "" {
		t.Fatal("no annual mean without")
	}
	before := string(svg[:len(svg)-len(without)])
	if rule := before[strings.LastIndex(before, `data-mark="rule"`):]; strings.Contains(rule, "dasharray") {
		t.Errorf("the annual mean without is a broken line, as a level is: %s", rule)
	}
	all := strings.Join(strings.Fields(texts(t, svg)), " ")
	for _, want := range []string{"by 90 % intervals.", "Verdict on 200 Bq/m³, with the system: below."} {
		if !strings.Contains(all, want) {
			t.Errorf("the picture does not say %q: %s", want, all)
		}
	}
}
