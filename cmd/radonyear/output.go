package main

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"syscall"

	"github.com/urfave/cli/v2"

	"radonyear/cmd/radonyear/internal/report"
)

// outputFlags are the options of every command that prints a result.
func outputFlags() []cli.Flag {
	return []cli.Flag{
		&cli.StringFlag{Name: "format", Usage: "`FORMAT`: table (default), markdown, csv or json"},
		&cli.StringFlag{Name: "output", Usage: "write to `FILE` instead of standard output; its ending (.txt, .md, .csv, .json) sets the format unless --format does"},
	}
}

// formatOf is the format that a file's ending means.
var formatOf = map[string]string{"": "table", ".txt": "table", ".md": "markdown", ".csv": "csv", ".json": "json"}

// notText are endings under which another program would look for bytes that are
// not text.
var notText = []string{".xlsx", ".xls", ".xlsm", ".ods", ".doc", ".docx", ".odt", ".pdf", ".parquet", ".arrow", ".gz", ".zip", ".html", ".png", ".svg"}

// outputFormat settles the format before any work is done. An ending that means
// none of the formats is taken for a slip unless --format says what is meant.
func outputFormat(c *cli.Context) (string, error) {
	ending := strings.ToLower(filepath.Ext(c.String("output")))
	format, known := formatOf[ending]
	if slices.Contains(notText, ending) || !known && c.String("format") == "" {
		return "", usageError{fmt.Sprintf("--output %s: %q is the ending of no format that is written", c.String("output"), ending),
			"end the name in .txt, .md, .csv or .json for " + strings.Join(report.Formats, ", ") + "; a spreadsheet reads .csv"}
	}
	if c.String("format") == "" {
		return format, nil
	}
	return stdoutFormat(c)
}

// stdoutFormat is outputFormat for a command whose --output is something else
// than its report.
func stdoutFormat(c *cli.Context) (string, error) {
	format := cmp.Or(c.String("format"), report.Formats[0])
	if !slices.Contains(report.Formats, format) {
		return "", usageError{fmt.Sprintf("unknown format %q", format), "--format " + strings.Join(report.Formats, "|")}
	}
	return format, nil
}

// render is the document in a format. Of a CSV that could run something in a spreadsheet it
// warns: see Document.Formula.
func (p *program) render(doc report.Document, format string) ([]byte, error) {
	var b bytes.Buffer
	if err := report.Write(&b, doc, format); err != nil {
		return nil, err
	}
	if row, column := doc.Formula(); format == "csv" && row > 0 {
		fmt.Fprintf(p.stderr, "radonyear: warning: row %d, column %s: the text begins as a formula does, and a spreadsheet may run it\n", row, column)
		fmt.Fprintf(p.stderr, "radonyear: hint: it is written as your file has it, so that results can be joined by it; import the column as text\n")
	}
	return b.Bytes(), nil
}

// write writes the document to standard output.
func (p *program) write(doc report.Document, format string) error {
	b, err := p.render(doc, format)
	if err != nil {
		return err
	}
	_, err = p.stdout.Write(b)
	return writing("standard output", err)
}

// emit writes the document where --output says, whole or not at all.
func (p *program) emit(c *cli.Context, doc report.Document, format string) error {
	path := c.String("output")
	if path == "" || path == "-" {
		return p.write(doc, format)
	}
	b, err := p.render(doc, format)
	if err != nil {
		return err
	}
	return replaceFile(path, b)
}

// writing puts the name of what was being written before an error, and a hint
// at the cure behind it.
func writing(what string, err error) error {
	if err == nil {
		return nil
	}
	hint := ""
	switch {
	case errors.Is(err, syscall.ENOSPC), errors.Is(err, syscall.EDQUOT):
		hint = "make room, or write to another disk"
	case errors.Is(err, fs.ErrPermission), errors.Is(err, syscall.EROFS):
		hint = "write where you are allowed to"
	case errors.Is(err, fs.ErrNotExist), errors.Is(err, syscall.ENOTDIR):
		hint = "name a folder that is there"
	}
	return hinted{fmt.Errorf("writing %s: %w", what, bare(err)), hint}
}

// bare takes a file's name out of an error that says it elsewhere.
func bare(err error) error {
	var path *fs.PathError
	if errors.As(err, &path) {
		return path.Err
	}
	return err
}

// refuseInput is an error if path is one of the inputs, under any name.
func refuseInput(option, path string, inputs []string) error {
	out, err := os.Stat(path)
	if err != nil || path == "-" {
		return nil
	}
	for _, in := range inputs {
		if fi, err := os.Stat(in); err == nil && os.SameFile(out, fi) {
			return usageError{fmt.Sprintf("%s %s would overwrite an input", option, path), "give another file name"}
		}
	}
	return nil
}

// outputs are the options that name a file to write.
var outputs = []string{"output", "rejects", "plot"}

// refuseInputs is an error if any output is one of the inputs, or the profile.
func refuseInputs(c *cli.Context, inputs []string) error {
	if profile := profileFile(c.String("profile")); profile != "" {
		inputs = append(slices.Clip(inputs), profile)
	}
	for _, option := range outputs {
		if out := c.String(option); out != "" {
			if err := refuseInput("--"+option, out, inputs); err != nil {
				return err
			}
		}
	}
	return nil
}

// outputsApart is an error if two outputs are one file.
func outputsApart(c *cli.Context) error {
	for i, a := range outputs {
		for _, b := range outputs[i+1:] {
			one, two := c.String(a), c.String(b)
			if one != "" && two != "" && one != "-" && two != "-" && sameTarget(one, two) {
				return usageError{fmt.Sprintf("--%s and --%s name the same file", a, b), "give them different names"}
			}
		}
	}
	return nil
}

// sameTarget says whether two names lead to one file, existing or not.
func sameTarget(a, b string) bool {
	fa, errA := os.Stat(a)
	fb, errB := os.Stat(b)
	if errA == nil && errB == nil {
		return os.SameFile(fa, fb)
	}
	absA, _ := filepath.Abs(a)
	absB, _ := filepath.Abs(b)
	return absA == absB
}

// replaceFile writes data beside path and renames it over path, so that path
// holds either what it held or all of data, and no other file is left behind.
// Something that is not a regular file, such as a pipe, is written straight.
func replaceFile(path string, data []byte) (err error) {
	if real, e := filepath.EvalSymlinks(path); e == nil {
		path = real
	}
	mode := fs.FileMode(0o666)
	if fi, e := os.Stat(path); e == nil {
		if fi.IsDir() {
			return hinted{fmt.Errorf("writing %s: it is a directory", path), "give the name of a file in it"}
		}
		if !fi.Mode().IsRegular() {
			f, e := os.OpenFile(path, os.O_WRONLY, 0)
			if e != nil {
				return writing(path, e)
			}
			_, err = f.Write(data)
			return writing(path, errors.Join(err, f.Close()))
		}
		mode = fi.Mode().Perm()
	}
	partial := filepath.Join(filepath.Dir(path), fmt.Sprintf(".%s.%d.partial", filepath.Base(path), os.Getpid()))
	f, err := os.OpenFile(partial, os.O_WRONLY|os.O_CREATE|os.O_EXCL, mode)
	if err != nil {
		return writing(path, err)
	}
	_, err = f.Write(data)
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(partial, path)
	}
	if err != nil {
		os.Remove(partial)
	}
	return writing(path, err)
}
