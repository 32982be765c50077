package core

import (
	"slices"
	"time"
)

// Phase is where a run stands.
type Phase string

// The phases of a run. The verdict comes between hold and restore.
const (
	Prepare   Phase = "prepare"
	Expansion Phase = "expansion"
	Hold      Phase = "hold"
	Restore   Phase = "restore"
	Over      Phase = "closed"
)

// Check is an item of a checklist and who ticked it.
type Check struct {
	Item  Item
	Done  bool
	By    Person
	At    time.Time
	ByTap bool
}

// Note is a remark or a condition, with who said it when.
type Note struct {
	At   time.Time
	By   Person
	Text string
}

// Condition is what was read of the air around the suit at a moment: the
// temperature or the barometer.
type Condition struct {
	At  time.Time
	By  Person
	Air Surroundings
}

// Run is one test of one suit. It is a value: Apply returns a new one and
// leaves the old one as it was. Replaying a run's entries from the zero Run
// gives the same run, always.
type Run struct {
	ID        RunID
	Suit      Suit
	Method    Method
	Manometer Manometer
	Tester    Person
	Opened    time.Time
	Phase     Phase

	PrepareList []Check
	RestoreList []Check
	// Shut is true once something was plugged, fitted or shut on the suit: it
	// must then be restored, whatever becomes of the run.
	Shut bool

	Readings []Reading // all of them, in the order of their posts
	Attempt  int       // how often the test was begun again
	first    int       // index in Readings of this attempt's first
	aired    int       // index in Air of this attempt's first

	ExpandedBy int       // number of the reading that started the expansion
	ExpandedAt time.Time // zero while its clock does not run

	HeldBy int       // number of the start reading
	HeldAt time.Time // zero while no hold runs

	// disturbed is true once air was or may have been added to the suit since
	// the verdict: its hold cannot go on, whatever becomes of the verdict.
	disturbed bool

	Asked *Questioned // a reading asked about, not taken

	Verdict  *Verdict
	Verdicts []Verdict // all that were given, oldest first

	Lists int // how many lists were put on screen so far

	Metering Metering // of the capacity, after the verdict
	Measured Capacity // what came of it, zero if nothing did

	Air   []Condition
	Notes []Note
	Leaks []Note // found in the hunt after a fail
	// Photos are the files posted that may be images, in their order; those
	// that turned out to be none are among them.
	Photos []Photo
	Rang   []Rung // bells rung in this phase, and in a hold before its verdict
	// Ready is since when a reading can be one of this attempt: when the list
	// was complete, or the phase repeated.
	Ready time.Time
	// Touched is when the run last heard from a person.
	Touched time.Time
	Closed  time.Time
}

// Replay makes a run from its entries.
func Replay(entries []Entry) Run {
	var r Run
	for _, e := range entries {
		r = r.Apply(e)
	}
	return r
}

