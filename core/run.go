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
	Bad   string // what was found bad at it instead, while it was to be restored
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

// Run is one test of one suit: its lists, its bells, and the attempts at the test
// itself. The present attempt is embedded. Apply returns a new Run and does not change
// the old one. Replaying a run's entries from the zero Run always gives the same run.
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
	// Shut is true once something was plugged, fitted or shut on the suit. It must
	// then be unplugged, however the run ends.
	Shut bool
	// FoundBad is true once a defect was found while the suit was unplugged and put
	// away. It is then not fit, whatever the verdict.
	FoundBad bool
	// Ended is true once the run was stopped without a verdict.
	Ended bool

	Attempt           // the present one
	Past    []Attempt // those given up, oldest first

	Asked *Questioned // a reading asked about, not taken
	Lists int         // how many lists were put on screen so far

	Metering Metering // of the capacity, after the verdict
	Measured Capacity // what came of it, zero if nothing did

	Notes []Note
	Leaks []Note // found in the hunt after a fail
	// Photos are the posted files that may be images, in their order. They include
	// files that turned out not to be images.
	Photos []Photo
	Rang   []Rung // bells rung in this phase, and in a hold before its verdict
	// Touched is when the run last heard from a person.
	Touched time.Time
	// Heard is when its tester last said anything in it, or became its tester.
	Heard  time.Time
	Closed time.Time
}

// Replay makes a run from its entries.
func Replay(entries []Entry) Run {
	var r Run
	for _, e := range entries {
		r.apply(e)
	}
	return r
}

// Apply returns the run after an entry. It cannot fail: an entry that makes no
// sense here changes nothing.
func (r Run) Apply(e Entry) Run {
	r.apply(e)
	return r
}

// apply is Apply in place: a run is large, and a suit's file replays all its runs.
func (r *Run) apply(e Entry) {
	switch e.Fact.(type) {
	case Rung, PhotoKept, PhotoLost: // nobody did it
	default:
		if e.At.After(r.Touched) {
			r.Touched = e.At
		}
		if e.By.Is(r.Tester) && e.At.After(r.Heard) {
			r.Heard = e.At
		}
	}
	switch f := e.Fact.(type) {
	case Opened:
		*r = Run{
			ID: e.Run, Suit: f.Suit, Method: f.Method, Manometer: f.Manometer,
			Tester: e.By, Opened: e.At, Touched: e.At, Heard: e.At, Phase: Prepare,
			PrepareList: checks(f.Prepare), RestoreList: checks(f.Restore), Lists: 1,
		}
	case Ticked:
		before := r.Phase
		if r.tick(f.Items, Check{Done: true, By: e.By, At: e.At, ByTap: f.ByTap}); r.Phase != before {
			r.Began = e.At
		}
		r.Handled = true
	case Unticked:
		r.tick(f.Items, Check{})
		r.Handled = true
	case Taken, Corrected, ExpansionStarted, ExpansionVoid, HoldStarted, HoldVoid, HoldResumed, Judged, Again, AirNoted, BaroNoted:
		r.attempted(e)
	case Questioned:
		r.Asked = &f
	case Rung:
		r.Rang = append(slices.Clip(r.Rang), f)
	case DefectSeen:
		r.Notes = append(slices.Clip(r.Notes), Note{e.At, e.By, f.What})
		r.defect(f, e)
	case Stopped:
		r.toRestore()
		r.Asked, r.Rang, r.Ended = nil, nil, true
	case HandedOver:
		r.Tester, r.Handled, r.Heard = f.To, true, e.At
		if r.List() != nil {
			r.Lists++
		}
	case ManometerChosen:
		r.Manometer, r.Asked = f.Manometer, nil
	case MeteringBegun, MeteringRead, AirAdded, MeteringCorrected, CapacityMeasured, MeteringLeft:
		r.metering(e)
	case LeakFound:
		r.Leaks = append(slices.Clip(r.Leaks), Note{e.At, e.By, f.Where})
		r.Handled = true // it is hunted at the expansion pressure
	case Noted:
		r.Notes = append(slices.Clip(r.Notes), Note{e.At, e.By, f.Text})
	case Closed:
		r.Phase, r.Closed, r.Rang, r.Metering = Over, e.At, nil, Metering{}
	}
	r.pictured(e)
}

func (r *Run) toRestore() {
	if r.Phase != Over && r.Phase != Restore {
		r.Phase = Restore
		r.Lists++
	}
}

func checks(items []Item) []Check {
	list := make([]Check, len(items))
	for i, it := range items {
		list[i].Item = it
	}
	return list
}

func (r *Run) tick(items []int, as Check) {
	list := &r.PrepareList
	if r.Phase == Restore {
		list, r.Opening = &r.RestoreList, true
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
}

// defect marks an item of the restore list as bad, so that the list can still be
// completed; the defect blocks the suit. Plugs and adapters stay open, since they may
// still be in the suit.
func (r *Run) defect(f DefectSeen, e Entry) {
	r.FoundBad = r.FoundBad || r.Phase == Restore
	if i := f.Item - 1; r.Phase == Restore && i >= 0 && i < len(r.RestoreList) && !r.RestoreList[i].Item.ByName() {
		r.RestoreList = slices.Clone(r.RestoreList)
		r.RestoreList[i] = Check{Item: r.RestoreList[i].Item, Done: true, By: e.By, At: e.At, Bad: f.What}
		r.Handled = true
	}
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
// the first reading to the ending pressure, and between two holds of one
// expansion.
func (r Run) HoldsManometer() bool {
	return r.Phase == Hold || r.Phase == Expansion && (len(r.Readings) > 0 || r.Expanded)
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
