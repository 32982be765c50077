package retry

import (
	"log/slog"
	"sync"
	"time"
)

const (
	// An outage that lasts is logged again after firstReminder, and then at
	// intervals that double up to lastReminder.
	firstReminder = 10 * time.Minute
	lastReminder  = 24 * time.Hour
	// mostWords is how many errors are told apart at a time: an error whose
	// text has something new in it every time must not fill the log.
	mostWords = 16
)

// Outages logs failures that last. Things that fail with the same words are
// one outage, which is logged when the first of them fails, now and then while
// it lasts, and when the last of them succeeds. It is safe for
// concurrent use.
type Outages struct {
	log *slog.Logger

	mu   sync.Mutex
	down map[string]*outage // by the words of the error
}

type outage struct {
	since  time.Time
	next   time.Time       // when to log it again
	failed map[string]bool // which things
}

// NewOutages returns an Outages that writes to log.
func NewOutages(log *slog.Logger) *Outages {
	return &Outages{log: log, down: make(map[string]*outage)}
}

// Failed notes that something failed, and logs text with the error if that is
// news. More are further attributes of the log line.
func (o *Outages) Failed(thing, text string, err error, more ...any) {
	o.mu.Lock()
	defer o.mu.Unlock()
	words := err.Error()
	now := time.Now()
	if len(o.down) >= mostWords && o.down[words] == nil {
		words = "" // one more of many: counted together
	}
	down := o.down[words]
	if down == nil {
		down = &outage{since: now, next: now.Add(firstReminder), failed: make(map[string]bool)}
		o.down[words] = down
		o.log.Warn(text, append(more, "err", err)...)
	}
	down.failed[thing] = true
	if !now.Before(down.next) {
		down.next = now.Add(min(max(now.Sub(down.since), firstReminder), lastReminder))
		o.log.Warn(text+": still down", append(more, "since", down.since.Format(time.RFC3339), "failing", len(down.failed), "err", err)...)
	}
}

// Over notes that something succeeded, or need not be tried any more, and logs
// text, unless that is empty, if an outage ends with it.
func (o *Outages) Over(thing, text string, more ...any) {
	o.mu.Lock()
	defer o.mu.Unlock()
	var since time.Time
	for words, down := range o.down {
		if !down.failed[thing] {
			continue
		}
		delete(down.failed, thing)
		if len(down.failed) > 0 {
			continue
		}
		delete(o.down, words)
		if since.IsZero() || down.since.Before(since) {
			since = down.since
		}
	}
	if !since.IsZero() && text != "" {
		o.log.Info(text, append(more, "after", time.Since(since).Round(time.Millisecond))...)
	}
}
