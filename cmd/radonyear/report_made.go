package main

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"github.com/urfave/cli/v2"

	"radonyear/analysis"
	"radonyear/cmd/radonyear/internal/page"
	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// howMade is what the last section of a page is made of.
type howMade struct {
	command  *cli.Context
	docs     []report.Document
	methods  []string          // keys beside those of the documents' estimates
	rejected []ingest.RowError // shown, a few of them

	beside []report.Input // files read beside the readings

	detectors bool           // what each detector measured is on the page
	published bool           // nothing may say whose data it is
	seed      string         // of random numbers; "": there are none
	onPage    []report.Field // options of the page alone
}

// section says how the numbers of a page were made.
func (m howMade) section() page.Section {
	s := page.Section{ID: "how", Title: page.Say("How these numbers were made"), NewPage: true}
	say := func(text, command string) {
		s.Blocks = append(s.Blocks, page.Block{Text: page.Say("{}", text)}, page.Block{Command: m.commandLine(command)})
	}
	say("This section is for whoever checks the page. The same files, options and version give the same page, to the byte. This command makes it again:", "report")
	for _, d := range m.docs {
		if m.published {
			say("This one writes its numbers as they are told here, two digits each, with what was kept back and why:", d.Command)
		} else {
			say("This one writes its numbers unrounded, with all that belongs to them:", d.Command)
		}
	}
	if m.detectors {
		say("This one writes what each detector measured:", "inspect")
	}
	if m.published {
		s.Sections = append(s.Sections, page.Section{Title: page.Say("Files"), Blocks: []page.Block{{Text: page.Say("The files’ names and checksums are kept back, since they could tell whose data it is; they stand as FILE in the commands. Whoever has the files can make the page again and compare.")}}})
	} else {
		s.Sections = append(s.Sections, m.inputs())
	}
	for _, d := range m.docs {
		s.Sections = append(s.Sections, m.settings(d))
	}
	s.Sections = append(s.Sections, m.methodSection())
	return s
}

// inputs are the files and what was left out of them.
func (m howMade) inputs() page.Section {
	d := m.docs[0]
	t := &page.Table{Key: "inputs", Caption: page.Say("The files read, with the SHA-256 of their bytes."),
		Heads: []page.Head{{Text: page.Say("File")}, {Text: page.Say("Rows"), Number: true}, {Text: page.Say("Left out"), Number: true}, {Text: page.Say("SHA-256")}}}
	for _, in := range d.Inputs {
		t.Rows = append(t.Rows, []page.Prose{
			{page.Name(in.Path)},
			{page.Number(fmt.Sprint(in.Rows), in.Rows, "rows")},
			{page.Number(fmt.Sprint(in.Rejected), in.Rejected, "rejected")},
			{page.Code(in.SHA256)}})
	}
	s := page.Section{Title: page.Say("Files"), Blocks: []page.Block{{Table: t}}}
	if m.beside != nil {
		t := &page.Table{Caption: page.Say("Files read beside them, which say more of the readings."), Heads: []page.Head{{Text: page.Say("File")}, {Text: page.Say("SHA-256")}}}
		for _, in := range m.beside {
			t.Rows = append(t.Rows, []page.Prose{{page.Name(in.Path)}, {page.Code(in.SHA256)}})
		}
		s.Blocks = append(s.Blocks, page.Block{Table: t})
	}
	if m.rejected != nil {
		const most = 10
		left := &page.Table{Caption: page.Say("Rows left out, {}.", map[bool]string{true: "all of them", false: "the first of them"}[len(m.rejected) <= most]),
			Heads: []page.Head{{Text: page.Say("File")}, {Text: page.Say("Line"), Number: true}, {Text: page.Say("Column")}, {Text: page.Say("Why")}}}
		for i, r := range m.rejected {
			if i == most {
				break
			}
			left.Rows = append(left.Rows, []page.Prose{{page.Name(r.File)}, page.Say("{}", strconv.Itoa(r.Line)), {page.Name(r.Column)}, {page.Name(r.Why)}})
		}
		s.Blocks = append(s.Blocks, page.Block{Table: left})
	}
	var notes []page.Prose
	for _, d := range m.docs {
		for _, n := range d.Notes {
			if p := (page.Prose{page.Name(page.Sentence(n.Text))}); !slices.ContainsFunc(notes, func(q page.Prose) bool { return slices.Equal(p, q) }) {
				notes = append(notes, p)
			}
		}
	}
	if notes != nil {
		s.Blocks = append(s.Blocks, page.Block{List: notes})
	}
	return s
}

// settings are a document's options, defaults included.
func (m howMade) settings(d report.Document) page.Section {
	var facts []page.Fact
	var add func(prefix string, fields []report.Field)
	add = func(prefix string, fields []report.Field) {
		for _, f := range fields {
			name := prefix + strings.ReplaceAll(f.Name, "_", " ")
			if nested, ok := f.Value.([]report.Field); ok {
				add(name+", ", nested)
				continue
			}
			facts = append(facts, page.Fact{Name: page.Say("{}", name), Value: page.Prose{page.Name(settingText(f.Value))}})
		}
	}
	add("", slices.Concat(d.Settings, m.onPage))
	return page.Section{Title: page.Say("Options of {}", "radonyear "+d.Command), Blocks: []page.Block{
		{Text: page.Say("Version {}. {} What was not asked for stands as its default.", d.Version, m.randomness())}, {Facts: facts}}}
}

