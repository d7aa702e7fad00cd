package ingest

import (
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"unicode"
)

// Roles a column can play. Most are names of the normalised table; a time may
// also come as a date in one column and a clock time in another.
const (
	roleHome        = "home"
	roleArea        = "area"
	roleRoom        = "room"
	roleDetector    = "detector"
	roleMethod      = "method"
	roleStart       = "start"       // date and time, or either
	roleStartDate   = "start date"  // a date
	roleStartClock  = "start clock" // a clock time, or date and time where no date stands beside it
	roleEnd         = "end"
	roleEndDate     = "end date"
	roleEndClock    = "end clock"
	roleStamp       = "timestamp"
	roleDate        = "date"
	roleTime        = "time" // as start clock
	roleValue       = "value"
	roleUnit        = "unit"
	roleUncertainty = "uncertainty"
	rolePhase       = "phase"
	roleKind        = "kind"
	roleWeight      = "weight"
	roleBelow       = "below_limit"
	roleShare       = "share"
	roleZone        = "zone"
	roleDays        = "days"
	roleOwn         = "concentration" // our own: Bq/m³ by definition
)

// ownNames are the names that a file, or Options.Columns, may use as they stand.
var ownNames = []string{roleHome, roleArea, roleRoom, roleDetector, roleMethod, roleStart, roleEnd, roleDate, roleTime,
	roleValue, roleUnit, roleUncertainty, rolePhase, roleKind, roleWeight, roleBelow, roleShare, roleZone, roleDays, roleOwn}

// roleText, in Options.Columns, lets a column ride along as text.
const roleText = "text"

// tradeWords are the trade's and common names of each role (common practice),
// without case, spaces and punctuation. Those after the bar are weak: they
// count only where no better name plays the role.
var tradeWords = map[string]string{
	roleHome:        "home homeid homeno homenumber homecode house houseid houseno housenumber housecode dwelling dwellingid building buildingid property propertyid site siteid household householdid residence residenceid haus bolig | location locationid address",
	roleArea:        "area areaid areacode region district county municipality parish community neighbourhood neighborhood kommune | zip zipcode postcode postalcode city town village province state",
	roleRoom:        "room roomid roomname roomtype placement raum rom rum | floor position",
	roleDetector:    "detector detectorid detectorno detectornumber serial serialnumber serialno canister canisterid dosimeter dosimeterid monitor monitorid | device deviceid deviceno instrument instrumentid sensor sensorid kit kitid kitno kitnumber",
	roleMethod:      "method measurementmethod testmethod detectortype devicetype instrumenttype monitortype measurementtype testtype technique",
	roleStart:       "start startdatetime starttimestamp startedat from begin beginning started exposurestart teststart measurementstart startofexposure startoftest startofmeasurement deployed placed beginn",
	roleStartDate:   "startdate startingdate begindate beginningdate datestart datestarted dateplaced datedeployed deploymentdate placementdate exposurestartdate teststartdate measurementstartdate",
	roleStartClock:  "starttime startingtime begintime timestart timestarted exposurestarttime teststarttime measurementstarttime",
	roleEnd:         "end enddatetime endtimestamp endedat to until stop stopped ended finish finished exposureend testend measurementend endofexposure endoftest endofmeasurement retrieved collected ende",
	roleEndDate:     "enddate endingdate stopdate finishdate dateend dateended datestopped dateretrieved datecollected retrievaldate collectiondate exposureenddate testenddate measurementenddate",
	roleEndClock:    "endtime endingtime stoptime finishtime timeend timestopped exposureendtime testendtime measurementendtime",
	roleStamp:       "timestamp datetime dateandtime timedate datetimestamp measuredat recordedat measurementtimestamp localdatetime",
	roleDate:        "date dateofmeasurement measurementdate testdate sampledate readingdate datum dato | localdate day",
	roleTime:        "time timeofday clock clocktime measurementtime readingtime uhrzeit zeit tid tidspunkt | localtime",
	roleValue:       "value result radon rn rn222 radon222 222rn radonconcentration radonconc radonactivity radonactivityconcentration activityconcentration radonlevel radonvalue radonresult radonreading radonaverage averageradon radonavg avgradon radonmean meanradon radongas indoorradon concentration conc testresult measuredvalue measuredconcentration finalresult radonkonzentration radonkonsentrasjon radonhalt messwert wert verdi | reading measurement level average avg mean meanconcentration averageconcentration",
	roleUnit:        "unit units uom valueunit resultunit resultunits radonunit radonunits concentrationunit measurementunit unitofmeasure einheit enhet",
	roleUncertainty: "uncertainty unc standarduncertainty stduncertainty stdunc sigma valueuncertainty radonuncertainty resultuncertainty concentrationuncertainty measurementuncertainty expandeduncertainty unsicherheit usikkerhet ± +-",
	rolePhase:       "phase beforeafter beforeorafter prepost preorpost mitigationphase",
	roleKind:        "kind sampletype samplekind qctype qckind qatype measurementkind",
	roleWeight:      "weight sampleweight samplingweight surveyweight homeweight",
	roleBelow:       "belowlimit belowdetection belowdetectionlimit belowlod belowmdl bdl nondetect censored qualifier",
	roleShare:       "share sharemeasured measuredshare",
	roleZone:        "zone timezone tz tzname utcoffset",
	roleDays:        "days exposuredays durationdays daysexposed daysmeasured testdays measurementdays numberofdays exposuretimedays exposuredurationdays testdurationdays lengthdays durationind exposureind exposurehours durationhours hoursexposed hoursmeasured testhours exposuretimehours exposuredurationhours testdurationhours durationinh",
}

