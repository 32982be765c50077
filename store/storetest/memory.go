package storetest

import (
	"bytes"
	"errors"
	"iter"
	"maps"
	"slices"
	"strings"
	"sync"

	"benchbell/store"
)

// Memory returns an empty engine that keeps everything in memory and forgets
// it in the end.
func Memory() store.Engine { return &memory{} }

var (
	errClosed   = errors.New("the engine is closed")
	errReadOnly = errors.New("this transaction can only read")
	errNoKey    = errors.New("the key is empty")
)

type memory struct {
	mu      sync.RWMutex
	buckets map[string]bucket
	closed  bool
}

// bucket has its keys in order.
type bucket []pair

type pair struct {
	key   string
	value []byte
}

// find returns where a key is, or would be.
func (b bucket) find(key string) (int, bool) {
	return slices.BinarySearchFunc(b, key, func(p pair, key string) int { return strings.Compare(p.key, key) })
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
	buckets  map[string]bucket
	own      map[string]bool // buckets copied
	readOnly bool
}

func (t *memoryTx) change(name string) (bucket, error) {
	if t.readOnly {
		return nil, errReadOnly
	}
	if t.buckets == nil {
		t.buckets = make(map[string]bucket)
	}
	if !t.own[name] {
		t.buckets[name], t.own[name] = slices.Clone(t.buckets[name]), true
	}
	return t.buckets[name], nil
}

func (t *memoryTx) Get(bucket string, key []byte) []byte {
	b := t.buckets[bucket]
	i, ok := b.find(string(key))
	if !ok {
		return nil
	}
	return append([]byte{}, b[i].value...)
}

func (t *memoryTx) Put(bucket string, key, value []byte) error {
	if len(key) == 0 {
		return errNoKey
	}
	b, err := t.change(bucket)
	if err != nil {
		return err
	}
	put := pair{string(key), bytes.Clone(value)}
	if i, ok := b.find(put.key); ok {
		b[i] = put
	} else {
		t.buckets[bucket] = slices.Insert(b, i, put)
	}
	return nil
}

func (t *memoryTx) Delete(bucket string, key []byte) error {
	b, err := t.change(bucket)
	if err != nil {
		return err
	}
	if i, ok := b.find(string(key)); ok {
		t.buckets[bucket] = slices.Delete(b, i, i+1)
	}
	return nil
}

func (t *memoryTx) Range(bucket string, from, to []byte) iter.Seq2[[]byte, []byte] {
	return func(yield func(key, value []byte) bool) {
		b := t.buckets[bucket]
		first, _ := b.find(string(from))
		for _, p := range b[first:] {
			if to != nil && p.key >= string(to) || !yield([]byte(p.key), append([]byte{}, p.value...)) {
				return
			}
		}
	}
}
