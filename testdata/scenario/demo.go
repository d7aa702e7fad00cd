package scenario

import (
	"bytes"
	"fmt"
	"math"
	"strconv"
	"strings"
	"time"
)

// demoSeed was picked from the first thirty: a district of middling level and
// season, with all five kinds of home, among the monitored ones a home that
// peaks in summer. Nothing that estimates was looked at to pick it.
const demoSeed = 19

// DemoDistrict is the invented district behind the demo files: forty homes,
// K-01 to K-40, from 1 July 2023 through 31 December 2024.
func DemoDistrict() *District {
	return NewDistrict(demoSeed, Options{Start: time.Date(2023, time.July, 1, 0, 0, 0, 0, time.UTC), Days: 550, Homes: 40})
}

// DemoHome is the identifier of home i of the demo district, counted from 0.
func DemoHome(i int) string { return fmt.Sprintf("K-%02d", i+1) }

// File is a demo file before any compression.
type File struct {
	Name string // a name ending in .gz is stored compressed
	Data []byte
}

// DemoFiles makes the demo files in the order of their names. The same program
// makes the same bytes; see the package comment on other processors.
func DemoFiles() []File {
	d := DemoDistrict()
	homes := make([]*Home, d.Homes())
	for i := range homes {
		homes[i] = d.Home(i)
	}
	fanned := demoFanned(d)
	return []File{
		{"fan-fails.csv", demoFanFails(d, fanned)},
		{"fan-log.csv", demoFanLog(fanned)},
		{"fans.csv", demoFans(fanned)},
		{"imported-decimal-comma.csv", demoCommas(homes)},
		{"monitor-local-clock.csv", demoClock(homes)},
		{"monitors.csv.gz", demoMonitors(homes)},
		{"passive.csv", demoPassive(homes)},
		{"short-tests.csv", demoShort(homes)},
		{"switches.csv", demoSwitches()},
		{"truth.csv", demoTruth(homes)},
	}
}

// civil is the offset from UTC of the district's clocks: one hour, and two from
// the last Sunday of March to the last Sunday of October, changing at 01:00 UTC.
func civil(t time.Time) time.Duration {
	last := func(m time.Month) time.Time {
		e := time.Date(t.Year(), m, 31, 1, 0, 0, 0, time.UTC)
		return e.AddDate(0, 0, -int(e.Weekday()))
	}
	if !t.Before(last(time.March)) && t.Before(last(time.October)) {
		return 2 * time.Hour
	}
	return time.Hour
}

// local is the instant of a wall time in the district.
func local(y int, m time.Month, day, hour int) time.Time {
	t := time.Date(y, m, day, hour, 0, 0, 0, time.UTC)
	return t.Add(-civil(t.Add(-time.Hour)))
}

func stamp(t time.Time) string {
	off := civil(t)
	return t.Add(off).Format("2006-01-02T15:04") + fmt.Sprintf("+%02d:00", int(off.Hours()))
}

// three writes a value in Bq/m³ as monitors show it: a whole number of at most
// three significant figures.
func three(v float64) string {
	if v >= 1000 {
		p := math.Pow(10, math.Floor(math.Log10(v))-2)
		v = math.Round(v/p) * p
	}
	return strconv.Itoa(int(math.Round(v)))
}

// A deployment is one monitor standing in one room.
type deployment struct {
	home     int
	room     string
	unit     int
	from, to time.Time
}

func demoDeployments(homes []*Home) []deployment {
	begin, end := homes[0].d.Start().Add(-civil(homes[0].d.Start())), homes[0].d.End().Add(-time.Hour)
	begin = begin.AddDate(0, 0, 1) // local midnight, inside the span
	day := func(m time.Month, dd int) time.Time {
		y := 2023
		if m < time.July {
			y = 2024
		}
		return local(y, m, dd, 0)
	}
	return []deployment{
		{0, Living, 101, begin, end},
		{1, Living, 102, begin, end},
		{2, Living, 103, begin, day(time.April, 20).Add(10 * time.Hour)},
		{2, Bedroom, 103, day(time.April, 20).Add(11 * time.Hour), end}, // the same monitor, moved
		{3, Living, 104, day(time.August, 14).Add(18 * time.Hour), end},
		{4, Living, 105, begin, end},
		{5, Bedroom, 106, begin, day(time.June, 30).AddDate(0, 0, 14)},
		{6, Living, 107, day(time.September, 3).Add(9 * time.Hour), end},
		{7, Living, 108, begin, end},
		{7, Bedroom, 109, day(time.November, 5).Add(16 * time.Hour), end},
		{8, Living, 110, begin, end},
		{9, Bedroom, 111, day(time.October, 1).Add(12 * time.Hour), end},
		{10, Living, 112, begin, day(time.June, 30).AddDate(0, 3, 0)},
		{11, Living, 113, day(time.July, 20).Add(20 * time.Hour), end},
		{13, Living, 114, day(time.January, 12).Add(17 * time.Hour), day(time.January, 19).Add(17 * time.Hour)},
		{14, Living, 114, day(time.February, 2).Add(18 * time.Hour), day(time.February, 23).Add(8 * time.Hour)},
		{15, Bedroom, 115, day(time.May, 6).Add(19 * time.Hour), day(time.June, 17).Add(19 * time.Hour)},
	}
}

