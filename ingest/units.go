package ingest

import (
	"math"
	"regexp"
	"strconv"
	"strings"

	"radonyear/analysis"
)

// unit is a unit of radon concentration; its factor turns it into Bq/m³.
type unit struct {
	name   string
	factor float64
}

var (
	noUnit  = unit{}
	bqm3    = unit{"Bq/m3", 1}
	kbqm3   = unit{"kBq/m3", 1000}
	pcil    = unit{"pCi/L", analysis.BqPerPCi} // exact by definition
	unitsIn = `Bq/m3, kBq/m3 and pCi/L are understood`
)

// flattenUnit brings the ways a unit is typed (³, m^-3, ·) to plain letters.
var flattenUnit = strings.NewReplacer("³", "3", "⁻", "-", "¹", "1", "−", "-", "·", " ", "⋅", " ", "×", " ", "\u00a0", " ", "\u202f", " ")

var (
	bqPattern  = `(k?)(?:bq|becquerels?)[ _.*]*(?:/|per|p)?[ _.*]*(?:m|cubic met(?:re|er)s?)[ _]*(?:\^?-?3|\*\*-?3)?`
	pciPattern = `(?:pci|picocuries?)[ _.*]*(?:/|per|p)?[ _.*]*(?:liters?|litres?|l)(?:[ _]*\^?-?1)?`
	// A unit inside a name must not be the tail or the head of another word,
	// so that mBq/m3 or µBq/m3 is never taken for Bq/m3.
	unitInName = regexp.MustCompile(`(?:^|[\s_(\[{,;:/.=-])(?:` + bqPattern + `|` + pciPattern + `)(?:$|[\s_)\]},;:/.=-])`)
	unitAlone  = regexp.MustCompile(`^(?:` + bqPattern + `|` + pciPattern + `)$`)
	cubed      = regexp.MustCompile(`3|cubic`)
	// otherUnit is text in brackets that is a unit of radiation, but none of ours.
	otherUnit = regexp.MustCompile(`(?:bq|bq ?h|ci|sv|gy|wl|wlm|mev|cpm|cph|cps|counts)(?:$|[^a-z])`)
)

// parseUnit reads a unit that stands alone, such as the cell of a unit column.
func parseUnit(s string) (unit, bool) {
	s = strings.TrimSpace(s)
	s = strings.TrimSuffix(strings.TrimPrefix(s, "("), ")")
	s = strings.TrimSuffix(strings.TrimPrefix(s, "["), "]")
	l := strings.ToLower(strings.TrimSpace(flattenUnit.Replace(s)))
	m := unitAlone.FindString(l)
	switch {
	case m == "":
		return noUnit, false
	case strings.HasPrefix(m, "pci") || strings.HasPrefix(m, "pico"):
		return pcil, true
	case !cubed.MatchString(m):
		return noUnit, false
	case strings.HasPrefix(m, "k"):
		return kbqm3, true
	}
	return bqm3, true
}

// unitFromName finds a unit in a column's name and returns the name without
// it. other is text in brackets that names a unit which is not understood.
func unitFromName(name string) (u unit, rest, other string) {
	flat := flattenUnit.Replace(name)
	low := strings.ToLower(flat)
	if len(low) != len(flat) {
		return noUnit, name, "" // letters whose case changes their length: no unit is written so
	}
	if at := unitInName.FindStringIndex(low); at != nil {
		from, to := at[0], at[1]
		if !isLetter(low[from]) { // the neighbours that only bounded the match
			from++
		}
		if c := low[to-1]; to-from > 1 && !isLetter(c) && !isDigit(c) {
			to--
		}
		if v, ok := parseUnit(low[from:to]); ok {
			rest = flat[:from] + " " + flat[to:]
			rest = strings.NewReplacer("( )", " ", "[ ]", " ", "{ }", " ").Replace(rest)
			rest = strings.Trim(strings.Join(strings.Fields(rest), " "), " _,;:-/")
			return v, rest, ""
		}
	}
	for _, in := range brackets.FindAllStringSubmatch(low, -1) {
		if otherUnit.MatchString(in[1]) {
			return noUnit, name, in[1]
		}
	}
	return noUnit, name, ""
}

var brackets = regexp.MustCompile(`[(\[{]([^)\]}]*)[)\]}]`)

