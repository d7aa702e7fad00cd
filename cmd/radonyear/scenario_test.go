package main

import (
	"bytes"
	"compress/gzip"
	"io"
	"io/fs"
	"math"
	"path"
	"runtime"
	"slices"
	"strconv"
	"strings"
	"sync"
	"testing"
	"time"

	"radonyear/testdata"
	"radonyear/testdata/scenario"
)

// The generator lives in a folder that the go command leaves out of ./..., so
// its tests stand here.

// A room with no air change and no source loses radon by decay alone: 16.6 % in
// a day and 71.9 % in a week at 0.00755 an hour. With one air change an hour 95 %
// of the way to the new level is done after three hours.
func TestScenarioByHand(t *testing.T) {
	near := func(name string, got, want, tol float64) {
		t.Helper()
		if math.IsNaN(got) || math.Abs(got-want) > tol {
			t.Errorf("%s: got %.6g, want %.6g within %.2g", name, got, want, tol)
		}
	}
	_, day := scenario.Step(100, 0, 0.00755, 24)
	near("after a day of decay", day, 100-16.6, 0.05)
	_, week := scenario.Step(100, 0, 0.00755, 168)
	near("after a week of decay", week, 100-71.9, 0.05)
	_, end := scenario.Step(0, 100, 1, 3)
	near("three response times", end, 95, 0.05)
	// From 100 towards 50 at rate ln 2 in one hour: ends at 75; the mean is
	// 50 + 50·(1 − 1/2)/ln 2.
	mean, end := scenario.Step(100, 50*math.Ln2, math.Ln2, 1)
	near("end of a half-way step", end, 75, 1e-12)
	near("mean of a half-way step", mean, 50+25/math.Ln2, 1e-12)
}

// The exact step against thousands of small Euler steps, and the rooms solved
// one after another against twenty turns an hour.
func TestScenarioAgainstSlow(t *testing.T) {
	for _, c := range []struct{ c, source, rate, hours float64 }{{80, 30, 0.4, 1}, {5, 900, 2.5, 1}, {300, 0, 0.0076, 6}} {
		const n = 200_000
		x, sum, dt := c.c, 0.0, c.hours/n
		for range n {
			next := x + dt*(c.source-c.rate*x)
			sum += (x + next) / 2
			x = next
		}
		mean, end := scenario.Step(c.c, c.source, c.rate, c.hours)
		if math.Abs(mean/(sum/n)-1) > 1e-4 || math.Abs(end/x-1) > 1e-4 {
			t.Errorf("%+v: step gives %.6g and %.6g, small steps %.6g and %.6g", c, mean, end, sum/n, x)
		}
	}

	coarse := scenario.NewDistrict(3, scenario.Options{Days: 120})
	fine := scenario.NewDistrict(3, scenario.Options{Days: 120, Fine: 20})
	moved := false
	for i := range 12 {
		a, b := coarse.Home(i), fine.Home(i)
		for _, room := range a.Rooms() {
			x, y := a.Truth(room), b.Truth(room)
			if r := meanOf(x)/meanOf(y) - 1; math.Abs(r) > 0.015 {
				t.Errorf("home %d, %s: mean moves by %.2f %% with finer steps", i, room, 100*r)
			}
			off := 0.0
			for k := range x {
				off += math.Abs(x[k]-y[k]) / float64(len(x))
			}
			if off/meanOf(y) > 0.03 {
				t.Errorf("home %d, %s: hours move by %.2f %% with finer steps", i, room, 100*off/meanOf(y))
			}
			moved = moved || off > 0
		}
	}
	if !moved {
		t.Error("finer steps changed nothing: the comparison compares nothing")
	}
}

