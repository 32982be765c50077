package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"io"
	"log/slog"
	"os"
	"strings"
)

// errUsage is wrapped by errors about the command line.
var errUsage = errors.New("see \"benchbell help\"")

// terminal is where a subcommand reads and writes.
type terminal struct {
	in  io.Reader
	out io.Writer
	log *slog.Logger
}

type subcommand struct {
	name  string
	shape string
	means string
	run   func(ctx context.Context, t terminal, flags *flag.FlagSet, args []string) error
}

var subcommands = []subcommand{
	{"rehearse", "rehearse [--fleet FILE]… [--config FILE] [--keep FOLDER] [--speed N] [SCRIPT]", "play a conversation in virtual time, or take it from the keyboard", rehearseCmd},
	{"serve", "serve [--config FILE]", "run the bot on the crew's chat server", serveCmd},
	{"check", "check [--config FILE]", "look at configuration, store and chat server, and tell what is wrong", checkCmd},
	{"import", "import [--config FILE] CSV… | journal.jsonl", "take suits, manometers and past tests into the register, or a whole journal into an empty store", importFiles},
	{"export", "export [--config FILE] [--records | --suit TAG] FOLDER", "write the register as CSV files (or templates), the journal as a table and as JSON Lines, and the due dates as a calendar; with --records every record and logbook as PDF too; with --suit all about one suit instead", exportFiles},
	{"backup", "backup [--config FILE] FILE", "copy the store; stop the bot first", backupCmd},
	{"undelivered", "undelivered [--config FILE] [--again]", "list the messages that were put aside; with --again put them back into the outbox; stop the bot first", undeliveredCmd},
	{"verify", "verify [--config FILE] [ENTRY HASH]", "check the journal's chain of hashes: whether an entry was changed; with ENTRY HASH, whether it still is what it was when that seal was noted", verifyCmd},
}

// run carries out one command line.
func run(ctx context.Context, args []string, in io.Reader, out, errOut io.Writer) error {
	t := terminal{in: in, out: out, log: slog.New(slog.NewTextHandler(errOut, nil))}
	if len(args) == 0 || args[0] == "help" || args[0] == "-h" || args[0] == "--help" {
		return usage(out)
	}
	for _, c := range subcommands {
		if c.name != args[0] {
			continue
		}
		flags := flag.NewFlagSet(c.name, flag.ContinueOnError)
		flags.SetOutput(io.Discard)
		err := c.run(ctx, t, flags, args[1:])
		if errors.Is(err, flag.ErrHelp) {
			_, err = fmt.Fprintf(out, "benchbell %s\n    %s\n", c.shape, c.means)
		}
		return err
	}
	return fmt.Errorf("%q is no subcommand: %w", args[0], errUsage)
}

func usage(out io.Writer) error {
	var b strings.Builder
	b.WriteString("Benchbell guides a crew through the pressure tests of its gas-tight suits.\n\n")
	for _, c := range subcommands {
		fmt.Fprintf(&b, "benchbell %s\n    %s\n", c.shape, c.means)
	}
	_, err := io.WriteString(out, b.String())
	return err
}

// parse reads a subcommand's flags. Flags may stand after arguments too.
func parse(flags *flag.FlagSet, args []string) ([]string, error) {
	var rest []string
	for len(args) > 0 {
		if err := flags.Parse(args); err != nil {
			if errors.Is(err, flag.ErrHelp) {
				return nil, err
			}
			return nil, fmt.Errorf("%s: %w: %w", flags.Name(), err, errUsage)
		}
		args = flags.Args()
		if len(args) > 0 {
			rest = append(rest, args[0])
			args = args[1:]
		}
	}
	return rest, nil
}

// readArg reads a file named on the command line; "-" is standard input.
func (t terminal) readArg(name string) (string, error) {
	if name == "-" {
		text, err := io.ReadAll(t.in)
		return string(text), err
	}
	text, err := os.ReadFile(name)
	return string(text), err
}
