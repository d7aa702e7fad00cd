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

// asked is what the homes of a row of COVERAGE.md were watched for, and whether how high
// they were without their system was known.
type asked struct {
	years, shift float64
	known        bool
}

// measured are the rows of COVERAGE.md on homes to which nothing happens; a test holds
// them to it.
var measured = map[asked]Measured{
	{5, 2, true}:   {200, 4.8, 2.9},
	{5, 2, false}:  {200, 4.3, 2.7},
	{2, 2, true}:   {40, 2.4, 1.3},
	{10, 2, true}:  {40, 7.7, 3.5},
	{5, 1.5, true}: {40, 4.3, 2.8},
	{5, 3, true}:   {40, 4.2, 2.8},
}

// Measured is how often false alarms came by these options, with the baseline that grows,
// the built-in profile of the northern hemisphere and a level without the system that is
// known, or assumed as it is where nothing is; false where that was not measured.
func (o Options) Measured() (Measured, bool) {
	if o.BaselineDays != 0 || o.Profile != nil && !reflect.DeepEqual(o.Profile, temporal.BuiltIn(false)) {
		return Measured{}, false
	}
	known := o.Without > 0
	if !known && cmp.Or(o.Ratio, assumedRatio) != assumedRatio {
		return Measured{}, false
	}
	m, ok := measured[asked{cmp.Or(o.FalseAlarmYears, 5), cmp.Or(o.Shift, 2), known}]
	return m, ok
}
