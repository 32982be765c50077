package store_test

import (
	"errors"
	"os"
	"path/filepath"
	"reflect"
	"syscall"
	"testing"
	"unsafe"

	"benchbell/store"
)

// swap puts another file in the place of the store's: what is mapped into
// memory stays that of the store.
func swap(t *testing.T, s *store.Store, name string, flag int) (mend func()) {
	t.Helper()
	fd := int(store.FileOf(s).Fd())
	kept := must(syscall.Dup(fd))(t)
	other := must(os.OpenFile(name, flag, 0))(t)
	do(t, syscall.Dup3(int(other.Fd()), fd, 0), other.Close())
	return func() {
		t.Helper()
		do(t, syscall.Dup3(kept, fd, 0), syscall.Close(kept))
	}
}

func noSpace(t *testing.T, s *store.Store) (mend func()) {
	t.Helper()
	return swap(t, s, "/dev/full", os.O_RDWR)
}

func notWritable(t *testing.T, s *store.Store) (mend func()) {
	t.Helper()
	return swap(t, s, store.FileOf(s).Name(), os.O_RDONLY)
}

// syncFails lets bbolt write all pages, and fails the sync of the last one. It
// takes the place of the function by which bbolt writes, since a file cannot
// be made to fail there.
func syncFails(t *testing.T, s *store.Store) (mend func()) {
	t.Helper()
	write := reflect.ValueOf(store.BoltOf(s)).Elem().FieldByName("ops").FieldByName("writeAt")
	if !write.IsValid() {
		t.Fatal("bbolt writes in another way now")
	}
	writeAt := reflect.NewAt(write.Type(), unsafe.Pointer(write.UnsafeAddr())).Elem().Addr().Interface().(*func([]byte, int64) (int, error))
	was := *writeAt
	back := func() {}
	*writeAt = func(b []byte, at int64) (int, error) {
		n, err := was(b, at)
		if at < int64(2*os.Getpagesize()) { // a meta page, which comes last
			back = swap(t, s, "/dev/null", os.O_RDWR)
		}
		return n, err
	}
	return func() {
		t.Helper()
		back()
		*writeAt = was
	}
}

// What a file does about a disk that fails.
func TestDiskFails(t *testing.T) {
	for _, c := range []struct {
		name   string
		breaks func(t *testing.T, s *store.Store) (mend func())
		there  bool // the commit reaches the file all the same
	}{
		{"no space", noSpace, false},
		{"the file cannot be written", notWritable, false},
		{"the sync fails after the last page is written", syncFails, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			path := filepath.Join(t.TempDir(), "benchbell.db")
			s := must(store.Create(path))(t)
			commit(t, s, something())
			do(t, s.Tried(1, morning))
			before := dump(t, s)
			mend := c.breaks(t, s)
			b := everything(1)
			wantErr(t, s.Commit(&b), store.ErrInDoubt)
			if got := must(s.Seen("e1"))(t); got != c.there {
				t.Errorf("the event is seen: %v, want %v", got, c.there)
			}
			if !c.there {
				same(t, "all", dump(t, s), before)
			}
			mend()
			if err := s.Commit(&b); c.there != errors.Is(err, store.ErrSeen) || !c.there && err != nil {
				t.Errorf("the same again: %v", err)
			}

			mend = c.breaks(t, s)
			wantErr(t, s.Delivered(1, "p1"), store.ErrInDoubt)
			mend()
			if err := s.Delivered(1, "p1"); c.there != errors.Is(err, store.ErrNotPending) || !c.there && err != nil {
				t.Errorf("delivered again: %v", err)
			}
			wantPost(t, s, "a", "p1", "a~2")
			after := dump(t, s)
			do(t, s.Check(), s.Close())
			same(t, "all, opened again", dump(t, reopen(t, path)), after)
		})
	}
}
