package plot

import (
	"bytes"
	"fmt"
	"image/color"
	"image/png"
	"math"
	"regexp"
	"strconv"
	"strings"
	"sync"
	"unicode"
	"unicode/utf8"

	"gonum.org/v1/plot/font"
	"gonum.org/v1/plot/font/liberation"
	"gonum.org/v1/plot/vg"
	"gonum.org/v1/plot/vg/vgimg"
)

// surface is what is drawn on. Places are in points from the upper left corner.
type surface interface {
	fill(p path, c color.NRGBA)
	stroke(p path, c color.NRGBA, width float64, dash []float64)
	text(x, y float64, s string, t textStyle) // y is the line the letters stand on
	open(kind string, m Mark)                 // what comes until close is this mark
	close()
}

type anchor int

const (
	start anchor = iota
	middle
	end
)

type textStyle struct {
	size   float64
	bold   bool
	color  color.NRGBA
	anchor anchor
}

// path is lines and circles.
type path []piece

type piece struct {
	op   byte // 'M' move, 'L' line, 'Z' close, 'O' a circle of radius r about the place
	x, y float64
	r    float64
}

func (p *path) move(x, y float64)      { *p = append(*p, piece{op: 'M', x: x, y: y}) }
func (p *path) line(x, y float64)      { *p = append(*p, piece{op: 'L', x: x, y: y}) }
func (p *path) close()                 { *p = append(*p, piece{op: 'Z'}) }
func (p *path) circle(x, y, r float64) { *p = append(*p, piece{op: 'O', x: x, y: y, r: r}) }
func (p *path) box(x0, y0, x1, y1 float64) {
	p.move(x0, y0)
	p.line(x1, y0)
	p.line(x1, y1)
	p.line(x0, y1)
	p.close()
}

// fonts are the letters that come with the program, so that texts have the same
// widths on every machine: plain and bold.
var fonts = sync.OnceValue(func() (faces [2]font.Face) {
	for _, f := range liberation.Collection() {
		switch f.Name() {
		case "LiberationSans-Regular":
			faces[0] = f
		case "LiberationSans-Bold":
			faces[1] = f
		}
	}
	return faces
})

func (t textStyle) face() font.Face {
	f := fonts()[0]
	if t.bold {
		f = fonts()[1]
	}
	f.Font.Size = vg.Length(t.size)
	return f
}

// wide is a text's width, points.
func (t textStyle) wide(s string) float64 {
	f := t.face()
	return float64(f.Width(s))
}

// cut shortens a text to a width.
func (t textStyle) cut(s string, most float64) string {
	if t.wide(s) <= most {
		return s
	}
	runes := []rune(s)
	low, high := 0, len(runes) // so many letters fit
	for low < high {
		mid := (low + high + 1) / 2
		if t.wide(strings.TrimRight(string(runes[:mid]), " ")+"…") <= most {
			low = mid
		} else {
			high = mid - 1
		}
	}
	return strings.TrimRight(string(runes[:low]), " ") + "…"
}

// counted is the number in brackets that a name of several ends in, with the space before
// it: "" where there is none.
var counted = regexp.MustCompile(` \([0-9]+\)$`)

// parted is a name without the number that it ends in, and that number, which is never cut.
func parted(s string) (name, number string) {
	number = counted.FindString(s)
	return strings.TrimSuffix(s, number), number
}

// cutApart shortens texts to a width so that those which differ still do, and keeps a number
// in brackets at their end: where their beginnings are alike they are cut in their middle, and
// where that does not help they are counted.
func (t textStyle) cutApart(all []string, most float64) []string {
	out := make([]string, len(all))
	alike := func() map[string]map[string]bool { // what is shown, and of which texts
		of := map[string]map[string]bool{}
		for i, s := range out {
			if of[s] == nil {
				of[s] = map[string]bool{}
			}
			of[s][all[i]] = true
		}
		return of
	}
	for i, s := range all {
		if out[i] = s; t.wide(s) > most {
			name, number := parted(s)
			out[i] = t.cut(name, most-t.wide(number)) + number
		}
	}
	for i, of := 0, alike(); i < len(all); i++ {
		if len(of[out[i]]) > 1 {
			name, number := parted(all[i])
			out[i] = t.cutMiddle(name, number, most)
		}
	}
	times := map[string]int{}
	for i, of := 0, alike(); i < len(all); i++ {
		if len(of[out[i]]) > 1 {
			times[out[i]]++
			name, number := parted(all[i])
			out[i] = t.cutMiddle(name, fmt.Sprintf(" (%d)", times[out[i]])+number, most)
		}
	}
	return out
}

