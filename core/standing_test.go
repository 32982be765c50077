package core_test

import (
	"fmt"
	"math/rand/v2"
	"reflect"
	"slices"
	"strings"
	"testing"
	"time"

	"benchbell/core"
)

// life is a suit's file as entries make it.
type life struct {
	file    core.File
	entries []core.Entry
	now     time.Time
	policy  core.Policy
}

func newLife(t testing.TB) *life {
	t.Helper()
	l := &life{now: morning, policy: core.DefaultPolicy()}
	l.adds(0, core.SuitRegistered{Suit: newSuit(t, "HP-07")})
	return l
}

// adds applies facts of a run, or of none, a minute apart.
func (l *life) adds(run core.RunID, facts ...core.Fact) {
	for _, f := range facts {
		l.now = l.now.Add(time.Minute)
		l.addsAt(l.now, run, f)
	}
}

func (l *life) addsAt(at time.Time, run core.RunID, f core.Fact) {
	e := core.Entry{Seq: uint64(len(l.entries) + 1), At: at, By: tester, Suit: "HP-07", Run: run, Fact: f}
	l.entries = append(l.entries, e)
	l.file = l.file.Apply(e)
}

// tested adds a whole run with an outcome.
func (l *life) tested(run core.RunID, outcome core.Outcome) {
	l.adds(run, core.Opened{}, core.Taken{}, judged(outcome), core.Closed{})
}

func judged(o core.Outcome) core.Judged { return core.Judged{Verdict: core.Verdict{Outcome: o}} }

// says is the standing now, with its reasons: "not fit: used, repaired".
func (l *life) says() string { return l.saysOn(core.DateAt(l.now, l.policy.Zone)) }

func (l *life) saysOn(day core.Date) string {
	st := l.file.Standing(l.policy, day)
	words := string(st.Kind)
	for i, b := range st.Bars {
		words += [...]string{": ", ", "}[min(i, 1)] + string(b.Kind)
	}
	return words
}

