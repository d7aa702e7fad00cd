package main

import (
	"fmt"
	"os"
	"regexp"
	"strings"
	"testing"
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
	if doubled == nil {
		t.Fatal("nothing is said of monitors replaced")
	}
	says := strings.Join(strings.Fields(string(readme)), " ")
	for _, want := range []string{
		fmt.Sprintf("In three years %s invented homes (analysis/trend/COVERAGE.md) had one false alarm in %s years, and one in %s within the first;", usual[1], usual[4], usual[5]),
		fmt.Sprintf("half of the stopped fans were seen within %s days and nine in ten within %s,", stopped[7], stopped[8]),
		fmt.Sprintf("half of the fans that lost half of their work within %s, and %s %% of those within a year.", half[7], half[6]),
		fmt.Sprintf("(of levels that doubled on that day %s %% were told so: look at the gauge)", doubled[1]),
	} {
		if !strings.Contains(says, want) {
			t.Errorf("README.md does not say %q", want)
		}
	}
}
