package ingest

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
)

func TestColumnNames(t *testing.T) {
	for _, c := range []struct {
		name, role string
		unit       unit
		other      string
	}{
		{"Date/Time", roleStamp, noUnit, ""},
		{"timestamp", roleStamp, noUnit, ""},
		{"Timestamp (UTC)", roleStamp, noUnit, ""},
		{"Start Date", roleStartDate, noUnit, ""},
		{"START_TIME", roleStartClock, noUnit, ""},
		{"end date", roleEndDate, noUnit, ""},
		{"Exposure days", roleDays, noUnit, ""},
		{"Duration (h)", roleDays, noUnit, ""},
		{"Radon (pCi/L)", roleValue, pcil, ""},
		{"Radon Bq/m³", roleValue, bqm3, ""},
		{"radon_bq_m3", roleValue, bqm3, ""},
		{"radon bqm3", roleValue, bqm3, ""},
		{"Rn-222 [Bq m⁻³]", roleValue, bqm3, ""},
		{"Rn-222 (Bq·m^-3)", roleValue, bqm3, ""},
		{"Radon concentration, kBq/m3", roleValue, kbqm3, ""},
		{"Radon (becquerel per cubic metre)", roleValue, bqm3, ""},
		{"Average radon (picocuries per liter)", roleValue, pcil, ""},
		{"Bq/m3", roleValue, bqm3, ""},
		{"Radon (µBq/m3)", roleValue, noUnit, "µbq/m3"},
		{"Radon (mBq/m3)", roleValue, noUnit, "mbq/m3"},
		{"Radon (Bq/L)", roleValue, noUnit, "bq/l"},
		{"Exposure (kBqh/m3)", "", noUnit, "kbqh/m3"},
		{"Result", roleValue, noUnit, ""},
		{"House ID", roleHome, noUnit, ""},
		{"Location", roleHome, noUnit, ""},
		{"Serial number", roleDetector, noUnit, ""},
		{"Uncertainty (k=2) Bq/m3", roleUncertainty, bqm3, ""},
		{"Uncertainty, 2 sigma", roleUncertainty, noUnit, ""},
		{"u (%)", roleUncertainty, noUnit, ""},
		{"U", "", noUnit, ""},
		{"Temperature (°C)", "", noUnit, ""},
		{"Radon daughters", "", noUnit, ""},
		{"", "", noUnit, ""},
	} {
		got := recognise(c.name)
		if got.role != c.role || got.unit != c.unit || got.other != c.other {
			t.Errorf("%q: role %q, unit %q, not understood %q; want %q, %q, %q", c.name, got.role, got.unit.name, got.other, c.role, c.unit.name, c.other)
		}
	}
	for name, want := range map[string]float64{"Uncertainty (k=2)": 2, "Uncertainty 2σ": 2, "expanded uncertainty": 2, "Uncertainty (95 %)": 2, "Uncertainty (k=1)": 1, "uncertainty": 0, "Uncertainty (k = 1.96)": 1.96} {
		if got := recognise(name); got.k != want || got.percent || got.role != roleUncertainty {
			t.Errorf("%q: coverage factor %g, per cent %t, role %q; want %g", name, got.k, got.percent, got.role, want)
		}
	}
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		text               string
		open, point, comma string // what it is by each mark; "" where it is refused
	}{
		{"165", "165", "165", "165"},
		{"165.5", "165.5", "165.5", ""},
		{"165,5", "165.5", "", "165.5"},
		{"1,234", "", "1234", "1.234"},
		{"1.234", "", "1.234", "1234"},
		{"0.123", "0.123", "0.123", ""},
		{"0,123", "0.123", "", "0.123"},
		{"1,234.5", "1234.5", "1234.5", ""},
		{"1.234,5", "1234.5", "", "1234.5"},
		{"1,234,567", "1.234567e+06", "1.234567e+06", ""},
		{"1.234.567", "1.234567e+06", "", "1.234567e+06"},
		{"1 234.5", "1234.5", "1234.5", ""},
		{"1\u00a0234,5", "1234.5", "", "1234.5"},
		{"1'234", "1234", "1234", "1234"},
		{"1.5e3", "1500", "1500", ""},
		{"1,5e3", "1500", "", "1500"},
		{"15E2", "1500", "1500", "1500"},
		{"-5", "-5", "-5", "-5"},
		{"+5", "5", "5", "5"},
		{".5", "0.5", "0.5", ""},
		{"5.", "5", "5", ""},
		{"9007199254740993", "9.007199254740992e+15", "9.007199254740992e+15", "9.007199254740992e+15"},
		{"1,23,456", "", "", ""},
		{"1 23", "", "", ""},
		{"1.2.3", "", "", ""},
		{"0x10", "", "", ""},
		{"1_000", "", "", ""},
		{"", "", "", ""},
		{"-", "", "", ""},
		{"e5", "", "", ""},
		{"Inf", "", "", ""},
	} {
		for m, want := range map[mark]string{markOpen: c.open, markPoint: c.point, markComma: c.comma} {
			x, trouble := parseNumber(c.text, m)
			got := fmt.Sprintf("%.16g", x)
			if trouble != "" {
				got = ""
			} else if want != "" && want != got {
				got = fmt.Sprint(x)
			}
			if got != want {
				t.Errorf("%q by mark %q: %q (%s), want %q", c.text, string(rune(m)), got, trouble, want)
			}
		}
	}
}

