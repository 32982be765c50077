// Package storetest has what a test of something that stores needs: the test
// that every [store.Engine] must pass, and an engine that lives in memory.
package storetest

import (
	"bytes"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"slices"
	"strings"
	"sync"
	"testing"

	"benchbell/store"
)

// Contract checks that an engine keeps what [store.Engine] promises. Each call
// of open must return an engine with nothing in it; Contract closes it.
func Contract(t *testing.T, open func(t *testing.T) store.Engine) {
	for _, c := range []struct {
		name  string
		check func(*testing.T, store.Engine)
	}{
		{"an empty engine", empty},
		{"get, put and delete", putAndDelete},
		{"range in the order of the bytes", ranges},
		{"a loop left early", leftEarly},
		{"reading what the transaction wrote", ownWrites},
		{"an error changes nothing", errorChangesNothing},
		{"a panic changes nothing", panicChangesNothing},
		{"a view cannot write", viewCannotWrite},
		{"the bytes are copies", copies},
		{"a view sees one state", oneState},
		{"after closing", afterClosing},
		{"like a map", likeAMap},
	} {
		t.Run(c.name, func(t *testing.T) {
			e := open(t)
			c.check(t, e)
			if err := e.Close(); err != nil && c.name != "after closing" {
				t.Errorf("closing: %v", err)
			}
		})
	}
}

// A Dump is all that an engine holds, by bucket and key.
type Dump map[string]map[string]string

// DumpOf reads the buckets named.
func DumpOf(t testing.TB, e store.Engine, buckets ...string) Dump {
	t.Helper()
	all := make(Dump)
	view(t, e, func(tx store.Tx) {
		for _, bucket := range buckets {
			pairs := make(map[string]string)
			for k, v := range tx.Range(bucket, nil, nil) {
				pairs[string(k)] = string(v)
			}
			all[bucket] = pairs
		}
	})
	return all
}

func view(t testing.TB, e store.Engine, fn func(store.Tx)) {
	t.Helper()
	if err := e.View(func(tx store.Tx) error { fn(tx); return nil }); err != nil {
		t.Fatalf("View: %v", err)
	}
}

func update(t testing.TB, e store.Engine, fn func(store.Tx) error) {
	t.Helper()
	if err := e.Update(fn); err != nil {
		t.Fatalf("Update: %v", err)
	}
}

// put writes pairs "key=value" into a bucket.
func put(tx store.Tx, bucket string, pairs ...string) error {
	for _, pair := range pairs {
		key, value, _ := bytes.Cut([]byte(pair), []byte("="))
		if err := tx.Put(bucket, key, value); err != nil {
			return err
		}
	}
	return nil
}

// list reads a range as "key=value".
func list(tx store.Tx, bucket string, from, to []byte) []string {
	var pairs []string
	for k, v := range tx.Range(bucket, from, to) {
		pairs = append(pairs, string(k)+"="+string(v))
	}
	return pairs
}

func want(t *testing.T, tx store.Tx, bucket string, pairs ...string) {
	t.Helper()
	if got := list(tx, bucket, nil, nil); !slices.Equal(got, pairs) {
		t.Errorf("bucket %s has %q, want %q", bucket, got, pairs)
	}
}

func empty(t *testing.T, e store.Engine) {
	view(t, e, func(tx store.Tx) {
		if v := tx.Get("a", []byte("k")); v != nil {
			t.Errorf("Get = %q, want nil", v)
		}
		want(t, tx, "a")
	})
	update(t, e, func(tx store.Tx) error { return tx.Delete("a", []byte("k")) })
}

func putAndDelete(t *testing.T, e store.Engine) {
	update(t, e, func(tx store.Tx) error { return put(tx, "a", "k=1", "l=2", "nothing=") })
	update(t, e, func(tx store.Tx) error { return put(tx, "b", "k=other") })
	update(t, e, func(tx store.Tx) error { return put(tx, "a", "k=3") })
	update(t, e, func(tx store.Tx) error { return tx.Delete("a", []byte("l")) })
	view(t, e, func(tx store.Tx) {
		want(t, tx, "a", "k=3", "nothing=")
		want(t, tx, "b", "k=other")
		if v := tx.Get("a", []byte("k")); string(v) != "3" {
			t.Errorf("Get = %q, want 3", v)
		}
		if v := tx.Get("a", []byte("nothing")); v == nil || len(v) != 0 {
			t.Errorf("Get of an empty value = %#v, want one that is empty and not nil", v)
		}
		if v := tx.Get("a", []byte("nothin")); v != nil {
			t.Errorf("Get of the beginning of a key = %q, want nil", v)
		}
	})
	if err := e.Update(func(tx store.Tx) error { return tx.Put("a", nil, []byte("v")) }); err == nil {
		t.Error("Put took an empty key")
	}
}

