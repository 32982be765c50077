package engine

import (
	"bytes"
	"context"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/ledger"
	"benchbell/bot/register"
	"benchbell/commands"
	"benchbell/core"
)

// The register by chat: one suit or manometer in words, or files attached to a
// post. Both are read as the files of "benchbell import" are.

// mayRegister refuses who may not change the register.
func (do *turn) mayRegister() error {
	if do.isOfficer(do.ev.Who) {
		return nil
	}
	return &core.Refusal{Why: core.NotAnOfficer, Choices: do.officerNames}
}

// enter adds a suit or a manometer to the register, or changes it.
func (do *turn) enter(w core.Enter) error {
	if err := do.mayRegister(); err != nil {
		return err
	}
	known := register.Known{
		Today: do.bench.Day(do.ev.At), Dates: do.dates, Methods: do.bench.Methods,
		Manometers: sortedManometers(do.bench),
	}
	var row bytes.Buffer
	name, exists := w.Name, false
	if w.Manometer {
		var m core.Manometer
		if m, exists = do.bench.Manometer(w.Name); exists {
			name = m.ID
			if err := register.WriteManometers(&row, []core.Manometer{m}, register.Dialect{}); err != nil {
				return err
			}
		}
	} else {
		tag, ok, err := do.store.SuitTag(w.Name)
		if err != nil {
			return err
		}
		if ok {
			file, err := do.Engine.file(tag)
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
	if err := do.enterRegister(reg); err != nil {
		return err
	}
	what := "is in the register"
	if w.Change {
		what = "is changed in the register"
	}
	do.answer(fmt.Sprintf("%s %s.", name, what))
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

// What is attached to one post is read while everything else waits for it.
const (
	maxAttached      = 4 << 20 // bytes of a file
	mostAttached     = 5       // files
	longestAttaching = 20 * time.Second
)

// importFiles takes the files attached to this post into the register.
func (do *turn) importFiles() error {
	if err := do.mayRegister(); err != nil {
		return err
	}
	said, _ := do.ev.What.(chat.Said)
	switch n := len(said.Files); {
	case n == 0:
		return &core.Refusal{Why: core.NoFile}
	case n > mostAttached:
		return &register.Error{File: said.Files[mostAttached].Name, Faults: []register.Fault{{
			Want: fmt.Sprintf("there are %d files: attach %d at most to a post", n, mostAttached),
		}}}
	}
	ctx, cancel := context.WithTimeout(do.ctx, longestAttaching)
	defer cancel()
	content := make(map[string][]byte)
	var names []string
	for i, f := range said.Files {
		data, err := do.fileOf(ctx, f)
		if err != nil {
			if do.ctx.Err() != nil {
				return err
			}
			// It is not waited for: readings and bells would wait with it.
			do.log.Warn("an attached file cannot be had", "id", f.ID, "error", err)
			return &register.Error{File: f.Name, Faults: []register.Fault{{Want: "the chat server did not hand the file out: attach it again"}}}
		}
		if len(data) > maxAttached {
			return &register.Error{File: f.Name, Faults: []register.Fault{{Want: fmt.Sprintf("the file is larger than %d MiB: split it", maxAttached>>20)}}}
		}
		// By number: their own names may be the same, or anything.
		name := fmt.Sprintf("file %d", i+1)
		names = append(names, name)
		content[name] = data
	}
	plan, err := ledger.PlanImport(do.store, do.cfg, names, content, do.ev.At, do.ev.Who, do.cause())
	if err != nil {
		return err
	}
	reg := plan.Register
	if err := do.enterRegister(reg); err != nil {
		return err
	}
	do.answer(fmt.Sprintf("Taken: %d suits, %d manometers, %d new past tests.", len(reg.Suits), len(reg.Manometers), len(reg.Tests)))
	return nil
}

// fileOf reads an attached file, or as much of it as shows that it is too large.
func (do *turn) fileOf(ctx context.Context, f chat.File) ([]byte, error) {
	content, err := do.world.File(ctx, f.ID)
	if err != nil {
		return nil, err
	}
	defer content.Close()
	return io.ReadAll(io.LimitReader(content, maxAttached+1))
}

// enterRegister enters what a register says.
func (do *turn) enterRegister(reg register.Register) error {
	for _, entry := range reg.Entries(do.ev.At, do.ev.Who, do.cause(), do.bench.Policy.Zone) {
		do.entries = append(do.entries, entry)
		if entry.Suit == "" {
			continue
		}
		file, err := do.fileNow(entry.Suit)
		if err != nil {
			return err
		}
		do.changed[entry.Suit] = file.Apply(entry)
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

// unknownSuit refuses a tag that nothing has, and names those that were perhaps
// meant.
func (do *turn) unknownSuit(typed string) error {
	near, err := do.store.TagsLike(strings.TrimSpace(typed), 4)
	if err != nil {
		return err
	}
	return &core.Refusal{Why: core.UnknownSuit, Suit: typed, Choices: near}
}
