package core_test

import (
	"reflect"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

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
		{time.Second, core.Baro{Digits: "x", Unit: core.HPa}, "refused: " + string(core.NoSuchAir), core.Hold},
		{time.Minute, stated("15.9", time.Minute), "Taken", core.Hold},
		{time.Second, stated("15.9", time.Hour), "refused: " + string(core.NotYet), core.Hold},
		{time.Second, stated("15.9", 0), "refused: " + string(core.NotYet), core.Hold},
		{time.Second, stated("15.9", -time.Second), "refused: " + string(core.NotYet), core.Hold},
		{time.Second, core.Yes{}, "refused: " + string(core.NothingAsked), core.Hold},
		{4 * time.Minute, read("14.5"), "Taken Judged", core.Restore},
		{time.Second, read("14.5"), "refused: " + string(core.VerdictIn), core.Restore},
		// What can kill a wearer is ticked by its own number, and by it alone.
		{time.Second, core.Tick{Items: []int{1, 2}}, "", core.Restore},
		{time.Second, core.Tick{Items: []int{1, 3}}, "Ticked", core.Restore},
		{time.Second, core.Tick{}, "Ticked", core.Restore}, // the next one that may be
		{time.Second, core.Tick{Items: []int{2}}, "Ticked", core.Restore},
		{time.Second, core.Tick{Items: []int{8}}, "refused: " + string(core.NoSuchItem), core.Restore},
		{time.Second, core.Untick{Items: []int{2}}, "Unticked", core.Restore},
		{time.Second, core.Tick{Items: []int{2}, ByTap: true}, "Ticked", core.Restore},
		{time.Hour, core.Tick{All: true}, "Ticked", core.Restore},
		{time.Second, core.Tick{All: true}, "", core.Restore},
		{time.Second, core.Tick{}, "", core.Restore},
		{time.Second, core.Tick{Items: []int{1}}, "Ticked Closed", core.Over},
		{time.Second, core.Remark{Text: "hung up"}, "Noted", core.Over},
	})
	if outcome, reason := s.verdict(); outcome != core.Pass || reason != core.OnTime {
		t.Errorf("%s, %s", outcome, reason)
	}
	if got := s.run.TopUps(); got != 1 {
		t.Errorf("%d top-ups, want 1", got)
	}
	if len(s.run.Notes) != 1 || len(s.run.Air) != 2 || !s.run.Closed.Equal(s.now.Add(-time.Second)) {
		t.Errorf("notes %v, air %v, closed at %v", s.run.Notes, s.run.Air, s.run.Closed)
	}
	if !reflect.DeepEqual(core.Replay(s.entries[s.run.ID]), s.run) {
		t.Error("replayed, it is another run")
	}
}

