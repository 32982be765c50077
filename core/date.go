package core

import (
	"cmp"
	"errors"
	"fmt"
	"regexp"
	"strconv"
	"time"
)

// Date is a civil date: a day of the Gregorian calendar at the station, with
// no time of day and no zone. The zero value is no date; it sorts before every
// other. Dates compare with == and serve as map keys.
type Date struct {
	Year  int
	Month time.Month
	Day   int
}

var isoDate = regexp.MustCompile(`^(\d{4})-(\d{2})-(\d{2})$`)

// ParseDate reads a date of the years 0001 to 9999 as ISO 8601 writes it,
// "2026-03-02", and nothing else.
func ParseDate(s string) (Date, error) {
	m := isoDate.FindStringSubmatch(s)
	if m == nil {
		return Date{}, fmt.Errorf("date %q cannot be read: write year-month-day, like 2026-03-02", s)
	}
	d := Date{atoi(m[1]), time.Month(atoi(m[2])), atoi(m[3])}
	if !d.exists() {
		return Date{}, fmt.Errorf("date %q is not in the calendar: write an existing day as year-month-day, like 2026-03-02", s)
	}
	return d, nil
}

// atoi reads the few digits, or none, that a regular expression let through.
func atoi(digits string) int {
	n, _ := strconv.Atoi(digits)
	return n
}

func (d Date) exists() bool {
	return 1 <= d.Year && d.Year <= 9999 &&
		time.January <= d.Month && d.Month <= time.December &&
		1 <= d.Day && d.Day <= daysIn(d.Year, d.Month)
}

// daysIn returns how many days a month has: day 0 of the next is its last.
func daysIn(year int, month time.Month) int {
	return time.Date(year, month+1, 0, 0, 0, 0, 0, time.UTC).Day()
}

// DateAt returns the date that a calendar in loc shows at t. A zero t has none.
func DateAt(t time.Time, loc *time.Location) Date {
	if t.IsZero() {
		return Date{}
	}
	return dateOf(t.In(loc))
}

// dateOf returns the date that a clock shows, that of the zero time too.
func dateOf(t time.Time) Date {
	year, month, day := t.Date()
	return Date{year, month, day}
}

// midnight returns the date as an instant of a clock that is never set, on
// which every day has 24 hours.
func (d Date) midnight() time.Time {
	return time.Date(d.Year, d.Month, d.Day, 0, 0, 0, 0, time.UTC)
}

// IsZero reports whether d is no date.
func (d Date) IsZero() bool { return d == Date{} }

// String returns the date as ISO 8601 writes it, or "no date".
func (d Date) String() string {
	if d.IsZero() {
		return "no date"
	}
	return fmt.Sprintf("%04d-%02d-%02d", d.Year, d.Month, d.Day)
}

// Compare returns -1 if d is before e, 0 if they are the same, +1 if d is after e.
func (d Date) Compare(e Date) int {
	return cmp.Or(cmp.Compare(d.Year, e.Year), cmp.Compare(d.Month, e.Month), cmp.Compare(d.Day, e.Day))
}

// Before reports whether d is an earlier day than e.
func (d Date) Before(e Date) bool { return d.Compare(e) < 0 }

// After reports whether d is a later day than e.
func (d Date) After(e Date) bool { return d.Compare(e) > 0 }

// AddDays returns the date n days later, or earlier if n is negative. No date
// stays no date.
func (d Date) AddDays(n int) Date {
	if d.IsZero() {
		return d
	}
	return dateOf(Date{d.Year, d.Month, d.Day + n}.midnight())
}

// AddMonths returns the same day n months later, or earlier if n is negative;
// in a month that does not have that day, its last: 31 January and one month
// is 28 February. time.Time.AddDate would say 3 March, later than allowed.
// No date stays no date.
func (d Date) AddMonths(n int) Date {
	if d.IsZero() {
		return d
	}
	first := dateOf(Date{d.Year, d.Month + time.Month(n), 1}.midnight())
	first.Day = min(d.Day, daysIn(first.Year, first.Month))
	return first
}

// Days returns how many days d is after from, negative if it is before. Both
// must be dates.
func (d Date) Days(from Date) int {
	const day = 24 * 60 * 60
	return int((d.midnight().Unix() - from.midnight().Unix()) / day)
}

// Start returns the first instant of the day at a station in loc. Where the
// clock skips midnight that is the first instant after the gap; where it skips
// the whole day, the day is empty and Start is its End. No date has no start:
// the zero time.
func (d Date) Start(loc *time.Location) time.Time {
	if d.IsZero() {
		return time.Time{}
	}
	first, _ := passing(d.midnight(), loc)
	return first
}

// End returns the first instant after the day at a station in loc: what falls
// due on the day is kept until then. Where midnight comes twice it is the
// second one, after the day was shown for the last time. No date has no end:
// the zero time.
func (d Date) End(loc *time.Location) time.Time {
	if d.IsZero() {
		return time.Time{}
	}
	_, last := passing(d.AddDays(1).midnight(), loc)
	return last
}

// farthestZone is more than any place's clock is away from UTC. The farthest
// are local mean times east and west of the old date line, below 16 hours.
const farthestZone = 24 * time.Hour

