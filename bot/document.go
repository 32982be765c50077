package bot

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"unicode"

	"benchbell/bot/chart"
	"benchbell/bot/paper"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// documents makes the documents of a station, for who asks in chat and for
// "benchbell export" alike: of the same journal, both get the same bytes.
type documents struct {
	store   *store.Store
	station paper.Station
	format  paper.Format
	bench   core.Bench // its methods and policy
	log     *slog.Logger
}

// document is a PDF under the name that its file has.
type document struct {
	name string
	pdf  []byte
}

func newDocuments(st *store.Store, cfg Config, log *slog.Logger) documents {
	return documents{
		store: st, log: log,
		station: paper.Station{Name: cfg.Name, Address: cfg.Address, Zone: cfg.Policy.Zone}, format: cfg.Paper,
		bench: core.Bench{Methods: cfg.methods(), Policy: cfg.Policy},
	}
}

// record makes the test record of a run, from the journal alone.
func (d documents) record(id core.RunID) (document, core.Run, error) {
	of, err := d.store.OfRun(id)
	if err != nil {
		return document{}, core.Run{}, err
	}
	if len(of) == 0 {
		return document{}, core.Run{}, &core.Refusal{Why: core.UnknownRun, Run: id}
	}
	run := core.Replay(of)
	entries, err := d.store.OfSuit(run.Suit.Tag)
	if err != nil {
		return document{}, run, err
	}
	head, err := d.head()
	if err != nil {
		return document{}, run, err
	}
	picture, err := chart.Run(run, d.bench.Policy.Zone, fitOf(run)...)
	pdf, err := paper.Record(paper.RecordInput{
		Station: d.station, Head: head, Format: d.format,
		Run: id, Entries: entries, Chart: d.drawn(id.String(), picture, err),
	})
	return named(id.String(), pdf, err), run, err
}

// logbook makes the logbook of a suit, with its standing on a day.
func (d documents) logbook(tag string, day core.Date) (document, error) {
	entries, err := d.store.OfSuit(tag)
	if err != nil {
		return document{}, err
	}
	head, err := d.head()
	if err != nil {
		return document{}, err
	}
	picture, err := historyChart(tag, testsIn(d.bench, entries))
	pdf, err := paper.Logbook(paper.LogbookInput{
		Station: d.station, Head: head, Format: d.format, Day: day,
		Policy: d.bench.Policy, Methods: d.bench.Methods, Entries: entries, Chart: d.drawn(tag, picture, err),
	})
	return named("logbook-"+tag, pdf, err), err
}

// shelf makes the list for the wall: all suits, with what they may be used for
// on a day.
func (d documents) shelf(day core.Date) (document, error) {
	var suits []core.Summary
	for row, err := range d.store.Rows() {
		if err != nil {
			return document{}, err
		}
		suits = append(suits, summary(row))
	}
	head, err := d.head()
	if err != nil {
		return document{}, err
	}
	pdf, err := paper.ShelfList(paper.ShelfInput{
		Station: d.station, Head: head, Format: d.format, Day: day, Policy: d.bench.Policy, Suits: suits,
	})
	return named("shelf-"+day.String(), pdf, err), err
}

// head is the last entry of the journal, which a document names.
func (d documents) head() (paper.Head, error) {
	seq, hash, err := d.store.Head()
	return paper.Head{Seq: seq, Hash: hash.String()}, err
}

// drawn is a picture that is to go into a document, or nothing: a document is
// not held up by one that cannot be drawn.
func (d documents) drawn(name string, picture []byte, err error) []byte {
	if err == nil {
		return picture
	}
	if !errors.Is(err, chart.ErrNothing) {
		d.log.Error("a picture could not be drawn", "name", name, "error", err)
	}
	return nil
}

func named(name string, pdf []byte, err error) document {
	if err != nil {
		return document{}
	}
	return document{fileName(name) + ".pdf", pdf}
}

// fileName makes a name that every file system takes of one that may have
// anything in it: letters, digits, hyphens, underscores and points stay.
func fileName(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("-_.", r) {
			return r
		}
		return '-'
	}, name)
}

// askRecord answers with the test record of a run.
func (do *doing) askRecord(w core.AskRecord) error {
	id := w.Run
	if id == 0 {
		if !do.hasRun {
			return &commands.Misunderstood{Text: do.text, Say: "which run? A suit's history names them", Try: "history …"}
		}
		id = do.run.ID
	}
	made, run, err := do.documents.record(id)
	if err != nil {
		return err
	}
	do.hand(made, do.speak.Record(run))
	return nil
}

// askLogbook answers with a suit's logbook.
func (do *doing) askLogbook(w core.AskLogbook) error {
	file, err := do.findSuit(w.Suit)
	if err != nil {
		return err
	}
	made, err := do.documents.logbook(file.Suit.Tag, do.bench.Day(do.ev.At))
	if err != nil {
		return err
	}
	do.hand(made, "Logbook of "+file.Suit.Tag+".")
	return nil
}

// askShelf answers with the list for the wall.
func (do *doing) askShelf() error {
	day := do.bench.Day(do.ev.At)
	made, err := do.documents.shelf(day)
	if err != nil {
		return err
	}
	do.hand(made, fmt.Sprintf("List for the wall, %s. It is out of date tomorrow.", day))
	return nil
}

// hand answers with a document.
func (do *doing) hand(made document, text string) {
	o := do.reply(text)
	o.File, o.FileName = made.pdf, made.name
	do.put(o)
}
