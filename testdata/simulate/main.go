// Simulate plays whole tests of invented suits through the code that judges
// them, and prints how often its verdict is wrong.
//
//	go run ./testdata/simulate
//	go run ./testdata/simulate -brief
//	go run ./testdata/simulate -runs 20000 -method f1052
//
// It has a physics of its own (physics.go): air that leaks out of a suit that
// gives way and creeps (suits.go), in a room whose air changes (weather.go). The
// manometers have errors (instruments.go), and people take their time
// (people.go). Nothing of that is known to core, which only gets the readings
// and the moments of their posts (play.go), of single tests and of all that is
// done about a suit until it may be worn (story.go); what is known here is the
// truth, to hold the verdicts against (tally.go, report.go).
//
// The same flags print the same tables, on any machine with the same floating
// point. What is drawn and how is in the code, and no number of it was measured
// on suits: the tables say how good the arithmetic of a verdict is, not how
// good a crew is.
package main

import (
	"errors"
	"flag"
	"fmt"
	"io"
	"os"
	"slices"

	"benchbell/core"
)

func main() {
	err := run(os.Args[1:], os.Stdout, os.Stderr)
	switch {
	case errors.Is(err, flag.ErrHelp):
	case err != nil:
		fmt.Fprintln(os.Stderr, "simulate:", err)
		os.Exit(1)
	}
}

// run does what the arguments of the program ask for.
func run(args []string, out, complaints io.Writer) error {
	flags := flag.NewFlagSet("simulate", flag.ContinueOnError)
	flags.SetOutput(complaints)
	runs := flags.Int("runs", 30_000, "how many tests to play")
	seed := flags.Uint64("seed", 1, "where the random numbers begin")
	brief := flags.Bool("brief", false, "only the first tables")
	key := flags.String("method", "", "only this method: en943, f1052 or osha")
	if err := flags.Parse(args); err != nil {
		return err
	}
	if *runs < 1 || flags.NArg() > 0 {
		return errors.New("give -runs a number from 1 up, and nothing but flags")
	}
	methods := core.BuiltIn()
	if *key != "" {
		methods = slices.DeleteFunc(methods, func(m core.Method) bool { return m.Key != *key })
		if len(methods) == 0 {
			return fmt.Errorf("method %q is not built in: give en943, f1052 or osha", *key)
		}
	}
	t, err := simulate(*seed, *runs, methods)
	if err != nil {
		return err
	}
	command := fmt.Sprintf("go run ./testdata/simulate -runs %d -seed %d", *runs, *seed)
	if *key != "" {
		command += " -method " + *key
	}
	if *brief {
		command += " -brief"
	}
	return t.print(out, command, methods, *brief)
}
