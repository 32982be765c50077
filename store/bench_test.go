package store_test

import (
	"errors"
	"fmt"
	"iter"
	"path/filepath"
	"slices"
	"sync"
	"testing"

	"benchbell/core"
	"benchbell/store"
)

// today is the day in the region below.
var today = day(3, 2)

// region returns a store, in a file, of 100,000 suits: two in a hundred are
// barred, one in a hundred falls due within a month and the others later in the
// year, and one in a thousand ends its life within a month.
func region(b *testing.B) *store.Store {
	b.Helper()
	s := must(store.Create(filepath.Join(b.TempDir(), "benchbell.db")))(b)
	b.Cleanup(func() {
		if err := s.Close(); err != nil {
			b.Error(err)
		}
	})
	const suits, at = 100_000, 2000
	for first := 0; first < suits; first += at {
		var batch store.Batch
		for i := first; i < first+at; i++ {
			tag := fmt.Sprintf("HP-%06d", i)
			r := row(tag, core.Fit, today.AddDays(31+i%330))
			r.EndOfLife = today.AddMonths(12 + i%120)
			switch {
			case i%50 == 0:
				r.Kind, r.Bars = core.NotFit, row(tag, core.NotFit, r.Due, core.BarUsed).Bars
			case i%100 == 1:
				r.Due = today.AddDays(i / 100 % 30)
			}
			if i%1000 == 2 {
				r.EndOfLife = today.AddDays(i / 1000 % 30)
			}
			batch.Rows = append(batch.Rows, r)
			batch.Entries = append(batch.Entries, entry(i, tag, 0, core.SuitRegistered{Suit: core.Suit{Tag: tag, Size: "L"}}))
		}
		commit(b, s, batch)
	}
	return s
}

func BenchmarkCommit(b *testing.B) {
	s := region(b)
	n := 0
	for b.Loop() {
		n++
		key := fmt.Sprintf("e%d", n)
		tag := fmt.Sprintf("HP-%06d", n*7919%100_000)
		commit(b, s, store.Batch{
			Event: key, At: morning,
			Entries: []core.Entry{entry(n, tag, 0, core.Used{When: morning, Note: "at the tank farm"})},
			Rows:    []store.SuitRow{row(tag, core.NotFit, day(3, 2), core.BarUsed)},
			Out:     []store.Out{post(key)},
		})
	}
}

func BenchmarkBarred(b *testing.B) {
	s := region(b)
	for b.Loop() {
		wantRows(b, "barred", s.Barred(), 2000)
	}
}

// What answers for the fleet: how many suits there are, which are barred, and
// which fall due or end their life within a month.
func BenchmarkStatus(b *testing.B) {
	s := region(b)
	month := today.AddDays(30)
	for b.Loop() {
		if n, kinds, err := s.Count(); n != 100_000 || kinds[core.NotFit] != 2000 || err != nil {
			b.Fatal(n, kinds, err)
		}
		wantRows(b, "barred", s.Barred(), 2000)
		wantRows(b, "due", s.DueBy(month), 1000)
		wantRows(b, "ending", s.EndingBy(month), 100)
	}
}

// What plans the reminders of a day: which suits are due or barred, and which
// of the notices about them were given.
func BenchmarkReminders(b *testing.B) {
	s := region(b)
	plan := func() (keys []string) {
		for _, r := range slices.Concat(
			wantRows(b, "due", s.DueBy(today), 34),
			wantRows(b, "barred", s.Barred(), 2000),
		) {
			keys = append(keys, "due "+r.Tag, "barred "+r.Tag)
		}
		return keys
	}
	keys := plan()
	given := keys[:len(keys)/2]
	commit(b, s, store.Batch{At: morning, Notices: given})
	for b.Loop() {
		if n := len(must(s.Given(plan()...))(b)); n != len(given) {
			b.Fatalf("%d notices were given, want %d", n, len(given))
		}
	}
}

func wantRows(b *testing.B, what string, rows iter.Seq2[store.SuitRow, error], want int) []store.SuitRow {
	b.Helper()
	got := all(b, rows)
	if len(got) != want {
		b.Fatalf("%d rows %s, want %d", len(got), what, want)
	}
	return got
}

