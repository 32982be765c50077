package core

import (
	"slices"
	"strings"
	"time"
)

// StandingKind is what a suit may be used for today.
type StandingKind string

// The standings. Only the first two may be worn.
const (
	Fit        StandingKind = "fit"
	FitDueSoon StandingKind = "fit, due soon"
	NotFit     StandingKind = "not fit"
	OnTheBench StandingKind = "on the bench"
	OutForGood StandingKind = "retired"
)

// BarKind names a reason why a suit must not be worn.
type BarKind string

// The reasons. A test that passes lifts each of them but the last three. A
// withdrawal takes an officer's word besides, after that test: what a suit was
// withdrawn for need not be what a test looks at.
const (
	BarReceived    BarKind = "no pass yet"
	BarUsed        BarKind = "used"
	BarRepaired    BarKind = "repaired"
	BarFound       BarKind = "defect found"
	BarFailed      BarKind = "failed"
	BarNoVerdict   BarKind = "no verdict"
	BarUnfinished  BarKind = "test not finished"
	BarWithdrawn   BarKind = "withdrawn"
	BarOverdue     BarKind = "test overdue"
	BarUnreleased  BarKind = "not released"
	BarRunOpen     BarKind = "run open"
	BarRestore     BarKind = "restore not complete"
	BarEndOfLife   BarKind = "past end of life"
	BarOutOfReason BarKind = "retired"
)

// Bar is one reason why a suit must not be worn.
type Bar struct {
	Kind  BarKind
	Since time.Time
	Note  string
	// Run is the one that brought it, or that the suit has passed since it was
	// withdrawn: then it waits for the officer's word alone.
	Run RunID

	entered time.Time // moment of its entry
	known   bool      // it was there when the last run began
}

// File is what a suit's own entries say of it. It is a value, made by
// applying them in their order.
type File struct {
	Suit     Suit
	Bars     []Bar
	Run      RunID // open run, zero if none
	opened   time.Time
	inflated bool
	outcome  Outcome
	judged   time.Time
	restore  bool

	Tested   time.Time // when the last pass was given
	TestedBy RunID
	released bool
	Retired  bool
}

// Apply returns the file after an entry about its suit.
func (f File) Apply(e Entry) File {
	bar := func(kind BarKind, note string) {
		f.Bars = append(slices.Clip(f.Bars), Bar{Kind: kind, Since: e.At, Note: note, Run: e.Run, entered: e.At})
	}
	switch fact := e.Fact.(type) {
	case SuitRegistered:
		if f.Suit.Tag == "" {
			bar(BarReceived, "")
		}
		measured := f.Suit.Capacity
		f.Suit = fact.Suit
		if f.Suit.Capacity.IsZero() {
			f.Suit.Capacity = measured
		}
	case CapacityMeasured:
		f.Suit.Capacity = fact.Capacity
	case Used:
		bar(BarUsed, fact.Note)
		f.Bars[len(f.Bars)-1].Since = fact.When
	case Repaired:
		bar(BarRepaired, fact.What)
	case Found:
		bar(BarFound, fact.What)
	case Withdrawn:
		bar(BarWithdrawn, fact.Why)
	case Retired:
		f.Retired = true
		bar(BarOutOfReason, fact.Why)
	case Released:
		f.released = true
		f.Bars = slices.DeleteFunc(slices.Clone(f.Bars), Bar.AwaitsWord)
	case PaperTest:
		return f.onPaper(e, fact)
	case Opened:
		if f.Run != 0 {
			f = f.abandon(e)
		}
		f.Run, f.opened, f.inflated, f.outcome, f.restore = e.Run, e.At, false, "", false
		f.Bars = slices.Clone(f.Bars)
		for i := range f.Bars {
			f.Bars[i].known = true
		}
	default:
		return f.inRun(e)
	}
	return f
}

// inRun takes in a fact of the open run. One of any other run counts only if
// it is a verdict given anew after that run was closed, and a worse one.
func (f File) inRun(e Entry) File {
	judged, isVerdict := e.Fact.(Judged)
	if f.Run == 0 || e.Run != f.Run {
		if isVerdict {
			return f.worsen(e, judged.Verdict)
		}
		return f
	}
	switch e.Fact.(type) {
	case Taken:
		f.inflated = true
	case Judged:
		f.outcome, f.judged, f.restore = judged.Verdict.Outcome, e.At, true
	case HoldResumed, Again:
		f.outcome, f.restore = "", false
	case Stopped:
		f.restore = true
	case Closed:
		return f.close(e)
	}
	return f
}

