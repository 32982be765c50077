package engine

import (
	"errors"
	"maps"
	"slices"
	"strconv"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/ledger"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
)

// enqueue adds a message. A post of a run has the run in its key: a reply under it, in
// whatever thread, is for that run.
func (t *turn) enqueue(o store.Out) {
	if o.Kind == "" {
		o.Kind = store.Post
	}
	if o.Kind == store.Post && o.Key == "" {
		o.Key = t.answerKey(o) + strconv.Itoa(len(t.out))
	}
	t.out = append(t.out, o)
}

// answerKey begins the keys of posts that have no name of their own.
func (t *turn) answerKey(o store.Out) string {
	if id, ok := chat.RunOfKey(o.Thread); ok {
		return id.String() + "/" + t.ev.ID + "/"
	}
	return t.ev.ID + "/"
}

// answer says something where the event came from.
func (t *turn) answer(text string) { t.enqueue(t.reply(text)) }

// reply addresses a text to the thread of the run that the event is about, or to
// where the event came from.
func (t *turn) reply(text string) store.Out {
	if t.hasRun && t.in == commands.Thread && !t.elsewhere {
		return store.Out{Text: text, Thread: chat.CardKey(t.run.ID)}
	}
	return t.whereSaid(text)
}

// whereSaid addresses a text to where the event came from.
func (t *turn) whereSaid(text string) store.Out {
	if t.ev.Where.Direct && t.ev.Where.Root == "" {
		return store.Out{Text: text, Person: t.ev.Who.ID}
	}
	return store.Out{Text: text, Channel: t.ev.Where.Channel, Root: t.ev.Where.Root}
}

// wake sets the wake time of a key; the zero time removes it.
func (t *turn) wake(key string, due time.Time) {
	if t.wakes == nil {
		t.wakes = make(map[string]time.Time)
	}
	t.wakes[key] = due
}

// reset forgets what was gathered, before a refusal is said instead.
func (t *turn) reset() {
	t.entries, t.out, t.after = nil, nil, t.run
	clear(t.changed)
	t.given, t.nextLook, t.lastLook = nil, time.Time{}, time.Time{}
	t.wakes, t.rows = nil, nil
}

// editable drops edits of posts that do not exist: those of a run begun by an earlier
// version, whose verdicts had no keys of their own. The store refuses such an edit and
// all that comes with it, and the event would come back for ever.
func (t *turn) editable(outs []store.Out) ([]store.Out, error) {
	made := make(map[string]bool)
	var kept []store.Out
	for _, o := range outs {
		if o.Kind == store.Edit && !made[o.Target] {
			had, err := t.store.HasPost(o.Target)
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

// commit writes the batch in one transaction, and then updates the state in memory.
func (t *turn) commit() (err error) {
	if t.out, err = t.editable(t.out); err != nil {
		return err
	}
	batch := &store.Batch{
		Event: t.ev.ID, At: t.ev.At, Entries: t.entries, Out: t.out,
		Channel: t.ev.Where.Channel, Mark: store.Mark(t.ev.Mark), Posts: t.posts,
	}
	if !t.heard && len(t.entries)+len(t.out)+len(t.given) == 0 {
		batch.Event = "" // talk between people: nothing came of it, nor would a second time
	}
	for _, tag := range slices.Sorted(maps.Keys(t.changed)) {
		batch.Rows = append(batch.Rows, ledger.RowOf(t.bench.Policy, t.changed[tag]))
	}
	batch.Rows = append(batch.Rows, t.rows...)
	runChanged := t.hasRun && slices.ContainsFunc(t.entries, func(e core.Entry) bool { return e.Run == t.after.ID })
	if runChanged {
		next, ok := t.after.NextBell(t.bench.Policy)
		if !ok || t.after.Phase == core.Over {
			next.Due = time.Time{}
		}
		t.wake(t.after.ID.String(), next.Due)
		if _, again := t.relisted[t.after.ID]; again && t.after.Phase == core.Over {
			t.wake(wakeRelisted+t.after.ID.String(), time.Time{})
		}
	}
	batch.Notices = t.given
	if !t.nextLook.IsZero() {
		t.wake(wakeLook, t.nextLook)
		t.wake(wakeLooked, t.lastLook)
	}
	batch.Wakes = t.wakes
	switch err := t.store.Commit(batch); {
	case errors.Is(err, store.ErrSeen):
		return nil
	case err != nil:
		t.inDoubt = true
		return err
	}
	if !t.nextLook.IsZero() {
		t.look, t.looked = t.nextLook, t.lastLook
	}
	onPaper := false
	for _, entry := range t.entries {
		switch f := entry.Fact.(type) {
		case core.Opened:
			t.bench.LastUsed[entry.By.Name] = f.Manometer.ID
		case core.ManometerChosen:
			t.bench.LastUsed[entry.By.Name] = f.Manometer.ID
		case core.PaperTest:
			onPaper = true
		case core.ManometerRegistered:
			t.bench.Manometers[f.Manometer.ID] = f.Manometer
		}
	}
	if runChanged {
		t.files[t.after.Suit.Tag] = t.changed[t.after.Suit.Tag]
		t.keep(t.after)
	}
	t.remember()
	for tag, file := range t.changed {
		if _, open := t.files[tag]; open {
			t.files[tag] = file
		}
	}
	if !onPaper {
		return nil
	}
	// Tests on paper come in any order: the store knows which was the last.
	used, err := t.store.LastUsed()
	if err == nil {
		t.Engine.bench.LastUsed = used
	}
	return err
}

// remember keeps of an open run what is on screen, and when its list was posted again.
func (t *turn) remember() {
	id := t.after.ID
	if _, open := t.bench.Runs[id]; !open {
		return
	}
	for _, o := range t.out {
		switch key := o.Key + o.Target; {
		case key == chat.CardKey(id), key == chat.ListKey(t.after), key == chat.EndKey(id), chat.IsVerdict(key):
			t.shown[key] = o.Text
		}
	}
	if again, is := t.wakes[wakeRelisted+id.String()]; is {
		t.relisted[id] = again
	}
}

// cause is the id that an entry names as what brought it: the post, so that
// whoever reads the journal finds it, or the event.
func (t *turn) cause() string {
	if post := t.post(); post != "" {
		return post
	}
	return t.ev.ID
}
