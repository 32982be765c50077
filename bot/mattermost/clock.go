package mattermost

import (
	"sync"
	"time"
)

// A clock tells the chat server's time. It counts on the bot's monotonic clock
// from moments at which the server told its time, so that errors and jumps of the
// bot's wall clock do not matter.
//
// A sample is an answer with the server's time in it. The server read its clock
// between the request and the answer, so a sample is wrong by at most half the
// round trip. The narrowest of the recent ones counts; one that contradicts it
// shows that a clock was set (or that the machine slept), and the older ones
// are forgotten.
type clock struct {
	start time.Time // never compared to anything but monotonic readings

	mu     sync.Mutex
	recent []sample
	best   sample
}

type sample struct {
	at     time.Duration // since start
	server time.Time     // the server's time then,
	radius time.Duration // within this
}

const (
	samplesKept = 30                     // five minutes of pings
	drift       = 100 * time.Millisecond // more than two clocks part in that time
)

func newClock() *clock { return &clock{start: time.Now()} }

// elapsed is the bot's monotonic clock.
func (c *clock) elapsed() time.Duration { return time.Since(c.start) }

// sample takes in that the server, asked at sent and heard at got, said that it
// was then, in steps of grain.
func (c *clock) sample(sent, got time.Duration, then time.Time, grain time.Duration) {
	s := sample{at: sent + (got-sent)/2, server: then.Add(grain / 2), radius: (got - sent + grain) / 2}
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.recent) > 0 {
		if gap := s.server.Sub(c.best.when(s.at)); gap.Abs() > s.radius+c.best.radius+drift {
			c.recent = nil
		}
	}
	if len(c.recent) == samplesKept {
		c.recent = c.recent[1:]
	}
	c.recent = append(c.recent, s)
	c.best = s
	for _, old := range c.recent {
		if old.radius < c.best.radius {
			c.best = old
		}
	}
}

// when is the server's time at a reading of the monotonic clock, by one sample.
func (s sample) when(at time.Duration) time.Time { return s.server.Add(at - s.at) }

// at is the server's time at a reading of the monotonic clock.
func (c *clock) at(elapsed time.Duration) time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.recent) == 0 {
		return c.start.Round(0).Add(elapsed)
	}
	return c.best.when(elapsed)
}

// earliest is the server's time at a reading of the monotonic clock, or as much
// earlier as the best sample may be wrong by.
func (c *clock) earliest(elapsed time.Duration) time.Time {
	c.mu.Lock()
	defer c.mu.Unlock()
	if len(c.recent) == 0 {
		return c.start.Round(0).Add(elapsed)
	}
	return c.best.when(elapsed).Add(-c.best.radius)
}

// Now is the chat server's time, behind it by up to the round trip of a ping and
// never ahead: what is done when a moment has come is not done before it. It may
// step, also back, when the server's own clock is set.
func (s *Server) Now() time.Time { return s.clock.earliest(s.clock.elapsed()) }
