package lognormal

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/internal/reftest"
)

// TestReference holds shape and censored fits to R, and what follows from complete
// data to high-precision quadrature. The cases' names say which function is meant.
func TestReference(t *testing.T) {
	seen := map[string]int{}
	for _, name := range []string{"lognormal.json", "lognormal-exact.json", "lognormal-threshold.json", "lognormal-tolerance.json", "lognormal-limits.json"} {
		file, err := reftest.Read(name)
		if err != nil {
			t.Fatal(err)
		}
		for _, c := range file.Cases {
			got, kind := answer(t, c)
			seen[kind]++
			for _, bad := range c.Check(got) {
				t.Error(bad)
			}
		}
	}
	for kind, least := range map[string]int{"w": 17, "p": 17, "plot": 17, "survreg": 8, "fitdistcens": 4, "profile": 10, "nct": 28, "land": 12, "limits": 4, "threshold": 3, "tolerance": 8, "logs": 15, "counted": 100} {
		if seen[kind] < least {
			t.Errorf("%d cases of %q, fewer than %d", seen[kind], kind, least)
		}
	}
}

func answer(t *testing.T, c reftest.Case) (got map[string]float64, kind string) {
	t.Helper()
	var in struct {
		X                   []float64
		Sweep               int
		Lower, Upper, Error []float64
		Method              string
		Nu, Delta, S        float64
		N                   int
		P, Confidence       float64
		Above, Of           float64
	}
	if err := json.Unmarshal(c.Input, &in); err != nil {
		t.Fatal(err)
	}
	for i := 1; i <= in.Sweep; i++ {
		in.X = append(in.X, 10+float64(7919*i%5003))
	}
	var obs []Observation
	for _, x := range in.X {
		obs = append(obs, Exact(x))
	}
	for i := range in.Lower {
		if in.Upper[i] == 0 {
			in.Upper[i] = math.Inf(1)
		}
		obs = append(obs, Observation{in.Lower[i], in.Upper[i], in.Error[i]})
	}
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatalf("%s: %v", c.Name, err)
		}
	}
	what, _, _ := strings.Cut(c.Name, ":")
	switch {
	case what == "W" || what == "p of W" || what == "plot":
		r, err := Shape(obs)
		must(err)
		if what == "W" {
			return map[string]float64{"w": r.Shapiro.Statistic}, "w"
		}
		if what == "p of W" {
			return map[string]float64{"p": r.Shapiro.P}, "p"
		}
		got = map[string]float64{"correlation": r.Correlation}
		if r.Anderson != nil {
			got["a2"], got["a2_p"] = r.Anderson.Statistic, r.Anderson.P
		}
		return got, "plot"
	case what == "survreg" || what == "survreg, likelihood" || what == "fitdistcens":
		r, err := Fit(obs, FitOptions{Method: ProfileLikelihood})
		must(err)
		if what == "survreg, likelihood" {
			return map[string]float64{"loglik": r.LogLikelihood}, "survreg"
		}
		return map[string]float64{"meanlog": r.MeanLog, "sdlog": r.SDLog}, what
	case strings.HasSuffix(what, "likelihood"):
		r, err := Fit(obs, FitOptions{Method: FitMethod(in.Method), Levels: []float64{100}, Quantiles: []float64{0.9}})
		must(err)
		got = map[string]float64{}
		all := map[string]*analysis.Estimate{"gm": r.GM, "gsd": r.GSD, "am": r.Mean, "above100": &r.Above[0].Fraction, "q90": &r.Quantiles[0].Quantile}
		if r.Mean == nil { // not given, because its upper limit is as good as open there too
			if !(c.Want["am_upper"] > beyond*c.Want["am"]) {
				t.Errorf("%s: no mean, where the upper limit is %v", c.Name, c.Want["am_upper"])
			}
			for _, name := range []string{"am_lower", "am", "am_upper"} {
				delete(c.Want, name)
			}
			delete(all, "am")
		}
		for name, e := range all {
			got[name+"_lower"], got[name], got[name+"_upper"] = e.Lower, e.Value, e.Upper
			if want := c.Want[name+"_upper"]; math.IsInf(e.Upper, 1) && want > beyond*c.Want[name] {
				got[name+"_upper"] = want // given as open
			}
			if want := c.Want[name+"_lower"]; e.Lower == 0 && want < c.Want[name]/beyond {
				got[name+"_lower"] = want
			}
		}
		return got, "profile"
	case strings.HasPrefix(what, "noncentral t"):
		got = map[string]float64{}
		d := numeric.NoncentralT{Nu: in.Nu, Delta: in.Delta}
		for name := range c.Want {
			side, at, _ := strings.Cut(name, " ")
			x, err := strconv.ParseFloat(at, 64)
			must(err)
			if got[name] = d.CDF(x); side == "above" {
				got[name] = d.Survival(x)
			}
		}
		return got, "nct"
	case strings.HasPrefix(what, "Land's constant"):
		s, err := FromLogs(in.N, 0, in.S)
		must(err)
		got = map[string]float64{}
		for name := range c.Want {
			p, err := strconv.ParseFloat(name, 64)
			must(err)
			b, err := landLimit(s, p)
			must(err)
			got[name] = (b - in.S*in.S/2) * math.Sqrt(float64(in.N-1)) / in.S
		}
		return got, "land"
	case what == "threshold":
		r, err := Threshold(in.X, Options{})
		must(err)
		return map[string]float64{
			"threshold": r.Threshold.Value, "lower": r.Threshold.Lower, "upper": r.Threshold.Upper,
			"meanlog": r.MeanLog, "sdlog": r.SDLog, "loglik": r.LogLikelihood, "without": r.Without,
			"moments_threshold": r.Moments.Threshold, "moments_meanlog": r.Moments.MeanLog, "moments_sdlog": r.Moments.SDLog,
		}, "threshold"
	case what == "two-sided tolerance":
		s, err := FromLogs(in.N, 4, 1)
		must(err)
		r, err := TwoSidedTolerance(s, in.P, Options{in.Confidence})
		must(err)
		return map[string]float64{"factor": r.Factor, "howe": r.Howe}, "tolerance"
	case what == "limits of logs":
		s, err := NewSample(in.X)
		must(err)
		o := Options{in.Confidence}
		gm, err := GeometricMean(s, o)
		must(err)
		gsd, err := GeometricSD(s, o)
		must(err)
		next, err := NextHome(s, o)
		must(err)
		return map[string]float64{
			"gm_lower": gm.Lower, "gm": gm.Value, "gm_upper": gm.Upper, "gsd_lower": gsd.Lower, "gsd": gsd.Value, "gsd_upper": gsd.Upper,
			"next_lower": next.Lower, "next_upper": next.Upper,
		}, "logs"
	case what == "counted":
		lower, upper := numeric.ClopperPearson(in.Above, in.Of, (1-in.Confidence)/2)
		if in.Of == math.Trunc(in.Of) {
			e, err := Counted(int(in.Above), int(in.Of), 200, Options{in.Confidence})
			must(err)
			if e.Lower != lower || e.Upper != upper {
				t.Errorf("%s: counted %v to %v, by number %v to %v", c.Name, e.Lower, e.Upper, lower, upper)
			}
		}
		return map[string]float64{"lower": lower, "upper": upper}, "counted"
	case strings.HasPrefix(what, "limits of"):
		s, err := NewSample(in.X)
		must(err)
		got = map[string]float64{}
		for _, m := range []MeanMethod{Land, Generalized} {
			for _, conf := range []float64{0.9, 0.95} {
				r, err := Mean(s, MeanOptions{Confidence: conf, Method: m})
				must(err)
				got[fmt.Sprintf("%s %.3g", m, (1-conf)/2)] = r.Mean.Lower
				got[fmt.Sprintf("%s %.3g", m, (1+conf)/2)] = r.Mean.Upper
			}
		}
		return got, "limits"
	}
	t.Fatalf("%s: no such kind of case", c.Name)
	return nil, ""
}