// onPaper takes in a test from before the journal began. It lifts and bars as
// a run of its day would have, in whatever order paper comes in: a pass lifts
// what paper of earlier days says, and nothing that the journal saw itself.
func (f File) onPaper(e Entry, t PaperTest) File {
	if t.Outcome != Pass {
		if f.Tested.After(e.At) {
			return f
		}
		return f.worsen(e, Verdict{Outcome: t.Outcome})
	}
	f.Bars = slices.DeleteFunc(slices.Clone(f.Bars), func(b Bar) bool {
		onPaper := b.Run == 0 && (b.Kind == BarFailed || b.Kind == BarNoVerdict)
		return b.Kind == BarReceived || onPaper && b.entered.Before(e.At)
	})
	if e.At.After(f.Tested) {
		f.Tested, f.TestedBy, f.released = e.At, 0, true // it went back on the shelf then
	}
	return f
}

// worsen bars a suit by a verdict that is no pass.
func (f File) worsen(e Entry, v Verdict) File {
	if v.Outcome == Pass {
		return f
	}
	kind := BarNoVerdict
	if v.Outcome == Fail {
		kind = BarFailed
	}
	// It is tested now, and of two tests without verdict the last is enough.
	f.Bars = slices.DeleteFunc(slices.Clone(f.Bars), func(b Bar) bool {
		return b.Kind == BarReceived || kind == BarNoVerdict && b.Kind == kind
	})
	for i := range f.Bars {
		if b := &f.Bars[i]; b.AwaitsWord() && b.Run == e.Run {
			b.Run = 0 // it has not passed that run after all
		}
	}
	f.Bars = append(f.Bars, Bar{Kind: kind, Since: e.At, Run: e.Run, entered: e.At})
	return f
}

// close ends a run. A pass lifts what was known when the run began, by the
// journal's order and by the clock; what came to light while it was open stays,
// until the next test.
func (f File) close(e Entry) File {
	switch {
	case f.outcome == Pass:
		var left []Bar
		for _, b := range f.Bars {
			tested := b.known && !b.entered.After(f.opened)
			if tested && b.Kind == BarWithdrawn {
				b.Run = e.Run
			}
			if !tested || b.Kind == BarWithdrawn || b.Kind == BarOutOfReason {
				left = append(left, b)
			}
		}
		f.Bars = left
		f.Tested, f.TestedBy, f.released = f.judged, e.Run, false
	case f.outcome != "":
		f = f.worsen(e, Verdict{Outcome: f.outcome})
	case f.inflated:
		f.Bars = slices.DeleteFunc(slices.Clone(f.Bars), func(b Bar) bool { return b.Kind == BarUnfinished })
		f.Bars = append(f.Bars, Bar{Kind: BarUnfinished, Since: e.At, Run: e.Run, entered: e.At})
	}
	f.Run, f.restore = 0, false
	return f
}

// abandon bars a suit on which a run begins while another is open. Open refuses
// that; if it happens all the same, what the other run found is not lost.
func (f File) abandon(e Entry) File {
	bar := Bar{Kind: BarUnfinished, Since: e.At, Run: f.Run, entered: e.At}
	if f.outcome == Fail {
		bar.Kind = BarFailed
	}
	f.Bars = append(slices.Clip(f.Bars), bar)
	return f
}

// Standing is what a suit may be used for on a day, and why not.
type Standing struct {
	Kind StandingKind
	Bars []Bar
	Due  Date // last day on which it is in test, zero if it has no pass
}

// Wearable reports whether the suit may be worn.
func (s Standing) Wearable() bool { return s.Kind == Fit || s.Kind == FitDueSoon }

// Summary is what a suit's standing depends on, whatever the day.
type Summary struct {
	Tag, Size, Place string
	Retired, OnBench bool
	Bars             []Bar
	Due              Date // last day on which it is in test, zero if it has no pass
	EndOfLife        Date // zero if none is set
}

// Summary sums up the file.
func (f File) Summary(p Policy) Summary {
	s := Summary{
		Tag: f.Suit.Tag, Size: f.Suit.Size, Place: f.Suit.Place,
		Retired: f.Retired, OnBench: f.Run != 0,
		Bars: slices.Clone(f.Bars), EndOfLife: f.Suit.EndOfLife,
	}
	if !f.Tested.IsZero() {
		interval := f.Suit.Interval
		if interval.IsZero() {
			interval = p.Interval
		}
		s.Due = interval.After(DateAt(f.Tested, p.Zone))
		if f.Unreleased(p) {
			s.Bars = append(s.Bars, Bar{Kind: BarUnreleased, Since: f.Tested, Run: f.TestedBy})
		}
	}
	if f.Run != 0 {
		kind := BarRunOpen
		if f.restore {
			kind = BarRestore
		}
		s.Bars = append(s.Bars, Bar{Kind: kind, Since: f.opened, Run: f.Run})
	}
	return s
}

