package plot

import (
	"math"
	"strconv"
	"strings"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

// tick is a labelled place on an axis. A label may have a second line.
type tick struct {
	at    float64
	label string
	below string
}

// scale is an axis with its range settled.
type scale struct {
	Axis
	low, high float64 // after transform
}

// transform takes a number to where it is proportional to the place.
func (a Axis) transform(v float64) float64 {
	if a.Kind == Log {
		return math.Log(v)
	}
	return v
}

// settle chooses the range. Numbers that a logarithm does not know are left out of
// it, and drawn at the edge.
func (a Axis) settle(b bounds) scale {
	b.add(a.Include...)
	s := scale{Axis: a}
	switch {
	case a.Kind == Rows:
		s.low, s.high = -0.6, float64(len(a.Names))-0.4
		return s
	case a.Kind == Months:
		s.low, s.high = 0.5, 12.5
		return s
	case a.Min != 0 || a.Max != 0:
		s.low, s.high = a.transform(a.Min), a.transform(a.Max)
		return s
	case !b.any:
		b.low, b.high = 1, 10
	}
	s.low, s.high = a.transform(b.low), a.transform(b.high)
	pad := 0.04 * (s.high - s.low)
	switch a.Kind {
	case Log:
		pad = max(pad, (math.Log(1.6)-(s.high-s.low))/2) // one number is no range
	case Dates:
		pad = max(0.02*(s.high-s.low), 0.5)
	case Percent:
		// From 0, and no further than 100.
		s.low, s.high = min(0, s.low), max(s.high+pad, 0.01)
		if b.high <= 1 {
			s.high = min(s.high, 1)
		}
		return s
	default:
		if pad == 0 {
			pad = max(math.Abs(s.low)/10, 1)
		}
		if b.low == 0 { // bars stand on the axis
			s.high += pad
			return s
		}
	}
	s.low, s.high = s.low-pad, s.high+pad
	return s
}

// share is the place of a number between the axis' ends, 0 to 1; what lies outside
// is at the end.
func (s scale) share(v float64) float64 {
	t := s.transform(v)
	switch {
	case t < s.low || math.IsNaN(t):
		return 0
	case t > s.high:
		return 1
	}
	return (t - s.low) / (s.high - s.low)
}

// before and beyond say that a number lies outside the axis, at its lower or upper end.
func (s scale) before(v float64) bool { return !(s.transform(v) >= s.low-1e-9) }
func (s scale) beyond(v float64) bool { return s.transform(v) > s.high+1e-9 }

// ticks are at most about most labelled places.
func (s scale) ticks(most int) []tick {
	switch s.Kind {
	case Log:
		return s.logTicks(most)
	case Dates:
		return s.dateTicks(most)
	case Ranks:
		return s.rankTicks()
	case Months:
		return s.monthTicks(most)
	case Rows:
		return nil // named by whoever draws them
	}
	var out []tick
	for _, v := range steps(s.low, s.high, most) {
		label := number(v)
		if s.Kind == Percent {
			label = number(100 * v)
		}
		out = append(out, tick{at: v, label: label})
	}
	return out
}

// steps are multiples of 1, 2 or 5 times a power of ten.
func steps(low, high float64, most int) (at []float64) {
	raw := (high - low) / float64(max(most, 2))
	if !(raw > 0) {
		return []float64{low}
	}
	unit := math.Pow(10, math.Floor(math.Log10(raw)))
	step := 10 * unit
	for _, m := range []float64{1, 2, 5} {
		if m*unit >= raw*0.999 {
			step = m * unit
			break
		}
	}
	for k := math.Ceil(low/step - 1e-9); k <= math.Floor(high/step+1e-9); k++ {
		at = append(at, k*step)
	}
	return at
}

// exponent writes 1e-05 as people do.
var exponent = strings.NewReplacer("e-0", "e−", "e+0", "e", "e+", "e", "-", "−")

// number writes a tick: as few digits as say it.
func number(v float64) string {
	if v == 0 {
		return "0"
	}
	if a := math.Abs(v); a >= 1e7 || a < 1e-4 {
		return exponent.Replace(strconv.FormatFloat(v, 'g', 3, 64))
	}
	text := strconv.FormatFloat(v, 'f', 6, 64)
	text = strings.TrimRight(strings.TrimRight(text, "0"), ".")
	return strings.Replace(text, "-", "−", 1)
}

// logTicks are at 1, 2 and 5 in each decade, at 1 alone where these are too many,
// and at even steps where they are too few.
func (s scale) logTicks(most int) []tick {
	in := func(leads ...float64) (at []float64) {
		for k := math.Floor(s.low / math.Ln10); k <= math.Ceil(s.high/math.Ln10); k++ {
			for _, lead := range leads {
				v := lead * math.Pow(10, k)
				if t := math.Log(v); t >= s.low-1e-9 && t <= s.high+1e-9 {
					at = append(at, v)
				}
			}
		}
		return at
	}
	at := in(1, 2, 5)
	switch {
	case len(at) > most:
		at = in(1)
		for every := 2; len(at) > most; every++ { // a hundred decades are drawn too
			var fewer []float64
			for i, v := range in(1) {
				if i%every == 0 {
					fewer = append(fewer, v)
				}
			}
			at = fewer
		}
	case len(at) < 3:
		if finer := in(1, 1.5, 2, 3, 4, 5, 7); len(finer) >= 3 {
			at = finer
			break
		}
		if even := steps(math.Exp(s.low), math.Exp(s.high), min(most, 5)); len(even) >= 2 {
			at = even
		}
	}
	var out []tick
	for _, v := range at {
		out = append(out, tick{at: v, label: number(v)})
	}
	return out
}

// dateTicks are first days of months or years, or days where the span is short.
func (s scale) dateTicks(most int) []tick {
	date := func(day float64) time.Time { return time.Unix(0, 0).UTC().AddDate(0, 0, int(math.Floor(day))) }
	number := func(t time.Time) float64 { return float64(t.Unix()) / 86400 }
	var out []tick
	add := func(t time.Time, label string) {
		at := number(t)
		if at < s.low || at > s.high {
			return
		}
		k := tick{at: at, label: label}
		if year := t.Format("2006"); len(out) == 0 || number(time.Date(t.Year(), 1, 1, 0, 0, 0, 0, time.UTC)) > out[len(out)-1].at {
			k.below = year
		}
		out = append(out, k)
	}
	span := s.high - s.low
	first := date(s.low)
	if span <= 75 {
		every := 1
		for _, every = range []int{1, 2, 7, 14} {
			if span/float64(every) <= float64(most) {
				break
			}
		}
		for d := int(math.Floor(s.low)); float64(d) <= s.high; d++ {
			if d%every == 0 {
				add(date(float64(d)), date(float64(d)).Format("2 Jan"))
			}
		}
		return out
	}
	every := 1200
	for _, m := range []int{1, 2, 3, 6, 12, 24, 60, 120, 240} {
		if span/30.44/float64(m) <= float64(most) {
			every = m
			break
		}
	}
	for t := time.Date(first.Year(), 1, 1, 0, 0, 0, 0, time.UTC); number(t) <= s.high; t = t.AddDate(0, every, 0) {
		if every >= 12 {
			if t.Year()%(every/12) != 0 {
				t = t.AddDate(every/12-t.Year()%(every/12), 0, 0).AddDate(0, -every, 0)
				continue
			}
			if at := number(t); at >= s.low && at <= s.high {
				out = append(out, tick{at: at, label: t.Format("2006")})
			}
			continue
		}
		add(t, t.Format("Jan"))
	}
	return out
}

func (s scale) rankTicks() (out []tick) {
	all := []float64{0.0001, 0.001, 0.01, 0.05, 0.1, 0.25, 0.5, 0.75, 0.9, 0.95, 0.99, 0.999, 0.9999}
	last := math.Inf(-1)
	for _, p := range all {
		z := distuv.UnitNormal.Quantile(p)
		if z < s.low || z > s.high || z-last < (s.high-s.low)/14 {
			continue
		}
		last = z
		out = append(out, tick{at: z, label: number(100 * p)})
	}
	return out
}

func (s scale) monthTicks(most int) (out []tick) {
	for m := time.January; m <= time.December; m++ {
		name := m.String()[:3]
		if most < 8 {
			name = name[:1]
		}
		out = append(out, tick{at: float64(m), label: name})
	}
	return out
}
