package commands

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
	"time"

	"benchbell/core"
)

// Step is one event's worth of a run: the run before and after it, the facts
// that it added, and the suit's standing after it.
type Step struct {
	Before, After core.Run
	Facts         []core.Fact
	At            time.Time
	By            core.Person
	Standing      core.Standing
	// Busy is the run that has the manometer of a run just opened; zero if none.
	Busy    core.Run
	History []Tested // of the suit, this test among them, if it was judged
}

// Run words what a step has to say. The card and the list come along wherever
// they can have changed; whoever delivers them leaves out what is on screen
// already.
func (s Speaker) Run(st Step) []Message {
	var out []Message
	verdicts := len(st.Before.AllVerdicts())
	for _, fact := range st.Facts {
		if judged, ok := fact.(core.Judged); ok {
			verdicts++
			out = append(out, s.judged(st, judged.Verdict, verdicts)...)
			continue
		}
		out = append(out, s.ofRun(st, fact)...)
		if text := cmp.Or(s.ofTest(st, fact), s.ofMetering(st, fact)); text != "" {
			out = append(out, Message{Dest: ToRun, Text: text})
		}
	}
	out = append(out, superseded(st)...)
	if text := refreshed(st); text != "" {
		out = append(out, Message{Dest: ToList, N: st.Before.Lists, Text: text})
	}
	out = append(out, s.toOfficers(st)...)
	return append(out, Message{Dest: ToCard, Text: s.Card(st.After, st.At)})
}

// ofRun words a fact of the run as a whole: its lists, its tester, its end.
func (s Speaker) ofRun(st Step, fact core.Fact) []Message {
	var out []Message
	say := func(text string) { out = append(out, Message{Dest: ToRun, Text: text}) }
	run, tester := st.After, st.After.Tester
	switch f := fact.(type) {
	case core.Opened:
		if warning := lines(s.busy(run, st.Busy), s.lapsed(run, st.At), s.coarse(run)); warning != "" {
			say(lines(of(run)+warning, at(tester)))
		}
		if why := lines(s.because(run.Suit.Tag, st.Standing), clearsNothing(run, st.Standing)); why != "" {
			say(why)
		}
		out = append(out, s.newList(run))
	case core.Ticked:
		switch {
		case st.Before.Phase == core.Prepare && run.Phase == core.Expansion:
			say(lines(of(run)+s.next(run, st.At), s.lapsed(run, st.At), at(tester)))
		case !f.ByTap && run.List() != nil:
			say(s.next(run, st.At))
		}
	case core.Stopped:
		why := "Stopped"
		if f.Why != "" {
			why += ": " + quote(f.Why)
		}
		over := ""
		if text := s.takenOver(st); text != "" {
			over = lines(nowRunBy(run, run.Tester), text)
		}
		say(lines(of(run)+bold(why)+". No verdict.", ended(run), stoppedStanding(run), over, mentions(st)))
		if run.Phase == core.Restore {
			out = append(out, s.newList(run))
		}
	case core.HandedOver:
		if has[core.Stopped](st.Facts) { // said there
			break
		}
		text := lines(s.takenOver(st), s.next(run, st.At), cmp.Or(mentions(st), at(f.To)))
		say(lines(of(run)+nowRunBy(run, f.To), text))
		if list := run.List(); list != nil {
			out = append(out, s.newList(run))
		}
	case core.ManometerChosen:
		text := fmt.Sprintf("Manometer %s, unit %s.", f.Manometer.ID, f.Manometer.Unit)
		say(lines(text, s.lapsed(run, st.At), s.coarse(run), s.next(run, st.At)))
	case core.DefectSeen:
		if st.Before.Phase == core.Restore {
			say(lines(bold(run.Suit.Tag+" BLOCKED")+": "+quote(f.What)+" on record.", s.next(run, st.At)))
		}
	case core.NoneFitted:
		say("Nothing was fitted: on record.")
	case core.Closed:
		out = append(out, Message{Dest: ToEnd, New: true, Text: s.closed(run, st.Standing, st.At)})
	}
	return out
}

