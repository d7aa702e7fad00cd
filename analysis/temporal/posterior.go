package temporal

import (
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/stat/distuv"
)

// Observation is one thing a detector said, in whole civil days of the home:
// the mean of a day (First == Last) or of a stretch of days.
type Observation struct {
	First, Last           int     // civil days since 1 January 1970, both included
	FirstShare, LastShare float64 // how much of the first and the last day was measured, in (0, 1]
	Log                   float64 // ln of the mean, or of the limit if Below
	Variance              float64 // of the random error of Log
	Below                 bool    // all that is known is that the mean was under the limit
	Worked                bool    // seen while a mitigation system ran; see Work
	Detector, Room        int     // indices, from 0
}

// Home is what is known of one home before the posterior is asked for.
type Home struct {
	Observations []Observation
	Area         string
	Detectors    []float64 // per detector: log standard deviation of its calibration, shared by all it said
	Rooms        int       // how many rooms; at least 1. With more, each has an offset of its own
	Prior        *Normal   // of the level (ln of the annual median day), nil for none
	From, To     int       // the days the annual mean is of: From ≤ day < To
	Only         []int     // if not nil, the mean is over these days instead, in increasing order
	Course       bool      // the home lived in the weather of the profile's course, where that is known
	LongRun      bool      // the mean over many years is meant, of which From..To is one
	Work         *Work     // how a mitigation system changes the home; nil where there was none
	Daily        bool      // keep what is known of each target day, as Posterior.Daily
}

// Normal is a normal distribution by its mean and standard deviation.
type Normal struct{ Mean, SD float64 }

// Posterior is what is known of a home's annual mean after its detectors spoke:
// ln of the mean is normal, before calibration, with this centre and spread.
type Posterior struct {
	LogMedian float64 // ln Bq/m³
	LogSD     float64
	Apart     float64   // the part of LogSD, in quadrature, of instruments and years: not of the profile's season and drift
	Course    bool      // the profile's course was used
	Scale     float64   // by which the profile's drift variances were multiplied, 1 or more: the home's days vary more
	Mean      float64   // Bq/m³
	Days      []float64 // posterior mean of each target day's concentration (mean of rooms), Bq/m³
	Daily     []Normal  // ln of each target day's mean, by itself; nil unless Home.Daily. See days
	Passes    int       // how often the linearisation was renewed
}

const (
	flatVariance = 1e3  // of a level of which nothing is known: a GSD of e^32; larger costs digits
	passesMost   = 200  // of the linearisation
	settled      = 1e-8 // largest change of a linearised term at which it stops
)

// stretch is an integrating observation with its current linearisation:
// ln(mean over the stretch) ≈ offset + Σ w (ln C(day)).
type stretch struct {
	obs    []int // observations over exactly this stretch and room
	first  int
	room   int
	worked bool
	share  []float64 // of each day, adding up to 1
	w      []float64
	offset float64
	slot   int
	query  []int // query index of each day, and
	self   int   // of the accumulated sum
}

// site is a below-limit observation as the Gaussian that stands for it.
type site struct {
	obs              int
	precision, shift float64 // 1/variance, mean/variance; 0 at the start
	query            int
}

