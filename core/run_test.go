package core_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// step is something said in a run, and what must come of it: the kinds of the
// facts, or "refused: " and the reason.
type step struct {
	after time.Duration // since the step before
	want  core.Intent
	comes string
	phase core.Phase
}

func read(digits string) core.Read { return core.Read{Digits: digits} }

func readIn(digits string, u core.Unit) core.Read { return core.Read{Digits: digits, Unit: u} }

func stated(digits string, at time.Duration) core.Read {
	return core.Read{Digits: digits, Stated: at, HasStated: true}
}

// come decides and applies, and says what came of it.
func (s *scene) come(want core.Intent) string {
	s.t.Helper()
	before := dump(s.run)
	facts, err := s.asks(want)
	if dump(s.run) != before {
		s.t.Errorf("%T %+v changed the run when it was decided", want, want)
	}
	if err != nil {
		if len(facts) != 0 {
			s.t.Errorf("%T %+v is refused with the facts %s", want, want, kinds(facts))
		}
		return "refused: " + string(why(s.t, err))
	}
	s.apply(facts)
	return kinds(facts)
}

func (s *scene) plays(steps []step) {
	s.t.Helper()
	for i, st := range steps {
		s.waits(st.after)
		if got := s.come(st.want); got != st.comes || s.run.Phase != st.phase {
			s.t.Errorf("step %d, %T %+v: %s in %s; want %s in %s", i+1, st.want, st.want, got, s.run.Phase, st.comes, st.phase)
		}
	}
}

// TestRunThroughAllPhases plays one run that passes, with all that may be said
// on the way.
func TestRunThroughAllPhases(t *testing.T) {
	s := newScene(t)
	s.opens(newSuit(t, "HP-07"), "en943", "M-1")
	if s.run.Phase != core.Prepare || len(s.run.PrepareList) != 10 || len(s.run.RestoreList) != 7 {
		t.Fatalf("it begins in %s with lists of %d and %d", s.run.Phase, len(s.run.PrepareList), len(s.run.RestoreList))
	}
	s.plays([]step{
		{time.Second, core.Tick{Items: []int{1, 3, 3}}, "Ticked", core.Prepare},
		{time.Second, core.Tick{Items: []int{3, 1}}, "", core.Prepare},
		{time.Second, core.Tick{Items: []int{11}}, "refused: " + string(core.NoSuchItem), core.Prepare},
		{time.Second, core.Tick{Items: []int{2, 0}}, "refused: " + string(core.NoSuchItem), core.Prepare},
		{time.Second, core.Untick{Items: []int{1}}, "Unticked", core.Prepare},
		{time.Second, core.Untick{Items: []int{1}}, "", core.Prepare},
		{time.Second, core.Untick{Items: []int{-1}}, "refused: " + string(core.NoSuchItem), core.Prepare},
		{time.Second, core.Tick{}, "Ticked", core.Prepare}, // the next one is 1
		{time.Second, read("17.5"), "refused: " + string(core.NotPrepared), core.Prepare},
		{time.Second, core.Use{Manometer: "m2"}, "ManometerChosen", core.Prepare},
		{time.Second, core.Use{Manometer: "M-2"}, "", core.Prepare},
		{time.Second, core.Use{Manometer: "M-1"}, "ManometerChosen", core.Prepare},
		{time.Second, core.Use{Manometer: "M-9"}, "refused: " + string(core.UnknownManometer), core.Prepare},
		{time.Second, core.Tick{All: true}, "Ticked", core.Expansion},
		{time.Second, core.Tick{All: true}, "refused: " + string(core.NoList), core.Expansion},
		{time.Second, core.Untick{Items: []int{1}}, "refused: " + string(core.NoList), core.Expansion},
		{time.Minute, read("15.0"), "Taken", core.Expansion}, // not there yet
		{time.Second, core.Use{Manometer: "M-2"}, "refused: " + string(core.ManometerFixed), core.Expansion},
		{time.Minute, read("17.6"), "Taken ExpansionStarted", core.Expansion},
		{3 * time.Minute, read("16.9"), "Taken", core.Expansion},
		{time.Second, read("17.5"), "Taken", core.Expansion},                    // topped up
		{6*time.Minute + 58*time.Second, read("16.5"), "Taken", core.Expansion}, // a second early
		{time.Second, read("16.5"), "Taken HoldStarted", core.Hold},
		{time.Minute, core.Air{Celsius: "21.5"}, "AirNoted", core.Hold},
		{time.Second, core.Baro{Digits: "1013", Unit: core.HPa}, "BaroNoted", core.Hold},
		{time.Second, core.Baro{Digits: "x", Unit: core.HPa}, "refused: " + string(core.Implausible), core.Hold},
		{time.Minute, stated("15.9", time.Minute), "Taken", core.Hold},
		{time.Second, stated("15.9", time.Hour), "refused: " + string(core.NotYet), core.Hold},
		{time.Second, stated("15.9", 0), "refused: " + string(core.NotYet), core.Hold},
		{time.Second, stated("15.9", -time.Second), "refused: " + string(core.NotYet), core.Hold},
		{time.Second, core.Yes{}, "refused: " + string(core.NothingAsked), core.Hold},
		{4 * time.Minute, read("14.5"), "Taken Judged", core.Restore},
		{time.Second, read("14.5"), "refused: " + string(core.VerdictIn), core.Restore},
		{time.Second, core.Tick{Items: []int{1, 2}}, "Ticked", core.Restore},
		{time.Second, core.Tick{Items: []int{8}}, "refused: " + string(core.NoSuchItem), core.Restore},
		{time.Second, core.Untick{Items: []int{2}}, "Unticked", core.Restore},
		{time.Hour, core.Tick{All: true}, "Ticked Closed", core.Over},
		{time.Second, core.Remark{Text: "hung up"}, "Noted", core.Over},
	})
	if outcome, reason := s.verdict(); outcome != core.Pass || reason != core.OnTime {
		t.Errorf("%s, %s", outcome, reason)
	}
	if got := s.run.TopUps(); got != 1 {
		t.Errorf("%d top-ups, want 1", got)
	}
	if len(s.run.Notes) != 3 || !s.run.Closed.Equal(s.now.Add(-time.Second)) {
		t.Errorf("notes %v, closed at %v", s.run.Notes, s.run.Closed)
	}
	if !reflect.DeepEqual(core.Replay(s.entries[s.run.ID]), s.run) {
		t.Error("replayed, it is another run")
	}
}

