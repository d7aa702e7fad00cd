package plot

import (
	"math"
	"slices"
)

// area is where a panel's marks are drawn.
type area struct {
	left, top, right, bottom float64
	x, y                     scale
}

func (a *area) px(v float64) float64 { return a.left + a.x.share(v)*(a.right-a.left) }
func (a *area) py(v float64) float64 {
	if a.y.Kind == Rows {
		return a.top + a.y.share(v)*(a.bottom-a.top)
	}
	return a.bottom - a.y.share(v)*(a.bottom-a.top)
}

func (r Role) look() looks { return styles[r] }

// dot draws points of a role's shape.
func dot(s surface, r Role, places ...[2]float64) { dots(s, r, r.look().size, places) }

func dots(s surface, r Role, d float64, places [][2]float64) {
	k := r.look()
	var fill, outline path
	for _, at := range places {
		x, y := at[0], at[1]
		switch k.shape {
		case disc:
			fill.circle(x, y, d)
		case ring:
			outline.circle(x, y, d)
		case square:
			fill.box(x-d, y-d, x+d, y+d)
		case diamond:
			fill.move(x-d, y)
			fill.line(x, y-d)
			fill.line(x+d, y)
			fill.line(x, y+d)
			fill.close()
		case down:
			outline.move(x-d, y-d)
			outline.line(x+d, y-d)
			outline.line(x, y+0.8*d)
			outline.close()
		case cross:
			fill.move(x-d, y+0.8*d)
			fill.line(x, y-d)
			fill.line(x+d, y+0.8*d)
			fill.close()
		}
	}
	if fill != nil {
		s.fill(fill, k.line)
	}
	if outline != nil {
		s.fill(outline, paper)
		s.stroke(outline, k.line, 1.1, nil)
	}
}

func (m Band) draw(s surface, a *area) {
	if len(m.X) == 0 {
		return
	}
	upper, lower := a.edge(m.X, m.High), a.edge(m.X, m.Low)
	var p path
	p.move(upper[0][0], upper[0][1])
	for _, at := range upper[1:] {
		p.line(at[0], at[1])
	}
	for i := len(lower) - 1; i >= 0; i-- {
		p.line(lower[i][0], lower[i][1])
	}
	p.close()
	s.fill(p, m.Role.look().tint)
}

// edge is a curve that follows the panel's upper and lower end while it is outside, and
// leaves them where it crosses them.
func (a *area) edge(xs, ys []float64) (out [][2]float64) {
	at := func(v float64) float64 { return (a.y.transform(v) - a.y.low) / (a.y.high - a.y.low) } // 0 to 1 inside
	for i, x := range xs {
		if i > 0 {
			p, q := at(ys[i-1]), at(ys[i])
			var cuts []float64
			for _, end := range []float64{0, 1} {
				if w := (end - p) / (q - p); w > 0 && w < 1 && !math.IsInf(p, 0) && !math.IsInf(q, 0) {
					cuts = append(cuts, w)
				}
			}
			slices.Sort(cuts)
			for _, w := range cuts {
				x0, x1 := a.px(xs[i-1]), a.px(x)
				y := a.bottom
				if p+w*(q-p) > 0.5 {
					y = a.top
				}
				out = append(out, [2]float64{x0 + w*(x1-x0), y})
			}
		}
		out = append(out, [2]float64{a.px(x), a.py(ys[i])})
	}
	return out
}

func (m Band) key(s surface, x, y float64) {
	var p path
	p.box(x, y-4, x+keyWidth, y+4)
	s.fill(p, m.Role.look().tint)
}

func (m Curve) draw(s surface, a *area) {
	var p path
	for i, x := range m.X {
		if i == 0 {
			p.move(a.px(x), a.py(m.Y[i]))
		} else {
			p.line(a.px(x), a.py(m.Y[i]))
		}
	}
	if len(p) > 1 {
		k := m.Role.look()
		s.stroke(p, k.line, k.width, k.dash)
	}
}

func sample(s surface, r Role, x, y float64) { sampleOf(s, r.look(), x, y) }

func sampleOf(s surface, k looks, x, y float64) {
	var p path
	p.move(x, y)
	p.line(x+keyWidth, y)
	s.stroke(p, k.line, k.width, k.dash)
}

// unbroken is the look of a value that stands among levels, whose lines are broken: solid,
// and thin where its role is broken otherwise, so that in grey nobody takes it for a level.
func (k looks) unbroken() looks {
	if k.dash != nil {
		k.dash, k.width = nil, 0.9
	}
	return k
}

func (m Curve) key(s surface, x, y float64) { sample(s, m.Role, x, y) }

