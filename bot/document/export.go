package document

import (
	"bufio"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"

	"benchbell/bot/calendar"
	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/bot/ledger"
	"benchbell/bot/register"
	"benchbell/core"
	"benchbell/store"
)

// Export writes what the register holds, as Import reads it: suits.csv,
// manometers.csv and tests.csv, each with its header even if it is empty, so that
// it serves as a template. Beside them it writes the
// whole journal as journal.jsonl, which Restore reads, and as journal.csv for
// people, and the days on which something falls due as due.ics.
func Export(st *store.Store, cfg config.Config, folder string) (register.Register, error) {
	if err := ledger.RebuildRows(st, cfg.Policy); err != nil {
		return register.Register{}, err
	}
	reg, err := ledger.Registered(st)
	if err != nil {
		return register.Register{}, err
	}
	dialect := register.Dialect{DecimalComma: cfg.DecimalComma}
	for name, write := range map[string]func(io.Writer) error{
		"journal.jsonl": st.WriteJSONL,
		"journal.csv": func(w io.Writer) error {
			return register.WriteJournal(w, st.Entries(1), cfg.Policy.Zone, dialect)
		},
		"due.ics":        func(w io.Writer) error { return writeCalendar(w, st, cfg) },
		"suits.csv":      func(w io.Writer) error { return register.WriteSuits(w, reg.Suits, dialect) },
		"manometers.csv": func(w io.Writer) error { return register.WriteManometers(w, reg.Manometers, dialect) },
		"tests.csv":      func(w io.Writer) error { return register.WriteTests(w, reg.Tests, dialect) },
	} {
		if err := writeNew(folder, name, write); err != nil {
			return register.Register{}, err
		}
	}
	return reg, nil
}

// Exported is how many of each kind of file were written.
type Exported struct{ Records, Logbooks int }

// ExportDocuments writes documents as PDF: the record of every run into the
// folder records, the logbook of every suit into the folder logbooks, and the
// list for the wall, with the standings of a day. They are those that the chat
// hands out, byte for byte.
func ExportDocuments(st *store.Store, cfg config.Config, folder string, day core.Date, log *slog.Logger) (Exported, error) {
	d := NewMaker(st, cfg, log)
	var done Exported
	if err := ledger.RebuildRows(st, cfg.Policy); err != nil {
		return done, err
	}
	last, _, err := st.Head()
	if err != nil {
		return done, err
	}
	if err := d.write(folder, chat.Doc{Kind: chat.ShelfDoc, Day: day, Seq: last}); err != nil {
		return done, err
	}
	for tag, err := range st.Tags() {
		if err != nil {
			return done, err
		}
		logbook := chat.Doc{Kind: chat.LogbookDoc, Suit: tag, Day: day, Seq: last}
		if err := d.write(filepath.Join(folder, "logbooks"), logbook); err != nil {
			return done, err
		}
		done.Logbooks++
		n, err := d.records(tag, last, filepath.Join(folder, "records"))
		done.Records += n
		if err != nil {
			return done, err
		}
	}
	return done, nil
}

// ExportSuit writes everything about one suit, found by its tag as somebody typed
// it: its logbook with its standing on a day and the record of each run as PDF,
// and its journal entries as a table and as their lines of journal.jsonl. The
// names of the files contain the tag, so that a folder can hold several suits.
func ExportSuit(st *store.Store, cfg config.Config, typed, folder string, day core.Date, log *slog.Logger) (tag string, done Exported, err error) {
	tag, ok, err := st.SuitTag(typed)
	if err != nil {
		return "", done, err
	}
	if !ok {
		near, err := st.TagsLike(strings.TrimSpace(typed), 4)
		if err != nil {
			return "", done, err
		}
		hint := "the register is empty"
		if len(near) > 0 {
			hint = "perhaps " + strings.Join(near, " or ")
		}
		return "", done, fmt.Errorf("there is no suit %q in the register: %s", typed, hint)
	}
	d := NewMaker(st, cfg, log)
	last, _, err := st.Head()
	if err != nil {
		return tag, done, err
	}
	if err := d.write(folder, chat.Doc{Kind: chat.LogbookDoc, Suit: tag, Day: day, Seq: last}); err != nil {
		return tag, done, err
	}
	done.Logbooks++
	if done.Records, err = d.records(tag, last, folder); err != nil {
		return tag, done, err
	}
	entries, err := st.OfSuit(tag)
	if err != nil {
		return tag, done, err
	}
	all := func(yield func(core.Entry, error) bool) {
		for _, e := range entries {
			if !yield(e, nil) {
				return
			}
		}
	}
	name := fileName("journal-" + tag)
	return tag, done, errors.Join(
		writeNew(folder, name+".csv", func(w io.Writer) error {
			return register.WriteJournal(w, all, cfg.Policy.Zone, register.Dialect{DecimalComma: cfg.DecimalComma})
		}),
		writeNew(folder, name+".jsonl", func(w io.Writer) error { return st.WriteLinesOfSuit(w, tag) }),
	)
}

// records writes the record of each run of a suit.
func (m Maker) records(tag string, last uint64, folder string) (n int, err error) {
	entries, err := m.store.OfSuit(tag)
	if err != nil {
		return 0, err
	}
	for _, e := range entries {
		if _, opens := e.Fact.(core.Opened); !opens {
			continue
		}
		if err := m.write(folder, chat.Doc{Kind: chat.RecordDoc, Run: e.Run, Seq: last}); err != nil {
			return n, err
		}
		n++
	}
	return n, nil
}

// write writes a document into a folder, which is made if it is not there.
func (m Maker) write(folder string, d chat.Doc) error {
	name, content, err := m.Make(d.String())
	if err != nil {
		return err
	}
	return writeNew(folder, name, func(w io.Writer) error {
		_, err := w.Write(content)
		return err
	})
}

// writeNew writes a file that must not exist yet, and removes it after an error.
func writeNew(folder, name string, write func(io.Writer) error) (err error) {
	if err := os.MkdirAll(folder, 0o755); err != nil {
		return err
	}
	path := filepath.Join(folder, name)
	f, err := os.OpenFile(path, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
	if err != nil {
		return fmt.Errorf("%w: export into a folder that has no such file", err)
	}
	out := bufio.NewWriter(f)
	err = write(out)
	if err := errors.Join(err, out.Flush(), f.Close()); err != nil {
		return errors.Join(err, os.Remove(path))
	}
	return nil
}

// Calendar returns the days on which something falls due.
func Calendar(st *store.Store, cfg config.Config) (calendar.Feed, error) {
	events, modified, err := calendar.Due(st)
	return calendar.Feed{Name: "Suits of " + cfg.Name, Domain: cfg.Calendar.Domain, Events: events, Modified: modified}, err
}

func writeCalendar(w io.Writer, st *store.Store, cfg config.Config) error {
	feed, err := Calendar(st, cfg)
	if err != nil {
		return err
	}
	return calendar.Write(w, feed)
}