// Unreleased reports whether the policy has the suit wait for an officer's word.
func (f File) Unreleased(p Policy) bool { return p.Release && !f.Tested.IsZero() && !f.released }

// AwaitsWord reports whether an officer's word lifts the bar now.
func (b Bar) AwaitsWord() bool {
	return b.Kind == BarUnreleased || b.Kind == BarWithdrawn && b.Run != 0
}

// Release returns the fact of an officer's word, or the refusal: there must be
// something that waits for it, and a withdrawn suit passes a test first.
func (f File) Release(p Policy) (Fact, error) {
	why := NothingToRelease
	for _, b := range f.Bars {
		if b.AwaitsWord() {
			return Released{}, nil
		}
		if b.Kind == BarWithdrawn {
			why = TestBeforeRelease
		}
	}
	if f.Unreleased(p) && why == NothingToRelease {
		return Released{}, nil
	}
	return nil, &Refusal{Why: why, Suit: f.Suit.Tag}
}

// Standing returns the suit's standing on a day. A due date lasts through
// that day, so that the standing is never better tomorrow.
func (s Summary) Standing(p Policy, day Date) Standing {
	st := Standing{Kind: Fit, Bars: slices.Clone(s.Bars), Due: s.Due}
	if !s.Due.IsZero() && s.Due.Before(day) {
		st.Bars = append(st.Bars, Bar{Kind: BarOverdue, Since: s.Due.End(p.Zone)})
	}
	if !s.EndOfLife.IsZero() && s.EndOfLife.Before(day) {
		st.Bars = append(st.Bars, Bar{Kind: BarEndOfLife, Since: s.EndOfLife.End(p.Zone)})
	}
	switch {
	case s.Retired:
		st.Kind = OutForGood
	case s.OnBench:
		st.Kind = OnTheBench
	case len(st.Bars) > 0 || s.Due.IsZero():
		st.Kind = NotFit
	case !p.DueSoon.After(day).Before(s.Due):
		st.Kind = FitDueSoon
	}
	return st
}

// Standing returns the suit's standing on a day.
func (f File) Standing(p Policy, day Date) Standing { return f.Summary(p).Standing(p, day) }

// SuitFact returns the tag as it was typed and the fact of an intent about a
// suit outside a run, said at a moment; the fact is nil if it is no such
// intent. The refusal is BadMoment for a use that was not or not yet.
func SuitFact(want Intent, at time.Time, zone *time.Location) (typed string, fact Fact, err error) {
	switch w := want.(type) {
	case NoteUsed:
		when, ok := moment(w.When, at, zone)
		if !ok {
			return w.Suit, nil, &Refusal{Why: BadMoment, Suit: w.Suit, Digits: w.When}
		}
		return w.Suit, Used{When: when, Note: w.Note}, nil
	case NoteFound:
		return w.Suit, Found{What: w.What}, nil
	case NoteRepaired:
		return w.Suit, Repaired{What: w.What, Of: w.Of}, nil
	case NoteCause:
		return w.Suit, CauseStated{What: w.What}, nil
	case Withdraw:
		return w.Suit, Withdrawn{Why: w.Why}, nil
	case Retire:
		return w.Suit, Retired{Why: w.Why}, nil
	case Reinstate:
		return w.Suit, Reinstated{Why: w.Why}, nil
	}
	return "", nil, nil
}

// moment finds the moment that people mean by "yesterday", "14:30" or
// "2026-03-01 14:30", said at a moment. A day without a time is its noon, or
// now if that is earlier. ok is false if it is none, or still to come.
func moment(said string, at time.Time, zone *time.Location) (when time.Time, ok bool) {
	if said == "" {
		return at, true
	}
	day, clock, _ := strings.Cut(said, " ")
	if strings.Contains(day, ":") {
		day, clock = "today", day
	}
	date := DateAt(at, zone)
	switch day {
	case "today":
	case "yesterday":
		date = date.AddDays(-1)
	default:
		d, err := ParseDate(day)
		if err != nil {
			return time.Time{}, false
		}
		date = d
	}
	if clock == "" {
		when = time.Date(date.Year, date.Month, date.Day, 12, 0, 0, 0, zone)
		if when.After(at) && date == DateAt(at, zone) {
			when = at
		}
	} else {
		c, err := time.Parse("15:04", clock)
		if err != nil {
			return time.Time{}, false
		}
		when = time.Date(date.Year, date.Month, date.Day, c.Hour(), c.Minute(), 0, 0, zone)
	}
	return when, !when.After(at)
}
