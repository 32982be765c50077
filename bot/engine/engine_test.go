package engine

import (
	"bytes"
	"errors"
	"fmt"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/bot/ledger"
	"benchbell/commands"
	"benchbell/core"
	"benchbell/scheduler"
	"benchbell/store"
	"benchbell/store/storetest"
)

// A desk is an engine with a small invented register, and a chat that takes every
// message at once.
type desk struct {
	t     *testing.T
	disk  *storetest.Disk
	store *store.Store
	cfg   config.Config
	log   bytes.Buffer
	*Engine
	now    time.Time
	events int
	posts  int
	said   []store.Out // since the last look
}

func newDesk(t *testing.T, officers ...string) *desk {
	t.Helper()
	d := &desk{t: t, disk: &storetest.Disk{Engine: storetest.Memory()}, cfg: config.Default(), now: time.Date(2026, 3, 2, 8, 0, 0, 0, time.UTC)}
	d.cfg.Officers = officers
	d.open()
	entries := []core.Entry{
		{Suit: "ZZ-1", Fact: core.SuitRegistered{Suit: core.Suit{Tag: "ZZ-1", Method: "en943", Fittings: core.Fittings{ExhaustValves: 2}}}},
		{Fact: core.ManometerRegistered{Manometer: core.Manometer{ID: "M-1", Unit: core.Mbar, Resolution: written(t, "0.1"), CalibratedUntil: core.Date{Year: 2027, Month: 1, Day: 1}}}},
	}
	for i := range entries {
		entries[i].At, entries[i].By, entries[i].Event = d.now, core.Person{Name: "keeper"}, "register"
	}
	if err := ledger.Enter(d.store, d.cfg.Policy, "register", d.now, entries); err != nil {
		t.Fatal(err)
	}
	d.open()
	return d
}

