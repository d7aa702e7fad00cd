package temporal

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat/distuv"

	"radonyear/analysis"
)

// TestByHand works with so little that the answer can be derived beside it.
func TestByHand(t *testing.T) {
	// One static state with prior N(0, 4), seen once as 3 with noise 1: mean
	// 3·4/5, variance 4·1/5. Twice more, as 3 and 0: precision 1/4 + 3.
	f := newFilter(1, 4)
	f.p[0] = 4
	h := []float64{1}
	f.query(h)
	f.update(h, 3, 1)
	f.query(h)
	f.update(h, 3, 1)
	f.update(h, 0, 1)
	m, totals := f.smooth(1, func(int, moment) (int, float64) { return 0, 1 })
	total := totals[0][0]
	for _, q := range m {
		if math.Abs(q.mean-6/3.25) > 1e-14 || math.Abs(q.variance-1/3.25) > 1e-14 {
			t.Errorf("smoothed %v, want mean %v and variance %v", q, 6/3.25, 1/3.25)
		}
	}
	if math.Abs(total-4/3.25) > 1e-13 { // of the sum of twice the same
		t.Errorf("variance of the sum is %v, want %v", total, 4/3.25)
	}

	// Days are civil days: one hour before midnight in Oslo is the day before.
	oslo := time.FixedZone("", 3600)
	if d := Day(time.Date(1970, 1, 2, 22, 59, 0, 0, time.UTC), oslo); d != 1 {
		t.Errorf("day %d, want 1", d)
	}
	if d := Day(time.Date(1970, 1, 2, 23, 0, 0, 0, time.UTC), oslo); d != 2 {
		t.Errorf("day %d, want 2", d)
	}
	if !Date(2, oslo).Equal(time.Date(1970, 1, 2, 23, 0, 0, 0, time.UTC)) {
		t.Errorf("day 2 starts at %v", Date(2, oslo))
	}
	// From noon on day 1 to six on day 3: half a day, a day, a quarter.
	first, a, last, b := span(time.Date(1970, 1, 2, 12, 0, 0, 0, time.UTC), time.Date(1970, 1, 4, 6, 0, 0, 0, time.UTC), time.UTC)
	if first != 1 || a != .5 || last != 3 || b != .25 {
		t.Errorf("stretch %d (%v) to %d (%v)", first, a, last, b)
	}
	// To midnight exactly: the day that begins there is not touched.
	if _, _, last, b := span(time.Date(1970, 1, 2, 0, 0, 0, 0, time.UTC), time.Date(1970, 1, 4, 0, 0, 0, 0, time.UTC), time.UTC); last != 2 || b != 1 {
		t.Errorf("ends on day %d (%v)", last, b)
	}

	// Between two rows of a calibration it is linear in ln(days): half way from 2
	// to 8 is 4. At a full year nothing is left to widen.
	// Of the second row the root mean square is not stated, and taken to be as the factor.
	p := Profile{Calibration: []Calibration{{2, 1.2, 0.9}, {8, 0.8, 0}}}
	for _, c := range []struct{ days, factor, error float64 }{{1, 1.2, 0.9}, {2, 1.2, 0.9}, {4, 1, 0.85}, {8, .8, 0.8}, {365, 1, 1}, {1000, 1, 1}} {
		if got := p.Calibrated(3, 0, c.days, false); math.Abs(got-3*c.factor) > 1e-12 {
			t.Errorf("spread after %v days: %v, want %v times 3", c.days, got, c.factor)
		}
		if got := p.RootMeanSquare(3, 0, c.days, false); math.Abs(got-3*c.error) > 1e-12 {
			t.Errorf("root mean square after %v days: %v, want %v times 3", c.days, got, c.error)
		}
	}
	// Of a spread of 5 a part of 4 is apart: √(3²·1.2² + 4²).
	if got := p.Calibrated(5, 4, 1, false); math.Abs(got-math.Sqrt(9*1.44+16)) > 1e-12 {
		t.Errorf("with a part apart: %v", got)
	}
	if none := new(Profile); none.Calibrated(3, 0, 7, false) != 3 || none.RootMeanSquare(3, 0, 7, false) != 3 {
		t.Error("without rows nothing is widened")
	}

	// A home that never changes within a year, seen without error on day 0; years
	// differ by a log standard deviation of 0.3. Its own year is then known, the
	// long run to one draw. The year after lies two draws away. Seen in two years,
	// as 100 and 121, the long run is 110 to a draw over √2, and with a third year
	// to √3. An area's prior of the same 0.3 would call half of a reading chance.
	still := BuiltIn(false)
	still.Season, still.Drift, still.DayNoise, still.YearSD = Season{}, []Component{{1, 0}}, 1e-6, 0.3
	on := func(day int, c float64) Observation {
		return Observation{First: day, Last: day, FirstShare: 1, LastShare: 1, Log: math.Log(c)}
	}
	for _, c := range []struct {
		name   string
		obs    []Observation
		from   int
		long   bool
		prior  *Normal
		median float64
		sd     float64
	}{
		{"its own year", []Observation{on(0, 100)}, 0, false, nil, 100, 0},
		{"the long run", []Observation{on(0, 100)}, 0, true, nil, 100, .3},
		{"the next year", []Observation{on(0, 100)}, 365, false, nil, 100, .3 * math.Sqrt2},
		{"the year before", []Observation{on(0, 100)}, -365, false, nil, 100, .3 * math.Sqrt2},
		{"two years", []Observation{on(0, 100), on(400, 121)}, 0, true, nil, 110, .3 / math.Sqrt2},
		{"three years", []Observation{on(0, 100), on(400, 100), on(800, 100)}, 365, true, nil, 100, .3 / math.Sqrt(3)},
		{"all in area's prior", []Observation{on(0, 100)}, 0, true, &Normal{math.Log(81), .3}, 81, 0},
		{"a firmer prior", []Observation{on(0, 100)}, 0, true, &Normal{math.Log(81), .1}, 81, 0},
		{"half in area's prior", []Observation{on(0, 100)}, 0, true, &Normal{math.Log(81), .3 * math.Sqrt2}, 90, .3 / math.Sqrt2},
	} {
		post, err := still.Posterior(Home{Observations: c.obs, Detectors: []float64{0}, From: c.from, To: c.from + 365, LongRun: c.long, Prior: c.prior})
		if err != nil {
			t.Fatal(c.name, err)
		}
		if got := math.Exp(post.LogMedian); math.Abs(got/c.median-1) > 1e-4 || math.Abs(post.LogSD-c.sd) > 1e-4 {
			t.Errorf("%s: %v with spread %v, want %v and %v", c.name, got, post.LogSD, c.median, c.sd)
		}
		if c.long && math.Abs(post.Apart-post.LogSD) > 1e-4 {
			t.Errorf("%s: %v of %v is not the profile's season and drift", c.name, post.Apart, post.LogSD)
		}
	}

	// Half a year of weather that the course does not know, one value throughout
	// with variance 0.4, doubles nothing but adds half of e^0.2 to the mean.
	half := *still
	half.Course = &Course{First: 0, Areas: []string{""}, Homes: slices.Repeat([]int{9}, 182), Factors: [][]float64{make([]float64, 182)},
		Mean: make([]float64, 5), Cov: [][]float64{make([]float64, 5), make([]float64, 5), make([]float64, 5), make([]float64, 5), make([]float64, 5)},
		Drift: still.Drift, Shared: []Component{{1e5, .4}}, DayNoise: 1e-6}
	for _, to := range []int{182, 364} {
		post, err := half.Posterior(Home{Observations: []Observation{on(0, 100)}, Detectors: []float64{0}, To: to, Course: true})
		if err != nil {
			t.Fatal(err)
		}
		want := 100.0
		if to == 364 {
			want = 100 * (1 + math.Exp(.2)) / 2
		}
		if !post.Course || math.Abs(post.Mean/want-1) > 1e-4 {
			t.Errorf("up to day %d the mean is %v, want %v", to, post.Mean, want)
		}
	}
}

