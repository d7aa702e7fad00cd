package survey

import (
	"bytes"
	"fmt"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"

	"radonyear/analysis/internal/numeric"
)

// COVERAGE.md is written row by row, so that an update that was stopped goes on where it
// was: a row that stands there is not made again. To make all anew, delete the file.

const coverageText = `# How often the area model's intervals hold the truth

Made by ` + "`go test -run 'TestCoverage$' ./analysis/survey -timeout 3h -args -update`" + `, which adds the rows that are missing.

## Spreads drawn from their priors

Homes drawn from the model, with spreads drawn from their half-normal priors (standard deviation 1), that between homes apart from area to area as the
model has it, and a covariate's coefficient, whose prior is flat, with a standard deviation of 2. Where in its posterior the truth lies is
even over 0 to 1 if the posterior is right: χ² of 20 classes (43.8 once in a thousand), how far the mean is off 0.5 in standard errors, and what
share lies in the middle 90 %, under it and over it. An area is one chosen at random. With limits the spread between areas lies a little too high: the
truth is at 0.48 of its posterior on average.

`

const fixedText = `
## Spreads as homes have them

The same model with both spreads (of the logarithm, between homes and between areas) held fixed, so that priors are not the truth's own, and homes spread
alike in all areas, which the model does not take for granted, or apart by so much, of which it takes 0.1. Asked for: 90 %. An area's intervals are over all areas of all replications; they are not independent. A community's row has 100 or 300 replications, and a
standard error of 3 or 2 %; rows of 20 areas are of the same numbers drawn. Bias and mean width: of the logarithm for GM and AM, as it is for shares (above 100 Bq/m³, GM of the community 55).

`

const publishedText = `
## What is published

The model as it is published (Publish, cells of 10 homes): rows count as the fewest homes told of them, and in the community by the middle
of what is told, with its intervals widened for the rest. Spreads drawn evenly, 0.5 to 1 between homes and 0.1 to 0.6 between areas. Asked for:
90 %; the truth of the community is that of the homes as measured in each area, or of dwellings. Shares are those above 200 Bq/m³, GM of the community 90. Bias and
mean width: of the logarithm for GM, AM and GSD, as it is for shares and the spread.

`

const noiseText = `
## Homes that are not the model

Homes of the mass balance in testdata/scenario: a week's test by a monitor in 25 of the 250 homes of each of 12 areas, taken to the annual mean, in 60
districts with five samples of the homes in each. The truth is the share of those 3000 homes whose own twelve months around the test are above
200 Bq/m³; beside it stands that of the 300 measured. Asked for: 95 %. Homes tested share what the profile does not know of that season and weather
here, and of how homes here go through a year; that is in the interval, and one column is without. A district has one season and one winter, so a row
rests on 60 of those: bias is the mean over districts, with its standard error, and the lowest and highest of a district
beside it. Profiles are the built-in one and, where it says so, one learned in each district from 20 other homes measured for a year: the year before
the winter, or the year of the tests, whose weather it then knows. The interval is of homes at large: in it is that others might have been
measured, which the share of those measured does not have, so it holds that one more often.

`

// fixedRun is how many replications the rows of fixed spreads with this number have, and
// from which seed on. Those of the first three were made again, and are of the larger run,
// as are those of large areas, of which a replication has few.
func fixedRun(number int) (n int, seed uint64) {
	if number < 3 || number > 7 {
		return 300, 1000
	}
	return 100, 0
}

// coverageRows is COVERAGE.md by the first two cells of each row, the others as numbers,
// and its lines likewise.
func coverageRows(t *testing.T) (rows map[string][]float64, lines map[string]string) {
	t.Helper()
	b, err := os.ReadFile("COVERAGE.md")
	if err != nil && !(*update && os.IsNotExist(err)) {
		t.Fatal(err)
	}
	rows, lines = map[string][]float64{}, map[string]string{}
	for line := range strings.Lines(string(b)) {
		cells := strings.Split(strings.Trim(line, "| \n"), " | ")
		if !strings.HasPrefix(line, "| ") || len(cells) < 4 {
			continue
		}
		var x []float64
		for _, c := range cells[2:] {
			if v, err := strconv.ParseFloat(c, 64); err == nil {
				x = append(x, v)
			}
		}
		if len(x) == len(cells)-2 {
			key := cells[0] + " | " + cells[1]
			rows[key], lines[key] = x, line
		}
	}
	return rows, lines
}