// ofTest words a fact of the test itself.
func (s Speaker) ofTest(st Step, fact core.Fact) string {
	run, tester := st.After, st.After.Tester
	switch f := fact.(type) {
	case core.Taken:
		if text := s.taken(st, f.Reading); text != "" {
			return of(run) + text
		}
	case core.Questioned:
		return of(run) + s.question(f, tester)
	case core.Corrected:
		return s.corrected(st, f)
	case core.Rung:
		if text := s.bell(run, f, st.At); text != "" && !f.Quiet {
			return text
		}
	case core.Again:
		return lines(of(run)+fmt.Sprintf("Attempt %d. ", len(run.Past)+1)+s.next(run, st.At), at(tester))
	case core.LeakFound:
		return fmt.Sprintf("Leak %d kept. Repair it, then %s.", len(run.Leaks), code("repaired "+run.Suit.Tag+" …"))
	case core.AirNoted:
		return lines("Noted: air "+f.Celsius+" °C.", counted(st), driftOf(st))
	case core.BaroNoted:
		return lines("Noted: barometer "+barometer(f.Written)+".", counted(st), driftOf(st))
	case core.Noted:
		if f.Recalled {
			return lines("Not taken: a moment counts when it is said within 3 min. It is on record as a note.", s.next(run, st.At))
		}
		return "Noted."
	}
	return ""
}

// ofMetering words a fact of a measurement of the capacity.
func (s Speaker) ofMetering(st Step, fact core.Fact) string {
	run := st.After
	switch f := fact.(type) {
	case core.MeteringBegun, core.AirAdded:
		return s.metering(run, st.At)
	case core.MeteringRead:
		if f.Reading.N == 1 && run.Metering.Open() {
			return lines(f.Reading.Written.String()+" taken.", s.metering(run, st.At))
		}
	case core.MeteringCorrected:
		return s.meteringCorrected(run, f, st.At)
	case core.MeteringLeft:
		text := s.left(run, f)
		if len(st.Facts) == 1 { // nothing else was said to the run
			text = lines(text, s.restoring(run))
		}
		return text
	case core.CapacityMeasured:
		return s.result(run, f.Capacity)
	}
	return ""
}

// because says why a suit is on the bench, to whoever is about to test it.
func (s Speaker) because(tag string, st core.Standing) string {
	var reasons []string
	for _, b := range st.Bars {
		switch b.Kind { // the others are just why it is tested
		case core.BarWithdrawn, core.BarFound, core.BarFailed, core.BarRepaired:
			reasons = append(reasons, "- "+s.bar(b))
		}
	}
	if reasons == nil {
		return ""
	}
	return lines(append([]string{bold(tag + " is blocked:")}, reasons...)...)
}

func has[F core.Fact](facts []core.Fact) bool {
	return slices.ContainsFunc(facts, func(f core.Fact) bool { _, ok := f.(F); return ok })
}

// refreshed words the list that was on screen before a step: with its ticks while it is
// in use, and in its final state when it is not. It is empty if there was no list, or if
// it did not change.
func refreshed(st Step) string {
	before, after := st.Before, st.After
	if before.List() == nil {
		return ""
	}
	if after.List() != nil && after.Lists == before.Lists {
		if has[core.Ticked](st.Facts) || has[core.Unticked](st.Facts) {
			return list(after)
		}
		return ""
	}
	checks := before.RestoreList // of a test begun again: the run has a fresh one
	switch {
	case before.Phase == core.Prepare:
		checks = after.PrepareList
	case after.Phase == core.Over || after.Phase == core.Restore:
		checks = after.RestoreList
	}
	return lastList(before.Phase, checks, after)
}

func (s Speaker) newList(run core.Run) Message {
	return Message{Dest: ToList, New: true, N: run.Lists, Text: list(run), Offer: len(run.List())}
}

// lapsed warns of a manometer that can give no verdict.
func (s Speaker) lapsed(run core.Run, now time.Time) string {
	if !run.Manometer.Lapsed(core.DateAt(now, s.Zone)) {
		return ""
	}
	until := "was never calibrated"
	if !run.Manometer.CalibratedUntil.IsZero() {
		until = "lapsed on " + run.Manometer.CalibratedUntil.String()
	}
	return fmt.Sprintf("%s %s: with it there can be no verdict. Say %s for another.", run.Manometer.ID, until, code("with …"))
}

