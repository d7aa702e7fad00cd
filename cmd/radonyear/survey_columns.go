package main

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"radonyear/analysis"
	"radonyear/analysis/survey"
	"radonyear/cmd/radonyear/internal/report"
)

// Columns that ride along in the files, for what homes have and the model uses: what
// they are described by, and how well their results are known.

// parseColumns reads --covariates and --test-error.
func (q *communityQuestion) parseColumns(covariates, testError string) error {
	q.testError = testError
	if testError == "" {
		return usageError{"--test-error says nothing", "--test-error profile, none, or the name of a column"}
	}
	if covariates == "" {
		return nil
	}
	for name := range strings.SplitSeq(covariates, ",") {
		name = strings.TrimSpace(name)
		switch {
		case name == "":
			return usageError{fmt.Sprintf("--covariates %q names a column that has no name", covariates), "--covariates floor,soil"}
		case slices.Contains(q.covariates, name):
			return usageError{fmt.Sprintf("--covariates names %s twice", name), "name each column once"}
		}
		q.covariates = append(q.covariates, name)
	}
	return nil
}

// byColumn says whether homes' errors stand in a column of the files.
func (q communityQuestion) byColumn() bool { return q.testError != "profile" && q.testError != "none" }

// needs are the columns without which a home cannot be used, by option.
func (q communityQuestion) needs() (columns [][2]string) {
	if q.by != "area" {
		columns = append(columns, [2]string{"by", q.by})
	}
	for _, name := range q.covariates {
		columns = append(columns, [2]string{"covariates", name})
	}
	if q.byColumn() {
		columns = append(columns, [2]string{"test-error", q.testError})
	}
	return columns
}

// statedError is a result's relative standard error as its column has it.
func statedError(column, text string) (float64, error) {
	x, err := parseRelative(strings.Replace(text, ",", ".", 1))
	if err != nil || x == 0 {
		return 0, fmt.Errorf("%s is %q, not a relative standard error: 20%% or 0.2", column, text)
	}
	return x, nil
}

const mostValues = 20 // of a covariate in words

// describe gives homes their covariates, a number as that and words as 0 or 1 for each
// but the most frequent, and says which that is.
func (q communityQuestion) describe(homes []survey.Home, extra []map[string]string, comma bool) (names []string, notes []analysis.Note, err error) {
	for _, column := range q.covariates {
		numbers := make([]float64, len(homes))
		allNumbers := true
		count := map[string]int{}
		for i := range homes {
			text := extra[i][column]
			count[text]++
			if comma {
				text = strings.Replace(text, ",", ".", 1)
			}
			x, err := strconv.ParseFloat(text, 64)
			if err != nil || math.IsNaN(x) || math.IsInf(x, 0) {
				allNumbers = false
			}
			numbers[i] = x
		}
		values := make([]string, 0, len(count))
		for v := range count {
			values = append(values, v)
		}
		slices.Sort(values)
		if len(values) == 1 {
			return nil, nil, hinted{fmt.Errorf("--covariates %s: it is %q for every home, so what it does cannot be told", column, values[0]), "leave it out"}
		}
		if allNumbers {
			names = append(names, column)
			for i := range homes {
				homes[i].Covariates = append(homes[i].Covariates, numbers[i])
			}
			continue
		}
		if len(values) > mostValues {
			return nil, nil, hinted{fmt.Errorf("--covariates %s: it holds %d different words, among them %q and %q; more than %d are no description of kinds of homes", column, len(values), values[0], values[1], mostValues),
				"give a column of fewer kinds, or of numbers alone"}
		}
		base := slices.MaxFunc(values, func(a, b string) int {
			if d := count[a] - count[b]; d != 0 {
				return d
			}
			return strings.Compare(b, a)
		})
		for _, v := range values {
			if v == base {
				continue
			}
			names = append(names, column+"="+v)
			for i := range homes {
				x := 0.0
				if extra[i][column] == v {
					x = 1
				}
				homes[i].Covariates = append(homes[i].Covariates, x)
			}
		}
		notes = append(notes, analysis.Note{Code: "covariate-base", Text: fmt.Sprintf("%s: what it does is said against homes with %q, the most frequent.", column, base)})
	}
	return names, notes, nil
}

// covariateSentence says what each covariate does, as a factor.
func covariateSentence(fixed []survey.Term, confidence float64, z float64) string {
	var parts []string
	for _, t := range fixed[1:] {
		number := func(x float64) string { return report.Number(math.Exp(x)) }
		unit := " a unit"
		if strings.Contains(t.Term, "=") {
			unit = ""
		}
		parts = append(parts, fmt.Sprintf("%s%s × %s (%g %% interval %s-%s)", t.Term, unit, number(t.Value), round(100*confidence), number(t.Value-z*t.SE), number(t.Value+z*t.SE)))
	}
	return "Homes of one area differ by covariates: " + strings.Join(parts, ", ") + "."
}
