package ingest

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"time"
)

// plan is everything that is settled about a file before its readings are
// made: which column is what, units, decimal mark, order of dates, zone.
type plan struct {
	opt    *Options
	name   string // what messages call the file
	path   string // where its bytes are
	header []string
	cols   *columns

	workbook bool

	home     string // the home of all rows, where no column says
	unitsRow int    // line of a row of units under the header; 0 if there is none
	unit     unit   // of values, where neither row nor text says; noUnit if they must
	unitFrom string
	wide     []wideColumn

	uncUnit  unit    // named by the uncertainty's column; noUnit: the value's
	uncScale float64 // 1 over the coverage factor
	uncShare bool    // per cent of the value

	mark      mark
	order     dateOrder
	orderFrom string
	shape     stampShape // of the first time
	shift     float64    // days to add to a spreadsheet's day number
	zone      *clockZone // of wall times; nil if none was given
	days      *clockZone // in which days are cut where the row does not say; of offsets in the times, that of the earliest
	zoneFrom  string
	zoneSaid  string
	dayOffset string              // where times carry several offsets, the one in days: that of the earliest
	log       bool                // rows say when they begin, not how long they last
	step      int64               // a log's usual time from one row to the next, microseconds
	steps     map[seriesKey]int64 // of the series whose own usual time is another

	extra []extraColumn
}

type wideColumn struct {
	at   int
	room string
	unit unit
}

// extraColumn is a column that rides along: where it stands in the file, and
// its name in the table.
type extraColumn struct {
	at   int
	name string
}

// headRows is how many rows are looked at before the file is read in earnest.
const headRows = 4096

// headRow is a row of the head.
type headRow struct {
	cells []cell
	line  int
}

// settle makes the plan of a file. alone says that it is the only one.
func settle(name, path string, opt *Options, alone bool) (*plan, error) {
	p := &plan{opt: opt, name: name, path: path}
	rd, err := openRows(path, name, opt)
	if err != nil {
		return nil, err
	}
	defer func() { rd.Close() }()
	p.header = slices.Clone(rd.header())
	if p.cols, err = assign(name, p.header, opt); err != nil {
		return nil, err
	}
	if x, ok := rd.(*xlsxReader); ok {
		p.workbook = true
		if x.from1904 {
			p.shift = excelEpoch - excelEpoch1904
		}
	}
	var head []headRow
	rejected, firstRejected := 0, 0
	for len(head) < headRows && rejected < headRows {
		row, line, err := rd.next()
		if err == io.EOF {
			break
		}
		var re RowError
		if errors.As(err, &re) {
			if rejected++; rejected == 1 {
				firstRejected = re.Line
			}
			continue
		}
		if err != nil {
			return nil, err
		}
		head = append(head, headRow{slices.Clone(row), line})
	}
	if len(head) == 0 {
		if rejected > 0 {
			return nil, &FileError{File: name, Line: firstRejected, Why: "no row could be read below the header", Hint: "the rows have not as many fields as the header, or their quotes are broken; check the delimiter"}
		}
		return nil, &FileError{File: name, Why: "the file has a header but no readings", Hint: "check that the export was complete"}
	}
	delim := ""
	if c, ok := rd.(*csvReader); ok {
		delim = string(c.delim)
	}
	if head, err = p.settleValues(head); err != nil {
		var fe *FileError
		if errors.As(err, &fe) && !alone {
			fe.Hint += "; leave the file out if it holds no readings: the others can be read without it"
		}
		return nil, err
	}
	if err := p.settleMark(head, delim); err != nil {
		return nil, err
	}
	if err := p.settleUnit(head); err != nil {
		return nil, err
	}
	if err := p.settleTimes(head); err != nil {
		return nil, err
	}
	if err := p.settleHome(alone); err != nil {
		return nil, err
	}
	wide := make(map[int]bool)
	for _, w := range p.wide {
		wide[w.at] = true
	}
	for _, at := range p.cols.text {
		if !wide[at] {
			p.extra = append(p.extra, extraColumn{at: at, name: p.header[at]})
		}
	}
	if p.log || p.zoneFrom == "times" {
		ahead := readAhead(rd)
		rd = ahead
		if err := p.settleWhole(head, ahead); err != nil {
			return nil, err
		}
	}
	return p, nil
}

func (p *plan) trouble(line, column int, why, hint string) error {
	e := &FileError{File: p.name, Line: line, Why: why, Hint: hint}
	if column >= 0 {
		e.Column = p.header[column]
	}
	return e
}

// settleValues finds the value column, or a wide file's several, and a row of
// units under the header. It returns the head without that row.
func (p *plan) settleValues(head []headRow) ([]headRow, error) {
	c := p.cols
	first := head[0]
	if p.isUnitsRow(first) {
		p.unitsRow = first.line
		head = head[1:]
		for i, cl := range first.cells {
			if u, ok := parseUnit(cl.text); ok {
				if n := c.names[i]; n.unit != noUnit && n.unit != u {
					return nil, p.trouble(first.line, i, "the column's name says "+n.unit.name+", the row of units says "+u.name, "correct one of them")
				}
				c.names[i].unit = u
			}
		}
		if len(head) == 0 {
			return nil, &FileError{File: p.name, Why: "the file has a header but no readings", Hint: "check that the export was complete"}
		}
	}
	if c.value >= 0 {
		return head, nil
	}
	var named, bare []int
	for _, i := range c.text {
		n := c.names[i]
		if c.start.none() || n.role != "" || n.strength == askedFor || n.other != "" || n.percent || c.room >= 0 && n.unit == noUnit ||
			p.header[i] == "" || !n.isRoom() || !allNumbers(head, i) {
			continue
		}
		if n.unit != noUnit {
			named = append(named, i)
		} else {
			bare = append(bare, i)
		}
	}
	switch {
	case len(named)+len(bare) >= 2, len(named) == 1, len(bare) == 1 && p.opt.Unit != "":
		rooms := append(named, bare...)
		slices.Sort(rooms)
		for _, i := range rooms {
			n := c.names[i]
			if n.unit == noUnit && p.opt.Unit == "" && len(named) > 0 {
				return nil, p.trouble(0, i, "holds numbers without a unit beside columns that name theirs",
					fmt.Sprintf("give --unit if it is a room's radon, or --column %s if it is not", quote(p.header[i]+"=text")))
			}
			room := n.rest
			if room == "" {
				room = p.header[i]
			}
			p.wide = append(p.wide, wideColumn{at: i, room: room, unit: n.unit})
		}
		return head, nil
	}
	for i, n := range c.names {
		if n.other != "" {
			return nil, p.trouble(0, i, fmt.Sprintf("the unit %s is not understood", quote(n.other)), unitsIn+"; convert the values, or name the column of radon with --column NAME=value")
		}
	}
	for i, n := range c.names {
		if n.unit != noUnit && isStatistic(n.rest) {
			return nil, p.trouble(0, i, "is one of several ways to say the same radon, and none of them plainly the readings; the columns are "+quoteList(p.header),
				fmt.Sprintf("name the one to use, such as --column %s", quote(p.header[i]+"=value")))
		}
	}
	return nil, p.trouble(0, -1, "no column of radon values; the columns are "+quoteList(p.header), "name it with --column NAME=value")
}

