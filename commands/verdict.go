package commands

import (
	"fmt"
	"slices"
	"strings"

	"benchbell/core"
)

// verdict words a verdict: what it is, the figures, why, what to do.
func (s Speaker) verdict(run core.Run, v core.Verdict, was core.Outcome, standing core.Standing) string {
	head := fmt.Sprintf("%s %s · %s", bold(strings.ToUpper(string(v.Outcome))), run.Suit.Tag, run.ID)
	if was != "" && was != v.Outcome {
		head += ", was " + strings.ToUpper(string(was))
	}
	var do string
	switch v.Outcome {
	case core.Pass:
		if run.Phase == core.Restore { // in the line that a phone shows first
			head += " · " + bold("not fit yet")
		}
		do = lines("Not fit until it is unplugged and put away.", clearsNothing(run, standing))
	case core.Fail:
		do = run.Suit.Tag + " is blocked: not fit."
		if v.Reason == core.DefectByEye {
			do = lines(do, ended(run))
		}
		if run.Phase == core.Over && was == core.Pass {
			do = lines(do, "It may be on the shelf: take it off.")
		}
	case core.NoVerdict:
		do = lines("Not fit: it must be tested again.", remedy(run, v))
	}
	return lines(head, figures(run, v), sure(v), s.why(run, v), airToo(run, v), askAfter(run, v), do)
}

// figures prints what was measured against what is allowed, with the expanded
// uncertainty at what the limit is about.
func figures(run core.Run, v core.Verdict) string {
	if v.End.N == 0 {
		return ""
	}
	u, start, end := run.Method.Unit, v.Start.Pressure(), v.End.Pressure()
	places := decimals(v.Start.Written, v.End.Written, u)
	drop, allowed := apart(v.Drop, v.Allowed, u, places)
	ending := func(least core.Pressure) (shown, limit string) {
		digits, limit := apart(end, least, u, places)
		return plusMinus(end, digits, v.Expanded, u), limit
	}
	var text string
	switch l := run.Method.Limit; {
	case v.AtBellHigh != 0:
		text = figuresAtBell(l, v, u, allowed, places)
	case !l.Floor.IsZero():
		shown, floor := ending(l.Lowest(start))
		text = fmt.Sprintf("Ending %s %s, floor %s %s.", shown, u, floor, u)
	case l.Den != 0:
		shown, least := ending(l.Lowest(start))
		text = lines(
			fmt.Sprintf("Drop %s %s, limit %s %s.", drop, u, allowed, u),
			fmt.Sprintf("Ending %s %s, at least %s %s (%d/%d).", shown, u, least, u, l.Num, l.Den))
	default:
		text = fmt.Sprintf("Drop %s %s, limit %s %s.", plusMinus(v.Drop, drop, v.Expanded, u), u, allowed, u)
	}
	return lines(text, fmt.Sprintf("%s → %s in %s, %s.", v.Start.Written, v.End.Written, core.Stopwatch(v.End.Taken.Sub(v.Start.Taken)), v.End.Manometer))
}

// figuresAtBell does so where readings on either side of the bell say what the
// pressure was then: what was read late is on neither side of the limit.
func figuresAtBell(l core.Limit, v core.Verdict, u core.Unit, allowed string, places int) string {
	start := v.Start.Pressure()
	drop := fmt.Sprintf("Drop at the bell %s, limit %s %s.", from(start-v.AtBellHigh, start-v.AtBellLow, u), allowed, u)
	switch {
	case !l.Floor.IsZero():
		return fmt.Sprintf("At the bell %s, floor %s %s.", between(v, u), l.Floor.Pressure().In(u, places), u)
	case l.Den != 0:
		return lines(drop, fmt.Sprintf("At the bell %s, at least %s %s (%d/%d).", between(v, u), l.Lowest(start).In(u, places), u, l.Num, l.Den))
	}
	return drop
}

// sure says of a close verdict how far it can be trusted.
func sure(v core.Verdict) string {
	const plain = 0.99
	if v.Expanded == 0 || v.Outcome == core.NoVerdict || v.Conforms > plain || v.Conforms < 1-plain {
		return ""
	}
	if v.Outcome == core.Fail && v.Conforms > 0.5 {
		return fmt.Sprintf("What was read decides. It is %s sure that the true drop is beyond.", percent(1-v.Conforms))
	}
	if v.Outcome == core.Fail {
		return fmt.Sprintf("%s sure that the true drop is beyond the limit.", percent(1-v.Conforms))
	}
	return fmt.Sprintf("%s sure that the true drop is within the limit.", percent(v.Conforms))
}

