package mattermost

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"hash/fnv"
	"slices"
	"strconv"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
)

// numbers are the names of the reactions on which people tap, from 1 up.
var numbers = []string{
	"one", "two", "three", "four", "five", "six", "seven", "eight", "nine", "keycap_ten",
}

// An item is something found on the server, with the moment at which it
// happened there: a post seen, and what the engine is to hear of it. Items are
// delivered in the order of their moments, so that a mark can say with one
// moment what was delivered.
type item struct {
	at    int64
	post  *model.Post
	moves bool        // handling it moves the channel's mark
	what  *chat.Event // nil if the engine need not hear of it
}

// spoken returns the post as a new post by a person, if it is one. The moment of
// one that was edited before it was seen is that of the edit: with its first
// moment, a reading in it could start a clock in the past.
func (r *receiver) spoken(ctx context.Context, in room, p *model.Post) (item, error) {
	at := max(p.CreateAt, p.EditAt)
	it := item{at: at, post: p, moves: true}
	who, key, ok, err := r.author(ctx, in, p)
	if err != nil || !ok {
		return it, err
	}
	it.what = &chat.Event{
		ID: p.Id, At: time.UnixMilli(at), Who: who.Person, Where: whereOf(in, p), Key: key,
		What: chat.Said{Post: p.Id, Text: textOf(p), Mentioned: r.mention.MatchString(textOf(p)), Files: filesOf(p)},
	}
	return it, nil
}

// edited returns the post as an edit by a person, if it is one.
func (r *receiver) edited(ctx context.Context, in room, p *model.Post) (item, error) {
	it := item{at: p.EditAt, post: p, moves: true}
	who, key, ok, err := r.author(ctx, in, p)
	if err != nil || !ok {
		return it, err
	}
	it.what = &chat.Event{
		ID: p.Id + "@" + strconv.FormatInt(p.EditAt, 10),
		At: time.UnixMilli(p.EditAt), Who: who.Person, Where: whereOf(in, p), Key: key,
		What: chat.Edited{
			Post: p.Id, Text: textOf(p), Mentioned: r.mention.MatchString(textOf(p)),
			Posted: time.UnixMilli(p.CreateAt),
		},
	}
	return it, nil
}

// deleted returns the post as one by a person that somebody deleted, if it is one.
func (r *receiver) deleted(ctx context.Context, in room, p *model.Post) (item, error) {
	it := item{at: p.DeleteAt, post: p, moves: true}
	who, key, ok, err := r.author(ctx, in, p)
	if err != nil || !ok {
		return it, err
	}
	it.what = &chat.Event{
		ID: p.Id + "-deleted", // without the moment, which moves when the rest of the thread is deleted
		At: time.UnixMilli(p.DeleteAt), Who: who.Person, Where: whereOf(in, p), Key: key,
		What: chat.Deleted{Post: p.Id},
	}
	return it, nil
}

// keyOf returns the key of the first post of a thread, empty if it has none, or
// is not the bot's. The server is asked for a post once.
func (r *receiver) keyOf(ctx context.Context, root string) (string, error) {
	if root == "" {
		return "", nil
	}
	if key, ok := r.sent.key(root); ok {
		return key, nil
	}
	p, err := r.getPost(ctx, "looking at the first post of a thread", root,
		"what is posted in its thread is handled as if the thread were no run's")
	switch {
	case errors.Is(err, errGivenUp):
		return "", nil // and it is asked for again
	case err != nil && !asFault(err).refused():
		return "", err
	case err == nil && p.UserId == r.me.ID:
		r.sent.remember(p)
	}
	r.sent.keyless(root)
	key, _ := r.sent.key(root)
	return key, nil
}

func (r *receiver) getPost(ctx context.Context, doing, id, without string) (*model.Post, error) {
	return look(ctx, r, lookUp{doing, id, without, lookUpWait}, func(ctx context.Context) (*model.Post, error) {
		return ask(ctx, doing, func() (*model.Post, *model.Response, error) {
			return r.api.GetPost(ctx, id, "")
		}, wholePost)
	})
}

// author returns who wrote a post, whether that is somebody to listen to, and the key of
// the first post of its thread.
func (r *receiver) author(ctx context.Context, in room, p *model.Post) (who person, key string, ok bool, err error) {
	if who, ok, err = r.speaker(ctx, in, p); err != nil || !ok {
		return who, "", ok, err
	}
	key, err = r.keyOf(ctx, p.RootId)
	return who, key, true, err
}

