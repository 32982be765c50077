package engine

import (
	"slices"

	"benchbell/bot/chat"
	"benchbell/bot/ledger"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// record enters facts of the run, and says what they have to say.
func (t *turn) record(facts []core.Fact) error {
	if len(facts) == 0 {
		return nil
	}
	before := t.after
	file, err := t.enterOnRun(facts)
	if err != nil {
		return err
	}
	step := commands.Step{
		Before: t.withName(before), After: t.withName(t.after), Facts: facts, At: t.ev.At, By: t.ev.Who,
		Standing: file.Standing(t.bench.Policy, t.bench.Day(t.ev.At)),
	}
	if slices.ContainsFunc(facts, func(f core.Fact) bool { _, judged := f.(core.Judged); return judged }) {
		past, err := t.store.OfSuit(t.run.Suit.Tag)
		if err != nil {
			return err
		}
		step.History = ledger.Tests(t.bench, append(past, t.entries...))
	}
	if before.Phase == "" {
		step.Busy, _ = t.bench.Holder(t.after.Manometer.ID, t.after.ID)
	}
	for _, m := range t.speak.Run(step) {
		t.say(m)
	}
	return nil
}

// enterOnRun enters facts of the run, and returns its suit's file with them.
func (t *turn) enterOnRun(facts []core.Fact) (core.File, error) {
	file, err := t.fileNow(t.run.Suit.Tag)
	if err != nil {
		return core.File{}, err
	}
	for _, fact := range facts {
		entry := core.Entry{At: t.ev.At, By: t.ev.Who, Event: t.cause(), Suit: t.run.Suit.Tag, Run: t.run.ID, Fact: fact}
		t.entries = append(t.entries, entry)
		t.after = t.after.Apply(entry)
		file = file.Apply(entry)
	}
	t.changed[t.run.Suit.Tag] = file
	return file, nil
}

// fileNow returns a suit's file with what this event has entered so far.
func (t *turn) fileNow(tag string) (core.File, error) {
	if file, ok := t.changed[tag]; ok {
		return file, nil
	}
	if file, ok := t.files[tag]; ok {
		return file, nil
	}
	return t.Engine.file(tag)
}

// say puts a message of the run in the outbox. What is on screen already is
// left out.
func (t *turn) say(m commands.Message) {
	if m.Text == "" {
		return
	}
	run := t.after
	switch m.Dest {
	case commands.ToAsker:
		t.answer(m.Text)
	case commands.ToRun:
		o := store.Out{Thread: chat.CardKey(run.ID), Text: m.Text, Offer: m.Offer}
		if _, timed := t.ev.What.(chat.Woke); timed {
			o.Class, o.Due, o.Fallback = store.Bell, t.ev.At, run.Tester.ID
		}
		t.enqueue(o)
	case commands.ToVerdict:
		key := chat.VerdictKey(run.ID, m.N)
		if !m.New {
			t.refresh(key, m.Text)
			return
		}
		o := store.Out{Class: store.Verdict, Key: key, Thread: chat.CardKey(run.ID), Text: m.Text, Fallback: run.Tester.ID}
		if m.Chart {
			o.Doc = t.doc(chat.Doc{Kind: chat.ChartDoc, Run: run.ID})
		}
		t.enqueue(o)
	case commands.ToEnd:
		if !m.New {
			t.refresh(chat.EndKey(run.ID), m.Text)
			return
		}
		t.enqueue(store.Out{Class: store.Verdict, Key: chat.EndKey(run.ID), Fallback: run.Tester.ID, Thread: chat.CardKey(run.ID), Text: m.Text})
	case commands.ToOfficers:
		t.tellOfficers(m.Text, m.Known)
	case commands.ToCrew:
		t.enqueue(store.Out{Class: store.Notice, Text: m.Text})
	case commands.ToCard:
		if t.run.Phase == "" {
			// The card comes before everything else in its thread.
			card := store.Out{Class: store.Card, Key: chat.CardKey(run.ID), Fallback: run.Tester.ID, Kind: store.Post, Text: m.Text}
			t.out = append([]store.Out{card}, t.out...)
			return
		}
		t.refresh(chat.CardKey(run.ID), m.Text)
	case commands.ToList:
		key := chat.NumberedKey(run.ID, "list", m.N)
		if m.New {
			t.enqueue(store.Out{Class: store.List, Key: key, Thread: chat.CardKey(run.ID), Text: m.Text, Offer: m.Offer})
			return
		}
		t.refresh(key, m.Text)
	}
}

// withName returns a run whose tester has today's name: it is mentioned by it.
func (t *turn) withName(run core.Run) core.Run {
	run.Tester = t.named(run.Tester)
	return run
}

// refresh edits a post unless the text is on screen already.
func (t *turn) refresh(key, text string) {
	if t.shown[key] != text {
		t.enqueue(store.Out{Kind: store.Edit, Target: key, Text: text})
	}
}
