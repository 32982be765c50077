package engine

import (
	"maps"
	"slices"
	"strings"

	"benchbell/bot/chat"
	"benchbell/core"
	"benchbell/store"
)

// Who is who. The chat says it in an event, so that nobody is looked up while a
// bell waits: who may act as an officer, whom "over to @name" means, whose
// account is deactivated, and by what name somebody is mentioned today.

// accountLength is how long an account's id is, by which it is told from a name.
const accountLength = 26

// officer is one entry of the configuration's list.
type officer struct {
	name string // as configured: a user name or an account's id
	id   string // the account that the name belongs to; empty if none was found so far
}

// people takes in who is who. An officer is an account: the one that the name of
// the configuration belonged to when it was first seen. A name that is given to
// somebody else later takes no rights with it.
func (e *Engine) people(all []chat.Member) error {
	members := make(map[string]chat.Member, len(all))
	for _, m := range all {
		members[m.ID] = m
	}
	e.members = members
	found := make(map[string]string)
	for _, o := range e.officers {
		if _, isID := members[o.name]; o.id != "" || isID && len(o.name) == accountLength {
			continue
		}
		for _, m := range all {
			if m.Name == o.name && !m.Gone {
				found[o.name] = m.ID
			}
		}
	}
	if len(found) > 0 { // on disk first: a name must not be bound to another account later
		if err := e.store.Commit(&store.Batch{Accounts: found}); err != nil {
			return err
		}
	}
	for i, o := range e.officers {
		if id := found[o.name]; id != "" {
			e.officers[i].id = id
		}
	}
	for _, o := range e.officers {
		m, known := members[o.account()]
		switch {
		case !known || m.Gone:
			e.log.Warn("an officer of the configuration is not found on the chat server", "officer", o.name)
		case m.Name != o.name && len(o.name) != accountLength:
			e.log.Warn("an officer has another name now: change it in the configuration", "officer", o.name, "now", m.Name)
		}
	}
	for id, run := range e.bench.Runs {
		run.Tester = e.named(run.Tester)
		e.bench.Runs[id] = run
	}
	return nil
}

// loadOfficers joins the officers of the configuration with the accounts that were
// found for them, and deletes the accounts of officers who were removed from it.
func (e *Engine) loadOfficers(names []string) error {
	accounts, err := e.store.Accounts()
	if err != nil {
		return err
	}
	e.officers = nil
	for _, name := range names {
		e.officers = append(e.officers, officer{name, accounts[name]})
		delete(accounts, name)
	}
	if len(accounts) == 0 {
		return nil
	}
	for name := range maps.Keys(accounts) {
		accounts[name] = ""
	}
	return e.store.Commit(&store.Batch{Accounts: accounts})
}

// account returns the id of the officer's account, empty if it is not known.
func (o officer) account() string {
	if o.id == "" && len(o.name) == accountLength {
		return o.name
	}
	return o.id
}

// is reports whether a person is this officer. Before the chat has said who is
// who for the first time, the name counts.
func (o officer) is(p core.Person) bool {
	if id := o.account(); id != "" {
		return p.ID == id
	}
	return p.Name == o.name
}

// named returns a person by the name that the account has today.
func (e *Engine) named(p core.Person) core.Person {
	if m, ok := e.members[p.ID]; ok {
		return m.Person
	}
	return p
}

// gone reports whether somebody's account is deactivated. Who is not listed is not
// gone: they may only not be in the crew channel.
func (e *Engine) gone(p core.Person) bool { return e.members[p.ID].Gone }

// byName finds a member by user name, without the "@".
func (e *Engine) byName(name string) (core.Person, bool) {
	for _, m := range e.members {
		if strings.EqualFold(m.Name, name) && !m.Gone {
			return m.Person, true
		}
	}
	return core.Person{}, false
}

// isOfficer reports whether a person may do what takes an officer: anybody, as
// long as the configuration names none.
func (e *Engine) isOfficer(p core.Person) bool {
	return len(e.officers) == 0 || e.isNamedOfficer(p)
}

// isNamedOfficer reports whether the configuration names a person as an officer.
func (e *Engine) isNamedOfficer(p core.Person) bool {
	return slices.ContainsFunc(e.officers, func(o officer) bool { return o.is(p) })
}

// officerNames are the names to be shown to somebody who is no officer.
func (e *Engine) officerNames() (names []string) {
	for _, o := range e.officers {
		p := e.named(core.Person{ID: o.account(), Name: o.name})
		names = append(names, p.Name)
	}
	return names
}

// reachable returns the officers who can be told something directly, and whether
// that is all of them.
func (e *Engine) reachable() (found []core.Person, all bool) {
	all = len(e.officers) > 0
	for _, o := range e.officers {
		m, ok := e.members[o.account()]
		if !ok || m.Gone {
			all = false
			continue
		}
		found = append(found, m.Person)
	}
	return found, all
}

// tellOfficers tells each officer directly what cannot wait for them to look. If an
// officer cannot be reached, or there is none, the text also goes to the crew channel,
// unless the crew knows it already (known).
func (t *turn) tellOfficers(text string, known bool) {
	officers, all := t.reachable()
	for _, p := range officers {
		t.enqueue(store.Out{Class: store.Notice, Person: p.ID, Text: text})
	}
	if !all && !known {
		t.enqueue(store.Out{Class: store.Notice, Text: text})
	}
}
