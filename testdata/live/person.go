package live

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"
	"syscall"
	"time"

	"github.com/mattermost/mattermost/server/public/model"
)

// Person is somebody at the station with a phone. What is done while the server
// is down is done as soon as it is up again. A Person is used by one goroutine,
// the test's.
type Person struct {
	Name string

	station *Station
	id      string
	client  *model.Client4
	watch   *watch
	next    int  // how many sightings the awaits have gone past
	last    Post // the person's own
}

// admit gives somebody who is logged in a phone, which shows what comes until
// the test ends.
func (s *Station) admit(who account) *Person {
	ctx, cancel := context.WithCancel(s.t.Context())
	person := &Person{Name: who.name, station: s, id: who.id, client: s.client(who.token), watch: newWatch(s, who)}
	ended := make(chan struct{})
	go func() {
		defer close(ended)
		person.watch.run(ctx)
	}()
	s.t.Cleanup(func() {
		cancel()
		<-ended
	})
	return person
}

// Post posts in a channel.
func (p *Person) Post(channel Channel, text string) Post {
	p.station.t.Helper()
	return p.Begin(channel, text)()
}

// Reply posts in the thread of a post.
func (p *Person) Reply(to Post, text string) Post {
	p.station.t.Helper()
	return p.BeginReply(to, text)()
}

// DM posts a direct message to the bot.
func (p *Person) DM(text string) Post {
	p.station.t.Helper()
	return p.Post(p.Direct(), text)
}

// Direct returns the channel of the person's direct messages with the bot.
func (p *Person) Direct() Channel {
	p.station.t.Helper()
	var direct *model.Channel
	p.persist("opening the direct messages", func(ctx context.Context) (resp *model.Response, err error) {
		direct, resp, err = p.client.CreateDirectChannel(ctx, p.id, p.station.ground.accounts.botID)
		return resp, err
	})
	return Channel{ID: direct.Id, Name: "direct"}
}

// Attach posts in a channel with a file attached.
func (p *Person) Attach(channel Channel, text, name string, content []byte) Post {
	p.station.t.Helper()
	return p.begin(&model.Post{
		ChannelId: channel.ID, Message: text, FileIds: []string{p.upload(channel, name, content)},
	}, channel)()
}

// AttachReply posts in the thread of a post that begins one, with a file attached.
func (p *Person) AttachReply(to Post, text, name string, content []byte) Post {
	p.station.t.Helper()
	return p.begin(&model.Post{
		ChannelId: to.Channel.ID, RootId: to.ID, Message: text, FileIds: []string{p.upload(to.Channel, name, content)},
	}, to.Channel)()
}

// upload puts a file on the server and returns its id.
func (p *Person) upload(channel Channel, name string, content []byte) string {
	p.station.t.Helper()
	var uploaded *model.FileUploadResponse
	p.persist("uploading "+name, func(ctx context.Context) (resp *model.Response, err error) {
		uploaded, resp, err = p.client.UploadFile(ctx, content, channel.ID, name)
		return resp, err
	})
	return uploaded.FileInfos[0].Id
}

// Download returns a file of a post.
func (p *Person) Download(file string) (name string, content []byte) {
	p.station.t.Helper()
	p.persist("downloading a file", func(ctx context.Context) (*model.Response, error) {
		info, resp, err := p.client.GetFileInfo(ctx, file)
		if err != nil {
			return resp, err
		}
		name = info.Name
		content, resp, err = p.client.GetFile(ctx, file)
		return resp, err
	})
	return name, content
}

// Begin posts in a channel in the background, for one who posts while the server
// is down or at the same time as somebody else. It returns a function that waits
// until the server has the post, and returns it; it must be called once.
func (p *Person) Begin(channel Channel, text string) func() Post {
	return p.begin(&model.Post{ChannelId: channel.ID, Message: text}, channel)
}

// BeginReply is like Begin, for a post in the thread of another.
func (p *Person) BeginReply(to Post, text string) func() Post {
	root := to.Root
	if root == "" {
		root = to.ID
	}
	return p.begin(&model.Post{ChannelId: to.Channel.ID, RootId: root, Message: text}, to.Channel)
}

func (p *Person) begin(draft *model.Post, channel Channel) func() Post {
	ctx, cancel := context.WithTimeout(p.station.t.Context(), p.station.Patience)
	var posted *model.Post
	var err error
	sent := make(chan struct{})
	go func() {
		defer close(sent)
		defer cancel()
		posted, err = p.send(ctx, draft)
	}()
	return func() Post {
		p.station.t.Helper()
		<-sent
		if err != nil {
			p.station.t.Fatalf("%s could not post %q: %v", p.Name, draft.Message, err)
		}
		p.last = p.station.post(posted, channel)
		return p.last
	}
}

// send posts a draft once, retrying until the server takes it.
func (p *Person) send(ctx context.Context, draft *model.Post) (*model.Post, error) {
	// The server's own recognition of repeats ends with its life, so the post
	// bears a mark by which it is found if the answer to it got lost.
	mark := model.NewId()
	draft.AddProp(sendMark, mark)
	draft.PendingPostId = p.id + ":" + mark
	began := time.Now()
	var posted *model.Post
	inDoubt := false
	err := retry(ctx, func(ctx context.Context) (resp *model.Response, err error) {
		if inDoubt {
			posted, resp, err = p.find(ctx, draft.ChannelId, mark, began)
			if err != nil || posted != nil {
				return resp, err
			}
		}
		posted, resp, err = p.client.CreatePost(ctx, draft)
		if err != nil && !errors.Is(err, syscall.ECONNREFUSED) {
			inDoubt = true
		}
		return resp, err
	})
	return posted, err
}

