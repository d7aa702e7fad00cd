package main

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"

	"radonyear/cmd/radonyear/internal/report"
)

// TestPageNumbers holds what a page prints as its numbers; here is what it says
// otherwise: pictures, their descriptions, days, names, and the last section.

// strings and days of a JSON.
func collectTexts(v any, texts, days map[string]bool) {
	switch v := v.(type) {
	case map[string]any:
		for name, x := range v {
			collectTexts(x, texts, days)
			if text, ok := x.(string); ok && (name == "end" || name == "year_end") {
				if t, err := time.Parse(time.RFC3339, text); err == nil { // what ends with a day; checkSides says which day is meant
					days[t.Add(-time.Second).Format(time.DateOnly)] = true
				}
			}
		}
	case []any:
		for _, x := range v {
			collectTexts(x, texts, days)
		}
	case string:
		texts[v] = true
		if _, err := time.Parse(time.DateOnly, v); err == nil {
			days[v] = true
		}
		if t, err := time.Parse(time.RFC3339, v); err == nil {
			days[t.Format(time.DateOnly)] = true
			if t.Hour() > 0 { // another day in the home's own zone
				days[t.Add(14*time.Hour).Format(time.DateOnly)] = true
			}
		}
	}
}

// checkWords holds the days and the names of a page, but for its last section, to the
// JSON of those who know them.
func checkWords(root *element, docs []any) (checked int, faults []string) {
	texts, days, notes := map[string]bool{}, map[string]bool{}, map[string]bool{}
	for _, d := range docs {
		collectTexts(d, texts, days)
		collectNotes(d, notes)
	}
	sentences := map[string]bool{}
	for n := range notes {
		sentences[firstUpper(strings.TrimSuffix(n, "."))+"."] = true
	}
	for _, e := range root.all("main")[0].all("time") {
		noted := strings.HasPrefix(around(e), "By the charts of its days ") // checkDays holds it to the note
		if checked++; !days[e.attr["datetime"]] && !noted {
			faults = append(faults, fmt.Sprintf("the day %s is in no result", e.attr["datetime"]))
		}
		if t, err := time.Parse(time.DateOnly, e.attr["datetime"]); err != nil || strings.ReplaceAll(e.words(), "\u00a0", " ") != t.Format("2 January 2006") && strings.ReplaceAll(e.words(), "\u00a0", " ") != t.Format("2 Jan 2006") {
			faults = append(faults, fmt.Sprintf("the day %s is printed %q", e.attr["datetime"], e.words()))
		}
	}
	for _, e := range root.all("main")[0].all("bdi") {
		if underHow(e) || !strings.ContainsAny(e.words(), "0123456789") {
			continue
		}
		if checked++; !texts[e.words()] && !sentences[e.words()] {
			faults = append(faults, fmt.Sprintf("%q is no name and no note of the result", e.words()))
		}
	}
	return checked, faults
}

// numberInWords is a number as sentences print it.
var numberInWords = regexp.MustCompile(`[0-9]+(\.[0-9]+)?(e[+-]?[0-9]+)?`)

