package core

import (
	"errors"
	"regexp"
	"strconv"
	"strings"

	"benchbell/core/estimate"
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

	// These are known of a measurement on the bench, not of one from paper. Fell is
	// what the suit lost by itself between the two readings, with its standard
	// uncertainty; it is added to the rise. Room is the barometer, zero if it was
	// not read.
	Manometer string // id
	By        Person
	Room      Written
	Fell      Pressure
	FellU     Pressure
}

// IsZero reports whether nothing was measured.
func (c Capacity) IsZero() bool { return c.Litres == "" }

// EffectiveVolume returns the effective volume Veff = V + C·P in cubic metres,
// with its expanded uncertainty. The loss between the readings is added to the rise.
// Room is the pressure of the room in pascals, used if no barometer was read with the
// measurement. The result holds near the pressures it was measured at.
func (c Capacity) EffectiveVolume(room float64) estimate.Estimate {
	litres, _ := strconv.ParseFloat(c.Litres, 64)
	if !c.Room.IsZero() {
		room = c.Room.Pressure().Pascals()
	}
	rise := (c.To.Pressure() - c.From.Pressure() + c.Fell).Pascals()
	step := max(c.Step.Pressure(), c.From.step(), c.To.step()).Pascals()
	return estimate.EffectiveVolume(room, litres/1000, rise, step, c.FellU.Pascals())
}

// Plausible reports whether the numbers can be a measurement of a suit: air was
// added, the pressure rose by enough to tell, and the effective volume is one
// that a suit can have (our bounds: 0.05 to 20 m³).
func (c Capacity) Plausible() bool {
	v := c.EffectiveVolume(estimate.Atmosphere)
	return v.Value >= 0.05 && v.Value <= 20 && v.U < v.Value/4
}

// GoodAt reports whether the measurement is valid for the suit at a pressure. Folds
// and seams open as a suit fills, so it yields more at a lower pressure: a
// measurement below three quarters of the pressure would underestimate the effect of
// the air. The share is ours.
func (c Capacity) GoodAt(at Pressure) bool {
	return !c.IsZero() && 3*at <= 2*(c.From.Pressure()+c.To.Pressure())
}

// Volume is the free volume of an inflated suit in litres, as somebody wrote it:
// from its maker, or metered while the suit is filled. The zero Volume is not
// known.
type Volume struct {
	Litres string // digits, decimal point
	Off    string // how far off it may be either way; empty if nobody said
}

// IsZero reports whether the volume is not known.
func (v Volume) IsZero() bool { return v.Litres == "" }

// freeError is the error of a free volume, as a share of it, if none is stated: suits
// are folded, and filled more or less. The number is ours.
const freeError = 0.10

// The free volumes, in litres, that are not taken for a slip. Ours.
const (
	leastVolume = 50
	mostVolume  = 2000
)

var volumeForm = regexp.MustCompile(`^(\d{1,4}(?:[.,]\d{1,3})?)(?: ?(?:±|\+/?-) ?(\d{1,4}(?:[.,]\d{1,3})?))? ?(?:[lL]|litres?|liters?)?$`)

// ErrVolume says how a free volume is written.
var ErrVolume = errors.New("write litres from 50 to 2000, like 400 or 400 ± 20")

// ParseVolume reads "400", "400 L" or "400 ± 20 L". The error is ErrVolume.
func ParseVolume(text string) (Volume, error) {
	m := volumeForm.FindStringSubmatch(text)
	if m == nil {
		return Volume{}, ErrVolume
	}
	v := Volume{Litres: strings.Replace(m[1], ",", ".", 1), Off: strings.Replace(m[2], ",", ".", 1)}
	free := v.free()
	if free.Value < leastVolume/1000. || free.Value > mostVolume/1000. || free.Low <= 0 {
		return Volume{}, ErrVolume
	}
	return v, nil
}

// String writes the volume as ParseVolume reads it.
func (v Volume) String() string {
	switch {
	case v.IsZero():
		return ""
	case v.Off == "":
		return v.Litres + " L"
	}
	return v.Litres + " ± " + v.Off + " L"
}

// free is the volume in cubic metres, with the interval that it is in.
func (v Volume) free() estimate.Estimate {
	litres, err := strconv.ParseFloat(v.Litres, 64)
	if err != nil {
		return estimate.Estimate{}
	}
	off, err := strconv.ParseFloat(v.Off, 64)
	if err != nil {
		off = freeError * litres
	}
	return estimate.Estimate{Value: litres / 1000, U: estimate.Rectangular(off) / 1000, Low: (litres - off) / 1000, High: (litres + off) / 1000}
}

// GiveAt returns how far the suit yields at a pressure. That is known only if its free
// volume and its capacity near that pressure are. Room is the pressure of the room in
// pascals.
func (s Suit) GiveAt(at Pressure, room float64) Give {
	if s.Volume.IsZero() || !s.Capacity.GoodAt(at) {
		return Give{}
	}
	return estimate.ShareOf(s.Volume.free(), s.Capacity.EffectiveVolume(room))
}
