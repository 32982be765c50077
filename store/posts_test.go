package store_test

import (
	"strings"
	"testing"
	"time"

	"benchbell/store"
)

// wantPost checks which post a key means, and what key comes next.
func wantPost(t *testing.T, s *store.Store, base, id, next string) {
	t.Helper()
	if got, ok, err := s.PostID(base); got != id || ok != (id != "") || err != nil {
		t.Errorf("PostID(%s) = %q, %v, %v, want %q", base, got, ok, err, id)
	}
	if got, err := s.NextCopy(base); got != next || err != nil {
		t.Errorf("NextCopy(%s) = %q, %v, want %q", base, got, err, next)
	}
	if has, err := s.HasPost(base); has != (next != base) || err != nil {
		t.Errorf("HasPost(%s) = %v, %v", base, has, err)
	}
}

func TestCopies(t *testing.T) {
	const card = "R-0001/card"
	s := inMemory(t)
	again := func(id string) {
		t.Helper()
		b := commit(t, s, store.Batch{Out: []store.Out{post(must(s.NextCopy(card))(t))}})
		if id != "" {
			do(t, s.Delivered(b.Out[0].Seq, id))
		}
	}
	wantPost(t, s, card, "", card)
	again("")
	wantPost(t, s, card, "", card+"~2")
	do(t, s.Delivered(1, "p1"))
	again("")
	wantPost(t, s, card, "p1", card+"~3") // the copy is not there yet
	do(t, s.Delivered(2, "p2"))
	wantPost(t, s, card, "p2", card+"~3")
	for n := range 9 {
		again("p" + string(rune('a'+n)))
	}
	wantPost(t, s, card, "pi", card+"~12") // 11 is newer than 9
	again("")
	do(t, s.Park(12, "no channel takes it"))
	wantPost(t, s, card, "pi", card+"~13")
	for _, id := range []string{"p1", "p2", "pi"} {
		if key, ok, err := s.PostKey(id); key != card || !ok || err != nil {
			t.Errorf("PostKey(%s) = %q, %v, %v, want %s", id, key, ok, err, card)
		}
	}

	// Who names a copy means the post.
	in := post("R-0001/bell/1")
	in.Thread = card + "~2"
	commit(t, s, store.Batch{Out: []store.Out{edit(card+"~7", "new"), in}})
	commit(t, s, store.Batch{Out: []store.Out{edit(card, "newer")}})
	wantPending(t, s, "14:R-0001/bell/1 15:R-0001/card=newer")
	if got := must(s.Pending())(t)[0].Thread; got != card {
		t.Errorf("thread %q, want %q", got, card)
	}

	wantPost(t, s, "R-0001/car", "", "R-0001/car")
	wantPost(t, s, "R-0002/card", "", "R-0002/card")
	commit(t, s, store.Batch{Out: []store.Out{post("a~b"), post("a~"), post("a~2/b")}})
	wantPost(t, s, "a", "", "a")
	for _, key := range []string{"a~1", "a~0", "a~02", "a~2~3", "a~99999999999999999999"} {
		refused(t, s, store.Batch{Out: []store.Out{post(key)}}, "as only NextCopy puts them there")
	}
	refused(t, s, store.Batch{Out: []store.Out{post(card + "~2")}}, "was used before")
	refused(t, s, store.Batch{Out: []store.Out{post("~2")}}, "it is empty")
}

// After an older store was put back, the chat server tells which posts there
// are.
func TestPostsLearned(t *testing.T) {
	s := inMemory(t)
	commit(t, s, store.Batch{Out: []store.Out{post("known"), post("pending"), post("parked")}})
	do(t, s.Delivered(1, "p1"), s.Park(3, "gone"))
	commit(t, s, store.Batch{Posts: map[string]string{
		"new": "p9", "known": "other", "pending": "p2", "parked": "p3",
		"R-0001/card": "p4", "R-0001/card~3": "p5", "taken": "p1", "": "p6", "a~1": "p7", "nothing": "",
	}})
	wantPost(t, s, "new", "p9", "new~2")
	wantPost(t, s, "known", "p1", "known~2")
	wantPost(t, s, "pending", "", "pending~2")
	wantPost(t, s, "parked", "p3", "parked~2")
	wantPost(t, s, "R-0001/card", "p5", "R-0001/card~4")
	wantPost(t, s, "taken", "", "taken")
	wantPost(t, s, "nothing", "", "nothing")
	wantPending(t, s, "2:pending")
	if n, err := s.ParkedCount(); n != 0 || err != nil {
		t.Errorf("%d parked, %v", n, err)
	}
	do(t, s.Delivered(2, "p2"))
	commit(t, s, store.Batch{Out: []store.Out{edit("new", "text")}})
	refused(t, s, store.Batch{Out: []store.Out{post("new")}}, "was used before")
}

