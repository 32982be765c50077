// Package document makes the documents and pictures of a station, and writes
// exports.
//
// A [Maker] makes whatever a [chat.Doc] refers to, of the journal's entries up to
// the one that the reference names and of nothing else. So a document that is made
// when its message is delivered, or made again years later, is the same to the byte
// as one that is made at once. Packages paper and chart lay it out and draw it.
//
// [Export], [ExportDocuments] and [ExportSuit] write files into a folder: the same
// documents, the register as its CSV files, and the journal.
package document

import (
	"errors"
	"fmt"
	"log/slog"
	"strings"
	"unicode"

	"benchbell/bot/chart"
	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/bot/ledger"
	"benchbell/bot/paper"
	"benchbell/core"
	"benchbell/store"
)

// Maker makes the documents of a station. It only reads the store: several
// goroutines may use it while others commit.
type Maker struct {
	store   *store.Store
	station paper.Station
	format  paper.Format
	bench   core.Bench // its methods and policy
	log     *slog.Logger
}

// NewMaker returns a maker of the documents of a store.
func NewMaker(st *store.Store, cfg config.Config, log *slog.Logger) Maker {
	return Maker{
		store: st, log: log,
		station: paper.Station{Name: cfg.Name, Address: cfg.Address, Zone: cfg.Policy.Zone}, format: cfg.Paper,
		bench: core.Bench{Methods: cfg.AllMethods(), Policy: cfg.Policy},
	}
}

// Make makes the document or the picture that doc refers to, as [chat.Doc] writes
// it, and returns it with the name for its file. A picture with nothing to draw is
// no file and no error.
func (m Maker) Make(doc string) (name string, content []byte, err error) {
	d, err := chat.ParseDoc(doc)
	if err != nil {
		return "", nil, err
	}
	name, content, err = m.make(d)
	switch {
	case errors.Is(err, chart.ErrNothing):
		return "", nil, nil
	case err != nil:
		return "", nil, fmt.Errorf("document %s: %w", doc, err)
	}
	return name, content, nil
}

func (m Maker) make(d chat.Doc) (name string, content []byte, err error) {
	switch d.Kind {
	case chat.RecordDoc:
		content, err = m.record(d.Run, d.Seq)
		return d.Run.String() + ".pdf", content, err
	case chat.LogbookDoc:
		content, err = m.logbook(d.Suit, d.Day, d.Seq)
		return fileName("logbook-"+d.Suit) + ".pdf", content, err
	case chat.ShelfDoc:
		content, err = m.shelf(d.Day, d.Seq)
		return "shelf-" + d.Day.String() + ".pdf", content, err
	case chat.ChartDoc:
		content, err = m.chart(d.Run, d.Seq)
		return d.Run.String() + ".png", content, err
	default: // ParseDoc knows no other
		content, err = m.history(d.Suit, d.Seq)
		return fileName(d.Suit) + ".png", content, err
	}
}

// record makes the test record of a run.
func (m Maker) record(id core.RunID, seq uint64) ([]byte, error) {
	run, err := m.run(id, seq)
	if err != nil {
		return nil, err
	}
	entries, err := m.suit(run.Suit.Tag, seq)
	if err != nil {
		return nil, err
	}
	seal, err := m.seal(seq)
	if err != nil {
		return nil, err
	}
	picture, err := chart.Run(run, m.bench.Policy.Zone, fit(run)...)
	return paper.Record(paper.RecordInput{
		Station: m.station, Head: seal, Format: m.format,
		Run: id, Entries: entries, Chart: m.drawn(id.String(), picture, err),
	})
}

// logbook makes the logbook of a suit, with its standing on a day.
func (m Maker) logbook(tag string, day core.Date, seq uint64) ([]byte, error) {
	entries, err := m.suit(tag, seq)
	if err != nil {
		return nil, err
	}
	seal, err := m.seal(seq)
	if err != nil {
		return nil, err
	}
	picture, err := historyChart(tag, ledger.Tests(m.bench, entries))
	return paper.Logbook(paper.LogbookInput{
		Station: m.station, Head: seal, Format: m.format, Day: day,
		Policy: m.bench.Policy, Methods: m.bench.Methods, Entries: entries, Chart: m.drawn(tag, picture, err),
	})
}