func quoteList(names []string) string {
	q := make([]string, 0, len(names))
	for i, n := range names {
		if i == 30 {
			q = append(q, fmt.Sprintf("and %d more", len(names)-i))
			break
		}
		q = append(q, quote(n))
	}
	return strings.Join(q, ", ")
}

// isUnitsRow says whether a row holds units and no data.
func (p *plan) isUnitsRow(r headRow) bool {
	units := 0
	for _, c := range r.cells {
		switch c.kind {
		case cellNull:
			continue
		case cellText:
		default:
			return false
		}
		if _, ok := parseUnit(c.text); ok {
			units++
		} else if firstData([]string{c.text}) != "" {
			return false
		}
	}
	if units == 0 || p.cols.unit >= 0 {
		return false // a unit column's own cell would look like a row of units
	}
	at := p.cols.start.at
	return at < 0 || at >= len(r.cells) || r.cells[at].kind == cellNull || !isStamp(r.cells[at].text)
}

// allNumbers says whether a column of the head holds numbers and gaps only, and
// at least one number.
func allNumbers(head []headRow, at int) bool {
	any := false
	for _, r := range head {
		switch c := r.cells[at]; c.kind {
		case cellNull:
		case cellNumber:
			any = true
		case cellText:
			if isMissing(c.text) {
				continue
			}
			s, _, _ := splitValue(c.text)
			if shape, _ := shapeOf(s); shape == notNumber {
				return false
			}
			any = true
		default:
			return false
		}
	}
	return any
}

// splitValue takes a value's text apart: the number, the unit behind it, and
// whether a sign before it says "less than".
func splitValue(s string) (num string, u unit, below bool) {
	s = strings.TrimSpace(s)
	for _, sign := range []string{"<=", "<", "≤"} {
		if strings.HasPrefix(s, sign) {
			s, below = strings.TrimSpace(s[len(sign):]), true
			break
		}
	}
	for i := 1; i < len(s); i++ {
		if isLetter(s[i]) && !isLetter(s[i-1]) {
			if v, ok := parseUnit(s[i:]); ok {
				return strings.TrimSpace(s[:i]), v, below
			}
		}
	}
	return s, noUnit, below
}

// missing are the words for a value that is not there (common practice).
var missing = map[string]bool{"": true, "na": true, "n/a": true, "nan": true, "null": true, "none": true, "nil": true, "-": true, "--": true, "---": true, "—": true, "–": true, ".": true, "?": true, "#n/a": true, "missing": true}

func isMissing(s string) bool { return len(s) <= 7 && missing[strings.ToLower(s)] }

// notDetected are the words for a value below a limit that they do not state.
var notDetected = map[string]bool{"nd": true, "n.d.": true, "bdl": true, "lod": true, "mdl": true, "<lod": true, "<mdl": true, "<dl": true, "< lod": true, "< mdl": true, "below detection": true, "below detection limit": true, "not detected": true, "non-detect": true, "nondetect": true}

var (
	pointedDate   = regexp.MustCompile(`^\s*\d{1,2}\.\d{1,2}\.\d{2,4}\b`)
	groupedDigits = regexp.MustCompile(`\d[^\d.,eE+-]+\d{3}`)
)

// settleMark finds the decimal mark from the numbers of the head.
func (p *plan) settleMark(head []headRow, delim string) error {
	switch p.opt.Decimal {
	case ".":
		p.mark = markPoint
		return nil
	case ",":
		p.mark = markComma
		return nil
	}
	c := p.cols
	at := []int{c.value, c.uncertainty, c.weight, c.share, c.days}
	for _, w := range p.wide {
		at = append(at, w.at)
	}
	var lines [eitherComma + 1]int
	var texts [eitherComma + 1]string
	pointed := "" // what speaks for points between thousands
	for _, r := range head {
		for _, i := range at {
			if i < 0 || r.cells[i].kind != cellText {
				continue
			}
			s, _, _ := splitValue(strings.TrimSuffix(r.cells[i].text, "%"))
			shape, digits := shapeOf(s)
			if lines[shape] == 0 {
				lines[shape], texts[shape] = r.line, r.cells[i].text
			}
			if shape == plainNumber && len(digits) < len(s) && groupedDigits.MatchString(s) && pointed == "" {
				pointed = fmt.Sprintf("%s on line %d has thousands set apart", quote(r.cells[i].text), r.line)
			}
		}
		for _, w := range []when{c.start, c.end} {
			if !w.none() && pointed == "" && r.cells[w.at].kind == cellText && pointedDate.MatchString(r.cells[w.at].text) {
				pointed = fmt.Sprintf("%s on line %d is written as where points part thousands", quote(r.cells[w.at].text), r.line)
			}
		}
	}
	ask := func(shape numberShape, tells string) error {
		return p.trouble(lines[shape], -1, fmt.Sprintf("%s could be read with a decimal mark or with a thousands separator, and %s", quote(texts[shape]), tells), "say which with --decimal . or --decimal ,")
	}
	const nothing = "nothing in the file tells"
	switch point, comma := lines[pointDecimal] > 0, lines[commaDecimal] > 0; {
	case point && comma:
		return p.trouble(lines[commaDecimal], -1, fmt.Sprintf("%s has a decimal comma, but %s on line %d has a decimal point", quote(texts[commaDecimal]), quote(texts[pointDecimal]), lines[pointDecimal]),
			"say which is right with --decimal . or --decimal , and the other rows are left out")
	case point:
		p.mark = markPoint
	case comma:
		p.mark = markComma
	case lines[eitherComma] > 0:
		return ask(eitherComma, nothing)
	case lines[eitherPoint] > 0 && delim != "," && delim != "":
		return ask(eitherPoint, nothing)
	case lines[eitherPoint] > 0 && pointed != "":
		return ask(eitherPoint, pointed)
	case lines[eitherPoint] > 0:
		p.mark = markPoint // where the comma parts the fields, the point is the decimal mark
	}
	return nil
}

