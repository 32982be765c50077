package mattermost

import (
	"context"
	"errors"
	"maps"
	"net/http"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
	"benchbell/bot/retry"
)

const (
	// tokenPause is how long the bot leaves a server alone that refuses its token.
	tokenPause = time.Minute

	// shutPause is how often the bot looks whether a shut channel is open again.
	shutPause = 5 * time.Second

	// steady is how long something must have held for the next failure to be
	// followed by a short pause again.
	steady = time.Minute

	// pollEvery is how often the channels are read while there is no websocket.
	pollEvery = 3 * time.Second

	// fullPoll is every how many polls all direct messages are read for edits
	// and taps too.
	fullPoll = 10

	// dialGrace is how long the first catch-up waits for the websocket.
	dialGrace = 5 * time.Second

	// briefly is how long the engine goes on ringing bells while the channels are
	// read after the websocket broke.
	briefly = 4 * time.Second

	// watchEvery is how often the bot looks whether the crew channel is open: the
	// websocket does not tell reliably.
	watchEvery = 15 * time.Second
)

// The things that can fail for a while, for the log.
const (
	thingServer  = "server"
	thingCrew    = "crew channel"
	thingSocket  = "websocket"
	thingPeople  = "people"
	thingMissing = "missing people"
	thingHandler = "handler"
)

// errCrewChanged ends a link whose list of channels may be out of date.
var errCrewChanged = errors.New("the crew channel or the bot's membership of it has changed")

// A shutError says why the crew channel takes and gives nothing.
type shutError string

func (e shutError) Error() string { return string(e) }

// A receiver is one call of Run. Only its goroutine uses it.
type receiver struct {
	*Server
	sink    func(context.Context, chat.Event) error
	outages *retry.Outages
	marks   map[string]chat.Mark // how far each channel was delivered, by its id
	floor   int64                // where a channel that has no mark begins
	people  map[string]person
	rooms   map[string]room
	givenUp map[string]time.Time // look-ups that fail, and when they were last given up
	up      bool                 // the engine was told that it has heard everything
	polls   int                  // without a websocket, one after another

	roster *rosterKeeper
	listed roster // as the engine knows it

	crewAt int64 // when the crew channel last changed, by the server
}

// Run receives what happens on the chat server, from the marks on, and hands
// it to sink, one event at a time. It keeps the link up until ctx ends, and
// returns ctx's error.
//
// An event that sink refuses is handed to it again until it is taken. Mark is
// set in every event that has a channel; CaughtUp carries the crew channel's.
func (s *Server) Run(ctx context.Context, marks map[string]chat.Mark, sink func(context.Context, chat.Event) error) error {
	r := &receiver{
		Server: s, sink: sink, outages: retry.NewOutages(s.log), marks: make(map[string]chat.Mark),
		people: make(map[string]person), rooms: make(map[string]room),
		givenUp: make(map[string]time.Time), roster: newRosterKeeper(),
	}
	maps.Copy(r.marks, marks)
	keeping, stop := context.WithCancel(ctx)
	defer stop()
	go r.keepRoster(keeping)
	for pause := newBackoff(); ; {
		began := time.Now()
		err := r.receive(ctx)
		if ctx.Err() != nil {
			return ctx.Err()
		}
		if err := r.lost(ctx); err != nil {
			return err
		}
		if time.Since(began) > steady {
			pause.Reset()
		}
		if err := retry.Pause(ctx, r.pauseAfter(err, pause)); err != nil {
			return err
		}
	}
}

// pauseAfter logs why nothing can be received and returns when to try again.
func (r *receiver) pauseAfter(err error, pause *retry.Backoff) time.Duration {
	if errors.Is(err, errTokenRefused) {
		r.outages.Failed(thingServer, "refused by the chat server: token, account, team or channel is wrong", err)
		return jitter(tokenPause)
	}
	if _, shut := errors.AsType[shutError](err); shut {
		r.outages.Over(thingServer, "the chat server answers again")
		r.outages.Failed(thingCrew, "the crew channel is shut: nothing is heard and no bell rings", err)
		return shutPause
	}
	r.outages.Failed(thingServer, "the link to the chat server is down; trying again", err)
	return pause.Next(asFault(err).after)
}

// lost tells the engine that it no longer hears what happens.
func (r *receiver) lost(ctx context.Context) error {
	if !r.up {
		return nil
	}
	r.up = false
	return r.deliver(ctx, chat.Event{ID: "lost " + model.NewId(), At: r.Now(), What: chat.Lost{}})
}

// receive receives until the server does not answer, or the crew channel is
// shut. If there is a websocket, it comes by that; if not, the channels are read
// every few seconds.
func (r *receiver) receive(ctx context.Context) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	if err := r.tokenGood(ctx); err != nil {
		return err
	}
	links := r.dialling(ctx)
	wait := dialGrace
	for {
		l, err := r.nextLink(ctx, links, wait)
		if err != nil {
			return err
		}
		if err := r.readMissed(ctx, l); err != nil {
			return err
		}
		wait = pollEvery
		if l == nil {
			continue
		}
		err = r.follow(ctx, l)
		l.close()
		if errors.Is(err, errTokenRefused) || ctx.Err() != nil {
			return err
		}
		r.log.Info("the websocket broke; reading the channels meanwhile", "err", err)
		wait = 0
	}
}

