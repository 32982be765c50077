package store_test

import (
	"bytes"
	"errors"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"testing"
	"testing/synctest"

	"go.etcd.io/bbolt"

	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

func TestOpenAgain(t *testing.T) {
	path := filepath.Join(t.TempDir(), "benchbell.db")
	s := must(store.Create(path))(t)
	commit(t, s, something())
	commit(t, s, everything(1))
	before := dump(t, s)
	do(t, s.Close())
	s = reopen(t, path)
	same(t, "all", dump(t, s), before)
}

func TestFileIsTheOwnersAlone(t *testing.T) {
	if runtime.GOOS == "windows" {
		t.Skip("no such modes here")
	}
	path := filepath.Join(t.TempDir(), "benchbell.db")
	created(t, path)
	if mode := must(os.Stat(path))(t).Mode(); mode != 0o600 {
		t.Errorf("mode %v, want 0600", mode)
	}
}

func TestOpenTwice(t *testing.T) {
	path := filepath.Join(t.TempDir(), "benchbell.db")
	created(t, path)
	synctest.Test(t, func(t *testing.T) { // where waiting for the lock takes no time
		_, err := store.Open(path)
		if err == nil || !strings.Contains(err.Error(), "another benchbell has the file open") || !strings.Contains(err.Error(), path) {
			t.Errorf("open twice: %v", err)
		}
	})
}

func TestOpenWhatCannotBeOpened(t *testing.T) {
	dir := t.TempDir()
	write := func(name string, data []byte) string {
		path := filepath.Join(dir, name)
		do(t, os.WriteFile(path, data, 0o600))
		return path
	}
	whole := filepath.Join(dir, "whole")
	s := must(store.Create(whole))(t)
	commit(t, s, something())
	commit(t, s, everything(1))
	do(t, s.Close())
	data := must(os.ReadFile(whole))(t)

	etcd := filepath.Join(dir, "etcd")
	db := must(bbolt.Open(etcd, 0o600, nil))(t)
	do(t, db.Update(func(tx *bbolt.Tx) error {
		_, err := tx.CreateBucket([]byte("meta"))
		return err
	}), db.Close())

	zeroed := slices.Clone(data)
	clear(zeroed[:2*os.Getpagesize()])
	for _, c := range []struct{ name, path, want string }{
		{"a text", write("text", []byte(strings.Repeat("HP-07;L;rack 2\n", 1000))), "damaged or no benchbell file"},
		{"a short text", write("note", []byte("HP-07\n")), "damaged or no benchbell file"},
		{"its end is missing", write("short", data[:len(data)/2]), "its end is missing"},
		{"only its first pages", write("shorter", data[:2*os.Getpagesize()]), "its end is missing"},
		{"its beginning is wiped out", write("zeroed", zeroed), "damaged or no benchbell file"},
		{"an empty file", write("empty", nil), "its end is missing"},
		{"a directory", dir, "damaged or no benchbell file"},
		{"no such directory", filepath.Join(dir, "none", "benchbell.db"), "no such file or directory"},
		{"the file of another program", etcd, "belongs to another program"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s, err := store.Open(c.path)
			if err == nil {
				t.Fatal(s.Close())
			}
			if !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), c.path) {
				t.Errorf("%v, want an error about the file that says %q", err, c.want)
			}
		})
	}
	reopen(t, write("whole", data))
}

// Only Create makes a store, and it makes a whole one or none.
func TestCreate(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "benchbell.db")
	if _, err := store.Open(path); !errors.Is(err, fs.ErrNotExist) || !strings.Contains(err.Error(), path) {
		t.Errorf("open what is not there: %v", err)
	}
	if got := names(t, dir); len(got) > 0 {
		t.Errorf("open left %q", got)
	}
	s := must(store.Create(path))(t)
	commit(t, s, something())
	do(t, s.Close())
	before := must(os.ReadFile(path))(t)
	empty := filepath.Join(dir, "empty")
	do(t, os.WriteFile(empty, nil, 0o600))
	for _, taken := range []string{path, empty, dir} {
		if _, err := store.Create(taken); !errors.Is(err, fs.ErrExist) || !strings.Contains(err.Error(), taken) {
			t.Errorf("create %s: %v", taken, err)
		}
	}
	if _, err := store.Create(filepath.Join(dir, "none", "benchbell.db")); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("create in no directory: %v", err)
	}
	if !bytes.Equal(must(os.ReadFile(path))(t), before) {
		t.Error("the file was changed")
	}
	if got := names(t, dir); !slices.Equal(got, []string{"benchbell.db", "empty"}) {
		t.Errorf("files %q", got)
	}
}

// writer is a function as an io.Writer.
type writer func([]byte) (int, error)

func (w writer) Write(p []byte) (int, error) { return w(p) }

