package store_test

import (
	"fmt"
	"testing"

	"benchbell/core"
	"benchbell/store"
)

func TestTags(t *testing.T) {
	s := inMemory(t)
	same(t, "no tags", all(t, s.Tags()), []string(nil))
	var b store.Batch
	var want []string
	for i := range store.PageSize + 2 {
		tag := fmt.Sprintf("HP-%04d", i+1000)
		b.Entries = append(b.Entries, entry(i, tag, 0, core.SuitRegistered{Suit: core.Suit{Tag: tag}}))
		want = append(want, tag)
	}
	b.Entries = append(b.Entries,
		entry(0, want[0], 0, core.SuitRegistered{Suit: core.Suit{Tag: want[0], Size: "L"}}),
		entry(1, want[1], 0, core.Retired{Why: "torn"}),
		entry(2, "never registered", 0, core.Noted{Text: "a tag alone"}))
	commit(t, s, b)
	same(t, "tags", all(t, s.Tags()), want)
}

func TestLastOfSuit(t *testing.T) {
	s := inMemory(t)
	b := commit(t, s, store.Batch{Entries: []core.Entry{
		entry(0, "A", 0, core.Found{What: "tear"}),
		entry(1, "AB", 0, core.Found{What: "scuff"}),
		entry(2, "A", 1, core.Noted{Text: "in a run"}),
		entry(3, "", 0, core.ManometerRegistered{Manometer: manometer("M-1")}),
	}})
	for tag, want := range map[string]int{"A": 2, "AB": 1, "B": -1, "": -1} {
		e, ok, err := s.LastOfSuit(tag)
		do(t, err)
		if ok != (want >= 0) {
			t.Errorf("suit %q has a last entry: %v", tag, ok)
			continue
		}
		if ok {
			same(t, "last of suit "+tag, e, b.Entries[want])
		}
	}
}

func TestRegistrations(t *testing.T) {
	s := inMemory(t)
	same(t, "none", must(s.Registrations())(t), []core.Entry(nil))
	later := manometer("M-1")
	later.CalibratedUntil = day(12, 31).AddMonths(12)
	b := commit(t, s, store.Batch{Entries: []core.Entry{
		entry(0, "", 0, core.ManometerRegistered{Manometer: manometer("M-2")}),
		entry(1, "", 0, core.ManometerRegistered{Manometer: manometer("M-1")}),
		entry(2, "", 0, core.ManometerRegistered{Manometer: later}),
	}})
	same(t, "registrations", must(s.Registrations())(t), []core.Entry{b.Entries[2], b.Entries[0]})
}
