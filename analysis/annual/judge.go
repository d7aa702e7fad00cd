package annual

import (
	"errors"
	"fmt"
	"iter"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/temporal"
)

// FurtherDays are the further days that Judge tabulates.
var FurtherDays = []int{2, 7, 14, 30, 60, 90, 180, 270}

// JudgeMethod is the key of Judge in the list of methods.
const JudgeMethod = "preposterior"

// enough is the chance of a conclusive verdict that makes a longer test worth it.
const enough = 0.80

// Judge says whether a test settles on which side of a level the annual mean
// lies, which readings of the same test would not, and how much longer it would
// have to go on.
//
// It estimates the probability, today, that so many further days make the verdict
// conclusive, and the band of raw means (Bq/m³) of the same test that would not.
//
// Formula. What d more days will show is not known, but how sure one will be
// then is: the variance v_d of ln(annual mean) after them follows from the model
// alone. Seen from today the later centre is N(m, v − v_d), so a conclusive
// verdict comes with probability P(|centre − ln L| > z √v_d), z one-sided. The
// year meant is the one centred on the longer test. The band of raw means that
// would not be conclusive follows from scaling every reading alike; where one lies
// below its limit there is none, and both its ends are 0. Where an area's prior is
// so firm that no reading would be conclusive on one side, that end is 0 or +Inf.
//
// Assumes that the further days follow the test without a gap, by the same
// detector if that gave day means, else by a monitor of the usual calibration. The
// fewest days are sought by halving before the first row of FurtherDays with the
// chance; where it does not rise with every day, fewer may have it too.
//
// Interval: none: a probability.
//
// Notes: those of Estimate.
//
// Source: conjugate preposterior analysis, Raiffa and Schlaifer 1961, Applied
// Statistical Decision Theory, chapter 5 (from memory).
func Judge(series []analysis.Series, level float64, opt Options) (Conclusiveness, error) {
	opt.Levels = []float64{level}
	h, err := prepare(series, opt)
	if err != nil {
		return Conclusiveness{}, err
	}
	post, err := h.opt.Profile.Posterior(h.data)
	if err != nil {
		return Conclusiveness{}, fmt.Errorf("home %q: %w", h.place.Home, err)
	}
	r, err := h.result(post)
	if err != nil {
		return Conclusiveness{}, err
	}
	out := Conclusiveness{Result: r, Against: r.Above[0]}
	if r.Above[0].Verdict == NotConclusive && analysis.HasNote(r.Notes, "room-above") {
		out.DaysFor80 = -1 // one room decides, which no reading of all of them and no more days change
		return out, nil
	}
	if h.measured < LeastDays {
		// No reading of so short a test is conclusive.
	} else if out.BandLower, out.BandUpper, err = h.band(level, r); err != nil {
		return Conclusiveness{}, err
	}
	days := append(slices.Clone(FurtherDays), mostFurther)
	futures := make([]Further, len(days))
	errs := make([]error, len(days))
	numeric.Each(len(days), func(i int) { futures[i], errs[i] = h.after(days[i], level) })
	if err := errors.Join(errs...); err != nil {
		return Conclusiveness{}, err
	}
	out.Further = futures[:len(FurtherDays)]
	if out.Verdict != NotConclusive {
		return out, nil
	}
	out.DaysFor80 = -1
	at := slices.IndexFunc(futures, func(f Further) bool { return f.Chance >= enough })
	if at < 0 {
		return out, nil
	}
	hi, lo := days[at], 0
	if at > 0 {
		lo = days[at-1]
	}
	// By halving: hi always has the chance, even where it does not rise with each
	// day, as a course that ends and the factors of a profile of few homes can make it.
	for hi-lo > 1 {
		mid := (lo + hi) / 2
		f, err := h.after(mid, level)
		if err != nil {
			return Conclusiveness{}, err
		}
		if f.Chance >= enough {
			hi = mid
		} else {
			lo = mid
		}
	}
	out.DaysFor80 = hi
	return out, nil
}

// mostFurther is as much longer as anyone is told to measure.
const mostFurther = 365

// band finds the raw means of the same test between which nothing is settled.
func (h *home) band(level float64, r Result) (lower, upper float64, err error) {
	for _, o := range h.data.Observations {
		if o.Below {
			return 0, 0, nil // a limit is no reading to scale
		}
	}
	z := distuv.UnitNormal.Quantile(h.opt.Confidence)
	if h.data.Prior == nil {
		// Every reading times f makes the annual mean times f.
		ratio := h.raw / r.AnnualMean.Value
		f := math.Exp(z * r.LogSpread)
		return level * ratio / f, level * ratio * f, nil
	}
	// A prior does not scale along: search.
	side := func(sign float64) (float64, error) {
		// The limit after every reading has been multiplied, as ln over the level.
		over := func(log float64) (float64, error) {
			data := h.data
			data.Observations = slices.Clone(data.Observations)
			for i := range data.Observations {
				data.Observations[i].Log += log
			}
			post, err := h.opt.Profile.Posterior(data)
			return post.LogMedian + sign*z*h.spread(post) - math.Log(level), err
		}
		// Outward from the reading in growing steps: far from a firm prior the
		// linearisation may not settle, and nobody asks for e^8 times the reading.
		x, err := over(0)
		if err != nil {
			return 0, err
		}
		lo, hi, step := 0.0, 0.0, 1.0
		for found := false; !found; step *= 2 {
			end := 0.0
			if x < 0 {
				lo, hi, end = hi, step, math.Inf(1)
			} else {
				lo, hi = -step, lo
			}
			y, err := over(math.Copysign(step, -x))
			if err != nil || step > 8 {
				return end, nil
			}
			found = (y < 0) != (x < 0)
		}
		for range 45 {
			mid := (lo + hi) / 2
			x, err := over(mid)
			if err != nil {
				return 0, err
			}
			if x < 0 {
				lo = mid
			} else {
				hi = mid
			}
		}
		return h.raw * math.Exp((lo+hi)/2), nil
	}
	if lower, err = side(1); err != nil {
		return 0, 0, err
	}
	upper, err = side(-1)
	return lower, upper, err
}