// coarse warns of a manometer that is too coarse for the method.
func (s Speaker) coarse(run core.Run) string {
	f := run.Method.Fineness(run.Manometer)
	if !f.TooCoarse() {
		return ""
	}
	u := run.Method.Unit
	return fmt.Sprintf("%s is coarse for %s: a drop is known to ± %s of %s %s.", run.Manometer.ID, run.Method.Key,
		pascals(f.Expanded, u), pascals(f.Allowed, u), u)
}

// next says what the run waits for. It is the heart of every prompt, and all
// of the answer to "where".
func (s Speaker) next(run core.Run, now time.Time) string {
	m := run.Method
	switch run.Phase {
	case core.Prepare:
		return fmt.Sprintf("Not ticked yet: %s", numbers(core.Missing(run.PrepareList)))
	case core.Expansion:
		ends := run.ExpansionEnds()
		switch {
		case ends.IsZero():
			return lines(fmt.Sprintf("Inflate to %s,", bold(setting(m.Expansion, run.Manometer))), "then post the reading.")
		case now.Before(ends):
			return fmt.Sprintf("Keep it at %s until %s, %s left.", target(m.Expansion, run.Manometer), bold(s.clock(ends)), span(ends.Sub(now)))
		}
		return lines(fmt.Sprintf("Let down to %s,", bold(setting(m.Test, run.Manometer))), "then post the reading.")
	case core.Hold:
		if ends := run.HoldEnds(); now.Before(ends) {
			return fmt.Sprintf("Hands off until %s, %s left.", bold(s.clock(ends)), span(ends.Sub(now)))
		}
		return bold("Post the ending pressure.")
	case core.Restore:
		return lines(s.metering(run, now), s.restoring(run))
	}
	return fmt.Sprintf("%s is closed. %s begins a new one.", run.ID, code("test "+run.Suit.Tag))
}

// Where answers what a run waits for.
func (s Speaker) Where(run core.Run, now time.Time) string {
	return lines(s.next(run, now), fmt.Sprintf("%s · %s · %s · %s", run.Suit.Tag, run.ID, PhaseWords(run.Phase), run.Manometer.ID))
}

// taken words a reading taken and what it sets going.
func (s Speaker) taken(st Step, r core.Reading) string {
	run, m := st.After, st.After.Method
	value := r.Written.String()
	if r.Written.Unit != m.Unit {
		value += " = " + r.Pressure().In(m.Unit, 1) + " " + m.Unit.String()
	}
	p := r.Pressure()
	switch {
	case run.Phase == core.Restore:
		return "" // the verdict says it all
	case run.Phase == core.Hold && run.HeldBy == r.N:
		return lines(
			fmt.Sprintf("%s. %s", value, bold("Hold until "+s.clock(run.HoldEnds())+". Hands off.")),
			fmt.Sprintf("Limit: ending %s or more.", lowest(run)),
			s.askAir(run))
	case run.Phase == core.Hold:
		noted := fmt.Sprintf("%s noted at %s of the hold.", value, core.Stopwatch(r.Taken.Sub(run.HeldAt)))
		if left := run.HoldEnds().Sub(r.Taken); left > 0 && left <= time.Minute {
			noted = fmt.Sprintf("%s noted, not yet the end: the bell asks again.", value)
		}
		return lines(noted,
			s.course(run), s.next(run, st.At))
	case p > m.Expansion.High:
		text := bold(value+" is too high: vent now") + " to " + target(m.Expansion, run.Manometer) + "."
		if !st.Before.ExpandedAt.IsZero() {
			text += " The expansion begins again."
		}
		return text
	case run.ExpandedBy == r.N:
		return fmt.Sprintf("%s. %s", value, bold("Expansion until "+s.clock(run.ExpansionEnds())+"."))
	case run.ExpandedAt.IsZero() && !st.Before.ExpandedAt.IsZero() && p >= m.Test.Low:
		return fmt.Sprintf("%s: too long since the expansion. %s", value, bold("Expand it again: inflate to "+target(m.Expansion, run.Manometer)+"."))
	case run.ExpandedAt.IsZero() && !st.Before.ExpandedAt.IsZero():
		return fmt.Sprintf("%s is below the test pressure: the expansion begins again. %s", value, bold("Inflate to "+target(m.Expansion, run.Manometer)+"."))
	case run.ExpandedAt.IsZero():
		return fmt.Sprintf("%s is too low: go on to %s.", value, setting(m.Expansion, run.Manometer))
	case st.At.Before(run.ExpansionEnds()) && p < m.Expansion.Low:
		return fmt.Sprintf("%s: %s Until %s.", value, bold("top up to "+target(m.Expansion, run.Manometer)+"."), s.clock(run.ExpansionEnds()))
	case st.At.Before(run.ExpansionEnds()):
		return lines(value+" taken.", s.next(run, st.At))
	case p < m.Test.Low:
		return fmt.Sprintf("%s is too low to start: top up to %s.", value, setting(m.Test, run.Manometer))
	}
	return lines(value+" taken, still expanding.", s.next(run, st.At))
}

