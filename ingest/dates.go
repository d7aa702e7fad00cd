package ingest

import (
	"math"
	"strings"
	"time"
)

// stamp is a time as a file writes it.
type stamp struct {
	sec   int64 // since 1970-01-01 00:00, by the clock that was read
	micro int32
	shape stampShape
	clock bool   // a clock time was given; a plain date otherwise
	zoned bool   // an offset was given
	off   int32  // the offset, seconds east of UTC
	zone  string // the zone a typed file declares
}

type stampShape uint8

const (
	shapeNone    stampShape = iota
	shapeYMD                // 2026-01-10
	shapeDMY                // 10.01.2026 or 10/01/2026, day first
	shapeMDY                // 01/10/2026, month first
	shapeMonth              // 10-Jan-2026
	shapeExcel              // 46032.5, days since 1899-12-30
	shapeSeconds            // 1768003200
	shapeMillis             // 1768003200000
	shapeTyped              // from a file that has a type for times
)

var shapeNames = [...]string{"", "ymd", "dmy", "mdy", "month name", "excel serial", "epoch seconds", "epoch milliseconds", "typed"}

// stampTrouble says why a text is no time; "" if it is one.
type stampTrouble string

const (
	notAStamp   stampTrouble = "is not a date or time that is understood; write it as 2026-01-10T14:30 or 2026-01-10"
	noSuchDay   stampTrouble = "is not a day of the calendar"
	noSuchClock stampTrouble = "is not a time of the clock"
	orderUnsure stampTrouble = "could be day/month or month/day; say which with --date-order dmy or --date-order mdy"
	yearUnsure  stampTrouble = "has a year of two digits; say the order with --date-order dmy, mdy or ymd"
	zoneWord    stampTrouble = "ends in the short name of a zone, which is not unique; write an offset such as +01:00, or give --zone"
	yearOutside stampTrouble = "is not between the years 1950 and 2100"
	serialTime  stampTrouble = "is a bare number, but neither a spreadsheet's day number nor seconds since 1970"
)

// Order of day and month, as Options.DateOrder names it; "" is not known.
type dateOrder string

// numbersOfDate are the three numbers of a date written in figures with the
// year last or of two digits, for settling the order over a file.
type numbersOfDate struct {
	a, b, c int
	short   bool // the year has two digits
}

// parseStamp reads a date, or a date and clock time. Dates that need an order
// to be understood fail with orderUnsure while order is "".
func parseStamp(s string, order dateOrder) (stamp, stampTrouble) {
	if st, ok := isoStamp(s); ok {
		return st, ""
	}
	p := stampParser{s: s, order: order}
	return p.parse()
}

// isStamp says whether a text is a date or time in some order.
func isStamp(s string) bool {
	_, t := parseStamp(s, "")
	return t == "" || t == orderUnsure || t == yearUnsure
}

// isoStamp reads the shape nearly all files have, 2026-01-10 14:30:00 with
// a T or a space, without or with Z or +01:00, and leaves everything else to the parser.
func isoStamp(s string) (st stamp, ok bool) {
	n := len(s)
	if n < 10 || s[4] != '-' || s[7] != '-' {
		return st, false
	}
	num := func(i int) int { // two digits, or something far out of range
		a, b := s[i]-'0', s[i+1]-'0'
		if a > 9 || b > 9 {
			return 1 << 20
		}
		return int(a)*10 + int(b)
	}
	year := num(0)*100 + num(2)
	month, day := num(5), num(8)
	if year > 9999 || month < 1 || month > 12 || day < 1 || day > 31 || day > 28 && day > daysIn(year, month) {
		return st, false
	}
	st = stamp{sec: dayNumber(year, month, day) * 86400, shape: shapeYMD}
	if n == 10 {
		return st, true
	}
	if n < 16 || s[10] != 'T' && s[10] != ' ' || s[13] != ':' {
		return stamp{}, false
	}
	h, m, sec := num(11), num(14), 0
	at := 16
	if n >= 19 && s[16] == ':' {
		sec, at = num(17), 19
	}
	if h > 23 || m > 59 || sec > 59 {
		return stamp{}, false
	}
	if at == n-1 && s[at] == 'Z' {
		st.zoned, at = true, n
	}
	if at == n-6 && s[n-3] == ':' && (s[at] == '+' || s[at] == '-') {
		if h, m := num(n-5), num(n-2); h <= 14 && m <= 59 { // as parseOffset has it
			st.zoned, st.off, at = true, int32(h*3600+m*60), n
			if s[n-6] == '-' {
				st.off = -st.off
			}
		}
	}
	if at != n {
		return stamp{}, false
	}
	st.sec += int64(h*3600 + m*60 + sec)
	st.clock = true
	return st, true
}

