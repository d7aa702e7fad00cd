package ingest

import (
	"fmt"
	"strings"
	"time"
	_ "time/tzdata" // zones work where the system has no zone files
)

// LoadZone reads the name of a zone: an IANA name, "UTC", "Z", or a fixed
// offset such as +01:00, +0100 or -5. The location's name is the name given,
// so that it can be written and read again; "" is UTC. The error is an
// *OptionError.
func LoadZone(name string) (*time.Location, error) {
	switch name {
	case "", "UTC", "Z", "utc", "GMT":
		return time.UTC, nil
	case "Local", "local":
		return nil, &OptionError{Why: fmt.Sprintf("zone %q depends on the machine", name), Hint: zoneHint}
	}
	if off, rest, ok := parseOffset(name); ok && rest == "" {
		return fixedZone(off), nil
	}
	loc, err := time.LoadLocation(name)
	if err != nil {
		hint := zoneHint
		if near := nearZone(name); near != "" {
			hint = "did you mean " + near + "? " + hint
		}
		return nil, &OptionError{Why: fmt.Sprintf("zone %q is not known", name), Hint: hint}
	}
	return loc, nil
}

const zoneHint = "give an IANA name such as Europe/Oslo, or an offset such as +01:00"

// nearZone is the zone that a name means if it was written in another case, with
// spaces, or without its continent; "" if there is none.
func nearZone(name string) string {
	letters := []byte(strings.ToLower(strings.Join(strings.Fields(name), "_")))
	for i, c := range letters {
		if c >= 'a' && c <= 'z' && (i == 0 || letters[i-1] == '/' || letters[i-1] == '_' || letters[i-1] == '-') {
			letters[i] = c - 'a' + 'A'
		}
	}
	for _, continent := range []string{"", "Europe/", "America/", "Asia/", "Africa/", "Australia/", "Pacific/", "Atlantic/", "Indian/"} {
		if loc, err := time.LoadLocation(continent + string(letters)); err == nil && name != "" {
			return loc.String()
		}
	}
	return ""
}

// fixedZone is the zone a fixed number of seconds east of UTC, named ±hh:mm.
func fixedZone(seconds int) *time.Location {
	if seconds == 0 {
		return time.UTC
	}
	sign, s := '+', seconds
	if s < 0 {
		sign, s = '-', -s
	}
	return time.FixedZone(fmt.Sprintf("%c%02d:%02d", sign, s/3600, s/60%60), seconds)
}

// parseOffset reads ±hh, ±hhmm or ±hh:mm at the front of s, in seconds east of
// UTC, and returns what follows it.
func parseOffset(s string) (seconds int, rest string, ok bool) {
	sign := 1
	switch {
	case len(s) > 0 && s[0] == '+':
		s = s[1:]
	case len(s) > 0 && s[0] == '-':
		sign, s = -1, s[1:]
	default:
		for _, minus := range []string{"−", "–"} { // a minus sign or dash typed for a hyphen
			if len(s) > len(minus) && s[:len(minus)] == minus {
				return parseOffset("-" + s[len(minus):])
			}
		}
		return 0, s, false
	}
	digits := 0
	for digits < len(s) && digits < 4 && isDigit(s[digits]) {
		digits++
	}
	var h, m int
	switch {
	case digits == 4:
		h, m, s = int(s[0]-'0')*10+int(s[1]-'0'), int(s[2]-'0')*10+int(s[3]-'0'), s[4:]
	case digits == 1 || digits == 2:
		for _, c := range []byte(s[:digits]) {
			h = h*10 + int(c-'0')
		}
		s = s[digits:]
		if len(s) >= 3 && s[0] == ':' && isDigit(s[1]) && isDigit(s[2]) {
			m, s = int(s[1]-'0')*10+int(s[2]-'0'), s[3:]
		}
	default:
		return 0, s, false
	}
	if h > 14 || m > 59 || (len(s) > 0 && isDigit(s[0])) { // +14:00 is the largest in use
		return 0, s, false
	}
	return sign * (h*3600 + m*60), s, true
}

func isDigit(c byte) bool { return c >= '0' && c <= '9' }
