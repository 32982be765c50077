package engine

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"slices"

	"benchbell/bot/chat"
	"benchbell/bot/register"
	"benchbell/commands"
	"benchbell/core"
)

// The register by chat: one suit or manometer in words, or files attached to a
// post. Both are read as the files of "benchbell import" are.

// mayRegister refuses a person who may not change the register.
func (t *turn) mayRegister() error {
	if t.isOfficer(t.ev.Who) {
		return nil
	}
	return &core.Refusal{Why: core.NotAnOfficer, Choices: t.officerNames()}
}

// enter adds a suit or a manometer to the register, or changes it.
func (t *turn) enter(w core.Enter) error {
	if err := t.mayRegister(); err != nil {
		return err
	}
	known := register.Known{
		Today: t.bench.Day(t.ev.At), Dates: t.dates, Methods: t.bench.Methods,
		Manometers: sortedManometers(t.bench),
	}
	var row bytes.Buffer
	name, exists := w.Name, false
	if w.Manometer {
		var m core.Manometer
		if m, exists = t.bench.Manometer(w.Name); exists {
			name = m.ID
			if err := register.WriteManometers(&row, []core.Manometer{m}, register.Dialect{}); err != nil {
				return err
			}
		}
	} else {
		tag, ok, err := t.store.SuitTag(w.Name)
		if err != nil {
			return err
		}
		if ok {
			file, err := t.Engine.file(tag)
			if err != nil {
				return err
			}
			name, exists = tag, true
			known.Suits = []core.Suit{file.Suit}
			if err := register.WriteSuits(&row, known.Suits, register.Dialect{}); err != nil {
				return err
			}
		}
	}
	switch {
	case w.Change && !exists:
		return &core.Refusal{Why: core.NotInRegister, Suit: w.Name}
	case !w.Change && exists:
		return &core.Refusal{Why: core.KnownAlready, Suit: name}
	}
	text, err := overlay(row.Bytes(), w, name)
	if err != nil {
		return err
	}
	reg, err := register.Read("register", bytes.NewReader(text), known)
	if err != nil {
		return err
	}
	if err := t.enterRegister(reg); err != nil {
		return err
	}
	t.answer(commands.Registered(name, w.Change))
	return nil
}

func sortedManometers(b core.Bench) []core.Manometer {
	var all []core.Manometer
	for _, id := range b.ManometerIDs() {
		all = append(all, b.Manometers[id])
	}
	return all
}

// overlay makes the file of one row that says what the register is to say:
// the row as it was, if there was one, with the fields that are given.
func overlay(was []byte, w core.Enter, name string) ([]byte, error) {
	header, row := []string{"tag"}, []string{name}
	if w.Manometer {
		header[0] = "id"
	}
	if len(was) > 0 {
		r := csv.NewReader(bytes.NewReader(bytes.TrimPrefix(was, []byte("\ufeff"))))
		rows, err := r.ReadAll()
		if err != nil || len(rows) != 2 {
			return nil, fmt.Errorf("the register's own row of %s cannot be read back: %w", name, err)
		}
		header, row = rows[0], rows[1]
	}
	for _, f := range w.Fields {
		i := slices.Index(header, f.Column)
		if i < 0 {
			header, row = append(header, f.Column), append(row, "")
			i = len(header) - 1
		}
		row[i] = f.Value
	}
	var out bytes.Buffer
	c := csv.NewWriter(&out)
	err := c.WriteAll([][]string{header, row})
	return out.Bytes(), err
}

// Needs is returned for an event whose attached files must be read first. They are read
// beside the engine, which goes on meanwhile.
type Needs struct{ Files []chat.File }

func (n *Needs) Error() string {
	return fmt.Sprintf("%d attached files are to be read first", len(n.Files))
}

// importFiles takes the files attached to this post into the register.
func (t *turn) importFiles() error {
	if err := t.mayRegister(); err != nil {
		return err
	}
	said, _ := t.ev.What.(chat.Said)
	switch {
	case len(said.Files) == 0:
		return &core.Refusal{Why: core.NoFile}
	case t.plan == nil:
		return &Needs{Files: said.Files}
	case t.planErr != nil:
		return t.planErr
	}
	if stale, err := t.plan.Stale(t.store); err != nil {
		return err
	} else if stale { // the register was changed while the files were read
		return &Needs{Files: said.Files}
	}
	if err := t.enterPlan(); err != nil {
		return err
	}
	reg := t.plan.Register
	t.answer(commands.Imported(len(reg.Suits), len(reg.Manometers), len(reg.Tests)))
	return nil
}

// enterPlan enters what files say of the register. The rows of suits on the bench
// are made of what is known of them here, all others are in the plan.
func (t *turn) enterPlan() error {
	t.entries = append(t.entries, t.plan.Entries...)
	for _, entry := range t.plan.Entries {
		if file, open := t.files[entry.Suit]; open {
			if changed, already := t.changed[entry.Suit]; already {
				file = changed
			}
			t.changed[entry.Suit] = file.Apply(entry)
		}
	}
	for _, row := range t.plan.Rows {
		if _, open := t.files[row.Tag]; !open {
			t.rows = append(t.rows, row)
		}
	}
	return nil
}

// enterRegister enters what a register says.
func (t *turn) enterRegister(reg register.Register) error {
	for _, entry := range reg.Entries(t.ev.At, t.ev.Who, t.cause(), t.bench.Policy.Zone) {
		t.entries = append(t.entries, entry)
		if entry.Suit == "" {
			continue
		}
		file, err := t.fileNow(entry.Suit)
		if err != nil {
			return err
		}
		t.changed[entry.Suit] = file.Apply(entry)
	}
	return nil
}

// refuse words an error for the person whose words brought it. ok is false if
// it is not one that a person can mend.
func (e *Engine) refuse(err error, in commands.Place) (text string, ok bool) {
	all := []error{err}
	if joined, is := err.(interface{ Unwrap() []error }); is {
		all = joined.Unwrap()
	}
	var faults []commands.FileFault
	for _, err := range all {
		bad, is := errors.AsType[*register.Error](err)
		if !is {
			return e.speak.Refuse(err, in)
		}
		for _, f := range bad.Faults {
			faults = append(faults, commands.FileFault{File: bad.File, Row: f.Row, Column: f.Column, Found: f.Found, Want: f.Want})
		}
		for range bad.More {
			faults = append(faults, commands.FileFault{File: bad.File})
		}
	}
	return e.speak.Faults(faults), true
}
