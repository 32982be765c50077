package core_test

import (
	"errors"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// method returns a built-in method.
func method(t testing.TB, key string) core.Method {
	t.Helper()
	for _, m := range core.BuiltIn() {
		if m.Key == key {
			return m
		}
	}
	t.Fatalf("no method %s", key)
	return core.Method{}
}

// why returns the reason of a refusal, "" for no error; anything else fails
// the test.
func why(t testing.TB, err error) core.Why {
	t.Helper()
	if err == nil {
		return ""
	}
	refusal, ok := errors.AsType[*core.Refusal](err)
	if !ok {
		t.Fatalf("%v is no refusal", err)
	}
	return refusal.Why
}

// TestBuiltInNumbers holds the built-in methods against the numbers of their
// sources. How sure each number is stands beside it: the standards themselves
// cost money and were not read; the appendix was read in reproductions.
func TestBuiltInNumbers(t *testing.T) {
	type setting struct{ target, low, high string }
	for _, tt := range []struct {
		key       string
		unit      core.Unit
		expansion setting
		expand    time.Duration
		test      setting
		hold      time.Duration
		limit     core.Limit
	}{
		{
			// ISO 17491-1:2012 method 2: 1750 Pa for 10 min, then 1650 Pa for
			// 6 min: common practice. ± 50 Pa on both: from memory.
			// EN 943-1: drop at most 300 Pa: from memory.
			"en943", core.Pa,
			setting{"1750", "1700", "1800"},
			10 * time.Minute,
			setting{"1650", "1600", "1700"},
			6 * time.Minute,
			core.Limit{Drop: write(t, "300", core.Pa)},
		},
		{
			// ASTM F1052: 125 mm for at least 1 min, then 100 mm for 4 min:
			// common practice. NFPA 1991: at least 80 mm: from memory.
			// ± 5 mm: this program's own, the source states none.
			"f1052", core.MmH2O,
			setting{"125", "120", "130"},
			time.Minute,
			setting{"100", "95", "105"},
			4 * time.Minute,
			core.Limit{Floor: write(t, "80", core.MmH2O)},
		},
		{
			// 29 CFR 1910.120 App A: A at least 3 in, B at least 2 in, 3 min,
			// C at least 80 % of B: from a secondary text; A for at least
			// 1 min: from memory. Up to 0.5 in more: this program's own.
			"osha", core.InH2O,
			setting{"3.0", "3.0", "3.5"},
			time.Minute,
			setting{"2.0", "2.0", "2.5"},
			3 * time.Minute,
			core.Limit{Num: 4, Den: 5},
		},
	} {
		m := method(t, tt.key)
		is := func(s core.Setting, want setting) bool {
			return s.Target.Pressure() == write(t, want.target, tt.unit).Pressure() &&
				s.Low == write(t, want.low, tt.unit).Pressure() && s.High == write(t, want.high, tt.unit).Pressure()
		}
		if !is(m.Expansion, tt.expansion) || !is(m.Test, tt.test) {
			t.Errorf("%s: expansion %+v, test %+v; want %v, %v", tt.key, m.Expansion, m.Test, tt.expansion, tt.test)
		}
		if m.ExpansionTime != tt.expand || m.Hold != tt.hold {
			t.Errorf("%s: %v and %v, want %v and %v", tt.key, m.ExpansionTime, m.Hold, tt.expand, tt.hold)
		}
		if m.Limit.Drop.Pressure() != tt.limit.Drop.Pressure() || m.Limit.Floor.Pressure() != tt.limit.Floor.Pressure() ||
			m.Limit.Num != tt.limit.Num || m.Limit.Den != tt.limit.Den {
			t.Errorf("%s: limit %+v, want %+v", tt.key, m.Limit, tt.limit)
		}
	}
	if n := len(core.BuiltIn()); n != 3 {
		t.Errorf("%d methods are built in: the others are not held against anything here", n)
	}
}

// TestBuiltInSources: every number of a built-in method says where it comes
// from, and none claims to be surer than it is. None was read in the source's
// own text.
func TestBuiltInSources(t *testing.T) {
	for key, want := range map[string]map[string]core.Certainty{
		"en943": {
			"17.5 mbar for 10 min":  core.CommonPractice,
			"16.5 mbar, hold 6 min": core.CommonPractice,
			"± 0.5 mbar":            core.FromMemory,
			"drop at most 3.0 mbar": core.FromMemory,
		},
		"f1052": {
			"125 mm for at least 1 min": core.CommonPractice,
			"100 mm, hold 4 min":        core.CommonPractice,
			"± 5 mm":                    core.OwnRule,
			"at least 80 mm":            core.FromMemory,
		},
		"osha": {
			"at least 3 in":        core.FromReport,
			"for at least 1 min":   core.FromMemory,
			"at least 2 in":        core.FromReport,
			"C at least 80 % of B": core.FromReport,
			"at most 0.5 in":       core.OwnRule,
		},
	} {
		m := method(t, key)
		if m.Title == "" || m.Source == "" {
			t.Errorf("%s has no title or no source", key)
		}
		for what, certainty := range want {
			n := 0
			for _, p := range m.Provenance {
				if strings.Contains(p.What, what) {
					n++
					if p.Certainty != certainty || p.Source == "" {
						t.Errorf("%s: %q comes from %q, %q; want %q", key, p.What, p.Source, p.Certainty, certainty)
					}
				}
			}
			if n != 1 {
				t.Errorf("%s: %q stands in %d lines of its provenance, want 1", key, what, n)
			}
		}
	}
}

// TestBuiltInIsFresh: what somebody does to a method changes no other.
func TestBuiltInIsFresh(t *testing.T) {
	spoiled := core.BuiltIn()
	spoiled[0].Limit.Drop = write(t, "30", core.Mbar)
	spoiled[0].Provenance[0].What = "spoiled"
	if m := method(t, spoiled[0].Key); m.Limit.Drop.Digits != "3.0" || m.Provenance[0].What == "spoiled" {
		t.Error("BuiltIn hands out its own memory")
	}
}

// TestLimits judges ending pressures at and beside the limit. The values were
// worked out by hand; the names are those of the clauses or of what is special.
func TestLimits(t *testing.T) {
	ratio := core.Limit{Num: 4, Den: 5}                    // 29 CFR 1910.120 App A 6.1.4
	floor := core.Limit{Floor: write(t, "80", core.MmH2O)} // NFPA 1991
	drop := core.Limit{Drop: write(t, "300", core.Pa)}     // EN 943-1
	for _, tt := range []struct {
		name       string
		limit      core.Limit
		unit       core.Unit
		start, end string
		passes     bool
	}{
		{"6.1.4: drop of just 20 %", ratio, core.InH2O, "2.0", "1.60", true},
		{"6.1.6: drop of 20.5 %", ratio, core.InH2O, "2.0", "1.59", false},
		{"0.8 × 3.0 is above 2.4 in floating point", ratio, core.InH2O, "3.0", "2.40", true},
		{"one count below", ratio, core.InH2O, "3.0", "2.39", false},
		{"0.8 × 102 is above 81.6 in floating point", ratio, core.MmH2O, "102", "81.6", true},
		{"one count below", ratio, core.MmH2O, "102", "81.5", false},
		{"4/5 of 0.7 mbar", ratio, core.Mbar, "0.7", "0.56", true},
		{"4/5 of an odd count", ratio, core.Pa, "1651", "1320.8", true},
		{"and just below", ratio, core.Pa, "1651", "1320.799999", false},
		{"above the floor, 78.8 % of the start", floor, core.MmH2O, "104", "82", true},
		{"by the ratio that fails", ratio, core.MmH2O, "104", "82", false},
		{"below the floor, 80.6 % of the start", floor, core.MmH2O, "98", "79", false},
		{"by the ratio that passes", ratio, core.MmH2O, "98", "79", true},
		{"on the floor", floor, core.MmH2O, "100", "80", true},
		{"on the floor, more digits", floor, core.MmH2O, "100", "80.000", true},
		{"just below the floor", floor, core.MmH2O, "100", "79.999999", false},
		{"drop of just 300 Pa", drop, core.Pa, "1650", "1350", true},
		{"drop of 301 Pa", drop, core.Pa, "1650", "1349", false},
		{"drop of 3.0 mbar", drop, core.Mbar, "16.6", "13.6", true},
		{"drop of 3.0 mbar in floating point is 3.0000000000000018", drop, core.Mbar, "16.1", "13.1", true},
		{"drop of 3.01 mbar", drop, core.Mbar, "16.60", "13.59", false},
		{"no drop", drop, core.Mbar, "16.5", "16.5", true},
		{"nothing left", drop, core.Mbar, "16.5", "0", false},
	} {
		start, end := write(t, tt.start, tt.unit).Pressure(), write(t, tt.end, tt.unit).Pressure()
		if got := tt.limit.Within(start, end); got != tt.passes {
			t.Errorf("%s: %s → %s %v passes: %v, want %v", tt.name, tt.start, tt.end, tt.unit, got, tt.passes)
		}
	}
	// Readings in another unit than the limit: 300 Pa are 30.591486… mm.
	start := write(t, "168.3", core.MmH2O).Pressure()
	for end, passes := range map[string]bool{"137.8": true, "137.71": true, "137.70": false, "137.7": false} {
		if got := drop.Within(start, write(t, end, core.MmH2O).Pressure()); got != passes {
			t.Errorf("168.3 → %s mm within 300 Pa: %v, want %v", end, got, passes)
		}
	}
	if (core.Limit{}).Within(1650*core.Pascal, 1650*core.Pascal) {
		t.Error("a limit that is not set lets something pass")
	}
}

// TestLimitLaws: for every limit and start, Lowest is the least ending pressure
// that passes, GreatestDrop is the way down to it, and a ratio is compared in
// whole numbers.
func TestLimitLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(3, 4))
	for range 5000 {
		u := core.Units()[rng.IntN(len(core.Units()))]
		start := core.Pressure(rng.Int64N(int64(5 * core.Kilopascal)))
		limits := []core.Limit{
			{Drop: random(t, rng, u)},
			{Floor: random(t, rng, u)},
			{Num: 1 + rng.Int64N(9999), Den: 10000},
			{Num: 4, Den: 5},
		}
		for _, l := range limits {
			lowest := l.Lowest(start)
			if !l.Within(start, lowest) || l.Within(start, lowest-1) {
				t.Fatalf("%+v from %d: %d is not the least that passes", l, start, lowest)
			}
			if l.GreatestDrop(start) != start-lowest {
				t.Fatalf("%+v from %d: the greatest drop is %d, the lowest end %d", l, start, l.GreatestDrop(start), lowest)
			}
			end := core.Pressure(rng.Int64N(int64(5 * core.Kilopascal)))
			if l.Within(start, end) && !l.Within(start, end+1) {
				t.Fatalf("%+v from %d: %d passes and one more does not", l, start, end)
			}
			if l.Den == 5 && l.Within(start, end) != (5*end >= 4*start) {
				t.Fatalf("5·%d ≥ 4·%d and Within disagree", end, start)
			}
		}
	}
}

