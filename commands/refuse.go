package commands

import (
	"errors"
	"fmt"
	"strings"

	"benchbell/core"
)

// Refuse words an error for the person whose words brought it. ok is false if
// it is not an error that a person can mend.
func (s Speaker) Refuse(err error, in Place) (text string, ok bool) {
	if m, is := errors.AsType[*Misunderstood](err); is {
		say := "Not understood"
		if m.Say != "" {
			say = strings.ToUpper(m.Say[:1]) + m.Say[1:]
		}
		if !strings.HasSuffix(say, "?") {
			say += "."
		}
		if strings.HasPrefix(m.Try, "help") {
			return fmt.Sprintf("%s %s says what can be said.", say, code("help")), true
		}
		return fmt.Sprintf("%s Try %s, or %s.", say, code(m.Try), code("help")), true
	}
	if r, is := errors.AsType[*core.Refusal](err); is {
		return s.refusal(r, in), true
	}
	return "", false
}

func (s Speaker) refusal(r *core.Refusal, in Place) string {
	switch r.Why {
	case core.UnknownSuit:
		return fmt.Sprintf("No suit %s here.%s", quote(r.Suit), didYouMean(r.Choices, "status"))
	case core.UnknownMethod:
		return fmt.Sprintf("No method %s. There are %s: %s.", quote(r.Method), strings.Join(r.Choices, ", "), code("test "+r.Suit+" "+first(r.Choices)))
	case core.UnknownManometer:
		return fmt.Sprintf("No manometer %s. There are %s: %s.", quote(r.Manometer), strings.Join(r.Choices, ", "), code("with "+first(r.Choices)))
	case core.ManometerUnsaid:
		return fmt.Sprintf("Which manometer? %s: say %s.", strings.Join(r.Choices, ", "), code(fmt.Sprintf("test %s %s with %s", r.Suit, r.Method, first(r.Choices))))
	case core.ManometerBusy:
		until := ""
		if !r.Until.IsZero() {
			until = " until " + s.clock(r.Until) + " at least"
		}
		return fmt.Sprintf("Not taken: %s is in %s (%s, %s)%s. Use %s, or wait.", r.Manometer, r.Run, r.Suit, r.Person.Name, until, code("with M-…"))
	case core.ManometerFixed:
		return fmt.Sprintf("A reading was taken with %s: it stays to the end of this test. %s ends it; then open another run.", r.Manometer, code("stop why"))
	case core.SuitRetired:
		return r.Suit + " is retired: it is never tested again."
	case core.SuitLifeOver:
		return fmt.Sprintf("%s is past its end of life: no test makes it fit. %s takes it off the list.", r.Suit, code("retire "+r.Suit+" end of life"))
	case core.SuitOnBench:
		return fmt.Sprintf("%s is on the bench already: %s, %s. Go on in its thread.", r.Suit, r.Run, r.Person.Name)
	case core.NoMakerPressures:
		return fmt.Sprintf("%s needs the maker's pressures A and B, and the register has none for %s. The keeper imports them; %s takes another method.", r.Method, r.Suit, code("test "+r.Suit+" en943"))
	case core.MakerPressuresLow:
		return fmt.Sprintf("The maker's A and B of %s in the register do not go with %s: A at least 3 in, B at least 2 in and below A. The keeper must correct them.", r.Suit, r.Method)
	case core.NotTheTester:
		return fmt.Sprintf("Not taken: this is %s's run.\nThey can say %s.", r.Person.Name, code("over to @"+first(r.Choices)))
	case core.NoList:
		return fmt.Sprintf("Nothing to tick now. %s says what is waited for.", code("where"))
	case core.NoSuchItem:
		return fmt.Sprintf("The list has no %d. %s ticks what is on it.", r.Item, code("ok 1"))
	case core.NotPrepared:
		return fmt.Sprintf("Not taken: the list comes first.\n%s ticks number 3, %s all that is left.", code("ok 3"), code("ok all"))
	case core.NotInHold:
		return fmt.Sprintf("Not taken: a time goes with a hold, and none runs. Post the reading alone: %s.", code(like(r)))
	case core.NotYet:
		return fmt.Sprintf("Not taken: that moment is not in this hold so far. Post the reading alone: %s.", code(like(r)))
	case core.Implausible:
		return s.implausible(r)
	case core.NothingToFix:
		return fmt.Sprintf("There is no reading to correct. Post one: %s.", code(like(r)))
	case core.NothingAsked:
		return fmt.Sprintf("Nothing was asked. %s says what is waited for.", code("where"))
	case core.VerdictIn:
		return fmt.Sprintf("Not taken: the verdict is in. %s corrects the last reading.", code("fix "+r.Digits))
	case core.RunClosed:
		return fmt.Sprintf("%s is closed. %s begins a new run.", r.Run, code("test "+r.Suit))
	case core.ClosedForGood:
		return fmt.Sprintf("Not changed: %s is closed and its verdict cannot get better. %s begins a new run.", r.Run, code("test "+r.Suit))
	case core.CannotRepeat:
		return fmt.Sprintf("Only a test without verdict is repeated, before restoring begins. Restore the suit, then %s.", code("test "+r.Suit))
	case core.AlreadyStopped:
		return fmt.Sprintf("The test is over; the restore list is not. %s ticks what is left.", code("ok all"))
	case core.PastDefects:
		return fmt.Sprintf("The visual check is over. %s ends the run, %s puts the defect on record.", code("stop why"), code("found "+r.Suit+" what"))
	case core.AlreadyTheirs:
		return fmt.Sprintf("%s is %s's run already.", r.Run, r.Person.Name)
	case core.UnknownPerson:
		return fmt.Sprintf("Nobody here is called %s. Try %s.", quote(r.Person.Name), code("over to @name"))
	case core.NoFail:
		return fmt.Sprintf("A leak is kept in the run that failed. Elsewhere: %s.", code("found "+r.Suit+" what"))
	case core.BadCapacity:
		return fmt.Sprintf("Not kept: those numbers are no measurement of a suit.\nAdd air, read before and after: %s", code("capacity "+r.Suit+" 2 L 15.0 16.2 mbar"))
	case core.NotMeasurable:
		return fmt.Sprintf("The capacity is measured after a verdict, with a manometer in calibration, before the first tick.\n%s says what is waited for.", code("where"))
	case core.NotMetering:
		return fmt.Sprintf("No capacity is measured now. %s begins it, after a verdict.", code("capacity"))
	case core.ManometerAway:
		until := ""
		if !r.Until.IsZero() {
			until = " until " + s.clock(r.Until) + " at least"
		}
		return fmt.Sprintf("Not now: %s is in %s (%s, %s)%s. The capacity can wait: %s.", r.Manometer, r.Run, r.Suit, r.Person.Name, until, code("capacity"))
	case core.ReadingFirst:
		return fmt.Sprintf("Not taken: first read, then add air. Post the reading now: %s.", code(like(r)))
	case core.LitresFirst:
		return fmt.Sprintf("Not taken: first say the air added, like %s.\n%s corrects the reading before it.", code("2 L"), code("fix "+r.Digits))
	case core.NotThatMuch:
		return fmt.Sprintf("Not taken: %s L is not 0.1 to 10; 1 to 5 are best. Say what was added, like %s.", r.Digits, code("2 L"))
	case core.TooLimp:
		return fmt.Sprintf("Not taken: %s %s is too low for this. Top up to about %s and post the reading.", r.Digits, r.Unit, like(r))
	case core.NotSettled:
		return fmt.Sprintf("Not taken: let it settle until %s, then read again and post it.", s.clock(r.Until))
	case core.TooSlow:
		return fmt.Sprintf("Not taken: over 10 minutes went by, and the suit and the air changed. %s begins anew.", code("capacity"))
	case core.NoRise:
		return fmt.Sprintf("Not taken: from %s to %s %s is no rise of a suit with that air.\nRead again and post it, or begin anew: %s.\nTo correct a reading of the test edit its post.", r.Like, r.Digits, r.Unit, code("capacity"))
	case core.Overfilled:
		return fmt.Sprintf("Not taken: %s %s is above the expansion range: let air out.\nSuch a measurement is void: %s begins anew.", r.Digits, r.Unit, code("capacity"))
	case core.BadMoment:
		return fmt.Sprintf("%s is no moment, or still to come. Say %s, %s or %s.", quote(r.Digits), code("used "+r.Suit+" yesterday"), code("… 14:30"), code("… 2026-03-01 14:30"))
	case core.NotAnOfficer:
		return "Not done: that takes " + orList(r.Choices) + "."
	case core.NothingToRelease:
		return fmt.Sprintf("%s waits for no release. %s says what it waits for.", r.Suit, code(r.Suit))
	case core.TestBeforeRelease:
		return fmt.Sprintf("Not released: %s is withdrawn, and must pass a test first. %s, then %s.", r.Suit, code("test "+r.Suit), code("release "+r.Suit))
	case core.NotInRegister:
		return fmt.Sprintf("The register has no %s: say %s instead of %s.", quote(r.Suit), code("add"), code("change"))
	case core.KnownAlready:
		return fmt.Sprintf("The register has %s already: say %s instead of %s.", r.Suit, code("change"), code("add"))
	case core.NoFile:
		return fmt.Sprintf("Attach a CSV file and say %s with it.", code("import"))
	case core.UnknownRun:
		return fmt.Sprintf("There is no run %s. %s lists a suit's.", r.Run, code("history HP-07"))
	case core.NoRunHere:
		if len(r.Choices) > 0 {
			return fmt.Sprintf("Not taken: say it in the thread of %s.", strings.Join(r.Choices, " or "))
		}
		return fmt.Sprintf("That belongs in a run's thread. %s opens one.", code("test HP-07"))
	}
	return string(r.Why) + "."
}

func (s Speaker) implausible(r *core.Refusal) string {
	fix := ""
	if r.Fix {
		fix = "fix "
	}
	if len(r.Choices) > 0 {
		return fmt.Sprintf("Not taken: %s %s does not fit here. Say the unit: %s.", r.Digits, r.Unit, code(fix+r.Digits+" "+r.Choices[0]))
	}
	return fmt.Sprintf("Not taken: %s %s cannot be. Read again and post number and unit: %s.", r.Digits, r.Unit, code(fix+like(r)))
}

// like is a reading that would fit, for an example.
func like(r *core.Refusal) string {
	if r.Like == "" {
		return "16.5"
	}
	return r.Like
}

func orList(names []string) string {
	if len(names) == 0 {
		return "an officer"
	}
	return strings.Join(names, " or ")
}

func didYouMean(choices []string, verb string) string {
	if len(choices) == 0 {
		return fmt.Sprintf(" %s lists them.", code("status"))
	}
	tags := make([]string, len(choices))
	for i, c := range choices {
		tags[i] = code(verb + " " + c)
	}
	return " " + strings.Join(tags, " or ") + "?"
}

func first(choices []string) string {
	if len(choices) == 0 {
		return "…"
	}
	return choices[0]
}