// tokenGood asks whether the server takes the token: the websocket opens with a
// bad one too, and closes without a word.
func (r *receiver) tokenGood(ctx context.Context) error {
	_, _, _, err := r.getMe(ctx)
	if f := asFault(err); err != nil && f.by == chat.ByServer && f.status == http.StatusUnauthorized {
		return errTokenRefused
	}
	return err
}

// dialled is a link, or why there is none.
type dialled struct {
	link *link
	err  error
}

// dialling opens links, each when the one before is down, until ctx ends.
func (r *receiver) dialling(ctx context.Context) <-chan dialled {
	links := make(chan dialled)
	go func() {
		for pause := newBackoff(); ; {
			began := time.Now()
			l, err := r.dial(ctx)
			select {
			case links <- dialled{l, err}:
			case <-ctx.Done():
				return
			}
			if err == nil {
				<-l.down
			}
			if time.Since(began) > steady {
				pause.Reset()
			}
			if retry.Pause(ctx, pause.Next(0)) != nil {
				return
			}
		}
	}()
	return links
}

// nextLink waits for a link for a time, and returns nil if none comes.
func (r *receiver) nextLink(ctx context.Context, links <-chan dialled, wait time.Duration) (*link, error) {
	timer := time.NewTimer(wait)
	defer timer.Stop()
	select {
	case d := <-links:
		if errors.Is(d.err, errTokenRefused) {
			return nil, d.err
		}
		if d.err != nil {
			r.noSocket(d.err)
		}
		return d.link, nil
	case all := <-r.roster.news:
		return nil, r.tellPeople(ctx, all, false)
	case <-timer.C:
		if wait == dialGrace {
			r.noSocket(errNoSocketYet)
		}
		return nil, nil
	case <-ctx.Done():
		return nil, ctx.Err()
	}
}

var errNoSocketYet = errors.New("it does not open")

func (r *receiver) noSocket(err error) {
	r.outages.Failed(thingSocket, "no websocket, polling instead; let the proxy pass websockets", err, "every", pollEvery)
}

// readMissed reads what may have been missed, and what came through the link
// meanwhile, if there is one. Then the engine has heard everything.
func (r *receiver) readMissed(ctx context.Context, l *link) error {
	bounded := ctx
	if r.up { // a server that hangs must not keep the bells ringing
		var cancel func()
		bounded, cancel = context.WithTimeout(ctx, briefly)
		defer cancel()
	}
	quick := false
	if l != nil {
		r.polls = 0
	} else {
		quick = r.polls%fullPoll != 0
		r.polls++
	}
	if !quick {
		channel, err := r.crewOpen(bounded)
		if err != nil {
			return err
		}
		r.crewAt = channel.UpdateAt
		if err := r.askPeople(bounded); err != nil {
			return err
		}
	}
	if err := r.catchUp(bounded, quick); err != nil {
		return err
	}
	if l != nil {
		for range len(l.events) {
			if err := r.handle(ctx, <-l.events); err != nil && !errors.Is(err, errCrewChanged) {
				return err
			}
		}
		select {
		case <-l.down:
			return nil // read again
		default:
		}
		r.outages.Over(thingSocket, "the websocket is back")
	}
	return r.caughtUp(ctx)
}

// caughtUp tells the engine that it has heard everything, if it does not know.
func (r *receiver) caughtUp(ctx context.Context) error {
	r.outages.Over(thingServer, "the chat server answers again, everything missed was read")
	r.outages.Over(thingCrew, "the crew channel is open again, everything missed was read")
	if r.up {
		return nil
	}
	event := chat.Event{
		ID: "caught up " + model.NewId(), At: r.Now(), What: chat.CaughtUp{},
		Where: chat.Where{Channel: r.crew.Id}, Mark: r.marks[r.crew.Id],
	}
	if err := r.deliver(ctx, event); err != nil {
		return err
	}
	r.up = true
	return nil
}

// follow hands on what comes through a link until it breaks, or until the crew
// channel changes.
func (r *receiver) follow(ctx context.Context, l *link) error {
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	changed := r.watch(ctx)
	for {
		select {
		case f, ok := <-l.events:
			if !ok {
				return l.fault
			}
			if err := r.handle(ctx, f); err != nil {
				return err
			}
		case all := <-r.roster.news:
			if err := r.tellPeople(ctx, all, false); err != nil {
				return err
			}
		case err := <-changed:
			return err
		}
	}
}

// watch looks at the crew channel every now and then, until it has changed.
func (r *receiver) watch(ctx context.Context) <-chan error {
	changed := make(chan error, 1)
	known := r.crewAt
	go func() {
		for retry.Pause(ctx, watchEvery) == nil {
			channel, err := r.crewOpen(ctx)
			if _, shut := errors.AsType[shutError](err); shut || err == nil && channel.UpdateAt != known {
				changed <- errCrewChanged
				return
			}
		}
	}()
	return changed
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
	for pause := newBackoff(); ; {
		err := r.sink(ctx, event)
		if err == nil {
			r.outages.Over(thingHandler, "events are handled again")
			return nil
		}
		if ctx.Err() != nil {
			return ctx.Err()
		}
		r.outages.Failed(thingHandler, "an event could not be handled; trying again", err, "event", event.ID)
		if err := retry.Pause(ctx, pause.Next(0)); err != nil {
			return err
		}
	}
}

// newBackoff returns the pauses between tries at the chat server, partly random
// so that many bots do not return at once.
func newBackoff() *retry.Backoff {
	// At its longest, with the random part, a pause is longestPause.
	return &retry.Backoff{First: shortestPause, Longest: longestPause * 3 / 4, Jitter: 0.33}
}
