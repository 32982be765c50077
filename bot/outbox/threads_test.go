package outbox

import (
	"context"
	"errors"
	"slices"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/chattest"
	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

func newBell(run core.RunID, key, text string) store.Out {
	o := reply(run, key, text)
	o.Class, o.Fallback, o.Due = store.Bell, "tester", time.Now()
	return o
}

// inThreads runs a test with an engine that answers a lost card by answer.
func inThreads(t *testing.T, answer func(r *round, gone chat.CardGone) error, test func(r *round, told *[]chat.Event)) {
	t.Helper()
	synctest.Test(t, func(t *testing.T) {
		r := &round{t: t, board: new(chattest.Board), log: &chattest.LogBook{T: t}}
		r.disk = &storetest.Disk{Engine: storetest.Memory()}
		told := new([]chat.Event)
		r.opt.Tell = func(_ context.Context, ev chat.Event) error {
			*told = append(*told, ev)
			return answer(r, ev.What.(chat.CardGone))
		}
		r.reopen()
		test(r, told)
	})
}

// anew answers a lost card with a new one.
func anew(r *round, gone chat.CardGone) error {
	key, err := r.store.NextCopy(chat.CardKey(gone.Run))
	if err != nil {
		return err
	}
	return r.store.Commit(&store.Batch{Out: []store.Out{{Kind: store.Post, Class: store.Card, Key: key, Text: "card again"}}})
}

// deleteRoot has the board say that a post is not there.
func (r *round) deleteRoot(id string) {
	r.board.Set(func() {
		r.board.Fault = func(c chattest.Call) error {
			switch {
			case c.To.Root == id:
				return &chat.SendError{Err: errors.New("no such thread"), Outcome: chat.ThreadGone, By: chat.ByServer}
			case c.What == "edit "+id:
				return &chat.SendError{Err: errors.New("no such post"), Outcome: chat.PostGone, By: chat.ByServer}
			}
			return nil
		}
	})
}

// TestNewCard: a run whose card was deleted gets a new one, and what waits goes
// into its thread, also after a restart.
func TestNewCard(t *testing.T) {
	inThreads(t, anew, func(r *round, told *[]chat.Event) {
		r.sends(newCard(1, "card"))
		root := r.post("card").Id
		r.deleteRoot(root)
		r.sends(reply(1, "a1", "first"), newBell(1, "a2", "bell"), reply(1, "a3", "third"))
		r.expect("card", "card again", "first", "bell", "third")
		again := r.post("card again").Id
		for _, text := range []string{"first", "bell", "third"} {
			if to := r.post(text).To; to != (chat.To{Root: again}) {
				t.Errorf("%q went to %+v", text, to)
			}
		}
		if len(*told) != 1 || (*told)[0].What != (chat.CardGone{Run: 1, Root: root}) {
			t.Errorf("the engine was told %+v", *told)
		}
		r.stop()
		r.reopen()
		r.sends(reply(1, "a4", "fourth"), newEdit(1, "card again, later"))
		r.expect("card", "card again, later", "first", "bell", "third", "fourth")
		if len(*told) != 1 {
			t.Errorf("the engine was told %+v", *told)
		}
	})
}

// TestEditOfLostCard: that a card is gone can be found by its edit as well.
func TestEditOfLostCard(t *testing.T) {
	inThreads(t, anew, func(r *round, told *[]chat.Event) {
		r.sends(newCard(1, "card"))
		r.deleteRoot(r.post("card").Id)
		r.sends(newEdit(1, "card, later"))
		r.expect("card", "card again")
		if n := r.pending(); n != 0 || len(*told) != 1 {
			t.Errorf("%d in the outbox; the engine was told %+v", n, *told)
		}
	})
}

// TestStoreRestored: a run of which the store knows no card gets one.
func TestStoreRestored(t *testing.T) {
	inThreads(t, anew, func(r *round, told *[]chat.Event) {
		r.sends(reply(1, "a1", "first"))
		r.expect("card again", "first")
		if to := r.post("first").To; to.Root != r.post("card again").Id {
			t.Errorf("it went to %+v", to)
		}
		if (*told)[0].What != (chat.CardGone{Run: 1}) {
			t.Errorf("the engine was told %+v", *told)
		}
	})
}

// TestNoNewCard: what belongs to a run that gets no new card, since it is
// closed, is said in the channel, and nobody is asked twice.
func TestNoNewCard(t *testing.T) {
	none := func(*round, chat.CardGone) error { return nil }
	inThreads(t, none, func(r *round, told *[]chat.Event) {
		r.sends(reply(1, "a1", "first"), reply(1, "a2", "second"))
		r.sends(reply(1, "a3", "third"))
		r.expect("first", "second", "third")
		if len(*told) != 1 {
			t.Errorf("the engine was told %+v", *told)
		}
		if to := r.post("first").To; to != (chat.To{}) {
			t.Errorf("it went to %+v", to)
		}
	})
}

// TestEngineBusy: an engine that cannot answer is asked again, and a bell does
// not wait for it.
func TestEngineBusy(t *testing.T) {
	var busy atomic.Bool
	busy.Store(true)
	answer := func(r *round, gone chat.CardGone) error {
		if busy.Load() {
			return errors.New("the disk is full")
		}
		return anew(r, gone)
	}
	inThreads(t, answer, func(r *round, told *[]chat.Event) {
		r.sends(reply(1, "a1", "first"), newBell(1, "a2", "bell"))
		time.Sleep(bellPatience)
		r.expect("bell")
		if to := r.post("bell").To; to != (chat.To{}) {
			t.Errorf("the bell went to %+v", to)
		}
		busy.Store(false)
		time.Sleep(time.Minute / 2)
		r.expect("bell", "card again", "first")
		if to := r.post("first").To; to.Root != r.post("card again").Id {
			t.Errorf("the rest went to %+v", to)
		}
	})
}

// TestSomebodysThread: an answer in a thread that somebody else began, and that
// is gone, is said in its channel.
func TestSomebodysThread(t *testing.T) {
	inThreads(t, anew, func(r *round, told *[]chat.Event) {
		r.deleteRoot("theirs")
		r.sends(store.Out{Kind: store.Post, Key: "a", Channel: "dm", Root: "theirs", Text: "answer"})
		r.expect("answer")
		if to := r.post("answer").To; to != (chat.To{Channel: "dm"}) || len(*told) != 0 {
			t.Errorf("it went to %+v; the engine was told %+v", to, *told)
		}
	})
}

// shutFrom has the board take nothing in the crew channel.
func (r *round) shut() {
	r.board.Set(func() {
		r.board.Fault = func(c chattest.Call) error {
			if c.To.Person == "" {
				return &chat.SendError{Err: errors.New("archived"), Outcome: chat.Shut, By: chat.ByServer}
			}
			return nil
		}
	})
}

// TestChannelShut: while the channel takes nothing a bell is told directly
// after 10 s, whatever stands before it, and the next one at once.
func TestChannelShut(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(newCard(1, "card"))
		r.shut()
		r.sends(reply(1, "a1", "answer"), newBell(1, "a2", "bell"))
		time.Sleep(shutPatience - 1)
		r.expect("card")
		time.Sleep(1 * time.Nanosecond)
		r.expect("card", "bell")
		if to := r.post("bell").To; to != (chat.To{Person: "tester"}) {
			t.Errorf("it went to %+v", to)
		}
		time.Sleep(time.Minute)
		r.sends(newBell(1, "a3", "next bell"))
		time.Sleep(bellPatience)
		r.expect("card", "bell", "next bell")
		r.board.Set(func() { r.board.Fault = nil })
		time.Sleep(retryAside)
		r.expect("card", "answer", "bell", "next bell")
	})
}

