package commands

import (
	"strings"
	"testing"
	"time"
	"unicode/utf8"

	"benchbell/core"
)

// fits checks what every post must keep to: what it is about within the 40 characters
// that a notification shows, and at most three short sentences.
func fits(t *testing.T, text string, begins ...string) {
	t.Helper()
	head := []rune(strings.ReplaceAll(text, "**", ""))
	head = head[:min(len(head), 40)]
	for _, word := range begins {
		if !strings.Contains(string(head), word) {
			t.Errorf("%q does not say %q in its first 40 characters", text, word)
		}
	}
	if n := utf8.RuneCountInString(text); n > 200 {
		t.Errorf("%d characters: %q", n, text)
	}
	for line := range strings.Lines(text) {
		if n := utf8.RuneCountInString(strings.ReplaceAll(line, "**", "")); n > 105 {
			t.Errorf("a line of %d characters: %q", n, line)
		}
	}
}

func TestLate(t *testing.T) {
	s := Speaker{Zone: time.UTC}
	due := time.Date(2026, time.March, 2, 8, 40, 0, 0, time.UTC)
	bell := "HP-07 · **Bell! Post the ending pressure.**\n@bench.tester"
	const late = "HP-07 · **Bell! Post the ending pressure.**\nLate by 4 min, was due at 08:40:00.\n@bench.tester"
	for _, tt := range []struct {
		text  string
		after time.Duration
		want  string
	}{
		{bell, 0, bell},
		{bell, -time.Minute, bell},
		{bell, 4 * time.Second, bell},
		{bell, 4 * time.Minute, late},
		{late, 6 * time.Minute, strings.Replace(late, "4 min", "6 min", 1)},
		{"HP-07 · **Bell!**\nThis bell is 40 s late, it was due at 08:39:20.\n@x", 4 * time.Minute, "HP-07 · **Bell!**\nLate by 4 min, was due at 08:40:00.\n@x"},
		{"Good morning", time.Hour, "Good morning\nLate by 1 h, was due at 08:40:00."},
	} {
		if got := s.Late(tt.text, due, due.Add(tt.after)); got != tt.want {
			t.Errorf("after %v: %q, want %q", tt.after, got, tt.want)
		}
	}
	fits(t, late, "HP-07", "ending pressure")
}

func TestDeleted(t *testing.T) {
	first := core.Reading{N: 1, Written: core.MustWrite("17.5", core.Mbar)}
	last := core.Reading{N: 2, Written: core.MustWrite("16.5", core.Mbar)}
	open := core.Run{ID: 1, Suit: core.Suit{Tag: "HP-07"}, Phase: core.Hold}
	open.Readings = []core.Reading{first, last}
	judged := open
	judged.Phase, judged.Verdict = core.Restore, &core.Verdict{Outcome: core.Pass}
	judged.RestoreList = []core.Check{{}}
	for _, tt := range []struct {
		name  string
		run   core.Run
		facts []core.Fact
		has   []string
		not   string
	}{
		{"nothing", open, nil, nil, "record"},
		{"a bell", open, []core.Fact{core.Rung{Bell: core.BellHold}}, nil, "record"},
		{"the last reading", open, []core.Fact{core.Taken{Reading: last}}, []string{"reading 2, 16.5 mbar", "2 min", "`fix …`"}, "worse"},
		{"an earlier reading", open, []core.Fact{core.Taken{Reading: first}}, []string{"reading 1, 17.5 mbar", "Only the last reading", "`note …`"}, "fix"},
		{"the ending pressure", judged, []core.Fact{core.Taken{Reading: last}, core.Judged{}}, []string{"reading 2", "`fix …`", "worse for the suit"}, ""},
		{"a note", open, []core.Fact{core.Noted{Text: "visor"}}, []string{"the note `visor`"}, "fix"},
		{"ticks", judged, []core.Fact{core.Ticked{Items: []int{1, 3}}}, []string{"ticked: 1, 3", "`undo …`"}, "fix"},
		{"a stop", judged, []core.Fact{core.Stopped{}}, []string{"the stop"}, "fix"},
		{"a use", core.Run{}, []core.Fact{core.Used{}}, []string{"the use"}, "fix"},
	} {
		for _, got := range []string{Deleted(tt.run, tt.facts), EditedAway(tt.run, tt.facts)} {
			if (got == "") != (tt.has == nil) {
				t.Errorf("%s: %q", tt.name, got)
			}
			for _, part := range tt.has {
				if !strings.Contains(got, part) {
					t.Errorf("%s: %q does not say %q", tt.name, got, part)
				}
			}
			if tt.not != "" && strings.Contains(got, tt.not) {
				t.Errorf("%s: %q says %q", tt.name, got, tt.not)
			}
			if l := lies(got, "visor"); len(l) > 0 {
				t.Errorf("%s: %q has %q to copy", tt.name, got, l)
			}
			if tt.has != nil {
				fits(t, got, "on record")
			}
		}
	}
}

func TestTrouble(t *testing.T) {
	run := core.Run{ID: 1, Suit: core.Suit{Tag: "HP-07"}, Tester: core.Person{Name: "bench.tester"}}
	for text, begins := range map[string][]string{
		ThreadAnew(run): {"HP-07", "R-0001", "goes on here"},
		CouldNot("the record of R-0001 cannot be made"): {"Nothing was changed", "could"},
		DocumentFailed("R-0001.pdf"):                    {"R-0001.pdf could not be made"},
		DocumentFailed("HP-07 @all."):                   {"could not be made"},
	} {
		fits(t, text, begins...)
	}
	if got := ThreadAnew(run); !strings.HasSuffix(got, "\n@bench.tester") {
		t.Errorf("%q does not call the tester", got)
	}
}

