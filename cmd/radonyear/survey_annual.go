package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/lognormal"
	"radonyear/analysis/season"
	"radonyear/analysis/survey"
	"radonyear/analysis/temporal"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// What radonyear annual wrote, as CSV or JSON, may be surveyed in place of readings:
// a home's annual mean is its estimate, and its log_error, or its interval where a file
// has none, says how well it is known.

// annualColumns are those by which its CSV is known.
var annualColumns = []string{"home", "area", "start", "end", "raw_mean", "season_factor", "annual_mean", "annual_mean_lower", "annual_mean_upper", "annual_mean_confidence", "raw_mean_below_limit"}

// annualPhase is the column of the side of a mitigation, and annualError that of how far
// off an annual mean is as a rule, which is less than its interval says; a file may be
// without.
const (
	annualPhase = "phase"
	annualError = "log_error"
)

// annualRow is one result.
type annualRow struct {
	home, area  string
	phase       string // before or after; empty where that is not known
	start, end  time.Time
	days        float64 // measured; 0 where that is not told
	raw, factor float64
	mean        [3]float64 // value, lower, upper
	confidence  float64
	logError    float64 // root mean square error of the mean's logarithm; 0: by its interval
	below       bool
	where       string // for an error
	extra       map[string]string
}

// annualFiles says which of the files hold annual means.
func annualFiles(paths []string) (some []string) {
	for _, path := range paths {
		if path == "-" {
			continue
		}
		f, err := os.Open(path)
		if err != nil {
			continue // reading it says why
		}
		head := make([]byte, 1<<12)
		n, _ := io.ReadFull(f, head)
		f.Close()
		head = bytes.TrimPrefix(head[:n], []byte("\ufeff"))
		line, _, _ := strings.Cut(string(head), "\n")
		names := strings.Split(strings.TrimSpace(line), ",")
		isCSV := !slices.ContainsFunc(annualColumns, func(c string) bool { return !slices.Contains(names, c) })
		text := strings.Join(strings.Fields(string(head)), "")
		if isCSV || strings.HasPrefix(text, `{"schema":"radonyear/`) && strings.Contains(text, `"command":"annual"`) {
			some = append(some, path)
		}
	}
	return some
}

// annualMissing is what radonyear annual itself had left out.
type annualMissing struct {
	homes, rows int64
	above       int64            // of the rows, results above what the detector could measure
	named       []report.LeftOut // of the homes those that are known by name
}

