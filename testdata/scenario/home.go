package scenario

import (
	"math"
	"math/rand/v2"
	"time"
)

// Rooms of a home. Every home has Living and Bedroom; those built over a
// basement have Basement too.
const (
	Basement = "basement"
	Living   = "living room"
	Bedroom  = "bedroom"
)

const decay = 0.00755 // Rn-222, per hour

// Kind is what drives a home's soil gas.
type Kind int

const (
	Ordinary  Kind = iota // stack effect over ordinary ground
	WindSwept             // wind into coarse fill under the house; little season
	RidgeTop              // gravel ridge: warm ridge air rises and leaves here in winter
	RidgeFoot             // the foot of the ridge: cold ridge air flows out here in summer
	Balanced              // balanced mechanical ventilation, windows seldom used; little season
)

// String names the kind in plain words.
func (k Kind) String() string {
	return [...]string{"ordinary", "wind-swept", "ridge top", "ridge foot", "balanced ventilation"}[k]
}

// build is what a home is, drawn once.
type build struct {
	kind     Kind
	basement bool
	volume   [3]float64 // m³: basement (0 if none), living, bedroom
	height   float64    // m between the floor over the soil and the neutral level
	leak     float64    // air changes per hour at 20 K and 3 m/s
	windPart float64    // share of that leakage flow squared due to wind
	mech     float64    // mechanical exhaust, air changes per hour
	mechPull float64    // its depressurisation, Pa
	windPull float64    // Pa per (m/s)², of either sign
	basePull float64    // constant pull on the soil, Pa
	baro     float64    // Pa per (Pa/h) of falling pressure
	perm     float64    // soil gas flow, m³/h per Pa, dry
	wet      float64    // how far wet ground closes those paths, 0 to 1
	cap      float64    // how far sealed open ground raises the soil gas
	soil     float64    // undisturbed soil gas, Bq/m³
	reserve  float64    // m³ of soil air in reach
	flush    float64    // flushing of that soil by wind, per hour per (m/s)²
	ridge    float64    // soil gas flow per K of ridge air pressure, m³/h
	diffuse  float64    // diffusive entry, Bq/h
	heat     float64    // thermostat, °C
	setback  float64    // K lower at night
	free     float64    // K indoors above the day's outdoor mean with no heating
	openAt   float64    // °C indoors at which windows open
	shutAt   float64    // °C outdoors at which they are shut again
	zeal     float64    // how readily occupants touch windows
	window   float64    // air changes per hour through open windows, scale
	nightAir float64    // chance that the bedroom window is ajar on a night above shutAt−8 °C
	bustle   float64    // leakage times this while someone is in and up
	atHome   bool       // someone is in on weekdays
	stove    float64    // chance an hour of a fire or kitchen fan on a heating-season evening
	doorOpen float64    // share of time the basement door stands open
	change   time.Duration
	changeBy float64 // entry paths times this from then on; 1 is no change
}

// Home is one home of a district. It is not safe for concurrent use; make one
// a goroutine with District.Home.
type Home struct {
	Index int
	Area  string
	Kind  Kind

	d     *District
	b     build
	area  int
	fans  []Fan
	truth [3][]float64
}

// Fan is a soil depressurisation fan.
type Fan struct {
	From time.Time      // switched on
	Cut  float64        // share of the advective entry it stops while it runs, 0.6 to 0.99
	Off  [][2]time.Time // from, to: spells in which it stands still
}

func (f Fan) runs(t time.Time) bool {
	if t.Before(f.From) {
		return false
	}
	for _, o := range f.Off {
		if !t.Before(o[0]) && t.Before(o[1]) {
			return false
		}
	}
	return true
}

// WithFan is the same home under the same weather and the same occupants, with
// a fan.
func (h *Home) WithFan(f Fan) *Home {
	c := *h
	c.fans = append(append([]Fan(nil), h.fans...), f)
	c.truth = [3][]float64{}
	return &c
}

// Rooms lists the rooms a detector can stand in, lowest first.
func (h *Home) Rooms() []string {
	if h.b.basement {
		return []string{Basement, Living, Bedroom}
	}
	return []string{Living, Bedroom}
}

func roomIndex(room string) int {
	switch room {
	case Basement:
		return 0
	case Living:
		return 1
	case Bedroom:
		return 2
	}
	return -1
}

// Truth is the concentration in the room, the mean of each hour from the start
// of the district on, Bq/m³. It is computed at the first call and kept; do not
// change it. It is nil for a room the home has not.
func (h *Home) Truth(room string) []float64 {
	z := roomIndex(room)
	if z < 0 || z == 0 && !h.b.basement {
		return nil
	}
	if h.truth[z] == nil {
		h.simulate()
	}
	return h.truth[z]
}

