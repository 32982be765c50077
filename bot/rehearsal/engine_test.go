package rehearsal

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"slices"
	"strings"
	"sync"
	"testing"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/chattest"
	"benchbell/bot/config"
	"benchbell/bot/engine"
	"benchbell/bot/ledger"
	"benchbell/bot/outbox"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

// A bay is a rehearsal to which events of any kind can be brought, in any
// order and more than once.
type bay struct {
	*Rehearsal
	t     *testing.T
	print page
}

// A page is what was printed, by whatever goroutine.
type page struct {
	mu   sync.Mutex
	text bytes.Buffer
}

func (p *page) Write(b []byte) (int, error) {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.Write(b)
}

func (p *page) String() string {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.text.String()
}

// newBay sets up the demo station and plays a script.
func newBay(t *testing.T, script ...string) *bay {
	t.Helper()
	d := newBayOf(t, Demo())
	d.plays(script...)
	return d
}

func newBayOf(t *testing.T, cfg config.Config) *bay {
	t.Helper()
	d := &bay{t: t}
	start := Start(cfg)
	register, err := Fleet(cfg, nil, start)
	if err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(t.Output(), nil))
	d.Rehearsal, err = New(filepath.Join(t.TempDir(), "bay.db"), cfg, register, start, &d.print, log)
	if err != nil {
		t.Fatal(err)
	}
	d.Folder = "../../testdata/scripts"
	d.stage.now = d.stage.now.UTC() // as moments come back from the store
	t.Cleanup(func() {
		if d.down {
			return
		}
		if err := d.store.Check(); err != nil {
			t.Errorf("the store in the end: %v", err)
		}
		d.Close()
	})
	return d
}

// plays goes on with a script, a line an argument.
func (d *bay) plays(script ...string) {
	d.t.Helper()
	if err := d.Play(d.t.Context(), strings.Join(script, "\n")); err != nil {
		d.t.Fatal(err)
	}
}

// bring hands an event to the engine, at the present moment if it has none,
// and returns what the bot posts and edits because of it.
func (d *bay) bring(ev chat.Event) []string {
	d.t.Helper()
	if ev.At.IsZero() {
		ev.At = d.stage.now
	}
	d.stage.said = nil
	if err := d.engine.Handle(ev); err != nil {
		d.t.Fatalf("event %s: %v", ev.ID, err)
	}
	if err := d.settle(d.t.Context()); err != nil {
		d.t.Fatal(err)
	}
	var texts []string
	for _, s := range d.stage.said {
		texts = append(texts, s.text)
	}
	return texts
}

// lastOf returns somebody's last post.
func (d *bay) lastOf(who string) *stagePost {
	d.t.Helper()
	for _, p := range slices.Backward(d.stage.posts) {
		if p.by == who {
			return p
		}
	}
	d.t.Fatalf("%s has posted nothing", who)
	return nil
}

// run returns a run as the journal has it, open or closed.
func (d *bay) run(id core.RunID) core.Run {
	d.t.Helper()
	entries, err := d.store.OfRun(id)
	if err != nil {
		d.t.Fatal(err)
	}
	return core.Replay(entries)
}

// said is the event of a post, as it comes and as a catch-up brings it again.
func said(p *stagePost) chat.Event {
	_, mentioned := commands.WithoutMention(p.text, stageBot)
	return chat.Event{
		ID: p.id, At: p.at, Who: person(p.by), Where: p.where,
		What: chat.Said{Post: p.id, Text: p.text, Mentioned: mentioned},
	}
}

// edited is the event of a post whose text is another now.
func edited(p *stagePost, text string, n int, at time.Time) chat.Event {
	_, mentioned := commands.WithoutMention(text, stageBot)
	return chat.Event{
		ID: fmt.Sprintf("%s@%d", p.id, n), At: at, Who: person(p.by), Where: p.where,
		What: chat.Edited{Post: p.id, Text: text, Mentioned: mentioned, Posted: p.at},
	}
}

// tapsNow is what a catch-up says of the taps under a list.
func tapsNow(list *stagePost, id string, taps ...chat.Tap) chat.Event {
	return chat.Event{ID: id, Where: list.where, What: chat.TapsNow{Post: list.id, Taps: taps}}
}

