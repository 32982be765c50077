package store_test

import (
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"benchbell/core"
	"benchbell/store"
)

// model is what a store should hold, kept in the plainest way.
type model struct {
	entries []core.Entry
	rows    map[string]store.SuitRow
	made    string // by which policy the rows were
	seen    map[string]time.Time
	notices map[string]time.Time
	wakes   map[string]time.Time
	marks   map[string]store.Mark
	lastOut uint64
	out     []store.Out
	parked  []store.Parked
	keys    map[string]string // post ids by key, empty until delivered
}

func newModel() *model {
	return &model{
		rows: map[string]store.SuitRow{}, seen: map[string]time.Time{}, notices: map[string]time.Time{},
		wakes: map[string]time.Time{}, marks: map[string]store.Mark{}, keys: map[string]string{},
	}
}

// refuses reports whether a batch must not be kept.
func (m *model) refuses(b store.Batch) bool {
	if _, seen := m.seen[b.Event]; seen && b.Event != "" {
		return true
	}
	keys := maps.Clone(m.keys)
	for _, o := range b.Out {
		_, used := keys[o.Key]
		_, known := keys[o.Target]
		if o.Kind == store.Post && used || o.Kind == store.Edit && !known {
			return true
		}
		if o.Kind == store.Post {
			keys[o.Key] = ""
		}
	}
	runs := make(map[core.RunID]bool)
	for _, e := range slices.Concat(m.entries, b.Entries) {
		if _, opens := e.Fact.(core.Opened); opens && (runs[e.Run] || e.Run == 0) {
			return true
		}
		runs[e.Run] = true
	}
	return false
}

func (m *model) commit(b store.Batch) {
	if b.Event != "" {
		m.seen[b.Event] = b.At
	}
	for _, e := range b.Entries {
		e.Seq = uint64(len(m.entries) + 1)
		m.entries = append(m.entries, e)
	}
	for _, r := range b.Rows {
		m.rows[r.Tag] = r
	}
	if b.RowsMadeWith != "" {
		m.made = b.RowsMadeWith
	}
	for _, key := range b.Notices {
		if _, given := m.notices[key]; !given {
			m.notices[key] = b.At
		}
	}
	for key, due := range b.Wakes {
		if m.wakes[key] = due; due.IsZero() {
			delete(m.wakes, key)
		}
	}
	if b.Channel != "" {
		m.marks[b.Channel] = b.Mark
	}
	for _, o := range b.Out {
		m.lastOut++
		o.Seq = m.lastOut
		if o.Kind == store.Post {
			m.keys[o.Key] = ""
		}
		last := -1
		for i, p := range m.out {
			if o.Kind == store.Edit && p.Kind == store.Edit && p.Target == o.Target {
				last = i
			}
		}
		if last >= 0 && m.out[last].Tries == 0 {
			o.Offer = max(o.Offer, m.out[last].Offer)
			m.out = slices.Delete(m.out, last, last+1)
		}
		m.out = append(m.out, o)
	}
}

// take removes what is pending under a number.
func (m *model) take(seq uint64) (store.Out, bool) {
	i := slices.IndexFunc(m.out, func(o store.Out) bool { return o.Seq == seq })
	if i < 0 {
		return store.Out{}, false
	}
	o := m.out[i]
	m.out = slices.Delete(m.out, i, i+1)
	return o, true
}

