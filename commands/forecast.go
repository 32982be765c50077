package commands

import (
	"fmt"

	"benchbell/core"
)

// course says what a hold is on course for, and how sure it is to fail where that
// is in doubt: the ending pressure as it will be read, with its 95 % interval, and
// the drop that it makes.
func (s Speaker) course(run core.Run) string {
	f, ok := run.Forecast()
	if !ok {
		return ""
	}
	start, _ := run.Start()
	u := run.Method.Unit
	text := fmt.Sprintf("On course for %s ± %s %s at the bell: a drop of %s, limit %s.",
		pascals(f.End.Value, u), pascals(f.End.Half(), u), u, pascals(f.Drop.Value, u),
		run.Method.Limit.GreatestDrop(start.Pressure()).In(u, 1))
	const bound, doubtful = 0.95, 0.05
	switch {
	case f.Beyond > bound:
		return lines(bold(fmt.Sprintf("Bound to miss the limit: %s sure.", percent(f.Beyond))), text)
	case f.Beyond > doubtful:
		return lines(text, fmt.Sprintf("It may miss the limit: %.0f %% likely.", 100*f.Beyond))
	}
	return text
}

// atBell says what the fit of the readings makes of the pressure at the bell,
// where it was not read.
func (s Speaker) atBell(run core.Run, v core.Verdict) string {
	if v.Reason != core.Bracketed && v.Reason != core.LateBeyond {
		return ""
	}
	c, ok := run.Course()
	if !ok {
		return ""
	}
	e, ok := c.AtBell()
	if !ok {
		return ""
	}
	u := run.Method.Unit
	return fmt.Sprintf("By a fit of the readings it was %s ± %s %s at the bell (95 %%).", pascals(e.Value, u), pascals(e.Half(), u), u)
}

// leakOf estimates the leak, where the suit's capacity is known: the flow at
// the start of the hold, and the one round hole that would leak as much.
func (s Speaker) leakOf(run core.Run, v core.Verdict) string {
	start, held := run.Start()
	c, ok := run.Course()
	if run.Suit.Capacity.IsZero() || v.End.N == 0 || !held || !ok {
		return ""
	}
	fall, ok := c.Fall()
	if !ok {
		return ""
	}
	before, _ := run.Surroundings()
	outside := before.Ambient()
	effective, unsure := run.Suit.Capacity.EffectiveVolume(outside.Barometer)
	q := core.LeakRate(effective, fall.Value)
	hole := core.HoleDiameter(q.Flow(outside), start.Pressure().Pascals(), outside)
	return lines(
		fmt.Sprintf("Leak at %s, an estimate: %.2g Pa·m³/s, %.0f mL/min of the air in the room;", start.Written, float64(q), q.MillilitresPerMinute(outside)),
		fmt.Sprintf("as one round hole of %.2f mm. With %.2f ± %.2f m³ effective volume.", 1000*hole, effective, 2*unsure),
		"Formulas for stiff vessels do not hold for suits: take it as a size, not as a measurement.")
}
