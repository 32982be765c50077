package engine

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"slices"
	"strings"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/bot/document"
	"benchbell/bot/ledger"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// Directory is what the engine looks up outside while it decides.
type Directory interface {
	Person(ctx context.Context, name string) (core.Person, error)
	chat.Files
}

// Engine handles events one at a time. Whoever calls it owns the state: none
// of its methods may run at the same time as another.
type Engine struct {
	store *store.Store
	speak commands.Speaker
	world Directory
	log   *slog.Logger

	cfg          config.Config
	reminders    config.Reminders
	officerNames []string
	dates        string // how register files write days
	Maker        document.Maker
	Plain        bool // draws no pictures

	bench core.Bench
	files map[string]core.File // of suits with an open run, by tag
	shown map[string]string    // text on screen, by key of its post
	wakes map[core.RunID]time.Time
	// When the next look for what is due is, and when the last was; zero
	// before the first.
	look, looked time.Time
}

// NewEngine takes up where the store was left. The methods are those of the
// configuration besides the built-in ones; name is the bot's own user name.
func New(st *store.Store, cfg config.Config, name string, world Directory, log *slog.Logger) (*Engine, error) {
	e := &Engine{
		store: st, world: world, log: log, cfg: cfg,
		reminders: cfg.Reminders, officerNames: cfg.Officers, dates: cfg.Dates,
		Maker: document.NewMaker(st, cfg, log),
		speak: commands.Speaker{Zone: cfg.Policy.Zone, Bot: name, AskAir: cfg.Policy.AsksAir()},
		bench: core.Bench{
			Methods:    cfg.AllMethods(),
			Manometers: make(map[string]core.Manometer),
			Runs:       make(map[core.RunID]core.Run),
			Policy:     cfg.Policy,
		},
		files: make(map[string]core.File),
		shown: make(map[string]string),
		wakes: make(map[core.RunID]time.Time),
	}
	if err := e.load(); err != nil {
		return nil, fmt.Errorf("reading the store: %w", err)
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

func (e *Engine) load() error {
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
		}
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
		e.keep(run)
	}
	return nil
}

