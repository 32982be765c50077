package core_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// The people of the tests.
var (
	tester  = core.Person{ID: "u1", Name: "bench.tester"}
	second  = core.Person{ID: "u2", Name: "second.tester"}
	officer = core.Person{ID: "u3", Name: "duty.officer"}
)

// morning is when the tests begin if they do not say otherwise.
var morning = time.Date(2026, time.March, 2, 8, 30, 0, 0, time.UTC)

// newBench returns a bench with the built-in methods and seven manometers, all
// of them invented.
func newBench(t testing.TB) core.Bench {
	t.Helper()
	b := core.Bench{
		Methods:    core.BuiltIn(),
		Manometers: make(map[string]core.Manometer),
		Runs:       make(map[core.RunID]core.Run),
		LastUsed:   make(map[string]string),
		Policy:     core.DefaultPolicy(),
	}
	for _, m := range []struct {
		id         string
		unit       core.Unit
		resolution string
		until      string
	}{
		{"M-1", core.Mbar, "0.01", "2027-01-31"},
		{"M-2", core.MmH2O, "0.1", "2027-01-31"},
		{"M-3", core.InH2O, "0.01", "2027-01-31"},
		{"M-4", core.Mbar, "0.1", "2025-12-31"}, // lapsed
		{"M-5", core.Mbar, "0.1", "2027-01-31"},
		{"M-6", core.InH2O, "0.25", "2027-01-31"}, // the coarsest that App A allows
		{"M-7", core.Pa, "10", "2027-01-31"},
	} {
		b.Manometers[m.id] = core.Manometer{
			ID: m.id, Unit: m.unit, Resolution: write(t, m.resolution, m.unit), CalibratedUntil: mustDate(t, m.until),
		}
	}
	return b
}

// newSuit returns an invented suit with all the fittings.
func newSuit(t testing.TB, tag string) core.Suit {
	t.Helper()
	return core.Suit{
		Tag: tag, Method: "en943",
		Fittings: core.Fittings{GloveRings: true, ExhaustValves: 2, VentilatingValve: true, Boots: core.BootsFixed},
		MakerA:   write(t, "5.0", core.InH2O), MakerB: write(t, "4.0", core.InH2O),
	}
}

// scene plays runs on a bench, as the engine would: what somebody wants is
// decided, and the facts are applied.
type scene struct {
	t       testing.TB
	bench   core.Bench
	run     core.Run // the one played now
	now     time.Time
	by      core.Person
	entries map[core.RunID][]core.Entry
	posts   int
}

func newScene(t testing.TB) *scene {
	t.Helper()
	return &scene{t: t, bench: newBench(t), now: morning, by: tester, entries: make(map[core.RunID][]core.Entry)}
}

// opens begins a run on a suit, with a manometer that the tester used last, and
// plays it from now on.
func (s *scene) opens(suit core.Suit, method, manometer string) {
	s.t.Helper()
	s.bench.LastUsed[s.by.Name] = manometer
	facts, err := s.bench.Open(core.Open{Suit: suit.Tag, Method: method}, suit, core.Standing{}, s.by)
	if err != nil {
		s.t.Fatal(err)
	}
	s.run = core.Run{ID: core.RunID(len(s.entries) + 1)}
	s.apply(facts)
}

// turnsTo plays another run.
func (s *scene) turnsTo(id core.RunID) {
	s.t.Helper()
	run, ok := s.bench.Runs[id]
	if !ok {
		s.t.Fatalf("%v is not open", id)
	}
	s.run = run
}

func (s *scene) apply(facts []core.Fact) {
	for _, f := range facts {
		id := s.run.ID
		e := core.Entry{Seq: uint64(len(s.entries[id]) + 1), At: s.now, By: s.by, Suit: s.run.Suit.Tag, Run: id, Fact: f}
		s.entries[id] = append(s.entries[id], e)
		s.run = s.run.Apply(e)
	}
	s.bench.Runs[s.run.ID] = s.run
	if s.run.Phase == core.Over {
		delete(s.bench.Runs, s.run.ID)
	}
}

// asks returns what the run decides, without doing it.
func (s *scene) asks(want core.Intent) ([]core.Fact, error) {
	s.posts++
	return s.run.Decide(s.bench, core.Asker{At: s.now, By: s.by, Post: s.lastPost()}, want)
}

// lastPost is the id of the post that says what was wanted last.
func (s *scene) lastPost() string { return fmt.Sprintf("post%d", s.posts) }

// does lets the run do what somebody wants and returns the kinds of the facts.
func (s *scene) does(want core.Intent) string {
	s.t.Helper()
	facts, err := s.asks(want)
	if err != nil {
		s.t.Fatalf("%+v at %v is refused: %v", want, s.now.Sub(s.run.Opened), err)
	}
	s.apply(facts)
	return kinds(facts)
}