// mustSay checks that one of the bot's posts has some words.
func mustSay(t *testing.T, said []string, words string) {
	t.Helper()
	if !slices.ContainsFunc(said, func(s string) bool { return strings.Contains(s, plain(words)) }) {
		t.Errorf("the bot said %q, without %q", said, words)
	}
}

func mustBeSilent(t *testing.T, said []string) {
	t.Helper()
	if len(said) > 0 {
		t.Errorf("the bot said %q, want nothing", said)
	}
}

// A wire keeps what came over it during a script, to bring it once more.
type wire struct {
	*bay
	events []chat.Event
	taps   map[string]map[int]chat.Tap // those that stand, by post and number
}

// step plays a step and keeps what it brought to the engine.
func (w *wire) step(s step) error {
	w.stage.now = w.stage.now.UTC()
	var list *stagePost
	if do, ok := s.do.(stepTap); ok {
		root := ""
		if p := w.stage.rootOf(w.runOf(do.who)); p != nil {
			root = p.id
		}
		list = w.stage.latestList(root)
	}
	if err := w.Rehearsal.step(w.t.Context(), s); err != nil {
		return err
	}
	switch do := s.do.(type) {
	case stepPost:
		w.events = append(w.events, said(w.lastOf(do.who)))
	case stepEdit:
		p := w.lastOf(do.who)
		w.events = append(w.events, edited(p, p.text, p.edits, w.stage.now))
	case stepTap:
		w.tap(list, do)
	}
	return nil
}

func (w *wire) tap(list *stagePost, do stepTap) {
	w.events = append(w.events, chat.Event{
		ID: fmt.Sprintf("tap/%s/%s/%d/%d", list.id, do.who, do.n, w.Rehearsal.taps),
		At: w.stage.now, Who: person(do.who), Where: list.where,
		What: chat.Tapped{Post: list.id, N: do.n, On: do.on},
	})
	if w.taps[list.id] == nil {
		w.taps[list.id] = make(map[int]chat.Tap)
	}
	w.taps[list.id][do.n] = chat.Tap{Who: person(do.who), N: do.n, At: w.stage.now}
	if !do.on {
		delete(w.taps[list.id], do.n)
	}
}

// again brings everything once more that a catch-up can bring, and returns
// what the bot said to it.
func (w *wire) again(line int) (said []string) {
	for _, ev := range w.events {
		said = append(said, w.bring(ev)...)
	}
	for _, p := range w.stage.posts {
		if p.offers > 0 {
			taps := slices.Collect(maps.Values(w.taps[p.id]))
			said = append(said, w.bring(tapsNow(p, fmt.Sprintf("taps now %s %d", p.id, line), taps...))...)
		}
	}
	return said
}

// TestStepByStep plays every script and stops after each step. A second engine
// made from a copy of the file is then in the same state as the first, and to
// bring everything once more that was said and tapped so far changes nothing.
func TestStepByStep(t *testing.T) {
	notInShort(t)
	eachScript(t, func(t *testing.T, path string) {
		text, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		steps, err := parseScript(string(text))
		if err != nil {
			t.Fatal(err)
		}
		w := &wire{bay: newBayOf(t, scriptConfig(t, path)), taps: make(map[string]map[int]chat.Tap)}
		w.plain = true
		if err := w.restart(t.Context()); err != nil {
			t.Fatal(err)
		}
		for _, s := range steps {
			if err := w.step(s); err != nil {
				t.Fatalf("line %d: %q: %v", s.line, s.text, err)
			}
			if _, isCheck := s.do.(stepCheck); isCheck || w.down {
				continue
			}
			if difference := w.sameAfterRestart(); difference != "" {
				t.Fatalf("line %d: %q: after a restart, %s", s.line, s.text, difference)
			}
			kept := w.stage.said
			if said := w.again(s.line); len(said) > 0 {
				t.Fatalf("line %d: %q: what was heard before and comes once more is answered by %q", s.line, s.text, said)
			}
			w.stage.said = kept
		}
		if len(w.fails) > 0 {
			t.Error(w.fails)
		}
	})
}