// readAnnual reads homes from what radonyear annual wrote. What was measured after
// mitigation is left out, as it is of readings.
func (q communityQuestion) readAnnual(c *cli.Context, in *communityRead) error {
	paths, err := inputPaths(c)
	if err != nil {
		return err
	}
	if q.testError == "none" {
		return usageError{"--test-error none is for readings; annual means bring their own error", "leave it out, or give the readings"}
	}
	seen := map[[2]string]string{}
	var lost annualMissing
	unsaid := 0 // homes of which the phase is not known
	after := 0  // homes of after mitigation
	for _, path := range paths {
		text, err := os.ReadFile(path)
		if err != nil {
			return hinted{fmt.Errorf("%s: %w", path, bare(err)), "check the path"}
		}
		sum := sha256.Sum256(text)
		f := ingest.File{Path: path, SHA256: hex.EncodeToString(sum[:])}
		text = bytes.TrimPrefix(text, []byte("\ufeff"))
		var rows []annualRow
		var missing annualMissing
		if bytes.HasPrefix(bytes.TrimSpace(text), []byte("{")) {
			rows, missing, err = annualJSON(path, text)
		} else {
			rows, missing, f.ColumnsExtra, err = annualCSV(path, text)
		}
		if err != nil {
			return err
		}
		for _, n := range q.needs() {
			if n[1] == annualError {
				return usageError{fmt.Sprintf("--%s %s: that is what homes' errors are by without the option", n[0], n[1]), "leave it out"}
			}
			if !slices.Contains(f.ColumnsExtra, n[1]) {
				return usageError{fmt.Sprintf("--%s %s: %s has no such column", n[0], n[1], path), "add the column to the CSV of radonyear annual, or give the readings"}
			}
		}
		f.Rows, f.Readings = int64(len(rows)), int64(len(rows))
		in.files = append(in.files, f)
		lost.homes, lost.rows, lost.above = lost.homes+missing.homes, lost.rows+missing.rows, lost.above+missing.above
		for _, l := range missing.named {
			in.left = append(in.left, report.LeftOut{Place: l.Place, Why: "left out by radonyear annual: " + l.Why})
		}
		for _, r := range rows {
			key := [2]string{r.area, r.home}
			if other, twice := seen[key]; twice {
				return hinted{fmt.Errorf("%s: home %q stands there twice, first in %s", r.where, r.home, other), "a home counts once: radonyear annual --by home, and no home in two files"}
			}
			seen[key] = r.where
			place := analysis.Place{Home: r.home, Area: r.area}
			if r.phase == "after" {
				after++
				in.left = append(in.left, report.LeftOut{Place: place, Why: onlyAfter})
				continue
			}
			s, err := q.fromAnnual(r)
			if err != nil {
				in.left = append(in.left, report.LeftOut{Place: place, Why: err.Error()})
				continue
			}
			if r.phase == "" {
				unsaid++
			}
			in.all = append(in.all, s)
		}
	}
	if n := len(in.left); n > 0 && in.all == nil && after == n {
		return hinted{fmt.Errorf("no result: all annual means in %s are of homes with mitigation (phase after), which are no survey of homes as they are", strings.Join(paths, ", ")), "radonyear annual --phase before, or give the readings"}
	}
	slices.SortStableFunc(in.all, func(a, b surveyed) int { return strings.Compare(a.name, b.name) })
	from := "The homes' annual means and intervals are those that radonyear annual wrote, by the profile and uncertainties given there; of what is told of them here, only what tests of one season have in common is by this profile. How homes were drawn stands in no such file, so there are no design-based figures beside the modelled ones: give the readings for those."
	if unsaid > 0 {
		from += fmt.Sprintf(" Of %s they do not state whether that was before or after mitigation: taken as before.", count(unsaid, "home"))
	}
	in.notes = append(in.notes, analysis.Note{Code: "from-annual", Text: from})
	var parts []string
	if lost.homes > 0 {
		parts = append(parts, count(int(lost.homes), "home"))
	}
	if lost.rows > 0 {
		parts = append(parts, count(int(lost.rows), "row"))
	}
	if parts != nil {
		in.notes = append(in.notes, analysis.Note{Code: annualLeftOut, Text: "Left out by radonyear annual, and so no part of this either: " + strings.Join(parts, " and ") + ". A survey of the readings judges them itself."})
	}
	if lost.above > 0 {
		in.notes = append(in.notes, aboveNote(lost.above))
	}
	return nil
}

// annualLeftOut is the code of the note on what radonyear annual had left out.
const annualLeftOut = "annual-left-out"

