package core_test

import (
	"testing"
	"time"

	"benchbell/core"
)

// TestQuestion: a number that does not fit is asked about. Answered within two
// minutes, it is true in a hold at the moment of the doubted post.
func TestQuestion(t *testing.T) {
	for _, tt := range []struct {
		name   string
		answer func(s *scene) core.Intent
		taken  core.Written
	}{
		{"yes", func(*scene) core.Intent { return core.Yes{} }, write(t, "1360", core.Pa)},
		{"ok", func(*scene) core.Intent { return core.Tick{} }, write(t, "1360", core.Pa)},
		{"the unit said", func(*scene) core.Intent { return readIn("1360", core.Pa) }, write(t, "1360", core.Pa)},
		{"fixed", func(*scene) core.Intent { return core.Fix{Digits: "13.6"} }, write(t, "13.6", core.Mbar)},
		{"fixed with its unit", func(*scene) core.Intent { return core.Fix{Digits: "1361", Unit: core.Pa} }, write(t, "1361", core.Pa)},
		{"edited", func(s *scene) core.Intent { return core.Amend{Post: s.run.Asked.Reading.Post, Read: read("13.6")} }, write(t, "13.6", core.Mbar)},
	} {
		s := places["hold"](t)                                                                   // a minute into it
		s.plays([]step{{5*time.Minute + 20*time.Second, read("1360"), "Questioned", core.Hold}}) // 20 s after the bell
		if q := s.run.Asked; q == nil || q.Perhaps != core.Pa {
			t.Fatalf("%s: asked about %+v", tt.name, q)
		}
		late := s.now.Add(2*time.Minute + 1)
		if _, err := s.run.Decide(s.bench, core.Asker{At: late, By: tester, Post: "late"}, tt.answer(s)); tt.name != "the unit said" && why(t, err) != core.AnswerTooLate {
			t.Errorf("%s, late: %v", tt.name, err)
		}
		s.waits(2 * time.Minute)
		if got := s.come(tt.answer(s)); got != "Taken Judged" {
			t.Errorf("%s: %s", tt.name, got)
			continue
		}
		v := s.run.Verdict
		if v.Outcome != core.Pass || v.Reason != core.OnTime || v.End.Written != tt.taken || s.run.Asked != nil {
			t.Errorf("%s: %s, %s with %v; want a pass on time with %v", tt.name, v.Outcome, v.Reason, v.End.Written, tt.taken)
		}
	}

	// Before a hold, where it may start a clock, it is true when it was answered.
	s := places["expansion"](t)
	s.plays([]step{{9 * time.Minute, read("1650"), "Questioned", core.Expansion}})
	s.plays([]step{{30 * time.Second, core.Yes{}, "Taken HoldStarted", core.Hold}})
	if !s.run.HeldAt.Equal(s.now) {
		t.Errorf("the hold began %v early", s.now.Sub(s.run.HeldAt))
	}
	s = places["prepared, not inflated"](t)
	s.plays([]step{
		{0, read("1750"), "Questioned", core.Expansion},
		{2 * time.Minute, core.Fix{Digits: "17.5"}, "Taken ExpansionStarted", core.Expansion},
	})
	if !s.run.ExpandedAt.Equal(s.now) {
		t.Errorf("the expansion began %v early", s.now.Sub(s.run.ExpandedAt))
	}

	// The same digits, too late for an answer, are a reading of their own moment.
	s = places["hold"](t)
	s.plays([]step{
		{5 * time.Minute, read("1360"), "Questioned", core.Hold}, // at the bell
		{2*time.Minute + 1, readIn("1360", core.Pa), "Taken Judged", core.Restore},
	})
	if v := s.run.Verdict; v.Reason != core.LateWithin || !v.End.Taken.Equal(s.now) {
		t.Errorf("said anew: %+v", v)
	}

	// What else may happen to a question.
	s = places["hold"](t)
	s.plays([]step{
		{0, read("1600"), "Questioned", core.Hold},
		{0, core.Fix{Digits: "1590"}, "refused: " + string(core.Implausible), core.Hold}, // no better
		{0, readIn("1600", core.Mbar), "Questioned", core.Hold},                          // no suit holds that
		{0, readIn("1600", core.Psi), "Questioned", core.Hold},
		{0, read("16.0"), "Taken", core.Hold}, // said anew: the question is gone
		{0, core.Yes{}, "refused: " + string(core.NothingAsked), core.Hold},
		{0, read("1600"), "Questioned", core.Hold},
		{0, core.Repeat{Why: "bumped"}, "Again", core.Expansion},
		{0, core.Yes{}, "refused: " + string(core.NothingAsked), core.Expansion},
		{0, read("1650"), "Questioned", core.Expansion},
		{0, core.Stop{}, "Stopped", core.Restore},
		{0, core.Tick{}, "Ticked", core.Restore}, // ok ticks again
	})
	// A stated moment outlives the question.
	s = places["hold"](t)
	s.plays([]step{
		{6 * time.Minute, stated("1360", 5*time.Minute), "Questioned", core.Hold}, // 2 min after it
		{time.Minute, readIn("1360", core.Pa), "Taken", core.Hold},
	})
	if r, _ := s.run.Last(); !r.Stated || r.Taken.Sub(s.run.HeldAt) != 5*time.Minute {
		t.Errorf("it was stated for 5:00 and is %+v", r)
	}
	// Another manometer, and the question about the old one is gone.
	s = places["prepared, not inflated"](t)
	s.plays([]step{
		{0, read("1750"), "Questioned", core.Expansion},
		{0, core.Use{Manometer: "M-5"}, "ManometerChosen", core.Expansion},
		{0, core.Yes{}, "refused: " + string(core.NothingAsked), core.Expansion},
	})
}

