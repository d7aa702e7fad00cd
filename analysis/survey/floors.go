package survey

import (
	"fmt"
	"math"
	"slices"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/lognormal"
)

// The names of the methods for floors, as in Estimate.Method.
const (
	FloorRatio = "floor-ratio"
	FloorMean  = "floor-mean"
)

// FloorPair is one home measured on two floors, or in two rooms, at once: the means
// over the time that both were.
type FloorPair struct {
	Home     string
	From, To float64 // Bq/m³
	Days     float64 // that both were measured
	Same     float64 // the part that these are of the longer of the two records used, 0 to 1
}

// LeastPairDays is how long two floors have to be measured at once for a ratio: 48
// hours, less the two that test protocols allow.
const LeastPairDays = 46.0 / 24

// PairFloors takes the readings of one home on two floors to the means over the time
// that both were measured. A reading counts by how much of its time the other floor
// was measured in, so one of weeks may say something of other weeks as well: Same says
// how far. It is an error where no time is in common, or a reading that counts lies
// below its limit or is 0, for then there is no ratio.
func PairFloors(from, to []analysis.Series) (FloorPair, error) {
	if len(from) == 0 || len(to) == 0 {
		return FloorPair{}, fmt.Errorf("only one of the two floors was measured")
	}
	p := FloorPair{Home: from[0].Home}
	a, b := measured(from), measured(to)
	for _, s := range a {
		p.Days += overlap(b, s.from, s.to) / 24
	}
	if p.Days < LeastPairDays {
		return p, fmt.Errorf("the two floors were measured at once for %.3g days only; a ratio takes the 46 hours of the shortest test", p.Days)
	}
	longest := 0.0
	mean := func(series []analysis.Series, other []stretch) (float64, error) {
		sum, weight, used := 0.0, 0.0, 0.0
		for _, s := range series {
			for i := range s.Len() {
				r := s.At(i)
				w := overlap(other, r.Start, r.End)
				if w == 0 {
					continue
				}
				if r.BelowLimit || r.Concentration == 0 {
					return 0, fmt.Errorf("a reading in the time that both floors were measured lies below the detector's limit, so there is no ratio; measure longer or with a more sensitive detector")
				}
				if r.Share > 0 {
					w *= r.Share
				}
				sum, weight, used = sum+w*r.Concentration, weight+w, used+r.End.Sub(r.Start).Hours()
			}
		}
		longest = max(longest, used/24/float64(len(series)))
		return sum / weight, nil
	}
	var err error
	if p.From, err = mean(from, b); err != nil {
		return p, err
	}
	if p.To, err = mean(to, a); err != nil {
		return p, err
	}
	p.Same = min(1, p.Days/longest)
	return p, nil
}

type stretch struct{ from, to time.Time }

// measured are the stretches of time that any of the series covers.
func measured(series []analysis.Series) (out []stretch) {
	var all []stretch
	for _, s := range series {
		for i := range s.Len() {
			all = append(all, stretch{s.At(i).Start, s.At(i).End})
		}
	}
	slices.SortFunc(all, func(a, b stretch) int { return a.from.Compare(b.from) })
	for _, s := range all {
		if n := len(out); n > 0 && !s.from.After(out[n-1].to) {
			if s.to.After(out[n-1].to) {
				out[n-1].to = s.to
			}
			continue
		}
		out = append(out, s)
	}
	return out
}

// overlap is how many hours of a time lie in stretches, which are in order and apart.
func overlap(in []stretch, from, to time.Time) (hours float64) {
	first, _ := slices.BinarySearchFunc(in, from, func(s stretch, t time.Time) int {
		if s.to.After(t) {
			return 1
		}
		return -1
	})
	for _, s := range in[first:] {
		if !s.from.Before(to) {
			break
		}
		lo, hi := s.from, s.to
		if from.After(lo) {
			lo = from
		}
		if to.Before(hi) {
			hi = to
		}
		hours += hi.Sub(lo).Hours()
	}
	return hours
}

// FloorResult is how one floor's radon stands to another's in homes like those paired.
type FloorResult struct {
	Pairs  int
	Ratio  analysis.Estimate // geometric mean of to/from
	Spread analysis.Estimate // GSD of homes' ratios
	Next   analysis.Estimate // the next home's ratio
	Notes  []analysis.Note

	meanLog, sdLog, confidence float64
}

const (
	fewPairs  = 10  // under which it is said
	sameWeeks = 0.8 // of the longer record, under which a pair is not of the same weeks
)

