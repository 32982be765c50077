package core_test

import (
	"testing"
	"time"

	"benchbell/core"
)

// A reading beyond the limit before the bell fails the suit, though one of a
// later moment was posted before it.
func TestBeyondBeforeTheBellInWhateverOrder(t *testing.T) {
	s := newScene(t)
	s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.50")
	s.waits(clock(5, 58))
	s.reads("13.50")
	s.waits(time.Second)
	if got := s.does(stated("13.49", clock(5, 50))); got != "Taken Judged" {
		t.Fatalf("13.49 at 5:50 came to %s", got)
	}
	if o, why := s.verdict(); o != core.Fail || why != core.EarlyBeyond {
		t.Errorf("%s, %s", o, why)
	}
}

// Paper that comes in while a tested suit waits for the officer does not speak for
// the officer.
func TestPaperReleasesNothing(t *testing.T) {
	l := newLife(t)
	l.policy.Release = true
	method, _ := newBench(t).Method("en943")
	l.adds(1, core.Opened{Suit: newSuit(t, "HP-07"), Method: method})
	l.adds(1, core.Judged{Verdict: core.Verdict{Rules: core.Rules, Outcome: core.Pass, Method: "en943"}}, core.Closed{})
	if !l.file.Unreleased(l.policy) {
		t.Fatal("the suit does not wait for the officer")
	}
	for i := range 2 {
		l.addsAt(l.now.AddDate(0, 0, 1+i), 0, core.PaperTest{Method: "en943", Outcome: core.Pass, Rules: core.Rules})
	}
	if !l.file.Unreleased(l.policy) {
		t.Error("paper released the suit")
	}
}
