package main

import "math"

// The physics of the air in a suit, worked out from the amount of air that is
// in it: the amount leaves by the leak, and the pressure is what an ideal gas
// then has in the volume that the suit gives it at that pressure. The air cools
// as it expands; it soon has the temperature of the suit's material again, and
// that follows the room's by and by.

const (
	zeroCelsius = 273.15
	// roomDensity is that of dry air at 20 °C and 101 325 Pa, in kg/m³.
	roomDensity = 1.204
	// gasConstant is that of dry air, in J/(kg K), from R = 8.314 462 618
	// J/(mol K) and M = 0.028 964 7 kg/mol.
	gasConstant = 287.055
	// gamma is the ratio of the specific heats of air.
	gamma = 1.4
	// standard is the standard atmosphere, in Pa.
	standard = 101_325.0
	// discharge is Cd of a sharp-edged hole, a handbook value.
	discharge = 0.6
)

// air is what is around a suit at a moment: kelvin and pascals.
type air struct{ kelvin, baro float64 }

// inside is what is in a suit at a moment.
type inside struct {
	amount float64 // n·R of the air, in Pa m³/K
	crept  float64 // volume that the material has given way by and by, in m³
	// warmth is the temperature that the air would have if it were brought to
	// the standard atmosphere so quickly that no heat came or went.
	warmth float64
	wall   float64 // temperature of the material, in kelvin
}

// leakKind says by which law a leak lets air through.
type leakKind int

const (
	porous         leakKind = iota // laminar: in proportion to the pressure
	pinhole                        // subsonic orifice, compressible
	incompressible                 // orifice, density as in the room
)

// leak is a way out for the air. Size is the conductance of a porous one in
// m³/s, for air at the pressure inside, else the area of a hole times Cd in m².
type leak struct {
	kind leakKind
	size float64
}

// throughput returns what leaves at a gauge pressure and a temperature inside,
// in Pa m³/s.
func (l leak) throughput(gauge, kelvin float64, out air) float64 {
	if gauge <= 0 {
		return 0
	}
	switch l.kind {
	case pinhole:
		return l.compressible(gauge, kelvin, out)
	case incompressible:
		return out.baro * l.size * math.Sqrt(2*gauge/roomDensity)
	}
	return l.size * gauge
}

// compressible is the flow by the density inside, with the expansion of air on
// its way through a hole: the factor 1 − 3x/4γ, x being the share that the
// pressure falls by, is that of isentropic flow but for terms in x².
func (l leak) compressible(gauge, kelvin float64, out air) float64 {
	inner := out.baro + gauge
	expansion := 1 - 3*(gauge/inner)/(4*gamma)
	return l.size * expansion * math.Sqrt(2*inner*gauge*gasConstant*kelvin)
}

// suit is a suit to the air in it. Its volume is free + give·p at a gauge
// pressure p, and creeps on by up to creep·p.
type suit struct {
	free  float64 // m³
	give  float64 // m³/Pa
	creep float64 // m³/Pa
	slow  float64 // time constant of the creep, in s
	quick float64 // time constant by which the air inside follows the material, in s
	lag   float64 // and that by which the material follows the room, in s
	// warms is the power of the pressure by which air warms that is compressed
	// without heat coming or going, in a suit (γ − 1)/γ.
	warms float64
	leak  leak
	hose  leak // of what it is inflated by
}

// shape returns a suit that has a volume at a gauge pressure, in air, and
// there a give of k = C·P/V: whatever changes the pressure in a rigid vessel
// changes that in the suit by 1/(1+k) of it. It neither creeps nor leaks, and
// its air keeps its temperature.
func shape(volume, k, gauge float64, around air) suit {
	give := k * volume / (around.baro + gauge)
	return suit{free: volume - give*gauge, give: give, slow: math.Inf(1), quick: math.Inf(1), lag: math.Inf(1)}
}

// effective returns Veff = V + C·P at a gauge pressure, in m³: an amount of air
// changes the pressure as it would in a rigid vessel of that volume.
func (s suit) effective(gauge float64, around air) float64 {
	return s.free + s.give*gauge + s.give*(around.baro+gauge)
}

// k returns C·P/V at a gauge pressure, the room's air being about standard.
func (s suit) k(gauge float64) float64 {
	return s.give * (standard + gauge) / (s.free + s.give*gauge)
}

