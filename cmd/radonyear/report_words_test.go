package main

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"
	"time"

	"radonyear/analysis"
	"radonyear/cmd/radonyear/internal/report"
)

// TestPageNumbers holds a page's numbers to the JSON; here are the words beside them, the
// words for a side among them.

// wordsBeside are, for each field, what may stand around its number, anchored nowhere but
// where it says so: the number is X, others are #, days are @, names are ~. A value in a list
// follows its name and ": ", one in a table "[head of the row|head of the column] ".
// UNDER is "under ", "over " or nothing, LOWER is "lower" or "higher", ABOVE "above" or
// "below", all as the JSON has it; K is any index.
var wordsBeside = [][2]string{
	{"after.annual_mean.value", "^with (the system|(~|the system), measured (since its repair on @|from @ on)): X\u00a0Bq/m³, likely|With it: X\u00a0Bq/m³, likely"},
	{"now.annual_mean.value", "^with the system as it is now, measured from @ on: X\u00a0Bq/m³, likely|^As it is now, by what was measured last: X\u00a0Bq/m³, likely"},
	{"now.annual_mean.lower", "^with the system as it is now, measured from @ on: #\u00a0Bq/m³, likely between X and #\u00a0Bq|^As it is now, by what was measured last: #\u00a0Bq/m³, likely between X and #\u00a0Bq"},
	{"now.annual_mean.upper", "^with the system as it is now, measured from @ on: (under|#\u00a0Bq/m³, likely between # and) X\u00a0Bq|^As it is now, by what was measured last: (under|#\u00a0Bq/m³, likely between # and) X\u00a0Bq"},
	{"before.annual_mean.value", "^Average over the year without the system: X\u00a0Bq/m³, likely|^Without the system: X\u00a0Bq/m³, likely"},
	{"after.annual_mean.lower", "^with (the system|(~|the system), measured (since its repair on @|from @ on)): #\u00a0Bq/m³, likely between X and #\u00a0Bq|With it: #\u00a0Bq/m³, likely between X and #\u00a0Bq"},
	{"after.annual_mean.upper", "^with (the system|(~|the system), measured (since its repair on @|from @ on)): (under|#\u00a0Bq/m³, likely between # and) X\u00a0Bq|With it: (under|#\u00a0Bq/m³, likely between # and) X\u00a0Bq"},
	{"before.annual_mean.lower", "^(Average over the year without|Without) the system: #\u00a0Bq/m³, likely between X and #\u00a0Bq"},
	{"before.annual_mean.upper", "^(Average over the year without|Without) the system: (under|#\u00a0Bq/m³, likely between # and) X\u00a0Bq"},
	{"after.days", `^\[with\|Days\] X$`}, {"before.days", `^\[without\|Days\] X$`},
	{"after.raw_mean", `^\[with\|Average\] (below )?X$`}, {"before.raw_mean", `^\[without\|Average\] (below )?X$`},
	{"annual_mean.value", "^Average over the year, about: X\u00a0Bq|^It is about X\u00a0Bq"},
	{"annual_mean.lower", "likely to lie:? between X and #\u00a0Bq"},
	{"annual_mean.upper", "likely to lie:? between # and X\u00a0Bq|^Average over the year: under X|^It is under X"},
	{"(areas.K|community).gm.value", `than, Bq/m³\] X|less than:? X` + "\u00a0Bq"},
	{"community.am.value", "average over all homes: X\u00a0Bq|draw the average up to X\u00a0Bq"},
	{"community.(am|gm).lower", `\(likely between X and #\)|\(likely over X\)`},
	{"community.(am|gm).upper", `\(likely between # and X\)|\(likely under X\)`},
	{"areas.K.gm.lower", `than, Bq/m³\] #(X to #|over X)$`}, {"areas.K.gm.upper", `than, Bq/m³\] #(# to X|under X)$`},
	{"(areas.K|community).homes_at_least", `(measured\] |measured: |Measurements of )X to #`},
	{"(areas.K|community).homes_at_most", `(measured\] |measured: |Measurements of )# to X`},
	{"areas.K.share_above.K.exceeds.probability", "\\|Chance that it is over #\u00a0%\\] UNDERX\u00a0%$"},
	{"(areas.K|community).share_above.K.share.value", "^About X\u00a0% of (homes|all dwellings) have more radon than #|\\|(Above #, %|Averaged over the year)\\] X#"},
	{"(areas.K|community).share_above.K.share.lower", "likely to lie (between X and #|over X)\u00a0%|\\|(Above #, %|Averaged over the year)\\] #(X to #|over X)$"},
	{"(areas.K|community).share_above.K.share.upper", "likely to lie (between # and X|under X)\u00a0%|\\|(Above #, %|Averaged over the year)\\] #(# to X|under X)$"},
	{"community.share_above.K.raw_share.lower", `came out\] (X to #|over X)$`}, {"community.share_above.K.raw_share.upper", `came out\] (# to X|under X)$`},
	{"community.homes_above.value", "^That is about X dwellings"},
	{"community.homes_above.lower", "dwellings, likely (between X and #|over X)"}, {"community.homes_above.upper", "dwellings, likely (between # and X|under X)"},
	{"community.share_above.K.homes_above.value", "^That is about X dwellings"},
	{"community.share_above.K.homes_above.lower", "dwellings, likely (between X and #|over X)"}, {"community.share_above.K.homes_above.upper", "dwellings, likely (between # and X|under X)"},
	{"community.gsd.value", "within a factor of X of that"}, {"community.raw_gsd", "as measured, the factor is X"},
	{"community.measured_in.K", "^They were measured in .*X"},
	{"community.unmeasured.areas", "^Of the areas, X had no home measured"}, {"community.unmeasured.dwellings", "hold about X dwellings"},
	{"community.homes_left_out.at_least", "^For X homes or more there is no result"},
	{"below.K.probability", "^Chance that it is now below #\u00a0Bq/m³( \\(#\u00a0pCi/L\\))?: UNDERX\u00a0%$|^Chance that it is below #\u00a0Bq/m³( \\(#\u00a0pCi/L\\))?, by (all days with the system|the last twelve months with the system|the days since the repair|the days with what runs now): UNDERX\u00a0%$|with the system(| as it is now) is below #\u00a0Bq/m³( \\(#\u00a0pCi/L\\))? is UNDERX\u00a0%"},
	{"probability@K", "^Chance that it is above #\u00a0Bq/m³( \\(#\u00a0pCi/L\\))?: UNDERX\u00a0%$|over the year is above #\u00a0Bq/m³( \\(#\u00a0pCi/L\\))? is UNDERX\u00a0%"},
	{"days_for_K_percent@K", "Go on measuring. With X days? more"},
	{"days_measured", "^Radon was measured (over|on) X days?(, from @ to @| between @ and @|, on @)\\."},
	{"raw_mean", "Over that time the average was X\u00a0Bq|less than the detector can see, which is X\u00a0Bq"},
	{"further.K.chance@K", "\\|Chance of a clear answer\\] UNDERX\u00a0%$"}, {"further.K.days@K", "^X$"},
	{"places.K.days", `\|Days\] X$`}, {"places.K.mean", `\|Average, Bq/m³\] BELOWX$`},
	{"raw_ratio", "As measured, radon was X\u00a0% LOWER with the system"},
	{"season_artefact", "the seasons alone would have made it X\u00a0% LOWER"},
	{"season_factor", "season alone would make it X times what was measured"},
	{"reduction.(value|lower|upper)", "REDUCTION"},
	{"settings.confidence", "about X times in 100|at least X\u00a0% likely|in about X of 100 homes"},
	{"settings.exceeds", "more than X\u00a0% of an area|^Chance that it is over X\u00a0%$"},
	{"settings.min_cell", "counted to within X"},
	{"settings.levels.K@pCi/L", "#\u00a0Bq/m³ \\(X\u00a0pCi/L\\)"},
	{"settings.levels.K", "^(|.*level\\)\\. )X\u00a0Bq/m³( \\(#\u00a0pCi/L\\))? is a level used|^X$|^Above X, %$|^Against X\u00a0Bq|clear answer about X\u00a0Bq|^Chance that it is above X\u00a0Bq|^Chance that it is now below X\u00a0Bq|^Chance that it is below X\u00a0Bq/m³( \\(#\u00a0pCi/L\\))?, by (all days with the system|the last twelve months with the system|the days since the repair|the days with what runs now)$|^Whether this home is below X\u00a0Bq/m³( \\(#\u00a0pCi/L\\))? now is not certain|" +
		"have more radon than X\u00a0Bq|reaches across X\u00a0Bq|^The chance that the average over the year (is above|with the system(| as it is now) is below) X\u00a0Bq|" +
		"(radon in this home|the average over the year) is (very )?likely (still )?VERDICT X\u00a0Bq|the average over the year is more likely ABOVE X\u00a0Bq/m³( \\(#\u00a0pCi/L\\))? than OTHER|to tell whether.* is above or below X\u00a0Bq|cannot tell whether.* is above or below X\u00a0Bq"},
}

