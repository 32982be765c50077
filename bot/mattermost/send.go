package mattermost

import (
	"context"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
)

// memory is how long the server knows a pending_post_id.
const memory = 30 * time.Second

// Post makes a post, or finds it if it was made before with the same key.
func (s *Server) Post(ctx context.Context, m chat.Message) (string, error) {
	if id, ok := s.sent.id(m.Key); ok {
		return id, nil
	}
	channel, err := s.channelOf(ctx, m.To)
	if err != nil {
		return "", sendError(err)
	}
	if !m.First.IsZero() {
		id, err := s.find(ctx, m.Key, channel, m.First)
		if err != nil {
			return "", sendError(err)
		}
		if id != "" {
			return id, nil
		}
	}
	files, err := s.upload(ctx, m, channel)
	if err != nil {
		return "", s.uploadError(ctx, channel, err)
	}
	post, err := s.create(ctx, m, channel, s.me.ID+":"+m.Key, files)
	if err == nil && post.UserId != s.me.ID {
		// Somebody else used that very id, and the server took the post for a
		// repeat of theirs.
		post, err = s.create(ctx, m, channel, "", files)
	}
	if err != nil {
		return "", postError(err, m.To)
	}
	s.sent.remember(post)
	s.sent.keep(m.Key, post.Id)
	return post.Id, nil
}

// upload puts a message's file on the server. A file can be attached once, so
// each try at a post takes an upload of its own.
func (s *Server) upload(ctx context.Context, m chat.Message, channel string) ([]string, error) {
	if len(m.File) == 0 {
		return nil, nil
	}
	up, err := once("uploading a file", func() (*model.FileUploadResponse, *model.Response, error) {
		return s.api.UploadFile(ctx, m.File, channel, m.FileName)
	}, func(up *model.FileUploadResponse) bool { return up != nil && len(up.FileInfos) == 1 })
	if err != nil {
		return nil, err
	}
	return []string{up.FileInfos[0].Id}, nil
}

func (s *Server) create(ctx context.Context, m chat.Message, channel, pending string, files []string) (*model.Post, error) {
	return once("posting", func() (*model.Post, *model.Response, error) {
		return s.api.CreatePost(ctx, &model.Post{
			ChannelId: channel, RootId: m.To.Root, Message: sendable(m.Text), PendingPostId: pending, FileIds: files,
			Props: model.StringInterface{
				keyProp: m.Key,
				// The server fetches nothing that a link in the text points to.
				model.PostPropsUnsafeLinks: "true",
			},
		})
	}, wholePost)
}

func wholePost(p *model.Post) bool { return p.Id != "" }

// channelOf returns the channel a message goes to. The server makes the channel
// of a direct message when it is first asked for.
func (s *Server) channelOf(ctx context.Context, to chat.To) (string, error) {
	switch {
	case to.Person != "":
		channel, err := once("opening a direct message", func() (*model.Channel, *model.Response, error) {
			return s.api.CreateDirectChannel(ctx, s.me.ID, to.Person)
		}, func(c *model.Channel) bool { return c != nil && c.Id != "" })
		if err != nil {
			return "", err
		}
		return channel.Id, nil
	case to.Channel != "":
		return to.Channel, nil
	default:
		return s.crew.Id, nil
	}
}

// Edit replaces the text of one of the bot's posts. Its props stay as they are.
func (s *Server) Edit(ctx context.Context, id, text string) error {
	text = sendable(text)
	_, err := once("editing a post", func() (*model.Post, *model.Response, error) {
		return s.api.PatchPost(ctx, id, &model.PostPatch{Message: &text})
	}, wholePost)
	return s.changeError(ctx, id, err)
}

// Offer puts the numbers 1 to n under a post, as reactions that can be tapped.
func (s *Server) Offer(ctx context.Context, id string, n int) error {
	if n > len(numbers) {
		return &chat.SendError{
			Err: fmt.Errorf("%d numbers to tap: there are only %d", n, len(numbers)), Outcome: chat.Never, By: chat.ByServer,
		}
	}
	for _, name := range numbers[:n] {
		_, err := once("putting numbers under a post", func() (*model.Reaction, *model.Response, error) {
			return s.api.SaveReaction(ctx, &model.Reaction{UserId: s.me.ID, PostId: id, EmojiName: name})
		}, func(tap *model.Reaction) bool { return tap.PostId != "" })
		if err != nil {
			return s.changeError(ctx, id, err)
		}
	}
	return nil
}

// File returns the content of something attached to a post, as it comes from the
// server. Reading it can fail, and takes downloadTimeout at most.
func (s *Server) File(ctx context.Context, id string) (io.ReadCloser, error) {
	resp, err := s.files.DoAPIGet(ctx, "/files/"+url.PathEscape(id), "")
	if err == nil {
		return resp.Body, nil
	}
	err = faultOf("fetching a file", model.BuildResponse(resp), err)
	// A 404 can also mean that the server's storage does not give the file just
	// now. With this name it means that the file was deleted or never existed.
	if f := asFault(err); f.status == http.StatusNotFound && f.id == errNoFile {
		err = fmt.Errorf("%w: %w", chat.ErrGone, err)
	}
	return nil, sendError(err)
}