// A backup is the store at one moment, though much is written while somebody
// slow takes it.
func TestBackup(t *testing.T) {
	dir := t.TempDir()
	s := created(t, filepath.Join(dir, "benchbell.db"))
	commit(t, s, something())
	commit(t, s, everything(1))
	want := dump(t, s)
	var copied bytes.Buffer
	grown := false
	do(t, s.Backup(writer(func(p []byte) (int, error) {
		if !grown {
			grown = true
			e := note(1)
			e.Fact = core.Noted{Text: strings.Repeat("much to say. ", 1<<17)} // makes the file grow
			for range 8 {
				commit(t, s, store.Batch{Entries: []core.Entry{e}})
			}
		}
		return copied.Write(p)
	})))
	path := filepath.Join(dir, "backup.db")
	do(t, os.WriteFile(path, copied.Bytes(), 0o600))
	same(t, "the backup", dump(t, reopen(t, path)), want)
	if got := names(t, dir); !slices.Equal(got, []string{"backup.db", "benchbell.db"}) {
		t.Errorf("left behind: %q", got)
	}
}

func TestBackupThatCannotBeTaken(t *testing.T) {
	dir := t.TempDir()
	s := created(t, filepath.Join(dir, "benchbell.db"))
	full := errors.New("disk full")
	if err := s.Backup(writer(func([]byte) (int, error) { return 0, full })); !errors.Is(err, full) {
		t.Errorf("backup: %v, want %v", err, full)
	}
	if got := names(t, dir); !slices.Equal(got, []string{"benchbell.db"}) {
		t.Errorf("left behind: %q", got)
	}
	if err := inMemory(t).Backup(&bytes.Buffer{}); err == nil || !strings.Contains(err.Error(), "back it up with the tools of its database") {
		t.Errorf("backup of what is no file: %v", err)
	}
}

func names(t *testing.T, dir string) []string {
	t.Helper()
	var list []string
	for _, f := range must(os.ReadDir(dir))(t) {
		list = append(list, f.Name())
	}
	return list
}

// The invented schema 0 kept the marks under another name, and schema 2 of
// these tests has a new bucket.
var (
	fromZero = func(tx store.Tx) error {
		for key, value := range tx.Range("read so far", nil, nil) {
			if err := errors.Join(tx.Put("marks", key, value), tx.Delete("read so far", key)); err != nil {
				return err
			}
			break // one is enough; the bucket must not be changed in the loop
		}
		return nil
	}
	fromOne = func(tx store.Tx) error { return tx.Put("new", []byte("k"), []byte("v")) }
)

// schemaZero makes a file of the invented schema 0.
func schemaZero(t *testing.T) (path string) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "benchbell.db")
	s := must(store.OpenSchema(path, 0, nil))(t)
	commit(t, s, store.Batch{Entries: notes(1, 5)})
	do(t, store.EngineOf(s).Update(func(tx store.Tx) error {
		return tx.Put("read so far", []byte("c1"), []byte(`{"created":7,"updated":8}`))
	}), s.Close())
	return path
}

func TestMigration(t *testing.T) {
	path := schemaZero(t)
	old := must(os.ReadFile(path))(t)
	files := func(want ...string) {
		t.Helper()
		if got := names(t, filepath.Dir(path)); !slices.Equal(got, want) {
			t.Errorf("files %q, want %q", got, want)
		}
	}
	s := must(store.OpenSchema(path, 2, map[int]func(store.Tx) error{0: fromZero, 1: fromOne}))(t)
	same(t, "marks", must(s.Marks())(t), map[string]store.Mark{"c1": {Created: 7, Updated: 8}})
	same(t, "journal", len(all(t, s.Entries(0))), 5)
	same(t, "new", storetest.DumpOf(t, store.EngineOf(s), "new", "read so far"), storetest.Dump{"new": {"k": "v"}, "read so far": {}})
	do(t, s.Check(), s.Close())
	files("benchbell.db", "benchbell.db.schema-0")

	kept := path + ".schema-0"
	if mode := must(os.Stat(kept))(t).Mode(); runtime.GOOS != "windows" && mode != 0o600 {
		t.Errorf("mode of the copy %v, want 0600", mode)
	}
	s = must(store.OpenSchema(kept, 0, nil))(t)
	same(t, "the copy", storetest.DumpOf(t, store.EngineOf(s), "read so far"), storetest.Dump{"read so far": {"c1": `{"created":7,"updated":8}`}})
	do(t, s.Check(), s.Close())

	// Once it is brought up to date, that is that.
	do(t, must(store.OpenSchema(path, 2, nil))(t).Close())
	files("benchbell.db", "benchbell.db.schema-0")

	// Somebody put the old file back: the copy of then is not lost.
	do(t, os.WriteFile(path, old, 0o600))
	do(t, must(store.OpenSchema(path, 1, map[int]func(store.Tx) error{0: fromZero}))(t).Close())
	files("benchbell.db", "benchbell.db.schema-0", "benchbell.db.schema-0.2")
}

