package calendar

import (
	"slices"
	"time"

	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// Due returns the events of a store's suits and manometers: the last day in
// test and the last day of life of each suit that is in service, in the order
// of their tags, then the last day in calibration of each manometer. A suit
// withdrawn, or whose life ends first, has no day of testing: nobody is to test
// it. A thing that is overdue stays on the day that it was due. The event of a
// suit that is not fit stays on its day too, since it keeps its UID, but says
// that the suit is not fit and why: nobody may wear it until then.
//
// An event's sequence is the number of the last entry about its thing, and its
// stamp the moment of that entry. Modified is the moment of the last entry of
// the journal.
func Due(st *store.Store) (events []Event, modified time.Time, err error) {
	for row, err := range st.Rows() {
		if err != nil {
			return nil, time.Time{}, err
		}
		all := ofSuit(row)
		if len(all) == 0 {
			continue
		}
		last, _, err := st.LastOfSuit(row.Tag)
		if err != nil {
			return nil, time.Time{}, err
		}
		for _, e := range all {
			events = append(events, e.since(last))
		}
	}
	registrations, err := st.Registrations()
	if err != nil {
		return nil, time.Time{}, err
	}
	for _, entry := range registrations {
		f, ok := entry.Fact.(core.ManometerRegistered)
		if until := f.Manometer.CalibratedUntil; ok && !until.IsZero() {
			e := Event{Kind: core.NoticeCalibrate, Thing: f.Manometer.ID, Day: until}
			events = append(events, e.since(entry))
		}
	}
	modified, err = lastMoment(st)
	return events, modified, err
}

// since says from which entry on an event is as it is.
func (e Event) since(entry core.Entry) Event {
	e.Sequence, e.Stamp = entry.Seq, entry.At
	return e
}

func ofSuit(row store.SuitRow) []Event {
	if row.Kind == core.OutForGood {
		return nil
	}
	var all []Event
	unfit := unfitWords(row)
	withdrawn := slices.ContainsFunc(row.Bars, func(b core.Bar) bool { return b.Kind == core.BarWithdrawn })
	lifeFirst := !row.EndOfLife.IsZero() && row.EndOfLife.Before(row.Due)
	if !row.Due.IsZero() && !withdrawn && !lifeFirst {
		all = append(all, Event{Kind: core.NoticeLastDay, Thing: row.Tag, Day: row.Due, Place: row.Place, Unfit: unfit})
	}
	if !row.EndOfLife.IsZero() {
		all = append(all, Event{Kind: core.NoticeLifeEnds, Thing: row.Tag, Day: row.EndOfLife, Place: row.Place, Unfit: unfit})
	}
	return all
}

// unfitWords says why a suit may not be worn, whatever the day; nothing if it
// may. That a test is overdue shows by the event's day.
func unfitWords(row store.SuitRow) string {
	if len(row.Bars) == 0 && row.Kind != core.OnTheBench {
		return ""
	}
	return commands.Speaker{}.Short(core.Standing{Kind: row.Kind, Bars: row.Bars})
}

func lastMoment(st *store.Store) (time.Time, error) {
	n, _, err := st.Head()
	if err != nil {
		return time.Time{}, err
	}
	for e, err := range st.Entries(n) {
		return e.At, err
	}
	return time.Time{}, nil
}