// settleUnit finds the unit of the values and of their uncertainties.
func (p *plan) settleUnit(head []headRow) error {
	c := p.cols
	asked, err := optionUnit(p.opt)
	if err != nil {
		return err
	}
	if c.uncertainty >= 0 {
		n := c.names[c.uncertainty]
		if n.other != "" {
			return p.trouble(0, c.uncertainty, fmt.Sprintf("the unit %s is not understood", quote(n.other)), unitsIn)
		}
		p.uncUnit, p.uncShare, p.uncScale = n.unit, n.percent, 1
		if n.k > 0 {
			p.uncScale = 1 / n.k
		}
	}
	if len(p.wide) > 0 {
		for i := range p.wide {
			w := &p.wide[i]
			if w.unit != noUnit && asked != noUnit && w.unit != asked {
				return p.trouble(0, w.at, "the column says "+w.unit.name+", the option --unit says "+asked.name, "leave the option out, or correct the column's name")
			}
			if w.unit == noUnit {
				w.unit = asked
			}
			p.unitFrom = "column name"
			if p.unitsRow > 0 {
				p.unitFrom = "units row"
			} else if c.names[w.at].unit == noUnit {
				p.unitFrom = "option"
			}
			if w.unit == noUnit && c.unit < 0 && !anyUnit(head, w.at) {
				return p.trouble(0, w.at, "no unit: neither the column's name nor the values say one", "give it with --unit Bq/m3 or --unit pCi/L")
			}
		}
		return nil
	}
	n := c.names[c.value]
	if n.other != "" {
		return p.trouble(0, c.value, fmt.Sprintf("the unit %s is not understood", quote(n.other)), unitsIn+"; convert the values first")
	}
	named := n.unit
	if n.role == roleOwn {
		if named == pcil || named == kbqm3 {
			return p.trouble(0, c.value, "a column named concentration is in Bq/m3, but this one says "+named.name, "map it to value instead: --column "+quote(p.header[c.value]+"=value"))
		}
		if c.unit < 0 {
			named = bqm3
		}
	}
	if named != noUnit && asked != noUnit && named != asked {
		return p.trouble(0, c.value, "the column says "+named.name+", the option --unit says "+asked.name, "leave the option out, or correct the column's name")
	}
	if c.unit >= 0 {
		for _, r := range head {
			if r.cells[c.unit].kind == cellNull {
				continue
			}
			u, ok := parseUnit(textOf(r.cells[c.unit]))
			said, by := asked, "the option --unit"
			if named != noUnit {
				said, by = named, "the name of the value column"
			}
			if ok && said != noUnit && said != u {
				return p.trouble(r.line, c.unit, "the unit column says "+u.name+", "+by+" says "+said.name, "leave the option out, or correct the file")
			}
			break
		}
	}
	switch {
	case named != noUnit && p.unitsRow > 0 && n.role != roleOwn:
		p.unit, p.unitFrom = named, "units row"
	case named != noUnit:
		p.unit, p.unitFrom = named, "column name"
	case c.unit >= 0:
		p.unit, p.unitFrom = asked, "unit column"
	case asked != noUnit:
		p.unit, p.unitFrom = asked, "option"
	case anyUnit(head, c.value):
		p.unitFrom = "value text"
	default:
		return p.trouble(0, c.value, "no unit: neither the column's name, nor a unit column, nor the values say one", "give it with --unit Bq/m3 or --unit pCi/L")
	}
	return nil
}

func optionUnit(opt *Options) (unit, error) {
	if opt.Unit == "" {
		return noUnit, nil
	}
	u, ok := parseUnit(opt.Unit)
	if !ok {
		return noUnit, &OptionError{Why: fmt.Sprintf("unknown unit %q", opt.Unit), Hint: "--unit Bq/m3 or --unit pCi/L"}
	}
	return u, nil
}

// anyUnit says whether a value of the head has its unit beside it.
func anyUnit(head []headRow, at int) bool {
	for _, r := range head {
		if c := r.cells[at]; c.kind == cellText {
			if _, u, _ := splitValue(c.text); u != noUnit {
				return true
			}
		}
	}
	return false
}

// settleTimes finds the order of day and month, and the zone.
func (p *plan) settleTimes(head []headRow) error {
	c := p.cols
	if c.start.none() && (c.end.none() || c.days < 0) {
		if !c.end.none() {
			return p.trouble(0, c.end.at, "rows say when they end, but neither when they start nor how long they lasted", "add a column start or days, or name one with --column NAME=start")
		}
		return p.trouble(0, -1, "no column of times; the columns are "+quoteList(p.header), "name it with --column NAME=start (and =end or =days), or --column NAME=time for a log")
	}
	p.log = c.end.none() && c.days < 0
	// A "time" that already holds the date needs no date beside it.
	for _, w := range []*when{&c.start, &c.end} {
		if w.clock < 0 {
			continue
		}
		for _, r := range head {
			if cl := r.cells[w.clock]; cl.kind == cellText {
				if _, t := parseClock(cl.text); t != "" && isStamp(cl.text) {
					c.text = append(c.text, w.at)
					slices.Sort(c.text)
					*w = when{w.clock, -1}
				}
				break
			} else if cl.kind == cellTime {
				c.text = append(c.text, w.at)
				slices.Sort(c.text)
				*w = when{w.clock, -1}
				break
			}
		}
	}
	ats := []int{c.start.at, c.end.at}
	if err := p.settleOrder(head, ats); err != nil {
		return err
	}
	if p.opt.Zone != "" {
		loc, err := LoadZone(p.opt.Zone)
		if err != nil {
			return err
		}
		p.zone = newClockZone(loc, loc.String())
		p.days, p.zoneFrom, p.zoneSaid = p.zone, "option", loc.String()
	}
	clocks := false
	for _, r := range head {
		for _, w := range []when{c.start, c.end} {
			if w.none() {
				continue
			}
			st, trouble, _ := p.stampOf(w, r.cells)
			if trouble != "" || st.shape == shapeNone {
				continue
			}
			if p.shape == shapeNone {
				p.shape = st.shape
			}
			clocks = clocks || st.clock
			if st.zoned && p.days == nil {
				loc := fixedZone(int(st.off))
				p.zoneFrom, p.zoneSaid = "times", "in the times"
				if st.zone != "" {
					if l, err := LoadZone(st.zone); err == nil {
						loc = l
					}
					p.zoneFrom, p.zoneSaid = "file metadata", loc.String()
				}
				if c.names[w.at].utc || w.clock >= 0 && c.names[w.clock].utc {
					p.zoneFrom, p.zoneSaid = "column", "UTC"
				}
				p.days = newClockZone(loc, loc.String())
			}
			if st.clock && !st.zoned && p.zone == nil && c.zoneAt < 0 {
				return p.trouble(r.line, w.at, fmt.Sprintf("%s has no zone, and nothing in the file says one", quote(textOf(r.cells[w.at]))), "give it with --zone Europe/Oslo or --zone +01:00")
			}
		}
	}
	if c.zoneAt >= 0 {
		p.zoneFrom, p.zoneSaid = "column", "by row"
	} else if !clocks && p.zone == nil {
		p.zoneSaid = "dates only"
	}
	if p.days == nil {
		p.days = noZone()
	}
	return nil
}