func (m Points) draw(s surface, a *area) {
	var at [][2]float64
	for i, x := range m.X {
		at = append(at, [2]float64{a.px(x), a.py(m.Y[i])})
	}
	if len(at) == 0 {
		return
	}
	// Where points crowd they are drawn smaller.
	const room = 0.3 // points a point of width
	low, high := at[0][0], at[0][0]
	for _, p := range at {
		low, high = min(low, p[0]), max(high, p[0])
	}
	size := m.Role.look().size
	if n := float64(len(at)); n > 10 {
		size *= min(1, max(0.5, math.Sqrt(room*(high-low)/n)))
	}
	dots(s, m.Role, size, at)
}

func (m Points) key(s surface, x, y float64) { dot(s, m.Role, [2]float64{x + keyWidth/2, y}) }

func (m Spells) draw(s surface, a *area) {
	var p path
	k := m.Role.look()
	for i, y := range m.Y {
		x0, x1 := a.px(m.From[i]), a.px(m.To[i])
		if x1-x0 < 2 {
			x0, x1 = (x0+x1)/2-1, (x0+x1)/2+1
		}
		p.move(x0, a.py(y))
		p.line(x1, a.py(y))
		for _, x := range []float64{x0, x1} {
			p.move(x, a.py(y)-3.5)
			p.line(x, a.py(y)+3.5)
		}
	}
	if p != nil {
		s.stroke(p, k.line, 1.8, nil)
	}
}

func (m Spells) key(s surface, x, y float64) {
	var p path
	p.move(x, y)
	p.line(x+keyWidth, y)
	for _, x := range []float64{x, x + keyWidth} {
		p.move(x, y-3.5)
		p.line(x, y+3.5)
	}
	s.stroke(p, m.Role.look().line, 1.8, nil)
}

// line is how an interval's line looks: upright ones stand among levels that lie across.
func (m Intervals) line() looks {
	if m.Across {
		return m.Role.look()
	}
	return m.Role.look().unbroken()
}

func (m Intervals) draw(s surface, a *area) {
	k := m.line()
	var p, heads path
	var at [][2]float64
	for i := range m.At {
		lo, hi := m.Low[i], m.High[i]
		if m.Across {
			y := a.py(m.At[i])
			x0, x1 := a.px(lo), a.px(hi)
			if a.x.before(lo) {
				head(&heads, x0, y, -1, 0)
			}
			if a.x.beyond(hi) {
				head(&heads, x1, y, 1, 0)
			}
			p.move(x0, y)
			p.line(x1, y)
			at = append(at, [2]float64{a.px(m.Value[i]), y})
			continue
		}
		x := a.px(m.At[i])
		y0, y1 := a.py(lo), a.py(hi)
		if a.y.before(lo) {
			head(&heads, x, y0, 0, 1)
		}
		if a.y.beyond(hi) {
			head(&heads, x, y1, 0, -1)
		}
		p.move(x, y0)
		p.line(x, y1)
		at = append(at, [2]float64{x, a.py(m.Value[i])})
	}
	if p != nil {
		s.stroke(p, k.line, k.width, k.dash)
	}
	if heads != nil {
		s.fill(heads, k.line)
	}
	dot(s, m.Role, at...)
}

// head is the point of an arrow towards (dx, dy), where an interval has no end or goes on
// outside the panel.
func head(p *path, x, y, dx, dy float64) {
	p.move(x, y)
	p.line(x-7*dx-3*dy, y-7*dy-3*dx)
	p.line(x-7*dx+3*dy, y-7*dy+3*dx)
	p.close()
}

func (m Intervals) key(s surface, x, y float64) {
	sampleOf(s, m.line(), x, y)
	dot(s, m.Role, [2]float64{x + keyWidth/2, y})
}

func (m Rule) draw(s surface, a *area) {
	k := m.Role.look()
	if m.From < m.To {
		k = k.unbroken()
	}
	var p path
	if m.Upright {
		y0, y1 := a.bottom, a.top
		if m.From < m.To {
			y0, y1 = a.py(m.From), a.py(m.To)
		}
		p.move(a.px(m.At), y0)
		p.line(a.px(m.At), y1)
	} else {
		x0, x1 := a.left, a.right
		if m.From < m.To {
			x0, x1 = a.px(m.From), a.px(m.To)
		}
		p.move(x0, a.py(m.At))
		p.line(x1, a.py(m.At))
	}
	s.stroke(p, k.line, k.width, k.dash)
}

func (m Rule) key(s surface, x, y float64) { sample(s, m.Role, x, y) }

func (m Bars) draw(s surface, a *area) {
	k := m.Role.look()
	var p path
	for i, h := range m.Heights {
		if h > 0 {
			p.box(a.px(m.Edges[i]), a.py(0), a.px(m.Edges[i+1]), a.py(h))
		}
	}
	if p != nil {
		s.fill(p, k.tint)
		s.stroke(p, soft, 0.7, nil)
	}
}

func (m Bars) key(s surface, x, y float64) {
	var p path
	p.box(x+5, y-5, x+keyWidth-5, y+4)
	s.fill(p, m.Role.look().tint)
	s.stroke(p, soft, 0.7, nil)
}