// askAir asks for the temperature at the start of the hold, where the policy
// wants it.
func (s Speaker) askAir(run core.Run) string {
	before, _ := run.Surroundings()
	if !s.AskAir || before.Celsius != "" {
		return ""
	}
	return "Temperature at the suit? " + code("air …")
}

// askAirAgain asks for it at the end, before the verdict that needs it.
func (s Speaker) askAirAgain(run core.Run) string {
	before, after := run.Surroundings()
	if !s.AskAir || before.Celsius == "" || after.Celsius != "" {
		return ""
	}
	return "Temperature at the suit? " + code("air …")
}

// lowest prints the least ending pressure that passes.
func lowest(run core.Run) string {
	start, _ := run.Start()
	p := run.Method.Limit.Lowest(start.Pressure())
	text := atLeast(p, run.Method.Unit)
	if run.Manometer.Unit != run.Method.Unit {
		text += " = " + atLeast(p, run.Manometer.Unit)
	}
	return text
}

func (s Speaker) question(q core.Questioned, tester core.Person) string {
	return lines(
		bold(fmt.Sprintf("%s %s?", q.Reading.Written.Digits, q.Perhaps))+fmt.Sprintf(" %s does not fit here; nothing taken.", q.Reading.Written),
		fmt.Sprintf("%s takes it so, or %s. %s", code("yes"), code("fix …"), at(tester)))
}

func (s Speaker) corrected(st Step, f core.Corrected) string {
	run := st.After
	was := run.AllReadings()[f.N-1].Was
	text := fmt.Sprintf("Corrected: %s → %s. Both stay on record.", was[len(was)-1], f.Written)
	for _, fact := range slices.Backward(st.Facts) {
		switch fact.(type) {
		case core.Judged:
			return text
		case core.HoldResumed:
			return lines("The verdict is taken back: the hold goes on.", text, s.next(run, st.At))
		case core.Again:
			return lines("Out of tolerance: no hold runs.", text)
		case core.ExpansionVoid:
			return lines("That is out of tolerance: the expansion begins again.", text, s.next(run, st.At))
		}
	}
	return lines(text, s.next(run, st.At))
}

// judged is the verdict, the list that undoes the preparation, and on a fail
// the word to the crew.
func (s Speaker) judged(st Step, v core.Verdict, n int) []Message {
	run := st.After
	var was core.Outcome
	if st.Before.Verdict != nil {
		was = st.Before.Verdict.Outcome
	}
	text := s.verdict(run, v, was, st.Standing)
	if v.Outcome == core.Pass {
		text = lines(text, departure(st.History, run.Method), noDrop(run, v, st.History))
	}
	out := []Message{{Dest: ToVerdict, New: true, N: n, Text: lines(text, at(run.Tester)), Chart: v.End.N != 0}}
	if run.Phase == core.Restore && st.Before.Phase != core.Restore {
		out = append(out, s.newList(run))
	}
	if v.Outcome == core.Fail && v.Reason != core.DefectByEye && run.Phase == core.Restore {
		out = append(out, Message{Dest: ToRun, Text: leakHunt(run)})
	}
	told := fmt.Sprintf("%s, %s, %s", run.ID, run.Method.Key, run.Tester.Name)
	switch {
	case v.Outcome == core.Fail && was != core.Fail:
		out = append(out, Message{Dest: ToCrew, Text: lines(bold(run.Suit.Tag+" failed")+": blocked, not fit.", told)})
	case v.Outcome != core.Fail && was == core.Fail:
		out = append(out, Message{Dest: ToCrew, Text: lines(
			fmt.Sprintf("%s: the fail was corrected, %s now. %s", bold(run.Suit.Tag), v.Outcome, bold("Not fit yet.")), told)})
	}
	return out
}

