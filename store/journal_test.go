package store_test

import (
	"bytes"
	"errors"
	"fmt"
	"strings"
	"testing"

	"benchbell/core"
	"benchbell/store"
)

func TestJournal(t *testing.T) {
	s := inFile(t)
	const n = 2*store.PageSize + 3 // pages, and a part of one
	b := commit(t, s, store.Batch{Entries: notes(1, n-1)})
	if first, last := b.Entries[0].Seq, b.Entries[n-2].Seq; first != 1 || last != n-1 {
		t.Errorf("entries are numbered %d to %d, want 1 to %d", first, last, n-1)
	}
	b = commit(t, s, store.Batch{Entries: notes(n, n)})
	if b.Entries[0].Seq != n {
		t.Errorf("the next entry has number %d, want %d", b.Entries[0].Seq, n)
	}
	want := notes(1, n)
	for i := range want {
		want[i].Seq = uint64(i + 1)
	}
	same(t, "journal", all(t, s.Entries(0)), want)
	same(t, "journal from 1", all(t, s.Entries(1)), want)
	same(t, "journal from the second page", all(t, s.Entries(store.PageSize+1)), want[store.PageSize:])
	same(t, "last entry", all(t, s.Entries(n)), want[n-1:])
	same(t, "beyond the end", all(t, s.Entries(n+1)), []core.Entry(nil))
}

func TestEntriesWhileWriting(t *testing.T) {
	s := inFile(t)
	commit(t, s, store.Batch{Entries: notes(1, 3)})
	read := 0
	for e, err := range s.Entries(0) {
		if err != nil {
			t.Fatal(err)
		}
		if read++; e.Seq == 2 {
			commit(t, s, store.Batch{Entries: notes(4, 4)}) // would wait for ever inside the reading transaction
		}
	}
	if read < 3 {
		t.Errorf("read %d entries", read)
	}
}

func TestOfSuitAndOfRun(t *testing.T) {
	s := inMemory(t)
	facts := []core.Entry{
		entry(0, "A", 0, core.Found{What: "tear"}),
		entry(1, "AB", 0, core.Found{What: "scuff"}),
		entry(2, "A", 1, core.Noted{Text: "in a run"}),
		entry(3, "A-1", 256, core.Noted{Text: "in run 256"}),
		entry(4, "A", 257, core.Noted{Text: "in run 257"}),
		entry(5, "", 0, core.ManometerRegistered{Manometer: manometer("M-1")}),
	}
	b := commit(t, s, store.Batch{Entries: facts})
	pick := func(n ...int) (list []core.Entry) {
		for _, i := range n {
			list = append(list, b.Entries[i])
		}
		return list
	}
	for tag, want := range map[string][]core.Entry{"A": pick(0, 2, 4), "AB": pick(1), "A-1": pick(3), "": nil, "B": nil} {
		same(t, "of suit "+tag, must(s.OfSuit(tag))(t), want)
	}
	for run, want := range map[core.RunID][]core.Entry{1: pick(2), 256: pick(3), 257: pick(4), 2: nil} {
		same(t, "of run "+run.String(), must(s.OfRun(run))(t), want)
	}
}

func TestOpenRuns(t *testing.T) {
	s := inMemory(t)
	runs := func(next core.RunID, open ...core.RunID) {
		t.Helper()
		same(t, "open runs", must(s.OpenRuns())(t), open)
		same(t, "next run", must(s.NextRun())(t), next)
	}
	runs(1)
	commit(t, s, store.Batch{Entries: []core.Entry{
		entry(0, "HP-01", 1, opened("HP-01", manometer("M-1"))),
		entry(0, "HP-02", 2, opened("HP-02", manometer("M-1"))),
		entry(0, "HP-03", 300, opened("HP-03", manometer("M-1"))),
	}})
	runs(301, 1, 2, 300)
	commit(t, s, store.Batch{Entries: []core.Entry{entry(1, "HP-02", 2, core.Closed{})}})
	runs(301, 1, 300)
	commit(t, s, store.Batch{Entries: []core.Entry{
		entry(2, "HP-03", 300, core.Closed{}),
		entry(2, "HP-04", 17, opened("HP-04", manometer("M-1"))),
	}})
	runs(301, 1, 17)

	before := dump(t, s)
	for want, e := range map[string]core.Entry{
		"run R-0002 cannot be opened: the journal has a run of that number": entry(3, "HP-02", 2, opened("HP-02", manometer("M-1"))),
		"without a number":       entry(3, "HP-02", 0, opened("HP-02", manometer("M-1"))),
		"runs are numbered from": entry(3, "HP-02", -1, core.Noted{}),
	} {
		refused(t, s, store.Batch{Entries: []core.Entry{e}}, want)
	}
	same(t, "all", dump(t, s), before)
}