func annualCSV(path string, text []byte) (rows []annualRow, missing annualMissing, extra []string, err error) {
	in := csv.NewReader(bytes.NewReader(text))
	in.FieldsPerRecord = -1
	fail := func(line int, format string, args ...any) error {
		return hinted{fmt.Errorf("%s:%d: %s", path, line, fmt.Sprintf(format, args...)), "the file is to be as radonyear annual --format csv wrote it; columns may be added"}
	}
	var head []string
	at := map[string]int{}
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			return nil, missing, nil, fail(parse.Line, "%v", parse.Err)
		} else if err != nil {
			return nil, missing, nil, fail(1, "%v", err)
		}
		line, _ := in.FieldPos(0)
		if head == nil {
			head = cells
			for i, name := range head {
				if _, twice := at[name]; twice {
					return nil, missing, nil, fail(line, "two columns are called %q", name)
				}
				at[name] = i
				if !slices.Contains(annualColumns, name) && name != annualPhase && name != annualError {
					extra = append(extra, name)
				}
			}
			for _, name := range annualColumns {
				if _, ok := at[name]; !ok {
					return nil, missing, nil, fail(line, "there is no column %s, as in the other files of annual means", name)
				}
			}
			continue
		}
		if len(cells) != len(head) {
			return nil, missing, nil, fail(line, "%d columns under a header of %d", len(cells), len(head))
		}
		r := annualRow{home: cells[at["home"]], area: cells[at["area"]], where: fmt.Sprintf("%s:%d", path, line), extra: map[string]string{}}
		for _, name := range extra {
			r.extra[name] = strings.TrimSpace(cells[at[name]])
		}
		if k, ok := at[annualPhase]; ok {
			if r.phase, ok = knownPhase(cells[k]); !ok {
				return nil, missing, nil, fail(line, "column %s: %q is neither before nor after, nor empty", annualPhase, cells[k])
			}
		}
		// Every row says the same of the whole run.
		for _, n := range []struct {
			name string
			to   *int64
		}{{"rows_left_out", &missing.rows}, {"homes_left_out", &missing.homes}, {"rows_above_range", &missing.above}} {
			k, ok := at[n.name]
			if !ok || cells[k] == "" {
				continue
			}
			x, err := strconv.ParseInt(cells[k], 10, 64)
			if err != nil || x < 0 {
				return nil, missing, nil, fail(line, "column %s: %q is not a whole number from 0 on", n.name, cells[k])
			}
			*n.to = max(*n.to, x)
		}
		for _, n := range []struct {
			name  string
			to    *float64
			empty float64 // what an empty cell means
		}{{"days_measured", &r.days, 0}, {"raw_mean", &r.raw, 0}, {"season_factor", &r.factor, 1}, {"annual_mean", &r.mean[0], 0}, {"annual_mean_lower", &r.mean[1], 0}, {"annual_mean_upper", &r.mean[2], math.Inf(1)}, {"annual_mean_confidence", &r.confidence, 0.95}, {annualError, &r.logError, 0}} {
			k, ok := at[n.name]
			if *n.to = n.empty; !ok || cells[k] == "" {
				continue
			}
			cell := cells[k]
			if *n.to, err = strconv.ParseFloat(cell, 64); err != nil || math.IsNaN(*n.to) || *n.to < 0 {
				return nil, missing, nil, fail(line, "column %s: %q is not a number from 0 on", n.name, cell)
			}
		}
		for _, n := range []struct {
			name string
			to   *time.Time
		}{{"start", &r.start}, {"end", &r.end}} {
			if cell := cells[at[n.name]]; cell != "" {
				if *n.to, err = time.Parse(time.RFC3339, cell); err != nil {
					return nil, missing, nil, fail(line, "column %s: %q is not a time such as 2025-01-31T08:00:00Z", n.name, cell)
				}
			}
		}
		switch cell := cells[at["raw_mean_below_limit"]]; cell {
		case "true", "false":
			r.below = cell == "true"
		default:
			return nil, missing, nil, fail(line, "column raw_mean_below_limit: %q is neither true nor false", cell)
		}
		rows = append(rows, r)
	}
	return rows, missing, extra, nil
}

func annualJSON(path string, text []byte) (rows []annualRow, missing annualMissing, err error) {
	var doc struct {
		Command  string
		Settings struct{ Phase *string }
		Inputs   []struct {
			Rejected int64
			Above    int64 `json:"above_range"`
		}
		LeftOut []struct{ Home, Area, Room, Why string } `json:"left_out"`
		Results []struct {
			Home, Area string
			Phase      *string
			Start, End *time.Time
			Days       float64                                            `json:"days_measured"`
			RawMean    *float64                                           `json:"raw_mean"`
			Factor     *float64                                           `json:"season_factor"`
			LogError   *float64                                           `json:"log_error"`
			Below      bool                                               `json:"raw_mean_below_limit"`
			Mean       struct{ Value, Lower, Upper, Confidence *float64 } `json:"annual_mean"`
		}
	}
	hint := "the file is to be as radonyear annual --format json wrote it"
	if err := json.Unmarshal(text, &doc); err != nil {
		return nil, missing, hinted{fmt.Errorf("%s: %w", path, err), hint}
	}
	if doc.Command != "annual" {
		return nil, missing, hinted{fmt.Errorf("%s: it is of the command %q, not annual", path, doc.Command), hint}
	}
	for _, in := range doc.Inputs {
		missing.rows, missing.above = missing.rows+in.Rejected, missing.above+in.Above
	}
	for _, l := range doc.LeftOut {
		missing.homes++
		missing.named = append(missing.named, report.LeftOut{Place: analysis.Place{Home: l.Home, Area: l.Area, Room: l.Room}, Why: l.Why})
	}
	or := func(x *float64, y float64) float64 {
		if x == nil {
			return y
		}
		return *x
	}
	for i, x := range doc.Results {
		r := annualRow{home: x.Home, area: x.Area, days: x.Days, raw: or(x.RawMean, 0), factor: or(x.Factor, 1), below: x.Below, confidence: or(x.Mean.Confidence, 0.95), logError: or(x.LogError, 0),
			mean: [3]float64{or(x.Mean.Value, 0), or(x.Mean.Lower, 0), or(x.Mean.Upper, math.Inf(1))}, where: fmt.Sprintf("%s: result %d", path, i+1)}
		phase := x.Phase
		if phase == nil {
			phase = doc.Settings.Phase
		}
		if phase != nil {
			var ok bool
			if r.phase, ok = knownPhase(*phase); !ok {
				return nil, missing, hinted{fmt.Errorf("%s: phase %q is neither before nor after, nor empty", r.where, *phase), hint}
			}
		}
		if x.Start != nil {
			r.start = *x.Start
		}
		if x.End != nil {
			r.end = *x.End
		}
		rows = append(rows, r)
	}
	return rows, missing, nil
}