// why words the reason of a verdict.
func (s Speaker) why(run core.Run, v core.Verdict) string {
	u := run.Method.Unit
	switch v.Reason {
	case core.OnTime:
		return "Read at the bell."
	case core.LateWithin:
		return fmt.Sprintf("Read %s late and still within: a longer hold is a harder test.", span(v.End.Taken.Sub(v.Bell)))
	case core.EarlyBeyond:
		return fmt.Sprintf("Beyond the limit %s before the bell.", span(v.Bell.Sub(v.End.Taken)))
	case core.Bracketed:
		return fmt.Sprintf("Read %s late; the readings around the bell say %s then.", span(v.End.Taken.Sub(v.Bell)), between(v, u))
	case core.DefectByEye:
		return "Seen: " + quote(v.Defect) + ". Not inflated."
	case core.BeyondAtBell:
		return lines(fmt.Sprintf("Read %s late, beyond the limit at the bell already:", span(v.End.Taken.Sub(v.Bell))), "the straight line between the readings shows it, and a leak only slows down.")
	case core.TooLate:
		return fmt.Sprintf("Read %s late: after more than twice the hold the test is repeated.", span(v.End.Taken.Sub(v.Bell)))
	case core.LateBeyond:
		if v.AtBellHigh != 0 {
			return fmt.Sprintf("Read %s late; at the bell it can have been %s, on either side of the limit.", span(v.End.Taken.Sub(v.Bell)), between(v, u))
		}
		if slices.ContainsFunc(run.AllReadings(), func(r core.Reading) bool {
			return r.Taken.After(v.Start.Taken) && r.Taken.Before(v.Bell)
		}) {
			return fmt.Sprintf("Read %s too late, beyond the limit: what it was at the bell is not known.", span(v.End.Taken.Sub(v.Bell)))
		}
		return fmt.Sprintf("Read %s too late, beyond the limit: what it was at the bell is not known.", span(v.End.Taken.Sub(v.Bell)))
	case core.Rise:
		return "The pressure rose: warm air, a touched suit, or a slip in reading."
	case core.Jump:
		return "It fell faster than any leak: a plug, hose or closure moved, or a slip in reading."
	case core.StartOutside:
		return fmt.Sprintf("The start %s is outside %s.", v.Start.Written, setting(run.Method.Test, run.Manometer))
	case core.ManometerStale:
		return fmt.Sprintf("The calibration of %s lapsed on %s.", run.Manometer.ID, run.Manometer.CalibratedUntil)
	case core.ExpansionVoided:
		return "A reading of the expansion, as corrected, was out of its range."
	case core.CutShort:
		return "The hold was cut short."
	case core.AirHides:
		return fmt.Sprintf("The air may hide a fail: it can have raised the pressure by up to %s %s.", v.AirRaised.In(u, 1), u)
	case core.GuardBand:
		if v.Guard == 0 { // one of before the air counted too
			return fmt.Sprintf("Within the limit by less than its uncertainty of ± %s %s.", v.Expanded.In(u, 1), u)
		}
		return fmt.Sprintf("Within the limit by less than the guard band of %s %s.", v.Guard.In(u, 1), u)
	}
	return string(v.Reason)
}

// remedy says what to do about a test without a verdict.
func remedy(run core.Run, v core.Verdict) string {
	switch v.Reason {
	case core.ManometerStale:
		return fmt.Sprintf("Unplug it, then %s with another manometer.", code("test "+run.Suit.Tag))
	case core.Rise, core.Jump:
		if v.Reason == core.Jump {
			return fmt.Sprintf("Find what moved, then %s with the cause.", code("again …"))
		}
		return fmt.Sprintf("A slip of the thumb: %s within 2 min.\nIf not, %s repeats the test.", code("fix …"), code("again"))
	case core.CutShort:
		return fmt.Sprintf("Unplug it, then %s.", code("test "+run.Suit.Tag))
	}
	before, _ := run.Surroundings()
	switch {
	case v.Reason == core.LateBeyond:
		return code("again …") + " with the reason repeats the test."
	case v.Reason == core.AirHides:
		return "Wait until air and suit are steady, then " + code("again") + "."
	case v.Reason == core.GuardBand && before.Celsius == "":
		return fmt.Sprintf("%s repeats the test; with the temperature at both ends the guard band is narrower.", code("again"))
	}
	return code("again") + " repeats the test now."
}

// leakHunt says where to look, in the order in which to look.
func leakHunt(run core.Run) string {
	return lines(
		fmt.Sprintf("Leak hunt: back to %s, soap solution.", target(run.Method.Expansion, run.Manometer)),
		"Plugs and hose first, then closure, visor, seams, gloves, boots, valves.",
		fmt.Sprintf("Post each leak found: %s", code("leak …")))
}

// between prints what the pressure must have been at the bell.
func between(v core.Verdict, u core.Unit) string { return from(v.AtBellLow, v.AtBellHigh, u) }

// from prints a range of pressures, or the one there is.
func from(a, b core.Pressure, u core.Unit) string {
	low, high := a.In(u, 1), b.In(u, 1)
	if low == high {
		return low + " " + u.String()
	}
	return low + "–" + high + " " + u.String()
}