// dayNumber is the number of days from 1970-01-01 to a day of the Gregorian
// calendar: whole years, then months counted from March so that the leap day
// comes last.
func dayNumber(year, month, day int) int64 {
	y, m := year, month-3
	if m < 0 {
		y, m = y-1, m+12
	}
	leap := floorDiv(y, 4) - floorDiv(y, 100) + floorDiv(y, 400)
	return int64(y*365+leap+(153*m+2)/5+day-1) - 719468
}

func floorDiv(a, b int) int {
	if a < 0 {
		return -((-a + b - 1) / b)
	}
	return a / b
}

func daysIn(year, month int) int {
	switch month {
	case 2:
		if year%4 == 0 && (year%100 != 0 || year%400 == 0) {
			return 29
		}
		return 28
	case 4, 6, 9, 11:
		return 30
	}
	return 31
}

var monthsInFull = []string{"january", "february", "march", "april", "may", "june", "july", "august", "september", "october", "november", "december"}
var weekdays = []string{"monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday"}

// hardSpaces are those that spreadsheets put before AM and PM.
var hardSpaces = strings.NewReplacer("\u00a0", " ", "\u202f", " ")

// stampParser reads a time from left to right.
type stampParser struct {
	s       string
	order   dateOrder
	numbers numbersOfDate // set where the order matters
}

func (p *stampParser) parse() (stamp, stampTrouble) {
	p.s = strings.TrimSpace(hardSpaces.Replace(p.s))
	if st, t, ok := serialStamp(p.s); ok {
		return st, t
	}
	if w := p.word(); w != "" { // a weekday, or a month that comes first
		if isOneOf(weekdays, w, 3) {
			p.skip(" ,.")
		} else {
			p.s = w + p.s
		}
	}
	st, t := p.date()
	if t != "" {
		return st, t
	}
	if p.s == "" {
		return st, ""
	}
	switch {
	case (p.s[0] == 'T' || p.s[0] == 't' || p.s[0] == '_') && len(p.s) > 1 && isDigit(p.s[1]):
		p.s = p.s[1:]
	case p.s[0] == ' ' || p.s[0] == ',':
		p.skip(" ,")
	case p.s[0] == ':' || p.s[0] == '-': // 10/Jan/2026:14:30, 2026-01-10-14:30
		p.s = p.s[1:]
	default:
		return st, notAStamp
	}
	return p.clock(st)
}

// word takes letters from the front.
func (p *stampParser) word() string {
	n := 0
	for n < len(p.s) && isLetter(p.s[n]) {
		n++
	}
	w := p.s[:n]
	p.s = p.s[n:]
	return strings.ToLower(w)
}

func (p *stampParser) skip(set string) { p.s = strings.TrimLeft(p.s, set) }

// number takes up to limit digits from the front; n is how many.
func (p *stampParser) number(limit int) (x, n int) {
	for n < len(p.s) && n < limit && isDigit(p.s[n]) {
		x = x*10 + int(p.s[n]-'0')
		n++
	}
	p.s = p.s[n:]
	return x, n
}

// isOneOf says whether w is one of the names or its first short letters or more.
func isOneOf(names []string, w string, short int) bool {
	return nameIndex(names, w, short) >= 0
}

func nameIndex(names []string, w string, short int) int {
	if len(w) < short {
		return -1
	}
	for i, n := range names {
		if strings.HasPrefix(n, w) {
			return i
		}
	}
	return -1
}

func (p *stampParser) date() (stamp, stampTrouble) {
	if len(p.s) > 0 && isLetter(p.s[0]) { // Jan 10, 2026
		m := nameIndex(monthsInFull, p.word(), 3)
		p.skip(" .-/")
		d, dn := p.number(2)
		p.skip(" ,-/")
		y, yn := p.number(4)
		if m < 0 || dn == 0 || yn != 4 {
			return stamp{}, notAStamp
		}
		return civil(y, m+1, d, shapeMonth)
	}
	a, an := p.number(8)
	if an == 8 { // 20260110
		return civil(a/10000, a/100%100, a%100, shapeYMD)
	}
	if an == 0 || an == 3 || an > 4 || p.s == "" {
		return stamp{}, notAStamp
	}
	sep := p.s[0]
	if isLetter(sep) && an <= 2 || strings.IndexByte(" -./", sep) >= 0 && len(p.s) > 1 && isLetter(p.s[1]) { // 10-Jan-2026
		p.skip(" -./")
		m := nameIndex(monthsInFull, p.word(), 3)
		p.skip(" -./,")
		y, yn := p.number(4)
		if an == 4 { // 2026-Jan-10
			a, y, yn = y, a, 4
		}
		if m < 0 || yn != 4 && yn != 2 {
			return stamp{}, notAStamp
		}
		if yn == 2 {
			y = fullYear(y)
		}
		return civil(y, m+1, a, shapeMonth)
	}
	if strings.IndexByte("-./", sep) < 0 {
		return stamp{}, notAStamp
	}
	p.s = p.s[1:]
	b, bn := p.number(2)
	if bn == 0 || p.s == "" || p.s[0] != sep {
		return stamp{}, notAStamp
	}
	p.s = p.s[1:]
	c, cn := p.number(4)
	if len(p.s) > 0 && isDigit(p.s[0]) {
		return stamp{}, notAStamp
	}
	switch {
	case an == 4 && (cn == 1 || cn == 2):
		return civil(a, b, c, shapeYMD)
	case an <= 2 && (cn == 4 || cn == 2):
		p.numbers = numbersOfDate{a, b, c, cn == 2}
		if cn == 2 && p.order != "" {
			if p.order == "ymd" {
				return civil(fullYear(a), b, c, shapeYMD)
			}
			c = fullYear(c)
		}
		switch {
		case cn == 2 && p.order == "":
			return stamp{}, yearUnsure
		case p.order == "dmy" || p.order == "" && a == b:
			return civil(c, b, a, shapeDMY)
		case p.order == "mdy":
			return civil(c, a, b, shapeMDY)
		case p.order == "ymd":
			return stamp{}, notAStamp
		}
		return stamp{}, orderUnsure
	}
	return stamp{}, notAStamp
}