// compare compares all that the store says with what the model says.
func (m *model) compare(t *testing.T, s *store.Store) {
	t.Helper()
	same(t, "journal", all(t, s.Entries(0)), m.entries)
	bySuit, byRun := make(map[string][]core.Entry), make(map[core.RunID][]core.Entry)
	var open []core.RunID
	next := core.RunID(1)
	tags, manometers := make(map[string]string), make(map[string]core.Manometer)
	used, usedAt := make(map[string]string), make(map[string]time.Time)
	use := func(e core.Entry, who, what string) {
		if who != "" && what != "" && !e.At.Before(usedAt[who]) {
			used[who], usedAt[who] = what, e.At
		}
	}
	for _, e := range m.entries {
		bySuit[e.Suit] = append(bySuit[e.Suit], e)
		byRun[e.Run] = append(byRun[e.Run], e)
		switch f := e.Fact.(type) {
		case core.SuitRegistered:
			tags[strings.ToLower(strings.ReplaceAll(f.Suit.Tag, "-", " "))] = f.Suit.Tag
		case core.ManometerRegistered:
			manometers[f.Manometer.ID] = f.Manometer
		case core.Opened:
			open, next = append(open, e.Run), max(next, e.Run+1)
			use(e, e.By.Name, f.Manometer.ID)
		case core.ManometerChosen:
			use(e, e.By.Name, f.Manometer.ID)
		case core.PaperTest:
			use(e, f.Tester, f.Manometer)
		case core.Closed:
			open = slices.DeleteFunc(open, func(r core.RunID) bool { return r == e.Run })
		}
	}
	delete(bySuit, "")
	delete(byRun, 0)
	for tag, want := range bySuit {
		same(t, "of suit "+tag, must(s.OfSuit(tag))(t), want)
	}
	for run, want := range byRun {
		same(t, "of run "+run.String(), must(s.OfRun(run))(t), want)
	}
	slices.Sort(open)
	same(t, "open runs", must(s.OpenRuns())(t), slices.Concat(open)) // none is nil, as in the store
	same(t, "next run", must(s.NextRun())(t), next)
	same(t, "last used", must(s.LastUsed())(t), used)
	same(t, "manometers", must(s.Manometers())(t), sortedValues(manometers))
	for typed, want := range tags {
		tag, ok, err := s.SuitTag(typed)
		if tag != want || !ok || err != nil {
			t.Errorf("SuitTag(%s) = %q, %v, %v, want %s", typed, tag, ok, err, want)
		}
	}
	for n := range 20 {
		var want []string
		if tag := fmt.Sprintf("HP-%d", n); slices.Contains(slices.Collect(maps.Values(tags)), tag) {
			want = append(want, tag)
		}
		same(t, fmt.Sprintf("tags like %d", n), slices.Concat(must(s.TagsLike(fmt.Sprint(n), 9))(t)), want)
	}
	m.compareRows(t, s)
	m.compareOutbox(t, s)

	var wakes []store.Wake
	for _, key := range slices.Sorted(maps.Keys(m.wakes)) {
		wakes = append(wakes, store.Wake{Key: key, Due: m.wakes[key]})
	}
	slices.SortStableFunc(wakes, func(a, b store.Wake) int { return a.Due.Compare(b.Due) })
	same(t, "wakes", must(s.Wakes())(t), wakes)
	same(t, "marks", must(s.Marks())(t), m.marks)
	for i := range events {
		event := fmt.Sprintf("e%d", i)
		if _, want := m.seen[event]; must(s.Seen(event))(t) != want {
			t.Errorf("Seen(%s) is not %v", event, want)
		}
	}
	m.compareNotices(t, s)
}

func (m *model) compareNotices(t *testing.T, s *store.Store) {
	t.Helper()
	var keys []string
	given, moments := make(map[string]bool), make(map[string]string)
	for i := range notices {
		key := fmt.Sprintf("n%d", i)
		keys = append(keys, key)
		if at, ok := m.notices[key]; ok {
			given[key], moments[key] = true, at.Format(time.RFC3339)
		}
	}
	same(t, "given", must(s.Given(keys...))(t), given)
	same(t, "moments of the notices", dump(t, s)["notices"], moments)
}

func (m *model) compareRows(t *testing.T, s *store.Store) {
	t.Helper()
	rows := sortedValues(m.rows)
	same(t, "rows", all(t, s.Rows()), rows)
	same(t, "rows made with", must(s.RowsMadeWith())(t), m.made)
	kinds := make(map[core.StandingKind]int)
	for _, r := range rows {
		kinds[r.Kind]++
	}
	counts(t, s, len(rows), kinds)
	rows = slices.DeleteFunc(rows, func(r store.SuitRow) bool { return r.Kind == core.OutForGood })
	pick := func(ok func(store.SuitRow) bool) (picked []store.SuitRow) {
		for _, r := range rows {
			if ok(r) {
				picked = append(picked, r)
			}
		}
		return picked
	}
	same(t, "barred", all(t, s.Barred()), pick(func(r store.SuitRow) bool {
		return r.Kind == core.NotFit || r.Kind == core.OnTheBench || len(r.Bars) > 0
	}))
	for _, d := range []core.Date{day(3, 10), day(4, 30)} {
		due := pick(func(r store.SuitRow) bool { return !r.Due.IsZero() && !r.Due.After(d) })
		slices.SortStableFunc(due, func(a, b store.SuitRow) int { return a.Due.Compare(b.Due) })
		same(t, "due by "+d.String(), all(t, s.DueBy(d)), due)
		ending := pick(func(r store.SuitRow) bool { return !r.EndOfLife.IsZero() && !r.EndOfLife.After(d) })
		slices.SortStableFunc(ending, func(a, b store.SuitRow) int { return a.EndOfLife.Compare(b.EndOfLife) })
		same(t, "ending by "+d.String(), all(t, s.EndingBy(d)), ending)
	}
}