// speaker returns who wrote a post, and whether that is somebody to listen to.
// A webhook's post carries the user id of whoever made the webhook; the server's
// mark tells the two apart.
func (r *receiver) speaker(ctx context.Context, in room, p *model.Post) (person, bool, error) {
	_, webhook := p.GetProps()[model.PostPropsFromWebhook]
	typed := p.Type == model.PostTypeDefault || p.Type == model.PostTypeMe
	if webhook || !typed || p.UserId == r.me.ID {
		return person{}, false, nil
	}
	who, err := r.person(ctx, p.UserId)
	if errors.Is(err, errGivenUp) {
		return person{}, false, nil
	}
	return who, who.mayTalk(in), err
}

// textOf returns what was typed: the server may show links in another way.
func textOf(p *model.Post) string {
	if p.MessageSource != "" {
		return p.MessageSource
	}
	return p.Message
}

func filesOf(p *model.Post) []chat.File {
	var files []chat.File
	for _, id := range p.FileIds {
		file := chat.File{ID: id}
		if p.Metadata != nil {
			if i := slices.IndexFunc(p.Metadata.Files, func(f *model.FileInfo) bool { return f.Id == id }); i >= 0 {
				file.Name, file.Size = p.Metadata.Files[i].Name, p.Metadata.Files[i].Size
			}
		}
		files = append(files, file)
	}
	return files
}

func whereOf(in room, p *model.Post) chat.Where {
	return chat.Where{Channel: p.ChannelId, Direct: in == directRoom, Root: p.RootId}
}

// tapped returns somebody's tap on a number under one of the bot's posts, or
// nil if it is anything else.
func (r *receiver) tapped(ctx context.Context, channel string, t *model.Reaction, on bool) (*chat.Event, error) {
	n := slices.Index(numbers, t.EmojiName) + 1
	if n == 0 || t.UserId == r.me.ID {
		return nil, nil
	}
	in, err := r.roomOf(ctx, channel, "")
	if err != nil || in == otherRoom {
		return nil, err
	}
	root, mine, err := r.ownPost(ctx, t.PostId)
	if err != nil || !mine {
		return nil, err
	}
	who, err := r.person(ctx, t.UserId)
	if errors.Is(err, errGivenUp) {
		return nil, nil
	}
	if err != nil || !who.mayTalk(in) {
		return nil, err
	}
	at := tapTime(t)
	key, _ := r.sent.key(t.PostId)
	return &chat.Event{
		ID: fmt.Sprintf("%s#%s#%d#%t@%d", t.PostId, t.UserId, n, on, at),
		At: time.UnixMilli(at), Who: who.Person,
		Where: chat.Where{Channel: channel, Direct: in == directRoom, Root: root}, Key: key,
		What: chat.Tapped{Post: t.PostId, N: n, On: on},
	}, nil
}

// tapTime is when a reaction was made or taken back. One that is made again
// keeps its first create_at; one taken back has none.
func tapTime(t *model.Reaction) int64 { return max(t.CreateAt, t.UpdateAt) }

// ownPost reports whether a post is the bot's, and in which thread it is.
func (r *receiver) ownPost(ctx context.Context, id string) (root string, mine bool, err error) {
	if root, ok := r.sent.root(id); ok {
		return root, true, nil
	}
	p, err := r.getPost(ctx, "looking at a post that was tapped", id, "taps on it are passed over")
	if err != nil {
		if asFault(err).refused() || errors.Is(err, errGivenUp) {
			err = nil // if refused, it was deleted meanwhile
		}
		return "", false, err
	}
	if p.UserId != r.me.ID {
		return "", false, nil
	}
	r.sent.remember(p)
	return p.RootId, true, nil
}

// taps returns which numbers are tapped under one of the bot's posts. It has no
// event if the post has no numbers.
func (r *receiver) taps(ctx context.Context, in room, p *model.Post) (item, error) {
	it := item{post: p}
	if p.Metadata == nil {
		return it, nil
	}
	offered := false
	now := chat.TapsNow{Post: p.Id}
	for _, t := range p.Metadata.Reactions {
		n := slices.Index(numbers, t.EmojiName) + 1
		offered = offered || n > 0
		if n == 0 || t.UserId == r.me.ID {
			continue
		}
		who, err := r.person(ctx, t.UserId)
		if errors.Is(err, errGivenUp) { // without this one, it would look as if it had been taken back
			return item{post: p}, nil
		}
		if err != nil {
			return it, err
		}
		if who.mayTalk(in) {
			now.Taps = append(now.Taps, chat.Tap{Who: who.Person, N: n, At: time.UnixMilli(tapTime(t))})
			it.at = max(it.at, tapTime(t))
		}
	}
	if !offered {
		return it, nil
	}
	if it.at == 0 { // all taken back, nobody knows when
		it.at = p.UpdateAt
	}
	key, _ := r.sent.key(p.Id)
	it.what = &chat.Event{
		ID: tapsID(p, now), At: time.UnixMilli(it.at), Where: whereOf(in, p), Key: key, What: now,
	}
	return it, nil
}

