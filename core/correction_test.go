package core_test

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// amend edits the post of reading n.
func (s *scene) amend(n int, digits string) core.Amend {
	return core.Amend{Post: s.run.AllReadings()[n-1].Post, Read: read(digits)}
}

// TestCorrections corrects each reading in each phase, as the last moment has it at
// which a correction can be of a slip (soon), and a nanosecond later (late). A slip
// of the last reading may be corrected to anything. Of any other reading, and
// later, a correction counts only if it makes things worse for the suit. Readings
// are numbered from 1: the expansion, the start, the end.
func TestCorrections(t *testing.T) {
	const soon, late = 2 * time.Minute, 2*time.Minute + 1 // after the last reading
	fail, pass, none := core.Fail, core.Pass, core.NoVerdict
	tooLate, closedForGood := "refused: "+string(core.TooLateToFix), "refused: "+string(core.ClosedForGood)
	expanding := func(t testing.TB) *scene { // readings 15.0, 17.5, 17.2
		s := places["prepared, not inflated"](t)
		s.reads("15.0")
		s.waits(time.Second)
		s.inflates()
		s.waits(time.Minute)
		s.reads("17.2")
		return s
	}
	holding := func(t testing.TB) *scene { // readings 17.5, 16.0, 15.0 at 1:00, 13.2 at 4:00
		s := newScene(t)
		s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.0")
		s.waits(time.Minute)
		s.reads("15.0")
		s.waits(3 * time.Minute)
		s.reads("13.2")
		return s
	}
	earlyFail := func(t testing.TB) *scene { // readings 17.5, 16.5, 13.4 at 1:00
		s := places["hold"](t)
		s.reads("13.4")
		return s
	}
	justPass := func(t testing.TB) *scene { // readings 17.5, 16.5, 13.5 at the bell
		s := places["hold"](t)
		s.waits(5 * time.Minute)
		s.reads("13.5")
		return s
	}
	// Readings 17.5, 16.5, 12.0 at 12:00: the straight line between them was at
	// 14.25 at the bell, within the limit.
	lateBad := func(t testing.TB) *scene {
		s := places["hold"](t)
		s.waits(11 * time.Minute)
		s.reads("12.0")
		return s
	}
	givenUp := func(t testing.TB) *scene { // readings 17.5, 16.5, and none since it was begun again
		s := places["hold"](t)
		s.does(core.Repeat{Why: "bumped"})
		return s
	}
	closed := func(bring func(t testing.TB) *scene) func(t testing.TB) *scene {
		return func(t testing.TB) *scene {
			s := bring(t)
			s.restores()
			return s
		}
	}
	for _, tt := range []struct {
		name    string
		bring   func(t testing.TB) *scene
		after   time.Duration
		n       int
		digits  string
		comes   string
		phase   core.Phase
		outcome core.Outcome
		reason  core.Reason
	}{
		{"expansion: one before it began", expanding, soon, 1, "15.5", tooLate, core.Expansion, "", ""},
		{"expansion: one before it began, too high", expanding, soon, 1, "19", tooLate, core.Expansion, "", ""},
		{"expansion: the first", expanding, soon, 2, "17.6", tooLate, core.Expansion, "", ""},
		{"expansion: the first too low", expanding, soon, 2, "16.9", "Corrected ExpansionVoid", core.Expansion, "", ""},
		{"expansion: the first too high", expanding, late, 2, "18.1", "Corrected ExpansionVoid", core.Expansion, "", ""},
		{"expansion: a look", expanding, soon, 3, "16.0", "Corrected", core.Expansion, "", ""},
		{"expansion: a look, below the test pressure", expanding, late, 3, "15.9", "Corrected ExpansionVoid", core.Expansion, "", ""},
		{"expansion: a look, late", expanding, late, 3, "16.0", tooLate, core.Expansion, "", ""},
		{"expansion: a look too high", expanding, soon, 3, "18.1", "Corrected ExpansionVoid", core.Expansion, "", ""},
		{"expansion: a look too high, late", expanding, late, 3, "18.1", "Corrected ExpansionVoid", core.Expansion, "", ""},
		{"expansion: more than any suit holds", expanding, soon, 3, "52.6", "refused: " + string(core.Implausible), core.Expansion, "", ""},
		{"expansion: no number", expanding, soon, 3, "x", "refused: " + string(core.Implausible), core.Expansion, "", ""},
		{"expansion: the same", expanding, late, 3, "17.2", "", core.Expansion, "", ""},
		{"expansion: the same, more digits", expanding, soon, 3, "17.20", "Corrected", core.Expansion, "", ""},

		{"hold: the start", holding, soon, 2, "16.1", tooLate, core.Hold, "", ""},
		{"hold: the start too low", holding, late, 2, "15.9", "Corrected Again", core.Expansion, "", ""},
		{"hold: the start so high that it fails now", holding, late, 2, "16.3", "Corrected Judged", core.Restore, fail, core.EarlyBeyond}, // 13.3 is the least
		{"hold: the last", holding, soon, 4, "13.1", "Corrected", core.Hold, "", ""},
		{"hold: the last, late", holding, late, 4, "13.1", tooLate, core.Hold, "", ""},
		{"hold: the last, bad", holding, soon, 4, "12.9", "Corrected Judged", core.Restore, fail, core.EarlyBeyond},
		{"hold: the last, bad and late", holding, late, 4, "12.9", "Corrected Judged", core.Restore, fail, core.EarlyBeyond},
		{"hold: the last, up", holding, soon, 4, "15.3", "Corrected Judged", core.Restore, none, core.Rise},
		{"hold: the last, up and late", holding, late, 4, "15.3", "Corrected Judged", core.Restore, none, core.Rise},
		{"hold: one in between", holding, soon, 3, "14.9", tooLate, core.Hold, "", ""},
		{"hold: one in between, below the last", holding, late, 3, "12.9", "Corrected Judged", core.Restore, none, core.Rise},
		{"hold: the expansion", holding, soon, 1, "17.4", tooLate, core.Hold, "", ""},
		{"hold: the expansion too low", holding, late, 1, "16.9", "Corrected Again ExpansionVoid", core.Expansion, "", ""},
		{"hold: the expansion too high", holding, soon, 1, "18.1", "Corrected Again ExpansionVoid", core.Expansion, "", ""},
		{"given up: its start", givenUp, soon, 2, "16.4", "refused: " + string(core.AttemptOver), core.Expansion, "", ""},
		{"given up: its start too low", givenUp, late, 2, "15.9", "refused: " + string(core.AttemptOver), core.Expansion, "", ""},
		{"given up: its expansion", givenUp, late, 1, "16.9", "refused: " + string(core.AttemptOver), core.Expansion, "", ""},

		{"pass: the end, still good", places["restore, pass"], soon, 3, "13.5", "Corrected Judged", core.Restore, pass, core.OnTime},
		{"pass: the end, still good, late", places["restore, pass"], late, 3, "13.5", tooLate, core.Restore, pass, core.OnTime},
		{"pass: the end, bad", places["restore, pass"], soon, 3, "13.4", "Corrected Judged", core.Restore, fail, core.OnTime},
		{"pass: the end, bad and late", places["restore, pass"], late, 3, "13.4", "Corrected Judged", core.Restore, fail, core.OnTime},
		{"pass: the start, still good", places["restore, pass"], soon, 2, "17.0", tooLate, core.Restore, pass, core.OnTime},    // 17.0 → 15.0
		{"pass: the start higher, and so bad", justPass, late, 2, "16.6", "Corrected Judged", core.Restore, fail, core.OnTime}, // 16.6 → 13.5
		{"pass: the start too low", places["restore, pass"], late, 2, "15.9", "Corrected Judged", core.Restore, none, core.StartOutside},
		{"pass: the start too high", places["restore, pass"], late, 2, "17.1", "Corrected Judged", core.Restore, none, core.StartOutside},
		{"pass: the expansion", places["restore, pass"], soon, 1, "17.4", tooLate, core.Restore, pass, core.OnTime},
		{"pass: the expansion too low", places["restore, pass"], late, 1, "16.9", "Corrected Judged", core.Restore, none, core.ExpansionVoided},
		{"fail: a slip in the end", places["restore, fail"], soon, 3, "13.9", "Corrected Judged", core.Restore, pass, core.OnTime},
		{"fail: said to be a slip, late", places["restore, fail"], late, 3, "13.9", tooLate, core.Restore, fail, core.OnTime},
		{"fail: the end, still bad", places["restore, fail"], soon, 3, "12.8", "Corrected Judged", core.Restore, fail, core.OnTime},
		{"fail: the end, still bad, late", places["restore, fail"], late, 3, "12.8", tooLate, core.Restore, fail, core.OnTime},
		{"fail: the start, good after all", places["restore, fail"], soon, 2, "15.9", tooLate, core.Restore, fail, core.OnTime},
		{"fail: the expansion too low", places["restore, fail"], soon, 1, "16.9", tooLate, core.Restore, fail, core.OnTime},
		{"no verdict: good after all", lateBad, soon, 3, "13.5", "Corrected Judged", core.Restore, pass, core.LateWithin},
		{"no verdict: good after all, late", lateBad, late, 3, "13.5", tooLate, core.Restore, none, core.LateBeyond},
		{"no verdict: good, but after twice the hold", places["restore, no verdict"], soon, 3, "13.5", "Corrected Judged", core.Restore, none, core.TooLate},
		{"no verdict: beyond at the bell", lateBad, late, 3, "8.0", "Corrected Judged", core.Restore, fail, core.BeyondAtBell}, // 12.25 at the bell
		{"early fail: a slip", earlyFail, soon, 3, "16.4", "Corrected HoldResumed", core.Hold, "", ""},
		{"early fail: said to be a slip, late", earlyFail, late, 3, "16.4", tooLate, core.Restore, fail, core.EarlyBeyond},
		{"early fail: the start lower", earlyFail, soon, 2, "16.2", tooLate, core.Restore, fail, core.EarlyBeyond},
		{"stopped: the last", places["restore, stopped"], soon, 2, "16.9", "Corrected", core.Restore, "", ""},
		{"stopped: the last, late", places["restore, stopped"], late, 2, "16.9", tooLate, core.Restore, "", ""},

		{"closed pass: the end, still good", closed(places["restore, pass"]), soon, 3, "14.0", closedForGood, core.Over, pass, core.OnTime},
		{"closed pass: the end, bad", closed(places["restore, pass"]), late, 3, "13.4", "Corrected Judged", core.Over, fail, core.OnTime},
		{"closed pass: a rise", closed(places["restore, pass"]), late, 3, "17.4", "Corrected Judged", core.Over, none, core.Rise},
		{"closed pass: the start outside", closed(places["restore, pass"]), late, 2, "15.9", "Corrected Judged", core.Over, none, core.StartOutside},
		{"closed pass: the expansion outside", closed(places["restore, pass"]), late, 1, "16.9", "Corrected Judged", core.Over, none, core.ExpansionVoided},
		{"closed pass: the expansion", closed(places["restore, pass"]), soon, 1, "17.6", closedForGood, core.Over, pass, core.OnTime},
		{"closed fail: good after all", closed(places["restore, fail"]), soon, 3, "13.9", closedForGood, core.Over, fail, core.OnTime},
		{"closed fail: no verdict after all", closed(places["restore, fail"]), soon, 2, "15.9", closedForGood, core.Over, fail, core.OnTime},
		{"closed fail: worse", closed(places["restore, fail"]), soon, 3, "12.0", closedForGood, core.Over, fail, core.OnTime},
		{"closed fail: the expansion outside", closed(places["restore, fail"]), soon, 1, "16.9", closedForGood, core.Over, fail, core.OnTime},
		{"closed no verdict: good after all", closed(lateBad), soon, 3, "13.5", closedForGood, core.Over, none, core.LateBeyond},
		{"closed no verdict: beyond at the bell", closed(lateBad), late, 3, "8.0", "Corrected Judged", core.Over, fail, core.BeyondAtBell},
		{"closed early fail: the hold cannot go on", closed(earlyFail), soon, 3, "16.4", closedForGood, core.Over, fail, core.EarlyBeyond},
		{"closed stopped: any", closed(places["restore, stopped"]), soon, 2, "15.0", closedForGood, core.Over, "", ""},
	} {
		s := tt.bring(t)
		readings := s.run.AllReadings()
		was := readings[tt.n-1].Written
		s.now = readings[len(readings)-1].Posted.Add(tt.after)
		got := s.come(s.amend(tt.n, tt.digits))
		outcome, reason := s.verdict()
		if got != tt.comes || s.run.Phase != tt.phase || outcome != tt.outcome || reason != tt.reason {
			t.Errorf("%s: %s in %s, %q %q; want %s in %s, %q %q", tt.name, got, s.run.Phase, outcome, reason, tt.comes, tt.phase, tt.outcome, tt.reason)
		}
		switch r := s.run.AllReadings()[tt.n-1]; {
		case strings.HasPrefix(tt.comes, "Corrected"):
			if r.Written.Digits != tt.digits || !slices.Equal(r.Was, []core.Written{was}) {
				t.Errorf("%s: the reading is %v and was %v", tt.name, r.Written, r.Was)
			}
		case r.Written != was || r.Was != nil:
			t.Errorf("%s: refused, the reading is %v and was %v", tt.name, r.Written, r.Was)
		}
		if s.run.Phase == core.Hold {
			if _, ok := s.run.Start(); !ok {
				t.Errorf("%s: a hold without a start", tt.name)
			}
		}
		if !reflect.DeepEqual(core.Replay(s.entries[s.run.ID]), s.run) {
			t.Errorf("%s: replayed, it is another run", tt.name)
		}
	}
}

