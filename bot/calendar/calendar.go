// Package calendar writes the days on which suits and manometers fall due as
// an iCalendar (RFC 5545), and hands it to calendar programs that subscribe.
//
// Everything in it follows from the journal: no clock is read, and the same
// journal gives the same bytes. A day is an event that lasts all of that day
// wherever it is looked at, as due dates are days at the station. An event
// keeps its UID for ever: when another day takes the place of the one that was
// due, the event moves there, with a higher SEQUENCE.
package calendar

import (
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"
	"unicode"

	ics "github.com/arran4/golang-ical"

	"benchbell/core"
)

// Feed is a calendar.
type Feed struct {
	Name string // as calendar programs show it
	// Domain is that of the station, or any name that no other has; it stands
	// in every UID. With another one, all events are others.
	Domain string
	// Remind is how many days before the event the calendar program reminds
	// of it, at nine in the morning; 0 never does.
	Remind int
	Events []Event
	// Modified is when something in the feed last changed, zero if not known.
	Modified time.Time
}

// domainForm is a host name of two labels at least (RFC 1034, 3.5, with the
// digits in front that RFC 1123, 2.1, allows).
var domainForm = regexp.MustCompile(`^(?:[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?\.)+[A-Za-z0-9](?:[A-Za-z0-9-]{0,61}[A-Za-z0-9])?$`)

// CheckDomain says why a domain cannot stand in the UIDs of a calendar.
func CheckDomain(domain string) error {
	const longest = 253 // characters of a host name: RFC 1035, 2.3.4, of 255 octets on the wire
	if len(domain) > longest || !domainForm.MatchString(domain) {
		return fmt.Errorf("%q is no domain: write one of your own like \"suits.example.org\", or leave the line out", domain)
	}
	return nil
}

// Event is a day on which something falls due.
type Event struct {
	// Kind is NoticeLastDay, NoticeLifeEnds or NoticeCalibrate.
	Kind  core.NoticeKind
	Thing string // tag of a suit, or id of a manometer
	Day   core.Date
	Place string // where the thing is, or nothing
	Note  string // more about it, or nothing
	// Unfit is why the suit may not be worn, nothing if it may: the day then is
	// not one until which anybody could wear it, and the event says so.
	Unfit string
	// Sequence grows whenever Day is another than it was, and Stamp is the
	// moment since when it is: both from the journal.
	Sequence uint64
	Stamp    time.Time
}

// names are what events of each kind are called in their UIDs. They never
// change.
var names = map[core.NoticeKind]string{
	core.NoticeLastDay:   "test",
	core.NoticeLifeEnds:  "life",
	core.NoticeCalibrate: "calibration",
}

// uid returns the globally unique identifier (RFC 5545, 3.8.4.7).
func (e Event) uid(domain string) string { return names[e.Kind] + "." + e.Thing + "@" + domain }

func (e Event) summary() string {
	switch {
	case e.Unfit == "":
		return e.Thing + ": " + string(e.Kind)
	case e.Kind == core.NoticeLastDay: // of no use to anybody until it is tested
		return e.Thing + ": not fit: " + e.Unfit
	}
	return e.Thing + ": " + string(e.Kind) + "; not fit: " + e.Unfit
}

// check says why an event cannot be written.
func (e Event) check() error {
	why := ""
	switch {
	case names[e.Kind] == "":
		why = fmt.Sprintf("nothing falls due by %q", e.Kind)
	case text(e.Thing) == "":
		why = "it is about nothing"
	case e.Day.IsZero():
		why = "it has no day"
	case e.Stamp.IsZero():
		why = "it has no moment"
	case e.Sequence > math.MaxInt32: // RFC 5545, 3.3.8
		why = fmt.Sprintf("its sequence %d is too high", e.Sequence)
	}
	if why != "" {
		return fmt.Errorf("event %q of %q cannot be in a calendar: %s", e.Kind, e.Thing, why)
	}
	return nil
}

// productID names what wrote a calendar (RFC 5545, 3.7.3).
const productID = "-//Benchbell//Due dates//EN"

