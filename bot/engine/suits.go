package engine

import (
	"errors"
	"strings"

	"benchbell/bot/ledger"
	"benchbell/commands"
	"benchbell/core"
)

// open begins a run.
func (t *turn) open(w core.Open) error {
	file, err := t.findSuit(w.Suit)
	if err != nil {
		return err
	}
	standing := file.Standing(t.bench.Policy, t.bench.Day(t.ev.At))
	facts, err := t.bench.Open(w, file.Suit, standing, t.ev.Who)
	if refusal, is := errors.AsType[*core.Refusal](err); is && refusal.Why == core.ManometerUnsaid {
		refusal.Choices = t.bench.InCalibration(t.ev.At)
	}
	if err != nil {
		return err
	}
	id, err := t.store.NextRun()
	if err != nil {
		return err
	}
	id = max(id, t.unknown+1)
	t.run, t.after, t.hasRun = core.Run{ID: id, Suit: file.Suit}, core.Run{ID: id, Suit: file.Suit}, true
	if err := t.record(facts); err != nil {
		return err
	}
	if t.ev.Where.Direct {
		t.enqueue(t.whereSaid(commands.OpenInThread(t.run)))
	}
	return nil
}

// aboutSuit records something about a suit outside a run.
func (t *turn) aboutSuit(want core.Intent) error {
	typed, fact, err := core.SuitFact(want, t.ev.At, t.bench.Policy.Zone)
	if err != nil {
		return err
	}
	file, err := t.findSuit(typed)
	if err != nil {
		return err
	}
	switch w := want.(type) {
	case core.Retire, core.Reinstate:
		if !t.isOfficer(t.ev.Who) {
			return &core.Refusal{Why: core.NotAnOfficer, Suit: file.Suit.Tag, Choices: t.officerNames()}
		}
	case core.NoteRepaired:
		if err := file.WhichRepaired(w); err != nil {
			return err
		}
	}
	if fact, err = file.Decide(fact); err != nil {
		return err
	}
	t.enterSuitFact(file, fact)
	return nil
}

// enterSuitFact enters a fact of a suit's life outside a run, and answers with
// what the suit may be used for now.
func (t *turn) enterSuitFact(file core.File, fact core.Fact) {
	entry := core.Entry{At: t.ev.At, By: t.ev.Who, Event: t.cause(), Suit: file.Suit.Tag, Fact: fact}
	t.entries = append(t.entries, entry)
	file = file.Apply(entry)
	t.changed[file.Suit.Tag] = file
	t.answer(t.speak.Suit(file.Suit.Tag, file.Standing(t.bench.Policy, t.bench.Day(t.ev.At)), t.ev.At))
}

// release clears what waits for an officer's word.
func (t *turn) release(w core.Release) error {
	file, err := t.findSuit(w.Suit)
	if err != nil {
		return err
	}
	if !t.isOfficer(t.ev.Who) {
		return &core.Refusal{Why: core.NotAnOfficer, Suit: file.Suit.Tag, Choices: t.officerNames()}
	}
	fact, err := file.Release(t.bench.Policy)
	if err == nil {
		t.enterSuitFact(file, fact)
	}
	return err
}

// file reads a suit's own entries.
func (e *Engine) file(tag string) (core.File, error) {
	entries, err := e.store.OfSuit(tag)
	if err != nil {
		return core.File{}, err
	}
	return ledger.FileOf(entries), nil
}

// findSuit looks a suit up by its tag as somebody typed it.
func (t *turn) findSuit(typed string) (core.File, error) {
	tag, ok, err := t.store.SuitTag(typed)
	if err != nil {
		return core.File{}, err
	}
	if !ok {
		return core.File{}, t.unknownSuit(typed)
	}
	return t.fileNow(tag)
}

// unknownSuit refuses a tag that nothing has, and names those that were perhaps
// meant.
func (t *turn) unknownSuit(typed string) error {
	near, err := t.store.TagsLike(strings.TrimSpace(typed), 4)
	if err != nil {
		return err
	}
	return &core.Refusal{Why: core.UnknownSuit, Suit: typed, Choices: near}
}