// random returns a pressure of up to about 5 kPa, written in u.
func random(t testing.TB, rng *rand.Rand, u core.Unit) core.Written {
	p := core.Pressure(rng.Int64N(int64(5 * core.Kilopascal)))
	return write(t, p.Fixed(u, 4), u)
}

// TestStartTolerance: both ends of a tolerance belong to it.
func TestStartTolerance(t *testing.T) {
	m := method(t, "en943")
	for digits, holds := range map[string]bool{"1600": true, "1700": true, "1650": true, "1599": false, "1701": false, "1599.999999": false, "1700.000001": false} {
		if got := m.Test.Holds(write(t, digits, core.Pa).Pressure()); got != holds {
			t.Errorf("a start of %s Pa is in tolerance: %v, want %v", digits, got, holds)
		}
	}
}

// TestMakerPressures: the pressures of App A are the maker's, and never below
// the appendix' own least: 3 in and 2 in.
func TestMakerPressures(t *testing.T) {
	osha := method(t, "osha")
	for _, tt := range []struct {
		name string
		a, b string
		unit core.Unit
		want core.Why
	}{
		{"a maker's own", "5.0", "4.0", core.InH2O, ""},
		{"the least", "3.0", "2.0", core.InH2O, ""},
		{"A too low", "2.9", "2.0", core.InH2O, core.MakerPressuresLow},
		{"A just too low", "2.999999", "2.0", core.InH2O, core.MakerPressuresLow},
		{"B too low", "3.0", "1.9", core.InH2O, core.MakerPressuresLow},
		{"B as high as A", "4.0", "4.0", core.InH2O, core.MakerPressuresLow},
		{"B above A", "4.0", "5.0", core.InH2O, core.MakerPressuresLow},
		{"in millimetres", "127", "101.6", core.MmH2O, ""},
		{"just too low in millimetres", "76.1", "50.8", core.MmH2O, core.MakerPressuresLow}, // 3 in are 76.2 mm
		{"none", "", "", core.InH2O, core.NoMakerPressures},
		{"no A", "", "4.0", core.InH2O, core.NoMakerPressures},
		{"no B", "5.0", "", core.InH2O, core.NoMakerPressures},
		{"zero", "0", "0", core.InH2O, core.MakerPressuresLow},
	} {
		s := core.Suit{Tag: "HP-07"}
		if tt.a != "" {
			s.MakerA = write(t, tt.a, tt.unit)
		}
		if tt.b != "" {
			s.MakerB = write(t, tt.b, tt.unit)
		}
		m, err := osha.For(s)
		if got := why(t, err); got != tt.want {
			t.Errorf("%s: refused with %q, want %q", tt.name, got, tt.want)
		}
		if err != nil {
			if !reflect.DeepEqual(m, core.Method{}) {
				t.Errorf("%s: a refusal comes with a method", tt.name)
			}
			continue
		}
		half := 124_544_455 * 1000 * core.Nanopascal // 0.5 in
		a, b := s.MakerA.Pressure(), s.MakerB.Pressure()
		if m.Expansion.Low != a || m.Expansion.High != a+half || m.Test.Low != b || m.Test.High != b+half {
			t.Errorf("%s: expansion %+v, test %+v", tt.name, m.Expansion, m.Test)
		}
		if m.Limit != osha.Limit || m.Hold != osha.Hold || m.ExpansionTime != osha.ExpansionTime {
			t.Errorf("%s: more than the pressures changed", tt.name)
		}
	}
	// The other methods are the same for every suit.
	for _, key := range []string{"en943", "f1052"} {
		m := method(t, key)
		got, err := m.For(core.Suit{MakerA: write(t, "5.0", core.InH2O), MakerB: write(t, "4.0", core.InH2O)})
		if err != nil || !reflect.DeepEqual(got, m) {
			t.Errorf("%s changes with the suit, %v", key, err)
		}
	}
}

