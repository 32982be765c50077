package core_test

import (
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"benchbell/core"
	"benchbell/core/estimate"
)

// TestRunForecast forecasts runs as they are read. The second is worked by
// hand: 16.5 and, two minutes on, 15.2 mbar lead to 1260 Pa by a line, to
// 1290 Pa by an exponential, 1650·(1520/1650)³, and to 1276 Pa with roots that
// fall linearly, (3·√1520 - 2·√1650)²: 3.6 or 3.74 mbar are lost. A reading is
// known to √(2.89² + 2.5²) = 3.8 Pa, from the step of 0.1 mbar and from a look
// 0 to 8 s before its post, while 1.3 mbar are lost in two minutes; the start
// besides to 2/7·100/√27 = 5.5 Pa, for the air's cooling, so 6.7 Pa. In two minutes
// the pressure wanders by 4·√2 Pa. Three times the reading, twice the start,
// twice what it wandered, once what it will in four minutes, and the reading at
// the bell, √(2.89² + 1.9²), make 23 Pa, and ± 0.44 mbar.
func TestRunForecast(t *testing.T) {
	for _, tt := range []struct {
		manometer string
		method    string
		start     string
		readings  []string // a minute apart; empty is none
		want      string   // "drop ± half", in the method's unit
		beyond    string   // in per cent
	}{
		{"M-5", "en943", "16.5", nil, "none", ""},
		{"M-5", "en943", "16.5", []string{"", "15.2"}, "3.7 ± 0.4", "100"},
		{"M-5", "en943", "16.5", []string{"15.8"}, "3.9 ± 0.8", "99"},
		{"M-5", "en943", "16.5", []string{"16.5"}, "0.3 ± 0.5", "0"},
		{"M-5", "en943", "16.5", []string{"16.0", "15.5", "15.0"}, "2.9 ± 0.3", "29"},
		{"M-1", "en943", "16.5", []string{"16.0", "15.5", "15.0"}, "2.9 ± 0.3", "29"},
		{"M-1", "en943", "16.50", []string{"16.00", "15.51", "15.03"}, "2.87 ± 0.22", "12"},
		{"M-2", "f1052", "100", []string{"95.0", "90.3"}, "18.9 ± 2.2", "16"},
		{"M-3", "osha", "4.2", []string{"3.90", "3.62"}, "0.86 ± 0.06", "75"},
	} {
		s := newScene(t)
		s.opens(newSuit(t, "HP-07"), tt.method, tt.manometer)
		s.expands()
		if f, ok := s.run.Forecast(); ok {
			t.Errorf("before the hold: %+v", f)
		}
		s.reads(tt.start)
		for _, words := range tt.readings {
			s.waits(time.Minute)
			if words != "" {
				s.reads(words)
			}
		}
		got, beyond := "none", ""
		if f, ok := s.run.Forecast(); ok {
			_, decimals, _ := strings.Cut(tt.want[strings.Index(tt.want, "±"):], ".")
			in := func(p float64) string { return core.FromPascals(p).Fixed(s.run.Method.Unit, len(decimals)) }
			got = in(f.Drop.Value) + " ± " + in(f.Drop.Half())
			beyond = fmt.Sprintf("%.0f", 100*f.Beyond)
		}
		if got != tt.want || beyond != tt.beyond {
			t.Errorf("%s from %s, %q: %s, beyond %s %%; want %s, %s %%", tt.method, tt.start, tt.readings, got, beyond, tt.want, tt.beyond)
		}
	}
}

// TestRunForecastEnds: a run that is judged has nothing to forecast, but its
// course is still there, with the readings in the order of their moments.
func TestRunForecastEnds(t *testing.T) {
	s := newScene(t)
	s.holds(newSuit(t, "HP-07"), "en943", "M-5", "16.5")
	if _, ok := s.run.Course(); !ok {
		t.Error("a hold has no course")
	}
	s.waits(3 * time.Minute)
	s.reads("14.6")
	s.does(stated("15.2", 2*time.Minute))
	s.waits(5 * time.Minute)
	s.reads("13.0") // the straight line from 14.6 was at 13.64 at the bell
	if o, why := s.verdict(); o != core.NoVerdict || why != core.LateBeyond {
		t.Fatalf("the verdict is %s, %s", o, why)
	}
	if f, ok := s.run.Forecast(); ok {
		t.Errorf("after the verdict: %+v", f)
	}
	c, ok := s.run.Course()
	if !ok {
		t.Fatal("the course is gone")
	}
	// A look is 4 ± 4 s before its post, and the start's as well; a stated moment
	// counts from the start's post and is known to ± 5 s. Who is called by the bell
	// looks 3 s around it.
	u, root3 := 10/math.Sqrt(12), math.Sqrt(3)
	want := estimate.Hold{
		Samples: []estimate.Sample{
			{T: 0, P: 1650, UT: 4 / root3, UP: math.Hypot(u, 2./7*100/math.Sqrt(27))},
			{T: 124, P: 1520, UT: 5 / root3, UP: u},
			{T: 180, P: 1460, UT: 4 / root3, UP: u},
			{T: 480, P: 1300, UT: 4 / root3, UP: u},
		},
		Bell: 360, Ending: estimate.Sample{T: 364, UT: 3 / root3, UP: u},
		Lowest: 1350, Wander: 4 / math.Sqrt(60),
	}
	if fmt.Sprintf("%.6f", c) != fmt.Sprintf("%.6f", want) {
		t.Errorf("the course is %+v, want %+v", c, want)
	}
	if _, ok := (core.Run{}).Course(); ok {
		t.Error("no run has a course")
	}
}

// TestCourseDigits: a reading is as good as the manometer's step, and as the
// last digit that was written in any of them.
func TestCourseDigits(t *testing.T) {
	for _, tt := range []struct {
		manometer string
		readings  []string
		step      float64 // Pa
	}{
		{"M-1", []string{"16.5", "16.2"}, 10},
		{"M-1", []string{"16.5", "16.25"}, 1},
		{"M-1", []string{"16.50", "16.2"}, 1},
		{"M-1", []string{"16.5", "1620 Pa"}, 1},
		{"M-5", []string{"16.50", "16.25"}, 10},
		{"M-5", []string{"16.5", "16"}, 10},
		{"M-2", []string{"168", "165"}, 9.80665},
		{"M-6", []string{"6.625", "6.50"}, 0.25 * 249.08891},
	} {
		s := newScene(t)
		s.opens(newSuit(t, "HP-07"), "en943", tt.manometer)
		s.does(core.Tick{All: true})
		s.reads("1750 Pa")
		s.waits(10 * time.Minute)
		for _, words := range tt.readings {
			s.reads(words)
			s.waits(time.Minute)
		}
		c, ok := s.run.Course()
		if !ok || len(c.Samples) != len(tt.readings) {
			t.Errorf("%s, %q: %+v, %v", tt.manometer, tt.readings, c, ok)
			continue
		}
		for _, sample := range append(c.Samples[1:], c.Ending) {
			relative(t, fmt.Sprint(tt.manometer, tt.readings), sample.UP, tt.step/math.Sqrt(12), 1e-9)
		}
		// The air has not settled at the start.
		relative(t, fmt.Sprint(tt.manometer, tt.readings), c.Samples[0].UP, math.Hypot(tt.step/math.Sqrt(12), 2./7*100/math.Sqrt(27)), 1e-9)
	}
}
