package core_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"benchbell/core"
	"benchbell/core/estimate"
)

func refusedFor(w core.Why) string { return "refused: " + string(w) }

// TestMetering goes the way of a measurement, and off it.
func TestMetering(t *testing.T) {
	const restore, s30 = core.Restore, 30 * time.Second
	litres := func(l string) core.AddAir { return core.AddAir{Litres: l} }
	measure, fix := core.Measure{}, func(digits string) core.Fix { return core.Fix{Digits: digits} }
	for name, steps := range map[string][]step{
		"straight through": {
			{0, measure, "MeteringBegun", restore},
			{0, read("14.9"), "MeteringRead", restore},
			{s30, litres("2"), "AirAdded", restore},
			{s30, read("15.9"), "MeteringRead CapacityMeasured", restore},
			{0, read("15.8"), refusedFor(core.VerdictIn), restore},
			{0, core.Tick{All: true}, "Ticked", restore},
			{0, core.Tick{Items: []int{1}}, "Ticked", restore},
			{0, core.Tick{Items: []int{2}}, "Ticked Closed", core.Over},
			{0, litres("2"), refusedFor(core.RunClosed), core.Over},
		},
		"out of turn": {
			{0, litres("2"), refusedFor(core.NotMetering), restore},
			{0, measure, "MeteringBegun", restore},
			{0, litres("2"), refusedFor(core.ReadingFirst), restore},
			{0, stated("14.9", time.Minute), refusedFor(core.NotInHold), restore},
			{0, read("12.7"), refusedFor(core.TooLimp), restore}, // 16.0 · 4/5 = 12.8
			{0, read("152"), refusedFor(core.Implausible), restore},
			{0, read("90"), refusedFor(core.Implausible), restore},
			{0, readIn("152", core.MmH2O), "MeteringRead", restore},
			{0, read("15.9"), refusedFor(core.LitresFirst), restore},
			{0, litres("0.09"), refusedFor(core.NotThatMuch), restore},
			{0, litres("10.1"), refusedFor(core.NotThatMuch), restore},
			{0, litres("2"), "AirAdded", restore},
			{s30 - 1, read("15.9"), refusedFor(core.NotSettled), restore},
			{1, read("14.9"), refusedFor(core.NoRise), restore},
			{9*time.Minute + s30, read("15.9"), "MeteringRead CapacityMeasured", restore}, // ten minutes
		},
		"too slow": {
			{0, measure, "MeteringBegun", restore},
			{0, read("14.9"), "MeteringRead", restore},
			{s30, litres("2"), "AirAdded", restore},
			{10*time.Minute + 1 - s30, read("15.9"), refusedFor(core.TooSlow), restore},
			{0, measure, "MeteringBegun", restore},
			{0, read("14.9"), "MeteringRead", restore},
		},
		"corrected": {
			{0, measure, "MeteringBegun", restore},
			{0, read("14.8"), "MeteringRead", restore},
			{0, fix("12.7"), refusedFor(core.TooLimp), restore},
			{0, fix("14.9"), "MeteringCorrected", restore},
			{0, fix("14.9"), "", restore},
			{s30, litres("3"), "AirAdded", restore},
			{0, litres("2"), "AirAdded", restore},
			{0, litres("2"), "", restore},
			{s30, read("15.7"), "MeteringRead CapacityMeasured", restore},
			{0, fix("14.0"), refusedFor(core.NoRise), restore},
			{0, fix("18.1"), refusedFor(core.Overfilled), restore},
			{0, fix("15.9"), "MeteringCorrected CapacityMeasured", restore},
			{0, litres("2.1"), "AirAdded CapacityMeasured", restore},
		},
		"too high": {
			{0, measure, "MeteringBegun", restore},
			{0, read("18.01"), "MeteringRead MeteringLeft", restore},
			{0, litres("2"), refusedFor(core.NotMetering), restore},
			{0, measure, "MeteringBegun", restore},
			{0, read("16.5"), "MeteringRead", restore},
			{0, read("18.01"), "MeteringLeft", restore}, // without a word of the litres
			{0, measure, "MeteringBegun", restore},
			{0, read("16.5"), "MeteringRead", restore},
			{0, litres("2"), "AirAdded", restore},
			{1, read("18.01"), "MeteringRead MeteringLeft", restore}, // nobody waits for the suit to settle
			{0, read("17.5"), refusedFor(core.VerdictIn), restore},
			{0, fix("18.0"), "MeteringCorrected", restore}, // it was a slip, and is still too early
			{0, read("17.6"), refusedFor(core.NotSettled), restore},
			{s30, read("17.6"), "MeteringRead CapacityMeasured", restore},
		},
		"too high by a slip": {
			{0, measure, "MeteringBegun", restore},
			{0, read("18.5"), "MeteringRead MeteringLeft", restore},
			{0, fix("16.5"), "MeteringCorrected", restore},
			{0, litres("2"), "AirAdded", restore},
			{s30, read("18.5"), "MeteringRead MeteringLeft", restore},
			{0, fix("17.5"), "MeteringCorrected CapacityMeasured", restore},
			{0, measure, "MeteringBegun", restore},
			{0, read("16.5"), "MeteringRead", restore},
			{0, litres("2"), "AirAdded", restore},
			{10*time.Minute + 1, read("18.5"), "MeteringRead MeteringLeft", restore},
			{0, fix("17.5"), "MeteringCorrected", restore}, // too late, whatever it was
			{0, read("17.5"), refusedFor(core.TooSlow), restore},
		},
		"too high without a word of the litres": { // what is corrected is not on record
			{0, measure, "MeteringBegun", restore},
			{0, read("15.0"), "MeteringRead", restore},
			{0, read("18.5"), "MeteringLeft", restore},
			{0, fix("16.5"), refusedFor(core.NotMetering), restore},
			{0, measure, "MeteringBegun", restore},
		},
		"left": {
			{0, measure, "MeteringBegun", restore},
			{0, core.Stop{}, "MeteringLeft", restore},
			{0, core.Stop{}, refusedFor(core.AlreadyStopped), restore},
			{0, measure, "MeteringBegun", restore},
			{0, read("14.9"), "MeteringRead", restore},
			{0, core.HandOver{To: tester}, refusedFor(core.AlreadyTheirs), restore},
			{0, core.Tick{Items: []int{1}, ByTap: true}, "MeteringLeft Ticked", restore},
			{0, measure, refusedFor(core.NotMeasurable), restore},
			{0, core.Untick{Items: []int{1}}, "Unticked", restore},
			{0, measure, "MeteringBegun", restore},
			{0, core.Tick{All: true}, "MeteringLeft Ticked", restore},
			{0, core.Tick{Items: []int{1}}, "Ticked", restore},
			{0, core.Tick{Items: []int{2}}, "Ticked Closed", core.Over},
			{0, measure, refusedFor(core.RunClosed), core.Over},
		},
		"with its verdict taken back": {
			{0, measure, "MeteringBegun", restore},
			{0, core.Fix{Digits: "14.9"}, refusedFor(core.TooLateToFix), restore}, // the suit may have been touched
			{0, core.Fix{Digits: "20.0"}, "Corrected Judged", restore},            // it rose: no verdict
			{0, core.Repeat{}, "MeteringLeft Again", core.Expansion},
			{0, measure, refusedFor(core.NotMeasurable), core.Expansion},
		},
	} {
		t.Run(name, func(t *testing.T) {
			s := newScene(t)
			s.passes(newSuit(t, "HP-07"))
			s.plays(steps)
			if n := len(s.run.Verdicts); n != 1 && name != "with its verdict taken back" {
				t.Errorf("%d verdicts were given", n)
			}
			if got := core.Replay(s.entries[s.run.ID]); dump(got) != dump(s.run) {
				t.Errorf("replayed, it is another run:\n%s\nnot\n%s", dump(got), dump(s.run))
			}
		})
	}
}