// TestCorrectionStartsNothing: a reading corrected into tolerance starts no clock,
// neither at its own moment nor at that of the correction. The next reading does.
func TestCorrectionStartsNothing(t *testing.T) {
	s := places["prepared, not inflated"](t)
	s.plays([]step{
		{0, read("15.7"), "Taken", core.Expansion},
		{time.Second, core.Fix{Digits: "17.5"}, "Corrected", core.Expansion},
		{time.Second, read("17.5"), "Taken ExpansionStarted", core.Expansion},
	})
	began := s.now
	if !s.run.ExpandedAt.Equal(began) {
		t.Errorf("the expansion began %v late", s.run.ExpandedAt.Sub(began))
	}
	s.plays([]step{
		{10 * time.Minute, read("17.3"), "Taken", core.Expansion}, // too much for a start
		{time.Second, core.Fix{Digits: "16.5"}, "Corrected", core.Expansion},
		{time.Minute, core.Fix{Digits: "16.6"}, "Corrected", core.Expansion},
		{time.Minute, read("16.5"), "Taken HoldStarted", core.Hold},
	})
	if !s.run.HeldAt.Equal(s.now) {
		t.Errorf("the hold began at %v", s.run.HeldAt.Sub(began))
	}
	// One of the expansion before the hold, of the hold before, of the test before.
	s = places["restore, no verdict"](t)
	s.does(core.Repeat{Why: "called away"})
	s.inflates()
	over := "refused: " + string(core.AttemptOver)
	s.plays([]step{
		{time.Second, s.amend(1, "19.0"), over, core.Expansion},
		{time.Second, s.amend(3, "14.0"), over, core.Expansion},
		{10 * time.Minute, read("16.5"), "Taken HoldStarted", core.Hold},
		{time.Second, s.amend(1, "17.4"), over, core.Hold},
		{time.Second, s.amend(2, "12.0"), over, core.Hold},
	})
	// A post that is no reading.
	s = places["hold"](t)
	s.plays([]step{{0, core.Amend{Post: "elsewhere", Read: read("16.5")}, "refused: " + string(core.NothingToFix), core.Hold}})
}

