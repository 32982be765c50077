package outbox

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"runtime/debug"
	"slices"
	"time"

	"benchbell/bot/chat"
	"benchbell/commands"
	"benchbell/store"
)

// A result is what a worker brings back.
type result struct {
	id   string // of a post made or found
	err  error  // the chat's
	disk error  // the store's: nothing is marked
	left bool   // the message is not in the outbox any more

	tried   time.Time // noted in the store that it is tried
	made    bool      // the document was made
	name    string
	content []byte
	failed  error // why it could not be made
}

// prepare decides how a task is to be delivered now, and returns the work for
// that. It returns nil if the task cannot be delivered yet, or is done with.
func (s *Sender) prepare(t *task) func(context.Context) result {
	switch {
	case t.gone:
		return func(context.Context) result { return s.mark(t.Seq, s.store.Drop) }
	case t.stage == marked:
		id := t.id
		return func(context.Context) result { return s.delivered(t.Seq, id) }
	case t.stage == posted && !t.noted:
		id := t.id
		return func(context.Context) result {
			r := s.mark(t.Seq, func(seq uint64) error { return s.store.Posted(seq, id) })
			return result{disk: r.disk, tried: s.now()}
		}
	case t.stage == posted:
		return s.offer(t)
	case s.outdated(t):
		s.log.Info("timed message dropped: a later one takes its place", "key", t.Key, "due", t.Due)
		t.gone = true
		return s.prepare(t)
	case t.Kind == store.Edit:
		return s.change(t)
	}
	return s.send(t)
}

// outdated reports whether a later timed message of the same place waits, or
// was said already.
func (s *Sender) outdated(t *task) bool {
	return !t.Due.IsZero() && (s.said[sayer(t)].After(t.Due) || slices.ContainsFunc(s.lanes[t.lane], func(o *task) bool {
		return o.stage == unsent && !o.gone && o.Thread == t.Thread && o.Due.After(t.Due)
	}))
}

// sayer is what the timed messages of which one makes the others out of date
// have in common.
func sayer(t *task) string { return cmp.Or(t.Thread, t.lane) }

// saidTimed notes that a timed message was said. Older ones are looked at
// anew at once, whenever they were to be tried again: a program that is started
// later would not know that they are out of date.
func (s *Sender) saidTimed(t *task) {
	if !s.said[sayer(t)].Before(t.Due) {
		return
	}
	s.said[sayer(t)] = t.Due
	for _, o := range s.lanes[t.lane] {
		if o != t && o.stage == unsent && !o.flying && s.outdated(o) {
			o.until = time.Time{}
		}
	}
}

// mark changes the store. If an earlier attempt in doubt did reach the disk, the change
// counts as done.
func (s *Sender) mark(seq uint64, how func(uint64) error) result {
	err := how(seq)
	if err == nil || errors.Is(err, store.ErrNotPending) {
		return result{left: true}
	}
	return result{disk: err}
}

func (s *Sender) delivered(seq uint64, id string) result {
	r := s.mark(seq, func(seq uint64) error { return s.store.Delivered(seq, id) })
	r.id = id
	return r
}

// note returns the work of noting that a task is tried next.
func (s *Sender) note(t *task) func(context.Context) result {
	seq, at := t.Seq, s.now()
	return func(context.Context) result {
		err := s.store.Tried(seq, at)
		switch {
		case errors.Is(err, store.ErrNotPending):
			return result{left: true} // an edit that a later one has replaced
		case err != nil:
			return result{disk: err}
		}
		return result{tried: at}
	}
}

// change returns the work of an edit.
func (s *Sender) change(t *task) func(context.Context) result {
	if s.later(t) != nil && t.refusals.n+t.troubles.n > 0 {
		t.gone = true // out of date, and whether it was made matters no more
		return s.prepare(t)
	}
	if s.pendingPost(t.Target) != nil {
		t.hold(time.Now().Add(patience))
		return nil
	}
	id, err := s.postID(t.Target)
	switch {
	case err != nil:
		s.unread(t, err, nil)
		return nil
	case id == "" || s.gone[id]:
		s.log.Info("edit dropped: its post is gone", "key", t.Target)
		s.lostCard(t.Target, id)
		t.gone = true
		return s.prepare(t)
	}
	if !t.noted {
		return s.note(t)
	}
	t.sentTo = id
	text := t.Text
	return func(ctx context.Context) result {
		if err := s.chat.Edit(ctx, id, text); err != nil {
			return result{err: err}
		}
		return result{id: id}
	}
}

// later returns a later edit of the same post.
func (s *Sender) later(t *task) *task {
	for _, o := range s.lanes[t.lane] {
		if o.Kind == store.Edit && o.Target == t.Target && o.Seq > t.Seq {
			return o
		}
	}
	return nil
}

