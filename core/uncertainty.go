package core

import (
	"math"
	"math/big"
	"time"

	"gonum.org/v1/gonum/stat/distuv"
)

// Origin names a source of the uncertainty of a margin.
type Origin string

// The sources that are looked at.
const (
	StartResolution  Origin = "resolution of the start reading"
	EndResolution    Origin = "resolution of the ending pressure"
	PermissibleError Origin = "permissible error of the manometer"
	Zero             Origin = "zero of the manometer"
	StartMoment      Origin = "moment of the start reading"
	EndMoment        Origin = "moment of the ending pressure"
	Delay            Origin = "time between look and post"
	BellEstimate     Origin = "readings on either side of the bell"
	AirTemperature   Origin = "resolution of the thermometer"
	AirPressure      Origin = "resolution of the barometer"
	RoomTemperature  Origin = "temperature of a quiet room, ± 0.3 K"
	RoomPressure     Origin = "barometer in a quiet room, ± 0.3 hPa"
)

// Component is what one source adds to the uncertainty of a margin: a standard
// uncertainty in pascals, the sensitivity of the margin already in it.
type Component struct {
	Origin Origin
	U      float64
}

// Budget is the uncertainty budget of a margin after JCGM 100:2008 (GUM).
//
// The margin is the ending pressure less the least that passes from this
// start, in pascals: negative beyond the limit. Where the limit is a drop, the
// margin is that drop less the drop measured, so that the budget is the
// drop's own; where it is a floor, it is that of the ending pressure.
//
// The components are independent of each other; what is not is one component,
// added up linearly (see Limit.permissible). But for the fit of late readings
// none comes from statistics; each is a bound, known or stated, with every value
// inside it as likely as any other (Type B, 4.3.7). Such bounds have as good as
// infinitely many degrees of freedom (G.4.3), so none are counted and the
// coverage factor is a plain 2.
type Budget struct {
	Margin     float64
	Components []Component
	// Late is by how much the margin was greater, on the average, when the hold
	// was over: the pressure was read some seconds later. The margin is not
	// corrected by it, as the verdict goes by what was read, and a correction
	// would only speak for the suit. So it counts as the component Delay (JCGM
	// 100, F.2.4.5).
	Late float64
	// Air is how well the change of the air around the suit is known. The drop is
	// not corrected for it, and so none of it is in the drop's uncertainty; it is
	// in that of the question what of a drop was the leak's (see CombinedWithAir).
	Air     []Component
	LeftOut []Origin // sources of which nothing is known: they are not in it
}

// Combined returns the combined standard uncertainty of the margin, in pascals.
func (b Budget) Combined() float64 { return combined(b.Components) }

func combined(components []Component) float64 {
	sum := 0.0
	for _, c := range components {
		sum += c.U * c.U
	}
	return math.Sqrt(sum)
}

// coverage is the factor k of an expanded uncertainty.
const coverage = 2

// Expanded returns the expanded uncertainty U = 2u of the margin, in pascals.
// The true margin lies within ± U of it with 95 % or more: more where one bound
// outweighs the other sources, since 2u is beyond it then (JCGM 100, G.6.5).
// Interval says what 95 % are.
func (b Budget) Expanded() float64 { return coverage * b.Combined() }

// CombinedWithAir returns the standard uncertainty, in pascals, of the margin
// that the leak alone would have left: with what is not known of the air's
// change. The guard band is twice that.
func (b Budget) CombinedWithAir() float64 { return math.Hypot(b.Combined(), combined(b.Air)) }

// AirExpanded returns the expanded uncertainty (k = 2) of what the air did, in
// pascals.
func (b Budget) AirExpanded() float64 { return coverage * combined(b.Air) }

// Conforms returns the probability that the true margin is not negative (JCGM
// 106:2012, 7.1), by the distribution that the components make together.
func (b Budget) Conforms() float64 {
	s := b.spread()
	if s.half == 0 {
		return Conforms(b.Margin+b.Late, 0)
	}
	return 1 - s.below(-b.Margin-b.Late)
}

// Interval returns the probabilistically symmetric coverage interval of the true
// margin (JCGM 101:2008, 3.15), in pascals: it lies in it with 95 %, and is as
// likely below as above.
func (b Budget) Interval() (low, high float64) {
	s := b.spread()
	around := b.Margin + b.Late
	return around + s.quantile((1-credible)/2), around + s.quantile((1+credible)/2)
}

