package ingest

import (
	"bufio"
	"bytes"
	"errors"
	"io"
	"strings"
	"unicode/utf8"

	"golang.org/x/text/encoding/charmap"
)

// csvReader reads delimited text as encoding/csv does (its oracle in the
// tests), and goes on after damage: a record that cannot be parsed costs its
// first line, not the rest of the file up to the next quote.
type csvReader struct {
	name    string
	src     *textSource
	lines   lineSource
	delim   byte
	names   []string
	row     []cell
	fields  []string
	rawText string
	sum     string

	preamble, comments, blank int64
}

// A record may span this many lines or bytes by quoted newlines; past it, a
// quote without its partner is taken for the trouble.
const (
	recordLines = 200
	recordBytes = 1 << 20
)

// badLine is a record that could not be parsed.
type badLine struct {
	line int
	text string
	why  string
}

func (b *badLine) Error() string { return b.why }

// physLine is a line of the file without its ending. Of a long line only the
// beginning is kept.
type physLine struct {
	text string
	long bool
}

// lineSource hands out physical lines and takes lines back.
type lineSource struct {
	r        *bufio.Reader
	number   int        // of the line handed out last
	returned []physLine // lines to hand out again, the next one last
	err      error      // what ended the file; it stays
	fallback bool       // a line was not UTF-8 and was read as Windows-1252
}

func (l *lineSource) next() (physLine, error) {
	if n := len(l.returned); n > 0 {
		s := l.returned[n-1]
		l.returned = l.returned[:n-1]
		l.number++
		return s, nil
	}
	if l.err != nil {
		return physLine{}, l.err
	}
	b, err := l.r.ReadSlice('\n')
	if err == bufio.ErrBufferFull {
		p := physLine{strings.ToValidUTF8(string(b[:80]), "?"), true}
		for err == bufio.ErrBufferFull {
			_, err = l.r.ReadSlice('\n')
		}
		l.err = err
		l.number++
		return p, nil
	}
	l.err = err
	if err != nil && (err != io.EOF || len(b) == 0) {
		return physLine{}, err
	}
	b = bytes.TrimSuffix(b, []byte("\n"))
	b = bytes.TrimSuffix(b, []byte("\r"))
	if !utf8.Valid(b) {
		l.fallback = true
		b, _ = charmap.Windows1252.NewDecoder().Bytes(b) // total: every byte has a meaning or U+FFFD
	}
	l.number++
	return physLine{text: string(b)}, nil
}

// giveBack hands lines out again, the first of them next.
func (l *lineSource) giveBack(lines []physLine) {
	for i := len(lines) - 1; i >= 0; i-- {
		l.returned = append(l.returned, lines[i])
	}
	l.number -= len(lines)
}

// record reads the next record: its fields, its text and its first line.
// Comment and blank lines are passed over. A *badLine costs one line. A record
// of several lines is only believed if it has want fields (0: any number).
func (c *csvReader) record(fields []string, want int) ([]string, string, int, error) {
	for {
		p, err := c.lines.next()
		s, line := p.text, c.lines.number
		switch {
		case err != nil:
			return nil, "", line, err
		case p.long:
			return nil, s, line, &badLine{line, s, "the line is longer than a mebibyte"}
		case strings.TrimSpace(s) == "":
			c.blank++
			continue
		case s[0] == '#':
			c.comments++
			continue
		case strings.IndexByte(s, 0) >= 0:
			return nil, s, line, &badLine{line, s, "a zero byte stands in the line; the file may be damaged"}
		}
		if strings.IndexByte(s, '"') < 0 {
			return splitPlain(fields[:0], s, c.delim), s, line, nil
		}
		fields, text, err := c.quoted(fields[:0], s, want)
		if err != nil {
			return nil, s, line, &badLine{line, s, err.Error()}
		}
		return fields, text, line, nil
	}
}

var (
	errBareQuote = errors.New(`a quote stands inside an unquoted field; write it twice inside a quoted field, or remove it`)
	errAfterText = errors.New(`text stands after a closing quote; write quotes inside a quoted field twice`)
	errOpenQuote = errors.New(`a quote opens and is not closed; add the closing quote, or remove it`)
)

