package plot

import (
	"fmt"
	"math"
	"reflect"
	"strings"
)

// Formats are the names that Render knows, as a file's ending.
var Formats = []string{"svg", "png"}

// Render draws a figure.
func Render(f Figure, format string) ([]byte, error) {
	if err := f.check(); err != nil {
		return nil, err
	}
	if format == "png" {
		f = f.numbered()
	}
	l := f.layOut()
	switch format {
	case "svg":
		d := newDrawing(l.width, l.height, clean(f.Title), description(append([]string{f.Lead, f.Desc}, f.Notes...)...))
		l.draw(d)
		return d.bytes()
	case "png":
		p := newPicture(l.width, l.height)
		l.draw(p)
		return p.bytes()
	}
	return nil, fmt.Errorf("no format %q for a plot; there are %s", format, strings.Join(Formats, " and "))
}

// description joins texts, each made fit by itself, for readers who do not see.
func description(parts ...string) string {
	for i, p := range parts {
		parts[i] = cleanTo(p, longestTold)
	}
	return strings.Join(strings.Fields(strings.Join(parts, " ")), " ")
}

var (
	titleText = textStyle{size: titleSize, bold: true, color: ink}
	leadText  = textStyle{size: textSize, color: ink}
	headText  = textStyle{size: textSize, bold: true, color: ink}
	axisText  = textStyle{size: textSize, color: soft}
	tickText  = textStyle{size: textSize, color: soft}
	keyText   = textStyle{size: textSize, color: ink}
	rowText   = textStyle{size: textSize, color: ink}
	noteText  = textStyle{size: noteSize, color: soft}
)

// layout is a figure with everything in its place.
type layout struct {
	figure              Figure
	title, lead, notes  []string
	legend              []entry
	legendTop, notesTop float64
	panels              []placed
	width, height       float64
}

// entry is a legend's.
type entry struct {
	mark Mark
	text []string // lines
	x, y float64
}

// placed is a panel in its place.
type placed struct {
	panel       Panel
	a           area
	edge, top   float64 // its left edge, and the top of its title
	title       string
	yLabel      string
	inTitle     bool // yLabel stands beside the title
	over        bool // names and what is beside stand above their rows
	xLabel      string
	yTicks      []tick
	xTicks      []tick
	names       []string
	beside      []string
	besideWidth float64
}

func line(size float64) float64 { return size * leading }

func (f Figure) layOut() *layout {
	l := &layout{figure: f, width: width}
	lines := 1 // of text where a wide figure has one
	if f.Narrow {
		l.width, lines, f.Columns = narrow, 2, 1
	}
	inner := l.width - 2*margin
	l.title = titleText.wrap(clean(f.Title), inner, 2*lines)
	l.lead = leadText.wrap(clean(f.Lead), inner, 4*lines)
	y := margin + float64(len(l.title))*line(titleSize) + float64(len(l.lead))*line(textSize)
	y += 5
	l.legendTop = y
	y = l.layLegend(y, inner)
	columns := max(f.Columns, 1)
	across := (inner - float64(columns-1)*gap) / float64(columns)
	wide := make([]float64, columns) // of labels at the left; alike in a column, so that axes stand under each other
	for i, p := range f.Panels {
		k := i % columns
		wide[k] = max(wide[k], labelsOf(p, across, columns, f.Narrow))
	}
	titles := make([]string, len(f.Panels))
	for i, p := range f.Panels {
		titles[i] = clean(p.Title)
	}
	titles = headText.cutApart(titles, across)
	for i := 0; i < len(f.Panels); i += columns {
		bottom := y
		for k, p := range f.Panels[i:min(i+columns, len(f.Panels))] {
			left := margin + float64(k)*(across+gap)
			pl, end := placePanel(p, titles[i+k], left, y, across, wide[k], columns, f.Narrow)
			l.panels = append(l.panels, pl)
			bottom = max(bottom, end)
		}
		y = bottom + 8
	}
	y -= 2
	l.notesTop = y
	for _, n := range f.Notes {
		l.notes = append(l.notes, noteText.wrap(clean(n), inner, 4*lines)...)
	}
	y += float64(len(l.notes)) * line(noteSize)
	l.height = math.Ceil(steady(y + margin))
	return l
}

