package calendar

import (
	"bytes"
	"fmt"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
	"time"

	"benchbell/core"
	"benchbell/store"
)

// station is a store of an invented station, whose rows follow its entries.
type station struct {
	t      *testing.T
	st     *store.Store
	policy core.Policy
	at     []time.Time // moments of the entries
}

func newStation(t *testing.T) *station {
	t.Helper()
	st, err := store.Create(filepath.Join(t.TempDir(), "benchbell.db"))
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() {
		if err := st.Close(); err != nil {
			t.Error(err)
		}
	})
	return &station{t: t, st: st, policy: core.DefaultPolicy()}
}

// moment is that of the next entry: a minute after the one before, or noon of
// the day of a test on paper.
func (s *station) moment(f core.Fact) time.Time {
	if paper, ok := f.(core.PaperTest); ok {
		return paper.Day.Start(time.UTC).Add(12 * time.Hour)
	}
	return morning.Add(time.Duration(len(s.at)) * time.Minute)
}

// enter enters facts about a suit, or about none.
func (s *station) enter(suit string, facts ...core.Fact) {
	s.t.Helper()
	var batch store.Batch
	for _, f := range facts {
		s.at = append(s.at, s.moment(f))
		batch.Entries = append(batch.Entries, core.Entry{At: s.at[len(s.at)-1], Suit: suit, Fact: f})
	}
	if suit != "" {
		entries, err := s.st.OfSuit(suit)
		if err != nil {
			s.t.Fatal(err)
		}
		var file core.File
		for _, e := range append(entries, batch.Entries...) {
			file = file.Apply(e)
		}
		sum := file.Summary(s.policy)
		st := sum.Standing(s.policy, core.DateAt(morning, time.UTC))
		batch.Rows = []store.SuitRow{{
			Tag: suit, Place: file.Suit.Place, Kind: st.Kind, Bars: sum.Bars, Due: sum.Due, EndOfLife: sum.EndOfLife,
		}}
	}
	if err := s.st.Commit(&batch); err != nil {
		s.t.Fatal(err)
	}
}

func (s *station) suit(tag, place string, endOfLife core.Date) core.SuitRegistered {
	return core.SuitRegistered{Suit: core.Suit{Tag: tag, Place: place, EndOfLife: endOfLife, Method: "en943"}}
}

func paperPass(d core.Date) core.PaperTest { return core.PaperTest{Day: d, Outcome: core.Pass} }

func gauge(id string, until core.Date) core.ManometerRegistered {
	return core.ManometerRegistered{Manometer: core.Manometer{ID: id, Unit: core.Mbar, CalibratedUntil: until}}
}

// due returns the events as lines, and the moment.
func (s *station) due() []string {
	s.t.Helper()
	events, modified, err := Due(s.st)
	if err != nil {
		s.t.Fatal(err)
	}
	if want := append([]time.Time{{}}, s.at...)[len(s.at)]; !modified.Equal(want) {
		s.t.Errorf("modified %v, want %v", modified, want)
	}
	var lines []string
	for _, e := range events {
		if want := s.at[e.Sequence-1]; !e.Stamp.Equal(want) {
			s.t.Errorf("%s is stamped %v, want %v", e.uid(domain), e.Stamp, want)
		}
		lines = append(lines, strings.TrimSpace(fmt.Sprintf("%s %v %d %s", e.uid("x"), e.Day, e.Sequence, e.Place)))
	}
	return lines
}

func (s *station) want(what string, want ...string) {
	s.t.Helper()
	if got := s.due(); !reflect.DeepEqual(got, want) {
		s.t.Errorf("%s:\n got %q\nwant %q", what, got, want)
	}
}

