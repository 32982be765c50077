package ledger

import (
	"errors"
	"fmt"
	"strings"
	"sync"
	"testing"

	"benchbell/bot/config"
	"benchbell/bot/register"
	"benchbell/core"
	"benchbell/store"
)

const (
	suitsCSV  = "tag,exhaust_valves,method\nHP-07,2,en943\nHP-08,2,en943\n"
	gaugesCSV = "id,unit,resolution,calibrated_until\nM-1,mbar,0.1,2030-01-01\n"
	testsCSV  = "date,suit,method,start,end,minutes,manometer\n2025-03-02,hp7,en943,16.5,15.0,6,M-1\n"
)

var keeper = core.Person{ID: "u1", Name: "keeper"}

func plan(t *testing.T, st *store.Store, files ...string) (Plan, error) {
	t.Helper()
	contents := make(map[string][]byte)
	var names []string
	for i, text := range files {
		name := fmt.Sprint("file ", i+1)
		names, contents[name] = append(names, name), []byte(text)
	}
	return planImport(st, config.Default(), names, contents, morning, keeper, "p1")
}

func mustPlan(t *testing.T, st *store.Store, files ...string) Plan {
	t.Helper()
	p, err := plan(t, st, files...)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

func commit(t *testing.T, st *store.Store, event string, p Plan) {
	t.Helper()
	if err := st.Commit(&store.Batch{Event: event, At: morning, Entries: p.Entries, Rows: p.Rows}); err != nil {
		t.Fatal(err)
	}
}

// shown writes a row without what the store does not keep of its bars.
func shown(r store.SuitRow) string {
	s := fmt.Sprint(r.Tag, r.Size, r.Place, r.Kind, r.Due, r.EndOfLife)
	for _, b := range r.Bars {
		s += fmt.Sprint(b.Kind, b.Since, b.Note, b.Run, b.Remedied)
	}
	return s
}

// A plan that is committed leaves the rows that a replay of the journal gives,
// whatever was on record before.
func TestPlanImport(t *testing.T) {
	st := openStore(t)
	p := mustPlan(t, st, testsCSV, suitsCSV, gaugesCSV)
	if n, _, _ := st.Head(); n != 0 || p.Head != 0 || len(p.Entries) != 4 || len(p.Rows) != 2 {
		t.Fatalf("the journal has %d entries; planned with head %d are %d entries, %d rows", n, p.Head, len(p.Entries), len(p.Rows))
	}
	commit(t, st, "e1", p)
	again := mustPlan(t, st, "tag,exhaust_valves,method,size\nHP-07,3,en943,XL\n", testsCSV)
	if len(again.Register.Tests) != 0 || len(again.Entries) != 1 || len(again.Rows) != 1 || again.Head != 4 {
		t.Errorf("the second time planned are %d tests, %d entries, %d rows, head %d", len(again.Register.Tests), len(again.Entries), len(again.Rows), again.Head)
	}
	commit(t, st, "e2", again)
	for _, tag := range []string{"HP-07", "HP-08"} {
		entries, err := st.OfSuit(tag)
		if err != nil {
			t.Fatal(err)
		}
		want := RowOf(config.Default().Policy, FileOf(entries))
		got, _, err := st.Row(tag)
		if err != nil || shown(got) != shown(want) {
			t.Errorf("row of %s is\n%+v, %v, and by its entries\n%+v", tag, got, err, want)
		}
	}
	if err := st.Check(); err != nil {
		t.Error(err)
	}
}

// Nothing is planned of files with a fault, and the error is one for whoever
// wrote them.
func TestPlanFaults(t *testing.T) {
	st := openStore(t)
	commit(t, st, "e1", mustPlan(t, st, suitsCSV))
	for text, want := range map[string]string{
		"tag,exhaust_valves,method\nHP-7,2,en943\n":                                     "write it the same way, HP-07",
		"date,suit,method,start,end,minutes\n2025-03-02,HP-99,en943,16.5,15.0,6\n":      "no such suit",
		"date,suit,method,start,end,minutes\n2026-03-03,HP-07,en943,16.5,15.0 mbar,6\n": "row 2",
	} {
		p, err := plan(t, st, text)
		var bad *register.Error
		if !errors.As(err, &bad) || !strings.Contains(err.Error(), want) || len(p.Entries) != 0 {
			t.Errorf("%q: planned are %d entries, error %v", text, len(p.Entries), err)
		}
	}
}

// A plan is stale once an entry is about what it depends on, and only then.
func TestStale(t *testing.T) {
	suit := func(tag string) core.Fact {
		return core.SuitRegistered{Suit: core.Suit{Tag: tag, Fittings: core.Fittings{ExhaustValves: 2}, Method: "en943"}}
	}
	gauge := func(id string) core.Fact {
		return core.ManometerRegistered{Manometer: core.Manometer{ID: id, Unit: core.Mbar, Resolution: core.MustWrite("0.1", core.Mbar)}}
	}
	for name, c := range map[string]struct {
		entry core.Entry
		want  bool
	}{
		"a suit of the files":               {core.Entry{Suit: "HP-07", Fact: core.Used{When: morning}}, true},
		"a suit that a test names":          {core.Entry{Suit: "HP-09", Fact: core.Found{What: "a hole"}}, true},
		"another suit":                      {core.Entry{Suit: "HP-10", Fact: core.Used{When: morning}}, false},
		"a new suit of a like name":         {core.Entry{Suit: "hp 08", Fact: suit("hp 08")}, true},
		"a new suit":                        {core.Entry{Suit: "HP-11", Fact: suit("HP-11")}, false},
		"a manometer of the files":          {core.Entry{Fact: gauge("M-2")}, true},
		"a manometer that a test names":     {core.Entry{Fact: gauge("M-1")}, true},
		"a manometer that nothing names":    {core.Entry{Fact: gauge("M-3")}, false},
		"an entry about nothing registered": {core.Entry{Suit: "HP-10", Fact: core.Withdrawn{Why: "lent"}}, false},
	} {
		t.Run(name, func(t *testing.T) {
			st := openStore(t)
			commit(t, st, "e1", mustPlan(t, st, "tag,exhaust_valves,method\nHP-07,2,en943\nHP-09,2,en943\nHP-10,2,en943\n", gaugesCSV))
			p := mustPlan(t, st, suitsCSV, "id,unit,resolution\nM-2,mbar,0.1\n", strings.Replace(testsCSV, "hp7", "HP-09", 1))
			if stale, err := p.Stale(st); stale || err != nil {
				t.Fatalf("at once it is stale: %t, %v", stale, err)
			}
			e := c.entry
			e.At, e.By, e.Event = morning, keeper, "e2"
			if err := st.Commit(&store.Batch{Event: "e2", At: morning, Entries: []core.Entry{e}}); err != nil {
				t.Fatal(err)
			}
			if stale, err := p.Stale(st); stale != c.want || err != nil {
				t.Errorf("stale: %t, %v, want %t", stale, err, c.want)
			}
		})
	}
}

// Plans are made while others commit: one that is not stale gives the rows that
// the journal gives.
func TestPlanBesideCommits(t *testing.T) {
	st := openStore(t)
	commit(t, st, "e1", mustPlan(t, st, suitsCSV, gaugesCSV))
	var used sync.WaitGroup
	used.Go(func() {
		for i := range 100 {
			e := core.Entry{At: morning, By: keeper, Event: fmt.Sprint("u", i), Suit: "HP-07", Fact: core.Used{When: morning}}
			if err := Enter(st, config.Default().Policy, e.Event, morning, []core.Entry{e}); err != nil {
				t.Error(err)
			}
		}
	})
	for range 20 {
		p := mustPlan(t, st, suitsCSV, testsCSV)
		entries, err := st.OfSuit("HP-07")
		if err != nil {
			t.Fatal(err)
		}
		stale, err := p.Stale(st)
		if err != nil {
			t.Fatal(err)
		}
		file := FileOf(entries)
		for _, e := range p.Entries {
			if e.Suit == "HP-07" {
				file = file.Apply(e)
			}
		}
		if want := RowOf(config.Default().Policy, file); !stale && shown(p.Rows[0]) != shown(want) {
			t.Errorf("planned is %+v, and the journal gives %+v", p.Rows[0], want)
		}
	}
	used.Wait()
}

// What a plan costs depends on what the files name, and not on how much is in
// the store.
func TestPlanReadsOnlyWhatItNeeds(t *testing.T) {
	st := largeStore(t, 2_000)
	contents := map[string][]byte{"tests.csv": []byte(strings.Replace(testsCSV, "hp7", "ZZ-00007", 1))}
	allocs := testing.AllocsPerRun(1, func() {
		p, err := planImport(st, config.Default(), []string{"tests.csv"}, contents, morning, keeper, "p1")
		if err != nil || len(p.Rows) != 1 {
			t.Fatalf("%d rows, %v", len(p.Rows), err)
		}
	})
	if allocs > 10_000 {
		t.Errorf("a plan of one row takes %.0f allocations", allocs)
	}
}

func BenchmarkPlanOfOneSuit(b *testing.B) { benchmarkPlan(b, 1) }

func BenchmarkPlanOf500Suits(b *testing.B) { benchmarkPlan(b, 500) }

func benchmarkPlan(b *testing.B, suits int) {
	st := largeStore(b, 24_000)
	var text strings.Builder
	text.WriteString("tag,exhaust_valves,method,size\n")
	for i := range suits {
		fmt.Fprintf(&text, "ZZ-%05d,2,en943,L\n", i*40+1)
	}
	contents := map[string][]byte{"suits.csv": []byte(text.String())}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := planImport(st, config.Default(), []string{"suits.csv"}, contents, morning, keeper, "p1"); err != nil {
			b.Fatal(err)
		}
	}
}
