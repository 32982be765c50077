package core

import (
	"math"
	"slices"
	"strconv"
	"time"

	"benchbell/core/estimate"
)

// Metering is a measurement of a suit's capacity on the bench: read, add a
// known volume of air, read again. It is a part of a run, between its verdict
// and the first tick of its restore list, so that the plugs are counted back whatever
// comes of it. The zero Metering was never begun.
type Metering struct {
	Began  time.Time
	Before Reading // the pressure before the air was added; N is 1
	Litres string  // the air added, as written
	Added  time.Time
	After  Reading // the pressure after it; N is 2
	Done   bool    // the result is kept
	// Void is true once a reading showed that the suit was overfilled. That reading
	// can still be corrected if it was a slip, so that the correction does not reach
	// a reading of the test. The other reading cannot: air was let out since.
	Void bool
}

// Open reports whether a measurement is under way.
func (m Metering) Open() bool { return !m.Began.IsZero() && !m.Done && !m.Void }

// Awaited is what a measurement waits for.
type Awaited string

// What a measurement waits for, in this order.
const (
	AwaitNothing Awaited = ""
	AwaitBefore  Awaited = "reading before"
	AwaitLitres  Awaited = "litres"
	AwaitAfter   Awaited = "reading after"
)

// Awaits returns what the measurement waits for, if one is under way.
func (m Metering) Awaits() Awaited {
	switch {
	case !m.Open():
		return AwaitNothing
	case m.Before.N == 0:
		return AwaitBefore
	case m.Litres == "":
		return AwaitLitres
	}
	return AwaitAfter
}

// Settled returns the moment from which the second reading counts: the added air needs
// time to spread and to reach the temperature of the suit.
func (m Metering) Settled() time.Time { return m.Added.Add(settle) }

// Expires returns the moment until which the second reading counts. Later the air and
// the suit have changed too much.
func (m Metering) Expires() time.Time { return m.Before.Taken.Add(tooLong) }

// The numbers of a measurement are ours: how long the suit settles after the
// air was added; after how long it is to be begun anew; which volumes of air are
// taken for a slip.
const (
	settle      = 30 * time.Second
	tooLong     = 10 * time.Minute
	leastLitres = 0.1
	mostLitres  = 10
)

// lowestMetered is the least pressure that a measurement begins at: four fifths
// of the least test pressure. Below that a suit yields differently than in a test (see
// Capacity.GoodAt). The share is ours.
func (r Run) lowestMetered() Pressure { return r.Method.Test.Low / 5 * 4 }

// Measurable reports whether the capacity can be measured now: the verdict of a
// hold is given, its manometer is in calibration, and nothing on the suit was opened
// yet.
func (r Run) Measurable() bool {
	if r.Phase != Restore || r.Verdict == nil || r.HeldBy == 0 || r.Verdict.Reason == ManometerStale {
		return false
	}
	return len(Missing(r.RestoreList)) == len(r.RestoreList)
}

// MostLitres estimates how many litres of air fill the suit to the upper end of its
// expansion range: from its effective volume if that was measured before, or from its
// free volume as if it were stiff. It uses the lower end of either. ok is false if
// neither is known, and before the first reading.
func (r Run) MostLitres() (litres float64, ok bool) {
	if r.Metering.Before.N == 0 {
		return 0, false
	}
	room := r.Room()
	least := r.Suit.Volume.free().Low
	if c := r.KnownCapacity(); !c.IsZero() {
		least = c.EffectiveVolume(room).Low
	}
	headroom := (r.Method.Expansion.High - r.Metering.Before.Pressure()).Pascals()
	return 1000 * least * headroom / room, least > 0
}

// KnownCapacity returns the suit's capacity: as measured in this run, or else
// as it was known before.
func (r Run) KnownCapacity() Capacity {
	if !r.Measured.IsZero() {
		return r.Measured
	}
	return r.Suit.Capacity
}

// metering takes in a fact of a measurement.
func (r *Run) metering(e Entry) {
	m := &r.Metering
	switch f := e.Fact.(type) {
	case MeteringBegun:
		if r.Phase == Restore {
			*m, r.Handled = Metering{Began: e.At}, true
		}
	case MeteringRead:
		if f.Reading.N == 2 {
			m.After = f.Reading
		} else {
			m.Before = f.Reading
		}
	case AirAdded:
		if m.Litres = f.Litres; m.Added.IsZero() {
			m.Added = e.At
		}
	case MeteringCorrected:
		of := &m.Before
		if f.N == 2 {
			of = &m.After
		}
		of.Was = append(slices.Clip(of.Was), of.Written)
		of.Written, m.Void = f.Written, false
	case CapacityMeasured:
		m.Done, r.Measured = true, f.Capacity
	case MeteringLeft:
		if m.Void = !f.TooHigh.IsZero(); !m.Void {
			*m = Metering{}
		}
	}
}

