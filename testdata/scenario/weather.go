package scenario

import (
	"math"
	"math/rand/v2"
	"time"
)

// spinUp is how many days of weather come before Options.Start, so that soil
// moisture, frost and snow have a past.
const spinUp = 180

// Weather is the district's outdoor air and ground, one value an hour. Index 0
// is spinUp days before the start of the district.
type Weather struct {
	Temp     []float64 // outdoor air, °C
	Wind     []float64 // m/s at roof height in the open
	Pressure []float64 // hPa
	Rain     []float64 // mm/h of water, as rain or snow
	Moisture []float64 // saturation of the upper ground, 0 to 1
	Deep     []float64 // saturation of the ground under houses, a slow follower of Moisture
	Frost    []float64 // depth of frozen ground, m
	Snow     []float64 // water held in the snow cover, mm
	Outdoor  []float64 // radon outdoors, Bq/m³
}

// A spell is a kind of weather that lasts for days. The temperature swings of
// the district come from one spell giving way to the next, so they are neither
// Gaussian nor symmetric: cold spells in winter go with slack wind and clear nights.
type spell struct {
	pressure, wind, cloud float64
	winter, summer        float64 // departure of temperature from the season, K
	rain                  float64 // chance an hour that rain begins
	least, mean           float64 // days: shortest stay, and mean time beyond it
	weight                float64 // how often, relative to the others
}

var spells = [...]spell{
	{1032, 2.0, 0.15, -6, 3, 0.001, 3, 4, 1.0},   // settled high
	{1008, 5.2, 0.75, 3, -1, 0.035, 2, 2.5, 1.4}, // mild westerly
	{990, 8.5, 0.9, 4, -3, 0.08, 1, 1.5, 1.0},    // one low after another
	{1016, 4.2, 0.4, -9, -4, 0.008, 1.5, 3, 0.7}, // northerly
	{1011, 2.2, 0.5, -2, 4, 0.02, 2, 3.5, 0.9},   // slack and damp
}

// dayOfYear is the position in the year, in days from its first midnight, UTC.
func dayOfYear(t time.Time) float64 {
	return float64(t.YearDay()-1) + float64(t.Hour())/24
}

// winterness is 1 in mid January, 0 in mid July.
func winterness(doy float64) float64 {
	return (1 + math.Cos(2*math.Pi*(doy-15)/365.25)) / 2
}