// Posterior conditions the profile on what was seen and returns the annual mean.
//
// Formula. A Kalman filter and smoother give the mean m and covariance V of
// ln C of every target day in O(days). With S = mean of exp over days (and
// rooms), E S = mean exp(m + V/2) exactly, and Var ln S ≈ w'Vw with w in
// proportion to exp(m + V/2), which is exact where V is constant and is used in
// place of the sum over all pairs of days because it too is O(days). An
// integrating detector sees the arithmetic mean of its stretch; the same two
// moments linearise it about the current posterior, until nothing changes. A
// result below a limit enters by expectation propagation: the Gaussian with the
// moments of the truncated one.
//
// What was measured in other twelve months than the target's is seen through the
// difference of two years, each a draw from the profile's YearSD; the mean of many
// years is the target's less its year's draw.
//
// Assumes a log-normal day, and seasons and drift like those of the profile; the
// drift of a home whose own days show that it varies more is scaled up (restless).
//
// Errors: no observation, an impossible one, or a linearisation that does not settle.
//
// Source: Durbin and Koopman 2012, Time Series Analysis by State Space Methods,
// chapters 4 and 10; Fenton 1960, IRE Trans. Commun. Syst. 8:57 (sum of
// log-normals); Minka 2001 (expectation propagation).
func (p *Profile) Posterior(h Home) (Posterior, error) {
	if h.Work != nil {
		return Posterior{}, fmt.Errorf("a home with a system has two annual means; ask for both")
	}
	m, err := newMachine(p, h)
	if err != nil {
		return Posterior{}, err
	}
	out, err := m.settle()
	return out.Without, err
}

// settle passes over the home until its linearisation does not change.
func (m *machine) settle() (Pair, error) {
	for pass := 1; pass <= passesMost; pass++ {
		// Stretches at odds with the day means inside them can make full steps
		// swing to and fro; half steps end that.
		step := 1.0
		if pass > 8 {
			step = 0.5
		}
		post, change := m.pass(step)
		if change < settled {
			post.Without.Passes, post.With.Passes = pass, pass
			return post, nil
		}
	}
	return Pair{}, fmt.Errorf("the linearisation did not settle in %d passes; leave out results below the limit, or give an area prior", passesMost)
}

// machine holds one home's model laid out as a state vector:
// level | season (and course) | drift | unknown weather | detectors | rooms |
// years | the work's step, season and drift | accumulators. The level is that of
// the target's year.
type machine struct {
	p          *Profile
	h          Home
	course     *Course // nil where it is not used
	mean       []float64
	cov        [][]float64
	drift      []Component
	scale      float64     // of the drift's variances, beyond the profile's; see restless
	unknown    []Component // weather on target days that the course does not know
	dayNoise   float64
	driftAt    int
	unknownAt  int
	detectorAt int
	roomAt     int // used where h.Rooms > 1
	yearAt     int
	years      []int // other years with observations, as year() counts them
	workAt     int   // used where h.Work is not nil
	step       float64
	sumAt      int
	n          int
	first      int // first and last day of the tape
	last       int
	centre     float64 // level's prior mean where it is flat
	stretches  []stretch
	sites      []site
	byDay      [][]int // day means by day − first
	targets    []bool  // day − first is a target
	roomsUsed  []int
}

func newMachine(p *Profile, h Home) (*machine, error) {
	m := &machine{p: p, h: h}
	if len(h.Observations) == 0 {
		return nil, fmt.Errorf("no observations")
	}
	if h.Only != nil {
		if len(h.Only) == 0 {
			return nil, fmt.Errorf("no day to take the mean of")
		}
		m.h.From, m.h.To = h.Only[0], h.Only[len(h.Only)-1]+1
	}
	if m.h.To <= m.h.From {
		return nil, fmt.Errorf("the year asked for has no days")
	}
	m.first, m.last = m.h.From, m.h.To-1
	exact, sum := 0, 0.0
	for _, o := range h.Observations {
		switch {
		case o.Last < o.First || o.Last-o.First > 20000:
			return nil, fmt.Errorf("an observation from day %d to day %d", o.First, o.Last)
		case !(o.FirstShare > 0 && o.FirstShare <= 1 && o.LastShare > 0 && o.LastShare <= 1):
			return nil, fmt.Errorf("an observation with shares %v and %v of its first and last day", o.FirstShare, o.LastShare)
		case math.IsNaN(o.Log) || math.IsInf(o.Log, 0) || !(o.Variance >= 0) || math.IsInf(o.Variance, 0):
			return nil, fmt.Errorf("an observation of ln %v with variance %v", o.Log, o.Variance)
		case o.Detector < 0 || o.Detector >= len(h.Detectors) || o.Room < 0 || o.Room >= max(h.Rooms, 1):
			return nil, fmt.Errorf("an observation of detector %d in room %d, of %d and %d", o.Detector, o.Room, len(h.Detectors), h.Rooms)
		}
		m.first, m.last = min(m.first, o.First), max(m.last, o.Last)
		if !o.Below {
			exact++
			sum += o.Log
		}
	}
	if m.last-m.first > 40000 {
		return nil, fmt.Errorf("the observations span %d days; a century is the most", m.last-m.first)
	}
	if exact > 0 {
		m.centre = sum / float64(exact)
	} else if h.Work != nil {
		// centreSides has more to say
	} else if h.Prior == nil {
		return nil, fmt.Errorf("every result is below its limit, and without a prior for the level they bound it on one side only")
	} else {
		m.centre = h.Prior.Mean
	}
	days := m.last - m.first + 1
	m.targets = make([]bool, days)
	if h.Only != nil {
		for _, d := range h.Only {
			m.targets[d-m.first] = true
		}
	} else {
		for d := m.h.From; d < m.h.To; d++ {
			m.targets[d-m.first] = true
		}
	}
	if h.Work != nil {
		if err := m.centreSides(); err != nil {
			return nil, err
		}
	}
	m.layOut(days)
	m.scale = m.restless()
	for i := range m.drift {
		m.drift[i].Variance *= m.scale
	}
	return m, nil
}

