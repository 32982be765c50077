// Package retry has what every worker needs that calls something that fails
// for a while: how long to pause before the next try, and what to log
// meanwhile. There are three types to know.
//
//   - [Backoff] gives the pause before the next try: it doubles after each
//     failure, and starts anew after a success.
//   - [Outages] logs failures that last: the first one, reminders from
//     ten minutes on, and the end.
//   - [Signal] wakes a worker that waits.
package retry

import (
	"context"
	"time"

	"github.com/cenkalti/backoff/v5"
)

// The pauses of a Backoff that says nothing else.
const (
	FirstPause   = 250 * time.Millisecond
	LongestPause = 30 * time.Second
)

// A Backoff gives the pauses between tries. The zero value doubles them from
// FirstPause to LongestPause, without a random part. It is not safe for
// concurrent use.
type Backoff struct {
	First   time.Duration // the first pause; FirstPause if zero
	Longest time.Duration // the longest pause; LongestPause if zero
	// Jitter is the part of each pause that is random, from 0 to 1, so that
	// many clients do not return to a server at the same moment.
	Jitter float64

	pauses backoff.ExponentialBackOff
}

// Next returns the pause after one more failure: atLeast, if that is longer
// than the usual pause.
func (b *Backoff) Next(atLeast time.Duration) time.Duration {
	if b.pauses.Multiplier == 0 {
		b.pauses = backoff.ExponentialBackOff{
			InitialInterval:     defaultTo(b.First, FirstPause),
			MaxInterval:         defaultTo(b.Longest, LongestPause),
			Multiplier:          2,
			RandomizationFactor: b.Jitter,
		}
	}
	return max(b.pauses.NextBackOff(), atLeast)
}

// Reset starts anew, after a success.
func (b *Backoff) Reset() { b.pauses.Reset() }

func defaultTo(d, other time.Duration) time.Duration {
	if d == 0 {
		return other
	}
	return d
}

// A Signal tells a worker that there may be something to do. Signals that are
// set while it works coalesce.
type Signal chan struct{}

// NewSignal returns a signal that is not set.
func NewSignal() Signal { return make(Signal, 1) }

// Set wakes the worker.
func (s Signal) Set() {
	select {
	case s <- struct{}{}:
	default:
	}
}

// Wait waits until the signal is set, or for at most a time if that is not
// zero. It returns ctx's error if ctx ends first. A nil signal is never set.
func (s Signal) Wait(ctx context.Context, most time.Duration) error {
	var due <-chan time.Time
	if most > 0 {
		timer := time.NewTimer(most)
		defer timer.Stop()
		due = timer.C
	}
	select {
	case <-ctx.Done():
		return ctx.Err()
	case <-due:
	case <-s:
	}
	return nil
}

// Pause waits for a time and returns ctx's error if ctx ends first.
func Pause(ctx context.Context, d time.Duration) error {
	return Signal(nil).Wait(ctx, max(d, time.Nanosecond))
}
