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
)

// errEmpty stands for an answer that says "done" and nothing more, as proxies
// and login pages give it.
var errEmpty = errors.New("the answer is empty")

// A fault is a call that did not do what it should.
type fault struct {
	doing    string        // "looking for the team"
	status   int           // of HTTP; 0 if no proper answer came, so that nobody knows what the server did
	id       string        // the server's name for the error, if it gave one
	after    time.Duration // how long the server wants us to wait
	location string        // where the server sends us instead
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

// refused reports whether the server says that what is asked for is not there
// or not for the bot. The server, not a proxy that cannot find the server.
func (f *fault) refused() bool {
	return f.id != "" && (f.status == http.StatusForbidden || f.status == http.StatusNotFound)
}

// temporary reports whether the same call may do better later.
func (f *fault) temporary() bool {
	var answer *model.AppError
	switch {
	case f.status == 0: // the client's own AppError: an answer came, but no JSON
		return !errors.As(f.err, &answer) && !errors.Is(f.err, errEmpty)
	case f.status == http.StatusTooManyRequests, f.status == http.StatusRequestTimeout:
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
	if resp == nil || resp.StatusCode < 300 {
		return f
	}
	f.status = resp.StatusCode
	f.location = resp.Header.Get("Location")
	var answer *model.AppError
	if errors.As(err, &answer) {
		f.id = answer.Id
	}
	if f.status == http.StatusTooManyRequests {
		f.after = time.Second
	}
	if seconds, err := strconv.Atoi(resp.Header.Get("Retry-After")); err == nil && seconds > 0 {
		f.after = min(time.Duration(seconds)*time.Second, time.Minute)
	}
	return f
}

// asFault returns the fault in err, or one of which nothing is known.
func asFault(err error) *fault {
	var f *fault
	if errors.As(err, &f) {
		return f
	}
	return &fault{doing: "calling the chat server", err: err}
}

// ask calls the server for something to read. It waits while the server's rate
// limiter says so; an answer that is not whole is an error.
func ask[T any](ctx context.Context, doing string, call func() (T, *model.Response, error), whole func(T) bool) (T, error) {
	for {
		answer, resp, err := call()
		if err == nil && !whole(answer) {
			err = errEmpty
		}
		if err == nil {
			return answer, nil
		}
		err = faultOf(doing, resp, err)
		if f := asFault(err); f.status != http.StatusTooManyRequests {
			return answer, err
		}
		if err := sleep(ctx, asFault(err).after); err != nil {
			return answer, err
		}
	}
}

// A backOff is a pause that doubles with every use, of at most longestPause,
// less a random part so that many bots do not return to a server at once.
type backOff struct{ last time.Duration }

const (
	shortestPause = 500 * time.Millisecond
	longestPause  = 30 * time.Second
)

func (b *backOff) wait(ctx context.Context) error {
	b.last = min(max(2*b.last, shortestPause), longestPause)
	return sleep(ctx, jitter(b.last))
}

// jitter returns a random duration from half of d up to d.
func jitter(d time.Duration) time.Duration { return d/2 + rand.N(d/2) }

// sleep waits for d, or until ctx ends, and returns ctx's error.
func sleep(ctx context.Context, d time.Duration) error {
	timer := time.NewTimer(d)
	defer timer.Stop()
	select {
	case <-timer.C:
		return nil
	case <-ctx.Done():
		return ctx.Err()
	}
}
