package core

import (
	"math"
	"strconv"
)

// Capacity is the measurement of how much air a suit takes for its pressure to
// rise: a known volume of air, added to the inflated suit, and the pressure
// before and after it. The zero Capacity is not measured.
type Capacity struct {
	Day    Date
	Litres string // volume of the added air at the pressure of the room, as written
	From   Written
	To     Written
	Step   Written // what the manometer resolves
}

// IsZero reports whether nothing was measured.
func (c Capacity) IsZero() bool { return c.Litres == "" }

// Atmosphere is the standard atmosphere in pascals, where no barometer was read.
const Atmosphere = 101325.0

// volumeError is how far off the added volume may be, as a share of it: that
// of a common syringe or meter. The number is ours.
const volumeError = 0.02

// EffectiveVolume returns the effective volume Veff = V + C·P in cubic metres,
// and its standard uncertainty: the room's pressure times the added volume,
// over the rise. The rise of temperature by blowing air in is neglected. It
// holds near the pressures it was measured at.
func (c Capacity) EffectiveVolume(room float64) (v, u float64) {
	litres, err := strconv.ParseFloat(c.Litres, 64)
	rise := (c.To.Pressure() - c.From.Pressure()).Pascals()
	if err != nil || rise <= 0 || litres <= 0 {
		return 0, 0
	}
	v = room * litres / 1000 / rise
	step := max(c.Step.Pressure(), c.From.step(), c.To.step()).Pascals()
	return v, v * math.Hypot(volumeError/math.Sqrt(3), step/math.Sqrt(6)/rise)
}

// Plausible reports whether the numbers can be a measurement of a suit: air was
// added, the pressure rose by enough to tell, and the effective volume is one
// that a suit can have (our bounds: 0.05 to 20 m³).
func (c Capacity) Plausible() bool {
	v, u := c.EffectiveVolume(Atmosphere)
	return v >= 0.05 && v <= 20 && u < v/4
}
