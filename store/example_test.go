package store_test

import (
	"errors"
	"fmt"
	"log"
	"os"
	"path/filepath"
	"time"

	"benchbell/core"
	"benchbell/store"
)

// What one event does is kept at once, and only once; delivery follows.
func Example() {
	dir, err := os.MkdirTemp("", "benchbell")
	if err != nil {
		log.Fatal(err)
	}
	defer os.RemoveAll(dir)
	s, err := store.Create(filepath.Join(dir, "benchbell.db"))
	if err != nil {
		log.Fatal(err)
	}
	defer s.Close()

	at := time.Date(2026, 3, 2, 8, 30, 0, 0, time.UTC)
	used := func() *store.Batch {
		return &store.Batch{
			Event: "post:7", At: at,
			Entries: []core.Entry{{At: at, Event: "post:7", Suit: "HP-07", Fact: core.Used{When: at}}},
			Rows:    []store.SuitRow{{Tag: "HP-07", Kind: core.NotFit, Bars: []core.Bar{{Kind: core.BarUsed, Since: at}}}},
			Out:     []store.Out{{Kind: store.Post, Key: "post:7/answer", Channel: "crew", Text: "HP-07 is barred."}},
		}
	}
	if err := s.Commit(used()); err != nil {
		log.Fatal(err)
	}
	fmt.Println(errors.Is(s.Commit(used()), store.ErrSeen))

	pending, err := s.Pending()
	if err != nil {
		log.Fatal(err)
	}
	for _, o := range pending {
		if err := s.Tried(o.Seq, at); err != nil {
			log.Fatal(err)
		}
		fmt.Println(o.Text)
		if err := s.Delivered(o.Seq, "x8f3"); err != nil {
			log.Fatal(err)
		}
	}
	// Output:
	// true
	// HP-07 is barred.
}