func TestScenarioProperties(t *testing.T) {
	long := scenario.NewDistrict(11, scenario.Options{Days: 400, Homes: 5})
	short := scenario.NewDistrict(11, scenario.Options{Days: 200, Homes: 1000})
	other := scenario.NewDistrict(12, scenario.Options{Days: 200})

	t.Run("a home depends on seed and number alone, and a longer span begins the same", func(t *testing.T) {
		for i := range 15 {
			a, b := long.Home(i), short.Home(i)
			if a.Area != b.Area || a.Kind != b.Kind || !slices.Equal(a.Rooms(), b.Rooms()) {
				t.Fatalf("home %d is another home: %v %v", i, a.Kind, b.Kind)
			}
			for _, room := range a.Rooms() {
				if x, y := a.Truth(room), b.Truth(room); len(y) != 200*24 || !slices.Equal(x[:len(y)], y) {
					t.Errorf("home %d, %s differs", i, room)
				}
			}
		}
		if slices.Equal(short.Home(0).Truth(scenario.Living), other.Home(0).Truth(scenario.Living)) {
			t.Error("another seed gave the same home")
		}
		if slices.Equal(short.Home(0).Truth(scenario.Living), short.Home(1).Truth(scenario.Living)) {
			t.Error("two homes are the same")
		}
	})

	t.Run("many at once give what one at a time gives", func(t *testing.T) {
		var wg sync.WaitGroup
		got := make([][]float64, 8)
		for i := range got {
			wg.Go(func() { got[i] = short.Home(i).Truth(scenario.Bedroom) })
		}
		wg.Wait()
		for i, x := range got {
			if !slices.Equal(x, short.Home(i).Truth(scenario.Bedroom)) {
				t.Errorf("home %d differs", i)
			}
		}
	})

	t.Run("every hour is a possible concentration", func(t *testing.T) {
		lowest := slices.Min(short.Weather().Outdoor)
		if lowest <= 0 {
			t.Errorf("outdoors falls to %g", lowest)
		}
		with := 0
		for i := range 40 {
			h := short.Home(i)
			for _, room := range h.Rooms() {
				for k, c := range h.Truth(room) {
					if !(c > 0.5*lowest && c < 1e6) {
						t.Fatalf("home %d, %s, hour %d: %g Bq/m³", i, room, k, c)
					}
				}
			}
			if h.Truth(scenario.Basement) != nil {
				with++
			}
		}
		if with == 0 || with == 40 {
			t.Errorf("%d of 40 homes have a basement", with)
		}
		if short.Home(0).Truth("attic") != nil || !math.IsNaN(short.Home(0).Mean("attic", short.Start(), short.End())) {
			t.Error("a room that is not there has a concentration")
		}
	})

	t.Run("a fan cuts from its hour on, never below outdoors, and not while it is off", func(t *testing.T) {
		on := short.Start().AddDate(0, 0, 60)
		off := [2]time.Time{short.Start().AddDate(0, 0, 120), short.Start().AddDate(0, 0, 140)}
		cuts := 0
		for i := range 30 {
			plain := short.Home(i)
			fan := plain.WithFan(scenario.Fan{From: on, Cut: 0.9, Off: [][2]time.Time{off}})
			x, y := plain.Truth(scenario.Living), fan.Truth(scenario.Living)
			if !slices.Equal(x[:60*24], y[:60*24]) {
				t.Fatalf("home %d: the fan changed what came before it", i)
			}
			for k := 60 * 24; k < len(x); k++ {
				if y[k] > x[k]*(1+1e-12) {
					t.Fatalf("home %d, hour %d: %g with a fan, %g without", i, k, y[k], x[k])
				}
			}
			ratio := meanOf(y[62*24:120*24]) / meanOf(x[62*24:120*24])
			still := meanOf(y[123*24:140*24]) / meanOf(x[123*24:140*24])
			if ratio < 0.1 { // outdoor air and diffusion remain
				t.Errorf("home %d: only %.3f left", i, ratio)
			}
			if math.Abs(still-1) > 0.01 {
				t.Errorf("home %d: %.3f of the plain level while the fan stands still", i, still)
			}
			if ratio < 0.5 {
				cuts++
			}
		}
		if cuts < 15 {
			t.Errorf("a fan that stops 90 %% of the entry halved only %d of 30 homes", cuts)
		}
	})

	t.Run("means are means", func(t *testing.T) {
		h := short.Home(2)
		c := h.Truth(scenario.Living)
		from := short.Start().AddDate(0, 0, 10)
		if got, want := h.Mean(scenario.Living, from, from.AddDate(0, 0, 3)), meanOf(c[240:312]); math.Abs(got/want-1) > 1e-12 {
			t.Errorf("Mean %g, want %g", got, want)
		}
		days := h.DayMeans(scenario.Living, from, 3, nil, 0)
		if len(days) != 3 {
			t.Fatalf("%d days", len(days))
		}
		for k, d := range days {
			if want := meanOf(c[240+24*k : 264+24*k]); math.Abs(d.Value/want-1) > 1e-12 || d.True != d.Value || d.Hours != 24 {
				t.Errorf("day %d: %+v, want %g", k, d, want)
			}
		}
		if got := h.Mean(scenario.Living, short.End(), short.End().AddDate(0, 0, 1)); !math.IsNaN(got) {
			t.Errorf("a mean beyond the span: %g", got)
		}
	})
}