// TestDecideEverywhere says each thing in each place.
func TestDecideEverywhere(t *testing.T) {
	const no = "refused: "
	for name, want := range map[string]map[string]core.Intent{
		"prepare": {
			"Stopped":                          core.Stop{Why: "alarm"},
			"DefectSeen Judged":                core.Bad{Item: 2, What: "hole in left glove"},
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
			"Again":                          core.Repeat{Why: "bumped"},
			no + string(core.WhyNotSaid):     core.Repeat{},
			"Taken":                          read("16.1"),
			"Taken Judged":                   read("13.4"),
			"Corrected":                      core.Fix{Digits: "16.6"},
			"Corrected Again":                core.Fix{Digits: "15.9"},
			no + string(core.Implausible):    core.Fix{Digits: "1650"},
			no + string(core.PastDefects):    core.Bad{Item: 2, What: "hole"},
			no + string(core.ManometerFixed): core.Use{Manometer: "M-2"},
			"Questioned":                     read("1610"),
			"HandedOver":                     core.HandOver{To: second},
			"AirNoted":                       core.Air{Celsius: "20"},
		},
		"restore, pass": {
			no + string(core.AlreadyStopped):  core.Stop{},
			no + string(core.CannotRepeat):    core.Repeat{},
			no + string(core.VerdictIn):       read("15.0"),
			no + string(core.ManometerFixed):  core.Use{Manometer: "M-2"},
			"DefectSeen":                      core.Bad{Item: 2, What: "hole"},
			no + string(core.NoSuchItem):      core.Bad{Item: 8, What: "hole"},
			no + string(core.SomethingFitted): core.NothingFitted{},
			"Corrected Judged":                core.Fix{Digits: "14.0"},
			"Ticked":                          core.Tick{},
			"HandedOver":                      core.HandOver{To: second},
		},
		"restore, fail": {
			no + string(core.AlreadyStopped): core.Stop{},
			no + string(core.CannotRepeat):   core.Repeat{},
			no + string(core.VerdictIn):      read("15.0"),
			"Ticked":                         core.Tick{All: true},
		},
		"restore, no verdict": {
			no + string(core.AlreadyStopped): core.Stop{},
			"Again":                          core.Repeat{Why: "called away"},
			no + string(core.WhyNotSaid):     core.Repeat{},
			no + string(core.VerdictIn):      read("15.0"),
			"Ticked":                         core.Tick{All: true},
		},
		"restore, stopped": {
			no + string(core.AlreadyStopped): core.Stop{},
			no + string(core.CannotRepeat):   core.Repeat{},
			no + string(core.VerdictIn):      read("15.0"),
			"Corrected":                      core.Fix{Digits: "16.4"},
			"Ticked":                         core.Tick{All: true},
		},
		"closed": {
			no + string(core.RunClosed):     core.Stop{},
			"Noted":                         core.Remark{Text: "hung up"},
			no + string(core.ClosedForGood): core.Fix{Digits: "14.0"},
			"Corrected Judged":              core.Fix{Digits: "13.4"},
		},
	} {
		for comes, intent := range want {
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
			want := core.NotTheTester
			switch intent.(type) {
			case core.Stop, core.HandOver:
				if want = core.NotTheirRun; name == "closed" {
					want = core.RunClosed
				}
			}
			if got := s.come(intent); got != "refused: "+string(want) {
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
// inflating it. Whether anything is to be undone, the list or the tester's word says.
func TestBadBeforeAnythingIsShut(t *testing.T) {
	for _, tt := range []struct {
		name  string
		ticks []int
		word  string
	}{
		{"at once", nil, "NoneFitted Closed"},
		{"after what closes nothing", []int{1, 2, 3}, "NoneFitted Closed"},
		{"the ventilating valve is shut", []int{4}, "refused: " + string(core.SomethingFitted)},
		{"the adapter is in", []int{5}, "refused: " + string(core.SomethingFitted)},
		{"the plugs are in", []int{6}, "refused: " + string(core.SomethingFitted)},
	} {
		s := places["prepare"](t)
		if tt.ticks != nil {
			s.does(core.Tick{Items: tt.ticks})
		}
		if got := s.come(core.Bad{Item: 3, What: "cut in the left glove"}); got != "DefectSeen Judged" || s.run.Phase != core.Restore {
			t.Errorf("%s: %s in %s", tt.name, got, s.run.Phase)
		}
		if v := s.run.Verdict; v == nil || v.Outcome != core.Fail || v.Reason != core.DefectByEye || v.Defect != "cut in the left glove" {
			t.Errorf("%s: the verdict is %+v", tt.name, v)
		}
		if got := s.come(core.Repeat{Why: "sewn"}); got == "Again" {
			t.Errorf("%s: a defect seen can be repeated away", tt.name)
		}
		if got := s.come(core.NothingFitted{}); got != tt.word {
			t.Errorf("%s: nothing was fitted: %s, want %s", tt.name, got, tt.word)
		}
	}
}

// TestStopDemandsRestore: stopping always gives the list. Once anything was
// ticked as fitted or shut, even if the tick was taken back, or anything was read,
// no word closes the run without it.
func TestStopDemandsRestore(t *testing.T) {
	s := places["prepare"](t)
	fitted := "refused: " + string(core.SomethingFitted)
	s.plays([]step{
		{0, core.Tick{Items: []int{6}}, "Ticked", core.Prepare},
		{0, core.Untick{Items: []int{6}}, "Unticked", core.Prepare},
		{0, core.NothingFitted{}, "refused: " + string(core.NotStopped), core.Prepare},
		{0, core.Stop{Why: "alarm"}, "Stopped", core.Restore},
		{0, core.NothingFitted{}, fitted, core.Restore},
		{0, core.Tick{Items: []int{1, 2, 3, 4, 5, 6}}, "Ticked", core.Restore},
		{0, core.Tick{Items: []int{7}}, "Ticked", core.Restore},
		{0, core.Tick{Items: []int{2}}, "Ticked", core.Restore},
		{0, core.NothingFitted{}, fitted, core.Restore},
		{0, core.Tick{Items: []int{1}}, "Ticked Closed", core.Over},
	})
	if s.run.Verdict != nil {
		t.Errorf("a stopped run has the verdict %+v", s.run.Verdict)
	}
	s = places["prepare"](t)
	s.plays([]step{
		{0, core.Tick{Items: []int{1}}, "Ticked", core.Prepare},
		{0, core.Stop{Why: "plugs and adapter already in"}, "Stopped", core.Restore},
		{0, core.NothingFitted{}, "NoneFitted Closed", core.Over},
	})
	for _, name := range []string{"prepared, not inflated", "expansion", "hold"} {
		s = places[name](t)
		s.plays([]step{
			{0, core.Stop{}, "Stopped", core.Restore},
			{0, core.NothingFitted{}, fitted, core.Restore},
		})
	}
	for _, name := range []string{"restore, pass", "restore, fail", "restore, no verdict", "restore, stopped"} {
		s = places[name](t)
		s.plays([]step{{0, core.NothingFitted{}, fitted, core.Restore}})
	}
}

// TestBadWhileRestoring: a defect seen while restoring completes its item, but not
// one of what is counted back by name: that may still be in the suit.
func TestBadWhileRestoring(t *testing.T) {
	s := places["restore, pass"](t)
	s.plays([]step{
		{0, core.Bad{Item: 1, What: "plug stuck"}, "DefectSeen", core.Restore},
		{0, core.Bad{Item: 3, What: "diaphragm torn"}, "DefectSeen", core.Restore},
		{0, core.Tick{All: true}, "Ticked", core.Restore},
		{0, core.Tick{Items: []int{2}}, "Ticked", core.Restore},
	})
	if got := core.Missing(s.run.RestoreList); len(got) != 1 || got[0] != 1 || s.run.RestoreList[2].Bad != "diaphragm torn" {
		t.Errorf("open are %v of %+v", got, s.run.RestoreList)
	}
	s.plays([]step{{0, core.Tick{Items: []int{1}}, "Ticked Closed", core.Over}})

	// The last item of all may be the bad one.
	s = places["restore, pass"](t)
	s.does(core.Tick{Items: []int{1}})
	s.does(core.Tick{Items: []int{2}})
	s.does(core.Tick{Items: []int{3, 4, 5, 6}})
	s.plays([]step{{0, core.Bad{Item: 7, What: "bag torn"}, "DefectSeen Closed", core.Over}})
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

// TestExpansionHeld: below the test pressure before its time is up, the expansion
// was not held; half an hour after that time, or the last reading since, it is too
// long ago for a hold.
func TestExpansionHeld(t *testing.T) {
	for _, steps := range [][]step{
		{{0, read("16.0"), "Taken", core.Expansion}},
		{{0, read("15.99"), "Taken ExpansionVoid", core.Expansion}},
		{{9*time.Minute - 1, read("15.99"), "Taken ExpansionVoid", core.Expansion}},
		{{9 * time.Minute, read("15.99"), "Taken", core.Expansion}, {0, read("16.0"), "Taken HoldStarted", core.Hold}},
		{{39 * time.Minute, read("16.5"), "Taken HoldStarted", core.Hold}},
		{{39*time.Minute + 1, read("16.5"), "Taken ExpansionVoid", core.Expansion}, {0, read("17.5"), "Taken ExpansionStarted", core.Expansion}},
		{
			{30 * time.Minute, read("17.2"), "Taken", core.Expansion},
			{30 * time.Minute, read("16.5"), "Taken HoldStarted", core.Hold},
		},
		{
			{30 * time.Minute, read("17.2"), "Taken", core.Expansion},
			{30*time.Minute + 1, read("16.5"), "Taken ExpansionVoid", core.Expansion},
		},
	} {
		places["expansion"](t).plays(steps) // a minute after it began
	}
}

// TestAgain repeats the phase, and only a test without a verdict.
func TestAgain(t *testing.T) {
	// In the hold: a new start reading, no new expansion.
	s := places["hold"](t)
	s.plays([]step{
		{time.Minute, read("15.9"), "Taken", core.Hold},
		{time.Second, core.Repeat{}, "refused: " + string(core.WhyNotSaid), core.Hold},
		{time.Second, core.Repeat{Why: "bumped"}, "Again", core.Expansion},
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
		{time.Minute, core.Repeat{}, "refused: " + string(core.WhyNotSaid), core.Restore}, // it was beyond the limit
		{time.Minute, core.Repeat{Why: "called away"}, "Again", core.Expansion},
		{time.Minute, core.Fix{Digits: "14.0"}, "refused: " + string(core.AttemptOver), core.Expansion},
		{time.Minute, core.Use{Manometer: "M-5"}, "ManometerChosen", core.Expansion},
		{time.Minute, read("16.5"), "Taken", core.Expansion},
		{time.Minute, read("17.5"), "Taken ExpansionStarted", core.Expansion},
		{10 * time.Minute, read("16.5"), "Taken HoldStarted", core.Hold},
		{6 * time.Minute, read("15.0"), "Taken Judged", core.Restore},
	})
	if len(s.run.AllVerdicts()) != 2 || len(s.run.Verdicts) != 1 || len(s.run.Past) != 1 || s.run.Verdict.Start.Manometer != "M-5" {
		t.Errorf("verdicts %v, attempt %d", s.run.Verdicts, len(s.run.Past))
	}
	// Not once restoring has begun: the suit must be prepared anew.
	s = places["restore, no verdict"](t)
	s.plays([]step{
		{time.Minute, core.Tick{Items: []int{7}}, "Ticked", core.Restore},
		{time.Minute, core.Repeat{}, "refused: " + string(core.CannotRepeat), core.Restore},
		// Nor if the tick was taken back: the suit is not as it was tested.
		{time.Minute, core.Untick{Items: []int{7}}, "Unticked", core.Restore},
		{time.Minute, core.Repeat{Why: "a slip"}, "refused: " + string(core.CannotRepeat), core.Restore},
	})
	// After a jump, the cause is asked for.
	s = places["hold"](t)
	s.plays([]step{
		{5 * time.Minute, readIn("4.12", core.Mbar), "Taken Judged", core.Restore},
		{time.Second, core.Repeat{}, "refused: " + string(core.WhyNotSaid), core.Restore},
		{time.Second, core.Repeat{Why: "the hose came off"}, "Again", core.Expansion},
	})
	if past := s.run.Past[0]; past.GivenUp.Text != "the hose came off" || past.GivenUp.By != tester || past.Verdict.Reason != core.Jump {
		t.Errorf("given up is %+v", past)
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
	s.does(core.Repeat{Why: "bumped"})
	if got := busy(); got != core.ManometerBusy {
		t.Errorf("between two holds: %q", got)
	}
	if got := s.refused(core.Use{Manometer: "M-5"}); got != core.ManometerFixed {
		t.Errorf("another one between two holds: %q", got)
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
		Why: core.ManometerBusy, Suit: "HP-07", Run: 1, Method: "en943", Manometer: "M-1", Person: tester, Until: s.now.Add(6 * time.Minute), Like: "17.5",
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
