package mattermost

import (
	"testing"
	"testing/synctest"
	"time"
)

func TestClock(t *testing.T) {
	const ms = time.Millisecond
	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	type answer struct {
		sent, got time.Duration
		then      time.Time
	}
	tests := []struct {
		name    string
		answers []answer
		at      time.Duration
		want    time.Time
		within  time.Duration
	}{
		{"one answer, half the trip", []answer{{0, 100 * ms, noon}}, 50 * ms, noon, ms},
		{"counts on from there", []answer{{0, 0, noon}}, time.Hour, noon.Add(time.Hour), ms},
		{
			"the quickest of several counts",
			[]answer{{0, 400 * ms, noon}, {1000 * ms, 1002 * ms, noon.Add(1200 * ms)}, {2000 * ms, 2300 * ms, noon.Add(2100 * ms)}},
			2000 * ms, noon.Add(2199 * ms), 2 * ms,
		},
		{
			"the server's clock was set back, and a slow answer tells",
			[]answer{{0, 2 * ms, noon}, {10_000 * ms, 10_800 * ms, noon.Add(-time.Hour)}},
			10_400 * ms, noon.Add(-time.Hour), ms,
		},
		{
			"a slow answer that contradicts nothing changes nothing",
			[]answer{{0, 2 * ms, noon}, {10_000 * ms, 12_000 * ms, noon.Add(11_900 * ms)}},
			20_001 * ms, noon.Add(20_000 * ms), ms,
		},
	}
	for _, test := range tests {
		t.Run(test.name, func(t *testing.T) {
			c := newClock()
			for _, a := range test.answers {
				c.sample(a.sent, a.got, a.then, ms)
			}
			if off := c.at(test.at).Sub(test.want).Abs(); off > test.within {
				t.Errorf("at %v it is %v, want %v", test.at, c.at(test.at), test.want)
			}
		})
	}
}

// TestClockNeverAhead: whenever between asking and the answer the server looked
// at its clock, a bell set by it does not ring before the server's time.
func TestClockNeverAhead(t *testing.T) {
	const ms = time.Millisecond
	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	for _, looked := range []time.Duration{0, 90 * ms, 100*ms + 500*time.Microsecond, 200 * ms} {
		c := newClock()
		c.sample(0, 200*ms, noon.Add(looked).Truncate(ms), ms)
		if ahead := c.earliest(time.Hour).Sub(noon.Add(time.Hour)); ahead > 0 || ahead < -201*ms {
			t.Errorf("looked at after %v, the clock is ahead by %v", looked, ahead)
		}
	}
}

// TestClockForgets lets two clocks drift apart for a day.
func TestClockForgets(t *testing.T) {
	noon := time.Date(2026, 3, 2, 12, 0, 0, 0, time.UTC)
	c := newClock()
	for at := time.Duration(0); at < 24*time.Hour; at += 10 * time.Second {
		trip := 2 * time.Millisecond
		if at == 0 {
			trip = 0 // the best there ever was
		}
		c.sample(at, at+trip, noon.Add(at+at/10_000), time.Millisecond) // 100 ppm
	}
	day := 24 * time.Hour
	if off := c.at(day).Sub(noon.Add(day + day/10_000)).Abs(); off > 50*time.Millisecond {
		t.Errorf("off by %v after a day", off)
	}
}

// TestWrongClock: the bot's own clock is five minutes slow.
func TestWrongClock(t *testing.T) {
	inBubble(t, func(t *testing.T) {
		c := newCrew(t)
		c.stop()
		c.locked(func() { c.skew = 5 * time.Minute })
		c.start()
		if off := c.bot.Now().Sub(time.Now().Add(5 * time.Minute)).Abs(); off > 500*time.Millisecond {
			t.Errorf("off by %v at the start, want less than a second", off)
		}
		c.expect("caught up")
		p := c.says(testerID, crewID, "", "now")
		c.expect("bench.tester: now")
		if off := c.bot.Now().Sub(time.Now().Add(5 * time.Minute)).Abs(); off > time.Millisecond {
			t.Errorf("off by %v once linked", off)
		}
		if p.CreateAt < time.Now().Add(4*time.Minute).UnixMilli() {
			t.Error("the post does not carry the server's time")
		}

		// The server's clock is set while the bot runs.
		c.locked(func() { c.skew = -time.Hour })
		time.Sleep(2 * pingEvery)
		synctest.Wait()
		if off := c.bot.Now().Sub(time.Now().Add(-time.Hour)).Abs(); off > time.Millisecond {
			t.Errorf("off by %v after the server's clock was set", off)
		}
	})
}