// The figures of the package comment, in bands about the aims, on three other
// districts than the six measured there. Bands are for the mean over districts.
func TestScenarioFigures(t *testing.T) {
	seeds, homes := []uint64{101, 102, 103}, 40
	if testing.Short() {
		t.Skip("three districts of forty homes and three years")
	}
	var gm, gsd, harmonic, low, high, hourly, yearly, swing, bedroom, basement, winter []float64
	windows := map[int][]float64{}
	for _, seed := range seeds {
		f := scenario.NewDistrict(seed, scenario.Options{Days: 3 * 365}).Measure(homes)
		gm, gsd = append(gm, math.Log(f.GM)), append(gsd, f.GSD)
		harmonic, low, high = append(harmonic, f.Harmonic.Middle), append(low, f.Harmonic.Low), append(high, f.Harmonic.High)
		hourly, yearly, swing = append(hourly, f.Hourly.Middle), append(yearly, f.Yearly.Middle), append(swing, f.MeanDay.Middle)
		bedroom, basement, winter = append(bedroom, f.Bedroom.Middle), append(basement, f.Basement.Middle), append(winter, f.Winter.Middle)
		for _, w := range f.Windows {
			windows[w.Days] = append(windows[w.Days], w.Pooled)
		}
		if f.SummerPeak == 0 || f.SummerPeak > 0.25 {
			t.Errorf("seed %d: %.0f %% of homes peak in summer", seed, 100*f.SummerPeak)
		}
	}
	for _, c := range []struct {
		name     string
		got      float64
		from, to float64
	}{
		{"GM over homes, Bq/m³", math.Exp(meanOf(gm)), 60, 130},
		{"GSD over homes", meanOf(gsd), 2.0, 2.9},
		{"first harmonic, middle home", meanOf(harmonic), 0.2, 0.45},
		{"first harmonic, a tenth of homes below", meanOf(low), 0.03, 0.25},
		{"first harmonic, a tenth of homes above", meanOf(high), 0.42, 0.75},
		{"winter over summer, middle home", meanOf(winter), 1.3, 2.6},
		{"hourly coefficient of variation", meanOf(hourly), 0.45, 0.68},
		{"year-to-year coefficient of variation", meanOf(yearly), 0.11, 0.3},
		{"highest over lowest hour of the mean day", meanOf(swing), 1.2, 1.5},
		{"bedroom over living room", meanOf(bedroom), 0.63, 0.77},
		{"basement over living room", meanOf(basement), 1.4, 2.3},
		{"GSD about 2 days", meanOf(windows[2]), 1.6, 1.95},
		{"GSD about 7 days", meanOf(windows[7]), 1.48, 1.75},
		{"GSD about 30 days", meanOf(windows[30]), 1.32, 1.55},
		{"GSD about 90 days", meanOf(windows[90]), 1.22, 1.45},
		{"GSD about 180 days", meanOf(windows[180]), 1.14, 1.26},
	} {
		t.Logf("%-42s %6.2f", c.name, c.got)
		if !(c.got >= c.from && c.got <= c.to) {
			t.Errorf("%s: %.3f is outside %g to %g", c.name, c.got, c.from, c.to)
		}
	}
}