// around is the text that a part of a page stands in, itself as X.
func around(d *element) string {
	block := d
	for !slices.Contains([]string{"p", "li", "dt", "dd", "td", "th", "caption", "figcaption", "h2", "h3", "h4"}, block.name) {
		block = block.parent
	}
	var b strings.Builder
	var walk func(e *element)
	walk = func(e *element) {
		switch {
		case e == d:
			b.WriteString("X")
		case e.name == "data":
			b.WriteString("#")
		case e.name == "time":
			b.WriteString("@")
		case e.name == "bdi":
			b.WriteString("~")
		case e.name == "":
			b.WriteString(e.text)
		}
		if e.name != "data" && e.name != "time" && e.name != "bdi" {
			for _, c := range e.children {
				walk(c)
			}
		}
	}
	switch block.name {
	case "dd":
		walk(block.parent.all("dt")[0])
		b.WriteString(": ")
	case "td":
		row := block.parent
		fmt.Fprintf(&b, "[%s|", row.all("th")[0].words())
		for i, c := range row.all("") {
			if c == block {
				at := slices.Index(slices.DeleteFunc(row.all(""), func(e *element) bool { return e.name != "td" && e.name != "th" }), row.all("")[i])
				walk(row.parent.parent.all("thead")[0].all("th")[at])
			}
		}
		b.WriteString("] ")
	}
	walk(block)
	return b.String()
}