// settleOrder finds out whether 01/02/2026 is in January or February. Where
// dates are written so, the whole file is asked, so that a file joined from two
// countries is not read half wrong.
func (p *plan) settleOrder(head []headRow, ats []int) error {
	if p.opt.DateOrder != "" {
		p.order, p.orderFrom = dateOrder(p.opt.DateOrder), "option"
		return nil
	}
	for _, at := range ats {
		if at >= 0 && p.cols.names[at].order != "" {
			p.order, p.orderFrom = dateOrder(p.cols.names[at].order), "column name"
			return nil
		}
	}
	p.orderFrom = "unambiguous"
	var f orderFacts
	for _, r := range head {
		for _, at := range ats {
			if at >= 0 && r.cells[at].kind == cellText {
				f.note(r.cells[at].text, r.line, at)
			}
		}
	}
	if f.seen == 0 {
		return nil
	}
	if len(head) >= headRows {
		rd, err := openRows(p.path, p.name, p.opt)
		if err != nil {
			return err
		}
		defer rd.Close()
		for {
			row, line, err := rd.next()
			if err == io.EOF {
				break
			}
			if errors.As(err, new(RowError)) {
				continue
			}
			if err != nil {
				return err
			}
			for _, at := range ats {
				if at >= 0 && row[at].kind == cellText {
					f.note(row[at].text, line, at)
				}
			}
		}
	}
	const hint = "say the order with --date-order dmy or --date-order mdy"
	switch {
	case f.short > 0:
		return p.trouble(f.short, f.at, quote(f.shortText)+" has a year of two digits", "say the order with --date-order dmy, mdy or ymd")
	case f.dayFirst > 0 && f.monthFirst > 0:
		return p.trouble(max(f.dayFirst, f.monthFirst), f.at, fmt.Sprintf("line %d has the day first, line %d the month", f.dayFirst, f.monthFirst), hint+", and the other rows are left out")
	case f.dayFirst > 0:
		p.order, p.orderFrom = "dmy", fmt.Sprintf("a day above 12 on line %d", f.dayFirst)
	case f.monthFirst > 0:
		p.order, p.orderFrom = "mdy", fmt.Sprintf("a day above 12 on line %d", f.monthFirst)
	case f.unsure > 0:
		return p.trouble(f.unsure, f.at, quote(f.unsureText)+" could be day/month or month/day, and no date in the file tells", hint)
	}
	return nil
}

// orderFacts gathers what dates in figures say about their order; lines are 0
// where nothing was met.
type orderFacts struct {
	seen, dayFirst, monthFirst, unsure, short int
	unsureText, shortText                     string
	at                                        int // the column of the last line that was noted
}

func (f *orderFacts) note(s string, line, at int) {
	if len(s) >= 10 && s[4] == '-' {
		return
	}
	q := stampParser{s: s}
	q.parse()
	n := q.numbers
	if n == (numbersOfDate{}) {
		return
	}
	f.seen++
	first := func(l *int) {
		if *l == 0 {
			*l, f.at = line, at
		}
	}
	switch {
	case n.short:
		if f.short == 0 {
			f.shortText = s
		}
		first(&f.short)
	case n.a > 12 && n.b <= 12:
		first(&f.dayFirst)
	case n.b > 12 && n.a <= 12:
		first(&f.monthFirst)
	case n.a <= 12 && n.a != n.b:
		if f.unsure == 0 {
			f.unsureText = s
		}
		first(&f.unsure)
	}
}

// settleHome says which home the rows are from where no column does.
func (p *plan) settleHome(alone bool) error {
	c := p.cols
	switch {
	case p.opt.HomeFromFilename:
		if c.home >= 0 {
			if c.names[c.home].strength > weakName { // two homes of one file would become one
				return p.trouble(0, c.home, "says which home each row is from, and so does --home-from-filename",
					"leave the option out, or let the column ride along with --column "+quote(p.header[c.home]+"=text"))
			}
			c.text = append(c.text, c.home)
			slices.Sort(c.text)
			c.home = -1
		}
		p.home = homeName(p.name)
	case c.home >= 0:
	case alone:
		p.home = "home"
	default:
		return p.trouble(0, -1, "no column says which home the readings are from", "with several files give --home-from-filename, or name the column with --column NAME=home")
	}
	return nil
}

// homeName is a path's last part without its extensions.
func homeName(path string) string {
	if path == "-" {
		return "stdin"
	}
	base := filepath.Base(path)
	for _, ext := range []string{".gz", filepath.Ext(strings.TrimSuffix(base, ".gz"))} {
		if t := strings.TrimSuffix(base, ext); t != "" {
			base = t
		}
	}
	return base
}

// settleWhole learns what only all rows tell, so that their order changes
// nothing: how far apart a log's rows usually are, of each series by itself; and
// of times that carry several offsets, the earliest, in which days are cut. It
// reads the rows of the head and on behind it as they will be read later.
func (p *plan) settleWhole(head []headRow, rd rowReader) error {
	r := newRun(p, nil, 0, func(RowError) {})
	open := 0
	row := func(cells []cell, line int) {
		if !p.log {
			w := p.cols.start
			if w.none() {
				w = p.cols.end
			}
			if st, trouble, _ := p.stampOf(w, cells); trouble == "" && st.zoned {
				r.offsets.note(st)
			}
			return
		}
		var rd normRow
		_, of := r.seriesOf(cells)
		if of == nil || !r.hasValue(cells) {
			return
		}
		if _, t := r.times(&rd, cells, line, of); t != nil {
			return
		}
		of.met(rd.start)
		if rd.log {
			of.note(rd.start)
			if open == 0 {
				open = line
			}
		}
	}
	for _, h := range head {
		row(h.cells, h.line)
	}
	for {
		cells, line, err := rd.next()
		if err == io.EOF {
			break
		}
		if errors.As(err, new(RowError)) {
			continue
		}
		if err != nil {
			return err
		}
		row(cells, line)
	}
	if o := r.offsets; p.zoneFrom == "times" && o.several {
		loc := fixedZone(int(o.off))
		p.days = newClockZone(loc, loc.String())
		p.dayOffset = loc.String()
	}
	if !p.log {
		return nil
	}
	seen := make(map[int64]int)
	for _, of := range r.series {
		of.settle(seen)
	}
	if p.step = mostFrequent(seen); open > 0 && p.step == 0 {
		return p.trouble(open, p.cols.start.at, "cannot tell how long a reading lasted: rows have one time each, and no two of a detector follow each other within a day and a half", "add a column end or days, or name one with --column NAME=end")
	}
	p.steps = make(map[seriesKey]int64)
	for k, of := range r.series {
		if of.step > 0 && of.step != p.step {
			p.steps[k] = of.step
		}
	}
	return nil
}

