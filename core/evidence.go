package core

import (
	"math"
	"math/big"
	"time"

	"benchbell/core/estimate"
)

// The sources of the uncertainty of a margin that are looked at.
const (
	StartResolution  = "resolution of the start reading"
	EndResolution    = "resolution of the ending pressure"
	PermissibleError = "permissible error of the manometer"
	Zero             = "zero of the manometer"
	StartMoment      = "moment of the start reading"
	EndMoment        = "moment of the ending pressure"
	Delay            = "time between look and post"
	BellEstimate     = "readings on either side of the bell"
	AirTemperature   = "resolution of the thermometer"
	AirPressure      = "resolution of the barometer"
	RoomTemperature  = "temperature of a quiet room, ± 0.3 K"
	RoomPressure     = "barometer in a quiet room, ± 0.3 hPa"
)

// coverage is the factor k of an expanded uncertainty.
const coverage = estimate.Coverage

// Acceptance is a decision rule: how far inside the limit a measured value
// must be for a pass.
type Acceptance string

// The decision rules of JCGM 106:2012, 8.2 and 8.3. Guarded acceptance leaves a
// guard band of one expanded uncertainty inside the limit: then at most 2.3 %
// of what is accepted at its edge is truly beyond the limit. With simple acceptance
// half of it may be.
const (
	Simple  Acceptance = "simple acceptance"
	Guarded Acceptance = "guarded acceptance"
)

// AsksAir reports whether the policy asks for the temperature at the suit at both
// ends of the hold. Guarded acceptance always does: without it the band is wider.
func (p Policy) AsksAir() bool { return p.AskAir || p.Acceptance == Guarded }

// judge returns the outcome of a margin with a standard uncertainty of u. Beyond the
// limit both rules fail. Within the guard band Guarded gives no verdict.
func (a Acceptance) judge(margin, u float64) Outcome {
	switch {
	case margin < 0:
		return Fail
	case a == Guarded && margin < coverage*u:
		return NoVerdict
	}
	return Pass
}

// perStart returns by how much the least ending pressure that passes rises
// with the start: 1 for a greatest drop, 0 for a floor, and the ratio itself.
func (l Limit) perStart() float64 {
	switch {
	case !l.Drop.IsZero():
		return 1
	case !l.Floor.IsZero() || l.Den == 0:
		return 0
	}
	return float64(l.Num) / float64(l.Den)
}

// Margin returns by how many pascals end is above the least ending pressure
// that passes from start. Its sign is exact.
func (l Limit) Margin(start, end Pressure) float64 {
	margin := new(big.Rat).SetInt64(int64(end))
	margin.Sub(margin, l.lowest(start))
	nanopascals, _ := margin.Float64()
	return nanopascals / float64(Pascal)
}

// When somebody looked at the manometer. The numbers are ours:
//
//   - Typing takes up to 8 s between look and post.
//   - A tester who was warned before the bell looks when it rings, to 3 s either way.
//     If the post comes later than typing explains, the look may have been as much
//     later.
//   - A stated moment is rounded as people round: to 5 s either way.
const (
	typing   = 8 * time.Second
	reaction = 3 * time.Second
	roughly  = 5 * time.Second
)

// span is when something happened at the earliest and at the latest, relative to the
// moment it counts from.
type span struct{ from, to time.Duration }

func (s span) middle() time.Duration { return (s.from + s.to) / 2 }

func (s span) half() time.Duration { return (s.to - s.from) / 2 }

// look returns when the tester looked at the manometer, relative to the moment the
// reading counts from. A look is never later than its post.
func look(r Reading) span {
	posted := r.Posted.Sub(r.Taken)
	switch {
	case r.Stated:
		return span{-roughly, roughly}
	case posted == 0:
		return span{-typing, 0}
	}
	posted = min(posted, GraceAfter) // it was asked about, and is posted once more
	return span{min(-reaction, posted-typing), min(max(reaction, posted-typing), posted)}
}

// Evidence holds the inputs to the uncertainty of a verdict.
type Evidence struct {
	Verdict   Verdict
	Method    Method
	Manometer Manometer
	Readings  []Reading // of the hold, as Run.HoldReadings returns them
	Before    Surroundings
	After     Surroundings
	Give      Give
	// Air is what the extremes of the air read at both ends can have done; nil
	// where only Before and After are known.
	Air *AirChange
}

// Evidence returns the evidence for a verdict on the run's hold.
func (r Run) Evidence(v Verdict) Evidence {
	e := Evidence{Verdict: v, Method: r.Method, Manometer: r.Manometer, Readings: r.HoldReadings(), Give: r.Give()}
	befores, afters := r.airOf(v)
	e.Before, e.After = befores[0], afters[0]
	if change, _ := r.AirOn(v); v.End.N != 0 {
		e.Air = &change
	}
	return e
}

// Budget works out the margin of the verdict and its uncertainty. ok is false
// if the verdict rests on no two readings: a defect seen, or a test stopped.
//
// The margin is that of the ending pressure at its own moment; if readings on
// either side of the bell had to say what the pressure was when it rang, it is
// that of the middle of the interval they gave.
func (e Evidence) Budget() (b estimate.Budget, ok bool) {
	v := e.Verdict
	if v.Start.Written.IsZero() || v.End.Written.IsZero() {
		return estimate.Budget{}, false
	}
	start, end := v.Start.Pressure(), v.End.Pressure()
	add(&b, StartResolution, e.Method.Limit.perStart()*estimate.Rounded(e.step(v.Start).Pascals()))
	if v.AtBellHigh != 0 { // decided by the first rules
		between := v.AtBellHigh - v.AtBellLow
		end = v.AtBellLow + between/2
		b.Add(estimate.Component{Origin: BellEstimate, U: between.Pascals() / 2 / normal95, Law: estimate.Normal})
	} else {
		add(&b, EndResolution, estimate.Rounded(e.step(v.End).Pascals()))
	}
	b.Margin = e.Method.Limit.Margin(start, end)
	e.addPermissible(&b, start, end)
	e.addMoments(&b)
	e.addAir(&b)
	return b, true
}