func demoMonitors(homes []*Home) []byte {
	var out bytes.Buffer
	out.WriteString("home,area,room,detector,time,value,unit\n")
	for _, p := range demoDeployments(homes) {
		h := homes[p.home]
		m := HomeMonitor()
		if p.unit%3 == 0 {
			m.Sensitivity = 0.3 // a third of the monitors count better
		}
		log := m.Run(h, p.room, p.from, p.to, p.unit)
		lines := make([]string, len(log))
		stuckFrom, stuckTo := local(2024, time.February, 10, 3), local(2024, time.February, 12, 15)
		stuck := ""
		for i, s := range log {
			v := three(s.Value)
			if p.home == 6 && !s.Start.Before(stuckFrom) && s.Start.Before(stuckTo) { // the sensor sticks for 60 hours
				if stuck == "" {
					stuck = v
				}
				v = stuck
			}
			if p.home == 8 && s.Start.Equal(local(2024, time.March, 5, 14)) { // one hour no room could do
				v = "4870"
			}
			lines[i] = fmt.Sprintf("%s,%s,%s,M-%d,%s,%s,Bq/m3\n", DemoHome(p.home), h.Area, p.room, p.unit, stamp(s.Start), v)
		}
		for i, l := range lines {
			out.WriteString(l)
			if p.home == 4 && i == 5000 { // nine days were exported twice
				out.WriteString(strings.Join(lines[i+1-9*24:i+1], ""))
			}
		}
	}
	return out.Bytes()
}

// demoClock is a monitor that writes wall time: in October an hour comes twice,
// in March one is missing.
func demoClock(homes []*Home) []byte {
	var out bytes.Buffer
	out.WriteString("home,area,room,detector,date,time,zone,value,unit\n")
	h := homes[12]
	for _, span := range [][2]time.Time{
		{local(2023, time.October, 7, 9), local(2023, time.November, 24, 17)},
		{local(2024, time.March, 16, 10), local(2024, time.April, 28, 20)},
	} {
		for _, s := range HomeMonitor().Run(h, Living, span[0], span[1], 116) {
			wall := s.Start.Add(civil(s.Start))
			fmt.Fprintf(&out, "%s,%s,%s,M-116,%s,%s,CET,%s,Bq/m3\n", DemoHome(12), h.Area, Living, wall.Format("2006-01-02"), wall.Format("15:04"), three(s.Value))
		}
	}
	return out.Bytes()
}

// A test is one detector left in one room for some days, counted from the
// morning of its first.
type test struct {
	home  int
	room  string
	start string
	days  int
	batch int
}

func (t test) result(homes []*Home, p Passive, unit int) Result {
	day, err := time.Parse("2006-01-02", t.start)
	if err != nil {
		panic(err) // the dates stand in this file
	}
	from := local(day.Year(), day.Month(), day.Day(), 9)
	last := day.AddDate(0, 0, t.days)
	return p.Expose(homes[t.home], t.room, from, local(last.Year(), last.Month(), last.Day(), 9), t.batch, unit)
}

func lastDay(t test) time.Time {
	day, _ := time.Parse("2006-01-02", t.start)
	return day.AddDate(0, 0, t.days)
}

