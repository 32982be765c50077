package main

import (
	"bytes"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"go.etcd.io/bbolt"
)

// TestKeep takes the demo station through the life of its files.
func TestKeep(t *testing.T) {
	suits, gauges, tests := demo("suits.csv"), demo("manometers.csv"), demo("tests.csv")
	s := newStation(t)
	s.file("benchbell.toml", "[station]\nname = \"Harrow Point\"\nzone = \"Europe/London\"\ndata = \"kept/bell.db\"\n")
	s.file("kept/empty", "")

	mustHave(t, s.mustRun("import", suits, gauges, tests), "24 suits, 4 manometers", "new past tests")
	if !s.has("kept/bell.db") {
		t.Error("the store is not where the configuration says")
	}
	mustHave(t, s.mustRun("import", tests), "0 suits, 0 manometers, 0 new past tests")
	whole := s.mustRun("verify")
	mustHave(t, whole, "The journal is whole", "entries, head ")

	// A copy is as good as the store itself.
	mustHave(t, s.mustRun("backup", "copy.db"), "copy.db is a whole copy of "+filepath.Join("kept", "bell.db")+", up to journal entry ")
	other := s.file("other.toml", "[station]\ndata = \"copy.db\"\n")
	if got := s.mustRun("verify", "--config", other); got != whole {
		t.Errorf("of the copy: %q, want %q", got, whole)
	}
	if left, err := filepath.Glob(".backup-*"); err != nil || len(left) > 0 {
		t.Errorf("a backup leaves behind %v, %v", left, err)
	}

	// What is written out can be taken in elsewhere, and written out the same.
	mustHave(t, s.mustRun("export", "out"), "24 suits, 4 manometers")
	third := s.file("third.toml", "[station]\nzone = \"Europe/London\"\ndata = \"third.db\"\n")
	s.mustRun("import", "out/suits.csv", "out/manometers.csv", "out/tests.csv", "--config", third)
	s.mustRun("export", "--config", third, "again")
	for _, name := range []string{"suits.csv", "manometers.csv", "tests.csv"} {
		first, err1 := os.ReadFile(filepath.Join("out", name))
		second, err2 := os.ReadFile(filepath.Join("again", name))
		if err1 != nil || err2 != nil || !bytes.Equal(first, second) {
			t.Errorf("%s changes on its way through a store: %v, %v", name, err1, err2)
		}
	}
}

// TestExportDocuments: what an auditor, an insurer or the next brigade is handed.
func TestExportDocuments(t *testing.T) {
	s := newConfigured(t)
	s.mustFail([]string{"export", "--suit", "HP-07", "out"}, "there is no store")
	s.mustFail([]string{"export", "--records", "out"}, "there is no store")
	s.mustRun("import", s.file("suits.csv", "tag,exhaust_valves,method\nHP-07,2,en943\nHP-08,2,en943\nHP-09,2,f1052\n"))

	mustHave(t, s.mustRun("export", "--suit", "hp7", "out/hp7"), "written to out/hp7: all about HP-07, with its logbook and 0 records")
	for _, name := range []string{"logbook-HP-07.pdf", "journal-HP-07.csv", "journal-HP-07.jsonl"} {
		if !s.has("out/hp7/" + name) {
			t.Errorf("%s is missing", name)
		}
	}
	if s.has("out/hp7/suits.csv") {
		t.Error("the register of all suits is in it")
	}
	s.mustRun("export", "out/hp7", "--suit", "HP-08") // a folder takes several
	s.mustFail([]string{"export", "--suit", "HP-99", "out/hp99"}, `no suit "HP-99"`, "HP-09")

	s.mustRun("export", "out/plain")
	if s.has("out/plain/logbooks") {
		t.Error("documents nobody asked for")
	}
	mustHave(t, s.mustRun("export", "--records", "out/all"), "3 suits, 0 manometers", "and as PDF: 0 records, 3 logbooks, the list for the wall")
	if made, err := filepath.Glob("out/all/logbooks/*.pdf"); len(made) != 3 || err != nil {
		t.Errorf("%d logbooks, %v", len(made), err)
	}
	if made, err := filepath.Glob("out/all/shelf-*.pdf"); len(made) != 1 || err != nil {
		t.Errorf("%d lists for the wall, %v", len(made), err)
	}
	s.mustFail([]string{"export", "--records", "out/all"}, "has no such file")
}

