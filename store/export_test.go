package store

import (
	"os"
	"reflect"

	"go.etcd.io/bbolt"

	"benchbell/core"
)

// What the tests see of the inside.
var (
	EncodeEntry = encodeEntry
	DecodeEntry = decodeEntry
	Codebooks   = codebooks
	CheckName   = checkName
)

const PageSize = pageSize

// OpenBolt returns the engine in a file.
func OpenBolt(path string) (Engine, error) { return openBolt(path, mayBeNew) }

// EngineOf returns what a store is kept in.
func EngineOf(s *Store) Engine { return s.engine }

// FileOf returns the file that a store is kept in, and BoltOf what bbolt makes
// of it.
func FileOf(s *Store) *os.File  { return s.engine.(*bolt).file }
func BoltOf(s *Store) *bbolt.DB { return s.engine.(*bolt).db }

// OpenSchema opens a file, or makes it, as a benchbell of that schema would.
func OpenSchema(path string, version int, from map[int]func(Tx) error) (*Store, error) {
	l := layout{version: version, from: make(map[int]migration)}
	for v, step := range from {
		l.from[v] = step
	}
	return openFile(path, l, mayBeNew)
}

// Kinds returns the types of fact that have a record, by the record's name.
func Kinds() map[string]reflect.Type {
	types := make(map[string]reflect.Type)
	for _, k := range kinds {
		types[k.name] = k.fact
	}
	return types
}

// Entry makes the journal's value of an entry after another.
func Entry(previous Hash, e core.Entry) (value []byte, h Hash, err error) {
	record, err := encodeEntry(e)
	h = previous.next(record)
	return append(h[:], record...), h, err
}

// Buckets names all buckets.
var Buckets = []string{
	bucketMeta, bucketJournal,
	bucketBySuit, bucketByRun, bucketOpenRuns, bucketNumbers, bucketManometers, bucketLastUsed, bucketTags,
	bucketRows, bucketBarred, bucketDue, bucketEnding, bucketCounts,
	bucketSeen, bucketNotices, bucketWakes, bucketMarks, bucketAccounts,
	bucketOut, bucketParked, bucketUntried, bucketPostIDs, bucketPostKeys,
}
