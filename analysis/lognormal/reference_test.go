package lognormal

import (
	"encoding/json"
	"fmt"
	"math"
	"strconv"
	"strings"
	"testing"

	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/internal/reftest"
)

// TestReference holds shape and censored fits to R, and what follows from complete
// data to high-precision quadrature. The cases' names say which function is meant.
func TestReference(t *testing.T) {
	seen := map[string]int{}
	for _, name := range []string{"lognormal.json", "lognormal-exact.json", "lognormal-threshold.json", "lognormal-tolerance.json"} {
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
	for kind, least := range map[string]int{"w": 17, "p": 17, "plot": 17, "survreg": 8, "fitdistcens": 4, "profile": 10, "nct": 28, "land": 12, "limits": 4, "threshold": 3, "tolerance": 8} {
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
		for name, e := range map[string]struct{ Lower, Value, Upper float64 }{
			"gm":       {r.GM.Lower, r.GM.Value, r.GM.Upper},
			"gsd":      {r.GSD.Lower, r.GSD.Value, r.GSD.Upper},
			"am":       {r.Mean.Lower, r.Mean.Value, r.Mean.Upper},
			"above100": {r.Above[0].Fraction.Lower, r.Above[0].Fraction.Value, r.Above[0].Fraction.Upper},
			"q90":      {r.Quantiles[0].Quantile.Lower, r.Quantiles[0].Quantile.Value, r.Quantiles[0].Quantile.Upper},
		} {
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
		}, "threshold"
	case what == "two-sided tolerance":
		s, err := FromLogs(in.N, 4, 1)
		must(err)
		r, err := TwoSidedTolerance(s, in.P, Options{in.Confidence})
		must(err)
		return map[string]float64{"factor": r.Factor, "howe": r.Howe}, "tolerance"
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
