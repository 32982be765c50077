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

// migration turns what one version wrote into what the next one would have
// written. The bucket of the journal it leaves alone: entries are never
// written anew.
type migration func(Tx) error

// today is the layout that this program writes.
var today = layout{version: 2, from: map[int]migration{1: tagsAnew}}

// tagsAnew looks up every tag by the core.NameKey of today. That of schema 1 did
// without the hyphen between two numbers, so that HP11-2 and HP1-12 had one key.
// Two tags of one store had two keys even then, and names that are the same now
// were the same then: no two tags get one key. The old keys must not stay: the
// one of HP1-12 is now the key of HP112, which is another suit.
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

// keeper keeps a copy of what is stored, as it was in a version. The copy can
// be discarded as long as nothing was changed.
type keeper func(version int) (discard func() error, err error)

// bring brings a store up to this layout in one transaction, after keep has
// kept a copy of it. A new store gets the layout, a later one is refused.
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

// schemaOf returns the version of what is stored, or false if that is nothing.
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
