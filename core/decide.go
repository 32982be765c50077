package core

import (
	"slices"
	"time"
)

// Asker is the person who wants something, when by the chat server's clock, and
// the id of the post that says so.
type Asker struct {
	At   time.Time
	By   Person
	Post string
	// Officer is true if the person may act as an officer.
	Officer bool
	// Absent is true if the account of the run's tester is deactivated.
	Absent bool
}

// Decide answers what somebody wants of the run: the facts that follow, or a
// *Refusal and no facts. It changes nothing.
func (r Run) Decide(b Bench, a Asker, want Intent) ([]Fact, error) {
	if note, ok := want.(Remark); ok { // anybody may remark, at any time
		return []Fact{Noted{Text: note.Text}}, nil
	}
	if !a.By.Is(r.Tester) {
		return r.notTheTester(b, a, want)
	}
	switch w := want.(type) {
	case Amend:
		return r.amend(b, a, w)
	case Fix:
		return r.fix(b, a, w)
	}
	if r.Phase == Over {
		return nil, r.refuse(RunClosed)
	}
	switch w := want.(type) {
	case Tick:
		if r.Asked != nil && len(w.Items) == 0 && !w.All {
			return r.yes(b, a)
		}
		return r.decideTick(w)
	case Untick:
		return r.decideUntick(w)
	case Bad:
		return r.decideBad(w)
	case Read:
		return r.read(b, a, w)
	case Yes:
		return r.yes(b, a)
	case Use:
		return r.use(b, w)
	case Measure:
		return r.measure(b)
	case AddAir:
		return r.added(b, w)
	case Leak:
		if r.Phase != Restore || r.Verdict == nil || r.Verdict.Outcome != Fail {
			return nil, r.refuse(NoFail)
		}
		return []Fact{LeakFound(w)}, nil
	case Air:
		if !(Surroundings{Celsius: w.Celsius}).likely() {
			return nil, r.refuse(NoSuchAir, func(f *Refusal) { f.Digits = w.Celsius })
		}
		return r.conditions(b, a.At, AirNoted(w)), nil
	case Baro:
		written, err := Write(w.Digits, w.Unit)
		if err != nil || !(Surroundings{Baro: written}).likely() {
			return nil, r.refuse(NoSuchAir, func(f *Refusal) { f.Digits, f.Unit = w.Digits, w.Unit })
		}
		return r.conditions(b, a.At, BaroNoted{written}), nil
	case Stop:
		return r.stop(w)
	case NothingFitted:
		return r.nothingFitted()
	case Repeat:
		return r.repeat(w)
	case HandOver:
		return r.handOver(a, w, "")
	}
	return nil, r.refuse(NothingAsked)
}

// Expected returns the reading that the run waits for, as its manometer shows
// it, for an example of what can be said.
func (r Run) Expected() string {
	target := r.Method.Expansion.Target.Pressure()
	if r.Phase == Hold || r.expansionOver(r.Touched) {
		target = r.Method.Test.Target.Pressure()
	}
	return target.In(r.Manometer.Unit, min(1, r.Manometer.Unit.Decimals()))
}

// expansionOver reports whether at t the expansion was long enough or its bell had
// rung: a tester who was told to let down must not be told to top up. A reading taken
// before that and corrected later begins no hold.
func (r Run) expansionOver(t time.Time) bool {
	if r.ExpandedAt.IsZero() {
		return false
	}
	heard := slices.ContainsFunc(r.Rang, func(b Rung) bool { return b.Bell == BellExpansion && !b.Due.After(t) })
	return heard || !t.Before(r.ExpansionEnds())
}

// conditions enters a temperature or a barometer reading. After the verdict it
// may take a pass back, and nothing else.
func (r Run) conditions(b Bench, at time.Time, fact Fact) []Fact {
	facts := []Fact{fact}
	if r.Phase != Restore || r.Verdict == nil || r.HeldBy == 0 {
		return facts
	}
	if v, ok := r.Apply(Entry{At: at, Fact: fact}).judged(b); ok && v.Outcome.worse(r.Verdict.Outcome) {
		facts = append(facts, Judged{v})
	}
	return facts
}

