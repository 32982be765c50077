package core

import (
	"fmt"
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

// The reasons. What clears them is told by File.close.
const (
	BarReceived    BarKind = "no pass yet"
	BarUsed        BarKind = "used"
	BarRepaired    BarKind = "repaired"
	BarFound       BarKind = "defect found"
	BarFailed      BarKind = "failed"
	BarNoVerdict   BarKind = "no verdict"
	BarUnfinished  BarKind = "test not finished"
	BarWithdrawn   BarKind = "withdrawn"
	BarReinstated  BarKind = "reinstated"
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
	// Remedied is true for a defect or a fail once the suit was repaired, or the
	// cause of the fail was found outside it: then a passed test clears it.
	Remedied bool

	entered time.Time // moment of its entry
	// When the last run began, it was there, and it was remedied.
	known, ready bool
}

// NeedsRemedy reports whether something must be done before a test can clear the bar. A
// pressure test shows that the plugged suit is tight, not that a hole was mended.
func (b Bar) NeedsRemedy() bool { return b.Kind == BarFound || b.Kind == BarFailed }

// open reports whether something must still be done about the bar.
func (b Bar) open() bool { return b.NeedsRemedy() && !b.Remedied }

// File is what a suit's own entries say of it. It is a value, made by
// applying them in their order.
type File struct {
	Suit Suit
	Bars []Bar
	Run  RunID // open run, zero if none
	run  Run   // the same, as far as it went

	Tested   time.Time // when the last pass was given that counts
	TestedBy RunID
	// TestedRules is the version of the rules by which it counted, and
	// TestedMethod the key of its method: by these rules it counts only as long
	// as that is the one that the register names.
	TestedRules  int
	TestedMethod string
	released     bool
	Retired      bool
}

// Apply returns the file after an entry about its suit.
func (f File) Apply(e Entry) File {
	switch fact := e.Fact.(type) {
	case SuitRegistered:
		if f.Suit.Tag == "" {
			f = f.bar(e, BarReceived, "")
		}
		if life := f.Suit.EndOfLife; !life.IsZero() && life.End(time.UTC).Before(e.At) && life != fact.Suit.EndOfLife {
			f = f.bar(e, BarReinstated, "end of life was "+life.String())
		}
		measured := f.Suit.Capacity
		f.Suit = fact.Suit
		if f.Suit.Capacity.IsZero() {
			f.Suit.Capacity = measured
		}
	case CapacityMeasured:
		f.Suit.Capacity = fact.Capacity
	case Used:
		f = f.bar(e, BarUsed, fact.Note)
		f.Bars[len(f.Bars)-1].Since = fact.When
	case Repaired:
		f = f.remedied(fact.Of, Bar.NeedsRemedy).bar(e, BarRepaired, fact.What)
	case CauseStated:
		f = f.remedied(nil, func(b Bar) bool { return b.Kind == BarFailed })
	case Found:
		f = f.bar(e, BarFound, fact.What)
	case Withdrawn:
		f = f.bar(e, BarWithdrawn, fact.Why)
	case Retired:
		f.Retired = true
		f = f.bar(e, BarOutOfReason, fact.Why)
	case Reinstated:
		f.Retired = false
		f = f.without(func(b Bar) bool { return b.Kind == BarOutOfReason }).bar(e, BarReinstated, fact.Why)
	case Released:
		f.released = true
		f = f.without(Bar.AwaitsWord)
	case PaperTest:
		return f.onPaper(e, fact)
	case Opened:
		return f.opened(e, fact)
	default:
		f.inRun(e)
	}
	return f
}

func (f File) bar(e Entry, kind BarKind, note string) File {
	f.Bars = append(slices.Clip(f.Bars), Bar{Kind: kind, Since: e.At, Note: note, Run: e.Run, entered: e.At})
	return f
}

func (f File) without(drop func(Bar) bool) File {
	f.Bars = slices.DeleteFunc(slices.Clone(f.Bars), drop)
	return f
}

// Defects returns the fails and defects that bar the suit, oldest first, including
// those already remedied: a number that a repair names, from 1, then stays the same
// until a test clears it.
func (f File) Defects() []Bar {
	return slices.DeleteFunc(slices.Clone(f.Bars), func(b Bar) bool { return !b.NeedsRemedy() })
}

// remedied marks open defects of a kind as remedied: those with the numbers, or
// all of them.
func (f File) remedied(of []int, kind func(Bar) bool) File {
	f.Bars = slices.Clone(f.Bars)
	n := 0
	for i := range f.Bars {
		b := &f.Bars[i]
		if !b.NeedsRemedy() {
			continue
		}
		n++
		if kind(*b) && (len(of) == 0 || slices.Contains(of, n)) {
			b.Remedied = true
		}
	}
	return f
}

// opened applies the start of a run. A pass of it can clear only bars that exist and
// are remedied at this moment.
func (f File) opened(e Entry, opened Opened) File {
	if f.Run != 0 {
		f = f.abandon(e)
	}
	f.Run = e.Run
	f.run = Run{ID: e.Run, Suit: opened.Suit, Method: opened.Method, Opened: e.At, Phase: Prepare} // its lists tell nothing here
	f.Bars = slices.Clone(f.Bars)
	for i := range f.Bars {
		b := &f.Bars[i]
		b.known, b.ready = true, !b.open()
	}
	return f
}

// inRun applies a fact of the open run. A fact of a closed run counts only if it is a
// new verdict and worse than the old one.
func (f *File) inRun(e Entry) {
	judged, isVerdict := e.Fact.(Judged)
	if f.Run == 0 || e.Run != f.Run {
		if isVerdict {
			*f = f.worsen(e, judged.Verdict)
		}
		return
	}
	switch e.Fact.(type) {
	case Taken, HoldStarted, HoldVoid, HoldResumed, Judged, Again, DefectSeen, Stopped, Closed:
	default: // nothing else changes what a standing depends on
		return
	}
	before := f.run.Phase
	f.run.apply(e)
	switch fact := e.Fact.(type) {
	case DefectSeen:
		if before == Restore {
			*f = f.bar(e, BarFound, fact.What)
		}
	case Judged: // a fail bars at once, so that what is done about it counts from now
		*f = f.withoutFail(e.Run)
		if fact.Verdict.Outcome == Fail {
			*f = f.bar(e, failKind(fact.Verdict), fact.Verdict.Defect)
		}
	case HoldResumed, Again:
		*f = f.withoutFail(e.Run)
	case Closed:
		*f = f.close(e)
	}
}

// withoutFail drops the fail of a run whose verdict is taken back.
func (f File) withoutFail(run RunID) File {
	return f.without(func(b Bar) bool { return b.Kind == BarFailed && b.Run == run })
}

// counts reports whether a pass by a method, by the rules of its day, clears the
// suit and sets its due date: by the first rules any did, since then only the
// one that the register names for the suit.
func (f File) counts(method string, rules int) bool { return rules < 2 || method == f.Suit.Method }

// onPaper applies a test from before the journal began. It clears and bars as a run of
// its day would have, in whatever order paper tests are brought in: a pass clears bars
// from earlier paper tests, and none that the journal recorded itself.
func (f File) onPaper(e Entry, t PaperTest) File {
	remedied := t.Remedy != "" || t.Rules < 2 || t.Outcome == NoVerdict
	if t.Outcome != Pass {
		if remedied && f.Tested.After(e.At) {
			return f
		}
		f = f.worsen(e, Verdict{Outcome: t.Outcome})
		last := &f.Bars[len(f.Bars)-1]
		last.Remedied = remedied && last.NeedsRemedy()
		return f
	}
	if !f.counts(t.Method, t.Rules) {
		return f
	}
	f = f.without(func(b Bar) bool {
		onPaper := b.Run == 0 && (b.Kind == BarFailed && (b.Remedied || t.Rules < 2) || b.Kind == BarNoVerdict)
		return b.Kind == BarReceived || onPaper && b.entered.Before(e.At)
	})
	if e.At.After(f.Tested) {
		// It then went back on the shelf. A release after a run is still needed.
		f.released = f.released || f.Tested.IsZero() || t.Rules < 2
		f.Tested, f.TestedBy, f.TestedRules, f.TestedMethod = e.At, 0, t.Rules, t.Method
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
		kind = failKind(v)
	}
	// It is tested now, and of two tests without verdict the last is enough.
	f = f.without(func(b Bar) bool {
		return b.Kind == BarReceived || kind == BarNoVerdict && b.Kind == kind
	})
	for i := range f.Bars {
		if b := &f.Bars[i]; b.AwaitsWord() && b.Run == e.Run {
			b.Run = 0 // it has not passed that run after all
		}
	}
	return f.bar(e, kind, v.Defect)
}

// failKind returns the bar that a fail brings: a defect seen is one found, which no
// cause outside the suit explains. By the first rules it was a fail like any other.
func failKind(v Verdict) BarKind {
	if v.Reason == DefectByEye && v.Rules >= 2 {
		return BarFound
	}
	return BarFailed
}

// close ends a run. A pass by the suit's own method clears the bars that existed when
// the run began, by the journal's order and by the clock. What came to light while it
// was open stays until the next test. A defect or a fail must also have been remedied
// before the run began. A withdrawal needs an officer's word after the test, since a
// test may not look at the reason for it.
func (f File) close(e Entry) File {
	run := f.run
	f.Run, f.run = 0, Run{}
	v := run.Verdict
	switch {
	case v != nil && v.Outcome == Pass && f.counts(run.Method.Key, v.Rules):
		var left []Bar
		for _, b := range f.Bars {
			tested := b.known && !b.entered.After(run.Opened) && (b.ready || v.Rules < 2)
			if tested && b.Kind == BarWithdrawn {
				b.Run = e.Run
			}
			if !tested || b.Kind == BarWithdrawn || b.Kind == BarOutOfReason {
				left = append(left, b)
			}
		}
		f.Bars = left
		f.Tested, f.TestedBy, f.TestedRules, f.TestedMethod = run.judgedAt, e.Run, v.Rules, run.Method.Key
		f.released = false
	case v != nil && v.Outcome != Fail: // that bars since it was given
		f = f.worsen(e, *v)
	case v != nil: // it is tested now
		f = f.without(func(b Bar) bool { return b.Kind == BarReceived })
	case len(run.AllReadings()) > 0:
		f = f.without(func(b Bar) bool { return b.Kind == BarUnfinished }).bar(e, BarUnfinished, "")
	}
	return f
}

// abandon bars a suit on which a run begins while another is open. Open refuses that;
// a journal may contain it, and nobody knows then in what state the suit was left.
func (f File) abandon(e Entry) File {
	e.Run = f.Run
	return f.bar(e, BarUnfinished, "")
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
	switch {
	case f.Tested.IsZero():
	case !f.counts(f.TestedMethod, f.TestedRules): // the register names another method since
		s.Bars = append(s.Bars, Bar{Kind: BarReceived, Since: f.Tested, Note: "by " + f.Suit.Method})
	default:
		interval := f.Suit.Interval
		if interval.IsZero() {
			interval = p.Interval
		}
		s.Due = interval.After(DateAt(f.Tested, p.Zone))
		if f.unreleased(p) {
			s.Bars = append(s.Bars, Bar{Kind: BarUnreleased, Since: f.Tested, Run: f.TestedBy})
		}
	}
	if f.Run != 0 {
		kind := BarRunOpen
		if f.run.Phase == Restore {
			kind = BarRestore
		}
		s.Bars = append(s.Bars, Bar{Kind: kind, Since: f.run.Opened, Run: f.Run})
	}
	return s
}

// unreleased reports whether the suit waits for an officer's word by policy.
func (f File) unreleased(p Policy) bool { return p.Release && !f.Tested.IsZero() && !f.released }

// AwaitsWord reports whether an officer's word lifts the bar now.
func (b Bar) AwaitsWord() bool {
	return b.Kind == BarUnreleased || b.Kind == BarWithdrawn && b.Run != 0
}

// Release returns the fact of an officer's word, or the refusal: there must be
// something that waits for it, and a withdrawn suit passes a test first.
func (f File) Release(p Policy) (Fact, error) {
	if f.Retired {
		return nil, &Refusal{Why: SuitRetired, Suit: f.Suit.Tag}
	}
	why := NothingToRelease
	for _, b := range f.Bars {
		if b.AwaitsWord() {
			return Released{}, nil
		}
		if b.Kind == BarWithdrawn {
			why = TestBeforeRelease
		}
	}
	if f.unreleased(p) && why == NothingToRelease {
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

// Decide answers what somebody wants of a suit outside a run: the fact, or a *Refusal.
// The caller checks whether the person may do it.
func (f File) Decide(fact Fact) (Fact, error) {
	refuse := func(why Why) (Fact, error) { return nil, &Refusal{Why: why, Suit: f.Suit.Tag} }
	defects := f.Defects()
	switch fact := fact.(type) {
	case Reinstated:
		if !f.Retired {
			return refuse(NotRetired)
		}
		return fact, nil
	case Repaired:
		if len(defects) == 0 && len(fact.Of) > 0 { // a number of something else: it was worked on all the same
			return Repaired{What: strings.Trim(fmt.Sprint(fact.Of), "[]") + " " + fact.What}, nil
		}
		if slices.ContainsFunc(fact.Of, func(n int) bool { return n < 1 || n > len(defects) }) {
			return nil, &Refusal{Why: NoSuchDefect, Suit: f.Suit.Tag, Choices: described(defects)}
		}
	case CauseStated:
		if !slices.ContainsFunc(defects, func(b Bar) bool { return b.Kind == BarFailed && b.open() }) {
			return refuse(NothingFailed)
		}
	}
	if f.Retired {
		return refuse(SuitRetired)
	}
	return fact, nil
}

// WhichRepaired refuses a repair that does not say which of several defects it was
// about. Without that, all of them would count as repaired.
func (f File) WhichRepaired(w NoteRepaired) error {
	defects := f.Defects()
	open := slices.DeleteFunc(slices.Clone(defects), func(b Bar) bool { return !b.open() })
	if len(open) > 1 && len(w.Of) == 0 && !w.All {
		return &Refusal{Why: WhichDefect, Suit: f.Suit.Tag, Choices: described(defects)}
	}
	return nil
}

func described(bars []Bar) []string {
	var all []string
	for _, b := range bars {
		text := string(b.Kind)
		if b.Run != 0 {
			text += " " + b.Run.String()
		}
		if b.Note != "" {
			text += ": " + b.Note
		}
		if b.Remedied {
			text += " (something was done about it)"
		}
		all = append(all, text)
	}
	return all
}

// SuitFact returns the tag as it was typed and the fact of an intent about a
// suit outside a run, said at a moment. The fact is nil for any other intent. The
// refusal is BadMoment for a use at a moment that does not exist or is in the future.
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
