package engine

import (
	"benchbell/bot/chat"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// Documents are named here, and made when the message that has them is delivered.

// doc refers to a document or a picture, made of the journal as it is once this
// event is committed.
func (t *turn) doc(d chat.Doc) string {
	d.Seq = t.lastSeq + uint64(len(t.entries))
	return d.String()
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
	t.hand(chat.Doc{Kind: chat.RecordDoc, Run: id}, t.speak.Record(run))
	return nil
}

// askLogbook answers with a suit's logbook.
func (t *turn) askLogbook(w core.AskLogbook) error {
	file, err := t.findSuit(w.Suit)
	if err != nil {
		return err
	}
	tag := file.Suit.Tag
	t.hand(chat.Doc{Kind: chat.LogbookDoc, Suit: tag, Day: t.bench.Day(t.ev.At)}, commands.Logbook(tag))
	return nil
}

// askShelf answers with the list for the wall.
func (t *turn) askShelf() error {
	day := t.bench.Day(t.ev.At)
	t.hand(chat.Doc{Kind: chat.ShelfDoc, Day: day}, commands.ShelfList(day))
	return nil
}

// hand answers with a document.
func (t *turn) hand(d chat.Doc, text string) {
	o := t.reply(text)
	o.Class, o.Doc = store.Answer, t.doc(d)
	t.enqueue(o)
}