const retryAside = 30 * time.Second

// TestBellOvertakes: a bell does not wait for what fails before it.
func TestBellOvertakes(t *testing.T) {
	inRound(t, func(r *round) {
		r.sends(newCard(1, "card"))
		r.board.Set(func() { r.board.Fault = chattest.Only("post a1", chattest.RetryAfter(0)) })
		r.sends(reply(1, "a1", "stuck"))
		r.sends(newBell(1, "a2", "bell"), reply(1, "a3", "after"))
		time.Sleep(bellPatience)
		r.expect("card", "bell")
		time.Sleep(patience) // then it steps aside
		r.expect("card", "bell", "after")
		r.board.Set(func() { r.board.Fault = nil })
		time.Sleep(retryAside)
		r.expect("card", "bell", "after", "stuck")
	})
	// Not even for one whose call does not return.
	inRound(t, func(r *round) {
		r.sends(newCard(1, "card"))
		r.board.Set(func() {
			r.board.During = func(c chattest.Call) {
				if c.What == "post a1" {
					time.Sleep(time.Minute)
				}
			}
		})
		r.sends(reply(1, "a1", "slow"), newBell(1, "a2", "bell"))
		time.Sleep(bellPatience)
		r.expect("card", "bell")
		time.Sleep(time.Minute)
	})
	// Nor for a card.
	inRound(t, func(r *round) {
		r.board.Set(func() { r.board.Fault = chattest.Only("post "+chat.CardKey(1), chattest.RetryAfter(0)) })
		r.sends(newCard(1, "card"), newBell(1, "a2", "bell"))
		time.Sleep(bellPatience)
		r.expect("bell")
	})
}

// TestOrderAfterOutage: what came during a long outage is delivered in order
// when it is over, at whatever moment that is.
func TestOrderAfterOutage(t *testing.T) {
	for length := 2 * time.Minute; length < 4*time.Minute; length += 3 * time.Second {
		inRound(t, func(r *round) {
			r.sends(newCard(1, "card"))
			r.board.Set(func() { r.board.Fault = chattest.Only("post", chattest.RetryAfter(0)) })
			var texts []string
			for n, key := range []string{"a1", "a2", "a3", "a4", "a5"} {
				texts = append(texts, "text of "+key)
				r.sends(reply(1, key, "text of "+key))
				time.Sleep(time.Duration(11*n) * time.Second)
			}
			time.Sleep(length)
			r.board.Set(func() { r.board.Fault = nil })
			time.Sleep(retryAside)
			r.expect(append([]string{"card"}, texts...)...)
			if got := r.board.Texts()[1:]; !slices.Equal(got, texts) {
				t.Errorf("after %v the order is %q", length, got)
			}
		})
	}
}
