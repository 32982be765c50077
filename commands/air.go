package commands

import (
	"fmt"

	"benchbell/core"
)

// airToo says what the air around the suit can have done to a verdict that
// stands all the same.
func airToo(run core.Run, v core.Verdict) string {
	if v.End.N == 0 {
		return ""
	}
	air, decisive := run.AirOn(v)
	u := run.Method.Unit
	switch {
	case v.Outcome == core.Fail && decisive:
		return fmt.Sprintf("The air can have caused up to %s %s of it, and so the fail. The fail stands.", pascals(-air.Low, u), u)
	case v.Outcome == core.Fail && air.Low < 0:
		return fmt.Sprintf("The air can have caused up to %s %s of it: not the fail.", pascals(-air.Low, u), u)
	case v.Outcome == core.Pass && air.High > 0:
		return fmt.Sprintf("The air can have raised it by up to %s %s: not enough to hide a failing drop.", pascals(air.High, u), u)
	}
	return ""
}

// askAfter asks for the temperature that is missing for the other end of the
// hold.
func askAfter(run core.Run, v core.Verdict) string {
	before, after := run.Surroundings()
	if v.End.N == 0 || before.Celsius == "" || after.Celsius != "" {
		return ""
	}
	return "Temperature at the suit now? " + code("air …")
}

// driftOf says what a change of the air since the start of the hold can have
// done: to the reading, while it can still be mended, or to the verdict, if
// that is not given anew for it.
func driftOf(st Step) string {
	run := st.After
	start, held := run.Start()
	switch {
	case !held:
		return ""
	case run.Verdict != nil:
		for _, f := range st.Facts {
			if _, again := f.(core.Judged); again {
				return ""
			}
		}
		if run.Verdict.Reason == core.GuardBand && run.Phase == core.Restore {
			return "Still no verdict: within the limit by less than the guard band."
		}
		return airToo(run, *run.Verdict)
	case run.Phase != core.Hold:
		return ""
	}
	before, after := run.Surroundings()
	air := core.AirEffect(before, after, start.Pressure(), run.Give())
	u := run.Method.Unit
	switch {
	case air.High > 0:
		return fmt.Sprintf("It can have raised the pressure by up to %s %s.", pascals(air.High, u), u)
	case air.Low < 0:
		return fmt.Sprintf("It can have lowered the pressure by up to %s %s.", pascals(-air.Low, u), u)
	}
	return ""
}

// airEffect says how much the air can have changed the ending pressure, and
// whether that is bounded or computed, and by what.
func airEffect(run core.Run, v core.Verdict) string {
	air, _ := run.AirOn(v)
	u := run.Method.Unit
	var can string
	switch {
	case air.High > 0:
		can = fmt.Sprintf("The air can have raised it by %s to %s %s", pascals(max(0, air.Low), u), pascals(air.High, u), u)
	case air.Low < 0:
		can = fmt.Sprintf("The air can have lowered it by %s to %s %s", pascals(max(0, -air.High), u), pascals(-air.Low, u), u)
	default:
		return ""
	}
	give := run.Give()
	if !give.Known() {
		return lines(can+": bounded, from a limp suit to a stiff one,", "since "+unknown(run)+".")
	}
	effective := run.Suit.Capacity.EffectiveVolume(run.Room())
	return lines(
		fmt.Sprintf("%s: computed, %s of what a stiff suit shows,", can, share(give)),
		fmt.Sprintf("with %s free volume and %.2f ± %.2f m³ effective, each at its worse end.", freely(run.Suit.Volume), effective.Value, effective.Half()))
}

// freely prints a free volume with how far off it may be.
func freely(v core.Volume) string {
	if v.Off == "" {
		return v.String() + " (± 10 % assumed)"
	}
	return v.String()
}

// unknown says what is missing to compute the effect of the air on a suit.
func unknown(run core.Run) string {
	suit := run.Suit
	start, _ := run.Start()
	switch {
	case suit.Capacity.IsZero() && !run.Measured.IsZero():
		return "its capacity was not known when the test began"
	case suit.Capacity.IsZero() && suit.Volume.IsZero():
		return "neither its capacity nor its free volume is known"
	case suit.Capacity.IsZero():
		return "its capacity is not known"
	case suit.Volume.IsZero():
		return "its free volume is not known"
	case !suit.Capacity.GoodAt(start.Pressure()):
		return "its capacity was measured at too low a pressure for this test"
	}
	return "its capacity and its free volume contradict each other"
}
