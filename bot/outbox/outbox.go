package outbox

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/retry"
	"benchbell/commands"
	"benchbell/store"
)

// A Courier delivers the outbox through a Chat: in order within a thread,
// again where trying again helps, and each message once.
type Sender struct {
	store *store.Store
	chat  chat.Chat
	now   func() time.Time // the chat server's time
	log   *slog.Logger
	down  *retry.Outages
	retry.Signal

	waits map[string]*wait // by lane
}

// NewCourier returns a courier for the store's outbox.
func NewSender(st *store.Store, chat chat.Chat, now func() time.Time, log *slog.Logger) *Sender {
	return &Sender{store: st, chat: chat, now: now, log: log, down: retry.NewOutages(log), Signal: retry.NewSignal(), waits: make(map[string]*wait)}
}

// wait is how long a lane waits after a fault.
type wait struct {
	retry.Backoff
	until time.Time
}

// Run delivers until ctx ends. A store that cannot be written is tried again:
// what is to be said is in it, and is said when it can be.
func (c *Sender) Run(ctx context.Context) error {
	var disk retry.Backoff
	for {
		again, err := c.Flush(ctx)
		switch {
		case ctx.Err() != nil:
			return ctx.Err()
		case err != nil:
			c.down.Failed("store", "outbox: store error, retrying", err)
			again = disk.Next(0)
		default:
			disk.Reset()
			c.down.Over("store", "outbox: store works again")
		}
		// A kick is for the other lanes: those that wait go on waiting.
		if err := c.Signal.Wait(ctx, again); err != nil {
			return err
		}
	}
}

// Flush delivers what can be delivered now. It returns how long to wait at
// least before trying what is left again, zero if nothing is left to retry.
func (c *Sender) Flush(ctx context.Context) (again time.Duration, err error) {
	pending, err := c.store.Pending()
	if err != nil {
		return 0, fmt.Errorf("reading the outbox: %w", err)
	}
	blocked := make(map[string]bool) // of every lane that has something pending
	for _, o := range pending {
		lane := lane(o)
		if blocked[lane] || c.waits[lane] != nil && c.waits[lane].until.After(time.Now()) {
			blocked[lane] = true // also if its wait ends before this loop does
			continue
		}
		fault, err := c.try(ctx, o)
		if err != nil {
			return 0, err
		}
		if blocked[lane] = fault != nil; blocked[lane] {
			if c.waits[lane] == nil {
				c.waits[lane] = new(wait)
			}
			c.waits[lane].until = time.Now().Add(c.waits[lane].Next(fault.After))
		} else {
			delete(c.waits, lane)
			c.down.Over(lane, "delivered again")
		}
	}
	maps.DeleteFunc(c.waits, func(lane string, _ *wait) bool { return !blocked[lane] })
	for _, w := range c.waits {
		if left := max(time.Until(w.until), time.Millisecond); again == 0 || left < again {
			again = left
		}
	}
	return again, nil
}

// try delivers one message, or parks it if it never can be. The fault is one
// after which it can be tried again; the error is ctx's, or the store's.
func (c *Sender) try(ctx context.Context, o store.Out) (fault *chat.SendError, err error) {
	err = c.deliver(ctx, o)
	if err == nil {
		return nil, nil
	}
	if ctx.Err() != nil {
		return nil, ctx.Err()
	}
	fault, ok := errors.AsType[*chat.SendError](err)
	if !ok {
		return nil, err
	}
	if fault.Retry() {
		c.down.Failed(lane(o), "a message is not delivered yet", err, "key", o.Key)
		return fault, nil
	}
	c.log.Error("a message cannot be delivered and is put aside", "key", o.Key, "target", o.Target, "err", err)
	return nil, c.store.Park(o.Seq, err.Error())
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

func isCard(key string) bool { id, ok := chat.RunOfKey(key); return ok && key == chat.CardKey(id) }

func runLane(key string) string {
	if id, ok := chat.RunOfKey(key); ok {
		return id.String()
	}
	return key
}

// errGone is given for an edit of a post, or a reply to one, that was never
// made and never will be.
var errGone = errors.New("the post it belongs to was never made")

func (c *Sender) deliver(ctx context.Context, o store.Out) error {
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
			return &chat.SendError{Err: errGone, Outcome: chat.PostGone}
		}
		if err := c.chat.Edit(ctx, id, o.Text); err != nil {
			return err
		}
		return c.store.Delivered(o.Seq, "")
	}
	m := chat.Message{Key: o.Key, First: o.First, Text: o.Text, File: o.File, FileName: o.FileName, To: chat.To{Person: o.Person, Channel: o.Channel, Root: o.Root}}
	if o.Thread != "" {
		root, ok, err := c.store.PostID(o.Thread)
		if err != nil {
			return err
		}
		if !ok {
			return &chat.SendError{Err: errGone, Outcome: chat.PostGone}
		}
		m.To.Root = root
	}
	id, err := c.post(ctx, m)
	if err != nil {
		return err
	}
	if o.Offer > 0 {
		// Before it is marked, so that a list left half without them by a power
		// cut gets the rest. A tap that comes meanwhile tells the post's key.
		if err := c.chat.Offer(ctx, id, o.Offer); ctx.Err() != nil {
			return ctx.Err()
		} else if err != nil {
			// The numbers can be typed as well: not worth holding up the rest.
			c.log.Warn("numbers could not be put under a list", "key", o.Key, "err", err)
		}
	}
	return c.store.Delivered(o.Seq, id)
}

// post makes a post, if need be without what stands in its way.
func (c *Sender) post(ctx context.Context, m chat.Message) (id string, err error) {
	for {
		id, err = c.chat.Post(ctx, m)
		fault, _ := errors.AsType[*chat.SendError](err)
		switch {
		case fault != nil && fault.Outcome == chat.ThreadGone && m.To.Root != "":
			// Somebody deleted the thread's first post. What is to be said is
			// said in the channel, since it may be a bell.
			m.To.Root = ""
		case fault != nil && fault.Outcome == chat.FileRefused && m.FileName != "":
			// For want of space, or by the server's settings. Whoever looks for
			// the file is told; a verdict does not wait for it.
			c.log.Warn("the chat server does not take a file; what it belongs to is said without", "key", m.Key, "err", err)
			m.Text = commands.AddLine(m.Text, commands.FileRefused(m.FileName))
			m.File, m.FileName = nil, ""
		default:
			return id, err
		}
	}
}
