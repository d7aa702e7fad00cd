package main

import (
	"strings"

	"github.com/urfave/cli/v2"
)

// arrange puts a command's options before its files, because the flag library
// stops at the first file and would take every option after it for a file
// name, without a word. What follows "--" is left alone. "help X" becomes
// "X --help".
func arrange(app *cli.App, args []string) ([]string, error) {
	if len(args) < 2 {
		return args, nil
	}
	if args[1] == "help" {
		if len(args) == 2 {
			return []string{args[0], "--help"}, nil
		}
		args = []string{args[0], args[2], "--help"}
	}
	var command *cli.Command
	for _, c := range app.Commands {
		if c.Name == args[1] {
			command = c
		}
	}
	if command == nil {
		return args, nil // the library's own path: --help, or an unknown command
	}
	takesValue, many, given := map[string]bool{"help": false}, map[string]bool{}, map[string]bool{}
	for _, f := range command.Flags {
		_, isBool := f.(*cli.BoolFlag)
		for _, name := range f.Names() {
			takesValue[name] = !isBool
			_, many[name] = f.(*cli.StringSliceFlag)
		}
	}
	var options, files []string
	rest := args[2:]
	for i := 0; i < len(rest); i++ {
		a := rest[i]
		if a == "--" {
			files = append(files, rest[i+1:]...)
			break
		}
		if len(a) < 2 || a[0] != '-' { // "-" is standard input
			files = append(files, a)
			continue
		}
		options = append(options, a)
		name := strings.TrimLeft(a, "-")
		if name == "help" || name == "h" { // nothing else counts; the library would take a file for a topic
			return []string{args[0], args[1], "--help"}, nil
		}
		if bare, _, _ := strings.Cut(name, "="); takesValue[bare] && !many[bare] {
			if given[bare] {
				return nil, usageError{"option --" + bare + " is given twice", "give it once" + repeatable(command)}
			}
			given[bare] = true
		}
		takes, known := takesValue[name] // "--name=value" is not a name and takes nothing more
		if !known || !takes {
			continue
		}
		if i+1 == len(rest) {
			return nil, usageError{"option " + a + " needs a value", "radonyear " + command.Name + " --help lists its options"}
		}
		// Without this, a forgotten value would swallow the next option.
		if next, _, _ := strings.Cut(rest[i+1], "="); strings.HasPrefix(next, "--") && next != "--" {
			if _, isOption := takesValue[next[2:]]; isOption {
				return nil, usageError{"option " + a + " needs a value, but " + rest[i+1] + " follows", "radonyear " + command.Name + " --help lists its options"}
			}
		}
		i++
		options = append(options, rest[i])
	}
	out := append([]string{args[0], args[1]}, options...)
	return append(append(out, "--"), files...), nil
}

// repeatable says which options of a command may be repeated, "" where none may.
func repeatable(command *cli.Command) string {
	var names []string
	for _, f := range command.Flags {
		if _, many := f.(*cli.StringSliceFlag); many {
			names = append(names, "--"+f.Names()[0])
		}
	}
	switch n := len(names); n {
	case 0:
		return ""
	case 1:
		return ": only " + names[0] + " may be repeated"
	default:
		return ": only " + strings.Join(names[:n-1], ", ") + " and " + names[n-1] + " may be repeated"
	}
}
