package reftest

import (
	"fmt"
	"math"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"radonyear/analysis"
)

// coverageHead is the head of a published table of coverage.
const coverageHead = "| Quantity | Method | Setting | Answered % | Held % | Under % | Over % | Width |\n|:--|:--|:--|--:|--:|--:|--:|--:|\n"

// WriteCoverage publishes rows under an introduction, in COVERAGE.md of the
// package whose test it is called from.
func WriteCoverage(intro string, rows [][]analysis.CoverageRow) error {
	return WriteCoverageFile("COVERAGE.md", intro, rows)
}

// WriteCoverageFile is WriteCoverage for a package with more than one table.
func WriteCoverageFile(name, intro string, rows [][]analysis.CoverageRow) error {
	b := []byte(intro + "\n\n" + coverageHead)
	for _, r := range slices.Concat(rows...) {
		b = fmt.Appendf(b, "| %s | %s | %s | %.1f | %.1f | %.1f | %.1f | %.3g |\n", r.Quantity, r.Method, r.Setting, 100*r.Answered, 100*r.Held, 100*r.Under, 100*r.Over, r.Width)
	}
	return os.WriteFile(name, b, 0o644)
}

// CoverageKey names a row.
func CoverageKey(r analysis.CoverageRow) string {
	return r.Quantity + " | " + r.Method + " | " + r.Setting
}

// ReadCoverage is the published table by CoverageKey.
func ReadCoverage() (map[string]analysis.CoverageRow, error) {
	return ReadCoverageFile("COVERAGE.md")
}

// ReadCoverageFile is ReadCoverage for a package with more than one table.
func ReadCoverageFile(name string) (map[string]analysis.CoverageRow, error) {
	list, err := CoverageRows(name)
	if err != nil {
		return nil, err
	}
	rows := map[string]analysis.CoverageRow{}
	for _, r := range list {
		rows[CoverageKey(r)] = r
	}
	return rows, nil
}

// CoverageRows is a published table in its order.
func CoverageRows(name string) (rows []analysis.CoverageRow, err error) {
	b, err := os.ReadFile(name)
	if err != nil {
		return nil, err
	}
	_, table, found := strings.Cut(string(b), coverageHead)
	if !found {
		return nil, fmt.Errorf("%s has no table under the head %q", name, coverageHead)
	}
	for line := range strings.Lines(table) {
		cells := strings.Split(strings.Trim(line, "| \n"), " | ")
		if len(cells) != 8 {
			return nil, fmt.Errorf("%s: %q has %d cells", name, line, len(cells))
		}
		var x [5]float64
		for i := range x {
			if x[i], err = strconv.ParseFloat(cells[3+i], 64); err != nil {
				return nil, fmt.Errorf("%s: %q: %w", name, line, err)
			}
		}
		r := analysis.CoverageRow{Quantity: cells[0], Method: cells[1], Setting: cells[2],
			Answered: x[0] / 100, Held: x[1] / 100, Under: x[2] / 100, Over: x[3] / 100, Width: x[4]}
		rows = append(rows, r)
	}
	return rows, nil
}

// PartOfCoverage is for making a part of COVERAGE.md anew, where each setting has random
// numbers of its own: which settings a pattern names, and the rows that others have there.
// No pattern is all of them.
func PartOfCoverage(pattern string) (asked func(setting string) bool, kept func(setting string) []analysis.CoverageRow, err error) {
	named, err := regexp.Compile(pattern)
	if err != nil {
		return nil, nil, err
	}
	var rows []analysis.CoverageRow
	if pattern != "" {
		if rows, err = CoverageRows("COVERAGE.md"); err != nil {
			return nil, nil, err
		}
	}
	return named.MatchString, func(setting string) []analysis.CoverageRow {
		return slices.DeleteFunc(slices.Clone(rows), func(r analysis.CoverageRow) bool { return r.Setting != setting })
	}, nil
}

// CoverageDiffers says where rows found by fewer trials lie further from the
// published ones than four standard errors.
func CoverageDiffers(published map[string]analysis.CoverageRow, found [][]analysis.CoverageRow) (bad []string) {
	for _, r := range slices.Concat(found...) {
		p, ok := published[CoverageKey(r)]
		if !ok {
			bad = append(bad, CoverageKey(r)+" is not in COVERAGE.md")
			continue
		}
		n := float64(r.Trials)
		for _, s := range [][2]float64{{r.Held, p.Held}, {r.Under, p.Under}, {r.Over, p.Over}, {r.Answered, p.Answered}} {
			if se := math.Sqrt(s[1]*(1-s[1])/n) + 1/n; math.Abs(s[0]-s[1]) > 4*se {
				bad = append(bad, fmt.Sprintf("%s: %v found, %v published", CoverageKey(r), s[0], s[1]))
			}
		}
	}
	return bad
}
