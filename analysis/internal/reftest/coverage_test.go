package reftest

import (
	"testing"

	"radonyear/analysis"
)

// TestCoverageTable: what is written is read, and each share can differ.
func TestCoverageTable(t *testing.T) {
	t.Chdir(t.TempDir())
	if _, err := ReadCoverage(); err == nil {
		t.Error("no table was read")
	}
	row := analysis.CoverageRow{Quantity: "q", Method: "m", Setting: "s, 30 % below", Trials: 1000, Answered: .9, Held: .95, Under: .02, Over: .03, Width: 2.5}
	if err := WriteCoverage("A table.", [][]analysis.CoverageRow{{row}}); err != nil {
		t.Fatal(err)
	}
	published, err := ReadCoverage()
	if err != nil || len(published) != 1 {
		t.Fatal(published, err)
	}
	if bad := CoverageDiffers(published, [][]analysis.CoverageRow{{row}}); bad != nil {
		t.Error(bad)
	}
	for _, other := range []func(*analysis.CoverageRow){
		func(r *analysis.CoverageRow) { r.Answered = .8 }, func(r *analysis.CoverageRow) { r.Held = .9 },
		func(r *analysis.CoverageRow) { r.Under = .06 }, func(r *analysis.CoverageRow) { r.Over = .08 },
		func(r *analysis.CoverageRow) { r.Setting = "another" },
	} {
		r := row
		other(&r)
		if bad := CoverageDiffers(published, [][]analysis.CoverageRow{{r}}); len(bad) != 1 {
			t.Errorf("%+v: %v", r, bad)
		}
	}
}
