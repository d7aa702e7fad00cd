package main

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"radonyear/analysis/lognormal"
	"radonyear/analysis/survey"
)

// Who reads a publication, knows this program and tries every community is to find no
// count of homes nearer than within a cell. The strongest way to show it is to give the
// communities that he cannot tell apart: for every count that a row may have, one whose
// document is the same, to the byte and in every format. It holds all figures to
// that, limits and digits included, whatever the attack would do with them.

// alikeRow are n homes, h and l of them above and below the others by q standard
// deviations or more, with the same middle, spread and quartiles whatever n is: the two
// highest and the two lowest make up what the others lack.
type alikeRow struct {
	n, h       int
	middle, sd float64 // of logarithms
}

// logs are the row's logarithms, the sum of squares about the middle that of freedom
// times the square of sd.
func (r alikeRow) logs(freedom int) []float64 {
	const q = 0.8
	squares := float64(freedom) - 2*float64(r.h-2)*q*q
	inner := r.n - 2*r.h
	x := make([]float64, 0, r.n)
	for i := range inner { // close about the middle
		u := 0.0
		if inner > 1 {
			u = 0.4 * (2*float64(i)/float64(inner-1) - 1)
		}
		x = append(x, u)
		squares -= u * u
	}
	e := math.Sqrt(squares / 4)
	for i := range r.h {
		u := q
		if i < 2 {
			u = e
		}
		x = append(x, u, -u)
	}
	for i := range x {
		x[i] = r.middle + r.sd*x[i]
	}
	return x
}

// alikeFile has the rows' homes, those of the last row from two areas.
func alikeFile(of func(r alikeRow) []float64, rows []alikeRow, inC int) string {
	var b strings.Builder
	b.WriteString("home,area,start,end,radon_Bq_m3\n")
	home := 0
	for i, r := range rows {
		for j, y := range of(r) {
			area := string(rune('A' + i))
			if i == len(rows)-1 && j >= inC {
				area = string(rune('B' + i))
			}
			home++
			fmt.Fprintf(&b, "%d,%s,2025-11-01,2026-02-01,%.12g\n", home, area, math.Exp(y))
		}
	}
	return b.String()
}

