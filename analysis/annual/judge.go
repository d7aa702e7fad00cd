package annual

import (
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

// enough is the chance of a conclusive verdict that makes a longer test worth it.
const enough = 0.80

// Judge says whether a test settles on which side of a level the annual mean
// lies, which readings of the same test would not, and how much longer the same
// detector would have to stay.
//
// Formula. What d more days will show is not known, but how sure one will be
// then is: the variance v_d of ln(annual mean) after them follows from the model
// alone. Seen from today the later centre is N(m, v − v_d), so a conclusive
// verdict comes with probability P(|centre − ln L| > z √v_d), z one-sided. The
// year meant is the one centred on the longer test. The band of raw means that
// would not be conclusive follows from scaling every reading alike; where one lies
// below its limit there is none, and both its ends are 0.
//
// Assumes that the further days follow the test without a gap.
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
	r := h.result(post)
	out := Conclusiveness{Result: r, Against: r.Above[0]}
	if out.BandLower, out.BandUpper, err = h.band(level, r); err != nil {
		return Conclusiveness{}, err
	}
	days := scan()
	futures := make([]Further, len(days))
	errs := make([]error, len(days))
	numeric.Each(len(days), func(i int) { futures[i], errs[i] = h.after(days[i], level) })
	out.DaysFor80 = -1
	for i, f := range futures {
		if errs[i] != nil {
			return Conclusiveness{}, errs[i]
		}
		if slices.Contains(FurtherDays, f.Days) {
			out.Further = append(out.Further, f)
		}
		if out.DaysFor80 < 0 && f.Chance >= enough {
			out.DaysFor80 = f.Days
		}
	}
	if out.Verdict != NotConclusive {
		out.DaysFor80 = 0
	}
	return out, nil
}

// scan is every day for a month, then every fifth day, and those tabulated.
func scan() []int {
	var days []int
	for d := 1; d <= 360; d++ {
		if d <= 30 || d%5 == 0 || slices.Contains(FurtherDays, d) {
			days = append(days, d)
		}
	}
	return days
}

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
		lo, hi := math.Log(1e-3), math.Log(1e3)
		for range 60 {
			mid := (lo + hi) / 2
			data := h.data
			data.Observations = slices.Clone(data.Observations)
			for i := range data.Observations {
				data.Observations[i].Log += mid
			}
			post, err := h.opt.Profile.Posterior(data)
			if err != nil {
				return 0, err
			}
			if post.LogMedian+sign*z*h.spread(post) < math.Log(level) {
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
	for k := 1; k <= d; k++ {
		// What it will read does not matter to how sure one will be.
		later.Observations = append(later.Observations, temporal.Observation{First: last + k, Last: last + k, FirstShare: 1, LastShare: 1,
			Log: post.LogMedian, Room: final.Room, Detector: final.Detector})
	}
	then, err := h.opt.Profile.Posterior(later)
	if err != nil {
		return Further{}, err
	}
	s0, s1 := h.spread(post), h.spreadAfter(then, h.measured+float64(d))
	z := distuv.UnitNormal.Quantile(h.opt.Confidence)
	m, l := post.LogMedian, math.Log(level)
	move := math.Sqrt(max(s0*s0-s1*s1, 1e-12))
	f := Further{Days: d, ChanceAbove: distuv.UnitNormal.CDF((m - l - z*s1) / move)}
	f.Chance = f.ChanceAbove + distuv.UnitNormal.CDF((l-m-z*s1)/move)
	f.UpperRatio = math.Exp(distuv.UnitNormal.Quantile((1+h.opt.Confidence)/2) * s1)
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
				if r.Days() > 1.5 || r.BelowLimit || r.Concentration <= 0 || !c.Knows(d) {
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