// normal95 is how many standard uncertainties the interval of 95 % reaches to
// either side of a normal distribution.
const normal95 = 1.959963984540054

// add adds errors that are anywhere within a bound, with the standard
// uncertainty u.
func add(b *estimate.Budget, from string, u float64) {
	b.Add(estimate.Component{Origin: from, U: u})
}

// step returns what a reading was rounded to: the manometer's resolution or
// the last digit written, whichever is coarser.
func (e Evidence) step(r Reading) Pressure {
	return max(e.Manometer.Resolution.Pressure(), r.Written.step())
}

func (e Evidence) addPermissible(b *estimate.Budget, start, end Pressure) {
	if e.Manometer.Permissible.IsZero() {
		b.LeftOut = append(b.LeftOut, PermissibleError)
		return
	}
	wrong, zero := e.Method.Limit.permissible(e.Manometer.Permissible.Pressure(), e.Manometer.Resolution.Pressure(), start, end)
	add(b, PermissibleError, wrong)
	add(b, Zero, zero)
}

// permissible returns what is left in the margin, both rectangular, of a
// permissible error of ± most, and of the half step that zeroing may leave. All
// readings are of one manometer, so its errors at them are fully correlated and
// add linearly, sign and all (JCGM 100, 5.2.2, note 1). It was zeroed before the
// test, as the checklist asks, so its error is taken to go in a straight line from
// what zeroing left to what it is at the start, at most the permissible one there,
// though its range goes further. At the end, the share end/start is left of the
// latter, and the rest is that of the former. A manometer whose error jumps
// between two readings of one hold is not in order; that is left out.
func (l Limit) permissible(most, step, start, end Pressure) (wrong, zero float64) {
	ratio := 1.0
	if start > 0 {
		ratio = end.Pascals() / start.Pascals()
	}
	half := min(most.Pascals(), step.Pascals()/2)
	return estimate.Rectangular(most.Pascals() * math.Abs(ratio-l.perStart())), estimate.Rectangular(half * math.Abs(1-ratio))
}

// addMoments adds the uncertainty of the two moments. An error in either makes the
// hold longer or shorter, and the pressure at its end differs by what it falls in that
// time, so both are multiplied by the slope at the end, whatever the limit is. The
// mean delay between look and post is common to both readings and cancels. A look at
// the bell has no such delay.
func (e Evidence) addMoments(b *estimate.Budget) {
	slope, ok := e.slope()
	if !ok {
		b.LeftOut = append(b.LeftOut, StartMoment, EndMoment)
		return
	}
	start, end := look(e.Verdict.Start), look(e.Verdict.End)
	add(b, StartMoment, estimate.Rectangular(slope*start.half().Seconds()))
	if e.Verdict.AtBellHigh != 0 {
		return // the readings around the bell have theirs in their fit
	}
	add(b, EndMoment, estimate.Rectangular(slope*end.half().Seconds()))
	b.Late = slope * (end.middle() - start.middle()).Seconds()
	b.Add(estimate.Component{Origin: Delay, U: math.Abs(b.Late), Law: estimate.Offset})
}

// slope returns the slope of the pressure towards the end in pascals per second: since
// the last reading at least a quarter of a hold before the end, or since the start if
// there is none. Two closer readings show their rounding rather than the slope. A
// leak slows down, so a line from further back overestimates it. The quarter is ours.
func (e Evidence) slope() (slope float64, ok bool) {
	from, end := e.Verdict.Start, e.Verdict.End
	for _, r := range e.Readings {
		if r.Taken.After(from.Taken) && end.Taken.Sub(r.Taken) >= e.Method.Hold/4 {
			from = r
		}
	}
	took := end.Taken.Sub(from.Taken).Seconds()
	if took <= 0 {
		return 0, false
	}
	return math.Abs((from.Pressure() - end.Pressure()).Pascals()) / took, true
}

// Fineness compares a manometer with the needs of a method.
type Fineness struct {
	Expanded float64 // U of the margin just at the limit, from the manometer alone, in pascals
	Allowed  float64 // greatest drop that passes from the test pressure, in pascals
}

// TooCoarse reports whether the manometer's expanded uncertainty is more than
// a third of the greatest drop allowed. The third is that of legal metrology,
// which JCGM 106:2012, 8.2.3 quotes for simple acceptance.
func (f Fineness) TooCoarse() bool { return 3*f.Expanded > f.Allowed }

// Fineness returns, before a run, the uncertainty of the margin that comes from the
// manometer's resolution and permissible error alone.
func (m Method) Fineness(gauge Manometer) Fineness {
	start := m.Test.Target.Pressure()
	end := m.Limit.Lowest(start)
	resolution := estimate.Rounded(gauge.Resolution.Pressure().Pascals())
	u := math.Hypot(resolution, m.Limit.perStart()*resolution)
	wrong, zero := m.Limit.permissible(gauge.Permissible.Pressure(), gauge.Resolution.Pressure(), start, end)
	u = math.Hypot(u, math.Hypot(wrong, zero))
	return Fineness{Expanded: coverage * u, Allowed: (start - end).Pascals()}
}