// Floors says how the radon of one floor, or room, stands to that of another.
//
// It estimates the ratio of the two, as its geometric mean over homes, how much homes
// differ in it, as a geometric standard deviation, and what the next home's is.
//
// Formula. d = ln(to/from) of each home, over the time that both were measured. Ratio
// e^d̄ with limits e^(d̄ ± t·s/√n), spread e^s with limits e^(s·√(ν/χ²)), next home e^d̄ with
// limits e^(d̄ ± t·s·√(1 + 1/n)); t Student's and χ² chi-squared with ν = n − 1 degrees of
// freedom.
//
// Assumes independent homes, drawn as those are that it is used for, whose log ratios are
// about normal. The errors of detectors are in the spread, and so is what differs between
// the weeks of one home and another's.
//
// Interval: confidence, and of the next home prediction; exact where log ratios are normal.
//
// Notes: few-pairs, other-weeks, unbounded.
//
// Source: Student 1908, Biometrika 6:1, on logarithms; Hahn and Meeker 1991, Statistical
// Intervals, section 4.7 (both from memory). Log-normal ratios between floors: survey of
// 518 100 British homes, abstract.
func Floors(pairs []FloorPair, confidence float64) (FloorResult, error) {
	opt := Options{Confidence: confidence}
	if err := opt.check(); err != nil {
		return FloorResult{}, err
	}
	r := FloorResult{Pairs: len(pairs), confidence: opt.Confidence}
	if len(pairs) < 2 {
		homes := "0 homes"
		if len(pairs) == 1 {
			homes = "1 home"
		}
		return r, fmt.Errorf("%s measured on both floors at once; how homes differ takes two, and a ratio worth using ten or more", homes)
	}
	logs, apart := make([]float64, len(pairs)), 0
	for i, p := range pairs {
		if !(p.From > 0 && p.To > 0) || math.IsInf(p.From, 0) || math.IsInf(p.To, 0) {
			return r, fmt.Errorf("home %q: means of %v and %v Bq/m³ have no ratio", p.Home, p.From, p.To)
		}
		logs[i] = math.Log(p.To) - math.Log(p.From)
		if p.Same < sameWeeks {
			apart++
		}
	}
	slices.Sort(logs) // so that the order of homes changes no digit
	r.meanLog, r.sdLog = numeric.Moments(logs)
	if logs[len(logs)-1]-logs[0] < 1e-9 {
		return r, fmt.Errorf("all %d homes have the same ratio, so nothing says how homes differ; look whether one floor's figures were made from the other's", len(pairs))
	}
	s, err := lognormal.FromLogs(len(logs), r.meanLog, r.sdLog)
	if err != nil {
		return r, err
	}
	if len(pairs) < fewPairs {
		r.Notes = append(r.Notes, note("few-pairs", "%d homes say little of how homes differ, and homes differ by a factor; measure both floors in %d or more", len(pairs), fewPairs))
	}
	if apart > 0 {
		r.Notes = append(r.Notes, note("other-weeks", "in %d of %d homes one floor's readings reach well beyond the time that both were measured, so the ratio is partly of other weeks; measure both floors at once", apart, len(pairs)))
	}
	o := lognormal.Options{Confidence: opt.Confidence}
	finish := func(e analysis.Estimate, err error, quantity string) (analysis.Estimate, error) {
		e.Quantity, e.Unit, e.Method, e.N = quantity, "", FloorRatio, len(pairs)
		return e, err
	}
	e, err := lognormal.GeometricMean(s, o)
	if r.Ratio, err = finish(e, err, "ratio of floors"); err != nil {
		return r, err
	}
	e, err = lognormal.GeometricSD(s, o)
	if r.Spread, err = finish(e, err, "spread of homes' ratios"); err != nil {
		return r, err
	}
	e, err = lognormal.NextHome(s, o)
	if r.Next, err = finish(e, err, "next home's ratio"); err != nil {
		return r, err
	}
	return r, nil
}