// sameAfterRestart says in what an engine made from a copy of the file
// differs from the one at work.
func (d *bay) sameAfterRestart() string {
	d.t.Helper()
	path := filepath.Join(d.t.TempDir(), "copy.db")
	f, err := os.Create(path)
	if err != nil {
		d.t.Fatal(err)
	}
	if err := d.store.Backup(f); err != nil {
		d.t.Fatal(err)
	}
	if err := f.Close(); err != nil {
		d.t.Fatal(err)
	}
	st, err := store.OpenThrowaway(path)
	if err != nil {
		d.t.Fatal(err)
	}
	defer st.Close()
	e, err := engine.New(st, d.cfg, stageBot, d.log)
	if err != nil {
		d.t.Fatal(err)
	}
	return difference(d.engine.Memory(), e.Memory())
}

// difference says in what the memories of two engines differ, if they do.
func difference(was, is engine.Memory) string {
	for _, part := range []struct {
		name    string
		was, is any
	}{
		{"runs", was.Bench.Runs, is.Bench.Runs},
		{"manometers used last", was.Bench.LastUsed, is.Bench.LastUsed},
		{"bench", was.Bench, is.Bench},
		{"files of the suits on it", was.Files, is.Files},
		{"next wake time", was.NextWake.Format(time.RFC3339), is.NextWake.Format(time.RFC3339)},
		{"last look", was.LastLook, is.LastLook},
	} {
		if !reflect.DeepEqual(part.was, part.is) {
			words := func(v any) string { return strings.ReplaceAll(fmt.Sprintf("%+v", v), " ", "\n") }
			return fmt.Sprintf("the %s differ: %s", part.name, firstDifference(words(part.was), words(part.is)))
		}
	}
	return ""
}

// TestSeenTwice: an event that changed nothing when it came is known again too,
// when it would change something.
func TestSeenTwice(t *testing.T) {
	t.Run("a tick of what was ticked", func(t *testing.T) {
		d := newBay(t, "bench.tester: @benchbell test HP-07", "bench.tester: ok 3", "bench.tester: ok 3")
		second := said(d.lastOf("bench.tester"))
		d.plays("bench.tester: undo 3")
		mustBeSilent(t, d.bring(second))
		if !slices.Contains(core.Missing(d.run(1).PrepareList), 3) {
			t.Error("number 3 is ticked again")
		}
	})
	t.Run("a tap on what was ticked", func(t *testing.T) {
		d := newBay(t, "bench.tester: @benchbell test HP-07", "bench.tester: ok 3")
		list := d.stage.latestList("")
		tap := chat.Event{ID: "tap", Who: person("bench.tester"), Where: list.where, What: chat.Tapped{Post: list.id, N: 3, On: true}}
		mustBeSilent(t, d.bring(tap))
		d.plays("bench.tester: undo 3")
		mustBeSilent(t, d.bring(tap))
	})
	t.Run("talk by who is the tester now", func(t *testing.T) {
		d := newBay(t, "bench.tester: @benchbell test HP-07", "crew.member ~R-0001: well done", "bench.tester: over to crew.member")
		mustBeSilent(t, d.bring(said(d.lastOf("crew.member"))))
	})
	t.Run("talk that is not for the bot", func(t *testing.T) {
		d := newBay(t)
		talk := chat.Event{ID: "x", Who: person("crew.member"), Where: chat.Where{Channel: stageCrew}, What: chat.Said{Post: "x", Text: "lunch?"}}
		mustBeSilent(t, d.bring(talk))
		if seen, err := d.store.Seen("x"); seen || err != nil {
			t.Errorf("the store keeps the id of what people say to each other: %v, %v", seen, err)
		}
	})
}

// TestMarks: how far a channel was read is kept with whatever was read.
func TestMarks(t *testing.T) {
	d := newBay(t)
	for i, text := range []string{"lunch?", "@benchbell HP-07", "@benchbell tset HP-07"} {
		mark := chat.Mark{Created: int64(i + 1), Updated: int64(i + 1), Anchor: fmt.Sprint("x", i)}
		d.bring(chat.Event{
			ID: mark.Anchor, Who: person("crew.member"), Where: chat.Where{Channel: stageCrew}, Mark: mark,
			What: chat.Said{Post: mark.Anchor, Text: text, Mentioned: i > 0},
		})
		marks, err := d.store.Marks()
		if err != nil || chat.Mark(marks[stageCrew]) != mark {
			t.Errorf("after %q the mark is %+v, %v; want %+v", text, marks[stageCrew], err, mark)
		}
	}
}

