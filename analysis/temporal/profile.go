// Package temporal answers: how does a home's radon vary within a year, and
// what does a measurement of some of its days say about the others?
//
// One model serves every test length. The logarithm of each day's mean is
//
//	ln C(day) = level + season(day) + drift(day)
//
// with a level of the home's own, a season of two harmonics whose coefficients
// differ between homes, and a drift that sums Ornstein-Uhlenbeck processes of
// several correlation times (weather, occupants, soil). A Profile holds what is
// known of season and drift before the home was measured; Posterior conditions
// on what its detectors said and returns the annual mean.
package temporal

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"gonum.org/v1/gonum/mat"
)

// YearDays is the length of the mean year the season repeats in.
const YearDays = 365.25

// Harmonics is the number of season coefficients: cosine and sine of the year
// and of the half year.
const Harmonics = 4

// Profile is what is known of season and drift in a kind of home: the built-in
// one, or one learned from a region. All variances are of natural logarithms.
type Profile struct {
	Schema      string        `json:"schema"`
	Name        string        `json:"name"`
	Provenance  string        `json:"provenance"` // which homes, how many, which dates, who made it
	Homes       int           `json:"homes"`      // how many it was learned from; 0 for the built-in
	Season      Season        `json:"season"`
	Drift       []Component   `json:"drift"`
	DayNoise    float64       `json:"day_noise"` // log standard deviation of a day mean about the model
	YearSD      float64       `json:"year_sd"`   // log standard deviation between years
	RoomSD      float64       `json:"room_sd"`   // log standard deviation of a room about its home
	Calibration []Calibration `json:"calibration,omitempty"`
	Course      *Course       `json:"course,omitempty"`
}

// Season is the mean cycle and how much homes differ from it. Coefficient 0 and
// 1 multiply cos and sin of 2π·d/365.25, 2 and 3 those of twice that, with d
// the days since 1 January 1970.
type Season struct {
	Mean [Harmonics]float64            `json:"mean"`
	Cov  [Harmonics][Harmonics]float64 `json:"cov"`
}

// Component is one Ornstein-Uhlenbeck part of the drift: covariance
// Variance·exp(−lag/Days).
type Component struct {
	Days     float64 `json:"days"`
	Variance float64 `json:"variance"`
}

// Calibration says by how much the model's log spread is to be multiplied after
// a test of so many days, found by leaving out each home a profile was learned
// from: for an interval to hold 95 %, few homes allowed for, and to be the root mean
// square of the errors. Errors have heavy tails and few homes widen intervals, so the
// first is the larger, and as a variance it would be too much. Between rows both are
// interpolated in ln(days); beyond the last they go to 1 at a full year.
type Calibration struct {
	Days   float64 `json:"days"`
	Factor float64 `json:"factor"`
	Error  float64 `json:"error,omitempty"` // of the root mean square; 0: as Factor
}

// error is Error, or Factor where a profile does not state it.
func (c Calibration) error() float64 {
	if c.Error > 0 {
		return c.Error
	}
	return c.Factor
}

// Course is what homes measured at the same time did in common, beyond the
// season: a few factors, the weather of just those days, each with its own
// strength in a home. It is known for a stretch of dates and meant for homes of
// the areas it was learned in. Its coefficients are those of the season in those
// years, then one a factor.
type Course struct {
	First       int           `json:"first_day"` // days since 1 January 1970
	Areas       []string      `json:"areas"`
	Homes       []int         `json:"homes"`   // how many were measured, a day; 0 marks one too few saw
	Factors     [][]float64   `json:"factors"` // a row a factor, a value a day, ln; 0 where unknown
	Mean        []float64     `json:"mean"`    // of the coefficients over homes
	Cov         [][]float64   `json:"cov"`
	Drift       []Component   `json:"drift"`  // what is left in a home
	Shared      []Component   `json:"shared"` // what knowing the factors takes off it; comes back on days they are unknown
	DayNoise    float64       `json:"day_noise"`
	Calibration []Calibration `json:"calibration,omitempty"`
}

