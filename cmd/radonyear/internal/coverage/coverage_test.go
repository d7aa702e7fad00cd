package coverage

import (
	"math"
	"reflect"
	"runtime"
	"testing"
	"time"
)

// TestCoverage runs a small table and holds it to wide bounds; the published
// one, COVERAGE.md beside package annual, is made by the coverage command.
func TestCoverage(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	opt := Options{Districts: 1, Learn: 30, Judge: 50}
	a, err := Run(opt)
	if err != nil {
		t.Fatal(err)
	}
	if a.Confirmed != 1 || a.Mistaken != 0 {
		t.Errorf("the weather was confirmed in %d of 1 districts, mistakenly in %d", a.Confirmed, a.Mistaken)
	}
	for _, arm := range a.Arms {
		for _, r := range arm.Rows {
			// Nine tests of a home hang together, so a row's homes are what counts:
			// four binomial standard errors of the 50 (built-in: 100) homes.
			homes := float64(opt.Judge)
			if arm.Name == BuiltIn {
				homes *= 2
			}
			if low := 0.95 - 4*math.Sqrt(.95*.05/homes); r.Coverage < low {
				t.Errorf("%s, %d days: %.3f of intervals held, fewer than %.3f", arm.Name, r.Days, r.Coverage, low)
			}
			if s := r.Coverage + r.Under + r.Over; math.Abs(s-1) > 1e-9 {
				t.Errorf("%s, %d days: shares add up to %v", arm.Name, r.Days, s)
			}
			if !(r.WidthRatio > 0.6 && r.WidthRatio < 1.8) {
				t.Errorf("%s, %d days: intervals are %.2f times as wide as their error", arm.Name, r.Days, r.WidthRatio)
			}
			if r.Wrong > 0.1 {
				t.Errorf("%s, %d days: %.3f of the conclusive verdicts are wrong", arm.Name, r.Days, r.Wrong)
			}
		}
		if last := arm.Rows[len(arm.Rows)-1]; last.Days != 0 || last.Error >= last.RawError {
			t.Errorf("%s: over all the error is %.3f, that of the raw tests %.3f", arm.Name, last.Error, last.RawError)
		}
	}
}

// TestProperties: the same options give the same table.
func TestProperties(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	opt := Options{Districts: 1, Learn: 4, Judge: 3}
	a, err := Run(opt)
	if err != nil {
		t.Fatal(err)
	}
	old := runtime.GOMAXPROCS(1)
	b, err := Run(opt)
	runtime.GOMAXPROCS(old)
	if err != nil {
		t.Fatal(err)
	}
	a.Took, b.Took = 0, 0
	if !reflect.DeepEqual(a, b) {
		t.Error("the same options gave another table")
	}
}

// TestByHand: rows add up as they should.
func TestByHand(t *testing.T) {
	r := summarise(7, []trial{
		{quarter: 0, raw: .3, err: .1, half: .2, said: "below", right: "below"},
		{quarter: 0, raw: -.3, err: -.1, half: .2, missed: 1, said: "above", right: "below"},
		{quarter: 2, raw: .3, err: .1, half: .2, missed: -1, said: "not conclusive", right: "above"},
		{quarter: 2, raw: .3, err: .1, half: .2, said: "not conclusive", right: "above"},
	}, 0.95)
	want := Row{Days: 7, Tests: 4, Coverage: .5, Under: .25, Over: .25, RawError: .3, Error: .1, Conclusive: .5, Wrong: .5}
	want.Season[0], want.Season[2] = Cell{2, .5}, Cell{2, .5}
	if math.Abs(r.WidthRatio-.2/(1.959964*.1)) > 1e-6 {
		t.Errorf("width ratio %v", r.WidthRatio)
	}
	r.WidthRatio, r.Error, r.RawError = 0, math.Round(r.Error*1e12)/1e12, math.Round(r.RawError*1e12)/1e12
	if !reflect.DeepEqual(r, want) {
		t.Errorf("%+v, want %+v", r, want)
	}
	f := means(time.Unix(0, 0), append(make([]float64, 24), []float64{24, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0, 24}...))
	if got := f(time.Unix(0, 0), time.Unix(2*86400, 0)); got != 1 {
		t.Errorf("mean of two days is %v, want 1", got)
	}
}
