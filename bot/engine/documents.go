package engine

import (
	"fmt"

	"benchbell/bot/document"
	"benchbell/commands"
	"benchbell/core"
)

// askRecord answers with the test record of a run.
func (t *turn) askRecord(w core.AskRecord) error {
	id := w.Run
	if id == 0 {
		if !t.hasRun {
			return &commands.Misunderstood{Text: t.text, Say: "which run? A suit's history names them", Try: "history …"}
		}
		id = t.run.ID
	}
	made, run, err := t.Maker.Record(id)
	if err != nil {
		return err
	}
	t.hand(made, t.speak.Record(run))
	return nil
}

// askLogbook answers with a suit's logbook.
func (t *turn) askLogbook(w core.AskLogbook) error {
	file, err := t.findSuit(w.Suit)
	if err != nil {
		return err
	}
	made, err := t.Maker.Logbook(file.Suit.Tag, t.bench.Day(t.ev.At))
	if err != nil {
		return err
	}
	t.hand(made, "Logbook of "+file.Suit.Tag+".")
	return nil
}

// askShelf answers with the list for the wall.
func (t *turn) askShelf() error {
	day := t.bench.Day(t.ev.At)
	made, err := t.Maker.Shelf(day)
	if err != nil {
		return err
	}
	t.hand(made, fmt.Sprintf("List for the wall, %s. It is out of date tomorrow.", day))
	return nil
}

// hand answers with a document.
func (t *turn) hand(made document.File, text string) {
	o := t.reply(text)
	o.File, o.FileName = made.PDF, made.Name
	t.enqueue(o)
}
