package outbox

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"log/slog"
	"slices"
	"sync"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/retry"
	"benchbell/core"
	"benchbell/store"
)

// Options are what a Sender asks others for. Each may be nil.
type Options struct {
	// Tell hands an event to the engine: that the first post of a thread is
	// gone. Without it, what has lost its thread is said in the channel.
	Tell func(context.Context, chat.Event) error
	// Make makes the document or the picture that [store.Out] names as Doc. It
	// is called beside the engine, by more than one goroutine. No content and
	// no error means that there is nothing to attach. Without Make, nothing is
	// attached.
	Make func(doc string) (name string, content []byte, err error)
	// Late words a timed post that is delivered later than it was due.
	Late func(text string, due, now time.Time) string
	// Failed is the line that stands for a file that could not be made.
	Failed func(name string) string
}

// The limits of what goes on at the same time.
const (
	workers     = 4
	forBells    = 1 // of them only for bells and what a bell waits for
	slowWorkers = 2 // of them at most busy with files, documents and taps
)

// A Sender delivers the outbox of a store through a Chat.
type Sender struct {
	store *store.Store
	chat  chat.Chat
	now   func() time.Time // the chat server's time
	log   *slog.Logger
	down  *retry.Outages
	opt   Options
	retry.Signal

	last   uint64 // number of the newest message read from the store
	lanes  map[string][]*task
	posted map[string]string // post ids that the store may not know yet, by base key
	gone   map[string]bool   // ids of posts that are not there any more
	asks   map[core.RunID]*ask
	shut   map[chat.To]time.Time // places that take nothing, and since when
	took   time.Time             // when the chat server took something last
	said   map[string]time.Time  // when the newest timed message was due that was said, by sayer

	disk      retry.Backoff // of writing to the store
	diskUntil time.Time
	diskErr   error
	reading   retry.Backoff // of reading what is new in the outbox
	readUntil time.Time

	done    chan func() // what to do in Run's goroutine once a worker is done
	flying  sync.WaitGroup
	working struct{ all, slow, other int } // workers; other than for bells
}

// New returns a Sender for the store's outbox; now is the chat server's time.
// Whoever puts something in the outbox calls its Set.
func New(st *store.Store, c chat.Chat, now func() time.Time, log *slog.Logger, opt Options) *Sender {
	return &Sender{
		store: st, chat: c, now: now, log: log, down: retry.NewOutages(log), opt: opt, Signal: retry.NewSignal(),
		lanes:  make(map[string][]*task),
		posted: make(map[string]string), gone: make(map[string]bool),
		asks: make(map[core.RunID]*ask), shut: make(map[chat.To]time.Time),
		said: make(map[string]time.Time),
		done: make(chan func(), workers),
	}
}

// Run delivers until ctx ends.
func (s *Sender) Run(ctx context.Context) error {
	defer s.flying.Wait()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	s.countParked()
	unread := true
	for {
		if unread && !time.Now().Before(s.readUntil) {
			unread = s.readFailed(s.reload())
		}
		next := s.start(ctx)
		if unread && (next.IsZero() || s.readUntil.Before(next)) {
			next = s.readUntil
		}
		s.askBeside(ctx)
		var due <-chan time.Time
		if !next.IsZero() {
			due = time.After(time.Until(next))
		}
		select {
		case <-ctx.Done():
			return ctx.Err()
		case after := <-s.done:
			after()
		case <-s.Signal:
			unread = true
		case <-due:
		}
	}
}

// countParked tells the keeper what was put aside before.
func (s *Sender) countParked() {
	if n, err := s.store.ParkedCount(); err == nil && n > 0 {
		s.log.Warn("messages put aside; see benchbell undelivered", "count", n)
	}
}

// start starts what can be started, the most urgent first, and returns when
// something can be started that must wait until then.
func (s *Sender) start(ctx context.Context) (next time.Time) {
	for {
		if s.diskWaits() {
			return s.diskUntil
		}
		ready, next := s.ready()
		slices.SortFunc(ready, func(a, b candidate) int {
			return cmp.Or(cmp.Compare(a.rank, b.rank), cmp.Compare(a.Seq, b.Seq))
		})
		started := false
		for _, c := range ready {
			if started = s.fits(c); started {
				s.launch(ctx, c)
				break
			}
		}
		if !started {
			return next
		}
	}
}

// ready returns the candidates of all lanes.
func (s *Sender) ready() (all []candidate, next time.Time) {
	now := time.Now()
	for _, lane := range s.lanes {
		ready, soon := candidates(lane, now)
		all = append(all, ready...)
		if !soon.IsZero() && (next.IsZero() || soon.Before(next)) {
			next = soon
		}
	}
	return all, next
}

// fits reports whether a task can be started without a worker, or with one
// that is free.
func (s *Sender) fits(c candidate) bool {
	if !c.calls() {
		return true
	}
	if s.working.all == workers {
		return false
	}
	if c.slow() && s.working.slow == slowWorkers {
		return false
	}
	return c.rank == 0 || s.working.other < workers-forBells
}

// launch has a worker deliver a task, if it can be delivered now.
func (s *Sender) launch(ctx context.Context, c candidate) {
	work := s.prepare(c.task)
	if work == nil {
		return
	}
	calls, slow, other := c.calls(), c.slow(), c.rank != 0
	count := func(by int) {
		if !calls {
			return
		}
		s.working.all += by
		if slow {
			s.working.slow += by
		}
		if other {
			s.working.other += by
		}
	}
	count(1)
	c.flying = true
	s.beside(ctx, func() func() {
		r := work(ctx)
		return func() {
			count(-1)
			s.finish(c.task, r)
		}
	})
}

