package temporal

import (
	"encoding/json"
	"testing"

	"radonyear/analysis/internal/reftest"
)

// TestPosteriorReference holds the filter to the same model as one dense
// Gaussian in R: testdata/reference/posterior.R.
func TestPosteriorReference(t *testing.T) {
	f, err := reftest.Read("posterior.json")
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range f.Cases {
		var in struct {
			Mean      [Harmonics]float64 `json:"season_mean"`
			SD        [Harmonics]float64 `json:"season_sd"`
			Drift     []Component        `json:"drift"`
			DayNoise  float64            `json:"day_noise"`
			Detectors json.RawMessage    `json:"detectors"`
			Prior     *Normal            `json:"prior"`
			From      int                `json:"from"`
			To        int                `json:"to"`
			Obs       []struct {
				First      int     `json:"first"`
				Last       int     `json:"last"`
				FirstShare float64 `json:"first_share"`
				LastShare  float64 `json:"last_share"`
				Log        float64 `json:"log"`
				Variance   float64 `json:"variance"`
				Detector   int     `json:"detector"`
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
		if json.Unmarshal(in.Detectors, &h.Detectors) != nil { // one detector comes as a number
			h.Detectors = make([]float64, 1)
			if err := json.Unmarshal(in.Detectors, &h.Detectors[0]); err != nil {
				t.Fatal(c.Name, err)
			}
		}
		for _, o := range in.Obs {
			h.Observations = append(h.Observations, Observation{First: o.First, Last: o.Last, FirstShare: o.FirstShare, LastShare: o.LastShare, Log: o.Log, Variance: o.Variance, Detector: o.Detector})
		}
		post, err := p.Posterior(h)
		if err != nil {
			t.Fatal(c.Name, err)
		}
		for _, bad := range c.Check(map[string]float64{"log_median": post.LogMedian, "log_sd": post.LogSD, "mean": post.Mean}) {
			t.Error(bad)
		}
	}
}
