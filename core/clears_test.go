package core_test

import (
	"fmt"
	"slices"
	"testing"
	"time"

	"benchbell/core"
)

// runs adds a whole run by a method and the rules of today.
func (l *life) runs(t testing.TB, run core.RunID, key string, outcome core.Outcome) {
	t.Helper()
	l.adds(run, core.Opened{Suit: l.file.Suit, Method: method(t, key)}, core.Taken{}, ruled(key, outcome), core.Closed{})
}

// ruled is a verdict by the rules of today.
func ruled(key string, o core.Outcome) core.Judged {
	return core.Judged{Verdict: core.Verdict{Rules: core.Rules, Outcome: o, Method: key}}
}

// TestWhatClears: a pass by the suit's own method clears it; after a fail or a
// defect only once something was done about it, and before the run began.
func TestWhatClears(t *testing.T) {
	pass, fail, none := core.Pass, core.Fail, core.NoVerdict
	torn := core.Found{What: "diaphragm torn"}
	for _, tt := range []struct {
		name string
		live func(l *life)
		want string
	}{
		{"its own method", func(l *life) { l.runs(t, 1, "en943", pass) }, "fit"},
		{"another method", func(l *life) { l.runs(t, 1, "f1052", pass) }, "not fit: no pass yet"},
		{"another method, used", func(l *life) {
			l.runs(t, 1, "en943", pass)
			l.adds(0, core.Used{})
			l.runs(t, 2, "f1052", pass)
		}, "not fit: used"},
		{"another method after a pass", func(l *life) { l.runs(t, 1, "en943", pass); l.runs(t, 2, "osha", pass) }, "fit"},
		{"another method fails", func(l *life) { l.runs(t, 1, "en943", pass); l.runs(t, 2, "osha", fail) }, "not fit: failed"},
		{"without verdict by another method", func(l *life) { l.runs(t, 1, "en943", pass); l.runs(t, 2, "osha", none) }, "not fit: no verdict"},
		{"no verdict, then a pass", func(l *life) { l.runs(t, 1, "en943", none); l.runs(t, 2, "en943", pass) }, "fit"},
		{"the register names another method since", func(l *life) {
			l.runs(t, 1, "en943", pass)
			suit := l.file.Suit
			suit.Method = "osha"
			l.adds(0, core.SuitRegistered{Suit: suit})
		}, "not fit: no pass yet"},

		// Trying until it passes.
		{"failed and tried again", func(l *life) { l.runs(t, 1, "en943", fail); l.runs(t, 2, "en943", pass) }, "not fit: failed"},
		{"failed and tried by another method", func(l *life) { l.runs(t, 1, "en943", fail); l.runs(t, 2, "f1052", pass) }, "not fit: failed"},
		{"failed, repaired, passed", func(l *life) {
			l.runs(t, 1, "en943", fail)
			l.adds(0, core.Repaired{What: "seam"})
			l.runs(t, 2, "en943", pass)
		}, "fit"},
		{"failed, repaired, passed by another method", func(l *life) {
			l.runs(t, 1, "en943", fail)
			l.adds(0, core.Repaired{What: "seam"})
			l.runs(t, 2, "osha", pass)
		}, "not fit: failed, repaired"},
		{"failed, its cause stated, passed", func(l *life) {
			l.runs(t, 1, "en943", fail)
			l.adds(0, core.CauseStated{What: "hose"})
			l.runs(t, 2, "en943", pass)
		}, "fit"},
		{"failed, its cause stated", func(l *life) { l.runs(t, 1, "en943", fail); l.adds(0, core.CauseStated{What: "hose"}) }, "not fit: failed"},
		{"repaired in the leak hunt", func(l *life) { // while the run that failed is open
			l.adds(1, core.Opened{Suit: l.file.Suit, Method: method(t, "en943")}, core.Taken{}, ruled("en943", fail))
			l.adds(0, core.Repaired{What: "seam"})
			l.adds(1, core.Closed{})
			l.runs(t, 2, "en943", pass)
		}, "fit"},
		{"repaired while the next run is open", func(l *life) {
			l.runs(t, 1, "en943", fail)
			l.adds(2, core.Opened{Suit: l.file.Suit, Method: method(t, "en943")}, core.Taken{})
			l.adds(0, core.Repaired{What: "seam"})
			l.adds(2, ruled("en943", pass), core.Closed{})
		}, "not fit: failed, repaired"},
		{"and cleared by the one after", func(l *life) {
			l.runs(t, 1, "en943", fail)
			l.adds(2, core.Opened{Suit: l.file.Suit, Method: method(t, "en943")}, core.Taken{})
			l.adds(0, core.Repaired{What: "seam"})
			l.adds(2, ruled("en943", pass), core.Closed{})
			l.runs(t, 3, "en943", pass)
		}, "fit"},
		{"repaired, and failed again", func(l *life) {
			l.runs(t, 1, "en943", fail)
			l.adds(0, core.Repaired{What: "seam"})
			l.runs(t, 2, "en943", fail)
			l.runs(t, 3, "en943", pass)
		}, "not fit: failed"},

		// What a test cannot see.
		{"found and tested", func(l *life) { l.adds(0, torn); l.runs(t, 1, "en943", pass) }, "not fit: defect found"},
		{"found, its cause stated, tested", func(l *life) {
			l.runs(t, 1, "en943", fail)
			l.adds(0, torn, core.CauseStated{What: "hose"})
			l.runs(t, 2, "en943", pass)
		}, "not fit: defect found"},
		{"found, repaired, tested", func(l *life) { l.adds(0, torn, core.Repaired{What: "diaphragm"}); l.runs(t, 1, "en943", pass) }, "fit"},
		{"repaired, then found", func(l *life) { l.adds(0, core.Repaired{What: "diaphragm"}, torn); l.runs(t, 1, "en943", pass) }, "not fit: defect found"},
		{"found while restoring after a pass", func(l *life) {
			l.adds(1, core.Opened{Suit: l.file.Suit, Method: method(t, "en943")}, core.Taken{}, ruled("en943", pass),
				core.DefectSeen{Item: 3, What: "diaphragm torn"}, core.Closed{})
			l.runs(t, 2, "en943", pass)
		}, "not fit: defect found"},
		{"seen before it was inflated", func(l *life) {
			by := ruled("en943", fail)
			by.Verdict.Reason, by.Verdict.Defect = core.DefectByEye, "cut glove"
			l.adds(1, core.Opened{Suit: l.file.Suit, Method: method(t, "en943")}, core.DefectSeen{Item: 3, What: "cut glove"}, by, core.Closed{})
			l.adds(0, core.CauseStated{What: "no hole at all"}) // no cause outside the suit explains it
			l.runs(t, 2, "en943", pass)
		}, "not fit: defect found"},

		// Withdrawn, retired.
		{"withdrawn for a fail", func(l *life) {
			l.runs(t, 1, "en943", fail)
			l.adds(0, core.Withdrawn{})
			l.runs(t, 2, "en943", pass)
			l.adds(0, core.Released{})
		}, "not fit: failed"},
		{"withdrawn, tested by another method", func(l *life) {
			l.runs(t, 1, "en943", pass)
			l.adds(0, core.Withdrawn{})
			l.runs(t, 2, "osha", pass)
			l.adds(0, core.Released{})
		}, "not fit: withdrawn"},
		{"reinstated", func(l *life) { l.runs(t, 1, "en943", pass); l.adds(0, core.Retired{}, core.Reinstated{}) }, "not fit: reinstated"},
		{"reinstated and tested", func(l *life) {
			l.runs(t, 1, "en943", pass)
			l.adds(0, core.Retired{}, core.Reinstated{})
			l.runs(t, 2, "en943", pass)
		}, "fit"},
		{"reinstated and tested by another method", func(l *life) {
			l.runs(t, 1, "en943", pass)
			l.adds(0, core.Retired{}, core.Reinstated{})
			l.runs(t, 2, "osha", pass)
		}, "not fit: reinstated"},
		{"found, retired, reinstated, tested", func(l *life) {
			l.adds(0, torn, core.Retired{}, core.Reinstated{})
			l.runs(t, 1, "en943", pass)
		}, "not fit: defect found"},
	} {
		l := newLife(t)
		tt.live(l)
		if got := l.says(); got != tt.want {
			t.Errorf("%s: %s; want %s", tt.name, got, tt.want)
		}
	}
}