// TestAnotherSuitInTheThread: what is said of another suit in a run's thread is
// about that suit, and the run goes on with its own.
func TestAnotherSuitInTheThread(t *testing.T) {
	d := newBay(t, "bench.tester: @benchbell test HP-07", "bench.tester: ok all", "bench.tester: 17.5", "+10m",
		"bench.tester: found HP-09 seam lifts", "! HP-09: not fit", "! defect found")
	if difference := d.sameAfterRestart(); difference != "" {
		t.Errorf("after a restart, %s", difference)
	}
	d.plays("bench.tester: 16.5", "+6m", "bench.tester: 15.0", "! pass", "bench.tester: ok 1", "bench.tester: ok 2", "bench.tester: ok all", "! HP-07: fit", "!! HP-09",
		"bench.tester: @benchbell HP-07", "! HP-07: fit", "bench.tester: @benchbell HP-09", "! HP-09: not fit")
	for row, err := range d.store.Rows() {
		if err != nil {
			t.Fatal(err)
		}
		if want := map[string]core.StandingKind{"HP-07": core.Fit, "HP-09": core.NotFit}[row.Tag]; want != "" && row.Kind != want {
			t.Errorf("the row of %s says %s, want %s", row.Tag, row.Kind, want)
		}
	}
}

// TestTapsNow makes up for taps that were missed in a gap.
func TestTapsNow(t *testing.T) {
	tester, other := person("bench.tester"), person("crew.member")
	for name, test := range map[string]struct {
		script []string
		taps   func(now time.Time) []chat.Tap
		ticked []int
	}{
		"tapped": {
			nil, func(now time.Time) []chat.Tap {
				return []chat.Tap{{Who: tester, N: 2, At: now}, {Who: tester, N: 4, At: now}}
			},
			[]int{2, 4},
		},
		"taken back": {
			[]string{"tap bench.tester 2", "tap bench.tester 4"},
			func(now time.Time) []chat.Tap { return []chat.Tap{{Who: tester, N: 4, At: now}} },
			[]int{4},
		},
		"one taken back and one tapped": {
			[]string{"tap bench.tester 2"},
			func(now time.Time) []chat.Tap { return []chat.Tap{{Who: tester, N: 3, At: now}} },
			[]int{3},
		},
		"ticked by words": {
			[]string{"bench.tester: ok 2"},
			func(time.Time) []chat.Tap { return nil },
			[]int{2},
		},
		"tapped by somebody else": {
			nil, func(now time.Time) []chat.Tap { return []chat.Tap{{Who: other, N: 2, At: now}} },
			nil,
		},
		"no number of the list": {
			nil, func(now time.Time) []chat.Tap {
				return []chat.Tap{{Who: tester, N: 0, At: now}, {Who: tester, N: 11, At: now}, {Who: tester, N: 99, At: now}}
			},
			nil,
		},
		"tapped, then undone by words": {
			[]string{"tap bench.tester 2", "+1s", "bench.tester: undo 2"},
			func(now time.Time) []chat.Tap { return []chat.Tap{{Who: tester, N: 2, At: now.Add(-time.Second)}} },
			nil,
		},
		"tapped, undone by words, tapped again": {
			[]string{"tap bench.tester 2", "+1s", "bench.tester: undo 2", "+1s"},
			func(now time.Time) []chat.Tap { return []chat.Tap{{Who: tester, N: 2, At: now}} },
			[]int{2},
		},
		"tapped, undone, ticked by words": {
			[]string{"tap bench.tester 2", "+1s", "bench.tester: undo 2", "bench.tester: ok 2"},
			func(time.Time) []chat.Tap { return nil },
			[]int{2},
		},
		"ticked by taps under the list of the tester before": {
			[]string{"tap bench.tester 2", "+1s", "bench.tester: over to second.tester"},
			func(time.Time) []chat.Tap { return nil },
			[]int{2},
		},
		"the same when it comes back to the first": {
			[]string{"tap bench.tester 2", "+1s", "bench.tester: over to second.tester", "second.tester: over to bench.tester"},
			func(time.Time) []chat.Tap { return nil },
			[]int{2},
		},
	} {
		t.Run(name, func(t *testing.T) {
			d := newBay(t, append([]string{"bench.tester: @benchbell test HP-07"}, test.script...)...)
			list := d.stage.latestList("")
			taps := test.taps(d.stage.now)
			d.bring(tapsNow(list, "now", taps...))
			var ticked []int
			for i, c := range d.run(1).PrepareList {
				if c.Done {
					ticked = append(ticked, i+1)
				}
			}
			if !slices.Equal(ticked, test.ticked) {
				t.Errorf("ticked are %v, want %v", ticked, test.ticked)
			}
			mustBeSilent(t, d.bring(tapsNow(list, "and now", taps...)))
			if difference := d.sameAfterRestart(); difference != "" {
				t.Errorf("after a restart, %s", difference)
			}
		})
	}
}

