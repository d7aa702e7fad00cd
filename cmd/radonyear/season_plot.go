package main

import (
	"fmt"

	"radonyear/analysis/season"
	"radonyear/cmd/radonyear/internal/plot"
	"radonyear/cmd/radonyear/internal/report"
)

// cycleFigure draws the mean cycle of a profile.
func cycleFigure(l season.Learned) plot.Figure {
	band := plot.Band{Look: plot.Look{Role: plot.Model, Label: "95 % of homes"}}
	line := plot.Curve{Look: plot.Look{Role: plot.Model, Label: "mean cycle"}}
	dots := plot.Points{Look: plot.Look{Role: plot.Model}}
	for _, m := range l.Monthly {
		x := float64(m.Month)
		band.X, band.Low, band.High = append(band.X, x), append(band.Low, m.Lower), append(band.High, m.Upper)
		line.X, line.Y = append(line.X, x), append(line.Y, m.Factor)
		dots.X, dots.Y = append(dots.X, x), append(dots.Y, m.Factor)
	}
	return plot.Figure{
		Title: fmt.Sprintf("Radon through the months: profile %q", l.Profile.Name),
		Lead:  fmt.Sprintf("Learned from %s, %s to %s.", count(l.Homes, "home"), l.First.Format("January 2006"), l.Last.Format("January 2006")),
		Desc:  "Each month's mean as a factor on the mean of the year, with the range that holds 95 % of homes as far as their season goes; 1 is the year's mean.",
		Panels: []plot.Panel{{
			X:     plot.Axis{Kind: plot.Months},
			Y:     plot.Axis{Label: "Mean of the month over that of the year, ratio", Kind: plot.Log},
			Marks: []plot.Mark{band, plot.Rule{Look: plot.Look{Role: plot.Quiet, Label: "mean of the year"}, At: 1}, line, dots},
		}},
		Notes: []string{fmt.Sprintf("The cycle's log amplitude is %s on average. A home's days vary far more than its season does.", report.Number(l.Amplitude)), "A profile is for homes like those it was learned from. " + caution},
	}
}
