package analysis

import (
	"errors"
	"fmt"
	"strings"
)

// Method is what is to be known of a method before its numbers are trusted. Each
// package with methods lists its own in a variable Methods; the doc comments, the
// program's methods command and a report's last page say the same from it.
type Method struct {
	Key       string   // as in Estimate.Method: kebab-case, stable
	Title     string   // a line's worth of name
	Estimates string   // what, with its unit
	Formula   string   // in plain text
	Assumes   string   // and which method would do where that is broken
	Interval  string   // its kind, and its actual coverage where that is known to be poor
	Notes     []string // codes it can raise
	Sources   []Source
	Evidence  Evidence
}

// Evidence names what a method has been held to.
type Evidence struct {
	Reference string // the file under testdata/reference, or the printed table
	ByHand    string // the test whose comment derives an answer
	Coverage  string // the published table's row; "exact" with a reason, or "no interval", where none is needed
}

// Check reports what a method leaves unsaid.
func (m Method) Check() error {
	var missing []error
	for _, f := range []struct{ name, text string }{
		{"a key", m.Key}, {"a title", m.Title}, {"what it estimates", m.Estimates}, {"a formula", m.Formula},
		{"what it assumes", m.Assumes}, {"what its interval promises", m.Interval},
		{"a reference case", m.Evidence.Reference}, {"a by-hand case", m.Evidence.ByHand}, {"a coverage row", m.Evidence.Coverage},
	} {
		if strings.TrimSpace(f.text) == "" {
			missing = append(missing, fmt.Errorf("method %q lacks %s", m.Key, f.name))
		}
	}
	for _, text := range []string{m.Estimates, m.Formula, m.Assumes, m.Interval} {
		if text != "" && !strings.HasSuffix(text, ".") {
			missing = append(missing, fmt.Errorf("method %q has no full stop after %q", m.Key, text))
		}
	}
	if len(m.Sources) == 0 {
		missing = append(missing, fmt.Errorf("method %q lacks a source", m.Key))
	}
	for _, s := range m.Sources {
		if s.Key == "" || s.Cite == "" {
			missing = append(missing, fmt.Errorf("method %q has a source without a key or a citation", m.Key))
		}
	}
	return errors.Join(missing...)
}

// CoverageRow says how often an interval held the truth in simulated data. A
// package that publishes such a table makes it in a function CoverageTable, and
// keeps it in its COVERAGE.md. The shares are of the trials answered.
type CoverageRow struct {
	Quantity, Method, Setting string
	Trials                    int
	Asked                     float64 // the confidence asked for
	Answered                  float64 // share of trials with an interval
	Held                      float64 // share of intervals that held the truth
	Under, Over               float64 // share with the truth under the lower limit, over the upper
	Width                     float64 // median of upper limit over lower
}