// checkFigures holds the pictures of a page to the JSON: levels, annual means and shares
// as they are drawn, to the six digits that a picture carries; and every number that a
// picture's description prints to those of the section's own data.
func checkFigures(root *element, jsonFor map[string]any) (checked int, faults []string) {
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	for _, figure := range root.all("figure") {
		command, home, area := figure.inherited("data-command"), figure.inherited("data-home"), figure.inherited("data-area")
		doc := jsonFor[command]
		svgs := figure.all("svg")
		if len(svgs) != 2 {
			fault("%d pictures in a figure", len(svgs))
		}
		var drawn []string // the numbers of each
		for _, svg := range svgs {
			var all strings.Builder
			for _, g := range svg.all("g") {
				label := g.attr["data-label"]
				numbers := func(name string) (out []float64) {
					for f := range strings.FieldsSeq(g.attr["data-"+name]) {
						x, err := strconv.ParseFloat(f, 64)
						if err != nil {
							fault("%s of %q: %v", name, label, err)
						}
						out = append(out, x)
					}
					return out
				}
				for _, name := range []string{"mark", "label", "x", "y", "low", "high", "from", "to", "at", "value", "edges", "heights"} {
					fmt.Fprintf(&all, "%s=%s ", name, g.attr["data-"+name])
				}
				near := func(got float64, of string) {
					want, err := numberOf(doc, home, area, of)
					if checked++; err != nil {
						fault("%q: %s: %v", label, of, err)
					} else if math.Abs(got-want) > 1e-5*math.Abs(want) {
						fault("%q of %q is drawn at %g, and %s is %g", label, home, got, of, want)
					}
				}
				estimate := func(of string) {
					if len(numbers("value")) != 1 {
						fault("%q: %d values", label, len(numbers("value")))
						return
					}
					near(numbers("value")[0], of+".value")
					near(numbers("low")[0], of+".lower")
					near(numbers("high")[0], of+".upper")
				}
				at := ""
				if command == "verdict" {
					at = "@0"
				}
				kind := g.attr["data-mark"]
				ranAgain := func() float64 { // a day, of a system that was repaired
					when, _ := follow(rowsOf(doc, "results", home, area, math.NaN())[0], []string{"spell", "from"})
					day, err := time.Parse(time.RFC3339, fmt.Sprint(when))
					if err != nil {
						return math.Inf(-1)
					}
					return float64(day.Unix()) / 86400
				}
				switch {
				case strings.HasPrefix(label, "level, "):
					levels, _ := follow(doc, []string{"settings", "levels"})
					if checked++; !slices.Contains(levels.([]any), any(numbers("at")[0])) {
						fault("%s is drawn at %v, and is none of %v", label, numbers("at"), levels)
					}
				case kind != "intervals" && kind != "rule":
				case strings.HasPrefix(label, "annual mean with, at most"):
					near(numbers("value")[0], "after.annual_mean.upper")
				case strings.HasPrefix(label, "annual mean without, at most"):
					near(numbers("value")[0], "before.annual_mean.upper")
				case strings.HasPrefix(label, "annual mean as it is now, at most"):
					near(numbers("value")[0], "now.annual_mean.upper")
				case strings.HasPrefix(label, "annual mean as it is now, "):
					estimate("now.annual_mean")
				case strings.HasPrefix(label, "annual mean with, "):
					estimate("after.annual_mean")
				case strings.HasPrefix(label, "annual mean without, "):
					estimate("before.annual_mean")
				case label == "annual mean, at most":
					near(numbers("value")[0], "annual_mean.upper"+at)
				case strings.HasPrefix(label, "annual mean, "):
					for _, part := range [][2]string{{"value", "value"}, {"low", "lower"}, {"high", "upper"}} {
						near(numbers(part[0])[0], "annual_mean."+part[1]+at)
					}
				case label == "the community's share", label == "the share of all dwellings":
					near(numbers("at")[0], "community.share_above.0.share.value")
				case command == "survey" && kind == "intervals":
					shares := map[[3]float64]bool{}
					list, _ := follow(doc, []string{"results", "0", "areas"})
					for i := range list.([]any) {
						var s [3]float64
						for k, part := range []string{"value", "lower", "upper"} {
							s[k], _ = numberOf(doc, "", "", fmt.Sprintf("areas.%d.share_above.0.share.%s", i, part))
						}
						shares[s] = true
					}
					for i := range numbers("value") {
						if checked++; !shares[[3]float64{numbers("value")[i], numbers("low")[i], numbers("high")[i]}] {
							fault("no area has the share drawn at %g", numbers("value")[i])
						}
					}
				case label == "" && kind == "rule": // an annual mean along its twelve months
					means := []string{"annual_mean.value" + at}
					if command == "compare" {
						means = []string{"before.annual_mean.value", "after.annual_mean.value", "now.annual_mean.value"}
					}
					if checked++; !slices.ContainsFunc(means, func(of string) bool {
						want, err := numberOf(doc, home, area, of)
						return err == nil && math.Abs(numbers("at")[0]-want) <= 1e-5*math.Abs(want)
					}) && math.Abs(numbers("at")[0]-ranAgain()) > 14.0/24 {
						fault("a line without a name is drawn at %v, and is none of %v", numbers("at"), means)
					}
				case strings.Contains(label, " switched on, "), strings.Contains(label, " switched off, "): // one of several
					day, err := time.Parse(time.DateOnly, label[len(label)-len(time.DateOnly):])
					if at := numbers("at")[0] - float64(day.Unix())/86400; err != nil || at < 0 || at >= 1 {
						fault("%q is drawn at %v", label, numbers("at"))
					}
					checked++
				case strings.HasPrefix(label, "readings rose, about "):
					date := label[len(label)-len(time.DateOnly):]
					day, err := time.Parse(time.DateOnly, date)
					if at := numbers("at")[0] - float64(day.Unix())/86400; err != nil || math.Abs(at) >= 1 {
						fault("%q is drawn at %v", label, numbers("at"))
					}
					notes, _ := follow(rowsOf(doc, "results", home, area, math.NaN())[0], []string{"notes"})
					if checked++; !strings.Contains(fmt.Sprint(notes), "since about "+date) && !strings.Contains(fmt.Sprint(notes), "days from "+date) {
						fault("%q, and no note says so", label)
					}
				case label == "system switched off": // before the repair
					if checked++; numbers("at")[0] >= ranAgain() || numbers("at")[0] < ranAgain()-2 {
						fault("%q is drawn at %v, and it ran again at %v", label, numbers("at"), ranAgain())
					}
				case label == "system switched on":
					when, _ := follow(rowsOf(doc, "results", home, area, math.NaN())[0], []string{"switch"})
					day, err := time.Parse(time.RFC3339, fmt.Sprint(when))
					// By the home's own clock, which may be half a day off.
					if checked++; err != nil || math.Abs(numbers("at")[0]-float64(day.Unix())/86400) > 14.0/24 {
						fault("%q is drawn at %v, and the system was switched at %v", label, numbers("at"), when)
					}
				default:
					fault("%s %q is drawn and nothing is known of what it should be", kind, label)
				}
			}
			drawn = append(drawn, all.String())
			// The description.
			section := figure
			for section.parent != nil && section.parent.name != "main" {
				section = section.parent
			}
			told := map[string]bool{}
			for s := range slices.Values(section.parent.children) { // the home's other sections too
				if s.attr["data-home"] != home || s.attr["data-command"] != command {
					continue
				}
				for _, d := range s.all("data") {
					told[d.words()] = true
				}
			}
			confidence, _ := follow(doc, []string{"settings", "confidence"})
			told[report.Exact(round(100*confidence.(float64)))] = true
			for _, l := range levelsOf(doc) {
				told[report.Exact(l)] = true
			}
			words := strings.ReplaceAll(svg.all("desc")[0].words(), "Bq/m³", "")
			if strings.ContainsAny(home, "0123456789") {
				words = strings.ReplaceAll(words, home, "")
			}
			for _, n := range numberInWords.FindAllString(words, -1) {
				if checked++; !told[n] {
					fault("the description of a picture of %q says %s, which is nowhere else: %s", home, n, words)
				}
			}
		}
		if len(drawn) == 2 && drawn[0] != drawn[1] {
			fault("the narrow picture of %q holds other numbers", home)
		}
	}
	return checked, faults
}