// TestFirstRules: a journal from before these rules replays as it did then: any
// method cleared the suit, a second try cleared a fail, and a test what was found.
func TestFirstRules(t *testing.T) {
	old := func(l *life, run core.RunID, key string, o core.Outcome) {
		l.adds(run, core.Opened{Suit: l.file.Suit, Method: method(t, key)}, core.Taken{}, judged(o), core.Closed{})
	}
	for _, tt := range []struct {
		name string
		live func(l *life)
		want string
	}{
		{"another method after a fail", func(l *life) { old(l, 1, "en943", core.Fail); old(l, 2, "f1052", core.Pass) }, "fit"},
		{"a second try", func(l *life) { old(l, 1, "en943", core.Fail); old(l, 2, "en943", core.Pass) }, "fit"},
		{"a defect found", func(l *life) { l.adds(0, core.Found{What: "tear"}); old(l, 1, "en943", core.Pass) }, "fit"},
		{"a defect by eye", func(l *life) {
			by := judged(core.Fail)
			by.Verdict.Reason = core.DefectByEye
			l.adds(1, core.Opened{Suit: l.file.Suit, Method: method(t, "en943")}, by, core.Closed{})
		}, "not fit: failed"},
		// What comes since is by the rules of today, whatever it was that barred.
		{"an old fail, tried again today", func(l *life) { old(l, 1, "en943", core.Fail); l.runs(t, 2, "en943", core.Pass) }, "not fit: failed"},
		{"an old fail, repaired, tested today", func(l *life) {
			old(l, 1, "en943", core.Fail)
			l.adds(0, core.Repaired{})
			l.runs(t, 2, "en943", core.Pass)
		}, "fit"},
		{"an old pass by another method", func(l *life) { old(l, 1, "osha", core.Pass); l.runs(t, 2, "osha", core.Pass) }, "fit"},
	} {
		l := newLife(t)
		tt.live(l)
		if got := l.says(); got != tt.want {
			t.Errorf("%s: %s; want %s", tt.name, got, tt.want)
		}
	}
}