// measure begins a measurement, or begins it anew.
func (r Run) measure(b Bench) ([]Fact, error) {
	if !r.Measurable() {
		return nil, r.refuse(NotMeasurable)
	}
	if err := r.gaugeAway(b); err != nil {
		return nil, err
	}
	return []Fact{MeteringBegun{}}, nil
}

// gaugeAway refuses while another run has this run's manometer. A test has precedence,
// so a measurement never keeps a manometer for itself.
func (r Run) gaugeAway(b Bench) error {
	holder, busy := b.Holder(r.Manometer.ID, r.ID)
	if !busy {
		return nil
	}
	return r.refuse(ManometerAway, func(f *Refusal) {
		f.Run, f.Suit, f.Until, f.Person = holder.ID, holder.Suit.Tag, holder.FreesManometer(), holder.Tester
	})
}

// leaves returns the fact that ends a measurement under way when the tester goes on
// with something else.
func (r Run) leaves() []Fact {
	if r.Metering.Open() {
		return []Fact{MeteringLeft{}}
	}
	return nil
}

// meter decides on a reading posted while a measurement is under way.
func (r Run) meter(b Bench, a Asker, w Read) ([]Fact, error) {
	m := r.Metering
	if w.HasStated {
		return nil, r.refuse(NotInHold)
	}
	if err := r.gaugeAway(b); err != nil {
		return nil, err
	}
	reading, err := r.readingOf(a, w)
	if err != nil {
		return nil, err
	}
	if err := r.believe(w, reading.Written); err != nil {
		return nil, err
	}
	reading.N = 1
	if m.Awaits() == AwaitAfter {
		reading.N = 2
	}
	switch tooHigh := reading.Pressure() > r.Method.Expansion.High; {
	case a.At.Before(m.Began):
		return nil, r.refuse(NotYet)
	case tooHigh && m.Awaits() == AwaitLitres:
		return []Fact{MeteringLeft{TooHigh: reading.Written}}, nil
	case tooHigh:
		return []Fact{MeteringRead{reading}, MeteringLeft{TooHigh: reading.Written}}, nil
	case m.Awaits() == AwaitLitres:
		return nil, r.refuse(LitresFirst, func(f *Refusal) { f.Digits = m.Before.Written.Digits })
	case reading.N == 1:
		return r.meterFrom(reading)
	case a.At.Before(m.Settled()):
		return nil, r.refuse(NotSettled, func(f *Refusal) { f.Until = m.Settled() })
	case reading.Taken.After(m.Expires()):
		return nil, r.refuse(TooSlow)
	}
	m.After = reading
	return r.result(b, m, MeteringRead{reading})
}

// meterFrom takes the first reading if the suit is filled enough.
func (r Run) meterFrom(reading Reading) ([]Fact, error) {
	if reading.Pressure() < r.lowestMetered() {
		return nil, r.refuse(TooLimp, func(f *Refusal) { f.Digits, f.Unit = reading.Written.Digits, reading.Written.Unit })
	}
	return []Fact{MeteringRead{reading}}, nil
}

// believe refuses a number that no suit shows here, and names the unit in which
// it would fit.
func (r Run) believe(w Read, written Written) error {
	fits := func(p Pressure) bool { return r.lowestMetered() <= p && p <= r.Method.Expansion.High }
	p := written.Pressure()
	said := w.Unit != NoUnit && w.Unit == r.Manometer.Unit
	if fits(p) || said && p <= r.most() {
		return nil
	}
	for _, u := range believable {
		if other, err := Write(written.Digits, u); err == nil && u.One() != written.Unit.One() && fits(other.Pressure()) {
			return r.refuse(Implausible, func(f *Refusal) {
				f.Digits, f.Unit, f.Choices = written.Digits, written.Unit, []string{u.String()}
			})
		}
	}
	if p > r.most() {
		return r.refuse(Implausible, func(f *Refusal) { f.Digits, f.Unit = written.Digits, written.Unit })
	}
	return nil
}