// TestReference holds small formulas to print.
func TestReference(t *testing.T) {
	// Standard error of the mean of an autocorrelated record of length T with
	// correlation time tau, hourly standard deviation 50 %:
	// σ² (2τ/T) [1 − (τ/T)(1 − exp(−T/τ))] (textbook, e.g. Priestley 1981, ch. 5,
	// from memory). The filter takes hours for its days here; columns are 2, 7, 30
	// and 90 days.
	for tau, want := range map[float64][4]float64{12: {31, 18, 9, 5}, 24: {38, 25, 13, 7}, 48: {43, 32, 18, 10}} {
		for i, days := range []int{2, 7, 30, 90} {
			f := newFilter(1, 24*days)
			f.decay(0, 0.25, tau)
			for range 24 * days {
				f.query([]float64{1})
				f.advance()
			}
			_, vs := f.smooth(1, func(int, moment) (int, float64) { return 0, 1 / float64(24*days) })
			v := vs[0][0]
			if got := 100 * math.Sqrt(v); math.Abs(got-want[i]) > 0.55 {
				t.Errorf("τ %v h over %d d: %.2f %%, want %v", tau, days, got, want[i])
			}
			T := float64(24 * days)
			exact := 50 * math.Sqrt(2*tau/T*(1-tau/T*(1-math.Exp(-T/tau))))
			if math.Abs(100*math.Sqrt(v)-exact) > 0.05 {
				t.Errorf("τ %v h over %d d: %.3f %%, the integral says %.3f", tau, days, 100*math.Sqrt(v), exact)
			}
		}
	}

	// Counting error at the least sensitivity of a continuous monitor, 2 counts an
	// hour per pCi/L (ANSI/AARST MS-PC 2015, 6), in percent.
	for c, want := range map[float64][5]float64{50: {61, 12, 8.8, 4.7, 2.3}, 100: {43, 8.8, 6.2, 3.3, 1.6}, 200: {30, 6.2, 4.4, 2.3, 1.1}} {
		for i, hours := range []float64{1, 24, 48, 168, 720} {
			got := 100 * CountingError(analysis.MinSensitivity, c, hours)
			round := 0.05
			if want[i] >= 10 {
				round = 0.5
			}
			if math.Abs(got-want[i]) > round {
				t.Errorf("%v Bq/m³ over %v h: %.2f %%, want %v", c, hours, got, want[i])
			}
		}
	}

	// Coefficient of variation to log scale: sd = √ln(1+CV²), GSD its exponential.
	for cv, want := range map[float64]float64{.10: 1.105, .17: 1.18, .20: 1.22, .25: 1.28, .35: 1.40, .50: 1.60, .62: 1.77} {
		if got := math.Exp(logSD(cv)); math.Abs(got-want) > 0.006 {
			t.Errorf("CV %v: GSD %.4f, want %v", cv, got, want)
		}
	}
}