// TestImportFaults: nothing is taken of files with a fault, and it is named.
func TestImportFaults(t *testing.T) {
	s := newConfigured(t)
	good := s.file("good.csv", "id,unit,resolution\nG-1,mbar,0.1\n")
	bad := s.file("bad.csv", "tag,exhaust_valves,method\nZZ-1,one,f1052\n")
	s.mustFail([]string{"import", good, bad}, "bad.csv", "exhaust_valves", "one")
	s.mustFail([]string{"import", "nowhere.csv", "neither.csv"}, "nowhere.csv", "neither.csv")
	mustHave(t, s.mustRun("import", good), "1 manometers")
	mustHave(t, s.mustRun("verify"), "whole: 1 entries")
}

// TestImportLeavesNothing: an import that fails leaves no new store behind, which
// would pass for the station's own, and says of none. A store that was there
// stays.
func TestImportLeavesNothing(t *testing.T) {
	s := newConfigured(t)
	bad := s.file("bad.csv", "tag,method\nZZ-1,f1052\n")
	s.file("empty.jsonl", "")
	s.file("folder.jsonl/x", "")
	s.file("other.jsonl", "{\"format\":\"x\"}\n")
	for file, want := range map[string]string{
		"nope.jsonl": "nope.jsonl", "empty.jsonl": "empty.jsonl is empty", "folder.jsonl": "folder.jsonl",
		"other.jsonl": "line 1", bad: "bad.csv",
	} {
		out, err := s.runs("import", file)
		if err == nil || !strings.Contains(err.Error(), want) || out != "" {
			t.Errorf("of %s it says %q, and ends with %v", file, out, err)
		}
		if left, err := filepath.Glob("*.db*"); err != nil || len(left) > 0 {
			t.Errorf("of %s is left %v, %v", file, left, err)
		}
	}
	good := s.file("good.csv", "id,unit,resolution\nG-1,mbar,0.1\n")
	mustHave(t, s.mustRun("import", good), "made a new store")
	s.mustFail([]string{"import", bad}, "bad.csv")
	s.mustFail([]string{"import", "other.jsonl"}, "not empty")
	mustHave(t, s.mustRun("verify"), "whole: 1 entries")
}

// TestTampered: a journal whose past was edited is told from a whole one, by the
// number of the entry.
func TestTampered(t *testing.T) {
	suits := demo("suits.csv")
	s := newConfigured(t)
	s.mustRun("import", suits)
	path := filepath.Join(s.dir, "benchbell.db")
	file, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	// HP-07 is made younger. What the program itself looks up is left alone.
	tampered := bytes.ReplaceAll(file, []byte(`"made":"2021-04-19"`), []byte(`"made":"2024-04-19"`))
	if bytes.Equal(tampered, file) {
		t.Fatal("the file does not have the words that were to be changed")
	}
	s.file("benchbell.db", string(tampered))
	s.mustFail([]string{"verify"}, "journal entry 7", "its hash does not fit")

	s.file("benchbell.db", string(file[:3*os.Getpagesize()]))
	s.mustFail([]string{"verify"}, "benchbell.db", "damaged")
	s.file("benchbell.db", "this is no database, and was never meant to be one")
	s.mustFail([]string{"verify"}, "benchbell.db", "no benchbell file")
	s.file("benchbell.db", string(file))
	s.mustRun("verify")
}