// layLegend puts each thing that has a label into rows, once.
func (l *layout) layLegend(y, inner float64) float64 {
	type id struct{ kind, label string }
	seen := map[id]bool{}
	x := margin
	row := line(textSize) + 2
	for _, p := range l.figure.Panels {
		for _, m := range p.Marks {
			k := id{reflect.TypeOf(m).Name(), m.label()}
			if m.label() == "" || seen[k] {
				continue
			}
			seen[k] = true
			text := keyText.wrap(clean(m.label()), inner-keyWidth-6, 2)
			w := 0.0
			for _, t := range text {
				w = max(w, keyText.wide(t))
			}
			w += keyWidth + 5 + 16
			if x > margin && x+w-16 > margin+inner {
				x = margin
				y += row
			}
			l.legend = append(l.legend, entry{m, text, x, y})
			x += w
			if len(text) > 1 { // it has its row for itself
				x = math.Inf(1)
				y += line(textSize)
			}
		}
	}
	if l.legend != nil {
		y += row + 4
	}
	return y
}

// height is of the area that a panel draws in.
func (p Panel) height(columns int, narrow bool) float64 {
	switch {
	case narrow && p.Y.Kind == Rows:
		return 30 * (float64(len(p.Y.Names)) + 0.2)
	case p.Height > 0:
		return p.Height
	case p.Y.Kind == Rows:
		return 16 * (float64(len(p.Y.Names)) + 0.2)
	case columns > 1:
		return 105
	}
	return 190
}

// scales are a panel's axes, settled.
func (p Panel) scales() (x, y scale) {
	bx, by := bounds{positive: p.X.Kind == Log}, bounds{positive: p.Y.Kind == Log}
	for _, m := range p.Marks {
		m.extent(&bx, &by)
	}
	return p.X.settle(bx), p.Y.settle(by)
}

func (p Panel) yTicks(y scale, columns int, narrow bool) []tick {
	return y.ticks(max(int(p.height(columns, narrow)/15), 3))
}

// rowNames are the names of rows, cut to what they may take.
func (p Panel) rowNames(across float64, narrow bool) []string {
	if p.Y.Kind != Rows {
		return nil
	}
	var names []string
	for _, n := range p.Y.Names {
		name, number := parted(n)
		names = append(names, clean(name)+number)
	}
	most := across * 0.3
	if narrow { // a name stands above its row, before the text beside it
		most = across
		for _, b := range p.Beside {
			most = min(most, across-rowText.wide(rowText.cut(clean(b), across/2))-8)
		}
	}
	return rowText.cutApart(names, most)
}

// labelsOf is how wide the labels at the left of a panel are.
func labelsOf(p Panel, across float64, columns int, narrow bool) (wide float64) {
	_, y := p.scales()
	for _, t := range p.yTicks(y, columns, narrow) {
		wide = max(wide, tickText.wide(t.label))
	}
	if !narrow {
		for _, n := range p.rowNames(across, narrow) {
			wide = max(wide, rowText.wide(n))
		}
	}
	return wide
}

// placePanel lays one panel out in a column of so much width, of which the labels at
// the left take wide, and gives its lower end.
func placePanel(p Panel, title string, left, top, across, wide float64, columns int, narrow bool) (placed, float64) {
	out := placed{panel: p, top: top, edge: left, over: narrow && p.Y.Kind == Rows}
	out.a.x, out.a.y = p.scales()
	y := top
	if p.Title != "" {
		out.title = title
		y += line(textSize)
	}
	if p.Y.Label != "" {
		out.yLabel = axisText.cut(clean(p.Y.Label), across)
		// Small panels have it beside their title where there is room.
		out.inTitle = columns > 1 && out.title != "" && headText.wide(out.title)+axisText.wide(out.yLabel)+8 < across
		if !out.inTitle {
			y += line(textSize)
		}
	}
	y += 8
	height := p.height(columns, narrow)
	out.yTicks = p.yTicks(out.a.y, columns, narrow)
	out.names = p.rowNames(across, narrow)
	for _, b := range p.Beside {
		most := across * 0.36
		if out.over {
			most = across / 2
		}
		b = rowText.cut(clean(b), most)
		out.beside = append(out.beside, b)
		out.besideWidth = max(out.besideWidth, rowText.wide(b))
	}
	out.a.left, out.a.right = left+wide+7, left+across-4
	if out.over {
		out.a.left = left
	} else if out.beside != nil {
		out.a.right -= out.besideWidth + 6
	}
	out.a.top, out.a.bottom = y, y+height
	out.xTicks = fewer(&out.a, out.a.x, p.X)
	y = out.a.bottom + 5 + line(textSize)
	for _, t := range out.xTicks {
		if t.below != "" {
			y += line(textSize) - 1
			break
		}
	}
	if p.X.Label != "" {
		out.xLabel = axisText.cut(clean(p.X.Label), out.a.right-left)
		y += line(textSize)
	}
	return out, y
}