// TestAgainstSimulation: the log-normal with the two moments against draws of
// the days themselves, on the widest posteriors there are.
func TestAgainstSimulation(t *testing.T) {
	p := BuiltIn(false)
	first := 19737 // 15 January 2024
	for _, days := range []int{2, 30} {
		h := Home{Rooms: 1, Detectors: []float64{0.05}, From: first - 182, To: first + 183}
		for d := range days {
			h.Observations = append(h.Observations, Observation{First: first + d, Last: first + d, FirstShare: 1, LastShare: 1, Log: 5})
		}
		post, err := p.Posterior(h)
		if err != nil {
			t.Fatal(err)
		}
		// Draws by conditioning unconditional draws on the observations (Durbin and
		// Koopman 2002, Biometrika 89:603): a smoother run on the drawn data.
		rng := rand.New(rand.NewPCG(3, uint64(days)))
		const n = 600
		hat, err := smoothDays(p, h)
		if err != nil {
			t.Fatal(err)
		}
		var means []float64
		for range n {
			x, y := drawYear(p, h, rng)
			g := h
			g.Observations = slices.Clone(h.Observations)
			for i := range g.Observations {
				g.Observations[i].Log = y[i]
			}
			star, err := smoothDays(p, g)
			if err != nil {
				t.Fatal(err)
			}
			s := 0.0
			for i := range x {
				s += math.Exp(x[i] - star[i] + hat[i])
			}
			means = append(means, math.Log(s/float64(len(x))))
		}
		slices.Sort(means)
		q := func(p float64) float64 { return means[int(p*n)] }
		for _, p := range []float64{.025, .1, .5, .9, .975} {
			z := distuv.UnitNormal.Quantile(p)
			want := post.LogMedian + post.LogSD*z
			// Three standard errors of a simulated quantile, and what the moments miss.
			se := post.LogSD * math.Sqrt(p*(1-p)/n) / distuv.UnitNormal.Prob(z)
			if got := q(p); math.Abs(got-want) > 3*se+0.02 {
				t.Errorf("%d days, quantile %v: moments say %.3f, draws %.3f (standard error %.3f)", days, p, want, got, se)
			}
		}
	}
}