// TestDefectNumbers: the number of a defect stays the same until a test clears it,
// so that two repairs told one after the other mean what they say.
func TestDefectNumbers(t *testing.T) {
	l := newLife(t)
	l.adds(0, core.Found{What: "seam"}, core.Used{}, core.Found{What: "visor"})
	l.runs(t, 1, "en943", core.Fail)
	open := func() string {
		words := ""
		for i, b := range l.file.Defects() {
			words += fmt.Sprint(i+1, " ", b.Kind, " ", b.Note, " ", b.Remedied, "; ")
		}
		return words
	}
	for _, tt := range []struct {
		fact core.Fact
		want string
	}{
		{core.Noted{}, "1 defect found seam false; 2 defect found visor false; 3 failed  false; "},
		{core.Repaired{Of: []int{1}}, "1 defect found seam true; 2 defect found visor false; 3 failed  false; "},
		{core.Repaired{Of: []int{4, 0}}, "1 defect found seam true; 2 defect found visor false; 3 failed  false; "},
		{core.CauseStated{What: "hose"}, "1 defect found seam true; 2 defect found visor false; 3 failed  true; "},
		{core.Found{What: "glove"}, "1 defect found seam true; 2 defect found visor false; 3 failed  true; 4 defect found glove false; "},
		{core.Repaired{Of: []int{2}}, "1 defect found seam true; 2 defect found visor true; 3 failed  true; 4 defect found glove false; "},
	} {
		l.adds(0, tt.fact)
		if got := open(); got != tt.want {
			t.Errorf("after %T %+v: %s; want %s", tt.fact, tt.fact, got, tt.want)
		}
	}
	// A test clears what was repaired; what is left is numbered from 1.
	l.runs(t, 2, "en943", core.Pass)
	if got, want := open(), "1 defect found glove false; "; got != want {
		t.Errorf("tested: %s, want %s", got, want)
	}
	l.adds(0, core.Repaired{})
	l.runs(t, 3, "en943", core.Pass)
	if got := l.says(); got != "fit" {
		t.Errorf("all repaired and tested: %s", got)
	}
}