// fewer takes as many ticks of the X axis as stand beside each other.
func fewer(a *area, s scale, x Axis) []tick {
	span := a.right - a.left
	var ticks []tick
	for most := 14; most >= 2; most-- {
		ticks = s.ticks(most)
		fits, last := true, math.Inf(-1)
		for _, t := range ticks {
			w := max(tickText.wide(t.label), tickText.wide(t.below))
			at := a.px(t.at)
			if at-w/2 < last+5 {
				fits = false
			}
			last = at + w/2
		}
		if fits && float64(len(ticks))*22 <= span+22 {
			break
		}
	}
	return ticks
}

func (l *layout) draw(s surface) {
	y := margin
	for _, t := range l.title {
		y += line(titleSize)
		s.text(margin, y-3, t, titleText)
	}
	for _, t := range l.lead {
		y += line(textSize)
		s.text(margin, y-2, t, leadText)
	}
	for _, e := range l.legend {
		mid := e.y + line(textSize)/2 + 1
		e.mark.key(s, e.x, mid)
		for i, t := range e.text {
			s.text(e.x+keyWidth+5, mid+3.5+float64(i)*line(textSize), t, keyText)
		}
	}
	for i := range l.panels {
		l.panels[i].draw(s)
	}
	y = l.notesTop
	for _, t := range l.notes {
		y += line(noteSize)
		s.text(margin, y-2, t, noteText)
	}
}

func (p *placed) draw(s surface) {
	a := &p.a
	y := p.top
	if p.title != "" {
		y += line(textSize)
		s.text(p.edge, y-2, p.title, headText)
	}
	if p.inTitle {
		t := axisText
		t.anchor = end
		s.text(a.right, y-2, p.yLabel, t)
	} else if p.yLabel != "" {
		y += line(textSize)
		s.text(p.edge, y-2, p.yLabel, axisText)
	}
	var lines, axis path
	for _, t := range p.yTicks {
		at := a.py(t.at)
		lines.move(a.left, at)
		lines.line(a.right, at)
	}
	for _, t := range p.xTicks {
		at := a.px(t.at)
		if p.panel.Y.Kind == Rows || p.panel.X.Kind == Ranks {
			lines.move(at, a.top)
			lines.line(at, a.bottom)
		}
		axis.move(at, a.bottom)
		axis.line(at, a.bottom+3)
	}
	if lines != nil {
		s.stroke(lines, grid, 0.7, nil)
	}
	for _, m := range p.panel.Marks {
		kind := strings.ToLower(reflect.TypeOf(m).Name())
		s.open(kind, m)
		m.draw(s, a)
		s.close()
	}
	axis.move(a.left, a.bottom)
	axis.line(a.right, a.bottom)
	s.stroke(axis, soft, 0.8, nil)
	right := tickText
	right.anchor = end
	for _, t := range p.yTicks {
		s.text(a.left-4, a.py(t.at)+3.5, t.label, right)
	}
	for i, n := range p.names {
		if p.over { // lines through the panel do not go through its words
			y := a.py(float64(i)) - 7
			var ground path
			ground.box(a.left, y-textSize*0.8, a.left+rowText.wide(n)+2, y+textSize*0.25)
			if p.beside != nil {
				ground.box(a.right-rowText.wide(p.beside[i])-2, y-textSize*0.8, a.right, y+textSize*0.25)
			}
			s.fill(ground, paper)
			s.text(a.left, a.py(float64(i))-7, n, rowText)
			continue
		}
		t := rowText
		t.anchor = end
		s.text(a.left-5, a.py(float64(i))+3.5, n, t)
	}
	for i, b := range p.beside {
		if p.over {
			t := rowText
			t.anchor = end
			s.text(a.right, a.py(float64(i))-7, b, t)
			continue
		}
		s.text(a.right+6, a.py(float64(i))+3.5, b, rowText)
	}
	centre := tickText
	centre.anchor = middle
	y = a.bottom + 4 + line(textSize) - 2
	second := false
	for _, t := range p.xTicks {
		s.text(a.px(t.at), y, t.label, centre)
		if t.below != "" {
			second = true
			s.text(a.px(t.at), y+line(textSize)-1, t.below, centre)
		}
	}
	if second {
		y += line(textSize) - 1
	}
	if p.xLabel != "" {
		c := axisText
		c.anchor = end
		s.text(a.right, y+line(textSize), p.xLabel, c)
	}
}