// TestMeasurable: a capacity is measured while a suit stands inflated after a
// verdict, and never where nothing would have to be restored.
func TestMeasurable(t *testing.T) {
	for name, place := range places {
		s := place(t)
		want := name == "restore, pass" || name == "restore, fail" || name == "restore, no verdict"
		if got := s.run.Measurable(); got != want {
			t.Errorf("%s: measurable is %t", name, got)
		}
		if got := s.come(core.Measure{}); (got == "MeteringBegun") != want {
			t.Errorf("%s: %s", name, got)
		}
	}
	s := newScene(t)
	s.holds(newSuit(t, "HP-07"), "en943", "M-4", "16.5") // lapsed
	s.waits(6 * time.Minute)
	s.reads("15.0")
	if got := s.come(core.Measure{}); got != refusedFor(core.NotMeasurable) {
		t.Errorf("with a lapsed manometer: %s", got)
	}
}

// TestMeteringYields: another run's test has the manometer first, and is never
// held up by a measurement.
func TestMeteringYields(t *testing.T) {
	s := newScene(t)
	s.passes(newSuit(t, "HP-07"))
	s.does(core.Measure{})
	first := s.run.ID
	s.opens(newSuit(t, "HP-08"), "en943", "M-1")
	s.does(core.Tick{All: true})
	s.inflates()
	s.turnsTo(first)
	for _, want := range []core.Intent{read("15.0"), core.Measure{}} {
		if got := s.come(want); got != refusedFor(core.ManometerAway) {
			t.Errorf("%T: %s", want, got)
		}
	}
}

