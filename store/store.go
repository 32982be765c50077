package store

import (
	"errors"
	"fmt"
	"io"
)

// The buckets.
const (
	bucketMeta = "benchbell"

	bucketJournal = "journal"

	bucketBySuit     = "by suit"
	bucketByRun      = "by run"
	bucketOpenRuns   = "open runs"
	bucketNumbers    = "numbers"
	bucketManometers = "manometers"
	bucketLastUsed   = "last used"
	bucketTags       = "tags"

	bucketRows   = "rows"
	bucketBarred = "barred"
	bucketDue    = "due"
	bucketEnding = "ending"
	bucketCounts = "counts"

	bucketSeen    = "seen"
	bucketNotices = "notices"
	bucketWakes   = "wakes"
	bucketMarks   = "marks"

	bucketOut      = "out"
	bucketParked   = "parked"
	bucketUntried  = "untried"
	bucketPostIDs  = "post ids"
	bucketPostKeys = "post keys"
)

// The keys in the buckets of that name and of the numbers.
var (
	keySchema       = []byte("schema")
	keyHead         = []byte("head")
	keyLastOut      = []byte("last out")
	keyRowsMadeWith = []byte("rows made with")
	keyLastRun      = []byte("last run")
)

// Store is a station's memory. It is safe for use by several goroutines. All
// that it returns is the caller's own; moments come back in UTC.
type Store struct{ engine Engine }

// Open opens the file at path, or makes it, for this program alone. A file of
// an earlier benchbell is brought up to date, and kept as it was beside it,
// as path.schema-N; one of a later benchbell is refused.
func Open(path string) (*Store, error) { return openFile(path, today) }

// OpenThrowaway is Open for a file that is thrown away afterwards, as that of
// a rehearsal: nothing waits for the disk, so a power cut loses it.
func OpenThrowaway(path string) (*Store, error) {
	s, err := openFile(path, today)
	if err != nil {
		return nil, err
	}
	if b, ok := s.engine.(*bolt); ok {
		b.db.NoSync = true
	}
	return s, nil
}

func openFile(path string, l layout) (*Store, error) {
	b, err := openBolt(path)
	if err != nil {
		return nil, err
	}
	if err := l.bring(b, b.keepSchema); err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", path, err), b.Close())
	}
	return &Store{b}, nil
}

// New makes a store of an engine, which the store then owns. What an earlier
// benchbell left in it is brought up to date; a copy to go back to is the
// business of whoever runs the engine.
func New(e Engine) (*Store, error) {
	nothing := func() error { return nil }
	if err := today.bring(e, func(int) (func() error, error) { return nothing, nil }); err != nil {
		return nil, err
	}
	return &Store{e}, nil
}

// Close waits for what is being written and closes the store.
func (s *Store) Close() error { return s.engine.Close() }

// Backup writes a copy of the store as it is now, while it is in use: a file
// to put in the place of the one that Open was given.
func (s *Store) Backup(w io.Writer) error {
	e, ok := s.engine.(interface{ Backup(w io.Writer) error })
	if !ok {
		return errors.New("this store is not a file that can be copied: back it up with the tools of its database")
	}
	return e.Backup(w)
}