func TestDue(t *testing.T) {
	s := newStation(t)
	s.want("nothing")
	s.enter("", gauge("M-2", day(2026, 12, 31)), gauge("M-1", day(2025, 1, 31)), gauge("M-3", core.Date{}))
	s.enter("HP-07", s.suit("HP-07", "rack 2", core.Date{}))
	s.want("never tested", "calibration.M-1@x 2025-01-31 2", "calibration.M-2@x 2026-12-31 1")

	s.enter("HP-07", paperPass(day(2026, 3, 2)))
	s.enter("HP-08", s.suit("HP-08", "", day(2031, 6, 30)), paperPass(day(2026, 2, 28)))
	m1, m2 := "calibration.M-1@x 2025-01-31 2", "calibration.M-2@x 2026-12-31 1"
	s.want("tested", "test.HP-07@x 2027-03-02 5 rack 2", "test.HP-08@x 2027-02-28 7", "life.HP-08@x 2031-06-30 7", m1, m2)

	s.enter("HP-07", paperPass(day(2026, 9, 1)))
	s.want("tested again", "test.HP-07@x 2027-09-01 8 rack 2", "test.HP-08@x 2027-02-28 7", "life.HP-08@x 2031-06-30 7", m1, m2)

	s.enter("", gauge("M-1", day(2027, 1, 31)))
	m1 = "calibration.M-1@x 2027-01-31 9"
	s.want("calibrated", "test.HP-07@x 2027-09-01 8 rack 2", "test.HP-08@x 2027-02-28 7", "life.HP-08@x 2031-06-30 7", m1, m2)

	s.enter("HP-08", core.Withdrawn{Why: "on loan"})
	s.want("withdrawn", "test.HP-07@x 2027-09-01 8 rack 2", "life.HP-08@x 2031-06-30 10", m1, m2)

	s.enter("HP-07", core.Retired{Why: "torn"})
	s.want("retired", "life.HP-08@x 2031-06-30 10", m1, m2)

	s.enter("HP-09", s.suit("HP-09", "", day(2026, 12, 31)), paperPass(day(2026, 3, 2)))
	s.enter("HP-10", s.suit("HP-10", "", day(2027, 3, 2)), paperPass(day(2026, 3, 2)))
	s.want("its life ends first", "life.HP-08@x 2031-06-30 10", "life.HP-09@x 2026-12-31 13",
		"test.HP-10@x 2027-03-02 15", "life.HP-10@x 2027-03-02 15", m1, m2)
}

// Of a suit that is not fit the calendar says so and why, on the day that its UID
// has: nobody is to wear it until then.
func TestNotFit(t *testing.T) {
	s := newStation(t)
	summaries := func(want ...string) {
		t.Helper()
		events, _, err := Due(s.st)
		if err != nil {
			t.Fatal(err)
		}
		var got []string
		for _, e := range events {
			got = append(got, fmt.Sprintf("%v %s", e.Day, e.summary()))
		}
		if !reflect.DeepEqual(got, want) {
			t.Errorf("\n got %q\nwant %q", got, want)
		}
	}
	s.enter("HP-07", s.suit("HP-07", "", day(2031, 6, 30)), paperPass(day(2026, 2, 1)))
	summaries("2027-02-01 HP-07: last day in test", "2031-06-30 HP-07: last day of life")
	s.enter("HP-07", core.PaperTest{Day: day(2026, 2, 20), Outcome: core.Fail}, core.Used{When: morning, Note: "pump hall"})
	summaries("2027-02-01 HP-07: not fit: failed, used", "2031-06-30 HP-07: last day of life; not fit: failed, used")
	// The subscriber gets the change: the event is the same, of a later entry.
	events, modified, err := Due(s.st)
	if err != nil {
		t.Fatal(err)
	}
	ics := string(written(t, Feed{Domain: domain, Events: events, Modified: modified}))
	if !strings.Contains(ics, "SUMMARY:HP-07: not fit: failed\\, used\r\n") || !strings.Contains(ics, "SEQUENCE:4\r\n") || strings.Contains(ics, "pump hall") {
		t.Errorf("the calendar is\n%s", ics)
	}
	s.enter("HP-07", core.Retired{Why: "torn"})
	summaries()
}

// The sequence never falls, and grows whenever the day is another; the same
// journal gives the same bytes, also after a restart.
func TestSequenceGrows(t *testing.T) {
	s := newStation(t)
	write := func() []byte {
		events, modified, err := Due(s.st)
		if err != nil {
			t.Fatal(err)
		}
		return written(t, Feed{Domain: domain, Events: events, Modified: modified})
	}
	s.enter("HP-07", s.suit("HP-07", "", core.Date{}))
	last := make(map[string]Event)
	for i, f := range []core.Fact{
		paperPass(day(2026, 3, 2)),
		core.Used{When: morning},
		paperPass(day(2026, 4, 30)),
		core.SuitRegistered{Suit: core.Suit{Tag: "HP-07", Interval: core.Period{Months: 6}}},
		core.SuitRegistered{Suit: core.Suit{Tag: "HP-07", Interval: core.Period{Months: 18}}},
		core.Noted{Text: "x"},
	} {
		s.enter("HP-07", f)
		events, _, err := Due(s.st)
		if err != nil || len(events) != 1 {
			t.Fatalf("%d events, %v", len(events), err)
		}
		e := events[0]
		if was, ok := last[e.uid(domain)]; ok && (e.Sequence < was.Sequence || e.Day != was.Day && e.Sequence == was.Sequence) {
			t.Errorf("fact %d: day %v with sequence %d, after %v with %d", i, e.Day, e.Sequence, was.Day, was.Sequence)
		}
		last[e.uid(domain)] = e
		if !bytes.Equal(write(), write()) {
			t.Error("written twice it is not the same")
		}
	}
	if len(last) != 1 {
		t.Errorf("the suit had %d UIDs", len(last))
	}
}