// checkSides holds the words beside each number of a page to what the JSON says of it.
func checkSides(root *element, jsonFor map[string]any) (checked int, faults []string) {
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	for _, d := range root.all("data") {
		if underHow(d) {
			continue
		}
		command, home, area, of := d.inherited("data-command"), d.inherited("data-home"), d.inherited("data-area"), d.attr["data-of"]
		doc := jsonFor[command]
		x, _ := numberOf(doc, home, area, of) // TestPageNumbers tells of what is missing
		want, known := "", false
		for _, rule := range wordsBeside {
			if regexp.MustCompile("^(" + strings.ReplaceAll(strings.ReplaceAll(rule[0], ".", `\.`), "K", "[0-9]+") + ")$").MatchString(of) {
				want, known = rule[1], true
				break
			}
		}
		if !known {
			fault("nothing is known of the words beside %s", of)
			continue
		}
		number := func(of string) float64 { x, _ := numberOf(doc, home, area, of); return x }
		confidence, _ := numberOf(doc, home, area, "settings.confidence")
		lower := map[bool]string{true: "lower", false: "higher"}[x < 1]
		verdict, above, other, below := "", "", "", ""
		if k, ok := strings.CutPrefix(of, "settings.levels."); ok && !strings.Contains(of, "@") && command != "survey" {
			probability := number("probability@" + k) // above
			if command == "compare" {
				probability = 1 - number("below."+k+".probability")
			}
			above, other = "above", "below"
			if probability < 0.5 || command == "compare" && probability == 0.5 {
				above, other = "below", "above"
			}
			verdict = "nowhere"
			if max(probability, 1-probability) >= confidence {
				verdict = above
			}
		}
		if command == "inspect" {
			row := rowsOf(doc, "places", home, area, nan)[atoi(of)]
			if b, _ := follow(row, []string{"mean_below_limit"}); b == true && x > 0 {
				below = "below "
			}
		}
		reduction := ""
		if strings.HasPrefix(of, "reduction") {
			reduction = reductionWords(doc, home, area, of, x)
		}
		want = strings.NewReplacer("UNDER", sideOf(report.Percent(x, confidence)), "LOWER", lower, "VERDICT", verdict, "ABOVE", above, "OTHER", other, "BELOW", below, "REDUCTION", reduction).Replace(want)
		if text := around(d); !regexp.MustCompile(want).MatchString(text) {
			fault("%s of %q stands in %q, which is none of %q", of, home, text, want)
		}
		checked++
	}
	return checked, faults
}

// sideOf is the side that a table's number names.
func sideOf(text string) string {
	return map[byte]string{'<': "under ", '>': "over "}[text[0]]
}