// Mean is the true mean in a room over from ≤ t < to, Bq/m³, by whole hours;
// parts outside the district's span are left out, and NaN is returned where
// nothing is left or the home has no such room.
func (h *Home) Mean(room string, from, to time.Time) float64 {
	c := h.Truth(room)
	a := max(0, h.d.hour(from))
	b := min(len(c), h.d.hour(to))
	if b <= a {
		return math.NaN()
	}
	sum := 0.0
	for _, v := range c[a:b] {
		sum += v
	}
	return sum / float64(b-a)
}

func logNormal(r *rand.Rand, gm, gsd float64) float64 {
	return gm * math.Exp(math.Log(gsd)*r.NormFloat64())
}

func between(r *rand.Rand, lo, hi float64) float64 { return lo + (hi-lo)*r.Float64() }

// draw makes a home. Its stream is its own.
func draw(r *rand.Rand, areaSoil float64) build {
	var b build
	switch u := r.Float64(); {
	case u < 0.80:
		b.kind = Ordinary
	case u < 0.88:
		b.kind = WindSwept
	case u < 0.91:
		b.kind = RidgeTop
	case u < 0.95:
		b.kind = RidgeFoot
	default:
		b.kind = Balanced
	}
	b.basement = r.Float64() < 0.55
	whole := between(r, 180, 420)
	b.volume = [3]float64{0, 0.58 * whole, 0.42 * whole}
	b.height = between(r, 2.4, 3.6)
	if b.basement {
		b.volume[0] = between(r, 0.35, 0.55) * whole
		b.height += 1.8
	}
	b.leak = logNormal(r, 0.30, 1.5)
	b.windPart = between(r, 0.15, 0.5)
	if r.Float64() < 0.35 {
		b.mech = between(r, 0.15, 0.4)
		b.mechPull = between(r, 0.5, 2)
	}
	b.windPull = 0.03 * r.NormFloat64()
	b.basePull = between(r, 0, 0.4)
	b.baro = logNormal(r, 0.004, 1.8)
	b.perm = logNormal(r, 0.25, 1.5)
	b.wet = between(r, 0.1, 0.8)
	b.cap = between(r, 0.1, 1.1)
	b.soil = logNormal(r, soilScale*areaSoil, 1.85)
	b.reserve = logNormal(r, 200, 1.6)
	b.flush = logNormal(r, 0.0004, 2.2)
	b.heat = between(r, 19.5, 22.5)
	b.setback = between(r, 0, 2.5)
	b.free = between(r, 3, 6)
	b.openAt = between(r, 20.5, 23.5)
	b.shutAt = between(r, 8, 15)
	b.zeal = logNormal(r, 1, 1.6)
	b.window = logNormal(r, 0.9, 1.7)
	b.nightAir = r.Float64() * r.Float64()
	b.atHome = r.Float64() < 0.3
	b.stove = r.Float64() * r.Float64() * 0.5
	b.doorOpen = r.Float64()
	b.diffuse = b.soil * b.perm * between(r, 0.1, 0.3)
	switch b.kind {
	case WindSwept:
		b.windPull = between(r, 0.12, 0.25)
		b.height *= 0.3
		b.flush *= 0.2
	case RidgeTop, RidgeFoot:
		b.ridge = b.perm * between(r, 0.15, 0.35)
		b.height *= 0.35
		b.soil *= 1.4
		b.cap *= 0.3
	case Balanced:
		b.mech, b.mechPull = between(r, 0.35, 0.55), between(r, 1, 2.5)
		b.leak *= 0.4
		b.zeal *= 0.25
		b.height *= 0.5
	}
	// About one home in six a year changes: a new door seal, a crack.
	b.change, b.changeBy = time.Duration(6*8766*r.ExpFloat64())*time.Hour, logNormal(r, 1, 1.8)
	b.bustle = between(r, 1.05, 1.6)
	return b
}

// holidays are the spells, in hours from first, in which a home stands shut
// and cool.
func holidays(r *rand.Rand, first time.Time, hours int) [][2]int {
	var out [][2]int
	add := func(day, length time.Time) {
		a := int(day.Sub(first).Hours())
		out = append(out, [2]int{a, a + int(length.Sub(day).Hours())})
	}
	last := first.Add(time.Duration(hours) * time.Hour)
	for year := first.Year(); year <= last.Year(); year++ {
		// The draws of a year are always made, so that a longer span begins the same.
		july := time.Date(year, time.June, 20, 9, 0, 0, 0, time.UTC).AddDate(0, 0, r.IntN(40))
		weeks := r.IntN(5)
		if weeks > 0 {
			add(july, july.AddDate(0, 0, 7*weeks-r.IntN(4)))
		} else {
			r.IntN(4)
		}
		if p := r.Float64(); p < 0.3 {
			d := time.Date(year, time.December, 21, 14, 0, 0, 0, time.UTC)
			add(d, d.AddDate(0, 0, 5+int(20*p)))
		}
		if p := r.Float64(); p < 0.3 {
			d := time.Date(year, time.February, 10, 10, 0, 0, 0, time.UTC).AddDate(0, 0, int(30*p))
			add(d, d.AddDate(0, 0, 7))
		}
	}
	return out
}

