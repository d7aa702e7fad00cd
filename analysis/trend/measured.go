package trend

import (
	"cmp"
	"reflect"

	"radonyear/analysis/temporal"
)

// Measured is how often homes of a mass balance, to which nothing happened, had a false
// alarm.
type Measured struct {
	Homes int
	Years float64 // to one, over three years
	First float64 // to one, within the first 365 days
}

// measured are the rows of COVERAGE.md on homes to which nothing happens, by the rate
// asked for and the shift to be seen; a test holds them to it.
var measured = map[[2]float64]Measured{
	{5, 2}:   {200, 4.8, 2.9},
	{2, 2}:   {40, 2.4, 1.3},
	{10, 2}:  {40, 7.7, 3.5},
	{5, 1.5}: {40, 4.3, 2.8},
	{5, 3}:   {40, 4.2, 2.8},
}

// Measured is how often false alarms came by these options, with the baseline that grows
// and the built-in profile of the northern hemisphere; false where that was not measured.
func (o Options) Measured() (Measured, bool) {
	if o.BaselineDays != 0 || o.Profile != nil && !reflect.DeepEqual(o.Profile, temporal.BuiltIn(false)) {
		return Measured{}, false
	}
	m, ok := measured[[2]float64{cmp.Or(o.FalseAlarmYears, 5), cmp.Or(o.Shift, 2)}]
	return m, ok
}
