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

// The keys in bucketMeta and, for the last of them, in bucketNumbers.
var (
	keySchema       = []byte("schema")
	keyHead         = []byte("head")
	keyLastOut      = []byte("last out")
	keyRowsMadeWith = []byte("rows made with")
	keyLastRun      = []byte("last run")
)

// Store keeps a station's data. It is safe for use by several goroutines. The
// caller owns the values it returns; moments come back in UTC.
type Store struct {
	engine   Engine
	markings markings
}

// Open opens the store in the file at path for this program alone. The error
// wraps fs.ErrNotExist if there is no such file. A file of an earlier benchbell
// is migrated, and its old state kept beside it as path.schema-N; one of a later
// benchbell is refused.
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
// away afterwards, such as that of a rehearsal. It does not sync to disk, so a
// power cut loses data.
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

// create makes a new store under a temporary name and then links it to the
// path, so that a crash leaves no half-made store there.
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

// New makes a store of an engine, which the store then owns. It migrates the
// data of an earlier benchbell; whoever runs the engine keeps the backup.
func New(e Engine) (*Store, error) {
	nothing := func() error { return nil }
	if err := today.bring(e, func(int) (func() error, error) { return nothing, nil }); err != nil {
		return nil, err
	}
	return &Store{engine: e}, nil
}

// Close waits for what is being written and closes the store.
func (s *Store) Close() error { return s.engine.Close() }

// Backup writes a copy of the store's file as it is now. The store can be in
// use meanwhile. Open can open the copy.
func (s *Store) Backup(w io.Writer) error {
	e, ok := s.engine.(interface{ Backup(w io.Writer) error })
	if !ok {
		return errors.New("this store is not a file that can be copied: back it up with the tools of its database")
	}
	return e.Backup(w)
}
