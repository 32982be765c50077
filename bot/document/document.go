package document

import (
	"errors"
	"log/slog"
	"strings"
	"unicode"

	"benchbell/bot/chart"
	"benchbell/bot/config"
	"benchbell/bot/ledger"
	"benchbell/bot/paper"
	"benchbell/core"
	"benchbell/store"
)

// documents makes the documents of a station, for who asks in chat and for
// "benchbell export" alike: of the same journal, both get the same bytes.
type Maker struct {
	store   *store.Store
	station paper.Station
	format  paper.Format
	bench   core.Bench // its methods and policy
	log     *slog.Logger
}

// document is a PDF under the name that its file has.
type File struct {
	Name string
	PDF  []byte
}

func NewMaker(st *store.Store, cfg config.Config, log *slog.Logger) Maker {
	return Maker{
		store: st, log: log,
		station: paper.Station{Name: cfg.Name, Address: cfg.Address, Zone: cfg.Policy.Zone}, format: cfg.Paper,
		bench: core.Bench{Methods: cfg.AllMethods(), Policy: cfg.Policy},
	}
}

// record makes the test record of a run, from the journal alone.
func (d Maker) Record(id core.RunID) (File, core.Run, error) {
	of, err := d.store.OfRun(id)
	if err != nil {
		return File{}, core.Run{}, err
	}
	if len(of) == 0 {
		return File{}, core.Run{}, &core.Refusal{Why: core.UnknownRun, Run: id}
	}
	run := core.Replay(of)
	entries, err := d.store.OfSuit(run.Suit.Tag)
	if err != nil {
		return File{}, run, err
	}
	head, err := d.head()
	if err != nil {
		return File{}, run, err
	}
	picture, err := chart.Run(run, d.bench.Policy.Zone, Fit(run)...)
	pdf, err := paper.Record(paper.RecordInput{
		Station: d.station, Head: head, Format: d.format,
		Run: id, Entries: entries, Chart: d.drawn(id.String(), picture, err),
	})
	return named(id.String(), pdf, err), run, err
}

// logbook makes the logbook of a suit, with its standing on a day.
func (d Maker) Logbook(tag string, day core.Date) (File, error) {
	entries, err := d.store.OfSuit(tag)
	if err != nil {
		return File{}, err
	}
	head, err := d.head()
	if err != nil {
		return File{}, err
	}
	picture, err := HistoryChart(tag, Tests(d.bench, entries))
	pdf, err := paper.Logbook(paper.LogbookInput{
		Station: d.station, Head: head, Format: d.format, Day: day,
		Policy: d.bench.Policy, Methods: d.bench.Methods, Entries: entries, Chart: d.drawn(tag, picture, err),
	})
	return named("logbook-"+tag, pdf, err), err
}

// shelf makes the list for the wall: all suits, with what they may be used for
// on a day.
func (d Maker) Shelf(day core.Date) (File, error) {
	var suits []core.Summary
	for row, err := range d.store.Rows() {
		if err != nil {
			return File{}, err
		}
		suits = append(suits, ledger.SummaryOf(row))
	}
	head, err := d.head()
	if err != nil {
		return File{}, err
	}
	pdf, err := paper.ShelfList(paper.ShelfInput{
		Station: d.station, Head: head, Format: d.format, Day: day, Policy: d.bench.Policy, Suits: suits,
	})
	return named("shelf-"+day.String(), pdf, err), err
}

// head is the last entry of the journal, which a document names.
func (d Maker) head() (paper.Head, error) {
	seq, hash, err := d.store.Head()
	return paper.Head{Seq: seq, Hash: hash.String()}, err
}

// drawn is a picture that is to go into a document, or nothing: a document is
// not held up by one that cannot be drawn.
func (d Maker) drawn(name string, picture []byte, err error) []byte {
	if err == nil {
		return picture
	}
	if !errors.Is(err, chart.ErrNothing) {
		d.log.Error("a picture could not be drawn", "name", name, "error", err)
	}
	return nil
}

func named(name string, pdf []byte, err error) File {
	if err != nil {
		return File{}
	}
	return File{FileName(name) + ".pdf", pdf}
}

// fileName makes a name that every file system takes of one that may have
// anything in it: letters, digits, hyphens, underscores and points stay.
func FileName(name string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsLetter(r) || unicode.IsDigit(r) || strings.ContainsRune("-_.", r) {
			return r
		}
		return '-'
	}, name)
}
