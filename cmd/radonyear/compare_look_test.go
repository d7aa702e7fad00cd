package main

import (
	"slices"
	"testing"
	"time"

	"radonyear/analysis"
)

// TestRecords: monitors that follow each other in one room are one record, be it that
// both were there for a day; one that stood beside another, or in another room, is its own.
func TestRecords(t *testing.T) {
	monitor := func(room, detector string, first, days int) analysis.Series {
		var rs []analysis.Reading
		for i := range days {
			start := time.Date(2026, 1, 1+first+i, 0, 0, 0, 0, time.UTC)
			rs = append(rs, analysis.Reading{Start: start, End: start.AddDate(0, 0, 1), Concentration: 100})
		}
		s, err := analysis.NewSeries(analysis.Place{Home: "A", Room: room, Detector: detector}, time.UTC, rs)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	for want, of := range map[string]analysis.Series{"the monitor": monitor("", "", 0, 3), "ten": monitor("", "ten", 0, 3), "attic, hen": monitor("attic", "hen", 0, 3)} {
		if r := records([]analysis.Series{of}); r[0].place() != want {
			t.Errorf("%q, not %q", r[0].place(), want)
		}
	}
	got := records([]analysis.Series{
		monitor("living", "M4", 30, 5), // after a gap
		monitor("living", "M3", 5, 8),  // beside M1
		monitor("bedroom", "M1", 20, 5),
		monitor("living", "M2", 9, 11), // the day of the swap is M1's
		monitor("living", "M1", 0, 10),
	})
	want := []struct {
		room      string
		detectors []string
		days      int
		swaps     []int // counted from the first day
	}{
		{"bedroom", []string{"M1"}, 5, nil},
		{"living", []string{"M1", "M2", "M4"}, 25, []int{10, 30}},
		{"living", []string{"M3"}, 8, nil},
	}
	if len(got) != len(want) {
		t.Fatalf("%d records", len(got))
	}
	for i, w := range want {
		r := got[i]
		for k := range r.swaps {
			r.swaps[k] -= r.first()
		}
		if r.room != w.room || !slices.Equal(r.detectors, w.detectors) || len(r.days) != w.days || !slices.Equal(r.swaps, w.swaps) {
			t.Errorf("%s: %d days, swaps %v; want %+v", r.place(), len(r.days), r.swaps, w)
		}
		for k := 1; k < len(r.days); k++ {
			if r.days[k].Day <= r.days[k-1].Day {
				t.Errorf("%s: day %d after day %d", r.place(), r.days[k].Day, r.days[k-1].Day)
			}
		}
	}
}