func (r Run) refuse(why Why, with ...func(*Refusal)) error {
	f := &Refusal{Why: why, Run: r.ID, Suit: r.Suit.Tag, Method: r.Method.Key, Manometer: r.Manometer.ID, Like: r.Expected()}
	for _, set := range with {
		set(f)
	}
	return f
}

func (r Run) decideTick(w Tick) ([]Fact, error) {
	list := r.List()
	if list == nil {
		return nil, r.refuse(NoList)
	}
	want := w.Items
	switch easy := r.easy(); {
	case w.All:
		want = easy
	case len(want) == 0:
		want = easy[:min(1, len(easy))]
	}
	for _, n := range want {
		if n < 1 || n > len(list) {
			return nil, r.refuse(NoSuchItem, func(f *Refusal) { f.Item = n })
		}
	}
	alone := len(want) == 1 || w.ByTap
	want = slices.DeleteFunc(slices.Clone(want), func(n int) bool { return list[n-1].Done || list[n-1].Item.ByName() && !alone })
	slices.Sort(want)
	want = slices.Compact(want)
	if len(want) == 0 {
		return nil, nil
	}
	ticked := Ticked{Items: want, ByTap: w.ByTap}
	facts := append(r.leaves(), ticked)
	if r.Phase == Restore && Complete(r.Apply(Entry{Fact: ticked}).RestoreList) {
		facts = append(facts, Closed{})
	}
	return facts, nil
}

// easy returns the numbers of the items on screen that are open and may be ticked
// several at a time.
func (r Run) easy() []int {
	list := r.List()
	return slices.DeleteFunc(Missing(list), func(n int) bool { return list[n-1].Item.ByName() })
}

func (r Run) decideUntick(w Untick) ([]Fact, error) {
	list := r.List()
	if list == nil {
		return nil, r.refuse(NoList)
	}
	var was []int
	for _, n := range w.Items {
		if n < 1 || n > len(list) {
			return nil, r.refuse(NoSuchItem, func(f *Refusal) { f.Item = n })
		}
		if list[n-1].Done {
			was = append(was, n)
		}
	}
	if len(was) == 0 {
		return nil, nil
	}
	return []Fact{Unticked{was}}, nil
}

func (r Run) decideBad(w Bad) ([]Fact, error) {
	list := r.List()
	if list == nil {
		return nil, r.refuse(PastDefects)
	}
	if w.Item < 1 || w.Item > len(list) {
		return nil, r.refuse(NoSuchItem, func(f *Refusal) { f.Item = w.Item })
	}
	seen := DefectSeen(w)
	if r.Phase == Prepare {
		return []Fact{seen, Judged{Verdict{
			Rules: Rules, Outcome: Fail, Reason: DefectByEye, Method: r.Method.Key, Defect: w.What,
		}}}, nil
	}
	facts := append(r.leaves(), seen)
	if Complete(r.Apply(Entry{Fact: seen}).RestoreList) {
		facts = append(facts, Closed{})
	}
	return facts, nil
}

func (r Run) stop(w Stop) ([]Fact, error) {
	if left := r.leaves(); left != nil {
		return left, nil // the measurement, not the run
	}
	if r.Phase == Restore {
		return nil, r.refuse(AlreadyStopped)
	}
	return []Fact{Stopped(w)}, nil
}

// nothingFitted closes a run without its list if it ended before anything was fitted
// to the suit. The tester's word is enough, unless something was ticked as fitted or
// shut, or a reading was taken.
func (r Run) nothingFitted() ([]Fact, error) {
	switch {
	case r.Phase != Restore:
		return nil, r.refuse(NotStopped)
	case r.Shut || len(r.AllReadings()) > 0:
		return nil, r.refuse(SomethingFitted)
	}
	return []Fact{NoneFitted{}, Closed{}}, nil
}

