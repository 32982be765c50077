package main

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

// A copy never takes the place of anything, least of all of the store.
func TestBackupOverSomething(t *testing.T) {
	s := newConfigured(t)
	s.mustRun("import", demo("suits.csv"))
	whole, err := os.ReadFile("benchbell.db")
	if err != nil {
		t.Fatal(err)
	}
	for link, make := range map[string]func(old, new string) error{"hard.db": os.Link, "soft.db": os.Symlink} {
		if err := make(filepath.Join(s.dir, "benchbell.db"), link); err != nil {
			t.Fatal(err)
		}
	}
	for _, name := range []string{"benchbell.db", "./benchbell.db", filepath.Join(s.dir, "benchbell.db"), "hard.db", "soft.db"} {
		s.mustFail([]string{"backup", name}, name+" is the store itself", "a new name")
	}
	s.file("old.db", "last year's")
	if err := os.Symlink("nowhere", "dangling.db"); err != nil {
		t.Fatal(err)
	}
	for _, name := range []string{"old.db", ".", "dangling.db"} {
		s.mustFail([]string{"backup", name}, name+" is there already", "a new name")
	}
	if now, err := os.ReadFile("benchbell.db"); err != nil || !bytes.Equal(now, whole) {
		t.Errorf("the store is another now, %v", err)
	}
	if old, _ := os.ReadFile("old.db"); string(old) != "last year's" {
		t.Errorf("the old file has %q", old)
	}
	mustHave(t, s.mustRun("backup", "new.db"), "new.db is a whole copy of benchbell.db, up to journal entry 24.")
}

// A copy that is not whole is not kept: a store that is damaged makes none.
func TestBackupOfADamagedStore(t *testing.T) {
	s := newConfigured(t)
	s.mustRun("import", demo("suits.csv"))
	file, err := os.ReadFile("benchbell.db")
	if err != nil {
		t.Fatal(err)
	}
	s.file("benchbell.db", strings.Replace(string(file), `"made":"2021-04-19"`, `"made":"2024-04-19"`, 1))
	s.mustFail([]string{"backup", "copy.db"}, "journal entry 7", "was not kept")
	if s.has("copy.db") {
		t.Error("the damaged copy is there")
	}
	if left, err := filepath.Glob(".backup-*"); err != nil || len(left) > 0 {
		t.Errorf("left behind are %v, %v", left, err)
	}
}

// TestTornCopies: a file that was cut off, or whose pages are not its own, is
// named as damaged by every subcommand that reads it, and never by what Go prints
// of a panic. What does not matter may be damaged unnoticed.
func TestTornCopies(t *testing.T) {
	s := newConfigured(t)
	s.mustRun("import", demo("suits.csv"), demo("manometers.csv"))
	whole, err := os.ReadFile("benchbell.db")
	if err != nil {
		t.Fatal(err)
	}
	page := os.Getpagesize()
	noticed := 0
	try := func(what string, file []byte) {
		t.Helper()
		s.file("benchbell.db", string(file))
		for _, args := range [][]string{{"verify"}, {"check"}, {"undelivered"}, {"backup", "copy.db"}, {"export", "out"}} {
			out, err := s.runs(args...)
			said := fmt.Sprintln(out, err)
			for _, bad := range []string{"goroutine ", "runtime error", "panic", ".go:"} {
				if strings.Contains(said, bad) {
					t.Errorf("%s, %s: %s", what, args[0], said)
				}
			}
			if args[0] == "verify" && err != nil {
				noticed++
				for _, way := range []string{"damaged", "backup", "journal entry"} {
					if strings.Contains(said, way) {
						said = ""
					}
				}
				if said != "" {
					t.Errorf("%s: verify says only %s", what, said)
				}
			}
			os.Remove("copy.db")
			os.RemoveAll("out")
		}
	}
	for n := 0; n < len(whole); n += page {
		try(fmt.Sprintf("cut off after %d bytes", n), whole[:n])
		for fill, with := range map[string][]byte{"zeros": make([]byte, page), "0xff": bytes.Repeat([]byte{0xff}, page), "page 3": whole[3*page : 4*page]} {
			torn := bytes.Clone(whole)
			copy(torn[n:], with)
			try(fmt.Sprintf("page %d is %s", n/page, fill), torn)
		}
	}
	if noticed < 20 {
		t.Errorf("only %d damages were noticed", noticed)
	}
}
