// Package core holds the rules of the trade: pressures, methods, suits, the test and
// its verdict, and what a suit may be used for. It decides by exact comparison.
// Estimates and their uncertainty are in core/estimate; they may take a pass back and
// never give one. Nothing here reads a clock, does I/O or starts a goroutine: time is
// an argument, and the same entries always give the same state.
//
// There are only a few types to know:
//
//   - [Entry] is a line of the journal, [Fact] what it says. Facts are only ever
//     added, and the meaning of an old one never changes.
//   - [Run] is one test of one suit, from the list that prepares it to the list
//     that makes it safe again. It embeds the present [Attempt]: what was read,
//     which clocks run, the air, the verdicts. Run.Decide answers what somebody
//     wants, an [Intent], with facts or a [Refusal]; Run.Apply takes a fact in
//     and cannot fail.
//   - [Verdict] is what an attempt came to, with its [Reason] and the version of
//     the [Rules] it was given by.
//   - [File] is what a suit's entries say of it: the bars, each a reason why it
//     must not be worn, and the pass that counts. File.Apply takes entries in,
//     File.Standing says what it may be used for on a day.
//   - [Bench] is what a decision may need to know beyond one run: methods,
//     manometers, open runs, policy.
//   - [Method] is a published test method as data, [Pressure] a whole number of
//     nanopascals, [Written] a reading as it was written.
//
// Begin reading at Run.Apply (run.go) and Run.Decide (decide.go). The rules of the
// verdict are in verdict.go, those of corrections in correct.go, what clears a suit
// in standing.go.
package core