// fullYear completes a year of two digits as POSIX does: 69 to 99 are 19xx.
func fullYear(y int) int {
	if y >= 69 {
		return 1900 + y
	}
	return 2000 + y
}

func civil(y, m, d int, shape stampShape) (stamp, stampTrouble) {
	if m < 1 || m > 12 || d < 1 || d > daysIn(y, m) {
		return stamp{}, noSuchDay
	}
	return stamp{sec: dayNumber(y, m, d) * 86400, shape: shape}, ""
}

// clock reads 14:30, 14:30:05.25, 2:30 PM, 1430 and an offset behind it.
func (p *stampParser) clock(st stamp) (stamp, stampTrouble) {
	var h, m, sec, micro int
	h, hn := p.number(6)
	switch {
	case hn == 4:
		h, m = h/100, h%100
	case hn == 6:
		h, m, sec = h/10000, h/100%100, h%100
	case hn != 1 && hn != 2:
		return st, notAStamp
	case len(p.s) > 1 && (p.s[0] == ':' || p.s[0] == '.' || p.s[0] == 'h') && isDigit(p.s[1]):
		sep := p.s[0]
		p.s = p.s[1:]
		n := 0
		if m, n = p.number(2); n != 2 {
			return st, notAStamp
		}
		if len(p.s) > 1 && p.s[0] == sep && isDigit(p.s[1]) {
			p.s = p.s[1:]
			if sec, n = p.number(2); n != 2 {
				return st, notAStamp
			}
		}
	default:
		if half := strings.ToLower(strings.TrimLeft(p.s, " ")); !strings.HasPrefix(half, "am") && !strings.HasPrefix(half, "pm") {
			return st, notAStamp // 2026-01-10 14: an hour alone needs AM or PM
		}
	}
	if len(p.s) > 1 && (p.s[0] == '.' || p.s[0] == ',') && isDigit(p.s[1]) {
		p.s = p.s[1:]
		unit := 100000
		for len(p.s) > 0 && isDigit(p.s[0]) {
			micro += int(p.s[0]-'0') * unit
			unit /= 10
			p.s = p.s[1:]
		}
	}
	if h > 24 || m > 59 || sec > 59 || h == 24 && (m > 0 || sec > 0 || micro > 0) {
		return st, noSuchClock
	}
	p.skip(" ")
	low := strings.ToLower(p.s)
	for _, half := range []string{"am", "pm", "a.m.", "p.m."} {
		if strings.HasPrefix(low, half) {
			if h < 1 || h > 12 {
				return st, noSuchClock
			}
			h %= 12
			if half[0] == 'p' {
				h += 12
			}
			p.s = p.s[len(half):]
			p.skip(" ")
			break
		}
	}
	st.sec += int64(h*3600 + m*60 + sec)
	st.micro = int32(micro)
	st.clock = true
	return p.offset(st)
}

func (p *stampParser) offset(st stamp) (stamp, stampTrouble) {
	if p.s == "" {
		return st, ""
	}
	if w := p.s; isLetter(w[0]) {
		name := strings.ToUpper(p.word())
		if name != "Z" && name != "UTC" && name != "GMT" {
			if p.s == "" && len(name) <= 5 {
				return st, zoneWord
			}
			return st, notAStamp
		}
		st.zoned = true
		p.skip(" ")
		if p.s == "" {
			return st, ""
		}
		if name == "Z" {
			return st, notAStamp
		}
	}
	off, rest, ok := parseOffset(p.s)
	if !ok || strings.TrimSpace(rest) != "" {
		return st, notAStamp
	}
	st.zoned, st.off = true, int32(off)
	return st, ""
}