// superseded marks the posts of the verdicts that no longer stand, at the beginning of
// each: whoever sees only that post must know that it is out of date. The old figures
// stay below.
func superseded(st Step) []Message {
	facts := st.Facts
	if !has[core.Judged](facts) && !has[core.HoldResumed](facts) && !has[core.Again](facts) && !has[core.Stopped](facts) && !has[core.Closed](facts) {
		return nil
	}
	run := st.After
	now, old := "begun again, no verdict yet", run.AllVerdicts()
	switch {
	case run.Verdict != nil:
		now, old = "now "+strings.ToUpper(string(run.Verdict.Outcome)), old[:max(0, len(old)-1)]
		if run.Verdict.Outcome == core.Pass && run.Phase == core.Restore {
			now += ", not fit yet"
		}
	case run.Phase == core.Hold:
		now = "taken back, the hold goes on"
	case has[core.Stopped](facts):
		now = "stopped, no verdict"
	}
	var out []Message
	for i, v := range old {
		chart := ""
		if v.End.N != 0 {
			chart = "The chart here shows the old verdict."
		}
		out = append(out, Message{Dest: ToVerdict, N: i + 1, Text: lines(
			bold("SUPERSEDED: "+now)+", see below.",
			fmt.Sprintf("%s · %s was: %s", run.Suit.Tag, run.ID, v.Outcome),
			figures(run, v), chart)})
	}
	if st.Before.Phase == core.Over { // the end may have called it fit
		out = append(out, Message{Dest: ToEnd, Text: lines(bold("SUPERSEDED: "+now)+", see below.", run.ID.String()+" is closed.")})
	}
	return out
}

func stoppedStanding(run core.Run) string {
	if len(run.AllReadings()) > 0 {
		return run.Suit.Tag + " is not fit: test it again."
	}
	return ""
}

// of begins what is said of a run: a notification on a phone shows no thread,
// and a tester with several suits on the go must know which one rings.
func of(run core.Run) string { return run.Suit.Tag + " · " }

// bell words a bell. A late one says by how much.
func (s Speaker) bell(run core.Run, b core.Rung, now time.Time) string {
	late := ""
	if by := now.Sub(b.Due); by >= leastLate {
		late = fmt.Sprintf("%s %s late, it was due at %s.", bellIsLate, span(by), s.clock(b.Due))
	}
	m := run.Method
	tester := at(run.Tester)
	switch b.Bell {
	case core.BellLook:
		return lines(of(run)+bold("Look:")+" post the reading.", late, tester)
	case core.BellExpansion:
		settle := "Air inside at room temperature? If not, wait."
		if run.Sinking() {
			settle = fmt.Sprintf("It was still sinking: better a few minutes more at %s.", target(m.Expansion, run.Manometer))
		}
		return lines(of(run)+bold("Expansion is over."), s.next(run, now), settle, late, tester)
	case core.BellWarn:
		return lines(of(run)+bold(span(run.HoldEnds().Sub(now))+" left.")+" Be at the manometer, hands off the suit.", s.askAirAgain(run), late, tester)
	case core.BellHold:
		if late != "" {
			late = lines(late, "Read it now: late, but it can still pass.")
		}
		return lines(of(run)+bold("Bell! Post the ending pressure."), late, tester)
	case core.BellChase:
		waits := s.next(run, now)
		switch run.Phase {
		case core.Restore: // a capacity can wait, a plug cannot
			waits = s.restoring(run)
		case core.Prepare:
			waits = lines(waits, "Not going on? "+code("stop …"))
		}
		return lines(of(run)+bold("Still waiting.")+" "+waits, s.chaseWhy(run, now), late, tester)
	}
	return ""
}

