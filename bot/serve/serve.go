package serve

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/engine"
	"benchbell/bot/outbox"
	"benchbell/bot/photo"
	"benchbell/scheduler"
	"benchbell/store"
)

// Serve handles what comes from the server, rings the bells and delivers what
// is to be said, until ctx ends.
func Run(ctx context.Context, st *store.Store, e *engine.Engine, srv chat.Server, log *slog.Logger) error {
	kept, err := st.Marks()
	if err != nil {
		return fmt.Errorf("reading how far the channels were read: %w", err)
	}
	marks := make(map[string]chat.Mark, len(kept))
	for channel, m := range kept {
		marks[channel] = chat.Mark(m)
	}
	ctx, cancel := context.WithCancelCause(ctx)
	defer cancel(nil)

	events := make(chan delivery)
	sink := func(ctx context.Context, ev chat.Event) error {
		d := delivery{ev, make(chan error, 1)}
		select {
		case events <- d:
			return <-d.done
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
	alarm := scheduler.New(srv.Now)
	defer alarm.Stop()
	courier := outbox.New(st, srv, srv.Now, log, outbox.Options{Tell: sink})
	fetcher := photo.NewFetcher(st, srv, sink, srv.Now, log)

	var all sync.WaitGroup
	defer all.Wait()
	defer cancel(nil)
	for _, part := range []func() error{
		func() error { return srv.Run(ctx, marks, sink) },
		func() error { return courier.Run(ctx) },
		func() error { return fetcher.Run(ctx) },
	} {
		all.Go(func() {
			if err := part(); err != nil && ctx.Err() == nil {
				cancel(err)
			}
		})
	}
	loop := serveLoop{engine: e, store: st, server: srv, alarm: alarm, courier: courier, fetcher: fetcher, log: log}
	return loop.run(ctx, events)
}

// delivery is an event on its way to the engine, and the way back.
type delivery struct {
	ev   chat.Event
	done chan error
}

// serveLoop is the one goroutine that owns the engine.
type serveLoop struct {
	engine  *engine.Engine
	store   *store.Store
	server  chat.Server
	alarm   *scheduler.Alarm
	courier *outbox.Sender
	fetcher *photo.Fetcher
	log     *slog.Logger

	caughtUp bool
	alarmed  bool // people were told that nothing can be written
}

func (l *serveLoop) run(ctx context.Context, events <-chan delivery) error {
	for {
		select {
		case <-ctx.Done():
			if cause := context.Cause(ctx); !errors.Is(cause, context.Canceled) {
				return cause
			}
			return nil
		case d := <-events:
			d.done <- l.handle(ctx, d.ev)
		case <-l.alarm.C():
			if l.caughtUp {
				l.check(ctx, l.engine.Wake(ctx, l.server.Now()))
			}
		}
		l.setAlarm()
		l.courier.Set()
		l.fetcher.Set()
	}
}

func (l *serveLoop) handle(ctx context.Context, ev chat.Event) error {
	switch ev.What.(type) {
	case chat.Lost:
		l.caughtUp = false
		l.log.Info("the link to the chat server is lost; bells wait until it is back")
		return nil
	}
	err := l.engine.Handle(ctx, ev)
	l.check(ctx, err)
	if _, up := ev.What.(chat.CaughtUp); up && err == nil {
		l.caughtUp = true
		l.log.Info("ready: caught up with the chat server")
		// What came due meanwhile, and at the very first start the first look.
		l.check(ctx, l.engine.Wake(ctx, l.server.Now()))
		l.check(ctx, l.engine.Wake(ctx, l.server.Now()))
	}
	return err
}

// setAlarm sets the next look. While the link is down nothing rings: what was
// posted meanwhile is read first.
func (l *serveLoop) setAlarm() {
	next := l.engine.NextWake()
	if !l.caughtUp {
		next = time.Time{}
	} else if l.alarmed && !next.IsZero() && !next.After(l.server.Now()) {
		next = l.server.Now().Add(5 * time.Second) // the disk is being tried again
	}
	l.alarm.Set(next)
}

// check tells the crew, once, past the outbox that cannot be written either,
// when something cannot be put on record. That somebody could not be looked up
// on the chat server is nothing of that kind.
func (l *serveLoop) check(ctx context.Context, err error) {
	_, outside := errors.AsType[*chat.SendError](err)
	switch {
	case err == nil:
		l.alarmed = false
	case l.alarmed || outside || ctx.Err() != nil:
	default:
		l.alarmed = true
		l.log.Error("nothing can be put on record", "error", err)
		_, err := l.server.Post(ctx, chat.Message{
			Key:  "alarm/" + l.server.Now().UTC().Format(time.RFC3339),
			Text: "**Readings are NOT being recorded.** I cannot write to my disk. Go on with watch and paper, and call the keeper.",
		})
		if err != nil {
			l.log.Error("the crew could not be told", "error", err)
		}
	}
}
