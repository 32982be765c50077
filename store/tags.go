package store

import (
	"slices"
	"strings"
	"unicode/utf8"

	"github.com/agnivade/levenshtein"

	"benchbell/core"
)

// SuitTag finds the tag of a registered suit by what somebody typed for it:
// "hp7" is HP-07, by [core.NameKey].
func (s *Store) SuitTag(typed string) (tag string, ok bool, err error) {
	return s.lookUp(bucketTags, core.NameKey(typed))
}

// maxEdits is how many letters may be wrong in a tag that somebody typed.
const maxEdits = 2

// TagsLike returns tags, so many at most, that somebody may have meant by a
// word that [Store.SuitTag] does not find, including those of retired suits. For
// a number it returns the tags that end in it: "7" and "07" may be HP-07 and
// TR-7. For other words, or if no tag ends in the number, it returns the tags
// with a similar [core.NameKey]: first those with one letter wrong, missing or
// too many, then those with two, but none with all letters wrong.
func (s *Store) TagsLike(typed string, most int) ([]string, error) {
	key := core.NameKey(typed)
	if key == "" {
		return nil, nil
	}
	var byEdits [maxEdits + 1][]string // a tag that ends in the number needs none
	for t, err := range pages(s.engine, bucketTags, nil, nil, readTag) {
		if err != nil {
			return nil, err
		}
		if edits, ok := t.like(key); ok {
			byEdits[edits] = append(byEdits[edits], t.tag)
		}
	}
	for _, tags := range byEdits {
		slices.Sort(tags)
	}
	like := byEdits[0]
	if len(like) == 0 {
		like = slices.Concat(byEdits[1:]...)
	}
	return like[:min(len(like), max(most, 0))], nil
}

// keyedTag is a tag and what it is looked up by.
type keyedTag struct{ key, tag string }

func readTag(_ Tx, key, value []byte) (keyedTag, error) {
	return keyedTag{string(key), string(value)}, nil
}

// like reports whether a tag may be the one that was typed, and how many letters
// differ.
func (t keyedTag) like(typed string) (edits int, ok bool) {
	// A1-07 ends in 07, and people may type 1-07 as well.
	if strings.HasSuffix(t.key, typed) && (last(t.key, "0123456789") == typed || last(t.key, "0123456789-") == typed) {
		return 0, true
	}
	a, b := utf8.RuneCountInString(t.key), utf8.RuneCountInString(typed)
	longer := max(a, b)
	if longer-min(a, b) > maxEdits { // no need to compare the letters
		return 0, false
	}
	edits = levenshtein.ComputeDistance(t.key, typed)
	return edits, edits <= maxEdits && edits < longer
}

// last returns the longest end of a key that consists of these characters.
func last(key, these string) string { return key[len(strings.TrimRight(key, these)):] }