// demoPassive holds track detectors of two to six months, two of them beside
// monitors, some in a second room or a second season.
func demoPassive(homes []*Home) []byte {
	var out bytes.Buffer
	out.WriteString("home,area,room,detector,start,end,value,unit,uncertainty\n")
	for i, t := range []test{
		{0, Living, "2023-10-16", 91, 1},
		{7, Living, "2023-11-06", 84, 1},
		{16, Living, "2023-10-09", 92, 1},
		{16, Bedroom, "2023-10-09", 92, 1},
		{17, Living, "2023-11-20", 63, 1},
		{18, Bedroom, "2023-12-04", 91, 1},
		{19, Living, "2024-01-08", 98, 1},
		{20, Living, "2024-01-15", 60, 1},
		{21, Bedroom, "2024-02-05", 90, 2},
		{22, Living, "2024-05-13", 92, 2},
		{23, Living, "2024-06-03", 84, 2},
		{23, Living, "2024-10-28", 61, 2},
		{24, Bedroom, "2023-10-23", 183, 1},
		{25, Living, "2024-07-01", 90, 2},
		{26, Living, "2024-03-04", 75, 2},
		{26, Bedroom, "2024-03-04", 75, 2},
		{27, Living, "2024-09-02", 92, 2},
		{33, Bedroom, "2024-05-06", 61, 2},
		{33, Living, "2024-05-06", 61, 2},
	} {
		r := t.result(homes, TrackDetector(), 2000+i)
		value, u := three(r.Value), three(r.Uncertainty)
		if r.Below { // rounded up: a limit must not shrink
			value, u = "<"+three(math.Ceil(r.Value)), ""
		}
		fmt.Fprintf(&out, "%s,%s,%s,T-%d,%s,%s,%s,Bq/m3,%s\n", DemoHome(t.home), homes[t.home].Area, t.room, 2301+i, t.start, lastDay(t).Format("2006-01-02"), value, u)
	}
	return out.Bytes()
}

// demoShort holds adsorption detectors of two to seven days, in pCi/L.
func demoShort(homes []*Home) []byte {
	var out bytes.Buffer
	out.WriteString("home,area,room,detector,start,end,value,unit,uncertainty\n")
	for i, t := range []test{
		{1, Living, "2024-01-22", 3, 3},
		{28, Living, "2023-11-14", 2, 3},
		{29, Basement, "2023-12-08", 3, 3},
		{29, Living, "2023-12-08", 3, 3},
		{30, Living, "2024-01-17", 2, 3}, // two side by side
		{30, Living, "2024-01-17", 2, 3},
		{31, Living, "2024-02-06", 4, 3},
		{32, Bedroom, "2024-02-20", 7, 4},
		{33, Living, "2024-04-09", 3, 4},
		{34, Living, "2024-06-11", 7, 4},
		{34, Living, "2024-12-03", 7, 4},
		{35, Bedroom, "2024-07-16", 3, 4},
		{17, Living, "2024-03-12", 3, 4},
	} {
		r := t.result(homes, CharcoalDetector(), 5000+i)
		value, u := fmt.Sprintf("%.1f", r.Value/37), fmt.Sprintf("%.1f", math.Max(0.1, r.Uncertainty/37))
		if r.Below {
			value, u = fmt.Sprintf("< %.1f", math.Ceil(r.Value/3.7)/10), ""
		}
		from, _ := time.Parse("2006-01-02", t.start)
		fmt.Fprintf(&out, "%s,%s,%s,C-%d,%s,%s,%s,pCi/L,%s\n", DemoHome(t.home), homes[t.home].Area, t.room, 51+i, stamp(local(from.Year(), from.Month(), from.Day(), 9)), stamp(r.End), value, u)
	}
	return out.Bytes()
}

// demoCommas is another laboratory's list: semicolons, decimal commas, days
// before months.
func demoCommas(homes []*Home) []byte {
	var out bytes.Buffer
	out.WriteString("home;area;room;detector;start;end;value;unit;uncertainty\n")
	for i, t := range []test{
		{36, Living, "2023-11-27", 91, 5},
		{36, Bedroom, "2023-11-27", 91, 5},
		{37, Living, "2024-01-05", 77, 5},
		{38, Living, "2024-02-12", 62, 5},
		{39, Bedroom, "2024-04-03", 88, 5},
		{39, Bedroom, "2024-10-07", 70, 5},
		{19, Living, "2024-05-02", 92, 5},
		{27, Living, "2024-01-09", 66, 5},
	} {
		r := t.result(homes, TrackDetector(), 2100+i)
		comma := func(v float64) string { return strings.Replace(strconv.FormatFloat(v, 'f', 1, 64), ".", ",", 1) }
		value, u := comma(r.Value), comma(r.Uncertainty)
		if r.Below {
			value, u = "<"+comma(math.Ceil(r.Value)), ""
		}
		from, _ := time.Parse("2006-01-02", t.start)
		fmt.Fprintf(&out, "%s;%s;%s;S%04d;%s;%s;%s;Bq/m3;%s\n", DemoHome(t.home), homes[t.home].Area, t.room, 71+i, from.Format("02.01.2006"), lastDay(t).Format("02.01.2006"), value, u)
	}
	return out.Bytes()
}