// refused commits a batch that must not be kept.
func refused(t *testing.T, s *store.Store, b store.Batch, want string) {
	t.Helper()
	if err := s.Commit(&b); err == nil || !strings.Contains(err.Error(), want) {
		t.Errorf("commit: %v, want an error that says %q", err, want)
	}
}

func TestManometers(t *testing.T) {
	s := inMemory(t)
	m1, m2 := manometer("M-1"), manometer("M-2")
	later := m1
	later.CalibratedUntil = day(12, 31).AddMonths(12)
	for i, m := range []core.Manometer{m2, m1, later} {
		commit(t, s, store.Batch{Entries: []core.Entry{entry(i, "", 0, core.ManometerRegistered{Manometer: m})}})
	}
	same(t, "manometers", must(s.Manometers())(t), []core.Manometer{later, m2})
	refused(t, s, store.Batch{Entries: []core.Entry{entry(9, "", 0, core.ManometerRegistered{})}}, `manometer "" cannot be kept: it is empty`)
}

func TestLastUsed(t *testing.T) {
	s := inMemory(t)
	by := func(e core.Entry, p core.Person) core.Entry {
		e.By = p
		return e
	}
	paper := func(minute int, who, manometer string) core.Entry {
		return entry(minute, "HP-09", 0, core.PaperTest{Tester: who, Manometer: manometer})
	}
	for _, c := range []struct {
		what string
		e    core.Entry
		want map[string]string
	}{
		{"nobody yet", entry(0, "HP-01", 0, core.Released{}), map[string]string{}},
		{"opened", entry(1, "HP-01", 1, opened("HP-01", manometer("M-1"))), map[string]string{"bench.tester": "M-1"}},
		{"opened by another", by(entry(2, "HP-02", 2, opened("HP-02", manometer("M-2"))), second), map[string]string{"bench.tester": "M-1", "second.tester": "M-2"}},
		{"chosen", entry(3, "HP-01", 1, core.ManometerChosen{Manometer: manometer("M-3")}), map[string]string{"bench.tester": "M-3", "second.tester": "M-2"}},
		{"paper of long ago", paper(-60*24*365, "bench.tester", "M-4"), map[string]string{"bench.tester": "M-3", "second.tester": "M-2"}},
		{"paper of today", paper(4, "bench.tester", "M-4"), map[string]string{"bench.tester": "M-4", "second.tester": "M-2"}},
		{"paper of the same moment", paper(4, "bench.tester", "M-5"), map[string]string{"bench.tester": "M-5", "second.tester": "M-2"}},
		{"paper of nobody", paper(5, "", "M-6"), map[string]string{"bench.tester": "M-5", "second.tester": "M-2"}},
		{"paper without manometer", paper(5, "bench.tester", ""), map[string]string{"bench.tester": "M-5", "second.tester": "M-2"}},
	} {
		commit(t, s, store.Batch{Entries: []core.Entry{c.e}})
		same(t, c.what, must(s.LastUsed())(t), c.want)
	}
}

// tampered returns a store of ten entries that somebody wrote to by another
// way, so that it cannot pass its check in the end.
func tampered(t *testing.T, with func(tx store.Tx) error) *store.Store {
	t.Helper()
	s := inMemoryUnchecked(t)
	commit(t, s, store.Batch{Entries: notes(1, 10)})
	if err := store.EngineOf(s).Update(with); err != nil {
		t.Fatal(err)
	}
	return s
}

