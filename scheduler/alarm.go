package scheduler

import (
	"sync"
	"time"
)

// The shortest and the longest sleep of an Alarm before it asks again what time it is.
const (
	shortestSleep = time.Millisecond
	longestSleep  = time.Minute
)

// Alarm ticks once when a time has come by a clock of the caller's choice, such
// as the chat server's. That clock may go faster or slower than the machine's,
// and may be set while the Alarm waits: it asks that clock at least every
// minute, never ticks early by it, and late by at most a minute if it jumped
// ahead, or not at all if Set was called after the jump.
//
// A tick means "look now". At most one waits to be received.
type Alarm struct {
	now   func() time.Time
	ticks chan time.Time

	mu      sync.Mutex
	next    time.Time   // zero if no tick is to come
	sleep   *time.Timer // nil before the first
	stopped bool
}

// New returns an Alarm that follows now and is not set. It calls now from any
// goroutine; now must not call the Alarm.
func New(now func() time.Time) *Alarm {
	return &Alarm{now: now, ticks: make(chan time.Time, 1)}
}

// C returns the channel of the ticks. What it carries is the time of the tick.
// It is never closed.
func (a *Alarm) C() <-chan time.Time { return a.ticks }

// Set makes the Alarm tick once at next, in place of the time it was set to
// before: at once if that time is past, never if it is zero. A tick that
// already waits to be received stays.
func (a *Alarm) Set(next time.Time) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.next = next.Round(0) // compared as a clock shows it, not by the machine's monotonic count
	a.check()
}

// Stop ends the Alarm: no tick is sent after it returns, whatever is set.
func (a *Alarm) Stop() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.stopped = true
	a.check()
}

func (a *Alarm) wake() {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.check()
}

// check ticks if it is time, or else sleeps. The lock is held.
func (a *Alarm) check() {
	if a.sleep != nil {
		a.sleep.Stop()
	}
	if a.stopped || a.next.IsZero() {
		return
	}
	now := a.now()
	if left := a.next.Sub(now); left > 0 {
		a.sleep = time.AfterFunc(min(max(left, shortestSleep), longestSleep), a.wake)
		return
	}
	a.next = time.Time{}
	select {
	case a.ticks <- now:
	default: // one tick is enough to make somebody look
	}
}
