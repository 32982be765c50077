// Package serve joins the rooms into the bot that serves a crew: what happens on the
// chat server goes to the engine, one event at a time; what the engine decides goes
// out through the outbox. [Run] is the whole of it.
//
// One goroutine, serveLoop, owns the engine and waits for nothing but the store.
// Beside it run the chat server's adapter, the outbox, the reader of photos, and a
// goroutine for each import that has files to read.
package serve

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/bot/document"
	"benchbell/bot/engine"
	"benchbell/bot/ledger"
	"benchbell/bot/outbox"
	"benchbell/bot/photo"
	"benchbell/bot/retry"
	"benchbell/commands"
	"benchbell/scheduler"
	"benchbell/store"
)

// Station is what Run joins.
type Station struct {
	Store  *store.Store
	Engine *engine.Engine
	Config config.Config
	Server chat.Server
	Log    *slog.Logger
}

// Run handles what comes from the server, rings the bells and delivers what
// is to be said, until ctx ends.
func Run(ctx context.Context, s Station) error {
	kept, err := s.Store.Marks()
	if err != nil {
		return fmt.Errorf("reading how far the channels were read: %w", err)
	}
	marks := make(map[string]chat.Mark, len(kept))
	for channel, m := range kept {
		marks[channel] = chat.Mark(m)
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)

	loop := &serveLoop{Station: s, events: make(chan delivery), failures: make(map[string]int), planning: make(map[string]bool)}
	loop.alarm = scheduler.New(s.Server.Now)
	defer loop.alarm.Stop()
	loop.outbox = outbox.New(s.Store, s.Server, s.Server.Now, s.Log, outbox.Options{
		Tell: loop.bring,
		Make: document.NewMaker(s.Store, s.Config, s.Log).Make,
		Late: commands.Speaker{Zone: s.Config.Policy.Zone}.Late, Failed: commands.DocumentFailed,
	})
	loop.fetcher = photo.NewFetcher(s.Store, s.Server, loop.bring, s.Server.Now, s.Log)

	defer loop.beside.Wait()
	defer cancel(nil)
	for _, part := range []func() error{
		func() error { return s.Server.Run(ctx, marks, loop.bring) },
		func() error { return loop.outbox.Run(ctx) },
		func() error { return loop.fetcher.Run(ctx) },
	} {
		loop.beside.Go(func() {
			if err := part(); err != nil && ctx.Err() == nil {
				cancel(err)
			}
		})
	}
	return loop.run(ctx)
}

// delivery is an event on its way to the engine, and the way back.
type delivery struct {
	ev     chat.Event
	handle func(chat.Event) error // nil for the engine's Handle
	done   chan error
}

// serveLoop is the one goroutine that owns the engine.
type serveLoop struct {
	Station
	events  chan delivery
	alarm   *scheduler.Alarm
	outbox  *outbox.Sender
	fetcher *photo.Fetcher
	beside  sync.WaitGroup

	caughtUp bool
	recorded func()          // ends telling them
	alarmed  bool            // people were told that nothing can be written
	failures map[string]int  // how often an event failed in succession
	planning map[string]bool // events whose files are being read
}

// bring hands an event to the loop, from any goroutine, and returns when it is
// handled.
func (l *serveLoop) bring(ctx context.Context, ev chat.Event) error {
	return l.deliver(ctx, delivery{ev: ev})
}

