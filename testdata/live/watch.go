package live

import (
	"context"
	"encoding/json"
	"fmt"
	"net/http"
	"reflect"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/gorilla/websocket"
	"github.com/mattermost/mattermost/server/public/model"
)

// watch is what one person's screen has shown: each post of their channels as it
// came, and again in each state it has been in since. It follows the person's
// websocket and, whenever that had to be opened anew, reads what it missed.
type watch struct {
	station *Station
	who     account
	client  *model.Client4

	channels map[string]Channel // of the goroutine that follows, by id
	newest   map[string]int64   // likewise: the latest change known of each channel

	mu        sync.Mutex
	sightings Transcript
	known     map[string]sighting // the last one of each post
	alerts    Transcript          // posts that came with an alert
	changed   chan struct{}       // closed at the next sighting
	trouble   error               // why the websocket was last closed
}

type sighting struct {
	post     Post
	updateAt int64
}

// overlap is how far back of the latest known change a watch reads when it
// missed some: posts can become visible later than younger ones.
const overlap = 20 * time.Second

func newWatch(station *Station, who account) *watch {
	return &watch{
		station:  station,
		who:      who,
		client:   station.client(who.token),
		channels: make(map[string]Channel),
		newest:   make(map[string]int64),
		known:    make(map[string]sighting),
		changed:  make(chan struct{}),
	}
}

// run follows the person's websocket until the context ends.
func (w *watch) run(ctx context.Context) {
	retry := time.NewTicker(retryEvery)
	defer retry.Stop()
	for {
		err := w.follow(ctx)
		w.mu.Lock()
		w.trouble = err
		w.mu.Unlock()
		select {
		case <-retry.C:
		case <-ctx.Done():
			return
		}
	}
}

// follow opens the websocket, catches up and follows it until it breaks.
func (w *watch) follow(ctx context.Context) error {
	url := "ws" + strings.TrimPrefix(w.station.Server.URL, "http") + model.APIURLSuffix + "/websocket"
	conn, _, err := websocket.DefaultDialer.DialContext(ctx, url,
		http.Header{"Authorization": {"Bearer " + w.who.token}})
	if err != nil {
		return err
	}
	defer conn.Close()
	defer context.AfterFunc(ctx, func() { conn.Close() })()
	for {
		_, reader, err := conn.NextReader()
		if err != nil {
			return err
		}
		event, err := model.WebSocketEventFromJSON(reader)
		if err != nil {
			return err
		}
		if err := w.take(ctx, event); err != nil {
			return err
		}
	}
}

// take sees what an event brings. The server says hello when the connection is
// registered: from then on it brings all events, and what came before is read.
func (w *watch) take(ctx context.Context, event *model.WebSocketEvent) error {
	switch event.EventType() {
	case model.WebsocketEventHello:
		return w.catchUp(ctx)
	case model.WebsocketEventPosted, model.WebsocketEventPostEdited, model.WebsocketEventPostDeleted:
		var post model.Post
		if err := decode(event, "post", &post); err != nil {
			return err
		}
		channel, ok := w.channels[post.ChannelId]
		if !ok {
			return w.catchUp(ctx) // a channel as new as the post
		}
		if event.EventType() == model.WebsocketEventPostDeleted {
			post.DeleteAt = max(post.DeleteAt, 1) // the event does not say when
		}
		if err := w.noteAlert(event, &post, channel); err != nil {
			return err
		}
		w.see(&post, channel, tapsUnknown)
	case model.WebsocketEventReactionAdded, model.WebsocketEventReactionRemoved:
		var tap model.Reaction
		if err := decode(event, "reaction", &tap); err != nil {
			return err
		}
		w.seeTap(&tap, event.EventType() == model.WebsocketEventReactionAdded)
	}
	return nil
}

