// Package page writes a page to be read and printed: one HTML file that needs
// nothing else, no script, no network, no font or picture of another's. It computes
// nothing and knows nothing of radon. A command hands it words, numbers and the
// tables of a report.Document; every number carries, beside its printed form, the
// unrounded value and the field of the JSON it is.
package page

import (
	"bytes"
	_ "embed"
	"fmt"
	"html/template"
	"io"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode/utf8"

	"radonyear/cmd/radonyear/internal/report"
)

// Page is a whole page.
type Page struct {
	Title    string // names from files included; it is written as text
	Heading  Prose
	About    Prose // a line under the heading; may be empty
	Contents bool  // list the sections under it
	Sections []Section
	Foot     Prose
}

// Section is a heading and what stands under it. Of names what its numbers are of,
// for whoever compares them with the JSON.
type Section struct {
	ID       string
	Title    Prose
	Of       Of
	NewPage  bool // begins a new sheet of paper
	Blocks   []Block
	Sections []Section
}

// Of says which row of which command's JSON the numbers of a section come from.
type Of struct{ Command, Home, Area string }

// Block is one of its fields, the others being empty.
type Block struct {
	Lead    Prose   // the one sentence to take away
	Text    Prose   // a paragraph
	List    []Prose // points
	Facts   []Fact  // names and values
	Table   *Table
	Figure  *Figure
	Command string // to be typed
}

// Fact is a value with its name.
type Fact struct{ Name, Value Prose }

// Figure is a picture with words under it. SVG is a whole file whose title and
// description have the identifiers "title" and "desc"; it is trusted as it stands.
// Narrow is the same for the screen of a telephone; without it SVG is there too.
type Figure struct {
	SVG, Narrow []byte
	Caption     Prose
	id          string
}

// Drawing is a picture as part of a page, its identifiers its own.
type Drawing struct {
	ID   string
	Kind string // its class: "broad" or "narrow" where there are both
	SVG  template.HTML
}

// Drawings are the pictures of the figure, of which one is seen.
func (f *Figure) Drawings() []Drawing {
	if f.Narrow == nil {
		return []Drawing{{f.id, "", drawing(f.SVG, f.id)}}
	}
	return []Drawing{{f.id, "broad", drawing(f.SVG, f.id)}, {f.id + "-narrow", "narrow", drawing(f.Narrow, f.id+"-narrow")}}
}

func drawing(file []byte, id string) template.HTML {
	svg := string(file)
	if i := strings.Index(svg, "<svg"); i > 0 {
		svg = svg[i:] // the declaration is for a file
	}
	return template.HTML(strings.NewReplacer(
		`aria-labelledby="title desc"`, fmt.Sprintf(`aria-labelledby="%s-title %[1]s-desc"`, id),
		`<title id="title"`, fmt.Sprintf(`<title id="%s-title"`, id),
		`<desc id="desc"`, fmt.Sprintf(`<desc id="%s-desc"`, id)).Replace(strings.TrimSpace(svg)))
}

// Prose is text in parts.
type Prose []Part

// Part is words of our own, a name from a file, a number or a day.
type Part struct {
	Text  string // as printed
	Name  bool
	Value string // of a number, unrounded
	Of    string // the field it is
	Day   string // of a day, as 2026-01-10
	Minor bool   // printed small, on a line of its own
	Code  bool   // printed as code
}

// Name is text from a file or the command line: it is shown as it stands, but for
// marks that would turn the text around it, and can never be markup.
func Name(text string) Part { return Part{Text: visible(text), Name: true} }

// Code is text for machines, such as a checksum.
func Code(text string) Part { return Part{Text: visible(text), Code: true} }

// Number is a number as printed, its value and its field in the JSON.
func Number(text string, value any, of string) Part {
	p := Part{Text: text, Of: of}
	switch v := value.(type) {
	case float64:
		p.Value = strconv.FormatFloat(v, 'g', -1, 64)
	default:
		p.Value = fmt.Sprint(v)
	}
	return p
}

// Day is the day of an instant, in the zone it carries.
func Day(t time.Time) Part {
	return Part{Text: t.Format("2 January 2006"), Day: t.Format(time.DateOnly)}
}

// ShortDay is Day as a table has it, in one piece.
func ShortDay(t time.Time) Part {
	return Part{Text: t.Format("2\u00a0Jan\u00a02006"), Day: t.Format(time.DateOnly)}
}

