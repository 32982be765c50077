package engine

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"strings"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/ledger"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// turn is one event being handled. It gathers all that is to be committed.
type turn struct {
	*Engine
	ev chat.Event

	in      commands.Place
	text    string
	heard   bool // it is addressed to the bot
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
	unheeded bool   // the words changed nothing
	perhaps  string // a command that they may have been meant for

	unknownRun core.RunID        // named, and there is none of it
	elsewhere  bool              // the run was named outside its thread
	rows       []store.SuitRow   // of suits that nothing else here is about
	lastSeq    uint64            // of the journal before this event
	posts      map[string]string // posts of the bot's that the event tells of, by key
	plan       *ledger.Plan      // what attached files say
	planErr    error
}

// locate finds out where something was said: in a run's thread, or in talk with
// the bot.
func (t *turn) locate() error {
	var text string
	var mentioned bool
	switch w := t.ev.What.(type) {
	case chat.Said:
		text, mentioned = w.Text, w.Mentioned
	case chat.Edited:
		text, mentioned = w.Text, w.Mentioned
	default:
		return nil
	}
	t.text, _ = commands.WithoutMention(text, t.speak.Bot)
	t.heard = mentioned || t.ev.Where.Direct
	if root := t.ev.Where.Root; root != "" {
		if _, err := t.takeRunOf(root); err != nil {
			return err
		}
	}
	if t.hasRun {
		t.in, t.heard = commands.Thread, true
	}
	if edited, is := t.ev.What.(chat.Edited); is {
		if err := t.takeRunByCause(edited.Post); err != nil {
			return err
		}
	}
	if err := t.takeNamedRun(); err != nil {
		return err
	}
	if t.hasRun && t.run.Tester.Is(t.ev.Who) {
		t.spoke[t.run.ID] = t.ev.At
	}
	return nil
}

// takeRunByCause makes the open run in which a post put something on record the run of
// this turn, wherever the post stands: it may have named the run.
func (t *turn) takeRunByCause(post string) error {
	for _, id := range slices.Sorted(maps.Keys(t.bench.Runs)) {
		entries, err := t.store.OfRun(id)
		if err != nil {
			return err
		}
		if !slices.ContainsFunc(entries, func(e core.Entry) bool {
			_, opened := e.Fact.(core.Opened)
			return e.Event == post && !opened
		}) {
			continue
		}
		t.elsewhere = !t.hasRun || t.run.ID != id
		t.in, t.heard = commands.Thread, true
		return t.takeRun(id)
	}
	return nil
}

// takeNamedRun finds the run that is named in the text ("R-0001 15.0", "stop R-0001 …")
// and makes it the run of this turn. Words in the channel that do not mention the bot
// are for it only if they mean something in that run.
func (t *turn) takeNamedRun() error {
	id, rest, ok := commands.ForRun(t.text)
	if first, _, _ := strings.Cut(t.text, " "); ok && t.hasRun && t.run.ID != id && strings.HasSuffix(first, ":") {
		if _, begins := chat.ParseRunID(strings.ToUpper(strings.TrimSuffix(first, ":"))); !begins {
			return nil // "stop: R-0002 leaks": a reason, whatever it names
		}
	}
	if ok && !strings.Contains(strings.ToUpper(t.text), id.String()) {
		// A suit may have a tag like a run's: it goes first, but for the run's full id.
		if _, isSuit, err := t.store.SuitTag(id.String()); err != nil || isSuit {
			return err
		}
	}
	if !ok || t.hasRun && t.run.ID == id {
		if ok {
			t.text = rest
		}
		return nil
	}
	if !t.heard {
		if _, open := t.bench.Runs[id]; !open {
			return nil
		}
		if _, err := commands.Parse(rest, commands.Thread); err != nil {
			return nil
		}
	}
	before := t.hasRun
	t.hasRun = false
	if err := t.takeRun(id); err != nil || !t.hasRun {
		t.hasRun, t.unknownRun = before, id
		return err
	}
	t.text, t.in, t.heard, t.elsewhere = rest, commands.Thread, true, true
	return nil
}

// takeRunOf makes the run of one of the bot's posts, if the post belongs to one, the
// run of this turn. It returns the post's key.
func (t *turn) takeRunOf(post string) (key string, err error) {
	key, ok, err := t.keyOf(post)
	if err != nil || !ok {
		return "", err
	}
	id, ok := chat.RunOfKey(key)
	if !ok {
		return key, nil
	}
	if err := t.takeRun(id); err != nil {
		return key, err
	}
	switch {
	case !t.hasRun: // the journal was restored from before it: its number is taken all the same
		t.unknown = max(t.unknown, id)
	case t.ev.Key != "": // the store may not know the post: it was restored, say
		t.posts = map[string]string{t.ev.Key: post}
	}
	return key, nil
}

