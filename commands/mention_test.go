package commands

import (
	"errors"
	"fmt"
	"regexp"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// seen is what the chat server makes something of: a mention, a link to a channel,
// a tag, a link.
var seen = regexp.MustCompile(`[@~#][\pL\pN_]+(?:[.-][\pL\pN_]+)*|:/`)

// known are the people of these tests, who may be mentioned.
var known = regexp.MustCompile(`@(?:bench\.tester|second\.tester|crew\.member|benchbell)\b`)

// mentionsOf returns what a text has of that, but for the known people.
func mentionsOf(text string) (found []string) {
	return seen.FindAllString(known.ReplaceAllString(text, ""), -1)
}

// said renders what can come of words that somebody typed: the refusal or the
// question of the parser, and with what they are made of all that shows it. done is
// what was rendered already.
func said(text string, in Place, done map[string]bool) []string {
	var out []string
	want, err := Parse(text, in)
	if err != nil {
		s := Speaker{Zone: time.UTC}
		for _, in := range []Place{Talk, Thread} {
			reply, _ := s.Refuse(err, in)
			out = append(out, reply)
		}
		if m, is := errors.AsType[*Misunderstood](err); is {
			out = append(out, s.PerhapsMeant(m.Try))
		}
	}
	for _, own := range append(ofIntent(want), text) {
		if !done[own] {
			done[own] = true
			out = append(out, rendered(own)...)
		}
	}
	return out
}

// rendered shows words that somebody typed in every place that has room for them:
// refusals, answers, and the facts of a run.
func rendered(typed string) []string {
	s := Speaker{Zone: time.UTC, Bot: "benchbell", AskAir: true}
	var out []string
	for _, refusal := range []core.Refusal{
		{Why: core.UnknownSuit, Suit: typed},
		{Why: core.UnknownMethod, Suit: "HP-07", Method: typed, Choices: []string{"en943"}},
		{Why: core.UnknownManometer, Manometer: typed, Choices: []string{"M-1"}},
		{Why: core.UnknownPerson, Person: core.Person{Name: typed}},
		{Why: core.BadMoment, Suit: typed, Digits: typed},
		{Why: core.NotInRegister, Suit: typed},
		{Why: core.WhichDefect, Suit: "HP-07", Choices: []string{typed}},
		{Why: core.NoSuchDefect, Suit: "HP-07", Choices: []string{typed}},
	} {
		reply, _ := s.Refuse(&refusal, Thread)
		out = append(out, reply)
	}
	for _, in := range []Place{Talk, Thread} {
		out = append(out, s.Help(Help{Word: typed}, in, nil))
	}
	out = append(out,
		s.Ready(typed, nil, false),
		s.Ready("", []core.Summary{{Tag: "HP-07", Size: typed, Place: typed}}, true),
		s.Asked(core.Suit{Tag: "HP-07", Size: typed, Place: typed}, core.Standing{Kind: core.NotFit, Bars: []core.Bar{{Kind: core.BarFound, Note: typed}}}, time.Time{}),
		s.Faults([]FileFault{{File: typed, Row: 2, Column: typed, Found: typed, Want: "there is no such column; the nearest is " + typed}}),
		s.PhotoKept(core.Photo{Name: typed}),
		s.PhotoLost(core.Photo{Name: typed, By: core.Person{Name: "bench.tester"}}),
		s.History("HP-07", []Tested{{Outcome: core.Pass, Run: 1, GivenUp: []string{typed}}}),
		DocumentFailed(typed), CouldNot(typed),
	)
	for _, f := range []core.Fact{
		core.Stopped{Why: typed},
		core.Again{Why: typed},
		core.Noted{Text: typed},
		core.LeakFound{Where: typed},
		core.DefectSeen{Item: 1, What: typed},
		core.AirNoted{Celsius: "21"},
		core.Judged{Verdict: core.Verdict{Outcome: core.Fail, Reason: core.DefectByEye, Defect: typed}},
	} {
		for _, phase := range []core.Phase{core.Prepare, core.Restore} {
			before := core.Run{ID: 1, Suit: core.Suit{Tag: "HP-07", Size: typed, Place: typed}, Method: core.BuiltIn()[0], Manometer: core.Manometer{ID: "M-1", Unit: core.Mbar}, Phase: phase, Tester: core.Person{ID: "u1", Name: "bench.tester"}}
			step := Step{Before: before, After: before.Apply(core.Entry{Run: 1, Fact: f}), Facts: []core.Fact{f}, Standing: core.Standing{Kind: core.NotFit}}
			for _, m := range s.Run(step) {
				out = append(out, m.Text)
			}
			out = append(out, Deleted(step.After, step.Facts), EditedAway(step.After, step.Facts))
		}
	}
	return out
}

// ofIntent returns what an intent has of the words as they were typed.
func ofIntent(want any) []string {
	switch w := want.(type) {
	case core.Open:
		return []string{w.Suit, w.Method, w.Manometer}
	case core.Use:
		return []string{w.Manometer}
	case core.HandOver:
		return []string{w.To.Name}
	case core.AskSuit:
		return []string{w.Suit}
	case core.AskReady:
		return []string{w.Want}
	case core.Remark:
		return []string{w.Text}
	case core.NoteUsed:
		return []string{w.Suit, w.When, w.Note}
	case core.Enter:
		out := []string{w.Name}
		for _, f := range w.Fields {
			out = append(out, f.Column, f.Value)
		}
		return out
	}
	return nil
}

// baits are words that the chat server would make something of.
var baits = []string{
	"@all", "@channel", "@here", "@duty.officer", "~town-square", "#tag", "https://example.org/@x", "`@all`", "``@all", "*@all*", "@`all`",
	"@@all", "@*all", "_@all_", "[x](http://y)", "a@all", "@all/@here", "\u200b@\u200ball", "@\u00adall", "!@all", "＠all @all",
}

// TestNoRawMention puts baits behind every word that can be said, and into what
// follows it.
func TestNoRawMention(t *testing.T) {
	shapes := []string{
		"%s", "15 %s", "15.0 mbar %s", "15 at %s", "fix %s", "ok %s", "ok 1 %s", "bad 2 %s", "HP-07 %s", "used HP-07 %s", "used HP-07 99:99 %s",
		"test HP-07 with %s", "test HP-07 %s", "suit add %s", "suit add HP-30 %s", "suit add HP-30 place=%s", "capacity HP-07 2 L 15 16 %s", "capacity HP-07 2 %s 15 16 mbar",
		"stop the %s", "stop it %s", "note to %s", "over to %s", "over %s", "due %s", "record %s", "wtih %s", "tset %s", "%s stop", "nto %s", "air %s", "baro 1013 %s", "repaired HP-07 1 9-3: %s", "please %s", "what is %s?",
	}
	for _, f := range forms {
		shapes = append(shapes, f.verbs[0]+" %s", f.example+" %s")
	}
	done := make(map[string]bool)
	for _, shape := range shapes {
		for _, bait := range baits {
			text := fmt.Sprintf(shape, bait)
			for _, in := range []Place{Talk, Thread} {
				for _, reply := range said(text, in, done) {
					if found := mentionsOf(reply); len(found) > 0 {
						t.Fatalf("%q is answered with %q in\n%s", text, found, reply)
					}
				}
			}
		}
	}
}

// FuzzNoRawMention holds whatever anybody types to the same.
func FuzzNoRawMention(f *testing.F) {
	for _, bait := range baits {
		f.Add("15 "+bait, true)
		f.Add("suit add "+bait, false)
	}
	f.Fuzz(func(t *testing.T, text string, thread bool) {
		in := Talk
		if thread {
			in = Thread
		}
		for _, reply := range said(strings.ToValidUTF8(text, ""), in, make(map[string]bool)) {
			if found := mentionsOf(reply); len(found) > 0 {
				t.Fatalf("%q is answered with %q in\n%s", text, found, reply)
			}
		}
	})
}