// knownPhase is a phase as its cell has it, and whether it is one.
func knownPhase(cell string) (string, bool) {
	phase := strings.ToLower(strings.TrimSpace(cell))
	return phase, slices.Contains([]string{"", "before", "after"}, phase)
}

// fromAnnual is a home of an annual mean with its interval.
func (q communityQuestion) fromAnnual(r annualRow) (surveyed, error) {
	s := surveyed{name: r.home, extra: r.extra}
	group := r.area
	for _, n := range q.needs() {
		if r.extra[n[1]] == "" {
			return s, fmt.Errorf("no %s", n[1])
		}
	}
	if q.by != "area" {
		group = r.extra[q.by]
	}
	v, lower, upper := r.mean[0], r.mean[1], r.mean[2]
	if !(lower > 0 && lower < v && v < upper && !math.IsInf(upper, 1) && r.confidence >= 0.5 && r.confidence < 1) {
		return s, fmt.Errorf("its annual mean of %g (%g to %g) has no interval to reckon with", v, lower, upper)
	}
	se := r.logError
	if se == 0 {
		se = math.Log(upper/lower) / (2 * math.Sqrt2 * math.Erfinv(r.confidence))
	}
	s.home = survey.Home{Area: group, Log: math.Log(v), SE: se}
	raw := lognormal.Exact(r.raw)
	if r.below {
		raw = lognormal.Below(r.raw)
		s.home = survey.Home{Area: group, Below: true, Log: math.Log(max(r.raw, temporal.ZeroLimit) * r.factor), SE: se}
	}
	switch {
	case r.raw > 0:
	case r.below: // a result of zero
		raw = lognormal.Below(temporal.ZeroLimit)
	default:
		raw = lognormal.Exact(v)
	}
	s.raw = survey.FromObservation(group, raw)
	if q.byColumn() {
		e, err := statedError(q.testError, r.extra[q.testError])
		if err != nil {
			return s, err
		}
		s.home.SE = e
		return s, nil
	}
	if !r.start.IsZero() && r.end.After(r.start) {
		// The row's times are in UTC, and its days were of the home's own zone.
		from, to := r.start, r.end
		if half := 12 * time.Hour; to.Sub(from) > 2*half {
			from, to = from.Add(half), to.Add(-half)
		}
		s.mid = r.start.Add(r.end.Sub(r.start) / 2)
		if span := r.end.Sub(r.start).Hours() / 24; r.days == 0 || r.days > 0.9*span {
			s.in = addQuarters(nil, from, to)
		} else { // with gaps, and nothing says where
			s.in = addQuarters(addQuarters(nil, from, from.Add(time.Hour)), to.Add(-time.Hour), to)
			s.fewDays = r.days < season.MostOfYear
		}
		first, last := temporal.Day(r.start, r.start.Location()), temporal.Day(r.end.Add(-time.Second), r.end.Location())
		cover := make([]float64, last-first+1)
		for i := range cover {
			cover[i] = 1
		}
		s.test = testOf(first, cover, se*math.Sqrt(survey.WeatherShare(q.Course)))
	}
	return s, nil
}
