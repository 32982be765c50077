package ledger

import (
	"slices"
	"time"

	"benchbell/bot/config"
	"benchbell/bot/register"
	"benchbell/core"
	"benchbell/store"
)

type Plan struct {
	Register register.Register
	Entries  []core.Entry
	Rows     []store.SuitRow
	Head     uint64
}

func (p Plan) Stale(st *store.Store) (bool, error) { n, _, err := st.Head(); return n != p.Head, err }

func PlanImport(st *store.Store, cfg config.Config, names []string, contents map[string][]byte, at time.Time, by core.Person, event string) (Plan, error) {
	head, _, err := st.Head()
	if err != nil {
		return Plan{}, err
	}
	known, had, err := KnownOf(st, cfg.AllMethods(), cfg.Dates, core.DateAt(at, cfg.Policy.Zone))
	if err != nil {
		return Plan{}, err
	}
	reg, err := register.ReadContents(names, contents, known)
	if err != nil {
		return Plan{}, err
	}
	reg.Tests = slices.DeleteFunc(reg.Tests, OnRecord(had))
	p := Plan{Register: reg, Head: head, Entries: reg.Entries(at, by, event, cfg.Policy.Zone)}
	files := map[string]core.File{}
	for _, e := range p.Entries {
		if e.Suit == "" {
			continue
		}
		f, ok := files[e.Suit]
		if !ok {
			of, err := st.OfSuit(e.Suit)
			if err != nil {
				return Plan{}, err
			}
			f = FileOf(of)
		}
		files[e.Suit] = f.Apply(e)
	}
	for _, f := range files {
		p.Rows = append(p.Rows, RowOf(cfg.Policy, f))
	}
	return p, nil
}