// cutMiddle shortens a text to a width by its middle, with something after it.
func (t textStyle) cutMiddle(s, after string, most float64) string {
	if t.wide(s+after) <= most {
		return s + after
	}
	runes := []rune(s)
	keep := len(runes) - 1
	for ; keep > 1; keep-- {
		first := (keep + 1) / 2
		short := strings.TrimRight(string(runes[:first]), " ") + "…" + strings.TrimLeft(string(runes[len(runes)-keep/2:]), " ")
		if t.wide(short+after) <= most {
			return short + after
		}
	}
	return t.cut(s, most)
}

// wrap breaks a text at its spaces into at most so many lines; what does not fit is
// cut off.
func (t textStyle) wrap(s string, most float64, lines int) (out []string) {
	words := strings.Fields(s)
	for len(words) > 0 {
		if len(out) == lines-1 {
			return append(out, t.cut(strings.Join(words, " "), most))
		}
		n := 1
		for n < len(words) && t.wide(strings.Join(words[:n+1], " ")) <= most {
			n++
		}
		// A number keeps its percent sign, and a value its unit.
		for n > 1 && n < len(words) && (strings.HasPrefix(words[n], "%") || strings.HasPrefix(words[n], "Bq/m³")) {
			n--
		}
		out = append(out, t.cut(strings.Join(words[:n], " "), most))
		words = words[n:]
	}
	return out
}

// longest is how much of a text from a file is looked at, and longestTold of a sentence
// in a description, where such a text is a part of it.
const (
	longest     = 300
	longestTold = 1500
)

// clean makes a text from a file fit to be drawn: one line, without characters that
// steer rather than show.
func clean(s string) string { return cleanTo(s, longest) }

func cleanTo(s string, most int) string {
	var b strings.Builder
	n := 0
	for _, r := range s {
		if n++; n > most {
			b.WriteRune('…')
			break
		}
		switch {
		case r == '\t' || r == '\n' || r == '\r' || r == '\u2028' || r == '\u2029':
			b.WriteRune(' ')
		case r == utf8.RuneError || r == 0xFFFE || r == 0xFFFF:
			b.WriteRune('\uFFFD')
		case unicode.IsControl(r) || unicode.Is(unicode.Cf, r):
		default:
			b.WriteRune(r)
		}
	}
	return strings.Join(strings.Fields(b.String()), " ")
}

// picture is a surface that becomes a PNG.
type picture struct {
	canvas *vgimg.Canvas
	height float64
}

func newPicture(w, h float64) *picture {
	return &picture{vgimg.NewWith(vgimg.UseWH(vg.Length(w), vg.Length(h)), vgimg.UseDPI(dpi), vgimg.UseBackgroundColor(paper)), h}
}

func (p *picture) at(x, y float64) vg.Point {
	return vg.Point{X: onGrid(x), Y: onGrid(p.height - y)}
}

// onGrid is the nearest length of whole 64ths of a dot, which is what the letters and
// lines of a PNG are rounded to anyway: on the way there no processor then goes another.
func onGrid(x float64) vg.Length {
	const parts = 64 * dpi / 72.0
	return vg.Length(math.Round(steady(x*parts)) / parts)
}

