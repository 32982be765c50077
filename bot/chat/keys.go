package chat

import (
	"fmt"
	"strconv"
	"strings"

	"benchbell/core"
)

// The keys of a run's posts. Everything else that is said has the key of its
// event and a number.

// CardKey returns the key of the post that begins a run's thread.
func CardKey(id core.RunID) string { return id.String() + "/card" }

// ListKey returns the key of the newest of a run's checklists.
func ListKey(run core.Run) string { return NumberedKey(run.ID, "list", run.Lists) }

// VerdictKey returns the key of a run's nth verdict.
func VerdictKey(id core.RunID, n int) string { return NumberedKey(id, "verdict", n) }

// NumberedKey returns the key of the nth of a run's posts of one kind.
func NumberedKey(id core.RunID, what string, n int) string {
	return fmt.Sprintf("%s/%s/%d", id, what, n)
}

// EndKey returns the key of the post that says that a run is closed.
func EndKey(id core.RunID) string { return id.String() + "/end" }

// IsVerdict reports whether a key is that of a verdict.
func IsVerdict(key string) bool {
	_, rest, _ := strings.Cut(key, "/")
	_, of := RunOfKey(key)
	return of && strings.HasPrefix(rest, "verdict/")
}

// BaseKey returns a post's key without the number of the copy that the post is: the
// first and all later posts of "R-0001/card" are one to the engine and the outbox. A
// copy has the key that store.NextCopy made: "R-0001/card~2".
func BaseKey(key string) string {
	i := strings.LastIndexByte(key, '~')
	if i < 0 {
		return key
	}
	if n, err := strconv.Atoi(key[i+1:]); err != nil || n < 2 || strconv.Itoa(n) != key[i+1:] {
		return key
	}
	return key[:i]
}

// RunOfKey returns the run that a post's key belongs to.
func RunOfKey(key string) (core.RunID, bool) {
	run, _, _ := strings.Cut(key, "/")
	return ParseRunID(run)
}

// ParseRunID reads the id of a run as it stands in keys.
func ParseRunID(s string) (core.RunID, bool) {
	if !strings.HasPrefix(s, "R-") {
		return 0, false
	}
	return core.ParseRunID(s)
}
