package main

import (
	"math"
	"math/rand/v2"
	"strconv"

	"benchbell/core"
)

// The units that the manometers read in, in pascals. Conventional water, as in
// NIST SP 811.
const (
	mbar = 100.0
	inch = 249.088_91
)

// gauge is a kind of manometer: what it shows, and what its sheet says.
type gauge struct {
	name        string
	unit        core.Unit
	one         float64 // of the unit, in pascals
	hundredths  int64   // of the unit in a step
	decimals    int
	resolution  string
	permissible string // largest permissible error, in the unit
}

// gauges are the manometers of the simulation: two with digits, and one with a
// needle over marks, the coarsest that App A allows. The permissible errors are
// common practice: half a mark for a needle, a few steps for digits.
var gauges = []gauge{
	{"0.01 mbar", core.Mbar, mbar, 1, 2, "0.01", "0.05"},
	{"0.1 mbar", core.Mbar, mbar, 10, 1, "0.1", "0.2"},
	{"0.25 in", core.InH2O, inch, 25, 2, "0.25", "0.125"},
}

func (g gauge) step() float64 { return g.one * float64(g.hundredths) / 100 }

// registered is what the bench knows of the manometer.
func (g gauge) registered() core.Manometer {
	return core.Manometer{
		ID: g.name, Unit: g.unit,
		Resolution:      core.MustWrite(g.resolution, g.unit),
		Permissible:     core.MustWrite(g.permissible, g.unit),
		CalibratedUntil: core.Date{Year: 2027, Month: 1, Day: 31},
	}
}

// manometer is one of a kind, with the errors that are its own.
type manometer struct {
	gauge
	offset float64 // what is left of it after zeroing, in pascals
	gain   float64 // by how much of a pressure it shows too much
	bend   float64 // by how much more, in pascals, it does in the middle of its range
	at     float64 // where the range ends, if it bends
}

// flutter is by how much the pressure in a suit trembles, a standard deviation
// in pascals.
const flutter = 0.3

// drawManometer draws one that was zeroed, which leaves up to half a step, and
// whose error at a pressure is anywhere within the permissible one. It goes there
// in a straight line.
func drawManometer(r *rand.Rand, g gauge, at float64) manometer {
	most := g.most()
	wrong := most * either(r)
	offset := min(most, g.step()/2) * either(r)
	return manometer{gauge: g, offset: offset, gain: (wrong - offset) / at}
}

// most is the permissible error in pascals.
func (g gauge) most() float64 {
	most, _ := strconv.ParseFloat(g.permissible, 64)
	return most * g.one
}

// curve draws an error that goes in a curve from what zeroing left, and is nowhere
// beyond the permissible one up to a pressure.
func (m *manometer) curve(r *rand.Rand, upTo float64) {
	most := m.most()
	m.at, m.gain = upTo, (most*either(r)-m.offset)/upTo
	for {
		m.bend = most * either(r)
		if m.stays(most) {
			return
		}
	}
}

// stays reports whether the error is nowhere more than most.
func (m *manometer) stays(most float64) bool {
	for x := 0.0; x <= 1; x += 1.0 / 32 {
		if p := x * m.at; math.Abs(m.indicates(p)-p) > most {
			return false
		}
	}
	return true
}

// indicates returns what the manometer would show at a pressure if it could show
// everything.
func (m manometer) indicates(pascals float64) float64 {
	seen := m.offset + (1+m.gain)*pascals
	if m.bend != 0 {
		x := pascals / m.at
		seen += m.bend * 4 * x * (1 - x)
	}
	return seen
}

// shows returns what the manometer shows at a pressure: hundredths of its unit,
// a whole number of steps.
func (m manometer) shows(r *rand.Rand, pascals float64) int64 {
	seen := m.indicates(pascals) + flutter*r.NormFloat64()
	return max(0, int64(math.Round(seen/m.step()))*m.hundredths)
}

// digits writes what the manometer shows.
func (m manometer) digits(shown int64) string {
	return strconv.FormatFloat(float64(shown)/100, 'f', m.decimals, 64)
}

// pascals is what the manometer says when it shows so many hundredths.
func (m manometer) pascals(shown int64) float64 { return float64(shown) / 100 * m.one }

// thermometer is what a room's temperature is read off: what it shows is
// rounded to some decimals, after an error that stays.
type thermometer struct {
	wrong    float64
	decimals int
}

// drawThermometer draws one in tenths of a degree, sometimes in whole degrees.
func drawThermometer(r *rand.Rand) thermometer {
	decimals := 1
	if r.Float64() < 0.2 {
		decimals = 0
	}
	return thermometer{0.5 * r.NormFloat64(), decimals}
}

func (t thermometer) celsius(kelvin float64) string {
	return strconv.FormatFloat(kelvin-zeroCelsius+t.wrong, 'f', t.decimals, 64)
}

// hectopascals is what a barometer shows.
func hectopascals(pascals float64) string {
	return strconv.FormatFloat(pascals/100, 'f', 1, 64)
}

// either returns a number from −1 to 1, each as likely.
func either(r *rand.Rand) float64 { return 2*r.Float64() - 1 }
