package ingest

import (
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"slices"
	"strings"

	"github.com/apache/arrow/go/v17/arrow"
)

// Table is a stream of normalised readings over one or more files: Schema's
// columns, in batches of some 16 k rows, file after file in the order given.
// A Table is read once.
type Table struct {
	opt      Options
	sources  []*source
	schema   *arrow.Schema
	extras   []string
	at       int
	run      *fileRun
	rec      arrow.Record
	rejected []RowError
	err      error
	temps    []string
}

// source is one input and what is known of it.
type source struct {
	plan *plan
	file File
}

// Open checks the options, opens each file, reads its head, and settles what
// its columns, units and times mean; a *FileError says what a file lacks and
// which option gives it. No reading is made yet. The path "-" is
// Options.Stdin; a stream that can be read only once is copied to a temporary
// file first, which Close removes.
func Open(paths []string, opt Options) (*Table, error) {
	if err := opt.Check(); err != nil {
		return nil, err
	}
	if len(paths) == 0 {
		return nil, errors.New("no files to read")
	}
	t := &Table{opt: opt}
	if err := t.open(paths); err != nil {
		t.Close()
		return nil, err
	}
	return t, nil
}

func (t *Table) open(paths []string) error {
	mapped := make(map[string]bool)
	workbook := false
	homes := make(map[string]string) // the file that gave a home its name
	for i, name := range paths {
		if slices.Contains(paths[:i], name) && name == "-" {
			return &FileError{File: name, Why: "standard input is named twice", Hint: "name it once"}
		}
		path, err := t.settlePath(name)
		if err != nil {
			return err
		}
		p, err := settle(name, path, &t.opt, len(paths) == 1)
		if err != nil {
			return err
		}
		if p.opt.HomeFromFilename {
			if other, ok := homes[p.home]; ok && !sameFile(other, name) {
				return &FileError{File: name, Why: fmt.Sprintf("--home-from-filename makes it the home %s, and %s too", quote(p.home), other),
					Hint: "give files of two homes different names; join files of one home, or say the home in a column"}
			}
			homes[p.home] = name
		}
		workbook = workbook || p.workbook
		for _, h := range p.header {
			mapped[strings.ToLower(h)] = true
		}
		t.sources = append(t.sources, &source{plan: p, file: File{Path: name}})
	}
	for _, n := range sortedKeys(t.opt.Columns) {
		if !mapped[strings.ToLower(strings.TrimSpace(n))] {
			return &FileError{File: paths[0], Column: n, Why: "no file has a column of this name; the columns are " + quoteList(t.sources[0].plan.header), Hint: "write the name in --column as it stands in the file"}
		}
	}
	if t.opt.Sheet != "" && !workbook {
		return &FileError{File: paths[0], Why: "is no workbook, so it has no worksheet " + quote(t.opt.Sheet), Hint: "leave out --sheet, which is for .xlsx files"}
	}
	t.nameExtras()
	return nil
}

// sameFile says whether two names lead to one file.
func sameFile(a, b string) bool {
	fa, errA := os.Stat(a)
	fb, errB := os.Stat(b)
	return a == b || errA == nil && errB == nil && os.SameFile(fa, fb)
}

func sortedKeys(m map[string]string) []string {
	return slices.Sorted(maps.Keys(m))
}

// Check refuses options that no file could honour, with an *OptionError.
func (o *Options) Check() error {
	if _, err := optionUnit(o); err != nil {
		return err
	}
	if o.Zone != "" {
		if _, err := LoadZone(o.Zone); err != nil {
			return err
		}
	}
	if !slices.Contains([]string{"", "ymd", "dmy", "mdy"}, o.DateOrder) {
		return &OptionError{Why: fmt.Sprintf("unknown date order %q", o.DateOrder), Hint: "--date-order dmy, mdy or ymd"}
	}
	if !slices.Contains([]string{"", ".", ","}, o.Decimal) {
		return &OptionError{Why: fmt.Sprintf("unknown decimal mark %q", o.Decimal), Hint: "--decimal . or --decimal ,"}
	}
	for _, n := range sortedKeys(o.Columns) {
		if as := o.Columns[n]; as != roleText && !slices.Contains(ownNames, as) {
			return &OptionError{Why: fmt.Sprintf("--column makes %q a %q, and there is no such role", n, as),
				Hint: fmt.Sprintf("the roles are %s; %s lets a column ride along", strings.Join(ownNames, ", "), roleText)}
		}
	}
	if o.MaxRejects < 0 {
		return &OptionError{Why: fmt.Sprintf("at most %d rejected rows cannot be kept", o.MaxRejects), Hint: "the number must not be negative"}
	}
	return nil
}

// settlePath is where a file's bytes can be read more than once.
func (t *Table) settlePath(name string) (string, error) {
	path := name
	var stream io.Reader
	if name == "-" {
		if t.opt.Stdin == nil {
			return "", &FileError{File: name, Why: "there is no standard input", Hint: "name a file"}
		}
		stream = t.opt.Stdin
	} else {
		st, err := os.Stat(name)
		if err != nil {
			return "", fileTrouble(name, err)
		}
		if !st.IsDir() && !st.Mode().IsRegular() { // a pipe, as a shell makes for <(command)
			f, err := os.Open(name)
			if err != nil {
				return "", fileTrouble(name, err)
			}
			defer f.Close()
			stream = f
		}
	}
	if stream == nil {
		return path, nil
	}
	path, err := spool(stream)
	if err != nil {
		return "", &FileError{File: name, Why: "cannot be copied to a temporary file: " + err.Error(), Hint: "free some space, or write it to a file first", Err: err}
	}
	t.temps = append(t.temps, path)
	return path, nil
}

