package scheduler

import "time"

// The readings of a clock on the wall, which may be set forward and back, are
// kept as instants in UTC: 02:30 on the wall is 02:30 UTC.

// day is more than any place's clock is away from UTC, and no place has set its
// clock back by more. The farthest are local mean times east and west of the
// old date line, below 16 hours; who crossed that line repeated a day.
const day = 24 * time.Hour

// reading returns what a clock in t's zone shows at t.
func reading(t time.Time) time.Time {
	_, offset := t.Zone()
	return t.Add(time.Duration(offset) * time.Second).UTC()
}

// furthest returns the latest reading that a clock in zone has shown up to and
// at t: after it was set back, still the last before.
func furthest(t time.Time, zone *time.Location) time.Time {
	shown := reading(t.In(zone))
	s := t.Add(-day).In(zone)
	for set := clockSet(s); !set.After(t); set = clockSet(s) {
		if before := reading(set.Add(-1)); before.After(shown) {
			shown = before
		}
		s = set
	}
	return shown
}

// passed returns the first instant at which a clock in zone shows the reading
// or a later one: if the reading is skipped, the first after the gap.
//
// time.Date is no help here: for a reading that is skipped or comes twice it
// does not say which offset it takes.
func passed(at time.Time, zone *time.Location) time.Time {
	if at.IsZero() {
		return at
	}
	t := at.Add(-day).In(zone)
	for {
		ahead := at.Sub(reading(t))
		if ahead <= 0 {
			return t
		}
		set := clockSet(t)
		if then := t.Add(ahead); then.Before(set) {
			return then
		}
		t = set
	}
}

// clockSet returns when the clock in t's zone is set the next time after t. It
// may be too early, when the clock in fact goes on: time.Time.ZoneBounds also
// ends at a new year, and on the last day of a leap year even before t.
func clockSet(t time.Time) time.Time {
	_, end := t.ZoneBounds()
	switch {
	case end.IsZero():
		return t.Add(2 * day)
	case !end.After(t):
		return t.Add(time.Hour)
	}
	return end
}
