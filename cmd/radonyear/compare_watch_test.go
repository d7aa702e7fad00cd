package main

import (
	"math"
	"slices"
	"strings"
	"testing"
	"time"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/compare"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// run is days in a row of about one level.
type dayRun struct {
	days  int
	level float64
}

// monitorOf is a monitor's days from the n-th of 2025 on, with some scatter.
func monitorOf(t *testing.T, room, detector string, from int, runs ...dayRun) analysis.Series {
	t.Helper()
	var rs []analysis.Reading
	for _, run := range runs {
		for range run.days {
			i := len(rs)
			at := time.Date(2025, 1, 1+from+i, 0, 0, 0, 0, time.UTC)
			rs = append(rs, analysis.Reading{Start: at, End: at.AddDate(0, 0, 1), Concentration: run.level * math.Exp(0.3*math.Sin(float64(i*i)))})
		}
	}
	s, err := analysis.NewSeries(analysis.Place{Home: "A", Room: room, Detector: detector}, time.UTC, rs)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// comparedOf is a home whose monitors' days with the system follow 100 days of 600 Bq/m³
// without it.
func comparedOf(t *testing.T, levels []float64, toggles []toggle, with ...analysis.Series) compared {
	t.Helper()
	q := compareQuestion{switches: switches{byHome: map[string][]toggle{"A": toggles}}}
	q.Levels, q.Confidence = levels, 0.95
	if err := q.loadProfile(); err != nil {
		t.Fatal(err)
	}
	if err := runThrough(toggles); err != nil {
		t.Fatal(err)
	}
	h := ingest.Home{Name: "A", Series: append([]analysis.Series{monitorOf(t, "hall", "M0", 0, dayRun{100, 600})}, with...)}
	sides, err := part(h.Series, toggles)
	if err != nil {
		t.Fatal(err)
	}
	sides.ran = ranIn(sides.toggles, time.UTC)
	r, err := q.one(0, h, sides)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func noteOf(r compared, code string) string {
	for _, n := range r.Notes {
		if n.Code == code {
			return n.Text
		}
	}
	return ""
}

func switchedAt(n int, on bool, system string) toggle {
	return toggle{at: time.Date(2025, 1, 1+n, 12, 0, 0, 0, time.UTC), on: on, system: system}
}

// TestRises: a rise in the charts takes back a verdict that it may undo, whether a monitor
// saw it or the one that came after took it for usual; not one that it cannot reach, nor
// where another monitor has shown since that it is over.
func TestRises(t *testing.T) {
	fan := []toggle{switchedAt(100, true, "")}
	two := []toggle{switchedAt(100, true, "fan"), switchedAt(300, true, "sump")}
	for _, c := range []struct {
		name    string
		levels  []float64
		toggles []toggle
		with    []analysis.Series
		verdict []annual.Verdict
		code    string // of the one note of rises
		text    []string
		rises   int
	}{
		{"quiet", []float64{200}, fan, []analysis.Series{monitorOf(t, "hall", "M1", 102, dayRun{150, 50})}, []annual.Verdict{annual.Below}, "", nil, 0},
		{"risen", []float64{200, 3000}, fan, []analysis.Series{monitorOf(t, "hall", "M1", 102, dayRun{150, 50}, dayRun{30, 300})}, []annual.Verdict{risen, annual.Below}, afterSideRose,
			[]string{" times what is usual with it (95 % interval ", "), about ", "so that the verdict on 3000 Bq/m³ stands", "not of today: look at the gauge", "One", "an off and on of that day in --switches settles that"}, 1},
		{"risen within its level", []float64{200}, fan, []analysis.Series{monitorOf(t, "hall", "M1", 102, dayRun{150, 20}, dayRun{40, 45})}, []annual.Verdict{annual.Below}, afterSideRose,
			[]string{"Even by the upper limit of the rise they are since under about ", "so that the verdict on 200 Bq/m³ stands"}, 1},
		{"learned by the next", []float64{200}, fan, []analysis.Series{monitorOf(t, "hall", "M1", 102, dayRun{120, 50}), monitorOf(t, "hall", "M2", 225, dayRun{60, 250})}, []annual.Verdict{risen}, afterSideRose,
			[]string{`what is usual with it in "hall" by "M2" is `, ` times what it was by "M1" before (95 % interval `, "; 20 days from 2025-08-14 to 2025-09-02)", "), about "}, 1},
		{"no higher by the next", []float64{200}, fan, []analysis.Series{monitorOf(t, "hall", "M1", 102, dayRun{120, 50}), monitorOf(t, "hall", "M2", 225, dayRun{60, 50})}, []annual.Verdict{annual.Below}, "", nil, 0},
		{"over, as the next says", []float64{200}, fan, []analysis.Series{monitorOf(t, "hall", "M1", 102, dayRun{120, 50}, dayRun{30, 300}), monitorOf(t, "hall", "M2", 255, dayRun{60, 50})}, []annual.Verdict{annual.Below}, "after-side-had-risen",
			[]string{`by "M1" they had risen to `, `, until 2025-09-13, when "M2" took its place.`, "no higher than before the rise", "an off and on of that day in --switches"}, 0},
		{"over, as one beside it cannot say", []float64{200}, fan, []analysis.Series{monitorOf(t, "hall", "M1", 102, dayRun{120, 50}, dayRun{30, 300}), monitorOf(t, "hall", "M2", 220, dayRun{90, 50})}, []annual.Verdict{risen}, afterSideRose, nil, 1},
		{"over, in another room", []float64{200}, fan, []analysis.Series{monitorOf(t, "hall", "M1", 102, dayRun{120, 50}, dayRun{30, 300}), monitorOf(t, "attic", "M2", 255, dayRun{60, 50})}, []annual.Verdict{risen}, afterSideRose, nil, 1},
		{"a system after the last reading", []float64{200}, two, []analysis.Series{monitorOf(t, "hall", "M1", 102, dayRun{150, 50}, dayRun{30, 300})}, []annual.Verdict{risen}, afterSideRose, nil, 1},
	} {
		r := comparedOf(t, c.levels, c.toggles, c.with...)
		for k, b := range r.Below {
			if b.Verdict != c.verdict[k] {
				t.Errorf("%s: %q on %g Bq/m³, want %q", c.name, b.Verdict, b.Level, c.verdict[k])
			}
		}
		for _, code := range []string{afterSideRose, "after-side-had-risen"} {
			if text := noteOf(r, code); (text != "") != (code == c.code) {
				t.Errorf("%s: %s: %s", c.name, code, text)
			}
		}
		for _, text := range c.text {
			if text == "One" { // set as in watch
				text = "one false alarm in 5 years"
			}
			if !strings.Contains(noteOf(r, c.code), text) {
				t.Errorf("%s: no %q in %s", c.name, text, noteOf(r, c.code))
			}
		}
		if len(r.rises) != c.rises {
			t.Errorf("%s: %d rises", c.name, len(r.rises))
		}
		since := noteOf(r, "nothing-since")
		if late := len(c.toggles) == 2; late != strings.Contains(since, `nothing that can be used was measured since "sump" was switched on on 2025-10-28`) {
			t.Errorf("%s: %q", c.name, since)
		}
	}
}

// TestRisesNow: where what is said of now is of the last twelve months, a rise before these
// takes nothing back, and a note says so.
func TestRisesNow(t *testing.T) {
	fan := []toggle{switchedAt(100, true, "")}
	r := comparedOf(t, []float64{200}, fan, monitorOf(t, "hall", "M1", 102, dayRun{150, 40}, dayRun{420, 100}))
	if r.Now == nil || r.Below[0].Verdict != annual.Below || !strings.Contains(noteOf(r, afterSideRose), "what is said of now is of "+nowDays(r.Now)+", which are since") {
		t.Errorf("%+v, %+v, %s", r.Now, r.Below, noteOf(r, afterSideRose))
	}
	said := ""
	_, lead := homesQuestion{}.reductionProse(r) // of the months of the reduction
	for _, p := range lead {
		said += p.Text
	}
	if !strings.Contains(said, "readings rose: over the twelve months from ") {
		t.Error(said)
	}
	r = comparedOf(t, []float64{200}, fan, monitorOf(t, "hall", "M1", 102, dayRun{350, 40}, dayRun{200, 200}))
	if r.Now == nil || r.Below[0].Verdict != risen || !strings.Contains(noteOf(r, afterSideRose), "what is said of now of "+nowDays(r.Now)+", before the rise and since") {
		t.Errorf("%+v, %+v, %s", r.Now, r.Below, noteOf(r, afterSideRose))
	}
}

// TestShareOfRisen: a home whose readings rose is neither among those below a level now nor
// among the others, and is counted by itself.
func TestShareOfRisen(t *testing.T) {
	fan := []toggle{switchedAt(100, true, "")}
	rose := comparedOf(t, []float64{200}, fan, monitorOf(t, "hall", "M1", 102, dayRun{150, 50}, dayRun{30, 300}))
	quiet := comparedOf(t, []float64{200}, fan, monitorOf(t, "hall", "M1", 102, dayRun{150, 50}))
	if rose.With.AnnualMean.Value >= 200 {
		t.Fatalf("the risen home's mean is %v", rose.With.AnnualMean)
	}
	q := compareQuestion{}
	q.Levels, q.Confidence = []float64{200}, 0.95
	tables, _, err := q.pooled([]compared{rose, quiet, quiet, quiet})
	if err != nil {
		t.Fatal(err)
	}
	row := tables[2].Rows[0]
	share := row.Cells[3].(analysis.Estimate)
	if row.Cells[1] != 3 || share.Value != 1 || share.N != 3 || row.Cells[4] != 0 {
		t.Errorf("%v", row.Cells)
	}
	// A file of the joined homes alone has how many the share is of too.
	at := slices.IndexFunc(tables[0].Columns, func(c report.Column) bool { return c.Key == "share_homes_200" })
	if at < 0 || tables[0].Columns[at-1].Key != "share_below_200" || tables[0].Rows[0].Cells[at] != 3 {
		t.Errorf("share_homes_200 in %v", tables[0])
	}
	notes := tables[0].Rows[0].Notes
	if !slices.ContainsFunc(notes, func(n analysis.Note) bool {
		return n.Code == "share-risen" && strings.Contains(n.Text, "of those below 200 Bq/m³, 1 home left out, whose readings rose")
	}) {
		t.Error(notes)
	}
	if tables, _, err = q.pooled([]compared{rose, rose}); err != nil || tables[2].Rows[0].Cells[1] != 0 || tables[2].Rows[0].Cells[3] != nil {
		t.Errorf("%v, %v", err, tables[2].Rows[0].Cells)
	}
}

// TestOff: of a home whose system is off now nothing is said of now, and what was measured since
// is told; a level that it did not get below stays above.
func TestOff(t *testing.T) {
	with := monitorOf(t, "hall", "M0", 102, dayRun{57, 50})
	after := monitorOf(t, "hall", "M0", 162, dayRun{30, 500})
	for _, c := range []struct {
		name    string
		toggles []toggle
		after   []analysis.Series
		verdict []annual.Verdict
		said    string
	}{
		{"off", []toggle{switchedAt(100, true, ""), switchedAt(160, false, "")}, []analysis.Series{after}, []annual.Verdict{wentOff, annual.Above}, "its system is switched off since 2025-06-10: "},
		{"off, and nothing since", []toggle{switchedAt(100, true, ""), switchedAt(160, false, "")}, nil, []annual.Verdict{wentOff, annual.Above}, "of now; measure again"},
		{"one of two", []toggle{switchedAt(100, true, "fan"), switchedAt(100, true, "sump"), switchedAt(160, false, "sump")}, nil, []annual.Verdict{annual.Below, annual.Above}, ""},
		{"on again", []toggle{switchedAt(100, true, ""), switchedAt(130, false, ""), switchedAt(140, true, "")}, nil, []annual.Verdict{annual.Below, annual.Above}, ""},
	} {
		r := comparedOf(t, []float64{200, 10}, c.toggles, append([]analysis.Series{with}, c.after...)...)
		for k, b := range r.Below {
			if b.Verdict != c.verdict[k] {
				t.Errorf("%s: %q on %g", c.name, b.Verdict, b.Level)
			}
		}
		note := noteOf(r, systemOff)
		if (note == "") != (c.said == "") || !strings.Contains(note, c.said) || (c.after != nil) != strings.Contains(note, ", and readings since have a raw mean of 486 Bq/m³") {
			t.Errorf("%s: %q", c.name, note)
		}
	}
}

// TestOffLongAfter: of a home that went off long after its year nothing is called as it is now,
// and it is in no share of homes below a level, whatever it was.
func TestOffLongAfter(t *testing.T) {
	r := comparedOf(t, []float64{200}, []toggle{switchedAt(100, true, ""), switchedAt(603, false, "")}, monitorOf(t, "hall", "M0", 102, dayRun{500, 50}), monitorOf(t, "hall", "M0", 605, dayRun{20, 500}))
	q := compareQuestion{}
	q.Levels, q.Confidence = []float64{200}, 0.95
	if r.Now == nil || !r.ended() || r.Below[0].Verdict != wentOff {
		t.Fatalf("%+v, %+v", r.Now, r.Below)
	}
	text := strings.Join(q.compareInWords(r, false), " ") + r.asNow()
	if strings.Contains(text, "Now, with") || strings.Contains(text, "it is now") || !strings.Contains(text, "Over the last twelve months with the system, by the days") {
		t.Error(text)
	}
	high := comparedOf(t, []float64{200}, []toggle{switchedAt(100, true, ""), switchedAt(160, false, "")}, monitorOf(t, "hall", "M0", 102, dayRun{57, 550}))
	quiet := comparedOf(t, []float64{200}, []toggle{switchedAt(100, true, "")}, monitorOf(t, "hall", "M1", 102, dayRun{150, 50}))
	if high.Below[0].Verdict == annual.Below {
		t.Fatalf("%+v", high.Below)
	}
	homes := []compared{r, high, quiet, quiet}
	for i := range homes {
		homes[i].Home = string(rune('A' + i))
	}
	tables, _, err := q.pooled(homes)
	if err != nil {
		t.Fatal(err)
	}
	if row := tables[2].Rows[0]; row.Cells[1] != 2 || row.Cells[3].(analysis.Estimate).Value != 1 {
		t.Errorf("%v", row.Cells)
	}
}

// TestRepairedAt: a stop of less than two days is a repair, of one of several systems too; one
// of two days is none, nor is a system switched on that ran.
func TestRepairedAt(t *testing.T) {
	hours := func(n int, on bool, system string) toggle {
		return toggle{at: time.Date(2025, 3, 1, n, 0, 0, 0, time.UTC), on: on, system: system}
	}
	for _, c := range []struct {
		name    string
		toggles []toggle
		at      int // hours; 0: none
	}{
		{"one", []toggle{hours(1, true, ""), hours(100, false, ""), hours(147, true, "")}, 147},
		{"two days", []toggle{hours(1, true, ""), hours(100, false, ""), hours(148, true, "")}, 0},
		{"of two", []toggle{hours(1, true, "a"), hours(2, true, "b"), hours(100, false, "b"), hours(106, true, "b")}, 106},
		{"another comes", []toggle{hours(1, true, "a"), hours(100, false, "a"), hours(106, true, "b")}, 0},
		{"ran before", []toggle{hours(100, false, ""), hours(106, true, "")}, 106},
		{"the last of two", []toggle{hours(1, true, ""), hours(100, false, ""), hours(106, true, ""), hours(300, false, ""), hours(302, true, "")}, 302},
		{"enlarged", []toggle{hours(1, true, ""), hours(100, true, "")}, 0},
	} {
		got := repairedAt(c.toggles, time.UTC)
		if want := hours(c.at, true, "").at; c.at == 0 && !got.IsZero() || c.at != 0 && !got.Equal(want) {
			t.Errorf("%s: %v", c.name, got)
		}
	}
}

// TestGroupAfter: what a home's readings with the system state, where nothing else is stated;
// where they were narrowed to one of several, what that states.
func TestGroupAfter(t *testing.T) {
	day := func(n int) time.Time { return time.Date(2025, 1, 1+n, 0, 0, 0, 0, time.UTC) }
	said := func(value string, from, to int) ingest.Said {
		return ingest.Said{Value: value, Start: day(from), End: day(to)}
	}
	with := []analysis.Series{monitorOf(t, "hall", "M", 20, dayRun{10, 50})} // days 21 to 30
	for _, c := range []struct {
		all      []ingest.Said
		narrowed bool
		want     string
	}{
		{[]ingest.Said{said("fan", 21, 31)}, false, "fan"},
		{[]ingest.Said{said("fan", 1, 10)}, false, ""},
		{[]ingest.Said{said("fan", 10, 20), said("sump", 21, 31)}, false, ""},
		{[]ingest.Said{said("fan", 10, 20), said("sump", 21, 31)}, true, "sump"},
		{[]ingest.Said{said("fan", 21, 31), said("sump", 21, 31)}, true, ""},
	} {
		if got := groupAfter(c.all, with, c.narrowed); got != c.want {
			t.Errorf("%v, narrowed %v: %q", c.all, c.narrowed, got)
		}
	}
}

// TestSpellChanges: a system switched off and on again on one day, as for a repair, is no
// study of what it does by turns; one whose spells were not measured is told what is.
func TestSpellChanges(t *testing.T) {
	repair := []toggle{switchedAt(100, true, ""), switchedAt(160, false, ""), {at: time.Date(2025, 6, 10, 14, 0, 0, 0, time.UTC), on: true}}
	spells := []toggle{switchedAt(100, true, ""), switchedAt(160, false, ""), switchedAt(170, true, "")}
	series := []analysis.Series{monitorOf(t, "hall", "M1", 102, dayRun{57, 50}), monitorOf(t, "hall", "M1", 172, dayRun{60, 50})}
	r := comparedOf(t, []float64{200}, repair, series...)
	if n := spellChanges(repair, time.UTC); n != 1 || r.cycled != nil || noteOf(r, "no-cycling") != "" {
		t.Errorf("%d changes, %+v, %q", n, r.cycled, noteOf(r, "no-cycling"))
	}
	r = comparedOf(t, []float64{200}, spells, series...)
	if n := spellChanges(spells, time.UTC); n != 3 || !strings.Contains(noteOf(r, "no-cycling"), "of 3 switches only 1 have days measured before and after, and it takes 3 ") {
		t.Errorf("%d changes, %q", n, noteOf(r, "no-cycling"))
	}
	// After a repair only what is compared is a study of turns.
	turns := []toggle{switchedAt(100, true, ""), switchedAt(110, false, ""), switchedAt(120, true, ""), switchedAt(130, false, ""), switchedAt(140, true, "")}
	days := []analysis.Series{monitorOf(t, "hall", "M0", 102, dayRun{8, 50}, dayRun{2, 300}, dayRun{8, 500}, dayRun{2, 300}, dayRun{8, 50}, dayRun{2, 300}, dayRun{8, 500}, dayRun{2, 300}, dayRun{40, 50})}
	if r = comparedOf(t, []float64{200}, turns, days...); r.Spell != nil || r.cycled == nil {
		t.Errorf("%+v, %+v", r.Spell, r.cycled)
	}
	mended := append(slices.Clone(turns), switchedAt(150, false, ""), toggle{at: time.Date(2025, 5, 31, 14, 0, 0, 0, time.UTC), on: true})
	if r = comparedOf(t, []float64{200}, mended, days...); r.Spell == nil || !r.Spell.Repair || r.cycled != nil || noteOf(r, "no-cycling") == "" {
		t.Errorf("%+v, %+v, %q", r.Spell, r.cycled, noteOf(r, "no-cycling"))
	}
}

// TestShortNow: a probability that would be conclusive after a longer test stands beside the
// reason why it is not.
func TestShortNow(t *testing.T) {
	q := compareQuestion{}
	q.Levels, q.Confidence = []float64{200}, 0.95
	if err := q.loadProfile(); err != nil {
		t.Fatal(err)
	}
	of := func(hours int) string {
		reading := func(start time.Time, hours int, x float64) []analysis.Series {
			s, err := analysis.NewSeries(analysis.Place{Home: "A"}, time.UTC, []analysis.Reading{{Start: start, End: start.Add(time.Duration(hours) * time.Hour), Concentration: x}})
			if err != nil {
				t.Fatal(err)
			}
			return []analysis.Series{s}
		}
		r, err := compare.Compare(compare.Home{Without: reading(time.Date(2026, 1, 6, 0, 0, 0, 0, time.UTC), 96, 640), With: reading(time.Date(2026, 2, 6, 0, 0, 0, 0, time.UTC), hours, 20)}, q.options())
		if err != nil {
			t.Fatal(err)
		}
		return strings.Join(q.compareInWords(compared{Result: r}, true), "\n")
	}
	if text := of(30); !strings.Contains(text, "Verdict: not conclusive, with under 46 hours measured.") {
		t.Error(text)
	}
	if text := of(60); strings.Contains(text, "hours measured.") || !strings.Contains(text, "Verdict: conclusive, below") {
		t.Error(text)
	}
	said := strings.Join(q.compareSentences(nil), "\n")
	if !strings.Contains(said, "a verdict on a level needs a probability of 95 %, and 46 hours with the system too.") {
		t.Error(said)
	}
}