// TestTamperedInEveryWay writes to the file of the store by another way, each
// time to a fresh copy of it: the first entry that is not as it should be is
// named. An end that was cut off, with the note of the last entry changed to
// match, only a seal noted before tells.
func TestTamperedInEveryWay(t *testing.T) {
	suits, gauges, tests := demo("suits.csv"), demo("manometers.csv"), demo("tests.csv")
	s := newConfigured(t)
	s.mustRun("import", suits, gauges, tests)
	whole, err := os.ReadFile("benchbell.db")
	if err != nil {
		t.Fatal(err)
	}
	said := s.mustRun("verify")
	var entries int
	var seal string
	if _, err := fmt.Sscanf(said, "The journal is whole: %d entries, head %64s.", &entries, &seal); err != nil {
		t.Fatalf("%q: %v", said, err)
	}
	n := fmt.Sprint(entries)
	mustHave(t, s.mustRun("verify", n, seal), "The journal is whole")

	key := func(seq int) []byte { return binary.BigEndian.AppendUint64(nil, uint64(seq)) }
	get := func(b *bbolt.Bucket, seq int) []byte { return bytes.Clone(b.Get(key(seq))) }
	for _, c := range []struct {
		name   string
		with   func(journal, meta *bbolt.Bucket) error
		alone  string // what "verify" says; nothing if it finds nothing wrong
		sealed string // what it says with the seal
	}{
		{"an entry changed", func(j, _ *bbolt.Bucket) error {
			return j.Put(key(7), bytes.Replace(get(j, 7), []byte("HP-07"), []byte("HP-70"), 1))
		}, "journal entry 7: it is not as it was written", "journal entry 7"},
		{"an entry removed", func(j, _ *bbolt.Bucket) error { return j.Delete(key(7)) }, "journal entry 7: it is missing", "journal entry 7"},
		{"an entry removed, the others moved up", func(j, _ *bbolt.Bucket) error {
			for seq := 7; seq < entries; seq++ {
				if err := j.Put(key(seq), get(j, seq+1)); err != nil {
					return err
				}
			}
			return j.Delete(key(entries))
		}, "journal entry 7: it is not as it was written", "journal entry 7"},
		{"an entry inserted, the others moved down", func(j, _ *bbolt.Bucket) error {
			for seq := entries; seq > 7; seq-- {
				if err := j.Put(key(seq+1), get(j, seq)); err != nil {
					return err
				}
			}
			return j.Put(key(8), get(j, 7))
		}, "journal entry 8: it is not as it was written", "journal entry 8"},
		{"an entry added behind the last", func(j, _ *bbolt.Bucket) error { return j.Put(key(entries+1), get(j, entries)) }, "journal entry " + fmt.Sprint(entries+1), "journal entry"},
		{"two entries swapped", func(j, _ *bbolt.Bucket) error {
			seven := get(j, 7)
			return errors.Join(j.Put(key(7), get(j, 12)), j.Put(key(12), seven))
		}, "journal entry 7: it is not as it was written", "journal entry 7"},
		{"the last entry removed", func(j, _ *bbolt.Bucket) error { return j.Delete(key(entries)) }, "journal entry " + n + ": it is missing", "journal entry " + n},
		{"the end cut off without a trace", func(j, meta *bbolt.Bucket) error {
			for seq := 20; seq <= entries; seq++ {
				if err := j.Delete(key(seq)); err != nil {
					return err
				}
			}
			return meta.Put([]byte("head"), append(key(19), get(j, 19)[:32]...))
		}, "", "journal entry 20: it is missing: the journal once had " + n + " entries"},
		{"the end written anew without a flaw", func(j, meta *bbolt.Bucket) error {
			hash := get(j, 6)[:32]
			for seq := 7; seq <= entries; seq++ {
				record := bytes.ReplaceAll(get(j, seq)[32:], []byte("en943"), []byte("f1052"))
				next := sha256.Sum256(append(bytes.Clone(hash), record...))
				hash = next[:]
				if err := j.Put(key(seq), append(bytes.Clone(hash), record...)); err != nil {
					return err
				}
			}
			return meta.Put([]byte("head"), append(key(entries), hash...))
		}, "", "journal entry " + n + ": it, or one before it, was written anew"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := &station{t, s.dir}
			s.file("benchbell.db", string(whole))
			db, err := bbolt.Open("benchbell.db", 0o600, &bbolt.Options{Timeout: time.Second})
			if err != nil {
				t.Fatal(err)
			}
			err = db.Update(func(tx *bbolt.Tx) error {
				return c.with(tx.Bucket([]byte("journal")), tx.Bucket([]byte("benchbell")))
			})
			if err := errors.Join(err, db.Close()); err != nil {
				t.Fatal(err)
			}
			if c.alone == "" {
				mustHave(t, s.mustRun("verify"), "The journal is whole")
			} else {
				s.mustFail([]string{"verify"}, c.alone)
			}
			s.mustFail([]string{"verify", n, seal}, c.sealed)
		})
	}
}