func TestScenarioInstruments(t *testing.T) {
	d := scenario.NewDistrict(21, scenario.Options{Days: 500})
	from, to := d.Start().AddDate(0, 0, 2), d.End()

	t.Run("a count is Poisson about a lagging, miscalibrated truth", func(t *testing.T) {
		h := d.Home(4)
		m := scenario.Monitor{Sensitivity: 0.3, Background: 0.5, Calibration: 0.05, Interval: time.Hour}
		truth := h.Truth(scenario.Living)[48:]
		log := m.Run(h, scenario.Living, from, to, 7)
		if len(log) != len(truth) {
			t.Fatalf("%d readings in %d hours", len(log), len(truth))
		}
		gain := m.CalibrationOf(d, 7)
		var sum, want, z2 float64
		for i, s := range log {
			sum, want = sum+s.Value, want+truth[i]*gain
			expect := truth[i]*gain*m.Sensitivity + m.Background
			z := s.Value*m.Sensitivity + m.Background - expect
			z2 += z * z / expect / float64(len(log))
		}
		// Standard errors: the total count's 1/√N, and √(2/n) for a mean square
		// of standard scores (a little more for small counts).
		if r := sum/want - 1; math.Abs(r) > 0.01 {
			t.Errorf("readings are off by %.2f %%", 100*r)
		}
		if math.Abs(z2-1) > 0.06 {
			t.Errorf("counts scatter %.3f times as Poisson", z2)
		}
	})

	t.Run("calibration is one draw a unit, of the stated spread", func(t *testing.T) {
		m := scenario.HomeMonitor()
		var l []float64
		for u := range 2000 {
			l = append(l, math.Log(m.CalibrationOf(d, u)))
		}
		ss := 0.0
		for _, v := range l {
			ss += v * v / float64(len(l))
		}
		if sd := math.Sqrt(ss); math.Abs(sd-0.05) > 4*0.05/math.Sqrt(2*2000) || math.Abs(meanOf(l)) > 4*0.05/math.Sqrt(2000) {
			t.Errorf("2000 units: mean log %.4f, spread %.4f", meanOf(l), sd)
		}
		// Two rooms, one unit: both ratios to the truth are the unit's factor.
		h := d.Home(1)
		m.Gaps, m.Lag, m.Sensitivity, m.Background = 0, 0, 5, 0
		for _, room := range []string{scenario.Living, scenario.Bedroom} {
			var got float64
			for _, s := range m.Run(h, room, from, to, 3) {
				got += s.Value
			}
			want := h.Mean(room, from, to) * to.Sub(from).Hours() * m.CalibrationOf(d, 3)
			if math.Abs(got/want-1) > 0.005 {
				t.Errorf("%s: ratio to the unit's factor %.4f", room, got/want)
			}
		}
	})

	t.Run("start-up, lag and ten minutes", func(t *testing.T) {
		h := d.Home(4)
		slow := scenario.Monitor{Sensitivity: 50, Interval: 10 * time.Minute, Lag: 3 * time.Hour}
		log := slow.Run(h, scenario.Living, from, from.Add(48*time.Hour), 1)
		if len(log) != 6*48 || log[1].Start.Sub(log[0].Start) != 10*time.Minute || !log[0].End.Equal(log[1].Start) {
			t.Fatalf("%d readings of ten minutes in two days", len(log))
		}
		if first := log[0].Value / h.Truth(scenario.Living)[48]; first > 0.2 {
			t.Errorf("the first ten minutes already read %.2f of the truth", first)
		}
		var tail, truth float64
		for _, s := range log[6*24:] {
			tail += s.Value / (6 * 24)
		}
		truth = h.Mean(scenario.Living, from.Add(21*time.Hour), from.Add(45*time.Hour))
		if math.Abs(tail/truth-1) > 0.02 {
			t.Errorf("second day reads %.3f of the truth three hours before", tail/truth)
		}
	})

	t.Run("gaps", func(t *testing.T) {
		m := scenario.HomeMonitor()
		hours, missing := 0.0, 0.0
		h := d.Home(0)
		for u := range 40 {
			all := to.Sub(from).Hours()
			hours += all
			missing += all - float64(len(m.Run(h, scenario.Living, from, to, u)))
		}
		// Two gaps a year of two days: 1.1 % of the time.
		if share := missing / hours; share < 0.006 || share > 0.017 {
			t.Errorf("%.2f %% of the hours are missing", 100*share)
		}
		days := h.DayMeans(scenario.Living, from, 400, &m, 5)
		part := 0
		for _, day := range days {
			if day.Hours < 24 {
				part++
			}
			if day.Hours <= 0 || day.Hours > 24 {
				t.Fatalf("%+v", day)
			}
		}
		if len(days) == 400 && part == 0 {
			t.Error("a monitor with gaps has none in 400 days")
		}
	})

	t.Run("integrating detectors", func(t *testing.T) {
		h := d.Home(4)
		p := scenario.TrackDetector()
		start, end := from, from.AddDate(0, 0, 90)
		truth := h.Mean(scenario.Living, start, end)
		var ratio, z2, n float64
		for u := range 1500 {
			r := p.Expose(h, scenario.Living, start, end, u, u)
			if r.Below || !r.Start.Equal(start) || !r.End.Equal(end) {
				t.Fatalf("%+v of a true %g", r, truth)
			}
			ratio += r.Value / truth
			z := (r.Value - truth) / r.Uncertainty
			z2 += z * z
			n++
		}
		if math.Abs(ratio/n-1) > 0.02 || math.Abs(z2/n-1) > 0.2 {
			t.Errorf("mean ratio %.3f, mean squared score %.3f", ratio/n, z2/n)
		}
		limit := p.Limit * 1000 / 24
		r := p.Expose(h, scenario.Living, start, start.AddDate(0, 0, 1), 1, 1)
		if truth < limit/2 && (!r.Below || math.Abs(r.Value-limit) > 1e-9 || r.Uncertainty != 0) {
			t.Errorf("one day at %.0f under a limit of %.0f: %+v", truth, limit, r)
		}
		if truth >= limit/2 {
			t.Fatalf("the home at %.0f is no test of the limit %.0f", truth, limit)
		}
	})
}

