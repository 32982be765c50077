package mattermost

import (
	"context"
	"errors"
	"fmt"
	"io"
	"net/http"
	"net/url"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
)

// fileWait is how long a post waits for a server that answers otherwise to take
// its file: storage that hangs holds up neither bells nor verdicts.
const fileWait = 2 * time.Minute

// memory is how long the server knows a pending_post_id.
const memory = 30 * time.Second

// Post makes a post, or finds it if it was made before with the same key.
func (s *Server) Post(ctx context.Context, m chat.Message) (string, error) {
	id, err := s.post(ctx, m)
	if failure := (*chat.SendError)(nil); errors.As(err, &failure) {
		return "", failure
	}
	if err != nil {
		return "", sendError(err)
	}
	return id, nil
}

func (s *Server) post(ctx context.Context, m chat.Message) (string, error) {
	if id, ok := s.sent.id(m.Key); ok {
		return id, nil
	}
	channel, err := s.channelOf(ctx, m.To)
	if err != nil {
		return "", err
	}
	if !m.First.IsZero() {
		id, err := s.find(ctx, m.Key, channel, m.First)
		if err != nil || id != "" {
			return id, err
		}
	}
	files, err := s.upload(ctx, m, channel)
	if err != nil {
		hangs := !m.First.IsZero() && s.Now().Sub(m.First) > fileWait
		if asFault(err).status >= http.StatusBadRequest || hangs {
			return "", &chat.SendError{Err: err, Outcome: chat.FileRefused}
		}
		return "", err
	}
	post, err := s.create(ctx, m, channel, s.me.ID+":"+m.Key, files)
	if err == nil && post.UserId != s.me.ID {
		// Somebody else used that very id, and the server took the post for a
		// repeat of his.
		post, err = s.create(ctx, m, channel, "", files)
	}
	if err != nil {
		return "", err
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
	up, err := ask(ctx, "uploading a file", func() (*model.FileUploadResponse, *model.Response, error) {
		return s.api.UploadFile(ctx, m.File, channel, m.FileName)
	}, func(up *model.FileUploadResponse) bool { return up != nil && len(up.FileInfos) == 1 })
	if err != nil {
		return nil, err
	}
	return []string{up.FileInfos[0].Id}, nil
}

func (s *Server) create(ctx context.Context, m chat.Message, channel, pending string, files []string) (*model.Post, error) {
	post, resp, err := s.api.CreatePost(ctx, &model.Post{
		ChannelId: channel, RootId: m.To.Root, Message: sendable(m.Text), PendingPostId: pending, FileIds: files,
		Props: model.StringInterface{
			keyProp: m.Key,
			// The server fetches nothing that a link in the text points to.
			model.PostPropsUnsafeLinks: "true",
		},
	})
	if err == nil && post.Id == "" {
		err = errEmpty
	}
	return post, faultOf("posting", resp, err)
}

// channelOf returns the channel a message goes to. The server makes the channel
// of a direct message when it is first asked for.
func (s *Server) channelOf(ctx context.Context, to chat.To) (string, error) {
	switch {
	case to.Person != "":
		channel, err := ask(ctx, "opening a direct message", func() (*model.Channel, *model.Response, error) {
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
	post, resp, err := s.api.PatchPost(ctx, id, &model.PostPatch{Message: &text})
	if err == nil && post.Id == "" {
		err = errEmpty
	}
	return changeError(faultOf("editing a post", resp, err))
}

// Offer puts the numbers 1 to n under a post, as reactions that can be tapped.
func (s *Server) Offer(ctx context.Context, id string, n int) error {
	if n > len(numbers) {
		return &chat.SendError{Err: fmt.Errorf("%d numbers to tap: there are only %d", n, len(numbers)), Outcome: chat.Never}
	}
	for _, name := range numbers[:n] {
		tap, resp, err := s.api.SaveReaction(ctx, &model.Reaction{UserId: s.me.ID, PostId: id, EmojiName: name})
		if err == nil && tap.PostId == "" {
			err = errEmpty
		}
		if err != nil {
			return changeError(faultOf("putting numbers under a post", resp, err))
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
	// The server says 404 of a file that its storage cannot give just now as
	// well. This it says of one that was deleted, or was never there.
	if f := asFault(err); f.status == http.StatusNotFound && f.id == "app.file_info.get.app_error" {
		err = fmt.Errorf("%w: %w", chat.ErrGone, err)
	}
	return nil, sendError(err)
}

// sendError says what a failed call means for what was to be sent. It returns
// nil for nil.
func sendError(err error) error {
	if err == nil {
		return nil
	}
	f := asFault(err)
	failure := &chat.SendError{Err: err, After: f.after}
	switch {
	case f.id == "api.post.create_post.root_id.app_error", f.id == "api.post.create_post.channel_root_id.app_error":
		failure.Outcome = chat.ThreadGone
	case f.id == "api.post.deduplicate_create_post.failed_to_get": // it was deleted at once
		failure.After = memory
	case f.status == http.StatusUnauthorized, f.status == http.StatusForbidden:
		// The bot's account is disabled, or the bot was taken out of the channel.
		// It is also what the server says of a direct message that the other
		// one is just opening as well: that ends at once, and a fail waits for it.
		failure.Outcome = chat.Later
	case f.status < 400: // nobody knows, or a proxy wants something
		failure.Outcome = chat.Later
	default:
		if !f.temporary() {
			failure.Outcome = chat.Never
		}
	}
	return failure
}

// changeError is sendError for a change to a post that was made. The server
// says "forbidden" of a post that was deleted, too: not worth another try.
func changeError(err error) error {
	err = sendError(err)
	var failure *chat.SendError
	if errors.As(err, &failure) && asFault(err).status == http.StatusForbidden {
		failure.Outcome, failure.After = chat.PostGone, 0
	}
	return err
}
