package report

import (
	"bytes"
	"cmp"
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"github.com/olekukonko/tablewriter"
	"github.com/olekukonko/tablewriter/renderer"
	"github.com/olekukonko/tablewriter/tw"

	"radonyear/analysis"
	"radonyear/analysis/annual"
)

// Width is the number of characters a line for people is kept to.
const Width = 80

// people writes the document to be read: lead, tables, footnotes, sentences,
// what was left out.
func (doc *Document) people(b *bytes.Buffer, markdown bool) error {
	para := func(text string) {
		if markdown {
			fmt.Fprintf(b, "%s\n\n", escape(Plain(text)))
		} else {
			fmt.Fprintln(b, Wrap(Plain(text), Width, ""))
		}
	}
	for _, l := range doc.Lead {
		para(l)
	}
	if len(doc.Lead) > 0 && !markdown {
		fmt.Fprintln(b)
	}
	foot := &footnotes{}
	tenfold := false
	for _, t := range doc.Tables {
		if t.Hidden || len(t.Rows) == 0 {
			continue
		}
		if t.Title != "" {
			para(t.Title)
			if !markdown {
				fmt.Fprintln(b)
			}
		}
		foot.collect(t)
		tenfold = tenfold || t.tenfold()
		if err := doc.grid(b, t, foot, markdown); err != nil {
			return err
		}
		fmt.Fprintln(b)
	}
	foot.write(b, markdown)
	if tenfold {
		para(TenfoldMeans)
		if !markdown {
			fmt.Fprintln(b)
		}
	}
	for _, n := range doc.Notes {
		para(sentence(n.Text))
	}
	if len(doc.Notes) > 0 && !markdown {
		fmt.Fprintln(b)
	}
	for _, s := range doc.After {
		para(s)
	}
	if n := doc.Rejected(); n > 0 {
		where := "--rejects FILE writes them all to a file"
		if doc.Rejects != "" {
			where = "all are in " + doc.Rejects
		}
		para(fmt.Sprintf("%s left out of %s read; %s.", plural(n, "row was", "rows were"), plural(doc.rows(), "row", "rows"), where))
	}
	if len(doc.LeftOut) > 0 {
		para(cmp.Or(doc.LeftOutTitle, fmt.Sprintf("No result for %s:", plural(int64(len(doc.LeftOut)), "home", "homes"))))
		for i, l := range doc.LeftOut {
			if i == 10 && !markdown {
				para(fmt.Sprintf("  and %d more; --format json names them all.", len(doc.LeftOut)-i))
				break
			}
			line := Plain(MonitorName(l.Place) + ": " + l.Why)
			if markdown {
				fmt.Fprintf(b, "- %s\n", escape(line))
			} else {
				fmt.Fprintln(b, "  "+Wrap(line, Width-4, "    "))
			}
		}
	}
	return nil
}

// tenfold says whether the table, as people see it, holds a rise to more than ten times.
func (t Table) tenfold() bool {
	if t.Tenfold {
		return true
	}
	for i, c := range t.Columns {
		if c.Head == "" || c.Style != Estimate {
			continue
		}
		for _, r := range t.Rows {
			if e, ok := r.Cells[i].(analysis.Estimate); ok && tellsTenfold(e, c.ValueOnly) {
				return true
			}
		}
	}
	return false
}

func (doc *Document) rows() (n int64) {
	for _, in := range doc.Inputs {
		n += in.Rows
	}
	return n
}

// PlaceName is a home, or a room of one, for a sentence: "K-1 (North), bedroom".
func PlaceName(p analysis.Place) string {
	name := p.Home
	if p.Area != "" {
		name += " (" + p.Area + ")"
	}
	if p.Room != "" {
		name += ", " + p.Room
	}
	return name
}

// MonitorName is PlaceName with the detector, where one place has several that are told of
// one by one.
func MonitorName(p analysis.Place) string {
	if p.Detector == "" {
		return PlaceName(p)
	}
	return PlaceName(p) + ", detector " + p.Detector
}

func plural(n int64, one, many string) string {
	if n == 1 {
		return "1 " + one
	}
	return strconv.FormatInt(n, 10) + " " + many
}

// shown is one column as people see it: an Estimate makes two of them.
type shown struct {
	head   string
	left   bool
	text   func(cell any) string
	col    int
	breaks int // where a line is short: 0 nowhere, atSpaces, anywhere
	spare  int // as in Column
	with   bool
}

