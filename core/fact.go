package core

import (
	"fmt"
	"strconv"
	"strings"
	"time"
)

// RunID numbers the runs of a station from 1.
type RunID int

// String returns the number as it is spoken of: "R-0042".
func (id RunID) String() string { return fmt.Sprintf("R-%04d", int(id)) }

// ParseRunID reads the number of a run as it is spoken of: "R-0042", "r42".
func ParseRunID(s string) (RunID, bool) {
	digits := strings.TrimLeft(s, "rR-")
	n, err := strconv.Atoi(digits)
	if err != nil || n < 1 || len(s)-len(digits) > 2 || digits == s {
		return 0, false
	}
	return RunID(n), true
}

// Entry is one line of the journal: something that happened.
type Entry struct {
	Seq   uint64 // place in the journal from 1, given by the store
	At    time.Time
	By    Person
	Event string // id of the event that brought it
	Suit  string // tag of the suit it is about, if any
	Run   RunID  // the run it belongs to, if any
	Fact  Fact
}

// Fact is what an Entry says. Facts are only ever added to the journal.
type Fact interface{ fact() }

// Facts of the register.
type (
	// SuitRegistered enters a suit, or replaces what the register says of it.
	SuitRegistered struct{ Suit Suit }
	// ManometerRegistered does the same for a manometer.
	ManometerRegistered struct{ Manometer Manometer }
)

// Facts of a suit's life outside a run.
type (
	// Used says that somebody wore it.
	Used struct {
		When time.Time
		Note string
	}
	// Repaired says that it was worked on. Of has the numbers, from 1, of the
	// open defects that the work was about, as File.Defects lists them; none
	// means all of them.
	Repaired struct {
		What string
		Of   []int
	}
	// CauseStated says what outside the suit made it fail: a hose, a fitting,
	// the air.
	CauseStated struct{ What string }
	// Found says that a defect was seen.
	Found struct{ What string }
	// Withdrawn takes it out of service for now.
	Withdrawn struct{ Why string }
	// Retired takes it out of service for good.
	Retired struct{ Why string }
	// Reinstated is an officer's word that a retired suit is in use again.
	Reinstated struct{ Why string }
	// CapacityMeasured is a measurement of how much air it takes, made in a run or
	// brought in from elsewhere.
	CapacityMeasured struct{ Capacity Capacity }
	// Released is an officer's word that a tested suit may be worn.
	Released struct{}
	// PaperTest is a test from before the journal began, brought in from
	// paper. The entry's moment is noon at the station on its day.
	PaperTest struct {
		Day       Date
		Method    string // key
		Manometer string // id
		Start     Written
		End       Written
		Hold      time.Duration
		Tester    string
		Outcome   Outcome
		Reason    Reason
		Remedy    string // what the paper says was done after it; a fail without a remedy stays a fail
		Rules     int    // version of the rules it was judged by, see Rules
	}
)

