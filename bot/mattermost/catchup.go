package mattermost

import (
	"cmp"
	"context"
	"errors"
	"maps"
	"slices"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
)

const (
	// overlap is how long after its moment a post may become visible. The
	// server stamps a post, then fetches the pictures linked in it, for up to
	// 5 s each, then shows it.
	overlap = 10 * time.Minute

	// firstLook is how far back the bot reads when it has no marks at all.
	firstLook = 24 * time.Hour

	// editReach is how old a post may be for an edit of it, or a tap on it, not
	// to be missed after a gap of a thousand posts.
	editReach = 12 * time.Hour

	sinceLimit = 1000 // the server gives no more in answer to "since", and does not say so
	pageSize   = 200  // the server's limit
)

// A window is which part of a channel may not have been delivered yet, in the
// server's milliseconds.
type window struct {
	posts  int64 // new posts, from this moment on
	edits  int64 // edits
	anchor string
}

func (r *receiver) window(channel string) window {
	mark, ok := r.marks[channel]
	if !ok || mark == (chat.Mark{}) {
		return window{posts: r.floor, edits: r.floor}
	}
	back := overlap.Milliseconds()
	return window{posts: mark.Created - back, edits: mark.Updated - back, anchor: mark.Anchor}
}

// catchUp delivers what may have been missed, in the order in which it
// happened. A quick one leaves out direct messages in which nothing was posted:
// edits and taps there are left to the next one.
func (r *receiver) catchUp(ctx context.Context, quick bool) error {
	r.floor = r.unmarkedFrom()
	channels, err := ask(ctx, "asking which channels there are", func() ([]*model.Channel, *model.Response, error) {
		return r.api.GetChannelsForUserWithLastDeleteAt(ctx, r.me.ID, 0)
	}, func([]*model.Channel) bool { return true })
	if err != nil && asFault(err).id != errNoChannels {
		return err
	}
	if !slices.ContainsFunc(channels, func(c *model.Channel) bool { return c.Id == r.crew.Id && c.DeleteAt == 0 }) {
		if _, err := r.crewOpen(ctx); err != nil {
			return err
		}
		return errNotListed // it may have been opened just now
	}
	var items []item
	for _, channel := range channels {
		in, err := r.roomOf(ctx, channel.Id, channel.Type)
		if err != nil {
			return err
		}
		if in == otherRoom || quick && in == directRoom && channel.LastPostAt <= r.marks[channel.Id].Created {
			continue
		}
		more, err := r.missed(ctx, channel.Id, in)
		if err != nil {
			return err
		}
		items = append(items, more...)
	}
	if err := r.takeAll(ctx, items); err != nil {
		return err
	}
	if r.marks[r.crew.Id] == (chat.Mark{}) {
		r.marks[r.crew.Id] = chat.Mark{Created: r.floor, Updated: r.floor}
	}
	return nil
}

var errNotListed = errors.New("the crew channel is not among the bot's channels")

// unmarkedFrom is where a channel begins of which nothing was ever delivered:
// at the last moment of which the bot knows that it was up.
func (r *receiver) unmarkedFrom() int64 {
	var last int64
	for _, mark := range r.marks {
		last = max(last, mark.Updated)
	}
	if last == 0 {
		return r.Now().Add(-firstLook).UnixMilli()
	}
	return last - overlap.Milliseconds()
}

// takeAll takes items in the order of their moments.
func (r *receiver) takeAll(ctx context.Context, items []item) error {
	slices.SortStableFunc(items, func(a, b item) int {
		return cmp.Or(cmp.Compare(a.at, b.at), cmp.Compare(a.post.Id, b.post.Id))
	})
	for _, it := range items {
		if err := r.take(ctx, it); err != nil {
			return err
		}
	}
	return nil
}

// missed returns what may have been missed in a channel. A direct message that
// the bot may not read any more has nothing.
func (r *receiver) missed(ctx context.Context, channel string, in room) ([]item, error) {
	w := r.window(channel)
	read := func(ctx context.Context) ([]*model.Post, error) {
		return r.history(ctx, channel, min(w.posts, w.edits)-1, w.anchor, true)
	}
	var posts []*model.Post
	var err error
	if in == directRoom {
		l := lookUp{"reading a direct message", channel, "it is not read for now", requestTimeout}
		posts, err = look(ctx, r, l, read)
	} else {
		posts, err = read(ctx)
	}
	if err != nil {
		if in == directRoom && (asFault(err).refused() || errors.Is(err, errGivenUp)) {
			r.outages.Failed("channel "+channel, "a direct message cannot be read", err, "channel", channel)
			return nil, nil
		}
		return nil, err
	}
	r.outages.Over("channel "+channel, "a direct message can be read again", "channel", channel)
	if w.anchor == "" {
		w.posts = max(w.posts, r.joined(posts))
	}
	for _, p := range posts { // before the replies to them are looked at
		if p.UserId == r.me.ID && p.OriginalId == "" {
			r.sent.remember(p)
		}
	}
	var items []item
	for _, p := range posts {
		more, err := r.itemsOf(ctx, in, p, w)
		if err != nil {
			return nil, err
		}
		items = append(items, more...)
	}
	return items, nil
}

