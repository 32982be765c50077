package outbox

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/chattest"
	"benchbell/bot/retry"
	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

// TestTimed: a timed message says that it is late, and is dropped if a later
// one of its thread waits.
func TestTimed(t *testing.T) {
	inRound(t, func(r *round) {
		r.mail.opt.Late = func(text string, due, now time.Time) string {
			return fmt.Sprintf("%s, late by %v", text, now.Sub(due))
		}
		r.sends(newCard(1, "card"), newCard(2, "card 2"))
		r.board.Set(func() { r.board.Fault = chattest.Only("post a", chattest.RetryAfter(40*time.Second)) })
		r.sends(newBell(1, "a1", "30 s left"), newBell(2, "a2", "other bell"))
		time.Sleep(30 * time.Second)
		r.sends(newBell(1, "a3", "bell"), reply(1, "a4", "untimed"))
		time.Sleep(11 * time.Second)
		r.board.Set(func() { r.board.Fault = nil })
		time.Sleep(time.Minute)
		r.expect("card", "card 2", "other bell, late by 1m20s", "bell, late by 43s", "untimed")
		if n := r.log.Count("a later one takes its place"); n != 1 || r.log.Count("level=ERROR") > 0 {
			t.Errorf("that one was dropped stands in the log %d times", n)
		}
		if n := r.pending(); n != 0 {
			t.Errorf("%d are still in the outbox", n)
		}
		// Soon enough is not late, and two of one moment are both said.
		r.sends(newBell(1, "b1", "one"), newBell(1, "b2", "two"))
		r.expect("card", "card 2", "other bell, late by 1m20s", "bell, late by 43s", "untimed", "one", "two")
	})
}

// TestOlderBellDropped: a bell that was overtaken by a newer one of its thread is
// not said after it, by this program or by one that is started later.
func TestOlderBellDropped(t *testing.T) {
	for name, restart := range map[string]bool{"goes on": false, "starts anew": true} {
		t.Run(name, func(t *testing.T) {
			inRound(t, func(r *round) {
				r.sends(newCard(1, "card"), newCard(2, "card 2"))
				r.board.Set(func() { r.board.Fault = chattest.Only("post a", chattest.RetryAfter(time.Minute)) })
				r.sends(newBell(1, "a1", "expansion over"), newBell(2, "a2", "other bell"))
				time.Sleep(10 * time.Second)
				r.board.Set(func() { r.board.Fault = nil })
				r.sends(newBell(1, "b1", "post a reading"))
				time.Sleep(bellPatience)
				r.expect("card", "card 2", "post a reading")
				if restart {
					r.stop()
					r.reopen()
				}
				time.Sleep(5 * time.Minute)
				r.expect("card", "card 2", "post a reading", "other bell")
				if n := r.log.Count("a later one takes its place"); n != 1 || r.pending() != 0 {
					t.Errorf("that one was dropped stands in the log %d times, %d are in the outbox", n, r.pending())
				}
			})
		})
	}
	// Nor if it was under way when the newer one was said.
	inRound(t, func(r *round) {
		r.sends(newCard(1, "card"))
		r.board.Set(func() {
			r.board.During = func(c chattest.Call) {
				if c.What == "post a1" {
					time.Sleep(20 * time.Second)
				}
			}
			r.board.Fault = chattest.Only("post a1", chattest.RetryAfter(0))
		})
		r.sends(newBell(1, "a1", "expansion over"))
		time.Sleep(time.Second)
		r.sends(newBell(1, "b1", "post a reading"))
		time.Sleep(bellPatience)
		r.board.Set(func() { r.board.Fault = nil })
		time.Sleep(time.Minute)
		r.board.Set(func() { r.board.Fault, r.board.During = nil, nil })
		time.Sleep(time.Minute)
		if n := len(r.board.Called("post a1")); n != 1 || r.pending() != 0 {
			t.Errorf("the older was tried %d times, %d are in the outbox", n, r.pending())
		}
	})
}