// TestTakeoverWords: the thread is told who has the run now, from whom and why, and
// what there is to do; both are called, unless one of them is gone.
func TestTakeoverWords(t *testing.T) {
	s := Speaker{Zone: time.UTC}
	tester, officer := core.Person{ID: "u1", Name: "bench.tester"}, core.Person{ID: "u3", Name: "duty.officer"}
	at := time.Date(2026, time.March, 2, 10, 42, 0, 0, time.UTC)
	before := core.Run{ID: 1, Suit: core.Suit{Tag: "HP-07"}, Method: core.BuiltIn()[0], Manometer: core.Manometer{ID: "M-1", Unit: core.Mbar}, Phase: core.Expansion, Tester: tester, Heard: at.Add(-2 * time.Hour)}
	for _, tt := range []struct {
		why  core.Takeover
		stop bool
		want []string
		not  string
	}{
		{"", false, []string{"HP-07 · R-0001 is now duty.officer's run.\nInflate to", "\n@duty.officer"}, "Taken over"},
		{core.TakeoverByOfficer, false, []string{"HP-07 · R-0001 is now duty.officer's run.\nTaken over from bench.tester: by an officer.", "\n@duty.officer @bench.tester"}, ""},
		{core.TakeoverSilent, false, []string{"silent since 08:42:00.", "\n@duty.officer @bench.tester"}, ""},
		{core.TakeoverDeactivated, false, []string{"the account is deactivated.", "\n@duty.officer"}, "@bench.tester"},
		{core.TakeoverSilent, true, []string{"HP-07 · **Stopped: `gone`**. No verdict.", "R-0001 is now duty.officer's run.\nTaken over from bench.tester: silent since 08:42:00.", "\n@duty.officer @bench.tester"}, ""},
	} {
		facts := []core.Fact{core.HandedOver{To: officer, Why: tt.why}}
		if tt.stop {
			facts = append(facts, core.Stopped{Why: "gone"})
		}
		after := before
		for _, f := range facts {
			after = after.Apply(core.Entry{At: at, By: officer, Run: 1, Fact: f})
		}
		var told []string
		for _, m := range s.Run(Step{Before: before, After: after, Facts: facts, At: at, By: officer}) {
			if m.Dest == ToRun {
				told = append(told, m.Text)
			}
		}
		if len(told) != 1 {
			t.Errorf("%q, stopped %t: %d posts: %q", tt.why, tt.stop, len(told), told)
		}
		for _, part := range tt.want {
			if !strings.Contains(told[0], part) {
				t.Errorf("%q, stopped %t: %q lacks %q", tt.why, tt.stop, told[0], part)
			}
		}
		if tt.not != "" && strings.Contains(told[0], tt.not) {
			t.Errorf("%q: %q has %q", tt.why, told[0], tt.not)
		}
	}
	for want, refusal := range map[string]core.Refusal{
		"Not done: this is bench.tester's run.\nOnly they or an officer may do that. From 10:43 on, anybody may.":        {Why: core.NotTheirRun, Person: tester, Until: at.Add(time.Second)},
		"Not done: this is bench.tester's run.\nOnly they or an officer may do that. From 10:42 on, anybody may.":        {Why: core.NotTheirRun, Person: tester, Until: at},
		"Not done: this is bench.tester's run.\nOnly they or an officer may do that.":                                    {Why: core.NotTheirRun, Person: tester},
		"Not taken: this is bench.tester's run.\nTake it over: `over to me`.":                                            {Why: core.NotTheTester, Person: tester, TakeOver: true},
		"The test is over, but not the list. It is bench.tester's run: `over to me` takes it over.":                      {Why: core.AlreadyStopped, Person: tester, TakeOver: true},
		"Not opened: M-1 is in R-0001 (HP-07, bench.tester) at least until 10:42:00.\nUse `test HP-08 with …`, or wait.": {Why: core.ManometerBusy, Manometer: "M-1", Run: 1, Suit: "HP-07", Person: tester, Until: at, Opening: "HP-08"},
		"Not opened: M-1 is in R-0001 (HP-07, bench.tester).\nUse `test HP-08 f1052 with …`, or wait.":                   {Why: core.ManometerBusy, Manometer: "M-1", Run: 1, Suit: "HP-07", Person: tester, Opening: "HP-08", Method: "f1052"},
		"Not ticked: the list has not reached the chat yet. Tick it once it is here.":                                    {Why: core.ListUnseen},
	} {
		if got, _ := s.Refuse(&refusal, Thread); got != strings.TrimSpace(want) {
			t.Errorf("%s: %q, want %q", refusal.Why, got, want)
		}
	}
	// What is said at the opening of a run whose manometer another run has.
	holder := before
	holder.ExpandedAt = at
	opened := core.Opened{Suit: core.Suit{Tag: "HP-08"}, Method: before.Method, Manometer: before.Manometer}
	after := core.Run{}.Apply(core.Entry{At: at, By: tester, Run: 2, Fact: opened})
	first := s.Run(Step{After: after, Facts: []core.Fact{opened}, At: at, By: tester, Busy: holder})[0].Text
	if want := "HP-08 · M-1 is in R-0001 (HP-07, bench.tester) until about 10:58:00.\nPrepare meanwhile, or say `with …` for another."; !strings.HasPrefix(first, want) {
		t.Errorf("opened with %q, want %q", first, want)
	}
}