// TestCorrectedStartIsAnAttempt: a start that is corrected out of tolerance, soon
// or late, leaves a hold that was given up, on record with the reason, and never
// one that a second correction brings back.
func TestCorrectedStartIsAnAttempt(t *testing.T) {
	for _, after := range []time.Duration{time.Second, 2 * time.Minute, 5 * time.Minute} {
		s := newScene(t)
		s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.5")
		start := s.run.HeldBy
		s.plays([]step{{after, s.amend(start, "15.9"), "Corrected Again", core.Expansion}})
		if len(s.run.Past) != 1 {
			t.Fatalf("after %v: %d attempts were given up", after, len(s.run.Past))
		}
		past := s.run.Past[0]
		if past.GivenUp == nil || past.GivenUp.Text == "" || past.HeldBy != start || past.Readings[start-1].Written.Digits != "15.9" {
			t.Errorf("after %v: given up is %+v", after, past)
		}
		s.plays([]step{
			{time.Second, s.amend(start, "16.5"), "refused: " + string(core.AttemptOver), core.Expansion},
			{time.Second, core.Fix{Digits: "16.5"}, "refused: " + string(core.AttemptOver), core.Expansion},
			{time.Second, read("16.5"), "Taken HoldStarted", core.Hold},
		})
		if !s.run.HeldAt.Equal(s.now) || s.run.HeldBy != start+1 {
			t.Errorf("after %v: the next hold began at %v with reading %d", after, s.run.HeldAt, s.run.HeldBy)
		}
	}
}

