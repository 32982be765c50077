package paper

import (
	"crypto/sha256"
	"fmt"
	"testing"
	"time"

	"benchbell/bot/chart"
	"benchbell/core"
)

// All suits, manometers, people and readings of these tests are invented.

var (
	tester  = core.Person{ID: "u1", Name: "bench.tester"}
	second  = core.Person{ID: "u2", Name: "second.tester"}
	officer = core.Person{ID: "u3", Name: "duty.officer"}
)

// morning is when the runs of the tests begin, half past eight at the station.
var morning = time.Date(2026, time.March, 2, 7, 30, 0, 0, time.UTC)

func harrowPoint(t testing.TB) Station {
	t.Helper()
	zone, err := time.LoadLocation("Europe/Warsaw")
	if err != nil {
		t.Fatal(err)
	}
	return Station{
		Name:    "Harrow Point works fire brigade (invented)",
		Address: "Gate 3, Quay Road, Harrow Point",
		Zone:    zone,
	}
}

var head = Head{Seq: 1234, Hash: fmt.Sprintf("%x", sha256.Sum256([]byte("an invented journal")))}

// suit is an invented suit of which the register knows everything.
func suit(tag string) core.Suit {
	return core.Suit{
		Tag: tag, Serial: "X19204", Maker: "Example Suitworks (invented)", Model: "Example G6", Material: "Butyl on polyamide",
		Size: "L", Place: "Station 1",
		Made:      core.Date{Year: 2019, Month: time.April, Day: 2},
		Purchased: core.Date{Year: 2019, Month: time.May, Day: 14},
		InService: core.Date{Year: 2019, Month: time.July, Day: 1},
		EndOfLife: core.Date{Year: 2034, Month: time.April, Day: 30},
		Fittings:  core.Fittings{GloveRings: true, ExhaustValves: 2, VentilatingValve: true, Boots: core.BootsFixed},
		Method:    "en943",
		MakerA:    core.MustWrite("5.0", core.InH2O), MakerB: core.MustWrite("4.0", core.InH2O),
		Remarks: "long sleeves",
	}
}

// scene plays a run, as the engine would, and keeps its entries.
type scene struct {
	t       testing.TB
	bench   core.Bench
	run     core.Run
	now     time.Time
	by      core.Person
	entries []core.Entry
	posts   int
}

// opens begins a run on a suit by a built-in method.
func opens(t testing.TB, on core.Suit, method, manometer string) *scene {
	t.Helper()
	s := &scene{t: t, now: morning, by: tester, bench: core.Bench{
		Methods: core.BuiltIn(), Manometers: make(map[string]core.Manometer), Policy: core.DefaultPolicy(),
	}}
	for _, m := range []struct {
		id                      string
		unit                    core.Unit
		resolution, permissible string
		until                   int
	}{
		{"M-1", core.Mbar, "0.01", "0.05", 2027},
		{"M-2", core.MmH2O, "0.1", "0.5", 2027},
		{"M-3", core.InH2O, "0.01", "0.02", 2027},
		{"M-4", core.Mbar, "0.1", "0.2", 2025}, // lapsed
	} {
		s.bench.Manometers[m.id] = core.Manometer{
			ID: m.id, Maker: "Example Gauges (invented)", Serial: "EG-0" + m.id[2:], Unit: m.unit, Resolution: core.MustWrite(m.resolution, m.unit), Permissible: core.MustWrite(m.permissible, m.unit),
			CalibratedOn:    core.Date{Year: m.until - 1, Month: time.January, Day: 31},
			CalibratedUntil: core.Date{Year: m.until, Month: time.January, Day: 31},
		}
	}
	facts, err := s.bench.Open(core.Open{Suit: on.Tag, Method: method, Manometer: manometer}, on, core.Standing{}, tester)
	if err != nil {
		t.Fatal(err)
	}
	s.run.Suit = on
	s.enters(42, facts...)
	return s
}

// enters adds entries to the run, or outside of it if it is zero.
func (s *scene) enters(run core.RunID, facts ...core.Fact) {
	for _, f := range facts {
		e := core.Entry{Seq: uint64(len(s.entries) + 1), At: s.now, By: s.by, Suit: s.run.Suit.Tag, Run: run, Fact: f}
		s.entries = append(s.entries, e)
		if run != 0 {
			s.run = s.run.Apply(e)
		}
	}
}

