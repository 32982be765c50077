package commands

import (
	"fmt"
	"strings"

	"benchbell/core"
)

// What people are told about a run besides the next step: which tests clear nothing, and
// what officers should know.

// clearsNothing says, when a run is opened, why a pass of it will not clear the
// suit: it is by another method than the suit's own, or nobody said yet what was
// done about a defect or a fail.
func clearsNothing(run core.Run, st core.Standing) string {
	if run.Method.Key != run.Suit.Method {
		return bold("This test cannot clear "+run.Suit.Tag) + ": its own method is " + run.Suit.Method + "."
	}
	if len(untreated(st)) == 0 {
		return ""
	}
	return lines("A pass will not clear it as it is.", treat(run.Suit.Tag, st))
}

// untreated returns the bars about which something must be done before a test.
func untreated(st core.Standing) []core.Bar {
	var all []core.Bar
	for _, b := range st.Bars {
		if b.NeedsRemedy() && !b.Remedied {
			all = append(all, b)
		}
	}
	return all
}

// treat says what must be said before a test can clear the suit.
func treat(tag string, st core.Standing) string {
	open := untreated(st)
	if len(open) == 0 {
		return ""
	}
	failed := true
	for _, b := range open {
		failed = failed && b.Kind == core.BarFailed
	}
	text := code("repaired " + tag + " …")
	if len(open) > 1 {
		text = code("repaired " + tag + " 1: …")
	}
	if failed {
		text += " or " + code("cause "+tag+" …")
	}
	return fmt.Sprintf("First say what was done: %s, then test it.", text)
}

// likelyBeyond is how likely a hold must be to miss its limit for the officers to
// hear that it was stopped. Ours.
const likelyBeyond = 0.5

// toOfficers words what the officers are told of a step.
func (s Speaker) toOfficers(st Step) []Message {
	run := st.After
	var out []Message
	tell := func(parts ...string) {
		told := fmt.Sprintf("%s, %s, %s", run.ID, run.Method.Key, run.Tester.Name)
		out = append(out, Message{Dest: ToOfficers, Text: lines(append(parts, told)...)})
	}
	for _, fact := range st.Facts {
		switch f := fact.(type) {
		case core.Opened:
			for _, b := range untreated(st.Standing) {
				if b.Kind == core.BarFailed {
					tell(bold(run.Suit.Tag+" NEW TEST, NOTHING REPAIRED")+" after a fail.", "Nobody said what was done, or what caused it. A pass will not clear it.")
					break
				}
			}
		case core.Stopped:
			if bad, ok := st.Before.Forecast(); ok && bad.Beyond > likelyBeyond {
				tell(bold(run.Suit.Tag+" STOPPED")+" in a hold that was likely to fail.", "Why: "+quote(f.Why))
			}
		case core.Judged:
			switch {
			case f.Verdict.Outcome == core.Fail:
				tell(bold(run.Suit.Tag+" FAILED")+": blocked, not fit for use.", s.why(run, f.Verdict))
				out[len(out)-1].Known = st.Before.Verdict == nil || st.Before.Verdict.Outcome != core.Fail
			case f.Verdict.Outcome == core.Pass && (st.Before.Verdict == nil || st.Before.Verdict.Outcome != core.Pass):
				if was := madeGood(run); was != "" {
					tell(bold(run.Suit.Tag+" "+strings.ToUpper(was)+" CORRECTED TO PASS")+", not fit yet.", "Check it: "+code("record "+run.ID.String()))
				}
				if n := givenUp(run); n > 0 {
					tell(bold(run.Suit.Tag+" PASS, NOT FIT YET")+fmt.Sprintf(": attempt %d.", len(run.Past)+1), fmt.Sprintf("Holds given up before: %d. %s", n, reasons(run)))
				}
			}
		}
	}
	return out
}

// madeGood returns the last outcome of this attempt that was not a pass, empty if
// there is none: then the pass was made by a correction.
func madeGood(run core.Run) string {
	was := ""
	for _, v := range run.Verdicts {
		if v.Outcome != core.Pass {
			was = string(v.Outcome)
		}
	}
	return was
}

// givenUp counts the holds that were given up without a verdict, or after a late
// reading beyond the limit.
func givenUp(run core.Run) int {
	n := 0
	for _, a := range run.Past {
		if a.HeldBy != 0 && (a.Verdict == nil || a.Verdict.Reason == core.LateBeyond) {
			n++
		}
	}
	return n
}

func reasons(run core.Run) string {
	var all []string
	for _, a := range run.Past {
		if a.GivenUp != nil && a.GivenUp.Text != "" {
			all = append(all, quote(a.GivenUp.Text))
		}
	}
	return strings.Join(all, ", ")
}

// ended says what follows from the end of a run without a test: the list, and
// the way round it where nothing was fitted.
func ended(run core.Run) string {
	if run.Shut || len(run.AllReadings()) > 0 {
		return ""
	}
	return "No plug or adapter was fitted? " + code("nothing fitted")
}

// restoring says what is left of the list that ends a run.
func (s Speaker) restoring(run core.Run) string {
	var rest, named []int
	for _, n := range core.Missing(run.RestoreList) {
		if run.RestoreList[n-1].Item.ByName() {
			named = append(named, n)
		} else {
			rest = append(rest, n)
		}
	}
	var out []string
	if len(named) > 0 {
		one := make([]string, len(named))
		for i, n := range named {
			one[i] = code(fmt.Sprintf("ok %d", n))
		}
		out = append(out, "Count back, one at a time: "+strings.Join(one, ", "))
	}
	if len(rest) > 0 {
		out = append(out, "Not put away yet: "+numbers(rest))
	}
	return lines(out...)
}

// barometer prints a barometer reading, in hectopascals too if it is in another
// unit: a wrong unit shows there.
func barometer(w core.Written) string {
	if w.Unit == core.HPa || w.Unit == core.Mbar {
		return w.String()
	}
	return w.String() + " = " + w.Pressure().In(core.HPa, 1) + " hPa"
}

// counted says of a temperature or a barometer reading that it came too far from
// the ends of the hold to count.
func counted(st Step) string {
	run := st.After
	if run.HeldAt.IsZero() || run.AirCounts(st.At) {
		return ""
	}
	if run.Phase == core.Hold {
		return "It counts only if the ending pressure is read within 2 min of it."
	}
	return "It does not count: post it within 2 min of the start or of the ending pressure."
}