func journalKey(seq byte) []byte { return []byte{0, 0, 0, 0, 0, 0, 0, seq} }

func TestVerifyFindsTheFirstBadEntry(t *testing.T) {
	const journal = "journal"
	change := func(seq byte, from, to string) func(store.Tx) error {
		return func(tx store.Tx) error {
			v := tx.Get(journal, journalKey(seq))
			if !bytes.Contains(v, []byte(from)) {
				return fmt.Errorf("entry %d does not say %q", seq, from)
			}
			return tx.Put(journal, journalKey(seq), bytes.Replace(v, []byte(from), []byte(to), 1))
		}
	}
	remove := func(seq byte) func(store.Tx) error {
		return func(tx store.Tx) error { return tx.Delete(journal, journalKey(seq)) }
	}
	move := func(tx store.Tx, from, to byte) error {
		return tx.Put(journal, journalKey(to), tx.Get(journal, journalKey(from)))
	}
	// forge writes a chain of its own from an entry on, without a flaw in it.
	forge := func(tx store.Tx, from, to byte) error {
		var h store.Hash
		copy(h[:], tx.Get(journal, journalKey(from-1)))
		for seq := from; seq <= to; seq++ {
			e := note(int(seq) + 100)
			e.Seq = uint64(seq)
			value, next, err := store.Entry(h, e)
			if err != nil {
				return err
			}
			if err := tx.Put(journal, journalKey(seq), value); err != nil {
				return err
			}
			h = next
		}
		return nil
	}
	for _, c := range []struct {
		name string
		with func(store.Tx) error
		bad  uint64
		want string
	}{
		{"first changed", change(1, "note 1", "note 9"), 1, "hash does not fit"},
		{"one changed", change(5, "note 5", "note 6"), 5, "hash does not fit"},
		{"last changed", change(10, "note 10", "note 11"), 10, "hash does not fit"},
		{"a blank added to the record", change(5, `{"v":1`, `{ "v":1`), 5, "hash does not fit"},
		{"a hash changed", func(tx store.Tx) error {
			v := tx.Get(journal, journalKey(5))
			v[0] ^= 1
			return tx.Put(journal, journalKey(5), v)
		}, 5, "hash does not fit"},
		{"cut short", func(tx store.Tx) error {
			return tx.Put(journal, journalKey(5), tx.Get(journal, journalKey(5))[:20])
		}, 5, "cut short"},
		{"first removed", remove(1), 1, "missing"},
		{"one removed", remove(5), 5, "missing"},
		{"last removed", remove(10), 10, "missing"},
		{"all removed", func(tx store.Tx) error {
			for seq := byte(1); seq <= 10; seq++ {
				if err := remove(seq)(tx); err != nil {
					return err
				}
			}
			return nil
		}, 1, "missing"},
		{"one removed and the others moved up", func(tx store.Tx) error {
			for seq := byte(5); seq < 10; seq++ {
				if err := move(tx, seq+1, seq); err != nil {
					return err
				}
			}
			return remove(10)(tx)
		}, 5, "hash does not fit"},
		{"one inserted before the first", func(tx store.Tx) error { return move(tx, 1, 0) }, 0, "begins with entry 1"},
		{"one inserted behind the last", func(tx store.Tx) error { return forge(tx, 11, 11) }, 11, "behind the entry that was written last"},
		{"one inserted and the others moved down", func(tx store.Tx) error {
			for seq := byte(10); seq >= 5; seq-- {
				if err := move(tx, seq, seq+1); err != nil {
					return err
				}
			}
			return forge(tx, 5, 5)
		}, 6, "hash does not fit"},
		{"two swapped", func(tx store.Tx) error {
			four := tx.Get(journal, journalKey(4))
			return errors.Join(move(tx, 7, 4), tx.Put(journal, journalKey(7), four))
		}, 4, "hash does not fit"},
		{"one repeated", func(tx store.Tx) error { return move(tx, 4, 5) }, 5, "hash does not fit"},
		{"one forged with its hash", func(tx store.Tx) error { return forge(tx, 5, 5) }, 6, "hash does not fit"},
		{"the last forged with its hash", func(tx store.Tx) error { return forge(tx, 10, 10) }, 10, "not the one that was written last"},
		{"forged up to the end", func(tx store.Tx) error { return forge(tx, 5, 10) }, 10, "not the one that was written last"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := tampered(t, c.with)
			_, _, err := s.Verify()
			bad, ok := errors.AsType[*store.EntryError](err)
			if !ok || bad.Seq != c.bad || !strings.Contains(err.Error(), c.want) {
				t.Errorf("verify: %v, want entry %d, %q", err, c.bad, c.want)
			}
			if s.Check() == nil {
				t.Error("check finds nothing wrong")
			}
		})
	}
}

