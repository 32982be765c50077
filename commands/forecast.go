package commands

import (
	"fmt"
	"math"
	"strconv"

	"benchbell/core"
	"benchbell/core/estimate"
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
	text := fmt.Sprintf("On course for %s ± %s %s at the bell: a drop of %s, limit %s %s.",
		pascals(f.End.Value, u), pascals(f.End.Half(), u), u, pascals(f.Drop.Value, u),
		run.Method.Limit.GreatestDrop(start.Pressure()).In(u, 1), u)
	const bound, doubtful = 0.95, 0.05
	switch {
	case f.Beyond > bound:
		return lines(bold(fmt.Sprintf("Bound to miss the limit: %s sure.", percent(f.Beyond))), text)
	case f.Beyond > doubtful:
		return lines(text, fmt.Sprintf("It may miss the limit: %.0f %% likely.", 100*f.Beyond))
	}
	return text
}

// leakOf estimates the leak, where the suit's capacity is known: the flow at
// the start of the hold, and the one round hole that would leak as much. The ±
// is that of the effective volume and of the readings (k = 2).
func (s Speaker) leakOf(run core.Run, v core.Verdict) string {
	start, held := run.Start()
	course, ok := run.Course()
	capacity := run.KnownCapacity()
	if capacity.IsZero() || v.End.N == 0 || !held || !ok || v.Reason == core.Rise || v.Reason == core.Jump {
		return ""
	}
	fall, ok := course.Fall()
	if !ok {
		return ""
	}
	before, _ := run.Surroundings()
	outside := before.Ambient()
	effective := capacity.EffectiveVolume(outside.Barometer)
	off := 200 * math.Hypot(effective.U/effective.Value, fall.U/fall.Value)
	if off >= 100 {
		return "If it leaks, too little to say how much."
	}
	q := estimate.LeakRate(effective.Value, fall.Value)
	hole := estimate.HoleDiameter(q.Flow(outside), start.Pressure().Pascals(), outside)
	return lines(
		fmt.Sprintf("Leak at %s, an estimate (± %.0f %%): %s Pa·m³/s,", start.Written, math.Ceil(off), twoFigures(float64(q))),
		fmt.Sprintf("%s mL/min of air at %s; as one round hole of %s mm.", twoFigures(q.MillilitresPerMinute(outside)), roomOf(before), twoFigures(1000*hole)),
		fmt.Sprintf("With %.2f ± %.2f m³ effective volume. Pressure-decay formulas for stiff vessels", effective.Value, effective.Half()),
		"do not hold for suits: take it as a size, not as a measurement.")
}

// twoFigures prints a number to two figures, without an exponent.
func twoFigures(x float64) string {
	rounded, _ := strconv.ParseFloat(strconv.FormatFloat(x, 'e', 1, 64), 64)
	decimals := max(0, 1-int(math.Floor(math.Log10(max(rounded, 1e-9)))))
	return strconv.FormatFloat(rounded, 'f', decimals, 64)
}

// roomOf names the air that a volume flow is one of: as it was read, or as it
// is taken to be.
func roomOf(read core.Surroundings) string {
	celsius, baro := "20 °C (assumed)", "1013.25 hPa (assumed)"
	if read.Celsius != "" {
		celsius = read.Celsius + " °C"
	}
	if !read.Baro.IsZero() {
		baro = read.Baro.String()
	}
	return celsius + " and " + baro
}