// TestJournalByLines: the journal as JSON Lines makes the same journal in an
// empty store, with the same head, and is written from there the same.
func TestJournalByLines(t *testing.T) {
	suits, gauges, tests := demo("suits.csv"), demo("manometers.csv"), demo("tests.csv")
	s := newConfigured(t)
	s.mustRun("import", suits, gauges, tests)
	s.mustRun("export", "out")
	other := s.file("other.toml", "[station]\nname = \"Harrow Point\"\ndata = \"other.db\"\n")
	mustHave(t, s.mustRun("import", "--config", other, "out/journal.jsonl"), "restored: ")
	if was, is := s.mustRun("verify"), s.mustRun("verify", "--config", other); was != is {
		t.Errorf("verified %q, and of the other %q", was, is)
	}
	s.mustRun("export", "--config", other, "again")
	for _, name := range []string{"journal.jsonl", "journal.csv", "suits.csv", "due.ics"} {
		was, err1 := os.ReadFile(filepath.Join("out", name))
		is, err2 := os.ReadFile(filepath.Join("again", name))
		if err1 != nil || err2 != nil || !bytes.Equal(was, is) {
			t.Errorf("%s is another: %v, %v", name, err1, err2)
		}
	}
	s.mustFail([]string{"import", "--config", other, "out/journal.jsonl"}, "empty")
	// What was restored is known, though no bot has run on it.
	mustHave(t, s.mustRun("import", "--config", other, tests), "0 new past tests")
}

// TestMissingStore: what needs a store makes none, and says where it looked.
func TestMissingStore(t *testing.T) {
	s := newStation(t)
	gauges := s.file("g.csv", "id,unit,resolution\nG-1,mbar,0.1\n")
	for _, args := range [][]string{
		{"verify"}, {"backup", "copy.db"}, {"import", gauges}, {"undelivered"}, {"export", "--records", "out"},
	} {
		s.mustFail(args, "there is no store and no benchbell.toml in "+s.dir+":", "--config")
	}
	s.file("benchbell.toml", "[station]\ndata = \"bell.db\"\n")
	s.mustFail([]string{"verify"}, "there is no store at "+filepath.Join(s.dir, "bell.db")+":", "station.data in benchbell.toml", "benchbell import")
	for _, name := range []string{"benchbell.db", "bell.db", "copy.db"} {
		if s.has(name) {
			t.Errorf("%s is there now", name)
		}
	}
	mustHave(t, s.mustRun("import", gauges), "made a new store: "+filepath.Join(s.dir, "bell.db")+"\n", "1 manometers")
	if out := s.mustRun("import", gauges); strings.Contains(out, "new store") {
		t.Errorf("the second import says %q", out)
	}
	s.mustFail([]string{"backup", "nowhere/copy.db"}, "nowhere")
	mustHave(t, s.mustRun("export", "out"), "fill in suits.csv as a template")
}

// TestConfigured: the configuration is the file named, else the usual one of this
// folder.
func TestConfigured(t *testing.T) {
	s := newStation(t)
	gauges := s.file("g.csv", "id,unit,resolution\nG-1,mbar,0.1\n")
	s.file("benchbell.toml", "[station]\ndata = \"usual.db\"\n")
	s.mustRun("import", gauges)
	if !s.has("usual.db") {
		t.Error("the usual configuration is not read")
	}
	named := s.file("etc/named.toml", "[station]\ndata = \"named.db\"\n")
	s.mustRun("import", gauges, "--config", named)
	if !s.has("etc/named.db") {
		t.Error("the store is not beside the configuration that names it")
	}
	s.file("benchbell.toml", "[station]\ndate = \"usual.db\"\n")
	s.mustFail([]string{"verify"}, "benchbell.toml: line 2", "station.date")
	s.mustFail([]string{"verify", "--config", "nowhere.toml"}, "nowhere.toml")
}

// TestWithoutConfiguration: a store that is there is used without a configuration.
func TestWithoutConfiguration(t *testing.T) {
	s := newConfigured(t)
	s.mustRun("import", s.file("g.csv", "id,unit,resolution\nG-1,mbar,0.1\n"))
	if err := os.Remove("benchbell.toml"); err != nil {
		t.Fatal(err)
	}
	mustHave(t, s.mustRun("import", "g.csv"), "1 manometers")
	mustHave(t, s.mustRun("verify"), "whole: 2 entries")
}
