package commands

import (
	"fmt"

	"benchbell/core"
)

// Capacity answers how much air a suit takes, or how that is measured.
func (s Speaker) Capacity(suit core.Suit) string {
	if suit.Capacity.IsZero() {
		return lines(
			bold(suit.Tag+": capacity not measured."),
			"Inflate it to about the test pressure and read.",
			"Add a known volume of air, 1 to 5 L, slowly, and read again.",
			"Say litres, before and after: "+code("capacity "+suit.Tag+" 2 L 15.0 16.2 mbar"))
	}
	c := suit.Capacity
	v, u := c.EffectiveVolume(core.Atmosphere)
	return lines(
		bold(fmt.Sprintf("%s: %.2f ± %.2f m³ effective.", suit.Tag, v, 2*u)),
		fmt.Sprintf("%s L took it from %s to %s, %s.", c.Litres, c.From, c.To, c.Day))
}