// reductionWords are the words beside a limit or the middle of a reduction.
func reductionWords(doc any, home, area, of string, x float64) string {
	e := analysis.Estimate{Unit: "%"}
	row := rowsOf(doc, "results", home, area, nan)[0]
	open := map[string]bool{}
	for name, to := range map[string]*float64{"value": &e.Value, "lower": &e.Lower, "upper": &e.Upper} {
		v, _ := follow(row, []string{"reduction", name})
		number, ok := v.(float64)
		*to, open[name] = number, !ok
	}
	change, _ := follow(row, []string{"change"})
	none := "none: "
	if change == "not shown" {
		none = "not shown: "
	}
	side := sideOf(report.Bound(e, x))
	more := "\u00a0% less"
	if x < 0 {
		side, more = "", "\u00a0% more"
	}
	switch part := strings.TrimPrefix(of, "reduction."); {
	case part == "value" && x >= 0:
		return "(^Reduction by the system|Reduction): " + side + "X\u00a0%, likely|(takes|took) away about " + side + "X\u00a0% of the radon"
	case part == "value":
		return "(^Reduction by the system|Reduction): " + none + "with it there is X\u00a0% more, likely"
	case e.Lower >= 0 && !open["lower"] && part == "lower":
		return "likely between " + side + "X and (over |under )?#\u00a0%|Reduction.*: at least " + side + "X\u00a0%"
	case e.Lower >= 0 && !open["lower"]:
		return "likely between (over |under )?# and " + side + "X\u00a0%|Reduction.*: at most " + side + "X\u00a0%"
	case e.Upper < 0 && !open["upper"] && part == "lower":
		return "likely between #\u00a0% more and X\u00a0% more"
	case e.Upper < 0 && !open["upper"]:
		return "likely between X\u00a0% more and (#\u00a0% more|more than ten times as much)|" + none + "with it there is at least X\u00a0% more"
	case part == "lower":
		return "likely between X\u00a0% more and (over |under )?#\u00a0% less|at worst there is X" + more + " with it"
	}
	return "likely between (#\u00a0% more|more than ten times as much) and " + side + "X\u00a0% less|: at most " + side + "X\u00a0%"
}

// checkDays holds the two days of each sentence and row to their order in the JSON.
func checkDays(root *element, jsonFor map[string]any) (checked int, faults []string) {
	fault := func(format string, args ...any) { faults = append(faults, fmt.Sprintf(format, args...)) }
	day := func(row any, path ...string) string { // with "year_end" the last day
		v, _ := follow(row, path)
		t, err := time.Parse(time.RFC3339, fmt.Sprint(v))
		if err != nil {
			return fmt.Sprint(v)
		}
		if t.Hour() >= 21 { // midnight in the zone of the demo's homes, of which the JSON has UTC
			t = t.Add(3 * time.Hour)
		}
		if last := path[len(path)-1]; last == "year_end" {
			t = t.AddDate(0, 0, -1)
		}
		return t.Format(time.DateOnly)
	}
	for _, block := range slices.Concat(root.all("p"), root.all("tr")) {
		times := block.all("time")
		if len(times) == 0 || underHow(block) {
			continue
		}
		command, home, area := block.inherited("data-command"), block.inherited("data-home"), block.inherited("data-area")
		text := around(times[0])
		var from, to []string
		switch rows := rowsOf(jsonFor[command], "results", home, area, nan); {
		case command == "inspect":
			numbers := block.all("data")
			for i, row := range rowsOf(jsonFor[command], "places", home, area, nan) {
				if len(numbers) == 0 || atoi(numbers[0].attr["data-of"]) == i { // without numbers any of the rows
					from, to = append(from, day(row, "start")), append(to, day(row, "last_day"))
				}
			}
		case len(rows) == 0:
			fault("no result of the days in %q", text)
			continue
		case strings.Contains(text, "twelve months"):
			if command == "verdict" { // annual knows which they are
				rows = rowsOf(jsonFor["annual"], "results", home, area, nan)
			}
			from, to = []string{day(rows[0], "year_start")}, []string{day(rows[0], "year_end")}
		case strings.HasPrefix(text, "By the charts of its days "): // the first of the note's
			notes, _ := follow(rows[0], []string{"notes"})
			from = regexp.MustCompile(`since about (\S+) they are`).FindStringSubmatch(fmt.Sprint(notes))[1:]
			to = from
		case strings.Contains(text, "y what was measured since "), strings.Contains(text, "all days with it since "): // one day
			from, to = []string{day(rows[0], "spell", "from")}, []string{day(rows[0], "spell", "from")}
		case block.name == "p" && strings.HasPrefix(text, "Radon was measured "):
			last := ""
			for _, row := range rowsOf(jsonFor["inspect"], "places", home, area, nan) {
				if kind, _ := follow(row, []string{"kind"}); kind == "field" {
					last = max(last, day(row, "last_day"))
				}
			}
			from, to = []string{day(rows[0], "start")}, []string{last}
		case block.name == "tr":
			side := map[string]string{"without": "before", "with": "after"}[block.all("th")[0].words()]
			from, to = []string{day(rows[0], side, "start")}, []string{day(rows[0], side, "end")}
			if v, _ := follow(rows[0], []string{side, "end"}); strings.Contains(fmt.Sprint(v), "T00:00") { // which of both, the table of detectors says
				from, to = append(from, from[0]), append(to, mustDay(fmt.Sprint(v)).Add(-time.Second).Format(time.DateOnly))
			}
		default:
			fault("nothing is known of the days in %q", text)
			continue
		}
		ok := false
		for i := range from {
			got := []string{times[0].attr["datetime"], times[len(times)-1].attr["datetime"]}
			ok = ok || got[0] == from[i] && got[1] == to[i]
		}
		if !ok {
			fault("%s to %s in %q, and the JSON has %v to %v", times[0].attr["datetime"], times[len(times)-1].attr["datetime"], text, from, to)
		}
		checked++
	}
	return checked, faults
}