// TestStanding tells suits' lives, and what the suit is at the end.
func TestStanding(t *testing.T) {
	pass, fail, none := judged(core.Pass), judged(core.Fail), judged(core.NoVerdict)
	for _, tt := range []struct {
		name string
		live func(l *life)
		want string
	}{
		{"received", func(*life) {}, "not fit: no pass yet"},
		{"tested", func(l *life) { l.tested(1, core.Pass) }, "fit"},
		{"failed", func(l *life) { l.tested(1, core.Fail) }, "not fit: failed"},
		{"without verdict", func(l *life) { l.tested(1, core.NoVerdict) }, "not fit: no verdict"},
		{"failed and then passed", func(l *life) { l.tested(1, core.Fail); l.tested(2, core.Pass) }, "fit"},
		{"passed and then failed", func(l *life) { l.tested(1, core.Pass); l.tested(2, core.Fail) }, "not fit: failed"},
		{"used", func(l *life) { l.tested(1, core.Pass); l.adds(0, core.Used{When: l.now}) }, "not fit: used"},
		{"repaired", func(l *life) { l.tested(1, core.Pass); l.adds(0, core.Repaired{}) }, "not fit: repaired"},
		{"defect found", func(l *life) { l.tested(1, core.Pass); l.adds(0, core.Found{}) }, "not fit: defect found"},
		{"withdrawn", func(l *life) { l.tested(1, core.Pass); l.adds(0, core.Withdrawn{}) }, "not fit: withdrawn"},
		{"every reason is told", func(l *life) {
			l.tested(1, core.Pass)
			l.adds(0, core.Used{}, core.Found{}, core.Repaired{}, core.Withdrawn{})
		}, "not fit: used, defect found, repaired, withdrawn"},
		{"and one test lifts them all", func(l *life) {
			l.adds(0, core.Used{}, core.Found{}, core.Repaired{})
			l.tested(1, core.Pass)
		}, "fit"},
		{"but a withdrawal", func(l *life) {
			l.adds(0, core.Used{}, core.Withdrawn{})
			l.tested(1, core.Pass)
		}, "not fit: withdrawn"},
		{"which takes an officer's word besides", func(l *life) {
			l.adds(0, core.Used{}, core.Withdrawn{})
			l.tested(1, core.Pass)
			l.adds(0, core.Released{})
		}, "fit"},
		{"after the test", func(l *life) {
			l.tested(1, core.Pass)
			l.adds(0, core.Withdrawn{}, core.Released{})
			l.tested(2, core.Pass)
		}, "not fit: withdrawn"},
		{"and for each", func(l *life) {
			l.adds(0, core.Withdrawn{})
			l.tested(1, core.Pass)
			l.adds(0, core.Withdrawn{}, core.Released{})
		}, "not fit: withdrawn"},
		{"a fail does not lift it", func(l *life) {
			l.adds(0, core.Withdrawn{})
			l.tested(1, core.Fail)
			l.adds(0, core.Released{})
		}, "not fit: withdrawn, failed"},
		{"nor does a pass corrected to a fail", func(l *life) {
			l.adds(0, core.Withdrawn{})
			l.tested(1, core.Pass)
			l.adds(1, fail)
			l.adds(0, core.Released{})
			l.tested(2, core.Pass)
		}, "not fit: withdrawn"},
		{"registered anew", func(l *life) { l.tested(1, core.Pass); l.adds(0, core.SuitRegistered{Suit: l.file.Suit}) }, "fit"},

		// A run that is open.
		{"opened", func(l *life) { l.tested(1, core.Pass); l.adds(2, core.Opened{}) }, "on the bench: run open"},
		{"passed, to be restored", func(l *life) { l.adds(1, core.Opened{}, core.Taken{}, pass) }, "on the bench: no pass yet, restore not complete"},
		{"stopped, to be restored", func(l *life) { l.tested(1, core.Pass); l.adds(2, core.Opened{}, core.Stopped{}) }, "on the bench: restore not complete"},
		{"resumed", func(l *life) { l.adds(1, core.Opened{}, core.Taken{}, fail, core.HoldResumed{}) }, "on the bench: no pass yet, run open"},
		{"stopped before it was inflated", func(l *life) { l.tested(1, core.Pass); l.adds(2, core.Opened{}, core.Stopped{}, core.Closed{}) }, "fit"},
		{"stopped after", func(l *life) {
			l.tested(1, core.Pass)
			l.adds(2, core.Opened{}, core.Taken{}, core.Stopped{}, core.Closed{})
		}, "not fit: test not finished"},
		{"a defect by eye", func(l *life) { l.tested(1, core.Pass); l.adds(2, core.Opened{}, fail, core.Closed{}) }, "not fit: failed"},
		{"failed, resumed and stopped", func(l *life) {
			l.adds(1, core.Opened{}, core.Taken{}, fail, core.HoldResumed{}, core.Stopped{}, core.Closed{})
		}, "not fit: no pass yet, test not finished"},
		{"repeated and stopped", func(l *life) {
			l.adds(1, core.Opened{}, core.Taken{}, none, core.Again{}, core.Stopped{}, core.Closed{})
		}, "not fit: no pass yet, test not finished"},
		{"repeated and passed", func(l *life) { l.adds(1, core.Opened{}, core.Taken{}, none, core.Again{}, pass, core.Closed{}) }, "fit"},
		{"failed, then stopped", func(l *life) { l.adds(1, core.Opened{}, core.Taken{}, fail, core.Stopped{}, core.Closed{}) }, "not fit: failed"},

		// What comes to light while the run is open is not tested by it.
		{"used during the run", func(l *life) {
			l.adds(1, core.Opened{}, core.Taken{})
			l.adds(0, core.Used{})
			l.adds(1, pass, core.Closed{})
		}, "not fit: used"},
		{"repaired in the leak hunt", func(l *life) {
			l.adds(1, core.Opened{}, core.Taken{}, pass)
			l.adds(0, core.Repaired{})
			l.adds(1, core.Closed{})
		}, "not fit: repaired"},
		{"and the next test lifts it", func(l *life) {
			l.adds(1, core.Opened{}, core.Taken{}, pass)
			l.adds(0, core.Repaired{})
			l.adds(1, core.Closed{})
			l.tested(2, core.Pass)
		}, "fit"},
		{"at the very moment of the opening, but before it", func(l *life) {
			l.addsAt(l.now, 0, core.Used{})
			l.addsAt(l.now, 1, core.Opened{})
			l.adds(1, core.Taken{}, pass, core.Closed{})
		}, "fit"},
		{"at the very moment of the opening, but after it", func(l *life) {
			l.addsAt(l.now, 1, core.Opened{})
			l.addsAt(l.now, 0, core.Used{})
			l.adds(1, core.Taken{}, pass, core.Closed{})
		}, "not fit: used"},
		{"during the run, the server's clock set back", func(l *life) {
			l.adds(1, core.Opened{})
			l.now = l.now.Add(-time.Hour)
			l.adds(0, core.Found{})
			l.adds(1, core.Taken{}, pass, core.Closed{})
		}, "not fit: defect found"},

		// Corrections after a run was closed.
		{"a pass corrected to a fail", func(l *life) { l.tested(1, core.Pass); l.adds(1, core.Corrected{}, fail) }, "not fit: failed"},
		{"a pass corrected to no verdict", func(l *life) { l.tested(1, core.Pass); l.adds(1, core.Corrected{}, none) }, "not fit: no verdict"},
		{"a pass corrected, a pass still", func(l *life) { l.tested(1, core.Pass); l.adds(1, core.Corrected{}, pass) }, "fit"},
		{"a fail never becomes a pass", func(l *life) { l.tested(1, core.Fail); l.adds(1, core.Corrected{}, pass) }, "not fit: failed"},
		{"corrected to a fail, tested again", func(l *life) { l.tested(1, core.Pass); l.adds(1, fail); l.tested(2, core.Pass) }, "fit"},
		{"corrected to a fail while the next run is open", func(l *life) {
			l.tested(1, core.Pass)
			l.adds(2, core.Opened{}, core.Taken{})
			l.adds(1, fail)
			l.adds(2, pass, core.Closed{})
		}, "not fit: failed"},
		{"an old pass corrected, a pass still, after the next run failed", func(l *life) {
			l.tested(1, core.Pass)
			l.adds(2, core.Opened{}, core.Taken{}, fail)
			l.adds(1, core.Corrected{}, pass)
			l.adds(2, core.Closed{})
		}, "not fit: failed"},
		{"and after the next run was stopped", func(l *life) {
			l.tested(1, core.Pass)
			l.adds(2, core.Opened{}, core.Taken{}, core.Stopped{})
			l.adds(1, core.Corrected{}, pass)
			l.adds(2, core.Closed{})
		}, "not fit: test not finished"},
		{"opened while another is open", func(l *life) {
			l.adds(1, core.Opened{}, core.Taken{}, fail)
			l.tested(2, core.Pass)
		}, "fit"},
		{"opened while another is open, and stopped", func(l *life) {
			l.tested(1, core.Pass)
			l.adds(2, core.Opened{}, fail)
			l.adds(3, core.Opened{}, core.Stopped{}, core.Closed{})
		}, "not fit: failed, test not finished"},
		{"facts of no run", func(l *life) { l.adds(0, pass, core.Closed{}) }, "not fit: no pass yet"},
		{"facts of a run that was never opened", func(l *life) { l.adds(3, core.Taken{}, pass, core.Closed{}) }, "not fit: no pass yet"},

		{"retired", func(l *life) { l.tested(1, core.Pass); l.adds(0, core.Retired{}) }, "retired: retired"},
		{"retired and tested", func(l *life) { l.adds(0, core.Retired{}); l.tested(1, core.Pass) }, "retired: retired"},
		{"retired and registered", func(l *life) { l.adds(0, core.Retired{}, core.SuitRegistered{Suit: l.file.Suit}) }, "retired: no pass yet, retired"},
		{"retired on the bench", func(l *life) { l.adds(1, core.Opened{}); l.adds(0, core.Retired{}) }, "retired: no pass yet, retired, run open"},
	} {
		l := newLife(t)
		tt.live(l)
		if got := l.says(); got != tt.want {
			t.Errorf("%s: %s; want %s", tt.name, got, tt.want)
		}
	}
	if st := (core.File{}).Standing(core.DefaultPolicy(), mustDate(t, "2026-03-02")); st.Wearable() {
		t.Error("a suit that nobody registered may be worn")
	}
}

