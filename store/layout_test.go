package store_test

import (
	"bytes"
	"fmt"
	"maps"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"benchbell/core"
	"benchbell/store"
	"benchbell/store/storetest"
)

// played returns a store in which a little of everything has happened.
func played(t *testing.T) *store.Store {
	s := inMemory(t)
	commit(t, s, something())
	do(t, s.Tried(1, morning), s.Delivered(1, "post1"))
	commit(t, s, everything(1))
	commit(t, s, everything(2))
	commit(t, s, store.Batch{Entries: []core.Entry{entry(9, "HP-02", 102, core.Closed{})}})
	do(t, s.Tried(3, morning), s.Park(3, "the channel is archived"))
	return s
}

// testdata/store.txt is all that such a store holds, a line for each key. It
// must be written just so, and be read for ever.
func TestLayout(t *testing.T) {
	s := played(t)
	golden(t, "store.txt", format(dump(t, s)))

	old := inMemory(t)
	do(t, store.EngineOf(old).Update(func(tx store.Tx) error { return restore(tx, parse(t, filepath.Join("testdata", "store.txt"))) }))
	for what, say := range map[string]func(*store.Store) any{
		"journal":    func(s *store.Store) any { return all(t, s.Entries(0)) },
		"of suit":    func(s *store.Store) any { return must(s.OfSuit("HP-02"))(t) },
		"of run":     func(s *store.Store) any { return must(s.OfRun(102))(t) },
		"open runs":  func(s *store.Store) any { return must(s.OpenRuns())(t) },
		"next run":   func(s *store.Store) any { return must(s.NextRun())(t) },
		"manometers": func(s *store.Store) any { return must(s.Manometers())(t) },
		"last used":  func(s *store.Store) any { return must(s.LastUsed())(t) },
		"rows":       func(s *store.Store) any { return all(t, s.Rows()) },
		"barred":     func(s *store.Store) any { return all(t, s.Barred()) },
		"due":        func(s *store.Store) any { return all(t, s.DueBy(day(12, 31))) },
		"ending":     func(s *store.Store) any { return all(t, s.EndingBy(day(12, 31))) },
		"made with":  func(s *store.Store) any { return must(s.RowsMadeWith())(t) },
		"tags like":  func(s *store.Store) any { return must(s.TagsLike("2", 9))(t) },
		"given":      func(s *store.Store) any { return must(s.Given("HP-09 overdue", "HP-02 overdue", "HP-03 overdue"))(t) },
		"seen":       func(s *store.Store) any { return must(s.Seen("e1"))(t) },
		"wakes":      func(s *store.Store) any { return must(s.Wakes())(t) },
		"marks":      func(s *store.Store) any { return must(s.Marks())(t) },
		"pending":    func(s *store.Store) any { return must(s.Pending())(t) },
		"parked":     func(s *store.Store) any { return must(s.Parked())(t) },
	} {
		same(t, what, say(old), say(s))
		if got := fmt.Sprint(say(s)); got == "[]" || got == "map[]" || got == "" {
			t.Errorf("%s: there is nothing to compare", what)
		}
	}
	if id, ok, err := old.PostID("a"); id != "post1" || !ok || err != nil {
		t.Errorf("PostID: %q, %v, %v", id, ok, err)
	}
}

// format writes a dump as lines "bucket key value", quoted.
func format(all storetest.Dump) []byte {
	var lines bytes.Buffer
	for _, bucket := range slices.Sorted(maps.Keys(all)) {
		for _, key := range slices.Sorted(maps.Keys(all[bucket])) {
			fmt.Fprintf(&lines, "%q %+q %+q\n", bucket, key, all[bucket][key])
		}
	}
	return lines.Bytes()
}

func parse(t *testing.T, path string) storetest.Dump {
	t.Helper()
	all := make(storetest.Dump)
	for line := range strings.Lines(string(must(os.ReadFile(path))(t))) {
		var bucket, key, value string
		if _, err := fmt.Sscanf(line, "%q %q %q\n", &bucket, &key, &value); err != nil {
			t.Fatalf("%s: %v in %s", path, err, line)
		}
		if all[bucket] == nil {
			all[bucket] = make(map[string]string)
		}
		all[bucket][key] = value
	}
	return all
}