// Knows says whether the course was learned on a day.
func (c *Course) Knows(day int) bool {
	i := day - c.First
	return i >= 0 && i < len(c.Homes) && c.Homes[i] > 0
}

// Regressors are those of the season and then the factors of a day.
func (c *Course) Regressors(day int) []float64 {
	x := make([]float64, Harmonics+len(c.Factors))
	harmonics(float64(day), x)
	if c.Knows(day) {
		for k, f := range c.Factors {
			x[Harmonics+k] = f[day-c.First]
		}
	}
	return x
}

// At is what the mean home did on a day beyond its level, as a natural logarithm.
func (c *Course) At(day int) float64 {
	sum := 0.0
	for i, x := range c.Regressors(day) {
		sum += c.Mean[i] * x
	}
	return sum
}

// ProfileSchema names the file format of a profile and its version.
const ProfileSchema = "radonyear/profile/1"

// ParseProfile reads a profile as JSON writes it and checks it. An error names
// the field that is missing or out of its range.
func ParseProfile(b []byte) (*Profile, error) {
	var p Profile
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	if err := d.Decode(&p); err != nil {
		return nil, fmt.Errorf("not a profile: %w", err)
	}
	if d.More() {
		return nil, fmt.Errorf("not a profile: more than one JSON value")
	}
	if err := p.check(); err != nil {
		return nil, err
	}
	return &p, nil
}

// JSON is the profile as text that ParseProfile reads back bit for bit.
func (p *Profile) JSON() []byte {
	b, err := json.MarshalIndent(p, "", " ")
	if err != nil {
		panic("profile: " + err.Error()) // only a NaN could do this, and check forbids it
	}
	return append(b, '\n')
}

func (p *Profile) check() error {
	if p.Schema != ProfileSchema {
		return fmt.Errorf("profile: schema is %q, not %q; make it again with the season command", p.Schema, ProfileSchema)
	}
	if err := p.Season.check("season"); err != nil {
		return err
	}
	if err := checkDrift("drift", p.Drift); err != nil {
		return err
	}
	for _, f := range []struct {
		name string
		x    float64
	}{{"day_noise", p.DayNoise}, {"year_sd", p.YearSD}, {"room_sd", p.RoomSD}} {
		if bad(f.x) || f.x < 0 || f.x > 5 {
			return fmt.Errorf("profile: %s is %v, not a log standard deviation", f.name, f.x)
		}
	}
	if err := checkCalibration("calibration", p.Calibration); err != nil {
		return err
	}
	if p.Course != nil {
		return p.Course.check()
	}
	return nil
}

func (c *Course) check() error {
	n := Harmonics + len(c.Factors)
	if len(c.Factors) == 0 || len(c.Factors) > 20 || len(c.Mean) != n {
		return fmt.Errorf("profile: course has %d factors and %d mean coefficients, not 1 to 20 and %d more", len(c.Factors), len(c.Mean), Harmonics)
	}
	for k, f := range c.Factors {
		if len(f) != len(c.Homes) {
			return fmt.Errorf("profile: course factor %d has %d days but homes has %d", k+1, len(f), len(c.Homes))
		}
		for i, x := range f {
			if bad(x) || math.Abs(x) > 100 {
				return fmt.Errorf("profile: course factor %d is %v on day %d", k+1, x, i+1)
			}
		}
	}
	if bad(c.DayNoise) || c.DayNoise < 0 || c.DayNoise > 5 {
		return fmt.Errorf("profile: course.day_noise is %v, not a log standard deviation", c.DayNoise)
	}
	if err := checkCoefficients("course", c.Mean, c.Cov); err != nil {
		return err
	}
	if err := checkDrift("course.drift", c.Drift); err != nil {
		return err
	}
	if err := checkDrift("course.shared", c.Shared); err != nil {
		return err
	}
	return checkCalibration("course.calibration", c.Calibration)
}

func bad(x float64) bool { return math.IsNaN(x) || math.IsInf(x, 0) }

