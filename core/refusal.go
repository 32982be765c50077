package core

import (
	"fmt"
	"time"
)

// Why names a reason to refuse something.
type Why string

// The reasons to refuse.
const (
	UnknownSuit       Why = "no such suit"
	UnknownMethod     Why = "no such method"
	UnknownManometer  Why = "no such manometer"
	ManometerUnsaid   Why = "which manometer is not said"
	ManometerBusy     Why = "the manometer is in another run"
	ManometerFixed    Why = "a reading was taken with another manometer"
	SuitRetired       Why = "the suit is retired"
	SuitLifeOver      Why = "the suit is past its end of life"
	SuitOnBench       Why = "a run is open on the suit"
	NoMakerPressures  Why = "the register lacks the maker's pressures"
	MakerPressuresLow Why = "the maker's pressures are below the method's"
	NotTheTester      Why = "somebody else is the tester"
	NotTheirRun       Why = "it takes the tester or an officer"
	NoList            Why = "there is no list on screen"
	NoSuchItem        Why = "the list has no such number"
	NotPrepared       Why = "the prepare list is not complete"
	NotInHold         Why = "no hold is running"
	NotYet            Why = "that moment has not come"
	Implausible       Why = "no manometer shows that here"
	NothingToFix      Why = "there is no reading to correct"
	NothingAsked      Why = "nothing was asked"
	VerdictIn         Why = "the verdict is in"
	RunClosed         Why = "the run is closed"
	ClosedForGood     Why = "a closed run cannot be made better"
	CannotRepeat      Why = "only no verdict can be repeated"
	AlreadyStopped    Why = "the run was ended already"
	PastDefects       Why = "the visual check is over"
	AlreadyTheirs     Why = "the run is theirs already"
	UnknownPerson     Why = "nobody has that name"
	NoFail            Why = "there was no fail whose leak could be found"
	BadCapacity       Why = "those numbers are no measurement of a suit"
	NotMeasurable     Why = "the capacity cannot be measured now"
	NotMetering       Why = "no capacity is being measured"
	ManometerAway     Why = "the manometer is with another run"
	ReadingFirst      Why = "the reading before comes first"
	LitresFirst       Why = "the litres come first"
	NotThatMuch       Why = "that is no volume to be added"
	TooLimp           Why = "the suit is not filled enough"
	NotSettled        Why = "the suit has not settled yet"
	TooSlow           Why = "too much time went by"
	NoRise            Why = "the pressure did not rise as in a suit"
	Overfilled        Why = "the suit was filled to more than it may be"
	BadMoment         Why = "that moment is none, or still to come"
	NotAnOfficer      Why = "that takes an officer"
	NothingToRelease  Why = "nothing waits for a release"
	TestBeforeRelease Why = "a withdrawn suit is tested before it is released"
	NotInRegister     Why = "not in the register yet"
	KnownAlready      Why = "the register has it already"
	NoFile            Why = "no file is attached"
	UnknownRun        Why = "no such run"
	NoRunHere         Why = "there is no run in this place"
	TooLateToFix      Why = "a correction for the better came too late"
	MomentKept        Why = "a correction keeps the moment of the reading"
	AttemptOver       Why = "that reading is of an attempt that is over"
	WhyNotSaid        Why = "it takes a reason"
	SomethingFitted   Why = "something was ticked as fitted or shut"
	NotStopped        Why = "the run was not ended yet"
	WhichDefect       Why = "which of the open defects is not said"
	NoSuchDefect      Why = "the suit has no open defect of that number"
	NothingFailed     Why = "no test of the suit failed that has no cause yet"
	NotRetired        Why = "the suit is not retired"
	AnswerTooLate     Why = "the question was answered too late"
	NoSuchAir         Why = "no bench has such air"
	ListUnseen        Why = "the list has not reached the chat yet"
)

// Refusal is a decision against what somebody wants; nothing changed. The
// fields say about what, as far as the reason needs it.
type Refusal struct {
	Why       Why
	Suit      string
	Run       RunID
	Method    string
	Manometer string
	Person    Person
	Item      int
	Digits    string
	Unit      Unit
	Until     time.Time
	Choices   []string
	Like      string // a reading that would fit, for an example
	Fix       bool   // it was to correct one
	TakeOver  bool   // the person may take the run over
	Opening   string // the suit of a run that was to be opened
}

func (r *Refusal) Error() string {
	about := ""
	for _, s := range []string{r.Suit, r.Method, r.Manometer, r.Person.Name, r.Digits} {
		if s != "" {
			about += " " + s
		}
	}
	if r.Run != 0 {
		about += " " + r.Run.String()
	}
	return fmt.Sprintf("%s:%s", r.Why, about)
}
