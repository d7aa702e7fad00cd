//go:build ignore

// Command make writes the messy files that no text editor writes: other
// encodings, line endings, gzip and workbooks. Run it in this folder:
//
//	go run make.go
package main

import (
	"bytes"
	"compress/gzip"
	"log"
	"os"
	"strings"

	"github.com/xuri/excelize/v2"
	"golang.org/x/text/encoding/charmap"
	"golang.org/x/text/encoding/unicode"
)

const readings = "home,room,start,end,Radon (Bq/m³)\nÅs,Küche,2026-01-10,2026-01-17,165\nØy,Bad,2026-01-10,2026-01-17,100\n"

func main() {
	put("utf8-bom.csv", "\ufeff"+readings)
	put("utf16le.csv", utf16(unicode.LittleEndian, unicode.UseBOM))
	put("utf16be.csv", utf16(unicode.BigEndian, unicode.UseBOM))
	put("utf16le-no-mark.csv", utf16(unicode.LittleEndian, unicode.IgnoreBOM))
	latin, err := charmap.ISO8859_1.NewEncoder().String(readings)
	check(err)
	put("latin1.csv", latin)
	put("crlf.csv", strings.ReplaceAll(readings, "\n", "\r\n"))
	put("cr-only.csv", strings.ReplaceAll(readings, "\n", "\r"))
	put("zero-bytes.csv", strings.Replace(readings, "Bad", "B\x00d", 1))
	put("long-line.csv.gz", zip(strings.Replace(readings, "Bad", strings.Repeat("x", 1<<20), 1)))
	put("zipped.csv.gz", zip(readings))
	z := zip(strings.Repeat(readings, 50))
	put("cut-short.csv.gz", z[:len(z)-20])

	workbook("workbook.xlsx", false)
	workbook("workbook-1904.xlsx", true)
	sheets("two-sheets.xlsx")
}

// sheets writes a workbook with a sheet a year, the last one without a header
// line, between sheets of other matter.
func sheets(name string) {
	f := excelize.NewFile()
	check(f.SetSheetName("Sheet1", "About"))
	for _, s := range []struct {
		name string
		rows [][]any
	}{
		{"About", [][]any{{"invented readings", 2026}}},
		{"2025", [][]any{{"Home", "Start", "End", "Radon (Bq/m3)"}, {"0071", "2025-01-10", "2025-01-17", 100}}},
		{"2026", [][]any{{"Home", "Start", "End", "Radon (Bq/m3)"}, {"0071", "2026-01-10", "2026-01-17", 110}, {"0072", "2026-01-10", "2026-01-17", 120}}},
		{"Rest", [][]any{{"0073", "2026-01-10", "2026-01-17", 130}}},
		{"Summary", [][]any{{"homes", 3}, {"mean", 115}}},
	} {
		_, err := f.NewSheet(s.name)
		check(err)
		for i, r := range s.rows {
			cell, err := excelize.CoordinatesToCellName(1, i+1)
			check(err)
			check(f.SetSheetRow(s.name, cell, &r))
		}
	}
	check(f.SaveAs(name))
}

// workbook writes an hourly log below a line of text, after a sheet without readings.
func workbook(name string, from1904 bool) {
	f := excelize.NewFile()
	check(f.SetSheetName("Sheet1", "About"))
	check(f.SetCellValue("About", "A1", "invented readings"))
	_, err := f.NewSheet("Readings")
	check(err)
	check(f.SetWorkbookProps(&excelize.WorkbookPropsOptions{Date1904: &from1904}))
	day := 46032.0 // 2026-01-10
	if from1904 {
		day -= 1462
	}
	rows := [][]any{
		{"Basement, 2026"},
		{},
		{"Home", "Date/Time", "Radon (Bq/m3)", "Note"},
		{"0071", day + 12.0/24, 100, "first"},
		{"0071", day + 13.0/24, 101.5},
		{},
		{"0071", day + 14.0/24, "<15", ""},
		{"0071", "2026-01-10 15:00", 103},
		{"0071", day + 16.0/24, "none today"},
	}
	style, err := f.NewStyle(&excelize.Style{NumFmt: 22})
	check(err)
	for i, r := range rows {
		cell, err := excelize.CoordinatesToCellName(1, i+1)
		check(err)
		check(f.SetSheetRow("Readings", cell, &r))
	}
	check(f.SetCellStyle("Readings", "B4", "B7", style))
	check(f.SaveAs(name))
}

func utf16(order unicode.Endianness, bom unicode.BOMPolicy) string {
	s, err := unicode.UTF16(order, bom).NewEncoder().String(readings)
	check(err)
	return s
}

func zip(s string) string {
	var b bytes.Buffer
	w := gzip.NewWriter(&b)
	_, err := w.Write([]byte(s))
	check(err)
	check(w.Close())
	return b.String()
}

func put(name, s string) { check(os.WriteFile(name, []byte(s), 0o644)) }

func check(err error) {
	if err != nil {
		log.Fatal(err)
	}
}
