package core_test

import (
	"errors"
	"reflect"
	"testing"
	"time"

	"benchbell/core"
)

// asked is what comes of an intent by somebody who is no tester of the run.
func (s *scene) asked(a core.Asker, want core.Intent) string {
	s.t.Helper()
	a.At = s.now
	facts, err := s.run.Decide(s.bench, a, want)
	if refusal, is := errors.AsType[*core.Refusal](err); is {
		return "refused: " + string(refusal.Why)
	}
	return kinds(facts)
}

// TestTakeOver: the tester of a run, an officer, and anybody once the tester is
// gone or silent for long may stop it or hand it over, and nobody else.
func TestTakeOver(t *testing.T) {
	const no = "refused: " + string(core.NotTheirRun)
	crew := core.Person{ID: "u9", Name: "crew.member"}
	for name, bring := range places {
		if name == "closed" {
			continue
		}
		for _, tt := range []struct {
			who    string
			asker  core.Asker
			silent time.Duration // of the tester
			policy time.Duration
			why    core.Takeover
			may    bool
		}{
			{"crew", core.Asker{By: crew}, 0, 2 * time.Hour, "", false},
			{"crew, a moment too early", core.Asker{By: crew}, 2*time.Hour - 1, 2 * time.Hour, "", false},
			{"crew after the silence", core.Asker{By: crew}, 2 * time.Hour, 2 * time.Hour, core.TakeoverSilent, true},
			{"crew, never by silence", core.Asker{By: crew}, 1000 * time.Hour, 0, "", false},
			{"crew of a tester who is gone", core.Asker{By: crew, Absent: true}, 0, 0, core.TakeoverDeactivated, true},
			{"an officer", core.Asker{By: officer, Officer: true}, 0, 0, core.TakeoverByOfficer, true},
			{"an officer, the tester gone", core.Asker{By: officer, Officer: true, Absent: true}, 0, 0, core.TakeoverByOfficer, true},
		} {
			for _, want := range []core.Intent{core.HandOver{Me: true}, core.HandOver{To: second}, core.Stop{Why: "gone"}} {
				s := bring(t)
				s.bench.Policy.TakeOver = tt.policy
				s.now = s.run.Heard.Add(tt.silent)
				tt.asker.At = s.now
				facts, err := s.run.Decide(s.bench, tt.asker, want)
				stop, stops := want.(core.Stop)
				if !tt.may {
					if got := s.asked(tt.asker, want); got != no {
						t.Errorf("%s: %T by %s: %s, want %s", name, want, tt.who, got, no)
					}
					continue
				}
				if stops && s.run.Phase == core.Restore && !s.run.Metering.Open() {
					if got := s.asked(tt.asker, want); got != "refused: "+string(core.AlreadyStopped) {
						t.Errorf("%s: %T by %s: %s", name, want, tt.who, got)
					}
					continue
				}
				if err != nil {
					t.Errorf("%s: %T by %s: %v", name, want, tt.who, err)
					continue
				}
				to := tt.asker.By
				if over, is := want.(core.HandOver); is && !over.Me {
					to = over.To
				}
				if first := (core.HandedOver{To: to, Why: tt.why}); facts[0] != first {
					t.Errorf("%s: %T by %s: %+v first, want %+v", name, want, tt.who, facts[0], first)
				}
				if stops && (len(facts) != 2 || facts[1] != core.Stopped(stop) && !s.run.Metering.Open()) {
					t.Errorf("%s: stop by %s: %s", name, tt.who, kinds(facts))
				}
				// Whoever stopped it ticks its list.
				s.by = tt.asker.By
				s.apply(facts)
				if !s.run.Tester.Is(to) {
					t.Errorf("%s: %T by %s: the run is %s's", name, want, tt.who, s.run.Tester.Name)
				}
				if stops {
					s.bench.Runs[s.run.ID] = s.run
					s.does(core.Tick{Items: []int{1}})
				}
			}
		}
		// The rest stays the tester's, whoever asks.
		s := bring(t)
		if got := s.asked(core.Asker{By: officer, Officer: true, Absent: true}, core.Tick{All: true}); got != "refused: "+string(core.NotTheTester) {
			t.Errorf("%s: an officer ticks: %s", name, got)
		}
	}
}

