package mattermost

import (
	"context"
	"errors"
	"maps"
	"net/http"
	"time"

	"benchbell/bot/chat"
)

// tokenPause is how long the bot leaves a server alone that refuses its token.
const tokenPause = time.Minute

// steady is how long a link must have held for the next one to be tried without
// a longer and longer pause.
const steady = time.Minute

// A receiver is one call of Run. Only its goroutine uses it.
type receiver struct {
	*Server
	sink   func(context.Context, chat.Event) error
	marks  map[string]chat.Mark // how far each channel was delivered, by its id
	floor  int64                // where a channel that has no mark begins
	people map[string]person
	rooms  map[string]room
	up     string // the link the engine believes to be up, by its name
}

// Run receives what happens on the chat server, from the marks on, and hands
// it to sink, one event at a time. It keeps the link up until ctx ends, and
// returns ctx's error.
//
// An event that sink refuses is handed to it again until it is taken. Mark is
// set in every event that has a channel; CaughtUp carries the crew channel's.
func (s *Server) Run(ctx context.Context, marks map[string]chat.Mark, sink func(context.Context, chat.Event) error) error {
	r := &receiver{
		Server: s, sink: sink, marks: make(map[string]chat.Mark),
		people: make(map[string]person), rooms: make(map[string]room),
	}
	maps.Copy(r.marks, marks)
	known := reason("")
	for pause := (backOff{}); ; {
		began := time.Now()
		err := r.linkOnce(ctx)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if r.up != "" {
			known = ""
			event := chat.Event{ID: "lost " + r.up, At: r.Now(), What: chat.Lost{}}
			if err := r.deliver(ctx, event); err != nil {
				return err
			}
			r.up = ""
		}
		if why := reasonOf(err); why != known {
			known = why
			r.report(why, err)
		}
		if time.Since(began) > steady {
			pause = backOff{}
		}
		if known == refusedToken {
			err = sleep(ctx, jitter(tokenPause))
		} else {
			err = pause.wait(ctx)
		}
		if err != nil {
			return err
		}
	}
}

// A reason is why there is no link: reported when it changes, not each time.
type reason string

const (
	refusedToken reason = "token"
	brokenLink   reason = "link"
)

func reasonOf(err error) reason {
	if errors.Is(err, errTokenRefused) {
		return refusedToken
	}
	return brokenLink
}

func (r *receiver) report(why reason, err error) {
	if why == refusedToken {
		r.log.Error("the bot hears nothing and can say nothing", "err", err)
		return
	}
	r.log.Warn("the link to the chat server is down; trying again", "err", err)
}

// linkOnce is one link, from before it is opened until it breaks.
func (r *receiver) linkOnce(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	if err := r.tokenGood(ctx); err != nil {
		return err
	}
	l, err := r.dial(ctx)
	if err != nil {
		return err
	}
	if err := r.catchUp(ctx); err != nil {
		return err
	}
	for range len(l.events) { // what came while catching up
		if err := r.handle(ctx, <-l.events); err != nil {
			return err
		}
	}
	select {
	case <-l.down:
		return l.fault
	default:
	}
	event := chat.Event{
		ID: "caught up " + l.id, At: r.Now(), What: chat.CaughtUp{},
		Where: chat.Where{Channel: r.crew.Id}, Mark: r.marks[r.crew.Id],
	}
	if err := r.deliver(ctx, event); err != nil {
		return err
	}
	r.up = l.id
	r.log.Info("linked to the chat server, everything missed was read")
	for f := range l.events {
		if err := r.handle(ctx, f); err != nil {
			return err
		}
	}
	return l.fault
}

// tokenGood asks before each link whether the token is: the websocket opens
// with a bad one too, and closes without a word.
func (r *receiver) tokenGood(ctx context.Context) error {
	_, _, _, err := r.getMe(ctx)
	if err != nil && asFault(err).status == http.StatusUnauthorized {
		return errTokenRefused
	}
	return err
}

func (r *receiver) handle(ctx context.Context, f frame) error {
	return handlers[f.Event](r, ctx, f)
}

// take delivers an item, and moves the mark of its channel behind it.
func (r *receiver) take(ctx context.Context, it item) error {
	channel := it.post.ChannelId
	mark := r.marks[channel]
	if it.moves {
		mark.Created = max(mark.Created, it.post.CreateAt)
		if it.at >= mark.Updated {
			mark.Updated, mark.Anchor = it.at, it.post.Id
		}
	}
	if it.what != nil {
		it.what.Mark = mark
		if err := r.deliver(ctx, *it.what); err != nil {
			return err
		}
	}
	r.marks[channel] = mark
	return nil
}

// deliver hands an event to the engine until it is taken or ctx ends.
func (r *receiver) deliver(ctx context.Context, event chat.Event) error {
	said := ""
	for pause := (backOff{}); ; {
		err := r.sink(ctx, event)
		if err == nil {
			return nil
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err.Error() != said {
			said = err.Error()
			r.log.Error("an event could not be handled; trying again", "event", event.ID, "err", err)
		}
		if err := pause.wait(ctx); err != nil {
			return err
		}
	}
}