// layOut gives each part of the state its place, and each stretch its slot.
func (m *machine) layOut(days int) {
	h, p := m.h, m.p
	m.drift, m.dayNoise, m.mean = p.Drift, p.DayNoise, p.Season.Mean[:]
	for i := range p.Season.Cov {
		m.cov = append(m.cov, p.Season.Cov[i][:])
	}
	if h.Course && p.Knows(h) {
		c := p.Course
		m.course, m.drift, m.dayNoise, m.mean, m.cov = c, c.Drift, c.DayNoise, c.Mean, c.Cov
	}
	// A part that learning left next to nothing of costs time and changes no digit shown.
	sizeable := func(cs []Component) []Component {
		return slices.DeleteFunc(slices.Clone(cs), func(c Component) bool { return c.Variance < 1e-8 })
	}
	m.drift = sizeable(m.drift)
	for i, is := range m.targets {
		if is && m.course != nil && !m.course.Knows(m.first+i) {
			m.unknown = sizeable(m.course.Shared)
			break
		}
	}
	for _, o := range h.Observations {
		for y := m.year(o.First); y <= m.year(o.Last); y++ {
			if y != 0 && !slices.Contains(m.years, y) {
				m.years = append(m.years, y)
			}
		}
	}
	slices.Sort(m.years)
	m.driftAt = 1 + len(m.mean)
	m.unknownAt = m.driftAt + len(m.drift)
	m.detectorAt = m.unknownAt + len(m.unknown)
	m.roomAt = m.detectorAt + len(h.Detectors)
	m.yearAt = m.roomAt
	if h.Rooms > 1 {
		m.yearAt += h.Rooms
	}
	m.workAt = m.yearAt + len(m.years)
	if h.LongRun {
		m.workAt++
	}
	m.sumAt = m.workAt
	if h.Work != nil {
		m.sumAt += 1 + len(m.mean) + len(m.drift)
	}

	m.byDay = make([][]int, days)
	seen := map[int]bool{}
	for i, o := range h.Observations {
		if !seen[o.Room] {
			seen[o.Room] = true
			m.roomsUsed = append(m.roomsUsed, o.Room)
		}
		if o.Below {
			m.sites = append(m.sites, site{obs: i})
		}
		if o.First == o.Last {
			m.byDay[o.First-m.first] = append(m.byDay[o.First-m.first], i)
			continue
		}
		same := slices.IndexFunc(m.stretches, func(s stretch) bool {
			q := h.Observations[s.obs[0]]
			return q.First == o.First && q.Last == o.Last && q.FirstShare == o.FirstShare && q.LastShare == o.LastShare && q.Room == o.Room && q.Worked == o.Worked
		})
		if same >= 0 {
			m.stretches[same].obs = append(m.stretches[same].obs, i)
			continue
		}
		n := o.Last - o.First + 1
		s := stretch{obs: []int{i}, first: o.First, room: o.Room, worked: o.Worked, share: ones(n), query: make([]int, n)}
		s.share[0], s.share[n-1] = o.FirstShare, o.LastShare
		total := 0.0
		for _, x := range s.share {
			total += x
		}
		for j := range s.share {
			s.share[j] /= total
		}
		s.w = slices.Clone(s.share)
		m.stretches = append(m.stretches, s)
	}
	slices.Sort(m.roomsUsed)
	slices.SortStableFunc(m.stretches, func(a, b stretch) int { return a.first - b.first })
	// A slot is free again the day after its stretch ends.
	var busyUntil []int
	for i := range m.stretches {
		s := &m.stretches[i]
		end := s.first + len(s.w) - 1
		k := slices.IndexFunc(busyUntil, func(d int) bool { return d < s.first })
		if k < 0 {
			k = len(busyUntil)
			busyUntil = append(busyUntil, 0)
		}
		busyUntil[k] = end
		s.slot = m.sumAt + k
	}
	m.n = m.sumAt + len(busyUntil)
}