// smoothDays is the posterior mean of ln C of each target day.
func smoothDays(p *Profile, h Home) ([]float64, error) {
	m, err := newMachine(p, h)
	if err != nil {
		return nil, err
	}
	m.centre = 5
	f := m.start()
	row := make([]float64, m.n)
	target := []bool{}
	for d := m.first; d <= m.last; d++ {
		m.fill(row, d, false)
		for _, i := range m.byDay[d-m.first] {
			row[m.detectorAt] = 1
			f.update(row, m.h.Observations[i].Log, m.noise(m.h.Observations[i]))
			row[m.detectorAt] = 0
		}
		f.query(row)
		target = append(target, m.targets[d-m.first])
		if d < m.last {
			f.advance()
		}
	}
	ms, _ := f.smooth(1, func(int, moment) (int, float64) { return 0, 0 })
	var out []float64
	for i, x := range ms {
		if target[i] {
			out = append(out, x.mean)
		}
	}
	return out, nil
}

// drawYear draws ln C of the target days, and readings, from the prior.
func drawYear(p *Profile, h Home, rng *rand.Rand) (x, y []float64) {
	level := 5 + math.Sqrt(flatVariance)*rng.NormFloat64()
	var beta [Harmonics]float64
	for i := range beta {
		beta[i] = p.Season.Mean[i] + math.Sqrt(p.Season.Cov[i][i])*rng.NormFloat64()
	}
	gain := h.Detectors[0] * rng.NormFloat64()
	state := make([]float64, len(p.Drift))
	for d := h.From; d < h.To; d++ {
		l := level
		for i, r := range Regressors(d) {
			l += beta[i] * r
		}
		for i, c := range p.Drift {
			ph := math.Exp(-1 / c.Days)
			if d == h.From {
				state[i] = math.Sqrt(c.Variance) * rng.NormFloat64()
			} else {
				state[i] = ph*state[i] + math.Sqrt(c.Variance*(1-ph*ph))*rng.NormFloat64()
			}
			l += state[i]
		}
		x = append(x, l)
		for _, o := range h.Observations {
			if o.First == d {
				y = append(y, l+gain+p.DayNoise*rng.NormFloat64())
			}
		}
	}
	return x, y
}

// TestCensored: one result below its limit against the integral it stands for.
func TestCensored(t *testing.T) {
	p := BuiltIn(false)
	p.Season = Season{}
	p.Drift = []Component{{10, 1e-9}}
	p.DayNoise = 0
	for _, c := range []struct{ mean, sd, limit, noise float64 }{{4, 1, 3, .1}, {4, 1, 5, .1}, {4, .5, 2, .3}, {3, 1.4, 3, .01}} {
		h := Home{Rooms: 1, Detectors: []float64{0}, Prior: &Normal{c.mean, c.sd}, From: 100, To: 130,
			Observations: []Observation{{First: 100, Last: 129, FirstShare: 1, LastShare: 1, Log: c.limit, Variance: c.noise * c.noise, Below: true}}}
		post, err := p.Posterior(h)
		if err != nil {
			t.Fatal(err)
		}
		var w, m, v float64
		for x := c.mean - 8*c.sd; x < c.mean+8*c.sd; x += c.sd / 2000 {
			d := distuv.UnitNormal.Prob((x-c.mean)/c.sd) * distuv.UnitNormal.CDF((c.limit-x)/c.noise)
			w, m, v = w+d, m+d*x, v+d*x*x
		}
		m /= w
		sd := math.Sqrt(v/w - m*m)
		if math.Abs(post.LogMedian-m) > 1e-3 || math.Abs(post.LogSD-sd) > 1e-3 {
			t.Errorf("%+v: centre %.5f ± %.5f, the integral says %.5f ± %.5f", c, post.LogMedian, post.LogSD, m, sd)
		}
	}
}

