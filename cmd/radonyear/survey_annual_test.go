package main

import (
	"math"
	"testing"
)

// TestFromAnnual: a home's variance is that of its log_error; a file without that column has
// only the interval to go by.
func TestFromAnnual(t *testing.T) {
	q := communityQuestion{by: "area", testError: "profile"}
	row := annualRow{home: "A", area: "X", raw: 100, factor: 1, mean: [3]float64{100, 50, 200}, confidence: 0.95}
	for _, c := range []struct{ said, want float64 }{{0, math.Log(4) / (2 * 1.959963985)}, {0.3, 0.3}} {
		row.logError = c.said
		s, err := q.fromAnnual(row)
		if err != nil || math.Abs(s.home.SE-c.want) > 1e-9 {
			t.Errorf("log_error %v: standard error %v, want %v (%v)", c.said, s.home.SE, c.want, err)
		}
	}
}
