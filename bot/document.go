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
	seq, hash, err := do.store.Head()
	if err != nil {
		return err
	}
	picture, err := chart.Run(run, do.bench.Policy.Zone, fitOf(run)...)
	if err != nil && !errors.Is(err, chart.ErrNothing) {
		do.log.Error("a picture could not be drawn", "name", id, "error", err)
	}
	pdf, err := paper.Record(paper.RecordInput{
		Station: do.station,
		Head:    paper.Head{Seq: seq, Hash: hash.String()},
		Run:     id, Entries: entries, Chart: picture,
	})
	if err != nil {
		return fmt.Errorf("the record of %s: %w", id, err)
	}
	o := do.reply(do.speak.Record(run))
	o.File, o.FileName = pdf, id.String()+".pdf"
	do.put(o)
	return nil
}