func (doc *Document) shown(t Table, markdown bool) []shown {
	var out []shown
	for i, c := range t.Columns {
		if c.Head == "" || c.OmitEmpty && t.empty(i) {
			continue
		}
		add := func(head string, left bool, text func(any) string) {
			breaks := 0
			switch {
			case c.Style == Text && !c.Words:
				breaks = anywhere
			case c.Style == Text, c.Style == Against && left && (len(doc.Levels) == 1 || markdown):
				breaks = atSpaces
			}
			out = append(out, shown{head, left, text, i, breaks, c.Spare, c.With})
		}
		switch c.Style {
		case Text:
			add(c.Head, true, func(v any) string { return Plain(v.(string)) })
		case Prose:
			width := doc.left(t, i)
			add(c.Head, true, func(v any) string {
				if markdown {
					return Plain(v.(string))
				}
				return Wrap(Plain(v.(string)), width, "")
			})
		case Date:
			add(c.Head, true, func(v any) string { return v.(time.Time).Format(time.DateOnly) })
		case Count:
			add(c.Head, false, func(v any) string { return fmt.Sprint(v) })
		case Concentration:
			add(c.Head, false, func(v any) string {
				if l, ok := v.(Limit); ok {
					return "<" + sided(float64(l), doc.Levels)
				}
				return sided(v.(float64), doc.Levels)
			})
		case Factor:
			add(c.Head, false, func(v any) string {
				if l, ok := v.(Limit); ok {
					return "<" + three(float64(l))
				}
				return three(v.(float64))
			})
		case Level:
			add(c.Head, false, func(v any) string { return plain(v.(float64)) })
		case Days:
			add(c.Head, false, func(v any) string { return days(v.(float64)) })
		case Share:
			add(c.Head, false, func(v any) string { return share(v.(float64), 0) })
		case Rate:
			add(c.Head, false, func(v any) string { return share(v.(float64), 1) })
		case Probability:
			add(c.Head, false, func(v any) string { return percent(v.(float64), doc.Confidence) })
		case Estimate:
			add(c.Head, false, func(v any) string { e := v.(analysis.Estimate); return among(e, e.Value, doc.levelsOf(e)) })
			if !c.ValueOnly {
				add(intervalHead(t, i), true, func(v any) string { e := v.(analysis.Estimate); return interval(e, "-", doc.levelsOf(e)) })
			}
		case Fraction:
			add(c.Head, false, func(v any) string { return hundredths(v.(analysis.Estimate).Value) })
			add(intervalHead(t, i), true, func(v any) string {
				e := v.(analysis.Estimate)
				if math.IsInf(e.Lower, 0) || math.IsInf(e.Upper, 0) {
					e.Lower, e.Upper = 100*e.Lower, 100*e.Upper
					return interval(e, "-", nil)
				}
				return hundredths(e.Lower) + "-" + hundredths(e.Upper)
			})
		case Against:
			if len(doc.Levels) > 1 && !markdown {
				doc.stacked(add)
				continue
			}
			for j, l := range doc.Levels {
				add("P>"+plain(l)+"\n%", false, func(v any) string { return doc.against(v, j, probability) })
				head := "Verdict"
				if len(doc.Levels) > 1 {
					head += "\nat " + plain(l)
				}
				add(head, true, func(v any) string { return doc.against(v, j, verdict) })
			}
		}
	}
	return out
}

// levelsOf are the levels that an estimate must not be rounded across: a percentage
// or a ratio has none.
func (doc *Document) levelsOf(e analysis.Estimate) []float64 {
	if e.Unit == "Bq/m³" {
		return doc.Levels
	}
	return nil
}

// stacked shows several levels under each other in a row, since side by side
// they would not fit a line.
func (doc *Document) stacked(add func(head string, left bool, text func(any) string)) {
	lines := func(one func(j int) string) string {
		var out []string
		for j := range doc.Levels {
			out = append(out, one(j))
		}
		return strings.Join(out, "\n")
	}
	add("Level", false, func(any) string { return lines(func(j int) string { return plain(doc.Levels[j]) }) })
	add("P\n%", false, func(v any) string { return lines(func(j int) string { return doc.against(v, j, probability) }) })
	add("Verdict", true, func(v any) string { return lines(func(j int) string { return doc.against(v, j, verdict) }) })
}