// keep puts a run's new state in its place.
func (e *Engine) keep(run core.Run) {
	if run.Phase == core.Over {
		delete(e.bench.Runs, run.ID)
		delete(e.wakes, run.ID)
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

// Wake rings what is due at now, by the chat server's clock, soonest first.
func (e *Engine) Wake(ctx context.Context, now time.Time) error {
	due := make([]core.RunID, 0, len(e.wakes))
	for id, at := range e.wakes {
		if !at.After(now) {
			due = append(due, id)
		}
	}
	slices.SortFunc(due, func(a, b core.RunID) int {
		return cmp.Or(e.wakes[a].Compare(e.wakes[b]), cmp.Compare(a, b))
	})
	for _, id := range due {
		ev := chat.Event{ID: fmt.Sprintf("wake/%s/%d/%d", id, e.wakes[id].UnixNano(), now.UnixNano()), At: now, What: chat.Woke{Key: id.String()}}
		if err := e.Handle(ctx, ev); err != nil {
			return err
		}
	}
	if e.look.After(now) {
		return nil
	}
	err := e.Handle(ctx, chat.Event{ID: fmt.Sprintf("wake/%s/%d", wakeLook, now.UnixNano()), At: now, What: chat.Woke{Key: wakeLook}})
	if _, outside := errors.AsType[*chat.SendError](err); outside {
		e.log.Warn("the look for what is due waits for the chat server", "error", err)
		e.look = now.Add(time.Minute)
		return nil
	}
	return err
}

// Handle does what an event asks for, in one transaction, or nothing of it.
// An error means that the event was not handled and must be brought again.
func (e *Engine) Handle(ctx context.Context, ev chat.Event) error {
	seen, err := e.store.Seen(ev.ID)
	if err != nil {
		return fmt.Errorf("event %s: %w", ev.ID, err)
	}
	if seen {
		return nil
	}
	do := &turn{Engine: e, ctx: ctx, ev: ev, changed: make(map[string]core.File)}
	if err := do.locate(); err != nil {
		return fmt.Errorf("event %s: %w", ev.ID, err)
	}
	if err := do.dispatch(); err != nil {
		text, ok := e.refuse(err, do.in)
		if !ok {
			return fmt.Errorf("event %s: %w", ev.ID, err)
		}
		do.reset()
		do.answer(text)
		do.unheeded = true
	}
	if err := do.photos(); err != nil {
		return fmt.Errorf("event %s: %w", ev.ID, err)
	}
	if err := do.commit(); err != nil && !errors.Is(err, store.ErrSeen) {
		return fmt.Errorf("event %s: %w", ev.ID, err)
	}
	return nil
}

// doing is one event being handled. It gathers all that is to be committed.
type turn struct {
	*Engine
	ctx context.Context
	ev  chat.Event

	in      commands.Place
	text    string
	heard   bool // it is for the bot
	run     core.Run
	hasRun  bool
	entries []core.Entry
	out     []store.Out
	after   core.Run             // the run once the entries are applied
	changed map[string]core.File // suits that the entries are about, by tag

	given              []string // notices given
	nextLook, lastLook time.Time
	wakes              map[string]time.Time // wake times to be set

	imports  bool   // what is attached is for the register
	unheeded bool   // nothing came of the words
	perhaps  string // what they could have been meant for
}

// place finds out where something was said: in a run's thread, or in talk with
// the bot.
func (do *turn) locate() error {
	var text string
	var mentioned bool
	switch w := do.ev.What.(type) {
	case chat.Said:
		text, mentioned = w.Text, w.Mentioned
	case chat.Edited:
		text, mentioned = w.Text, w.Mentioned
	default:
		return nil
	}
	do.text, _ = commands.WithoutMention(text, do.speak.Bot)
	do.heard = mentioned || do.ev.Where.Direct
	if root := do.ev.Where.Root; root != "" {
		if _, err := do.takeRunOf(root); err != nil {
			return err
		}
	}
	if do.hasRun {
		do.in, do.heard = commands.Thread, true
	}
	return nil
}

// takeRunOf makes the run that one of the bot's posts belongs to, if it is one
// of a run, the one that the event is about. It returns the post's key.
func (do *turn) takeRunOf(post string) (key string, err error) {
	key, ok, err := do.keyOf(post)
	if err != nil || !ok {
		return "", err
	}
	if id, ok := chat.RunOfKey(key); ok {
		return key, do.takeRun(id)
	}
	return key, nil
}

// keyOf returns the key of the bot's post that the event is about. Who is quick
// taps a post, or replies to it, before the answer to the call that made it has
// come and the outbox knows that it is delivered: the event itself knows then.
func (do *turn) keyOf(post string) (key string, ok bool, err error) {
	if do.ev.Key != "" {
		return do.ev.Key, true, nil
	}
	return do.store.PostKey(post)
}

// takeRun makes a run the one that the event is about, open or closed.
func (do *turn) takeRun(id core.RunID) error {
	run, open := do.bench.Runs[id]
	if !open {
		entries, err := do.store.OfRun(id)
		if err != nil || len(entries) == 0 {
			return err
		}
		run = core.Replay(entries)
	}
	do.run, do.after, do.hasRun = run, run, true
	return nil
}

func (do *turn) asker() core.Asker {
	return core.Asker{At: do.ev.At, By: do.ev.Who, Post: do.post()}
}

func (do *turn) post() string {
	switch w := do.ev.What.(type) {
	case chat.Said:
		return w.Post
	case chat.Edited:
		return w.Post
	}
	return ""
}

// dispatch handles the event by its kind. An error that Speaker.Refuse can
// word is told to the person; any other leaves the event unhandled.
func (do *turn) dispatch() error {
	switch w := do.ev.What.(type) {
	case chat.Said:
		return do.said()
	case chat.Edited:
		return do.edited(w)
	case chat.Tapped:
		return do.tapped(w)
	case chat.TapsNow:
		return do.tapsNow(w)
	case chat.Woke:
		return do.woke(w)
	case chat.Fetched:
		return do.fetched(w)
	}
	return nil
}

// said handles words.
func (do *turn) said() error {
	if !do.heard {
		return do.astray()
	}
	files := do.ev.What.(chat.Said).Files
	if do.wordless() && len(files) > 0 && (do.hasRun || anyImage(files)) {
		return nil
	}
	if do.wordless() && len(files) > 0 && !do.hasRun { // a file means nothing by itself
		return &core.Refusal{Why: core.NoFile}
	}
	want, err := commands.Parse(do.text, do.in)
	_, do.imports = want.(core.ImportFiles)
	if err == nil {
		err = do.handleIntent(want)
	} else if m, is := errors.AsType[*commands.Misunderstood](err); do.chatter() && !(is && m.Meant()) {
		do.unheeded = true
		return nil
	}
	if do.isCaption(want, err) {
		do.caption(err)
		return nil
	}
	return err
}

// astray answers a reading or a photo that a tester posts in the channel and not
// in the thread of the run that waits for it: it must not be lost in silence.
func (do *turn) astray() error {
	runs := do.runsOf(do.ev.Who)
	if do.ev.Where.Root != "" || len(runs) == 0 {
		return nil
	}
	if said, _ := do.ev.What.(chat.Said); anyImage(said.Files) {
		do.answer(do.speak.PhotoElsewhere(do.runChoices()))
		return nil
	}
	want, err := commands.Parse(do.text, commands.Thread)
	if err != nil {
		return nil
	}
	switch want.(type) {
	case core.Read:
		return do.noRunHere()
	case core.AddAir: // only who measures a capacity means it so
		if slices.ContainsFunc(runs, func(r core.Run) bool { return r.Metering.Open() }) {
			return do.noRunHere()
		}
	}
	return nil
}

// runsOf returns the open runs of a tester.
func (e *Engine) runsOf(who core.Person) []core.Run {
	var runs []core.Run
	for _, id := range slices.Sorted(maps.Keys(e.bench.Runs)) {
		if run := e.bench.Runs[id]; run.Tester.Is(who) {
			runs = append(runs, run)
		}
	}
	return runs
}

// noRunHere refuses what belongs in the thread of a run, and names the runs
// that can be meant.
func (do *turn) noRunHere() error {
	return &core.Refusal{Why: core.NoRunHere, Choices: do.runChoices()}
}

// runChoices names the open runs of who is talking.
func (do *turn) runChoices() (names []string) {
	for _, run := range do.runsOf(do.ev.Who) {
		names = append(names, fmt.Sprintf("%s (%s)", run.ID, run.Suit.Tag))
	}
	return names
}

// whereAll answers what all runs of a tester wait for.
func (do *turn) whereAll() error {
	runs := do.runsOf(do.ev.Who)
	if len(runs) == 0 {
		return do.noRunHere()
	}
	var all []string
	for _, run := range runs {
		all = append(all, do.speak.Where(run, do.ev.At))
	}
	do.answer(strings.Join(all, "\n"))
	return nil
}

// chatter reports whether words that mean nothing here are just talk between
// people: in the thread of a run, by somebody who does not run it, or when it
// is closed.
func (do *turn) chatter() bool {
	said, _ := do.ev.What.(chat.Said)
	return do.in == commands.Thread && !said.Mentioned && (do.run.Phase == core.Over || !do.ev.Who.Is(do.run.Tester))
}

// want does what somebody wants.
func (do *turn) handleIntent(want any) error {
	switch w := want.(type) {
	case commands.Thanks:
		return nil
	case commands.Help:
		do.help(w)
		return nil
	case core.AskSuit:
		return do.askSuit(w)
	case core.AskFleet:
		return do.askFleet()
	case core.AskWhere:
		if !do.hasRun {
			return do.whereAll()
		}
		do.answer(do.speak.Where(do.run, do.ev.At))
		return nil
	case core.AskReady:
		return do.askReady(w)
	case core.AskDue:
		return do.askDue(w)
	case core.AskHistory:
		return do.askHistory(w)
	case core.Release:
		return do.release(w)
	case core.Enter:
		return do.enter(w)
	case core.ImportFiles:
		return do.importFiles()
	case core.AskWhy:
		if !do.hasRun {
			return do.noRunHere()
		}
		do.answer(do.speak.Why(do.run))
		return nil
	case core.Measure:
		return do.measure(w)
	case core.AskRecord:
		return do.askRecord(w)
	case core.AskLogbook:
		return do.askLogbook(w)
	case core.AskShelf:
		return do.askShelf()
	case core.Open:
		return do.open(w)
	case core.NoteUsed, core.NoteFound, core.NoteRepaired, core.NoteCause, core.Withdraw, core.Retire, core.Reinstate:
		return do.aboutSuit(want.(core.Intent))
	case core.HandOver:
		to, err := do.world.Person(do.ctx, w.To.Name)
		if fault, is := errors.AsType[*chat.SendError](err); errors.Is(err, chat.ErrNobody) || is && !fault.Retry() {
			return &core.Refusal{Why: core.UnknownPerson, Person: w.To}
		}
		if err != nil {
			return err
		}
		return do.onRun(core.HandOver{To: to})
	case core.Intent:
		return do.onRun(w)
	}
	return fmt.Errorf("nobody handles %T", want)
}

// onRun lets the run of this thread decide.
func (do *turn) onRun(want core.Intent) error {
	if !do.hasRun {
		return do.noRunHere()
	}
	facts, err := do.run.Decide(do.bench, do.asker(), want)
	if err != nil {
		return err
	}
	if _, said := do.ev.What.(chat.Said); said && len(facts) == 0 { // it is so already
		do.answer(do.speak.Where(do.run, do.ev.At))
		return nil
	}
	return do.record(facts)
}

// edited handles a post whose text was changed: a reading is corrected, words
// that came to nothing are heard now.
func (do *turn) edited(w chat.Edited) error {
	if !do.heard || do.wordless() {
		return nil
	}
	want, err := commands.Parse(do.text, do.in)
	if err != nil {
		if do.chatter() || do.isCaption(want, err) || !do.ev.Where.Direct && do.in != commands.Thread {
			return nil
		}
		return err
	}
	read, isReading := want.(core.Read)
	if isReading && do.hasRun {
		err := do.onRun(core.Amend{Post: w.Post, Read: read})
		if refusal, is := errors.AsType[*core.Refusal](err); !is || refusal.Why != core.NothingToFix {
			return err
		}
		// It was not taken then. It is true now: an edit starts no clock in the past.
		return do.handleIntent(want)
	}
	done, err := do.didAnything(w.Post, want)
	if err != nil {
		return err
	}
	if done {
		do.answer("An edit corrects a reading only. Say it anew.")
		return nil
	}
	return do.handleIntent(want)
}

// didAnything reports whether a post is the cause of something in the journal
// of its run, or of the suit that it now speaks of.
func (do *turn) didAnything(post string, want any) (bool, error) {
	var entries []core.Entry
	if do.hasRun {
		of, err := do.store.OfRun(do.run.ID)
		if err != nil {
			return false, err
		}
		entries = of
	}
	if intent, ok := want.(core.Intent); ok {
		if typed, fact, _ := core.SuitFact(intent, do.ev.At, do.bench.Policy.Zone); fact != nil {
			tag, _, err := do.store.SuitTag(typed)
			if err != nil {
				return false, err
			}
			of, err := do.store.OfSuit(tag)
			if err != nil {
				return false, err
			}
			entries = append(entries, of...)
		}
	}
	return slices.ContainsFunc(entries, func(e core.Entry) bool {
		switch e.Fact.(type) {
		case core.PhotoPosted, core.PhotoLost: // that was the file, not the words
			return false
		}
		return e.Event == post
	}), nil
}

// tapped handles a tap on a number under a list.
func (do *turn) tapped(w chat.Tapped) error {
	key, err := do.takeRunOf(w.Post)
	if err != nil || !do.hasRun {
		return err
	}
	do.in, do.heard = commands.Thread, true
	if key != chat.ListKey(do.run) || do.run.List() == nil {
		if w.On {
			return &core.Refusal{Why: core.NoList, Run: do.run.ID}
		}
		return nil
	}
	if w.On {
		return do.onRun(core.Tick{Items: []int{w.N}, ByTap: true})
	}
	if !do.tickedBy(do.ev.Who, w.N) {
		return nil
	}
	return do.onRun(core.Untick{Items: []int{w.N}})
}

// tickedBy reports whether number n of the list stands ticked by this person's
// tap: taking back a tap undoes no tick made by words.
func (do *turn) tickedBy(who core.Person, n int) bool {
	list := do.run.List()
	return n >= 1 && n <= len(list) && list[n-1].ByTap && list[n-1].By.Is(who)
}

// tapsNow makes up for taps missed.
func (do *turn) tapsNow(w chat.TapsNow) error {
	key, err := do.takeRunOf(w.Post)
	if err != nil || !do.hasRun || key != chat.ListKey(do.run) {
		return err
	}
	do.in, do.heard = commands.Thread, true
	shown, undone, err := do.listOnScreen()
	if err != nil {
		return err
	}
	standing := make(map[int]bool)
	var missed []int
	for _, tap := range w.Taps {
		if !tap.Who.Is(do.run.Tester) {
			continue
		}
		standing[tap.N] = true
		if list := do.run.List(); tap.N >= 1 && tap.N <= len(list) && !list[tap.N-1].Done && tap.At.After(undone[tap.N]) {
			missed = append(missed, tap.N)
		}
	}
	do.ev.Who = do.run.Tester
	var gone []int
	for i, c := range do.run.List() {
		if c.Done && c.ByTap && !standing[i+1] && !c.At.Before(shown) {
			gone = append(gone, i+1)
		}
	}
	if len(gone) > 0 {
		if err := do.onRun(core.Untick{Items: gone}); err != nil {
			return err
		}
		do.run = do.after
	}
	if len(missed) > 0 {
		return do.onRun(core.Tick{Items: missed, ByTap: true})
	}
	return nil
}

// listOnScreen returns when the run's list was put on screen, and when each of
// its numbers was last taken back: a tap from before that says nothing any more,
// and a tick from before the list was not made by a tap under it.
func (do *turn) listOnScreen() (shown time.Time, undone map[int]time.Time, err error) {
	entries, err := do.store.OfRun(do.run.ID)
	undone = make(map[int]time.Time)
	var run core.Run
	for _, e := range entries {
		lists := run.Lists
		if run = run.Apply(e); run.Lists != lists {
			shown = e.At
			clear(undone)
		}
		if un, ok := e.Fact.(core.Unticked); ok {
			for _, n := range un.Items {
				undone[n] = e.At
			}
		}
	}
	return shown, undone, err
}

// woke rings a run's bells.
func (do *turn) woke(w chat.Woke) error {
	if w.Key == wakeLook {
		return do.lookForDue()
	}
	id, ok := chat.ParseRunID(w.Key)
	if !ok {
		return fmt.Errorf("wake time of nothing: %q", w.Key)
	}
	run, open := do.bench.Runs[id]
	if !open {
		return nil
	}
	do.run, do.after, do.hasRun = run, run, true
	return do.record(run.Ring(do.bench.Policy, do.ev.At))
}

// open begins a run.
func (do *turn) open(w core.Open) error {
	file, err := do.findSuit(w.Suit)
	if err != nil {
		return err
	}
	standing := file.Standing(do.bench.Policy, do.bench.Day(do.ev.At))
	facts, err := do.bench.Open(w, file.Suit, standing, do.ev.Who)
	if refusal, is := errors.AsType[*core.Refusal](err); is && refusal.Why == core.ManometerUnsaid {
		refusal.Choices = do.bench.InCalibration(do.ev.At)
	}
	if err != nil {
		return err
	}
	id, err := do.store.NextRun()
	if err != nil {
		return err
	}
	do.run, do.after, do.hasRun = core.Run{ID: id, Suit: file.Suit}, core.Run{ID: id, Suit: file.Suit}, true
	if err := do.record(facts); err != nil {
		return err
	}
	if do.ev.Where.Direct {
		do.answer(fmt.Sprintf("%s is open in the crew channel: go on in its thread.", id))
	}
	return nil
}

// aboutSuit records something about a suit outside a run.
func (do *turn) aboutSuit(want core.Intent) error {
	typed, fact, err := core.SuitFact(want, do.ev.At, do.bench.Policy.Zone)
	if err != nil {
		return err
	}
	file, err := do.findSuit(typed)
	if err != nil {
		return err
	}
	switch w := want.(type) {
	case core.Retire, core.Reinstate:
		if !do.isOfficer(do.ev.Who) {
			return &core.Refusal{Why: core.NotAnOfficer, Suit: file.Suit.Tag, Choices: do.officerNames}
		}
	case core.NoteRepaired:
		if err := file.WhichRepaired(w); err != nil {
			return err
		}
	}
	if fact, err = file.Decide(fact); err != nil {
		return err
	}
	do.enterSuitFact(file, fact)
	return nil
}

// enterSuitFact enters a fact of a suit's life outside a run, and answers with
// what the suit may be used for now.
func (do *turn) enterSuitFact(file core.File, fact core.Fact) {
	entry := core.Entry{At: do.ev.At, By: do.ev.Who, Event: do.cause(), Suit: file.Suit.Tag, Fact: fact}
	do.entries = append(do.entries, entry)
	file = file.Apply(entry)
	do.changed[file.Suit.Tag] = file
	do.answer(do.speak.Suit(file.Suit.Tag, file.Standing(do.bench.Policy, do.bench.Day(do.ev.At)), do.ev.At))
}