type alias struct {
	role string
	weak bool
}

var aliases = func() map[string]alias {
	m := make(map[string]alias)
	for role, list := range tradeWords {
		weak := false
		for _, w := range strings.Fields(list) {
			if w == "|" {
				weak = true
				continue
			}
			if other, ok := m[w]; ok {
				panic("column word " + w + " is listed for " + other.role + " and " + role)
			}
			m[w] = alias{role, weak}
		}
	}
	return m
}()

// Strength of a claim to a role; where two columns claim one, the stronger has it.
const (
	weakName = 1 + iota
	tradeName
	ownName  // one of ownNames, to the letter
	askedFor // Options.Columns
)

// columnName is what a column's name says.
type columnName struct {
	role     string // "" if not recognised
	strength int
	unit     unit    // noUnit if the name holds none
	other    string  // a unit in brackets that is not understood
	rest     string  // the name without its unit
	percent  bool    // "%" in the name
	k        float64 // coverage factor in an uncertainty's name; 0 if none
	utc      bool    // the name says UTC or GMT
	order    string  // "dmy", "mdy", "ymd" where the name spells the date's pattern
	hours    bool    // a duration in hours
}

var (
	coverage    = regexp.MustCompile(`\bk ?= ?([0-9]+(?:\.[0-9]+)?)|\b([123]) ?-? ?(?:sigma\b|σ|sd\b|s\.d\.)`)
	ninetyFive  = regexp.MustCompile(`95(?:\.0|\.4|\.45)? ?%`)
	utcWord     = regexp.MustCompile(`(?:^|[^a-z])(?:utc|gmt)(?:$|[^a-z0-9+])`)
	datePattern = regexp.MustCompile(`\b(?:(d{1,2}[./-]m{1,2}[./-]y{2,4})|(m{1,2}[./-]d{1,2}[./-]y{2,4})|(y{4}[./-]m{1,2}[./-]d{1,2}))\b`)
	hourMark    = regexp.MustCompile(`[(\[ _](?:h|hr|hrs|hours?)[)\]]?$`)
	dayMark     = regexp.MustCompile(`[(\[ _](?:d|days?)[)\]]?$`)
)