// offsets is what the offsets of a file's times come to.
type offsets struct {
	any, several bool
	earliest     int64 // seconds since 1970
	off          int32 // of the earliest; the smallest of them if several times are
}

func (o *offsets) note(st stamp) {
	at := st.sec - int64(st.off)
	if !o.any {
		*o = offsets{any: true, earliest: at, off: st.off}
		return
	}
	o.several = o.several || st.off != o.off
	if at < o.earliest || at == o.earliest && st.off < o.off {
		o.earliest, o.off = at, st.off
	}
}

// stampOf reads a time from a row. column is the one to blame.
func (p *plan) stampOf(w when, row []cell) (st stamp, trouble stampTrouble, column int) {
	st, trouble = p.cellStamp(row[w.at])
	if trouble != "" || st.shape == shapeNone {
		return st, trouble, w.at
	}
	utc := p.cols.names[w.at].utc
	if w.clock >= 0 {
		utc = utc || p.cols.names[w.clock].utc
		c := row[w.clock]
		var t stamp
		switch c.kind {
		case cellNull:
		case cellNumber:
			if !(c.num >= 0 && c.num < 1) {
				return st, noSuchClock, w.clock
			}
			t = serialClock(c.num)
		default:
			if t, trouble = parseClock(textOf(c)); trouble != "" {
				return st, trouble, w.clock
			}
		}
		if t.clock {
			if st.clock && (st.zoned || floorMod(st.sec, 86400) != 0) {
				return st, "has a clock time, and so has the column beside it", w.at
			}
			st.sec += t.sec
			st.micro, st.clock, st.zoned, st.off = t.micro, true, t.zoned, t.off
		}
	}
	if utc && st.clock && !st.zoned {
		st.zoned = true
	}
	return st, "", w.at
}

func floorMod(a, b int64) int64 { return ((a % b) + b) % b }

// cellStamp reads a cell as a time; an empty one has no shape.
func (p *plan) cellStamp(c cell) (stamp, stampTrouble) {
	switch c.kind {
	case cellNull:
		return stamp{}, ""
	case cellText:
		st, t := parseStamp(c.text, p.order)
		if st.shape == shapeExcel && p.shift != 0 && t == "" {
			return numberStamp(float64(st.sec)/86400+excelEpoch, p.shift)
		}
		return st, t
	case cellNumber:
		if c.num == math.Trunc(c.num) && c.num >= 19000101 && c.num < 22010101 {
			n := int(c.num)
			return civil(n/10000, n/100%100, n%100, shapeYMD)
		}
		return numberStamp(c.num, p.shift)
	case cellTime:
		micro := c.time.Nanosecond() / 1000
		return stamp{sec: c.time.Unix(), micro: int32(micro), shape: shapeTyped, clock: true, zoned: c.zone != "", zone: c.zone}, ""
	case cellDate:
		return stamp{sec: c.time.Unix(), shape: shapeTyped}, ""
	}
	return stamp{}, notAStamp
}

// textOf is a cell as text; identifiers keep the file's own spelling.
func textOf(c cell) string {
	switch c.kind {
	case cellText:
		return c.text
	case cellNumber:
		if c.text != "" {
			return c.text
		}
		if c.num == math.Trunc(c.num) && math.Abs(c.num) < 1e15 {
			return strconv.FormatFloat(c.num, 'f', -1, 64)
		}
		return strconv.FormatFloat(c.num, 'g', -1, 64)
	case cellBool:
		return strconv.FormatBool(c.num != 0)
	case cellTime:
		if c.zone == "" {
			return c.time.Format("2006-01-02T15:04:05.999999")
		}
		return c.time.UTC().Format(time.RFC3339Nano)
	case cellDate:
		return c.time.Format("2006-01-02")
	}
	return ""
}

// fileRun is a file being read: rows in, readings out.
type fileRun struct {
	*plan
	rd     rowReader
	batch  batch
	reject func(RowError)
	file   File

	series   map[seriesKey]*series
	lastKey  seriesKey
	lastOf   *series
	zones    map[string]*clockZone
	extraAt  []int // for each extra column of the table, where this file has it; -1 where it has not
	unitSeen unit
	offsets  offsets // of the starts read
}

type seriesKey struct{ home, room, detector string }

func newRun(p *plan, rd rowReader, extras int, reject func(RowError)) *fileRun {
	r := &fileRun{plan: p, rd: rd, reject: reject, series: make(map[seriesKey]*series), zones: make(map[string]*clockZone)}
	r.batch.extra = make([]wordColumn, extras)
	r.extraAt = make([]int, extras)
	for i := range r.extraAt {
		r.extraAt[i] = -1
	}
	return r
}

// fill reads rows until the batch is full; io.EOF says that the file is done.
func (r *fileRun) fill() error {
	for r.batch.len() < batchRows {
		row, line, err := r.rd.next()
		switch e := err.(type) {
		case nil:
			r.row(row, line)
		case RowError:
			r.file.Rows++
			r.file.Rejected++
			r.file.lostRows++
			r.reject(e)
		default:
			r.batch.close(r.step)
			return err
		}
	}
	r.batch.close(r.step)
	return nil
}

// lose rejects a row, or one cell of a wide one.
func (r *fileRun) lose(row []cell, line, column int, value, why string) {
	r.file.Rejected++
	e := RowError{File: r.name, Line: line, Value: value, Why: why}
	if column >= 0 {
		e.Column = r.header[column]
	}
	if w, ok := r.rd.(interface{ raw() string }); ok {
		e.Row = w.raw()
	}
	if e.Row == "" {
		e.Row = joinCells(row)
	}
	r.reject(e)
}

func joinCells(row []cell) string {
	fields := make([]string, len(row))
	for i, c := range row {
		fields[i] = textOf(c)
	}
	var b strings.Builder
	w := csv.NewWriter(&b)
	w.Write(fields)
	w.Flush()
	return strings.TrimSuffix(b.String(), "\n")
}

// rowTrouble is why a row is left out.
type rowTrouble struct {
	column int
	value  string
	why    string
}

