package core

import (
	"math"
	"math/big"
	"regexp"
	"strconv"
	"strings"
)

// Surroundings is the air around a suit at one moment, as far as it was read.
type Surroundings struct {
	Celsius string  // digits of the temperature as written, decimal point; empty if not read
	Baro    Written // barometer, zero if not read
}

type temperature struct {
	celsius float64
	step    float64 // one count of the last digit written, in kelvin
}

const zeroCelsius = 273.15 // in kelvin

func (t temperature) kelvin() float64 { return t.celsius + zeroCelsius }

var celsiusDigits = regexp.MustCompile(`^-?\d{1,3}(\.\d{1,6})?$`)

// celsius reads the temperature. ok is false if there is none, or none that
// air can have.
func (s Surroundings) celsius() (t temperature, ok bool) {
	if !celsiusDigits.MatchString(s.Celsius) {
		return temperature{}, false
	}
	t.celsius, _ = strconv.ParseFloat(s.Celsius, 64)
	_, decimals, _ := strings.Cut(s.Celsius, ".")
	t.step = math.Pow10(-len(decimals))
	return t, t.kelvin() > 0
}

// absolute returns the pressure of the air around, in pascals: the barometer's
// first reading, or else the standard atmosphere. The barometer is at most some
// percent off from it where people wear suits, and so is what follows from it.
func absolute(before, after Surroundings) float64 {
	for _, s := range []Surroundings{before, after} {
		if !s.Baro.IsZero() {
			return s.Baro.Pressure().Pascals()
		}
	}
	return Atmosphere
}

// Give is how far a suit gives way to the air in it. With a volume V, an
// absolute pressure P in it, and a volume C more for each pascal, k = C·P/V;
// whatever changes the pressure of a rigid suit changes that of this one by
// 1/(1+k) of it. The zero Give is not known: the suit may be rigid (k = 0) or
// limp (k without limit), or anything between.
type Give struct {
	K     float64
	Known bool
}

// GiveOf returns the give of a suit that has a free volume, and takes as much
// air for each pascal as a rigid vessel of the effective volume would, both in
// cubic metres. It is not known if either is not known, zero, or if the
// effective volume is the smaller one, which cannot be.
func GiveOf(free, effective float64) Give {
	k := effective/free - 1
	if !(free > 0 && k >= 0) || math.IsInf(k, 0) {
		return Give{}
	}
	return Give{K: k, Known: true}
}

// uncertain returns what a small unsure change of a rigid suit's pressure is
// multiplied by. If the give is not known, that is the root of the mean square
// of all factors from 0 to 1.
func (g Give) uncertain() float64 {
	if g.Known {
		return 1 / (1 + g.K)
	}
	return rectangular(1)
}

// AirChange is how much the gauge pressure in a suit can have risen, in
// pascals, for no other reason than the air's temperature or the barometer:
// from Low to High, which are the same if the suit's give is known. Negative is
// a fall.
type AirChange struct{ Low, High float64 }

// AirEffect works out what a change of the air from before to after can have
// done to a suit that was shut at a gauge pressure. In a rigid suit
//
//	p₂ = (Pb₁ + p₁)·T₂/T₁ − Pb₂
//
// with absolute temperatures and barometer readings Pb; in a limp one nothing
// changes. A temperature or barometer reading that is missing is taken not to
// have changed, and the air in the suit to have the temperature around it.
func AirEffect(before, after Surroundings, gauge Pressure, g Give) AirChange {
	outside := absolute(before, after)
	ratio := 1.0
	t0, ok0 := before.celsius()
	t1, ok1 := after.celsius()
	if ok0 && ok1 {
		ratio = t1.kelvin() / t0.kelvin()
	}
	rigid := (outside + gauge.Pascals()) * (ratio - 1)
	if !before.Baro.IsZero() && !after.Baro.IsZero() {
		rigid -= (after.Baro.Pressure() - before.Baro.Pressure()).Pascals()
	}
	if g.Known {
		change := rigid / (1 + g.K)
		return AirChange{change, change}
	}
	return AirChange{min(0, rigid), max(0, rigid)}
}

// CouldHide reports whether the change of the air may have hidden a drop
// beyond the limit: whether end passes, and would not if the pressure had not
// risen by as much as it can have for the air's sake. A fail it leaves alone,
// even if the pressure may have fallen for the air's sake.
func (c AirChange) CouldHide(l Limit, start, end Pressure) bool {
	if !l.Within(start, end) || !(c.High > 0) {
		return false
	}
	rise := new(big.Rat).SetFloat64(c.High)
	if rise == nil { // without bound
		return true
	}
	rise.Mul(rise, new(big.Rat).SetInt64(int64(Pascal)))
	return !l.within(start, rise.Sub(new(big.Rat).SetInt64(int64(end)), rise))
}

// addAir adds what follows from the rounding of thermometer and barometer,
// each read twice. The air's own change is no uncertainty: see AirEffect.
func (e Evidence) addAir(b *Budget) {
	gauge := e.Verdict.Start.Pressure()
	t0, ok0 := e.Before.celsius()
	t1, ok1 := e.After.celsius()
	if ok0 && ok1 {
		perKelvin := (absolute(e.Before, e.After) + gauge.Pascals()) / t0.kelvin()
		b.add(AirTemperature, e.Give.uncertain()*perKelvin*math.Hypot(rounded(t0.step), rounded(t1.step)))
	} else {
		b.LeftOut = append(b.LeftOut, AirTemperature)
	}
	if before, after := e.Before.Baro, e.After.Baro; !before.IsZero() && !after.IsZero() {
		rounding := math.Hypot(rounded(before.step().Pascals()), rounded(after.step().Pascals()))
		b.add(AirPressure, e.Give.uncertain()*rounding)
	} else {
		b.LeftOut = append(b.LeftOut, AirPressure)
	}
}
