package store

import (
	"bytes"
	"errors"
	"fmt"
	"iter"
	"maps"
	"slices"
	"time"
)

// Check examines everything: the structure of the file, the chain of the
// journal, and that all derived data agrees with its source. It returns
// everything it finds wrong, joined. Writers may have to wait meanwhile.
func (s *Store) Check() error {
	if e, ok := s.engine.(interface{ Check() error }); ok {
		if err := e.Check(); err != nil {
			return err // the contents of the pages cannot be trusted
		}
	}
	return s.engine.View(func(tx Tx) error {
		return errors.Join(checkJournal(tx), checkRows(tx), checkMoments(tx), checkOutbox(tx))
	})
}

// checkJournal verifies the journal and derives its indexes, both in one pass,
// since decoding the entries takes most of the time.
func checkJournal(tx Tx) (err error) {
	var c chain
	if c.noted, err = readHead(tx); err != nil {
		return err
	}
	r := newReplay(tx, bucketBySuit, bucketByRun)
	for key, value := range tx.Range(bucketJournal, nil, nil) {
		l, err := readLink(tx, key, value)
		if err != nil {
			return err
		}
		e, err := c.add(l)
		if err == nil {
			err = indexEntry(r, e)
		}
		if err != nil {
			return err
		}
	}
	if err := c.end(); err != nil {
		return err
	}
	return r.compare(bucketBySuit, bucketByRun, bucketOpenRuns, bucketNumbers, bucketManometers, bucketLastUsed, bucketTags)
}

func checkRows(tx Tx) error {
	r := newReplay(tx, bucketRows, bucketBarred, bucketDue, bucketEnding)
	for key, value := range tx.Range(bucketRows, nil, nil) {
		row, err := decodeRow(value)
		if err == nil {
			err = putRow(r, row)
		}
		if err != nil {
			return fmt.Errorf("row of suit %s: %w", key, err)
		}
	}
	return r.compare(bucketRows, bucketBarred, bucketDue, bucketEnding, bucketCounts)
}

// checkMoments checks that each event seen, notice and wake time has a valid
// name and moment. Nothing in the store tells whether one of them is missing.
func checkMoments(tx Tx) error {
	buckets := []string{bucketSeen, bucketNotices, bucketWakes}
	r := newReplay(tx, buckets...)
	for _, bucket := range buckets {
		for name, value := range tx.Range(bucket, nil, nil) {
			var at moment
			err := at.UnmarshalText(value)
			if err == nil {
				err = putMoment(r, bucket, "name", string(name), time.Time(at))
			}
			if err != nil {
				return fmt.Errorf("%q in %q: %w", name, bucket, err)
			}
		}
	}
	return nil
}

// checkOutbox checks that every post has its key, that every key has one post
// or one id, and that the bucket of untried edits is right.
func checkOutbox(tx Tx) error {
	r := newReplay(tx)
	for _, bucket := range []string{bucketOut, bucketParked} {
		for key, value := range tx.Range(bucket, nil, nil) {
			o, err := readOut(tx, key, value)
			switch {
			case err != nil:
			case o.Kind == Post:
				err = r.putOnce(bucketPostIDs, []byte(o.Key), nil)
			case bucket == bucketOut && o.Tries == 0:
				err = r.putOnce(bucketUntried, []byte(o.Target), key)
			}
			if err != nil {
				return err
			}
		}
	}
	for id, key := range tx.Range(bucketPostKeys, nil, nil) {
		if err := r.putOnce(bucketPostIDs, key, id); err != nil {
			return err
		}
	}
	return r.compare(bucketPostIDs, bucketUntried)
}

// replay is a transaction that takes derived data without writing it, to
// compare it with that in the store. The data of a large bucket, whose keys come
// once each, is compared at once; that of others is held until the end.
type replay struct {
	Tx    // the store
	large map[string]int
	held  map[string]map[string][]byte
}

func newReplay(tx Tx, large ...string) *replay {
	r := &replay{Tx: tx, large: make(map[string]int), held: make(map[string]map[string][]byte)}
	for _, bucket := range large {
		r.large[bucket] = 0
	}
	return r
}

// Get returns the data held, and nothing from a large bucket.
func (r *replay) Get(bucket string, key []byte) []byte { return r.held[bucket][string(key)] }

func (r *replay) Put(bucket string, key, value []byte) error {
	if _, large := r.large[bucket]; large {
		r.large[bucket]++
		return r.same(bucket, key, value)
	}
	if r.held[bucket] == nil {
		r.held[bucket] = make(map[string][]byte)
	}
	r.held[bucket][string(key)] = append([]byte{}, value...)
	return nil
}

// putOnce is Put for a key that must not be held yet.
func (r *replay) putOnce(bucket string, key, value []byte) error {
	if r.Get(bucket, key) != nil {
		return fmt.Errorf("%q would be in %q twice: put a backup in the place of the file", key, bucket)
	}
	return r.Put(bucket, key, value)
}

func (r *replay) Delete(bucket string, key []byte) error {
	delete(r.held[bucket], string(key))
	return nil
}

// same checks that the store has a value.
func (r *replay) same(bucket string, key, want []byte) error {
	got := r.Tx.Get(bucket, key)
	switch {
	case got == nil:
		return fmt.Errorf("%q is missing from %q: put a backup in the place of the file", key, bucket)
	case !bytes.Equal(got, want):
		return fmt.Errorf("%q in %q is %q and should be %q: put a backup in the place of the file", key, bucket, got, want)
	}
	return nil
}

// compare checks that these buckets of the store are as they were derived.
func (r *replay) compare(buckets ...string) error {
	var wrong []error
	for _, bucket := range buckets {
		held := r.held[bucket]
		for _, key := range slices.Sorted(maps.Keys(held)) {
			wrong = append(wrong, r.same(bucket, []byte(key), held[key]))
		}
		there := count(r.Range(bucket, nil, nil))
		if want := len(held) + r.large[bucket]; there != want {
			wrong = append(wrong, fmt.Errorf("%q has %d keys and should have %d: put a backup in the place of the file", bucket, there, want))
		}
	}
	return errors.Join(wrong...)
}

func count(pairs iter.Seq2[[]byte, []byte]) int {
	n := 0
	for range pairs {
		n++
	}
	return n
}