// TestPaper takes in tests from before the journal. They come in any order.
func TestPaper(t *testing.T) {
	paper := func(l *life, day string, o core.Outcome) {
		noon := mustDate(t, day).Start(time.UTC).Add(12 * time.Hour)
		l.addsAt(noon, 0, core.PaperTest{Day: mustDate(t, day), Method: "en943", Outcome: o})
	}
	for _, tt := range []struct {
		name string
		live func(l *life)
		want string
		due  string
	}{
		{"a pass", func(l *life) { paper(l, "2025-06-01", core.Pass) }, "fit", "2026-06-01"},
		{"an old pass", func(l *life) { paper(l, "2025-03-01", core.Pass) }, "not fit: test overdue", "2026-03-01"},
		{"a fail", func(l *life) { paper(l, "2025-06-01", core.Fail) }, "not fit: failed", "no date"},
		{"a fail and a later pass", func(l *life) { paper(l, "2025-06-01", core.Fail); paper(l, "2025-06-02", core.Pass) }, "fit", "2026-06-02"},
		{"the same, the pass first", func(l *life) { paper(l, "2025-06-02", core.Pass); paper(l, "2025-06-01", core.Fail) }, "fit", "2026-06-02"},
		{"a pass and a later fail", func(l *life) { paper(l, "2025-06-01", core.Pass); paper(l, "2025-06-02", core.Fail) }, "not fit: failed", "2026-06-01"},
		{"the same, the fail first", func(l *life) { paper(l, "2025-06-02", core.Fail); paper(l, "2025-06-01", core.Pass) }, "not fit: failed", "2026-06-01"},
		{"both on one day", func(l *life) { paper(l, "2025-06-01", core.Fail); paper(l, "2025-06-01", core.Pass) }, "not fit: failed", "2026-06-01"},
		{"two passes, the older last", func(l *life) { paper(l, "2025-06-02", core.Pass); paper(l, "2025-05-02", core.Pass) }, "fit", "2026-06-02"},
		{"an older pass after a run", func(l *life) { l.tested(1, core.Pass); paper(l, "2025-05-02", core.Pass) }, "fit", "2027-03-02"},
		// What the journal saw itself is not lifted by paper.
		{"a run failed", func(l *life) { l.tested(1, core.Fail); paper(l, "2025-06-02", core.Pass) }, "not fit: failed", "2026-06-02"},
		{"a run failed, paper dated after it", func(l *life) { l.tested(1, core.Fail); paper(l, "2026-03-03", core.Pass) }, "not fit: failed", "2027-03-03"},
		{"no verdict", func(l *life) { l.tested(1, core.NoVerdict); paper(l, "2026-03-03", core.Pass) }, "not fit: no verdict", "2027-03-03"},
		{"used", func(l *life) { l.adds(0, core.Used{}); paper(l, "2026-03-03", core.Pass) }, "not fit: used", "2027-03-03"},
		{"unfinished", func(l *life) {
			l.adds(1, core.Opened{}, core.Taken{}, core.Stopped{}, core.Closed{})
			paper(l, "2026-03-03", core.Pass)
		}, "not fit: test not finished", "2027-03-03"},
		{"retired", func(l *life) { l.adds(0, core.Retired{}); paper(l, "2026-03-03", core.Pass) }, "retired: retired", "2027-03-03"},
	} {
		l := newLife(t)
		tt.live(l)
		if got := l.says(); got != tt.want {
			t.Errorf("%s: %s; want %s", tt.name, got, tt.want)
		}
		if got := l.file.Standing(l.policy, mustDate(t, "2026-03-02")).Due.String(); got != tt.due {
			t.Errorf("%s: due %s; want %s", tt.name, got, tt.due)
		}
	}
}