// TestEditedMetering: an edited post corrects its own reading, of the
// measurement or of the test.
func TestEditedMetering(t *testing.T) {
	s := newScene(t)
	s.passes(newSuit(t, "HP-07"))
	ending := s.run.Verdict.End.N
	s.does(core.Measure{})
	s.reads("14.8")
	before := s.lastPost()
	s.does(core.AddAir{Litres: "2"})
	s.waits(30 * time.Second)
	s.reads("15.9")
	after := s.lastPost()
	for _, tt := range []struct {
		post, digits, comes string
	}{
		{before, "14.9", "MeteringCorrected CapacityMeasured"},
		{after, "15.8", "MeteringCorrected CapacityMeasured"},
		{s.run.Readings[ending-1].Post, "15.1", refusedFor(core.TooLateToFix)},
		{s.run.Readings[ending-1].Post, "13.4", "Corrected Judged"},
	} {
		if got := s.come(core.Amend{Post: tt.post, Read: read(tt.digits)}); got != tt.comes {
			t.Errorf("%s edited: %s, want %s", tt.digits, got, tt.comes)
		}
	}
	// Air was let out of an overfilled suit: a slip in the reading before does not
	// bring its measurement back.
	s.does(core.Measure{})
	s.reads("14.8")
	before = s.lastPost()
	s.does(core.AddAir{Litres: "2"})
	s.waits(30 * time.Second)
	if s.reads("18.5"); s.come(core.Amend{Post: before, Read: read("14.9")}) != refusedFor(core.NotMetering) || !s.run.Metering.Void {
		t.Errorf("of a void measurement: %+v", s.run.Metering)
	}
	c := s.run.Measured
	if c.From.Digits != "14.9" || c.To.Digits != "15.8" || s.run.Verdict.End.Written.Digits != "13.4" {
		t.Errorf("measured is %+v, the ending pressure %s", c, s.run.Verdict.End.Written)
	}
}

// TestMeasured: what is kept, worked by hand. A hold that fell from 16.50 to
// 15.00 mbar in 360 s lost some 0.4 Pa/s at its end; over 60 s that is about a
// quarter of a millibar, which is added to the rise.
func TestMeasured(t *testing.T) {
	s := newScene(t)
	s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.50")
	s.waits(3 * time.Minute)
	s.reads("15.74")
	s.waits(3 * time.Minute)
	s.reads("15.00")
	s.does(core.Baro{Digits: "990", Unit: core.HPa})
	s.does(core.Measure{})
	s.reads("15.00")
	s.waits(30 * time.Second)
	s.does(core.AddAir{Litres: "2"})
	s.waits(30 * time.Second)
	s.reads("15.95")
	c := s.run.Measured
	if c.Manometer != "M-1" || c.By != tester || c.Day != mustDate(t, "2026-03-02") || c.Step.Digits != "0.01" || c.Room.Digits != "990" {
		t.Errorf("kept is %+v", c)
	}
	agrees(t, "fell in 60 s, Pa", c.Fell.Pascals(), 25, 1.5)
	agrees(t, "u of that, a half of it and a little more", c.FellU.Pascals(), 25/math.Sqrt(12), 1)
	effective := c.EffectiveVolume(estimate.Atmosphere)
	v, u := effective.Value, effective.U
	agrees(t, "effective volume by the room's own 990 hPa", v, 99000*0.002/(95+c.Fell.Pascals()), 1e-9)
	agrees(t, "its u", u, v*math.Hypot(0.02/math.Sqrt(3), math.Hypot(1/math.Sqrt(6), c.FellU.Pascals())/(95+c.Fell.Pascals())), 1e-9)

	// The suit's file has it, with the one who measured it.
	var file core.File
	file = file.Apply(core.Entry{Fact: core.SuitRegistered{Suit: newSuit(t, "HP-07")}})
	for _, e := range s.entries[s.run.ID] {
		file = file.Apply(e)
	}
	if file.Suit.Capacity != c {
		t.Errorf("the suit's file has %+v", file.Suit.Capacity)
	}
	// The verdict stands on what was known when the test began; a test begun
	// again on the suit as it is stands on what was measured.
	if s.run.Suit.Capacity != (core.Capacity{}) {
		t.Errorf("the run is judged by %+v", s.run.Suit.Capacity)
	}
}