func TestPublishedAlike(t *testing.T) {
	const k = 10
	t.Chdir(t.TempDir())
	if err := os.WriteFile("dwellings.csv", []byte("area,dwellings\nA,4000\nB,3000\nC,200\nD,500\nUnmeasured,700\n"), 0o644); err != nil {
		t.Fatal(err)
	}
	// A has 30 to 39 homes, B 33, C and D together 10 to 18, each from 1 to 9.
	type variant struct{ a, c, d int }
	variants := []variant{{30, 5, 5}, {39, 9, 9}, {34, 9, 1}, {37, 2, 9}, {31, 4, 9}, {38, 8, 8}}
	if !testing.Short() {
		for n := range k {
			variants = append(variants, variant{30 + n, 1 + (3*n+4)%9, 9})
		}
	}
	commands := []struct {
		name  string
		args  []string
		whole bool // with the homes' own sum of squares over n; else over n − 1
	}{
		{"survey", []string{"survey", "FILE", "--publish", "--test-error", "none", "--level", "150", "--level", "400", "--exceeds", "10%"}, true},
		{"survey by dwellings", []string{"survey", "FILE", "--publish", "--test-error", "none", "--level", "150", "--populations", "dwellings.csv"}, true},
		{"survey of a year", []string{"survey", "FILE", "--publish", "--level", "150"}, true},
		{"page", []string{"report", "FILE", "--community", "--test-error", "none", "--level", "150"}, true},
		{"describe", []string{"describe", "FILE", "--publish", "--by", "area", "--level", "150", "--level", "400"}, false},
		{"describe with likelihood", []string{"describe", "FILE", "--publish", "--by", "area", "--level", "150", "--method", "adjusted-likelihood"}, true},
	}
	for _, c := range commands {
		formats := []string{"json", "csv", "table"}
		if c.name == "page" {
			formats = []string{""}
		}
		first := make([]string, len(formats))
		for i, v := range variants {
			if i > 2 {
				if c.name != "survey" && c.name != "describe" {
					break
				}
				formats = formats[:1]
			}
			of := func(r alikeRow) []float64 {
				freedom := r.n // with as many homes, the mean square is the same
				if !c.whole {
					freedom--
				}
				return r.logs(freedom)
			}
			rows := []alikeRow{{v.a, 11, math.Log(100), 0.8}, {33, 11, math.Log(90), 0.8}, {v.c + v.d, 4, math.Log(117), 0.8}}
			if err := os.WriteFile("homes.csv", []byte(alikeFile(of, rows, v.c)), 0o644); err != nil {
				t.Fatal(err)
			}
			for f, format := range formats {
				args := append([]string{"radonyear"}, c.args...)
				args[slices.Index(args, "FILE")] = "homes.csv"
				if format != "" {
					args = append(args, "--format", format)
				}
				status, out, errs := runAll(args)
				if status != exitDone {
					t.Fatalf("%s: exit status %d, %s", c.name, status, errs)
				}
				if i == 0 {
					first[f] = out
					if format == "json" && !strings.Contains(out, `"homes_at_least": 30`) {
						t.Fatalf("%s: A is not told by itself: %s", c.name, out)
					}
					continue
				}
				if out != first[f] {
					t.Errorf("%s, %s: %v homes in A, C and D are told otherwise than %v:\n%s", c.name, format, v, variants[0], firstDifference(first[f], out))
				}
			}
		}
	}
	// Half of each row's homes were measured at one time of the year and half at another, so
	// that a home shares more of its error with some of the others: how much all share hangs on
	// how the tests are spread and on the numbers told.
	twoDates := func(a, b, c, d int) string { // C and D are told together
		rows := []int{a, b, c + d}
		var text strings.Builder
		text.WriteString("home,area,start,end,radon_Bq_m3\n")
		home := 0
		for i, n := range rows {
			middle := []float64{100, 90, 117}[i]
			for _, when := range []string{"2025-11-01,2026-02-01", "2025-05-01,2025-08-01"} {
				for j, y := range (alikeRow{n / 2, 2, math.Log(middle), 0.8}).logs(n / 2) {
					area := string(rune('A' + i))
					if i == 2 && j >= c/2 {
						area = "D"
					}
					home++
					fmt.Fprintf(&text, "%d,%s,%s,%.12g\n", home, area, when, math.Exp(y))
				}
			}
		}
		return text.String()
	}
	for _, args := range [][]string{{"survey", "homes.csv", "--publish"}, {"report", "homes.csv", "--community"}, {"survey", "homes.csv", "--publish", "--populations", "dwellings.csv", "--format", "json"}} {
		first := ""
		for _, rows := range [][4]int{{10, 30, 6, 4}, {16, 38, 8, 8}, {18, 34, 4, 8}, {14, 30, 8, 2}} {
			if err := os.WriteFile("homes.csv", []byte(twoDates(rows[0], rows[1], rows[2], rows[3])), 0o644); err != nil {
				t.Fatal(err)
			}
			status, out, errs := runAll(append([]string{"radonyear"}, args...))
			if status != exitDone {
				t.Fatalf("exit status %d, %s", status, errs)
			}
			if first == "" {
				first = out
			} else if out != first {
				t.Errorf("%v at two dates: %v homes are told otherwise:\n%s", args, rows, firstDifference(first, out))
			}
		}
	}
	// What is not published of these homes does tell: its limits, rounded alike, are of
	// as many homes as there are.
	limits := map[string]bool{}
	for _, n := range []int{30, 39} {
		r := alikeRow{n, 11, math.Log(100), 0.8}
		s, err := lognormal.FromLogs(n, r.middle, r.sd)
		if err != nil {
			t.Fatal(err)
		}
		gm, err := lognormal.GeometricMean(s, lognormal.Options{})
		if err != nil {
			t.Fatal(err)
		}
		limits[fmt.Sprint(survey.Digits(gm.Lower, -1), survey.Digits(gm.Upper, 1))] = true
	}
	if len(limits) != 2 {
		t.Error("limits of 30 and of 39 homes round alike: the test could find nothing")
	}
}

func firstDifference(a, b string) string {
	x, y := strings.Split(a, "\n"), strings.Split(b, "\n")
	for i := range min(len(x), len(y)) {
		if x[i] != y[i] {
			return fmt.Sprintf("%.600s\n%.600s", x[i], y[i])
		}
	}
	return "one is longer"
}