// TestDue: a pass is good through the last minute of its due date, at the
// station's own clock.
func TestDue(t *testing.T) {
	warsaw := mustZone(t, "Europe/Warsaw")
	months := func(n int) core.Period { return core.Period{Months: n} }
	for _, tt := range []struct {
		name           string
		judged         string // the moment of the verdict
		zone           *time.Location
		suit           core.Period // the suit's own interval
		due            string
		soonFrom, late string // the first instants of due soon and of overdue
	}{
		{"a year", "2026-03-02T12:00:00Z", time.UTC, core.Period{}, "2027-03-02", "2027-01-31T00:00:00Z", "2027-03-03T00:00:00Z"},
		{"the day of the station", "2026-03-02T23:30:00Z", warsaw, core.Period{}, "2027-03-03", "2027-01-31T23:00:00Z", "2027-03-03T23:00:00Z"},
		{"its own half year", "2026-08-31T12:00:00Z", time.UTC, months(6), "2027-02-28", "2027-01-29T00:00:00Z", "2027-03-01T00:00:00Z"},
		{"from a leap day", "2028-02-29T12:00:00Z", time.UTC, core.Period{}, "2029-02-28", "2029-01-29T00:00:00Z", "2029-03-01T00:00:00Z"},
		{"over the change to summer time", "2026-03-28T12:00:00Z", warsaw, core.Period{Days: 1}, "2026-03-29", "2026-03-27T23:00:00Z", "2026-03-29T22:00:00Z"},
	} {
		l := newLife(t)
		l.policy.Zone = tt.zone
		suit := l.file.Suit
		suit.Interval = tt.suit
		l.adds(0, core.SuitRegistered{Suit: suit})
		at := instant(t, tt.judged)
		l.addsAt(at, 1, core.Opened{})
		l.addsAt(at, 1, core.Taken{})
		l.addsAt(at, 1, judged(core.Pass))
		l.addsAt(at.Add(3*24*time.Hour), 1, core.Closed{}) // restoring takes no time from it
		for _, moment := range []struct {
			at   time.Time
			want string
		}{
			{instant(t, tt.soonFrom).Add(-1), "fit"},
			{instant(t, tt.soonFrom), "fit, due soon"},
			{instant(t, tt.late).Add(-1), "fit, due soon"},
			{instant(t, tt.late), "not fit: test overdue"},
			{instant(t, tt.late).AddDate(5, 0, 0), "not fit: test overdue"},
		} {
			if tt.suit.Days == 1 && moment.want == "fit" {
				continue // never more than a day from due
			}
			l.now = moment.at
			if got := l.says(); got != moment.want {
				t.Errorf("%s: at %v %s, want %s", tt.name, moment.at.In(tt.zone), got, moment.want)
			}
		}
		st := l.file.Standing(l.policy, core.DateAt(l.now, tt.zone))
		if st.Due.String() != tt.due || !st.Bars[0].Since.Equal(instant(t, tt.late)) {
			t.Errorf("%s: due %v, overdue since %v", tt.name, st.Due, st.Bars[0].Since)
		}
	}
}