// demoText is an embedded demo file, unpacked.
func demoText(t *testing.T, name string) string {
	t.Helper()
	data, err := fs.ReadFile(testdata.Demo(), name)
	if err != nil {
		t.Fatal(err)
	}
	if strings.HasSuffix(name, ".gz") {
		z, err := gzip.NewReader(bytes.NewReader(data))
		if err != nil {
			t.Fatal(err)
		}
		if data, err = io.ReadAll(z); err != nil {
			t.Fatal(err)
		}
	}
	return string(data)
}

// The files in the repository are what the generator makes. What is compared
// is the text: another release of the compressor may pack it otherwise.
func TestDemoRemade(t *testing.T) {
	if runtime.GOARCH != "amd64" {
		t.Skip("last digits differ on processors that fuse multiply and add; the files were made on amd64")
	}
	made := scenario.DemoFiles()
	names := []string{"README.md"}
	for _, f := range made {
		names = append(names, f.Name)
		if got := demoText(t, f.Name); got != string(f.Data) {
			t.Errorf("%s is not what go run ./testdata/scenario/make writes (%d bytes against %d)", f.Name, len(got), len(f.Data))
		}
	}
	entries, err := fs.ReadDir(testdata.Demo(), ".")
	if err != nil {
		t.Fatal(err)
	}
	size := int64(0)
	for _, e := range entries {
		if !slices.Contains(names, e.Name()) {
			t.Errorf("%s stands in the demo folder and nothing makes it", e.Name())
		}
		info, err := e.Info()
		if err != nil {
			t.Fatal(err)
		}
		size += info.Size()
	}
	if size > 2<<20 {
		t.Errorf("the demo takes %d bytes", size)
	}
	for _, name := range append(testdata.DemoMeasurements(), testdata.DemoTruth) {
		if !slices.Contains(names, path.Clean(name)) {
			t.Errorf("%s is named but not there", name)
		}
	}
}