// repeat gives the present attempt up. In a hold, and after a late reading beyond the
// limit, that takes a reason: nobody may repeat a test until it passes and leave no
// trace. After a jump the reason is the cause that was found.
func (r Run) repeat(w Repeat) ([]Fact, error) {
	switch r.Phase {
	case Prepare:
		return nil, r.refuse(NotPrepared)
	case Hold:
		if w.Why == "" {
			return nil, r.refuse(WhyNotSaid)
		}
	case Restore:
		if r.Verdict == nil || r.Verdict.Outcome != NoVerdict {
			return nil, r.refuse(CannotRepeat)
		}
		if r.Opening { // the suit is being opened up: it must be prepared again
			return nil, r.refuse(CannotRepeat)
		}
		if (r.Verdict.Reason == Jump || r.Verdict.Reason == LateBeyond) && w.Why == "" {
			return nil, r.refuse(WhyNotSaid)
		}
	}
	return append(r.leaves(), Again(w)), nil
}

func (r Run) use(b Bench, w Use) ([]Fact, error) {
	m, err := b.named(w.Manometer)
	if err != nil {
		return nil, err
	}
	if m.ID == r.Manometer.ID {
		return nil, nil
	}
	if r.HoldsManometer() || r.Phase == Restore {
		return nil, r.refuse(ManometerFixed)
	}
	if err := b.busy(m, r.ID); err != nil {
		return nil, err
	}
	return []Fact{ManometerChosen{m}}, nil
}

// read decides on a reading just posted.
func (r Run) read(b Bench, a Asker, w Read) ([]Fact, error) {
	reading, err := r.readingOf(a, w)
	if err != nil {
		return nil, err
	}
	switch r.Phase {
	case Prepare:
		return nil, r.refuse(NotPrepared)
	case Expansion: // a reading from an edited post counts from its post
		if a.At.Before(r.Began) {
			return nil, r.refuse(NotPrepared)
		}
	case Restore:
		if r.Metering.Open() {
			return r.meter(b, a, w)
		}
		return nil, r.refuse(VerdictIn, func(f *Refusal) { f.Digits, f.Unit = w.Digits, w.Unit })
	}
	if w.HasStated {
		if r.Phase != Hold {
			return nil, r.refuse(NotInHold)
		}
		reading.Taken, reading.Stated = r.HeldAt.Add(w.Stated), true
		switch late := a.At.Sub(reading.Taken); {
		case late < 0 || w.Stated <= 0:
			return nil, r.refuse(NotYet)
		case late > believed:
			return []Fact{Noted{Text: reading.Written.String() + " at " + Stopwatch(w.Stated), Recalled: true}}, nil
		}
	}
	if r.unitSaid(a, w, reading.Written) {
		return r.confirm(b, a, reading.Written)
	}
	if unit, doubt := r.doubt(w, reading.Written); doubt {
		if unit == NoUnit {
			return nil, r.refuse(Implausible, func(f *Refusal) { f.Digits, f.Unit = reading.Written.Digits, reading.Written.Unit })
		}
		return []Fact{Questioned{Reading: reading, Perhaps: unit}}, nil
	}
	return r.take(b, reading)
}

// unitSaid reports whether a reading answers the question about the last one by
// repeating its digits with a unit. After answerTime it is a new reading.
func (r Run) unitSaid(a Asker, w Read, written Written) bool {
	return r.Asked != nil && !a.At.After(r.Asked.Reading.Posted.Add(correctionTime)) && w.Unit != NoUnit && !w.HasStated &&
		written.Digits == r.Asked.Reading.Written.Digits && written.Pressure() <= r.most()
}

func (r Run) readingOf(a Asker, w Read) (Reading, error) {
	unit := w.Unit
	if unit == NoUnit {
		unit = r.Manometer.Unit
	}
	written, err := Write(w.Digits, unit)
	if err != nil {
		return Reading{}, r.refuse(Implausible, func(f *Refusal) { f.Digits, f.Unit = w.Digits, unit })
	}
	return Reading{
		N: len(r.AllReadings()) + 1, Written: written, Posted: a.At, Taken: a.At,
		By: a.By, Post: a.Post, Manometer: r.Manometer.ID,
	}, nil
}