func instant(t testing.TB, s string) time.Time {
	t.Helper()
	at, err := time.Parse(time.RFC3339, s)
	if err != nil {
		t.Fatal(err)
	}
	return at
}

// TestEndOfLife: the last day counts; after it, no test helps.
func TestEndOfLife(t *testing.T) {
	l := newLife(t)
	suit := l.file.Suit
	suit.EndOfLife = mustDate(t, "2026-06-30")
	l.adds(0, core.SuitRegistered{Suit: suit})
	l.tested(1, core.Pass)
	for day, want := range map[string]string{
		"2026-06-29": "fit",
		"2026-06-30": "fit",
		"2026-07-01": "not fit: past end of life",
		"2030-01-01": "not fit: test overdue, past end of life",
	} {
		if got := l.saysOn(mustDate(t, day)); got != want {
			t.Errorf("on %s: %s, want %s", day, got, want)
		}
	}
	l.now = instant(t, "2026-07-02T12:00:00Z")
	l.tested(2, core.Pass)
	if got := l.says(); got != "not fit: past end of life" {
		t.Errorf("tested after its end: %s", got)
	}
}

// TestRelease: where the policy wants it, each pass needs an officer's word of
// its own, given after the run was closed.
func TestRelease(t *testing.T) {
	l := newLife(t)
	l.policy.Release = true
	steps := []struct {
		do   func()
		want string
	}{
		{func() { l.adds(0, core.Released{}) }, "not fit: no pass yet"},
		{func() { l.tested(1, core.Pass) }, "not fit: not released"},
		{func() { l.adds(0, core.Released{}) }, "fit"},
		{func() { l.adds(2, core.Opened{}, core.Taken{}, judged(core.Pass)) }, "on the bench: restore not complete"},
		{func() { l.adds(0, core.Released{}) }, "on the bench: restore not complete"},
		{func() { l.adds(2, core.Closed{}) }, "not fit: not released"},
		{func() { l.adds(0, core.Released{}) }, "fit"},
		{func() { l.adds(0, core.Used{}) }, "not fit: used"},
		{func() { l.adds(0, core.Released{}) }, "not fit: used"},
		{func() { l.tested(3, core.Fail) }, "not fit: used, failed"},
		{func() { l.adds(0, core.Released{}) }, "not fit: used, failed"},
	}
	for i, st := range steps {
		st.do()
		if got := l.says(); got != st.want {
			t.Errorf("step %d: %s, want %s", i+1, got, st.want)
		}
	}
}

