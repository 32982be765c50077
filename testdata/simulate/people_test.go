package main

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestManometers checks that a manometer of each kind is off by no more than its
// sheet says, but for its own step, up to the test pressures, and shows whole
// steps with the digits it has.
func TestManometers(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	for _, g := range gauges {
		sheet := g.registered()
		for n := range 1000 {
			m := drawManometer(r, g, 1650)
			if n%2 == 1 {
				m.curve(r, 1800)
			}
			for _, pressure := range []float64{1, 500, 1000, 1650} {
				shown := m.shows(r, pressure)
				if shown%g.hundredths != 0 {
					t.Fatalf("%s shows %d hundredths, no whole steps of %d", g.name, shown, g.hundredths)
				}
				most := sheet.Permissible.Pressure().Pascals() + g.step()/2 + 6*flutter
				near(t, g.name+": pressure shown", m.pascals(shown), pressure, most)
			}
		}
		if got := g.step(); got != sheet.Resolution.Pressure().Pascals() {
			t.Errorf("%s steps by %g Pa, its sheet says %s", g.name, got, sheet.Resolution)
		}
	}
	for shown, want := range map[int64]string{1650: "16.5", 90: "0.9"} {
		m := manometer{gauge: gauges[1]}
		if got := m.digits(shown); got != want {
			t.Errorf("%d hundredths are written %q, want %q", shown, got, want)
		}
	}
}

// TestWeather checks that a room's air is straight between the moments it was
// drawn for, and stays within what rooms have.
func TestWeather(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 2))
	for range 200 {
		w := drawWeather(r, 1800)
		for second := 0.0; second < 1800; second += every {
			a, middle, b := w.at(second), w.at(second+every/2), w.at(second+every)
			near(t, "kelvin midway", middle.kelvin, (a.kelvin+b.kelvin)/2, 1e-9)
			near(t, "pascals midway", middle.baro, (a.baro+b.baro)/2, 1e-6)
		}
		a, b := w.at(600), w.at(960)
		near(t, "kelvin in a hold", b.kelvin, a.kelvin, 2)
		near(t, "pascals in a hold", b.baro, a.baro, 200)
	}
}

// TestHabits checks the times that people take: never before the bell's
// allowance, none posted before it was looked at, and readings in between apart.
func TestHabits(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 3))
	late, quiet := 0, 0
	const many = 20_000
	for range many {
		h := drawHabits(r, 60, 180)
		last := math.Inf(-1)
		for _, look := range h.looks {
			if look < 30 || look > 120 || look < last+20 {
				t.Fatalf("looks at %v of a hold of 180 s", h.looks)
			}
			last = look
		}
		if len(h.looks) == 0 {
			quiet++
		}
		if h.ending != atBell {
			late++
			if h.late < 65 || h.late > latest {
				t.Fatalf("late by %g s", h.late)
			}
		}
		if s := looking(r); s < -3 || s > 5 {
			t.Fatalf("looks %g s after the bell", s)
		}
		if s := answering(r); s < 1 || s > 40 {
			t.Fatalf("posts %g s after the bell", s)
		}
		if s := typing(r); s < 1 || s > 20 {
			t.Fatalf("types for %g s", s)
		}
	}
	near(t, "share of late readings", float64(late)/many, 0.11, 0.01)
	if quiet < many/4 || quiet > many*3/4 {
		t.Errorf("%d of %d testers read nothing in between", quiet, many)
	}
}

// TestShares checks that the leaks drawn span from far below the limit to far
// above it, most of them near.
func TestShares(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	var low, middle, high int
	const many = 10_000
	for range many {
		switch share := drawShare(r); {
		case share < 0.7:
			low++
		case share > 1.3:
			high++
		default:
			middle++
		}
	}
	if low < many/10 || high < many/10 || middle < many/2 {
		t.Errorf("of %d leaks %d are small, %d near the limit, %d large", many, low, middle, high)
	}
}
