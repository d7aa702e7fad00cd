package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"slices"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

func (p *program) ingestCommand() *cli.Command {
	return &cli.Command{
		Name:      "ingest",
		Usage:     "write files as one normalised table, or as its day means",
		ArgsUsage: "FILE...",
		Description: `Settles units (Bq/m3), times (UTC, with the zone beside them) and names once,
and writes .parquet, .arrow or .csv, by the ending of --output. Every command
reads these files as it reads the originals.

Examples:
  radonyear ingest logs/*.csv --zone Europe/Oslo --output readings.parquet
  radonyear ingest readings.parquet --daily --output days.csv`,
		Flags: slices.Concat([]cli.Flag{
			&cli.StringFlag{Name: "output", Usage: "write to `FILE`.parquet, .arrow or .csv (needed)"},
			&cli.StringFlag{Name: "format", Usage: "`FORMAT` of the summary on standard output: table, markdown, csv or json"},
			&cli.BoolFlag{Name: "daily", Usage: "day means and integrating results, not single readings"},
		}, readingFlags()),
		Action: p.ingest,
	}
}

func (p *program) ingest(c *cli.Context) error {
	out := c.String("output")
	if out == "" {
		return usageError{"no --output given", "--output FILE.parquet, FILE.arrow or FILE.csv"}
	}
	switch strings.ToLower(filepath.Ext(out)) {
	case ".parquet", ".arrow", ".csv":
	default:
		return usageError{fmt.Sprintf("cannot tell a format from the name %s", out), "--output FILE.parquet, FILE.arrow or FILE.csv"}
	}
	format, err := stdoutFormat(c)
	if err != nil {
		return err
	}
	paths, err := inputPaths(c)
	if err != nil {
		return err
	}
	opt, err := p.readingOptions(c)
	if err != nil {
		return err
	}
	table, err := ingest.Open(paths, opt)
	if err != nil {
		return err
	}
	defer table.Close()
	var daily *ingest.Daily
	if c.Bool("daily") {
		if daily, err = table.Daily(); err == nil {
			err = daily.Write(out, paths)
		}
	} else {
		err = table.Write(out, paths)
	}
	if errors.Is(err, ingest.ErrNoReadings) {
		err = nil // noResult says why
	}
	files, rejected := table.Sources(), table.Rejected()
	if err := errors.Join(err, p.reportRejected(c, files, rejected)); err != nil {
		return err
	}
	doc := report.Document{
		Command: "ingest", Version: version, Inputs: inputs(files, ""), Tables: []report.Table{filesTable(files)},
		Rejects:  rejectsFile(c),
		Settings: slices.Concat([]report.Field{{Name: "output", Value: out}, {Name: "daily", Value: c.Bool("daily")}}, readingSettings(c)),
	}
	doc.Notes = inputNotes(files, daily, "")
	var readings int64
	for _, f := range files {
		readings += f.Readings
	}
	if readings == 0 {
		return noResult(nil, files)
	}
	if err := p.write(doc, format); err != nil {
		return err
	}
	return p.partial(doc)
}