// TestDocuments: a document is made by a worker, once; one that cannot be made
// holds nothing up.
func TestDocuments(t *testing.T) {
	inRound(t, func(r *round) {
		made := 0
		r.mail.opt.Make = func(doc string) (string, []byte, error) {
			made++
			switch doc {
			case "panics":
				panic("a hole in the page")
			case "fails":
				return "R-0001.pdf", nil, errors.New("no ink")
			case "nothing":
				return "", nil, nil
			}
			return doc + ".pdf", []byte("pdf"), nil
		}
		r.sends(newCard(1, "card"))
		failed := false
		r.board.Set(func() {
			r.board.Fault = func(c chattest.Call) error {
				if c.What == "post good" && !failed {
					failed = true
					return chattest.RetryAfter(0)
				}
				return nil
			}
		})
		for _, doc := range []string{"good", "panics", "fails", "nothing"} {
			o := reply(1, doc, doc+"\n@tester")
			o.Doc = doc
			r.sends(o)
		}
		time.Sleep(time.Minute)
		r.expect("card", "good\n@tester", "panics\npanics could not be made.\n@tester", "fails\nR-0001.pdf could not be made.\n@tester", "nothing\n@tester")
		for what, want := range map[string]string{"post good": "good.pdf", "post panics": "", "post fails": "", "post nothing": "nothing"} {
			calls := r.board.Called(what)
			if got := calls[len(calls)-1].File; got != want {
				t.Errorf("%s has the file %q, want %q", what, got, want)
			}
		}
		if made != 4 {
			t.Errorf("%d documents were made", made)
		}
		if n := r.log.Count("level=ERROR"); n != 2 || r.log.Count("a hole in the page") != 1 {
			t.Errorf("%d errors in the log", n)
		}
	})
}

// TestWorkers: files, documents and taps never keep a bell waiting, nor do many
// messages whose calls do not return.
func TestWorkers(t *testing.T) {
	for name, out := range map[string]store.Out{
		"files":    {File: []byte("png"), FileName: "x.png"},
		"messages": {},
	} {
		t.Run(name, func(t *testing.T) {
			inRound(t, func(r *round) {
				var busy, most atomic.Int32
				r.board.During = func(c chattest.Call) {
					if strings.HasPrefix(c.What, "post slow") {
						most.Store(max(most.Load(), busy.Add(1)))
						time.Sleep(time.Minute)
						busy.Add(-1)
					}
				}
				for n := range 10 {
					r.sends(newCard(core.RunID(n+1), fmt.Sprint("card ", n)))
				}
				for n := range 10 {
					o := reply(core.RunID(n+1), fmt.Sprint("slow", n), fmt.Sprint("slow ", n))
					o.File, o.FileName = out.File, out.FileName
					r.sends(o)
				}
				r.board.Set(func() { r.board.Posts = nil })
				r.sends(newBell(3, "bell", "bell"))
				time.Sleep(bellPatience)
				r.expect("bell")
				want := int32(workers - forBells)
				if out.File != nil {
					want = slowWorkers
				}
				if got := most.Load(); got != want {
					t.Errorf("%d at a time, want %d", got, want)
				}
				time.Sleep(10 * time.Minute)
			})
		})
	}
}

// TestTapsHoldUpNobody: what follows a list does not wait for its taps.
func TestTapsHoldUpNobody(t *testing.T) {
	inRound(t, func(r *round) {
		r.board.During = func(c chattest.Call) {
			if strings.HasPrefix(c.What, "offer") {
				time.Sleep(time.Minute)
			}
		}
		l := reply(1, "R-0001/list/1", "list")
		l.Class, l.Offer = store.List, 10
		r.sends(newCard(1, "card"), l, store.Out{Kind: store.Edit, Target: l.Key, Text: "list, later"}, reply(1, "a", "next"))
		r.expect("card", "list, later", "next")
		if _, ok, err := r.store.PostID(l.Key); !ok || err != nil {
			t.Errorf("the store does not know the list yet: %v", err)
		}
		time.Sleep(time.Minute)
		synctest.Wait()
		if n := r.post("list, later").Numbers; n != 10 {
			t.Errorf("%d numbers under it", n)
		}
	})
}