// TestTapsNowCompletesTheList: the last number tapped in a gap moves the run on.
func TestTapsNowCompletesTheList(t *testing.T) {
	d := newBay(t, "bench.tester: @benchbell test HP-07", "bench.tester: ok 1-9")
	list := d.stage.latestList("")
	mustSay(t, d.bring(tapsNow(list, "now", chat.Tap{Who: person("bench.tester"), N: 10, At: d.stage.now})), "Inflate")
	// The list is history now: what stands tapped under it says nothing.
	mustBeSilent(t, d.bring(tapsNow(list, "later")))
}

// TestOldLists: a tap on a list that is not on screen any more changes nothing.
func TestOldLists(t *testing.T) {
	d := newBay(t, "bench.tester: @benchbell test HP-07", "tap bench.tester 1")
	tap := func(id string, list *stagePost, n int, on bool) []string {
		return d.bring(chat.Event{ID: id, Who: person("bench.tester"), Where: list.where, What: chat.Tapped{Post: list.id, N: n, On: on}})
	}
	prepare := d.stage.latestList("")
	mustSay(t, tap("a", prepare, 11, true), "has no 11")
	d.plays("bench.tester: ok all", "bench.tester: 17.5", "+10m", "bench.tester: 16.5", "+6m", "bench.tester: 15.0")
	restore := d.stage.latestList("")
	mustSay(t, tap("b", prepare, 2, true), "nothing to tick")
	mustBeSilent(t, tap("c", prepare, 1, false))
	mustSay(t, tap("d", restore, 2, true), "2 ✓")
	mustSay(t, tap("e", restore, 2, false), "2 –")
	mustBeSilent(t, tap("f", restore, 3, false)) // it was not ticked
	d.plays("bench.tester: ok 1", "bench.tester: ok 2", "bench.tester: ok all", "! closed")
	mustBeSilent(t, tap("g", restore, 2, false))
	if run := d.run(1); run.Phase != core.Over || !core.Complete(run.RestoreList) {
		t.Errorf("the run is %v, its restore list %v", run.Phase, run.RestoreList)
	}
	// A post of the bot's that is no list, and one that is not the bot's.
	mustSay(t, tap("h", d.stage.rootOf(1), 1, true), "nothing to tick")
	mustBeSilent(t, tap("i", d.lastOf("bench.tester"), 1, true))
}