func (p *picture) path(q path) (out vg.Path) {
	for _, c := range q {
		switch c.op {
		case 'M':
			out.Move(p.at(c.x, c.y))
		case 'L':
			out.Line(p.at(c.x, c.y))
		case 'Z':
			out.Close()
		case 'O':
			out.Move(p.at(c.x+c.r, c.y))
			out.Arc(p.at(c.x, c.y), onGrid(c.r), 0, 2*math.Pi)
			out.Close()
		}
	}
	return out
}

func (p *picture) fill(q path, c color.NRGBA) {
	p.canvas.SetColor(c)
	p.canvas.Fill(p.path(q))
}

func (p *picture) stroke(q path, c color.NRGBA, width float64, dash []float64) {
	p.canvas.SetColor(c)
	p.canvas.SetLineWidth(onGrid(width))
	var lengths []vg.Length
	for _, d := range dash {
		lengths = append(lengths, onGrid(d))
	}
	p.canvas.SetLineDash(lengths, 0)
	p.canvas.Stroke(p.path(q))
}

// text fills the letters' outlines as any other path. The rasteriser that comes with the
// fonts flattens curves in numbers of 32 bits, of which processors round the last digit
// each in their own way.
func (p *picture) text(x, y float64, s string, t textStyle) {
	s = shown(s)
	switch t.anchor {
	case middle:
		x -= t.wide(s) / 2
	case end:
		x -= t.wide(s)
	}
	p.canvas.SetColor(t.color)
	p.canvas.Fill(p.letters(x, y, s, t))
}

// letters are the outlines of a text that begins at a place.
func (p *picture) letters(x, y float64, s string, t textStyle) (out vg.Path) {
	f := t.face().Face
	const em = 2048 // of Liberation's fonts; asked for letters of that size, a font answers in its own units
	unit := t.size / em
	along := 0 // in these units
	last, _ := f.GlyphIndex(nil, ' ')
	for i, r := range s {
		glyph, err := f.GlyphIndex(nil, r)
		if err != nil {
			continue // of a letter that the font lacks; shown leaves none
		}
		if kern, err := f.Kern(nil, last, glyph, em, 0); i > 0 && err == nil {
			along += int(kern)
		}
		lines, err := f.LoadGlyph(nil, glyph, em, nil)
		if err != nil {
			continue
		}
		for _, line := range lines {
			var to [3]vg.Point
			for k, a := range line.Args {
				to[k] = p.at(x+float64(along+int(a.X))*unit, y+float64(a.Y)*unit)
			}
			switch line.Op { // as package sfnt counts them
			case 0:
				out.Move(to[0])
			case 1:
				out.Line(to[0])
			case 2:
				out.QuadTo(to[0], to[1])
			case 3:
				out.CubeTo(to[0], to[1], to[2])
			}
		}
		if wide, err := f.GlyphAdvance(nil, glyph, em, 0); err == nil {
			along += int(wide)
		}
		last = glyph
	}
	return out
}

func (*picture) open(string, Mark) {}
func (*picture) close()            {}

func (p *picture) bytes() ([]byte, error) {
	var b bytes.Buffer
	err := png.Encode(&b, p.canvas.Image())
	return b.Bytes(), err
}

// drawing is a surface that becomes an SVG. Texts stay texts, in a family whose
// letters are as wide as those measured here wherever one of the names is known.
type drawing struct {
	b strings.Builder
}

// escape makes text safe in XML, as content and within quotation marks.
var escape = strings.NewReplacer("&", "&amp;", "<", "&lt;", ">", "&gt;", `"`, "&quot;", "'", "&#39;").Replace

func newDrawing(w, h float64, title, desc string) *drawing {
	d := &drawing{}
	fmt.Fprintf(&d.b, `<?xml version="1.0" encoding="UTF-8"?>
<svg xmlns="http://www.w3.org/2000/svg" width="%smm" height="%smm" viewBox="0 0 %s %s" role="img" aria-labelledby="title desc" font-family="'Liberation Sans', Arial, Helvetica, sans-serif">
<title id="title">%s</title>
<desc id="desc">%s</desc>
<rect width="%s" height="%s" fill="#FFFFFF"/>
`, place(w*25.4/72), place(h*25.4/72), place(w), place(h), escape(title), escape(desc), place(w), place(h))
	return d
}

