package commands

import (
	"cmp"
	"errors"
	"fmt"
	"strings"
	"time"
	"unicode/utf8"

	"benchbell/core"
)

// Refuse words an error for the person whose words brought it. ok is false if
// it is not an error that a person can mend.
func (s Speaker) Refuse(err error, in Place) (text string, ok bool) {
	if m, is := errors.AsType[*Misunderstood](err); is {
		say := "Not understood"
		if m.Say != "" {
			say = shown(upperFirst(m.Say))
		}
		if !strings.HasSuffix(say, "?") {
			say += "."
		}
		if strings.HasPrefix(m.Try, "help") {
			return fmt.Sprintf("%s %s says what can be said.", say, code("help")), true
		}
		if m.Passing {
			return lines(say, fmt.Sprintf("To do it all the same, say %s.", typed(m.Try))), true
		}
		if m.Also != "" {
			return fmt.Sprintf("%s Say %s, then %s.", say, typed(m.Try), typed(m.Also)), true
		}
		return fmt.Sprintf("%s Try %s, or %s.", say, typed(m.Try), code("help")), true
	}
	if r, is := errors.AsType[*core.Refusal](err); is {
		return s.refusal(r), true
	}
	return "", false
}

func upperFirst(s string) string {
	_, n := utf8.DecodeRuneInString(s)
	return strings.ToUpper(s[:n]) + s[n:]
}

func (s Speaker) refusal(r *core.Refusal) string {
	return cmp.Or(s.notOpened(r), s.notRead(r), s.notDone(r), s.notMeasured(r), s.notRecorded(r), string(r.Why)+".")
}

// notOpened words why a run is not opened, or not with that manometer.
func (s Speaker) notOpened(r *core.Refusal) string {
	switch r.Why {
	case core.UnknownSuit:
		return fmt.Sprintf("No suit %s here.%s", quote(r.Suit), didYouMean(r.Choices))
	case core.UnknownMethod:
		return fmt.Sprintf("No method %s. There are %s: %s.", quote(r.Method), strings.Join(r.Choices, ", "), code("test "+r.Suit+" …"))
	case core.UnknownManometer:
		return fmt.Sprintf("No manometer %s. There are %s: %s.", quote(r.Manometer), strings.Join(r.Choices, ", "), code("with …"))
	case core.ManometerUnsaid:
		return fmt.Sprintf("Which manometer? %s: say %s.", strings.Join(r.Choices, ", "), code(fmt.Sprintf("test %s %s with …", r.Suit, r.Method)))
	case core.ManometerBusy:
		head, use := "Not taken", "with …"
		if r.Opening != "" {
			head, use = "Not opened", strings.Join(strings.Fields("test "+r.Opening+" "+r.Method+" with …"), " ")
		}
		return lines(fmt.Sprintf("%s: %s.", head, s.inUse(r)), fmt.Sprintf("Use %s, or wait.", code(use)))
	case core.ManometerFixed:
		return fmt.Sprintf("A reading was taken with %s: it stays to the end of this test. %s ends it; then open another run.", r.Manometer, code("stop …"))
	case core.SuitRetired:
		return fmt.Sprintf("%s is retired: it is not tested. %s says why.", r.Suit, code("status "+r.Suit))
	case core.SuitLifeOver:
		return fmt.Sprintf("%s is past its end of life: no test makes it fit. An officer takes it off the list: %s.", r.Suit, code("retire "+r.Suit+" …"))
	case core.SuitOnBench:
		return fmt.Sprintf("%s is on the bench already: %s, %s. Go on in its thread.", r.Suit, r.Run, r.Person.Name)
	case core.NoMakerPressures:
		return fmt.Sprintf("%s needs the maker's pressures A and B, and the register has none for %s. The keeper imports them; then %s.", r.Method, r.Suit, code("test "+r.Suit))
	case core.MakerPressuresLow:
		return fmt.Sprintf("The maker's A and B of %s in the register do not go with %s: A at least 3 in, B at least 2 in and below A. The keeper must correct them.", r.Suit, r.Method)
	}
	return ""
}

