package store_test

import (
	"errors"
	"fmt"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

func TestSeen(t *testing.T) {
	s := inMemory(t)
	commit(t, s, store.Batch{Event: "e1", At: morning, Entries: notes(1, 1)})
	before := dump(t, s)
	again := store.Batch{Event: "e1", At: morning.Add(time.Hour), Entries: notes(2, 2), Out: []store.Out{post("a")}}
	if err := s.Commit(&again); !errors.Is(err, store.ErrSeen) || !strings.Contains(err.Error(), "event e1") {
		t.Errorf("the same event again: %v, want ErrSeen", err)
	}
	if again.Entries[0].Seq != 0 || again.Out[0].Seq != 0 {
		t.Error("numbers were given to what was not kept")
	}
	same(t, "all", dump(t, s), before)
	for event, want := range map[string]bool{"e1": true, "e2": false, "": false} {
		if got, err := s.Seen(event); got != want || err != nil {
			t.Errorf("Seen(%q) = %v, %v, want %v", event, got, err, want)
		}
	}
	commit(t, s, store.Batch{Entries: notes(3, 3)}) // no event, no check
	commit(t, s, store.Batch{Entries: notes(3, 3)})
	if got := len(all(t, s.Entries(0))); got != 3 {
		t.Errorf("%d entries, want 3", got)
	}
	refused(t, s, store.Batch{Event: "e3"}, `event id "e3" cannot be kept: it needs its moment`)
	refused(t, s, store.Batch{Event: "e\x00", At: morning}, "NUL")
	refused(t, s, store.Batch{Event: "e3", At: morning.AddDate(8000, 0, 0)}, "year outside of range")
}

func TestNotices(t *testing.T) {
	for name, s := range map[string]*store.Store{"bolt": inFile(t), "memory": inMemory(t)} {
		t.Run(name, func(t *testing.T) {
			given := func(want ...string) {
				t.Helper()
				all := make(map[string]bool)
				for _, key := range want {
					all[key] = true
				}
				same(t, "given", must(s.Given("a", "b", "", "a\x00", "c", "a", "A"))(t), all)
			}
			given()
			same(t, "given of none", must(s.Given())(t), map[string]bool{})
			commit(t, s, store.Batch{Event: "e1", At: morning, Notices: []string{"b", "a", "b"}})
			given("a", "b")
			commit(t, s, store.Batch{At: morning.Add(time.Hour), Notices: []string{"a", "c"}}) // no event
			given("a", "b", "c")
			commit(t, s, store.Batch{At: morning.Add(-time.Hour), Notices: []string{"c"}})
			same(t, "moments", dump(t, s)["notices"], map[string]string{
				"a": "2026-03-02T08:30:00Z", "b": "2026-03-02T08:30:00Z", "c": "2026-03-02T09:30:00Z",
			})

			before := dump(t, s)
			for want, b := range map[string]store.Batch{
				`notice key "d" cannot be kept: it needs its moment`:        {Notices: []string{"d"}},
				`notice key "" cannot be kept: it is empty`:                 {At: morning, Notices: []string{"d", ""}},
				`notice key "a\x00" cannot be kept: it has a NUL in it`:     {At: morning, Notices: []string{"a\x00"}},
				`notice key "d" cannot be kept: Time.MarshalText: year out`: {At: morning.AddDate(8000, 0, 0), Notices: []string{"d"}},
				"the event was handled before":                              {Event: "e1", At: morning, Notices: []string{"d"}},
			} {
				refused(t, s, b, want)
			}
			same(t, "all", dump(t, s), before)
		})
	}
}

func TestWakes(t *testing.T) {
	s := inMemory(t)
	at := func(minute int) time.Time { return morning.Add(time.Duration(minute) * time.Minute) }
	same(t, "none", must(s.Wakes())(t), []store.Wake(nil))
	commit(t, s, store.Batch{Wakes: map[string]time.Time{"run:2": at(5), "run:1": at(5), "digest": at(600), "run:3": at(-5).In(time.FixedZone("here", 3600))}})
	same(t, "set", must(s.Wakes())(t), []store.Wake{{"run:3", at(-5)}, {"run:1", at(5)}, {"run:2", at(5)}, {"digest", at(600)}})
	commit(t, s, store.Batch{Wakes: map[string]time.Time{"run:3": {}, "digest": at(1), "never set": {}}})
	same(t, "changed", must(s.Wakes())(t), []store.Wake{{"digest", at(1)}, {"run:1", at(5)}, {"run:2", at(5)}})
	refused(t, s, store.Batch{Wakes: map[string]time.Time{"": at(1)}}, `wake key "" cannot be kept`)
	refused(t, s, store.Batch{Wakes: map[string]time.Time{"late": at(0).AddDate(8000, 0, 0)}}, `wake key "late" cannot be kept: Time.MarshalText: year outside of range`)
}

func TestMarks(t *testing.T) {
	s := inMemory(t)
	same(t, "none", must(s.Marks())(t), map[string]store.Mark{})
	commit(t, s, store.Batch{Channel: "c1", Mark: store.Mark{Created: 1772440200000, Updated: 1772440200001, Anchor: "p1"}})
	commit(t, s, store.Batch{Channel: "c2"})
	commit(t, s, store.Batch{Mark: store.Mark{Created: 5}})
	commit(t, s, store.Batch{Channel: "c1", Mark: store.Mark{Created: 1772440300000, Updated: 1772440300000, Anchor: "p2"}})
	same(t, "marks", must(s.Marks())(t), map[string]store.Mark{
		"c1": {Created: 1772440300000, Updated: 1772440300000, Anchor: "p2"}, "c2": {},
	})
	refused(t, s, store.Batch{Channel: "c\x00"}, "NUL")
}

// A breaking engine fails at the nth change that is made in it.
type breaking struct {
	store.Engine
	after int
}

var errBroken = errors.New("no space left on device")

func (e *breaking) Update(fn func(store.Tx) error) error {
	return e.Engine.Update(func(tx store.Tx) error { return fn(breakingTx{tx, e}) })
}

type breakingTx struct {
	store.Tx
	e *breaking
}

func (tx breakingTx) breaks() bool {
	tx.e.after--
	return tx.e.after < 0
}

func (tx breakingTx) Put(bucket string, key, value []byte) error {
	if tx.breaks() {
		return errBroken
	}
	return tx.Tx.Put(bucket, key, value)
}

func (tx breakingTx) Delete(bucket string, key []byte) error {
	if tx.breaks() {
		return errBroken
	}
	return tx.Tx.Delete(bucket, key)
}

// Wherever a transaction breaks off, nothing of it is kept, and the same can be
// done again.
func TestAllOrNothing(t *testing.T) {
	for engine, e := range map[string]store.Engine{
		"memory": storetest.Memory(),
		"bolt":   must(store.OpenBolt(t.TempDir() + "/benchbell.db"))(t),
	} {
		t.Run(engine, func(t *testing.T) {
			breaks := &breaking{e, 1000}
			s := checked(t, must(store.New(breaks))(t))
			commit(t, s, something())
			for _, c := range []struct {
				what string
				do   func() error
			}{
				{"commit", func() error {
					b := everything(1)
					err := s.Commit(&b)
					if err != nil && (b.Entries[0].Seq != 0 || b.Out[0].Seq != 0) {
						t.Error("numbers were given to what was not kept")
					}
					return err
				}},
				{"tried", func() error { return s.Tried(1, morning) }},
				{"delivered", func() error { return s.Delivered(1, "post1") }},
				{"an edit delivered", func() error { return s.Delivered(6, "") }},
				{"parked", func() error { return s.Park(3, "gone") }},
				{"sent again", func() error { return s.Requeue(3) }},
			} {
				before := dump(t, s)
				n := 0
				for ; ; n++ {
					breaks.after = n
					err := c.do()
					if err == nil {
						break
					}
					if !errors.Is(err, errBroken) {
						t.Fatalf("%s, broken off after %d changes: %v", c.what, n, err)
					}
					same(t, fmt.Sprintf("%s, broken off after %d changes", c.what, n), dump(t, s), before)
				}
				if n == 0 {
					t.Errorf("%s changes nothing", c.what)
				}
				breaks.after = 1000
			}
		})
	}
}

// something is what is there before everything(n).
func something() store.Batch {
	worn := row("HP-09", core.NotFit, day(3, 1), core.BarUsed)
	worn.EndOfLife = day(9, 30)
	return store.Batch{
		Event: "e0", At: morning.Add(-time.Hour), Entries: notes(1, 2),
		Rows:  []store.SuitRow{worn},
		Wakes: map[string]time.Time{"w1": morning},
		Out:   []store.Out{post("a"), edit("a", "1"), post("p")},

		RowsMadeWith: "P1Y", Notices: []string{"HP-09 overdue"},
	}
}

// everything is a batch with a bit of everything, about suit n.
func everything(n core.RunID) store.Batch {
	suit := core.Suit{Tag: fmt.Sprintf("HP-%02d", n)}
	return store.Batch{
		Event: fmt.Sprintf("e%d", n), At: morning,
		Entries: []core.Entry{
			entry(1, suit.Tag, 0, core.SuitRegistered{Suit: suit}),
			entry(2, "", 0, core.ManometerRegistered{Manometer: manometer("M-1")}),
			entry(3, suit.Tag, n+100, opened(suit.Tag, manometer("M-1"))),
		},
		Rows:  []store.SuitRow{row(suit.Tag, core.OnTheBench, day(3, 2), core.BarRunOpen)},
		Wakes: map[string]time.Time{fmt.Sprintf("run:%d", n): morning, "w1": {}},
		Out:   []store.Out{post(fmt.Sprintf("run:%d", n)), edit("a", fmt.Sprint(n)), edit("p", fmt.Sprint(n))},

		RowsMadeWith: fmt.Sprintf("P%dM", n), Notices: []string{"HP-09 overdue", suit.Tag + " overdue"},

		Posts:    map[string]string{fmt.Sprintf("learned:%d", n): fmt.Sprintf("post of %d", n)},
		Accounts: map[string]string{"officer": fmt.Sprintf("u%d", n), fmt.Sprintf("officer.%d", n): "u1", "gone": ""},

		Channel: "c1", Mark: store.Mark{Created: int64(n), Updated: int64(n), Anchor: "p1"},
	}
}

// The engine commits while delivery marks what it delivered, and somebody has
// the journal verified.
func TestTwoGoroutines(t *testing.T) {
	for name, s := range map[string]*store.Store{"bolt": inFile(t), "memory": inMemory(t)} {
		t.Run(name, func(t *testing.T) {
			const n = 60
			committed := make(chan struct{}, n)
			var wg sync.WaitGroup
			wg.Go(func() {
				defer close(committed)
				for i := range n {
					key := fmt.Sprintf("k%d", i)
					b := store.Batch{
						Event: key, At: morning, Entries: notes(i, i), Out: []store.Out{post(key), edit(key, "new")},
					}
					if err := s.Commit(&b); err != nil {
						t.Error(err)
					}
					committed <- struct{}{}
				}
			})
			var delivered []string
			wg.Go(func() {
				for range committed {
					if _, _, err := s.Verify(); err != nil {
						t.Error(err)
					}
					outs, err := s.Pending()
					if err != nil {
						t.Error(err)
					}
					for _, o := range outs {
						if err := errors.Join(s.Tried(o.Seq, morning), s.Delivered(o.Seq, "id of "+o.Key)); err != nil {
							t.Error(err)
						}
						if o.Kind == store.Post {
							delivered = append(delivered, o.Key)
						}
					}
				}
			})
			wg.Wait()
			wantPending(t, s, "")
			var want []string
			for i := range n {
				want = append(want, fmt.Sprintf("k%d", i))
			}
			if !slices.Equal(delivered, want) {
				t.Errorf("delivered %q, want %q", delivered, want)
			}
		})
	}
}
