package bot

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"benchbell/store"
)

// A Courier delivers the outbox through a Chat: in order within a thread,
// again where trying again helps, and each message once.
type Courier struct {
	store *store.Store
	chat  Chat
	now   func() time.Time // the chat server's time
	log   *slog.Logger
	kick  chan struct{}

	lastFault string
}

// NewCourier returns a courier for the store's outbox.
func NewCourier(st *store.Store, chat Chat, now func() time.Time, log *slog.Logger) *Courier {
	return &Courier{store: st, chat: chat, now: now, log: log, kick: make(chan struct{}, 1)}
}

// Kick tells the courier that there may be something to deliver.
func (c *Courier) Kick() {
	select {
	case c.kick <- struct{}{}:
	default:
	}
}

// The pauses between tries, without a hint from the server.
const (
	firstPause   = 250 * time.Millisecond
	longestPause = 30 * time.Second
)

// Run delivers until ctx ends.
func (c *Courier) Run(ctx context.Context) error {
	pause := firstPause
	for {
		again, err := c.Flush(ctx)
		if err != nil {
			return err
		}
		if again == 0 {
			pause = firstPause
			select {
			case <-ctx.Done():
				return ctx.Err()
			case <-c.kick:
			}
			continue
		}
		again = max(again, pause)
		pause = min(2*pause, longestPause)
		wait := time.NewTimer(again)
		select {
		case <-ctx.Done():
			wait.Stop()
			return ctx.Err()
		case <-wait.C: // a kick does not shorten the pause that a fault asks for
		}
	}
}

// Flush delivers what can be delivered now. It returns how long to wait at
// least before trying what is left again, zero if nothing is left to retry.
func (c *Courier) Flush(ctx context.Context) (again time.Duration, err error) {
	pending, err := c.store.Pending()
	if err != nil {
		return 0, fmt.Errorf("reading the outbox: %w", err)
	}
	blocked := make(map[string]bool)
	for _, o := range pending {
		lane := lane(o)
		if blocked[lane] {
			continue
		}
		err := c.deliver(ctx, o)
		if err == nil {
			continue
		}
		if ctx.Err() != nil {
			return 0, ctx.Err()
		}
		sendErr, ok := errors.AsType[*SendError](err)
		if !ok {
			return 0, err // the store's
		}
		if !sendErr.Retry {
			c.log.Error("a message cannot be delivered and is put aside", "key", o.Key, "target", o.Target, "error", err)
			if err := c.store.Park(o.Seq, err.Error()); err != nil {
				return 0, err
			}
			continue
		}
		if fault := err.Error(); fault != c.lastFault {
			c.log.Warn("a message is not delivered yet", "key", o.Key, "error", err)
			c.lastFault = fault
		}
		blocked[lane] = true
		again = max(again, sendErr.After, time.Millisecond)
	}
	return again, nil
}

// lane is what must stay in order: a thread, or the posts to one place.
func lane(o store.Out) string {
	switch {
	case o.Kind == store.Edit:
		return runLane(o.Target)
	case o.Thread != "":
		return runLane(o.Thread)
	case o.Key != "" && isCard(o.Key):
		return runLane(o.Key)
	}
	return "to/" + o.Person + "/" + o.Channel + "/" + o.Root
}

func isCard(key string) bool { id, ok := runOfKey(key); return ok && key == cardKey(id) }

func runLane(key string) string {
	if id, ok := runOfKey(key); ok {
		return id.String()
	}
	return key
}

// errGone is given for an edit of a post, or a reply to one, that was never
// made and never will be.
var errGone = errors.New("the post it belongs to was never made")

func (c *Courier) deliver(ctx context.Context, o store.Out) error {
	err := c.store.Tried(o.Seq, c.now())
	if errors.Is(err, store.ErrNotPending) {
		return nil // an edit that a later one has replaced
	}
	if err != nil {
		return err
	}
	if o.Kind == store.Edit {
		id, ok, err := c.store.PostID(o.Target)
		if err != nil {
			return err
		}
		if !ok {
			return &SendError{Err: errGone}
		}
		if err := c.chat.Edit(ctx, id, o.Text); err != nil {
			return err
		}
		return c.store.Delivered(o.Seq, "")
	}
	m := Message{Key: o.Key, First: o.First, Text: o.Text, To: To{Person: o.Person, Channel: o.Channel, Root: o.Root}}
	if o.Thread != "" {
		root, ok, err := c.store.PostID(o.Thread)
		if err != nil {
			return err
		}
		if !ok {
			return &SendError{Err: errGone}
		}
		m.To.Root = root
	}
	id, err := c.chat.Post(ctx, m)
	if sendErr, ok := errors.AsType[*SendError](err); ok && sendErr.RootGone {
		// Somebody deleted the thread's first post. What is to be said is said
		// in the channel, since it may be a bell.
		m.To.Root = ""
		id, err = c.chat.Post(ctx, m)
	}
	if err != nil {
		return err
	}
	if o.Offer > 0 {
		if err := c.chat.Offer(ctx, id, o.Offer); err != nil {
			// The numbers can be typed as well: not worth holding up the rest.
			c.log.Warn("numbers could not be put under a list", "key", o.Key, "error", err)
		}
	}
	return c.store.Delivered(o.Seq, id)
}