// What is asked about a tag that nobody knows, by its number and by its
// spelling.
func BenchmarkTagsLike(b *testing.B) {
	s := region(b)
	for b.Loop() {
		for typed, want := range map[string]string{"77": "HP-000077", "hq-077": "HP-000077"} {
			if tags := must(s.TagsLike(typed, 5))(b); len(tags) == 0 || tags[0] != want {
				b.Fatalf("like %s: %q, want %s first", typed, tags, want)
			}
		}
	}
}

func BenchmarkVerify(b *testing.B) {
	s := region(b)
	for b.Loop() {
		if _, n, err := s.Verify(); n != 100_000 || err != nil {
			b.Fatal(n, err)
		}
	}
}

// years returns a store, in a file, of so many entries as the runs of years
// leave them: each opens, goes on for 20 entries, and closes.
func years(b *testing.B, entries int) *store.Store {
	b.Helper()
	path := filepath.Join(b.TempDir(), "benchbell.db")
	s := must(store.OpenThrowaway(path))(b)
	b.Cleanup(func() {
		if err := s.Close(); err != nil {
			b.Error(err)
		}
	})
	m := manometer("M-1")
	for i := 0; i < entries; {
		batch := store.Batch{Entries: []core.Entry{entry(0, "", 0, core.ManometerRegistered{Manometer: m})}}
		for range 100 {
			run := core.RunID(i/20 + 1)
			tag := fmt.Sprintf("HP-%04d", int(run)%2000)
			batch.Entries = append(batch.Entries, entry(i, tag, run, opened(tag, m)))
			for n := range 18 {
				batch.Entries = append(batch.Entries, entry(i+n, tag, run, core.Taken{Reading: core.Reading{
					N: n, Written: core.MustWrite("16.5", core.Mbar), Posted: morning, Taken: morning, By: tester, Post: "p", Manometer: "M-1",
				}}))
			}
			batch.Entries = append(batch.Entries, entry(i, tag, run, core.Closed{}))
			batch.Rows = append(batch.Rows, row(tag, core.Fit, day(3, 2)))
			batch.Out = append(batch.Out, post(fmt.Sprintf("%v/card", run)))
			i += 20
		}
		commit(b, s, batch)
		for n := range 100 {
			seq := batch.Out[n].Seq
			if err := s.Delivered(seq, fmt.Sprintf("id%d", seq)); err != nil {
				b.Fatal(err)
			}
		}
	}
	return s
}

func BenchmarkCheck(b *testing.B) {
	for _, entries := range []int{50_000, 170_000} {
		b.Run(fmt.Sprint(entries), func(b *testing.B) {
			s := years(b, entries)
			for b.Loop() {
				if err := s.Check(); err != nil {
					b.Fatal(err)
				}
			}
		})
	}
}

// waiting returns a store, in a file, with so many messages in the outbox.
func waiting(b *testing.B, n, file int) *store.Store {
	b.Helper()
	s := must(store.Create(filepath.Join(b.TempDir(), "benchbell.db")))(b)
	b.Cleanup(func() {
		if err := s.Close(); err != nil {
			b.Error(err)
		}
	})
	var batch store.Batch
	for i := range n {
		o := post(fmt.Sprintf("%v/bell/1", core.RunID(i+1)))
		o.Class, o.Due, o.Thread, o.Fallback = store.Bell, morning, fmt.Sprintf("%v/card", core.RunID(i+1)), "person"
		o.File = make([]byte, file)
		batch.Out = append(batch.Out, o)
	}
	commit(b, s, batch)
	return s
}

func BenchmarkPending(b *testing.B) {
	for _, file := range []int{0, 100_000} {
		s := waiting(b, 2000, file)
		b.Run(fmt.Sprintf("all, files of %d", file), func(b *testing.B) {
			for b.Loop() {
				must(s.Pending())(b)
			}
		})
		b.Run(fmt.Sprintf("the last, files of %d", file), func(b *testing.B) {
			for b.Loop() {
				all(b, s.PendingFrom(2000))
			}
		})
	}
}

// 200 bells at once: each is tried and delivered by a goroutine of its own.
func BenchmarkMarking(b *testing.B) {
	s := waiting(b, 200*1000, 0)
	first := uint64(1)
	for b.Loop() {
		var wg sync.WaitGroup
		for seq := first; seq < first+200; seq++ {
			wg.Go(func() {
				if err := errors.Join(s.Tried(seq, morning), s.Delivered(seq, fmt.Sprint("id", seq))); err != nil {
					b.Error(err)
				}
			})
		}
		wg.Wait()
		first += 200
	}
}
