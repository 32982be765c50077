package core_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"

	"benchbell/core"
	"benchbell/core/estimate"
)

// exactly is a value that is known without doubt.
func exactly(v float64) estimate.Estimate { return estimate.Estimate{Value: v, Low: v, High: v} }

// givesBy is the give by two volumes known without doubt.
func givesBy(free, effective float64) core.Give {
	return estimate.ShareOf(exactly(free), exactly(effective))
}

// TestAirEffect holds the change that the air makes to the gas law, worked by
// hand: (101 325 + 1650) Pa / 293.15 K is 351.2707 Pa for each kelvin.
func TestAirEffect(t *testing.T) {
	const start = 1650 * core.Pascal
	baro := func(digits string) core.Written { return write(t, digits, core.HPa) }
	rigid, soft := givesBy(1, 1), givesBy(1, 4)
	measured := givesBy(0.4, 1.63570) // C = 1.2e-5 m³/Pa at 102 975 Pa
	agrees(t, "k", 1/measured.Low-1, 3.08925, 1e-5)
	for _, tt := range []struct {
		name          string
		before, after core.Surroundings
		give          core.Give
		low, high     float64
		tol           float64
	}{
		{"nothing known", core.Surroundings{}, core.Surroundings{}, core.Give{}, 0, 0, 0},
		{"nothing changed", core.Surroundings{Celsius: "20.0"}, core.Surroundings{Celsius: "20.0"}, core.Give{}, 0, 0, 0},
		{"a kelvin up", core.Surroundings{Celsius: "20.0"}, core.Surroundings{Celsius: "21.0"}, core.Give{}, 0, 351.2707, 1e-3},
		{"a kelvin down", core.Surroundings{Celsius: "20.0"}, core.Surroundings{Celsius: "19.0"}, core.Give{}, -351.2707, 0, 1e-3},
		{"a kelvin up, rigid", core.Surroundings{Celsius: "20"}, core.Surroundings{Celsius: "21"}, rigid, 351.2707, 351.2707, 1e-3},
		{"a kelvin up, k of 3", core.Surroundings{Celsius: "20"}, core.Surroundings{Celsius: "21"}, soft, 87.8177, 87.8177, 1e-3},
		{"what equals 300 Pa", core.Surroundings{Celsius: "20"}, core.Surroundings{Celsius: "19.14596"}, rigid, -300, -300, 4e-3},
		{"a kelvin up, measured", core.Surroundings{Celsius: "20"}, core.Surroundings{Celsius: "21"}, measured, 85.9010, 85.9010, 1e-3},
		{"below zero", core.Surroundings{Celsius: "-5.5"}, core.Surroundings{Celsius: "-4.5"}, rigid, 384.7375, 384.7375, 1e-3}, // 102 975/267.65
		// The barometer falls by 1 hPa, and the gauge pressure rises by 100 Pa.
		{"barometer down", core.Surroundings{Baro: baro("1013")}, core.Surroundings{Baro: baro("1012")}, core.Give{}, 0, 100, 1e-9},
		{"barometer up", core.Surroundings{Baro: baro("1013")}, core.Surroundings{Baro: baro("1014")}, core.Give{}, -100, 0, 1e-9},
		{"barometer down, k of 3", core.Surroundings{Baro: baro("1013.25")}, core.Surroundings{Baro: baro("1012.25")}, soft, 25, 25, 1e-9},
		// 800 hPa on a mountain: (80 000 + 1650)/293.15 = 278.5263; less 50.
		{"both, high up", core.Surroundings{Celsius: "20", Baro: baro("800")}, core.Surroundings{Celsius: "21", Baro: baro("800.5")}, rigid, 228.5263, 228.5263, 1e-3},
		// What was read once did not change, but the barometer is used.
		{"thermometer read once", core.Surroundings{Celsius: "20"}, core.Surroundings{}, core.Give{}, 0, 0, 0},
		{"barometer read once, after", core.Surroundings{Celsius: "20"}, core.Surroundings{Celsius: "21", Baro: baro("800")}, rigid, 278.5263, 278.5263, 1e-3},
		{"no temperature at all", core.Surroundings{Celsius: "warm"}, core.Surroundings{Celsius: "21"}, rigid, 0, 0, 0},
		{"colder than can be", core.Surroundings{Celsius: "-300"}, core.Surroundings{Celsius: "21"}, rigid, 0, 0, 0},
		{"absolute zero", core.Surroundings{Celsius: "-273.15"}, core.Surroundings{Celsius: "21"}, rigid, 0, 0, 0},
		{"no number of ours", core.Surroundings{Celsius: "1e1"}, core.Surroundings{Celsius: "21"}, rigid, 0, 0, 0},
	} {
		got := core.AirEffect(tt.before, tt.after, start, tt.give)
		agrees(t, tt.name+": low", got.Low, tt.low, tt.tol)
		agrees(t, tt.name+": high", got.High, tt.high, tt.tol)
	}
}

