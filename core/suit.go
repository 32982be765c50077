package core

import "time"

// Suit is one garment, as the register knows it.
type Suit struct {
	Tag       string // "HP-07"
	Serial    string
	Maker     string // its brand name
	Model     string // maker's type
	Material  string // that it is made of
	Size      string
	Place     string
	Made      Date
	Purchased Date
	InService Date
	EndOfLife Date // zero if none is set
	Fittings  Fittings
	Method    string // key of the default method
	Interval  Period // zero leaves it to the policy
	MakerA    Written
	MakerB    Written
	Remarks   string
	Volume    Volume // free volume, inflated
	// Capacity is as last measured; it is no column of the register, and stays
	// when the register says something new.
	Capacity Capacity
}

// Fittings is what the suit has that a test must close, plug or put back.
type Fittings struct {
	GloveRings       bool
	ExhaustValves    int
	VentilatingValve bool
	PassThrough      bool
	Boots            Boots
}

// Boots says how the feet are closed.
type Boots string

// The ways in which the feet are closed.
const (
	BootsFixed Boots = "fixed" // boots joined to the suit
	Socks      Boots = "socks" // socks of the suit's material, boots over them
)

// Plugs is how many exhaust valves are plugged for a test: all but the one
// through which the suit is inflated.
func (f Fittings) Plugs() int { return max(0, f.ExhaustValves-1) }

// Manometer is a pressure gauge of the bench.
type Manometer struct {
	ID              string // "M-1"
	Maker           string // its brand name, and its type
	Serial          string
	Unit            Unit
	Resolution      Written // smallest step it shows
	Permissible     Written // largest permissible error, zero if not known
	CalibratedOn    Date    // zero if not known
	Interval        Period  // from one calibration to the next, zero if not known
	CalibratedUntil Date    // last day of the calibration, zero if never calibrated
}

// Lapsed reports whether the calibration has run out on day d.
func (m Manometer) Lapsed(d Date) bool { return m.CalibratedUntil.Before(d) }

// Policy holds what a station may choose for itself. Nothing in it can loosen a
// published limit.
type Policy struct {
	Zone       *time.Location // the station's time zone, never nil
	WarnBefore time.Duration  // early warning before the end of a hold
	Release    bool           // an officer must release a tested suit
	DueSoon    Period
	Interval   Period // from a pass to the next periodic test
	// ChaseUsed is how long after its use a suit may stay untested before the
	// crew is told; zero never tells.
	ChaseUsed time.Duration
	// TakeOver is how long the tester of a run may be silent in it before anybody
	// may stop it or take it over; zero means never by silence.
	TakeOver time.Duration
	// Acceptance is the decision rule; AskAir asks for the temperature at the
	// suit at both ends of the hold.
	Acceptance Acceptance
	AskAir     bool
}

// DefaultPolicy returns the policy of a station that configured nothing.
func DefaultPolicy() Policy {
	return Policy{
		Zone:       time.UTC,
		WarnBefore: 30 * time.Second,
		DueSoon:    Period{Days: 30},
		Interval:   Period{Months: 12},
		ChaseUsed:  24 * time.Hour,
		TakeOver:   2 * time.Hour,
		Acceptance: Simple,
	}
}
