package core_test

import (
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// bellsUntil rings a run's bells each at its time, until a moment, and returns
// them as "look 3:00", counted from now.
func (s *scene) bellsUntil(d time.Duration) string {
	s.t.Helper()
	from := s.now
	var rang []string
	for {
		b, ok := s.run.NextBell(s.bench.Policy)
		if !ok || b.Due.After(from.Add(d)) {
			break
		}
		if b.Due.Before(s.now) {
			s.t.Fatalf("%s rings %v in the past", b.Bell, s.now.Sub(b.Due))
		}
		s.now = b.Due
		facts := s.run.Ring(s.bench.Policy, s.now)
		if len(facts) == 0 {
			s.t.Fatalf("%s is due and does not ring", b.Bell)
		}
		for _, f := range facts {
			r := f.(core.Rung)
			after := r.Due.Sub(from)
			word := fmt.Sprintf("%s %d:%02d", r.Bell, int(after.Minutes()), int(after.Seconds())%60)
			if r.Quiet {
				word = "(" + word + ")"
			}
			rang = append(rang, word)
		}
		s.apply(facts)
	}
	s.now = from.Add(d)
	return strings.Join(rang, ", ")
}

// TestBellsOfTheMethods is the list of bells of each method on one day, if the
// tester never answers: as long as something may be in a valve, it is never the
// last. The expansion takes 10 or 1 min, the hold 6, 4 or 3.
func TestBellsOfTheMethods(t *testing.T) {
	for _, tt := range []struct {
		method, manometer, start string
		expansion, hold          string
	}{
		{
			"en943", "M-1", "16.5",
			"look 3:00, card 5:00, look 6:00, card 8:00, card 9:00, expansion 10:00, chase 13:00, chase 20:00, chase 70:00, chase 490:00",
			"card 1:00, card 4:00, card 5:00, warn 5:30, hold 6:00, chase 6:30, chase 9:00, chase 21:00, chase 66:00, chase 486:00",
		},
		{
			"f1052", "M-2", "100",
			"expansion 1:00, chase 4:00, chase 11:00, chase 61:00, chase 481:00",
			"card 2:00, card 3:00, warn 3:30, hold 4:00, chase 4:30, chase 7:00, chase 19:00, chase 64:00, chase 484:00",
		},
		{
			"osha", "M-3", "4.00",
			"expansion 1:00, chase 4:00, chase 11:00, chase 61:00, chase 481:00",
			"card 1:00, card 2:00, warn 2:30, hold 3:00, chase 3:30, chase 6:00, chase 18:00, chase 63:00, chase 483:00",
		},
	} {
		const silent = "chase 15:00, chase 60:00, chase 480:00, chase 1440:00"
		s := newScene(t)
		s.opens(newSuit(t, "HP-07"), tt.method, tt.manometer)
		if got := s.bellsUntil(24 * time.Hour); got != "" {
			t.Errorf("%s: before anything is ready, %s", tt.method, got)
		}
		s.does(core.Tick{})
		if got := s.bellsUntil(24 * time.Hour); got != silent {
			t.Errorf("%s: once it was begun, %s", tt.method, got)
		}
		s.does(core.Tick{All: true})
		if got := s.bellsUntil(24 * time.Hour); got != silent {
			t.Errorf("%s: before it is inflated, %s", tt.method, got)
		}
		s.inflates()
		if got := s.bellsUntil(24 * time.Hour); got != tt.expansion {
			t.Errorf("%s: in the expansion %s, want %s", tt.method, got, tt.expansion)
		}
		if got := s.reads(tt.start); got != "Taken ExpansionVoid" { // nobody looked after it for a day
			t.Fatalf("%s: a day later, %s", tt.method, got)
		}
		s.inflates()
		s.waits(s.run.Method.ExpansionTime)
		s.reads(tt.start)
		if got := s.bellsUntil(24 * time.Hour); got != tt.hold {
			t.Errorf("%s: in the hold %s, want %s", tt.method, got, tt.hold)
		}
		s.does(core.Stop{})
		if got, want := s.bellsUntil(1000*time.Hour), silent+", chase 2880:00, chase 5760:00"; got != want {
			t.Errorf("%s: in restore %s, want %s", tt.method, got, want)
		}
		s.restores()
		if b, ok := s.run.NextBell(s.bench.Policy); ok {
			t.Errorf("%s: closed, it still rings %+v", tt.method, b)
		}
	}
}

// TestBellsAnswered: a reading is a look, and any word is a sign of life. Of
// two bells at one moment the louder is heard; here a look and a card.
func TestBellsAnswered(t *testing.T) {
	s := newScene(t)
	s.opens(newSuit(t, "HP-07"), "en943", "M-1")
	s.does(core.Tick{All: true})
	s.inflates()
	if got, want := s.bellsUntil(2*time.Minute), ""; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	s.reads("17.3") // at 2:00: the next look is due at 5:00, the one after at 8:00
	if got, want := s.bellsUntil(8*time.Minute), "look 3:00, (card 3:00), look 6:00, (card 6:00), card 7:00, expansion 8:00"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	s.waits(2 * time.Minute)
	s.does(core.Remark{Text: "coming"})
	if got, want := s.bellsUntil(28*time.Minute), "chase 3:00, chase 10:00"; got != want { // 30 min since the end
		t.Errorf("%s, want %s", got, want)
	}
	s.reads("16.5")
	if got, want := s.bellsUntil(5*time.Minute+45*time.Second), "card 1:00, card 4:00, card 5:00, warn 5:30"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
	s.does(core.Remark{Text: "looking"}) // before the bell: nothing waits for it
	if got, want := s.bellsUntil(time.Hour), "hold 0:15, chase 0:45, chase 3:15, chase 15:15"; got != want {
		t.Errorf("%s, want %s", got, want)
	}
}

// TestBellWarning: the policy says how long before the end of a hold it warns,
// if the hold is long enough for it.
func TestBellWarning(t *testing.T) {
	for _, tt := range []struct {
		before time.Duration
		want   bool
	}{
		{0, false},
		{-time.Minute, false},
		{time.Second, true},
		{90 * time.Second, true},
		{91 * time.Second, false}, // more than half of the hold
	} {
		s := newScene(t)
		s.bench.Policy.WarnBefore = tt.before
		s.holds(newSuit(t, "HP-07"), "osha", "M-3", "4.00")
		if got := strings.Contains(s.bellsUntil(3*time.Minute), "warn"); got != tt.want {
			t.Errorf("%v before the end of 3 min it warns: %v", tt.before, got)
		}
	}
}

// TestLateBells: when the program was down, of all that was missed only the
// loudest is heard, once.
func TestLateBells(t *testing.T) {
	for _, tt := range []struct {
		name string
		late time.Duration // since the hold began
		want string
	}{
		{"nothing yet", 59 * time.Second, ""},
		{"a card", time.Minute, "card 1:00"},
		{"the last card", 4*time.Minute + time.Second, "(card 1:00), card 4:00"},
		{"the warning", 5*time.Minute + 40*time.Second, "(card 1:00), (card 4:00), (card 5:00), warn 5:30"},
		{"the bell", 6 * time.Minute, "(card 1:00), (card 4:00), (card 5:00), (warn 5:30), hold 6:00"},
		{"the bell, and not the chase", time.Hour, "(card 1:00), (card 4:00), (card 5:00), (warn 5:30), hold 6:00, (chase 6:30), (chase 9:00), (chase 21:00)"},
	} {
		s := newScene(t)
		s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.5")
		s.now = s.run.HeldAt.Add(tt.late)
		var rang []string
		facts := s.run.Ring(s.bench.Policy, s.now)
		for _, f := range facts {
			r := f.(core.Rung)
			after := r.Due.Sub(s.run.HeldAt)
			word := fmt.Sprintf("%s %d:%02d", r.Bell, int(after.Minutes()), int(after.Seconds())%60)
			if r.Quiet {
				word = "(" + word + ")"
			}
			rang = append(rang, word)
		}
		if got := strings.Join(rang, ", "); got != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, got, tt.want)
		}
		s.apply(facts)
		if again := s.run.Ring(s.bench.Policy, s.now); len(again) != 0 {
			t.Errorf("%s: it rings again: %v", tt.name, again)
		}
	}
	// During the expansion, too: the bell, not the look before or the chase after.
	s := newScene(t)
	s.opens(newSuit(t, "HP-07"), "en943", "M-1")
	s.does(core.Tick{All: true})
	s.inflates()
	var heard []core.Bell
	for _, f := range s.run.Ring(s.bench.Policy, s.now.Add(15*time.Minute)) {
		if r := f.(core.Rung); !r.Quiet {
			heard = append(heard, r.Bell)
		}
	}
	if !slices.Equal(heard, []core.Bell{core.BellExpansion}) {
		t.Errorf("after 15 min of expansion: %v", heard)
	}
}

