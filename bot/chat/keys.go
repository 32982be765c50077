package chat

import (
	"fmt"
	"strings"

	"benchbell/core"
)

// The keys of a run's posts. Everything else that is said has the key of its
// event and a number.
func CardKey(id core.RunID) string { return id.String() + "/card" }

func ListKey(run core.Run) string { return NumberedKey(run.ID, "list", run.Lists) }

func VerdictKey(id core.RunID, n int) string { return NumberedKey(id, "verdict", n) }

func NumberedKey(id core.RunID, what string, n int) string {
	return fmt.Sprintf("%s/%s/%d", id, what, n)
}

func EndKey(id core.RunID) string { return id.String() + "/end" }

func IsVerdict(key string) bool {
	_, rest, _ := strings.Cut(key, "/")
	_, of := RunOfKey(key)
	return of && strings.HasPrefix(rest, "verdict/")
}

// BaseKey returns a post's key without the number of the copy that the post is: the
// first and all later posts of "R-0001/card" are one to the engine.
func BaseKey(key string) string {
	base, _, _ := strings.Cut(key, "~")
	return base
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