func ranges(t *testing.T, e store.Engine) {
	update(t, e, func(tx store.Tx) error {
		return put(tx, "a", "b=", "\xff\xff=", "a=", "ab=", "a\x00=", "\x00=", "B=", "\xff=", "é=")
	})
	for _, c := range []struct {
		from, to []byte
		want     []string
	}{
		{nil, nil, []string{"\x00=", "B=", "a=", "a\x00=", "ab=", "b=", "é=", "\xff=", "\xff\xff="}},
		{[]byte{}, nil, []string{"\x00=", "B=", "a=", "a\x00=", "ab=", "b=", "é=", "\xff=", "\xff\xff="}},
		{[]byte("a"), []byte("b"), []string{"a=", "a\x00=", "ab="}},
		{[]byte("aa"), []byte("b\x00"), []string{"ab=", "b="}},
		{[]byte("b"), nil, []string{"b=", "é=", "\xff=", "\xff\xff="}},
		{nil, []byte("B"), []string{"\x00="}},
		{[]byte("a"), []byte("a"), nil},
		{[]byte("b"), []byte("a"), nil},
		{nil, []byte{}, nil},
		{[]byte("\xff\xff\xff"), nil, nil},
	} {
		view(t, e, func(tx store.Tx) {
			if got := list(tx, "a", c.from, c.to); !slices.Equal(got, c.want) {
				t.Errorf("from %q to %q: %q, want %q", c.from, c.to, got, c.want)
			}
		})
	}
}

func leftEarly(t *testing.T, e store.Engine) {
	update(t, e, func(tx store.Tx) error { return put(tx, "a", "1=", "2=", "3=") })
	update(t, e, func(tx store.Tx) error {
		for range tx.Range("a", nil, nil) {
			break
		}
		all := tx.Range("a", nil, nil)
		for range 2 { // a range can be walked again, and within another
			for k := range all {
				if string(k) == "2" && !slices.Equal(list(tx, "a", k, nil), []string{"2=", "3="}) {
					t.Error("a range within a range goes astray")
				}
			}
		}
		return nil
	})
}

func ownWrites(t *testing.T, e store.Engine) {
	update(t, e, func(tx store.Tx) error { return put(tx, "a", "1=", "2=", "4=") })
	update(t, e, func(tx store.Tx) error {
		if err := errors.Join(put(tx, "a", "3=new", "1=changed"), tx.Delete("a", []byte("2"))); err != nil {
			return err
		}
		want(t, tx, "a", "1=changed", "3=new", "4=")
		if v := tx.Get("a", []byte("2")); v != nil {
			t.Errorf("Get of a deleted key = %q, want nil", v)
		}
		return nil
	})
	view(t, e, func(tx store.Tx) { want(t, tx, "a", "1=changed", "3=new", "4=") })
}

func errorChangesNothing(t *testing.T, e store.Engine) {
	update(t, e, func(tx store.Tx) error { return put(tx, "a", "1=", "2=") })
	wrong := errors.New("wrong")
	err := e.Update(func(tx store.Tx) error {
		return errors.Join(put(tx, "a", "1=changed", "3="), put(tx, "b", "1="), tx.Delete("a", []byte("2")), wrong)
	})
	if !errors.Is(err, wrong) {
		t.Errorf("Update returned %v, want what fn returned", err)
	}
	view(t, e, func(tx store.Tx) {
		want(t, tx, "a", "1=", "2=")
		want(t, tx, "b")
	})
	if err := e.View(func(store.Tx) error { return wrong }); !errors.Is(err, wrong) {
		t.Errorf("View returned %v, want what fn returned", err)
	}
}

func panicChangesNothing(t *testing.T, e store.Engine) {
	func() {
		defer func() {
			if r := recover(); r != "out" {
				t.Errorf("recovered %v, want the panic of fn", r)
			}
		}()
		_ = e.Update(func(tx store.Tx) error {
			if err := put(tx, "a", "1="); err != nil {
				return err
			}
			panic("out")
		})
	}()
	update(t, e, func(tx store.Tx) error { return put(tx, "a", "2=") })
	view(t, e, func(tx store.Tx) { want(t, tx, "a", "2=") })
}

func viewCannotWrite(t *testing.T, e store.Engine) {
	update(t, e, func(tx store.Tx) error { return put(tx, "a", "1=") })
	view(t, e, func(tx store.Tx) {
		for _, bucket := range []string{"a", "b"} {
			if err := put(tx, bucket, "1=changed"); err == nil {
				t.Errorf("Put into %s in a View: no error", bucket)
			}
			if err := tx.Delete(bucket, []byte("1")); err == nil {
				t.Errorf("Delete from %s in a View: no error", bucket)
			}
		}
		want(t, tx, "a", "1=")
	})
}

