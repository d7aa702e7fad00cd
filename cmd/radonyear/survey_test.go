package main

import (
	"slices"
	"testing"
	"time"

	"radonyear/analysis/survey"
	"radonyear/analysis/temporal"
)

// TestSpanOfAnnual: a row of annual means tells its first and last day in UTC and how many days
// were measured, and with gaps it is no year's.
func TestSpanOfAnnual(t *testing.T) {
	q := communityQuestion{testError: "profile", by: "area"}
	q.Profile = temporal.BuiltIn(false)
	for _, c := range []struct {
		start, end string
		days       float64
		quarters   []string
		year       bool
	}{
		{"2023-12-31T23:00:00Z", "2024-01-20T23:00:00Z", 20, []string{"2024-Q1"}, false},
		{"2024-03-31T12:00:00Z", "2024-04-20T12:00:00Z", 20, []string{"2024-Q2"}, false},
		{"2024-01-10T00:00:00Z", "2025-01-10T00:00:00Z", 366, []string{"2024-Q1", "2024-Q2", "2024-Q3", "2024-Q4", "2025-Q1"}, true},
		{"2024-01-10T00:00:00Z", "2025-01-10T00:00:00Z", 14, []string{"2024-Q1", "2025-Q1"}, false},
		{"2024-01-10T00:00:00Z", "2025-01-10T00:00:00Z", 0, []string{"2024-Q1", "2024-Q2", "2024-Q3", "2024-Q4", "2025-Q1"}, true}, // not told
	} {
		at := func(text string) time.Time {
			x, err := time.Parse(time.RFC3339, text)
			if err != nil {
				t.Fatal(err)
			}
			return x
		}
		s, err := q.fromAnnual(annualRow{home: "h", start: at(c.start), end: at(c.end), days: c.days, raw: 100, factor: 1, mean: [3]float64{100, 60, 160}, confidence: 0.95})
		if err != nil {
			t.Fatal(err)
		}
		if got := quarters([][]int{s.in}, 1); !slices.Equal(got, c.quarters) || s.throughYear() != c.year {
			t.Errorf("%s to %s, %g days: %v, a year: %v", c.start, c.end, c.days, got, s.throughYear())
		}
	}
}

// TestOneSeason: homes measured through most of a year lean on no season, wherever their
// middle is.
func TestOneSeason(t *testing.T) {
	home := func(month time.Month, days float64) surveyed {
		return surveyed{mid: time.Date(2025, month, 10, 0, 0, 0, 0, time.UTC), test: &survey.Test{Rest: 1 - days/temporal.YearDays}}
	}
	q := communityQuestion{testError: "profile"}
	for _, c := range []struct {
		winter, days float64 // homes of as many days in winter
		summer       int     // homes of a month in summer
		want         float64
	}{
		{8, 30, 2, 0.8}, {8, 299, 2, 0.8},
		{8, 300, 2, 0.2}, {10, 365, 0, 0},
	} {
		var all []surveyed
		for range int(c.winter) {
			all = append(all, home(time.January, c.days))
		}
		for range c.summer {
			all = append(all, home(time.July, 30))
		}
		if got := q.oneSeason(all); got != c.want {
			t.Errorf("%g homes of %g days and %d of summer: %g in one season, want %g", c.winter, c.days, c.summer, got, c.want)
		}
	}
}
