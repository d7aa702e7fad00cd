package main

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/season"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/report"
)

// A learned profile in every format; learning itself is tested in its package.
func TestSeasonDocument(t *testing.T) {
	day := time.Date(2024, 1, 1, 0, 0, 0, 0, time.UTC)
	l := season.Learned{
		Profile: temporal.BuiltIn(false), Homes: 11, First: day, Last: day.AddDate(1, 0, 0),
		Scatter: []season.Scatter{{Days: 7, Tests: 100, Homes: 11, RawGSD: 1.5, CorrectedGSD: 1.4, Coverage: 0.946, WidthRatio: 1.02}},
		Notes:   []analysis.Note{{Code: "few-homes", Text: "few homes"}},
	}
	for m := time.January; m <= time.December; m++ {
		l.Monthly = append(l.Monthly, season.Month{Month: m, Factor: 1.1, Lower: 0.8, Upper: 1.4, Correction: 0.9})
	}
	doc := seasonDocument(l, 0.95)
	var text bytes.Buffer
	if err := report.Write(&text, doc, "table"); err != nil {
		t.Fatal(err)
	}
	for _, line := range []string{"January      1.10       0.800  1.40       0.900", "   7    100     11  1.50       1.40  94.6        1.02", "Few homes."} {
		if !strings.Contains(text.String(), line+"\n") {
			t.Errorf("no line %q in\n%s", line, text.String())
		}
	}
	var b bytes.Buffer
	if err := report.Write(&b, doc, "json"); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Results []struct {
			Month      string
			Factor     float64
			Correction float64
		}
		Scatter []struct {
			Days     int
			Coverage float64
		}
		ScatterWithCourse []any `json:"scatter_with_course"`
		Amplitude         []struct{ Homes int }
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil {
		t.Fatal(err)
	}
	if len(got.Results) != 12 || got.Results[11].Month != "December" || got.Results[11].Factor != 1.1 || got.Results[11].Correction != 0.9 ||
		len(got.Scatter) != 1 || got.Scatter[0].Days != 7 || got.Scatter[0].Coverage != 0.946 ||
		got.ScatterWithCourse == nil || len(got.ScatterWithCourse) != 0 || len(got.Amplitude) != 1 || got.Amplitude[0].Homes != 11 {
		t.Errorf("got %+v", got)
	}
}
