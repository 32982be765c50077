package estimate

import "math"

// The air in a closed suit obeys the ideal gas law, and what leaves it through
// a leak is small against what is inside. So -dp/dt = Q/Veff, with the leak's
// throughput Q and the suit's effective volume Veff = V + C·P (see EffectiveVolume
// and Share). All numbers here are in SI units: pascals, seconds, kelvins, metres. A
// pressure is a gauge pressure where nothing else is said.

const (
	// dryAir is the specific gas constant of dry air in J/(kg·K), that of the
	// standard atmosphere ISO 2533:1975 (from memory).
	dryAir = 287.05287
	// discharge is the coefficient of a sharp-edged hole. Handbooks give 0.60
	// to 0.65 (from memory); the lower one makes the hole look larger.
	discharge = 0.6
)

// LeakForm is the law by which a leak lets the pressure fall.
type LeakForm string

// The two plain forms. An orifice is a short hole with sharp edges: the flow
// goes as the square root of the pressure, and that root falls linearly. A
// laminar leak is a pore, a capillary or a worn seal: the flow goes as the
// pressure, which falls exponentially.
const (
	OrificeLeak LeakForm = "orifice"
	LaminarLeak LeakForm = "laminar"
)

// Left returns what is left of the starting pressure after t seconds, from 1
// down to 0, when at the start the pressure fell by the fraction rate a second
// (rate = -(dp/dt)/p, 1/s).
func (f LeakForm) Left(rate, t float64) float64 {
	left, _ := f.left(t, rate)
	return left
}

// left also returns the derivative of Left by rate.
func (f LeakForm) left(t, rate float64) (left, slope float64) {
	if f == OrificeLeak {
		root := max(0, 1-rate*t/2)
		return root * root, -t * root
	}
	left = math.Exp(-rate * t)
	return left, -t * left
}

// Fall returns -dp/dt in Pa/s when the pressure is p, of a leak that had this
// rate at the pressure p0.
func (f LeakForm) Fall(rate, p0, p float64) float64 {
	if f == OrificeLeak {
		return rate * math.Sqrt(p0*p)
	}
	return rate * p
}

// Ambient is the air around the suit.
type Ambient struct {
	Temperature float64 // K
	Barometer   float64 // Pa, absolute
}

// Density returns the density of the air in kg/m³, taken as dry: at 20 °C and
// half saturated it is 0.4 % less.
func (a Ambient) Density() float64 { return a.Barometer / (dryAir * a.Temperature) }

// Throughput is a leak rate in Pa·m³/s: volume flow times its pressure.
type Throughput float64

// LeakRate returns the throughput of a leak that lets the pressure of a suit of
// an effective volume in m³ fall by fall Pa/s: Q = Veff·(-dp/dt).
func LeakRate(effective, fall float64) Throughput { return Throughput(effective * fall) }

// Flow returns q as a volume flow in m³/s of the air outside the suit.
func (q Throughput) Flow(outside Ambient) float64 { return float64(q) / outside.Barometer }

// MillilitresPerMinute returns q as mL/min of the air outside the suit.
func (q Throughput) MillilitresPerMinute(outside Ambient) float64 {
	return q.Flow(outside) * 60e6
}

// OrificeFlow returns the flow in m³/s, as volume outside, through one round
// hole with sharp edges of a diameter in metres, at the pressure p. The air is
// taken as incompressible, of the density outside. At 1650 Pa that is within 0.1 %
// of isentropic flow: it is denser inside, and thins on its way through the hole.
func OrificeFlow(diameter, p float64, outside Ambient) float64 {
	return discharge * math.Pi / 4 * diameter * diameter * math.Sqrt(2*p/outside.Density())
}

// HoleDiameter is the inverse of OrificeFlow: the diameter in metres of the
// one round hole that at the pressure p lets as much out.
func HoleDiameter(flow, p float64, outside Ambient) float64 {
	return math.Sqrt(flow / OrificeFlow(1, p, outside))
}