func (s Season) check(name string) error {
	cov := make([][]float64, Harmonics)
	for i := range cov {
		cov[i] = s.Cov[i][:]
	}
	return checkCoefficients(name, s.Mean[:], cov)
}

func checkCoefficients(name string, mean []float64, cov [][]float64) error {
	for _, b := range mean {
		if bad(b) || math.Abs(b) > 100 {
			return fmt.Errorf("profile: %s.mean holds %v", name, b)
		}
	}
	n := len(mean)
	if len(cov) != n {
		return fmt.Errorf("profile: %s.cov has %d rows, not %d", name, len(cov), n)
	}
	m := mat.NewSymDense(n, nil)
	for i, row := range cov {
		if len(row) != n {
			return fmt.Errorf("profile: %s.cov row %d has %d values, not %d", name, i+1, len(row), n)
		}
		for j, c := range row {
			if bad(c) || math.Abs(c) > 1e4 || len(cov[j]) != n || math.Abs(c-cov[j][i]) > 1e-9*(1+math.Abs(c)) {
				return fmt.Errorf("profile: %s.cov[%d][%d] is %v; a covariance is finite and symmetric", name, i, j, c)
			}
			m.SetSym(i, j, c)
		}
	}
	var e mat.EigenSym
	if !e.Factorize(m, false) || slices.Min(e.Values(nil)) < -1e-9 {
		return fmt.Errorf("profile: %s.cov is not a covariance: it has a negative eigenvalue", name)
	}
	return nil
}

func checkCalibration(name string, rows []Calibration) error {
	for i, c := range rows {
		if !(c.Days > 0) || bad(c.Days) || !(c.Factor > 0) || c.Factor > 10 || !(c.Error >= 0) || c.Error > 10 || i > 0 && c.Days <= rows[i-1].Days {
			return fmt.Errorf("profile: %s row %d (%v days, factor %v, error %v) is out of order or range", name, i+1, c.Days, c.Factor, c.Error)
		}
	}
	return nil
}

func checkDrift(name string, cs []Component) error {
	if len(cs) == 0 || len(cs) > 12 {
		return fmt.Errorf("profile: %s has %d components, not 1 to 12", name, len(cs))
	}
	for i, c := range cs {
		if !(c.Days > 0) || c.Days > 1e5 || !(c.Variance >= 0) || c.Variance > 100 {
			return fmt.Errorf("profile: %s component %d (%v days, variance %v) is out of range", name, i+1, c.Days, c.Variance)
		}
	}
	return nil
}

// harmonics puts the season's regressors for a day into x.
func harmonics(day float64, x []float64) {
	s, c := math.Sincos(2 * math.Pi * day / YearDays)
	x[0], x[1], x[2], x[3] = c, s, c*c-s*s, 2*c*s
}

// Regressors are the season's four regressors for a civil day (days since
// 1 January 1970): cosine and sine of the year, then of the half year.
func Regressors(day int) [Harmonics]float64 {
	var x [Harmonics]float64
	harmonics(float64(day), x[:])
	return x
}

// At is the mean season of a day, as a natural logarithm.
func (s Season) At(day int) float64 {
	x := Regressors(day)
	sum := 0.0
	for i, b := range s.Mean {
		sum += b * x[i]
	}
	return sum
}

// widen is a factor on the log spread after a test of so many days.
func widen(rows []Calibration, days float64, factor func(Calibration) float64) float64 {
	if len(rows) == 0 {
		return 1
	}
	if days <= rows[0].Days {
		return factor(rows[0])
	}
	for i := range rows {
		lo, hi := rows[i], Calibration{Days: 365, Factor: 1}
		if i+1 < len(rows) {
			hi = rows[i+1]
		}
		if days <= hi.Days && hi.Days > lo.Days {
			t := math.Log(days/lo.Days) / math.Log(hi.Days/lo.Days)
			return factor(lo) + t*(factor(hi)-factor(lo))
		}
	}
	return 1
}

