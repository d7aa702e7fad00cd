package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/analysis/annual"
	"radonyear/analysis/season"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
	"radonyear/testdata"
)

func (p *program) demoCommand() *cli.Command {
	return &cli.Command{
		Name:  "demo",
		Usage: "the whole job on an invented district, and its files to try out",
		Description: `Reads the demo's files, says what is in them and what is wrong, learns a
profile from the homes measured for a year, and judges every home. The district
is invented; the true values that come with it are used nowhere in this.

Examples:
  radonyear demo
  radonyear demo --write demo`,
		Flags: slices.Concat([]cli.Flag{
			&cli.StringFlag{Name: "write", Usage: "write the demo's files into the folder `DIR` and do nothing else"},
			courseFlag(),
		}, outputFlags()),
		Action: p.demo,
	}
}

func (p *program) demo(c *cli.Context) error {
	if err := noArguments(c); err != nil {
		return err
	}
	format, err := outputFormat(c)
	if err != nil {
		return err
	}
	course, err := parseCourse(c)
	if err != nil {
		return err
	}
	if dir := c.String("write"); dir != "" {
		for _, name := range []string{"format", "output", "course"} {
			if c.IsSet(name) {
				return usageError{fmt.Sprintf("--%s does nothing beside --write", name), "radonyear demo --write DIR, or radonyear demo with the other options"}
			}
		}
		return p.demoWrite(dir)
	}
	dir, err := os.MkdirTemp("", "radonyear-demo")
	if err != nil {
		return err
	}
	defer os.RemoveAll(dir)
	doc, err := demoDocument(dir, course)
	if err != nil {
		return err
	}
	// Nothing of the user's was left out, so the status is 0 even though the
	// invented files hold rows that cannot be used.
	return p.emit(c, doc, format)
}

// demoDocument runs the main job on the measurements, written into dir.
func demoDocument(dir string, course courseUse) (report.Document, error) {
	var none report.Document
	var paths []string
	for _, name := range testdata.DemoMeasurements() {
		data, err := fs.ReadFile(testdata.Demo(), name)
		if err != nil {
			return none, err
		}
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			return none, err
		}
		paths = append(paths, path)
	}
	table, err := ingest.Open(paths, ingest.Options{})
	if err != nil {
		return none, err
	}
	defer table.Close()
	daily, err := table.Daily()
	if err != nil {
		return none, err
	}
	files := table.Sources()
	for i := range files {
		files[i].Path = filepath.Base(files[i].Path) // where they were written says nothing
	}
	subs := subjects(daily, "home", "")
	learned, _, err := learn(subs, season.Options{Name: "demo district"})
	if err != nil {
		return none, err
	}
	q := question{Options: annual.Options{Profile: learned.Profile, Levels: []float64{annual.DefaultLevel}, Confidence: defaultConfidence},
		levelsByDefault: true, course: course, target: annual.ThisYear.String()}
	if err := q.settleCourse(subs); err != nil {
		return none, err
	}
	results, left := estimateAll(subs, q.estimate)
	return report.Document{
		Command: "demo", Version: version,
		Settings: q.settings(),
		Inputs:   inputs(files, ""),
		Lead: []string{
			fmt.Sprintf("An invented district in %d files, no real home among them. %s", len(files), contents(daily)),
			"Wrong in them: " + findingCounts(daily.Findings()) + ".",
			fmt.Sprintf("A profile was learned from the %d homes with most of a year, and every home judged with it.", learned.Homes),
		},
		Tables:  []report.Table{annualTable(results, "home")},
		Notes:   inputNotes(files, daily, ""),
		LeftOut: left,
		After:   q.sentences(),
		Levels:  q.Levels, Confidence: q.Confidence,
	}, nil
}

// findingCounts is how often each kind of finding occurs: "gap: 12; overlap: 1".
func findingCounts(findings []ingest.Finding) string {
	counts := map[string]int{}
	var codes []string
	for _, f := range findings {
		if counts[f.Code]++; counts[f.Code] == 1 {
			codes = append(codes, f.Code)
		}
	}
	slices.Sort(codes)
	var parts []string
	for _, code := range codes {
		parts = append(parts, fmt.Sprintf("%s: %d", strings.ReplaceAll(code, "-", " "), counts[code]))
	}
	text := strings.Join(parts, "; ")
	if text == "" {
		return "nothing"
	}
	return text
}

// demoWrite puts the demo's files into a folder; it overwrites none that says
// something else.
func (p *program) demoWrite(dir string) error {
	names, err := fs.Glob(testdata.Demo(), "*")
	if err != nil {
		return err
	}
	for _, name := range names {
		data, err := fs.ReadFile(testdata.Demo(), name)
		if err != nil {
			return err
		}
		old, err := os.ReadFile(filepath.Join(dir, name))
		if err == nil && !slices.Equal(old, data) {
			return hinted{fmt.Errorf("%s exists and is not the demo's", filepath.Join(dir, name)), "name another folder"}
		}
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return writing(filepath.Join(dir, name), err)
		}
	}
	_, err = os.Stat(dir)
	isNew := errors.Is(err, fs.ErrNotExist)
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return writing(dir, err)
	}
	for _, name := range names {
		data, err := fs.ReadFile(testdata.Demo(), name)
		if err != nil {
			return err
		}
		if err := replaceFile(filepath.Join(dir, name), data); err != nil {
			if isNew {
				os.Remove(dir) // goes only if nothing could be written
			}
			return err
		}
		fmt.Fprintln(p.stdout, filepath.Join(dir, name))
	}
	return nil
}
