package ingest

import (
	"errors"
	"fmt"
	"io"
	"os"
	"slices"
	"strconv"
	"strings"

	"github.com/xuri/excelize/v2"
)

// xlsxReader reads the sheet of a workbook that Options.Sheet names, or the first
// that has a line of column names. Numbers come unformatted, times as the sheet's
// day numbers.
type xlsxReader struct {
	name     string
	book     *excelize.File
	rows     *excelize.Rows
	sheet    string
	unread   []string // other sheets that look like readings
	names    []string
	line     int
	row      []cell
	from1904 bool
	preamble int64
	blank    int64
}

// unzipLimit bounds what a workbook may unpack to, by its size on disk, so
// that a small damaged file cannot fill the memory.
func unzipLimit(path string) (int64, error) {
	st, err := os.Stat(path)
	if err != nil {
		return 0, err
	}
	return min(8<<30, 64<<20+st.Size()*200), nil
}

func openXLSX(path, name string, opt *Options) (x *xlsxReader, err error) {
	damaged := func(err error) error {
		return &FileError{File: name, Why: "not a workbook that can be read: " + err.Error(), Hint: "save it again as .xlsx, or as .csv", Err: err}
	}
	defer func() { // the library indexes into what a damaged workbook declares
		if p := recover(); p != nil {
			x, err = nil, damaged(fmt.Errorf("%v", p))
		}
	}()
	limit, err := unzipLimit(path)
	if err != nil {
		return nil, fileTrouble(name, err)
	}
	book, err := excelize.OpenFile(path, excelize.Options{RawCellValue: true, UnzipSizeLimit: limit})
	if err != nil {
		return nil, damaged(err)
	}
	x = &xlsxReader{name: name, book: book}
	if props, err := book.GetWorkbookProps(); err == nil && props.Date1904 != nil {
		x.from1904 = *props.Date1904
	}
	sheets := book.GetSheetList()
	if opt.Sheet != "" && !slices.Contains(sheets, opt.Sheet) {
		book.Close()
		return nil, &FileError{File: name, Why: "there is no worksheet " + quote(opt.Sheet) + "; the worksheets are " + quoteList(sheets), Hint: "write the name in --sheet as it stands in the workbook"}
	}
	for _, sheet := range sheets {
		if opt.Sheet != "" && sheet != opt.Sheet {
			continue // it was chosen, so nothing need be said of the others
		}
		records, err := sheetHead(book, sheet)
		if err != nil {
			continue // a sheet of charts
		}
		n := findHeader(records, opt)
		if x.rows != nil || n < 0 {
			if n >= 0 || holdReadings(records) {
				x.unread = append(x.unread, sheet)
			}
			continue
		}
		x.sheet, x.names = sheet, trimNames(records[n].fields)
		if x.rows, err = book.Rows(sheet); err != nil {
			book.Close()
			return nil, damaged(err)
		}
		x.preamble = int64(n)
		for x.line < records[n].line && x.rows.Next() {
			x.line++
			if _, err := x.rows.Columns(); err != nil {
				book.Close()
				return nil, damaged(err)
			}
		}
	}
	if x.rows != nil {
		return x, nil
	}
	book.Close()
	why := "no worksheet has a line of column names with a value and a time among them"
	if opt.Sheet != "" {
		why = "the worksheet " + quote(opt.Sheet) + " has no line of column names with a value and a time among them"
	}
	return nil, &FileError{File: name, Why: why, Hint: noHeaderHint}
}

// sheetHead is the first rows of a sheet that are not blank.
func sheetHead(book *excelize.File, sheet string) (records []headRecord, err error) {
	rows, err := book.Rows(sheet)
	if err != nil {
		return nil, err
	}
	defer rows.Close()
	for line := 1; len(records) < 200 && line < 1000 && rows.Next(); line++ {
		fields, err := rows.Columns()
		if err != nil {
			break
		}
		if !allBlank(fields) {
			records = append(records, headRecord{fields, line})
		}
	}
	return records, nil
}

// holdReadings says whether a record without a header holds a time and a number
// beside it, as a sheet that goes on from another does.
func holdReadings(records []headRecord) bool {
	for _, r := range records {
		times, numbers := 0, 0
		for _, f := range r.fields {
			f = strings.TrimSpace(f)
			shape, _ := shapeOf(f)
			switch {
			case isStamp(f):
				times++
			case shape != notNumber:
				numbers++
			}
		}
		if times > 0 && times+numbers > 1 {
			return true
		}
	}
	return false
}

func (x *xlsxReader) header() []string { return x.names }

func (x *xlsxReader) next() (row []cell, line int, err error) {
	defer func() {
		if p := recover(); p != nil {
			row, err = nil, &FileError{File: x.name, Line: x.line, Why: fmt.Sprintf("the sheet is damaged: %v", p), Hint: "save it again as .xlsx, or as .csv"}
		}
	}()
	for {
		if !x.rows.Next() {
			if err := x.rows.Error(); err != nil && !errors.Is(err, io.EOF) {
				return nil, x.line, &FileError{File: x.name, Line: x.line, Why: "the sheet is damaged: " + err.Error(), Hint: "save it again as .xlsx, or as .csv", Err: err}
			}
			return nil, x.line, io.EOF
		}
		x.line++
		fields, err := x.rows.Columns()
		if err != nil {
			return nil, x.line, &FileError{File: x.name, Line: x.line, Why: "the sheet is damaged: " + err.Error(), Hint: "save it again as .xlsx, or as .csv", Err: err}
		}
		if allBlank(fields) {
			x.blank++
			continue
		}
		fields = trimTail(fields)
		x.row = x.row[:0]
		for _, f := range fields {
			x.row = append(x.row, sheetCell(strings.TrimSpace(f)))
		}
		if len(fields) > len(x.names) {
			return nil, x.line, RowError{File: x.name, Line: x.line, Row: joinCells(x.row), Why: plural(len(fields), "cell") + " where the header has " + itoa(len(x.names)) + "; name every column, or empty the cells beyond"}
		}
		for len(x.row) < len(x.names) {
			x.row = append(x.row, cell{})
		}
		return x.row, x.line, nil
	}
}

// sheetCell is a cell of a sheet, where a number is written the same in every
// country; its spelling is kept for identifiers.
func sheetCell(s string) cell {
	if s == "" {
		return cell{}
	}
	if c := s[0]; isDigit(c) || c == '-' || c == '.' {
		if x, err := strconv.ParseFloat(s, 64); err == nil && strings.IndexByte(s, 'x') < 0 && strings.IndexByte(s, '_') < 0 {
			return cell{kind: cellNumber, num: x, text: s}
		}
	}
	return cell{kind: cellText, text: s}
}

func (x *xlsxReader) describe(f *File) {
	f.Format = formatXLSX
	f.PreambleLines, f.BlankLines = x.preamble, x.blank
	f.Sheet, f.SheetsUnread = x.sheet, x.unread
}

func (x *xlsxReader) Close() error {
	x.rows.Close()
	return x.book.Close()
}
