package lognormal

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"math"
	"strconv"
	"testing"

	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/internal/reftest"
)

// TestOthersData holds fits to published ones of data that are other people's and that
// the project does not contain: a folder of them is named by RADONYEAR_OTHERS_DATA.
func TestOthersData(t *testing.T) {
	for _, c := range []struct {
		file         string
		mean, sd     float64 // of logarithms
		am           float64 // 0: not published
		lower, upper float64 // of the arithmetic mean
		gm           [2]float64
		ordered      float64 // the mean by regression on order statistics
		unbiased     float64 // the quasi unbiased mean; 0: not published
		rel          float64
	}{
		// USEPA 2009, Unified Guidance EPA 530/R-09-007, example 15-1: 25 values of manganese,
		// limits at 2 and 5.
		{"epa09_manganese.csv", 2.215905, 1.356291, 23.003987, 12.37629, 69.87694, [2]float64{1.595062, 2.771197}, 19.8276733285983, 21.566945, 1e-6},
		// Helsel and Cohn 1988, Water Resour. Res. 24:1997 (from memory): 56 values of silver, several limits;
		// the fits by two programs in R.
		{"helsel_cohn_silver.csv", -1.0405716, 2.3548467, 0, 1.8837, 50.576, [2]float64{}, 12.5326827809271, 0, 3e-5},
	} {
		rows, err := csv.NewReader(bytes.NewReader(reftest.Others(t, c.file))).ReadAll()
		if err != nil {
			t.Fatal(err)
		}
		var obs []Observation
		for _, r := range rows[1:] {
			x, err := strconv.ParseFloat(r[0], 64)
			if err != nil {
				t.Fatal(err)
			}
			if r[1] == "1" {
				obs = append(obs, Below(x))
			} else {
				obs = append(obs, Exact(x))
			}
		}
		r, err := Fit(obs, FitOptions{Method: ProfileLikelihood})
		if err != nil || r.Mean == nil {
			t.Fatal(c.file, r.Notes, err)
		}
		agree(t, c.file+", mean of logs", r.MeanLog, c.mean, max(c.rel, 5e-7))
		agree(t, c.file+", sd of logs", r.SDLog, c.sd, max(c.rel, 5e-7))
		agree(t, c.file+", lower", r.Mean.Lower, c.lower, c.rel)
		agree(t, c.file+", upper", r.Mean.Upper, c.upper, c.rel)
		if c.am > 0 {
			agree(t, c.file+", mean", r.Mean.Value, c.am, c.rel)
			agree(t, c.file+", lower of the log mean", math.Log(r.GM.Lower), c.gm[0], c.rel)
			agree(t, c.file+", upper of the log mean", math.Log(r.GM.Upper), c.gm[1], c.rel)
		}
		agree(t, c.file+", mean by order statistics", orderStatistics(t, obs).Mean, c.ordered, 1e-12)
		// Finney's unbiased mean of as many known values, with the censored likelihood's mean
		// and standard deviation in their place. No result gives it: its shape is the
		// fit's, and it has no interval, so that it tells a reader nothing beside the fit.
		if c.unbiased > 0 {
			agree(t, c.file+", quasi unbiased mean", math.Exp(r.MeanLog+logUnbiased(len(obs), r.SDLog)), c.unbiased, c.rel)
		}
	}

	// NIST StRD, univariate summary statistics: certified values.
	var sets map[string]json.RawMessage
	if err := json.Unmarshal(reftest.Others(t, "published", "nist_univ.json"), &sets); err != nil {
		t.Fatal(err)
	}
	for _, c := range []struct {
		name     string
		n        int
		mean, sd float64
	}{
		{"lew", 200, -177.435, 277.332168044316},
		{"lottery", 218, 518.958715596330, 291.699727470969},
		{"mavro", 50, 2.001856, 0.000429123454003053},
	} {
		var set struct{ X []float64 }
		if err := json.Unmarshal(sets[c.name], &set); err != nil || len(set.X) != c.n {
			t.Fatalf("%s: %d values, %v", c.name, len(set.X), err)
		}
		m, sd := numeric.Moments(set.X)
		agree(t, c.name+", mean", m, c.mean, 1e-14)
		agree(t, c.name+", sd", sd, c.sd, 1e-12)
	}
}
