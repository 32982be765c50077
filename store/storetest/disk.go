package storetest

import (
	"errors"
	"sync/atomic"

	"benchbell/store"
)

// A Disk is an engine that can be made to fail, as a full or a broken disk does.
type Disk struct {
	store.Engine
	Full   atomic.Bool  // nothing can be written
	Next   atomic.Int64 // which transaction from now on fails; none if it is not positive
	Writes atomic.Int64 // how many were tried
	Doubt  atomic.Bool  // the next write reaches the disk, and the error says that it failed
	// Poison is a key that cannot be read without a panic.
	Poison atomic.Value
}

// The errors of a Disk.
var (
	ErrFull   = errors.New("no space left on device")
	ErrBroken = errors.New("the disk is broken")
)

// Update implements store.Engine.
func (d *Disk) Update(fn func(store.Tx) error) error {
	d.Writes.Add(1)
	if d.Full.Load() {
		return ErrFull
	}
	if d.Next.Add(-1) == 0 {
		return ErrBroken
	}
	err := d.Engine.Update(fn)
	if err == nil && d.Doubt.CompareAndSwap(true, false) {
		return ErrBroken
	}
	return err
}

// View implements store.Engine.
func (d *Disk) View(fn func(store.Tx) error) error {
	if d.Next.Add(-1) == 0 {
		return ErrBroken
	}
	return d.Engine.View(func(tx store.Tx) error {
		if key, ok := d.Poison.Load().(string); ok && key != "" {
			tx = poisoned{tx, key}
		}
		return fn(tx)
	})
}

type poisoned struct {
	store.Tx
	key string
}

func (p poisoned) Get(bucket string, key []byte) []byte {
	if string(key) == p.key {
		panic("poisoned: " + p.key)
	}
	return p.Tx.Get(bucket, key)
}