// TestCensoredSettles: a limit that other rooms hold closely settles to the last
// digit, though before anything is seen the level may be anything.
func TestCensoredSettles(t *testing.T) {
	day := func(d, room int, c float64, below bool) Observation {
		return Observation{First: d, Last: d, FirstShare: 1, LastShare: 1, Log: math.Log(c), Room: room, Below: below}
	}
	post, err := BuiltIn(false).Posterior(Home{Rooms: 2, Detectors: []float64{.05}, From: 20300, To: 20665, Observations: []Observation{
		day(20463, 0, 15, true), day(20464, 0, 30, false), day(20463, 1, 27.5, false), day(20464, 1, 30, false)}})
	if err != nil || post.Passes > 40 {
		t.Errorf("%d passes, %v", post.Passes, err)
	}
}

// TestCensoredAgainstSimulation: an integrating result below its limit, in a home
// whose days differ, against years drawn from the prior and weighted by how
// likely each was to stay below the limit.
func TestCensoredAgainstSimulation(t *testing.T) {
	p := BuiltIn(false)
	p.Drift = []Component{{3, 0.4}, {40, 0.05}}
	const first, days, noise, limit = 19700, 60, 0.1, 3.8
	h := Home{Rooms: 1, Detectors: []float64{0}, Prior: &Normal{4, 0.7}, From: first - 150, To: first + 215,
		Observations: []Observation{{First: first, Last: first + days - 1, FirstShare: 1, LastShare: 1, Log: limit, Variance: noise * noise, Below: true}}}
	post, err := p.Posterior(h)
	if err != nil {
		t.Fatal(err)
	}
	rng := rand.New(rand.NewPCG(8, 8))
	var w, m, v, w2 float64
	for range 6000 {
		level := 4 + 0.7*rng.NormFloat64()
		var beta [Harmonics]float64
		for i := range beta {
			beta[i] = p.Season.Mean[i] + math.Sqrt(p.Season.Cov[i][i])*rng.NormFloat64()
		}
		state := make([]float64, len(p.Drift))
		year, window := 0.0, 0.0
		for d := h.From; d < h.To; d++ {
			l := level
			for i, r := range Regressors(d) {
				l += beta[i] * r
			}
			for i, c := range p.Drift {
				ph := math.Exp(-1 / c.Days)
				if d == h.From {
					ph = 0
				}
				state[i] = ph*state[i] + math.Sqrt(c.Variance*(1-ph*ph))*rng.NormFloat64()
				l += state[i]
			}
			year += math.Exp(l) / float64(h.To-h.From)
			if d >= first && d < first+days {
				window += math.Exp(l) / days
			}
		}
		x := math.Log(year)
		k := distuv.UnitNormal.CDF((limit - math.Log(window)) / noise)
		w, w2, m, v = w+k, w2+k*k, m+k*x, v+k*x*x
	}
	m /= w
	sd := math.Sqrt(v/w - m*m)
	se := sd * math.Sqrt(w2) / w
	if math.Abs(post.LogMedian-m) > 4*se+0.02 || math.Abs(post.LogSD/sd-1) > 0.08 {
		t.Errorf("centre %.3f ± %.3f, simulation says %.3f ± %.3f (standard error %.3f)", post.LogMedian, post.LogSD, m, sd, se)
	}
}

// TestProfile: a profile comes back from its text as it was, and a damaged one
// is refused by the name of what is wrong.
func TestProfile(t *testing.T) {
	p := BuiltIn(true)
	p.Calibration = []Calibration{{2, 1.1, 0.95}, {30, .9, 0}}
	p.Course = &Course{First: 19000, Areas: []string{"A"}, Homes: []int{9, 0}, Factors: [][]float64{{.1, 0}}, Mean: []float64{.1, 0, 0, 0, 1}, Drift: p.Drift, Shared: []Component{{6, .1}}, DayNoise: .1}
	for i := range 5 {
		p.Course.Cov = append(p.Course.Cov, make([]float64, 5))
		p.Course.Cov[i][i] = .1
	}
	q, err := ParseProfile(p.JSON())
	if err != nil {
		t.Fatal(err)
	}
	if !bytes.Equal(p.JSON(), q.JSON()) {
		t.Error("the text changed on its way")
	}
	for _, c := range []struct{ old, new, says string }{
		{ProfileSchema, "radonyear/profile/0", "schema"},
		{`"day_noise": 0.05,`, `"day_noise": -1,`, "day_noise"},
		{`"year_sd": 0.25`, `"year_sd": 1e9`, "year_sd"},
		{`"variance": 0.042`, `"variance": -0.042`, "drift component 3"},
		{`"factor": 0.9`, `"factor": 0`, "calibration row 2"},
		{`"first_day"`, `"frist_day"`, "frist_day"},
		{`"homes": 0`, `"homes": "none"`, "homes"},
		{`0.0324`, `-0.0324`, "negative eigenvalue"},
	} {
		text := strings.Replace(string(p.JSON()), c.old, c.new, 1)
		if text == string(p.JSON()) {
			t.Fatalf("%q is not in the profile:\n%s", c.old, text)
		}
		if _, err := ParseProfile([]byte(text)); err == nil || !strings.Contains(err.Error(), c.says) {
			t.Errorf("%s → %s: %v", c.old, c.new, err)
		}
	}
	if _, err := ParseProfile([]byte("{")); err == nil {
		t.Error("half a profile was taken")
	}
}