// The mess that README.md promises is in the files.
func TestDemoMess(t *testing.T) {
	homes := map[string]bool{}
	rows := func(name, comma string) [][]string {
		var out [][]string
		for _, l := range strings.Split(strings.TrimSpace(demoText(t, name)), "\n")[1:] {
			f := strings.Split(l, comma)
			homes[f[0]] = true
			out = append(out, f)
		}
		return out
	}
	seen := map[string]int{}
	first, last := map[string]string{}, map[string]string{}
	stuck, longest := 0, 0
	previous, spike := "", 0
	for _, f := range rows("monitors.csv.gz", ",") {
		key := f[0] + "," + f[2]
		seen[strings.Join(f, ",")]++
		if first[key] == "" {
			first[key] = f[4]
		}
		last[key] = f[4]
		if f[0] == "K-07" {
			if f[5] == previous {
				stuck++
			} else {
				stuck = 1
			}
			longest, previous = max(longest, stuck), f[5]
		}
		if v, err := strconv.Atoi(f[5]); err != nil || v < 0 {
			t.Fatalf("value %q", f[5])
		} else if f[0] == "K-09" && v > 2000 {
			spike++
		}
	}
	twice := map[string]int{}
	for l, n := range seen {
		if n > 1 {
			twice[l[:4]]++
		}
	}
	if len(twice) != 1 || twice["K-05"] != 9*24 {
		t.Errorf("rows that stand twice: %v", twice)
	}
	if longest < 60 || spike != 1 {
		t.Errorf("K-07 sticks for %d hours, K-09 has %d spikes", longest, spike)
	}
	if last["K-03,living room"] >= first["K-03,bedroom"] || last["K-08,living room"] <= first["K-08,bedroom"] {
		t.Error("K-03 should move and K-08 should have two at once")
	}
	year := map[string]bool{}
	for key, a := range first {
		x, err1 := time.Parse("2006-01-02T15:04Z07:00", a)
		y, err2 := time.Parse("2006-01-02T15:04Z07:00", last[key])
		if err1 != nil || err2 != nil {
			t.Fatal(err1, err2)
		}
		if y.Sub(x) >= 365*24*time.Hour {
			year[key[:4]] = true
		}
	}
	if len(year) < 10 {
		t.Errorf("%d homes have one room measured for a year", len(year))
	}

	clock := map[string]int{}
	for _, f := range rows("monitor-local-clock.csv", ",") {
		clock[f[4]+" "+f[5]]++
	}
	if clock["2023-10-29 02:00"] != 2 || clock["2023-10-29 03:00"] != 1 || clock["2024-03-31 01:00"] != 1 || clock["2024-03-31 02:00"] != 0 || clock["2024-03-31 03:00"] != 1 {
		t.Error("the clock changes are not in monitor-local-clock.csv")
	}

	below := 0
	for _, f := range append(rows("passive.csv", ","), append(rows("short-tests.csv", ","), rows("imported-decimal-comma.csv", ";")...)...) {
		if len(f) != 9 {
			t.Fatalf("%d fields: %v", len(f), f)
		}
		if strings.HasPrefix(f[6], "<") {
			below++
			if f[8] != "" {
				t.Errorf("a limit with an uncertainty: %v", f)
			}
		}
	}
	if below < 2 {
		t.Errorf("%d results below a limit", below)
	}
	if len(homes) != 40 {
		t.Errorf("%d homes have measurements", len(homes))
	}
}

// The clocks of the demo are those of the zone its files name.
func TestDemoClock(t *testing.T) {
	zone, err := time.LoadLocation("CET")
	if err != nil {
		t.Skip("this system knows no zone CET")
	}
	checked := 0
	for _, l := range strings.Split(demoText(t, "monitors.csv.gz"), "\n")[1:] {
		if f := strings.Split(l, ","); len(f) == 7 && f[0] == "K-01" {
			at, err := time.Parse("2006-01-02T15:04Z07:00", f[4])
			if err != nil {
				t.Fatal(err)
			}
			if want := at.In(zone).Format("2006-01-02T15:04-07:00"); want != f[4] {
				t.Fatalf("%s should be %s", f[4], want)
			}
			checked++
		}
	}
	if checked < 10_000 {
		t.Errorf("checked %d rows", checked)
	}
}

func meanOf(x []float64) float64 {
	s := 0.0
	for _, v := range x {
		s += v
	}
	return s / float64(len(x))
}

func BenchmarkScenarioHome(b *testing.B) {
	d := scenario.NewDistrict(1, scenario.Options{})
	i := 0
	for b.Loop() {
		d.Home(i).Truth(scenario.Living)
		i++
	}
}
