package outbox

import (
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/retry"
	"benchbell/commands"
	"benchbell/store"
)

// fault applies the policy to a try that did not succeed.
func (s *Sender) fault(t *task, fault *chat.SendError) {
	now := time.Now()
	row := &t.troubles
	if fault.By == chat.ByServer {
		row = &t.refusals
	}
	row.add(now)
	since := now.Sub(row.since)
	if fault.Outcome == chat.Shut && fault.By == chat.ByServer && t.Kind == store.Post && t.way != directly {
		if s.shut[place(t.Out)].IsZero() {
			s.shut[place(t.Out)] = now
		}
		since = max(since, now.Sub(s.shut[place(t.Out)]))
	}
	rule := ruleFor(t.class, fault.Outcome, fault.By)
	do := rule.at(since, row.n)
	if do != putAside && do != drop && do != dropAsk { // which are logged by themselves
		s.down.Failed(thing(t), "a message is not delivered yet", fault, "key", cmpKey(t), "class", t.class, "by", fault.By, "then", do)
	}
	s.act(t, do, fault)
	if soon, ok := rule.turn(since); ok && do == again {
		t.until = earlier(t.until, now.Add(soon))
	}
	// What stands before it in the lane is tried before it once more, so that
	// after an outage all comes in order.
	for _, before := range s.lanes[t.lane] {
		if before == t {
			break
		}
		if !before.flying && !before.held && before.stage == unsent && t.until.After(now) {
			before.until = earlier(before.until, t.until)
		}
	}
}

// act does what the policy says.
func (s *Sender) act(t *task, do action, fault *chat.SendError) {
	now := time.Now()
	soon := func() { t.until = now.Add(t.pause.Next(fault.After)) }
	later := func() { t.aside, t.until = true, now.Add(max(retry.LongestPause, fault.After)) }
	switch do {
	case again:
		soon()
	case aside:
		later()
	case detour:
		s.detour(t, later, fault.After)
	case stray:
		switch {
		case s.alone(t, fault.By):
			s.detour(t, later, fault.After)
		case t.class == card && !t.aside:
			soon()
		default:
			later()
		}
	case direct:
		switch {
		case t.way == directly:
			s.detour(t, later, fault.After)
			return
		case t.told || t.Fallback == "" || t.Fallback == t.Person:
			later()
			return
		}
		t.aside, t.until, t.way = true, now.Add(fault.After), directly
	case bare:
		// Whoever looks for the file is told; a verdict does not wait for it.
		name := t.FileName
		if t.bare || name == "" { // there was no file
			later()
			return
		}
		s.log.Warn("a file could not be handed over; its message is sent without it", "key", t.Key, "file", name, "err", fault)
		t.bare = true
		t.lines = append(t.lines, commands.FileRefused(name))
		t.until = now.Add(fault.After)
	case newRoot:
		s.lostThread(t)
	case putAside:
		s.park(t, fault)
	case drop, dropAsk:
		s.log.Info("edit or taps dropped: no longer of use", "key", cmpKey(t), "class", t.class, "err", fault)
		if t.class == taps {
			t.stage = marked
			return
		}
		if do == dropAsk {
			s.lostPost(t)
		}
		t.gone = true
	}
}

// alone reports whether it is only this message, or its way, that does not get
// through: the chat server took another one since it began to fail. A bell or a
// verdict need not wait for that if a proxy answers: all ways are then tried in
// a moment, and its own first. Where nobody answers, each try takes long, and
// what is said after an outage could go any way.
func (s *Sender) alone(t *task, by chat.Origin) bool {
	return s.took.After(t.troubles.since) || t.class != card && by == chat.ByProxy
}

// detour leads a message another way. Of a card a copy goes to the Fallback,
// once; the card itself is tried again where it belongs.
func (s *Sender) detour(t *task, later func(), after time.Duration) {
	round := false
	t.way, round = t.way.next(t.Out)
	if t.class == card && t.told && t.way == directly {
		t.way, round = inPlace, true
	}
	if later(); !round {
		t.until = time.Now().Add(after)
	}
}

// park puts a message aside for the keeper.
func (s *Sender) park(t *task, fault *chat.SendError) {
	r := s.mark(t.Seq, func(seq uint64) error { return s.store.Park(seq, fault.Error()) })
	if s.diskFailed(r.disk) {
		t.until = s.diskUntil // and is tried once more
		return
	}
	s.log.Error("message put aside: it cannot be delivered", "key", cmpKey(t), "target", t.Target, "err", fault)
	s.forget(t)
}

func earlier(a, b time.Time) time.Time {
	if b.Before(a) {
		return b
	}
	return a
}