// TestObserve: what is said of a file's silence about errors.
func TestObserve(t *testing.T) {
	at := func(d int) time.Time { return time.Date(2024, 1, 1+d, 0, 0, 0, 0, time.UTC) }
	series := func(room, detector string, rs ...analysis.Reading) analysis.Series {
		s, err := analysis.NewSeries(analysis.Place{Home: "h", Room: room, Detector: detector}, time.UTC, rs)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	h, notes, err := Observe([]analysis.Series{
		series("b", "m", analysis.Reading{Start: at(0), End: at(1), Concentration: 100}, analysis.Reading{Start: at(1), End: at(2), Concentration: 100, Share: .5}),
		series("a", "p", analysis.Reading{Start: at(0), End: at(30), Concentration: 80}),
		series("a", "q", analysis.Reading{Start: at(0), End: at(30), Concentration: 80, Uncertainty: 8}),
	}, 0)
	if err != nil || h.Rooms != 2 || len(h.Detectors) != 3 {
		t.Fatalf("%+v, %v", h, err)
	}
	// Rooms and detectors in order of name: p (a), q (a), m (b).
	shared := logSD(DefaultCalibration)
	if h.Detectors[0] != shared || h.Detectors[1] != shared || h.Detectors[2] != shared {
		t.Errorf("calibrations are %v", h.Detectors)
	}
	if v := h.Observations[0].Variance; math.Abs(v-math.Log1p(IntegratingError*IntegratingError)) > 1e-12 {
		t.Errorf("variance of an unstated result is %v", v)
	}
	// A stated uncertainty holds the calibration: in all it stays what it was.
	if v := h.Observations[1].Variance; math.Abs(v+shared*shared-math.Log1p(.01)) > 1e-12 {
		t.Errorf("variance of a result known to 10 %% is %v and %v", v, shared*shared)
	}
	if a, b := h.Observations[2], h.Observations[3]; a.Variance != 0 || b.Variance < .06 || b.FirstShare != .5 {
		t.Errorf("a whole day %+v, half a day %+v", a, b)
	}
	if !analysis.HasNote(notes, "partial-days") {
		t.Errorf("notes %v", notes)
	}
	// One detector is one calibration, in whatever room; results it knows to 3 and
	// 10 % share 3 % at most, and its day means, which state none, the default.
	h, _, err = Observe([]analysis.Series{
		series("a", "p", analysis.Reading{Start: at(0), End: at(30), Concentration: 100, Uncertainty: 10}, analysis.Reading{Start: at(30), End: at(31), Concentration: 100}),
		series("b", "p", analysis.Reading{Start: at(30), End: at(60), Concentration: 100, Uncertainty: 3}, analysis.Reading{Start: at(60), End: at(61), Concentration: 100}),
		series("b", "q", analysis.Reading{Start: at(0), End: at(1), Concentration: 100}),
	}, 0)
	if err != nil || !slices.Equal(h.Detectors, []float64{logSD(.03), shared, shared}) {
		t.Fatalf("%+v, %v", h, err)
	}
	var of []int
	for _, o := range h.Observations {
		of = append(of, o.Detector)
	}
	if !slices.Equal(of, []int{0, 1, 0, 1, 2}) {
		t.Errorf("observations are of detectors %v", of)
	}
	if a, b := h.Observations[0].Variance, h.Observations[2].Variance; math.Abs(a-math.Log1p(.01)+math.Log1p(.0009)) > 1e-12 || b > 1e-12 {
		t.Errorf("variances of what is not shared: %v and %v", a, b)
	}
	if _, _, err := Observe([]analysis.Series{series("", "", analysis.Reading{Start: at(0), End: at(1), Concentration: 1e9})}, 0); err == nil {
		t.Error("1e9 Bq/m³ was taken")
	}
	if _, _, err := Observe(nil, 0); err == nil {
		t.Error("nothing was taken")
	}
}

// TestErrors: a home that cannot be is refused.
func TestErrors(t *testing.T) {
	good := Home{Rooms: 1, Detectors: []float64{.05}, From: 100, To: 465, Observations: []Observation{{First: 100, Last: 100, FirstShare: 1, LastShare: 1, Log: 4}}}
	if _, err := BuiltIn(false).Posterior(good); err != nil {
		t.Fatal(err)
	}
	for name, change := range map[string]func(*Home){
		"none":      func(h *Home) { h.Observations = nil },
		"backwards": func(h *Home) { h.Observations[0].Last = 90 },
		"no share":  func(h *Home) { h.Observations[0].FirstShare = 0 },
		"NaN":       func(h *Home) { h.Observations[0].Log = math.NaN() },
		"detector":  func(h *Home) { h.Observations[0].Detector = 1 },
		"room":      func(h *Home) { h.Observations[0].Room = 1 },
		"no year":   func(h *Home) { h.To = h.From },
		"no days":   func(h *Home) { h.Only = []int{} },
		"far":       func(h *Home) { h.Observations[0].First, h.Observations[0].Last = 90000, 90000 },
		"one side":  func(h *Home) { h.Observations[0].Below = true },
	} {
		h := good
		h.Observations = slices.Clone(good.Observations)
		change(&h)
		if _, err := BuiltIn(false).Posterior(h); err == nil {
			t.Errorf("%s: no error", name)
		}
	}
}

func BenchmarkPosterior(b *testing.B) {
	h := Home{Rooms: 1, Detectors: []float64{.05}, From: 19000, To: 19365}
	for d := range 365 {
		h.Observations = append(h.Observations, Observation{First: 19000 + d, Last: 19000 + d, FirstShare: 1, LastShare: 1, Log: 5 + math.Sin(float64(d))})
	}
	p := BuiltIn(false)
	for b.Loop() {
		if _, err := p.Posterior(h); err != nil {
			b.Fatal(err)
		}
	}
}

// TestRestlessByHand: days that the profile takes for independent, with a variance
// of 0.5. Five of them at 1, e, e², e³, e⁴ have a sum of squares of 10 where four
// times 0.5 is expected, over the 95 % point of χ² with four degrees of freedom,
// 9.488 in any table, over four.
func TestRestlessByHand(t *testing.T) {
	p := BuiltIn(false)
	p.Season, p.Drift, p.DayNoise = Season{}, []Component{{1e-3, .3}}, math.Sqrt(.2)
	h := Home{Detectors: []float64{0}, From: 0, To: 365}
	for d := range 5 {
		h.Observations = append(h.Observations, Observation{First: 3 * d, Last: 3 * d, FirstShare: 1, LastShare: 1, Log: float64(d)})
	}
	m, err := newMachine(p, h)
	if want := 10 / 2.0 / (9.488 / 4); err != nil || math.Abs(m.scale/want-1) > 1e-3 || math.Abs(m.drift[0].Variance-.3*m.scale) > 1e-12 {
		t.Errorf("scale %v, want %v; %v", m.scale, want, err)
	}
	for i := range h.Observations {
		h.Observations[i].Log *= .5 // a sum of 2.5 is not beyond what chance makes of 2
	}
	if m, err := newMachine(p, h); err != nil || m.scale != 1 {
		t.Errorf("scale %v, want 1; %v", m.scale, err)
	}
	// A cycle known to differ between homes is no restlessness: half a year along it.
	q := BuiltIn(false)
	q.Drift, q.DayNoise = []Component{{1e-3, .01}}, .01
	h.Observations = nil
	for d := 0; d < 180; d += 5 {
		y := 0.0
		for k, x := range Regressors(d) {
			y += (q.Season.Mean[k] + math.Sqrt(q.Season.Cov[k][k])) * x
		}
		h.Observations = append(h.Observations, Observation{First: d, Last: d, FirstShare: 1, LastShare: 1, Log: y})
	}
	if m, err := newMachine(q, h); err != nil || m.scale != 1 {
		t.Errorf("an ordinary cycle gives scale %v; %v", m.scale, err)
	}
}