// TestCorrectionKeepsUnit: a bare number corrects in the reading's own unit.
func TestCorrectionKeepsUnit(t *testing.T) {
	s := places["hold"](t)
	s.plays([]step{
		{time.Minute, readIn("1600", core.Pa), "Taken", core.Hold},
		{time.Minute, core.Fix{Digits: "1590"}, "Corrected", core.Hold},
	})
	if r, _ := s.run.Last(); r.Written != write(t, "1590", core.Pa) {
		t.Errorf("it is %v", r.Written)
	}
	s.plays([]step{{time.Minute, core.Fix{Digits: "15.8", Unit: core.Mbar}, "Corrected", core.Hold}})
	r, _ := s.run.Last()
	if r.Written != write(t, "15.8", core.Mbar) || !slices.Equal(r.Was, []core.Written{write(t, "1600", core.Pa), write(t, "1590", core.Pa)}) {
		t.Errorf("it is %v and was %v", r.Written, r.Was)
	}
}

// TestCorrectionsOfOneRun: two ways to go on from a run that was corrected
// often do not share what the reading was.
func TestCorrectionsOfOneRun(t *testing.T) {
	s := places["hold"](t)
	for _, digits := range []string{"16.4", "16.3", "16.2"} {
		s.does(core.Fix{Digits: digits})
	}
	one := s.run.Apply(core.Entry{Fact: core.Corrected{N: 2, Written: write(t, "16.1", core.Mbar)}})
	was := dump(one)
	later := s.run.Apply(core.Entry{Fact: core.Corrected{N: 2, Written: write(t, "16.0", core.Mbar)}})
	later.Apply(core.Entry{Fact: core.Corrected{N: 2, Written: write(t, "16.6", core.Mbar)}})
	again := s.run
	again.Readings = slices.Clone(again.Readings)
	again.Readings[1].Written = write(t, "16.7", core.Mbar)
	again.Apply(core.Entry{Fact: core.Corrected{N: 2, Written: write(t, "16.8", core.Mbar)}})
	if dump(one) != was {
		t.Errorf("a run changed with its fork from\n%s\nto\n%s", was, dump(one))
	}
}