func TestStamps(t *testing.T) {
	for _, c := range []struct {
		text  string
		order dateOrder
		want  string // wall time, offset; or the trouble
	}{
		{"2026-01-10", "", "2026-01-10"},
		{"2026-1-9", "", "2026-01-09"},
		{"2026/01/10", "", "2026-01-10"},
		{"20260110", "", "2026-01-10"},
		{"20260110T1430", "", "2026-01-10 14:30:00"},
		{"2026-01-10T14:30", "", "2026-01-10 14:30:00"},
		{"2026-01-10 14:30:05", "", "2026-01-10 14:30:05"},
		{"2026-01-10T14:30:05.25Z", "", "2026-01-10 14:30:05.25 +0"},
		{"2026-01-10T14:30:05,25+01:00", "", "2026-01-10 14:30:05.25 +3600"},
		{"2026-01-10 14:30 +0130", "", "2026-01-10 14:30:00 +5400"},
		{"2026-01-10T14:30-05", "", "2026-01-10 14:30:00 -18000"},
		{"2026-01-10 14:30 UTC", "", "2026-01-10 14:30:00 +0"},
		{"2026-01-10T24:00", "", "2026-01-11 00:00:00"},
		{"10.01.2026 14:30", "dmy", "2026-01-10 14:30:00"},
		{"01/10/2026 2:30 PM", "mdy", "2026-01-10 14:30:00"},
		{"01/10/2026 12:00 AM", "mdy", "2026-01-10 00:00:00"},
		{"1/10/2026, 12:05:09\u202fpm", "mdy", "2026-01-10 12:05:09"},
		{"5/5/2026", "", "2026-05-05"},
		{"10-Jan-2026", "", "2026-01-10"},
		{"10 January 2026 14:30", "", "2026-01-10 14:30:00"},
		{"Jan 10, 2026 2:30 pm", "", "2026-01-10 14:30:00"},
		{"Sat 10 Jan 2026", "", "2026-01-10"},
		{"10-Jan-26", "", "2026-01-10"},
		{"10-Jan-99", "", "1999-01-10"},
		{"29.02.2024", "dmy", "2024-02-29"},
		{"46032.5", "", "2026-01-10 12:00:00"},
		{"46032", "", "2026-01-10"},
		{"1768003200", "", "2026-01-10 00:00:00 +0"},
		{"1768003200250", "", "2026-01-10 00:00:00.25 +0"},
		{"03/01/2026", "", string(orderUnsure)},
		{"10/01/26", "", string(yearUnsure)},
		{"10/01/26", "dmy", "2026-01-10"},
		{"26/01/10", "ymd", "2026-01-10"},
		{"29.02.2026", "dmy", string(noSuchDay)},
		{"2026-02-30", "", string(noSuchDay)},
		{"2026-01-10 25:00", "", string(noSuchClock)},
		{"2026-01-10 13:00 PM", "", string(noSuchClock)},
		{"2026-01-10 14:30 CET", "", string(zoneWord)},
		{"2026-01-10T14:30 +25:00", "", string(notAStamp)},
		{"2026", "", string(serialTime)},
		{"12345", "", string(serialTime)},
		{"yesterday", "", string(notAStamp)},
		{"", "", string(notAStamp)},
		{"2026-01-10 14", "", string(notAStamp)},
		{"2026-01-10x", "", string(notAStamp)},
		{"2026-01-10T", "", string(notAStamp)},
	} {
		st, trouble := parseStamp(c.text, c.order)
		got := string(trouble)
		if trouble == "" {
			got = stampText(st)
		}
		if got != c.want {
			t.Errorf("%q by %q: %s, want %s", c.text, c.order, got, c.want)
		}
	}
}

func stampText(st stamp) string {
	w := time.Unix(st.sec, int64(st.micro)*1000).UTC()
	switch {
	case !st.clock:
		return w.Format("2006-01-02")
	case st.zoned:
		return w.Format("2006-01-02 15:04:05.999999") + fmt.Sprintf(" %+d", st.off)
	}
	return w.Format("2006-01-02 15:04:05.999999")
}