// TestHandOverTo: a run goes to somebody whom the chat server knows, and to
// somebody else.
func TestHandOverTo(t *testing.T) {
	for name, bring := range places {
		for want, reason := range map[core.HandOver]core.Why{
			{Me: true}:                               core.AlreadyTheirs,
			{To: tester}:                             core.AlreadyTheirs,
			{}:                                       core.UnknownPerson,
			{To: core.Person{Name: "second.tester"}}: core.UnknownPerson,
		} {
			if name == "closed" {
				reason = core.RunClosed
			}
			if got := bring(t).refused(want); got != reason {
				t.Errorf("%s: %+v: %s, want %s", name, want, got, reason)
			}
		}
	}
	// Nobody stops a run that is over, or takes it.
	for _, want := range []core.Intent{core.Stop{}, core.HandOver{Me: true}} {
		s := places["closed"](t)
		if got := s.asked(core.Asker{By: officer, Officer: true}, want); got != "refused: "+string(core.RunClosed) {
			t.Errorf("closed: %T by an officer: %s", want, got)
		}
	}
}

// TestHeard: what the tester says counts as a sign of life, and what others say or
// the bells do not. A new tester has the whole time.
func TestHeard(t *testing.T) {
	s := newScene(t)
	s.opens(newSuit(t, "HP-07"), "en943", "M-1")
	heard := func(want time.Time) {
		t.Helper()
		if !s.run.Heard.Equal(want) {
			t.Errorf("heard at %v, want %v", s.run.Heard, want)
		}
		if free := s.run.FreeAt(s.bench.Policy); !free.Equal(want.Add(2 * time.Hour)) {
			t.Errorf("free at %v", free)
		}
		if replayed := core.Replay(s.entries[s.run.ID]); !replayed.Heard.Equal(want) {
			t.Errorf("replayed, it was heard at %v, want %v", replayed.Heard, want)
		}
	}
	heard(morning)
	s.waits(time.Minute)
	s.does(core.Tick{Items: []int{1}})
	last := s.now
	heard(last)
	s.waits(time.Minute)
	s.by = second
	s.does(core.Remark{Text: "looks worn"})
	s.by = core.Person{}
	s.apply([]core.Fact{core.Rung{Bell: core.BellChase, Due: s.now}})
	heard(last)
	s.by = tester
	s.does(core.Remark{Text: "still here"})
	heard(s.now)
	s.waits(time.Hour)
	s.does(core.HandOver{To: second})
	heard(s.now)
	if free := s.run.FreeAt(core.Policy{}); !free.IsZero() {
		t.Errorf("free at %v though the policy has no time", free)
	}
}

// TestBusyAtTheStart: a manometer asked for by name is refused while another run
// has it; one that is chosen by itself is not, since the suit is prepared first.
func TestBusyAtTheStart(t *testing.T) {
	s := newScene(t)
	s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.5")
	suit := newSuit(t, "HP-08")
	open := func(want core.Open) error {
		_, err := s.bench.Open(want, suit, core.Standing{}, tester)
		return err
	}
	refusal := core.Refusal{
		Why: core.ManometerBusy, Suit: "HP-07", Run: 1, Manometer: "M-1", Person: tester, Until: s.now.Add(6 * time.Minute), Opening: "HP-08",
	}
	err := open(core.Open{Suit: "HP-08", Manometer: "m1"})
	if got, is := errors.AsType[*core.Refusal](err); !is || !reflect.DeepEqual(*got, refusal) {
		t.Errorf("with M-1: %+v, want %+v", err, refusal)
	}
	refusal.Method = "en943"
	err = open(core.Open{Suit: "HP-08", Method: "EN 943", Manometer: "M-1"})
	if got, is := errors.AsType[*core.Refusal](err); !is || !reflect.DeepEqual(*got, refusal) {
		t.Errorf("by en943 with M-1: %+v, want %+v", err, refusal)
	}
	if err := open(core.Open{Suit: "HP-08"}); err != nil {
		t.Errorf("with the one used last: %v", err)
	}
	if err := open(core.Open{Suit: "HP-08", Manometer: "M-5"}); err != nil {
		t.Errorf("with another: %v", err)
	}
	s.opens(suit, "en943", "M-5")
	if got := s.refused(core.Use{Manometer: "M-1"}); got != core.ManometerBusy {
		t.Errorf("with M-1 in the run: %q", got)
	}
}