func (m *model) compareOutbox(t *testing.T, s *store.Store) {
	t.Helper()
	same(t, "pending", must(s.Pending())(t), slices.Concat(m.out))
	parked := slices.Concat(m.parked)
	slices.SortFunc(parked, func(a, b store.Parked) int { return int(a.Seq) - int(b.Seq) })
	same(t, "parked", must(s.Parked())(t), parked)
	for key, want := range m.keys {
		if id, ok, err := s.PostID(key); id != want || ok != (want != "") || err != nil {
			t.Errorf("PostID(%s) = %q, %v, %v, want %q", key, id, ok, err, want)
		}
		if want == "" {
			continue
		}
		if got, ok, err := s.PostKey(want); got != key || !ok || err != nil {
			t.Errorf("PostKey(%s) = %q, %v, %v, want %q", want, got, ok, err, key)
		}
	}
}

func sortedValues[V any](m map[string]V) (list []V) {
	for _, key := range slices.Sorted(maps.Keys(m)) {
		list = append(list, m[key])
	}
	return list
}

const (
	events  = 300
	notices = 100
)

// chance makes batches at random, out of so few names that they meet often.
type chance struct{ *rand.Rand }

func (r chance) name(prefix string, n int) string { return fmt.Sprintf("%s%d", prefix, r.IntN(n)) }

func (r chance) moment() time.Time {
	return morning.Add(time.Duration(r.IntN(10000)) * time.Minute)
}

func (r chance) date() core.Date {
	if r.IntN(4) == 0 {
		return core.Date{}
	}
	return day(3, 1).AddDays(r.IntN(60))
}

func (r chance) batch(m *model) store.Batch {
	b := store.Batch{At: r.moment(), Wakes: make(map[string]time.Time)}
	if r.IntN(3) > 0 {
		b.Event = r.name("e", events)
	}
	for range r.IntN(4) {
		b.Entries = append(b.Entries, r.entry(b.Event))
	}
	for range r.IntN(3) {
		b.Rows = append(b.Rows, r.row())
	}
	if r.IntN(20) == 0 {
		b.RowsMadeWith = r.name("policy ", 1000)
	}
	for range r.IntN(3) {
		b.Notices = append(b.Notices, r.name("n", notices))
	}
	for range r.IntN(3) {
		due := r.moment()
		if r.IntN(3) == 0 {
			due = time.Time{}
		}
		b.Wakes[r.name("w", 10)] = due
	}
	for range r.IntN(3) {
		b.Out = append(b.Out, r.out(m))
	}
	if r.IntN(2) == 0 {
		b.Channel, b.Mark = r.name("c", 3), store.Mark{Created: r.Int64(), Updated: r.Int64(), Anchor: r.name("p", 100)}
	}
	return b
}

func (r chance) entry(event string) core.Entry {
	suit, m := r.name("HP-1", 9), manometer(r.name("M-", 4))
	facts := []core.Fact{
		core.SuitRegistered{Suit: core.Suit{Tag: suit, Place: r.name("rack ", 9)}},
		core.ManometerRegistered{Manometer: m},
		core.ManometerChosen{Manometer: m},
		core.PaperTest{Tester: r.name("tester.", 3), Manometer: m.ID},
		opened(suit, m), opened(suit, m),
		core.Closed{},
		core.Closed{},
		core.Noted{Text: r.name("note ", 1000)},
		core.Found{What: "tear"},
	}
	e := core.Entry{
		At: r.moment(), By: core.Person{ID: "u", Name: r.name("tester.", 3)}, Event: event,
		Suit: suit, Run: core.RunID(r.IntN(60)), Fact: facts[r.IntN(len(facts))],
	}
	switch e.Fact.(type) {
	case core.SuitRegistered:
		e.Run = 0
	case core.ManometerRegistered:
		e.Suit, e.Run = "", 0
	}
	return e
}