// Predict takes a test on one floor to the other: log and se are the middle and the
// spread of the logarithm of the tested floor's annual mean, as annual.Estimate gives
// them.
//
// It estimates the annual mean, Bq/m³, of the floor that was not tested.
//
// Formula. ln of the mean is log + d̄ + e, where e is what the test leaves open, normal with
// standard deviation se, and what the home's ratio leaves open, t·s·√(1 + 1/n) with t
// Student's on n − 1 degrees of freedom. Given the chi-squared in t the sum is normal; the
// limits are the quantiles of its mixture over that.
//
// Assumes what the ratio does, that the ratio of the weeks measured is that of a year, and
// that this home is one of those, which was not chosen for its tested floor.
//
// Interval: prediction. Asked for 90 %, it holds 90 % of ten homes and more, and 93 % of
// three, where log ratios and the test's error are normal.
//
// Notes: not-a-test, unbounded.
//
// Source: Hahn and Meeker 1991, Statistical Intervals, section 4.7, and the convolution
// with the test's own error, by quadrature (from memory).
func (r FloorResult) Predict(log, se float64) (analysis.Estimate, error) {
	if r.Pairs < 2 {
		return analysis.Estimate{}, fmt.Errorf("no ratio to predict with; Floors makes one")
	}
	if math.IsNaN(log) || math.Abs(log) > 100 || !(se >= 0 && se <= 20) {
		return analysis.Estimate{}, fmt.Errorf("a logarithm of %v with a standard uncertainty of %v is no test's", log, se)
	}
	n := float64(r.Pairs)
	k := r.sdLog * math.Sqrt(1+1/n)
	grid := numeric.NewChi(n-1, 8)
	want := numeric.NormalQuantile(0.5 + r.confidence/2)
	half, err := numeric.RootNear(func(h float64) float64 {
		above := grid.Mean(func(root float64) float64 { return numeric.Phi(-h / math.Hypot(se, k/root)) })
		return -numeric.NormalQuantile(max(above, 1e-300)) - want
	}, want*math.Hypot(se, k), math.Hypot(se, k)/4, 1e-11)
	if err != nil {
		return analysis.Estimate{}, fmt.Errorf("annual mean of the other floor: %w", err)
	}
	m := log + r.meanLog
	e := analysis.Estimate{Quantity: "annual mean of the other floor", Unit: becquerel, Value: math.Exp(m), Lower: math.Exp(m - half), Upper: math.Exp(m + half),
		Confidence: r.confidence, Kind: analysis.PredictionInterval, N: r.Pairs, Method: FloorMean,
		Notes: []analysis.Note{note("not-a-test", "foretold from another floor, not measured: it does not replace a test in the rooms people live in")}}
	if math.IsInf(e.Upper, 1) {
		e.Notes = append(e.Notes, note("unbounded", "the homes paired give no upper limit; more of them would"))
	}
	return e, e.Check()
}

// FloorMethods are the methods for floors, in the words of their doc comments.
var FloorMethods = []analysis.Method{
	{
		Key: FloorRatio, Title: "how one floor's radon stands to another's",
		Estimates: "the ratio of the two, as its geometric mean over homes, how much homes differ in it, as a geometric standard deviation, and what the next home's is.",
		Formula: "d = ln(to/from) of each home, over the time that both were measured. Ratio e^d̄ with limits e^(d̄ ± t·s/√n), spread e^s with limits e^(s·√(ν/χ²)), next home e^d̄ with " +
			"limits e^(d̄ ± t·s·√(1 + 1/n)); t Student's and χ² chi-squared with ν = n − 1 degrees of freedom.",
		Assumes: "independent homes, drawn as those are that it is used for, whose log ratios are about normal. The errors of detectors are in the spread, and so is what differs between " +
			"the weeks of one home and another's.",
		Interval: "confidence, and of the next home prediction; exact where log ratios are normal.",
		Notes:    []string{"few-pairs", "other-weeks", "unbounded"},
		Sources: []analysis.Source{{Key: "student-1908", Cite: "Student 1908, Biometrika 6:1 (from memory)", Part: "on logarithms"},
			{Key: "hahn-meeker-1991", Cite: "Hahn and Meeker 1991, Statistical Intervals (from memory)", Part: "section 4.7"}},
		Evidence: analysis.Evidence{Reference: "testdata/reference/floors.json", ByHand: "TestFloorsByHand", Coverage: "exact: drawn in TestFloorsCoverage"},
	},
	{
		Key: FloorMean, Title: "a floor's annual mean from a test on another",
		Estimates: "the annual mean, Bq/m³, of the floor that was not tested.",
		Formula: "ln of the mean is log + d̄ + e, where e is what the test leaves open, normal with standard deviation se, and what the home's ratio leaves open, t·s·√(1 + 1/n) with t " +
			"Student's on n − 1 degrees of freedom. Given the chi-squared in t the sum is normal; the limits are the quantiles of its mixture over that.",
		Assumes:  "what the ratio does, that the ratio of the weeks measured is that of a year, and that this home is one of those, which was not chosen for its tested floor.",
		Interval: "prediction. Asked for 90 %, it holds 90 % of ten homes and more, and 93 % of three, where log ratios and the test's error are normal.",
		Notes:    []string{"not-a-test", "unbounded"},
		Sources:  []analysis.Source{{Key: "hahn-meeker-1991", Cite: "Hahn and Meeker 1991, Statistical Intervals (from memory)", Part: "section 4.7"}},
		Evidence: analysis.Evidence{Reference: "testdata/reference/floors.json", ByHand: "TestFloorsByHand", Coverage: "drawn in TestFloorsCoverage"},
	},
}