// TestAgainKnowsTheCapacity: a test repeated after a measurement is judged by it.
func TestAgainKnowsTheCapacity(t *testing.T) {
	suit := newSuit(t, "HP-07")
	suit.Volume = core.Volume{Litres: "400"}
	s := newScene(t)
	s.holds(suit, "en943", "M-1", "16.5")
	s.does(core.Air{Celsius: "20.0"})
	s.waits(6 * time.Minute)
	s.does(core.Air{Celsius: "20.5"})
	s.reads("15.1")
	if _, reason := s.verdict(); reason != core.AirHides {
		t.Fatalf("bounded, it is %s", reason)
	}
	s.does(core.Measure{})
	s.reads("15.1")
	s.does(core.AddAir{Litres: "2"})
	s.waits(30 * time.Second)
	s.reads("16.2")
	if outcome, _ := s.verdict(); outcome != core.NoVerdict || s.run.Give().Known() {
		t.Errorf("a measurement made it %s", outcome)
	}
	s.does(core.Repeat{})
	s.inflates()
	s.waits(10 * time.Minute)
	s.reads("16.5")
	s.does(core.Air{Celsius: "20.0"})
	s.waits(6 * time.Minute)
	s.does(core.Air{Celsius: "20.5"})
	s.reads("15.1")
	if outcome, reason := s.verdict(); outcome != core.Pass || !s.run.Give().Known() {
		t.Errorf("computed, it is %s, %s", outcome, reason)
	}
}

// TestMostLitres: 0.4 m³ less 10 % of a stiff suit take 0.36·290/101 325 m³ up
// to 18.0 mbar from 15.1; a measured 1.68875 ± 0.121344 m³ takes 4.48604 L.
func TestMostLitres(t *testing.T) {
	suit := newSuit(t, "HP-07")
	for _, tt := range []struct {
		name   string
		volume core.Volume
		known  core.Capacity
		want   float64
	}{
		{"nothing known", core.Volume{}, core.Capacity{}, 0},
		{"its volume", core.Volume{Litres: "400"}, core.Capacity{}, 1.030348},
		{"its volume ± 20 L", core.Volume{Litres: "400", Off: "20"}, core.Capacity{}, 1.087589},
		{"its capacity", core.Volume{Litres: "400"}, twoLitres(t), 4.486040},
	} {
		suit.Volume, suit.Capacity = tt.volume, tt.known
		s := newScene(t)
		s.passes(suit)
		s.does(core.Measure{})
		if _, ok := s.run.MostLitres(); ok {
			t.Errorf("%s: known before the first reading", tt.name)
		}
		s.reads("15.1")
		got, ok := s.run.MostLitres()
		if ok != (tt.want > 0) {
			t.Errorf("%s: known is %t", tt.name, ok)
		}
		if ok {
			agrees(t, tt.name, got, tt.want, 1e-5)
		}
	}
}

// twoLitres is the capacity of TestEffectiveVolume.
func twoLitres(t testing.TB) core.Capacity {
	return core.Capacity{Litres: "2", From: write(t, "15.0", core.Mbar), To: write(t, "16.2", core.Mbar)}
}

