package engine

import (
	"cmp"
	"fmt"
	"log/slog"
	"maps"
	"runtime/debug"
	"slices"
	"strings"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/bot/ledger"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// Engine handles events one at a time. Whoever calls it owns the state: none
// of its methods may run at the same time as another. It waits for nothing but
// its store: what it needs from outside comes as an event.
type Engine struct {
	store *store.Store
	speak commands.Speaker
	log   *slog.Logger

	reminders config.Reminders
	dates     string // how register files write days

	officers []officer
	members  map[string]chat.Member // by account, as the chat said last

	bench core.Bench
	files map[string]core.File // of suits with an open run, by tag
	shown map[string]string    // text on screen, by key of its post; of open runs
	wakes map[core.RunID]time.Time
	// The times of the next and the last look for what is due; zero before the first.
	look, looked time.Time

	restored time.Time                // moment of the last entry of a restored journal
	relisted map[core.RunID]time.Time // when a run's list was posted again
	spoke    map[core.RunID]time.Time // when the tester of a run last said anything in it
	unknown  core.RunID               // highest run of which the chat has posts and the journal nothing

	// inDoubt is true after a commit of which nobody knows whether it reached
	// the disk: the state is read anew before anything else.
	inDoubt bool
}

// New returns an engine with the state in the store; name is the bot's own user name.
func New(st *store.Store, cfg config.Config, name string, log *slog.Logger) (*Engine, error) {
	e := &Engine{
		store: st, log: log,
		reminders: cfg.Reminders, dates: cfg.Dates,
		speak: commands.Speaker{Zone: cfg.Policy.Zone, Bot: name, AskAir: cfg.Policy.AsksAir()},
		spoke: make(map[core.RunID]time.Time),
		bench: core.Bench{Methods: cfg.AllMethods(), Policy: cfg.Policy},
	}
	if err := e.load(); err != nil {
		return nil, fmt.Errorf("reading the store: %w", err)
	}
	if err := e.loadOfficers(cfg.Officers); err != nil {
		return nil, fmt.Errorf("reading the officers' accounts: %w", err)
	}
	return e, nil
}

// Memory is what an engine knows without asking the store.
type Memory struct {
	Bench              core.Bench
	Files              map[string]core.File // of suits with an open run, by tag
	NextWake, LastLook time.Time
}

// Memory returns what the engine knows. It is not to be changed.
func (e *Engine) Memory() Memory {
	return Memory{Bench: e.bench, Files: e.files, NextWake: e.NextWake().UTC(), LastLook: e.looked.UTC()}
}

// load reads the state from the store, in place of what was in memory.
func (e *Engine) load() error {
	e.bench.Manometers = make(map[string]core.Manometer)
	e.bench.Runs = make(map[core.RunID]core.Run)
	e.files = make(map[string]core.File)
	e.shown = make(map[string]string)
	e.wakes = make(map[core.RunID]time.Time)
	e.relisted = make(map[core.RunID]time.Time)
	e.look, e.looked = time.Time{}, time.Time{}
	gauges, err := e.store.Manometers()
	if err != nil {
		return err
	}
	for _, m := range gauges {
		e.bench.Manometers[m.ID] = m
	}
	if e.bench.LastUsed, err = e.store.LastUsed(); err != nil {
		return err
	}
	if err := ledger.RebuildRows(e.store, e.bench.Policy); err != nil {
		return err
	}
	if err := e.loadLooks(); err != nil {
		return err
	}
	open, err := e.store.OpenRuns()
	if err != nil {
		return err
	}
	for _, id := range open {
		entries, err := e.store.OfRun(id)
		if err != nil {
			return err
		}
		run := core.Replay(entries)
		if e.files[run.Suit.Tag], err = e.file(run.Suit.Tag); err != nil {
			return err
		}
		run.Tester = e.named(run.Tester)
		e.keep(run)
	}
	return nil
}

// loadLooks reads when the last look was. The next one is by the rules of today's
// configuration, which may not be those by which it was set.
func (e *Engine) loadLooks() error {
	wakes, err := e.store.Wakes()
	if err != nil {
		return err
	}
	for _, w := range wakes {
		switch w.Key {
		case wakeLook:
			e.look = w.Due
		case wakeLooked:
			e.looked = w.Due
		case ledger.WakeRestored:
			e.restored = w.Due
		}
		if run, is := strings.CutPrefix(w.Key, wakeRelisted); is {
			if id, ok := chat.ParseRunID(run); ok {
				e.relisted[id] = w.Due
			}
		}
	}
	next := e.reminders.Next(e.looked)
	if e.looked.IsZero() || next.IsZero() || e.look.Equal(e.reminders.QuietUntil(next, e.bench.Policy.Zone)) {
		return nil
	}
	e.look = next
	return nil
}

// keep puts a run's new state in its place.
func (e *Engine) keep(run core.Run) {
	if run.Phase == core.Over {
		delete(e.bench.Runs, run.ID)
		delete(e.wakes, run.ID)
		delete(e.relisted, run.ID)
		delete(e.spoke, run.ID)
		maps.DeleteFunc(e.shown, func(key, _ string) bool { return ofRun(key, run.ID) })
		if _, again := e.bench.OnSuit(run.Suit.Tag); !again {
			delete(e.files, run.Suit.Tag)
		}
		return
	}
	e.bench.Runs[run.ID] = run
	delete(e.wakes, run.ID)
	if next, ok := run.NextBell(e.bench.Policy); ok {
		e.wakes[run.ID] = next.Due
	}
}

// NextWake returns when the engine must be woken, zero if nothing is to come.
func (e *Engine) NextWake() time.Time {
	next := e.look
	for _, due := range e.wakes {
		if next.IsZero() || due.Before(next) {
			next = due
		}
	}
	return next
}

// NextAfter returns the next moment after another at which the engine must be woken,
// zero if there is none.
func (e *Engine) NextAfter(after time.Time) (next time.Time) {
	for _, due := range append(slices.Collect(maps.Values(e.wakes)), e.look) {
		if due.After(after) && (next.IsZero() || due.Before(next)) {
			next = due
		}
	}
	return next
}

// Due returns an event for each wake time that has come at now, by the chat
// server's clock, soonest first; that of the look for what is due is the last.
func (e *Engine) Due(now time.Time) []chat.Event {
	due := make([]core.RunID, 0, len(e.wakes))
	for id, at := range e.wakes {
		if !at.After(now) {
			due = append(due, id)
		}
	}
	slices.SortFunc(due, func(a, b core.RunID) int {
		return cmp.Or(e.wakes[a].Compare(e.wakes[b]), cmp.Compare(a, b))
	})
	var events []chat.Event
	for _, id := range due {
		events = append(events, chat.Event{
			ID: fmt.Sprintf("wake/%s/%d/%d", id, e.wakes[id].UnixNano(), now.UnixNano()), At: now, What: chat.Woke{Key: id.String()},
		})
	}
	if !e.look.After(now) {
		events = append(events, chat.Event{ID: fmt.Sprintf("wake/%s/%d", wakeLook, now.UnixNano()), At: now, What: chat.Woke{Key: wakeLook}})
	}
	return events
}

// Wake handles what is due at now.
func (e *Engine) Wake(now time.Time) error {
	for _, ev := range e.Due(now) {
		if err := e.Handle(ev); err != nil {
			return err
		}
	}
	return nil
}

// Handle does what an event asks for, in one transaction, or nothing of it.
//
// An error means that the event was not handled. If it is a *Needs, the caller
// gets what the event needs and calls [Engine.HandleImport]. Else the event must be
// brought again; one that fails again and again for another reason than the store
// is ended by [Engine.GiveUp].
func (e *Engine) Handle(ev chat.Event) error {
	return e.handle(&turn{Engine: e, ev: ev})
}

// HandleImport handles an event for which Handle returned a *Needs, with what was
// read from the files attached to it, or with the error that says why they cannot be.
func (e *Engine) HandleImport(ev chat.Event, plan ledger.Plan, err error) error {
	return e.handle(&turn{Engine: e, ev: ev, plan: &plan, planErr: err})
}

func (e *Engine) handle(t *turn) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("panic: %v\n%s", r, debug.Stack())
		}
		if err != nil {
			err = fmt.Errorf("event %s: %w", t.ev.ID, err)
		}
	}()
	if e.inDoubt {
		fresh := *e
		if err := fresh.load(); err != nil {
			return fmt.Errorf("reading the store again: %w", err)
		}
		*e = fresh
		e.inDoubt = false
	}
	if who, is := t.ev.What.(chat.People); is {
		return e.people(who.All)
	}
	if seen, err := e.store.Seen(t.ev.ID); err != nil || seen {
		return err
	}
	if t.beforeRestored() {
		return t.commit()
	}
	t.changed = make(map[string]core.File)
	if t.lastSeq, _, err = e.store.Head(); err != nil {
		return err
	}
	if err := t.locate(); err != nil {
		return err
	}
	if err := t.dispatch(); err != nil {
		text, ok := e.refuse(err, t.in)
		if !ok {
			return err
		}
		t.reset()
		t.answer(text)
		t.unheeded = true
	}
	if err := t.photos(); err != nil {
		return err
	}
	return t.commit()
}

