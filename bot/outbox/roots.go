package outbox

import (
	"context"
	"fmt"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/retry"
	"benchbell/core"
)

// An ask is a question to the engine for a new card of a run.
type ask struct {
	run      core.RunID
	root     string // id of the card that is gone; empty if none is known
	since    time.Time
	flying   bool // somebody is at it
	told     bool // the engine has handled it
	answered bool // and what is in the outbox since was read
}

// pendingPost returns the task of a post, by its base key, that is still to be
// made.
func (s *Sender) pendingPost(base string) *task {
	for _, t := range s.lanes[runLane(base)] {
		if t.stage == unsent && t.Key != "" && chat.BaseKey(t.Key) == base {
			return t
		}
	}
	return nil
}

// postID returns the id of the newest copy of a post, empty if there is none.
func (s *Sender) postID(base string) (string, error) {
	if id, ok := s.posted[base]; ok {
		return id, nil
	}
	id, _, err := s.store.PostID(base)
	return id, err
}

// address returns where a message goes now, or false if it has to wait.
func (s *Sender) address(t *task) (to chat.To, ok bool) {
	to = chat.To{Person: t.Person, Channel: t.Channel}
	switch {
	case t.way == directly:
		return chat.To{Person: t.Fallback}, true
	case t.way == outside:
		return to, true
	case t.Thread == "":
		if !s.gone[t.Root] {
			to.Root = t.Root
		}
		return to, true
	}
	now := time.Now()
	if card := s.pendingPost(t.Thread); card != nil {
		if card.aside || t.overtakes(now) {
			return to, true
		}
		t.hold(s.patienceOf(t, now))
		return to, false
	}
	root, err := s.postID(t.Thread)
	if err != nil {
		return to, !s.unread(t, err, func(since time.Time) time.Time { return s.patienceOf(t, since) })
	}
	t.misread = streak{}
	if root != "" && !s.gone[root] {
		to.Root = root
		return to, true
	}
	a := s.lostCard(t.Thread, root)
	if a == nil || a.answered {
		return to, true // the thread is gone for good
	}
	until := s.patienceOf(t, a.since)
	if !now.Before(until) {
		return to, true
	}
	t.hold(until)
	return to, false
}

// patienceOf returns until when a message waits for a card, or for the store to
// say which it is.
func (s *Sender) patienceOf(t *task, since time.Time) time.Time {
	if t.class == bell {
		return t.born.Add(bellPatience)
	}
	return since.Add(rootPatience)
}

// lostThread is called when the chat server says that the thread of a message
// is not there.
func (s *Sender) lostThread(t *task) {
	t.until = time.Time{}
	if t.Thread == "" {
		if t.Root == "" || s.gone[t.Root] { // it was in no thread
			t.aside, t.until = true, time.Now().Add(retry.LongestPause)
			return
		}
		s.gone[t.Root] = true
		return
	}
	if t.sentTo == "" {
		t.aside, t.until = true, time.Now().Add(retry.LongestPause)
		return
	}
	s.gone[t.sentTo] = true
	s.lostCard(t.Thread, t.sentTo)
}

// lostPost is called when the chat server says that a post to be edited is not
// there.
func (s *Sender) lostPost(t *task) {
	if t.sentTo != "" {
		s.gone[t.sentTo] = true
		s.lostCard(t.Target, t.sentTo)
	}
}

// lostCard asks the engine, once, for a new card in place of the post with the
// id root, if that was a run's card. It returns nil if nobody can be asked.
func (s *Sender) lostCard(base, root string) *ask {
	run, ok := chat.RunOfKey(base)
	if !ok || !isCard(base) || s.opt.Tell == nil {
		return nil
	}
	a := s.asks[run]
	if a == nil || a.root != root {
		a = &ask{run: run, root: root, since: time.Now()}
		s.asks[run] = a
	}
	return a
}

// tell brings an ask to the engine, which has put a card in the outbox when it
// returns, if there is to be one.
func (s *Sender) tell(ctx context.Context, a *ask) error {
	return s.opt.Tell(ctx, chat.Event{
		ID: fmt.Sprintf("card gone/%s/%s", a.run, a.root), At: s.now(),
		What: chat.CardGone{Run: a.run, Root: a.root},
	})
}

// askBeside brings the asks to the engine, each until it takes it.
func (s *Sender) askBeside(ctx context.Context) {
	for _, a := range s.asks {
		if a.flying {
			continue
		}
		a.flying = true
		s.beside(ctx, func() func() {
			var pause retry.Backoff
			for {
				err := s.tell(ctx, a)
				if err == nil {
					return func() {
						s.down.Over("ask", "deleted card replaced")
						a.told = true
						s.Signal.Set()
					}
				}
				if ctx.Err() == nil {
					s.down.Failed("ask", "cannot replace a deleted card yet", err, "run", a.run)
				}
				if retry.Pause(ctx, pause.Next(0)) != nil {
					return func() {}
				}
			}
		})
	}
}

// answerAsks brings the asks to the engine, once, and reads the answers. It
// reports whether there were any.
func (s *Sender) answerAsks(ctx context.Context) (asked bool, err error) {
	for _, a := range s.asks {
		if a.flying {
			continue
		}
		if err := s.tell(ctx, a); err != nil {
			return false, err
		}
		a.flying, a.told, asked = true, true, true
	}
	if asked {
		err = s.reload()
	}
	return asked, err
}