// TestFileDecides: what may be said of a suit's defects, and in which words.
func TestFileDecides(t *testing.T) {
	l := newLife(t)
	refused := func(fact core.Fact, want core.Why) {
		t.Helper()
		if got, err := l.file.Decide(fact); why(t, err) != want || (got == nil) != (want != "") {
			t.Errorf("%T %+v: %+v, %v; want it refused: %q", fact, fact, got, err, want)
		}
	}
	refused(core.CauseStated{What: "hose"}, core.NothingFailed)
	refused(core.Reinstated{}, core.NotRetired)
	refused(core.Repaired{What: "seam"}, "")
	if got, err := l.file.Decide(core.Repaired{What: "gloves", Of: []int{2}}); err != nil || got.(core.Repaired).What != "2 gloves" || got.(core.Repaired).Of != nil {
		t.Errorf("a number without a defect: %+v, %v", got, err)
	}
	l.adds(0, core.Found{What: "seam"})
	refused(core.CauseStated{What: "hose"}, core.NothingFailed)
	refused(core.Repaired{Of: []int{1}}, "")
	refused(core.Repaired{Of: []int{2}}, core.NoSuchDefect)
	refused(core.Repaired{Of: []int{0}}, core.NoSuchDefect)
	if err := l.file.WhichRepaired(core.NoteRepaired{}); err != nil {
		t.Errorf("of one defect: %v", err)
	}
	l.runs(t, 1, "en943", core.Fail)
	refused(core.CauseStated{What: "hose"}, "")
	if err := l.file.WhichRepaired(core.NoteRepaired{}); why(t, err) != core.WhichDefect {
		t.Errorf("of two defects: %v", err)
	}
	for _, w := range []core.NoteRepaired{{All: true}, {Of: []int{1}}} {
		if err := l.file.WhichRepaired(w); err != nil {
			t.Errorf("%+v: %v", w, err)
		}
	}
	l.adds(0, core.CauseStated{What: "hose"})
	refused(core.CauseStated{What: "hose"}, core.NothingFailed) // it has one
	if err := l.file.WhichRepaired(core.NoteRepaired{}); err != nil {
		t.Errorf("of one that is left: %v", err)
	}
	l.adds(0, core.Retired{})
	refused(core.Repaired{}, core.SuitRetired)
	refused(core.Used{}, core.SuitRetired)
	refused(core.Reinstated{Why: "a slip"}, "")
}

// TestPaperInAnyOrder: tests from paper, in whatever order they come in, leave a
// suit in the same standing.
func TestPaperInAnyOrder(t *testing.T) {
	type test struct {
		day     string
		method  string
		outcome core.Outcome
		remedy  string
	}
	for _, tt := range []struct {
		name  string
		tests []test
		want  string
		due   string
	}{
		{"a fail and a pass", []test{{"2025-06-01", "en943", core.Fail, ""}, {"2025-06-02", "en943", core.Pass, ""}}, "not fit: failed", "2026-06-02"},
		{"a fail, what was done, a pass", []test{{"2025-06-01", "en943", core.Fail, "seam"}, {"2025-06-02", "en943", core.Pass, ""}}, "fit", "2026-06-02"},
		{"a fail, what was done, a pass by another method", []test{{"2025-06-01", "en943", core.Fail, "seam"}, {"2025-06-02", "osha", core.Pass, ""}}, "not fit: failed", "no date"},
		{"a pass by another method alone", []test{{"2025-06-02", "osha", core.Pass, ""}}, "not fit: no pass yet", "no date"},
		{"two fails, one without a remedy", []test{{"2025-06-01", "en943", core.Fail, "seam"}, {"2025-06-02", "en943", core.Fail, ""}, {"2025-06-03", "en943", core.Pass, ""}}, "not fit: failed", "2026-06-03"},
		{"a pass, a later fail that was remedied", []test{{"2025-06-01", "en943", core.Pass, ""}, {"2025-06-02", "en943", core.Fail, "seam"}}, "not fit: failed", "2026-06-01"},
		{"no verdict and a pass", []test{{"2025-06-01", "en943", core.NoVerdict, ""}, {"2025-06-02", "en943", core.Pass, ""}}, "fit", "2026-06-02"},
		{"a pass and no verdict", []test{{"2025-06-01", "en943", core.Pass, ""}, {"2025-06-02", "en943", core.NoVerdict, ""}}, "not fit: no verdict", "2026-06-01"},
		{"two passes and one by another method", []test{{"2025-06-01", "en943", core.Pass, ""}, {"2025-06-02", "en943", core.Pass, ""}, {"2025-06-03", "osha", core.Pass, ""}}, "fit", "2026-06-02"},
	} {
		for _, order := range permutations(len(tt.tests)) {
			l := newLife(t)
			for _, i := range order {
				p := tt.tests[i]
				day := mustDate(t, p.day)
				l.addsAt(day.Start(time.UTC).Add(12*time.Hour), 0, core.PaperTest{
					Day: day, Method: p.method, Outcome: p.outcome, Remedy: p.remedy, Rules: core.Rules,
				})
			}
			st := l.file.Standing(l.policy, mustDate(t, "2026-03-02"))
			if got := l.says(); got != tt.want || st.Due.String() != tt.due {
				t.Errorf("%s, in the order %v: %s, due %v; want %s, due %s", tt.name, order, got, st.Due, tt.want, tt.due)
			}
		}
	}
}