func TestEdits(t *testing.T) {
	inHold := []string{"bench.tester: @benchbell test HP-07", "bench.tester: ok all", "bench.tester: 17.5", "+10m", "bench.tester: 16.5", "+6m"}
	for name, test := range map[string]struct {
		script []string
		text   string
		says   string // nothing if empty
	}{
		"of a reading":          {append(inHold[:6:6], "bench.tester: 12.9"), "15.9", "12.9 mbar → 15.9 mbar"},
		"of a reading, same":    {append(inHold[:6:6], "bench.tester: 15.9"), "15.9", ""},
		"of a reading, to talk": {append(inHold[:6:6], "bench.tester: 15.9"), "fine so far", "on record: reading 3, 15.9 mbar"},
		"of talk, to a reading": {append(inHold[:6:6], "bench.tester: 15..9", "+5m"), "15.9", "pass"},
		"of a command done":     {inHold[:1], "@benchbell test HP-08", "R-0002"},
		"of a command, same":    {inHold[:1], "@benchbell test HP-07", "on the bench already"},
		"of ticks, same":        {append(inHold[:1:1], "bench.tester: ok 1 2"), "ok 1 2", "on record: ticked: 1, 2"},
		"of ticks, others":      {append(inHold[:1:1], "bench.tester: ok 1 2"), "ok 1 3", "on record: ticked: 1, 2"},
		"of a typo":             {append(inHold[:1:1], "bench.tester: ko all"), "ok all", "Inflate"},
		"of a typo, to another": {append(inHold[:1:1], "bench.tester: ko all"), "ko lal", "not understood"},
		"of a note":             {append(inHold[:1:1], "bench.tester: note visor scratched"), "note visor fine", "on record: the note visor scratched"},
		"of a use":              {[]string{"bench.tester dm: used HP-09"}, "used HP-09 drill", "only a reading can be corrected by an edit"},
		"of a question":         {[]string{"bench.tester dm: HP-09"}, "HP-10", "HP-10"},
		"of talk among people":  {[]string{"crew.member: lunch?"}, "dinner?", ""},
		"of talk, to a command": {[]string{"bench.tester: one more"}, "@benchbell test HP-07", "Prepare HP-07"},
		"of talk in a thread":   {append(inHold[:1:1], "crew.member ~R-0001: well done"), "well done!", ""},
		"by who is not tester":  {append(inHold[:6:6], "crew.member ~R-0001: 15.9"), "15.8", "bench.tester"},
	} {
		t.Run(name, func(t *testing.T) {
			d := newBay(t, test.script...)
			p := d.stage.posts[0]
			for _, q := range d.stage.posts {
				if q.by != stageBot {
					p = q
				}
			}
			edit := edited(p, test.text, 1, d.stage.now)
			got := d.bring(edit)
			if test.says == "" {
				mustBeSilent(t, got)
			} else {
				mustSay(t, got, test.says)
			}
			mustBeSilent(t, d.bring(edit))
		})
	}
}

// TestReadingByEdit: words that were not understood and are edited into a
// reading are one that is true when they are edited.
func TestReadingByEdit(t *testing.T) {
	d := newBay(t, "bench.tester: @benchbell test HP-07", "bench.tester: ok all", "bench.tester: 17.5", "+10m", "bench.tester: 16.5", "+6m")
	bell := d.stage.now
	d.plays("bench.tester: 13..1", "! a reading is a number", "+5m")
	mustSay(t, d.bring(edited(d.lastOf("bench.tester"), "13.6", 1, d.stage.now)), "pass")
	v := d.run(1).Verdict
	if v == nil || v.Outcome != core.Pass || v.Reason != core.LateWithin || !v.End.Taken.Equal(bell.Add(5*time.Minute)) {
		t.Errorf("the verdict is %+v, want a pass read five minutes after %v", v, bell)
	}
}

// TestTwoPersons: a run is its tester's; anybody may remark, and be told why
// nothing else is done.
func TestTwoPersons(t *testing.T) {
	newBay(t,
		"bench.tester: @benchbell test HP-07 with M-1",
		"second.tester: @benchbell test HP-07", "! on the bench already", "! bench.tester",
		"second.tester: @benchbell test HP-08 with M-2",
		"second.tester ~R-0001: ok all", "! bench.tester", "!! inflate",
		"second.tester ~R-0001: note zipper was waxed", "! noted",
		"second.tester ~R-0001: nice weather", "!! not understood",
		"tap second.tester 1", "! R-0002 · prepare 1 of 10", "!! R-0001",
		"bench.tester: ok all", "second.tester: ok all",
		"bench.tester: 17.5", "! M-1", "second.tester: 178.5", "! expansion until",
		"+10m", "! expansion is over",
		"bench.tester: 16.5", "second.tester: 168.3", "+6m", "! bell",
		"second.tester: 120", "! fail", "! HP-08", "bench.tester: 15.0", "! pass", "! HP-07",
	)
}

// TestDirect: a run opened in a direct message stands in the crew channel.
func TestDirect(t *testing.T) {
	d := newBay(t, "bench.tester dm: test HP-07 with M-1", "! R-0001 was opened in the crew channel")
	card := d.stage.rootOf(1)
	if card == nil || card.where != (chat.Where{Channel: stageCrew}) {
		t.Fatalf("the card is %+v", card)
	}
	for _, p := range d.stage.posts {
		if want := strings.Contains(p.text, "was opened in the crew channel") || p.by != stageBot; p.where.Direct != want {
			t.Errorf("%q is in a direct message: %v, want %v", p.text, p.where.Direct, want)
		}
	}
	d.plays("bench.tester dm: ok all", "! in the thread of r-0001", "bench.tester dm: 17.5", "! in the thread of r-0001", "bench.tester: ok all", "! inflate")
}

