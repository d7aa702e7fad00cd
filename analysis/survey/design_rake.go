package survey

import (
	"errors"
	"fmt"
	"maps"
	"math"
	"slices"

	"radonyear/analysis/internal/numeric"
)

// Raked are weights that meet margins.
type Raked struct {
	Weights  []float64 // in the order of the homes
	Rounds   int       // 1 with one margin, 0 with none
	Residual float64   // largest |dwellings reached/known − 1|
	Scaled   float64   // largest |total/first's total − 1| of margins scaled to the first's total

	cells   [][]int
	margins []counted
}

// MarginError is a margin that no weights can meet, and the cell that says so, "" for
// the margin as a whole.
type MarginError struct{ Margin, Cell, Why string }

func (e *MarginError) Error() string {
	if e.Cell == "" && e.Margin == "" {
		return e.Why
	}
	if e.Cell == "" {
		return e.Margin + ": " + e.Why
	}
	return fmt.Sprintf("%s %q: %s", e.Margin, e.Cell, e.Why)
}

const (
	mostRounds  = 1000
	rakedWithin = 1e-10
	// Counts of one community from two sources differ a little; by more than this
	// they are of two communities.
	mostScaled = 0.01
	// More dwellings than this are no community's.
	mostDwellings = 1e12
)

// Rake estimates weights under which the homes of each cell of each margin stand for
// as many dwellings as are known there.
//
// Formula. Cell by cell w ← w·N/Σw, margin after margin, until each cell's Σw is within
// 10⁻¹⁰ of its N (iterative proportional fitting); with one margin, once, which is
// post-stratification. Margins whose totals differ by up to 1 % are scaled to the first's.
// A variance then has of each linearised value only what is left after the margins'
// cells: z less its weighted regression on them, by the final weights, which makes it the
// exact derivative of the raked figure by each weight.
//
// Assumes that within a cell homes in the sample are like those that are not.
//
// Interval: none; the figures' own.
//
// Notes: margins-scaled, uneven-weights.
//
// Source: Deming and Stephan 1940, Ann. Math. Stat. 11:427; Deville, Särndal and Sautory 1993, J. Am.
// Stat. Assoc. 88:1013 (both from memory).
func Rake(homes []Drawn, margins []Margin) (Raked, error) {
	r := Raked{Weights: make([]float64, len(homes))}
	for i, h := range homes {
		r.Weights[i] = h.Weight
		if !(h.Weight > 0) || math.IsInf(h.Weight, 0) || len(h.Cells) != len(margins) {
			return r, fmt.Errorf("home %d has a weight of %v and %d cells; a weight is above 0, and there are %d margins", i+1, h.Weight, len(h.Cells), len(margins))
		}
	}
	if sum := total(r.Weights); len(homes) > 0 && !(sum > 0 && sum <= mostDwellings) {
		return r, fmt.Errorf("the weights of %d homes, up to %v, do not add to a number of dwellings", len(homes), slices.Max(r.Weights))
	}
	if err := r.lay(homes, margins); err != nil || len(margins) == 0 {
		return r, err
	}
	sums := make([][]float64, len(margins))
	for ; ; r.Rounds++ {
		worst := MarginError{Margin: margins[0].Name}
		r.Residual = 0
		for k, m := range r.margins {
			sums[k] = r.sums(k)
			for c, n := range m.dwellings {
				if off := math.Abs(sums[k][c]/n - 1); off > r.Residual || math.IsNaN(off) {
					r.Residual = off
					worst = MarginError{margins[k].Name, m.names[c], fmt.Sprintf("raking does not converge: after %d rounds the homes there stand for %.6g dwellings and not for %.6g, %.2g %% off; the margins contradict each other on the homes measured, so join cells or leave a margin out",
						r.Rounds, sums[k][c], n, 100*off)}
				}
			}
		}
		if r.Residual <= rakedWithin {
			return r, nil
		}
		if r.Rounds == mostRounds || math.IsNaN(r.Residual) {
			return r, &worst
		}
		for k, m := range r.margins {
			sum := r.sums(k)
			for i, c := range r.cells[k] {
				r.Weights[i] *= m.dwellings[c] / sum[c]
			}
		}
	}
}

// sums are the weights in each cell of margin k.
func (r *Raked) sums(k int) []float64 {
	s := make([]numeric.Sum, len(r.margins[k].names))
	for i, c := range r.cells[k] {
		s[c].Add(r.Weights[i])
	}
	out := make([]float64, len(s))
	for c := range s {
		out[c] = s[c].Value()
	}
	return out
}

