package store_test

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"time"

	"benchbell/store"
)

func post(key string) store.Out {
	return store.Out{Kind: store.Post, Key: key, Channel: "c1", Text: "text of " + key}
}

func edit(target, text string) store.Out {
	return store.Out{Kind: store.Edit, Target: target, Text: text}
}

// pending says what is in the outbox, as "number:key" and "number:target=text".
func pending(t *testing.T, s *store.Store) string {
	t.Helper()
	var list []string
	for _, o := range must(s.Pending())(t) {
		what := o.Key
		if o.Kind == store.Edit {
			what = o.Target + "=" + o.Text
		}
		list = append(list, fmt.Sprintf("%d:%s", o.Seq, what))
	}
	return strings.Join(list, " ")
}

func wantPending(t *testing.T, s *store.Store, want string) {
	t.Helper()
	if got := pending(t, s); got != want {
		t.Errorf("pending %q, want %q", got, want)
	}
}

func do(t *testing.T, errs ...error) {
	t.Helper()
	if err := errors.Join(errs...); err != nil {
		t.Fatal(err)
	}
}

func TestDelivery(t *testing.T) {
	s := inMemory(t)
	a := store.Out{
		Kind: store.Post, Key: "a", Person: "p1", Channel: "c1", Thread: "root", Text: "*a*\n", Offer: 7,
		Seq: 99, First: morning, Tries: 3, // not the caller's to say
	}
	b := commit(t, s, store.Batch{Out: []store.Out{a, post("b")}})
	if b.Out[0].Seq != 1 || b.Out[1].Seq != 2 {
		t.Errorf("numbers %d and %d, want 1 and 2", b.Out[0].Seq, b.Out[1].Seq)
	}
	a.Seq, a.First, a.Tries = 1, time.Time{}, 0
	same(t, "pending", must(s.Pending())(t)[0], a)

	do(t, s.Tried(1, morning), s.Tried(1, morning.Add(time.Minute)))
	a.First, a.Tries = morning, 2
	same(t, "tried twice", must(s.Pending())(t)[0], a)

	ids := func(key, id string, delivered bool) {
		t.Helper()
		if got, ok, err := s.PostID(key); got != id || ok != delivered || err != nil {
			t.Errorf("PostID(%s) = %q, %v, %v, want %q", key, got, ok, err, id)
		}
		if !delivered {
			return
		}
		if got, ok, err := s.PostKey(id); got != key || !ok || err != nil {
			t.Errorf("PostKey(%s) = %q, %v, %v, want %q", id, got, ok, err, key)
		}
	}
	ids("a", "", false)
	do(t, s.Delivered(1, "post1"))
	ids("a", "post1", true)
	ids("b", "", false)
	wantPending(t, s, "2:b")
	if _, ok, err := s.PostKey("post9"); ok || err != nil {
		t.Errorf("the key of a stranger's post: %v, %v", ok, err)
	}

	for what, err := range map[string]error{
		"delivered twice":      s.Delivered(1, "post1"),
		"tried when delivered": s.Tried(1, morning),
		"parked out of date":   s.Park(1, "gone"),
		"never there":          s.Delivered(17, "post17"),
	} {
		if !errors.Is(err, store.ErrNotPending) {
			t.Errorf("%s: %v, want ErrNotPending", what, err)
		}
	}
	for want, err := range map[string]error{
		`post id "" cannot be kept`:                             s.Delivered(2, ""),
		"post id post1 cannot be that of b: it is that of a":    s.Delivered(2, "post1"),
		"post id \"p\\x00\" cannot be kept: it has a NUL in it": s.Delivered(2, "p\x00"),
	} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want an error that says %q", err, want)
		}
	}
	do(t, s.Delivered(2, "post2"))
	wantPending(t, s, "")
	b = commit(t, s, store.Batch{Out: []store.Out{post("c")}})
	if b.Out[0].Seq != 3 {
		t.Errorf("a number is used again: %d", b.Out[0].Seq)
	}
}

func TestPark(t *testing.T) {
	s := inMemory(t)
	commit(t, s, store.Batch{Out: []store.Out{post("a"), post("b"), edit("a", "new")}})
	do(t, s.Tried(1, morning), s.Park(1, "the channel is archived"), s.Park(3, "its post was parked"))
	wantPending(t, s, "2:b")
	a := post("a")
	a.Seq, a.First, a.Tries = 1, morning, 1
	e := edit("a", "new")
	e.Seq = 3
	same(t, "parked", must(s.Parked())(t), []store.Parked{
		{Out: a, Why: "the channel is archived"},
		{Out: e, Why: "its post was parked"},
	})
	refused(t, s, store.Batch{Out: []store.Out{post("a")}}, "post key a was used before")
	commit(t, s, store.Batch{Out: []store.Out{edit("a", "newer")}}) // delivery will find that there is no post
	wantPending(t, s, "2:b 4:a=newer")
}