// noteAlert keeps a post that alerts the person. Whom a post alerts, the server
// tells when it is made, each of them for himself.
func (w *watch) noteAlert(event *model.WebSocketEvent, post *model.Post, channel Channel) error {
	if _, ok := event.GetData()["mentions"]; !ok || event.EventType() != model.WebsocketEventPosted {
		return nil
	}
	var alerted []string
	if err := decode(event, "mentions", &alerted); err != nil {
		return err
	}
	if slices.Contains(alerted, w.who.id) {
		w.mu.Lock()
		defer w.mu.Unlock()
		w.alerts = append(w.alerts, w.station.post(post, channel))
	}
	return nil
}

// decode reads a part of an event, which is JSON in a string.
func decode(event *model.WebSocketEvent, part string, into any) error {
	text, _ := event.GetData()[part].(string)
	if err := json.Unmarshal([]byte(text), into); err != nil {
		return fmt.Errorf("the %s of an event %s: %w", part, event.EventType(), err)
	}
	return nil
}

// catchUp reads what changed in the person's channels since it was last seen.
func (w *watch) catchUp(ctx context.Context) error {
	channels, _, err := w.client.GetChannelsForUserWithLastDeleteAt(ctx, w.who.id, 0)
	if err != nil {
		return err
	}
	for _, found := range channels {
		channel := Channel{ID: found.Id, Name: found.Name}
		if found.Type == model.ChannelTypeDirect {
			channel.Name = "direct"
		}
		w.channels[channel.ID] = channel
		since := max(1, w.newest[channel.ID]-overlap.Milliseconds())
		list, _, err := w.client.GetPostsSince(ctx, channel.ID, since, false)
		if err != nil {
			return err
		}
		if len(list.Posts) >= 1000 {
			return fmt.Errorf("the channel %s changed too often to catch up: the server returns 1000 posts at most", channel.Name)
		}
		for _, post := range inOrder(list.ToSlice()) {
			w.see(post, channel, tapsKnown)
		}
	}
	return nil
}

type taps int

const (
	tapsUnknown taps = iota // the post came without its reactions
	tapsKnown
)

// see adds a post to what the person saw, unless it shows nothing new.
func (w *watch) see(post *model.Post, channel Channel, with taps) {
	if post.IsSystemMessage() {
		return
	}
	w.newest[channel.ID] = max(w.newest[channel.ID], post.UpdateAt)
	seen := w.station.post(post, channel)

	w.mu.Lock()
	defer w.mu.Unlock()
	before, ok := w.known[seen.ID]
	if ok && post.UpdateAt < before.updateAt {
		return // overtaken by a newer version
	}
	if with == tapsUnknown {
		seen.Taps = before.post.Taps
	}
	if seen.Deleted {
		seen.Text = before.post.Text
	}
	if ok && reflect.DeepEqual(seen, before.post) {
		return
	}
	w.add(seen, post.UpdateAt)
}

// seeTap adds the state of a post after a reaction was added or removed.
func (w *watch) seeTap(tap *model.Reaction, added bool) {
	w.mu.Lock()
	defer w.mu.Unlock()
	before, ok := w.known[tap.PostId]
	if !ok {
		return
	}
	seen := before.post
	if added {
		seen.Taps = withTap(seen.Taps, w.station.reaction(tap))
	} else {
		seen.Taps = withoutTap(seen.Taps, w.station.reaction(tap))
	}
	if !reflect.DeepEqual(seen.Taps, before.post.Taps) {
		w.add(seen, before.updateAt)
	}
}

// add is called with the lock held.
func (w *watch) add(post Post, updateAt int64) {
	w.known[post.ID] = sighting{post, updateAt}
	w.sightings = append(w.sightings, post)
	close(w.changed)
	w.changed = make(chan struct{})
}

// since returns the sightings from the one with a number on, and a channel that
// is closed at the next.
func (w *watch) since(number int) (Transcript, <-chan struct{}) {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.sightings[number:len(w.sightings):len(w.sightings)], w.changed
}
