package chart

import (
	"math"
	"strings"
	"testing"
	"time"

	"gonum.org/v1/plot"
	"gonum.org/v1/plot/vg"

	"benchbell/core"
)

func labels(ticks plot.ConstantTicks) string {
	var s []string
	for _, t := range ticks {
		s = append(s, t.Label)
	}
	return strings.Join(s, " ")
}

func TestMinuteTicks(t *testing.T) {
	for _, c := range []struct {
		minutes float64
		want    string
	}{
		{6.78, "0 1 2 3 4 5 6"}, // the hold of EN 943-1
		{4.52, "0 1 2 3 4"},     // of ASTM F1052
		{3.39, "0 1 2 3"},       // of 29 CFR 1910.120 App A
		{2, "0 1 2"},            // by a whole minute from here on
		{1.13, "0.0 0.5 1.0"},
		{9, "0 2 4 6 8"},
		{33.9, "0 5 10 15 20 25 30"},
		{67.8, "0 10 20 30 40 50 60"},
		{271, "0 60 120 180 240"}, // the longest hold that a method may have
		{1e7, "0 2e+06 4e+06 6e+06 8e+06 1e+07"},
	} {
		if got := labels(minuteTicks(c.minutes)); got != c.want {
			t.Errorf("%v minutes: %s, want %s", c.minutes, got, c.want)
		}
	}
}

func TestLevelTicks(t *testing.T) {
	for _, c := range []struct {
		low, high float64
		want      string
	}{
		{12.8, 17, "13 14 15 16"}, // 17 would be too close to the unit
		{75.1, 103, "80 85 90 95 100"},
		{3.06, 4.18, "3.2 3.4 3.6 3.8 4.0"},
		{-1.2, 1.2, "-1.0 -0.5 0.0 0.5 1.0"},
		{0, 230, "0 50 100 150 200"},
		{0, 0.0007, "0.0000 0.0002 0.0004 0.0006"},
		{-40, 120, "0 50 100"},
		{0, 9.2e9, "0 2e+09 4e+09 6e+09 8e+09"},
	} {
		if got := labels(levelTicks(c.low, c.high)); got != c.want {
			t.Errorf("%v to %v: %s, want %s", c.low, c.high, got, c.want)
		}
	}
}

func TestDayTicks(t *testing.T) {
	epoch := core.Date{Year: 2023, Month: time.March, Day: 6}
	for _, c := range []struct {
		low, high float64
		want      string
	}{
		{-30, 3 * 365, "2024 2025 2026"},
		{-30, 12 * 365, "2024 2026 2028 2030 2032 2034"},
		{-200, 60 * 365, "2030 2040 2050 2060 2070 2080"},
		{-30, 700, "2024 2025"},
		{-30, 600, "2023-07 2024-01 2024-07"},
		{-30, 60, "2023-03 2023-04 2023-05"},
		{-30, 7900 * 365, "4000 6000 8000"},
	} {
		if got := labels(dayTicks(epoch, c.low, c.high)); got != c.want {
			t.Errorf("day %v to %v: %s, want %s", c.low, c.high, got, c.want)
		}
	}
}

// TestTicksAreFew: whatever an axis spans, its labels leave room between them.
func TestTicksAreFew(t *testing.T) {
	const along, up vg.Length = 310, 150
	for span := 1e-6; span < 1e12; span *= 1.07 {
		for _, low := range []float64{0, -span / 3, 16.5, 80} {
			if ticks := levelTicks(low, low+span); vg.Length(len(ticks)) > up/(small+4) {
				t.Errorf("%v to %v: %s", low, low+span, labels(ticks))
			}
		}
		checkRoom(t, minuteTicks(span), 0, span, along)
		if days := math.Round(span); days >= 90 && days < 365*5000 {
			checkRoom(t, dayTicks(core.Date{Year: 2019, Month: time.May, Day: 17}, 0, days), 0, days, along)
		}
	}
}

func checkRoom(t *testing.T, ticks plot.ConstantTicks, low, high float64, room vg.Length) {
	t.Helper()
	if len(ticks) < 2 {
		t.Errorf("%v to %v: %q is too few", low, high, labels(ticks))
	}
	end := vg.Length(math.Inf(-1))
	for _, tick := range ticks {
		wide := measure(sans(small), tick.Label)
		middle := room * vg.Length((tick.Value-low)/(high-low))
		if middle-wide/2 < end+2 {
			t.Errorf("%v to %v: %s are too close", low, high, labels(ticks))
			return
		}
		end = middle + wide/2
	}
}
