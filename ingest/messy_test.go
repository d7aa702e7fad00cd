package ingest

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// messy is what each file of testdata/messy must give, one kind of mess a
// file. Times, sums and conversions were worked out by hand: 1 pCi/L is 37 Bq/m³,
// and Oslo is an hour ahead of UTC in winter, two in summer.
var messy = []struct {
	file string
	opt  Options
	want string
}{
	{"clean.csv", Options{}, `2: 0071 area=North room=bedroom detector=D1 method=alpha track 2026-01-10T12:00:00Z 2026-04-10T12:00:00Z zone=Europe/Oslo 165.25 uncertainty=12 weight=1.5 share=0.98 before
3: 0072 area=North method=alpha track 2026-01-10T12:00:00Z 2026-04-10T12:00:00Z <15 blank
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone by row by column; dates ymd, unambiguous
`},
	{"trade-words.csv", Options{}, `2: 0071 area=North room=Bedroom detector=A-17 method=charcoal 2026-01-10T00:00:00Z 2026-01-14T00:00:00Z 148 duplicate Visit=first
3: 0072 area=South room=Living room detector=A-18 method=charcoal 2026-01-11T00:00:00Z 2026-01-14T12:00:00Z 165 Visit=second
rows 2, readings 2, left out 0; unit by row by unit column; zone dates only; dates ymd, unambiguous
`},
	{"units-in-header.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165 uncertainty=12
rows 1, readings 1, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"unit-column.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 148
3: B 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 148
4: C 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 148
left out 5 [unit] "Bq/L" is not a unit of radon; Bq/m3, kBq/m3 and pCi/L are understood
left out 6 [value] "148" no unit; write it beside the value, in a unit column, or give --unit
rows 5, readings 3, left out 2; unit by row by unit column; zone dates only; dates ymd, unambiguous
`},
	{"units-row.csv", Options{}, `3: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 148 temperature=21
rows 1, readings 1, left out 0; unit pCi/L by units row; zone dates only; dates ymd, unambiguous
`},
	{"unit-in-values.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
3: B 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z <11.1
4: C 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 1200
left out 5 [result] "165" no unit; write it beside the value, in a unit column, or give --unit
rows 4, readings 3, left out 1; unit by row by value text; zone dates only; dates ymd, unambiguous
`},
	{"kilo.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
rows 1, readings 1, left out 0; unit kBq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"no-unit.csv", Options{}, `error no-unit.csv: column "result": no unit: neither the column's name, nor a unit column, nor the values say one; give it with --unit Bq/m3 or --unit pCi/L
`},
	{"no-unit.csv", Options{Unit: "pCi/L"}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 6105
rows 1, readings 1, left out 0; unit pCi/L by option; zone dates only; dates ymd, unambiguous
`},
	{"units-in-header.csv", Options{Unit: "pCi/L"}, `error units-in-header.csv: column "Radon [Bq m⁻³]": the column says Bq/m3, the option --unit says pCi/L; leave the option out, or correct the column's name
`},
	{"unit-column.csv", Options{Unit: "Bq/m3"}, `error unit-column.csv:2: column "unit": the unit column says pCi/L, the option --unit says Bq/m3; leave the option out, or correct the file
`},
	{"no-unit.csv", Options{Unit: "Bq/L"}, `error unknown unit "Bq/L"; --unit Bq/m3 or --unit pCi/L
`},
	{"decimal-comma.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165.5
3: B 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 1234.5
4: C 2026-01-11T00:00:00Z 2026-01-18T00:00:00Z 1234
rows 3, readings 3, left out 0; unit Bq/m3 by column name; zone dates only; dates dmy, a day above 12 on line 2; delimiter ";"; decimal comma
`},
	{"thousands.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 1234.5
3: B 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 1234
4: C 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 1234
5: D 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 1234.5
rows 4, readings 4, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"ambiguous-number.csv", Options{}, `error ambiguous-number.csv:2: "1,234" could be read with a decimal mark or with a thousands separator, and nothing in the file tells; say which with --decimal . or --decimal ,
`},
	{"ambiguous-number.csv", Options{Decimal: ","}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 1.234
3: B 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; decimal comma
`},
	{"ambiguous-number.csv", Options{Decimal: "."}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 1234
3: B 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"mixed-decimals.csv", Options{}, `error mixed-decimals.csv:3: "12,34" has a decimal comma, but "165.5" on line 2 has a decimal point; say which is right with --decimal . or --decimal , and the other rows are left out
`},
	{"mixed-decimals.csv", Options{Decimal: "."}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165.5
left out 3 [Radon (Bq/m3)] "12,34" has a decimal comma, but the file's decimal mark is the point; see --decimal
rows 2, readings 1, left out 1; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"day-first.csv", Options{}, `2: A 2026-01-03T00:00:00Z 2026-01-10T00:00:00Z 165
3: B 2026-01-03T00:00:00Z 2026-01-13T00:00:00Z 170
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates dmy, a day above 12 on line 3
`},
	{"month-first.csv", Options{Zone: "Europe/Oslo"}, `2: A 2026-01-03T13:30:00Z 2026-01-09T23:05:00Z zone=Europe/Oslo 148
3: B 2026-01-03T13:30:00Z 2026-01-13T11:00:00Z zone=Europe/Oslo 148
rows 2, readings 2, left out 0; unit pCi/L by column name; zone Europe/Oslo by option; dates mdy, a day above 12 on line 3
`},
	{"two-orders.csv", Options{}, `error two-orders.csv:3: column "end": line 2 has the day first, line 3 the month; say the order with --date-order dmy or --date-order mdy, and the other rows are left out
`},
	{"two-orders.csv", Options{DateOrder: "dmy"}, `2: A 2026-01-03T00:00:00Z 2026-01-13T00:00:00Z 165
left out 3 [end] "01/13/2026" is not a day of the calendar
rows 2, readings 1, left out 1; unit Bq/m3 by column name; zone dates only; dates dmy, option
`},
	{"ambiguous-date.csv", Options{}, `error ambiguous-date.csv:3: column "start": "03/01/2026" could be day/month or month/day, and no date in the file tells; say the order with --date-order dmy or --date-order mdy
`},
	{"ambiguous-date.csv", Options{DateOrder: "mdy"}, `2: A 2026-05-05T00:00:00Z 2026-06-06T00:00:00Z 165
3: B 2026-03-01T00:00:00Z 2026-10-01T00:00:00Z 165
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates mdy, option
`},
	{"two-digit-year.csv", Options{}, `error two-digit-year.csv:2: column "start": "10/01/26" has a year of two digits; say the order with --date-order dmy, mdy or ymd
`},
	{"two-digit-year.csv", Options{DateOrder: "dmy"}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
rows 1, readings 1, left out 0; unit Bq/m3 by column name; zone dates only; dates dmy, option
`},
	{"two-digit-year.csv", Options{DateOrder: "ymd"}, `left out 2 [end] "17/01/26" makes the result 2557 days long; no passive detector stays more than two years, so check the dates
rows 1, readings 0, left out 1; unit  by column name; zone dates only; dates ymd, option
`},
	{"month-names.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
3: B 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 170
left out 4 [end] "31-Feb-2026" is not a day of the calendar
rows 3, readings 2, left out 1; unit Bq/m3 by column name; zone dates only; dates month name, unambiguous
`},
	{"serial-days.csv", Options{Zone: "+01:00"}, `2: home 2026-01-10T11:00:00Z 2026-01-10T12:00:00Z zone=+01:00 100
3: home 2026-01-10T12:00:00Z 2026-01-10T13:00:00Z zone=+01:00 101
4: home 2026-01-10T13:00:00Z 2026-01-10T14:00:00Z zone=+01:00 102
rows 3, readings 3, left out 0; unit Bq/m3 by column name; zone +01:00 by option; dates excel serial, unambiguous; step 1h0m0s
`},
	{"epoch.csv", Options{}, `2: home 2026-01-10T00:00:00Z 2026-01-10T01:00:00Z zone=UTC 100
3: home 2026-01-10T01:00:00Z 2026-01-10T02:00:00Z zone=UTC 101
4: home 2026-01-10T02:00:00Z 2026-01-10T03:00:00Z zone=UTC 102
left out 5 [time] "12345" is a bare number, but neither a spreadsheet's day number nor seconds since 1970
rows 4, readings 3, left out 1; unit Bq/m3 by column name; zone in the times by times; dates epoch seconds, unambiguous; step 1h0m0s
`},
	{"split-date-time.csv", Options{Zone: "Europe/Oslo"}, `2: home 2026-01-10T22:00:00Z 2026-01-10T23:00:00Z zone=Europe/Oslo 100
3: home 2026-01-10T23:00:00Z 2026-01-11T00:00:00Z zone=Europe/Oslo 101
4: home 2026-01-11T00:00:00Z 2026-01-11T01:00:00Z zone=Europe/Oslo 102
left out 5 [Time] "25:00" is not a time of the clock
rows 4, readings 3, left out 1; unit Bq/m3 by column name; zone Europe/Oslo by option; dates ymd, unambiguous; step 1h0m0s
`},
	{"offsets.csv", Options{}, `2: home 2026-01-09T23:00:00Z 2026-01-09T23:59:59.5Z zone=+01:00 100
3: home 2026-01-10T00:00:00.5Z 2026-01-10T01:00:00Z zone=+01:00 101
4: home 2026-01-10T01:00:00Z 2026-01-10T01:59:59.5Z zone=+01:00 102
5: home 2026-01-10T02:00:00Z 2026-01-10T02:59:59.5Z zone=+01:00 103
6: home 2026-01-10T04:00:00Z 2026-01-10T04:59:59.5Z zone=+01:00 104
left out 7 [timestamp] "2026-01-10T06:00 CET" ends in the short name of a zone, which is not unique; write an offset such as +01:00, or give --zone
rows 6, readings 5, left out 1; unit Bq/m3 by column name; zone in the times by times; dates ymd, unambiguous; step 59m59.5s
`},
	{"offsets.csv", Options{Zone: "Europe/Oslo"}, `2: home 2026-01-09T23:00:00Z 2026-01-09T23:59:59.5Z zone=Europe/Oslo 100
3: home 2026-01-10T00:00:00.5Z 2026-01-10T01:00:00Z zone=Europe/Oslo 101
4: home 2026-01-10T01:00:00Z 2026-01-10T01:59:59.5Z zone=Europe/Oslo 102
5: home 2026-01-10T02:00:00Z 2026-01-10T02:59:59.5Z zone=Europe/Oslo 103
6: home 2026-01-10T04:00:00Z 2026-01-10T04:59:59.5Z zone=Europe/Oslo 104
left out 7 [timestamp] "2026-01-10T06:00 CET" ends in the short name of a zone, which is not unique; write an offset such as +01:00, or give --zone
rows 6, readings 5, left out 1; unit Bq/m3 by column name; zone Europe/Oslo by option; dates ymd, unambiguous; step 59m59.5s
`},
	{"utc-in-header.csv", Options{}, `2: home 2026-01-10T00:00:00Z 2026-01-10T01:00:00Z zone=UTC 100
3: home 2026-01-10T01:00:00Z 2026-01-10T02:00:00Z zone=UTC 101
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone UTC by column; dates ymd, unambiguous; step 1h0m0s
`},
	{"no-zone.csv", Options{}, `error no-zone.csv:2: column "time": "2026-01-10 00:00" has no zone, and nothing in the file says one; give it with --zone Europe/Oslo or --zone +01:00
`},
	{"no-zone.csv", Options{Zone: "Oslo"}, `error zone "Oslo" is not known; did you mean Europe/Oslo? give an IANA name such as Europe/Oslo, or an offset such as +01:00
`},
	{"spring-gap.csv", Options{Zone: "Europe/Oslo"}, `2: home 2026-03-29T00:00:00Z 2026-03-29T01:00:00Z zone=Europe/Oslo 100
3: home 2026-03-29T01:00:00Z 2026-03-29T02:00:00Z zone=Europe/Oslo 101
4: home 2026-03-29T02:00:00Z 2026-03-29T03:00:00Z zone=Europe/Oslo 102
5: home 2026-03-29T03:00:00Z 2026-03-29T04:00:00Z zone=Europe/Oslo 103
rows 4, readings 4, left out 0; unit Bq/m3 by column name; zone Europe/Oslo by option; dates ymd, unambiguous; gap 1; step 1h0m0s
`},
	{"autumn-repeat.csv", Options{Zone: "Europe/Oslo"}, `2: home 2026-10-24T23:30:00Z 2026-10-25T00:00:00Z zone=Europe/Oslo 100
3: home 2026-10-25T00:00:00Z 2026-10-25T00:30:00Z zone=Europe/Oslo 101
4: home 2026-10-25T00:30:00Z 2026-10-25T01:00:00Z zone=Europe/Oslo 102
5: home 2026-10-25T01:00:00Z 2026-10-25T01:30:00Z zone=Europe/Oslo 103
6: home 2026-10-25T01:30:00Z 2026-10-25T02:00:00Z zone=Europe/Oslo 104
7: home 2026-10-25T02:00:00Z 2026-10-25T02:30:00Z zone=Europe/Oslo 105
rows 6, readings 6, left out 0; unit Bq/m3 by column name; zone Europe/Oslo by option; dates ymd, unambiguous; repeated 4; step 30m0s
`},
	{"newest-first.csv", Options{Zone: "Europe/Oslo"}, `2: home 2026-10-25T02:00:00Z 2026-10-25T02:30:00Z zone=Europe/Oslo 105
3: home 2026-10-25T01:30:00Z 2026-10-25T02:00:00Z zone=Europe/Oslo 104
4: home 2026-10-25T01:00:00Z 2026-10-25T01:30:00Z zone=Europe/Oslo 103
5: home 2026-10-25T00:30:00Z 2026-10-25T01:00:00Z zone=Europe/Oslo 102
6: home 2026-10-25T00:00:00Z 2026-10-25T00:30:00Z zone=Europe/Oslo 101
7: home 2026-10-24T23:30:00Z 2026-10-25T00:00:00Z zone=Europe/Oslo 100
rows 6, readings 6, left out 0; unit Bq/m3 by column name; zone Europe/Oslo by option; dates ymd, unambiguous; repeated 4; step 30m0s
`},
	{"zone-column.csv", Options{}, `2: A 2026-01-10T11:00:00Z 2026-01-17T11:00:00Z zone=Europe/Oslo 100
3: B 2026-07-10T16:00:00Z 2026-07-17T16:00:00Z zone=America/New_York 101
4: C 2026-01-10T06:30:00Z 2026-01-17T06:30:00Z zone=+05:30 102
left out 5 [start] "2026-01-10 12:00" has no zone; give it with --zone Europe/Oslo or --zone +01:00
left out 6 [zone] "Atlantis" is not a zone; write an IANA name such as Europe/Oslo, or an offset such as +01:00
rows 5, readings 3, left out 2; unit Bq/m3 by column name; zone by row by column; dates ymd, unambiguous
`},
	{"day-means.csv", Options{}, `2: A 2026-03-28T00:00:00Z 2026-03-29T00:00:00Z 100
3: A 2026-03-29T00:00:00Z 2026-03-30T00:00:00Z 101
4: B 2026-03-28T00:00:00Z 2026-03-29T00:00:00Z 102
rows 3, readings 3, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"day-means.csv", Options{Zone: "Europe/Oslo"}, `2: A 2026-03-27T23:00:00Z 2026-03-28T23:00:00Z zone=Europe/Oslo 100
3: A 2026-03-28T23:00:00Z 2026-03-29T22:00:00Z zone=Europe/Oslo 101
4: B 2026-03-27T23:00:00Z 2026-03-28T23:00:00Z zone=Europe/Oslo 102
rows 3, readings 3, left out 0; unit Bq/m3 by column name; zone Europe/Oslo by option; dates ymd, unambiguous
`},
	{"dates-of-a-log.csv", Options{}, `2: A 2026-02-01T00:00:00Z 2026-02-02T00:00:00Z 37
3: A 2026-02-02T00:00:00Z 2026-02-03T00:00:00Z 74
rows 2, readings 2, left out 0; unit pCi/L by column name; zone dates only; dates dmy, column name
`},
	{"days.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100
3: B 2026-01-10T00:00:00Z 2026-01-13T12:00:00Z 101
left out 4 [days] "0" is not a duration; it must be above 0 days
left out 5 [days] no duration; every row must say how long it lasted
rows 4, readings 2, left out 2; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"days.csv", Options{Zone: "America/New_York"}, `2: A 2026-01-10T05:00:00Z 2026-01-17T05:00:00Z zone=America/New_York 100
3: B 2026-01-10T05:00:00Z 2026-01-13T17:00:00Z zone=America/New_York 101
left out 4 [days] "0" is not a duration; it must be above 0 days
left out 5 [days] no duration; every row must say how long it lasted
rows 4, readings 2, left out 2; unit Bq/m3 by column name; zone America/New_York by option; dates ymd, unambiguous
`},
	{"same-day.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100
left out 3 [end] "2026-01-10" is the day it started; give clock times for a test of less than a day
left out 4 [end] "2026-01-10" is not after the start
left out 5 [start] "1949-12-31" is not between the years 1950 and 2100
left out 6 [end] "2201-01-01" is not between the years 1950 and 2100
rows 5, readings 1, left out 4; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"below-limit.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z <15
6: E 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 0
left out 3 [Radon (Bq/m3)] "< 0.3 pCi/L" its unit is not the unit Bq/m3 that the column, its name or --unit says
left out 4 [Radon (Bq/m3)] "ND" states no limit; write the detection limit with a sign, such as <15
left out 5 [Radon (Bq/m3)] ">20000" is above what the detector could measure; such a value cannot be used
left out 7 [Radon (Bq/m3)] "<0" is a detection limit of zero
rows 6, readings 2, left out 4; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"bad-values.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
11: J 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
left out 3 [Radon (Bq/m3)] "-5" is negative
left out 4 [Radon (Bq/m3)] "20000000" is above 10 million Bq/m3, more than any home has; check the unit and the decimal mark
left out 5 [Radon (Bq/m3)] "NaN" no value
left out 6 [Radon (Bq/m3)] "Inf" is not a number
left out 7 [Radon (Bq/m3)] no value
left out 8 [Radon (Bq/m3)] "n/a" no value
left out 9 [Radon (Bq/m3)] "high" is not a number
left out 10 3 fields where the header has 4; check the line for a missing or extra comma
left out 12 5 fields where the header has 4; check the line for a missing or extra comma
left out 13 [home] no home; every row must say which home it is from
left out 14 [start] no time; every row must say when it was measured
left out 17 [start] no time; every row must say when it was measured
rows 14, readings 2, left out 12; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; blank 2
`},
	{"uncertainty.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 200 uncertainty=20
3: B 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 200 uncertainty=10
4: C 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 200
left out 5 [Expanded uncertainty (k=2, Bq/m3)] "-1" is not an uncertainty; it must be between 0 and 10 million Bq/m3
rows 4, readings 3, left out 1; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; k 2
`},
	{"uncertainty-percent.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 148 uncertainty=14.8
rows 1, readings 1, left out 0; unit pCi/L by column name; zone dates only; dates ymd, unambiguous
`},
	{"phases.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 200 weight=2 before
3: A 2026-02-10T00:00:00Z 2026-02-17T00:00:00Z 50 after duplicate
left out 4 [phase] "during" is no phase; write before or after
left out 5 [kind] "control" is no kind of measurement; write field, duplicate, blank or spike
left out 6 [weight] "-1" is not a weight; it must not be negative
rows 5, readings 2, left out 3; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"stray-quotes.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100 note=two
lines, and "quotes"
6: D 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 103 note=fine
8: F 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 105 note=after a space
9: G 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 106 note=last
left out 4 a quote stands inside an unquoted field; write it twice inside a quoted field, or remove it
left out 5 a quote opens and is not closed; add the closing quote, or remove it
left out 7 text stands after a closing quote; write quotes inside a quoted field twice
rows 7, readings 4, left out 3; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"endless-quote.csv", Options{}, `3: home 2026-01-10T01:00:00Z 2026-01-10T02:00:00Z zone=UTC 101
4: home 2026-01-10T02:00:00Z 2026-01-10T03:00:00Z zone=UTC 102
left out 2 a quote opens and is not closed; add the closing quote, or remove it
rows 3, readings 2, left out 1; unit Bq/m3 by column name; zone in the times by times; dates ymd, unambiguous; step 1h0m0s
`},
	{"repeated-header.csv", Options{}, `3: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100
7: B 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 101
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; comments 2; blank 1; headers 1
`},
	{"preamble.csv", Options{Zone: "Europe/Oslo"}, `7: home 2026-01-09T23:00:00Z 2026-01-09T23:10:00Z zone=Europe/Oslo 100
8: home 2026-01-09T23:10:00Z 2026-01-09T23:20:00Z zone=Europe/Oslo 101
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone Europe/Oslo by option; dates ymd, unambiguous; preamble 4; blank 1; step 10m0s
`},
	{"wide.csv", Options{Zone: "Europe/Oslo", Unit: "Bq/m3"}, `2: home room=Basement 2026-01-09T23:00:00Z 2026-01-10T00:00:00Z zone=Europe/Oslo 200 Temperature=20.5
2: home room=Bedroom 2026-01-09T23:00:00Z 2026-01-10T00:00:00Z zone=Europe/Oslo 100 Temperature=20.5
3: home room=Bedroom 2026-01-10T00:00:00Z 2026-01-10T01:00:00Z zone=Europe/Oslo 101 Temperature=20.5
4: home room=Basement 2026-01-10T01:00:00Z 2026-01-10T02:00:00Z zone=Europe/Oslo 202 Temperature=20.5
left out 4 [Bedroom] "-1" is negative
left out 5 [Date/Time] "2026-13-10 02:00" is not a day of the calendar
rows 4, readings 4, left out 2; unit Bq/m3 by option; zone Europe/Oslo by option; dates ymd, unambiguous; empty 1; wide ["Basement" "Bedroom"]; step 1h0m0s
`},
	{"wide.csv", Options{Zone: "Europe/Oslo"}, `error wide.csv: column "Basement": no unit: neither the column's name nor the values say one; give it with --unit Bq/m3 or --unit pCi/L
`},
	{"wide-units.csv", Options{}, `2: home room=Basement 2026-01-10T00:00:00Z 2026-01-10T01:00:00Z zone=UTC 74
2: home room=Bedroom 2026-01-10T00:00:00Z 2026-01-10T01:00:00Z zone=UTC 100
3: home room=Basement 2026-01-10T01:00:00Z 2026-01-10T02:00:00Z zone=UTC <18.5 Note=windy
3: home room=Bedroom 2026-01-10T01:00:00Z 2026-01-10T02:00:00Z zone=UTC 101 Note=windy
rows 2, readings 4, left out 0; unit by row by column name; zone UTC by column; dates ymd, unambiguous; wide ["Basement (pCi/L)" "Bedroom (Bq/m3)"]; step 1h0m0s
`},
	{"two-values.csv", Options{}, `error two-values.csv: column "Radon (pCi/L)": two columns could be the value: "Radon (pCi/L)" and "Radon (Bq/m3)"; choose one, as in --column "Radon (pCi/L)=value"
`},
	{"two-values.csv", Options{Columns: map[string]string{"Radon (pCi/L)": "value"}}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 148 Radon (Bq/m3)=148
rows 1, readings 1, left out 0; unit pCi/L by column name; zone dates only; dates ymd, unambiguous
`},
	{"no-value.csv", Options{}, `error no-value.csv: no column of radon values; the columns are "home", "start", "end", "comment"; name it with --column NAME=value
`},
	{"no-time.csv", Options{}, `error no-time.csv: no column of times; the columns are "home", "Radon (Bq/m3)"; name it with --column NAME=start (and =end or =days), or --column NAME=time for a log
`},
	{"headerless.csv", Options{}, `error headerless.csv:1: the file has no line of column names: "2026-01-10" stands where a name would; write the names of the columns in the first line, such as home,start,end,value,unit
`},
	{"header-only.csv", Options{}, `error header-only.csv: the file has a header but no readings; check that the export was complete
`},
	{"empty.csv", Options{}, `error empty.csv: the file is empty; a file of readings has a line of column names and a line for each reading
`},
	{"duplicate-names.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100 note=one note_2=two column_7=three line_2=four
rows 1, readings 1, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"odd-column-names.csv", Options{}, `error odd-column-names.csv: no column of radon values; the columns are "Bolignr", "Fra", "Til", "Svar", "Note"; name it with --column NAME=value
`},
	{"odd-column-names.csv", Options{Unit: "Bq/m3", Columns: map[string]string{"Bolignr": "home", "Fra": "start", "Til": "end", "svar": "value"}}, `2: 0071 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165 Note=a
rows 1, readings 1, left out 0; unit Bq/m3 by option; zone dates only; dates ymd, unambiguous; delimiter ";"
`},
	{"odd-column-names.csv", Options{Columns: map[string]string{"Nei": "home", "Fra": "start", "Til": "end", "Svar": "concentration"}}, `error odd-column-names.csv: column "Nei": no file has a column of this name; the columns are "Bolignr", "Fra", "Til", "Svar", "Note"; write the name in --column as it stands in the file
`},
	{"mixed-steps.csv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-10T01:00:00Z zone=UTC 100
3: B 2026-01-10T00:10:00Z 2026-01-10T00:20:00Z zone=UTC 200
4: B 2026-01-10T00:00:00Z 2026-01-10T00:10:00Z zone=UTC 201
5: A 2026-01-10T02:00:00Z 2026-01-10T03:00:00Z zone=UTC 102
6: A 2026-01-10T01:00:00Z 2026-01-10T02:00:00Z zone=UTC 101
7: B 2026-01-10T00:20:00Z 2026-01-10T00:30:00Z zone=UTC 202
8: C 2026-01-10T00:00:00Z 2026-01-10T00:10:00Z zone=UTC 300
rows 7, readings 7, left out 0; unit Bq/m3 by column name; zone in the times by times; dates ymd, unambiguous; step 10m0s
`},
	{"one-time-each.csv", Options{}, `error one-time-each.csv:2: column "time": cannot tell how long a reading lasted: rows have one time each, and no two of a detector follow each other within a day and a half; add a column end or days, or name one with --column NAME=end
`},
	{"tab.tsv", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165.5
rows 1, readings 1, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; delimiter "\t"; decimal comma
`},
	{"bar.txt", Options{}, `2: A 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165.5
rows 1, readings 1, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; delimiter "|"
`},
	{"utf8-bom.csv", Options{}, `2: Ås room=Küche 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
3: Øy room=Bad 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; utf-8 with byte-order mark
`},
	{"utf16le.csv", Options{}, `2: Ås room=Küche 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
3: Øy room=Bad 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; utf-16le
`},
	{"utf16be.csv", Options{}, `2: Ås room=Küche 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
3: Øy room=Bad 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; utf-16be
`},
	{"utf16le-no-mark.csv", Options{}, `2: Ås room=Küche 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
3: Øy room=Bad 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; utf-16le
`},
	{"latin1.csv", Options{}, `2: Ås room=Küche 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
3: Øy room=Bad 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; windows-1252
`},
	{"crlf.csv", Options{}, `2: Ås room=Küche 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
3: Øy room=Bad 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"cr-only.csv", Options{}, `2: Ås room=Küche 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
3: Øy room=Bad 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"zero-bytes.csv", Options{}, `2: Ås room=Küche 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
left out 3 a zero byte stands in the line; the file may be damaged
rows 2, readings 1, left out 1; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"long-line.csv.gz", Options{}, `2: Ås room=Küche 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
left out 3 the line is longer than a mebibyte
rows 2, readings 1, left out 1; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"zipped.csv.gz", Options{}, `2: Ås room=Küche 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 165
3: Øy room=Bad 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 100
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"cut-short.csv.gz", Options{}, `error cut-short.csv.gz: the gzip data are damaged or cut short: unexpected EOF; fetch or compress the file again
`},
	{"workbook.xlsx", Options{Zone: "Europe/Oslo"}, `4: 0071 2026-01-10T11:00:00Z 2026-01-10T12:00:00Z zone=Europe/Oslo 100 Note=first
5: 0071 2026-01-10T12:00:00Z 2026-01-10T13:00:00Z zone=Europe/Oslo 101.5
7: 0071 2026-01-10T13:00:00Z 2026-01-10T14:00:00Z zone=Europe/Oslo <15
8: 0071 2026-01-10T14:00:00Z 2026-01-10T15:00:00Z zone=Europe/Oslo 103
left out 9 [Radon (Bq/m3)] "none today" is not a number
rows 5, readings 4, left out 1; unit Bq/m3 by column name; zone Europe/Oslo by option; dates excel serial, unambiguous; preamble 1; blank 1; step 1h0m0s
`},
	{"workbook-1904.xlsx", Options{Zone: "Europe/Oslo"}, `4: 0071 2026-01-10T11:00:00Z 2026-01-10T12:00:00Z zone=Europe/Oslo 100 Note=first
5: 0071 2026-01-10T12:00:00Z 2026-01-10T13:00:00Z zone=Europe/Oslo 101.5
7: 0071 2026-01-10T13:00:00Z 2026-01-10T14:00:00Z zone=Europe/Oslo <15
8: 0071 2026-01-10T14:00:00Z 2026-01-10T15:00:00Z zone=Europe/Oslo 103
left out 9 [Radon (Bq/m3)] "none today" is not a number
rows 5, readings 4, left out 1; unit Bq/m3 by column name; zone Europe/Oslo by option; dates excel serial, unambiguous; preamble 1; blank 1; step 1h0m0s
`},
	{"day-means.csv", Options{HomeFromFilename: true}, `error day-means.csv: column "home": says which home each row is from, and so does --home-from-filename; leave the option out, or let the column ride along with --column "home=text"
`},
	{"day-means.csv", Options{HomeFromFilename: true, Columns: map[string]string{"home": "text"}}, `2: day-means 2026-03-28T00:00:00Z 2026-03-29T00:00:00Z 100 home_2=A
3: day-means 2026-03-29T00:00:00Z 2026-03-30T00:00:00Z 101 home_2=A
4: day-means 2026-03-28T00:00:00Z 2026-03-29T00:00:00Z 102 home_2=B
rows 3, readings 3, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"two-sheets.xlsx", Options{}, `2: 0071 2025-01-10T00:00:00Z 2025-01-17T00:00:00Z 100
rows 1, readings 1, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous; sheet "2025", unread ["2026" "Rest"]
`},
	{"two-sheets.xlsx", Options{Sheet: "2026"}, `2: 0071 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 110
3: 0072 2026-01-10T00:00:00Z 2026-01-17T00:00:00Z 120
rows 2, readings 2, left out 0; unit Bq/m3 by column name; zone dates only; dates ymd, unambiguous
`},
	{"two-sheets.xlsx", Options{Sheet: "2027"}, `error two-sheets.xlsx: there is no worksheet "2027"; the worksheets are "About", "2025", "2026", "Rest", "Summary"; write the name in --sheet as it stands in the workbook
`},
	{"two-sheets.xlsx", Options{Sheet: "Summary"}, `error two-sheets.xlsx: the worksheet "Summary" has no line of column names with a value and a time among them; write the names of the columns in the first line, such as home,start,end,value,unit
`},
	{"clean.csv", Options{Sheet: "2026"}, `error clean.csv: is no workbook, so it has no worksheet "2026"; leave out --sheet, which is for .xlsx files
`},
	{"missing.csv", Options{}, `error missing.csv: there is no such file; check the path
`},
	{".", Options{}, `error ../testdata/messy: is a directory; name the files in it, such as *.csv
`},
}

func TestMessyFiles(t *testing.T) {
	dir := filepath.Join("..", "testdata", "messy")
	for _, c := range messy {
		got := account([]string{filepath.Join(dir, c.file)}, c.opt)
		got = strings.ReplaceAll(got, dir+string(filepath.Separator), "")
		if got != c.want {
			t.Errorf("%s %+v:\n%s\nwant:\n%s", c.file, c.opt, got, c.want)
		}
	}
}

// Every messy file is described in the README and read by a test.
func TestMessyFilesAreKnown(t *testing.T) {
	dir := filepath.Join("..", "testdata", "messy")
	readme, err := os.ReadFile(filepath.Join(dir, "README.md"))
	if err != nil {
		t.Fatal(err)
	}
	files, err := os.ReadDir(dir)
	if err != nil {
		t.Fatal(err)
	}
	for _, f := range files {
		name := f.Name()
		if name == "README.md" || name == "make.go" {
			continue
		}
		if !strings.Contains(string(readme), "`"+name+"`") {
			t.Errorf("%s has no line in the README", name)
		}
		read := false
		for _, c := range messy {
			read = read || c.file == name
		}
		if !read {
			t.Errorf("%s is read by no test", name)
		}
	}
}
