package engine

import (
	"fmt"

	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// Documents are named here, and made when the message that has them is delivered.

// doc names a document or a picture, made of the journal as it is once this event is
// committed.
func (t *turn) doc(kind, of string) string {
	return fmt.Sprintf("%s/%s@%d", kind, of, t.lastSeq+uint64(len(t.entries)))
}

// askRecord answers with the test record of a run.
func (t *turn) askRecord(w core.AskRecord) error {
	id := w.Run
	if id == 0 {
		if !t.hasRun {
			return &commands.Misunderstood{Text: t.text, Say: "which run? A suit's history names them", Try: "history …"}
		}
		id = t.run.ID
	}
	run, ok := t.run, t.hasRun && t.run.ID == id
	if !ok {
		entries, err := t.store.OfRun(id)
		if err != nil {
			return err
		}
		if len(entries) == 0 {
			return &core.Refusal{Why: core.UnknownRun, Run: id}
		}
		run = core.Replay(entries)
	}
	t.hand("record", id.String(), t.speak.Record(run))
	return nil
}

// askLogbook answers with a suit's logbook.
func (t *turn) askLogbook(w core.AskLogbook) error {
	file, err := t.findSuit(w.Suit)
	if err != nil {
		return err
	}
	tag := file.Suit.Tag
	t.hand("logbook", tag+"/"+t.bench.Day(t.ev.At).String(), commands.Logbook(tag))
	return nil
}

// askShelf answers with the list for the wall.
func (t *turn) askShelf() error {
	day := t.bench.Day(t.ev.At)
	t.hand("shelf", day.String(), commands.ShelfList(day))
	return nil
}

// hand answers with a document.
func (t *turn) hand(kind, of, text string) {
	o := t.reply(text)
	o.Class, o.Doc = store.Answer, t.doc(kind, of)
	t.enqueue(o)
}