// TestHoldResumed: a verdict taken back leaves the hold as it was. It is not taken
// back once restoring has begun, and the hold cannot go on if the manometer is on
// another suit.
func TestHoldResumed(t *testing.T) {
	s := places["hold"](t)
	started := s.run.HeldAt
	s.plays([]step{
		{0, read("13.4"), "Taken Judged", core.Restore},
		{time.Minute, core.Fix{Digits: "16.4"}, "Corrected HoldResumed", core.Hold},
		{4 * time.Minute, read("14.0"), "Taken Judged", core.Restore},
	})
	if v := s.run.Verdict; v.Outcome != core.Pass || v.Bell.Sub(started) != 6*time.Minute || len(s.run.Verdicts) != 2 {
		t.Errorf("%+v", s.run.Verdicts)
	}

	s = places["hold"](t)
	s.plays([]step{
		{0, read("13.4"), "Taken Judged", core.Restore},
		{0, core.Tick{}, "Ticked", core.Restore},
		{0, core.Fix{Digits: "16.4"}, "refused: " + string(core.TooLateToFix), core.Restore},
		{0, core.Untick{Items: []int{3}}, "Unticked", core.Restore},
		{0, core.Fix{Digits: "16.4"}, "refused: " + string(core.TooLateToFix), core.Restore},
	})
	if outcome, reason := s.verdict(); outcome != core.Fail || reason != core.EarlyBeyond {
		t.Errorf("with restoring begun: %s, %s", outcome, reason)
	}

	s = places["hold"](t)
	first := s.run.ID
	s.does(read("13.4"))
	s.opens(newSuit(t, "HP-08"), "en943", "M-1")
	s.does(core.Tick{All: true})
	s.inflates() // M-1 is on HP-08 now
	s.turnsTo(first)
	s.plays([]step{{0, core.Fix{Digits: "16.4"}, "Corrected Judged", core.Restore}})
	if outcome, reason := s.verdict(); outcome != core.NoVerdict || reason != core.CutShort {
		t.Errorf("with the manometer elsewhere: %s, %s", outcome, reason)
	}
}

