package ingest

import (
	"bufio"
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io"
	"io/fs"
	"os"
	"strings"
	"syscall"

	"golang.org/x/text/encoding/unicode"
	"golang.org/x/text/transform"
)

// Formats, as File.Format names them.
const (
	formatText    = "csv"
	formatXLSX    = "xlsx"
	formatParquet = "parquet"
	formatArrow   = "arrow"
)

// magics are the first bytes by which a file's format is told. A refused
// format has the hint that says what to do instead.
var magics = []struct{ head, format, refuse string }{
	{"PAR1", formatParquet, ""},
	{"ARROW1", formatArrow, ""},
	{"\xff\xff\xff\xff", formatArrow, ""}, // an IPC stream
	{"PK\x03\x04", formatXLSX, ""},
	{"PK\x05\x06", "", "the archive is empty"},
	{"\xd0\xcf\x11\xe0", "", "this is an old binary spreadsheet; save it as .xlsx or .csv"},
	{"\x28\xb5\x2f\xfd", "", "the file is compressed with zstd; decompress it first, or use gzip"},
	{"BZh", "", "the file is compressed with bzip2; decompress it first, or use gzip"},
	{"\xfd7zXZ", "", "the file is compressed with xz; decompress it first, or use gzip"},
	{"%PDF", "", "this is a PDF; export the readings as .csv or .xlsx"},
	{"SQLite format 3", "", "this is a database; export the readings as .csv"},
}

const gzipMagic = "\x1f\x8b"

// fileTrouble words an error of the operating system for a person.
func fileTrouble(path string, err error) *FileError {
	e := &FileError{File: path, Why: err.Error(), Hint: "check that the file can be read to its end", Err: err}
	switch {
	case errors.Is(err, fs.ErrNotExist):
		e.Why, e.Hint = "there is no such file", "check the path"
	case errors.Is(err, fs.ErrPermission):
		e.Why, e.Hint = "no permission to read it", "check who may read the file"
	case errors.Is(err, syscall.EISDIR):
		e.Why, e.Hint = "is a directory", "name the files in it, such as "+strings.TrimRight(path, "/")+"/*.csv"
	}
	return e
}

// spool copies a stream that can be read only once to a temporary file.
func spool(r io.Reader) (path string, err error) {
	f, err := createUnfinished("", "radonyear-*")
	if err != nil {
		return "", err
	}
	_, err = io.Copy(f, r)
	if e := f.Close(); err == nil {
		err = e
	}
	if err != nil {
		removeUnfinished(f.Name())
		return "", err
	}
	return f.Name(), nil
}

// binaryNames are the ends of names that only files which begin with a mark of
// their own bear.
var binaryNames = map[string]string{".parquet": "a Parquet", ".arrow": "an Arrow", ".xlsx": "an .xlsx"}

// formatOf tells a file's format from its first bytes, those inside gzip if it
// is compressed; name is what messages call it.
func formatOf(path, name string) (format string, zipped bool, err error) {
	f, err := os.Open(path)
	if err != nil {
		return "", false, fileTrouble(name, err)
	}
	defer f.Close()
	head := make([]byte, 16)
	n, err := io.ReadFull(f, head)
	if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF {
		return "", false, fileTrouble(name, err)
	}
	head = head[:n]
	if n == 0 {
		return "", false, &FileError{File: name, Why: "the file is empty", Hint: "a file of readings has a line of column names and a line for each reading"}
	}
	if bytes.HasPrefix(head, []byte(gzipMagic)) {
		if _, err := f.Seek(0, io.SeekStart); err != nil {
			return "", true, fileTrouble(name, err)
		}
		zr, err := gzip.NewReader(f)
		if err != nil {
			return "", true, damagedGzip(name, err)
		}
		head = make([]byte, 16)
		n, err = io.ReadFull(zr, head)
		if err != nil && err != io.EOF && err != io.ErrUnexpectedEOF || n == 0 && err == io.ErrUnexpectedEOF {
			return "", true, damagedGzip(name, err)
		}
		head, zipped = head[:n], true
	}
	for _, m := range magics {
		if bytes.HasPrefix(head, []byte(m.head)) {
			if m.format == "" {
				return "", zipped, &FileError{File: name, Why: "not a table that can be read", Hint: m.refuse}
			}
			return m.format, zipped, nil
		}
	}
	for ext, what := range binaryNames {
		if strings.HasSuffix(strings.ToLower(name), ext) {
			return "", zipped, &FileError{File: name, Why: "not " + what + " file, though its name says so",
				Hint: "export or fetch it again; a text file needs a name that ends in .csv"}
		}
	}
	return formatText, zipped, nil
}

