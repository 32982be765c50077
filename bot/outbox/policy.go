package outbox

import (
	"time"

	"benchbell/bot/chat"
	"benchbell/store"
)

// class is how urgent a delivery is: that of the message, or edit or taps.
type class int

const (
	bell class = iota
	verdict
	card
	list
	answer
	notice
	edit
	taps // the numbers put under a post that was made
	classes
)

func (c class) String() string {
	return [...]string{"bell", "verdict", "card", "list", "answer", "notice", "edit", "taps"}[c]
}

func classOf(o store.Out) class {
	if o.Kind == store.Edit {
		if o.Text == "" && o.Offer > 0 {
			return taps
		}
		return edit
	}
	switch o.Class {
	case store.Bell:
		return bell
	case store.Verdict:
		return verdict
	case store.Card:
		return card
	case store.List:
		return list
	case store.Notice:
		return notice
	}
	if isCard(o.Key) { // put in the outbox before messages had classes
		return card
	}
	return answer
}

// action is what happens after a delivery that did not succeed.
type action int

const (
	again    action = iota // try again; the lane waits
	aside                  // try again with the longest pause; the lane goes on
	detour                 // try the next way: thread, channel, directly, and round again; the lane goes on
	stray                  // detour if others get through; else aside, and a card again
	direct                 // tell the Fallback directly; the lane goes on
	bare                   // say it without its file
	newRoot                // ask the engine for a new card; what has no thread of a run goes to the channel
	putAside               // park it
	drop                   // nobody needs it any more
	dropAsk                // drop it, and ask for a new card if it was the edit of one
)

func (a action) String() string {
	return [...]string{"again", "aside", "detour", "detour if others get through", "direct", "bare", "new root", "put aside", "drop", "drop and ask"}[a]
}

// A step is what happens from a time and a number of failures on.
type step struct {
	after time.Duration // since the first failure
	tries int           // failures so far
	do    action
}

// A rule is the steps of one cell of the table, in order.
type rule []step

// at returns what to do after a number of failures, the first of which was some
// time ago.
func (r rule) at(since time.Duration, failures int) (do action) {
	for _, s := range r {
		if since >= s.after && failures >= s.tries {
			do = s.do
		}
	}
	return do
}

// turn returns in how long a rule changes to another way of saying it, which is
// not to wait for the end of a pause.
func (r rule) turn(since time.Duration) (in time.Duration, ok bool) {
	for _, s := range r {
		if s.after > since && (s.do == direct || s.do == bare) {
			return s.after - since, true
		}
	}
	return 0, false
}

// The bounds of patience.
const (
	patience      = time.Minute      // for a refusal that may be temporary …
	patientTries  = 5                // … and at least so many tries
	strayPatience = 2 * time.Minute  // of a bell that alone does not get through
	shutPatience  = 10 * time.Second // of a bell, for a channel that takes nothing
	filePatience  = 10 * time.Second // of a verdict, for its picture
	docPatience   = 2 * time.Minute  // of a message whose point can be its file
	keepTrying    = 24 * time.Hour   // until a message is put aside
	tapsPatience  = time.Hour
	bellPatience  = 3 * time.Second // of a bell, for what stands before it
	rootPatience  = time.Minute     // of other messages, for a new card
	lateFrom      = 30 * time.Second
	outcomesCount = int(chat.Never) + 1
)

// The rules that the table is made of.
var (
	atOnce = func(do action) rule { return rule{{do: do}} }

	patient = rule{{do: again}, {patience, patientTries, aside}}
	leads   = rule{{do: again}, {patience, patientTries, detour}}
	strays  = rule{{do: again}, {patience, patientTries, aside}, {strayPatience, patientTries, stray}}
	lags    = rule{{do: again}, {strayPatience, patientTries, stray}}
	tells   = rule{{do: again}, {shutPatience, 1, direct}}
	ends    = rule{{do: again}, {patience, patientTries, aside}, {keepTrying, patientTries, putAside}}
	shows   = rule{{do: again}, {filePatience, 1, bare}}
	hands   = rule{{do: again}, {docPatience, 1, bare}}
	offers  = rule{{do: again}, {tapsPatience, patientTries, drop}}
)

// byServer is the policy where the chat server itself says what became of it.
var byServer = [classes][outcomesCount]rule{
	//         later   shut    thread gone  post gone     file trouble  file refused  never
	bell:    {leads, tells, atOnce(newRoot), atOnce(detour), atOnce(bare), atOnce(bare), atOnce(detour)},
	verdict: {leads, tells, atOnce(newRoot), atOnce(detour), shows, atOnce(bare), atOnce(detour)},
	card:    {leads, tells, atOnce(detour), atOnce(detour), atOnce(bare), atOnce(bare), atOnce(detour)},
	list:    {ends, ends, atOnce(newRoot), atOnce(putAside), hands, atOnce(bare), atOnce(putAside)},
	answer:  {ends, ends, atOnce(newRoot), atOnce(putAside), hands, atOnce(bare), atOnce(putAside)},
	notice:  {ends, ends, atOnce(newRoot), atOnce(putAside), hands, atOnce(bare), atOnce(putAside)},
	edit:    {ends, ends, atOnce(dropAsk), atOnce(dropAsk), atOnce(putAside), atOnce(putAside), atOnce(putAside)},
	taps:    {offers, offers, atOnce(drop), atOnce(drop), atOnce(drop), atOnce(drop), atOnce(drop)},
}

// byOthers is the policy where a proxy says it, or nobody: whatever it is, it
// can be over soon, and says nothing about the message. Only a file that does
// not get through is left out after a while, and what is urgent is led another
// way if it alone does not get through.
var byOthers = [classes][2]rule{
	//         anything  trouble with a file
	bell:    {strays, atOnce(bare)},
	verdict: {strays, shows},
	card:    {lags, atOnce(bare)},
	list:    {patient, hands},
	answer:  {patient, hands},
	notice:  {patient, hands},
	edit:    {patient, patient},
	taps:    {offers, offers},
}

// ruleFor looks a cell of the table up.
func ruleFor(c class, what chat.Outcome, by chat.Origin) rule {
	if by == chat.ByServer {
		return byServer[c][what]
	}
	if what == chat.FileTrouble || what == chat.FileRefused {
		return byOthers[c][1]
	}
	return byOthers[c][0]
}

// A way is where a message is led.
type way int

const (
	inPlace  way = iota // where it is addressed
	outside             // the same channel, outside the thread
	directly            // to the Fallback
)

// next returns the way after w of a message, and whether that is round again.
func (w way) next(o store.Out) (next way, round bool) {
	threaded := o.Thread != "" || o.Root != ""
	switch {
	case w == inPlace && threaded:
		return outside, false
	case w != directly && o.Fallback != "" && o.Fallback != o.Person:
		return directly, false
	}
	return inPlace, true
}
