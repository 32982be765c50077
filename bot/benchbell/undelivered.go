package main

import (
	"context"
	"errors"
	"flag"
	"fmt"
	"strings"
	"time"

	"benchbell/bot/chat"
	"benchbell/store"
)

// undeliveredCmd lists the messages that the bot gave up, and can put them back
// into the outbox.
func undeliveredCmd(_ context.Context, t terminal, flags *flag.FlagSet, args []string) (err error) {
	again := flags.Bool("again", false, "send them again")
	cfg, rest, err := configured(flags, args)
	if err != nil {
		return err
	}
	if len(rest) > 0 {
		return fmt.Errorf("undelivered takes no %q: %w", rest[0], errUsage)
	}
	st, err := cfg.open()
	if err != nil {
		return err
	}
	defer func() { err = errorOr(err, st.Close()) }()
	parked, err := st.Parked()
	if err != nil {
		return err
	}
	if len(parked) == 0 {
		_, err = fmt.Fprintln(t.out, "Every message was delivered, or still will be.")
		return err
	}
	accounts, err := st.Accounts()
	if err != nil {
		return err
	}
	queued := 0
	for _, p := range parked {
		outcome := ""
		if *again {
			err := st.Requeue(p.Seq)
			switch {
			case err == nil:
				queued, outcome = queued+1, "\n  will be sent again"
			case errors.Is(err, store.ErrStaleEdit):
				outcome = "\n  is not sent again: a newer text may stand there by now"
			default:
				return err
			}
		}
		fmt.Fprintf(t.out, "%s, %s: %s\n  %s%s\n", whenOf(p.Out, cfg.Policy.Zone), whereOf(p.Out, accounts), firstLine(p.Out), p.Why, outcome)
	}
	if *again {
		_, err = fmt.Fprintf(t.out, "%d of %d will be sent when the bot runs.\n", queued, len(parked))
		return err
	}
	count, them := fmt.Sprintf("%d messages were", len(parked)), "them"
	if len(parked) == 1 {
		count, them = "1 message was", "it"
	}
	_, err = fmt.Fprintf(t.out, "%s not delivered. Once the cause is removed, send %s with \"benchbell undelivered --again\".\n", count, them)
	return err
}

// whenOf says when delivery was first tried.
func whenOf(o store.Out, zone *time.Location) string {
	if o.First.IsZero() {
		return "never tried"
	}
	return o.First.In(zone).Format("2006-01-02 15:04")
}

// whereOf says where a message was to go; accounts has account ids by user name.
func whereOf(o store.Out, accounts map[string]string) string {
	key := o.Thread
	if o.Kind == store.Edit {
		key = o.Target
	}
	run, ofRun := chat.RunOfKey(key)
	switch {
	case o.Kind == store.Edit && ofRun:
		return "change of a post of " + run.String()
	case o.Kind == store.Edit:
		return "change of post " + o.Target
	case o.Person != "":
		for name, id := range accounts {
			if id == o.Person {
				return "to @" + name
			}
		}
		return "to the account " + o.Person
	case ofRun:
		return "in the thread of " + run.String()
	case o.Channel != "":
		return "in the channel " + o.Channel
	}
	return "in the crew channel"
}

// firstLine returns the first line of a message, cut short.
func firstLine(o store.Out) string {
	line, _, _ := strings.Cut(strings.TrimSpace(o.Text), "\n")
	const most = 60
	if letters := []rune(line); len(letters) > most {
		line = string(letters[:most-1]) + "…"
	}
	if line == "" {
		line = o.FileName
	}
	return line
}
