package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"strings"

	"github.com/urfave/cli/v2"

	"radonyear/cmd/radonyear/internal/report"
	"radonyear/ingest"
)

// version is written into every result.
const version = "0.1.0"

// The exit statuses, the same for every command.
const (
	exitDone     = 0 // answered, with everything that was read
	exitNoAnswer = 1 // no answer, or no picture of it where --plot asked for one and no other status stands
	exitUsage    = 2 // the command line cannot be followed
	exitPartial  = 3 // answered, but rows or homes were left out
	exitAlarm    = 4 // answered, and watch says that somebody should look at a system
)

// program is what a command may touch of the world outside its files.
type program struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	undrawn        bool // the answer is out, and a picture of it was asked for in vain
}

// usageError is a command line that cannot be followed.
type usageError struct{ msg, hint string }

func (e usageError) Error() string { return e.msg }

// hinted is any other error with a hint at the cure.
type hinted struct {
	error
	hint string
}

func (e hinted) Unwrap() error { return e.error }

// errPartial asks for exit status 3: the answer is out, and what is missing in
// it has been said.
var errPartial = errors.New("rows or homes were left out")

// run is the whole program: arguments in, exit status out.
func run(args []string, stdin io.Reader, stdout, stderr io.Writer) int {
	p := &program{stdin: stdin, stdout: stdout, stderr: stderr}
	app := p.app()
	args, err := arrange(app, args)
	if err == nil {
		err = app.Run(args)
	}
	status := p.fail(err)
	if status == exitDone && p.undrawn {
		status = exitNoAnswer
	}
	return status
}

// fail says what went wrong, if anything did, and gives the exit status.
func (p *program) fail(err error) int {
	if err == nil {
		return exitDone
	}
	if errors.Is(err, errPartial) {
		return exitPartial
	}
	if errors.Is(err, errAlarm) {
		return exitAlarm
	}
	fmt.Fprintf(p.stderr, "radonyear: error: %s\n", report.Plain(err.Error()))
	hint := ""
	status := exitNoAnswer
	var usage usageError
	var withHint hinted
	var file *ingest.FileError
	var option *ingest.OptionError
	switch {
	case errors.As(err, &usage):
		hint, status = usage.hint, exitUsage
	case errors.As(err, &withHint):
		hint = withHint.hint
	case errors.As(err, &file):
		hint = file.Hint
	case errors.As(err, &option):
		hint, status = option.Hint, exitUsage
	}
	if hint != "" {
		fmt.Fprintf(p.stderr, "radonyear: hint: %s\n", report.Plain(hint))
	}
	return status
}

// helpFlag is --help, which the library holds once for all programs of a process: each run
// gets a copy to set, so that tests may run several side by side.
type helpFlag struct{ *cli.BoolFlag }

func (f helpFlag) Apply(set *flag.FlagSet) error {
	own := *f.BoolFlag
	return own.Apply(set)
}

func init() {
	if f, ok := cli.HelpFlag.(*cli.BoolFlag); ok {
		cli.HelpFlag = helpFlag{f}
	}
	// Help shows an option as "--level VALUE", its meaning beside it.
	cli.HelpPrinter = func(w io.Writer, text string, data any) {
		cli.HelpPrinterCustom(w, text, data, map[string]any{"option": optionHelp})
	}
}

// optionHelp is one line or more of help for an option.
func optionHelp(f cli.Flag) string {
	names := f.Names()
	if names[0] == "help" {
		return "--help"
	}
	left := "--" + names[0]
	usage := ""
	if d, ok := f.(cli.DocGenerationFlag); ok {
		usage = d.GetUsage()
		if d.TakesValue() {
			value := "VALUE"
			if before, rest, ok := strings.Cut(usage, "`"); ok {
				var after string
				value, after, _ = strings.Cut(rest, "`")
				usage = before + value + after
			}
			left += " " + value
		}
	}
	const indent = 26
	if len(left) > indent-4 {
		left += "\n" + strings.Repeat(" ", indent)
	} else {
		left += strings.Repeat(" ", indent-2-len(left))
	}
	return left + report.Wrap(usage, report.Width-indent, strings.Repeat(" ", indent))
}

// commands are in the order a job runs in, and help lists them so.
func (p *program) commands() []*cli.Command {
	return []*cli.Command{
		p.inspectCommand(),
		p.ingestCommand(),
		p.annualCommand(),
		p.seasonCommand(),
		p.verdictCommand(),
		p.compareCommand(),
		p.watchCommand(),
		p.describeCommand(),
		p.surveyCommand(),
		p.floorsCommand(),
		p.meanCommand(),
		p.planCommand(),
		p.reportCommand(),
		p.levelsCommand(),
		p.demoCommand(),
		p.methodsCommand(),
		p.coverageCommand(),
		p.versionCommand(),
	}
}

