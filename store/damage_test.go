package store_test

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"benchbell/core"
	"benchbell/store"
)

// damagedFile makes a store of some pages, with branches, free pages, pages
// that run over, and buckets of all sizes.
func damagedFile(t *testing.T) (path string, data []byte) {
	t.Helper()
	path = filepath.Join(t.TempDir(), "benchbell.db")
	s := must(store.Create(path))(t)
	commit(t, s, something())
	for n := range core.RunID(8) {
		commit(t, s, everything(n+1))
	}
	do(t, s.Delivered(1, "post1"))
	long := note(1)
	long.Fact = core.Noted{Text: strings.Repeat("much to say. ", 700)}
	commit(t, s, store.Batch{Entries: append(notes(1, 60), long)})
	commit(t, s, store.Batch{Entries: notes(1, 3)})
	do(t, s.Check(), s.Close())
	return path, must(os.ReadFile(path))(t)
}

// useAll does with a store what the program does. What it returns matters less
// than that it returns.
func useAll(path string) error {
	s, err := store.Open(path)
	if err != nil {
		return err
	}
	check := s.Check()
	_, _, _ = s.Verify()
	_, _ = s.Pending()
	_, _ = s.Parked()
	_, _ = s.Marks()
	_, _ = s.OpenRuns()
	_, _ = s.OfSuit("HP-07")
	_, _, _ = s.Count()
	for range s.Rows() {
	}
	for range s.Entries(0) {
	}
	_ = s.Tried(2, morning)
	_ = s.Delivered(3, "post3")
	b := everything(99)
	_ = s.Commit(&b)
	_ = s.Backup(&bytes.Buffer{})
	_ = s.Close()
	return check
}

// Whatever page is damaged, the program goes on, and Open or Check tells.
func TestDamagedPages(t *testing.T) {
	path, whole := damagedFile(t)
	size := os.Getpagesize()
	r := random(t)
	inUse := usedPages(t, whole, size)
	if len(inUse) < 20 {
		t.Fatalf("only %d pages are in use", len(inUse))
	}
	t.Logf("%d pages, %d in use", len(whole)/size, len(inUse))
	for page := range len(whole) / size {
		if page >= 2 && !inUse[page] {
			continue
		}
		for name, damage := range map[string]func(p []byte){
			"zeroed":                 func(p []byte) { clear(p) },
			"filled":                 func(p []byte) { copy(p, bytes.Repeat([]byte{0xff}, size)) },
			"torn":                   func(p []byte) { clear(p[size/8:]) },
			"another page's":         func(p []byte) { copy(p, whole[(page+3)%(len(whole)/size)*size:][:size]) },
			"of another kind":        func(p []byte) { p[8] ^= 0x13 },
			"with too many elements": func(p []byte) { p[10], p[11] = 0xff, 0x7f },
			"running over":           func(p []byte) { binary.NativeEndian.PutUint32(p[12:], 1<<30) },
			"with another position":  func(p []byte) { binary.NativeEndian.PutUint32(p[20:], 1<<31) },
			"with another child":     func(p []byte) { binary.NativeEndian.PutUint64(p[24:], uint64(1)<<40) },
			"its own child":          func(p []byte) { binary.NativeEndian.PutUint64(p[24:], uint64(page)) },
			"flipped": func(p []byte) {
				for range 8 {
					p[r.IntN(200)] ^= 1 << r.IntN(8)
				}
			},
		} {
			data := slices.Clone(whole)
			damage(data[page*size:][:size])
			at := fmt.Sprintf("%s %d %s", path, page, name)
			do(t, os.WriteFile(at, data, 0o600))
			err := useAll(at)
			do(t, os.Remove(at))
			seen := inUse[page] && name != "torn" && name != "flipped" && name != "with another child" && name != "its own child" && name != "with another position"
			if seen && !bytes.Equal(data, whole) && err == nil {
				t.Errorf("page %d %s: nobody noticed", page, name)
			}
		}
	}
}

// usedPages returns the pages that hold something now, but for the meta pages:
// one of these is enough.
func usedPages(t *testing.T, data []byte, size int) map[int]bool {
	t.Helper()
	free := make(map[int]bool)
	newest, list := uint64(0), uint64(0)
	for i := range 2 {
		m := data[i*size+16:]
		if txid := binary.NativeEndian.Uint64(m[48:]); txid >= newest {
			newest, list = txid, binary.NativeEndian.Uint64(m[32:])
		}
	}
	p := data[int(list)*size:]
	for i := range int(binary.NativeEndian.Uint16(p[10:])) {
		free[int(binary.NativeEndian.Uint64(p[16+8*i:]))] = true
	}
	used := make(map[int]bool)
	for id := 2; id < len(data)/size; {
		n := 1 + int(binary.NativeEndian.Uint32(data[id*size+12:]))
		if free[id] || binary.NativeEndian.Uint64(data[id*size:]) != uint64(id) {
			id++
			continue
		}
		used[id] = true
		id += n
	}
	return used
}

// An error about damage says which file, and what to do.
func TestDamageIsWordedForAPerson(t *testing.T) {
	path, whole := damagedFile(t)
	size := os.Getpagesize()
	var wrong []string
	for page := range usedPages(t, whole, size) {
		data := slices.Clone(whole)
		clear(data[page*size:][:size])
		at := fmt.Sprintf("%s %d", path, page)
		do(t, os.WriteFile(at, data, 0o600))
		err := useAll(at)
		if err == nil || !strings.Contains(err.Error(), at) || !strings.Contains(err.Error(), "put a backup in its place") {
			wrong = append(wrong, fmt.Sprint(err))
		}
	}
	if len(wrong) > 0 {
		t.Errorf("%q", wrong)
	}
}

// A file cut short while it is in use is an error, not a fault.
func TestFileCutShortWhileInUse(t *testing.T) {
	path, _ := damagedFile(t)
	s := must(store.Open(path))(t)
	do(t, os.Truncate(path, int64(3*os.Getpagesize())))
	if _, _, err := s.Verify(); err == nil {
		t.Error("the journal verifies")
	}
	if err := s.Check(); err == nil {
		t.Error("check is content")
	}
	b := everything(99)
	if err := s.Commit(&b); err == nil {
		t.Error("a batch was committed")
	}
	_ = s.Close()
}