// TestGiveOf: what no suit can be is not known.
func TestGiveOf(t *testing.T) {
	for _, tt := range []struct{ free, effective float64 }{
		{0, 0}, {0, 1.6}, {0.4, 0}, {0.4, 0.39}, {-0.4, 1.6}, {0.4, -1.6}, {math.NaN(), 1}, {1, math.NaN()}, {0.4, math.Inf(1)}, {5e-324, 1e300},
	} {
		if g := givesBy(tt.free, tt.effective); g != (core.Give{}) {
			t.Errorf("%v free and %v effective give %+v", tt.free, tt.effective, g)
		}
	}
	if g := givesBy(0.4, 0.4); g != (core.Give{Low: 1, High: 1}) {
		t.Errorf("a rigid vessel gives %+v", g)
	}
}

// TestGiveOfASuit: 400 L and 1.68875 ± 0.121344 m³ (see TestEffectiveVolume),
// by hand. The share is at least 0.36/1.810094 = 0.198885 and at most
// 0.44/1.567406 = 0.280719 with the ± 10 % of ours.
func TestGiveOfASuit(t *testing.T) {
	suit := newSuit(t, "HP-07")
	suit.Capacity = twoLitres(t)
	for _, tt := range []struct {
		name      string
		volume    core.Volume
		at        string // mbar
		low, high float64
	}{
		{"± 10 %", core.Volume{Litres: "400"}, "16.5", 0.198885, 0.280719},
		{"± 20 L", core.Volume{Litres: "400", Off: "20"}, "16.5", 0.209934, 0.267959},
		{"almost stiff", core.Volume{Litres: "1600"}, "16.5", 0.795539, 1},
		{"more than it can be", core.Volume{Litres: "2000", Off: "100"}, "16.5", 0, 0},
		{"no volume", core.Volume{}, "16.5", 0, 0},
		// 15.6 mbar in the middle are three quarters of 20.8.
		{"measured just high enough", core.Volume{Litres: "400"}, "20.8", 0.198885, 0.280719},
		{"measured too low", core.Volume{Litres: "400"}, "20.9", 0, 0},
		{"measured higher", core.Volume{Litres: "400"}, "9.8", 0.198885, 0.280719},
	} {
		suit.Volume = tt.volume
		g := suit.GiveAt(write(t, tt.at, core.Mbar).Pressure(), estimate.Atmosphere)
		agrees(t, tt.name+": low", g.Low, tt.low, 2e-6)
		agrees(t, tt.name+": high", g.High, tt.high, 2e-6)
		if g.Known() != (tt.high > 0) {
			t.Errorf("%s: known is %t", tt.name, g.Known())
		}
	}
	suit.Volume, suit.Capacity = core.Volume{Litres: "400"}, core.Capacity{}
	if g := suit.GiveAt(1650*core.Pascal, estimate.Atmosphere); g.Known() {
		t.Errorf("without a capacity it is %+v", g)
	}

	// Both ends of the share are both ends of the effect, each on its side: half
	// a kelvin up and down, 175.635 Pa in a stiff suit at 1650 Pa.
	suit.Capacity = twoLitres(t)
	g := suit.GiveAt(1650*core.Pascal, estimate.Atmosphere)
	half := func(celsius string) core.AirChange {
		return core.AirEffect(core.Surroundings{Celsius: "20.0"}, core.Surroundings{Celsius: celsius}, 1650*core.Pascal, g)
	}
	agrees(t, "up, low", half("20.5").Low, 34.9312, 1e-3)
	agrees(t, "up, high", half("20.5").High, 49.3042, 1e-3)
	agrees(t, "down, low", half("19.5").Low, -49.3042, 1e-3)
	agrees(t, "down, high", half("19.5").High, -34.9312, 1e-3)
}