// against writes a part of what a cell says of one of the levels.
func (doc *Document) against(cell any, level int, part func(*Document, annual.Against) string) string {
	if as := cell.([]annual.Against); level < len(as) {
		return part(doc, as[level])
	}
	return ""
}

func probability(doc *Document, a annual.Against) string {
	return percent(a.Probability, doc.Confidence)
}

func verdict(_ *Document, a annual.Against) string { return string(a.Verdict) }

// left is the width a Prose column has beside the other text of its table.
func (doc *Document) left(t Table, prose int) int {
	used := 0
	for i, c := range t.Columns {
		if i == prose || c.Head == "" || c.OmitEmpty && t.empty(i) {
			continue
		}
		widest := utf8.RuneCountInString(c.Head)
		for _, r := range t.Rows {
			switch v := r.Cells[i].(type) {
			case string:
				widest = max(widest, utf8.RuneCountInString(Plain(v)))
			case nil:
			default:
				widest = max(widest, len(fmt.Sprint(v)))
			}
		}
		used += widest + 2
	}
	return max(30, Width-used)
}

// intervalHead names the confidence, which is the same down a column.
func intervalHead(t Table, col int) string {
	for _, r := range t.Rows {
		if e, ok := r.Cells[col].(analysis.Estimate); ok {
			return strconv.FormatFloat(math.Round(1e9*e.Confidence)/1e7, 'f', -1, 64) + " %\ninterval"
		}
	}
	return "Interval"
}

func (doc *Document) grid(b *bytes.Buffer, t Table, foot *footnotes, markdown bool) error {
	cols := doc.shown(t, markdown)
	if slices.ContainsFunc(t.Rows, func(r Row) bool { return foot.mark(r) != "" }) {
		cols = append(cols, shown{head: "Note", left: true, col: noteMark})
	}
	if markdown {
		return doc.part(b, cols, texts(t, cols, foot), true)
	}
	if kept, rows, ok := fit(t, cols, foot); ok {
		return doc.part(b, kept, rows, false)
	}
	for i, p := range parts(t, cols, foot) {
		if i > 0 {
			fmt.Fprintln(b)
		}
		rows := texts(t, p, foot)
		narrowed(p, rows, anywhere)
		if err := doc.part(b, p, rows, false); err != nil {
			return err
		}
	}
	return nil
}

// parts breaks a table that no line holds into several, each with the first column;
// what belongs together stays so.
func parts(t Table, cols []shown, foot *footnotes) [][]shown {
	var groups [][]shown
	for i, c := range cols[1:] {
		if n := len(groups) - 1; n >= 0 && (c.with || c.col == cols[i].col) {
			groups[n] = append(groups[n], c)
		} else {
			groups = append(groups, []shown{c})
		}
	}
	out := [][]shown{cols[:1:1]}
	for _, g := range groups {
		last := out[len(out)-1]
		if with := append(slices.Clip(last), g...); len(last) == 1 || narrowed(with, texts(t, with, foot), anywhere) {
			out[len(out)-1] = with
		} else {
			out = append(out, append(cols[:1:1], g...))
		}
	}
	return out
}

// part is one grid of cells.
func (doc *Document) part(b *bytes.Buffer, cols []shown, rows [][]string, markdown bool) error {
	heads := make([]string, 0, len(cols))
	align := make([]tw.Align, 0, len(cols))
	lines := 1
	for _, c := range cols {
		heads = append(heads, c.head)
		lines = max(lines, 1+strings.Count(c.head, "\n"))
		if c.left {
			align = append(align, tw.AlignLeft)
		} else {
			align = append(align, tw.AlignRight)
		}
	}
	for i, h := range heads {
		if markdown {
			heads[i] = strings.ReplaceAll(h, "\n", " ")
		} else { // short heads stand on the line above the rule
			heads[i] = strings.Repeat("\n", lines-1-strings.Count(h, "\n")) + h
		}
	}
	var out bytes.Buffer
	w := tablewriter.NewTable(&out, tableOptions(markdown, align)...)
	w.Header(heads)
	for _, row := range rows {
		if markdown {
			for i, text := range row {
				row[i] = escape(text)
			}
		}
		if err := w.Append(row); err != nil {
			return err
		}
	}
	if err := w.Render(); err != nil {
		return err
	}
	if markdown {
		b.Write(out.Bytes())
		return nil
	}
	// The renderer pads the last column; a line for people ends at its text.
	text := strings.Split(strings.TrimRight(out.String(), "\n"), "\n")
	width := 0
	for i, l := range text {
		text[i] = strings.TrimRight(l, " ")
		if strings.Trim(text[i], "-") != "" {
			width = max(width, len([]rune(text[i])))
		}
	}
	for i, l := range text {
		if i == lines { // the rule under the head
			l = strings.Repeat("-", width)
		}
		fmt.Fprintln(b, l)
	}
	return nil
}