// publishedFit is what a description publishes of a row's fit.
type publishedFit struct {
	Group   string
	AtLeast int `json:"homes_at_least"`
	AtMost  int `json:"homes_at_most"`
	GM, GSD *struct{ Value, Lower, Upper float64 }
}

// counts are the numbers of homes from least to most that limits made of as many homes
// leave, whatever mean and spread round to what is printed: those which some logarithm's
// mean and standard deviation agree with.
func (f publishedFit) counts() (left []int) {
	for n := f.AtLeast; n <= f.AtMost; n++ {
		for i := range 401 {
			gsd := f.GSD.Value * (0.95 + 0.1*float64(i)/400)
			if survey.Digits(gsd, 0) != f.GSD.Value {
				continue
			}
			s, err := lognormal.FromLogs(n, 0, math.Log(gsd))
			if err != nil {
				continue
			}
			spread, err := lognormal.GeometricSD(s, lognormal.Options{})
			if err != nil || survey.Digits(spread.Lower, -1) != f.GSD.Lower || survey.Digits(spread.Upper, 1) != f.GSD.Upper {
				continue
			}
			middle, err := lognormal.GeometricMean(s, lognormal.Options{})
			if err != nil {
				continue
			}
			// The geometric means that give each of the three numbers are an interval.
			lo, hi := within(f.GM.Value, 0)
			for _, limit := range []struct {
				x, factor float64
				direction int
			}{{f.GM.Lower, middle.Lower, -1}, {f.GM.Upper, middle.Upper, 1}} {
				a, b := within(limit.x, limit.direction)
				lo, hi = max(lo, a/limit.factor), min(hi, b/limit.factor)
			}
			if lo <= hi {
				left = append(left, n)
				break
			}
		}
	}
	return left
}

// within is what Digits rounds to x in this direction.
func within(x float64, direction int) (lo, hi float64) {
	step := math.Pow(10, math.Floor(math.Log10(x)+1e-9)-1)
	switch direction {
	case -1:
		return x, x + step
	case 1:
		return x - step, x
	}
	return x - step/2, x + step/2
}

// attackFits tries on each row of a description that is published, from the limits, what
// gave the number of homes away where they were made of it. It is to lead to the number
// told for every row, and so to none.
func attackFits(t *testing.T, text string) (found []string, rows int) {
	t.Helper()
	var doc struct {
		Results []publishedFit
	}
	if err := json.Unmarshal([]byte(text), &doc); err != nil {
		t.Fatal(err)
	}
	for _, r := range doc.Results {
		if r.GM == nil || r.GSD == nil {
			continue
		}
		rows++
		if left := r.counts(); !slices.Contains(left, r.AtLeast) {
			found = append(found, fmt.Sprintf("%s, told as %d to %d homes: its limits are of %v", r.Group, r.AtLeast, r.AtMost, left))
		}
	}
	return found, rows
}

// TestAttackFits: the attack finds the number where limits are made of it.
func TestAttackFits(t *testing.T) {
	var b strings.Builder
	b.WriteString(`{"results": [`)
	s, err := lognormal.FromLogs(19, math.Log(104), math.Log(2.31))
	if err != nil {
		t.Fatal(err)
	}
	gm, err := lognormal.GeometricMean(s, lognormal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	gsd, err := lognormal.GeometricSD(s, lognormal.Options{})
	if err != nil {
		t.Fatal(err)
	}
	d := func(x float64, direction int) string {
		return strconv.FormatFloat(survey.Digits(x, direction), 'g', -1, 64)
	}
	fmt.Fprintf(&b, `{"group": "X", "homes_at_least": 10, "homes_at_most": 19, "gm": {"value": %s, "lower": %s, "upper": %s}, "gsd": {"value": %s, "lower": %s, "upper": %s}}]}`,
		d(gm.Value, 0), d(gm.Lower, -1), d(gm.Upper, 1), d(gsd.Value, 0), d(gsd.Lower, -1), d(gsd.Upper, 1))
	found, rows := attackFits(t, b.String())
	if rows != 1 || len(found) != 1 || !strings.Contains(found[0], "19") || strings.Contains(found[0], "10 11") {
		t.Errorf("limits of 19 homes: the attack finds %q", found)
	}
}