// randomFact returns a fact of a suit's life, of a run numbered 1 to 4 or of
// none, in no order that makes sense.
func randomFact(t testing.TB, rng *rand.Rand) (core.RunID, core.Fact) {
	run := core.RunID(1 + rng.IntN(4))
	switch rng.IntN(12) {
	case 0:
		return 0, pick[core.Fact](rng, core.Used{}, core.Repaired{}, core.Found{}, core.Withdrawn{}, core.Released{})
	case 1:
		return 0, core.SuitRegistered{Suit: newSuit(t, "HP-07")}
	case 2:
		return run, pick[core.Fact](rng, core.Again{}, core.HoldResumed{}, core.Stopped{}, core.Corrected{}, core.Noted{})
	case 3, 4:
		return run, core.Taken{}
	case 5, 6, 7:
		return run, judged(pick(rng, core.Pass, core.Pass, core.Pass, core.Fail, core.NoVerdict))
	case 8:
		return run, core.Closed{}
	}
	return run, core.Opened{}
}

// TestNothingButATestMakesFit: whatever happens in whatever order, a suit that
// may be worn has a run that was opened after all that bars it, whose last
// verdict was a pass, and that was closed. The journal is searched for it here
// by other means than File's.
func TestNothingButATestMakesFit(t *testing.T) {
	rng := rand.New(rand.NewPCG(19, 20))
	fit := 0
	for range 4000 {
		l := newLife(t)
		for range 5 + rng.IntN(25) {
			run, fact := randomFact(t, rng)
			l.now = l.now.Add(pick(rng, 0, time.Second, time.Minute, -time.Minute))
			if rng.IntN(15) == 0 {
				l.tested(run, core.Pass)
			} else {
				l.addsAt(l.now, run, fact)
			}
			if !l.file.Standing(l.policy, core.DateAt(l.now, time.UTC)).Wearable() {
				continue
			}
			fit++
			opened, ok := lastGoodRun(l.entries)
			if !ok {
				t.Fatalf("fit without a run that passed:\n%s", journal(l.entries))
			}
			for i, e := range l.entries[opened:] {
				if bars(e.Fact) {
					t.Fatalf("fit with %T in line %d, after the run was opened:\n%s", e.Fact, opened+i+1, journal(l.entries))
				}
			}
			if !wordAfterWithdrawal(l.entries) {
				t.Fatalf("fit without an officer's word after it was withdrawn:\n%s", journal(l.entries))
			}
		}
	}
	if fit < 200 {
		t.Errorf("only %d lives made a suit fit: the test says little", fit)
	}
}

// bars reports whether a fact is a reason not to wear a suit.
func bars(f core.Fact) bool {
	switch f := f.(type) {
	case core.Used, core.Repaired, core.Found, core.Withdrawn, core.Retired:
		return true
	case core.Judged:
		return f.Verdict.Outcome == core.Fail
	}
	return false
}

// wordAfterWithdrawal reports whether an officer had the last word.
func wordAfterWithdrawal(entries []core.Entry) bool {
	said := true
	for _, e := range entries {
		switch e.Fact.(type) {
		case core.Withdrawn:
			said = false
		case core.Released:
			said = true
		}
	}
	return said
}

// lastGoodRun returns the index of the last Opened whose run was closed as it
// should be with a pass as its last word.
func lastGoodRun(entries []core.Entry) (opened int, ok bool) {
	for i := len(entries) - 1; i >= 0; i-- {
		if _, is := entries[i].Fact.(core.Opened); !is {
			continue
		}
		var outcome core.Outcome
		for _, e := range entries[i+1:] {
			if _, another := e.Fact.(core.Opened); another {
				break
			}
			if e.Run != entries[i].Run {
				continue
			}
			switch f := e.Fact.(type) {
			case core.Judged:
				outcome = f.Verdict.Outcome
			case core.Again, core.HoldResumed:
				outcome = ""
			case core.Closed:
				if outcome == core.Pass {
					return i, true
				}
			}
			if _, closed := e.Fact.(core.Closed); closed {
				break
			}
		}
	}
	return 0, false
}

func journal(entries []core.Entry) string {
	var b strings.Builder
	for i, e := range entries {
		fmt.Fprintf(&b, "%d. %s %v %T %+v\n", i+1, e.At.Format(time.TimeOnly), e.Run, e.Fact, e.Fact)
	}
	return b.String()
}

