package report

import (
	"math"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"

	"radonyear/analysis"
)

// three writes x with at most three significant digits, without trailing zeros
// after the point being cut, so that columns keep their place: 0.87, 12.3, 143,
// 1430. What no concentration comes near has an exponent: 1.21e+105.
func three(x float64) string {
	if x == 0 {
		return "0"
	}
	if a := math.Abs(x); a >= 1e9 || a < 1e-6 {
		return strconv.FormatFloat(x, 'e', 2, 64)
	}
	decimals := 2 - int(math.Floor(math.Log10(math.Abs(x))))
	s := fixed(x, decimals)
	// Rounding may have carried into one more digit: 99.96 is 100, not 100.0.
	if r, _ := strconv.ParseFloat(s, 64); r != 0 && 2-int(math.Floor(math.Log10(math.Abs(r)))) < decimals {
		s = fixed(x, decimals-1)
	}
	return s
}

// fixed rounds to a number of decimals, which may be negative: -1 rounds to
// tens.
func fixed(x float64, decimals int) string {
	if decimals >= 0 {
		return strconv.FormatFloat(x, 'f', decimals, 64)
	}
	p := math.Pow(10, float64(-decimals))
	return strconv.FormatFloat(math.Round(x/p)*p, 'f', 0, 64)
}

// sided writes x with three significant digits, but on its own side of every
// level: 199.7 against 200 is written 199, because "200" beside the verdict
// "below 200" would contradict it. A value that is not printed where it stands
// is off by less than one unit of its last digit.
func sided(x float64, levels []float64) string {
	s := three(x)
	for _, l := range levels {
		r, _ := strconv.ParseFloat(s, 64)
		switch {
		case x < l && r >= l:
			s = step(s, -1)
		case x > l && r <= l:
			s = step(s, +1)
		}
	}
	return s
}

// plain writes x as it was given: 200, 148, 99.5.
func plain(x float64) string { return strconv.FormatFloat(x, 'f', -1, 64) }

// step moves a written number by one unit of its third significant digit.
func step(s string, by float64) string {
	r, _ := strconv.ParseFloat(s, 64)
	if r == 0 {
		return s
	}
	decimals := 2 - int(math.Floor(math.Log10(math.Abs(r))))
	if by < 0 && r == math.Pow(10, float64(2-decimals)) {
		decimals++ // below a power of ten the third digit is worth a tenth
	}
	return fixed(r+by*math.Pow(10, float64(-decimals)), decimals)
}

// percent writes a probability in percent: one decimal below 10 and above 90,
// none between; never 0 or 100, which no probability of ours is; never across
// the confidence or its complement.
func percent(p, confidence float64) string {
	x := 100 * p
	switch {
	case x < 0.1:
		return "<0.1"
	case x > 99.9:
		return ">99.9"
	}
	decimals := 0
	if x < 10 || x > 90 {
		decimals = 1
	}
	s := fixed(x, decimals)
	if !(confidence > 0 && confidence < 1) {
		return s
	}
	unit := math.Pow(10, float64(-decimals))
	for _, bound := range []float64{confidence, 1 - confidence} {
		r, _ := strconv.ParseFloat(s, 64)
		const slack = 1e-9 // 1-0.95 is not 0.05 in binary
		switch {
		case p < bound-slack && r >= 100*bound-slack:
			s = fixed(r-unit, decimals)
		case p > bound+slack && r <= 100*bound+slack:
			s = fixed(r+unit, decimals)
		}
	}
	return s
}

// share writes a share in percent; a share that is neither nothing nor all is
// not written as either.
func share(p float64, decimals int) string {
	p = math.Round(p*1e9) / 1e9 // ten times a tenth is all
	s := fixed(100*p, decimals)
	unit := math.Pow(10, float64(-decimals))
	switch {
	case p > 0 && s == fixed(0, decimals):
		return "<" + fixed(unit, decimals)
	case p < 1 && s == fixed(100, decimals):
		return ">" + fixed(100-unit, decimals)
	}
	return s
}

// hundredths writes a share in percent with three digits, and none of what is less than
// a hundredth of a percent from nothing or all.
func hundredths(p float64) string {
	switch x := 100 * p; {
	case x > 0 && x < 0.01:
		return "<0.01"
	case x < 100 && x > 99.99:
		return ">99.99"
	default:
		return three(x)
	}
}

func days(d float64) string {
	switch {
	case d >= 9.95:
		return fixed(d, 0)
	case d > 0 && d < 0.05: // an hour, say, which is not none
		return "<0.1"
	}
	return strings.TrimSuffix(fixed(d, 1), ".0")
}