// A file of schema 1, whose keys had no hyphen between two numbers, is brought up
// to date: every suit is found by what people type for it, and none for another.
func TestTagsOfSchemaOne(t *testing.T) {
	path := filepath.Join(t.TempDir(), "benchbell.db")
	s := must(store.OpenSchema(path, 1, nil))(t)
	commit(t, s, register("HP1-12", "HP-07", "A1-07", "2024-3"))
	do(t, store.EngineOf(s).Update(func(tx store.Tx) error { // as that program wrote them
		var now []string
		for key := range tx.Range("tags", nil, nil) {
			now = append(now, string(key))
		}
		for _, key := range now {
			if err := tx.Delete("tags", []byte(key)); err != nil {
				return err
			}
		}
		return errors.Join(
			tx.Put("tags", []byte("hp112"), []byte("HP1-12")), tx.Put("tags", []byte("hp7"), []byte("HP-07")),
			tx.Put("tags", []byte("a107"), []byte("A1-07")), tx.Put("tags", []byte("20243"), []byte("2024-3")))
	}), s.Close())

	s = reopen(t, path)
	for typed, want := range map[string]string{"hp1-12": "HP1-12", "hp11-2": "", "hp112": "", "hp7": "HP-07", "a1 7": "A1-07", "a107": "", "2024/03": "2024-3"} {
		tag, ok, err := s.SuitTag(typed)
		if tag != want || ok != (want != "") || err != nil {
			t.Errorf("SuitTag(%q) = %q, %v, %v, want %q", typed, tag, ok, err, want)
		}
	}
	do(t, s.Check())
	commit(t, s, register("HP11-2", "HP112")) // they are suits of their own now
	commit(t, s, register("HP1-12"))
	do(t, s.Check())
	if got := names(t, filepath.Dir(path)); !slices.Equal(got, []string{"benchbell.db", "benchbell.db.schema-1"}) {
		t.Errorf("files %q, want a copy of the old one", got)
	}
}

func TestMigrationThatFails(t *testing.T) {
	wrong := errors.New("that cannot be")
	for _, c := range []struct {
		name string
		from map[int]func(store.Tx) error
		want string
	}{
		{"half way", map[int]func(store.Tx) error{0: fromZero, 1: func(tx store.Tx) error {
			return errors.Join(fromOne(tx), wrong)
		}}, "it must be brought up to date, but nothing was changed: from schema 1 to 2: that cannot be"},
		{"no way", map[int]func(store.Tx) error{0: fromZero}, "no way leads on from schema 1: use an earlier benchbell first"},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := schemaZero(t)
			s := must(store.OpenSchema(path, 0, nil))(t)
			before := storetest.DumpOf(t, store.EngineOf(s), append(store.Buckets, "read so far", "new")...)
			do(t, s.Close())
			if _, err := store.OpenSchema(path, 2, c.from); err == nil || !strings.Contains(err.Error(), c.want) || !strings.Contains(err.Error(), path) {
				t.Errorf("open: %v, want an error about the file that says %q", err, c.want)
			}
			s = must(store.OpenSchema(path, 0, nil))(t)
			same(t, "all", storetest.DumpOf(t, store.EngineOf(s), append(store.Buckets, "read so far", "new")...), before)
			do(t, s.Close())
			if got := names(t, filepath.Dir(path)); !slices.Equal(got, []string{"benchbell.db"}) {
				t.Errorf("files %q, want no copy of what is still there", got)
			}
		})
	}
}

func TestNewerFileIsRefused(t *testing.T) {
	path := filepath.Join(t.TempDir(), "benchbell.db")
	do(t, must(store.OpenSchema(path, 7, nil))(t).Close())
	before := must(os.ReadFile(path))(t)
	_, err := store.Open(path)
	if err == nil || !strings.Contains(err.Error(), "a newer benchbell wrote it (schema 7, and this one knows up to 2): install that benchbell again, or use a backup") {
		t.Errorf("open: %v", err)
	}
	if !bytes.Equal(must(os.ReadFile(path))(t), before) {
		t.Error("the file was changed")
	}
	if _, err := os.Stat(path + ".schema-7"); !errors.Is(err, fs.ErrNotExist) {
		t.Errorf("a copy was made: %v", err)
	}
}

func TestSchemaThatIsNone(t *testing.T) {
	e := storetest.Memory()
	do(t, e.Update(func(tx store.Tx) error { return tx.Put("benchbell", []byte("schema"), []byte("x")) }))
	if _, err := store.New(e); err == nil || !strings.Contains(err.Error(), `schema "x" is no number`) {
		t.Errorf("new: %v", err)
	}
}
