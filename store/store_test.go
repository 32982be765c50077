package store_test

import (
	"flag"
	"fmt"
	"iter"
	"math/rand/v2"
	"path/filepath"
	"reflect"
	"testing"
	"time"

	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

var (
	update = flag.Bool("update", false, "write the golden files anew")
	seed   = flag.Uint64("seed", 0, "play the random tests with this seed")
)

// random returns a source of random numbers whose seed is printed.
func random(t testing.TB) *rand.Rand {
	t.Helper()
	n := *seed
	if n == 0 {
		n = rand.Uint64()
	}
	t.Logf("to play this again: -seed %d", n)
	return rand.New(rand.NewPCG(n, 0))
}

// inFile opens a store in a file; inMemory makes one that is not. Both are
// checked at the end of the test.
func inFile(t testing.TB) *store.Store {
	t.Helper()
	return created(t, filepath.Join(t.TempDir(), "benchbell.db"))
}

func created(t testing.TB, path string) *store.Store {
	t.Helper()
	return checked(t, must(store.Create(path))(t))
}

func reopen(t testing.TB, path string) *store.Store {
	t.Helper()
	return checked(t, must(store.Open(path))(t))
}

func inMemory(t testing.TB) *store.Store {
	t.Helper()
	return checked(t, inMemoryUnchecked(t))
}

// inMemoryUnchecked is for tests that do damage.
func inMemoryUnchecked(t testing.TB) *store.Store {
	t.Helper()
	return must(store.New(storetest.Memory()))(t)
}

func checked(t testing.TB, s *store.Store) *store.Store {
	t.Cleanup(func() {
		if err := s.Check(); err != nil {
			t.Errorf("check: %v", err)
		}
		if err := s.Close(); err != nil {
			t.Errorf("close: %v", err)
		}
	})
	return s
}

func commit(t testing.TB, s *store.Store, b store.Batch) store.Batch {
	t.Helper()
	if err := s.Commit(&b); err != nil {
		t.Fatalf("commit: %v", err)
	}
	return b
}

// must returns a value or ends the test. It is called as must(f())(t), since
// nothing may stand beside a call that returns several values.
func must[T any](v T, err error) func(testing.TB) T {
	return func(t testing.TB) T {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
		return v
	}
}

func all[T any](t testing.TB, seq iter.Seq2[T, error]) []T {
	t.Helper()
	var got []T
	for v, err := range seq {
		if err != nil {
			t.Fatal(err)
		}
		got = append(got, v)
	}
	return got
}

func same(t testing.TB, what string, got, want any) {
	t.Helper()
	if !reflect.DeepEqual(got, want) {
		t.Errorf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}

func dump(t testing.TB, s *store.Store) storetest.Dump {
	t.Helper()
	return storetest.DumpOf(t, store.EngineOf(s), store.Buckets...)
}

// The invented station of these tests.
var (
	morning = time.Date(2026, 3, 2, 8, 30, 0, 0, time.UTC)
	tester  = core.Person{ID: "u1", Name: "bench.tester"}
	second  = core.Person{ID: "u2", Name: "second.tester"}
)

func day(month time.Month, d int) core.Date { return core.Date{Year: 2026, Month: month, Day: d} }

func entry(minute int, suit string, run core.RunID, fact core.Fact) core.Entry {
	return core.Entry{
		At: morning.Add(time.Duration(minute) * time.Minute), By: tester,
		Event: fmt.Sprintf("post:%d", minute), Suit: suit, Run: run, Fact: fact,
	}
}

func note(n int) core.Entry { return entry(n, "HP-07", 1, core.Noted{Text: fmt.Sprintf("note %d", n)}) }

func notes(from, to int) []core.Entry {
	var all []core.Entry
	for n := from; n <= to; n++ {
		all = append(all, note(n))
	}
	return all
}

func manometer(id string) core.Manometer {
	return core.Manometer{
		ID: id, Unit: core.Mbar, Resolution: core.MustWrite("0.01", core.Mbar), CalibratedUntil: day(12, 31),
	}
}

// opened begins a run by a method invented for these tests.
func opened(suit string, m core.Manometer) core.Opened {
	mbar := func(digits string) core.Written { return core.MustWrite(digits, core.Mbar) }
	return core.Opened{
		Suit: core.Suit{
			Tag: suit, Size: "L", Place: "rack 2", InService: day(1, 5), Interval: core.Period{Months: 12},
			Fittings: core.Fittings{GloveRings: true, ExhaustValves: 2, Boots: core.BootsFixed},
		},
		Method: core.Method{
			Key: "own", Title: "our own", Source: "invented", Unit: core.Mbar,
			Expansion: core.Around(mbar("17.5"), mbar("0.5")), ExpansionTime: 10 * time.Minute,
			Test: core.Around(mbar("16.5"), mbar("0.5")), Hold: 6 * time.Minute,
			Limit:      core.Limit{Drop: mbar("3.0")},
			Provenance: []core.Provenance{{What: "all of it", Source: "invented", Certainty: core.OwnRule}},
		},
		Manometer: m,
		Prepare:   []core.Item{{Task: core.TaskDecontaminated}, {Task: core.TaskPlugsIn, Count: 1, Closes: true}},
		Restore:   []core.Item{{Task: core.TaskPlugsOut, Count: 1}, {Task: core.TaskDried}},
	}
}
