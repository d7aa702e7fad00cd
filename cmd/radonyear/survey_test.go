package main

import (
	"testing"
	"time"

	"radonyear/analysis/survey"
	"radonyear/analysis/temporal"
)

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
