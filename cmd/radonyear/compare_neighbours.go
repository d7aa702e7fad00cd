package main

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/analysis/season"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// Homes of the same files that never had a system tell the season and the weather of those
// days. How well, by how many of them, is published in COVERAGE-homes.md of the package
// compare; by ten, in a trial, intervals were wider than by the built-in profile. By the season of twenty
// without the weather they are too, by a quarter in a trial, with as large an error, and by
// that of seventy they are alike; so where the weather is not known, or not used, the built-in
// profile is.
const (
	fewestNeighbours = 20
	mostNeighbours   = 100 // by trial: 150 leave as large an error, and take three times as long
	fewNeighbours    = 5   // from so many on it is said that they are too few
)

// neighbours are the homes of the files that a comparison may learn season and weather from.
type neighbours struct {
	wanted bool             // homes without a system can be told, and nothing else was asked for
	home   []bool           // of the files: never had a system, and has a year of day means; nil where nothing was learned
	plain  *compareQuestion // as it was asked before anything was learned: by the built-in profile, which is for homes whose weather they do not know, and for charts
}

// of says whether season and weather were learned from homes like this one of the files.
func (n neighbours) of(home int) bool { return n.home != nil && n.home[home] }

// wantsNeighbours says whether a comparison may learn from homes of its own files. Where one
// time is that of all homes, or each home's is looked for, every home has a system.
func wantsNeighbours(c *cli.Context) bool {
	return c.String("profile") == "" && c.String("course") != "ignore" &&
		!slices.ContainsFunc([]string{"switch", "find-switch", "with", "pair", "before", "before-start", "after", "after-start"}, c.IsSet)
}

// neverHad says whether home i never had a system, for all that the files say: no switch and
// none that its readings name, and where phases part them, all of them from before.
func (q compareQuestion) neverHad(daily *ingest.Daily, i int, h ingest.Home) bool {
	if q.switches.of(h.Name) != nil || len(h.Series) == 0 {
		return false
	}
	for _, a := range h.About {
		if a.Phase != "before" && (a.Phase != "" || !q.switches.given()) {
			return false
		}
	}
	at := systemColumnOf(daily)
	if at == "" {
		return true
	}
	said := daily.Said(i, at)
	if said == nil { // more values than are kept, or none
		return !slices.Contains(h.Differs, at)
	}
	return !slices.ContainsFunc(said, func(s ingest.Said) bool { return !slices.Contains(noSystem, strings.ToLower(s.Value)) })
}

// settleProfile puts a profile learned from homes of the files that never had a system in
// place of the built-in one, where there are enough of them and the others lived in their
// weather; and where there are some and it does not, says why.
func (q *compareQuestion) settleProfile(daily *ingest.Daily, unknown []analysis.Note) ([]analysis.Note, error) {
	builtIn := *q
	homes, why, err := q.learnNeighbours(daily, unknown != nil)
	if err != nil {
		return nil, err
	}
	if err := q.settleCourse(q.before(daily)); err != nil {
		if why != "" {
			err = hinted{fmt.Errorf("--course use: of the files' homes %d have no system and most of a year of day means, which may tell the weather: %s", homes, why), "leave out --course use, or give a --profile that was learned in that weather"}
		}
		return nil, err
	}
	if q.neighbours.home != nil && !q.Course {
		why = fmt.Sprintf("the day means of %d others do not follow the weather learned from them (slope %.2f ± %.2f)", q.course.homes, q.course.slope, q.course.se)
		*q = builtIn
	}
	if why == "" {
		q.neighbours.plain = &builtIn
		return nil, nil
	}
	return notUsed(homes, why), nil
}

func notUsed(homes int, why string) []analysis.Note {
	return []analysis.Note{{Code: "neighbours-not-used", Text: fmt.Sprintf("Of the files' homes %d have no system and most of a year of day means, which may tell season and weather of the others: %s; the built-in profile was used.", homes, why)}}
}

