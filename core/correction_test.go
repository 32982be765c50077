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
	return core.Amend{Post: s.run.Readings[n-1].Post, Read: read(digits)}
}

// TestCorrections corrects each reading in each phase. The run is then what it
// would have been had the right number been posted at that moment: but for a
// closed run, which is never made better, and a verdict that stands on a bad
// expansion. Readings are numbered from 1: the expansion, the start, the end.
func TestCorrections(t *testing.T) {
	fail, pass, none := core.Fail, core.Pass, core.NoVerdict
	expanding := func(t testing.TB) *scene { // readings 15.0, 17.5, 17.2
		s := places["prepared, not inflated"](t)
		s.reads("15.0")
		s.waits(time.Second)
		s.inflates()
		s.waits(time.Minute)
		s.reads("17.2")
		s.waits(time.Minute)
		return s
	}
	holding := func(t testing.TB) *scene { // readings 17.5, 16.0, 15.0 at 1:00, 13.2 at 4:00
		s := newScene(t)
		s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.0")
		for _, digits := range []string{"15.0", "", "", "13.2"} {
			s.waits(time.Minute)
			if digits != "" {
				s.reads(digits)
			}
		}
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
	closed := func(place string) func(t testing.TB) *scene {
		return func(t testing.TB) *scene {
			s := places[place](t)
			s.does(core.Tick{All: true})
			return s
		}
	}
	for _, tt := range []struct {
		name    string
		bring   func(t testing.TB) *scene
		n       int
		digits  string
		comes   string
		phase   core.Phase
		outcome core.Outcome
		reason  core.Reason
	}{
		{"expansion: one before it began", expanding, 1, "15.5", "Corrected", core.Expansion, "", ""},
		{"expansion: one before it began, too high", expanding, 1, "19", "Corrected", core.Expansion, "", ""},
		{"expansion: the first", expanding, 2, "17.6", "Corrected", core.Expansion, "", ""},
		{"expansion: the first too low", expanding, 2, "16.9", "Corrected ExpansionVoid", core.Expansion, "", ""},
		{"expansion: the first too high", expanding, 2, "18.1", "Corrected ExpansionVoid", core.Expansion, "", ""},
		{"expansion: a look", expanding, 3, "16.0", "Corrected", core.Expansion, "", ""},
		{"expansion: a look too high", expanding, 3, "18.1", "Corrected ExpansionVoid", core.Expansion, "", ""},
		{"expansion: more than any suit holds", expanding, 3, "52.6", "refused: " + string(core.Implausible), core.Expansion, "", ""},
		{"expansion: no number", expanding, 3, "x", "refused: " + string(core.Implausible), core.Expansion, "", ""},
		{"expansion: the same", expanding, 3, "17.2", "", core.Expansion, "", ""},
		{"expansion: the same, more digits", expanding, 3, "17.20", "Corrected", core.Expansion, "", ""},

		{"hold: the start", holding, 2, "16.1", "Corrected", core.Hold, "", ""},
		{"hold: the start too low", holding, 2, "15.9", "Corrected HoldVoid", core.Expansion, "", ""},
		{"hold: the start so high that it fails now", holding, 2, "16.3", "Corrected Judged", core.Restore, fail, core.EarlyBeyond}, // 13.3 is the least
		{"hold: the last", holding, 4, "13.1", "Corrected", core.Hold, "", ""},
		{"hold: the last, bad", holding, 4, "12.9", "Corrected Judged", core.Restore, fail, core.EarlyBeyond},
		{"hold: the last, up", holding, 4, "15.3", "Corrected Judged", core.Restore, none, core.Rise},
		{"hold: one in between, below the last", holding, 3, "12.9", "Corrected Judged", core.Restore, none, core.Rise},
		{"hold: the expansion", holding, 1, "17.4", "Corrected", core.Hold, "", ""},
		{"hold: the expansion too low", holding, 1, "16.9", "Corrected HoldVoid ExpansionVoid", core.Expansion, "", ""},
		{"hold: the expansion too high", holding, 1, "18.1", "Corrected HoldVoid ExpansionVoid", core.Expansion, "", ""},

		{"pass: the end, still good", places["restore, pass"], 3, "13.5", "Corrected Judged", core.Restore, pass, core.OnTime},
		{"pass: the end, bad", places["restore, pass"], 3, "13.4", "Corrected Judged", core.Restore, fail, core.OnTime},
		{"pass: the start, still good", places["restore, pass"], 2, "17.0", "Corrected Judged", core.Restore, pass, core.OnTime}, // 17.0 → 15.0
		{"pass: the start higher, and so bad", justPass, 2, "16.6", "Corrected Judged", core.Restore, fail, core.OnTime},         // 16.6 → 13.5
		{"pass: the start too low", places["restore, pass"], 2, "15.9", "Corrected Judged", core.Restore, none, core.StartOutside},
		{"pass: the start too high", places["restore, pass"], 2, "17.1", "Corrected Judged", core.Restore, none, core.StartOutside},
		{"pass: the expansion", places["restore, pass"], 1, "17.4", "Corrected", core.Restore, pass, core.OnTime},
		{"pass: the expansion too low", places["restore, pass"], 1, "16.9", "Corrected Judged", core.Restore, none, core.ExpansionVoided},
		{"fail: a slip in the end", places["restore, fail"], 3, "13.9", "Corrected Judged", core.Restore, pass, core.OnTime},
		{"fail: the end, still bad", places["restore, fail"], 3, "12.8", "Corrected Judged", core.Restore, fail, core.OnTime},
		{"fail: the expansion too low", places["restore, fail"], 1, "16.9", "Corrected", core.Restore, fail, core.OnTime},
		{"no verdict: late and good after all", places["restore, no verdict"], 3, "13.5", "Corrected Judged", core.Restore, pass, core.LateWithin},
		{"early fail: a slip", earlyFail, 3, "16.4", "Corrected HoldResumed", core.Hold, "", ""},
		{"early fail: the start lower", earlyFail, 2, "16.2", "Corrected HoldResumed", core.Hold, "", ""},
		{"stopped: any", places["restore, stopped"], 2, "16.9", "Corrected", core.Restore, "", ""},

		{"closed pass: the end, still good", closed("restore, pass"), 3, "14.0", "Corrected Judged", core.Over, pass, core.OnTime},
		{"closed pass: the end, bad", closed("restore, pass"), 3, "13.4", "Corrected Judged", core.Over, fail, core.OnTime},
		{"closed pass: a rise", closed("restore, pass"), 3, "17.4", "Corrected Judged", core.Over, none, core.Rise},
		{"closed pass: the start outside", closed("restore, pass"), 2, "15.9", "Corrected Judged", core.Over, none, core.StartOutside},
		{"closed pass: the expansion outside", closed("restore, pass"), 1, "16.9", "Corrected Judged", core.Over, none, core.ExpansionVoided},
		{"closed pass: the expansion", closed("restore, pass"), 1, "17.6", "Corrected", core.Over, pass, core.OnTime},
		{"closed fail: good after all", closed("restore, fail"), 3, "13.9", "refused: " + string(core.ClosedForGood), core.Over, fail, core.OnTime},
		{"closed fail: no verdict after all", closed("restore, fail"), 2, "15.9", "refused: " + string(core.ClosedForGood), core.Over, fail, core.OnTime},
		{"closed fail: worse", closed("restore, fail"), 3, "12.0", "Corrected Judged", core.Over, fail, core.OnTime},
		{"closed fail: the expansion outside", closed("restore, fail"), 1, "16.9", "Corrected", core.Over, fail, core.OnTime},
		{"closed no verdict: good after all", closed("restore, no verdict"), 3, "13.5", "refused: " + string(core.ClosedForGood), core.Over, none, core.LateBeyond},
		{"closed early fail: the hold cannot go on", func(t testing.TB) *scene { s := earlyFail(t); s.does(core.Tick{All: true}); return s }, 3, "16.4", "refused: " + string(core.ClosedForGood), core.Over, fail, core.EarlyBeyond},
		{"closed stopped: any", closed("restore, stopped"), 2, "15.0", "Corrected", core.Over, "", ""},
	} {
		s := tt.bring(t)
		was := s.run.Readings[tt.n-1].Written
		s.waits(10 * time.Second)
		got := s.come(s.amend(tt.n, tt.digits))
		outcome, reason := s.verdict()
		if got != tt.comes || s.run.Phase != tt.phase || outcome != tt.outcome || reason != tt.reason {
			t.Errorf("%s: %s in %s, %q %q; want %s in %s, %q %q", tt.name, got, s.run.Phase, outcome, reason, tt.comes, tt.phase, tt.outcome, tt.reason)
		}
		if strings.HasPrefix(tt.comes, "Corrected") {
			r := s.run.Readings[tt.n-1]
			if r.Written.Digits != tt.digits || !slices.Equal(r.Was, []core.Written{was}) {
				t.Errorf("%s: the reading is %v and was %v", tt.name, r.Written, r.Was)
			}
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

// TestCorrectionSetsGoing: a reading corrected into tolerance counts at its
// own moment, not at that of the correction.
func TestCorrectionSetsGoing(t *testing.T) {
	s := places["prepared, not inflated"](t)
	began := s.now
	s.plays([]step{
		{0, read("15.7"), "Taken", core.Expansion},
		{time.Minute, core.Fix{Digits: "17.5"}, "Corrected ExpansionStarted", core.Expansion},
	})
	if !s.run.ExpandedAt.Equal(began) {
		t.Errorf("the expansion began %v late", s.run.ExpandedAt.Sub(began))
	}
	s.plays([]step{
		{9 * time.Minute, read("15.6"), "Taken", core.Expansion},
		{time.Minute, core.Fix{Digits: "16.5"}, "Corrected HoldStarted", core.Hold},
	})
	if s.run.HeldAt.Sub(began) != 10*time.Minute {
		t.Errorf("the hold began at %v", s.run.HeldAt.Sub(began))
	}
	s.plays([]step{{5 * time.Minute, read("13.5"), "Taken Judged", core.Restore}})
	if v := s.run.Verdict; v.Outcome != core.Pass || v.Reason != core.OnTime {
		t.Errorf("%s, %s", v.Outcome, v.Reason)
	}
	// One that is not the last sets nothing going.
	s = places["prepared, not inflated"](t)
	s.plays([]step{
		{0, read("15.7"), "Taken", core.Expansion},
		{time.Minute, read("15.8"), "Taken", core.Expansion},
	})
	s.plays([]step{{0, s.amend(1, "17.5"), "Corrected", core.Expansion}})
	// Another attempt's reading has no weight in this one.
	s = places["restore, no verdict"](t)
	s.does(core.Repeat{})
	s.inflates()
	s.plays([]step{
		{time.Minute, s.amend(1, "19.0"), "Corrected", core.Expansion},
		{time.Minute, s.amend(3, "14.0"), "Corrected", core.Expansion},
		{8 * time.Minute, read("16.5"), "Taken HoldStarted", core.Hold},
		{time.Minute, s.amend(1, "17.5"), "Corrected", core.Hold},
		{time.Minute, s.amend(2, "12.0"), "Corrected", core.Hold},
	})
	// A post that is no reading.
	s = places["hold"](t)
	s.plays([]step{{0, core.Amend{Post: "elsewhere", Read: read("16.5")}, "refused: " + string(core.NothingToFix), core.Hold}})
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

// TestHoldResumed: a verdict taken back leaves the hold as it was. It cannot go
// on if restoring has begun, or the manometer is on another suit.
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
		{0, core.Fix{Digits: "16.4"}, "Corrected Judged", core.Restore},
	})
	if outcome, reason := s.verdict(); outcome != core.NoVerdict || reason != core.CutShort {
		t.Errorf("with the plugs out: %s, %s", outcome, reason)
	}
	s.plays([]step{{0, core.Repeat{}, "refused: " + string(core.CannotRepeat), core.Restore}})

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
	s.waits(6 * time.Minute)
	s.reads("15.0")
	s.waits(4 * time.Minute)
	s.apply(s.run.Ring(s.bench.Policy, s.now))
	if got := s.does(core.Fix{Digits: "16.5"}); got != "Corrected" || s.run.Phase != core.Expansion {
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
	s.does(core.Repeat{})
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
