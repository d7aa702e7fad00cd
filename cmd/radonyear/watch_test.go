package main

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/trend"
	"radonyear/ingest"
)

// TestReadmeWatch: what README.md says of how often charts alarm stands in the table.
func TestReadmeWatch(t *testing.T) {
	table, err := os.ReadFile("../../analysis/trend/COVERAGE.md")
	if err != nil {
		t.Fatal(err)
	}
	readme, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	rows := map[string][]string{}
	for line := range strings.Lines(string(table)) {
		if cells := strings.Split(strings.Trim(strings.TrimSpace(line), "| "), " | "); len(cells) == 14 {
			rows[cells[0]] = cells
		}
	}
	usual, assumed, stopped, half, twice := rows["nothing"], rows["nothing, the level without the fan not known"], rows["the fan stops"], rows["the fan loses half of its work"], rows["the level doubles"]
	if usual == nil || assumed == nil || stopped == nil || half == nil || twice == nil {
		t.Fatal("a row is missing")
	}
	doubled := regexp.MustCompile(`The level doubled on that day in \d+: it lay above 1 in (\d+) %`).FindSubmatch(table)
	nothing := regexp.MustCompile(`Nothing else happened in \d+ homes: the\s+interval held 1 in \d+ % and lay above it in (\d+) %`).FindSubmatch(table)
	if doubled == nil || nothing == nil {
		t.Fatal("nothing is said of monitors replaced")
	}
	says := strings.Join(strings.Fields(string(readme)), " ")
	for _, want := range []string{
		fmt.Sprintf("In three years %s invented homes (analysis/trend/COVERAGE.md) had one false alarm in %s years, and one in %s within the first, or one in %s and one in %s where", usual[1], usual[4], usual[5], assumed[4], assumed[5]),
		fmt.Sprintf("half of the stopped fans were seen within %s days and nine in ten within %s,", stopped[7], stopped[8]),
		fmt.Sprintf("half of the fans that lost half of their work within %s, and %s %% of those within a year.", half[7], half[6]),
		fmt.Sprintf("left out of these delays, %s of %s whose fan stopped and %s of %s whose level doubled.", stopped[3], stopped[1], twice[3], twice[1]),
		// What a scheduler goes by: an alarm comes before a picture that could not be written.
		fmt.Sprintf("| %d | no answer: nothing could be read, judged or written; or an answer for which no other status below stands, and not the picture", exitNoAnswer),
		fmt.Sprintf("| %d | answered, and a chart of `radonyear watch` raised an alarm, or what is usual rose with another monitor, whether or not something was left out or its picture could not be written |", exitAlarm),
		fmt.Sprintf("(of levels that doubled on that day %s %% were told so, and of homes to which nothing happened %s %%:", doubled[1], nothing[1]),
	} {
		if !strings.Contains(says, want) {
			t.Errorf("README.md does not say %q", want)
		}
	}
}

// TestSpells: a monitor that came after a repair is held to what was usual in the spell
// before it, and where that was too short in the one before that; not to what was repaired
// earlier. One that stood through the repair is held to neither.
func TestSpells(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2025, 1, 1+n, 0, 0, 0, 0, time.UTC) }
	days := func(detector string, level float64, from, n int) analysis.Series {
		var rs []analysis.Reading
		for i := range n {
			rs = append(rs, analysis.Reading{Start: day(from + i), End: day(from + i + 1), Concentration: level + float64(7*i%13)})
		}
		s, err := analysis.NewSeries(analysis.Place{Home: "A", Room: "hall", Detector: detector}, time.UTC, rs)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	at := func(n int, on bool) toggle { return toggle{at: day(n).Add(12 * time.Hour), on: on} }
	for _, c := range []struct {
		name         string
		second       int // day of the last repair, whose spell before it begins on day 62
		came         int // of the later monitor
		usual        float64
		rose, differ bool
	}{
		{"after it", 120, 130, 40, true, true},
		{"a short spell before it", 70, 80, 100, false, false},
		{"on its day", 120, 120, 40, false, true},
		{"stood through it", 140, 100, 0, false, false},
	} {
		toggles := []toggle{at(-20, true), at(60, false), at(62, true), at(c.second-2, false), at(c.second, true)}
		if err := runThrough(toggles); err != nil {
			t.Fatal(err)
		}
		n := min(c.second-5, c.came-3) // M1 goes before the repair, or when M2 comes
		m1 := []analysis.Reading{}
		for _, s := range []analysis.Series{days("M1", 100, 0, 60), days("M1", 40, 60, n-60)} {
			m1 = append(m1, s.Readings()...)
		}
		one, err := analysis.NewSeries(analysis.Place{Home: "A", Room: "hall", Detector: "M1"}, time.UTC, m1)
		if err != nil {
			t.Fatal(err)
		}
		ask := compareQuestion{switches: switches{all: toggles}}
		subjects := ask.monitors(0, ingest.Home{Name: "A", Series: []analysis.Series{one, days("M2", 100, c.came, 90)}, About: make([]ingest.About, 2)})
		if len(subjects) != 1 || subjects[0].place.Detector != "M2" {
			t.Fatalf("%s: %d subjects, the first of %v", c.name, len(subjects), subjects[0].place)
		}
		w, err := watchOne(subjects[0], trend.Options{Confidence: 0.95}, day(190))
		if err != nil {
			t.Fatalf("%s: %v", c.name, err)
		}
		if differ := analysis.HasNote(w.Notes, "usual-differs"); w.usualRose != c.rose || differ != c.differ || analysis.HasNote(w.Notes, "another-monitor") != (c.usual > 0) {
			t.Errorf("%s: rose %v, differs %v: %v", c.name, w.usualRose, differ, w.Notes)
		}
		if c.usual > 0 {
			for _, e := range subjects[0].earlier {
				if before, err := e.of(trend.Options{}); err == nil {
					if before.GM < c.usual || before.GM > c.usual+13 {
						t.Errorf("%s: held to %.0f", c.name, before.GM)
					}
					break
				}
			}
		}
	}
}

