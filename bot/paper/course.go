package paper

import (
	"fmt"
	"slices"
	"strings"
	"time"

	"benchbell/commands"
	"benchbell/core"
)

// course is a run as its entries tell it: what the run itself has forgotten,
// such as who corrected what, is in it too.
type course struct {
	run      core.Run
	station  Station
	taken    []taken
	given    []given
	events   []event
	testers  []person
	gauges   []core.Manometer // in the order in which they were chosen
	defects  []core.Note      // with the item they were seen at
	seen     []core.Note      // the same as the run has them among its notes
	stopped  *event           // by which the run ended without a verdict
	released *event           // an officer's word after the run's end
	last     time.Time        // moment of the last entry
}

// event is something that happened in a run.
type event struct {
	at   time.Time
	by   core.Person
	what string
	seq  uint64 // of the entry
}

// person is somebody who had the run, from a moment on.
type person struct {
	core.Person
	from time.Time
}

// taken is a reading, with where in the run it was taken.
type taken struct {
	phase       core.Phase
	role        string // what it began or ended, if anything
	attempt     int    // from 0
	heldAt      time.Time
	corrections []event // as they were made, oldest first
}

// given is a verdict that was given, and what took it back, if anything did.
type given struct {
	core.Verdict
	at   time.Time
	by   core.Person
	seq  uint64 // of the entry
	fate string
}

// newCourse reads the entries of a run. Others of the suit may be among them,
// of which a release after the run's end is looked at.
func newCourse(run core.RunID, entries []core.Entry, station Station) (course, error) {
	c := course{station: station}
	another := false // a later run on the suit: what is said of the suit is about that one
	for _, e := range entries {
		_, opens := e.Fact.(core.Opened)
		switch {
		case e.Run == run && (opens || c.run.ID != 0):
			c.apply(e)
		case c.run.Phase != core.Over || e.Suit != c.run.Suit.Tag:
		case opens:
			another = true
		case !another:
			c.goesOn(e)
		}
	}
	if run == 0 || c.run.ID == 0 {
		return course{}, fmt.Errorf("none of %d entries begins %v: %w", len(entries), run, errEntries)
	}
	return c, nil
}

// goesOn takes in an entry about the suit after the run's end.
func (c *course) goesOn(e core.Entry) {
	if _, ok := e.Fact.(core.Released); ok {
		c.last = e.At
		c.released = c.note(e, "Released: it may be worn.")
	}
}

func (c *course) note(e core.Entry, what string) *event {
	c.events = append(c.events, event{e.At, e.By, what, e.Seq})
	return &c.events[len(c.events)-1]
}

// apply takes in an entry of the run. Ticks and conditions are left to the
// run, which keeps them.
func (c *course) apply(e core.Entry) {
	before := c.run
	c.run, c.last = c.run.Apply(e), e.At
	switch f := e.Fact.(type) {
	case core.Opened:
		c.testers = []person{{e.By, e.At}}
		c.gauges = []core.Manometer{f.Manometer}
		c.note(e, fmt.Sprintf("Put on the bench: method %s, manometer %s.", f.Method.Key, f.Manometer.ID))
	case core.HandedOver:
		c.testers = append(c.testers, person{f.To, e.At})
		right := ""
		if f.Why != "" {
			right = ", since " + string(f.Why)
		}
		c.note(e, "Handed over to "+f.To.Name+right+".")
	case core.ManometerChosen:
		c.gauges = append(c.gauges, f.Manometer)
		c.note(e, "Manometer "+f.Manometer.ID+" taken.")
	case core.Unticked:
		c.note(e, "Ticks taken back: "+numbered(before.List(), f.Items, before)+".")
	case core.DefectSeen:
		text := numbered(before.List(), []int{f.Item}, before) + ": " + typed(f.What)
		c.defects = append(c.defects, core.Note{At: e.At, By: e.By, Text: text})
		c.seen = append(c.seen, core.Note{At: e.At, By: e.By, Text: f.What})
		c.note(e, "Defect seen at "+numbered(before.List(), []int{f.Item}, before)+".")
	case core.Taken:
		c.taken = append(c.taken, taken{phase: before.Phase, attempt: len(before.Past), heldAt: before.HeldAt})
	case core.Questioned:
		c.note(e, fmt.Sprintf("%s doubted, not taken: asked whether it is %s.", f.Reading.Written, f.Perhaps))
	case core.Corrected:
		c.corrected(e, f, before)
	case core.Judged:
		c.judged(e, f.Verdict)
	default:
		c.moved(e)
	}
}

func because(why string) string {
	if why == "" {
		return ""
	}
	return ": " + typed(why)
}

func (c *course) corrected(e core.Entry, f core.Corrected, before core.Run) {
	readings := before.AllReadings()
	if f.N < 1 || f.N > len(readings) || f.N > len(c.taken) {
		return
	}
	was := readings[f.N-1].Written
	of := &c.taken[f.N-1]
	of.corrections = append(of.corrections, event{e.At, e.By, was.String(), e.Seq})
	c.note(e, fmt.Sprintf("Reading %d corrected: %s → %s.", f.N, was, f.Written))
}

