package compare

import (
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"radonyear/analysis/internal/numeric"
	"radonyear/analysis/temporal"
	"radonyear/testdata/scenario"
)

// TestRecordsByHand: likelihoods of 18 to 1 are a change by one record, 18/(18 + 1) = 0.947,
// and by one of three none, 18/(18 + 3) = 0.857; it takes 27 to 1 there, as 27/(27 + 3) is
// 0.9. What else is said of the change is as it was.
func TestRecordsByHand(t *testing.T) {
	for _, c := range []struct {
		b    float64
		k    int
		want float64
	}{{18, 0, 18.0 / 19}, {18, 1, 18.0 / 19}, {18, 3, 18.0 / 21}, {27, 3, 0.9}, {9, 1, 0.9}} {
		near(t, "probability", probabilityOf(math.Log(c.b), c.k), c.want, 1e-12)
	}
	// A step that is found by itself, just, and is not as one of five.
	days := alternating(12, 12, 400, 400)
	for i := range days {
		days[i].Mean *= []float64{1, 1.3, 0.8, 1.1, 0.7}[i%5]
		if i >= 12 {
			days[i].Mean *= 0.5
		}
	}
	one, err := FindSwitch(days, SwitchOptions{})
	if err != nil {
		t.Fatal(err)
	}
	five, err := FindSwitch(days, SwitchOptions{Records: 5})
	if err != nil {
		t.Fatal(err)
	}
	b := one.Probability / (1 - one.Probability)
	near(t, "of five", five.Probability, b/(b+5), 1e-9)
	if !one.Found || five.Found || one.Day != five.Day || one.First != five.First || one.Last != five.Last || one.Ratio.Value != five.Ratio.Value {
		t.Errorf("alone %+v, one of five %+v", one, five)
	}
	if _, err := FindSwitch(days, SwitchOptions{Records: -1}); err == nil {
		t.Error("one of -1 records")
	}
}

// TestRecordsOfAHome: of homes of a mass balance in which nothing was done, those with a
// monitor in each room show a change no more often than by that in the living room alone,
// and would if each were searched by itself. Of 400 such homes (measured once) it is 8 % by
// the living room, 13 % by any room searched by itself and 8 % as records of one home; with
// two monitors in each room 16 % and 7 %.
func TestRecordsOfAHome(t *testing.T) {
	if testing.Short() {
		t.Skip("some seconds")
	}
	const each = 25
	var alone, apart, together, homes int
	for k := range 4 {
		d := scenario.NewDistrict(uint64(firstDistrict+k), scenario.Options{Days: simSpan, Homes: each})
		monitor := scenario.HomeMonitor()
		var found [each][3]bool
		numeric.Each(each, func(i int) {
			rng := rand.New(rand.NewPCG(uint64(firstDistrict+k), 200+uint64(i)))
			h := d.Home(i)
			start, n := d.Start().AddDate(0, 0, 370+rng.IntN(365)), 41+rng.IntN(140)
			rooms := h.Rooms()
			for j, room := range rooms {
				var days []Day
				var season []float64
				for _, m := range h.DayMeans(room, start, n, &monitor, 10*i+j+1) {
					if at := temporal.Day(m.Start, time.UTC); m.Value > 0 {
						days, season = append(days, Day{Day: at, Mean: m.Value}), append(season, temporal.BuiltIn(false).Season.At(at))
					}
				}
				s, err := FindSwitch(days, SwitchOptions{Season: season, Records: len(rooms)})
				if err != nil {
					t.Error(err)
					return
				}
				b := float64(len(rooms)) * s.Probability / (1 - s.Probability)
				itself := b/(b+1) >= FoundAt
				f := &found[i]
				f[0], f[1], f[2] = f[0] || room == scenario.Living && itself, f[1] || itself, f[2] || s.Found
			}
		})
		for _, f := range found {
			homes++
			for i, to := range []*int{&alone, &apart, &together} {
				if f[i] {
					*to++
				}
			}
		}
	}
	t.Logf("of %d homes a change was found by mistake in %d by the living room, %d by rooms each by itself, %d by rooms as records of a home", homes, alone, apart, together)
	if together > alone+2 {
		t.Errorf("%d of %d homes by all rooms, %d by one", together, homes, alone)
	}
	if apart <= together {
		t.Errorf("%d by rooms each by itself, %d together: this would not show that sharing does anything", apart, together)
	}
}