// recognise reads a column's name.
func recognise(name string) columnName {
	name = strings.TrimSpace(name)
	if slices.Contains(ownNames, name) {
		return columnName{role: name, strength: ownName, rest: name}
	}
	var c columnName
	c.unit, c.rest, c.other = unitFromName(name)
	low := strings.ToLower(c.rest)
	c.percent = strings.Contains(low, "%")
	if m := coverage.FindStringSubmatch(low); m != nil {
		c.k, _ = strconv.ParseFloat(m[1]+m[2], 64)
		low = strings.Replace(low, m[0], "sigma", 1)
	} else if strings.Contains(low, "expanded") {
		c.k = 2
	}
	if ninetyFive.MatchString(low) { // an interval's coverage, not a share of the value
		c.percent = strings.Contains(ninetyFive.ReplaceAllString(low, ""), "%")
		c.k = 2 // the factor in use for about 95 % coverage
		low = ninetyFive.ReplaceAllString(low, "")
	}
	c.utc = utcWord.MatchString(low)
	if m := datePattern.FindStringSubmatch(low); m != nil {
		c.order = map[bool]string{true: "dmy"}[m[1] != ""] + map[bool]string{true: "mdy"}[m[2] != ""] + map[bool]string{true: "ymd"}[m[3] != ""]
	}
	bare := brackets.ReplaceAllString(low, " ")
	tries := []string{key(low), key(bare)}
	if c.utc {
		w := utcWord.ReplaceAllString(low, " ")
		tries = append(tries, key(w), key(brackets.ReplaceAllString(w, " ")))
	}
	if c.k > 0 {
		t := strings.ReplaceAll(bare, "sigma", " ")
		tries = append(tries, key(t), key(strings.ReplaceAll(t, "expanded", " ")))
		if key(t) == "" {
			tries = append(tries, "uncertainty")
		}
	}
	switch k := key(bare); {
	case hourMark.MatchString(low) && isDuration(key(hourMark.ReplaceAllString(low, ""))):
		tries = []string{"exposurehours"}
	case dayMark.MatchString(low) && isDuration(key(dayMark.ReplaceAllString(low, ""))):
		tries = []string{"exposuredays"}
	case k == "u" && strings.HasPrefix(name, "u") && (c.unit != noUnit || c.percent):
		tries = []string{"uncertainty"} // the symbol of a standard uncertainty; a capital U is an expanded one
	case k == "" && low != "":
		tries = append(tries, strings.Join(strings.Fields(low), ""))
	}
	if c.unit != noUnit && key(c.rest) == "" && c.rest != "±" {
		tries = []string{"value"} // the name is a unit and no more
	}
	for _, t := range tries {
		if a, ok := aliases[t]; ok && t != "" {
			c.role, c.strength = a.role, tradeName
			if a.weak {
				c.strength = weakName
			}
			if a.role == roleDays {
				c.hours = strings.Contains(t, "hour") || t == "durationinh"
			}
			break
		}
	}
	return c
}

func isDuration(key string) bool {
	return slices.Contains([]string{"duration", "exposure", "exposuretime", "exposureduration", "testduration", "testlength", "measurementduration", "length", "exposureperiod", "measurementtime"}, key)
}

// key is a name without case, spaces and punctuation.
func key(s string) string {
	var b strings.Builder
	for _, r := range strings.ToLower(s) {
		if unicode.IsLetter(r) || unicode.IsDigit(r) {
			b.WriteRune(r)
		}
	}
	return b.String()
}

// notRooms are columns that stand beside readings in exports and are never a
// room of a wide file (common practice).
var notRooms = regexp.MustCompile(`^(?:.*(?:temp|humid|pressure|baro|dewpoint|battery|voltage|volt|light|noise|altitude|latitude|longitude|uncertainty|error|sigma|limit|lower|upper|minimum|maximum|median|average|mean|stdev|stddev|weight|count|number|flag|status|index|year|month|week|day|hour|date|time|age|factor|ratio|percent|total|score|note|comment).*|rh|co2|voc|tvoc|pm1|pm10|pm25|lat|lon|lng|id|no|nr|n|min|max|avg|sd|se|k|tilt|aqi|hpa|mbar|kpa)$`)

// statisticWords and windowWords are what a monitor's export calls one radon it
// says in several ways: its least and most, a running mean, the long term (common
// practice). A name with one of the first is no room; of the second, one that has
// nothing but such words and numbers: a "day room" is a room.
var (
	statisticWords = wordSet("min max minimum maximum lowest highest peak avg average averaged mean median sd std stdev stddev deviation se sem uncertainty unc error err sigma limit lod mdl " +
		"maks mittel mittelwert durchschnitt gjennomsnitt snitt")
	windowWords = wordSet("h hr hrs hour hours hourly d day days daily w wk week weeks weekly month months monthly y yr year years yearly annual min mins minute minutes " +
		"long longterm short shortterm term lt st now current currently latest last past live recent rolling moving running total overall since reset the of per " +
		"timer stunde stunden tag tage woche døgn dag dager uke langtid langzeit kortid korttid kurzzeit aktuell")
	radonWords = wordSet("radon rn concentration conc level value activity reading")
)

func wordSet(list string) map[string]bool {
	m := make(map[string]bool)
	for _, w := range strings.Fields(list) {
		m[w] = true
	}
	return m
}

