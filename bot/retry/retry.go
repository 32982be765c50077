package retry

import (
	"context"
	"log/slog"
	"time"
)

// What the courier and the fetcher have in common, which work beside the engine.

// kicks tell a worker that there may be something to do. One that comes while
// it works is kept, more than one are one.
type Signal chan struct{}

func NewSignal() Signal { return make(Signal, 1) }

// Kick tells the worker that there may be something to do.
func (k Signal) Set() {
	select {
	case k <- struct{}{}:
	default:
	}
}

// wait waits for a kick, or for a time if that is more than zero, and returns
// ctx's error if it ends first. Nobody kicks nil kicks.
func (k Signal) Wait(ctx context.Context, most time.Duration) error {
	var due <-chan time.Time
	if most > 0 {
		due = time.After(most)
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-due:
	case <-k:
	}
	return nil
}

// complaints is a log in which a trouble that lasts stands once.
type Outages struct {
	*slog.Logger
	last string
}

// warn logs a fault that is not the one logged last.
func (c *Outages) Warn(text string, err error, more ...any) {
	if fault := err.Error(); fault != c.last {
		c.Logger.Warn(text, append(more, "error", err)...)
		c.last = fault
	}
}

// wait is how long something waits after a fault before its next try.
type Backoff struct {
	Until time.Time // by this machine's clock
	Pause time.Duration
}

// The pauses between tries, without a hint from the server.
const (
	FirstPause   = 250 * time.Millisecond
	LongestPause = 30 * time.Second
)

// longer is the wait after one more fault, for atLeast if that is longer.
func (w Backoff) Longer(atLeast time.Duration) Backoff {
	w.Pause = min(max(2*w.Pause, FirstPause), LongestPause)
	w.Until = time.Now().Add(max(w.Pause, atLeast))
	return w
}
