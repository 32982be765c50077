package engine

import (
	"errors"
	"fmt"
	"maps"
	"slices"
	"time"

	"benchbell/bot/chart"
	"benchbell/bot/chat"
	"benchbell/bot/document"
	"benchbell/bot/ledger"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// record enters facts of the run, and says what they have to say.
func (do *turn) record(facts []core.Fact) error {
	if len(facts) == 0 {
		return nil
	}
	before := do.after
	file, err := do.enterOnRun(facts)
	if err != nil {
		return err
	}
	step := commands.Step{
		Before: before, After: do.after, Facts: facts, At: do.ev.At, By: do.ev.Who,
		Standing: file.Standing(do.bench.Policy, do.bench.Day(do.ev.At)),
	}
	if slices.ContainsFunc(facts, func(f core.Fact) bool { _, judged := f.(core.Judged); return judged }) {
		past, err := do.store.OfSuit(do.run.Suit.Tag)
		if err != nil {
			return err
		}
		step.History = document.Tests(do.bench, append(past, do.entries...))
	}
	for _, m := range do.speak.Run(step) {
		do.say(m)
	}
	return nil
}

// enterOnRun enters facts of the run, and returns its suit's file with them.
func (do *turn) enterOnRun(facts []core.Fact) (core.File, error) {
	file, err := do.fileNow(do.run.Suit.Tag)
	if err != nil {
		return core.File{}, err
	}
	for _, fact := range facts {
		entry := core.Entry{At: do.ev.At, By: do.ev.Who, Event: do.cause(), Suit: do.run.Suit.Tag, Run: do.run.ID, Fact: fact}
		do.entries = append(do.entries, entry)
		do.after = do.after.Apply(entry)
		file = file.Apply(entry)
	}
	do.changed[do.run.Suit.Tag] = file
	return file, nil
}

// fileNow returns a suit's file with what this event has entered so far.
func (do *turn) fileNow(tag string) (core.File, error) {
	if file, ok := do.changed[tag]; ok {
		return file, nil
	}
	if file, ok := do.files[tag]; ok {
		return file, nil
	}
	return do.Engine.file(tag)
}

// cause is the id that an entry names as what brought it: the post, so that
// whoever reads the journal finds it, or the event.
func (do *turn) cause() string {
	if post := do.post(); post != "" {
		return post
	}
	return do.ev.ID
}

// say puts a message of the run in the outbox. What is on screen already is
// left out.
func (do *turn) say(m commands.Message) {
	if m.Text == "" {
		return
	}
	run := do.after
	switch m.Dest {
	case commands.ToAsker:
		do.answer(m.Text)
	case commands.ToRun:
		o := store.Out{Thread: chat.CardKey(run.ID), Text: m.Text, Offer: m.Offer}
		do.enqueue(o)
	case commands.ToVerdict:
		key := chat.VerdictKey(run.ID, m.N)
		if !m.New {
			do.refresh(key, m.Text)
			return
		}
		o := store.Out{Key: key, Thread: chat.CardKey(run.ID), Text: m.Text}
		if m.Chart {
			do.picture(&o, run.ID.String(), func() ([]byte, error) {
				return chart.Run(run, do.bench.Policy.Zone, document.Fit(run)...)
			})
		}
		do.enqueue(o)
	case commands.ToEnd:
		if !m.New {
			do.refresh(chat.EndKey(run.ID), m.Text)
			return
		}
		do.enqueue(store.Out{Key: chat.EndKey(run.ID), Thread: chat.CardKey(run.ID), Text: m.Text})
	case commands.ToOfficers:
		do.tellOfficers(m.Text, m.Known)
	case commands.ToCrew:
		do.enqueue(store.Out{Text: m.Text})
	case commands.ToCard:
		if do.run.Phase == "" {
			// The card comes before everything else in its thread.
			card := store.Out{Key: chat.CardKey(run.ID), Kind: store.Post, Text: m.Text}
			do.out = append([]store.Out{card}, do.out...)
			return
		}
		do.refresh(chat.CardKey(run.ID), m.Text)
	case commands.ToList:
		key := chat.NumberedKey(run.ID, "list", m.N)
		if m.New {
			do.enqueue(store.Out{Key: key, Thread: chat.CardKey(run.ID), Text: m.Text, Offer: m.Offer})
			return
		}
		do.refresh(key, m.Text)
	}
}

// picture attaches a picture to what is said. What is said is not held up by
// one that cannot be drawn.
func (do *turn) picture(o *store.Out, name string, draw func() ([]byte, error)) {
	if do.Plain {
		return
	}
	png, err := draw()
	switch {
	case errors.Is(err, chart.ErrNothing):
	case err != nil:
		do.log.Error("a picture could not be drawn", "name", name, "error", err)
	default:
		o.File, o.FileName = png, document.FileName(name)+".png"
	}
}

func (do *turn) refresh(key, text string) {
	if do.shown[key] != text {
		do.enqueue(store.Out{Kind: store.Edit, Target: key, Text: text})
	}
}

func (do *turn) enqueue(o store.Out) {
	if o.Kind == "" {
		o.Kind = store.Post
	}
	if o.Kind == store.Post && o.Key == "" {
		o.Key = fmt.Sprintf("%s/%d", do.ev.ID, len(do.out))
	}
	do.out = append(do.out, o)
}

// answer says something where the event came from.
func (do *turn) answer(text string) { do.enqueue(do.reply(text)) }

// reply addresses a text to where the event came from.
func (do *turn) reply(text string) store.Out {
	o := store.Out{Text: text, Channel: do.ev.Where.Channel, Root: do.ev.Where.Root}
	switch {
	case do.hasRun && do.in == commands.Thread:
		o = store.Out{Text: text, Thread: chat.CardKey(do.run.ID)}
	case do.ev.Where.Direct && o.Root == "":
		o = store.Out{Text: text, Person: do.ev.Who.ID}
	}
	return o
}

// wake sets the wake time of a key; the zero time removes it.
func (do *turn) wake(key string, due time.Time) {
	if do.wakes == nil {
		do.wakes = make(map[string]time.Time)
	}
	do.wakes[key] = due
}

// reset forgets what was gathered, before a refusal is said instead.
func (do *turn) reset() {
	do.entries, do.out, do.after = nil, nil, do.run
	clear(do.changed)
	do.given, do.nextLook, do.lastLook = nil, time.Time{}, time.Time{}
	do.wakes = nil
}

// editable leaves out the edits of posts that never were: those of a run begun by
// an earlier version, whose verdicts had no keys of their own. The store refuses
// such an edit and all that comes with it, and the event would come back for ever.
func (do *turn) editable(outs []store.Out) ([]store.Out, error) {
	made := make(map[string]bool)
	var kept []store.Out
	for _, o := range outs {
		if o.Kind == store.Edit && !made[o.Target] {
			had, err := do.store.HasPost(o.Target)
			if err != nil {
				return nil, err
			}
			if !had {
				continue
			}
		}
		made[o.Key] = true
		kept = append(kept, o)
	}
	return kept, nil
}

// commit makes it so: one transaction, then the state in memory.
func (do *turn) commit() (err error) {
	if do.out, err = do.editable(do.out); err != nil {
		return err
	}
	batch := &store.Batch{
		Event: do.ev.ID, At: do.ev.At, Entries: do.entries, Out: do.out,
		Channel: do.ev.Where.Channel, Mark: store.Mark(do.ev.Mark),
	}
	if !do.heard && len(do.entries)+len(do.out)+len(do.given) == 0 {
		batch.Event = "" // talk between people: nothing came of it, nor would a second time
	}
	for _, tag := range slices.Sorted(maps.Keys(do.changed)) {
		batch.Rows = append(batch.Rows, ledger.RowOf(do.bench.Policy, do.changed[tag]))
	}
	runChanged := do.hasRun && slices.ContainsFunc(do.entries, func(e core.Entry) bool { return e.Run == do.after.ID })
	if runChanged {
		next, ok := do.after.NextBell(do.bench.Policy)
		if !ok || do.after.Phase == core.Over {
			next.Due = time.Time{}
		}
		do.wake(do.after.ID.String(), next.Due)
	}
	batch.Notices = do.given
	if !do.nextLook.IsZero() {
		do.wake(wakeLook, do.nextLook)
		do.wake(wakeLooked, do.lastLook)
	}
	batch.Wakes = do.wakes
	if err := do.store.Commit(batch); err != nil {
		return err
	}
	if !do.nextLook.IsZero() {
		do.look, do.looked = do.nextLook, do.lastLook
	}
	for _, o := range do.out {
		switch {
		case o.Kind == store.Edit:
			do.shown[o.Target] = o.Text
		case o.Key == chat.CardKey(do.after.ID) || o.Key == chat.ListKey(do.after) || chat.IsVerdict(o.Key):
			do.shown[o.Key] = o.Text
		}
	}
	onPaper := false
	for _, entry := range do.entries {
		switch f := entry.Fact.(type) {
		case core.Opened:
			do.bench.LastUsed[entry.By.Name] = f.Manometer.ID
		case core.ManometerChosen:
			do.bench.LastUsed[entry.By.Name] = f.Manometer.ID
		case core.PaperTest:
			onPaper = true
		case core.ManometerRegistered:
			do.bench.Manometers[f.Manometer.ID] = f.Manometer
		}
	}
	if runChanged {
		do.files[do.after.Suit.Tag] = do.changed[do.after.Suit.Tag]
		do.keep(do.after)
	}
	for tag, file := range do.changed {
		if _, open := do.files[tag]; open {
			do.files[tag] = file
		}
	}
	if !onPaper {
		return nil
	}
	// Tests on paper come in any order: the store knows which was the last.
	used, err := do.store.LastUsed()
	if err == nil {
		do.Engine.bench.LastUsed = used
	}
	return err
}