// keyOf returns the key of the bot's post that the event is about. Who is quick
// taps a post, or replies to it, before the answer to the call that made it has
// come and the outbox knows that it is delivered: the event itself knows then.
func (t *turn) keyOf(post string) (key string, ok bool, err error) {
	if t.ev.Key == "" {
		return t.store.PostKey(post)
	}
	return chat.BaseKey(t.ev.Key), true, nil
}

// takeRun makes a run the one that the event is about, open or closed.
func (t *turn) takeRun(id core.RunID) error {
	run, open := t.bench.Runs[id]
	if !open {
		entries, err := t.store.OfRun(id)
		if err != nil || len(entries) == 0 {
			return err
		}
		run = core.Replay(entries)
	}
	t.run, t.after, t.hasRun = run, run, true
	return nil
}

func (t *turn) asker() core.Asker {
	return core.Asker{
		At: t.ev.At, By: t.ev.Who, Post: t.post(),
		Officer: t.isNamedOfficer(t.ev.Who), Absent: t.gone(t.run.Tester),
	}
}

func (t *turn) post() string {
	switch w := t.ev.What.(type) {
	case chat.Said:
		return w.Post
	case chat.Edited:
		return w.Post
	}
	return ""
}

// dispatch handles the event by its kind. An error that Speaker.Refuse can
// word is told to the person; any other leaves the event unhandled.
func (t *turn) dispatch() error {
	switch w := t.ev.What.(type) {
	case chat.Said:
		return t.said()
	case chat.Edited:
		return t.edited(w)
	case chat.Deleted:
		return t.deleted(w)
	case chat.CardGone:
		return t.cardGone(w)
	case chat.Tapped:
		return t.tapped(w)
	case chat.TapsNow:
		return t.tapsNow(w)
	case chat.Woke:
		return t.woke(w)
	case chat.Fetched:
		return t.fetched(w)
	}
	return nil
}

// said handles words.
func (t *turn) said() error {
	if !t.heard {
		return t.astray()
	}
	files := t.ev.What.(chat.Said).Files
	if t.wordless() && len(files) > 0 && (t.hasRun || anyImage(files)) {
		return nil
	}
	if t.wordless() && len(files) > 0 && !t.hasRun { // a file means nothing by itself
		return &core.Refusal{Why: core.NoFile}
	}
	if t.unknownRun != 0 {
		return &core.Refusal{Why: core.UnknownRun, Run: t.unknownRun}
	}
	want, err := commands.Parse(t.text, t.in)
	_, t.imports = want.(core.ImportFiles)
	if err == nil {
		err = t.handleIntent(want)
	} else if m, is := errors.AsType[*commands.Misunderstood](err); t.chatter() && !(is && m.Meant()) {
		t.unheeded = true
		return nil
	}
	if t.isCaption(want, err) {
		t.caption(err)
		return nil
	}
	return err
}

