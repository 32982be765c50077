package core_test

import (
	"fmt"
	"maps"
	"math/rand/v2"
	"reflect"
	"slices"
	"testing"
	"time"

	"benchbell/core"
)

// TestApplyLeavesTheOldRun: a Run is a value. Applying an entry to it, or two
// different entries, changes neither it nor the other result.
func TestApplyLeavesTheOldRun(t *testing.T) {
	rng := rand.New(rand.NewPCG(11, 12))
	for range 25 {
		w := newWalk(t, rng)
		for range 40 {
			before := w.run
			was := dump(before)
			forks := []core.Entry{w.anyEntry(), w.anyEntry()}
			for _, f := range []core.Fact{
				core.Rung{Bell: core.BellCard, Due: w.now},
				core.Noted{Text: "fork"},
				core.Judged{Verdict: core.Verdict{Outcome: core.Fail}},
				core.Taken{Reading: core.Reading{Post: "fork"}},
				core.Corrected{N: 1},
				core.Ticked{Items: []int{1}},
			} {
				forks = append(forks, core.Entry{Fact: f})
			}
			var runs []core.Run
			var dumps []string
			for _, e := range forks {
				runs = append(runs, before.Apply(e))
				dumps = append(dumps, dump(runs[len(runs)-1]))
				before.Apply(core.Entry{At: w.now.Add(time.Hour), Fact: e.Fact})
			}
			before.Apply(core.Entry{Fact: core.Rung{Bell: core.BellHold}})
			before.Apply(core.Entry{Fact: core.Corrected{N: 1, Written: write(t, "1", core.Pa)}})
			w.step()
			if dump(before) != was {
				t.Fatalf("applied to, a run changed from\n%s\nto\n%s", was, dump(before))
			}
			for i, fork := range runs {
				if dump(fork) != dumps[i] {
					t.Fatalf("a run changed with its fork from\n%s\nto\n%s", dumps[i], dump(fork))
				}
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
	suit := newSuit(t, "HP-07")
	suit.Method = pick(rng, key, key, "en943")
	w.opens(suit, key, pick(rng, "M-1", "M-2", "M-3", "M-4", "M-6", "M-7"))
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
		core.MeteringBegun{}, core.MeteringRead{Reading: core.Reading{N: n, Written: word, Taken: w.now}}, core.AirAdded{Litres: "2"},
		core.MeteringCorrected{N: n, Written: word}, core.MeteringLeft{TooHigh: word}, core.MeteringLeft{},
		core.CapacityMeasured{Capacity: core.Capacity{Litres: "2", From: word, To: word}},
		core.PhotoPosted{File: "f", With: core.Link{To: core.WithReading, N: n}}, core.PhotoKept{File: "f", Sum: core.Sum{1}}, core.PhotoLost{File: "g"},
	)
	return core.Entry{At: w.now, By: tester, Suit: "HP-07", Run: w.run.ID, Fact: fact}
}

// digits are those of a number that somebody might post.
func (w *walk) digits() string {
	unit := w.run.Manometer.Unit
	m := w.run.Method
	around := m.Expansion.Target.Pressure()
	if ends := w.run.ExpansionEnds(); w.rng.IntN(4) == 0 || !ends.IsZero() && !w.now.Before(ends) {
		around = m.Test.Target.Pressure()
	}
	share := pick(w.rng, 1.0, 1.0, 1.0, 0.99, 0.95, 0.9, 0.85, 0.8, 0.75, 0.5, 0.2, 1.04, 1.2, 0, 10)
	noise := 0.005 * w.rng.NormFloat64()
	if start, held := w.run.Start(); held && w.rng.IntN(8) > 0 { // as a leak near the limit has it
		around, noise = start.Pressure(), 0
		share = 1 - 0.18*w.now.Sub(w.run.HeldAt).Seconds()/m.Hold.Seconds()
	}
	switch w.run.Metering.Awaits() {
	case core.AwaitBefore:
		around, share = m.Test.Target.Pressure(), 0.95
	case core.AwaitAfter:
		around, share = m.Test.Target.Pressure(), pick(w.rng, 1.0, 1.0, 1.02, 0.5, 1.2)
	}
	p := core.Pressure(share * float64(around) * (1 + noise))
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
			switch w.run.Metering.Awaits() {
			case core.AwaitBefore, core.AwaitAfter:
				if w.rng.IntN(4) > 0 {
					return read
				}
			case core.AwaitLitres:
				return core.AddAir{Litres: "2"}
			}
			if w.run.Measurable() && w.rng.IntN(2) == 0 {
				return core.Measure{}
			}
			missing := core.Missing(w.run.RestoreList)
			if w.rng.IntN(3) > 0 {
				return core.Tick{Items: []int{pick(w.rng, missing...)}}
			}
			return pick[core.Intent](w.rng, core.Tick{Items: []int{pick(w.rng, missing...)}}, core.Tick{Items: []int{pick(w.rng, missing...)}, ByTap: true},
				core.Tick{All: true}, core.Repeat{Why: "x"}, core.Repeat{}, core.Fix{Digits: w.digits()},
				core.Amend{Post: fmt.Sprintf("post%d", w.rng.IntN(w.posts+1)), Read: read})
		}
		return read
	}
	item := w.rng.IntN(13) - 1
	return pick[core.Intent](
		w.rng, core.Tick{}, core.Tick{All: true}, core.Tick{Items: []int{item}, ByTap: true}, core.Untick{Items: []int{item, item}},
		core.Bad{Item: item, What: "hole"}, read, read, core.Fix{Digits: w.digits()}, core.Fix{Digits: w.digits()},
		core.Amend{Post: fmt.Sprintf("post%d", w.rng.IntN(w.posts+1)), Read: read}, core.Yes{}, core.Yes{},
		core.Use{Manometer: pick(w.rng, "M-1", "M-2", "M-5", "M-0")}, core.Air{Celsius: "20"}, core.Baro{Digits: w.digits(), Unit: core.HPa},
		core.Remark{Text: "x"}, core.Stop{Why: "x"}, core.Measure{}, core.AddAir{Litres: pick(w.rng, "", "x", "0", "2", "1e9")}, core.Repeat{}, core.Repeat{Why: "x"}, core.NothingFitted{}, core.HandOver{To: second}, core.HandOver{To: tester},
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
	{core.Hold, core.Expansion}:    {"Again"},
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
	for range 1200 {
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
		"pass", "fail", "no verdict", "MeteringLeft", "MeteringCorrected", "CapacityMeasured", "HoldResumed", "ExpansionVoid", "Again", "Closed", "NoneFitted", "Questioned",
		string(core.LateWithin), string(core.TooLate), string(core.LateBeyond), string(core.BeyondAtBell), string(core.ExpansionVoided),
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
	corrected := false
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
		case core.Corrected:
			corrected = true
		case core.ExpansionStarted, core.HoldStarted:
			if corrected {
				w.t.Fatalf("a correction brought %s", kind)
			}
		case core.Ticked:
			for _, n := range f.Items {
				if before.Phase == core.Restore && before.RestoreList[n-1].Item.ByName() && len(f.Items) > 1 {
					w.t.Fatalf("%v is ticked among others", before.RestoreList[n-1].Item)
				}
			}
		case core.Again:
			if past := run.Past[len(run.Past)-1]; before.Phase == core.Hold && f.Why == "" || past.GivenUp == nil || len(run.AllReadings()) != len(before.AllReadings()) {
				w.t.Fatalf("begun again in %s, the attempt before is %+v", before.Phase, past)
			}
		case core.MeteringBegun, core.MeteringRead, core.AirAdded, core.MeteringCorrected, core.MeteringLeft, core.CapacityMeasured:
			if before.Phase != core.Restore || !reflect.DeepEqual(run.Verdict, before.Verdict) || len(run.AllReadings()) != len(before.AllReadings()) {
				w.t.Fatalf("%s in %s: the verdict was %+v, is %+v", kind, before.Phase, before.Verdict, run.Verdict)
			}
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
			if len(core.Missing(run.RestoreList)) > 0 && (run.Shut || len(run.AllReadings()) > 0) {
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
		"f1052": p1 >= 80*9_806_650_000 && (5*p1 >= 4*p0 || p0 <= 100*9_806_650_000),
		"osha":  5*p1 >= 4*p0,
	}[m.Key]
	expanded := slices.ContainsFunc(r.AllReadings()[:v.Start.N-1], func(e core.Reading) bool {
		return m.Expansion.Holds(e.Pressure()) && !e.Taken.Add(m.ExpansionTime).After(v.Start.Taken)
	})
	switch {
	case !good:
		w.t.Fatalf("%s passes with %v → %v", m.Key, v.Start.Written, v.End.Written)
	case !m.Test.Holds(p0):
		w.t.Fatalf("%s passes from %v", m.Key, v.Start.Written)
	case v.End.Taken.Before(bell) || v.End.Posted.Before(bell):
		w.t.Fatalf("a pass %v before the bell, posted %v before", bell.Sub(v.End.Taken), bell.Sub(v.End.Posted))
	case v.End.Taken.Sub(v.Start.Taken) > 2*m.Hold:
		w.t.Fatalf("a pass %v after the start", v.End.Taken.Sub(v.Start.Taken))
	case v.Reason == core.OnTime && !v.End.Stated && v.End.Posted.After(bell.Add(time.Minute)):
		w.t.Fatalf("on time, and posted %v after the bell", v.End.Posted.Sub(bell))
	case !expanded:
		w.t.Fatalf("%s passes without an expansion: %v", m.Key, r.AllReadings())
	case r.Manometer.ID == "M-4":
		w.t.Fatal("a pass with a lapsed manometer")
	case p1 > p0+max(r.Manometer.Resolution.Pressure(), core.Pascal*10):
		w.t.Fatalf("a pass that rose: %v → %v", v.Start.Written, v.End.Written)
	}
}

// TestApplyNonsense: entries in any order and of any kind make no run that
// panics, whatever is asked of it.
func TestApplyNonsense(t *testing.T) {
	rng := rand.New(rand.NewPCG(15, 16))
	for range 200 {
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