// tenfold is the reduction, in percent, that is a rise to ten times. What lies beyond it
// is told as no more than that: of -337000 % nobody can say how much it is.
const tenfold = -900

// Tenfold says whether a number of an estimate is a percentage beyond a rise to ten times.
// Tables write "<-900" for it, with TenfoldMeans under them.
func Tenfold(e analysis.Estimate, x float64) bool {
	return e.Unit == "%" && x < tenfold && !math.IsInf(x, 0)
}

// tellsTenfold says whether an estimate has that in a table, with its interval or alone.
// An interval that lies beyond it is "under -900", beside a value that is.
func tellsTenfold(e analysis.Estimate, alone bool) bool {
	return Tenfold(e, e.Value) || !alone && IntervalTenfold(e)
}

// IntervalTenfold says whether the limits of an estimate are written with "<-900".
func IntervalTenfold(e analysis.Estimate) bool {
	return Tenfold(e, e.Lower) && !Tenfold(e, e.Upper)
}

const TenfoldMeans = "<-900: a rise to more than ten times, and no reduction."

// among writes a number of an estimate for people.
func among(e analysis.Estimate, x float64, levels []float64) string {
	switch {
	case Tenfold(e, x):
		return "<" + three(tenfold)
	case e.Unit == "%" && x < 100 && three(x) == "100": // not all of it
		return ">99.9"
	}
	return sided(x, levels)
}

// interval writes the limits of an estimate with a word or sign between them; a
// missing limit in words.
func interval(e analysis.Estimate, between string, levels []float64) string {
	if between == "-" && (e.Lower < 0 || strings.HasPrefix(among(e, e.Upper, levels), ">")) {
		between = " to " // or the dash would be read as a sign
	}
	lo, hi := math.IsInf(e.Lower, 0), math.IsInf(e.Upper, 0)
	switch {
	case hi && (lo || e.Lower == 0 && e.Unit == "Bq/m³"): // no concentration lies below 0
		return "no bound"
	case hi:
		return "over " + among(e, e.Lower, levels)
	case Tenfold(e, e.Upper):
		return "under " + three(tenfold)
	case lo:
		return "under " + sided(e.Upper, levels)
	}
	return among(e, e.Lower, levels) + between + among(e, e.Upper, levels)
}

// Plain makes text from a file safe to show: control characters, which could
// break a table or speak to a terminal, are written as escapes.
func Plain(s string) string {
	if !strings.ContainsFunc(s, unicode.IsControl) {
		return s
	}
	var b strings.Builder
	for _, r := range s {
		if unicode.IsControl(r) {
			q := strconv.QuoteRune(r)
			b.WriteString(q[1 : len(q)-1])
		} else {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// Wrap breaks text at its spaces into lines of at most width characters; indent
// stands before every line after the first and is not counted. A longer word
// keeps its line, and a number its percent sign.
func Wrap(text string, width int, indent string) string {
	var lines []string
	line, used := "", 0
	words := strings.Fields(text)
	for i := 0; i < len(words); i++ {
		w := words[i]
		if i+1 < len(words) && strings.HasPrefix(words[i+1], "%") {
			i++
			w += " " + words[i]
		}
		n := utf8.RuneCountInString(w)
		if line != "" && used+1+n > width {
			lines = append(lines, line)
			line, used = "", 0
		}
		if line != "" {
			line, used = line+" ", used+1
		}
		line, used = line+w, used+n
	}
	return strings.Join(append(lines, line), "\n"+indent)
}

// Number writes a number for people as the tables do, on its own side of the
// levels.
func Number(x float64, levels ...float64) string { return sided(x, levels) }

// Value writes an estimate's value for people as the tables do, and Bound one of its limits.
func Value(e analysis.Estimate) string            { return among(e, e.Value, nil) }
func Bound(e analysis.Estimate, x float64) string { return among(e, x, nil) }

// Interval writes an estimate's limits for a sentence.
func Interval(e analysis.Estimate, levels ...float64) string { return interval(e, " to ", levels) }

// Whole is a percentage without decimals; never "-0".
func Whole(x float64) string {
	if x = math.Round(x); x == 0 {
		return "0"
	}
	return strconv.FormatFloat(x, 'f', -1, 64)
}

// DayCount writes a number of days for people as the tables do.
func DayCount(d float64) string { return days(d) }

// Percent writes a probability for people, in percent, as the tables do.
func Percent(p, confidence float64) string { return percent(p, confidence) }

// Exact writes a number as it was given.
func Exact(x float64) string { return plain(x) }