func (c *course) judged(e core.Entry, v core.Verdict) {
	c.withdraw("replaced", e)
	c.given = append(c.given, given{Verdict: v, at: e.At, by: e.By, seq: e.Seq})
	c.mark(v.End.N, core.Hold, "ending pressure")
	c.note(e, "Verdict: "+strings.ToUpper(string(v.Outcome))+".")
}

// undo says what became of the last verdict, if it stood until now.
func (c *course) undo(fate string, e core.Entry) {
	if n := len(c.given); n > 0 && c.given[n-1].fate == "" {
		c.given[n-1].fate = fmt.Sprintf("%s %s by %s", fate, c.station.moment(e.At), e.By.Name)
	}
}

// withdraw does so for a verdict that should not have been: its ending pressure
// was none.
func (c *course) withdraw(fate string, e core.Entry) {
	if v, ok := c.stands(); ok {
		c.mark(v.End.N, core.Hold, "")
	}
	c.undo(fate, e)
}

// mark says what a reading began or ended.
func (c *course) mark(n int, phase core.Phase, role string) {
	if n < 1 || n > len(c.taken) {
		return
	}
	of := &c.taken[n-1]
	of.phase, of.role = phase, role
	if phase == core.Hold {
		of.heldAt = c.run.HeldAt
	}
}

// moved notes what moved the run from phase to phase, after it has moved.
func (c *course) moved(e core.Entry) {
	switch f := e.Fact.(type) {
	case core.ExpansionStarted:
		c.mark(f.N, core.Expansion, "start")
		c.note(e, fmt.Sprintf("Expansion begins with reading %d, until %s.", f.N, c.station.clock(c.run.ExpansionEnds())))
	case core.ExpansionVoid:
		c.note(e, "Expansion void: the pressure was not within its range.")
	case core.HoldStarted:
		c.mark(f.N, core.Hold, "start")
		c.note(e, fmt.Sprintf("Hold begins with reading %d, until %s.", f.N, c.station.clock(c.run.HoldEnds())))
	case core.HoldVoid:
		c.note(e, "Hold void: it did not begin as it should.")
	case core.HoldResumed:
		c.withdraw("taken back", e)
		c.note(e, "Verdict taken back: the hold goes on.")
	case core.Again:
		c.undo("test begun again", e)
		c.stopped = nil
		c.note(e, "Begun again"+because(f.Why)+".")
	case core.NoneFitted:
		c.note(e, "Nothing was fitted, by the tester's word.")
	case core.Rung:
		if what := bellWords(f, e.At); what != "" {
			c.note(e, what)
		}
	case core.MeteringBegun:
		c.note(e, "The capacity is to be measured.")
	case core.MeteringRead:
		c.note(e, fmt.Sprintf("Capacity: %s read %s.", f.Reading.Manometer, f.Reading.Written))
	case core.AirAdded:
		c.note(e, fmt.Sprintf("Capacity: %s L of air added.", typed(f.Litres)))
	case core.MeteringCorrected:
		c.note(e, fmt.Sprintf("Capacity: the reading %s corrected to %s.", commands.BeforeOrAfter(f.N), f.Written))
	case core.MeteringLeft:
		if f.TooHigh.IsZero() {
			c.note(e, "Capacity left unmeasured.")
		} else {
			c.note(e, fmt.Sprintf("Capacity left unmeasured: %s is above the expansion range.", f.TooHigh))
		}
	case core.CapacityMeasured:
		c.note(e, "Capacity measured.")
	case core.Stopped:
		c.stopped = c.note(e, strings.TrimSuffix("Stopped without a verdict: "+typed(f.Why), ": ")+".")
	case core.Closed:
		c.note(e, "Closed.")
	}
}

// bellWords tells of the bells that end a phase. Those in between only help.
func bellWords(r core.Rung, at time.Time) string {
	var what string
	switch {
	case r.Quiet:
		return ""
	case r.Bell == core.BellExpansion:
		what = "Bell: end of the expansion"
	case r.Bell == core.BellHold:
		what = "Bell: end of the hold"
	default:
		return ""
	}
	if late := at.Sub(r.Due); late >= time.Second {
		what += ", rung " + commands.Span(late) + " late"
	}
	return what + "."
}

// numbered names items of a list with their numbers.
func numbered(list []core.Check, items []int, run core.Run) string {
	var names []string
	for _, n := range items {
		if n >= 1 && n <= len(list) {
			names = append(names, fmt.Sprintf("%d (%s)", n, commands.Task(list[n-1].Item, run)))
		}
	}
	return strings.Join(names, ", ")
}

// stands is the verdict that was given last and not taken back.
func (c *course) stands() (given, bool) {
	if n := len(c.given); n > 0 && c.given[n-1].fate == "" {
		return c.given[n-1], true
	}
	return given{}, false
}

// attempts is how often the test was begun.
func (c *course) attempts() int { return len(c.run.Past) + 1 }

// reading returns reading n as it stands now.
func (c *course) reading(n int) core.Reading {
	if n < 1 || n > len(c.run.AllReadings()) {
		return core.Reading{}
	}
	return c.run.AllReadings()[n-1]
}

// notes is what was remarked; the run keeps defects among its notes.
func (c *course) notes() []core.Note {
	return slices.DeleteFunc(slices.Clone(c.run.Notes), func(n core.Note) bool {
		return slices.ContainsFunc(c.seen, func(d core.Note) bool { return d == n })
	})
}
