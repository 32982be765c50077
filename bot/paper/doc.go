// Package paper makes documents for people who want paper: the test record of
// a run, the logbook of a suit, the list for the wall. A document is a PDF.
//
// Everything in it follows from the journal: nothing is asked of the clock or
// of the machine, and the same input gives the same bytes. Each page says from
// which entry of the journal it was made and with which hash, so that whoever
// doubts the paper can check it against the journal (see store.HashAt).
//
// A document is only an aid: what a record says of one test, and what it does
// not say, stands on the record itself.
//
// # Layout
//
// Pages are in millimetres, letters in points. All text is in Liberation Sans,
// which has Latin, Greek and Cyrillic letters and is embedded as far as it is
// used. What people typed is cleaned (see clean) and wrapped; a text that is
// too long for a page goes on to the next. Only large letters and the head of a
// page are cut to their line, and what stands there stands in full elsewhere.
//
// Colour only helps: a verdict is told by its word and its frame, so that a
// black-and-white copy says the same.
package paper

import (
	"errors"
	"fmt"
	"time"
)

// Format is a size of paper.
type Format string

// The sizes of paper. The zero Format is A4.
const (
	A4     Format = "A4"     // ISO 216, 210 by 297 mm
	Letter Format = "Letter" // ANSI A, 8.5 by 11 in
)

// Station is whose document it is.
type Station struct {
	Name    string
	Address string         // where its bench is; may be empty
	Zone    *time.Location // in which moments are told; nil means UTC
}

func (s Station) zone() *time.Location {
	if s.Zone == nil {
		return time.UTC
	}
	return s.Zone
}

// Head is the last entry of the journal that a document is made from.
type Head struct {
	Seq  uint64
	Hash string    // SHA-256 in hexadecimal digits
	At   time.Time // its moment; if zero, that of the last entry the document has
}

// errEntries is wrapped by errors about entries that make no document.
var errEntries = errors.New("these entries make no document")

// moment tells a moment with its zone, which is not the same all year.
func (s Station) moment(t time.Time) string {
	if t.IsZero() {
		return "–"
	}
	return t.In(s.zone()).Format("2006-01-02 15:04:05 MST")
}

// clock tells a moment of a day and a zone that are known from elsewhere.
func (s Station) clock(t time.Time) string { return t.In(s.zone()).Format("15:04:05") }

// near tells a moment near another one whose day and zone are known: by the
// clock alone, unless one of them is another.
func (s Station) near(t, known time.Time) string {
	const dayAndZone = "2006-01-02 -07:00"
	if t, known := t.In(s.zone()), known.In(s.zone()); t.Format(dayAndZone) != known.Format(dayAndZone) {
		return s.moment(t)
	}
	return s.clock(t)
}

// span tells from when to when something was.
func (s Station) span(from, to time.Time) string {
	if text := s.near(from, to); text == s.clock(from) {
		return from.In(s.zone()).Format("2006-01-02 15:04:05") + " to " + to.In(s.zone()).Format("15:04:05 MST")
	}
	return s.moment(from) + " to " + s.moment(to)
}

// zoneNote explains the moments of a document.
func (s Station) zoneNote(t time.Time) string {
	name, _ := t.In(s.zone()).Zone()
	return fmt.Sprintf("by the clock of %s; %s is UTC%s", s.zone(), name, t.In(s.zone()).Format("-07:00"))
}