func damagedGzip(name string, err error) *FileError {
	return &FileError{File: name, Why: "the gzip data are damaged or cut short: " + err.Error(), Hint: "fetch or compress the file again", Err: err}
}

// textSource is a text file as a stream of UTF-8 lines' bytes, whatever its
// compression and encoding. Bytes that are not UTF-8 are left for the line
// reader, which falls back line by line.
type textSource struct {
	*bufio.Reader
	file     *os.File
	zr       *gzip.Reader
	sum      hash.Hash
	encoding string
}

// lineLimit is the longest line that is read; a longer one is rejected.
const lineLimit = 1 << 20

func openText(path, name string) (*textSource, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, fileTrouble(name, err)
	}
	s := &textSource{file: f, sum: sha256.New(), encoding: "utf-8"}
	raw := bufio.NewReaderSize(io.TeeReader(f, s.sum), 1<<16)
	var r io.Reader = raw
	if head, _ := raw.Peek(2); string(head) == gzipMagic {
		if s.zr, err = gzip.NewReader(raw); err != nil {
			f.Close()
			return nil, damagedGzip(name, err)
		}
		r = s.zr
	}
	peek := bufio.NewReaderSize(r, 1<<16)
	head, _ := peek.Peek(4096)
	r = peek
	if order, bom, ok := utf16Order(head); ok {
		s.encoding = map[unicode.Endianness]string{unicode.LittleEndian: "utf-16le", unicode.BigEndian: "utf-16be"}[order]
		if bom {
			peek.Discard(2)
		}
		r = transform.NewReader(peek, unicode.UTF16(order, unicode.IgnoreBOM).NewDecoder())
	} else if bytes.HasPrefix(head, []byte("\xef\xbb\xbf")) {
		s.encoding = "utf-8 with byte-order mark"
		peek.Discard(3)
	}
	if bytes.IndexByte(head, '\n') < 0 && bytes.IndexByte(head, '\r') >= 0 {
		r = &crLines{r: r}
	}
	size := int64(lineLimit)
	if st, err := f.Stat(); err == nil && s.zr == nil {
		size = min(size, 2*st.Size()+4096) // text at most doubles as UTF-8; a small file needs no more
	}
	s.Reader = bufio.NewReaderSize(r, int(size))
	return s, nil
}

// utf16Order tells UTF-16 by its byte-order mark, or, without one, by zeros in
// every other byte of the head, as ordinary text has in that encoding.
func utf16Order(head []byte) (order unicode.Endianness, bom, ok bool) {
	switch {
	case bytes.HasPrefix(head, []byte{0xff, 0xfe}):
		return unicode.LittleEndian, true, true
	case bytes.HasPrefix(head, []byte{0xfe, 0xff}):
		return unicode.BigEndian, true, true
	}
	var zeros [2]int
	for i, c := range head {
		if c == 0 {
			zeros[i%2]++
		}
	}
	pairs := len(head) / 2
	switch {
	case pairs < 4:
	case zeros[1] > pairs*3/4 && zeros[0] == 0:
		return unicode.LittleEndian, false, true
	case zeros[0] > pairs*3/4 && zeros[1] == 0:
		return unicode.BigEndian, false, true
	}
	return unicode.LittleEndian, false, false
}

// crLines turns the carriage returns of a file that ends its lines with them
// alone into line feeds.
type crLines struct{ r io.Reader }

func (c *crLines) Read(p []byte) (int, error) {
	n, err := c.r.Read(p)
	for i, b := range p[:n] {
		if b == '\r' {
			p[i] = '\n'
		}
	}
	return n, err
}

// sha256 is the digest of the bytes on disk, known once they were all read.
func (s *textSource) sha256() (string, error) {
	if _, err := io.Copy(s.sum, s.file); err != nil {
		return "", err
	}
	return hex.EncodeToString(s.sum.Sum(nil)), nil
}

func (s *textSource) Close() error { return s.file.Close() }

// hashFile is the digest of a whole file.
func hashFile(path string) (string, error) {
	f, err := os.Open(path)
	if err != nil {
		return "", err
	}
	defer f.Close()
	h := sha256.New()
	if _, err := io.Copy(h, f); err != nil {
		return "", fmt.Errorf("%s: %w", path, err)
	}
	return hex.EncodeToString(h.Sum(nil)), nil
}
