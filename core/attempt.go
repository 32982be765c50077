package core

import (
	"cmp"
	"slices"
	"time"
)

// Attempt is one try at the test within a run: what was read, which clocks run
// and which reading set them going, the air, and what it came to. Repeating
// the test begins another; nothing carries over to it but the expansion, if the
// suit was only let down or topped up to the test pressure once more.
type Attempt struct {
	// Began is when the attempt began: when the list was complete, or the attempt
	// before was given up. Earlier readings do not belong to it.
	Began time.Time
	// Expanded is true if the attempt took over the expansion of the one before:
	// a reading of that one started its clock.
	Expanded bool

	Readings []Reading // in the order of their posts

	ExpandedBy int       // number of the reading that started the expansion
	ExpandedAt time.Time // zero while its clock does not run
	HeldBy     int       // number of the start reading
	HeldAt     time.Time // zero while no hold runs

	Air []Condition

	Verdict  *Verdict  // nil before there is one, and if it was taken back
	Verdicts []Verdict // all that were given, oldest first
	judgedAt time.Time // when the last was given

	// Handled is true once something was done since the last reading that may
	// have moved the suit. A correction then improves nothing.
	Handled bool

	// Opening is true once an item of the restore list was ticked, even if the tick
	// was taken back: the suit is no longer as it was tested.
	Opening bool

	GivenUp *Note // who gave it up, when and why; nil for the present one
}

// attempted applies a fact of the present attempt.
func (r *Run) attempted(e Entry) {
	switch f := e.Fact.(type) {
	case Taken:
		r.Readings = append(slices.Clip(r.Readings), f.Reading)
		r.Asked, r.Handled = nil, false
	case Corrected:
		r.corrected(f)
	case ExpansionStarted:
		if !r.has(f.N) {
			return
		}
		r.ExpandedBy, r.ExpandedAt = f.N, r.reading(f.N).Taken
		r.Rang = nil
	case ExpansionVoid:
		r.ExpandedBy, r.ExpandedAt, r.Expanded = 0, time.Time{}, false
		r.Rang = nil
	case HoldStarted:
		if r.reopened(f.N); !r.has(f.N) {
			return
		}
		r.Phase, r.HeldBy, r.HeldAt = Hold, f.N, r.reading(f.N).Taken
		r.Rang = nil
	case HoldVoid:
		r.Phase, r.HeldBy, r.HeldAt = Expansion, 0, time.Time{}
		r.Rang = []Rung{{Bell: BellExpansion, Due: e.At}}
	case HoldResumed:
		r.Phase, r.Verdict, r.Metering = Hold, nil, Metering{}
	case Judged:
		v := f.Verdict
		r.Verdict, r.judgedAt = &v, e.At
		r.toRestore()
		r.Verdicts = append(slices.Clip(r.Verdicts), v)
		r.Asked = nil // the bells stay rung: the verdict may be taken back
	case Again:
		r.again(e, f.Why)
	case AirNoted:
		r.Air = append(slices.Clip(r.Air), Condition{At: e.At, By: e.By, Air: Surroundings{Celsius: f.Celsius}})
	case BaroNoted:
		r.Air = append(slices.Clip(r.Air), Condition{At: e.At, By: e.By, Air: Surroundings{Baro: f.Written}})
	}
}

// AllReadings returns the readings of all attempts, in the order of their posts:
// reading n is the nth.
func (r Run) AllReadings() []Reading {
	var all []Reading
	for _, a := range r.attempts() {
		all = append(all, a.Readings...)
	}
	return all
}

// AllVerdicts returns all verdicts of the run, oldest first.
func (r Run) AllVerdicts() []Verdict {
	var all []Verdict
	for _, a := range r.attempts() {
		all = append(all, a.Verdicts...)
	}
	return all
}

// AllAir returns what was read of the air in all attempts.
func (r Run) AllAir() []Condition {
	var all []Condition
	for _, a := range r.attempts() {
		all = append(all, a.Air...)
	}
	return all
}

func (r Run) attempts() []Attempt { return append(slices.Clip(r.Past), r.Attempt) }