// offer returns the work of putting numbers under a post that was made. They
// stay in the outbox until they were all put there, so that a list that a crash
// left half without them gets the rest.
func (s *Sender) offer(t *task) func(context.Context) result {
	if t.id == "" { // posted by the program before
		id, err := s.postID(t.Target)
		switch {
		case err != nil:
			s.unread(t, err, nil)
			return nil
		case id == "":
			t.gone = true
			return s.prepare(t)
		}
		t.id = id
	}
	id, n := t.id, t.Offer
	return func(ctx context.Context) result {
		return result{id: id, err: s.chat.Offer(ctx, id, n)}
	}
}

// send returns the work of a post.
func (s *Sender) send(t *task) func(context.Context) result {
	to, ok := s.address(t)
	if !ok {
		return nil
	}
	t.sentTo = to.Root
	if !t.noted {
		return s.note(t)
	}
	m := chat.Message{Key: t.Key, First: t.First, Text: s.text(t), To: to}
	make := ""
	if !t.bare {
		m.File, m.FileName = t.File, t.FileName
		if t.Doc != "" && !t.made && s.opt.Make != nil {
			make = t.Doc
		}
	}
	if t.class == card && t.way == directly {
		m.Key += "/direct"
	}
	return func(ctx context.Context) (r result) {
		if make != "" {
			r.name, r.content, r.failed = s.make(make)
			r.made = true
			m.File, m.FileName = r.content, r.name
			if r.failed != nil {
				m.Text = commands.AddLine(m.Text, s.failed(r.name))
				m.File, m.FileName = nil, ""
			}
		}
		r.id, r.err = s.chat.Post(ctx, m)
		return r
	}
}

// text returns the words of a post as it is delivered now.
func (s *Sender) text(t *task) string {
	text := t.Text
	if now := s.now(); !t.Due.IsZero() && now.Sub(t.Due) > lateFrom && s.opt.Late != nil {
		text = s.opt.Late(text, t.Due, now)
	}
	for _, line := range t.lines {
		text = commands.AddLine(text, line)
	}
	return text
}

// make makes a document. A panic is an error: there is no use in trying again.
func (s *Sender) make(doc string) (name string, content []byte, err error) {
	defer func() {
		if r := recover(); r != nil {
			name, content, err = doc, nil, fmt.Errorf("panic: %v\n%s", r, debug.Stack())
		}
	}()
	name, content, err = s.opt.Make(doc)
	if name == "" {
		name = doc
	}
	return name, content, err
}

func (s *Sender) failed(name string) string {
	if s.opt.Failed == nil {
		return name + " could not be made."
	}
	return s.opt.Failed(name)
}

// finish notes what became of a try.
func (s *Sender) finish(t *task, r result) {
	t.flying = false
	switch {
	case r.disk != nil:
		s.diskFailed(r.disk)
		return
	case r.left:
		s.diskFailed(nil)
		delete(s.posted, chat.BaseKey(t.Key))
		s.forget(t)
		return
	case !r.tried.IsZero():
		s.diskFailed(nil)
		t.noted, t.tried = true, r.tried
		if t.stage == posted {
			delete(s.posted, chat.BaseKey(t.Key)) // the store knows it
		}
		return
	}
	if t.stage == unsent {
		t.noted = false // every try is noted anew
		if t.First.IsZero() {
			t.First = t.tried
		}
	}
	if r.made {
		s.keepMade(t, r)
	}
	switch {
	case r.err != nil:
		s.fault(t, faultOf(r.err))
		return
	case t.class == card && t.way == directly:
		t.way, t.told = inPlace, true
		t.until = time.Now().Add(t.pause.Next(0))
	case t.stage == posted || t.Offer == 0:
		s.made(t, r.id, marked)
	default:
		s.made(t, r.id, posted)
	}
	s.worked(t)
}

// made notes that a post or an edit was made. What waits for it goes on; the
// rest of the task holds up nobody.
func (s *Sender) made(t *task, id string, stage stage) {
	t.id, t.stage, t.until, t.held, t.aside = id, stage, time.Time{}, false, false
	t.pause.Reset()
	t.refusals, t.troubles = streak{}, streak{}
	if stage == posted {
		t.class = taps
	}
	if t.Kind == store.Post {
		s.posted[chat.BaseKey(t.Key)] = id
	}
	s.saidTimed(t)
	s.release(t.lane)
}

// keepMade keeps the document for the next try.
func (s *Sender) keepMade(t *task, r result) {
	t.made = true
	if r.failed == nil {
		t.File, t.FileName = r.content, r.name
		return
	}
	s.log.Error("a document could not be made; its message is sent without it", "key", t.Key, "doc", t.Doc, "err", r.failed)
	t.bare = true
	t.lines = append(t.lines, s.failed(r.name))
}

// worked notes that the chat server took something.
func (s *Sender) worked(t *task) {
	s.took = time.Now()
	s.down.Over(thing(t), "delivered again", "key", cmpKey(t))
	if t.Kind == store.Post && t.way != directly {
		delete(s.shut, place(t.Out))
	}
}

func cmpKey(t *task) string {
	if t.Kind == store.Edit {
		return t.Target
	}
	return t.Key
}

// place is a message's channel, or person.
func place(o store.Out) chat.To { return chat.To{Person: o.Person, Channel: o.Channel} }