func isLetter(c byte) bool { return c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' }

// mark is the decimal mark a file was found to use.
type mark byte

const (
	markOpen  mark = 0 // nothing in the file told; a number that could be read two ways is refused
	markPoint mark = '.'
	markComma mark = ','
)

// groupSigns are thousands separators that can be nothing else.
var groupSigns = strings.NewReplacer("'", " ", "’", " ", "\u00a0", " ", "\u202f", " ", "\u2009", " ")

// numberShape is what a number's text says about the decimal mark.
type numberShape int

const (
	notNumber numberShape = iota
	plainNumber
	pointDecimal // only a decimal point makes sense of it
	commaDecimal // only a decimal comma makes sense of it
	eitherPoint  // 1.234: a decimal point, or thousands
	eitherComma  // 1,234
)

// shapeOf looks at a number's separators. digits is the text with its certain
// thousands separators (spaces, apostrophes) taken out.
func shapeOf(s string) (shape numberShape, digits string) {
	digits = groupSigns.Replace(strings.TrimSpace(s))
	digits = strings.Replace(digits, "−", "-", 1)
	if strings.IndexByte(digits, ' ') >= 0 {
		if !spaced.MatchString(digits) {
			return notNumber, s
		}
		digits = strings.ReplaceAll(digits, " ", "")
	}
	if !numeric.MatchString(digits) {
		return notNumber, s
	}
	body := strings.TrimLeft(digits, "+-")
	if i := strings.IndexAny(body, "eE"); i >= 0 {
		switch body = body[:i]; { // such a number has no thousands
		case strings.IndexByte(body, ',') >= 0:
			return commaDecimal, digits
		case strings.IndexByte(body, '.') >= 0:
			return pointDecimal, digits
		}
		return plainNumber, digits
	}
	points, commas := strings.Count(body, "."), strings.Count(body, ",")
	switch {
	case points+commas == 0:
		return plainNumber, digits
	case points > 0 && commas > 0:
		if strings.LastIndexByte(body, '.') > strings.LastIndexByte(body, ',') {
			if points == 1 && grouped(body[:strings.IndexByte(body, '.')], ',') {
				return pointDecimal, digits
			}
		} else if commas == 1 && grouped(body[:strings.IndexByte(body, ',')], '.') {
			return commaDecimal, digits
		}
		return notNumber, s
	case points == 1:
		if grouped(body, '.') {
			return eitherPoint, digits
		}
		return pointDecimal, digits
	case commas == 1:
		if grouped(body, ',') {
			return eitherComma, digits
		}
		return commaDecimal, digits
	case points > 1 && grouped(body, '.'):
		return commaDecimal, digits // the points are thousands, so the mark is the comma
	case commas > 1 && grouped(body, ','):
		return pointDecimal, digits
	}
	return notNumber, s
}

var (
	spaced  = regexp.MustCompile(`^[+-]?\d{1,3}(?: \d{3})+(?:[.,]\d*)?$`)
	numeric = regexp.MustCompile(`^[+-]?(?:\d[\d.,]*|[.,]\d+)(?:[eE][+-]?\d{1,3})?$`)
)

// grouped says whether s is digits in groups of three: 1,234 or 12,345,678,
// but neither 0,123 (no group begins with zero) nor 1234,567.
func grouped(s string, sep byte) bool {
	parts := strings.Split(s, string(sep))
	if len(parts) < 2 || len(parts[0]) < 1 || len(parts[0]) > 3 || parts[0][0] == '0' {
		return false
	}
	for _, p := range parts[1:] {
		if len(p) != 3 {
			return false
		}
	}
	return true
}

// numberTrouble says why a text is not a number; "" if it is.
type numberTrouble string

const (
	notANumber   numberTrouble = "is not a number"
	numberUnsure numberTrouble = "could be read with a decimal point or with thousands separators; say which with --decimal . or --decimal ,"
	commaInPoint numberTrouble = "has a decimal comma, but the file's decimal mark is the point; see --decimal"
	pointInComma numberTrouble = "has a decimal point, but the file's decimal mark is the comma; see --decimal"
)

// parseNumber reads a number by the file's decimal mark.
func parseNumber(s string, m mark) (float64, numberTrouble) {
	if x, ok := quickNumber(s); ok && (m == markPoint || strings.IndexByte(s, '.') < 0) {
		return x, ""
	}
	shape, digits := shapeOf(s)
	switch shape {
	case notNumber:
		return 0, notANumber
	case eitherPoint, eitherComma:
		if m == markOpen {
			return 0, numberUnsure
		}
	case pointDecimal:
		if m == markComma {
			return 0, pointInComma
		}
		m = markPoint
	case commaDecimal:
		if m == markPoint {
			return 0, commaInPoint
		}
		m = markComma
	}
	if m == markComma {
		digits = strings.ReplaceAll(digits, ".", "")
		digits = strings.Replace(digits, ",", ".", 1)
	} else {
		digits = strings.ReplaceAll(digits, ",", "")
	}
	x, err := strconv.ParseFloat(digits, 64)
	if err != nil && !math.IsInf(x, 0) {
		return 0, notANumber
	}
	return x, ""
}

var powersOfTen = [...]float64{1, 1e1, 1e2, 1e3, 1e4, 1e5, 1e6, 1e7, 1e8, 1e9, 1e10, 1e11, 1e12, 1e13, 1e14, 1e15}

// quickNumber reads the usual number, digits with at most one point. It is
// exact: an integer below 2^53 over a power of ten that a float64 holds.
func quickNumber(s string) (float64, bool) {
	if len(s) == 0 || len(s) > 16 {
		return 0, false
	}
	var n uint64
	digits, after := 0, -1
	for i := 0; i < len(s); i++ {
		switch c := s[i]; {
		case isDigit(c):
			n = n*10 + uint64(c-'0')
			digits++
			if after >= 0 {
				after++
			}
		case c == '.' && after < 0 && i > 0:
			after = 0
		default:
			return 0, false
		}
	}
	if digits == 0 || n >= 1<<53 {
		return 0, false
	}
	if after <= 0 {
		return float64(n), true
	}
	return float64(n) / powersOfTen[after], true
}
