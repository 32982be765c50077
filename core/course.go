package core

import (
	"math"

	"benchbell/core/estimate"
)

// Course returns the hold of a run in numbers, as far as it was read; ok is
// false if none began. A pressure's uncertainty is that of its rounding (JCGM
// 100:2008, F.2.2.1): to a step of the manometer, or to the last digit written if
// that is coarser in all of them, since 16.50 is written 16.5 as well. What is
// wrong with the manometer itself shifts all alike and is left out.
func (r Run) Course() (c estimate.Hold, ok bool) {
	start, ok := r.Start()
	if !ok {
		return estimate.Hold{}, false
	}
	m, readings := r.Method, append([]Reading{start}, r.HoldReadings()...)
	finest := step(start)
	for _, s := range readings {
		finest = min(finest, step(s))
	}
	u := estimate.Rounded(max(finest, r.Manometer.Resolution.Pressure()).Pascals())
	zero := start.Taken.Add(look(start).middle())
	for _, s := range readings {
		seen := look(s)
		c.Samples = append(c.Samples, estimate.Sample{
			T: s.Taken.Add(seen.middle()).Sub(zero).Seconds(), UT: estimate.Rectangular(seen.half().Seconds()),
			P: s.Pressure().Pascals(), UP: u,
		})
	}
	c.Bell = m.Hold.Seconds()
	c.Ending = estimate.Sample{T: start.Taken.Add(m.Hold).Sub(zero).Seconds(), UT: estimate.Rectangular(reaction.Seconds()), UP: u}
	c.Lowest = m.Limit.Lowest(start.Pressure()).Pascals()
	c.Wander = wander
	c.Samples[0].UP = math.Hypot(u, m.settling())
	return c, true
}

// wander is how far the pressure in a suit wanders besides its leak, in pascals
// in the root of a second: 4 Pa in a minute, 10 Pa in six. In a stiff suit 0.01 K
// does as much, in a limp one several times that; and so do some hundredths of a
// hectopascal. The number is ours.
const wander = 4 / 7.745966692414834 // √60

// settling is how far the pressure at the start may be off the course of the hold
// for the air's temperature, as a standard uncertainty in pascals. Air that is let
// down quickly cools by the share (γ − 1)/γ of what its pressure falls by, air that
// is pumped up warms so, and within a minute it is as the suit is again. It may
// have been let down by all that lies between the two pressures of the method, or
// pumped up by as much after it had sunk; all of the change may still be there when
// the start is read, or none; and all of it shows in a stiff suit and none in a limp
// one. Each is taken as rectangular.
func (m Method) settling() float64 {
	const share = 0.4 / 1.4 // γ of air is 1.4
	between := m.Expansion.Target.Pressure() - m.Test.Target.Pressure()
	return share * estimate.Rectangular(1) * estimate.Rectangular(1) * estimate.Rectangular(between.Pascals())
}

// Forecast tells what a hold is on course for; ok is false outside a hold, and
// before there is a reading besides the start reading.
func (r Run) Forecast() (f estimate.Forecast, ok bool) {
	c, ok := r.Course()
	if r.Phase != Hold || !ok {
		return estimate.Forecast{}, false
	}
	return c.Forecast()
}
