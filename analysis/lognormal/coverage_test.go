package lognormal

import (
	"flag"
	"fmt"
	"strings"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/internal/reftest"
)

var (
	update        = flag.Bool("update", false, "write COVERAGE.md anew, with 4000 trials a setting")
	settingsAsked = flag.String("settings", "", "with -update, remake only the settings that match this regular expression")
)

const publishedTrials = 4000

// introduction stands above the published table.
var introduction = fmt.Sprintf("%d samples a setting (bca: %d, with 2000 resamples each), log-normal, geometric mean 100 Bq/m³. Asked for: 95 %%.\n\n", publishedTrials, publishedTrials/4) +
	"Held: intervals that held the truth; under and over: with the truth under the lower limit and over the upper. Answered: samples with an interval; where fewer than two lie above the limit there is none, where more than 80 % lie below it none of the mean, the geometric mean and deviation and of a quantile below the lowest value known. An open upper limit is counted as any other. Where that of the mean is open, describe gives no mean and tells its lower limit: mean with upper limit is the means that are left, which may hold less than all of them do, of ten homes and fewer, or with more than 60 % below the limit, and by the default. Share above is of a level that 10 % of homes are above, share far above of one that 2 % are; with 88 % below the limit, the first lies just above that, and the few samples of which a mean, a geometric mean or deviation is given are those that by chance have fewer below than there are. Outdoors: so much was added to every value before its error, and taken off again. Rounded, in classes (borders at 50, 100, 200 and 400 Bq/m³): no more than that is known of a value. Width: median of upper limit over lower, +Inf where most upper limits are open; of a threshold, the difference, Bq/m³. The default for complete samples is land for the mean, of two values no mean at all, and adjusted-likelihood for any other sample. Made by `go test -run TestCoverage ./analysis/lognormal -args -update`."

// remake writes the table anew, or only the rows of the settings that -settings names.
func remake() error {
	asked, kept, err := reftest.PartOfCoverage(*settingsAsked)
	if err != nil {
		return err
	}
	settings := CoverageSettings()
	rows := make([][]analysis.CoverageRow, len(settings))
	numeric.Each(len(settings), func(i int) {
		if name := settings[i].String(); asked(name) {
			rows[i] = CoverageTable(settings[i], publishedTrials)
		} else {
			rows[i] = kept(name)
		}
	})
	return reftest.WriteCoverage(introduction, rows)
}

// TestCoverage: the published table keeps the promise wherever the doc comments do
// not say otherwise, and the first of its samples say the same.
func TestCoverage(t *testing.T) {
	if *update {
		if err := remake(); err != nil {
			t.Fatal(err)
		}
	}
	published, err := reftest.ReadCoverage()
	if err != nil {
		t.Fatal(err)
	}

	for _, c := range CoverageSettings() {
		rows := 0
		for key := range published {
			if strings.HasSuffix(key, " | "+c.String()) {
				rows++
			}
		}
		want := 10 // five quantities by two likelihoods
		switch {
		case c.Threshold > 0:
			want = 1
		case c.N == 2: // no mean by Land; neither is resampled
			want = 9
		case c.N < 5 && c.complete():
			want = 10
		case c.complete():
			want = 11
		}
		if c.N > 2 && c.N <= 10 || c.Censored > 0.6 { // means with an upper limit
			want++
		}
		if c.Censored > mostly { // and what lies far above the limit
			want += 4
		}
		if rows != want {
			t.Errorf("%v: %d rows of %d", c, rows, want)
		}
	}
	for key, r := range published {
		b := promise(r)
		if r.Held < b.least-1e-9 || r.Held > b.most+1e-9 || r.Under > b.under+1e-9 || r.Over > b.over+1e-9 {
			t.Errorf("%s: held %v, under %v, over %v; promised is %+v", key, r.Held, r.Under, r.Over, b)
		}
	}
	for key, r := range published {
		least, most := 0.0, 1.0
		switch {
		case r.Quantity != closedMean || r.Method != string(AdjustedLikelihood):
			continue
		case !strings.Contains(r.Setting, "below the limit"):
			least = 0.91
		case strings.HasPrefix(r.Setting, "5 homes"):
			least, most = 0.17, 0.75
		case strings.HasPrefix(r.Setting, "10 homes") && strings.Contains(r.Setting, "75 %"):
			least, most = 0.33, 0.5
		case strings.HasPrefix(r.Setting, "10 homes"):
			least, most = 0.55, 0.995
		}
		if r.Answered < least || r.Answered > most {
			t.Errorf("%s: a mean is given for %v", key, r.Answered)
		}
	}
	if len(published) < 400 {
		t.Errorf("%d rows", len(published))
	}

	settings := []CoverageSetting{{N: 10, GSD: 3}, {N: 10, GSD: 2, Censored: 0.3}, {N: 20, GSD: 2, Censored: 0.3, Error: 0.2}, {N: 50, GSD: 2, Threshold: 20}}
	if testing.Short() {
		settings = settings[:1]
	}
	const trials = 400
	found := make([][]analysis.CoverageRow, len(settings))
	numeric.Each(len(settings), func(i int) { found[i] = CoverageTable(settings[i], trials) })
	for _, bad := range reftest.CoverageDiffers(published, found) {
		t.Error(bad)
	}
}

// promised is what the doc comments say of a row.
type promised struct{ least, most, under, over float64 }

