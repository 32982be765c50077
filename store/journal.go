package store

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"iter"

	"benchbell/core"
)

// Hash is the SHA-256 of the previous entry's hash and the bytes of an entry's
// record; it chains the journal. Whoever has noted the hash of an entry can
// check later that nothing up to that entry was changed.
type Hash [sha256.Size]byte

// String returns the hash in hexadecimal digits.
func (h Hash) String() string { return hex.EncodeToString(h[:]) }

// next returns the hash of the entry after the one that h is of.
func (h Hash) next(record []byte) Hash {
	return sha256.Sum256(append(h[:], record...))
}

// head is the last entry's number and hash, zero in an empty journal.
type head struct {
	seq  uint64
	hash Hash
}

func readHead(tx Tx) (head, error) {
	data := tx.Get(bucketMeta, keyHead)
	if data == nil {
		return head{}, nil
	}
	var h head
	if len(data) != 8+len(h.hash) {
		return head{}, errors.New("the note of the last journal entry is damaged: put a backup in the place of the file")
	}
	var err error
	h.seq, err = toNumber(data[:8])
	copy(h.hash[:], data[8:])
	return h, err
}

func writeHead(tx Tx, h head) error {
	return tx.Put(bucketMeta, keyHead, append(number(h.seq), h.hash[:]...))
}

// appendEntries adds entries to the journal and its indexes, and returns the
// number of the first.
func appendEntries(tx Tx, entries []core.Entry) (first uint64, err error) {
	h, err := readHead(tx)
	if err != nil {
		return 0, err
	}
	first = h.seq + 1
	for i, e := range entries {
		e.Seq = h.seq + 1
		record, err := encodeEntry(e)
		if err != nil {
			return 0, fmt.Errorf("entry %d of %d: %w", i+1, len(entries), err)
		}
		h = head{e.Seq, h.hash.next(record)}
		if err := tx.Put(bucketJournal, number(e.Seq), append(h.hash[:], record...)); err != nil {
			return 0, err
		}
		if err := indexEntry(tx, e); err != nil {
			return 0, fmt.Errorf("entry %d of %d: %w", i+1, len(entries), err)
		}
	}
	if len(entries) == 0 {
		return first, nil
	}
	return first, writeHead(tx, h)
}

// link is an entry of the journal before it is decoded: its number, hash and
// record, and the last entry of the journal when it was read.
type link struct {
	seq    uint64
	hash   Hash
	record []byte
	last   head
}

func readLink(tx Tx, key, value []byte) (link, error) {
	seq, err := toNumber(key)
	if err != nil {
		return link{}, err
	}
	l := link{seq: seq}
	if len(value) < len(l.hash) {
		return link{}, &EntryError{seq, errors.New("its record is cut short")}
	}
	copy(l.hash[:], value)
	l.record = value[len(l.hash):]
	l.last, err = readHead(tx)
	return l, err
}

// entry decodes the record.
func (l link) entry() (core.Entry, error) {
	e, err := decodeEntry(l.record)
	if err == nil && e.Seq != l.seq {
		err = fmt.Errorf("its record is that of entry %d", e.Seq)
	}
	if err != nil {
		return core.Entry{}, &EntryError{l.seq, err}
	}
	return e, nil
}

func readEntry(tx Tx, key, value []byte) (core.Entry, error) {
	l, err := readLink(tx, key, value)
	if err != nil {
		return core.Entry{}, err
	}
	return l.entry()
}

// getEntry reads an entry that must be there.
func getEntry(tx Tx, seq uint64) (core.Entry, error) {
	value := tx.Get(bucketJournal, number(seq))
	if value == nil {
		return core.Entry{}, &EntryError{seq, errMissing}
	}
	return readEntry(tx, number(seq), value)
}

var errMissing = errors.New("it is missing")

// Entries yields the journal from entry number "from" on, in order. It reads a
// page at a time, so the loop may take long and may itself use the store. It
// stops at an entry that cannot be read, with an *EntryError.
func (s *Store) Entries(from uint64) iter.Seq2[core.Entry, error] {
	return pages(s.engine, bucketJournal, number(from), nil, readEntry)
}

// Verify walks the whole journal: every entry is there, in its place, as it
// was written, and can be read. It returns the last entry's hash and number,
// or an *EntryError about the first entry that is not as it should be.
//
// Somebody who rewrites the whole file can make a valid chain. To detect that,
// use [Store.VerifyAgainst] with a hash noted elsewhere.
func (s *Store) Verify() (Hash, uint64, error) {
	var c chain
	err := s.engine.View(func(tx Tx) (err error) {
		c.noted, err = readHead(tx)
		return err
	})
	if err != nil {
		return Hash{}, 0, err
	}
	for l, err := range pages(s.engine, bucketJournal, nil, nil, readLink) {
		if err == nil {
			_, err = c.add(l)
		}
		if err != nil {
			return Hash{}, 0, err
		}
	}
	if err := c.end(); err != nil {
		return Hash{}, 0, err
	}
	return c.last.hash, c.last.seq, nil
}

// chain verifies entries one after the other.
type chain struct {
	last  head // the entry added last
	noted head // the entry that is noted as the last of the journal
}

// add checks that an entry is the one written after the last one.
func (c *chain) add(l link) (core.Entry, error) {
	c.noted = l.last
	switch {
	case l.seq == 0:
		return core.Entry{}, &EntryError{l.seq, errors.New("the journal begins with entry 1")}
	case l.seq != c.last.seq+1:
		return core.Entry{}, &EntryError{c.last.seq + 1, errMissing}
	case l.seq > l.last.seq:
		return core.Entry{}, &EntryError{l.seq, errors.New("it stands behind the entry that was written last")}
	case l.hash != c.last.hash.next(l.record):
		return core.Entry{}, &EntryError{l.seq, errors.New("it is not as it was written: its hash does not fit")}
	}
	c.last = head{l.seq, l.hash}
	return l.entry()
}

// end checks that the entry added last is the last of the journal.
func (c *chain) end() error {
	switch {
	case c.last.seq < c.noted.seq:
		return &EntryError{c.last.seq + 1, errMissing}
	case c.last != c.noted:
		return &EntryError{c.last.seq, errors.New("it is not the one that was written last")}
	}
	return nil
}

// HashAt returns the hash of an entry, which is the hash that Verify returned
// when the entry was the last; false if there is no such entry.
func (s *Store) HashAt(seq uint64) (h Hash, ok bool, err error) {
	err = s.engine.View(func(tx Tx) error {
		value := tx.Get(bucketJournal, number(seq))
		if value == nil {
			return nil
		}
		l, err := readLink(tx, number(seq), value)
		h, ok = l.hash, err == nil
		return err
	})
	return h, ok, err
}