// maker returns a method as a keeper may configure one, from a maker's figures.
func maker(t testing.TB) core.Method {
	return core.Method{
		Key: "acme12", Title: "Maker's figures, invented", Source: "invented for this test", Unit: core.Mbar,
		Expansion:     core.Around(write(t, "15", core.Mbar), write(t, "0.5", core.Mbar)),
		ExpansionTime: 5 * time.Minute,
		Test:          core.Around(write(t, "12", core.Mbar), write(t, "0.5", core.Mbar)),
		Hold:          5 * time.Minute,
		Limit:         core.Limit{Drop: write(t, "2.0", core.Mbar)},
	}
}

// TestValidate refuses each kind of method that would judge wrongly.
func TestValidate(t *testing.T) {
	if err := maker(t).Validate(); err != nil {
		t.Fatal(err)
	}
	w := func(digits string) core.Written { return write(t, digits, core.Mbar) }
	for _, tt := range []struct {
		say   string
		spoil func(*core.Method)
	}{
		{"built in", func(m *core.Method) { m.Key = "en943" }},
		{"built in", func(m *core.Method) { m.Key = "f1052" }},
		{"built in", func(m *core.Method) { m.Key = "osha" }},
		{"built in", func(m *core.Method) { m.Key = "en0943" }}, // what people type for en943 must not find it
		{"built in", func(m *core.Method) { m.Key = "f01052" }},
		{"built in", func(m *core.Method) { m.Key = "EN-943" }},
		{"needs a key", func(m *core.Method) { m.Key = "" }},
		{"needs a key", func(m *core.Method) { m.Key = "Acme" }},
		{"needs a key", func(m *core.Method) { m.Key = "12acme" }},
		{"needs a key", func(m *core.Method) { m.Key = "acme 12" }},
		{"needs a key", func(m *core.Method) { m.Key = "acme-12" }},
		{"needs a key", func(m *core.Method) { m.Key = "äcme" }},
		{"needs a key", func(m *core.Method) { m.Key = strings.Repeat("a", 17) }},
		{"needs a title", func(m *core.Method) { m.Title = "" }},
		{"needs a source", func(m *core.Method) { m.Source = "" }},
		{"needs a unit", func(m *core.Method) { m.Unit = core.NoUnit }},
		{"needs a unit", func(m *core.Method) { m.Unit = core.InHg }},
		{"needs a unit", func(m *core.Method) { m.Unit = core.InHg + 1 }},
		{"needs an expansion pressure", func(m *core.Method) { m.Expansion = core.Setting{} }},
		{"needs an expansion pressure", func(m *core.Method) { m.Expansion = core.Around(w("15"), w("15")) }},
		{"needs an expansion pressure", func(m *core.Method) { m.Expansion.High = m.Expansion.Low - 1 }},
		{"outside its own range", func(m *core.Method) { m.Expansion.Target = w("16") }},
		{"above 100 kPa", func(m *core.Method) { m.Expansion = core.Around(w("1000"), w("1")) }},
		{"above 100 kPa", func(m *core.Method) { m.Expansion = core.Around(w("80000000"), w("1")) }},
		{"needs an expansion pressure", func(m *core.Method) { m.Expansion = core.Around(w("80000000"), w("80000000")) }}, // more than can be counted
		{"needs a test pressure", func(m *core.Method) { m.Test = core.Setting{} }},
		{"needs a test pressure", func(m *core.Method) { m.Test = core.Around(w("12"), w("12")) }},
		{"needs a test pressure", func(m *core.Method) { m.Test.High = m.Test.Low - 1 }},
		{"outside its own range", func(m *core.Method) { m.Test.Target = w("13") }},
		{"above its expansion", func(m *core.Method) { m.Test = core.Around(w("15.1"), w("0.5")) }},
		{"needs an expansion time", func(m *core.Method) { m.ExpansionTime = 0 }},
		{"needs an expansion time", func(m *core.Method) { m.ExpansionTime = -time.Minute }},
		{"needs an expansion time", func(m *core.Method) { m.ExpansionTime = 4*time.Hour + 1 }},
		{"needs a hold", func(m *core.Method) { m.Hold = 0 }},
		{"needs a hold", func(m *core.Method) { m.Hold = -time.Minute }},
		{"needs a hold", func(m *core.Method) { m.Hold = 4*time.Hour + 1 }},
		{"exactly one limit", func(m *core.Method) { m.Limit = core.Limit{} }},
		{"exactly one limit", func(m *core.Method) { m.Limit.Floor = w("8") }},
		{"exactly one limit", func(m *core.Method) { m.Limit.Num, m.Limit.Den = 4, 5 }},
		{"no suit could miss", func(m *core.Method) { m.Limit.Drop = w("11.5") }}, // all of the lowest start
		{"no suit could miss", func(m *core.Method) { m.Limit = core.Limit{Floor: w("0")} }},
		{"floor that is not below", func(m *core.Method) { m.Limit = core.Limit{Floor: w("11.5")} }},
		{"needs a ratio", func(m *core.Method) { m.Limit = core.Limit{Num: 0, Den: 5} }},
		{"needs a ratio", func(m *core.Method) { m.Limit = core.Limit{Num: -4, Den: 5} }},
		{"needs a ratio", func(m *core.Method) { m.Limit = core.Limit{Num: -4, Den: -5} }},
		{"needs a ratio", func(m *core.Method) { m.Limit = core.Limit{Num: 5, Den: 5} }},
		{"needs a ratio", func(m *core.Method) { m.Limit = core.Limit{Num: 1, Den: 10001} }},
	} {
		m := maker(t)
		tt.spoil(&m)
		if err := m.Validate(); err == nil || !strings.Contains(err.Error(), tt.say) || !strings.Contains(err.Error(), m.Key) {
			t.Errorf("Validate(%+v) = %v, want it to say %q", m, err, tt.say)
		}
	}
	for _, l := range []core.Limit{{Num: 4, Den: 5}, {Floor: w("9")}, {Drop: w("11.4")}} {
		m := maker(t)
		m.Limit = l
		if err := m.Validate(); err != nil {
			t.Errorf("%+v: %v", l, err)
		}
	}
}