// TestTimeImprovesNothing: a suit's standing on a later day is never better,
// if nothing happens in between.
func TestTimeImprovesNothing(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	rank := map[core.StandingKind]int{core.Fit: 0, core.FitDueSoon: 1, core.NotFit: 2, core.OnTheBench: 3, core.OutForGood: 4}
	for range 600 {
		l := newLife(t)
		l.policy.DueSoon = core.Period{Months: rng.IntN(3), Days: rng.IntN(40)}
		suit := l.file.Suit
		suit.Interval = core.Period{Months: rng.IntN(14), Days: rng.IntN(40)}
		if rng.IntN(2) == 0 {
			suit.EndOfLife = mustDate(t, "2026-03-02").AddDays(rng.IntN(900))
		}
		l.now = l.now.AddDate(0, 0, rng.IntN(400))
		l.adds(0, core.SuitRegistered{Suit: suit})
		l.tested(1, core.Pass)
		for range rng.IntN(3) {
			run, fact := randomFact(t, rng)
			l.adds(run, fact)
		}
		day := core.DateAt(l.now, time.UTC)
		before := l.file.Standing(l.policy, day)
		for range 40 {
			day = day.AddDays(1 + rng.IntN(30))
			after := l.file.Standing(l.policy, day)
			benched := before.Kind == core.OnTheBench || before.Kind == core.OutForGood
			if rank[after.Kind] < rank[before.Kind] || len(after.Bars) < len(before.Bars) || benched && after.Kind != before.Kind {
				t.Fatalf("on %v it was %+v, later %+v", day, before, after)
			}
			before = after
		}
	}
}

// TestSuitFact: what is said about a suit, and when it was, if it was said.
func TestSuitFact(t *testing.T) {
	warsaw := mustZone(t, "Europe/Warsaw")
	at := instant(t, "2026-03-29T10:15:00Z") // 12:15 there, on the day of the change to summer time
	for _, tt := range []struct{ when, want string }{
		{"", "2026-03-29T10:15:00Z"},
		{"today", "2026-03-29T10:00:00Z"},     // noon
		{"yesterday", "2026-03-28T11:00:00Z"}, // noon, in winter time
		{"11:30", "2026-03-29T09:30:00Z"},
		{"01:59", "2026-03-29T00:59:00Z"},
		{"today 03:00", "2026-03-29T01:00:00Z"},
		{"yesterday 14:30", "2026-03-28T13:30:00Z"},
		{"2026-03-01", "2026-03-01T11:00:00Z"},
		{"2026-03-01 14:30", "2026-03-01T13:30:00Z"},
		{"12:15", "2026-03-29T10:15:00Z"},
		{"12:16", ""}, // still to come
		{"2026-03-30", ""},
		{"2026-02-30", ""},
		{"24:00", ""},
		{"noon", ""},
		{"yesterday noon", ""},
		{"29.03.2026", ""},
	} {
		tag, fact, err := core.SuitFact(core.NoteUsed{Suit: "hp7", When: tt.when, Note: "drill"}, at, warsaw)
		if tt.want == "" {
			if why(t, err) != core.BadMoment || fact != nil {
				t.Errorf("used %q: %+v, %v; want it refused", tt.when, fact, err)
			}
			continue
		}
		used, ok := fact.(core.Used)
		if err != nil || !ok || tag != "hp7" || used.Note != "drill" || !used.When.Equal(instant(t, tt.want)) {
			t.Errorf("used %q: %q, %+v, %v; want %s", tt.when, tag, fact, err, tt.want)
		}
	}
	if _, fact, err := core.SuitFact(core.NoteUsed{When: "today"}, instant(t, "2026-03-29T07:00:00Z"), warsaw); err != nil || !fact.(core.Used).When.Equal(instant(t, "2026-03-29T07:00:00Z")) {
		t.Errorf("used today, said in the morning: %+v, %v; want now, and not noon", fact, err)
	}
	for _, tt := range []struct {
		want core.Intent
		fact core.Fact
	}{
		{core.NoteFound{Suit: "hp7", What: "tear"}, core.Found{What: "tear"}},
		{core.NoteRepaired{Suit: "hp7", What: "seam"}, core.Repaired{What: "seam"}},
		{core.NoteRepaired{Suit: "hp7", What: "seam", Of: []int{2}}, core.Repaired{What: "seam", Of: []int{2}}},
		{core.NoteCause{Suit: "hp7", What: "hose"}, core.CauseStated{What: "hose"}},
		{core.Reinstate{Suit: "hp7", Why: "a slip"}, core.Reinstated{Why: "a slip"}},
		{core.Withdraw{Suit: "hp7", Why: "recall"}, core.Withdrawn{Why: "recall"}},
		{core.Retire{Suit: "hp7", Why: "old"}, core.Retired{Why: "old"}},
	} {
		if tag, fact, err := core.SuitFact(tt.want, at, warsaw); tag != "hp7" || !reflect.DeepEqual(fact, tt.fact) || err != nil {
			t.Errorf("%T: %q, %+v, %v", tt.want, tag, fact, err)
		}
	}
	if _, fact, err := core.SuitFact(core.AskFleet{}, at, warsaw); fact != nil || err != nil {
		t.Errorf("a question is the fact %+v, %v", fact, err)
	}
}

