package main

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math/rand/v2"
	"os"
	"reflect"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"radonyear/analysis/temporal"
	"radonyear/testdata/scenario"
)

// TestNeighbours: homes of the files that never had a system are learned from, as radonyear
// season does of these homes alone, and only where there are enough of them and nobody asks
// for another profile.
func TestNeighbours(t *testing.T) {
	if testing.Short() {
		t.Skip("learns profiles")
	}
	t.Chdir(t.TempDir())
	const fans = 6
	near, fan, switches := neighbourhood(fewestNeighbours, fans)
	shuffled := slices.Concat(fan, near)
	rand.New(rand.NewPCG(1, 2)).Shuffle(len(shuffled), func(i, j int) { shuffled[i], shuffled[j] = shuffled[j], shuffled[i] })
	ofHome := func(rows []string, without ...int) []string {
		return slices.DeleteFunc(slices.Clone(rows), func(row string) bool {
			return slices.ContainsFunc(without, func(i int) bool { return strings.HasPrefix(row, homeName(i)+",") })
		})
	}
	write := func(name, head string, rows []string) {
		if err := os.WriteFile(name, []byte(head+"\n"+strings.Join(rows, "\n")+"\n"), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	const head = "home,area,room,detector,date,phase,radon_bqm3"
	const last = fewestNeighbours + fans - 1
	write("near.csv", head, near)
	write("fans.csv", head, fan)
	write("all.csv", head, slices.Concat(near, fan))
	// Four homes of the neighbours' area, and one of another.
	four := ofHome(fan, last-1, last)
	var hill, strange []string
	for _, row := range fan {
		if strings.HasPrefix(row, homeName(last)+",") {
			hill = append(hill, strings.Replace(row, "Valley", "Hill", 1))
		}
	}
	write("four.csv", head, slices.Concat(near, four, hill))
	write("fans-four.csv", head, slices.Concat(four, hill))
	// Days that run backward are no weather of the neighbours.
	for i, row := range fan {
		at, other := strings.LastIndex(row, ",")+1, fan[len(fan)-1-i]
		strange = append(strange, row[:at]+other[strings.LastIndex(other, ",")+1:])
	}
	write("strange.csv", head, slices.Concat(near, strange))
	write("strange-fans.csv", head, strange)
	write("fewer.csv", head, ofHome(slices.Concat(near, fan), 0))
	write("switches.csv", "home,time", switches)
	write("switches-four.csv", "home,time", ofHome(switches, last-1))

	type document map[string]any
	var text string
	asked := func(status int, args string) (doc document) {
		t.Helper()
		var out, errs bytes.Buffer
		if code := run(append([]string{"radonyear"}, strings.Fields(args)...), nil, &out, &errs); code != status {
			t.Fatalf("%s: exit status %d\n%s", args, code, errs.String())
		}
		if text = out.String(); strings.HasSuffix(args, "--format json") {
			if err := json.Unmarshal(out.Bytes(), &doc); err != nil {
				t.Fatal(err)
			}
		}
		return doc
	}
	same := func(what string, a, b any) {
		t.Helper()
		if a == nil || !reflect.DeepEqual(a, b) {
			t.Errorf("%s:\n%v\n%v", what, a, b)
		}
	}
	sameAll := func(what string, a, b document) {
		t.Helper()
		same(what+", results", a["results"], b["results"])
		same(what+", pooled", a["pooled"], b["pooled"])
	}
	setting := func(doc document, name string) map[string]any {
		return doc["settings"].(map[string]any)[name].(map[string]any)
	}
	asked(0, "season near.csv --output near.json --format csv")

	// By phase, and by switches with fewer homes than can be asked about the weather.
	const provenance = "learned from 20 homes of these files without a system, "
	phased := asked(0, "compare all.csv --format json")
	firstText := text
	switched := asked(0, "compare four.csv --switches switches-four.csv --format json")
	sameAll("learned", phased, asked(0, "compare fans.csv --profile near.json --format json"))
	byProfile := asked(0, "compare fans-four.csv --switches switches-four.csv --profile near.json --course use --format json")
	byBuiltIn := asked(0, "compare fans-four.csv --switches switches-four.csv --format json")
	same("learned", switched["results"].([]any)[:4], byProfile["results"].([]any)[:4])
	elsewhere := switched["results"].([]any)[4].(map[string]any)
	if !strings.Contains(fmt.Sprint(elsewhere["notes"]), "other-weather") {
		t.Errorf("of another area: notes %v", elsewhere["notes"])
	}
	elsewhere["notes"] = byBuiltIn["results"].([]any)[4].(map[string]any)["notes"]
	same("of another area", elsewhere, byBuiltIn["results"].([]any)[4])
	for _, c := range []struct {
		got document
		say float64 // homes that had one
	}{{phased, fans}, {switched, 4}} {
		if p := setting(c.got, "profile"); p["name"] != "neighbours" || !strings.HasPrefix(p["provenance"].(string), provenance) {
			t.Errorf("the profile is %v", p)
		}
		course := setting(c.got, "course")
		if course["asked"] != "auto" || course["used"] != true || course["homes"] != c.say || (course["slope"] == nil) != (c.say < 5) {
			t.Errorf("the course is %v", course)
		}
		if out := c.got["left_out"]; out != nil && len(out.([]any)) > 0 {
			t.Errorf("left out: %v", out)
		}
	}
	if slope := setting(phased, "course")["slope"].(float64); !(slope > 0.5 && slope < 1.5) {
		t.Errorf("the others follow the weather by %g", slope)
	}

	// Rows in another order: the same bytes, but for the file's own sum.
	write("all.csv", head, shuffled)
	asked(0, "compare all.csv --format json")
	sum := regexp.MustCompile(`"sha256": *"[0-9a-f]+"`)
	if a, b := sum.ReplaceAllString(firstText, ""), sum.ReplaceAllString(text, ""); a != b || a == firstText {
		t.Errorf("it depends on the order of rows:\n%s\n%s", a, b)
	}

	// The page says the same.
	asked(0, "report all.csv --home "+homeName(last))
	if !strings.Contains(text, provenance) {
		t.Error("the page does not say what it learned from")
	}
	reduction := fmt.Sprint(phased["results"].([]any)[fans-1].(map[string]any)["reduction"].(map[string]any)["value"])
	if !strings.Contains(text, `"`+reduction+`"`) {
		t.Errorf("the page has no reduction of %s", reduction)
	}

	// Where the built-in profile is asked for, and where there is one home less.
	builtIn := asked(0, "compare fans.csv --format json")
	named := asked(3, "compare all.csv --profile built-in --format json")
	sameAll("built-in by name", named, builtIn)
	fewer := asked(3, "compare fewer.csv --format json")
	sameAll("19 neighbours", fewer, builtIn)
	refused := asked(3, "compare strange.csv --format json")
	sameAll("other weather", refused, asked(0, "compare strange-fans.csv --format json"))
	if !strings.Contains(fmt.Sprint(refused["notes"]), "do not follow the weather learned from them") {
		t.Errorf("notes where the others had other weather: %v", refused["notes"])
	}
	for doc, n := range map[*document]int{&named: fewestNeighbours, &fewer: fewestNeighbours - 1, &refused: fewestNeighbours} {
		if setting(*doc, "profile")["name"] != temporal.BuiltIn(false).Name || len((*doc)["left_out"].([]any)) != n {
			t.Errorf("the profile is %v, %d homes are left out", setting(*doc, "profile"), len((*doc)["left_out"].([]any)))
		}
	}
	if !strings.Contains(fmt.Sprint(fewer["notes"]), "neighbours-not-used") || strings.Contains(fmt.Sprint(named["notes"]), "neighbours-not-used") {
		t.Errorf("notes: %v, and by name %v", fewer["notes"], named["notes"])
	}

	// One that names a system is none to learn from, be it by phase or by switches, and more of
	// them than are kept apart; nor is any where the switches name homes that the files lack.
	system := func(row string, name func(i int) string) string {
		i, _ := strconv.Atoi(row[len("N-"):len(homeName(0))])
		return row + "," + name(i)
	}
	for file, name := range map[string]func(row string, i int) string{
		"stack.csv": func(row string, i int) string { return map[bool]string{true: "passive stack", false: "none"}[i == 0] },
		"many.csv": func(row string, i int) string {
			return map[bool]string{true: "fan " + row[len(row)-1:], false: ""}[i == 0]
		},
	} {
		var rows []string
		for _, row := range slices.Concat(near, fan) {
			rows = append(rows, system(row, func(i int) string {
				if i >= fewestNeighbours { // of the fans nothing is said
					return ""
				}
				return name(row, i)
			}))
		}
		write(file, head+",System", rows)
		for _, args := range []string{"compare " + file, "compare " + file + " --switches switches.csv"} {
			if doc := asked(3, args+" --format json"); setting(doc, "profile")["name"] != temporal.BuiltIn(false).Name || !strings.Contains(fmt.Sprint(doc["notes"]), "19 have no system") {
				t.Errorf("%s: the profile is %v, notes %v", args, setting(doc, "profile"), doc["notes"])
			}
		}
	}
	write("mistyped.csv", "home,time", append([]string{strings.Replace(switches[0], homeName(fewestNeighbours), "N20", 1)}, switches[1:]...))
	if doc := asked(3, "compare all.csv --switches mistyped.csv --format json"); setting(doc, "profile")["name"] != temporal.BuiltIn(false).Name || !strings.Contains(fmt.Sprint(doc["notes"]), "the switches name homes that the files lack") {
		t.Errorf("a home mistyped: the profile is %v, notes %v", setting(doc, "profile"), doc["notes"])
	}

	// One time for all homes, or none that is known: no home is without a system.
	for _, args := range []string{"--switch " + strings.Split(switches[0], ",")[1], "--find-switch", "--course ignore"} {
		if doc := asked(3, "compare all.csv "+args+" --format json"); setting(doc, "profile")["name"] != temporal.BuiltIn(false).Name {
			t.Errorf("%s: the profile is %v", args, setting(doc, "profile"))
		}
	}
}

func homeName(i int) string { return fmt.Sprintf("N-%03d", i) }

// neighbourhood are day means of a district, as rows of a file: of homes without a system, each
// measured for most of a year, of a few before and after a fan, and when these were switched on.
func neighbourhood(without, fans int) (near, fan, switches []string) {
	d := scenario.NewDistrict(65, scenario.Options{Days: 500, Homes: without + fans})
	monitor := scenario.HomeMonitor()
	from := d.Start().AddDate(0, 0, 60)
	rows := func(i int, home *scenario.Home, phase string, first time.Time, days int) (out []string) {
		for _, day := range home.DayMeans(scenario.Living, first, days, &monitor, i) {
			out = append(out, fmt.Sprintf("%s,Valley,living,M%d,%s,%s,%.4g", homeName(i), i, day.Start.Format(time.DateOnly), phase, day.Value))
		}
		return out
	}
	for i := range without {
		near = append(near, rows(i, d.Home(i), "before", from.AddDate(0, 0, i), 330)...)
	}
	for k := range fans {
		i, on := without+k, from.AddDate(0, 0, 120+20*k)
		fan = slices.Concat(fan, rows(i, d.Home(i), "before", on.AddDate(0, 0, -30), 30),
			rows(i, d.Home(i).WithFan(scenario.Fan{From: on, Cut: 0.8}), "after", on.AddDate(0, 0, 2), 30))
		switches = append(switches, homeName(i)+","+on.Format(time.DateOnly))
	}
	return near, fan, switches
}