// TestCouldCause: a fail may be the air's doing if the air can have made up for
// what is beyond the limit; just that is enough, and a pass is none.
func TestCouldCause(t *testing.T) {
	m := method(t, "en943")
	start := write(t, "16.5", core.Mbar).Pressure()
	for _, tt := range []struct {
		end  string
		low  float64
		want bool
	}{
		{"13.4", -9.999, false},
		{"13.4", -10, true},
		{"13.4", -500, true},
		{"13.4", 0, false},
		{"13.4", 50, false},
		{"13.4", math.Inf(-1), true},
		{"13.4", math.NaN(), false},
		{"13.5", -50, false},
	} {
		change := core.AirChange{Low: tt.low}
		if got := change.CouldCause(m.Limit, start, write(t, tt.end, core.Mbar).Pressure()); got != tt.want {
			t.Errorf("16.5 to %s mbar, lowered by %v Pa: %t", tt.end, -tt.low, got)
		}
	}
}

// TestCouldHide: a pass is in doubt if the air may have made up for more than
// its margin; just for the margin it does not matter, and a fail stays one.
func TestCouldHide(t *testing.T) {
	up := func(kelvin string, g core.Give) core.AirChange {
		return core.AirEffect(core.Surroundings{Celsius: "20.0"}, core.Surroundings{Celsius: kelvin}, 1650*core.Pascal, g)
	}
	baro := func(after string) core.AirChange {
		return core.AirEffect(core.Surroundings{Baro: write(t, "1013.00", core.HPa)}, core.Surroundings{Baro: write(t, after, core.HPa)}, 1650*core.Pascal, core.Give{})
	}
	for _, tt := range []struct {
		name   string
		method string
		start  string
		end    string
		change core.AirChange
		want   bool
	}{
		{"35 Pa of a margin of 50", "en943", "16.5", "14.0", up("20.1", core.Give{}), false},
		{"70 Pa of a margin of 50", "en943", "16.5", "14.0", up("20.2", core.Give{}), true},
		{"17 Pa in a soft suit", "en943", "16.5", "14.0", up("20.2", givesBy(1, 4)), false},
		{"colder", "en943", "16.5", "14.0", up("10.0", core.Give{}), false},
		{"nothing changed, at the limit", "en943", "16.5", "13.5", up("20.0", core.Give{}), false},
		{"anything, at the limit", "en943", "16.5", "13.5", up("20.1", core.Give{}), true},
		{"just the margin", "en943", "16.5", "14.5", baro("1012.00"), false},
		{"a pascal more", "en943", "16.5", "14.5", baro("1011.99"), true},
		{"half a pascal, at the limit", "en943", "16.5", "13.5", baro("1012.995"), true},
		{"a fail", "en943", "16.5", "13.4", up("30.0", core.Give{}), false},
		{"a fail in a cold wind", "en943", "16.5", "13.4", up("10.0", core.Give{}), false},
		{"without bound", "en943", "16.5", "16.5", core.AirChange{High: math.Inf(1)}, true},
		{"no number", "en943", "16.5", "16.5", core.AirChange{High: math.NaN()}, false},
		// 5 mm are 49 Pa, 0.1 K are 35: the margin of a floor and of a ratio.
		{"a floor", "f1052", "100", "85", up("20.1", core.Give{}), false},
		{"a floor", "f1052", "100", "85", up("20.2", core.Give{}), true},
		{"a ratio", "osha", "4.00", "3.40", up("20.1", core.Give{}), false}, // 50 Pa
		{"a ratio", "osha", "4.00", "3.40", up("20.2", core.Give{}), true},
	} {
		m := method(t, tt.method)
		start, end := write(t, tt.start, m.Unit).Pressure(), write(t, tt.end, m.Unit).Pressure()
		if got := tt.change.CouldHide(m.Limit, start, end); got != tt.want {
			t.Errorf("%s, %s: %s to %s with up to %.1f Pa: %v, want %v", tt.method, tt.name, tt.start, tt.end, tt.change.High, got, tt.want)
		}
	}
}

