package engine

import (
	"errors"
	"slices"

	"benchbell/bot/chat"
	"benchbell/commands"
	"benchbell/core"
)

// edited handles a post whose text was changed: a reading is corrected, words that were
// not understood before are handled now.
func (t *turn) edited(w chat.Edited) error {
	if !t.heard {
		return nil
	}
	if t.wordless() {
		_, err := t.editedAway(w.Post)
		return err
	}
	want, err := commands.Parse(t.text, t.in)
	if err != nil {
		if away, fault := t.editedAway(w.Post); away || fault != nil {
			return fault
		}
		if t.chatter() || t.isCaption(want, err) || !t.ev.Where.Direct && t.in != commands.Thread {
			return nil
		}
		return err
	}
	read, isReading := want.(core.Read)
	if isReading && t.hasRun {
		err := t.onRun(core.Amend{Post: w.Post, Read: read})
		if refusal, is := errors.AsType[*core.Refusal](err); !is || refusal.Why != core.NothingToFix {
			return err
		}
		// It was not taken then. It is true now: an edit starts no clock in the past.
		return t.handleIntent(want)
	}
	done, err := t.didAnything(w.Post, want)
	if err != nil {
		return err
	}
	if done {
		if away, err := t.editedAway(w.Post); away || err != nil {
			return err
		}
		t.answer(commands.EditNotHeard())
		return nil
	}
	return t.handleIntent(want)
}

// didAnything reports whether a post is the cause of something in the journal
// of its run, or of the suit that it now speaks of.
func (t *turn) didAnything(post string, want any) (bool, error) {
	var entries []core.Entry
	if t.hasRun {
		of, err := t.store.OfRun(t.run.ID)
		if err != nil {
			return false, err
		}
		entries = of
	}
	if intent, ok := want.(core.Intent); ok {
		if typed, fact, _ := core.SuitFact(intent, t.ev.At, t.bench.Policy.Zone); fact != nil {
			tag, _, err := t.store.SuitTag(typed)
			if err != nil {
				return false, err
			}
			of, err := t.store.OfSuit(tag)
			if err != nil {
				return false, err
			}
			entries = append(entries, of...)
		}
	}
	return slices.ContainsFunc(entries, func(e core.Entry) bool {
		switch e.Fact.(type) {
		case core.PhotoPosted, core.PhotoLost: // that was the file, not the words
			return false
		}
		return e.Event == post
	}), nil
}