// places are where a run may stand. Each returns a scene brought there.
var places = map[string]func(t testing.TB) *scene{
	"prepare": func(t testing.TB) *scene {
		s := newScene(t)
		s.opens(newSuit(t, "HP-07"), "en943", "M-1")
		return s
	},
	"prepared, not inflated": func(t testing.TB) *scene {
		s := newScene(t)
		s.opens(newSuit(t, "HP-07"), "en943", "M-1")
		s.does(core.Tick{All: true})
		return s
	},
	"expansion": func(t testing.TB) *scene {
		s := newScene(t)
		s.opens(newSuit(t, "HP-07"), "en943", "M-1")
		s.does(core.Tick{All: true})
		s.inflates()
		s.waits(time.Minute)
		return s
	},
	"hold": func(t testing.TB) *scene {
		s := newScene(t)
		s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.5")
		s.waits(time.Minute)
		return s
	},
	"restore, pass": func(t testing.TB) *scene {
		s := newScene(t)
		s.passes(newSuit(t, "HP-07"))
		return s
	},
	"restore, fail": func(t testing.TB) *scene {
		s := newScene(t)
		s.fails(newSuit(t, "HP-07"))
		return s
	},
	"restore, no verdict": func(t testing.TB) *scene {
		s := newScene(t)
		s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.5")
		s.waits(20 * time.Minute)
		s.reads("12.0")
		return s
	},
	"restore, stopped": func(t testing.TB) *scene {
		s := newScene(t)
		s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.5")
		s.does(core.Stop{Why: "alarm"})
		return s
	},
	"closed": func(t testing.TB) *scene {
		s := newScene(t)
		s.passes(newSuit(t, "HP-07"))
		s.does(core.Tick{All: true})
		return s
	},
}