// TestAirBounds: whatever the give, the change is between that of a limp suit
// and that of a rigid one, and the way back undoes it.
func TestAirBounds(t *testing.T) {
	rng := rand.New(rand.NewPCG(20, 22))
	surroundings := func() core.Surroundings {
		return core.Surroundings{
			Celsius: fmt.Sprintf("%.2f", 50*rng.Float64()-10),
			Baro:    write(t, fmt.Sprintf("%.2f", 950+100*rng.Float64()), core.HPa),
		}
	}
	for range 2000 {
		before, after := surroundings(), surroundings()
		gauge := core.Pressure(rng.IntN(2000)) * core.Pascal
		give := givesBy(0.4, 0.4+2*rng.Float64())
		bounds, known := core.AirEffect(before, after, gauge, core.Give{}), core.AirEffect(before, after, gauge, give)
		if known.Low != known.High || known.Low < bounds.Low || known.High > bounds.High || bounds.Low > 0 || bounds.High < 0 {
			t.Fatalf("%+v to %+v: %+v is not within %+v", before, after, known, bounds)
		}
		there := core.AirEffect(before, after, gauge, givesBy(1, 1)).High
		back := core.AirEffect(after, before, gauge+core.Pressure(there*float64(core.Pascal)), givesBy(1, 1)).High
		agrees(t, "there and back", there+back, 0, 1e-3)
	}
}

// TestAirComponents: only the rounding of the instruments counts. Two readings
// to 0.1 °C differ by u = 0.1/√6 K, at 351.2707 Pa/K; two to 1 hPa by
// 100/√6 Pa. A give that is not known lets anything from none of it to all of
// it through, in the mean of squares a third. None of it is the drop's.
func TestAirComponents(t *testing.T) {
	air := func(b estimate.Budget, o string) float64 {
		return component(t, estimate.Budget{Components: b.Air}, o)
	}
	e := evidence(method(t, "en943"), showing(t, "0.01", "", core.Mbar), write(t, "16.50", core.Mbar), write(t, "14.00", core.Mbar))
	unread := budget(t, e)
	e.Before = core.Surroundings{Celsius: "20.0", Baro: write(t, "1013.25", core.HPa)}
	e.After = core.Surroundings{Celsius: "21", Baro: write(t, "1013", core.HPa)}
	thermometer := 351.2707 * math.Hypot(0.1, 1) / math.Sqrt(12)
	barometer := math.Hypot(1, 100) / math.Sqrt(12)
	for _, tt := range []struct {
		give   core.Give
		factor float64
	}{{core.Give{}, 1 / math.Sqrt(3)}, {givesBy(1, 1), 1}, {givesBy(1, 4), 0.25}} {
		e.Give = tt.give
		b := budget(t, e)
		agrees(t, "thermometer", air(b, core.AirTemperature), tt.factor*thermometer, 1e-3)
		agrees(t, "barometer", air(b, core.AirPressure), tt.factor*barometer, 1e-3)
		agrees(t, "U of the air", b.AirExpanded(), 2*tt.factor*math.Hypot(thermometer, barometer), 1e-2)
		agrees(t, "u with the air", b.CombinedWithAir(), math.Hypot(b.Combined(), tt.factor*math.Hypot(thermometer, barometer)), 1e-3)
		agrees(t, "u without it", b.Combined(), unread.Combined(), 1e-12)
		if want := []string{core.PermissibleError}; !slices.Equal(b.LeftOut, want) {
			t.Errorf("left out are %q, want %q", b.LeftOut, want)
		}
	}
	// A barometer read once, at 800 hPa, says how much air there is: it is
	// 81 650/293.15 = 278.5263 Pa/K. It does not say what it changed by.
	e.Before.Baro, e.After.Baro = core.Written{}, write(t, "800", core.HPa)
	b := budget(t, e)
	agrees(t, "thermometer high up", air(b, core.AirTemperature), 0.25*278.5263*math.Hypot(0.1, 1)/math.Sqrt(12), 1e-3)
	agrees(t, "barometer read once", air(b, core.RoomPressure), 0.25*30/math.Sqrt(3), 1e-9)

	// What was not read, or showed nothing in whole degrees and hectopascals, is
	// what a quiet room allows: 0.3 K and 0.3 hPa, either way.
	rigid := givesBy(1, 1)
	for name, tt := range map[string]struct{ before, after core.Surroundings }{
		"not read":  {},
		"read once": {core.Surroundings{Celsius: "20.0", Baro: write(t, "1013.2", core.HPa)}, core.Surroundings{}},
		"coarse": {
			core.Surroundings{Celsius: "20", Baro: write(t, "1013", core.HPa)},
			core.Surroundings{Celsius: "20", Baro: write(t, "1013", core.HPa)},
		},
	} {
		e.Give, e.Before, e.After = rigid, tt.before, tt.after
		b := budget(t, e)
		agrees(t, name+": temperature", air(b, core.RoomTemperature), 351.2*0.3/math.Sqrt(3), 0.2)
		agrees(t, name+": barometer", air(b, core.RoomPressure), 30/math.Sqrt(3), 1e-9)
	}
	// In tenths, no change is one of u = 0.1/√6 K and of 10/√6 Pa.
	fine := core.Surroundings{Celsius: "20.0", Baro: write(t, "1013.2", core.HPa)}
	e.Before, e.After = fine, fine
	b = budget(t, e)
	agrees(t, "temperature in tenths", air(b, core.AirTemperature), 351.2707*0.1/math.Sqrt(6), 0.02)
	agrees(t, "barometer in tenths", air(b, core.AirPressure), 10/math.Sqrt(6), 1e-9)
}