// TestBellsAfterTheHold: going back from the hold rings nothing of the
// expansion again but what is yet to come, and a hold that goes on after its
// verdict was taken back rings nothing twice.
func TestBellsAfterTheHold(t *testing.T) {
	for name, back := range map[string]core.Intent{"again": core.Repeat{Why: "bumped"}, "the start corrected": core.Fix{Digits: "15.0"}} {
		s := places["hold"](t)
		s.does(back)
		if s.run.Phase != core.Expansion {
			t.Fatalf("%s leads to %s", name, s.run.Phase)
		}
		if got, want := s.bellsUntil(29*time.Minute), "chase 3:00, chase 10:00"; got != want {
			t.Errorf("%s: %s, want %s", name, got, want)
		}
		s.reads("16.5")
		if got, want := s.bellsUntil(6*time.Minute), "card 1:00, card 4:00, card 5:00, warn 5:30, hold 6:00"; got != want {
			t.Errorf("%s: in the new hold %s, want %s", name, got, want)
		}
	}
	// The bell rang, then came a reading said to be from before it: bad, and a
	// slip. The bell does not ring again.
	s := places["hold"](t)
	s.bellsUntil(5*time.Minute + 10*time.Second)
	s.does(stated("13.4", 5*time.Minute))
	s.waits(20 * time.Second)
	s.does(core.Fix{Digits: "14.4"})
	if s.run.Phase != core.Hold {
		t.Fatalf("the run is in %s", s.run.Phase)
	}
	if got, want := s.bellsUntil(time.Hour), "chase 0:30, chase 3:00, chase 15:00, chase 60:00"; got != want {
		t.Errorf("resumed after the bell: %s, want %s", got, want)
	}
	// Resumed before the bell, it is still to come.
	s = places["hold"](t)
	s.reads("13.4")
	s.does(core.Fix{Digits: "16.4"})
	if got, want := s.bellsUntil(5*time.Minute), "card 0:00, card 3:00, card 4:00, warn 4:30, hold 5:00"; got != want {
		t.Errorf("resumed before the bell: %s, want %s", got, want)
	}
}

