package store

import (
	"bytes"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"
)

// A post that is gone from the chat is posted anew under the same name. Its
// copies have keys of their own: R-0001/card, R-0001/card~2, R-0001/card~3 …
// Everybody but delivery uses the base key, R-0001/card, and means the newest
// copy.

// copyMark stands between the base key and the number of a copy.
const copyMark = '~'

// copyKey returns the key of the nth copy; the first is the base key itself.
func copyKey(base string, n int) string {
	if n == 1 {
		return base
	}
	return base + string(copyMark) + strconv.Itoa(n)
}

// splitCopy returns the base key of a post key, and which copy it names.
func splitCopy(key string) (base string, n int) {
	i := strings.LastIndexByte(key, copyMark)
	if i < 0 {
		return key, 1
	}
	n, err := strconv.Atoi(key[i+1:])
	if err != nil || n < 2 || copyKey(key[:i], n) != key {
		return key, 1
	}
	return key[:i], n
}

// checkPostKey refuses a key that cannot be told from that of a copy.
func checkPostKey(key string) error {
	if err := checkName("post key", key); err != nil {
		return err
	}
	base, n := splitCopy(key)
	if i := strings.LastIndexByte(base, copyMark); i >= 0 && i < len(base)-1 && strings.Trim(base[i+1:], "0123456789") == "" {
		return fmt.Errorf("post key %s cannot be kept: %q and a number stand at its end, as only NextCopy puts them there", key, copyMark)
	}
	if n > 1 {
		return checkName("post key", base)
	}
	return nil
}

// newestCopy returns the number of the newest copy of a post that has a key,
// and the id of the newest that is delivered; 0 and nothing if there is none.
func newestCopy(tx Tx, base string) (used int, id string) {
	if value := tx.Get(bucketPostIDs, []byte(base)); value != nil {
		used, id = 1, string(value)
	}
	delivered := 1
	from := []byte(base + string(copyMark))
	to := append(bytes.Clone(from), '9'+1)
	for key, value := range tx.Range(bucketPostIDs, from, to) {
		of, n := splitCopy(string(key))
		if of != base || n == 1 {
			continue
		}
		used = max(used, n)
		if len(value) > 0 && n > delivered {
			delivered, id = n, string(value)
		}
	}
	return used, id
}

func notePost(tx Tx, key, postID string) error {
	if err := checkName("post id", postID); err != nil {
		return err
	}
	if other := tx.Get(bucketPostKeys, []byte(postID)); other != nil {
		return fmt.Errorf("post id %s cannot be that of %s: it is that of %s", postID, key, other)
	}
	if err := tx.Put(bucketPostKeys, []byte(postID), []byte(key)); err != nil {
		return err
	}
	return tx.Put(bucketPostIDs, []byte(key), []byte(postID))
}

// learnPosts keeps the post ids that the chat server told, unless the store already
// knows another.
func learnPosts(tx Tx, posts map[string]string) error {
	for _, key := range slices.Sorted(maps.Keys(posts)) {
		id := posts[key]
		if checkPostKey(key) != nil || checkName("post id", id) != nil || tx.Get(bucketPostKeys, []byte(id)) != nil {
			continue
		}
		if known := tx.Get(bucketPostIDs, []byte(key)); known != nil {
			if len(known) > 0 {
				continue
			}
			seq, err := parkedAs(tx, key)
			if err != nil {
				return err
			}
			if seq == nil {
				continue // delivery finds the post by itself
			}
			if err := tx.Delete(bucketParked, seq); err != nil {
				return err
			}
		}
		if err := notePost(tx, key, id); err != nil {
			return err
		}
	}
	return nil
}

// parkedAs returns the number, as a key, of the parked post that has a post
// key; nil if none has.
func parkedAs(tx Tx, key string) ([]byte, error) {
	for seq, value := range tx.Range(bucketParked, nil, nil) {
		p, err := readOut(tx, seq, value)
		if err != nil {
			return nil, err
		}
		if p.Key == key {
			return seq, nil
		}
	}
	return nil, nil
}

// PostID returns the id of the newest copy of a post that was delivered, by
// the post's base key.
func (s *Store) PostID(base string) (id string, ok bool, err error) {
	err = s.engine.View(func(tx Tx) error {
		_, id = newestCopy(tx, base)
		return nil
	})
	return id, id != "", err
}

// HasPost reports whether there is a post of a base key, delivered or still to
// be delivered: only such a post can be edited.
func (s *Store) HasPost(base string) (ok bool, err error) {
	err = s.engine.View(func(tx Tx) error {
		used, _ := newestCopy(tx, base)
		ok = used > 0
		return nil
	})
	return ok, err
}

// NextCopy returns the key for posting a post anew: the base key itself if it
// was never used, and else that of the next copy.
func (s *Store) NextCopy(base string) (key string, err error) {
	err = s.engine.View(func(tx Tx) error {
		used, _ := newestCopy(tx, base)
		key = copyKey(base, used+1)
		return nil
	})
	return key, err
}

// PostKey returns the base key of a post that the bot made, by the post's id.
func (s *Store) PostKey(id string) (base string, ok bool, err error) {
	key, ok, err := s.lookUp(bucketPostKeys, id)
	base, _ = splitCopy(key)
	return base, ok, err
}