// Apply returns the run after an entry. It cannot fail: an entry that makes no
// sense here changes nothing.
func (r Run) Apply(e Entry) Run {
	switch e.Fact.(type) {
	case Rung, PhotoKept, PhotoLost: // nobody did it
	default:
		if e.At.After(r.Touched) {
			r.Touched = e.At
		}
	}
	switch f := e.Fact.(type) {
	case Opened:
		r = Run{
			ID: e.Run, Suit: f.Suit, Method: f.Method, Manometer: f.Manometer,
			Tester: e.By, Opened: e.At, Touched: e.At, Phase: Prepare,
			PrepareList: checks(f.Prepare), RestoreList: checks(f.Restore), Lists: 1,
		}
	case Ticked:
		before := r.Phase
		if r = r.tick(f.Items, Check{Done: true, By: e.By, At: e.At, ByTap: f.ByTap}); r.Phase != before {
			r.Ready = e.At
		}
	case Unticked:
		r = r.tick(f.Items, Check{})
	case Taken:
		r.Readings = append(slices.Clip(r.Readings), f.Reading)
		r.Asked = nil
	case Questioned:
		r.Asked = &f
	case Corrected:
		r.Readings = slices.Clone(r.Readings)
		if i := f.N - 1; i >= 0 && i < len(r.Readings) {
			was := &r.Readings[i]
			was.Was = append(slices.Clip(was.Was), was.Written)
			was.Written = f.Written
		}
	case ExpansionStarted:
		if !r.has(f.N) {
			return r
		}
		r.ExpandedBy, r.ExpandedAt = f.N, r.reading(f.N).Taken
		r.Rang = nil
	case ExpansionVoid:
		r.ExpandedBy, r.ExpandedAt = 0, time.Time{}
		r.Rang = nil
	case HoldStarted:
		if !r.has(f.N) {
			return r
		}
		r.Phase, r.HeldBy, r.HeldAt = Hold, f.N, r.reading(f.N).Taken
		r.Rang = nil
	case HoldVoid:
		r.Phase, r.HeldBy, r.HeldAt = Expansion, 0, time.Time{}
		r.Rang = []Rung{{Bell: BellExpansion, Due: e.At}}
	case HoldResumed:
		r.Phase, r.Verdict, r.Metering = Hold, nil, Metering{}
	case Rung:
		r.Rang = append(slices.Clip(r.Rang), f)
	case DefectSeen:
		r.Notes = append(slices.Clip(r.Notes), Note{e.At, e.By, f.What})
	case Judged:
		v := f.Verdict
		r.Verdict = &v
		r = r.toRestore()
		r.Verdicts = append(slices.Clip(r.Verdicts), v)
		r.Asked = nil // the bells stay rung: the verdict may be taken back
	case Stopped:
		r = r.toRestore()
		r.Asked, r.Rang = nil, nil
	case Again:
		r = r.again()
		r.Ready = e.At
	case HandedOver:
		r.Tester = f.To
		if r.List() != nil {
			r.Lists++
		}
	case ManometerChosen:
		r.Manometer, r.Asked = f.Manometer, nil
	case AirNoted:
		r.Air = append(slices.Clip(r.Air), Condition{At: e.At, By: e.By, Air: Surroundings{Celsius: f.Celsius}})
	case BaroNoted:
		r.Air = append(slices.Clip(r.Air), Condition{At: e.At, By: e.By, Air: Surroundings{Baro: f.Written}})
	case MeteringBegun, MeteringRead, AirAdded, MeteringCorrected, CapacityMeasured, MeteringLeft:
		r = r.metering(e)
	case LeakFound:
		r.Leaks = append(slices.Clip(r.Leaks), Note{e.At, e.By, f.Where})
		r.disturbed = true // it is hunted at the expansion pressure
	case Noted:
		r.Notes = append(slices.Clip(r.Notes), Note{e.At, e.By, f.Text})
	case Closed:
		r.Phase, r.Closed, r.Rang, r.Metering = Over, e.At, nil, Metering{}
	}
	return r.pictured(e)
}

func (r Run) toRestore() Run {
	if r.Phase != Over && r.Phase != Restore {
		r.Phase = Restore
		r.Lists++
	}
	return r
}

func checks(items []Item) []Check {
	list := make([]Check, len(items))
	for i, it := range items {
		list[i].Item = it
	}
	return list
}

func (r Run) tick(items []int, as Check) Run {
	list := &r.PrepareList
	if r.Phase == Restore {
		list = &r.RestoreList
	}
	*list = slices.Clone(*list)
	for _, n := range items {
		if n < 1 || n > len(*list) {
			continue
		}
		as.Item = (*list)[n-1].Item
		(*list)[n-1] = as
		r.Shut = r.Shut || as.Done && as.Item.Closes
	}
	if r.Phase == Prepare && Complete(r.PrepareList) {
		r.Phase, r.Rang = Expansion, nil
	}
	return r
}

// again goes back to where the repeated phase begins.
func (r Run) again() Run {
	r.Asked, r.Rang = nil, nil
	switch r.Phase {
	case Hold: // let down to the test pressure, or topped up to it, once more
		r.Phase, r.HeldBy, r.HeldAt = Expansion, 0, time.Time{}
		r.Rang = []Rung{{Bell: BellExpansion}}
		return r
	case Restore:
		r.RestoreList = checks(items(r.RestoreList))
	}
	r.Phase, r.Verdict, r.Metering, r.disturbed = Expansion, nil, Metering{}, false
	r.Suit.Capacity = r.KnownCapacity() // the new test is judged by it
	r.ExpandedBy, r.ExpandedAt = 0, time.Time{}
	r.HeldBy, r.HeldAt = 0, time.Time{}
	r.Attempt++
	r.first, r.aired = len(r.Readings), len(r.Air)
	return r
}

func items(list []Check) []Item {
	all := make([]Item, len(list))
	for i, c := range list {
		all[i] = c.Item
	}
	return all
}

// Complete reports whether every item of a list is ticked.
func Complete(list []Check) bool { return len(Missing(list)) == 0 }

// Missing returns the numbers, from 1, of the items not ticked.
func Missing(list []Check) []int {
	var missing []int
	for i, c := range list {
		if !c.Done {
			missing = append(missing, i+1)
		}
	}
	return missing
}

// List returns the list on screen, nil in a phase that has none.
func (r Run) List() []Check {
	switch r.Phase {
	case Prepare:
		return r.PrepareList
	case Restore:
		return r.RestoreList
	}
	return nil
}

func (r Run) reading(n int) Reading {
	if n < 1 || n > len(r.Readings) {
		return Reading{}
	}
	return r.Readings[n-1]
}