// TestDecideEverywhere says each thing in each place.
func TestDecideEverywhere(t *testing.T) {
	const no = "refused: "
	for name, want := range map[string]map[string]core.Intent{
		"prepare": {
			"Again":                            nil,
			"Stopped Closed":                   core.Stop{Why: "alarm"},
			"DefectSeen Judged Closed":         core.Bad{Item: 2, What: "hole in left glove"},
			no + string(core.NoSuchItem):       core.Bad{Item: 11, What: "hole"},
			no + string(core.NotPrepared):      core.Repeat{},
			no + string(core.NothingToFix):     core.Fix{Digits: "16.5"},
			no + string(core.NothingAsked):     core.Yes{},
			"HandedOver":                       core.HandOver{To: second},
			no + string(core.AlreadyTheirs):    core.HandOver{To: tester},
			"Ticked":                           core.Tick{ByTap: true, Items: []int{4}},
			"ManometerChosen":                  core.Use{Manometer: "M-2"},
			"Noted":                            core.Remark{Text: "cold"},
			"":                                 core.Use{Manometer: "M-1"},
			no + string(core.UnknownManometer): core.Use{Manometer: "M-77"},
		},
		"prepared, not inflated": {
			"Stopped":                      core.Stop{Why: "alarm"}, // the plugs are in
			no + string(core.PastDefects):  core.Bad{Item: 2, What: "hole"},
			"Again":                        core.Repeat{},
			"ManometerChosen":              core.Use{Manometer: "M-2"},
			"Taken ExpansionStarted":       read("17,5"),
			"Taken":                        read("14.0"),
			"Questioned":                   read("1750"),
			no + string(core.Implausible):  read("99"),
			no + string(core.NotInHold):    stated("17.5", time.Minute),
			no + string(core.NothingToFix): core.Fix{Digits: "17.5"},
			no + string(core.NoList):       core.Tick{},
			"HandedOver":                   core.HandOver{To: second},
		},
		"expansion": {
			"Stopped":                        core.Stop{},
			"Again":                          core.Repeat{},
			"Taken":                          read("17.1"),
			"Taken ExpansionVoid":            read("18.1"),
			no + string(core.NotInHold):      stated("17.1", time.Minute),
			no + string(core.PastDefects):    core.Bad{Item: 2, What: "hole"},
			no + string(core.NoList):         core.Tick{Items: []int{1}},
			no + string(core.ManometerFixed): core.Use{Manometer: "M-2"},
			"Corrected":                      core.Fix{Digits: "17.4"},
			"Corrected ExpansionVoid":        core.Fix{Digits: "16.9"},
			"":                               core.Fix{Digits: "17.5"},
			"HandedOver":                     core.HandOver{To: second},
		},
		"hold": {
			"Stopped":                        core.Stop{},
			"Again":                          core.Repeat{},
			"Taken":                          read("16.1"),
			"Taken Judged":                   read("13.4"),
			"Corrected":                      core.Fix{Digits: "16.6"},
			"Corrected HoldVoid":             core.Fix{Digits: "15.9"},
			no + string(core.Implausible):    core.Fix{Digits: "1650"},
			no + string(core.PastDefects):    core.Bad{Item: 2, What: "hole"},
			no + string(core.ManometerFixed): core.Use{Manometer: "M-2"},
			"Questioned":                     read("1610"),
			"HandedOver":                     core.HandOver{To: second},
			"AirNoted":                       core.Air{Celsius: "20"},
		},
		"restore, pass": {
			no + string(core.AlreadyStopped): core.Stop{},
			no + string(core.CannotRepeat):   core.Repeat{},
			no + string(core.VerdictIn):      read("15.0"),
			no + string(core.ManometerFixed): core.Use{Manometer: "M-2"},
			no + string(core.PastDefects):    core.Bad{Item: 2, What: "hole"},
			"Corrected Judged":               core.Fix{Digits: "14.0"},
			"Ticked":                         core.Tick{},
			"Ticked Closed":                  core.Tick{All: true},
			"HandedOver":                     core.HandOver{To: second},
		},
		"restore, fail": {
			no + string(core.AlreadyStopped): core.Stop{},
			no + string(core.CannotRepeat):   core.Repeat{},
			no + string(core.VerdictIn):      read("15.0"),
			"Ticked Closed":                  core.Tick{All: true},
		},
		"restore, no verdict": {
			no + string(core.AlreadyStopped): core.Stop{},
			"Again":                          core.Repeat{},
			no + string(core.VerdictIn):      read("15.0"),
			"Ticked Closed":                  core.Tick{All: true},
		},
		"restore, stopped": {
			no + string(core.AlreadyStopped): core.Stop{},
			no + string(core.CannotRepeat):   core.Repeat{},
			no + string(core.VerdictIn):      read("15.0"),
			"Corrected":                      core.Fix{Digits: "16.4"},
			"Ticked Closed":                  core.Tick{All: true},
		},
		"closed": {
			no + string(core.RunClosed): core.Stop{},
			"Noted":                     core.Remark{Text: "hung up"},
			"Corrected Judged":          core.Fix{Digits: "14.0"},
		},
	} {
		for comes, intent := range want {
			if intent == nil {
				continue
			}
			s := places[name](t)
			if got := s.come(intent); got != comes {
				t.Errorf("%s: %T %+v: %s, want %s", name, intent, intent, got, comes)
			}
		}
	}
	for name, bring := range places {
		// Nobody but the tester has a say, but for remarks.
		for _, intent := range []core.Intent{
			core.Tick{All: true},
			core.Untick{Items: []int{1}},
			core.Bad{Item: 1},
			read("16.5"),
			core.Fix{Digits: "16.5"},
			core.Amend{Post: "post1", Read: read("16.5")},
			core.Yes{},
			core.Use{Manometer: "M-2"},
			core.Air{Celsius: "1"},
			core.Baro{Digits: "1013", Unit: core.HPa},
			core.Stop{},
			core.Repeat{},
			core.HandOver{To: officer},
		} {
			s := bring(t)
			s.by = officer
			if got := s.come(intent); got != "refused: "+string(core.NotTheTester) {
				t.Errorf("%s: %T from somebody else: %s", name, intent, got)
			}
		}
		s := bring(t)
		s.by = officer
		if got := s.come(core.Remark{Text: "well"}); got != "Noted" {
			t.Errorf("%s: a remark from somebody else: %s", name, got)
		}
		// A closed run hears nothing but remarks and corrections.
		if name == "closed" {
			for _, intent := range []core.Intent{
				core.Tick{},
				core.Tick{All: true},
				core.Untick{Items: []int{1}},
				core.Bad{Item: 1},
				read("15.0"),
				core.Yes{},
				core.Use{Manometer: "M-2"},
				core.Air{Celsius: "1"},
				core.Baro{Digits: "1013", Unit: core.HPa},
				core.Stop{},
				core.Repeat{},
				core.HandOver{To: second},
			} {
				s := bring(t)
				if got := s.come(intent); got != "refused: "+string(core.RunClosed) {
					t.Errorf("closed: %T: %s", intent, got)
				}
			}
		}
		// What is meant for no run at all does nothing.
		for _, intent := range []core.Intent{nil, core.AskWhere{}, core.NoteUsed{Suit: "HP-07"}} {
			s := bring(t)
			if got := s.come(intent); !strings.HasPrefix(got, "refused: ") {
				t.Errorf("%s: %T: %s", name, intent, got)
			}
		}
	}
}

// TestHandOver: the run goes on with the other tester, and no more with the
// first.
func TestHandOver(t *testing.T) {
	for name, bring := range places {
		if name == "closed" {
			continue
		}
		s := bring(t)
		s.does(core.HandOver{To: second})
		if got := s.refused(core.Tick{All: true}); got != core.NotTheTester {
			t.Errorf("%s: the first tester still has a say: %s", name, got)
		}
		s.by = second
		if got := s.come(core.HandOver{To: tester}); got != "HandedOver" {
			t.Errorf("%s: the second tester has none: %s", name, got)
		}
	}
}

// TestBadBeforeAnythingIsShut: a defect by eye fails the suit without
// inflating it, and closes the run at once if there is nothing to undo.
func TestBadBeforeAnythingIsShut(t *testing.T) {
	for _, tt := range []struct {
		name  string
		ticks []int
		comes string
		phase core.Phase
	}{
		{"at once", nil, "DefectSeen Judged Closed", core.Over},
		{"after what closes nothing", []int{1, 2, 3}, "DefectSeen Judged Closed", core.Over},
		{"the ventilating valve is shut", []int{4}, "DefectSeen Judged", core.Restore},
		{"the adapter is in", []int{5}, "DefectSeen Judged", core.Restore},
		{"the plugs are in", []int{6}, "DefectSeen Judged", core.Restore},
	} {
		s := places["prepare"](t)
		if tt.ticks != nil {
			s.does(core.Tick{Items: tt.ticks})
		}
		if got := s.come(core.Bad{Item: 3, What: "cut in the left glove"}); got != tt.comes || s.run.Phase != tt.phase {
			t.Errorf("%s: %s in %s, want %s in %s", tt.name, got, s.run.Phase, tt.comes, tt.phase)
		}
		if v := s.run.Verdict; v == nil || v.Outcome != core.Fail || v.Reason != core.DefectByEye || v.Defect != "cut in the left glove" {
			t.Errorf("%s: the verdict is %+v", tt.name, v)
		}
		if got := s.come(core.Repeat{}); got == "Again" {
			t.Errorf("%s: a defect seen can be repeated away", tt.name)
		}
	}
}

