// Package plot draws figures: what was measured, what is estimated, levels. A
// Figure is described in numbers that someone else computed; this package turns
// them into an SVG or a PNG and computes no interval of its own.
//
// There is one style for all figures. It can be told apart in grey and by readers
// who see few colours, since lines differ in dashes and points in shape too; and it
// can be read at column width and on the narrow screen of a telephone. Nothing of
// the machine goes into a figure: the same Figure gives the same bytes.
package plot

import (
	"fmt"
	"math"
	"slices"
)

// Figure is a picture of one or more panels.
type Figure struct {
	Title   string   // what it shows
	Lead    string   // the answer in a sentence or two, above the panels
	Desc    string   // what is to be seen, for readers who do not see it; Title and Lead come first
	Panels  []Panel  // in reading order
	Columns int      // panels beside each other; 0: 1
	Notes   []string // below the panels
	Narrow  bool     // for the screen of a telephone: half as wide, panels under each other, names above their rows
}

// Panel is one coordinate system and what is drawn in it.
type Panel struct {
	Title  string
	X, Y   Axis
	Marks  []Mark   // in the order they are drawn in
	Height float64  // of the area drawn in, points; 0: by the number of rows or panels
	Beside []string // texts at the right of the rows of Y, where it has Rows
}

// Kind is how numbers become places on an axis.
type Kind int

// The kinds of axes.
const (
	Linear  Kind = iota
	Log          // numbers above 0
	Dates        // civil days since 1 January 1970
	Percent      // shares, labelled in percent
	Ranks        // standard normal quantiles, labelled with the share below them in percent
	Rows         // 0, 1, 2, ... from the top, labelled with Names
	Months       // 1 to 12, labelled with the names of months
)

// Axis is one of a panel's two.
type Axis struct {
	Label    string // with the unit
	Kind     Kind
	Min, Max float64   // the range; where both are 0, what the marks need
	Include  []float64 // numbers that the range has to hold as well
	Names    []string  // of Rows
}

// Role is what something drawn stands for, and so how it looks.
type Role int

// The roles.
const (
	Measured  Role = iota // what a detector said
	Limit                 // no more than a detection limit was seen
	Model                 // estimated
	Before                // without the system
	After                 // with it
	Level                 // what is held against
	Level2                // a second level, and
	Level3                // a third
	Joined                // all taken together
	Next                  // to be expected of another home
	Attention             // an alarm
	Quiet                 // a guide to the eye
	Group                 // some of all, taken together
)

// Mark is something drawn in a panel.
type Mark interface {
	role() Role
	label() string
	check() error
	extent(x, y *bounds)
	draw(s surface, a *area)
	key(s surface, x, y float64) // a sample of it for the legend, keyWidth wide about height y
	data() []attribute
}

// attribute is a name and numbers that an SVG carries beside what is drawn.
type attribute struct {
	name   string
	values []float64
}

// Look is what all marks have.
type Look struct {
	Role  Role
	Label string // in the legend; "": not there
}

func (l Look) role() Role    { return l.Role }
func (l Look) label() string { return l.Label }

// Band is the space between two curves.
type Band struct {
	Look
	X, Low, High []float64
}

// Curve is a line through points.
type Curve struct {
	Look
	X, Y []float64
}

// Points are points.
type Points struct {
	Look
	X, Y []float64
}

// Spells are values that hold from one place to another along X.
type Spells struct {
	Look
	From, To, Y []float64
}

// Intervals are values with limits, which may be without bound: upright, or Across,
// where At counts along Y.
type Intervals struct {
	Look
	Across               bool
	At, Value, Low, High []float64
}

// Rule is a straight line through the panel: level at a height of Y, or Upright at
// a place of X. Where From < To it is drawn only so far.
type Rule struct {
	Look
	Upright  bool
	At       float64
	From, To float64
}

// Bars stand on the X axis between edges, of which there is one more than heights.
type Bars struct {
	Look
	Edges, Heights []float64
}

// bounds gathers the range of numbers on an axis.
type bounds struct {
	low, high float64
	any       bool
	positive  bool // numbers that a logarithm does not know are left out
}

