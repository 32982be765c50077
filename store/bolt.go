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
	"runtime/debug"
	"strings"
	"sync"
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
//
// bbolt maps the file into memory and trusts what it finds there: a damaged
// page makes it panic, or read past the end of the file. Every call into bbolt
// that may look at a page is therefore made within [bolt.guard].
type bolt struct {
	db   *bbolt.DB
	file *os.File

	mu      sync.Mutex
	refuse  error // what writing meets, since a transaction that wrote met damage
	stopped error // what everything meets, since bbolt still has a lock from then
}

// openBolt opens the file at path.
func openBolt(path string, mode openMode) (*bolt, error) {
	if err := refuseDamaged(path, mode); err != nil {
		return nil, opening(path, err)
	}
	b, err := openPages(path, &bbolt.Options{
		Timeout:      lockTimeout,
		FreelistType: bbolt.FreelistMapType, // as fast with a full file as with a new one
		NoSync:       mode == throwaway,
	})
	if err != nil {
		return nil, opening(path, err)
	}
	if err := b.refuseForeign(); err != nil {
		return nil, errors.Join(err, b.Close())
	}
	return b, nil
}

// openPages lets bbolt open the file. It lets go of the file after an error.
func openPages(path string, o *bbolt.Options) (*bolt, error) {
	b := &bolt{}
	o.OpenFile = func(name string, flag int, mode os.FileMode) (*os.File, error) {
		f, err := os.OpenFile(name, flag, mode)
		b.file = f
		return f, err
	}
	err := b.guard(func() (err error) {
		b.db, err = bbolt.Open(path, 0o600, o)
		return err
	})
	if err != nil && b.file != nil {
		_ = b.file.Close() // bbolt may have closed it
	}
	return b, err
}

// errDamaged is returned for a page that bbolt cannot read.
var errDamaged = errors.New("the file is damaged: put a backup in its place")

// guard calls into bbolt, and makes an error of a panic or a fault there.
func (b *bolt) guard(call func() error) (err error) {
	defer debug.SetPanicOnFault(debug.SetPanicOnFault(true))
	defer func() {
		if r := recover(); r != nil {
			err = fmt.Errorf("%s: %w (%v)", b.name(), errDamaged, r)
		}
	}()
	return call()
}

func (b *bolt) name() string {
	if b.file == nil {
		return "the store"
	}
	return b.file.Name()
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
	case errors.Is(err, errDamaged):
		return err
	}
	return fmt.Errorf("open the store: %w", err)
}

// refuseDamaged refuses a file that must not be handed to bbolt; see
// [checkSafe].
func refuseDamaged(path string, mode openMode) error {
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
	b, err := openPages(path, &bbolt.Options{Timeout: lockTimeout, ReadOnly: true})
	if err != nil && strings.Contains(err.Error(), "file size too small") { // bbolt has no value for it
		return errShort
	}
	if err != nil {
		return err
	}
	return errors.Join(checkSafe(b.file, info.Size()), b.Close())
}

// refuseForeign keeps the journal out of the database of another program.
func (b *bolt) refuseForeign() error {
	return b.view(func(tx *bbolt.Tx) error {
		if first, _ := tx.Cursor().First(); first == nil || tx.Bucket([]byte(bucketMeta)) != nil {
			return nil
		}
		return fmt.Errorf("%s belongs to another program: give benchbell a file of its own", b.name())
	})
}

// view runs a function that is bbolt's own matter as a whole.
func (b *bolt) view(fn func(*bbolt.Tx) error) error {
	return b.run(false, func(tx *bbolt.Tx) error {
		return b.guard(func() error { return fn(tx) })
	})
}

func (b *bolt) View(fn func(Tx) error) error {
	return b.run(false, func(tx *bbolt.Tx) error { return b.call(tx, fn) })
}

func (b *bolt) Update(fn func(Tx) error) error {
	return b.run(true, func(tx *bbolt.Tx) error {
		if err := b.call(tx, fn); err != nil {
			return err
		}
		return b.guard(tx.Commit)
	})
}

// call hands a transaction to fn. A read error is returned even if fn ignored it.
func (b *bolt) call(tx *bbolt.Tx, fn func(Tx) error) error {
	t := &boltTx{b: b, tx: tx}
	err := fn(t)
	if t.err != nil {
		return t.err
	}
	return err
}

// run begins a transaction, and ends it after fn, even after a panic of fn:
// one that fn did not commit is rolled back.
func (b *bolt) run(writable bool, fn func(*bbolt.Tx) error) (err error) {
	if err := b.refused(writable); err != nil {
		return err
	}
	var tx *bbolt.Tx
	if err := b.guard(func() (err error) { tx, err = b.db.Begin(writable); return err }); err != nil {
		if errors.Is(err, errDamaged) {
			b.stop(err)
		}
		return err
	}
	defer func() {
		if writable && errors.Is(err, errDamaged) {
			b.refuseWriting(err)
		}
		if tx.DB() == nil {
			return // committed
		}
		if failed := b.guard(tx.Rollback); failed != nil {
			err = errors.Join(err, failed)
		}
		if tx.DB() != nil {
			b.stop(err)
		}
	}()
	// A writer may have met damage while this one waited for its turn.
	if err := b.refused(writable); err != nil {
		return err
	}
	return fn(tx)
}

