package core

import (
	"slices"
	"time"
)

// Asker is who wants something, when by the chat server's clock, and the id
// of the post that says so.
type Asker struct {
	At   time.Time
	By   Person
	Post string
}

// Decide answers what somebody wants of the run: the facts that follow, or a
// *Refusal and no facts. It changes nothing.
func (r Run) Decide(b Bench, a Asker, want Intent) ([]Fact, error) {
	if note, ok := want.(Remark); ok { // anybody may remark, at any time
		return []Fact{Noted(note)}, nil
	}
	if !a.By.Is(r.Tester) {
		return nil, r.refuse(NotTheTester, func(f *Refusal) { f.Person, f.Choices = r.Tester, []string{a.By.Name} })
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
			return r.yes(b)
		}
		return r.decideTick(w)
	case Untick:
		return r.decideUntick(w)
	case Bad:
		return r.decideBad(w)
	case Read:
		return r.read(b, a, w)
	case Yes:
		return r.yes(b)
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
		return r.conditions(b, AirNoted(w)), nil
	case Baro:
		written, err := Write(w.Digits, w.Unit)
		if err != nil {
			return nil, r.refuse(Implausible, func(f *Refusal) { f.Digits, f.Unit = w.Digits, w.Unit })
		}
		return r.conditions(b, BaroNoted{written}), nil
	case Stop:
		return r.stop(w)
	case Repeat:
		return r.repeat()
	case HandOver:
		if w.To.Is(r.Tester) {
			return nil, r.refuse(AlreadyTheirs, func(f *Refusal) { f.Person = w.To })
		}
		return []Fact{HandedOver(w)}, nil
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

// expansionOver reports whether the expansion was long enough at t, or its bell
// was heard by then: who was told to let down is not told to top up. A reading
// from before it, and corrected since, begins no hold.
func (r Run) expansionOver(t time.Time) bool {
	if r.ExpandedAt.IsZero() {
		return false
	}
	heard := slices.ContainsFunc(r.Rang, func(b Rung) bool { return b.Bell == BellExpansion && !b.Due.After(t) })
	return heard || !t.Before(r.ExpansionEnds())
}

// conditions enters a temperature or a barometer reading. After the verdict it
// may take a pass back.
func (r Run) conditions(b Bench, fact Fact) []Fact {
	facts := []Fact{fact}
	if r.Phase != Restore || r.Verdict == nil || r.HeldBy == 0 {
		return facts
	}
	if v, ok := r.Apply(Entry{At: r.Touched, Fact: fact}).judged(b); ok && v.Outcome != r.Verdict.Outcome {
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
	switch missing := Missing(list); {
	case w.All:
		want = missing
	case len(want) == 0:
		want = missing[:min(1, len(missing))]
	}
	for _, n := range want {
		if n < 1 || n > len(list) {
			return nil, r.refuse(NoSuchItem, func(f *Refusal) { f.Item = n })
		}
	}
	want = slices.DeleteFunc(slices.Clone(want), func(n int) bool { return list[n-1].Done })
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
	if r.Phase != Prepare {
		return nil, r.refuse(PastDefects)
	}
	if w.Item < 1 || w.Item > len(r.PrepareList) {
		return nil, r.refuse(NoSuchItem, func(f *Refusal) { f.Item = w.Item })
	}
	facts := []Fact{
		DefectSeen(w),
		Judged{Verdict{Outcome: Fail, Reason: DefectByEye, Method: r.Method.Key, Defect: w.What}},
	}
	return r.closeIfOpen(facts), nil
}

// closeIfOpen adds the run's end where nothing was shut on the suit, so that
// there is nothing to restore.
func (r Run) closeIfOpen(facts []Fact) []Fact {
	if r.Shut {
		return facts
	}
	return append(facts, Closed{})
}

func (r Run) stop(w Stop) ([]Fact, error) {
	if left := r.leaves(); left != nil {
		return left, nil // the measurement, not the run
	}
	if r.Phase == Restore {
		return nil, r.refuse(AlreadyStopped)
	}
	return r.closeIfOpen([]Fact{Stopped(w)}), nil
}

func (r Run) repeat() ([]Fact, error) {
	switch r.Phase {
	case Prepare:
		return nil, r.refuse(NotPrepared)
	case Restore:
		if r.Verdict == nil || r.Verdict.Outcome != NoVerdict {
			return nil, r.refuse(CannotRepeat)
		}
		for _, c := range r.RestoreList {
			if c.Done { // the suit is being opened up: it must be prepared anew
				return nil, r.refuse(CannotRepeat)
			}
		}
	}
	return append(r.leaves(), Again{}), nil
}

func (r Run) use(b Bench, w Use) ([]Fact, error) {
	m, err := b.named(w.Manometer)
	if err != nil {
		return nil, err
	}
	if m.ID == r.Manometer.ID {
		return nil, nil
	}
	if _, read := r.Last(); read || r.Phase == Restore {
		return nil, r.refuse(ManometerFixed)
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
	case Expansion: // an edit makes a reading true when its post was made
		if a.At.Before(r.Ready) {
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
		if reading.Taken.After(a.At) || w.Stated <= 0 {
			return nil, r.refuse(NotYet)
		}
	}
	if r.unitSaid(w, reading.Written) {
		reading.Taken, reading.Stated = r.Asked.Reading.Taken, r.Asked.Reading.Stated
	} else if unit, doubt := r.doubt(w, reading.Written); doubt {
		if unit == NoUnit {
			return nil, r.refuse(Implausible, func(f *Refusal) { f.Digits, f.Unit = reading.Written.Digits, reading.Written.Unit })
		}
		return []Fact{Questioned{Reading: reading, Perhaps: unit}}, nil
	}
	return r.take(b, reading)
}

// unitSaid reports whether a reading is the one that was asked about, its unit
// now said.
func (r Run) unitSaid(w Read, written Written) bool {
	return r.Asked != nil && w.Unit != NoUnit && !w.HasStated &&
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
		N: len(r.Readings) + 1, Written: written, Posted: a.At, Taken: a.At,
		By: a.By, Post: a.Post, Manometer: r.Manometer.ID,
	}, nil
}

// take takes a reading: the facts that follow from it in the present phase.
func (r Run) take(b Bench, reading Reading) ([]Fact, error) {
	if holder, busy := b.Holder(r.Manometer.ID, r.ID); busy && !r.HoldsManometer() {
		return nil, r.refuse(ManometerBusy, func(f *Refusal) {
			f.Run, f.Suit, f.Until, f.Person = holder.ID, holder.Suit.Tag, holder.FreesManometer(), holder.Tester
		})
	}
	if r.Phase == Hold && !reading.Stated && r.Method.AtBell(r.HeldAt, reading.Taken) {
		reading.Taken = r.HoldEnds()
	}
	facts := []Fact{Taken{reading}}
	return append(facts, r.Apply(Entry{Fact: facts[0]}).consequences(b, reading.N)...), nil
}

// consequences returns what follows from reading n, the latest or one just
// corrected, with its value now on record.
func (r Run) consequences(b Bench, n int) []Fact {
	switch r.Phase {
	case Expansion:
		return r.expand(n)
	case Hold:
		switch {
		case !r.expanded():
			return []Fact{HoldVoid{}, ExpansionVoid{}}
		case n == r.HeldBy && !r.Method.Test.Holds(r.reading(n).Pressure()):
			return []Fact{HoldVoid{}}
		}
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
		method:   r.Method,
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

// weigh says how far a verdict can be trusted, and takes back a pass that
// cannot: where the air can have hidden a drop beyond the limit, or where the
// rule asks for more than is there. It never makes a pass of anything.
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
	case rule.Judge(budget.Margin, budget.CombinedWithAir()) == NoVerdict:
		v.Outcome, v.Reason = NoVerdict, GuardBand
	}
	return v
}

func (r Run) expand(n int) []Fact {
	reading := r.reading(n)
	p, m := reading.Pressure(), r.Method
	latest := n == len(r.Readings)
	switch {
	case r.ExpandedAt.IsZero():
		if latest && m.Expansion.Holds(p) {
			return []Fact{ExpansionStarted{n}}
		}
	case !r.expanded():
		return []Fact{ExpansionVoid{}}
	case latest && r.expansionOver(reading.Taken) && m.Test.Holds(p):
		return []Fact{HoldStarted{n}}
	}
	return nil
}

// yes takes the reading that was asked about, in the unit asked for, as true
// at the moment it was posted.
func (r Run) yes(b Bench) ([]Fact, error) {
	if r.Asked == nil {
		return nil, r.refuse(NothingAsked)
	}
	reading := r.Asked.Reading
	reading.Written.Unit = r.Asked.Perhaps
	return r.take(b, reading)
}

// fix corrects the last reading, or the one that was asked about.
func (r Run) fix(b Bench, a Asker, w Fix) ([]Fact, error) {
	if q := r.Asked; q != nil && r.Phase != Over {
		return r.answer(b, a, Read{Digits: w.Digits, Unit: w.Unit})
	}
	if n := r.lastMetered(); n > 0 {
		return r.fixMetering(b, n, Read{Digits: w.Digits, Unit: w.Unit})
	}
	last, ok := r.Last()
	if !ok {
		return nil, r.refuse(NothingToFix)
	}
	return r.correct(b, last.N, w.Digits, w.Unit)
}

// answer takes the reading that was asked about with other digits.
func (r Run) answer(b Bench, a Asker, w Read) ([]Fact, error) {
	asked := r.Asked.Reading
	reading, err := r.readingOf(a, w)
	if err != nil {
		return nil, err
	}
	if unit, doubt := r.doubt(w, reading.Written); doubt {
		return nil, r.refuse(Implausible, func(f *Refusal) {
			f.Digits, f.Unit = reading.Written.Digits, reading.Written.Unit
			if unit != NoUnit {
				f.Choices = []string{unit.String()}
			}
		})
	}
	asked.Written = reading.Written
	return r.take(b, asked)
}

// amend is a post edited.
func (r Run) amend(b Bench, a Asker, w Amend) ([]Fact, error) {
	if q := r.Asked; q != nil && q.Reading.Post == w.Post && r.Phase != Over {
		return r.answer(b, a, w.Read)
	}
	if n := r.metered(w.Post); n > 0 {
		return r.fixMetering(b, n, w.Read)
	}
	for i := len(r.Readings) - 1; i >= 0; i-- {
		if r.Readings[i].Post == w.Post {
			return r.correct(b, r.Readings[i].N, w.Read.Digits, w.Read.Unit)
		}
	}
	return nil, r.refuse(NothingToFix)
}

// correct replaces the value of reading n and says what follows. The reading
// stays true at its own moment, and the run is judged as if it had been posted
// so: both values stay on record.
func (r Run) correct(b Bench, n int, digits string, unit Unit) ([]Fact, error) {
	old := r.reading(n)
	if unit == NoUnit {
		unit = old.Written.Unit
	}
	written, err := Write(digits, unit)
	if err != nil || written.Pressure() > r.most() {
		return nil, r.refuse(Implausible, func(f *Refusal) {
			f.Digits, f.Unit, f.Fix = digits, unit, true
			if p, err := Write(digits, r.Manometer.Unit); err == nil && unit != r.Manometer.Unit && p.Pressure() <= r.most() {
				f.Choices = []string{r.Manometer.Unit.String()} // the reading was written in another
			}
		})
	}
	if written == old.Written {
		return nil, nil
	}
	facts := []Fact{Corrected{N: n, Written: written}}
	after := r.Apply(Entry{Fact: facts[0]})
	if r.Phase == Restore || r.Phase == Over {
		return r.rejudge(b, after, n, facts)
	}
	return append(facts, after.consequences(b, n)...), nil
}

// rejudge gives the verdict anew after a correction. A run that is closed can
// be made worse by it, never better: the suit may have gone back on the shelf.
func (r Run) rejudge(b Bench, after Run, n int, facts []Fact) ([]Fact, error) {
	if r.Verdict == nil || r.HeldBy == 0 {
		return facts, nil // stopped, or a defect by eye
	}
	was := *r.Verdict
	v, ok := after.judged(b)
	_, busy := b.Holder(r.Manometer.ID, r.ID)
	switch {
	case n < r.HeldBy && (!ok || v.Outcome == was.Outcome):
		return facts, nil // a reading of no weight
	case r.Phase == Over && (!ok || was.Outcome != Pass && v.Outcome != Fail):
		return nil, r.refuse(ClosedForGood)
	case !ok && (busy || r.disturbed || len(Missing(r.RestoreList)) < len(r.RestoreList)):
		v = Verdict{Outcome: NoVerdict, Reason: CutShort, Method: r.Method.Key, Start: was.Start, Bell: was.Bell}
	case !ok:
		return append(facts, HoldResumed{}), nil
	}
	return append(facts, Judged{v}), nil
}
