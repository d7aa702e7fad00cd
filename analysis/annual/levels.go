package annual

import (
	"strings"

	"radonyear/analysis"
)

// DefaultLevel is the level a home is held against where the user names none,
// Bq/m³. It is the guideline or action level of several countries (Canada, the
// United Kingdom, Ireland among them), below the upper limit of 300 that the
// European directive sets, and above the 100 that the World Health Organization
// recommends where it can be reached. It is a default, not advice: the level
// that counts is the one in force where the home stands.
const DefaultLevel = 200.0

// Level is one number an authority holds annual means of radon in
// homes against.
type Level struct {
	Authority  string
	Country    string  // "" for an international body
	Published  string  // the value as its authority writes it
	Bq         float64 // the same in Bq/m³, unrounded
	Wording    string  // what the authority calls it
	Year       int     // 0 where the year was not found
	Source     analysis.Source
	FromMemory bool // written down without the text at hand: look it up before use
}

// Levels lists the levels known here, international bodies first, then
// by country. A level is on the annual mean in the rooms people use, not on the
// result of one test. "Reference level" (keep below, and go lower where that is
// reasonable) and "action level" (act above) are different ideas in law, so the
// wording is given as the authority has it. The list is not complete, and
// authorities change their numbers.
func Levels() []Level {
	table1 := analysis.Source{Key: "erj-2018", Cite: "European Respiratory Journal 50 (2017) 1701609", Part: "Table 1"}
	memory := analysis.Source{Key: "from-memory", Cite: "from memory; look it up before use"}
	return []Level{
		{Authority: "World Health Organization", Published: "100 Bq/m³", Bq: 100, Wording: "reference level", Year: 2009,
			Source: analysis.Source{Key: "who-2009", Cite: "WHO Handbook on Indoor Radon", Part: "restated in European Respiratory Journal 50 (2017) 1701609, Table 1"}},
		{Authority: "World Health Organization", Published: "300 Bq/m³", Bq: 300, Wording: "limit where 100 is out of reach", Year: 2009,
			Source: analysis.Source{Key: "who-2009", Cite: "WHO Handbook on Indoor Radon", Part: "restated in European Respiratory Journal 50 (2017) 1701609, Table 1"}},
		{Authority: "International Commission on Radiological Protection", Published: "300 Bq/m³", Bq: 300, Wording: "upper reference level, of 100-300",
			Source: analysis.Source{Key: "icrp-126", Cite: "ICRP Publication 126", Part: "restated in Annals of the ICRP 49(1S), 68-76"}},
		{Authority: "International Atomic Energy Agency", Published: "300 Bq/m³", Bq: 300, Wording: "upper bound of the reference level",
			Source: analysis.Source{Key: "iaea-gsr3", Cite: "IAEA General Safety Requirements Part 3", Part: "footnotes 55 and 57"}},
		{Authority: "European Union", Published: "300 Bq/m³", Bq: 300, Wording: "upper bound of national levels", Year: 2013,
			Source: analysis.Source{Key: "eu-2013-59", Cite: "Council Directive 2013/59/Euratom", Part: "article 74"}},
		{Authority: "national level", Country: "Austria", Published: "300 Bq/m³", Bq: 300, Wording: "reference level", Source: memory, FromMemory: true},
		{Authority: "Government of Canada", Country: "Canada", Published: "200 Bq/m³", Bq: 200, Wording: "guideline", Year: 2007,
			Source: analysis.Source{Key: "canada-2007", Cite: "Government of Canada Radon Guideline"}},
		{Authority: "national level", Country: "Denmark", Published: "100 Bq/m³", Bq: 100, Wording: "level for homes", Source: memory, FromMemory: true},
		{Authority: "national regulation", Country: "Finland", Published: "300 Bq/m³", Bq: 300, Wording: "reference level, existing homes", Year: 2018,
			Source: analysis.Source{Key: "finland-2018", Cite: "Decree 1044/2018", Part: "as restated by the city of Espoo"}},
		{Authority: "national regulation", Country: "Finland", Published: "200 Bq/m³", Bq: 200, Wording: "design value, new homes", Year: 2018,
			Source: analysis.Source{Key: "finland-2018", Cite: "Decree 1044/2018", Part: "as restated by the city of Espoo"}},
		{Authority: "national level", Country: "France", Published: "300 Bq/m³", Bq: 300, Wording: "reference level", Source: memory, FromMemory: true},
		{Authority: "national level", Country: "Germany", Published: "300 Bq/m³", Bq: 300, Wording: "reference level", Source: memory, FromMemory: true},
		{Authority: "national level", Country: "Ireland", Published: "200 Bq/m³", Bq: 200, Wording: "reference level, homes", Source: table1},
		{Authority: "radiation protection authority", Country: "Norway", Published: "100 Bq/m³", Bq: 100, Wording: "action level",
			Source: analysis.Source{Key: "norway-erd", Cite: "European Radon Day 2024, national contribution of Norway"}},
		{Authority: "radiation protection authority", Country: "Norway", Published: "200 Bq/m³", Bq: 200, Wording: "maximum level",
			Source: analysis.Source{Key: "norway-erd", Cite: "European Radon Day 2024, national contribution of Norway"}},
		{Authority: "national level", Country: "Sweden", Published: "200 Bq/m³", Bq: 200, Wording: "reference level", Source: memory, FromMemory: true},
		{Authority: "national level", Country: "Switzerland", Published: "300 Bq/m³", Bq: 300, Wording: "reference level", Source: memory, FromMemory: true},
		{Authority: "national level", Country: "United Kingdom", Published: "200 Bq/m³", Bq: 200, Wording: "action level", Source: table1},
		{Authority: "national level", Country: "United Kingdom", Published: "100 Bq/m³", Bq: 100, Wording: "target level", Source: table1},
		{Authority: "Environmental Protection Agency", Country: "United States", Published: "4 pCi/L", Bq: 4 * analysis.BqPerPCi, Wording: "action level", Source: table1},
		{Authority: "Environmental Protection Agency", Country: "United States", Published: "2 pCi/L", Bq: 2 * analysis.BqPerPCi, Wording: "consider fixing between 2 and 4", Source: table1},
	}
}

// LevelOwners names who holds homes in general against a level, for the sentence
// under a result: none where no authority listed here does. Levels from memory
// and levels for new homes alone are not used for it.
func LevelOwners(bq float64) []string {
	var owners []string
	for _, l := range Levels() {
		if l.Bq != bq || l.FromMemory || strings.HasSuffix(l.Wording, "new homes") {
			continue
		}
		who := l.Country
		if who == "" {
			who = l.Authority
		}
		owners = append(owners, who+" ("+l.Wording+")")
	}
	return owners
}
