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
	// The least and the greatest that the share 1/(1+k) can be by what is known
	// of the suit, above 0 and up to 1.
	Low, High float64
}

// Known reports whether the suit was measured, so that the effect of the air
// can be computed; else it is only bounded.
func (g Give) Known() bool { return g.High > 0 }

// GiveOf returns the give of a suit that has a free volume, and takes as much
// air for each pascal as a rigid vessel of the effective volume would:
// k = effective/free − 1. Both are in cubic metres, and their intervals bound
// the share, each at its worse end. It is not known if either is not, or if the
// effective volume must be the smaller one, which cannot be.
func GiveOf(free, effective Estimate) Give {
	low, high := free.Low/effective.High, free.High/effective.Low
	if !(low > 0 && low <= 1 && high >= low) {
		return Give{}
	}
	return Give{Low: low, High: min(1, high)}
}

// share returns the least and the greatest share of a rigid suit's change that
// this one shows.
func (g Give) share() (low, high float64) {
	if g.Known() {
		return g.Low, g.High
	}
	return 0, 1
}

// uncertain returns what a small unsure change of a rigid suit's pressure is
// multiplied by: the root of the mean square of all shares that can be.
func (g Give) uncertain() float64 {
	low, high := g.share()
	return math.Sqrt((low*low + low*high + high*high) / 3)
}

// AirChange is how much the gauge pressure in a suit can have risen, in
// pascals, for no other reason than the air's temperature or the barometer:
// from Low to High. Negative is a fall.
type AirChange struct{ Low, High float64 }

// AirEffect works out what a change of the air from before to after can have
// done to a suit that was shut at a gauge pressure. In a rigid suit
//
//	p₂ = (Pb₁ + p₁)·T₂/T₁ − Pb₂
//
// with absolute temperatures and barometer readings Pb; in a limp one nothing
// changes; in one whose give is known, the share of it that the give leaves. A
// temperature or barometer reading that is missing is taken not to have
// changed, and the air in the suit to have the temperature around it.
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
	low, high := g.share()
	return AirChange{min(low*rigid, high*rigid), max(low*rigid, high*rigid)}
}

// CouldHide reports whether the change of the air may have hidden a drop
// beyond the limit: whether end passes, and would not if the pressure had not
// risen by as much as it can have for the air's sake. A fail it leaves alone,
// even if the pressure may have fallen for the air's sake.
func (c AirChange) CouldHide(l Limit, start, end Pressure) bool {
	if !l.Within(start, end) || !(c.High > 0) {
		return false
	}
	return !l.within(start, shifted(end, -c.High))
}

// CouldCause reports whether the change of the air may have made a fail of what
// would have passed: whether end fails, and would not if the pressure had not
// fallen by as much as it can have for the air's sake. The fail stands all the
// same; it is only said.
func (c AirChange) CouldCause(l Limit, start, end Pressure) bool {
	if l.Within(start, end) || !(c.Low < 0) {
		return false
	}
	return l.within(start, shifted(end, -c.Low))
}

// shifted returns a pressure and some pascals more, exactly, in nanopascals.
// What is without bound is more than any suit holds.
func shifted(p Pressure, by float64) *big.Rat {
	const bound = 1e18
	more := new(big.Rat).SetFloat64(min(max(by, -bound), bound))
	more.Mul(more, new(big.Rat).SetInt64(int64(Pascal)))
	return more.Add(more, new(big.Rat).SetInt64(int64(p)))
}

// What the air of a room without sun and draught changes by in a hold, at most
// and either way. The numbers are ours.
const (
	quietKelvin  = 0.3
	quietPascals = 30
)

// addAir adds what follows from the rounding of thermometer and barometer, each
// read twice. The change that they showed is no uncertainty: see AirEffect. Where
// one was not read, or showed no change in steps that are coarser than that, the
// change is what a quiet room allows.
func (e Evidence) addAir(b *Budget) {
	perKelvin := (absolute(e.Before, e.After) + e.Verdict.Start.Pressure().Pascals()) / e.Before.Ambient().Temperature
	from, u := RoomTemperature, rectangular(quietKelvin)
	t0, ok0 := e.Before.celsius()
	t1, ok1 := e.After.celsius()
	if ok0 && ok1 {
		if read := math.Hypot(rounded(t0.step), rounded(t1.step)); read < u || t0.celsius != t1.celsius {
			from, u = AirTemperature, read
		}
	}
	b.Air = append(b.Air, Component{from, e.Give.uncertain() * perKelvin * u})

	from, u = RoomPressure, rectangular(quietPascals)
	if before, after := e.Before.Baro, e.After.Baro; !before.IsZero() && !after.IsZero() {
		read := math.Hypot(rounded(before.step().Pascals()), rounded(after.step().Pascals()))
		if read < u || before.Pressure() != after.Pressure() {
			from, u = AirPressure, read
		}
	}
	b.Air = append(b.Air, Component{from, e.Give.uncertain() * u})
}

// AirOn returns what the air can have done to the ending pressure of a verdict
// on the run's hold, and whether that can have decided it: have hidden a
// failing drop under a pass, or made a fail of what would have passed.
func (r Run) AirOn(v Verdict) (change AirChange, decisive bool) {
	start, end := v.Start.Pressure(), v.End.Pressure()
	for i, before := range r.airAt(v.Start.Taken) {
		for j, after := range r.airAt(v.End.Taken) {
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
		return change, change.CouldHide(r.Method.Limit, start, end)
	case Fail:
		if v.Reason == Bracketed {
			end = v.AtBellHigh
		}
		return change, change.CouldCause(r.Method.Limit, start, end)
	}
	return change, false
}

// Give returns how far the run's suit gives way at the pressure of its hold. It
// is by what was known of the suit when the test began: what is measured after
// a verdict does not change it.
func (r Run) Give() Give {
	start, _ := r.Start()
	return r.Suit.GiveAt(start.Pressure(), r.Room())
}

// Room returns the pressure of the room in pascals, the standard atmosphere if
// no barometer was read.
func (r Run) Room() float64 { return absolute(r.Surroundings()) }
