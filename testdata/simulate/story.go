package main

import (
	"math"
	"math/rand/v2"
	"time"

	"benchbell/core"
)

// A story is all that is done about one suit until it may be worn, or nobody
// tries any more. What the journal says of it is applied to core's own file of the
// suit, which alone says whether it may be worn.

// remedy is what somebody does after a fail.
type remedy int

const (
	nothing  remedy = iota // the suit stays where it is
	retries                // another run, and no word of what was done
	mends                  // looks for the leak, and mends it more often than not
	claims                 // says that it was repaired, and it was not
	blames                 // says that the hose was the cause
	switches               // another method, then its own once more
)

// person is a kind of people, by what they do.
type person struct {
	who    string
	remedy remedy
	again  bool // gives a hold up that goes badly
	twice  bool // repeats at once what came to no verdict
	reads  func(r *rand.Rand, h *habits, hold float64)
	shut   bool // forgets to open the line to the manometer
	heeds  bool // the question whether it was open
	hose   bool // inflates by a hose that leaks, until the first fail is put down to it
	circumstances
}

// people are the kinds, in the order in which they are printed. What comes to no
// verdict all of them test again.
var people = []person{
	{who: "repairs, the leak is mended 7 times in 10", remedy: mends},
	{who: "leaves a fail at that"},
	{who: "tries again after a fail, says nothing", remedy: retries},
	{who: "says `repaired`, nothing is mended", remedy: claims},
	{who: "says `cause` hose, which was whole", remedy: blames},
	{who: "tries another method after a fail", remedy: switches},
	{who: "`again` in a hold that goes badly", again: true, reads: readsMuch},
	{who: "`again` at once after no verdict", twice: true},
	{who: "all of that, until it passes", remedy: claims, again: true, twice: true, reads: readsMuch},
	{who: "reads late", reads: readsLate},
	{who: "reads early", reads: readsEarly},
	{who: "posts from memory", reads: remembers},
	{who: "types twice as long", circumstances: slowly},
	{who: "has a manometer with a curved error", circumstances: curved},
	{who: "has a hose that leaks, and changes it", remedy: blames, hose: true},
	{who: "gauge line shut, asked and opens it", shut: true, heeds: true},
	{who: "gauge line shut, asked and ignores it", shut: true},
}

func readsMuch(r *rand.Rand, h *habits, hold float64) {
	h.looks, h.recalls = []float64{0.3 * hold, 0.6*hold + 10*r.Float64()}, []bool{false, false}
}

func readsLate(r *rand.Rand, h *habits, hold float64) {
	h.ending, h.late = overdue, 65+1.2*hold*r.Float64()
}

// readsEarly looks shortly before the bell, so that some post just after it.
func readsEarly(r *rand.Rand, h *habits, hold float64) {
	h.looks, h.recalls = []float64{hold - 5 - 40*r.Float64()}, []bool{false}
}

func remembers(r *rand.Rand, h *habits, hold float64) {
	h.ending, h.late = recalled, 100+2*hold*r.Float64()
}

const (
	// mostRuns is after how many runs nobody tries any more, mostGivenUp how many
	// holds somebody gives up in one.
	mostRuns    = 6
	mostGivenUp = 4
	// mended is how often a repair mends the leak, and to how much of it.
	mended     = 0.7
	mendedLeak = 0.1
)

// told is how a story ended.
type told struct {
	who     string
	rule    core.Acceptance
	excess  float64 // of the drop in steady air over what is allowed, as a share of that
	mended  bool    // at last
	failed  bool    // once
	cleared bool
	runs    int
}

// tell tells story number n of a seed.
func tell(seed, n uint64, who person, method core.Method, g gauge, rule core.Acceptance) (told, error) {
	if who.slow == 0 {
		who.circumstances = usual
	}
	r := rand.New(rand.NewPCG(^seed, n))
	s, err := cast(r, method, g, who.circumstances, []core.Acceptance{rule})
	if err != nil {
		return told{}, err
	}
	s.suit = drawSuit(r, s.task, s.room.at(0), drawStory(r))
	if who.hose {
		s.suit.hose = sized(porous, s.suit, s.task.start, (0.2+0.8*r.Float64())*s.task.allowed(s.task.start), s.task.hold, s.room.at(0))
	}
	s.file = new(core.File)
	s.notes(core.SuitRegistered{Suit: s.garment})
	s.shut, s.leaves = who.shut, who.again
	end := told{who: who.who, rule: rule}
	key := method.Key
	for end.runs < mostRuns {
		end.runs++
		if err := s.runOnce(core.RunID(end.runs), key, who); err != nil {
			return told{}, err
		}
		if end.runs == 1 {
			end.excess = s.excess()
		}
		if s.standing().Wearable() {
			end.cleared = true
			break
		}
		if key != method.Key {
			key = method.Key
		} else if s.verdicts[0].Outcome == core.Fail {
			end.failed = true
			if who.remedy == nothing || who.hose && s.suit.hose == (leak{}) {
				break
			}
			if who.remedy == switches {
				key = another(method.Key)
			}
			end.mended = s.remedies(who) || end.mended
		}
	}
	return end, nil
}