// shelf makes the list for the wall: all suits, with what they may be used for
// on a day.
func (m Maker) shelf(day core.Date, seq uint64) ([]byte, error) {
	suits, err := m.suits(seq)
	if err != nil {
		return nil, err
	}
	seal, err := m.seal(seq)
	if err != nil {
		return nil, err
	}
	return paper.ShelfList(paper.ShelfInput{
		Station: m.station, Head: seal, Format: m.format, Day: day, Policy: m.bench.Policy, Suits: suits,
	})
}

func (m Maker) chart(id core.RunID, seq uint64) ([]byte, error) {
	run, err := m.run(id, seq)
	if err != nil {
		return nil, err
	}
	return chart.Run(run, m.bench.Policy.Zone, fit(run)...)
}

func (m Maker) history(tag string, seq uint64) ([]byte, error) {
	entries, err := m.suit(tag, seq)
	if err != nil {
		return nil, err
	}
	return historyChart(tag, ledger.Tests(m.bench, entries))
}

// run returns a run as it was at an entry of the journal.
func (m Maker) run(id core.RunID, seq uint64) (core.Run, error) {
	entries, err := m.store.OfRun(id)
	if entries = upTo(seq, entries); err == nil && len(entries) == 0 {
		err = fmt.Errorf("the journal up to entry %d has no run %s", seq, id)
	}
	return core.Replay(entries), err
}

// suit returns the entries about a suit up to one of the journal.
func (m Maker) suit(tag string, seq uint64) ([]core.Entry, error) {
	entries, err := m.store.OfSuit(tag)
	if entries = upTo(seq, entries); err == nil && len(entries) == 0 {
		err = fmt.Errorf("the journal up to entry %d has no suit %s", seq, tag)
	}
	return entries, err
}

// upTo returns the entries up to one of the journal.
func upTo(seq uint64, entries []core.Entry) []core.Entry {
	for i, e := range entries {
		if e.Seq > seq {
			return entries[:i]
		}
	}
	return entries
}

// suits returns all suits as they were at an entry of the journal. The rows that
// the store keeps are of now: suits with a later entry are read anew.
func (m Maker) suits(seq uint64) ([]core.Summary, error) {
	var all []core.Summary
	for row, err := range m.store.Rows() {
		if err != nil {
			return nil, err
		}
		all = append(all, ledger.SummaryOf(row))
	}
	// After the rows, so that what is committed meanwhile is noticed.
	later := make(map[string]bool)
	for e, err := range m.store.Entries(seq + 1) {
		if err != nil {
			return nil, err
		}
		if e.Suit != "" {
			later[e.Suit] = true
		}
	}
	then := all[:0]
	for _, s := range all {
		if later[s.Tag] {
			entries, err := m.store.OfSuit(s.Tag)
			if err != nil {
				return nil, err
			}
			if entries = upTo(seq, entries); len(entries) == 0 {
				continue // it was not in the register yet
			}
			s = ledger.SummaryOf(ledger.RowOf(m.bench.Policy, ledger.FileOf(entries)))
		}
		then = append(then, s)
	}
	return then, nil
}

// seal returns number and hash of the journal entry that a document names.
func (m Maker) seal(seq uint64) (paper.Head, error) {
	hash, ok, err := m.store.HashAt(seq)
	if err == nil && !ok && seq != 0 { // entry 0 is an empty journal
		err = fmt.Errorf("the journal has no entry %d", seq)
	}
	return paper.Head{Seq: seq, Hash: hash.String()}, err
}

// drawn is a picture that is to go into a document, or nothing: a document is
// not held up by one that cannot be drawn.
func (m Maker) drawn(name string, picture []byte, err error) []byte {
	if err == nil {
		return picture
	}
	if !errors.Is(err, chart.ErrNothing) {
		m.log.Error("picture not drawn; the document is made without it", "name", name, "err", err)
	}
	return nil
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
