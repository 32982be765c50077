package outbox

import (
	"cmp"
	"slices"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/retry"
	"benchbell/store"
)

// stage is how far a task has come.
type stage int

const (
	unsent stage = iota
	posted       // its taps are still to be put under it
	marked       // all is done but to mark it in the store
)

// A task is the delivery of one message of the outbox.
type task struct {
	store.Out
	class class
	lane  string
	born  time.Time // when this program first saw it

	stage  stage
	id     string // of the post, once it was made
	flying bool   // something is being done with it
	noted  bool   // the store knows that it is tried next, or of a post that it was made
	held   bool   // it waits for something else: a new card, the post to be edited
	gone   bool   // dropped or parked, and to be marked so

	pause    retry.Backoff
	until    time.Time // not to be tried before
	tried    time.Time // by the chat server's clock, the last time that was noted
	aside    bool      // others of the lane need not wait for it
	refusals streak    // by the server
	troubles streak    // by others, or nobody
	misread  streak    // of the store
	way      way
	told     bool // of a card: its copy was sent to the Fallback

	// What is attached: made from Doc, once, or that of the message.
	made   bool
	bare   bool     // without its file
	lines  []string // said instead of its file
	sentTo string   // id of the root or the post that the last try was about
}

// A streak is failures in a row.
type streak struct {
	since time.Time
	n     int
}

func (s *streak) add(now time.Time) {
	if s.n == 0 {
		s.since = now
	}
	s.n++
}

// calls reports whether the next step of a task is a call to the chat server,
// for which it needs a worker. The others only write to the store, where many
// share a transaction.
func (t *task) calls() bool { return !t.gone && (t.noted && t.stage != marked) }

// rank is how urgent a task is; the lowest goes first.
func (t *task) rank() int {
	switch {
	case t.stage == marked:
		return 0
	case t.stage == posted:
		return 5
	case t.class == bell:
		return 0
	case t.class == answer, t.class == verdict:
		return 1
	case t.class == edit:
		return 4
	case t.class == notice:
		return 3
	}
	return 2
}

// slow reports whether a task can take long: it has a file, or many calls.
func (t *task) slow() bool {
	return t.stage == posted || t.stage == unsent && !t.bare && (len(t.File) > 0 || t.Doc != "")
}

// overtakes reports whether a task has waited long enough for others of its
// lane.
func (t *task) overtakes(now time.Time) bool {
	return t.class == bell && !now.Before(t.born.Add(bellPatience))
}

// blocks reports whether others of the lane wait for a task that waits itself.
// An edit that waits for its post to be made holds up nobody.
func (t *task) blocks() bool {
	return t.stage == unsent && !t.aside && !(t.held && t.Kind == store.Edit)
}

// laneOf returns what must stay in order: a run's thread, or the posts to one
// place.
func laneOf(o store.Out) string {
	switch {
	case o.Kind == store.Edit:
		return runLane(o.Target)
	case o.Thread != "":
		return runLane(o.Thread)
	case isCard(o.Key):
		return runLane(o.Key)
	}
	return "to/" + o.Person + "/" + o.Channel + "/" + o.Root
}

func runLane(key string) string {
	if id, ok := chat.RunOfKey(key); ok {
		return id.String()
	}
	return key
}

// isCard reports whether a key is that of a run's card, or of a copy of it.
func isCard(key string) bool {
	id, ok := chat.RunOfKey(key)
	return ok && chat.BaseKey(key) == chat.CardKey(id)
}

// sortLane puts a lane in order: cards begin the thread, the rest as it came.
func sortLane(lane []*task) {
	slices.SortFunc(lane, func(a, b *task) int {
		if c := cmp.Compare(behindCards(a), behindCards(b)); c != 0 {
			return c
		}
		return cmp.Compare(a.Seq, b.Seq)
	})
}

func behindCards(t *task) int {
	if t.class == card {
		return 0
	}
	return 1
}

// A candidate is a task that can be started now, with the urgency of the most
// urgent task that waits for it.
type candidate struct {
	*task
	rank int
}

// candidates returns what can be started of a lane in order, and the moment at
// which that changes by itself, if any.
func candidates(lane []*task, now time.Time) (ready []candidate, next time.Time) {
	blocked := false
	soonest := func(t time.Time) {
		if t.After(now) && (next.IsZero() || t.Before(next)) {
			next = t
		}
	}
	urgency := 9
	for _, t := range lane {
		if t.stage == unsent {
			urgency = min(urgency, t.rank())
		}
	}
	for _, t := range lane {
		switch {
		case t.flying:
			blocked = blocked || t.stage == unsent
		case t.until.After(now):
			soonest(t.until)
			blocked = blocked || t.blocks()
		case t.stage != unsent:
			ready = append(ready, candidate{t, t.rank()})
		case !blocked:
			ready = append(ready, candidate{t, min(t.rank(), urgency)})
			blocked = true
		case t.overtakes(now):
			ready = append(ready, candidate{t, t.rank()})
		case t.class == bell:
			soonest(t.born.Add(bellPatience))
		}
	}
	return ready, next
}