// row makes the readings of one row, or rejects it.
func (r *fileRun) row(row []cell, line int) {
	if line == r.unitsRow && line > 0 {
		return
	}
	if row[0].kind == cellText && row[0].text == r.header[0] && r.isHeader(row) {
		r.file.RepeatedHeaders++
		return
	}
	r.file.Rows++
	c := r.cols
	lose := func(t *rowTrouble) {
		r.file.lostRows++
		r.lose(row, line, t.column, t.value, t.why)
	}
	text := func(at int) string { return textAt(row, at) }
	home, of := r.seriesOf(row)
	if of == nil {
		lose(&rowTrouble{c.home, "", "no home; every row must say which home it is from"})
		return
	}
	var rd normRow
	zone, t := r.times(&rd, row, line, of)
	if t != nil {
		lose(t)
		return
	}
	phase, ok := phases[strings.ToLower(text(c.phase))]
	if !ok {
		lose(&rowTrouble{c.phase, text(c.phase), "is no phase; write before or after"})
		return
	}
	kind, ok := kinds[strings.ToLower(text(c.kind))]
	if !ok {
		lose(&rowTrouble{c.kind, text(c.kind), "is no kind of measurement; write field, duplicate, blank or spike"})
		return
	}
	if rd.weight, t = r.optional(row, c.weight); t == nil && rd.weight.ok && !(rd.weight.x >= 0 && rd.weight.x <= math.MaxFloat64) {
		t = &rowTrouble{c.weight, text(c.weight), "is not a weight; it must not be negative"}
	}
	if t == nil {
		rd.share, t = r.optional(row, c.share)
		if t == nil && rd.share.ok {
			if c.names[c.share].percent {
				rd.share.x /= 100
			}
			if !(rd.share.x > 0 && rd.share.x <= 1) {
				t = &rowTrouble{c.share, text(c.share), "is not a share; it must be above 0 and at most 1"}
			}
		}
	}
	if t != nil {
		lose(t)
		return
	}
	emit := func(room string) {
		b := &r.batch
		b.add(&rd, line, of)
		b.home.add(home)
		b.area.add(text(c.area))
		b.room.add(room)
		b.detector.add(text(c.detector))
		b.method.add(text(c.method))
		b.zone.add(zone)
		b.phase.add(phase)
		b.kind.add(kind)
		b.file.add(r.name)
		for i, at := range r.extraAt {
			b.extra[i].add(text(at))
		}
		r.file.Readings++
	}
	if len(r.wide) == 0 {
		if t := r.value(&rd, row, c.value, r.unit); t != nil {
			r.countAbove(t, phase, kind)
			lose(t)
			return
		}
		emit(text(c.room))
	}
	for _, w := range r.wide {
		if row[w.at].kind == cellNull || row[w.at].kind == cellText && isMissing(row[w.at].text) || row[w.at].kind == cellNumber && math.IsNaN(row[w.at].num) {
			r.file.EmptyCells++
			continue
		}
		if t := r.value(&rd, row, w.at, w.unit); t != nil {
			r.countAbove(t, phase, kind)
			r.lose(row, line, t.column, t.value, t.why)
			continue
		}
		room := w.room
		if c.room >= 0 && text(c.room) != "" {
			room = text(c.room) + " " + w.room
		}
		emit(room)
	}
	of.met(rd.start)
}

// aboveRange is what is wrong with a result such as >1000.
const aboveRange = "is above what the detector could measure; such a value cannot be used"

// countAbove counts what was lost as such a result: of homes, and not of blanks, of spikes or
// of a second detector beside the first.
func (r *fileRun) countAbove(t *rowTrouble, phase, kind string) {
	if t.why != aboveRange || kind != "field" {
		return
	}
	if r.file.AboveRange == nil {
		r.file.AboveRange = map[string]int64{}
	}
	r.file.AboveRange[phase]++
}

// textAt is the text of a column; "" where the file has no such column.
func textAt(row []cell, at int) string {
	if at < 0 {
		return ""
	}
	return textOf(row[at])
}

// seriesOf is the home of a row and what is remembered of its series; nil where
// the row says no home.
func (r *fileRun) seriesOf(row []cell) (home string, of *series) {
	c := r.cols
	home = r.home
	if c.home >= 0 {
		if home = textAt(row, c.home); home == "" {
			return "", nil
		}
	}
	k := seriesKey{home, textAt(row, c.room), textAt(row, c.detector)}
	of = r.lastOf
	if of == nil || k != r.lastKey {
		if of = r.series[k]; of == nil {
			k = seriesKey{strings.Clone(k.home), strings.Clone(k.room), strings.Clone(k.detector)}
			of = &series{step: r.steps[k]}
			r.series[k] = of
		}
		r.lastKey, r.lastOf = k, of
	}
	return home, of
}

// hasValue says whether a row holds a value, whatever it is.
func (r *fileRun) hasValue(row []cell) bool {
	stated := func(c cell) bool {
		return c.kind != cellNull && !(c.kind == cellText && isMissing(c.text)) && !(c.kind == cellNumber && math.IsNaN(c.num))
	}
	for _, w := range r.wide {
		if stated(row[w.at]) {
			return true
		}
	}
	return len(r.wide) == 0 && stated(row[r.cols.value])
}

func (r *fileRun) isHeader(row []cell) bool {
	for i, c := range row {
		if i < len(r.header) && textOf(c) != r.header[i] {
			return false
		}
	}
	return true
}

// phases and kinds are the words for them (common practice).
var (
	phases = map[string]string{"": "", "before": "before", "pre": "before", "pre-mitigation": "before", "premitigation": "before", "before mitigation": "before", "pre mitigation": "before",
		"after": "after", "post": "after", "post-mitigation": "after", "postmitigation": "after", "after mitigation": "after", "post mitigation": "after"}
	kinds = map[string]string{"": "field", "field": "field", "regular": "field", "routine": "field", "sample": "field", "field sample": "field", "measurement": "field",
		"duplicate": "duplicate", "dup": "duplicate", "field duplicate": "duplicate", "blank": "blank", "field blank": "blank", "spike": "spike", "spiked": "spike", "field spike": "spike"}
)

var firstSecond, endSecond = dayNumber(1950, 1, 1) * 86400, dayNumber(2101, 1, 1) * 86400

// tooLong is a result of more than LongestDays.
const tooLong = "makes the result %.0f days long; no passive detector stays more than two years, so check the dates"