func (r chance) row() store.SuitRow {
	kinds := []core.StandingKind{core.Fit, core.NotFit, core.OnTheBench, core.OutForGood}
	bars := []core.BarKind{core.BarUsed, core.BarFound, core.BarRunOpen}
	row := row(r.name("HP-1", 9), kinds[r.IntN(len(kinds))], r.date(), bars[:r.IntN(len(bars)+1)]...)
	row.EndOfLife = r.date()
	return row
}

func (r chance) out(m *model) store.Out {
	if r.IntN(2) == 0 {
		return post(r.name("k", 2000))
	}
	target := r.name("k", 2000)
	if n := len(m.keys); n > 0 && r.IntN(20) > 0 {
		target = slices.Sorted(maps.Keys(m.keys))[r.IntN(min(n, 20))]
	}
	o := edit(target, r.name("text ", 1000))
	o.Offer = r.IntN(10)
	return o
}

// simulate plays at random on a store and a model; again is called now and
// then to end the store's program and start it anew.
func simulate(t *testing.T, s *store.Store, steps int, again func(*store.Store) *store.Store) {
	r, m := chance{random(t)}, newModel()
	kept := 0
	for i := range steps {
		switch r.IntN(10) {
		case 0: // delivery
			for _, o := range slices.Clone(m.out) {
				if r.IntN(3) == 0 {
					m.deliver(t, r, s, o)
				}
			}
		case 1:
			if err := s.Tried(m.lastOut+1, morning); !errors.Is(err, store.ErrNotPending) {
				t.Fatalf("tried what is not there: %v", err)
			}
		default:
			b := r.batch(m)
			refuse := m.refuses(b)
			if err := s.Commit(&b); (err != nil) != refuse {
				t.Fatalf("step %d: commit: %v, must it be refused? %v", i, err, refuse)
			}
			if !refuse {
				m.commit(b)
				kept++
			}
		}
		if i%60 == 59 || i == steps-1 {
			s = again(s)
			m.compare(t, s)
			do(t, s.Check())
		}
		if t.Failed() {
			t.Fatalf("in step %d", i)
		}
	}
	t.Logf("%d batches kept, %d entries, %d keys, %d parked", kept, len(m.entries), len(m.keys), len(m.parked))
}

func (m *model) deliver(t *testing.T, r chance, s *store.Store, o store.Out) {
	t.Helper()
	i := slices.IndexFunc(m.out, func(p store.Out) bool { return p.Seq == o.Seq })
	at := r.moment()
	do(t, s.Tried(o.Seq, at))
	m.out[i].Tries++
	if m.out[i].First.IsZero() {
		m.out[i].First = at
	}
	switch r.IntN(4) {
	case 0: // it failed
	case 1:
		do(t, s.Park(o.Seq, "gone"))
		parked, _ := m.take(o.Seq)
		m.parked = append(m.parked, store.Parked{Out: parked, Why: "gone"})
	default:
		id := "id of " + o.Key
		do(t, s.Delivered(o.Seq, id))
		if gone, _ := m.take(o.Seq); gone.Kind == store.Post {
			m.keys[gone.Key] = id
		}
	}
}

func TestSimulation(t *testing.T) {
	t.Run("memory", func(t *testing.T) {
		simulate(t, inMemory(t), 1000, func(s *store.Store) *store.Store { return s })
	})
	t.Run("bolt", func(t *testing.T) {
		path := filepath.Join(t.TempDir(), "benchbell.db")
		s := must(store.Create(path))(t)
		simulate(t, s, 300, func(was *store.Store) *store.Store {
			do(t, was.Close())
			s = must(store.Open(path))(t)
			return s
		})
		do(t, s.Check(), s.Close())
	})
}