// take takes a reading: the facts that follow from it in the present phase.
func (r Run) take(b Bench, reading Reading) ([]Fact, error) {
	if err := b.busy(r.Manometer, r.ID); err != nil && !r.HoldsManometer() {
		err.Method, err.Like = r.Method.Key, r.Expected()
		return nil, err
	}
	if r.Phase == Hold && !reading.Stated && r.Method.AtBell(r.HeldAt, reading.Taken) {
		reading.Taken = r.HoldEnds()
	}
	facts := []Fact{Taken{reading}}
	return append(facts, r.Apply(Entry{Fact: facts[0]}).consequences(b, reading.N)...), nil
}

// consequences returns what follows from the latest reading, n. It may start a clock.
func (r Run) consequences(b Bench, n int) []Fact {
	if r.Phase != Expansion {
		return r.stops(b, n)
	}
	reading := r.reading(n)
	p, m := reading.Pressure(), r.Method
	switch {
	case r.ExpandedAt.IsZero():
		if m.Expansion.Holds(p) {
			return []Fact{ExpansionStarted{n}}
		}
	case r.expanded() && r.expansionOver(reading.Taken) && m.Test.Holds(p):
		if r.slack(reading.Taken) {
			return []Fact{ExpansionVoid{}}
		}
		return []Fact{HoldStarted{n}}
	}
	return r.stops(b, n)
}

// stops returns what the readings on record now stop: a clock, or the hold by a
// verdict. It starts nothing. Stopping a hold gives the attempt up, so that a
// correction is no way to repeat a test without a reason.
func (r Run) stops(b Bench, n int) []Fact {
	switch {
	case r.Phase == Expansion && !r.ExpandedAt.IsZero() && !r.expanded():
		return []Fact{ExpansionVoid{}}
	case r.Phase != Hold:
	case !r.expanded():
		return []Fact{Again{Why: "a reading of the expansion was corrected"}, ExpansionVoid{}}
	case n == r.HeldBy && !r.Method.Test.Holds(r.reading(n).Pressure()):
		return []Fact{Again{Why: "the start was corrected"}}
	default:
		if v, ok := r.judged(b); ok {
			return []Fact{Judged{v}}
		}
	}
	return nil
}

func (r Run) judged(b Bench) (Verdict, bool) {
	start, ok := r.Start()
	if !ok {
		return Verdict{}, false
	}
	v, ok := held{
		method:   r.Method.judging(),
		step:     r.Manometer.Resolution.Pressure(),
		lapsed:   r.Manometer.Lapsed(b.Day(start.Taken)),
		expanded: r.expanded(),
		start:    start,
		since:    r.HoldReadings(),
	}.judge()
	if !ok {
		return Verdict{}, false
	}
	return r.weigh(v, b.Policy.Acceptance), true
}

// weigh adds the uncertainty to a verdict, and turns a pass into no verdict if the air
// can have hidden a drop beyond the limit, or if the decision rule asks for a larger
// margin. It never gives a pass.
func (r Run) weigh(v Verdict, rule Acceptance) Verdict {
	budget, ok := r.Evidence(v).Budget()
	if !ok {
		return v
	}
	air, decisive := r.AirOn(v)
	v.Rule = rule
	v.Expanded = FromPascals(budget.Expanded())
	if rule == Guarded {
		v.Guard = FromPascals(coverage * budget.CombinedWithAir())
	}
	v.Conforms = budget.Conforms()
	v.AirRaised, v.AirLowered = FromPascals(max(0, air.High)), FromPascals(max(0, -air.Low))
	switch {
	case v.Outcome != Pass:
	case decisive:
		v.Outcome, v.Reason = NoVerdict, AirHides
	case rule.judge(budget.Margin-max(0, air.High), budget.CombinedWithAir()) != Pass:
		v.Outcome, v.Reason = NoVerdict, GuardBand
	}
	if v.Outcome == NoVerdict {
		v.Conforms = 0 // there is nothing to be sure of
	}
	return v
}