// notRead words why a reading is not taken or corrected.
func (s Speaker) notRead(r *core.Refusal) string {
	switch r.Why {
	case core.NotPrepared:
		return fmt.Sprintf("Not taken: the list comes first.\n%s ticks a number, %s all that is left.", code("ok …"), code("ok all"))
	case core.NotInHold:
		return "Not taken: a time belongs to a hold, and no hold runs. Post the reading alone, its number and unit."
	case core.NotYet:
		return "Not taken: that moment of the hold has not come yet. Post the reading alone, its number and unit."
	case core.Implausible:
		return s.implausible(r)
	case core.NothingToFix:
		return "There is no reading to correct. Post one, its number and unit."
	case core.NothingAsked:
		return fmt.Sprintf("Nothing was asked. %s says what is next.", code("where"))
	case core.VerdictIn:
		return fmt.Sprintf("Not taken: the verdict is in. A new test begins with %s, once this list is complete.", code("test "+r.Suit))
	case core.ClosedForGood:
		return fmt.Sprintf("Not changed: %s is closed and its verdict cannot get better. %s begins a new run.", r.Run, code("test "+r.Suit))
	case core.TooLateToFix:
		return fmt.Sprintf("Not changed: a correction counts within 2 minutes and before anything else is done.\n%s puts it on record; a new test is better.", code("note …"))
	case core.MomentKept:
		return "Not changed: a correction keeps the moment of the reading. Edit the number alone, or say it again as a new reading."
	case core.AttemptOver:
		return fmt.Sprintf("Not changed: that reading is of an attempt that is over. %s puts it on record.", code("note …"))
	case core.AnswerTooLate:
		return "Not taken: that was asked too long ago. Read again and post number and unit."
	case core.NoSuchAir:
		return fmt.Sprintf("Not taken: not a plausible value. The temperature is in °C, the barometer 500 to 1100 hPa: %s, %s.", code("air …"), code("baro …"))
	}
	return ""
}

// notDone words why a run goes on as it is.
func (s Speaker) notDone(r *core.Refusal) string {
	switch r.Why {
	case core.NotTheTester:
		if r.TakeOver {
			return fmt.Sprintf("Not taken: this is %s's run.\nTake it over: %s.", r.Person.Name, code("over to me"))
		}
		return fmt.Sprintf("Not taken: this is %s's run.\nThey can say %s.", r.Person.Name, code("over to @"+first(r.Choices)))
	case core.NotTheirRun:
		return lines(fmt.Sprintf("Not done: this is %s's run.", r.Person.Name), "Only they or an officer may do that."+s.orAnybody(r.Until))
	case core.NoList:
		return fmt.Sprintf("Nothing to tick now. %s says what is next.", code("where"))
	case core.NoSuchItem:
		return fmt.Sprintf("The list has no %d. %s says what is left.", r.Item, code("where"))
	case core.RunClosed:
		return fmt.Sprintf("%s is closed. %s begins a new run.", r.Run, code("test "+r.Suit))
	case core.CannotRepeat:
		return fmt.Sprintf("Only a test without a verdict can be repeated, and only before its list is begun.\nUnplug the suit by the list, then %s.", code("test "+r.Suit))
	case core.AlreadyStopped:
		if r.TakeOver {
			return fmt.Sprintf("The test is over, but not the list. It is %s's run: %s takes it over.", r.Person.Name, code("over to me"))
		}
		return fmt.Sprintf("The test is over, but not the list. %s says what is left.", code("where"))
	case core.PastDefects:
		return fmt.Sprintf("The visual check is over. %s ends the run, %s puts the defect on record.", code("stop …"), code("found "+r.Suit+" …"))
	case core.AlreadyTheirs:
		return fmt.Sprintf("%s is %s's run already.", r.Run, r.Person.Name)
	case core.UnknownPerson:
		return fmt.Sprintf("Nobody here is called %s. Try %s.", quote(r.Person.Name), code("over to @…"))
	case core.NoFail:
		return fmt.Sprintf("A leak is recorded in the run that failed. Anywhere else say %s.", code("found "+r.Suit+" …"))
	case core.WhyNotSaid:
		return fmt.Sprintf("Not repeated: say why, for the record: %s.", code("again …"))
	case core.SomethingFitted:
		return fmt.Sprintf("Not taken: something was ticked as fitted or shut. Take it out, and tick it by its number. %s says what is left.", code("where"))
	case core.NotStopped:
		return fmt.Sprintf("Not taken: that answers a stop, and the run goes on. %s says what is next.", code("where"))
	case core.ListUnseen:
		return "Not ticked: the list has not reached the chat yet. Tick it once it is here."
	}
	return ""
}

