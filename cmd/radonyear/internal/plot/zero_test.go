package plot

import (
	"bytes"
	"testing"
)

// An interval of which only the upper limit is known reaches down to 0, which no axis
// of logarithms shows: it is drawn to the edge, and does not stretch the axis for ever.
func TestZeroOnLogAxis(t *testing.T) {
	for _, low := range []float64{0, -5} {
		svg, err := Render(Figure{Title: "x", Panels: []Panel{{X: Axis{Kind: Log}, Y: Axis{Kind: Log}, Marks: []Mark{
			Intervals{At: []float64{1}, Value: []float64{8}, Low: []float64{low}, High: []float64{27}},
			Rule{At: 200}, Rule{At: low, Upright: true}}}}}, "svg")
		if err != nil {
			t.Fatal(err)
		}
		if n := bytes.Count(svg, []byte("<text")); n > 20 || bytes.Contains(svg, []byte("NaN")) || bytes.Contains(svg, []byte("Inf")) {
			t.Errorf("a limit of %g: %d texts\n%.2000s", low, n, svg)
		}
	}
}