func (b Budget) spread() spread {
	var bounds []float64
	for _, c := range b.Components {
		switch c.Origin {
		case Delay: // where the middle is
		case BellEstimate:
			bounds = append(bounds, bell(c.U)...)
		default:
			bounds = append(bounds, c.U*math.Sqrt(3))
		}
	}
	return spreadOf(bounds)
}

func (b *Budget) add(from Origin, u float64) {
	if u > 0 {
		b.Components = append(b.Components, Component{from, u})
	}
}

// Conforms returns the probability that the true value is within a limit if it
// was measured a margin inside it, negative outside, with a standard
// uncertainty of u: Φ(margin/u), JCGM 106:2012, 7.3. Both are in one unit. With
// no uncertainty it is 1 or 0; just at the limit is within.
func Conforms(margin, u float64) float64 {
	switch {
	case u > 0:
		return distuv.UnitNormal.CDF(margin / u)
	case margin >= 0:
		return 1
	}
	return 0
}

// Acceptance is a decision rule: how far inside the limit a measured value
// must be for a pass.
type Acceptance string

// The decision rules of JCGM 106:2012, 8.2 and 8.3. Guarded acceptance leaves a
// guard band of one expanded uncertainty inside the limit: then at most 2.3 %
// of what is accepted just at its edge is truly beyond the limit, where simple
// acceptance may be wrong by half.
const (
	Simple  Acceptance = "simple acceptance"
	Guarded Acceptance = "guarded acceptance"
)

// AsksAir reports whether the policy asks for the temperature at the suit at both
// ends of the hold. Guarded acceptance does: the air not read widens its band.
func (p Policy) AsksAir() bool { return p.AskAir || p.Acceptance == Guarded }

// Judge returns what a margin with a standard uncertainty of u comes to by the
// rule. Only Guarded looks at u: within the guard band it gives no verdict.
// Beyond the limit is a fail by either.
func (a Acceptance) Judge(margin, u float64) Outcome {
	switch {
	case margin < 0:
		return Fail
	case a == Guarded && margin < coverage*u:
		return NoVerdict
	}
	return Pass
}

// rectangular returns the standard uncertainty of a value that is known to lie
// within ± a, anywhere in it (JCGM 100, 4.3.7).
func rectangular(a float64) float64 { return a / math.Sqrt(3) }

// rounded returns the standard uncertainty of a value that is shown in steps
// (JCGM 100, F.2.2.1: 0.29 of a step).
func rounded(step float64) float64 { return rectangular(step / 2) }

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
//   - Between the look and the post lies typing, up to 8 s of it.
//   - Who was called to the manometer before the bell looks when it rings, 3 s
//     either way. A post that typing does not explain may come of a look that was
//     as much later.
//   - A stated moment is rounded as people round: it is known to 5 s either way.
const (
	typing   = 8 * time.Second
	reaction = 3 * time.Second
	roughly  = 5 * time.Second
)

// span is when something was, at the earliest and at the latest, counted from
// when it is taken to have been.
type span struct{ from, to time.Duration }

func (s span) middle() time.Duration { return (s.from + s.to) / 2 }

func (s span) half() time.Duration { return (s.to - s.from) / 2 }

// look returns when a reading was looked at, counted from when it counts as
// taken. A post is never before its look.
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

// Evidence is what the uncertainty of a verdict is worked out from.
type Evidence struct {
	Verdict   Verdict
	Method    Method
	Manometer Manometer
	Readings  []Reading // of the hold, as Run.HoldReadings returns them
	Before    Surroundings
	After     Surroundings
	Give      Give
}

// Evidence returns the evidence for a verdict on the run's hold.
func (r Run) Evidence(v Verdict) Evidence {
	e := Evidence{Verdict: v, Method: r.Method, Manometer: r.Manometer, Readings: r.HoldReadings(), Give: r.Give()}
	e.Before, e.After = r.Surroundings()
	return e
}