func TestRequeue(t *testing.T) {
	s := inMemory(t)
	bell := store.Out{
		Kind: store.Post, Class: store.Bell, Key: "bell", Thread: "card", Fallback: "u1", Text: "time is up",
		Due: morning, Offer: 3, Doc: "chart/R-0001/123", FileName: "chart.png",
	}
	commit(t, s, store.Batch{Out: []store.Out{bell, post("other"), edit("bell", "new")}})
	do(t, s.Tried(1, morning), s.Park(1, "404"), s.Park(3, "its post was parked"))
	if n, err := s.ParkedCount(); n != 2 || err != nil {
		t.Errorf("%d parked, %v, want 2", n, err)
	}
	do(t, s.Requeue(1))
	wantPending(t, s, "2:other 4:bell")
	bell.Seq = 4
	same(t, "sent again", must(s.Pending())(t)[1], bell)
	wantErr(t, s.Requeue(1), store.ErrNotParked)
	wantErr(t, s.Requeue(2), store.ErrNotParked)
	wantErr(t, s.Requeue(17), store.ErrNotParked)
	wantErr(t, s.Requeue(3), store.ErrStaleEdit)
	if n, err := s.ParkedCount(); n != 1 || err != nil {
		t.Errorf("%d parked, %v, want 1", n, err)
	}
	do(t, s.Tried(4, morning.Add(time.Hour)), s.Delivered(4, "p1"))
	wantPost(t, s, "bell", "p1", "bell~2")
	b := commit(t, s, store.Batch{Out: []store.Out{post("next")}})
	if b.Out[0].Seq != 5 {
		t.Errorf("number %d, want 5", b.Out[0].Seq)
	}
}

func TestPendingFrom(t *testing.T) {
	s := inMemory(t)
	o := post("a")
	o.File, o.FileName = []byte("the file"), "a.txt"
	commit(t, s, store.Batch{Out: []store.Out{o, post("b"), post("c")}})
	o.Seq, o.File = 1, nil
	got := all(t, s.PendingFrom(0))
	same(t, "the first", got[0], o)
	if len(got) != 3 || len(all(t, s.PendingFrom(3))) != 1 || len(all(t, s.PendingFrom(4))) != 0 {
		t.Errorf("from 0: %v", got)
	}
	if file, err := s.OutFile(1); string(file) != "the file" || err != nil {
		t.Errorf("the file: %q, %v", file, err)
	}
	if file, err := s.OutFile(2); file != nil || err != nil {
		t.Errorf("no file: %q, %v", file, err)
	}
	_, err := s.OutFile(9)
	wantErr(t, err, store.ErrNotPending)
}

func TestAccounts(t *testing.T) {
	s := inMemory(t)
	same(t, "none", must(s.Accounts())(t), map[string]string{})
	commit(t, s, store.Batch{Accounts: map[string]string{"a": "u1", "b": "u2", "c": ""}})
	commit(t, s, store.Batch{Accounts: map[string]string{"b": "", "d": "u1"}})
	same(t, "accounts", must(s.Accounts())(t), map[string]string{"a": "u1", "d": "u1"})
	refused(t, s, store.Batch{Accounts: map[string]string{"": "u1"}}, `user name "" cannot be kept`)
	refused(t, s, store.Batch{Accounts: map[string]string{"a": "u\x00"}}, "NUL")
	refused(t, s, store.Batch{Accounts: map[string]string{strings.Repeat("a", 2000): "u1"}}, "longer")
}