// updateCoverage writes COVERAGE.md after each set of rows.
func updateCoverage(t *testing.T) {
	_, have := coverageRows(t)
	var b bytes.Buffer
	// add writes lines that are there already, or makes them.
	add := func(setting string, names []string, make func() []string) {
		var lines []string
		for _, n := range names {
			if l, ok := have[setting+" | "+n]; ok {
				lines = append(lines, l)
			}
		}
		if len(lines) < len(names) {
			lines = make()
		}
		for _, l := range lines {
			b.WriteString(l)
		}
		rest := "" // rows further down that were made before
		for _, l := range have {
			if !bytes.Contains(b.Bytes(), []byte(l)) {
				rest += l
			}
		}
		if err := os.WriteFile("COVERAGE.md", append(bytes.Clone(b.Bytes()), rest...), 0o644); err != nil {
			t.Fatal(err)
		}
		t.Log(setting)
	}
	b.WriteString(coverageText + calibrationHead)
	for i, set := range calibrationSets {
		add(set.String(), calibrationNames, func() []string { return calibrationLines(i) })
	}
	b.WriteString(fixedText + fixedHead)
	for i, set := range fixedSets {
		n, seed := fixedRun(i)
		add(set.String()+", fixed", fixedNames, func() (lines []string) {
			for _, r := range fixedCoverage(set, n, seed) {
				lines = append(lines, fmt.Sprintf("| %s, fixed | %s | %d | %.1f | %.1f | %.1f | %+.3f | %.3f |\n", r.setting, r.quantity, r.intervals, 100*r.held, 100*r.under, 100*r.over, r.bias, r.w))
			}
			return lines
		})
	}
	b.WriteString(publishedText + fixedHead)
	for _, set := range publishedSets {
		add(set.name, publishedQuantities, func() []string { return publishedLines(set) })
	}
	b.WriteString(noiseText + noiseHead)
	// A district's homes are simulated once for all of these rows.
	made := sync.OnceValues(func() ([]deNoised, [][]float64) {
		return deNoiseAll(noiseSeed, noiseDistricts, noiseHomes, noiseSets, noiseReps)
	})
	for i, set := range noiseSets {
		add(set.name, []string{noiseQuantity}, func() []string {
			sum, biases := made()
			x, each := sum[i], biases[i]
			_, sd := numeric.Moments(each)
			return []string{fmt.Sprintf("| %s | %s | %d | %.1f | %.1f | %.1f | %+.4f | %.4f | %+.3f | %+.3f | %.3f | %.1f | %+.4f | %+.4f | %.1f | %.1f |\n", set.name, noiseQuantity, noiseDistricts*noiseReps, 100*x.held, 100*x.under, 100*x.over,
				x.bias, sd/math.Sqrt(noiseDistricts), slices.Min(each), slices.Max(each), x.width, 100*x.heldSample, x.biasSample, x.rawBias, 100*x.heldAlone, 100*x.heldMean)}
		})
	}
	if err := os.WriteFile("COVERAGE.md", b.Bytes(), 0o644); err != nil {
		t.Fatal(err)
	}
}

// TestCoverage writes COVERAGE.md with -update, holds its rows to what the doc comments
// say, and makes some of one anew.
func TestCoverage(t *testing.T) {
	if *update {
		updateCoverage(t)
	}
	rows, _ := coverageRows(t)
	checked := 0
	row := func(setting, name string, n int) []float64 {
		x := rows[setting+" | "+name]
		if len(x) != n {
			t.Errorf("COVERAGE.md has no row %s, %s", setting, name)
			return nil
		}
		checked++
		return x
	}
	for _, set := range calibrationSets {
		for _, name := range calibrationNames {
			// Chi-squared on 19: 43.8 once in a thousand; the mean within 3.3 errors.
			if x := row(set.String(), name, 6); x != nil && (x[1] > 43.8 || math.Abs(x[2]) > 3.3) {
				t.Errorf("published: %s, %s: chi-squared %v, mean off by %v errors", set, name, x[1], x[2])
			}
		}
	}
	// What Posterior's doc comment says of areas.
	for _, set := range fixedSets {
		for _, name := range fixedNames[:3] {
			least, most := 86.5, 92.5
			switch {
			case set.homes == 2:
				least = 84
			case set.tau < 0.2:
				least, most = 93, 97
			case set.differ > 0.2: // far more than is taken for granted
				least = 74
			case set.areas == 1: // as many intervals as replications
				least, most = 86, 94
			case set.areas == 12:
				least = 88
			}
			if x := row(set.String()+", fixed", name, 6); x != nil && (x[1] < least || x[1] > most) {
				t.Errorf("published: %s, %s: %v %% held", set, name, x[1])
			}
		}
	}
	for _, s := range noiseSets {
		held, bias := 97.5, 0.01
		if s.winter {
			held, bias = 99.4, 0.015
			if s.learned == yearBefore {
				bias = 0.02 // a winter is not like the one before, as Posterior's doc comment says
			}
		}
		x := row(s.name, noiseQuantity, 14)
		if x == nil {
			continue
		}
		if x[1] < 93 || x[1] > held || math.Abs(x[4]) > bias {
			t.Errorf("published, %s: held %v %%, bias %v", s.name, x[1], x[4])
		}
		most := 92.0
		if s.learned == sameYear { // what homes share of a known winter is less than said
			most = 94.5
		}
		if means := x[13]; means < 88 || means > most { // of areas, as Posterior's doc comment says
			t.Errorf("published, %s: areas' means held %v %%", s.name, means)
		}
	}
	if want := 6*len(calibrationSets) + 3*len(fixedSets) + len(noiseSets); checked != want && !t.Failed() {
		t.Errorf("%d rows, not %d", checked, want)
	}
	if testing.Short() {
		return
	}
	// Fewer replications of one say the same, within four standard errors of areas that
	// are not quite independent.
	for _, r := range fixedCoverage(fixedSets[1], 30, 0)[:3] {
		if x := rows[r.setting+", fixed | "+r.quantity]; x != nil {
			if h := x[1] / 100; math.Abs(r.held-h) > 4*math.Sqrt(h*(1-h)*2/float64(r.intervals)) {
				t.Errorf("%s, %s: %v held, %v published", r.setting, r.quantity, r.held, h)
			}
		}
	}
}
