package store_test

import (
	"maps"
	"slices"
	"testing"

	"benchbell/store"
	"benchbell/store/storetest"
)

// Check finds every key of every bucket that is missing, changed or too much,
// but for what nothing else tells of: of a moment kept, only that it is one.
func TestCheckFindsDamage(t *testing.T) {
	whole := inMemory(t)
	commit(t, whole, something())
	do(t, whole.Delivered(1, "post1"))
	commit(t, whole, everything(1))
	commit(t, whole, everything(2))
	do(t, whole.Park(3, "gone"))

	untold := []string{"marks", "parked", "benchbell", "accounts"} // an edit once tried is another
	moments := []string{"seen", "notices", "wakes"}
	damaged := func(what string, with func(tx store.Tx) error) {
		t.Helper()
		s := inMemoryUnchecked(t)
		do(t, store.EngineOf(s).Update(func(tx store.Tx) error { return restore(tx, dump(t, whole)) }))
		do(t, s.Check())
		do(t, store.EngineOf(s).Update(with))
		if s.Check() == nil {
			t.Errorf("check does not see %s", what)
		}
	}
	holds := dump(t, whole)
	for _, bucket := range slices.Sorted(maps.Keys(holds)) {
		if slices.Contains(untold, bucket) {
			continue
		}
		if len(holds[bucket]) == 0 {
			t.Errorf("bucket %s is empty and tests nothing", bucket)
		}
		for key, value := range holds[bucket] {
			damaged("that "+key+" is changed in "+bucket, func(tx store.Tx) error { return tx.Put(bucket, []byte(key), []byte(value+"x")) })
			if slices.Contains(moments, bucket) {
				damaged("that "+key+" is none in "+bucket, func(tx store.Tx) error { return tx.Put(bucket, []byte(key), nil) })
				damaged("a bad key in "+bucket, func(tx store.Tx) error { return tx.Put(bucket, []byte(key+"\x00"), []byte(value)) })
				continue
			}
			damaged("that "+key+" is missing from "+bucket, func(tx store.Tx) error { return tx.Delete(bucket, []byte(key)) })
			damaged("one too many in "+bucket, func(tx store.Tx) error { return tx.Put(bucket, []byte(key+"x"), []byte(value)) })
		}
	}
}

// restore puts a dump into an empty store.
func restore(tx store.Tx, all storetest.Dump) error {
	for bucket, pairs := range all {
		for key, value := range pairs {
			if err := tx.Put(bucket, []byte(key), []byte(value)); err != nil {
				return err
			}
		}
	}
	return nil
}
