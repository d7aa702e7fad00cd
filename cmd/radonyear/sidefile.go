package main

import (
	"crypto/sha256"
	"encoding/csv"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/cmd/radonyear/internal/report"
)

// sideFile is a small CSV file beside the readings: switch times, dwellings, weather.
// It is refused whole where a line cannot be followed, since a home without its
// switch, or an area without its dwellings, would be another question.
type sideFile struct {
	path, hint string
	sum        report.Input
	header     []string // trimmed
	rows       []sideRow
}

type sideRow struct {
	line  int
	cells []string // trimmed, one a column of the header
}

// openSide reads a side file, which no output may replace. what says what it holds,
// hint what a line looks like.
func openSide(c *cli.Context, path, what, hint string) (sideFile, error) {
	f := sideFile{path: path, hint: hint}
	if err := refuseInputs(c, []string{path}); err != nil {
		return f, err
	}
	text, err := os.ReadFile(path)
	if err != nil {
		return f, hinted{fmt.Errorf("reading the %s %s: %w", what, path, bare(err)), hint}
	}
	f.sum = beside(path, text)
	in := csv.NewReader(strings.NewReader(strings.TrimPrefix(string(text), "\ufeff")))
	if head, _, _ := strings.Cut(string(text), "\n"); strings.Contains(head, ";") && !strings.Contains(head, ",") {
		in.Comma = ';'
	}
	in.FieldsPerRecord, in.TrimLeadingSpace = -1, true
	for {
		cells, err := in.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		var parse *csv.ParseError
		if errors.As(err, &parse) {
			return f, f.fail(parse.Line, "%v", parse.Err)
		}
		line, _ := in.FieldPos(0)
		for i := range cells {
			cells[i] = strings.TrimSpace(cells[i])
		}
		switch {
		case f.header == nil:
			f.header = cells
		case len(cells) != len(f.header):
			return f, f.fail(line, "%d columns under a header of %d", len(cells), len(f.header))
		default:
			f.rows = append(f.rows, sideRow{line, cells})
		}
	}
	if len(f.rows) == 0 {
		return f, hinted{fmt.Errorf("%s holds no %s", path, what), hint}
	}
	return f, nil
}

// beside is a file that was read beside the readings.
func beside(path string, text []byte) report.Input {
	sum := sha256.Sum256(text)
	return report.Input{Path: path, SHA256: hex.EncodeToString(sum[:])}
}

// fail is an error of a line.
func (f sideFile) fail(line int, format string, args ...any) error {
	return hinted{fmt.Errorf("%s:%d: %s", f.path, line, fmt.Sprintf(format, args...)), f.hint}
}

// column is where a column of one of these names stands, −1 if none does.
func (f sideFile) column(names ...string) int {
	return slices.IndexFunc(f.header, func(h string) bool { return slices.Contains(names, strings.ToLower(h)) })
}
