package bot

import (
	"errors"
	"fmt"

	"benchbell/bot/chart"
	"benchbell/bot/paper"
	"benchbell/core"
)

// askRecord answers with the test record of a run as a PDF, made from the
// journal alone.
func (do *doing) askRecord(w core.AskRecord) error {
	id := w.Run
	if id == 0 {
		if !do.hasRun {
			return do.noRunHere()
		}
		id = do.run.ID
	}
	of, err := do.store.OfRun(id)
	if err != nil {
		return err
	}
	if len(of) == 0 {
		return &core.Refusal{Why: core.UnknownRun, Run: id}
	}
	run := core.Replay(of)
	entries, err := do.store.OfSuit(run.Suit.Tag)
	if err != nil {
		return err
	}
	head, err := do.head()
	if err != nil {
		return err
	}
	picture, err := chart.Run(run, do.bench.Policy.Zone, fitOf(run)...)
	if err != nil && !errors.Is(err, chart.ErrNothing) {
		do.log.Error("a picture could not be drawn", "name", id, "error", err)
	}
	pdf, err := paper.Record(paper.RecordInput{
		Station: do.station,
		Head:    head,
		Run:     id, Entries: entries, Chart: picture,
	})
	return do.document(pdf, id.String(), do.speak.Record(run), err)
}

// head is the last entry of the journal, which a document names.
func (do *doing) head() (paper.Head, error) {
	seq, hash, err := do.store.Head()
	return paper.Head{Seq: seq, Hash: hash.String()}, err
}

// document answers with a PDF.
func (do *doing) document(pdf []byte, name, text string, err error) error {
	if err != nil {
		return fmt.Errorf("the document %s: %w", name, err)
	}
	o := do.reply(text)
	o.File, o.FileName = pdf, fileName(name, ".pdf")
	do.put(o)
	return nil
}

// askLogbook answers with a suit's logbook as a PDF.
func (do *doing) askLogbook(w core.AskLogbook) error {
	file, err := do.findSuit(w.Suit)
	if err != nil {
		return err
	}
	tag := file.Suit.Tag
	entries, err := do.store.OfSuit(tag)
	if err != nil {
		return err
	}
	head, err := do.head()
	if err != nil {
		return err
	}
	picture, err := historyChart(tag, do.tests(entries))
	if err != nil && !errors.Is(err, chart.ErrNothing) {
		do.log.Error("a picture could not be drawn", "name", tag, "error", err)
	}
	pdf, err := paper.Logbook(paper.LogbookInput{
		Station: do.station, Head: head, Day: do.bench.Day(do.ev.At),
		Policy: do.bench.Policy, Methods: do.bench.Methods, Entries: entries, Chart: picture,
	})
	return do.document(pdf, "logbook-"+tag, "Logbook of "+tag+".", err)
}

// askShelf answers with the list for the wall as a PDF: all suits that are not
// retired, with what they may be used for today.
func (do *doing) askShelf() error {
	var suits []core.Summary
	for row, err := range do.store.Rows() {
		if err != nil {
			return err
		}
		if s := summary(row); !s.Retired {
			suits = append(suits, s)
		}
	}
	head, err := do.head()
	if err != nil {
		return err
	}
	day := do.bench.Day(do.ev.At)
	pdf, err := paper.ShelfList(paper.ShelfInput{
		Station: do.station, Head: head, Day: day, Policy: do.bench.Policy, Suits: suits,
	})
	return do.document(pdf, "shelf-"+day.String(), fmt.Sprintf("List for the wall, %s. It is out of date tomorrow.", day), err)
}
