package core

import (
	"math/big"
	"slices"
	"time"
)

// Outcome is what a test comes to.
type Outcome string

// The outcomes of a test. NoVerdict means that the test must be repeated.
const (
	Pass      Outcome = "pass"
	Fail      Outcome = "fail"
	NoVerdict Outcome = "no verdict"
)

// Reason says why a verdict is what it is.
type Reason string

// The reasons of a pass or a fail.
const (
	OnTime      Reason = "read at the bell"
	LateWithin  Reason = "read late and still within the limit"
	EarlyBeyond Reason = "beyond the limit before the bell"
	Bracketed   Reason = "readings before and after the bell agree"
	DefectByEye Reason = "defect seen"
	// BeyondAtBell is a late reading from which it is certain that the pressure
	// was beyond the limit at the bell already.
	BeyondAtBell Reason = "beyond the limit at the bell already"
)

// The reasons of no verdict.
const (
	LateBeyond      Reason = "read too late to tell"
	TooLate         Reason = "read after twice the hold"
	Rise            Reason = "the pressure rose"
	Jump            Reason = "a jump no leak makes"
	StartOutside    Reason = "the start is out of tolerance"
	ExpansionVoided Reason = "the expansion was out of tolerance"
	ManometerStale  Reason = "the manometer's calibration has lapsed"
	CutShort        Reason = "the hold was cut short"
	AirHides        Reason = "warmer air or a falling barometer may hide the drop"
	GuardBand       Reason = "within the limit by less than the uncertainty"
)

// Rules is the version of the rules by which verdicts are given and suits cleared. In
// version 2 a reading before the bell never passes, no late reading is decided by a
// fit, a floor is judged from the nominal test pressure, and only a suit's own method
// clears it; after a fail only once the suit was repaired or the cause was found
// outside it.
const Rules = 2

// Verdict is the outcome of a run and what it rests on.
type Verdict struct {
	Rules   int // version of the rules it was given by, 0 for the first
	Outcome Outcome
	Reason  Reason
	Method  string // key
	Start   Reading
	End     Reading // zero for a defect seen or a stop
	Drop    Pressure
	Allowed Pressure // greatest drop that passes from this start
	Bell    time.Time
	// For Bracketed and LateBeyond, between which two the pressure at the bell
	// was with 95 %, by the readings around it; zero if they do not say.
	AtBellLow  Pressure
	AtBellHigh Pressure
	Defect     string

	// What stands behind a verdict from two readings: the decision rule, the
	// expanded uncertainty (k = 2) of the margin to the limit, the guard band if
	// the rule is Guarded, the probability that the true margin is within the
	// limit, and how much the air's temperature and the barometer can have raised
	// the ending pressure at most, zero if they were not read. A change that
	// lowered it shows as AirLowered.
	Rule       Acceptance
	Expanded   Pressure
	Guard      Pressure
	Conforms   float64
	AirRaised  Pressure
	AirLowered Pressure
}

// GraceAfter is how long after the bell a reading may be posted and still count
// as taken at the bell, when the tester looked. The rule is ours.
const GraceAfter = 60 * time.Second

// lastMoment returns until when a late reading within the limit passes: a hold
// of twice its length. The rule is ours.
func (m Method) lastMoment(start time.Time) time.Time { return start.Add(2 * m.Hold) }

// JudgePaper returns the outcome of a test brought in from paper, of which only start,
// end and duration are known. The same rules hold, except those about readings in
// between and about the manometer, which the caller checks.
func (m Method) JudgePaper(start, end Written, took time.Duration) (Outcome, Reason) {
	m = m.judging()
	p0, p1 := start.Pressure(), end.Pressure()
	within := m.Limit.Within(p0, p1)
	switch {
	case !m.Test.Holds(p0) || end.IsZero():
		return NoVerdict, StartOutside
	case p1 > p0:
		return NoVerdict, Rise
	case took < m.Hold && within:
		return NoVerdict, CutShort
	case took < m.Hold:
		return Fail, EarlyBeyond
	case took > 2*m.Hold && within:
		return NoVerdict, TooLate
	case took > m.Hold+GraceAfter && within:
		return Pass, LateWithin
	case within:
		return Pass, OnTime
	case took <= m.Hold+GraceAfter:
		return Fail, OnTime
	case m.Limit.certainlyBeyond(p0, chord(0, p0, took, p1, m.Hold), max(start.step(), end.step())):
		return Fail, BeyondAtBell
	}
	return NoVerdict, LateBeyond
}

// judging returns the method as it is used to judge. The nominal pressure of a floor is
// its test pressure if the method is from before floors had one.
func (m Method) judging() Method {
	if !m.Limit.Floor.IsZero() && m.Limit.Nominal.IsZero() {
		m.Limit.Nominal = m.Test.Target
	}
	return m
}

// AtBell reports whether a reading posted at t counts as taken at the end of
// a hold that began at start.
func (m Method) AtBell(start, t time.Time) bool {
	bell := start.Add(m.Hold)
	return !t.Before(bell) && !t.After(bell.Add(GraceAfter))
}

// held is a hold to be judged: the start reading, the readings taken since in
// the order of their moments, and what they were read off.
type held struct {
	method   Method
	step     Pressure // what the manometer resolves
	lapsed   bool     // its calibration
	expanded bool     // the expansion before it was as it should be
	start    Reading
	since    []Reading
}