// TestBellLaws: in runs that go any way at all, no bell of one moment rings
// twice in a phase, the time of the next is never one that was just rung, and
// the bells end if nobody says anything.
func TestBellLaws(t *testing.T) {
	rng := rand.New(rand.NewPCG(17, 18))
	for range 150 {
		w := newWalk(t, rng)
		for range 40 {
			w.step()
			if rng.IntN(2) == 0 {
				w.ringAll(w.now)
			}
		}
		w.ringAll(w.now.Add(1000 * time.Hour))
	}
}

// ringAll rings all that is due at a moment.
func (w *walk) ringAll(now time.Time) {
	w.t.Helper()
	was := len(w.run.Rang)
	facts := w.run.Ring(w.bench.Policy, now)
	if len(facts) > 200 {
		w.t.Fatalf("%d bells at once", len(facts))
	}
	heard := 0
	for _, f := range facts {
		r := f.(core.Rung)
		if r.Due.After(now) {
			w.t.Fatalf("%s rings %v early", r.Bell, r.Due.Sub(now))
		}
		for _, done := range w.run.Rang[:was] {
			if done.Bell == r.Bell && done.Due.Equal(r.Due) {
				w.t.Fatalf("%s of %v rings twice", r.Bell, r.Due)
			}
		}
		if !r.Quiet {
			heard++
		}
	}
	if len(facts) > 0 && heard != 1 {
		w.t.Fatalf("%d of %d bells are heard", heard, len(facts))
	}
	w.now = now
	w.apply(facts)
	if next, ok := w.run.NextBell(w.bench.Policy); ok && !next.Due.After(now) {
		w.t.Fatalf("rung, and %s of %v is due still", next.Bell, next.Due)
	}
}
