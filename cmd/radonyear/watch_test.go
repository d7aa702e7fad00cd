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
	usual, stopped, half := rows["nothing"], rows["the fan stops"], rows["the fan loses half of its work"]
	if usual == nil || stopped == nil || half == nil {
		t.Fatal("a row is missing")
	}
	doubled := regexp.MustCompile(`The level doubled on that day in \d+: it lay above 1 in (\d+) %`).FindSubmatch(table)
	nothing := regexp.MustCompile(`Nothing else happened in \d+ homes: the\s+interval held 1 in \d+ % and lay above it in (\d+) %`).FindSubmatch(table)
	if doubled == nil || nothing == nil {
		t.Fatal("nothing is said of monitors replaced")
	}
	says := strings.Join(strings.Fields(string(readme)), " ")
	for _, want := range []string{
		fmt.Sprintf("In three years %s invented homes (analysis/trend/COVERAGE.md) had one false alarm in %s years, and one in %s within the first;", usual[1], usual[4], usual[5]),
		fmt.Sprintf("half of the stopped fans were seen within %s days and nine in ten within %s,", stopped[7], stopped[8]),
		fmt.Sprintf("half of the fans that lost half of their work within %s, and %s %% of those within a year.", half[7], half[6]),
		fmt.Sprintf("(of levels that doubled on that day %s %% were told so, and of homes to which nothing happened %s %%:", doubled[1], nothing[1]),
	} {
		if !strings.Contains(says, want) {
			t.Errorf("README.md does not say %q", want)
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