// TestStopDemandsRestore: once anything was plugged, fitted or shut, stopping
// does not close the run, even if the tick was taken back.
func TestStopDemandsRestore(t *testing.T) {
	s := places["prepare"](t)
	s.plays([]step{
		{0, core.Tick{Items: []int{6}}, "Ticked", core.Prepare},
		{0, core.Untick{Items: []int{6}}, "Unticked", core.Prepare},
		{0, core.Stop{Why: "alarm"}, "Stopped", core.Restore},
		{0, core.Tick{Items: []int{1, 2, 3, 4, 5, 6}}, "Ticked", core.Restore},
		{0, core.Tick{Items: []int{7}}, "Ticked Closed", core.Over},
	})
	if s.run.Verdict != nil {
		t.Errorf("a stopped run has the verdict %+v", s.run.Verdict)
	}
}

// TestOverpressure: a reading above the expansion's tolerance voids it: the
// time at the right pressure begins anew.
func TestOverpressure(t *testing.T) {
	s := places["expansion"](t)
	s.plays([]step{
		{time.Minute, read("18.01"), "Taken ExpansionVoid", core.Expansion},
		{time.Minute, read("18.5"), "Taken", core.Expansion}, // still too much: no clock
		{20 * time.Minute, read("16.5"), "Taken", core.Expansion},
		{time.Minute, read("18.00"), "Taken ExpansionStarted", core.Expansion},
		{9*time.Minute + 59*time.Second, read("16.5"), "Taken", core.Expansion},
		{time.Second, read("16.5"), "Taken HoldStarted", core.Hold},
	})
}

// TestAgain repeats the phase, and only a test without a verdict.
func TestAgain(t *testing.T) {
	// In the hold: a new start reading, no new expansion.
	s := places["hold"](t)
	s.plays([]step{
		{time.Minute, read("15.9"), "Taken", core.Hold},
		{time.Second, core.Repeat{}, "Again", core.Expansion},
		{time.Minute, read("15.0"), "Taken", core.Expansion},
		{time.Minute, read("16.5"), "Taken HoldStarted", core.Hold},
		{4 * time.Minute, read("15.5"), "Taken", core.Hold},
		{2 * time.Minute, read("15.0"), "Taken Judged", core.Restore},
	})
	if v := s.run.Verdict; v.Outcome != core.Pass || v.End.Taken.Sub(v.Start.Taken) != 6*time.Minute {
		t.Errorf("the hold begun again: %+v", v)
	}
	// In the expansion: from the start.
	s = places["expansion"](t)
	s.plays([]step{
		{9 * time.Minute, core.Repeat{}, "Again", core.Expansion},
		{time.Minute, read("16.5"), "Taken", core.Expansion},
		{time.Minute, read("17.5"), "Taken ExpansionStarted", core.Expansion},
		{10 * time.Minute, read("16.5"), "Taken HoldStarted", core.Hold},
	})
	// After no verdict: all of the test, and the manometer may be another.
	s = places["restore, no verdict"](t)
	s.plays([]step{
		{time.Minute, core.Repeat{}, "Again", core.Expansion},
		{time.Minute, core.Fix{Digits: "14.0"}, "refused: " + string(core.NothingToFix), core.Expansion},
		{time.Minute, core.Use{Manometer: "M-5"}, "ManometerChosen", core.Expansion},
		{time.Minute, read("16.5"), "Taken", core.Expansion},
		{time.Minute, read("17.5"), "Taken ExpansionStarted", core.Expansion},
		{10 * time.Minute, read("16.5"), "Taken HoldStarted", core.Hold},
		{6 * time.Minute, read("15.0"), "Taken Judged", core.Restore},
	})
	if len(s.run.Verdicts) != 2 || s.run.Attempt != 1 || s.run.Verdict.Start.Manometer != "M-5" {
		t.Errorf("verdicts %v, attempt %d", s.run.Verdicts, s.run.Attempt)
	}
	// Not once restoring has begun: the suit must be prepared anew.
	s = places["restore, no verdict"](t)
	s.plays([]step{
		{time.Minute, core.Tick{Items: []int{7}}, "Ticked", core.Restore},
		{time.Minute, core.Repeat{}, "refused: " + string(core.CannotRepeat), core.Restore},
	})
}

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
		{"pass: the start, bad", places["restore, pass"], 2, "17.0", "Corrected Judged", core.Restore, pass, core.OnTime}, // 17.0 → 15.0
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

