package main

import (
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

// plotFlag is the option of a command that can draw its result; what says what.
func plotFlag(what string) cli.Flag {
	return &cli.StringFlag{Name: "plot", Usage: "also draw " + what + " into `FILE`.svg or FILE.png"}
}

// plotFlags are those of a command that draws homes.
func plotFlags(what string) []cli.Flag {
	return []cli.Flag{plotFlag(what), &cli.StringSliceFlag{Name: "home", Usage: "with --plot: draw only this `HOME`; may be repeated"}}
}

// mostPanels is how many homes stand in one picture.
const mostPanels = 12

// plotFormat is what --plot asks for, "" for no picture; checked before any work.
func plotFormat(c *cli.Context) (string, error) {
	path := c.String("plot")
	if path == "" {
		if c.IsSet("plot") {
			return "", usageError{"--plot names no file", "--plot FILE.svg or --plot FILE.png"}
		}
		if c.IsSet("home") {
			return "", usageError{"--home says which home --plot draws", "give both, or leave out --home"}
		}
		return "", nil
	}
	format := strings.TrimPrefix(strings.ToLower(filepath.Ext(path)), ".")
	if !slices.Contains(plot.Formats, format) {
		return "", usageError{fmt.Sprintf("--plot %s: a picture is .svg or .png", path), "--plot FILE.svg for a page or a screen of any size, --plot FILE.png where only that will do"}
	}
	if err := refuseInputs(c, nil); err != nil {
		return "", err
	}
	return format, outputsApart(c)
}

// emitPlotted writes the document, and then the picture where --plot asks for one. A
// picture that cannot be drawn takes nothing from the answer: it is complained of, and makes
// the exit status 1 where it would be 0.
func (p *program) emitPlotted(c *cli.Context, doc report.Document, format string, figure func() (plot.Figure, error)) error {
	if _, err := plotFormat(c); err != nil {
		return err
	}
	if err := p.emit(c, doc, format); err != nil {
		return err
	}
	p.plotted(c, func() (plot.Figure, error) {
		f, err := figure()
		if n := len(doc.Levels); n > mostLevels {
			f.Notes = append([]string{fmt.Sprintf("Of %d levels the first %d are drawn.", n, mostLevels)}, f.Notes...)
		}
		return f, err
	})
	return nil
}

// plotted writes a picture where --plot asks for one.
func (p *program) plotted(c *cli.Context, figure func() (plot.Figure, error)) {
	err := p.draw(c, figure)
	if err == nil {
		return
	}
	p.fail(err)
	p.undrawn = true
	path := c.String("plot")
	if _, err := os.Stat(path); err == nil {
		fmt.Fprintf(p.stderr, "radonyear: warning: %s is as it was before, and no picture of this answer\n", report.Plain(path))
	}
}

func (p *program) draw(c *cli.Context, figure func() (plot.Figure, error)) error {
	format, err := plotFormat(c)
	if err != nil || format == "" {
		return err
	}
	f, err := figure()
	if err != nil {
		return err
	}
	picture, err := plot.Render(f, format)
	if err != nil {
		return err
	}
	if err := replaceFile(c.String("plot"), picture); err != nil {
		return err
	}
	if lost := plot.Lost(f); format == "png" && lost != nil {
		fmt.Fprintf(p.stderr, "radonyear: warning: a PNG has no letters for some of the names: %s\n", report.Plain(strings.Join(lost, ", ")))
		fmt.Fprintf(p.stderr, "radonyear: hint: --plot FILE.svg shows them\n")
	}
	return nil
}

// chosen are the results that a picture is of: those of the homes that --home names,
// or all. More than a page holds is an error.
func chosen[R any](c *cli.Context, results []R, place func(R) analysis.Place) ([]R, error) {
	names := c.StringSlice("home")
	var out []R
	for _, r := range results {
		if len(names) == 0 || slices.Contains(names, place(r).Home) {
			out = append(out, r)
		}
	}
	for _, name := range names {
		if !slices.ContainsFunc(out, func(r R) bool { return place(r).Home == name }) {
			return nil, hinted{fmt.Errorf("--home %q: there is no result of such a home to draw", name), "write its name as the table does"}
		}
	}
	return out, nil
}

// mostRows is how many lines of homes or areas stand in one panel.
const mostRows = 40

// fits is an error where there is more to draw than a page holds.
func fits(n int, what string, most int, hint string) error {
	if n <= most {
		return nil
	}
	return hinted{fmt.Errorf("%d %s are too many for one picture, which holds %d", n, what, most), hint}
}

// fewerHomes is the hint where homes are too many.
const fewerHomes = "--home NAME draws one home; it may be repeated"

// plotDay is where an instant stands on an axis of dates, in civil days of its zone.
func plotDay(t time.Time) float64 {
	_, offset := t.Zone()
	return float64(t.Unix()+int64(offset)) / 86400
}

// mostLevels is how many levels are drawn: there are so many kinds of line for them.
const mostLevels = 3

// levelRules are the levels as lines, the first of them: by height, or upright.
func levelRules(levels []float64, upright bool) (marks []plot.Mark) {
	for i, l := range levels {
		if i == mostLevels {
			break
		}
		marks = append(marks, plot.Rule{Look: plot.Look{Role: []plot.Role{plot.Level, plot.Level2, plot.Level3}[i], Label: fmt.Sprintf("level, %s Bq/m³", report.Number(l, l))}, At: l, Upright: upright})
	}
	return marks
}

// concentration is an axis of Bq/m³.
func concentration(what string) plot.Axis {
	return plot.Axis{Label: what + ", Bq/m³", Kind: plot.Log}
}

// above0 is a concentration that an axis of logarithms can show.
func above0(x float64) float64 { return max(x, 0.1) }