// GiveUp ends an event that cannot be handled: it is never tried again, and the author
// of a post or an edit is told. A wake time is put off, so that the next one can ring.
func (e *Engine) GiveUp(ev chat.Event, cause error) (err error) {
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("event %s: panic: %v", ev.ID, r)
		}
	}()
	e.log.Error("an event could not be handled and is given up", "event", ev.ID, "err", cause)
	t := &turn{Engine: e, ev: ev, changed: make(map[string]core.File)}
	switch w := ev.What.(type) {
	case chat.Said, chat.Edited:
		if t.tryLocate(); t.heard {
			t.answer(commands.CouldNot("a fault in the program"))
		}
	case chat.Woke:
		const later = time.Minute
		id, isRun := chat.ParseRunID(w.Key)
		run, open := e.bench.Runs[id]
		switch {
		case w.Key == wakeLook:
			t.setLook(ev.At.Add(later), e.looked)
		case isRun && open:
			t.wake(w.Key, ev.At.Add(later))
			t.enqueue(store.Out{
				Class: store.Bell, Due: ev.At, Thread: chat.CardKey(id), Fallback: run.Tester.ID,
				Text: e.speak.BellFailed(t.withName(run), ev.At.Add(later)),
			})
			defer func() {
				if err == nil {
					e.wakes[id] = ev.At.Add(later)
				}
			}()
		}
	}
	t.heard = true
	return t.commit()
}

// tryLocate is locate for an event that perhaps failed there: what it cannot find out
// is left out, and the answer goes to where the event came from.
func (t *turn) tryLocate() {
	defer func() {
		if r := recover(); r != nil {
			t.hasRun = false
		}
	}()
	if err := t.locate(); err != nil {
		t.hasRun = false
	}
}

// beforeRestored reports whether an event is older than the journal that the store was
// restored from. What it did is in the journal, or it did nothing then: its moment is
// past, and it is not carried out on what came after it.
func (t *turn) beforeRestored() bool {
	if t.restored.IsZero() || t.ev.At.After(t.restored) {
		return false
	}
	switch t.ev.What.(type) {
	case chat.Said, chat.Edited, chat.Deleted, chat.Tapped, chat.TapsNow:
		t.heard = true // so that it is known from now on
		return true
	}
	return false
}