func (b *bounds) add(values ...float64) {
	for _, v := range values {
		if math.IsInf(v, 0) || b.positive && !(v > 0) {
			continue
		}
		if !b.any {
			b.low, b.high, b.any = v, v, true
		}
		b.low, b.high = min(b.low, v), max(b.high, v)
	}
}

// check is an error where a number is no number, or where lists do not match: a
// figure with a hole is not drawn.
func (f Figure) check() error {
	if len(f.Panels) == 0 {
		return fmt.Errorf("nothing to draw")
	}
	for i, p := range f.Panels {
		name := fmt.Sprintf("panel %d", i+1)
		if len(p.Marks) == 0 {
			return fmt.Errorf("%s of the plot: nothing to draw", name)
		}
		for _, m := range p.Marks {
			if err := m.check(); err != nil {
				return fmt.Errorf("%s of the plot: %w", name, err)
			}
		}
		for _, a := range []Axis{p.X, p.Y} {
			for _, v := range append([]float64{a.Min, a.Max}, a.Include...) {
				if math.IsNaN(v) || math.IsInf(v, 0) {
					return fmt.Errorf("%s of the plot: an axis to %v", name, v)
				}
			}
		}
		if p.Beside != nil && len(p.Beside) != len(p.Y.Names) {
			return fmt.Errorf("%s of the plot: %d texts beside %d rows", name, len(p.Beside), len(p.Y.Names))
		}
	}
	return nil
}

func same(lists ...[]float64) error {
	for _, l := range lists {
		if len(l) != len(lists[0]) {
			return fmt.Errorf("lists of %d and %d numbers", len(lists[0]), len(l))
		}
		if slices.ContainsFunc(l, math.IsNaN) {
			return fmt.Errorf("a value that is not a number")
		}
	}
	return nil
}

func (m Band) check() error      { return same(m.X, m.Low, m.High) }
func (m Curve) check() error     { return same(m.X, m.Y) }
func (m Points) check() error    { return same(m.X, m.Y) }
func (m Spells) check() error    { return same(m.From, m.To, m.Y) }
func (m Intervals) check() error { return same(m.At, m.Value, m.Low, m.High) }
func (m Rule) check() error      { return same([]float64{m.At, m.From, m.To}) }
func (m Bars) check() error {
	if len(m.Edges) != len(m.Heights)+1 {
		return fmt.Errorf("%d bars between %d edges", len(m.Heights), len(m.Edges))
	}
	return same(m.Edges, append(slices.Clip(m.Heights), 0))
}

func (m Band) extent(x, y *bounds)   { x.add(m.X...); y.add(m.Low...); y.add(m.High...) }
func (m Curve) extent(x, y *bounds)  { x.add(m.X...); y.add(m.Y...) }
func (m Points) extent(x, y *bounds) { x.add(m.X...); y.add(m.Y...) }
func (m Spells) extent(x, y *bounds) { x.add(m.From...); x.add(m.To...); y.add(m.Y...) }
func (m Bars) extent(x, y *bounds)   { x.add(m.Edges...); y.add(0); y.add(m.Heights...) }
func (m Intervals) extent(x, y *bounds) {
	if m.Across {
		x, y = y, x
	}
	x.add(m.At...)
	y.add(m.Value...)
	y.add(m.Low...)
	y.add(m.High...)
}
func (m Rule) extent(x, y *bounds) {
	if m.Upright {
		x, y = y, x
	}
	y.add(m.At)
	if m.From < m.To {
		x.add(m.From, m.To)
	}
}

func (m Band) data() []attribute   { return []attribute{{"x", m.X}, {"low", m.Low}, {"high", m.High}} }
func (m Curve) data() []attribute  { return []attribute{{"x", m.X}, {"y", m.Y}} }
func (m Points) data() []attribute { return []attribute{{"x", m.X}, {"y", m.Y}} }
func (m Spells) data() []attribute {
	return []attribute{{"from", m.From}, {"to", m.To}, {"y", m.Y}}
}
func (m Intervals) data() []attribute {
	return []attribute{{"at", m.At}, {"value", m.Value}, {"low", m.Low}, {"high", m.High}}
}
func (m Rule) data() []attribute { return []attribute{{"at", []float64{m.At}}} }
func (m Bars) data() []attribute { return []attribute{{"edges", m.Edges}, {"heights", m.Heights}} }