// demoTruth is what no detector saw: the true means of every room of every
// home over three spells of twelve months.
func demoTruth(homes []*Home) []byte {
	var out bytes.Buffer
	out.WriteString("home,area,room,driver,from,to,true_mean_bq_m3\n")
	for i, h := range homes {
		for _, room := range h.Rooms() {
			for _, from := range []time.Time{local(2023, time.July, 2, 0), local(2023, time.October, 1, 0), local(2024, time.January, 1, 0)} {
				wall := from.Add(civil(from))
				to := local(wall.Year()+1, wall.Month(), wall.Day(), 0)
				if to.After(h.d.End().Add(-time.Hour)) {
					to = h.d.End().Add(-time.Hour)
				}
				fmt.Fprintf(&out, "%s,%s,%s,%s,%s,%s,%.1f\n", DemoHome(i), h.Area, room, h.Kind, wall.Format("2006-01-02"), to.Add(civil(to)).Format("2006-01-02"), h.Mean(room, from, to))
			}
		}
	}
	return out.Bytes()
}

// fanJob is one home's mitigation: its system, the share of the entry that it
// stops, when it was switched on, and the tests on both sides.
type fanJob struct {
	system        string
	cut           float64
	on            string
	room          string
	before, after string // first days of the tests
	days          [2]int
}

// demoJobs are of the homes F-01 to F-14; F-15 and F-16 have a monitor through the
// switch instead.
var demoJobs = []fanJob{
	{"sub-slab fan", 0.96, "2024-03-05", Living, "2023-11-13", "2024-03-09", [2]int{91, 91}},
	{"sub-slab fan", 0.90, "2024-03-12", Living, "2023-12-04", "2024-03-14", [2]int{84, 90}},
	{"sub-slab fan", 0.93, "2024-03-19", Bedroom, "2023-12-11", "2024-03-22", [2]int{91, 61}},
	{"sub-slab fan", 0.85, "2024-04-02", Living, "2024-01-08", "2024-04-05", [2]int{77, 91}},
	{"sub-slab fan", 0.97, "2024-04-09", Living, "2024-01-15", "2024-06-03", [2]int{63, 92}},
	{"sump fan", 0.98, "2024-02-13", Living, "2023-10-23", "2024-02-16", [2]int{92, 91}},
	{"sump fan", 0.88, "2024-02-20", Living, "2023-11-06", "2024-02-23", [2]int{84, 84}},
	{"sump fan", 0.95, "2024-04-16", Living, "2024-02-05", "2024-04-19", [2]int{63, 63}},
	{"sump fan", 0.91, "2024-05-07", Bedroom, "2024-01-22", "2024-05-13", [2]int{91, 92}},
	{"passive stack", 0.45, "2024-02-27", Living, "2023-11-20", "2024-03-04", [2]int{91, 90}},
	{"passive stack", 0.30, "2024-03-26", Living, "2023-12-18", "2024-04-02", [2]int{84, 91}},
	{"passive stack", 0.55, "2024-05-14", Living, "2024-02-12", "2024-05-20", [2]int{84, 91}},
	{"sub-slab fan", 0.94, "2024-02-06", Living, "2024-01-23", "2024-02-08", [2]int{7, 7}},
	{"sump fan", 0.90, "2024-06-11", Living, "2024-06-03", "2024-06-14", [2]int{4, 6}},
	{"sub-slab fan", 0.95, "2024-03-06", Living, "2023-10-20", "2024-03-06", [2]int{138, 240}},
	{"passive stack", 0.35, "2024-05-22", Living, "2024-02-01", "2024-05-22", [2]int{111, 200}},
}

// fannedHome is a home with a system, and the same without.
type fannedHome struct {
	name          string
	without, with *Home
	job           fanJob
}

