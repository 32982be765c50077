package scheduler

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"time"

	"github.com/robfig/cron/v3"
)

// Rule is a calendar rule: a set of readings of the station's clock, such as
// 07:00 every day. It means the instants at which that clock passes them:
//
//   - a reading that is skipped when the clock is set forward is passed at the
//     first instant after the gap, once, however many are skipped with it;
//   - a reading that comes twice when the clock is set back is passed the first
//     time only.
//
// So a daily rule means one instant for each day. The zero Rule means none.
type Rule struct {
	expr string
	zone *time.Location
	// readings works out the next reading on a clock that is never set, which
	// UTC stands for. The library is not asked about any other zone: it drops
	// what is skipped and repeats what comes twice.
	readings *cron.SpecSchedule
}

const howToWrite = `write minute, hour, day of month, month and day of week (Sunday is 0), like "0 7 * * *" for 07:00 every day, or @daily`

// field is a list of "*", "7", "1-5" or "mon-fri", each with a step or not
// ("*/10"). The library also takes what nobody means, as "*-5" or "1,,2".
var field = regexp.MustCompile(`^` + part + `(?:,` + part + `)*$`)

const part = `(?:[*?]|(?:\d{1,2}|[A-Za-z]{3})(?:-(?:\d{1,2}|[A-Za-z]{3}))?)(?:/\d{1,2})?`

// ParseRule reads a cron expression of five fields, or one of @hourly, @daily,
// @midnight, @weekly, @monthly, @yearly and @annually, for a station whose
// clock is in zone. If both the day of month and the day of week are given,
// either is enough, as is usual for cron; a Sunday is 0 or sun.
//
// It refuses a rule with a zone of its own, one that counts intervals (@every)
// instead of following the calendar, and one that would never come.
func ParseRule(expr string, zone *time.Location) (Rule, error) {
	expr = strings.Join(strings.Fields(expr), " ")
	readings, err := parse(expr)
	if err == nil && zone == nil {
		err = errors.New("the station's time zone is missing: name one, like Europe/Warsaw")
	}
	if err != nil {
		return Rule{}, fmt.Errorf("rule %q: %w", expr, err)
	}
	return Rule{expr: expr, zone: zone, readings: readings}, nil
}

// parse keeps from the library what it would panic on or misread.
func parse(expr string) (*cron.SpecSchedule, error) {
	name, _, _ := strings.Cut(expr, " ")
	switch {
	case strings.Contains(expr, "="):
		return nil, errors.New("a rule follows the station's own clock: leave the time zone out, like \"0 7 * * *\"")
	case name == "@every":
		return nil, errors.New("@every counts from when the program was started: write a time of the clock instead, like \"0 * * * *\" for every full hour")
	case !strings.HasPrefix(name, "@"):
		for f := range strings.FieldsSeq(expr) {
			if !field.MatchString(f) {
				return nil, fmt.Errorf("%q cannot be read: %s", f, howToWrite)
			}
		}
	}
	schedule, err := cron.ParseStandard(expr)
	if err != nil {
		return nil, fmt.Errorf("%w: %s", err, howToWrite)
	}
	spec, ok := schedule.(*cron.SpecSchedule)
	if !ok {
		return nil, fmt.Errorf("it does not follow the calendar: %s", howToWrite)
	}
	spec.Location = time.UTC
	if following(spec, time.Date(2000, time.January, 1, 0, 0, 0, 0, time.UTC)).IsZero() {
		return nil, errors.New("it would never come, since no year has such a day: write a day of month that its months have, like \"0 7 28 2 *\"")
	}
	return spec, nil
}

// longestWait is more than the time between two readings of any rule: between
// 29 February 2096 and 2104 it is eight years.
const longestWait = 9 * 366 * 24 * time.Hour

// following returns the first reading after one, or the zero time. The library
// gives up after five years; nobody waits for longer than twice that.
func following(readings *cron.SpecSchedule, reading time.Time) time.Time {
	if next := readings.Next(reading); !next.IsZero() {
		return next
	}
	return readings.Next(reading.AddDate(5, 0, 0))
}

// String returns the expression that the rule was read from.
func (r Rule) String() string { return r.expr }

// Next returns the first instant of the rule after the one given, in the
// station's zone, or the zero time for the zero Rule.
func (r Rule) Next(after time.Time) time.Time {
	if r.readings == nil {
		return time.Time{}
	}
	return passed(following(r.readings, furthest(after, r.zone)), r.zone)
}

// Last returns the latest instant of the rule that is not after now, in the
// station's zone: what a program that was not running has missed, if it is
// later than the last time it looked. It is the zero time for the zero Rule.
func (r Rule) Last(now time.Time) time.Time {
	if r.readings == nil {
		return time.Time{}
	}
	shown := furthest(now, r.zone)
	last, none := following(r.readings, shown.Add(-longestWait)), shown
	// No reading is in (none, shown], and readings are whole minutes apart.
	for none.Sub(last) >= time.Minute {
		middle := last.Add(none.Sub(last) / 2)
		if next := following(r.readings, middle); next.After(shown) {
			none = middle
		} else {
			last = next
		}
	}
	return passed(last, r.zone)
}