var nan = math.NaN()

// atoi is the index in "places.3.mean".
func atoi(of string) int {
	n, _ := strconv.Atoi(strings.Split(of, ".")[1])
	return n
}

func mustDay(text string) time.Time {
	t, err := time.Parse(time.RFC3339, text)
	if err != nil {
		panic(err)
	}
	return t
}

// TestPageWordsTells: the checks above see words that say the other side.
func TestPageWordsTells(t *testing.T) {
	skipShort(t)
	t.Parallel()
	demo := filepath.Join("..", "..", "testdata", "demo")
	fans, tests, edge := filepath.Join(demo, "fans.csv"), filepath.Join(demo, "imported-decimal-comma.csv"), edgeFile(t)
	for _, c := range []struct {
		args    []string
		command string
		changes [][2]string
	}{
		{[]string{tests}, "verdict", [][2]string{
			{"is under <data", "is over <data"}, {"It is likely to lie</dt><dd>between", "It is likely to lie</dt><dd>outside of"}, {"is very likely below", "is very likely above"},
			{", from <time datetime=\"2024-01-09\">9 January 2024</time> to", ", from <time datetime=\"2024-03-09\">9 March 2024</time> to"}}},
		{[]string{fans}, "compare", [][2]string{
			{"\u00a0% lower with", "\u00a0% higher with"}, {"have made it <data", "have made it not <data"}, {">Average over the year without the system<", ">Average over the year with the system<"},
			{"<dt>with the system<", "<dt>without the system<"}, {"is over <data", "is under <data"}, {"is more likely above", "is more likely below"}, {"\u00a0% less", "\u00a0% more"}}},
		{[]string{edge, "--zone", "UTC", "--home", "same"}, "compare", [][2]string{{"not shown: ", "none: "}, {"\u00a0% more and", "\u00a0% less and"}}},
	} {
		text, err := os.ReadFile(pageOf(t, c.args...))
		if err != nil {
			t.Fatal(err)
		}
		docs := map[string]any{c.command: jsonOf(t, c.command, c.args[:min(3, len(c.args))]...), "inspect": anyJSON(t, "inspect", c.args[:min(3, len(c.args))])}
		if c.command == "verdict" {
			docs["annual"] = anyJSON(t, "annual", c.args)
		}
		for _, change := range append([][2]string{{"", ""}}, c.changes...) {
			if !bytes.Contains(text, []byte(change[0])) {
				t.Errorf("the page has no %q", change[0])
				continue
			}
			root, err := parsePage(bytes.ReplaceAll(text, []byte(change[0]), []byte(change[1])))
			if err != nil {
				t.Fatal(err)
			}
			_, sides := checkSides(root, docs)
			_, days := checkDays(root, docs)
			if faults := append(sides, days...); (change[0] == "") != (len(faults) == 0) {
				t.Errorf("%q for %q: %q", change[1], change[0], faults)
			}
		}
	}
}