// notMeasured words why a capacity is not measured.
func (s Speaker) notMeasured(r *core.Refusal) string {
	switch r.Why {
	case core.BadCapacity:
		return fmt.Sprintf("Not recorded: those numbers cannot be a measurement of a suit.\nSay the litres added, the pressure before and after, and its unit: %s", code("capacity "+r.Suit+" …"))
	case core.NotMeasurable:
		return fmt.Sprintf("The capacity is measured after a verdict, with a manometer in calibration, before the first tick.\n%s says what is next.", code("where"))
	case core.NotMetering:
		return fmt.Sprintf("No capacity is measured now. %s begins it, after a verdict.", code("capacity"))
	case core.ManometerAway:
		return fmt.Sprintf("Not now: %s. The capacity can wait: %s.", s.inUse(r), code("capacity"))
	case core.ReadingFirst:
		return "Not taken: first read, then add air. Post the reading now."
	case core.LitresFirst:
		return fmt.Sprintf("Not taken: first say the air added: %s.\n%s corrects the reading before it.", code("… L"), code("fix …"))
	case core.NotThatMuch:
		return fmt.Sprintf("Not taken: %s L is not 0.1 to 10; 1 to 5 are best. Say what was added: %s.", r.Digits, code("… L"))
	case core.TooLimp:
		about := ""
		if r.Like != "" {
			about = " to about " + r.Like
		}
		return fmt.Sprintf("Not taken: %s %s is too low for this. Top up%s and post the reading.", r.Digits, r.Unit, about)
	case core.NotSettled:
		return fmt.Sprintf("Not taken: let it settle until %s, then read again and post it.", s.clock(r.Until))
	case core.TooSlow:
		return fmt.Sprintf("Not taken: over 10 minutes went by, and the suit and the air changed. %s begins again.", code("capacity"))
	case core.NoRise:
		return fmt.Sprintf("Not taken: %s to %s %s is not a rise that this air can cause.\nRead again and post it, or begin anew: %s.\nTo correct a reading of the test edit its post.", r.Like, r.Digits, r.Unit, code("capacity"))
	case core.Overfilled:
		return fmt.Sprintf("Not taken: %s %s is above the expansion range: let air out.\nSuch a measurement is void: %s begins again.", r.Digits, r.Unit, code("capacity"))
	}
	return ""
}