var wordOrNumber = regexp.MustCompile(`\p{L}+|\p{N}+`)

// isStatistic says whether a column's name, less its unit, is one of several ways
// to say the radon of one place.
func isStatistic(name string) bool {
	window, other := false, false
	for _, w := range wordOrNumber.FindAllString(strings.ToLower(name), -1) {
		switch {
		case statisticWords[w]:
			return true
		case windowWords[w]:
			window = true
		case !radonWords[w] && !unicode.IsDigit(rune(w[0])):
			other = true
		}
	}
	return window && !other
}

// isRoom says whether a column of numbers can be a room of a wide file. One that
// names a unit of radon can only be told by whole words: a garage is no age.
func (n *columnName) isRoom() bool {
	return !isStatistic(n.rest) && (n.unit != noUnit || !notRooms.MatchString(key(n.rest)))
}

// findHeader is the index of the first record that reads like a line of column
// names: it has one for the value or the time, and a record of as many fields
// soon follows; -1 if none does.
func findHeader(records []headRecord, opt *Options) int {
	for i, r := range records {
		if len(r.fields) < 2 {
			continue
		}
		timeAt, ok := -1, false
		for j, f := range r.fields {
			c := claim(f, opt)
			switch c.role {
			case roleValue, roleOwn:
				ok = ok || c.strength > weakName || c.unit != noUnit
			case roleStart, roleStartDate, roleStartClock, roleStamp, roleDate, roleTime, roleEnd, roleEndDate:
				ok, timeAt = true, max(timeAt, j)
			}
		}
		if !ok {
			continue
		}
		follows := i == len(records)-1
		for _, n := range records[i+1 : min(len(records), i+6)] {
			follows = follows || len(trimTail(n.fields)) == len(trimTail(r.fields)) || len(n.fields) == len(r.fields)
		}
		if !follows {
			continue
		}
		if firstData(r.fields) != "" && !(timeAt >= 0 && i+1 < len(records) && timeAt < len(records[i+1].fields) && isStamp(records[i+1].fields[timeAt])) {
			continue // a line such as "Start,2026-01-10" above the header
		}
		return i
	}
	return -1
}

// trimTail is the fields without empty ones at the end.
func trimTail(fields []string) []string {
	for len(fields) > 0 && strings.TrimSpace(fields[len(fields)-1]) == "" {
		fields = fields[:len(fields)-1]
	}
	return fields
}

// claim is what a column's name, or Options.Columns for it, says.
func claim(name string, opt *Options) columnName {
	name = strings.TrimSpace(name)
	c := recognise(name)
	as, ok := opt.Columns[name]
	if !ok {
		for k, v := range opt.Columns {
			if strings.EqualFold(strings.TrimSpace(k), name) {
				as, ok = v, true
			}
		}
	}
	if ok {
		c.role, c.strength = as, askedFor
		if as == roleText {
			c.role = ""
		}
	}
	return c
}

// firstData is the first field that is a number or a time, as no name is.
func firstData(fields []string) string {
	for _, f := range fields {
		f = strings.TrimSpace(f)
		if shape, _ := shapeOf(f); shape != notNumber || isStamp(f) {
			return f
		}
	}
	return ""
}

// trimNames cleans the names of a header, and gives nameless columns one.
func trimNames(fields []string) []string {
	names := make([]string, len(fields))
	for i, f := range fields {
		f = strings.Join(strings.Fields(strings.ToValidUTF8(f, "?")), " ")
		names[i] = strings.Trim(f, "\ufeff")
	}
	for n := len(names); n > 1 && names[n-1] == ""; n-- {
		names = names[:n-1]
	}
	return names
}

// columns says which column of a file plays which role; -1 where none does.
type columns struct {
	home, area, room, detector, method        int
	start, end                                when
	days                                      int
	value, unit, uncertainty                  int
	phase, kind, weight, below, share, zoneAt int

	names []columnName // what each column's name says
	text  []int        // columns that ride along
}

// when is where a time stands: in one column, or a date and a clock time in two.
type when struct{ at, clock int }

func (w when) none() bool { return w.at < 0 }