// sendError classifies a failed call. Only the chat server itself can say that
// a call can never succeed, or that a channel is shut: whatever a proxy or
// nobody says can be different the next time. It returns nil for nil.
func sendError(err error) error {
	if err == nil {
		return nil
	}
	f := asFault(err)
	return &chat.SendError{Err: err, Outcome: f.outcome(), By: f.by, After: f.wait()}
}

func (f *fault) outcome() chat.Outcome {
	if f.by != chat.ByServer {
		return chat.Later
	}
	switch f.id {
	case errRoot, errRootElsewhere:
		return chat.ThreadGone
	case errNoPost:
		return chat.PostGone
	case errNoRoute: // a proxy has changed the path
		return chat.Later
	}
	switch {
	case f.archived(), f.status == http.StatusForbidden: // or the bot is not in the channel
		return chat.Shut
	case f.status == http.StatusUnauthorized, f.status < 400, f.temporary():
		return chat.Later
	default:
		return chat.Never
	}
}

// archived reports whether the server says that the channel is archived.
func (f *fault) archived() bool {
	switch f.id {
	case errArchivedPost, errArchivedEdit, errArchivedSave, errArchivedTap:
		return true
	}
	return false
}

// wait is how long to wait before the next try at least.
func (f *fault) wait() time.Duration {
	if f.id == errDeletedAtOnce { // the server gives no other post for that id until it forgets the first
		return max(f.after, memory)
	}
	return f.after
}

// postError classifies a failed post. The server also says "forbidden" while the
// other side of a direct message opens it at the same moment.
func postError(err error, to chat.To) error {
	f := asFault(err)
	outcome := f.outcome()
	if outcome == chat.Shut && to.Person != "" {
		outcome = chat.Later
	}
	return &chat.SendError{Err: err, Outcome: outcome, By: f.by, After: f.wait()}
}

// uploadError classifies a failed upload. Nothing was posted.
func (s *Server) uploadError(ctx context.Context, channel string, err error) error {
	f := asFault(err)
	outcome := f.outcome()
	switch {
	case f.id == errFilesOff:
		outcome = chat.FileRefused
	case outcome == chat.Later:
		outcome = chat.FileTrouble
	case outcome == chat.Shut && !f.archived():
		// The bot is not in the channel, or it may not upload files there.
		switch shut, err := s.isShut(ctx, channel); {
		case err != nil:
			outcome = chat.FileTrouble
		case !shut:
			outcome = chat.FileRefused
		}
	case outcome != chat.Shut:
		outcome = chat.FileRefused
	}
	return &chat.SendError{Err: err, Outcome: outcome, By: f.by, After: f.wait()}
}

// changeError classifies a failed change to one of the bot's posts. The server
// says "forbidden" of a post that was deleted, and also if the bot is not in the
// channel: which of the two is found out. It returns nil for nil.
func (s *Server) changeError(ctx context.Context, post string, err error) error {
	if err == nil {
		return nil
	}
	f := asFault(err)
	outcome := f.outcome()
	if outcome == chat.Shut && !f.archived() {
		outcome = s.whyForbidden(ctx, post)
	}
	return &chat.SendError{Err: err, Outcome: outcome, By: f.by, After: f.wait()}
}

// whyForbidden finds out why a post cannot be changed.
func (s *Server) whyForbidden(ctx context.Context, post string) chat.Outcome {
	p, err := once("looking at a post that cannot be changed", func() (*model.Post, *model.Response, error) {
		return s.api.GetPost(ctx, post, "")
	}, wholePost)
	switch f := asFault(err); {
	case err == nil:
	case f.id == errNoPost:
		return chat.PostGone
	case f.refused():
		return chat.Shut
	default:
		return chat.Later
	}
	if shut, err := s.isShut(ctx, p.ChannelId); err == nil && shut {
		return chat.Shut
	}
	return chat.Later
}

// isShut reports whether a channel takes nothing: it is archived, or the bot is
// not in it.
func (s *Server) isShut(ctx context.Context, channel string) (bool, error) {
	c, err := once("looking at a channel", func() (*model.Channel, *model.Response, error) {
		return s.api.GetChannel(ctx, channel, "")
	}, wholeChannel)
	if err == nil && c.DeleteAt == 0 {
		_, err = s.membership(ctx, channel)
	}
	if err != nil && !asFault(err).refused() {
		return false, err
	}
	return err != nil || c.DeleteAt != 0, nil
}

// membership returns the bot's membership of a channel.
func (s *Server) membership(ctx context.Context, channel string) (*model.ChannelMember, error) {
	return once("looking for the bot in a channel", func() (*model.ChannelMember, *model.Response, error) {
		return s.api.GetChannelMember(ctx, channel, s.me.ID, "")
	}, func(m *model.ChannelMember) bool { return m != nil && m.UserId != "" })
}

func wholeChannel(c *model.Channel) bool { return c != nil && c.Id != "" }