// randomness says which random numbers are in the page.
func (m howMade) randomness() string {
	if m.seed == "" {
		return "No random numbers."
	}
	return "Seed of the random numbers: " + m.seed + "."
}

func settingText(v any) string {
	switch v := v.(type) {
	case nil:
		return "–"
	case string:
		if v == "" {
			return "–"
		}
		return v
	case float64:
		return report.Exact(v)
	case []float64:
		var parts []string
		for _, x := range v {
			parts = append(parts, report.Exact(x))
		}
		return settingText(parts)
	case []string:
		if len(v) == 0 {
			return "–"
		}
		return strings.Join(v, ", ")
	case time.Time:
		return v.Format(time.DateOnly)
	case bool:
		return map[bool]string{true: "yes", false: "no"}[v]
	}
	return fmt.Sprint(v)
}

// methodSection says of each method behind a number on the page what the list of
// methods says.
func (m howMade) methodSection() page.Section {
	keys := slices.Clone(m.methods)
	var walk func(v any)
	walk = func(v any) {
		switch v := v.(type) {
		case analysis.Estimate:
			if !slices.Contains(keys, v.Method) {
				keys = append(keys, v.Method)
			}
		case report.Range:
			walk(analysis.Estimate{Method: v.Method})
		case []report.Field:
			for _, f := range v {
				walk(f.Value)
			}
		case []any:
			for _, x := range v {
				walk(x)
			}
		}
	}
	for _, d := range m.docs {
		for _, t := range d.Tables {
			for _, r := range t.Rows {
				for _, cell := range r.Cells {
					walk(cell)
				}
			}
		}
	}
	out := page.Section{Title: page.Say("Methods")}
	for _, method := range methods { // in the order of the list
		if !slices.Contains(keys, method.Key) {
			continue
		}
		out.Sections = append(out.Sections, page.Section{Title: page.Say("{} ({})", strings.TrimSuffix(page.Sentence(method.Title), "."), method.Key), Blocks: []page.Block{{Facts: []page.Fact{
			{Name: page.Say("Estimates"), Value: page.Say("{}", method.Estimates)},
			{Name: page.Say("Formula"), Value: page.Say("{}", method.Formula)},
			{Name: page.Say("Assumes"), Value: page.Say("{}", method.Assumes)},
			{Name: page.Say("Interval"), Value: page.Say("{}", method.Interval)},
			{Name: page.Say("Source"), Value: page.Say("{}.", sourcesOf(method))},
			{Name: page.Say("Held to"), Value: page.Say("{}; by hand: {}; coverage: {}.", method.Evidence.Reference, method.Evidence.ByHand, method.Evidence.Coverage)},
		}}}})
	}
	return out
}

// commandLine is a command with the options of this run that it has, as it would be
// typed into a shell.
func (m howMade) commandLine(name string) string {
	c := m.command
	takes := map[string]bool{}
	for _, cmd := range c.App.Commands {
		if cmd.Name == name {
			for _, f := range cmd.Flags {
				takes[f.Names()[0]] = true
			}
		}
	}
	words := []string{"radonyear", name}
	for _, path := range c.Args().Slice() {
		if strings.HasPrefix(path, "-") && path != "-" {
			path = "./" + path
		}
		if m.published {
			path = "FILE"
		}
		words = append(words, shellWord(path))
	}
	for _, f := range c.Command.Flags {
		flag := f.Names()[0]
		if !c.IsSet(flag) || !takes[flag] || name != "report" && slices.Contains([]string{"home", "format", "output", "rejects", "min-homes"}, flag) {
			continue
		}
		one := func(value string) {
			if m.published && slices.Contains([]string{"profile", "populations", "key-file", "output", "sheet", "column"}, flag) && !(flag == "profile" && profileFile(value) == "") {
				value = strings.ToUpper(flag)
			}
			words = append(words, "--"+flag, shellWord(value))
		}
		switch f.(type) {
		case *cli.BoolFlag:
			if c.Bool(flag) {
				words = append(words, "--"+flag)
			}
		case *cli.StringSliceFlag:
			for _, v := range c.StringSlice(flag) {
				one(v)
			}
		default:
			one(fmt.Sprint(c.Value(flag)))
		}
	}
	if name == "survey" {
		words = append(words, "--publish")
	}
	if name != "report" {
		words = append(words, "--format", "json")
	}
	return strings.Join(words, " ")
}

// shellWord quotes a word where a shell would read it otherwise.
func shellWord(word string) string {
	const plain = "ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789-_./:,+@%="
	if word != "" && strings.Trim(word, plain) == "" {
		return word
	}
	return "'" + strings.ReplaceAll(word, "'", `'\''`) + "'"
}