// Budget works out the margin of the verdict and its uncertainty. ok is false
// if the verdict rests on no two readings: a defect seen, or a test stopped.
//
// The margin is that of the ending pressure at its own moment; if readings on
// either side of the bell had to say what the pressure was when it rang, it is
// that of the middle of the interval they gave.
func (e Evidence) Budget() (b Budget, ok bool) {
	v := e.Verdict
	if v.Start.Written.IsZero() || v.End.Written.IsZero() {
		return Budget{}, false
	}
	start, end := v.Start.Pressure(), v.End.Pressure()
	b.add(StartResolution, e.Method.Limit.perStart()*rounded(e.step(v.Start).Pascals()))
	if v.AtBellHigh != 0 {
		between := v.AtBellHigh - v.AtBellLow
		end = v.AtBellLow + between/2
		b.add(BellEstimate, between.Pascals()/2/distuv.UnitNormal.Quantile((1+credible)/2))
	} else {
		b.add(EndResolution, rounded(e.step(v.End).Pascals()))
	}
	b.Margin = e.Method.Limit.Margin(start, end)
	e.addPermissible(&b, start, end)
	e.addMoments(&b)
	e.addAir(&b)
	return b, true
}

// step returns what a reading was rounded to: the manometer's resolution or
// the last digit written, whichever is coarser.
func (e Evidence) step(r Reading) Pressure {
	return max(e.Manometer.Resolution.Pressure(), r.Written.step())
}

func (e Evidence) addPermissible(b *Budget, start, end Pressure) {
	if e.Manometer.Permissible.IsZero() {
		b.LeftOut = append(b.LeftOut, PermissibleError)
		return
	}
	wrong, zero := e.Method.Limit.permissible(e.Manometer.Permissible.Pressure(), e.Manometer.Resolution.Pressure(), start, end)
	b.add(PermissibleError, wrong)
	b.add(Zero, zero)
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
	return rectangular(most.Pascals() * math.Abs(ratio-l.perStart())), rectangular(half * math.Abs(1-ratio))
}

// addMoments adds what follows from not knowing to the second when a reading
// was true. A hold that began or ended sooner or later than it counts was as
// much longer or shorter, and the pressure at its end differs by what it falls
// in that time: so both moments count with the slope at the end, whatever the
// limit is. What both looks were before their posts on the average cancels; a
// look that the bell called for was before no post.
func (e Evidence) addMoments(b *Budget) {
	slope, ok := e.slope()
	if !ok {
		b.LeftOut = append(b.LeftOut, StartMoment, EndMoment)
		return
	}
	start, end := look(e.Verdict.Start), look(e.Verdict.End)
	b.add(StartMoment, rectangular(slope*start.half().Seconds()))
	if e.Verdict.AtBellHigh != 0 {
		return // the readings around the bell have theirs in their fit
	}
	b.add(EndMoment, rectangular(slope*end.half().Seconds()))
	b.Late = slope * (end.middle() - start.middle()).Seconds()
	b.add(Delay, math.Abs(b.Late))
}

// slope returns how steeply the pressure changed towards the end, in pascals
// per second: since the last reading that was a quarter of a hold or more
// before the end, else since the start. Two readings closer to each other say
// more of their rounding than of the slope; the quarter is ours. A leak's slope
// lessens with time, so a line from further back rather makes too much of it.
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

// Fineness compares a manometer with what a method asks of it.
type Fineness struct {
	Expanded float64 // U of the margin just at the limit, from the manometer alone, in pascals
	Allowed  float64 // greatest drop that passes from the test pressure, in pascals
}

// TooCoarse reports whether the manometer's expanded uncertainty is more than
// a third of the greatest drop allowed. The third is that of legal metrology,
// which JCGM 106:2012, 8.2.3 quotes for simple acceptance.
func (f Fineness) TooCoarse() bool { return 3*f.Expanded > f.Allowed }

// Fineness works out, before a run, what uncertainty the manometer's
// resolution and permissible error alone will leave the margin with.
func (m Method) Fineness(gauge Manometer) Fineness {
	start := m.Test.Target.Pressure()
	end := m.Limit.Lowest(start)
	resolution := rounded(gauge.Resolution.Pressure().Pascals())
	u := math.Hypot(resolution, m.Limit.perStart()*resolution)
	wrong, zero := m.Limit.permissible(gauge.Permissible.Pressure(), gauge.Resolution.Pressure(), start, end)
	u = math.Hypot(u, math.Hypot(wrong, zero))
	return Fineness{Expanded: coverage * u, Allowed: (start - end).Pascals()}
}