// assign gives every role its column.
func assign(file string, header []string, opt *Options) (*columns, error) {
	c := &columns{names: make([]columnName, len(header))}
	claims := make(map[string][]int)
	for i, h := range header {
		c.names[i] = claim(h, opt)
		if r := c.names[i].role; r != "" {
			claims[r] = append(claims[r], i)
		}
	}
	used := make([]bool, len(header))
	// best is the column with the strongest claim to any of the roles.
	best := func(roles ...string) (int, error) {
		at, tie := -1, -1
		for _, r := range roles {
			for _, i := range claims[r] {
				switch {
				case at < 0 || c.names[i].strength > c.names[at].strength:
					at, tie = i, -1
				case c.names[i].strength == c.names[at].strength:
					tie = i
				}
			}
		}
		if tie >= 0 {
			at, tie = min(at, tie), max(at, tie)
			role := strings.ReplaceAll(roles[0], roleOwn, roleValue)
			if roles[0] == roleStamp {
				role = roleTime
			}
			hint := fmt.Sprintf("choose one, as in --column %s", quote(header[at]+"="+strings.ReplaceAll(role, " clock", "")))
			if strings.EqualFold(header[at], header[tie]) {
				hint = "give one of them another name in the file: --column cannot tell them apart"
			}
			return -1, &FileError{File: file, Column: header[at],
				Why: fmt.Sprintf("two columns could be the %s: %s and %s", role, quote(header[at]), quote(header[tie])), Hint: hint}
		}
		return at, nil
	}
	var err error
	one := func(to *int, roles ...string) {
		if err != nil {
			return
		}
		if *to, err = best(roles...); *to >= 0 {
			used[*to] = true
		}
	}
	one(&c.home, roleHome)
	one(&c.area, roleArea)
	if c.home >= 0 && c.names[c.home].strength > weakName && len(claims[roleRoom]) == 0 {
		// "House ID" and "Location" side by side: the location is inside the house.
		for _, i := range claims[roleHome] {
			if i != c.home && key(header[i]) == "location" {
				claims[roleRoom] = append(claims[roleRoom], i)
			}
		}
	}
	one(&c.room, roleRoom)
	one(&c.detector, roleDetector)
	one(&c.method, roleMethod)
	one(&c.value, roleOwn, roleValue)
	one(&c.unit, roleUnit)
	one(&c.uncertainty, roleUncertainty)
	one(&c.phase, rolePhase)
	one(&c.kind, roleKind)
	one(&c.weight, roleWeight)
	one(&c.below, roleBelow)
	one(&c.share, roleShare)
	one(&c.zoneAt, roleZone)
	// pair settles a time that may be split into a date and a clock time.
	pair := func(whole, date, clock string) when {
		w := when{-1, -1}
		if err != nil {
			return w
		}
		var d, t, s int
		if s, err = best(whole); err != nil {
			return w
		}
		if d, err = best(date); err != nil {
			return w
		}
		if t, err = best(clock); err != nil {
			return w
		}
		rank := func(i int) int {
			if i < 0 {
				return 0
			}
			return c.names[i].strength
		}
		if rank(s) > max(rank(d), rank(t)) {
			return when{s, -1}
		}
		if s >= 0 && rank(s) == max(rank(d), rank(t)) {
			_, err = best(whole, date, clock)
			if err == nil { // both parts of a pair are weaker in sum: cannot be, but be safe
				return when{s, -1}
			}
			return w
		}
		switch {
		case d >= 0 && t >= 0 && rank(d) > weakName && rank(t) > weakName || d >= 0 && t >= 0 && rank(d) == rank(t):
			return when{d, t}
		case rank(t) > rank(d):
			return when{t, -1}
		}
		return when{d, -1}
	}
	start := pair(roleStart, roleStartDate, roleStartClock)
	end := pair(roleEnd, roleEndDate, roleEndClock)
	if err == nil && start.none() {
		start = pair(roleStamp, roleDate, roleTime)
	}
	one(&c.days, roleDays)
	if err != nil {
		return nil, err
	}
	c.start, c.end = start, end
	if !start.none() && !end.none() && c.days >= 0 {
		used[c.days] = false // start and end say it already
		c.days = -1
	}
	for _, w := range []when{start, end} {
		if w.at >= 0 {
			used[w.at] = true
		}
		if w.clock >= 0 {
			used[w.clock] = true
		}
	}
	for i := range header {
		if !used[i] {
			c.text = append(c.text, i)
		}
	}
	return c, nil
}

func quote(s string) string { return strconv.Quote(s) }

func itoa(n int) string { return strconv.Itoa(n) }

func plural(n int, what string) string {
	if n == 1 {
		return "1 " + what
	}
	return itoa(n) + " " + what + "s"
}