// year is how many years a day lies from the target's, which is 0.
func (m *machine) year(day int) int {
	switch {
	case day < m.h.From:
		return -1 - (m.h.From-1-day)/365
	case day >= m.h.To:
		return 1 + (day-m.h.To)/365
	}
	return 0
}

// Knows says whether the course serves a home: it is of its areas, and saw half
// of the year and every observation from end to end.
func (p *Profile) Knows(h Home) bool {
	c := p.Course
	if c == nil || !slices.Contains(c.Areas, h.Area) {
		return false
	}
	for _, o := range h.Observations {
		if !c.Knows(o.First) || !c.Knows(o.Last) {
			return false
		}
	}
	known := 0
	for d := h.From; d < h.To; d++ {
		if c.Knows(d) {
			known++
		}
	}
	return 2*known >= h.To-h.From
}

// start is a filter in the state before the first day.
func (m *machine) start() *filter {
	f := newFilter(m.n, m.last-m.first+1)
	f.a[0], f.p[0] = m.centre, flatVariance
	if m.h.Prior != nil {
		f.a[0], f.p[0] = m.h.Prior.Mean, m.h.Prior.SD*m.h.Prior.SD
	}
	for i := range m.mean {
		f.a[1+i] = m.mean[i]
		for j := range m.mean {
			f.p[(1+i)*m.n+1+j] = m.cov[i][j]
		}
	}
	for i, c := range m.drift {
		f.decay(m.driftAt+i, c.Variance, c.Days)
	}
	for i, c := range m.unknown {
		f.decay(m.unknownAt+i, c.Variance, c.Days)
	}
	for i, sd := range m.h.Detectors {
		k := m.detectorAt + i
		f.p[k*m.n+k] = sd * sd
	}
	m.startYears(f)
	if m.h.Rooms > 1 {
		for k := m.roomAt; k < m.roomAt+m.h.Rooms; k++ {
			f.p[k*m.n+k] = m.p.RoomSD * m.p.RoomSD
		}
	}
	if m.h.Work != nil {
		m.startWork(f)
	}
	return f
}

// startYears sets what is known of the years before anything was seen. Years'
// draws e are independent with variance v. The level holds the target year's
// e₀, so another year's state is e − e₀, and for the long run the last is e₀.
func (m *machine) startYears(f *filter) {
	// A prior firmer than years differ says that here they do not.
	v := min(m.p.YearSD*m.p.YearSD, f.p[0])
	set := func(i, j int, x float64) { f.p[i*m.n+j], f.p[j*m.n+i] = x, x }
	for i := range m.years {
		for j := range m.years {
			set(m.yearAt+i, m.yearAt+j, v)
		}
		set(m.yearAt+i, m.yearAt+i, 2*v)
		set(0, m.yearAt+i, -v)
	}
	if m.h.LongRun {
		e := m.yearAt + len(m.years)
		set(e, e, v)
		set(0, e, v)
		for i := range m.years {
			set(m.yearAt+i, e, -v)
		}
	}
}