// TestEditedIntoAReading: a post that was no reading until it was edited counts
// at its own time. What was true before the hold has no weight in it.
func TestEditedIntoAReading(t *testing.T) {
	s := places["hold"](t)
	s.reads("16.2")
	later := s.now
	s.now = s.run.HeldAt.Add(-20 * time.Second)
	if got := s.come(read("13.0")); got != "Taken" {
		t.Errorf("a reading from before the hold: %s", got)
	}
	s.now = later.Add(5 * time.Minute)
	if s.reads("15.0"); s.run.Verdict == nil || s.run.Verdict.Reason != core.OnTime {
		t.Errorf("with a reading from before the hold: %+v", s.run.Verdict)
	}
}

// TestReadingBeforeReady: a post from before the list was complete, edited into
// a reading afterwards, does not start the clock of the expansion back then.
func TestReadingBeforeReady(t *testing.T) {
	s := newScene(t)
	s.opens(newSuit(t, "HP-07"), "en943", "M-1")
	posted := s.now
	s.now = s.now.Add(5 * time.Minute)
	s.does(core.Tick{All: true})
	_, err := s.run.Decide(s.bench, core.Asker{At: posted, By: tester, Post: "early"}, read("17.5"))
	refusal, ok := err.(*core.Refusal)
	if !ok || refusal.Why != core.NotPrepared {
		t.Errorf("a reading of before the list was complete: %v", err)
	}
	if _, err := s.run.Decide(s.bench, core.Asker{At: s.now, By: tester, Post: "now"}, read("17.5")); err != nil {
		t.Errorf("a reading since: %v", err)
	}
}

// TestCorrectedBeforeTheBell: a reading from before the end of the expansion
// begins no hold when it is corrected after its bell, since the expansion was not
// over when it was true.
func TestCorrectedBeforeTheBell(t *testing.T) {
	s := places["expansion"](t)
	s.waits(8 * time.Minute)
	s.reads("17.3")
	s.waits(time.Minute)
	s.apply(s.run.Ring(s.bench.Policy, s.now))
	if got := s.come(core.Fix{Digits: "16.5"}); got != "Corrected" || s.run.Phase != core.Expansion {
		t.Errorf("%s, and the run is in %s", got, s.run.Phase)
	}
	// The next one does.
	if got := s.reads("16.5"); got != "Taken HoldStarted" {
		t.Errorf("then %s", got)
	}
}

