// Command benchbell guides a crew through the pressure tests of its gas-tight
// suits, in the crew's own chat.
//
// Its subcommands are listed by "benchbell help", and in run.go with the functions
// that carry them out, one file each. setup.go finds configuration and store for
// all of them.
package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"os/signal"
	"syscall"
	_ "time/tzdata" // a station's machine may have no zone table
)

func main() {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	err := run(ctx, os.Args[1:], os.Stdin, os.Stdout, os.Stderr)
	stop()
	if err != nil {
		fmt.Fprintln(os.Stderr, "benchbell:", err)
		if errors.Is(err, errUsage) {
			os.Exit(2)
		}
		os.Exit(1)
	}
}
