package engine

import (
	"fmt"

	"benchbell/bot/document"
	"benchbell/commands"
	"benchbell/core"
)

// askRecord answers with the test record of a run.
func (do *turn) askRecord(w core.AskRecord) error {
	id := w.Run
	if id == 0 {
		if !do.hasRun {
			return &commands.Misunderstood{Text: do.text, Say: "which run? A suit's history names them", Try: "history …"}
		}
		id = do.run.ID
	}
	made, run, err := do.Maker.Record(id)
	if err != nil {
		return err
	}
	do.hand(made, do.speak.Record(run))
	return nil
}

// askLogbook answers with a suit's logbook.
func (do *turn) askLogbook(w core.AskLogbook) error {
	file, err := do.findSuit(w.Suit)
	if err != nil {
		return err
	}
	made, err := do.Maker.Logbook(file.Suit.Tag, do.bench.Day(do.ev.At))
	if err != nil {
		return err
	}
	do.hand(made, "Logbook of "+file.Suit.Tag+".")
	return nil
}

// askShelf answers with the list for the wall.
func (do *turn) askShelf() error {
	day := do.bench.Day(do.ev.At)
	made, err := do.Maker.Shelf(day)
	if err != nil {
		return err
	}
	do.hand(made, fmt.Sprintf("List for the wall, %s. It is out of date tomorrow.", day))
	return nil
}

// hand answers with a document.
func (do *turn) hand(made document.File, text string) {
	o := do.reply(text)
	o.File, o.FileName = made.PDF, made.Name
	do.enqueue(o)
}
