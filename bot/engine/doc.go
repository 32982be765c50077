// Package engine handles one event at a time: it finds the run that an event is
// about, parses what was said, lets core decide, and commits what follows from it
// in one transaction. It has no network, no context and no goroutine.
//
// The types to know first:
//
//   - [Engine] holds the state: the open runs, their suits' files, the officers and
//     the members. [New] reads it from the store. Who calls it may not call it twice
//     at the same time.
//   - turn (turn.go) is one event being handled. It gathers entries, messages and
//     wake times; commit (commit.go) writes them, and only then changes the state.
//   - [Needs] is returned for a post whose attached files must be read first.
//
// Begin with Handle in engine.go, then locate and dispatch in turn.go: they lead to
// said, edited, tapped and the rest. handleIntent carries out what was parsed; onRun
// lets a run decide, and record (record.go) enters the facts and words them. The
// other files are by subject: suits.go and register.go answer without a run,
// documents.go names what is made at delivery, look.go finds what is due, threads.go
// keeps a run's thread alive, people.go knows who is who.
//
// What is promised: an event counts once, by its ID; a refusal changes nothing; if
// nobody knows whether a commit reached the disk, the state is read again before the
// next event. An event that fails again and again ends in GiveUp.
package engine
