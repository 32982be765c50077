package store_test

import (
	"errors"
	"fmt"
	"sync"
	"testing"
	"testing/synctest"

	"benchbell/store"
)

func wantErr(t *testing.T, got, want error) {
	t.Helper()
	if !errors.Is(got, want) {
		t.Errorf("%v, want %v", got, want)
	}
}

// A slow engine counts its transactions, and waits in each until it may go on.
type slow struct {
	store.Engine
	goOn    chan struct{}
	updates int
}

func (e *slow) Update(fn func(store.Tx) error) error {
	e.updates++
	<-e.goOn
	return e.Engine.Update(fn)
}

// Markings that come while one is written share a transaction, and one of them
// that fails is left out.
func TestMarkingsShareATransaction(t *testing.T) {
	inner := inMemory(t)
	var batch store.Batch
	for i := range 50 {
		batch.Out = append(batch.Out, post(fmt.Sprint("k", i)))
	}
	commit(t, inner, batch)
	synctest.Test(t, func(t *testing.T) {
		e := &slow{Engine: store.EngineOf(inner), goOn: make(chan struct{})}
		s := must(store.New(e))(t)
		errs := make([]error, 51)
		var wg sync.WaitGroup
		for i := range 51 {
			wg.Go(func() { errs[i] = s.Delivered(uint64(i+1), fmt.Sprint("id", i)) })
			synctest.Wait()
		}
		for done := false; !done; {
			select {
			case e.goOn <- struct{}{}:
				synctest.Wait()
			default:
				done = true
			}
		}
		wg.Wait()
		for i, err := range errs[:50] {
			if err != nil {
				t.Errorf("message %d: %v", i+1, err)
			}
		}
		wantErr(t, errs[50], store.ErrNotPending)
		if e.updates > 4 { // the first, the others, and these without the one that fails
			t.Errorf("%d transactions for 51 markings", e.updates)
		}
	})
	wantPending(t, inner, "")
}

// In a file, from many goroutines, each gets its own answer.
func TestMarkingsInAFile(t *testing.T) {
	s := inFile(t)
	const n = 60
	var batch store.Batch
	for i := range n {
		batch.Out = append(batch.Out, post(fmt.Sprint("k", i)))
	}
	commit(t, s, batch)
	synctest.Test(t, func(t *testing.T) {
		for i := range n {
			seq := uint64(i + 1)
			go func() {
				do(t, s.Tried(seq, morning))
				wantErr(t, s.Delivered(seq+2*n, "x"), store.ErrNotPending) // up to 2n are given to what is sent again
				if seq%3 == 0 {
					do(t, s.Park(seq, "gone"), s.Requeue(seq))
					return
				}
				do(t, s.Delivered(seq, fmt.Sprint("id", i)))
			}()
		}
		synctest.Wait()
	})
	if got := len(must(s.Pending())(t)); got != n/3 {
		t.Errorf("%d pending, want %d", got, n/3)
	}
}

func TestTriedAll(t *testing.T) {
	s := inMemory(t)
	commit(t, s, store.Batch{Out: []store.Out{post("a"), post("b"), post("c")}})
	do(t, s.Delivered(2, "p2"))
	same(t, "tried", must(s.TriedAll([]uint64{1, 2, 3, 9}, morning))(t), []uint64{1, 3})
	for _, o := range must(s.Pending())(t) {
		if o.Tries != 1 || !o.First.Equal(morning) {
			t.Errorf("tried %d times, first at %v", o.Tries, o.First)
		}
	}
}

// A doubtful engine says that its disk failed, after the change is there, or before.
type doubtful struct {
	store.Engine
	before, after error
}

func (e *doubtful) Update(fn func(store.Tx) error) error {
	err := e.Engine.Update(func(tx store.Tx) error {
		if err := fn(tx); err != nil {
			return err
		}
		return e.before
	})
	if err != nil {
		return err
	}
	return e.after
}

// A commit that failed on its way to the disk says so, and reading tells what
// became of it.
func TestInDoubt(t *testing.T) {
	e := &doubtful{Engine: store.EngineOf(inFile(t))}
	s := must(store.New(e))(t)
	commit(t, s, something())
	disk := errors.New("input/output error")

	e.before = disk
	b := everything(1)
	err := s.Commit(&b)
	wantErr(t, err, store.ErrInDoubt)
	wantErr(t, err, disk)
	if must(s.Seen("e1"))(t) {
		t.Error("the event is seen")
	}
	e.before, e.after = nil, disk
	err = s.Commit(&b)
	wantErr(t, err, store.ErrInDoubt)
	wantErr(t, err, disk)
	if b.Entries[0].Seq != 0 || b.Out[0].Seq != 0 {
		t.Error("numbers were given to what is in doubt")
	}
	if !must(s.Seen("e1"))(t) {
		t.Error("the event is not seen, and is there")
	}
	for what, err := range map[string]error{
		"tried": s.Tried(1, morning), "delivered": s.Delivered(1, "p1"), "parked": s.Park(3, "gone"), "requeued": s.Requeue(3),
	} {
		if !errors.Is(err, store.ErrInDoubt) {
			t.Errorf("%s: %v, want ErrInDoubt", what, err)
		}
	}

	e.after = nil
	notInDoubt := func(what string, err, want error) {
		t.Helper()
		if errors.Is(err, store.ErrInDoubt) || !errors.Is(err, want) {
			t.Errorf("%s: %v, want %v", what, err, want)
		}
	}
	notInDoubt("the event again", s.Commit(&b), store.ErrSeen)
	for what, err := range map[string]error{"delivered": s.Delivered(1, "p1"), "tried": s.Tried(1, morning), "parked": s.Park(3, "gone")} {
		notInDoubt(what, err, store.ErrNotPending)
	}
	bad := store.Batch{Event: "e9"}
	if err := s.Commit(&bad); err == nil || errors.Is(err, store.ErrInDoubt) {
		t.Errorf("a bad batch: %v", err)
	}
	do(t, s.Check())
}
