package core_test

import (
	"math"
	"testing"

	"benchbell/core"
	"benchbell/core/estimate"
)

// TestEffectiveVolume: two litres added at 101 325 Pa that raise the pressure
// by 120 Pa make Veff = 101325·0.002/120 = 1.68875 m³. Its uncertainty by hand:
// 2 %/√3 = 1.1547 % of the volume, 10 Pa/√6 = 4.0825 Pa of 120 Pa = 3.4021 %;
// together 3.5927 %, 0.060672 m³. The facts behind: domain of ideal gases, at
// the room's temperature.
func TestEffectiveVolume(t *testing.T) {
	c := core.Capacity{Litres: "2", From: core.MustWrite("15.0", core.Mbar), To: core.MustWrite("16.2", core.Mbar)}
	effective := c.EffectiveVolume(estimate.Atmosphere)
	v, u := effective.Value, effective.U
	if math.Abs(v-1.68875) > 1e-9 || math.Abs(u-0.060672) > 1e-6 {
		t.Errorf("%.6f ± %.6f m³, want 1.688750 ± 0.060672", v, u)
	}
	// A finer manometer leaves the volume as it is and makes it surer.
	fine := core.Capacity{Litres: "2", From: core.MustWrite("15.00", core.Mbar), To: core.MustWrite("16.20", core.Mbar)}
	if e := fine.EffectiveVolume(estimate.Atmosphere); e.Value != v || e.U >= u {
		t.Errorf("with hundredths %+v m³", e)
	}
}

// TestWhatItLost: what the suit lost by itself is added to the rise, and the
// room is that of the measurement. 120 Pa and 30 make 95 000·0.002/150 m³; its u
// is 1.1547 % and √(4.0825² + 10²) of 150 Pa, 7.2008 %: together 7.2928 %.
func TestWhatItLost(t *testing.T) {
	c := twoLitres(t)
	c.Fell, c.FellU, c.Room = 30*core.Pascal, 10*core.Pascal, core.MustWrite("950", core.HPa)
	e := c.EffectiveVolume(estimate.Atmosphere)
	agrees(t, "effective volume", e.Value, 1.266667, 1e-6)
	agrees(t, "its u", e.U/e.Value, 0.072928, 1e-6)
}

func TestParseVolume(t *testing.T) {
	for text, want := range map[string]core.Volume{
		"400":             {Litres: "400"},
		"412,5 L":         {Litres: "412.5"},
		"50.0 litres":     {Litres: "50.0"},
		"2000l":           {Litres: "2000"},
		"400 ± 20 L":      {Litres: "400", Off: "20"},
		"400±20":          {Litres: "400", Off: "20"},
		"400 +/- 20,5":    {Litres: "400", Off: "20.5"},
		"0.4":             {},
		"0.4 m3":          {},
		"400 gal":         {},
		"-400":            {},
		"400 ± 400":       {},
		"400 ± 5 %":       {},
		"49.9":            {},
		"2000.1":          {},
		"":                {},
		"400 ± 20 ± 3":    {},
		"99999999999 999": {},
	} {
		got, err := core.ParseVolume(text)
		if got != want || (err == nil) != !want.IsZero() {
			t.Errorf("%q: %+v, %v", text, got, err)
		}
		if again, err := core.ParseVolume(got.String()); again != got || (err == nil) != !got.IsZero() {
			t.Errorf("%q is written %q, read as %+v, %v", text, got, again, err)
		}
	}
}

func TestCapacityPlausible(t *testing.T) {
	for _, tt := range []struct {
		litres, from, to string
		want             bool
	}{
		{"2", "15.0", "16.2", true},
		{"2", "16.2", "15.0", false},  // it fell
		{"2", "15.0", "15.0", false},  // nothing happened
		{"2", "15.0", "15.1", false},  // one count: nobody can tell
		{"0", "15.0", "16.2", false},  // no air
		{"99", "15.0", "16.2", false}, // 84 m³
		{"x", "15.0", "16.2", false},
	} {
		c := core.Capacity{Litres: tt.litres, From: core.MustWrite(tt.from, core.Mbar), To: core.MustWrite(tt.to, core.Mbar)}
		if got := c.Plausible(); got != tt.want {
			t.Errorf("%s L, %s → %s mbar: plausible %t, want %t", tt.litres, tt.from, tt.to, got, tt.want)
		}
	}
}