// does lets the run do what somebody wants, some time after what was last.
func (s *scene) does(after time.Duration, want core.Intent) {
	s.t.Helper()
	s.now = s.now.Add(after)
	s.posts++
	facts, err := s.run.Decide(s.bench, core.Asker{At: s.now, By: s.by, Post: fmt.Sprint("post", s.posts)}, want)
	if err != nil {
		s.t.Fatalf("%+v at %v is refused: %v", want, s.now.Sub(s.run.Opened), err)
	}
	s.enters(s.run.ID, facts...)
}

func (s *scene) reads(after time.Duration, digits string) {
	s.t.Helper()
	s.does(after, core.Read{Digits: digits})
}

// says is does for somebody else.
func (s *scene) says(by core.Person, after time.Duration, want core.Intent) {
	s.t.Helper()
	was := s.by
	s.by = by
	s.does(after, want)
	s.by = was
}

// taps ticks the list on screen one by one.
func (s *scene) taps() {
	s.t.Helper()
	for n := range s.run.List() {
		s.does(7*time.Second, core.Tick{Items: []int{n + 1}, ByTap: true})
	}
}

// chart draws the hold.
func (s *scene) chart() []byte {
	s.t.Helper()
	picture, err := chart.Run(s.run, harrowPoint(s.t).Zone)
	if err != nil {
		s.t.Fatal(err)
	}
	return picture
}

func (s *scene) input() RecordInput {
	return RecordInput{Station: harrowPoint(s.t), Head: head, Run: s.run.ID, Entries: s.entries}
}

// passes plays a run with a bit of everything that a good test has.
func passes(t testing.TB) *scene {
	t.Helper()
	s := opens(t, suit("HP-07"), "en943", "M-1")
	s.taps()
	s.reads(time.Minute, "17.5")
	s.reads(3*time.Minute, "17.1")
	s.reads(time.Minute, "17.5")
	s.does(3*time.Minute, core.Air{Celsius: "20.5"})
	s.does(10*time.Second, core.Baro{Digits: "1013", Unit: core.HPa})
	s.reads(3*time.Minute, "16.5")
	s.reads(3*time.Minute, "15.8")
	s.enters(42, core.Rung{Bell: core.BellWarn, Due: s.run.HoldEnds().Add(-30 * time.Second)})
	s.now = s.run.HoldEnds()
	s.enters(42, core.Rung{Bell: core.BellHold, Due: s.now})
	s.reads(8*time.Second, "15.2")
	s.does(20*time.Second, core.Air{Celsius: "20.6"})
	s.does(0, core.Baro{Digits: "1013", Unit: core.HPa})
	s.does(20*time.Second, core.Remark{Text: "left glove ring stiff, greased"})
	s.taps()
	return s
}

// fails plays a run in which much goes wrong: with a gauge in millimetres,
// ticks taken back, begun again, handed over, corrected, with leaks found.
func fails(t testing.TB) *scene {
	t.Helper()
	s := opens(t, suit("HP-08"), "f1052", "M-2")
	s.does(20*time.Second, core.Tick{Items: []int{1, 2, 3}})
	s.does(20*time.Second, core.Untick{Items: []int{2}})
	s.does(20*time.Second, core.Tick{All: true})
	s.reads(time.Minute, "125.0")
	s.reads(70*time.Second, "100.4")
	s.reads(time.Minute, "101.9") // it rose
	s.does(30*time.Second, core.Repeat{})
	s.does(30*time.Second, core.HandOver{To: second})
	s.by = second
	s.reads(2*time.Minute, "124.6")
	s.reads(80*time.Second, "101.0")
	s.reads(2*time.Minute, "91.2")
	s.now = s.run.HoldEnds()
	s.enters(42, core.Rung{Bell: core.BellHold, Due: s.now.Add(-9 * time.Second)})
	s.does(2*time.Minute, core.Read{Digits: "87.0", Stated: 4 * time.Minute, HasStated: true})
	s.does(20*time.Second, core.Fix{Digits: "78.0"})
	s.does(3*time.Minute, core.Leak{Where: "seam at the left knee, two bubbles a second"})
	s.does(3*time.Minute, core.Leak{Where: "visor gasket, lower edge"})
	s.says(officer, time.Minute, core.Remark{Text: "goes to the workshop"})
	s.taps()
	return s
}
