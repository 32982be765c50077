package config

import (
	"errors"
	"fmt"
	"strings"
	"time"

	"benchbell/core"
	"benchbell/scheduler"
)

// Reminders says when a station looks for what is due. A look tells the crew
// what fell due since the last look; nothing is told twice.
type Reminders struct {
	Digest    scheduler.Rule // the regular digest
	Daily     scheduler.Rule // what falls due today, and what became overdue
	NilReturn bool           // a digest even if there is nothing to say
	// Nothing but bells between QuietFrom and QuietTo, as times of the day;
	// equal if there are no quiet hours.
	QuietFrom, QuietTo time.Duration
}

// Next returns the first look after a moment.
func (r Reminders) Next(after time.Time) time.Time {
	a, b := r.Digest.Next(after), r.Daily.Next(after)
	if a.IsZero() || !b.IsZero() && b.Before(a) {
		return b
	}
	return a
}

// QuietUntil returns the end of the quiet hours if t is within them, else t.
func (r Reminders) QuietUntil(t time.Time, zone *time.Location) time.Time {
	if r.QuietFrom == r.QuietTo {
		return t
	}
	local := t.In(zone)
	clock := time.Duration(local.Hour())*time.Hour + time.Duration(local.Minute())*time.Minute
	day := core.DateAt(t, zone)
	switch {
	case r.QuietFrom < r.QuietTo && (clock < r.QuietFrom || clock >= r.QuietTo):
		return t
	case r.QuietFrom > r.QuietTo && clock < r.QuietFrom && clock >= r.QuietTo:
		return t
	case r.QuietFrom > r.QuietTo && clock >= r.QuietFrom:
		day = day.AddDays(1)
	}
	end := time.Date(day.Year, day.Month, day.Day, int(r.QuietTo.Hours()), int(r.QuietTo.Minutes())%60, 0, 0, zone)
	if !end.After(t) {
		return t
	}
	return end
}

// Digests counts the digests that were due since a moment, and returns the moment
// of the last one.
func (r Reminders) Digests(since, now time.Time) (n int, last time.Time) {
	const most = 1000
	for t := r.Digest.Next(since); n < most && !t.IsZero() && !t.After(now); t = r.Digest.Next(t) {
		n, last = n+1, t
	}
	return n, last
}

// parseClockOfDay reads "07:00".
func parseClockOfDay(s string) (time.Duration, error) {
	t, err := time.Parse("15:04", s)
	if err != nil {
		return 0, fmt.Errorf("%q is not a time of the day: write one like \"07:00\"", s)
	}
	return time.Duration(t.Hour())*time.Hour + time.Duration(t.Minute())*time.Minute, nil
}

// parseQuiet reads "21:00-06:00".
func parseQuiet(s string) (from, to time.Duration, err error) {
	a, b, ok := strings.Cut(s, "-")
	if !ok {
		return 0, 0, fmt.Errorf("%q are not quiet hours: write them like \"21:00-06:00\"", s)
	}
	from, err1 := parseClockOfDay(a)
	to, err2 := parseClockOfDay(b)
	return from, to, errors.Join(err1, err2)
}