// promise: 93 to 97 %, and no more than 4 % on a side, but where the doc comments own
// to something else.
func promise(r analysis.CoverageRow) promised {
	var n int
	if _, err := fmt.Sscanf(r.Setting, "%d homes", &n); err != nil {
		return promised{least: 2}
	}
	sixty := strings.Contains(r.Setting, "60 %")
	b := promised{0.93, 0.97, 0.04, 0.04}
	switch {
	case strings.Contains(r.Setting, "75 %"):
		return promise75(r, n)
	case strings.Contains(r.Setting, "88 %"):
		return promise88(r, n)
	case strings.Contains(r.Setting, "outdoors"):
		return promiseOutdoors(r)
	case r.Method == string(AdjustedLikelihood) && (strings.Contains(r.Setting, "10 homes, GSD 2, rounded to 100") || r.Setting == "10 homes, GSD 1.5, errors of 30 %" && r.Quantity == "GSD"):
		return promised{0.965, 0.985, 0.03, 0.01}
	case r.Method == string(ProfileLikelihood) && n == 10 && !sixty && !strings.Contains(r.Setting, "below"):
		return promised{0.92, 0.985, 0.07, 0.07}
	}
	switch r.Method {
	case "clopper-pearson": // never below what is asked for, often above
		b = promised{0.945, 1, 0.03, 0.03}
	case "bca":
		b = promised{map[int]float64{5: 0.675, 10: 0.775, 20: 0.83, 50: 0.87}[n], map[int]float64{5: 0.82, 10: 0.85, 20: 0.90, 50: 0.94}[n], 0.05, 0.32}
	case string(MOVER), string(Generalized):
		switch {
		case n < 5:
			b = promised{0.885, 0.96, 0.092, 0.04}
		case n == 5:
			b = promised{0.935, 0.96, 0.044, 0.04}
		default:
			b.least, b.most = 0.935, 0.96
		}
	case string(Profile):
		b = map[int]promised{2: {0.735, 0.755, 0.1, 0.2}, 3: {0.84, 0.855, 0.05, 0.13}, 4: {0.865, 0.895, 0.045, 0.1}, 5: {0.9, 0.915, 0.04, 0.07},
			10: {0.925, 0.93, 0.04, 0.05}, 20: {0.94, 0.955, 0.04, 0.04}, 50: {0.94, 0.955, 0.04, 0.04}}[n]
	case string(AdjustedLikelihood):
		b.least = 0.94
		if n == 5 || n == 10 && sixty {
			b.most = 0.98
		}
		if r.Quantity == closedMean && sixty && n == 10 {
			b.under = 0.041
		} else if r.Quantity == closedMean && sixty && n == 5 {
			b = promised{0.92, 0.945, 0.07, 0.04}
		}
	case string(Land):
		if r.Quantity == closedMean && n == 3 {
			b = promised{0.885, 0.94, 0.035, 0.085}
		}
	case string(ProfileLikelihood):
		b = promised{0.925, 0.965, 0.06, 0.06}
		if n == 5 {
			b = promised{0.905, 0.94, 0.09, 0.09}
		}
	case "threshold":
		b = promised{0.905, 0.955, 0.085, 0.015}
	}
	return b
}

// promiseOutdoors is promise where an outdoor level is taken off: the error of the excess
// is not log-normal, which an error of 20 % with as much outdoors as in the homes shows.
func promiseOutdoors(r analysis.CoverageRow) promised {
	plain := r.Method == string(ProfileLikelihood)
	if strings.Contains(r.Setting, "errors of 20 %") {
		switch b := map[string]promised{"GM": {0.63, 0.66, 0.37, 0.01}, "GSD": {0.69, 0.745, 0.01, 0.305}, "mean": {0.825, 0.835, 0.17, 0.01}}; {
		case b[r.Quantity].least > 0:
			return b[r.Quantity]
		}
		return promised{0.91, 0.925, 0.04, 0.055}
	}
	if plain {
		return promised{0.9, 0.965, 0.06, 0.09}
	}
	return promised{0.935, 0.965, 0.04, 0.06}
}

// promise75 is promise where three in four lie below the limit.
func promise75(r analysis.CoverageRow, n int) promised {
	switch {
	case r.Method == string(ProfileLikelihood):
		return promised{0.925, 0.97, 0.07, 0.07}
	case r.Quantity == closedMean && n == 10:
		return promised{0.925, 0.965, 0.07, 0.04}
	case n == 10:
		return promised{0.945, 0.985, 0.04, 0.04}
	}
	return promised{0.945, 0.975, 0.04, 0.04}
}

// promise88 is promise where more lie below the limit than leave a mean, but by chance.
func promise88(r analysis.CoverageRow, n int) promised {
	plain := r.Method == string(ProfileLikelihood)
	few := func(adjusted20, adjusted50, plain20, plain50 promised) promised {
		return map[bool]map[int]promised{false: {20: adjusted20, 50: adjusted50}, true: {20: plain20, 50: plain50}}[plain][n]
	}
	switch r.Quantity {
	case "mean", closedMean:
		return few(promised{0.84, 0.925, 0.16, 0.01}, promised{0.6, 0.755, 0.395, 0.01}, promised{0.81, 0.83, 0.19, 0.01}, promised{0.49, 0.65, 0.51, 0.01})
	case "GM":
		return few(promised{0.945, 0.955, 0.055, 0.01}, promised{0.84, 0.86, 0.16, 0.01}, promised{0.86, 0.87, 0.14, 0.01}, promised{0.755, 0.77, 0.245, 0.01})
	case "GSD":
		return few(promised{0.965, 0.975, 0.01, 0.025}, promised{0.925, 0.95, 0.015, 0.07}, promised{0.92, 0.94, 0.01, 0.075}, promised{0.88, 0.915, 0.01, 0.115})
	}
	if plain {
		return promised{0.925, 0.965, 0.065, 0.06}
	}
	return promised{0.94, 0.975, 0.06, 0.02}
}