// TestQuestion: a number that does not fit is asked about, and once that is
// answered it is true at the moment of the doubted post.
func TestQuestion(t *testing.T) {
	for _, tt := range []struct {
		name   string
		answer func(s *scene) core.Intent
		taken  core.Written
	}{
		{"yes", func(*scene) core.Intent { return core.Yes{} }, write(t, "1360", core.Pa)},
		{"ok", func(*scene) core.Intent { return core.Tick{} }, write(t, "1360", core.Pa)},
		{"the unit said", func(*scene) core.Intent { return readIn("1360", core.Pa) }, write(t, "1360", core.Pa)},
		{"fixed", func(*scene) core.Intent { return core.Fix{Digits: "13.6"} }, write(t, "13.6", core.Mbar)},
		{"fixed with its unit", func(*scene) core.Intent { return core.Fix{Digits: "1361", Unit: core.Pa} }, write(t, "1361", core.Pa)},
		{"edited", func(s *scene) core.Intent { return core.Amend{Post: s.run.Asked.Reading.Post, Read: read("13.6")} }, write(t, "13.6", core.Mbar)},
	} {
		s := places["hold"](t) // a minute into it
		s.plays([]step{{5*time.Minute + 20*time.Second, read("1360"), "Questioned", core.Hold}})
		if q := s.run.Asked; q == nil || q.Perhaps != core.Pa {
			t.Fatalf("%s: asked about %+v", tt.name, q)
		}
		s.waits(10 * time.Minute)
		if got := s.come(tt.answer(s)); got != "Taken Judged" {
			t.Errorf("%s: %s", tt.name, got)
			continue
		}
		v := s.run.Verdict
		if v.Outcome != core.Pass || v.Reason != core.OnTime || v.End.Written != tt.taken || s.run.Asked != nil {
			t.Errorf("%s: %s, %s with %v; want a pass on time with %v", tt.name, v.Outcome, v.Reason, v.End.Written, tt.taken)
		}
	}

	// The start of the hold, too, is when it was posted.
	s := places["expansion"](t)
	s.plays([]step{{9 * time.Minute, read("1650"), "Questioned", core.Expansion}})
	asked := s.now
	s.plays([]step{{30 * time.Second, core.Yes{}, "Taken HoldStarted", core.Hold}})
	if !s.run.HeldAt.Equal(asked) {
		t.Errorf("the hold began %v late", s.run.HeldAt.Sub(asked))
	}

	// What else may happen to a question.
	s = places["hold"](t)
	s.plays([]step{
		{0, read("1600"), "Questioned", core.Hold},
		{0, core.Fix{Digits: "1590"}, "refused: " + string(core.Implausible), core.Hold}, // no better
		{0, readIn("1600", core.Mbar), "Questioned", core.Hold},                          // no suit holds that
		{0, readIn("1600", core.Psi), "Questioned", core.Hold},
		{0, read("16.0"), "Taken", core.Hold}, // said anew: the question is gone
		{0, core.Yes{}, "refused: " + string(core.NothingAsked), core.Hold},
		{0, read("1600"), "Questioned", core.Hold},
		{0, core.Repeat{}, "Again", core.Expansion},
		{0, core.Yes{}, "refused: " + string(core.NothingAsked), core.Expansion},
		{0, read("1650"), "Questioned", core.Expansion},
		{0, core.Stop{}, "Stopped", core.Restore},
		{0, core.Tick{}, "Ticked", core.Restore}, // ok ticks again
	})
	// A stated moment outlives the question.
	s = places["hold"](t)
	s.plays([]step{
		{9 * time.Minute, stated("1360", 5*time.Minute), "Questioned", core.Hold},
		{time.Minute, readIn("1360", core.Pa), "Taken", core.Hold},
	})
	if r, _ := s.run.Last(); !r.Stated || r.Taken.Sub(s.run.HeldAt) != 5*time.Minute {
		t.Errorf("it was stated for 5:00 and is %+v", r)
	}
	// Another manometer, and the question about the old one is gone.
	s = places["prepared, not inflated"](t)
	s.plays([]step{
		{0, read("1750"), "Questioned", core.Expansion},
		{0, core.Use{Manometer: "M-5"}, "ManometerChosen", core.Expansion},
		{0, core.Yes{}, "refused: " + string(core.NothingAsked), core.Expansion},
	})
}

// TestDoubt says which numbers are asked about. EN 943-1 wants 17.5 mbar, then
// 16.5; within 13.5 is good.
func TestDoubt(t *testing.T) {
	const taken, judged, refused = "Taken", "Taken Judged", "refused: " + string(core.Implausible)
	for _, tt := range []struct {
		manometer string
		words     string
		comes     string
		perhaps   core.Unit
	}{
		{"M-1", "15.0", taken, 0},
		{"M-1", "1500", "Questioned", core.Pa},
		{"M-1", "150", "Questioned", core.MmH2O}, // 14.7 mbar
		{"M-1", "1.5", "Questioned", core.KPa},
		{"M-1", "1.5 kPa", taken, 0},
		{"M-1", "1500 Pa", taken, 0},
		{"M-1", "6.0 in", taken, 0},
		{"M-1", "15 mm", "Questioned", core.Mbar}, // the wrong unit said
		{"M-1", "15 kPa", "Questioned", core.Mbar},
		{"M-2", "150", taken, 0},
		{"M-2", "15.0", "Questioned", core.Mbar},
		{"M-2", "15.0 mm", "Taken Judged", 0}, // said so: it is believed
		{"M-3", "6.0", taken, 0},
		{"M-3", "15.0", "Questioned", core.Mbar},
		{"M-3", "150", "Questioned", core.MmH2O},
		{"M-7", "1500", taken, 0},
		{"M-7", "15.0", "Questioned", core.Mbar},
		// A bad reading is never asked about as if it could be a good one: 6.0 mbar
		// is bad, and 6.0 in would be good.
		{"M-1", "6.0", judged, 0},
		{"M-1", "4.2", judged, 0},
		{"M-3", "6.0 mbar", judged, 0},
		// Nothing fits.
		{"M-1", "400", refused, 0},
		{"M-1", "99999", refused, 0},
		{"M-1", "52.6 mbar", refused, 0},
		{"M-1", "0", judged, 0},
		{"M-1", "0.0 mbar", judged, 0},
		// Numbers whose multiples would not fit into 64 bits.
		{"M-7", "3689348816", refused, 0},
		{"M-7", "1844674407.52", refused, 0},
		{"M-7", "922337204", refused, 0},
		{"M-7", "9223372036", refused, 0},
		{"M-1", "92233720", refused, 0},
	} {
		s := newScene(t)
		start := map[string]string{"M-1": "16.5", "M-2": "168", "M-3": "6.62", "M-7": "1650"}[tt.manometer]
		s.holds(newSuit(t, "HP-07"), "en943", tt.manometer, start)
		s.waits(time.Minute)
		got := s.come(reading(t, tt.words))
		if got != tt.comes {
			t.Errorf("%s: %s: %s, want %s", tt.manometer, tt.words, got, tt.comes)
		}
		if q := s.run.Asked; q != nil && q.Perhaps != tt.perhaps {
			t.Errorf("%s: %s: asks for %v, want %v", tt.manometer, tt.words, q.Perhaps, tt.perhaps)
		}
	}
}