// TestFalseAlarmsSaid: how often alarms are false is said of homes like those watched, and
// where that was not measured, that.
func TestFalseAlarmsSaid(t *testing.T) {
	known, assumed := watched{known: true}, watched{}
	for _, c := range []struct {
		years    float64
		of       []watched
		says, no string
	}{
		{5, []watched{known}, "Over three years 200 invented homes whose level without the system was known had one in 4.8 years; within the first year, when not every season has been seen, one in 2.9.", "not known"},
		{5, []watched{assumed}, "Over three years 200 invented homes whose level without the system was not known had one in 4.3 years; within the first year, when not every season has been seen, one in 2.7.", "was known"},
		{5, []watched{assumed, known}, "was known had one in 4.8 years, and 200 homes whose level without the system was not known had one in 4.3 years; within the first year, when not every season has been seen, one in 2.9 and one in 2.7.", "not measured"},
		{10, []watched{assumed, known}, "one in 3.5. Of homes whose level without the system was not known it was not measured for this choice.", "4.3"},
		{10, []watched{assumed}, "How often invented homes had one was not measured for this choice", "Over three years"},
	} {
		if got := falseAlarmSentence(trend.Options{FalseAlarmYears: c.years, Shift: 2}, c.of); !strings.Contains(got, c.says) || strings.Contains(got, c.no) {
			t.Errorf("%v, %d: %s", c.years, len(c.of), got)
		}
	}
}

// TestChartOnce: a monitor that another one replaced is charted once, for its own row and
// for what the other's usual is held against.
func TestChartOnce(t *testing.T) {
	days := func(detector string, from int) analysis.Series {
		var rs []analysis.Reading
		for i := range 30 {
			at := time.Date(2025, 1, from+i, 0, 0, 0, 0, time.UTC)
			rs = append(rs, analysis.Reading{Start: at, End: at.AddDate(0, 0, 1), Concentration: float64(40 + 7*i%13)})
		}
		s, err := analysis.NewSeries(analysis.Place{Home: "A", Room: "hall", Detector: detector}, time.UTC, rs)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	h := ingest.Home{Name: "A", Series: []analysis.Series{days("M1", 1), days("M2", 40)}, About: []ingest.About{{Phase: "after"}, {Phase: "after"}}}
	subjects := compareQuestion{}.monitors(0, h)
	if len(subjects) != 2 || len(subjects[0].earlier) != 0 || len(subjects[1].earlier) != 1 {
		t.Fatalf("%d subjects: %+v", len(subjects), subjects)
	}
	var rows []watched
	for _, s := range subjects {
		w, err := watchOne(s, trend.Options{Confidence: 0.95}, s.series[0].End())
		if err != nil {
			t.Fatal(err)
		}
		rows = append(rows, w)
	}
	if !analysis.HasNote(rows[1].Notes, "another-monitor") {
		t.Errorf("the later one is not held against the earlier: %v", rows[1].Notes)
	}
	again, err := subjects[1].earlier[0].of(trend.Options{})
	if err != nil || &again.Points[0] != &rows[0].Points[0] {
		t.Errorf("the earlier one was charted again (%v)", err)
	}
}

// TestStillWorking: the title of several charts asks of systems, of which a home has one,
// however many monitors stand in it.
func TestStillWorking(t *testing.T) {
	of := func(homes ...string) (all []watched) {
		for _, h := range homes {
			all = append(all, watched{Place: analysis.Place{Home: h}})
		}
		return all
	}
	if got := stillWorking(of("A", "A")); got != "Is the system still doing its work? Home A, by 2 monitors" {
		t.Error(got)
	}
	if got := stillWorking(of("A", "A", "B")); got != "Are the systems of 2 homes still doing their work?" {
		t.Error(got)
	}
}