// TestJudgePaper judges tests that come from paper, where only start, end and
// duration are known, by the rules of the trade.
func TestJudgePaper(t *testing.T) {
	for _, tt := range []struct {
		name       string
		method     string
		unit       core.Unit
		start, end string
		took       time.Duration
		outcome    core.Outcome
		reason     core.Reason
	}{
		{"a good one", "en943", core.Mbar, "16.5", "14.0", 6 * time.Minute, core.Pass, core.OnTime},
		{"a tie", "en943", core.Mbar, "16.5", "13.5", 6 * time.Minute, core.Pass, core.OnTime},
		{"a bad one", "en943", core.Mbar, "16.5", "13.4", 6 * time.Minute, core.Fail, core.OnTime},
		{"cut short", "en943", core.Mbar, "16.5", "16.0", 6*time.Minute - time.Second, core.NoVerdict, core.CutShort},
		{"bad before the time", "en943", core.Mbar, "16.5", "13.4", time.Minute, core.Fail, core.EarlyBeyond},
		// A longer hold is a harder test, up to twice its length.
		{"a minute longer and good", "en943", core.Mbar, "16.5", "13.5", 7 * time.Minute, core.Pass, core.OnTime},
		{"longer and still good", "en943", core.Mbar, "16.5", "13.5", 7*time.Minute + 1, core.Pass, core.LateWithin},
		{"twice as long and good", "en943", core.Mbar, "16.5", "13.5", 12 * time.Minute, core.Pass, core.LateWithin},
		{"longer than that and good", "en943", core.Mbar, "16.5", "13.5", 12*time.Minute + 1, core.NoVerdict, core.TooLate},
		// The straight line to 12 min is half way at 6: from 16.5 to 10.3 it is at 13.4,
		// and half a step more is 13.45; to 10.4 it is at 13.45, and 13.50 is within.
		{"longer and certainly bad", "en943", core.Mbar, "16.5", "10.3", 12 * time.Minute, core.Fail, core.BeyondAtBell},
		{"longer and just not certainly bad", "en943", core.Mbar, "16.5", "10.4", 12 * time.Minute, core.NoVerdict, core.LateBeyond},
		// A start above the nominal pressure must keep the same share: 80 of 100.
		{"a floor from a high start", "f1052", core.MmH2O, "105", "84", 4 * time.Minute, core.Pass, core.OnTime},
		{"a floor from a high start, bad", "f1052", core.MmH2O, "105", "83.9", 4 * time.Minute, core.Fail, core.OnTime},
		{"a start above its tolerance", "f1052", core.MmH2O, "160", "130", 4 * time.Minute, core.NoVerdict, core.StartOutside},
		{"longer and bad", "en943", core.Mbar, "16.5", "13.4", 20 * time.Minute, core.NoVerdict, core.LateBeyond},
		{"a minute longer and bad", "en943", core.Mbar, "16.5", "13.4", 7 * time.Minute, core.Fail, core.OnTime},
		{"a rise", "en943", core.Mbar, "16.5", "16.6", 6 * time.Minute, core.NoVerdict, core.Rise},
		{"in the other unit", "f1052", core.InH2O, "3.937", "3.15", 4 * time.Minute, core.Pass, core.OnTime}, // 80.01 mm
		{"in the other unit, bad", "f1052", core.InH2O, "3.937", "3.149", 4 * time.Minute, core.Fail, core.OnTime},
		{"below the least B", "osha", core.InH2O, "1.9", "1.9", 3 * time.Minute, core.NoVerdict, core.StartOutside},
		{"begun far too low", "en943", core.Mbar, "2.0", "0.0", 6 * time.Minute, core.NoVerdict, core.StartOutside},
		{"nothing written", "en943", core.Mbar, "", "", 6 * time.Minute, core.NoVerdict, core.StartOutside},
		{"no end written", "en943", core.Mbar, "16.5", "", 6 * time.Minute, core.NoVerdict, core.StartOutside},
	} {
		var start, end core.Written
		if tt.start != "" {
			start = write(t, tt.start, tt.unit)
		}
		if tt.end != "" {
			end = write(t, tt.end, tt.unit)
		}
		outcome, reason := method(t, tt.method).JudgePaper(start, end, tt.took)
		if outcome != tt.outcome || reason != tt.reason {
			t.Errorf("%s: %s, %s; want %s, %s", tt.name, outcome, reason, tt.outcome, tt.reason)
		}
	}
}