const sendMark = "live_test_mark"

// find looks for a post by its mark and returns nil if it is not there.
func (p *Person) find(ctx context.Context, channel, mark string, began time.Time) (*model.Post, *model.Response, error) {
	list, resp, err := p.client.GetPostsSince(ctx, channel, began.Add(-overlap).UnixMilli(), false)
	if err != nil {
		return nil, resp, err
	}
	for _, post := range list.Posts {
		if post.GetProp(sendMark) == mark && post.OriginalId == "" {
			return post, resp, nil
		}
	}
	return nil, resp, nil
}

// Edit changes the text of the person's last post.
func (p *Person) Edit(text string) Post {
	p.station.t.Helper()
	var edited *model.Post
	p.persist("editing a post", func(ctx context.Context) (resp *model.Response, err error) {
		edited, resp, err = p.client.PatchPost(ctx, p.last.ID, &model.PostPatch{Message: &text})
		return resp, err
	})
	p.last = p.station.post(edited, p.last.Channel)
	return p.last
}

// Delete deletes the person's last post.
func (p *Person) Delete() {
	p.station.t.Helper()
	p.persist("deleting a post", func(ctx context.Context) (*model.Response, error) {
		return p.client.DeletePost(ctx, p.last.ID)
	})
}

// React puts an emoji under a post, by its name: thumbsup.
func (p *Person) React(to Post, emoji string) {
	p.station.t.Helper()
	p.persist("reacting to a post", func(ctx context.Context) (*model.Response, error) {
		_, resp, err := p.client.SaveReaction(ctx, p.reaction(to, emoji))
		return resp, err
	})
}

// Unreact takes back an emoji that the person put under a post.
func (p *Person) Unreact(to Post, emoji string) {
	p.station.t.Helper()
	p.persist("taking back a reaction", func(ctx context.Context) (*model.Response, error) {
		return p.client.DeleteReaction(ctx, p.reaction(to, emoji))
	})
}

func (p *Person) reaction(to Post, emoji string) *model.Reaction {
	return &model.Reaction{UserId: p.id, PostId: to.ID, EmojiName: emoji}
}

// Await waits until the person's phone shows a post that matches and returns it.
// A post is shown when it comes, and again each time it is edited or deleted or
// a reaction to it is added or removed. Each Await goes on after the one before:
// it looks at what was shown since then, whatever the person did in between.
func (p *Person) Await(match func(Post) bool) Post {
	p.station.t.Helper()
	return p.await("a post", match)
}

// AwaitText is Await for a post of somebody else that contains the words, in the
// way of [Post.Says].
func (p *Person) AwaitText(words string) Post {
	p.station.t.Helper()
	return p.await(fmt.Sprintf("%q", words), func(post Post) bool {
		return post.Author != p.Name && !post.Deleted && post.Says(words)
	})
}

func (p *Person) await(what string, match func(Post) bool) Post {
	p.station.t.Helper()
	deadline := time.NewTimer(p.station.Patience)
	defer deadline.Stop()
	for {
		shown, changed := p.watch.since(p.next)
		for i, post := range shown {
			if match(post) {
				p.next += i + 1
				return post
			}
		}
		select {
		case <-changed:
		case <-deadline.C:
			p.station.t.Fatalf("%s awaited %s for %v in vain\n%s", p.Name, what, p.station.Patience, p.screen())
		}
	}
}

// Alerts returns the posts, by whomever, that alerted the person when they came:
// those for which a phone would buzz. Posts that came while the server or the
// person's link was down are not among them.
func (p *Person) Alerts() Transcript {
	p.watch.mu.Lock()
	defer p.watch.mu.Unlock()
	return slices.Clone(p.watch.alerts)
}

// screen tells all that the person's phone has shown, for a test that failed.
func (p *Person) screen() string {
	p.watch.mu.Lock()
	defer p.watch.mu.Unlock()
	var b strings.Builder
	fmt.Fprintf(&b, "what was shown, %d of it before:\n%s", p.next, p.watch.sightings)
	if p.watch.trouble != nil {
		fmt.Fprintf(&b, "the websocket was last closed by: %v\n", p.watch.trouble)
	}
	return b.String()
}

// persist does something until the server answers, and fails the test if it
// refuses. It must be harmless to do twice.
func (p *Person) persist(what string, try func(context.Context) (*model.Response, error)) {
	p.station.t.Helper()
	ctx, cancel := context.WithTimeout(p.station.t.Context(), p.station.Patience)
	defer cancel()
	if err := retry(ctx, try); err != nil {
		p.station.t.Fatalf("%s, %s: %v", p.Name, what, err)
	}
}

// retry tries until the server answers. A refusal is an answer; that it is down
// or cannot cope is not.
func retry(ctx context.Context, try func(context.Context) (*model.Response, error)) error {
	again := time.NewTicker(retryEvery)
	defer again.Stop()
	for {
		resp, err := try(ctx)
		if err == nil || resp != nil && resp.StatusCode < 500 {
			return err
		}
		select {
		case <-again.C:
		case <-ctx.Done():
			return fmt.Errorf("%w: %w", context.Cause(ctx), err)
		}
	}
}