// Facts of a run.
type (
	// Opened begins a run. It carries all that the run is judged by, so that a
	// later change of the register or of a method changes no past run.
	Opened struct {
		Suit      Suit
		Method    Method
		Manometer Manometer
		Prepare   []Item
		Restore   []Item
	}
	// Ticked ticks items of the list on screen (numbers from 1), Unticked takes the
	// ticks back. ByTap tells taps from words.
	Ticked struct {
		Items []int
		ByTap bool
	}
	Unticked struct{ Items []int }
	// DefectSeen is a defect seen at an item of the list on screen.
	DefectSeen struct {
		Item int
		What string
	}
	// Taken is a reading taken. Post is the id of the post that it stands in.
	Taken struct{ Reading Reading }
	// Questioned is a reading not taken but asked about: its number would fit
	// in the unit Perhaps.
	Questioned struct {
		Reading Reading
		Perhaps Unit
	}
	// Corrected replaces the value of reading N; the moment stays.
	Corrected struct {
		N       int
		Written Written
	}
	// ExpansionStarted starts the clock of the expansion with reading N.
	// ExpansionVoid stops it, since the pressure was not held.
	ExpansionStarted struct{ N int }
	ExpansionVoid    struct{}
	// HoldStarted is the hold begun by reading N, the start reading; HoldVoid
	// is a hold that turned out to have begun outside tolerance. HoldResumed
	// is a verdict taken back, since a correction left the hold undecided.
	HoldStarted struct{ N int }
	HoldVoid    struct{}
	HoldResumed struct{}
	// Rung is a bell rung. Due is when it should have been; Quiet is one that
	// came too late to be of use, next to a louder one.
	Rung struct {
		Bell  Bell
		Due   time.Time
		Quiet bool
	}
	// Judged is the verdict; a later one replaces an earlier one.
	Judged struct{ Verdict Verdict }
	// Stopped ends a run without a verdict.
	Stopped struct{ Why string }
	// Again gives the present attempt up and begins another: from the let-down if
	// it was in its hold, from the expansion if not. Why is the reason given.
	Again struct{ Why string }
	// NoneFitted is the tester's word, in a run that was ended before anything
	// was ticked as fitted or shut, that nothing was.
	NoneFitted struct{}
	// HandedOver gives the run to another tester. Why says by what right, if it
	// was not the tester who gave it.
	HandedOver struct {
		To  Person
		Why Takeover
	}
	// ManometerChosen is a manometer taken before the first reading.
	ManometerChosen struct{ Manometer Manometer }
	// AirNoted and BaroNoted are conditions at the suit.
	AirNoted struct {
		Celsius string // digits as written
	}
	BaroNoted struct{ Written Written }
	// MeteringBegun begins to measure the suit's capacity, or begins again.
	// MeteringRead is a reading of it (N is 1 before the air is added, 2 after),
	// AirAdded how much air was added (a later one replaces it), MeteringCorrected
	// another value of reading N. CapacityMeasured completes it; a later one
	// replaces that. MeteringLeft ends it without a result: somebody went on with
	// something else, or the suit was overfilled, to TooHigh.
	MeteringBegun     struct{}
	MeteringRead      struct{ Reading Reading }
	AirAdded          struct{ Litres string }
	MeteringCorrected struct {
		N       int
		Written Written
	}
	MeteringLeft struct{ TooHigh Written }
	// LeakFound is a leak found in the hunt after a fail.
	LeakFound struct{ Where string }
	// Noted is a remark. Recalled is true for a reading that was stated too long
	// after its moment to be taken.
	Noted struct {
		Text     string
		Recalled bool
	}
	// PhotoPosted is a file posted that may be an image: File is the chat
	// server's id of it, Size its bytes as far as they are known, Caption what
	// was said with it. What its content is comes later: PhotoKept has its
	// SHA-256, and PhotoLost says why there never will be one.
	PhotoPosted struct {
		File    string
		Name    string
		Size    int64
		Caption string
		With    Link
	}
	PhotoKept struct {
		File string
		Type string
		Sum  Sum
	}
	PhotoLost struct {
		File string
		Why  Loss
	}
	// Closed ends the run: the suit is as it was, nothing is left in it.
	Closed struct{}
)

func (SuitRegistered) fact()      {}
func (ManometerRegistered) fact() {}
func (Used) fact()                {}
func (Repaired) fact()            {}
func (CauseStated) fact()         {}
func (Reinstated) fact()          {}
func (NoneFitted) fact()          {}
func (Found) fact()               {}
func (Withdrawn) fact()           {}
func (Retired) fact()             {}
func (CapacityMeasured) fact()    {}
func (Released) fact()            {}
func (PaperTest) fact()           {}
func (Opened) fact()              {}
func (Ticked) fact()              {}
func (Unticked) fact()            {}
func (DefectSeen) fact()          {}
func (Taken) fact()               {}
func (Questioned) fact()          {}
func (Corrected) fact()           {}
func (ExpansionStarted) fact()    {}
func (ExpansionVoid) fact()       {}
func (HoldStarted) fact()         {}
func (HoldVoid) fact()            {}
func (HoldResumed) fact()         {}
func (Rung) fact()                {}
func (Judged) fact()              {}
func (Stopped) fact()             {}
func (Again) fact()               {}
func (HandedOver) fact()          {}
func (ManometerChosen) fact()     {}
func (AirNoted) fact()            {}
func (BaroNoted) fact()           {}
func (MeteringBegun) fact()       {}
func (MeteringRead) fact()        {}
func (AirAdded) fact()            {}
func (MeteringCorrected) fact()   {}
func (MeteringLeft) fact()        {}
func (LeakFound) fact()           {}
func (Noted) fact()               {}
func (PhotoPosted) fact()         {}
func (PhotoKept) fact()           {}
func (PhotoLost) fact()           {}
func (Closed) fact()              {}

// Reading is a pressure somebody read off the manometer.
type Reading struct {
	N         int // number within the run, from 1
	Written   Written
	Posted    time.Time // when the post was made
	Taken     time.Time // when it counts as true
	Stated    bool      // the tester stated the moment
	By        Person
	Post      string // id of the post
	Manometer string
	Was       []Written // what it was before it was corrected, oldest first
}

// Pressure returns the value.
func (r Reading) Pressure() Pressure { return r.Written.Pressure() }