// openRows opens a file as a stream of rows by what its first bytes are.
func openRows(path, name string, opt *Options) (rowReader, error) {
	format, zipped, err := formatOf(path, name)
	if err != nil {
		return nil, err
	}
	if zipped && format != formatText {
		return nil, &FileError{File: name, Why: "a ." + format + " file inside gzip", Hint: "decompress it first: gunzip FILE"}
	}
	var rd rowReader
	switch format {
	case formatParquet:
		rd, err = openParquet(path)
	case formatArrow:
		rd, err = openArrow(path)
	case formatXLSX:
		rd, err = openXLSX(path, name, opt)
	default:
		rd, err = openCSV(path, name, opt)
	}
	if err != nil {
		return nil, renamed(err, name)
	}
	if path != name && (format == formatParquet || format == formatArrow) {
		rd = namedRows{rd, name}
	}
	return rd, nil
}

// nameExtras gives each column that rides along a name of its own in the
// table: that of the file, with a number behind it where it is taken.
func (t *Table) nameExtras() {
	fields := slices.Clone(schemaFields)
	taken := make(map[string]bool)
	for _, f := range schemaFields {
		taken[f.Name] = true
	}
	for _, s := range t.sources {
		here := make(map[string]bool)
		for i := range s.plan.extra {
			e := &s.plan.extra[i]
			if e.name == "" {
				e.name = "column_" + itoa(e.at+1)
			}
			base := e.name
			for n := 2; here[e.name] || taken[e.name]; n++ {
				e.name = base + "_" + itoa(n)
			}
			here[e.name] = true
			if !slices.Contains(t.extras, e.name) {
				t.extras = append(t.extras, e.name)
				fields = append(fields, arrow.Field{Name: e.name, Type: dictText})
			}
		}
	}
	t.schema = arrow.NewSchema(fields, nil)
}

// Next returns the next batch of readings, io.EOF after the last. The record
// is valid until the next call. Any other error is final.
func (t *Table) Next() (arrow.Record, error) {
	if t.rec != nil {
		t.rec.Release()
		t.rec = nil
	}
	for t.err == nil {
		if t.run == nil {
			if t.at == len(t.sources) {
				t.err = io.EOF
				break
			}
			if t.err = t.begin(); t.err != nil {
				break
			}
		}
		err := t.run.fill()
		n := t.run.batch.len()
		if n > 0 {
			t.rec = t.run.batch.record(t.schema)
		}
		src := t.sources[t.at]
		src.file = t.run.describe()
		if err == io.EOF {
			if src.file.SHA256 == "" {
				if src.file.SHA256, err = hashFile(src.plan.path); err != nil {
					t.err = fileTrouble(src.plan.name, err)
				}
			}
			t.run.rd.Close()
			t.run = nil
			t.at++
		} else if err != nil {
			t.err = err
		}
		if n > 0 {
			return t.rec, nil
		}
	}
	return nil, t.err
}

// begin opens the next file for reading.
func (t *Table) begin() error {
	p := t.sources[t.at].plan
	rd, err := openRows(p.path, p.name, &t.opt)
	if err != nil {
		return err
	}
	if !slices.Equal(rd.header(), p.header) {
		rd.Close()
		return &FileError{File: p.name, Why: "the file changed while it was read", Hint: "run again when nothing writes to it"}
	}
	limit := t.opt.MaxRejects
	if limit == 0 {
		limit = 1_000_000
	}
	t.run = newRun(p, readAhead(rd), len(t.extras), func(e RowError) {
		if len(t.rejected) < limit {
			t.rejected = append(t.rejected, e)
		}
	})
	for _, e := range p.extra {
		t.run.extraAt[slices.Index(t.extras, e.name)] = e.at
	}
	return nil
}

// Schema is schemaFields and the extra columns of all files as text, "" where
// a file lacks one.
func (t *Table) Schema() *arrow.Schema { return t.schema }

// Sources is what was learned about each file, in the order of the paths.
// Counts grow while the table is read; digests are known at its end.
func (t *Table) Sources() []File {
	files := make([]File, len(t.sources))
	for i, s := range t.sources {
		files[i] = s.file
	}
	return files
}

// Rejected is the rows left out so far, up to Options.MaxRejects of them.
func (t *Table) Rejected() []RowError { return t.rejected }

// Close releases the files and removes temporary copies.
func (t *Table) Close() error {
	if t.rec != nil {
		t.rec.Release()
		t.rec = nil
	}
	var err error
	if t.run != nil {
		err = t.run.rd.Close()
		t.run = nil
	}
	if t.err == nil {
		t.err = errors.New("the table is closed")
	}
	for _, p := range t.temps {
		err = errors.Join(err, removeUnfinished(p))
	}
	t.temps = nil
	return err
}

// namedRows is a reader of a temporary copy, whose messages name the original.
type namedRows struct {
	rowReader
	name string
}

func (n namedRows) next() ([]cell, int, error) {
	row, line, err := n.rowReader.next()
	return row, line, renamed(err, n.name)
}

func renamed(err error, name string) error {
	var fe *FileError
	if errors.As(err, &fe) && fe.File != name {
		e := *fe
		e.File = name
		return &e
	}
	if re, ok := err.(RowError); ok {
		re.File = name
		return re
	}
	return err
}