// The package time is a second, slower way to the same instants.
func TestAgainstSlowTimes(t *testing.T) {
	t.Parallel()
	rng := rand.New(rand.NewPCG(7, 8))
	for range 20000 {
		w := time.Unix(rng.Int64N(7_800_000_000)-600_000_000, rng.Int64N(1000)*1e6).In(fixedZone((rng.IntN(27) - 13) * 3600))
		for _, layout := range []string{time.RFC3339, time.RFC3339Nano, "2006-01-02 15:04:05Z0700", "2 Jan 2006 15:04:05.000 -07:00", "20060102T150405Z0700"} {
			s := w.Format(layout)
			want, err := time.Parse(layout, s)
			if err != nil {
				t.Fatal(err)
			}
			st, trouble := parseStamp(s, "")
			if got := time.Unix(st.sec-int64(st.off), int64(st.micro)*1000); trouble != "" || !st.zoned || !got.Equal(want) {
				t.Fatalf("%q: %v %s, want %v", s, got, trouble, want)
			}
		}
	}
	// Every quarter of an hour around each change of the clocks: an instant's
	// own wall time must lead back to it, by the early or the late reading.
	for _, name := range []string{"Europe/Oslo", "America/New_York", "Australia/Lord_Howe", "America/Sao_Paulo", "Africa/Cairo", "UTC"} {
		loc, err := LoadZone(name)
		if err != nil {
			t.Fatal(err)
		}
		z := newClockZone(loc, name)
		var at []time.Time
		for y := 1990; y <= 2040; y++ {
			at = append(at, time.Date(y, 1, 1, 0, 0, 0, 0, time.UTC))
			for u := at[len(at)-1]; ; {
				_, end := u.In(loc).ZoneBounds()
				if !end.After(u) || end.Year() > y {
					break
				}
				u = end
				at = append(at, u)
			}
		}
		for _, u := range at {
			for q := -200; q <= 200; q++ {
				i := u.Add(time.Duration(q) * 15 * time.Minute)
				_, off := i.In(loc).Zone()
				early, late, kind := z.instant(i.Unix() + int64(off))
				if i.Unix() != early && i.Unix() != late || kind == gapTime || (kind == repeatTime) != (early != late) {
					t.Fatalf("%s: %v reads back as %d or %d, kind %d, not %d", name, i.In(loc), early, late, kind, i.Unix())
				}
			}
		}
	}
}

func FuzzDate(f *testing.F) {
	for _, s := range []string{"2026-01-10T14:30:05.25+01:00", "10.01.2026 14:30", "1/10/2026 2:30 PM", "10-Jan-26", "46032.5", "1768003200000", "Jan 10, 2026"} {
		f.Add(s, uint8(1))
	}
	f.Fuzz(func(t *testing.T, s string, order uint8) {
		o := []dateOrder{"", "dmy", "mdy", "ymd"}[order%4]
		parseClock(s)
		st, trouble := parseStamp(s, o)
		if trouble != "" {
			if trouble == orderUnsure && o != "" {
				t.Fatalf("%q is unsure by %s", s, o)
			}
			return
		}
		if st.shape == shapeNone || st.sec < -62200000000 || st.sec > 253402300800+86400 || st.micro < 0 || st.micro > 999999 {
			t.Fatalf("%q gives %+v", s, st)
		}
		// What was understood, written plainly, must be understood the same.
		text := time.Unix(st.sec, int64(st.micro)*1000).UTC().Format("2006-01-02T15:04:05.000000")
		if !st.clock {
			text = text[:10]
		} else if st.zoned {
			text += time.Unix(0, 0).In(fixedZone(int(st.off))).Format("-07:00")
		}
		if strings.HasPrefix(text, "-") || len(text) < 10 || text[4] != '-' {
			return // year 10000, by 24:00 on its eve
		}
		again, trouble := parseStamp(text, o)
		if again.shape, again.zone = st.shape, st.zone; trouble != "" || again != st {
			t.Fatalf("%q gives %+v, but %q gives %+v %s", s, st, text, again, trouble)
		}
		if want, err := time.Parse(time.RFC3339, s); err == nil && st.shape == shapeYMD && want.Unix() != st.sec-int64(st.off) {
			t.Fatalf("%q is %v, got %+v", s, want, st)
		}
	})
}