// pass runs the filter forward and back once with the current linearisation,
// renews it, and says by how much it changed.
func (m *machine) pass(step float64) (Pair, float64) {
	f := m.start()
	row := make([]float64, m.n) // ln C of the day in one room
	siteOf := map[int]*site{}
	for i := range m.sites {
		siteOf[m.sites[i].obs] = &m.sites[i]
	}
	var target []int8 // of each query: 1 of the mean without the work, 2 with it, 0 of neither
	ask := func(of int8, h []float64) int {
		f.query(h)
		target = append(target, of)
		return len(target) - 1
	}
	// see updates with observation i of the linear form h, less the offset.
	see := func(i int, h []float64, offset float64) {
		o := m.h.Observations[i]
		k := m.detectorAt + o.Detector
		h[k] = 1
		if s := siteOf[i]; s == nil {
			f.update(h, o.Log-offset, o.Variance+m.noise(o))
		} else {
			if s.precision != 0 {
				f.update(h, s.shift/s.precision, 1/s.precision) // h·x itself, its offset taken off already
			}
			s.query = ask(0, h) // now, since before the update a flat level leaves it few digits
		}
		h[k] = 0
	}
	year0 := m.yearAt + len(m.years) // where the long run holds the target year's draw
	next, active := 0, []int{}
	modes := 1 // without the work, and with it
	if m.h.Work != nil {
		modes = 2
	}
	roomQuery := make([][2]int, max(m.h.Rooms, 1))
	var dayQuery [2][]int // of each target day, with Home.Daily
	for d := m.first; d <= m.last; d++ {
		m.fill(row, d, false)
		for next < len(m.stretches) && m.stretches[next].first == d {
			f.zero(m.stretches[next].slot)
			active = append(active, next)
			next++
		}
		for _, i := range m.byDay[d-m.first] {
			o := m.h.Observations[i]
			if o.Worked {
				m.fill(row, d, true)
			}
			m.room(row, o.Room, 1)
			see(i, row, 0)
			m.room(row, o.Room, 0)
			if o.Worked {
				m.fill(row, d, false)
			}
		}
		isTarget := m.targets[d-m.first]
		for mode := range modes {
			if !isTarget && len(active) == 0 {
				break
			}
			if mode == 1 {
				m.fill(row, d, true)
			}
			var of int8
			if isTarget {
				of = int8(mode + 1)
			}
			for _, r := range m.roomsUsed {
				m.room(row, r, 1)
				if isTarget && m.h.LongRun {
					roomQuery[r][mode] = ask(0, row)
					row[year0] = -1
					ask(of, row)
					row[year0] = 0
				} else {
					roomQuery[r][mode] = ask(of, row)
				}
				m.room(row, r, 0)
			}
			if isTarget && m.h.Daily {
				for _, r := range m.roomsUsed {
					m.room(row, r, 1/float64(len(m.roomsUsed)))
				}
				dayQuery[mode] = append(dayQuery[mode], ask(0, row))
				for _, r := range m.roomsUsed {
					m.room(row, r, 0)
				}
			}
		}
		still := active[:0]
		for _, k := range active {
			s := &m.stretches[k]
			j := d - s.first
			mode := 0
			if s.worked {
				mode = 1
			}
			s.query[j] = roomQuery[s.room][mode]
			m.fill(row, d, s.worked)
			m.room(row, s.room, 1)
			f.sum(s.slot, s.w[j], row)
			m.room(row, s.room, 0)
			if j+1 < len(s.w) {
				still = append(still, k)
				continue
			}
			h := make([]float64, m.n)
			h[s.slot] = 1
			s.self = ask(0, h)
			for _, i := range s.obs {
				see(i, h, s.offset)
			}
		}
		active = still
		if d < m.last {
			f.advance()
		}
	}

	years := -1
	if m.h.LongRun {
		h := make([]float64, m.n)
		h[year0] = 1
		years = ask(0, h)
	}

	// Weights are taken relative to the highest reading so that nothing overflows.
	top := math.Inf(-1)
	for _, o := range m.h.Observations {
		top = max(top, o.Log)
	}
	expected := make([]float64, len(target))
	var total [2]float64
	moments, variance := f.smooth(modes, func(q int, mo moment) (int, float64) {
		if target[q] == 0 {
			return 0, 0
		}
		w := math.Exp(mo.mean + mo.variance/2 - top)
		expected[q] = w
		total[target[q]-1] += w
		return int(target[q] - 1), w
	})
	var out Pair
	posts := []*Posterior{&out.Without, &out.With}[:modes]
	for k, post := range posts {
		post.Course, post.Scale = m.course != nil, m.scale
		s2 := variance[k][k] / (total[k] * total[k])
		rooms := float64(len(m.roomsUsed))
		post.Days = make([]float64, 0, m.h.To-m.h.From)
		sum, count := 0.0, 0
		for q, of := range target {
			if of == int8(k+1) {
				sum += expected[q]
				if count++; count == len(m.roomsUsed) {
					post.Days = append(post.Days, math.Exp(top+math.Log(sum/rooms)))
					sum, count = 0, 0
				}
			}
		}
		logMean := top + math.Log(total[k]/(float64(len(post.Days))*rooms))
		post.LogMedian, post.LogSD, post.Mean = logMean-s2/2, math.Sqrt(s2), math.Exp(logMean)
		of := side(k)
		if modes == 1 {
			of = everything
		}
		apart := m.instruments(of)
		if years >= 0 {
			apart += moments[years].variance
		}
		post.Apart = min(math.Sqrt(apart), post.LogSD)
		if m.h.Daily {
			post.Daily = m.days(post.Days, dayQuery[k], moments)
		}
	}
	if modes == 2 {
		out.join(m, total, variance)
	}

	change := 0.0
	for k := range m.stretches {
		change = max(change, m.stretches[k].renew(moments, step))
	}
	for k := range m.sites {
		s := &m.sites[k]
		o := m.h.Observations[s.obs]
		offset := 0.0
		for i := range m.stretches {
			if slices.Contains(m.stretches[i].obs, s.obs) {
				offset = m.stretches[i].offset
			}
		}
		change = max(change, s.renew(moments[s.query], o.Log-offset, o.Variance+m.noise(o)))
	}
	return out, change
}