// itemsOf returns what a post from the history may have to tell. A post that
// is new and was edited meanwhile gives both, the second with nothing new.
func (r *receiver) itemsOf(ctx context.Context, in room, p *model.Post, w window) ([]item, error) {
	if p.OriginalId != "" { // an old version of a post
		return nil, nil
	}
	if p.DeleteAt != 0 {
		if p.DeleteAt < w.edits || p.UserId == r.me.ID {
			return nil, nil
		}
		it, err := r.deleted(ctx, in, p)
		return []item{it}, err
	}
	var find []func(context.Context, room, *model.Post) (item, error)
	if p.UserId == r.me.ID {
		find = append(find, r.taps)
	}
	if p.CreateAt >= w.posts {
		find = append(find, r.spoken)
	}
	if p.EditAt != 0 && p.EditAt >= w.edits {
		find = append(find, r.edited)
	}
	var items []item
	for _, f := range find {
		it, err := f(ctx, in, p)
		if err != nil {
			return nil, err
		}
		items = append(items, it)
	}
	return items, nil
}

// joined is when the bot was added to the channel, as far as the posts tell.
func (r *receiver) joined(posts []*model.Post) int64 {
	var at int64
	for _, p := range posts {
		if p.Type == model.PostTypeAddToChannel && p.GetProp(model.PostPropsAddedUserId) == r.me.ID {
			at = max(at, p.CreateAt)
		}
	}
	return at
}

// history returns the posts of a channel that were made or changed after since,
// in no order, and perhaps others. Old versions and deleted posts are among
// them. The post anchor is known to have changed after since, if it is given.
// A patient call waits while a rate limiter answers.
func (s *Server) history(ctx context.Context, channel string, since int64, anchor string, patient bool) ([]*model.Post, error) {
	list, err := s.page(ctx, patient, func() (*model.PostList, *model.Response, error) {
		return s.api.GetPostsSince(ctx, channel, since, false)
	})
	if err != nil {
		return nil, err
	}
	found := make(map[string]*model.Post)
	for _, id := range list.Order {
		found[id] = list.Posts[id]
	}
	until := since
	switch {
	case len(list.Order) >= sinceLimit: // cut off, and not at the oldest
		until -= editReach.Milliseconds()
	case anchor == "" && len(list.Order) > 0, found[anchor] != nil:
		return slices.Collect(maps.Values(found)), nil
	}
	// Without the anchor the answer came from a cache that was too old.
	if err := s.walkBack(ctx, channel, until, patient, found); err != nil {
		return nil, err
	}
	return slices.Collect(maps.Values(found)), nil
}

// walkBack adds to found all posts of a channel made after until. A page holds
// what is strictly older than its anchor, so of posts with the same moment some
// could fall between two pages: the next anchor is therefore newer than the
// oldest moment of the page, not the last post on it.
func (s *Server) walkBack(ctx context.Context, channel string, until int64, patient bool, found map[string]*model.Post) error {
	anchor, number := "", 0
	for {
		list, err := s.page(ctx, patient, func() (*model.PostList, *model.Response, error) {
			if anchor == "" {
				return s.api.GetPostsForChannel(ctx, channel, number, pageSize, "", false, false)
			}
			return s.api.GetPostsBefore(ctx, channel, anchor, number, pageSize, "", false, false)
		})
		if err != nil {
			return err
		}
		posts := make([]*model.Post, 0, len(list.Order))
		for _, id := range list.Order {
			posts = append(posts, list.Posts[id])
			found[id] = list.Posts[id]
		}
		if len(posts) == 0 {
			return nil
		}
		byAge := func(a, b *model.Post) int { return cmp.Compare(a.CreateAt, b.CreateAt) }
		oldest := slices.MinFunc(posts, byAge).CreateAt
		if oldest <= until {
			return nil
		}
		newer := slices.DeleteFunc(posts, func(p *model.Post) bool { return p.CreateAt == oldest })
		if len(newer) == 0 { // a page of one moment
			number++
			continue
		}
		anchor, number = slices.MinFunc(newer, byAge).Id, 0
	}
}

var errHoles = errors.New("the answer names posts that it does not hold")

// page asks for posts, and makes sure that the answer has all it names.
func (s *Server) page(ctx context.Context, patient bool, call func() (*model.PostList, *model.Response, error)) (*model.PostList, error) {
	const doing = "reading a channel"
	whole := func(l *model.PostList) bool { return l.Posts != nil }
	var list *model.PostList
	var err error
	if patient {
		list, err = ask(ctx, doing, call, whole)
	} else {
		list, err = once(doing, call, whole)
	}
	if err != nil {
		return nil, err
	}
	for _, id := range list.Order {
		if list.Posts[id] == nil {
			return nil, &fault{doing: doing, by: chat.ByProxy, err: errHoles}
		}
	}
	return list, nil
}