// quoted parses a record whose first line holds a quote, taking more lines
// while a quoted field is open. On failure every line but the first is given back.
func (c *csvReader) quoted(fields []string, s string, want int) ([]string, string, error) {
	out, err := splitQuoted(fields, s, c.delim)
	if err != errOpenQuote {
		return out, s, err
	}
	var more []physLine
	size, text := len(s), s
	for len(more) < recordLines && size < recordBytes {
		p, e := c.lines.next()
		if e != nil {
			break // the next call meets it again
		}
		more = append(more, p)
		if p.long {
			break
		}
		size += len(p.text) + 1
		text += "\n" + p.text
		if strings.IndexByte(p.text, '"') < 0 {
			continue // the field stays open
		}
		out, err = splitQuoted(fields, text, c.delim)
		if err == nil && (want == 0 || len(out) == want) {
			return out, text, nil
		}
		if err != errOpenQuote { // a stray quote that met another one by chance
			break
		}
	}
	c.lines.giveBack(more)
	return nil, "", errOpenQuote
}

func splitPlain(fields []string, s string, delim byte) []string {
	for {
		i := strings.IndexByte(s, delim)
		if i < 0 {
			return append(fields, s)
		}
		fields = append(fields, s[:i])
		s = s[i+1:]
	}
}

// splitQuoted splits a record by the rules of RFC 4180: a field that begins
// with a quote ends at the next single one; no other field holds a quote.
// Spaces may stand before the opening quote and after the closing one.
func splitQuoted(fields []string, s string, delim byte) ([]string, error) {
	for {
		if t := strings.TrimLeft(s, " "); len(t) > 0 && t[0] == '"' {
			s = t
		} else {
			i := strings.IndexByte(s, delim)
			f := s
			if i >= 0 {
				f = s[:i]
			}
			if strings.IndexByte(f, '"') >= 0 {
				return nil, errBareQuote
			}
			fields = append(fields, f)
			if i < 0 {
				return fields, nil
			}
			s = s[i+1:]
			continue
		}
		s = s[1:]
		doubled := false
		end := 0
		for {
			i := strings.IndexByte(s[end:], '"')
			if i < 0 {
				return nil, errOpenQuote
			}
			end += i
			if end+1 < len(s) && s[end+1] == '"' {
				doubled = true
				end += 2
				continue
			}
			break
		}
		f := s[:end]
		if doubled {
			f = strings.ReplaceAll(f, `""`, `"`)
		}
		fields = append(fields, f)
		s = strings.TrimLeft(s[end+1:], " ")
		if s == "" {
			return fields, nil
		}
		if s[0] != delim {
			return nil, errAfterText
		}
		s = s[1:]
	}
}

// sniffBytes is how much of a text file's head settles delimiter and header.
const sniffBytes = 256 << 10

// openCSV opens delimited text and finds its delimiter and header.
func openCSV(path, name string, opt *Options) (*csvReader, error) {
	src, err := openText(path, name)
	if err != nil {
		return nil, err
	}
	c := &csvReader{name: name, src: src}
	head, err := src.Peek(min(sniffBytes, src.Size()))
	if err != nil && err != io.EOF {
		src.Close()
		return nil, c.readTrouble(err)
	}
	whole := err == io.EOF
	if !whole { // drop the line that the peek cuts
		if i := bytes.LastIndexByte(head, '\n'); i >= 0 {
			head = head[:i+1]
		}
	}
	best, bestScore := byte(','), -1
	var seen, first int
	for _, d := range []byte{',', ';', '\t', '|'} {
		records, _ := headRecords(head, d)
		seen = max(seen, len(records))
		h := findHeader(records, opt)
		score := 0
		if h >= 0 {
			score = 1000
			for _, f := range records[h].fields {
				if recognise(f).role != "" {
					score += 100
				}
			}
			for _, r := range records[h+1:] {
				if len(r.fields) == len(records[h].fields) {
					score++
				}
			}
		} else {
			for _, r := range records {
				if len(r.fields) > 1 && len(r.fields) == len(records[0].fields) {
					score++
				}
			}
		}
		if score > bestScore {
			best, bestScore, first = d, score, h
		}
	}
	c.delim = best
	if seen == 0 {
		src.Close()
		return nil, &FileError{File: name, Why: "the file has no header and no readings", Hint: "a file of readings has a line of column names and a line for each reading"}
	}
	c.lines = lineSource{r: src.Reader}
	if err := c.takeHeader(first); err != nil {
		src.Close()
		return nil, err
	}
	return c, nil
}