func TestEditsReplaceEachOther(t *testing.T) {
	s := inMemory(t)
	commit(t, s, store.Batch{Out: []store.Out{post("a"), post("b")}})
	do(t, s.Delivered(1, "post1"))
	step := func(want string, outs ...store.Out) {
		t.Helper()
		commit(t, s, store.Batch{Out: outs})
		wantPending(t, s, want)
	}
	step("2:b 3:a=1", edit("a", "1"))
	step("2:b 4:a=2", edit("a", "2"))
	step("2:b 4:a=2 5:b=1", edit("b", "1"))
	do(t, s.Tried(4, morning))
	if err := s.Tried(3, morning); !errors.Is(err, store.ErrNotPending) {
		t.Errorf("the edit replaced: %v, want ErrNotPending", err)
	}
	step("2:b 4:a=2 5:b=1 6:a=3", edit("a", "3")) // number 4 may be on its way
	step("2:b 4:a=2 5:b=1 7:a=4", edit("a", "4"))
	do(t, s.Delivered(4, ""))
	step("2:b 5:b=1 8:a=5", edit("a", "5"))
	do(t, s.Park(8, "no such post"))
	step("2:b 5:b=1 9:a=6", edit("a", "6"))
	do(t, s.Delivered(9, "anything"))
	step("2:b 5:b=1 10:a=7 11:c 12:c=new", edit("a", "7"), post("c"), edit("c", "new"))
}

func TestEditKeepsTheNumbersToOffer(t *testing.T) {
	s := inMemory(t)
	first, second := edit("a", "1"), edit("a", "2")
	first.Offer = 9
	commit(t, s, store.Batch{Out: []store.Out{post("a"), first}})
	commit(t, s, store.Batch{Out: []store.Out{second}})
	if got := must(s.Pending())(t)[1]; got.Text != "2" || got.Offer != 9 {
		t.Errorf("pending %+v, want the new text and the 9 numbers", got)
	}
}

func TestOutRefused(t *testing.T) {
	s := inMemory(t)
	commit(t, s, store.Batch{Out: []store.Out{post("a")}})
	before := dump(t, s)
	keyed, targeted := edit("a", "new"), post("b")
	keyed.Key, targeted.Target = "e", "a"
	for want, outs := range map[string][]store.Out{
		"post 1 of 1: post key a was used before: every post needs a key of its own": {post("a")},
		"post 2 of 2: post key b was used before":                                    {post("b"), post("b")},
		`post key "" cannot be kept: it is empty`:                                    {post("")},
		`post "z" cannot be edited: there was no post of that key`:                   {edit("z", "new")},
		`post "" cannot be edited`:                                                   {edit("", "new")},
		"the edit of a has the key e, which only a post can have":                    {keyed},
		"post b has a target, which only an edit can have":                           {targeted},
		`it is of the kind "", neither post nor edit`:                                {{Key: "b"}},
	} {
		refused(t, s, store.Batch{Event: "e1", At: morning, Entries: notes(1, 2), Out: outs}, want)
	}
	same(t, "all", dump(t, s), before)
}

// TestDrop: what is out of date leaves the outbox without a trace.
func TestDrop(t *testing.T) {
	s := inMemory(t)
	commit(t, s, store.Batch{Out: []store.Out{post("a"), post("b"), edit("b", "later")}})
	do(t, s.Tried(1, morning), s.Drop(1), s.Drop(3))
	wantPending(t, s, "2:b")
	if err := s.Drop(1); !errors.Is(err, store.ErrNotPending) {
		t.Errorf("dropping it twice: %v", err)
	}
	if n := must(s.ParkedCount())(t); n != 0 {
		t.Errorf("%d are parked", n)
	}
	if must(s.HasPost("a"))(t) {
		t.Error("there is a post that was dropped")
	}
	do(t, s.Check())
	commit(t, s, store.Batch{Out: []store.Out{edit("b", "again")}})
	wantPending(t, s, "2:b 4:b=again")
}

func TestPendingAfter(t *testing.T) {
	s := inMemory(t)
	commit(t, s, store.Batch{Out: []store.Out{post("a"), post("b")}})
	commit(t, s, store.Batch{Out: []store.Out{post("c")}})
	for seq, want := range []int{3, 2, 1, 0} {
		if n := len(must(s.PendingAfter(uint64(seq)))(t)); n != want {
			t.Errorf("%d after number %d, want %d", n, seq, want)
		}
	}
}

// TestPosted: of a post that was made its numbers stay in the outbox.
func TestPosted(t *testing.T) {
	s := inMemory(t)
	l := post("list~2")
	l.Offer = 10
	commit(t, s, store.Batch{Out: []store.Out{post("list"), l}})
	do(t, s.Tried(2, morning), s.Posted(2, "p2"), s.Posted(2, "p2"))
	wantPending(t, s, "1:list 2:list=")
	if o := must(s.Pending())(t)[1]; o.Kind != store.Edit || o.Offer != 10 || !o.First.Equal(morning) {
		t.Errorf("pending is %+v", o)
	}
	if id, ok, err := s.PostID("list"); id != "p2" || !ok || err != nil {
		t.Errorf("the post is %q, %v, %v", id, ok, err)
	}
	commit(t, s, store.Batch{Out: []store.Out{edit("list", "ticked")}}) // does not replace them
	wantPending(t, s, "1:list 2:list= 3:list=ticked")
	do(t, s.Check(), s.Delivered(2, "p2"), s.Check())
	if err := s.Posted(2, "p2"); !errors.Is(err, store.ErrNotPending) {
		t.Errorf("after its delivery: %v", err)
	}
}