// Say puts arguments in the place of {}: strings are words of our own, names,
// numbers and days are Parts, and a Prose is put in whole.
func Say(format string, args ...any) Prose {
	var out Prose
	words := func(text string) {
		if text == "" {
			return
		}
		if n := len(out); n > 0 && out[n-1] == (Part{Text: out[n-1].Text}) {
			out[n-1].Text += text
			return
		}
		out = append(out, Part{Text: text})
	}
	for i, text := range strings.Split(format, "{}") {
		if i > 0 {
			switch a := args[i-1].(type) {
			case string:
				words(a)
			case Part:
				out = append(out, a)
			case Prose:
				out = append(out, a...)
			default:
				panic(fmt.Sprintf("page: a %T in %q", a, format))
			}
		}
		words(text)
	}
	return out
}

// Join puts words between proses: "a, b and c".
func Join(all []Prose) (out Prose) {
	for i, p := range all {
		switch {
		case i == 0:
		case i == len(all)-1:
			out = append(out, Part{Text: " and "})
		default:
			out = append(out, Part{Text: ", "})
		}
		out = append(out, p...)
	}
	return out
}

// visible writes as escapes what cannot be seen and would change how the text around
// it is read: control characters, and marks that override or embed a direction.
// Hebrew and Arabic need none of these.
func visible(text string) string {
	var b strings.Builder
	for _, r := range report.Plain(text) {
		if r >= 0x202a && r <= 0x202e || r >= 0x2066 && r <= 0x2069 {
			fmt.Fprintf(&b, `\u%04x`, r)
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}

//go:embed page.html
var layout string

//go:embed page.css
var style string

var tmpl = template.Must(template.New("page").Funcs(template.FuncMap{
	"style":   func() template.CSS { return template.CSS(style) },
	"prose":   prose,
	"plain":   Prose.plain,
	"visible": visible,
	"at":      func(s Section, level int) under { return under{s, level} },
	"add":     func(a, b int) int { return a + b },
}).Parse(layout))

// plain is text without markup, as an attribute has it.
func (p Prose) plain() string {
	var b strings.Builder
	for _, part := range p {
		b.WriteString(part.Text)
	}
	return b.String()
}

// longestWhole is how many letters a word of a name has at most that is never broken: the
// column of a table makes room for it. Of longer ones a column could be wider than the page.
const longestWhole = 16

// prose is text as markup. All of it passes through the one escape here.
func prose(parts Prose) template.HTML {
	esc := template.HTMLEscapeString
	var b strings.Builder
	small := false
	for _, p := range parts {
		if p.Minor != small {
			b.WriteString(map[bool]string{true: `<span class="minor">`, false: "</span>"}[p.Minor])
			small = p.Minor
		}
		switch {
		case p.Name:
			long := ""
			if slices.ContainsFunc(strings.Fields(p.Text), func(w string) bool { return utf8.RuneCountInString(w) > longestWhole }) {
				long = ` class="long"`
			}
			fmt.Fprintf(&b, "<bdi%s>%s</bdi>", long, esc(p.Text))
		case p.Code:
			fmt.Fprintf(&b, "<code>%s</code>", esc(p.Text))
		case p.Value != "":
			fmt.Fprintf(&b, `<data value="%s" data-of="%s">%s</data>`, esc(p.Value), esc(p.Of), esc(p.Text))
		case p.Day != "":
			fmt.Fprintf(&b, `<time datetime="%s">%s</time>`, esc(p.Day), esc(p.Text))
		default:
			b.WriteString(esc(p.Text))
		}
	}
	if small {
		b.WriteString("</span>")
	}
	return template.HTML(b.String())
}

// under is a section and the level of its heading.
type under struct {
	Section
	Level int
}

// Write writes the page, whole or not at all. The caller has checked the documents
// that the numbers are of (report.Document.Check).
func Write(w io.Writer, p Page) error {
	p.number()
	var b bytes.Buffer
	if err := tmpl.Execute(&b, p); err != nil {
		return err
	}
	_, err := w.Write(b.Bytes())
	return err
}

// number gives tables, figures and sections an identifier of their own.
func (p *Page) number() {
	tables, sections, figures := 0, 0, 0
	var walk func([]Section)
	walk = func(all []Section) {
		for i := range all {
			s := &all[i]
			if s.ID == "" {
				sections++
				s.ID = fmt.Sprintf("section-%d", sections)
			}
			for _, b := range s.Blocks {
				if b.Table != nil {
					tables++
					b.Table.id = fmt.Sprintf("table-%d", tables)
				}
				if b.Figure != nil {
					figures++
					b.Figure.id = fmt.Sprintf("figure-%d", figures)
				}
			}
			walk(s.Sections)
		}
	}
	walk(p.Sections)
}