// copies works in a bucket of some size, which no engine keeps in a corner.
func copies(t *testing.T, e store.Engine) {
	long := strings.Repeat("x", 200)
	key, value := []byte("000"), []byte(long)
	pairs := []string{"000=" + long}
	update(t, e, func(tx store.Tx) error {
		for n := 100; n < 300; n++ {
			pair := fmt.Sprintf("%d=%s", n, long)
			if err := put(tx, "a", pair); err != nil {
				return err
			}
			pairs = append(pairs, pair)
		}
		err := tx.Put("a", key, value)
		key[0], value[0] = 'K', 'V'
		return err
	})
	key[1], value[1] = 'E', 'A'
	var kept [][]byte
	view(t, e, func(tx store.Tx) {
		want(t, tx, "a", pairs...)
		kept = append(kept, tx.Get("a", []byte("000")))
		for k, v := range tx.Range("a", []byte("299"), nil) {
			kept = append(kept, k, v)
		}
	})
	if got, want := fmt.Sprintf("%s", kept), "["+long+" 299 "+long+"]"; got != want {
		t.Errorf("after the transaction: %s, want %s", got, want)
	}
	for _, b := range kept {
		copy(b, "AAAAA")
	}
	view(t, e, func(tx store.Tx) { want(t, tx, "a", pairs...) })
}

// oneState writes two keys together while others look at them.
func oneState(t *testing.T, e store.Engine) {
	var wg sync.WaitGroup
	stop := make(chan struct{})
	for range 2 {
		wg.Go(func() {
			for {
				select {
				case <-stop:
					return
				default:
				}
				err := e.View(func(tx store.Tx) error {
					if a, b := tx.Get("a", []byte("1")), tx.Get("b", []byte("2")); !bytes.Equal(a, b) {
						t.Errorf("a view sees %q and %q, written together", a, b)
					}
					return nil
				})
				if err != nil {
					t.Errorf("View: %v", err)
					return
				}
			}
		})
	}
	var writers sync.WaitGroup
	for w := range 2 {
		writers.Go(func() {
			for i := range 50 {
				err := e.Update(func(tx store.Tx) error {
					n := fmt.Sprint(w, i)
					return errors.Join(put(tx, "a", "1="+n), put(tx, "b", "2="+n))
				})
				if err != nil {
					t.Errorf("Update: %v", err)
				}
			}
		})
	}
	writers.Wait()
	close(stop)
	wg.Wait()
}

func afterClosing(t *testing.T, e store.Engine) {
	update(t, e, func(tx store.Tx) error { return put(tx, "a", "1=v") })
	var kept []byte
	view(t, e, func(tx store.Tx) { kept = tx.Get("a", []byte("1")) })
	if err := e.Close(); err != nil {
		t.Fatalf("Close: %v", err)
	}
	if string(kept) != "v" {
		t.Errorf("what was read before closing is now %q", kept)
	}
	nothing := func(store.Tx) error { return nil }
	if e.View(nothing) == nil || e.Update(nothing) == nil {
		t.Error("a closed engine goes on working")
	}
}

// likeAMap does at random what a map of maps can do as well.
func likeAMap(t *testing.T, e store.Engine) {
	seed := rand.Uint64()
	t.Logf("seed %d", seed)
	r := rand.New(rand.NewPCG(seed, 0))
	model := Dump{"a": {}, "b": {}}
	name := func(n int) string { return fmt.Sprintf("%x", r.IntN(n)) }
	for range 60 {
		next := Dump{"a": maps.Clone(model["a"]), "b": maps.Clone(model["b"])}
		fail := r.IntN(4) == 0
		err := e.Update(func(tx store.Tx) error {
			for range r.IntN(40) {
				bucket, key := []string{"a", "b"}[r.IntN(2)], name(300)
				if r.IntN(3) == 0 {
					delete(next[bucket], key)
					if err := tx.Delete(bucket, []byte(key)); err != nil {
						return err
					}
					continue
				}
				value := name(1 << 30)
				next[bucket][key] = value
				if err := tx.Put(bucket, []byte(key), []byte(value)); err != nil {
					return err
				}
			}
			if fail {
				return errors.ErrUnsupported
			}
			return nil
		})
		if (err != nil) != fail {
			t.Fatalf("Update: %v", err)
		}
		if !fail {
			model = next
		}
		if got := DumpOf(t, e, "a", "b"); !maps.EqualFunc(got, model, maps.Equal) {
			t.Fatalf("the engine holds %v, want %v", got, model)
		}
		from, to := name(300), name(300)
		view(t, e, func(tx store.Tx) {
			var want []string
			for _, k := range slices.Sorted(maps.Keys(model["a"])) {
				if from <= k && k < to {
					want = append(want, k+"="+model["a"][k])
				}
			}
			if got := list(tx, "a", []byte(from), []byte(to)); !slices.Equal(got, want) {
				t.Fatalf("from %s to %s: %q, want %q", from, to, got, want)
			}
		})
	}
}