// astray answers a reading or a photo that a tester posts in the channel and not
// in the thread of the run that waits for it: it must not be lost in silence.
func (t *turn) astray() error {
	runs := t.runsOf(t.ev.Who)
	if t.ev.Where.Root != "" || len(runs) == 0 {
		return nil
	}
	if said, _ := t.ev.What.(chat.Said); anyImage(said.Files) {
		t.answer(t.speak.PhotoElsewhere(t.runChoices()))
		return nil
	}
	want, err := commands.Parse(t.text, commands.Thread)
	if err != nil {
		return nil
	}
	switch want.(type) {
	case core.Read:
		return t.noRunHere()
	case core.AddAir: // only who measures a capacity means it so
		if slices.ContainsFunc(runs, func(r core.Run) bool { return r.Metering.Open() }) {
			return t.noRunHere()
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
func (t *turn) noRunHere() error {
	return &core.Refusal{Why: core.NoRunHere, Choices: t.runChoices()}
}

// runChoices names the speaker's open runs.
func (t *turn) runChoices() (names []string) {
	for _, run := range t.runsOf(t.ev.Who) {
		names = append(names, fmt.Sprintf("%s (%s)", run.ID, run.Suit.Tag))
	}
	return names
}

// whereAll answers what all runs of a tester wait for.
func (t *turn) whereAll() error {
	runs := t.runsOf(t.ev.Who)
	if len(runs) == 0 {
		return t.noRunHere()
	}
	var all []string
	for _, run := range runs {
		all = append(all, t.speak.Where(run, t.ev.At))
	}
	t.answer(strings.Join(all, "\n"))
	return nil
}

// chatter reports whether words that mean nothing here are just talk between
// people: in the thread of a run, by somebody who does not run it, or when it
// is closed.
func (t *turn) chatter() bool {
	said, _ := t.ev.What.(chat.Said)
	return t.in == commands.Thread && !said.Mentioned && (t.run.Phase == core.Over || !t.ev.Who.Is(t.run.Tester))
}

// want does what somebody wants.
func (t *turn) handleIntent(want any) error {
	switch w := want.(type) {
	case commands.Thanks:
		return nil
	case commands.Help:
		t.help(w)
		return nil
	case core.AskSuit:
		return t.askSuit(w)
	case core.AskFleet:
		return t.askFleet()
	case core.AskWhere:
		if !t.hasRun {
			return t.whereAll()
		}
		t.answer(t.speak.Where(t.run, t.ev.At))
		return nil
	case core.AskReady:
		return t.askReady(w)
	case core.AskDue:
		return t.askDue(w)
	case core.AskHistory:
		return t.askHistory(w)
	case core.Release:
		return t.release(w)
	case core.Enter:
		return t.enter(w)
	case core.ImportFiles:
		return t.importFiles()
	case core.AskWhy:
		if !t.hasRun {
			return t.noRunHere()
		}
		t.answer(t.speak.Why(t.run))
		return nil
	case core.Measure:
		return t.measure(w)
	case core.AskRecord:
		return t.askRecord(w)
	case core.AskLogbook:
		return t.askLogbook(w)
	case core.AskShelf:
		return t.askShelf()
	case core.Open:
		return t.open(w)
	case core.NoteUsed, core.NoteFound, core.NoteRepaired, core.NoteCause, core.Withdraw, core.Retire, core.Reinstate:
		return t.aboutSuit(want.(core.Intent))
	case core.HandOver:
		if !w.Me {
			to, ok := t.byName(w.To.Name)
			if !ok {
				return &core.Refusal{Why: core.UnknownPerson, Person: w.To}
			}
			w.To = to
		}
		return t.onRun(w)
	case core.Intent:
		return t.onRun(w)
	}
	return fmt.Errorf("nobody handles %T", want)
}

// onRun lets the run of this thread decide.
func (t *turn) onRun(want core.Intent) error {
	if !t.hasRun {
		return t.noRunHere()
	}
	if lost, err := t.listUnseen(want); lost || err != nil {
		return err
	}
	run := t.run
	if spoke := t.spoke[run.ID]; spoke.After(run.Heard) && !run.Tester.Is(t.ev.Who) {
		run.Heard = spoke
	}
	facts, err := run.Decide(t.bench, t.asker(), want)
	if err != nil {
		return err
	}
	if _, said := t.ev.What.(chat.Said); said && len(facts) == 0 { // it is so already
		t.answer(t.speak.Where(t.run, t.ev.At))
		return nil
	}
	if t.elsewhere {
		t.enqueue(t.whereSaid(commands.GoOnInThread(t.run)))
	}
	return t.record(facts)
}

// listUnseen refuses to tick by words a list that has not reached the chat yet:
// nobody can have looked at it. People see a post a moment before the answer to the
// call that made it is on record.
//
// A list that will never come is posted again, and lost is true.
func (t *turn) listUnseen(want core.Intent) (lost bool, err error) {
	tick, is := want.(core.Tick)
	if !is || tick.ByTap || t.run.List() == nil {
		return false, nil
	}
	const moment = 10 * time.Second
	key := chat.ListKey(t.run)
	if _, delivered, err := t.store.PostID(key); err != nil || delivered {
		return false, err
	}
	lost = true
	for o, err := range t.store.PendingFrom(0) {
		switch {
		case err != nil:
			return false, err
		case chat.BaseKey(o.Key) != key:
		case o.Tries > 0 && t.ev.At.Sub(o.First) < moment:
			return false, nil
		default:
			lost = false
		}
	}
	if lost {
		return true, t.relist()
	}
	return false, &core.Refusal{Why: core.ListUnseen, Run: t.run.ID, Suit: t.run.Suit.Tag}
}

// woke rings a run's bells.
func (t *turn) woke(w chat.Woke) error {
	if w.Key == wakeLook {
		return t.lookForDue()
	}
	id, ok := chat.ParseRunID(w.Key)
	if !ok {
		return fmt.Errorf("wake time of nothing: %q", w.Key)
	}
	run, open := t.bench.Runs[id]
	if !open {
		return nil
	}
	t.run, t.after, t.hasRun = run, run, true
	return t.record(run.Ring(t.bench.Policy, t.ev.At))
}
