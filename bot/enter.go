package bot

import (
	"bytes"
	"cmp"
	"errors"
	"fmt"
	"io"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"benchbell/bot/calendar"
	"benchbell/core"
	"benchbell/store"
	"benchbell/testdata/demo"
)

// methods returns all methods of a station.
func (c Config) methods() []core.Method { return append(core.BuiltIn(), c.Methods...) }

// Import takes files into the register, whole or not at all.
func Import(st *store.Store, cfg Config, paths []string, now time.Time) (Register, error) {
	known, had, err := knownOf(st, cfg.methods(), cfg.Dates, core.DateAt(now, cfg.Policy.Zone))
	if err != nil {
		return Register{}, err
	}
	reg, err := ReadRegisterFiles(paths, known)
	if err != nil {
		return Register{}, err
	}
	// The same file may be imported again: a test is on record once.
	reg.Tests = slices.DeleteFunc(reg.Tests, func(t PastTest) bool { return had[t] > 0 })
	event := "import/" + now.UTC().Format(time.RFC3339Nano)
	keeper := core.Person{Name: "keeper"}
	return reg, Enter(st, cfg.Policy, event, now, reg.Entries(now, keeper, event, cfg.Policy.Zone))
}

// Export writes what the register holds, as Import reads it: suits.csv,
// manometers.csv and the past tests.csv, with their headers even if there is
// nothing in them, so that they serve as templates. Beside them it writes the
// whole journal as journal.jsonl, which Restore reads, and as journal.csv for
// people, and the days on which something falls due as due.ics.
func Export(st *store.Store, cfg Config, folder string) (Register, error) {
	known, had, err := knownOf(st, nil, "", core.Date{})
	if err != nil {
		return Register{}, err
	}
	reg := Register{Suits: known.Suits, Manometers: known.Manometers, Tests: slices.Collect(maps.Keys(had))}
	slices.SortFunc(reg.Tests, func(a, b PastTest) int {
		return cmp.Or(a.Test.Day.Compare(b.Test.Day), strings.Compare(a.Suit, b.Suit), cmp.Compare(had[a], had[b]))
	})
	for name, write := range map[string]func(io.Writer) error{
		"journal.jsonl": st.WriteJSONL,
		"journal.csv": func(w io.Writer) error {
			return WriteJournal(w, st.Entries(1), cfg.Policy.Zone, Dialect{DecimalComma: cfg.DecimalComma})
		},
		"due.ics":        func(w io.Writer) error { return writeCalendar(w, st, cfg) },
		"suits.csv":      func(w io.Writer) error { return WriteSuits(w, reg.Suits) },
		"manometers.csv": func(w io.Writer) error { return WriteManometers(w, reg.Manometers) },
		"tests.csv":      func(w io.Writer) error { return WriteTests(w, reg.Tests) },
	} {
		var text bytes.Buffer
		if err := write(&text); err != nil {
			return Register{}, err
		}
		f, err := os.OpenFile(filepath.Join(folder, name), os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o644)
		if err != nil {
			return Register{}, fmt.Errorf("%w: export into a folder that has no such file", err)
		}
		_, err = f.Write(text.Bytes())
		if err := errors.Join(err, f.Close()); err != nil {
			return Register{}, err
		}
	}
	return reg, nil
}

// Restore reads a journal.jsonl into an empty store. What the journal does not
// hold, as posts still to be delivered, is not restored.
func Restore(st *store.Store, path string) (entries uint64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	entries, _, err = st.ReadJSONL(f)
	return entries, err
}

// Calendar returns the days on which something falls due.
func Calendar(st *store.Store, cfg Config) (calendar.Feed, error) {
	events, modified, err := calendar.Due(st)
	return calendar.Feed{Name: "Suits of " + cfg.Name, Domain: cfg.Calendar.Domain, Events: events, Modified: modified}, err
}

func writeCalendar(w io.Writer, st *store.Store, cfg Config) error {
	feed, err := Calendar(st, cfg)
	if err != nil {
		return err
	}
	return calendar.Write(w, feed)
}

// RehearsalRegister reads the register of a rehearsal: that of the files, or
// of the invented station Harrow Point if none are named.
func RehearsalRegister(cfg Config, paths []string, at time.Time) ([]core.Entry, error) {
	known := Known{Today: core.DateAt(at, cfg.Policy.Zone), Dates: cfg.Dates, Methods: cfg.methods()}
	reg, err := ReadRegisterFS(demo.Files(), known)
	if len(paths) > 0 {
		reg, err = ReadRegisterFiles(paths, known)
		if err == nil && len(reg.Manometers) == 0 {
			err = errors.New("the fleet has no manometer: add a file with the columns id, unit, resolution")
		}
	}
	if err != nil {
		return nil, fmt.Errorf("the fleet: %w", err)
	}
	keeper := core.Person{Name: "keeper"}
	entries := reg.Entries(at, keeper, "register", cfg.Policy.Zone)
	if len(paths) == 0 { // what no column of a register says
		for _, e := range []core.Entry{
			{Suit: "HP-20", Fact: core.Used{When: at, Note: "drill on the jetty, invented"}},
			{Suit: "HP-21", Fact: core.Retired{Why: "melted boot, invented"}},
			{Suit: "HP-22", Fact: core.Withdrawn{Why: "lent to the school, invented"}},
		} {
			e.At, e.By, e.Event = at, keeper, "register"
			entries = append(entries, e)
		}
	}
	return entries, nil
}

// Enter puts entries that come from a file into the journal, in one
// transaction, and brings the suits' rows up to date.
func Enter(st *store.Store, p core.Policy, event string, at time.Time, entries []core.Entry) error {
	files := make(map[string]core.File)
	var tags []string
	for _, e := range entries {
		if e.Suit == "" {
			continue
		}
		file, ok := files[e.Suit]
		if !ok {
			before, err := st.OfSuit(e.Suit)
			if err != nil {
				return err
			}
			file = fold(before)
			tags = append(tags, e.Suit)
		}
		files[e.Suit] = file.Apply(e)
	}
	batch := &store.Batch{Event: event, At: at, Entries: entries}
	for _, tag := range tags {
		batch.Rows = append(batch.Rows, row(p, files[tag]))
	}
	return st.Commit(batch)
}

// policyMark says by which policy, and which reading of the journal, the suits'
// rows are made: 2 has a withdrawal last until an officer's word.
func policyMark(p core.Policy) string {
	return fmt.Sprintf("rows 2, interval %s, zone %s, release %t", p.Interval, p.Zone, p.Release)
}

// refit makes all rows anew if they were made by another policy than today's.
func (e *Engine) refit() error {
	mark := policyMark(e.bench.Policy)
	if made, err := e.store.RowsMadeWith(); err != nil || made == mark {
		return err
	}
	const most = 500
	batch := &store.Batch{}
	for tag, err := range e.store.Tags() {
		if err != nil {
			return err
		}
		file, err := e.file(tag)
		if err != nil {
			return err
		}
		batch.Rows = append(batch.Rows, row(e.bench.Policy, file))
		if len(batch.Rows) == most {
			if err := e.store.Commit(batch); err != nil {
				return err
			}
			batch.Rows = nil
		}
	}
	batch.RowsMadeWith = mark
	return e.store.Commit(batch)
}
