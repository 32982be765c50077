package main

import (
	"math"
	"math/rand/v2"
)

// weather is the air of a room over a run: what it was every few seconds, and
// straight between them. After the last it stays.
type weather struct{ airs []air }

// every is how many seconds are between two airs of a weather.
const every = 10.0

func (w weather) at(second float64) air {
	place := max(0, second) / every
	i := min(int(place), len(w.airs)-2)
	share := min(place-float64(i), 1)
	a, b := w.airs[i], w.airs[i+1]
	return air{a.kelvin + share*(b.kelvin-a.kelvin), a.baro + share*(b.baro-a.baro)}
}

// How a room's air changes, as standard deviations over runs: a ramp, in kelvin
// and pascals per hour, and a random walk, likewise per root of an hour. One
// room in seven is restless: a door that opens, a heater that comes on, a gale.
const (
	warming      = 0.5
	flickering   = 0.2
	barometric   = 60.0
	gusting      = 30.0
	restless     = 1.0 / 7
	restlessness = 5.0
)

// drawWeather draws the air of a room for some seconds.
func drawWeather(r *rand.Rand, seconds float64) weather {
	now := air{
		kelvin: zeroCelsius + 19 + 3*r.NormFloat64(),
		baro:   100_800 + 900*r.NormFloat64(),
	}
	most := 1.0
	if r.Float64() < restless {
		most = restlessness
	}
	const share = every / 3600
	root := math.Sqrt(share)
	ramp := air{most * warming * r.NormFloat64() * share, most * barometric * r.NormFloat64() * share}
	airs := make([]air, int(seconds/every)+2)
	for i := range airs {
		airs[i] = now
		now.kelvin += ramp.kelvin + most*flickering*root*r.NormFloat64()
		now.baro += ramp.baro + most*gusting*root*r.NormFloat64()
	}
	return weather{airs}
}
