package main

import (
	"math"
	"math/rand/v2"

	"benchbell/core"
)

// What people do, in seconds. None of it was measured: the numbers are what
// anybody has seen who watched others read an instrument and type on a phone.

// logNormal draws a time with a median, held between two others.
func logNormal(r *rand.Rand, median, sigma, least, most float64) float64 {
	return min(max(median*math.Exp(sigma*r.NormFloat64()), least), most)
}

// typing is how long it takes from a look at the manometer to the post.
func typing(r *rand.Rand) float64 { return logNormal(r, 4, 0.5, 1, 20) }

// looking is when a tester who waits for the bell looks, from the bell on.
func looking(r *rand.Rand) float64 { return min(max(0.5+1.5*r.NormFloat64(), -3), 5) }

// answering is how long after the bell such a tester's post comes.
func answering(r *rand.Rand) float64 { return logNormal(r, 8, 0.8, 1, 40) }

// settling is how long a tester lets the suit be between setting a pressure and
// reading it.
func settling(r *rand.Rand) float64 { return 3 + 17*r.Float64() }

// ending is how the ending pressure of a run is read.
type ending int

const (
	atBell   ending = iota // looked at the bell, posted within the minute
	overdue                // looked and posted minutes after it
	recalled               // looked at the bell, posted minutes later with its time; looked again if that is too late
)

// habits are what a tester does in one run.
type habits struct {
	care     float64   // from one look at the manometer to the next in the expansion
	patience float64   // expansion beyond its time
	looks    []float64 // at the manometer in the hold, from its start
	recalls  []bool    // for each, whether its time is stated
	ending   ending
	late     float64 // after the bell, unless atBell
	notesAir bool    // unasked
	obeys    bool    // notes it when asked to
	notesSky bool    // the barometer as well
}

// notes says whether the tester notes the air: guarded acceptance asks for it.
func (h habits) notes(rule core.Acceptance) bool {
	return h.notesAir || h.obeys && rule == core.Guarded
}

// latest is how many seconds after the bell the latest of readings is posted.
const latest = 6 * 60.0

func drawHabits(r *rand.Rand, expansion, hold float64) habits {
	h := habits{care: 60 + 60*r.Float64(), patience: logNormal(r, 20, 0.8, 3, 120)}
	if expansion < 5*60 { // too short for the air inside to come to the room's temperature
		h.patience += (3 + 5*r.Float64()) * 60
	}
	for second := 30 + 150*r.Float64(); second < hold-60 && r.Float64() < 0.5; {
		h.looks = append(h.looks, second)
		h.recalls = append(h.recalls, r.Float64() < 0.3)
		second += 20 + 100*r.Float64()
	}
	switch x := r.Float64(); {
	case x < 0.08:
		h.ending, h.late = overdue, 65+(latest-65)*r.Float64()
	case x < 0.11:
		h.ending, h.late = recalled, 65+(latest-65)*r.Float64()
	}
	h.notesAir = r.Float64() < 0.5
	h.notesSky = h.notesAir && r.Float64() < 0.5
	h.obeys = r.Float64() < 0.8
	return h
}
