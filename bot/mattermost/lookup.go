package mattermost

import (
	"context"
	"errors"
	"net/http"
	"time"

	"benchbell/bot/retry"
)

const (
	// lookUpTries is how often one look-up is tried while the server answers
	// otherwise. All of them together take less than briefly.
	lookUpTries = 3

	// lookUpPause is how long after one try the next one comes at the earliest.
	lookUpPause = 500 * time.Millisecond

	// lookUpWait is how long a try may take, unless the server is slow with
	// everything. It has room for the second that a rate limiter asks for.
	lookUpWait = 1100 * time.Millisecond

	// lookUpRest is how long a look-up that was given up is not tried again.
	lookUpRest = time.Minute
)

// errGivenUp is the outcome of a look-up that was given up.
var errGivenUp = errors.New("it failed again and again, although the chat server answers")

// A lookUp is something that the receiver asks about one post, person or channel,
// to understand what happened. A damaged row or a proxy's rule can make a single
// one fail for ever: that must not keep the bot from hearing the rest.
type lookUp struct {
	doing string
	id    string
	then  string // what the bot does without the answer, for the log
	wait  time.Duration
}

// look makes a look-up. If it fails again and again while the server answers
// otherwise, the outcome is errGivenUp. If the server does not answer at all,
// the outcome is the failure: the link is down, and all is read again later.
func look[T any](ctx context.Context, r *receiver, l lookUp, call func(context.Context) (T, error)) (T, error) {
	name := l.doing + " " + l.id
	rested, before := r.givenUp[name]
	if before && time.Since(rested) < lookUpRest {
		var none T
		return none, errGivenUp
	}
	for failed := 0; ; {
		began := time.Now()
		limited, cancel := context.WithTimeout(ctx, l.wait)
		answer, err := call(limited)
		cancel()
		if err == nil || asFault(err).refused() {
			delete(r.givenUp, name)
			return answer, err
		}
		asked := time.Now()
		alive := r.tokenGood(ctx)
		took := time.Since(asked)
		pause := lookUpPause - time.Since(began)
		switch {
		case ctx.Err() != nil:
			return answer, err
		case asFault(alive).status == http.StatusTooManyRequests:
			pause = asFault(alive).after
		case alive != nil:
			return answer, err
		case l.wait < 4*took: // it is slow with everything
			l.wait = 4 * took
		default:
			failed++
		}
		if failed == lookUpTries || before && failed > 0 {
			r.giveUp(name, l, err, before)
			return answer, errGivenUp
		}
		if err := retry.Pause(ctx, max(pause, 0)); err != nil {
			return answer, err
		}
	}
}

func (r *receiver) giveUp(name string, l lookUp, err error, before bool) {
	r.givenUp[name] = time.Now()
	if !before {
		r.log.Error("a look-up fails although the chat server answers; going on without it",
			"of", l.id, "then", l.then, "err", err)
	}
}