// gauge returns the pressure that the air in the suit has, above that around:
// the positive root of (V + C·p)(Pb + p) = n·R·T, with T as in kelvin.
func (s suit) gauge(in inside, baro float64) float64 {
	volume, heat := s.free+in.crept, in.amount*in.warmth
	perPascal := s.warms / standard
	linear := volume + s.give*baro - heat*perPascal
	rest := volume*baro - heat*(1+perPascal*(baro-standard))
	return -2 * rest / (linear + math.Sqrt(linear*linear-4*s.give*rest))
}

// kelvin returns the temperature of the air in the suit. A power of the
// pressure is straight enough over the few percent that pressures differ by.
func (s suit) kelvin(in inside, gauge, baro float64) float64 {
	return in.warmth * (1 + s.warms*(baro+gauge-standard)/standard)
}

// fill returns what has a gauge pressure in a suit that has not crept yet, the
// air and the material having a temperature each.
func (s suit) fill(gauge, kelvin, wall, baro float64) inside {
	in := inside{warmth: 1, wall: wall}
	in.warmth = kelvin / s.kelvin(in, gauge, baro)
	return s.set(in, gauge, baro)
}

// set lets air out of the suit, or some in, until it has a gauge pressure. That
// is done at once: the air that is in it cools or warms.
func (s suit) set(in inside, gauge, baro float64) inside {
	volume := s.free + in.crept + s.give*gauge
	in.amount = volume * (baro + gauge) / s.kelvin(in, gauge, baro)
	return in
}

// change returns what changes in the suit each second.
func (s suit) change(in inside, out air) inside {
	gauge := s.gauge(in, out.baro)
	kelvin := s.kelvin(in, gauge, out.baro)
	return inside{
		amount: -(s.leak.throughput(gauge, kelvin, out) + s.hose.throughput(gauge, kelvin, out)) / kelvin,
		crept:  (s.creep*gauge - in.crept) / s.slow,
		warmth: (in.wall - kelvin) / s.quick,
		wall:   (out.kelvin - in.wall) / s.lag,
	}
}

func (in inside) plus(rate inside, seconds float64) inside {
	return inside{
		amount: in.amount + rate.amount*seconds,
		crept:  in.crept + rate.crept*seconds,
		warmth: in.warmth + rate.warmth*seconds,
		wall:   in.wall + rate.wall*seconds,
	}
}

// surroundings tells the air around at a second.
type surroundings interface{ at(second float64) air }

// steady is air that does not change.
type steady air

func (s steady) at(float64) air { return air(s) }

// follow carries the air in the suit on by a step from a second, by the
// classical Runge-Kutta method.
func (s suit) follow(in inside, around surroundings, from, step float64) inside {
	begin, middle, end := around.at(from), around.at(from+step/2), around.at(from+step)
	k1 := s.change(in, begin)
	k2 := s.change(in.plus(k1, step/2), middle)
	k3 := s.change(in.plus(k2, step/2), middle)
	k4 := s.change(in.plus(k3, step), end)
	return in.plus(k1, step/6).plus(k2, step/3).plus(k3, step/3).plus(k4, step/6)
}

// longest is the longest step that pressures are followed by, in seconds.
const longest = 2.0

// after carries the air in the suit on from a second to a later one.
func (s suit) after(in inside, around surroundings, from, to float64) inside {
	steps := math.Ceil((to - from) / longest)
	if steps <= 0 {
		return in
	}
	step := (to - from) / steps
	for i := range int(steps) {
		in = s.follow(in, around, from+float64(i)*step, step)
	}
	return in
}

// sized returns a leak that lets the pressure of a suit fall by a drop from a
// start in a hold of some seconds, in steady air: by the closed forms for a
// suit of constant effective volume, so but for some percent.
func sized(kind leakKind, s suit, start, drop, hold float64, around air) leak {
	veff := s.effective(start, around)
	end := start - drop
	if kind == porous {
		return leak{porous, veff * math.Log(start/end) / hold}
	}
	perRoot := 2 * (math.Sqrt(start) - math.Sqrt(end)) / hold
	return leak{kind, perRoot * veff / (around.baro * math.Sqrt(2/roomDensity))}
}
