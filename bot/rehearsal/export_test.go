package rehearsal

import (
	"bytes"
	"io/fs"
	"log/slog"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"benchbell/bot/chat"
	"benchbell/bot/config"
	"benchbell/bot/document"
	"benchbell/bot/engine"
	"benchbell/bot/ledger"
	"benchbell/bot/paper"
	"benchbell/core"
	"benchbell/store"
)

var secondOfMarch = core.Date{Year: 2026, Month: time.March, Day: 2}

// filesIn returns what is in a folder and those below it, by path.
func filesIn(t *testing.T, folder string) map[string][]byte {
	t.Helper()
	all := make(map[string][]byte)
	err := fs.WalkDir(os.DirFS(folder), ".", func(path string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() {
			return err
		}
		all[path], err = os.ReadFile(filepath.Join(folder, path))
		return err
	})
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// asked asks the bot for a document and returns the file that it answers with.
func asked(t *testing.T, st *store.Store, cfg config.Config, words string, at time.Time) (name string, file []byte) {
	t.Helper()
	e, err := engine.New(st, cfg, stageBot, slog.New(slog.DiscardHandler))
	if err != nil {
		t.Fatal(err)
	}
	ev := chat.Event{ID: "asked " + words, At: at, Who: person("duty.officer"), Where: chat.Where{Channel: "dm", Direct: true}, What: chat.Said{Post: "asked " + words, Text: words}}
	if err := e.Handle(ev); err != nil {
		t.Fatal(err)
	}
	pending, err := st.Pending()
	if err != nil || len(pending) == 0 {
		t.Fatalf("%q is not answered: %v", words, err)
	}
	name, file, err = document.NewMaker(st, cfg, slog.Default()).Make(pending[len(pending)-1].Doc)
	if err != nil {
		t.Fatal(err)
	}
	return name, file
}

// A document that is made late is the same, to the byte, as one that was made at
// once: what happened since is not in it.
func TestDocumentsAreOfTheirEntry(t *testing.T) {
	notInShort(t)
	st, cfg := playedStore(t, "../../testdata/scripts/record.txt")
	var entries []core.Entry
	var at []uint64 // after the register, in the middle of the run, at its verdict
	for e, err := range st.Entries(1) {
		if err != nil {
			t.Fatal(err)
		}
		entries = append(entries, e)
		switch e.Fact.(type) {
		case core.Opened:
			at = append(at, e.Seq-1, e.Seq)
		case core.HoldStarted, core.Judged, core.Closed:
			at = append(at, e.Seq)
		}
	}
	late := document.NewMaker(st, cfg, slog.Default())
	files := 0
	for _, seq := range at {
		then, err := store.OpenThrowaway(filepath.Join(t.TempDir(), "then.db"))
		if err != nil {
			t.Fatal(err)
		}
		defer then.Close()
		if err := ledger.Enter(then, cfg.Policy, "then", entries[seq-1].At, entries[:seq]); err != nil {
			t.Fatal(err)
		}
		atOnce := document.NewMaker(then, cfg, slog.Default())
		for _, d := range []chat.Doc{
			{Kind: chat.RecordDoc, Run: 1},
			{Kind: chat.ChartDoc, Run: 1},
			{Kind: chat.LogbookDoc, Suit: "HP-07", Day: secondOfMarch},
			{Kind: chat.HistoryDoc, Suit: "HP-07"},
			{Kind: chat.HistoryDoc, Suit: "HP-24"},
			{Kind: chat.ShelfDoc, Day: secondOfMarch},
		} {
			d.Seq = seq
			name1, file1, err1 := atOnce.Make(d.String())
			name2, file2, err2 := late.Make(d.String())
			if name1 != name2 || !bytes.Equal(file1, file2) || (err1 == nil) != (err2 == nil) {
				t.Errorf("%s: at once %q of %d bytes, %v; late %q of %d bytes, %v", d, name1, len(file1), err1, name2, len(file2), err2)
			}
			if (file1 == nil) != (name1 == "") {
				t.Errorf("%s: a file of %d bytes has the name %q", d, len(file1), name1)
			}
			if file1 != nil {
				files++
			}
		}
	}
	if files < 15 {
		t.Errorf("only %d files were compared", files)
	}
	for _, wrong := range []string{"", "record/R-0099@5", "logbook/HP-99/2026-03-02@5", "shelf/2026-03-02@99999", "letter/R-0001@5", "history/HP-99@5"} {
		if name, file, err := late.Make(wrong); err == nil || name != "" || file != nil {
			t.Errorf("%q: %q of %d bytes, %v", wrong, name, len(file), err)
		}
	}
}

// An empty journal makes an empty list, and of nothing no picture is drawn.
func TestDocumentsOfNothing(t *testing.T) {
	st, err := store.OpenThrowaway(filepath.Join(t.TempDir(), "empty.db"))
	if err != nil {
		t.Fatal(err)
	}
	defer st.Close()
	m := document.NewMaker(st, Demo(), slog.Default())
	if name, file, err := m.Make("shelf/2026-03-02@0"); name != "shelf-2026-03-02.pdf" || len(file) == 0 || err != nil {
		t.Errorf("%q of %d bytes, %v", name, len(file), err)
	}
	suit := core.Entry{At: secondOfMarch.Start(time.UTC), Event: "e", Suit: "ZZ-1", Fact: core.SuitRegistered{Suit: core.Suit{Tag: "ZZ-1", Method: "en943"}}}
	if err := ledger.Enter(st, Demo().Policy, "e", suit.At, []core.Entry{suit}); err != nil {
		t.Fatal(err)
	}
	if name, file, err := m.Make("history/ZZ-1@1"); name != "" || file != nil || err != nil {
		t.Errorf("%q of %d bytes, %v", name, len(file), err)
	}
}

// What the chat hands out and what is exported are the same, to the byte, for
// the same journal on the same day; and so is what is exported again.
func TestExportIsWhatTheChatHandsOut(t *testing.T) {
	notInShort(t)
	st, cfg := playedStore(t, "../../testdata/scripts/record.txt")
	cfg.Address, cfg.Paper = "Gate 3, Quay Road", paper.Letter
	folder, again := t.TempDir(), t.TempDir()
	done, err := document.ExportDocuments(st, cfg, folder, secondOfMarch, slog.Default())
	if err != nil || done != (document.Exported{Records: 1, Logbooks: 24}) {
		t.Fatalf("%+v, %v", done, err)
	}
	all := filesIn(t, folder)
	if len(all) != 26 {
		t.Errorf("%d files: %q", len(all), slices.Sorted(maps.Keys(all)))
	}
	at := secondOfMarch.Start(cfg.Policy.Zone).Add(20 * time.Hour)
	for words, path := range map[string]string{
		"record R-0001": "records/R-0001.pdf", "logbook hp7": "logbooks/logbook-HP-07.pdf", "shelf": "shelf-2026-03-02.pdf",
	} {
		name, file := asked(t, st, cfg, words, at)
		if name != filepath.Base(path) || !bytes.HasPrefix(file, []byte("%PDF")) || !bytes.Equal(file, all[path]) {
			t.Errorf("%q is answered with %s of %d bytes, and %s has %d", words, name, len(file), path, len(all[path]))
		}
	}
	if _, err := document.ExportDocuments(st, cfg, again, secondOfMarch, slog.Default()); err != nil {
		t.Fatal(err)
	}
	if !maps.EqualFunc(all, filesIn(t, again), bytes.Equal) {
		t.Error("exported again, the documents are others")
	}
	if _, err := document.ExportDocuments(st, cfg, again, secondOfMarch, slog.Default()); err == nil || !strings.Contains(err.Error(), "shelf-2026-03-02.pdf") || !strings.Contains(err.Error(), "has no such file") {
		t.Errorf("over what is there: %v", err)
	}
}

// All about one suit: its logbook, its records, and its entries of the journal,
// each to be found in the whole of it.
func TestExportOfASuit(t *testing.T) {
	st, cfg := playedStore(t, "../../testdata/scripts/history.txt")
	folder, whole := t.TempDir(), t.TempDir()
	tag, done, err := document.ExportSuit(st, cfg, " hp7", folder, secondOfMarch, slog.Default())
	if err != nil || tag != "HP-07" || done.Records != 1 {
		t.Fatalf("%s, %+v, %v", tag, done, err)
	}
	all := filesIn(t, folder)
	want := []string{"R-0002.pdf", "journal-HP-07.csv", "journal-HP-07.jsonl", "logbook-HP-07.pdf"}
	if got := slices.Sorted(maps.Keys(all)); !slices.Equal(got, want) {
		t.Errorf("files %q, want %q", got, want)
	}
	if _, err := document.Export(st, cfg, whole); err != nil {
		t.Fatal(err)
	}
	entries, err := st.OfSuit("HP-07")
	if err != nil {
		t.Fatal(err)
	}
	for name, lines := range map[string]int{"journal-HP-07.csv": len(entries) + 1, "journal-HP-07.jsonl": len(entries)} {
		if n := bytes.Count(all[name], []byte("\n")); n != lines {
			t.Errorf("%s has %d lines, want %d", name, n, lines)
		}
		of, err := os.ReadFile(filepath.Join(whole, strings.Replace(name, "-HP-07", "", 1)))
		if err != nil {
			t.Fatal(err)
		}
		for line := range bytes.Lines(all[name]) {
			if !bytes.Contains(of, line) {
				t.Errorf("%s: the whole journal has no %s", name, line)
			}
		}
	}
	if bytes.Contains(all["journal-HP-07.csv"], []byte("HP-08")) {
		t.Error("another suit is in it")
	}
	if _, _, err := document.ExportSuit(st, cfg, "HP-99", t.TempDir(), secondOfMarch, slog.Default()); err == nil || !strings.Contains(err.Error(), `no suit "HP-99" in the register: perhaps HP-09`) {
		t.Errorf("of a suit that is not there: %v", err)
	}
	if _, _, err := document.ExportSuit(st, cfg, "HP-07", folder, secondOfMarch, slog.Default()); err == nil {
		t.Error("what is there was overwritten")
	}
}

// The standings exported are those of today's policy, though the bot has not
// run since it was changed.
func TestExportAfterAChangeOfPolicy(t *testing.T) {
	notInShort(t)
	st, cfg := playedStore(t, "../../testdata/scripts/record.txt")
	cfg.Policy.Interval = core.Period{Months: 1}
	folder, day := t.TempDir(), core.Date{Year: 2026, Month: time.May, Day: 1}
	if _, err := document.ExportDocuments(st, cfg, folder, day, slog.Default()); err != nil {
		t.Fatal(err)
	}
	exported, err := os.ReadFile(filepath.Join(folder, "shelf-2026-05-01.pdf"))
	if err != nil {
		t.Fatal(err)
	}
	if _, file := asked(t, st, cfg, "shelf", day.Start(cfg.Policy.Zone).Add(time.Hour)); !bytes.Equal(file, exported) {
		t.Error("the bot's list is another")
	}
}