// TestAirOfARepeatedTest: what was read of the air before a hold was begun again
// counts for the new one if it is within two minutes of its start. Half a kelvin
// up hides more than the half millibar that is left of the limit.
func TestAirOfARepeatedTest(t *testing.T) {
	for _, tt := range []struct {
		before time.Duration // of the new start
		reason core.Reason
	}{
		{2 * time.Minute, core.AirHides},
		{2*time.Minute + 1, core.OnTime},
	} {
		s := newScene(t)
		s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.5")
		s.does(core.Air{Celsius: "10.0"})
		s.waits(6 * time.Minute)
		s.reads("16.9")
		if _, reason := s.verdict(); reason != core.Rise {
			t.Fatalf("the verdict is %s", reason)
		}
		s.does(core.Repeat{})
		s.inflates()
		s.waits(10 * time.Minute)
		s.does(core.Air{Celsius: "20.0"})
		s.reads("16.5")
		s.waits(time.Minute)
		s.does(core.Repeat{Why: "bumped"})
		s.waits(tt.before - time.Minute)
		s.reads("16.5")
		s.waits(6 * time.Minute)
		s.does(core.Air{Celsius: "20.5"})
		s.reads("14.0")
		if _, reason := s.verdict(); reason != tt.reason {
			t.Errorf("half a kelvin up, read %v before: %s, want %s", tt.before, reason, tt.reason)
		}
	}
}

func TestAmbient(t *testing.T) {
	for _, tt := range []struct {
		around core.Surroundings
		want   estimate.Ambient
	}{
		{core.Surroundings{}, estimate.Ambient{Temperature: 293.15, Barometer: 101325}},
		{core.Surroundings{Celsius: "-5.5"}, estimate.Ambient{Temperature: 267.65, Barometer: 101325}},
		{core.Surroundings{Celsius: "21", Baro: core.MustWrite("987", core.HPa)}, estimate.Ambient{Temperature: 294.15, Barometer: 98700}},
		{core.Surroundings{Celsius: "warm", Baro: core.MustWrite("760", core.MmHg)}, estimate.Ambient{Temperature: 293.15, Barometer: 760 * 133.322387415}},
	} {
		got := tt.around.Ambient()
		agrees(t, "kelvins", got.Temperature, tt.want.Temperature, 1e-9)
		agrees(t, "pascals", got.Barometer, tt.want.Barometer, 1e-6)
	}
}