// steady rounds to digits that every processor agrees on. Some fuse a multiplication with
// an addition, which rounds once where others round twice, so the last of a number's
// sixteen digits differ; rounded to few digits at once, a number that lies in the middle
// between two, as many coordinates do, would go either way.
func steady(x float64) float64 {
	y, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'g', 11, 64), 64)
	return y
}

// place writes a coordinate to a hundredth of a point.
func place(x float64) string {
	s := strconv.FormatFloat(steady(x), 'f', 2, 64)
	s = strings.TrimSuffix(strings.TrimRight(s, "0"), ".")
	if s == "-0" {
		return "0"
	}
	return s
}

func hex(c color.NRGBA) string { return fmt.Sprintf("#%02X%02X%02X", c.R, c.G, c.B) }

func (d *drawing) path(q path) string {
	var b strings.Builder
	for _, c := range q {
		switch c.op {
		case 'Z':
			b.WriteByte('Z')
		case 'O':
			r := place(c.r)
			fmt.Fprintf(&b, "M%s,%sa%s,%s 0 1 0 %s,0a%s,%s 0 1 0 %s,0Z", place(c.x-c.r), place(c.y), r, r, place(2*c.r), r, r, place(-2*c.r))
		default:
			fmt.Fprintf(&b, "%c%s,%s", c.op, place(c.x), place(c.y))
		}
	}
	return b.String()
}

func (d *drawing) fill(q path, c color.NRGBA) {
	fmt.Fprintf(&d.b, "<path d=\"%s\" fill=\"%s\"/>\n", d.path(q), hex(c))
}

func (d *drawing) stroke(q path, c color.NRGBA, width float64, dash []float64) {
	fmt.Fprintf(&d.b, "<path d=\"%s\" fill=\"none\" stroke=\"%s\" stroke-width=\"%s\"", d.path(q), hex(c), place(width))
	if dash != nil {
		var parts []string
		for _, x := range dash {
			parts = append(parts, place(x))
		}
		fmt.Fprintf(&d.b, " stroke-dasharray=\"%s\"", strings.Join(parts, " "))
	}
	d.b.WriteString("/>\n")
}

func (d *drawing) text(x, y float64, s string, t textStyle) {
	fmt.Fprintf(&d.b, "<text x=\"%s\" y=\"%s\" font-size=\"%s\" fill=\"%s\"", place(x), place(y), place(t.size), hex(t.color))
	if w := t.wide(s); w > 0 { // where another font stands in for this one, it takes no more room
		fmt.Fprintf(&d.b, " textLength=\"%s\" lengthAdjust=\"spacingAndGlyphs\"", place(w))
	}
	if t.bold {
		d.b.WriteString(` font-weight="bold"`)
	}
	switch t.anchor {
	case middle:
		d.b.WriteString(` text-anchor="middle"`)
	case end:
		d.b.WriteString(` text-anchor="end"`)
	}
	fmt.Fprintf(&d.b, ">%s</text>\n", escape(s))
}

// open begins a group that carries the numbers it draws, to six digits.
func (d *drawing) open(kind string, m Mark) {
	fmt.Fprintf(&d.b, "<g data-mark=\"%s\"", kind)
	if l := m.label(); l != "" {
		fmt.Fprintf(&d.b, " data-label=\"%s\"", escape(clean(l)))
	}
	for _, a := range m.data() {
		fmt.Fprintf(&d.b, " data-%s=\"", a.name)
		for i, v := range a.values {
			if i > 0 {
				d.b.WriteByte(' ')
			}
			d.b.WriteString(strconv.FormatFloat(steady(v), 'g', 6, 64))
		}
		d.b.WriteByte('"')
	}
	d.b.WriteString(">\n")
}

func (d *drawing) close() { d.b.WriteString("</g>\n") }

func (d *drawing) bytes() ([]byte, error) {
	d.b.WriteString("</svg>\n")
	return []byte(d.b.String()), nil
}