// doubtful is an engine that reports failures of changes that it made.
type doubtful struct {
	store.Engine
	fail atomic.Bool
}

func (d *doubtful) Update(fn func(store.Tx) error) error {
	err := d.Engine.Update(fn)
	if err == nil && d.fail.Load() {
		return storetest.ErrBroken
	}
	return err
}

// TestInDoubt: a change of which the store does not know whether it was kept is
// made once more, and nothing is posted twice.
func TestInDoubt(t *testing.T) {
	inRound(t, func(r *round) {
		engine := &doubtful{Engine: r.disk.Engine}
		r.stop()
		r.disk.Engine = engine
		r.reopen()
		r.board.After = func(chattest.Call) error { engine.fail.Store(true); return nil }
		if err := r.store.Commit(&store.Batch{Out: []store.Out{newCard(1, "card"), reply(1, "a", "list"), newEdit(1, "card, later")}}); err != nil {
			t.Fatal(err)
		}
		engine.fail.Store(true)
		r.mail.Set()
		for range 20 { // let a change through now and then
			time.Sleep(10 * time.Second)
			engine.fail.Store(false)
			time.Sleep(retryAside)
			engine.fail.Store(true)
		}
		r.expect("card, later", "list")
		for _, what := range []string{"post " + chat.CardKey(1), "post a", "edit"} {
			if n := len(r.board.Called(what)); n != 1 {
				t.Errorf("%s: called %d times", what, n)
			}
		}
		engine.fail.Store(false)
		if n := r.pending(); n != 0 {
			t.Errorf("%d are still in the outbox", n)
		}
		if n := r.log.Count(store.ErrNotPending.Error()); n != 0 {
			t.Errorf("that a mark was there already stands in the log %d times", n)
		}
	})
}

// guarded is an engine that turns a panic into an error, as that on a file does.
type guarded struct{ store.Engine }

func (g guarded) View(fn func(store.Tx) error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("damaged: %v", r)
		}
	}()
	return g.Engine.View(fn)
}

// spoil starts a courier anew on a store of which a key cannot be read.
func (r *round) spoil(key string) {
	r.stop()
	r.disk.Poison.Store(key)
	r.disk = &storetest.Disk{Engine: guarded{r.disk}}
	r.reopen()
}

// TestDamagedKey: what cannot be read holds up only what needs it, and of that
// no bell.
func TestDamagedKey(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(newCard(1, "card"), newCard(2, "card 2"))
		r.spoil(chat.CardKey(1))
		r.sends(reply(1, "a1", "answer"), newBell(1, "a2", "bell"), newEdit(1, "card, later"), newBell(2, "b1", "bell 2"), reply(2, "b2", "answer 2"))
		r.expect("card", "card 2", "bell 2", "answer 2")
		time.Sleep(bellPatience)
		r.expect("card", "card 2", "bell 2", "answer 2", "bell")
		time.Sleep(rootPatience)
		r.expect("card", "card 2", "bell 2", "answer 2", "bell", "answer")
		for _, text := range []string{"bell", "answer"} {
			if to := r.post(text).To; to != (chat.To{}) {
				t.Errorf("%q went to %+v", text, to)
			}
		}
		time.Sleep(time.Hour)
		if n := r.log.Count("the store cannot be read for a message\" "); n != 2 || r.log.Count("outbox: store error") > 0 || r.log.Count("works again") > 0 {
			t.Errorf("it stands in the log %d times, want for the posts and for the edit", n)
		}
		if n := r.pending(); n != 1 {
			t.Errorf("%d in the outbox, want the edit", n)
		}
	})
}