// again gives the present attempt up and begins the next.
func (r *Run) again(by Entry, why string) {
	over := r.Attempt
	over.GivenUp = &Note{At: by.At, By: by.By, Text: why}
	next := Attempt{Began: by.At, Handled: true}
	r.Asked, r.Rang = nil, nil
	switch r.Phase {
	case Hold: // let down to the test pressure, or topped up to it, once more
		next.Expanded, next.ExpandedAt = true, over.ExpandedAt
		r.Rang = []Rung{{Bell: BellExpansion}}
	case Restore:
		r.RestoreList = checks(items(r.RestoreList))
		fallthrough
	default:
		r.Metering = Metering{}
		r.Suit.Capacity = r.KnownCapacity() // the new test is judged by it
	}
	r.Past = append(slices.Clip(r.Past), over)
	r.Phase, r.Attempt, r.Ended = Expansion, next, false
}

// reopened returns to the previous attempt if its reading n begins a hold and nothing
// was read since. No decision does that now, but an old journal may contain it.
func (r *Run) reopened(n int) {
	last := len(r.Past) - 1
	if last < 0 || !r.Expanded || len(r.Readings) > 0 || !r.Past[last].has(n) {
		return
	}
	back := r.Past[last]
	back.GivenUp, back.Verdict = nil, nil
	r.Attempt, r.Past = back, slices.Clip(r.Past[:last])
}

// corrected replaces the value of a reading, of whatever attempt it is.
func (r *Run) corrected(f Corrected) {
	replace := func(a Attempt) Attempt {
		a.Readings = slices.Clone(a.Readings)
		for i := range a.Readings {
			if was := &a.Readings[i]; was.N == f.N {
				was.Was = append(slices.Clip(was.Was), was.Written)
				was.Written = f.Written
			}
		}
		return a
	}
	if r.has(f.N) {
		r.Attempt = replace(r.Attempt)
		return
	}
	for i, a := range r.Past {
		if a.has(f.N) {
			r.Past = slices.Clone(r.Past)
			r.Past[i] = replace(a)
		}
	}
}

// reading returns reading n of the attempt, or none.
func (a Attempt) reading(n int) Reading {
	for _, r := range a.Readings {
		if r.N == n {
			return r
		}
	}
	return Reading{}
}

// has reports whether reading n is one of this attempt.
func (a Attempt) has(n int) bool { return a.reading(n).N != 0 }

// Start returns the start reading of the hold, if there is one.
func (a Attempt) Start() (Reading, bool) { return a.reading(a.HeldBy), a.HeldBy != 0 }

// Last returns the last reading of this attempt.
func (a Attempt) Last() (Reading, bool) {
	if len(a.Readings) == 0 {
		return Reading{}, false
	}
	return a.Readings[len(a.Readings)-1], true
}

// ExpansionReadings returns this attempt's readings before the hold.
func (a Attempt) ExpansionReadings() []Reading {
	i := slices.IndexFunc(a.Readings, func(r Reading) bool { return r.N == a.HeldBy })
	if i < 0 {
		i = len(a.Readings)
	}
	return slices.Clone(a.Readings[:i])
}

// HoldReadings returns the readings since the start reading by their moments, and
// those of one moment in the order of their posts. It leaves out a reading that was
// posted later but taken before the hold.
func (a Attempt) HoldReadings() []Reading {
	if a.HeldBy == 0 {
		return nil
	}
	since := slices.DeleteFunc(slices.Clone(a.Readings), func(r Reading) bool {
		return r.N <= a.HeldBy || r.Taken.Before(a.HeldAt)
	})
	slices.SortStableFunc(since, func(a, b Reading) int { return a.Taken.Compare(b.Taken) })
	return since
}

// expanded reports whether the readings of the expansion, as corrected, still
// say that it began within tolerance and was not exceeded since.
func (r Run) expanded() bool {
	if !r.Expanded && !r.Method.Expansion.Holds(r.reading(r.ExpandedBy).Pressure()) {
		return false
	}
	return !slices.ContainsFunc(r.ExpansionReadings(), func(e Reading) bool {
		return e.N > r.ExpandedBy && (e.Pressure() > r.Method.Expansion.High || r.sagged(e))
	})
}

// sagged reports whether a reading shows that the expansion was not held: it is below
// the test pressure before the time is up. Between the two pressures the suit is
// topped up and the clock goes on. The rule is ours.
func (r Run) sagged(e Reading) bool {
	return e.Taken.Before(r.ExpansionEnds()) && e.Pressure() < r.Method.Test.Low
}