// permutations returns the orders of n things.
func permutations(n int) [][]int {
	if n == 0 {
		return [][]int{nil}
	}
	var all [][]int
	for _, p := range permutations(n - 1) {
		for i := range n {
			all = append(all, slices.Insert(slices.Clone(p), i, n-1))
		}
	}
	return all
}

// TestStatedMoments: a stated moment is believed for three minutes after it; from
// memory it is a note, which decides nothing.
func TestStatedMoments(t *testing.T) {
	for _, tt := range []struct {
		after time.Duration // after the moment, which is that of the bell
		comes string
	}{
		{-1, "refused: " + string(core.NotYet)},
		{0, "Taken Judged"},
		{3 * time.Minute, "Taken Judged"},
		{3*time.Minute + 1, "Noted"},
		{3 * time.Hour, "Noted"},
	} {
		s := newScene(t)
		s.holds(newSuit(t, "HP-07"), "en943", "M-1", "16.5")
		s.waits(6*time.Minute + tt.after)
		if got := s.come(stated("13.6", 6*time.Minute)); got != tt.comes {
			t.Errorf("%v after the moment: %s, want %s", tt.after, got, tt.comes)
		}
	}
}

// TestAirAtTheEnds: what is read of the air within two minutes of the start or of
// the ending pressure counts, the extremes of it; anything else is a note. Half a
// kelvin up hides more than the half millibar that is left of the limit.
func TestAirAtTheEnds(t *testing.T) {
	air := func(at time.Duration, celsius string) core.Condition {
		return core.Condition{At: morning.Add(10*time.Minute + at), Air: core.Surroundings{Celsius: celsius}}
	}
	const minute = time.Minute
	for _, tt := range []struct {
		name string
		read []core.Condition // from the start on, which is 10 min after the run began
		want core.Reason
	}{
		{"at both ends", []core.Condition{air(0, "20.0"), air(6*minute, "20.5")}, core.AirHides},
		{"within two minutes of the start", []core.Condition{air(2*minute, "20.0"), air(6*minute, "20.5")}, core.AirHides},
		{"later", []core.Condition{air(2*minute+1, "20.0"), air(6*minute, "20.5")}, core.OnTime},
		{"before the start", []core.Condition{air(-2*minute, "20.0"), air(6*minute, "20.5")}, core.AirHides},
		{"long before the start", []core.Condition{air(-2*minute-1, "20.0"), air(6*minute, "20.5")}, core.OnTime},
		{"before the end", []core.Condition{air(0, "20.0"), air(4*minute, "20.5")}, core.AirHides},
		{"long before the end", []core.Condition{air(0, "20.0"), air(4*minute-1, "20.5")}, core.OnTime},
		{"in the middle, as if it replaced the start", []core.Condition{air(0, "20.0"), air(3*minute, "20.5"), air(6*minute, "20.5")}, core.AirHides},
		{"the extremes at the start", []core.Condition{air(0, "20.0"), air(minute, "20.5"), air(6*minute, "20.5")}, core.AirHides},
		{"the extremes at the end", []core.Condition{air(0, "20.0"), air(5*minute, "20.5"), air(6*minute, "20.0")}, core.AirHides},
		{"after the verdict", []core.Condition{air(0, "20.0"), air(8*minute, "20.5")}, core.AirHides},
		{"long after the verdict", []core.Condition{air(0, "20.0"), air(8*minute+1, "20.5")}, core.OnTime},
		{"better after the verdict", []core.Condition{air(0, "20.0"), air(6*minute, "20.5"), air(7*minute, "20.0")}, core.AirHides},
	} {
		s := newScene(t)
		s.opens(newSuit(t, "HP-07"), "en943", "M-1")
		s.does(core.Tick{All: true})
		s.inflates()
		read := tt.read
		until := func(at time.Time) {
			for len(read) > 0 && !read[0].At.After(at) {
				s.now = read[0].At
				s.does(core.Air{Celsius: read[0].Air.Celsius})
				read = read[1:]
			}
			s.now = at
		}
		until(morning.Add(10*time.Minute - 1))
		s.now = morning.Add(10 * time.Minute)
		s.reads("16.5")
		until(morning.Add(16 * time.Minute))
		s.reads("14.0")
		until(morning.Add(time.Hour))
		if _, reason := s.verdict(); reason != tt.want {
			t.Errorf("%s: %s, want %s", tt.name, reason, tt.want)
		}
	}
}