// times settles when a reading began and ended. zone is the one its days are cut in.
func (r *fileRun) times(rd *normRow, row []cell, line int, of *series) (zone string, t *rowTrouble) {
	c := r.cols
	walls, days := r.zone, r.days
	if c.zoneAt >= 0 {
		if name := textOf(row[c.zoneAt]); name != "" {
			z, ok := r.zones[name]
			if !ok {
				loc, err := LoadZone(name)
				if err != nil {
					return "", &rowTrouble{c.zoneAt, name, "is not a zone; write an IANA name such as Europe/Oslo, or an offset such as +01:00"}
				}
				z = newClockZone(loc, strings.Clone(loc.String()))
				r.zones[z.name], r.zones[strings.Clone(name)] = z, z
			}
			walls, days = z, z
		} else if r.zone == nil {
			days = noZone() // the file means to say the zone, and leaves it open here
		}
	}
	read := func(w when) (stamp, *rowTrouble) {
		st, trouble, at := r.stampOf(w, row)
		switch {
		case trouble != "":
			return st, &rowTrouble{at, textOf(row[at]), string(trouble)}
		case st.shape == shapeNone:
			return st, &rowTrouble{w.at, "", "no time; every row must say when it was measured"}
		case st.sec < firstSecond || st.sec >= endSecond:
			return st, &rowTrouble{w.at, textOf(row[w.at]), string(yearOutside)}
		case st.clock && !st.zoned && walls == nil:
			return st, &rowTrouble{w.at, textOf(row[w.at]), "has no zone; give it with --zone Europe/Oslo or --zone +01:00"}
		}
		return st, nil
	}
	// instant turns a stamp into microseconds; after is what a repeated time must lie behind.
	instant := func(st stamp, end bool) int64 {
		z := days
		switch {
		case st.zoned:
			if !end {
				r.offsets.note(st)
			}
			return (st.sec-int64(st.off))*1e6 + int64(st.micro)
		case st.clock:
			z = walls
		}
		early, late, kind := z.instant(st.sec)
		pick := early
		switch kind {
		case gapTime:
			if r.file.GapTimes++; r.file.GapTimes == 1 {
				r.file.GapLine = int64(line)
			}
		case repeatTime:
			if r.file.RepeatedTimes++; r.file.RepeatedTimes == 1 {
				r.file.RepeatedLine = int64(line)
			}
			e, l := early*1e6+int64(st.micro), late*1e6+int64(st.micro)
			switch {
			case end && e <= rd.start:
				pick = late
			case end || !of.any:
			case !of.falling && e <= of.last: // the clock went back, or shows the same again: winter time
				pick = late
			case of.falling && l < of.last: // newest first, and not yet back to summer time
				pick = late
			}
		}
		return pick*1e6 + int64(st.micro)
	}
	var st stamp
	length := number{}
	if c.days >= 0 {
		if length, t = r.optional(row, c.days); t != nil {
			return "", t
		}
		if !length.ok {
			return "", &rowTrouble{c.days, "", "no duration; every row must say how long it lasted"}
		}
		if c.names[c.days].hours {
			length.x /= 24
		}
		if !(length.x > 0) {
			return "", &rowTrouble{c.days, textOf(row[c.days]), "is not a duration; it must be above 0 days"}
		}
		if length.x > LongestDays {
			return "", &rowTrouble{c.days, textOf(row[c.days]), fmt.Sprintf(tooLong, length.x)}
		}
	}
	// away is the instant a duration before or after a time; whole days from a
	// date without a clock time are days of the calendar, as an end date would be.
	away := func(st stamp, from int64, days float64) int64 {
		if !st.clock && days == math.Trunc(days) {
			moved := st
			moved.sec += int64(days) * 86400
			return instant(moved, true)
		}
		return from + int64(math.Round(days*86400e6))
	}
	if c.start.none() {
		if st, t = read(c.end); t != nil {
			return "", t
		}
		rd.end = instant(st, false)
		rd.start = math.MinInt64
		rd.start = away(st, rd.end, -length.x)
	} else {
		if st, t = read(c.start); t != nil {
			return "", t
		}
		rd.start = instant(st, false)
		switch {
		case !c.end.none():
			end, t := read(c.end)
			if t != nil {
				return "", t
			}
			rd.end = instant(end, true)
			if rd.end <= rd.start {
				why := "is not after the start"
				if !end.clock && !st.clock && end.sec == st.sec {
					why = "is the day it started; give clock times for a test of less than a day"
				}
				return "", &rowTrouble{c.end.at, textOf(row[c.end.at]), why}
			}
			if days := float64(rd.end-rd.start) / 86400e6; days > LongestDays {
				return "", &rowTrouble{c.end.at, textOf(row[c.end.at]), fmt.Sprintf(tooLong, days)}
			}
		case c.days >= 0:
			rd.end = away(st, rd.start, length.x)
		case !st.clock: // a date and a value: the mean of that day
			st.sec += 86400
			rd.end = instant(st, true)
		default:
			rd.log = true
		}
	}
	if !rd.log && (rd.end <= rd.start || rd.start < firstSecond*1e6 || rd.end > endSecond*1e6) {
		at := c.start.at
		if at < 0 {
			at = c.end.at
		}
		return "", &rowTrouble{at, textOf(row[at]), "with its duration " + string(yearOutside)}
	}
	return days.name, nil
}

// optional reads a number that need not be there.
func (r *fileRun) optional(row []cell, at int) (number, *rowTrouble) {
	if at < 0 {
		return number{}, nil
	}
	switch c := row[at]; c.kind {
	case cellNull:
		return number{}, nil
	case cellNumber:
		return number{c.num, !math.IsNaN(c.num)}, nil
	case cellText:
		if isMissing(c.text) {
			return number{}, nil
		}
		x, why := parseNumber(strings.TrimSuffix(c.text, "%"), r.mark)
		if why != "" {
			return number{}, &rowTrouble{at, c.text, string(why)}
		}
		return number{x, true}, nil
	}
	return number{}, &rowTrouble{at, textOf(row[at]), string(notANumber)}
}

// mostConcentration is the largest value believed, Bq/m³: far above any home,
// so that what lies beyond it is a slip of unit or decimal mark.
const mostConcentration = 1e7

