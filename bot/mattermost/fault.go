package mattermost

import (
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"net/http"
	"strconv"
	"strings"
	"time"

	"github.com/mattermost/mattermost/server/public/model"

	"benchbell/bot/chat"
	"benchbell/bot/retry"
)

// errEmpty stands for an answer that reports success and holds nothing more,
// as proxies and login pages give it.
var errEmpty = errors.New("the answer is empty")

// Names that the chat server gives to errors.
const (
	errRoot          = "api.post.create_post.root_id.app_error"
	errRootElsewhere = "api.post.create_post.channel_root_id.app_error"
	errArchivedPost  = "api.post.create_post.can_not_post_to_deleted.error"
	errArchivedEdit  = "api.post.patch_post.can_not_update_post_in_deleted.error"
	errArchivedSave  = "api.post.update_post.can_not_update_post_in_deleted.error"
	errArchivedTap   = "api.reaction.save.archived_channel.app_error"
	errNoPost        = "app.post.get.app_error"
	errFilesOff      = "api.file.attachments.disabled.app_error" // with 501 in older versions
	errNoFile        = "app.file_info.get.app_error"
	errNoChannels    = "app.channel.get_channels.not_found.app_error"
	errDeletedAtOnce = "api.post.deduplicate_create_post.failed_to_get"
	errNoRoute       = "api.context.404.app_error"
)

// longestAfter is the longest wait that the bot lets an answer ask for.
const longestAfter = time.Minute

// A fault is a call that failed.
type fault struct {
	doing    string        // "looking for the team"
	status   int           // of HTTP; 0 if there was no answer, or none that can be read
	by       chat.Origin   // who said so
	id       string        // the chat server's name for the error; empty unless by is chat.ByServer
	after    time.Duration // how long the answer asks us to wait
	location string        // where the answer sends us instead
	err      error
}

func (f *fault) Error() string {
	text := strings.Join(strings.Fields(f.err.Error()), " ")
	const most = 200 // a proxy's error is a whole web page
	if len(text) > most {
		text = strings.ToValidUTF8(text[:most], "") + "…"
	}
	if f.status != 0 {
		return fmt.Sprintf("%s: HTTP status %d: %s", f.doing, f.status, text)
	}
	return fmt.Sprintf("%s: %s", f.doing, text)
}

func (f *fault) Unwrap() error { return f.err }

// refused reports whether the chat server itself, and not a proxy, says that
// something does not exist or is forbidden.
func (f *fault) refused() bool {
	return f.by == chat.ByServer && f.id != errNoRoute &&
		(f.status == http.StatusForbidden || f.status == http.StatusNotFound)
}

// temporary reports whether the server at this address may work later: there
// was no answer, or one that says so.
func (f *fault) temporary() bool {
	switch f.status {
	case 0:
		return f.by == chat.ByNobody
	case http.StatusTooManyRequests, http.StatusRequestTimeout:
		return true
	default:
		return f.status >= 500
	}
}

// faultOf returns the *fault in the outcome of a call, as an error that is nil
// if there is none.
func faultOf(doing string, resp *model.Response, err error) error {
	if err == nil {
		return nil
	}
	f := &fault{doing: doing, err: err}
	answer, isAnswer := errors.AsType[*model.AppError](err)
	if resp == nil || resp.StatusCode < 300 {
		// The client makes an AppError of its own from an answer that it
		// cannot read.
		if isAnswer || errors.Is(err, errEmpty) {
			f.by = chat.ByProxy
		}
		return f
	}
	f.status = resp.StatusCode
	f.location = resp.Header.Get("Location")
	f.by = chat.ByProxy
	if isAnswer && strings.Contains(answer.Id, ".") {
		f.by, f.id = chat.ByServer, answer.Id
	}
	f.after = retryAfter(resp.Header)
	if f.status == http.StatusTooManyRequests && f.after == 0 {
		f.after = time.Second
	}
	return f
}

// retryAfter returns the wait that an answer asks for, in seconds or as a date.
func retryAfter(header http.Header) time.Duration {
	value := header.Get("Retry-After")
	var wait time.Duration
	if seconds, err := strconv.Atoi(value); err == nil {
		wait = time.Duration(min(seconds, 3600)) * time.Second
	} else if until, err := http.ParseTime(value); err == nil {
		now, err := http.ParseTime(header.Get("Date"))
		if err != nil {
			now = time.Now()
		}
		wait = until.Sub(now)
	}
	return min(max(wait, 0), longestAfter)
}

// asFault returns the fault in err, or one of which nothing is known.
func asFault(err error) *fault {
	if f, ok := errors.AsType[*fault](err); ok {
		return f
	}
	return &fault{doing: "calling the chat server", err: err}
}

// once calls the server and makes an error of an answer that is not whole.
func once[T any](doing string, call func() (T, *model.Response, error), whole func(T) bool) (T, error) {
	answer, resp, err := call()
	if err == nil && !whole(answer) {
		err = errEmpty
	}
	return answer, faultOf(doing, resp, err)
}

// ask is once, repeated for as long as a rate limiter answers. It is for the
// receiver: what is sent must not wait in here.
func ask[T any](ctx context.Context, doing string, call func() (T, *model.Response, error), whole func(T) bool) (T, error) {
	for {
		answer, err := once(doing, call, whole)
		if err == nil || asFault(err).status != http.StatusTooManyRequests {
			return answer, err
		}
		if err := retry.Pause(ctx, asFault(err).after); err != nil {
			return answer, err
		}
	}
}

// The pauses between tries at the chat server.
const (
	shortestPause = 500 * time.Millisecond
	longestPause  = 30 * time.Second
)

// jitter returns a random duration from half of d up to d.
func jitter(d time.Duration) time.Duration { return d/2 + rand.N(d/2) }