// lay checks the margins and finds each home's cells.
func (r *Raked) lay(homes []Drawn, margins []Margin) error {
	var first float64
	for k, m := range margins {
		c := counted{names: slices.Sorted(maps.Keys(m.Dwellings))}
		at := map[string]int{}
		for i, name := range c.names {
			n := m.Dwellings[name]
			if !(n > 0 && n <= mostDwellings) {
				return &MarginError{m.Name, name, fmt.Sprintf("%v dwellings; a cell has some, or is left out", n)}
			}
			at[name] = i
			c.dwellings = append(c.dwellings, n)
		}
		cells, has := make([]int, len(homes)), make([]int, len(c.names))
		for i, h := range homes {
			j, ok := at[h.Cells[k]]
			if !ok {
				return &MarginError{m.Name, h.Cells[k], "homes are there, and no number of dwellings is known of it"}
			}
			cells[i] = j
			has[j]++
		}
		for j, n := range has {
			if n == 0 {
				return &MarginError{m.Name, c.names[j], "no home was measured there, so that none can stand for its dwellings; join it with another cell"}
			}
			if float64(n) > c.dwellings[j] {
				return &MarginError{m.Name, c.names[j], fmt.Sprintf("%d homes were measured there, and there are %.6g dwellings", n, c.dwellings[j])}
			}
		}
		sum := total(c.dwellings)
		if k == 0 {
			first = sum
		}
		off := math.Abs(sum/first - 1)
		if off > mostScaled || math.IsNaN(off) {
			return &MarginError{"", "", fmt.Sprintf("%s adds to %.6g dwellings and %s to %.6g: they count two communities", margins[0].Name, first, m.Name, sum)}
		}
		if off > 1e-12 {
			r.Scaled = max(r.Scaled, off)
			for j := range c.dwellings {
				c.dwellings[j] *= first / sum
			}
		}
		r.cells, r.margins = append(r.cells, cells), append(r.margins, c)
	}
	if len(margins) > 0 && len(homes) == 0 {
		return errors.New("no homes")
	}
	return nil
}

// jointCells is homes that are alike in all margins: their cells, and their weights' sum.
type jointCells struct {
	cells  []int
	weight float64
}

// layJoints finds which homes are alike in all margins.
func (d *drawing) layJoints() {
	at := map[string]int{}
	var sums []numeric.Sum
	for i, w := range d.w {
		var cells []int
		for _, c := range d.cells {
			cells = append(cells, c[i])
		}
		key := fmt.Sprint(cells)
		j, ok := at[key]
		if !ok {
			j = len(d.joints)
			at[key] = j
			d.joints = append(d.joints, jointCells{cells: cells})
			sums = append(sums, numeric.Sum{})
		}
		d.joint = append(d.joint, j)
		sums[j].Add(w)
	}
	for j := range d.joints {
		d.joints[j].weight = sums[j].Value()
	}
}

// unexplained is z less its regression on the margins' cells, by the weights: cell
// means are taken off, margin after margin, until there are none. Homes alike in all
// margins have the same taken off, so only their sums go round.
func (e domain) unexplained(z []float64) []float64 {
	if len(e.margins) == 0 {
		return z
	}
	z = slices.Clone(z)
	size := 0.0
	sums := make([]numeric.Sum, len(e.joints))
	for j, i := range e.reach {
		if z[j] != 0 {
			size = max(size, math.Abs(z[j]))
			sums[e.joint[i]].Add(e.drawing.w[i] * z[j])
		}
	}
	left := make([]float64, len(sums)) // Σwz of the homes alike, less what was taken off
	off := make([]float64, len(sums))
	for j := range sums {
		left[j] = sums[j].Value()
	}
	for range 20 * mostRounds {
		most := 0.0
		for k, m := range e.margins {
			s, n := make([]float64, len(m.names)), make([]float64, len(m.names))
			for j, x := range e.joints {
				s[x.cells[k]] += left[j]
				n[x.cells[k]] += x.weight
			}
			for j, x := range e.joints {
				mean := s[x.cells[k]] / n[x.cells[k]]
				most = max(most, math.Abs(mean))
				off[j] += mean
				left[j] -= mean * x.weight
			}
		}
		if len(e.margins) == 1 || most <= 1e-13*size {
			break
		}
	}
	for j, i := range e.reach {
		z[j] -= off[e.joint[i]]
	}
	return z
}
