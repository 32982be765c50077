package store

import (
	"iter"

	"benchbell/core"
)

// Tags yields the tags of all registered suits, including retired ones, in the
// order of their core.NameKey.
func (s *Store) Tags() iter.Seq2[string, error] {
	return pages(s.engine, bucketTags, nil, nil, func(_ Tx, _, tag []byte) (string, error) {
		return string(tag), nil
	})
}

// LastOfSuit returns the last entry about a suit, or false if there is none.
// Its number grows with everything that happens to the suit.
func (s *Store) LastOfSuit(tag string) (e core.Entry, ok bool, err error) {
	from, to := within(tag)
	err = s.engine.View(func(tx Tx) (err error) {
		var last []byte
		for key := range tx.Range(bucketBySuit, from, to) {
			last = key[len(from):]
		}
		if last == nil {
			return nil
		}
		e, err = indexed(tx, last)
		ok = err == nil
		return err
	})
	return e, ok, err
}

// Registrations returns, for each manometer, the entry that registered it last,
// in the order of their ids.
func (s *Store) Registrations() ([]core.Entry, error) {
	return collect(pages(s.engine, bucketManometers, nil, nil, func(tx Tx, _, seq []byte) (core.Entry, error) {
		return indexed(tx, seq)
	}))
}