// refused returns the reason for which the run refuses what somebody wants.
func (s *scene) refused(want core.Intent) core.Why {
	s.t.Helper()
	_, err := s.asks(want)
	return why(s.t, err)
}

// waits lets time pass.
func (s *scene) waits(d time.Duration) { s.now = s.now.Add(d) }

// reads lets the tester post a reading, as "16.5" or "1650 Pa".
func (s *scene) reads(words string) string {
	s.t.Helper()
	return s.does(reading(s.t, words))
}

// restores completes the list that ends the run, and returns what came of the
// last item: what is counted back by name is ticked by itself, the rest before.
func (s *scene) restores() string {
	s.t.Helper()
	came := s.does(core.Tick{All: true})
	for _, n := range core.Missing(s.run.RestoreList) {
		came = s.does(core.Tick{Items: []int{n}})
	}
	return came
}

// expands ticks the prepare list, and has the suit at the expansion pressure
// until the time is up.
func (s *scene) expands() {
	s.t.Helper()
	s.does(core.Tick{All: true})
	s.inflates()
	s.waits(s.run.Method.ExpansionTime)
}

// inflates brings the suit to the expansion pressure.
func (s *scene) inflates() {
	s.t.Helper()
	target := s.run.Method.Expansion.Target
	if got := s.reads(target.Digits + " " + target.Unit.String()); got != "Taken ExpansionStarted" {
		s.t.Fatalf("the expansion began with %s", got)
	}
}

// holds brings a new run into its hold with a start reading.
func (s *scene) holds(suit core.Suit, method, manometer, start string) {
	s.t.Helper()
	s.opens(suit, method, manometer)
	s.expands()
	if got := s.reads(start); got != "Taken HoldStarted" {
		s.t.Fatalf("the hold began with %s", got)
	}
}

// passes plays a whole run that passes, up to its verdict.
func (s *scene) passes(suit core.Suit) {
	s.t.Helper()
	s.holds(suit, "en943", "M-1", "16.5")
	s.waits(6 * time.Minute)
	if s.reads("15.0"); s.run.Verdict == nil || s.run.Verdict.Outcome != core.Pass {
		s.t.Fatalf("the verdict is %+v", s.run.Verdict)
	}
}

// fails does the same for one that fails.
func (s *scene) fails(suit core.Suit) {
	s.t.Helper()
	s.holds(suit, "en943", "M-1", "16.5")
	s.waits(6 * time.Minute)
	if s.reads("12.9"); s.run.Verdict == nil || s.run.Verdict.Outcome != core.Fail {
		s.t.Fatalf("the verdict is %+v", s.run.Verdict)
	}
}

// outcome and reason are those of the verdict, or none.
func (s *scene) verdict() (core.Outcome, core.Reason) {
	if s.run.Verdict == nil {
		return "", ""
	}
	return s.run.Verdict.Outcome, s.run.Verdict.Reason
}

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
		s.restores()
		return s
	},
}

// reading reads a reading: digits, and the unit if it is said.
func reading(t testing.TB, words string) core.Read {
	t.Helper()
	digits, unit, said := strings.Cut(words, " ")
	r := core.Read{Digits: digits}
	if said {
		var err error
		if r.Unit, err = core.ParseUnit(unit); err != nil {
			t.Fatal(err)
		}
	}
	return r
}

// kinds names the kinds of facts: "Taken Judged".
func kinds(facts []core.Fact) string {
	names := make([]string, len(facts))
	for i, f := range facts {
		names[i] = strings.TrimPrefix(fmt.Sprintf("%T", f), "core.")
	}
	return strings.Join(names, " ")
}

// dump writes out all of a run, with what it points to.
func dump(r core.Run) string {
	var asked core.Questioned
	var verdict core.Verdict
	if r.Asked != nil {
		asked = *r.Asked
	}
	if r.Verdict != nil {
		verdict = *r.Verdict
	}
	state := fmt.Sprint(r.Asked != nil, r.Verdict != nil)
	r.Asked, r.Verdict = nil, nil
	past := ""
	for _, a := range r.Past {
		past += fmt.Sprintf("\ngiven up %+v", *a.GivenUp)
		if a.Verdict != nil {
			past += fmt.Sprintf(" with %+v", *a.Verdict)
		}
		a.GivenUp, a.Verdict = nil, nil
		past += fmt.Sprintf(": %+v", a)
	}
	r.Past = nil
	return fmt.Sprintf("%+v\n%s\nasked %+v\nverdict %+v%s", r, state, asked, verdict, past)
}
