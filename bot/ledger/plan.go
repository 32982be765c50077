package ledger

import (
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"benchbell/bot/config"
	"benchbell/bot/register"
	"benchbell/core"
	"benchbell/store"
)

// A Plan is what files of a register would change.
type Plan struct {
	// Register is what the files say; its Tests are those that are not on
	// record yet.
	Register register.Register
	Entries  []core.Entry
	Rows     []store.SuitRow // of the suits that the entries are about, with those entries
	Head     uint64          // the journal's last entry when the plan was made

	suits, manometers map[string]bool // what it depends on, by core.NameKey
}

// planImport plans to take files into the register, whole or not at all. It reads the
// store, and of that only the suits which the files name; it may run while others
// commit. contents holds each file's content by its name, names their order. A
// *[register.Error] is one that whoever wrote the files can mend.
func planImport(st *store.Store, cfg config.Config, names []string, contents map[string][]byte, at time.Time, by core.Person, event string) (Plan, error) {
	var p Plan
	var err error
	// First, so that whatever is committed from here on makes the plan stale.
	if p.Head, _, err = st.Head(); err != nil {
		return Plan{}, err
	}
	known := register.Known{Today: core.DateAt(at, cfg.Policy.Zone), Dates: cfg.Dates, Methods: cfg.AllMethods()}
	if known.Manometers, err = st.Manometers(); err != nil {
		return Plan{}, err
	}
	named := suitsOf{store: st, byKey: make(map[string]*onRecord)}
	known.Find = named.find
	p.Register, err = register.ReadContents(names, contents, known)
	if named.err != nil {
		return Plan{}, named.err
	}
	if err != nil {
		return Plan{}, err
	}
	p.dependsOn(p.Register)
	// The same file may be imported again: a test is on record once.
	p.Register.Tests = slices.DeleteFunc(p.Register.Tests, named.has)
	p.Entries = p.Register.Entries(at, by, event, cfg.Policy.Zone)
	p.Rows = named.rows(cfg.Policy, p.Entries)
	return p, nil
}

// dependsOn notes the suits and the manometers that a register names.
func (p *Plan) dependsOn(r register.Register) {
	p.suits, p.manometers = make(map[string]bool), make(map[string]bool)
	for _, s := range r.Suits {
		p.suits[core.NameKey(s.Tag)] = true
	}
	for _, m := range r.Manometers {
		p.manometers[core.NameKey(m.ID)] = true
	}
	for _, t := range r.Tests {
		p.suits[core.NameKey(t.Suit)] = true
		p.manometers[core.NameKey(t.Test.Manometer)] = true
	}
}

// Stale reports whether an entry that was committed after Head is about a suit
// or a manometer that the plan depends on. A stale plan is made anew.
func (p Plan) Stale(st *store.Store) (bool, error) {
	for e, err := range st.Entries(p.Head + 1) {
		if err != nil {
			return false, err
		}
		if e.Suit != "" && p.suits[core.NameKey(e.Suit)] {
			return true, nil
		}
		if m, ok := e.Fact.(core.ManometerRegistered); ok && p.manometers[core.NameKey(m.Manometer.ID)] {
			return true, nil
		}
	}
	return false, nil
}

// onRecord is what the journal has of a suit.
type onRecord struct {
	file  core.File
	tests map[core.PaperTest]bool // as written on paper
}

// suitsOf reads the suits that the files name, each once.
type suitsOf struct {
	store *store.Store
	byKey map[string]*onRecord // nil for one that is not in the register
	err   error                // the first
}

// find implements register.Known.Find.
func (n *suitsOf) find(name string) (core.Suit, bool) {
	key := core.NameKey(name)
	had, read := n.byKey[key]
	if !read && n.err == nil {
		had, n.err = n.read(name)
		n.byKey[key] = had
	}
	if had == nil {
		return core.Suit{}, false
	}
	return had.file.Suit, true
}

func (n *suitsOf) read(name string) (*onRecord, error) {
	tag, ok, err := n.store.SuitTag(name)
	if err != nil || !ok {
		return nil, err
	}
	entries, err := n.store.OfSuit(tag)
	if err != nil {
		return nil, err
	}
	had := &onRecord{file: FileOf(entries), tests: make(map[core.PaperTest]bool)}
	for _, e := range entries {
		if test, ok := e.Fact.(core.PaperTest); ok {
			had.tests[asWritten(test)] = true
		}
	}
	return had, nil
}

// has reports whether a past test is on record.
func (n *suitsOf) has(t register.PastTest) bool {
	had := n.byKey[core.NameKey(t.Suit)]
	return had != nil && had.tests[asWritten(t.Test)]
}

// asWritten is a test as the paper has it: what it was judged to be, and by
// which rules, may differ.
func asWritten(t core.PaperTest) core.PaperTest {
	t.Outcome, t.Reason, t.Rules = "", "", 0
	return t
}

// rows returns the rows of the suits that entries are about, in the order of
// their tags.
func (n *suitsOf) rows(p core.Policy, entries []core.Entry) []store.SuitRow {
	files := make(map[string]core.File)
	for _, e := range entries {
		if e.Suit == "" {
			continue
		}
		file, begun := files[e.Suit]
		if had := n.byKey[core.NameKey(e.Suit)]; !begun && had != nil {
			file = had.file
		}
		files[e.Suit] = file.Apply(e)
	}
	var rows []store.SuitRow
	for _, tag := range slices.Sorted(maps.Keys(files)) {
		rows = append(rows, RowOf(p, files[tag]))
	}
	return rows
}

// Import takes files into the register, whole or not at all, while nobody else
// uses the store.
func Import(st *store.Store, cfg config.Config, names []string, contents map[string][]byte, now time.Time) (register.Register, error) {
	event := "import/" + now.UTC().Format(time.RFC3339Nano)
	p, err := planImport(st, cfg, names, contents, now, core.Person{Name: "keeper"}, event)
	if err != nil {
		return register.Register{}, err
	}
	return p.Register, st.Commit(&store.Batch{Event: event, At: now, Entries: p.Entries, Rows: p.Rows})
}

// Registered returns all that the files of a register can say: the suits, the
// manometers, and the past tests in the order of their days.
func Registered(st *store.Store) (register.Register, error) {
	var r register.Register
	for row, err := range st.Rows() {
		if err != nil {
			return register.Register{}, err
		}
		entries, err := st.OfSuit(row.Tag)
		if err != nil {
			return register.Register{}, err
		}
		r.Suits = append(r.Suits, FileOf(entries).Suit)
		for _, e := range entries {
			if test, ok := e.Fact.(core.PaperTest); ok {
				r.Tests = append(r.Tests, register.PastTest{Suit: e.Suit, Test: test})
			}
		}
	}
	slices.SortStableFunc(r.Tests, func(a, b register.PastTest) int {
		if n := a.Test.Day.Compare(b.Test.Day); n != 0 {
			return n
		}
		return strings.Compare(a.Suit, b.Suit)
	})
	var err error
	r.Manometers, err = st.Manometers()
	if err != nil {
		return register.Register{}, fmt.Errorf("the manometers: %w", err)
	}
	return r, nil
}