// value reads the value column at, its unit and its uncertainty.
func (r *fileRun) value(rd *normRow, row []cell, at int, u unit) *rowTrouble {
	c := row[at]
	bad := func(why string) *rowTrouble { return &rowTrouble{at, textOf(c), why} }
	var x float64
	below := false
	if r.cols.unit >= 0 {
		if s := textOf(row[r.cols.unit]); s != "" {
			v, ok := parseUnit(s)
			if !ok {
				return &rowTrouble{r.cols.unit, s, "is not a unit of radon; " + unitsIn}
			}
			if u != noUnit && u != v {
				return &rowTrouble{r.cols.unit, s, "is not the unit " + u.name + " that the column's name or --unit says"}
			}
			u = v
		}
	}
	switch c.kind {
	case cellNull:
		return bad("no value")
	case cellNumber:
		x = c.num
	case cellText:
		if y, ok := quickNumber(c.text); ok && r.mark == markPoint {
			x = y
			break
		}
		if isMissing(c.text) {
			return bad("no value")
		}
		if notDetected[strings.ToLower(c.text)] {
			return bad("states no limit; write the detection limit with a sign, such as <15")
		}
		if strings.HasPrefix(c.text, ">") || strings.HasPrefix(c.text, "≥") {
			return bad(aboveRange)
		}
		var num string
		var v unit
		num, v, below = splitValue(c.text)
		if v != noUnit {
			if u != noUnit && u != v {
				return bad("its unit is not the unit " + u.name + " that the column, its name or --unit says")
			}
			u = v
		}
		var why numberTrouble
		if x, why = parseNumber(num, r.mark); why != "" {
			return bad(string(why))
		}
	default:
		return bad(string(notANumber))
	}
	if r.cols.below >= 0 {
		b, ok := yesNo(row[r.cols.below])
		if !ok {
			return &rowTrouble{r.cols.below, textOf(row[r.cols.below]), "is neither yes nor no; write true or false, or < for below the limit"}
		}
		below = below || b
	}
	if u == noUnit {
		return bad("no unit; write it beside the value, in a unit column, or give --unit")
	}
	bq := x * u.factor
	switch {
	case math.IsNaN(bq):
		return bad("no value")
	case bq < 0:
		return bad("is negative")
	case bq > mostConcentration:
		return bad("is above 10 million Bq/m3, more than any home has; check the unit and the decimal mark")
	case below && bq == 0:
		return bad("is a detection limit of zero")
	}
	rd.concentration, rd.below = bq+0, below // +0 turns -0 into 0
	rd.uncertainty = number{}
	if at := r.cols.uncertainty; at >= 0 {
		if t := r.uncertainty(rd, row[at], at, u); t != nil {
			return t
		}
	}
	if r.unitSeen == noUnit {
		r.unitSeen, r.file.Unit = u, u.name
	} else if r.unitSeen != u {
		r.file.Unit = "by row"
	}
	return nil
}

// uncertainty reads a stated uncertainty as a standard one, in Bq/m³.
func (r *fileRun) uncertainty(rd *normRow, c cell, at int, u unit) *rowTrouble {
	bad := func(why string) *rowTrouble { return &rowTrouble{at, textOf(c), why} }
	var x float64
	share := r.uncShare
	if r.uncUnit != noUnit {
		u = r.uncUnit
	}
	switch c.kind {
	case cellNull:
		return nil
	case cellNumber:
		x = c.num
	case cellText:
		s := strings.TrimSpace(c.text)
		if isMissing(s) {
			return nil
		}
		for _, sign := range []string{"±", "+/-"} {
			s = strings.TrimSpace(strings.TrimPrefix(s, sign))
		}
		if t, ok := strings.CutSuffix(s, "%"); ok {
			s, share = strings.TrimSpace(t), true
		}
		num, v, _ := splitValue(s)
		if v != noUnit {
			if r.uncUnit != noUnit && v != r.uncUnit {
				return bad("its unit is not the unit " + r.uncUnit.name + " that the column's name says")
			}
			u = v
		}
		var why numberTrouble
		if x, why = parseNumber(num, r.mark); why != "" {
			return bad(string(why))
		}
	default:
		return bad(string(notANumber))
	}
	if math.IsNaN(x) {
		return nil
	}
	if share {
		x = x / 100 * rd.concentration
	} else {
		x *= u.factor
	}
	x *= r.uncScale
	if !(x >= 0 && x <= mostConcentration) {
		return bad("is not an uncertainty; it must be between 0 and 10 million Bq/m3")
	}
	rd.uncertainty = number{x + 0, true}
	return nil
}

// yesNo reads a mark for a value below the detection limit.
func yesNo(c cell) (yes, ok bool) {
	switch c.kind {
	case cellNull:
		return false, true
	case cellBool, cellNumber:
		return c.num == 1, c.num == 0 || c.num == 1
	case cellText:
		switch strings.ToLower(c.text) {
		case "true", "t", "yes", "y", "1", "<", "nd", "bdl", "u":
			return true, true
		case "false", "f", "no", "n", "0", "=", "-":
			return false, true
		}
	}
	return false, false
}

// describe fills in what was learned.
func (r *fileRun) describe() File {
	f := r.file
	f.Path = r.name
	r.rd.describe(&f)
	p := r.plan
	f.UnitFrom = p.unitFrom
	f.Zone, f.ZoneFrom, f.DayOffset = p.zoneSaid, p.zoneFrom, p.dayOffset
	f.DateOrder, f.DateFrom = shapeNames[p.shape], p.orderFrom
	if f.Format == formatText && p.mark != markOpen {
		f.Decimal = string(rune(p.mark))
	}
	if p.cols.uncertainty >= 0 {
		f.UncertaintyK = p.cols.names[p.cols.uncertainty].k
	}
	f.Step = time.Duration(r.step) * time.Microsecond
	f.ColumnsFound = p.found()
	for _, e := range p.extra {
		f.ColumnsExtra = append(f.ColumnsExtra, p.header[e.at])
	}
	for _, w := range p.wide {
		f.Wide = append(f.Wide, p.header[w.at])
	}
	return f
}

// found is the file's own name of each column that plays a role.
func (p *plan) found() map[string]string {
	c := p.cols
	m := make(map[string]string)
	for role, at := range map[string]int{
		roleHome: c.home, roleArea: c.area, roleRoom: c.room, roleDetector: c.detector, roleMethod: c.method,
		roleEnd: c.end.at, roleDays: c.days, roleUnit: c.unit, roleUncertainty: c.uncertainty, rolePhase: c.phase,
		roleKind: c.kind, roleWeight: c.weight, roleBelow: c.below, roleShare: c.share, roleZone: c.zoneAt,
	} {
		if at >= 0 {
			m[role] = p.header[at]
		}
	}
	if c.value >= 0 {
		m[roleValue] = p.header[c.value]
		if c.names[c.value].role == roleOwn {
			m[roleOwn] = m[roleValue]
			delete(m, roleValue)
		}
	}
	start := roleStart
	if p.log {
		start = roleTime
	}
	if c.start.at >= 0 {
		m[start] = p.header[c.start.at]
	}
	for role, w := range map[string]when{start: c.start, roleEnd: c.end} {
		if w.clock >= 0 {
			m[role] += " + " + p.header[w.clock]
		}
	}
	return m
}