// has reports whether reading n is one of this attempt.
func (r Run) has(n int) bool { return n > r.first && n <= len(r.Readings) }

// Start returns the start reading of the hold, if there is one.
func (r Run) Start() (Reading, bool) {
	return r.reading(r.HeldBy), r.HeldBy != 0
}

// Last returns the last reading of this attempt.
func (r Run) Last() (Reading, bool) {
	if len(r.Readings) == r.first {
		return Reading{}, false
	}
	return r.Readings[len(r.Readings)-1], true
}

// ExpansionReadings returns this attempt's readings before the hold.
func (r Run) ExpansionReadings() []Reading {
	if r.HeldBy != 0 {
		return slices.Clip(r.Readings[r.first : r.HeldBy-1])
	}
	return slices.Clip(r.Readings[r.first:])
}

// expanded reports whether the readings of the expansion, as corrected, still
// say that it began within tolerance and was not exceeded since.
func (r Run) expanded() bool {
	if !r.Method.Expansion.Holds(r.reading(r.ExpandedBy).Pressure()) {
		return false
	}
	return !slices.ContainsFunc(r.ExpansionReadings(), func(e Reading) bool {
		return e.N > r.ExpandedBy && e.Pressure() > r.Method.Expansion.High
	})
}

// HoldReadings returns the readings since the start reading in the order of
// their moments; two of one moment stay in the order of their posts. A reading
// that came in later but was true before the hold is none of them.
func (r Run) HoldReadings() []Reading {
	if r.HeldBy == 0 {
		return nil
	}
	since := slices.DeleteFunc(slices.Clone(r.Readings[r.HeldBy:]), func(e Reading) bool {
		return e.Taken.Before(r.HeldAt)
	})
	slices.SortStableFunc(since, func(a, b Reading) int { return a.Taken.Compare(b.Taken) })
	return since
}

// Surroundings returns the air around the suit at the two ends of the hold: of
// each instrument the last reading up to the middle of the hold, and the last
// one after it. What was read before the test was repeated says nothing of it.
func (r Run) Surroundings() (before, after Surroundings) {
	middle := r.HeldAt.Add(r.Method.Hold / 2)
	for _, c := range r.Air[r.aired:] {
		to := &before
		if c.At.After(middle) {
			to = &after
		}
		if c.Air.Celsius != "" {
			to.Celsius = c.Air.Celsius
		}
		if !c.Air.Baro.IsZero() {
			to.Baro = c.Air.Baro
		}
	}
	return before, after
}

// ExpansionEnds returns when the expansion is long enough, zero while its
// clock does not run.
func (r Run) ExpansionEnds() time.Time {
	if r.ExpandedAt.IsZero() {
		return time.Time{}
	}
	return r.ExpandedAt.Add(r.Method.ExpansionTime)
}

// HoldEnds returns the moment of the bell, zero while no hold runs.
func (r Run) HoldEnds() time.Time {
	if r.HeldAt.IsZero() {
		return time.Time{}
	}
	return r.HeldAt.Add(r.Method.Hold)
}

// HoldsManometer reports whether the run has its manometer for itself: from
// the first reading to the ending pressure.
func (r Run) HoldsManometer() bool {
	return r.Phase == Hold || r.Phase == Expansion && len(r.Readings) > r.first
}

// FreesManometer estimates when the manometer is free again: when the hold
// ends, at the earliest.
func (r Run) FreesManometer() time.Time {
	switch {
	case r.Phase == Hold:
		return r.HoldEnds()
	case !r.ExpandedAt.IsZero():
		return r.ExpansionEnds().Add(r.Method.Hold)
	}
	return time.Time{}
}

// TopUps counts how often the suit was topped up during the expansion: a
// reading higher than the one before it by more than two steps says so.
func (r Run) TopUps() int {
	count := 0
	readings := r.ExpansionReadings()
	for i, b := range readings {
		if i == 0 || r.ExpandedBy == 0 || b.N <= r.ExpandedBy {
			continue
		}
		a := readings[i-1]
		if b.Pressure()-a.Pressure() > 2*max(r.Manometer.Resolution.Pressure(), min(step(a), step(b))) {
			count++
		}
	}
	return count
}

// Sinking reports whether the pressure still fell between the last two
// readings of the expansion, by more than half the tolerance, or was topped up
// between them: the suit then is not settled yet.
func (r Run) Sinking() bool {
	readings := slices.DeleteFunc(slices.Clone(r.ExpansionReadings()), func(x Reading) bool { return x.N < r.ExpandedBy })
	if len(readings) < 2 {
		return false
	}
	a, b := readings[len(readings)-2].Pressure(), readings[len(readings)-1].Pressure()
	tolerance := (r.Method.Expansion.High - r.Method.Expansion.Low) / 2
	return 2*(a-b) > tolerance || 2*(b-a) > tolerance
}
