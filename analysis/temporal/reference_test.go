package temporal

import (
	"encoding/json"
	"testing"

	"radonyear/analysis/internal/reftest"
)

// referenceHome is a case's profile and home.
func referenceHome(t *testing.T, c reftest.Case) (*Profile, Home) {
	var in struct {
		Mean      [Harmonics]float64 `json:"season_mean"`
		SD        [Harmonics]float64 `json:"season_sd"`
		Drift     []Component        `json:"drift"`
		DayNoise  float64            `json:"day_noise"`
		Detectors json.RawMessage    `json:"detectors"`
		Prior     *Normal            `json:"prior"`
		From      int                `json:"from"`
		To        int                `json:"to"`
		Work      *struct {
			Season    float64 `json:"season"`
			OwnSeason float64 `json:"own_season"`
			Drift     float64 `json:"drift"`
			OwnDrift  float64 `json:"own_drift"`
		} `json:"work"`
		Obs []struct {
			First      int     `json:"first"`
			Last       int     `json:"last"`
			FirstShare float64 `json:"first_share"`
			LastShare  float64 `json:"last_share"`
			Log        float64 `json:"log"`
			Variance   float64 `json:"variance"`
			Detector   int     `json:"detector"`
			Worked     bool    `json:"worked"`
		} `json:"observations"`
	}
	if err := json.Unmarshal(c.Input, &in); err != nil {
		t.Fatal(c.Name, err)
	}
	p := BuiltIn(false)
	p.Season.Mean, p.Drift, p.DayNoise = in.Mean, in.Drift, in.DayNoise
	for i, sd := range in.SD {
		p.Season.Cov[i][i] = sd * sd
	}
	h := Home{Rooms: 1, Prior: in.Prior, From: in.From, To: in.To}
	if w := in.Work; w != nil {
		h.Work = &Work{Season: w.Season, OwnSeason: w.OwnSeason, Drift: w.Drift, OwnDrift: w.OwnDrift}
	}
	if json.Unmarshal(in.Detectors, &h.Detectors) != nil { // one detector comes as a number
		h.Detectors = make([]float64, 1)
		if err := json.Unmarshal(in.Detectors, &h.Detectors[0]); err != nil {
			t.Fatal(c.Name, err)
		}
	}
	for _, o := range in.Obs {
		h.Observations = append(h.Observations, Observation{First: o.First, Last: o.Last, FirstShare: o.FirstShare, LastShare: o.LastShare, Log: o.Log, Variance: o.Variance, Detector: o.Detector, Worked: o.Worked})
	}
	return p, h
}

// TestPosteriorReference holds the filter to the same model as one dense
// Gaussian in R: testdata/reference/posterior.R.
func TestPosteriorReference(t *testing.T) {
	f, err := reftest.Read("posterior.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range f.Cases {
		p, h := referenceHome(t, c)
		post, err := p.Posterior(h)
		if err != nil {
			t.Fatal(c.Name, err)
		}
		for _, bad := range c.Check(map[string]float64{"log_median": post.LogMedian, "log_sd": post.LogSD, "mean": post.Mean}) {
			t.Error(bad)
		}
	}
}

// TestPairReference holds a year without a system and with it to the same model as one
// dense Gaussian in R, day means and long results alike: testdata/reference/pair.R.
func TestPairReference(t *testing.T) {
	f, err := reftest.Read("pair.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range f.Cases {
		p, h := referenceHome(t, c)
		pair, err := p.Pair(h)
		if err != nil {
			t.Fatal(c.Name, err)
		}
		if pair.Without.Scale != 1 {
			t.Errorf("%s: a restless home is not what R was asked for", c.Name)
		}
		for _, bad := range c.Check(map[string]float64{"without": pair.Without.LogMedian, "without_sd": pair.Without.LogSD,
			"with": pair.With.LogMedian, "with_sd": pair.With.LogSD, "log_ratio": pair.LogRatio, "ratio_sd": pair.RatioSD}) {
			t.Error(bad)
		}
	}
}
