package reftest

import (
	"math"
	"strings"
	"testing"
)

// TestByHand: each field of a reference and of a comparison can fail.
func TestByHand(t *testing.T) {
	good := `{"source":"s","made_by":"m","with":"w","cases":[{"name":"a","input":{},"want":{"x":2,"y":-1},"rel":0.01}]}`
	f, err := parse("f", []byte(good))
	if err != nil {
		t.Fatal(err)
	}
	for _, cut := range []string{`"source":"s",`, `"made_by":"m",`, `"with":"w",`, `"name":"a",`, `"want":{"x":2,"y":-1},`, `,"rel":0.01`} {
		if _, err := parse("f", []byte(strings.Replace(good, cut, "", 1))); err == nil {
			t.Errorf("a reference without %s was taken", cut)
		}
	}
	for _, c := range []struct {
		got map[string]float64
		bad int
	}{
		{map[string]float64{"x": 2, "y": -1}, 0},
		{map[string]float64{"x": 2.019, "y": -0.991}, 0},
		{map[string]float64{"x": 2.03, "y": -1}, 1},
		{map[string]float64{"x": 2, "y": 1}, 1},
		{map[string]float64{"x": math.NaN(), "y": -1}, 1},
		{map[string]float64{"x": math.Inf(1), "y": -1}, 1},
		{map[string]float64{"x": 2}, 1},
		{map[string]float64{"x": 2, "y": -1, "z": 0}, 1},
	} {
		if bad := f.Cases[0].Check(c.got); len(bad) != c.bad {
			t.Errorf("%v: %d differences %q, want %d", c.got, len(bad), bad, c.bad)
		}
	}
}