func levelsOf(doc any) (levels []float64) {
	list, _ := follow(doc, []string{"settings", "levels"})
	for _, l := range list.([]any) {
		levels = append(levels, l.(float64))
	}
	return levels
}

// checkHow holds the last section to the JSON: rows read and left out, and every option.
func checkHow(root *element, jsonFor map[string]any) (checked int, faults []string) {
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	for _, s := range root.all("section") {
		title := ""
		if len(s.children) > 1 {
			for _, c := range s.children {
				if len(c.name) == 2 && c.name[0] == 'h' {
					title = c.words()
				}
			}
		}
		command, ok := strings.CutPrefix(title, "Options of radonyear ")
		if !ok {
			continue
		}
		doc := jsonFor[command]
		want := map[string]string{}
		var add func(prefix string, v any)
		add = func(prefix string, v any) {
			for name, x := range v.(map[string]any) {
				name = prefix + strings.ReplaceAll(name, "_", " ")
				switch x := x.(type) {
				case map[string]any:
					add(name+", ", x)
				case []any:
					var parts []string
					for _, y := range x {
						parts = append(parts, settingText(y))
					}
					want[name] = settingText(parts)
				default:
					want[name] = settingText(x)
				}
			}
		}
		settings, _ := follow(doc, []string{"settings"})
		add("", settings)
		seen := 0
		for _, row := range s.all("dl")[0].all("div") {
			name, got := row.all("dt")[0].words(), row.all("dd")[0].words()
			w, ok := want[name]
			if !ok && name == "min homes" && command == "survey" {
				continue // an option of the page alone
			}
			checked++
			seen++
			if !ok || w != got {
				fault("%s: the option %q is %q in the page and %q in the JSON", command, name, got, w)
			}
		}
		if seen != len(want) {
			fault("%s: %d options in the page of %d", command, seen, len(want))
		}
	}
	for _, d := range root.all("data") {
		if d.inherited("data-table") != "inputs" {
			continue
		}
		row := d
		for row.name != "tr" {
			row = row.parent
		}
		found := false
		for _, doc := range jsonFor {
			list, _ := follow(doc, []string{"inputs"})
			for _, in := range list.([]any) {
				m := in.(map[string]any)
				if x, ok := m[d.attr["data-of"]].(float64); ok && m["sha256"] == row.all("code")[0].words() && d.words() == settingText(x) && d.attr["value"] == d.words() {
					found = true
				}
			}
		}
		if checked++; !found {
			fault("%s of a file is %s, and no input says so", d.attr["data-of"], d.words())
		}
	}
	return checked, faults
}
