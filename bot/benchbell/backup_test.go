package main

import (
	"bytes"
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