// Calibrated is a log spread of which the part that is not instruments' and years'
// (apart) is widened as the profile's own trials of so many days say, or those with
// its course: what intervals are made of.
func (p *Profile) Calibrated(sd, apart, days float64, course bool) float64 {
	return p.calibrated(sd, apart, days, course, func(c Calibration) float64 { return c.Factor })
}

// RootMeanSquare is that spread as the trials' errors have it: a variance to reckon
// with, where many homes are put together.
func (p *Profile) RootMeanSquare(sd, apart, days float64, course bool) float64 {
	return p.calibrated(sd, apart, days, course, Calibration.error)
}

func (p *Profile) calibrated(sd, apart, days float64, course bool, factor func(Calibration) float64) float64 {
	rows := p.Calibration
	if course {
		rows = p.Course.Calibration
	}
	k := widen(rows, days, factor)
	return math.Sqrt(k*k*max(0, sd*sd-apart*apart) + apart*apart)
}

// Level turns what is known of annual means, geometric mean (Bq/m³) and geometric
// standard deviation, into what is known of a home's level, the logarithm of its
// middle day of a middle season: below the annual mean by half the variance within
// a year.
func (p *Profile) Level(gm, gsd float64) *Normal {
	return &Normal{Mean: math.Log(gm) - p.WithinYear()/2, SD: math.Log(gsd)}
}

// WithinYear is the variance of ln C over the days of a year, in a home with
// the mean season: the annual mean lies above the middle day by half of it.
func (p *Profile) WithinYear() float64 {
	v := 0.0
	for _, c := range p.Drift {
		v += c.Variance
	}
	for _, b := range p.Season.Mean {
		v += b * b / 2
	}
	return v
}

// BuiltIn is the profile for a home of whose region nothing is known. It is a
// compromise between published scatter figures, deliberately wide; it peaks in
// mid-January, or half a year later in the southern hemisphere.
//
// The season's mean amplitude lies between those implied by French six-month
// factors of 0.87 to 1.17 (Baysson et al. 2003, Radiat. Prot. Dosim. 104:245),
// which is 0.23, and by British three-month factors of up to 1.56 (Pinel et al.
// 1995), which is 0.40; homes with no cycle or a reversed one lie within its
// spread. The drift was chosen so that the annual mean about the corrected
// result scatters by a GSD near 1.8 after 2 days (from memory), 1.5 after 7 to
// 10 (from the correlation of Steck's Iowa homes, Health Phys. 2014, 106:535),
// 1.4 after 30, 1.25 to 1.36 after 90 (Dicu et al. 2021, Sci. Rep. 11:9925; Cliff,
// Miles and Naismith, Radiat. Prot. Dosim.) and 1.15 after 180. Between years:
// 17 % (Antignani et al. 2021) to 35 % (Steck 1996) are published; 25 % is used.
// Rooms: a GM of 1.6 between floors of British homes lies within the spread.
func BuiltIn(southern bool) *Profile {
	p := &Profile{
		Schema:     ProfileSchema,
		Name:       "built-in",
		Provenance: "built-in compromise between published scatter figures, northern hemisphere, deliberately wide",
		Drift:      []Component{{1, 0.22}, {6, 0.095}, {40, 0.042}, {150, 0.012}},
		DayNoise:   0.05,
		YearSD:     0.25,
		RoomSD:     0.45,
	}
	// Mid-January is day 14.5 of the year; 1 January 1970 was day 0.
	amplitude, peak := 0.27, 2*math.Pi*14.5/YearDays
	if southern {
		p.Name = "built-in-south"
		p.Provenance = "built-in compromise between published scatter figures, southern hemisphere, deliberately wide"
		amplitude = -amplitude
	}
	p.Season.Mean = [Harmonics]float64{amplitude * math.Cos(peak), amplitude * math.Sin(peak), 0, 0}
	for i, sd := range [Harmonics]float64{0.18, 0.16, 0.08, 0.08} {
		p.Season.Cov[i][i] = sd * sd
	}
	return p
}