// another returns a method that is not the suit's own.
func another(than string) string {
	for _, m := range core.BuiltIn() {
		if m.Key != than {
			return m.Key
		}
	}
	return than
}

// runOnce plays a run to its end: attempts, verdict and list.
func (s *session) runOnce(id core.RunID, key string, who person) error {
	for _, m := range core.BuiltIn() {
		if m.Key == key {
			m, err := m.For(s.garment)
			if err != nil {
				return err
			}
			s.task = newTask(m)
		}
	}
	s.morning = morning.Add(time.Duration(id) * 4 * time.Hour)
	s.arrives()
	if who.reads != nil {
		who.reads(s.rand, &s.habits, s.task.hold)
	}
	s.in, s.now, s.stands, s.gaveUp = inside{}, 0, 0, 0
	if err := s.opens(id, key); err != nil {
		return err
	}
	for try := 0; ; try++ {
		if err := s.test(); err != nil {
			return err
		}
		if !who.twice || try == mostGivenUp || s.verdicts[0].Outcome != core.NoVerdict {
			break
		}
		s.now, s.stands = s.runs[0].Touched.Sub(s.morning).Seconds()+60, 0
		if err := s.says(s.now, core.Repeat{Why: "once more"}); err != nil {
			return err
		}
	}
	return s.restores(who)
}

// givesUp gives a hold up that goes badly, and begins another.
func (s *session) givesUp() error {
	s.gaveUp++
	s.waits(s.runs[0].Touched.Sub(s.morning).Seconds() + 1)
	if err := s.says(s.now, core.Repeat{Why: "the hose was touched"}); err != nil {
		return err
	}
	s.stands = 0
	if err := s.begin(); err != nil {
		return err
	}
	return s.endure()
}

// restores takes everything out of the suit again, and opens the line to the
// manometer if it was shut and somebody minds.
func (s *session) restores(who person) error {
	second := s.runs[0].Touched.Sub(s.morning).Seconds()
	v := s.verdicts[0]
	noDrop := v.Outcome == core.Pass && v.Drop <= s.benches[0].Manometers[s.manometer.name].Resolution.Pressure()
	if s.shut && who.heeds && noDrop {
		second += 60
		s.now = second
		s.notes(core.Found{What: "gauge line was shut"})
	}
	for _, n := range core.Missing(s.runs[0].List()) {
		second += 20
		if err := s.says(second, core.Tick{Items: []int{n}}); err != nil {
			return err
		}
	}
	s.now = second + 600
	if s.shut && who.heeds && noDrop {
		s.shut = false
		s.notes(core.Repaired{What: "gauge line opened"})
	}
	return nil
}

// notes enters a fact about the suit outside a run.
func (s *session) notes(fact core.Fact) {
	*s.file = s.file.Apply(core.Entry{At: s.at(s.now), By: tester, Suit: s.garment.Tag, Fact: fact})
}

func (s *session) standing() core.Standing {
	return s.file.Standing(s.benches[0].Policy, core.DateAt(s.at(s.now), time.UTC))
}

// remedies does what is done after a fail, and reports whether it mended the suit.
func (s *session) remedies(who person) bool {
	switch who.remedy {
	case mends:
		s.notes(core.Repaired{What: "seam"})
		if s.rand.Float64() < mended {
			s.suit.leak.size *= mendedLeak
			return true
		}
	case claims:
		s.notes(core.Repaired{What: "looked over"})
	case blames:
		s.notes(core.CauseStated{What: "hose"})
		s.suit.hose = leak{}
	}
	return false
}

// excess is by how much the suit alone lets the pressure fall more than is
// allowed, from the middle of what is accepted, in steady air and exactly until the
// bell: as a share of what is allowed.
func (s *session) excess() float64 {
	alone, out := s.suit, s.room.at(s.startLook)
	alone.hose = leak{}
	in := s.start
	in.wall = alone.kelvin(in, s.task.start, out.baro)
	in = alone.set(in, s.task.start, out.baro)
	ends := alone.gauge(alone.after(in, steady{in.wall, out.baro}, 0, s.task.hold), out.baro)
	return -s.task.margin(s.task.start, ends) / s.task.allowed(s.task.start)
}

// drawStory draws how much of the allowed drop a suit's leak makes: it is beyond
// the limit nine times in ten, most of them just so.
func drawStory(r *rand.Rand) float64 {
	spans := [...]struct{ weight, from, to float64 }{{4, 1, 1.05}, {3, 1.05, 1.1}, {1, 1.1, 1.2}, {1, 1.2, 2}, {1, 0.3, 1}}
	x := 10 * r.Float64()
	for _, s := range spans {
		if x -= s.weight; x < 0 {
			return s.from - x/s.weight*(s.to-s.from)
		}
	}
	return 1
}

// bands are how far beyond the limit a suit is, told apart: from each to the
// next, as shares of what is allowed.
var bands = [...]float64{0, 0.05, 0.10, 0.20, math.Inf(1)}

var bandNames = [...]string{"0–5 %", "5–10 %", "10–20 %", "more"}

// bandOf returns the band of a suit beyond the limit.
func bandOf(excess float64) (band int, beyond bool) {
	if !(excess > 0) {
		return 0, false
	}
	for excess > bands[band+1] {
		band++
	}
	return band, true
}
