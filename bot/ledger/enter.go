package ledger

import (
	"fmt"
	"os"
	"time"

	"benchbell/bot/config"
	"benchbell/core"
	"benchbell/store"
)

// Restore reads a journal.jsonl into an empty store, and makes the suits' rows
// from it. What the journal does not hold, like posts still to be delivered, is
// not restored.
func Restore(st *store.Store, cfg config.Config, path string) (entries uint64, err error) {
	f, err := os.Open(path)
	if err != nil {
		return 0, err
	}
	defer f.Close()
	if entries, _, err = st.ReadJSONL(f); err != nil {
		return 0, err
	}
	var last time.Time
	for e, err := range st.Entries(entries) {
		if err != nil {
			return 0, err
		}
		last = e.At
	}
	if err := st.Commit(&store.Batch{Wakes: map[string]time.Time{WakeRestored: last}}); err != nil {
		return 0, err
	}
	return entries, RebuildRows(st, cfg.Policy)
}

// WakeRestored is the key under which a restored store has the moment of its journal's
// last entry. What people said before it is not carried out: it did something then,
// which is in the journal, or it did nothing.
const WakeRestored = "restored"

// Enter puts entries that come from a file into the journal, in one
// transaction, and brings the suits' rows up to date.
func Enter(st *store.Store, p core.Policy, event string, at time.Time, entries []core.Entry) error {
	named := suitsOf{store: st, byKey: make(map[string]*onRecord)}
	for _, e := range entries {
		if e.Suit != "" {
			named.find(e.Suit)
		}
	}
	if named.err != nil {
		return named.err
	}
	return st.Commit(&store.Batch{Event: event, At: at, Entries: entries, Rows: named.rows(p, entries)})
}

// policyMark names the policy, and the version of the code, by which the suits'
// rows are made. Since version 2 a withdrawal lasts until an officer's word;
// since version 3 a defect says whether something was done about it.
func policyMark(p core.Policy) string {
	return fmt.Sprintf("rows 3, interval %s, zone %s, release %t", p.Interval, p.Zone, p.Release)
}

// RebuildRows makes all rows anew if they were made by another policy.
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