// unlisted is an engine whose pages of the outbox cannot be read for a while.
type unlisted struct {
	store.Engine
	fail atomic.Bool
}

func (u *unlisted) View(fn func(store.Tx) error) error {
	if u.fail.Load() {
		return storetest.ErrBroken
	}
	return u.Engine.View(fn)
}

// TestOutboxUnread: while the outbox cannot be read, what was read before is
// delivered.
func TestOutboxUnread(t *testing.T) {
	inRound(t, func(r *round) {
		engine := &unlisted{Engine: r.disk.Engine}
		r.stop()
		r.disk.Engine = engine
		r.reopen()
		r.board.Set(func() { r.board.Fault = chattest.Only("post a", chattest.RetryAfter(2*time.Second)) })
		r.sends(store.Out{Kind: store.Post, Key: "a", Text: "read before"})
		engine.fail.Store(true)
		r.sends(store.Out{Kind: store.Post, Key: "b", Text: "not read"})
		time.Sleep(time.Second)
		r.board.Set(func() { r.board.Fault = nil })
		time.Sleep(time.Second)
		r.expect("read before")
		time.Sleep(time.Minute)
		engine.fail.Store(false)
		time.Sleep(retry.LongestPause)
		r.expect("read before", "not read")
		if n := r.log.Count("works again"); n != 1 {
			t.Errorf("that it is over stands in the log %d times", n)
		}
	})
}

// TestFullAfterPosting: a disk that is full after a post does not make it be
// posted again, and what was posted is known to the rest of the thread.
func TestFullAfterPosting(t *testing.T) {
	inRound(t, func(r *round) {
		r.board.After = func(chattest.Call) error { r.disk.Full.Store(true); return nil }
		r.sends(newCard(1, "card"), reply(1, "a", "list"))
		time.Sleep(10 * time.Minute)
		r.expect("card")
		r.board.Set(func() { r.board.After = nil })
		r.disk.Full.Store(false)
		time.Sleep(retryAside)
		r.expect("card", "list")
		if n := len(r.board.Called("post " + chat.CardKey(1))); n != 1 {
			t.Errorf("posted %d times", n)
		}
	})
}

// TestToldOfParked: the keeper is told at the start what was put aside.
func TestToldOfParked(t *testing.T) {
	inRound(t, func(r *round) {
		r.board.Fault = chattest.Only("post a", chattest.Never)
		r.sends(store.Out{Kind: store.Post, Key: "a", Text: "bad"})
		r.stop()
		r.reopen()
		if n := r.log.Count(`msg="messages put aside; see benchbell undelivered" count=1`); n != 1 {
			t.Errorf("it stands in the log %d times", n)
		}
	})
}

// TestFlush delivers in the order of the outbox, and asks for cards as well.
func TestFlush(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		r := &round{t: t, board: new(chattest.Board), log: &chattest.LogBook{T: t}}
		r.disk = &storetest.Disk{Engine: storetest.Memory()}
		r.opt.Tell = func(_ context.Context, ev chat.Event) error { return anew(r, ev.What.(chat.CardGone)) }
		r.reopen()
		r.stop()
		mail := New(r.store, r.board, time.Now, r.mail.log, r.opt)
		l := reply(1, "l", "list")
		l.Offer = 3
		if err := r.store.Commit(&store.Batch{Out: []store.Out{l, {Kind: store.Post, Key: "b", Text: "answer"}, newBell(1, "c", "bell")}}); err != nil {
			t.Fatal(err)
		}
		if again, err := mail.Flush(t.Context()); again != 0 || err != nil {
			t.Errorf("again in %v: %v", again, err)
		}
		if got := strings.Join(r.board.Texts(), ", "); got != "answer, card again, list, bell" {
			t.Errorf("the board has %s", got)
		}
		if r.pending() != 0 {
			t.Error("not all is delivered")
		}
	})
}
