package numeric

import "math"

// Moments are the mean and the standard deviation (n − 1) of x, which holds at
// least two values. Differences from the first value are summed with their lost
// digits kept (Neumaier 1974), twice, so that neither a large common part nor a
// million values cost digits.
func Moments(x []float64) (mean, sd float64) {
	var s Sum
	for _, v := range x {
		s.Add(v - x[0])
	}
	n := float64(len(x))
	shift := s.Value() / n
	var d, d2 Sum
	for _, v := range x {
		e := v - x[0] - shift
		d.Add(e)
		d2.Add(e * e)
	}
	r := d.Value()
	return x[0] + shift + r/n, math.Sqrt((d2.Value() - r*r/n) / (n - 1))
}

// Sum adds numbers and keeps the digits that plain addition loses.
type Sum struct{ total, lost float64 }

// Add adds v.
func (s *Sum) Add(v float64) {
	t := s.total + v
	if math.Abs(s.total) >= math.Abs(v) {
		s.lost += (s.total - t) + v
	} else {
		s.lost += (v - t) + s.total
	}
	s.total = t
}

// Value is the sum so far.
func (s *Sum) Value() float64 { return s.total + s.lost }