// TestOneManometer: a manometer is in one run from the first reading to the
// ending pressure.
func TestOneManometer(t *testing.T) {
	s := newScene(t)
	s.opens(newSuit(t, "HP-07"), "en943", "M-1")
	s.does(core.Tick{All: true})
	first := s.run.ID
	s.opens(newSuit(t, "HP-08"), "en943", "M-1")
	s.does(core.Tick{All: true})
	second := s.run.ID
	s.turnsTo(first)
	s.inflates()
	if !s.run.FreesManometer().Equal(s.now.Add(16 * time.Minute)) {
		t.Errorf("the manometer is free %v from now", s.run.FreesManometer().Sub(s.now))
	}
	busy := func() core.Why {
		s.turnsTo(second)
		defer s.turnsTo(first)
		return s.refused(read("17.5"))
	}
	if got := busy(); got != core.ManometerBusy {
		t.Errorf("during the expansion: %q", got)
	}
	s.waits(10 * time.Minute)
	s.reads("16.5")
	if got := busy(); got != core.ManometerBusy {
		t.Errorf("during the hold: %q", got)
	}
	s.does(core.Repeat{})
	if got := busy(); got != core.ManometerBusy {
		t.Errorf("between two holds: %q", got)
	}
	s.reads("16.5")
	s.waits(6 * time.Minute)
	s.reads("15.0")
	if got := busy(); got != "" {
		t.Errorf("after the ending pressure: %q", got)
	}
	// What is said about the other run helps to find it.
	s = newScene(t)
	s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.5")
	s.opens(newSuit(t, "HP-08"), "en943", "M-1")
	s.does(core.Tick{All: true})
	_, err := s.asks(read("17.5"))
	if want := (core.Refusal{
		Why: core.ManometerBusy, Suit: "HP-07", Run: 1, Method: "en943", Manometer: "M-1", Person: tester, Until: s.now.Add(6 * time.Minute),
	}); err == nil || !reflect.DeepEqual(*err.(*core.Refusal), want) {
		t.Errorf("refused with %+v, want %+v", err, want)
	}
	// Another manometer is free, and so is the first once its run is stopped.
	s.does(core.Use{Manometer: "M-5"})
	s.inflates()
	s.turnsTo(1)
	s.does(core.Stop{})
	s.opens(newSuit(t, "HP-09"), "en943", "M-1")
	s.does(core.Tick{All: true})
	s.inflates()
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

// TestLists: what a suit is closed with is what is counted out of it.
func TestLists(t *testing.T) {
	for _, f := range []core.Fittings{
		{},
		{ExhaustValves: 1},
		{ExhaustValves: 2, GloveRings: true},
		{ExhaustValves: 3, VentilatingValve: true},
		{ExhaustValves: 4, VentilatingValve: true, PassThrough: true, GloveRings: true},
		{PassThrough: true},
	} {
		prepare, restore := core.PrepareList(f), core.RestoreList(f)
		if len(prepare) > 10 || len(restore) > 10 {
			t.Errorf("%+v: lists of %d and %d, and there are ten numbers to tap", f, len(prepare), len(restore))
		}
		count := func(items []core.Item, task core.Task) int {
			i := slices.IndexFunc(items, func(it core.Item) bool { return it.Task == task })
			if i < 0 {
				return -1
			}
			return items[i].Count
		}
		if in, out := count(prepare, core.TaskPlugsIn), count(restore, core.TaskPlugsOut); in != out || in > f.ExhaustValves-1 {
			t.Errorf("%+v: %d plugs in, %d out", f, in, out)
		}
		if in, out := count(prepare, core.TaskInflationFitted), count(restore, core.TaskAdapterOut); in != 1 || out != 1 {
			t.Errorf("%+v: %d adapters in, %d out", f, in, out)
		}
		for task, has := range map[core.Task]bool{
			core.TaskVentilatingBack: f.VentilatingValve, core.TaskPassThroughBack: f.PassThrough,
			core.TaskDiaphragms: true, core.TaskCovers: true, core.TaskDried: true,
		} {
			if (count(restore, task) >= 0) != has {
				t.Errorf("%+v: the restore list has %q: %v", f, task, !has)
			}
		}
		if (count(prepare, core.TaskInletsShut) >= 0) != (f.VentilatingValve || f.PassThrough) {
			t.Errorf("%+v: inlets", f)
		}
		if prepare[0].Task != core.TaskDecontaminated {
			t.Errorf("%+v: %q comes before decontamination", f, prepare[0].Task)
		}
		closes := 0
		for _, it := range prepare {
			if it.Closes {
				closes++
			}
		}
		if closes == 0 {
			t.Errorf("%+v: nothing on the list closes the suit", f)
		}
	}
}

// TestApplyLeavesTheOldRun: a Run is a value. Applying an entry to it, or two
// different entries, changes neither it nor the other result.
func TestApplyLeavesTheOldRun(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for range 40 {
		w := newWalk(t, rng)
		for range 40 {
			before := w.run
			was := dump(before)
			fork := before.Apply(w.anyEntry())
			forked := dump(fork)
			w.step()
			if dump(before) != was {
				t.Fatalf("applied to, a run changed from\n%s\nto\n%s", was, dump(before))
			}
			if dump(fork) != forked {
				t.Fatalf("a run changed with its fork from\n%s\nto\n%s", forked, dump(fork))
			}
			for _, list := range [][]core.Reading{w.run.ExpansionReadings(), w.run.HoldReadings()} {
				_ = append(list, core.Reading{Post: "spoilt"}) // callers may append
			}
			if dump(core.Replay(w.entries[w.run.ID])) != dump(w.run) {
				t.Fatal("replayed, it is another run")
			}
		}
	}
}

// walk is a run that things are said to at random.
type walk struct {
	*scene
	rng *rand.Rand
}

func newWalk(t testing.TB, rng *rand.Rand) *walk {
	w := &walk{scene: newScene(t), rng: rng}
	key := pick(rng, "en943", "f1052", "osha")
	w.opens(newSuit(t, "HP-07"), key, pick(rng, "M-1", "M-2", "M-3", "M-4", "M-6", "M-7"))
	return w
}

func pick[T any](rng *rand.Rand, of ...T) T { return of[rng.IntN(len(of))] }

// anyEntry returns an entry of any kind, mostly one that makes no sense now.
func (w *walk) anyEntry() core.Entry {
	n := w.rng.IntN(len(w.run.Readings)+4) - 1
	word := write(w.t, w.digits(), pick(w.rng, core.Units()...))
	fact := pick[core.Fact](
		w.rng, core.Ticked{Items: []int{1, 2, n}}, core.Unticked{Items: []int{1, n}}, core.DefectSeen{Item: n, What: "hole"},
		core.Taken{Reading: core.Reading{N: n, Written: word, Taken: w.now}}, core.Questioned{Reading: core.Reading{N: n, Written: word}, Perhaps: core.Pa},
		core.Corrected{N: n, Written: word}, core.ExpansionStarted{N: n}, core.ExpansionVoid{}, core.HoldStarted{N: n}, core.HoldVoid{},
		core.HoldResumed{}, core.Rung{Bell: core.BellHold, Due: w.now}, core.Judged{Verdict: core.Verdict{Outcome: core.Pass}}, core.Stopped{},
		core.Again{}, core.HandedOver{To: second}, core.ManometerChosen{Manometer: w.bench.Manometers["M-5"]}, core.AirNoted{}, core.BaroNoted{Written: word}, core.Noted{Text: "x"}, core.Closed{}, nil,
	)
	return core.Entry{At: w.now, By: tester, Suit: "HP-07", Run: w.run.ID, Fact: fact}
}

// digits are those of a number that somebody might post.
func (w *walk) digits() string {
	unit := w.run.Manometer.Unit
	m := w.run.Method
	around := pick(w.rng, m.Expansion.Target, m.Test.Target, m.Test.Target).Pressure()
	share := pick(w.rng, 1.0, 1.0, 1.0, 0.99, 0.95, 0.9, 0.85, 0.8, 0.75, 0.5, 0.2, 1.04, 1.2, 0, 10)
	p := core.Pressure(share * float64(around) * (1 + 0.005*w.rng.NormFloat64()))
	if w.rng.IntN(20) == 0 {
		unit = pick(w.rng, core.Units()...)
	}
	return max(0, p).Fixed(unit, unit.Decimals())
}

// intent is something that somebody might say, mostly what fits the phase.
func (w *walk) intent() core.Intent {
	read := core.Read{Digits: w.digits()}
	switch w.rng.IntN(12) {
	case 0:
		read.Unit = pick(w.rng, core.Units()...)
	case 1:
		read.Stated, read.HasStated = time.Duration(w.rng.IntN(500)-20)*time.Second, true
	}
	if w.rng.IntN(100) < 75 {
		switch w.run.Phase {
		case core.Prepare:
			return core.Tick{All: true}
		case core.Restore:
			return pick[core.Intent](w.rng, core.Tick{Items: []int{1 + w.rng.IntN(8)}}, core.Repeat{}, core.Repeat{}, core.Fix{Digits: w.digits()})
		}
		return read
	}
	item := w.rng.IntN(13) - 1
	return pick[core.Intent](
		w.rng, core.Tick{}, core.Tick{All: true}, core.Tick{Items: []int{item}, ByTap: true}, core.Untick{Items: []int{item, item}},
		core.Bad{Item: item, What: "hole"}, read, read, core.Fix{Digits: w.digits()}, core.Fix{Digits: w.digits()},
		core.Amend{Post: fmt.Sprintf("post%d", w.rng.IntN(w.posts+1)), Read: read}, core.Yes{}, core.Yes{},
		core.Use{Manometer: pick(w.rng, "M-1", "M-2", "M-5", "M-0")}, core.Air{Celsius: "20"}, core.Baro{Digits: w.digits(), Unit: core.HPa},
		core.Remark{Text: "x"}, core.Stop{Why: "x"}, core.Repeat{}, core.HandOver{To: second}, core.HandOver{To: tester},
		core.Read{Digits: pick(w.rng, "", "x", "-1", "1e9", "999999999999", "0")}, core.AskWhere{}, nil,
	)
}

// moment lets time pass: a little, or up to about when something is due.
func (w *walk) moment() {
	switch w.rng.IntN(5) {
	case 0:
		due := pick(w.rng, w.run.ExpansionEnds(), w.run.HoldEnds())
		if at := due.Add(time.Duration(w.rng.IntN(200)-100) * time.Second); !due.IsZero() && at.After(w.now) {
			w.now = at
		}
	case 1:
		due := pick(w.rng, w.run.ExpansionEnds(), w.run.HoldEnds())
		if due.After(w.now) {
			w.now = due
		}
	case 2:
		w.waits(time.Duration(w.rng.IntN(600)) * time.Second)
	default:
		w.waits(time.Duration(w.rng.IntN(20_000)) * time.Millisecond)
	}
}

// step lets somebody say something, and returns the facts.
func (w *walk) step() []core.Fact {
	w.moment()
	w.by = w.run.Tester
	if w.rng.IntN(30) == 0 {
		w.by = officer
	}
	if w.rng.IntN(4) == 0 {
		w.apply(w.run.Ring(w.bench.Policy, w.now))
	}
	facts, err := w.asks(w.intent())
	if err != nil {
		if len(facts) != 0 {
			w.t.Fatalf("refused with the facts %s", kinds(facts))
		}
		why(w.t, err)
		return nil
	}
	for i := range facts {
		w.apply(facts[i : i+1])
	}
	return facts
}

// edges are the ways from phase to phase, and the facts that go them.
var edges = map[[2]core.Phase][]string{
	{core.Prepare, core.Expansion}: {"Ticked"},
	{core.Prepare, core.Restore}:   {"Judged", "Stopped"},
	{core.Expansion, core.Hold}:    {"HoldStarted"},
	{core.Expansion, core.Restore}: {"Stopped"},
	{core.Hold, core.Expansion}:    {"HoldVoid", "Again"},
	{core.Hold, core.Restore}:      {"Judged", "Stopped"},
	{core.Restore, core.Hold}:      {"HoldResumed"},
	{core.Restore, core.Expansion}: {"Again"},
	{core.Restore, core.Over}:      {"Closed"},
}

// TestRandomWalks says things to runs at random, and checks what must hold
// whatever is said.
func TestRandomWalks(t *testing.T) {
	rng := rand.New(rand.NewPCG(13, 14))
	reached := make(map[string]int)
	for range 400 {
		w := newWalk(t, rng)
		for range 60 {
			was := len(w.entries[w.run.ID])
			w.step()
			w.check(was, reached)
		}
		if got := core.Replay(w.entries[w.run.ID]); !reflect.DeepEqual(got, w.run) {
			t.Fatalf("replayed, it is another run:\n%s\nnot\n%s", dump(got), dump(w.run))
		}
	}
	for _, must := range []string{
		"pass", "fail", "no verdict", "HoldVoid", "HoldResumed", "ExpansionVoid", "Again", "Closed", "Questioned",
		string(core.Bracketed), string(core.LateWithin), string(core.ExpansionVoided),
	} {
		if reached[must] == 0 {
			t.Errorf("no walk reached %q: %v", must, reached)
		}
	}
	for edge := range edges {
		if reached[fmt.Sprint(edge)] == 0 {
			t.Errorf("no walk went %v", edge)
		}
	}
}

// check checks the entries since the one numbered was.
func (w *walk) check(was int, reached map[string]int) {
	w.t.Helper()
	entries := w.entries[w.run.ID]
	run := core.Replay(entries[:was])
	for _, e := range entries[was:] {
		before := run
		run = run.Apply(e)
		kind := kinds([]core.Fact{e.Fact})
		reached[kind]++
		if edge := [2]core.Phase{before.Phase, run.Phase}; before.Phase != run.Phase {
			reached[fmt.Sprint(edge)]++
			if !slices.Contains(edges[edge], kind) {
				w.t.Fatalf("%s leads from %s to %s", kind, before.Phase, run.Phase)
			}
		}
		if before.Phase == core.Over && !slices.Contains([]string{"Noted", "Corrected", "Judged"}, kind) {
			w.t.Fatalf("%s after the run was closed", kind)
		}
		switch f := e.Fact.(type) {
		case core.Judged:
			reached[string(f.Verdict.Outcome)]++
			reached[string(f.Verdict.Reason)]++
			if before.Phase == core.Over && before.Verdict.Outcome != core.Pass && f.Verdict.Outcome != core.Fail {
				w.t.Fatalf("closed as %s, a run is now %s", before.Verdict.Outcome, f.Verdict.Outcome)
			}
			if f.Verdict.Outcome == core.Pass {
				w.checkPass(run, f.Verdict)
			}
		case core.Closed:
			if len(core.Missing(run.RestoreList)) > 0 && run.Shut {
				w.t.Fatal("closed with the restore list open")
			}
		}
	}
}

// checkPass checks that a pass stands on a whole test, worked out here anew.
func (w *walk) checkPass(r core.Run, v core.Verdict) {
	w.t.Helper()
	m, bell := r.Method, v.Start.Taken.Add(r.Method.Hold)
	p0, p1 := v.Start.Pressure(), v.End.Pressure()
	good := map[string]bool{
		"en943": p0-p1 <= 300_000_000_000,
		"f1052": p1 >= 80*9_806_650_000,
		"osha":  5*p1 >= 4*p0,
	}[m.Key]
	early := v.End.Posted.Before(bell.Add(-10 * time.Second))
	expanded := slices.ContainsFunc(r.Readings[:v.Start.N-1], func(e core.Reading) bool {
		return m.Expansion.Holds(e.Pressure()) && !e.Taken.Add(m.ExpansionTime).After(v.Start.Taken)
	})
	switch {
	case !good && v.Reason != core.Bracketed:
		w.t.Fatalf("%s passes with %v → %v", m.Key, v.Start.Written, v.End.Written)
	case !m.Test.Holds(p0):
		w.t.Fatalf("%s passes from %v", m.Key, v.Start.Written)
	case v.End.Taken.Before(bell) || early:
		w.t.Fatalf("a pass %v before the bell, posted %v before", bell.Sub(v.End.Taken), bell.Sub(v.End.Posted))
	case v.Reason == core.OnTime && !v.End.Stated && v.End.Posted.After(bell.Add(time.Minute)):
		w.t.Fatalf("on time, and posted %v after the bell", v.End.Posted.Sub(bell))
	case !expanded:
		w.t.Fatalf("%s passes without an expansion: %v", m.Key, r.Readings)
	case r.Manometer.ID == "M-4":
		w.t.Fatal("a pass with a lapsed manometer")
	case p1 > p0+2*max(r.Manometer.Resolution.Pressure(), core.Pascal*10):
		w.t.Fatalf("a pass that rose: %v → %v", v.Start.Written, v.End.Written)
	}
}

// TestApplyNonsense: entries in any order and of any kind make no run that
// panics, whatever is asked of it.
func TestApplyNonsense(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	for range 400 {
		w := newWalk(t, rng)
		for range 30 {
			w.waits(time.Duration(rng.IntN(300)) * time.Second)
			w.run = w.run.Apply(w.anyEntry())
			w.bench.Runs = maps.Clone(w.bench.Runs)
			w.by = w.run.Tester
			_, err := w.asks(w.intent())
			why(t, err)
			w.run.NextBell(w.bench.Policy)
			w.run.Ring(w.bench.Policy, w.now)
			w.run.TopUps()
			w.run.Sinking()
			w.run.FreesManometer()
		}
	}
	if !reflect.DeepEqual(core.Replay(nil), core.Run{}) {
		t.Error("nothing makes a run")
	}
}