// beside runs work in a goroutine, and what it returns in Run's.
func (s *Sender) beside(ctx context.Context, work func() (after func())) {
	s.flying.Go(func() {
		after := work()
		select {
		case s.done <- after:
		case <-ctx.Done():
		}
	})
}

// Flush delivers what can be delivered now, one message after another in the order of
// the outbox, and returns how long to wait at least before trying what is left again,
// zero if nothing is left to retry. A caller uses Flush or Run, not both.
func (s *Sender) Flush(ctx context.Context) (again time.Duration, err error) {
	s.diskUntil, s.diskErr = time.Time{}, nil
	if err := s.reload(); err != nil {
		return 0, err
	}
	for {
		ready, next := s.ready()
		if len(ready) == 0 {
			asked, err := s.answerAsks(ctx)
			if err != nil {
				return 0, err
			}
			if asked {
				continue
			}
			if !next.IsZero() {
				again = max(time.Until(next), time.Millisecond)
			}
			return again, nil
		}
		c := slices.MinFunc(ready, func(a, b candidate) int { return cmp.Compare(a.Seq, b.Seq) })
		if work := s.prepare(c.task); work != nil {
			r := work(ctx)
			if ctx.Err() != nil {
				return 0, ctx.Err()
			}
			s.finish(c.task, r)
		}
		if s.diskErr != nil {
			return 0, s.diskErr
		}
	}
}

// reload reads what was put in the outbox since it was read last.
func (s *Sender) reload() error {
	pending, err := s.store.PendingAfter(s.last)
	if err != nil {
		return fmt.Errorf("reading the outbox: %w", err)
	}
	changed := make(map[string]bool)
	for _, o := range pending {
		t := &task{Out: o, class: classOf(o), lane: laneOf(o), born: time.Now()}
		if t.class == taps {
			t.stage, t.noted = posted, true
		}
		s.lanes[t.lane] = append(s.lanes[t.lane], t)
		s.last = o.Seq
		changed[t.lane] = true
	}
	for lane := range changed {
		sortLane(s.lanes[lane])
		s.release(lane)
	}
	for _, a := range s.asks {
		if a.told && !a.answered { // if there is to be a card, it was read now
			a.answered = true
			s.release(a.run.String())
		}
	}
	return nil
}

// forget is done with a task.
func (s *Sender) forget(t *task) {
	lane := slices.DeleteFunc(s.lanes[t.lane], func(o *task) bool { return o == t })
	if s.lanes[t.lane] = lane; len(lane) == 0 {
		delete(s.lanes, t.lane)
	}
	s.release(t.lane)
	s.down.Over(thing(t), "")
}

// release lets those of a lane be tried that wait for something else.
func (s *Sender) release(lane string) {
	for _, t := range s.lanes[lane] {
		if t.held {
			t.held, t.until = false, time.Time{}
		}
	}
}

// hold has a task wait until its lane is released, or until a moment.
func (t *task) hold(until time.Time) { t.held, t.until = true, until }

// readFailed notes an error of reading the outbox, and reports whether there is
// one. What was read before is delivered all the same.
func (s *Sender) readFailed(err error) bool {
	if err == nil {
		s.reading.Reset()
		s.down.Over("outbox", "outbox: the store works again")
		return false
	}
	s.down.Failed("outbox", "outbox: store error, retrying", err)
	s.readUntil = time.Now().Add(s.reading.Next(0))
	return true
}

// unread notes that something which a message needs of the store cannot be
// read. That holds up nobody else: one damaged page must not silence all runs.
// The message waits a moment, at most until the limit for it, if there is one;
// then unread reports false.
func (s *Sender) unread(t *task, err error, limit func(since time.Time) time.Time) (waits bool) {
	s.down.Failed(thing(t), "the store cannot be read for a message", err, "key", cmpKey(t), "class", t.class)
	now := time.Now()
	t.misread.add(now)
	until := now.Add(t.pause.Next(0))
	if limit != nil {
		until = earlier(until, limit(t.misread.since))
	}
	if !now.Before(until) {
		return false
	}
	t.hold(until)
	return true
}

// diskWaits reports whether the store could not be written so shortly before
// that it is not asked again yet.
func (s *Sender) diskWaits() bool { return time.Now().Before(s.diskUntil) }

// diskFailed notes an error of writing to the store, and reports whether there
// is one. One pause is for all: no message can be marked.
func (s *Sender) diskFailed(err error) bool {
	if s.diskErr = err; err == nil {
		s.disk.Reset()
		s.down.Over("store", "outbox: the store works again")
		return false
	}
	s.down.Failed("store", "outbox: store error, retrying", err)
	if !s.diskWaits() {
		s.diskUntil = time.Now().Add(s.disk.Next(0))
	}
	return true
}

// thing names a task for the log of outages.
func thing(t *task) string { return fmt.Sprint(t.Seq) }

// faultOf returns what an error of the chat says. If it says nothing, nobody
// knows what became of the call.
func faultOf(err error) *chat.SendError {
	if fault, ok := errors.AsType[*chat.SendError](err); ok {
		return fault
	}
	return &chat.SendError{Err: err}
}
