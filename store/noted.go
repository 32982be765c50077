package store

import (
	"encoding/hex"
	"errors"
	"fmt"
)

// ParseHash reads a hash as its String writes it.
func ParseHash(s string) (Hash, error) {
	var h Hash
	if data, err := hex.DecodeString(s); err != nil || len(data) != len(h) {
		return Hash{}, fmt.Errorf("%q is no hash: it has %d digits, 0 to 9 and a to f", s, hex.EncodedLen(len(h)))
	}
	_, err := hex.Decode(h[:], []byte(s))
	return h, err
}

// Head returns the number and the hash of the last entry, zero if the journal
// is empty. It does not verify them; [Store.Verify] does.
func (s *Store) Head() (n uint64, h Hash, err error) {
	var last head
	err = s.engine.View(func(tx Tx) (err error) {
		last, err = readHead(tx)
		return err
	})
	return last.seq, last.hash, err
}

// VerifyAgainst verifies the journal as [Store.Verify] does, and that entry n
// still has the hash that was noted. If the end was cut off, the *EntryError is
// about the first entry that is missing. If the hash differs, it is about entry
// n: that entry or one before it was changed, and nobody can tell which.
func (s *Store) VerifyAgainst(n uint64, noted Hash) (Hash, uint64, error) {
	last, seq, err := s.Verify()
	if err != nil {
		return Hash{}, 0, err
	}
	if seq < n {
		return Hash{}, 0, &EntryError{seq + 1, fmt.Errorf("it is missing: the journal once had %d entries", n)}
	}
	var h Hash // of what is before the first entry
	if n > 0 {
		if h, _, err = s.HashAt(n); err != nil {
			return Hash{}, 0, err
		}
	}
	if h != noted {
		return Hash{}, 0, &EntryError{n, errors.New("it, or one before it, was written anew: its hash is not the one that was noted")}
	}
	return last, seq, nil
}