// unlearn is the question as it was, and a note of that, where season and weather were learned
// and none of the results is by them.
func (q compareQuestion) unlearn(results []compared) (compareQuestion, []analysis.Note) {
	if q.neighbours.home == nil || slices.ContainsFunc(results, func(r compared) bool { return r.Course }) {
		return q, nil
	}
	homes := 0
	for _, yes := range q.neighbours.home {
		if yes {
			homes++
		}
	}
	return *q.neighbours.plain, notUsed(homes, "none of the homes compared is of their area and was measured on days on which they were")
}

// learnNeighbours learns from homes that never had a system, and says of how many it could,
// and why it did not where that is worth saying.
func (q *compareQuestion) learnNeighbours(daily *ingest.Daily, unknown bool) (homes int, why string, err error) {
	if !q.neighbours.wanted {
		return 0, "", nil
	}
	never, both := make([]bool, daily.HomeCount()), make([]bool, daily.HomeCount())
	each(daily.HomeCount(), func(i int) {
		h := daily.Home(i, ingest.Filter{})
		if q.neverHad(daily, i, h) {
			never[i] = season.Enough(h.Series)
			return
		}
		sides, err := q.parted(i, h)
		both[i] = err == nil && len(sides.without) > 0 && len(sides.with) > 0
	})
	var at []int // in order of name
	for i, yes := range never {
		if yes {
			at = append(at, i)
		}
	}
	switch {
	case len(at) < fewNeighbours || !slices.Contains(both, true): // and so nothing to say, or nothing to compare
		return 0, "", nil
	case len(at) < fewestNeighbours:
		return len(at), fmt.Sprintf("it takes %d", fewestNeighbours), nil
	case unknown: // written in another way it may be one of these
		return len(at), "the switches name homes that the files lack, and what is written in two ways may be one of them", nil
	}
	from := at
	if len(at) > mostNeighbours {
		from = make([]int, mostNeighbours)
		for k := range from {
			from[k] = at[k*len(at)/mostNeighbours]
		}
	}
	learned, _, err := learn(population{len(from), func(k int) []subject { return subjectsOf(daily.Home(from[k], ingest.Filter{}), "home") }},
		season.Options{Name: "neighbours", BuiltIn: q.Profile})
	if err != nil {
		return len(at), "", err
	}
	if learned.Profile.Course == nil {
		return len(at), "too few of them were measured at a time", nil
	}
	q.neighbours.home, q.course.neighbours = never, true
	q.Profile = learned.Profile
	q.Profile.Provenance = fmt.Sprintf("learned from %d homes of these files without a system, %s to %s", learned.Homes, learned.First.Format(time.DateOnly), learned.Last.Format(time.DateOnly))
	if len(at) > len(from) {
		q.Profile.Provenance += fmt.Sprintf(", evenly spaced by name among %d such homes", len(at))
	}
	return len(at), "", nil
}

// compareHome compares home i of the files; one whose weather was not learned from the others,
// by the built-in profile.
func (q compareQuestion) compareHome(i int, h ingest.Home, sides parted) (compared, error) {
	r, err := q.one(i, h, sides)
	if err != nil || q.neighbours.home == nil || r.Course {
		return r, err
	}
	q.Profile, q.Course = q.neighbours.plain.Profile, false
	if r, err = q.one(i, h, sides); err != nil {
		return r, err
	}
	r.Notes = append(slices.Clip(r.Notes), analysis.Note{Code: "other-weather", Text: "by the built-in profile: the homes that season and weather were learned from tell nothing of the weather of some of its days, or of its area"})
	return r, nil
}

// notNeighbours are the homes left out, without those learned from: nobody expects a result
// of a home that has no system.
func (q compareQuestion) notNeighbours(daily *ingest.Daily, left []report.LeftOut) []report.LeftOut {
	if q.neighbours.home == nil {
		return left
	}
	learned := map[analysis.Place]bool{}
	for i, yes := range q.neighbours.home {
		if yes {
			h := daily.Home(i, ingest.Filter{})
			learned[analysis.Place{Home: h.Name, Area: h.Area}] = true
		}
	}
	return slices.DeleteFunc(left, func(l report.LeftOut) bool { return learned[l.Place] })
}