// Step solves dC/dt = source − rate·C over hours from C = c, with source in
// Bq/m³ per hour and rate, which is above 0, per hour. It returns the mean over
// the time and the value at its end, both exact.
func Step(c, source, rate, hours float64) (mean, end float64) {
	level := source / rate
	fall := math.Exp(-rate * hours)
	return level + (c-level)*(1-fall)/(rate*hours), level + (c-level)*fall
}

// simulate runs the mass balance of every room, hour by hour:
//
//	V dC/dt = S + Q_out C_out + Σ Q_from C_from − (Q_out + Σ Q_from + λV) C
//
// Flows and sources are constant within an hour, so each room takes the exact
// exponential step for its hour; rooms are taken from the ground up, each
// seeing the hour's mean of the room below and, for the air that mixes down,
// the last value of the room above.
func (h *Home) simulate() {
	const lead = 40 * 24 // hours before the start, so that the first hour has a past
	b, w := &h.b, h.d.weather
	from := spinUp*24 - lead
	hours := lead + h.d.days*24
	first := h.d.start.Add(-lead * time.Hour)
	r := stream(h.d.seed, 3, uint64(h.Index))
	away := holidays(stream(h.d.seed, 4, uint64(h.Index)), first, hours)
	place := h.d.areas[h.area]

	for z := range h.truth {
		if z > 0 || b.basement {
			h.truth[z] = make([]float64, h.d.days*24)
		}
	}
	whole := b.volume[0] + b.volume[1] + b.volume[2]
	var c [3]float64
	for z := range c {
		c[z] = 50
	}
	reach := 0.6                        // soil gas in reach, as a share of undisturbed
	slow := w.Temp[from] + place.warmer // day-long mean of outdoor temperature
	indoor := b.heat
	open, ajar := false, false
	opening := 0.0
	habit, habitLeft := 1.0, 0.0
	tight, tightLeft := 1.0, 0.0
	ways, waysLeft := 1.0, 0.0
	door, doorLeft := r.Float64() < b.doorOpen, 0.0
	fire := 0.0

	for k := range hours {
		i := from + k
		t := first.Add(time.Duration(k) * time.Hour)
		hour := (t.Hour() + 1) % 24
		weekend := t.Weekday() == time.Saturday || t.Weekday() == time.Sunday
		out := w.Temp[i] + place.warmer
		wind := w.Wind[i] * place.windier
		slow += (out - slow) / 24

		gone := false
		for _, a := range away {
			if k >= a[0] && k < a[1] {
				gone = true
			}
		}
		awake := hour >= 7 && hour < 23
		in := !gone && (!awake || weekend || b.atHome || hour < 8 || hour >= 16)

		// Habits drift by whole states, each kept for weeks, not by small steps.
		if habitLeft--; habitLeft <= 0 {
			habit, habitLeft = logNormal(r, 1, habitGSD), 24*(7+25*r.ExpFloat64())
		}
		if tightLeft--; tightLeft <= 0 { // vents, inner doors, blinds: the leakage of the moment
			tight, tightLeft = logNormal(r, 1, tightGSD), 24*(0.5+3*r.ExpFloat64())
		}
		if waysLeft--; waysLeft <= 0 { // the way a household lives, kept for most of a year or more
			ways, waysLeft = logNormal(r, 1, waysGSD), 24*(150+300*r.ExpFloat64())
		}
		if doorLeft--; doorLeft <= 0 {
			door, doorLeft = r.Float64() < b.doorOpen, 6+24*6*r.ExpFloat64()
		}

		// Temperature indoors: the thermostat, or whatever the sun and the day give.
		goal := b.heat
		if gone {
			goal = math.Min(goal, 15.5)
		} else if !awake {
			goal -= b.setback
		}
		goal = math.Max(goal, slow+b.free)
		if open {
			goal = math.Max(out+1, goal-2)
		}
		indoor += (goal - indoor) / 8

		// Windows: opened when it is warm indoors and not too cold out, by
		// someone who is there and minded to; shut when it is cold or all leave.
		u := r.Float64()
		switch {
		case gone:
			open = false
		case open && (out < b.shutAt-2 || in && indoor < b.openAt-2 || u < 0.01):
			open = false
		case !open && in && awake && indoor > b.openAt && out > b.shutAt && u < 0.15*b.zeal*habit:
			open = true
			opening = between(r, 0.3, 1.2)
		case !open && in && awake && u > 1-0.012*b.zeal*habit: // a short airing in any weather
			open = true
			opening = between(r, 0.3, 1.5)
		}
		if hour == 23 || gone {
			ajar = !gone && out > b.shutAt-8 && r.Float64() < math.Min(1, b.nightAir*habit*(0.6+0.04*math.Max(0, out)))
		} else if hour == 7 {
			ajar = false
		}
		if fire--; fire <= 0 && in && hour >= 17 && hour < 22 && out < 8 && r.Float64() < b.stove {
			fire = 4
		}

		dT := indoor - out
		leak := b.leak * tight * ways * math.Sqrt(math.Max(0.02, (1-b.windPart)*math.Abs(dT)/20+b.windPart*wind*wind/9))
		if in && awake {
			leak *= b.bustle // doors, hoods, people about
		}
		mech := b.mech
		if gone {
			mech *= 0.5
		}
		pull := b.basePull + 0.042*dT*b.height + b.windPull*wind*wind
		if b.mech > 0 {
			pull += b.mechPull * mech / b.mech
		}
		if fire > 0 {
			mech += 0.25
			pull += 1.5
		}
		gape := b.window * (0.4 + 0.12*math.Sqrt(math.Abs(dT)) + 0.2*wind)
		var win [3]float64
		if open {
			win[1] = gape * opening
			win[2] = 0.5 * gape * opening
			pull *= 0.6 // open windows move the neutral level down
		}
		if ajar {
			win[2] += 0.6 * gape
			pull *= 0.9
		}
		pull -= b.baro * 100 * (w.Pressure[i] - w.Pressure[i-1])

		// Soil gas: flow by pressure through ground that water closes, from a
		// reserve that the flow and the wind run down and the ground fills up.
		sat := math.Min(1, w.Deep[i]+place.wetter)
		flow := b.perm * (1 - b.wet*ramp(sat, 0.45, 0.9)) * 0.5 * (pull + math.Sqrt(pull*pull+0.1))
		switch b.kind {
		case RidgeTop:
			flow += b.ridge * math.Max(0, ridgeTemp-out)
		case RidgeFoot:
			flow += b.ridge * 2 * math.Max(0, out-ridgeTemp)
		}
		if t.Sub(h.d.start) >= b.change {
			flow *= b.changeBy
		}
		refill := decay * (1 + b.cap*seal(w.Frost[i], w.Snow[i], w.Moisture[i]))
		drain := decay + flow/b.reserve + b.flush*wind*wind
		_, reach = Step(reach, refill, drain, 1)
		source := flow * b.soil * reach
		for _, f := range h.fans {
			if f.runs(t) {
				source *= 1 - f.Cut
			}
		}
		source += b.diffuse

		// Air: the stack carries air from below to above; a door lets it mix.
		enter := leak * whole
		fresh := [3]float64{0, 0.6 * enter, 0.4 * enter}
		up := 0.35 * enter // living to bedroom
		mixUp := 0.5 * b.volume[2]
		var below, mixDown float64
		if b.basement {
			fresh = [3]float64{0.3 * enter, 0.4 * enter, 0.3 * enter}
			below = fresh[0]
			mixDown = 12.0
			if door {
				mixDown = 0.5 * b.volume[0]
			}
		}
		fresh[0] += mech * b.volume[0] * 0.5
		fresh[1] += (mech + win[1]) * b.volume[1]
		fresh[2] += (mech + win[2]) * b.volume[2]
		outside := w.Outdoor[i]

		rate := func(z int, flow float64) float64 { return (flow+fresh[z])/b.volume[z] + decay }
		var mean [3]float64
		for range h.d.fine {
			move := func(z int, gain, flow float64) float64 {
				now, end := Step(c[z], (gain+fresh[z]*outside)/b.volume[z], rate(z, flow), 1/float64(h.d.fine))
				c[z] = end
				mean[z] += now / float64(h.d.fine)
				return now
			}
			var living float64
			if b.basement {
				under := move(0, 0.8*source+mixDown*c[1], mixDown)
				living = move(1, 0.2*source+(below+mixDown)*under+mixUp*c[2], below+mixDown+mixUp)
			} else {
				living = move(1, source+mixUp*c[2], mixUp)
			}
			move(2, (up+mixUp)*living, up+mixUp)
		}

		if k >= lead {
			for z := range h.truth {
				if h.truth[z] != nil {
					h.truth[z][k-lead] = mean[z]
				}
			}
		}
	}
}
