package engine

import (
	"slices"

	"benchbell/bot/chat"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// Threads are data: a message knows its run, and the run's card, the first post of
// its thread, can be made anew.

// wakeRelisted begins the wake keys of runs whose list was posted again: a tap that is
// not under the new list says nothing of a tick from before it.
const wakeRelisted = "relisted/"

// ofRun reports whether a post's key is that of a post of a run.
func ofRun(key string, run core.RunID) bool {
	id, ok := chat.RunOfKey(key)
	return ok && id == run
}

// cardGone gives a run a new thread: its card is posted anew, with the list that
// stands open. A closed run gets none, since nobody waits for it.
func (t *turn) cardGone(w chat.CardGone) error {
	run, open := t.bench.Runs[w.Run]
	if !open {
		return nil
	}
	root, known, err := t.store.PostID(chat.CardKey(w.Run))
	if err != nil || known && root != w.Root {
		return err // another card stands there by now
	}
	t.run, t.after, t.hasRun, t.in, t.heard = run, run, true, commands.Thread, true
	run = t.withName(run)
	key, err := t.store.NextCopy(chat.CardKey(run.ID))
	if err != nil {
		return err
	}
	thread := chat.CardKey(run.ID)
	t.enqueue(store.Out{Class: store.Card, Key: key, Fallback: run.Tester.ID, Text: t.speak.Card(run, t.ev.At)})
	t.enqueue(store.Out{Class: store.Answer, Thread: thread, Text: commands.ThreadAnew(run)})
	if run.List() == nil {
		return nil
	}
	return t.relist()
}

// relist posts the run's open list again.
func (t *turn) relist() error {
	run := t.withName(t.run)
	list := commands.ListAgain(run)
	key, err := t.store.NextCopy(chat.ListKey(run))
	if err != nil {
		return err
	}
	t.enqueue(store.Out{Class: store.List, Key: key, Thread: chat.CardKey(run.ID), Text: list.Text, Offer: list.Offer})
	t.wake(wakeRelisted+run.ID.String(), t.ev.At)
	return nil
}

// deleted handles a post that somebody deleted. What it brought stays on record:
// its author is told so, and how that is corrected.
func (t *turn) deleted(w chat.Deleted) error {
	if root := t.ev.Where.Root; root != "" {
		if _, err := t.takeRunOf(root); err != nil {
			return err
		}
	}
	if err := t.takeRunByCause(w.Post); err != nil {
		return err
	}
	if !t.hasRun {
		return nil
	}
	facts, err := t.broughtBy(w.Post)
	if err != nil || len(facts) == 0 {
		return err
	}
	t.in, t.heard = commands.Thread, true
	if text := commands.Deleted(t.run, facts); text != "" {
		t.answer(text)
	}
	return nil
}

// broughtBy returns the facts of the run that a post brought.
func (t *turn) broughtBy(post string) (facts []core.Fact, err error) {
	entries, err := t.store.OfRun(t.run.ID)
	if err != nil {
		return nil, err
	}
	for _, e := range entries {
		if e.Event == post {
			facts = append(facts, e.Fact)
		}
	}
	return facts, nil
}

// editedAway answers an edit of a post that brought facts into words that correct
// nothing. It reports whether the post was such a one.
func (t *turn) editedAway(post string) (bool, error) {
	if !t.hasRun {
		return false, nil
	}
	facts, err := t.broughtBy(post)
	if err != nil {
		return false, err
	}
	facts = slices.DeleteFunc(facts, func(f core.Fact) bool { _, is := f.(core.PhotoPosted); return is })
	text := commands.EditedAway(t.run, facts)
	if len(facts) == 0 || text == "" {
		return false, nil
	}
	t.answer(text)
	return true, nil
}
