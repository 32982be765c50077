package core

import (
	"math"
	"math/big"
	"regexp"
	"strconv"
	"strings"

	"benchbell/core/estimate"
)

// Surroundings is the air around a suit at one moment, as far as it was read.
type Surroundings struct {
	Celsius string  // digits of the temperature as written, decimal point; empty if not read
	Baro    Written // barometer, zero if not read
}

// What a bench can have around it; anything else is a slip. The bounds are ours:
// up to 5,000 m above the sea, and where people can work.
const (
	leastBaro = 500 * Hectopascal
	mostBaro  = 1100 * Hectopascal
	coldBench = -20.0 // °C
	hotBench  = 50.0
)

// likely reports whether what was read can be the air around a bench.
func (s Surroundings) likely() bool {
	if s.Celsius != "" {
		t, ok := s.celsius()
		if !ok || t.celsius < coldBench || t.celsius > hotBench {
			return false
		}
	}
	p := s.Baro.Pressure()
	return s.Baro.IsZero() || leastBaro <= p && p <= mostBaro
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

// Ambient returns the surroundings in numbers. It uses 20 °C and the standard
// atmosphere for what was not read: an error of 10 K changes the diameter of a hole
// by 1 %. The 20 °C is ours.
func (s Surroundings) Ambient() estimate.Ambient {
	a := estimate.Ambient{Temperature: 20 + zeroCelsius, Barometer: absolute(s, s)}
	if t, ok := s.celsius(); ok {
		a.Temperature = t.kelvin()
	}
	return a
}

// absolute returns the pressure of the ambient air in pascals: the barometer's first
// reading, or the standard atmosphere if there is none. Where people wear suits the
// two differ by a few percent at most, and so does the result.
func absolute(before, after Surroundings) float64 {
	for _, s := range []Surroundings{before, after} {
		if !s.Baro.IsZero() {
			return s.Baro.Pressure().Pascals()
		}
	}
	return estimate.Atmosphere
}

// Give is how far a suit yields when the air in it expands: the share of a rigid
// vessel's change of pressure that the suit shows.
type Give = estimate.Share

// AirChange is how much the gauge pressure in a suit can have risen, in
// pascals, for no other reason than the air's temperature or the barometer:
// from Low to High. Negative is a fall.
type AirChange struct{ Low, High float64 }

// AirEffect works out how a change of the ambient air from before to after can have
// changed the pressure in a suit that was shut at a gauge pressure. It assumes that a
// value which was not read did not change, and that the air in the suit has the
// ambient temperature.
func AirEffect(before, after Surroundings, gauge Pressure, g Give) AirChange {
	t0, ok0 := before.celsius()
	t1, ok1 := after.celsius()
	if !ok0 || !ok1 {
		t0, t1 = temperature{}, temperature{}
	}
	pb0 := absolute(before, after)
	pb1 := pb0
	if !before.Baro.IsZero() && !after.Baro.IsZero() {
		pb1 = absolute(after, after)
	}
	low, high := estimate.AirEffect(t0.kelvin(), t1.kelvin(), pb0, pb1, gauge.Pascals(), g)
	return AirChange{low, high}
}

// couldHide reports whether the change of the air may have hidden a drop beyond the
// limit: end passes, but would not without the greatest rise that the air can have
// caused. It never excuses a fail.
func (c AirChange) couldHide(l Limit, start, end Pressure) bool {
	if !l.Within(start, end) || !(c.High > 0) {
		return false
	}
	return !l.within(start, shifted(end, -c.High))
}

// couldCause reports whether the change of the air may have caused a fail: end fails,
// but would pass without the greatest fall that the air can have caused. The fail
// stands; people are only told.
func (c AirChange) couldCause(l Limit, start, end Pressure) bool {
	if l.Within(start, end) || !(c.Low < 0) {
		return false
	}
	return l.within(start, shifted(end, -c.Low))
}

// shifted returns a pressure plus some pascals, exactly, in nanopascals. An infinite
// shift becomes more than any suit holds.
func shifted(p Pressure, by float64) *big.Rat {
	const bound = 1e18
	more := new(big.Rat).SetFloat64(min(max(by, -bound), bound))
	more.Mul(more, new(big.Rat).SetInt64(int64(Pascal)))
	return more.Add(more, new(big.Rat).SetInt64(int64(p)))
}

// How much the air of a room without sun and draught changes in a hold at most,
// either way. The numbers are ours.
const (
	quietKelvin  = 0.3
	quietPascals = 30
)

// addAir adds the uncertainty from rounding thermometer and barometer, each read
// twice. The change that they showed is no uncertainty and is reported separately. If
// one was not read, or its steps are too coarse to show a change, the change is
// bounded by that of a quiet room.
func (e Evidence) addAir(b *estimate.Budget) {
	perKelvin := (absolute(e.Before, e.After) + e.Verdict.Start.Pressure().Pascals()) / e.Before.Ambient().Temperature
	from, u := RoomTemperature, estimate.Rectangular(quietKelvin)
	t0, ok0 := e.Before.celsius()
	t1, ok1 := e.After.celsius()
	if ok0 && ok1 {
		if read := math.Hypot(estimate.Rounded(t0.step), estimate.Rounded(t1.step)); read < u || t0.celsius != t1.celsius {
			from, u = AirTemperature, read
		}
	}
	b.Air = append(b.Air, estimate.Component{Origin: from, U: e.Give.RMS() * perKelvin * u})

	from, u = RoomPressure, estimate.Rectangular(quietPascals)
	if before, after := e.Before.Baro, e.After.Baro; !before.IsZero() && !after.IsZero() {
		read := math.Hypot(estimate.Rounded(before.step().Pascals()), estimate.Rounded(after.step().Pascals()))
		if read < u || before.Pressure() != after.Pressure() {
			from, u = AirPressure, read
		}
	}
	b.Air = append(b.Air, estimate.Component{Origin: from, U: e.Give.RMS() * u})

	read := AirEffect(e.Before, e.After, e.Verdict.Start.Pressure(), e.Give)
	if e.Air != nil {
		read = *e.Air
	}
	b.AirLow, b.AirHigh, b.Share = read.Low, read.High, e.Give
}

// airOf returns what was read of the air at the two ends that a verdict is about,
// the last readings first.
func (r Run) airOf(v Verdict) (befores, afters []Surroundings) {
	if v.Rules < 2 {
		before, after := r.airByFirstRules()
		return []Surroundings{before}, []Surroundings{after}
	}
	return r.airAt(v.Start.Taken), r.airAt(v.End.Taken)
}

// AirOn returns how the air can have changed the ending pressure of a verdict on the
// run's hold, and whether that can have decided it: hidden a failing drop under a
// pass, or caused a fail.
func (r Run) AirOn(v Verdict) (change AirChange, decisive bool) {
	start, end := v.Start.Pressure(), v.End.Pressure()
	befores, afters := r.airOf(v)
	for i, before := range befores {
		for j, after := range afters {
			c := AirEffect(before, after, start, r.Give())
			if i+j == 0 {
				change = c
			}
			change.Low, change.High = min(change.Low, c.Low), max(change.High, c.High)
		}
	}
	switch v.Outcome {
	case Pass:
		if v.Reason == Bracketed {
			end = v.AtBellLow
		}
		return change, change.couldHide(r.Method.Limit, start, end)
	case Fail:
		if v.Reason == Bracketed {
			end = v.AtBellHigh
		}
		return change, change.couldCause(r.Method.Limit, start, end)
	}
	return change, false
}

// Give returns how far the run's suit yields at the pressure of its hold. It uses
// what was known of the suit when the test began: a measurement after the verdict
// does not change it.
func (r Run) Give() Give {
	start, _ := r.Start()
	return r.Suit.GiveAt(start.Pressure(), r.Room())
}

// Room returns the pressure of the room in pascals, the standard atmosphere if
// no barometer was read.
func (r Run) Room() float64 { return absolute(r.Surroundings()) }
