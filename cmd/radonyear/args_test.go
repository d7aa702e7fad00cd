package main

import (
	"bytes"
	"os"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"
	"github.com/urfave/cli/v2"
)

func TestArrange(t *testing.T) {
	app := &cli.App{Commands: []*cli.Command{{Name: "annual", Flags: []cli.Flag{
		&cli.StringSliceFlag{Name: "level"}, &cli.BoolFlag{Name: "daily"}, &cli.Float64Flag{Name: "confidence"},
	}}}}
	for _, c := range []struct{ in, want string }{
		{"annual a.csv --level 100", "annual --level 100 -- a.csv"},
		{"annual a.csv --level 100 b.csv --daily c.csv --level=200", "annual --level 100 --daily --level=200 -- a.csv b.csv c.csv"},
		{"annual - --daily", "annual --daily -- -"},
		{"annual a.csv -level 100", "annual -level 100 -- a.csv"},
		{"annual --daily -- --level", "annual --daily -- --level"},
		{"annual a.csv --level -5", "annual --level -5 -- a.csv"},
		{"annual a.csv --nonsense b.csv", "annual --nonsense -- a.csv b.csv"},
		{"annual a.csv --help", "annual --help"},
		{"help annual", "annual --help"},
		{"help", "--help"},
		{"nonsense a --level 3", "nonsense a --level 3"},
	} {
		got, err := arrange(app, append([]string{"radonyear"}, strings.Fields(c.in)...))
		if err != nil {
			t.Errorf("%s: %v", c.in, err)
			continue
		}
		if d := cmp.Diff(strings.Fields(c.want), got[1:]); d != "" {
			t.Errorf("%s: (-want +got)\n%s", c.in, d)
		}
	}
	for _, in := range []string{"annual a.csv --level", "annual --level --daily a.csv", "annual --level --confidence=0.9"} {
		if got, err := arrange(app, append([]string{"radonyear"}, strings.Fields(in)...)); err == nil {
			t.Errorf("%s: want an error, got %v", in, got)
		}
	}
}

