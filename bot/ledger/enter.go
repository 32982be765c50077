package ledger

import (
	"fmt"
	"os"
	"slices"
	"time"

	"benchbell/bot/config"
	"benchbell/bot/register"
	"benchbell/core"
	"benchbell/store"
)

// Import takes files into the register, whole or not at all.
func Import(st *store.Store, cfg config.Config, paths []string, now time.Time) (register.Register, error) {
	known, had, err := KnownOf(st, cfg.AllMethods(), cfg.Dates, core.DateAt(now, cfg.Policy.Zone))
	if err != nil {
		return register.Register{}, err
	}
	reg, err := register.ReadFiles(paths, known)
	if err != nil {
		return register.Register{}, err
	}
	// The same file may be imported again: a test is on record once.
	reg.Tests = slices.DeleteFunc(reg.Tests, OnRecord(had))
	event := "import/" + now.UTC().Format(time.RFC3339Nano)
	keeper := core.Person{Name: "keeper"}
	return reg, Enter(st, cfg.Policy, event, now, reg.Entries(now, keeper, event, cfg.Policy.Zone))
}

// Restore reads a journal.jsonl into an empty store, and makes the suits' rows
// of it. What the journal does not hold, as posts still to be delivered, is not
// restored.
func Restore(st *store.Store, cfg config.Config, path string) (entries uint64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	if entries, _, err = st.ReadJSONL(f); err != nil {
		return 0, err
	}
	return entries, RebuildRows(st, cfg.Policy)
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
			file = FileOf(before)
			tags = append(tags, e.Suit)
		}
		files[e.Suit] = file.Apply(e)
	}
	batch := &store.Batch{Event: event, At: at, Entries: entries}
	for _, tag := range tags {
		batch.Rows = append(batch.Rows, RowOf(p, files[tag]))
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
func RebuildRows(st *store.Store, p core.Policy) error {
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
		batch.Rows = append(batch.Rows, RowOf(p, FileOf(entries)))
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
