package storetest

import (
	"bytes"
	"errors"
	"iter"
	"maps"
	"slices"
	"sync"

	"benchbell/store"
)

// Memory returns an empty engine that keeps everything in a map and forgets
// it in the end.
func Memory() store.Engine { return &memory{} }

var (
	errClosed   = errors.New("the engine is closed")
	errReadOnly = errors.New("this transaction can only read")
	errNoKey    = errors.New("the key is empty")
)

type memory struct {
	mu      sync.RWMutex
	buckets map[string]map[string][]byte
	closed  bool
}

func (m *memory) View(fn func(store.Tx) error) error {
	m.mu.RLock()
	defer m.mu.RUnlock()
	if m.closed {
		return errClosed
	}
	return fn(&memoryTx{buckets: m.buckets, readOnly: true})
}

func (m *memory) Update(fn func(store.Tx) error) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.closed {
		return errClosed
	}
	tx := &memoryTx{buckets: maps.Clone(m.buckets), own: make(map[string]bool)}
	if err := fn(tx); err != nil {
		return err
	}
	m.buckets = tx.buckets
	return nil
}

func (m *memory) Close() error {
	m.mu.Lock()
	defer m.mu.Unlock()
	m.closed = true
	return nil
}

// memoryTx copies a bucket before it first changes it, so that giving up the
// transaction is dropping the copies.
type memoryTx struct {
	buckets  map[string]map[string][]byte
	own      map[string]bool // buckets copied
	readOnly bool
}

func (t *memoryTx) change(bucket string) (map[string][]byte, error) {
	if t.readOnly {
		return nil, errReadOnly
	}
	if t.buckets == nil {
		t.buckets = make(map[string]map[string][]byte)
	}
	if !t.own[bucket] {
		b := maps.Clone(t.buckets[bucket])
		if b == nil {
			b = make(map[string][]byte)
		}
		t.buckets[bucket], t.own[bucket] = b, true
	}
	return t.buckets[bucket], nil
}

func (t *memoryTx) Get(bucket string, key []byte) []byte {
	value, ok := t.buckets[bucket][string(key)]
	if !ok {
		return nil
	}
	return append([]byte{}, value...)
}

func (t *memoryTx) Put(bucket string, key, value []byte) error {
	if len(key) == 0 {
		return errNoKey
	}
	b, err := t.change(bucket)
	if err != nil {
		return err
	}
	b[string(key)] = bytes.Clone(value)
	return nil
}

func (t *memoryTx) Delete(bucket string, key []byte) error {
	b, err := t.change(bucket)
	if err != nil {
		return err
	}
	delete(b, string(key))
	return nil
}

func (t *memoryTx) Range(bucket string, from, to []byte) iter.Seq2[[]byte, []byte] {
	return func(yield func(key, value []byte) bool) {
		b := t.buckets[bucket]
		for _, key := range slices.Sorted(maps.Keys(b)) {
			if key < string(from) || to != nil && key >= string(to) {
				continue
			}
			if !yield([]byte(key), append([]byte{}, b[key]...)) {
				return
			}
		}
	}
}
