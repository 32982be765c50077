package core_test

import (
	"reflect"
	"slices"
	"testing"
	"time"

	"benchbell/core"
)

// TestSameName: people type tags and ids as they like.
func TestSameName(t *testing.T) {
	for _, same := range [][]string{
		{"HP-07", "hp-07", "HP07", "hp7", "HP 07", "hp_7", "Hp-7", "HP-007", "hp.7", "HP/07"},
		{"M-2", "m2", "M 2", "m-02"},
		{"en943", "EN943", "EN 943", "EN-943"},
		{"R-0042", "r42", "R-42"},
		{"HP-10", "hp10", "hp 010"},
		{"HP-0", "hp0", "hp00"},
		{"HP11-2", "hp 11 2", "HP-011/02", "hp11--2"},
		{"A1-07", "a1-7", "a 1 07"},
		{"HP-7B", "hp07b", "HP 7 B"},
	} {
		for _, a := range same {
			for _, b := range same {
				if !core.SameName(a, b) {
					t.Errorf("%q and %q are not the same", a, b)
				}
			}
		}
	}
	for _, different := range [][2]string{
		{"HP-07", "HP-70"},
		{"HP-1", "HP-10"},
		{"HP-100", "HP-1"},
		{"HP-07", "HQ-07"},
		{"HP-07", "HP-07A"},
		{"HP-07", ""},
		{"M-1", "M-11"},
		{"HP-101", "HP-11"},
		{"HP11-2", "HP1-12"},
		{"HP11-2", "HP112"},
		{"HP1-0", "HP10"},
		{"1-07", "107"},
		{"1.10", "1.1.0"},
	} {
		if core.SameName(different[0], different[1]) {
			t.Errorf("%q and %q are the same", different[0], different[1])
		}
	}
}