// parseClock reads a clock time that stands in a column of its own.
func parseClock(s string) (stamp, stampTrouble) {
	p := stampParser{s: strings.TrimSpace(hardSpaces.Replace(s))}
	if x, ok := quickNumber(p.s); ok && strings.IndexByte(p.s, '.') >= 0 && x < 1 {
		return serialClock(x), "" // a spreadsheet's share of a day
	}
	return p.clock(stamp{})
}

func serialClock(x float64) stamp {
	return stamp{sec: int64(math.Round(x * 86400)), clock: true}
}

// serialStamp reads a bare number as a time; ok is false if s is not one.
func serialStamp(s string) (stamp, stampTrouble, bool) {
	if len(s) == 0 || len(s) > 24 {
		return stamp{}, "", false
	}
	points := 0
	for i := 0; i < len(s); i++ {
		switch {
		case isDigit(s[i]):
		case (s[i] == '.' || s[i] == ',') && i > 0:
			points++
		default:
			return stamp{}, "", false
		}
	}
	if points > 1 || len(s) == 8 && points == 0 { // 10.01.2026 has two; 20260110 is a date
		return stamp{}, "", false
	}
	x, trouble := parseNumber(strings.Replace(s, ",", ".", 1), markPoint)
	if trouble != "" {
		return stamp{}, "", false
	}
	st, t := numberStamp(x, 0)
	return st, t, true
}

// Days from a spreadsheet's day zero to 1970-01-01, in the usual calendar and
// in the one that begins in 1904.
const (
	excelEpoch     = 25569
	excelEpoch1904 = 24107
)

// numberStamp reads a number as a spreadsheet's day number or as seconds or
// milliseconds since 1970; shift is added to a day number.
func numberStamp(x float64, shift float64) (stamp, stampTrouble) {
	switch {
	case x >= 20000 && x < 80000:
		// Day numbers carry some 6 digits of a day; clocks show seconds.
		sec := int64(math.Round((x + shift - excelEpoch) * 86400))
		return stamp{sec: sec, shape: shapeExcel, clock: x != math.Trunc(x)}, ""
	case x >= 1e8 && x < 1e10:
		whole := math.Floor(x)
		return stamp{sec: int64(whole), micro: int32((x - whole) * 1e6), shape: shapeSeconds, clock: true, zoned: true}, ""
	case x >= 1e11 && x < 1e13:
		ms := int64(x)
		return stamp{sec: ms / 1000, micro: int32(ms % 1000 * 1000), shape: shapeMillis, clock: true, zoned: true}, ""
	}
	return stamp{}, serialTime
}

// Wall clocks to instants.

// clockZone turns wall times of one zone into instants. The stretch between
// two changes of the zone's clocks is kept, as nearly all times fall there.
type clockZone struct {
	loc    *time.Location
	name   string
	lo, hi int64 // wall seconds for which off holds, a day clear of any change
	off    int64
}

func newClockZone(loc *time.Location, name string) *clockZone {
	return &clockZone{loc: loc, name: name, lo: 1}
}

// noZone cuts days in UTC, for files that hold dates only.
func noZone() *clockZone { return newClockZone(time.UTC, "") }

type foldKind uint8

const (
	plainTime  foldKind = iota
	gapTime             // the zone's clocks skipped it
	repeatTime          // the zone's clocks showed it twice
)

// instant is the UTC second of a wall time. A skipped time is moved on by the
// length of the gap, as the clocks were; for a repeated one early and late are
// its two instants, otherwise they are equal.
func (z *clockZone) instant(wall int64) (early, late int64, kind foldKind) {
	if wall >= z.lo && wall < z.hi {
		return wall - z.off, wall - z.off, plainTime
	}
	const day = 86400
	before, after := z.offset(wall-day), z.offset(wall+day)
	if before == after {
		u := wall - before
		if z.offset(u) == before {
			from, to := time.Unix(u, 0).In(z.loc).ZoneBounds()
			z.off, z.lo, z.hi = before, math.MinInt64, math.MaxInt64
			if !from.IsZero() {
				z.lo = from.Unix() + before + day
			}
			if !to.IsZero() {
				z.hi = to.Unix() + before - day
			}
			return u, u, plainTime
		}
	}
	a, b := wall-before, wall-after
	okA, okB := z.offset(a) == before, z.offset(b) == after
	switch {
	case okA && okB && a != b:
		return min(a, b), max(a, b), repeatTime
	case okA:
		return a, a, plainTime
	case okB:
		return b, b, plainTime
	}
	return a, a, gapTime // by the clock as it ran before the change
}

// offset is the zone's offset at an instant.
func (z *clockZone) offset(unix int64) int64 {
	_, off := time.Unix(unix, 0).In(z.loc).Zone()
	return int64(off)
}