func (l *serveLoop) deliver(ctx context.Context, d delivery) error {
	d.done = make(chan error, 1)
	select {
	case l.events <- d:
		return <-d.done
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}

func (l *serveLoop) run(ctx context.Context) error {
	for {
		select {
		case <-ctx.Done():
			if cause := context.Cause(ctx); !errors.Is(cause, context.Canceled) {
				return cause
			}
			return nil
		case d := <-l.events:
			d.done <- l.handle(ctx, d)
		case <-l.alarm.C():
			if l.caughtUp {
				l.wake(ctx)
			}
		}
		l.setAlarm()
		l.outbox.Set()
		l.fetcher.Set()
	}
}

// handle handles one event. It returns an error if the event is to be brought again.
func (l *serveLoop) handle(ctx context.Context, d delivery) error {
	if _, lost := d.ev.What.(chat.Lost); lost {
		l.caughtUp = false
		l.Log.Info("the link to the chat server is lost; bells wait until it is back")
		return nil
	}
	if d.handle == nil {
		d.handle = l.Engine.Handle
	}
	err := l.judge(ctx, d.ev, d.handle(d.ev))
	if _, up := d.ev.What.(chat.CaughtUp); up && err == nil {
		l.caughtUp = true
		l.Log.Info("ready: caught up with the chat server")
		// What came due meanwhile, and at the very first start the first look.
		l.wake(ctx)
		l.wake(ctx)
	}
	return err
}

// wake rings what is due.
func (l *serveLoop) wake(ctx context.Context) {
	for _, ev := range l.Engine.Due(l.Server.Now()) {
		if l.judge(ctx, ev, l.Engine.Handle(ev)) != nil && l.alarmed {
			return // nothing can be written: the others come again with this one
		}
	}
}

// judge decides what becomes of an event that failed, and returns the error if it is
// to be brought again. An event that needs files is taken: it comes back with them.
// One that fails again and again although the store works is given up, so that what
// stands behind it is handled.
func (l *serveLoop) judge(ctx context.Context, ev chat.Event, err error) error {
	const most = 3
	id := ev.ID
	if w, is := ev.What.(chat.Woke); is {
		id = "wake/" + w.Key
	}
	if _, needs := errors.AsType[*engine.Needs](err); needs {
		l.plan(ctx, ev)
		err = nil
	}
	if err == nil {
		delete(l.failures, id)
		l.alarmed = false
		if l.recorded != nil {
			l.recorded()
		}
		return nil
	}
	if ctx.Err() != nil {
		return err
	}
	if broken := l.Store.Commit(&store.Batch{}); broken != nil {
		l.tellNotRecording(ctx, err)
		return err
	}
	if l.failures[id]++; l.failures[id] < most {
		l.Log.Warn("an event could not be handled and is tried again", "event", ev.ID, "err", err)
		return err
	}
	delete(l.failures, id)
	if fault := l.Engine.GiveUp(ev, err); fault != nil {
		return errors.Join(err, fault)
	}
	return nil
}

// plan reads what is attached to a post beside the loop, and hands the event to the
// engine again with what was read.
func (l *serveLoop) plan(ctx context.Context, ev chat.Event) {
	if l.planning[ev.ID] {
		return
	}
	l.planning[ev.ID] = true
	l.beside.Go(func() {
		for pause := (retry.Backoff{}); ; {
			plan, fault := ledger.PlanAttached(ctx, l.Store, l.Config, l.Server, ev)
			if ctx.Err() != nil {
				return
			}
			again := false
			err := l.deliver(ctx, delivery{ev: ev, handle: func(ev chat.Event) error {
				err := l.Engine.HandleImport(ev, plan, fault)
				if _, again = errors.AsType[*engine.Needs](err); again {
					return nil // the register was changed meanwhile
				}
				if err == nil {
					delete(l.planning, ev.ID)
				}
				return err
			}})
			if err == nil && !again || ctx.Err() != nil {
				return
			}
			if retry.Pause(ctx, pause.Next(0)) != nil {
				return
			}
		}
	})
}

// setAlarm sets the next look. While the link is down nothing rings: what was
// posted meanwhile is read first.
func (l *serveLoop) setAlarm() {
	next := l.Engine.NextWake()
	switch now := l.Server.Now(); {
	case !l.caughtUp:
		next = time.Time{}
	case (l.alarmed || len(l.failures) > 0) && !next.IsZero() && !next.After(now):
		again := now.Add(5 * time.Second) // what failed is tried again
		if next = l.Engine.NextAfter(now); next.IsZero() || again.Before(next) {
			next = again
		}
	}
	l.alarm.Set(next)
}

// tellNotRecording tells the crew, once, past the outbox that cannot be written
// either, that nothing can be put on record.
func (l *serveLoop) tellNotRecording(ctx context.Context, err error) {
	if l.alarmed {
		return
	}
	l.alarmed = true
	l.Log.Error("the store cannot be written: nothing is recorded", "err", err)
	m := chat.Message{Key: "alarm/" + l.Server.Now().UTC().Format(time.RFC3339), Text: commands.NotRecording()}
	ctx, l.recorded = context.WithCancel(ctx)
	l.beside.Go(func() {
		for pause := (retry.Backoff{}); ctx.Err() == nil; {
			_, err := l.Server.Post(ctx, m)
			if err == nil {
				return
			}
			l.Log.Error("the crew could not be told that nothing is recorded", "err", err)
			_ = retry.Pause(ctx, pause.Next(0)) // ctx ends it
		}
	})
}
