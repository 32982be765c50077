package store

import "iter"

// pageSize is how many records are read in one transaction.
const pageSize = 256

// pages decodes each pair with from ≤ key < to, in the order of the keys. It
// reads a page at a time and yields outside of the transaction, so that the loop
// may be slow and may write. It sees what is written meanwhile to later pages.
// It stops at an error, which it yields last.
func pages[T any](e Engine, bucket string, from, to []byte, read func(tx Tx, key, value []byte) (T, error)) iter.Seq2[T, error] {
	return func(yield func(T, error) bool) {
		for next := from; ; {
			var page []T
			err := e.View(func(tx Tx) error {
				for key, value := range tx.Range(bucket, next, to) {
					t, err := read(tx, key, value)
					if err != nil {
						return err
					}
					page, next = append(page, t), append(key, 0)
					if len(page) == pageSize {
						break
					}
				}
				return nil
			})
			for _, t := range page {
				if !yield(t, nil) {
					return
				}
			}
			if err != nil {
				var none T
				yield(none, err)
				return
			}
			if len(page) < pageSize {
				return
			}
		}
	}
}

// collect takes a sequence up to its end or its first error.
func collect[T any](seq iter.Seq2[T, error]) ([]T, error) {
	var all []T
	for t, err := range seq {
		if err != nil {
			return nil, err
		}
		all = append(all, t)
	}
	return all, nil
}