// TestDoubt says which numbers are asked about. EN 943-1 wants 17.5 mbar, then
// 16.5; within 13.5 is good.
func TestDoubt(t *testing.T) {
	const taken, judged, refused = "Taken", "Taken Judged", "refused: " + string(core.Implausible)
	for _, tt := range []struct {
		manometer string
		words     string
		comes     string
		perhaps   core.Unit
	}{
		{"M-1", "15.0", taken, 0},
		{"M-1", "1500", "Questioned", core.Pa},
		{"M-1", "150", "Questioned", core.MmH2O}, // 14.7 mbar
		{"M-1", "1.5", "Questioned", core.KPa},
		{"M-1", "1.5 kPa", taken, 0},
		{"M-1", "1500 Pa", taken, 0},
		{"M-1", "6.0 in", taken, 0},
		{"M-1", "15 mm", "Questioned", core.Mbar}, // the wrong unit said
		{"M-1", "15 kPa", "Questioned", core.Mbar},
		{"M-2", "150", taken, 0},
		{"M-2", "15.0", "Questioned", core.Mbar},
		{"M-2", "15.0 mm", "Taken Judged", 0}, // said so: it is believed
		{"M-3", "6.0", taken, 0},
		{"M-3", "15.0", "Questioned", core.Mbar},
		{"M-3", "150", "Questioned", core.MmH2O},
		{"M-7", "1500", taken, 0},
		{"M-7", "15.0", "Questioned", core.Mbar},
		// A bad reading is never asked about as if it could be a good one: 6.0 mbar
		// is bad, and 6.0 in would be good.
		{"M-1", "6.0", judged, 0},
		{"M-1", "4.2", judged, 0},
		{"M-3", "6.0 mbar", judged, 0},
		// Nothing fits.
		{"M-1", "400", refused, 0},
		{"M-1", "99999", refused, 0},
		{"M-1", "52.6 mbar", refused, 0},
		{"M-1", "0", judged, 0},
		{"M-1", "0.0 mbar", judged, 0},
		// Numbers whose multiples would not fit into 64 bits.
		{"M-7", "3689348816", refused, 0},
		{"M-7", "1844674407.52", refused, 0},
		{"M-7", "922337204", refused, 0},
		{"M-7", "9223372036", refused, 0},
		{"M-1", "92233720", refused, 0},
	} {
		s := newScene(t)
		start := map[string]string{"M-1": "16.5", "M-2": "168", "M-3": "6.62", "M-7": "1650"}[tt.manometer]
		s.holds(newSuit(t, "HP-07"), "en943", tt.manometer, start)
		s.waits(time.Minute)
		got := s.come(reading(t, tt.words))
		if got != tt.comes {
			t.Errorf("%s: %s: %s, want %s", tt.manometer, tt.words, got, tt.comes)
		}
		if q := s.run.Asked; q != nil && q.Perhaps != tt.perhaps {
			t.Errorf("%s: %s: asks for %v, want %v", tt.manometer, tt.words, q.Perhaps, tt.perhaps)
		}
	}
}