func written(t *testing.T, digits string) core.Written {
	t.Helper()
	w, err := core.Write(digits, core.Mbar)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// open starts an engine as a new program does.
func (d *desk) open() {
	d.t.Helper()
	var err error
	if d.store, err = store.New(d.disk); err != nil {
		d.t.Fatal(err)
	}
	if d.Engine, err = New(d.store, d.cfg, "benchbell", slog.New(slog.NewTextHandler(&d.log, nil))); err != nil {
		d.t.Fatal(err)
	}
}

// people says who is who: "id=name", with a "-" before it for an account that is gone.
func (d *desk) people(all ...string) {
	d.t.Helper()
	var members []chat.Member
	for _, s := range all {
		id, name, _ := strings.Cut(strings.TrimPrefix(s, "-"), "=")
		members = append(members, chat.Member{Person: core.Person{ID: id, Name: name}, Gone: s[0] == '-'})
	}
	d.handle(chat.Event{What: chat.People{All: members}})
}

func (d *desk) handle(ev chat.Event) {
	d.t.Helper()
	d.events++
	ev.ID, ev.At = cmpOr(ev.ID, fmt.Sprint("e", d.events)), d.now
	if err := d.Handle(ev); err != nil {
		d.t.Fatal(err)
	}
	d.deliver()
}

func cmpOr(a, b string) string {
	if a != "" {
		return a
	}
	return b
}

// says brings a post of somebody, in a thread if root is given.
func (d *desk) says(who core.Person, root, text string) {
	d.t.Helper()
	d.handle(chat.Event{
		Who: who, Where: chat.Where{Channel: "crew", Root: root},
		What: chat.Said{Post: fmt.Sprint("e", d.events+1), Text: text, Mentioned: strings.Contains(text, "@benchbell")},
	})
}

// deliver takes everything that is to be said.
func (d *desk) deliver() {
	d.t.Helper()
	pending, err := d.store.Pending()
	if err != nil {
		d.t.Fatal(err)
	}
	for _, o := range pending {
		d.said = append(d.said, o)
		id := ""
		if o.Kind == store.Post {
			d.posts++
			id = fmt.Sprint("p", d.posts)
		}
		if err := errors.Join(d.store.Tried(o.Seq, d.now), d.store.Delivered(o.Seq, id)); err != nil {
			d.t.Fatal(err)
		}
	}
}

// heard returns what was said since the last look, each with its place.
func (d *desk) heard() (all []string) {
	for _, o := range d.said {
		all = append(all, fmt.Sprintf("%s%s%s %s", o.Key, o.Target, o.Person, strings.Join(strings.Fields(o.Text), " ")))
	}
	d.said = nil
	return all
}

func (d *desk) mustHear(words string) {
	d.t.Helper()
	all := d.heard()
	if !slices.ContainsFunc(all, func(s string) bool { return strings.Contains(s, words) }) {
		d.t.Errorf("heard %q, without %q", all, words)
	}
}

var ann = core.Person{ID: "a", Name: "ann"}

// card returns the id of the first post of the run's thread.
func (d *desk) card() string {
	d.t.Helper()
	id, ok, err := d.store.PostID(chat.CardKey(1))
	if err != nil || !ok {
		d.t.Fatalf("there is no card: %v", err)
	}
	return id
}

// TestOfficersAreAccounts: a name that somebody else is given later takes no rights
// with it, also after a restart, and an officer who is renamed keeps them.
func TestOfficersAreAccounts(t *testing.T) {
	d := newDesk(t, "boss")
	boss, thief := core.Person{ID: "1", Name: "boss"}, core.Person{ID: "2", Name: "boss"}
	d.people("1=boss", "2=crew")
	d.says(boss, "", "@benchbell retire ZZ-1 too old")
	d.mustHear("ZZ-1")
	d.open()
	d.people("1=old.boss", "2=boss")
	d.says(thief, "", "@benchbell reinstate ZZ-1 found again")
	d.mustHear("only old.boss may do that")
	if file, err := d.file("ZZ-1"); err != nil || !file.Retired {
		t.Errorf("the suit is back: %v", err)
	}
	boss.Name = "old.boss"
	d.says(boss, "", "@benchbell reinstate ZZ-1 found again")
	if file, err := d.file("ZZ-1"); err != nil || file.Retired {
		t.Errorf("the suit is not back: %v, %q", err, d.heard())
	}
	if !strings.Contains(d.log.String(), "an officer has another name now") {
		t.Error("the keeper is not told of the new name")
	}
}

// TestTellOfficers: what is for the officers is told each of them directly, and in
// the crew channel where one of them cannot be told. What the crew channel is told
// anyway, it is told once.
func TestTellOfficers(t *testing.T) {
	const crew = ""
	for name, c := range map[string]struct {
		officers []string
		people   []string
		known    bool
		told     []string
	}{
		"each":             {[]string{"a", "b"}, []string{"1=a", "2=b"}, false, []string{"1", "2"}},
		"none named":       {nil, nil, false, []string{crew}},
		"one not found":    {[]string{"a", "b"}, []string{"2=b"}, false, []string{"2", crew}},
		"one deactivated":  {[]string{"a", "b"}, []string{"-1=a", "2=b"}, false, []string{"2", crew}},
		"nobody found":     {[]string{"a", "b"}, nil, false, []string{crew}},
		"none, crew knows": {nil, nil, true, nil},
		"one, crew knows":  {[]string{"a", "b"}, []string{"2=b"}, true, []string{"2"}},
	} {
		t.Run(name, func(t *testing.T) {
			d := newDesk(t, c.officers...)
			d.people(c.people...)
			turn := &turn{Engine: d.Engine, ev: chat.Event{ID: "e"}}
			turn.say(commands.Message{Dest: commands.ToOfficers, Text: "a fail became a pass", Known: c.known})
			var told []string
			for _, o := range turn.out {
				told = append(told, o.Person)
			}
			if !slices.Equal(told, c.told) {
				t.Errorf("told: %q, want %q", told, c.told)
			}
		})
	}
}

// TestRenamed: bells mention the tester by the name of today.
func TestRenamed(t *testing.T) {
	d := newDesk(t)
	d.people("a=ann", "b=boris")
	d.says(ann, "", "@benchbell test ZZ-1")
	d.says(ann, d.card(), "ok all")
	d.says(ann, d.card(), "17.5")
	d.people("a=anna", "b=boris")
	d.heard()
	d.now = d.now.Add(10 * time.Minute)
	if err := d.Wake(d.now); err != nil {
		t.Fatal(err)
	}
	d.deliver()
	for _, text := range d.heard() {
		if strings.Contains(text, "@ann ") || strings.HasSuffix(text, "@ann") {
			t.Errorf("a bell mentions the old name: %q", text)
		}
	}
}

// TestRestored: a journal that was restored knows no post. The run that is open in it
// gets a new card, its bells go on, and words in the old thread reach it.
func TestRestored(t *testing.T) {
	before := newDesk(t)
	before.people("a=ann")
	before.says(ann, "", "@benchbell test ZZ-1")
	before.says(ann, before.card(), "ok all")
	before.says(ann, before.card(), "17.5")
	old := before.card()
	var journal bytes.Buffer
	if err := before.store.WriteJSONL(&journal); err != nil {
		t.Fatal(err)
	}

	d := &desk{t: t, disk: &storetest.Disk{Engine: storetest.Memory()}, cfg: before.cfg, now: before.now.Add(10 * time.Minute), posts: 100, events: 100}
	st, err := store.New(d.disk)
	if err != nil {
		t.Fatal(err)
	}
	if _, _, err := st.ReadJSONL(&journal); err != nil {
		t.Fatal(err)
	}
	d.open()
	d.people("a=ann")
	if err := d.Wake(d.now); err != nil {
		t.Fatalf("the bell: %v", err)
	}
	d.deliver()
	d.mustHear("Expansion is over")
	d.handle(chat.Event{What: chat.CardGone{Run: 1}})
	d.mustHear("goes on here")
	d.handle(chat.Event{
		Who: ann, Where: chat.Where{Channel: "crew", Root: old}, Key: "R-0001/card",
		What: chat.Said{Post: "late", Text: "16.5"},
	})
	d.mustHear("Hold")
	if run := d.Memory().Bench.Runs[1]; run.Phase != core.Hold {
		t.Errorf("the run is in %s", run.Phase)
	}
}

// TestCardGone: the card is posted again once, with the list that stands open.
func TestCardGone(t *testing.T) {
	d := newDesk(t)
	d.people("a=ann")
	d.says(ann, "", "@benchbell test ZZ-1")
	first := d.card()
	d.heard()
	for range 2 {
		d.handle(chat.Event{What: chat.CardGone{Run: 1, Root: first}})
	}
	got := d.heard()
	if len(got) != 3 || !strings.HasPrefix(got[0], "R-0001/card~2 ") || !strings.HasPrefix(got[2], "R-0001/list/1~2 ") {
		t.Fatalf("heard %q", got)
	}
	d.says(ann, d.card(), "ok all")
	d.mustHear("Inflate")
}

// TestListUnseen: a list that did not reach the chat is not ticked by words.
func TestListUnseen(t *testing.T) {
	d := newDesk(t)
	d.people("a=ann")
	if err := d.Handle(chat.Event{ID: "open", At: d.now, Who: ann, Where: chat.Where{Channel: "crew"}, What: chat.Said{Post: "open", Text: "@benchbell test ZZ-1", Mentioned: true}}); err != nil {
		t.Fatal(err)
	}
	if err := d.Handle(chat.Event{ID: "tick", At: d.now, Who: ann, Where: chat.Where{Channel: "crew", Root: "card"}, Key: "R-0001/card", What: chat.Said{Post: "tick", Text: "ok all"}}); err != nil {
		t.Fatal(err)
	}
	if run := d.Memory().Bench.Runs[1]; run.Phase != core.Prepare || run.List()[0].Done {
		t.Errorf("a list that nobody saw is ticked: %+v", run.List()[0])
	}
}

// TestInDoubt: after a commit that reports a failure although it is on disk, the
// engine goes by what is on disk.
func TestInDoubt(t *testing.T) {
	d := newDesk(t)
	d.people("a=ann")
	d.disk.Doubt.Store(true)
	ev := chat.Event{ID: "open", At: d.now, Who: ann, Where: chat.Where{Channel: "crew"}, What: chat.Said{Post: "open", Text: "@benchbell test ZZ-1", Mentioned: true}}
	if err := d.Handle(ev); err == nil {
		t.Fatal("the failure is not reported")
	}
	if err := d.Handle(ev); err != nil {
		t.Fatal(err)
	}
	if n := len(d.Memory().Bench.Runs); n != 1 {
		t.Errorf("%d runs are open", n)
	}
}

// TestEditOfNothing: to refresh a post that never was, as the verdict of a run
// begun by an earlier version, changes nothing and loses nothing else.
func TestEditOfNothing(t *testing.T) {
	d := newDesk(t)
	turn := &turn{Engine: d.Engine, ev: chat.Event{ID: "e", At: d.now}, heard: true}
	turn.refresh(chat.VerdictKey(1, 1), "superseded")
	turn.enqueue(store.Out{Text: "said all the same"})
	turn.enqueue(store.Out{Key: chat.VerdictKey(1, 2), Text: "a verdict"})
	turn.refresh(chat.VerdictKey(1, 2), "superseded") // of a post that the same event makes
	if err := turn.commit(); err != nil {
		t.Fatal(err)
	}
	pending, err := d.store.Pending()
	if err != nil {
		t.Fatal(err)
	}
	var what []string
	for _, o := range pending {
		what = append(what, string(o.Kind)+" "+o.Key+o.Target)
	}
	if want := []string{"post e/1", "post R-0001/verdict/2", "edit R-0001/verdict/2"}; !slices.Equal(what, want) {
		t.Errorf("pending is %q, want %q", what, want)
	}
}

// TestRemindersOfToday: after a change of the configuration the next look is by the
// new rule, not by the one that was kept.
func TestRemindersOfToday(t *testing.T) {
	d := newDesk(t)
	if err := d.Wake(d.now); err != nil {
		t.Fatal(err)
	}
	was := d.NextWake()
	other := config.Default()
	rule, err := scheduler.ParseRule("*/10 * * * *", time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	other.Reminders.Daily = rule
	d.cfg = other
	d.open()
	if next := d.NextWake(); !next.Before(was) || next.IsZero() {
		t.Errorf("the next look is at %v, as before at %v", next, was)
	}
}

// TestOlderThanRestored: words from before the last entry of a restored journal are not
// carried out on what came after them, and the chat's posts of runs that the journal
// does not know take no keys from new runs.
func TestOlderThanRestored(t *testing.T) {
	before := newDesk(t)
	before.people("a=ann")
	before.says(ann, "", "@benchbell found ZZ-1 hole in glove")
	before.says(ann, "", "@benchbell found ZZ-1 visor cracked")
	asked := before.now
	before.now = before.now.Add(time.Minute)
	before.says(ann, "", "@benchbell repaired ZZ-1 1: new glove")
	path := filepath.Join(t.TempDir(), "journal.jsonl")
	var journal bytes.Buffer
	if err := errors.Join(before.store.WriteJSONL(&journal), os.WriteFile(path, journal.Bytes(), 0o600)); err != nil {
		t.Fatal(err)
	}

	d := &desk{t: t, disk: &storetest.Disk{Engine: storetest.Memory()}, cfg: before.cfg, posts: 100, events: 100}
	st, err := store.New(d.disk)
	if err != nil {
		t.Fatal(err)
	}
	if _, err := ledger.Restore(st, d.cfg, path); err != nil {
		t.Fatal(err)
	}
	d.open()
	d.now = asked
	d.people("a=ann")
	d.says(ann, "", "@benchbell repaired ZZ-1 new glove")
	if got := d.heard(); len(got) > 0 {
		t.Errorf("old words are answered: %q", got)
	}
	d.now = before.now.Add(time.Hour)
	d.handle(chat.Event{
		Who: ann, Where: chat.Where{Channel: "crew", Root: "old"}, Key: "R-0001/card",
		What: chat.Said{Post: "old reply", Text: "thanks all"},
	})
	d.says(ann, "", "@benchbell test ZZ-1")
	if _, open := d.Memory().Bench.Runs[2]; !open {
		t.Errorf("no run is open: %q", d.heard())
	}
}

// TestBadEvents: an event that fails where it is located is given up as well.
func TestBadEvents(t *testing.T) {
	d := newDesk(t)
	d.people("a=ann")
	d.disk.Poison.Store("root")
	ev := chat.Event{ID: "bad", At: d.now, Who: ann, Where: chat.Where{Channel: "crew", Root: "root"}, What: chat.Said{Post: "bad", Text: "@benchbell status", Mentioned: true}}
	if err := d.Handle(ev); err == nil {
		t.Fatal("it is handled")
	}
	if err := d.GiveUp(ev, errors.New("poisoned")); err != nil {
		t.Fatal(err)
	}
	d.disk.Poison.Store("")
	if seen, err := d.store.Seen("bad"); err != nil || !seen {
		t.Errorf("it comes again: %v", err)
	}
}

// TestSaidElsewhere: a reading that was said outside its thread and is edited away or
// deleted is answered like any other.
func TestSaidElsewhere(t *testing.T) {
	d := newDesk(t)
	d.people("a=ann")
	d.says(ann, "", "@benchbell test ZZ-1")
	d.says(ann, d.card(), "ok all")
	d.says(ann, "", "R-0001 17.5")
	post := fmt.Sprint("e", d.events)
	d.heard()
	d.handle(chat.Event{Who: ann, Where: chat.Where{Channel: "crew"}, What: chat.Edited{Post: post, Text: "sorry, wrong suit"}})
	d.mustHear("on record")
	d.handle(chat.Event{Who: ann, Where: chat.Where{Channel: "crew"}, What: chat.Deleted{Post: post}})
	d.mustHear("on record")
}
