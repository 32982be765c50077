package store_test

import (
	"bytes"
	"errors"
	"strings"
	"testing"

	"benchbell/core"
	"benchbell/store"
)

func TestHead(t *testing.T) {
	s := inMemory(t)
	if n, h, err := s.Head(); n != 0 || h != (store.Hash{}) || err != nil {
		t.Errorf("empty journal: %d, %v, %v", n, h, err)
	}
	commit(t, s, store.Batch{Entries: notes(1, 3)})
	head, n, err := s.Verify()
	if seq, h, err2 := s.Head(); seq != n || h != head || err != nil || err2 != nil {
		t.Errorf("head %d, %v, %v; want %d, %v, %v", seq, h, err2, n, head, err)
	}
}

func TestParseHash(t *testing.T) {
	_, h, err := store.Entry(store.Hash{}, note(1))
	if err != nil {
		t.Fatal(err)
	}
	for _, s := range []string{h.String(), strings.ToUpper(h.String())} {
		if back, err := store.ParseHash(s); back != h || err != nil {
			t.Errorf("ParseHash(%s) = %v, %v", s, back, err)
		}
	}
	for _, s := range []string{"", h.String()[1:], h.String() + "0", h.String()[:63] + "g", " " + h.String()[1:], "no hash"} {
		if back, err := store.ParseHash(s); err == nil || back != (store.Hash{}) || !strings.Contains(err.Error(), "is no hash: it has 64 digits") {
			t.Errorf("ParseHash(%q) = %v, %v", s, back, err)
		}
	}
}

// A head noted elsewhere tells what no journal tells of itself: that its end
// was cut off and the note of its head changed to match, or that it was written
// anew from an entry on without a flaw in it.
func TestVerifyAgainst(t *testing.T) {
	head := func(n uint64, h store.Hash) []byte { return append(append([]byte{}, journalKey(byte(n))...), h[:]...) }
	// cut leaves n entries, and says that there were never more.
	cut := func(n uint64) func(store.Tx) error {
		return func(tx store.Tx) error {
			var h store.Hash
			copy(h[:], tx.Get("journal", journalKey(byte(n))))
			for seq := n + 1; seq <= 10; seq++ {
				if err := tx.Delete("journal", journalKey(byte(seq))); err != nil {
					return err
				}
			}
			return tx.Put("benchbell", []byte("head"), head(n, h))
		}
	}
	// forge writes entries 5 to n anew, and the head.
	forge := func(n uint64) func(store.Tx) error {
		return func(tx store.Tx) error {
			var h store.Hash
			copy(h[:], tx.Get("journal", journalKey(4)))
			for seq := uint64(5); seq <= n; seq++ {
				e := note(int(seq) + 100)
				e.Seq = seq
				value, next, err := store.Entry(h, e)
				if err != nil {
					return err
				}
				if err := tx.Put("journal", journalKey(byte(seq)), value); err != nil {
					return err
				}
				h = next
			}
			for seq := n + 1; seq <= 10; seq++ {
				if err := tx.Delete("journal", journalKey(byte(seq))); err != nil {
					return err
				}
			}
			return tx.Put("benchbell", []byte("head"), head(n, h))
		}
	}
	nothing := func(store.Tx) error { return nil }
	whole := tampered(t, nothing)
	at := func(n uint64) store.Hash {
		h, _, err := whole.HashAt(n)
		do(t, err)
		return h
	}
	for _, c := range []struct {
		name  string
		with  func(store.Tx) error
		noted uint64
		bad   uint64 // 0 if the journal still matches
		want  string
	}{
		{"whole, last noted", nothing, 10, 0, ""},
		{"whole, first noted", nothing, 1, 0, ""},
		{"whole, empty journal noted", nothing, 0, 0, ""},
		{"end cut off", cut(7), 10, 8, "it is missing: the journal once had 10 entries"},
		{"end cut off behind what was noted", cut(7), 7, 0, ""},
		{"all but one cut off", cut(1), 10, 2, "it is missing"},
		{"written anew up to the end", forge(10), 10, 10, "it, or one before it, was written anew"},
		{"written anew and longer", forge(14), 10, 10, "written anew"},
		{"written anew and shorter", forge(8), 10, 9, "it is missing"},
		{"written anew behind what was noted", forge(10), 4, 0, ""},
		{"changed", func(tx store.Tx) error {
			v := tx.Get("journal", journalKey(3))
			return tx.Put("journal", journalKey(3), bytes.Replace(v, []byte("note 3"), []byte("note 4"), 1))
		}, 10, 3, "hash does not fit"},
	} {
		t.Run(c.name, func(t *testing.T) {
			s := tampered(t, c.with)
			_, _, alone := s.Verify()
			if cunning := c.name != "changed"; cunning != (alone == nil) {
				t.Errorf("verify alone: %v", alone)
			}
			h, n, err := s.VerifyAgainst(c.noted, at(c.noted))
			if c.bad == 0 {
				if seq, last, _ := s.Head(); h != last || n != seq || err != nil {
					t.Errorf("verify: %d, %v, %v", n, h, err)
				}
				return
			}
			bad, ok := errors.AsType[*store.EntryError](err)
			if !ok || bad.Seq != c.bad || !strings.Contains(err.Error(), c.want) || n != 0 || h != (store.Hash{}) {
				t.Errorf("verify: %d, %v, %v, want entry %d, %q", n, h, err, c.bad, c.want)
			}
		})
	}
}

// What was noted of a journal in use stays good, whatever is added.
func TestVerifyAgainstLater(t *testing.T) {
	s := inFile(t)
	heads := make(map[uint64]store.Hash)
	for i := range 5 {
		commit(t, s, store.Batch{Entries: []core.Entry{note(i)}})
		n, h, err := s.Head()
		do(t, err)
		heads[n] = h
	}
	for n, h := range heads {
		if _, last, err := s.VerifyAgainst(n, h); last != 5 || err != nil {
			t.Errorf("the head noted at entry %d: %d entries, %v", n, last, err)
		}
	}
}