// TestRetiredForEver: nothing brings a retired suit back.
func TestRetiredForEver(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 24))
	for range 300 {
		l := newLife(t)
		l.adds(0, core.Retired{Why: "invented"})
		for range 20 {
			run, fact := randomFact(t, rng)
			l.adds(run, fact)
			st := l.file.Standing(l.policy, core.DateAt(l.now, time.UTC))
			told := slices.ContainsFunc(st.Bars, func(b core.Bar) bool { return b.Kind == core.BarOutOfReason })
			if st.Kind != core.OutForGood || st.Wearable() || !told {
				t.Fatalf("it is %+v after\n%s", st, journal(l.entries))
			}
		}
	}
}

// TestFileIsAValue: applying an entry to a file leaves the old one as it was.
func TestFileIsAValue(t *testing.T) {
	rng := rand.New(rand.NewPCG(25, 26))
	for range 200 {
		l := newLife(t)
		for range 25 {
			before := l.file
			was := fmt.Sprintf("%+v", before)
			run, fact := randomFact(t, rng)
			fork := before.Apply(core.Entry{At: l.now, Run: run, Fact: fact})
			forked := fmt.Sprintf("%+v", fork)
			run, fact = randomFact(t, rng)
			l.adds(run, fact)
			st := l.file.Standing(l.policy, core.DateAt(l.now, time.UTC))
			for i := range st.Bars {
				st.Bars[i].Note = "spoilt" // callers own what they get
			}
			if fmt.Sprintf("%+v", before) != was || fmt.Sprintf("%+v", fork) != forked {
				t.Fatalf("a file changed under %T", fact)
			}
		}
	}
}

// TestRunAndFileAgree plays whole runs at random, and holds the suit's file
// against them: while a run is open the suit is on the bench, and when it is
// closed the suit is fit only if the run's own verdict is a pass, by the suit's own
// method, and nothing was found bad while it was put away.
func TestRunAndFileAgree(t *testing.T) {
	rng := rand.New(rand.NewPCG(27, 28))
	closed, kept := make(map[core.Outcome]int), 0
	for range 900 {
		w := newWalk(t, rng)
		l := &life{policy: core.DefaultPolicy()}
		l.addsAt(morning.Add(-time.Hour), 0, core.SuitRegistered{Suit: w.run.Suit})
		for range 60 {
			w.step()
		}
		for _, e := range w.entries[w.run.ID] {
			l.addsAt(e.At, e.Run, e.Fact)
		}
		l.now = w.now
		st := l.file.Standing(l.policy, core.DateAt(l.now, time.UTC))
		var outcome core.Outcome
		if w.run.Verdict != nil {
			outcome = w.run.Verdict.Outcome
		}
		switch {
		case w.run.Phase != core.Over:
			if st.Kind != core.OnTheBench {
				t.Fatalf("the run is in %s and the suit %s", w.run.Phase, st.Kind)
			}
		case st.Wearable() != (outcome == core.Pass && w.run.Method.Key == w.run.Suit.Method && !w.run.FoundBad):
			t.Fatalf("the run was closed with %q and the suit is %s:\n%s", outcome, l.says(), journal(l.entries))
		case outcome == core.Pass && !st.Wearable():
			kept++
		default:
			closed[outcome]++
		}
	}
	if closed[core.Pass] < 10 || closed[core.Fail] < 10 || closed[core.NoVerdict] < 10 || kept < 10 {
		t.Errorf("only %v were closed, and %d passes that clear nothing: the test says little", closed, kept)
	}
}

// BenchmarkFile folds the journal of a suit with 500 closed runs.
func BenchmarkFile(b *testing.B) {
	suit := newSuit(b, "HP-07")
	s := newScene(b)
	entries := []core.Entry{{At: morning, Suit: suit.Tag, Fact: core.SuitRegistered{Suit: suit}}}
	for range 500 {
		s.passes(suit)
		s.restores()
		s.waits(time.Hour)
		entries = append(entries, s.entries[s.run.ID]...)
	}
	b.ReportMetric(float64(len(entries)), "entries")
	for b.Loop() {
		var f core.File
		for _, e := range entries {
			f = f.Apply(e)
		}
		if f.TestedBy != 500 {
			b.Fatalf("%+v", f)
		}
	}
}