// noteMark is the column of note numbers, which is no column of the Table.
const noteMark = -1

// texts are the cells as people see them, in full.
func texts(t Table, cols []shown, foot *footnotes) [][]string {
	var rows [][]string
	for _, r := range t.Rows {
		row := make([]string, len(cols))
		for i, c := range cols {
			if c.col == noteMark {
				row[i] = foot.mark(r)
			} else if cell := r.Cells[c.col]; cell != nil {
				row[i] = c.text(cell)
			}
		}
		rows = append(rows, row)
	}
	return rows
}

// Where text may be broken.
const (
	atSpaces = 1 + iota
	anywhere
)

// fit brings a table within a line, by the mildest of these that will do:
// leave out what another column says too, break text at its spaces, leave out
// more, break names themselves; false where numbers alone are wider than a line.
func fit(t Table, cols []shown, foot *footnotes) ([]shown, [][]string, bool) {
	for _, try := range []struct{ spare, breaks int }{
		{0, 0}, {1, 0}, {1, atSpaces}, {2, atSpaces}, {2, anywhere}, {3, anywhere},
	} {
		var kept []shown
		for _, c := range cols {
			if c.spare == 0 || c.spare > try.spare {
				kept = append(kept, c)
			}
		}
		rows := texts(t, kept, foot)
		if narrowed(kept, rows, try.breaks) {
			return kept, rows, true
		}
	}
	return nil, nil, false
}

// narrowed breaks the text of rows until a line holds them, the widest column
// first; false if that is not enough.
func narrowed(cols []shown, rows [][]string, breaks int) bool {
	const gap, shortest = 2, 6
	width, least := make([]int, len(cols)), make([]int, len(cols))
	total := -gap
	for i, c := range cols {
		width[i], least[i] = widest(c.head), widest(c.head)
		for _, row := range rows {
			width[i] = max(width[i], widest(row[i]))
			n := longestWord(row[i])
			if breaks == anywhere && c.breaks == anywhere {
				n = min(n, shortest)
			}
			least[i] = max(least[i], n)
		}
		if breaks == 0 || c.breaks == 0 {
			least[i] = width[i]
		}
		total += width[i] + gap
	}
	for ; total > Width; total-- {
		at := -1
		for i := range cols {
			if width[i] > least[i] && (at < 0 || width[i] > width[at]) {
				at = i
			}
		}
		if at < 0 {
			return false
		}
		width[at]--
	}
	for i := range cols {
		for _, row := range rows {
			if widest(row[i]) > width[i] {
				row[i] = Wrap(split(row[i], width[i]), width[i], "")
			}
		}
	}
	return true
}

// widest is the length of the longest line.
func widest(text string) (n int) {
	for l := range strings.SplitSeq(text, "\n") {
		n = max(n, utf8.RuneCountInString(l))
	}
	return n
}

func longestWord(text string) (n int) {
	for _, w := range strings.Fields(text) {
		n = max(n, utf8.RuneCountInString(w))
	}
	return n
}

// split breaks words that are longer than width, after a mark within them if
// there is one.
func split(text string, width int) string {
	var parts []string
	for _, w := range strings.Fields(text) {
		r := []rune(w)
		for len(r) > width {
			at := width
			for i := width - 1; i > 0; i-- {
				if strings.ContainsRune("-_/.:", r[i]) {
					at = i + 1
					break
				}
			}
			parts = append(parts, string(r[:at]))
			r = r[at:]
		}
		parts = append(parts, string(r))
	}
	return strings.Join(parts, " ")
}

