// Command make writes the invented demo district to testdata/demo, or with
// -figures prints how the generator compares with the figures of the trade.
package main

import (
	"flag"
	"os"

	"radonyear/testdata/scenario"
)

func main() {
	figures := flag.Bool("figures", false, "print measured figures of the generator and write nothing")
	seed := flag.Uint64("seed", 1, "seed of the district that -figures measures")
	homes := flag.Int("homes", 200, "homes that -figures measures")
	years := flag.Int("years", 5, "years that -figures measures")
	flag.Parse()
	if *figures {
		d := scenario.NewDistrict(*seed, scenario.Options{Days: 365 * *years, Homes: *homes})
		d.WriteFigures(os.Stdout, *homes)
		return
	}
}
