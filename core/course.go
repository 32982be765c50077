package core

import (
	"math"

	"benchbell/core/estimate"
)

// Course returns the hold of a run in numbers, as far as it was read; ok is
// false if none began. A pressure's uncertainty is that of its rounding (JCGM
// 100:2008, F.2.2.1): to a step of the manometer, or to the last digit written if that
// is coarser in every reading, since 16.50 may also be written 16.5. The manometer's
// own error shifts all readings alike and is left out.
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

// wander is how far the pressure in a suit wanders besides its leak, in pascals per
// root second: 4 Pa in a minute, 10 Pa in six. A change of 0.01 K has that effect in a
// stiff suit, of several times that in a limp one, and so have a few hundredths of a
// hectopascal. The number is ours.
const wander = 4 / 7.745966692414834 // √60

// settling is the standard uncertainty, in pascals, of the pressure at the start
// because the air in the suit may not have its final temperature yet. Air that is let
// down quickly cools by the share (γ − 1)/γ of its fall in pressure, air that is pumped
// up warms likewise, and both return to the suit's temperature within a minute. The
// suit may have been let down, or pumped up, by at most the difference between the
// method's two pressures; the whole change may remain at the start reading, or none of
// it; a stiff suit shows all of it, a limp one none. Each is taken as rectangular.
func (m Method) settling() float64 {
	const share = 0.4 / 1.4 // γ of air is 1.4
	between := m.Expansion.Target.Pressure() - m.Test.Target.Pressure()
	return share * estimate.Rectangular(1) * estimate.Rectangular(1) * estimate.Rectangular(between.Pascals())
}

// Forecast predicts the ending pressure of a hold. ok is false outside a hold, and
// before there is a second reading.
func (r Run) Forecast() (f estimate.Forecast, ok bool) {
	c, ok := r.Course()
	if r.Phase != Hold || !ok {
		return estimate.Forecast{}, false
	}
	return c.Forecast()
}
