package chart

import (
	"testing"
	"time"

	"benchbell/core"
)

// All suits, manometers, people and readings of these tests are invented.

var tester = core.Person{ID: "u1", Name: "bench.tester"}

// morning is when the runs of the tests begin.
var morning = time.Date(2026, time.March, 2, 8, 30, 0, 0, time.UTC)

// scene plays one run, as the engine would.
type scene struct {
	t     testing.TB
	bench core.Bench
	run   core.Run
	now   time.Time
}

// opens begins a run on a suit by a built-in method, with a manometer that
// reads in the method's unit.
func opens(t testing.TB, tag, method string) *scene {
	t.Helper()
	inches := func(s string) core.Written { return core.MustWrite(s, core.InH2O) }
	suit := core.Suit{Tag: tag, Method: method, MakerA: inches("5.0"), MakerB: inches("4.0")}
	s := &scene{t: t, now: morning, bench: core.Bench{Methods: core.BuiltIn(), Policy: core.DefaultPolicy()}}
	m, ok := s.bench.Method(method)
	if !ok {
		t.Fatalf("no method %q", method)
	}
	m, err := m.For(suit)
	if err != nil {
		t.Fatal(err)
	}
	manometer := core.Manometer{
		ID: "M-1", Unit: m.Unit, Resolution: core.MustWrite("0.01", m.Unit),
		CalibratedUntil: core.Date{Year: 2027, Month: time.January, Day: 31},
	}
	list := []core.Item{{Task: core.TaskDecontaminated}}
	s.apply([]core.Fact{core.Opened{Suit: suit, Method: m, Manometer: manometer, Prepare: list, Restore: list}})
	return s
}

func (s *scene) apply(facts []core.Fact) {
	for _, f := range facts {
		s.run = s.run.Apply(core.Entry{At: s.now, By: tester, Suit: s.run.Suit.Tag, Run: 1, Fact: f})
	}
}

// does lets the run do what the tester wants.
func (s *scene) does(want core.Intent) {
	s.t.Helper()
	facts, err := s.run.Decide(s.bench, core.Asker{At: s.now, By: tester}, want)
	if err != nil {
		s.t.Fatalf("%+v at %v is refused: %v", want, s.now.Sub(s.run.Opened), err)
	}
	s.apply(facts)
}

// reads posts a reading some time after what was done last.
func (s *scene) reads(after time.Duration, digits string) {
	s.t.Helper()
	s.now = s.now.Add(after)
	s.does(core.Read{Digits: digits, Unit: s.run.Manometer.Unit})
}

// readsIn does the same for one with its unit.
func (s *scene) readsIn(after time.Duration, digits string, unit core.Unit) {
	s.t.Helper()
	s.now = s.now.Add(after)
	s.does(core.Read{Digits: digits, Unit: unit})
}

// holds brings the run into its hold.
func (s *scene) holds(start string) {
	s.t.Helper()
	s.does(core.Tick{All: true})
	s.reads(time.Minute, s.run.Method.Expansion.Target.Digits)
	s.reads(s.run.Method.ExpansionTime, start)
	if s.run.Phase != core.Hold {
		s.t.Fatalf("the run is in %s", s.run.Phase)
	}
}

// held plays a run up to its hold, and readings one minute apart.
func held(t testing.TB, method string, start string, everyMinute ...string) core.Run {
	t.Helper()
	s := opens(t, "HP-07", method)
	s.holds(start)
	for _, digits := range everyMinute {
		s.reads(time.Minute, digits)
	}
	return s.run
}
