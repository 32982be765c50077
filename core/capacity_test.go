package core_test

import (
	"math"
	"testing"

	"benchbell/core"
)

// TestEffectiveVolume: two litres added at 101 325 Pa that raise the pressure
// by 120 Pa make Veff = 101325·0.002/120 = 1.68875 m³. Its uncertainty by hand:
// 2 %/√3 = 1.1547 % of the volume, 10 Pa/√6 = 4.0825 Pa of 120 Pa = 3.4021 %;
// together 3.5927 %, 0.060672 m³. The facts behind: domain of ideal gases, at
// the room's temperature.
func TestEffectiveVolume(t *testing.T) {
	c := core.Capacity{Litres: "2", From: core.MustWrite("15.0", core.Mbar), To: core.MustWrite("16.2", core.Mbar)}
	v, u := c.EffectiveVolume(core.Atmosphere)
	if math.Abs(v-1.68875) > 1e-9 || math.Abs(u-0.060672) > 1e-6 {
		t.Errorf("%.6f ± %.6f m³, want 1.688750 ± 0.060672", v, u)
	}
	// A finer manometer leaves the volume as it is and makes it surer.
	fine := core.Capacity{Litres: "2", From: core.MustWrite("15.00", core.Mbar), To: core.MustWrite("16.20", core.Mbar)}
	if v2, u2 := fine.EffectiveVolume(core.Atmosphere); v2 != v || u2 >= u {
		t.Errorf("with hundredths %.6f ± %.6f m³", v2, u2)
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
