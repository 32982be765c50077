package chat

import (
	"fmt"
	"strconv"
	"strings"

	"benchbell/core"
)

// DocKind is a kind of document, or of picture.
type DocKind string

// The documents are PDFs, the pictures PNGs.
const (
	RecordDoc  DocKind = "record"  // of a run
	LogbookDoc DocKind = "logbook" // of a suit, with its standing on a day
	ShelfDoc   DocKind = "shelf"   // of a day: the list for the wall
	ChartDoc   DocKind = "chart"   // a picture of a run's pressures
	HistoryDoc DocKind = "history" // a picture of a suit's tests
)

// Doc refers to a document that is made of the journal up to an entry. A
// message has the reference, and the document is made when the message is
// delivered; it is the same as if it had been made at once.
type Doc struct {
	Kind DocKind
	Run  core.RunID // of RecordDoc and ChartDoc
	Suit string     // tag, of LogbookDoc and HistoryDoc
	Day  core.Date  // of LogbookDoc and ShelfDoc
	Seq  uint64     // number of the last entry that it is made of
}

// String writes a reference: "record/R-0001@412", "logbook/HP-07/2026-03-02@412",
// "shelf/2026-03-02@412", "chart/R-0001@412", "history/HP-07@412".
func (d Doc) String() string {
	of := ""
	switch d.Kind {
	case RecordDoc, ChartDoc:
		of = d.Run.String()
	case LogbookDoc:
		of = d.Suit + "/" + d.Day.String()
	case ShelfDoc:
		of = d.Day.String()
	case HistoryDoc:
		of = d.Suit
	}
	return fmt.Sprintf("%s/%s@%d", d.Kind, of, d.Seq)
}

// ParseDoc reads a reference as String writes it. A tag may have anything in it.
func ParseDoc(s string) (Doc, error) {
	wrong := fmt.Errorf("%q refers to no document", s)
	at := strings.LastIndexByte(s, '@')
	kind, of, ok := strings.Cut(s[:max(at, 0)], "/")
	seq, err := strconv.ParseUint(s[at+1:], 10, 64)
	if !ok || err != nil {
		return Doc{}, wrong
	}
	d := Doc{Kind: DocKind(kind), Seq: seq}
	day := func(text string) {
		var err error
		d.Day, err = core.ParseDate(text)
		ok = ok && err == nil
	}
	switch d.Kind {
	case RecordDoc, ChartDoc:
		d.Run, ok = ParseRunID(of)
	case LogbookDoc:
		slash := strings.LastIndexByte(of, '/')
		d.Suit, ok = of[:max(slash, 0)], slash > 0
		day(of[slash+1:])
	case ShelfDoc:
		day(of)
	case HistoryDoc:
		d.Suit, ok = of, of != ""
	default:
		ok = false
	}
	if !ok || d.String() != s {
		return Doc{}, wrong
	}
	return d, nil
}
