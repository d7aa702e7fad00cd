package coverage

import (
	"encoding/json"
	"fmt"
	"os"
	"strconv"
	"testing"
)

func TestDev(t *testing.T) {
	if os.Getenv("DEV") == "" {
		t.Skip()
	}
	for _, mode := range []string{"other", "same", "course"} {
		if m := os.Getenv("MODE"); m != "" && m != mode {
			continue
		}
		tab, err := Run(Options{Seed: func() uint64 { n, _ := strconv.Atoi(os.Getenv("SEED")); return uint64(n) }(), SameYears: mode != "other", Course: mode == "course"})
		if err != nil {
			t.Fatal(err)
		}
		fmt.Println("MODE", mode, tab.Took)
		p := tab.Profile.Profile
		fmt.Println(p.Season.Mean, p.Drift, p.DayNoise, p.Calibration)
		for i := range 4 {
			fmt.Println(p.Season.Cov[i])
		}
		if p.Course != nil {
		}
		for _, s := range tab.Profile.Scatter {
			b, _ := json.Marshal(s)
			fmt.Println(string(b))
		}
		for _, r := range append(tab.Rows, tab.Overall) {
			fmt.Printf("%4d n=%d | L cov %.3f (%.3f/%.3f) err %.3f ratio %.2f width %.2f concl %.2f wrong %.3f | B cov %.3f err %.3f ratio %.2f width %.2f wrong %.3f| raw %.3f |", r.Days, r.Tests, r.Learned.Coverage, r.Learned.Missed[0], r.Learned.Missed[1], r.Learned.Error, r.Learned.Error/r.RawError, r.Learned.WidthRatio, r.Learned.Conclusive, r.Learned.Wrong, r.BuiltIn.Coverage, r.BuiltIn.Error, r.BuiltIn.Error/r.RawError, r.BuiltIn.WidthRatio, r.BuiltIn.Wrong, r.RawError)
			for _, q := range r.Season {
				fmt.Printf(" %.3f/%.3f", q.Learned, q.BuiltIn)
			}
			fmt.Println()
		}
	}
}
