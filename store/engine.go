package store

import "iter"

// Engine is an ordered key/value store with transactions. Keys and values are
// bytes, keys are sorted as bytes, and each bucket has keys of its own; a
// bucket is there as soon as something is put into it. An Engine is safe for
// use by several goroutines. Package storetest has the test that every
// implementation must pass.
//
// An engine whose store can be copied while it runs also has a method
// Backup(io.Writer) error. An engine that can examine its own structure has a
// method Check() error.
type Engine interface {
	// View runs fn in a transaction that can only read. It sees one state of
	// the store, whatever is written meanwhile.
	View(fn func(Tx) error) error
	// Update runs fn in a transaction that can write; there is one at a time.
	// If fn returns an error, Update returns it, and nothing has changed; a
	// panic changes nothing either. If Update returns nil, all of it is kept
	// and survives the end of the program at any instant. If fn returned nil
	// and Update an error, all of it is kept or nothing, and View sees which.
	Update(fn func(Tx) error) error
	// Close waits for the transactions that run, and ends the engine's use.
	Close() error
}

// Tx is a transaction. It must not be used after the function that got it has
// returned, nor by another goroutine. All bytes that it returns are copies, and
// it keeps none of those it is given.
//
// Reading reports no errors. After a read has failed, the transaction finds
// nothing any more, and View or Update return the failure, whatever fn returned.
type Tx interface {
	// Get returns the value of a key: nil if the key is not there, and not
	// nil, though perhaps empty, if it is.
	Get(bucket string, key []byte) []byte
	// Put sets the value of a key, which must not be empty.
	Put(bucket string, key, value []byte) error
	// Delete removes a key; one that is not there is no error.
	Delete(bucket string, key []byte) error
	// Range yields the keys from ≤ key < to with their values, in order. A nil
	// from stands for the first key, a nil to for the end. The bucket must not
	// be changed while the loop runs.
	Range(bucket string, from, to []byte) iter.Seq2[[]byte, []byte]
}
