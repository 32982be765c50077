package core_test

import (
	"crypto/sha256"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// picks is a photo with a file, as it comes with facts decided for a post.
func (s *scene) picks(file string, facts []core.Fact) {
	after := s.run
	for _, f := range facts {
		after = after.Apply(core.Entry{At: s.now, By: s.by, Event: s.lastPost(), Run: s.run.ID, Fact: f})
	}
	with := s.run.Linked(after, facts)
	for _, f := range append(facts, core.PhotoPosted{File: file, Name: file + ".jpg", Size: 9, With: with}) {
		s.enters(s.lastPost(), f)
	}
}

// enters adds an entry that an event brought.
func (s *scene) enters(event string, f core.Fact) {
	e := core.Entry{At: s.now, By: s.by, Event: event, Suit: s.run.Suit.Tag, Run: s.run.ID, Fact: f}
	s.entries[s.run.ID] = append(s.entries[s.run.ID], e)
	s.run = s.run.Apply(e)
}

// TestLinked: a photo is linked to what its post made, or else to the phase.
func TestLinked(t *testing.T) {
	s := newScene(t)
	s.opens(newSuit(t, "HP-07"), "en943", "M-1")
	for _, step := range []struct {
		wait time.Duration
		want core.Intent // nil: nothing was said
		with core.Link
	}{
		{0, nil, core.Link{To: core.WithPhase, Phase: core.Prepare}},
		{0, core.Tick{Items: []int{3}}, core.Link{To: core.WithList, N: 3, Phase: core.Prepare}},
		{0, core.Untick{Items: []int{3}}, core.Link{To: core.WithList, N: 3, Phase: core.Prepare}},
		{0, core.Tick{All: true}, core.Link{To: core.WithList, Phase: core.Prepare}},
		{0, core.Read{Digits: "17.5"}, core.Link{To: core.WithReading, N: 1, Phase: core.Expansion}},
		{0, core.Fix{Digits: "17.6"}, core.Link{To: core.WithReading, N: 1, Phase: core.Expansion}},
		{0, core.Air{Celsius: "20"}, core.Link{To: core.WithAir, Phase: core.Expansion}},
		{0, core.Baro{Digits: "1013", Unit: core.HPa}, core.Link{To: core.WithAir, Phase: core.Expansion}},
		{10 * time.Minute, core.Read{Digits: "16.5"}, core.Link{To: core.WithReading, N: 2, Phase: core.Expansion}},
		{0, core.HandOver{To: second}, core.Link{To: core.WithPhase, Phase: core.Hold}},
		{6 * time.Minute, core.Read{Digits: "12.9"}, core.Link{To: core.WithReading, N: 3, Phase: core.Hold}},
		{0, core.Remark{Text: "wet"}, core.Link{To: core.WithNote, N: 1, Phase: core.Restore}},
		{0, core.Leak{Where: "seam"}, core.Link{To: core.WithLeak, N: 1, Phase: core.Restore}},
		{0, core.Leak{Where: "visor"}, core.Link{To: core.WithLeak, N: 2, Phase: core.Restore}},
		{0, nil, core.Link{To: core.WithPhase, Phase: core.Restore}},
		{0, core.Tick{All: true}, core.Link{To: core.WithList, Phase: core.Restore}},
		{0, core.Tick{Items: []int{1}}, core.Link{To: core.WithList, N: 1, Phase: core.Restore}},
		{0, core.Tick{Items: []int{2}}, core.Link{To: core.WithList, N: 2, Phase: core.Restore}},
		{time.Hour, nil, core.Link{To: core.WithPhase, Phase: core.Over}},
	} {
		s.waits(step.wait)
		s.by = s.run.Tester
		var facts []core.Fact
		if step.want == nil {
			s.posts++
		} else {
			var err error
			if facts, err = s.asks(step.want); err != nil {
				t.Fatal(err)
			}
		}
		s.picks(s.lastPost(), facts)
		if got := s.run.Photos[len(s.run.Photos)-1]; got.With != step.with || !got.At.Equal(s.now) || got.Post != s.lastPost() {
			t.Errorf("the photo with %+v is %+v, want it linked to %+v", step.want, got, step.with)
		}
	}

	s = newScene(t)
	s.opens(newSuit(t, "HP-07"), "en943", "M-1")
	facts, err := s.asks(core.Bad{Item: 2, What: "hole"})
	if err != nil {
		t.Fatal(err)
	}
	s.picks("f1", facts)
	if got := s.run.Photos[0].With; got != (core.Link{To: core.WithDefect, N: 2, Phase: core.Prepare}) {
		t.Errorf("with a defect it is linked to %+v", got)
	}
}

// TestLinkedLater: a photo that came with a doubtful number, or with words that
// were edited into something, is linked to what became of it.
func TestLinkedLater(t *testing.T) {
	s := newScene(t)
	s.opens(newSuit(t, "HP-07"), "en943", "M-1")
	s.does(core.Tick{All: true})
	doubted, err := s.asks(core.Read{Digits: "175"})
	if err != nil || kinds(doubted) != "Questioned" {
		t.Fatalf("%v, %v", doubted, err)
	}
	s.picks("f1", doubted)
	if with := s.run.Photos[0].With; with.To != core.WithPhase {
		t.Errorf("with a reading asked about it is linked to %+v", with)
	}
	s.picks("f2", nil) // in the same post
	s.waits(time.Minute)
	taken, err := s.asks(core.Yes{})
	if err != nil {
		t.Fatal(err)
	}
	s.picks("f3", taken)
	for _, p := range s.run.Photos {
		if p.With != (core.Link{To: core.WithReading, N: 1, Phase: core.Expansion}) {
			t.Errorf("%s is linked to %+v, want reading 1", p.File, p.With)
		}
	}
	s.posts++
	s.picks("f4", nil)
	s.enters(s.lastPost(), core.Noted{Text: "as edited"})
	s.enters("another post", core.Noted{Text: "not this"})
	if with := s.run.Photos[3].With; with != (core.Link{To: core.WithNote, N: 1, Phase: core.Expansion}) {
		t.Errorf("it is linked to %+v, want note 1", with)
	}
	if replayed := core.Replay(s.entries[1]); len(replayed.Photos) != 4 || replayed.Photos[3] != s.run.Photos[3] {
		t.Errorf("replayed, the photos are %+v", replayed.Photos)
	}
}

// TestPhotoSettled: a photo is one photo, and what is known of it stays. That it
// was read is no sign of life of a person's.
func TestPhotoSettled(t *testing.T) {
	s := newScene(t)
	s.opens(newSuit(t, "HP-07"), "en943", "M-1")
	s.posts++
	s.picks("f1", nil)
	s.picks("f1", nil)
	touched := s.run.Touched
	first, other := core.Sum(sha256.Sum256([]byte("1"))), core.Sum(sha256.Sum256([]byte("2")))
	was := s.run
	s.waits(time.Hour)
	s.enters("e1", core.PhotoKept{File: "f1", Type: "image/png", Sum: first})
	s.enters("e2", core.PhotoKept{File: "f1", Type: "image/png", Sum: other})
	s.enters("e3", core.PhotoLost{File: "f1", Why: core.PhotoGone})
	s.enters("e4", core.PhotoLost{File: "f9", Why: core.PhotoGone})
	got := s.run.Photos
	if len(got) != 1 || got[0].Sum != first || got[0].Lost != "" || !got[0].Settled() {
		t.Errorf("the photos are %+v", got)
	}
	if was.Photos[0].Settled() {
		t.Error("the run as it was has changed")
	}
	if !s.run.Touched.Equal(touched) {
		t.Error("that a file was read counts as heard from the tester")
	}
}

func TestParseSum(t *testing.T) {
	sum := core.Sum(sha256.Sum256([]byte("a picture")))
	if got, err := core.ParseSum(sum.String()); err != nil || got != sum {
		t.Errorf("got %v, %v", got, err)
	}
	for _, bad := range []string{"", "12", sum.String()[1:], sum.String() + "00", strings.Repeat("g", 64)} {
		if _, err := core.ParseSum(bad); err == nil {
			t.Errorf("%q is taken", bad)
		}
	}
}