// refused returns why a transaction cannot be begun, if it cannot.
func (b *bolt) refused(writable bool) error {
	b.mu.Lock()
	defer b.mu.Unlock()
	if writable && b.refuse != nil {
		return b.refuse
	}
	return b.stopped
}

// refuseWriting ends all writing: what bbolt holds in memory about the file's
// free pages may be wrong after it panicked, and would damage other pages.
func (b *bolt) refuseWriting(err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.refuse == nil {
		b.refuse = err
	}
}

func (b *bolt) stop(err error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.stopped = err
}

func (b *bolt) Close() error {
	if b.refused(false) != nil { // bbolt would wait for its lock for ever
		return b.file.Close()
	}
	return b.guard(b.db.Close)
}

// Check examines every page of the file. Writers wait until it is done.
func (b *bolt) Check() error {
	return b.run(true, func(*bbolt.Tx) error { return checkPages(b.file) })
}

// Backup writes a copy of the file as it is now. The copy is made beside the
// file first: an open transaction can hold up every other, and w may be slow.
func (b *bolt) Backup(w io.Writer) error {
	path := b.name()
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
	base := fmt.Sprintf("%s.schema-%d", b.name(), version)
	for n, name := 1, base; ; n, name = n+1, fmt.Sprintf("%s.%d", base, n+1) {
		f, err := os.OpenFile(name, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
		if errors.Is(err, fs.ErrExist) {
			continue
		}
		if err != nil {
			return nil, fmt.Errorf("keep a copy of %s: %w", b.name(), err)
		}
		if err := errors.Join(b.copyTo(f), f.Sync(), f.Close()); err != nil {
			return nil, errors.Join(err, os.Remove(name))
		}
		return func() error { return os.Remove(name) }, nil
	}
}

func (b *bolt) copyTo(f *os.File) error {
	return b.view(func(tx *bbolt.Tx) error {
		if _, err := tx.WriteTo(f); err != nil {
			return fmt.Errorf("copy %s to %s: %w", b.name(), f.Name(), err)
		}
		return nil
	})
}

// boltTx is a transaction. After damage was met, err says so, and reading
// gives back nothing.
type boltTx struct {
	b   *bolt
	tx  *bbolt.Tx
	err error
}

// guard calls into bbolt unless the transaction has failed.
func (t *boltTx) guard(call func() error) error {
	if t.err != nil {
		return t.err
	}
	err := t.b.guard(call)
	if errors.Is(err, errDamaged) {
		t.err = err
	}
	return err
}

func (t *boltTx) Get(bucket string, key []byte) (value []byte) {
	_ = t.guard(func() error { // View and Update return the failure
		b := t.tx.Bucket([]byte(bucket))
		if b == nil {
			return nil
		}
		if k, v := b.Cursor().Seek(key); k != nil && bytes.Equal(k, key) {
			value = append([]byte{}, v...)
		}
		return nil
	})
	return value
}

func (t *boltTx) Put(bucket string, key, value []byte) error {
	return t.guard(func() error {
		b, err := t.tx.CreateBucketIfNotExists([]byte(bucket))
		if err != nil {
			return err
		}
		return b.Put(key, bytes.Clone(value)) // bbolt holds on to the value until the end
	})
}

func (t *boltTx) Delete(bucket string, key []byte) error {
	if !t.tx.Writable() {
		return bolterrors.ErrTxNotWritable
	}
	return t.guard(func() error {
		b := t.tx.Bucket([]byte(bucket))
		if b == nil {
			return nil
		}
		return b.Delete(key)
	})
}

func (t *boltTx) Range(bucket string, from, to []byte) iter.Seq2[[]byte, []byte] {
	return func(yield func(key, value []byte) bool) {
		var c *bbolt.Cursor
		least := bytes.Clone(from) // what the next key is not before
		next := func() (key, value []byte) {
			_ = t.guard(func() error { // View and Update return the failure
				var k, v []byte
				if c == nil {
					b := t.tx.Bucket([]byte(bucket))
					if b == nil {
						return nil
					}
					c = b.Cursor()
					k, v = c.Seek(from)
				} else {
					k, v = c.Next()
				}
				if k == nil || to != nil && bytes.Compare(k, to) >= 0 {
					return nil
				}
				if bytes.Compare(k, least) < 0 {
					return fmt.Errorf("%s: %w (the keys of %q are not in order)", t.b.name(), errDamaged, bucket)
				}
				key, value = bytes.Clone(k), append([]byte{}, v...)
				least = append(append(least[:0], k...), 0)
				return nil
			})
			return key, value
		}
		for key, value := next(); key != nil; key, value = next() {
			if !yield(key, value) {
				return
			}
		}
	}
}