func (s Speaker) chaseWhy(run core.Run, now time.Time) string {
	switch run.Phase {
	case core.Hold:
		if run.Method.AtBell(run.HeldAt, now) {
			return "Posted by " + s.clock(run.HoldEnds().Add(core.GraceAfter)) + " it counts as read at the bell."
		}
		if now.After(run.HeldAt.Add(2 * run.Method.Hold)) {
			return fmt.Sprintf("It is too late for a pass: %s begins again.", code("again …"))
		}
		return "Read it now: late, but it can still pass."
	case core.Prepare, core.Expansion, core.Restore:
		return run.Suit.Tag + " is not fit: a plug left in can kill."
	}
	return ""
}

func (s Speaker) closed(run core.Run, st core.Standing, now time.Time) string {
	return lines(s.standing(run.Suit.Tag, st, core.DateAt(now, s.Zone)), run.ID.String()+" is closed.")
}

// PhaseWords returns the name of a phase for people.
func PhaseWords(p core.Phase) string {
	if p == core.Restore {
		return "unplug and put away"
	}
	return string(p)
}

// NotFitYet says of a run whose suit is still to be unplugged or put away that
// it is not fit, and why: not fit yet after a pass. It says nothing in any other
// phase. It stands wherever the outcome of such a run does.
func NotFitYet(run core.Run) (head, why string) {
	if run.Phase != core.Restore {
		return "", ""
	}
	head = "NOT FIT"
	if run.Verdict != nil && run.Verdict.Outcome == core.Pass {
		head = "NOT FIT YET"
	}
	for _, c := range run.RestoreList {
		if (c.Item.Task == core.TaskPlugsOut || c.Item.Task == core.TaskAdapterOut) && !c.Done {
			return head, "plugs and adapter are still in"
		}
	}
	return head, "not put away"
}

// Card is the first post of a run's thread: where the run stands. Of one that
// is closed it says what happened, and not what the suit may be used for: the
// post stays for ever, and the suit may be worn, withdrawn or retired tomorrow.
func (s Speaker) Card(run core.Run, now time.Time) string {
	head := fmt.Sprintf("%s · %s · %s", bold(run.Suit.Tag), run.ID, PhaseWords(run.Phase))
	var state string
	switch run.Phase {
	case core.Prepare:
		state = fmt.Sprintf("%d of %d ticked", len(run.PrepareList)-len(core.Missing(run.PrepareList)), len(run.PrepareList))
	case core.Expansion:
		state = "to " + setting(run.Method.Expansion, run.Manometer)
		if ends := run.ExpansionEnds(); !ends.IsZero() {
			state = s.until(ends, now)
		}
	case core.Hold:
		state = s.until(run.HoldEnds(), now)
	case core.Restore:
		not, _ := NotFitYet(run)
		head = fmt.Sprintf("%s · %s", bold(run.Suit.Tag+": "+outcome(run)+", "+not), run.ID)
		state = fmt.Sprintf("%s: %d of %d ticked", PhaseWords(run.Phase), len(run.RestoreList)-len(core.Missing(run.RestoreList)), len(run.RestoreList))
	case core.Over:
		head = fmt.Sprintf("%s · %s · closed %s", bold(run.Suit.Tag), run.ID, s.moment(run.Closed))
		state = lines("Result: "+outcome(run)+putAway(run)+".", "Today's standing: say "+code(run.Suit.Tag))
	}
	return lines(head, state, fmt.Sprintf("%s · %s · %s", run.Method.Key, run.Manometer.ID, run.Tester.Name))
}

// outcome is what a run came to, in one word or two.
func outcome(run core.Run) string {
	if run.Verdict == nil {
		return "STOPPED"
	}
	return strings.ToUpper(string(run.Verdict.Outcome))
}

// putAway says in what state a closed run left the suit.
func putAway(run core.Run) string {
	switch {
	case run.FoundBad:
		return ", then a defect was found: not fit"
	case core.Complete(run.RestoreList):
		return ", unplugged and put away"
	case !run.Shut:
		return ", nothing was fitted"
	}
	return ""
}

// until prints an end and, in whole minutes, what is left at most.
func (s Speaker) until(ends, now time.Time) string {
	left := ends.Sub(now)
	if left <= 0 {
		return "time was up at " + s.clock(ends)
	}
	minutes := int((left + time.Minute - 1) / time.Minute)
	return fmt.Sprintf("until %s, under %d min left", s.clock(ends), minutes)
}
