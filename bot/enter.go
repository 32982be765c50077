package bot

import (
	"errors"
	"fmt"
	"os"
	"slices"
	"time"

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
	reg.Tests = slices.DeleteFunc(reg.Tests, onRecord(had))
	event := "import/" + now.UTC().Format(time.RFC3339Nano)
	keeper := core.Person{Name: "keeper"}
	return reg, Enter(st, cfg.Policy, event, now, reg.Entries(now, keeper, event, cfg.Policy.Zone))
}

// Restore reads a journal.jsonl into an empty store, and makes the suits' rows
// of it. What the journal does not hold, as posts still to be delivered, is not
// restored.
func Restore(st *store.Store, cfg Config, path string) (entries uint64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	if entries, _, err = st.ReadJSONL(f); err != nil {
		return 0, err
	}
	return entries, refit(st, cfg.Policy)
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
// rows are made: 2 has a withdrawal last until an officer's word, 3 says of a
// defect whether something was done about it.
func policyMark(p core.Policy) string {
	return fmt.Sprintf("rows 3, interval %s, zone %s, release %t", p.Interval, p.Zone, p.Release)
}

// refit makes all rows anew if they were made by another policy.
func refit(st *store.Store, p core.Policy) error {
	mark := policyMark(p)
	if made, err := st.RowsMadeWith(); err != nil || made == mark {
		return err
	}
	const most = 500
	batch := &store.Batch{}
	for tag, err := range st.Tags() {
		if err != nil {
			return err
		}
		entries, err := st.OfSuit(tag)
		if err != nil {
			return err
		}
		batch.Rows = append(batch.Rows, row(p, fold(entries)))
		if len(batch.Rows) == most {
			if err := st.Commit(batch); err != nil {
				return err
			}
			batch.Rows = nil
		}
	}
	batch.RowsMadeWith = mark
	return st.Commit(batch)
}