// TestEveryFailure lets each transaction of each event fail once. An event that
// failed is reported so, has changed nothing, and succeeds when it comes again.
func TestEveryFailure(t *testing.T) {
	disk, board := &storetest.Disk{Engine: storetest.Memory()}, new(chattest.Board)
	st, err := store.New(disk)
	if err != nil {
		t.Fatal(err)
	}
	cfg := Demo()
	now := Start(cfg).UTC()
	register, err := Fleet(cfg, nil, now)
	if err != nil {
		t.Fatal(err)
	}
	if err := ledger.Enter(st, cfg.Policy, "register", now, register); err != nil {
		t.Fatal(err)
	}
	log := slog.New(slog.NewTextHandler(t.Output(), nil))
	start := func() *engine.Engine {
		t.Helper()
		e, err := engine.New(st, cfg, stageBot, log)
		if err != nil {
			t.Fatal(err)
		}
		return e
	}
	e, mail := start(), outbox.New(st, board, func() time.Time { return now }, log, outbox.Options{})

	events := 0
	// bring handles something, again and again until no transaction is left to fail.
	bring := func(name string, handle func() error) {
		t.Helper()
		for failing := int64(1); ; failing++ {
			disk.Next.Store(failing)
			err := handle()
			failed := disk.Next.Swap(0) <= 0
			if failed != errors.Is(err, storetest.ErrBroken) {
				t.Fatalf("%s: transaction %d failed: %v; the error is %v", name, failing, failed, err)
			}
			if difference := difference(e.Memory(), start().Memory()); difference != "" {
				t.Fatalf("%s, transaction %d: in memory and on disk %s", name, failing, difference)
			}
			if !failed {
				break
			}
		}
		if _, err := mail.Flush(t.Context()); err != nil {
			t.Fatal(err)
		}
	}
	event := func(where chat.Where, what chat.What) func() error {
		events++
		ev := chat.Event{ID: fmt.Sprint("e", events), At: now, Who: person("bench.tester"), Where: where, What: what}
		return func() error { return e.Handle(ev) }
	}
	says := func(where chat.Where, text string) {
		t.Helper()
		bring(text, event(where, chat.Said{Post: fmt.Sprint("e", events+1), Text: text}))
	}
	pass := func(by time.Duration) {
		t.Helper()
		now = now.Add(by)
		bring("wake", func() error { return e.Wake(now) })
	}

	direct := chat.Where{Channel: "dm", Direct: true}
	pass(0)
	says(direct, "test HP-07 with M-1")
	thread := chat.Where{Channel: stageCrew, Root: board.Posts[0].Id}
	list := board.Posts[1].Id
	says(thread, "ok 1")
	bring("tap", event(thread, chat.Tapped{Post: list, N: 2, On: true}))
	bring("taps now", event(thread, chat.TapsNow{Post: list, Taps: []chat.Tap{{Who: person("bench.tester"), N: 3, At: now}}}))
	says(thread, "ok all")
	says(thread, "17.5")
	pass(10 * time.Minute)
	says(thread, "found HP-09 seam lifts")
	says(thread, "16.4")
	bring("edit", event(thread, chat.Edited{Post: fmt.Sprint("e", events), Text: "16.5", Posted: now}))
	says(direct, "status")
	pass(6 * time.Minute)
	says(thread, "15.0")
	says(thread, "ok 1")
	says(thread, "ok 2")
	says(thread, "ok all")
	says(thread, "test HP-07")
	says(thread, "note all well")
	says(direct, "HP-07")

	d := bay{Rehearsal: &Rehearsal{store: st}, t: t}
	run := d.run(1)
	if run.Phase != core.Over || len(run.Verdicts) != 1 || run.Verdict.Outcome != core.Pass {
		t.Errorf("the run is %v with %d verdicts, want it closed with one, a pass", run.Phase, len(run.Verdicts))
	}
	if n := len(run.AllReadings()); n != 3 {
		t.Errorf("%d readings, want 3", n)
	}
	if !slices.ContainsFunc(board.Texts(), func(s string) bool { return strings.Contains(plain(s), "hp-07: fit") }) {
		t.Errorf("the bot said %q", board.Texts())
	}
}