// refresh is how often a calendar program is asked to look again (RFC 7986,
// 5.7). Ours.
const refresh = "PT6H"

// Write writes a calendar to be published: RFC 5545 with METHOD:PUBLISH. The
// error is about an event that cannot be in it, and nothing is written then,
// or is one of w.
func Write(w io.Writer, feed Feed) error {
	if text(feed.Domain) == "" {
		return errors.New("a calendar cannot be written without a domain: without one its events cannot be told from those of other stations")
	}
	cal := ics.NewCalendar()
	cal.SetProductId(productID)
	cal.SetMethod(ics.MethodPublish)
	if name := text(feed.Name); name != "" {
		cal.SetName(name) // and X-WR-CALNAME
	}
	cal.SetRefreshInterval(refresh) // its VALUE=DURATION comes along
	had := make(map[string]bool)
	for _, e := range feed.Events {
		if err := e.check(); err != nil {
			return err
		}
		uid := text(e.uid(feed.Domain))
		if had[uid] {
			return fmt.Errorf("event %q of %q is in the calendar twice", e.Kind, e.Thing)
		}
		had[uid] = true
		cal.AddVEvent(e.event(uid, feed.Remind))
	}
	if len(feed.Events) == 0 {
		addNothing(cal)
	}
	return cal.SerializeTo(w, ics.WithNewLineWindows, ics.WithLineLength(maxLine))
}

// maxLine is how many octets a line has before it is folded, not counting its
// end (RFC 5545, 3.1).
const maxLine = 75

// event returns the VEVENT (RFC 5545, 3.6.1). Without an end, one that starts
// on a date lasts that day.
func (e Event) event(uid string, remind int) *ics.VEvent {
	v := ics.NewEvent(uid)
	v.SetDtStampTime(e.Stamp)
	v.SetSequence(int(e.Sequence))
	v.SetProperty(ics.ComponentPropertyDtStart, basic(e.Day), ics.WithValue(string(ics.ValueDataTypeDate)))
	v.SetSummary(text(e.summary()))
	if place := text(e.Place); place != "" {
		v.SetLocation(place)
	}
	if note := text(e.Note); note != "" {
		v.SetDescription(note)
	}
	v.SetTimeTransparency(ics.TransparencyTransparent) // nobody is busy by it
	if remind > 0 {
		alarm := v.AddAlarm()
		alarm.SetAction(ics.ActionDisplay)
		alarm.SetTrigger(trigger(remind))
		alarm.SetDescription(text(e.summary()))
	}
	return v
}

// basic writes a date in the basic format of ISO 8601 (RFC 5545, 3.3.4).
func basic(d core.Date) string { return strings.ReplaceAll(d.String(), "-", "") }

// trigger returns a duration from the start of the event to nine in the morning
// so many days before it (RFC 5545, 3.3.6).
func trigger(days int) string {
	whole := ""
	if days > 1 {
		whole = strconv.Itoa(days-1) + "D"
	}
	return "-P" + whole + "T15H"
}

// addNothing adds what shows nothing: a calendar must have a component (RFC
// 5545, 3.6), and a time zone is one.
func addNothing(cal *ics.Calendar) {
	zone := cal.AddTimezone("UTC")
	standard := zone.AddStandard()
	standard.SetProperty(ics.ComponentPropertyDtStart, "19700101T000000")
	standard.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetfrom), "+0000")
	standard.SetProperty(ics.ComponentProperty(ics.PropertyTzoffsetto), "+0000")
}

// text makes what people typed a value of TEXT (RFC 5545, 3.3.11): UTF-8,
// without control characters but tabs and line feeds. Whatever some program may
// take for the end of a line is a line feed.
func text(s string) string {
	s = strings.NewReplacer("\r\n", "\n", "\r", "\n", "\u0085", "\n", "\u2028", "\n", "\u2029", "\n").Replace(strings.ToValidUTF8(s, "\ufffd"))
	return strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\n' && r != '\t' {
			return -1
		}
		return r
	}, s))
}