// TestNoAirMakesAPass: whatever is read of the air, before, during and after a
// hold, and whatever is known of the suit, or measured of it: a hold that ends
// beyond the limit is never a pass.
func TestNoAirMakesAPass(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 22))
	outcomes, known := make(map[core.Outcome]int), 0
	for range 400 {
		suit := newSuit(t, "HP-07")
		if rng.IntN(3) > 0 {
			suit.Volume = core.Volume{Litres: fmt.Sprint(50 + rng.IntN(1900)), Off: pick(rng, "", "1", "40")}
		}
		if rng.IntN(3) > 0 {
			suit.Capacity = core.Capacity{Litres: fmt.Sprintf("%.1f", 0.5+4*rng.Float64()), From: write(t, "15.0", core.Mbar), To: write(t, "16.2", core.Mbar)}
		}
		s := newScene(t)
		s.bench.Policy.Acceptance = pick(rng, core.Simple, core.Guarded)
		breathe := func() {
			for range rng.IntN(3) {
				if rng.IntN(2) == 0 {
					s.does(core.Air{Celsius: fmt.Sprintf("%.1f", 60*rng.Float64()-20)})
				} else {
					s.does(core.Baro{Digits: fmt.Sprintf("%.1f", 900+150*rng.Float64()), Unit: core.HPa})
				}
			}
		}
		s.opens(suit, pick(rng, "en943", "f1052", "osha"), "M-7")
		s.does(core.Tick{All: true})
		breathe()
		s.inflates()
		s.waits(s.run.Method.ExpansionTime)
		start := s.run.Method.Test.Target
		s.reads(start.Digits + " " + start.Unit.String())
		breathe()
		s.waits(s.run.Method.Hold)
		breathe()
		lowest := s.run.Method.Limit.Lowest(start.Pressure())
		s.reads((lowest-core.Pressure(1+rng.Int64N(int64(lowest/2)))).Fixed(core.Pa, 6) + " Pa")
		if s.run.Give().Known() {
			known++
		}
		check := func() {
			outcome, reason := s.verdict()
			outcomes[outcome]++
			if outcome == core.Pass {
				t.Fatalf("%s passes, %s: %+v with %+v of %+v", s.run.Method.Key, reason, s.run.Verdict, s.run.Air, suit)
			}
		}
		check()
		breathe()
		check()
		if s.run.Measurable() && s.come(core.Measure{}) == "MeteringBegun" {
			s.come(readIn(s.run.Method.Test.Target.Digits, s.run.Method.Unit))
			s.come(core.AddAir{Litres: "2"})
			s.waits(time.Minute)
			s.come(readIn(s.run.Method.Expansion.Target.Digits, s.run.Method.Unit))
			breathe()
			check()
		}
	}
	if outcomes[core.Fail] < 400 || known < 50 {
		t.Errorf("%v, and %d suits whose give was known", outcomes, known)
	}
}

// TestNoHoldAfterMoreAir: a verdict taken back leaves the hold to go on, but not
// in a suit to which air was added since, or may have been: it would hide what the
// suit lost.
func TestNoHoldAfterMoreAir(t *testing.T) {
	for name, tt := range map[string]struct {
		since []step
		comes string
	}{
		"nothing": {nil, "Corrected HoldResumed"},
		"measured": {[]step{
			{0, core.Measure{}, "MeteringBegun", core.Restore},
			{30 * time.Second, read("15.0"), "MeteringRead", core.Restore},
			{0, core.AddAir{Litres: "2"}, "AirAdded", core.Restore},
			{30 * time.Second, read("16.0"), "MeteringRead CapacityMeasured", core.Restore},
		}, refusedFor(core.TooLateToFix)},
		"begun and left": {[]step{
			{0, core.Measure{}, "MeteringBegun", core.Restore},
			{30 * time.Second, core.Stop{}, "MeteringLeft", core.Restore},
		}, refusedFor(core.TooLateToFix)},
		"a leak hunted": {[]step{{0, core.Leak{Where: "seam"}, "LeakFound", core.Restore}}, refusedFor(core.TooLateToFix)},
	} {
		t.Run(name, func(t *testing.T) {
			s := newScene(t)
			s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.5")
			s.waits(3 * time.Minute)
			s.reads("12.9")
			slip := s.lastPost()
			s.plays(tt.since)
			if got := s.come(core.Amend{Post: slip, Read: read("15.9")}); got != tt.comes {
				t.Fatalf("corrected: %s", got)
			}
			if outcome, reason := s.verdict(); tt.since != nil && (outcome != core.Fail || reason != core.EarlyBeyond) {
				t.Errorf("%s, %s", outcome, reason)
			}
		})
	}
}