func (p *program) app() *cli.App {
	app := &cli.App{
		Name:                      "radonyear",
		Usage:                     "from radon readings to annual means, honest intervals, verdicts",
		Writer:                    p.stdout,
		ErrWriter:                 p.stderr,
		Reader:                    p.stdin,
		HideVersion:               true,
		HideHelpCommand:           true,
		DisableSliceFlagSeparator: true,
		CustomAppHelpTemplate:     appHelp,
		Commands:                  p.commands(),
		ExitErrHandler:            func(*cli.Context, error) {}, // run gives the exit status, nothing else does
	}
	app.Action = func(c *cli.Context) error {
		if name := c.Args().First(); name != "" {
			return p.unknownCommand(app, name)
		}
		return usageError{"no command given", "radonyear --help lists the commands"}
	}
	app.OnUsageError = func(c *cli.Context, err error, sub bool) error {
		return usageError{flagTrouble(err), "radonyear --help lists the commands"}
	}
	for _, c := range app.Commands {
		name := c.Name
		c.HideHelpCommand = true // else a file named "help" would be a command
		c.CustomHelpTemplate = commandHelp
		c.OnUsageError = func(_ *cli.Context, err error, _ bool) error {
			hint := "radonyear " + name + " --help lists its options"
			if strings.Contains(err.Error(), "for flag -confidence") {
				hint = "--confidence 0.95, a share and no percentage"
			}
			return usageError{flagTrouble(err), hint}
		}
	}
	return app
}

// flagTrouble puts the flag library's message into our words.
func flagTrouble(err error) string {
	msg := err.Error()
	if rest, ok := strings.CutPrefix(msg, "flag provided but not defined: -"); ok {
		return "unknown option --" + strings.TrimPrefix(rest, "-")
	}
	if rest, ok := strings.CutPrefix(msg, "flag needs an argument: -"); ok {
		return "option --" + strings.TrimPrefix(rest, "-") + " needs a value"
	}
	if rest, ok := strings.CutPrefix(msg, "invalid value "); ok {
		return "invalid value " + strings.Replace(rest, "for flag -", "for option --", 1)
	}
	return msg
}

func (p *program) unknownCommand(app *cli.App, name string) error {
	hint := "radonyear --help lists the commands"
	for _, c := range app.Commands {
		if near(c.Name, name) {
			hint = "did you mean radonyear " + c.Name + "?"
		}
	}
	return usageError{fmt.Sprintf("unknown command %q", name), hint}
}

// near says whether b is a with one slip: a letter more, less, or another, or
// two swapped.
func near(a, b string) bool {
	for i := 0; i <= len(a); i++ {
		head, tail := a[:i], a[i:]
		switch {
		case strings.HasPrefix(b, head) && len(b) == len(a)+1 && strings.HasSuffix(b, tail):
			return true // one more
		case tail != "" && b == head+tail[1:]:
			return true // one less
		case tail != "" && len(b) == len(a) && strings.HasPrefix(b, head) && strings.HasSuffix(b, tail[1:]):
			return true // another
		case len(tail) > 1 && b == head+tail[1:2]+tail[:1]+tail[2:]:
			return true // swapped
		}
	}
	return false
}

func (p *program) versionCommand() *cli.Command {
	return &cli.Command{
		Name:  "version",
		Usage: "print the version",
		Action: func(c *cli.Context) error {
			if err := noArguments(c); err != nil {
				return err
			}
			_, err := fmt.Fprintf(p.stdout, "radonyear %s\n", version)
			return writing("standard output", err)
		},
	}
}

// noArguments refuses what a command would otherwise pass over in silence.
func noArguments(c *cli.Context) error {
	if c.Args().Present() {
		return usageError{fmt.Sprintf("%s takes no file, but %q was given", c.Command.Name, c.Args().First()),
			"radonyear " + c.Command.Name + " --help"}
	}
	return nil
}

const appHelp = `radonyear: {{.Usage}}

Usage:
  radonyear COMMAND [FILE...] [options]

Commands:{{range .Commands}}{{if not .Hidden}}
  {{printf "%-10s" .Name}} {{.Usage}}{{end}}{{end}}

Options may stand before or after the files; "-" is standard input.
radonyear COMMAND --help shows a command's options and an example.

Exit status: 0 done; 1 no answer; 2 the command line cannot be followed;
3 answered, but rows or homes were left out; 4 an alarm of radonyear watch.

A number from this program is not a decision about a home: a radon
professional and the rules where the home stands decide.
`

const commandHelp = `{{.Usage}}

Usage:
  radonyear {{.Name}}{{if .ArgsUsage}} {{.ArgsUsage}}{{end}}{{if .VisibleFlags}} [options]{{end}}
{{if .Description}}
{{.Description}}
{{end}}
Options:{{range .VisibleFlags}}
  {{option .}}{{end}}
`
