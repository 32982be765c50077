package rehearsal

import (
	"bufio"
	"context"
	"fmt"
	"io"
	"time"

	"benchbell/commands"
)

// Keyboard takes the lines of a script as they are typed, while time passes
// speed times as fast as on the wall. A line without a name is said by the
// bench tester, directly as long as no run is open. It ends with the input.
func (r *Rehearsal) Keyboard(ctx context.Context, in io.Reader, speed float64) error {
	if speed < 1 || speed > 3600 {
		return fmt.Errorf("speed %g: time can pass 1 to 3600 times as fast", speed)
	}
	fmt.Fprintf(r.stage.out, "It is %s at %s, and time passes %g times as fast.\nSay %s, skip time with +6m, leave with Ctrl-D.\n",
		r.stage.now.In(r.stage.zone).Format("2006-01-02 15:04"), r.cfg.Name, speed, "\"@benchbell test HP-07\"")

	lines := make(chan string)
	failed := make(chan error, 1)
	go func() {
		defer close(lines)
		s := bufio.NewScanner(in)
		for s.Scan() {
			select {
			case lines <- s.Text():
			case <-ctx.Done():
				return
			}
		}
		failed <- s.Err()
	}()

	for {
		began, from := time.Now(), r.stage.now
		clock := func() time.Time {
			return from.Add(time.Duration(float64(time.Since(began)) * speed))
		}
		wake := time.NewTimer(time.Hour)
		if next := r.engine.NextWake(); !next.IsZero() && !r.down {
			wake.Reset(time.Duration(float64(next.Sub(from)) / speed))
		}
		select {
		case <-ctx.Done():
			wake.Stop()
			return nil
		case <-wake.C:
			if err := r.advance(ctx, clock()); err != nil {
				return err
			}
		case line, ok := <-lines:
			wake.Stop()
			if !ok {
				return <-failed
			}
			if err := r.advance(ctx, clock()); err != nil {
				return err
			}
			if err := r.typed(ctx, line); err != nil {
				fmt.Fprintf(r.stage.out, "\n?   %v\n", err)
			}
		}
	}
}

// typed plays one line from the keyboard.
func (r *Rehearsal) typed(ctx context.Context, line string) error {
	do, err := parseStep(line)
	if err != nil {
		who := People[0]
		_, mentioned := commands.WithoutMention(line, stageBot)
		do = stepPost{who: who, words: line, direct: !mentioned && r.runOf(who) == 0}
	}
	if do == nil {
		return nil
	}
	r.fails = nil
	if err := r.step(ctx, step{line: 1, text: line, do: do}); err != nil {
		return err
	}
	if len(r.fails) > 0 {
		return r.fails[0]
	}
	return nil
}