func tableOptions(markdown bool, align []tw.Align) []tablewriter.Option {
	opts := []tablewriter.Option{
		tablewriter.WithHeaderAutoFormat(tw.Off),
		tablewriter.WithHeaderAutoWrap(tw.WrapNone),
		tablewriter.WithRowAutoWrap(tw.WrapNone),
		tablewriter.WithHeaderAlignmentConfig(tw.CellAlignment{PerColumn: align}),
		tablewriter.WithRowAlignmentConfig(tw.CellAlignment{PerColumn: align}),
	}
	if markdown {
		return append(opts, tablewriter.WithRenderer(renderer.NewMarkdown()))
	}
	return append(opts,
		tablewriter.WithPadding(tw.Padding{Right: "  ", Overwrite: true}),
		tablewriter.WithRenderer(renderer.NewBlueprint(tw.Rendition{
			Borders: tw.BorderNone,
			Symbols: tw.NewSymbolCustom("rule").WithRow("-").WithCenter("-"),
			Settings: tw.Settings{
				Separators: tw.Separators{BetweenColumns: tw.Off, BetweenRows: tw.Off, ShowHeader: tw.On},
				Lines:      tw.Lines{ShowTop: tw.Off, ShowBottom: tw.Off, ShowHeaderLine: tw.On},
			},
		})))
}

// escape keeps text from being read as Markdown table or list structure.
func escape(s string) string {
	return strings.NewReplacer("\\", "\\\\", "|", "\\|", "<", "&lt;", "*", "\\*", "_", "\\_", "`", "\\`", "[", "\\[").Replace(s)
}

// footnotes gathers the notes of rows. A note in the same words on every row
// is said once without a number; the others get a number by code.
type footnotes struct {
	everyRow []string
	codes    []string
	texts    map[string][]footnote
}

type footnote struct{ label, text string }

func (f *footnotes) collect(t Table) {
	if f.texts == nil {
		f.texts = map[string][]footnote{}
	}
	seen := map[string]int{}
	for _, r := range t.Rows {
		for _, n := range r.Notes {
			seen[n.Text]++
		}
	}
	for _, r := range t.Rows {
		for _, n := range r.Notes {
			if len(t.Rows) > 1 && seen[n.Text] == len(t.Rows) {
				if !slices.Contains(f.everyRow, n.Text) {
					f.everyRow = append(f.everyRow, n.Text)
				}
				continue
			}
			if !slices.Contains(f.codes, n.Code) {
				f.codes = append(f.codes, n.Code)
			}
			if one := (footnote{r.Label, n.Text}); !slices.Contains(f.texts[n.Code], one) { // of one row in two tables
				f.texts[n.Code] = append(f.texts[n.Code], one)
			}
		}
	}
}

// mark is the note numbers of a row: "1,3".
func (f *footnotes) mark(r Row) string {
	var marks []string
	for i, code := range f.codes {
		if analysis.HasNote(r.Notes, code) {
			marks = append(marks, strconv.Itoa(i+1))
		}
	}
	return strings.Join(marks, ",")
}

// write prints each numbered note: once where its words are the same for all
// its rows, else row by row, cut after a few.
func (f *footnotes) write(b *bytes.Buffer, markdown bool) {
	const most = 2
	say := func(first, text string) {
		if markdown {
			fmt.Fprintf(b, "%s %s\n", strings.TrimSpace(first), escape(Plain(text)))
			return
		}
		pad := strings.Repeat(" ", len(first)+1)
		fmt.Fprintln(b, first+" "+Wrap(Plain(text), Width-len(first)-1, pad))
	}
	for i, code := range f.codes {
		first := fmt.Sprintf("%3d", i+1)
		if markdown {
			first = fmt.Sprintf("%d.", i+1)
		}
		notes := f.texts[code]
		same := !slices.ContainsFunc(notes, func(n footnote) bool { return n.text != notes[0].text })
		if same {
			say(first, sentence(notes[0].text))
			continue
		}
		for j, n := range notes {
			if j == most && !markdown && len(notes) > most+1 {
				say(first, fmt.Sprintf("and %d more; --format json says it for each.", len(notes)-j))
				break
			}
			say(first, n.label+": "+strings.TrimSuffix(n.text, ".")+".")
			if !markdown {
				first = "   "
			} else {
				first = "  "
			}
		}
	}
	if len(f.codes) > 0 {
		fmt.Fprintln(b)
	}
	for _, text := range f.everyRow {
		text = sentence(text)
		if markdown {
			fmt.Fprintf(b, "%s\n\n", escape(Plain(text)))
		} else {
			fmt.Fprintln(b, Wrap(Plain(text), Width, ""))
		}
	}
}

// sentence gives a note a capital and a full stop.
func sentence(text string) string {
	r, n := utf8.DecodeRuneInString(text)
	if n == 0 {
		return text
	}
	return string(unicode.ToUpper(r)) + strings.TrimSuffix(text[n:], ".") + "."
}