// headRecord is one record of a file's head.
type headRecord struct {
	fields []string
	line   int
}

// headRecords splits a head, passing over what cannot be parsed.
func headRecords(head []byte, delim byte) (records []headRecord, bad int) {
	c := csvReader{delim: delim, lines: lineSource{r: bufio.NewReaderSize(bytes.NewReader(head), len(head)+1)}}
	for len(records) < 200 {
		fields, _, line, err := c.record(nil, 0)
		if err == io.EOF {
			break
		}
		if err != nil {
			if bad++; bad > 200 {
				break
			}
			continue
		}
		records = append(records, headRecord{fields, line})
	}
	return records, bad
}

// takeHeader reads up to and with the header: record number n of those that
// can be parsed, or the first one if none looks like a header.
func (c *csvReader) takeHeader(n int) error {
	for i := 0; ; {
		fields, _, line, err := c.record(nil, 0)
		var bad *badLine
		if errors.As(err, &bad) {
			c.preamble++
			continue
		}
		if err == io.EOF {
			return &FileError{File: c.name, Why: "no line of column names was found", Hint: noHeaderHint}
		}
		if err != nil {
			return c.readTrouble(err)
		}
		if n < 0 {
			if cell := firstData(fields); cell != "" {
				return &FileError{File: c.name, Line: line, Why: "the file has no line of column names: " + quote(cell) + " stands where a name would", Hint: noHeaderHint}
			}
		}
		if i == n || n < 0 {
			c.names = trimNames(fields)
			return nil
		}
		i++
		c.preamble++
	}
}

const noHeaderHint = "write the names of the columns in the first line, such as home,start,end,value,unit"

func (c *csvReader) header() []string { return c.names }

func (c *csvReader) next() ([]cell, int, error) {
	for {
		fields, text, line, err := c.record(c.fields, len(c.names))
		c.rawText = text
		var bad *badLine
		switch {
		case err == io.EOF:
			if c.sum == "" {
				if c.sum, err = c.src.sha256(); err != nil {
					return nil, line, c.readTrouble(err)
				}
			}
			return nil, line, io.EOF
		case errors.As(err, &bad):
			return nil, bad.line, RowError{File: c.name, Line: bad.line, Why: bad.why, Row: bad.text}
		case err != nil:
			return nil, line, c.readTrouble(err)
		}
		c.fields = fields
		if allBlank(fields) {
			c.blank++
			continue
		}
		for len(fields) > len(c.names) && strings.TrimSpace(fields[len(fields)-1]) == "" {
			fields = fields[:len(fields)-1] // delimiters at the end of the line
		}
		if len(fields) != len(c.names) {
			return nil, line, RowError{File: c.name, Line: line, Row: text,
				Why: plural(len(fields), "field") + " where the header has " + itoa(len(c.names)) + "; check the line for a missing or extra " + delimName(c.delim)}
		}
		c.row = c.row[:0]
		for _, f := range fields {
			f = strings.TrimSpace(f)
			if f == "" {
				c.row = append(c.row, cell{})
			} else {
				c.row = append(c.row, cell{kind: cellText, text: f})
			}
		}
		return c.row, line, nil
	}
}

// raw is the last record as it stands in the file.
func (c *csvReader) raw() string { return c.rawText }

func (c *csvReader) describe(f *File) {
	f.Format = formatText
	f.Encoding = c.src.encoding
	if c.lines.fallback && c.src.encoding == "utf-8" {
		f.Encoding = "windows-1252"
	}
	f.Delimiter = string(c.delim)
	f.PreambleLines, f.CommentLines, f.BlankLines = c.preamble, c.comments, c.blank
	f.SHA256 = c.sum
}

func (c *csvReader) Close() error { return c.src.Close() }

func (c *csvReader) readTrouble(err error) error {
	if c.src.zr != nil {
		return damagedGzip(c.name, err)
	}
	return fileTrouble(c.name, err)
}

func allBlank(fields []string) bool {
	for _, f := range fields {
		if strings.TrimSpace(f) != "" {
			return false
		}
	}
	return true
}

func delimName(d byte) string {
	switch d {
	case '\t':
		return "tab"
	case ';':
		return "semicolon"
	case '|':
		return "bar"
	}
	return "comma"
}
