package core

import "time"

// Intent is what somebody wants, taken from words, a tap or an edit.
type Intent interface{ intent() }

// Intents that a run decides on.
type (
	// Open wants a run: Method and Manometer may be empty.
	Open struct{ Suit, Method, Manometer string }
	// Tick ticks items of the list on screen by number, or all of them, or with
	// neither the next one.
	Tick struct {
		Items []int
		All   bool
		ByTap bool
	}
	// Untick takes ticks back.
	Untick struct{ Items []int }
	// Bad is a defect seen at an item of the list on screen.
	Bad struct {
		Item int
		What string
	}
	// Read is a reading; NoUnit stands for the manometer's own unit. Stated is
	// the time of the hold at which it was read, if HasStated.
	Read struct {
		Digits    string
		Unit      Unit
		Stated    time.Duration
		HasStated bool
	}
	// Fix replaces the last reading, or answers the question about it.
	Fix struct {
		Digits string
		Unit   Unit
	}
	// Amend is a post edited: the reading in it now says this.
	Amend struct {
		Post string
		Read Read
	}
	// Yes answers a question about a reading.
	Yes struct{}
	// Use chooses the manometer.
	Use struct{ Manometer string }
	// Air is the air temperature at the suit in degrees Celsius, Baro the
	// barometer reading.
	Air  struct{ Celsius string }
	Baro struct {
		Digits string
		Unit   Unit
	}
	// AddAir is the litres of air added to measure the suit's capacity.
	AddAir struct{ Litres string }
	// Leak is a leak found in the hunt after a fail.
	Leak struct{ Where string }
	// Remark is a note, Stop ends the run without verdict, NothingFitted answers
	// after it that no plug and no adapter is in the suit, Repeat gives this
	// attempt up for another, HandOver gives the run to somebody else, or with Me
	// to the speaker.
	Remark        struct{ Text string }
	Stop          struct{ Why string }
	NothingFitted struct{}
	Repeat        struct{ Why string }
	HandOver      struct {
		To Person
		Me bool
	}
)

func (Open) intent()          {}
func (Tick) intent()          {}
func (Untick) intent()        {}
func (Bad) intent()           {}
func (Read) intent()          {}
func (Fix) intent()           {}
func (Amend) intent()         {}
func (Yes) intent()           {}
func (Use) intent()           {}
func (Air) intent()           {}
func (Baro) intent()          {}
func (AddAir) intent()        {}
func (Leak) intent()          {}
func (Remark) intent()        {}
func (Stop) intent()          {}
func (Repeat) intent()        {}
func (NothingFitted) intent() {}
func (HandOver) intent()      {}

// Intents about a suit outside a run; Suit is the tag as it was typed.
type (
	// NoteUsed and the others ask for the facts of their names.
	// When is as it was said: "yesterday", "2026-03-01 14:30", or nothing.
	NoteUsed struct{ Suit, When, Note string }
	// Of are the numbers of the open defects that a repair was about, as
	// File.Defects lists them; All says that it was about all of them.
	NoteRepaired struct {
		Suit, What string
		Of         []int
		All        bool
	}
	NoteCause struct{ Suit, What string }
	NoteFound struct{ Suit, What string }
	Withdraw  struct{ Suit, Why string }
	Retire    struct{ Suit, Why string }
	Reinstate struct{ Suit, Why string }
	Release   struct{ Suit string }
	// Measure is a measurement of a suit's capacity: litres of air added, the
	// pressure before and after. Without litres it begins one in the suit's run,
	// where there is one that can, or asks what is known. Without a suit it is
	// the one of the run at hand.
	Measure struct {
		Suit, Litres, From, To string
		Unit                   Unit
	}
)

func (NoteUsed) intent()     {}
func (NoteRepaired) intent() {}
func (NoteCause) intent()    {}
func (Reinstate) intent()    {}
func (NoteFound) intent()    {}
func (Withdraw) intent()     {}
func (Retire) intent()       {}
func (Release) intent()      {}
func (Measure) intent()      {}

// Questions change nothing.
type (
	// AskSuit asks whether a suit may be worn, AskFleet about all of them,
	// AskWhere what a run waits for.
	AskSuit  struct{ Suit string }
	AskFleet struct{}
	AskWhere struct{}
	// AskWhy asks what a run's verdict rests on.
	AskWhy struct{}
	// AskRecord asks for the test record of a run, zero for the one at hand.
	AskRecord struct{ Run RunID }
	// AskLogbook asks for a suit's logbook, AskShelf for the list for the wall.
	AskLogbook struct{ Suit string }
	AskShelf   struct{}
	// AskReady asks which suits can go out, of a size or at a place if Want
	// says one; AskDue what falls due within a period, the policy's if it is
	// zero; AskHistory for a suit's tests.
	AskReady   struct{ Want string }
	AskDue     struct{ Within Period }
	AskHistory struct{ Suit string }
)

func (AskSuit) intent()    {}
func (AskFleet) intent()   {}
func (AskWhere) intent()   {}
func (AskWhy) intent()     {}
func (AskRecord) intent()  {}
func (AskLogbook) intent() {}
func (AskShelf) intent()   {}
func (AskReady) intent()   {}
func (AskDue) intent()     {}
func (AskHistory) intent() {}

// Intents about the register.
type (
	// Enter adds a suit or a manometer to the register, or changes it. The
	// fields are named as the columns of a register file.
	Enter struct {
		Manometer bool
		Change    bool
		Name      string
		Fields    []Field
	}
	// ImportFiles takes attached files into the register.
	ImportFiles struct{}
)

// Field is a column of the register and what is to stand in it.
type Field struct{ Column, Value string }

func (Enter) intent()       {}
func (ImportFiles) intent() {}
