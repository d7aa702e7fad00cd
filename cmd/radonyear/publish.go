package main

import (
	"crypto/hmac"
	"crypto/sha256"
	"encoding/base32"
	"encoding/binary"
	"errors"
	"fmt"
	"maps"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/annual"
	"radonyear/analysis/survey"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// A published document is built anew, of a survey.Published or PublishedValues and
// of words of our own, and never by taking things out of the full one: what nobody
// put in cannot leave. That is why it names no input (a file's name and its digest
// tell whose it is), and why its notes and reasons are from lists.

// publishFlags are the options of every command that can publish.
func publishFlags() []cli.Flag {
	return []cli.Flag{
		&cli.BoolFlag{Name: "publish", Usage: "give only what is safe to publish: nothing on fewer homes than --min-cell, no home, no date, counts and digits rounded"},
		&cli.IntFlag{Name: "min-cell", Value: survey.DefaultMinCell, Usage: fmt.Sprintf("of --publish, the fewest `HOMES` a figure may rest on (default %d, at least %d)", survey.DefaultMinCell, survey.LeastMinCell)},
		&cli.StringFlag{Name: "key-file", Usage: fmt.Sprintf("of --publish, a `FILE` with a secret of %d bytes or more: homes without a result are named by pseudonyms made with it, where they are as many as --min-cell (default: not at all)", leastKey)},
	}
}

// publishing is how to publish.
type publishing struct {
	survey.PublishOptions
	key []byte // nil: no pseudonyms
}

// mayPublish are the options that can be given with --publish: what they ask for
// passes through the gate. Another one, which may write or say more, is refused
// until someone has thought about it.
var mayPublish = []string{"publish", "community", "min-cell", "key-file", "by", "level", "confidence", "recruitment", "test-error", "populations", "exceeds", "seed",
	"profile", "course", "hemisphere", "calibration", "rule", "outdoor", "error", "method", "phase",
	"unit", "zone", "date-order", "decimal", "column", "sheet", "home-from-filename", "format", "output", "map", "map-key"}

// publishes says whether what is written is to be published, and by which option.
func publishes(c *cli.Context) (option string, yes bool) {
	for _, option := range []string{"publish", "community"} {
		if c.Bool(option) {
			return option, true
		}
	}
	return "", false
}

// parsePublish is nil where nothing is to be published.
func (p *program) parsePublish(c *cli.Context) (*publishing, error) {
	asked, yes := publishes(c)
	if !yes {
		for _, option := range []string{"min-cell", "key-file"} {
			if c.IsSet(option) {
				return nil, usageError{fmt.Sprintf("--%s is of --publish, which is not given", option), "add --publish, or leave out --" + option}
			}
		}
		return nil, nil
	}
	for _, option := range c.LocalFlagNames() {
		if asked == "community" && option == "min-homes" {
			continue // a page marks areas by the counts that it publishes, and so says no more
		}
		if !slices.Contains(mayPublish, option) {
			return nil, usageError{fmt.Sprintf("--%s does not go with --%s: what it writes is not for publishing", option, asked), fmt.Sprintf("run once with --%s for yourself, and once with --%s", option, asked)}
		}
	}
	out := &publishing{PublishOptions: survey.PublishOptions{MinCell: c.Int("min-cell")}}
	if out.MinCell < survey.LeastMinCell {
		return nil, usageError{fmt.Sprintf("--min-cell %d: %d homes are the fewest that a published figure may rest on", out.MinCell, survey.LeastMinCell), fmt.Sprintf("--min-cell %d", survey.DefaultMinCell)}
	}
	if err := publishedLevels(c); err != nil {
		return nil, err
	}
	if path := c.String("key-file"); c.IsSet("key-file") {
		if file := c.String("output"); file != "" && file != "-" && sameTarget(file, path) {
			return nil, usageError{fmt.Sprintf("--output would overwrite the key file %s", path), "give another file name"}
		}
		if err := refuseInput("--key-file", path, c.Args().Slice()); err != nil {
			return nil, usageError{fmt.Sprintf("the key file %s is one of the files to read, which others have", path), keyHint}
		}
		var err error
		if out.key, err = p.readKey(path); err != nil {
			return nil, err
		}
	}
	return out, nil
}

// mostPublished is how many levels one publication has. Between any two of them lie
// homes that it counts, and two publications with levels that are near each other count
// those between; so levels are few, and such as others would take as well.
const mostPublished = 4

func publishedLevels(c *cli.Context) error {
	if !c.IsSet("level") {
		return nil
	}
	levels, _, err := parseLevels(c)
	if err != nil {
		return err
	}
	if len(levels) > mostPublished {
		return usageError{fmt.Sprintf("%d levels are not published together: each tells more of the homes between it and the next", len(levels)), fmt.Sprintf("give %d levels at most, those that decisions are made by", mostPublished)}
	}
	for _, l := range levels {
		if l != survey.Digits(l, 0) && !slices.ContainsFunc(annual.Levels(), func(known annual.Level) bool { return known.Bq == l }) {
			return usageError{fmt.Sprintf("a level of %g Bq/m3 is not published: beside one nearby it could single out a home", l), fmt.Sprintf("--level %g, with two digits, or a level of an authority, such as 148 (4 pCi/L); radonyear levels lists them", survey.Digits(l, 0))}
		}
	}
	return nil
}

const (
	leastKey = 32 // bytes: of the digest (RFC 2104, section 3, discourages shorter keys)
	mostKey  = 1 << 16
	keyHint  = "a secret of 32 random bytes or more that nobody else has, for example: head -c 32 /dev/urandom > publish.key; chmod 600 publish.key"
)

// readKey reads the secret of the pseudonyms, all bytes of the file but a line break
// at its end.
func (p *program) readKey(path string) ([]byte, error) {
	info, err := os.Stat(path)
	if err == nil && !info.Mode().IsRegular() {
		err = errors.New("not a regular file")
	}
	var key []byte
	if err == nil {
		key, err = os.ReadFile(path)
	}
	if err != nil {
		return nil, hinted{fmt.Errorf("reading the key file %s: %w", path, bare(err)), keyHint}
	}
	key = []byte(strings.TrimRight(string(key), "\r\n"))
	var different [256]bool
	kinds := 0
	for _, b := range key {
		if !different[b] {
			different[b] = true
			kinds++
		}
	}
	switch {
	case len(key) < leastKey:
		return nil, hinted{fmt.Errorf("the key file %s holds %s, and %d are the fewest: who guesses the key knows every home", path, count(len(key), "byte"), leastKey), keyHint}
	case len(key) > mostKey:
		return nil, hinted{fmt.Errorf("the key file %s holds more than %d bytes: it is no key", path, mostKey), keyHint}
	case kinds < 8:
		return nil, hinted{fmt.Errorf("the key file %s holds the same %s again and again: that can be guessed", path, count(kinds, "byte")), keyHint}
	}
	if info.Mode().Perm()&0o077 != 0 {
		fmt.Fprintf(p.stderr, "radonyear: hint: others on this computer may read the key file %s, and with it find every home: chmod 600 %[1]s\n", report.Plain(path))
	}
	return key, nil
}

// mac is HMAC-SHA-256 (RFC 2104, FIPS 198-1).
func mac(key, message []byte) []byte {
	h := hmac.New(sha256.New, key)
	h.Write(message)
	return h.Sum(nil)
}

// pseudonym stands for a home: the same with the same key, another with another, and
// without the key no way back to the home but guessing the key. 80 bits of the code
// are kept, so that two homes of a million have one name with a chance under 1e-12.
func (o *publishing) pseudonym(home analysis.Place) string {
	message := []byte("radonyear home")
	for _, part := range []string{home.Home, home.Area} { // a home is known by its name and its area
		message = binary.BigEndian.AppendUint64(message, uint64(len(part)))
		message = append(message, part...)
	}
	return "p-" + strings.ToLower(base32.StdEncoding.EncodeToString(mac(o.key, message)[:10]))
}

// publishedReasons are the reasons for having no result that may leave as they are;
// others may hold names and numbers of the home.
var publishedReasons = []string{noField, onlyAfter, failedDetector}

// leftOut are the homes without a result, by pseudonym, in the order of those; none
// where they are fewer than a cell, whose number is not told, and no reason that fewer
// share.
func (o *publishing) leftOut(left []report.LeftOut) (out []report.LeftOut) {
	if o.key == nil || len(left) < o.MinCell {
		return nil
	}
	n := map[string]int{}
	for _, l := range left {
		n[l.Why]++
	}
	told := slices.DeleteFunc(slices.Clone(publishedReasons), func(why string) bool { return n[why] < o.MinCell })
	slices.SortStableFunc(told, func(a, b string) int { return n[a] - n[b] })
	rest := len(left)
	for _, why := range told {
		rest -= n[why]
	}
	for rest > 0 && rest < o.MinCell { // so few would have the reason that is none
		rest += n[told[0]]
		told = told[1:]
	}
	for _, l := range left {
		why := "its readings do not do for a result"
		if slices.Contains(told, l.Why) {
			why = l.Why
		}
		out = append(out, report.LeftOut{Place: analysis.Place{Home: o.pseudonym(l.Place)}, Why: why})
	}
	slices.SortFunc(out, func(a, b report.LeftOut) int { return strings.Compare(a.Place.Home, b.Place.Home) })
	return out
}

// toldByListing says that the list of leftOut tells how many they are.
func (o *publishing) toldByListing(left []report.LeftOut) []survey.Withheld {
	if o.leftOut(left) == nil {
		return nil
	}
	return []survey.Withheld{{What: "homes without a result", Why: "named by pseudonyms alone; that list is of all of them and tells their number, which without a key file is told to within " + strconv.Itoa(o.MinCell)}}
}

// settings say how what is published was rounded.
func (o *publishing) settings() []report.Field {
	return []report.Field{{Name: "published", Value: true}, {Name: "min_cell", Value: o.MinCell}, {Name: "digits", Value: 2}, {Name: "pseudonyms", Value: o.key != nil}}
}

// notes are those of what was read, without a name or a number: each only where as many homes
// as a cell give rise to it, so that no one home's readings make or unmake it.
func (o *publishing) notes(after int) (notes []analysis.Note) {
	if after >= o.MinCell {
		notes = append(notes, analysis.Note{Code: "after-left-out", Text: "Readings from after mitigation were left out: " + asBefore + "."})
	}
	return notes
}

// untold is what is withheld of what was read. Of rows that were left out it is not known how many
// homes' they are, so it always stands.
func (o *publishing) untold(left []report.LeftOut) []survey.Withheld {
	return append([]survey.Withheld{{What: "whether rows were left out", Why: "they may be one home's; left out are those that cannot be read, and results above what the detector could measure, without which means and shares above a level come out too low"}}, o.toldByListing(left)...)
}

// missing is how many homes have no result, as counts are told.
func (o *publishing) missing(left []report.LeftOut) []report.Field {
	n := survey.AtLeast(len(left), o.MinCell)
	return []report.Field{{Name: "at_least", Value: n}, {Name: "at_most", Value: n + o.MinCell - 1}}
}

// withheldFields and withheldWords are the list of what was withheld.
func withheldFields(list []survey.Withheld) any {
	out := []any{}
	for _, w := range list {
		out = append(out, []report.Field{{Name: "what", Value: w.What}, {Name: "why", Value: w.Why}})
	}
	return out
}

func withheldWords(list []survey.Withheld) string {
	var parts []string
	for _, w := range list {
		parts = append(parts, w.What+" ("+w.Why+")")
	}
	return "Withheld or rounded: " + strings.Join(parts, "; ") + "."
}

// Two digits for people: tables of other results have three. A share is in percent.
func told(x float64) string { return strconv.FormatFloat(round(x), 'f', -1, 64) }
func toldShare(x float64) string {
	if x > 0 && x < 1e-4 {
		return "<0.01"
	}
	return told(100 * x)
}

// toldCells are an estimate and its limits for people, empty where it is withheld.
func toldCells(e *analysis.Estimate, told func(float64) string) (value, interval any) {
	if e == nil {
		return nil, nil
	}
	switch {
	case math.IsInf(e.Upper, 1):
		return told(e.Value), "over " + told(e.Lower)
	case math.IsInf(e.Lower, -1):
		return told(e.Value), "under " + told(e.Upper)
	}
	return told(e.Value), told(e.Lower) + "-" + told(e.Upper)
}

// openNearAll leaves the upper end of a counted share away where it is nearly all homes:
// two digits of the rest would be four of the share.
func openNearAll(upper float64) float64 {
	if upper > 0.99 {
		return math.Inf(1)
	}
	return upper
}

// ranged is a cell with a range, and toldRange the same for people; empty where it is
// withheld.
func ranged(r *survey.PublishedRange) any {
	if r == nil {
		return nil
	}
	return report.Range{Lower: r.Lower, Upper: r.Upper, Confidence: r.Confidence, Method: r.Method}
}

func toldRange(r *survey.PublishedRange) any {
	if r == nil {
		return nil
	}
	_, interval := toldCells(&analysis.Estimate{Lower: r.Lower, Upper: openNearAll(r.Upper)}, toldShare)
	return interval
}

// intervalHead is the head of a column of intervals.
func intervalHead(confidence float64) string {
	return fmt.Sprintf("%g %%\ninterval", round(100*confidence))
}

// limitsOfPublishing stand under everything published.
const limitsOfPublishing = "Publish one grouping of the same homes, once, and by one command: by other groups, levels, phase, rule, confidence or cell size, by the other of survey and describe, or again after a few homes were added, the figures can be subtracted from these."

// countWords is a count as it is told, for people.
func countWords(least, most int) string { return fmt.Sprintf("%d-%d", least, most) }

// published asks for exit status 3 where something was left out, and tells standard
// error how much, without a name.
func (p *program) published(files []ingest.File, left []report.LeftOut) error {
	if len(left) > 0 {
		fmt.Fprintf(p.stderr, "radonyear: skipped: %s without a result; run without --publish to see which\n", count(len(left), "home"))
	}
	unread := slices.ContainsFunc(files, func(f ingest.File) bool { return len(f.SheetsUnread) > 0 })
	if len(left) > 0 || rejectedRows(files) > 0 || unread {
		return errPartial
	}
	return nil
}

// quarterOf is the quarter of a year that a time lies in, counted from the year 0.
func quarterOf(t time.Time) int { return 4*t.Year() + (int(t.Month())-1)/3 }

// addQuarters adds the quarters that something was measured in, from start to end.
func addQuarters(to []int, start, end time.Time) []int {
	for q, last := quarterOf(start), quarterOf(end.Add(-time.Nanosecond)); q <= last; q++ {
		if !slices.Contains(to, q) {
			to = append(to, q)
		}
	}
	return to
}

// quarters are the quarters of years in which at least min of the homes were measured, each
// home given by all of its own: a rarer one could tell of a home.
func quarters(homes [][]int, min int) []string {
	n := map[int]int{}
	for _, in := range homes {
		for _, q := range in {
			n[q]++
		}
	}
	out := []string{}
	for _, q := range slices.Sorted(maps.Keys(n)) {
		if n[q] >= min {
			out = append(out, fmt.Sprintf("%d-Q%d", q/4, q%4+1))
		}
	}
	return out
}

// quarterWords are a quarter's first and last month, for people, and its year.
func quarterWords(q string) (first, last, year string) {
	months := map[string][2]string{"Q1": {"January", "March"}, "Q2": {"April", "June"}, "Q3": {"July", "September"}, "Q4": {"October", "December"}}
	year, quarter, _ := strings.Cut(q, "-")
	return months[quarter][0], months[quarter][1], year
}

// quarterRun are quarters that follow on each other: the first and the last, by where they
// stand among all.
type quarterRun struct{ first, last int }

// quarterRuns are the runs of quarters in order.
func quarterRuns(all []string) (out []quarterRun) {
	at := func(q string) int {
		var year, quarter int
		fmt.Sscanf(q, "%d-Q%d", &year, &quarter)
		return 4*year + quarter
	}
	for i, q := range all {
		if i > 0 && at(q) == at(all[i-1])+1 {
			out[len(out)-1].last = i
		} else {
			out = append(out, quarterRun{i, i})
		}
	}
	return out
}

// quarterRunWords is a run for people: what stands before and after the "to", of which the
// first is the whole where the run is one quarter.
func quarterRunWords(all []string, r quarterRun) (from, to string) {
	first, last, year := quarterWords(all[r.first])
	if r.first == r.last {
		return first + " to " + last + " " + year, ""
	}
	_, end, endYear := quarterWords(all[r.last])
	return first + " " + year, end + " " + endYear
}
