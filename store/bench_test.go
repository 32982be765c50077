package store_test

import (
	"fmt"
	"path/filepath"
	"testing"

	"benchbell/core"
	"benchbell/store"
)

// region returns a store, in a file, of 100,000 suits: one in a hundred is
// barred, and as many fall due on each day of the hundred to come.
func region(b *testing.B) *store.Store {
	b.Helper()
	s := must(store.Open(filepath.Join(b.TempDir(), "benchbell.db")))(b)
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
			r := row(tag, core.Fit, day(3, 2).AddDays(i%100))
			if i%100 == 50 {
				r = row(tag, core.NotFit, r.Due, core.BarUsed)
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
		if n := len(all(b, s.Barred())); n != 1000 {
			b.Fatalf("%d rows", n)
		}
	}
}

func BenchmarkDueBy(b *testing.B) {
	s := region(b)
	for b.Loop() {
		if n := len(all(b, s.DueBy(day(3, 2)))); n != 1000 {
			b.Fatalf("%d rows", n)
		}
	}
}

func BenchmarkCount(b *testing.B) {
	s := region(b)
	for b.Loop() {
		if n, _, err := s.Count(); n != 100_000 || err != nil {
			b.Fatal(n, err)
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