// TestOpen: what a run begins with, and what it does not begin with.
func TestOpen(t *testing.T) {
	fit := core.Standing{Kind: core.NotFit}
	for _, tt := range []struct {
		name     string
		want     core.Open
		bench    func(*core.Bench)
		suit     func(*core.Suit)
		standing core.Standing
		why      core.Why
		method   string
		gauge    string
	}{
		{name: "all said", want: core.Open{Method: "F1052", Manometer: "m2"}, method: "f1052", gauge: "M-2"},
		{name: "the suit's method", want: core.Open{Manometer: "M-1"}, method: "en943", gauge: "M-1"},
		{name: "no method", want: core.Open{Manometer: "M-1"}, suit: func(s *core.Suit) { s.Method = "" }, why: core.UnknownMethod},
		{name: "no such method", want: core.Open{Method: "en944", Manometer: "M-1"}, why: core.UnknownMethod},
		{name: "no such manometer", want: core.Open{Manometer: "M-9"}, why: core.UnknownManometer},
		{name: "which manometer", want: core.Open{}, why: core.ManometerUnsaid},
		{
			name: "the manometer used last", want: core.Open{},
			bench:  func(b *core.Bench) { b.LastUsed[tester.Name] = "M-5" },
			method: "en943", gauge: "M-5",
		},
		{
			name: "the one used last is gone", want: core.Open{},
			bench: func(b *core.Bench) { b.LastUsed[tester.Name] = "M-9" }, why: core.ManometerUnsaid,
		},
		{
			name: "somebody else's", want: core.Open{},
			bench: func(b *core.Bench) { b.LastUsed[second.Name] = "M-5" }, why: core.ManometerUnsaid,
		},
		{
			name: "the only manometer", want: core.Open{},
			bench: func(b *core.Bench) {
				b.Manometers = map[string]core.Manometer{"M-3": b.Manometers["M-3"]}
			},
			method: "en943", gauge: "M-3",
		},
		{name: "no manometer at all", want: core.Open{}, bench: func(b *core.Bench) { b.Manometers = nil }, why: core.ManometerUnsaid},
		{name: "the maker's pressures", want: core.Open{Method: "osha", Manometer: "M-3"}, method: "osha", gauge: "M-3"},
		{
			name: "without the maker's pressures", want: core.Open{Method: "osha", Manometer: "M-3"},
			suit: func(s *core.Suit) { s.MakerB = core.Written{} }, why: core.NoMakerPressures,
		},
		{
			name: "maker's pressures too low", want: core.Open{Method: "osha", Manometer: "M-3"},
			suit: func(s *core.Suit) { s.MakerB = write(t, "1.9", core.InH2O) }, why: core.MakerPressuresLow,
		},
		{name: "retired", want: core.Open{Manometer: "M-1"}, standing: core.Standing{Kind: core.OutForGood}, why: core.SuitRetired},
		{
			name: "on the bench", want: core.Open{Manometer: "M-1"},
			bench: func(b *core.Bench) { b.Runs[7] = core.Run{ID: 7, Suit: core.Suit{Tag: "HP-07"}, Tester: second} }, why: core.SuitOnBench,
		},
		{
			name: "another suit on the bench", want: core.Open{Manometer: "M-1"},
			bench:  func(b *core.Bench) { b.Runs[7] = core.Run{ID: 7, Suit: core.Suit{Tag: "HP-08"}} },
			method: "en943", gauge: "M-1",
		},
	} {
		b, suit := newBench(t), newSuit(t, "HP-07")
		if tt.bench != nil {
			tt.bench(&b)
		}
		if tt.suit != nil {
			tt.suit(&suit)
		}
		if tt.standing.Kind == "" {
			tt.standing = fit
		}
		facts, err := b.Open(tt.want, suit, tt.standing, tester)
		if got := why(t, err); got != tt.why {
			t.Errorf("%s: refused with %q, want %q", tt.name, got, tt.why)
			continue
		}
		if tt.why != "" {
			if len(facts) != 0 {
				t.Errorf("%s: refused with the facts %s", tt.name, kinds(facts))
			}
			continue
		}
		opened, ok := facts[0].(core.Opened)
		if len(facts) != 1 || !ok || opened.Method.Key != tt.method || opened.Manometer.ID != tt.gauge || !reflect.DeepEqual(opened.Suit, suit) {
			t.Errorf("%s: it begins with %+v", tt.name, facts)
		}
		if !slices.Equal(opened.Prepare, core.PrepareList(suit.Fittings)) || !slices.Equal(opened.Restore, core.RestoreList(suit.Fittings)) {
			t.Errorf("%s: the lists are not those of the fittings", tt.name)
		}
	}
}

// TestRunKeepsItsRules: what a run is judged by is what was in force when it
// began, whatever becomes of the register since.
func TestRunKeepsItsRules(t *testing.T) {
	s := places["hold"](t)
	s.bench.Methods[0].Limit.Drop = write(t, "0.1", core.Mbar)
	gauge := s.bench.Manometers["M-1"]
	gauge.CalibratedUntil = mustDate(t, "2020-01-01")
	s.bench.Manometers["M-1"] = gauge
	s.waits(5 * time.Minute)
	s.reads("14.0")
	if outcome, reason := s.verdict(); outcome != core.Pass || reason != core.OnTime {
		t.Errorf("%s, %s", outcome, reason)
	}
}

// TestBuiltInFirst: a method of the keeper's own never answers to the name of a
// built-in one.
func TestBuiltInFirst(t *testing.T) {
	b := newBench(t)
	b.Methods = append(b.Methods, maker(t))
	for typed, key := range map[string]string{"en943": "en943", "EN-943": "en943", "en0943": "en943", "acme12": "acme12", "Acme 12": "acme12"} {
		if m, ok := b.Method(typed); !ok || m.Key != key {
			t.Errorf("%q finds %q", typed, m.Key)
		}
	}
	if m, ok := b.Method(""); ok {
		t.Errorf("nothing finds %q", m.Key)
	}
	if got := b.MethodKeys(); !slices.Equal(got, []string{"en943", "f1052", "osha", "acme12"}) {
		t.Errorf("the keys are %v", got)
	}
	if got := b.ManometerIDs(); !slices.Equal(got, []string{"M-1", "M-2", "M-3", "M-4", "M-5", "M-6", "M-7"}) {
		t.Errorf("the manometers are %v", got)
	}
}