// notRecorded words why nothing of a suit or the register is changed.
func (s Speaker) notRecorded(r *core.Refusal) string {
	switch r.Why {
	case core.BadMoment:
		return fmt.Sprintf("%s is in the future, or not a day or time.\nSay yesterday or year-month-day, and hours:minutes: %s.", quote(r.Digits), typed("used "+r.Suit+" …"))
	case core.NotAnOfficer:
		return "Not done: only " + orList(r.Choices) + " may do that."
	case core.NothingToRelease:
		return fmt.Sprintf("%s needs no release. %s says what it needs.", r.Suit, code("status "+r.Suit))
	case core.TestBeforeRelease:
		return fmt.Sprintf("Not released: %s is withdrawn, and must pass a test first. %s, then %s.", r.Suit, code("test "+r.Suit), code("release "+r.Suit))
	case core.NotInRegister:
		return fmt.Sprintf("The register has no %s: say %s instead of %s.", quote(r.Suit), code("add"), code("change"))
	case core.KnownAlready:
		return fmt.Sprintf("The register has %s already: say %s instead of %s.", r.Suit, code("change"), code("add"))
	case core.NoFile:
		return fmt.Sprintf("Attach a CSV file and say %s with it.", code("import"))
	case core.UnknownRun:
		return fmt.Sprintf("There is no run %s. %s lists the runs of a suit.", r.Run, code("history …"))
	case core.NoRunHere:
		if len(r.Choices) > 0 {
			return fmt.Sprintf("Not taken: say it in the thread of %s.", strings.Join(r.Choices, " or "))
		}
		return fmt.Sprintf("That belongs in a run's thread. %s opens one.", code("test …"))
	case core.WhichDefect:
		return lines("Not recorded. Which of the open defects?", defects(r.Choices),
			fmt.Sprintf("Say its number, or several, or all: %s.", code("repaired "+r.Suit+" 1: …")))
	case core.NoSuchDefect:
		about := ""
		if r.Item > 0 {
			about = fmt.Sprintf(" number %d", r.Item)
		}
		if len(r.Choices) == 0 {
			return fmt.Sprintf("Not recorded: %s has no open defect%s. Say only what was done: %s.", r.Suit, about, code("repaired "+r.Suit+" …"))
		}
		return lines(fmt.Sprintf("Not recorded: %s has no open defect%s. It has:", r.Suit, about), defects(r.Choices))
	case core.NothingFailed:
		return fmt.Sprintf("Not recorded: no failed test of %s lacks a cause. Report a defect with %s.", r.Suit, code("found "+r.Suit+" …"))
	case core.NotRetired:
		return fmt.Sprintf("%s is not retired. %s says what it needs.", r.Suit, code("status "+r.Suit))
	}
	return ""
}

// inUse says which run has a manometer, and until when at least.
func (s Speaker) inUse(r *core.Refusal) string {
	until := ""
	if !r.Until.IsZero() {
		until = " at least until " + s.clock(r.Until)
	}
	return fmt.Sprintf("%s is in %s (%s, %s)%s", r.Manometer, r.Run, r.Suit, r.Person.Name, until)
}

// orAnybody says from when anybody may take a run over: the next full minute.
func (s Speaker) orAnybody(from time.Time) string {
	if from.IsZero() {
		return ""
	}
	return " From " + from.Add(time.Minute-1).Truncate(time.Minute).In(s.Zone).Format("15:04") + " on, anybody may."
}

func (s Speaker) implausible(r *core.Refusal) string {
	fix := ""
	if r.Fix {
		fix = "fix "
	}
	if len(r.Choices) > 0 {
		return fmt.Sprintf("Not taken: %s %s does not fit here. Is it %s? Then say the unit: %s.", r.Digits, r.Unit, orList(r.Choices), code(fix+r.Digits+" …"))
	}
	if r.Fix {
		return fmt.Sprintf("Not taken: %s %s cannot be. Read again and say number and unit: %s.", r.Digits, r.Unit, code("fix …"))
	}
	return fmt.Sprintf("Not taken: %s %s cannot be. Read again and post number and unit.", r.Digits, r.Unit)
}

// defects lists open defects by the numbers that a repair names them by.
func defects(open []string) string {
	out := make([]string, len(open))
	for i, what := range open {
		out[i] = fmt.Sprintf("%d. %s", i+1, quote(what))
	}
	return lines(out...)
}

func orList(names []string) string {
	if len(names) == 0 {
		return "an officer"
	}
	return strings.Join(names, " or ")
}

// didYouMean names suits that may have been meant, in words that cannot be
// copied as a command about the wrong one.
func didYouMean(choices []string) string {
	if len(choices) == 0 {
		return fmt.Sprintf(" %s lists them.", code("status"))
	}
	return " Is it " + strings.Join(choices, " or ") + "? Then say that."
}

func first(choices []string) string {
	if len(choices) == 0 {
		return "…"
	}
	return choices[0]
}