// TestNoCorrectionPasses plays holds of all kinds twice, in silence and with
// temperature and barometer noted, by either rule. Whatever was noted, what failed
// fails, and what passes passed without: no correction makes a pass of a fail.
func TestNoCorrectionPasses(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 18))
	counts := make(map[core.Outcome]int)
	for range 1500 {
		g := gauges[rng.IntN(len(gauges))]
		p := g.randomLeak(rng, 0.4)
		start, posts := g.shows(p(0)), g.looks(rng, p, rng.IntN(3))
		end := g.hold
		if rng.IntN(4) == 0 {
			end += 300 * rng.Float64()
		}
		posts = append(posts, post{seconds(end), g.shows(p(end)), 0})
		air := func() []core.Intent {
			return []core.Intent{
				core.Air{Celsius: fmt.Sprintf("%.1f", 20+rng.NormFloat64())},
				core.Baro{Digits: fmt.Sprintf("%.1f", 1010+2*rng.NormFloat64()), Unit: core.HPa},
			}
		}
		noted := [...][]core.Intent{air(), air(), air()} // at the start, at the end, after the verdict
		play := func(rule core.Acceptance, aloud bool) core.Run {
			s := newScene(t)
			s.bench.Policy.Acceptance = rule
			says := func(what []core.Intent) {
				for _, want := range what {
					if aloud {
						s.does(want)
					}
				}
			}
			s.holds(newSuit(t, "HP-07"), g.method, g.manometer, start)
			began := s.now
			says(noted[0])
			for i, post := range posts {
				if s.run.Phase != core.Hold {
					break
				}
				s.now = began.Add(post.at)
				if i == len(posts)-1 {
					says(noted[1])
				}
				s.does(reading(t, post.words))
			}
			s.waits(time.Minute)
			says(noted[2])
			return s.run
		}
		silent := play(core.Simple, false)
		for _, rule := range []core.Acceptance{core.Simple, core.Guarded} {
			run := play(rule, true)
			for _, v := range run.Verdicts {
				counts[v.Outcome]++
				if v.Outcome == core.Pass && silent.Verdict.Outcome != core.Pass {
					t.Fatalf("%s with %s: %s %v, air %v: %s by %s, but %s in silence", g.method, g.manometer, start, posts, noted, v.Outcome, rule, silent.Verdict.Outcome)
				}
				if (v.Outcome == core.Fail) != (silent.Verdict.Outcome == core.Fail) {
					t.Fatalf("%s with %s: %s %v, air %v: %s by %s, and %s in silence", g.method, g.manometer, start, posts, noted, v.Outcome, rule, silent.Verdict.Outcome)
				}
			}
		}
	}
	for _, o := range []core.Outcome{core.Pass, core.Fail, core.NoVerdict} {
		if counts[o] < 100 {
			t.Errorf("only %v came of it: the test says little", counts)
		}
	}
}

// TestAirOfAnEarlierTest: what was read of the air before a test was repeated is
// not that of the repeated one.
func TestAirOfAnEarlierTest(t *testing.T) {
	s := places["restore, no verdict"](t)
	s.does(core.Air{Celsius: "20.0"})
	s.waits(time.Second)
	s.does(core.Repeat{Why: "called away"})
	s.inflates()
	s.waits(10 * time.Minute)
	s.reads("16.5")
	if before, after := s.run.Surroundings(); before != (core.Surroundings{}) || after != (core.Surroundings{}) {
		t.Errorf("the air was %+v and %+v", before, after)
	}
	s.does(core.Air{Celsius: "21.0"})
	if before, _ := s.run.Surroundings(); before.Celsius != "21.0" {
		t.Errorf("the air was %+v", before)
	}
}