// days is what is known of each target day by itself: ln of its mean is normal about
// where the day's expected concentration has it, with the spread of the mean of its
// rooms' logarithms and a day's own scatter about the model. Unlike the year's, the
// spread is not calibrated.
func (m *machine) days(expected []float64, query []int, moments []moment) []Normal {
	out := make([]Normal, len(query))
	for i, q := range query {
		v := moments[q].variance
		mean := moments[q].mean
		if !m.h.LongRun {
			mean = math.Log(expected[i]) - v/2
		}
		out[i] = Normal{mean, math.Sqrt(v + m.dayNoise*m.dayNoise)}
	}
	return out
}

// instruments is the variance of ln of the mean that instruments' errors make on
// one side of the work, weighted by the days each observation is of.
func (m *machine) instruments(of side) float64 {
	days, random := m.instrumentDays(of)
	for i, sd := range m.h.Detectors {
		random += math.Pow(sd*days[i], 2)
	}
	return random
}

// instrumentDays is each detector's share of the days, and the variance that the
// random errors of the readings make.
func (m *machine) instrumentDays(of side) (share []float64, random float64) {
	share = make([]float64, len(m.h.Detectors))
	all := 0.0
	for _, o := range m.h.Observations {
		if of != everything && o.Worked != (of == with) {
			continue
		}
		n := float64(o.Last - o.First + 1)
		share[o.Detector] += n
		all += n
		random += n * n * o.Variance
	}
	if all == 0 {
		return share, 0
	}
	for i := range share {
		share[i] /= all
	}
	return share, random / (all * all)
}

