package main

import (
	"fmt"
	"os"
	"strings"
	"testing"
)

// What one home's readings are like, be it in the results or not, changes no word of a
// publication: neither a row that cannot be read, a result above what the detector could
// measure, one of zero, a day with hours below a limit, nor an uncertainty. Notes on these
// stand from as many homes on as a cell has, or always.
func TestPublishedOfOne(t *testing.T) {
	t.Chdir(t.TempDir())
	const k = 5
	value := func(i int) int { return 40 + 37*i%211 }
	// file has 40 homes, of which so many are of another sort.
	file := func(odd int, row func(i int) string) {
		var b strings.Builder
		b.WriteString("home,area,start,end,value,uncertainty,unit,phase\n")
		for i := range 40 {
			if text := fmt.Sprintf("H%d,A,2024-01-10T00:00:00Z,2024-04-10T00:00:00Z,%d,,Bq/m3,before\n", i, value(i)); i >= odd {
				b.WriteString(text)
			} else {
				b.WriteString(row(i))
			}
		}
		if err := os.WriteFile("homes.csv", []byte(b.String()), 0o644); err != nil {
			t.Fatal(err)
		}
	}
	as := func(i int) string {
		return fmt.Sprintf("H%d,A,2024-01-10T00:00:00Z,2024-04-10T00:00:00Z,%d,,Bq/m3,before\n", i, value(i))
	}
	of := map[string]func(i int) string{
		"unread":      func(i int) string { return as(i) + fmt.Sprintf("X%d,A,2024-14-10,2024-04-10,9,,Bq/m3,before\n", i) },
		"above range": func(i int) string { return as(i) + fmt.Sprintf("X%d,A,2024-01-10,2024-04-10,>2000,,Bq/m3,before\n", i) },
		"after":       func(i int) string { return as(i) + fmt.Sprintf("H%d,A,2024-06-10,2024-07-10,9,,Bq/m3,after\n", i) },
		"uncertain":   func(i int) string { return strings.Replace(as(i), ",,Bq", ",9,Bq", 1) },
		"zero day": func(i int) string {
			return as(i) + fmt.Sprintf("H%d,A,2024-06-10T00:00:00Z,2024-06-11T00:00:00Z,0,,Bq/m3,before\n", i)
		},
	}
	commands := map[string][]string{
		"survey":          {"survey", "homes.csv", "--publish", "--min-cell", "5", "--test-error", "none", "--level", "100"},
		"page":            {"report", "homes.csv", "--community", "--min-cell", "5", "--test-error", "none", "--level", "100"},
		"describe":        {"describe", "homes.csv", "--publish", "--min-cell", "5", "--level", "100"},
		"describe errors": {"describe", "homes.csv", "--publish", "--min-cell", "5", "--level", "100", "--error", "stated"},
	}
	words := func(args []string) string {
		status, out, errs := runAll(append([]string{"radonyear"}, args...))
		if status != exitDone && status != exitPartial {
			t.Fatalf("%v: exit status %d: %s", args, status, errs)
		}
		return out
	}
	for name, args := range commands {
		file(0, as)
		none := words(args)
		for sort, row := range of {
			if sort == "uncertain" && name == "describe errors" {
				continue // the figures are of it
			}
			file(1, row)
			if one := words(args); one != none {
				t.Errorf("%s: that one home is %q shows: %s", name, sort, firstDifference(none, one))
			}
			file(k, row)
			told := sort == "after" || name == "describe" && sort != "unread" && sort != "above range" || name == "describe errors" && sort == "zero day"
			if many := words(args); (many != none) != told {
				t.Errorf("%s: that %d homes are %q, told: %v, want %v", name, k, sort, many != none, told)
			}
		}
	}
	// Where errors are taken off, nothing is said to be left out of intervals.
	file(k, func(i int) string {
		return as(i) + fmt.Sprintf("H%d,A,2024-06-10T00:00:00Z,2024-06-10T12:00:00Z,<20,,Bq/m3,before\nH%[1]d,A,2024-06-10T12:00:00Z,2024-06-11T00:00:00Z,50,,Bq/m3,before\n", i)
	})
	for name, want := range map[string]bool{"describe": true, "describe errors": false} {
		out := strings.Join(strings.Fields(words(commands[name])), " ")
		if !strings.Contains(out, "half of the limit counts for them") || strings.Contains(out, "the intervals count nothing for that") != want {
			t.Errorf("%s: of days with hours below a limit it says\n%s", name, out)
		}
	}
}