func newWeather(seed uint64, start time.Time, days int) *Weather {
	n := (spinUp + days) * 24
	w := &Weather{}
	for _, p := range []*[]float64{&w.Temp, &w.Wind, &w.Pressure, &w.Rain, &w.Moisture, &w.Deep, &w.Frost, &w.Snow, &w.Outdoor} {
		*p = make([]float64, n)
	}
	first := start.AddDate(0, 0, -spinUp)
	r := stream(seed, 1, 0)

	// Every half-year has a leaning of its own: which spells are common, how
	// warm, how windy. This is what makes one year differ from the next.
	var lean [len(spells)]float64
	var warm, windy, wet float64
	redraw := func() {
		for k := range lean {
			lean[k] = spells[k].weight * math.Exp(0.45*r.NormFloat64())
		}
		warm, windy, wet = 1.3*r.NormFloat64(), math.Exp(0.13*r.NormFloat64()), math.Exp(0.5*r.NormFloat64())
	}
	redraw()

	kind := r.IntN(len(spells))
	left := 24 * (spells[kind].least + spells[kind].mean*r.ExpFloat64())
	shift := 0.0 // extra departure of this spell, K
	temp, press := 0.0, 1010.0
	windFrom, windTo, windAt, windLen := 3.0, 3.0, 0.0, 6.0
	rainLeft, rainRate := 0.0, 0.0
	front, frontDepth := 0.0, 0.0
	sat, deep, chill, snow := 0.6, 0.6, 0.0, 0.0

	for i := range n {
		t := first.Add(time.Duration(i) * time.Hour)
		doy := dayOfYear(t)
		cold := winterness(doy)
		hour := float64((t.Hour() + 1) % 24) // clock time one hour east of Greenwich
		if t.Hour() == 0 && t.Day() == 1 && (t.Month() == time.April || t.Month() == time.October) {
			redraw()
		}
		if left--; left <= 0 {
			total := 0.0
			for k, v := range lean {
				if k != kind {
					total += v
				}
			}
			pick := r.Float64() * total
			next := kind
			for k, v := range lean {
				if k == kind {
					continue
				}
				next = k
				if pick -= v; pick < 0 {
					break
				}
			}
			kind = next
			left = 24 * (spells[kind].least + spells[kind].mean*r.ExpFloat64())
			shift = 2 * (2*r.Float64() - 1) * (1 + cold)
			front, frontDepth = 24, 4+10*r.Float64() // a trough passes where spells meet
		}
		s := spells[kind]

		goal := 5.5 - 11*math.Cos(2*math.Pi*(doy-20)/365.25) + warm + shift + cold*s.winter + (1-cold)*s.summer
		if i == 0 {
			temp = goal
		}
		temp += (goal - temp) / 16
		swing := (1 + 4.5*(1-cold)) * (1 - 0.65*s.cloud)
		w.Temp[i] = temp + swing*math.Cos(2*math.Pi*(hour-15)/24)

		if windAt++; windAt >= windLen {
			windFrom, windAt, windLen = windTo, 0, 3+6*r.Float64()
			windTo = s.wind * windy * (0.85 + 0.3*cold) * 1.13 * math.Pow(r.ExpFloat64(), 1/1.9) // Weibull, shape 1.9
		}
		calm := 0.4 * (1 - s.cloud) * math.Max(0, -math.Cos(2*math.Pi*(hour-14)/24))
		w.Wind[i] = (windFrom + (windTo-windFrom)*windAt/windLen) * (1 - calm)

		dip := 0.0
		if front > 0 {
			front--
			dip = frontDepth * (1 - math.Abs(front-12)/12)
		}
		press += (s.pressure - press) / 20
		w.Pressure[i] = press - dip

		if rainLeft > 0 {
			rainLeft--
		} else if r.Float64() < s.rain*wet || (front == 12 && r.Float64() < 0.7) {
			rainLeft, rainRate = math.Ceil(6*r.ExpFloat64()), 0.8*r.ExpFloat64()*(1.3-0.6*cold)
		}
		if rainLeft > 0 {
			w.Rain[i] = rainRate
		}

		// Ground: a snow cover that melts by degree-hours, frost that grows with
		// the square root of the chill and hardly at all under snow, and a bucket
		// that loses water to the air and, above field capacity, downwards.
		water := w.Rain[i]
		if w.Temp[i] < 0.5 {
			snow += water
			water = 0
		} else if snow > 0 {
			melt := math.Min(snow, 0.12*w.Temp[i])
			snow -= melt
			water += melt
		}
		if w.Temp[i] < 0 {
			chill += -w.Temp[i] / (1 + snow/25)
		} else {
			chill = math.Max(0, chill-1.8*w.Temp[i]/(1+snow/10))
		}
		frost := 0.0045 * math.Sqrt(chill)
		if frost > 0.08 {
			water *= 0.3 // runs off frozen ground
		}
		sat += water/90 - 0.0105/9*math.Max(0, w.Temp[i])/9*(0.4+sat) - 0.006*math.Max(0, sat-0.6)
		sat = math.Min(1, math.Max(0.08, sat))
		deep += (sat - deep) / (25 * 24)
		w.Moisture[i], w.Deep[i], w.Frost[i], w.Snow[i] = sat, deep, frost, snow

		// Outdoor air: more on still nights, less in wind and over sealed ground.
		still := 1 / (1 + w.Wind[i]/3)
		night := 0.5 + 0.5*math.Cos(2*math.Pi*(hour-5)/24)
		w.Outdoor[i] = (4 + 8*still*(0.4+0.9*night)) * (1 - 0.35*seal(frost, snow, sat)) * (1 + 0.15*math.Cos(2*math.Pi*(doy-270)/365.25))
	}
	return w
}

// seal is how far frost, snow or water closes open ground to escaping soil
// gas, 0 to 1. Each acts by threshold.
func seal(frost, snow, sat float64) float64 {
	return math.Max(ramp(frost, 0.06, 0.25), math.Max(0.5*ramp(snow, 8, 40), ramp(sat, 0.72, 0.97)))
}

// ramp rises smoothly from 0 at lo to 1 at hi.
func ramp(x, lo, hi float64) float64 {
	u := math.Min(1, math.Max(0, (x-lo)/(hi-lo)))
	return u * u * (3 - 2*u)
}

// stream is the random stream of one purpose and one number under a seed. Two
// streams share nothing, so adding a home changes no other home.
func stream(seed, purpose, number uint64) *rand.Rand {
	mix := func(x uint64) uint64 { // the finaliser of SplitMix64 (Steele, Lea & Flood 2014)
		x ^= x >> 30
		x *= 0xbf58476d1ce4e5b9
		x ^= x >> 27
		x *= 0x94d049bb133111eb
		return x ^ x>>31
	}
	return rand.New(rand.NewPCG(mix(seed+0x9e3779b97f4a7c15*purpose), mix(number+0x632be59bd9b4e019*(purpose+1))))
}
