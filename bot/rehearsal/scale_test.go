package rehearsal

import (
	"bytes"
	"context"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/bot/document"
	"benchbell/bot/engine"
	"benchbell/bot/ledger"
	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

// desk has files that people attached.
type desk map[string][]byte

func (d desk) File(_ context.Context, id string) (io.ReadCloser, error) {
	return io.NopCloser(bytes.NewReader(d[id])), nil
}

func newEngine(tb testing.TB, cfg config.Config) (*engine.Engine, *store.Store) {
	tb.Helper()
	st, err := store.OpenThrowaway(filepath.Join(tb.TempDir(), "benchbell.db"))
	if err != nil {
		tb.Fatal(err)
	}
	tb.Cleanup(func() { st.Close() })
	return newEngineOn(tb, st, cfg), st
}

func newEngineOn(tb testing.TB, st *store.Store, cfg config.Config) *engine.Engine {
	tb.Helper()
	e, err := engine.New(st, cfg, stageBot, slog.New(slog.NewTextHandler(tb.Output(), nil)))
	if err != nil {
		tb.Fatal(err)
	}
	return e
}

// TestImportOf500 attaches a register of 500 invented suits to a post, and asks
// for the fleet.
func TestImportOf500(t *testing.T) {
	var csv bytes.Buffer
	csv.WriteString("tag,exhaust_valves,method,size\n")
	for i := range 500 {
		fmt.Fprintf(&csv, "ZZ-%03d,2,en943,L\n", i+1)
	}
	e, st := newEngine(t, Demo())
	at := Start(Demo())
	officer := person("duty.officer")
	where := chat.Where{Channel: "dm/duty.officer", Direct: true}
	for i, said := range []chat.Said{
		{Text: "import", Files: []chat.File{{ID: "f1", Name: "suits.csv", Size: int64(csv.Len())}}},
		{Text: "status"},
		{Text: "ZZ-500"},
	} {
		said.Post = fmt.Sprintf("p%d", i)
		if err := handle(t.Context(), e, st, Demo(), desk{"f1": csv.Bytes()}, chat.Event{ID: said.Post, At: at, Who: officer, Where: where, What: said}); err != nil {
			t.Fatal(err)
		}
	}
	out, err := st.Pending()
	if err != nil || len(out) != 3 {
		t.Fatalf("%d posts, error %v", len(out), err)
	}
	for i, want := range []string{"500 suits", "0 of 500 fit", "ZZ-500: not fit"} {
		if !strings.Contains(out[i].Text, want) {
			t.Errorf("post %d is %q, want %q in it", i, out[i].Text, want)
		}
	}
	if err := st.Check(); err != nil {
		t.Error(err)
	}
}

// TestExportImport: what is exported is imported as the same register, and an
// empty register exports templates.
func TestExportImport(t *testing.T) {
	cfg := Demo()
	start := Start(cfg)
	entries, err := Fleet(cfg, nil, start)
	if err != nil {
		t.Fatal(err)
	}
	_, full := newEngine(t, cfg)
	if err := ledger.Enter(full, cfg.Policy, "register", start, entries); err != nil {
		t.Fatal(err)
	}
	folder := t.TempDir()
	if _, err := document.Export(full, cfg, folder); err != nil {
		t.Fatal(err)
	}
	if _, err := document.Export(full, cfg, folder); err == nil {
		t.Error("an export overwrote another")
	}
	_, empty := newEngine(t, cfg)
	if reg, err := document.Export(empty, cfg, t.TempDir()); err != nil || len(reg.Suits) != 0 {
		t.Errorf("templates: %v, error %v", reg, err)
	}
	contents := make(map[string][]byte)
	names := []string{"suits.csv", "manometers.csv", "tests.csv"}
	for _, name := range names {
		if contents[name], err = os.ReadFile(filepath.Join(folder, name)); err != nil {
			t.Fatal(err)
		}
	}
	for again := range 2 {
		reg, err := ledger.Import(empty, cfg, names, contents, start.Add(time.Duration(again)*time.Hour))
		if err != nil {
			t.Fatal(err)
		}
		if want := 126 * (1 - again); len(reg.Suits) != 24 || len(reg.Manometers) != 4 || len(reg.Tests) != want {
			t.Errorf("import %d took %d suits, %d manometers, %d tests; want 24, 4, %d", again+1, len(reg.Suits), len(reg.Manometers), len(reg.Tests), want)
		}
	}
	restored, err := store.OpenThrowaway(filepath.Join(t.TempDir(), "restored.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer restored.Close()
	if n, err := ledger.Restore(restored, cfg, filepath.Join(folder, "journal.jsonl")); err != nil || n != uint64(len(entries)) {
		t.Errorf("%d entries restored, error %v", n, err)
	}
	if _, err := engine.New(restored, cfg, stageBot, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	n, head, err := full.Head()
	if n2, head2, err2 := restored.Head(); err != nil || err2 != nil || n != n2 || head != head2 {
		t.Errorf("the journal's head was %d %s, restored it is %d %s", n, head, n2, head2)
	}
	total, _, err := restored.Count()
	if err != nil || total != 24 {
		t.Errorf("%d suits restored, error %v", total, err)
	}
	day := core.DateAt(start, cfg.Policy.Zone)
	for row, err := range full.Rows() {
		if err != nil {
			t.Fatal(err)
		}
		if row.Tag == "HP-20" || row.Tag == "HP-21" || row.Tag == "HP-22" {
			continue // used, retired, withdrawn: no column of a register says that, the journal does
		}
		got, _, err := empty.Row(row.Tag)
		if err != nil {
			t.Fatal(err)
		}
		if a, b := ledger.SummaryOf(row).Standing(cfg.Policy, day), ledger.SummaryOf(got).Standing(cfg.Policy, day); a.Kind != b.Kind || a.Due != b.Due {
			t.Errorf("%s was %s until %s and came back %s until %s", row.Tag, a.Kind, a.Due, b.Kind, b.Due)
		}
	}
}

// TestPolicyChange: rows are made anew when the station changes its interval.
func TestPolicyChange(t *testing.T) {
	cfg := Demo()
	start := Start(cfg)
	entries, err := Fleet(cfg, nil, start)
	if err != nil {
		t.Fatal(err)
	}
	_, st := newEngine(t, cfg)
	if err := ledger.Enter(st, cfg.Policy, "register", start, entries); err != nil {
		t.Fatal(err)
	}
	before, _, err := st.Row("HP-07")
	if err != nil {
		t.Fatal(err)
	}
	cfg.Policy.Interval = core.Period{Months: 6}
	if _, err := engine.New(st, cfg, stageBot, slog.New(slog.DiscardHandler)); err != nil {
		t.Fatal(err)
	}
	after, _, err := st.Row("HP-07")
	if err != nil || after.Due != before.Due.AddMonths(-6) {
		t.Errorf("due %s with an interval of 12 months, %s with 6; error %v", before.Due, after.Due, err)
	}
}

// fleetOf makes a store of n invented suits of which 2 % are barred, 1 % fall
// due within a month and 1 % are overdue.
func fleetOf(b *testing.B, n int) *engine.Engine {
	cfg := Demo()
	at := Start(cfg)
	today := core.DateAt(at, cfg.Policy.Zone)
	st, err := store.New(storetest.Memory())
	if err != nil {
		b.Fatal(err)
	}
	batch := &store.Batch{Wakes: map[string]time.Time{"look": at, "looked": at.Add(-24 * time.Hour)}}
	for i := range n {
		row := store.SuitRow{Tag: fmt.Sprintf("ZZ-%06d", i), Size: "L", Kind: core.Fit, Due: today.AddDays(40 + i%300)}
		switch i % 100 {
		case 0, 1:
			row.Kind, row.Bars = core.NotFit, []core.Bar{{Kind: core.BarUsed, Since: at.Add(-48 * time.Hour)}}
		case 2:
			row.Due = today.AddDays(i / 100 % 30)
		case 3:
			row.Due = today.AddDays(-1 - i/100%30)
		}
		batch.Rows = append(batch.Rows, row)
		if len(batch.Rows) == 5000 {
			if err := st.Commit(batch); err != nil {
				b.Fatal(err)
			}
			batch.Rows = nil
		}
	}
	return newEngineOn(b, st, cfg)
}

func BenchmarkStatusOf100000(b *testing.B) {
	e := fleetOf(b, 100_000)
	at := Start(Demo())
	for i := 0; b.Loop(); i++ {
		ev := chat.Event{ID: fmt.Sprint("s", i), At: at, Who: person("duty.officer"), Where: chat.Where{Channel: "d", Direct: true}, What: chat.Said{Post: fmt.Sprint("s", i), Text: "status"}}
		if err := e.Handle(ev); err != nil {
			b.Fatal(err)
		}
	}
}

func BenchmarkPlanningOf100000(b *testing.B) {
	e := fleetOf(b, 100_000)
	at := Start(Demo())
	for b.Loop() {
		if err := e.Wake(at); err != nil {
			b.Fatal(err)
		}
		at = at.Add(24 * time.Hour)
	}
}
