package plot

import (
	"fmt"
	"slices"
	"strings"
	"unicode"
)

// A PNG holds letters as they were drawn here, by the fonts that come with the program,
// one after another from the left. A text in other letters, or one that runs from right
// to left, would vanish or come out mirrored. An SVG holds texts, and whoever shows it
// has the letters.

// drawable says whether a PNG can show a letter.
func drawable(r rune) bool {
	if unicode.In(r, unicode.Hebrew, unicode.Arabic, unicode.Syriac, unicode.Thaana, unicode.Nko) {
		return false
	}
	for _, f := range fonts() {
		if i, err := f.Face.GlyphIndex(nil, r); err != nil || i == 0 {
			return false
		}
	}
	return true
}

func allDrawable(s string) bool {
	return !strings.ContainsFunc(clean(s), func(r rune) bool { return !drawable(r) })
}

// shown is a text as a PNG has it: a question mark for each stretch that it cannot show.
func shown(s string) string {
	var b strings.Builder
	lost := false
	for _, r := range s {
		if drawable(r) {
			b.WriteRune(r)
		} else if !lost {
			b.WriteByte('?')
		}
		lost = !drawable(r)
	}
	return b.String()
}

// numbered is a figure whose rows and panels have numbers in place of names that a PNG
// cannot show.
func (f Figure) numbered() Figure {
	f.Panels = slices.Clone(f.Panels)
	for i := range f.Panels {
		p := &f.Panels[i]
		if !allDrawable(p.Title) {
			p.Title = fmt.Sprintf("no. %d", i+1)
		}
		p.Y.Names = slices.Clone(p.Y.Names)
		for k, n := range p.Y.Names {
			if !allDrawable(n) {
				_, number := parted(n)
				p.Y.Names[k] = fmt.Sprintf("no. %d%s", k+1, number)
			}
		}
	}
	return f
}

// Lost are the texts of a figure that a PNG cannot show, each with what stands for it.
func Lost(f Figure) (lost []string) {
	add := func(s, instead string) {
		if text := fmt.Sprintf("%q is %s", clean(s), instead); !allDrawable(s) && !slices.Contains(lost, text) {
			lost = append(lost, text)
		}
	}
	add(f.Title, fmt.Sprintf("%q", shown(clean(f.Title))))
	add(f.Lead, fmt.Sprintf("%q", shown(clean(f.Lead))))
	for i, p := range f.Panels {
		add(p.Title, fmt.Sprintf("no. %d", i+1))
		for k, n := range p.Y.Names {
			add(n, fmt.Sprintf("no. %d", k+1))
		}
		for _, b := range p.Beside {
			add(b, fmt.Sprintf("%q", shown(clean(b))))
		}
		for _, m := range p.Marks {
			add(m.label(), fmt.Sprintf("%q", shown(clean(m.label()))))
		}
	}
	for _, n := range f.Notes {
		add(n, fmt.Sprintf("%q", shown(clean(n))))
	}
	return lost
}