// demoFanned takes homes beyond the forty, in order, that are high enough for
// someone to have acted.
func demoFanned(d *District) (out []fannedHome) {
	for i := 40; len(out) < len(demoJobs); i++ {
		h := d.Home(i)
		if h.Mean(Living, d.Start(), d.Start().AddDate(0, 0, 366)) < 180 {
			continue
		}
		job := demoJobs[len(out)]
		out = append(out, fannedHome{fmt.Sprintf("F-%02d", len(out)+1), h, h.WithFan(Fan{From: fanOn(job), Cut: job.cut}), job})
	}
	return out
}

// fanOn is the hour a job's system was switched on: three in the afternoon.
func fanOn(j fanJob) time.Time {
	t, err := time.Parse("2006-01-02", j.on)
	if err != nil {
		panic(err)
	}
	return local(t.Year(), t.Month(), t.Day(), 15)
}

// demoFans holds one test before and one after each system: track detectors, and
// for two homes adsorption detectors of some days.
func demoFans(homes []fannedHome) []byte {
	var out bytes.Buffer
	out.WriteString("home,area,room,system,phase,detector,start,end,value,unit,uncertainty\n")
	for i, f := range homes {
		if f.name >= "F-15" {
			continue
		}
		for k, first := range []string{f.job.before, f.job.after} {
			h, phase := f.without, "before"
			if k == 1 {
				h, phase = f.with, "after"
			}
			kind, prefix := TrackDetector(), "T"
			if f.job.days[k] < 10 {
				kind, prefix = CharcoalDetector(), "C"
			}
			t := test{0, f.job.room, first, f.job.days[k], 3 + k}
			r := t.result([]*Home{h}, kind, 7000+10*i+k)
			value, u := three(r.Value), three(math.Max(1, r.Uncertainty))
			if r.Below {
				value, u = "<"+three(math.Ceil(r.Value)), ""
			}
			fmt.Fprintf(&out, "%s,%s,%s,%s,%s,%s-%d,%s,%s,%s,Bq/m3,%s\n", f.name, h.Area, f.job.room, f.job.system, phase, prefix, 3101+10*i+k, first, lastDay(t).Format("2006-01-02"), value, u)
		}
	}
	return out.Bytes()
}

// demoFanLog holds day means of a monitor that stood through the switch.
func demoFanLog(homes []fannedHome) []byte {
	var out bytes.Buffer
	out.WriteString("home,area,room,detector,date,radon_Bq_m3,hours\n")
	monitor := HomeMonitor()
	for i, f := range homes {
		if f.name < "F-15" {
			continue
		}
		from, err := time.Parse("2006-01-02", f.job.before)
		if err != nil {
			panic(err)
		}
		// Days of 24 hours: those after the clocks change begin an hour off midnight.
		for _, m := range f.with.DayMeans(f.job.room, local(from.Year(), from.Month(), from.Day(), 0), f.job.days[0]+f.job.days[1], &monitor, 130+i) {
			fmt.Fprintf(&out, "%s,%s,%s,M-%d,%s,%s,%g\n", f.name, f.with.Area, f.job.room, 130+i, m.Start.Add(12*time.Hour).Format("2006-01-02"), three(m.Value), m.Hours)
		}
	}
	return out.Bytes()
}

// demoFanFails holds day means of a monitor in one of the homes, F-06, whose fan
// stands still from an evening in autumn on.
func demoFanFails(d *District, homes []fannedHome) []byte {
	var out bytes.Buffer
	out.WriteString("home,area,room,detector,date,radon_Bq_m3,hours\n")
	monitor := HomeMonitor()
	f := homes[5]
	broken := f.without.WithFan(Fan{From: fanOn(f.job), Cut: f.job.cut, Off: [][2]time.Time{{local(2024, time.October, 22, 19), d.End()}}})
	for _, m := range broken.DayMeans(f.job.room, local(2024, time.January, 15, 0), 300, &monitor, 160) {
		fmt.Fprintf(&out, "%s,%s,%s,M-160,%s,%s,%g\n", f.name, broken.Area, f.job.room, m.Start.Add(12*time.Hour).Format("2006-01-02"), three(m.Value), m.Hours)
	}
	return out.Bytes()
}

// demoSwitches holds when the systems of demoFanLog's homes were switched on.
func demoSwitches() []byte {
	var out bytes.Buffer
	out.WriteString("home,time,state\n")
	for i, j := range demoJobs[14:] {
		fmt.Fprintf(&out, "F-%02d,%sT15:00,on\n", i+15, j.on)
	}
	return out.Bytes()
}
