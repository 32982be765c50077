package commands

import (
	"errors"
	"fmt"
	"math"
	"regexp"
	"strconv"
	"strings"
	"time"

	"benchbell/core"
	"benchbell/core/estimate"
)

var (
	litresForm      = regexp.MustCompile(`(?i)^(\d{1,3}(?:[.,]\d{1,4})?) ?(?:l|litres?|liters?)[.!]?$`)
	millilitresForm = regexp.MustCompile(`(?i)^(\d{1,5})(?:[.,](\d))? ?(?:ml|millilitres?|milliliters?)[.!]?$`)
)

// isLitres reports whether a text is a volume of air and nothing else.
func isLitres(text string) bool {
	return litresForm.MatchString(text) || millilitresForm.MatchString(text)
}

// parseLitres reads "2 L", "2,5 litres" or "500 mL".
func parseLitres(text string) (core.AddAir, error) {
	if m := litresForm.FindStringSubmatch(text); m != nil {
		return core.AddAir{Litres: strings.Replace(m[1], ",", ".", 1)}, nil
	}
	m := millilitresForm.FindStringSubmatch(text)
	if m == nil {
		return core.AddAir{}, errors.New("say the litres added")
	}
	thousandths := fmt.Sprintf("%04s", m[1])
	whole := strings.TrimLeft(thousandths[:len(thousandths)-3], "0")
	if whole == "" {
		whole = "0"
	}
	return core.AddAir{Litres: whole + "." + thousandths[len(thousandths)-3:] + m[2]}, nil
}

// Capacity answers how much air a suit takes, and what that is good for, or how
// it is measured. Run is the open run on the suit, nil if there is none.
func (s Speaker) Capacity(suit core.Suit, run *core.Run) string {
	how := "It is measured at the end of a test: " + code("capacity") + " after the verdict, before the first tick."
	if run == nil {
		how = lines(
			"It is measured at the end of a test, the suit still inflated:",
			fmt.Sprintf("%s, and after its verdict %s.", code("test "+suit.Tag), code("capacity")))
	}
	if run != nil && run.Measurable() {
		how = fmt.Sprintf("%s can measure it now, in %s.", run.Tester.Name, run.ID)
	}
	if suit.Capacity.IsZero() {
		return lines(
			bold(suit.Tag+": capacity not measured."), how,
			"From paper: "+code("capacity "+suit.Tag+" …"))
	}
	return lines(s.measured(suit.Tag, suit.Capacity), s.giveOf(suit), how)
}

// Kept answers a measurement brought in from paper.
func (s Speaker) Kept(suit core.Suit) string {
	return lines(s.measured(suit.Tag, suit.Capacity), s.giveOf(suit))
}

// measured says what a capacity is and by what.
func (s Speaker) measured(tag string, c core.Capacity) string {
	v := c.EffectiveVolume(estimate.Atmosphere)
	by := c.Day.String()
	for _, more := range []string{c.Manometer, c.By.Name} {
		if more != "" {
			by += ", " + more
		}
	}
	fell := ""
	if c.Fell > 0 {
		unit := c.To.Unit
		fell = fmt.Sprintf("By itself it fell %s ± %s %s meanwhile: added to the rise.",
			pascals(c.Fell.Pascals(), unit), pascals(2*c.FellU.Pascals(), unit), unit)
	}
	return lines(
		bold(fmt.Sprintf("%s: %.2f ± %.2f m³ effective.", tag, v.Value, v.Half())),
		fmt.Sprintf("%s L took it from %s to %s, %s.", c.Litres, c.From, c.To, by),
		fell)
}

// giveOf says what a capacity makes of the air's effect, or what is missing for
// that.
func (s Speaker) giveOf(suit core.Suit) string {
	if suit.Volume.IsZero() {
		return "Its free volume is not in the register: with it (" + code("volume=400") + ", in litres) the air's effect is computed."
	}
	at := (suit.Capacity.From.Pressure() + suit.Capacity.To.Pressure()) / 2
	give := suit.GiveAt(at, estimate.Atmosphere)
	if !give.Known() {
		return fmt.Sprintf("It does not go with the free volume of %s in the register: one of them is wrong.", suit.Volume)
	}
	return fmt.Sprintf("With %s free volume: air does to it %s of what it does to a stiff suit.", suit.Volume, share(give))
}

