package scheduler_test

import (
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"benchbell/scheduler"
)

// remote is a clock that differs from the machine's by an offset that is
// measured anew from time to time, as the chat server's.
type remote struct {
	mu     sync.Mutex
	offset time.Duration
}

func (r *remote) now() time.Time {
	r.mu.Lock()
	defer r.mu.Unlock()
	return time.Now().Add(r.offset)
}

func (r *remote) measure(offset time.Duration) {
	r.mu.Lock()
	defer r.mu.Unlock()
	r.offset = offset
}

// ticked takes the tick that waits, once all is quiet. It reports whether there
// was one, and fails if it was early or not the only one.
func ticked(t *testing.T, a *scheduler.Alarm, due time.Time) bool {
	t.Helper()
	synctest.Wait()
	select {
	case at := <-a.C():
		if at.Before(due) {
			t.Errorf("tick at %v, %v early", at, due.Sub(at))
		}
	default:
		return false
	}
	select {
	case at := <-a.C():
		t.Errorf("a second tick, at %v", at)
	default:
	}
	return true
}

func TestAlarm(t *testing.T) {
	for _, tt := range []struct {
		name string
		run  func(t *testing.T, clock *remote, a *scheduler.Alarm)
	}{
		{"not set", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			time.Sleep(24 * time.Hour)
			if ticked(t, a, time.Time{}) {
				t.Error("ticked")
			}
		}},
		{"on time, once", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			due := clock.now().Add(6*time.Minute + 250*time.Millisecond)
			a.Set(due)
			time.Sleep(time.Until(due) - time.Millisecond)
			if ticked(t, a, due) {
				t.Error("ticked early")
			}
			time.Sleep(time.Millisecond)
			if !ticked(t, a, due) {
				t.Error("did not tick on time")
			}
			time.Sleep(24 * time.Hour)
			if ticked(t, a, due) {
				t.Error("ticked again")
			}
		}},
		{"by a clock that is ahead", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			clock.measure(47 * time.Second)
			due := time.Now().Add(10 * time.Minute)
			a.Set(due)
			time.Sleep(10*time.Minute - 47*time.Second - 1)
			if ticked(t, a, due) {
				t.Error("ticked early")
			}
			time.Sleep(1 + time.Millisecond)
			if !ticked(t, a, due) {
				t.Error("did not tick on time")
			}
		}},
		{"by a clock that is behind", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			clock.measure(-time.Hour)
			due := time.Now()
			a.Set(due)
			time.Sleep(time.Hour - 1)
			if ticked(t, a, due) {
				t.Error("ticked early")
			}
			time.Sleep(1 + time.Millisecond)
			if !ticked(t, a, due) {
				t.Error("did not tick on time")
			}
		}},
		{"clock found to be ahead while waiting", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			due := clock.now().Add(3 * time.Hour)
			a.Set(due)
			time.Sleep(10*time.Minute + 10*time.Second)
			clock.measure(4 * time.Hour)
			time.Sleep(time.Minute)
			if !ticked(t, a, due) {
				t.Error("did not tick within a minute")
			}
		}},
		{"clock found to be behind while waiting", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			due := clock.now().Add(30 * time.Second)
			a.Set(due)
			time.Sleep(29 * time.Second)
			clock.measure(-5 * time.Minute)
			time.Sleep(5 * time.Minute)
			if ticked(t, a, due) {
				t.Error("ticked early")
			}
			time.Sleep(time.Second + time.Millisecond)
			if !ticked(t, a, due) {
				t.Error("did not tick on time")
			}
		}},
		{"a past time", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			for _, due := range []time.Time{clock.now(), clock.now().Add(-1), clock.now().AddDate(-300, 0, 0)} {
				a.Set(due)
				if !ticked(t, a, due) {
					t.Errorf("did not tick at once for %v", due)
				}
			}
		}},
		{"a far time", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			due := clock.now().AddDate(1000, 0, 0) // more than a time.Duration holds
			a.Set(due)
			time.Sleep(24 * time.Hour)
			if ticked(t, a, due) {
				t.Error("ticked early")
			}
		}},
		{"set to an earlier time", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			a.Set(clock.now().Add(time.Hour))
			due := clock.now().Add(time.Minute)
			a.Set(due)
			time.Sleep(time.Minute)
			if !ticked(t, a, due) {
				t.Error("did not tick at the earlier time")
			}
			time.Sleep(time.Hour)
			if ticked(t, a, due) {
				t.Error("ticked at the time that was replaced")
			}
		}},
		{"set to a later time", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			a.Set(clock.now().Add(time.Minute))
			due := clock.now().Add(time.Hour)
			a.Set(due)
			time.Sleep(time.Hour - 1)
			if ticked(t, a, due) {
				t.Error("ticked at the time that was replaced")
			}
			time.Sleep(1 + time.Millisecond)
			if !ticked(t, a, due) {
				t.Error("did not tick at the later time")
			}
		}},
		{"set to no time", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			a.Set(clock.now().Add(time.Minute))
			a.Set(time.Time{})
			time.Sleep(time.Hour)
			if ticked(t, a, time.Time{}) {
				t.Error("ticked")
			}
			due := clock.now().Add(time.Minute)
			a.Set(due)
			time.Sleep(time.Minute)
			if !ticked(t, a, due) {
				t.Error("did not tick when it was set again")
			}
		}},
		{"nobody receives", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			first := clock.now()
			for range 5 {
				a.Set(clock.now())
				time.Sleep(time.Second)
			}
			if waited := clock.now().Sub(first); waited != 5*time.Second {
				t.Errorf("setting the alarm waited for a receiver: %v went by, not 5s", waited)
			}
			if !ticked(t, a, first) { // ticked fails on a second one
				t.Error("the tick was lost")
			}
		}},
		{"stopped while waiting", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			a.Set(clock.now().Add(time.Minute))
			a.Stop()
			time.Sleep(time.Hour)
			a.Set(clock.now())
			a.Set(clock.now().Add(time.Minute))
			time.Sleep(time.Hour)
			a.Stop()
			if ticked(t, a, time.Time{}) {
				t.Error("ticked")
			}
		}},
		{"stopped before it was set", func(t *testing.T, clock *remote, a *scheduler.Alarm) {
			a.Stop()
			a.Set(clock.now())
			if ticked(t, a, time.Time{}) {
				t.Error("ticked")
			}
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			synctest.Test(t, func(t *testing.T) {
				clock := &remote{}
				a := scheduler.New(clock.now)
				defer a.Stop()
				tt.run(t, clock, a)
			})
		})
	}
}

