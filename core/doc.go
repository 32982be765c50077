// Package core is what the trade knows: pressures, methods, suits, the test and
// its verdict, and what a suit may be used for. It decides, exactly and by
// comparison alone; what is estimated, and how sure one can be, is in
// core/estimate, which may take a pass back and never gives one. Nothing here
// reads a clock, does I/O or runs beside anything else: time is an argument, and
// the same entries always give the same state.
//
// There are only a few types to know:
//
//   - [Entry] is a line of the journal, [Fact] what it says. Facts are only ever
//     added, and what one meant when it was written it means for ever.
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