// share prints how much of a stiff suit's change a suit shows.
func share(g core.Give) string {
	low, high := 100*g.Low, 100*g.High
	return fmt.Sprintf("%.0f to %.0f %%", math.Floor(low), math.Ceil(high))
}

// metering says what a measurement waits for; nothing if none is under way.
func (s Speaker) metering(run core.Run, now time.Time) string {
	m, gauge := run.Metering, run.Manometer
	most := ceiling(run)
	switch m.Awaits() {
	case core.AwaitBefore:
		example := run.Expected()
		if last, ok := run.Last(); ok {
			example = last.Written.Digits
		}
		return lines(
			bold("Capacity: read "+gauge.ID+" now")+" and post it: "+code(example),
			code("stop")+" leaves it, and so does a tick.")
	case core.AwaitLitres:
		limit := fmt.Sprintf("Never above %s: watch %s.", most, gauge.ID)
		if litres, ok := run.MostLitres(); ok {
			limit = fmt.Sprintf("Never above %s: more than %s may take it there.", most, floorLitres(litres))
		}
		return lines(
			bold("Add 1 to 5 L of air, slowly,"),
			"by a calibrated syringe or a meter.",
			limit,
			"Then post the litres: "+code("… L"))
	case core.AwaitAfter:
		switch {
		case now.After(m.Expires()):
			return lines(bold("The capacity took too long."), code("capacity")+" begins it again, "+code("stop")+" leaves it.")
		case !now.Before(m.Settled()):
			return bold("Capacity: read "+gauge.ID+" now") + " and post it."
		}
		return lines(
			m.Litres+" L. "+bold("Let it settle until "+s.clock(m.Settled())+","),
			"then read "+gauge.ID+" and post it.",
			"Above "+most+" let air out at once.")
	}
	return ""
}

// ceiling is the upper end of the expansion range, as the manometer shows it.
func ceiling(run core.Run) string {
	m, u := run.Method, run.Manometer.Unit
	if u == m.Unit {
		return m.Expansion.High.In(u, m.Expansion.Target.Decimals()) + " " + u.String()
	}
	return inward(m.Expansion.High, u, u.Decimals(), false) + " " + u.String()
}

// floorLitres prints a volume, rounded down to a tenth of a litre.
func floorLitres(litres float64) string {
	return strconv.FormatFloat(math.Floor(10*litres)/10, 'f', 1, 64) + " L"
}

// left says that a measurement came to nothing.
func (s Speaker) left(run core.Run, f core.MeteringLeft) string {
	if f.TooHigh.IsZero() {
		return "The capacity is left unmeasured."
	}
	return lines(
		bold(fmt.Sprintf("%s is too high: let air out now", f.TooHigh))+" to "+target(run.Method.Test, run.Manometer)+".",
		"The measurement is void. "+code("capacity")+" begins it again.")
}

// result says what a measurement in a run came to, and that the suit is still
// to be unplugged.
func (s Speaker) result(run core.Run, c core.Capacity) string {
	leak := ""
	if v := run.Verdict; v != nil && v.Outcome == core.Fail {
		leak = s.leakOf(run, *v)
	}
	return lines(s.measured(run.Suit.Tag, c), leak, "Kept. "+s.restoring(run))
}

// meteringCorrected says what another value of a reading comes to. A result
// that rests on it follows.
func (s Speaker) meteringCorrected(run core.Run, f core.MeteringCorrected, now time.Time) string {
	was := run.Metering.Before.Was
	if f.N == 2 {
		was = run.Metering.After.Was
	}
	if len(was) == 0 {
		return "" // it is void
	}
	return lines(fmt.Sprintf("Corrected: %s → %s. Both stay on record.", was[len(was)-1], f.Written), s.metering(run, now))
}

// BeforeOrAfter says which reading of a measurement is number n.
func BeforeOrAfter(n int) string {
	if n == 2 {
		return "after the air"
	}
	return "before the air"
}
