package survey

import (
	"math"
	"testing"
)

// FuzzPosterior: whatever homes are given, both ways answer or say why not, without
// panic, and every estimate is sound.
func FuzzPosterior(f *testing.F) {
	f.Add([]byte("abcabcabcdefdefdefxyzxyzxyz"), 4.0, 0.3)
	f.Add([]byte{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16, 17, 18}, 99.0, 1e-300)
	f.Add([]byte{255, 255, 255, 0, 0, 0, 255, 0, 255, 0, 255, 0}, -100.0, 10.0)
	f.Add([]byte{5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5, 5}, 1e-300, 0.0)
	f.Fuzz(func(t *testing.T, b []byte, centre, unit float64) {
		var homes []Home
		for ; len(b) >= 3 && len(homes) < 40; b = b[3:] {
			h := Home{Area: string(rune('a' + b[0]%5)), Log: centre + unit*(float64(b[1])-128)/32, Covariates: []float64{float64(b[0] / 128)}}
			switch b[2] % 6 {
			case 0:
				h.Below = true
			case 1:
				h.Lower, h.Upper = h.Log, h.Log+unit*float64(b[2])/64
			case 2:
				h.Lower, h.Upper = h.Log, math.Inf(1)
			case 3:
				h.SE = unit * float64(b[2]) / 200
			}
			homes = append(homes, h)
		}
		opt := Options{Covariates: []string{"x"}}
		if len(homes)%2 == 0 {
			opt.Covariates = nil
			for i := range homes {
				homes[i].Covariates = nil
			}
		}
		if m, err := Fit(homes, opt); err == nil {
			all := []error{m.SDArea.Check(), m.SDHome.Check()}
			for _, a := range m.Areas {
				all = append(all, a.GM.Check())
			}
			for _, err := range all {
				if err != nil {
					t.Error(err)
				}
			}
		}
		r, err := Posterior(homes, PosteriorOptions{Options: opt, Levels: []float64{200}, Exceeds: []float64{0.1}, Draws: 100, Shared: &Shared{All: math.Min(unit*unit, 1)}})
		if err != nil {
			return
		}
		for _, e := range estimates(r) {
			if err := e.Check(); err != nil {
				t.Error(err)
			}
		}
	})
}