// after is what d more days would bring.
func (h *home) after(d int, level float64) (Further, error) {
	last := math.MinInt
	final := h.data.Observations[0]
	for _, o := range h.data.Observations {
		if o.Last > last {
			last, final = o.Last, o
		}
	}
	now := h.data
	shift := d / 2
	if h.opt.YearFrom.IsZero() && h.end.Sub(h.start).Hours() < 365*24 {
		now.From, now.To = now.From+shift, now.To+shift
	}
	post, err := h.opt.Profile.Posterior(now)
	if err != nil {
		return Further{}, err
	}
	later := now
	later.Observations = slices.Clone(now.Observations)
	detector := final.Detector
	if final.First != final.Last {
		detector = len(now.Detectors)
		later.Detectors = append(slices.Clone(now.Detectors), temporal.CalibrationSD(h.opt.Calibration))
	}
	for k := 1; k <= d; k++ {
		// What it will read does not matter to how sure one will be.
		later.Observations = append(later.Observations, temporal.Observation{First: last + k, Last: last + k, FirstShare: 1, LastShare: 1,
			Log: post.LogMedian, Room: final.Room, Detector: detector})
	}
	then, err := h.opt.Profile.Posterior(later)
	if err == nil && then.Course != post.Course {
		// The course ends on the way: today's view without it is what will be known.
		now.Course = false
		post, err = h.opt.Profile.Posterior(now)
	}
	if err != nil {
		return Further{}, err
	}
	s0, s1 := h.spread(post), h.spreadAfter(then, h.measured+float64(d))
	z := distuv.UnitNormal.Quantile(h.opt.Confidence)
	m, l := post.LogMedian, math.Log(level)
	f := Further{Days: d, UpperRatio: math.Exp(distuv.UnitNormal.Quantile((1+h.opt.Confidence)/2) * s1)}
	if h.measured+float64(d) < LeastDays {
		return f, nil // too short for a verdict still
	}
	move := math.Sqrt(max(s0*s0-s1*s1, 1e-12))
	f.ChanceAbove = distuv.UnitNormal.CDF((m - l - z*s1) / move)
	f.Chance = f.ChanceAbove + distuv.UnitNormal.CDF((l-m-z*s1)/move)
	return f, nil
}

// ConfirmHomes is how many homes Confirm needs.
const ConfirmHomes = 5

// Confirm says whether homes lived in the weather of a profile's course: the
// slope of their day means, each home about its own mean, on the course's, with
// its standard error over homes. Yes where the slope is above one half and
// more than a quarter by a one-sided 95 % limit, on at least ConfirmHomes homes; so a
// profile from another district, or another's weather, is not believed.
//
// Source: ratio estimation over clusters, Cochran 1977, Sampling Techniques,
// section 9A (from memory).
func Confirm(homes iter.Seq[[]analysis.Series], p *temporal.Profile) (yes bool, slope, se float64, n int) {
	if p == nil || p.Course == nil {
		return false, 0, 0, 0
	}
	c := p.Course
	var xy, xx []float64
	for home := range homes {
		if len(home) == 0 || !slices.Contains(c.Areas, home[0].Area) {
			continue
		}
		sxy, sxx := 0.0, 0.0
		for _, s := range home {
			var x, y []float64
			for i := range s.Len() {
				r := s.At(i)
				d := temporal.Day(r.Start.Add(r.End.Sub(r.Start)/2), s.Zone)
				if !r.OfADay() || r.BelowLimit || r.Concentration <= 0 || !c.Knows(d) {
					continue
				}
				season := 0.0
				for k, b := range temporal.Regressors(d) {
					season += b * c.Mean[k]
				}
				x = append(x, c.At(d)-season)
				y = append(y, math.Log(r.Concentration)-season)
			}
			mx, my := average(x), average(y)
			for i := range x {
				sxy += (x[i] - mx) * (y[i] - my)
				sxx += (x[i] - mx) * (x[i] - mx)
			}
		}
		if sxx > 0 {
			xy, xx = append(xy, sxy), append(xx, sxx)
		}
	}
	if n = len(xx); n < ConfirmHomes {
		return false, 0, 0, n
	}
	sum := average(xx) * float64(n)
	slope = average(xy) * float64(n) / sum
	for i := range xx {
		se += math.Pow(xy[i]-slope*xx[i], 2)
	}
	se = math.Sqrt(se*float64(n)/float64(n-1)) / sum
	return slope > 0.5 && slope-1.645*se > 0.25, slope, se, n
}

func average(x []float64) float64 {
	var m mean
	for _, v := range x {
		m.add(1, v)
	}
	if m.weight == 0 {
		return 0
	}
	return m.value()
}