// tapsID names a state of taps: the post's update_at moves with every tap, and
// for other reasons too.
func tapsID(p *model.Post, now chat.TapsNow) string {
	sum := fnv.New64a()
	for _, tap := range now.Taps {
		fmt.Fprintln(sum, tap.Who.ID, tap.N, tap.At.UnixMilli())
	}
	return fmt.Sprintf("%s#%d#%x", p.Id, p.UpdateAt, sum.Sum64())
}

// handlers are the events that matter, and what is done about each.
var handlers = map[model.WebsocketEventType]func(*receiver, context.Context, frame) error{
	model.WebsocketEventPosted:          (*receiver).onPosted,
	model.WebsocketEventPostEdited:      (*receiver).onEdited,
	model.WebsocketEventPostDeleted:     (*receiver).onDeleted,
	model.WebsocketEventReactionAdded:   (*receiver).onTapped,
	model.WebsocketEventReactionRemoved: (*receiver).onTapped,
	model.WebsocketEventUserUpdated:     (*receiver).onUser,
	model.WebsocketEventUserAdded:       (*receiver).onCrew,
	model.WebsocketEventUserRemoved:     (*receiver).onCrew,
	model.WebsocketEventChannelUpdated:  (*receiver).onCrew,
	model.WebsocketEventChannelDeleted:  (*receiver).onCrew,
	model.WebsocketEventChannelRestored: (*receiver).onCrew,
}

func (r *receiver) onPosted(ctx context.Context, f frame) error {
	p, in, err := r.postOf(ctx, f)
	if err != nil || in == otherRoom {
		return err
	}
	if p.UserId == r.me.ID {
		r.sent.remember(p)
	}
	it, err := r.spoken(ctx, in, p)
	if err != nil {
		return err
	}
	return r.take(ctx, it)
}

// onEdited also hears of pins and of changed props. They do not change edit_at, so
// they give an edit that was heard before: the same one again, or one too old to
// be still unheard.
func (r *receiver) onEdited(ctx context.Context, f frame) error {
	p, in, err := r.postOf(ctx, f)
	if err != nil || in == otherRoom || p.EditAt < r.window(p.ChannelId).edits || p.EditAt == 0 {
		return err
	}
	it, err := r.edited(ctx, in, p)
	if err != nil {
		return err
	}
	return r.take(ctx, it)
}

// onDeleted reads the deletion from the history: the event does not tell its
// moment, and comes once only when a whole thread is deleted.
func (r *receiver) onDeleted(ctx context.Context, f frame) error {
	p, in, err := r.postOf(ctx, f)
	if err != nil || in == otherRoom {
		return err
	}
	items, err := r.missed(ctx, p.ChannelId, in)
	if err != nil {
		return err
	}
	found := slices.ContainsFunc(items, func(it item) bool { return it.post.Id == p.Id && it.post.DeleteAt != 0 })
	if !found && p.UserId != r.me.ID { // the answer came from a cache that was too old
		p.DeleteAt = r.Now().UnixMilli()
		it, err := r.deleted(ctx, in, p)
		if err != nil {
			return err
		}
		items = append(items, it)
	}
	return r.takeAll(ctx, items)
}

// postOf returns the post in an event, and where it was made.
func (r *receiver) postOf(ctx context.Context, f frame) (*model.Post, room, error) {
	var data struct {
		Post string            `json:"post"` // JSON in JSON
		Kind model.ChannelType `json:"channel_type"`
	}
	p := new(model.Post)
	if err := json.Unmarshal(f.Data, &data); err != nil {
		return nil, otherRoom, fmt.Errorf("reading a %q event: %w", f.Event, err)
	}
	if err := json.Unmarshal([]byte(data.Post), p); err != nil {
		return nil, otherRoom, fmt.Errorf("reading the post of a %q event: %w", f.Event, err)
	}
	in, err := r.roomOf(ctx, p.ChannelId, data.Kind)
	return p, in, err
}

func (r *receiver) onTapped(ctx context.Context, f frame) error {
	var data struct {
		Reaction string `json:"reaction"` // JSON in JSON
	}
	var t model.Reaction
	if err := json.Unmarshal(f.Data, &data); err != nil {
		return fmt.Errorf("reading a %q event: %w", f.Event, err)
	}
	if err := json.Unmarshal([]byte(data.Reaction), &t); err != nil {
		return fmt.Errorf("reading the reaction of a %q event: %w", f.Event, err)
	}
	// The reaction itself lacks the channel when it is taken back.
	channel := f.Broadcast.ChannelID
	event, err := r.tapped(ctx, channel, &t, f.Event == model.WebsocketEventReactionAdded)
	if err != nil || event == nil {
		return err
	}
	event.Mark = r.marks[channel]
	return r.deliver(ctx, *event)
}
