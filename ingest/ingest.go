// Package ingest turns files of radon readings, as people really have them,
// into one normalised Arrow table, and that table into day means and series.
//
// The way of the data: Open reads CSV, Parquet, Arrow IPC or .xlsx files as a
// stream of raw rows; the normaliser settles units, times, names and limits
// once, at the door, and emits Arrow record batches with the columns of Schema;
// a row it cannot settle becomes a RowError and reading goes on. Table.Daily
// reduces the batches to mergeable day sums, and Daily.Series makes the checked
// analysis.Series that every method takes.
package ingest

import (
	"fmt"
	"io"
	"time"
)

// Options say what the files do not say of themselves. The zero value asks for
// files that are complete: a unit, and times with a zone or dates alone.
type Options struct {
	Unit             string            // "Bq/m3" or "pCi/L", for values whose unit no column or header names
	Zone             string            // IANA name or fixed offset such as "+01:00", for times without one
	DateOrder        string            // "ymd", "dmy" or "mdy", for dates that could be read two ways
	Decimal          string            // "." or ",", for numbers such as 1,234 that could be read two ways
	Columns          map[string]string // column name in the file → normalised name, or "text" to let it ride along
	Sheet            string            // which worksheet of a workbook; "" is the first that holds readings; an error where no file is a workbook
	HomeFromFilename bool              // the file's base name without extension is the home; an error where a column plainly says it
	Stdin            io.Reader         // what "-" reads
	MaxRejects       int               // how many RowErrors to keep in full; 0 means 1,000,000; the count is always exact
}

// RowError is a row that was left out, and why. Reading goes on after it.
type RowError struct {
	File   string
	Line   int    // 1 is the first line of the file, header included; in Parquet and IPC, the row number, from 1
	Column string // the column's name as the file spells it
	Value  string // what stood there
	Why    string // lower case, with a hint at the cure
	Row    string // the whole row, as text, so that nothing is lost
}

func (e RowError) Error() string {
	s := fmt.Sprintf("%s:%d: ", e.File, e.Line)
	if e.Column != "" {
		s += fmt.Sprintf("column %q: ", e.Column)
	}
	if e.Value != "" {
		s += fmt.Sprintf("%q: ", e.Value)
	}
	return s + e.Why
}

// OptionError is an option that no file could honour.
type OptionError struct{ Why, Hint string }

func (e *OptionError) Error() string { return e.Why }

// FileError is trouble that stops a file from being read at all.
type FileError struct {
	File   string
	Line   int // 0 where no line is to blame
	Column string
	Why    string
	Hint   string // what to do, with the option's name
	Err    error  // the cause, if another error is
}

func (e *FileError) Error() string {
	s := e.File
	if e.Line > 0 {
		s += fmt.Sprintf(":%d", e.Line)
	}
	s += ": "
	if e.Column != "" {
		s += fmt.Sprintf("column %q: ", e.Column)
	}
	return s + e.Why
}

// Unwrap gives the cause.
func (e *FileError) Unwrap() error { return e.Err }

// File is what was learned about one input.
type File struct {
	Path           string
	SHA256         string            // of the bytes as they stand on disk (compressed if they are); known once the file was read to its end
	Format         string            // "csv", "parquet", "arrow", "xlsx"
	Rows           int64             // data rows seen, rejected ones included
	Readings       int64             // readings made of them; more than Rows in a wide file
	Rejected       int64             // rows left out; in a wide file also single cells
	AboveRange     map[string]int64  // by phase, of Rejected those of field readings above what the detector could measure, as >1000; nil if none
	Unit           string            // "Bq/m3", "kBq/m3", "pCi/L" or "by row"
	UnitFrom       string            // "column name", "unit column", "units row", "value text", "option"
	Zone           string            // "UTC", an IANA name, "+01:00", "in the times", "dates only"
	ZoneFrom       string            // "column", "times", "option", "file metadata"
	DayOffset      string            // where times carry several offsets, the one that days are cut in: that of the earliest; "" elsewhere
	DateOrder      string            // "ymd", "dmy", "mdy", "month name", "excel serial", "epoch seconds", "epoch milliseconds", "typed"; of the first time read
	DateFrom       string            // "unambiguous", "a day above 12 on line N", "column name", "option"
	Encoding       string            // "utf-8", "utf-8 with byte-order mark", "utf-16le", "utf-16be", "windows-1252" (which holds latin-1); text files only
	Delimiter      string            // text files only
	Decimal        string            // "." or ","; text files only
	ColumnsFound   map[string]string // normalised name → the file's own name
	ColumnsExtra   []string          // columns that ride along
	ColumnsIgnored []string          // nested columns and other values no reading has; typed files only
	Wide           []string          // a wide file's value columns, one a room; nil otherwise
	UncertaintyK   float64           // the coverage factor stated uncertainties were divided by; 0 where none was named
	Sheet          string            // the worksheet that was read; .xlsx only
	SheetsUnread   []string          // other worksheets that look like readings, unless Options.Sheet chose; .xlsx only
	Step           time.Duration     // a log's usual time from one row of a detector to the next in time; 0 if rows say how long they lasted

	// What was passed over or set right without leaving a reading out.
	PreambleLines   int64 // lines above the header
	CommentLines    int64 // lines that begin with #
	BlankLines      int64 // empty lines, and lines of delimiters alone
	RepeatedHeaders int64 // the header again, as in files joined end to end
	EmptyCells      int64 // cells without a value in a wide file
	GapTimes        int64 // wall times that a zone's clocks skipped in spring, moved on by the gap
	RepeatedTimes   int64 // wall times that came twice in autumn, settled by the order of the rows
	GapLine         int64 // line (text) or row of the first of GapTimes; 0 if there is none
	RepeatedLine    int64 // and of RepeatedTimes

	lostRows int64 // of Rejected, those that are whole rows
}

// cell is one raw value: text from a text file, or what a typed file held.
type cell struct {
	kind cellKind
	text string    // cellText; a cellNumber may carry the file's own spelling, so that 0071 stays 0071
	num  float64   // cellNumber, and cellBool as 0 or 1
	time time.Time // cellTime: an instant
	zone string    // cellTime: the zone the file declares for it, "" if it says none (then time is a wall clock held as UTC)
}

type cellKind uint8

const (
	cellNull cellKind = iota
	cellText
	cellNumber
	cellBool
	cellTime
	cellDate // time holds midnight UTC of a civil date
)

// rowReader is one file as a stream of raw rows. Each format has one.
type rowReader interface {
	// header is the column names, known before the first row.
	header() []string
	// next returns the next data row and its line (text) or row number from 1
	// (typed files). The slice is only good until the next call. io.EOF ends
	// the stream; a *FileError is final; a RowError is one bad row, after which
	// the next call goes on.
	next() (row []cell, line int, err error)
	// describe fills in what the reader learned: Format, Encoding, Delimiter.
	describe(*File)
	io.Closer
}
