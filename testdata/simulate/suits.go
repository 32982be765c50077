package main

import (
	"math"
	"math/rand/v2"

	"benchbell/core"
)

// drawSuit draws a suit from stiff to limp, with a leak that lets the pressure
// fall, in steady air, by about a share of what is allowed. No open number for the volume or the give
// of a suit was found: the ranges are wide guesses.
func drawSuit(r *rand.Rand, t task, around air, share float64) suit {
	k := math.Pow(11, r.Float64()) - 1
	s := shape(0.2+0.4*r.Float64(), k, t.start, around)
	s.creep = 0.01 * r.Float64() * s.effective(t.start, around) / (around.baro + t.start)
	s.slow = (3 + 12*r.Float64()) * 60
	// Some 7 m² of a material of 0.5 kg/m², 1.5 kJ/(kg K) and 4 W/(m² K) on each
	// side, around 0.4 m³ of air: 17 s and 3 min.
	s.quick = 10 * math.Pow(4, r.Float64())
	s.lag = 60 * math.Pow(5, r.Float64())
	s.warms = (gamma - 1) / gamma
	s.leak = sized(drawLeak(r), s, t.start, share*t.allowed(t.start), t.hold, around)
	return s
}

func drawLeak(r *rand.Rand) leakKind {
	switch x := r.Float64(); {
	case x < 0.5:
		return porous
	case x < 0.75:
		return pinhole
	}
	return incompressible
}

// drawShare draws how much of the allowed drop a leak makes: anything from a tenth
// to more than twice, six times in ten near all of it.
func drawShare(r *rand.Rand) float64 {
	if r.Float64() < 0.6 {
		return min(max(1+0.15*r.NormFloat64(), 0.5), 1.5)
	}
	return 0.1 + 2.1*r.Float64()
}

// task is what a method asks for with one suit, in pascals and seconds. It is
// read off the method's data; how it is judged is left to the code that judges.
type task struct {
	method          core.Method
	start           float64 // middle of what is accepted as test pressure
	expansion, hold float64
}

func newTask(m core.Method) task {
	return task{
		method:    m,
		start:     (m.Test.Low.Pascals() + m.Test.High.Pascals()) / 2,
		expansion: m.ExpansionTime.Seconds(),
		hold:      m.Hold.Seconds(),
	}
}

// least returns the least ending pressure that passes from a start.
func (t task) least(start float64) float64 {
	l := t.method.Limit
	switch {
	case !l.Drop.IsZero():
		return start - l.Drop.Pressure().Pascals()
	case !l.Floor.IsZero():
		// A start above the nominal test pressure has to keep the same share.
		return l.Floor.Pressure().Pascals() * max(1, start/t.method.Test.Target.Pressure().Pascals())
	}
	return start * float64(l.Num) / float64(l.Den)
}

func (t task) allowed(start float64) float64 { return start - t.least(start) }

// margin returns by how much an ending pressure is above the least that passes.
func (t task) margin(start, end float64) float64 { return end - t.least(start) }

// registered is an invented suit as the register has it. By App A its maker
// says the pressures: from the least allowed up.
func registered(r *rand.Rand, method string) core.Suit {
	makers := [...][2]string{{"3.0", "2.0"}, {"4.0", "3.0"}, {"5.0", "4.0"}}
	maker := makers[r.IntN(len(makers))]
	return core.Suit{
		Tag: "HP-07", Method: method,
		Fittings: core.Fittings{GloveRings: true, ExhaustValves: 2, VentilatingValve: true, Boots: core.BootsFixed},
		MakerA:   core.MustWrite(maker[0], core.InH2O), MakerB: core.MustWrite(maker[1], core.InH2O),
	}
}