func TestVerify(t *testing.T) {
	s := inMemory(t)
	h, n, err := s.Verify()
	if h != (store.Hash{}) || n != 0 || err != nil {
		t.Errorf("empty journal: %v, %d, %v", h, n, err)
	}
	heads := make(map[uint64]store.Hash)
	for i := range uint64(3) {
		commit(t, s, store.Batch{Entries: notes(int(i)*store.PageSize, int(i+1)*store.PageSize-1)})
		h, n, err := s.Verify()
		if n != (i+1)*store.PageSize || err != nil {
			t.Fatalf("verify: %d entries, %v", n, err)
		}
		heads[n] = h
	}
	for n, h := range heads {
		if got, ok, err := s.HashAt(n); got != h || !ok || err != nil {
			t.Errorf("HashAt(%d) = %v, %v, %v, want %v", n, got, ok, err, h)
		}
	}
	for _, n := range []uint64{0, 3*store.PageSize + 1} {
		if _, ok, err := s.HashAt(n); ok || err != nil {
			t.Errorf("HashAt(%d) = %v, %v, want none", n, ok, err)
		}
	}
}

// The hash was worked out by other means: 32 zero bytes and the record, through
// sha256sum.
func TestHashIsWhatTheDocSays(t *testing.T) {
	const record = `{"v":1,"seq":1,"at":"2026-03-02T08:31:00Z","by":{"id":"u1","name":"bench.tester"},"event":"post:1","suit":"HP-07","run":1,"kind":"noted","fact":{"text":"note 1"}}`
	const hash = "b995c018a63ecba91c730b78626f53f87afed90ce867775a7c1f4d19afabe006"
	s := inMemory(t)
	commit(t, s, store.Batch{Entries: []core.Entry{note(1)}})
	if h, _, err := s.Verify(); h.String() != hash || err != nil {
		t.Errorf("hash %v, %v, want %s", h, err, hash)
	}
	if value := dump(t, s)["journal"][string(journalKey(1))]; value[32:] != record {
		t.Errorf("record %s, want %s", value[32:], record)
	}
}

func TestEntriesStopAtABadOne(t *testing.T) {
	for name, record := range map[string]string{
		"unknown kind": `{"v":1,"seq":5,"kind":"exploded","fact":{}}`,
		"newer":        `{"v":2,"seq":5,"kind":"noted","fact":{}}`,
		"another's":    `{"v":1,"seq":6,"kind":"noted","fact":{}}`,
	} {
		t.Run(name, func(t *testing.T) {
			s := tampered(t, func(tx store.Tx) error {
				return tx.Put("journal", journalKey(5), append(make([]byte, 32), record...))
			})
			read := 0
			var err error
			for _, e := range s.Entries(1) {
				if err = e; err == nil {
					read++
				}
			}
			if bad, ok := errors.AsType[*store.EntryError](err); !ok || bad.Seq != 5 || read != 4 {
				t.Errorf("read %d entries, then %v, want an error that names entry 5", read, err)
			}
			if _, err := s.OfRun(1); err == nil || !strings.Contains(err.Error(), "journal entry 5: ") {
				t.Errorf("of the run: %v, want an error that names entry 5", err)
			}
		})
	}
}