// passing returns when a clock in loc, which may be set forward and back,
// passes a reading, given as an instant in UTC: the first instant at which it
// shows the reading or a later one, and the first from which on it never shows
// an earlier one again. They differ only if the reading comes twice.
//
// time.Date is no help here: for a reading that is skipped or comes twice it
// does not say which offset it takes.
func passing(reading time.Time, loc *time.Location) (first, last time.Time) {
	found := false
	t := reading.Add(-farthestZone).In(loc)
	for end := reading.Add(farthestZone); t.Before(end); {
		set := clockSet(t)
		_, offset := t.Zone()
		at := reading.Add(-time.Duration(offset) * time.Second).In(loc)
		if at.After(t) {
			last = earlier(at, set)
		}
		if !found && at.Before(set) {
			first, found = later(at, t), true
		}
		t = set
	}
	return first, last
}

// clockSet returns when the clock in t's zone is set the next time after t. It
// may be too early, when the clock in fact goes on: time.Time.ZoneBounds also
// ends at a new year, and on the last day of a leap year even before t.
func clockSet(t time.Time) time.Time {
	_, end := t.ZoneBounds()
	switch {
	case end.IsZero():
		return t.Add(2 * farthestZone)
	case !end.After(t):
		return t.Add(time.Hour)
	}
	return end
}

func earlier(t, u time.Time) time.Time {
	if u.Before(t) {
		return u
	}
	return t
}

func later(t, u time.Time) time.Time {
	if u.After(t) {
		return u
	}
	return t
}

// MarshalText writes the date as ParseDate reads it, and no date as nothing.
// It fails on a day that is not in the calendar.
func (d Date) MarshalText() ([]byte, error) {
	if d.IsZero() {
		return []byte{}, nil
	}
	if !d.exists() {
		return nil, fmt.Errorf("date %v is not in the calendar and cannot be written", d)
	}
	return []byte(d.String()), nil
}

// UnmarshalText reads a date as ParseDate does, and nothing as no date.
func (d *Date) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*d = Date{}
		return nil
	}
	read, err := ParseDate(string(text))
	if err != nil {
		return err
	}
	*d = read
	return nil
}

// Period is a length of time on the calendar: whole months, then whole days.
// A year is 12 months; a month is no number of days. The zero value is no
// period.
type Period struct {
	Months int
	Days   int
}

// The longest period: what is due in more than a lifetime is a typing error.
const (
	maxPeriodMonths = 100 * 12
	maxPeriodDays   = 36525
)

// Weeks stand alone, as ISO 8601-1 has it.
var isoPeriod = regexp.MustCompile(`^[Pp](?:(\d{1,5})[Ww]|(?:(\d{1,5})[Yy])?(?:(\d{1,5})[Mm])?(?:(\d{1,5})[Dd])?)$`)

// ParsePeriod reads an ISO 8601 duration that makes sense between two dates:
// "P1Y", "P18M", "P1Y6M", "P365D", "P2W". It refuses times of day, fractions,
// signs, nothing at all, and more than 100 years.
func ParsePeriod(s string) (Period, error) {
	m := isoPeriod.FindStringSubmatch(s)
	if m == nil || len(s) == 1 {
		return Period{}, fmt.Errorf("period %q cannot be read: write whole years, months, weeks or days, like P1Y, P18M, P1Y6M, P2W or P365D", s)
	}
	p := Period{Months: 12*atoi(m[2]) + atoi(m[3]), Days: 7*atoi(m[1]) + atoi(m[4])}
	if err := p.check(); err != nil {
		return Period{}, fmt.Errorf("period %q %w", s, err)
	}
	return p, nil
}

func (p Period) check() error {
	switch {
	case p.Months < 0 || p.Days < 0:
		return errors.New("goes back in time: write it without a sign, like P1Y, P18M or P365D")
	case p.IsZero():
		return errors.New("is no time at all: write at least one day, like P1Y, P18M or P365D")
	case p.Months > maxPeriodMonths || p.Days > maxPeriodDays:
		return errors.New("is too long: write at most 100 years, P100Y or P36525D")
	}
	return nil
}

// IsZero reports whether p is no period.
func (p Period) IsZero() bool { return p == Period{} }

// String returns the period as ISO 8601 writes it, months as years if they
// come out whole, weeks as days; or "no period".
func (p Period) String() string {
	if p.IsZero() {
		return "no period"
	}
	s := "P"
	switch {
	case p.Months == 0:
	case p.Months%12 == 0:
		s += strconv.Itoa(p.Months/12) + "Y"
	default:
		s += strconv.Itoa(p.Months) + "M"
	}
	if p.Days != 0 {
		s += strconv.Itoa(p.Days) + "D"
	}
	return s
}

// After returns the date one period after d: the months are added first, then
// the days. The order matters: 30 March and P1M1D is 1 May, not 30 April.
func (p Period) After(d Date) Date { return p.nth(d, 1) }

// nth returns the date n periods after d. It is counted from d itself and not
// from the date before, so that month ends do not drift: monthly from 31
// January is 28 February, then 31 March.
func (p Period) nth(d Date, n int) Date {
	return d.AddMonths(n * p.Months).AddDays(n * p.Days)
}

// MarshalText writes the period as ParsePeriod reads it, and no period as
// nothing. It fails on a period that ParsePeriod would refuse.
func (p Period) MarshalText() ([]byte, error) {
	if p.IsZero() {
		return []byte{}, nil
	}
	if err := p.check(); err != nil {
		return nil, fmt.Errorf("period of %d months and %d days %w", p.Months, p.Days, err)
	}
	return []byte(p.String()), nil
}

// UnmarshalText reads a period as ParsePeriod does, and nothing as no period.
func (p *Period) UnmarshalText(text []byte) error {
	if len(text) == 0 {
		*p = Period{}
		return nil
	}
	read, err := ParsePeriod(string(text))
	if err != nil {
		return err
	}
	*p = read
	return nil
}
