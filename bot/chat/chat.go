package chat

import (
	"context"
	"errors"
	"fmt"
	"time"

	"benchbell/core"
)

// An Event is anything that reaches the engine from outside. There is no
// second way to change the state.
type Event struct {
	// ID is used once: an event whose ID was handled before is dropped. It is
	// made from the chat server's own ids, so that the live stream and a
	// catch-up give the same event the same ID.
	ID string
	// At is the chat server's time, never the bot's.
	At    time.Time
	Who   core.Person
	Where Where
	// Key is the Message.Key of the bot's post that this is about: the one that
	// was tapped, or the first of the thread in which something was said. It is
	// empty if there is none, or if the adapter does not know it.
	Key  string
	What What
	// Mark is where the next catch-up of Where.Channel may begin once this
	// event is handled. It is kept in the same transaction as what the event
	// does, and handed back to the adapter at the next start.
	Mark Mark
}

// Mark is how far a channel has been read, in the chat server's milliseconds.
type Mark struct {
	Created int64  // highest moment of a post handled
	Updated int64  // highest moment of anything handled: posts, edits, taps
	Anchor  string // id of the post that has it
}

// Where tells in which room, and in which thread of it, something was said.
type Where struct {
	// Channel is the chat server's id of the channel.
	Channel string
	// Direct is true in a direct message with the bot.
	Direct bool
	// Root is the id of the thread's first post, empty outside a thread.
	Root string
}

// What says what happened. It is one of Said, Edited, Deleted, Tapped, TapsNow, Woke,
// Fetched, People, CardGone, CaughtUp and Lost.
type What interface{ what() }

// Said is a new post by a person. Mentioned is true if it names the bot; Text
// is what was typed, with that mention still in it.
type Said struct {
	Post      string
	Text      string
	Mentioned bool
	Files     []File
}

// File is something attached to a post.
type File struct {
	ID   string
	Name string
	Size int64
}

// Deleted is a person's post that somebody deleted. The chat server does not tell who
// did; Event.Who is the author, not the one who deleted it.
type Deleted struct{ Post string }

// Member is somebody who can read the crew channel, or an officer of the
// configuration wherever they are. Gone is true if the account is deactivated.
type Member struct {
	core.Person
	Gone bool
}

// People says who is who: all members, in place of what was said before. It
// comes before the first CaughtUp, and again when somebody joins, leaves, is
// renamed or deactivated. The engine looks nobody up.
type People struct{ All []Member }

// CardGone says that the first post of a run's thread no longer exists, or is unknown
// to a restored store. Root is its id, empty if none is known.
type CardGone struct {
	Run  core.RunID
	Root string
}

// Edited is a person's own post with its text changed. Posted is the moment
// the post was first made: a reading in it was true then.
type Edited struct {
	Post      string
	Text      string
	Mentioned bool
	Posted    time.Time
}

// Tapped is a person's tap on number N under one of the bot's posts, or (On
// false) the tap taken back.
type Tapped struct {
	Post string
	N    int
	On   bool
}

// TapsNow says, after a gap in which taps could have been missed, which
// numbers stand tapped under one of the bot's posts, and by whom.
type TapsNow struct {
	Post string
	Taps []Tap
}

// Tap is one person's standing tap on one number.
type Tap struct {
	Who core.Person
	N   int
	At  time.Time
}

// Woke is a wake time that has come.
type Woke struct{ Key string }

// Fetched is what the file of a photo turned out to be; Key is its wake key. It
// has a type and a sum, or Lost says why not.
type Fetched struct {
	Key  string
	Type string
	Sum  core.Sum
	Lost core.Loss
}

// CaughtUp says that everything posted so far was delivered as events: at the
// start, and after every gap. Bells ring only then, so that a reading posted
// while the link was down is read before its bell is found late.
type CaughtUp struct{}

// Lost says that the link to the chat server is down.
type Lost struct{}

func (Said) what()     {}
func (Edited) what()   {}
func (Tapped) what()   {}
func (TapsNow) what()  {}
func (Woke) what()     {}
func (Fetched) what()  {}
func (CaughtUp) what() {}
func (Lost) what()     {}
func (Deleted) what()  {}
func (People) what()   {}
func (CardGone) what() {}

// Chat is what the outbox needs of a chat server. Its methods are called by several
// goroutines at once; an error is a *SendError.
type Chat interface {
	// Post makes a post and returns its id. It is safe to repeat with the
	// same m.Key: the same post is found again, not made a second time.
	Post(ctx context.Context, m Message) (id string, err error)
	// Edit replaces the text of one of the bot's own posts.
	Edit(ctx context.Context, id, text string) error
	// Offer puts the numbers 1 to n under a post for people to tap.
	Offer(ctx context.Context, id string, n int) error
}

// Message is a post to be made.
type Message struct {
	// Key is unique for ever; the post carries it, so that it is known again
	// after a crash.
	Key string
	// First is when delivery of this key was first tried, by the chat
	// server's clock: an earlier try can have left the post there since then.
	// Zero on a first try.
	First time.Time
	To    To
	Text  string
	// File is attached to it, under the name FileName: a picture, a document.
	File     []byte
	FileName string
}

// To addresses a message: a person directly, or else a channel (the crew
// channel if Channel is empty), in the thread that Root begins if it is set.
type To struct {
	Person  string // id of the person
	Channel string // id of the channel
	Root    string // id of the thread's first post
}

// ErrGone is wrapped by the *SendError of Files.File for a file that the
// chat server had and does not have any more.
var ErrGone = errors.New("the chat server does not have the file any more")

// Outcome says why a call to the chat server failed, and so whether to repeat it.
type Outcome int

// The outcomes. A call whose result is unknown is Later too.
const (
	Later       Outcome = iota // the same call can succeed later
	Shut                       // the channel takes nothing now: it is archived, or the bot is not in it
	ThreadGone                 // the first post of the thread was deleted
	PostGone                   // the post to be changed was deleted
	FileTrouble                // the file could not be handed over now; nothing was posted
	FileRefused                // the server does not take the file; nothing was posted
	Never                      // this call can never succeed
)

func (o Outcome) String() string {
	return [...]string{"later", "channel shut", "thread gone", "post gone", "file trouble", "file refused", "never"}[o]
}

// Origin says who reported the failure.
type Origin int

// The origins of an outcome.
const (
	ByNobody Origin = iota // no answer came, or none that can be read
	ByProxy                // something in front of the chat server
	ByServer               // the chat server itself
)

func (o Origin) String() string { return [...]string{"nobody", "proxy", "server"}[o] }

// A SendError says why a call to the chat server failed.
type SendError struct {
	Err     error
	Outcome Outcome
	By      Origin
	// After is how long to wait at least; zero leaves it to the caller.
	After time.Duration
}

func (e *SendError) Error() string { return fmt.Sprintf("%s: %v", e.Outcome, e.Err) }

func (e *SendError) Unwrap() error { return e.Err }

// Retry reports whether the same call can succeed later.
func (e *SendError) Retry() bool {
	return e.Outcome == Later || e.Outcome == Shut || e.Outcome == FileTrouble
}
