// Package outbox delivers what the engine put in the store's outbox through a
// chat server: each message at least once, shown once, in order within a
// thread, and the urgent ones first.
//
// # The types to know
//
//   - [Sender] is the whole of it: [New] makes one, and its Run delivers until
//     its context ends. One goroutine owns all its state; workers make the
//     calls, and bring back a result.
//   - task (task.go) is the delivery of one message: unsent, posted (its taps
//     are still to be put under it), marked (the store is still to know).
//   - byServer and byOthers (policy.go) are the policy: a table of what happens
//     after a failure.
//
// Begin with Run and start in outbox.go; prepare and finish (deliver.go) are
// the two ends of each try, fault (fault.go) applies the policy, and roots.go
// finds the thread of a message.
//
// # What is promised
//
//   - Delivered at least once: a message leaves the outbox when it was posted,
//     when it is out of date, or when it is put aside, and the log says so.
//   - Shown once: before a try the store notes when it was first tried. After
//     a crash, or a call whose outcome nobody knows, the chat looks for a post
//     with that key before it makes one. A store that cannot be written
//     pauses everything; a post that was made is not made again because it could
//     not be marked. What cannot be read there holds up only the message that
//     needs it; a post whose thread is so unknown goes to the channel, a bell
//     after 3 s, any other after 1 min.
//   - In order within a lane, which is a run's thread or another place. A card
//     comes before everything else of its thread. A message steps out of order
//     only where the policy says so. A bell waits no longer than 3 s for what
//     stands before it; then it is said, outside the thread if need be.
//   - The taps of a list stay in the outbox until all were put under it, so that
//     one that a crash left half without them gets the rest. Nothing waits for
//     them.
//   - A timed message is dropped if a later one for the same thread waits or was
//     said, and says how late it is if it is more than 30 s late.
//   - A document is made by a worker, once. If that fails, or panics, its
//     message is sent with a line instead, and the log has the error.
//
// Of lanes that are ready bells go first, then answers and verdicts, lists and
// cards, notices, edits, and taps. Of four workers one is only for bells, and
// at most two are busy with files, documents and taps.
//
// # The policy
//
// What the chat server itself says:
//
//	         later    shut    thread gone  post gone   file trouble  file refused  never
//	bell     leads    tells   new root     detour      bare          bare          detour
//	verdict  leads    tells   new root     detour      shows         bare          detour
//	card     leads    tells   detour       detour      bare          bare          detour
//	list     ends     ends    new root     put aside   hands         bare          put aside
//	answer   ends     ends    new root     put aside   hands         bare          put aside
//	notice   ends     ends    new root     put aside   hands         bare          put aside
//	edit     ends     ends    drop, ask    drop, ask   put aside     put aside     put aside
//	taps     offers   offers  drop         drop        drop          drop          drop
//
// If a proxy answers, or nobody, that says nothing about the message:
//
//	         anything  trouble with a file
//	bell     strays    bare
//	verdict  strays    shows
//	card     lags      bare
//	list     patient   hands
//	answer   patient   hands
//	notice   patient   hands
//	edit     patient   patient
//	taps     offers    offers
//
//	patient  again, with pauses that double up to 30 s; after 1 min and 5 tries
//	         it steps aside: its lane goes on, and it is tried every 30 s
//	strays   the same; after 2 min it makes detours as well, if a proxy answers,
//	         or if other messages got through since
//	lags     again; its lane waits. After 2 min it makes detours, if other
//	         messages got through since
//	leads    patient, but instead of stepping aside it makes detours
//	ends     patient, and put aside after 24 h
//	tells    again; after 10 s it is said directly to its Fallback
//	shows    again; after 10 s it is said without its file
//	hands    again; after 2 min it is said without its file
//	offers   again; after 1 h it is dropped
//	detour   the next way at once: the thread, the channel outside the thread,
//	         directly to the Fallback, and round again after 30 s. A card has
//	         no other way: a copy is sent directly, once, and the card itself is
//	         tried again
//	bare     without its file, at once
//	new root the engine is asked for a new card, whose thread it goes into. If
//	         there is none, it goes to the channel
//	drop     it is of no use any more; "ask" if it was the edit of a card
//
// So bells, verdicts and cards are never given up. What is put aside is logged
// once as an error, and kept by the store among the parked messages.
package outbox
