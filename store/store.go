package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
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

	bucketAccounts = "accounts"

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
type Store struct {
	engine   Engine
	markings markings
}

// Open opens the store in the file at path for this program alone. The error
// wraps fs.ErrNotExist if there is no such file. A file of an earlier benchbell
// is brought up to date, and kept as it was beside it, as path.schema-N; one of
// a later benchbell is refused.
func Open(path string) (*Store, error) { return openFile(path, today, mustExist) }

// Create makes a file at path with an empty store in it, and opens it. The
// error wraps fs.ErrExist if the path is taken.
func Create(path string) (*Store, error) {
	if err := create(path); err != nil {
		return nil, fmt.Errorf("make a new store: %w", err)
	}
	return Open(path)
}

// OpenThrowaway opens the file at path, or makes it, for a store that is thrown
// away afterwards, as that of a rehearsal: nothing waits for the disk, so a
// power cut loses it.
func OpenThrowaway(path string) (*Store, error) { return openFile(path, today, throwaway) }

func openFile(path string, l layout, mode openMode) (*Store, error) {
	b, err := openBolt(path, mode)
	if err != nil {
		return nil, err
	}
	if err := l.bring(b, b.keepSchema); err != nil {
		return nil, errors.Join(fmt.Errorf("%s: %w", path, err), b.Close())
	}
	return &Store{engine: b}, nil
}

// create makes a new store under a name of its own, and gives it the path when
// it is whole: a program that ends in the middle leaves no half of one there.
func create(path string) error {
	if _, err := os.Lstat(path); err == nil {
		return &fs.PathError{Op: "create", Path: path, Err: fs.ErrExist}
	}
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".new-*")
	if err != nil {
		return err
	}
	defer func() { _ = os.Remove(f.Name()) }()
	if err := f.Close(); err != nil {
		return err
	}
	s, err := openFile(f.Name(), today, mayBeNew)
	if err != nil {
		return err
	}
	if err := s.Close(); err != nil {
		return err
	}
	err = os.Link(f.Name(), path)
	if err != nil && !errors.Is(err, fs.ErrExist) {
		err = os.Rename(f.Name(), path) // this file system has no links
	}
	return err
}

// New makes a store of an engine, which the store then owns. What an earlier
// benchbell left in it is brought up to date; a copy to go back to is the
// business of whoever runs the engine.
func New(e Engine) (*Store, error) {
	nothing := func() error { return nil }
	if err := today.bring(e, func(int) (func() error, error) { return nothing, nil }); err != nil {
		return nil, err
	}
	return &Store{engine: e}, nil
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
