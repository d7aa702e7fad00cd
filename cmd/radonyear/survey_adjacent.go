package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/survey"
	"radonyear/cmd/radonyear/internal/report"
)

// readAdjacent takes pairs of areas that lie next to each other, and says which file they
// are in.
func readAdjacent(c *cli.Context, path string) (pairs [][2]string, file report.Input, err error) {
	f, err := openSide(c, path, "pairs of areas", "a line is area,neighbour under a header, for example Eastfield,Northby")
	if err != nil {
		return nil, file, err
	}
	area, next := f.column("area"), f.column("neighbour", "neighbor", "next")
	if area < 0 || next < 0 {
		return nil, file, f.fail(1, "the header has no columns area and neighbour")
	}
	for _, row := range f.rows {
		a, b := row.cells[area], row.cells[next]
		switch {
		case a == "" || b == "":
			return nil, file, f.fail(row.line, "an area has no name")
		case a == b:
			return nil, file, f.fail(row.line, "%q is its own neighbour", a)
		}
		pairs = append(pairs, [2]string{a, b})
	}
	return pairs, f.sum, nil
}

// withNeighbours gives areas their neighbours. Where no dwellings say which areas there
// are, those of the pairs are areas too; which of those have no home is noted, since
// another spelling would look like that.
func (q communityQuestion) withNeighbours(areas []survey.Area, homes []survey.Home) ([]survey.Area, []analysis.Note, error) {
	if q.adjacent == nil {
		return areas, nil, nil
	}
	known := areas != nil
	measured := map[string]bool{}
	for _, h := range homes {
		measured[h.Area] = true
	}
	at := map[string]int{}
	add := func(name string) {
		if _, ok := at[name]; !ok {
			at[name] = len(areas)
			areas = append(areas, survey.Area{Name: name})
		}
	}
	if known {
		for i, a := range areas {
			at[a.Name] = i
		}
	} else {
		for name := range measured {
			add(name)
		}
	}
	var unmeasured []string
	for _, p := range q.adjacent {
		for _, name := range p {
			if _, ok := at[name]; !ok && known {
				return nil, nil, hinted{fmt.Errorf("%s names an area %q, which %s does not", q.adjacentFile, name, q.populationsFile), "write each area alike in both files"}
			}
			add(name)
			if text := strconv.Quote(name); !measured[name] && !slices.Contains(unmeasured, text) {
				unmeasured = append(unmeasured, text)
			}
		}
		i := at[p[0]]
		areas[i].Neighbours = append(areas[i].Neighbours, p[1])
	}
	for name := range measured {
		if !slices.ContainsFunc(q.adjacent, func(p [2]string) bool { return p[0] == name || p[1] == name }) {
			continue
		}
		measured[name] = false // it has a neighbour
	}
	var alone []string
	for name, yes := range measured {
		if yes {
			alone = append(alone, strconv.Quote(name))
		}
	}
	slices.Sort(alone)
	slices.Sort(unmeasured)
	slices.SortFunc(areas, func(a, b survey.Area) int { return strings.Compare(a.Name, b.Name) })
	var notes []analysis.Note
	say := func(code, format string, names []string) {
		if names != nil {
			notes = append(notes, analysis.Note{Code: code, Text: fmt.Sprintf(format, count(len(names), "area"), firstFew(names), q.adjacentFile)})
		}
	}
	say("adjacent-unmeasured", "%s with no home: %s. What is said there rests on neighbours and the others; if a name is spelt otherwise in %s, mend it.", unmeasured)
	say("adjacent-alone", "%s without a neighbour: %s. If a name is spelt otherwise in %s, mend it.", alone)
	return areas, notes, nil
}

// firstFew joins up to five names.
func firstFew(names []string) string {
	const most = 5
	if len(names) <= most {
		return strings.Join(names, ", ")
	}
	return fmt.Sprintf("%s and %d more", strings.Join(names[:most], ", "), len(names)-most)
}
