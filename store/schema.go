package store

import (
	"errors"
	"fmt"
	"strconv"
)

// layout is a version of the buckets, their keys and records, and the ways to
// it from earlier ones.
type layout struct {
	version int
	from    map[int]migration // by the version that a migration starts from
}

// migration changes the data of one version into that of the next. It does not
// touch the bucket of the journal: entries are never rewritten.
type migration func(Tx) error

// today is the layout that this program writes.
var today = layout{version: 2, from: map[int]migration{1: tagsAnew}}

// tagsAnew rewrites the index of the tags with today's core.NameKey. In schema 1
// it dropped the hyphen between two numbers, so HP11-2 and HP1-12 had one key.
// Names with one key today had one key then too, so no two tags of a store get
// the same key now. The old keys must go: the one of HP1-12 is now the key of
// HP112, which is another suit.
func tagsAnew(tx Tx) error {
	var old, tags []string
	for key, tag := range tx.Range(bucketTags, nil, nil) {
		old, tags = append(old, string(key)), append(tags, string(tag))
	}
	for _, key := range old {
		if err := tx.Delete(bucketTags, []byte(key)); err != nil {
			return err
		}
	}
	for _, tag := range tags {
		if err := indexTag(tx, tag); err != nil {
			return err
		}
	}
	return nil
}

// keeper makes a copy of the store in its old version. discard removes the copy
// again, if the migration failed.
type keeper func(version int) (discard func() error, err error)

// bring migrates a store to this layout in one transaction, after keep has made
// a copy of it. A new store gets the layout; a later one is refused.
func (l layout) bring(e Engine, keep keeper) error {
	version, ok, err := schemaOf(e)
	switch {
	case err != nil:
		return err
	case !ok:
		return e.Update(l.write)
	case version == l.version:
		return nil
	case version > l.version:
		return fmt.Errorf("a newer benchbell wrote it (schema %d, and this one knows up to %d): install that benchbell again, or use a backup from before", version, l.version)
	}
	discard, err := keep(version)
	if err != nil {
		return fmt.Errorf("it must be brought up to date, but nothing was changed: %w", err)
	}
	err = e.Update(func(tx Tx) error {
		for v := version; v < l.version; v++ {
			step, ok := l.from[v]
			if !ok {
				return fmt.Errorf("no way leads on from schema %d: use an earlier benchbell first", v)
			}
			if err := step(tx); err != nil {
				return fmt.Errorf("from schema %d to %d: %w", v, v+1, err)
			}
		}
		return l.write(tx)
	})
	if err != nil {
		return errors.Join(fmt.Errorf("it must be brought up to date, but nothing was changed: %w", err), discard())
	}
	return nil
}

func (l layout) write(tx Tx) error {
	return tx.Put(bucketMeta, keySchema, []byte(strconv.Itoa(l.version)))
}

// schemaOf returns the version of a store, or false if the store is new.
func schemaOf(e Engine) (version int, ok bool, err error) {
	err = e.View(func(tx Tx) (err error) {
		data := tx.Get(bucketMeta, keySchema)
		if data == nil {
			return nil
		}
		version, err = strconv.Atoi(string(data))
		if err != nil {
			return fmt.Errorf("its schema %q is no number: put a backup in its place", data)
		}
		ok = true
		return nil
	})
	return version, ok, err
}