// judge returns the verdict of a hold. ok is false while the readings decide nothing.
// The first reading beyond the limit before the bell decides, even if a reading of a
// later moment was posted earlier. If there is none, only the last reading can decide.
func (h held) judge() (v Verdict, ok bool) {
	if len(h.since) == 0 {
		return Verdict{}, false
	}
	m, start, since := h.method, h.start, h.since
	end := since[len(since)-1]
	bell := start.Taken.Add(m.Hold)
	if i := slices.IndexFunc(since, func(r Reading) bool {
		return r.Taken.Before(bell) && !m.Limit.Within(start.Pressure(), r.Pressure())
	}); i >= 0 {
		end = since[i]
	}
	p0, p1 := start.Pressure(), end.Pressure()
	v = Verdict{
		Rules: Rules, Method: m.Key, Start: start, End: end, Bell: bell,
		Drop: p0 - p1, Allowed: m.Limit.GreatestDrop(p0),
	}
	within := m.Limit.Within(p0, p1)
	early := end.Taken.Before(bell)
	if early && within && !h.rose() && !h.jumped() {
		return Verdict{}, false
	}
	v.Outcome = NoVerdict
	switch {
	case !m.Test.Holds(p0):
		v.Reason = StartOutside
	case h.lapsed:
		v.Reason = ManometerStale
	case h.rose():
		v.Reason = Rise
	case h.jumped():
		v.Reason = Jump
	case early:
		v.Outcome, v.Reason = Fail, EarlyBeyond
	case end.Taken.Equal(bell) && within:
		v.Outcome, v.Reason = Pass, OnTime
	case end.Taken.Equal(bell):
		v.Outcome, v.Reason = Fail, OnTime
	case within && end.Taken.After(m.lastMoment(start.Taken)):
		v.Reason = TooLate
	case within:
		v.Outcome, v.Reason = Pass, LateWithin
	case h.beyondAtBell(bell):
		v.Outcome, v.Reason = Fail, BeyondAtBell
	default:
		v.Reason = LateBeyond
	}
	if v.Outcome == Pass && !h.expanded {
		v.Outcome, v.Reason = NoVerdict, ExpansionVoided
	}
	return v, true
}

// rose reports whether a reading is higher than one before it by more than one
// step, of the manometer or of the last digit written, whichever is coarser: two
// roundings, of half a step each, make no more.
func (h held) rose() bool {
	low := h.start
	for _, r := range h.since {
		if r.Pressure()-low.Pressure() > max(h.step, min(step(r), step(low))) {
			return true
		}
		if r.Pressure() < low.Pressure() {
			low = r
		}
	}
	return false
}

// step is one count of a reading's last written digit.
func step(r Reading) Pressure { return r.Written.step() }

// rounding returns how far two readings together may be off by being rounded
// to a step of the manometer, or to the last digit that was written.
func (h held) rounding(a, b Reading) Pressure { return max(h.step, step(a), step(b)) }

// jumped reports whether the pressure fell in a way that no leak makes it
// fall. Through a hole or a pore, the pressure falls ever more slowly: a fall
// that is much steeper than the one before it means that something opened, or
// that a number was misread. Much is three times as steep as the readings
// allow it to have been, and then more than a tenth of the start besides,
// which leaves room for air that cools. Without a reading in between, a fall
// to under a quarter of the start is one: a suit that leaks so could not have
// been brought to the test pressure. The numbers are ours.
func (h held) jumped() bool {
	if len(h.since) == 1 {
		return 4*h.since[0].Pressure() < h.start.Pressure()
	}
	var steepest *big.Rat // nanopascals per nanosecond
	last := h.start
	for _, r := range h.since {
		dt := r.Taken.Sub(last.Taken)
		if dt <= 0 {
			continue
		}
		fall, off := last.Pressure()-r.Pressure(), h.rounding(last, r)
		if steepest != nil {
			likely := new(big.Rat).Mul(steepest, big.NewRat(3*int64(dt), 1))
			likely.Add(likely, big.NewRat(int64(h.start.Pressure()), 10))
			if new(big.Rat).SetInt64(int64(fall-off)).Cmp(likely) > 0 {
				return true
			}
		}
		if rate := big.NewRat(int64(max(0, fall+off)), int64(dt)); steepest == nil || rate.Cmp(steepest) > 0 {
			steepest = rate
		}
		last = r
	}
	return false
}

// beyondAtBell reports whether a late reading makes it certain that the pressure
// was beyond the limit at the bell. The pressure of a leaking suit falls ever
// more slowly, so that the straight line from the last reading before the bell
// to the late one is nowhere below it. Anybody can redo that on paper.
func (h held) beyondAtBell(bell time.Time) bool {
	before, late := h.start, h.since[len(h.since)-1]
	for _, r := range h.since {
		if r.Taken.Before(bell) {
			before = r
		}
	}
	from := before.Taken
	at := chord(0, before.Pressure(), late.Taken.Sub(from), late.Pressure(), bell.Sub(from))
	return h.method.Limit.certainlyBeyond(h.start.Pressure(), at, h.rounding(before, late))
}

// chord returns the exact pressure at a moment on the straight line between two
// readings, in nanopascals. The second must be the later one.
func chord(t0 time.Duration, p0 Pressure, t1 time.Duration, p1 Pressure, t time.Duration) *big.Rat {
	at := big.NewRat(int64(t-t0), int64(t1-t0))
	at.Mul(at, new(big.Rat).SetInt64(int64(p1-p0)))
	return at.Add(at, new(big.Rat).SetInt64(int64(p0)))
}

// certainlyBeyond reports whether a pressure, computed from two readings rounded to a
// step, is beyond the limit even if both readings were half a step higher.
func (l Limit) certainlyBeyond(start Pressure, atMost *big.Rat, step Pressure) bool {
	highest := new(big.Rat).Add(atMost, big.NewRat(int64(step), 2))
	return !l.within(start, highest)
}