// Every word on the command line may be nonsense: a usage error it is, exit
// status 2, standard output empty.
func TestUsageErrors(t *testing.T) {
	for _, c := range []struct{ args, stderr string }{
		{"", "no command given"},
		{"anual x.csv", "did you mean radonyear annual?"},
		{"methods lan", "hint: did you mean radonyear methods land?"},
		{"methods Ladn", "hint: did you mean radonyear methods land?"},
		{"methods frobnicate", "hint: radonyear methods lists them"},
		{"frobnicate", `unknown command "frobnicate"`},
		{"--frobnicate", "unknown option --frobnicate"},
		{"levels --frobnicate", "unknown option --frobnicate"},
		{"levels --format", "option --format needs a value"},
		{"levels --format yaml", `unknown format "yaml"`},
		{"levels surprise.csv", "levels takes no file"},
		{"version now", "version takes no file"},
		{"help frobnicate", `unknown command "frobnicate"`},
		{"annual", "no file given"},
		{"annual x.csv --confidence 95", "hint: --confidence 95%, or --confidence 0.95"},
		{"annual x.csv --confidence 1", "hint: --confidence 95%"},
		{"annual x.csv --confidence abc", "is not a share from 50 % to under 100 %"},
		{"annual x.csv --level nought", `level "nought"`},
		{"annual x.csv --level -3", `level "-3"`},
		{"annual x.csv --target never", "target"},
		{"annual x.csv --by street", "by"},
		{"annual x.csv --area-prior 100", "area-prior"},
		{"annual x.csv --column nonsense", "--column NAME=ROLE"},
		{"annual x.csv --hemisphere east", "hemisphere"},
		{"annual - -", "standard input is named twice"},
		{"ingest x.csv", "--output"},
		{"ingest x.csv --output y.txt", "y.txt"},
		{"season x.csv --output y.json --format yaml", `unknown format "yaml"`},
		{"season x.csv --output y.xlsx", "a profile is JSON"},
		{"annual x.csv --output y.xlsx", `".xlsx" is the ending of no format`},
		{"annual x.csv --output y.xlsx --format csv", "a spreadsheet reads .csv"},
		{"annual x.csv --output y.2026", "end the name in .txt, .md, .csv or .json"},
		{"levels --output y.parquet", "no format that is written"},
		{"verdict", "--value"},
		{"verdict --value 165", "--days"},
		{"verdict --value 165 --days 7", "--start"},
		{"verdict x.csv --value 165 --days 7 --start 2026-01-10", "not both"},
		{"verdict --value 165 --days 7 --start January", "--start"},
		{"verdict --value 165 --days 0 --start 2026-01-10", "--days"},
		{"verdict --value 165 --days 7 --start 2026-01-10 --uncertainty much", "--uncertainty"},
		{"verdict --value 165 --days 7 --start 2026-01-10 --uncertainty 0", "no result is without one"},
		{"verdict --value 165 --days 7 --start 2026-01-10 --uncertainty 0%", "no result is without one"},
		{"verdict --value 165 --days 7 --start 2026-01-10 --calibration 0%", "no detector is without"},
		{"annual x.csv --calibration 0", "no detector is without"},
		{"verdict --value -5 --days 7 --start 2026-01-10", "is negative"},
		{"verdict --value 165,5 --days 7 --start 2026-01-10", "as in --value 165.5,"},
		{"verdict --value 165 --days 733 --start 2026-01-10", "two years"},
		{"verdict --value 165 --days 7 --start 2101-01-10", "--start"},
		{"verdict --value 5.2 --days 7 --start 2026-01-10 --level 4pCi/L", `hint: say which: --value "5.2 pCi/L"`},
		{"verdict --value 5.2 --days 7 --start 2026-01-10 --level 200,4pCi/L", "has no unit"},
		{"verdict --value <5.2 --days 7 --start 2026-01-10 --uncertainty 0.4pCi/L", "has no unit"},
		{"verdict --value 165 --days 7 --start 2026-01-10 --by room", "--by is for files"},
		{"annual x.csv --zone Prague", "hint: did you mean Europe/Prague?"},
		{"annual x.csv --zone america/new_york", "hint: did you mean America/New_York?"},
		{"annual x.csv --zone Atlantis", "hint: give an IANA name such as Europe/Oslo"},
		{"annual x.csv --column Mean=valu", "hint: the roles are home, "},
		{"verdict --value 165 --days 7 --start 2026-01-10 --zone Nowhere", "is not known"},
		{"annual x.csv --date-order ydm", "hint: --date-order dmy, mdy or ymd"},
		{"annual x.csv --decimal ;", "hint: --decimal . or"},
		{"demo --write d --format json", "--format does nothing beside --write"},
		{"demo --write d --output d.json", "--output does nothing beside --write"},
	} {
		var out, errs bytes.Buffer
		status := run(append([]string{"radonyear"}, strings.Fields(c.args)...), strings.NewReader(""), &out, &errs)
		if status != exitUsage || out.Len() > 0 || !strings.Contains(errs.String(), c.stderr) || !strings.HasPrefix(errs.String(), "radonyear: error: ") {
			t.Errorf("radonyear %s: status %d, stdout %q, stderr %q, want %q", c.args, status, out.String(), errs.String(), c.stderr)
		}
	}
}

func TestParseConcentration(t *testing.T) {
	for text, want := range map[string]float64{
		"165": 165, "165 Bq/m3": 165, "165Bq/m³": 165, "4 pCi/L": 148, "4pci/l": 148, " 2.7 pCi/l ": 2.7 * 37, "1e2": 100,
	} {
		if got, err := parseConcentration(text, "Bq/m3"); err != nil || got != want {
			t.Errorf("%q: got %v, %v, want %v", text, got, err, want)
		}
	}
	if got, err := parseConcentration("4", "pCi/L"); err != nil || got != 148 {
		t.Errorf("4 in pCi/L: got %v, %v", got, err)
	}
	for _, text := range []string{"", "abc", "165 Bq", "165 mg", "NaN", "Inf", "1e400", "1,5", "pCi/L"} {
		if got, err := parseConcentration(text, "Bq/m3"); err == nil {
			t.Errorf("%q: want an error, got %v", text, got)
		}
	}
}

// A result that cannot be written is no answer: status 1, and said.
func TestFullDisk(t *testing.T) {
	full, err := os.OpenFile("/dev/full", os.O_WRONLY, 0)
	if err != nil {
		t.Skip("there is no /dev/full here")
	}
	defer full.Close()
	for _, args := range []string{"levels", "version", "verdict --value 165 --days 7 --start 2026-01-10"} {
		var errs bytes.Buffer
		status := run(append([]string{"radonyear"}, strings.Fields(args)...), strings.NewReader(""), full, &errs)
		if status != exitNoAnswer || !strings.Contains(errs.String(), "radonyear: error: writing standard output: no space left on device") {
			t.Errorf("radonyear %s: status %d, stderr %q", args, status, errs.String())
		}
	}
}