// added takes the litres of air that were added, or corrects them.
func (r Run) added(b Bench, w AddAir) ([]Fact, error) {
	m := r.Metering
	switch {
	case m.Began.IsZero() || m.Void || r.Phase != Restore:
		return nil, r.refuse(NotMetering)
	case m.Before.N == 0:
		return nil, r.refuse(ReadingFirst)
	case w.Litres == m.Litres:
		return nil, nil
	}
	if l, err := strconv.ParseFloat(w.Litres, 64); err != nil || l < leastLitres || l > mostLitres {
		return nil, r.refuse(NotThatMuch, func(f *Refusal) { f.Digits = w.Litres })
	}
	m.Litres = w.Litres
	if m.Done {
		return r.result(b, m, AirAdded(w))
	}
	return []Fact{AirAdded(w)}, nil
}

// fixMetering corrects reading n of a measurement and works its result out again. A
// second reading that was taken too early or too late completes nothing, whatever its
// value: the measurement waits for another.
func (r Run) fixMetering(b Bench, n int, w Read) ([]Fact, error) {
	m := r.Metering
	old := &m.Before
	if n == 2 {
		old = &m.After
	}
	if m.Void && old.Pressure() <= r.Method.Expansion.High {
		return nil, r.refuse(NotMetering)
	}
	if w.Unit == NoUnit {
		w.Unit = old.Written.Unit
	}
	written, err := Write(w.Digits, w.Unit)
	if err != nil || written.Pressure() > r.most() {
		return nil, r.refuse(Implausible, func(f *Refusal) { f.Digits, f.Unit = w.Digits, w.Unit })
	}
	if written == old.Written {
		return nil, nil
	}
	old.Written = written
	fact := MeteringCorrected{N: n, Written: written}
	switch p := written.Pressure(); {
	case p > r.Method.Expansion.High && m.Done:
		return nil, r.refuse(Overfilled, func(f *Refusal) { f.Digits, f.Unit = w.Digits, w.Unit })
	case p > r.Method.Expansion.High:
		return []Fact{fact, MeteringLeft{TooHigh: written}}, nil
	case n == 1 && p < r.lowestMetered():
		return nil, r.refuse(TooLimp, func(f *Refusal) { f.Digits, f.Unit = w.Digits, w.Unit })
	case m.Done || n == 2 && !old.Taken.Before(m.Settled()) && !old.Taken.After(m.Expires()):
		return r.result(b, m, fact)
	}
	return []Fact{fact}, nil
}

// lastMetered returns the number of the last reading of a measurement, zero if
// it has none, or if no measurement is to be corrected any more.
func (r Run) lastMetered() int {
	if r.Phase != Restore || r.Metering.Began.IsZero() {
		return 0
	}
	return max(r.Metering.Before.N, r.Metering.After.N)
}

// metered returns the number of the reading that stands in a post.
func (r Run) metered(post string) int {
	for _, reading := range []Reading{r.Metering.Before, r.Metering.After} {
		if n := r.lastMetered(); post != "" && reading.Post == post && reading.N <= n {
			return reading.N
		}
	}
	return 0
}

// result works out what a measurement comes to by the fact that completes it.
func (r Run) result(b Bench, m Metering, by Fact) ([]Fact, error) {
	c := r.capacityBy(b, m)
	if !c.Plausible() {
		return nil, r.refuse(NoRise, func(f *Refusal) {
			f.Digits, f.Unit, f.Like = m.After.Written.Digits, m.After.Written.Unit, m.Before.Written.Digits
		})
	}
	return []Fact{by, CapacityMeasured{c}}, nil
}

// capacityBy returns the capacity from the readings of a measurement. The suit leaks
// and settles meanwhile as it did in the hold, so its own loss between the two
// readings is added to the rise. That loss has a rectangular uncertainty of half its
// value, besides the uncertainty from the hold. The half is ours.
func (r Run) capacityBy(b Bench, m Metering) Capacity {
	c := Capacity{
		Day: b.Day(m.After.Taken), Litres: m.Litres, From: m.Before.Written, To: m.After.Written,
		Step: r.Manometer.Resolution, Manometer: r.Manometer.ID, By: m.After.By,
	}
	for _, read := range r.AllAir() {
		if !read.Air.Baro.IsZero() {
			c.Room = read.Air.Baro
		}
	}
	course, ok := r.Course()
	if !ok {
		return c
	}
	middle := (m.Before.Pressure() + m.After.Pressure()).Pascals() / 2
	if fall, ok := course.FallAt(middle); ok {
		took := m.After.Taken.Sub(m.Before.Taken).Seconds()
		fell := fall.Value * took
		c.Fell = FromPascals(fell)
		c.FellU = FromPascals(math.Hypot(fall.U*took, estimate.Rectangular(fell/2)))
	}
	return c
}
