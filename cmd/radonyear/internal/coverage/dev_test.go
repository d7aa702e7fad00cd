package coverage

import (
	"fmt"
	"os"
	"testing"
)

func TestDev(t *testing.T) {
	if os.Getenv("DEV") == "" {
		t.Skip()
	}
	tab, err := Run(Options{})
	if err != nil {
		t.Fatal(err)
	}
	fmt.Println(tab.Took, tab.Confirmed, tab.Mistaken)
	for _, a := range tab.Arms {
		fmt.Println(a.Name)
		for _, r := range a.Rows {
			fmt.Printf("%4d n=%d cov %.3f (%.3f/%.3f) raw %.3f err %.3f ratio %.2f width %.2f concl %.2f wrong %.3f |", r.Days, r.Tests, r.Coverage, r.Under, r.Over, r.RawError, r.Error, r.Error/r.RawError, r.WidthRatio, r.Conclusive, r.Wrong)
			for _, q := range r.Season {
				fmt.Printf(" %.3f", q.Coverage)
			}
			fmt.Println()
		}
	}
}