// fill puts the linear form of ln C on day d, without a room, into row.
func (m *machine) fill(row []float64, d int, worked bool) {
	clear(row)
	row[0] = 1
	harmonics(float64(d), row[1:])
	for i := m.driftAt; i < m.unknownAt; i++ {
		row[i] = 1
	}
	if c := m.course; c != nil && c.Knows(d) {
		for k, f := range c.Factors {
			row[1+Harmonics+k] = f[d-c.First]
		}
	} else {
		for i := m.unknownAt; i < m.detectorAt; i++ {
			row[i] = 1
		}
	}
	if k, found := slices.BinarySearch(m.years, m.year(d)); found {
		row[m.yearAt+k] = 1
	}
	if worked {
		m.fillWork(row)
	}
}

func (m *machine) room(row []float64, r int, x float64) {
	if m.h.Rooms > 1 {
		row[m.roomAt+r] = x
	}
}

// noise is the model's own error variance of an observation: a day mean
// scatters about the model; over a stretch that averages out.
func (m *machine) noise(o Observation) float64 {
	days := float64(o.Last - o.First + 1)
	return m.dayNoise * m.dayNoise / days
}

// renew linearises ln Σ share·exp(x) about the posterior moments of the days and
// of their weighted sum, by the mean and variance of a sum of log-normals.
func (s *stretch) renew(moments []moment, step float64) float64 {
	top := math.Inf(-1)
	for _, q := range s.query {
		top = max(top, moments[q].mean+moments[q].variance/2)
	}
	total := 0.0
	w := make([]float64, len(s.w))
	for j, q := range s.query {
		w[j] = s.share[j] * math.Exp(moments[q].mean+moments[q].variance/2-top)
		total += w[j]
	}
	offset := top + math.Log(total) - moments[s.self].variance/2
	change := 0.0
	for j, q := range s.query {
		w[j] /= total
		offset -= w[j] * moments[q].mean
		change = max(change, math.Abs(w[j]-s.w[j]))
	}
	change = max(change, math.Abs(offset-s.offset))
	for j := range w {
		s.w[j] += step * (w[j] - s.w[j])
	}
	s.offset += step * (offset - s.offset)
	return change
}

// renew replaces "h·x plus noise lies under limit" by the Gaussian that gives
// h·x the mean and variance of the truncated one, damped.
func (s *site) renew(m moment, limit, noise float64) float64 {
	precision, shift := 1/m.variance-s.precision, m.mean/m.variance-s.shift
	if !(precision > 0) {
		return 1 // not settled: other sites have to move first
	}
	v := 1 / precision
	mean := shift * v
	sd := math.Sqrt(v + noise)
	z := (limit - mean) / sd
	rho := hazard(z)
	tilted := mean - v*rho/sd
	variance := v - v*v*rho*(rho+z)/(v+noise)
	if !(variance > 0) {
		return 1
	}
	const damp = 0.7
	p := max(0, 1/variance-precision)
	b := tilted/variance - shift
	if p == 0 {
		b = 0
	}
	dp, db := damp*(p-s.precision), damp*(b-s.shift)
	s.precision += dp
	s.shift += db
	return max(math.Abs(dp)*m.variance, math.Abs(db)*math.Sqrt(m.variance))
}

// hazard is φ(z)/Φ(z), with its asymptote where Φ vanishes.
func hazard(z float64) float64 {
	if z < -30 {
		return -z - 1/z
	}
	return distuv.UnitNormal.Prob(z) / distuv.UnitNormal.CDF(z)
}
