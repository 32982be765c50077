package store

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"iter"
	"os"
	"path/filepath"
	"time"

	"go.etcd.io/bbolt"
	bolterrors "go.etcd.io/bbolt/errors"
)

// lockTimeout is how long to wait for another program to let go of the file:
// long enough for one that is just ending.
const lockTimeout = 3 * time.Second

// openMode says what openBolt does with a file that is missing or empty.
type openMode int

const (
	mustExist openMode = iota // refuse
	mayBeNew                  // begin an empty store
	throwaway                 // the same, and never wait for the disk
)

// bolt is the engine in one file of this machine.
type bolt struct{ db *bbolt.DB }

// openBolt opens the file at path.
func openBolt(path string, mode openMode) (*bolt, error) {
	if err := refuseShort(path, mode); err != nil {
		return nil, opening(path, err)
	}
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{
		Timeout:      lockTimeout,
		FreelistType: bbolt.FreelistMapType, // as fast with a full file as with a new one
		NoSync:       mode == throwaway,
	})
	if err != nil {
		return nil, opening(path, err)
	}
	b := &bolt{db}
	if err := b.refuseForeign(); err != nil {
		return nil, errors.Join(err, db.Close())
	}
	return b, nil
}

// errShort is a file that ends before its last page.
var errShort = errors.New("its end is missing")

// opening words the errors of opening a file.
func opening(path string, err error) error {
	switch {
	case errors.Is(err, bolterrors.ErrTimeout):
		return fmt.Errorf("%s: another benchbell has the file open: stop that one first", path)
	case errors.Is(err, bolterrors.ErrInvalid), errors.Is(err, bolterrors.ErrVersionMismatch),
		errors.Is(err, bolterrors.ErrChecksum), errors.Is(err, errShort):
		return fmt.Errorf("%s is damaged or no benchbell file (%w): name the right file, or put a backup in its place", path, err)
	}
	return fmt.Errorf("open the store: %w", err)
}

// refuseShort refuses a file that ends too early, as a copy does that was broken
// off: bbolt would fault on reading past the end. It looks at nothing but the
// first pages.
func refuseShort(path string, mode openMode) error {
	info, err := os.Stat(path)
	if mode != mustExist && (errors.Is(err, fs.ErrNotExist) || err == nil && info.Size() == 0) {
		return nil
	}
	if err != nil {
		return err
	}
	if info.Size() == 0 {
		return errShort
	}
	db, err := bbolt.Open(path, 0o600, &bbolt.Options{Timeout: lockTimeout, ReadOnly: true})
	if err != nil {
		return err
	}
	err = db.View(func(tx *bbolt.Tx) error {
		if tx.Size() > info.Size() {
			return errShort
		}
		return nil
	})
	return errors.Join(err, db.Close())
}

// refuseForeign keeps the journal out of the database of another program.
func (b *bolt) refuseForeign() error {
	return b.db.View(func(tx *bbolt.Tx) error {
		if first, _ := tx.Cursor().First(); first == nil || tx.Bucket([]byte(bucketMeta)) != nil {
			return nil
		}
		return fmt.Errorf("%s belongs to another program: give benchbell a file of its own", b.db.Path())
	})
}

func (b *bolt) View(fn func(Tx) error) error {
	return b.db.View(func(tx *bbolt.Tx) error { return fn(boltTx{tx}) })
}

func (b *bolt) Update(fn func(Tx) error) error {
	return b.db.Update(func(tx *bbolt.Tx) error { return fn(boltTx{tx}) })
}

func (b *bolt) Close() error { return b.db.Close() }

// Check examines every page of the file. The transaction is a writing one, to
// keep other writers out: the examination cannot stand them.
func (b *bolt) Check() error {
	tx, err := b.db.Begin(true)
	if err != nil {
		return err
	}
	defer func() { _ = tx.Rollback() }() // nothing was written
	var all []error
	for err := range tx.Check() {
		all = append(all, fmt.Errorf("%s is damaged: %w", b.db.Path(), err))
	}
	return errors.Join(all...)
}

// Backup writes a copy of the file as it is now. The copy is made beside the
// file first: an open transaction can hold up every other, and w may be slow.
func (b *bolt) Backup(w io.Writer) error {
	path := b.db.Path()
	f, err := os.CreateTemp(filepath.Dir(path), filepath.Base(path)+".copy-*")
	if err != nil {
		return fmt.Errorf("make a copy of %s: %w", path, err)
	}
	defer func() { _ = os.Remove(f.Name()) }() // of no use any more, and nobody misses it
	defer func() { _ = f.Close() }()
	if err := b.copyTo(f); err != nil {
		return err
	}
	if _, err := f.Seek(0, io.SeekStart); err != nil {
		return fmt.Errorf("read the copy of %s: %w", path, err)
	}
	if _, err := io.Copy(w, f); err != nil {
		return fmt.Errorf("hand out the copy of %s: %w", path, err)
	}
	return nil
}

// keepSchema leaves a copy of the file beside it, under the first free of the
// names path.schema-1, path.schema-1.2, path.schema-1.3 …, here for version 1.
// Calling discard removes the copy.
func (b *bolt) keepSchema(version int) (discard func() error, err error) {
	base := fmt.Sprintf("%s.schema-%d", b.db.Path(), version)
	for n, name := 1, base; ; n, name = n+1, fmt.Sprintf("%s.%d", base, n+1) {
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("keep a copy of %s: %w", b.db.Path(), err)
		}
		if err := errors.Join(b.copyTo(f), f.Sync(), f.Close()); err != nil {
			return nil, errors.Join(err, os.Remove(name))
		}
		return func() error { return os.Remove(name) }, nil
	}
}

func (b *bolt) copyTo(f *os.File) error {
	return b.db.View(func(tx *bbolt.Tx) error {
		if _, err := tx.WriteTo(f); err != nil {
			return fmt.Errorf("copy %s to %s: %w", b.db.Path(), f.Name(), err)
		}
		return nil
	})
}

type boltTx struct{ tx *bbolt.Tx }

func (t boltTx) Get(bucket string, key []byte) []byte {
	b := t.tx.Bucket([]byte(bucket))
	if b == nil {
		return nil
	}
	k, v := b.Cursor().Seek(key)
	if k == nil || !bytes.Equal(k, key) {
		return nil
	}
	return append([]byte{}, v...)
}

func (t boltTx) Put(bucket string, key, value []byte) error {
	b, err := t.tx.CreateBucketIfNotExists([]byte(bucket))
	if err != nil {
		return err
	}
	return b.Put(key, bytes.Clone(value)) // bbolt holds on to the value until the end
}

func (t boltTx) Delete(bucket string, key []byte) error {
	if !t.tx.Writable() {
		return bolterrors.ErrTxNotWritable
	}
	b := t.tx.Bucket([]byte(bucket))
	if b == nil {
		return nil
	}
	return b.Delete(key)
}

func (t boltTx) Range(bucket string, from, to []byte) iter.Seq2[[]byte, []byte] {
	return func(yield func(key, value []byte) bool) {
		b := t.tx.Bucket([]byte(bucket))
		if b == nil {
			return
		}
		c := b.Cursor()
		for k, v := c.Seek(from); k != nil && (to == nil || bytes.Compare(k, to) < 0); k, v = c.Next() {
			if !yield(bytes.Clone(k), append([]byte{}, v...)) {
				return
			}
		}
	}
}