// A clock that counts in whole seconds makes the Alarm late by no more than that,
// and never early.
func TestAlarmCoarseClock(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		start := time.Now()
		a := scheduler.New(func() time.Time { return start.Add(time.Since(start).Truncate(time.Second)) })
		defer a.Stop()
		due := start.Add(5*time.Minute - 1)
		a.Set(due)
		time.Sleep(5*time.Minute - 1)
		if ticked(t, a, due) {
			t.Error("ticked early")
		}
		time.Sleep(time.Second)
		if !ticked(t, a, due) {
			t.Error("did not tick within a second")
		}
	})
}

// A clock that stands still just before the time does not keep the Alarm busy.
func TestAlarmClockStandsStill(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		asked := 0 // by one goroutine at a time, the Alarm holding its lock
		still := time.Now()
		a := scheduler.New(func() time.Time { asked++; return still })
		a.Set(still.Add(1))
		time.Sleep(10 * time.Second)
		if ticked(t, a, still.Add(1)) {
			t.Error("ticked early")
		}
		a.Stop()
		if asked > 10_001 {
			t.Errorf("asked for the time %d times in ten seconds", asked)
		}
	})
}

// The rule and the alarm together, over a year: look when the alarm ticks, then
// set it to the next instant of the rule. A clock that is set is none of the
// alarm's business.
func TestDigestForAYear(t *testing.T) {
	warsaw := zone(t, "Europe/Warsaw")
	rule := parse(t, "0 7 * * *", warsaw)
	synctest.Test(t, func(t *testing.T) {
		clock := &remote{offset: -90 * time.Second}
		time.Sleep(time.Until(time.Date(2026, time.January, 1, 0, 0, 0, 0, warsaw)))
		a := scheduler.New(clock.now)
		defer a.Stop()
		a.Set(rule.Next(clock.now()))
		looks := 0
		for end := time.Date(2027, time.January, 1, 0, 0, 0, 0, warsaw); ; looks++ {
			at := <-a.C()
			if at.After(end) {
				break
			}
			if got := at.In(warsaw).Format("15:04:05"); got != "07:00:00" {
				t.Fatalf("looked at %v", at.In(warsaw))
			}
			a.Set(rule.Next(at))
		}
		if looks != 365 {
			t.Errorf("looked %d times in a year, want 365", looks)
		}
	})
}
