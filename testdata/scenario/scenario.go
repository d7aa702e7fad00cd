// Package scenario invents a district of homes with radon in them, hour by hour.
package scenario

import (
	"math"
	"time"
)

// These few numbers were set by trial so that the figures in the package
// comment come out; everything else is a plain guess at a house.
const (
	soilScale = 22500.0 // Bq/m³ of soil gas in the middle home of a middling area
	habitGSD  = 1.8     // of the weeks-long ventilation habit
	tightGSD  = 1.5     // of the days-long leakage
	waysGSD   = 1.35    // of the way a household lives, a year or so long
	ridgeTemp = 6.0     // °C inside the gravel ridge, all year
)

// Options describe a district. The zero value is the documented default.
type Options struct {
	Start time.Time // first hour; default 1 July 2023, 00:00 UTC
	Days  int       // default 548, eighteen months
	Homes int       // how many homes; default 40
	Areas []string  // invented names; default five of them
	Fine  int       // steps the air of the rooms takes in an hour; default 1, a check takes more
}

// District is the weather and ground that a number of homes share. It does not
// change after NewDistrict and is safe for concurrent use.
type District struct {
	seed    uint64
	start   time.Time
	days    int
	homes   int
	fine    int
	areas   []area
	weather *Weather
}

type area struct {
	name    string
	soil    float64 // soil gas of the area, relative
	warmer  float64 // K
	windier float64 // ratio
	wetter  float64 // saturation
}

// NewDistrict makes the weather of a district. The same seed and options give
// the same district; a longer span begins as a shorter one does.
func NewDistrict(seed uint64, opt Options) *District {
	if opt.Start.IsZero() {
		opt.Start = time.Date(2023, time.July, 1, 0, 0, 0, 0, time.UTC)
	}
	if opt.Days <= 0 {
		opt.Days = 548
	}
	if opt.Homes <= 0 {
		opt.Homes = 40
	}
	if len(opt.Areas) == 0 {
		opt.Areas = []string{"Alderholt", "Brackmoor", "Cinderby", "Dunfallow", "Eskerfield"}
	}
	d := &District{seed: seed, start: opt.Start.UTC().Truncate(time.Hour), days: opt.Days, homes: opt.Homes, fine: max(1, opt.Fine)}
	d.weather = newWeather(seed, d.start, opt.Days)
	for i, name := range opt.Areas {
		r := stream(seed, 2, uint64(i))
		d.areas = append(d.areas, area{
			name: name, soil: math.Exp(0.4 * r.NormFloat64()),
			warmer: 0.7 * r.NormFloat64(), windier: math.Exp(0.15 * r.NormFloat64()), wetter: 0.05 * r.NormFloat64(),
		})
	}
	return d
}

// Homes is how many homes the district was asked for.
func (d *District) Homes() int { return d.homes }

// Start is the first hour of the district, End the hour after the last.
func (d *District) Start() time.Time { return d.start }

// End is the instant at which the district's span ends.
func (d *District) End() time.Time { return d.start.AddDate(0, 0, d.days) }

// Weather is shared; do not change it. Index 0 is 180 days before Start.
func (d *District) Weather() *Weather { return d.weather }

// hour is the index of the hour that t falls in, counted from the start.
func (d *District) hour(t time.Time) int {
	return int(math.Floor(t.Sub(d.start).Hours()))
}

// Home makes home i, counted from 0. It depends on the seed and on i alone,
// not on how many homes there are. The district keeps no home: drop it and its
// memory (three float64 an hour) is free.
func (d *District) Home(i int) *Home {
	r := stream(d.seed, 5, uint64(i))
	a := r.IntN(len(d.areas))
	b := draw(r, d.areas[a].soil)
	return &Home{Index: i, Area: d.areas[a].name, Kind: b.kind, d: d, b: b, area: a}
}
