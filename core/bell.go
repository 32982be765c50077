package core

import "time"

// Bell names a moment at which a run calls its tester, or refreshes its card.
type Bell string

// The bells of a run.
const (
	BellLook      Bell = "look"      // a look at the manometer during expansion
	BellExpansion Bell = "expansion" // the expansion was long enough
	BellWarn      Bell = "warn"      // the hold ends shortly
	BellHold      Bell = "hold"      // the hold ends
	BellChase     Bell = "chase"     // a reading or a list is waited for
	BellCard      Bell = "card"      // the time left on the card
)

// lookEvery is how often a look is asked for during the expansion. Ours.
const lookEvery = 3 * time.Minute

// When a tester who did not answer is called again, counted from the bell or from the
// run's last entry by a person, whichever is later. Ours.
var (
	chaseExpansion = append([]time.Duration{3 * time.Minute, 10 * time.Minute}, chaseSilent[1:]...)
	chaseHold      = append([]time.Duration{30 * time.Second, 3 * time.Minute}, chaseSilent...)
	chaseSilent    = []time.Duration{15 * time.Minute, time.Hour, 8 * time.Hour, 24 * time.Hour, 48 * time.Hour, 96 * time.Hour}
)

// cardSteps are the times left at which the card's clock moves.
var cardSteps = []time.Duration{5 * time.Minute, 2 * time.Minute, time.Minute}

// NextBell returns the first bell that has not rung and when it is due.
// ok is false if the run waits for nothing but its tester.
func (r Run) NextBell(p Policy) (next Rung, ok bool) {
	for _, b := range r.bells(p) {
		if r.rang(b) {
			continue
		}
		if !ok || b.Due.Before(next.Due) {
			next, ok = b, true
		}
	}
	return next, ok
}

func (r Run) rang(b Rung) bool {
	for _, done := range r.Rang {
		if done.Bell == b.Bell && (!done.Due.Before(b.Due) || done.Due.IsZero() || b.Bell == BellExpansion || b.Bell == BellHold) {
			return true
		}
	}
	return false
}

// bells lists the bells of the present phase. Of two due at one moment the
// first listed rings first.
func (r Run) bells(p Policy) []Rung {
	var all []Rung
	add := func(b Bell, due time.Time) { all = append(all, Rung{Bell: b, Due: due}) }
	switch {
	case r.Phase == Expansion && !r.ExpandedAt.IsZero():
		ends := r.ExpansionEnds()
		add(BellExpansion, ends)
		r.chaseBells(ends, chaseExpansion, add)
		if r.rang(all[0]) {
			break // begun again from the hold: the expansion is over
		}
		if look := r.lastLook().Add(lookEvery); look.Before(ends.Add(-lookEvery / 2)) {
			add(BellLook, look)
		}
		r.cardBells(ends, add)
	case r.Phase == Hold:
		ends := r.HoldEnds()
		if warn := p.WarnBefore; warn > 0 && 2*warn <= r.Method.Hold {
			add(BellWarn, ends.Add(-warn))
		}
		add(BellHold, ends)
		r.cardBells(ends, add)
		r.chaseBells(ends, chaseHold, add)
	case r.Phase == Restore, r.Phase == Expansion, r.Phase == Prepare && r.begun():
		// A plug may be in a valve, and nobody has said what happened to it.
		r.chaseBells(r.Touched, chaseSilent, add)
	}
	return all
}

// begun reports whether anything on the prepare list was ticked.
func (r Run) begun() bool { return len(Missing(r.PrepareList)) < len(r.PrepareList) }

func (r Run) chaseBells(from time.Time, after []time.Duration, add func(Bell, time.Time)) {
	if r.Touched.After(from) {
		from = r.Touched
	}
	for _, d := range after {
		add(BellChase, from.Add(d))
	}
}

func (r Run) cardBells(ends time.Time, add func(Bell, time.Time)) {
	for _, left := range cardSteps {
		if at := ends.Add(-left); at.After(r.phaseBegan()) {
			add(BellCard, at)
		}
	}
}

func (r Run) phaseBegan() time.Time {
	if r.Phase == Hold {
		return r.HeldAt
	}
	return r.ExpandedAt
}

func (r Run) lastLook() time.Time {
	last := r.ExpandedAt
	if reading, ok := r.Last(); ok && reading.Taken.After(last) {
		last = reading.Taken
	}
	for _, done := range r.Rang {
		if done.Bell == BellLook && done.Due.After(last) {
			last = done.Due
		}
	}
	return last
}

// loudness orders the bells. If several are due at once only the loudest is heard,
// since the others are out of date.
var loudness = map[Bell]int{BellCard: 1, BellLook: 2, BellWarn: 3, BellChase: 4, BellExpansion: 5, BellHold: 6}

// Ring returns a fact for each bell that is due at now: the loudest is heard, the
// others are quiet.
func (r Run) Ring(p Policy, now time.Time) []Fact {
	var due []Rung
	loudest := -1
	for {
		b, ok := r.NextBell(p)
		if !ok || b.Due.After(now) {
			break
		}
		b.Quiet = true
		due = append(due, b)
		if loudest < 0 || loudness[b.Bell] >= loudness[due[loudest].Bell] {
			loudest = len(due) - 1
		}
		r = r.Apply(Entry{Fact: b})
	}
	facts := make([]Fact, len(due))
	for i, b := range due {
		b.Quiet = i != loudest
		facts[i] = b
	}
	return facts
}