// longestLetDown is how long after the end of the expansion, or the last reading
// since, a hold may begin: later the suit has to be expanded again. Ours.
const longestLetDown = 30 * time.Minute

// slack reports whether the suit was last seen expanded too long ago for a hold to
// begin at t.
func (r Run) slack(t time.Time) bool {
	last := r.ExpansionEnds()
	for _, e := range r.AllReadings() {
		if e.Taken.After(last) && e.Taken.Before(t) && e.Pressure() >= r.Method.Test.Low {
			last = e.Taken
		}
	}
	return t.Sub(last) > longestLetDown
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
	readings := slices.DeleteFunc(r.ExpansionReadings(), func(x Reading) bool { return x.N < r.ExpandedBy })
	if len(readings) < 2 {
		return false
	}
	a, b := readings[len(readings)-2].Pressure(), readings[len(readings)-1].Pressure()
	tolerance := (r.Method.Expansion.High - r.Method.Expansion.Low) / 2
	return 2*(a-b) > tolerance || 2*(b-a) > tolerance
}

// endWindow is how far from an end of the hold the air may be read to count for
// it. Ours.
const endWindow = 2 * time.Minute

// airAt returns the extremes of the air read near a moment: each temperature combined
// with each barometer reading, the latest first. If nothing was read it returns one
// zero value.
func (r Run) airAt(t time.Time) []Surroundings {
	var celsius []string
	var baro []Written
	for _, c := range r.AllAir() {
		if c.At.Before(t.Add(-endWindow)) || c.At.After(t.Add(endWindow)) {
			continue
		}
		if c.Air.Celsius != "" {
			celsius = append(celsius, c.Air.Celsius)
		}
		if !c.Air.Baro.IsZero() {
			baro = append(baro, c.Air.Baro)
		}
	}
	var all []Surroundings
	for _, c := range extremes(celsius, degrees) {
		for _, b := range extremes(baro, Written.Pressure) {
			all = append(all, Surroundings{Celsius: c, Baro: b})
		}
	}
	return all
}

// AirCounts reports whether what is read of the air at a moment counts for the
// hold: it is within minutes of its start, or of its ending pressure or bell.
func (r Run) AirCounts(t time.Time) bool {
	end := r.end()
	return t.Sub(r.HeldAt).Abs() <= endWindow || t.Sub(end).Abs() <= endWindow
}

// end returns the moment of the ending pressure, or before it the bell.
func (r Run) end() time.Time {
	if r.Verdict != nil && r.Verdict.End.N != 0 {
		return r.Verdict.End.Taken
	}
	return r.HoldEnds()
}

// extremes returns the last value, then the least and the greatest if they differ from
// it. Without values it returns one zero value.
func extremes[T comparable, N cmp.Ordered](of []T, number func(T) N) []T {
	if len(of) == 0 {
		var none T
		return []T{none}
	}
	compare := func(a, b T) int { return cmp.Compare(number(a), number(b)) }
	out := of[len(of)-1:]
	for _, x := range []T{slices.MinFunc(of, compare), slices.MaxFunc(of, compare)} {
		if !slices.Contains(out, x) {
			out = append(slices.Clip(out), x)
		}
	}
	return out
}

// degrees returns a temperature as a number to compare.
func degrees(celsius string) float64 {
	x, _ := Surroundings{Celsius: celsius}.celsius()
	return x.celsius
}

// airByFirstRules returns the air as version 1 of the rules used it: each instrument's
// last reading up to the middle of the hold, and its last one after that.
func (r Run) airByFirstRules() (before, after Surroundings) {
	attempts := r.attempts()
	first := len(attempts) - 1
	for first > 0 && attempts[first].Expanded {
		first--
	}
	middle := r.HeldAt.Add(r.Method.Hold / 2)
	for _, a := range attempts[first:] {
		for _, c := range a.Air {
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
	}
	return before, after
}

// Surroundings returns the air around the suit at the two ends of the hold, as
// it was last read within minutes of each: of the start, and of the ending
// pressure, or else of the bell.
func (r Run) Surroundings() (before, after Surroundings) {
	if r.Verdict != nil && r.Verdict.Rules < 2 {
		return r.airByFirstRules()
	}
	return r.airAt(r.HeldAt)[0], r.airAt(r.end())[0]
}