// TestStatisticsAreNoRooms: what an export says of one radon in several ways.
func TestStatisticsAreNoRooms(t *testing.T) {
	for name, want := range map[string]bool{
		"Radon min": true, "max": true, "Radon 24h": true, "24 h": true, "Radon long term": true, "Radon now": true, "1 h average": true, "short-term avg": true,
		"minimum": true, "week": true, "day": true, "hourly": true, "1h": true, "Last 24 hours": true, "Radon_24h": true, "7-day average": true, "Std dev": true, "lower limit": true,
		"Bedroom": false, "Room 24": false, "Basement 1": false, "Maxwell": false, "Long room": false, "Lounge": false,
		"Garage": false, "Day room": false, "Lower bedroom": false, "Upper floor": false, "Holiday flat": false, "Lightwell": false, "1": false, "Room 1 h": false,
	} {
		if got := isStatistic(name); got != want {
			t.Errorf("%q is a statistic: %v, want %v", name, got, want)
		}
	}
	for _, c := range []struct{ header, want string }{
		{"Radon min (Bq/m3),Radon max (Bq/m3)", `column "Radon min (Bq/m3)": is one of several ways`},
		{"24h (Bq/m3),long term (Bq/m3)", `column "24h (Bq/m3)": is one of several ways`},
		{"Last 24 hours (Bq/m3),Last 7 days (Bq/m3)", `column "Last 24 hours (Bq/m3)": is one of several ways`},
		{"Radon average (Bq/m3),Radon max (Bq/m3)", ""}, // plainly the mean
		{"garage (Bq/m3),lower bedroom (Bq/m3)", "garage (Bq/m3);lower bedroom (Bq/m3)"},
		{"garage (Bq/m3),max (Bq/m3)", "garage (Bq/m3)"},
	} {
		tb, err := Open(put(t, "a.csv", "start,end,"+c.header+"\n2026-01-10,2026-01-11,100,200\n"), Options{})
		got := ""
		if err != nil {
			got = err.Error()
		} else {
			if _, err := tb.Daily(); err != nil {
				t.Fatal(err)
			}
			got = strings.Join(tb.Sources()[0].Wide, ";")
			tb.Close()
		}
		if !strings.Contains(got, c.want) || c.want == "" && got != "" {
			t.Errorf("%s: %q, want %q", c.header, got, c.want)
		}
	}
}

// TestPointOrThousands: 1.250 is asked about where every value with a point could
// be thousands and the file has more to say for it; an ordinary file is not.
func TestPointOrThousands(t *testing.T) {
	for _, c := range []struct{ rows, want string }{
		{"15.11.2023,14.02.2024,1.250 16.11.2023,14.02.2024,90", `a.csv:2: "1.250" could be read with a decimal mark or with a thousands separator, and "15.11.2023" on line 2`},
		{"2023-11-15,2024-02-14,1.250 2023-11-16,2024-02-14,1'250", `a.csv:2: "1.250" could be read with a decimal mark or with a thousands separator, and "1'250" on line 3`},
		{"2023-11-15,2024-02-14,1.250 2023-11-16,2024-02-14,1\u00a0250", `"1.250" could be read with`},
		{"15.11.2023,14.02.2024,1.250 16.11.2023,14.02.2024,12.5", ""},
		{"2023-11-15,2024-02-14,1.250 2023-11-16,2024-02-14,90", ""},
		{"15.11.2023,14.02.2024,0.250 16.11.2023,14.02.2024,90", ""},
	} {
		tb, err := Open(put(t, "a.csv", "start,end,Radon (Bq/m3)\n"+strings.ReplaceAll(c.rows, " ", "\n")+"\n"), Options{})
		got := ""
		if err != nil {
			got = err.Error()
		} else {
			tb.Close()
		}
		if !strings.Contains(got, c.want) || c.want == "" && got != "" {
			t.Errorf("%s: %q, want %q", c.rows, got, c.want)
		}
	}
}

// TestQuickStamps: the quick way of reading a time and the parser say the same.
func TestQuickStamps(t *testing.T) {
	for _, day := range []string{"2026-01-10", "2024-02-29", "2026-02-29", "2026-13-01"} {
		for _, clock := range []string{"", "T14:30", " 14:30:59", "T24:00", "T14:60", "T14:30:59.5", "T1:30"} {
			for _, zone := range []string{"", "Z", "+01:00", "-03:30", "+14:00", "+14:59", "+15:00", "-00:00", "+01:60", "+0100", "+1:00", "x01:00"} {
				s := day + clock + zone
				quick, ok := isoStamp(s)
				p := stampParser{s: s}
				if slow, trouble := p.parse(); ok && (trouble != "" || slow != quick) {
					t.Errorf("%s: quickly %+v, by the parser %+v %s", s, quick, slow, trouble)
				} else if !ok && trouble == "" && day == "2026-01-10" && clock == "T14:30" && (zone == "+01:00" || zone == "-03:30") {
					t.Errorf("%s: not read quickly", s)
				}
			}
		}
	}
}
